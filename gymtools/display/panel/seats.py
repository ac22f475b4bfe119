"""Seating, stages and the curtain, as controls: what stands there in the use, and its size."""

from .controls import Slider, SliderSpec, Words, heading
from .section import Section

SET_OUT = "set out in this use"
ROWS = dict(label="Rows", low=1, high=30, step=1, unit="count")
BANK = (
    ("rows", ROWS),
    ("row_run", dict(label="Row depth", low=0.5, high=1.1, step=0.01, unit="m", feet_step=0.05)),
    ("row_rise", dict(label="Row rise", low=0.0, high=0.5, step=0.01, unit="m", feet_step=0.05)),
    ("length", dict(label="Length", low=3, high=50, step=0.5, unit="m", feet_step=1.0)),
    ("setback", dict(label="Set back from the wall", low=0, high=6, step=0.1, unit="m")),
)
CHAIRS = (
    ("length", dict(label="Length", low=2, high=40, step=0.5, unit="m", feet_step=1.0)),
    ("width", dict(label="Width", low=2, high=30, step=0.5, unit="m", feet_step=1.0)),
    ("x", dict(label="East of center", low=-20, high=20, step=0.5, unit="m", feet_step=1.0)),
    ("y", dict(label="North of center", low=-15, high=15, step=0.5, unit="m", feet_step=1.0)),
)


class SeatsSection(Section):
    """Bleachers pulled out, chairs and stages set out, the curtain, and who sits there."""

    key, title = "seats", "The seats"

    def _controls(self, state, answer):
        use, rows = ("uses", state.use), []
        for bank in state.start.banks:
            pulled_out = bank.name not in state.value(("uses", state.use, "closed"))
            rows += [heading(bank.name)]
            rows.append(
                self.panel.listed(
                    (*use, "closed"), bank.name, "pulled out in this use", inverse=True
                )
            )
            rows += [self._rows_out(bank)] if pulled_out else []
            rows += [self.panel.slider(("banks", bank.name, name), words) for name, words in BANK]
            rows += [self._occupied(bank.name)] if pulled_out else []
        for block in state.start.floor_seats:
            set_out = block.name in state.value(("uses", state.use, "set_up"))
            rows += [heading(block.name)]
            rows.append(self.panel.listed((*use, "set_up"), block.name, SET_OUT))
            if set_out:
                path = ("floor_seats", block.name)
                rows += [self.panel.slider((*path, name), words) for name, words in CHAIRS]
                rows.append(self._occupied(block.name))
        for platform in state.start.portable_stages:
            rows += [heading(platform.name)]
            rows.append(self.panel.listed((*use, "set_up"), platform.name, SET_OUT))
        if state.start.stage:
            open_now = self.panel.tick((*use, "curtain_open"), "open in this use")
            rows += [heading("Stage curtain"), open_now]
        return rows or [Words(key="none", value="There is no seating in this scenario.")]

    def _rows_out(self, bank):
        """How many rows of a bank are out in the use."""
        state = self.panel.state
        path, rows = ("uses", state.use, "pulled_out", bank.name), ("banks", bank.name, "rows")
        out, there = state.value(path), state.value(rows)
        words = dict(label="Rows out in this use", low=0, high=there, step=1, unit="count")
        return self.panel.slider(path, words, value=there if out is None else out)

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
