"""Sounds of a lesson: what it has told in figures, to be heard and switched."""

import ipywidgets as w

from ...acoustics.listening import listen
from ...venue.programs import labels, program
from .. import tables
from ..jobs import Job
from ..listening.player import Player
from ..listening.words import figures, summed

SPOKEN = next(iter(labels()))  # program of a lesson where it names none


class Hearing:
    """A player with what a lesson lets one hear; ``box`` is what a cell shows.

    Parameters
    ----------
    sounds : dict
        By what a button says, a function that gives an evaluation, the index of its point, and a
        ``Listening``
    words : str
        What to listen for
    played : str
        Key of ``venue.programs.labels``
    """

    def __init__(self, sounds, words, played=SPOKEN):
        self.sounds, self.words, self._played = sounds, words, played
        self.player, self.note = Player(self._make), w.HTML()
        self.player.names = [f"{n} {name}" for n, name in enumerate(sounds, 1)]
        self.player.words = words
        self.job = Job(self._done, refused=lambda _: self._rest())
        self.box = w.VBox([self.player, self.job.words, self.job.error, self.note])

    def heard(self):
        """What is heard.

        Returns
        -------
        heard : dict
            By what a button says, how it is listened to and ``Heard``
        """
        played, found = program(self._played), {}
        for name, make in self.sounds.items():
            result, index, how = make()
            found[name] = how, listen(result, index, played, how)
        return found

    def _make(self):
        if not self.job.running:
            self.player.working = True
            self.job.start(lambda tell, stop: self.heard(), "Making the sounds.")

    def _rest(self):
        self.player.working = False

    def _done(self, found):
        self._rest()
        self.job.say("")
        softer = self.player.give([heard.samples for _, heard in found.values()])
        self.player.words = f"{self.words} {softer}".strip()
        rows = "".join(
            f"<li><b>{name}</b>: {figures(heard, how)}</li>" for name, (how, heard) in found.items()
        )
        waves = summed([heard for _, heard in found.values()])
        self.note.value = tables.card(f"<ol>{rows}</ol><p>{waves}</p>")
