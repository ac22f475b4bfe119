"""The gym, its finishes and its air, as controls."""

from dataclasses import replace

from ...design.treatment import free_areas
from ...venue.finishes import FINISHES
from ...venue.paths import names
from .controls import Choice, Slider, SliderSpec, Words
from .section import Section

SIZE = (
    ("length", dict(label="Gym length", low=18, high=60, step=0.1, unit="m", feet_step=0.5)),
    ("width", dict(label="Gym width", low=14, high=50, step=0.1, unit="m", feet_step=0.5)),
)
HEIGHTS = (
    ("height", dict(label="Wall height", low=5, high=16, step=0.1, unit="m")),
    ("clear_height", dict(label="Clear under joists", low=4, high=15, step=0.1, unit="m")),
    ("ridge_height", dict(label="Ridge height", low=5, high=20, step=0.1, unit="m")),
)
AIR = (
    ("temperature_c", dict(label="Temperature", low=5, high=35, step=1, unit="°C")),
    ("humidity_pct", dict(label="Humidity", low=10, high=90, step=1, unit="%")),
)
COURT = (
    ("court_x", dict(label="Court, east of center", low=-15, high=15, step=0.1, unit="m")),
    ("court_y", dict(label="Court, north of center", low=-10, high=10, step=0.1, unit="m")),
)
BALLS = dict(label="No panels below", low=0, high=8, step=0.1, unit="m")
PARTS = (("roof", "Roof finish"), ("walls", "Wall finish"))


class RoomSection(Section):
    """Heights, finishes, the court, treatment and air."""

    key, title = "gym", "The gym"

    def _controls(self, state, answer):
        finishes = tuple(sorted(FINISHES))
        rows = [
            self.panel.slider(("hall", name), words)
            for name, words in HEIGHTS
            if name != "ridge_height" or state.start.hall.ridge_height is not None
        ]
        rows += [self.panel.choice(("hall", part), label, finishes) for part, label in PARTS]
        rows += [*self._court(), self.panel.slider(("hall", "ball_height"), BALLS)]
        rows.append(Words(key="treatment", value="<b>Treatment</b>"))
        for n, surface in enumerate(names(state.treatments)):
            rows += self._treatment(n, surface, finishes)
        return rows + [self.panel.slider(("air", name), words) for name, words in AIR]

    def _court(self):
        turned = self.panel.tick(("court_turned",), "court runs across the gym")
        return [*(self.panel.slider((name,), words) for name, words in COURT), turned]

    def _treatment(self, n, surface, finishes):
        state, path = self.panel.state, ("treatments", surface)
        treatment, label = state.treatments[n], surface[0].upper() + surface[1:]
        ends = dict(low=0, high=self._room_for(treatment), step=1)
        spec = SliderSpec(path=(*path, "area"), label=label, unit="m2", **ends)
        return [
            Slider(
                key=spec.path,
                value=treatment.area,
                spec=spec,
                units=state.units,
                act=lambda area: self._treat(n, area=area),
            ),
            Choice(
                key=(*path, "finish"),
                value=treatment.finish,
                label="of",
                options=finishes,
                act=lambda finish: self._treat(n, finish=finish),
            ),
        ]

    def _room_for(self, treatment):
        """How much of a surface a treatment can cover: what no other one does [m2]."""
        shown = self.panel.answer.scenario
        kept = sum(
            t.area
            for t in shown.treatments
            if (t.surface, t.finish, t.existing)
            == (treatment.surface, treatment.finish, treatment.existing)
        )
        return max(free_areas(shown)[treatment.surface] + kept, 1.0)

    def _treat(self, n, **new):
        treatments = list(self.panel.state.treatments)
        treatments[n] = replace(treatments[n], **new)
        self.panel.update(("treatments", n), treatments=tuple(treatments))
