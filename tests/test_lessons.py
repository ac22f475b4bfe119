"""Lessons: guesses answered by computing, nothing revealed before, aims computed, values from print
and by hand compared, and how they are written.
"""

import json
import re
from pathlib import Path

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go
import pytest

from gymtools.display.lessons.experiment import Aim, Experiment
from gymtools.display.lessons.printed import ComparedTable, printed, worked_by_hand
from gymtools.display.lessons.question import Question, Slip, folded
from gymtools.display.panel.controls import SliderSpec

TRAINING = Path(__file__).resolve().parent.parent / "workbooks" / "training"
# the closing task: no guess, no experiment, no published table; it has panels instead
TASK = TRAINING / "design_task.ipynb"
LESSONS = sorted(path for path in TRAINING.glob("*.ipynb") if path != TASK)
MOST_WORDS = 750  # of prose: what is read in a few minutes, so that a lesson stays within twenty
LONGEST = 26  # words in a sentence, mean of a lesson


def question(answer=lambda: 12.34, **more):
    """A question whose answer is shown nowhere else."""
    settings = dict(
        low=0,
        high=40,
        first=3.0,
        near=0.5,
        slips=[Slip(lambda: 6.17, "That is 10 lg where 20 lg is meant.")],
    )
    return Question("How much?", "dB", answer, **{**settings, **more})


def tree(*widgets):
    """Everything that the widgets, and those inside them, hold for the page."""
    text = ""
    for widget in widgets:
        text += json.dumps(widget.get_state(), default=str)
        text += tree(*getattr(widget, "children", ()))
    return text


@pytest.mark.parametrize("step", [None, 0.1], ids=["typed", "slider"])
def test_nothing_is_revealed_before_the_guess(step):
    """Behavior: neither on the page nor computed at all; after the guess both are shown."""
    asked = []
    q = question(lambda: asked.append(1) or 12.34, step=step, solution=lambda: "<p>twice 6.17</p>")
    assert not asked
    assert "12.3" not in tree(q.asked, q.reply) and "6.17" not in tree(q.asked, q.reply)
    q.give("not yet")
    assert not asked and "12.3" not in tree(q.asked, q.reply)
    q.give(5)
    assert (
        asked
        and "12.3 dB" in tree(q.reply)
        and "5.0 dB" in tree(q.reply)
        and "twice 6.17" in tree(q.reply)
    )


def test_the_button_gives_the_entry():
    """Behavior: a decimal comma and the unit are understood."""
    q = question()
    q.entry.value = "12,2 dB"
    q.button.click()
    assert q.given == [12.2] and "Right" in q.reply.value


@pytest.mark.parametrize(
    "guess, word, off",
    [(12.34, "right", 0), (12.8, "right", 0.46), (11.0, "too low", -1.34), (20, "too high", 7.66)],
)
def test_right_and_wrong_guesses(guess, word, off):
    """Closed form: how far off, and in which direction."""
    reply = question().give(guess)
    assert reply.word == word and reply.off == pytest.approx(off)
    assert word == "right" or f"{abs(off):.1f} dB {word}" in reply.line


def test_a_typical_slip_is_named_by_what_it_gives():
    """Behavior: near the slip and not near the answer."""
    q = question()
    assert "10 lg" in q.give(6.2).line
    assert q.give(9.0).slip == ""
    assert question(lambda: 6.17).give(6.2).word == "right", (
        "a slip that happens to be right is no slip"
    )


@pytest.mark.parametrize(
    "guess",
    [
        "nan",
        float("nan"),
        "inf",
        "-inf",
        "",
        "about ten",
        None,
        "1e9",
        -0.1,
        40.1,
        "<b>3",
        [4],
        "3;4",
    ],
)
def test_absurd_guesses_get_one_clear_line(guess):
    """Behavior: nothing is raised, nothing is lost, nothing of the answer is revealed."""
    q = question()
    q.give(5)
    before = q.reply.value
    reply = q.give(guess)
    assert reply.word == "not a guess" and "\n" not in reply.line
    assert "not a number" in reply.line or "not between 0.0 dB and 40.0 dB" in reply.line
    assert q.given == [5.0] and q.value == 5.0 and q.reply.value == before
    assert "<b>3" not in q.refusal.value.split("</style>")[1].replace("<p>", "")
    q.give(6)
    assert (
        q.given == [5.0, 6.0]
        and "gt-card" not in q.refusal.value
        and "Before: 5.0 dB" in q.reply.value
    )


def test_a_question_without_an_answer_says_so():
    """Behavior: a refusal of the physics is shown, and no guess is counted."""

    def refuse():
        raise ValueError("height = 700 m is outside 3 to 25 m.")

    q = question(refuse)
    assert q.give(4).word == "no answer" and "height = 700 m" in q.reply.value
    assert question(lambda: np.nan).give(4).word == "no answer"
    assert q.value == 3.0, "the value shown at first"


def test_a_twin_reveals_nothing_of_the_first():
    """Behavior: a check may answer it."""
    q = question()
    q.twin().give(12.34)
    assert not q.given and "12.3" not in tree(q.asked, q.reply)


def parabola(x):
    if x > 8:
        raise ValueError(f"x = {x:g} m is outside 0 to 8 m.")
    return (x - 5) ** 2 + 1


def experiment(**more):
    aim = Aim(
        words="bring it down",
        what="height",
        measure=lambda y: y,
        unit="dB",
        **{"high": 2.0, **more},
    )
    adjustment = SliderSpec(path=("x",), label="along", low=0, high=10, step=0.5, unit="m")
    return Experiment(
        [adjustment], {"x": 0.0}, parabola, lambda y: go.Figure(go.Scatter(x=[0, 1], y=[y, y])), aim
    )


def test_the_aim_is_computed_and_the_picture_follows_in_place():
    """Closed form: a parabola, its number and its distance from the aim in both units of length."""
    trial = experiment()
    figure = trial.figure
    assert (
        not trial.reached
        and "26.0 dB" in trial.report.value
        and "24.0 dB too much. Not yet" in trial.report.value
    )
    trial.sliders.children[0].value = 5.5
    assert trial.reached and "1.2 dB. Reached" in trial.report.value
    assert trial.figure is figure and list(figure.data[0].y) == [1.25, 1.25]
    assert "5.50 m (18 ft" in trial.report.value, "both units"


def test_the_search_finds_what_reaches_the_aim():
    """Closed form: the steps of the slider between the roots of the parabola."""
    assert experiment().reaching("x") == [4.0, 4.5, 5.0, 5.5, 6.0]
    assert experiment(high=0.5).reaching("x") == []
    assert experiment(low=3.0, high=4.0).reaching("x") == [
        3.5,
        6.5,
    ], "refused places are passed over"


def test_a_refusal_is_shown_and_the_picture_stays():
    """Behavior: until the slider is back in its range; an unknown slider is refused."""
    trial = experiment()
    trial.set(x=5)
    trial.set(x=9)
    assert (
        "outside 0 to 8 m" in trial.message.value
        and list(trial.figure.data[0].y) == [1, 1]
        and trial.reached
    )
    trial.set(x=2)
    assert trial.message.value == "" and "10.0 dB" in trial.report.value
    with pytest.raises(ValueError, match="'y' is no slider here. Known: x"):
        trial.set(y=1)


def test_an_aim_from_below_and_one_without_a_number():
    """Behavior: how much is missing; what is no number does not reach an aim."""
    aim = Aim(words="enough", what="share", measure=lambda v: v, unit="%", low=40, digits=0)
    assert aim.report(30) == "share: 30 %; 40 % is the limit, so 10 % too little. Not yet."
    assert aim.report(np.nan) == "share: no number here. Not reached." and not aim.reached(np.nan)


@pytest.mark.parametrize(
    "text, value, source, fault",
    [
        ("3.01", 3.0103, "definition", ""),
        ("3.0", 3.0499, "definition", ""),
        ("3.0", 3.06, "definition", "last digit"),
        ("117", 117.6, "table", "last digit"),
        ("117", 117.4, "table", ""),
        ("3.0", np.nan, "table", "last digit"),
        ("three", 3.0, "table", "not a number"),
        ("3.0", 3.0, " ", "no source"),
    ],
)
@pytest.mark.parametrize("make", [printed, worked_by_hand])
def test_a_row_that_does_not_hold_is_marked(make, text, value, source, fault):
    """Closed form: half the last digit, ties either way; every row needs a source."""
    table = make([("a", text, value, source), ("b <i>", "1", 1.0, "known")])
    assert len(table.faults) == (1 if fault else 0) and fault in "".join(table.faults)
    page = table._repr_html_()
    assert (
        page.count("agrees") == (1 if fault else 2)
        and "b &lt;i&gt;" in page
        and (not fault or fault in page)
    )


def test_folded_is_closed_at_first():
    """Behavior: its title is text."""
    assert folded("a < b", "<p>c</p>") == "<details><summary>a &lt; b</summary><p>c</p></details>"


def cells(path, tag=None, kind=None):
    book = json.loads(path.read_text(encoding="utf-8"))
    return [
        c
        for c in book["cells"]
        if (tag is None or tag in c["metadata"].get("tags", [])) and kind in (None, c["cell_type"])
    ]


def source(cell):
    return "".join(cell["source"])


def test_there_are_lessons():
    """Behavior: twelve, and the design task closes them."""
    assert len(LESSONS) == 12 and TASK.exists()


@pytest.mark.parametrize("path", LESSONS, ids=lambda p: p.stem)
def test_lesson_has_its_parts(path):
    """Behavior: title, parameters, guess, answer, formula with source, experiment, compared values
    with source, practice, check.
    """
    for tag in (
        "title",
        "parameters",
        "exercise",
        "answer",
        "formula",
        "experiment",
        "printed",
        "practice",
        "check",
    ):
        assert cells(path, tag), tag
    assert len(cells(path, "parameters")) == 1 and cells(path)[-1]["metadata"]["tags"] == ["check"]
    assert source(cells(path, "check")[0]).startswith("# NBVAL_CHECK_OUTPUT")
    assert all("Source" in source(c) for c in cells(path, "formula"))
    assert "licensed" in source(
        cells(path, "title")[0]
    ) and "authority having jurisdiction" in source(cells(path, "title")[0])
    order = [t for c in cells(path) for t in c["metadata"].get("tags", [])]
    assert (
        order.index("exercise")
        < order.index("answer")
        < order.index("experiment")
        < order.index("check")
    )
    for c in cells(path, "exercise") + cells(path, "experiment"):
        assert not c["outputs"] and source(c).startswith("# NBVAL_IGNORE_OUTPUT"), (
            "a stored widget is of no use"
        )


def test_the_task_has_its_parts():
    """Behavior: title with the caution, parameters, how it is scored with its source, two panels
    that store nothing, practice, check last.
    """
    order = [t for c in cells(TASK) for t in c["metadata"].get("tags", [])]
    assert order == ["title", "parameters", "formula", "panel", "panel", "practice", "check"]
    title = source(cells(TASK, "title")[0])
    assert "licensed" in title and "authority having jurisdiction" in title
    assert "Source" in source(cells(TASK, "formula")[0]) and "no source" in source(
        cells(TASK, "formula")[0]
    )
    assert all(
        not c["outputs"] and source(c).startswith("# NBVAL_IGNORE_OUTPUT")
        for c in cells(TASK, "panel")
    )
    assert source(cells(TASK)[-1]).startswith("# NBVAL_CHECK_OUTPUT")


@pytest.mark.parametrize("path", [*LESSONS, TASK], ids=lambda p: p.stem)
def test_prose_is_short_plain_and_without_results(path):
    """Trade fact: a page a minute (common practice, no source); numbers with a unit belong into
    computed cells, and words of our own give way to those of the trade.
    """
    prose = "\n\n".join(source(c) for c in cells(path, kind="markdown"))
    result = re.compile(r"\d+(?:[.,]\d+)?\s*(?:dB|m|ft|in|%|s|ms|°|degrees)(?![\w³²])")
    assert not result.search(prose), result.search(prose)
    ours = re.search(r"\b(mains|spare gain|nine tenths|falls short|cabinets?)\b", prose, re.I)
    assert not ours, ours
    words = re.findall(r"[A-Za-z'’]+", prose)
    assert len(words) <= MOST_WORDS
    assert len(words) / len(re.findall(r"[.!?:](?=\s|$)", prose)) <= LONGEST


@pytest.fixture(scope="module", params=LESSONS, ids=lambda p: p.stem)
def lesson(request):
    """Names of a lesson run to its end, its check left out; its stored outputs; and for every
    experiment a slider with the values that reach its aim, found once.
    """
    names, path = {}, request.param
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(path.parent)
        for c in cells(path, kind="code"):
            if "check" not in c["metadata"].get("tags", []):
                exec(compile(source(c), path.name, "exec"), names)
    stored = json.dumps([c["outputs"] for c in cells(path, kind="code")], ensure_ascii=False)
    reaching = [
        (v, *next(((n, found) for n in v.adjustments if (found := v.reaching(n))), (None, [])))
        for v in names.values()
        if isinstance(v, Experiment)
    ]
    return names, stored, reaching


def test_a_lesson_reveals_nothing_before_the_guess(lesson):
    """Behavior: the answer of every question is in no widget of the page, an experiment's included,
    and in no stored output.
    """
    names, stored, _ = lesson
    questions = [v for v in names.values() if isinstance(v, Question)]
    trials = [v for v in names.values() if isinstance(v, Experiment)]
    assert questions and trials
    page = tree(*(x for q in questions for x in (q.asked, q.reply)))
    page += "".join(x.value for t in trials for x in t.box.children if isinstance(x, w.HTML))
    for q in questions:
        shown = re.compile(rf"(?<![\d.]){re.escape(q.say(float(q.answer())))}(?!\w)")
        assert not shown.search(page) and not shown.search(stored), q.words
        assert not q.given and q.twin().give(q.answer()).word == "right"
        assert q.twin().give(q.first).word in (
            "too low",
            "too high",
        ), "the committed default gives nothing away"


def test_a_lesson_begins_away_from_its_aim_and_can_reach_it(lesson):
    """Behavior: as committed a slider must be moved, and some value of it will do."""
    _, _, reaching = lesson
    assert reaching
    for trial, name, values in reaching:
        assert name and values and not trial.reached


def test_every_compared_value_of_a_lesson_agrees_and_has_a_source(lesson):
    """Printed: the tables of the lessons, their prints beside the rows; others by hand, and how."""
    tables = [t for t in lesson[0].values() if isinstance(t, ComparedTable)]
    assert lesson[0]["compared"] in tables and sum(len(t.rows) for t in tables) >= 3
    for table in tables:
        assert not table.faults and all(row.source.strip() for row in table.rows)


def test_the_picture_of_a_lesson_shows_what_was_computed(lesson):
    """Invariance: moved in place, every trace is that of a new picture."""
    for trial, name, values in lesson[2]:
        before = dict(trial.values)
        trial.set(**{name: values[-1]})
        assert trial.reached
        for shown, fresh in zip(
            trial.figure.data, trial.draw(trial.compute(**trial.values)).data, strict=True
        ):
            for key in ("x", "y", "z"):
                if key in fresh and fresh[key] is not None:
                    # names of seats, or numbers
                    kind = str if np.asarray(fresh[key]).dtype.kind == "U" else float
                    assert np.array_equal(
                        np.asarray(shown[key], kind),
                        np.asarray(fresh[key], kind),
                        equal_nan=kind is float,
                    ), shown.name
        trial.set(**before)
        assert trial.values == before and not trial.reached
