"""Sounds of a lesson: what it has said in figures, heard and switched; blind where it asks."""

import random
from dataclasses import dataclass

import ipywidgets as w

from ...acoustics.listening import listen
from ...training.sounds import SPOKEN
from ...venue.programs import program
from .. import tables
from ..jobs import HIDDEN, SHOWN, Job
from ..listening.player import Player
from ..listening.words import figures
from ..panel.controls import show_only


@dataclass(frozen=True)
class Blind:
    """A question to somebody who hears the sounds without knowing which is which."""

    words: str  # "Which gym rings longest?"
    right: str  # what the button of the right one says


@dataclass(frozen=True)
class Sound:
    """A sound as it is switched to."""

    samples: object  # (2, sample) at ``playback.RATE`` [re 20 uPa]
    said: str  # its figures, in words


def at_seat(make, played=SPOKEN):
    """A seat of an evaluation, to be heard.

    Parameters
    ----------
    make : callable
        Takes nothing; gives an evaluation, the index of its point, and a ``Listening``
    played : str
        Key of ``venue.programs.labels``

    Returns
    -------
    sound : callable
        Takes nothing; gives the ``Sound``
    """

    def sound():
        result, index, how = make()
        heard = listen(result, index, program(played), how)
        return Sound(heard.samples, figures(heard, how))

    return sound


class Hearing:
    """A player with what a lesson lets one hear; ``box`` is what a cell shows.

    Parameters
    ----------
    sounds : dict
        By what a button says, a function that takes nothing and gives a ``Sound``
    words : str
        What to listen for
    blind : Blind, optional
        What is asked of somebody who listens blind
    keep : callable, optional
        Called with (kind, reply, given) when somebody has answered
    """

    def __init__(self, sounds, words, blind=None, keep=None):
        self.sounds, self.words, self.blind, self._keep = sounds, words, blind, keep
        self.given = []  # (answer, whether it was right)
        self._found, self._order = None, tuple(sounds)
        self.player, self.note, self.told = Player(self._make), w.HTML(), w.HTML()
        self.job = Job(self._done, refused=lambda _: self._rest())
        self.hidden = w.Checkbox(description="Blind: numbers only", indent=False)
        self.hidden.layout.display = SHOWN if blind else HIDDEN
        self.hidden.observe(lambda _: self.shuffle(), names="value")
        self.answers = w.HBox(layout={"display": HIDDEN, "align_items": "center"})
        parts = [self.hidden, self.player, self.answers, self.told, self.job.words, self.job.error]
        self.box = w.VBox([*parts, self.note])
        self.shuffle()

    @property
    def standing(self):
        """How blind listening has gone; empty before anything was answered."""
        right = sum(was for _, was in self.given)
        return f"{right} of {len(self.given)} right, blind" if self.given else ""

    def heard(self):
        """What is heard.

        Returns
        -------
        heard : dict
            ``Sound`` by what its button says
        """
        return {name: make() for name, make in self.sounds.items()}

    def shuffle(self):
        """Begin a round: in another order where it is blind."""
        names = list(self.sounds)
        blind = self.blind is not None and self.hidden.value
        self._order = tuple(random.sample(names, len(names)) if blind else names)
        shown = [str(n) if blind else f"{n} {name}" for n, name in enumerate(self._order, 1)]
        self.player.outdate()
        self.player.names, self.player.words = shown, self.words
        self.note.value = self.told.value = ""
        self.answers.layout.display = HIDDEN

    def answer(self, number):
        """Say which one it was, blind; what is what is told then.

        Parameters
        ----------
        number : int
            Of a button, from 1 [-]
        """
        name = self._order[number - 1]
        right = name == self.blind.right
        self.given.append((name, right))
        said = ", ".join(f"{n} was: {one}" for n, one in enumerate(self._order, 1))
        word = "Right." if right else f"It was {self._order.index(self.blind.right) + 1}."
        self.told.value = tables.card(f"<p><b>You took {number}. {word}</b> {said}.</p>")
        again = w.Button(description="Another round", layout={"width": "130px"})
        again.on_click(lambda _: self.shuffle())
        show_only(self.answers, [again])
        self._show_figures()
        if self._keep:
            self._keep("listening", "right" if right else "wrong", name)

    def _make(self):
        if not self.job.running:
            self.player.working = True
            self.job.start(lambda tell, stop: self._found or self.heard(), "Making the sounds.")

    def _rest(self):
        self.player.working = False

    def _done(self, found):
        self._rest()
        self.job.say("")
        self._found = found
        sounds = [found[name].samples for name in self._order]
        blind = self.blind is not None and self.hidden.value
        if blind:  # which one ends later would tell
            sounds = [s[:, : min(x.shape[1] for x in sounds)] for s in sounds]
        softer = self.player.give(sounds)
        self.player.words = f"{self.words} {softer}".strip()
        if blind:
            self._ask()
        else:
            self._show_figures()

    def _ask(self):
        buttons = [
            w.Button(description=str(n), layout={"width": "60px"})
            for n in range(1, len(self._order) + 1)
        ]
        for number, button in enumerate(buttons, 1):
            button.on_click(lambda _, number=number: self.answer(number))
        show_only(self.answers, [w.HTML(self.blind.words), *buttons])
        self.answers.layout.display = SHOWN

    def _show_figures(self):
        rows = "".join(f"<li><b>{name}</b>: {self._found[name].said}</li>" for name in self._order)
        self.note.value = tables.card(f"<ol style='margin:4px 0 4px 20px'>{rows}</ol>")
