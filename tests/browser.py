"""A real JupyterLab in a real browser, for the tests that need one."""

import atexit
import os
import shutil
import subprocess
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import sync_playwright

from gymtools.display.launch import free_port, server_command

ROOT = Path(__file__).resolve().parent.parent
SHOTS = Path(__file__).resolve().parent / "screenshots"
FLAGS = (
    "--no-sandbox --disable-gpu --enable-unsafe-swiftshader --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync"
).split()
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
SETTLED = "text=Settled, ±"  # that the panel says when all rays have been followed
MAC = "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"


def browser_path():
    """Path of an installed Chromium or Chrome, or None; the environment variable GYMTOOLS_BROWSER
    comes first.
    """
    asked = os.environ.get("GYMTOOLS_BROWSER")
    found = [
        asked and (shutil.which(asked) or asked),
        *map(shutil.which, NAMES),
        MAC if Path(MAC).exists() else None,
    ]
    return next((path for path in found if path), None)


@contextmanager
def jupyter_lab(folder=ROOT):
    """A JupyterLab server on a free port; yields its address."""
    port = free_port("127.0.0.1")
    command = [
        *server_command(folder, host="127.0.0.1", port=port),
        "--IdentityProvider.token=",
    ]
    server = subprocess.Popen(
        command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(f"{address}/api", timeout=1)
                break
            except OSError:
                time.sleep(0.1)
        else:
            raise RuntimeError("JupyterLab did not start")
        yield address
    finally:
        server.terminate()
        server.wait(20)


_open = {}  # the driver and the browser that the pages of a file share


def _browser():
    """The browser, begun when the first page is asked for: that takes as long as a short test."""
    if not _open:
        _open["driver"] = sync_playwright().start()
        _open["browser"] = _open["driver"].chromium.launch(
            executable_path=browser_path(), args=FLAGS
        )
    return _open["browser"]


@atexit.register
def close_browser():
    """End the browser, which a file's last test leaves open; its driver keeps an event loop, which
    the next file may want for itself.
    """
    if _open:
        _open.pop("browser").close()
        _open.pop("driver").stop()


@contextmanager
def page(width=1440, height=900):
    """A page of the browser that notes console errors and every request that leaves this machine;
    no other page sees its storage.
    """
    sheet = _browser().new_page(viewport={"width": width, "height": height})
    try:
        sheet.errors, sheet.left = [], []
        # JupyterLab takes back requests of its own when the kernel is restarted before they were
        # answered, and makes them again: no test would reach the last cell if it did not
        # and anywidget complains when a busy page takes more than two seconds to begin: the watch
        # of the figure then asks for another, which ``drawn`` waits for and a test provokes
        harmless = (
            "Canceled future for create_subshell_request",
            "Canceled future for kernel_info_request",
            "Failed to initialize model",
        )
        sheet.on(
            "pageerror",
            lambda error: (
                None if any(h in str(error) for h in harmless) else sheet.errors.append(str(error))
            ),
        )
        sheet.on(
            "request",
            lambda r: (
                sheet.left.append(r.url)
                if r.url.startswith("http") and "//127.0.0.1" not in r.url
                else None
            ),
        )
        yield sheet
    finally:
        sheet.close()


def drawn(sheet):
    """Wait until the watch of every figure says that it has been drawn and hears the kernel."""
    sheet.wait_for_function(
        """() => { const watches = [...document.querySelectorAll('.gt-drawing')];
        return watches.length && watches.every(e => e.textContent === ''); }""",
        timeout=90_000,
    )


def open_workbook(sheet, address, path, last=None):
    """Open a notebook as one document and run all of it; returns when the last cell has printed its
    line, or the panel has settled, and every picture has been drawn.
    """
    sheet.goto(f"{address}/doc/tree/{path}")
    sheet.wait_for_selector(".jp-Notebook .jp-Cell", timeout=120_000)
    sheet.wait_for_function(
        "() => document.querySelector('.jp-Notebook') &&"
        " !document.querySelector('.jp-SplashScreen-splash, #jupyterlab-splash')",
        timeout=120_000,
    )
    # a kernel that is restarted while it starts may never answer
    sheet.wait_for_selector("text=/[|] Idle/", state="attached", timeout=120_000)
    sheet.wait_for_timeout(500)
    sheet.keyboard.press("Escape")
    sheet.click("jp-button[data-command='notebook:restart-run-all']")
    sheet.click(".jp-Dialog .jp-mod-accept", timeout=60_000)
    # checks move things: they must be through
    wanted = f"text={last}" if last else SETTLED
    sheet.wait_for_selector(wanted, state="attached", timeout=300_000)
    drawn(sheet)


def trace(sheet, name, key):
    """Values of one attribute of a trace as they stand in the page."""
    return sheet.evaluate(
        """([name, key]) => { const g = document.querySelector('.js-plotly-plot');
        const t = g.data.find(t => t.name === name && t.visible !== false);
        return Array.from(t[key], v => Array.isArray(v) ? v.join() : v); }""",
        [name, key],
    )
