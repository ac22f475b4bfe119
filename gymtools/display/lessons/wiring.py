"""Page of the lesson on power, lines and cable."""

from html import escape

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go

from ...equipment.amplification import amplify
from ...equipment.outputs import LINE_PART
from ...physics.electrical import BTU, awg_area, cable_loss_db, line_load, loop_resistance
from ...training.lessons import wiring
from ...venue.files import load
from ...venue.units import FOOT, in_words
from ..tables import card
from ..tables.markup import Num, table
from ..theme import FONT, GROUP_COLORS, INK, per_unit
from .experiment import Aim, Prediction, Setup, slider
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed, worked_by_hand

GAUGES = (10, 12, 14, 16, 18)  # that are drawn [AWG]
LONGER, SHORTER, RIGHT = "it may be longer", "it must be shorter", "it is as long as it may be"
SHARE = 0.8  # of the loss that is allowed: so much at least, or the run could be longer [-]
NOT_YET = "Answer the question on the tap first. Then this line says what it means in watts."
HEARD_DBA = 65.0  # of speech before it is clipped [dB(A)]
# the chart was read and the contents page of the circular, its tables were not
CHART = "wire chart, 20 °C, after NBS Circular 31 (1914), Table"
OHMS, SIZES = f"{CHART} VI, p. 44; chart read", f"{CHART} VII, p. 48; chart read"
WIRES = ((12, "1.588", "3.31"), (14, "2.525", "2.08"), (18, "6.385", "0.823"))
RUNS = ((12, 100, 8, "0.338"), (14, 100, 8, "0.532"), (14, 300, 50, "0.259"))
TAPS = ((30, 70.7, "167"), (15, 70.7, "333"), (60, 100, "167"), (1, 25, "625"))


class WiringPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    place : dict
        "scenario" (path), "use", "bank", and the "group" that serves it
    wanted : dict
        "level_db" at the back row and "headroom_db" over it [dB]
    line : dict
        "line_volts" [V] and "tap_w" of each transformer on it [W]
    cable : dict
        "awg" of the wire in the experiment [AWG] and "loss_db", the most that it may take [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "wiring"

    def __init__(self, *, units, place, wanted, line, cable, progress=None):
        super().__init__(units=units, progress=progress)
        self.school = load(place["scenario"])
        self.loudspeaker, self.throw = self._serving(place)
        kind = self.loudspeaker.type
        sensitivity = float(kind.sensitivity_db[3])
        first = dict(wanted, sensitivity_db=sensitivity, distance_m=self.throw)
        self.line = dict(line, impedance_ohm=float(kind.impedance_ohm))
        self.shortfall = w.HTML(card(f"<p class='quiet'>{NOT_YET}</p>"))
        self.over_watt = self.ask("over_watt", first)
        self.watts = self.ask("watts", first)
        self.tap = self.ask("left_on_tap", dict(first, tap_w=line["tap_w"]))
        self.own_tap = self.tap.problem
        self.longer = self.ask("longer", self.line)
        mine = amplify(self.school)
        self.channels = w.HTML(_channels(mine, self.school, units))
        run = next(c.length for c in mine.channels if self.loudspeaker.tag in c.tags)
        self.cabling = self.try_out("cabling", self._cabling(run, **cable))
        self.clipping = self.listen("clipping", *self._clipping(wanted["headroom_db"]))
        self.printed = self.compare(_printed())
        self.by_hand = self.compare(_by_hand(self.line))

    def _serving(self, place):
        """The loudspeaker nearest to the middle of the last row, and its distance to it."""
        area = self.school.configuration(place["use"]).areas[place["bank"]]
        seat = area.points[-1 - area.columns // 2]
        own = [one for one in self.school.loudspeakers if one.group == place["group"]]

        def way(one):
            return float(np.linalg.norm(seat - one.position))

        nearest = min(own, key=way)
        return nearest, way(nearest)

    def _answered(self, question, reply):
        super()._answered(question, reply)
        if question.exercise.key == "wiring.left_on_tap" and question.answering.closed:
            self.shortfall.value = card(f"<p><b>{escape(shortfall(question.problem))}</b></p>")

    def _cabling(self, run, awg, loss_db):
        start = dict(run=run, awg=awg, count=1, on_line=0)

        def connect(run, awg, count, on_line):
            return wiring.connected(run, awg, count, on_line, self.line)

        def truth(begun, _reached):
            longest = wiring.longest_run(begun["awg"], begun["ohm"], loss_db)
            if SHARE * loss_db <= begun["loss"] <= loss_db:
                return RIGHT
            return LONGER if longest > begun["run"] else SHORTER

        return Setup(
            adjustments=(
                slider("run", "run, one way", (0.5, 300), 0.5, "m"),
                slider("awg", "wire [AWG]", (8, 18), 2, "count"),
                slider("count", "loudspeakers", (1, 4), 1, "count"),
                slider("on_line", "line (1), direct (0)", (0, 1), 1, "count"),
            ),
            start=start,
            compute=connect,
            draw=lambda found: _losses(found, loss_db, self.units),
            aim=Aim(
                words=(
                    f"as long a run as may be: the cable takes {SHARE * loss_db:.2f} to"
                    f" {loss_db:.2f} dB"
                ),
                what="cable loss",
                measure=lambda found: found["loss"],
                unit="dB",
                low=SHARE * loss_db,
                high=loss_db,
                digits=2,
            ),
            predict=Prediction(
                f"The cable of this school runs {in_words(run, self.units)}. Suppose it feeds one"
                f" loudspeaker directly, with {awg:g} AWG. What do you expect of the run?",
                (LONGER, SHORTER, RIGHT),
                truth,
            ),
        )

    def _clipping(self, headroom_db):
        left = float(self.own_tap.answer)

        def at(headroom, said):
            return lambda: Sound(wiring.clipped(HEARD_DBA, headroom), said)

        made = {
            "nothing clips": at(np.inf, "every peak comes through"),
            "all the headroom": at(headroom_db, f"an amplifier of {headroom_db:g} dB headroom"),
            "what the tap leaves": at(left, f"a tap with {left:.1f} dB of headroom left"),
        }
        words = (
            "The same speech, fed alike each time. Where the headroom is small, its peaks are cut"
            " off: loud vowels turn rough, and less level comes out."
        )
        return made, words, Blind("Which one is clipped most?", "what the tap leaves")


def shortfall(problem):
    """What a tap means in watts, from the steps of its problem.

    Parameters
    ----------
    problem : Problem
        Of ``wiring.left_on_tap``

    Returns
    -------
    words : str
        Needed against given, and what is left
    """
    needed, ratio, short, left = (step.value for step in problem.steps[-4:])
    less = (
        f"{left:.1f} dB of headroom are left for peaks"
        if left >= 0
        else "not even the level itself is reached"
    )
    return (
        f"Needed: {needed:,.0f} W. The tap gives {needed / ratio:.3g} W. It is {short:.1f} dB"
        f" short, so {less}. At the full headroom the level would be {short:.1f} dB lower."
        f" {problem.note}"
    )


def _losses(found, loss_db, units):
    """Loss over the run, a curve for each gauge, and this cable."""
    runs = np.linspace(0, 150, 61)
    traces = [
        go.Scatter(
            name=f"{gauge} AWG",
            x=runs / per_unit(units),
            y=cable_loss_db(runs, found["ohm"], awg=gauge),
            mode="lines",
            line=dict(color=color),
        )
        for gauge, color in zip(GAUGES, GROUP_COLORS, strict=False)
    ]
    here = go.Scatter(
        name="this cable",
        x=[found["run"] / per_unit(units)],
        y=[found["loss"]],
        mode="markers",
        marker=dict(size=12, color=INK),
    )
    limit = go.Scatter(
        name="limit",
        x=[0, 150 / per_unit(units)],
        y=[loss_db, loss_db],
        mode="lines",
        line=dict(color=INK, dash="dot"),
    )
    size = f"{found['awg']:g} AWG ({awg_area(found['awg']):.1f} mm²)"
    return go.Figure([*traces, here, limit]).update_layout(
        **FRAME | dict(margin=dict(l=60, r=10, t=40, b=50)),
        font=dict(family=FONT, color=INK),
        title=dict(text=f"{found['ohm']:.1f} Ω at the end of {size}", font=dict(size=13)),
        xaxis_title=f"run [{units}]",
        yaxis=dict(title="loss [dB]", range=[0, 4 * loss_db]),
    )


def _channels(mine, school, units):
    """Channels that the package chooses for the school, and the AC power that they draw."""

    def row(one):
        tags = f"{one.group}: {', '.join(one.tags)}"
        numbers = f"{one.gives_w:.0f}", f"{one.load_ohm:.1f}", f"{one.length / per_unit(units):.0f}"
        shown = [Num(number) for number in numbers]
        return escape(tags), *shown, escape(str(one.conductor)), Num(f"{one.loss_db:.2f}")

    head = (
        "channel",
        Num("gives [W]"),
        Num("load [Ω]"),
        Num(f"cable [{units}]"),
        "wire",
        Num("loss [dB]"),
    )
    drawn, heat = mine.ac_power_w
    caption = f"Channels that the package chooses for {escape(school.name)}"
    return card(
        table(caption, head, [row(one) for one in mine.channels]),
        f"<p>AC power, with speech at an eighth of full power: {drawn:.0f} W,"
        f" {mine.current_a:.1f} A at {school.equipment.ac_volts:g} V; circuits: {mine.circuits}."
        f" The rack gives off {heat * BTU:.0f} BTU an hour. Taps may take up to"
        f" {100 * LINE_PART:.0f} % of a line amplifier.</p>",
    )


def _printed():
    rows = [
        (
            f"{gauge} AWG, one conductor [Ω per 1000 ft]",
            ohm,
            loop_resistance(1000 * FOOT, awg=gauge) / 2,
            OHMS,
        )
        for gauge, ohm, _ in WIRES
    ]
    rows += [(f"{gauge} AWG [mm²]", size, awg_area(gauge), SIZES) for gauge, _, size in WIRES]
    return printed(rows, caption="Published values as reprinted, computed again")


def _by_hand(line):
    """Losses and taps, but for the tap that a question of the page asks for."""
    rows = [
        (
            f"{gauge} AWG, {feet} ft ({feet * FOOT:.0f} m), {ohm} Ω [dB]",
            text,
            cable_loss_db(feet * FOOT, ohm, awg=gauge),
            "20 log(1 + R / Z), R from the wire table",
        )
        for gauge, feet, ohm, text in RUNS
    ]
    rows += [
        (f"a tap of {watts} W on a {v:g} V line [Ω]", text, line_load(watts, volts=v)[1], how)
        for watts, v, text in TAPS
        if (watts, v) != (line["tap_w"], line["line_volts"])
        for how in ("5000 / P" if v == 70.7 else "V² / P",)
    ]
    return worked_by_hand(rows)
