"""Lesson on reading a data sheet."""

import numpy as np
import pytest

from gymtools.display.lessons.data_sheet import DataSheetPage
from gymtools.physics.directivity import rectangular_q
from gymtools.physics.electrical import amplifier_power, line_load
from gymtools.training.lessons import data_sheet

FIRST = dict(sensitivity_db=96.0, rating_w=400.0, kind="program", distance_m=12.192)


@pytest.fixture(scope="module")
def page():
    """The page as committed."""
    return DataSheetPage(units="ft", first=FIRST, ohm=4.0, angle_deg=60.0, hold_hz=1000.0)


@pytest.mark.parametrize("half_deg", [20, 35, 44, 61, 79])
def test_the_angle_is_where_the_printed_polar_passes_6_db(half_deg):
    """Independent: the polar's own formula solved for its edge; rows of 10 degrees, joined by
    lines, find it within what counts as right.
    """
    problem = data_sheet.angle(float(half_deg))
    assert problem.right(2.0 * half_deg)
    half_power = 2 * half_deg * 0.5 ** (1 / data_sheet.FALL)
    assert problem.slips[1].value == pytest.approx(half_power, abs=4)
    assert problem.slips[1].value < problem.answer


@pytest.mark.parametrize("ohm, more", [(4.0, 3.0), (8.0, 0.0), (16.0, -3.0)])
def test_2_83_volts_against_one_watt(ohm, more):
    """Worked by hand: two watts into 4 ohms, one into 8, half a watt into 16."""
    assert 94.0 - data_sheet.sensitivity(94.0, ohm).answer == pytest.approx(more, abs=0.02)


@pytest.mark.parametrize("kind, share", [("continuous", 1), ("program", 2), ("peak", 4)])
def test_the_level_and_the_power_that_gives_it(kind, share):
    """Independent: the amplifier that the package asks for at that level is the continuous
    rating.
    """
    problem = data_sheet.maximum(91.0, 600.0, kind, 17.0, "m")
    power = amplifier_power(problem.answer, headroom_db=0, sensitivity_db=91.0, distance=17.0)
    assert power == pytest.approx(600.0 / share)
    feet = data_sheet.maximum(91.0, 600.0, kind, 17.0, "ft")
    assert feet.answer == pytest.approx(problem.answer, abs=0.1), "56 ft are 17.07 m"


def test_the_limit_of_control_as_it_was_given_in_inches():
    """Worked by hand: a million over inches times degrees: 10 in and 100 degrees hold to 1 kHz."""
    assert data_sheet.control(0.254, 100.0).answer == pytest.approx(1000.0)


def test_a_tap_loads_the_line_with_its_impedance():
    """Independent: the load of a line with that one tap."""
    for watts in (7.5, 15.0, 60.0):
        ohm = float(line_load([watts], volts=70.7)[1])
        for off in (0.93, 1.0, 1.07):
            problem = data_sheet.tap(off * ohm, 70.7)
            assert problem.answer == f"{watts:g} W"
            assert problem.steps[1].value == pytest.approx(watts / off, rel=0.02)


def test_the_aim_is_reached_by_brute_force_and_not_at_its_ends(page):
    """Independent: every step of the slider against a million over inches times degrees."""
    reached = [
        float(m) for m in np.arange(0.05, 2.001, 0.05) if 800 <= 1e6 / (m / 0.0254 * 60) <= 1000
    ]
    assert page.hold.reaching("mouth") == pytest.approx(reached)
    assert reached and not page.hold.aim.reached(page.hold.result)


def test_a_polar_of_the_picture_is_6_db_down_at_its_angle():
    """Independent: interpolated on the drawn polar, in octaves above and below the limit."""
    angles, limit, polars = data_sheet.pattern(0.5, 60.0)
    assert limit == pytest.approx(25400 / 30)
    around = data_sheet.AROUND_DEG
    front = around >= 0
    for band in (2, 4, 6):
        edge = np.interp(6.0, -polars[front, band], around[front])
        assert 2 * edge == pytest.approx(angles[band], abs=4)
    assert angles[2] > angles[4] == 60.0
    assert rectangular_q(60, 36) > 10, "a horn like this is no box"


def test_an_octave_takes_twice_the_mouth(page):
    """Closed form: mouth times frequency is the same."""
    for mouth in page.hold.reaching("mouth"):
        found = page.hold.compute(mouth, 60.0)
        assert page.hold.setup.predict.truth(None, found) == "twice as large"
        assert data_sheet.pattern(2 * mouth, 60.0)[1] == pytest.approx(found[1] / 2)


def test_the_edge_is_heard_6_db_down(page):
    """Independent: root mean square of the sounds themselves."""
    axis, half, edge = (10 * np.log10((s.samples**2).mean()) for s in page.heard.heard().values())
    assert axis - half == pytest.approx(3) and axis - edge == pytest.approx(6)


def test_every_drawn_answer_is_a_usual_tap():
    """Trade fact: 3.75 to 250 W (common practice, no source); the reading gives it again within a
    few percent, seldom exactly.
    """
    usual = "3.75 W, 7.5 W, 15 W, 30 W, 60 W, 100 W, 150 W, 200 W, 250 W".split(", ")
    exercise = next(e for e in data_sheet.EXERCISES if e.key == "data_sheet.tap")
    chance, drawn, exact = np.random.default_rng(7), set(), 0
    for _ in range(300):
        values = exercise.draw(chance)
        answer = data_sheet.tap(**values).answer
        power = values["volts"] ** 2 / values["ohm"] / float(answer.split()[0])
        assert answer in usual and abs(power - 1) < 0.09
        drawn.add(answer)
        exact += abs(power - 1) < 0.003
    assert drawn == set(usual) and exact < 60
    with pytest.raises(ValueError, match="no usual tap"):
        data_sheet.tap(500.0, 70.7)


def test_the_other_voltage_is_said_as_it_is():
    """Worked by hand: 333 Ω: 15 W at 70.7 V and 30 W at 100 V, where 15 W is the mistake."""
    low, high = data_sheet.tap(333.0, 70.7), data_sheet.tap(333.0, 100.0)
    assert (low.answer, high.answer) == ("15 W", "30 W")
    assert "one of 100 V" in low.slip("30 W").words
    assert "one of 70.7 V" in high.slip("15 W").words


def test_no_row_by_hand_answers_a_question(page):
    """Behavior: neither its numbers nor its result are those of a question above it."""
    rows = [(r.what, r.given) for r in page.by_hand.rows]
    printed = [w for w, _ in rows if "94.0 dB printed" in w]
    assert not printed and "94.0 dB" in page.sensitivity.problem.words
    for question in page.questions.values():
        assert not any(question.problem.say(question.problem.answer) == v for _, v in rows)
        number = question.problem.say(question.problem.answer).split()[0]
        assert number not in {v for _, v in rows}


def test_lengths_are_round_in_the_units_of_the_reader():
    """Behavior: whole feet and whole inches, said once; half meters and centimeters."""
    feet = data_sheet.maximum(96.0, 400.0, "program", 12.0, "ft").words
    assert "39 ft 0 in (11.89 m)?" in feet and "(12.0 m)" not in feet
    assert "20 in (0.508 m)" in data_sheet.control(0.5, 90.0, "ft").words
    assert "12.50 m" in data_sheet.maximum(96.0, 400.0, "program", 12.5, "m").words


def test_the_slider_begins_at_a_round_length(page):
    """Worked by hand: 0.75 ft are 0.2286 m."""
    assert page.hold.values["mouth"] == pytest.approx(0.2286)
    metric = DataSheetPage(units="m", first=FIRST, ohm=4.0, angle_deg=60.0, hold_hz=1000.0)
    assert metric.hold.values["mouth"] == 0.2
