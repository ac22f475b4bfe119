"""Several arrivals of one sound: combs and limits, closed forms of two impulses, readable
loops.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import agrees

from gymtools.physics import arrivals, bands
from gymtools.physics.arrivals import (
    arrival_spread_s,
    comb_response_db,
    echo_criterion,
    haas_limit_db,
    late_level_db,
)

FOOT = 0.3048
# delay [ms], [Hz]
NOTCHES = {0.5: "1000 3000 5000", 1: "500 1500 2500", 2: "250 750", 5: "100 300", 10: "50 150"}
# Level of the copy, highest and lowest of the comb [dB]. Lists with 4.7 at -3 and 2.0 at -12 round
# their numbers twice: 20 lg(1 + 10^-0.15) is 4.6495 and 20 lg(1 + 10^-0.6) is 1.9465.
RIPPLE = {-3: "4.6 -10.7", -6: "3.5 -6.0", -10: "2.4 -3.3", -12: "1.9 -2.5", -20: "0.8 -0.9"}
MUSIC = dict(exponent=arrivals.MUSIC_EXPONENT, step_s=arrivals.MUSIC_STEP_S)
seed = st.integers(0, 2**32 - 1)
level = st.floats(-30, 20)


def some_arrivals(seed, points=6):
    """Energies, some of them none, and times of up to 12 arrivals at several points."""
    rng = np.random.default_rng(seed)
    shape = (rng.integers(1, 13), points)
    return (
        bands.to_energy(rng.uniform(-30, 0, shape)) * (rng.random(shape) < 0.8),
        rng.integers(0, 3000, shape) / 10_000,
    )


@pytest.mark.parametrize("ms, row", NOTCHES.items())
def test_notches(ms, row):
    """Worked by hand: notches of a copy delayed by so many milliseconds, and the comb has them."""
    notches = arrivals.notch_frequencies(ms / 1000, len(row.split()))
    assert agrees(notches, row)
    assert np.all(comb_response_db([1.0, 1.0], [0.02, 0.02 + ms / 1000], notches) < -200)


@pytest.mark.parametrize("copy_db, row", RIPPLE.items())
def test_ripple(copy_db, row):
    """Worked by hand: highest and lowest level by the level of the copy."""
    assert agrees(arrivals.ripple_db(copy_db), row)


def test_ripple_of_equal_copies():
    """Worked by hand: 6.0 dB up, and nothing at all in the notch; without a copy no ripple."""
    highest, lowest = arrivals.ripple_db([0.0, -np.inf])
    assert agrees(highest, "6.0 0") and lowest.tolist() == [-np.inf, 0]


@given(copy_db=level, delay=st.floats(0.0005, 0.05), start=st.floats(0, 1))
def test_comb_lies_between_the_ripple(copy_db, delay, start):
    """Closed form: highest at multiples of 1/delay, lowest in the notches, the energy sum halfway
    between in phase.
    """
    energy, time = bands.to_energy([0, copy_db]), [start, start + delay]
    total = bands.to_level(energy.sum())
    highest, lowest = arrivals.ripple_db(copy_db)
    at = comb_response_db(energy, time, np.array([1, 2, 0.25, 0.75]) / delay) + total
    assert at == pytest.approx([highest, highest, total, total], abs=1e-6)
    notch = comb_response_db(energy, time, arrivals.notch_frequencies(delay, 2)) + total
    assert bands.to_energy(notch / 2) == pytest.approx(bands.to_energy(lowest / 2), abs=1e-6)


def test_comb_equals_the_fourier_transform():
    """Independent: numpy's FFT of the impulses; and over all frequencies the energies add, as
    everywhere else.
    """
    rng = np.random.default_rng(0)
    at, energy = rng.choice(1000, 20, replace=False), rng.random(20)
    impulses = np.zeros(1000)
    impulses[at] = np.sqrt(energy)
    spectrum = np.abs(np.fft.fft(impulses)) ** 2 / energy.sum()
    ours = comb_response_db(energy, at / 48_000, np.arange(1000) * 48.0)
    assert bands.to_energy(ours) == pytest.approx(spectrum, abs=1e-9)
    assert bands.to_energy(ours).mean() == pytest.approx(1)


def test_milliseconds_and_meters():
    """Worked by hand: 0.3432 m or 1.126 ft a millisecond at 20 degC, 0.888 ms a foot, 89 ms for 100
    ft, 175 for 60 m.
    """
    path = np.array([0.3432, 1.126 * FOOT, FOOT, 100 * FOOT, 60])
    delay = 1000 * arrivals.delay_for_lead(path, lead_s=0.0, speed_of_sound=343.2)
    assert agrees(delay[:2], "1.000 1.000") and agrees(delay[2:], "0.888 89 175")


@given(path=st.floats(-3, 100), lead=st.floats(0.01, 0.03), c=st.floats(330, 350))
def test_the_lead_arrives_first_by_as_much(path, lead, c):
    """Closed form: with the delay set, the lead is ahead by exactly the wanted time."""
    delay = arrivals.delay_for_lead(path, lead_s=lead, speed_of_sound=c)
    near = 12.0
    assert near / c + delay - (near + path) / c == pytest.approx(lead, abs=1e-12)


@given(
    delay=st.floats(0, 0.5),
    copy_db=level,
    start=st.floats(0, 1),
    n=st.floats(0.3, 1.5),
    step=st.floats(0.005, 0.02),
)
def test_echo_criterion_of_two_impulses(delay, copy_db, start, n, step):
    """Closed form: delay/step times w/(1 + w), with w the copy's pressure to the power n."""
    w = 10 ** (copy_db / 20 * n)
    ek = echo_criterion(
        bands.to_energy([0, copy_db]), [start, start + delay], exponent=n, step_s=step
    )
    assert ek == pytest.approx(delay / step * w / (1 + w), abs=1e-9)


def test_equal_copies_reach_the_limits():
    """Closed form: the center lies halfway to an equal copy: 18 ms for speech, 50.4 ms
    for music.
    """
    ones = np.ones(2)
    assert echo_criterion(ones, [0, 0.018]) == pytest.approx(arrivals.EK_SPEECH_50)
    assert echo_criterion(ones, [0, 0.0162]) == pytest.approx(arrivals.EK_SPEECH_10)
    assert echo_criterion(ones, [0, 0.0504], **MUSIC) == pytest.approx(arrivals.EK_MUSIC_50)
    assert echo_criterion(ones, [0, 0.0420], **MUSIC) == pytest.approx(arrivals.EK_MUSIC_10)
    delay = np.linspace(0, 0.2, 50)
    assert np.all(np.diff(echo_criterion(np.ones((2, 50)), np.stack([0 * delay, delay]))) > 0)


@given(seed=seed, n=st.floats(0.3, 1.5), ticks=st.integers(50, 200))
def test_echo_criterion_is_a_running_maximum(seed, n, ticks):
    """Closed form: the running center of time on every 0.1 ms, loop by loop; no step between
    arrivals is steeper.
    """
    energy, time = some_arrivals(seed, points=3)
    ours = echo_criterion(energy, time, exponent=n, step_s=ticks / 10_000)
    for p in range(3):
        heard = energy[:, p] > 0
        at, weight = np.rint(time[heard, p] * 10_000).astype(int), energy[heard, p] ** (n / 2)
        at = at - at.min(initial=10**9) if heard.any() else at
        row, moment = np.zeros(3001), np.zeros(3001)
        np.add.at(row, at, weight)
        np.add.at(moment, at, weight * at)
        past = row.cumsum()
        center = np.divide(moment.cumsum(), past, out=np.zeros(3001), where=past > 0)  # in ticks
        before = np.concatenate([np.zeros(ticks), center[:-ticks]])
        assert ours[p] == pytest.approx(((center - before) / ticks).max(), abs=1e-9)


def test_reverberation_hides_an_echo():
    """Regression: a decaying tail between direct sound and echo brings the criterion down."""
    tail_t = np.arange(0.005, 0.4, 0.003)
    energy, time = np.array([1.0, 0.5]), np.array([0.0, 0.08])
    bare = echo_criterion(energy, time)
    live = echo_criterion(np.r_[energy, 0.2 * 10 ** (-6 * tail_t / 1.5)], np.r_[time, tail_t])
    assert bare > arrivals.EK_SPEECH_50 and live < 0.5 * bare


@given(seed=seed)
def test_spread_and_late_level_equal_plain_loops(seed):
    """Closed form: point by point in words: strongest, those near it, the lead, early and late."""
    energy, time = some_arrivals(seed)
    spread, late = (
        arrival_spread_s(energy, time, within_db=12),
        late_level_db(energy, time, after_s=0.0333),
    )
    for p in range(energy.shape[1]):
        heard = sorted((t, e) for t, e in zip(time[:, p], energy[:, p], strict=True) if e > 0)
        if not heard:
            assert spread[p] == 0 and late[p] == -np.inf
            continue
        strongest = max(e for _, e in heard)
        near = [t for t, e in heard if 10 * np.log10(e / strongest) >= -12]
        assert spread[p] == pytest.approx(near[-1] - near[0], abs=1e-12)
        lead = next(t for t, e in heard if 10 * np.log10(e / strongest) >= -20)
        behind = [e for t, e in heard if t > lead + 0.0333]
        ahead = max(e for t, e in heard if t <= lead + 0.0333)
        assert late[p] == (
            pytest.approx(10 * np.log10(max(behind) / ahead), abs=1e-9) if behind else -np.inf
        )


@pytest.mark.parametrize(
    "levels, times, want",
    [
        ([0, -5], [0, 80], -5),
        ([0, -5], [0, 40], -np.inf),
        ([0, 3], [0, 80], 3),
        ([-30, 0, -8], [0, 100, 120], -np.inf),
        ([-30, 0, -8], [0, 100, 160], -8),
        ([0, 15], [0, 80], 15),
        ([0, 0, -4, -9], [0, 20, 60, 70], -4),
        ([-50], [0], -np.inf),
    ],
)
def test_late_level(levels, times, want):
    """Closed form: in dB and ms; a precursor 30 dB down does not set the clock, a direct sound 15
    dB down does.
    """
    assert late_level_db(bands.to_energy(levels), np.array(times) / 1000) == pytest.approx(want)


def test_haas_limit():
    """Printed: Master Handbook of Acoustics, 4th ed., fig. 3-19, p. 75 (Haas): a copy 5 to 35 ms
    late may be 10 dB louder.
    """
    assert haas_limit_db([0.005, 0.020, 0.035]).tolist() == pytest.approx([10, 10, 10])


def test_haas_limit_later():
    """Trade fact: -10 dB at 50 ms, -20 at 95 ms and beyond; never rising."""
    assert haas_limit_db([0.050, 0.095, 0.175]).tolist() == pytest.approx([-10, -20, -20])
    assert np.all(np.diff(haas_limit_db(np.linspace(0, 0.3, 301))) <= 0)


def test_haas_limit_of_an_equal_copy():
    """Trade fact: equal copies of speech fuse up to 40 ms and disturb at 50."""
    limit = haas_limit_db(np.array([0.030, 0.040, 0.050]))
    assert np.all(limit[:2] > 0) and limit[2] < 0


@given(seed=seed, shift=st.floats(0, 2), scale=st.floats(1e-3, 1e9))
def test_neither_start_nor_loudness_nor_order_matters(seed, shift, scale):
    """Invariance: later, louder or listed otherwise, the same verdicts; arrivals without energy do
    not count.
    """
    energy, time = some_arrivals(seed)
    order = np.random.default_rng(seed).permutation(len(energy))
    silent = np.zeros((1, energy.shape[1]))
    other = np.r_[energy[order] * scale, silent], np.r_[time[order] + shift, silent]
    for f in (echo_criterion, arrival_spread_s, late_level_db):
        np.testing.assert_allclose(f(*other), f(energy, time), atol=1e-6)
    hear = [100.0, 1234.0]
    np.testing.assert_allclose(
        comb_response_db(other[0][:, 0], other[1][:, 0], hear),
        comb_response_db(energy[:, 0], time[:, 0], hear),
        atol=1e-4,
    )


def test_shapes():
    """Closed form: one listener gives one number; arrays of listeners keep their shape, in float32
    as well.
    """
    energy, time = some_arrivals(1, points=12)
    for f in (echo_criterion, arrival_spread_s, late_level_db):
        many = f(energy, time)
        assert many.shape == (12,) and f(energy[:, 3], time[:, 3]).shape == ()
        assert f(energy[:, 3], time[:, 3]) == many[3]
        cube = [v.reshape(-1, 3, 4).astype(np.float32) for v in (energy, time)]
        np.testing.assert_allclose(f(*cube).ravel(), many, rtol=1e-4, atol=1e-4)


ONE = (np.ones(2), np.array([0.0, 0.01]))


@pytest.mark.parametrize(
    "call, said",
    [
        (
            lambda: echo_criterion(np.ones(2), [0, 80]),
            r"^arrival_s = 80 s is outside 0 to 10 s\. Milliseconds given by mistake\?$",
        ),
        (
            lambda: arrival_spread_s([-3.0, 1], [0, 0.1]),
            (
                r"^energy = -3 \(linear\) is outside 0 to inf \(linear\)\. Decibels given by"
                r" mistake\?$"
            ),
        ),
        (
            lambda: arrival_spread_s(np.ones(3), np.zeros(2)),
            (
                r"^energy \(3,\) and arrival_s \(2,\) are not the same \(arrival, \.\.\.\), one at"
                r" least\.$"
            ),
        ),
        (
            lambda: late_level_db(np.ones((0, 3)), np.ones((0, 3))),
            r"^energy \(0, 3\) and arrival_s \(0, 3\) are not the same",
        ),
        (
            lambda: late_level_db(*ONE, after_s=50),
            r"^after_s = 50 s is outside 0 to 1 s\. Milliseconds",
        ),
        (
            lambda: echo_criterion(*ONE, step_s=9),
            r"^step_s = 9 s is outside 0\.001 to 0\.1 s\. Milliseconds",
        ),
        (lambda: echo_criterion(*ONE, exponent=0), r"^exponent = 0 - is outside 0\.1 to 3 -\.$"),
        (
            lambda: arrival_spread_s(*ONE, within_db=-10),
            r"^within_db = -10 dB is outside 0 to 60 dB\.$",
        ),
        (lambda: haas_limit_db(30), r"^delay_s = 30 s is outside 0 to 10 s\. Milliseconds"),
        (
            lambda: comb_response_db(np.ones((2, 2)), np.zeros((2, 2)), 1000),
            r"^energy \(2, 2\) is not \(arrival,\): one listener at a time\.$",
        ),
        (lambda: comb_response_db(*ONE, -1), r"^frequency = -1 Hz is outside 0 to 100000 Hz\."),
        (
            lambda: arrivals.notch_frequencies(0, 3),
            r"^delay_s = 0 s is outside 1e-05 to 10 s\. Milliseconds",
        ),
        (
            lambda: arrivals.ripple_db(100),
            r"^level_db = 100 dB is outside -inf to 60 dB\. Energy given by mistake\?$",
        ),
        (
            lambda: arrivals.delay_for_lead(-5, lead_s=0.01),
            r"^delay = -0\.00456876 s is outside 0 to 10 s\. The lead comes early enough",
        ),
        (
            lambda: arrivals.delay_for_lead(10, lead_s=12),
            r"^lead_s = 12 s is outside 0 to 0\.1 s\. Milliseconds",
        ),
        (
            lambda: arrivals.delay_for_lead(10, lead_s=0.01, speed_of_sound=20),
            r"^speed_of_sound = 20 m/s is outside 300 to 370 m/s\. Temp",
        ),
    ],
)
def test_refuses(call, said):
    """Behavior: every refusal names the value, its range and the likely slip."""
    with pytest.raises(ValueError, match=said):
        call()
