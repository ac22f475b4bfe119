"""The drawing in a real browser: a hand drags, hovers, clicks and types; words that can be read."""

import re
import shutil
from contextlib import contextmanager
from dataclasses import replace

import nbformat
import numpy as np
import pytest
from browser import ROOT, SHOTS, browser_path, jupyter_lab, page
from drawing_page import DRAWN, Kept, drawing_page, frames, show
from schools import AS_USED, SCENARIOS

from gymtools.acoustics.evaluate import evaluate
from gymtools.design.dragging import Handle, handles, landings
from gymtools.display.drawing import picture
from gymtools.display.drawing.words import seat_sentence
from gymtools.display.panel.keyboard import PageKeyboard
from gymtools.display.scene import View
from gymtools.venue.files import parse
from gymtools.venue.paths import changed
from gymtools.venue.units import FOOT

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
LOW = (473, 292)  # on a projector of 1280 x 720
SIZES = ((420, 360), LOW, (560, 640), (1400, 360), (1400, 900), (700, 900))
MIDDLE = (560, 640)
KEPT = (MIDDLE, LOW, (1400, 900))  # of which a screenshot is kept
NORTH, SOUTH = "north row", "south row"
SENT = "n => window.sent.length >= n"
ENDED = "() => ['release', 'cancel'].includes(window.sent.at(-1)?.kind)"


class Table:
    """A panel with a drawing alone: what is dragged is built, evaluated and shown."""

    def __init__(self, name="larkfield", use="game", quantity="direct 2k", **looks):
        self.scenario, self.use, self.looks = SCENARIOS[name], use, dict(looks, quantity=quantity)
        self.moves, self.seats = [], []
        self.drawing = Kept(on_move=self.moved, on_seat=self.seats.append)
        self.show()

    def moved(self, key, changes, reason, done):
        self.moves.append((key, changes, reason, done))
        if changes:
            self.scenario = changed(self.scenario, changes)
            self.show()

    def show(self, **words):
        result = evaluate(self.scenario, self.use, rays="few")
        self.view = View(result=result, units=self.scenario.units, **self.looks)
        self.drawing.show(self.view, **words)

    @contextmanager
    def opened(self, size=MIDDLE):
        with drawing_page(self.drawing, size) as sheet:
            yield sheet
            assert sheet.errors == [], "errors in the page's console"
            assert sheet.left == [], "requests that left this machine"


def shot(sheet, name):
    """Keep a screenshot, for people and for CI."""
    SHOTS.mkdir(exist_ok=True)
    sheet.screenshot(path=SHOTS / f"{name}.png")


def grip(sheet, kind, group, *, cut=False, member=None):
    """What a hand takes hold of: middle of a handle in the page."""
    selector = f'.gt-handle[data-kind="{kind}"][data-cut="{int(cut)}"][aria-label^="{group},"]'
    found = sheet.locator(f"{selector} .gt-grip")
    box = found.nth(member if member is not None else found.count() // 2).bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def pull(sheet, start, by, *, let_go=True, steps=6):
    """Drag from a place by some pixels; returns when the page has said so."""
    sheet.mouse.move(*start)
    sheet.mouse.down()
    before = sheet.evaluate("window.sent.length")
    sheet.mouse.move(start[0] + by[0], start[1] + by[1], steps=steps)
    sheet.wait_for_function(SENT, arg=before + 1)
    if let_go:
        sheet.mouse.up()
        sheet.wait_for_function(ENDED)


def at_rest(sheet, group):
    """Where a row's handle stands when the page has drawn all that it was sent."""
    stood = None
    for _ in range(100):
        before, stood = stood, grip(sheet, "position", group)
        if stood == before:
            break
        sheet.wait_for_timeout(400)  # a busy kernel answers the last step late
    return stood


def scale(sheet, table):
    """Pixels per meter of the plan, from two loudspeakers of a row."""
    (ax, ay), (bx, by) = (grip(sheet, "position", NORTH, member=n) for n in (0, 2))
    row = table.scenario.in_group(NORTH)
    return np.hypot(bx - ax, by - ay) / np.linalg.norm(row[2].position - row[0].position)


# ---- dragging


def test_a_row_is_dragged_in_the_plan():
    """Behavior: it follows the hand on the grid, its twin mirrored; the map follows too."""
    table = Table()
    with table.opened() as sheet:
        k, values = scale(sheet, table), table.drawing.sheet.map["values"]
        pull(sheet, grip(sheet, "position", NORTH), (30, -12))
        key, changes, reason, done = table.moves[-1]
        assert (Handle.of(key).group, reason, done) == (NORTH, "", True)
        assert changes["groups", NORTH, "x"] == pytest.approx(30 / k, abs=0.2 * FOOT + 1 / k)
        assert changes["groups", NORTH, "y"] - 19 * FOOT == pytest.approx(
            12 / k, abs=0.2 * FOOT + 1 / k
        )
        assert changes["groups", SOUTH, "y"] == -changes["groups", NORTH, "y"]
        assert table.drawing.sheet.map["values"] != values
        assert grip(sheet, "position", SOUTH)[0] == pytest.approx(
            grip(sheet, "position", NORTH)[0], abs=1
        )


def test_a_ghost_and_a_plate_while_a_row_is_held():
    """Behavior: dashed where it was, words beside the hand; both gone when it is let go."""
    table = Table()
    with table.opened() as sheet:
        pull(sheet, grip(sheet, "position", NORTH), (60, 25), let_go=False)
        sheet.wait_for_selector("text=N1 was here")
        assert "north row, position" in sheet.locator(".gt-plate").inner_text()
        shot(sheet, "drawing-held")
        sheet.mouse.up()
        sheet.wait_for_function(ENDED)
        sheet.wait_for_selector("text=N1 was here", state="hidden")
        assert sheet.locator(".gt-plate").is_hidden()


def test_a_row_that_is_pulled_out_of_the_gym_stops_with_a_reason():
    """Behavior: the handle stays inside, the reason stands beside it."""
    table = Table()
    with table.opened() as sheet:
        pull(sheet, grip(sheet, "position", NORTH), (400, 0), let_go=False, steps=12)
        sheet.wait_for_selector(".gt-reason:has-text('the east wall')")
        shot(sheet, "drawing-limit")
        sheet.mouse.up()
        sheet.wait_for_function(ENDED)
        assert max(c.x for c in table.scenario.loudspeakers) < table.scenario.hall.length / 2


def test_an_aim_point_is_dragged_in_the_plan():
    """Behavior: the axis lands where the hand let go, within what a pixel is worth."""
    table = Table()
    with table.opened() as sheet:
        k = scale(sheet, table)
        before = landings(table.scenario, "game", table.scenario.in_group(NORTH))[1]
        pull(sheet, grip(sheet, "aim", NORTH), (14, 22))
        after = landings(table.scenario, "game", table.scenario.in_group(NORTH))[1]
        assert (after - before)[:2] * k == pytest.approx([14, -22], abs=1.5)
        assert table.moves[-1][1]["groups", NORTH, "downtilt_deg"] > 32


def test_an_aim_point_is_dragged_in_the_section():
    """Behavior: tilts the row and its twin; the pan stays."""
    table = Table()
    with table.opened() as sheet:
        pull(sheet, grip(sheet, "aim", NORTH, cut=True), (20, 5))
        changes = table.moves[-1][1]
        assert changes["groups", NORTH, "downtilt_deg"] > 33
        assert changes["groups", SOUTH, "downtilt_deg"] == changes["groups", NORTH, "downtilt_deg"]
        assert changes["groups", NORTH, "pan_deg"] == pytest.approx(90, abs=0.1)


def test_a_height_is_dragged_in_the_section():
    """Behavior: up and down alone, whatever the hand does sideways."""
    table = Table()
    with table.opened() as sheet:
        k = scale(sheet, table)
        pull(sheet, grip(sheet, "height", NORTH, cut=True), (9, 18))
        changes = table.moves[-1][1]
        assert set(changes) == {("groups", g, "height") for g in (NORTH, SOUTH)}
        assert 25 * FOOT - changes["groups", NORTH, "height"] == pytest.approx(
            18 / k, abs=0.2 * FOOT + 1 / k
        )


def test_a_ring_around_a_loudspeaker_that_looks_straight_down_is_its_aim():
    """Behavior: the box moves the pair, the ring turns it."""
    table = Table()
    with table.opened() as sheet:
        x, y = grip(sheet, "position", "court pair", member=0)
        pull(sheet, (x + 17, y), (20, 0))
        assert Handle.of(table.moves[-1][0]).kind == "aim"
        assert table.scenario.groups[2].downtilt_deg < 80


def test_escape_puts_a_drag_back():
    """Behavior: the row stands where it stood, and the hand may let go."""
    table = Table()
    with table.opened() as sheet:
        pull(sheet, grip(sheet, "position", NORTH), (40, 0), let_go=False)
        sheet.keyboard.press("Escape")
        sheet.wait_for_function(ENDED)
        sheet.mouse.up()
        assert table.scenario.groups == SCENARIOS["larkfield"].groups
        assert table.moves[-1][3] is True


def test_a_click_on_a_handle_picks_its_row():
    """Behavior: reported without changes."""
    table = Table()
    with table.opened() as sheet:
        sheet.mouse.click(*grip(sheet, "position", SOUTH))
        sheet.wait_for_function(ENDED)
        assert table.moves == [(Handle(kind="position", group=SOUTH).key, {}, "", True)]


def test_no_more_messages_than_answers():
    """Behavior: a fast hand sends one move, and the next when it was answered; the last counts."""
    table = Table()
    with table.opened() as sheet:
        start = grip(sheet, "position", NORTH)
        pull(sheet, start, (50, 0), steps=120)
        sent = sheet.evaluate("window.sent.filter(m => m.kind === 'move').length")
        assert sent == len([m for m in table.moves if not m[3]]) <= 120
        assert table.moves[-1][1]["groups", NORTH, "x"] == pytest.approx(
            50 / scale(sheet, table), abs=0.2 * FOOT + 0.1
        )


# ---- keys


@pytest.mark.parametrize(
    "kind, cut, press, path, by",
    [
        ("position", False, "ArrowRight", "x", 0.25 * FOOT),
        ("position", False, "Shift+ArrowUp", "y", 1.25 * FOOT),
        ("height", True, "ArrowDown", "height", -0.25 * FOOT),
    ],
)
def test_handles_are_moved_by_keys(kind, cut, press, path, by):
    """Behavior: an arrow is one step, with Shift five; letting go of the key ends the move."""
    table = Table()
    before = getattr(table.scenario.groups[0], path)
    with table.opened() as sheet:
        selector = f'.gt-handle[data-kind="{kind}"][data-cut="{int(cut)}"]'
        sheet.locator(f'{selector}[aria-label^="{NORTH},"]').focus()
        sheet.keyboard.press(press)
        sheet.wait_for_function(ENDED)
        assert table.moves[-1][1]["groups", NORTH, path] == pytest.approx(before + by)
        assert table.moves[-1][3] is True


def test_the_keyboard_reaches_every_handle():
    """Behavior: the drawing is one stop of the Tab key; N and P go through all handles and the
    seats, S to the seats; the stop stays where one was; each has a name, its value and its ends,
    and says how it is moved.
    """
    table = Table()
    table.show(picked=SOUTH)
    name = "() => document.activeElement.getAttribute('aria-label')"
    with table.opened() as sheet:
        sheet.keyboard.press("Tab")
        assert sheet.evaluate(name) == "south row, position"
        names = set()
        for _ in range(len(handles(table.scenario)) + 3):
            names.add(sheet.evaluate(name))
            sheet.keyboard.press("n")
        assert sheet.evaluate(name) == "south row, position"
        sheet.keyboard.press("p")
        assert sheet.evaluate(name) == "north row, height"
        sheet.keyboard.press("Tab")
        assert sheet.evaluate("document.activeElement === document.body")
        sheet.keyboard.press("Shift+Tab")
        assert sheet.evaluate(name) == "north row, height"
        assert sheet.locator(".gt-plan [tabindex='0']").count() == 1
        sheet.keyboard.press("s")
        assert sheet.evaluate(name) == "seat"
        wanted = {
            f"{h.group}, {'aim point' if h.kind == 'aim' else h.kind}"
            for h in handles(table.scenario)
        }
        assert wanted | {"seat", "north row, aim point in the section"} <= names
        tree = sheet.locator(".gt-plan").aria_snapshot()
        for label in wanted:
            assert f'slider "{label}"' in tree
        assert "N and P" in sheet.locator(".gt-plan svg").get_attribute("aria-description")


def test_handles_and_seats_tell_their_value_to_those_who_listen():
    """Worked by hand: the north row hangs at 25 ft of 26; five steps of 3 in down are 23 ft 9 in;
    the seat has the map's value there.
    """
    table = Table(quantity="sti")
    values = ("aria-valuenow", "aria-valuemin", "aria-valuemax", "aria-valuetext")
    with table.opened() as sheet:
        height = sheet.get_by_role("slider", name=f"{NORTH}, height")
        now, low, high, text = (height.get_attribute(v) for v in values)
        assert (now, high, text) == ("25", "26", "25 ft 0 in up") and float(low) > 7
        height.focus()
        sheet.keyboard.press("PageDown")
        sheet.wait_for_function(ENDED)
        assert height.get_attribute("aria-valuenow") == "23.75"
        assert height.get_attribute("aria-valuetext") == "23 ft 9 in up"
        sheet.keyboard.press("s")
        sheet.wait_for_function("() => document.querySelector('.gt-seat').ariaValueText")
        seat = [sheet.locator(".gt-seat").get_attribute(v) for v in values]
        first = table.drawing.sheet.room["areas"][0]["start"]
        assert float(seat[0]) == pytest.approx(table.view.values[first], abs=0.006)
        assert [float(v) for v in seat[1:3]] == pytest.approx(table.view.range)
        assert seat[3] == seat_sentence(table.view, first)


# ---- seats


def test_hovering_a_seat_says_one_sentence_and_a_click_pins_it():
    """Behavior: the kernel's sentence in a plate beside it."""
    table = Table(quantity="sti")
    with table.opened() as sheet:
        x, y = grip(sheet, "position", NORTH)
        sheet.mouse.move(x + 30, y + 40)
        sheet.wait_for_function(
            "() => document.querySelector('.gt-plate').innerText.includes('STI')"
        )
        index = sheet.evaluate("window.sent.filter(m => m.kind === 'hover').at(-1).index")
        assert sheet.locator(".gt-plate").inner_text() == seat_sentence(table.view, index)
        sheet.mouse.click(x + 30, y + 40)
        sheet.wait_for_function("() => window.sent.at(-1).kind === 'pin'")
        assert table.seats == [index]
        shot(sheet, "drawing-seat")
        sheet.mouse.move(3, 3)
        sheet.wait_for_function("() => document.querySelector('.gt-plate').hidden")


def test_seats_beside_an_aisle_are_found_where_they_are():
    """Behavior: over the first and last seat of each section the page knows that seat."""
    table = Table("dovecote", quantity="sti")
    table.scenario = parse(AS_USED)
    table.show()
    with table.opened() as sheet:
        pair = table.scenario.in_group("wall pair")
        (ax, ay), (bx, _) = (grip(sheet, "position", "wall pair", member=n) for n in (0, 1))
        k = (bx - ax) / (pair[1].x - pair[0].x)

        def over(x, y):
            """Seat that the page finds at a place of the plan."""
            sheet.mouse.move(3, 3)
            sheet.evaluate("window.sent.length = 0")
            sheet.mouse.move(ax + (x - pair[0].x) * k, ay - (y - pair[0].y) * k)
            sheet.wait_for_function("() => window.sent.some(m => m.kind === 'hover')")
            return sheet.evaluate("window.sent.filter(m => m.kind === 'hover').at(-1).index")

        bank = table.view.result.configuration.areas["bleachers"]
        count = bank.columns // 3
        for seat in (0, count - 1, count, 2 * count - 1, 2 * count, 3 * count - 1):
            index = bank.columns + seat  # in the second row
            assert over(*bank.points[index][:2]) == index
        shot(sheet, "drawing-aisles")


def test_seats_are_walked_through_by_keys():
    """Behavior: an arrow goes to the neighbor that way, Enter pins it."""
    table = Table(quantity="sti")
    with table.opened() as sheet:
        sheet.locator(".gt-seat").focus()
        for key in ("ArrowRight", "ArrowRight", "ArrowDown", "Enter"):
            sheet.keyboard.press(key)
        sheet.wait_for_function("() => window.sent.at(-1).kind === 'pin'")
        points = table.view.result.points
        start = table.drawing.sheet.room["areas"][0]["start"]
        off = points[table.seats[0]] - points[start]
        assert off[0] > 0 and off[1] < 0
        sheet.wait_for_function("() => document.querySelector('.gt-seat').ariaValueText")


def test_the_wheel_scrolls_the_page():
    """Behavior: over the plan as anywhere."""
    table = Table()
    with table.opened() as sheet:
        sheet.evaluate("document.body.style.height = '3000px'")
        sheet.mouse.move(250, 200)
        sheet.mouse.wheel(0, 240)
        sheet.wait_for_function("() => window.scrollY >= 200")


# ---- what lies over what

NEAR_PLATE = """() => { const root = document.querySelector('.gt-plan');
  const plate = root.querySelector('.gt-plate').getBoundingClientRect();
  return [...root.querySelectorAll('.gt-handle')].filter((h) => h.ariaLabel.startsWith('north row'))
    .flatMap((h) => [...h.querySelectorAll('.gt-shape')])
    .filter((e) => getComputedStyle(e).display !== 'none' && e.getAttribute('stroke') !== 'none')
    .map((e) => e.getBoundingClientRect())
    .filter((b) => b.left < plate.right && b.right > plate.left
      && b.top < plate.bottom && b.bottom > plate.top).length; }"""


def test_the_plate_covers_neither_handle_nor_aim_nor_where_they_were():
    """Behavior: while a row is dragged about, held at a wall, and while its handles are hovered."""
    table = Table()
    with table.opened() as sheet:
        for size in (MIDDLE, LOW):
            before = frames(sheet)
            resize(sheet, *size)
            if size != MIDDLE:
                sheet.wait_for_function(DRAWN, arg=before + 1)
            start = grip(sheet, "position", NORTH)
            for kind, cut in (("position", False), ("aim", False), ("height", True), ("aim", True)):
                sheet.mouse.move(*grip(sheet, kind, NORTH, cut=cut))
                sheet.wait_for_function("() => !document.querySelector('.gt-plate').hidden")
                assert sheet.evaluate(NEAR_PLATE) == 0, (size, kind)
            for by in ((20, -10), (-15, 20), (300, 0)):
                pull(sheet, start, by, let_go=False)
                sheet.wait_for_function(HELD)
                assert sheet.evaluate(NEAR_PLATE) == 0, (size, by)
                assert not any(sheet.evaluate(GHOST)), (size, by)
                shot(sheet, f"drawing-plate-{size[0]}")
                sheet.keyboard.press("Escape")
                sheet.wait_for_function(ENDED)
                sheet.mouse.up()


HELD = "() => document.querySelector('.gt-plan').sheet.state.ghost?.dragged"
GHOST = """() => { const { at, state } = document.querySelector('.gt-plan').sheet;
  const root = document.querySelector('.gt-plan').getBoundingClientRect();
  const plate = document.querySelector('.gt-plate').getBoundingClientRect();
  return state.ghost.rows.find((r) => r.name === 'north row').members.map((m) => {
    const x = root.left + at.X(m.at[0]), y = root.top + at.Y(m.at[1]);
    return x + 7 > plate.left && x - 7 < plate.right && y + 7 > plate.top && y - 7 < plate.bottom;
  }); }"""


def test_an_aim_under_its_own_row_and_the_row_can_both_be_taken():
    """Behavior: however steep, what lies on top at the middle of each is its own handle; the aim is
    dragged from where its handle stands.
    """
    table, pair = Table(), "court pair"
    table.scenario = changed(table.scenario, {("groups", pair, "loudspeaker"): "pendant 100"})
    top = "p => document.elementFromPoint(...p).closest('.gt-handle')?.dataset.kind"
    with table.opened() as sheet:
        for size in (LOW, MIDDLE):
            resize(sheet, *size)
            for tilt in (90.0, 86.0, 80.0, 72.0):
                table.scenario = changed(table.scenario, {("groups", pair, "downtilt_deg"): tilt})
                table.show()
                show(sheet, table.drawing)
                for kind in ("position", "aim"):
                    for member in (0, 1):
                        at = grip(sheet, kind, pair, member=member)
                        assert sheet.evaluate(top, list(at)) == kind, (size, tilt)
            pull(sheet, grip(sheet, "aim", pair, member=0), (18, 4))
            assert Handle.of(table.moves[-1][0]).kind == "aim"
            assert table.scenario.groups[2].downtilt_deg < tilt


def test_the_row_that_is_picked_lies_over_the_others():
    """Behavior: its handles are the last of their kind, also when another is picked later; a handle
    that has the focus keeps it.
    """
    table = Table()
    with table.opened() as sheet:
        sheet.locator(f'.gt-handle[aria-label="{NORTH}, position"]').focus()
        for name in (NORTH, SOUTH, "court pair"):
            table.drawing.show(table.view, picked=name)
            show(sheet, table.drawing)
            last = sheet.locator(".gt-handle[data-kind='position']").last
            assert last.get_attribute("aria-label") == f"{name}, position"
            focused = sheet.evaluate("document.activeElement.getAttribute('aria-label')")
            assert focused == f"{NORTH}, position"


# ---- another design over this one


def test_a_kept_design_over_the_plan_is_dashed_named_and_dark_enough():
    """Closed form: along the ghost's outline dark dashes stand beside light gaps, 3:1 or more (WCAG
    2.2, 1.4.11), on the darkest map; its name is said, and what stands elsewhere.
    """
    table = Table()
    away = changed(table.scenario, {("groups", "court pair", "y"): 5.0})
    other = View(result=evaluate(away, "game", rays="few"), units="ft")
    table.drawing.show(table.view, ghost=("B", other))
    with table.opened() as sheet:
        said = [text for text, *_ in sheet.evaluate(BOXES)]
        assert "dashed: kept design B" in said
        assert "C1 in B" in said and not any("N1 in" in text for text in said)
        colors = sheet.evaluate(
            """() => { const { at, ctx, state, canvas } = document.querySelector('.gt-plan').sheet;
            const k = canvas.width / at.width;
            const m = state.ghost.rows.find((r) => r.name === 'court pair').members[0];
            const x = at.X(m.at[0]), y = at.Y(m.at[1]), found = [];
            for (let n = -8; n <= 8; n++) for (const [px, py] of [[x + n, y - 8], [x - 8, y + n]])
              found.push([...ctx.getImageData(Math.round(px * k), Math.round(py * k), 1, 1).data]
                .slice(0, 3));
            return found; }"""
        )
        light = [luminance(color) for color in colors]
        assert (max(light) + 0.05) / (min(light) + 0.05) >= 3
        shot(sheet, "drawing-kept")
        table.drawing.show(table.view, ghost=("B", table.view))
        show(sheet, table.drawing)
        assert sheet.locator("text=kept design B: loudspeakers as here").is_visible()


def test_the_worst_place_is_marked_in_the_section_too():
    """Behavior: with how far it lies off what is cut; not where another area has it."""
    table = Table()
    spans = table.view.result.spans
    worst = [
        replace(table.view, seat=spans[f"{s} bank"].start, worst=True) for s in ("north", "south")
    ]
    table.drawing.show(worst[0])
    with table.opened() as sheet:
        assert sheet.locator("text=ft off the section").is_visible()
        table.drawing.show(worst[1])
        show(sheet, table.drawing)
        assert sheet.locator("text=ft off the section").is_hidden()
        assert sheet.locator("text=worst").first.is_visible()


def test_links_at_the_beginning_lead_to_the_plan_and_to_the_board():
    """Behavior: they are the first stops of the Tab key, seen when they have the focus."""
    table = Table()
    with table.opened() as sheet:
        sheet.evaluate(
            """async (code) => {
            document.body.insertAdjacentHTML("beforeend",
              '<div class="gtb"><table><tr><td tabindex="0">a cell</td></tr></table></div>');
            const url = URL.createObjectURL(new Blob([code], { type: "text/javascript" }));
            const { default: own } = await import(url);
            own().initialize();
            window.away = own().initialize();  // another panel on the same page
            }""",
            PageKeyboard._esm,
        )
        focused = "() => document.activeElement.closest('.gt-plan, .gtb')?.className"
        for stops, words, place in ((1, "plan", "gt-plan"), (2, "uses board", "gtb")):
            sheet.evaluate(
                "() => { document.activeElement.blur(); window.getSelection().empty(); }"
            )
            link = sheet.get_by_role("button", name=f"Skip to the {words}")
            assert link.bounding_box()["y"] < -30
            sheet.locator("nav.gt-skip button").first.focus()
            for _ in range(stops - 1):
                sheet.keyboard.press("Tab")
            assert link.bounding_box()["y"] > 0
            sheet.keyboard.press("Enter")
            assert sheet.evaluate(focused) == place
        sheet.evaluate("window.away()")
        assert sheet.locator("nav.gt-skip").count() == 0


# ---- what is seen

BOXES = """() => [...document.querySelectorAll('.gt-plan svg text')]
  .filter((t) => t.getClientRects().length && t.textContent)
  .map((t) => { const b = t.getBoundingClientRect();
    return [t.textContent, b.left, b.top, b.right, b.bottom]; })"""


def overlaps(boxes):
    """Pairs of texts that share more than a pixel."""
    for n, (a, *one) in enumerate(boxes):
        for b, *other in boxes[:n]:
            wide = min(one[2], other[2]) - max(one[0], other[0])
            high = min(one[3], other[3]) - max(one[1], other[1])
            if wide > 1 and high > 3:  # a line of words is taller than its letters
                yield a, b


LOOKS = [
    ("larkfield", "game", "direct 2k", None),
    ("larkfield", "graduation", "sti", "graduation chairs"),
    ("larkfield", "performance", "speech", "show chairs"),
    ("larkfield", "class", "feedback_margin", None),
    ("dovecote", None, "arrival_spread", None),
    ("stonebridge", None, "sti", None),
    ("alderway", None, "direct 2k", None),
]


@pytest.mark.parametrize("name, use, quantity, area", LOOKS)
def test_no_words_overlap_at_any_size(name, use, quantity, area):
    """Behavior: boxes of all words in the page, from 420 to 1400 pixels wide; none leaves the box
    and none is smaller than 12 pixels.
    """
    use = use or SCENARIOS[name].uses[0].name
    table = Table(name, use, quantity, area=area, seat=3, worst=True)
    table.show(picked=table.scenario.groups[0].name, note="settling, ±0.6 dB")
    with table.opened(SIZES[0]) as sheet:
        for width, height in SIZES:
            before = frames(sheet)
            resize(sheet, width, height)
            if (width, height) != SIZES[0]:
                sheet.wait_for_function(DRAWN, arg=before + 1)
            boxes = sheet.evaluate(BOXES)
            assert list(overlaps(boxes)) == [], f"at {width} x {height}"
            assert len(boxes) > 8
            for text, left, top, right, bottom in boxes:
                assert left > -1 and top > -1, text
                assert right < width + 1 and bottom < height + 2, text
            if (width, height) in KEPT:
                shot(sheet, f"drawing-{name}-{quantity}-{width}x{height}".replace(" ", "-"))
        sizes = sheet.evaluate(
            "() => [...document.querySelectorAll('.gt-plan svg text')]"
            ".map(t => parseFloat(getComputedStyle(t).fontSize))"
        )
        assert min(sizes) >= 12


def test_all_of_the_drawing_stands_in_a_low_box():
    """Behavior: on a projector plan, section and profile are whole beside each other, with the
    scale, its target, north and the names of the rows.
    """
    table = Table()
    with table.opened(LOW) as sheet:
        for use, quantity in (("game", "direct 2k"), ("graduation", "sti")):
            table.use, table.looks = use, dict(quantity=quantity)
            table.show(picked=NORTH, note="settling, ±0.6 dB")
            show(sheet, table.drawing)
            places = sheet.evaluate(PLACES)
            for x, y, w, h in places.values():
                assert x > 0 and x + w < LOW[0] and y > 0 and y + h < LOW[1]
            assert places["plan"][2] > 170 and places["cut"][2] > 150
            assert places["graph"][3] > 60
            said = [text for text, *_ in sheet.evaluate(BOXES)]
            assert {"N", "misses", "close", "20 ft", "N1", "N2", "N3", "25 ft 0 in up"} <= set(said)
            for words in ("target ", "Section, ", "along the rows", "row 1", "settling"):
                assert any(words in text for text in said), words


PLACES = """() => { const { plan, cut, graph } = document.querySelector('.gt-plan').sheet.at;
  return { plan: [plan.x, plan.y, plan.w, plan.h], cut: [cut.x, cut.y - cut.h, cut.w, cut.h],
    graph: [graph.x, graph.y, graph.w, graph.h] }; }"""


def resize(sheet, width, height):
    sheet.set_viewport_size(dict(width=max(width, 600), height=max(height, 400)))
    sheet.evaluate(
        "([w, h]) => Object.assign(document.getElementById('box').style,"
        " { width: w + 'px', height: h + 'px' })",
        [width, height],
    )


UNDER = """() => {
  const root = document.querySelector('.gt-plan'), canvas = root.querySelector('canvas');
  const pen = canvas.getContext('2d'), origin = root.getBoundingClientRect();
  const ratio = canvas.width / root.clientWidth;
  const shown = [...root.querySelectorAll('svg text')].filter((t) => t.getClientRects().length);
  return shown.map((t) => {
    const b = t.getBoundingClientRect(), plate = t.parentNode.querySelector('rect');
    const image = pen.getImageData(Math.max(0, (b.left - origin.left) * ratio),
      Math.max(0, (b.top - origin.top) * ratio), b.width * ratio, b.height * ratio).data;
    let dark = 255 * 3, color = [255, 255, 255];
    for (let n = 0; n < image.length; n += 4) {
      const sum = image[n] + image[n + 1] + image[n + 2];
      if (sum < dark) { dark = sum; color = [image[n], image[n + 1], image[n + 2]]; }
    }
    const fill = getComputedStyle(t).fill.match(/\\d+/g).map(Number);
    return [t.textContent, color, plate ? 0.86 : 0, fill];
  });
}"""


def luminance(color):
    """Relative luminance of a color of the web."""
    v = np.asarray(color) / 255
    v = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return float(v @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("quantity", ["direct 2k", "sti", "distance", "feedback_margin"])
def test_words_stand_out_from_whatever_lies_under_them(quantity):
    """Closed form: contrast 4.5:1 (WCAG 2.2, 1.4.3) against the darkest pixel under the words, for
    words are dark; a line that crosses plain paper is no ground to read on.
    """
    table = Table(use="class" if quantity == "feedback_margin" else "game", quantity=quantity)
    with table.opened() as sheet:
        checked = 0
        for text, color, plate, fill in sheet.evaluate(UNDER):
            if not plate:
                continue
            ground = plate * 255 + (1 - plate) * np.array(color)
            assert (luminance(ground) + 0.05) / (luminance(fill) + 0.05) >= 4.5, text
            checked += 1
        assert checked > 5


def test_the_map_is_colored_by_its_values():
    """Closed form: pixels at the seats have the colors of the scale at their values."""
    table = Table(quantity="distance")
    with table.opened((1400, 900)) as sheet:
        x, y = grip(sheet, "position", "court pair", member=0)
        first = table.scenario.in_group("court pair")[0]
        k = scale(sheet, table)
        points = table.view.result.points[:980:7]
        places = [[x + (p[0] - first.x) * k, y - (p[1] - first.y) * k] for p in points]
        seen = np.array(
            sheet.evaluate(
                """places => { const canvas = document.querySelector('.gt-plan canvas');
                const pen = canvas.getContext('2d');
                const at = ([x, y]) => [...pen.getImageData(x, y, 1, 1).data].slice(0, 3);
                return places.map(at); }""",
                places,
            )
        )
        colors = np.frombuffer(picture.palette("cividis_r"), np.uint8).reshape(-1, 3)
        low, high = table.view.range
        share = (table.view.values[:980:7] - low) / (high - low)
        wanted = colors[np.clip(np.round(share * 255), 0, 255).astype(int)]
        off = np.abs(seen.astype(int) - wanted).max(axis=1)
        assert np.median(off) <= 8  # rows, contours and axes cross some of them
        assert (off <= 12).mean() > 0.7


def test_hatching_is_drawn_where_the_map_misses():
    """Behavior: many more light and dark pixels side by side than on a map that meets."""
    table = Table(quantity="sti")
    with table.opened() as sheet:
        rough = """() => { const c = document.querySelector('.gt-plan canvas');
          const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
          let sum = 0; for (let n = 4; n < d.length; n += 4) sum += Math.abs(d[n] - d[n - 4]) > 40;
          return sum; }"""
        hatched = sheet.evaluate(rough)
        bare = changed(table.scenario, {("targets", "sti"): 0.2})
        table.scenario = bare
        table.show()
        show(sheet, table.drawing)
        assert hatched > 1.5 * sheet.evaluate(rough)


def test_a_note_is_said_in_the_narrowest_drawing():
    """Behavior: the state of the picture finds a place beside the longest title."""
    table = Table(quantity="distance")
    table.show(note="settling, ±0.6 dB")
    with table.opened(SIZES[0]) as sheet:
        assert sheet.locator("text=settling, ±0.6 dB").is_visible()
        assert list(overlaps(sheet.evaluate(BOXES))) == []


def test_names_are_words_and_nothing_else():
    """Behavior: a row that is called like a piece of a page is drawn, named and dragged."""
    name = '<img src="x" onerror="throw 1"> & 0 "row'
    table = Table()
    north = replace(table.scenario.groups[0], name=name)
    uses = tuple(replace(u, groups={}) for u in table.scenario.uses)
    groups = (north, *table.scenario.groups[1:])
    table.scenario = replace(table.scenario, groups=groups, uses=uses, text=None)
    table.show()
    with table.opened() as sheet:
        assert sheet.locator(".gt-plan img").count() == 0
        handle = sheet.get_by_role("slider", name=f"{name}, position", exact=True)
        handle.focus()
        assert name in sheet.locator(".gt-plate").inner_text()
        sheet.keyboard.press("ArrowRight")
        sheet.wait_for_function(ENDED)
        assert table.moves[-1][1]["groups", name, "x"] == pytest.approx(0.25 * FOOT)


def test_a_page_that_is_opened_later_sees_the_present_state():
    """Behavior: after a drag the page is left and opened again."""
    table = Table()
    with table.opened() as sheet:
        start = grip(sheet, "position", NORTH)
        pull(sheet, start, (30, 0))
        stood = at_rest(sheet, NORTH)
        assert stood[0] > start[0] + 20
    with table.opened() as sheet:
        assert at_rest(sheet, NORTH) == pytest.approx(stood, abs=0.5)


def test_views_that_are_left_hold_nothing():
    """Behavior: closing a view takes its listeners off the model."""
    table = Table()
    with table.opened() as sheet:
        sheet.evaluate("window.leave()")
        before = frames(sheet)
        sheet.evaluate("news => window.hear(news)", dict(state={}, messages=[]))
        assert frames(sheet) == before


# ---- in JupyterLab

BOOK = """
from gymtools import load
import ipywidgets as w
from gymtools.acoustics.evaluate import evaluate
from gymtools.display.drawing import Drawing
from gymtools.display.scene import View
from gymtools.venue.paths import changed
school, log = load('scenarios/larkfield.toml'), w.HTML('nothing yet')
log.add_class('gt-log')
def shown(s):
    drawing.show(View(result=evaluate(s, 'game', rays='few'), units='ft'))
def moved(key, changes, reason, done):
    global school
    school = changed(school, changes)
    shown(school)
    log.value = f'{key}; x {school.groups[0].x:.4f}; {"done" if done else "held"}'
drawing = Drawing(on_move=moved, on_seat=lambda index: setattr(log, 'value', f'seat {index}'))
shown(school)
space = w.HTML('<div style="height:1500px"></div>')
w.VBox([drawing, log, space])
"""


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server with a small notebook that shows a drawing."""
    folder = tmp_path_factory.mktemp("lab")
    for name in ("scenarios", ".jupyter"):
        shutil.copytree(ROOT / name, folder / name)
    new = nbformat.v4
    book = new.new_notebook(cells=[new.new_code_cell(BOOK), new.new_code_cell("print('all run')")])
    book.metadata.kernelspec = dict(name="python3", display_name="Python 3", language="python")
    nbformat.write(book, folder / "drawing.ipynb")
    with jupyter_lab(folder) as address:
        yield address


def test_a_drag_in_jupyterlab(lab):
    """Behavior: through the real kernel and back; a page that is opened anew sees it; the wheel
    scrolls the notebook, and nothing is said in the console.
    """
    with page(1200, 900) as sheet:
        run_all(sheet, lab)
        start = grip(sheet, "position", NORTH)
        sheet.mouse.move(*start)
        sheet.mouse.down()
        sheet.mouse.move(start[0] + 40, start[1], steps=8)
        sheet.wait_for_selector("text=N1 was here")
        sheet.mouse.up()
        sheet.wait_for_selector(".gt-log >> text=done")
        east = float(re.search(r"x ([\d.]+)", sheet.locator(".gt-log").inner_text())[1])
        assert east > 1
        box = sheet.locator(".gt-plan").bounding_box()
        top = box["y"]
        sheet.mouse.move(box["x"] + 200, box["y"] + 250)
        sheet.mouse.wheel(0, 150)
        sheet.wait_for_function(
            "top => document.querySelector('.gt-plan').getBoundingClientRect().y < top - 50",
            arg=top,
        )
        sheet.locator(f'.gt-handle[data-kind="position"][aria-label^="{NORTH},"]').focus()
        sheet.keyboard.press("ArrowLeft")
        sheet.wait_for_function(
            "x => parseFloat(document.querySelector('.gt-log').innerText.split('; x ')[1]) < x",
            arg=east - 0.05,
        )
        shot(sheet, "drawing-in-lab")
        stood = sheet.locator(f'.gt-handle[aria-label="{NORTH}, position"]')
        words = stood.get_attribute("aria-valuetext")
        sheet.keyboard.press("Control+s")
        sheet.wait_for_selector(".jp-mod-dirty", state="hidden")
        sheet.reload()
        sheet.wait_for_function(DRAWN, arg=1, timeout=120_000)
        assert stood.get_attribute("aria-valuetext") == words
        assert sheet.errors == []
        assert sheet.left == []


def run_all(sheet, address):
    """Open the notebook and run it; returns when the drawing stands."""
    sheet.goto(f"{address}/doc/tree/drawing.ipynb")
    sheet.wait_for_selector(".jp-Notebook .jp-Cell", timeout=120_000)
    sheet.wait_for_function(
        "() => !document.querySelector('.jp-SplashScreen-splash, #jupyterlab-splash')",
        timeout=120_000,
    )
    # a kernel that is restarted while it starts may never answer
    sheet.wait_for_selector("text=/[|] Idle/", state="attached", timeout=120_000)
    sheet.click("jp-button[data-command='notebook:restart-run-all']")
    sheet.click(".jp-Dialog .jp-mod-accept", timeout=60_000)
    sheet.wait_for_selector("text=all run", state="attached", timeout=120_000)
    sheet.wait_for_function(DRAWN, arg=1, timeout=120_000)
