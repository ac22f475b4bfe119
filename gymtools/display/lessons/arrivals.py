"""Page of the lesson on several loudspeakers."""

import numpy as np
import plotly.graph_objects as go

from ...acoustics.evaluate import evaluate
from ...acoustics.listening import Listening
from ...physics.air import speed_of_sound
from ...physics.arrivals import comb_response_db, delay_for_lead, notch_frequencies, ripple_db
from ...physics.bands import to_level
from ...training import sounds
from ...training.lessons import arrivals
from ...venue.files import load
from ...venue.paths import changed
from ...venue.units import FOOT
from ..theme import GROUP_COLORS, INK, QUIET
from .experiment import Aim, Prediction, Setup, slider
from .listening import Blind, Sound, at_seat
from .page import LessonPage
from .picture import FRAME
from .printed import worked_by_hand

FREQUENCIES = np.linspace(100, 1000, 1801)  # fine enough for teeth a few hertz apart [Hz]
SHORTER, SAME, LONGER = "shorter than that time", "as long as that time", "longer than that time"
SPOKEN_DBA = 65.0  # of what is heard, however it arrives [dB(A)]
COMB_S, LATE_S = 0.001, 0.080  # of copies that are heard [s]
KHZ = 3  # the octave around 1 kHz
FIRST_COPY = dict(late_ms=40.0, first_db=70.0)


class ArrivalsPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    place : dict
        "scenario" (path), "use", "bank", and the groups "lead" and "group" that helps it
    times : dict
        "lead_ms" and "late_ms" after the lead, "delay_ms" where the experiment begins [ms]
    farther_m : float
        In the question on the comb [m]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "arrivals"

    def __init__(self, *, units, place, times, farther_m, progress=None):
        super().__init__(units=units, progress=progress)
        self.place, self.times = place, times
        self.school = load(place["scenario"])
        start = self.play(0.0)
        points = start.summary(place["bank"]).points
        self.chosen, self.ways, self.apart = arrivals.deciding_seat(
            start, place["lead"], place["group"], points
        )
        self.seat, self.speed = points.start + self.chosen, float(start.sources.speed)
        warm = dict(temperature_c=self.school.air.temperature_c)
        lead, helper = self.ways
        first = dict(lead_m=lead, helper_m=helper, lead_ms=times["lead_ms"], **warm)
        self.delay = self.ask("delay", first)
        self.notch = self.ask("notch", dict(farther_m=farther_m, **warm))
        self.copy = self.ask("copy", FIRST_COPY)
        self.lining = self.try_out("lining", self._lining())
        self.sorts = self.listen("sorts", *_sorts())
        self.delayed = self.listen("delayed", *self._delayed())
        self.by_hand = self.compare(worked_by_hand(_rows()))

    def play(self, delay_ms):
        """The use with the helpers delayed.

        Parameters
        ----------
        delay_ms : float
            Of the helpers; the lead has none [ms]

        Returns
        -------
        result : Result
            Of few rays: times do not depend on them
        """
        use = self.place["use"]
        times = {
            ("uses", use, "groups", self.place["lead"], "delay_ms"): 0.0,
            ("uses", use, "groups", self.place["group"], "delay_ms"): float(delay_ms),
        }
        return evaluate(changed(self.school, times), use, rays="few", follow_echoes=False)

    def lag(self, result):
        """By how much the helpers arrive after the lead at the chosen seat.

        Parameters
        ----------
        result : Result
            Of ``play``

        Returns
        -------
        lag : float
            Negative where they come first [ms]
        """
        return arrivals.lag_ms(result, self.place["lead"], self.place["group"], self.seat)

    def _lining(self):
        lead, helper, bank = self.place["lead"], self.place["group"], self.place["bank"]
        where = self.play(0.0).configuration.areas[bank].seat_words(self.chosen, self.units)
        low, high = self.times["lead_ms"], self.times["late_ms"]
        travel = 1000 * (self.ways[0] - self.ways[1]) / self.speed
        longest = 10 * np.ceil(max(travel + high + 30, self.times["delay_ms"]) / 10)
        held = slider("delay_ms", f"delay, {helper}", (0, longest), 1, "ms")
        return Setup(
            adjustments=(held,),
            start=dict(delay_ms=self.times["delay_ms"]),
            compute=self.play,
            draw=self._arriving,
            aim=Aim(
                words=(
                    f"at {where} of the {bank} the {lead} arrives first, and the {helper} between"
                    f" {low:g} and {high:g} ms after it"
                ),
                what=f"{helper} after the {lead}",
                measure=self.lag,
                unit="ms",
                low=low,
                high=high,
            ),
            predict=Prediction(
                f"Sound needs longer from the {lead} than from the {helper}. The delay that reaches"
                " the aim is …",
                (SHORTER, SAME, LONGER),
                self._truth,
            ),
        )

    def _truth(self, start, reached):
        """How the delay stands to the time that the farther way takes."""
        travel = self.times["delay_ms"] - self.lag(start)
        held = self.times["delay_ms"] + self.lag(reached) - self.lag(start)
        return LONGER if held > travel + 0.5 else SHORTER if held < travel - 0.5 else SAME

    def _arriving(self, result):
        """Arrivals in time and level, and the comb of all of them."""
        lead, helper = self.place["lead"], self.place["group"]
        owner = np.array([one.group for one in result.scenario.loudspeakers], object)
        time, energy = 1000 * result.arrival_s[:, self.seat], result.direct[:, self.seat, KHZ]
        heard = result.playing & (energy > 0)
        level = to_level(np.maximum(energy, 1e-9 * energy.max()) / energy.max())
        dots = (
            (lead, owner == lead, "circle", GROUP_COLORS[0]),
            (helper, owner == helper, "diamond", GROUP_COLORS[1]),
            ("others", heard & (owner != lead) & (owner != helper), "x", QUIET),
        )
        chart = go.Figure(
            [
                go.Scatter(
                    name=name,
                    x=time[at] - time[heard].min(),
                    y=level[at],
                    mode="markers",
                    marker=dict(size=11, symbol=symbol, color=color),
                )
                for name, at, symbol, color in dots
            ]
        )
        comb = comb_response_db(energy[heard], result.arrival_s[heard, self.seat], FREQUENCIES)
        line = dict(color=INK, width=1)
        chart.add_scatter(
            name="comb", x=FREQUENCIES, y=np.maximum(comb, -25), line=line, xaxis="x2", yaxis="y2"
        )
        return chart.update_layout(**_two_axes())

    def _delayed(self):
        lead = self.times["lead_ms"] / 1000
        apart = self.ways[0] - self.ways[1]
        held = 1000 * float(delay_for_lead(apart, lead_s=lead, speed_of_sound=self.speed))

        def heard(delays):
            return at_seat(lambda: (self.play(held), self.seat, Listening(delays=delays)))

        made = {"with the delay": heard(True), "without it": heard(False)}
        words = "The same seat, in a quiet gym. Listen to how clear the beginnings of words are."
        return made, words, Blind("Which one has the delay?", "with the delay")


def _two_axes():
    """Arrivals on the left, their comb on the right."""
    return dict(
        **FRAME,
        legend=dict(orientation="h", y=1.12),
        xaxis=dict(title="after the first [ms]", rangemode="tozero", domain=[0, 0.44]),
        yaxis=dict(range=[-30, 3], title="re the strongest [dB]"),
        xaxis2=dict(title="frequency [Hz]", domain=[0.58, 1], anchor="y2"),
        yaxis2=dict(range=[-25, 10], title="re energy sum [dB]", anchor="x2"),
    )


def _sorts():
    """One arrival, a comb and an echo, all with the same energy."""

    def made(delays, said):
        level = SPOKEN_DBA - float(to_level(len(delays)))
        return lambda: Sound(sounds.arrivals(delays, [0.0] * len(delays), level), said)

    found = {
        "one arrival": made([0.0], "one arrival"),
        "a comb": made([0.0, COMB_S], f"a second, equal arrival {1000 * COMB_S:g} ms later"),
        "an echo": made([0.0, LATE_S], f"a second, equal arrival {1000 * LATE_S:g} ms later"),
    }
    words = "The comb sounds hollow, as in a pipe. The echo says each word twice."
    return found, words, Blind("Which one is the comb?", "a comb")


def _rows():
    """Closed forms, worked by hand."""
    first, second = notch_frequencies(0.0001, 2)
    third = notch_frequencies(0.001, 1)[0]
    eight_ms = 0.008 * float(speed_of_sound(20.0)) / FOOT
    return [
        ("two equal sounds 0.1 ms apart: lowest notch [Hz]", "5000", first, "1 / (2 · 0.0001)"),
        ("the next one [Hz]", "15000", second, "3 / (2 · 0.0001)"),
        ("two equal sounds 1 ms apart: lowest notch [Hz]", "500", third, "1 / (2 · 0.001)"),
        ("two equal sounds in phase, over one [dB]", "6.02", ripple_db(0.0)[0], "20 log 2"),
        ("distance of sound in 8 ms, 20 °C [ft]", "9.0", eight_ms, "0.008 · 343.2 / 0.3048"),
        ("speed of sound, 0 °C [m/s]", "331.3", speed_of_sound(0.0), "343.2 · √(273.15 / 293.15)"),
    ]
