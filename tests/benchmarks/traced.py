"""How long the traced room takes: all loudspeakers, one that moved, nothing that moved; and beside
another program's rays.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np
import pyroomacoustics as pra

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from test_tracing import NAMES, STILL, X, Y, Z, alike, layer, traced  # noqa: E402

import gymtools  # noqa: E402
from gymtools.acoustics.traced import Tracing, ray_count  # noqa: E402
from gymtools.venue.memory import Memory  # noqa: E402
from gymtools.venue.scenario import changed  # noqa: E402

RUNS = 5
SCENARIO = gymtools.load(Path(__file__).resolve().parents[2] / "scenarios" / "larkfield.toml")
USE = "game"


def timed(run):
    """Median of several runs [s]."""
    found = []
    for n in range(RUNS):
        start = time.perf_counter()
        run(n)
        found.append(time.perf_counter() - start)
    return median(found)


def rays_of_another_program(_n):
    """12 000 rays, 12 receivers of 1 m, one band, in a plain box."""
    walls = {face: pra.Material(0.1, 1.0) for face in NAMES}
    room = pra.ShoeBox(
        [X, Y, Z], fs=8000, max_order=-1, materials=walls, ray_tracing=True, air_absorption=False
    )
    room.add_source([8, 15, 6])
    room.set_ray_tracing(
        n_rays=12_000, receiver_radius=1.0, energy_thres=1e-14, time_thres=8.0, hist_bin_size=0.01
    )
    places = np.stack(np.meshgrid([5, 12, 20, 28], [5, 13, 21], [1.5], indexing="ij")).reshape(
        3, -1
    )
    room.add_microphone_array(places.astype(float))
    room.ray_tracing()


if __name__ == "__main__":
    job = Tracing(SCENARIO, USE)
    room = job.configuration.room
    whole = timed(lambda _n: Tracing(replace(SCENARIO, memory=Memory()), USE).run())
    job = Tracing(SCENARIO, USE)
    field = job.run()
    print(
        f"{len(job.playing)} loudspeakers, {len(room.polygons)} polygons,"
        f" {len(job.configuration.zones)} zones, {job.wanted} passes of"
        f" {ray_count(room.volume)} rays each"
    )
    print(
        f"all loudspeakers            {whole:6.2f} s, standard error in the worst zone"
        f" {field.error_db:.2f} dB"
    )
    single = (
        next(g for g in SCENARIO.groups if g.number == 1)
        if any(g.number == 1 for g in SCENARIO.groups)
        else min(SCENARIO.groups, key=lambda g: g.number)
    )
    at = ("groups", single.name, "downtilt_deg")
    moved = timed(
        lambda n: Tracing(changed(SCENARIO, {at: single.downtilt_deg - 1.0 - n}), USE).run()
    )
    print(
        f"{single.number} moved                     {moved:6.2f} s, {moved / single.number:.2f} s a"
        " loudspeaker"
    )
    again = timed(lambda _n: gymtools.evaluate(SCENARIO, USE, room="traced", follow_echoes=False))
    even = timed(lambda _n: gymtools.evaluate(SCENARIO, USE, follow_echoes=False))
    print(f"evaluation, nothing moved   {1000 * again:6.0f} ms, by formula {1000 * even:.0f} ms")
    ours = timed(
        lambda n: traced(
            alike(0.1), 1.0, rays=12_000, seed=n, air=STILL, zones=layer(counts=(4, 3)), thin=0.0
        )
    )
    fast = timed(
        lambda n: traced(
            alike(0.1), 1.0, rays=12_000, seed=n, air=STILL, zones=layer(counts=(4, 3))
        )
    )
    theirs = timed(rays_of_another_program)
    print(
        f"plain box, 12 000 rays      {ours:6.2f} s in seven octaves ({fast:.2f} s with weak rays"
        f" dropped); pyroomacoustics {theirs:.2f} s in one band"
    )
