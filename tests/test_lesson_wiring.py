"""Lesson on power, lines and cable: watts judged by their ratio, and what a tap leaves of them."""

import json
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
    assert problem.answer == pytest.approx(10 ** ((92 + 10 - 97) / 10) * page.throw**2)
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
    assert at_seat == pytest.approx(92 + 10)
    assert watts == pytest.approx(page.watts.problem.answer)


def test_what_a_tap_leaves(page):
    """Independent: the most that the tap gives at the seat, less the level wanted."""
    problem = page.tap.problem
    most = 97 + 10 * np.log10(60) - 20 * np.log10(page.throw)
    assert problem.answer == pytest.approx(most - 92)
    short = 10 * np.log10(10 ** ((92 + 10 - 97) / 10) * page.throw**2 / 60)
    assert short == pytest.approx(6.8, abs=0.05) and 10 - short == pytest.approx(problem.answer)
    assert "how much the tap is short" in problem.slip(short).words
    chance = np.random.default_rng(6)
    (exercise,) = (e for e in wiring.EXERCISES if e.key == "wiring.left_on_tap")
    for _ in range(30):
        values = exercise.draw(chance)
        try:
            p = exercise.problem(**values)
        except ValueError:
            continue
        most = values["sensitivity_db"] + 10 * np.log10(values["tap_w"] / values["distance_m"] ** 2)
        assert p.answer == pytest.approx(most - values["level_db"])


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


def test_clipped_speech_is_cut_at_the_headroom(page):
    """Closed form: no sample over level and headroom; what is under it stays."""
    free = wiring.clipped(65.0, np.inf)
    cut = wiring.clipped(65.0, 3.0)
    most = 10 ** (68 / 20)
    assert np.abs(free).max() > 2 * most and np.abs(cut).max() == pytest.approx(most)
    under = np.abs(free) < most
    assert np.array_equal(free[under], cut[under]) and 0.5 < under.mean() < 1
    assert page.clipping.blind.right in page.clipping.heard()


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
