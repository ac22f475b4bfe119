"""Workbooks: run again with other parameters, stored as they should be. pytest --nbval runs them as
committed.
"""

import io
import json
import tokenize
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest
from jupyter_client import AsyncKernelManager
from jupyter_core.utils import run_sync
from nbclient import NotebookClient

from gymtools import load, save

ROOT = Path(__file__).resolve().parent.parent
BOOKS = sorted(
    p for p in (ROOT / "workbooks").rglob("*.ipynb") if ".ipynb_checkpoints" not in p.parts
)
CASES = {
    "better_design": [
        {
            "use": "class",
            "arrangements": [],
            "draws": 20,
        }
    ],
    "commissioning": [
        {
            "scenario": "../scenarios/larkfield.toml",
            "uses": ["class"],
            "readings": "",
            "room": "statistical",
        },
        {"uses": [], "room": "statistical"},
    ],
    "decision_record": [
        {
            "scenario": "../scenarios/dovecote.toml",
            "arrangements": [],
            "reader": "school",
            "units": "m",
            "reason": "The lift of the school reaches them.",
            "prepared_for": "the school board",
            "date": "2026-11-25",
            "draws": 20,
        }
    ],
    "glossary": [],  # words only: a test of the glossary compares them with their table
    "00_decibels_and_octaves": [
        {"units": "m", "times": 40.0, "more_db": 13.0, "adds_db": 2.0},
    ],
    "01_distance_and_level": [
        {
            "units": "m",
            "front_m": 4.0,
            "back_m": 31.0,
            "temperature_c": 12.0,
            "humidity_pct": 70.0,
            "loudspeakers": 4,
            "height_m": 7.5,
            "even_db": 4.0,
        }
    ],
    "02_angle_and_coverage": [
        {
            "scenario": "../../scenarios/stonebridge.toml",
            "units": "m",
            "even_db": 4.0,
        }
    ],
    "03_tilt_and_throw": [
        {
            "scenario": "../../scenarios/larkfield.toml",
            "units": "m",
            "downtilt_deg": 62.0,
            "within_db": 0.3,
        }
    ],
    "04_sound_on_walls": [
        {
            "scenario": "../../scenarios/stonebridge.toml",
            "units": "m",
            "hung_deg": 4.0,
            "downtilt_deg": 12.0,
            "onto_people_pct": 40.0,
        }
    ],
    "05_reverberation_and_treatment": [
        {
            "scenario": "../../scenarios/larkfield.toml",
            "use": "assembly",
            "roof": "plain deck",
            "units": "m",
            "panels_m2": 250.0,
            "area_m2": 20.0,
            "on_roof_pct": 0.0,
        }
    ],
    "06_intelligibility_and_the_crowd": [
        {
            "scenario": "../../scenarios/dovecote.toml",
            "units": "m",
            "crowd_dba": 92.0,
            "pause_dba": 62.0,
            "start_dba": 64.0,
        }
    ],
    "07_several_loudspeakers": [
        {
            "scenario": "../../scenarios/stonebridge.toml",
            "bank": "north bank",
            "lead": "west end",
            "group": "north row",
            "units": "m",
            "lead_ms": 6.0,
            "late_ms": 12.0,
            "delay_ms": 90.0,
            "farther_m": 1.5,
        }
    ],
    "08_microphones_and_feedback": [
        {
            "scenario": "../../scenarios/stonebridge.toml",
            "units": "m",
            "far_m": 0.45,
            "near_m": 0.30,
            "open_mics": 8,
            "margin_db": 0.5,
        }
    ],
    "12_checking_a_room": [
        {
            "scenario": "../../scenarios/alderway.toml",
            "use": "class",
            "tag": "T2",
            "lost_db": 20.0,
            "scatter_db": 0.4,
            "seed": 8,
            "units": "m",
        }
    ],
    "13_reading_a_data_sheet": [
        {
            "units": "m",
            "sensitivity_db": 88.0,
            "rating_w": 800.0,
            "kind": "peak",
            "distance_m": 7.0,
            "ohm": 16.0,
            "angle_deg": 90.0,
            "hold_hz": 800.0,
        }
    ],
    "14_surveying_a_gym": [
        {
            "units": "m",
            "sloping_m": 14.0,
            "level_m": 9.0,
            "held_m": 0.9,
            "with_db": 61.0,
            "without_db": 55.0,
            "time_s": 3.5,
            "scatter_pct": 6.0,
        }
    ],
    "09_one_installation_many_uses": [
        {
            "scenario": "../../scenarios/alderway.toml",
            "units": "m",
            "group": "bank pair",
            "gain_db": -12.0,
            "alike_db": 1.5,
        }
    ],
    "10_power_lines_and_cable": [
        {
            "scenario": "../../scenarios/dovecote.toml",
            "bank": "bleachers",
            "group": "wall pair",
            "units": "m",
            "level_db": 86.0,
            "headroom_db": 12.0,
            "line_volts": 100.0,
            "tap_w": 30.0,
            "awg": 16.0,
            "loss_db": 0.4,
        }
    ],
    "11_reading_a_finished_record": [
        {
            "scenario": "../../scenarios/alderway.toml",
            "units": "m",
            "arrangement": "rows and ends",
            "criterion": "rt",
            "where": "",
            "safe_pct": 70.0,
            "draws": 20,
        }
    ],
    "design_task": [
        {
            "begin_with": {("groups", "post pair", "downtilt_deg"): 40.0},
            "evaluations": 120,
        }
    ],
    "capstone": [{"seed": 12, "units": "m"}],
    "supervisor": [{"files": ["nobody.jsonl"]}],
    "validation": [{"halls": "counted"}],
    "new_school": [{"name": "Fennel Brook", "copied_from": "../scenarios/dovecote.toml"}],
    "design_meeting": [{"scenario": "../scenarios/alderway.toml"}],
    "panel_checks": [{"scenario": "../scenarios/stonebridge.toml"}],
}
# pages: what checks them is no part of them, but "panel_checks" and "test_new_school"
PAGES = ("design_meeting", "new_school", "glossary")
# panels go on following rays when the last cell has run: each has a kernel of its own
PANELS = (*PAGES, "panel_checks", "better_design", "design_task")
# uses that are enough of a school, where every one of them is traced and drawn; nbval runs these
# workbooks with all uses of theirs
FEWER_USES = {
    "better_design": ("dovecote", "class"),
    "decision_record": ("dovecote", "class"),
    "11_reading_a_finished_record": ("alderway", "graduation"),
}
CLEARED = """
%reset -f
import os
from ipywidgets import Widget
Widget.close_all()
os.chdir({!r})
%reset -f
"""


@pytest.fixture(scope="module")
def kernel():
    """One for all workbooks that leave nothing running; what one has named is gone for the next.
    nbval runs each of them in a fresh kernel.
    """
    manager = AsyncKernelManager(kernel_name="python3")
    yield manager
    if manager.has_kernel:
        run_sync(manager.shutdown_kernel)(now=True)


@pytest.fixture(scope="module")
def school_of(tmp_path_factory):
    """Path of a file of a school with one of its uses."""
    folder = tmp_path_factory.mktemp("schools")

    def written(name, use):
        school = load(ROOT / "scenarios" / f"{name}.toml")
        path = folder / f"{name}_{use}.toml"
        save(replace(school, uses=(school.use(use),), text=None), path, overwrite=True)
        return str(path)

    return written


@pytest.mark.parametrize(
    "path, case",
    [(path, case) for path in BOOKS for case in CASES[path.stem]],
    ids=lambda v: v.stem if isinstance(v, Path) else str(next(iter(v.values()))).split("/")[-1],
)
def test_workbook_runs_with_other_parameters(path, case, kernel, school_of):
    """Behavior: every cell runs, its own asserts included, with values other than those that are
    committed.
    """
    book = nbformat.read(path, as_version=4)
    if path.stem in FEWER_USES:
        case = {**case, "scenario": school_of(*FEWER_USES[path.stem])}
    (adjustments,) = [
        i for i, c in enumerate(book.cells) if "parameters" in c.metadata.get("tags", [])
    ]
    lines = "\n".join(f"{key} = {value!r}" for key, value in case.items())
    book.cells.insert(adjustments + 1, nbformat.v4.new_code_cell(lines))
    own = path.stem in PANELS
    if not own:
        book.cells.insert(0, nbformat.v4.new_code_cell(CLEARED.format(str(path.parent))))
    client = NotebookClient(
        book,
        timeout=300,
        kernel_name="python3",
        km=None if own else kernel,
        resources={"metadata": {"path": path.parent}},
    )
    client.execute()
    checks = [c for c in book.cells if "check" in c.metadata.get("tags", [])]
    assert (checks or path.stem in PAGES) and all(c.outputs for c in checks)


def statements(source):
    """Logical lines of a cell, however many lines the formatter makes of them."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return sum(token.type == tokenize.NEWLINE for token in tokens)


@pytest.mark.parametrize("path", BOOKS, ids=lambda p: p.stem)
def test_stored_outputs(path):
    """Behavior: a checked cell has an output to compare with; no widget state, no error, no long
    code is stored.
    """
    book = json.loads(path.read_text(encoding="utf-8"))
    assert "widgets" not in book["metadata"]
    checked = 0
    for cell in book["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] != "code":
            continue
        assert all(o["output_type"] != "error" for o in cell["outputs"])
        assert statements(source) <= 15
        if "NBVAL_CHECK_OUTPUT" in source:
            checked += 1
            assert "".join(cell["outputs"][0]["text"]).strip()
    assert checked or path.stem in PAGES, "the workbook checks nothing"
