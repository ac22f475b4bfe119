"""Page of the lesson on distance and level."""

import numpy as np
import plotly.graph_objects as go

from ...physics.air import attenuation
from ...physics.bands import EXACT
from ...training import sounds
from ...training.lessons import distance
from ...training.round_lengths import round_length
from ..panel.controls import SliderSpec
from ..theme import GROUP_COLORS, INK, per_unit
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed

WIDER, SAME, CLOSER = "farther apart than high", "as far apart as high", "closer than high"
STEPS_DB = (0.0, 3.0, 10.0)  # to be heard [dB]
QUIET_DBA = 60.0  # of the first [dB(A)]
TABLE = [  # degrees Celsius, humidity [%], band, as printed [dB/km]
    (10, 70, 3, "3.7"),
    (10, 70, 6, "117"),
    (20, 70, 5, "22.9"),
    (20, 70, 6, "76.6"),
    (30, 70, 6, "59.3"),
    (15, 20, 6, "202"),
]


class DistancePage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    first : dict
        Values of the first question, by the names of ``distance.quieter``
    loudspeakers : int
        In the second question [-]
    height_m : float
        Over the ears, at the start of the experiment [m]
    even_db : float
        How uneven the row may be [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "distance"

    def __init__(self, *, units, first, loudspeakers, height_m, even_db, progress=None):
        super().__init__(units=units, progress=progress)
        self.quieter = self.ask("quieter", first)
        self.louder = self.ask("louder", dict(loudspeakers=loudspeakers))
        air = {k: first[k] for k in ("temperature_c", "humidity_pct")}
        self.apart = self.try_out("apart", _apart(units, height_m, even_db, air))
        self.steps = self.listen("steps", *_steps())
        self.printed = self.compare(printed(_rows()))


def _apart(units, height_m, even_db, air):
    """Two loudspeakers over a row, to be moved apart."""
    names = (("spacing", "apart", 0.5, 60), ("height", "over the ears", 2, 15))
    return Setup(
        adjustments=tuple(
            SliderSpec(path=(name,), label=label, low=low, high=high, step=0.5, unit="m")
            for name, label, low, high in names
        ),
        start=dict(spacing=round_length(height_m / 2, units), height=round_length(height_m, units)),
        compute=lambda spacing, height: (distance.along(spacing, height, 100.0, **air), height),
        draw=lambda found: _curves(*found[0], units),
        aim=Aim(
            words=f"as far apart as allowed: the row differs by {even_db - 1:g} to {even_db:g} dB",
            what="loudest to quietest seat",
            measure=lambda found: float(np.ptp(found[0][1][2])),
            unit="dB",
            low=even_db - 1,
            high=even_db,
        ),
        predict=Prediction(
            "Before you move them: how far apart may they be, against their height?",
            (WIDER, SAME, CLOSER),
            _truth,
        ),
    )


def _curves(x, levels, units):
    """Levels along the row."""
    lines = (
        ("first", dict(color=GROUP_COLORS[0], dash="dot")),
        ("second", dict(color=GROUP_COLORS[1], dash="dash")),
        ("both", dict(color=INK)),
    )
    along = x / per_unit(units)
    traces = [
        go.Scatter(name=name, x=along, y=y, line=line)
        for (name, line), y in zip(lines, levels, strict=True)
    ]
    return go.Figure(traces).update_layout(
        **FRAME,
        xaxis_title=f"along the row [{units}]",
        yaxis_title="level, 1 kHz [dB]",
    )


def _truth(_start, reached):
    """How far apart they are against their height."""
    (x, _), height = reached
    ratio = x[-1] / height
    return WIDER if ratio > 1.1 else CLOSER if ratio < 0.9 else SAME


def _steps():
    """Level steps, to be heard."""

    def at(more):
        level = QUIET_DBA + more
        return lambda: Sound(sounds.at_level(level), f"speech at {level:g} dB(A)")

    made = {f"{more:+g} dB" if more else "as it is": at(more) for more in STEPS_DB}
    words = (
        "3 dB is twice the energy: you hear it, but not as twice as loud. 10 dB is ten times the"
        " energy and sounds about twice as loud."
    )
    return made, words, Blind("Which one is 3 dB louder than the softest?", "+3 dB")


def _rows():
    """Cells of the standard's table, and what is computed."""
    return [
        (
            f"air, octave {2 ** (b - 3):g} kHz, {t} °C, {h} % humidity [dB/km]",
            text,
            1000 * attenuation(EXACT[b], temperature_c=t, humidity_pct=h),
            "ISO 9613-2:1996, Table 2",
        )
        for t, h, b, text in TABLE
    ]
