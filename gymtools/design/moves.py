"""Single moves that a designer may try in a use, each a scenario of its own."""

from dataclasses import dataclass

from ..venue.microphones import MICROPHONE_TYPES
from ..venue.paths import changed
from ..venue.scenario import Scenario
from ..venue.units import to_file
from .aiming import adjustments
from .delays import aligned
from .options import treated

TURNS = (3.0, 6.0, 10.0)  # [deg]
LIFTS = (0.5, 1.0)  # [m]
TRIMS = (2.0, 4.0)  # [dB]
# treatment, round in the units of the school [m2]
MORE = {"m": (50.0, 150.0), "ft": (500 * 0.3048**2, 1500 * 0.3048**2)}
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


def moves(scenario, use):
    """Things that a designer may try in a use.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    use : str
        Name of a use [-]

    Returns
    -------
    moves : iterator of Move
        Mirrored loudspeakers move together; what cannot be is left out
    """
    for kind, words, make in _ideas(scenario, scenario.use(use)):
        try:
            made = make()
        except ValueError:
            continue
        yield Move(kind=kind, words=words, scenario=made)


def _ideas(scenario, use):
    names = [g.name for g in scenario.groups]
    playing = [name for name in names if use.group_setting(name).on]
    for key, kind, steps in (
        ("downtilt_deg", "tilt", TURNS),
        ("pan_deg", "pan", TURNS),
        ("height", "height", LIFTS),
        ("gain_db", "gain", TRIMS),
    ):
        for adjustment in adjustments(scenario, playing, (key,)):
            if use.name not in adjustment.uses:
                continue
            for step in (s * sign for s in steps for sign in (1, -1)):
                value = adjustment.now + step
                if adjustment.low - 1e-9 <= value <= adjustment.high + 1e-9:
                    yield (
                        kind,
                        _words(scenario, kind, adjustment, step, use),
                        lambda k=adjustment, v=value: changed(scenario, k.set(v)),
                    )
    for name in names:
        on, others = use.group_setting(name).on, [p for p in playing if p != name]
        if not on or others:
            words = f"{'do not play' if on else 'play'} the {name} in {use.name}"
            yield (
                "off",
                words,
                lambda name=name, on=on: changed(
                    scenario, {("uses", use.name, "groups", name, "on"): not on}
                ),
            )
    for name in playing if len(playing) > 1 else ():
        yield (
            "delay",
            f"set delays in {use.name} so that the {name} leads",
            lambda name=name: aligned(scenario, use.name, lead=name),
        )
    for adjustment in adjustments(scenario, playing, ("downtilt_deg",), symmetric=True):
        orbit = [p[1] for p, _, _ in adjustment.links]
        first = scenario.in_group(orbit[0])[0].type
        for kind, other in scenario.loudspeaker_types.items():
            if kind != first.name and _family(other) == _family(first):
                who = _listed(orbit)
                yield (
                    "type",
                    f"take {kind} for the {who}",
                    lambda orbit=orbit, kind=kind: changed(
                        scenario, {("groups", name, "loudspeaker"): kind for name in orbit}
                    ),
                )
    opened = [m for m in scenario.microphones if m.name in use.microphones]
    for m in opened:
        for kind in INSTEAD[m.type]:
            if MICROPHONE_TYPES[kind].wireless or m.walks is None:
                words = f"give '{m.name}' the type {kind}"
                yield (
                    "microphone type",
                    words,
                    lambda name=m.name, kind=kind: changed(
                        scenario,
                        {
                            ("microphones", name, "type"): kind,
                            ("microphones", name, "distance"): None,
                        },
                    ),
                )
        near = max((m.distance or m.kind.distance) / 2, m.kind.nearest)
        if near < 0.95 * (m.distance or m.kind.distance):
            words = (
                f"speak into '{m.name}' from {scenario.say(near)}, not"
                f" {scenario.say(m.distance or m.kind.distance)}"
            )
            yield (
                "talker distance",
                words,
                lambda name=m.name, near=near: changed(
                    scenario, {("microphones", name, "distance"): near}
                ),
            )
        if len(opened) > 1:
            rest = tuple(name for name in use.microphones if name != m.name)
            yield (
                "fewer microphones",
                f"keep '{m.name}' closed in {use.name}",
                lambda rest=rest: changed(scenario, {("uses", use.name, "microphones"): rest}),
            )
    for area in MORE[scenario.units]:
        yield "treatment", _panels(scenario, area), lambda area=area: treated(scenario, area)
    for by in (3.0, -3.0):
        words = f"play {abs(by):g} dB {'louder' if by > 0 else 'softer'} in {use.name}"
        yield (
            "level",
            words,
            lambda by=by: changed(
                scenario, {("uses", use.name, "target_dba"): use.target_dba + by}
            ),
        )


def _family(kind):
    """Types that hang alike and can take each other's place."""
    return kind.lobes, kind.name.startswith("pendant")


def _words(scenario, kind, adjustment, step, use):
    """What a step of a knob does, as its loudspeakers see it: mirrored ones turn to
    opposite sides.
    """
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
        "gain": f"turn the {who} {'up' if up else 'down'} by {far:g} dB in {use.name}",
    }[kind]


def _listed(names):
    return (
        ""
        if not names
        else names[0]
        if len(names) == 1
        else f"{', '.join(names[:-1])} and {names[-1]}"
    )


def _panels(scenario, area):
    return (
        f"{to_file(area, 'm2', scenario.units):.0f} {scenario.units}² more of wall panels, spread"
        " over roof and walls"
    )
