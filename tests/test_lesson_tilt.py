"""Lesson on tilt: the row to aim at comes out of distance and angle, and is not the back row."""

import math
from pathlib import Path

import numpy as np
import pytest

from gymtools import evaluate, load
from gymtools.display.lessons.tilt import BACK, FRONT, MIDDLE, OVER, TiltPage
from gymtools.physics.directivity import EDGE_DB, SKIRT
from gymtools.physics.playback import RATE, octave_levels_db
from gymtools.training.lessons import tilt
from gymtools.venue.paths import changed
from gymtools.venue.units import FOOT

SCHOOLS = Path(__file__).resolve().parent.parent / "scenarios"
NAMES = ("assembly", "north bank", "north row")


def school(name):
    return load(SCHOOLS / f"{name}.toml")


@pytest.fixture(scope="module")
def page():
    return TiltPage(
        units="ft", school=school("stonebridge"), names=NAMES, downtilt_deg=15.0, within_db=0.5
    )


def levels(bank, aimed):
    """Level of each row from pressures, row by row, with the numbers that the page names [dB]."""
    found = []
    for flat, below in zip(bank.rows, bank.below, strict=True):
        r = math.sqrt(flat**2 + below**2)
        off = aimed - math.degrees(math.atan(below / flat))
        loss = 6 * abs(off / 30) ** 2.5  # a beam of 60 degrees
        found.append(-20 * math.log10(r) - bank.alpha * r - loss)
    return np.array(found)


@pytest.mark.parametrize("name, row", [("stonebridge", 8), ("larkfield", 6)])
def test_the_row_comes_out_of_every_tilt(name, row):
    """Independent: all tilts in tenths of a degree; the most even one points at neither the last
    row nor the row of the first try.
    """
    bank, one, _ = tilt.serving(school(name), *NAMES)
    assert bank.angle_deg == one.type.vertical_deg == 60
    tilts = np.arange(-10, 90, 0.1)
    spread = [np.ptp(levels(bank, t)) for t in tilts]
    best = tilts[int(np.argmin(spread))]
    assert bank.best_deg == pytest.approx(best, abs=0.7)
    assert bank.uneven_db(bank.best_deg) == pytest.approx(min(spread), abs=0.4)
    down = np.degrees(np.arctan(bank.below / bank.rows))
    assert bank.row_met(bank.best_deg) == np.abs(down - best).argmin() + 1 == row
    assert row < bank.first_try < len(bank.rows)
    # the back row on the axis leaves the bank far less even
    assert np.ptp(levels(bank, down[-1])) > 2 * min(spread)


def test_the_numbers_of_the_pattern_are_said(page):
    """Independent: the edge loss and the steepness stand in words, and the table follows them."""
    text = page.pattern.value
    assert f"edge loss is {EDGE_DB:g} dB" in text and f"steepness is {SKIRT:g}" in text
    for share in (0.5, 1.0, 1.5):
        assert f"{6 * share**2.5:.1f} dB" in text


def test_the_formula_is_the_evaluation_of_one_loudspeaker():
    """Independent: direct sound of the same loudspeaker on the seats, with its whole balloon, at
    three tilts; the formula leaves its rear and its sides out.
    """
    given = school("stonebridge")
    bank, one, seats = tilt.serving(given, *NAMES)
    number = [c.tag for c in given.loudspeakers].index(one.tag)
    for aimed in (24.0, 38.0, 50.0):
        turned = changed(given, {("groups", "north row", "downtilt_deg"): aimed})
        found = evaluate(turned, "assembly", room="statistical")
        at = [np.linalg.norm(found.points - s, axis=1).argmin() for s in seats]
        heard = 10 * np.log10(found.direct[number, at, tilt.BAND])
        inside = np.abs(bank.down_deg - aimed) <= 30
        off = (bank.level_db(aimed) - heard)[inside]
        assert np.ptp(off) < 0.7, (aimed, off)


@pytest.mark.parametrize("units, per", [("m", 1.0), ("ft", FOOT)])
def test_slants_and_angles_as_drawn(units, per):
    """Worked by hand: a triangle of 3, 4 and 5, and one of 45 degrees."""
    p = tilt.favored(near_m=(3.0, 4.0), far_m=(8.0, 6.0), alpha=0.0, units=units)
    assert p.answer == pytest.approx(20 * math.log10(10 / 5))
    assert [s.value * per for s in p.steps[:2]] == pytest.approx([5.0, 10.0])
    assert tilt.down(7.0, 7.0, units).answer == pytest.approx(45.0)
    # 6 (15/30)^2.5 = 1.06 dB at the front, 6 dB at the back
    left = tilt.left(aimed_deg=45.0, near_deg=60.0, far_deg=15.0, angle_deg=60.0, favor_db=4.0)
    assert left.answer == pytest.approx(4 - 1.0607 + 6, abs=1e-3)


def test_a_back_row_that_is_nearer_is_refused():
    """Behavior: the question makes no sense then."""
    with pytest.raises(ValueError, match="farther from the loudspeaker"):
        tilt.favored(near_m=(8.0, 6.0), far_m=(3.0, 4.0))


def test_the_aim_is_reached_about_the_best_tilt_only(page):
    """Independent: every degree of the slider, counted from pressures."""
    bank = page.tilting.result[0]
    spread = {t: np.ptp(levels(bank, t)) for t in np.arange(-10.0, 91.0)}
    near = [t for t, s in spread.items() if s <= min(spread.values()) + 0.5]
    assert page.tilting.reaching("downtilt_deg") == near and 15.0 not in near


def test_where_the_axis_points_in_words(page):
    """Closed form: thirds of sixteen rows, and nothing above the last one."""
    bank = page.tilting.result[0]
    truth = page.tilting.setup.predict.truth
    rows = {3: FRONT, 8: MIDDLE, 9: MIDDLE, 14: BACK}
    for row, words in rows.items():
        assert truth(None, (bank, float(bank.down_deg[row - 1]))) == words
    assert truth(None, (bank, 2.0)) == OVER and truth(None, (bank, 85.0)) == OVER


def test_a_bank_of_two_rows_is_refused():
    """Behavior: there is nothing to choose on it."""
    given = school("stonebridge")
    with pytest.raises(ValueError, match="needs three or more"):
        tilt.serving(changed(given, {("banks", "north bank", "rows"): 2}), *NAMES)


def test_the_front_row_far_off_the_axis_is_dull(page):
    """Independent: measured in octaves; the tilt to the back takes the front row's high octaves,
    and leaves the low ones.
    """
    heard = {k: octave_levels_db(v.samples[0], RATE) for k, v in page.rows.heard().items()}
    lost = heard["front row, even tilt"] - heard["front row, axis at the back"]
    assert lost[4] > 10 > 6 > lost[0] > 0
    back = heard["back row, axis there"] - heard["front row, axis at the back"]
    assert back[4] > 15
