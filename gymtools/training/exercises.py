"""Exercises: questions that can be drawn again, their answers, typical mistakes, and working."""

import hashlib
import math
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, field

SLIP_SHARE = 0.25  # of its distance from the answer: no slip reaches farther [-]
APART = 2.0  # tolerances by which a slip lies off the answer, or the drawing asks nothing [-]
TRIES = 200  # drawings before it is said that there is none


@dataclass(frozen=True)
class Slip:
    """A typical mistake: what it gives, and what to say to who made it."""

    value: float  # [unit of the problem]
    words: str  # must not give the answer away
    near: float = 0.0  # how near a guess must come; as near as to the answer when 0 [unit]
    beyond: bool = False  # whether all guesses that are farther off, on its side, are it too


@dataclass(frozen=True)
class Step:
    """One line of a worked solution, with the number that it gives."""

    words: str  # "spreading: 20 log(78 / 20)"
    value: float  # [unit]
    unit: str = ""
    digits: int = 1
    near: float = 0.0  # how far off a filled-in number may be; half the last digit when 0 [unit]

    @property
    def said(self):
        """The number with its unit."""
        shown = round(self.value, self.digits) + 0.0  # no minus before nothing
        return f"{shown:,.{self.digits}f} {self.unit}".strip()

    def holds(self, value):
        """Whether a number that somebody filled in is right.

        Parameters
        ----------
        value : float
            As it was typed [unit]

        Returns
        -------
        holds : bool
            Within ``near``, or within one of the last digit shown
        """
        return abs(value - self.value) <= max(self.near, 10.0**-self.digits) * (1 + 1e-9)


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One drawing of an exercise: with its numbers, its answer and how it is worked.

    Nothing in it is lazy: what takes long is computed where the problem is made.
    """

    words: str  # the question, in a gym's terms
    answer: float | str  # a number [unit], or one of ``choices``
    hint: str  # for a first wrong answer; must not give the answer away
    unit: str = ""
    near: float = 0.0  # how far off still counts as right [unit]
    low: float = -math.inf  # limits of a sensible answer [unit]
    high: float = math.inf
    digits: int = 1
    slips: tuple = ()  # of Slip
    steps: tuple = ()  # of Step
    note: str = ""  # what the worked solution ends with
    choices: tuple = ()  # texts, where the answer is one of them

    def __post_init__(self):
        if self.choices and self.answer not in self.choices:
            raise ValueError(f"the answer {self.answer!r} is none of the choices.")
        if not self.choices and not self.low <= self.answer <= self.high:
            raise ValueError(
                f"With these parameters the answer, {self.answer:g} {self.unit}, is outside what"
                f" can be answered, {self.low:g} to {self.high:g}. Change the parameters."
            )

    def say(self, value):
        """A value with its unit.

        Parameters
        ----------
        value : float or str
            Scalar; guess or answer [unit]

        Returns
        -------
        words : str
            "6.2 dB"; a choice as it is
        """
        if isinstance(value, str):
            return value
        return f"{round(value, self.digits) + 0.0:,.{self.digits}f} {self.unit}".rstrip()

    def right(self, value):
        """Whether an answer counts as right.

        Parameters
        ----------
        value : float or str
            Scalar; number, or one of the choices [unit]

        Returns
        -------
        right : bool
            Within ``near``
        """
        if self.choices:
            return value == self.answer
        return abs(value - self.answer) <= self.near * (1 + 1e-9)

    @property
    def fingerprint(self):
        """Short text that differs from one drawing to another."""
        return hashlib.sha256(self.words.encode()).hexdigest()[:12]

    @property
    def tells_slips(self):
        """Whether every typical mistake gives something that is clearly not the answer."""
        if self.choices:
            return True
        return all(abs(s.value - self.answer) >= APART * self.near for s in self.slips)

    def slip(self, value):
        """Typical mistake that a wrong answer comes near to.

        Parameters
        ----------
        value : float or str
            Scalar; number, or one of the choices [unit]

        Returns
        -------
        slip : Slip or None
            The nearest one; None where none is near
        """
        if self.choices:
            return next((s for s in self.slips if s.value == value), None)
        reached = []
        for slip in self.slips:
            apart = abs(slip.value - self.answer)
            over = (value - slip.value) * (slip.value - self.answer) >= 0 and slip.beyond
            close = abs(value - slip.value) <= min(slip.near or self.near, SLIP_SHARE * apart)
            if apart > self.near and (close or over):
                reached.append((abs(value - slip.value), slip))
        return min(reached, key=lambda pair: pair[0])[1] if reached else None


@dataclass(frozen=True)
class Exercise:
    """A question that can be asked again with other numbers."""

    key: str  # "distance.quieter": of the lesson and of what is asked; kept in progress files
    title: str  # in a few words, for lists
    _: KW_ONLY
    problem: Callable  # (**values) -> Problem
    draw: Callable  # (random generator) -> values; those not drawn keep their defaults
    needs_units: bool = False  # its problem takes "m" or "ft"
    needs_gym: bool = False  # its values hold a school, so only its own lesson can ask it
    example: dict = field(default_factory=dict)  # values of the worked example; drawn when empty

    @property
    def lesson(self):
        """Name of the lesson's module."""
        return self.key.partition(".")[0]

    def drawn(self, chance, **fixed):
        """Another problem.

        Parameters
        ----------
        chance : numpy.random.Generator
            Draws the numbers
        fixed : any
            Values that are kept, e.g. ``units``

        Returns
        -------
        problem : Problem
            With an answer; drawn again where one has none, or where a typical mistake would count
            as right

        Raises
        ------
        ValueError
            Nothing that can be answered was drawn in ``TRIES`` tries
        """
        why = "a typical mistake counts as right in every drawing."
        for _ in range(TRIES):
            try:
                made = self.problem(**{**fixed, **self.draw(chance)})
            except ValueError as refused:
                why = refused
                continue
            if made.tells_slips:
                return made
        raise ValueError(f"nothing could be drawn for '{self.title}': {why}")
