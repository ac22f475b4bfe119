"""Page of the lesson on reverberation and treatment."""

from html import escape

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go

from ...acoustics.evaluate import evaluate
from ...acoustics.listening import Listening
from ...design.treatment import treated
from ...physics.bands import NOMINAL
from ...physics.reverberation import K, reverberation_time, sports_hall_target
from ...training import sounds
from ...training.lessons import treatment
from ...venue.files import load
from ...venue.finishes import FINISHES
from ...venue.paths import changed
from ...venue.units import FOOT, area_text
from ..panel.controls import SliderSpec
from ..tables import card
from ..theme import GROUP_COLORS, INK, QUIET
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound, at_seat
from .page import LessonPage
from .picture import FRAME
from .printed import printed, worked_by_hand

ROOM_S = 0.15  # how much under the target an aim may be [s]
TIMES_S = (1.0, 2.0, 4.0)  # to be heard [s]
HEARD_DBA = 65.0  # of the rooms that are heard [dB(A)]
FEW, SOME, MANY = "less than a tenth", "a tenth to a quarter", "more than a quarter"
HANDBOOK = "Everest, Master Handbook of Acoustics, 4th ed., p. 163 (its constant: 0.049)"
PRINTED_S = ("0.49", "0.85", "0.56", "0.54", "0.54", "0.55")
ALPHA = [  # concrete, gypsum board, tile; 125 Hz to 4 kHz
    [0.01, 0.01, 0.015, 0.02, 0.02, 0.02],
    [0.29, 0.10, 0.05, 0.04, 0.07, 0.09],
    [0.09, 0.28, 0.78, 0.84, 0.73, 0.64],
]


class TreatmentPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    where : dict
        Path of the scenario, its use, and another finish of its roof or None
    panels_m2 : float
        Absorption in the question, and panels that are heard [m2]
    target_s : float or None
        Reverberation time to reach; None for one by volume [s]
    start : dict
        Where the experiment begins: "area" [m2], "on_roof" [%]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "treatment"

    def __init__(self, *, units, where, panels_m2, target_s, start, progress=None):
        super().__init__(units=units, progress=progress)
        school, self.use = load(where["scenario"]), where["use"]
        if where["roof"] is not None:
            school = changed(school, {("hall", "roof"): where["roof"]})
        self.gym = gym = treatment.Gym(school, self.use)
        room = gym.now.configuration.room
        first = dict(
            volume_m3=room.volume,
            rt_s=round(gym.sabine, 2),
            panels_m2=panels_m2,
            surfaces_m2=float(room.area.sum()),
        )
        self.panels = self.ask("panels", first)
        self.area = self.ask("area")
        asked_s = float(sports_hall_target(room.volume)) if target_s is None else target_s
        # a fifth less where the gym meets it already
        self.goal_s = min(asked_s, 0.8 * gym.middle(gym.now))
        # how much it takes where the panels are placed as they are at the start [m2]
        self.needed_m2 = gym.needed(self.goal_s, start["on_roof"])
        self.treating = self.try_out("treating", _treating(gym, self.goal_s, start, self.needed_m2))
        self.rings = self.listen("rings", *_rings())
        self.same_seat = self._hear(panels_m2)
        self.printed = self.compare(printed(_rows()))
        self.by_hand = self.compare(worked_by_hand(_by_hand()))

    def _hear(self, panels_m2):
        """One seat, as the gym is and with the panels of the question hung."""
        full = float(np.mean(FINISHES[treatment.PANELS].absorption[treatment.MIDDLE]))
        self.hung_m2 = hung = min(panels_m2 / full, sum(self.gym.free.values()))
        before = evaluate(self.gym.school, self.use, rays="few")  # a formula has no arrivals
        span = before.areas[0].points
        self.seat = seat = span.start + int(before.sti[span].argmin())

        def with_them():
            after = evaluate(treated(self.gym.school, hung), self.use, rays="few")
            return after, seat, Listening()

        made = {
            "As it is": at_seat(lambda: (before, seat, Listening())),
            "With the panels": at_seat(with_them),
        }
        words = (
            f"One seat, twice: the least clear one of the gym as it is. The second has"
            f" {_area(hung, self.units)} of {treatment.PANELS}, spread over the roof and the walls."
            f" At 500 Hz to 2 kHz they absorb as much as {_area(hung * full, self.units)} of full"
            " absorption. Listen to the gaps between words: how long does each word hang on under"
            " the next?"
        )
        return self.listen("same_seat", made, words)

    @property
    def note(self):
        """What the formulas and rays say of this gym (HTML)."""
        gym = self.gym
        traced = evaluate(gym.school, self.use, rays="few").rt_mid
        words = (
            f"{gym.school.name}, use '{self.use}', mean of 500 Hz, 1 and 2 kHz: Sabine"
            f" {gym.sabine:.1f} s, Eyring {gym.now.rt_mid:.1f} s, Arau {gym.middle(gym.now):.1f} s,"
            f" by rays {traced:.1f} s. The goal of the experiment is {self.goal_s:.1f} s. Free of"
            f" treatment: {area_text(sum(gym.free.values()), self.units)} of roof and walls."
        )
        return w.HTML(card(f"<p>{escape(words)}</p>"))


def _area(area_m2, units):
    """An area in both units, the chosen one first."""
    other = "m" if units == "ft" else "ft"
    return f"{area_text(area_m2, units)} ({area_text(area_m2, other)})"


def _treating(gym, goal_s, start, needed_m2):
    """Panels to be hung, on the roof or on the walls."""
    largest = float(10 * np.floor(sum(gym.free.values()) / 10))
    return Setup(
        adjustments=(
            SliderSpec(path=("area",), label="panels", low=0, high=largest, step=10, unit="m2"),
            SliderSpec(
                path=("on_roof",), label="of them on the roof", low=0, high=100, step=10, unit="%"
            ),
        ),
        start=start,
        compute=lambda area, on_roof: (gym.hung(area, on_roof), area),
        draw=lambda found: _curves(gym, found[0], goal_s),
        aim=Aim(
            words=(
                f"{goal_s - ROOM_S:.2f} to {goal_s:.2f} s by Arau's formula, mean of 500 Hz, 1 and"
                " 2 kHz; less would cost panels for nothing"
            ),
            what="reverberation, Arau",
            measure=lambda found: gym.middle(found[0]),
            unit="s",
            low=goal_s - ROOM_S,
            high=goal_s,
            digits=2,
        ),
        predict=Prediction(
            "Before you hang any: if you leave the placing as it is,"
            f" {start['on_roof']:g} % of the panels on the roof and the rest on the walls, how much"
            " of the free roof and walls must the panels cover to reach the aim?",
            (FEW, SOME, MANY),
            lambda _, __: _truth(needed_m2 / sum(gym.free.values())),
        ),
    )


def _truth(share):
    """How much is covered, as the choices have it."""
    return FEW if share < 0.1 else SOME if share <= 0.25 else MANY


def _curves(gym, result, goal_s):
    """Reverberation time over the octaves."""
    rows = (
        ("as it is, Eyring", gym.now.rt, dict(color=QUIET, dash="dot")),
        ("with panels, Eyring", result.rt, dict(color=GROUP_COLORS[1], dash="dash")),
        ("with panels, Arau", gym.by_pairs(result), dict(color=INK)),
        ("goal", np.full(7, goal_s), dict(color=GROUP_COLORS[0], width=1)),
    )
    chart = go.Figure([go.Scatter(name=name, x=NOMINAL, y=y, line=line) for name, y, line in rows])
    chart.update_xaxes(type="log", tickvals=NOMINAL, title="octave [Hz]")
    chart.update_yaxes(
        title="reverberation time [s]", range=[0, 1.1 * float(max(gym.by_pairs(gym.now)))]
    )
    return chart.update_layout(
        **FRAME,
    )


def _rings():
    """Rooms that ring for different times, to be heard."""

    def at(rt):
        sti = sounds.sti_of(HEARD_DBA, rt=rt, direct_db=0.0)
        return lambda: Sound(sounds.in_room(rt, HEARD_DBA), f"{rt:g} s, STI {sti:.2f}")

    made = {f"{rt:g} s": at(rt) for rt in TIMES_S}
    words = (
        "The same words, with direct and reverberant sound of equal level. Hear how the ends of"
        " words drown as the time doubles."
    )
    return made, words, Blind("Which one rings longest?", f"{TIMES_S[-1]:g} s")


def _rows():
    """A room from a handbook, and what is computed."""
    small = reverberation_time(
        3728 * FOOT**3,
        np.array([373, 1159, 340]) * FOOT**2,
        ALPHA,
        speed_of_sound=K * FOOT / 0.049,
        formula="sabine",
    )
    return [
        (f"room of 3,728 ft³ with acoustical tile, {f:g} Hz, Sabine [s]", text, t, HANDBOOK)
        for f, text, t in zip(NOMINAL, PRINTED_S, small, strict=False)
    ]


def _by_hand():
    """One room by hand."""
    lecture = reverberation_time(15 * 8 * 3, [378], [0.3], speed_of_sound=K / 0.162)
    name = "lecture hall 15 × 8 × 3 m, mean absorption 0.3, Eyring [s]"
    return [(name, "0.43", lecture, "0.162 V / (−S ln 0.7)")]
