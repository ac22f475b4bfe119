"""Loudspeaker cable: its way along walls and roof, its lengths and its conductor."""

from dataclasses import dataclass

import numpy as np

from ..physics import electrical
from .rack import rack_place

AWG = (18, 16, 14, 12, 10, 8)
MM2 = tuple(electrical.MOST_OHM_KM)
SLACK = 2.0  # cable beyond the route, at both ends together [m]
LINK = 1.0  # cable from one loudspeaker to the next beyond their distance [m]


@dataclass(frozen=True, kw_only=True)
class Cable:
    """Cable of one output."""

    order: tuple  # loudspeakers, the nearest to the rack first
    lengths: tuple  # from the rack to the first, from there to the next ... [m]
    conductor: str  # "12 AWG" or "4 mm2"
    loss_db: float  # at the last loudspeaker
    loop_ohm: float  # of its whole length, there and back


def cable(scenario, output, nearest):
    """Cable from the rack to the loudspeakers of an output.

    Parameters
    ----------
    scenario : Scenario
        The design; its equipment says how much a cable may lose
    output : Output
        Loudspeakers and their loads
    nearest : Loudspeaker
        Of the output's group, the one that a given run leads to

    Returns
    -------
    cable : Cable
        The thinnest usual conductor that loses no more than allowed; the thickest where none does
    """
    e, order = scenario.equipment, _near_first(scenario, output.loudspeakers)
    lengths = _lengths(scenario, e.wired(output.group).run, order, nearest)
    metric = (e.conductor or ("awg" if scenario.units == "ft" else "mm2")) == "mm2"
    for size in MM2 if metric else AWG:
        wire = dict(nominal_mm2=size) if metric else dict(awg=size)
        loads = [output.each_ohm] * len(order)
        loss = electrical.chain_loss_db(lengths, loads, **wire)[-1]
        if loss <= e.cable_loss_db:
            break
    return Cable(
        order=order,
        lengths=tuple(lengths),
        conductor=f"{size:g} mm²" if metric else f"{size} AWG",
        loss_db=float(loss),
        loop_ohm=float(electrical.loop_resistance(sum(lengths), **wire)),
    )


def nearest_of_groups(scenario, outputs):
    """Of each group, the loudspeaker that a given run leads to.

    Parameters
    ----------
    scenario : Scenario
        The design
    outputs : list of Output
        Of all groups

    Returns
    -------
    nearest : dict
        By group: the first loudspeaker of the output that begins nearest to the rack
    """
    found = {}
    for output in outputs:
        first = _near_first(scenario, output.loudspeakers)[0]
        found.setdefault(output.group, []).append(first)
    return {
        name: min(firsts, key=lambda c: _way(scenario, rack_place(scenario), c.position))
        for name, firsts in found.items()
    }


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
