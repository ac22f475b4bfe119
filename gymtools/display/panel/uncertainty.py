"""How sure the answers are, as controls: what is not known, the draws, and the ranges that come
out.
"""

from dataclasses import fields
from html import escape

import ipywidgets as w

from ...design.input_errors import WORDS, InputSpread
from ...design.uncertainty import how_sure
from .. import tables
from ..jobs import Aside
from ..theme import QUIET

UNITS = {
    "absorption_pct": "%",
    "noise_db": "dB",
    "occupancy_pct": "%",
    "aim_deg": "°",
    "sensitivity_db": "dB",
}
ABOUT = (
    "Nobody knows the absorption, the crowd or the aim exactly. Here the design is drawn many times"
    " with all of it a little off, in the use that is shown."
)


class SurePanel:
    """Controls of the draws; ``box`` is what the page shows.

    Parameters
    ----------
    base : callable
        Gives the scenario and the name of the use [-]
    """

    def __init__(self, base):
        self.base, self.aside, self.found = base, Aside(self._told, self._done, self._failed), None
        narrow = w.Layout(width="240px")
        self.unknowns = {
            f.name: w.BoundedFloatText(
                value=f.default,
                min=0,
                max=50 if f.name.endswith("pct") else 20 if f.name != "sensitivity_db" else 10,
                step=0.5,
                layout=narrow,
                description=f"{WORDS[f.name]} [{UNITS[f.name]}]",
                style=dict(description_width="140px"),
            )
            for f in fields(InputSpread)
        }
        self.draw = w.Button(description="Draw 200 times", layout=w.Layout(width="160px"))
        self.draw.on_click(lambda _: self.start())
        self.bar, self.words = (
            w.FloatProgress(min=0, max=1, layout=w.Layout(width="330px", visibility="hidden")),
            w.HTML(),
        )
        hint = w.HTML(
            f'<span style="color:{QUIET}">{ABOUT} Give one standard deviation; 0 takes it as'
            " known.</span>"
        )
        self.box = w.VBox(
            [
                hint,
                w.HBox(list(self.unknowns.values()), layout=w.Layout(flex_flow="row wrap")),
                w.HBox([self.draw, self.bar]),
                self.aside.error,
                self.words,
            ]
        )

    def start(self):
        """Draw with the present state."""
        if self.aside.running:
            return
        try:
            scenario, use = self.base()
            unknowns = InputSpread(**{name: box.value for name, box in self.unknowns.items()})
        except ValueError as error:
            self.words.value = f"<b>Not possible:</b> {escape(str(error))}"
            return
        self.draw.disabled, self.bar.value, self.bar.layout.visibility = True, 0.0, "visible"
        self.aside.start(
            lambda tell, stop: how_sure(scenario, use, unknowns=unknowns, progress=tell, stop=stop)
        )

    def discard(self):
        """Somebody moved something: the draws are given up, and ranges that are shown are no longer
        of what is shown.
        """
        if self.aside.running:
            self.aside.discard()
            self._rest()
            self.words.value = "Given up, because something was moved."
        elif self.found is not None:
            self.words.value = "Something was moved since the last draws. Draw again."
        self.found = None

    def _rest(self):
        self.draw.disabled, self.bar.layout.visibility = False, "hidden"

    def _failed(self, error):
        self._rest()
        self.words.value = f"<b>Not possible:</b> {escape(str(error))}"

    def _told(self, share):
        self.bar.value = share

    def _done(self, found):
        self._rest()
        self.found = found
        self.words.value = tables.card(tables.sureness_table(found))
