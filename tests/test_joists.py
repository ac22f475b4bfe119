"""Rows of loudspeakers and the joists that carry them."""

import pytest
from schools import SCENARIOS

from gymtools.venue.joists import joist_warnings
from gymtools.venue.paths import changed

LARKFIELD = SCENARIOS["larkfield"]
FOOT = 0.3048


def under_joists(spacing_ft, joist_ft, along="width"):
    """Warnings about Larkfield's rows, which hang along the gym, 112 ft long."""
    rows = {("groups", name, "spacing"): spacing_ft * FOOT for name in ("north row", "south row")}
    roof = dict(joist_spacing=joist_ft * FOOT, joists_along=along, first_joist=joist_ft * FOOT)
    joists = {("hall", key): value for key, value in roof.items()}
    return joist_warnings(changed(LARKFIELD, {**rows, **joists}))


@pytest.mark.parametrize(
    "spacing, joist, under, whole",
    [
        # joists every 8 ft from the west wall: the middle of 112 ft is under one, 28 ft beside it
        # lie between two
        (28.0, 8.0, "1 of its 3 loudspeakers hangs", "With 24 ft 0 in or 32 ft 0 in all could"),
        (26.0, 8.0, "1 of its 3 loudspeakers hangs", "With 24 ft 0 in or 32 ft 0 in all could"),
        (24.0, 8.0, None, None),
        (28.0, 7.0, None, None),
    ],
)
def test_a_row_between_joists_is_said(spacing, joist, under, whole):
    """Worked by hand: a row whose spacing is no multiple of the joists' hangs on one joist only;
    the multiples beside it are named.
    """
    said = [words for words in under_joists(spacing, joist) if words.startswith("'north row'")]
    if under is None:
        assert not said
    else:
        assert under in said[0] and whole in said[0]


def test_joists_along_a_row_or_unknown_say_nothing():
    """Behavior: all of a row that runs along a joist can hang from it; without joists in the file
    nothing is known, so nothing is said.
    """
    assert not [w for w in under_joists(28.0, 8.0, "length") if "apart" in w]
    assert not joist_warnings(LARKFIELD)
