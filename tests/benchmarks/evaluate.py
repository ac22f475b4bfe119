"""One full evaluation in the traced room, machine code against arrays, cold and warm, step by step;
and the direct sound against plain float64 code and pyroomacoustics: ratios measured side by side in
one run.

Run from the repository: .venv/bin/python tests/benchmarks/evaluate.py
"""

import resource
import statistics
import time
from pathlib import Path

import numpy as np
from scipy.interpolate import RegularGridInterpolator

import gymtools
from gymtools.acoustics.criteria import judge
from gymtools.acoustics.direct import direct_sound
from gymtools.acoustics.sources import sources
from gymtools.acoustics.traced import Tracing
from gymtools.physics import air, bands, compiled, directivity, geometry, intelligibility
from gymtools.venue.memory import Memory
from gymtools.venue.scenario import changed

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"


def timed(work, runs):
    """Median and least time of a call [ms]."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times), min(times)


def large():
    """Eight loudspeakers and about 4,000 points."""
    s = gymtools.load(SCENARIOS / "stonebridge.toml")
    changes = {
        ("hall", "width"): 50.0,
        ("hall", "length"): 44.0,
        ("hall", "height"): 12.5,
        ("hall", "ridge_height"): 15.0,
    }
    for bank in s.banks:
        changes |= {("banks", bank.name, "rows"): 23, ("banks", bank.name, "length"): 38.0}
    return changed(s, changes)


def plain(result):
    """The same direct field and STI by formula in float64, written as one would on a first day."""
    s, use = result.scenario, result.use
    loss = air.attenuation(
        bands.EXACT, temperature_c=s.air.temperature_c, humidity_pct=s.air.humidity_pct
    )
    energy = []
    for c, configuration in zip(s.loudspeakers, result.loudspeaker_gain_db, strict=True):
        way = result.points - c.position
        r = np.linalg.norm(way, axis=1)
        x, y, z = (way @ geometry.rotation(c.pan_deg, c.downtilt_deg).T).T
        angles = np.stack([np.degrees(np.arctan2(y, x)), np.degrees(np.arcsin(z / r))], axis=-1)
        grid = RegularGridInterpolator(
            (directivity.AZIMUTH_DEG, directivity.ELEVATION_DEG), 10 ** (c.type.balloon_db / 10)
        )
        level = (
            c.type.response_db
            + intelligibility.SPEECH_SPECTRUM_DB
            + result.room_eq_db
            + configuration
            + 10 * np.log10(grid(angles))
        )
        energy.append(10 ** ((level - 20 * np.log10(r)[:, None] - loss * r[:, None]) / 10))
    energy = np.array(energy)
    late = result.reverberant.by_source(result.points)  # (source, point, band)
    turn = np.exp(-2j * np.pi * intelligibility.MODULATION * result.arrival_s[..., None])
    tail = 1 / (1 + 2j * np.pi * intelligibility.MODULATION * result.rt[:, None] / 13.8155)
    moving = np.einsum("spb,spf->pbf", energy, turn)
    moving += np.einsum("spb,bf,spf->pbf", late, tail, turn, optimize=True)
    whole = (energy + late).sum(axis=0)
    mtf = np.abs(moving) / whole[..., None]
    return energy, intelligibility.sti(mtf, speech_db=10 * np.log10(whole), noise_db=use.noise)


def roomacoustics(result, count):
    """Direct sound of the same sources with pyroomacoustics' image model of order 0, on a few
    points.
    """
    import pyroomacoustics as pra

    hall = result.scenario.hall
    shift = np.array([hall.length / 2, hall.width / 2, 0])
    room = pra.ShoeBox(
        [hall.length, hall.width, hall.height], fs=16000, max_order=0, materials=pra.Material(0.1)
    )
    for c in result.scenario.loudspeakers:
        room.add_source(c.position + shift)
    room.add_microphone_array((result.points[:: len(result.points) // count][:count] + shift).T)
    start = time.perf_counter()
    room.compute_rir()
    return time.perf_counter() - start


def without_machine_code(work):
    """A call whose work is done in arrays."""

    def run():
        kept, compiled.available = compiled.available, lambda: False
        try:
            return work()
        finally:
            compiled.available = kept

    return run


def steps(scenario, field):
    """What an evaluation consists of, each with nothing but memory warm: words and a call that
    times itself.
    """

    def heard():
        return gymtools.evaluate(scenario, room=field)

    def after(name):
        def ask():
            result = heard()
            start = clocks()
            getattr(result, name)
            return clocks() - start

        return ask

    use = scenario.use()
    playing, configuration = sources(scenario, use), scenario.configuration(use.name)
    areas = [a.points for a in configuration.areas.values()]

    def direct(memory):
        start = clocks()
        direct_sound(playing, areas, configuration.room.screens, memory or Memory())
        return clocks() - start

    return {
        "direct sound, nothing remembered": lambda: direct(None),
        "direct sound, nothing moved": lambda: direct(scenario.memory),
        "STI": after("sti"),
        "summaries with STI": after("areas"),
        "microphones with decay": after("microphones"),
        "decay times": after("decay_times"),
        "first incidence": after("first_incidence"),
        "arrival spread": after("arrival_spread_s"),
        "echoes": after("echoes"),
    }


def side_by_side(scenario):
    """Machine code and arrays in turn, so that both see the same machine."""
    field = Tracing(scenario).run()
    group = scenario.groups[0]
    turn = iter(range(10**6))

    def whole(echoes):
        return lambda: judge(gymtools.evaluate(scenario, room=field), echoes=echoes)

    def turned():
        at = ("groups", group.name, "downtilt_deg"), group.downtilt_deg + next(turn) % 400 / 100
        judge(gymtools.evaluate(changed(scenario, dict([at])), room="statistical"), echoes=False)

    rows = {
        "whole evaluation, without echoes": timing(whole(False)),
        "whole evaluation, with echoes": timing(whole(True)),
        f"{group.number} turned, by formula": timing(turned),
    } | steps(scenario, field)
    table(rows)


def clocks():
    """Time on the wall, and of all cores of this process [s]: on a busy machine the second one is
    to be trusted.
    """
    return np.array([time.perf_counter(), time.process_time()])


def timing(work):
    """A call that times itself [s]."""

    def run():
        start = clocks()
        work()
        return clocks() - start

    return run


def in_turn(works, runs):
    """Times of several calls that time themselves, run in turn: median on the wall, least, and
    median of the processor (work, 3) [ms].
    """
    found = 1000 * np.array([[work() for work in works] for _ in range(runs + 1)])[1:]
    wall, processor = found[..., 0], found[..., 1]
    return np.stack([np.median(wall, 0), wall.min(0), np.median(processor, 0)], axis=-1)


def table(rows, runs=15):
    """Print machine code and arrays side by side."""
    head = f"{'median':>10}{'least':>8}{'cores':>8}"
    print(f"{'[ms]':35}{'machine code':>26}{'arrays':>26}{'ratio':>15}")
    print(f"{'':35}{head}{head}{'median':>8}{'cores':>7}")
    for words, work in rows.items():
        fast, slow = in_turn([work, without_machine_code(work)], runs)
        numbers = "".join("{:10.1f}{:8.1f}{:8.1f}".format(*row) for row in (fast, slow))
        print(f"{words:35}{numbers}{slow[0] / fast[0]:8.1f}{slow[2] / fast[2]:7.1f}", flush=True)


def main():
    """Print the tables."""
    scenario = large()
    side_by_side(scenario)
    result = gymtools.evaluate(scenario, room="statistical")
    count = len(result.points)
    # kB on Linux; after one evaluation, before the others
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    ours, least = timed(
        lambda: judge(gymtools.evaluate(scenario, room="statistical"), echoes=False), 40
    )
    first, _ = timed(lambda: plain(result), 5)
    energy, sti = plain(result)
    print(
        f"{len(scenario.loudspeakers)} loudspeakers, {count} points, 7 octaves: direct, first"
        " landing, tail, STI, verdicts"
    )
    print(f"one evaluation           {ours:8.1f} ms median, {least:.1f} ms least")
    print(f"plain float64, no landing{first:8.1f} ms median, ratio {first / ours:.1f}")
    print(
        "difference              "
        f" {np.abs(10 * np.log10(energy.sum(axis=0)) - result.level_db).max():8.3f} dB,"
        f" {np.abs(sti - result.sti).max():.5f} STI"
    )
    print(f"peak memory of a process {memory:8.0f} MB after one evaluation, libraries included")
    few = 20
    there = roomacoustics(result, few) * 1000 * count / few
    print(
        f"pyroomacoustics, direct  {there:8.0f} ms for {count} points, extrapolated from {few}"
        " (omnidirectional, impulse responses)"
    )


if __name__ == "__main__":
    main()
