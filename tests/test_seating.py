"""Where people are: number, place and height of the listening points, alike on all sides, and words
for the worst.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from schools import SCENARIOS

from gymtools.venue.court import court
from gymtools.venue.hall import SIDES, Hall
from gymtools.venue.seating import (
    Bank,
    FloorSeats,
    SeatNumbers,
    along_wall,
    court_area,
    seats_of,
)

HALL = Hall(
    length=32,
    width=24,
    height=8,
    clear_height=7,
    floor="wood floor",
    roof="plain deck",
    walls="painted block",
)
BANK = Bank(name="bank", side="north", rows=6, row_run=0.6, row_rise=0.3, length=20, offset=-2)
CHAIRS = FloorSeats(name="chairs", x=4, y=-2, length=9, width=6)


def grid(area):
    return area.points.reshape(area.rows, area.columns, 3)


@given(
    rows=st.integers(1, 30),
    run=st.floats(0.45, 0.9),
    rise=st.floats(0, 0.5),
    length=st.floats(1.5, 30),
    first=st.floats(0.35, 1.5),
)
def test_bank_points(rows, run, rise, length, first):
    """Closed form: a point per half meter of every row, mid-row, seated ears 0.77 m over each row's
    board.
    """
    bank = Bank(
        name="b",
        side="north",
        rows=rows,
        row_run=run,
        row_rise=rise,
        length=length,
        first_height=first,
    )
    area = bank.audience_area(HALL)
    assert (area.rows, area.columns) == (rows, max(2, round(length / 0.5)))
    points, row = grid(area), np.arange(rows)
    np.testing.assert_allclose(points[:, 0, 2], first + row * rise + 0.77)
    np.testing.assert_allclose(12 - points[:, 0, 1], (rows - row - 0.5) * run)
    assert points[0, :, 0].mean() == pytest.approx(0, abs=1e-9)
    np.testing.assert_allclose(np.diff(points[0, :, 0]), length / area.columns)
    assert points[0, 0, 0] - length / area.columns / 2 == pytest.approx(-length / 2)
    assert np.ptp(points, axis=1)[:, 1:] == pytest.approx(0, abs=1e-9), (
        "a row is level and straight"
    )


def test_rows_run_and_rise():
    """Closed form: from row to row 0.6 m back and 0.3 m up; row 0 is nearest the court; offset
    along the wall.
    """
    points = grid(BANK.audience_area(HALL))
    np.testing.assert_allclose(
        np.diff(points, axis=0), np.broadcast_to([0, 0.6, 0.3], (5, 40, 3)), atol=1e-12
    )
    assert points[..., 0].mean() == pytest.approx(-2)
    assert points[0, 0, 1] == pytest.approx(12 - 3.6 + 0.3)


def test_bank_sizes():
    """Closed form: depth, top, seats of 0.46 m, and a closed bank: 1.1 m deep, no seats, no
    listeners.
    """
    assert (BANK.depth, BANK.top, BANK.seats) == pytest.approx((3.6, 0.43 + 5.5 * 0.3, 6 * 43))
    assert replace(BANK, length=4.6).seats == 60, "ten places of 0.46 m, rounding or not"
    assert BANK.audience_area(HALL).unit_seats * 6 * 40 == pytest.approx(BANK.seats)
    closed = replace(BANK, open=False)
    assert (closed.depth, closed.top, closed.seats) == pytest.approx((1.1, BANK.top, 0))
    assert closed.audience_area(HALL) is None


@given(length=st.floats(1.5, 20), offset=st.floats(-2, 2), rows=st.integers(1, 10))
def test_sides_are_mirror_images(length, offset, rows):
    """Invariance: north and south, east and west by the sign of y and x; north and east by
    exchanging x and y.
    """
    turned = replace(HALL, length=HALL.width, width=HALL.length)
    at = {
        s: replace(BANK, side=s, length=length, offset=offset, rows=rows).audience_area(HALL).points
        for s in SIDES
    }
    np.testing.assert_allclose(at["south"], at["north"] * [1, -1, 1], atol=1e-12)
    np.testing.assert_allclose(at["west"], at["east"] * [-1, 1, 1], atol=1e-12)
    east = replace(BANK, side="east", length=length, offset=offset, rows=rows)
    np.testing.assert_allclose(
        east.audience_area(turned).points, at["north"][:, [1, 0, 2]], atol=1e-12
    )


@pytest.mark.parametrize(
    "side, want",
    [
        ("north", (-12, 8, 8.4, 12)),
        ("south", (-12, 8, -12, -8.4)),
        ("east", (12.4, 16, -12, 8)),
        ("west", (-16, -12.4, -12, 8)),
    ],
)
def test_footprints(side, want):
    """Closed form: 20 m along the wall from -2, 3.6 m deep; all its listening points
    stand on it.
    """
    bank = replace(BANK, side=side)
    low_x, high_x, low_y, high_y = bank.footprint(HALL)
    assert (low_x, high_x, low_y, high_y) == pytest.approx(want)
    x, y, _ = bank.audience_area(HALL).points.T
    assert low_x < x.min() and x.max() < high_x and low_y < y.min() and y.max() < high_y


@pytest.mark.parametrize("side", SIDES)
def test_wall_frames(side):
    """Closed form: foot on the wall's middle, along and inward level and square to each other,
    inward to the center.
    """
    foot, along, inward = along_wall(side, HALL)
    assert along @ inward == 0 and along[2] == inward[2] == foot[2] == 0
    np.testing.assert_allclose(foot + inward * np.abs(foot).max(), 0, atol=1e-12)


def test_chairs():
    """Closed form: ten rows of twelve, one point a chair, ears at 1.2 m, evenly inside
    the block.
    """
    area = CHAIRS.audience_area()
    assert (area.rows, area.columns, CHAIRS.seats) == (10, 12, 120)
    points = grid(area)
    assert np.all(points[..., 2] == 1.2)
    np.testing.assert_allclose(points[:, 0, 0], 4 - 4.5 + 0.45 + 0.9 * np.arange(10))
    np.testing.assert_allclose(points[0, :, 1], -2 - 3 + 0.25 + 0.5 * np.arange(12))
    assert CHAIRS.footprint() == (-0.5, 8.5, -5, 1)
    assert area.unit_seats == 1


@pytest.mark.parametrize(
    "level", ["junior high", "high school", "college", "international", "volleyball"]
)
def test_court_points(level):
    """Closed form: about a meter apart, half a step inside the lines, standing ears,
    symmetrical.
    """
    lines = court(level)
    area = court_area(lines, HALL)
    points = grid(area)
    step = np.array([lines.length / area.rows, lines.width / area.columns])
    assert np.all(np.abs(step - 1) < 0.05)
    assert np.abs(points[..., :2]).reshape(-1, 2).max(axis=0) == pytest.approx(
        (np.array([lines.length, lines.width]) - step) / 2
    )
    assert np.all(points[..., 2] == 1.55)
    np.testing.assert_allclose(points[::-1, ::-1, :2], -points[..., :2], atol=1e-9)
    assert area.unit_seats == 0


@pytest.mark.parametrize(
    "side, axis, sign", [("north", 1, 1), ("south", 1, -1), ("east", 0, 1), ("west", 0, -1)]
)
@pytest.mark.parametrize("deep", [0.6, 1.2])
def test_court_points_stop_at_the_bank(side, axis, sign, deep):
    """Closed form: where a bank reaches over the lines the outermost points stand half a step
    before its front.
    """
    lines = court("international")
    hall = replace(HALL, length=30, width=17)
    bank = replace(BANK, side=side, rows=4, row_run=deep, offset=0, length=10)
    free, area = court_area(lines, hall), court_area(lines, hall, [bank])
    front = (hall.length, hall.width)[axis] / 2 - 4 * deep
    edge = min(front, (lines.length, lines.width)[axis] / 2)
    points = area.points[:, axis] * sign
    step = (edge + (lines.length, lines.width)[axis] / 2) / (area.rows, area.columns)[axis]
    assert points.max() == pytest.approx(edge - step / 2)
    assert points.min() == pytest.approx(-(lines.length, lines.width)[axis] / 2 + step / 2)
    assert len(area.points) < len(free.points)


def test_no_room_on_the_court():
    """Regression: a bank over the whole court is refused, for nobody could stand there."""
    bank = replace(BANK, rows=18, row_run=1.2, row_rise=0)
    with pytest.raises(
        ValueError, match=r"^the banks leave no room on the court\. Fewer rows, or a closed bank\?$"
    ):
        court_area(court("high school"), HALL, [bank])


@pytest.mark.parametrize(
    "area, index, words",
    [
        (BANK.audience_area(HALL), 0, "row 1 of 6, seat 1 of 43"),
        (BANK.audience_area(HALL), 85, "row 3 of 6, seat 6 of 43"),
        (CHAIRS.audience_area(), 119, "row 10 of 10, seat 12 of 12"),
        (court_area(court("volleyball"), HALL), 0, "8 m west, 4 m south of the center"),
        (
            court_area(court("volleyball"), HALL),
            18 * 9 - 1,
            "8 m east, 4 m north of the center",
        ),
    ],
)
def test_names_of_places(area, index, words):
    """Closed form: rows counted from the court, seats of 0.46 m from the west or south, not the
    points half a meter apart; on the court, meters from the center.
    """
    assert area.seat_words(index) == words


@given(points=st.integers(1, 200), count=st.integers(1, 200), most=st.integers(4, 300))
def test_seats_are_numbered_as_on_site(points, count, most):
    """Closed form: each point bears the number of the seat within which it lies, worked in whole
    numbers; its number leads back to it, or to one of the same seat; a thinned area keeps them.
    """
    found = SeatNumbers.even(points, count)
    assert found.count == count
    assert found.at.tolist() == [1 + (2 * n + 1) * count // (2 * points) for n in range(points)]
    for number in {1, count, *found.at.tolist()}:
        near = found.at[found.nearest(number)]
        assert near == number or number not in found.at
    area = replace(BANK, length=60.0).audience_area(replace(HALL, length=70.0))
    few = area.thinned(most)
    own = {tuple(p): area.numbers(k) for k, p in enumerate(area.points)}
    assert all(few.numbers(k) == own[tuple(p)] for k, p in enumerate(few.points))


@given(st.lists(st.integers(0, 2), min_size=1, max_size=60), st.integers(0, 500))
def test_counted_seats_add_up(numbers, seats):
    """Closed form: some and the others make up the area; some points are never no seat, and not all
    points are never all seats, but where a single seat has several points; a share is within a
    seat of its points' share.
    """
    which = np.array(numbers) == 2
    some, all_of = seats_of(which, seats), seats or len(which)
    assert 0 <= some <= all_of
    assert (some == all_of) >= which.all() and (some == 0) >= (not which.any())
    if 0 < which.sum() < len(which) and all_of > 1:
        assert 0 < some < all_of
        assert abs(some - which.mean() * all_of) <= 1


@pytest.mark.parametrize("wheelchair_spaces", [0, 6])
def test_one_count_of_a_bank_everywhere(wheelchair_spaces):
    """Regression: Larkfield's banks have 10 rows of 53 seats, 530; points, of which a row has 49,
    are never counted. Wheelchair spaces take their seats off the count, not off the rows' numbers.
    """
    bank = replace(SCENARIOS["larkfield"].banks[0], wheelchair_spaces=wheelchair_spaces)
    area = bank.audience_area(SCENARIOS["larkfield"].hall)
    assert (area.columns, bank.seats_in_row, area.row_numbers.count) == (49, 53, 10)
    # a space of 36 by 48 in: 2 seats side by side, 2 rows deep; one of them is its own
    assert area.seats == bank.seats == 530 - 3 * wheelchair_spaces
    assert area.seats_of(np.ones(len(area.points), bool)) == bank.seats
    assert area.seat_words(48) == "row 1 of 10, seat 53 of 53"
    assert {area.index_at(*area.numbers(k)) for k in range(490)} == set(range(490))


@pytest.mark.parametrize(
    "name, use", [(name, use) for name, s in SCENARIOS.items() for use in s.uses]
)
def test_scenario_areas(name, use):
    """Closed form: an area per bank not closed, per block of chairs set up, and the court; all
    points inside the hall.
    """
    s = SCENARIOS[name].configuration(use.name)
    banks = [b.name for b in SCENARIOS[name].banks if b.name not in use.closed]
    rows = [b.name for b in s.balconies if b.rows]
    chairs = [f.name for f in SCENARIOS[name].floor_seats if f.name in use.set_up]
    assert list(s.areas) == [*banks, *rows, *chairs, "court"]
    for area in s.areas.values():
        assert area.points.shape == (area.rows * area.columns, 3)
        x, y, z = area.points.T
        assert np.all(np.abs(x) < s.hall.length / 2) and np.all(np.abs(y) < s.hall.width / 2)
        assert np.all(z < s.hall.roof_height(y))
        assert len({area.seat_words(k) for k in range(len(x))}) == len(x) or area.kind == "court"


@pytest.mark.parametrize(
    "change, said",
    [
        (dict(side="up"), r"^side = 'up' is unknown\. Known: north, south, east, west\.$"),
        (dict(open="yes"), r"^open = 'yes' must be true or false\.$"),
        (dict(rows=0), r"^rows = 0 is outside 1 to 60\.$"),
        (dict(rows=2.5), r"^rows = 2\.5 is not a whole number\.$"),
        (
            dict(row_run=24),
            (
                r"^row_run = 24 m is outside 0\.45 to 1\.2 m\. Depth of one row, seat to seat\."
                r" Inches or centimeters given"
            ),
        ),
        (
            dict(row_rise=-0.1),
            r"^row_rise = -0\.1 m is outside 0 to 0\.6 m\. Rise from row to row\. Inches",
        ),
        (
            dict(first_height=17),
            (
                r"^first_height = 17 m is outside 0\.2 to 4 m\. Height of the first seat board over"
                r" the floor\.$"
            ),
        ),
        (
            dict(first_height=0.2, row_rise=0.5),
            r"^first_height = 0\.2 m is below 0\.3 m, the least for row_rise = 0\.5 m\.$",
        ),
        (
            dict(empty="bench emty"),
            r"^empty = 'bench emty' is unknown\. Did you mean 'bench empty'\?$",
        ),
    ],
)
def test_bank_refusals(change, said):
    """Regression: the refusals of a bank and their texts."""
    with pytest.raises(ValueError, match=said):
        replace(BANK, **change)


@pytest.mark.parametrize(
    "change, said",
    [
        (dict(length=0), r"^length = 0 m is outside 1 to 60 m\.$"),
        (dict(row_spacing=36), r"^row_spacing = 36 m is outside 0\.7 to 1\.5 m\.$"),
        (dict(full="pew"), r"^full = 'pew' is unknown\."),
    ],
)
def test_chairs_refusals(change, said):
    """Regression: the refusals of a block of chairs and their texts."""
    with pytest.raises(ValueError, match=said):
        replace(CHAIRS, **change)


@pytest.mark.parametrize("most", [4, 20, 60, 10_000])
def test_a_thinned_area_keeps_its_edges(most):
    """Invariance: no more points than asked, all of them among the area's own, corners kept, seats
    stood for unchanged.
    """
    hall = Hall(
        length=30,
        width=20,
        height=8,
        clear_height=7,
        floor="wood floor",
        roof="plain deck",
        walls="painted block",
    )
    area = Bank(name="b", side="north", rows=9, row_run=0.6, row_rise=0.3, length=17).audience_area(
        hall
    )
    few = area.thinned(most)
    assert len(few.points) == few.rows * few.columns <= max(most, 4) or few is area
    own = {tuple(p) for p in area.points.round(9)}
    assert all(tuple(p) in own for p in few.points.round(9))

    def corners(a):
        return a.points.reshape(a.rows, a.columns, 3)[[0, 0, -1, -1], [0, -1, 0, -1]]

    np.testing.assert_allclose(corners(few), corners(area))
    assert few.unit_seats * len(few.points) == pytest.approx(area.unit_seats * len(area.points))
