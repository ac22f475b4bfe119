"""The room as surfaces: areas and volumes in closed form, nothing counted twice, absorption mixed
exactly.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from schools import CASES, SCENARIOS

from gymtools.acoustics.evaluate import evaluate
from gymtools.physics.geometry import polygon_area
from gymtools.venue.balcony import Balcony
from gymtools.venue.configuration import HallConfiguration
from gymtools.venue.court import court
from gymtools.venue.files import parse, to_text
from gymtools.venue.finishes import finish
from gymtools.venue.hall import SIDES, Hall, Treatment
from gymtools.venue.locations import overlap
from gymtools.venue.memory import Memory
from gymtools.venue.seating import Bank, FloorSeats
from gymtools.venue.stage import PortableStage, Stage

FLAT = Hall(
    length=32,
    width=24,
    height=8,
    clear_height=7,
    floor="wood floor",
    roof="plain deck",
    walls="painted block",
)
GABLE = replace(FLAT, ridge_height=11)
BANK = Bank(name="bank", side="north", rows=6, row_run=0.6, row_rise=0.3, length=20)
CHAIRS = FloorSeats(name="chairs", x=3, y=-2, length=6, width=8)
STAGE = Stage(side="east", width=10, opening_height=4, depth=6)


def room_of(hall, banks=(), chairs=(), stage=None, **more):
    """The room of a hall with what stands in it."""
    return HallConfiguration(
        hall=hall,
        court=court("high school"),
        banks=tuple(banks),
        floor_seats=tuple(chairs),
        stage=stage,
        **more,
    ).room


def area_of(room, *parts):
    return sum(s.area for s in room.surfaces if s.part in parts)


def span(side, hall):
    return hall.length if side in ("north", "south") else hall.width


@given(
    length=st.floats(26, 60),
    width=st.floats(16, 40),
    height=st.floats(5, 15),
    rise=st.none() | st.floats(0, 6),
)
def test_bare_hall(length, width, height, rise):
    """Closed form: six faces, or eight with a gable; the court's pieces fill the floor."""
    ridge = None if rise is None else height + rise
    room = room_of(
        replace(FLAT, length=length, width=width, height=height, clear_height=4, ridge_height=ridge)
    )
    rise = rise or 0.0
    assert room.volume == pytest.approx(length * width * (height + rise / 2))
    assert area_of(room, "floor", "court") == pytest.approx(length * width)
    assert area_of(room, "court") == pytest.approx(84 * 50 * 0.3048**2)
    assert area_of(room, "roof") == pytest.approx(2 * length * np.hypot(width / 2, rise), rel=1e-5)
    assert (
        area_of(room, "north wall") == area_of(room, "south wall") == pytest.approx(length * height)
    )
    assert (
        area_of(room, "east wall")
        == area_of(room, "west wall")
        == pytest.approx(width * (height + rise / 2), rel=1e-5)
    )
    assert room.area.sum() == pytest.approx(sum(polygon_area(s.corners) for s in room.surfaces))


@pytest.mark.parametrize("hall", [FLAT, GABLE], ids=["flat", "gable"])
@pytest.mark.parametrize("side", SIDES)
def test_bank_takes_its_floor_and_its_wall(hall, side):
    """Closed form: floor under it and wall behind it do not count; seats count by the floor, faces
    as they are.
    """
    bare, room = room_of(hall), room_of(hall, [replace(BANK, side=side)])
    deep, top, front = 6 * 0.6, 0.43 + 5.5 * 0.3, 0.43 - 0.15
    assert area_of(room, "floor", "court") == pytest.approx(
        area_of(bare, "floor", "court") - 20 * deep
    )
    assert area_of(room, f"{side} wall") == pytest.approx(area_of(bare, f"{side} wall") - 20 * top)
    assert area_of(room, "bank") == pytest.approx(20 * deep)
    assert area_of(room, "bleacher fronts") == pytest.approx(
        20 * front + 2 * deep * (top + front) / 2
    )
    assert room.volume == pytest.approx(bare.volume - 20 * deep * (top + front) / 2), (
        "nobody hears under the seats"
    )
    (seats,) = (s for s in room.surfaces if s.name == "bank")
    assert polygon_area(seats.corners) == pytest.approx(20 * np.hypot(deep, top - front))


def test_closed_bank_is_a_box():
    """Closed form: 1.1 m deep, as high as its top row, all of it closed bleachers."""
    room, top = room_of(FLAT, [replace(BANK, open=False)]), 0.43 + 5.5 * 0.3
    assert area_of(room, "closed bleachers") == pytest.approx(20 * 1.1 + 20 * top + 2 * 1.1 * top)
    assert area_of(room, "north wall") == pytest.approx(32 * 8 - 20 * top)
    assert "bank" not in room.parts
    assert room.volume == pytest.approx(room_of(FLAT).volume - 20 * 1.1 * top)


def test_sides_that_nobody_sees():
    """Closed form: against a wall, or against a bank at least as large, a side does not count; a
    taller one's does.
    """
    side = BANK.depth * (BANK.top + BANK.first_height - BANK.row_rise / 2) / 2

    def fronts(*banks):  # what is left of the faces when the fronts, 0.28 m high, are taken off
        return area_of(room_of(FLAT, banks), "bleacher fronts") - sum(
            b.length * 0.28 for b in banks
        )

    assert fronts(BANK) == pytest.approx(2 * side)
    assert fronts(replace(BANK, length=32)) == pytest.approx(0)
    left, right = (
        replace(BANK, length=10, offset=-5),
        replace(BANK, name="right", length=10, offset=5),
    )
    assert fronts(left, right) == pytest.approx(2 * side)
    assert fronts(left, replace(right, offset=5.5)) == pytest.approx(4 * side)
    small = replace(right, rows=3)
    low = small.depth * (small.top + small.first_height - small.row_rise / 2) / 2
    assert fronts(left, small) == pytest.approx(2 * side + low)


def test_two_banks_in_a_corner():
    """Closed form: banks on neighboring walls each take their own wall and floor only."""
    banks = [
        replace(BANK, length=10, offset=0),
        replace(BANK, name="end", side="west", length=6, offset=-4),
    ]
    room, top = room_of(FLAT, banks), BANK.top
    assert area_of(room, "floor", "court") == pytest.approx(32 * 24 - 16 * 3.6)
    assert area_of(room, "north wall") == pytest.approx(32 * 8 - 10 * top)
    assert area_of(room, "west wall") == pytest.approx(24 * 8 - 6 * top)


def test_chairs_stand_on_the_floor():
    """Closed form: chairs count by the floor they cover, and the floor is as much smaller, court or
    not.
    """
    room = room_of(FLAT, chairs=[CHAIRS, replace(CHAIRS, name="aside", x=-12, y=8)])
    assert area_of(room, "chairs") == area_of(room, "aside") == pytest.approx(48)
    assert area_of(room, "floor", "court") == pytest.approx(32 * 24 - 96)


@given(
    side=st.sampled_from(SIDES),
    ridge=st.sampled_from([None, 8.5, 11]),
    width=st.floats(3, 24),
    offset=st.floats(-1, 1),
    opening=st.floats(2, 6),
    floor_height=st.floats(0.2, 1.5),
)
def test_stage_pieces_fill_the_wall(side, ridge, width, offset, opening, floor_height):
    """Closed form: wall beside and over the opening, front and opening make up the wall; the recess
    is a box.
    """
    hall = replace(FLAT, ridge_height=ridge)
    stage = Stage(
        side=side,
        width=width,
        opening_height=opening,
        depth=5,
        floor_height=floor_height,
        offset=offset * (span(side, hall) - width) / 2,
    )
    bare, room = room_of(hall), room_of(hall, stage=stage)
    pieces = sum(
        polygon_area(s.corners) for s in room.surfaces if s.part in (f"{side} wall", "stage front")
    )
    # two slivers left out
    assert pieces + width * opening == pytest.approx(area_of(bare, f"{side} wall"), abs=2e-3)
    assert area_of(room, "stage front") == pytest.approx(width * floor_height)
    assert area_of(room, "stage") == pytest.approx(
        2 * width * 5 + width * opening + 2 * 5 * opening
    )
    assert room.volume == pytest.approx(bare.volume + width * 5 * opening)


def test_bank_beside_a_stage():
    """Closed form: a bank beside the stage takes wall only from the piece behind it."""
    hall = replace(FLAT, width=30)
    bank = replace(BANK, side="east", length=8, offset=-10)
    room = room_of(hall, [bank], stage=STAGE)
    left, right, over = (
        next(s.area for s in room.surfaces if s.name == f"east wall, {w} the stage")
        for w in ("left of", "right of", "over")
    )
    assert (left, right) == pytest.approx((10 * 8 - 8 * bank.top, 10 * 8))
    assert over == pytest.approx(10 * (8 - 4.9))


def test_curtain_closes_the_stage():
    """Closed form: behind a closed curtain the recess is gone; the curtain is the opening, the hall
    alone resounds.
    """
    bare, room = room_of(FLAT), room_of(FLAT, stage=STAGE, curtain_open=False)
    assert area_of(room, "stage") == pytest.approx(10 * 4)
    assert area_of(room, "east wall", "stage front", "stage") == pytest.approx(
        area_of(bare, "east wall")
    )
    assert room.volume == bare.volume


def test_portable_stage():
    """Closed form: its deck counts as the floor under it did, its four sides on top."""
    deck = PortableStage(name="deck", x=-8, y=1, length=4, width=6, height=0.5)
    room = room_of(FLAT, [BANK], portable_stages=(deck,))
    assert area_of(room, "deck") == pytest.approx(24)
    assert area_of(room, "portable stage") == pytest.approx(2 * (4 + 6) * 0.5)
    assert area_of(room, "floor", "court") == pytest.approx(32 * 24 - 20 * 3.6 - 24)
    assert room.volume == pytest.approx(room_of(FLAT, [BANK]).volume - 24 * 0.5)


def test_balcony():
    """Closed form: rows along their slope, the floor before them, underside, front with parapet,
    two ends, a triangle on each.
    """
    balcony = Balcony(
        name="gallery",
        side="south",
        depth=4,
        height=3.5,
        length=20,
        thickness=0.3,
        parapet=1,
        rows=3,
        row_run=0.9,
        row_rise=0.3,
    )
    room, bare = room_of(FLAT, balconies=(balcony,)), room_of(FLAT)
    assert area_of(room, "gallery") == pytest.approx(20 * np.hypot(2.7, 0.9))
    assert area_of(room, "balcony") == pytest.approx(
        20 * (4 - 2.7) + 20 * 4 + 20 * 1.3 + 2 * 4 * 0.3 + 2.7 * 0.9
    )
    assert room.area.sum() - bare.area.sum() == pytest.approx(area_of(room, "gallery", "balcony"))
    assert room.volume == pytest.approx(bare.volume - 20 * (4 * 0.3 + 2.7 * 0.9 / 2))
    track = room_of(FLAT, balconies=(replace(balcony, rows=0),))
    assert "gallery" not in track.parts and area_of(track, "balcony") == pytest.approx(
        20 * 4 * 2 + 20 * 1.3 + 2 * 4 * 0.3
    )


@pytest.mark.parametrize("name, use", CASES)
def test_surfaces_are_plane_and_convex(name, use):
    """Closed form: all corners turn the same way around one normal; no area is negative or more
    than its polygon's.
    """
    for s in SCENARIOS[name].configuration(use).room.surfaces:
        along = np.roll(s.corners, -1, axis=0) - s.corners
        turns = np.cross(along, np.roll(along, -1, axis=0))
        normal = turns[0] / np.linalg.norm(turns[0])
        assert np.all(turns @ normal > -1e-9), s.name
        assert np.abs((s.corners - s.corners[0]) @ normal).max() < 1e-9, s.name
        assert 0 <= s.area <= polygon_area(s.corners) + 1e-9, s.name


@pytest.mark.parametrize("name, use", CASES)
def test_scenario_area_and_volume(name, use):
    """Closed form: the shell, less walls behind banks, plus fronts and sides; floor under things
    counts as theirs.
    """
    s = SCENARIOS[name].configuration(use)
    hall, room = s.hall, s.room
    slope, high = (
        2 * np.hypot(hall.width / 2, hall.highest - hall.height),
        (hall.height + hall.highest) / 2,
    )
    area = hall.length * (hall.width + slope + 2 * hall.height) + 2 * hall.width * high
    volume = hall.length * hall.width * high
    for b in s.banks:
        front = b.first_height - b.row_rise / 2 if b.open else b.top
        area += b.depth * (b.top + front) + b.length * (front - b.top)
        volume -= b.length * b.depth * (front + b.top) / 2
    for p in s.portable_stages:
        area += 2 * (p.length + p.width) * p.height
        volume -= p.length * p.width * p.height
    recess = s.curtain_open and s.stage
    if recess:  # its back stands for the opening
        area += 2 * s.stage.depth * (s.stage.width + s.stage.opening_height)
    assert not s.balconies, "a balcony would have to be added here"
    assert room.area.sum() == pytest.approx(area)
    assert room.volume == pytest.approx(volume + (s.stage.volume if recess else 0.0))


def test_what_may_block():
    """Regression: banks and the wall around a stage block, the hall's shell and chairs do not."""
    room = room_of(FLAT, [BANK], [CHAIRS], STAGE)
    blocking = {s.name for s in room.surfaces if s.blocks}
    assert blocking == {
        "bank",
        "bank, front",
        "bank, left side",
        "bank, right side",
        "stage front",
        *(f"east wall, {w} the stage" for w in ("left of", "right of", "over")),
    }
    assert len(room.blocking) == 8
    assert len(room_of(FLAT).blocking) == 0


def test_same_things_same_room():
    """Regression: equal halls share one room, so that moving a slider does not rebuild it."""
    memory = Memory()
    kept = room_of(FLAT, [BANK], memory=memory)
    assert kept is room_of(replace(FLAT), [replace(BANK)], memory=memory)
    assert kept is not room_of(FLAT, [replace(BANK, rows=7)], memory=memory)
    assert kept is not room_of(FLAT, [BANK], memory=Memory())


@given(share=st.floats(0, 1))
def test_occupancy_mixes_in_proportion(share):
    """Closed form: (1 - share) empty + share full, on that bank alone; areas without a share are
    empty.
    """
    room = room_of(FLAT, [BANK, replace(BANK, name="other", side="south")], [CHAIRS])
    alpha = dict(
        zip([s.name for s in room.surfaces], room.absorption({"bank": share}), strict=True)
    )
    want = (1 - share) * np.array(finish("bench empty").absorption) + share * np.array(
        finish("bench full").absorption
    )
    np.testing.assert_allclose(alpha["bank"], want, rtol=1e-12)
    np.testing.assert_array_equal(alpha["other"], finish("bench empty").absorption)
    np.testing.assert_array_equal(alpha["chairs"], finish("folding chairs empty").absorption)
    np.testing.assert_array_equal(alpha["bank, front"], finish("bleacher closed").absorption)
    np.testing.assert_array_equal(alpha["court"], finish("wood floor").absorption)


@given(
    panels=st.floats(0, 200),
    wool=st.floats(0, 150),
    ridge=st.sampled_from([None, 11]),
    full=st.floats(0, 1),
)
def test_treatments_replace_what_they_cover(panels, wool, ridge, full):
    """Closed form: each square meter of treatment takes the bare finish away and puts its own in
    its place.
    """
    room = room_of(replace(FLAT, ridge_height=ridge), [BANK])
    treatments = [
        Treatment(surface="roof", area=panels, finish="wall panels"),
        Treatment(surface="roof", area=wool, finish="mineral wool 50 mm"),
        Treatment(surface="north wall", area=wool, finish="wall panels"),
    ]
    gained = room.area @ (
        room.absorption({"bank": full}, treatments) - room.absorption({"bank": full})
    )
    a = {
        name: np.array(finish(name).absorption)
        for name in ("wall panels", "mineral wool 50 mm", "plain deck", "painted block")
    }
    roof = panels * (a["wall panels"] - a["plain deck"]) + wool * (
        a["mineral wool 50 mm"] - a["plain deck"]
    )
    np.testing.assert_allclose(
        gained, roof + wool * (a["wall panels"] - a["painted block"]), atol=1e-9
    )


def test_own_finish_of_a_wall():
    """Closed form: a wall with its own finish has it, the others have the common one."""
    room = room_of(replace(FLAT, west_wall="brick"))
    alpha = dict(zip(room.parts, room.absorption({}), strict=True))
    np.testing.assert_array_equal(alpha["west wall"], finish("brick").absorption)
    np.testing.assert_array_equal(alpha["east wall"], finish("painted block").absorption)


@pytest.mark.parametrize(
    "other, want",
    [
        ((0, 4, 0, 3), 12),
        ((2, 6, 1, 5), 4),
        ((4, 6, 0, 3), 0),
        ((-1, 5, -1, 4), 12),
        ((5, 6, 5, 6), 0),
    ],
)
def test_overlap(other, want):
    """Closed form: rectangles by hand; touching is no overlap; either way round."""
    assert overlap((0, 4, 0, 3), other) == overlap(other, (0, 4, 0, 3)) == want


@pytest.mark.parametrize("factor", [0.5, 1.7, (1, 1, 2, 1, 1, 1, 0.5)])
def test_factors_multiply_the_table(factor):
    """Closed form: a factor on one finish multiplies its own absorption, never beyond 1, and leaves
    every other; so does the whole answer.
    """
    s = SCENARIOS["dovecote"]
    corrected = replace(s, absorption_factors={"painted block": factor})
    use, room = s.uses[0], s.configuration().room
    before, after = s.absorption(use), corrected.absorption(use)
    for surface, a, b in zip(room.surfaces, before, after, strict=True):
        treated = any(t.surface == surface.part for t in s.treatments)
        if surface.finish != "painted block":
            assert np.array_equal(a, b)
        elif not treated:
            assert b == pytest.approx(np.minimum(a * factor, 1))
    assert (evaluate(corrected).rt < evaluate(s).rt).any() == (np.max(factor) > 1)
    assert parse(to_text(corrected)) == corrected


@pytest.mark.parametrize(
    "factors, message",
    [
        (
            {"painted blok": 2},
            r"absorption_factors = 'painted blok' is unknown\. Did you mean 'painted block'",
        ),
        ({"painted block": 20}, r"absorption_factors 'painted block' = 20 is outside 0\.1 to 10"),
        ({"painted block": "much"}, r"'painted block' = 'much' must be a number, or seven"),
        ({"painted block": True}, r"must be a number, or seven"),
        (
            {"painted block": [1, 2]},
            r"has 2 values\. Give one, or one for each of the seven octaves",
        ),
        ([1], r"absorption_factors = \[1\] must be a table"),
    ],
)
def test_factors_that_cannot_be(factors, message):
    """Behavior: one line names the finish, the value and what is allowed."""
    with pytest.raises(ValueError, match=message):
        replace(SCENARIOS["dovecote"], absorption_factors=factors)
