"""Meters and feet at the edge of the package."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.venue import units


def test_foot_is_the_international_foot():
    """Printed: NIST SP 811 (2008), Table B.8, 1 ft = 0.3048 m exactly, 1 in = 0.0254 m exactly."""
    assert units.FOOT == 0.3048
    assert units.INCH == pytest.approx(0.0254, rel=1e-15)


@pytest.mark.parametrize(
    "meters, text",
    [
        (0.0, "0 ft 0 in"),
        (0.0127, "0 ft 0 1/2 in"),
        (0.3048, "1 ft 0 in"),
        (3.048, "10 ft 0 in"),
        (7.0, "22 ft 11 1/2 in"),  # 275.59 in
        (25.6032, "84 ft 0 in"),
        (3.6575, "12 ft 0 in"),  # 11 ft 11.996 in: carries into the feet
        (3.6449, "11 ft 11 1/2 in"),
        (-7.0, "-22 ft 11 1/2 in"),
        (-3.6575, "-12 ft 0 in"),
        (-0.001, "0 ft 0 in"),  # no minus nought
        (-0.0127, "-0 ft 0 1/2 in"),
    ],
)
def test_feet_inches(meters, text):
    """Closed form: worked by hand from 1 in = 0.0254 m."""
    assert units.feet_inches(meters) == text


@given(st.floats(-200, 200))
def test_feet_inches_reads_back_to_a_quarter_inch(meters):
    """Invariance: never 12 in, and the text is the length to half a step."""
    sign, feet, inches, half = re.fullmatch(
        r"(-?)(\d+) ft (\d+)( 1/2)? in", units.feet_inches(meters)
    ).groups()
    assert int(inches) < 12
    read = (12 * int(feet) + int(inches) + (0.5 if half else 0)) * 0.0254 * (-1 if sign else 1)
    assert abs(read - meters) <= 0.25 * 0.0254 + 1e-9


@pytest.mark.parametrize("unit, power", [("m", 1), ("m2", 2), ("m3", 3)])
@given(value=st.floats(-1e6, 1e6))
def test_round_trip(unit, power, value):
    """Invariance: 12 significant digits survive the file."""
    inside = units.from_file(value, unit, "ft")
    assert inside == pytest.approx(value * 0.3048**power, rel=1e-14)
    assert units.to_file(inside, unit, "ft") == pytest.approx(value, rel=1e-11)
    assert units.to_file(units.from_file(value, unit, "m"), unit, "m") == value


@given(st.integers(0, 4000))
def test_tenths_of_a_foot_come_back_clean(tenths):
    """Invariance: a saved file shows 22.3, not 22.300000000000004."""
    assert units.to_file(units.from_file(tenths / 10, "m", "ft"), "m", "ft") == tenths / 10


def test_other_units_and_other_types_pass():
    """Closed form: decibels, degrees, texts, switches and missing values do not change."""
    assert units.from_file(85.0, "dB", "ft") == 85.0
    assert units.to_file(30.0, "deg", "ft") == 30.0
    assert units.from_file("north", "m", "ft") == "north"
    assert units.from_file(True, "m", "ft") is True
    assert units.from_file(None, "m", "ft") is None


def test_lists_and_arrays():
    """Closed form: 10 ft = 3.048 m, element by element."""
    assert units.from_file([10, (20.0, "x")], "m", "ft") == [
        pytest.approx(3.048),
        [pytest.approx(6.096), "x"],
    ]
    assert units.to_file([[3.048]], "m", "ft") == [[10.0]]
    np.testing.assert_allclose(
        units.from_file(np.array([10.0, 20.0]), "m2", "ft"), [0.9290304, 1.8580608], rtol=1e-14
    )


def test_length_text():
    """Worked by hand: lengths as files and schedules show them, none of them minus nothing."""
    assert units.length_text(7.0, "m") == "7.00 m"
    assert units.length_text(-0.001, "m") == "0.00 m"
    assert units.length_text(7.0, "ft") == "22 ft 11 1/2 in"
    assert units.both(7.0) == "7.00 m (22 ft 11 1/2 in)"
    assert units.both(np.float64(3.048)) == "3.05 m (10 ft 0 in)"


@pytest.mark.parametrize(
    "slip, hint",
    [
        ("feet", "Did you mean 'ft'"),
        ("FT", "Did you mean 'ft'"),
        ("meters", "Did you mean 'm'"),
        ("yd", "Known: m, ft"),
    ],
)
def test_refuses_unknown_units(slip, hint):
    """Behavior: a slip is refused with the unit that was meant."""
    said = rf"units = '{slip}' is unknown\. {hint}"
    with pytest.raises(ValueError, match=said):
        units.from_file(1.0, "m", slip)
    with pytest.raises(ValueError, match=said):
        units.to_file(1.0, "dB", slip)
    with pytest.raises(ValueError, match=said):
        units.length_text(1.0, slip)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_refuses_a_length_that_is_none(bad):
    """Behavior: no text is made of a length that is not a number."""
    with pytest.raises(ValueError, match=r"meters = (nan|inf) m is outside"):
        units.feet_inches(bad)
    with pytest.raises(ValueError, match=r"meters = (nan|inf) m is outside"):
        units.length_text(bad, "m")


@pytest.mark.parametrize(
    "area, system, words", [(600.0, "ft", "6,458 ft²"), (599.2, "m", "599 m²"), (0, "ft", "0 ft²")]
)
def test_an_area_in_words(area, system, words):
    """Worked by hand: 600 m2 / 0.3048^2 = 6458.3 square feet; thousands have a comma."""
    assert units.area_text(area, system) == words
