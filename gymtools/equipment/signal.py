"""What goes in: microphones counted once for the whole installation, the mixer that suits who runs
it, plates, presets.
"""

from dataclasses import dataclass

from ..venue.wiring import NOBODY

# of the rack: processor, mixer, assistive transmitter, wireless receivers, muting contact [rack
# units]
EXTRA_UNITS = 5
FEW = 4  # inputs that simple knobs can serve    common practice, no source


@dataclass(frozen=True, kw_only=True)
class Input:
    """One microphone of the installation."""

    number: int
    name: str
    type: str
    wireless: bool
    place: str  # where its plate is, or who walks with it
    uses: tuple


@dataclass(frozen=True, kw_only=True)
class Mixer:
    """The kind of mixer, and why."""

    kind: str  # "rotary", "faders", "tablet" or "automatic"
    reason: str


@dataclass(frozen=True, kw_only=True)
class Preset:
    """What one use sets: a name on a button."""

    number: int
    use: str
    groups: dict  # by group: None when off, else (gain [dB], delay [ms])
    microphones: tuple
    target_dba: float
    closed: tuple
    pulled_out: dict  # number of rows by bank
    set_up: tuple


def inputs(scenario):
    """Microphones that any use opens, each once.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    inputs : tuple of Input
        In the order of the scenario
    """
    opened = [
        m for m in scenario.microphones if any(m.name in u.microphones for u in scenario.uses)
    ]
    return tuple(
        Input(
            number=n,
            name=m.name,
            type=m.type,
            wireless=m.kind.wireless,
            place=f"walks through the {m.walks}" if m.walks else f"at the {m.on}",
            uses=tuple(u.name for u in scenario.uses if m.name in u.microphones),
        )
        for n, m in enumerate(opened, 1)
    )


def mixer(scenario):
    """The kind of mixer that suits who runs the system.

    Parameters
    ----------
    scenario : Scenario
        Its ``equipment.operator`` says who: "nobody", "teacher" or "trained"

    Returns
    -------
    mixer : Mixer
        Common practice, no source
    """
    count = len(inputs(scenario))
    most = max(scenario.open_at_once(u) for u in scenario.uses)
    who, reason = scenario.equipment.operator, _automatic_reason(scenario)
    if reason:
        return Mixer(kind="automatic", reason=reason)
    if who == "trained":
        return Mixer(
            kind="faders",
            reason=(
                f"a trained person runs it: a fader for each of {count} inputs, with the presets"
                " below them"
            ),
        )
    if count <= FEW and most <= 2:
        return Mixer(
            kind="rotary",
            reason=(
                f"teachers run it with {count} inputs, {most} at once: one knob each and a button"
                " for each use is all there is to learn"
            ),
        )
    return Mixer(
        kind="tablet",
        reason=(
            f"teachers run it with {count} inputs: a page for each use shows only what that use"
            " needs; keep wall buttons in case the tablet's battery runs out"
        ),
    )


def _automatic_reason(scenario):
    """Why microphones are mixed automatically; empty where they are not."""
    if scenario.equipment.operator == NOBODY:
        return (
            "nobody runs it: microphones open and close by themselves, so that one open microphone"
            " is the rule"
        )
    automatic = [u.name for u in scenario.uses if scenario.mixes_automatically(u)]
    if not automatic:
        return ""
    return f"{', '.join(automatic)}: the mixer opens one microphone at a time by itself"


def plates(scenario):
    """Wall plates and floor boxes.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    plates : list of str
        Where each is: one for every wired microphone, one for a player with sound from outside
    """
    return [f"'{i.name}', {i.place}" for i in inputs(scenario) if not i.wireless] + [
        "line input for a player, at the rack"
    ]


def presets(scenario):
    """One preset for each use.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    presets : tuple of Preset
        In the order of the uses
    """
    made = []
    for n, use in enumerate(scenario.uses, 1):
        group_settings = {g.name: use.group_setting(g.name) for g in scenario.groups}
        groups = {
            name: (d.gain_db, d.delay_ms) if d.on else None for name, d in group_settings.items()
        }
        made.append(
            Preset(
                number=n,
                use=use.name,
                groups=groups,
                microphones=use.microphones,
                target_dba=use.target_dba,
                closed=use.closed,
                pulled_out=use.pulled_out,
                set_up=use.set_up,
            )
        )
    return tuple(made)


def processor(scenario, amplification):
    """What the processor must do.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification
        Its channels

    Returns
    -------
    needs : dict
        Inputs, outputs, presets, longest delay [ms], high-pass frequencies [Hz]
    """
    delays = [d.delay_ms for u in scenario.uses for d in u.groups.values()]
    return dict(
        inputs=len(inputs(scenario)) + 1,
        outputs=len(amplification.channels),
        presets=len(scenario.uses),
        longest_delay_ms=max(delays, default=0.0),
        high_pass_hz=sorted({c.high_pass_hz for c in amplification.channels}),
    )
