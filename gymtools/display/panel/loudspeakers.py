"""The loudspeakers as controls: arrangement, type, place, aim, and what each row plays."""

from html import escape

from ...design.arrangements import OFFERED, arrange
from ...design.delays import aligned
from .controls import Choice, Tick, Words
from .section import Section

DOWNTILT = dict(label="Downtilt", low=-10, high=90, step=1, unit="deg")
GROUP = (
    ("pan_deg", dict(label="Pan (90 is north)", low=-180, high=180, step=1, unit="deg")),
    ("height", dict(label="Height", low=2.5, high=15, step=0.1, unit="m")),
    ("x", dict(label="East of center", low=-30, high=30, step=0.1, unit="m")),
    ("y", dict(label="North of center", low=-25, high=25, step=0.1, unit="m")),
    ("number", dict(label="Number", low=1, high=8, step=1, unit="count")),
    ("spacing", dict(label="Spacing", low=0.5, high=20, step=0.1, unit="m")),
    ("splay_deg", dict(label="Splay (fan out)", low=-120, high=120, step=1, unit="deg")),
)
SETTING = (
    ("gain_db", dict(label="Gain", low=-20, high=10, step=0.5, unit="dB")),
    ("delay_ms", dict(label="Delay", low=0, high=200, step=1, unit="ms")),
)
AS_THEY_ARE = (("the present loudspeakers", ""),)
NOT_FROM_HERE = (
    "The controls are set to something that cannot be built. Go back or change it, then choose"
    " again."
)
NO_LEAD = (("set delays so that ... leads", ""),)


class LoudspeakersSection(Section):
    """The picked row of loudspeakers, and arrangements of all of them."""

    key, title = "loudspeakers", "The loudspeakers"

    def _begin(self):
        self._words = ""  # on the last arrangement that was asked for

    def _controls(self, state, answer):
        path = ("groups", state.group)
        names = tuple(g.name for g in state.start.groups)
        types = tuple((t.name, t.name) for t in state.start.loudspeaker_types.values())
        return [
            *self._arrangements(),
            Words(key="picked", value=f"<b>{escape(state.group)}</b>"),
            self.panel.choice((*path, "loudspeaker"), "Loudspeaker", types),
            *(self.panel.slider((*path, name), words) for name, words in GROUP),
            *self._in_this_use(state),
            self._lead(names),
        ]

    def _arrangements(self):
        """The list of arrangements and what was said of the last one; none while it is closed."""
        if "arrangement" in self.panel.closed:
            return []
        titles = ((a.title, key) for key, a in OFFERED.items())
        options = (*AS_THEY_ARE, *titles)
        listed = Choice(
            key="arrangement", value="", label="Start from", options=options, act=self._arrange
        )
        return [listed, Words(key="arrangement words", value=self._words, width="350px")]

    def _in_this_use(self, state):
        path = ("uses", state.use, "groups", state.group)
        on = Tick(
            key=(*path, "on"),
            value=state.value((*path, "on")),
            label="plays in this use",
            act=lambda new: self.panel.set((*path, "on"), new),
        )
        levels = (self.panel.slider((*path, name), words) for name, words in SETTING)
        return [on, *levels]

    def _lead(self, names):
        options = (*NO_LEAD, ("the talker", "talker"), *((name, name) for name in names))
        return Choice(key="lead", value="", label="Delays", options=options, act=self._align)

    def _arrange(self, key):
        """Start anew from an arrangement; what was set by hand in the gym and the seats stays."""
        if not key:
            return
        chosen = OFFERED[key]
        self.panel.live.flush()
        if not self.panel.answer.possible:
            self._words = NOT_FROM_HERE
            self.panel.live()
            return
        try:
            arranged = arrange(self.panel.state.scenario, key)
        except ValueError as error:
            misfit = f"<b>{escape(chosen.title)} does not fit this gym:</b>"
            self._words = f"{misfit} {escape(str(error))}"
            self.panel.live()
            return
        self._words = (
            f"<b>{escape(chosen.title)}.</b> {escape(chosen.fits)} <i>It gives up:</i>"
            f" {escape(chosen.gives_up)}"
        )
        self.panel.update(start=arranged)

    def _align(self, lead):
        if not lead:
            return
        state = self.panel.state
        try:
            self.panel.update(start=aligned(state.scenario, state.use, lead=lead))
        except ValueError as error:
            self.panel.refuse(error)
