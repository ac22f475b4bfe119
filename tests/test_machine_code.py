"""Machine code against the arrays that stand in for it, on any number of threads; and what is
remembered between evaluations.
"""

import pickle
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from schools import CASES, SCENARIOS

from gymtools.acoustics import direct
from gymtools.acoustics.direct import direct_sound
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.sources import sources
from gymtools.physics import (
    arrivals,
    bands,
    compiled,
    counting,
    decay,
    field,
    intelligibility,
    landing,
    reflections,
)
from gymtools.physics.remembered import Remembered
from gymtools.venue.memory import Memory
from gymtools.venue.scenario import changed


@pytest.fixture
def arrays(monkeypatch):
    """Runs a call without machine code."""

    def run(call):
        with monkeypatch.context() as without:
            without.setattr(compiled, "available", lambda: False)
            return call()

    return run


def places(name, use):
    """Loudspeakers of a use, points of all areas together, and the room."""
    scenario = SCENARIOS[name]
    use = scenario.use(use)
    configuration = scenario.configuration(use.name)
    points = np.concatenate([a.points for a in configuration.areas.values()])
    return sources(scenario, use), points, scenario.surfaces(use)


def in_db(one, other):
    """Largest difference of two energies where there is any [dB]."""
    heard = (one > 0) & (other > 0)
    return np.abs(10 * np.log10(one[heard] / other[heard])).max()


@pytest.mark.parametrize("name, use", CASES)
def test_direct_sound(name, use, arrays):
    """Independent: loops in machine code and arrays, every loudspeaker of every use: the same lines
    of sight, energies within 1e-4 dB.
    """
    playing, points, surfaces = places(name, use)
    both = (lambda: playing.direct(points, surfaces.screens),)
    (energy, distance), (plain, way) = both[0](), arrays(both[0])
    assert np.array_equal(energy > 0, plain > 0) and energy.any()
    assert in_db(energy, plain) < 1e-4
    np.testing.assert_allclose(distance, way, rtol=1e-6)


@pytest.mark.parametrize("name, use", CASES[::3])
def test_first_reflections(name, use, arrays):
    """Independent: the same images exist in machine code and in arrays, within 1e-3 dB."""
    playing, points, surfaces = places(name, use)

    def images():
        return reflections.image_arrivals(points[::7], playing, surfaces)

    (energy, way), (plain, plain_way) = images(), arrays(images)
    assert np.array_equal(energy > 0, plain > 0) and in_db(energy, plain) < 1e-3
    np.testing.assert_allclose(way, plain_way, atol=1e-4)


def test_pattern_of_many_aims(arrays):
    """Independent: shares of rays for a grid of aims, in machine code and in arrays."""
    balloon = SCENARIOS["larkfield"].loudspeakers[0].type.balloon
    toward = landing.even_fan(200)

    def carried():
        return landing.by_aim(toward, balloon, bands.SPEECH)

    np.testing.assert_allclose(carried(), arrays(carried), rtol=1e-4, atol=1e-8)


@pytest.mark.parametrize("measure", decay.RANGES)
def test_decay_times(measure, arrays):
    """Independent: least squares in machine code and by numpy, on ragged decays, on one that ends
    early and on silence.
    """
    rng, middles = np.random.default_rng(1), counting.MIDDLES / 343
    rt = np.array([0.4, 1.0, 2.5, 6.0, 1.0, 1.0])
    energy = np.exp(-13.8155 * middles[:, None] / rt) * np.diff(counting.EDGES)[:, None]
    energy *= rng.uniform(0.5, 1.5, energy.shape)
    energy[40:, 4], energy[:, 5] = 0.0, 0.0

    def times():
        return decay.decay_time(energy, counting.EDGES / 343, measure)

    found, want = times(), arrays(times)
    assert np.isfinite(found[:4]).all() and np.isnan(found[5])
    np.testing.assert_allclose(found, want, rtol=1e-9)


def test_echo_criterion(arrays):
    """Independent: merged arrivals in machine code and in arrays; silence at one point."""
    rng = np.random.default_rng(2)
    energy = bands.to_energy(rng.uniform(-40, 0, (300, 40))) * (rng.random((300, 40)) < 0.7)
    energy[:, 3], time = 0.0, rng.uniform(0, 0.5, (300, 40))

    def criterion():
        return arrivals.echo_criterion(energy, time, merge_s=arrivals.PULSE_S)

    assert criterion()[3] == 0
    np.testing.assert_allclose(criterion(), arrays(criterion), atol=1e-12)


@pytest.mark.parametrize("name, use", [("larkfield", "game"), ("dovecote", "graduation")])
def test_modulation_of_the_traced_room(name, use, arrays, monkeypatch):
    """Independent: transmission index in machine code and from the whole modulation transfer in
    arrays. Invariance: the same bytes on one thread and on several.
    """
    r = evaluate(SCENARIOS[name], use, room="traced")
    heard = intelligibility.audible(r.total_db, r.noise_db)

    def index():
        return r.reverberant.mean_index(r.direct, r.arrival_s, r.points, heard)

    found = index()
    np.testing.assert_allclose(found, arrays(index), atol=2e-6)
    monkeypatch.setattr(compiled, "cores", lambda: 5)
    assert np.array_equal(found, index())
    monkeypatch.setattr(compiled, "cores", lambda: 1)
    assert np.array_equal(found, index())


@pytest.mark.parametrize("count, cores", [(0, 2), (1, 2), (299, 2), (600, 2), (1000, 3)])
def test_parts_cover_all_rows_once(count, cores, monkeypatch):
    """Closed form: however many cores, every row is worked out once; an error is passed on."""
    monkeypatch.setattr(compiled, "cores", lambda: cores)
    done = np.zeros(count, int)

    def loop(first, end):
        done[first:end] += 1

    compiled.side_by_side(loop, count)
    assert np.all(done == 1)

    def fails(_first, _end):
        raise ValueError("no such row")

    with pytest.raises(ValueError, match="no such row"):
        compiled.side_by_side(fails, 1000)


# --- what is remembered


def test_the_latest_asked_are_remembered():
    """Closed form: as many as the bound, by value and not by identity; a copy in another process is
    empty.
    """
    made, kept = [], Remembered(2)

    def ask(*values):
        asked = np.array(values, float)
        return kept.get(asked, lambda: made.append(values) or values)

    assert ask(1, 2) == (1.0, 2.0) or made == [(1, 2)]
    ask(3)
    ask(1, 2)
    assert made == [(1, 2), (3,)]
    ask(4)  # drops (3,)
    ask(1, 2)
    ask(3)
    assert made == [(1, 2), (3,), (4,), (3,)] and len(kept) == 2
    assert len(pickle.loads(pickle.dumps(kept))) == 0


def test_what_is_remembered_may_change_afterwards():
    """Regression: an array that is written over is another question."""
    kept, asked = Remembered(2), np.arange(3.0)
    assert kept.get(asked, lambda: "one") == "one"
    asked += 1
    assert kept.get(asked, lambda: "other") == "other"
    assert kept.get(asked - 1, lambda: "new") == "one"


def test_only_what_moves_is_worked_out_again(monkeypatch):
    """Behavior: the second evaluation follows no way and no pattern; a turned group keeps its ways,
    a moved one does not; other uses share what has not moved.
    """
    seen = {"pattern": [], "spreading": []}

    def counted(name, original):
        def count_and_work(*args):
            seen[name].append(args)
            return original(*args)

        monkeypatch.setattr(direct.field, name, count_and_work)

    counted("pattern", field.pattern)
    counted("spreading", field.spreading)

    def work(scenario, use):
        seen.update(pattern=[], spreading=[])
        evaluate(scenario, use, room="statistical")
        return len(seen["pattern"]), len(seen["spreading"])

    s = replace(SCENARIOS["larkfield"], memory=Memory())
    areas, count = len(s.configuration("game").areas), len(s.loudspeakers)
    assert work(s, "game") == (areas * count, areas * count)
    assert work(s, "game") == (0, 0)
    group = s.groups[0]
    turned = changed(s, {("groups", group.name, "downtilt_deg"): group.downtilt_deg + 2})
    assert work(turned, "game") == (areas * group.number, 0)
    moved = changed(s, {("groups", group.name, "height"): group.height - 0.1})
    assert work(moved, "game") == (areas * group.number, areas * group.number)
    assert work(s, "graduation")[0] < len(s.configuration("graduation").areas) * count


@pytest.mark.parametrize("name, use", CASES)
def test_remembered_direct_sound_is_the_direct_sound(name, use):
    """Invariance: area by area from memory, or all at once; silent groups give nothing."""
    playing, points, surfaces = places(name, use)
    scenario = SCENARIOS[name]
    areas = scenario.configuration(use).areas.values()
    memory, screens = Memory(), scenario.configuration(use).room.screens
    for _ in range(2):
        energy, distance, _ = direct_sound(playing, [a.points for a in areas], screens, memory)
        plain, way = playing.direct(points, surfaces.screens)
        np.testing.assert_allclose(energy, plain, rtol=1e-5)
        np.testing.assert_allclose(distance, way, rtol=1e-6)


def test_threads_that_evaluate_share_a_memory():
    """Invariance: eight evaluations at once on an empty memory give one answer."""
    s = replace(SCENARIOS["dovecote"], memory=Memory())
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: evaluate(s, "game", room="statistical").sti, range(8)))
    assert all(np.array_equal(sti, found[0]) for sti in found)
