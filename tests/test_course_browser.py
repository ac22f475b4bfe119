"""Four lessons and the design task in a real JupyterLab, as a junior walks through them."""

import re

import panel_page
import pytest
from browser import browser_path, open_workbook, page
from panel_page import shot

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
SCREEN = 900  # [px]
WORKS = "All of them work with these parameters"
TYPED = "input[placeholder^='type a number']:visible"


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server on a copy of the notebooks."""
    with panel_page.lab(tmp_path_factory.mktemp("lab")) as address:
        yield address


def opened_unrun(sheet, lab, name):
    """A notebook as it opens: its title, text and picture are on the screen, and no code is."""
    sheet.goto(f"{lab}/doc/tree/workbooks/training/{name}.ipynb")
    sheet.wait_for_selector(".jp-Notebook .jp-Cell", timeout=120_000)
    picture = sheet.locator(".jp-MarkdownOutput img").first
    picture.wait_for(timeout=120_000)
    sheet.wait_for_function("() => document.querySelector('.jp-MarkdownOutput img').naturalWidth")
    assert 0 < picture.bounding_box()["y"] < SCREEN / 2
    assert sheet.locator(".jp-MarkdownOutput h1").first.bounding_box()["y"] < SCREEN / 3
    assert not sheet.locator(".jp-CodeCell .cm-content:visible").count(), "code is folded"


def answered(sheet, name, wrong="9"):
    """The last question of the page is answered wrong twice: a hint, then the number, near the
    button; another one has other words, an empty field and no reply.
    """
    entry = sheet.locator(TYPED).last
    entry.scroll_into_view_if_needed()
    box = entry.locator("xpath=ancestor::*[contains(@class,'widget-vbox')][1]")
    asked = box.inner_text()
    shot(sheet, f"course_{name}_asked")
    button = box.locator("button:text-is('Answer')")
    assert entry.input_value() == ""
    entry.fill("plenty")
    button.click()
    box.locator("text=/is no (level|number|length|time|angle|percentage)/").wait_for(timeout=90_000)
    entry.fill(wrong)
    button.click()
    hint = box.locator("text=/Try once more/")
    hint.wait_for(timeout=90_000)
    assert "The answer is" not in box.inner_text()
    apart = hint.bounding_box()["y"] - button.bounding_box()["y"]
    assert 0 < apart < 120, "the reply is beside the button"
    entry.fill(wrong)
    entry.press("Enter")
    box.locator("text=/The answer is/").wait_for(timeout=90_000)
    assert box.locator("text=Worked solution").is_visible() and button.is_disabled()
    shot(sheet, f"course_{name}_answered")
    box.locator("button:text-is('Another one')").click()
    box.locator("text=/The answer is/").wait_for(state="hidden", timeout=90_000)
    assert box.inner_text() != asked and sheet.locator(TYPED).last.input_value() == ""


def reached(sheet, name, label, typed):
    """The sliders unlock with a prediction; then what is typed beside one of them brings the
    picture to its aim, and its slider moves; sliders and picture are on one screen.
    """
    commit = sheet.locator("button:has-text('This is my prediction')").first
    commit.scroll_into_view_if_needed()
    box = commit.locator("xpath=ancestor::*[contains(@class,'widget-vbox')][1]")
    handle = box.locator(".gt-slider", has_text=label).locator(".noUi-handle").first
    assert box.locator(".gt-slider input").first.is_disabled(), "no slider before a prediction"
    box.locator("select").first.select_option(index=1)
    commit.click()
    sheet.wait_for_function(
        "e => !e.disabled", arg=box.locator(".gt-slider input").first.element_handle()
    )
    assert "Reached" not in box.inner_text()
    before = handle.bounding_box()["x"]
    field = box.locator(".gt-slider", has_text=label).locator("input").first
    field.fill(typed)
    field.press("Enter")
    box.locator("text=/Reached\\./").first.wait_for(timeout=90_000)
    assert handle.bounding_box()["x"] != before
    assert box.locator("text=/You predicted/").count() == 1
    sheet.evaluate("e => e.scrollIntoView({block: 'start'})", box.element_handle())
    sheet.wait_for_timeout(800)
    shot(sheet, f"course_{name}_reached")
    chart, top = box.locator(".js-plotly-plot").first.bounding_box(), box.bounding_box()["y"]
    assert chart["y"] + chart["height"] - top < 0.85 * SCREEN, "slider and curve on one screen"
    assert chart["x"] > handle.bounding_box()["x"], "side by side"


@pytest.mark.parametrize(
    "name, label, typed",
    [
        ("01_distance_and_level", "apart", "46 ft"),
        ("03_tilt_and_throw", "downtilt", "38"),
        ("07_several_loudspeakers", "delay", "24 ms"),
        ("10_power_lines_and_cable", "run", "77-0"),
    ],
)
def test_a_lesson_is_walked_through(lab, name, label, typed):
    """Behavior: text and picture first; nothing is said to be done before it is; wrong answers get
    a hint, then the number; a prediction unlocks the sliders; the end says what was done.
    """
    with page(1440, SCREEN) as sheet:
        opened_unrun(sheet, lab, name)
        shot(sheet, f"course_{name}_unrun")
        open_workbook(sheet, lab, f"workbooks/training/{name}.ipynb", last=WORKS)
        end = sheet.locator("text=/You have not answered anything/")
        assert end.count() == 1 and not sheet.locator("text=/Reached\\./").count()
        answered(sheet, name)
        assert not end.count(), "the end of the page says what was done"
        reached(sheet, name, label, typed)
        assert sheet.locator("text=/aim reached; predicted/").count() == 1
        assert sheet.errors == [] and sheet.left == []


def test_the_task_untouched_is_inside_its_brief(lab):
    """Behavior: text cells and the notebook's tools stay; what the page's controls send back by
    themselves changes nothing: no points, and nothing outside the brief; the search stays closed.
    """
    with page(1440, SCREEN) as sheet:
        opened_unrun(sheet, lab, "design_task")
        last = "The brief begins at 0 points"
        open_workbook(sheet, lab, "workbooks/training/design_task.ipynb", last=last)
        for words in ("The brief", "How it is scored", "Your design"):
            heading = sheet.locator(f".jp-MarkdownOutput h2:has-text('{words}')")
            heading.scroll_into_view_if_needed()
            assert heading.is_visible(), words
        assert sheet.locator(".jp-NotebookPanel-toolbar").first.is_visible()
        assert sheet.locator(".jp-MarkdownOutput:has-text('licensed structural')").count()
        assert sheet.locator("text=/Closed for now/").count()
        name = sheet.locator("input[placeholder='your name']")
        name.scroll_into_view_if_needed()
        name.fill("A junior")
        sheet.locator("button:has-text('Score this attempt')").click()
        sheet.wait_for_selector("text=Scored, and kept.", timeout=120_000)
        said = sheet.locator("text=/[0-9]+ points\\./").last.inner_text()
        assert re.search(r"\b0 points", said), said
        assert not sheet.locator("text=/No points, for something/").count()
        shot(sheet, "course_task_scored")
        sheet.locator("button:has-text('Open the search')").click()
        sheet.wait_for_selector("text=Change the design and score it first.", timeout=60_000)
        assert sheet.errors == [] and sheet.left == []
