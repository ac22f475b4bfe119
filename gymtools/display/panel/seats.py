"""Seating, stages and the curtain, as controls: what stands there in the use, and its size."""

from html import escape

from .controls import Slider, SliderSpec, Tick, Words
from .section import Section

ROWS = dict(label="Rows", low=1, high=30, step=1, unit="count")
BANK = (
    ("rows", ROWS),
    ("row_run", dict(label="Row depth", low=0.5, high=1.1, step=0.01, unit="m", feet_step=0.05)),
    ("row_rise", dict(label="Row rise", low=0.0, high=0.5, step=0.01, unit="m", feet_step=0.05)),
    ("length", dict(label="Length", low=3, high=50, step=0.5, unit="m", feet_step=1.0)),
)
CHAIRS = (
    ("length", dict(label="Length", low=2, high=40, step=0.5, unit="m", feet_step=1.0)),
    ("width", dict(label="Width", low=2, high=30, step=0.5, unit="m", feet_step=1.0)),
    ("x", dict(label="East of center", low=-20, high=20, step=0.5, unit="m", feet_step=1.0)),
)


class SeatsSection(Section):
    """Bleachers pulled out, chairs and stages set out, the curtain, and who sits there."""

    key, title = "seats", "The seats"

    def _controls(self, state, answer):
        rows = []
        for bank in state.start.banks:
            pulled_out = bank.name not in state.value(("uses", state.use, "closed"))
            rows += [_heading(bank.name)]
            rows.append(self._listed("closed", bank.name, "pulled out in this use", pulled_out))
            rows += [self.panel.slider(("banks", bank.name, name), words) for name, words in BANK]
            rows += [self._occupied(bank.name)] if pulled_out else []
        for block in state.start.floor_seats:
            set_out = block.name in state.value(("uses", state.use, "set_up"))
            rows += [_heading(block.name)]
            rows.append(self._listed("set_up", block.name, "set out in this use", set_out))
            if set_out:
                path = ("floor_seats", block.name)
                rows += [self.panel.slider((*path, name), words) for name, words in CHAIRS]
                rows.append(self._occupied(block.name))
        for platform in state.start.portable_stages:
            set_out = platform.name in state.value(("uses", state.use, "set_up"))
            rows += [_heading(platform.name)]
            rows.append(self._listed("set_up", platform.name, "set out in this use", set_out))
        if state.start.stage:
            rows += [_heading("Stage curtain"), self._curtain(state)]
        return rows or [Words(key="none", value="There is no seating in this scenario.")]

    def _curtain(self, state):
        path = ("uses", state.use, "curtain_open")
        return Tick(
            key=path,
            value=state.value(path),
            label="open in this use",
            act=lambda new: self.panel.set(path, new),
        )

    def _listed(self, word, name, label, ticked):
        """Box to tick for a name on one of the use's lists; on "closed" the box means not being
        there.
        """
        path = ("uses", self.panel.state.use, word)

        def act(on):
            others = [n for n in self.panel.state.value(path) if n != name]
            on_list = on == (word == "set_up")
            self.panel.set(path, tuple([*others, name] if on_list else others))

        return Tick(key=(*path, name), value=ticked, label=label, act=act)

    def _occupied(self, name):
        state = self.panel.state
        path = ("uses", state.use, "occupied", name)
        spec = SliderSpec(path=path, label="Share of seats taken", low=0, high=1, step=0.05)
        return Slider(
            key=path,
            value=state.value(path) or 0.0,
            spec=spec,
            units=state.units,
            act=lambda new: self.panel.set(path, new),
        )


def _heading(name):
    return Words(key=("heading", name), value=f"<b>{escape(name)}</b>")
