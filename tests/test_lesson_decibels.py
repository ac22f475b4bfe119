"""Lesson on decibels and octaves: what it asks and plays, against other ways to the same number."""

import math

import numpy as np
import pytest

from gymtools.display.lessons.decibels import ALIKE, FAR, SOFTER, DecibelsPage
from gymtools.physics.bands import A_WEIGHTING, EXACT
from gymtools.physics.playback import RATE, octave_levels_db
from gymtools.training import sounds
from gymtools.training.lessons import decibels
from gymtools.venue.units import FOOT


@pytest.fixture(scope="module")
def page():
    return DecibelsPage(units="ft", times=5.0, more_db=7.0, adds_db=1.0)


def test_ratios_print_a_table_of_logarithms():
    """Worked by hand: log 2 = 0.30103 and log 3 = 0.47712 from a table give the other ratios."""
    for times, log in ((2, 0.30103), (3, 0.47712), (6, 0.77815), (8, 0.90309), (10, 1.0)):
        assert decibels.ratio(float(times)).answer == pytest.approx(10 * log, abs=1e-4)
        assert decibels.energy(10 * log).answer == pytest.approx(times, rel=1e-4)


@pytest.mark.parametrize("apart", [0, 1, 3, 6, 10, 20])
def test_two_levels_add_as_mean_squares_of_noise(apart):
    """Independent: two noises that know nothing of each other, mixed and measured."""
    chance = np.random.default_rng(4)
    one, other = chance.standard_normal((2, 1_000_000))
    mixed = one + other * 10 ** (-apart / 20)
    measured = 10 * math.log10(np.mean(mixed**2) / np.mean(one**2))
    asked = decibels.together(80.0, 80.0 - apart).answer - 80
    assert asked == pytest.approx(measured, abs=0.02)


def test_octaves_double():
    """Closed form: every octave that can be asked is 125 Hz times a power of two."""
    for start in range(7):
        for end in range(7):
            if 1 <= abs(end - start) <= 3:
                p = decibels.octave(start, end - start)
                assert p.answer == 125 * 2.0**end
                octaves = [step for step in p.steps if step.unit == "Hz"]
                assert len(octaves) == abs(end - start) and octaves[-1].value == p.answer
    assert decibels.octave(up=-3, tone_hz=1600.0).answer == 200


def test_the_curve_is_the_table_of_the_octaves():
    """Independent: the four poles give the package's octave weightings, and 1 kHz has none."""
    assert decibels.a_curve_db(EXACT) == pytest.approx(A_WEIGHTING, abs=0.05)
    # IEC 61672-1:2013, Table 3 (from memory): outside of the package's octaves
    assert decibels.a_curve_db([31.62, 63.1, 1000.0, 15849.0]) == pytest.approx(
        [-39.4, -26.2, 0.0, -6.6], abs=0.051
    )


def test_a_meter_shows_the_two_octaves():
    """Independent: two tones at the middles of two octaves, through the curve, line by line."""
    p = decibels.weighted(low=1, high=4, low_db=80.0, high_db=70.0)
    tones = np.array([80.0, 70.0]) + decibels.a_curve_db(EXACT[[1, 4]])
    energy = sum(math.pow(10, level / 10) for level in tones)
    assert p.answer == pytest.approx(10 * math.log10(energy), abs=0.06)
    assert "without the weighting" in p.slip(80.41).words


@pytest.mark.parametrize("units, per", [("m", 1.0), ("ft", FOOT)])
def test_direct_and_room_sound_are_equal_there(units, per):
    """Closed form: at the answer the direct sound has fallen to the room's, no nearer."""
    p = decibels.alike(at_m=2.0, direct_db=88.0, room_db=75.0, units=units)
    at = p.answer * per
    assert 88 - 20 * math.log10(at / 2.0) == pytest.approx(75.0)
    with pytest.raises(ValueError, match="lower than the direct sound"):
        decibels.alike(direct_db=70.0, room_db=70.0)


@pytest.mark.parametrize("adds, truth", [(1.0, SOFTER), (2.5, ALIKE), (0.3, SOFTER), (0.25, FAR)])
def test_the_prediction_is_judged_by_what_was_reached(adds, truth):
    """Closed form: what adds so much is softer by -10 log(10^(adds/10) - 1)."""
    page = DecibelsPage(units="m", times=5.0, more_db=7.0, adds_db=adds)
    apart = -10 * math.log10(10 ** (adds / 10) - 1)
    found = decibels.added(80.0, 80.0 - apart)
    assert page.two.aim.measure(found) == pytest.approx(adds)
    assert page.two.setup.predict.truth(None, found) == truth
    assert any(abs(80 - v - apart) < 0.3 for v in page.two.reaching("second_db"))


@pytest.mark.parametrize("adds", [0.2, 1.0, 2.8])
def test_only_a_softer_second_reaches_the_aim(adds):
    """Independent: every value of both sliders; a second that is as loud adds 3 dB, a louder one
    more, so the words of the prediction hold wherever the aim does.
    """
    trial = DecibelsPage(units="m", times=5.0, more_db=7.0, adds_db=adds).two
    reached = []
    for first in np.arange(50, 90.5, 2.5):
        for second in np.arange(50, 90.5, 0.5):
            both = 10 * math.log10(10 ** (first / 10) + 10 ** (second / 10))
            found = trial.compute(first_db=float(first), second_db=float(second))
            assert trial.aim.reached(found) == (abs(both - first - adds) <= 0.15)
            if trial.aim.reached(found):
                reached.append(first - second)
    # adding 2.8 dB is -10 log(10^0.28 - 1) = 0.4 dB softer; nothing that is louder reaches it
    assert reached and min(reached) >= 0


def test_equal_steps_are_a_mistake_only_where_they_are_wrong():
    """Worked by hand: 250, 500, 750 Hz going up; a third and a fourth of 4 kHz are no octaves."""
    up, down = decibels.octave(1, 2), decibels.octave(5, -3)
    assert "equal steps" in up.slip(750.0).words
    assert "divides once, by 4" in down.slip(1000.0).words and down.answer == 500
    chance = np.random.default_rng(2)
    (exercise,) = [e for e in decibels.EXERCISES if e.key == "decibels.octave"]
    assert all(abs(exercise.draw(chance)["up"]) >= 2 for _ in range(300))
    assert not any("equal steps" in s.words for s in decibels.octave(1, 1).slips)


def test_corrections_are_written_as_sums():
    """Behavior: a weighting is taken off or added with a sign of its own."""
    p = decibels.weighted(low=0, high=3, low_db=75.0, high_db=65.0)
    assert p.steps[0].words == "Octave 125 Hz: 75 − 16.1"
    assert p.steps[1].words == "Octave 1 kHz: 65 + 0.0"


@pytest.mark.parametrize("band", [1, 3, 5])
def test_one_octave_is_heard_alone(band):
    """Independent: measured in octaves, the one that stays keeps its level, others are far down."""
    gains = np.full(7, -np.inf)
    gains[band] = 0.0
    alone = octave_levels_db(sounds.in_octaves(65.0, gains)[0], RATE)
    whole = octave_levels_db(sounds.at_level(65.0)[0], RATE)
    assert alone[band] == pytest.approx(whole[band], abs=0.3)
    others = np.delete(np.arange(7), [band])
    assert (alone[others] < alone[band] - 12).all()


def test_octaves_without_a_change_stay_as_they_are():
    """Invariance: all gains zero is the speech itself within the seven octaves."""
    heard = octave_levels_db(sounds.in_octaves(65.0, np.zeros(7))[0], RATE)
    whole = octave_levels_db(sounds.at_level(65.0)[0], RATE)
    assert heard == pytest.approx(whole, abs=0.2)
    softer = octave_levels_db(sounds.in_octaves(65.0, np.full(7, -6.0))[0], RATE)
    assert softer == pytest.approx(heard - 6, abs=1e-6)


def test_what_is_heard_has_the_levels_that_it_says(page):
    """Independent: level steps and shares of the room's sound, measured on the samples."""
    heard = page.steps.heard()
    power = {name: np.mean(sound.samples**2) for name, sound in heard.items()}
    assert 10 * math.log10(power["+6 dB"] / power["as it is"]) == pytest.approx(6.0, abs=1e-6)
    room = [np.mean(sound.samples**2) for sound in page.room.heard().values()]
    # the three are equally loud, within what comb and tail leave to the sum
    assert np.ptp(10 * np.log10(room)) < 1.5
