"""Parts of a lesson: a question that is guessed at first, and a folded worked solution."""

import math
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, replace
from html import escape

import ipywidgets as w

from ..panel.controls import STYLE, WIDE
from ..tables import card

UNSEEN = "The computed answer appears here once you have given your guess."


@dataclass(frozen=True)
class Slip:
    """A typical mistake: what it would give, and what to say to who made it."""

    # takes nothing; called after a guess only, so that it follows the parameters [unit of the
    # question]
    value: Callable
    words: str


@dataclass(frozen=True)
class Reply:
    """Answer to a guess."""

    word: str  # "right", "too low", "too high", "not a guess" or "no answer"
    line: str  # in one sentence or two
    off: float = math.nan  # guess less answer [unit of the question]
    slip: str = ""  # words of the typical mistake that it comes near to


@dataclass(eq=False)
class Question:
    """A guess first, then the computed answer beside it.

    Nothing of the answer is computed or sent to the page before the guess.

    Parameters
    ----------
    words : str
        The question, in a gymnasium's terms
    unit : str
        Of guess and answer; may be empty
    answer : callable
        Computes the answer from the lesson's parameters; takes nothing [unit]
    low, high : float
        Limits of a sensible guess [unit]
    first : float
        Shown at first, so that the notebook runs to its end [unit]
    near : float
        How far off still counts as right [unit]
    step : float or None
        Step of a slider; typed entry when None [unit]
    digits : int
        Decimals shown [-]
    slips : sequence of Slip
        Typical mistakes; the one nearest to the guess is named
    solution : callable or None
        HTML of the worked solution, computed; folded under the answer
    """

    words: str
    unit: str
    answer: Callable
    _: KW_ONLY
    low: float
    high: float
    first: float
    near: float
    step: float | None = None
    digits: int = 1
    slips: tuple = ()
    solution: Callable | None = None

    def __post_init__(self):
        self.given = []  # every guess that was one, in order
        if self.step is None:
            self.entry = w.Text(value=f"{self.first:g}")
        else:
            self.entry = w.FloatSlider(
                value=self.first,
                min=self.low,
                max=self.high,
                step=self.step,
                readout_format=f".{self.digits}f",
            )
        self.entry.description = f"my guess [{self.unit}]" if self.unit else "my guess"
        self.entry.style, self.entry.layout.width = STYLE, WIDE
        self.button = w.Button(description="This is my guess", layout=w.Layout(width="auto"))
        self.button.on_click(lambda _: self.give(self.entry.value))
        self.refusal, self.reply = w.HTML(), w.HTML(card(f"<p class='quiet'>{UNSEEN}</p>"))
        self.asked = w.VBox(
            [
                w.HTML(card(f"<p><b>{escape(self.words)}</b></p>")),
                w.HBox([self.entry, self.button]),
                self.refusal,
            ]
        )

    @property
    def value(self):
        """The last guess, or the value shown at first [unit]."""
        return self.given[-1] if self.given else self.first

    def twin(self):
        """The same question, not yet asked.

        A check cell may answer it without revealing anything on the page.

        Returns
        -------
        question : Question
            Without guesses
        """
        return replace(self)

    def give(self, guess):
        """Answer a guess.

        Whatever it is, nothing is raised at the learner and no earlier guess is lost.

        Parameters
        ----------
        guess : any
            A number, or a text as it was typed [unit]

        Returns
        -------
        reply : Reply
            As the page shows it
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
            E.g. "6.2 dB"
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
        """Words of the typical mistake nearest to the guess; empty when none is near."""
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
        self.reply.value = card(f"<p><b>{escape(reply.line)}</b></p>", before, solution)


def folded(title, html):
    """A part of the page that opens on a click.

    Parameters
    ----------
    title : str
        Shown while it is closed
    html : str
        Its contents; text from a scenario must have been escaped

    Returns
    -------
    html : str
        A details element
    """
    return f"<details><summary>{escape(title)}</summary>{html}</details>"
