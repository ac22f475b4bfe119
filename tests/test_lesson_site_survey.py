"""Lesson on surveying a gym."""

import numpy as np
import pytest

from gymtools.display.lessons.site_survey import SiteSurveyPage
from gymtools.physics import reverberation
from gymtools.physics.bands import sum_levels
from gymtools.physics.decay import decay_time
from gymtools.physics.impulse import decay_times, octave_energy
from gymtools.physics.playback import RATE
from gymtools.training import sounds
from gymtools.training.lessons import site_survey

FIRST = dict(sloping_m=10.2, level_m=6.1, held_m=1.2)


@pytest.fixture(scope="module")
def page():
    """The page as committed."""
    readings = dict(with_db=52.0, without_db=48.0)
    return SiteSurveyPage(units="ft", first=FIRST, readings=readings, time_s=2.0, scatter_pct=5.0)


def test_a_height_by_the_angle_of_the_beam():
    """Independent: sine of the angle whose cosine the two readings give; in feet as in meters."""
    for sloping, level, held in ((10.2, 6.1, 1.2), (14.0, 3.0, 0.9)):
        up = sloping * np.sin(np.arccos(level / sloping)) + held
        assert site_survey.height(sloping, level, held, "m").answer == pytest.approx(up)
        assert site_survey.height(sloping, level, held, "ft").answer == pytest.approx(
            up / 0.3048, abs=0.01
        )


@pytest.mark.parametrize("on, off", [(52.0, 48.0), (60.0, 50.0), (45.5, 43.2)])
def test_the_fan_and_the_background_add_up_again(on, off):
    """Independent: energies of the answer and the background give the reading with both."""
    alone = site_survey.noise(on, off).answer
    assert float(sum_levels(np.array([alone, off]))) == pytest.approx(on)


@pytest.mark.parametrize("rt", [0.9, 1.8, 3.2])
def test_t20_of_a_decay_that_is_drawn(rt):
    """Independent: an exponential decay, integrated backward by the package; the two points of the
    question are read off it.
    """
    edges = np.arange(0, 6 * rt, 0.001)
    energy = np.diff(-(10 ** (-6 * edges / rt)))
    start, end = 5 * rt / 60, 25 * rt / 60
    measured = float(decay_time(energy, edges, "t20"))
    assert site_survey.slope(start, end).answer == pytest.approx(measured, rel=1e-3)


def test_a_mean_of_several_against_drawn_decays():
    """Independent: twenty thousand means of six."""
    drawn = np.random.default_rng(1).normal(0, 12.0, (20_000, 6)).mean(axis=1)
    assert site_survey.places(12.0, 6).answer == pytest.approx(drawn.std(), rel=0.03)


def test_a_volume_that_is_off_against_sabine():
    """Independent: Sabine's formula with both heights and the absorption of floor and roof."""
    low, high = (
        float(
            np.ravel(
                reverberation.reverberation_time(
                    900.0 * h, np.array([900.0, 900.0]), np.array([0.1, 0.6]), formula="sabine"
                )
            )[0]
        )
        for h in (8.0, 8.8)
    )
    assert site_survey.volume(low, 8.0, 8.8, "m").answer == pytest.approx(high)


def test_the_scatter_is_that_of_the_standards_formula():
    """Closed form: 0.88 √((1 + 1.9 / n) / (N B T)), B of the octave around 125 Hz 1 / √2 of its
    middle (ISO 3382-2:2008, 7.1, from memory).
    """
    width = 125.89 * (10**0.15 - 10**-0.15)
    expected = 88 * np.sqrt((1 + 1.9 / 3) / (6 * width * 2.0))
    assert site_survey.scatter(6, 3, 2.0)[0] == pytest.approx(expected, rel=1e-3)


def test_the_aim_is_reached_by_brute_force_and_not_at_its_ends(page):
    """Independent: the formula worked here for every number of places."""
    width = 125.89 * (10**0.15 - 10**-0.15)
    scatter = {n: 88 * np.sqrt(2.9 / (n * width * 2.0)) for n in range(1, 25)}
    reached = [float(n) for n, s in scatter.items() if 4.25 <= s <= 5.0]
    assert page.enough.reaching("places") == reached and reached
    assert 1.0 not in reached and 24.0 not in reached
    for n in reached:
        found = page.enough.compute(n, 1.0)
        assert page.enough.setup.predict.truth(None, found) == "four times as many"


@pytest.mark.parametrize("rt", [1.5, 3.0])
def test_a_pop_that_is_heard_decays_as_it_says(rt):
    """Independent: its T20 as a measured impulse response, in the octaves from 500 Hz to 4 kHz."""
    sound = sounds.pop(rt)
    found, _ = decay_times(octave_energy(sound[0], RATE))
    np.testing.assert_allclose(found["t20"][2:6], rt, rtol=0.08)


def test_the_lists_are_those_of_the_survey_sheet(page):
    """Behavior: photographs, pops and safety are on the page."""
    for words in ("each corner", "hearing protection", "licensed electrician", "large balloons"):
        assert words in page.lists.value
