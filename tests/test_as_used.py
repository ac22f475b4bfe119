"""Bleachers and chairs as they are used: set back, pulled out to any row, on a mezzanine, with
aisles and wheelchair spaces, facing the stage; what they take of the gym, and what does not fit.
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schools import AS_USED, FOLDER, SCENARIOS

from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.throws import cut_side, section
from gymtools.design.comparing import differing_values
from gymtools.design.placing import bank_point
from gymtools.display.charts import maps
from gymtools.display.documents import record_inputs
from gymtools.display.drawing import picture
from gymtools.display.scene import plan
from gymtools.display.scene.view import View
from gymtools.venue.balcony import Balcony
from gymtools.venue.configuration import HallConfiguration
from gymtools.venue.court import court
from gymtools.venue.enclosures import solids
from gymtools.venue.files import draft, parse, to_text
from gymtools.venue.finishes import FINISHES
from gymtools.venue.hall import SIDES, Hall
from gymtools.venue.measured_room import MeasuredRoom, as_measured
from gymtools.venue.paths import changed, value_at
from gymtools.venue.room import Room
from gymtools.venue.seating import Bank, FloorSeats, side_toward
from gymtools.venue.stage import PortableStage
from gymtools.venue.uses import Use, standing_bank
from gymtools.venue.validation import fit_faults
from gymtools.venue.wheelchairs import seats_taken, spaces_required

FOOT = 0.3048
HALL = Hall(
    length=32,
    width=24,
    height=9,
    clear_height=8,
    floor="wood floor",
    roof="plain deck",
    walls="painted block",
)
BANK = Bank(name="bank", side="north", rows=8, row_run=0.6, row_rise=0.3, length=20, offset=-2)
CHAIRS = FloorSeats(name="chairs", x=4, y=-2, length=9, width=12)
TEXT = (FOLDER / "dovecote.toml").read_text(encoding="utf-8")
DOVECOTE = SCENARIOS["dovecote"]
# the small school with its court alone
SMALL = replace(
    DOVECOTE,
    banks=(),
    floor_seats=(),
    portable_stages=(),
    microphones=(),
    treatments=(),
    uses=(Use(name="class", target_dba=75, noise_dba=50, listens={"court": 1.0}),),
)


def configuration(*banks, **things):
    """A gym with these banks."""
    made = dict(hall=HALL, court=court("volleyball"), banks=banks) | things
    return HallConfiguration(**made)


# ---- wheelchair spaces


@pytest.mark.parametrize(
    "seats, spaces",
    [
        *((3, 0), (4, 1), (25, 1), (26, 2), (50, 2), (51, 4), (150, 4), (151, 5), (300, 5)),
        *((301, 6), (500, 6), (501, 7), (650, 7), (651, 8), (5000, 36), (5001, 37), (5200, 37)),
        (5201, 38),
    ],
)
def test_wheelchair_spaces(seats, spaces):
    """Printed: 2010 ADA Standards for Accessible Design, table 221.2.1.1, either side of each
    limit.
    """
    assert spaces_required(seats) == spaces


def test_a_wheelchair_space_takes_seats():
    """Printed: 2010 ADA Standards, 802.1.2 and 802.1.3: 36 in wide, 48 in deep. On benches of 18 in
    and rows of 24 in that is two seats in each of two rows; in a bank of one row, two.
    """
    assert seats_taken(18 * 0.0254, 24 * 0.0254, 10) == (4, 2)
    assert seats_taken(18 * 0.0254, 24 * 0.0254, 1) == (2, 2)


def test_seats_of_a_bank():
    """Worked by hand: 80 ft with three aisles of 3 ft leave four sections of 17 ft 9 in, 11 seats
    of 0.46 m each; ten rows are 440 seats. Four wheelchair spaces take four seats each and give
    one.
    """
    bank = Bank(
        name="b",
        side="north",
        rows=10,
        row_run=2 * FOOT,
        row_rise=0.8 * FOOT,
        length=80 * FOOT,
        aisles=3,
    )
    assert bank.section(bank.length) == pytest.approx(17.75 * FOOT)
    assert (bank.seats_in_row, bank.seats) == (44, 440)
    assert replace(bank, wheelchair_spaces=4).seats == 440 - 4 * 4 + 4
    assert replace(bank, pulled_out=6, wheelchair_spaces=4).seats == 264 - 12
    assert replace(bank, open=False, wheelchair_spaces=4).seats == 0
    assert bank.seated_share == pytest.approx(71 / 80)


def test_seats_of_a_block():
    """Worked by hand: 64 x 40 ft, rows 3 ft, chairs 21 in, an aisle of 4 ft down the middle: 21
    rows of twice 10 chairs; turned to face the north, 13 rows of twice 17.
    """
    block = FloorSeats(
        name="c",
        length=64 * FOOT,
        width=40 * FOOT,
        row_spacing=3 * FOOT,
        seat_spacing=1.75 * FOOT,
        aisles=1,
        aisle_width=4 * FOOT,
    )
    assert (block.rows, block.seats_in_row, block.seats) == (21, 20, 420)
    turned = replace(block, facing="north")
    assert (turned.rows, turned.seats_in_row, turned.seats) == (13, 34, 442)
    # 36 in over chairs of 21 in and 48 in over rows of 36 in: two chairs in each of two rows
    assert replace(block, wheelchair_spaces=2).seats == 420 - 2 * 4 + 2


# ---- where the ears are


@pytest.mark.parametrize("aisles", [1, 2, 5])
def test_no_seat_in_an_aisle(aisles):
    """Closed form: every ear of bank and chairs stands between the aisles, as many in each
    section.
    """
    for thing in (replace(BANK, aisles=aisles), replace(CHAIRS, aisles=aisles)):
        area = thing.audience_area(HALL)
        x, y, _ = area.points.T
        footprints = thing.aisle_footprints(HALL)
        assert len(footprints) == aisles
        for west, east, south, north in footprints:
            assert not ((x > west) & (x < east) & (y > south) & (y < north)).any()
        row = area.points.reshape(area.rows, area.columns, 3)[0]
        along = np.abs(row[:, :2] - row[0, :2]).sum(axis=1)
        gaps = np.diff(along)
        assert (gaps > thing.aisle_width).sum() == aisles
        assert area.columns % (aisles + 1) == 0


def test_without_aisles_nothing_changes():
    """Invariance: an aisle width alone moves no seat."""
    for thing in (BANK, CHAIRS):
        wide = replace(thing, aisle_width=2.0)
        same = wide.audience_area(HALL).points == thing.audience_area(HALL).points
        assert same.all() and wide.seats == thing.seats


@pytest.mark.parametrize("side", SIDES)
def test_rows_count_from_what_people_face(side):
    """Closed form: row 1 is nearest the side that people face, seat 1 at their left, and a block
    turned about its center keeps its ears.
    """
    square = replace(CHAIRS, length=9, width=9, x=0, y=0, row_spacing=0.9, seat_spacing=0.5)
    area = replace(square, facing=side).audience_area()
    grid = area.points.reshape(area.rows, area.columns, 3)[..., :2]
    ahead = {"north": (0, 1), "south": (0, -1), "east": (1, 0), "west": (-1, 0)}[side]
    left = np.array([-ahead[1], ahead[0]])  # a quarter turn to the left
    assert grid[0, 0] @ ahead == pytest.approx(4.5 - 0.45)
    assert (np.diff(grid @ ahead, axis=0) < 0).all(), "each row sits behind the one before it"
    assert (np.diff(grid @ left, axis=1) < 0).all(), "seats count from the left"
    west = square.audience_area().points.reshape(area.rows, area.columns, 3)[..., :2]
    turn = np.array([[-ahead[0], -ahead[1]], [ahead[1], -ahead[0]]])  # from facing west
    np.testing.assert_allclose(grid, west @ turn, atol=1e-12)


def test_chairs_look_at_the_stage():
    """Closed form: the side on which the middle of a stage lies from the middle of the chairs."""
    for x, y, side in ((12, 0, "east"), (-9, 3, "west"), (4, 9, "north"), (3, -10, "south")):
        deck = PortableStage(name="deck", x=x, y=y, length=3, width=3, height=0.6)
        assert side_toward(CHAIRS, deck.footprint()) == side


def test_chairs_faced_west_before_they_could_be_turned():
    """Regression: a block of which nothing is said has its first row in the west."""
    assert CHAIRS.facing == "west"
    points = CHAIRS.audience_area().points
    assert points[0] == pytest.approx((4 - 4.5 + 0.45, -2 - 6 + 0.25, 1.2))


@pytest.mark.parametrize("side, cut", [("east", "west"), ("north", "south"), ("south", "south")])
def test_the_section_cuts_across_the_rows(side, cut):
    """Closed form: it starts from a wall that the rows run along."""
    turned = configuration(floor_seats=(replace(CHAIRS, facing=side),))
    assert cut_side(turned, "chairs") == cut and cut_side(turned, "court") == "west"


@given(
    out=st.integers(1, 8),
    setback=st.floats(0, 3),
    base=st.one_of(st.just(0.0), st.floats(2.2, 4)),
    side=st.sampled_from(SIDES),
)
def test_ears_of_a_bank_as_used(out, setback, base, side):
    """Closed form: the low rows are out, before a stack no deeper than the rows in it; every ear is
    0.77 m over its board, raised and set back with the bank.
    """
    bank = replace(BANK, side=side, pulled_out=out, setback=setback, base_height=base, length=12)
    folded = min(1.1, (8 - out) * 0.6)
    assert bank.depth == pytest.approx(out * 0.6 + folded)
    points = bank.audience_area(HALL).points.reshape(out, -1, 3)
    wall = HALL.width / 2 if side in ("north", "south") else HALL.length / 2
    axis = 1 if side in ("north", "south") else 0
    row = np.arange(out)
    inward = wall - np.abs(points[:, 0, axis])
    np.testing.assert_allclose(inward, setback + folded + (out - row - 0.5) * 0.6)
    np.testing.assert_allclose(points[:, 0, 2], base + 0.43 + row * 0.3 + 0.77)
    west, east, south, north = bank.footprint(HALL)
    x, y, _ = points.reshape(-1, 3).T
    assert west < x.min() and x.max() < east and south < y.min() and y.max() < north


# ---- what they take of the gym


VARIANTS = {
    "open": {},
    "closed": dict(open=False),
    "three rows out": dict(pulled_out=3),
    "one row folded": dict(pulled_out=7),
    "set back": dict(setback=1.5),
    "set back, partly out": dict(setback=2.0, pulled_out=4, side="east", offset=1, length=15),
    "mezzanine": dict(base_height=3.0, side="west", offset=0, rows=4),
    "mezzanine, closed and set back": dict(base_height=2.5, setback=0.5, open=False, side="south"),
}


def crossings(points, direction, faces):
    """How many polygons a ray from each point crosses, computed without the package (point,)."""
    count = np.zeros(len(points), int)
    for corners in faces:
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        slope = normal @ direction
        if abs(slope) < 1e-12:
            continue
        t = (corners[0] - points) @ normal / slope
        at = points + t[:, None] * direction
        sides = []
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            sides.append(np.cross(b - a, at - a) @ normal)
        inside = (np.array(sides) > 0).all(axis=0) | (np.array(sides) < 0).all(axis=0)
        count += inside & (t > 0)
    return count


@pytest.mark.parametrize("name", VARIANTS)
def test_a_bank_is_a_closed_body(name):
    """Closed form: with floor and wall its polygons enclose what ``solid`` says, by 20,000 random
    points and whichever way one looks: up, into the gym, along the wall.
    """
    bank = replace(BANK, **VARIANTS[name])
    room = configuration(bank).room
    faces = [np.asarray(s.corners, float) for s in room.surfaces if s.owner == "bank"]
    west, east, south, north = bank.footprint(HALL)
    # some air around it, but nothing behind the wall
    low = np.array([west - 0.3, south - 0.3, 0.0])
    high = np.array([east + 0.3, north + 0.3, bank.top + 0.3])
    low[:2] = np.maximum(low[:2], [-HALL.length / 2, -HALL.width / 2])
    high[:2] = np.minimum(high[:2], [HALL.length / 2, HALL.width / 2])
    points = np.random.default_rng(3).uniform(low, high, (20_000, 3))
    into = {"north": (0, -1, 0), "south": (0, 1, 0), "east": (-1, 0, 0), "west": (1, 0, 0)}
    ways = [(0, 0, 1), into[bank.side], (1, 0, 0) if bank.side in ("north", "south") else (0, 1, 0)]
    found = [crossings(points, np.array(way, float), faces) % 2 == 1 for way in ways]
    assert (found[0] == found[1]).all() and (found[0] == found[2]).all()
    share, box = found[0].mean(), np.prod(high - low)
    error = box * math.sqrt(share * (1 - share) / len(points))
    assert bank.solid == pytest.approx(share * box, abs=4 * error)
    boxes = sum((b - a) * (d - c) * (top - foot) for (a, b, c, d), foot, top in solids(bank, HALL))
    assert boxes == pytest.approx(bank.solid, rel=1e-12), "the steps fill what their slope does"


def test_pulled_out_to_the_end_is_open():
    """Invariance: all rows out is the open bank, none is the closed one."""
    for out, same in ((8, BANK), (0, replace(BANK, open=False))):
        use = Use(name="u", target_dba=80, noise_dba=50, pulled_out={"bank": out})
        assert standing_bank(BANK, use) == same
    whole, plain = (configuration(b).room for b in (replace(BANK, pulled_out=8), BANK))
    assert [s.name for s in whole.surfaces] == [s.name for s in plain.surfaces]
    for a, b in zip(whole.surfaces, plain.surfaces, strict=True):
        np.testing.assert_array_equal(a.corners, b.corners)
    shut = Use(name="u", target_dba=80, noise_dba=50, pulled_out={"bank": 3}, closed=("bank",))
    assert not standing_bank(BANK, shut).open, "a bank that is closed stays closed"


def test_wall_and_floor_behind_a_bank():
    """Closed form: a bank against its wall hides it and covers the floor; set back it hides none;
    on a mezzanine it covers no floor, and hides the wall above.
    """

    def free(bank):
        surfaces = configuration(bank).room.surfaces
        wall = sum(s.area for s in surfaces if s.part == "north wall")
        return wall, sum(s.area for s in surfaces if s.part in ("floor", "court"))

    wall, ground = 32 * 9, 32 * 24
    high, deep = 0.43 + 7.5 * 0.3, 8 * 0.6
    assert free(BANK) == pytest.approx((wall - 20 * high, ground - 20 * deep))
    assert free(replace(BANK, setback=1)) == pytest.approx((wall, ground - 20 * deep))
    raised = replace(BANK, base_height=3)
    assert free(raised) == pytest.approx((wall - 20 * high, ground))
    pulled = replace(BANK, pulled_out=3)
    assert free(pulled) == pytest.approx((wall - 20 * high, ground - 20 * (3 * 0.6 + 1.1)))


def test_a_mezzanine_hides_the_underside():
    """Closed form: the underside of a bank absorbs where no deck carries it."""
    bank = replace(BANK, base_height=3.0, rows=4)  # 2.4 m deep
    deck = Balcony(name="deck", side="north", depth=1.8, height=3.0, length=20, offset=-2)
    for decks, area in (((), 20 * 2.4), ((deck,), 20 * 0.6)):
        room = configuration(bank, balconies=decks).room
        under = next(s for s in room.surfaces if s.name == "bank, underside")
        assert under.area == pytest.approx(area)


def test_aisles_of_a_full_bank_stay_empty():
    """Closed form: the seats absorb as full over their share of the floor, the aisles as empty."""
    bank = replace(BANK, aisles=2, aisle_width=1.0)
    room = configuration(bank).room
    k = next(k for k, s in enumerate(room.surfaces) if s.name == "bank")
    empty, full = (room.absorption({"bank": share})[k] for share in (0.0, 1.0))
    plain = configuration(BANK).room.absorption({"bank": 1.0})[k]
    np.testing.assert_allclose(full, empty + 18 / 20 * (plain - empty), rtol=1e-12)


def test_aisles_between_chairs_are_floor():
    """Closed form: each section is a body of its own, and the floor between counts as floor."""
    block = replace(CHAIRS, aisles=2, aisle_width=1.0)
    room = configuration(floor_seats=(block,)).room
    tops = [s for s in room.surfaces if s.owner == "chairs" and s.area]
    assert [s.area for s in tops] == pytest.approx([9 * 10 / 3] * 3)
    floor = sum(s.area for s in room.surfaces if s.part in ("floor", "court"))
    assert floor == pytest.approx(32 * 24 - 90)
    assert room.volume == configuration().room.volume


def test_one_list_of_polygons():
    """Invariance: tracing, line of sight and pictures look at the same polygons."""
    use = DOVECOTE.uses[0]
    room = DOVECOTE.configuration(use.name).room
    assert isinstance(room, Room) and DOVECOTE.surfaces(use).polygons is room.polygons
    assert len(room.polygons) == len(room.surfaces)
    seen = [k for k, s in enumerate(room.surfaces) if s.blocks]
    np.testing.assert_array_equal(room.blocking.low, room.polygons.low[seen])


def test_an_arrangement_aims_at_the_rows_that_are_out():
    """Closed form: two thirds up the rows that are out, over their board."""
    s = changed(DOVECOTE, {("banks", "bleachers", "setback"): 0.5})
    bank = replace(s.banks[0], pulled_out=3)
    x, y, z = bank_point(s, bank)
    assert (x, z) == pytest.approx((0, 0.43 + 1.5 * 0.25 + 0.77))
    assert s.hall.width / 2 - y == pytest.approx(0.5 + 1.1 + 0.61)


def test_zones_of_a_floor_between_banks_that_pass_each_other():
    """Closed form: where banks leave no rectangle of floor between them the layer covers the whole
    floor, and none of its zones has a volume of less than nothing.
    """
    west = replace(BANK, offset=-8, length=14, setback=9)  # from y = 3 to y = -1.8
    east = replace(BANK, name="east", side="south", offset=8, length=14, setback=9)
    gym = configuration(west, east, court=replace(court("volleyball"), y=-7.0))
    x, y, _ = gym.zones.center[: len(gym.zones.center)].T
    assert (gym.zones.volume > 0).all() and np.abs(y).max() > 9
    plain = configuration(BANK).zones
    assert plain.volume.sum() > 0 and plain.center[:, 1].min() > -12


# ---- what does not fit


@pytest.mark.parametrize(
    "change, said",
    [
        (dict(setback=-1), r"^setback = -1 m is outside 0 to 40 m\. From the wall"),
        (dict(base_height=1.0), r"^base_height = 1\.00 m \(3 ft 3 1/2 in\) is below 2\.20 m"),
        (dict(pulled_out=9), r"^pulled_out = 9 is more than the bank's 8 rows\.$"),
        (dict(pulled_out=0), r"^pulled_out = 0 is outside 1 to 60\. Number of rows that are out"),
        (
            dict(aisles=20),
            r"^aisles = 20 of 0\.91 m \(3 ft 0 in\) leave no seat between them in rows of 20\.00 m"
            r" \(65 ft 7 1/2 in\)\. At most 14\.$",
        ),
        (
            dict(wheelchair_spaces=22),
            r"^wheelchair_spaces = 22 do not fit into the first row of 43 seats\. At most 21\.$",
        ),
    ],
)
def test_bank_refusals(change, said):
    """Regression: the refusals of a bank as it is used."""
    with pytest.raises(ValueError, match=said):
        replace(BANK, **change)


@pytest.mark.parametrize(
    "change, said",
    [
        (dict(facing="stage"), r"^facing = 'stage' is unknown\. Known: north, south, east, west"),
        (dict(aisles=8), r"^aisles = 8 of 1\.12 m \(3 ft 8 in\) leave no seat between them"),
        (
            dict(wheelchair_spaces=13),
            r"^wheelchair_spaces = 13 do not fit into the first row of 24",
        ),
    ],
)
def test_chairs_refusals(change, said):
    """Regression: the refusals of chairs as they stand."""
    with pytest.raises(ValueError, match=said):
        replace(CHAIRS, **change)


def test_everything_that_does_not_fit():
    """Behavior: before there is a loudspeaker, all that does not fit is told, each with the name of
    the thing and by how much, in feet where the file is in feet.
    """
    deck = PortableStage(name="deck", x=8, y=9, length=4, width=8, height=0.6)
    gym = configuration(
        replace(BANK, length=36),
        replace(BANK, name="east bank", side="east", offset=0, length=22, rows=30, row_rise=0.3),
        floor_seats=(replace(CHAIRS, y=6),),
        portable_stages=(deck,),
        court=court("college"),
    )
    told = fit_faults(gym, "ft")
    assert [(f.name, f.words) for f in told[:4]] == [
        (
            "bank",
            "'bank' (118 ft 1 1/2 in long, offset -6 ft 6 1/2 in) does not fit along the north wall"
            " (105 ft 0 in): 13 ft 1 1/2 in too long.",
        ),
        (
            "east bank",
            "'east bank': its top row (30 ft 5 1/2 in) leaves less than 6 ft 6 1/2 in under the"
            " roof (29 ft 6 1/2 in). Fewer rows, less rise?",
        ),
        ("deck", "'deck' reaches 3 ft 3 1/2 in outside the gym."),
        ("east bank", "'bank' and 'east bank' overlap by 12 ft 5 1/2 in over 59 ft 0 1/2 in."),
    ]
    assert {f.name for f in told} == {"bank", "east bank", "deck", "chairs"}
    assert fit_faults(configuration(BANK, floor_seats=(CHAIRS,))) == []


def test_under_a_mezzanine():
    """Behavior: people sit under a mezzanine's bank where they have headroom, and not below it."""
    high = replace(BANK, name="gallery", base_height=4.5, rows=4)
    low = replace(BANK, rows=4)  # 1.48 m at its top
    assert fit_faults(configuration(low, high)) == []
    told = fit_faults(configuration(low, replace(high, base_height=3.0)))
    assert [f.words for f in told] == ["'bank' has less than 2.00 m under 'gallery' (3.00 m)."]
    deck = Balcony(name="deck", side="north", depth=3.0, height=4.5, length=20, offset=-2)
    assert fit_faults(configuration(high, balconies=(deck,))) == []


def test_a_loudspeaker_at_a_mezzanine():
    """Behavior: a loudspeaker may hang under a mezzanine's bank, not in its seats nor too low over
    them.
    """
    raised = replace(DOVECOTE.banks[0], rows=2, base_height=3.5, name="gallery")
    pair = replace(DOVECOTE.groups[0], y=9.2, number=1, pan_deg=-90)
    for height, said in (
        (5.2, r"^loudspeaker W1 at 5\.20 m hangs less than 2\.00 m over the seats of 'gallery'"),
        (3.45, r"^loudspeaker W1: its enclosure reaches 0\.08 m into 'gallery'\."),
    ):
        with pytest.raises(ValueError, match=said):
            replace(SMALL, banks=(raised,), groups=(replace(pair, height=height),))
    under = replace(SMALL, banks=(raised,), groups=(replace(pair, height=2.6),))
    low = [w for w in under.warnings if "hangs low" in w]
    assert len(low) == 1 and "hangs low over the floor" in low[0]


def test_seats_counted_live():
    """Behavior: seats by area and wheelchair spaces of a gym as it stands in one use."""
    bank = replace(BANK, pulled_out=3, wheelchair_spaces=2)
    gym = configuration(bank, floor_seats=(CHAIRS,))
    # rows of 0.6 m are a little less than 24 in: a space of 48 in takes three of them
    assert gym.seats == {"bank": 3 * 43 - 2 * 2 * 3 + 2, "chairs": 240}
    assert gym.wheelchair_spaces == 2
    assert configuration(replace(bank, open=False)).wheelchair_spaces == 0


def test_too_few_wheelchair_spaces():
    """Behavior: where a file says anything of wheelchair spaces, too few are said for each use,
    with the table; a file that says nothing is not warned of.
    """
    assert not [w for w in DOVECOTE.warnings if "wheelchair" in w]
    s = changed(DOVECOTE, {("banks", "bleachers", "wheelchair_spaces"): 2})
    told = [w for w in s.warnings if "wheelchair" in w]
    # 5 rows of 39 seats less two spaces of two seats in two rows each: 189 seats
    assert told[0] == (
        "Use 'game': 2 wheelchair spaces for 189 seats; table 221.2.1.1 of the 2010 ADA Standards"
        " asks for 5. Local codes and the authority having jurisdiction decide."
    )
    enough = changed(s, {("banks", "bleachers", "wheelchair_spaces"): 5})
    assert not [w for w in enough.warnings if "Use 'game'" in w and "wheelchair" in w]


# ---- a file that is being written


FIRST = """units = "m"
court = "high school"

[hall]
length = 30
width = 22
height = 8
clear_height = 7
floor = "wood floor"
roof = "plain deck"
walls = "painted block"

[[banks]]
name = "north bank"
side = "north"
rows = 8
row_run = 0.6
row_rise = 0.25
length = 24
"""


def test_a_gym_without_a_loudspeaker():
    """Behavior: a file that is being written needs no name, loudspeaker or use to be drawn and
    counted; seats and faults follow every change.
    """
    gym, told = draft(FIRST)
    assert told == [] and gym.seats == {"north bank": 8 * 52}
    wide = FIRST.replace("length = 24", "length = 31\naisles = 2")
    gym, told = draft(wide)
    assert gym.seats == {"north bank": 8 * 3 * 21}  # 9.72 m between aisles
    assert [(f.name, f.words) for f in told] == [
        (
            "north bank",
            "'north bank' (31.00 m long, offset 0.00 m) does not fit along the north wall"
            " (30.00 m): 1.00 m too long.",
        )
    ]


def test_all_faults_of_a_draft_by_thing():
    """Behavior: every fault names its thing, and what is sound is drawn."""
    text = FIRST.replace('walls = "painted block"', 'walls = "cmu"').replace(
        "rows = 8", "rows = 8.5"
    )
    text = text.replace('court = "high school"', 'court = "volley"\nlights = 3')
    text += '\n[[floor_seats]]\nname = "chairs"\nx = 12\nlength = 8\nwidth = 8\nfacing = "up"\n'
    gym, told = draft(text)
    assert [(f.name, f.words.partition(" is ")[0]) for f in told] == [
        ("hall", "draft [hall]: walls = 'cmu'"),
        ("north bank", "draft [[banks]] 'north bank': rows = 8.5"),
        ("chairs", "draft [[floor_seats]] 'chairs': facing = 'up'"),
        ("", "draft: unknown key 'lights'. Known: " + told[3].words.partition("Known: ")[2]),
        ("", "draft: court = 'volley'"),
        ("chairs", "'chairs' reaches 1.00 m outside the gym."),
    ]
    assert gym.banks == () and gym.hall.walls in FINISHES
    assert draft("= 1")[0] is None and draft("units = 'm'")[0] is None
    gym, told = draft(FIRST.replace("[[banks]]", "[banks]"))
    assert [f.words for f in told] == ["draft [banks]: must be a list of tables. Write [[banks]]."]
    assert gym.banks == ()
    assert draft(AS_USED, use="game")[0].banks[0].rows_out == 3
    assert draft(AS_USED)[0].floor_seats and not draft(AS_USED, use="game")[0].floor_seats


# ---- in a file


def test_a_file_says_how_banks_are_used():
    """Behavior: keys are read, save back to the same bytes, and are changed by path; a use has its
    rows out, and a bank of which it says nothing has all.
    """
    s = parse(AS_USED, "gym.toml")
    assert to_text(s) == AS_USED
    bank = s.banks[0]
    assert (bank.setback, bank.aisles, bank.wheelchair_spaces) == (0.5, 2, 4)
    assert s.configuration("game").banks[0].rows_out == 3
    assert s.configuration("graduation").banks[0].rows_out == 5
    assert value_at(s, ("uses", "game", "pulled_out", "bleachers")) == 3
    assert value_at(s, ("uses", "graduation", "pulled_out", "bleachers")) is None
    fewer = changed(s, {("uses", "game", "pulled_out", "bleachers"): 2})
    assert "pulled_out = {bleachers = 2}  # for games" in to_text(fewer)
    assert parse(to_text(fewer)) == fewer
    with pytest.raises(ValueError, match=r"^use 'game': 7 rows of 'bleachers' are pulled out, whi"):
        changed(s, {("uses", "game", "pulled_out", "bleachers"): 7})
    with pytest.raises(ValueError, match=r"pulled_out 'bleachers' = 2\.5 is no whole number\."):
        changed(s, {("uses", "game", "pulled_out", "bleachers"): 2.5})


def test_a_room_that_was_measured_with_some_rows_out():
    """Behavior: the measured room stands as it did, with its rows out, and is refused where a bank
    has fewer.
    """
    measured = MeasuredRoom(t20_s={500: 2.0}, pulled_out={"bleachers": 2}, people=50)
    s = replace(DOVECOTE, measured_room=measured)
    assert as_measured(s).configuration().banks[0].rows_out == 2
    for rows, said in (
        (6, r"6 rows of 'bleachers' are pulled out, which has 5\."),
        (0, "people = 50"),
    ):
        with pytest.raises(ValueError, match=said):
            replace(s, measured_room=replace(measured, pulled_out={"bleachers": rows}))


def test_schools_are_what_they_were():
    """Regression: keys that a file leaves out mean what they meant before there were such keys."""
    spelled = (
        TEXT.replace('court = "junior high"\n', 'court = "junior high"\ncourt_x = 0\ncourt_y = 0\n')
        .replace("court_y = 0\n", "court_y = 0\ncourt_turned = false\n")
        .replace(
            'side = "north"\n',
            'side = "north"\nsetback = 0\nbase_height = 0\naisles = 0\npulled_out = 5\n',
        )
        .replace('name = "chairs"\n', 'name = "chairs"\nfacing = "west"\naisles = 0\n')
    )
    s = parse(spelled)
    for use in s.uses:
        there, before = s.configuration(use.name), DOVECOTE.configuration(use.name)
        same = zip(there.room.surfaces, before.room.surfaces, strict=True)
        assert all((a.corners == b.corners).all() and a.area == b.area for a, b in same)
        assert there.room.volume == before.room.volume and list(there.areas) == list(before.areas)
        for name, area in there.areas.items():
            np.testing.assert_array_equal(area.points, before.areas[name].points)


LENGTHS = st.integers(0, 40).map(lambda n: n / 20)


@settings(max_examples=12, deadline=None)
@given(
    bank=st.fixed_dictionaries(
        dict(
            setback=LENGTHS,
            aisles=st.integers(0, 4),
            pulled_out=st.integers(1, 5),
            wheelchair_spaces=st.integers(0, 6),
        )
    ),
    chairs=st.fixed_dictionaries(
        dict(
            facing=st.sampled_from(SIDES),
            aisles=st.integers(0, 3),
            wheelchair_spaces=st.integers(0, 3),
        )
    ),
    lies=st.tuples(LENGTHS, LENGTHS),
    out=st.integers(0, 5),
    units=st.sampled_from(["m", "ft"]),
)
def test_what_is_written_is_read_again(bank, chairs, lies, out, units):
    """Invariance: a school as it is used is written in meters or feet and read again as the same,
    with ears inside the gym and a room of finite size.
    """
    s = replace(
        DOVECOTE,
        court="volleyball",
        court_x=lies[0],
        court_y=-lies[1],
        banks=(replace(DOVECOTE.banks[0], **bank),),
        floor_seats=(replace(DOVECOTE.floor_seats[0], **chairs),),
        uses=(replace(DOVECOTE.uses[0], pulled_out={"bleachers": out}), *DOVECOTE.uses[1:]),
        units=units,
        text=None,
    )
    text = to_text(s)
    again = parse(text)
    assert to_text(again) == text and (again == s or units == "ft")
    for use in again.uses:
        c = again.configuration(use.name)
        assert 0 < c.room.volume < s.hall.volume and np.isfinite(c.room.area).all()
        for area in c.areas.values():
            assert (np.abs(area.points[:, :2]) < [s.hall.length / 2, s.hall.width / 2]).all()
    names = {s.name for s in again.room.surfaces}
    assert ("bleachers, back" in names) == (bank["setback"] > 0)


@pytest.mark.parametrize("room", ["statistical", "traced"])
def test_as_used_is_evaluated(room):
    """Behavior: a gym with its bank partly out, aisles, a turned court and a side court gives
    finite figures at every seat.
    """
    result = evaluate(parse(AS_USED), "game", room=room, rays="few")
    assert "west court" in result.area and np.isfinite(result.sti).all()
    assert np.isfinite(result.total_db).all() and all(v.word for v in result.verdicts)


@pytest.fixture(scope="module")
def drawn():
    """The gym as it is used, looked at with its map."""
    return View(result=evaluate(parse(AS_USED), "game", room="statistical", rays="few"))


def test_the_plan_shows_it(drawn):
    """Behavior: aisles, both courts, and the bank as far as it is out are drawn where they are."""
    s, c = drawn.scenario, drawn.result.configuration
    assert len(c.aisle_footprints) == 2, "the chairs are not set up"
    outlines, painted = (
        np.stack([layer(drawn)["x"], layer(drawn)["y"]], axis=-1)
        for layer in (plan.room, plan.court)
    )
    for west, _, south, _ in c.aisle_footprints:
        assert np.nanmin(np.abs(outlines - [west, south]).sum(axis=1)) < 1e-3
    for boundary in (one.lines()[0] for one in s.courts):
        assert np.nanmin(np.abs(painted - boundary[0]).sum(axis=1)) < 1e-3
    profile = c.banks[0].profile
    assert profile[0] == pytest.approx((0.5 + 3 * 0.61 + 1.1, 0))
    assert profile[-3:, 1] == pytest.approx((0.43 + 4.5 * 0.25, 0.43 + 4.5 * 0.25, 0))
    np.testing.assert_array_equal(section(drawn.result, "bleachers").steps, profile)


def test_the_map_lies_where_its_seats_are(drawn):
    """Closed form: first point, row and column steps and the places of the columns give every seat
    back, and contours in space lie where the values are.
    """
    bank = drawn.result.configuration.areas["bleachers"]
    areas = picture.room(drawn)["areas"]
    grid = next(a for a in areas if a["name"] == "bleachers")
    row, column = np.divmod(np.arange(len(bank.points)), grid["columns"])
    places = np.array(grid["places"])
    at = row[:, None] * grid["down"] + places[column][:, None] * grid["across"]
    assert np.array(grid["origin"]) + at == pytest.approx(bank.points[:, :2], abs=1e-9)
    assert (np.diff(places) > 1.01).sum() == 2
    assert all(a["places"] is None for a in areas if a is not grid)
    lines = maps.contours(bank, bank.points[:, 0], 1.0)  # a map of x: straight across the rows
    assert len(lines) > 10
    for level, line in lines:
        assert line[:, 0] == pytest.approx(np.full(len(line), level), abs=1e-9)


def test_documents_say_it():
    """Behavior: record and comparison of options name what stands otherwise than plain."""
    s = parse(AS_USED)
    told = []
    decision = SimpleNamespace(chosen=SimpleNamespace(scenario=s), results={})
    record_inputs.inputs(SimpleNamespace(add=lambda *parts: told.extend(parts)), decision)
    for words in (
        "volleyball, turned across the gym, its middle 1 m east, 0 m north of the center",
        "0.50 m from the wall, 2 aisles of 1.00 m, 4 wheelchair spaces",
        "side court '<bdi>west court</bdi>'",
    ):
        assert words in "".join(told)
    differ = {what: (here, there) for what, here, there in differing_values(DOVECOTE, s)}
    assert differ["bank 'bleachers', aisles"] == ("0", "2")
    assert differ["side court 'west court', length"] == ("-", "9.00 m")
    assert differ["use 'game', rows pulled out"] == ("-", "bleachers 3")
    assert differ["court, east of center"] == ("0.00 m", "1.00 m")
