"""Answering one problem: a hint after the first wrong answer, the number after the second."""

import math
from dataclasses import dataclass

from ..venue.texts import shown
from .typed_answers import read_answer

MOST_TRIES = 2
OF_NO_USE = ("not a guess", "closed")  # words of replies that count as no try


@dataclass(frozen=True)
class Reply:
    """Answer to a guess."""

    word: str  # "right", "too low", "too high", "wrong", "not a guess" or "closed"
    line: str  # in a sentence or two
    value: float | str = math.nan  # as it was read [unit of the problem]
    off: float = math.nan  # guess less answer [unit of the problem]
    slip: str = ""  # words of the typical mistake that it comes near to
    told: bool = False  # whether the line gives the answer

    @property
    def counts(self):
        """Whether it was a try."""
        return self.word not in OF_NO_USE


class Answering:
    """Tries at one problem.

    Parameters
    ----------
    problem : Problem
        What is asked
    """

    def __init__(self, problem):
        self.problem, self.tries = problem, []  # of Reply that count

    @property
    def closed(self):
        """Whether the answer has been given, by the learner or by the page."""
        return bool(self.tries) and (self.tries[-1].told or self.tries[-1].word == "right")

    @property
    def right_at_once(self):
        """Whether the first try was right."""
        return bool(self.tries) and self.tries[0].word == "right"

    def give(self, guess):
        """Answer a guess; whatever it is, nothing is raised at the learner.

        Parameters
        ----------
        guess : any
            A number, a text as it was typed, or one of the choices [unit of the problem]

        Returns
        -------
        reply : Reply
            The first wrong one gets a hint, the second the number
        """
        if self.closed:
            return Reply("closed", "This one is answered. Take another one.")
        try:
            value = self._read(guess)
        except ValueError as refused:
            return Reply("not a guess", str(refused))
        reply = self._reply(value)
        self.tries.append(reply)
        return reply

    def _read(self, guess):
        problem = self.problem
        if problem.choices:
            if guess not in problem.choices:
                raise ValueError("Choose one of the answers first.")
            return guess
        value = read_answer(guess, problem.unit)
        if not problem.low <= value <= problem.high:  # NaN is refused too
            raise ValueError(
                f"{shown(str(guess))} is not between {problem.say(problem.low)} and"
                f" {problem.say(problem.high)}. Guess again."
            )
        return value

    def _reply(self, value):
        problem = self.problem
        off = math.nan if problem.choices else value - problem.answer
        yours = f"Your answer: {problem.say(value)}."
        if problem.right(value):
            more = "" if problem.choices else self._exactly(value)
            return Reply("right", f"Right. {yours}{more}", value, off)
        word = "wrong" if problem.choices else "too low" if off < 0 else "too high"
        slip = problem.slip(value)
        said = slip.words if slip else problem.hint
        words = slip.words if slip else ""
        if len(self.tries) + 1 < MOST_TRIES:
            so_far = "Not that one." if problem.choices else f"That is {word}."
            return Reply(word, f"{yours} {so_far} {said} Try once more.", value, off, words)
        told = f"The answer is {problem.say(problem.answer)}."
        where = "" if problem.choices else f" Yours is {problem.say(abs(off))} {word}."
        tail = f" {slip.words}" if slip else ""
        return Reply(word, f"{yours} {told}{where}{tail}", value, off, words, told=True)

    def _exactly(self, value):
        problem = self.problem
        if problem.say(value) == problem.say(problem.answer):
            return ""
        near = f"{problem.say(problem.near)} is near enough"
        return f" Worked out: {problem.say(problem.answer)}; {near}."
