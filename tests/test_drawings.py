"""Drawings measured entity by entity: each box, mark, rack, bank, aim line, tag and section against
the design; lopsided, so that no mirror passes.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gymtools.acoustics.evaluate import evaluate
from gymtools.display.documents import drawings
from gymtools.equipment.schedules import parts, schedules
from gymtools.venue.files import load
from gymtools.venue.loudspeakers import Group
from gymtools.venue.scenario import changed
from gymtools.venue.units import FOOT
from gymtools.venue.uses import GroupSetting
from gymtools.venue.wiring import Equipment, Wiring

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
GAME, LESSON = DOVECOTE.uses[:2]
# a hall in which nothing is mirrored: two types, one on a line, unequal gains and delays;
# microphone, bank and rack off the middle
LOPSIDED = changed(
    replace(
        DOVECOTE,
        name="Lopsided",
        groups=(
            Group(
                name="bank",
                tag="B",
                loudspeaker="two-way 90x60",
                x=1.5,
                y=1.0,
                height=6.2,
                pan_deg=70.0,
                downtilt_deg=25.0,
            ),
            Group(
                name="floor",
                tag="F",
                loudspeaker="compact 90x90",
                number=2,
                spacing=3.0,
                along_deg=90.0,
                x=-5.0,
                y=-3.5,
                height=5.1,
                pan_deg=-35.0,
                downtilt_deg=60.0,
            ),
        ),
        uses=(
            replace(
                GAME,
                groups={
                    "bank": GroupSetting(gain_db=-2.5, delay_ms=0.0),
                    "floor": GroupSetting(gain_db=-6.0, delay_ms=12.0),
                },
            ),
            replace(
                LESSON, groups={"bank": GroupSetting(on=False), "floor": GroupSetting(gain_db=1.5)}
            ),
        ),
        equipment=Equipment(
            rack_x=-9.0,
            rack_y=-6.5,
            wiring={"bank": Wiring(line_volts=0.0), "floor": Wiring(line_volts=70.7)},
        ),
    ),
    {
        ("microphones", "announcer", "x"): 3.2,
        ("microphones", "announcer", "y"): 4.1,
        ("banks", "bleachers", "offset"): 2.0,
    },
)


def drawn(scenario, use="game", units="m"):
    """Entities by layer and kind."""
    found = {}
    for e in drawings.drawing(scenario, use, units=units).modelspace():
        found.setdefault((e.dxf.layer, e.dxftype()), []).append(e)
    return found


def corners(line):
    return np.array(line.get_points("xy"))


def texts(found, layer):
    """Text and place of each entry of a layer."""
    return {e.dxf.text: np.array([e.dxf.insert.x, e.dxf.insert.y]) for e in found[layer, "TEXT"]}


def side_label(scenario):
    return next(t for t in texts(drawn(scenario, units=scenario.units), "TAGS") if " up, " in t)


def plan_and_section(units):
    """Where the origins of plan and section lie in the model [m]."""
    sheets = drawings.use_sheets(evaluate(LOPSIDED, "game"), units=units)
    places = drawings.model_places(sheets)
    return [places[id(one.view)] for sheet in sheets for one in sheet.placed]


@pytest.mark.parametrize("units", ["m", "ft"])
def test_everything_in_the_plan_stands_where_the_design_has_it(units):
    """Closed form: microphone, rack and bank at their own coordinates, letters beside them; in feet
    all of it is 1 / 0.3048 as large.
    """
    found, k = drawn(LOPSIDED, units=units), 1.0 if units == "m" else 1 / FOOT
    (hall, *_), (rack,), (mark,) = (
        found["GYM", "LWPOLYLINE"],
        found["RACK", "LWPOLYLINE"],
        found["MICROPHONES", "CIRCLE"],
    )
    assert corners(hall) == pytest.approx(
        k * np.array([(-13, -9.75), (13, -9.75), (13, 9.75), (-13, 9.75)])
    )
    assert corners(rack) == pytest.approx(
        k * np.array([(-9.3, -6.8), (-8.7, -6.8), (-8.7, -6.2), (-9.3, -6.2)])
    )
    assert (mark.dxf.center.x, mark.dxf.center.y, mark.dxf.radius) == pytest.approx(
        (3.2 * k, 4.1 * k, 0.15 * k)
    )
    bank = corners(found["SEATING", "LWPOLYLINE"][0])
    assert (bank.min(axis=0), bank.max(axis=0)) == (
        pytest.approx([-7.0 * k, (9.75 - 5 * 0.61) * k]),
        pytest.approx([11.0 * k, 9.75 * k]),
    ), "18 m, 2 m to the right of who looks out of the wall: to the east"
    words = texts(found, "TAGS")
    height = {"m": ("6.20 m", "5.10 m"), "ft": ("20 ft 4 in", "16 ft 8 3/4 in")}[units]
    for tag, at in (
        (f"B1 {height[0]} up", (1.5, 1.0)),
        (f"F1 {height[1]} up", (-5.0, -5.0)),
        (f"F2 {height[1]} up", (-5.0, -2.0)),
        ("announcer", (3.2, 4.1)),
        ("rack", (-9.0, -6.5)),
        ("bleachers", (2.0, 8.0)),
    ):
        assert np.linalg.norm(words[tag] / k - at) < 4.0, tag  # beside what it names


def test_enclosures_are_drawn_behind_their_fronts():
    """Closed form: the outline of each housing is that of its eight corners, half a width to each
    side, half a height up and down, its depth back from the front.
    """
    lines = [e for e in drawn(LOPSIDED)["LOUDSPEAKERS", "LWPOLYLINE"] if e.closed]
    assert len(lines) == len(LOPSIDED.loudspeakers)
    for c, line in zip(LOPSIDED.loudspeakers, lines, strict=True):
        pan, tilt = np.radians(c.pan_deg), np.radians(c.downtilt_deg)
        front, left = (
            np.array([np.cos(pan) * np.cos(tilt), np.sin(pan) * np.cos(tilt)]),
            np.array([-np.sin(pan), np.cos(pan)]),
        )
        up = np.array([np.cos(pan) * np.sin(tilt), np.sin(pan) * np.sin(tilt)])
        eight = np.array(
            [
                np.array([c.x, c.y])
                - b * c.type.depth * front
                + y * c.type.width / 2 * left
                + z * c.type.height / 2 * up
                for b in (0, 1)
                for y in (-1, 1)
                for z in (-1, 1)
            ]
        )
        got = corners(line)
        assert np.abs(got[:, None] - eight).max(axis=2).min(axis=1) == pytest.approx(0, abs=1e-6)
        assert (got.min(axis=0), got.max(axis=0)) == (
            pytest.approx(eight.min(axis=0)),
            pytest.approx(eight.max(axis=0)),
        )


def test_aim_lines_end_where_the_beams_land():
    """Closed form: 5.1 m / tan 60 = 2.944 m along the pan for the floor pair; the other one meets
    the north wall after 8.75 m / sin 70.
    """
    found = drawn(LOPSIDED)
    plan = [corners(e) for e in found["AIM-LINES", "LWPOLYLINE"][:3]]

    def on(x, y, pan, way):
        return [(x, y), (x + way * np.cos(np.radians(pan)), y + way * np.sin(np.radians(pan)))]

    assert plan[0] == pytest.approx(
        np.array(on(1.5, 1.0, 70, 8.75 / np.sin(np.radians(70)))), abs=1e-3
    )
    for line, y in zip(plan[1:], (-5.0, -2.0), strict=True):
        assert line == pytest.approx(
            np.array(on(-5.0, y, -35, 5.1 / np.tan(np.radians(60)))), abs=1e-3
        )
    ends = np.array([(e.dxf.center.x, e.dxf.center.y) for e in found["AIM-LINES", "CIRCLE"]])
    assert ends == pytest.approx(np.array([line[1] for line in plan]), abs=1e-6)


@pytest.mark.parametrize("units", ["m", "ft"])
def test_the_section_has_the_scale_of_the_plan(units):
    """Closed form: the hall's width and heights, the steps of the bank, the loudspeaker and its
    axis, from the wall behind the bank and the floor.
    """
    found, k = drawn(LOPSIDED, units=units), 1.0 if units == "m" else 1 / FOOT
    origin, at = plan_and_section(units)
    assert origin == pytest.approx([0.0, 0.0]) and at[0] > 13.0 + 6.0, "beside the plan"

    def own(entity):
        return corners(entity) / k - at

    outline, steps, axis = (
        own(found["GYM", "LWPOLYLINE"][1]),
        own(found["SEATING", "LWPOLYLINE"][1]),
        own(found["AIM-LINES", "LWPOLYLINE"][3]),
    )
    assert outline == pytest.approx(
        np.array([(0, 0), (19.5, 0), (19.5, 7.6), (9.75, 7.6), (0, 7.6), (0, 0)])
    )
    first = LOPSIDED.banks[0].first_height
    assert (steps[0], steps[-1]) == (pytest.approx([5 * 0.61, 0]), pytest.approx([0, 0], abs=1e-9))
    assert steps[1:-1:2] == pytest.approx(
        np.array([(5 * 0.61 - row * 0.61, first + row * 0.25) for row in range(5)])
    )
    assert axis == pytest.approx(
        np.array(
            [(9.75 - 1.0, 6.2), (0.0, 6.2 - 8.75 * np.tan(np.radians(25)) / np.sin(np.radians(70)))]
        ),
        abs=1e-3,
    )
    (mark,) = found["LOUDSPEAKERS", "CIRCLE"]
    assert np.array([mark.dxf.center.x, mark.dxf.center.y]) / k - at == pytest.approx([8.75, 6.2])


def cells(schedule, *names):
    return [tuple(row[schedule.columns.index(n)] for n in names) for row in schedule.rows]


def test_schedules_of_a_lopsided_hall_by_hand():
    """Worked by hand: cells of every schedule of a gym in which no two figures are alike; its room
    by the textbook formula, which a hand can work.
    """
    made = parts(LOPSIDED, room="statistical")
    found = {t.title: t for t in schedules(made)}
    assert cells(
        found["Loudspeakers"],
        "tag",
        "type",
        "from west wall [m]",
        "from south wall [m]",
        "height of the front's middle [m]",
        "pan [°]",
        "downtilt [°]",
        "weight [kg]",
        "weight [lb]",
        "channel",
    ) == [
        ("B1", "two-way 90x60", 14.5, 10.75, 6.2, 70.0, 25.0, 22.0, 48.5, 1),
        ("F1", "compact 90x90", 8.0, 4.75, 5.1, -35.0, 60.0, 9.0, 19.8, 2),
        ("F2", "compact 90x90", 8.0, 7.75, 5.1, -35.0, 60.0, 9.0, 19.8, 2),
    ]
    assert cells(
        found["Loudspeakers"],
        "aim point from west wall [m]",
        "aim point from south wall [m]",
        "aim point height [m]",
        "throw [m]",
    ) == [
        pytest.approx(row, abs=0.002)
        for row in (
            (17.685, 19.5, 1.858, 10.274),
            (10.412, 3.061, 0.0, 5.889),
            (10.412, 6.061, 0.0, 5.889),
        )
    ]
    assert cells(found["Loudspeakers"], "pan in words", "tilt in words")[:2] == [
        ("faces north, turned 20.0° to the east", "25.0° down from level"),
        ("faces east, turned 35.0° to the south", "60.0° down from level"),
    ]
    levels = found["Levels"]
    for r, row in zip(
        made.results.values(),
        cells(
            levels,
            "use",
            "wanted [dB(A)]",
            "loudest seat, speech [dB(A)]",
            "limiter over that [dB]",
            "loudest seat with the noise [dB(A)]",
        ),
        strict=True,
    ):
        top = max(float(r.speech_dba[a.points].max()) for a in r.areas)
        assert (
            row[:2] == (r.use.name, r.use.target_dba)
            and row[2:]
            == pytest.approx(
                (top, 95 - top, 10 * np.log10(10 ** (top / 10) + 10 ** (r.use.noise_dba / 10))),
                abs=0.06,
            )
            and row[3] < 20 < 70 < row[2]
        )
    assert cells(
        found["Channels"],
        "channel",
        "amplifier",
        "output",
        "group",
        "loudspeakers",
        "kind",
        "tap [W]",
        "load [ohm]",
        "gives [W]",
        "limit peaks to [W]",
        "high-pass [Hz]",
        "cable",
    ) == [
        (1, "A1", 1, "bank", "B1", "low impedance", "", 8.0, 150, 150, 60, "C1"),
        (2, "A1", 2, "floor", "F1, F2", "70.7 V line", 60.0, 41.7, 120, 120, 80, "C2"),
    ]
    assert cells(
        found["Amplifiers"],
        "amplifier",
        "type",
        "channels used",
        "channels",
        "rack units",
        "weight [kg]",
        "channels by number",
    ) == [("A1", "four by 150", 2, 4, 1, 6.5, "1, 2")]
    # four channels of 250 W at an eighth: 125 W given, 125 / 0.64 + 40 = 235 W drawn, 110 W stay,
    # 376 BTU/h; -9 + 13 and -6.5 + 9.75 from the walls
    assert (
        "draw 235 W, 2.0 A at 120 V: 1 circuit of 20 A" in found["Amplifiers"].note
        and "heat 110 W, 376 BTU/h" in found["Amplifiers"].note
    )
    assert (
        "Rack: 7 units filled, 12 units high. Place of the rack: 4.00 m (13 ft 1 1/2 in) from the"
        " west wall, 3.25 m (10 ft 8 in) from the south wall" in found["Amplifiers"].note
    )
    # 5.8 up, 10.5 and 7.5 along, 0.8 down, 2 of slack; 5.8 + 4 + 1.5 + 1.9 + 2, then 3 and 1 of
    # slack
    assert cells(
        found["Cables"], "cable", "from", "to", "pieces [m]", "length [m]", "length [ft-in]"
    ) == [
        ("C1", "rack, A1 output 1", "B1", "26.6", 26.6, "87 ft 3 1/4 in"),
        ("C2", "rack, A1 output 2", "F1 - F2", "15.2 + 4.0", 19.2, "63 ft 0 in"),
    ]
    assert found["Inputs"].rows == (
        (1, "announcer", "announcer's headset", "wired", "at the floor", "game"),
        (2, "roving", "hand-held wireless", "wireless", "walks through the court", "class"),
    )
    # 5 rows of 18 m hold 195 places: 2 + (195 - 50) / 25 receivers
    assert (
        "Processor: 3 inputs, 2 outputs, 2 presets, delays to 12 ms, high-pass 60 and 80 Hz"
        in found["Inputs"].note
    )
    assert (
        "Assistive listening for 195 seats: 8 receivers, 2 of them hearing-aid compatible"
        in found["Inputs"].note
    )
    assert cells(
        found["Presets"],
        "preset",
        "use",
        "bank",
        "floor",
        "open microphones",
        "bleachers pushed back",
    ) == [
        (1, "game", "gain -2.5 dB, delay 0 ms", "gain -6 dB, delay 12 ms", "announcer", "none"),
        (2, "class", "off", "gain 1.5 dB, delay 0 ms", "roving", "bleachers"),
    ]


@pytest.mark.parametrize(
    "pan, tilt, words",
    [
        (90, 25, "20 ft 4 in up, 25.0° down from level"),
        (90, -10, "20 ft 4 in up, 10.0° up from level"),
        (90, 0, "20 ft 4 in up, level"),
        (
            30,
            32,
            ("20 ft 4 in up, 32.0° down from level; axis drawn projected, 51.3° down from level"),
        ),
    ],
)
def test_a_section_says_tilt_in_words_and_when_its_axis_is_projected(pan, tilt, words):
    """Closed form: turned by 60 degrees out of the section, tan 32 / cos 60 = tan 51.33;
    up is up.
    """
    one = changed(
        LOPSIDED,
        {
            ("units",): "ft",
            ("groups", "bank", "pan_deg"): float(pan),
            ("groups", "bank", "downtilt_deg"): float(tilt),
        },
    )
    assert side_label(one) == f"B1 {words}"
