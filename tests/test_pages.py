"""Pages of their own in a real JupyterLab and a real browser: reloaded, opened and left alone,
given up by a busy page.
"""

import io

import numpy as np
import panel_page
import pytest
from browser import browser_path, drawn, open_workbook, page, trace
from panel_page import FRESH, SMALL, pick, shot, slider, traced, until_other
from PIL import Image

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server on a copy of the notebooks."""
    with panel_page.lab(tmp_path_factory.mktemp("lab")) as address:
        yield address


def style(sheet):
    """Colors and symbols as the page draws them."""
    return sheet.evaluate("""() => document.querySelector('.js-plotly-plot')._fullData.map(t =>
        [t.name, t.line && t.line.color && String(t.line.color), t.line && t.line.width,
         t.marker && String(t.marker.symbol)])""")


# whether a scene has been drawn by moves of its objects
MOVED = """() => document.querySelector('.js-plotly-plot')._fullLayout.scene._scene
    .drawAnnotations.only === true"""


LABELS = """() => [...document.querySelectorAll('.js-plotly-plot .annotation-text')].map(e => {
    const { x, y } = e.getBoundingClientRect(); return [e.textContent, x, y]; })"""


def in_space(sheet):
    """Pixels of the picture in space without its labels, once it stands, and the labels with where
    they stand [px].
    """
    sheet.mouse.move(2, 2)
    sheet.wait_for_timeout(1000)
    labels = sheet.evaluate(LABELS)
    sheet.add_style_tag(content=".js-plotly-plot .infolayer { visibility: hidden }")
    png = sheet.locator(".js-plotly-plot").first.screenshot()
    sheet.evaluate("document.head.lastElementChild.remove()")
    pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    return pixels, {words: at for words, *at in labels}


def test_a_page_reloaded_shows_the_same_picture(lab):
    """Behavior: after changes, a saved notebook and a reload the picture comes back with its values
    and its styles, and follows the controls. Before, it was drawn by moves of its objects; after,
    as a whole by Plotly: no pixel differs, and no label by more
    than one.
    """
    with page() as sheet:
        open_workbook(sheet, lab, SMALL, last="all run")
        sheet.keyboard.press("Control+s")
        pick(sheet, "Use", "assembly")
        traced(sheet)
        slider(sheet, "Downtilt").focus()
        for _ in range(3):
            axis = trace(sheet, "beams", "z")
            sheet.keyboard.press("ArrowLeft")
            until_other(sheet, "beams", "z", axis)
        traced(sheet)
        assert sheet.evaluate(MOVED), "drawn by moves"
        before, drawn_so = [trace(sheet, "map", "intensity"), style(sheet)], in_space(sheet)
        sheet.reload()
        sheet.wait_for_selector(".js-plotly-plot canvas", timeout=90_000)
        drawn(sheet)
        assert [trace(sheet, "map", "intensity"), style(sheet)] == before
        traced(sheet)
        shot(sheet, "design_meeting_reloaded")
        assert not sheet.evaluate(MOVED)
        pixels, labels = in_space(sheet)
        assert np.array_equal(pixels, drawn_so[0]) and len(labels) > 5
        assert labels.keys() == drawn_so[1].keys()
        assert all(at == pytest.approx(drawn_so[1][words], abs=1) for words, at in labels.items())
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
        sheet.wait_for_selector("button:enabled:text-is('Undo')", timeout=90_000)
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
