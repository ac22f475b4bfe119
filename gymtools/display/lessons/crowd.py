"""Page of the lesson on intelligibility and the crowd."""

from html import escape

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go

from ...physics.exposure import permitted_hours
from ...physics.intelligibility import from_transmission_index, masking_db, sti
from ...training import sounds
from ...training.lessons import crowd
from ...venue.files import load
from ..panel.controls import SliderSpec
from ..tables import card
from ..theme import GROUP_COLORS, INK, QUIET
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed, worked_by_hand

SLACK_DB = 1.0  # over the quietest level: that still counts [dB]
BELOW_DB = 3.0  # under the most allowed: clearly lower [dB]
AT_MOST, LOWER = "at the loudest level allowed", "clearly below the loudest level"
HEARD_STI, HEARD_DBA = 0.75, 70.0  # of three sounds; loudness alone cannot take much more
NOISE, ROOM, LOUD = "Noise", "Reverberation", "Loudness"
UNIFORM = [(0.11182, "0.2"), (0.66614, "0.6"), (0.88818, "0.8")]
PAIRS = [("125", 0, "0.127"), ("250", 1, "0.279"), ("4k", 5, "0.302")]
SLOPES = [(60, "-35.0", "L / 2 − 65"), (75, "-22.3", "L / 2 − 59.8"), (90, "-14.8", "L / 2 − 59.8")]


class CrowdPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    where : dict
        Path of the scenario and its use
    crowd_dba : float
        Noise of the game's crowd at the listeners [dB(A)]
    pause_dba : float
        Noise in a pause [dB(A)]
    start_dba : float
        Level of speech at which the experiment begins [dB(A)]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "crowd"

    def __init__(self, *, units, where, crowd_dba, pause_dba, start_dba, progress=None):
        super().__init__(units=units, progress=progress)
        school = load(where["scenario"])
        self.game, self.pause = (
            crowd.Levels(school, where["use"], noise) for noise in (crowd_dba, pause_dba)
        )
        self.quietest = self.ask("quietest")
        self.what = self.ask("what")
        self.turning = self.try_out("turning", _turning(self.game, self.pause, start_dba))
        self.alike = self.listen("alike", *_alike())
        self.printed = self.compare(printed(_rows()))
        self.by_hand = self.compare(worked_by_hand(_by_hand()))

    @property
    def helps(self):
        """Whether a level helps over the game's crowd, in words (HTML)."""
        return _lines(_helps(self.game), _helps(self.pause))

    @property
    def note(self):
        """What loudness alone does, and how long it may last (HTML)."""
        alone = ", ".join(
            f"{sounds.sti_of(level):.2f} at {level:g} dB(A)" for level in (75, 85, 95, 105)
        )
        allowed = self.game.school.targets.loudest_dba
        minutes = 60 * float(permitted_hours(allowed, "niosh"))
        return _lines(
            "Speech that nothing disturbs, neither noise nor gym, has an STI of"
            f" {alone}: loudness alone lowers it.",
            f"At {allowed:g} dB(A), the most that this school allows at any seat, people at work"
            f" may stay {minutes:.0f} minutes a day after NIOSH 98-126. That is no rule for"
            " students, who deserve less.",
        )


def _lines(*lines):
    """Sentences that a notebook shows."""
    return w.HTML(card(*(f"<p>{escape(line)}</p>" for line in lines)))


def _helps(levels):
    """What the level can do over a crowd."""
    start = (
        f"Crowd of {levels.crowd_dba:g} dB(A): the best STI that 9 of 10 seats get at any level"
        f" allowed is {levels.best:.2f}."
    )
    if levels.best < crowd.ENOUGH:
        return (
            f"{start} That is less than {crowd.ENOUGH:g}: no level helps. The message waits for a"
            " pause, or goes up in writing."
        )
    return f"{start} That is enough: find the quietest level that is as clear."


def _turning(game, pause, start_dba):
    """Speech to be turned up no further than it helps, in the pause."""
    levels, _ = pause.curve
    low, high = float(levels[0]), float(levels[-1])
    slack = min(pause.quietest_dba + SLACK_DB, high)
    least, most = pause.to_gain(slack, pause.at(slack)) - 1e-6, pause.most_to_gain
    enough = f", and enough for announcements ({crowd.ENOUGH:g})"
    return Setup(
        adjustments=(
            SliderSpec(
                path=("level_dba",), label="speech level", low=low, high=high, step=1, unit="dB(A)"
            ),
        ),
        start=dict(level_dba=min(max(start_dba, low), high)),
        compute=lambda level_dba: (level_dba, game.of_seats(level_dba), pause.of_seats(level_dba)),
        draw=lambda now: _reached(game, pause, *now[1:]),
        aim=Aim(
            words=(
                f"in the pause ({pause.crowd_dba:g} dB(A)), the quietest level that is as clear as"
                f" the best one allowed{enough if pause.best >= crowd.ENOUGH else ''}. Turning up"
                f" would then gain {least:.3f} to {most:.3f} in STI, which nobody notices"
            ),
            what="STI still to gain by turning up",
            measure=lambda now: pause.to_gain(now[0], pause.ninety(now[2])),
            low=least,
            high=most + 1e-9,
            digits=3,
        ),
        predict=Prediction(
            "Before you turn it up: where is the quietest level that is as clear as the best one?",
            (AT_MOST, LOWER),
            lambda _, reached: LOWER if reached[0] <= high - BELOW_DB else AT_MOST,
        ),
    )


def _reached(game, pause, in_game, in_pause):
    """Share of the seats that reach an STI, over the game's crowd and in the pause."""
    rows = (
        (f"game, {game.crowd_dba:g} dB(A)", in_game[game.seats], dict(color=QUIET, dash="dash")),
        (f"pause, {pause.crowd_dba:g} dB(A)", in_pause[pause.seats], dict(color=INK)),
    )
    share = np.linspace(100, 0, 101)
    traces = [
        go.Scatter(name=name, x=np.percentile(sti, 100 - share), y=share, mode="lines", line=line)
        for name, sti, line in rows
    ]
    traces += [
        go.Scatter(
            name="needed",
            x=[crowd.ENOUGH, crowd.ENOUGH, 1.0],
            y=[0, 90, 90],
            mode="lines",
            line=dict(color=GROUP_COLORS[0], width=1),
        )
    ]
    return go.Figure(traces).update_layout(
        **FRAME,
        xaxis=dict(title="STI", range=[0, 0.9]),
        yaxis=dict(title="seats that reach it [%]", range=[0, 102]),
    )


def _alike():
    """Three disturbances that leave the same STI, to be heard."""
    same = sounds.alike(HEARD_STI, HEARD_DBA)

    def noisy():
        heard = sounds.over_crowd(sounds.at_level(HEARD_DBA), same.noise_dba)
        return Sound(heard, f"crowd of {same.noise_dba:.0f} dB(A), STI {same.sti:.2f}")

    def ringing():
        heard = sounds.in_room(same.rt, HEARD_DBA, direct_db=sounds.ROOM_ALONE_DB)
        return Sound(heard, f"room that rings for {same.rt:.2f} s, STI {same.sti:.2f}")

    def loud():
        said = (
            f"STI {same.sti:.2f} if it were played at {same.loud_dba:.0f} dB(A). It is not: here it"
            f" plays at {HEARD_DBA:g} dB(A), so you hear it clear"
        )
        return Sound(sounds.at_level(HEARD_DBA), said)

    words = (
        "All three have the same STI, for different reasons. The third cannot be heard as it would"
        f" be. Loudness masks in the ear, from about {same.loud_dba:.0f} dB(A); this page plays at"
        " a safe level. Gain cures the first only."
    )
    made = {NOISE: noisy, ROOM: ringing, LOUD: loud}
    return made, words, Blind("Which one would only be spoiled by its own loudness?", LOUD)


def _rows():
    """What instruments must show, and hours at a level."""

    def pair(lower):
        return from_transmission_index(np.isin(np.arange(7), (lower, lower + 1)).astype(float))

    rows = [
        (
            f"STI of a modulation of {m:g} everywhere",
            text,
            sti(np.full((7, 14), m)),
            "IEC 60268-16:2020, A.3.1.2",
        )
        for m, text in UNIFORM
    ]
    rows += [
        (
            f"STI of two perfect octaves, from {name} Hz up, the rest lost",
            text,
            pair(b),
            "IEC 60268-16:2020, A.2.2",
        )
        for name, b, text in PAIRS
    ]
    hours = "hours a day at 91 dB(A), at work"
    return [
        *rows,
        (
            hours,
            "2",
            permitted_hours(91, "niosh"),
            "NIOSH 98-126 (1998), Table 1-1 (its number from memory)",
        ),
    ]


def _by_hand():
    """Masking in the ear, from the standard's slopes."""
    return [
        (f"masking above an octave of {level} dB [dB]", text, masking_db(level), how)
        for level, text, how in SLOPES
    ]
