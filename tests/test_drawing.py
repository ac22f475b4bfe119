"""The drawing in the kernel: what it shows, what it does with the messages of a page."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from schools import CASES, SCENARIOS, heard

from gymtools.acoustics.criteria import CRITERIA, WORDS
from gymtools.acoustics.evaluate import evaluate
from gymtools.design.dragging import Handle, handles, landings, place_of
from gymtools.display import theme
from gymtools.display.drawing import Drawing, picture, widget
from gymtools.display.drawing.judging import JUDGED_BY, UNJUDGED, judged
from gymtools.display.drawing.widget import TRAITS
from gymtools.display.drawing.words import handle_words, seat_sentence
from gymtools.display.panel.meeting import meeting
from gymtools.display.scene import View
from gymtools.physics import bands
from gymtools.venue.paths import changed, value_at
from gymtools.venue.units import FOOT

LARKFIELD = SCENARIOS["larkfield"]
NORTH, SOUTH = "north row", "south row"
POSITION = Handle(kind="position", group=NORTH).key
HEIGHT = Handle(kind="height", group=NORTH).key
AIM = Handle(kind="aim", group=NORTH, member=1).key


class Log:
    """A drawing with what it reported."""

    def __init__(self, use="game", quantity="direct 2k", **looks):
        self.moves, self.seats, self.sent = [], [], []
        self.drawing = Drawing(
            on_move=lambda *report: self.moves.append(report), on_seat=self.seats.append
        )
        self.drawing.sheet.send = lambda content, buffers=None: self.sent.append(content)
        self.view = View(result=heard("larkfield", use), quantity=quantity, units="ft", **looks)
        self.drawing.show(self.view)

    def hear(self, **message):
        self.drawing.sheet._handle_custom_msg(message, [])

    def row(self, name=NORTH):
        return next(r for r in self.drawing.sheet.rows["rows"] if r["name"] == name)


def numbers(buffer):
    return np.frombuffer(buffer, np.float32)


def lines(buffer):
    """Pieces of a buffer of x and y with gaps."""
    points = numbers(buffer).reshape(-1, 2)
    gaps = np.flatnonzero(np.isnan(points[:, 0]))
    pieces = np.split(points, gaps)
    return [p[~np.isnan(p[:, 0])] for p in pieces if (~np.isnan(p[:, 0])).any()]


def inside(rings, point):
    """Whether a point lies inside rings, holes taken out: even-odd rule."""
    x, y = point
    crossed = 0
    for ring in rings:
        (x0, y0), (x1, y1) = ring.T, np.roll(ring, -1, axis=0).T
        over = (y0 > y) != (y1 > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            crossed += int((over & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)).sum())
    return crossed % 2 == 1


# ---- which criterion a map belongs to


def test_every_map_belongs_to_a_criterion_or_to_none():
    """Behavior: names exist; the octaves in which coverage is judged are judged for it."""
    assert set(JUDGED_BY) <= set(theme.QUANTITIES)
    assert set(JUDGED_BY.values()) <= set(CRITERIA)
    octaves = {f"direct {label}" for label in np.array(bands.LABELS)[bands.COVERAGE]}
    assert {q for q, c in JUDGED_BY.items() if c == "coverage_range"} == octaves
    # a map of what a criterion judges, under its own name, is held against that one
    for quantity in set(theme.QUANTITIES) & set(CRITERIA):
        assert JUDGED_BY[quantity] == quantity


def test_a_map_without_a_target_is_not_hatched():
    """Behavior: distance, image shift and the other octaves have no target."""
    for quantity in set(theme.QUANTITIES) - set(JUDGED_BY):
        if theme.missing_quantity(heard("larkfield", "game"), quantity):
            continue
        view = View(result=heard("larkfield", "game"), quantity=quantity)
        assert judged(view) is None
        shown = picture.level_map(view)
        assert lines(shown["close"]) == lines(shown["misses"]) == lines(shown["target"]) == []
        assert shown["scale"]["target"] == ""


@pytest.mark.parametrize("quantity", [q for q, c in JUDGED_BY.items() if c != "coverage_range"])
def test_words_of_the_points_are_the_criterions(quantity):
    """Closed form: each point's word is what its criterion says of its value."""
    view = View(result=heard("larkfield", "game"), quantity=quantity)
    found, criterion = judged(view), CRITERIA[JUDGED_BY[quantity]]
    target = criterion.target_in(view.scenario.targets)
    for k in range(0, len(view.values), 37):
        word = found.word(k)
        assert word in ("", criterion.word(float(view.values[k]), target))


def test_a_seat_is_even_within_half_the_range_of_its_areas_mean():
    """Worked by hand: 6 dB from the 5th to the 95th percentile is 3 dB either way."""
    view = View(result=heard("larkfield", "game"), quantity="direct 2k")
    found, span = judged(view), view.result.spans["north bank"]
    mean = view.values[span].mean()
    off = np.abs(view.values[span] - mean)
    words = np.array([found.word(k) for k in range(span.start, span.stop)])
    assert set(words[off < 3.0]) == {"meets"}
    assert set(words[(off > 3.03) & (off < 3.5)]) <= {"close"}
    assert set(words[off > 3.51]) <= {"misses"}
    assert [v for v, _ in found.lines["north bank"]] == pytest.approx(
        [mean - 3, mean + 3], abs=1e-4
    )


def test_where_nobody_listens_nothing_is_asked():
    """Behavior: the court of an assembly is colored, but neither meets nor misses."""
    view = View(result=heard("larkfield", "assembly"), quantity="sti")
    found = judged(view)
    assert set(found.numbers[view.result.spans["court"]]) == {UNJUDGED}
    assert UNJUDGED not in found.numbers[view.result.spans["north bank"]]


@pytest.mark.parametrize("name, use", CASES)
@pytest.mark.parametrize("quantity", ["direct 2k", "sti", "feedback_margin"])
def test_hatching_lies_on_the_points_that_miss(name, use, quantity):
    """Closed form: every point lies inside the outline of its own word, for every school."""
    view = View(result=heard(name, use), quantity=quantity)
    found, shown = judged(view), picture.level_map(view)
    close, misses = lines(shown["close"]), lines(shown["misses"])
    start = 0
    for area in view.areas:
        for k in range(start, start + len(area.points), 29):
            point, number = area.points[k - start, :2] + 1e-4, found.numbers[k]
            edge = min(abs(found.margin[k] + found.close), abs(found.margin[k] + found.shown))
            if number == UNJUDGED or edge < 0.02 * found.close or others(view, area, point):
                continue
            assert inside(misses, point) == (WORDS[number] == "misses")
            assert inside(close, point) == (WORDS[number] == "close")
        start += len(area.points)


def others(view, area, point):
    """Whether another area lies over a point too: chairs stand on the court."""
    for other in view.areas:
        low, high = other.points.min(axis=0)[:2] - 0.6, other.points.max(axis=0)[:2] + 0.6
        if other is not area and (point > low).all() and (point < high).all():
            return True
    return False


# ---- what is shown


@pytest.mark.parametrize("name, use", CASES)
@pytest.mark.parametrize("quantity", ["direct 2k", "speech", "feedback_margin"])
def test_the_map_is_the_views_and_lies_where_its_points_are(name, use, quantity):
    """Closed form: values bit by bit; first point, row and column steps give every point back."""
    view = View(result=heard(name, use), quantity=quantity)
    drawing = Drawing()
    drawing.show(view)
    assert (numbers(drawing.sheet.map["values"]) == view.values).all()
    grids = {a["start"]: a for a in drawing.sheet.room["areas"]}
    start = 0
    for area in view.areas:
        grid = grids[start]
        row, column = np.divmod(np.arange(len(area.points)), grid["columns"])
        steps = row[:, None] * grid["down"] + column[:, None] * grid["across"]
        assert np.array(grid["origin"]) + steps == pytest.approx(area.points[:, :2], abs=1e-6)
        start += len(area.points)
    assert start == len(view.values)


@pytest.mark.parametrize("quantity", ["direct 2k", "sti", "feedback_margin"])
def test_contours_are_the_views_drawn_on_to_the_edge(quantity):
    """Independent: on points of the grid's inside both sets of lines are the same."""
    view = View(result=heard("larkfield", "graduation"), quantity=quantity)
    shown = picture.level_map(view)
    drawn = np.concatenate(lines(shown["contours"]))
    for _, _, line in view.contours:
        for point in line[:, :2]:
            assert np.abs(drawn - point).max(axis=1).min() < 1e-3
    assert {text for text, *_ in shown["labels"]} >= {text for text, _ in view.labels}


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_row_is_shown_with_its_handles(name):
    """Behavior: each loudspeaker where it hangs, each handle with a name and its value in words."""
    scenario = SCENARIOS[name]
    use = scenario.uses[0].name
    drawing = Drawing()
    drawing.show(View(result=heard(name, use)))
    shown = {r["name"]: r for r in drawing.sheet.rows["rows"]}
    assert list(shown) == [g.name for g in scenario.groups]
    for group in scenario.groups:
        row = scenario.in_group(group.name)
        assert [m["tag"] for m in shown[group.name]["members"]] == [c.tag for c in row]
        for m, c in zip(shown[group.name]["members"], row, strict=True):
            assert m["at"] == pytest.approx([*c.position, c.pan_deg, c.downtilt_deg], abs=1e-3)
        own = [h.key for h in handles(scenario) if h.group == group.name]
        assert [h["key"] for h in shown[group.name]["handles"]] == own
        assert all(h["label"].startswith(group.name) for h in shown[group.name]["handles"])
        assert all(h["words"] for h in shown[group.name]["handles"])


def test_axes_end_where_the_view_has_them_land():
    """Closed form: as followed again for what is drawn while a hand moves."""
    log = Log()
    ends = [m["end"] for r in log.drawing.sheet.rows["rows"] for m in r["members"]]
    again = landings(LARKFIELD, "game", LARKFIELD.loudspeakers)
    assert np.array(ends) == pytest.approx(again, abs=2e-3)


def test_the_section_shows_the_views_profile_with_its_target():
    """Closed form: values along the rows, their words, and where the target line lies."""
    log = Log(quantity="sti", area="south bank")
    cut = log.drawing.sheet.cut
    assert cut["area"] == "south bank"
    assert numbers(cut["along"]) == pytest.approx(log.view.along)
    assert cut["profile"]["targets"] == [LARKFIELD.targets.sti]
    wanted = judged(log.view).numbers[log.view.section.points]
    assert (np.frombuffer(cut["words"], np.uint8) == wanted).all()


def test_a_late_viewer_gets_the_whole_picture():
    """Behavior: a page that is opened later is told everything by the widget's state."""
    state = Log().drawing.sheet.get_state()
    for name in TRAITS:
        assert state[name] is not None
    assert state["map"]["values"] and state["rows"]["rows"]


def test_a_row_is_picked_and_a_place_is_marked():
    """Behavior: what the panel has picked, the worst place of a question, a note."""
    log = Log(seat=5)
    log.drawing.show(log.view, picked=SOUTH, note="settling, ±0.6 dB")
    assert [r["name"] for r in log.drawing.sheet.rows["rows"] if r["picked"]] == [SOUTH]
    assert log.drawing.sheet.said["note"] == "settling, ±0.6 dB"
    marks = {name: point for name, point, _ in log.drawing.sheet.said["marks"]}
    assert marks == {"picked seat": pytest.approx(log.view.result.points[5])}


def test_the_section_says_how_far_a_marked_place_lies_off_it():
    """Worked by hand: the section of the north bank runs along x = 0; a place of another area far
    from it is not said there.
    """

    def marked(seat):
        looks = dict(area="north bank", seat=int(seat), worst=True)
        return Log(**looks).drawing.sheet.said["marks"]

    log = Log(area="north bank")
    points, span = log.view.result.points, log.view.result.spans["north bank"]
    ((_, point, words),) = marked(span.start)
    assert words == f"worst seat, {abs(point[0]) / FOOT:.0f} ft off the section"
    beside = span.start + np.abs(points[span, 0]).argmin()
    assert marked(beside)[0][2] == "worst seat"
    far = points[:, 1].argmin()  # on the south bank
    assert marked(far)[0][2] == ""


def test_a_handle_has_its_value_as_a_number_in_the_meetings_units():
    """Worked by hand: the north row hangs at 25 ft of 26, in the middle of 112 ft, 32 degrees
    down.
    """
    found = {h["kind"]: (h["value"], h["range"]) for h in Log().row()["handles"]}
    assert found["position"] == (0, [-56, 56])
    assert found["height"][0] == 25 and found["height"][1][1] == 26
    assert found["aim"] == (32, [-30, 90])


def test_joists_are_shown_in_plan_and_section():
    """Worked by hand: 8 ft apart along the gym of 96 ft: 11 of them, seen end-on by a section of
    the north bank from 26 ft up to the roof at 30 ft; a section along them meets none.
    """
    joists = {("hall", "joist_spacing"): 8 * FOOT}
    shown = {}
    for along in ("length", "width"):
        school = changed(LARKFIELD, joists | {("hall", "joists_along"): along})
        drawing = Drawing()
        drawing.show(View(result=evaluate(school, "game", rays="few"), units="ft"))
        shown[along] = drawing.sheet
    ends = [line / FOOT for line in lines(shown["length"].room["joists"])]
    assert [e[0, 1] for e in ends] == pytest.approx(list(range(-40, 41, 8)), abs=1e-3)
    assert ends[0][:, 0] == pytest.approx([-56, 56], abs=1e-3)
    cut = [line / FOOT for line in lines(shown["length"].cut["joists"])]
    assert sorted(c[0, 0] for c in cut) == pytest.approx(list(range(8, 89, 8)), abs=1e-3)
    assert cut[0][:, 1] == pytest.approx([26, 30], abs=1e-3)
    assert lines(shown["width"].cut["joists"]) == []
    assert len(lines(shown["width"].room["joists"])) == 13
    assert shown["width"].room["joist_words"] == "joists every 8 ft 0 in"
    assert Log().drawing.sheet.room["joist_words"] == ""


def test_another_state_is_shown_as_a_ghost():
    """Behavior: only its loudspeakers and aims; gone with the next picture."""
    log = Log()
    away = changed(LARKFIELD, {("groups", NORTH, "x"): 2.0})
    other = View(result=replace(log.view.result, scenario=away), units="ft")
    log.drawing.show(log.view, ghost=("A", other))
    assert log.drawing.sheet.ghost["name"] == "A"
    row = next(r for r in log.drawing.sheet.ghost["rows"] if r["name"] == NORTH)
    assert row["members"][1]["at"][0] == pytest.approx(2.0)
    log.drawing.show(log.view)
    assert log.drawing.sheet.ghost == {}


def test_the_page_code_asks_nothing_of_the_network():
    """Behavior: no address but the name of SVG, and no library."""
    code = (widget.HERE / "drawing.js").read_text(encoding="utf-8")
    assert set(re.findall(r"https?://[^\"']*", code)) == {"http://www.w3.org/2000/svg"}
    assert "import(" not in code and "import " not in code.split("\n", 2)[2]


# ---- what a page says


def test_a_drag_reports_changes_and_ends():
    """Behavior: while held, not done; let go, done with the same changes."""
    log = Log()
    log.hear(kind="move", handle=POSITION, to=[1.0, 6.0], number=1)
    log.hear(kind="move", handle=POSITION, to=[2.0, 6.0], number=2)
    assert log.drawing.sheet.rows["answered"] == 2
    assert log.drawing.sheet.rows["held"] == POSITION
    log.hear(kind="release", handle=POSITION, number=3)
    keys, changes, reasons, done = zip(*log.moves, strict=True)
    assert set(keys) == {POSITION} and set(reasons) == {""}
    assert done == (False, False, True)
    assert changes[1] == changes[2] != changes[0]
    assert changes[2]["groups", SOUTH, "x"] == changes[2]["groups", NORTH, "x"]
    assert log.drawing.sheet.rows["held"] == ""


def test_what_is_dragged_is_drawn_before_it_is_heard():
    """Behavior: the row and its twin stand under the hand before anything was evaluated."""
    log = Log()
    log.hear(kind="move", handle=POSITION, to=[2 * FOOT, 20 * FOOT], number=1)
    assert log.row()["members"][1]["at"][:2] == pytest.approx([2 * FOOT, 20 * FOOT], abs=1e-3)
    south = log.row(SOUTH)["members"][1]["at"][:2]
    assert south == pytest.approx([2 * FOOT, -20 * FOOT], abs=1e-3)


def test_a_ghost_shows_where_a_drag_began():
    """Behavior: while it lasts, also when another picture comes in between."""
    log = Log()
    before = [m["at"] for m in log.row()["members"]]
    log.hear(kind="move", handle=POSITION, to=[2.0, 6.0], number=1)
    log.drawing.show(log.view)
    ghost = next(r for r in log.drawing.sheet.ghost["rows"] if r["name"] == NORTH)
    assert [m["at"] for m in ghost["members"]] == before
    log.hear(kind="release", handle=POSITION, number=2)
    assert log.drawing.sheet.ghost == {}


def test_escape_puts_back_what_was_dragged():
    """Behavior: the last report gives the values from before, of the twin too."""
    log = Log()
    log.hear(kind="move", handle=POSITION, to=[2.0, 6.0], number=1)
    log.hear(kind="cancel", handle=POSITION, number=2)
    key, changes, reason, done = log.moves[-1]
    assert (key, reason, done) == (POSITION, "", True)
    assert changes == {path: value_at(LARKFIELD, path) for path in log.moves[0][1]}
    assert log.row()["members"][1]["at"][0] == 0.0


def test_a_handle_that_is_only_clicked_is_reported_without_changes():
    """Behavior: so that the panel can pick its row."""
    log = Log()
    log.hear(kind="release", handle=HEIGHT, number=1)
    assert log.moves == [(HEIGHT, {}, "", True)]


def test_a_height_stops_under_the_joists_with_the_reason():
    """Behavior: the page is told why, the report too."""
    log = Log()
    log.hear(kind="move", handle=HEIGHT, to=[3.0, 12.0], number=1)
    _, changes, reason, _ = log.moves[-1]
    assert changes["groups", NORTH, "height"] == pytest.approx(26 * FOOT)
    assert reason == "highest under joists and roof."
    assert log.drawing.sheet.rows["reason"] == reason


def test_an_aim_point_in_the_section():
    """Closed form: the axis passes through the point of the section that it was dragged to."""
    log = Log()
    cut = log.drawing.sheet.cut
    to = [5.0, 2.0]  # from the north wall, over the floor [m]
    log.hear(kind="move", handle=AIM, to=to, cut=True, number=1)
    moved = changed(LARKFIELD, log.moves[-1][1])
    c, end = moved.in_group(NORTH)[1], landings(moved, "game", moved.in_group(NORTH)[1:2])[0]
    along = np.array([*cut["foot"], 0.0]) + to[0] * np.array([*cut["inward"], 0.0])
    point = along + [c.x, 0, to[1]]
    way, whole = end - c.position, point - c.position
    assert np.linalg.norm(np.cross(way, whole)) / np.linalg.norm(way) < 0.05


def test_keys_move_by_steps_and_add_up():
    """Worked by hand: three steps east and five north, a quarter of a foot each."""
    log = Log()
    for by in ([1, 0], [2, 0], [0, 5]):
        log.hear(kind="step", handle=POSITION, by=by, number=1)
    changes = log.moves[-1][1]
    assert changes["groups", NORTH, "x"] == pytest.approx(0.75 * FOOT)
    assert changes["groups", NORTH, "y"] == pytest.approx(20.25 * FOOT)


def test_keys_do_not_pile_up_behind_a_limit():
    """Behavior: after steps against the joists, one step down moves at once."""
    log = Log()
    for _ in range(12):
        log.hear(kind="step", handle=HEIGHT, by=[0, 1], number=1)
    log.hear(kind="step", handle=HEIGHT, by=[0, -1], number=2)
    assert log.moves[-1][1]["groups", NORTH, "height"] == pytest.approx(25.75 * FOOT)


@pytest.mark.parametrize("kind", ["position", "aim", "height"])
@pytest.mark.parametrize("name", SCENARIOS)
def test_every_handle_can_be_moved_by_keys(name, kind):
    """Behavior: in every school, a step either changes the row or says why not."""
    scenario, use = SCENARIOS[name], SCENARIOS[name].uses[0].name
    for handle in (h for h in handles(scenario) if h.kind == kind):
        moves = []
        drawing = Drawing(on_move=lambda *report, moves=moves: moves.append(report))
        drawing.show(View(result=heard(name, use)))
        drawing.sheet._handle_custom_msg({"kind": "step", "handle": handle.key, "by": [-1, -1]}, [])
        _, changes, reason, _ = moves[-1]
        now = place_of(scenario, handle, use)
        then = place_of(changed(scenario, changes), handle, use)
        assert reason or np.abs(then - now).max() > 0.02


def test_a_seat_is_described_and_pinned():
    """Behavior: hovering gets a sentence, a click calls back with the seat."""
    log = Log(quantity="sti")
    log.hear(kind="hover", index=100)
    log.hear(kind="pin", index=100)
    assert log.sent == [{"kind": "seat", "index": 100, "words": seat_sentence(log.view, 100)}]
    assert log.seats == [100]


def test_the_sentence_of_a_seat():
    """Behavior: where it is, its value, the word with the target, what limits it."""
    view = View(result=heard("larkfield", "game"), quantity="sti", units="ft")
    words = seat_sentence(view, 100)
    assert words.startswith("north bank, row 3 of 10, seat 3 of 53: speech intelligibility (STI) ")
    assert judged(view).word(100) + " (0.5 or more)" in words
    assert "limits clarity most" in words


def test_the_sentence_of_a_place_for_a_microphone():
    """Behavior: on the map of the feedback margin points are places, and clicks pin no seat."""
    log = Log(use="class", quantity="feedback_margin")
    words = seat_sentence(log.view, 7)
    assert words.startswith("microphone ") and "feedback margin" in words and "Limited by" in words
    log.hear(kind="pin", index=7)
    assert log.seats == []


@pytest.mark.parametrize("index", [-1, 10**6])
def test_a_seat_that_is_not_there_is_refused(index):
    """Behavior: a page may have seen another use."""
    view = View(result=heard("larkfield", "game"))
    with pytest.raises(ValueError, match="is not among the"):
        seat_sentence(view, index)


@pytest.mark.parametrize(
    "message",
    [
        {"kind": "fly"},
        {"kind": "move"},
        {"kind": "move", "handle": "position 0 west row", "to": [0, 0]},
        {"kind": "move", "handle": POSITION, "to": ["north", None]},
        {"kind": "move", "handle": POSITION, "to": [1e9, 0]},
        {"kind": "step", "handle": POSITION, "by": None},
        {"kind": "hover", "index": 10**9},
        {},
    ],
)
def test_a_message_that_makes_no_sense_is_answered_with_a_refusal(message):
    """Behavior: nothing is raised, nothing reported, and the next drag works."""
    log = Log()
    log.hear(**message)
    assert log.sent[-1]["kind"] == "refused"
    assert log.moves == []
    log.hear(kind="move", handle=POSITION, to=[1.0, 6.0], number=1)
    assert log.moves


def test_a_page_that_hears_nothing_gets_another_sheet(monkeypatch):
    """Behavior: with the same picture; not while the kernel was only busy, and not for ever."""
    log, now = Log(), [0.0]
    monkeypatch.setattr(widget.time, "monotonic", lambda: now[0])
    first = log.drawing.sheet
    log.hear(kind="greet")
    assert log.sent == [{"kind": "greeted"}]
    log.hear(kind="deaf")  # read at once after the greeting: the kernel was busy
    assert log.drawing.sheet is first
    for _ in range(widget.TRIES + 1):
        now[0] += 5.0
        log.hear(kind="deaf")
    assert log.drawing.sheet is not first and first.comm is None
    assert log.drawing.children == (log.drawing.sheet,)
    assert [getattr(log.drawing.sheet, n) for n in TRAITS] == [getattr(first, n) for n in TRAITS]
    last = log.drawing.sheet
    now[0] += 5.0
    log.hear(kind="deaf")
    assert log.drawing.sheet is last


def test_a_drag_ends_with_the_page_that_held_it():
    """Behavior: a page that is reloaded in the middle of a drag leaves the row where it was."""
    log = Log()
    log.hear(kind="move", handle=POSITION, to=[2.0, 6.0], number=1)
    log.hear(kind="greet")
    assert log.moves[-1] == (POSITION, log.moves[0][1], "", True)
    assert log.drawing.sheet.ghost == {} and log.drawing.sheet.rows["held"] == ""


def test_a_drag_moves_the_panel():
    """Behavior: what a drag reports is what the panel's state takes, and undo puts it back."""
    panel = meeting(LARKFIELD)

    def moved(key, changes, reason, done):
        panel.update(key, changes=changes, group=Handle.of(key).group)
        drawing.show(View(result=panel.result, units="ft"), picked=panel.state.group)

    drawing = Drawing(on_move=moved)
    drawing.show(View(result=panel.result, units="ft"))
    drawing.sheet._handle_custom_msg({"kind": "move", "handle": POSITION, "to": [2.0, 6.0]}, [])
    drawing.sheet._handle_custom_msg({"kind": "release", "handle": POSITION}, [])
    assert panel.scenario.groups[0].x == panel.scenario.groups[1].x == pytest.approx(2.0, abs=0.05)
    assert panel.state.group == NORTH
    panel.undo()
    assert panel.scenario.groups[0].x == 0.0


def test_a_fault_of_who_listens_is_not_hidden():
    """Behavior: an error in the panel reaches the log, and is not taken for the page's."""

    def broken(*_):
        raise ValueError("a fault in the panel")

    drawing = Drawing(on_move=broken)
    drawing.show(View(result=heard("larkfield", "game")))
    with pytest.raises(ValueError, match="a fault in the panel"):
        drawing._hear(drawing, {"kind": "move", "handle": POSITION, "to": [1.0, 6.0]}, [])


def test_words_of_handles():
    """Behavior: a name, and the value in the units that are looked at."""
    group, end = LARKFIELD.groups[0], np.array([0.0, 12.0, 1.0])
    said = {h.kind: handle_words(h, group, end, "ft") for h in handles(LARKFIELD)[:3]}
    assert said["position"] == ("north row, position", "19 ft 0 in north of center")
    assert said["height"] == ("north row, height", "25 ft 0 in up")
    assert said["aim"][0] == "north row, aim point"
    assert said["aim"][1].startswith("tilts 32° down, pan 90°, lands 39 ft")


def test_all_but_the_buffers_is_plain():
    """Behavior: what is sent beside the buffers is what JSON can hold."""

    def bare(value):
        if isinstance(value, dict):
            return {k: bare(v) for k, v in value.items() if not isinstance(v, bytes)}
        if isinstance(value, list | tuple):
            return [bare(v) for v in value if not isinstance(v, bytes)]
        return value

    log = Log(quantity="sti")
    for name in TRAITS:
        json.dumps(bare(getattr(log.drawing.sheet, name)), allow_nan=False)
