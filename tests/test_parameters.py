"""The parameters cell of every workbook: what no cell can work with is refused in words."""

import ast
import json
from functools import cache
from pathlib import Path

import pytest

from gymtools.display import parameters
from gymtools.display.parameters import COUNTS, MAY_BE_EMPTY, MAY_BE_NONE, RANGES, checked

ROOT = Path(__file__).resolve().parent.parent / "workbooks"
BOOKS = sorted(
    p
    for p in ROOT.rglob("*.ipynb")
    if ".ipynb_checkpoints" not in p.parts and p.stem != "glossary"  # which has words only
)
WRONG = (None, "", 0, -1, 1e9, float("nan"), "no such name", True, [], [3], object())
WELL = {  # what of these is a value that a parameter may well have
    "begin_with": (),
    "against": ([],),
    "arrangements": ([],),
    "uses": ([],),
    "readings": ("no such name",),
    "waves": ("no such name",),
    "where": ("no such name",),
    "attempts_file": ("no such name",),
    "progress_file": ("no such name",),
    "name": ("no such name",),
    "reason": ("no such name",),
    "prepared_for": ("no such name",),
    "export_to": ("no such name",),
    "my_file": ("no such name",),
    "files": ([],),
    "seed": (0,),
}


def given_and_checked(path):
    """The parameters of a workbook, and the names that its next code cell checks."""
    book = json.loads(path.read_text(encoding="utf-8"))
    code = ["".join(c["source"]) for c in book["cells"] if c["cell_type"] == "code"]
    given = {}
    exec(code[0], given)
    call = next(
        node.value
        for node in ast.parse(code[1]).body
        if isinstance(node, ast.Expr) and getattr(node.value.func, "id", "") == "checked"
    )
    return {k: v for k, v in given.items() if k[0] != "_"}, [k.arg for k in call.keywords]


def refused(given):
    """The refusal of parameters, or None."""
    try:
        checked(**given)
    except ValueError as error:
        return str(error)
    return None


@pytest.mark.parametrize("path", BOOKS, ids=lambda p: p.stem)
def test_every_parameter_is_checked_before_it_is_used(path, monkeypatch):
    """Behavior: those of the cell are all right; each of them made wrong in turn is refused in one
    line that says where, which, and what is allowed.
    """
    monkeypatch.chdir(path.parent)
    read = cache(parameters.load)  # a scenario is read once, not for every wrong neighbor
    monkeypatch.setattr(parameters, "load", read)
    given, names = given_and_checked(path)
    assert list(given) == names and refused(given) is None
    for name in names:
        for wrong in WRONG:
            may = name in MAY_BE_NONE and wrong is None or name in MAY_BE_EMPTY and wrong == ""
            may |= any(
                wrong is w or (type(wrong) is type(w) and wrong == w) for w in WELL.get(name, ())
            )
            if name == "units" and "reader" not in given:
                may = False
            if name in RANGES and type(wrong) in (int, float):
                may = RANGES[name][0] <= wrong <= RANGES[name][1]
            if name in COUNTS and type(wrong) in (int, float):
                may = COUNTS[name][0] <= wrong <= COUNTS[name][1]
            said = refused({**given, name: wrong})
            if may:
                continue
            assert said, (name, wrong)
            assert said.startswith("In the parameters cell: ") and "\n" not in said, said
            assert name in said or name in ("scenario", "brief"), said


@pytest.mark.parametrize(
    "name, wrong, said",
    [
        ("scenario", "../scenarios/dovcote.toml", "dovcote.toml"),
        ("scenario", None, "scenario = None is no path. Give that of a scenario file"),
        ("use", "gmae", "use = 'gmae' is unknown. Did you mean 'game'[?] Known: game, class"),
        (
            "arrangements",
            ["pendant"],
            "arrangements = 'pendant' is unknown. Did you mean 'pendants'",
        ),
        ("draws", 0, "draws = 0 is outside 20 to 5000"),
        ("draws", None, "draws = None is not a number"),
    ],
)
def test_a_likely_slip_is_named(name, wrong, said, monkeypatch):
    """Behavior: a misspelled use, school or layout is answered with the name that is meant."""
    monkeypatch.chdir(ROOT)
    given, _ = given_and_checked(ROOT / "better_design.ipynb")
    with pytest.raises(ValueError, match=said):
        checked(**{**given, name: wrong})


def test_exchanged_distances_are_refused():
    """Behavior: a back row before the front row is an exchange."""
    with pytest.raises(ValueError, match="back_m = 5 m is not behind front_m = 20 m. Exchanged"):
        checked(front_m=20.0, back_m=5.0)
    with pytest.raises(ValueError, match="near_m = 0.4 m is not nearer than far_m = 0.2 m"):
        checked(near_m=0.4, far_m=0.2)


@pytest.mark.parametrize(
    "name, wrong, said",
    [
        ("begin_with", {("groups",): 1}, "groups = 1 must be a list"),
        ("begin_with", {1: 2}, "begin_with: 1 is no path. Give tuples of names"),
        ("roof", "nope", "roof = 'nope' is unknown"),
        ("draws", "x" * 5000, "draws = 'xxx"),
        ("scenario", "x" * 5000, "scenario"),
        ("readings", "a\nb", "readings = 'a"),
    ],
)
def test_a_refusal_stays_short(name, wrong, said):
    """Regression: changes that cannot be passed, long values and long lists filled the page."""
    school = {"scenario": ROOT.parent / "scenarios" / "dovecote.toml"}
    with pytest.raises(ValueError, match="^In the parameters cell: ") as refusal:
        checked(**{**school, name: wrong})
    text = str(refusal.value)
    assert "\n" not in text and len(text) < 330
    assert said in text or name == "scenario"
