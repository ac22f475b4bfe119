"""Starting layouts in the schools of this repository and in halls made up by hypothesis: placed,
aimed, switched, refused.
"""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schools import SCENARIOS

from gymtools.design.arrangements import ARRANGEMENTS, OFFERED, arrange, fitting, hung
from gymtools.design.layouts import WALL
from gymtools.design.placing import Misfit
from gymtools.physics.geometry import rotation
from gymtools.venue import scenario as scenario_module
from gymtools.venue.hall import Hall
from gymtools.venue.loudspeakers import Group
from gymtools.venue.paths import changed
from gymtools.venue.scenario import Scenario
from gymtools.venue.seating import Bank, FloorSeats
from gymtools.venue.stage import PortableStage, Stage
from gymtools.venue.uses import Use

LARKFIELD, STONEBRIDGE = SCENARIOS["larkfield"], SCENARIOS["stonebridge"]
HARD = dict(floor="wood floor", roof="plain deck", walls="painted block")
LONG, ENDS = ("north", "south"), ("east", "west")
NO_BANK, NO_PAIR = "a bank of seats is needed", "two facing banks are needed"
ON_SIDE, ON_END = "a built-in stage on a side", "a built-in stage on an end"
NO_DECK = "a portable stage is needed"
NO_STAGE, NEAR_ENOUGH = "a built-in stage is needed", "the far end is near enough"


def hall_of(
    *,
    length=34.0,
    width=26.0,
    height=9.0,
    ridge=None,
    clear=8.0,
    court="high school",
    banks=("north", "south"),
    rows=7,
    part=0.8,
    offset=0.0,
    stage=None,
    deck=None,
):
    """A school with the same bank on each side named, perhaps a stage on a side and a portable one
    at an end.
    """
    wall = {side: length if side in LONG else width for side in (*LONG, *ENDS)}
    run, corner = 0.7, 0.7 * rows
    stands = []
    for side in banks:
        meets = set(banks) & set(ENDS if side in LONG else LONG)
        free = wall[side] - 2 * corner * bool(meets)
        size = part * free
        stands.append(
            Bank(
                name=f"{side} bank",
                side=side,
                rows=rows,
                row_run=run,
                row_rise=0.3,
                length=size,
                offset=offset * (free - size) / 2,
            )
        )
    built = stage and Stage(
        side=stage, width=min(12.0, 0.6 * wall[stage]), opening_height=4.0, depth=6.0
    )
    chairs = FloorSeats(name="chairs", length=6, width=5)
    decks = ()
    if deck:
        x = length / 2 - (corner if deck in banks else 0) - 2.5
        decks = (
            PortableStage(
                name="deck", x=x if deck == "east" else -x, length=3, width=5, height=0.6
            ),
        )
    seats = {b.name: 1.0 for b in stands}
    uses = (
        Use(name="game", target_dba=85, noise_dba=70, listens=seats | {"court": 0.3}),
        Use(
            name="class",
            target_dba=75,
            noise_dba=60,
            listens={"court": 1.0},
            closed=tuple(seats),
            curtain_open=False,
        ),
        Use(
            name="graduation",
            target_dba=75,
            noise_dba=50,
            listens=seats | {"chairs": 1.0},
            set_up=("chairs", *(d.name for d in decks)),
        ),
    )
    if seats:
        uses += (Use(name="assembly", target_dba=75, noise_dba=50, listens=seats),)
    first = Group(
        name="any",
        tag="A",
        loudspeaker="pendant 100",
        height=clear - 0.5,
        pan_deg=0,
        downtilt_deg=90,
    )
    hall = Hall(
        length=length, width=width, height=height, ridge_height=ridge, clear_height=clear, **HARD
    )
    return Scenario(
        name="made up",
        units="m",
        source="made up for tests",
        court=court,
        hall=hall,
        banks=tuple(stands),
        floor_seats=(chairs,),
        stage=built,
        portable_stages=decks,
        groups=(first,),
        uses=uses,
    )


@st.composite
def halls(draw, sides, offset=None):
    """Halls of 28 to 60 by 22 to 44 m with up to four banks, a stage on any free side or none, a
    portable stage or none.
    """
    length, width = draw(st.floats(28, 60)), draw(st.floats(22, 44))
    height = draw(st.floats(7, 12))
    ridge = draw(st.sampled_from([None, height + 2.5]))
    clear = draw(st.floats(0.8, 0.97)) * height
    banks = draw(sides)
    free = [side for side in (*LONG, *ENDS) if side not in banks]
    return hall_of(
        length=length,
        width=width,
        height=height,
        ridge=ridge,
        clear=clear,
        banks=tuple(sorted(banks)),
        court=draw(st.sampled_from(["volleyball", "junior high"])),
        rows=draw(st.integers(2, 7)),
        part=draw(st.floats(0.5, 1.0)),
        offset=0.0 if offset is None else draw(offset),
        stage=draw(st.sampled_from([None, *free])),
        deck=draw(st.sampled_from([None, "east", "west"])),
    )


def expected(scenario):
    """Which arrangements this hall cannot take, and why: what the issue asks of each."""
    sides, stage = {b.side for b in scenario.banks}, scenario.stage and scenario.stage.side
    no = {}
    if not ({"north", "south"} <= sides or {"east", "west"} <= sides):
        no["center to banks"] = NO_PAIR
    if not sides:
        rows = ["rows and court", "rows and ends", "rows and stage", "from across"]
        no |= dict.fromkeys(rows, NO_BANK)
    elif not scenario.portable_stages:
        no["rows and stage"] = NO_DECK
    if stage not in LONG:
        no["stage on a side"] = ON_SIDE
    if stage not in ENDS:
        no["stage on an end"] = ON_END
    if stage is None:
        no["stage and second line"] = NO_STAGE
    elif fits_one_line(scenario):
        no["stage and second line"] = NEAR_ENOUGH
    return no


def fits_one_line(scenario):
    """Whether the far end is nearer than two heights of the line over the ears."""
    hall, side = scenario.hall, scenario.stage.side
    height = hung_of(scenario, "stage on a side" if side in LONG else "stage on an end")
    depth = hall.width if side in LONG else hall.length
    return depth < 2 * (height - 1.2)


def hung_of(scenario, key):
    """Height of the line at a stage, from the layout itself [m]."""
    return ARRANGEMENTS[key].place(scenario)[0].group.height


def box(loudspeaker):
    """Middle, axes (rows: front, left, up) and half sizes of a loudspeaker."""
    kind, axes = loudspeaker.type, rotation(loudspeaker.pan_deg, loudspeaker.downtilt_deg)
    return (
        loudspeaker.position - kind.depth / 2 * axes[0],  # it hangs by the middle of its front
        axes,
        np.array([kind.depth, kind.width, kind.height]) / 2,
    )


def apart(one, other):
    """Free space between two turned boxes along the best of the fifteen separating axes, negative
    if they meet [m].
    """
    (p, a, u), (q, b, v) = box(one), box(other)
    cross = np.array([np.cross(x, y) for x in a for y in b])
    axes = np.concatenate([a, b, cross[np.linalg.norm(cross, axis=1) > 1e-6]])
    axes = axes / np.linalg.norm(axes, axis=1)[:, None]
    return (np.abs(axes @ (q - p)) - np.abs(axes @ a.T) @ u - np.abs(axes @ b.T) @ v).max()


def check_places(scenario):
    """Every loudspeaker inside the hall, its box under joists and roof and over two meters, no two
    overlapping.
    """
    hall = scenario.hall
    for c in scenario.loudspeakers:
        middle, axes, half = box(c)
        reach = np.abs(axes.T) @ half  # of the box along x, y and z
        assert abs(c.x) < hall.length / 2 and abs(c.y) < hall.width / 2, c.tag
        assert middle[2] + reach[2] <= min(hall.clear_height, hall.roof_height(c.y)) + 1e-6, c.tag
        assert middle[2] - reach[2] > 2.0, c.tag
    for one, other in combinations(scenario.loudspeakers, 2):
        if np.linalg.norm(one.position - other.position) < 3:
            assert apart(one, other) > 0, (one.tag, other.tag)


def bank_groups(scenario, key):
    """Groups of an arrangement that serve a bank before all else, with the side of that bank."""
    side = {b.name: b.side for b in scenario.banks}
    placed = [
        (one.group, one.serves[0])
        for one in hung(scenario, key)
        if one.serves
        and one.target
        and scenario.loudspeaker_types[one.group.loudspeaker].lobes == 1
    ]
    return [(group, side[first]) for group, first in placed if first in side]


def miss(scenario, group, side):
    """How far the axes of a group pass the nearest ear of the bank on a side, the worst loudspeaker
    [m].
    """
    bank = next(b for b in scenario.banks if b.side == side)
    ears = replace(bank, open=True).audience_area(scenario.hall).points
    found = []
    for c in group.loudspeakers(scenario.loudspeaker_types[group.loudspeaker]):
        way = ears - c.position
        along = way @ rotation(c.pan_deg, c.downtilt_deg)[0]
        found.append(np.sqrt((way**2).sum(axis=1) - along**2)[along > 0].min(initial=np.inf))
    return max(found)


# --- where they hang and what they aim at


def check_everything(scenario):
    """All that must hold of every arrangement in one hall."""
    fits, reasons = fitting(scenario)
    no = expected(scenario)
    assert reasons.keys() == no.keys(), reasons
    for key, said in no.items():
        assert reasons[key].startswith(said)
    for key, arranged in fits.items():
        check_places(arranged)
        for group, side in bank_groups(scenario, key):
            assert miss(scenario, group, side) < 1.5, (key, group.name)
        for use in arranged.uses:
            assert any(use.group_setting(g.name).on for g in arranged.groups), (key, use.name)
            late = {o.group.name for o in hung(scenario, key) if o.after}
            for name, setting in use.groups.items():
                assert setting.gain_db == 0 and (setting.delay_ms == 0 or name in late)


@pytest.mark.parametrize("name", SCENARIOS)
def test_in_every_school(name):
    """Closed form: inside the hall, under joists and roof, free of each other (separating axes of
    the turned boxes), every axis for a bank through its ears, something on in every use; refused
    only for what the hall has not got.

    An axis passes an ear within 1.5 m. Ears stand 0.7 m apart and aims are whole degrees: 0.33 m at
    nine of ten (measured in 2400 made-up halls); 1.4 m at worst, where a pair splayed along two
    rows shares the tilt of the square way.
    """
    check_everything(SCENARIOS[name])


@settings(max_examples=20, deadline=None)
@given(scenario=halls(st.sets(st.sampled_from(LONG))))
def test_in_any_hall(scenario):
    """Invariance: the same in halls of all sizes and roofs, with banks on the long sides, stages on
    a side, an end or none.
    """
    check_everything(scenario)


@settings(max_examples=12, deadline=None)
@given(
    scenario=halls(
        st.sets(st.sampled_from((*LONG, *ENDS)), min_size=1).filter(lambda s: s & set(ENDS))
    )
)
def test_with_banks_at_the_ends(scenario):
    """Invariance: the same with banks at one end or both, alone or with the long sides."""
    check_everything(scenario)


@settings(max_examples=12, deadline=None)
@given(
    scenario=halls(st.sets(st.sampled_from(LONG), min_size=1), offset=st.sampled_from([-0.8, 0.8]))
)
def test_with_banks_off_the_middle(scenario):
    """Invariance: the same where a bank stands toward one end of its wall."""
    check_everything(scenario)


def layout(scenario, mirror=(1, 1)):
    """Places and axes of all loudspeakers in an order of their own, mirrored along x or y if wished
    (loudspeaker, 6).
    """
    place = np.array([c.position for c in scenario.loudspeakers])
    front = np.array([rotation(c.pan_deg, c.downtilt_deg)[0] for c in scenario.loudspeakers])
    rows = np.concatenate([place * [*mirror, 1], front * [*mirror, 1]], axis=1)
    return rows[np.lexsort(np.round(rows, 3).T)]


@pytest.mark.parametrize("key", [k for k in ARRANGEMENTS if k != "stage on a side"])
def test_a_symmetric_hall_gets_a_symmetric_layout(key):
    """Invariance: north and south alike, the layout is its own mirror image; 1e-6 for sums in
    another order.

    With nothing at the ends it is so from end to end too (but for the housing, whose four beams are
    one axis here).
    """
    both = arrange(hall_of(stage="east", deck="west"), key)
    np.testing.assert_allclose(layout(both, (1, -1)), layout(both), atol=1e-6)
    if "stage" not in key and key != "center housing":
        plain = arrange(hall_of(), key)
        np.testing.assert_allclose(layout(plain, (-1, 1)), layout(plain), atol=1e-6)


def test_a_stage_in_the_middle_of_a_side_gets_a_symmetric_line():
    """Invariance: the line at a stage on a side is its own mirror image from end to end."""
    line = arrange(hall_of(banks=("south",), stage="north"), "stage on a side")
    np.testing.assert_allclose(layout(line, (-1, 1)), layout(line), atol=1e-6)


@pytest.mark.parametrize("stage", (*LONG, *ENDS))
def test_the_line_at_a_stage_is_level_at_its_wall_and_fires_away(stage):
    """Closed form: one height, one distance from the stage's wall, every axis into the hall."""
    across = {
        "north": ("south",),
        "south": ("north",),
        "east": ("north", "south"),
        "west": ("south",),
    }[stage]
    line = arrange(
        hall_of(banks=across, stage=stage),
        "stage on a side" if stage in LONG else "stage on an end",
    )
    axis, sign = (1 if stage in LONG else 0), (1 if stage in ("north", "east") else -1)
    wall = (line.hall.width if stage in LONG else line.hall.length) / 2
    assert len(line.loudspeakers) == (3 if stage == "west" else 4)
    assert np.ptp([c.z for c in line.loudspeakers]) == 0
    for c in line.loudspeakers:
        assert sign * c.position[axis] == pytest.approx(wall - WALL)
        assert sign * rotation(c.pan_deg, c.downtilt_deg)[0][axis] < -0.5


def test_the_pair_frames_the_portable_stage_and_fires_away():
    """Closed form: a meter beyond either side of the deck, just before its front edge, with the
    deck behind both.
    """
    for end, sign in (("west", 1), ("east", -1)):
        s = arrange(hall_of(deck=end), "rows and stage")
        deck, pair = s.portable_stages[0], [c for c in s.loudspeakers if c.group == "stage pair"]
        assert sorted(c.y for c in pair) == pytest.approx([-deck.width / 2 - 1, deck.width / 2 + 1])
        for c in pair:
            assert 0 < sign * (c.x - deck.x) - deck.length / 2 < 1
            assert sign * rotation(c.pan_deg, c.downtilt_deg)[0][0] > 0.5


# --- made of the hall, not of numbers


GROWN = 1.3
# arrangements whose number is that of the gym's sides or ends, or of a line at a stage; the others
# have as many as beam and height ask for
COUNTED = [k for k in ARRANGEMENTS if k in ("pendants", "end clusters") or k.startswith("center")]
COUNTED += ["stage on a side", "stage on an end"]


@pytest.mark.parametrize("key", COUNTED)
def test_a_larger_hall_gets_a_larger_layout(key, monkeypatch):
    """Invariance: where the number is that of sides, ends or a stage's line: plan, court, banks
    and stages 1.3 times as large, every loudspeaker stands 1.3 times as far out.

    Up to 0.3 of what does not grow: loudspeakers and their gaps, the distance to a wall, a meter
    beside a deck (2 m in all); a coordinate written down would be off by 0.3 of itself, 3 m and
    more for those not at the center.
    """
    banks, stage = (
        (("south",), "north") if key == "stage on a side" else (("north", "south"), "east")
    )
    size = dict(length=32.0, width=28.0, banks=banks, stage=stage)
    one = hall_of(**size, deck="west")

    def grown(t):
        return replace(
            t, x=t.x * GROWN, y=t.y * GROWN, length=t.length * GROWN, width=t.width * GROWN
        )

    wide = dict(
        hall=replace(one.hall, length=32 * GROWN, width=28 * GROWN),
        banks=tuple(
            replace(b, length=b.length * GROWN, row_run=b.row_run * GROWN) for b in one.banks
        ),
        stage=replace(one.stage, width=one.stage.width * GROWN),
        portable_stages=tuple(grown(p) for p in one.portable_stages),
        floor_seats=tuple(grown(f) for f in one.floor_seats),
    )
    small = arrange(one, key)
    lines = replace(one.lines, length=one.lines.length * GROWN, width=one.lines.width * GROWN)
    monkeypatch.setattr(scenario_module, "court", lambda level: lines)
    large = arrange(replace(one, **wide), key)
    # chairs that are left out have pendants of their own, as many as they need
    one, other = (
        [c for c in s.loudspeakers if not c.group.startswith("chairs")] for s in (small, large)
    )
    assert [c.tag for c in other] == [c.tag for c in one]
    a, b = (np.array([c.position[:2] for c in found]) for found in (one, other))
    assert np.abs(b - GROWN * a).max() < (GROWN - 1) * 2.0
    assert len({tuple(p) for p in np.round(b, 2)}) == len(b)


@pytest.mark.parametrize("key", ARRANGEMENTS)
def test_a_higher_roof_lifts_every_loudspeaker(key):
    """Invariance: two meters more under the joists lift every row, however many it then has, by
    two; 0.03 m is what a steeper tilt takes or gives (measured).
    """
    banks, stage = (
        (("south",), "north") if key == "stage on a side" else (("north", "south"), "east")
    )
    low, high = (
        arrange(hall_of(banks=banks, stage=stage, deck="west", height=h, clear=h - 1), key)
        for h in (9.0, 11.0)
    )
    tops = [{c.group.split()[0] + c.type.name: c.z for c in s.loudspeakers} for s in (low, high)]
    assert tops[0].keys() == tops[1].keys()
    lift = np.array([tops[1][name] - z for name, z in tops[0].items()])
    assert np.all(np.abs(lift - 2) < 0.05), lift


def test_rows_hang_over_the_side_lines_or_in_front_of_the_bank():
    """Closed form: three to a bank at the court's side line, a third of the bank apart; before a
    bank that reaches over it.
    """
    s = arrange(hall_of(rows=6), "rows and ends")
    for side, sign in (("north", 1), ("south", -1)):
        row = [c for c in s.loudspeakers if c.group == f"{side} row"]
        assert [c.y for c in row] == pytest.approx([sign * s.lines.width / 2] * 3, abs=1e-4)
        assert np.diff([c.x for c in row]) == pytest.approx([s.banks[0].length / 3] * 2, abs=1e-4)
    deep = arrange(hall_of(width=22, rows=8), "rows and ends")
    assert deep.banks[0].depth > 22 / 2 - deep.lines.width / 2 - 0.5
    row = [c for c in deep.loudspeakers if c.group == "north row"]
    assert [c.y for c in row] == pytest.approx([11 - deep.banks[0].depth - 0.5] * 3, abs=1e-4)


@pytest.mark.parametrize("rows, columns", [(1, 2), (2, 5), (3, 3), (8, 8)])
def test_the_grid_fills_the_hall(rows, columns):
    """Closed form: each pendant over the middle of its own cell, firing down."""
    s = arrange(hall_of(), "pendants", rows=rows, columns=columns)
    x, y = (
        ((np.arange(n) + 0.5) / n - 0.5) * size
        for n, size in ((columns, s.hall.length), (rows, s.hall.width))
    )
    want = [(u, v) for v in y for u in x]
    np.testing.assert_allclose([c.position[:2] for c in s.loudspeakers], want, atol=1e-4)
    assert {(c.downtilt_deg, c.type.name) for c in s.loudspeakers} == {(90.0, "pendant 100")}


def test_one_pendant_in_a_long_hall():
    """Closed form: a grid of one row and one column hangs one pendant over the center, however long
    the hall is.
    """
    (only,) = arrange(STONEBRIDGE, "pendants", rows=1, columns=1).loudspeakers
    assert only.position[:2] == pytest.approx([0, 0])


# --- uses, choices, refusals


@pytest.mark.parametrize("name", SCENARIOS)
def test_groups_that_serve_nobody_are_off(name):
    """Closed form: off is exactly what serves no area with a listener, and nothing where that would
    be all of them.
    """
    s = SCENARIOS[name]
    chairs = {f.name for f in s.floor_seats}
    for key, arranged in fitting(s)[0].items():
        serves = {one.group.name: set(one.serves) for one in hung(s, key)}
        for use in arranged.uses:
            listening = {a for a, w in use.listens.items() if w > 0}
            listening |= {"court"} if listening & chairs else set()
            idle = {group for group, areas in serves.items() if not areas & listening}
            off = {g.name for g in arranged.groups if not use.group_setting(g.name).on}
            assert off == (set() if len(idle) == len(serves) else idle), (key, use.name)


def test_only_loudspeakers_are_replaced():
    """Regression: hall, seats, microphones and all else of every use stay; the old
    groups are gone.
    """
    s = arrange(LARKFIELD, "center four")
    assert replace(s, groups=LARKFIELD.groups, uses=LARKFIELD.uses) == LARKFIELD
    for ours, theirs in zip(s.uses, LARKFIELD.uses, strict=True):
        assert replace(ours, groups={}) == replace(theirs, groups={})
    assert [g.name for g in s.groups] == [
        "center east",
        "center north",
        "center west",
        "center south",
    ]


def test_every_arrangement_says_when_it_fits_and_what_it_gives_up():
    """Regression: thirteen arrangements under their keys, twelve of them on offer, each with a
    title and two sentences.
    """
    assert (len(ARRANGEMENTS), len(OFFERED)) == (13, 12)
    for key, a in ARRANGEMENTS.items():
        assert a.key == key and a.title
        assert (
            a.fits.endswith(".") and a.gives_up.endswith(".") and len(a.fits) > 30 < len(a.gives_up)
        )


def test_what_is_arranged_can_be_edited():
    """Regression: any value of an arranged group and its drive can be changed, and is checked like
    any other.
    """
    s = arrange(LARKFIELD, "rows and stage")
    edited = changed(
        s,
        {
            ("groups", "stage pair", "downtilt_deg"): 40.0,
            ("groups", "stage pair", "y"): 1.0,
            ("uses", "graduation", "groups", "stage pair", "delay_ms"): 12.0,
        },
    )
    assert (edited.groups[2].downtilt_deg, edited.groups[2].y) == (40.0, 1.0)
    assert (
        edited.use("graduation").group_setting("stage pair").delay_ms == 12.0
        and edited.groups[:2] == s.groups[:2]
    )
    assert np.allclose(layout(arrange(edited, "rows and stage")), layout(s)), (
        "arranging again starts from the hall"
    )
    with pytest.raises(
        ValueError, match=r"^loudspeaker P1 hangs at 29 ft 6 1/2 in, above the clear height"
    ):
        changed(s, {("groups", "stage pair", "height"): 9.0})


@pytest.mark.parametrize("key", ARRANGEMENTS)
def test_another_loudspeaker_type(key):
    """Regression: the type asked for hangs in the first group, higher if it is smaller, still
    inside and apart.
    """
    banks, stage = (
        (("south",), "north") if key == "stage on a side" else (("north", "south"), "east")
    )
    s = hall_of(banks=banks, stage=stage, deck="west")
    small = "four-sided 90x50" if key == "center housing" else "compact 90x90"
    other = arrange(s, key, loudspeaker=small)
    check_places(other)
    assert other.groups[0].loudspeaker == small
    assert other.loudspeakers[0].z >= arrange(s, key).loudspeakers[0].z


@pytest.mark.parametrize(
    "key, school, said",
    [
        ("center to banks", "dovecote", r"^two facing banks are needed for this arrangement\.$"),
        ("rows and stage", "alderway", r"^a portable stage is needed for this arrangement\.$"),
        (
            "stage on a side",
            "larkfield",
            r"^a built-in stage on a side of the gym is needed for this arrangement\.$",
        ),
        (
            "stage on an end",
            "stonebridge",
            r"^a built-in stage on an end of the gym is needed for this arrangement\.$",
        ),
    ],
)
def test_misfits(key, school, said):
    """Regression: what the hall has not got, in one line."""
    with pytest.raises(Misfit, match=said):
        arrange(SCENARIOS[school], key)


@pytest.mark.parametrize("key", ["rows and ends", "rows and stage", "from across"])
def test_misfits_without_banks(key):
    """Regression: a hall without seats at its walls has nothing for rows of loudspeakers
    to serve.
    """
    with pytest.raises(Misfit, match=r"^a bank of seats is needed for this arrangement\.$"):
        arrange(hall_of(banks=(), deck="west"), key)


@pytest.mark.parametrize(
    "options, error, said",
    [
        (
            dict(key="center six"),
            ValueError,
            r"^arrangement = 'center six' is unknown\. Did you mean 'center ",
        ),
        (
            dict(key="center housing", loudspeaker="compact 90x90"),
            Misfit,
            (
                r"^'compact 90x90' fires one way; this arrangement needs a housing that fires to"
                r" all sides\.$"
            ),
        ),
        (
            dict(key="center four", loudspeaker="two-way 90x61"),
            ValueError,
            r"^loudspeaker = 'two-way 90x61' is unknown\.",
        ),
        (dict(key="pendants", rows=0), ValueError, r"^rows = 0 is outside 1 to 8\.$"),
        (dict(key="pendants", columns=9), ValueError, r"^columns = 9 is outside 1 to 8\.$"),
        (dict(key="pendants", rows=2.5), ValueError, r"^rows = 2\.5 "),
    ],
)
def test_refusals(options, error, said):
    """Regression: options that mean nothing are named, with what is known or allowed."""
    with pytest.raises(error, match=said):
        arrange(STONEBRIDGE, **options)
