"""Page of the lesson on where a loudspeaker's sound lands first."""

from html import escape

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go

from ...acoustics.evaluate import evaluate
from ...acoustics.listening import Listening
from ...training.lessons import landing
from ...venue.files import load
from ...venue.finishes import FINISHES
from ..panel.controls import SliderSpec
from ..tables import card
from ..theme import GROUP_COLORS, QUIET
from .experiment import Aim, Prediction, Setup
from .listening import Blind, at_seat
from .page import LessonPage
from .picture import FRAME
from .printed import printed, worked_by_hand

LITTLE, SOME, MUCH = "less than 1 dB", "1 to 3 dB", "more than 3 dB"
AT_WALL, AT_PEOPLE = "Beam as it hangs", "Beam on the people"
JUST_NOTICEABLE = 0.03  # in STI: Bradley, Reich and Norcross, J. Acoust. Soc. Am. 106 (1999) 3275
STEP_DEG = 5.0  # of the tilts among which the best one is looked for
BIES = "Bies, Hansen and Howard, Engineering Noise Control, 5th ed. (2017), Table 6.2, p. 338-340"
BARRON = "Barron, Industrial Noise Control and Acoustics (2003), Appendix D"
TABLE = [  # finish, octave, as printed, print
    ("wood floor", 3, "0.07", f"{BIES} (read in a public file that quotes it)"),
    ("glass", 3, "0.03", f"{BIES} (read in a public file that quotes it)"),
    ("painted block", 2, "0.06", BARRON),
    ("painted block", 4, "0.09", BARRON),
    ("painted brick", 4, "0.02", BARRON),
    ("bare block", 3, "0.29", BARRON),
]


class LandingPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    where : dict
        Path of the scenario, its use, bank and group
    hung_deg : float
        Downtilt in the question [deg]
    downtilt_deg : float
        Downtilt at which the experiment begins [deg]
    onto_people_pct : float
        What should land on the bank [%]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "landing"

    def __init__(self, *, units, where, hung_deg, downtilt_deg, onto_people_pct, progress=None):
        super().__init__(units=units, progress=progress)
        self.hung_deg = hung_deg
        self.aimed = landing.Aimed(
            load(where["scenario"]), where["use"], where["bank"], where["group"]
        )
        self.onto_bank = self.ask("bank", dict(hung_deg=hung_deg), aimed=self.aimed)
        self.unaimed = self.ask("unaimed")
        self.tilt = self.try_out("tilt", _tilt(self.aimed, downtilt_deg, onto_people_pct))
        self.best_deg = max(
            np.arange(0, 91, STEP_DEG), key=lambda t: self.aimed.onto(self.aimed.turned(t))
        )
        self.same_seat = self._hear(hung_deg)
        self.printed = self.compare(printed(_rows(), caption="Published absorption, as used here"))
        self.by_hand = self.compare(worked_by_hand(_by_hand()))

    def _hear(self, hung_deg):
        """One seat, with the beam as it hangs and with the beam on the people."""
        aimed = self.aimed
        made = {
            name: evaluate(aimed.design(tilt), aimed.use, rays="few")
            for name, tilt in ((AT_WALL, hung_deg), (AT_PEOPLE, self.best_deg))
        }
        span = made[AT_WALL].summary(aimed.bank).points
        seat = span.start + int(made[AT_WALL].sti[span].argmin())
        sounds = {
            name: at_seat(lambda result=result: (result, seat, Listening()))
            for name, result in made.items()
        }
        self.sti = tuple(float(made[name].sti[seat]) for name in (AT_WALL, AT_PEOPLE))
        blind = Blind("Which one has its beam on the people?", AT_PEOPLE)
        return self.listen("same_seat", sounds, _words(*self.sti), blind)

    @property
    def note(self):
        """What an aim leaves as it is, and what there would be without one, in this gym (HTML)."""
        aimed, after = self.aimed, float(self.best_deg)
        one, two = aimed.turned(self.hung_deg), aimed.turned(after)
        words = (
            f"Tilted {self.hung_deg:g}° and {after:g}° down, the reverberation time by formula (2"
            f" kHz octave) is {one.rt[landing.BAND]:.2f} s and {two.rt[landing.BAND]:.2f} s."
            f" Without an aim the {aimed.bank} would get {aimed.unaimed[aimed.bank]:.1f} %, its"
            f" share of the view. Its share of the surfaces is {aimed.of_surfaces:.1f} %."
        )
        return w.HTML(card(f"<p>{escape(words)}</p>"))


def _words(before, after):
    """What to listen for, and how much there is to hear."""
    more = after - before
    if abs(more) < JUST_NOTICEABLE:
        size = "That is less than most people notice: do not worry if you hear no difference."
    elif abs(more) < 2 * JUST_NOTICEABLE:
        size = "That is little more than people just notice: listen closely."
    else:
        size = "That is easy to hear."
    return (
        "The least clear seat of the bank. Listen to the gaps between the words. The STI is"
        f" {before:.2f} and {after:.2f}; {JUST_NOTICEABLE:g} is just noticed. {size}"
    )


def _tilt(aimed, downtilt_deg, onto_people_pct):
    """A group to be tilted until enough lands on its bank."""
    return Setup(
        adjustments=(
            SliderSpec(
                path=("downtilt_deg",), label="downtilt", low=0, high=90, step=1, unit="deg"
            ),
        ),
        start=dict(downtilt_deg=downtilt_deg),
        compute=aimed.turned,
        draw=lambda result: _bars(aimed, result),
        aim=Aim(
            words=(
                f"at least {onto_people_pct:g} % of the group's sound lands on the {aimed.bank}"
                " first"
            ),
            what="onto the bank",
            measure=aimed.onto,
            unit="%",
            low=onto_people_pct,
        ),
        predict=Prediction(
            "Before you tilt: how much lower is the reverberant sound at the bank against the"
            " direct sound (2 kHz octave), once the aim is reached?",
            (LITTLE, SOME, MUCH),
            lambda start, reached: _truth(aimed.over_direct(start) - aimed.over_direct(reached)),
        ),
    )


def _truth(lower_db):
    """How much lower, as the choices have it."""
    return LITTLE if lower_db < 1.0 else SOME if lower_db <= 3.0 else MUCH


def _bars(aimed, result):
    """Where the sound lands, with the aim and without any."""
    found = aimed.landing(result)
    parts = sorted(found, key=lambda part: aimed.unaimed[part])
    rows = (
        ("with this aim", [found[p] for p in parts], GROUP_COLORS[1]),
        ("without any aim", [aimed.unaimed[p] for p in parts], QUIET),
    )
    bars = [
        go.Bar(name=name, x=x, y=parts, orientation="h", marker_color=color)
        for name, x, color in rows
    ]
    return go.Figure(bars).update_layout(
        **FRAME | dict(margin=dict(l=110, r=10, t=10, b=45)),
        barmode="group",
        legend=dict(x=0.98, y=0.02, xanchor="right", yanchor="bottom"),
        xaxis=dict(title="share of the sound that lands there first [%]", range=[0, 60]),
    )


def _rows():
    """Cells of printed tables, and what the package works with."""
    return [
        (
            f"{name}, absorption, octave {2.0 ** (band - 3):g} kHz",
            text,
            FINISHES[name].absorption[band],
            source,
        )
        for name, band, text, source in TABLE
    ]


def _by_hand():
    """Solid angles that everybody can work out."""
    share, sphere = landing.solid_angle, landing.SPHERE
    return [
        (
            "face of a cube seen from its middle [%]",
            "16.67",
            100 * share(2.0, 2.0, 1.0) / sphere,
            "six equal faces: 100 / 6",
        ),
        (
            "very large floor under a low loudspeaker [%]",
            "50.0",
            100 * share(1e5, 1e5, 1.0) / sphere,
            "half of all directions",
        ),
        (
            "1 × 1 seen from 100 away [sr]",
            "0.0001",
            share(1.0, 1.0, 100.0),
            "area over distance squared: 1 / 100²",
        ),
    ]
