"""Courts: published sizes, and lines that join and stay inside."""

import dataclasses

import numpy as np
import pytest
from schools import FOLDER, SCENARIOS

from gymtools.design.arrangements import arrange
from gymtools.venue.configuration import HallConfiguration
from gymtools.venue.court import COURTS, SideCourt, court
from gymtools.venue.files import parse, to_text
from gymtools.venue.hall import Hall
from gymtools.venue.paths import changed
from gymtools.venue.seating import Bank, court_area

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


# ---- where a court lies


HALL = Hall(
    length=36,
    width=30,
    height=8,
    clear_height=7,
    floor="wood floor",
    roof="plain deck",
    walls="painted block",
)
SIDE = SideCourt(name="west court", x=-10, y=2, turned=True, length=12, width=14, baskets="north")


def lying(level="international", x=3.0, y=-2.0, turned=False):
    """A court that is not in the middle."""
    return dataclasses.replace(court(level), x=x, y=y, turned=turned)


@pytest.mark.parametrize("turned", [False, True])
def test_a_court_that_is_moved_and_turned(turned):
    """Closed form: every line is that of the court in the middle, turned by a quarter to the left
    and moved; hoops and boards go with it.
    """
    plain, moved = court("high school"), lying("high school", turned=turned)
    turn = np.array([[0, 1], [-1, 0]]) if turned else np.eye(2)
    for a, b in zip(plain.lines(), moved.lines(), strict=True):
        np.testing.assert_allclose(b, a @ turn + [3, -2], atol=1e-12)
    x = 42 * FOOT - 63 * INCH
    ends = [(3, -2 + x), (3, -2 - x)] if turned else [(3 + x, -2), (3 - x, -2)]
    np.testing.assert_allclose(moved.hoops(), [(*end, 3.048) for end in ends], atol=1e-12)
    half = np.array([42 * FOOT, 25 * FOOT])[:: -1 if turned else 1]
    west, east, south, north = moved.footprint()
    assert (west, east, south, north) == pytest.approx(
        (3 - half[0], 3 + half[0], -2 - half[1], -2 + half[1])
    )
    reach = [moved.reach(side) for side in ("west", "east", "south", "north")]
    assert reach == pytest.approx([-west, east, -south, north])
    assert np.ptp(moved.boards(), axis=1).max() == pytest.approx(6 * FOOT)


@pytest.mark.parametrize("turned", [False, True])
def test_people_on_the_court_follow_it(turned):
    """Closed form: the listening points fill the court where it lies, and the floor around it takes
    the rest of the gym.
    """
    lies = lying(y=-0.5, turned=turned)
    area = court_area(lies, HALL)
    x, y, _ = area.points.T
    west, east, south, north = lies.footprint()
    assert (x.mean(), y.mean()) == pytest.approx((3, -0.5))
    steps = np.array([east - west, north - south]) / (area.rows, area.columns)
    assert (x.min() - west, east - x.max()) == pytest.approx((steps[0] / 2, steps[0] / 2))
    assert (y.min() - south, north - y.max()) == pytest.approx((steps[1] / 2, steps[1] / 2))
    room = HallConfiguration(hall=HALL, court=lies).room
    parts = {s.name: s.area for s in room.surfaces if s.part in ("court", "floor")}
    assert parts["court"] == pytest.approx(28 * 15)
    assert sum(parts.values()) == pytest.approx(36 * 30)
    assert len(parts) == 5


def test_a_bank_shortens_only_the_court_that_it_reaches():
    """Closed form: a bank on the west half leaves a court in the east alone, and cuts one that it
    stands on.
    """
    bank = Bank(
        name="b", side="north", rows=10, row_run=0.8, row_rise=0.2, length=12, offset=-11
    )  # 8 m deep, to y = 7
    for x, top in ((8, 9.0), (-8, 7.0)):
        lies = lying("volleyball", x=x, y=4.5)
        y = court_area(lies, HALL, [bank]).points[:, 1]
        columns = round(top - 0)
        assert y.max() == pytest.approx(top - top / columns / 2)
    gallery = dataclasses.replace(bank, base_height=3.0)
    under = court_area(lying("volleyball", x=-8, y=4.5), HALL, [gallery])
    assert len(under.points) == 18 * 9, "people stand under a mezzanine"


@pytest.mark.parametrize(
    "change, ends",
    [
        (dict(), [(-10, 2 + 6 - 63 * INCH)]),
        (dict(baskets="south"), [(-10, 2 - 6 + 63 * INCH)]),
        (dict(turned=False, baskets="east"), [(-10 + 6 - 63 * INCH, 2)]),
        (dict(baskets="none"), []),
        (
            dict(baskets="both ends", width=10),
            [(-10, 2 + 6 - 63 * INCH), (-10, 2 - 6 + 63 * INCH)],
        ),
    ],
)
def test_side_courts(change, ends):
    """Closed form: an outline of its size with baskets at the ends that are named, 63 in inside and
    10 ft up as on a high school court (NFHS); half a court may be wider than it is long.
    """
    side = dataclasses.replace(SIDE, **change)
    np.testing.assert_allclose(
        side.court.hoops(), np.array([(*e, 3.048) for e in ends]).reshape(-1, 3), atol=1e-9
    )
    boundary = side.court.lines()[0]
    size = (12, side.width)[:: -1 if side.turned else 1]
    assert tuple(np.ptp(boundary, axis=0)) == pytest.approx(size)
    plain = 2 if len(ends) == 2 else 1  # a whole court has a middle
    assert len(side.court.lines()) == plain + 2 * len(ends)


def test_a_side_court_of_a_level_of_play():
    """Closed form: it has that court's published lines."""
    side = SideCourt(name="cross", x=1, level="volleyball", turned=True)
    assert side.court == lying("volleyball", x=1, y=0, turned=True)


@pytest.mark.parametrize(
    "change, said",
    [
        (dict(baskets="east"), r"^baskets = 'east' is unknown\. .*both ends, north, south, none"),
        (
            dict(level="high school"),
            r"^level = 'high school' has its published size\. Leave out len",
        ),
        (dict(length=None), r"^give length and width, or level for a court of published size\.$"),
        (dict(width=42.0), r"^width = 42 m is outside 5 to 40 m\. Across its baskets\. Feet"),
        (
            dict(baskets="both ends"),
            r"^width = 14 m is outside 5 to 12 m\. Length and width swapped",
        ),
        (dict(level="varsty"), r"^level = 'varsty' is unknown\."),
    ],
)
def test_side_court_refusals(change, said):
    """Regression: side courts that cannot be."""
    with pytest.raises(ValueError, match=said):
        dataclasses.replace(SIDE, **change)


TEXT = (FOLDER / "dovecote.toml").read_text(encoding="utf-8")
MOVED = TEXT.replace(
    'court = "junior high"\n', 'court = "volleyball"      # the main court\ncourt_x = 3.5\n'
).replace(
    "[[treatments]]",
    """[[side_courts]]              # two baskets on the west wall
name = "west court"
x = -8.5
y = 0
length = 8
width = 12
baskets = "west"

[[treatments]]""",
    1,
)


def test_a_file_with_courts():
    """Behavior: a moved court and a side court are read, saved back to the same bytes, and changed
    by path; the side court is a listening area of its own, and a microphone may walk there.
    """
    s = parse(MOVED.replace('walks = "court"', 'walks = "west court"'), "gym.toml")
    assert to_text(s).replace('walks = "west court"', 'walks = "court"') == MOVED
    assert s.lines.x == 3.5 and len(s.courts) == 2 and s.area_names[-1] == "west court"
    area = s.areas["west court"]
    assert area.kind == "court" and area.points[:, 0].max() < -4.5
    roving = next(m for m in s.microphones if m.walks)
    points, _ = roving.positions(s.configuration("class"))
    assert points[:, 0].min() == pytest.approx(-12.5) and points[:, 0].max() == pytest.approx(-4.5)
    moved = changed(s, {("court_x",): 2.0, ("side_courts", "west court", "y"): -1.0})
    assert "court_x = 2\n" in to_text(moved) and moved.areas["court"].points[:, 0].mean() == 2.0
    turned = changed(SCENARIOS["dovecote"], {("court",): "volleyball", ("court_turned",): True})
    written = to_text(turned)
    assert written.index("court_turned = true") < written.index("[hall]"), "a key of no table"
    assert parse(written) == turned


@pytest.mark.parametrize(
    "change, said",
    [
        (
            {("court_x",): 6.0},
            r"^court 'volleyball' reaches 2\.00 m outside the gym\. Move it \(court_x, court_y\)",
        ),
        (
            {("side_courts", "west court", "x"): -9.5},
            r"^'west court' reaches 0\.50 m outside the gym",
        ),
        (
            {("court",): "international", ("court_turned",): True},
            r"^court 'international' \(28\.00 m x 15\.00 m, turned\) does not fit into the gym",
        ),
    ],
)
def test_courts_that_do_not_fit(change, said):
    """Behavior: by how much a court reaches outside is told in the file's units."""
    with pytest.raises(ValueError, match=said):
        changed(parse(MOVED), change)


def test_a_class_on_a_side_court():
    """Behavior: a use that listens on a side court alone is asked how its reverberation is judged,
    and one whose bank covers the side court is told that nobody listens there.
    """
    s = changed(parse(MOVED), {("uses", "class", "listens"): {"court": 0.0, "west court": 1.0}})
    assert [w for w in s.warnings if w.startswith("Use 'class': people listen on side courts only")]
    assert not [
        w for w in changed(s, {("uses", "class", "kind"): "sports"}).warnings if "only" in w
    ]
    covered = changed(
        s,
        {
            ("side_courts", "west court", "x"): 0.0,
            ("side_courts", "west court", "y"): 7.25,
            ("side_courts", "west court", "width"): 5.0,
            ("banks", "bleachers", "rows"): 8,  # to y = 4.87
            ("microphones", "announcer", "y"): 0.0,
            ("uses", "game", "listens"): {"west court": 0.5},
        },
    )
    told = [w for w in covered.warnings if "cover" in w]
    assert told == ["Use 'game': banks cover 'west court', so nobody listens there."]
    assert "west court" not in covered.areas
    assert "west court" in covered.configuration("class").areas, "the bank is pushed back there"


def test_loudspeakers_hang_over_the_court_where_it_lies():
    """Closed form: an arrangement's loudspeakers over the court's ends move and turn with it."""
    s = changed(
        SCENARIOS["larkfield"], {("court",): "volleyball", ("court_x",): 4.0, ("court_y",): 1.5}
    )
    ends = {g.name: (g.x, g.y) for g in arrange(s, "rows and ends").groups}
    assert ends["east end"] == pytest.approx((4 + 9 * 0.95, 1.5), abs=1e-4)
    assert ends["west end"] == pytest.approx((4 - 9 * 0.95, 1.5), abs=1e-4)
    turned = arrange(changed(s, {("court_turned",): True}), "rows and ends")
    ends = {g.name: (g.x, g.y) for g in turned.groups}
    assert ends["north end"] == pytest.approx((4, 1.5 + 9 * 0.95), abs=1e-4)
