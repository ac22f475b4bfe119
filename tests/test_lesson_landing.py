"""Lesson on where sound lands first: the view counts, not the area; the aim, and what it leaves."""

import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from gymtools import evaluate, load
from gymtools.display.lessons.landing import JUST_NOTICEABLE, LandingPage, _words
from gymtools.training.answering import Answering
from gymtools.training.lessons import landing
from gymtools.venue.paths import changed

SCHOOLS = Path(__file__).resolve().parent.parent / "scenarios"
BANK, GROUP = "north bank", "north row"


@lru_cache(maxsize=2)
def aimed(name="larkfield"):
    return landing.Aimed(load(SCHOOLS / f"{name}.toml"), "assembly", BANK, GROUP)


def page(**more):
    where = dict(scenario=SCHOOLS / "larkfield.toml", use="assembly", bank=BANK, group=GROUP)
    values = dict(hung_deg=8.0, downtilt_deg=20.0, onto_people_pct=33.0) | more
    return LandingPage(units="ft", where=where, **values)


def plainly(words):
    """What stands behind the last colon, where it is plain arithmetic; else None."""
    text = words.rpartition(":")[2].replace(",", "").replace("×", "*").replace("²", "**2")
    text = re.sub(r"√(\([^()]*\))", r"\1**0.5", text)
    if not re.fullmatch(r"[\d\s.+*/()-]+", text):
        return None
    return eval(text)  # digits and signs only


def adds_up(problem):
    """Whether each line gives what it prints, and the last one the answer."""
    for step in problem.steps:
        found = plainly(step.words)
        if found is not None:
            assert found == pytest.approx(step.value, abs=0.6 * 10.0**-step.digits), step.words
    return [step for step in problem.steps if plainly(step.words) is not None]


def triangle(a, b, c):
    """Solid angle of a plane triangle seen from the origin, after Van Oosterom and Strackee."""
    u, v, w = (np.linalg.norm(x) for x in (a, b, c))
    below = u * v * w + a @ b * w + a @ c * v + b @ c * u
    return abs(2 * np.arctan2(a @ np.cross(b, c), below))


def polygon(corners, seen_from):
    """Solid angle of a convex polygon, triangle by triangle."""
    at = np.asarray(corners, float) - seen_from
    return sum(triangle(at[0], at[n], at[n + 1]) for n in range(1, len(at) - 1))


@pytest.mark.parametrize("length, width, height", [(12, 6, 6), (20, 4, 3), (5, 5, 9), (24, 24, 3)])
def test_a_rectangle_fills_its_solid_angle(length, width, height):
    """Independent: two triangles after Van Oosterom and Strackee, and directions drawn by lot."""
    x, y = length / 2, width / 2
    corners = [(x, y, -height), (-x, y, -height), (-x, -y, -height), (x, -y, -height)]
    angle = landing.solid_angle(length, width, height)
    assert angle == pytest.approx(polygon(corners, np.zeros(3)), rel=1e-9)
    way = np.random.default_rng(4).normal(size=(400_000, 3))
    at = way[:, :2] * (-height / way[:, 2:])  # where each meets the plane below
    met = (way[:, 2] < 0) & (np.abs(at) <= (x, y)).all(axis=1)
    share = met.mean()
    spread = np.sqrt(share * (1 - share) / len(way))
    assert angle / (4 * np.pi) == pytest.approx(share, abs=4 * spread)


@pytest.mark.parametrize("name", ["larkfield", "stonebridge"])
def test_an_unaimed_loudspeaker_puts_the_view_onto_the_bank(name):
    """Independent: rays in all directions against the triangles of the bank's own corners; the
    share of the surfaces, which the lesson once took for it, is far from both.
    """
    one = aimed(name)
    room, result = one.turned(0.0).configuration.room, one.turned(0.0)
    mine = [n for n, c in enumerate(one.school.loudspeakers) if c.group == GROUP]
    corners = [room.polygons.corner[n] for n, part in enumerate(room.parts) if part == BANK]
    by_triangles = np.mean(
        [sum(polygon(c, result.sources.position[n].astype(float)) for c in corners) for n in mine]
    )
    share = 100 * by_triangles / (4 * np.pi)
    assert one.unaimed[BANK] == pytest.approx(share, abs=0.15)
    assert one.of_surfaces < 0.7 * share
    assert sum(one.unaimed.values()) == pytest.approx(100, abs=0.1)


def test_the_share_of_the_surfaces_is_a_slip_and_no_answer():
    """Behavior: with and without an aim, its words speak of the view."""
    problem = landing.onto_bank(aimed(), 40.0)
    reply = Answering(problem).give(aimed().of_surfaces)
    assert reply.word == "too low" and "share of the view" in reply.slip
    problem = landing.unaimed(24, 12, 12, 20, "m")
    reply = Answering(problem).give(100 * 72 / 2000)
    assert reply.word == "too low" and "solid angle" in reply.slip


def test_the_gyms_own_question_can_be_worked_from_its_words():
    """Worked by hand: solid angle over 4 pi, times the factor, both as the question prints them."""
    for tilt in (0.0, 25.0, 50.0, 90.0):
        problem = landing.onto_bank(aimed(), tilt)
        angle = float(problem.words.split("solid angle of ")[1].split(" steradians")[0])
        times = float(problem.words.split("it then sends ")[1].split(" times")[0])
        assert problem.right(100 * angle / (4 * np.pi) * times), problem.words
        result = evaluate(
            changed(aimed().school, {("groups", GROUP, "downtilt_deg"): tilt}),
            "assembly",
            room="statistical",
        )
        mine = [n for n, c in enumerate(aimed().school.loudspeakers) if c.group == GROUP]
        share = result.first_incidence[mine][:, result.parts.index(BANK)].mean()
        assert problem.answer == pytest.approx(100 * share)


def test_every_drawing_of_the_gyms_question_can_be_answered():
    """Behavior: twenty drawings; the answer is right, no slip is."""
    chance = np.random.default_rng(2)
    exercise = landing.EXERCISES[1]
    for _ in range(20):
        problem = exercise.drawn(chance, aimed=aimed())
        assert problem.right(problem.answer)
        assert problem.steps[-1].value == pytest.approx(problem.answer, abs=problem.near / 2)
        for slip in problem.slips:
            assert problem.slip(slip.value) is None or not problem.right(slip.value)


def test_every_line_of_a_solution_adds_up_as_printed():
    """Independent: the lines' own arithmetic, drawn in both units and for tilts of the gym's."""
    chance = np.random.default_rng(6)
    for n in range(60):
        problem = landing.EXERCISES[0].drawn(chance, units=("m", "ft")[n % 2])
        assert len(adds_up(problem)) == 4, "all but the arctan"
        ratio, angle = problem.steps[2].value, problem.steps[3].value
        assert angle == pytest.approx(4 * np.arctan(ratio), abs=0.0006)
        assert problem.steps[-1].value == pytest.approx(problem.answer, abs=problem.near / 2)
    for tilt in (8.0, 70.0):
        problem = landing.onto_bank(aimed(), tilt)
        assert len(adds_up(problem)) == len(problem.steps) == 3
        assert problem.steps[-1].value == pytest.approx(problem.answer, abs=problem.near / 2)


def test_an_arctan_in_degrees_is_told_for_what_it_is():
    """Closed form: 4 arctan in degrees over 4 pi, in percent: 180 / pi times too much."""
    for units in ("m", "ft"):
        problem = landing.unaimed(20, 12, 10, 22, units)
        assert "in radians" in problem.words and "degrees × π / 180" in problem.words
        per = {"m": 0.5, "ft": 2.0}[units]
        a, b, h = 20 * per, 12 * per, 10 * per
        ratio = a * b / (2 * h * np.sqrt(4 * h**2 + a**2 + b**2))
        wrong = 100 * 4 * np.degrees(np.arctan(ratio)) / (4 * np.pi)
        assert wrong > 100
        reply = Answering(problem).give(wrong)
        assert reply.word == "too high" and "in degrees" in reply.slip


def test_the_question_stands_alone_and_is_round():
    """Behavior: it opens later lessons too, so it says what a solid angle is and how to get it; its
    lengths are whole feet, or half meters, in the learner's units.
    """
    chance = np.random.default_rng(3)
    for n in range(40):
        units = ("m", "ft")[n % 2]
        words = landing.EXERCISES[0].drawn(chance, units=units).words
        assert "steradians (sr)" in words and "4 arctan( l w / (2 h √(4 h² + l² + w²)) )" in words
        lengths = re.findall(r"(?:hangs|is|and) (\d+ ft [\d /]+ in|\d+\.\d\d m) \(", words)
        assert len(lengths) == 3, words
        if units == "ft":
            assert all(length.endswith("ft 0 in") for length in lengths), words
        else:
            assert all(float(length[:-2]) % 0.5 == 0 for length in lengths), words


def test_the_aim_is_reached_and_the_time_stays():
    """Independent: brute force over the tilts; by Eyring's formula the time does not know the aim,
    while the reverberant level over the direct sound falls by what the prediction is held against.
    """
    trial = page().tilt
    reached = trial.reaching("downtilt_deg")
    wanted = [t for t in range(91) if aimed().onto(aimed().turned(t)) >= 33.0]
    assert reached == wanted and len(wanted) > 10
    tilt = float(reached[len(reached) // 2])
    before, after = (
        evaluate(
            changed(aimed().school, {("groups", GROUP, "downtilt_deg"): t}),
            "assembly",
            room="statistical",
        )
        for t in (20.0, tilt)
    )
    seats = before.summary(BANK).points

    def over(result):
        direct = np.mean(10 ** (result.level_db[seats, 4] / 10))
        return result.reverberant_db[4] - 10 * np.log10(direct)

    lower = over(before) - over(after)
    trial.predict("1 to 3 dB")
    trial.set(downtilt_deg=tilt)
    said = "as it was" if 1 <= lower <= 3 else "it was: "
    assert said in trial.report.value and lower > 0
    assert before.rt == pytest.approx(after.rt)


def test_the_bars_show_both_shares():
    """Invariance: a bar for every part, with the aim and without, and each adds up to all."""
    figure = page().tilt.figure
    aim, without = figure.data
    assert set(aim.y) == set(without.y) == set(aimed().turned(0.0).parts)
    assert sum(aim.x) == pytest.approx(100, abs=1) and sum(without.x) == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize(
    "after, said", [(0.52, "less than most"), (0.545, "little more"), (0.6, "easy to hear")]
)
def test_what_is_heard_is_not_said_larger_than_it_is(after, said):
    """Behavior: against what is just noticed, 0.03 (Bradley, Reich and Norcross 1999)."""
    assert JUST_NOTICEABLE == 0.03
    assert said in _words(0.5, after)


def test_the_same_seat_is_heard_twice():
    """Behavior: two sounds of one seat, the second clearer, as its words say."""
    found = page()
    first, second = found.same_seat.heard().values()
    assert first.samples.shape[0] == second.samples.shape[0] == 2
    assert not np.array_equal(first.samples, second.samples)
    assert found.sti[1] > found.sti[0]
    assert f"{found.sti[0]:.2f} and {found.sti[1]:.2f}" in found.same_seat.words


def test_published_rows_name_table_or_page():
    """Printed: Bies, Hansen and Howard, Table 6.2; Barron, Appendix D; nothing from memory."""
    rows = page().printed.rows
    assert all("Table 6.2" in row.source or "Appendix D" in row.source for row in rows)
    assert not page().printed.faults and not page().by_hand.faults
