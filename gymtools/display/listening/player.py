"""The player on the page: sounds of equal standing, switched while they play."""

from pathlib import Path

import anywidget
import numpy as np
from traitlets import Bool, Int, List, Unicode

from ...physics.playback import RATE
from .files import CAUTION

HERE = Path(__file__).parent
FULL = 32767  # largest sample of 16 bits
HEARING = f"{CAUTION} A full crowd is loud. Nothing plays before you press Play."


class Player(anywidget.AnyWidget):
    """Buttons to play and to switch between sounds at the same place in time.

    Sounds are made when they are asked for: ``on_ask`` is called, and ``give`` answers.

    Parameters
    ----------
    on_ask : callable
        Called with nothing when Play is pressed and the sounds are not those of the settings
    """

    names = List(Unicode()).tag(sync=True)  # what the buttons say
    rate = Int(RATE).tag(sync=True)
    wanted = Int(0).tag(sync=True)  # number of the settings; sounds of another are not played
    words = Unicode("").tag(sync=True)  # said beside the buttons
    caution = Unicode(HEARING).tag(sync=True)
    working = Bool(False).tag(sync=True)
    _esm = HERE / "player.js"
    _css = HERE / "player.css"

    def __init__(self, on_ask):
        super().__init__()
        self._on_ask, self.full_scale_db = on_ask, None  # peak at full volume [dB re 20 uPa]
        self.on_msg(lambda _widget, message, _buffers: self._heard(message))

    def _heard(self, message):
        if isinstance(message, dict) and message.get("ask") == "play":
            self._on_ask()

    def outdate(self):
        """The settings are others: what was given is not played any more."""
        self.wanted += 1

    def give(self, sounds):
        """Hand the page what it plays, and have it begin.

        Everything that a player plays has one scale, so that levels differ as they do in the gym;
        the first sounds set it, and it is raised where a peak would be cut.

        Parameters
        ----------
        sounds : sequence of array
            (2, sample) each, left and right [re 20 uPa]

        Returns
        -------
        said : str
            That all plays softer from now on; empty where the scale holds
        """
        packed = [packed_sound(samples) for samples in sounds]
        highest = max(peak for _, peak in packed)
        by = 0.0 if self.full_scale_db is None else max(highest - self.full_scale_db, 0.0)
        self.full_scale_db = max(highest, self.full_scale_db or highest)
        gains = [10 ** ((peak - self.full_scale_db) / 20) for _, peak in packed]
        self.send(
            {"play": self.wanted, "gains": gains, "seconds": [s.shape[1] / RATE for s in sounds]},
            buffers=[data for data, _ in packed],
        )
        softer = f"From now on everything plays {by:.0f} dB softer: nothing is cut."
        return softer if by >= 0.5 else ""


def packed_sound(samples):
    """A sound as the page takes it.

    Parameters
    ----------
    samples : array
        (2, sample) [re 20 uPa]

    Returns
    -------
    data : bytes
        16 bits, left and right by turns, its peak at full scale
    peak_db : float
        What full scale stands for [dB re 20 uPa]
    """
    peak = max(float(np.abs(samples).max()), 1e-6)
    data = np.round(samples.T * (FULL / peak)).astype("<i2").tobytes()
    return data, 20 * np.log10(peak)
