"""The chosen row's type of loudspeaker: polars, angles, index, balloon."""

from html import escape

import ipywidgets as w

from .. import tables
from ..charts import loudspeaker as loudspeaker_chart
from ..live import FigureFrame
from .controls import show_only
from .section import Section


class LoudspeakerTab(Section):
    """A loudspeaker closely."""

    key, title = "loudspeaker_type", "The loudspeaker"

    def _begin(self):
        self._shown = None  # type

    def _make(self):
        return w.VBox(layout={"width": "100%"})

    def _fill(self, state, answer):
        shown = answer.scenario
        kind = (shown.in_group(state.group) or shown.loudspeakers)[0].type
        if kind == self._shown:
            return
        self._shown = kind
        words = (
            f"<p><b>{escape(kind.name)}</b>, {escape(kind.description)};"
            f" {escape(loudspeaker_chart.mark(kind))}. Rated {kind.rated_w:g} W,"
            f" {kind.impedance_ohm:g} ohm, {kind.weight_kg:g} kg.</p>"
        )
        frame = FigureFrame(loudspeaker_chart.figure(kind))
        show_only(self.box, [w.HTML(tables.card(words)), frame])
