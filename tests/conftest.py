"""One setting for all tests: hypothesis looks at the same examples everywhere, so that a failure is
the same everywhere; machine code is made once for all workers; one worker has all files that drive
a JupyterLab in a browser, for two of those at a time starve each other, and the other workers step
back for it; the longest files begin first, so that no core waits for the other at the end; and what
a file has shown ends with it.
"""

import gc
import os
import subprocess
import sys
from pathlib import Path, PurePath

import pytest
from hypothesis import settings
from xdist.scheduler import LoadFileScheduling

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

BROWSER = (  # a browser with a kernel and its rays is as much as one core can do
    "test_pages",
    "test_browser_kept",
    "test_browser",
    "test_drawing_browser",
    "test_board_browser",
    "test_first_screen",
    "test_new_school_browser",
    "test_course_browser",
    "test_listening_browser",
)
STEP_BACK = 10  # niceness of workers that drive no browser, where one does
LONGEST = (  # half a minute of a core or more, the longest first
    *BROWSER,
    "test_meeting",
    "test_workbooks",
    "test_writing",
    "test_tracing",
    "test_random_moves",
    "test_aiming",
    "test_uncertainty",
    "test_record",
    "test_commissioning",
    "test_advice",
    "decision_record",
    "test_lessons",
    "test_sweeping",
    "test_sheets",
    "test_fuzz_tables",
    "test_measured_room",
    "test_kept_designs",
    "test_plan_forms",
)


def pytest_collection_modifyitems(items):
    """Put the longest files first, whatever their number of tests."""
    first = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: first.get(item.path.stem, len(first)))


class ByFile(LoadFileScheduling):
    """A file stays with one worker, and all that drive a browser with the same one."""

    def _split_scope(self, nodeid):
        file = super()._split_scope(nodeid)
        return "browser" if PurePath(file).stem in BROWSER else file


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Where files are to stay together: xdist's own groups are lost with this pytest."""
    return ByFile(config, log) if config.getvalue("dist") == "loadfile" else None


_making = []  # the process that makes machine code while the workers collect


def pytest_sessionstart(session):
    """Begin to make the machine code before the workers do, each for itself: on a fresh checkout
    that takes half a minute of a core, later a second.
    """
    if session.config.getoption("numprocesses", None) and not hasattr(
        session.config, "workerinput"
    ):
        command = [sys.executable, "-m", "gymtools.acoustics.warm_up"]
        _making.append(subprocess.Popen(command, cwd=session.config.rootpath))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_node_collection_finished(ids):
    """No test begins before it is made; should it fail, the tests say why. What was collected is
    written down for who counts it.
    """
    if wanted := os.environ.get("GYMTOOLS_COLLECTED"):
        Path(wanted).write_text("\n".join(ids) + "\n", encoding="utf-8")
    while _making:
        _making.pop().wait()


@pytest.fixture(autouse=True, scope="module")
def _widgets_end_with_their_file():
    """ipywidgets keeps every widget of a process, and with it the panel, its school and all that
    was traced in it.
    """
    yield
    if shown := sys.modules.get("ipywidgets"):
        shown.Widget.close_all()
        gc.collect()


@pytest.fixture(autouse=True, scope="module")
def _a_browser_comes_first(request):
    """What drives a browser waits for pages, and pages for cores: the other workers step back."""
    beside = "PYTEST_XDIST_WORKER" in os.environ and request.path.stem not in BROWSER
    if beside and hasattr(os, "setpriority"):
        os.setpriority(os.PRIO_PROCESS, 0, max(STEP_BACK, os.getpriority(os.PRIO_PROCESS, 0)))


@pytest.fixture(autouse=True, scope="module")
def _the_browser_ends_with_its_file():
    """Its pages share one; no page of another file does."""
    yield
    if begun := sys.modules.get("browser"):
        begun.close_browser()
