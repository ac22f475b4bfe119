"""Page of the lesson on decibels and octaves."""

import numpy as np
import plotly.graph_objects as go

from ...physics.bands import EXACT, NAMES, sum_levels
from ...training import sounds
from ...training.lessons import decibels
from ..panel.controls import SliderSpec
from ..theme import GROUP_COLORS, INK
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed, worked_by_hand

ALIKE, SOFTER, FAR = "about as loud", "clearly softer", "so soft that it alone is hardly noticed"
LEAST, FAR_DB = 2.0, 12.0  # where "clearly softer" begins and ends [dB]
AROUND_DB = 0.15  # of what is to be added: how near counts [dB]
STEPS_DB = (0.0, 1.0, 6.0)  # to be heard [dB]
QUIET_DBA = 60.0  # of the softest step [dB(A)]
HEARD = (1, 3, 5)  # octaves to be heard
HEARD_DBA = 65.0  # of the speech that they are taken from [dB(A)]
RING_S = 2.0  # reverberation time of the room that is heard [s]
DIRECT_DB = (10.0, 0.0, -10.0)  # over the room's own sound, to be heard [dB]
TABLE = [(1, "-8.6"), (2, "-3.2"), (3, "0.0"), (4, "1.2"), (5, "1.0"), (6, "-1.1")]
CENTERS = [(0, "125.89"), (2, "501.19"), (4, "1995.3"), (6, "7943.3")]


class DecibelsPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    times : float
        As much power, in the first question [-]
    more_db : float
        Level difference in the second question [dB]
    adds_db : float
        What the second sound of the experiment is to add [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "decibels"

    def __init__(self, *, units, times, more_db, adds_db, progress=None):
        super().__init__(units=units, progress=progress)
        self.ratio = self.ask("ratio", dict(times=times))
        self.energy = self.ask("energy", dict(more_db=more_db))
        self.together = self.ask("together", dict(first_db=83.0, second_db=78.0))
        self.octave = self.ask("octave", dict(start=1, up=3))
        self.weighted = self.ask("weighted", dict(low=1, high=4, low_db=74.0, high_db=68.0))
        self.alike = self.ask("alike", dict(at_m=2.0, direct_db=88.0, room_db=75.0, whole=True))
        self.two = self.try_out("two", _two(adds_db))
        self.steps = self.listen("steps", *_steps())
        self.octaves = self.listen("octaves", *_octaves())
        self.room = self.listen("room", *_room())
        self.printed = self.compare(printed(_rows()))
        self.by_hand = self.compare(worked_by_hand(_worked()))


def _two(adds_db):
    """Two sounds, the second to be turned up.

    What is to be added is less than 3 dB, so the aim lies where the second is the softer one.
    """
    return Setup(
        adjustments=tuple(
            SliderSpec(path=(name,), label=label, low=50, high=90, step=0.5, unit="dB")
            for name, label in (("first_db", "first sound"), ("second_db", "second sound"))
        ),
        start=dict(first_db=80.0, second_db=52.0),
        compute=decibels.added,
        draw=_curve,
        aim=Aim(
            words=(
                f"both together are {adds_db:g} dB louder than the first alone, give or take"
                f" {AROUND_DB:g} dB"
            ),
            what="louder than the first alone by",
            measure=lambda found: found[4] - found[2],
            unit="dB",
            low=adds_db - AROUND_DB,
            high=adds_db + AROUND_DB,
            digits=2,
        ),
        predict=Prediction(
            f"Before you move them: how loud is a second sound that adds {adds_db:g} dB, against"
            " the first?",
            (ALIKE, SOFTER, FAR),
            lambda _start, reached: _against(reached[2] - reached[3]),
        ),
    )


def _against(apart_db):
    """How much softer one is than the other, in words."""
    return ALIKE if apart_db < LEAST else SOFTER if apart_db < FAR_DB else FAR


def _curve(found):
    """The level of both over that of the second."""
    second, both, first_db, second_db, now = found
    traces = [
        go.Scatter(
            name="first alone",
            x=second,
            y=np.full_like(second, first_db),
            line=dict(color=GROUP_COLORS[0], dash="dot"),
        ),
        go.Scatter(
            name="second alone", x=second, y=second, line=dict(color=GROUP_COLORS[1], dash="dash")
        ),
        go.Scatter(name="both", x=second, y=both, line=dict(color=INK)),
        go.Scatter(name="now", x=[second_db], y=[now], mode="markers", marker=dict(size=12)),
    ]
    return go.Figure(traces).update_layout(
        **FRAME,
        xaxis_title="level of the second [dB]",
        yaxis_title="level [dB]",
    )


def _steps():
    """Level steps, to be heard."""

    def at(more):
        level = QUIET_DBA + more
        return lambda: Sound(sounds.at_level(level), f"speech at {level:g} dB(A)")

    made = {f"{more:+g} dB" if more else "as it is": at(more) for more in STEPS_DB}
    words = (
        "One decibel is about the smallest step that you notice (common practice, no source). Six"
        " decibels are plain."
    )
    return made, words, Blind("Which one is the loudest?", f"{max(STEPS_DB):+g} dB")


def _octaves():
    """Single octaves of speech, to be heard."""

    def one(band):
        gains = np.full(7, -np.inf)
        gains[band] = 0.0
        return lambda: Sound(
            sounds.in_octaves(HEARD_DBA, gains), f"speech, only the octave around {NAMES[band]}"
        )

    made = {"all octaves": lambda: Sound(sounds.at_level(HEARD_DBA), "speech with all octaves")}
    made |= {NAMES[band]: one(band) for band in HEARD}
    words = (
        "Low octaves carry the body of a voice, high ones its consonants. Which one is clearest?"
    )
    return made, words, Blind(f"Which one is the octave around {NAMES[5]}?", NAMES[5])


def _room():
    """More and less direct sound in one room, to be heard."""

    def at(over):
        return lambda: Sound(
            sounds.in_room(RING_S, HEARD_DBA, over),
            f"speech at {HEARD_DBA:g} dB(A), direct sound {over:+g} dB re the room sound",
        )

    names = ("near: mostly direct", "both alike", "far: mostly room")
    made = {name: at(over) for name, over in zip(names, DIRECT_DB, strict=True)}
    words = (
        "All three are equally loud. Only the shares differ. Listen to the ends of the words: room"
        " sound runs on into the next one."
    )
    return made, words, Blind("Which one is heard farthest from the loudspeaker?", names[-1])


def _rows():
    """Values of the standards, and what is computed."""
    weights = [
        (
            f"A-weighting at {NAMES[band]} [dB]",
            text,
            float(decibels.a_curve_db(EXACT[band])),
            "IEC 61672-1:2013, Table 3 (from memory)",
        )
        for band, text in TABLE
    ]
    centers = [
        (
            f"middle of the octave {NAMES[n]} [Hz]",
            text,
            EXACT[n],
            "IEC 61260-1:2014, Table E.1 (from memory)",
        )
        for n, text in CENTERS
    ]
    return weights + centers


def _worked():
    """Landmarks that are worked by hand."""
    return [
        ("twice the power [dB]", "3.01", decibels.ratio(2.0).answer, "10 × 0.30103"),
        ("ten times the power [dB]", "10", decibels.ratio(10.0).answer, "10 × 1"),
        ("two sounds of 60 dB [dB]", "63.01", float(sum_levels(np.full(2, 60.0))), "60 + 3.01"),
        (
            "60 dB and 50 dB [dB]",
            "60.41",
            decibels.together(60.0, 50.0).answer,
            "60 + 10 log 1.1 = 60 + 0.41",
        ),
    ]
