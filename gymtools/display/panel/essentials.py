"""The sliders that open every conversation: how large the gym is, how deep the seats are, which row
of loudspeakers is picked and how it looks down.
"""

from .controls import Choice
from .loudspeakers import DOWNTILT
from .room import SIZE
from .seats import ROWS
from .section import Section


class EssentialsSection(Section):
    """Always in sight beside the picture."""

    def _controls(self, state, answer):
        banks = [b.name for b in state.start.banks]
        shown = [state.area] if state.area in banks else banks[:1]
        return [
            *([] if "size" in self.panel.closed else self._size(shown)),
            Choice(
                key="group",
                value=state.group,
                label="Picked row",
                options=tuple(g.name for g in state.start.groups),
                act=lambda name: self.panel.update(group=name),
            ),
            self.panel.slider(("groups", state.group, "downtilt_deg"), DOWNTILT),
        ]

    def _size(self, banks):
        """Sliders of the gym's size and of the depth of its seats."""
        return [
            *(self.panel.slider(("hall", name), words) for name, words in SIZE),
            *(
                self.panel.slider(
                    ("banks", name, "rows"), ROWS | dict(label=f"Seating depth, rows of {name}")
                )
                for name in banks
            ),
        ]
