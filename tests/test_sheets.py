"""Sheets of drawings, as an installer and an inspector read them: every dimension re-measured from
the DXF, every hanging point held to the schedule, no letters over letters, scales and paper.
"""

import datetime
import io
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from itertools import combinations
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np
import pytest
from ezdxf import recover
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from PIL import Image
from schools import SCENARIOS
from test_odd_gyms import gyms
from test_whole_school import WHOLE

from gymtools.acoustics.evaluate import evaluate
from gymtools.display.documents import drawings
from gymtools.display.documents.drawings import lettering, paper, plans, sections
from gymtools.display.documents.drawings.frame import Table
from gymtools.display.documents.drawings.layers import LAYERS
from gymtools.display.documents.drawings.marks import Dimension, Line, Text
from gymtools.display.documents.handover import write_drawings
from gymtools.equipment import hanging, hanging_points
from gymtools.equipment.amplification import amplify
from gymtools.equipment.schedules import Parts
from gymtools.venue.balcony import Balcony
from gymtools.venue.files import parse
from gymtools.venue.loudspeakers import Group, loudspeaker_types
from gymtools.venue.scenario import changed
from gymtools.venue.units import FOOT, measured_text

TYPES = loudspeaker_types()
# what drawings ask of a gym whose loudspeakers are put in by the test
SHOWN = (
    "hall",
    "stage",
    "galleries",
    "banks",
    "lines",
    "courts",
    "microphones",
    "equipment",
    "divider",
)
MEDIA_BOX = re.compile(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]")
LARKFIELD, DOVECOTE = SCENARIOS["larkfield"], SCENARIOS["dovecote"]
# everything that a gym may hold; twelve loudspeakers side by side over a row of others; a name in
# letters that no font has and codes of DXF and of mathematics
CROWDED = changed(
    replace(DOVECOTE, name="%%d $x^2$ 学校 <b>" + " a very long name" * 5),
    {
        ("groups", "wall pair", "number"): 12,
        ("groups", "wall pair", "spacing"): 1.0,
        ("groups", "floor pair", "number"): 6,
        ("groups", "floor pair", "spacing"): 0.9,
        ("groups", "floor pair", "y"): 1.7,
    },
)
SCHOOLS = {**SCENARIOS, "whole": parse(WHOLE), "crowded": CROWDED}
CASES = [*((name, None) for name in SCHOOLS), ("whole", "ft")]


@cache
def made(name):
    """Parts of a school; where sound lands is all that drawings ask for."""
    scenario = SCHOOLS[name]
    look = dict(room="statistical", follow_echoes=False)
    results = {u.name: evaluate(scenario, u.name, **look) for u in scenario.uses}
    amplification = amplify(scenario, results)
    return Parts(scenario=scenario, results=results, amplification=amplification, lines=())


@cache
def sheets_of(name, units=None):
    return drawings.drawing_set(made(name), units=units)


@cache
def file_of(name, units=None):
    """The DXF of a school, read again by ezdxf's reader of damaged files."""
    units = units or SCHOOLS[name].units
    text = drawings.dxf_text(drawings.document(sheets_of(name, units), units))
    document, audit = recover.read(io.BytesIO(text.encode("utf-8")))
    return document, audit


def words_of(sheet):
    """All letters of a sheet."""
    marks = [*sheet.frame, *(m for one in sheet.placed for m in one.view.marks)]
    texts = [m.text if isinstance(m, Dimension) else m for m in marks]
    return [t.words for t in texts if isinstance(t, Text)]


@pytest.mark.parametrize("name, units", CASES)
def test_every_dimension_is_what_its_points_measure(name, units):
    """Independent: ezdxf reads the file without a fault or a repair; of every dimension the
    distance between its points, along its axis, in the file's units, is the figure that it shows,
    to the quarter inch or the centimeter.
    """
    document, audit = file_of(name, units)
    assert not audit.errors and not audit.fixes
    units = units or SCHOOLS[name].units
    k, seen = FOOT if units == "ft" else 1.0, 0
    for e in document.modelspace().query("DIMENSION"):
        axis = 0 if e.dxf.dimtype & 64 else 1
        meters = k * (np.array(e.dxf.defpoint2) - np.array(e.dxf.defpoint))[axis]
        (figure,) = [m.text for m in e.get_geometry_block() if m.dxftype() == "MTEXT"]
        # a tie may be rounded either way: the file's last digit decides
        near = {measured_text(float(meters) + off, units) for off in (-1e-7, 1e-7)}
        assert figure in near
        assert not e.dxf.text, "a program that moves its points works the figure out anew"
        seen += 1
    assert seen > 20


@pytest.mark.parametrize("name, units", CASES)
def test_hanging_points_stand_where_the_schedule_has_them(name, units):
    """Independent: marks and dimensions of the second sheet, measured in the file, against the
    cells of the schedule; each point has a dimension from the west and from the south wall.
    """
    document, _ = file_of(name, units)
    scenario = SCHOOLS[name]
    k = FOOT if (units or scenario.units) == "ft" else 1.0
    view = sheets_of(name, units)[1].placed[0].view
    corner = drawings.model_places(sheets_of(name, units))[id(view)]
    corner = corner - np.array([scenario.hall.length, scenario.hall.width]) / 2
    space = document.modelspace()
    marks = [
        np.array(e.dxf.center)[:2] * k - corner for e in space.query('CIRCLE[layer=="POINTS"]')
    ]
    cells = [dict(zip(hanging_points.COLUMNS, r, strict=True)) for r in _rows(scenario)]
    walls = np.array([(c["from west wall [m]"], c["from south wall [m]"]) for c in cells])
    assert np.array(marks) == pytest.approx(walls, abs=6e-4)
    for axis in (0, 1):
        measured = [
            k * (np.array(e.dxf.defpoint2) - np.array(e.dxf.defpoint))[axis]
            for e in space.query("DIMENSION")
            if bool(e.dxf.dimtype & 64) == (axis == 0)
            and np.allclose(np.array(e.dxf.defpoint)[:2] * k, corner, atol=1e-6)
        ]
        off = np.abs(np.subtract.outer(walls[:, axis], measured)).min(axis=1)
        assert off.max() < 2e-3


def _rows(scenario):
    return hanging_points.rows(scenario)


@pytest.mark.parametrize("name", SCHOOLS)
def test_tables_on_the_sheet_are_the_schedule(name):
    """Regression: the cells of both tables are the schedules' numbers in the school's units."""
    scenario = SCHOOLS[name]
    said = words_of(sheets_of(name)[1])
    for c in scenario.loudspeakers:
        west, _, south, _, height, _ = hanging.from_walls(scenario, c.position)
        for value in (west, south, height):
            assert measured_text(value, scenario.units) in said
    total = hanging_points.total_words(scenario)
    assert total.split(",")[0] in " ".join(said)


@pytest.mark.parametrize("name, units", CASES)
def test_no_letters_lie_over_letters(name, units):
    """Independent: matplotlib's own measure of every text of every sheet as it is drawn: no two
    overlap by more than a tenth of a millimeter, and all stay inside the frame.
    """
    for sheet in sheets_of(name, units):
        figure = drawings.figure(sheet)
        figure.set_dpi(600)  # so fine that letters are as wide as on paper
        renderer = RendererAgg(8, 8, 600)  # measures letters, and draws none
        k = 25.4 / figure.dpi
        texts = figure.axes[0].texts
        found = [(t.get_text(), t.get_window_extent(renderer).extents * k) for t in texts]
        boxes = np.array([box for _, box in found])
        lapped = np.minimum(boxes[:, None, 2:], boxes[None, :, 2:]) - np.maximum(
            boxes[:, None, :2], boxes[None, :, :2]
        )
        over = np.triu((lapped > 0.1).all(axis=-1), 1)
        pairs = [(found[a][0], found[b][0]) for a, b in np.argwhere(over)]
        assert not pairs, (sheet.number, pairs)
        edge = np.array([paper.MARGIN, paper.MARGIN])
        inside = (boxes[:, :2] >= edge - 0.1) & (boxes[:, 2:] <= np.array(sheet.size) - edge + 0.1)
        assert inside.all(), (sheet.number, [found[n][0] for n in np.argwhere(~inside)[:, 0]])


@pytest.mark.parametrize("name, units", CASES)
def test_no_letters_of_a_view_run_into_the_column(name, units):
    """Closed form: whatever a view draws ends before the column of the title block."""
    for sheet in sheets_of(name, units):
        edge = sheet.size[0] - paper.MARGIN - paper.COLUMN
        for one in sheet.placed:
            assert one.on_paper(one.view.high)[0] <= edge + 0.1
            assert one.on_paper(one.view.low)[0] >= paper.MARGIN - 0.1


def test_the_name_of_a_gallery_lies_in_it():
    """Behavior: level where it fits, upright in a narrow strip along a side wall, on no sheet of
    plans over the gallery's edge.
    """
    scenario = SCHOOLS["whole"]
    decks = {f"{d.name}, over": d.footprint(scenario.hall) for d in scenario.galleries}
    assert len(decks) == 2
    for view in [one.view for n in (0, 1) for one in sheets_of("whole")[n].placed]:
        named = {m.words: m for m in view.marks if isinstance(m, Text) and m.words in decks}
        for words, (a, b, c, d) in decks.items():
            low_high = lettering.box(named[words], named[words].at * 1000 / view.scale)
            x0, y0, x1, y1 = low_high * view.scale / 1000
            assert a < x0 < x1 < b and c < y0 < y1 < d
            assert named[words].upright == (b - a < d - c)


@pytest.mark.parametrize(
    "name, units, insunits, measurement",
    [("larkfield", None, 2, 0), ("dovecote", None, 6, 1), ("whole", "ft", 2, 0)],
)
def test_units_of_the_file(name, units, insunits, measurement):
    """Printed: $INSUNITS 2 are feet and 6 meters, $MEASUREMENT 0 is English and 1 metric (DXF
    reference, HEADER section); a layout is as large as its sheet, in inches or millimeters, and a
    window onto the model has the sheet's scale.
    """
    document, _ = file_of(name, units)
    assert document.header["$INSUNITS"] == insunits
    assert document.header["$MEASUREMENT"] == measurement
    # decimal: architectural ones (4) would read a foot of the model as an inch
    assert document.header["$LUNITS"] == 2
    inch, k = (25.4, FOOT) if measurement == 0 else (1.0, 1.0)
    for sheet in sheets_of(name, units):
        layout = document.layout(sheet.number)
        size = np.array([layout.dxf.paper_width, layout.dxf.paper_height])
        assert size == pytest.approx(np.array(sheet.size), abs=0.01)
        windows = [v for v in layout.query("VIEWPORT") if v.dxf.id > 1]
        assert len(windows) == len(sheet.placed)
        for window, one in zip(windows, sheet.placed, strict=True):
            scale = window.dxf.view_height * k / (window.dxf.height * inch / 1000)
            assert scale == pytest.approx(one.view.scale)


def test_the_print_has_the_scale_that_it_states():
    """Closed form: 112 ft at 1/8 in to the foot are 14 in, 26 m at 1:100 are 260 mm, on the
    paper of the print.
    """
    for name, long in (("larkfield", 14 * 25.4), ("dovecote", 260.0)):
        sheet = sheets_of(name)[0]
        (one,) = sheet.placed
        half = SCHOOLS[name].hall.length / 2
        ends = one.on_paper(np.array([(-half, 0.0), (half, 0.0)]))
        assert ends[1, 0] - ends[0, 0] == pytest.approx(long)
        figure = drawings.figure(sheet)
        assert figure.get_size_inches() * 25.4 == pytest.approx(sheet.size)
        assert figure.axes[0].get_xlim() == (0, sheet.size[0])
    assert '1/8" = 1\'-0"' in words_of(sheets_of("larkfield")[0])


@pytest.mark.parametrize(
    "width, height, units, expected",
    [
        (26.0, 19.5, "m", ("A2", 100)),
        (42.0, 40.0, "m", ("A1", 100)),
        (41.45, 29.26, "ft", ("ARCH C", 96)),
        (78.0, 58.0, "ft", ("ARCH E", 96)),
    ],
)
def test_paper_and_scale_are_usual_ones(width, height, units, expected):
    """Worked by hand: the smallest sheet on which the gym and 44 by 60 mm for dimensions fit at
    1:100 or 1/8 in to the foot: 26 m are 260 + 44 mm of A2's 462, 42 by 40 m need A1.
    """
    chosen, scale = paper.choose(width, height, units)
    assert (chosen[0], scale) == expected


def test_a_title_block_is_given_or_left_to_write_on():
    """Behavior: revision and date stand in it where they are given; no date is guessed. Every sheet
    has its number, the school, a scale, and the cautions.
    """
    issue = drawings.Issue(revision="B", date=datetime.date(2026, 3, 2), drawn_by="M. Okafor")
    result = evaluate(DOVECOTE, "game", room="statistical")
    given = words_of(drawings.use_sheets(result, issue=issue)[0])
    assert {"B", "2026-03-02", "M. Okafor"} <= set(given)
    for sheet in sheets_of("dovecote"):
        said = words_of(sheet)
        assert {sheet.number, "Dovecote Primary School", "revision", "date"} <= set(said)
        assert not any(re.fullmatch(r"\d{4}-\d\d-\d\d", words) for words in said)
        joined = " ".join(said)
        for caution in (
            "approved by a licensed structural engineer",
            "Local codes, the authority having jurisdiction",
            "Not a life-safety drawing",
        ):
            assert caution in joined
    assert [s.number for s in sheets_of("dovecote")] == [
        f"AV-{n + 1}" for n in range(len(sheets_of("dovecote")))
    ]


def layers_of(view):
    return {getattr(m, "layer", None) for m in view.marks}


def test_the_stage_is_drawn_with_its_curtain():
    """Closed form: the curtain hangs 0.3 m behind the opening, as wide as it in the plan and, where
    the stage is cut, from its floor to the opening's top; a use that opens it shows none.
    """
    plan, _, along = (sheets_of("larkfield")[n].placed[0].view for n in range(3))
    stage, x = LARKFIELD.stage, LARKFIELD.hall.length / 2 + 0.3
    for view, low, high in (
        (plan, -stage.width / 2, stage.width / 2),
        (along, stage.floor_height, stage.top),
    ):
        (curtain,) = [m.points for m in view.marks if getattr(m, "layer", "") == "CURTAIN"]
        assert curtain == pytest.approx(np.array([(x, low), (x, high)]))
    uses = {s.title: s for s in sheets_of("larkfield")}
    for use in LARKFIELD.uses:
        shown = "CURTAIN" in layers_of(uses[f"Use '{use.name}'"].placed[0].view)
        assert shown == (not use.curtain_open)


def test_sections_go_through_the_stage_or_a_balcony():
    """Behavior: two sections, along and across; through the stage at its own place, else through
    what stands at an end.
    """
    off = changed(LARKFIELD, {("stage", "offset"): 2.0})
    along, across = sections.cuts(off)
    assert (along.at, along.through) == (2.0, "the stage")
    assert (across.at, across.through) == (0.0, "north bank")
    along, across = sections.cuts(SCHOOLS["whole"])
    assert along.through == "track east" and across.through == "track south"


def test_everything_that_a_gym_holds_is_on_the_sheets():
    """Behavior: joists, track, divider, fixtures, aisles, cables and rack have lines of their own
    layer, a word beside them, and a line of the legend.
    """
    whole = sheets_of("whole")
    plan, ceiling, along = (whole[n].placed[0].view for n in range(3))
    assert {"BALCONY", "DIVIDER", "FIXTURES", "AISLES", "CABLES", "RACK"} <= layers_of(plan)
    assert {"BALCONY", "DIVIDER", "FIXTURES", "POINTS"} <= layers_of(ceiling)
    assert {"CUT", "GYM", "LOUDSPEAKERS"} <= layers_of(along)
    said = words_of(whole[0])
    for words in ("obstacle", "dividing curtain", "balcony, running track", "rack", "divider"):
        assert words in said
    assert any(words.startswith("scoreboard") for words in said)
    stone = sheets_of("stonebridge")[1].placed[0].view
    joists = [m.points for m in stone.marks if getattr(m, "layer", "") == "JOISTS"]
    assert np.array([j[0, 0] for j in joists]) == pytest.approx(
        SCENARIOS["stonebridge"].hall.joists
    )


def test_heights_of_a_section_by_hand():
    """Worked by hand: Larkfield's clear height 26 ft, loudspeakers 25 ft, roof 30 ft, stage floor
    3 ft 6 in and opening to 19 ft 6 in, the tenth row of the banks 1.4 + 9 x 0.8 =
    8.6 ft.
    """
    view = sheets_of("larkfield")[2].placed[0].view
    ups = [m for m in view.marks if isinstance(m, Dimension) and m.axis == 1]
    assert sorted(m.feature[1] / FOOT for m in ups) == pytest.approx(
        [0.0, 3.5, 8.6, 19.5, 25.0, 26.0, 30.0]
    )
    table = dict(sections.heights(LARKFIELD))
    assert table["north bank, top"] == pytest.approx(8.6 * FOOT)
    assert table["top of the stage's opening"] == pytest.approx(19.5 * FOOT)


def test_rows_of_a_balcony_are_steps_in_its_section():
    """Worked by hand: three rows of 0.8 m on a floor at 3 m, each 0.3 m over the one before it: the
    second begins 1.6 m from the south wall at 3.3 m, the third 0.8 m from it at 3.6 m.
    """
    deck = Balcony(
        name="deck", side="south", depth=3, height=3, length=10, rows=3, row_run=0.8, row_rise=0.3
    )
    school = replace(DOVECOTE, balconies=(deck,))
    view = sections.section_view(school, sections.cuts(school)[1], 100, "m")
    (steps,) = [line for line in marks_on(view, "SEATING") if line[:, 1].min() > 2.9]
    wall = -school.hall.width / 2
    expected = [(1.6, 3.0), (1.6, 3.3), (0.8, 3.3), (0.8, 3.6), (0.0, 3.6)]
    assert steps == pytest.approx(np.array(expected) + [wall, 0.0])


def test_loudspeakers_of_a_section_are_their_corners():
    """Closed form: seen from the south, N1 of Larkfield is 0.40 m wide and reaches from its front's
    lowest to its back's highest corner; the two lines of its frame run at its sides, from the clear
    height to its middle.
    """
    cut = sections.cuts(LARKFIELD)[0]
    view = sections.section_view(LARKFIELD, cut, 96, "ft")
    boxes = [m.points for m in view.marks if getattr(m, "layer", "") == "LOUDSPEAKERS"]
    c = LARKFIELD.loudspeakers[0]
    tilt = np.radians(c.downtilt_deg)
    up, deep = c.type.height / 2 * np.cos(tilt), c.type.depth * np.sin(tilt)
    low, high = boxes[0].min(axis=0), boxes[0].max(axis=0)
    assert (low[0], high[0]) == pytest.approx((c.x - 0.2, c.x + 0.2))
    assert (low[1], high[1]) == pytest.approx((c.z - up, c.z + up + deep))
    point = hanging_points.hanging_points(LARKFIELD)[0]
    lines = [m.points for m in view.marks if getattr(m, "layer", "") == "POINTS"][:2]
    assert sorted(line[0, 0] for line in lines) == pytest.approx([c.x - 0.2, c.x + 0.2])
    for line in lines:
        assert line[0, 1] == pytest.approx(LARKFIELD.hall.clear_height)
        assert line[0, 1] - line[1, 1] == pytest.approx(point.drop)


def test_cables_are_drawn_as_they_are_counted():
    """Worked by hand: on the plan a cable runs along the wall and across, so its drawn length is
    the sum of the steps; Dovecote's first one against its counted length less rise, drop and slack.
    """
    school = made("dovecote")
    view = sheets_of("dovecote")[0].placed[0].view
    lines = [m.points for m in view.marks if getattr(m, "layer", "") == "CABLES"]
    rack = lines[0][0]
    first = school.amplification.channels[0]
    end = next(c for c in DOVECOTE.loudspeakers if c.tag == first.tags[0])
    drawn = next(p for p in lines if np.allclose(p[0], rack) and np.allclose(p[-1], [end.x, end.y]))
    flat = np.abs(np.diff(drawn, axis=0)).sum()
    up = DOVECOTE.hall.clear_height
    rise = up - DOVECOTE.equipment.rack_height + up - end.z
    assert flat + rise + 2.0 == pytest.approx(first.lengths[0])


def test_the_same_design_gives_the_same_files():
    """Invariance: drawn anew, DXF, SVG and PDF have the same bytes."""
    one, other = sheets_of("dovecote")[:2], drawings.drawing_set(made("dovecote"))[:2]
    for write in (
        lambda s: drawings.dxf_text(drawings.document(s, "m")),
        lambda s: drawings.picture(s[1], "svg"),
        lambda s: drawings.pdf(s[1:]),
    ):
        assert write(one) == write(other)


def test_a_school_before_its_loudspeakers_has_plans():
    """Behavior: without loudspeakers plan, ceiling plan and sections are drawn, with no point."""
    uses = tuple(replace(u, groups={}) for u in DOVECOTE.uses)
    bare = replace(DOVECOTE, groups=(), uses=uses)
    cuts = sections.cuts(bare)
    assert layers_of(plans.floor_plan(bare, None, cuts, 100, "m")) >= {"GYM", "COURT", "RACK"}
    assert "POINTS" not in layers_of(plans.ceiling_plan(bare, 100, "m"))
    assert "GYM" in layers_of(sections.section_view(bare, cuts[0], 100, "m"))


def test_what_an_installer_must_know_is_on_the_sheet():
    """Worked by hand: Larkfield's N1, 25 ft up and tilted 32 degrees, has its highest corner
    0.31 cos 32 + 0.38 sin 32 = 0.464 m over its front's middle: 8.084 m, 0.159 m or 6 1/4 in over
    the clear height of 26 ft. Loudspeakers that stay say so.
    """
    point = hanging_points.hanging_points(LARKFIELD)[0]
    assert point.over == pytest.approx(0.1594, abs=2e-4)
    said = " ".join(words_of(sheets_of("larkfield")[1]))
    assert "the top reaches up to 0 ft 6 1/4 in over the clear height" in said
    stays = changed(DOVECOTE, {("groups", "wall pair", "existing"): True})
    tags = [m.words for m in plans.ceiling_plan(stays, 100, "m").marks if isinstance(m, Text)]
    assert {"W1 (there already) 6.40 m up", "F1 6.60 m up"} <= set(tags)


def test_what_has_no_room_in_a_table_is_said():
    """Behavior: a table of a hundred rows ends with how many are in the schedules alone."""
    from gymtools.display.documents.drawings import frame

    about = frame.About(school="x", units="m", paper="A2", size=(594, 420))
    rows = tuple((str(n), "a") for n in range(100))
    made_sheet = frame.sheet(
        "AV-1", "t", (), about, [Table(title="T", columns=("n", "w"), rows=rows)]
    )
    said = words_of(made_sheet)
    shown = sum(words.isdecimal() for words in said)
    assert 20 < shown < 100 and f"and {100 - shown} more, in the schedules" in said


# ---- letters


@pytest.mark.parametrize("words", ["26 ft 0 1/4 in", "N1, S1", "Wall Ág", "iiii", "WWWW"])
def test_width_of_words(words):
    """Independent: the outline of the same letters, by matplotlib's text paths, and at most a third
    of a capital for the bearings at either side.
    """
    em = 2.5 / lettering.CAP
    outline = TextPath((0, 0), words, size=em, prop=FontProperties(family=lettering.FAMILY))
    assert 0 <= lettering.width(words, 2.5) - outline.get_extents().width < 2.5 / 3


@given(wanted=st.lists(st.floats(-100, 100), min_size=1, max_size=12), apart=st.floats(0.5, 6))
def test_figures_are_spread_no_more_than_they_must(wanted, apart):
    """Invariance: in their order, never nearer than asked for, those that have room stay, and the
    middle of all stays where it was.
    """
    wanted = np.sort(wanted)
    places = lettering.spread(wanted, apart)
    assert (np.diff(places) >= apart - 1e-9).all()
    assert places.mean() == pytest.approx(wanted.mean(), abs=1e-9)
    if (np.diff(wanted) >= apart).all():
        assert places == pytest.approx(wanted)


@settings(max_examples=40)
@given(st.lists(st.floats(-10, 10), min_size=4, max_size=4), st.randoms(use_true_random=False))
def test_lines_through_boxes(ends, random):
    """Independent: a thousand points along the line, any of them well inside the box."""
    low = np.array([random.uniform(-8, 4), random.uniform(-8, 4)])
    box = np.concatenate([low, low + [random.uniform(0.5, 4), random.uniform(0.5, 4)]])
    segment = np.array(ends).reshape(2, 2)
    points = segment[0] + np.linspace(0, 1, 1001)[:, None] * (segment[1] - segment[0])
    shrunk, grown = box + [0.03, 0.03, -0.03, -0.03], box + [-0.03, -0.03, 0.03, 0.03]

    def hit(b):
        return bool(((points >= b[:2]) & (points <= b[2:])).all(axis=1).any())

    got = bool(lettering.meets(box[None], segment[None])[0, 0])
    assert got or not hit(shrunk)
    assert not got or hit(grown)


def test_tags_in_a_crowd_find_a_place():
    """Behavior: forty tags on one spot lie apart, each inside the bounds."""
    taken, bounds = np.zeros((0, 4)), np.array([0.0, 0.0, 400.0, 300.0])
    for _ in range(40):
        box, _ = lettering.best_place(
            np.array([200.0, 150.0]), (14.0, 4.0), 1.0, taken, np.zeros((0, 2, 2)), bounds
        )
        taken = np.concatenate([taken, box[None]])
    for one, other in combinations(taken, 2):
        assert not lettering.overlaps(one, other[None]).any()
    assert (taken[:, :2] >= bounds[:2]).all() and (taken[:, 2:] <= bounds[2:]).all()


def test_letters_of_any_file_are_drawn():
    """Behavior: letters that the font lacks are boxes, codes are letters, lines are one line."""
    assert lettering.printable("學 a\n\tb") == "□ a b"
    assert lettering.wrapped("aaaa " * 3 + "b" * 200, 2.0, 30.0)[0].startswith("aaaa aaaa")
    for line in lettering.wrapped("b" * 200, 2.0, 30.0):
        assert lettering.width(line, 2.0) <= 30.0


# ---- what a use sets out, gyms by chance, one draft for every writer


def marks_on(view, layer):
    return [m.points for m in view.marks if getattr(m, "layer", "") == layer]


def test_chairs_and_stage_of_a_use_in_its_section():
    """Worked by hand: 64 ft of Larkfield's graduation chairs, 3 ft a row at least, are 21 rows 64 /
    21 = 3.048 ft apart around x = 4 ft, 0.85 m high at the back. They face west: each back is 0.22
    m east of its row. The portable stage reaches from 36 to 52 ft west of the middle, 2 ft up.
    """
    by_use = {r.use.name: r for r in made("larkfield").results.values()}
    cut = sections.cuts(LARKFIELD)[0]
    view = sections.section_view(LARKFIELD, cut, 96, "ft", result=by_use["graduation"])
    backs = [p for p in marks_on(view, "SEATING") if len(p) == 2 and p[1, 1] == 0.85]
    assert len(backs) == 21
    at = np.sort([p[0, 0] for p in backs])
    assert np.diff(at) == pytest.approx(64 / 21 * FOOT)
    assert at.mean() == pytest.approx(4 * FOOT + 0.22)
    stage = next(
        p for p in marks_on(view, "CUT") if len(p) == 4 and p[:, 1].max() == pytest.approx(0.6096)
    )
    assert (stage[:, 0].min() / FOOT, stage[:, 0].max() / FOOT) == pytest.approx((-52, -36))
    assert marks_on(view, "CURTAIN")
    shows = sections.section_view(LARKFIELD, cut, 96, "ft", result=by_use["performance"])
    assert not marks_on(shows, "CURTAIN")
    assert "stage, curtain open" in [m.words for m in shows.marks if isinstance(m, Text)]


def test_a_section_of_the_aim_has_the_chairs_under_the_ears():
    """Closed form: every ear of the audience on chairs has a chair under it, half its depth to
    either side; people face the portable stage, so backs are on the far side of it.
    """
    result = next(r for r in made("larkfield").results.values() if r.use.name == "graduation")
    view = sections.aim_section(result, "graduation chairs", 96, "ft")
    backs = np.sort([p[0, 0] for p in marks_on(view, "SEATING") if len(p) == 2])
    ears = [m.center[0] for m in view.marks if getattr(m, "layer", "") == "ROWS"]
    assert len(ears) == 21
    assert backs == pytest.approx(np.sort(ears) + 0.22)


def test_what_a_use_sets_out_has_dimensions_from_two_walls():
    """Worked by hand: Larkfield's graduation stage begins 4 ft from the west wall and is 16 ft deep
    and 32 ft wide around the middle of 96 ft; its lectern stands 16 ft from the west wall. The
    chairs begin at 28 ft, where an aim line runs to the south bank: their light line ends short of
    it. Nothing is set out for the class, and its sheet has no dimension.
    """
    graduation, quiet = (
        plans.use_plan(made("larkfield").results[use], 96, "ft") for use in ("graduation", "class")
    )
    found = [m for m in graduation.marks if is_dimension(m)]
    west, south = ({m.text.words for m in found if m.axis == axis} for axis in (0, 1))
    assert west >= {"4 ft 0 in", "16 ft 0 in", "20 ft 0 in", "28 ft 0 in", "92 ft 0 in"}
    assert south >= {"32 ft 0 in", "64 ft 0 in", "48 ft 0 in", "28 ft 0 in", "68 ft 0 in"}
    (chairs,) = [m for m in found if m.axis == 0 and m.text.words == "28 ft 0 in"]
    marks = [m for m in graduation.marks if getattr(m, "layer", "") == "AIM-LINES"]
    aims = [m.points for m in marks if isinstance(m, Line)]
    low = min(line[:, 1].min() for line in aims)
    assert chairs.line[0, 1] == pytest.approx(low)
    assert not any(is_dimension(m) for m in quiet.marks)


def test_lines_of_dimensions_are_lighter_than_what_they_cross():
    """Behavior: over the gym they are dashed and the thinnest of all, begin at a gap from what they
    measure, and are dark outside alone; the file says the same of them.
    """
    light = LAYERS["EXTENSIONS"]
    others = [layer.weight for name, layer in LAYERS.items() if name != "EXTENSIONS"]
    assert light.dashes and light.weight < min(others)
    view = sheets_of("larkfield")[1].placed[0].view
    dimensions = [m for m in view.marks if is_dimension(m)]
    mm = view.scale / 1000
    for mark in dimensions:
        over, outside = mark.pieces(1.5 * mm)
        assert np.linalg.norm(over[0] - mark.feature) >= 1.5 * mm - 1e-9
        x, y = LARKFIELD.hall.length / 2, LARKFIELD.hall.width / 2
        inside = (np.abs(outside) < [x, y]).all(axis=1)
        assert not inside.any()
    document, _ = file_of("larkfield")
    entity = document.modelspace().query("DIMENSION")[0]
    pieces = [e for e in entity.get_geometry_block() if e.dxftype() == "LINE"]
    assert {e.dxf.linetype for e in pieces} == {"GYM-EXTENSIONS"}
    assert {e.dxf.lineweight for e in pieces} == {round(100 * light.weight)}


def test_a_use_says_what_is_stowed():
    """Behavior: a class folds the bleachers and sets nothing out; the sheet says so. A game with
    them out names no bank.
    """
    said = {s.title: " ".join(words_of(s)) for s in sheets_of("larkfield")}
    words = "Stowed in this use: north bank (folded), south bank (folded), graduation chairs"
    assert words in said["Use 'class'"]
    assert "bank (folded)" not in said["Use 'game'"]


def test_sections_of_the_uses_are_of_those_that_set_something_out():
    """Behavior: graduation and performance of Larkfield have a section of their own, a class none;
    the cut has the letter that the floor plan marks.
    """
    names = [
        one.view.name
        for s in sheets_of("larkfield")
        if s.title == "Sections of the uses"
        for one in s.placed
    ]
    assert names == ["Section A-A in 'graduation'", "Section A-A in 'performance'"]
    marked = {m.words for m in sheets_of("larkfield")[0].placed[0].view.marks if type(m) is Text}
    assert {"A", "B"} <= marked


def test_no_letters_lie_over_letters_in_thirty_gyms():
    """Closed form: thirty gyms made up by chance, with banks, tracks, fixtures and stages as they
    come and six loudspeakers: of plan, ceiling plan and sections no two texts share room.
    """
    for n, gym in enumerate(gyms()[:30]):
        hall, scale = gym.hall, 100
        row = dict(
            loudspeaker="two-way 90x60", number=3, spacing=3.0, height=hall.clear_height - 0.5
        )
        rows = tuple(
            Group(name=name, tag=name[0].upper(), y=y, pan_deg=pan, downtilt_deg=30.0, **row)
            for name, y, pan in (("north", 1.5, 90.0), ("south", -1.5, -90.0))
        )
        school = SimpleNamespace(
            **{name: getattr(gym, name) for name in SHOWN},
            groups=rows,
            loudspeakers=[c for g in rows for c in g.loudspeakers(TYPES["two-way 90x60"])],
            configuration_of=gym.configuration_of,
        )
        cuts = sections.cuts(school)
        views = [
            plans.floor_plan(school, None, cuts, scale, "m"),
            plans.ceiling_plan(school, scale, "ft"),
            *(sections.section_view(school, cut, scale, "m") for cut in cuts),
        ]
        for view in views:
            texts = [m.text if isinstance(m, Dimension) else m for m in view.marks]
            texts = [t for t in texts if isinstance(t, Text)]
            boxes = np.array([lettering.box(t, t.at * 1000 / scale) for t in texts])
            lapped = np.minimum(boxes[:, None, 2:], boxes[None, :, 2:]) - np.maximum(
                boxes[:, None, :2], boxes[None, :, :2]
            )
            over = np.argwhere(np.triu((lapped > 0.1).all(axis=-1), 1))
            assert not len(over), (
                n,
                view.name,
                [(texts[a].words, texts[b].words) for a, b in over],
            )


def test_print_and_file_have_the_same_draft():
    """Independent: every text of a sheet that the print draws is in the DXF, in the model or on the
    sheet's layout, and the end points of all loudspeakers' outlines are the same; the print of an
    SVG has them at the paper's scale.
    """
    document, _ = file_of("larkfield")
    sheet = sheets_of("larkfield")[1]
    drawn = sorted(t.get_text() for t in drawings.figure(sheet).axes[0].texts)
    figures = [m.text.words for one in sheet.placed for m in one.view.marks if is_dimension(m)]
    layout = [e.dxf.text for e in document.layout(sheet.number).query("TEXT")]
    model = {e.dxf.text for e in document.modelspace().query("TEXT")}
    left = list((Counter(drawn) - Counter(figures) - Counter(layout)).elements())
    assert left and set(left) <= model
    (one,) = sheet.placed
    corner = drawings.model_places(sheets_of("larkfield"))[id(one.view)]
    filed = {
        tuple(np.round(np.array(p[:2]) * FOOT - corner, 4))
        for e in document.modelspace().query('LWPOLYLINE[layer=="LOUDSPEAKERS"]')
        for p in e.get_points()
    }
    printed = [c for c in drawings.figure(sheet).axes[0].collections if len(c.get_segments()) > 0]
    paths = np.concatenate([s for c in printed for s in c.get_segments()])
    for outline in marks_on(one.view, "LOUDSPEAKERS"):
        for point in outline[:, :2]:
            assert np.abs(np.array([*filed]) - point).max(axis=1).min() < 2e-4
            assert np.abs(paths - one.on_paper(point)).max(axis=1).min() < 1e-6
    root = ElementTree.fromstring(drawings.picture(sheet, "svg"))
    wide, high = (float(root.get(k).removesuffix("pt")) / 72 * 25.4 for k in ("width", "height"))
    assert (wide, high) == pytest.approx(sheet.size, abs=0.01)
    box = MEDIA_BOX.search(drawings.pdf([sheet]))
    assert [float(v) / 72 * 25.4 for v in box.groups()] == pytest.approx(sheet.size, abs=0.01)


def is_dimension(mark):
    return isinstance(mark, Dimension)


def test_a_picture_of_every_sheet_where_it_is_asked_for(tmp_path, monkeypatch):
    """Behavior: beside DXF, PDF and SVG a PNG of each sheet, as large as its paper at 150 dots an
    inch.
    """
    (sheet,) = sheets_of("dovecote")[:1]
    monkeypatch.setattr(drawings, "drawing_set", lambda *_, **__: [sheet])
    files = ["drawings.dxf", "drawings.pdf", "drawing-AV-1.svg"]
    *paths, last = write_drawings(made("dovecote"), tmp_path, png=True)
    assert [p.name for p in (*paths, last)] == [*files, "drawing-AV-1.png"]
    with Image.open(last) as picture:
        assert picture.size == pytest.approx(np.array(sheet.size) / 25.4 * 150, abs=1)
