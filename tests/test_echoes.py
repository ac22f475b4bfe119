"""The echo criterion in a gym: against the integral over the pressure itself, at seats spread
evenly, with the sample's error.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from schools import CASES, SCENARIOS
from test_seat_and_delays import pair

from gymtools.acoustics import arrivals
from gymtools.acoustics.arrivals import Echoes, echoes, first_reflections
from gymtools.acoustics.criteria import CRITERIA, judge
from gymtools.acoustics.evaluate import evaluate
from gymtools.physics import bands
from gymtools.physics.arrivals import (
    PULSE_S,
    SPEECH_EXPONENT,
    SPEECH_STEP_S,
    echo_criterion,
    late_level_db,
    merged,
)
from gymtools.physics.intelligibility import DECAY
from gymtools.venue.memory import Memory
from gymtools.venue.uses import GroupSetting

RATE = 16_000  # of the simulated pressure [Hz]
TAIL_S = 0.5
# energy of the reverberant sound re the first arrival, reverberation time [s], and arrivals (time
# [s], energy)
ROOMS = [
    (3.0, 1.5, [(0, 1)]),
    (3.0, 1.5, [(0, 1), (0.08, 1)]),
    (1.0, 1.0, [(0, 1), (0.08, 1)]),
    (1.0, 1.0, [(0, 1), (0.04, 0.5), (0.06, 0.7), (0.1, 0.5)]),
    (0.3, 1.5, [(0, 1), (0.15, 0.5)]),
    (5.0, 2.5, [(0, 1), (0.06, 2)]),
    (0.01, 1.0, [(0, 1), (0.03, 1)]),
    (1.0, 0.8, [(0, 1), (0.0013, 0.7), (0.03, 0.6), (0.032, 0.4), (0.05, 0.8), (0.0515, 0.3)]),
    (10.0, 3.0, [(0, 1), (0.1, 5)]),
]


def octave_pulse():
    """A smooth pulse of unit energy, as wide as the octave of 1 kHz."""
    t = np.arange(-400, 400) / RATE
    width = np.sqrt(np.log(2)) / (np.pi * 707)
    pulse = np.exp(-(t**2) / (2 * width**2)) * np.cos(2 * np.pi * 1000 * t)
    return pulse / np.sqrt((pulse**2).sum())


def criterion_of_pressure(reverberant, rt, impulses, rng):
    """Dietsch and Kraak's integral over a pressure: impulses and decaying noise through an
    octave.
    """
    n = np.arange(int(0.8 * RATE))
    density = reverberant * (1 - np.exp(-DECAY / rt / RATE)) * np.exp(-DECAY * n / RATE / rt)
    pressure = rng.normal(size=len(n)) * np.sqrt(density) * (n < TAIL_S * RATE)
    for time, energy in impulses:
        pressure[round(time * RATE)] += np.sqrt(energy) * rng.choice([-1, 1])
    pressure = np.convolve(pressure, octave_pulse())
    t, weight = (np.arange(len(pressure)) - 400) / RATE, np.abs(pressure) ** SPEECH_EXPONENT
    center = np.where(t < 0, 0.0, np.cumsum(weight * t) / np.maximum(np.cumsum(weight), 1e-30))
    step = round(SPEECH_STEP_S * RATE)
    return ((center[step:] - center[:-step])[t[step:] >= 0] / SPEECH_STEP_S).max()


@pytest.mark.parametrize("room", ROOMS)
def test_the_criterion_is_that_of_the_pressure(room):
    """Independent: the definition, integrated over the pressure of impulses and noise through an
    octave filter, mean of 40 gyms alike; within 8 % wherever in a step the tail begins. A gym
    without any echo is up to 19 % under it, far from the limit.
    """
    reverberant, rt, impulses = room
    rng = np.random.default_rng(0)
    want = np.mean([criterion_of_pressure(reverberant, rt, impulses, rng) for _ in range(40)])
    steps = np.arange(round(TAIL_S / PULSE_S))
    fall = np.exp(-DECAY * PULSE_S / rt)
    energy = np.append([e for _, e in impulses], reverberant * (1 - fall) * fall**steps)
    ours = []
    for phase in (0.1, 0.3, 0.45, 0.6, 0.9):
        time = np.append([t for t, _ in impulses], PULSE_S * (steps + phase))
        ours.append(echo_criterion(energy[:, None], time[:, None], merge_s=PULSE_S)[0])
    allowed = 0.08 if len(impulses) > 1 else 0.19
    assert np.array(ours) == pytest.approx(want, rel=allowed)


@given(seed=st.integers(0, 2**32 - 1), width=st.floats(0.0005, 0.01))
def test_merging_keeps_energy_and_center(seed, width):
    """Closed form: sums and centers of time stay; what is merged was no further apart than the
    width.
    """
    rng = np.random.default_rng(seed)
    energy, time = rng.random((20, 3)) * (rng.random((20, 3)) < 0.8), rng.uniform(0, 0.1, (20, 3))
    sums, middles = merged(energy, time, width)
    np.testing.assert_allclose(sums.sum(axis=0), energy.sum(axis=0))
    np.testing.assert_allclose((sums * middles).sum(axis=0), (energy * time).sum(axis=0))
    for p in range(3):
        heard = energy[:, p] > 0
        if heard.any():
            apart = np.abs(time[heard, p][:, None] - middles[sums[:, p] > 0, p])
            assert apart.min(axis=1).max() <= width


def test_halves_of_an_arrival_are_the_whole():
    """Regression: an arrival cut in two counted 1.6 times."""
    whole = echo_criterion(np.array([[1.0], [1.0]]), np.array([[0.0], [0.03]]), merge_s=PULSE_S)
    halves = echo_criterion(
        np.array([[1.0], [0.5], [0.5]]), np.array([[0.0], [0.03], [0.03]]), merge_s=PULSE_S
    )
    assert whole == pytest.approx(halves)


# --- the sample


@pytest.mark.parametrize("rows, columns", [(10, 20), (1, 90), (45, 3), (12, 40), (30, 34)])
def test_the_sample_is_spread_evenly(rows, columns):
    """Closed form: rows and columns, halves and quarters of an area get their part of the sample,
    within two seats and a fifth; none twice.
    """
    index = arrivals._spread(rows, columns, 60)
    assert len(np.unique(index)) == len(index) > 30
    row, column = index // columns, index % columns
    for along, count in ((row, rows), (column, columns)):
        for parts in (2, 4):
            if count >= 3 * parts:
                share = np.histogram(along, np.linspace(0, count, parts + 1) - 0.5)[0]
                cells = np.histogram(np.arange(count), np.linspace(0, count, parts + 1) - 0.5)[0]
                want = len(index) * cells / count
                assert np.abs(share - want).max() <= 2 + 0.2 * want.max()


@pytest.mark.parametrize("name, use", CASES)
def test_every_area_is_sampled_by_its_seats(name, use):
    """Closed form: shares sum to 1 and are those of the areas; first and last part of each area are
    in the sample.
    """
    r = evaluate(SCENARIOS[name], use, room="statistical")
    found = r.echoes
    assert found.share.sum() == pytest.approx(1)
    assert len(np.unique(found.points)) == len(found.points)
    for a in r.areas:
        here = (found.points >= a.points.start) & (found.points < a.points.stop)
        count = a.points.stop - a.points.start
        assert found.share[here].sum() == pytest.approx(count / found.seats)
        at = (found.points[here] - a.points.start) / count
        assert at.min() < 0.1 and at.max() > 0.9


@pytest.fixture(scope="module")
def sampled_and_all():
    """Criterion of the sample, its error, and the criterion of all seats, use by use."""
    found = []
    with pytest.MonkeyPatch.context() as patch:
        for name, use in CASES:
            r = evaluate(SCENARIOS[name], use, room="traced")
            sample = r.echoes
            patch.setattr(arrivals, "SAMPLES", 10**6)
            every = echoes(r)
            patch.undo()
            assert every.error == 0 and len(every.points) == every.seats
            values = [e.reached(e.criterion) for e in (sample, every)]
            found.append((*values, sample.error))
    return np.array(found)


def test_the_error_told_is_the_sample_s(sampled_and_all):
    """Closed form: in the shipped schools the sample stands within two standard errors of all
    seats, three times in four within one.
    """
    sample, every, error = sampled_and_all.T
    off = np.abs(sample - every) / np.maximum(error, 1e-6)
    assert off.max() <= 2.0 and (off <= 1.0).mean() >= 0.75
    assert error.max() < 0.05


def test_error_by_hand():
    """Worked by hand: 100 of 1100 seats, criteria 0.01 to 1.00: the 90th percentile is 0.905, its
    standard error 0.03 times the root of ten elevenths, 0.0286.
    """
    values = np.arange(1, 101) / 100
    found = Echoes(
        points=np.arange(100),
        share=np.full(100, 0.01),
        seats=1100,
        late_db=values,
        criterion=values,
    )
    assert found.reached(values) == pytest.approx(0.905)
    assert found.error == pytest.approx(0.0286, abs=2e-4)
    assert replace(found, seats=100).error == 0


def test_nearer_than_the_error_is_close():
    """Behavior: a target within one standard error of the value is close, on either side, and the
    sentence shows the error.
    """
    r = evaluate(SCENARIOS["stonebridge"], "game", room="statistical")
    value, error = r.echoes.reached(r.echoes.criterion), r.echoes.error

    def word(target):
        scenario = replace(r.scenario, targets=replace(r.scenario.targets, echo=target))
        (v,) = CRITERIA["echo"].judge(replace(r, scenario=scenario))
        return v.word, v.sentence

    assert error > 0
    assert [word(value + x * error)[0] for x in (0.5, -0.5, 2.0)] == ["close", "close", "meets"]
    assert f"{value:.2f} ± " in word(1.0)[1]


@pytest.mark.parametrize("name, use", [("larkfield", "class"), ("dovecote", "assembly")])
def test_remembered_reflections_are_those_of_the_use(name, use):
    """Regression: with some groups off, the reflections of another loudspeaker were taken."""
    r = evaluate(SCENARIOS[name], use, room="statistical")
    assert not r.playing.all()
    points = r.points[r.echoes.points]
    energy, time = first_reflections(r.sources, r.surfaces, points)
    energy, time = energy.reshape(-1, *energy.shape[2:]), time.reshape(-1, time.shape[2])
    late = late_level_db(energy[..., bands.SPEECH].sum(axis=-1), time)
    for memory in (r.scenario.memory, Memory()):
        fresh = replace(r, scenario=replace(r.scenario, memory=memory))
        np.testing.assert_allclose(fresh.echoes.late_db, late, atol=1e-3)


def test_a_late_pendant_is_an_echo():
    """Trade fact: common practice, no source. In a bare gym a second pendant that plays 60 ms late
    is heard as an echo (criterion over 1), one on time is not (under 0.9).
    """

    def nine_of_ten(**setting):
        gym = pair(spacing=4, second=GroupSetting(**setting))
        found = evaluate(gym, room="traced").echoes
        return found.reached(found.criterion)

    assert nine_of_ten() < 0.9 and nine_of_ten(delay_ms=60) > 1.0


def test_most_shipped_uses_have_no_echo(sampled_and_all):
    """Trade fact: common practice, no source. A criterion that good designs meet: 16 of the 17
    shipped uses stay below 1.0 (measured: 0.70 to 0.96), Alderway's class in the bare hall does not
    (1.15).
    """
    value = dict(zip(CASES, sampled_and_all[:, 1], strict=True))
    assert sum(v > 1.0 for v in value.values()) <= 2
    assert value["alderway", "class"] == max(value.values()) > 1.0


def test_judged_with_and_without_echoes():
    """Behavior: all other verdicts stand without following reflections."""
    r = evaluate(SCENARIOS["dovecote"], "game", room="statistical")
    assert [v for v in judge(r) if v.criterion != "echo"] == list(judge(r, echoes=False))
