"""Loads of hanging points: statics against printed sling factors and workings by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from schools import SCENARIOS

from gymtools.display.tables.schedules import tables_of
from gymtools.equipment import hanging_points as hanging
from gymtools.equipment import schedule_units, schedules
from gymtools.physics import statics
from gymtools.venue.scenario import changed

STONEBRIDGE, LARKFIELD = SCENARIOS["stonebridge"], SCENARIOS["larkfield"]

# Tension of a leg over its half of the load, by its angle over the horizontal: the chart "effect of
# sling angle, tension factor" of a public sling catalog (SLP sling catalog, page 99), alike in
# other public sling tables. They print the reciprocal of a sine of three digits: 1 / 0.906 = 1.104
# at 65 degrees and 1 / 0.574 = 1.742 at 35, where the sines themselves give 1.103 and 1.743.
PRINTED = {90: 1.000, 85: 1.004, 80: 1.015, 75: 1.035, 70: 1.064, 65: 1.104, 60: 1.155}
PRINTED |= {55: 1.221, 50: 1.305, 45: 1.414, 40: 1.555, 35: 1.742, 30: 2.000}


def test_the_tension_of_a_leg_is_the_printed_one():
    """Printed: thirteen angles, each digit from the sine as the catalog rounds it; the rounding of
    the sine to half its third digit is the whole of the difference to ours.
    """
    for angle, factor in PRINTED.items():
        ours = float(statics.bridle_factor(angle))
        assert round(1 / round(1 / ours, 3), 3) == factor, angle
        assert ours == pytest.approx(factor, abs=0.0005 * factor**2 + 0.0005), angle


@given(left=st.floats(10, 85), right=st.floats(10, 85), load=st.floats(1, 5000))
def test_two_legs_hold_the_load_and_do_not_pull_aside(left, right, load):
    """Closed form: the verticals add up to the load, the horizontals cancel."""
    one, other = statics.bridle_tensions(load, left, right)
    a, b = np.radians([left, right])
    assert one * np.sin(a) + other * np.sin(b) == pytest.approx(load)
    assert one * np.cos(a) == pytest.approx(other * np.cos(b))


def test_a_level_bridle_is_the_general_one():
    """Worked by hand: 1000 N on two legs at 30 degrees, 1000 N in each; at 60 and 30 degrees the
    steep leg carries cos 30 / sin 90 = 866 N, the flat one 500 N.
    """
    assert statics.bridle_tensions(1000.0, 30.0, 30.0) == pytest.approx((1000.0, 1000.0))
    assert statics.bridle_tensions(1000.0, 60.0, 30.0) == pytest.approx((866.03, 500.0), abs=0.01)
    assert 500.0 * statics.bridle_factor(30.0) == pytest.approx(1000.0)


def test_statics_refuse_what_is_no_bridle():
    """Behavior: upright legs, a flat leg and one point for two are refused, with the reason."""
    with pytest.raises(ValueError, match=r"are both 90 deg: upright legs are no bridle"):
        statics.bridle_tensions(100.0, 90.0, 90.0)
    with pytest.raises(ValueError, match=r"leg_deg = 2 deg is outside 5 to 90 deg\. From the hori"):
        statics.bridle_factor(2.0)
    with pytest.raises(ValueError, match=r"both at 1 m: one point carries it all"):
        statics.shares(0.0, 1.0, 1.0)


def points(scenario, **group):
    """Hanging points by tag, with the first group changed."""
    name = scenario.groups[0].name
    changes = {("groups", name, key): value for key, value in group.items()}
    return {p.tag: p for p in hanging.hanging_points(changed(scenario, changes))}


def test_the_point_stands_over_the_center_of_gravity():
    """Worked by hand: Stonebridge's N1 faces north, tilted 24 degrees, at y = 6.5 m and 9.6 m up,
    0.38 m deep. Its middle lies 0.19 cos 24 = 0.1736 m behind the front and 0.19 sin 24 = 0.0773 m
    over it: y = 6.3264 m, 9.6773 m up, 0.3227 m under the clear height of 10 m.
    """
    p = points(STONEBRIDGE)["N1"]
    assert p.position == pytest.approx([-11.0, 6.3264, 10.0], abs=1e-4)
    assert p.drop == pytest.approx(0.3227, abs=1e-4)


def test_the_load_of_a_point_by_hand():
    """Worked by hand: Stonebridge's N1, lowered to a front at 9.2 m, has its middle at 9.2773 m,
    0.7227 m under the clear height. 22 kg and a quarter of it for hardware are 27.5 kg, 0.2697 kN.
    Its highest corner is 0.31 cos 24 + 0.19 sin 24 = 0.3605 m over its middle; the legs meet 0.15 m
    under the structure and have 0.2122 m of height over 0.2 m of half its width: 46.70 degrees,
    each 0.2697 / 2 / sin 46.70 = 0.1853 kN; ten times that is 1.853 kN, of the point 2.697 kN.
    """
    p = points(STONEBRIDGE, height=9.2)["N1"]
    assert (p.load_kg, p.load_kn) == pytest.approx((27.5, 0.26968), abs=1e-4)
    assert (p.kind, p.top, p.room) == ("bridle", *map(near, (0.3605, 0.2122)))
    assert (p.leg_deg, p.leg_kn) == pytest.approx((46.70, 0.18528), abs=0.01)
    assert (p.leg_strength_kn, p.strength_kn) == pytest.approx((1.8528, 2.6968), abs=1e-3)
    assert p.suspension() == "bridle of two legs at 47° over the horizontal"


def near(value):
    return pytest.approx(value, abs=2e-4)


@pytest.mark.parametrize(
    "height, kind, legs, lower",
    [
        (8.0, "bridle", 60.0, 0.0),
        (9.2, "bridle", 46.70, 0.0),
        (9.3, "lines", 90.0, 0.0878),  # 0.1122 m of height where 45 degrees ask for 0.2 m
        (9.45, "frame", 90.0, 0.2378),  # its top 0.1122 m under the structure: no clamp, no shackle
        (9.6, "frame", 90.0, 0.3878),  # its top 0.0378 m over the clear height
    ],
)
def test_a_bridle_needs_room_over_the_enclosure(height, kind, legs, lower):
    """Worked by hand: N1's middle is 0.0773 m over its front, its highest corner 0.3605 m over its
    middle, the legs meet at 9.85 m. Legs of 60 degrees where there is room, never under 45 (common
    practice, no source); two points with half of the load each where there is none.
    """
    p = points(STONEBRIDGE, height=height)["N1"]
    assert p.kind == kind
    assert p.leg_deg == pytest.approx(legs, abs=0.01)
    assert p.lower_by == near(lower)
    if kind != "bridle":
        assert p.leg_kn == pytest.approx(p.load_kn / 2)
        lowered = points(STONEBRIDGE, height=height - p.lower_by - 1e-6)["N1"]
        assert (lowered.kind, lowered.leg_deg) == ("bridle", pytest.approx(45.0, abs=1e-3))


def test_no_bridle_begins_inside_the_enclosure():
    """Worked by hand: Larkfield's N1, 0.62 m (24 in) high and 0.38 m (15 in) deep, tilted by 32
    degrees, has its middle 0.2043 m (8 in) under the structure. Straight above, it reaches
    0.31 / cos 32 = 0.3655 m or 0.19 / sin 32 = 0.3585 m, whichever is less (14 in): the point is
    inside it. Its highest corner is 0.31 cos 32 + 0.19 sin 32 = 0.3636 m over its middle. A frame
    takes half of 60.6 lb on either side; a bridle asks for 0.3636 m, 0.15 m of hardware and 0.2 m
    of height: 0.5095 m more than there is, 1 ft 8 1/4 in when rounded up.
    """
    p = points(LARKFIELD)["N1"]
    assert (p.drop, p.top) == (near(0.2043), near(0.3636))
    assert p.kind == "frame" and p.lower_by == near(0.3636 + 0.15 + 0.2 - 0.2043)
    assert p.suspension("ft") == (
        "frame (yoke) between joists, two points at its sides, half of the load each: its top is"
        " 0 ft 6 1/4 in (0.16 m) over the clear height;"
        " a bridle has room 1 ft 8 1/4 in (0.51 m) lower"
    )


def test_an_enclosure_that_meets_a_joist_says_so():
    """Behavior: Stonebridge's N2 is under the tenth joist, and reaches over its lower edge."""
    words = points(STONEBRIDGE)["N2"].suspension()
    assert words.startswith("frame (yoke) beside joist 10, two points at its sides, half of the")
    assert ": its top is 0.04 m (0 ft 1 1/2 in) over the clear height, not under a joist;" in words


@given(height=st.floats(7.0, 9.9), tilt=st.floats(0.0, 90.0), pan=st.floats(-180.0, 180.0))
def test_the_legs_of_a_bridle_clear_the_enclosure(height, tilt, pan):
    """Invariance: at any height and turn no part of a leg is inside the enclosure, and no leg is
    flatter than 45 degrees; the forces of both sides add up to the load.
    """
    scenario = changed(
        STONEBRIDGE,
        {
            ("groups", STONEBRIDGE.groups[0].name, key): value
            for key, value in dict(height=height, downtilt_deg=tilt, pan_deg=pan).items()
        },
    )
    c, p = scenario.loudspeakers[0], hanging.hanging_points(scenario)[0]
    upright = np.sin(np.radians(p.leg_deg))
    assert 2 * p.leg_kn * upright == pytest.approx(p.load_kn)
    if p.kind != "bridle":
        return
    assert p.leg_deg >= 45 - 1e-9
    middle, axes, half = c.enclosure
    for line in p.lines:
        for one, other in zip(line[:-1], line[1:], strict=True):
            on = one + np.linspace(0, 1, 40)[:, None] * (other - one)
            inside = (np.abs((on - middle) @ axes.T) < half - 1e-6).all(axis=1)
            assert not inside.any()


@pytest.mark.parametrize("name", SCENARIOS)
def test_printed_loads_add_up(name):
    """Independent: of the rows as they are printed, parts add up to the load and loads to the total
    of the note, in kilograms and in pounds.
    """
    rows = [dict(zip(hanging.COLUMNS, r, strict=True)) for r in hanging.rows(SCENARIOS[name])]
    for unit in ("kg", "lb"):
        parts = [
            r[f"{n} [{unit}]"] for r in rows for n in ("loudspeaker", "hardware and transformer")
        ]
        loads = [r[f"load of the point [{unit}]"] for r in rows]
        assert sum(parts) == pytest.approx(sum(loads), abs=1e-6)
        assert f"{sum(loads):.1f} {unit}" in hanging.total_words(SCENARIOS[name])


def test_tilt_moves_the_load_to_the_rear_point():
    """Worked by hand: 0.38 m deep, 0.62 m high. Level, half on either top point. At 24 degrees the
    front one carries 1/2 - (0.62 / 0.76) tan 24 = 13.7 %. At arctan(0.38 / 0.62) = 31.5 degrees
    nothing is left on it; a tenth of the load is at arctan(0.8 x 0.38 / 0.62) = 26.1 degrees.
    """
    assert points(STONEBRIDGE, downtilt_deg=0.0)["N1"].front_share == pytest.approx(0.5)
    p = points(STONEBRIDGE, downtilt_deg=24.0)["N1"]
    assert p.front_share == pytest.approx(0.1368, abs=5e-4)
    assert p.holds_to_deg == pytest.approx(26.12, abs=0.01)
    over = points(STONEBRIDGE, downtilt_deg=31.5)["N1"]
    assert over.front_share == pytest.approx(0.0, abs=1e-3)
    assert over.tilt_held == "yoke or pull-back: its top points hold a tilt up to 26°"
    assert points(STONEBRIDGE, downtilt_deg=90.0)["N1"].front_share is None


def test_joists_share_the_load():
    """Worked by hand: joists every 2.1 m from the west wall. N1 is 10.0 m from it, between the
    fourth (8.4 m) and the fifth (10.5 m): 0.5 / 2.1 = 23.8 % and 76.2 %. N2 at 21.0 m is under the
    tenth. One at 1.0 m hangs between the wall and the first: 1.0 / 2.1 on the joist.
    """
    found = points(STONEBRIDGE)
    (one, share), (other, rest) = found["N1"].joists
    assert (one, other) == (4, 5)
    assert (share, rest) == pytest.approx((0.2381, 0.7619), abs=1e-4)
    assert found["N2"].joists == ((10, 1.0),)
    edge = points(STONEBRIDGE, number=1, x=-20.0)["N1"]
    assert edge.joists[0] == (1, pytest.approx(1.0 / 2.1))
    assert edge.structure == "cross-member on the outer joist and the wall"
    assert hanging.hanging_points(LARKFIELD)[0].joists == ()


@pytest.mark.parametrize("name", SCENARIOS)
def test_the_schedule_says_what_the_points_are(name):
    """Independent: loads of every school from the types' weights alone, in kilograms and pounds,
    tensions in kilonewtons and pounds; no rated load is under twice its load; an engineer signs.
    """
    scenario = SCENARIOS[name]
    for row, c in zip(hanging.rows(scenario), scenario.loudspeakers, strict=True):
        cell = dict(zip(hanging.COLUMNS, row, strict=True))
        kg = c.type.weight_kg + max(c.type.weight_kg / 4, 3.0)
        assert cell["load of the point [kg]"] == pytest.approx(kg, abs=0.051)
        assert cell["load of the point [lb]"] == pytest.approx(kg * 2.20462, abs=0.51)
        assert 0 <= cell["rated load of point and safety [kg]"] - 2 * kg < 1
        assert 0 <= cell["rated load of point and safety [lb]"] - 2 * kg * 2.20462 < 1.01
        assert (
            cell["rated load of a leg or of upper anchors [kg]"] >= kg
        )  # half of it, doubled, or more at an angle
        kn = cell["tension of a leg or of upper anchors [kN]"]
        assert cell["tension of a leg or of upper anchors [lbf]"] == pytest.approx(
            kn * 224.809, abs=1.7
        )
        west = cell["from west wall [m]"]
        behind = c.type.depth / 2 * np.cos(np.radians(c.downtilt_deg))
        expected = c.x - behind * np.cos(np.radians(c.pan_deg)) + scenario.hall.length / 2
        if not cell["suspension"].startswith("wall bracket"):
            assert west == pytest.approx(expected, abs=6e-4)
    assert "licensed structural engineer" in hanging.ENGINEER


def test_a_bracket_on_a_wall_by_hand():
    """Worked by hand: 300 N at 0.4 m from the wall are 120 N m; anchors 0.2 m apart pull with
    600 N. Alderway's T1, 22 kg and 5.5 kg of hardware (0.26968 kN), has its front 2 ft or 0.6096 m
    from the east wall. Its middle is 0.19 cos 24 = 0.1736 m nearer: 0.4360 m, 0.1176 kN m at the
    wall, 0.3920 kN out of it with anchors 0.3 m apart, and twice that as rated load: 79.9 kg.
    """
    assert statics.bracket(300.0, 0.4, 0.2) == pytest.approx((300.0, 120.0, 600.0))
    p = points(SCENARIOS["alderway"])["T1"]
    assert p.wall == "east" and p.structure == "east wall: how it is built decides the anchors"
    assert p.position == pytest.approx([16.1544, -5.1816, 6.7829], abs=2e-4)
    assert (p.drop, p.moment_knm, p.tension_kn) == pytest.approx((0.4360, 0.1176, 0.3920), abs=1e-4)
    assert p.leg_rated_kg == pytest.approx(79.9, abs=0.1)
    assert p.tilt_held == "tilting bracket, set to 24°"
    steep = points(SCENARIOS["alderway"], downtilt_deg=26.0)["T1"]
    assert steep.tilt_held == "yoke or extension: wall brackets usually tilt up to 25°"
    with pytest.raises(ValueError, match=r"anchors = 0 m is outside 0.02 to 5 m"):
        statics.bracket(300.0, 0.4, 0.0)


@pytest.mark.parametrize(
    "change, kept",
    [
        (dict(x=15.2), ""),  # 0.3448 m farther: a gap of 0.49 m
        (dict(x=15.4), "east"),
        (dict(height=5.0), ""),  # under the top of the stage's opening, 5.94 m: no wall there
        (dict(height=5.0, number=1, y=8.0), "east"),  # beside it
    ],
)
def test_a_bracket_asks_for_a_wall_that_is_near(change, kept):
    """Worked by hand: T1's rear upper edge is 0.6096 - 0.38 cos 24 - 0.31 sin 24 = 0.136 m from the
    wall; a bracket is taken up to 0.3 m, and not across the opening of the stage (20 ft to either
    side of its middle).
    """
    assert points(SCENARIOS["alderway"], **change)["T1"].wall == kept


def test_a_line_transformer_is_carried_too():
    """Worked by hand: on a 70.7 V line with taps of 100 W, 0.5 + 100 x 0.02 = 2.5 kg on the point;
    driven directly, nothing.
    """

    class Wired:
        def channel(self, tag):
            return SimpleNamespace(line_volts=70.7 if tag == "N1" else None, tap_w=100.0)

    found = {p.tag: p for p in hanging.hanging_points(STONEBRIDGE, Wired())}
    assert (found["N1"].transformer_kg, found["N1"].load_kg) == pytest.approx((2.5, 30.0))
    assert (found["N2"].transformer_kg, found["N2"].load_kg) == pytest.approx((0.0, 27.5))
    cell = dict(zip(hanging.COLUMNS, hanging.rows(STONEBRIDGE, Wired())[0], strict=True))
    assert cell["hardware and transformer [kg]"] == pytest.approx(8.0)


@pytest.mark.parametrize(
    "units, foreign", [("ft", ("m", "kg", "kN")), ("m", ("ft-in", "lb", "lbf"))]
)
def test_a_schedule_of_points_has_one_kind_of_units(units, foreign):
    """Behavior: feet schools read feet, pounds and pounds of force, meter schools meters, kilograms
    and kilonewtons; sixteen columns at most, ten in either of the two tables that a page holds.
    """
    columns, _ = schedule_units.converted(hanging.COLUMNS, hanging.rows(STONEBRIDGE), units)
    assert not {schedule_units.unit_of(c) for c in columns} & set(foreign)
    assert len(columns) <= 16
    schedule = schedules.Schedule(
        title=schedules.LOADS, columns=hanging.COLUMNS, rows=hanging.rows(STONEBRIDGE)
    )
    shown = tables_of(schedules._parted(schedule, []).in_units(units))
    assert [len(t.columns) <= 10 for t in shown] == [True, True]


@pytest.mark.parametrize(
    "name, total, assumption",
    [
        ("larkfield", "8 points, 484.8 lb (220.0 kg, 2.16 kN) in all", "to 6 in (0.15 m) under"),
        ("dovecote", "4 points, 64.4 kg, 0.63 kN (142.2 lb) in all", "to 0.15 m (6 in) under"),
    ],
)
def test_notes_lead_with_the_units_of_the_school(name, total, assumption):
    """Worked by hand: eight loudspeakers of 22 kg (48.5 lb) with 5.5 kg (12.1 lb) of hardware each,
    60.6 lb and 27.5 kg; two of 17 kg with 4.2 kg and two of 8 kg with 3 kg, 64.4 kg.
    """
    assert hanging.total_words(SCENARIOS[name]).startswith(total)
    assert assumption in hanging.assumed(SCENARIOS[name].units)


def test_no_loudspeaker_no_point():
    """Behavior: a school before its loudspeakers has an empty schedule, in words that read."""
    bare = replace(
        STONEBRIDGE, groups=(), uses=tuple(replace(u, groups={}) for u in STONEBRIDGE.uses)
    )
    assert hanging.rows(bare) == ()
    assert hanging.total_words(bare).startswith("0 points, 0.0 kg, 0.00 kN (0.0 lb) in all")
