"""One full evaluation against plain float64 code and against pyroomacoustics: ratios measured side
by side in one run.

Run from the repository: .venv/bin/python tests/benchmarks/evaluate.py
"""

import resource
import statistics
import time
from pathlib import Path

import numpy as np
from scipy.interpolate import RegularGridInterpolator

import gymtools
from gymtools.physics import air, bands, directivity, geometry, intelligibility
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
    for bank in (0, 1):
        changes |= {("banks", bank, "rows"): 23, ("banks", bank, "length"): 38.0}
    return changed(s, changes)


def plain(result):
    """The same direct field and STI in float64, written as one would on a first day."""
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
    reverberant = 10 ** (result.reverberant_db / 10)
    turn = np.exp(-2j * np.pi * intelligibility.MODULATION * result.arrival_s[..., None])
    first = np.exp(-2j * np.pi * intelligibility.MODULATION * result.arrival_s.min(axis=0)[:, None])
    tail = 1 / (1 + 2j * np.pi * intelligibility.MODULATION * result.rt[:, None] / 13.8155)
    moving = (
        np.einsum("spb,spf->pbf", energy, turn) + reverberant[:, None] * tail * first[:, None, :]
    )
    mtf = np.abs(moving) / (energy.sum(axis=0) + reverberant)[..., None]
    return energy, intelligibility.sti(
        mtf, speech_db=10 * np.log10(energy.sum(axis=0) + reverberant), noise_db=use.noise
    )


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


def main():
    """Print the table."""
    scenario = large()
    result = gymtools.evaluate(scenario)
    count = len(result.points)
    # kB on Linux; after one evaluation, before the others
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    ours, least = timed(lambda: gymtools.evaluate(scenario, follow_echoes=False), 40)
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
