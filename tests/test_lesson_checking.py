"""Lesson on checking a room: faults that can be found, and are by who looks."""

import re
from pathlib import Path

import numpy as np
import pytest

from gymtools import load
from gymtools.acoustics.evaluate import evaluate
from gymtools.commissioning.diagnosis import diagnose
from gymtools.commissioning.plan import as_tested
from gymtools.commissioning.readings import SINGLE
from gymtools.display.lessons.checking import CheckingPage
from gymtools.physics.bands import A_WEIGHTING, to_energy
from gymtools.physics.intelligibility import SPEECH_SPECTRUM_DB
from gymtools.training.lessons import checking
from gymtools.venue.paths import changed

SCHOOLS = Path(__file__).resolve().parent.parent / "scenarios"
SCATTER = 0.5
SEEDS = range(40)


@pytest.fixture(scope="module")
def gym():
    """Dovecote in a game."""
    return checking.gym_of(load(SCHOOLS / "dovecote.toml"), "game")


@pytest.fixture(scope="module")
def page(gym):
    """The page as committed."""
    found = dict(seed=3, scatter_db=SCATTER)
    return CheckingPage(units="m", gym=gym, tag="W1", lost_db=10.0, found=found)


def test_the_fall_against_energies_added_one_by_one():
    """Independent: four sources as single energies, their direct and late parts apart."""
    for direct, late, lost in ((10, 0, 10), (10, 12, 10), (40, 25, 6), (5, 30, 15)):
        parts = {"direct": direct, "late": late, "rest": 100 - direct - late}
        after = parts["rest"] + sum(parts[k] * 10 ** (-lost / 10) for k in ("direct", "late"))
        fall = 10 * np.log10(sum(parts.values()) / after)
        assert checking.fall(direct, late, lost).answer == pytest.approx(fall)


def test_a_tenth_of_direct_sound_is_four_tenths_of_a_decibel():
    """Worked by hand: 0.9 + 0.1 · 0.1 = 0.91, 10 log of it 0.41; far from 2.4 dB."""
    assert checking.fall(10, 0, 10).answer == pytest.approx(0.41, abs=0.005)


def test_both_parts_of_the_fall_against_the_gym_itself(gym):
    """Independent: a pair turned down in the school's file, and the use evaluated again. The use is
    set to its level anew, which moves all seats alike; what differs between seats is as the lesson
    has it.
    """
    school = load(SCHOOLS / "dovecote.toml")
    low = changed(school, {("uses", "game", "groups", "wall pair", "gain_db"): -10.0})
    before, after = (evaluate(as_tested(one, "game"), room="statistical") for one in (school, low))
    index = [r.position.index for r in gym.levels]
    fallen = np.array([dba(after, k) - dba(before, k) for k in index])
    ours = gym.changes({"W1": -10.0, "W2": -10.0})[1]
    np.testing.assert_allclose(fallen - fallen.mean(), ours - ours.mean(), atol=0.02)
    assert np.ptp(ours) > 1.0


def test_the_question_on_the_page_is_the_gyms_own(gym):
    """Independent: the shares of the question give the same fall as the readings' own change; with
    the direct part alone it would be less.
    """
    for tag in gym.tags:
        direct, late = gym.shares(tag)
        falls = -gym.changes({tag: -10.0})[1].min()
        assert checking.fall(100 * direct, 100 * late, 10.0).answer == pytest.approx(falls)
        assert checking.fall(100 * direct, 0.0, 10.0).answer < falls - 0.2 and falls < 9.0


def dba(result, index):
    """A-weighted level of pink noise at a point [dB]."""
    octaves = result.total_db[index] - SPEECH_SPECTRUM_DB + A_WEIGHTING
    return 10 * np.log10(to_energy(octaves).sum())


def test_a_solo_reading_falls_by_the_whole_loss(gym):
    """Closed form: all of its energy is that loudspeaker's, late sound included."""
    for tag in gym.tags:
        solo, levels = gym.changes({tag: -7.0})
        expected = [-7.0 if t == tag else 0.0 for t in gym.tags]
        np.testing.assert_allclose(solo, expected, atol=1e-9)
        assert -7.0 < levels.min() < 0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_fault_that_is_drawn_can_be_found(gym, seed):
    """Invariance: forty seeds: the low one stands out by more than four standard deviations from
    the readings as they are written, noise is never the largest mark, and nothing is reached at
    the start.
    """
    case = checking.case_of(gym, seed, SCATTER)
    off = np.array([r.measured[SINGLE] - r.expected[SINGLE] for r in case.readings()])
    off = off[: len(gym.tags)]
    z = (off - np.sort(off)[len(off) // 2 - 1 : len(off) // 2 + 1].mean()) / SCATTER
    low = gym.tags.index(case.low)
    assert z[low] < -4 and np.abs(np.delete(z, low)).max() < 2
    assert np.argmax(np.abs(z)) == low == np.argmin(off)
    assert np.abs(case.left_over()).max() > 2 * SCATTER, "not reached at the start"


@pytest.mark.parametrize("seed", SEEDS)
def test_one_tag_and_one_range_of_amounts_explain_the_readings(gym, seed):
    """Independent: brute force over all sliders and steps: only the low one brings all marks into
    the band, and only near its true loss.
    """
    case = checking.case_of(gym, seed, SCATTER)
    reached = [
        (tag, lost)
        for tag in gym.tags
        for lost in np.arange(0, 16.5, 0.5)
        if np.abs(case.left_over(**{tag: -lost})).max() <= 2 * SCATTER
    ]
    assert reached and {tag for tag, _ in reached} == {case.low}
    amounts = [lost for _, lost in reached]
    assert abs(np.mean(amounts) - case.lost_db) <= 3 * SCATTER
    assert max(amounts) - min(amounts) <= 5 * SCATTER


def test_who_looks_finds_it_and_who_guesses_does_not(gym):
    """Behavior: the lowest mark and its distance from the middle of the others reach the aim in
    every gym; a loudspeaker and an amount by chance in few.
    """
    chance, careful, lucky = np.random.default_rng(0), 0, 0
    for seed in SEEDS:
        case = checking.case_of(gym, seed, SCATTER)
        marks = case.left_over()
        low = int(np.argmin(marks))
        amount = marks[low] - np.median(np.delete(marks, low))
        careful += np.abs(case.left_over(**{gym.tags[low]: amount})).max() <= 2 * SCATTER
        guess = {str(chance.choice(gym.tags)): -float(chance.uniform(0, 16))}
        lucky += np.abs(case.left_over(**guess)).max() <= 2 * SCATTER
    assert careful == len(SEEDS) and lucky <= len(SEEDS) // 5


def test_the_workbooks_own_diagnosis_names_the_low_one(gym):
    """Independent: the diagnosis knows nothing of the lesson; faults of 8 dB and more."""
    for seed in SEEDS:
        case = checking.case_of(gym, seed, SCATTER)
        if case.lost_db >= 8:
            found = diagnose(gym.plan, case.readings(), gym.conditions)
            assert case.low in {cause.subject for cause in found}, seed


def test_readings_that_hide_every_fault_are_refused(gym):
    """Behavior: scatter as large as the faults."""
    with pytest.raises(ValueError, match="hides faults"):
        checking.case_of(gym, 1, 6.0)
    with pytest.raises(ValueError, match="4 or more"):
        checking.gym_of(load(SCHOOLS / "dovecote.toml"), "class")


def test_the_volume_is_no_fault():
    """Closed form: the same volume in all readings changes neither answer; scatter alone is no
    fault.
    """
    offs = np.array([0.4, -0.3, -8.1, 0.2, 0.1])
    for volume in (-5.0, 0.0, 6.0):
        moved = tuple(offs + volume)
        assert checking.which(moved, 0.5).answer == "L3"
        assert checking.amount(moved, 0.5).answer == pytest.approx(8.25)
    assert checking.which((5.1, 4.6, 5.3, 4.9), 0.5).answer == checking.NONE
    far = checking.which((-6.1, -5.8, -13.0, -6.2), 0.5)
    assert far.answer == "L3" and all(s.value == checking.NONE for s in far.slips)


def test_the_prediction_is_the_tag_that_was_turned_down(page):
    """Behavior: what was true is read off the sliders that reach the aim."""
    low = page.case.low
    (value,) = page.find.first_reaching(low)
    page.find.predict(low)
    page.find.set(**{low: value})
    assert page.find.reached and f"You predicted: {low}; as it was." in page.find.report.value


def test_what_is_heard_differs_as_the_readings_do(page):
    """Independent: root mean square of the sounds themselves."""
    heard = page.heard.heard()
    level = {k: 20 * np.log10(np.sqrt((s.samples**2).mean())) for k, s in heard.items()}
    right, everything, alone = level.values()
    assert right - everything == pytest.approx(page.fall.problem.answer, abs=1e-6)
    assert right - alone == pytest.approx(10.0, abs=1e-6)


def test_the_question_on_the_page_adds_up_as_it_is_written(gym, page):
    """Worked by hand: from the whole percents of the question, within them of the gym's own."""
    words = page.fall.problem.words
    direct, late = (int(n) for n in re.findall(r"(\d+) %", words))
    energy = 1 - (direct + late) / 100 * 0.9
    assert page.fall.problem.answer == pytest.approx(-10 * np.log10(energy))
    assert 100 * np.array(gym.shares("W1")) == pytest.approx([direct, late], abs=0.5)


def test_the_direct_sound_alone_is_no_line_of_the_solution():
    """Worked by hand: 40 % direct, 25 % late, 6 dB: 1 − 0.4 + 0.4 · 0.251 = 0.700, 1.55 dB; with
    the late part 1 − 0.65 + 0.65 · 0.251 = 0.513, 2.90 dB. Every line leads to the answer.
    """
    problem = checking.fall(40.0, 25.0, 6.0)
    assert [s.said for s in problem.steps] == ["65 %", "0.251", "0.513", "2.90 dB"]
    assert "10 log(1 − 0.40 + 0.40 × 0.251), would give 1.55 dB" in problem.note


def test_a_question_is_not_answered_by_the_next_one(page):
    """Behavior: they have other readings, and other loudspeakers are low."""
    readings = [re.findall(r"[+-]\d+\.\d dB", q.problem.words) for q in (page.which, page.amount)]
    assert len(readings[0]) > 3 and len(readings[1]) > 3
    assert not set(readings[0]) & set(readings[1])
    low = re.search(r"(L\d) is low", page.amount.problem.words)[1]
    assert low != page.which.problem.answer


def test_an_amount_with_a_minus_is_told_of_its_sign():
    """Behavior: in every drawing the right number with a minus is told the same; signs that differ
    are spoken of only where they differ.
    """
    exercise = next(e for e in checking.EXERCISES if e.key == "checking.amount")
    chance, differ = np.random.default_rng(6), 0
    for _ in range(200):
        problem = exercise.drawn(chance)
        assert "a positive number" in problem.slip(-problem.answer).words
        both = any("both signs" in s.words for s in problem.slips)
        others, low = problem.steps[0].value, problem.steps[0].value - problem.answer
        assert both == (others * low < 0)
        differ += both
    assert 20 < differ < 180
    wrong = checking.amount((4.1, 3.6, 4.4, -3.2, 3.9), 0.5)  # 4.0 − (−3.2) = 7.2
    assert wrong.answer == pytest.approx(7.2)
    assert all("both signs" in wrong.slip(v).words for v in (0.8, -0.8))
