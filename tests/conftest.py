"""One setting for all tests: hypothesis looks at the same examples everywhere, so that a failure is
the same everywhere; the longest files begin first, so that no core waits for the other at the end;
and what a file has shown ends with it.
"""

import gc
import sys

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

LONGEST = (  # [min] of a core or nearly
    "test_browser",
    "test_pages",
    "test_workbooks",
    "test_board_browser",
    "test_random_moves",
    "test_first_screen",
    "test_browser_kept",
    "test_writing",
    "test_meeting",
    "decision_record",
)


def pytest_collection_modifyitems(items):
    """Put the longest files first, whatever their number of tests."""
    first = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: first.get(item.path.stem, len(first)))


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
def _the_browser_ends_with_its_file():
    """Its pages share one; no page of another file does."""
    yield
    if begun := sys.modules.get("browser"):
        begun.close_browser()
