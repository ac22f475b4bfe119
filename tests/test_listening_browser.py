"""The Listen tab in a real JupyterLab and a real browser: what plays, how loud, and how it is
switched. The page's sound is read from the nodes that it connects.
"""

import json
import os
import shutil
import signal

import nbformat
import pytest
from browser import ROOT, SHOTS, browser_path, jupyter_lab, page

pytestmark = pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
BOOK = "listen.ipynb"
CODE = """
import os
import ipywidgets as w
from dataclasses import replace
from gymtools import load
from gymtools.display.panel.listen import ListenTab
from gymtools.display.panel.meeting import Meeting
from gymtools.display.panel.toolbar import PageStyle

school = load("scenarios/larkfield.toml")
m = Meeting(replace(school, uses=school.uses[1:2]), journal=False)
m.update(tab="listen")
tilt = w.Button(description="Tilt by 4")
DOWN = ("groups", "north row", "downtilt_deg")
tilt.on_click(lambda _: m.set(DOWN, m.value(DOWN) + 4))
process = w.HTML(f"<span class='kernel-process'>{os.getpid()}</span>")
page = w.VBox([m.sections[PageStyle].box, tilt, process, m.sections[ListenTab].box])
page.add_class("gt-page")
page
"""
# keeps every node of a page's sound, so that a test can see what is connected and how loud
EARS = """
(() => {
  window.heard = { gains: [], sources: [] };
  const gain = AudioContext.prototype.createGain;
  const source = AudioContext.prototype.createBufferSource;
  AudioContext.prototype.createGain = function () {
    const node = gain.call(this);
    window.heard.gains.push(node);
    return node;
  };
  AudioContext.prototype.createBufferSource = function () {
    const node = source.call(this);
    window.heard.sources.push(node);
    return node;
  };
})()
"""
PLAYER = ".gt-player"
FIRST_SLOT = 3  # among the lists of the tab: program, what is around, and for what come first


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a server with a notebook that shows the tab on one use of Larkfield."""
    folder = tmp_path_factory.mktemp("lab")
    for name in ("scenarios", ".jupyter"):
        shutil.copytree(ROOT / name, folder / name)
    new = nbformat.v4
    book = new.new_notebook(cells=[new.new_code_cell(CODE)])
    book.metadata.kernelspec = dict(name="python3", display_name="Python 3", language="python")
    nbformat.write(book, folder / BOOK)
    with jupyter_lab(folder) as address:
        yield address, folder


@pytest.fixture(scope="module")
def sheet(lab):
    """One page for all tests, each going on from what the one before left."""
    with page() as opened:
        opened.add_init_script(EARS)
        opened.goto(f"{lab[0]}/doc/tree/{BOOK}")
        opened.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
        opened.wait_for_selector("text=/[|] Idle/", state="attached", timeout=60_000)
        opened.click("jp-button[data-command='notebook:restart-run-all']")
        opened.click(".jp-Dialog .jp-mod-accept", timeout=20_000)
        opened.wait_for_selector(PLAYER, timeout=120_000)
        yield opened
        assert opened.errors == [], "errors in the page's console"
        assert opened.left == [], "requests that left this machine"


def state(sheet):
    """What the player says of itself."""
    return sheet.evaluate(f"() => ({{ ...document.querySelector('{PLAYER}').dataset }})")


def until(sheet, **wanted):
    """Wait until the player says something of itself."""
    for name, value in wanted.items():
        sheet.wait_for_selector(f"{PLAYER}[data-{name}='{value}']", timeout=60_000)


def slot(sheet, number):
    """The list of one slot."""
    return sheet.locator(".gt-page select:visible").nth(FIRST_SLOT + number - 1)


def press_play(sheet):
    """Press Play and wait until it plays."""
    sheet.click(f"{PLAYER} .gt-player-go")
    until(sheet, state="playing")


def volumes(sheet):
    """Volume of the page, and of each sound that plays."""
    sheet.wait_for_timeout(120)  # a switch fades over some milliseconds
    return sheet.evaluate("() => window.heard.gains.map(g => g.gain.value)")


def test_nothing_plays_before_play_is_pressed(sheet):
    """Behavior: the tab shows player and caution; no sound is made or connected, and the volume
    stands low.
    """
    assert state(sheet)["state"] == "still"
    assert sheet.evaluate("() => window.heard.sources.length") == 0
    assert "volume down" in sheet.inner_text(".gt-player-caution")
    sheet.wait_for_timeout(300)
    assert sheet.evaluate("() => window.heard.sources.length") == 0
    assert float(sheet.input_value(f"{PLAYER} input[aria-label='Volume']")) <= 0.3


def test_play_sounds_at_true_rate_in_two_channels(sheet):
    """Behavior: pressed, it plays what the kernel has made: 48 kHz, two ears, not cut, no DC, at
    the low volume; the place in time moves on, and the figures stand below.
    """
    press_play(sheet)
    sound = sheet.evaluate(
        """() => { const b = window.heard.sources[0].buffer;
        const mean = c => b.getChannelData(c).reduce((a, v) => a + v, 0) / b.length;
        const top = c => b.getChannelData(c).reduce((a, v) => Math.max(a, Math.abs(v)), 0);
        return { rate: b.sampleRate, channels: b.numberOfChannels, seconds: b.duration,
          mean: [mean(0), mean(1)], top: Math.max(top(0), top(1)) }; }"""
    )
    assert (sound["rate"], sound["channels"]) == (48000, 2)
    assert sound["seconds"] > 9 and 0.98 < sound["top"] <= 1.0
    assert max(map(abs, sound["mean"])) < 1e-3
    assert volumes(sheet)[0] == pytest.approx(0.25)
    first = float(state(sheet)["place"])
    sheet.wait_for_timeout(300)
    assert first + 0.1 < float(state(sheet)["place"]) < first + 3
    assert "dB(A)" in sheet.inner_text(".gt-page ol")
    SHOTS.mkdir(exist_ok=True)
    sheet.screenshot(path=SHOTS / "listen.png")


def test_switching_keeps_the_place_and_true_level_differences(sheet):
    """Behavior: the second sound is a full crowd, 20 dB over the noise of the class; a switch fades
    one up and the other down where it plays, by button and by digit.
    """
    slot(sheet, 2).select_option(label="With a full, shouting crowd")
    until(sheet, state="still")  # what played was of other settings
    press_play(sheet)
    sheet.wait_for_timeout(400)
    before = float(state(sheet)["place"])
    sheet.click(f"{PLAYER} .gt-player-choices button:nth-child(2)")
    until(sheet, chosen="2", state="playing")
    master, one, two = volumes(sheet)[0], *volumes(sheet)[-2:]
    assert float(state(sheet)["place"]) > before and one < 0.01 < two
    sheet.keyboard.press("1")
    until(sheet, chosen="1", state="playing")
    softer = volumes(sheet)[-2]
    # both are packed to their own peak: gains give back what they differ by
    assert softer < 0.5 * two and volumes(sheet)[-1] < 0.01 * two
    assert master == pytest.approx(0.25)


def test_space_and_digits_work_the_player(sheet):
    """Behavior: with the focus in the player Space stops and goes on from the same place, and a
    pressed button is told to a screen reader.
    """
    sheet.focus(f"{PLAYER} input[aria-label='Place in time, seconds']")
    sheet.keyboard.press(" ")
    until(sheet, state="still")
    there = float(state(sheet)["place"])
    sheet.keyboard.press("2")
    pressed = f"{PLAYER} .gt-player-choices button[aria-pressed='true']"
    assert "shouting crowd" in sheet.inner_text(pressed)
    sheet.keyboard.press(" ")
    until(sheet, state="playing")
    assert abs(float(state(sheet)["place"]) - there) < 1.0
    sheet.keyboard.press(" ")
    until(sheet, state="still")


def test_blind_names_are_told_after_the_answer(sheet, lab):
    """Behavior: blind, the buttons say 1 and 2 and no figure stands on the page; the answer tells
    what was what, and is a line of a file without names.
    """
    sheet.check(".gt-page label:has-text('Blind') input")
    sheet.wait_for_function(
        "() => [...document.querySelectorAll('.gt-player-choices button')].map(b => b.textContent)"
        ".join() === '1,2'"
    )
    press_play(sheet)
    sheet.wait_for_selector("text=Which is clearer?")
    assert "dB(A)" not in sheet.inner_text(".gt-page")
    sheet.click("button:text-is('No difference')")
    sheet.wait_for_selector("text=/1 was: .* 2 was: /")
    assert "dB(A)" in sheet.inner_text(".gt-page ol")
    (line,) = (lab[1] / ".meeting" / "blind-answers.ndjson").read_text("utf-8").splitlines()
    answer = json.loads(line)
    assert answer["clearer"] == "No difference" and len(answer["heard"]) == 2
    sheet.uncheck(".gt-page label:has-text('Blind') input")


def test_a_move_is_heard_against_what_was_before(sheet):
    """Behavior: after a change of the design the old sounds are gone, and "Before the last change"
    can be chosen and heard.
    """
    sheet.click("button:has-text('Tilt by 4')")
    label = "Before the last change"
    sheet.wait_for_selector(f"option:has-text('{label}')", state="attached")
    slot(sheet, 2).select_option(label=label)
    press_play(sheet)
    assert label in sheet.inner_text(f"{PLAYER} .gt-player-choices")
    sheet.click(f"{PLAYER} .gt-player-go")


def test_a_dead_kernel_is_said(sheet):
    """Behavior: without a kernel the player says so and its button rests."""
    os.kill(int(sheet.inner_text(".gt-page .kernel-process")), signal.SIGKILL)
    sheet.wait_for_selector("text=The kernel is gone", timeout=30_000)
    assert sheet.is_disabled(f"{PLAYER} .gt-player-go")
