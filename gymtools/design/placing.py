"""Where a loudspeaker hangs and what it aims at: helpers of the arrangements.

All of it is common practice of the trade, no source, unless a line says otherwise.
"""

import math
from dataclasses import replace

import numpy as np

from ..venue.enclosures import TOUCH, beyond_room
from ..venue.loudspeakers import Group
from ..venue.seating import EAR_OVER_SEAT
from ..venue.validation import colliding_loudspeakers

# a bank is aimed at this part of its depth, from the front: the last third levels near and far rows
AIM_ROW = 2 / 3
STANDING_EARS = 1.5  # [m]
SEATED_EARS = 1.2  # [m]
CLUSTER = 1.5  # loudspeakers this near to the middle of the gym hang in a cluster [m]
STEP = 0.2  # by which loudspeakers that would meet are moved apart [m]
STEPS = 16  # how often that is tried
OPPOSITE = {"north": "south", "south": "north", "east": "west", "west": "east"}


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


def bank_point(scenario, bank, along=0.0):
    """Ears in a bank that a loudspeaker aims at.

    Parameters
    ----------
    scenario : Scenario
        The gym
    bank : Bank
        One of its banks
    along : float
        From the middle of the bank [m]

    Returns
    -------
    point : ndarray
        (3,) [m]
    """
    row = AIM_ROW * bank.rows_out - 0.5
    height = bank.first_seat + max(row, 0) * bank.row_rise + EAR_OVER_SEAT
    inward = bank.folded + (1 - AIM_ROW) * bank.rows_out * bank.row_run
    return bank.corner(scenario.hall, along, inward, height)


def banks_by_side(scenario):
    """Banks that are open in one use or another; the largest of each side.

    Parameters
    ----------
    scenario : Scenario
        The gym

    Returns
    -------
    banks : dict
        Bank by side
    """
    found = {}
    for bank in scenario.banks:
        opened = replace(bank, open=True)
        if bank.side not in found or opened.seats > found[bank.side].seats:
            found[bank.side] = opened
    return found


def seats_along(scenario, side):
    """Seats along a side: banks, and balconies over them.

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
    balconies = [b for b in scenario.galleries if b.name in scenario.area_names]
    return [t.name for t in (*scenario.banks, *balconies) if t.side == side]


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


def disentangled(scenario, placed):
    """Groups with each one whose loudspeakers meet those before it, or a wall, moved toward the
    middle of the gym until they do not.

    Parameters
    ----------
    scenario : Scenario
        The gym
    placed : list of tuple
        (Group, names of the areas it serves)

    Returns
    -------
    placed : list of tuple
        The same, moved where needed

    Raises
    ------
    Misfit
        A group finds no free place
    """
    done, others = [], []
    for group, serves in placed:
        loudspeaker_type = scenario.loudspeaker_types[group.loudspeaker]
        step = STEP * _way_out(group)
        for k in range(STEPS):
            moved = replace(group, x=group.x + k * step[0], y=group.y + k * step[1])
            own = moved.loudspeakers(loudspeaker_type)
            if not (beyond_room(own, scenario.hall) or colliding_loudspeakers([*others, *own])):
                break
        else:
            raise Misfit(
                f"'{group.name}' finds no free place between the walls and the other loudspeakers."
            )
        done.append((moved, serves))
        others += own
    return done


def _way_out(group):
    """Direction on the plan that a group is moved in: toward the middle of the gym; a cluster in
    the middle opens outward (2,).
    """
    away = np.array([group.x, group.y])
    far = np.linalg.norm(away)
    if far > CLUSTER:
        return -away / far
    pan = math.radians(group.pan_deg)
    return np.array([math.cos(pan), math.sin(pan)])
