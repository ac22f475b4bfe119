"""Progress: only added to, damaged lines named, old questions chosen by past slips, no names."""

import csv
import json
from dataclasses import asdict
from datetime import datetime, timedelta

import numpy as np
import pytest

from gymtools.display.lessons.question import Question
from gymtools.display.lessons.supervisor import Supervisor
from gymtools.training.exercises import Exercise, Problem, Slip
from gymtools.training.lessons import LESSONS, before
from gymtools.training.progress import Event, History, Progress, due, read_progress
from gymtools.training.summary import others, summary

NOW = datetime(2031, 3, 4, 12, 0).astimezone()
FIRST = LESSONS[1].exercises[0]


def event(hours=100, **more):
    """An answer some hours ago."""
    when = (NOW - timedelta(hours=hours)).isoformat(timespec="seconds")
    base = dict(when=when, kind="answer", lesson=FIRST.lesson, asked=FIRST.key, reply="right")
    return Event(**{**base, **more})


def an_exercise(key, **more):
    """An exercise that asks for a number."""

    def problem(n=3.0):
        return Problem(
            words=f"{n}?", answer=n, near=0.1, hint="Read it.", slips=(Slip(0.0, "No."),)
        )

    return Exercise(key, key, problem=problem, draw=lambda c: dict(n=float(c.random())), **more)


def test_events_come_back_in_order_and_nothing_is_replaced(tmp_path):
    """Invariance: what was in the file before is still its beginning after every event."""
    kept, before_ = Progress(tmp_path / "p.jsonl"), b""
    for n in range(5):
        kept.add("answer", "distance", FIRST.key, "right", given=f"{n}", number=1)
        data = (tmp_path / "p.jsonl").read_bytes()
        assert data.startswith(before_)
        before_ = data
    assert [e.given for e in kept.read().events] == list("01234")
    assert not kept.read().damaged


def test_nothing_is_kept_where_no_file_is_named(tmp_path, monkeypatch):
    """Behavior: and no file appears."""
    monkeypatch.chdir(tmp_path)
    for nothing in ("", None):
        kept = Progress(nothing)
        kept.add("answer", "distance", FIRST.key, "right")
        assert not kept.kept and not kept.read().events
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "line, why",
    [
        (b"{cut", "was cut off or changed"),
        (b"\xff\xfe", "is not UTF-8 text"),
        (b"[]", "holds no table"),
        ({"kind": "dance"}, "kind 'dance' is unknown"),
        ({"seconds": -1}, "seconds is not a number that can be meant"),
        ({"number": True}, "number is not a number"),
        ({"given": 3}, "given is not text"),
        ({"who": "Ann"}, "'who' is unknown"),
        ({"when": "noon"}, "noon"),
        ({"when": "0001-01-01T00:00:00"}, "year 0"),
        ({"when": "0001-01-01T00:00:00+14:00"}, "when"),
        ({"given": "x" * 5000}, "is longer than"),
    ],
)
def test_a_damaged_line_is_named_and_left(tmp_path, line, why):
    """Behavior: the lines around it are read, the file stays as it is."""
    file = tmp_path / "p.jsonl"
    kept = Progress(file)
    kept.add("answer", "distance", FIRST.key, "right")
    if isinstance(line, dict):
        line = json.dumps({**asdict(event()), **line}).encode()
    with file.open("ab") as out:
        out.write(line + b"\n")
    kept.add("answer", "distance", FIRST.key, "too low")
    data, found = file.read_bytes(), read_progress(file)
    assert [e.reply for e in found.events] == ["right", "too low"]
    assert len(found.damaged) == 1 and why in found.warning and file.read_bytes() == data


def test_three_in_a_row_pass_for_good():
    """Closed form: only first tries count, a miss begins anew, and what was passed stays passed."""
    right, wrong = event(), event(reply="too low")
    second = event(number=2)
    cases = [
        ([], 0, False),
        ([right, right], 2, False),
        ([right, right, right], 3, True),
        ([right, right, wrong, second, right], 1, False),
        ([right, right, right, wrong], 0, True),
        ([right, second, right, second, right], 3, True),
    ]
    for events, row, passed in cases:
        history = History(tuple(events))
        assert (history.row(FIRST.key), history.passed(FIRST.key)) == (row, passed), events


def test_old_questions_are_chosen_by_past_slips():
    """Behavior: the last miss first, then what was begun, then what was never asked, then what was
    passed; what was asked in the last hour last; none that needs a gym.
    """
    keys = ["a.missed", "b.begun", "c.never", "d.passed", "e.now"]
    exercises = [an_exercise(k) for k in keys] + [an_exercise("f.gym", needs_gym=True)]
    events = [
        event(asked="a.missed"),
        event(50, asked="a.missed", reply="too high", slip="s"),
        event(asked="b.begun"),
        *[event(asked="d.passed")] * 3,
        event(0.5, asked="e.now", reply="too low"),
    ]
    history = History(tuple(events))
    found = [e.key for e in due(history, exercises, count=9, now=NOW)]
    assert found == keys
    assert [e.key for e in due(history, exercises, now=NOW)] == keys[:2]
    assert due(History(), [], now=NOW) == []


def test_a_new_learner_gets_the_latest_lesson():
    """Behavior: where nothing is known, what was taught last."""
    exercises = [an_exercise(k) for k in ("a.one", "b.one", "c.one")]
    assert [e.key for e in due(History(), exercises, now=NOW)] == ["c.one", "b.one"]


def test_every_lesson_but_the_first_has_something_to_repeat():
    """Behavior: two questions that need no scenario, with other numbers each time."""
    for lesson in LESSONS[1:]:
        found = due(History(), before(lesson.name))
        assert len(found) == 2, lesson.name
    assert before(LESSONS[0].name) == []


def answering(kind, question, chance):
    """One try of a learner of a kind."""
    p = question.problem
    if kind == "careful":
        return p.answer if p.choices else p.answer + 0.4 * p.near
    if p.choices:
        return str(chance.choice(p.choices))
    if kind == "random":
        low, high = max(p.low, -100.0), min(p.high, 1000.0)
        return chance.uniform(low, high)
    return p.answer + 3 * p.near  # always louder, always more


@pytest.mark.parametrize("kind", ["careful", "random", "more"])
def test_simulated_learners_get_what_they_deserve(kind):
    """Behavior: thirty problems of the portable exercises: who works carefully passes every one of
    them, who guesses or always says more passes none of them but by rare chance.
    """
    chance = np.random.default_rng(8)
    exercises = [e for one in LESSONS for e in one.exercises if not e.needs_gym]
    rows = []
    for exercise in exercises:
        fixed = {"units": "ft"} if exercise.needs_units else {}
        asked = Question(exercise, fixed=fixed, chance=chance)
        best = 0
        for _ in range(5):
            asked.give(answering(kind, asked, chance))
            best = max(best, asked.row)
            asked.draw()
        rows.append(best)
    passed = np.mean([row >= 3 for row in rows])
    assert passed == 1.0 if kind == "careful" else passed < 0.15, rows


def test_the_supervisor_sees_figures_and_no_names(tmp_path):
    """Closed form: counts by lesson from events; slips with how often; damaged files named; the
    export holds the same and no file name.
    """
    file = tmp_path / "ann-smith.jsonl"
    kept = Progress(file)
    for reply, number in (("too low", 1), ("right", 2), ("right", 1), ("right", 1), ("right", 1)):
        slip = "10 log, not 20" if reply == "too low" else ""
        more = dict(number=number, seconds=30.0, slip=slip)
        kept.add("answer", FIRST.lesson, FIRST.key, reply, **more)
    kept.add("prediction", FIRST.lesson, "distance.apart", "wrong", given="closer")
    kept.add("aim", FIRST.lesson, "distance.apart", "reached")
    kept.add("listening", FIRST.lesson, "distance.steps", "right", given="+3 dB")
    kept.add("prediction", FIRST.lesson, "distance.apart", "right", given="farther")
    kept.add("aim", FIRST.lesson, "distance.apart", "reached")
    kept.add("task", "task", "Fernhollow", "attempt", given="46 points")
    kept.add("prediction", "task", "Fernhollow", "written", given="I, Ann, expect little")
    for marks in ("18 of 18 marks", "9 of 18 marks"):
        kept.add("task", "capstone", "seed 1", "talk", given=marks)
    row = next(r for r in summary(kept.read()) if r.begun)
    assert (row.asked, row.right_first, row.passed) == (4, 3, 1)
    assert row.slips == (("10 log, not 20", 1),) and row.minutes == pytest.approx(2.5)
    assert (row.predictions, row.aims, row.listening) == ((0, 1), 1, (1, 1))
    assert [e.given for e in others(kept.read())] == [
        "46 points",
        "I, Ann, expect little",
        "9 of 18 marks",
    ]
    with file.open("ab") as out:
        out.write(b"{cut\n")
    page = Supervisor([file, tmp_path / "nobody.jsonl"])
    shown = page._repr_html_()
    assert "Learner 1" in shown and "cannot be read" in shown and "is not there" in shown
    folder = page.export(tmp_path / "for me")
    rows = list(csv.reader((folder / "events.csv").open(encoding="utf-8", newline="")))
    assert len(rows) == 1 + 14
    every = b"".join(p.read_bytes() for p in folder.iterdir()).lower()
    for name in (b"ann", b"smith", b"nobody"):
        assert name not in every.replace(b"cannot", b"").replace(b"channel", b""), name
    with pytest.raises(FileExistsError, match="exists"):
        page.export(tmp_path / "for me")
