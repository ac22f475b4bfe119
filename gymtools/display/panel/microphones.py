"""The microphones as controls: which are open in the use, where they stand, and the walking map."""

from html import escape

from ...venue.microphones import MICROPHONE_TYPES
from .controls import Choice, Push, Tick, Words
from .loudspeakers import GROUP
from .section import Section
from .state import WALKING_MAP

ON_STAGE = (
    ("x", dict(label="Behind the edge", low=0, high=12, step=0.1, unit="m")),
    ("y", dict(label="Along the edge", low=-12, high=12, step=0.1, unit="m")),
)
ON_FLOOR = tuple((name, words) for name, words in GROUP if name in "xy")
WORST = "worst"
WAYS = (
    ("the worst way", WORST),
    ("north", 90.0),
    ("east", 0.0),
    ("south", -90.0),
    ("west", 180.0),
)
WALKING = "<b>The walking map</b> shows where a wireless microphone may go"


class MicrophonesSection(Section):
    """Microphones of the use, and the walking map."""

    key, title = "microphones", "The microphones"

    def _controls(self, state, answer):
        opened = state.value(("uses", state.use, "microphones"))
        rows = [Words(key="open", value=f"<b>Open in {escape(state.use)}</b>")]
        for m in state.start.microphones:
            rows.append(self._open(m, m.name in opened))
            if m.name in opened:
                rows += self._one(state, m)
        if len(opened) > 1:
            rows.append(self._automatic(state))
        if not state.start.microphones:
            rows.append(Words(key="none", value="There is no microphone in this scenario."))
        return [*rows, Words(key="walking", value=WALKING), *self._walking_map(state)]

    def _automatic(self, state):
        """Whether one of the open microphones is open at a time."""
        path = ("uses", state.use, "automatic_mixing")
        stated = state.value(path)
        if stated is None:
            last = state.design or state.start  # what cannot be is still shown
            stated = last.mixes_automatically(last.use(state.use))
        return Tick(
            key=path,
            value=stated,
            label="mixed automatically: one open at a time",
            act=lambda on: self.panel.set(path, on),
        )

    def _open(self, microphone, is_open):
        path = ("uses", self.panel.state.use, "microphones")

        def act(on):
            others = [name for name in self.panel.state.value(path) if name != microphone.name]
            self.panel.set(path, tuple([*others, microphone.name] if on else others))

        return Tick(
            key=("microphones", microphone.name, "open"),
            value=is_open,
            label=f"{microphone.name} ({microphone.type})",
            indent="20px",
            act=act,
        )

    def _one(self, state, microphone):
        path = ("microphones", microphone.name)
        kind = MICROPHONE_TYPES[state.value((*path, "type"))]
        ends = kind.nearest, kind.farthest
        mouth = dict(label="Mouth distance", low=ends[0], high=ends[1], step=0.005, allowed=ends)
        distance = state.value((*path, "distance")) or kind.distance
        axes = ON_STAGE if microphone.on == "stage" else ON_FLOOR
        axes = axes if microphone.walks is None else ()
        return [
            self._type(path, state),
            self.panel.slider(
                (*path, "distance"), mouth | dict(unit="m", feet_step=0.02), distance
            ),
            *(self.panel.slider((*path, axis), words) for axis, words in axes),
            self._faces(
                (*path, "facing_deg"),
                state.value((*path, "facing_deg")),
                lambda new: self.panel.set((*path, "facing_deg"), new),
            ),
        ]

    def _type(self, path, state):
        """List of types; the distance is dropped where the new type is not used at it."""

        def act(name):
            kind, distance = MICROPHONE_TYPES[name], state.value((*path, "distance"))
            changes = {(*path, "type"): name}
            if distance is not None and not kind.nearest <= distance <= kind.farthest:
                changes[(*path, "distance")] = None
            self.panel.update((*path, "type"), changes=changes)

        return Choice(
            key=(*path, "type"),
            value=state.value((*path, "type")),
            label="Type",
            options=tuple(MICROPHONE_TYPES),
            act=act,
        )

    def _faces(self, key, facing_deg, act):
        now = WORST if facing_deg is None else facing_deg
        ways = WAYS if now in [way for _, way in WAYS] else (*WAYS, (f"{now:g}°", now))
        return Choice(
            key=key,
            value=now,
            label="Talker faces",
            options=ways,
            act=lambda new: act(None if new == WORST else new),
        )

    def _walking_map(self, state):
        wireless = tuple(name for name, kind in MICROPHONE_TYPES.items() if kind.wireless)
        return [
            Choice(
                key="walker",
                value=state.walker,
                label="Microphone",
                options=wireless,
                act=lambda name: self.panel.update(walker=name),
            ),
            self._faces("way", state.facing_deg, lambda new: self.panel.update(facing_deg=new)),
            Push(
                key="show walking map",
                label="Show the walking map",
                width="220px",
                margin="4px 0 4px 146px",
                act=lambda _: self.panel.update(quantity=WALKING_MAP),
            ),
        ]
