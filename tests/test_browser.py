"""The design workbook in a real JupyterLab and a real browser: a designer opens it and moves
things.
"""

import re

import panel_page
import pytest
from browser import browser_path, open_workbook, page, trace
from panel_page import (
    BOOK,
    away_from_the_end,
    card,
    drag,
    label,
    pick,
    press,
    ringing,
    shot,
    slider,
    tab,
    to_top,
    traced,
    until_other,
)

from gymtools.design.options import HEADLINES
from gymtools.display.theme import QUANTITIES

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
STI = QUANTITIES["sti"].label


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server on a copy of the notebooks; all five uses stand in
    ``test_first_screen``.
    """
    uses = ("game", "class", "performance")
    with panel_page.lab(tmp_path_factory.mktemp("lab"), uses) as address:
        yield address


@pytest.fixture(scope="module")
def sheet(lab):
    """One page for the tests, each going on from what the one before left."""
    with page() as opened:
        open_workbook(opened, lab, BOOK)
        yield opened
        assert opened.errors == [], "errors in the page's console"
        assert opened.left == [], "requests that left this machine"


def test_dragging_the_tilt_slider_moves_map_section_and_scorecard(sheet):
    """Behavior: the 3D map, the section's axis and the words all follow a dragged slider; Undo
    takes the whole drag back. The picture is kept as a screenshot.
    """
    traced(sheet)
    shot(sheet, "design_meeting")
    before = [trace(sheet, "map", "intensity"), trace(sheet, "beams", "z")]
    words = card(sheet)
    drag(sheet, "Downtilt", 12, by=3)
    sheet.mouse.up()
    axis = until_other(sheet, "beams", "z", before[1])
    assert until_other(sheet, "map", "intensity", before[0])
    sheet.wait_for_function(
        "words => document.querySelector('.gt-card').innerText !== words",
        arg=words,
        timeout=90_000,
    )
    assert axis[0] == before[1][0], "the loudspeaker itself stays where it hangs"
    shot(sheet, "design_meeting_tilted")
    traced(sheet)
    tilted = trace(sheet, "beams", "z")
    now, presses = tilted, 0
    while now != before[1]:  # one step, more where a busy machine saw the drag in pieces
        press(sheet, "Undo")
        now, presses = until_other(sheet, "beams", "z", now), presses + 1
        assert presses <= 12
    for _ in range(presses):
        press(sheet, "Redo")
        now = until_other(sheet, "beams", "z", now)
    assert now == tilted


def test_the_room_is_traced_when_nothing_moves(sheet):
    """Behavior: the map says what it comes from: all rays, few rays while the slider is held, all
    rays again.
    """
    pick(sheet, "Show", STI)
    traced(sheet)
    assert "all rays" in label(sheet)
    shot(sheet, "room_traced")
    before = trace(sheet, "map", "intensity")
    drag(sheet, "Downtilt", 8)
    sheet.wait_for_function(
        "() => document.querySelector('.js-plotly-plot').layout.annotations[0].text.includes('few"
        " rays')",
        timeout=90_000,
    )
    few = trace(sheet, "map", "intensity")
    sheet.mouse.up()
    traced(sheet)
    after = trace(sheet, "map", "intensity")
    assert "all rays" in label(sheet)
    assert before != few and few != after and after != before
    assert not sheet.locator("text=textbook formula").locator("visible=true").count()
    tab(sheet, "The room")
    sheet.wait_for_selector("text=The textbook formula takes sound to be alike", timeout=90_000)
    tab(sheet, "Verdicts")


def test_a_better_aim_is_found_and_put_back(sheet):
    """Behavior: the last section looks for a better aim: it can be stopped, the sliders follow, and
    it can be put back.
    """
    sheet.click("text=A better aim")
    before = trace(sheet, "beams", "z")
    press(sheet, "Find a better aim")
    sheet.wait_for_selector("text=Looking for a better aim", timeout=90_000)
    until_other(sheet, "beams", "z", before)  # the best so far is drawn
    shot(sheet, "aiming")
    press(sheet, "Stop")
    sheet.wait_for_selector("text=Stopped; the best so far", timeout=60_000)
    shot(sheet, "aimed")
    found = until_other(sheet, "beams", "z", before)
    press(sheet, "Put it back")
    sheet.wait_for_selector("text=Tried:", state="detached", timeout=90_000)
    back = until_other(sheet, "beams", "z", found)
    assert back == pytest.approx(before, abs=1e-3, nan_ok=True)
    sheet.click("text=The loudspeakers")


def test_code_is_folded_and_text_stays(sheet):
    """Regression: the meeting sees no code; the notebook's tools stay. One button shows the code
    and the text around the panel, and folds it again.
    """
    visible = (
        "[...document.querySelectorAll('.jp-CodeCell > .jp-Cell-inputWrapper')].filter(e =>"
        " e.offsetHeight > 0).length"
    )
    assert sheet.evaluate(visible) == 0
    assert sheet.locator(".jp-NotebookPanel-toolbar:visible").count() == 1
    beside = "() => getComputedStyle(document.querySelector('.gt-page')).position"
    for shown, covers in (("> 0", False), ("=== 0", True)):
        press(sheet, "Notebook")
        sheet.wait_for_function(f"() => {visible} {shown}", timeout=90_000)
        assert (sheet.evaluate(beside) == "fixed") == covers


def test_keyboard_and_typed_entry(sheet):
    """Behavior: a slider answers to arrow keys, and a number can be typed beside it."""
    handle = slider(sheet, "Downtilt")
    handle.focus()
    start = float(handle.get_attribute("aria-valuenow"))
    key, step = away_from_the_end(start)
    sheet.keyboard.press(key)
    sheet.wait_for_timeout(600)
    assert float(handle.get_attribute("aria-valuenow")) == start + step
    readout = sheet.locator(".gt-slider", has_text="Downtilt").locator("input[type=text]").first
    readout.click()
    sheet.keyboard.press("Control+A")
    sheet.keyboard.type("55")
    sheet.keyboard.press("Enter")
    sheet.wait_for_function(
        "handle => Number(handle.getAttribute('aria-valuenow')) === 55",
        arg=handle.element_handle(),
        timeout=90_000,
    )


def test_a_seat_of_the_plan_is_opened(sheet):
    """Behavior: a seat that is picked in the plan, here by keys, is marked there; its arrivals,
    octaves, limits and comb filter are opened.
    """
    sheet.locator(".gt-seat").focus()
    for key in ("ArrowRight", "ArrowRight", "Enter"):
        sheet.keyboard.press(key)
    sheet.wait_for_selector("text=What limits it most", timeout=90_000)
    sheet.wait_for_function(
        "() => document.querySelectorAll('.js-plotly-plot').length === 2", timeout=90_000
    )
    assert sheet.locator(".gt-drawing-frame text", has_text="picked seat").count() == 1
    assert "court, " in sheet.locator("text=What limits it most").first.inner_text()
    sheet.wait_for_timeout(2500)
    shot(sheet, "one_seat")


def test_what_cannot_be_is_said_and_the_picture_stays(sheet):
    """Behavior: a row of loudspeakers pushed through the wall: one line of words, the last good
    picture still there.
    """
    traced(sheet)
    before = trace(sheet, "map", "intensity")
    handle = slider(sheet, "East of center")
    handle.focus()
    sheet.keyboard.press("End")
    sheet.wait_for_selector("text=hangs outside the gym", timeout=90_000)
    shot(sheet, "design_meeting_refused")
    assert trace(sheet, "map", "intensity") == before
    sheet.click("button:has-text('Go back')")
    sheet.wait_for_selector("text=hangs outside the gym", state="hidden", timeout=90_000)


def compared(sheet):
    """Rows of the table of kept designs, by headline."""
    found = sheet.locator("table:visible", has_text="not bettered by any other").first
    lines = found.inner_text().splitlines()
    return {h: next(line for line in lines if line.startswith(h.words)) for h in HEADLINES}


def signs_are_right(headline, row):
    """Whether a row says better and worse as its two figures do."""
    shown = row.split("]")[-1] if "]" in row else row[len(headline.words) :]
    a, b = (float(x.replace(",", "")) for x in re.findall(r"(-?[\d,]+\.?\d*)(?:\s|$)", shown)[:2])
    gain = (b - a) * headline.better
    return ("▲ better" in row, "▼ worse" in row) == (gain > 0, gain < 0)


def test_designs_are_kept_side_by_side(sheet):
    """Behavior: keep, tilt, keep again: two lines of figures and two maps on one scale; the first
    is shown again.
    """
    tab(sheet, "Compare")
    sheet.locator("button:has-text('Keep this design') >> visible=true").last.click()
    sheet.wait_for_selector("text=Kept as A", timeout=90_000)
    handle = slider(sheet, "Downtilt")
    handle.focus()
    start = float(handle.get_attribute("aria-valuenow"))
    for _ in range(3):
        sheet.keyboard.press("PageDown" if start > 60 else "PageUp")
    sheet.wait_for_timeout(1500)
    sheet.locator("button:has-text('Keep this design') >> visible=true").last.click()
    sheet.wait_for_selector("text=Kept as B", timeout=90_000)
    sheet.wait_for_function(
        "() => [...document.querySelectorAll('.js-plotly-plot')].some(g => g._fullLayout &&"
        " g.data.filter(t => t.type === 'heatmap').length >= 6)",
        timeout=90_000,
    )
    for _ in range(60):  # the table is made again when all rays have been followed
        rows = compared(sheet)
        if all(map(signs_are_right, *zip(*rows.items(), strict=True))):
            break
        sheet.wait_for_timeout(500)
    assert all(map(signs_are_right, *zip(*rows.items(), strict=True))), rows
    assert any("▲" in row or "▼" in row for row in rows.values())
    to_top(sheet.locator(".gt-options-words"))
    sheet.wait_for_timeout(800)
    shot(sheet, "options")
    pick(sheet, "Kept", "A")
    sheet.click("button:has-text('Go on from it')")
    value = "e => Number(e.getAttribute('aria-valuenow'))"
    for _ in range(60):  # the controls are made anew
        if slider(sheet, "Downtilt").evaluate(value) == start:
            break
        sheet.wait_for_timeout(500)
    assert slider(sheet, "Downtilt").evaluate(value) == start


def test_advice_is_asked_for_and_tried(sheet):
    """Behavior: the tab tells what would help with gain and cost; a move is tried, the picture
    follows, and it is put back.
    """
    tab(sheet, "What would help")
    sheet.click("button:has-text('What would help?')")
    sheet.wait_for_selector("button:has-text('Try it')", timeout=90_000)
    to_top(sheet.locator("button:has-text('Try it')").first)
    shot(sheet, "advice")
    traced(sheet)
    before = trace(sheet, "map", "intensity")
    sheet.locator("button:has-text('Try it')").first.click()
    sheet.wait_for_selector("text=Tried:", timeout=90_000)
    tried = until_other(sheet, "map", "intensity", before)
    sheet.locator("button:has-text('Put it back')").locator("visible=true").click()
    until_other(sheet, "map", "intensity", tried)
    traced(sheet)  # the level is set with few rays first
    assert trace(sheet, "map", "intensity") == before
    sheet.wait_for_selector("text=Tried:", state="hidden", timeout=90_000)


def test_how_sure_is_drawn(sheet):
    """Behavior: the tab draws, with a bar, and shows a range a criterion."""
    tab(sheet, "How sure")
    sheet.click("button:has-text('Draw 200 times')")
    sheet.wait_for_selector("text=least likely to meet its target", timeout=90_000)
    to_top(sheet.locator("text=least likely to meet its target"))
    shot(sheet, "how_sure")
    assert sheet.locator("svg[aria-label='range against target']:visible").count() > 10


def test_parts_and_the_loudspeaker_are_shown(sheet):
    """Behavior: the schedules stand in their tab and follow a choice; the loudspeaker is drawn
    with polars and balloon.
    """
    tab(sheet, "Cost, parts and schedules")
    sheet.wait_for_selector("caption:has-text('Bill')", timeout=90_000)
    ends = """() => [...document.querySelectorAll('.gt-card .wide')].filter(e => e.offsetParent)
        .map(e => e.getBoundingClientRect().right)"""
    assert max(sheet.evaluate(ends)) <= sheet.viewport_size["width"], "a table scrolls, none is cut"
    pick(sheet, "Run by", "nobody (it runs by itself)")
    sheet.wait_for_selector("text=Mixer: automatic", timeout=90_000)
    to_top(sheet.get_by_text("Loudspeakers", exact=True))
    shot(sheet, "parts")
    tab(sheet, "The loudspeaker")
    sheet.wait_for_function(
        "() => { const g = [...document.querySelectorAll('.js-plotly-plot')].pop(); return"
        " g._fullLayout && g._fullLayout.polar && g._fullLayout.scene; }",
        timeout=90_000,
    )
    sheet.wait_for_function(
        "() =>"
        " [...document.querySelectorAll('.js-plotly-plot')].pop().getBoundingClientRect().width >"
        " 1200",
        timeout=90_000,
    )
    sheet.wait_for_timeout(500)
    to_top(sheet.locator("text=generic: made from nominal angles").first)
    shot(sheet, "loudspeaker")


def test_the_walking_map_is_found_and_follows(sheet):
    """Behavior: a person new to it opens 'The microphones', shows the walking map, and it
    follows the use and the loudspeakers.
    """
    sheet.click("text=The microphones")
    sheet.click("text=Show the walking map")
    sheet.wait_for_timeout(900)
    floor = trace(sheet, "map", "intensity")
    pick(sheet, "Use", "performance")
    stage = trace(sheet, "map", "intensity")
    assert len(stage) > len(floor), "with the curtain open the stage is walked too"
    shot(sheet, "walking_map")
    pick(sheet, "Use", "class")
    hand_held = trace(sheet, "map", "intensity")
    pick(sheet, "Microphone", "lavalier")
    assert max(trace(sheet, "map", "intensity")) < max(hand_held)
    sheet.click("text=The use: people, noise, level")
    sheet.wait_for_timeout(900)
    slider(sheet, "Speech level, target").focus()
    for _ in range(20):  # at the level of the design it rings wherever its wearer goes
        if len(outline := ringing(sheet)) > 10:
            break
        sheet.keyboard.press("ArrowLeft")
        sheet.wait_for_timeout(500)
    assert len(outline) > 10, "the outline of where it rings is drawn"
    shot(sheet, "walking_map_lavalier")


def test_an_arrangement_hangs_other_loudspeakers(sheet):
    """Behavior: an arrangement replaces the loudspeakers in 3D, plan and section, and says what it
    gives up.
    """
    if not sheet.locator('.widget-label:text-is("Start from")').first.is_visible():
        sheet.click("text=The loudspeakers")
        sheet.wait_for_timeout(900)
    handles = (
        "[...document.querySelectorAll('.gt-handle[data-kind=position]')].map(e =>"
        " e.getAttribute('aria-label')).join()"
    )
    before = sheet.evaluate(handles)
    pick(sheet, "Start from", "Pendants over all who listen")
    sheet.wait_for_function(f"before => {handles} !== before", arg=before, timeout=90_000)
    sheet.wait_for_selector("text=It gives up:", timeout=90_000)
    shot(sheet, "arrangement_pendants")
