"""Lesson on reverberation and treatment: panels never lengthen, and the formula is named."""

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from gymtools import load
from gymtools.display.lessons.treatment import FEW, TreatmentPage
from gymtools.training import sounds
from gymtools.training.answering import Answering
from gymtools.training.exercises import Problem, Slip
from gymtools.training.lessons import treatment
from gymtools.venue.units import FOOT

SCHOOLS = Path(__file__).resolve().parent.parent / "scenarios"


@lru_cache(maxsize=1)
def gym():
    return treatment.Gym(load(SCHOOLS / "dovecote.toml"), "class")


def page(**more):
    where = dict(scenario=SCHOOLS / "dovecote.toml", use="class", roof=None)
    values = dict(panels_m2=100.0, target_s=None, start=dict(area=50.0, on_roof=50.0)) | more
    return TreatmentPage(units="ft", where=where, **values)


def drawn(exercise, count=40):
    chance = np.random.default_rng(9)
    return [exercise.drawn(chance, units=("m", "ft")[n % 2]) for n in range(count)]


def test_panels_by_hand():
    """Worked by hand: 6000 m3, 3.0 s: 0.161 x 6000 / 3 = 322 m2; with 150 m2 more 2.05 s."""
    problem = treatment.panels(6000.0, 3.0, 150.0, 2400.0, "m")
    assert problem.answer == pytest.approx(0.161 * 6000 / (322 + 150), abs=0.005)
    feet = treatment.panels(6000.0, 3.0, 150.0, 2400.0, "ft")
    assert feet.answer == pytest.approx(problem.answer)
    volume, hung = 6000 / FOOT**3, 150 / FOOT**2
    assert feet.answer == pytest.approx(0.0491 * volume / (0.0491 * volume / 3 + hung), rel=1e-3)


def test_what_is_no_shorter_than_untreated_is_told_so():
    """Behavior: any guess from the untreated time up, in every drawing, is told that panels cannot
    make it longer; it is never called shorter. The lesson once did that.
    """
    for problem in drawn(treatment.EXERCISES[0]):
        before = problem.slips[0].value
        assert problem.answer < before
        for guess in (before, 1.05 * before, 1.5 * before, 3 * before):
            if guess > problem.high or problem.right(guess):
                continue
            reply = Answering(problem).give(guess)
            assert reply.word == "too high"
            other = problem.slips[2]  # the panels alone may give just that
            alone = abs(guess - other.value) < abs(guess - before)
            assert "cannot make a gym ring longer" in reply.slip or (
                alone and reply.slip == other.words
            ), (guess, problem.words)
        low = Answering(problem).give(0.5 * problem.answer)
        assert "longer" not in low.slip


def test_a_slip_beyond_covers_its_side_only():
    """Behavior: farther off on its side; nearer the answer or on the other side it is none."""
    problem = Problem(
        words="?",
        answer=1.0,
        near=0.1,
        hint="Think.",
        slips=(Slip(2.0, "far", near=0.1, beyond=True), Slip(5.0, "other")),
    )
    assert problem.slip(2.0).words == problem.slip(3.4).words == problem.slip(90.0).words == "far"
    assert problem.slip(5.2).words == "other"
    assert problem.slip(1.5) is None and problem.slip(-2.0) is None


def test_the_questions_name_their_formula():
    """Behavior: both say that it is Sabine's."""
    assert all("Sabine's formula" in p.words for e in treatment.EXERCISES for p in drawn(e, 4))


def test_absorption_that_is_missing_by_hand():
    """Worked by hand: 8000 m3 from 3.2 to 2.0 s: 0.161 x 8000 (1/2 - 1/3.2) = 241.5 m2."""
    assert treatment.area(8000.0, 3.2, 2.0, "m").answer == pytest.approx(241.5, abs=0.5)
    with pytest.raises(ValueError, match="no shorter"):
        treatment.area(8000.0, 2.0, 2.0, "m")


def test_the_first_question_is_of_this_gym():
    """Independent: volume, surfaces and Sabine's sum with air, from the room's own arrays."""
    now, room = gym().now, gym().now.configuration.room
    area = room.area @ now.absorption + 4 * now.sources.decay * room.volume
    times = 24 * np.log(10) * room.volume / (now.sources.speed * area)
    assert gym().sabine == pytest.approx(times[2:5].mean(), rel=1e-3)
    words = page().panels.problem.words
    assert f"{times[2:5].mean():.2f} s" in words
    assert f"{room.volume / FOOT**3:,.0f} ft³ ({room.volume:,.0f} m³)" in words


def test_panels_shorten_by_every_formula_wherever_they_hang():
    """Invariance: more panels, less time; on the roof alone Arau's time stays longest."""
    last = np.inf
    for area in (0.0, 60.0, 120.0, 180.0):
        result = gym().hung(area, 50.0)
        now = gym().middle(result)
        assert now < last and (area == 0 or result.rt_mid < gym().now.rt_mid)
        last = now
    roof, spread = gym().hung(150.0, 100.0), gym().hung(150.0, 40.0)
    assert gym().middle(roof) > 1.2 * gym().middle(spread)
    assert roof.rt_mid == pytest.approx(spread.rt_mid, rel=0.05)


def test_the_aim_is_reached_by_what_is_needed_and_no_more():
    """Independent: brute force over the slider; at the aim Eyring promises less than Arau."""
    one = page()
    trial = one.treating
    wanted = [
        a
        for a in np.arange(0, 500, 10.0)
        if one.goal_s - 0.15 <= gym().middle(gym().hung(a, 50.0)) <= one.goal_s
    ]
    assert [a for a in trial.reaching("area") if a < 500] == wanted and wanted
    trial.predict(FEW)
    trial.set(area=wanted[0])
    assert "as it was" in trial.report.value
    assert wanted[0] < 0.1 * sum(gym().free.values())
    assert trial.result[0].rt[2:5].mean() < gym().middle(trial.result[0])


def test_rooms_ring_as_long_as_they_say():
    """Independent: energy of noise bursts through them, backward integrated over 5 to 25 dB."""
    rings = page().rings
    assert rings.blind.right == "4 s" and list(rings.sounds) == ["1 s", "2 s", "4 s"]
    for rt in (1.0, 2.0, 4.0):
        response = sounds.room_response(rt)[0]
        left = np.cumsum(response[::-1] ** 2)[::-1]
        level = 10 * np.log10(left / left[0])
        start, stop = np.argmax(level < -8), np.argmax(level < -28)
        measured = 60 * (stop - start) / sounds.RATE / (level[start] - level[stop])
        assert measured == pytest.approx(rt, rel=0.06)


def test_the_gym_is_heard_before_and_after():
    """Behavior: the least clear seat of each; the figures of the second are no worse."""
    before, after = page().same_seat.heard().values()
    assert "STI" in before.said and not np.array_equal(before.samples, after.samples)


def test_published_rows_have_their_page():
    """Printed: Everest, Master Handbook of Acoustics, 4th ed., p. 163; the other by hand."""
    one = page()
    assert all("p. 163" in row.source for row in one.printed.rows) and len(one.printed.rows) == 6
    assert one.by_hand.given == "by hand"
    assert not one.printed.faults and not one.by_hand.faults
