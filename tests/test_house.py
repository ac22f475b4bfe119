"""The house kept in order: layers, docstrings, sources, file names, and nothing that must not be in
a file.
"""

import ast
import csv
import re
import subprocess
import sys
from pathlib import Path

import pytest
from house import PACKAGE, ROOT, TESTS, docstring_faults, offenders

# each may import itself and what stands before it
LAYERS = [
    "physics",
    "venue",
    "acoustics",
    "equipment",
    "design",
    "commissioning",
    "training",
    "display",
    "command_line",
]
RANK = {name: number for number, name in enumerate(LAYERS)}
# what breaks a rule and is still to be mended; the list may only shrink
OPEN = set((TESTS / "open_offenders.txt").read_text(encoding="utf-8").split("\n")) - {""}


def rooms_imported_by(path, root=PACKAGE):
    """Rooms that a file imports, absolutely or relatively."""
    package = ["gymtools", *path.relative_to(root).parent.parts]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            names = [*base, *(node.module or "").split(".")]
            candidates = [".".join([*names, alias.name]) for alias in node.names]
        elif isinstance(node, ast.Import):
            candidates = [alias.name for alias in node.names]
        else:
            continue
        for name in candidates:
            parts = [p for p in name.split(".") if p]
            if parts[0] == "gymtools" and len(parts) > 1 and parts[1] in RANK:
                yield parts[1]


@pytest.mark.parametrize(
    "path",
    sorted(p for p in PACKAGE.rglob("*.py") if p.parent != PACKAGE),
    ids=lambda p: p.relative_to(PACKAGE).as_posix(),
)
def test_imports_point_downwards(path):
    """Behavior: a room imports itself and what lies below it, nothing above."""
    own = path.relative_to(PACKAGE).parts[0]
    for room in rooms_imported_by(path):
        assert RANK[room] <= RANK[own], f"{path.relative_to(PACKAGE)} must not import {room}"


def test_the_import_check_sees_relative_and_absolute_imports(tmp_path):
    """Behavior: the check above would notice, both forms of an upward import are found."""
    wrong = tmp_path / "physics" / "air.py"
    wrong.parent.mkdir()
    wrong.write_text(
        "from ..display import theme\nimport gymtools.venue.hall\nfrom . import bands\n"
    )
    assert list(rooms_imported_by(wrong, tmp_path)) == ["display", "venue", "physics"]
    deep = tmp_path / "physics" / "kernels" / "rays.py"
    deep.parent.mkdir()
    deep.write_text("from ...acoustics import arrivals\nfrom .. import bands\n")
    assert list(rooms_imported_by(deep, tmp_path)) == ["acoustics", "physics"]


@pytest.mark.parametrize("path", sorted((PACKAGE / "physics").glob("*.py")), ids=lambda p: p.name)
def test_physics_imports_arrays_and_compilers_alone(path):
    """Behavior: no file, widget or plot below the formulas; one module shares the cores."""
    allowed = {
        *("numpy", "scipy", "numba", "dataclasses", "functools", "math", "typing"),
        *("warnings", "importlib", "threading", "_thread"),
    }
    if path.name == "cores.py":
        allowed |= {"os", "concurrent", "contextlib", "contextvars", "threadpoolctl"}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and not node.level:
            names = [node.module]
        assert {n.split(".")[0] for n in names} <= allowed, f"{path.name} imports {names}"


def test_the_core_imports_neither_plots_nor_widgets():
    """Behavior: a script that only evaluates does not pay for the workbook."""
    code = "import sys, gymtools; print(*(m for m in ('plotly', 'ipywidgets') if m in sys.modules))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == ""


@pytest.fixture(scope="module")
def found():
    """What breaks a rule today."""
    return set(offenders())


@pytest.mark.parametrize("rule", ["docstring", "lines", "parameters", "kind", "match"])
def test_the_house_rules_hold(found, rule):
    """Regression: docstrings name every parameter in order, with units, shapes, Returns, Raises and
    Sources; functions have at most 40 lines of body and 6 parameters; every test says its kind,
    every expected error its words. ``python tests/house.py`` lists what breaks a rule.
    """
    wrong = [line for line in sorted(found - OPEN) if line.startswith(f"{rule} ")]
    assert not wrong, "\n".join(wrong)


def test_the_list_of_open_offenders_only_shrinks(found):
    """Regression: whatever has been mended is taken off the list."""
    assert not OPEN - found, "\n".join(sorted(OPEN - found))


def check(thing, *parameters):
    """Faults of a docstring as one text."""
    return "; ".join(docstring_faults(thing, list(parameters)))


def test_the_docstring_rule_sees_what_is_missing():
    """Behavior: a unit, a shape, a result, a refusal and an empty [-] are each noticed; a docstring
    that has them is let through.
    """

    def lacking(level_db, name):
        """Level.

        Parameters
        ----------
        level_db : array
            Level
        name : str
            Of a room [-]
        """
        if name == "":
            raise ValueError("name: give one.")
        return level_db

    def complete(level_db, name):
        """Level.

        Parameters
        ----------
        level_db : array
            Level (point, band) [dB]
        name : str
            Of a room

        Returns
        -------
        level_db : ndarray
            As given (point, band) [dB]

        Raises
        ------
        ValueError
            No name
        """
        if name == "":
            raise ValueError("name: give one.")
        return level_db

    faults = check(lacking, "level_db", "name")
    for words in ("no unit", "no shape", "[-] says nothing", "no Returns", "without Raises"):
        assert words in faults
    assert check(complete, "level_db", "name") == ""
    assert "takes ['name']" in check(complete, "name")


@pytest.mark.parametrize("path", sorted((PACKAGE / "data").glob("*.csv")), ids=lambda p: p.name)
def test_every_row_of_data_has_a_source(path):
    """Behavior: tables carry their sources row by row."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows and all(row["source"].strip() for row in rows)


def committed():
    """Text files under version control."""
    out = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True)
    names = (
        out.stdout.split("\0")
        if out.returncode == 0
        else [str(p.relative_to(ROOT)) for p in ROOT.rglob("*.py")]
    )
    return [
        ROOT / n
        for n in names
        if n
        and Path(n).suffix in {".py", ".md", ".toml", ".csv", ".ipynb", ".txt", ""}
        and (ROOT / n).is_file()
    ]


def test_no_machine_path_and_no_registry_host_in_any_file():
    """Behavior: files must mean the same on every machine."""
    path = re.compile(r"(?<![\w.])/(?:home|root|tmp|Users|work)/[a-z]")
    host = re.compile(r"pypi\.org|pythonhosted|registry\.npmjs|deb\.debian|index-url", re.I)
    for file in committed():
        if file.name != Path(__file__).name:
            text = file.read_text(encoding="utf-8")
            assert not path.search(text) and not host.search(text), file


def test_top_level_holds_what_it_should():
    """Behavior: README.md, DEVELOPERS.md, requirements.txt, workbooks, gymtools, tests, scenarios,
    pyproject.toml and dot-files.
    """
    tops = {p.relative_to(ROOT).parts[0] for p in committed()}
    wanted = {
        "README.md",
        "DEVELOPERS.md",
        "requirements.txt",
        "workbooks",
        "gymtools",
        "tests",
        "scenarios",
        "pyproject.toml",
    }
    assert {t for t in tops if not t.startswith(".")} == wanted


@pytest.mark.parametrize("command", ["check --no-cache", "format --check --no-cache"])
def test_code_is_clean(command):
    """Behavior: ruff finds nothing and would change nothing in package, tests and notebooks, 100
    columns.
    """
    words = [sys.executable, "-m", "ruff", *command.split(), "."]
    out = subprocess.run(words, cwd=ROOT, capture_output=True, text=True)
    assert out.returncode == 0, out.stdout


def test_the_formatter_is_not_switched_off():
    """Behavior: no file asks the formatter to skip lines, but for tables of numbers
    (tests/reference.py), or the linter to let a long one pass.
    """
    skip, name = re.compile(r"#\s*(fmt:\s*(skip|off)|noqa.*E501)"), Path(__file__).name
    code = [p for p in committed() if p.suffix in {".py", ".ipynb"} and p.name != name]
    asking = {p.name for p in code if skip.search(p.read_text(encoding="utf-8"))}
    assert asking <= {"reference.py"}
