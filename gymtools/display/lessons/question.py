"""Parts of a lesson: a question that is guessed at first, and a folded worked solution."""

import math
from dataclasses import dataclass
from html import escape

import ipywidgets as w

from ..panel.controls import STYLE, WIDE
from ..tables import card

UNSEEN = "The computed answer appears here once you have given your guess."


@dataclass(frozen=True)
class Slip:
    """A typical mistake: what it would give, and the words for who made it."""

    # callable, so that it follows the parameters and is worked out only after a guess [unit of the
    # question]
    value: object
    words: str


@dataclass(frozen=True)
class Reply:
    """What a guess was answered: ``word`` is "right", "too low", "too high", "not a guess" or "no
    answer".
    """

    word: str
    line: str
    off: float = math.nan  # guess less answer [unit of the question]
    slip: str = ""


class Question:
    """A guess first, then the computed answer beside it; nothing of the answer is worked out or
    sent to the page before.

    Parameters
    ----------
    words : str
        The question, in a gymnasium's terms [-]
    unit : str
        Of guess and answer; may be empty [-]
    answer : callable
        Computes the answer from the lesson's parameters; takes nothing [unit]
    low, high : float
        What a sensible guess lies between [unit]
    first : float
        What stands there at first, so that the notebook runs to its end [unit]
    near : float
        How far off still counts as right [unit]
    step : float or None
        Step of a slider; typed entry when None [unit]
    digits : int
        Decimals told [-]
    slips : sequence of Slip
        Typical mistakes, nearest to the guess is told [-]
    solution : callable or None
        HTML of the worked solution, computed; folded under the answer [-]
    """

    def __init__(
        self,
        words,
        unit,
        answer,
        *,
        low,
        high,
        first,
        near,
        step=None,
        digits=1,
        slips=(),
        solution=None,
    ):
        self.words, self.unit, self.answer = words, unit, answer
        self.low, self.high, self.first, self.near = low, high, first, near
        self.step, self.digits, self.slips, self.solution = step, digits, tuple(slips), solution
        self.given = []  # every guess that was one, in order
        if step is None:
            self.entry = w.Text(value=f"{first:g}")
        else:
            self.entry = w.FloatSlider(
                value=first, min=low, max=high, step=step, readout_format=f".{digits}f"
            )
        self.entry.description = f"my guess [{unit}]" if unit else "my guess"
        self.entry.style, self.entry.layout.width = STYLE, WIDE
        self.button = w.Button(description="This is my guess", layout=w.Layout(width="auto"))
        self.button.on_click(lambda _: self.give(self.entry.value))
        self.refusal, self.told = w.HTML(), w.HTML(card(f"<p class='quiet'>{UNSEEN}</p>"))
        self.asked = w.VBox(
            [
                w.HTML(card(f"<p><b>{escape(words)}</b></p>")),
                w.HBox([self.entry, self.button]),
                self.refusal,
            ]
        )

    @property
    def value(self):
        """The last guess, or what stood there at first [unit]."""
        return self.given[-1] if self.given else self.first

    def twin(self):
        """The same question, not yet asked: a check cell may answer it without revealing anything
        on the page.

        Returns
        -------
        question : Question
            Without guesses
        """
        return Question(
            self.words,
            self.unit,
            self.answer,
            low=self.low,
            high=self.high,
            first=self.first,
            near=self.near,
            step=self.step,
            digits=self.digits,
            slips=self.slips,
            solution=self.solution,
        )

    def give(self, guess):
        """Answer a guess; whatever it is, nothing is raised at the learner and no earlier guess is
        lost.

        Parameters
        ----------
        guess : any
            A number, or a text that was typed [unit]

        Returns
        -------
        reply : Reply
            What the page shows
        """
        try:
            value = self._read(guess)
        except ValueError as refused:
            self.refusal.value = card(f"<p>{escape(str(refused))}</p>")
            return Reply("not a guess", str(refused))
        self.refusal.value = ""
        reply = self._reply(value)
        if reply.word != "no answer":
            self.given.append(value)
            self.entry.value = value if self.step is not None else f"{value:g}"
        self._show(reply)
        return reply

    def say(self, value):
        """A value of the question with its unit.

        Parameters
        ----------
        value : float
            Guess or answer [unit]

        Returns
        -------
        words : str
            "6.2 dB"
        """
        return f"{value:.{self.digits}f} {self.unit}".rstrip()

    def _read(self, guess):
        text = str(guess).strip()
        if self.unit and text.endswith(self.unit):
            text = text[: -len(self.unit)].strip()
        shown = text if len(text) <= 20 else text[:20] + "…"
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            raise ValueError(
                f"'{shown}' is not a number. Type one, for example"
                f" {self.say((self.low + self.high) / 2)}."
            ) from None
        if not self.low <= value <= self.high:  # NaN is refused too
            raise ValueError(
                f"{shown} is not between {self.say(self.low)} and {self.say(self.high)}. Guess"
                " again."
            )
        return value

    def _reply(self, value):
        try:
            answer = float(self.answer())
        except ValueError as refused:
            return Reply("no answer", f"With these parameters there is no answer: {refused}")
        if not math.isfinite(answer):
            return Reply(
                "no answer",
                "With these parameters the answer is not a finite number. Change the parameters.",
            )
        off = value - answer
        line = f"Your guess: {self.say(value)}. Computed: {self.say(answer)}. "
        if abs(off) <= self.near:
            return Reply("right", line + f"Right, within {self.say(self.near)}.", off)
        word = "too low" if off < 0 else "too high"
        slip = self._slip(value, answer)
        return Reply(
            word,
            line + f"Your guess is {self.say(abs(off))} {word}.{' ' + slip if slip else ''}",
            off,
            slip,
        )

    def _slip(self, value, answer):
        """Words of the typical mistake that the guess comes nearest to, if it comes near one."""
        found = [
            (abs(value - made), s.words)
            for s in self.slips
            if abs((made := float(s.value())) - answer) > self.near
        ]
        found = [f for f in found if f[0] <= self.near]
        return min(found)[1] if found else ""

    def _show(self, reply):
        before = ""
        if len(self.given) > 1:
            before = (
                f"<p class='quiet'>Before: {', '.join(self.say(v) for v in self.given[:-1])}</p>"
            )
        solution = (
            folded("Worked solution", self.solution())
            if self.solution and reply.word != "no answer"
            else ""
        )
        self.told.value = card(f"<p><b>{escape(reply.line)}</b></p>", before, solution)


def folded(title, html):
    """A part of the page that opens on a click.

    Parameters
    ----------
    title : str
        What stands on it while it is closed [-]
    html : str
        What it holds; text from a scenario must have been escaped [-]

    Returns
    -------
    html : str
        A details element
    """
    return f"<details><summary>{escape(title)}</summary>{html}</details>"
