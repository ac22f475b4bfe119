"""What is said of wiring and amplifiers: why a group is wired as it is, what does not suffice and
what would help, which amplifiers are far stronger than asked for.
"""

from ..physics import bands
from ..venue.units import length_text
from .amplifier_sets import cheapest
from .cabling import allowed_length, larger_conductor, next_tap
from .prices import money

DAMPING = 10.0  # least damping factor worth asking for    common practice, no source
FAR_TOO_LARGE = 10.0  # power given over what peaks ask for, 10 dB    judgment, no source
FEW_WAYS = 20  # that are followed to see what another wiring would cost
LITTLE_DB = 3.0  # headroom of a tap from which a larger one is named    judgment, no source
LOW_GAIN_DB = -6.0  # gain in every use from which it is said to have drifted    judgment, no source


def wiring_name(line_volts):
    """What schedules call a wiring.

    Parameters
    ----------
    line_volts : float or None
        Of the line; None: low impedance [V]

    Returns
    -------
    name : str
        "low impedance" or "70.7 V line"
    """
    return f"{line_volts:g} V line" if line_volts else "low impedance"


def reason(amplification, number):
    """Why a group is wired as it is.

    Parameters
    ----------
    amplification : Amplification
        What was chosen for all groups
    number : int
        Of the group [-]

    Returns
    -------
    words : str
        One sentence, with what the other wirings would cost for all groups together
    """
    group, option = amplification.groups[number], amplification.chosen.options[number]
    name = f"'{group.group}': {wiring_name(option.line_volts)}"
    if group.stated:
        return f"{name}, as the file says."
    others = {v: why for v, why in group.lacking.items() if v != option.line_volts}
    others |= {
        volts: _dearer(amplification, number, volts)
        for volts in group.wirings()
        if volts != option.line_volts
    }
    lead = "comes nearest" if option.line_volts in group.lacking else "is taken"
    return f"{name} {lead}: {'; '.join(_alike(others))}." if others else f"{name} {lead}."


def _alike(others):
    """Other wirings with what is said of them; those of which the same is said together."""
    said = {}
    for volts, words in others.items():
        name = f"a {wiring_name(volts)}" if volts else wiring_name(volts)
        said.setdefault(words, []).append(name)
    return [f"{' or '.join(names)} {words}" for words, names in said.items()]


def _dearer(amplification, number, volts):
    """What another wiring of one group would cost more, all groups chosen anew around it."""
    prices, chosen = amplification.prices, amplification.chosen
    groups = list(amplification.groups)
    groups[number] = groups[number].wired(volts)
    existing = amplification.scenario.equipment.existing_amplifiers
    other = cheapest(groups, prices, existing, most_ways=FEW_WAYS)
    more = other.cost - chosen.cost
    if abs(more) < 0.5:
        return "would cost the same for all groups together"
    if more > 0:
        return f"would cost {money(more, prices.currency)} more for all groups together"
    return (
        f"would save only {money(-more, prices.currency)} for all groups together, with another"
        " amplifier model, line voltage or rack"
    )


def cable_warnings(scenario, channels):
    """Warnings about cables that lose too much or damp too little.

    Parameters
    ----------
    scenario : Scenario
        The design
    channels : tuple of Channel
        All of it

    Returns
    -------
    warnings : list of str
        Which cable, by how much, and what would help
    """
    found, allowed = [], scenario.equipment.cable_loss_db
    for c in channels:
        if c.loss_db > allowed + 0.005:
            found.append(
                f"cable {c.cable} to {', '.join(c.tags)}: {_conductor_words(c)} loses"
                f" {c.loss_db:.2f} dB over {length_text(c.length, scenario.units)},"
                f" {c.loss_db - allowed:.2f} dB more than the {allowed:g} dB allowed. What would"
                f" help: {_help(scenario, c)}."
            )
        if c.line_volts is None and c.damping < DAMPING:
            found.append(
                f"cable {c.cable}: the damping factor at the loudspeaker is {c.damping:.0f};"
                f" {DAMPING:.0f} or more is usual."
            )
    return found


def _conductor_words(channel):
    if channel.existing_cable:
        return f"the {channel.conductor} that lies there"
    return f"{channel.conductor}, the largest that connectors take,"


def _help(scenario, channel):
    """What would bring a cable within what it may lose."""
    length = length_text(allowed_length(scenario, channel), scenario.units)
    ways = [f"a rack so near that the cable is {length} long"]
    larger = larger_conductor(scenario, channel)
    if larger:
        ways.append(f"{larger}" + ("" if channel.existing_cable else " with connectors to suit"))
    if len(channel.tags) > 1:
        ways.append("fewer loudspeakers on it")
    if channel.line_volts is None:
        ways.append("a 70.7 V or 100 V line")
    elif channel.line_volts < 100:
        ways.append("a line of higher voltage")
    return f"{', '.join(ways[:-1])} or {ways[-1]}" if len(ways) > 1 else ways[0]


def power_remarks(scenario, channels, groups):
    """Remarks about amplifiers that are far stronger than asked for.

    Parameters
    ----------
    scenario : Scenario
        The design
    channels : tuple of Channel
        All of it
    groups : tuple of GroupOptions
        What else could drive each group

    Returns
    -------
    remarks : list of str
        A sentence for each group, with what the reason may be
    """
    said = []
    for group in groups:
        own = [c for c in channels if c.group == group.group]
        if any(c.gives_w <= FAR_TOO_LARGE * c.need_w for c in own):
            continue
        asked, given = max((c.need_w, c.gives_w) for c in own)
        least = min(max(out.gives_w for out in o.outputs) for o in group.options)
        words = (
            f"'{group.group}': peaks ask for {asked:.0f} W and the amplifier gives {given:.0f} W,"
            " more than ten times as much."
        )
        if least < given - 0.5:
            words += f" One of {least:.0f} W would suffice, at no lower cost."
        low = _low_gain(scenario, group.group)
        if low is not None:
            words += f" Its gain is {low:g} dB or lower in every use: nearer to 0 dB?"
        said.append(words)
    return said


def tap_remarks(scenario, channels, needs):
    """Remarks about taps that leave little headroom although larger ones would cost nothing.

    Parameters
    ----------
    scenario : Scenario
        The design
    channels : tuple of Channel
        All of it
    needs : tuple of Need
        What each loudspeaker takes in each use

    Returns
    -------
    remarks : list of str
        A sentence for each group, with the use that leaves least
    """
    said = []
    for group in scenario.groups:
        own = [c for c in channels if c.group == group.name]
        tags = {tag for c in own for tag in c.tags}
        taken = [n for n in needs if n.tag in tags]
        if not taken or not own[0].line_volts:
            continue
        worst, tap = min(taken, key=lambda n: n.headroom_db), own[0].tap_w
        larger = min(next_tap(scenario, c) for c in own)
        if larger and worst.limited_by == own[0].power_limit and worst.headroom_db < LITTLE_DB:
            more = float(bands.to_level(larger / tap))
            said.append(
                f"'{group.name}': taps of {tap:g} W leave {worst.headroom_db:.1f} dB in"
                f" {worst.use}; the same amplifier and cable carry taps of {larger:g} W, about"
                f" {more:.0f} dB more."
            )
    return said


def _low_gain(scenario, group):
    """Highest gain of a group in its uses, where that is low in all of them [dB]."""
    settings = [u.group_setting(group) for u in scenario.uses]
    gains = [s.gain_db for s in settings if s.on]
    return max(gains) if gains and max(gains) <= LOW_GAIN_DB else None
