"""Page of the lesson on checking a room."""

import ipywidgets as w
import numpy as np
from plotly.subplots import make_subplots

from ...commissioning.diagnosis import diagnose
from ...training import sounds
from ...training.lessons import checking
from ...venue.units import to_file
from ..documents.commissioning import causes_list
from ..panel.controls import SliderSpec
from ..tables import card
from ..theme import FAINT, GRID, GROUP_COLORS, INK
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import worked_by_hand
from .question import folded

MOST_DOWN_DB = 16  # of a slider [dB]
HEARD_DBA = 66.0  # of what is heard, as it should be [dB(A)]
RIGHT, ALL, ALONE = "as it should be", "all play, one is low", "the low one alone"


class CheckingPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    gym : Gym
        As it is measured
    tag : str
        Loudspeaker of the first question
    lost_db : float
        By which that one is low [dB]
    found : dict
        What the experiment's fault is drawn from: ``seed`` and ``scatter_db``
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "checking"

    def __init__(self, *, units, gym, tag, lost_db, found, progress=None):
        super().__init__(units=units, progress=progress)
        direct, late = gym.shares(tag)
        # whole percents, as the question says them
        parts = dict(direct_pct=round(100 * direct), late_pct=round(100 * late))
        self.fall = self.ask("fall", dict(**parts, lost_db=lost_db, tag=tag))
        self.sigmas, self.which, self.amount = (
            self.ask(key, self._lesson.exercise(key).example)
            for key in ("sigmas", "which", "amount")
        )
        self.case = checking.case_of(gym, **found)
        self.find = self.try_out("find", _find(self.case, units))
        self.heard = self.listen("heard", *_heard(self.fall.problem.answer, lost_db))
        self.by_hand = self.compare(worked_by_hand(_rows()))

    @property
    def causes(self):
        """What the workbook's own diagnosis says of the experiment's readings, folded."""
        gym = self.case.gym
        found = diagnose(gym.plan, self.case.readings(), gym.conditions)
        return w.HTML(card(folded("Causes that the workbook finds", causes_list(found))))


def _find(case, units):
    """One loudspeaker is low: say which, then how much."""
    tags = case.gym.tags
    return Setup(
        adjustments=tuple(
            SliderSpec(path=(t,), label=t, low=-MOST_DOWN_DB, high=0, step=0.5, unit="dB")
            for t in tags
        ),
        start=dict.fromkeys(tags, 0.0),
        compute=lambda **gains: (case.left_over(**gains), gains),
        draw=lambda found: _picture(case, found[0], units),
        aim=Aim(
            words=(
                "turn down the suspect in the prediction until every mark is in the band of"
                f" {checking.BAND:g} standard deviations"
            ),
            what="furthest mark, in standard deviations",
            measure=lambda found: float(np.abs(found[0]).max()) / case.scatter_db,
            high=checking.BAND,
        ),
        predict=Prediction("Look at the marks first: which loudspeaker is low?", tags, _truth),
    )


def _truth(_start, reached):
    """The one that had to be turned down most."""
    return min(reached[1], key=reached[1].get)


def _picture(case, left_db, units):
    """Plan with the seats of the solo readings, and what is left over of each."""
    chart = make_subplots(rows=1, cols=2, column_widths=[0.58, 0.42], horizontal_spacing=0.12)
    for trace in _plan(case.gym, units):
        chart.add_scatter(**trace, row=1, col=1)
    tags, marks = list(case.gym.tags), [float(v) for v in left_db]
    look = dict(color=GROUP_COLORS[0], size=11)
    chart.add_scatter(x=tags, y=marks, mode="markers", marker=look, name="solo", row=1, col=2)
    half = checking.BAND * case.scatter_db
    band = dict(type="rect", xref="x2 domain", yref="y2", x0=0, x1=1, y0=-half, y1=half)
    scale = dict(scaleanchor="y", constrain="domain", showgrid=False, zeroline=False)
    chart.update_xaxes(**scale, title=f"plan [{units}]", row=1, col=1)
    chart.update_yaxes(showgrid=False, zeroline=False, row=1, col=1)
    chart.update_xaxes(type="category", title="loudspeaker alone", row=1, col=2)
    most = max(MOST_DOWN_DB, 4 * case.scatter_db)
    chart.update_yaxes(
        range=[-most, most], title="measured less predicted [dB]", gridcolor=GRID, row=1, col=2
    )
    return chart.update_layout(
        **FRAME | dict(margin=dict(l=40, r=10, t=10, b=45)),
        showlegend=False,
        shapes=[dict(**band, fillcolor=FAINT, opacity=0.5, line_width=0, layer="below")],
    )


def _plan(gym, units):
    """Walls, seats of the solo readings, loudspeakers."""
    hall = gym.plan.scenario.hall
    x, y = hall.length / 2, hall.width / 2

    def said(values):
        return [to_file(float(v), "m", units) for v in values]

    hung = [c for c in gym.plan.scenario.loudspeakers if c.tag in gym.tags]
    seats = [r.position.point for r in gym.solo]
    walls = dict(x=said([-x, x, x, -x, -x]), y=said([-y, -y, y, y, -y]), mode="lines")
    places = dict(x=said(p[0] for p in seats), y=said(p[1] for p in seats), mode="markers")
    boxes = dict(x=said(c.position[0] for c in hung), y=said(c.position[1] for c in hung))
    return (
        dict(**walls, line=dict(color=INK, width=1.5), name="walls"),
        dict(**places, marker=dict(color=FAINT, size=10), name="seats read"),
        dict(
            **boxes,
            mode="markers+text",
            text=[c.tag for c in hung],
            textposition="top center",
            marker=dict(color=INK, size=9, symbol="square"),
            name="loudspeakers",
        ),
    )


def _heard(fall_db, lost_db):
    """A low loudspeaker among all, and by itself."""

    def at(down):
        level = HEARD_DBA - down
        return lambda: Sound(sounds.at_level(level), f"speech at {level:.1f} dB(A)")

    made = {RIGHT: at(0.0), ALL: at(fall_db), ALONE: at(lost_db)}
    words = (
        "The same fault twice: where all loudspeakers play, and where the low one plays alone. Both"
        " are as loud as each other when nothing is wrong."
    )
    return made, words, Blind("Which one is the low loudspeaker alone?", ALONE)


def _rows():
    """Falls worked on paper."""

    def fallen(direct, late, lost):
        return checking.fall(direct, late, lost).answer

    return [
        (
            "10 % direct, no late part, 10 dB low: fall [dB]",
            "0.41",
            fallen(10, 0, 10),
            "0.9 + 0.1 · 0.1 = 0.91; log 0.91 = −0.04096",
        ),
        (
            "25 % direct, 25 % late, 10 dB low: fall [dB]",
            "2.60",
            fallen(25, 25, 10),
            "0.5 + 0.5 · 0.1 = 0.55; log 0.55 = −0.25964",
        ),
        (
            "solo reading, 7 dB low: fall [dB]",
            "7.0",
            fallen(60, 40, 7),
            "all of the energy falls: 10 · 0.7",
        ),
        (
            "3 dB off, scatter 1 dB and 1 dB: standard deviations",
            "2.12",
            checking.sigmas(-3.0, 1.0, 1.0).answer,
            "√2 = 1.41421; 3 / 1.41421",
        ),
    ]
