"""What the pages of all lessons share: questions that are kept, old ones to begin with, an end."""

import time
from html import escape

import ipywidgets as w

from ...training.lessons import BY_NAME, before
from ...training.lessons.lesson import BLANK
from ...training.progress import ROW, History, Progress, due
from ...training.summary import LONGEST_S
from ..panel.controls import show_only
from ..tables import card
from ..tables.markup import table
from .checks import check
from .experiment import Experiment
from .listening import Hearing
from .question import Question

NOTHING_YET = "You have not answered anything on this page yet."
NONE_BEFORE = "This is the first lesson: there is nothing to repeat yet."
REPEATED = (
    "Two questions from earlier lessons first, chosen from what you missed or have not seen for"
    " long. They have new numbers."
)


class LessonPage:
    """A page of a course: a lesson's own page derives from it and adds what it asks and shows.

    Parameters
    ----------
    units : str
        "m" or "ft"
    progress : str or Path, optional
        The learner's file; nothing is kept when left out or empty
    """

    lesson = ""  # name of its module in ``training.lessons``

    def __init__(self, *, units, progress=None):
        self.units, self.progress = units, Progress(progress)
        self.questions, self.experiments, self.hearings = {}, {}, {}
        self.compared = []  # of ComparedTable
        self.closing, self._trouble = w.HTML(), ""
        self._since = time.monotonic()  # of the last thing that was done
        self.history = self._read()
        self._lesson = BY_NAME[self.lesson]
        self._old = [self._old_question(e) for e in due(self.history, before(self.lesson))]
        self.opening = self._opening()

    def ask(self, key, values=None, **fixed):
        """A question of this lesson.

        Parameters
        ----------
        key : str
            Of the exercise, without the lesson's name
        values : dict, optional
            Numbers of the first problem; drawn when left out
        fixed : any
            Values that stay in every drawing

        Returns
        -------
        question : Question
            Its ``box`` is what a cell shows
        """
        exercise = self._lesson.exercise(key)
        if exercise.needs_units:
            fixed = {"units": self.units, **fixed}
        made = Question(
            exercise, values, fixed=fixed, fading=self._lesson.fading, told=self._answered
        )
        self._follow(made)
        if made.problem.fingerprint in made.known:
            made.draw()  # its answer has been seen: other numbers
        self.questions[key] = made
        self.show_closing()
        return made

    def try_out(self, key, setup):
        """An experiment of this lesson.

        Parameters
        ----------
        key : str
            What it is called in the learner's file
        setup : Setup
            What it is made of

        Returns
        -------
        experiment : Experiment
            Its ``box`` is what a cell shows
        """

        def keep(kind, reply, given):
            self.keep(kind, f"{self.lesson}.{key}", reply, given=given)

        self.experiments[key] = Experiment(setup, self.units, keep)
        return self.experiments[key]

    def listen(self, key, sounds, words, blind=None):
        """Sounds of this lesson.

        Parameters
        ----------
        key : str
            What they are called in the learner's file
        sounds, words, blind : any
            As for ``Hearing``

        Returns
        -------
        hearing : Hearing
            Its ``box`` is what a cell shows
        """

        def keep(kind, reply, given):
            self.keep(kind, f"{self.lesson}.{key}", reply, given=given)

        self.hearings[key] = Hearing(sounds, words, blind, keep)
        return self.hearings[key]

    def compare(self, table):
        """Values from elsewhere beside computed ones.

        Parameters
        ----------
        table : ComparedTable
            Of ``printed`` or ``worked_by_hand``

        Returns
        -------
        table : ComparedTable
            The same
        """
        self.compared.append(table)
        return table

    def keep(self, kind, asked, reply, **more):
        """Keep something that the learner did; a file that cannot be written is said once, below.

        Parameters
        ----------
        kind, asked, reply : str
            As ``progress.Event``
        more : any
            Its other fields

        Returns
        -------
        kept : bool
            Whether it is in the file now
        """
        now = time.monotonic()
        seconds, self._since = round(min(now - self._since, LONGEST_S), 1), now
        lesson, kept = more.pop("lesson", self.lesson), self.progress.kept
        try:
            self.progress.add(kind, lesson, asked, reply, seconds=seconds, **more)
        except OSError as error:
            kept = False
            self._trouble = (
                f"{self.progress.path.name} could not be written, so this is not kept:"
                f" {error.strerror or error}."
            )
        self.show_closing()
        return kept

    def works(self):
        """See that the page works with its parameters, without answering anything on it.

        Returns
        -------
        said : str
            What there is on the page

        Raises
        ------
        ValueError
            As ``checks.check``
        """
        return check(self)

    def show_closing(self):
        """Say at the end of the page what has been done on it."""
        rows = [self._row(q) for q in self.questions.values() if q.answering.tries or q.row]
        rows += [
            ("Experiment", escape(e.setup.aim.words), escape(e.standing))
            for e in self.experiments.values()
            if e.touched
        ]
        rows += [
            ("Listening", escape(name), escape(h.standing))
            for name, h in self.hearings.items()
            if h.standing
        ]
        shown = table("", ("", "", "so far"), rows) if rows else f"<p>{NOTHING_YET}</p>"
        trouble = f"<p><b>{escape(self._trouble)}</b></p>" if self._trouble else ""
        kept = f"<p class='quiet'>{escape(self._where())}</p>"
        self.closing.value = card(trouble, shown, kept)

    def _where(self):
        if not self.progress.kept:
            return "Nothing is kept: no file of progress is named in the parameters."
        return (
            f"Kept in {self.progress.path.name} beside this page, on this machine, without a name."
        )

    def _row(self, question):
        row = f"{min(question.row, ROW)} of {ROW} in a row" + (
            ", passed" if question.row >= ROW else ""
        )
        return "Question", escape(question.exercise.title), row

    def _answered(self, question, reply):
        problem, exercise = question.problem, question.exercise
        more = dict(given=problem.say(reply.value), slip=reply.slip, problem=problem.fingerprint)
        more |= dict(lesson=exercise.lesson, number=max(1, len(question.answering.tries)))
        if self.keep("answer", exercise.key, reply.word, **more):
            self.history = self._read()  # another page may have added to the file
            self._follow(question)
            self.show_closing()

    def _follow(self, question):
        """Row and known problems as the file has them."""
        key = question.exercise.key
        question.row = min(self.history.row(key), ROW)
        question.known |= self.history.seen(key)
        question.show_standing()

    def _read(self):
        try:
            history = self.progress.read()
        except (ValueError, OSError) as error:
            self._trouble = f"Progress cannot be read: {error}"
            return History()
        self._trouble = history.warning
        return history

    def _old_question(self, exercise):
        fixed = {"units": self.units} if exercise.needs_units else {}
        made = Question(exercise, fixed=fixed, fading=BLANK, told=self._answered)
        self._follow(made)
        if made.problem.fingerprint in made.known:
            made.draw()
        return made

    def _opening(self):
        if not self._old:
            return w.VBox([w.HTML(card(f"<p class='quiet'>{NONE_BEFORE}</p>"))])
        box = w.VBox()
        show_only(box, [w.HTML(card(f"<p>{REPEATED}</p>")), *(q.box for q in self._old)])
        return box
