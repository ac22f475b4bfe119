"""The panel in a page of a real browser: what is read there and what is moved."""

import shutil
from contextlib import contextmanager
from dataclasses import replace

import nbformat
from browser import ROOT, SETTLED, SHOTS, jupyter_lab, trace

from gymtools import load, save

BOOK, SMALL = "workbooks/design_meeting.ipynb", "small.ipynb"
FRESH = "fresh.ipynb"  # the small one again: its kernel has served no page


@contextmanager
def lab(folder, uses=()):
    """Address of a server on a copy of the notebooks, for JupyterLab saves what it shows; with
    them a small one, of the panel on the smallest school in two uses. Larkfield has only some of
    its uses where they are named: the panel follows rays in all there are.
    """
    for name in ("workbooks", "scenarios", ".jupyter"):
        away = shutil.ignore_patterns(".ipynb_checkpoints")
        shutil.copytree(ROOT / name, folder / name, ignore=away)
    if uses:
        path = folder / "scenarios" / "larkfield.toml"
        school = load(path)
        save(replace(school, uses=tuple(map(school.use, uses))), path, overwrite=True)
    panel = (
        "from dataclasses import replace\nfrom gymtools import load\n"
        "from gymtools.display.panel.meeting import meeting\n"
        "from gymtools.venue.paths import changed\n"
        "off_the_grid = {('groups', 'wall pair', 'downtilt_deg'): 40.3}\n"
        "school = load('scenarios/dovecote.toml')\n"
        "two = tuple(map(school.use, ('game', 'assembly')))\n"
        "meeting(changed(replace(school, uses=two), off_the_grid)).box"
    )
    new = nbformat.v4
    cells = [new.new_markdown_cell("# Brief"), *map(new.new_code_cell, (panel, "print('all run')"))]
    book = new.new_notebook(cells=cells)
    book.metadata.kernelspec = dict(name="python3", display_name="Python 3", language="python")
    for name in (SMALL, FRESH):
        nbformat.write(book, folder / name)
    with jupyter_lab(folder) as address:
        yield address


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
        timeout=90_000,
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
