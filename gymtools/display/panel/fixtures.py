"""What hangs and stands in the gym beside its seats, as controls: balconies, running tracks, the
divider and fixtures.
"""

from .controls import Words, heading
from .section import Section

FINE = dict(step=0.1, unit="m")
BALCONY = (
    ("height", dict(label="Height of its floor", low=2, high=12, **FINE)),
    ("depth", dict(label="Depth", low=0.8, high=15, **FINE)),
)
BESIDE_A_WALL = (
    ("offset", dict(label="Along its wall", low=-30, high=30, **FINE)),
    ("bottom", dict(label="Lower side at", low=0, high=15, **FINE)),
)
ANYWHERE = (
    ("x", dict(label="East of center", low=-30, high=30, **FINE)),
    ("y", dict(label="North of center", low=-25, high=25, **FINE)),
    ("bottom", dict(label="Lower side at", low=0, high=15, **FINE)),
)
PLACE = {
    0: ("x", dict(label="East of center", low=-25, high=25, **FINE)),
    1: ("y", dict(label="North of center", low=-20, high=20, **FINE)),
}


class FixturesSection(Section):
    """Heights and places of what hangs and stands; the divider drawn or not."""

    key, title = "fixtures", "What hangs and stands"

    def _controls(self, state, answer):
        start, use, rows = state.start, ("uses", state.use), []
        for word, things in (("balconies", start.balconies), ("tracks", start.tracks)):
            for thing in things:
                rows.append(heading(thing.name))
                rows += self._sliders((word, thing.name), BALCONY)
        if start.divider is not None:
            rows.append(heading("Divider"))
            rows.append(self.panel.tick((*use, "divided"), "drawn in this use"))
            rows += self._sliders(("divider",), [PLACE[start.divider.axis]])
        for fixture in start.fixtures:
            rows.append(heading(fixture.name))
            if fixture.movable:
                there = "there in this use"
                rows.append(self.panel.listed((*use, "set_up"), fixture.name, there))
            sliders = ANYWHERE if fixture.side is None else BESIDE_A_WALL
            rows += self._sliders(("fixtures", fixture.name), sliders)
        nothing = "There is no balcony, track, divider or fixture in this scenario."
        return rows or [Words(key="none", value=nothing)]

    def _sliders(self, path, sliders):
        return [self.panel.slider((*path, name), words) for name, words in sliders]
