"""Lesson on power, lines and cable: watts judged by their ratio, and what a tap leaves of them."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from gymtools.display.lessons import wiring as page_of
from gymtools.display.lessons.wiring import WiringPage
from gymtools.training.lessons import wiring

ROOT = Path(__file__).resolve().parent.parent
COPPER = 1 / 58  # IEC 60028 [ohm mm2/m]


@pytest.fixture(scope="module")
def page():
    """The page as committed, in meters."""
    return WiringPage(
        units="m",
        place=dict(
            scenario=str(ROOT / "scenarios" / "larkfield.toml"),
            use="game",
            bank="north bank",
            group="north row",
        ),
        wanted=dict(level_db=92.0, headroom_db=10.0),
        line=dict(line_volts=70.7, tap_w=60.0),
        cable=dict(awg=14.0, loss_db=0.5),
    )


def area_mm2(awg):
    """ASTM B258: gauge to cross-section."""
    return np.pi / 4 * (0.127 * 92 ** ((36 - awg) / 39)) ** 2


def test_watts_are_judged_by_their_ratio(page):
    """Closed form: half a decibel either way of few watts and of many, as a ratio."""
    problem = page.watts.problem
    assert problem.answer == pytest.approx(10**0.5 * round(page.throw, 2) ** 2)
    assert problem.answer == pytest.approx(287, abs=1)
    assert problem.right(problem.answer + 20), "20 W of 287 W are a third of a decibel"
    for level in (70.0, 82.0, 92.0, 101.0):
        p = wiring.watts(level, 10.0, 97.0, page.throw)
        assert p.right(p.answer * 10**0.049) and not p.right(p.answer * 10**0.06)
        assert p.right(p.answer * 10**-0.049) and not p.right(p.answer * 10**-0.08)
    small = wiring.watts(82.0, 10.0, 97.0, page.throw)
    assert not small.right(small.answer + 20), "20 W more are two decibels there"


def test_a_slip_in_watts_has_a_tolerance_of_its_own(page):
    """Closed form: within half a decibel of the slip it is meant, farther away it is not."""
    p = page.watts.problem
    no_headroom = p.answer / 10
    assert "leaves out the headroom" in p.slip(0.95 * no_headroom).words
    assert p.slip(2.5 * no_headroom) is None or "headroom" not in p.slip(2.5 * no_headroom).words
    assert "10 log of the distance" in p.slip(p.answer / page.throw).words


def test_decibels_first_then_watts(page):
    """Independent: level at the seat from the watts, forward."""
    watts = 10 ** (page.over_watt.problem.answer / 10)
    at_seat = 97 + 10 * np.log10(watts) - 20 * np.log10(page.throw)
    assert at_seat == pytest.approx(92 + 10, abs=0.01)
    assert watts == pytest.approx(page.watts.problem.answer)


def test_what_a_tap_leaves(page):
    """Independent: the most that the tap gives at the seat, less the level wanted."""
    problem = page.tap.problem
    most = 97 + 10 * np.log10(60) - 20 * np.log10(page.throw)
    assert problem.answer == pytest.approx(most - 92, abs=0.01)
    short = 10 * np.log10(10 ** ((92 + 10 - 97) / 10) * page.throw**2 / 60)
    assert short == pytest.approx(6.8, abs=0.05) and 10 - short == pytest.approx(
        problem.answer, abs=0.01
    )
    assert "how much the tap is short" in problem.slip(short).words
    chance = np.random.default_rng(6)
    (exercise,) = (e for e in wiring.EXERCISES if e.key == "wiring.left_on_tap")
    for _ in range(30):
        values = exercise.draw(chance)
        p = exercise.problem(**values, units="m")
        most = values["sensitivity_db"] + 10 * np.log10(values["tap_w"] / values["distance_m"] ** 2)
        assert p.answer == pytest.approx(most - values["level_db"])


@pytest.mark.parametrize("units", ["m", "ft"])
def test_what_is_drawn_is_built(units):
    """Trade fact: amplifiers of 5 to 800 W (common practice, no source), and headroom that is
    hardly ever all used up; worked from the numbers in the words, in round lengths.
    """
    chance, seen = np.random.default_rng(10), set()
    by_key = {e.key: e for e in wiring.EXERCISES}
    for n in range(300):
        p = by_key[("wiring.watts", "wiring.left_on_tap")[n % 2]].drawn(chance, units=units)
        seen.add(p.words)
        numbers = r"sensitivity of (\d+) dB.* give (\d+) dB .* with (\d+) dB of headroom"
        sensitivity, level, headroom = map(float, re.search(numbers, p.words).groups())
        way = re.search(r"seat (\d+) ft 0 in|seat (\d+\.[05]0) m", p.words)
        meters = 0.3048 * float(way[1]) if units == "ft" else float(way[2])
        power = 10 ** ((level + headroom - sensitivity) / 10) * meters**2
        assert 5 <= power <= 800, p.words
        if n % 2:
            tap = float(re.search(r"set to ([\d.]+) W", p.words)[1])
            left = headroom - 10 * np.log10(power / tap)
            assert p.answer == pytest.approx(left, abs=0.02) and left >= -3
        else:
            assert p.answer == pytest.approx(power, rel=2e-3)
    assert len(seen) > 250


def test_a_named_mistake_is_never_right():
    """Behavior: in 200 drawings, what was taken for the headroom left is well away from it."""
    chance = np.random.default_rng(11)
    for e in wiring.EXERCISES:
        for _ in range(200):
            p = e.drawn(chance, **({"units": "ft"} if e.needs_units else {}))
            assert all(abs(slip.value - p.answer) > 2 * p.near for slip in p.slips), p.words


def test_a_ratio_adds_up_as_printed():
    """Independent: 45 W over a tap of 10 W is not 4.52: each line worked again as it is shown."""
    chance = np.random.default_rng(12)
    (exercise,) = (e for e in wiring.EXERCISES if e.key == "wiring.left_on_tap")
    for _ in range(100):
        _, needed, ratio, short, left = exercise.drawn(chance, units="ft").steps
        watts, tap = map(float, re.search(r": ([\d.]+) / ([\d.]+)$", ratio.words).groups())
        assert watts == float(needed.said.split()[0].replace(",", ""))
        assert ratio.said == f"{watts / tap:.3f} times"
        assert short.said == f"{10 * np.log10(float(ratio.said.split()[0])):.2f} dB"
        shown = float(left.words.partition(": ")[2].split(" − ")[0]) - float(short.said.split()[0])
        assert left.value == pytest.approx(shown, abs=0.06)


def test_a_tap_that_is_large_enough_asks_nothing():
    """Behavior: refused in one line."""
    with pytest.raises(ValueError, match="gives all of"):
        wiring.left_on_tap(80.0, 6.0, 97.0, 9.5, tap_w=60.0)


def test_the_page_says_what_the_tap_means_when_it_was_answered(page):
    """Behavior: no number before, all of them after the answer; watts and decibels worked here."""
    assert "Answer the question" in page.shortfall.value and "287" not in page.shortfall.value
    page.tap.give(0.01)
    assert "287" not in page.shortfall.value, "one wrong answer does not tell"
    page.tap.give(page.tap.problem.answer)
    needed = 10 ** ((92 + 10 - 97) / 10) * page.throw**2
    said = page.shortfall.value
    short = 10 * np.log10(needed / 60)
    for words in (f"{needed:.0f} W", "gives 60 W", f"{short:.1f} dB short", f"{10 - short:.1f} dB"):
        assert words in said, words


def test_not_even_the_level_is_said_so():
    """Worked by hand: 100 dB at 20 m, 95 dB for 1 W: 31.0 dB, 1265 W; 15 W are 19.3 dB short of it
    with 10 dB of headroom in 41.0 dB: 12650 W, 29.3 dB short.
    """
    problem = wiring.left_on_tap(100.0, 10.0, 95.0, 20.0, tap_w=15.0)
    assert problem.answer == pytest.approx(-19.3, abs=0.05)
    assert "not even the level itself" in page_of.shortfall(problem)


def test_longer_cable_for_the_same_loss(page):
    """Independent: the divider of cable and load, at ten meters and at so many times ten."""
    times = page.longer.problem.answer

    def loss(run, ohm):
        return 20 * np.log10(1 + 2 * run * COPPER / area_mm2(14) / ohm)

    assert loss(10 * times, 5000 / 60) == pytest.approx(loss(10, 8.0))
    assert times == pytest.approx(10.4, abs=0.05)


def test_the_aim_holds_for_the_runs_that_ohms_law_gives(page):
    """Independent: every step of the slider, by resistance over load."""
    slider = page.cabling.adjustments["run"]
    runs = np.arange(slider.low, slider.high + slider.step / 2, slider.step)
    loss = 20 * np.log10(1 + 2 * runs * COPPER / area_mm2(14) / 8.0)
    right = runs[(loss >= 0.4) & (loss <= 0.5)]
    assert len(right) and page.cabling.reaching("run") == list(right)
    longest = wiring.longest_run(14, 8.0, 0.5)
    assert right[-1] <= longest < right[-1] + slider.step


def test_the_prediction_comes_true_as_computed(page):
    """Independent: a run over, under and within the limits."""
    truth, compute = page.cabling.setup.predict.truth, page.cabling.compute
    for run, said in ((54.0, page_of.SHORTER), (10.0, page_of.LONGER), (26.0, page_of.RIGHT)):
        start = compute(run, 14.0, 1, 0)
        loss = 20 * np.log10(1 + 2 * run * COPPER / area_mm2(14) / 8.0)
        inside = 0.4 <= loss <= 0.5
        assert inside == (said == page_of.RIGHT) and truth(start, start) == said


def test_a_line_and_more_loudspeakers(page):
    """Worked by hand: two taps of 60 W are 5000 / 120 = 41.7 ohm; three times 8 ohm are 2.67."""
    assert page.cabling.compute(10, 14, 2, 1)["ohm"] == pytest.approx(41.667, abs=0.001)
    assert page.cabling.compute(10, 14, 3, 0)["ohm"] == pytest.approx(2.667, abs=0.001)


def level_db(samples):
    """Root mean square, not weighted [dB]."""
    return 10 * np.log10((samples**2).mean())


def test_clipped_speech_is_cut_where_an_amplifier_clips(page):
    """Closed form: a sine of the rated power has peaks 10 log 2 = 3 dB over its level, so no
    sample is more than that over level and headroom; what is under it stays.
    """
    free = wiring.clipped(65.0, np.inf)
    cut = wiring.clipped(65.0, 3.0)
    most = 10 ** ((level_db(free) + 3.0 + 3.0) / 20)
    assert np.abs(free).max() > 1.5 * most and np.abs(cut).max() == pytest.approx(most)
    under = np.abs(free) < most
    assert np.array_equal(free[under], cut[under]) and 0.5 < under.mean() < 1
    assert page.clipping.blind.right in page.clipping.heard()


def test_all_the_headroom_hardly_loses_level_and_the_tap_does(page):
    """Closed form: levels of what is heard: under 0.3 dB with all the headroom, over 1 dB more
    with what the tap leaves.
    """
    heard = page.clipping.heard()
    names = "nothing clips", "all the headroom", "what the tap leaves"
    free, full, tap = (level_db(heard[name].samples.astype(float)) for name in names)
    assert 0 < free - full < 0.3
    assert full - tap > 1.0


def test_the_table_does_not_answer_the_question_on_the_page(page):
    """Behavior: no row is of the tap that is asked for, whichever it is."""
    asked = f"a tap of {page.line['tap_w']:g} W on a {page.line['line_volts']:g} V line"
    assert not any(asked in row.what for row in page.by_hand.rows)
    assert sum("a tap of" in row.what for row in page.by_hand.rows) == len(page_of.TAPS)
    rows = page_of._by_hand(dict(tap_w=15, line_volts=70.7)).rows
    assert not any("a tap of 15 W on a 70.7" in row.what for row in rows)


def test_the_page_warns_of_ac_power_in_bold():
    """Behavior: on the first cell, and again in the list for practitioners."""
    path = ROOT / "workbooks" / "training" / "10_power_lines_and_cable.ipynb"
    book = json.loads(path.read_text(encoding="utf-8"))
    first, *_, practice = (
        "".join(c["source"])
        for c in book["cells"]
        if {"title", "practice"} & set(c["metadata"].get("tags", []))
    )
    assert "**AC power kills" in first and "licensed electrician" in first
    assert "**AC power:" in practice
