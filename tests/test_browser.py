"""The design workbook in a real JupyterLab and a real browser: a designer opens it and moves
things.
"""

import re
import shutil

import nbformat
import pytest
from browser import (
    ROOT,
    SETTLED,
    SHOTS,
    browser_path,
    drawn,
    jupyter_lab,
    open_workbook,
    page,
    trace,
)

from gymtools.design.options import HEADLINES
from gymtools.display.theme import QUANTITIES

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
BOOK, SMALL = "workbooks/design_meeting.ipynb", "small.ipynb"
FRESH = "fresh.ipynb"  # the small one again: its kernel has served no page
STI = QUANTITIES["sti"].label


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server on a copy of the notebooks, for JupyterLab saves what it shows; with
    them a small one, of the panel on the smallest school.
    """
    folder = tmp_path_factory.mktemp("lab")
    for name in ("workbooks", "scenarios", ".jupyter"):
        away = shutil.ignore_patterns(".ipynb_checkpoints")
        shutil.copytree(ROOT / name, folder / name, ignore=away)
    panel = (
        "from gymtools import load\nfrom gymtools.display.panel.meeting import meeting\n"
        "from gymtools.venue.paths import changed\n"
        "off_the_grid = {('groups', 'wall pair', 'downtilt_deg'): 40.3}\n"
        "meeting(changed(load('scenarios/dovecote.toml'), off_the_grid)).box"
    )
    new = nbformat.v4
    cells = [new.new_markdown_cell("# Brief"), *map(new.new_code_cell, (panel, "print('all run')"))]
    book = new.new_notebook(cells=cells)
    book.metadata.kernelspec = dict(name="python3", display_name="Python 3", language="python")
    for name in (SMALL, FRESH):
        nbformat.write(book, folder / name)
    with jupyter_lab(folder) as address:
        yield address


@pytest.fixture(scope="module")
def sheet(lab):
    """One page for the tests, each going on from what the one before left."""
    with page() as opened:
        open_workbook(opened, lab, BOOK)
        yield opened
        assert opened.errors == [], "errors in the page's console"
        assert opened.left == [], "requests that left this machine"


def shot(sheet, name):
    """Keep a screenshot, for people and for CI."""
    SHOTS.mkdir(exist_ok=True)
    sheet.screenshot(path=SHOTS / f"{name}.png")


def slider(sheet, label):
    """Handle of a slider by its words."""
    return sheet.locator(".gt-slider:visible", has_text=label).locator(".noUi-handle").first


def away_from_the_end(downtilt_deg):
    """The key that turns a loudspeaker where there is room to turn, and the step it makes [deg]."""
    return ("ArrowLeft", -1) if downtilt_deg > 60 else ("ArrowRight", 1)


def card(sheet):
    """Words of the open tab under the picture."""
    return sheet.locator(".gt-card").first.inner_text()


def traced(sheet):
    """Wait until all rays have been followed, in every use, and it stays so."""
    calm = 0
    for _ in range(240):
        settled = sheet.locator(SETTLED).count() and "few rays" not in label(sheet)
        calm = calm + 1 if settled else 0
        if calm == 6:
            return
        sheet.wait_for_timeout(250)
    raise AssertionError("it did not settle")


def label(sheet):
    """Title of the map in space."""
    return sheet.evaluate(
        "() => document.querySelector('.js-plotly-plot').layout.annotations[0].text"
    )


def tab(sheet, name):
    """Open a tab under the picture."""
    sheet.click(f".lm-TabBar-tab:has-text('{name}')")
    sheet.wait_for_timeout(500)


def to_top(place):
    """Scroll so that a place stands at the top."""
    place.evaluate("e => e.scrollIntoView({block: 'start'})")


def pick(sheet, label, option):
    """Choose an entry of a list by its label."""
    sheet.locator(
        f'.widget-dropdown:visible:has(.widget-label:text-is("{label}")) select'
    ).first.select_option(label=option)
    sheet.wait_for_timeout(1000)


def until_other(sheet, name, key, before):
    """Wait until an attribute of a trace is another; returns it."""
    sheet.wait_for_function(
        """([name, key, before]) => { const g = document.querySelector('.js-plotly-plot');
        const t = g.data.find(t => t.name === name && t.visible !== false);
        const now = Array.from(t[key], v => Array.isArray(v) ? v.join() : v);
        return now.join() !== before.join(); }""",
        arg=[name, key, before],
        timeout=20_000,
    )
    return trace(sheet, name, key)


def ringing(sheet):
    """Outline, in space, of where a microphone rings: the x of its corners."""
    return [v for v in trace(sheet, "ringing", "x") if v is not None and v == v]


def drag(sheet, label, steps, by=4):
    """Take the handle of a slider and pull it to the right; it stays held."""
    box = slider(sheet, label).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    sheet.mouse.move(x, y)
    sheet.mouse.down()
    for step in range(1, steps + 1):
        sheet.mouse.move(x + by * step, y)


def press(sheet, words):
    """Press a button by its words."""
    sheet.locator(f"button:visible:text-is('{words}')").first.click()


# --- pages of their own, before the long one: it leaves no room for another


def style(sheet):
    """Colors and symbols as the page draws them."""
    return sheet.evaluate("""() => document.querySelector('.js-plotly-plot')._fullData.map(t =>
        [t.name, t.line && t.line.color && String(t.line.color), t.line && t.line.width,
         t.marker && String(t.marker.symbol)])""")


def test_a_page_reloaded_shows_the_same_picture(lab):
    """Behavior: after changes, a saved notebook and a reload the picture comes back with its values
    and its styles, and follows the controls.
    """
    with page() as sheet:
        open_workbook(sheet, lab, SMALL, last="all run")
        sheet.keyboard.press("Control+s")
        pick(sheet, "Use", "class")
        traced(sheet)
        before = [trace(sheet, "map", "intensity"), style(sheet)]
        sheet.reload()
        sheet.wait_for_selector(".js-plotly-plot canvas", timeout=90_000)
        drawn(sheet)
        assert [trace(sheet, "map", "intensity"), style(sheet)] == before
        shot(sheet, "design_meeting_reloaded")
        pick(sheet, "Use", "game")
        until_other(sheet, "map", "intensity", before[0])
        assert sheet.errors == [] and sheet.left == []


def test_opening_changes_nothing(lab):
    """Regression: a page shows a value on the grid of its slider and sends that back; it used to
    become the scenario's. Opened, with every section unfolded, there is nothing to undo.
    """
    with page() as sheet:
        open_workbook(sheet, lab, FRESH, last="all run")
        traced(sheet)
        undo = sheet.locator("button:visible:text-is('Undo')").first
        assert undo.is_disabled()
        for section in ("The gym", "The seats", "The use", "The microphones", "The loudspeakers"):
            sheet.locator(".jupyter-widget-Collapse-header", has_text=section).click()
            sheet.wait_for_timeout(600)
            assert sheet.locator(".gt-slider:visible").count(), section
            assert undo.is_disabled(), section
        handle = slider(sheet, "Downtilt")
        handle.focus()
        sheet.keyboard.press("ArrowRight")
        sheet.wait_for_selector("button:enabled:text-is('Undo')", timeout=10_000)
        assert sheet.errors == [] and sheet.left == []


FAIL = """(() => {  // the first model of the page is given up before it has begun
    const real = AbortSignal.timeout.bind(AbortSignal);
    globalThis.models = 0;
    AbortSignal.timeout = (ms) => {
        if (ms !== 2000 || globalThis.models++ > 0) return real(ms);
        const control = new AbortController();
        queueMicrotask(() => control.abort());
        return control.signal;
    };
})()"""


def test_a_figure_that_a_busy_page_gave_up_is_drawn(lab):
    """Regression: when the page gives the figure's model up ("Failed to initialize model", a limit
    of 2 s), the picture used to stay empty or deaf for good; now another is asked for, drawn, and
    follows the sliders.
    """
    with page() as sheet:
        sheet.add_init_script(FAIL)
        open_workbook(sheet, lab, SMALL, last="all run")
        assert sheet.evaluate("globalThis.models") > 2, "a second figure was asked for"
        axis = trace(sheet, "beams", "z")
        slider(sheet, "Downtilt").focus()
        sheet.keyboard.press("PageUp")
        until_other(sheet, "beams", "z", axis)


@pytest.mark.parametrize(
    "lesson, slider_words, keys, last",
    [
        (
            "03_tilt_and_throw",
            "downtilt",
            ["ArrowRight"] * 40,
            "guesses answered, published values agree, aim reached by search",
        ),
        (
            "12_checking_a_room",
            None,
            ["ArrowLeft"] * 12,
            "guesses answered, published values agree, the fault found by search",
        ),
    ],
)
def test_a_lesson_is_walked_through(lab, lesson, slider_words, keys, last):
    """Behavior: a junior guesses (nothing is told before), gets the answer beside the guess, and
    moves a slider until the aim is reached.
    """
    with page() as sheet:
        open_workbook(sheet, lab, f"workbooks/training/{lesson}.ipynb", last=last)
        unseen = sheet.locator(
            "text=The computed answer appears here once you have given your guess."
        )
        assert unseen.first.is_visible() and not sheet.locator("text=Computed:").count()
        entry = sheet.locator(
            ".widget-text input:visible, .noUi-handle:visible, .widget-slider:visible"
        ).first
        entry.scroll_into_view_if_needed()
        shot(sheet, f"lesson_{lesson}_asked")
        sheet.locator("button:has-text('This is my guess')").first.click()
        sheet.wait_for_selector("text=Computed:", timeout=10_000)
        sheet.locator("summary:has-text('Worked solution')").first.click()
        to_top(sheet.locator("text=Computed:").first)
        sheet.wait_for_timeout(500)
        shot(sheet, f"lesson_{lesson}_answered")
        handles = (
            sheet.locator(".gt-slider:visible .noUi-handle")
            if slider_words is None
            else sheet.locator(".gt-slider:visible", has_text=slider_words).locator(".noUi-handle")
        )
        reached = False
        for n in range(handles.count()):
            handle = handles.nth(n)
            handle.scroll_into_view_if_needed()
            handle.focus()
            for key in keys:
                sheet.keyboard.press(key)
                sheet.wait_for_timeout(150)
                if reached := sheet.locator("text=Reached.").count() > 0:
                    break
            if reached:
                break
            sheet.keyboard.press("End" if keys[0] == "ArrowLeft" else "Home")
            sheet.wait_for_timeout(300)
        to_top(sheet.locator("text=Aim:").first)
        sheet.wait_for_timeout(800)
        shot(sheet, f"lesson_{lesson}_reached")
        assert reached
        assert sheet.errors == [] and sheet.left == []


# --- on one page, each going on from what the one before left


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
        timeout=15_000,
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
        timeout=15_000,
    )
    few = trace(sheet, "map", "intensity")
    sheet.mouse.up()
    traced(sheet)
    after = trace(sheet, "map", "intensity")
    assert "all rays" in label(sheet)
    assert before != few and few != after and after != before
    assert not sheet.locator("text=textbook formula").locator("visible=true").count()
    tab(sheet, "The room")
    sheet.wait_for_selector("text=The textbook formula takes sound to be alike", timeout=10_000)
    tab(sheet, "Verdicts")


def test_a_better_aim_is_found_and_put_back(sheet):
    """Behavior: the last section looks for a better aim: it can be stopped, the sliders follow, and
    it can be put back.
    """
    sheet.click("text=A better aim")
    before = trace(sheet, "beams", "z")
    press(sheet, "Find a better aim")
    sheet.wait_for_selector("text=Looking for a better aim", timeout=10_000)
    until_other(sheet, "beams", "z", before)  # the best so far is drawn
    shot(sheet, "aiming")
    press(sheet, "Stop")
    sheet.wait_for_selector("text=Stopped; the best so far", timeout=60_000)
    shot(sheet, "aimed")
    found = until_other(sheet, "beams", "z", before)
    press(sheet, "Put it back")
    sheet.wait_for_selector("text=Tried:", state="detached", timeout=10_000)
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
        sheet.wait_for_function(f"() => {visible} {shown}", timeout=15_000)
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
        timeout=15_000,
    )


def test_a_seat_of_the_plan_is_opened(sheet):
    """Behavior: a seat that is picked in the plan, here by keys, is marked there; its arrivals,
    octaves, limits and comb filter are opened.
    """
    sheet.locator(".gt-seat").focus()
    for key in ("ArrowRight", "ArrowRight", "Enter"):
        sheet.keyboard.press(key)
    sheet.wait_for_selector("text=What limits it most", timeout=15_000)
    sheet.wait_for_function(
        "() => document.querySelectorAll('.js-plotly-plot').length === 2", timeout=15_000
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
    sheet.wait_for_selector("text=hangs outside the gym", timeout=10_000)
    shot(sheet, "design_meeting_refused")
    assert trace(sheet, "map", "intensity") == before
    sheet.click("button:has-text('Go back')")
    sheet.wait_for_selector("text=hangs outside the gym", state="hidden", timeout=10_000)


def test_designs_are_kept_side_by_side(sheet):
    """Behavior: keep, tilt, keep again: two lines of figures and two maps on one scale; the first
    is shown again.
    """
    tab(sheet, "Compare")
    sheet.locator("button:has-text('Keep this design') >> visible=true").last.click()
    sheet.wait_for_selector("text=Kept as A", timeout=15_000)
    handle = slider(sheet, "Downtilt")
    handle.focus()
    start = float(handle.get_attribute("aria-valuenow"))
    for _ in range(3):
        sheet.keyboard.press("PageDown" if start > 60 else "PageUp")
    sheet.wait_for_timeout(1500)
    sheet.locator("button:has-text('Keep this design') >> visible=true").last.click()
    sheet.wait_for_selector("text=Kept as B", timeout=15_000)
    sheet.wait_for_function(
        "() => [...document.querySelectorAll('.js-plotly-plot')].some(g => g._fullLayout &&"
        " g.data.filter(t => t.type === 'heatmap').length >= 6)",
        timeout=20_000,
    )
    words = sheet.locator("table:visible", has_text="not bettered by any other").first.inner_text()
    rows = {
        h: next(line for line in words.splitlines() if line.startswith(h.words)) for h in HEADLINES
    }
    for h, row in rows.items():  # signs say what the two figures do
        a, b = (
            float(x.replace(",", ""))
            for x in re.findall(
                r"(-?[\d,]+\.?\d*)(?:\s|$)",
                row.split("]")[-1] if "]" in row else row[len(h.words) :],
            )[:2]
        )
        assert ("▲ better" in row) == ((b - a) * h.better > 0) and ("▼ worse" in row) == (
            (b - a) * h.better < 0
        )
    assert any("▲" in row or "▼" in row for row in rows.values())
    to_top(sheet.locator(".gt-options-words"))
    sheet.wait_for_timeout(800)
    shot(sheet, "options")
    pick(sheet, "Kept", "A")
    sheet.click("button:has-text('Go on from it')")
    sheet.wait_for_timeout(1500)
    assert float(slider(sheet, "Downtilt").get_attribute("aria-valuenow")) == start


def test_advice_is_asked_for_and_tried(sheet):
    """Behavior: the tab tells what would help with gain and cost; a move is tried, the picture
    follows, and it is put back.
    """
    tab(sheet, "What would help")
    sheet.click("button:has-text('What would help?')")
    sheet.wait_for_selector("button:has-text('Try it')", timeout=30_000)
    to_top(sheet.locator("button:has-text('Try it')").first)
    shot(sheet, "advice")
    before = trace(sheet, "map", "intensity")
    sheet.locator("button:has-text('Try it')").first.click()
    sheet.wait_for_selector("text=Tried:", timeout=10_000)
    sheet.wait_for_timeout(1500)
    assert trace(sheet, "map", "intensity") != before
    sheet.locator("button:has-text('Put it back')").locator("visible=true").click()
    sheet.wait_for_selector("text=Put back as it was >> visible=true", timeout=10_000)
    sheet.wait_for_timeout(1500)
    assert trace(sheet, "map", "intensity") == before


def test_how_sure_is_drawn(sheet):
    """Behavior: the tab draws, with a bar, and shows a range a criterion."""
    tab(sheet, "How sure")
    sheet.click("button:has-text('Draw 200 times')")
    sheet.wait_for_selector("text=least likely to meet its target", timeout=40_000)
    to_top(sheet.locator("text=least likely to meet its target"))
    shot(sheet, "how_sure")
    assert sheet.locator("svg[aria-label='range against target']:visible").count() > 10


def test_parts_and_the_loudspeaker_are_shown(sheet):
    """Behavior: the schedules stand in their tab and follow a choice; the loudspeaker is drawn
    with polars and balloon.
    """
    tab(sheet, "Cost, parts and schedules")
    sheet.wait_for_selector("caption:has-text('Bill')", timeout=15_000)
    pick(sheet, "Run by", "nobody (it runs by itself)")
    sheet.wait_for_selector("text=Mixer: automatic", timeout=10_000)
    to_top(sheet.locator("caption:has-text('Loudspeakers')"))
    shot(sheet, "parts")
    tab(sheet, "The loudspeaker")
    sheet.wait_for_function(
        "() => { const g = [...document.querySelectorAll('.js-plotly-plot')].pop(); return"
        " g._fullLayout && g._fullLayout.polar && g._fullLayout.scene; }",
        timeout=20_000,
    )
    sheet.wait_for_function(
        "() =>"
        " [...document.querySelectorAll('.js-plotly-plot')].pop().getBoundingClientRect().width >"
        " 1200",
        timeout=10_000,
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
    pick(sheet, "Start from", "A grid of pendants firing down")
    sheet.wait_for_function(f"before => {handles} !== before", arg=before, timeout=20_000)
    sheet.wait_for_selector("text=It gives up:", timeout=10_000)
    shot(sheet, "arrangement_pendants")
