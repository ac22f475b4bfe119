"""What is looked at, undo and redo, and the line that says what cannot be."""

import ipywidgets as w

from ..jobs import not_possible
from ..theme import QUANTITIES
from .accessible_names import AccessibleNames
from .controls import Choice, Push, Switch, Words
from .keyboard import PageKeyboard
from .page import style
from .section import Section

UNITS = (("feet", "ft"), ("meters", "m"))
FRAMES = (("3D", "space"), ("both", ""), ("plan", "drawing"))


class Toolbar(Section):
    """Use, quantity, section and units; undo and redo; the notebook's code."""

    def _make(self):
        return w.HBox()

    def _controls(self, state, answer):
        areas = tuple(answer.result.configuration.areas)
        uses = tuple(u.name for u in state.start.uses)
        quantities = tuple((q.label, key) for key, q in QUANTITIES.items())
        area = state.area if state.area in areas else areas[0]
        return [
            self._list("use", "Use", uses, state.use, "150px"),
            self._list("quantity", "Show", quantities, state.quantity, "200px"),
            self._list("area", "Section", areas, area, "140px"),
            Switch(
                key="units",
                value=state.units,
                options=UNITS,
                act=lambda units: self.panel.update(units=units),
            ),
            Switch(
                key="large",
                value=state.large,
                options=FRAMES,
                act=lambda large: self.panel.update(large=large),
            ),
            self._step("undo", "Undo", "One step back", self.panel.history.can_undo),
            self._step("redo", "Redo", "One step forward again", self.panel.history.can_redo),
            Push(
                key="code",
                value=not state.folded,
                stays=True,
                label="Notebook",
                tip="Show the notebook with its text and code around the panel, or hide it",
                width="88px",
                act=lambda shown: self.panel.update(folded=not shown),
            ),
        ]

    def _list(self, field, label, options, value, width):
        return Choice(
            key=field,
            value=value,
            label=label,
            options=options,
            width=width,
            label_width="initial",
            act=lambda new: self.panel.update(**{field: new}),
        )

    def _step(self, key, label, tip, enabled):
        def act(_):
            getattr(self.panel, key)()

        return Push(key=key, label=label, tip=tip, enabled=enabled, width="54px", act=act)


class Refusals(Section):
    """One line on what cannot be, with the way back to what could."""

    def _make(self):
        box = w.HBox()
        box.add_class("gt-message")
        return box

    def _controls(self, state, answer):
        if not answer.refusal:
            return [Words(key="nothing", value="")]
        said = f"{not_possible(answer.refusal)} The picture shows the last state that was possible."
        back = Push(
            key="go back",
            label="Go back",
            tip="Back to the last possible state",
            width="100px",
            act=lambda _: self.panel.restore_possible(),
        )
        return [back, Words(key="refusal", value=said)]


class PageStyle(Section):
    """The style sheet, which hides the code, the names of what has none of its own, and the links
    past the bars.
    """

    def _make(self):
        self.style = w.HTML()
        return w.HBox([self.style, AccessibleNames(), PageKeyboard()])

    def _render(self, state, answer):
        self.style.value = style(state.folded, self.panel.alone)
