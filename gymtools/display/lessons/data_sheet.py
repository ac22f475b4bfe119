"""Page of the lesson on reading a data sheet."""

import numpy as np
from plotly.subplots import make_subplots

from ...physics.bands import EXACT, NOMINAL
from ...training import sounds
from ...training.lessons import data_sheet
from ...training.round_lengths import round_length
from ...venue.units import FOOT
from ..panel.controls import SliderSpec
from ..theme import GRID, GROUP_COLORS, INK, PAPER
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import worked_by_hand

SHOWN = (2, 4)  # octaves of the polars: around 500 Hz and 2 kHz
LOWEST_DB = -30.0  # of a polar [dB]
SHARE = 0.8  # of the frequency that is asked: no larger a mouth than needed [-]
START_M = 0.2  # mouth at the start [m]
TWICE, ALIKE, HALF = "twice as large", "as large as before", "half as large"
AXIS_DBA = 66.0  # of what is heard [dB(A)]
ON_AXIS, HALF_POWER, EDGE = "on the axis", "half-power angle", "edge of the coverage"


class DataSheetPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    first : dict
        Values of the first question on the level, by the names of ``data_sheet.maximum``
    ohm : float
        Rated impedance in the question on sensitivity [ohm]
    angle_deg : float
        Coverage angle in the experiment, at the start [deg]
    hold_hz : float
        Frequency down to which the angle should be held [Hz]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "data_sheet"

    def __init__(self, *, units, first, ohm, angle_deg, hold_hz, progress=None):
        super().__init__(units=units, progress=progress)
        own = self._lesson.exercise
        self.angle = self.ask("angle", own("angle").example)
        self.sensitivity = self.ask("sensitivity", dict(printed_db=94.0, ohm=ohm))
        self.maximum = self.ask("maximum", first)
        self.control = self.ask("control", own("control").example)
        self.tap = self.ask("tap", own("tap").example)
        self.hold = self.try_out("hold", _hold(angle_deg, hold_hz, units))
        self.heard = self.listen("heard", *_heard())
        self.by_hand = self.compare(worked_by_hand(_rows()))


def _hold(angle_deg, hold_hz, units):
    """A mouth that holds its angle far enough down."""
    return Setup(
        adjustments=(
            SliderSpec(path=("mouth",), label="mouth", low=0.05, high=2, step=0.05, unit="m"),
            SliderSpec(path=("angle",), label="angle", low=30, high=120, step=5, unit="°"),
        ),
        start=dict(mouth=round_length(START_M, units, FOOT / 4, 0), angle=angle_deg),
        compute=lambda mouth, angle: (*data_sheet.pattern(mouth, angle), angle, mouth),
        draw=_picture,
        aim=Aim(
            words=f"hold the angle down to {SHARE * hold_hz:.0f} to {hold_hz:.0f} Hz, no farther",
            what="held down to",
            measure=lambda found: found[1],
            unit="Hz",
            low=SHARE * hold_hz,
            high=hold_hz,
            digits=0,
        ),
        predict=Prediction(
            "One octave farther down, at the same angle: how large must the mouth be?",
            (TWICE, ALIKE, HALF),
            _truth,
        ),
    )


def _truth(_start, reached):
    """What an octave takes, tried on the mouth that was found."""
    _, limit, _, angle, mouth = reached
    tried = {TWICE: 2 * mouth, ALIKE: mouth, HALF: mouth / 2}
    off = {w: abs(data_sheet.pattern(m, angle)[1] / (limit / 2) - 1) for w, m in tried.items()}
    return min(off, key=off.get)


def _picture(found):
    """Polars of two octaves, and the angle by octave."""
    angles, limit, polars, angle, _ = found
    chart = make_subplots(
        rows=1, cols=2, specs=[[{"type": "polar"}, {"type": "xy"}]], horizontal_spacing=0.14
    )
    for band, color in zip(SHOWN, GROUP_COLORS, strict=False):
        chart.add_scatterpolar(
            theta=[float(v) for v in data_sheet.AROUND_DEG],
            r=[float(v) for v in np.maximum(polars[:, band], LOWEST_DB)],
            mode="lines",
            line=dict(color=color),
            name=f"{NOMINAL[band]:g} Hz",
            row=1,
            col=1,
        )
    line = dict(color=INK)
    x, y = [float(f) for f in EXACT], [float(a) for a in angles]
    chart.add_scatter(x=x, y=y, mode="lines+markers", line=line, name="coverage", row=1, col=2)
    mark = dict(color=GROUP_COLORS[2], size=11)
    chart.add_scatter(
        x=[limit], y=[angle], mode="markers", marker=mark, name="lower limit", row=1, col=2
    )
    chart.update_xaxes(type="log", title="octave [Hz]", tickvals=[125, 500, 2000, 8000])
    chart.update_yaxes(title="coverage angle [°]", range=[0, 370], gridcolor=GRID)
    ring = dict(range=[LOWEST_DB, 0], tickvals=[-24, -12, -6, 0])
    return chart.update_layout(
        **FRAME | dict(margin=dict(l=30, r=10, t=30, b=45)),
        legend=dict(orientation="h", y=1.18),
        polar=dict(radialaxis=ring, bgcolor=PAPER),
    )


def _heard():
    """On the axis, half the power, and the edge."""

    def at(down):
        level = AXIS_DBA - down
        return lambda: Sound(sounds.at_level(level), f"speech at {level:g} dB(A)")

    made = {ON_AXIS: at(0.0), HALF_POWER: at(3.0), EDGE: at(-data_sheet.EDGE_DB)}
    words = "The direct sound alone: on the axis, where the half-power angle ends, and at the edge."
    return made, words, Blind("Which one is the edge of the coverage?", EDGE)


def _rows():
    """Figures worked on paper."""
    d = data_sheet
    return [
        (
            "2.83 V into 4 Ω, 88.0 dB printed: for one watt [dB]",
            "85.0",
            d.sensitivity(88.0, 4.0).answer,
            "8.01 / 4 = 2.00 W; 88.0 − 3.0",
        ),
        (
            "2.83 V into 16 Ω, 86.0 dB printed: for one watt [dB]",
            "89.0",
            d.sensitivity(86.0, 16.0).answer,
            "8.01 / 16 = 0.50 W; 86.0 + 3.0",
        ),
        (
            "90 dB, 100 W continuous, 10 m: level [dB]",
            "90",
            d.maximum(90.0, 100.0, "continuous", 10.0, "m").answer,
            "90 + 20 − 20",
        ),
        (
            "90 dB, 400 W peak, 10 m: continuous level [dB]",
            "90",
            d.maximum(90.0, 400.0, "peak", 10.0, "m").answer,
            "400 / 4 = 100 W; 90 + 20 − 20",
        ),
        (
            "333 Ω on a 70.7 V line: tap [W]",
            "15.0",
            d.tap(333.0, 70.7).steps[1].value,
            "4998 / 333",
        ),
    ]
