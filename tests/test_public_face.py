"""What other people's scripts rely on: the names, keywords, defaults and result attributes on
DEVELOPERS.md's page "The public face". Additions are fine; what stands on the page stays.
"""

import importlib
import inspect
import re
from pathlib import Path

import numpy as np
import pytest

import gymtools
from gymtools.acoustics.criteria import CRITERIA, WORDS
from gymtools.design.aiming import Weights

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FACE = PAGE.partition("## The public face")[2].partition("\n## ")[0]
DOVECOTE = gymtools.load(ROOT / "scenarios" / "dovecote.toml")


def promised():
    """(module, signature text) of every line of the page's code block."""
    module, found = None, []
    for line in FACE.partition("```python\n")[2].partition("```")[0].splitlines():
        if line.startswith("# "):
            module = line[2:]
        elif line:
            found.append((module, line))
    return found


def as_function(text, names):
    """A function with the signature of a line of the page; constants are looked up in ``names``."""
    made = {}
    exec(f"def {text}: pass", dict(names), made)
    return next(iter(made.values()))


def same_default(a, b):
    """Whether two defaults are the same, arrays included."""
    return type(a) is type(b) and bool(np.all(np.asarray(a == b)))


@pytest.mark.parametrize("module, text", promised(), ids=lambda v: v.partition("(")[0])
def test_names_keywords_and_defaults_stay(module, text):
    """Regression: whatever the page says can be written is accepted, and means the same when it is
    left out; what was added since has a default and is given by name.
    """
    module = importlib.import_module(module)
    wanted = as_function(text, vars(module))
    actual = dict(inspect.signature(getattr(module, wanted.__name__)).parameters)
    order = [name for name in actual if name in inspect.signature(wanted).parameters]
    for name, parameter in inspect.signature(wanted).parameters.items():
        assert name in actual, f"{wanted.__name__} no longer takes {name}"
        assert actual[name].kind is parameter.kind, name
        assert same_default(actual[name].default, parameter.default), name
    assert order == list(inspect.signature(wanted).parameters)
    for name in actual.keys() - set(order):
        assert actual[name].kind is inspect.Parameter.KEYWORD_ONLY, name
        assert actual[name].default is not inspect.Parameter.empty, name


def test_the_page_lists_the_whole_face():
    """Regression: every function of ``gymtools.__all__`` stands on the page, and nothing else of
    the package's top.
    """
    listed = {text.partition("(")[0] for module, text in promised() if module == "gymtools"}
    classes = {n for n in gymtools.__all__ if inspect.isclass(getattr(gymtools, n))}
    assert listed == set(gymtools.__all__) - classes
    assert classes == {"Result", "Scenario"}
    assert len(promised()) == len(set(promised())) > 40


def attributes():
    """(name, shape, unit) of every row of the page's table."""
    rows = re.findall(r"^\| `(\w+)` \|([^|]*)\|([^|]*)\|", FACE, re.M)
    return [tuple(cell.strip() for cell in row) for row in rows]


@pytest.fixture(scope="module")
def result():
    """A use with a microphone."""
    return gymtools.evaluate(DOVECOTE, "class")


@pytest.mark.parametrize("name, shape, unit", attributes(), ids=lambda v: v or "-")
def test_result_attributes_stay(result, name, shape, unit):
    """Regression: every attribute on the page is there with its shape: P points, S loudspeakers."""
    sizes = {"P": len(result.points), "S": len(DOVECOTE.loudspeakers), "7": 7, "3": 3}
    value = getattr(result, name)
    if shape == "tuple":
        assert isinstance(value, tuple) and value
        return
    wanted = tuple(sizes[letter] for letter in re.findall(r"\b[PS]\b|\d", shape.split("(")[1]))
    if shape.startswith("by name"):
        assert set(value) >= {"edt", "t20", "t30"}
        value = value["edt"]
    assert np.shape(value) == wanted


def test_the_page_lists_what_scripts_read():
    """Regression: the attributes that scripts were promised are all on the page."""
    assert {name for name, _, _ in attributes()} >= set(
        "points area level_db total_db speech_dba sti arrival_s rt decay_times verdicts"
        " microphones".split()
    )


def test_the_example_of_a_use_is_a_use():
    """Behavior: the lines that the page gives for another use can be added to a school's file."""
    lines = PAGE.partition("```toml\n")[2].partition("```")[0]
    school = (ROOT / "scenarios" / "larkfield.toml").read_text(encoding="utf-8")
    added = gymtools.parse(f"{school}\n{lines}").uses[-1]
    assert added.name == "town meeting" and added.target_dba == 78
    assert added.listens == {"north bank": 1.0, "court": 0.5}


def test_a_verdict_carries_numbers_and_places(result):
    """Regression: fields of a verdict; its criterion is a key, its word one of four."""
    for v in result.verdicts:
        assert CRITERIA[v.criterion].unit == v.unit and v.word in WORDS
        assert isinstance(v.value, float) and isinstance(v.target, float)
        assert all(isinstance(text, str) for text in (v.area, v.place, v.source))


def test_former_keywords_work_and_say_so():
    """Regression: what was called cabinet, wishes, tilt_deg and "centre four" is still understood,
    does the same, and is said once, at the caller's line.
    """
    with pytest.warns(FutureWarning, match=r"arrange\(cabinet=\.\.\.\) is now") as said:
        former = gymtools.arrange(DOVECOTE, "pendants", cabinet="pendant 100")
    assert former == gymtools.arrange(DOVECOTE, "pendants", loudspeaker="pendant 100")
    with pytest.warns(FutureWarning, match="'centre four' is now 'center four'"):
        former = gymtools.arrange(DOVECOTE, "centre four")
    assert former == gymtools.arrange(DOVECOTE, "center four")
    few = dict(starts=1, evaluations=8)
    with pytest.warns(FutureWarning, match=r"aim\(wishes=\.\.\.\) is now"):
        former = gymtools.aim(DOVECOTE, move=["pan_deg"], wishes=Weights(), **few)
    assert former.scenario == gymtools.aim(DOVECOTE, move=["pan_deg"], **few).scenario
    with pytest.warns(FutureWarning, match=r"tilt_deg'? is now '?downtilt_deg"):
        former = gymtools.aim(DOVECOTE, move=["tilt_deg"], **few)
    assert former.scenario == gymtools.aim(DOVECOTE, move=["downtilt_deg"], **few).scenario
    assert all(warning.filename == __file__ for warning in said)


def test_follow_echoes_is_accepted():
    """Regression: scripts that ask for echoes, or do not, get the same result."""
    with_echoes, without = (
        gymtools.evaluate(DOVECOTE, "class", follow_echoes=follow) for follow in (True, False)
    )
    assert np.array_equal(with_echoes.sti, without.sti)


def named_things(page):
    """Dotted names in backquotes that mean a module of the package or something in it."""
    rooms = "|".join(p.parent.name for p in (ROOT / "gymtools").glob("*/__init__.py"))
    text = (ROOT / page).read_text(encoding="utf-8")
    found = set(re.findall(rf"`(?:gymtools\.)?((?:{rooms})\.[\w.]*\w)[^`]*`", text))
    return sorted(name for name in found if not name.endswith(".ipynb"))


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_what_the_pages_name_is_there(page):
    """Behavior: every module, function and object that the two pages name can be found."""
    names = named_things(page)
    assert len(names) > 5
    for name in names:
        parts, found = name.split("."), gymtools
        for n, part in enumerate(parts):
            if not hasattr(found, part):
                importlib.import_module(".".join(["gymtools", *parts[: n + 1]]))
            found = getattr(found, part)


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_files_that_the_pages_name_are_there(page):
    """Behavior: every file and folder that the two pages name is there."""
    text = (ROOT / page).read_text(encoding="utf-8")
    paths = set(re.findall(r"`((?:[\w.-]+/)+[\w.-]*|[\w-]+\.ipynb)`", text))
    homes = (ROOT, ROOT / "gymtools", ROOT / "workbooks")
    missing = [p for p in paths if not any((home / p).exists() for home in homes)]
    assert paths and not set(missing) - {"tests/screenshots/"}


def given(function, **changes):
    """What a public function is called with, one thing of it wrong."""
    least = {
        "sweep": {"axes": {"tilt": {"as it is": {}}}},
        "how_sure": {"draws": 20},
        "aim": {"evaluations": 5, "starts": 1},
        "save": {"path": "never-written.toml"},
    }
    return {"scenario": DOVECOTE, **least.get(function, {}), **changes}


@pytest.mark.parametrize("function", ["aim", "advise", "how_sure", "sweep"])
@pytest.mark.parametrize("name", ["progress", "stop"])
@pytest.mark.parametrize("wrong", [0, True, "print", np.array([1, 2])])
def test_what_cannot_be_called_is_refused(function, name, wrong):
    """Regression: a traceback came from deep inside, or 0 went for none at all."""
    with pytest.raises(ValueError, match=rf"^{name} = .* is no function\. Give its name without"):
        getattr(gymtools, function)(**given(function, **{name: wrong}))


TILT = ("groups", "wall pair", "downtilt_deg")


@pytest.mark.parametrize(
    "function, changes, said",
    [
        (
            "save",
            dict(scenario=None),
            r"^scenario = None is no Scenario\. Give what gymtools\.load",
        ),
        ("save", dict(path=None), r"^path = None is no path\. Say where the scenario file goes\.$"),
        ("save", dict(path=""), r"^path = '\.' is no file name\."),
        ("save", dict(overwrite="nope"), r"^overwrite = 'nope' is neither True nor False\."),
        ("to_text", dict(scenario=3), r"^scenario = 3 is no Scenario\."),
        ("aim", dict(groups=0), r"^groups = 0 is no list of names\. Give some of: wall pair"),
        ("aim", dict(groups=np.array([1, 2])), r"^groups = \(ndarray\) is no list of names\."),
        ("aim", dict(symmetric="nope"), r"^symmetric = 'nope' is neither True nor False\."),
        ("aligned", dict(lead_s=[]), r"^lead_s = \[\] is not a number\. Give 0 to 0\.2 s\.$"),
        ("aligned", dict(lead=np.array([1, 2])), r"^lead = \(ndarray\) is neither 'talker' nor"),
        ("aligned", dict(groups=0), r"^groups = 0 is no list of names\."),
        ("evaluate", dict(use="a\nb"), r"^use 'a\\nb' is unknown\. Known: game, class, ass"),
        ("evaluate", dict(use=np.array([1, 2])), r"^use \(ndarray\) is unknown\. Known: game"),
        ("sweep", dict(axes={"t": {"x": {("groups",): None}}}), None),
        ("sweep", dict(axes={"t": {"x": {1: 2}}}), r"^axes: choice 'x' of 't': 1 is no path\."),
        ("sweep", dict(axes={"t": {"x": {TILT: None}}}), None),
        ("sweep", dict(file="nowhere/x.csv"), r"^file = 'nowhere/x\.csv': its folder is not there"),
    ],
)
def test_wrong_arguments_are_refused_in_one_line(function, changes, said):
    """Regression: these gave a traceback, two lines, or were taken for something else; a choice
    that cannot be is refused in its row.
    """
    if said is None:
        (row,) = gymtools.sweep(**given(function, **changes))
        assert row["refused"].endswith(("must be a list.", "Give -30 to 90 deg."))
        return
    with pytest.raises(ValueError, match=said) as refusal:
        getattr(gymtools, function)(**given(function, **changes))
    assert "\n" not in str(refusal.value) and len(str(refusal.value)) < 300
