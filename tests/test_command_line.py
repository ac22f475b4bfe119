"""The commands as they are typed: examples, refusals in one line, and what they print."""

import csv
import json
import shlex
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from test_letter import FEW

from gymtools import evaluate, load, save
from gymtools.command_line import arguments, designs, documents, entry, figures
from gymtools.command_line.entry import main
from gymtools.command_line.progress import Progress
from gymtools.design.aiming import Aimed
from gymtools.design.comparing import check_same_gym, differing_values
from gymtools.design.decision import decide
from gymtools.design.offer import offer
from gymtools.venue.paths import changed, value_at
from gymtools.venue.uses import GroupSetting

COMMANDS = (
    *("open", "new", "check", "evaluate", "advise", "arrange", "aim", "record", "letter"),
    *("specification", "drawings", "survey", "testplan", "report"),
)
SCENARIO = "scenarios/larkfield.toml"


@pytest.fixture
def quick(monkeypatch):
    """Evaluations by formula: what is printed is tested, not the room."""
    monkeypatch.setattr(figures, "evaluate", lambda s, use: evaluate(s, use, room="statistical"))


@pytest.fixture
def school(tmp_path):
    """A small school's file."""
    return str(save(FEW, tmp_path / "small.toml"))


def typed(given):
    """Status of a command line, also where the parser ends it."""
    try:
        return main([str(a) for a in given])
    except SystemExit as ended:
        return ended.code


@pytest.mark.parametrize("command", COMMANDS)
def test_the_example_of_every_command_can_be_typed(command, capsys):
    """Behavior: --help of every command has one example, and the parser takes it."""
    assert typed([command, "--help"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert shown.count("example: ") == 1
    example = shlex.split(shown.partition("example: ")[2])
    words = example[example.index(command) :]
    assert entry._parser().parse_args(words).command == command


def test_the_cheap_examples_run(capsys):
    """Behavior: what --help gives as an example of checking and listing really runs."""
    assert main(["check", SCENARIO]) == 0
    assert f"{SCENARIO}: ok" in capsys.readouterr().out
    assert main(["arrange", SCENARIO, "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "Fits" in next(line for line in lines if line.startswith("pendant grid:"))
    assert "No: a built-in stage" in next(x for x in lines if x.startswith("stage on a side:"))


def test_called_by_either_name(monkeypatch, capsys):
    """Behavior: help reads as the command was called, and --version names the package."""
    monkeypatch.setattr("sys.argv", ["/usr/bin/gymtools"])
    assert typed(["--version"]) == 0 and capsys.readouterr().out == "gymtools 0.1.0\n"
    typed(["check", "--help"])
    assert "example: gymtools check " in capsys.readouterr().out
    monkeypatch.setattr("sys.argv", ["/x/gymtools/__main__.py"])
    typed(["check", "--help"])
    assert "example: python -m gymtools check " in " ".join(capsys.readouterr().out.split())


def test_check_says_every_line_that_is_wrong(tmp_path, capsys):
    """Behavior: a faulty file is told line by line, the others are checked all the same; status
    1.
    """
    text = Path(SCENARIO).read_text(encoding="utf-8").replace("width = 96", "widht = 96")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(text, encoding="utf-8")
    assert main(["check", str(wrong), str(tmp_path / "none.toml"), SCENARIO]) == 1
    out = capsys.readouterr().out
    assert "widht" in out and "none.toml: there is no such" in out and f"{SCENARIO}: ok" in out


def test_evaluate_prints_and_writes_the_same_verdicts(quick, school, tmp_path, capsys):
    """Behavior: words, CSV and JSON hold the verdicts of the evaluation, worst first."""
    use = FEW.uses[0].name
    found = evaluate(load(school), use, room="statistical").verdicts
    assert main(["evaluate", school, "--use", use, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert len(rows) == len(found) and {r["use"] for r in rows} == {use}
    order = [figures.WORDS.index(r["verdict"]) for r in rows]
    assert order == sorted(order, reverse=True)
    table = tmp_path / "verdicts.csv"
    assert main(["evaluate", school, "--use", use, "--csv", str(table)]) == 0
    with table.open(encoding="utf-8", newline="") as file:
        assert [r["why"] for r in csv.DictReader(file)] == [r["why"] for r in rows]
    capsys.readouterr()
    assert main(["evaluate", school, "--use", use]) == 0
    out = capsys.readouterr().out
    assert all(r["why"] in out for r in rows)


def test_arrange_writes_a_new_file(school, tmp_path, capsys):
    """Behavior: the new scenario holds the arrangement, a file that is there is kept."""
    out = tmp_path / "other.toml"
    given = ["arrange", school, "--with", "pendant grid", "--out", str(out)]
    assert main(given) == 0 and "other.toml: " in capsys.readouterr().out
    assert load(out).groups != load(school).groups
    assert main(given) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "--out" in err and "--overwrite" in err
    assert main([*given, "--overwrite"]) == 0


def test_aim_says_what_changed(school, tmp_path, monkeypatch, capsys):
    """Behavior: the file holds the aim that was found, and every value that moved is printed; where
    none is better nothing is written.
    """
    name, path = FEW.groups[0].name, ("groups", FEW.groups[0].name, "downtilt_deg")
    more = dict(penalties_before={}, penalties_after={}, room="traced", given_up=False)
    more |= dict(evaluations=9, stopped=False, gains_buy={}, before=3.0)
    more |= dict(scenario=changed(FEW, {path: 35.0}), moved={path: (value_at(FEW, path), 35.0)})
    monkeypatch.setattr(designs, "aim", lambda *_, **__: Aimed(after=2.0, **more))
    out = tmp_path / "aimed.toml"
    assert main(["aim", school, "--out", str(out)]) == 0 and out.exists()
    said = capsys.readouterr().out
    assert f"group '{name}', downtilt: from " in said and "to 35°" in said
    assert "is 2.0 steps now, and was 3.0" in said
    assert value_at(load(out), path) == 35.0
    monkeypatch.setattr(
        designs, "aim", lambda *_, **__: Aimed(**(more | dict(after=3.0, moved={})))
    )
    out = tmp_path / "none.toml"
    assert main(["aim", school, "--out", str(out)]) == 0 and not out.exists()


@pytest.mark.parametrize(
    "given, said",
    [
        (["evaluate", "none.toml"], "there is no such scenario file"),
        (["evaluate", SCENARIO, "--use", "gala"], "--use 'gala'"),
        (["advise", SCENARIO, "--use", "gala"], "game"),
        (["advise", SCENARIO, "--prices", "none.csv"], "--prices none.csv"),
        (["record", SCENARIO, "--prices", "none.csv"], "--prices none.csv"),
        (["letter", SCENARIO, "--prices", "none.csv"], "--prices none.csv"),
        (["specification", SCENARIO, "--prices", "none.csv"], "--prices none.csv"),
        (["evaluate", SCENARIO, "--csv", "missing/x.csv"], "--csv missing/x.csv"),
        (["aim", SCENARIO, "--out", "scenarios"], "--out scenarios"),
        (["aim", SCENARIO, "--out", SCENARIO], "--overwrite"),
        (["arrange", SCENARIO, "--with", "chandelier"], "chandelier"),
        (["drawings", SCENARIO, "--folder", "missing"], "--folder missing"),
        (["drawings", SCENARIO, "--date", "friday"], "friday"),
        (["testplan", SCENARIO, "--use", "gala"], "--use 'gala'"),
        (["report", SCENARIO, "none.csv"], "none.csv"),
        (["letter", SCENARIO, "--against", "scenarios/alderway.toml"], "different gyms"),
        (["record", SCENARIO, "--against", "scenarios/alderway.toml"], "different gyms"),
    ],
)
def test_refused_in_one_line_before_anything_is_computed(given, said, monkeypatch, capsys):
    """Behavior: what cannot work is refused at once, in one line that names it; status 2."""
    for module, name in (
        *((figures, "evaluate"), (figures, "advise"), (designs, "aim"), (documents, "parts")),
        *((documents, "decide"), (documents, "offer")),
    ):
        monkeypatch.setattr(module, name, None)  # nothing may be computed
    assert typed(given) == 2
    out, err = capsys.readouterr()
    assert said in err and err.count("\n") == 1 and out == ""


def test_drawings_alone(tmp_path, monkeypatch, capsys):
    """Behavior: a folder that is there is refused before the rays are followed."""
    monkeypatch.setattr(documents, "parts", None)
    (tmp_path / documents.folder_name(load(SCENARIO), "drawings")).mkdir()
    assert main(["drawings", SCENARIO, "--folder", str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert "--overwrite" in err and err.count("\n") == 1


def test_progress_is_one_line_on_a_terminal_and_few_elsewhere(monkeypatch, capsys):
    """Behavior: a terminal sees one line rewritten; a log gets no line a step."""
    with Progress("Following all rays") as tell:
        for n in range(50):
            tell(n / 50)
    assert capsys.readouterr().err == "Following all rays ...\n"
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with Progress("Following all rays") as tell:
        tell(0.5)
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and err.endswith("\rFollowing all rays ... 50 %\n")


def test_options_of_different_gyms_are_refused_in_design_too():
    """Behavior: notebooks and the Compare tab refuse them as the commands do; another treatment or
    other loudspeakers are options.
    """
    options = {"one": load(SCENARIO), "other": load("scenarios/alderway.toml")}
    for work in (decide, offer):
        with pytest.raises(ValueError, match="are different gyms, not options of one: length"):
            work(options)
    check_same_gym({"one": FEW, "other": replace(FEW, treatments=())})


def test_a_group_that_a_use_does_not_name_plays_all_the_same():
    """Regression: where a search named it at last, it was said to have been off before ("plays:
    from - to yes"); only what changed is listed.
    """
    (group, *_), (use, *_) = FEW.groups, FEW.uses
    bare = replace(FEW, uses=(replace(use, groups={}), *FEW.uses[1:]))
    louder = replace(use, groups={group.name: GroupSetting(gain_db=-2.0)})
    found = differing_values(bare, replace(FEW, uses=(louder, *FEW.uses[1:])))
    what = f"use '{use.name}', loudspeakers in it, {group.name}, gain"
    assert found == [(what, "0 dB", "-2 dB")]


def test_long_lines_are_not_torn_on_a_terminal(monkeypatch, capsys):
    """Behavior: on a terminal of 80 columns words stand whole, what follows stands further in;
    where nobody looks it stays one line, for who searches it.
    """
    words = "wall panels over the north bank " * 6
    monkeypatch.setenv("COLUMNS", "80")
    arguments.print_lines(words, "  ")
    assert capsys.readouterr().out.count("\n") == 1
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    arguments.print_lines(words, "  ")
    first, *more = capsys.readouterr().out.splitlines()
    assert first.startswith("  wall") and more and all(x.startswith("    ") for x in more)
    assert all(len(x) < 80 for x in (first, *more))
    assert " ".join(" ".join([first, *more]).split()) == words.strip()
