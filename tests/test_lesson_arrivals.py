"""Lesson on several loudspeakers: delays, notches and echoes, worked another way."""

import re
from pathlib import Path

import numpy as np
import pytest

from gymtools.display.lessons import arrivals as page_of
from gymtools.display.lessons.arrivals import ArrivalsPage
from gymtools.physics.playback import RATE
from gymtools.training.lessons import arrivals

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
LEAD_MS, LATE_MS = 10.0, 20.0


@pytest.fixture(scope="module")
def page():
    """The page as committed, in meters."""
    place = dict(
        scenario=str(SCENARIOS / "alderway.toml"),
        use="graduation",
        bank="south bank",
        lead="stage line",
        group="bank pair",
    )
    times = dict(lead_ms=LEAD_MS, late_ms=LATE_MS, delay_ms=50.0)
    return ArrivalsPage(units="m", place=place, times=times, farther_m=0.6)


def speed(temperature_c):
    """ISO 9613-1:1993, annex A: 343.2 m/s at 20 °C, with the root of the absolute temperature."""
    return 343.2 * np.sqrt((temperature_c + 273.15) / 293.15)


def test_a_delay_brings_the_lead_first():
    """Independent: both times of arrival from the distances, in forty drawings."""
    (exercise,) = (e for e in arrivals.EXERCISES if e.key == "arrivals.delay")
    chance = np.random.default_rng(3)
    for _ in range(40):
        values = exercise.draw(chance)
        problem = exercise.problem(**values, units="m")
        c = speed(values["temperature_c"])
        far, near = re.findall(r"(\d+\.\d\d) m ", problem.words)
        lead, helper = 1000 * float(far) / c, 1000 * float(near) / c + problem.answer
        assert helper - lead == pytest.approx(values["lead_ms"], abs=0.01)


def test_the_delay_of_the_first_question_works_in_the_gym(page):
    """Independent: the evaluation's own arrivals at the seat of the question."""
    played = page.play(page.delay.problem.answer)
    assert page.lag(played) == pytest.approx(LEAD_MS, abs=0.01)


def test_the_seat_hears_both_groups_alike(page):
    """Independent: no other seat nearer to the helper has levels that are more alike."""
    result = page.play(0.0)
    owner = np.array([one.group for one in result.scenario.loudspeakers])
    points = result.summary("south bank").points
    found = []
    for n in range(points.start, points.stop):
        way, level = {}, {}
        for group in ("stage line", "bank pair"):
            way[group] = result.distance[owner == group, n].min()
            level[group] = 10 * np.log10(result.direct[owner == group, n][:, 2:6].sum())
        if way["stage line"] - way["bank pair"] > 0.5:
            found.append((abs(level["stage line"] - level["bank pair"]), n))
    apart, seat = min(found)
    assert seat == page.seat and apart == pytest.approx(page.apart, abs=1e-3)


def test_the_lowest_notch_is_where_the_sum_is_lowest():
    """Independent: two waves added at every hertz up to the first whole period."""
    for farther in (0.15, 0.6, 1.35, 2.9):
        problem = arrivals.notch(farther, temperature_c=20.0)
        f = np.arange(1.0, 343.2 / farther)
        together = np.abs(1 + np.exp(-2j * np.pi * f * farther / 343.2))
        assert problem.answer == pytest.approx(f[together.argmin()], abs=1.0)
        assert problem.slip(2 * problem.answer).words.startswith("There the farther one")


@pytest.mark.parametrize(
    "late_ms, first_db, most",
    [
        (36, 70, 78.67),  # 10 - 20 * 1 / 15 = 8.67 dB
        (40, 70, 73.33),  # 10 - 20 * 5 / 15 = 3.33 dB
        (50, 64, 54.0),  # -10 dB
        (60, 68, 55.78),  # -10 - 10 * 10 / 45 = -12.22 dB
        (80, 75, 58.33),  # -10 - 10 * 30 / 45 = -16.67 dB
    ],
)
def test_how_loud_a_copy_may_be(late_ms, first_db, most):
    """Worked by hand: straight lines between the limits that the question gives."""
    problem = arrivals.copy(late_ms, first_db)
    assert problem.answer == pytest.approx(most, abs=0.005) and not problem.choices
    for words in ("35 ms", "10 dB louder", "50 ms", "10 dB softer", "95 ms", "20 dB softer"):
        assert words in problem.words, "it can be worked away from its page"
    wrong = 2 * first_db - most
    assert "sign" in problem.slip(wrong).words or abs(wrong - most) <= 2 * problem.near


def test_a_guess_does_not_pass_the_question_on_copies():
    """Behavior: it has no choices, and hundreds of drawings with answers far and wide."""
    (exercise,) = (e for e in arrivals.EXERCISES if e.key == "arrivals.copy")
    chance = np.random.default_rng(2)
    drawn = [exercise.drawn(chance) for _ in range(200)]
    assert len({p.words for p in drawn}) > 150
    often = max(sum(p.right(guess) for p in drawn) for guess in np.arange(30, 100, 0.5))
    assert often < 0.1 * len(drawn)


def test_times_without_a_sloping_limit_are_not_asked():
    """Behavior: up to 35 ms and from 95 ms on there is nothing to work out."""
    for late in (20.0, 35.0, 95.0):
        with pytest.raises(ValueError, match="between 35 and 95 ms"):
            arrivals.copy(late, 70.0)


def test_what_is_drawn_is_round_where_it_is_read():
    """Behavior: whole feet or half meters for a delay; half feet or five centimeters for a comb."""
    chance = np.random.default_rng(5)
    for key, feet in (("arrivals.delay", r"(\d+) ft 0 in"), ("arrivals.notch", r"\d+ ft [06] in")):
        (exercise,) = (e for e in arrivals.EXERCISES if e.key == key)
        for _ in range(40):
            values = exercise.draw(chance)
            words = exercise.problem(**values, units="ft").words
            count = len(re.findall(r"\d+ ft [\d/ ]*in", words))
            assert count and len(re.findall(feet, words)) == count and " 0 ft" not in words, words
            meters = re.findall(r"(\d+\.\d\d) m ", exercise.problem(**values, units="m").words)
            step = 50 if key == "arrivals.delay" else 5
            assert meters and all(round(100 * float(m)) % step == 0 for m in meters), meters


def test_a_notch_adds_up_as_printed():
    """Independent: each line worked again from the numbers that it shows, in both units."""
    chance = np.random.default_rng(6)
    (exercise,) = (e for e in arrivals.EXERCISES if e.key == "arrivals.notch")
    for n in range(60):
        p = exercise.drawn(chance, units=("m", "ft")[n % 2])
        lag, period, lowest = p.steps
        way, speed = map(float, re.search(r"1000 · ([\d.]+) / ([\d.]+)$", lag.words).groups())
        assert f"{1000 * way / speed:.3f} ms" == lag.said
        assert f"{2 * float(lag.said.split()[0]):.3f} ms" == period.said
        shown = 1000 / float(lowest.words.rpartition("/ ")[2])
        assert shown == pytest.approx(float(lowest.said.split()[0].replace(",", "")), abs=1.0)
        assert lowest.value == p.answer


def test_the_aim_holds_where_the_lead_is_first_and_only_there(page):
    """Independent: every delay of the slider, against path over speed."""
    way = page.ways[0] - page.ways[1]
    travel = 1000 * way / speed(page.school.air.temperature_c)
    delays = np.arange(0, page.lining.adjustments["delay_ms"].high + 1)
    right = [d for d in delays if LEAD_MS <= d - travel <= LATE_MS]
    assert right and page.lining.reaching("delay_ms") == right


def test_the_prediction_comes_true_as_computed(page):
    """Independent: with a lead the delay is longer than the way takes; with none it is as long."""
    start = page.lining.compute(50.0)
    travel = 1000 * (page.ways[0] - page.ways[1]) / speed(page.school.air.temperature_c)
    truth = page.lining.setup.predict.truth
    assert truth(start, page.play(travel + 12)) == page_of.LONGER
    assert truth(start, page.play(travel)) == page_of.SAME
    assert truth(start, page.play(travel - 9)) == page_of.SHORTER


def test_what_is_heard_is_what_it_is_called(page):
    """Closed form: a comb's spectrum against one arrival, an echo sample by sample."""
    heard = page.sorts.heard()
    one, comb, echo = (heard[k].samples[0] for k in ("one arrival", "a comb", "an echo"))
    spectra = [np.abs(np.fft.rfft(x, 2**20)) ** 2 for x in (one, comb)]
    f = np.fft.rfftfreq(2**20, 1 / RATE)

    def over(low, high):
        at = (f > low) & (f < high)
        return 10 * np.log10(spectra[1][at].sum() / spectra[0][at].sum())

    assert over(495, 505) < -20 and over(1495, 1505) < -20, "1 ms: 500 and 1500 Hz cancel"
    assert over(995, 1005) == pytest.approx(3.0, abs=0.1), "half the energy each, in phase"
    late = round(0.080 * RATE)
    by_hand = np.zeros(len(echo))
    by_hand[: len(one)] += one[: len(echo)] / np.sqrt(2)
    by_hand[late : late + len(one)] += one[: len(echo) - late] / np.sqrt(2)
    assert np.abs(echo - by_hand).max() < 1e-3 * np.abs(echo).max()


def test_a_seat_is_heard_with_and_without_its_delay(page):
    """Behavior: the two are not the same sound, and the figures are those of the seat."""
    heard = page.delayed.heard()
    one, other = (sound.samples for sound in heard.values())
    least = min(one.shape[1], other.shape[1])
    assert np.abs(one[:, :least] - other[:, :least]).max() > 0.1 * np.abs(one).max()
    assert all("dB(A)" in sound.said for sound in heard.values())
    assert page.delayed.blind.right in heard and page.sorts.blind.right in page.sorts.sounds
