"""The design workbook in a real JupyterLab and a real browser: a designer opens it and moves
things.
"""

import re
import shutil

import pytest
from browser import ROOT, SHOTS, browser_path, jupyter_lab, open_workbook, page, trace

from gymtools.design.options import HEADLINES

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
BOOK = "workbooks/design_meeting.ipynb"


@pytest.fixture(scope="module")
def lab():
    with jupyter_lab(ROOT) as address:
        yield address


@pytest.fixture
def sheet(lab):
    with page() as opened:
        open_workbook(opened, lab, BOOK)
        yield opened
        assert opened.errors == [], "errors in the page's console"
        assert opened.left == [], "requests that left this machine"


@pytest.fixture(scope="module")
def shared(lab):
    """One page for the tests that do not mind what stood there before."""
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


def card(sheet):
    """Words of the open tab under the picture."""
    return sheet.locator(".gt-card").first.inner_text()


def traced(sheet):
    """Wait until the room has been traced."""
    sheet.wait_for_selector("text=Shown: room traced, error about", timeout=60_000)
    sheet.wait_for_function(
        "() => { const t = [...document.querySelectorAll('.gt-room')].map(e => e.innerText).join();"
        " return t.includes('traced, error') && !t.includes('tracing'); }",
        timeout=60_000,
    )
    sheet.wait_for_timeout(600)


def label(sheet):
    """Title of the map in space."""
    return sheet.evaluate(
        "() => document.querySelector('.js-plotly-plot').layout.annotations[0].text"
    )


def test_the_room_is_traced_when_the_hand_rests(sheet):
    """The map says which room it shows: traced at rest, by formula while the slider is held, traced
    again; the bar was there.
    """
    pick(sheet, "Show", "Speech intelligibility (STI)")
    traced(sheet)
    assert "room traced" in label(sheet)
    shot(sheet, "room_traced")
    before = trace(sheet, "map", "intensity")
    box = slider(sheet, "Tilt down").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    sheet.mouse.move(x, y)
    sheet.mouse.down()
    for step in range(1, 9):
        sheet.mouse.move(x + 4 * step, y)
    sheet.wait_for_function(
        "() => document.querySelector('.js-plotly-plot').layout.annotations[0].text.includes('room"
        " by formula')",
        timeout=15_000,
    )
    formula = trace(sheet, "map", "intensity")
    sheet.mouse.up()
    sheet.wait_for_selector(".widget-hprogress:visible", timeout=10_000)
    shot(sheet, "room_tracing")
    traced(sheet)
    after = trace(sheet, "map", "intensity")
    assert "room traced" in label(sheet) and before != formula != after != before
    assert sheet.locator("text=Where the traced room differs").is_visible()


def test_dragging_the_tilt_slider_moves_map_section_and_scorecard(sheet):
    """The 3D map, the section's axis and the words all follow the hand; the picture is kept as a
    screenshot.
    """
    shot(sheet, "design_meeting")
    before = [trace(sheet, "map", "intensity"), trace(sheet, "section: axis", "y"), card(sheet)]
    box = slider(sheet, "Tilt down").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    sheet.mouse.move(x, y)
    sheet.mouse.down()
    for step in range(1, 13):
        sheet.mouse.move(x + 3 * step, y)
    sheet.mouse.up()
    sheet.wait_for_timeout(1500)
    after = [trace(sheet, "map", "intensity"), trace(sheet, "section: axis", "y"), card(sheet)]
    assert all(a != b for a, b in zip(before, after, strict=True))
    assert after[1][0] == before[1][0], "the loudspeaker itself stays where it hangs"
    shot(sheet, "design_meeting_tilted")


def pick(sheet, label, option):
    """Choose an entry of a list by its words."""
    sheet.locator(
        f'.widget-dropdown:visible:has(.widget-label:text-is("{label}")) select'
    ).first.select_option(label=option)
    sheet.wait_for_timeout(1800)  # other tests may keep the machine busy


def test_a_page_reloaded_shows_the_same_picture(tmp_path):
    """After changes, a saved notebook and a reload the picture comes back with its values and its
    styles.
    """
    for folder in ("workbooks", "scenarios", ".jupyter"):  # a copy, because the notebook is saved
        shutil.copytree(
            ROOT / folder, tmp_path / folder, ignore=shutil.ignore_patterns(".ipynb_checkpoints")
        )
    with jupyter_lab(tmp_path) as address, page() as sheet:
        open_workbook(sheet, address, BOOK)
        sheet.keyboard.press("Control+s")
        sheet.wait_for_timeout(1500)
        pick(sheet, "Use", "class")
        traced(sheet)
        before = [trace(sheet, "map", "intensity"), style(sheet)]
        sheet.reload()
        sheet.wait_for_selector(".js-plotly-plot canvas", timeout=60_000)
        sheet.wait_for_function(
            "() => { const g = document.querySelector('.js-plotly-plot'); return g && g._fullLayout"
            " && g._fullLayout.scene; }",
            timeout=30_000,
        )
        sheet.wait_for_timeout(4000)
        assert [trace(sheet, "map", "intensity"), style(sheet)] == before
        shot(sheet, "design_meeting_reloaded")


def style(sheet):
    """Colors and symbols as the page draws them."""
    return sheet.evaluate("""() => document.querySelector('.js-plotly-plot')._fullData.map(t =>
        [t.name, t.line && t.line.color && String(t.line.color), t.line && t.line.width,
         t.marker && String(t.marker.symbol)])""")


def tab(sheet, name):
    """Open a tab under the picture."""
    sheet.click(f".lm-TabBar-tab:has-text('{name}')")
    sheet.wait_for_timeout(500)


def to_top(place):
    """Scroll so that a place stands at the top."""
    place.evaluate("e => e.scrollIntoView({block: 'start'})")


def test_a_better_aim_is_found_and_put_back(sheet):
    """The last section looks for a better aim: the bar moves, it can be stopped, the sliders
    follow, and it can be put back.
    """
    sheet.click("text=A better aim")
    before = trace(sheet, "section: axis", "y")
    sheet.click("button:has-text('Find a better aim')")
    sheet.wait_for_selector("text=Looking for a better aim", timeout=10_000)
    sheet.wait_for_timeout(2500)
    shot(sheet, "aiming")
    sheet.click("button:has-text('Stop here')")
    sheet.wait_for_selector("text=Stopped; the best so far", timeout=30_000)
    sheet.wait_for_timeout(1500)
    shot(sheet, "aimed")
    assert trace(sheet, "section: axis", "y") != before
    sheet.click("button:has-text('Put it back')")
    sheet.wait_for_selector("text=Put back as it was", timeout=10_000)
    sheet.wait_for_function(
        "before => { const g = document.querySelector('.js-plotly-plot'); const t = g.data.find(t"
        " => t.name === 'section: axis'); return Math.abs(t.y[1] - before[1]) < 1e-3; }",
        arg=before,
        timeout=15_000,
    )


@pytest.mark.parametrize(
    "lesson, slider_words, keys, last",
    [
        (
            "03_tilt_and_throw",
            "tilt, down",
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
    """A junior guesses (nothing is told before), gets the answer beside the guess, and moves a
    slider until the aim is reached.
    """
    with page() as sheet:
        open_workbook(sheet, lab, f"workbooks/training/{lesson}.ipynb", last=last, in_space=False)
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


# --- on one page, each going on from what the one before left: last, because a page
# leaves no room for another


def test_code_is_folded_and_can_be_shown(shared):
    """The meeting sees no code; one button shows it, and folds it again."""
    visible = (
        "[...document.querySelectorAll('.jp-CodeCell > .jp-Cell-inputWrapper')].filter(e =>"
        " e.offsetHeight > 0).length"
    )
    assert shared.evaluate(visible) == 0
    for shown in ("> 0", "=== 0"):
        shared.click("text=Show the code")
        shared.wait_for_function(f"() => {visible} {shown}", timeout=15_000)


def test_keyboard_and_typed_entry(shared):
    """A slider answers to arrow keys, and a number can be typed beside it."""
    handle = slider(shared, "Tilt down")
    handle.focus()
    start = float(handle.get_attribute("aria-valuenow"))
    shared.keyboard.press("ArrowRight")
    shared.wait_for_timeout(600)
    assert float(handle.get_attribute("aria-valuenow")) == start + 1
    readout = shared.locator(".gt-slider", has_text="Tilt down").locator(".widget-readout")
    readout.click()
    shared.keyboard.press("Control+A")
    shared.keyboard.type("55")
    shared.keyboard.press("Enter")
    shown = (
        "() => document.querySelector('.js-plotly-plot').data.find(t => t.name === 'section:"
        " loudspeaker').text.join().includes('55° down')"
    )
    shared.wait_for_function(shown, timeout=15_000)
    assert float(handle.get_attribute("aria-valuenow")) == 55


def test_a_click_in_the_plan_opens_one_seat(shared):
    """A click on a bank in the plan marks the seat and opens its arrivals, octaves, limits and comb
    filter.
    """
    spot = shared.evaluate(
        """() => { const g = document.querySelector('.js-plotly-plot'), l = g._fullLayout;
        const r = g.getBoundingClientRect();
        return [r.left + l.xaxis._offset + l.xaxis.l2p(20),
                r.top + l.yaxis._offset + l.yaxis.l2p(40)]; }"""
    )
    shared.mouse.move(spot[0] - 3, spot[1])
    shared.mouse.move(*spot, steps=4)
    shared.wait_for_timeout(400)
    shared.mouse.click(*spot)
    shared.wait_for_selector("text=What limits it most", timeout=15_000)
    shared.wait_for_function(
        "() => document.querySelectorAll('.js-plotly-plot').length === 2", timeout=15_000
    )
    assert "this seat" in trace(shared, "plan: microphones", "text")
    assert "north bank, row" in shared.locator("text=What limits it most").first.inner_text()
    shared.wait_for_timeout(2500)
    shot(shared, "one_seat")


def test_all_uses_are_side_by_side(shared):
    """The tab of all uses lists the five of them with verdicts."""
    shared.click(".lm-TabBar-tab:has-text('All uses')")
    shared.wait_for_selector("text=the worst verdict over all of them", timeout=15_000)
    words = shared.locator(".gt-card:visible").first.inner_text()
    assert all(use in words for use in ("game", "class", "assembly", "graduation", "performance"))


def test_what_cannot_be_is_said_and_the_picture_stays(shared):
    """A row of loudspeakers pushed through the wall: one line of words, the last good picture still
    there.
    """
    traced(shared)
    before = trace(shared, "map", "intensity")
    handle = slider(shared, "East of center")
    handle.focus()
    shared.keyboard.press("End")
    shared.wait_for_selector("text=hangs outside the gym", timeout=10_000)
    shot(shared, "design_meeting_refused")
    assert trace(shared, "map", "intensity") == before
    shared.click("button:has-text('Go back')")
    shared.wait_for_selector("text=hangs outside the gym", state="hidden", timeout=10_000)


def test_options_are_pinned_side_by_side(shared):
    """Pin, tilt, pin again: two lines of figures and two maps on one scale; the first is shown
    again.
    """
    tab(shared, "Options")
    shared.click("button:has-text('Pin this state')")
    shared.wait_for_selector("text=Pinned as A", timeout=15_000)
    handle = slider(shared, "Tilt down")
    handle.focus()
    start = float(handle.get_attribute("aria-valuenow"))
    for _ in range(3):
        shared.keyboard.press("PageUp")
    shared.wait_for_timeout(1500)
    shared.click("button:has-text('Pin this state')")
    shared.wait_for_selector("text=Pinned as B", timeout=15_000)
    shared.wait_for_function(
        "() => { const g = [...document.querySelectorAll('.js-plotly-plot')].pop(); return"
        " g._fullLayout && g.data.filter(t => t.type === 'heatmap').length >= 6; }",
        timeout=20_000,
    )
    words = shared.locator("table:visible", has_text="nothing beats it").first.inner_text()
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
    to_top(shared.locator(".gt-options-words"))
    shared.wait_for_timeout(800)
    shot(shared, "options")
    pick(shared, "Option", "A")
    shared.click("button:has-text('Show it')")
    shared.wait_for_timeout(1500)
    assert float(slider(shared, "Tilt down").get_attribute("aria-valuenow")) == start


def test_advice_is_asked_for_and_tried(shared):
    """The tab tells what would help with gain and cost; a move is tried, the picture follows, and
    it is put back.
    """
    tab(shared, "What would help")
    shared.click("button:has-text('What would help?')")
    shared.wait_for_selector("button:has-text('Try it')", timeout=30_000)
    to_top(shared.locator("button:has-text('Try it')").first)
    shot(shared, "advice")
    before = trace(shared, "map", "intensity")
    shared.locator("button:has-text('Try it')").first.click()
    shared.wait_for_selector("text=Done:", timeout=10_000)
    shared.wait_for_timeout(1500)
    assert trace(shared, "map", "intensity") != before
    shared.locator("button:has-text('Put it back')").locator("visible=true").click()
    shared.wait_for_selector("text=Put back as it was", timeout=10_000)
    shared.wait_for_timeout(1500)
    assert trace(shared, "map", "intensity") == before


def test_how_sure_is_drawn(shared):
    """The tab draws, with a bar, and shows a range a criterion."""
    tab(shared, "How sure")
    shared.click("button:has-text('Draw 200 times')")
    shared.wait_for_selector("text=least likely to hold", timeout=40_000)
    to_top(shared.locator("text=least likely to hold"))
    shot(shared, "how_sure")
    assert shared.locator("svg[aria-label='range against target']:visible").count() > 10


def test_parts_and_the_loudspeaker_are_shown(shared):
    """The schedules stand in their tab and follow a choice; the loudspeaker is drawn with polars
    and balloon.
    """
    tab(shared, "Parts and schedules")
    shared.wait_for_selector("caption:has-text('Bill')", timeout=15_000)
    pick(shared, "Run by", "nobody (it runs by itself)")
    shared.wait_for_selector("text=Mixer: automatic", timeout=10_000)
    to_top(shared.locator("caption:has-text('Loudspeakers')"))
    shot(shared, "parts")
    tab(shared, "The loudspeaker")
    shared.wait_for_function(
        "() => { const g = [...document.querySelectorAll('.js-plotly-plot')].pop(); return"
        " g._fullLayout && g._fullLayout.polar && g._fullLayout.scene; }",
        timeout=20_000,
    )
    shared.wait_for_function(
        "() =>"
        " [...document.querySelectorAll('.js-plotly-plot')].pop().getBoundingClientRect().width >"
        " 1200",
        timeout=10_000,
    )
    shared.wait_for_timeout(500)
    to_top(shared.locator("text=generic: made from nominal angles").first)
    shot(shared, "loudspeaker")


def test_the_walking_map_is_found_and_follows(shared):
    """A person new to it opens 'The microphones', shows the walking map, and it follows the use and
    the loudspeakers.
    """
    shared.click("text=The microphones")
    shared.click("text=Show the walking map")
    shared.wait_for_timeout(900)
    floor = trace(shared, "map", "intensity")
    pick(shared, "Use", "performance")
    stage = trace(shared, "map", "intensity")
    assert len(stage) > len(floor), "with the curtain open the stage is walked too"
    shot(shared, "walking_map")
    pick(shared, "Use", "class")
    hand_held = trace(shared, "map", "intensity")
    pick(shared, "Microphone", "lavalier")
    assert max(trace(shared, "map", "intensity")) < max(hand_held)
    assert len([v for v in trace(shared, "plan: ringing", "x") if v is not None and v == v]) > 10, (
        "the outline of where it rings is drawn"
    )
    shot(shared, "walking_map_lavalier")


def test_an_arrangement_hangs_other_loudspeakers(shared):
    """Choosing a layout replaces the loudspeakers in 3D, plan and section, and says what it
    gives up.
    """
    if not shared.locator('.widget-label:text-is("Start from")').first.is_visible():
        shared.click("text=The loudspeakers")
        shared.wait_for_timeout(900)
    before = trace(shared, "plan: loudspeakers", "text")
    pick(shared, "Start from", "A grid of pendants firing down")
    shared.wait_for_function(
        "() => document.querySelector('.js-plotly-plot').data.find(t => t.name === 'plan:"
        " loudspeakers').text.length === 9",
        timeout=20_000,
    )
    assert before != trace(shared, "plan: loudspeakers", "text")
    shared.wait_for_selector("text=It gives up:", timeout=10_000)
    shot(shared, "arrangement_pendants")
