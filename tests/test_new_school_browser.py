"""A designer's first five minutes in a real JupyterLab: from an empty folder to a school's file."""

import re
import subprocess
import sys
import time

import pytest
from browser import ROOT, SHOTS, browser_path, page

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
SIZE = {"width": 1440, "height": 900}


@pytest.fixture(scope="module")
def began(tmp_path_factory):
    """Folder, and the address that ``gymtools new`` prints for it."""
    folder = tmp_path_factory.mktemp("school")
    command = [sys.executable, "-m", "gymtools", "new", "Alder Hollow High School", "--no-browser"]
    server = subprocess.Popen(
        [*command, "--folder", str(folder)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    try:
        address = next(line.strip() for line in server.stdout if "http" in line)
        yield folder, address
    finally:
        server.terminate()
        server.wait(20)


def typed(sheet, label, text):
    """Type an answer as a person does: into the box, then on to the next one."""
    box = sheet.get_by_label(re.compile(rf"^(\w:\s+)?{re.escape(label)}$"))
    box.fill(text)
    box.press("Tab")


def until(sheet, words, within=20_000):
    sheet.wait_for_selector(f"text={words}", timeout=within)


def shot(sheet, name):
    SHOTS.mkdir(exist_ok=True)
    sheet.screenshot(path=SHOTS / f"{name}.png")


def test_the_first_five_minutes(began):
    """Behavior: from an empty folder, five answers and one slip later the gym is drawn with its
    seats, and the file is there; nothing scrolls sideways, every field has a name, and no request
    leaves the machine.
    """
    folder, address = began
    start = time.monotonic()
    with page(**SIZE) as sheet:
        sheet.goto(address)
        sheet.wait_for_selector("text=/[|] Idle/", state="attached", timeout=60_000)
        sheet.keyboard.press("Escape")
        sheet.click("jp-button[data-command='notebook:restart-run-all']")
        sheet.click(".jp-Dialog .jp-mod-accept", timeout=20_000)
        sheet.wait_for_selector(".gt-new .gt-first", timeout=60_000)
        opened = time.monotonic()
        typed(sheet, "Length of the gym", "100")
        typed(sheet, "Width of the gym", "82' 6\"")
        typed(sheet, "Clear height under the joists", "tall")
        until(sheet, "is no length")
        assert sheet.get_by_label("C: Clear height under the joists").input_value() == "tall"
        shot(sheet, "new_school_slip")
        typed(sheet, "Clear height under the joists", "24 ft")
        sheet.get_by_label("north", exact=True).check()
        sheet.get_by_label("south", exact=True).check()
        typed(sheet, "Rows of bleachers", "8")
        until(sheet, "Seats:")
        drawn = time.monotonic()
        shot(sheet, "new_school")
        sheet.click("text=/^Bleachers: 2/")
        sheet.wait_for_timeout(700)
        shot(sheet, "new_school_bleachers")
        sheet.click("text=/^Gym, finishes and air/")
        sheet.wait_for_timeout(700)
        shot(sheet, "new_school_hall")
        sheet.click("text=/^What the school does there/")
        sheet.wait_for_timeout(700)
        shot(sheet, "new_school_uses")
        print("opened", opened - start, "drawn", drawn - opened)
