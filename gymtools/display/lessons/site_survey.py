"""Page of the lesson on surveying a gym."""

from html import escape

import ipywidgets as w
import plotly.graph_objects as go

from ...commissioning.survey import CAUTIONS, PHONE, PHOTOGRAPHS
from ...physics.bands import LABELS
from ...training import sounds
from ...training.lessons import site_survey
from ..tables import card
from ..theme import GRID, GROUP_COLORS, INK
from .experiment import Aim, Prediction, Setup, slider
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import worked_by_hand

MOST_PLACES, MOST_POPS = 24, 5  # on the sliders [-]
TWICE, FOUR, EIGHT = "twice as many", "four times as many", "eight times as many"
SHORT_S, LONG_S = 1.5, 3.0  # of the gyms that are heard [s]


class SiteSurveyPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    first : dict
        Values of the first question, by the names of ``site_survey.height``
    readings : dict
        Of the question on noise, by the names of ``site_survey.noise``
    time_s : float
        Reverberation time in the experiment [s]
    scatter_pct : float
        How far the mean decay may scatter in the lowest octave [%]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "site_survey"

    def __init__(self, *, units, first, readings, time_s, scatter_pct, progress=None):
        super().__init__(units=units, progress=progress)
        self.height = self.ask("height", first)
        self.noise = self.ask("noise", readings)
        self.alone, self.slope, self.places, self.volume = (
            self.ask(key, self._lesson.exercise(key).example)
            for key in ("alone", "slope", "places", "volume")
        )
        self.enough = self.try_out("enough", _enough(time_s, scatter_pct))
        self.heard = self.listen("heard", *_heard())
        self.by_hand = self.compare(worked_by_hand(_rows()))

    @property
    def lists(self):
        """What the workbook's survey sheet asks to be photographed, and how to record a pop."""

        def listed(title, lines):
            rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
            return f"<p><b>{title}</b></p><ul>{rows}</ul>"

        lists = (("Photographs", PHOTOGRAPHS), ("Balloon pops", PHONE), ("Safety", CAUTIONS))
        return w.HTML(card(*(listed(*one) for one in lists)))


def _enough(time_s, scatter_pct):
    """Places and pops until the mean is steady enough, and no more of them."""
    least = site_survey.fewest(scatter_pct, time_s, MOST_PLACES, MOST_POPS)

    def besides(found):
        pops = found[1] * found[2]
        return f"{pops:.0f} pops are more than it takes" if pops > least else ""

    return Setup(
        adjustments=(
            slider("places", "places", (1, MOST_PLACES), 1),
            slider("pops", "pops at each", (1, MOST_POPS), 1),
        ),
        start=dict(places=1.0, pops=1.0),
        compute=lambda places, pops: (
            site_survey.scatter(places, pops, time_s),
            places,
            pops,
            time_s,
        ),
        draw=lambda found: _bars(found[0], scatter_pct),
        aim=Aim(
            words=(
                "as few pops as do, all places together: the mean T20 at 125 Hz scatters by"
                f" {scatter_pct:.1f} % at most"
            ),
            what="scatter of the mean at 125 Hz",
            measure=lambda found: float(found[0][site_survey.OCTAVE]),
            unit="%",
            high=scatter_pct,
            besides=besides,
        ),
        predict=Prediction(
            "Half the scatter takes how many places, with the same pops at each?",
            (TWICE, FOUR, EIGHT),
            _truth,
        ),
    )


def _truth(_start, reached):
    """How many places halve the scatter that was reached, tried one after the other."""
    now, places, pops, time_s = reached

    def off(times):
        return abs(site_survey.scatter(times * places, pops, time_s)[0] / now[0] - 0.5)

    return min(((off(2), TWICE), (off(4), FOUR), (off(8), EIGHT)))[1]


def _bars(scatter, scatter_pct):
    """Scatter of the mean by octave, and what is allowed."""
    names = list(LABELS)
    color = dict(color=GROUP_COLORS[1])
    bars = go.Bar(x=names, y=[float(v) for v in scatter], marker=color, name="mean T20")
    line = go.Scatter(
        x=names, y=[scatter_pct] * len(names), mode="lines", line=dict(color=INK), name="allowed"
    )
    return go.Figure([bars, line]).update_layout(
        **FRAME,
        xaxis=dict(type="category", title="octave [Hz]"),
        yaxis=dict(title="scatter [%]", range=[0, max(20.0, 2 * scatter_pct)], gridcolor=GRID),
    )


def _heard():
    """A balloon pop in two gyms."""

    def at(rt):
        return lambda: Sound(sounds.pop(rt), f"a pop, reverberation time {rt:g} s")

    made = {"the drier gym": at(SHORT_S), "the livelier gym": at(LONG_S)}
    words = "The same balloon in two gyms. Count how long you can hear it."
    return made, words, Blind("Which one is the livelier gym?", "the livelier gym")


def _rows():
    """Figures worked on paper."""
    s = site_survey
    return [
        (
            "10 m sloping, 6 m level, held at 1 m: height [m]",
            "9.0",
            s.height(10.0, 6.0, 1.0, "m").answer,
            "√(100 − 36) + 1",
        ),
        (
            "10 dB over the background: to take off [dB]",
            "0.46",
            60 - s.noise(60.0, 50.0).answer,
            "−10 log 0.9",
        ),
        (
            "6 dB over the background: to take off [dB]",
            "1.26",
            60 - s.noise(60.0, 54.0).answer,
            "10^(−0.6) = 0.2512; −10 log 0.7488",
        ),
        ("−5 dB at 0.20 s, −25 dB at 0.90 s: T20 [s]", "2.10", s.slope(0.2, 0.9).answer, "3 · 0.7"),
        ("scatter 10 %, mean of 4 [%]", "5.0", s.places(10.0, 4).answer, "10 / 2"),
    ]
