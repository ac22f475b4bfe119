"""Courts: published sizes, and lines that join and stay inside."""

import dataclasses

import numpy as np
import pytest

from gymtools.venue.court import COURTS, court

FOOT, INCH = 0.3048, 0.0254
BASKETBALL = ["junior high", "high school", "college", "international"]


def test_levels():
    """Behavior: the levels of play that a scenario file may name."""
    assert list(COURTS) == [*BASKETBALL, "volleyball"]


@pytest.mark.parametrize(
    "level, length_ft, width_ft, radius_in",
    [
        ("junior high", 74, 42, 12 * 19 + 9),
        ("high school", 84, 50, 12 * 19 + 9),
        ("college", 94, 50, 12 * 22 + 1.75),
    ],
)
def test_sizes_in_feet_are_exact(level, length_ft, width_ft, radius_in):
    """Printed: NFHS 2019-20, Rules 1-1, 1-3 and 1-4, and the NCAA court diagram: court, circle and
    three-point line; the other marks, and the junior court, are from memory.
    """
    c = court(level)
    got = [
        c.length,
        c.width,
        c.hoop_height,
        c.key_width,
        c.free_throw,
        c.circle_radius,
        c.three_point_radius,
    ]
    want = [
        length_ft * FOOT,
        width_ft * FOOT,
        10 * FOOT,
        12 * FOOT,
        19 * FOOT,
        6 * FOOT,
        radius_in * INCH,
    ]
    assert got == pytest.approx(want, rel=1e-14)
    assert [c.hoop_inset, c.board_inset, c.board_width, 2 * c.ring_radius] == pytest.approx(
        [63 * INCH, 4 * FOOT, 6 * FOOT, 18 * INCH], rel=1e-14
    )


def test_high_school_straight_part_ends_at_the_rim():
    """Printed: NFHS 2019-20, Rule 1-4: a semicircle, carried on 63 in to the end line."""
    c = court("high school")
    corner = np.array(
        [[c.length / 2, -c.three_point_corner], [c.length / 2 - 63 * INCH, -c.three_point_corner]]
    )
    np.testing.assert_allclose(three_point(c, end=0)[:2], corner, atol=1e-12)


def test_international_and_volleyball():
    """Printed: FIBA (28 x 15 m, 6.75 m, 0.90 m from the sideline, 4.90 m, 5.80 m, 1.80 m) and FIVB
    (18 x 9 m, 3 m).
    """
    c = court("international")
    assert (
        c.length,
        c.width,
        c.three_point_radius,
        c.key_width,
        c.free_throw,
        c.circle_radius,
    ) == (28, 15, 6.75, 4.90, 5.80, 1.80)
    assert c.width / 2 - c.three_point_corner == pytest.approx(0.90)
    assert court("college").three_point_corner == pytest.approx(c.three_point_corner, abs=INCH / 8)
    assert (
        court("volleyball").length,
        court("volleyball").width,
        court("volleyball").attack_line,
    ) == (18, 9, 3)


def three_point(c, end):
    """Three-point line of end 0 (+x) or 1 (-x): boundary, center line and circle come first, five
    lines per end.
    """
    return c.lines()[3 + 5 * end + 2]


@pytest.mark.parametrize("end", [0, 1])
@pytest.mark.parametrize("level", BASKETBALL)
def test_three_point_line_joins(level, end):
    """Closed form: all but the two ends lie on the arc, the first and last piece run along the
    court.
    """
    c = court(level)
    line, rim = three_point(c, end), c.hoops()[end, :2]
    assert np.linalg.norm(line[1:-1] - rim, axis=1) == pytest.approx(
        c.three_point_radius, rel=1e-12
    )
    assert line[[0, -1], 1] == pytest.approx(line[[1, -2], 1], abs=1e-12)
    assert abs(line[[0, -1], 0]) == pytest.approx(c.length / 2)
    assert np.abs(line[:, 1]).max() <= c.width / 2
    assert np.linalg.norm(np.diff(line[1:-1], axis=0), axis=1).max() < 0.4, "the arc looks round"


@pytest.mark.parametrize(
    "level, count", [*((level, 13) for level in BASKETBALL), ("volleyball", 4)]
)
def test_all_lines_lie_inside_the_boundary(level, count):
    """Closed form: the outer line is the boundary, and no other leaves it."""
    c = court(level)
    lines = c.lines()
    assert len(lines) == count
    np.testing.assert_array_equal(np.abs(lines[0]), np.tile([c.length / 2, c.width / 2], (5, 1)))
    points = np.concatenate(lines)
    assert points.shape[1] == 2
    assert np.all(np.abs(points) <= [c.length / 2 + 1e-12, c.width / 2 + 1e-12])


@pytest.mark.parametrize("level", COURTS)
def test_both_ends_are_alike(level):
    """Invariance: half a turn maps the set of points onto itself, and so does a mirror."""
    points = {
        (round(float(x), 6) + 0.0, round(float(y), 6) + 0.0)
        for x, y in np.concatenate(court(level).lines())
    }
    for turn in ((-1, -1), (1, -1)):
        assert points == {(x * turn[0] + 0.0, y * turn[1] + 0.0) for x, y in points}


@pytest.mark.parametrize("level", BASKETBALL)
def test_key_circles_ring_and_board(level):
    """Closed form: each mark of the +x end against its published size."""
    c = court(level)
    key, circle, _, board, ring = c.lines()[3:8]
    assert [np.ptp(key[:, 0]), np.ptp(key[:, 1])] == pytest.approx([c.free_throw, c.key_width])
    middle = [c.length / 2 - c.free_throw, 0]
    assert np.linalg.norm(circle - middle, axis=1) == pytest.approx(c.circle_radius)
    assert np.linalg.norm(ring - c.hoops()[0, :2], axis=1) == pytest.approx(c.ring_radius)
    assert board == pytest.approx(
        np.array(
            [[c.length / 2 - c.board_inset, y] for y in (-c.board_width / 2, c.board_width / 2)]
        )
    )
    assert np.linalg.norm(c.lines()[2], axis=1) == pytest.approx(c.circle_radius)


def test_hoops():
    """Closed form: 10 ft up, 63 in from the end lines; none on a volleyball court."""
    x = 42 * FOOT - 63 * INCH
    assert court("high school").hoops() == pytest.approx(np.array([[x, 0, 3.048], [-x, 0, 3.048]]))
    assert court("volleyball").hoops().shape == (0, 3)


def test_sources_say_what_is_an_assumption():
    """Regression: sizes that come from memory or common practice say so."""
    assert all(c.source for c in COURTS.values())
    assert court("junior high").source.startswith("assumption/memory")
    assert all("assumption/memory" in court(level).source for level in BASKETBALL)


def test_refuses_an_unknown_level():
    """Behavior: a slip is refused with the nearest level."""
    with pytest.raises(
        ValueError, match=r"^court = 'highschool' is unknown\. Did you mean 'high school'\?$"
    ):
        court("highschool")


@pytest.mark.parametrize(
    "change, said",
    [
        ({"length": 84.0}, r"length = 84 m is outside 8 to 40 m\. Feet given by mistake\?"),
        ({"width": 30.0}, r"width = 30 m is outside 5 to 25\.6032 m\. Length and width swapped\?"),
        ({"free_throw": 19.0}, r"free_throw = 19 m is outside 0 to 12\.8016 m\. Feet"),
        (
            {"three_point_corner": 6.5},
            r"three_point_corner = 6\.5 m is outside 0 to 6\.0198 m\. The line leaves",
        ),
        (
            {"width": 11.0},
            r"three_point_corner = 6\.0198 m is outside 0 to 5\.5 m\. The line leaves",
        ),
        ({"source": ""}, r"court 'high school': source is empty"),
    ],
)
def test_refuses_a_bad_court(change, said):
    """Behavior: sizes that cannot be are refused with the likely slip."""
    with pytest.raises(ValueError, match=said):
        dataclasses.replace(court("high school"), **change)
