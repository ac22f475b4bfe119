"""Lesson on distance and level: what it asks, in the learner's units, and what counts as right."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest

from gymtools.display.lessons.distance import DistancePage
from gymtools.training.lessons import distance
from gymtools.training.round_lengths import round_length
from gymtools.venue.units import FOOT

BOOK = "01_distance_and_level.ipynb"
BOOKS = Path(__file__).resolve().parent.parent / "workbooks" / "training"
FIRST = dict(front_m=20 * FOOT, back_m=80 * FOOT, temperature_c=20.0, humidity_pct=30.0)


@pytest.fixture(scope="module")
def page():
    return DistancePage(units="ft", first=FIRST, loudspeakers=2, height_m=16 * FOOT, even_db=3.0)


def test_the_parameters_are_round_in_feet():
    """Behavior: the lesson is committed in feet, so its lengths are whole feet."""
    cells = json.loads((BOOKS / BOOK).read_text(encoding="utf-8"))["cells"]
    source = "".join(next(c["source"] for c in cells if c["id"] == "parameters"))
    lengths = [float(v) for v in re.findall(r"_m = ([\d.]+)", source)]
    feet = [v / FOOT for v in lengths]
    assert len(feet) == 3 and feet == pytest.approx([round(v) for v in feet], abs=1e-6)
    assert 'units = "ft"' in source


def test_sliders_begin_at_whole_feet(page):
    """Behavior: no box shows a converted meter."""
    feet = [v / FOOT for v in page.apart.values.values()]
    assert feet == pytest.approx([8.0, 16.0])


@pytest.mark.parametrize("units, step", [("ft", FOOT), ("m", 0.5)])
def test_a_length_is_rounded_in_the_units(units, step):
    """Closed form: a whole number of steps, no farther off than half of one, never none."""
    for length in np.linspace(0.3, 40, 200):
        found = round_length(length, units)
        assert found / step == pytest.approx(round(found / step)) and found > 0
        assert abs(found - length) <= step / 2 + 1e-9
    assert round_length(0.01, units) == pytest.approx(step)


def test_drawn_distances_are_whole_feet_or_half_meters():
    """Behavior: nobody has to divide by 13 ft 1 1/2 in."""
    chance = np.random.default_rng(1)
    (asked,) = [e for e in distance.EXERCISES if e.key == "distance.quieter"]
    for _ in range(60):
        values = asked.draw(chance)
        feet = asked.problem(units="ft", **values).words
        assert len(re.findall(r"\d ft 0 in \(", feet)) == 2
        meters = asked.problem(units="m", **values).words
        assert len(re.findall(r"\d\.[05]0 m \(", meters)) == 2


def test_the_temperature_is_in_the_units_of_the_learner():
    """Worked by hand: 20 °C is 20 · 9/5 + 32 = 68 °F; Fahrenheit first with feet."""
    assert "68 °F (20 °C)" in distance.quieter(**FIRST, units="ft").words
    assert "°F" not in distance.quieter(**FIRST, units="m").words


def test_the_air_counts_in_every_drawing():
    """Independent: who leaves the air or the spreading out is told so, never right."""
    chance = np.random.default_rng(3)
    (asked,) = [e for e in distance.EXERCISES if e.key == "distance.quieter"]
    for n in range(300):
        p = asked.problem(units=("m", "ft")[n % 2], **asked.draw(chance))
        back, front = (float(v) for v in re.findall(r": ([\d.]+) / ([\d.]+)", p.steps[0].words)[0])
        without = 20 * math.log10(back / front)
        assert p.answer - without > 2 * p.near and not p.right(without)


def test_three_decibels_for_each_loudspeaker_is_a_mistake():
    """Closed form: 10 log of the ratio; four loudspeakers are 6 dB over one, not 9."""
    p = distance.louder(4)
    assert p.answer == pytest.approx(10 * math.log10(4))
    assert not p.right(9.0) and "each loudspeaker" in p.slip(9.0).words
    assert distance.louder(6, before=3).answer == pytest.approx(10 * math.log10(2))
    for n, before in ((2, 1), (12, 1), (16, 4)):
        p = distance.louder(n, before)
        assert all(p.low <= slip.value <= p.high for slip in p.slips)
    with pytest.raises(ValueError, match="not more than"):
        distance.louder(2, before=2)
