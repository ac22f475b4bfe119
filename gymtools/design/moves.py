"""Single moves that a designer may try in a use, each a scenario of its own."""

from collections.abc import Callable
from dataclasses import dataclass

from ..venue.microphones import MICROPHONE_TYPES
from ..venue.paths import changed
from ..venue.scenario import Scenario
from ..venue.units import area_text
from .adjustments import adjustments
from .delays import aligned
from .treatment import treated

TURNS = (3.0, 6.0, 10.0)  # [deg]
LIFTS = (0.5, 1.0)  # [m]
TRIMS = (2.0, 4.0)  # [dB]
LEVELS = (3.0, -3.0)  # [dB]
# what is adjusted, the kind of move, and its steps
ADJUSTED = (
    ("downtilt_deg", "tilt", TURNS),
    ("pan_deg", "pan", TURNS),
    ("height", "height", LIFTS),
    ("gain_db", "gain", TRIMS),
)
# treatment, round in the units of the school [m2]
MORE = {"m": (50.0, 150.0), "ft": (500 * 0.3048**2, 1500 * 0.3048**2)}
NEARER = 0.5  # of the talker's distance, down to what the microphone allows
WORTH_NEARER = 0.95  # no move where it would be nearly the same
# kinds of move that touch loudspeakers only
LOUDSPEAKER = ("tilt", "pan", "height", "gain", "off", "delay", "type")
INSTEAD = {  # what may do a microphone's work    common practice, no source
    "lectern": ("headset", "lavalier", "hand-held wireless", "table stand"),
    "hand-held wireless": ("headset", "lavalier"),
    "headset": ("hand-held wireless", "lavalier"),
    "lavalier": ("headset", "hand-held wireless"),
    "announcer's headset": ("table stand", "headset"),
    "table stand": ("announcer's headset", "headset", "lectern"),
    "stage overhead": ("headset", "lavalier"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Move:
    """One thing to do."""

    kind: str
    words: str
    scenario: Scenario  # with it done


@dataclass(frozen=True, eq=False)
class _Idea:
    """A move that may turn out not to be possible."""

    kind: str
    words: str
    make: Callable  # gives the scenario; refuses what cannot be


def moves(scenario, use):
    """Things that a designer may try in a use.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str
        Name of a use

    Returns
    -------
    moves : iterator of Move
        Mirrored loudspeakers move together; what cannot be built is left out

    Raises
    ------
    ValueError
        The use is unknown
    """
    found = scenario.use(use)
    for ideas in (_adjusted, _switched, _delayed, _other_types, _microphones, _treated, _leveled):
        for idea in ideas(scenario, found):
            try:
                made = idea.make()
            except ValueError:
                continue
            yield Move(kind=idea.kind, words=idea.words, scenario=made)


def _changing(scenario, changes):
    """A scenario to be made by changes."""
    return lambda: changed(scenario, changes)


def _playing(scenario, use):
    return [g.name for g in scenario.groups if use.group_setting(g.name).on]


def _adjusted(scenario, use):
    """Groups turned, tilted, lifted and balanced by a few steps either way."""
    for key, kind, steps in ADJUSTED:
        for adjustment in adjustments(scenario, _playing(scenario, use), (key,)):
            if use.name not in adjustment.uses:
                continue
            for step in (s * sign for s in steps for sign in (1, -1)):
                value = adjustment.now + step
                if adjustment.low - 1e-9 <= value <= adjustment.high + 1e-9:
                    words = _adjusted_words(scenario, kind, adjustment, step)
                    if kind == "gain":
                        words += f" in {use.name}"
                    yield _Idea(kind, words, _changing(scenario, adjustment.set(value)))


def _switched(scenario, use):
    """A group off that plays, or on that does not; one at least goes on playing."""
    playing = _playing(scenario, use)
    for name in (g.name for g in scenario.groups):
        on = name in playing
        if not on or len(playing) > 1:
            words = f"{'do not play' if on else 'play'} the {name} in {use.name}"
            changes = {("uses", use.name, "groups", name, "on"): not on}
            yield _Idea("off", words, _changing(scenario, changes))


def _delayed(scenario, use):
    """Delays that let one of several groups lead."""
    playing = _playing(scenario, use)
    for name in playing if len(playing) > 1 else ():
        words = f"set delays in {use.name} so that the {name} leads"
        yield _Idea("delay", words, lambda name=name: aligned(scenario, use.name, lead=name))


def _other_types(scenario, use):
    """Another loudspeaker type of the same family for groups that go together."""
    for adjustment in adjustments(scenario, _playing(scenario, use), ("downtilt_deg",)):
        together = [path[1] for path, _, _ in adjustment.links]
        first = scenario.in_group(together[0])[0].type
        for name, other in scenario.loudspeaker_types.items():
            if name != first.name and _family(other) == _family(first):
                changes = {("groups", group, "loudspeaker"): name for group in together}
                words = f"take {name} for the {_listed(together)}"
                yield _Idea("type", words, _changing(scenario, changes))


def _family(loudspeaker_type):
    """Types that hang alike and can replace each other."""
    return loudspeaker_type.lobes, loudspeaker_type.name.startswith("pendant")


def _microphones(scenario, use):
    """For open microphones, identical ones together: another type, a nearer talker, one closed; for
    several of them automatic mixing.
    """
    opened = [m for m in scenario.microphones if m.name in use.microphones]
    for alike in _identical(opened):
        yield from _changed_microphones(scenario, alike)
        if len(opened) > 1:
            rest = tuple(name for name in use.microphones if name != alike[0].name)
            who = _quoted(alike) if len(alike) == 1 else f"one of {_quoted(alike)}"
            changes = {("uses", use.name, "microphones"): rest}
            words = f"keep {who} closed in {use.name}"
            yield _Idea("fewer microphones", words, _changing(scenario, changes))
    if scenario.open_at_once(use) > 1:
        words = f"mix the microphones automatically in {use.name}, one open at a time"
        changes = {("uses", use.name, "automatic_mixing"): True}
        yield _Idea("automatic mixing", words, _changing(scenario, changes))


def _changed_microphones(scenario, alike):
    """Identical microphones given another type, or spoken into from nearer."""
    first = alike[0]
    for name in INSTEAD[first.type]:
        if MICROPHONE_TYPES[name].wireless or first.walks is None:
            changes = {("microphones", m.name, "type"): name for m in alike}
            changes |= {("microphones", m.name, "distance"): None for m in alike}
            words = f"give {_quoted(alike)} the type {name}"
            yield _Idea("microphone type", words, _changing(scenario, changes))
    distance = first.distance or first.kind.distance
    near = max(distance * NEARER, first.kind.nearest)
    if near < WORTH_NEARER * distance:
        near_words, now_words = scenario.say(near), scenario.say(distance)
        words = f"speak into {_quoted(alike)} from {near_words}, not {now_words}"
        changes = {("microphones", m.name, "distance"): near for m in alike}
        yield _Idea("talker distance", words, _changing(scenario, changes))


def _identical(microphones):
    """Microphones in groups that differ in their names and sides only: as far from the middle, at
    the same height, of the same type and use.
    """
    groups = {}
    for m in microphones:
        used = m.type, m.on, m.walks, m.height, m.distance, m.effort
        groups.setdefault((*used, abs(m.x), abs(m.y)), []).append(m)
    return list(groups.values())


def _quoted(microphones):
    return _listed([f"'{m.name}'" for m in microphones])


def _treated(scenario, _use):
    """More wall panels."""
    for area in MORE[scenario.units]:
        words = f"add {area_text(area, scenario.units)} of wall panels, spread over roof and walls"
        yield _Idea("treatment", words, lambda area=area: treated(scenario, area))


def _leveled(scenario, use):
    """The whole use louder or softer."""
    for by in LEVELS:
        words = f"play {abs(by):g} dB {'louder' if by > 0 else 'softer'} in {use.name}"
        changes = {("uses", use.name, "target_dba"): use.target_dba + by}
        yield _Idea("level", words, _changing(scenario, changes))


def _adjusted_words(scenario, kind, adjustment, step):
    """What a step does, as its loudspeakers see it: mirrored ones turn to opposite sides."""
    far = abs(step)
    goes = [
        (path[1] if path[0] == "groups" else path[3], step * sign > 0)
        for path, _, sign in adjustment.links
    ]
    up, down = (_listed([name for name, rises in goes if rises is way]) for way in (True, False))
    if kind == "pan":
        sides = [
            f"turn the {who} {far:g}° to its {side}"
            for who, side in ((up, "left"), (down, "right"))
            if who
        ]
        return " and ".join(s.replace(" its ", " their ") if " and " in s else s for s in sides)
    who = up or down
    return {
        "tilt": f"tilt the {who} {far:g}° further {'down' if up else 'up'}",
        "height": f"hang the {who} {scenario.say(far)} {'higher' if up else 'lower'}",
        "gain": f"turn the {who} {'up' if up else 'down'} by {far:g} dB",
    }[kind]


def _listed(names):
    """Names in a sentence: "a, b and c"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
