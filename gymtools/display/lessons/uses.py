"""Page of the lesson on one installation with many uses."""

from html import escape

import ipywidgets as w
import numpy as np

from ...acoustics.listening import Listening
from ...physics.air import speed_of_sound
from ...physics.feedback import open_mics_db
from ...training.lessons import uses
from ...venue.files import load
from ...venue.units import FOOT
from ..charts import plans
from ..scene import View
from ..tables import card
from ..tables.markup import table
from .experiment import Aim, Prediction, Setup, slider
from .listening import Blind, at_seat
from .page import LessonPage
from .picture import HEIGHT
from .printed import worked_by_hand

GROWS, SHRINKS, STAYS = "it grows", "it shrinks", "it stays"
STAYS_DB = 0.3  # a margin that changes by less stays [dB]
FIRST = dict(kept_db=70.0, off_db=70.0, kept_back_db=55.0, off_back_db=60.0)
LOW_DB, HIGH_DB, STEP_DB = -20.0, 12.0, 0.5  # of the slider [dB]


class UsesPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    place : dict
        "scenario" (path), "use", and the "group" that is moved
    gain_db : float
        Of the group, where the experiment begins [dB]
    alike_db : float
        How far the areas' mean levels may lie apart [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "uses"

    def __init__(self, *, units, place, gain_db, alike_db, progress=None):
        super().__init__(units=units, progress=progress)
        self.place, self.school = place, load(place["scenario"])
        use, group = place["use"], place["group"]
        if not self.school.use(use).group_setting(group).on:
            raise ValueError(f"'{group}' does not play in '{use}'. Choose another group.")
        self.who = w.HTML(card(_who(self.school)))
        self.shared = self.ask("shared", FIRST)
        self.switched = self.ask("switched", dict(group=group), school=self.school, use=use)
        self.start = self.play(gain_db)
        gains = np.arange(LOW_DB, HIGH_DB + STEP_DB / 2, 4 * STEP_DB)
        self.tried = [self.play(float(gain)) for gain in gains]
        self.needed_db = uses.needed_margin_db(self.start, self.tried)
        self.sharing = self.try_out("sharing", self._sharing(gain_db, alike_db))
        self.heard = self.listen("group", *self._heard(gain_db))
        self.by_hand = self.compare(worked_by_hand(_rows()))

    def play(self, gain_db, delay_ms=None):
        """The use with the group at another gain and delay.

        Parameters
        ----------
        gain_db : float
            Of the group [dB]
        delay_ms : float, optional
            Of the group; as the use has it when left out [ms]

        Returns
        -------
        result : Result
            As ``uses.play``
        """
        use, group = self.place["use"], self.place["group"]
        return uses.play(self.school, use, group, gain_db, delay_ms)

    def _sharing(self, gain_db, alike_db):
        group, use = self.place["group"], self.place["use"]
        high = self._reachable(alike_db)
        more = "" if high <= alike_db else f" ({alike_db:g} dB would need another group too)"
        late = self.school.use(use).group_setting(group).delay_ms
        words = f"gain, {group}"
        return Setup(
            adjustments=(
                slider("gain_db", words, (LOW_DB, HIGH_DB), STEP_DB, "dB"),
                slider("delay_ms", f"delay, {group}", (0, max(100.0, late)), 1, "ms"),
            ),
            start=dict(gain_db=gain_db, delay_ms=late),
            compute=self.play,
            draw=self._map,
            aim=Aim(
                words=(
                    f"the mean direct levels of all areas lie within {high:.1f} dB of each"
                    f" other{more}, and the smallest feedback margin is {self.needed_db:.1f} dB or"
                    " more"
                ),
                what="loudest to quietest area",
                measure=uses.apart_db,
                unit="dB",
                high=high,
                besides=self._rings,
            ),
            predict=Prediction(
                f"You bring the areas together with the gain of '{group}'. What does the smallest"
                " feedback margin do on the way?",
                (GROWS, SHRINKS, STAYS),
                _truth,
            ),
        )

    def _rings(self, result):
        """What is wrong with the microphones; empty where nothing is."""
        margin = uses.margin_db(result)
        if margin >= self.needed_db:
            return ""
        return f"a microphone has a feedback margin of {margin:.1f} dB: too near to ringing"

    def _reachable(self, alike_db):
        """Limit of the aim: what is asked, or the best that this group can do without ringing."""
        safe = [uses.apart_db(r) for r in self.tried if not self._rings(r)]
        return max(alike_db, float(np.ceil(10 * min(safe)) / 10)) if safe else alike_db

    def _map(self, result):
        even = max(max(area.coverage_range_db) for area in result.areas)
        late = max(
            1000 * np.percentile(result.arrival_spread_s[area.points], 90) for area in result.areas
        )
        words = (
            f"Direct sound, 2 kHz. Feedback margin {uses.margin_db(result):+.1f} dB.<br>Worst area:"
            f" coverage range {even:.1f} dB, arrivals {late:.0f} ms"
        )
        view = View(result=result, quantity="direct 2k", units=self.units)
        return plans.plan(view).update_layout(
            height=HEIGHT, width=None, title_text=words, margin_t=56
        )

    def _heard(self, gain_db):
        quietest = min(self.start.areas, key=lambda area: area.mean_db)
        middle = (quietest.points.start + quietest.points.stop) // 2
        use, group = self.place["use"], self.place["group"]

        def at(plays):
            def make():
                found = uses.play(self.school, use, group, gain_db, None, plays)
                return found, middle, Listening()

            return at_seat(make)

        made = {"with the group": at(True), "without it": at(False)}
        words = (
            f"One seat of '{quietest.name}', with '{group}' and without. The volume is set again"
            " for the listeners as a whole."
        )
        return made, words, Blind("Which one has the group?", "with the group")


def _truth(start, reached):
    """What the margin did from the start to the aim."""
    change = uses.margin_db(reached) - uses.margin_db(start)
    return STAYS if abs(change) < STAYS_DB else GROWS if change > 0 else SHRINKS


def _who(school):
    """Which groups play in which use, for whom, with which microphones."""

    def groups(use):
        for one in school.groups:
            setting = use.group_setting(one.name)
            said = f"{setting.gain_db:+g} dB, {setting.delay_ms:g} ms" if setting.on else "off"
            yield f"{one.name}: {said}"

    rows = [
        tuple(
            escape(text)
            for text in (
                use.name,
                "; ".join(groups(use)),
                ", ".join(use.listens),
                ", ".join(use.microphones),
            )
        )
        for use in school.uses
    ]
    caption = "Who plays, for whom, with which microphone"
    return table(caption, ("use", "groups", "listen", "open"), rows)


def _rows():
    hundred_ft = 1000 * 100 * FOOT / float(speed_of_sound(20.0))
    return [
        ("2 open microphones [dB]", "3.0", open_mics_db(2), "10 log 2"),
        ("20 open microphones [dB]", "13.0", open_mics_db(20), "10 log 20"),
        ("loudspeakers 100 ft (30.5 m) apart [ms]", "89", hundred_ft, "30.48 / 0.3432"),
        ("speed of sound, 0 °C [m/s]", "331.3", speed_of_sound(0.0), "343.2 · √(273.15 / 293.15)"),
    ]
