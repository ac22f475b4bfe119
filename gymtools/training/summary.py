"""A learner's progress in figures, for the supervisor: without names."""

from collections import Counter
from dataclasses import dataclass

from .lessons import LESSONS
from .progress import RIGHT, SKIPPED

TALK = "talk"  # reply of the marks of a talk
LONGEST_S = 900.0  # of one answer: who takes longer has gone away [s]
MOST_SLIPS = 3  # that are listed


@dataclass(frozen=True, kw_only=True)
class LessonSummary:
    """One lesson of a learner."""

    number: str
    asked: int  # problems
    right_first: int  # of them at the first try
    passed: int  # exercises with three in a row
    exercises: int  # of the lesson
    slips: tuple  # (words, how often), the commonest first
    minutes: float
    predictions: tuple  # (right, made)
    aims: int  # reached
    listening: tuple  # (right, answered)

    @property
    def begun(self):
        """Whether anything was done."""
        return bool(self.asked or self.aims or self.predictions[1] or self.listening[1])


def summary(history):
    """Progress by lesson.

    Parameters
    ----------
    history : History
        Of a learner

    Returns
    -------
    rows : list of LessonSummary
        Of every lesson, in the order of the course
    """
    return [_summary(lesson, history) for lesson in LESSONS]


def others(history):
    """What was done outside the lessons: attempts at the task, the talk.

    Parameters
    ----------
    history : History
        Of a learner

    Returns
    -------
    events : list of Event
        In order; of talks only the last, whose marks count
    """
    names = {lesson.name for lesson in LESSONS}
    found = [e for e in history.events if e.lesson not in names]
    talks = [e for e in found if e.reply == TALK]
    return [e for e in found if e.reply != TALK or e is talks[-1]]


def _summary(lesson, history):
    events = [e for e in history.events if e.lesson == lesson.name]
    answers = [e for e in events if e.kind == "answer"]
    firsts = [e for e in answers if e.number == 1 and e.reply != SKIPPED]
    slips = Counter(e.slip for e in answers if e.slip)
    return LessonSummary(
        number=lesson.number,
        asked=len(firsts),
        right_first=sum(e.reply == RIGHT for e in firsts),
        passed=sum(history.passed(e.key) for e in lesson.exercises),
        exercises=len(lesson.exercises),
        slips=tuple(slips.most_common(MOST_SLIPS)),
        minutes=sum(min(e.seconds, LONGEST_S) for e in events) / 60,
        predictions=_share(events, "prediction"),
        aims=len({e.asked for e in events if e.kind == "aim"}),
        listening=_share(events, "listening"),
    )


def _share(events, kind):
    """How many of a kind were right, and how many there were."""
    some = [e for e in events if e.kind == kind]
    if kind == "prediction":  # of each experiment the first: later ones know the truth
        some = list({e.asked: e for e in reversed(some)}.values())
    return sum(e.reply == RIGHT for e in some), len(some)
