"""Free places for the groups of an arrangement: clear of the room, of what stands and hangs in it
and of each other, under joists where these are known, and on one side of a divider.
"""

import math
from dataclasses import replace
from itertools import product

import numpy as np

from ..physics import air
from ..venue.enclosures import holding
from ..venue.validation import hanging_faults, through_divider
from .placing import Misfit, Placed, aim_angles, highest

CLUSTER = 1.5  # loudspeakers this near to the middle of the gym hang in a cluster [m]
STEP = 0.2  # by which a group is moved where something is in its way [m]
STEPS = 16  # how often that is tried
DROPS = (0.0, 0.3, 0.6, 1.0, 1.5)  # by which it is hung lower [m]
STRETCHES = (1.0, 0.9, 1.1, 0.75, 1.25)  # by which a row is pulled together or apart [-]
STRETCHED = 5.0  # what that counts against a step, for a row of any length [m]
LOWEST = 2.6  # of a group that is hung lower [m]
LEAD = 0.010  # by which a first line is heard before the second one [s]


def placed_freely(scenario, placed):
    """Groups with each one moved until nothing is in its way.

    Parameters
    ----------
    scenario : Scenario
        The gym; its own groups do not count
    placed : sequence of Placed
        As the arrangement would have them

    Returns
    -------
    placed : list of Placed
        The same, moved where needed, aimed anew at what they serve

    Raises
    ------
    Misfit
        A group finds no free place
    """
    done, others = [], []
    for one in placed:
        one = _free(scenario, one, others)
        done.append(one)
        others += _hung(scenario, one.group)
    return done


def in_the_way(scenario, loudspeakers, others=()):
    """What is in the way of some loudspeakers.

    Parameters
    ----------
    scenario : Scenario
        The gym; its own groups do not count
    loudspeakers : sequence of Loudspeaker
        Those that are asked about
    others : sequence of Loudspeaker
        Those that hang already

    Returns
    -------
    reason : str
        One line; empty where nothing is
    """
    found = hanging_faults(scenario, loudspeakers, others) or through_divider(
        scenario, loudspeakers
    )
    if found:
        return found[0].limit or str(found[0])
    for use in scenario.uses:
        for microphone in (m for m in scenario.microphones if m.name in use.microphones):
            points, _ = microphone.positions(scenario.configuration(use.name))
            if holding(loudspeakers, points):
                return f"microphone '{microphone.name}' is in its way."
    return ""


def _hung(scenario, group):
    return list(group.loudspeakers(scenario.loudspeaker_types[group.loudspeaker]))


def _free(scenario, one, others):
    """A group at the nearest place that is free."""
    first, divided = "", is_divided(scenario)
    side = side_of(scenario, one.group) if divided else None
    for moved in _tries(scenario, one):
        if divided and side_of(scenario, moved.group) != side:  # joists lead across the divider
            continue
        reason = in_the_way(scenario, _hung(scenario, moved.group), others)
        if not reason:
            return moved
        first = first or reason
    raise Misfit(f"'{one.group.name}' finds no free place: {first or 'the divider leaves none.'}")


def _tries(scenario, one):
    """A group where it is, then ever farther from there: toward the middle of the gym, lower, and
    a row closer together or wider.
    """
    stretches = STRETCHES if one.group.number > 1 and not one.framed else STRETCHES[:1]
    moves = product(range(STEPS), DROPS, stretches)
    way = _way_out(one.group)

    def far(move):
        out, drop, stretch = move
        return out * STEP + drop + abs(stretch - 1.0) * STRETCHED

    seen = set()
    for out, drop, stretch in sorted(moves, key=far):
        g = one.group
        height = g.height - drop
        if drop and height < LOWEST:
            continue
        moved = replace(
            g, x=g.x + out * STEP * way[0], y=g.y + out * STEP * way[1], spacing=g.spacing * stretch
        )
        moved = moved if one.framed else under_joists(scenario.hall, moved)
        key = (round(moved.x, 3), round(moved.y, 3), round(moved.spacing, 3), drop)
        if key in seen:
            continue
        seen.add(key)
        yield _aimed_anew(scenario, one, moved, drop)


def _aimed_anew(scenario, one, group, drop):
    """A group that was moved: as high as it may hang there, less a drop, and aimed at its target
    if it has one.
    """
    same = (group.x, group.y, group.spacing) == (one.group.x, one.group.y, one.group.spacing)
    if same and not drop:
        return one
    pan, tilt = group.pan_deg, group.downtilt_deg
    if one.target is not None:
        pan, tilt = aim_angles((group.x, group.y, group.height - drop), one.target)
    across = group.spacing * (group.number - 1) / 2 * math.sin(math.radians(group.along_deg))
    outer = abs(group.y) + abs(across)
    top = highest(scenario, outer, scenario.loudspeaker_types[group.loudspeaker], tilt)
    height = min(group.height, top) - drop
    return one._replace(group=replace(group, height=height, pan_deg=pan, downtilt_deg=tilt))


def _way_out(group):
    """Direction on the plan that a group is moved in: toward the middle of the gym; a cluster in
    the middle opens outward (2,).
    """
    away = np.array([group.x, group.y])
    if group.number > 1:  # a row keeps its middle along itself
        along = np.radians(group.along_deg)
        along = np.array([math.cos(along), math.sin(along)])
        away = away - (away @ along) * along
    far = np.linalg.norm(away)
    if far > CLUSTER:
        return -away / far
    pan = math.radians(group.pan_deg)
    return np.array([math.cos(pan), math.sin(pan)])


# ---- joists


def under_joists(hall, group):
    """A group whose loudspeakers hang under joists, where these are known: moved to the nearest
    one across them, a row along them as far apart as a whole number of joists.

    Parameters
    ----------
    hall : Hall
        The gym
    group : Group
        Along the gym or across it

    Returns
    -------
    group : Group
        The same where there are no joists, or it hangs beyond the last of them
    """
    axis = hall.across_joists
    if axis is None or not len(hall.joists):
        return group
    key = "xy"[axis]
    along = abs((math.cos, math.sin)[axis](math.radians(group.along_deg)))
    step, middle = hall.joist_spacing, getattr(group, key)
    if group.number == 1 or along < 1e-6:
        return replace(group, **{key: _nearest(hall.joists, middle)})
    found = []
    wanted = group.spacing / step
    for count in {max(1, math.floor(wanted)), max(1, math.ceil(wanted))}:
        reach = (group.number - 1) * count * step / 2
        firsts = hall.joists[hall.joists + 2 * reach < hall.joists[-1] + 1e-6]
        if not len(firsts):
            continue
        at = _nearest(firsts + reach, middle)
        found.append((abs(at - middle) + abs(count - wanted) * step, count * step, at))
    if not found:
        return group
    _, spacing, at = min(found)
    return replace(group, spacing=spacing, **{key: at})


def _nearest(places, wanted):
    """The nearest of some places; of two as near the one toward the middle of the gym [m]."""
    return float(min(places, key=lambda p: (round(abs(p - wanted), 6), abs(p))))


# ---- a gym that is divided


def on_both_sides(scenario, placed):
    """Rows that hang across the divider as two rows, one on each side.

    Parameters
    ----------
    scenario : Scenario
        The gym
    placed : sequence of Placed
        As the arrangement has them

    Returns
    -------
    placed : list of Placed
        The same where no use draws a divider

    Raises
    ------
    Misfit
        What cannot be parted hangs where the divider is drawn
    """
    if not is_divided(scenario):
        return list(placed)
    found = []
    for one in placed:
        if one.framed and through_divider(scenario, _hung(scenario, one.group)):
            raise Misfit("the divider is drawn through the place where this would hang.")
        whole = side_of(scenario, one.group) is not None and not _touches(scenario, one)
        found += [one] if whole else _parted(scenario, one)
    return found


def is_divided(scenario):
    """Whether a use draws the divider.

    Parameters
    ----------
    scenario : Scenario
        The gym

    Returns
    -------
    divided : bool
        True where one does
    """
    return scenario.divider is not None and any(use.divided for use in scenario.uses)


def side_of(scenario, group):
    """Side of the divider that all of a group hangs on.

    Parameters
    ----------
    scenario : Scenario
        A gym with a divider
    group : Group
        One of an arrangement

    Returns
    -------
    side : int or None
        0 or 1, as ``Divider.side_of``; None where it hangs on both [-]
    """
    sides = {int(v) for v in _sides(scenario, group)}
    return sides.pop() if len(sides) == 1 else None


def _sides(scenario, group):
    return scenario.divider.side_of([c.position for c in _hung(scenario, group)])


def _touches(scenario, one):
    return bool(through_divider(scenario, _hung(scenario, one.group)))


def _parted(scenario, one):
    """The two halves of a row; one more loudspeaker where it was an odd number."""
    g, divider = one.group, scenario.divider
    along = (math.cos(math.radians(g.along_deg)), math.sin(math.radians(g.along_deg)))
    if g.number == 1 or abs(along[divider.axis]) < 0.5:
        return [one]  # it is moved to a free place on one side
    half = -(-g.number // 2)
    span, found = g.spacing * g.number, []
    middle = np.array([g.x, g.y])
    for sign, side in zip((-1, 1), divider.sides, strict=True):
        # each half of the row's length, as far as the divider leaves it
        ends = np.sort([sign * span / 2, (divider.at - middle[divider.axis]) / along[divider.axis]])
        at = middle + ends.mean() * np.array(along)
        spacing = (ends[1] - ends[0]) / half if half > 1 else 0.0
        part = replace(
            g,
            name=f"{g.name} {side}",
            tag=f"{g.tag.rstrip('.')}{side[0].upper()}",
            number=half,
            x=float(at[0]),
            y=float(at[1]),
            spacing=float(spacing),
        )
        target = None
        if one.target is not None:
            target = tuple(np.array(one.target) + [*(at - middle), 0.0])
        found.append(Placed(part, one.serves, target, one.after, one.framed))
    return found


# ---- a second line


def delay_after(scenario, one, first):
    """Delay of a second line, so that the first one is heard before it where the second serves.

    Parameters
    ----------
    scenario : Scenario
        The gym
    one : Placed
        The second line
    first : Group
        The first one

    Returns
    -------
    delay : float
        To the whole millisecond [ms]
    """
    speed = float(air.speed_of_sound(scenario.air.temperature_c))
    there = np.array(one.target or (one.group.x, one.group.y, 0.0))

    def way(group):
        at = np.array([c.position for c in _hung(scenario, group)])
        return float(np.linalg.norm(at - there, axis=1).min())

    ahead = (way(first) - way(one.group)) / speed + LEAD
    return float(math.ceil(1000 * max(ahead, 0.0)))
