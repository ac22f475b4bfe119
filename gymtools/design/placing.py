"""Where a loudspeaker hangs and what it aims at: helpers of the arrangements.

All of it is common practice of the trade, no source, unless a line says otherwise.
"""

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..physics.geometry import rotation
from ..venue.balcony import Balcony
from ..venue.enclosures import TOUCH, beyond_room
from ..venue.loudspeakers import Group
from ..venue.seating import EAR_OVER_SEAT, EAR_SEATED, EAR_STANDING
from ..venue.uses import on_court, standing_bank

# a bank is aimed at this part of its depth, from the front: the last third levels near and far rows
AIM_ROW = 2 / 3
STANDING_EARS = 1.5  # [m]
SEATED_EARS = 1.2  # [m]
OPPOSITE = {"north": "south", "south": "north", "east": "west", "west": "east"}


class Placed(NamedTuple):
    """A group of an arrangement, and what it is there for."""

    group: Group
    serves: list  # names of the areas
    target: tuple | None = None  # what its middle aims at [m]; None where its aim is fixed
    after: str | None = None  # group that is heard first, where this one is its second line
    framed: bool = False  # hangs from a frame or bracket of its own, not from joist to joist


class Misfit(ValueError):
    """The arrangement asks for something this gym has not got."""


def hang(scenario, place, target, **group):
    """A group at a place, hung as high as it may and aimed at a target.

    Parameters
    ----------
    scenario : Scenario
        The gym
    place : array
        Middle of the group on the plan (2,) [m]
    target : array
        What its middle aims at (3,) [m]
    group : dict
        Name, tag, loudspeaker and whatever else makes a ``Group``

    Returns
    -------
    group : Group
        Aimed to the whole degree that an installer can set

    Raises
    ------
    ValueError
        The group cannot be, e.g. no free height
    """
    loudspeaker_type = scenario.loudspeaker_types[group["loudspeaker"]]
    half = group.get("spacing", 0.0) * (group.get("number", 1) - 1) / 2
    # where the roof is lowest over the group
    outer = abs(place[1]) + half * abs(math.sin(math.radians(group.get("along_deg", 0.0))))
    height = highest(scenario, outer, loudspeaker_type)
    pan, downtilt = aim_angles((*place, height), target)
    hung = Group(
        x=place[0],
        y=place[1],
        height=highest(scenario, outer, loudspeaker_type, downtilt),
        pan_deg=pan,
        downtilt_deg=downtilt,
        **group,
    )
    return _under_roof(scenario, hung, loudspeaker_type)


def _under_roof(scenario, group, loudspeaker_type):
    """A group as high as it hangs, or lower where an enclosure would reach into a sloping roof."""
    own = group.loudspeakers(loudspeaker_type)
    into = [far for _, part, far in beyond_room(own, scenario.hall) if part == "roof"]
    return replace(group, height=group.height - max(into) - TOUCH) if into else group


def highest(scenario, y, loudspeaker_type, downtilt_deg=0.0):
    """Height of a loudspeaker hung as high as joists and roof allow.

    Parameters
    ----------
    scenario : Scenario
        The gym
    y : float
        Where it hangs across the gym [m]
    loudspeaker_type : LoudspeakerType
        What hangs
    downtilt_deg : float
        Downtilt [deg]

    Returns
    -------
    height : float
        Of the middle of its front, by which it hangs; tilted down, its back rises over that [m]
    """
    tilt = math.radians(downtilt_deg)
    above = math.cos(tilt) * loudspeaker_type.height / 2
    above += max(math.sin(tilt), 0.0) * loudspeaker_type.depth
    return min(scenario.hall.clear_height, float(scenario.hall.roof_height(y))) - above


def aim_angles(start, end):
    """Pan and downtilt from one point to another.

    Parameters
    ----------
    start, end : array
        Two points (3,) [m]

    Returns
    -------
    pan, downtilt : float
        To the whole degree that an installer can set [deg]
    """
    dx, dy, dz = np.asarray(end, float) - np.asarray(start, float)
    pan = round(math.degrees(math.atan2(dy, dx)))
    return float(pan), float(round(math.degrees(math.atan2(-dz, math.hypot(dx, dy)))))


def place(scenario, at, target, serves, *, after=None, framed=False, **group):
    """A group at a place, with what it is there for.

    Parameters
    ----------
    scenario : Scenario
        The gym
    at : array
        Middle of the group on the plan (2,) [m]
    target : array
        What its middle aims at (3,) [m]
    serves : list of str
        Names of the areas
    after : str, optional
        Group that is heard first
    framed : bool
        Whether it hangs from a frame or bracket of its own
    group : dict
        For ``hang``

    Returns
    -------
    placed : Placed
        Hung and aimed

    Raises
    ------
    ValueError
        As ``hang``
    """
    target = tuple(float(v) for v in target)
    return Placed(hang(scenario, at, target, **group), list(serves), target, after, framed)


def bank_point(scenario, bank, along=0.0):
    """Ears in a bank that a loudspeaker aims at.

    Parameters
    ----------
    scenario : Scenario
        The gym
    bank : Bank or Balcony
        One of its banks, or a balcony with rows or with people who stand
    along : float
        From the middle of the bank [m]

    Returns
    -------
    point : ndarray
        (3,) [m]
    """
    return _ears(scenario, bank, along, AIM_ROW)


def front_point(scenario, bank):
    """Ears in the middle of the first row of a bank, where a beam is narrowest.

    Parameters
    ----------
    scenario : Scenario
        The gym
    bank : Bank or Balcony
        As for ``bank_point``

    Returns
    -------
    point : ndarray
        (3,) [m]
    """
    return _ears(scenario, bank, 0.0, 0.0)


def _ears(scenario, bank, along, part):
    """Ears at a part of a bank's depth, from its front (3,) [m]."""
    if isinstance(bank, Balcony):
        deep = bank.rows * bank.row_run if bank.rows else bank.depth
        row = max(part * bank.rows - 0.5, 0.0)
        ear = EAR_SEATED if bank.rows else EAR_STANDING
        height = bank.height + row * bank.row_rise * bool(bank.rows) + ear
        return bank.corner(scenario.hall, along, (1 - part) * deep, height)
    row = max(part * bank.rows_out - 0.5, 0)
    height = bank.first_seat + row * bank.row_rise + EAR_OVER_SEAT
    inward = bank.folded + (1 - part) * bank.rows_out * bank.row_run
    return bank.corner(scenario.hall, along, inward, height)


def listening(scenario):
    """Areas that somebody listens in, in one use or another.

    Parameters
    ----------
    scenario : Scenario
        The gym and its uses

    Returns
    -------
    names : dict
        Keyed by the names of the areas, in the order of the uses
    """
    return {n: None for use in scenario.uses for n, weight in use.listens.items() if weight > 0}


def stands(scenario):
    """Banks, and balconies and tracks, on which somebody listens, as far out as any of these uses
    has them.

    Parameters
    ----------
    scenario : Scenario
        The gym and its uses

    Returns
    -------
    stands : list of Bank or Balcony
        Banks first
    """
    found = []
    for bank in scenario.banks:
        heard = [use for use in scenario.uses if use.listens.get(bank.name, 0) > 0]
        as_used = [standing_bank(bank, use) for use in heard]
        as_used = [b if b.open else replace(bank, open=True) for b in as_used]
        if as_used:
            found.append(max(as_used, key=lambda b: b.rows_out))
    heard = listening(scenario)
    return found + [b for b in scenario.galleries if b.name in heard]


def banks_by_side(scenario):
    """What people sit or stand on along each wall: the largest bank, or a balcony where there is no
    bank.

    Parameters
    ----------
    scenario : Scenario
        The gym

    Returns
    -------
    banks : dict
        Bank or Balcony by side
    """
    found = {}
    for stand in stands(scenario):
        known = found.get(stand.side)
        bank = not isinstance(stand, Balcony)
        if known is None or (bank and known.seats < stand.seats):
            found[stand.side] = stand
    return found


def seats_along(scenario, side):
    """Seats along a side: banks, and balconies over them, on which somebody listens.

    Parameters
    ----------
    scenario : Scenario
        The gym
    side : str
        "north", "south", "east" or "west"

    Returns
    -------
    names : list of str
        Of audience areas
    """
    return [t.name for t in stands(scenario) if t.side == side]


def on_floor(scenario):
    """Areas on the floor of the main court: what serves the court serves them.

    Parameters
    ----------
    scenario : Scenario
        The gym

    Returns
    -------
    names : list of str
        The court, its halves, chairs, and side courts that lie across it
    """
    west, east, south, north = scenario.lines.footprint()
    across = [
        s.name
        for s in scenario.side_courts
        if west < s.court.x < east and south < s.court.y < north
    ]
    halves = [name for name in scenario.area_names if on_court(name)]
    return [*halves, *(f.name for f in scenario.floor_seats), *across]


def court_edge(scenario, side, reach=0.85):
    """Floor just inside the court's edge on a side, at standing ears.

    Parameters
    ----------
    scenario : Scenario
        The gym
    side : str
        "north", "south", "east" or "west"
    reach : float
        Part of the way from the middle to the edge [-]

    Returns
    -------
    point : ndarray
        (3,) [m]
    """
    court = scenario.lines
    west, east, south, north = court.footprint()
    x, y = (east - west) / 2 * reach, (north - south) / 2 * reach
    plan = {"east": (x, 0), "west": (-x, 0), "north": (0, y), "south": (0, -y)}[side]
    return np.array((court.x + plan[0], court.y + plan[1], STANDING_EARS))


def along_side(side):
    """Direction along a bank on a side.

    Parameters
    ----------
    side : str
        "north", "south", "east" or "west"

    Returns
    -------
    angle : float
        Counter-clockwise from +x [deg]
    """
    return 0.0 if side in ("north", "south") else 90.0


def share_in_beams(scenario, groups, points):
    """Share of some ears that lie in a beam of some groups, within its nominal angles.

    Parameters
    ----------
    scenario : Scenario
        Knows the loudspeaker types
    groups : sequence of Group
        As they hang
    points : array
        Ears (point, 3) [m]

    Returns
    -------
    share : float
        0 to 1; nothing stands in the way here [-]
    """
    hit = np.zeros(len(points), bool)
    for group in groups:
        kind = scenario.loudspeaker_types[group.loudspeaker]
        half = np.radians([kind.horizontal_deg, kind.vertical_deg]) / 2
        for c in group.loudspeakers(kind):
            frame = rotation(c.pan_deg, c.downtilt_deg)
            for beam in kind.beams:
                ahead, left, up = np.moveaxis((points - c.position) @ frame.T @ beam.T, -1, 0)
                aside = np.abs([left, up]) <= np.tan(half)[:, None] * ahead
                hit |= (ahead > 0) & aside.all(axis=0)
    return float(hit.mean())


def ears_of(scenario, name):
    """Ears of an area as the first use has it in which somebody listens there.

    Parameters
    ----------
    scenario : Scenario
        The gym and its uses
    name : str
        Of a listening area

    Returns
    -------
    points : ndarray or None
        (point, 3); None where no use has room for it [m]
    """
    for use in scenario.uses:
        area = scenario.configuration(use.name).areas.get(name)
        if area is not None and use.listens.get(name, 0) > 0:
            return area.points
    return None
