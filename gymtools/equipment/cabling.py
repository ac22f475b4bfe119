"""Loudspeaker cable: its way along walls and roof, its lengths and its conductor."""

from dataclasses import dataclass

import numpy as np

from ..physics import electrical
from ..venue.wiring import AWG, MM2, TAPS, conductor
from .outputs import LINE_PART, LOAD_SLACK
from .rack import rack_place

SLACK = 2.0  # cable beyond the route, at both ends together [m]
LINK = 1.0  # cable from one loudspeaker to the next beyond their distance [m]
ALLOWED_SLACK_DB = 0.005  # by which a loss may exceed what is allowed, for rounding


@dataclass(frozen=True, kw_only=True)
class Cable:
    """Cable of one output."""

    order: tuple  # loudspeakers, the nearest to the rack first
    lengths: tuple  # from the rack to the first, from there to the next ... [m]
    conductor: str  # "12 AWG" or "4 mm²"
    loss_db: float  # at the last loudspeaker
    loop_ohm: float  # of its whole length, there and back
    fits: bool  # loses no more than allowed
    existing: bool = False  # lies there already


def cable(scenario, output, nearest):
    """Cable from the rack to the loudspeakers of an output.

    Parameters
    ----------
    scenario : Scenario
        The design; its equipment says how much a cable may lose and what connectors take
    output : Output
        Loudspeakers and their loads
    nearest : Loudspeaker
        Of the output's group, the one that a given run leads to

    Returns
    -------
    cable : Cable
        The one that lies there already; else the thinnest usual conductor that loses no more than
        allowed, or the largest that connectors take where none does
    """
    e, order = scenario.equipment, _near_first(scenario, output.loudspeakers)
    wiring = e.wired(output.group)
    lengths = _lengths(scenario, wiring.run, order, nearest)
    allowed = e.cable_loss_db + ALLOWED_SLACK_DB
    for size, unit in _offered(scenario, wiring):
        loss = _loss_db(lengths, output.each_ohm, size, unit)
        if loss <= allowed:
            break
    return Cable(
        order=order,
        lengths=tuple(lengths),
        conductor=conductor_name(size, unit),
        loss_db=loss,
        loop_ohm=float(electrical.loop_resistance(sum(lengths), **_wire(size, unit))),
        fits=loss <= allowed,
        existing=wiring.existing_cable is not None,
    )


def conductor_name(size, unit):
    """What schedules and price books call a conductor.

    Parameters
    ----------
    size : float
        Gauge or nominal cross-section [AWG or mm2]
    unit : str
        "awg" or "mm2"

    Returns
    -------
    name : str
        "12 AWG" or "2.5 mm²"
    """
    return f"{size:g} mm²" if unit == "mm2" else f"{size:g} AWG"


def counted_in(conductor, units):
    """What the conductors of a design are counted in.

    Parameters
    ----------
    conductor : str
        As its equipment says; empty where it says nothing
    units : str
        Of the school, "m" or "ft"

    Returns
    -------
    unit : str
        "awg" or "mm2", as its equipment says or as its units suggest
    """
    return conductor or ("awg" if units == "ft" else "mm2")


def larger_conductor(scenario, channel):
    """The thinnest usual conductor beyond what connectors take that would lose no more than
    allowed.

    Parameters
    ----------
    scenario : Scenario
        The design
    channel : Channel
        Whose cable loses too much

    Returns
    -------
    name : str
        Empty where no usual conductor would do
    """
    unit = counted_in(scenario.equipment.conductor, scenario.units)
    each = channel.load_ohm * len(channel.tags)
    for size in MM2 if unit == "mm2" else AWG:
        loss = _loss_db(channel.lengths, each, size, unit)
        if loss <= scenario.equipment.cable_loss_db + ALLOWED_SLACK_DB:
            return conductor_name(size, unit)
    return ""


def allowed_length(scenario, channel):
    """How long the cable of a channel may be to lose no more than allowed, its pieces shortened
    alike.

    Parameters
    ----------
    scenario : Scenario
        The design
    channel : Channel
        Whose cable loses too much

    Returns
    -------
    length : float
        Of all pieces, with the conductor that it has [m]
    """
    size, unit = conductor(channel.conductor)
    each = channel.load_ohm * len(channel.tags)
    low, high, lengths = 0.0, 1.0, np.array(channel.lengths)
    for _ in range(30):
        middle = (low + high) / 2
        fits = _loss_db(lengths * middle, each, size, unit) <= scenario.equipment.cable_loss_db
        low, high = (middle, high) if fits else (low, middle)
    return float(low * lengths.sum())


def next_tap(scenario, channel):
    """The next larger tap that amplifier and cable of a line carry as they are.

    Parameters
    ----------
    scenario : Scenario
        The design
    channel : Channel
        Of a line

    Returns
    -------
    tap_w : float
        0 where there is none, or where it is more than a loudspeaker takes for long [W]
    """
    count = len(channel.tags)
    tap = next((t for t in TAPS if t > channel.tap_w), TAPS[-1])
    each = float(electrical.line_load([tap], volts=channel.line_volts)[1])
    fits = (
        channel.tap_w < tap <= channel.rated_w / count
        and tap * count <= LINE_PART * channel.type.line_w
        and each / count >= channel.type.min_ohm - LOAD_SLACK
        and _loss_db(channel.lengths, each, *conductor(channel.conductor))
        <= scenario.equipment.cable_loss_db + ALLOWED_SLACK_DB
    )
    return tap if fits else 0.0


def _offered(scenario, wiring):
    """Conductors to choose from, the thinnest first: (size, unit)."""
    if wiring.existing_cable is not None:
        return [conductor(wiring.existing_cable)]
    e = scenario.equipment
    unit = counted_in(e.conductor, scenario.units)
    if unit == "mm2":
        return [(size, unit) for size in MM2 if size <= e.largest_mm2 + 1e-9]
    return [(size, unit) for size in AWG if size >= e.largest_awg]


def _wire(size, unit):
    """A conductor as ``physics.electrical`` takes it."""
    return dict(nominal_mm2=size) if unit == "mm2" else dict(awg=size)


def _loss_db(lengths, each_ohm, size, unit):
    """Level lost at the last of equal loads on a cable [dB]."""
    loads = [each_ohm] * len(lengths)
    return float(electrical.chain_loss_db(lengths, loads, **_wire(size, unit))[-1])


def cables(scenario, outputs):
    """Cables of all outputs of a group.

    Parameters
    ----------
    scenario : Scenario
        The design
    outputs : sequence of Output
        Of one group; a given run leads to the first loudspeaker of the output that begins nearest
        to the rack

    Returns
    -------
    cables : tuple of Cable
        One for each output
    """
    firsts = [_near_first(scenario, output.loudspeakers)[0] for output in outputs]
    nearest = min(firsts, key=lambda c: _way(scenario, rack_place(scenario), c.position))
    return tuple(cable(scenario, output, nearest) for output in outputs)


def _way(scenario, a, b):
    """Cable between two places along walls and roof [m]."""
    up = scenario.hall.clear_height
    return abs(up - a[2]) + abs(b[0] - a[0]) + abs(b[1] - a[1]) + abs(up - b[2])


def _near_first(scenario, loudspeakers):
    """A row of loudspeakers, its end that is nearer to the rack first."""
    return sorted(
        (loudspeakers, loudspeakers[::-1]),
        key=lambda row: _way(scenario, rack_place(scenario), row[0].position),
    )[0]


def _lengths(scenario, run, order, nearest):
    """Lengths from the rack to the first loudspeaker and on from one to the next [m]; a given run
    leads to the nearest of the group.
    """
    if run is None:
        first = _way(scenario, rack_place(scenario), order[0].position) + SLACK
    else:
        # past the nearest and on along the row
        first = run + float(np.abs(order[0].position - nearest.position).sum())
    links = [
        float(np.abs(b.position - a.position).sum()) + LINK
        for a, b in zip(order, order[1:], strict=False)
    ]
    return [float(first), *links]
