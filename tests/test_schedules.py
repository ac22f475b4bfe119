"""Schedules and their files: sums, mirrors, a loudspeaker moved moves everywhere; XLSX, CSV and DXF
read again.
"""

import csv
import io
import os
from dataclasses import replace

import ezdxf
import numpy as np
import openpyxl
import pytest
from schools import SCENARIOS

from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.throws import throws
from gymtools.display.documents import drawings
from gymtools.display.documents.exports import csv_text, write_xlsx
from gymtools.display.documents.handover import folder_name, write_handover
from gymtools.display.panel.meeting import Meeting
from gymtools.display.tables.schedules import tables_of
from gymtools.equipment.amplification import amplify
from gymtools.equipment.bill import cost
from gymtools.equipment.hanging import both_lengths, pan_words, tilt_words
from gymtools.equipment.prices import read_prices
from gymtools.equipment.schedules import Schedule, parts, schedules
from gymtools.venue.files import load
from gymtools.venue.loudspeakers import Group
from gymtools.venue.paths import changed, value_at
from gymtools.venue.spreadsheets import as_text, as_written
from gymtools.venue.units import FOOT

LARKFIELD, DOVECOTE = SCENARIOS["larkfield"], SCENARIOS["dovecote"]
TITLES = (
    *(
        "Loudspeakers",
        "Loads of the hanging points",
        "Levels",
        "Amplifiers",
        "Channels",
        "Cables",
        "Inputs",
    ),
    *("Presets", "Bill"),
)


def tables(scenario, room="traced"):
    return {s.title: s for s in schedules(parts(scenario, room=room, rays="few"))}


def column(schedule, name):
    return [row[schedule.columns.index(name)] for row in schedule.rows]


@pytest.mark.parametrize("name", SCENARIOS)
def test_all_schedules_are_there_and_whole(name):
    """Behavior: every schedule of every school has rows as long as its heads, a caution where it
    belongs, and what its title promises.
    """
    s, found = SCENARIOS[name], tables(SCENARIOS[name])
    assert tuple(found) == TITLES
    for schedule in found.values():
        assert (
            schedule.rows
            and all(len(row) == len(schedule.columns) for row in schedule.rows)
            and len(set(schedule.columns)) == len(schedule.columns)
        )
    assert column(found["Loudspeakers"], "tag") == [c.tag for c in s.loudspeakers]
    assert (
        column(found["Presets"], "use")
        == column(found["Levels"], "use")
        == [u.name for u in s.uses]
    )
    for title, words in (
        ("Loudspeakers", "licensed structural engineer"),
        ("Amplifiers", "licensed electrician"),
        ("Amplifiers", "fire-alarm contractor"),
        ("Levels", "limiter"),
        ("Loudspeakers", "ball strike"),
        ("Loudspeakers", "sport floor"),
    ):
        assert words in found[title].note


@pytest.mark.parametrize("name", SCENARIOS)
def test_totals_are_the_sums_of_their_rows(name):
    """Closed form: the bill's last row adds each column up and equals the budget; lines equal
    quantity times price and labor; cable in the bill is the cable of the schedule.
    """
    s, found = SCENARIOS[name], tables(SCENARIOS[name])
    bill = found["Bill"]
    *rows, total = bill.rows
    for k in (5, 6, 7, 8):
        assert total[k] == pytest.approx(sum(r[k] for r in rows), abs=0.01)
    assert total[8] == pytest.approx(cost(s), abs=0.05 * len(rows))
    assert all(r[5] + r[7] == pytest.approx(r[8], abs=0.02) for r in rows)
    one = FOOT if s.units == "ft" else 1.0  # the bill counts in the units of the school
    cable = one * sum(r[2] for r in rows if r[0] == "cable")
    assert cable == pytest.approx(sum(column(found["Cables"], "length [m]")), abs=0.06 * len(rows))
    assert sum(r[2] for r in rows if r[0] == "loudspeaker") == len(s.loudspeakers)


def test_a_loudspeaker_moved_moves_in_every_schedule():
    """Behavior: a group moved, lifted, tilted: position, height, words, aim point and throw, cable
    length and loss, bill and drawing all follow; nothing else does.
    """
    before, moved = (
        tables(DOVECOTE),
        changed(
            DOVECOTE,
            {
                ("groups", "wall pair", "x"): 1.0,
                ("groups", "wall pair", "height"): 5.0,
                ("groups", "wall pair", "downtilt_deg"): 44.0,
            },
        ),
    )
    after = tables(moved)
    a, b = before["Loudspeakers"], after["Loudspeakers"]
    for n, c in enumerate(moved.loudspeakers):
        ours = c.group == moved.groups[0].name
        for name in (
            "from west wall [m]",
            "height of the front's middle [m]",
            "tilt in words",
            "downtilt [°]",
            "aim point from west wall [m]",
            "throw [m]",
        ):
            assert (column(a, name)[n] != column(b, name)[n]) == ours, (c.tag, name)
        assert column(b, "from west wall [m]")[n] == pytest.approx(
            c.x + moved.hall.length / 2, abs=1e-3
        )
    assert column(b, "tilt in words")[0] == "44.0° down from level"
    changed_cables = [
        x != y
        for x, y in zip(
            column(before["Cables"], "length [m]"),
            column(after["Cables"], "length [m]"),
            strict=True,
        )
    ]
    assert any(changed_cables) and not all(changed_cables)
    assert before["Bill"].rows[-1] != after["Bill"].rows[-1] and before["Inputs"] == after["Inputs"]
    for name in before["Presets"].columns:
        if not name.startswith(("master", "room eq")):  # which the same level asks for elsewhere
            assert column(before["Presets"], name) == column(after["Presets"], name)
    assert drawings.dxf_text(drawings.drawing(DOVECOTE)) != drawings.dxf_text(
        drawings.drawing(moved)
    )


def test_aim_points_are_where_the_beams_land():
    """Closed form: the aim point is the place of the loudspeaker and its throw along pan
    and tilt.
    """
    found = tables(LARKFIELD)["Loudspeakers"]
    for n, c in enumerate(LARKFIELD.loudspeakers):
        pan, tilt, r = (
            np.radians(c.pan_deg),
            np.radians(c.downtilt_deg),
            column(found, "throw [m]")[n],
        )
        end = c.position + r * np.array(
            [np.cos(pan) * np.cos(tilt), np.sin(pan) * np.cos(tilt), -np.sin(tilt)]
        )
        got = [
            column(found, f"aim point {w} [m]")[n]
            for w in ("from west wall", "from south wall", "height")
        ]
        assert got == pytest.approx(
            end + [LARKFIELD.hall.length / 2, LARKFIELD.hall.width / 2, 0], abs=0.003
        )


def test_an_aim_point_is_that_of_the_use_that_is_served():
    """Behavior: with the lesson first, when the bleachers are pushed back, the rows still aim at
    the open ones they serve in a game; nothing changes with the order of the uses.
    """

    def turned(scenario):
        return replace(scenario, uses=(*scenario.uses[1:], scenario.uses[0]))

    on = changed(
        LARKFIELD,
        {
            ("uses", "class", "groups", "north row", "on"): True,
            ("uses", "class", "groups", "south row", "on"): True,
        },
    )
    a, b = tables(on)["Loudspeakers"], tables(turned(on))["Loudspeakers"]
    assert (
        column(b, "aims at")[0] == "north bank"
        and column(a, "aims at") == column(b, "aims at")
        and "closed bleachers" not in column(b, "aims at")
    )
    assert column(a, "aim point height [m]") == column(b, "aim point height [m]")


def test_an_enclosure_with_four_beams_says_which_one_lands_there():
    """Closed form: of the four-sided type the first beam leaves 25 degrees below the housing, which
    itself hangs level: from 5.5 m to the floor that is 5.5 / sin 25 = 13.01 m.
    """
    s = replace(
        DOVECOTE,
        groups=(
            *DOVECOTE.groups,
            Group(
                name="middle",
                tag="M",
                loudspeaker="four-sided 90x50",
                x=-3.0,
                y=-3.0,
                height=5.5,
                pan_deg=0.0,
                downtilt_deg=0.0,
            ),
        ),
        hall=replace(DOVECOTE.hall, length=40.0),
    )
    found = tables(s)["Loudspeakers"]
    row = dict(zip(found.columns, found.rows[-1], strict=True))
    assert (
        row["tag"] == "M1"
        and row["aims at"].endswith(": beam 1 of 4, 25° below the enclosure's level")
        and row["tilt in words"] == "level"
    )
    assert row["throw [m]"] == pytest.approx(5.5 / np.sin(np.radians(25)), abs=0.01) and row[
        "aim point height [m]"
    ] == pytest.approx(0, abs=0.01)
    assert row["aim point from west wall [m]"] == pytest.approx(
        17.0 + 5.5 / np.tan(np.radians(25)), abs=0.01
    )
    assert all("beam" not in w for w in column(found, "aims at")[:-1])


def mirrored(s):
    """The same hall seen from the other side of its long axis."""
    groups = tuple(
        replace(g, y=-g.y, along_deg=-g.along_deg, pan_deg=-g.pan_deg, splay_deg=-g.splay_deg)
        for g in s.groups
    )
    other = {"north": "south", "south": "north"}
    banks = tuple(
        replace(
            b, side=other.get(b.side, b.side), offset=b.offset if b.side in other else -b.offset
        )
        for b in s.banks
    )
    e = s.equipment
    return replace(
        s,
        groups=groups,
        banks=banks,
        floor_seats=tuple(replace(f, y=-f.y) for f in s.floor_seats),
        portable_stages=tuple(replace(p, y=-p.y) for p in s.portable_stages),
        microphones=tuple(
            replace(m, y=-m.y, facing_deg=None if m.facing_deg is None else -m.facing_deg)
            for m in s.microphones
        ),
        treatments=tuple(
            replace(t, surface=" ".join(other.get(w, w) for w in t.surface.split()))
            for t in s.treatments
        ),
        equipment=replace(e, rack_y=-e.rack_y),
    )


def test_a_mirrored_design_has_mirrored_schedules():
    """Invariance: distances from the south wall become those from the north wall; heights, throws,
    channels, cables, costs and levels are the same. By formula: rays are not mirrored, and their
    chance shows in the last digit of a level.
    """
    s = replace(
        DOVECOTE,
        equipment=replace(DOVECOTE.equipment, rack_x=-5.0, rack_y=-3.0),
        hall=replace(DOVECOTE.hall, north_wall=None, south_wall=None),
    )
    a, b = tables(s, "statistical"), tables(mirrored(s), "statistical")
    for name in (
        "from west wall [m]",
        "height of the front's middle [m]",
        "tilt in words",
        "throw [m]",
        "aim point height [m]",
        "channel",
    ):
        assert (
            column(a["Loudspeakers"], name)
            == pytest.approx(column(b["Loudspeakers"], name), abs=2e-3)
            if "[m]" in name
            else column(a["Loudspeakers"], name) == column(b["Loudspeakers"], name)
        )
    for name in ("from south wall [m]", "aim point from south wall [m]"):
        assert np.add(
            column(a["Loudspeakers"], name), column(b["Loudspeakers"], name)
        ) == pytest.approx([s.hall.width] * len(s.loudspeakers), abs=4e-3)
    assert (
        a["Cables"].rows == b["Cables"].rows
        and a["Bill"].rows == b["Bill"].rows
        and a["Presets"] == b["Presets"]
    )


@pytest.mark.parametrize("name", SCENARIOS)
def test_masters_give_each_use_its_level(name):
    """Independent: what a group plays on its axis at 1 kHz in two presets differs by their masters
    and its gains; the preset that is turned up most has 0. Tuning columns are the evaluation's.
    """
    s, made = SCENARIOS[name], parts(SCENARIOS[name])
    table = {t.title: t for t in schedules(made)}["Presets"]
    master = dict(zip(column(table, "use"), column(table, "master [dB]"), strict=True))
    assert max(master.values()) == 0.0 and min(master.values()) < -3
    loud = next(u for u in s.uses if master[u.name] == 0.0)
    played = {
        u.name: 10 * np.log10(np.maximum(made.results[u.name].sources.on_axis[:, 3], 1e-30))
        for u in s.uses
    }
    compared = 0
    for u in s.uses:
        for n, c in enumerate(s.loudspeakers):
            if u.group_setting(c.group).on and loud.group_setting(c.group).on:
                want = (
                    master[u.name]
                    + u.group_setting(c.group).gain_db
                    - loud.group_setting(c.group).gain_db
                )
                assert played[u.name][n] - played[loud.name][n] == pytest.approx(want, abs=0.051)
                compared += u != loud
        row = table.rows[column(table, "use").index(u.name)]
        octaves = [f"room equalization at {f} Hz [dB]" for f in ("125", "250", "500")]
        got = [row[table.columns.index(name)] for name in octaves]
        assert got == pytest.approx(made.results[u.name].room_eq_db[:3], abs=0.051) and np.all(
            made.results[u.name].room_eq_db[3:] == 0
        )
    assert compared and "one setting of the whole system" not in table.note


@pytest.mark.parametrize(
    "pan, tilt, words",
    [
        (90, 30, "faces north"),
        (0, 0, "faces east"),
        (-90, 10, "faces south"),
        (180, 0, "faces west"),
        (-180, 0, "faces west"),
        (100, 0, "faces north, turned 10.0° to the west"),
        (80, 0, "faces north, turned 10.0° to the east"),
        (-100, 0, "faces south, turned 10.0° to the west"),
        (170, 0, "faces west, turned 10.0° to the north"),
        (-10, 0, "faces east, turned 10.0° to the south"),
        (90, 90, "its top points north"),
    ],
)
def test_pan_in_words(pan, tilt, words):
    """Worked by hand: sides and turns as an installer reads them from the plan."""
    assert pan_words(pan, tilt) == words


def test_tilt_and_lengths_in_words():
    """Worked by hand: as an inclinometer and a tape show them."""
    assert (tilt_words(32), tilt_words(0), tilt_words(-5), tilt_words(90)) == (
        "32.0° down from level",
        "level",
        "5.0° up from level",
        "straight down",
    )
    assert both_lengths(7.62) == (7.62, "25 ft 0 in")


def test_xlsx_is_read_again(tmp_path):
    """Independent: openpyxl reads a sheet a schedule with the same cells; written twice it is the
    same file; texts that would be formulas are texts.
    """
    made = list(tables(DOVECOTE).values())
    write_xlsx(made, tmp_path / "a.xlsx", "=cmd|' /C calc'!A0")
    write_xlsx(made, tmp_path / "b.xlsx", "=cmd|' /C calc'!A0")
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert (
        tuple(book.sheetnames) == TITLES
        and book["Bill"]["A1"].data_type == "s"
        and book["Bill"]["A1"].value.startswith("'=cmd")
    )
    for schedule in made:
        rows = list(
            book[schedule.title].iter_rows(
                min_row=2, max_row=2 + len(schedule.rows), values_only=True
            )
        )
        assert rows[0][: len(schedule.columns)] == schedule.columns
        for got, want in zip(rows[1:], schedule.rows, strict=True):
            assert [as_text(v) if v != "" else None for v in want] == list(got[: len(want)])
    assert as_text("+1") == "'+1" and as_text(-3.0) == -3.0 and as_text("N1") == "N1"


@pytest.mark.parametrize(
    "text, shown",
    [
        ("=1+1", "'=1+1"),
        (" =1+1", "' =1+1"),
        ("\u00a0@SUM(A1)", "'\u00a0@SUM(A1)"),
        ("\t+1", "'\t+1"),
        ("\uff1d1+1", "'\uff1d1+1"),
        ("\uff0d1+1", "'\uff0d1+1"),
        ("-3.2", "-3.2"),
        ("-3,2", "-3,2"),
        ("-3.2-1", "'-3.2-1"),
        ("-", "'-"),
        ("a\x00b\ufffec\ud800", "a b c "),
        ("N1", "N1"),
        (-3.2, -3.2),
    ],
)
def test_nothing_in_a_table_is_run(tmp_path, text, shown):
    """Regression: headings, titles and notes are guarded as cells are, in CSV and in XLSX, also
    behind spaces and in full-width forms; a negative number stays one.
    """
    table = Schedule(title=str(text), columns=("a", text), rows=(("x", text),), note=text)
    rows = list(csv.reader(io.StringIO(csv_text(table), newline="")))
    assert rows == [["a", str(shown)], ["x", str(shown)], [str(shown)]]
    write_xlsx([table], tmp_path / "a.xlsx", str(text))
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx").active
    assert [sheet["B2"].value, sheet["B3"].value, sheet["A5"].value] == [shown] * 3
    assert sheet["A1"].value == as_text(f"{text}: {text}") and not any(
        cell.data_type == "f" for row in sheet.iter_rows() for cell in row
    )
    assert not isinstance(text, str) or as_written(shown) == as_written(as_text(text))


@pytest.mark.parametrize("name", SCENARIOS)
def test_no_cell_of_ours_looks_like_a_formula(name):
    """Behavior: no text of a schedule needs an apostrophe in a spreadsheet, whatever gain a group
    has.
    """
    s = SCENARIOS[name]
    s = changed(s, {("uses", s.uses[0].name, "groups", s.groups[0].name, "gain_db"): 3.0})
    s = changed(s, {("uses", s.uses[1].name, "groups", s.groups[-1].name, "gain_db"): -3.0})
    for schedule in tables(s).values():
        for row in (schedule.columns, *schedule.rows, (schedule.note,)):
            assert all(as_text(v) == v for v in row), (schedule.title, row)


def test_csv_is_read_again():
    """Independent: the csv module reads the same cells."""
    for schedule in tables(LARKFIELD).values():
        rows = list(csv.reader(io.StringIO(csv_text(schedule))))
        assert tuple(rows[0]) == schedule.columns and rows[-1] == (
            [schedule.note] if schedule.note else rows[-1]
        )
        assert [tuple(r) for r in rows[1 : 1 + len(schedule.rows)]] == [
            tuple(str(as_text(v)) for v in row) for row in schedule.rows
        ]


@pytest.mark.parametrize(
    "name, use, units",
    [
        ("larkfield", "graduation", "ft"),
        ("larkfield", "game", "m"),
        ("dovecote", "game", "m"),
        ("alderway", "performance", "ft"),
    ],
)
def test_dxf_is_read_again(name, use, units, tmp_path):
    """Independent: ezdxf reads the file without a fault; entities are counted and measured: the
    hall, a box, tag and aim line for every loudspeaker that plays, in the units asked for.
    """
    s = SCENARIOS[name]
    (tmp_path / "x.dxf").write_text(
        drawings.dxf_text(drawings.drawing(s, use, units=units)), encoding="utf-8"
    )
    document = ezdxf.readfile(tmp_path / "x.dxf")
    assert (
        not document.audit().errors
        and document.units == {"ft": 2, "m": 6}[units]
        and set(drawings.LAYERS) <= {layer.dxf.name for layer in document.layers}
    )
    k, space = (1 / FOOT if units == "ft" else 1.0), document.modelspace()

    def on(layer, kind):
        return [e for e in space if e.dxf.layer == layer and e.dxftype() == kind]

    hall = on("GYM", "LWPOLYLINE")[0]
    size = np.ptp(np.array(hall.get_points("xy")), axis=0)
    assert size == pytest.approx([s.hall.length * k, s.hall.width * k])
    playing = [c for c in s.loudspeakers if s.use(use).group_setting(c.group).on]
    boxes = [e for e in on("LOUDSPEAKERS", "LWPOLYLINE") if e.closed]
    tags = [e.dxf.text for e in on("TAGS", "TEXT")]
    assert len(boxes) == len(s.loudspeakers) and all(
        any(t.startswith(f"{c.tag} ") for t in tags) for c in s.loudspeakers
    )
    result = evaluate(s, use)
    lines = {
        tuple(np.round(np.array(e.get_points("xy"))[0], 3)): np.array(e.get_points("xy"))
        for e in on("AIM-LINES", "LWPOLYLINE")
    }
    for t in throws(result):
        if t.tag in [c.tag for c in playing] and np.linalg.norm((t.end - t.start)[:2]) > 0.01:
            line = lines[tuple(np.round(t.start[:2] * k, 3))]
            assert np.linalg.norm(line[1] - line[0]) == pytest.approx(
                np.linalg.norm((t.end - t.start)[:2]) * k, abs=1e-6
            )
    banks = [a for a in result.configuration.areas.values() if a.kind == "bank"]
    assert len(on("GYM", "LWPOLYLINE")) == 1 + len(banks)
    said = [e.dxf.text for e in document.layout("AV-1") if e.dxftype() == "TEXT"]
    assert "licensed structural engineer" in " ".join(said)


def test_drawings_for_print():
    """Behavior: SVG, PNG and PDF of the same sheet, the same each time; an unknown kind is
    refused.
    """
    sheet = drawings.use_sheets(evaluate(DOVECOTE, "game", room="statistical"))[0]
    svg, png = drawings.picture(sheet, "svg"), drawings.picture(sheet, "png")
    assert (
        svg.startswith(b"<?xml")
        and b"<svg" in svg[:1000]
        and png.startswith(b"\x89PNG")
        and len(png) > 20_000
    )
    assert svg == drawings.picture(sheet, "svg") and png == drawings.picture(sheet, "png")
    assert drawings.picture(sheet, "pdf").startswith(b"%PDF") and (
        drawings.picture(sheet, "pdf") == drawings.pdf([sheet])
    )
    with pytest.raises(ValueError, match=r"kind = 'jpg' is unknown\. Known: svg, png, pdf"):
        drawings.picture(sheet, "jpg")


def test_everything_goes_into_one_folder_and_nothing_is_lost(tmp_path):
    """Behavior: files of a hostile name stay in the folder; a second time is refused until it is
    allowed; the same design gives the same bytes.
    """
    s = replace(
        DOVECOTE, name='../../etc/<b>"Évil"', uses=(replace(DOVECOTE.uses[0], name="=1+1%%d"),)
    )
    made = parts(s)
    paths = write_handover(made, tmp_path)
    assert {p.parent for p in paths} == {tmp_path / folder_name(s)}
    assert folder_name(s) == "etc-b-évil-dea9a4-schedules"
    assert {p.suffix for p in paths} == {".xlsx", ".csv", ".dxf", ".pdf", ".svg", ".toml"} and all(
        p.stat().st_size > 50 for p in paths
    )
    before = {p: p.read_bytes() for p in paths}
    with pytest.raises(FileExistsError, match=r"the folder etc-b-évil-dea9a4-schedules exists"):
        write_handover(made, tmp_path)
    assert (
        write_handover(made, tmp_path, overwrite=True) == paths
        and {p: p.read_bytes() for p in paths} == before
    )
    assert load(paths[-1]) == s


def test_a_limiter_is_asked_for_where_the_amplifier_is_stronger():
    """Behavior: a pendant of 100 W on 900 W: the limit of its peaks stands in the table, and the
    note asks for the limiter.
    """
    strong = changed(
        DOVECOTE,
        {
            ("equipment", "wiring", "floor pair", "amplifier"): "two by 900",
            ("equipment", "wiring", "floor pair", "per_channel"): 1,
        },
    )
    found = tables(strong)["Channels"]
    assert (
        column(found, "limit peaks to [W]")[-1] == 400
        and column(found, "gives [W]")[-1] == 900
        and "set the limiter before they are first driven" in found.note
    )
    assert "limiter" not in tables(LARKFIELD)["Channels"].note


def test_warnings_reach_the_channel_schedule():
    """Behavior: what does not suffice stands under the table of channels."""
    wiring = ("equipment", "wiring", "court pair")
    far = changed(LARKFIELD, {(*wiring, "run"): 300.0, (*wiring, "line_volts"): 0.0})
    assert "loses" in tables(far)["Channels"].note and amplify(far).warnings


@pytest.mark.parametrize(
    "units, typed, run, shown",
    [
        ("ft", 100.0, 30.48, 100.0),
        ("m", 30.0, 30.0, 30.0),
        ("ft", 1.0, 0.5, 0.5 / FOOT),
        ("m", 0.3, 0.5, 0.5),
        ("m", 0.0, None, 0.0),
        ("ft", 1640.0, 499.872, 1640.0),
    ],
)
def test_the_panel_takes_a_run_in_the_units_of_the_page(units, typed, run, shown, tmp_path):
    """Closed form: 100 ft are 30.48 m; what is shorter than half a meter is not refused but taken
    as that, and it is said; 0 leaves the run out.
    """
    m = Meeting(replace(LARKFIELD, units=units), tmp_path)
    m.update(tab="parts", trace=False)
    path = ("equipment", "wiring", LARKFIELD.groups[0].name, "run")

    def field():
        return m.controls[path]

    assert field().description == f"Run to the first [{units}]" and field().value == 0
    field().value = 10.0
    field().value = typed
    found = value_at(m.scenario, path)
    assert found == (None if run is None else pytest.approx(run))
    assert field().value == pytest.approx(shown) and "Bill" in m.parts.tables.value
    assert ("is taken" in m.parts.words.value) == (run == 0.5)


PRICE_HEAD = "kind,item,unit,price,hours,source\n"


@pytest.mark.parametrize(
    "content, message",
    [
        (
            PRICE_HEAD + 'labor,"hour,h,1,0,\n' + "x" * 200_000,
            r"^p\.csv, line 2: is not a row of CSV",
        ),
        (
            PRICE_HEAD + 'labor,"hour,h,1,0,\nx,y',
            r"^p\.csv, line 2: is not a row of CSV\. Is a quote",
        ),
        (PRICE_HEAD + "labor,hour,h,nan,0,\n", r"^p\.csv, line 2: price"),
        (PRICE_HEAD + "labor,hour,h,1_0,0,\n", r"^p\.csv, line 2: '1_0' is not a plain decimal n"),
        (PRICE_HEAD + "labor,hour,h,\u0663,0,\n", r"^p\.csv, line 2: '\u0663' is not a plain dec"),
        (PRICE_HEAD + "labor,hour,h,1e999,0,\n", r"^p\.csv, line 2: price"),
        (PRICE_HEAD + f"labor,{'x' * 400},h,1,0,\n", r"^p\.csv, line 2: item is longer than 300"),
        (PRICE_HEAD + "a,b,c,1,0,\n" * 20_001, r"^p\.csv, line 20001: more than 20000 rows\."),
        (PRICE_HEAD.replace("source", "price"), r"^p\.csv: column price is there twice"),
        ("kind" + "," * 60, r"^p\.csv, line 1: has 61 columns, more than 50\."),
        ("x" * 5_000_001, r"^p\.csv: is larger than 5 MB, so it is no price book\."),
    ],
)
def test_a_price_book_is_bounded(tmp_path, content, message):
    """Regression: one line that names file, line and likely slip."""
    (tmp_path / "p.csv").write_text(content, encoding="utf-8")
    with pytest.raises(ValueError, match=message) as refused:
        read_prices(tmp_path / "p.csv")
    assert str(refused.value).isprintable() and len(str(refused.value)) < 200


def test_what_is_no_file_is_no_price_book(tmp_path):
    """Regression: nothing, a number, a folder, a pipe, an impossible name."""
    os.mkfifo(tmp_path / "pipe")
    for given, message in (
        (None, r"^price book: None is no name of a file\."),
        (3, r"^price book: 3 is no name of a file\."),
        (tmp_path, r": is no ordinary file, so it is no price book\."),
        (tmp_path / "pipe", r"^pipe: is no ordinary file"),
        (tmp_path / "a\x00b", r"^a b: the price book cannot be opened"),
        (tmp_path / "x" / "y", r"^y: there is no such price book\."),
    ):
        with pytest.raises(ValueError, match=message):
            read_prices(given)


@pytest.mark.parametrize("name", ["larkfield", "stonebridge"])
def test_a_schedule_is_printed_in_one_kind_of_units(name):
    """Worked by hand: in feet a length stands in feet and inches alone, in meters to the
    centimeter; 22 kg are 48.5 lb. Both ways every row keeps its texts, and no column is lost.
    """
    for schedule in tables(SCENARIOS[name]).values():
        feet, meters = schedule.in_units("ft"), schedule.in_units("m")
        assert not [c for c in feet.columns if c.endswith(("[m]", "[kg]"))]
        assert not [c for c in meters.columns if c.endswith(("[ft-in]", "[lb]"))]
        bases = {c.rpartition(" [")[0] or c for c in schedule.columns}
        for one in (feet, meters):
            assert {c.rpartition(" [")[0] or c for c in one.columns} == bases
            assert all(len(row) == len(one.columns) for row in one.rows)
            assert len(set(one.columns)) == len(one.columns)
            assert {c for _, own in one.apart for c in own} <= set(one.columns)
    first = tables(SCENARIOS[name])["Loudspeakers"]
    assert column(first.in_units("ft"), "weight [lb]")[0] == 48.5
    assert all(v == round(v, 2) for v in column(first.in_units("m"), "throw [m]"))
    with pytest.raises(ValueError, match=r"^units = 'yd' is unknown\. Known: m, ft\.$"):
        first.in_units("yd")


def test_a_mass_or_length_in_one_unit_only_is_converted():
    """Worked by hand: 10 kg are 22.0 lb, 2.54 m are 8 ft 4 in; text and nothing stay as they are;
    a force, which has been rounded, keeps its unit.
    """
    table = Schedule(
        title="t",
        columns=("a", "weight [kg]", "long [m]", "pull [kN]"),
        rows=(("x", 10.0, 2.54, 1.25), ("y", "", "none", "")),
    )
    feet = table.in_units("ft")
    assert feet.columns == ("a", "weight [lb]", "long [ft-in]", "pull [kN]")
    assert feet.rows == (("x", 22.0, "8 ft 4 in", 1.25), ("y", "", "none", ""))


@pytest.mark.parametrize("name", SCENARIOS)
def test_no_printed_table_is_wider_than_a_page(name):
    """Behavior: what is printed together has at most 14 columns, begins with what the row is of,
    and all printed tables together hold every column once.
    """
    for schedule in tables(SCENARIOS[name]).values():
        for units in ("ft", "m"):
            shown = schedule.in_units(units)
            parts_shown = tables_of(shown)
            assert max(len(p.columns) for p in parts_shown) <= 14
            assert {p.columns[0] for p in parts_shown} == {shown.columns[0]}
            others = [c for p in parts_shown for c in p.columns[1:]]
            assert sorted(others) == sorted(shown.columns[1:])
            for part in parts_shown:
                for c in part.columns:
                    assert column(part, c) == column(shown, c)
