"""How sure the answers are: what is not known, the draws, and the ranges that come out."""

from dataclasses import fields

import ipywidgets as w

from ...design.input_errors import WORDS, InputSpread
from ...design.uncertainty import how_sure
from .. import tables
from ..jobs import Job
from .page import quiet
from .section import Section
from .slider_spec import SliderSpec
from .typed_slider import Looks, TypedBox

UNITS = {
    "decay_pct": "%",
    "scattering_pct": "%",
    "absorption_pct": "%",
    "noise_db": "dB",
    "occupancy_pct": "%",
    "aim_deg": "°",
    "sensitivity_db": "dB",
    "directivity_db": "dB",
}
MOST = {"%": 100, "dB": 20, "°": 20}
ABOUT = (
    "How long a gym rings, the crowd and the aim are never known exactly. The design is evaluated"
    " many times with random errors in all of them, in the use that is shown. Enter one standard"
    " deviation each; 0 means that the input is known exactly. How far the model's ringing may be"
    " off comes from published gyms; a decay measured in this gym narrows it."
)
STALE = "Something was changed since the last draws. Draw again."


class SureTab(Section):
    """Ranges of the use that is shown."""

    key, title = "uncertainty", "How sure"

    def _begin(self):
        self.job = Job(self._done, stale=STALE)
        self._fit = None  # of the room, where what is unknown of it follows

    @property
    def words(self):
        """The line of words, and the table."""
        return self.job.words

    @property
    def found(self):
        """Ranges that belong to what is shown; None where there are none."""
        return self.job.result

    def _make(self):
        start = self.panel.state.start
        self._fit, usual = start.room_fit, InputSpread.usual(start, self.panel.state.use)
        self.unknowns = {
            f.name: self._unknown(f.name, getattr(usual, f.name)) for f in fields(InputSpread)
        }
        self.draw = w.Button(description="Draw 200 times", layout={"width": "160px"})
        self.draw.on_click(lambda _: self.start())
        self.job.starts_with(self.draw)
        return w.VBox(
            [
                w.HTML(quiet(ABOUT)),
                w.HBox(list(self.unknowns.values()), layout={"flex_flow": "row wrap"}),
                w.HBox([self.draw, self.job.halt, self.job.bar]),
                self.job.error,
                self.job.words,
            ]
        )

    @staticmethod
    def _unknown(name, value):
        most = {"sensitivity_db": 10, "directivity_db": 6}.get(name, MOST[UNITS[name]])
        unit = {"°": "deg"}.get(UNITS[name], UNITS[name])
        ends = dict(low=0, high=most, step=0.5)
        spec = SliderSpec(path=(name,), label=WORDS[name], unit=unit, **ends)
        return TypedBox(spec, value, "m", lambda _path, _new: None, Looks("270px"))

    def start(self):
        """Draw with the present state."""
        state = self.panel.state
        try:
            scenario = state.scenario
            spread = InputSpread(**{name: box.value for name, box in self.unknowns.items()})
        except ValueError as error:
            self.job.refuse(error)
            return
        self.job.start(
            lambda tell, stop: how_sure(
                scenario, state.use, unknowns=spread, progress=tell, stop=stop
            )
        )

    def _render(self, state, answer):
        self.job.allow(answer.possible)

    def _fill(self, state, answer):
        """What is unknown of the ringing begins anew where the room was fitted, or no longer is."""
        if answer.scenario.room_fit != self._fit:
            self._fit = answer.scenario.room_fit
            usual = InputSpread.usual(answer.scenario, state.use)
            for name in ("decay_pct", "absorption_pct", "scattering_pct"):
                self.unknowns[name].value = getattr(usual, name)

    def outdate(self):
        """Ranges are of another state; see ``Section.outdate``."""
        self.job.discard()

    def _done(self, found):
        if found is None:
            self.job.say("Stopped. No range can be given of some of the draws alone.")
            return
        self.job.words.value = tables.card(tables.sureness_table(found))
