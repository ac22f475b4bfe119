"""Lessons: pages that work, give nothing away, keep what was done, and how they are written."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import plotly.graph_objects as go
import pytest
import textstat
from printed_lines import faults, worked_out

from gymtools.display.lessons.experiment import Aim, Experiment, Prediction, Setup
from gymtools.display.lessons.printed import printed, worked_by_hand
from gymtools.display.lessons.question import Question, folded, solution
from gymtools.display.panel.controls import SliderSpec
from gymtools.training.exercises import Exercise, Problem, Slip, Step
from gymtools.training.lessons import LESSONS
from gymtools.training.lessons.lesson import BLANK, MISSING, WORKED

TRAINING = Path(__file__).resolve().parent.parent / "workbooks" / "training"
BOOKS = [TRAINING / f"{lesson.book}.ipynb" for lesson in LESSONS]
MOST_WORDS = 750  # of prose: what is read in a few minutes, so that a lesson stays within twenty
LONGEST = 20  # words in a sentence, mean of a lesson
GRADE = 9.0  # of school, at which the prose can be read at most
COURSE = sorted(TRAINING.glob("*.ipynb"))  # with the task, the capstone and the glossary
ASKED = Exercise(
    "distance.test",
    "Twice a number",
    problem=lambda n=6.17: Problem(
        words=f"What is twice {n:g}?",
        unit="dB",
        answer=2 * n,
        near=0.5,
        low=0,
        high=4000,
        digits=2,
        hint="Add it to itself.",
        slips=(Slip(n, "That is the number itself."),),
        steps=(Step("The number", n, "dB", 2), Step("Twice it", 2 * n, "dB", 2)),
    ),
    draw=lambda chance: dict(n=float(chance.integers(10, 99))),
)


def question(**more):
    """A question whose answer, 12.34, is shown nowhere else."""
    return Question(ASKED, dict(n=6.17), **more)


def tree(*widgets):
    """Everything that the widgets, and those inside them, hold for the page."""
    text = ""
    for widget in widgets:
        text += json.dumps(widget.get_state(), default=str)
        text += tree(*getattr(widget, "children", ()))
    return text


def test_nothing_is_revealed_before_a_second_wrong_answer():
    """Behavior: a refusal and a first wrong answer give no number; the second gives all."""
    q = question()
    assert "12.3" not in tree(q.box)
    for guess in ("not yet", "3.5"):
        q.give(guess)
        assert "12.3" not in tree(q.box), guess
    assert "Add it to itself" in tree(q.reply)
    q.give(5)
    assert "12.34 dB" in tree(q.reply) and "Worked solution" in tree(q.reply)


def test_an_empty_field_is_no_answer():
    """Behavior: nothing stands in the field at first, and the button alone counts for nothing."""
    q = question()
    assert q.entry.value == ""
    q.button.click()
    assert not q.answering.tries and "Type a number first" in q.reply.value
    q.entry.value = "12,34 dB"
    q.button.click()
    assert "Right" in q.reply.value and q.row == 1


def test_three_in_a_row_pass_and_a_miss_begins_anew():
    """Behavior: only first tries count; another one has other numbers."""
    q = question(chance=np.random.default_rng(1))
    seen = set()
    for right in (True, True, False, True, True, True):
        seen.add(q.problem.words)
        if not right:
            q.give(q.problem.answer + 3)
            assert q.row == 0
        q.give(q.problem.answer)
        q.again.click()
    assert q.row == 3 and "Passed" in q.standing.value and len(seen) > 4


def test_a_problem_counts_once():
    """Behavior: who has seen the answer of a problem shows nothing by typing it: neither on the
    same page nor on one that is opened anew; a drawing that is skipped ends the row.
    """
    told = []
    q = question(told=lambda *what: told.append(what))
    q.give(1)
    q.give(2)
    for _ in range(3):
        again = question()
        again.known = set(q.known)
        again.show_standing()
        assert "answered this one before" in again.standing.value
        again.give(12.34)
        assert again.row == 0
    q.draw()
    q.give(q.problem.answer)
    q.draw()
    assert q.row == 1
    q.again.click()
    assert q.row == 0 and told[-1][1].word == "skipped"


def test_a_page_that_is_opened_again_asks_other_numbers(tmp_path):
    """Behavior: a first problem whose answer was told is not asked again; its remembered answer
    passes nothing, and two pages at once have one row.
    """
    path = TRAINING / "01_distance_and_level.ipynb"
    kept = str(tmp_path / "p.jsonl")
    page = run(path, progress=kept)
    asked = page.louder
    told = asked.problem.answer
    asked.give(50)
    asked.give(40)
    for _ in range(4):
        page = run(path, progress=kept)
        assert page.louder.problem.fingerprint != asked.problem.fingerprint
        page.louder.give(told)
        assert page.louder.row == 0 or page.louder.problem.right(told)
    one, other = run(path, progress=kept), run(path, progress=kept)
    for _ in range(3):
        one.quieter.give(one.quieter.problem.answer)
        one.quieter.draw()
    assert one.quieter.row == 3
    other.quieter.draw()
    other.quieter.give(other.quieter.problem.answer + 30)
    one.quieter.give(one.quieter.problem.answer)
    assert one.quieter.row == 1


def test_a_drawing_in_which_a_mistake_counts_as_right_is_drawn_again():
    """Behavior: a slip lies two tolerances off the answer at least; where none does it is said."""
    never = Exercise(
        "distance.never",
        "x",
        problem=lambda n=1.0: replace(ASKED.problem(n), near=n),
        draw=lambda chance: dict(n=float(chance.integers(1, 9))),
    )
    with pytest.raises(ValueError, match="a typical mistake counts as right"):
        never.drawn(np.random.default_rng(1))
    made = ASKED.drawn(np.random.default_rng(1))
    assert made.tells_slips and made.slip(made.slips[0].value + 0.4) is made.slips[0]
    assert made.slip(made.slips[0].value + 0.6) is None, "as near as the answer"


def test_an_answered_question_is_closed():
    """Behavior: what was shown cannot be entered for a right answer."""
    q = question()
    q.give(1)
    q.give(2)
    before = q.reply.value
    assert q.give(12.34).word == "closed" and q.row == 0 and q.reply.value == before
    assert q.button.disabled


@pytest.mark.parametrize("fading, shown, asked", [(WORKED, 2, 0), (MISSING, 2, 1), (BLANK, 0, 0)])
def test_examples_fade(fading, shown, asked):
    """Behavior: a worked example, one with a missing step to fill in, none."""
    q = question(fading=fading, chance=np.random.default_rng(3))
    page = tree(q.example)
    assert page.count("<li>") == shown and page.count("missing number") == asked
    if fading == MISSING:
        entry, button, said = q.example.children[1].children
        example, step = q.example.children[0], ASKED.drawn(np.random.default_rng(20)).steps[1]
        assert step.said not in example.value
        for text, word in (("?", "no level"), ("0", "Not yet"), (str(step.value), "Yes")):
            entry.value = text
            button.click()
            assert word in said.value, text
        assert step.said in example.value and "Answer:" in example.value, "the whole of it now"
        other = question(fading=MISSING).example
        for text, word in (("0", "Not yet"), ("1", "It is")):
            other.children[1].children[0].value = text
            other.children[1].children[1].click()
            assert word in other.children[1].children[2].value
        assert "Answer:" in other.children[0].value


def test_a_solution_without_a_step_gives_no_later_one():
    """Behavior: what follows the missing step would give it away."""
    problem = ASKED.problem()
    assert "6.17" not in solution(problem, 0) and "12.34" not in solution(problem, 0)
    assert "12.34" in solution(problem)


def parabola(x):
    if x > 8:
        raise ValueError(f"x = {x:g} m is outside 0 to 8 m.")
    return (x - 5) ** 2 + 1


def experiment(keep=None, **more):
    aim = Aim(
        words="bring it down",
        what="height",
        measure=lambda y: y,
        unit="dB",
        **{"high": 2.0, **more},
    )
    return Experiment(
        Setup(
            adjustments=(
                SliderSpec(path=("x",), label="along", low=0, high=10, step=0.5, unit="m"),
            ),
            start={"x": 0.0},
            compute=parabola,
            draw=lambda y: go.Figure(go.Scatter(x=[0, 1], y=[y, y])),
            aim=aim,
            predict=Prediction("Up or down?", ("up", "down"), lambda a, b: "down"),
        ),
        keep=keep,
    )


def test_sliders_unlock_with_a_prediction():
    """Behavior: until then they are locked; a choice is needed, and it stays."""
    kept = []
    trial = experiment(lambda *what: kept.append(what))
    slider = trial.sliders.children[0]
    assert slider.slider.disabled and slider.entry.disabled
    trial.commit.click()
    assert trial.predicted is None and "Choose" in trial.message.value
    trial.choice.value = "up"
    trial.commit.click()
    assert not slider.slider.disabled and not slider.entry.disabled
    trial.predict("down")
    assert trial.predicted == "up"
    slider.value = 5.0
    assert "You predicted: up; it was: down." in trial.report.value
    assert kept == [("prediction", "wrong", "up"), ("aim", "reached", "")]


def test_the_aim_is_computed_and_the_picture_follows_in_place():
    """Closed form: a parabola, its number and its distance from the aim in both units of length."""
    trial = experiment()
    trial.predict("down")
    figure = trial.figure
    assert not trial.reached and "26.0 dB" in trial.report.value
    assert "24.0 dB too much. Not yet" in trial.report.value
    trial.sliders.children[0].value = 5.5
    assert trial.reached and "1.2 dB. Reached" in trial.report.value
    assert trial.figure is figure and list(figure.data[0].y) == [1.25, 1.25]
    assert "5.50 m (18 ft" in trial.report.value, "both units"


def test_nothing_is_reached_before_anybody_moved():
    """Behavior: an aim that the start meets is not told as reached."""
    trial = experiment(high=40.0)
    assert not trial.reached and "Reached" not in trial.report.value


def test_the_search_finds_what_reaches_the_aim():
    """Closed form: the steps of the slider between the roots of the parabola."""
    assert experiment().reaching("x") == [4.0, 4.5, 5.0, 5.5, 6.0]
    assert experiment().first_reaching("x")[0] in (4.0, 4.5, 5.0, 5.5, 6.0)
    assert experiment(high=0.5).reaching("x") == [] == experiment(high=0.5).first_reaching("x")
    assert experiment(low=3.0, high=4.0).reaching("x") == [3.5, 6.5], "refused places are passed"


def test_a_refusal_is_shown_and_the_picture_stays():
    """Behavior: until the slider is back in its range; an unknown slider is refused."""
    trial = experiment()
    trial.set(x=5)
    trial.set(x=9)
    assert "outside 0 to 8 m" in trial.message.value
    assert list(trial.figure.data[0].y) == [1, 1] and trial.reached
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


def run(path, progress="", **parameters):
    """The page that a lesson's notebook makes, its cells run but for the check."""
    names = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(path.parent)
        for c in cells(path, kind="code"):
            if "check" in c["metadata"].get("tags", []):
                continue
            exec(compile(source(c), path.name, "exec"), names)
            if "parameters" in c["metadata"].get("tags", []):
                names.update(parameters, progress_file=progress)
    return names["page"]


@pytest.mark.parametrize("path", BOOKS, ids=lambda p: p.stem)
def test_lesson_has_its_parts(path):
    """Behavior: text and picture first, then parameters, old questions, a question, formula with
    source, experiment, compared values, practice, check, and what was done last.
    """
    order = [t for c in cells(path) for t in c["metadata"].get("tags", [])]
    parts = ["title", "parameters", "opening", "exercise", "practice", "check", "closing"]
    assert [t for t in order if t in parts and order.count(t) == 1] == [
        t for t in parts if order.count(t) == 1
    ]
    assert set(parts) <= set(order) and order[0] == "title" and order[-1] == "closing"
    assert "# NBVAL_CHECK_OUTPUT" in source(cells(path, "check")[0])
    assert all("Source" in source(c) for c in cells(path, "formula"))
    title = source(cells(path, "title")[0])
    assert "licensed" in title and "authority having jurisdiction" in title
    assert "glossary" in title
    picture = re.search(r"!\[[^]]+\]\((pictures/[\w.]+)\)", title)
    assert (TRAINING / picture[1]).read_text(encoding="utf-8").startswith("<svg")
    for c in cells(path, kind="code"):
        assert c["metadata"].get("jupyter", {}).get("source_hidden"), "code is folded"
        if "check" not in c["metadata"].get("tags", []):
            assert not c["outputs"] or "printed" in c["metadata"].get("tags", [])


@pytest.mark.parametrize("path", BOOKS, ids=lambda p: p.stem)
def test_prose_is_short_plain_and_without_results(path):
    """Trade fact: a page a minute (common practice, no source); numbers with a unit belong into
    computed cells, and words of our own give way to those of the trade.
    """
    prose = "\n\n".join(source(c) for c in cells(path, kind="markdown"))
    result = re.compile(r"\d+(?:[.,]\d+)?\s*(?:dB|m|ft|in|%|s|ms|°|degrees)(?![\w³²])")
    assert not result.search(prose), result.search(prose)
    ours = re.search(r"\b(mains|spare gain|nine tenths|falls short|cabinets?|lg)\b", prose, re.I)
    assert not ours, ours
    words = re.findall(r"[A-Za-z'’]+", prose)
    assert len(words) <= MOST_WORDS
    assert len(words) / len(re.findall(r"[.!?:](?=\s|$)", prose)) <= LONGEST


def plain(path):
    """Prose of a notebook as it is read: without formulas, pictures and addresses."""
    text = "\n\n".join(source(c) for c in cells(path, kind="markdown"))
    text = re.sub(r"^    .*$", "", text, flags=re.M)
    text = re.sub(r"!\[[^]]*\]\([^)]*\)", "", text)
    text = re.sub(r"\[([^]]*)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"`[^`]*`", "it", text)
    return re.sub(r"^#+ (.*)$", r"\1.", text, flags=re.M).replace("*", "")


@pytest.mark.parametrize("path", COURSE, ids=lambda p: p.stem)
def test_a_junior_can_read_it(path):
    """Independent: the Flesch-Kincaid grade of the prose, by a library."""
    assert textstat.flesch_kincaid_grade(plain(path)) <= GRADE


def test_the_measure_of_reading_tells_hard_prose_from_easy():
    """Behavior: else the grade of the lessons would say nothing."""
    hard = (
        "Notwithstanding considerable dissimilarities among electroacoustical installations,"
        " intelligibility deteriorates proportionately to reverberation."
    )
    assert (
        textstat.flesch_kincaid_grade(hard)
        > GRADE
        > textstat.flesch_kincaid_grade(
            "The back row is far away. It hears less. Hang the loudspeaker higher."
        )
    )


@pytest.fixture(scope="module", params=BOOKS, ids=lambda p: p.stem)
def lesson(request):
    """A lesson's page as committed."""
    return run(request.param)


def test_a_lesson_gives_nothing_away(lesson):
    """Behavior: before anything is answered, the answer is in no widget of its question or of an
    experiment, and the page says that nothing was done.
    """
    page = "".join(tree(q.words, q.asking, q.reply) for q in lesson.questions.values())
    page += "".join(tree(e.report, e.message) for e in lesson.experiments.values())
    for q in lesson.questions.values():
        if not q.problem.choices:
            said = re.compile(rf"(?<![\d.]){re.escape(q.problem.say(q.problem.answer))}(?!\w)")
            assert not said.search(page), q.problem.words
        assert not q.answering.tries and getattr(q.entry, "value", "") == ""
    assert "not answered anything" in lesson.closing.value
    assert "eached" not in lesson.closing.value


def test_a_hint_gives_nothing_away(lesson):
    """Behavior: neither the hint nor the words of a slip hold the answer."""
    for q in lesson.questions.values():
        p = q.problem
        said = p.say(p.answer)
        for words in (p.hint, *(slip.words for slip in p.slips)):
            assert said not in words, words
        assert p.steps and p.hint.endswith(".")


def test_every_compared_value_of_a_lesson_agrees_and_has_a_source(lesson):
    """Printed: the tables of the lessons, their prints beside the rows; others by hand, and how."""
    for table in lesson.compared:
        assert not table.faults and all(row.source.strip() for row in table.rows)


def test_the_picture_of_a_lesson_shows_what_was_computed(lesson):
    """Invariance: moved in place, every trace is that of a new picture."""
    for trial in lesson.experiments.values():
        name, values = next(
            (n, found) for n in trial.adjustments if (found := trial.first_reaching(n))
        )
        before = dict(trial.values)
        trial.set(**{name: values[-1]})
        assert trial.reached
        fresh = trial.draw(trial.compute(**trial.values)).data
        for shown, new in zip(trial.figure.data, fresh, strict=True):
            for key in ("x", "y", "z"):
                if key in new and new[key] is not None:
                    # names of seats, or numbers
                    kind = str if np.asarray(new[key]).dtype.kind in "UO" else float
                    same = np.array_equal(
                        np.asarray(shown[key], kind),
                        np.asarray(new[key], kind),
                        equal_nan=kind is float,
                    )
                    assert same, shown.name
        trial.set(**before)
        assert trial.values == before and not trial.reached


PORTABLE = [e for one in LESSONS for e in one.exercises if not e.needs_gym]


def test_lines_are_worked_as_they_are_printed():
    """Worked by hand: what the next test reads."""
    for line, number in (
        ("Both: 11.5 + 1.2", 12.7),
        ("Spreading: 20 log 4.00", 12.0412),
        ("Needed: 0.04908 × 211,888 / 1.70", 6117.33),
        ("Beam at the front: 6 · (30/30)^2.5", 6.0),
        ("Slant: √(3² + 4²)", 5.0),
        ("Fall: −10 log 0.5", 3.0103),
        ("To take off: −10 log (1 − 10^(−10.0 / 10))", 0.45757),
        ("100 × Φ(-1.00)", 15.8655),
        ("Width: 2 · 10 · tan 45°", 20.0),
    ):
        assert worked_out(line) == pytest.approx(number, rel=1e-4), line
    assert worked_out("How many: 3 of them") is worked_out("The nearest tap") is None


@pytest.mark.parametrize("exercise", PORTABLE, ids=lambda e: e.key)
def test_printed_lines_add_up(exercise):
    """Independent: who works a line with the numbers that stand there gets what stands behind it,
    within the last digit; two hundred drawings and the example in both units. Fifty of the drawings
    differ at least, so that three in a row are three problems.
    """
    chance, seen = np.random.default_rng(11), set()
    fixed = [{"units": u} if exercise.needs_units else {} for u in ("m", "ft")]
    for n in range(200):
        problem = exercise.drawn(chance, **fixed[n % 2])
        assert not faults(problem), problem.words
        seen.add(problem.words)
    assert len(seen) >= 50
    if exercise.example:
        for units in fixed:
            assert not faults(exercise.problem(**units, **exercise.example))


@pytest.mark.parametrize("exercise", PORTABLE, ids=lambda e: e.key)
def test_every_drawing_can_be_answered(exercise):
    """Behavior: forty drawings in both units: the answer is right, a slip is not, and the steps end
    with the answer where it is a number.
    """
    chance, words = np.random.default_rng(5), set()
    for n in range(40):
        fixed = {"units": ("m", "ft")[n % 2]} if exercise.needs_units else {}
        p = exercise.drawn(chance, **fixed)
        words.add(p.words)
        assert p.right(p.answer) and p.hint and p.steps
        if p.choices:
            continue
        assert p.near > 0 and p.low < p.answer - p.near and p.answer + p.near < p.high, p.words
        assert p.steps[-1].value == pytest.approx(p.answer, abs=p.near / 2), p.words
        for slip in p.slips:
            assert p.slip(slip.value) is None or not p.right(slip.value)
    assert len(words) > 5
