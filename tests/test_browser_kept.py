"""Nothing is lost in a real browser: typed values, names for those who hear the page, and a kernel
that is killed.
"""

import os
import re
import shutil
import signal

import nbformat
import pytest
from browser import ROOT, SHOTS, browser_path, jupyter_lab, open_workbook, page

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
BOOK, LAST = "small.ipynb", "all run, process"
TILT = "Downtilt [°]"
# headings of what is folded away
SECTIONS = (".gt-page .jupyter-widget-Collapse-header", ".gt-page .lm-TabBar-tab")
# what a hand or a keyboard can use
ROLES = (
    "slider textbox combobox button checkbox listbox spinbutton tab radio menuitem link"
).split()


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server, with a notebook of the panel on the smallest school."""
    folder = tmp_path_factory.mktemp("lab")
    for name in ("scenarios", ".jupyter"):
        away = shutil.ignore_patterns(".ipynb_checkpoints", ".meeting")
        shutil.copytree(ROOT / name, folder / name, ignore=away)
    cells = (
        "from gymtools.display.panel.meeting import meeting\n"
        "panel = meeting('scenarios/dovecote.toml', 'scenarios')\npanel.box",
        "import os\nprint('all run, process', os.getpid())",
    )
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in cells])
    book.metadata.kernelspec = dict(name="python3", display_name="Python 3", language="python")
    nbformat.write(book, folder / BOOK)
    with jupyter_lab(folder) as address:
        yield address


def box(sheet, name=TILT):
    """The box to type a value in, found as those find it who hear the page."""
    return sheet.get_by_role("textbox", name=name, exact=True).first


def type_in(sheet, text, name=TILT):
    entry = box(sheet, name)
    entry.fill(text)
    entry.press("Enter")


def until_box(sheet, value, name=TILT):
    """Wait until a box shows a value."""
    sheet.wait_for_function(
        """([name, value]) => [...document.querySelectorAll('.gt-slider')].some((s) =>
        s.querySelector('.widget-label')?.textContent === name
        && s.querySelector('input[type=text]').value === value)""",
        arg=[name, value],
        timeout=20_000,
    )


def nameless(sheet, selector=".gt-page"):
    """Controls in a part of the page that have no accessible name, as Chromium tells them to those
    who hear the page: (role, value).
    """
    session = sheet.context.new_cdp_session(sheet)
    session.send("Accessibility.enable")
    root = session.send("DOM.getDocument")["root"]["nodeId"]
    node = session.send("DOM.querySelector", {"nodeId": root, "selector": selector})["nodeId"]
    found, named = [], 0
    for role in ROLES:
        answer = session.send("Accessibility.queryAXTree", {"nodeId": node, "role": role})
        for one in answer["nodes"]:
            if one.get("ignored"):
                continue
            if one.get("name", {}).get("value", "").strip():
                named += 1
            else:
                found.append((role, one.get("value", {}).get("value"), one["backendDOMNodeId"]))
    described = []
    for role, value, backend in found:
        html = session.send("DOM.getOuterHTML", {"backendNodeId": backend})["outerHTML"]
        described.append((role, value, html[:160]))
    return described, named


def names_of_every_part(sheet):
    """Open every section and every tab; how many named controls each shows, none without."""
    parts = [sheet.locator(f"{kind}:visible") for kind in SECTIONS]
    for part in parts:
        for n in range(part.count()):
            part.nth(n).click()
            sheet.wait_for_timeout(400)
            without, named = nameless(sheet)
            assert not without, f"{part.nth(n).inner_text()}: {without}"
            yield named


def second_tab(sheet, lab):
    """Another tab on the same kernel shows the same, and what is typed there arrives here."""
    sheet.keyboard.press("Control+s")
    sheet.wait_for_timeout(1500)
    other = sheet.context.browser.new_page(viewport=sheet.viewport_size)
    other.goto(f"{lab}/doc/tree/{BOOK}")
    other.wait_for_selector(".gt-page .gt-kept svg", timeout=90_000)
    until_box(other, "41.5")
    assert not other.locator(".gt-go-on:visible").count(), "it is not asked again"
    type_in(other, "35")
    until_box(sheet, "35")
    type_in(sheet, "36.3")
    until_box(other, "36.3")
    sheet.wait_for_timeout(1500)  # neither sends its nearest step back
    assert box(sheet).input_value() == box(other).input_value() == "36.3"
    other.close()


def test_typed_names_and_a_killed_kernel(lab):
    """Behavior: 200 for a tilt stays in its box with the range beside it; 41.5 is taken and said
    back; every control has a name; after the kernel was killed and the notebook run again the
    panel asks whether to go on, and everything is there, undo too; two tabs show the same.
    """
    with page(1440, 900) as sheet:
        open_workbook(sheet, lab, BOOK, last=LAST)
        assert not sheet.locator(".gt-go-on:visible").count(), "there is nothing to go on from"
        SHOTS.mkdir(exist_ok=True)
        type_in(sheet, "200")
        refused = sheet.locator(".gt-refused:visible").first
        refused.wait_for(timeout=20_000)
        assert re.search(r"200° is outside .* to .*°", refused.inner_text())
        assert box(sheet).input_value() == "200"
        sheet.screenshot(path=SHOTS / "typed_and_refused.png")
        sheet.wait_for_function(
            "() => document.querySelector('.gt-slider input[aria-invalid=true]')", timeout=5_000
        )
        assert sheet.get_by_role("button", name="Undo").first.is_disabled()
        type_in(sheet, "41.5")
        sheet.wait_for_selector("text=Read as 41.5°", timeout=20_000)
        handle = sheet.get_by_role("slider", name=TILT, exact=True).first
        assert handle.get_attribute("aria-valuetext") == "41.5"
        sheet.wait_for_timeout(1500)  # the next change of it is a step of its own
        handle.focus()
        sheet.keyboard.press("ArrowRight")
        until_box(sheet, "43")  # the slider stood at the nearest step, 42
        assert sum(names_of_every_part(sheet)) > 300
        sheet.locator("button:visible:has-text('Keep this design')").click()
        sheet.wait_for_selector(".gt-kept svg", timeout=20_000)
        assert sheet.get_by_role("button", name="Remove A", exact=True).count() == 1
        sheet.screenshot(path=SHOTS / "kept_designs.png")
        words = sheet.locator(f"text={LAST}").last.inner_text()
        sheet.wait_for_timeout(1000)  # a rest: the journal's line is written
        os.kill(int(words.split()[-1]), signal.SIGKILL)
        open_workbook(sheet, lab, BOOK, last=LAST)
        sheet.wait_for_selector("text=/Go on from .*2 steps, 1 kept design/", timeout=30_000)
        sheet.screenshot(path=SHOTS / "go_on_from.png")
        assert box(sheet).input_value() != "43", "nothing is restored unasked"
        sheet.get_by_role("button", name="Go on", exact=True).first.click()
        until_box(sheet, "43")
        sheet.wait_for_selector(".gt-kept svg", timeout=30_000)
        sheet.get_by_role("button", name="Undo").first.click()
        until_box(sheet, "41.5")
        second_tab(sheet, lab)
        assert sheet.errors == [] and sheet.left == []
