"""Page of the lesson on reading a finished record."""

from html import escape

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go

from ...acoustics.criteria import CRITERIA
from ...acoustics.model_error import decay_factor
from ...design.decision import SEED, reasons
from ...design.options import option
from ...design.treatment import free_areas
from ...design.uncertainty import how_sure
from ...training import sounds
from ...training.lessons import record
from .. import tables
from ..panel.controls import SliderSpec
from ..tables.markup import table
from ..theme import GRID, GROUP_COLORS, INK
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed
from .question import folded

MOST_M2, STEP_M2 = 400.0, 10.0  # of panels, on the slider [m2]
SHARES = np.linspace(0.01, 0.99, 197)  # of gyms, for the curve [-]
HAIR, TENTH, MORE = "by a hair", "by less than a tenth", "by more than a tenth"
HEARD_DBA = 66.0  # of what is heard [dB(A)]
NORMAL = [(-3.0, "0.00135"), (-2.7, "0.00347"), (-2.6, "0.00466"), (-2.5, "0.00621")]
WHERE = "math.com, table of standard normal probabilities, row {:.1f}, first column"


class RecordPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    options : dict
        Two scenarios of one school by name; the first is the one that was chosen
    asked : dict
        The verdict whose draws are asked for: ``use``, ``criterion``, ``where``
    draws : int
        How often the unknowns are drawn [-]
    safe_pct : float
        How sure the target should be in the experiment [%]
    progress : str, optional
        As for ``LessonPage``

    Raises
    ------
    ValueError
        There is no such verdict; names those that there are
    """

    lesson = "record"

    def __init__(self, *, units, options, asked, draws, safe_pct, progress=None):
        super().__init__(units=units, progress=progress)
        self._options, (school, _) = options, options.values()
        self.sure = how_sure(school, asked["use"], draws=draws, seed=SEED)  # as the record does
        self.range = _named(self.sure.ranges, asked)
        self.chance = self.ask("chance", dict(**_drawn(self.range), what=_what(self.range)))
        self.together, self.word, self.beaten = (
            self.ask(key, self._lesson.exercise(key).example)
            for key in ("together", "word", "beaten")
        )
        self.panels = record.Panels(school, asked["use"])
        self.safer = self.try_out("safer", _safer(self.panels, safe_pct))
        self.heard = self.listen("heard", *_heard(*self.panels.at(0)[:1]))
        self.printed = self.compare(printed(_rows()))

    @property
    def options(self):
        """Both options, and why the other one was not chosen."""
        made = [option(name, s, room="statistical") for name, s in self._options.items()]
        why = "".join(f"<li>{escape(s)}</li>" for s in reasons(*made))
        title = f"<p>Why '{escape(made[1].name)}' was not chosen:</p><ul>{why}</ul>"
        return w.HTML(tables.card(tables.options_table(made, made[0]), title))

    @property
    def normal(self):
        """The normal distribution, as far as a margin seldom exceeds."""
        z = record.STEPS_Z
        heads = ("z", *(f"{v:g}" for v in z))
        cells = [("Φ(z)", *(f"{v:.2f}" for v in record.normal(z)))]
        return w.HTML(tables.card(table("Normal distribution", heads, cells)))

    @property
    def table(self):
        """What the record prints of how sure its figures are, folded."""
        r = self.range
        margin, spread = (_drawn(r)[k] for k in ("margin", "spread"))
        normal = 100 * record.normal(margin / spread)
        words = (
            f"<p>{escape(_what(r))}: {100 * r.chance:.0f} of 100 draws meet the target. The"
            f" normal distribution says {normal:.0f}. The draws have longer tails than normal ones:"
            " the model's own error was found from few halls.</p>"
        )
        shown = f"{words}{tables.sureness_table(self.sure)}"
        return w.HTML(tables.card(folded("The record's own table", shown)))

    @property
    def limits(self):
        """What no record can do, as its last pages say it."""
        return w.HTML(tables.card(tables.limits()))


def _named(ranges, asked):
    """The range of the verdict that is asked for."""
    key = asked["criterion"], asked["where"]
    found = [r for r in ranges if (r.criterion, r.area) == key and np.std(r.values) > 1e-9]
    if not found:
        there = "; ".join(f"{r.criterion}, '{r.area}'" for r in ranges if np.std(r.values) > 1e-9)
        raise ValueError(
            f"no verdict on '{key[0]}' of '{key[1]}' in '{asked['use']}' that the draws move. There"
            f" are: {there}."
        )
    return found[0]


def _what(r):
    """Which figure it is, with its area."""
    return f"{CRITERIA[r.criterion].label}, {r.area or 'the whole room'}"


def _drawn(r):
    """Margin and spread of the draws of one verdict, as they are said."""
    margin = CRITERIA[r.criterion].margin(float(np.mean(r.values)), r.target)
    rounded = (float(f"{v:.2g}") for v in (margin, float(np.std(r.values))))
    return dict(zip(("margin", "spread"), rounded, strict=True), unit=r.unit)


def _safer(panels, safe_pct):
    """Panels until the reverberation target is met as surely as asked."""
    most = min(MOST_M2, sum(free_areas(panels.school).values()) // STEP_M2 * STEP_M2)
    area = SliderSpec(
        path=("area",),
        label="panels more",
        low=0,
        high=most,
        step=STEP_M2,
        unit="m2",
        feet_step=100,
    )
    return Setup(
        adjustments=(area,),
        start=dict(area=0.0),
        compute=lambda area: panels.at(area),
        draw=_curve,
        aim=Aim(
            words=(
                "as few panels as do: the reverberation target is met in"
                f" {safe_pct:g} to {min(safe_pct + 8, 100):g} of 100 gyms like this one"
            ),
            what="target met in",
            measure=lambda found: 100 * found[2],
            unit="of 100",
            low=safe_pct,
            high=min(safe_pct + 8, 100),
            digits=0,
        ),
        predict=Prediction(
            f"For {safe_pct:g} of 100: how far must the predicted time lie below the target?",
            (HAIR, TENTH, MORE),
            _truth,
        ),
    )


def _truth(_start, reached):
    """How far the predicted time lies below the target."""
    below = 1 - reached[0] / reached[1]
    return HAIR if below < 0.02 else TENTH if below < 0.1 else MORE


def _curve(found):
    """Share of gyms that ring no longer than so much, and the target."""
    time, target, sure = found
    x = [float(v) for v in time * decay_factor(SHARES)]
    curve = go.Scatter(
        x=x, y=list(100 * SHARES), line=dict(color=GROUP_COLORS[1]), name="of 100 such gyms"
    )
    line = go.Scatter(
        x=[target, target],
        y=[0, 100],
        mode="lines",
        line=dict(color=INK, dash="dash"),
        name="target",
    )
    look = dict(color=GROUP_COLORS[0], size=11)
    dot = go.Scatter(x=[target], y=[100 * sure], mode="markers", marker=look, name="met in")
    design = go.Scatter(
        x=[time], y=[2], mode="markers", marker=dict(color=INK, size=10), name="as predicted"
    )
    return go.Figure([curve, line, dot, design]).update_layout(
        **FRAME,
        legend=dict(orientation="h", y=1.12),
        xaxis=dict(title="reverberation time [s]", range=[0, 3.5 * target], gridcolor=GRID),
        yaxis=dict(title="gyms that ring no longer, of 100", range=[0, 101], gridcolor=GRID),
    )


def _heard(time):
    """The predicted time, and both ends of the range that holds eight of ten gyms."""
    short, long = (float(time * f) for f in decay_factor(np.array([0.1, 0.9])))

    def at(rt):
        return lambda: Sound(sounds.in_room(rt, HEARD_DBA), f"speech, {rt:.1f} s")

    made = {"as predicted": at(time), "short end": at(short), "long end": at(long)}
    words = (
        "Eight of ten gyms for which the model gives the same time ring between the short and the"
        " long end."
    )
    return made, words, Blind("Which one rings longest?", "long end")


def _rows():
    """Tails of the normal distribution."""
    return [
        (f"share below {z:g} standard deviations", text, float(record.normal(z)), WHERE.format(z))
        for z, text in NORMAL
    ]
