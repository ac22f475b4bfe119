"""A question of a lesson: an example, an empty field, a reply under it, another drawing."""

from html import escape

import ipywidgets as w
import numpy as np

from ...training.answering import MOST_TRIES, Answering, Reply
from ...training.lessons.lesson import BLANK, MISSING
from ...training.progress import RIGHT, ROW, SKIPPED
from ...training.typed_answers import read_answer
from ..panel.controls import show_only
from ..tables import card
from ..theme import FAINT, INK

MOST_DRAWN = 40  # tries at a problem that was not answered before [-]
EXAMPLE_SEED = 20  # the example has numbers of its own, the same every time [-]
LINE_BEFORE = "Read the line before it."
FIRST_LINE = "Read the question once more."


class Question:
    """A question, answered on the page and drawn again on request.

    The answer is on the page only after a right answer or a second wrong one.

    Parameters
    ----------
    exercise : Exercise
        What is asked
    values : dict, optional
        Numbers of the first problem; drawn when left out
    fixed : dict, optional
        Values that are the same in every drawing, e.g. units or the school
    fading : str
        One of ``lesson.FADING``: how much of a worked example stands over the question
    told : callable, optional
        Called with (question, reply) after every try, and after one that was skipped
    chance : numpy.random.Generator, optional
        Draws the numbers; another every time when left out
    """

    def __init__(self, exercise, values=None, *, fixed=None, fading=BLANK, told=None, chance=None):
        self.exercise, self.fixed, self.fading = exercise, dict(fixed or {}), fading
        self._told, self._chance = told, chance or np.random.default_rng()
        self.row = 0  # right at the first try, one after the other [-]
        self.known = set()  # fingerprints of problems that were answered: they do not count again
        self.words, self.reply, self.standing = w.HTML(), w.HTML(), w.HTML()
        self.example, self.entry = w.VBox(), None
        self.button = w.Button(description="Answer", layout={"width": "110px"})
        self.button.on_click(lambda _: self.give(self.entry.value))
        self.again = w.Button(description="Another one", layout={"width": "130px"})
        self.again.on_click(lambda _: self.draw())
        self.asking = w.HBox(layout={"align_items": "center", "flex_flow": "row wrap"})
        self.box = w.VBox(
            [self.example, self.words, self.asking, self.reply, self.standing],
            layout={"border_left": f"3px solid {FAINT}", "padding": "0 0 4px 12px"},
        )
        problem = exercise.problem(**self.fixed, **values) if values else self._drawn()
        self._show_example()
        self._ask(problem)

    @property
    def problem(self):
        """What is asked now."""
        return self.answering.problem

    def twin(self):
        """The same problem, not yet answered and told to nobody; for tests.

        Returns
        -------
        answering : Answering
            Without tries
        """
        return Answering(self.problem)

    def draw(self):
        """Ask again, with other numbers; a problem that is skipped ends the row."""
        fresh = self.problem.fingerprint not in self.known
        if self.row and fresh and not self.answering.tries:
            self.row = 0
            if self._told:
                self._told(self, Reply(SKIPPED, "", ""))
        try:
            self._ask(self._drawn())
        except ValueError as refused:
            self.reply.value = card(f"<p>{escape(str(refused))}</p>")

    def give(self, guess):
        """Answer a guess; nothing is raised at the learner, and nothing typed is lost.

        Parameters
        ----------
        guess : any
            A number, or a text as it was typed [unit of the problem]

        Returns
        -------
        reply : Reply
            As the page shows it
        """
        reply = self.answering.give(guess)
        if reply.counts:
            if len(self.answering.tries) == 1 and self.problem.fingerprint not in self.known:
                self.row = self.row + 1 if reply.word == RIGHT else 0
            if self._told:
                self._told(self, reply)
        if self.answering.closed:
            self.known.add(self.problem.fingerprint)
        if reply.counts or not self.answering.closed:
            self._say(reply)
        return reply

    def _drawn(self):
        """Another problem, one that was not answered before as long as there is one."""
        made = self.exercise.drawn(self._chance, **self.fixed)
        for _ in range(MOST_DRAWN):
            if made.fingerprint not in self.known:
                break
            made = self.exercise.drawn(self._chance, **self.fixed)
        return made

    def _ask(self, problem):
        self.answering = Answering(problem)
        self.words.value = card(f"<p><b>{escape(problem.words)}</b></p>")
        self.entry = self._field(problem)
        show_only(self.asking, [self.entry, self.button, self.again])
        self.button.disabled, self.reply.value = False, ""
        self.show_standing()

    def _field(self, problem):
        """An empty field: nothing stands in it that could be taken for an answer."""
        if problem.choices:
            return w.Dropdown(options=[("choose", ""), *((c, c) for c in problem.choices)])
        unit = f" [{problem.unit}]" if problem.unit else ""
        entry = w.Text(placeholder=f"type a number{unit}", layout={"width": "220px"})
        entry.on_msg(lambda _, message, __: self._entered(message))
        return entry

    def _entered(self, message):
        """The Enter key answers as the button does."""
        if message.get("event") == "submit":
            self.give(self.entry.value)

    def _say(self, reply):
        parts = [f"<p><b>{escape(reply.line)}</b></p>"]
        if self.answering.closed:
            self.button.disabled = True
            parts.append(folded("Worked solution", solution(self.problem), shown=True))
        self.reply.value = card(*parts)
        self.show_standing()

    def show_standing(self):
        """Say how many were right in a row."""
        row = f"{min(self.row, ROW)} of {ROW} right at the first try, in a row."
        done = " Passed." if self.row >= ROW else ""
        again = self.problem.fingerprint in self.known and not self.answering.tries
        known = " You have answered this one before, so it does not count." if again else ""
        self.standing.value = card(f"<p class='quiet'>{row}{done}{known}</p>")

    # ---- the example

    def _show_example(self):
        if self.fading == BLANK:
            return
        values = self.exercise.example
        chance = np.random.default_rng(EXAMPLE_SEED)
        problem = (
            self.exercise.problem(**{**self.fixed, **values})
            if values
            else self.exercise.drawn(chance, **self.fixed)
        )
        missing = missing_step(problem) if self.fading == MISSING else None
        shown = w.HTML(_example(problem, missing))
        blank = [] if missing is None else [self._blank(problem, missing, shown)]
        self.example.children = (shown, *blank)

    def _blank(self, problem, missing, shown):
        """A field for the step that is missing; the whole example stands there when it is filled
        in, or after a second miss.
        """
        step, misses = problem.steps[missing], []
        unit = f" [{step.unit}]" if step.unit else ""
        entry = w.Text(placeholder=f"the missing number{unit}", layout={"width": "220px"})
        button = w.Button(description="Check", layout={"width": "110px"})
        said = w.HTML(layout={"margin": "0 0 0 8px"})

        def check(_):
            try:
                right = step.holds(read_answer(entry.value, step.unit))
            except ValueError as refused:
                said.value = f"<b>{escape(str(refused))}</b>"
                return
            misses.extend([] if right else [entry.value])
            if right or len(misses) >= MOST_TRIES:
                shown.value = _example(problem, None)
                button.disabled = True
                said.value = f"<b>{'Yes' if right else 'It is'}: {escape(step.said)}.</b>"
                return
            said.value = f"<b>Not yet. {FIRST_LINE if missing == 0 else LINE_BEFORE}</b>"

        button.on_click(check)
        return w.HBox([entry, button, said], layout={"align_items": "center"})


def missing_step(problem):
    """Number of the step that an example leaves out.

    Parameters
    ----------
    problem : Problem
        With steps

    Returns
    -------
    number : int or None
        The last but one; of two the last, so that one is shown; None where there are no steps [-]
    """
    count = len(problem.steps)
    return None if not count else count - 2 if count > 2 else count - 1


def _example(problem, missing):
    """An example as it stands on the page."""
    title = "An example, worked" if missing is None else "An example: fill in the missing step"
    html = f"<p>{escape(problem.words)}</p>{solution(problem, missing)}"
    return card(folded(title, html, shown=True))


def solution(problem, missing=None):
    """How a problem is worked.

    Parameters
    ----------
    problem : Problem
        With its steps
    missing : int, optional
        Number of a step whose result is left out, and all that would give it away [-]

    Returns
    -------
    html : str
        A list of its steps
    """

    def line(number, step):
        left_out = missing is not None and number >= missing
        result = "?" if left_out else step.said
        return f"<li>{escape(step.words)} = <b>{escape(result)}</b></li>"

    shown = problem.steps if missing is None else problem.steps[: missing + 1]
    rows = "".join(line(n, step) for n, step in enumerate(shown))
    note = f"<p>{escape(problem.note)}</p>" if problem.note and missing is None else ""
    end = "" if missing is not None else f"<p>Answer: {escape(problem.say(problem.answer))}.</p>"
    style = f"margin:4px 0 4px 20px;padding:0;color:{INK}"
    return f'<ol style="{style}">{rows}</ol>{note}{end}'


def folded(title, html, *, shown=False):
    """A part of the page that opens on a click.

    Parameters
    ----------
    title : str
        Shown while it is closed
    html : str
        Its contents; text from a scenario must have been escaped
    shown : bool
        Whether it is open at first

    Returns
    -------
    html : str
        A details element
    """
    state = " open" if shown else ""
    return f"<details{state}><summary>{escape(title)}</summary>{html}</details>"
