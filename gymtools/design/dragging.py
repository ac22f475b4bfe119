"""What dragging a loudspeaker changes: its row's place in the plan, its height in a section, where
its axis lands.

Mirror twins move along. What cannot be built is not taken: the row stops at the nearest place that
can be, and the scenario's own refusal says why.
"""

from dataclasses import dataclass

import numpy as np

from ..physics import geometry
from ..physics.checks import within
from ..venue.enclosures import TOUCH, corners
from ..venue.loudspeakers import Group
from ..venue.paths import changed
from ..venue.quantity import limits
from ..venue.units import FOOT
from ..venue.validation import EDGE, UNDER, Blocked
from .adjustments import mirrored

KINDS = ("position", "aim", "height")
# what positions and heights snap to, but for a position across joists that are known [m]
GRID = {"m": 0.1, "ft": 0.25 * FOOT}
AIM_STEP = {"m": 0.25, "ft": FOOT}  # of an arrow key [m]
ANGLE = 0.05  # of pan and downtilt: moves an aim point 25 m away by 2 cm at most [deg]
NEAREST_AIM = 0.3  # an aim point nearer to its loudspeaker has no direction [m]
FAR = 1000.0  # no point that is dragged to lies farther away [m]
HALVINGS = 6  # of the way to what cannot be built
OVER_ROOF = 0.02  # a fall begins so far under the roof [m]
# why a handle stops; where it stands then is said beside, so that no second number is
OUTSIDE = "the aim point stays in the gym."
TOO_NEAR = "the aim point lies in the loudspeaker."
HIGHEST = "highest under joists and roof."
LOWEST = "lowest that a loudspeaker hangs."
WALLS = (("west", "east"), ("south", "north"))  # toward smaller and larger values of x, and of y


@dataclass(frozen=True, kw_only=True)
class Handle:
    """What a hand takes hold of: a row's place, its height, or where one of it aims."""

    kind: str  # one of ``KINDS``
    group: str
    member: int = 0  # which of the row aims

    @property
    def key(self):
        """The handle as text.

        Returns
        -------
        key : str
            For ``Handle.of``
        """
        return f"{self.kind} {self.member} {self.group}"

    @classmethod
    def of(cls, key):
        """The handle that a text names.

        Parameters
        ----------
        key : str
            Of ``Handle.key``

        Returns
        -------
        handle : Handle
            Of that kind

        Raises
        ------
        ValueError
            The text names none
        """
        kind, _, rest = str(key).partition(" ")
        member, _, group = rest.partition(" ")
        if kind not in KINDS or not member.isdigit() or not group:
            raise ValueError(f"'{key}' is no handle. Known: {', '.join(KINDS)} of a row.")
        return cls(kind=kind, group=group, member=int(member))


def handles(scenario):
    """Everything that can be dragged.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    handles : list of Handle
        Position and height of every row; the aim of the middle one where it has one
    """
    found = []
    for group in scenario.groups:
        found += [Handle(kind=kind, group=group.name) for kind in ("position", "height")]
        if has_aim(scenario, group.name):
            member = (group.number - 1) // 2
            found.append(Handle(kind="aim", group=group.name, member=member))
    return found


def has_aim(scenario, group):
    """Whether turning a row makes a difference that an aim point can show.

    Parameters
    ----------
    scenario : Scenario
        The design
    group : str
        Name of a row

    Returns
    -------
    aims : bool
        False for a type with several beams
    """
    return scenario.loudspeaker_types[_group(scenario, group).loudspeaker].lobes == 1


def step(handle, units):
    """How far an arrow key moves a handle.

    Parameters
    ----------
    handle : Handle
        What is moved
    units : str
        "m" or "ft"

    Returns
    -------
    step : float
        One step [m]
    """
    return (AIM_STEP if handle.kind == "aim" else GRID)[units]


def steps(scenario, handle, units):
    """How far arrow keys move a handle along the gym and across it; from joist to joist where a
    row is moved across them.

    Parameters
    ----------
    scenario : Scenario
        The design
    handle : Handle
        What is moved
    units : str
        "m" or "ft"

    Returns
    -------
    steps : list of float
        Along x, along y or up [m]
    """
    found = [step(handle, units)] * 2
    if handle.kind == "position" and len(scenario.hall.joists):
        found[scenario.hall.across_joists] = scenario.hall.joist_spacing
    return found


def value_range(scenario, handle):
    """What a handle's value is, as one number, and between which ends it lies.

    Parameters
    ----------
    scenario : Scenario
        The gym
    handle : Handle
        What is moved

    Returns
    -------
    key : str
        The group's value: x of a position, the height, or the downtilt of an aim
    low, high : float
        Ends that walls, joists and the type of value set [m or deg]
    """
    if handle.kind == "position":
        half = scenario.hall.length / 2
        return "x", -half, half
    if handle.kind == "height":
        return "height", limits(Group, "height")[0], scenario.hall.clear_height
    return "downtilt_deg", *limits(Group, "downtilt_deg")[:2]


def landings(scenario, use, loudspeakers):
    """Where the axes of loudspeakers meet the first surface.

    Parameters
    ----------
    scenario : Scenario
        The gym
    use : str
        Name of the use: banks may be closed, stages set up
    loudspeakers : sequence of Loudspeaker
        With position, pan and downtilt

    Returns
    -------
    points : ndarray
        (loudspeaker, 3) [m]
    """
    starts = np.array([c.position for c in loudspeakers])
    fronts = np.array([geometry.rotation(c.pan_deg, c.downtilt_deg)[0] for c in loudspeakers])
    polygons = scenario.configuration(use).room.polygons
    _, way = geometry.first_hit(starts, fronts[:, None], polygons)
    return starts + np.minimum(way, FAR) * fronts


def place_of(scenario, handle, use):
    """Where a handle stands.

    Parameters
    ----------
    scenario : Scenario
        The design
    handle : Handle
        What is taken hold of
    use : str
        Name of the use

    Returns
    -------
    point : ndarray
        Middle of the row, or where the axis lands (3,) [m]
    """
    group = _group(scenario, handle.group)
    if handle.kind == "aim":
        return landings(scenario, use, [_member(scenario, handle)])[0]
    return np.array([group.x, group.y, group.height])


def surface_under(scenario, use, x, y):
    """The first thing under the roof at a place of the plan: floor, seats, a stage.

    Parameters
    ----------
    scenario : Scenario
        The gym
    use : str
        Name of the use
    x, y : float
        Place in the plan; one outside the gym is taken at its wall [m]

    Returns
    -------
    point : ndarray
        (3,) [m]
    """
    hall, stage = scenario.hall, scenario.stage
    if stage is not None and max(abs(x) - hall.length / 2, abs(y) - hall.width / 2) > 0:
        deep = stage.depth
        along = hall.length / 2 + deep if stage.side in ("east", "west") else hall.length / 2
        across = hall.width / 2 + deep if stage.side in ("north", "south") else hall.width / 2
        return np.array(
            [np.clip(x, -along, along), np.clip(y, -across, across), stage.floor_height]
        )
    x = float(np.clip(x, EDGE - hall.length / 2, hall.length / 2 - EDGE))
    y = float(np.clip(y, EDGE - hall.width / 2, hall.width / 2 - EDGE))
    top = np.array([x, y, float(hall.roof_height(y)) - OVER_ROOF])
    down = np.array([[[0.0, 0.0, -1.0]]])
    met, way = geometry.first_hit([top], down, scenario.configuration(use).room.polygons)
    return top - np.array([0.0, 0.0, float(way[0, 0]) if met[0, 0] >= 0 else top[2]])


def twins(scenario, group):
    """Rows that a row becomes when the plan is mirrored, and how.

    Parameters
    ----------
    scenario : Scenario
        The design
    group : str
        Name of a row

    Returns
    -------
    twins : dict
        By name, itself first: (1 or -1 along x, 1 or -1 along y); -1 where it is mirrored
    """
    found = {group: (1, 1)}
    for axis in (0, 1):
        for name, signs in list(found.items()):
            for other in sorted(mirrored(scenario, name, [axis]) - set(found)):
                found[other] = tuple(-s if k == axis else s for k, s in enumerate(signs))
    return found


def dragged(scenario, handle, to, use=None):
    """What changes when a handle is dragged somewhere.

    Parameters
    ----------
    scenario : Scenario
        The design as it was when the hand took hold
    handle : Handle
        What it holds
    to : sequence of float
        Where the hand is: (x, y) for a position; (x, y) in the plan or (x, y, z) in space for an
        aim point; (z,) for a height [m]
    use : str, optional
        Name of the use, whose surfaces an aim point lies on; the first when left out

    Returns
    -------
    changes : dict
        Values by path for ``venue.paths.changed``: of the row and its mirror twins [SI]
    reason : str
        Why the handle stops before where the hand is, to stand beside its value; empty where it
        follows

    Raises
    ------
    ValueError
        The scenario has no such row, or the place is none
    """
    to = within("to", np.asarray(to, float), -FAR, FAR, "m")
    group = _group(scenario, handle.group)
    use = scenario.uses[0].name if use is None else use
    wanted, reason = _WANTED[handle.kind](scenario, handle, to, use)
    now = {key: getattr(group, key) for key in wanted}
    moved = twins(scenario, handle.group)
    changes = _together(scenario, moved, wanted)
    if not _refusal(scenario, changes):
        return changes, reason
    inside = _inside(scenario, group, wanted, handle.kind)
    changes = _together(scenario, moved, inside)
    refusal = _refusal(scenario, changes)
    if not refusal:
        return changes, _edge_words(wanted, inside)
    return _nearest(scenario, moved, (now, inside), handle.kind, refusal)


def _group(scenario, name):
    found = next((g for g in scenario.groups if g.name == name), None)
    if found is None:
        known = ", ".join(g.name for g in scenario.groups)
        raise ValueError(f"row '{name}' is unknown. Known: {known}.")
    return found


def _member(scenario, handle):
    row = scenario.in_group(handle.group)
    return row[min(handle.member, len(row) - 1)]


def _snapped(value, now, units):
    """On the grid, unless it has hardly moved."""
    grid = GRID[units]
    if abs(value - now) < grid / 2:
        return now
    return float(f"{round(value / grid) * grid:.9g}")


def _wanted_position(scenario, handle, to, _use):
    group, wanted, reason = _group(scenario, handle.group), {}, ""
    for axis, (key, value) in enumerate(zip("xy", to, strict=True)):
        low, high, _ = limits(Group, key)  # walls stand within them: what stops it is a wall
        reason = reason or _beyond_joists(scenario, group, axis, value)
        value = _hung(scenario, group, axis, value)
        wanted[key] = _held(value, low, high, GRID[scenario.units])
    return wanted, reason


def _beyond_joists(scenario, group, axis, value):
    """Why a row does not follow a hand past the last joist; empty where it need not."""
    stops = _under_joists(scenario, group, axis)
    if not len(stops):
        return ""
    far = scenario.hall.joist_spacing / 2 + 1e-9
    if stops[0] - far <= value <= stops[-1] + far:
        return ""
    return f"the last joist before the {WALLS[axis][int(value > stops[-1])]} wall."


def _hung(scenario, group, axis, value):
    """A row's x or y, unless it has hardly moved: under the nearest joist across the joists, else
    on the grid.
    """
    now, units = getattr(group, "xy"[axis]), scenario.units
    stops = _under_joists(scenario, group, axis)
    if not len(stops) or abs(value - now) < GRID[units] / 2:
        return _snapped(value, now, units)
    return _nearest_stop(stops, value)


def _nearest_stop(stops, value):
    return float(f"{stops[np.abs(stops - value).argmin()]:.9g}")


def _under_joists(scenario, group, axis):
    """Values of a row's x or y with which its middle loudspeaker hangs under a joist; none where
    the axis runs along the joists or they are not known (stop,) [m].
    """
    hall = scenario.hall
    if hall.across_joists != axis:
        return np.zeros(0)
    row = scenario.in_group(group.name)
    off = row[(len(row) - 1) // 2].position[axis] - getattr(group, "xy"[axis])
    return hall.joists - off


def _wanted_height(scenario, handle, to, _use):
    group, grid = _group(scenario, handle.group), GRID[scenario.units]
    low, high, _ = limits(Group, "height")  # joists are not higher: what stops it are those
    wanted = _snapped(float(to[-1]), group.height, scenario.units)
    return {"height": _held(wanted, low, high, grid)}, LOWEST if wanted < low else ""


def _wanted_aim(scenario, handle, to, use):
    """Pan and downtilt of the row with which the member's axis passes through a point."""
    group, c = _group(scenario, handle.group), _member(scenario, handle)
    point = to if len(to) == 3 else surface_under(scenario, use, *to)
    reason = "" if np.hypot(*(point[:2] - to[:2])) < EDGE + 1e-6 else OUTSIDE
    way = point - c.position
    level = float(np.hypot(way[0], way[1]))
    if np.hypot(level, way[2]) < NEAREST_AIM:
        return {"pan_deg": group.pan_deg, "downtilt_deg": group.downtilt_deg}, TOO_NEAR
    pan = float(np.degrees(np.arctan2(way[1], way[0]))) if level > 1e-6 else c.pan_deg
    tilt = float(np.degrees(np.arctan2(-way[2], level)))
    low, high, _ = limits(Group, "downtilt_deg")
    if not low <= tilt <= high:
        reason = f"loudspeakers tilt between {low:g}° and {high:g}° down."
    pan -= c.pan_deg - group.pan_deg  # of the middle of the row
    return {
        "pan_deg": _rounded(_turned(pan)),
        "downtilt_deg": _rounded(float(np.clip(tilt, low, high))),
    }, reason


_WANTED = {"position": _wanted_position, "aim": _wanted_aim, "height": _wanted_height}


def _rounded(degrees):
    return float(f"{round(degrees / ANGLE) * ANGLE:.9g}") + 0.0


def _turned(pan_deg):
    """A pan between -180 and 180 degrees."""
    return (pan_deg + 180.0) % 360.0 - 180.0


def _together(scenario, moved, values):
    """Changes that give a row and its twins values: theirs are the mirror images of its."""
    changes = {}
    for name, (along, across) in moved.items():
        own = dict(values)
        if "x" in own:
            own["x"], own["y"] = along * own["x"] + 0.0, across * own["y"] + 0.0
        if "pan_deg" in own:
            pan = own["pan_deg"] * along * across + (180.0 if along < 0 else 0.0)
            own["pan_deg"] = _turned(pan)
        changes |= {("groups", name, key): value for key, value in own.items()}
    return changes


def _refusal(scenario, changes):
    """Why changes cannot be, without the numbers of a place that is not taken; empty where they
    can.
    """
    try:
        changed(scenario, changes)
    except Blocked as error:
        return error.limit
    except ValueError as error:
        return str(error)
    return ""


def _edge_words(wanted, inside):
    """At which walls, or under what, a row stops."""
    if "height" in wanted:
        return HIGHEST
    ways = zip("xy", WALLS, strict=True)
    walls = [sides[wanted[key] > inside[key]] for key, sides in ways if wanted[key] != inside[key]]
    return f"{' and '.join(f'the {side} wall' for side in walls)}."


def _inside(scenario, group, wanted, kind):
    """What is wanted, held within walls, joists and roof: there the row slides along them."""
    hall, grid = scenario.hall, GRID[scenario.units]
    row = scenario.in_group(group.name)
    if kind == "height":
        clear = min(hall.clear_height, *(float(hall.roof_height(c.y)) - UNDER for c in row))
        return {"height": _held(wanted["height"], 0.0, clear, grid)}
    if kind != "position":
        return wanted
    held, boxes = {}, corners(row)
    for axis, (key, half) in enumerate((("x", hall.length / 2), ("y", hall.width / 2))):
        # the middle of a front keeps off the wall, and no corner of an enclosure is in it
        middles = np.array([c.position[axis] for c in row]) - getattr(group, key)
        ends = boxes[..., axis] - getattr(group, key)
        low = max(EDGE - half - middles.min(), TOUCH - half - ends.min())
        high = min(half - EDGE - middles.max(), half - TOUCH - ends.max())
        stops = _under_joists(scenario, group, axis)
        stops = stops[(stops >= low) & (stops <= high)]
        if len(stops):
            held[key] = _nearest_stop(stops, wanted[key])
        else:
            held[key] = _held(wanted[key], low, high, grid)
    return held


def _held(value, low, high, grid):
    """A value within limits, on the grid where it had to give way."""
    if value < low:
        return float(f"{np.ceil(low / grid - 1e-6) * grid:.9g}")
    if value > high:
        return float(f"{np.floor(high / grid + 1e-6) * grid:.9g}")
    return value


def _nearest(scenario, moved, ends, kind, reason):
    """The changes farthest on the way from the first end to the second, which cannot be for a
    reason, that can be built; and what is in the way of those.
    """
    now, wanted = ends
    best, low, high = _together(scenario, moved, now), 0.0, 1.0
    for _ in range(HALVINGS):
        share = (low + high) / 2
        values = {key: now[key] + share * _way(key, now[key], wanted[key]) for key in now}
        if kind == "aim":
            values = {k: _rounded(_turned(v) if k == "pan_deg" else v) for k, v in values.items()}
        elif kind == "position":
            group = _group(scenario, next(iter(moved)))
            values = {k: _hung(scenario, group, n, values[k]) for n, k in enumerate("xy")}
        else:
            values = {k: _snapped(v, now[k], scenario.units) for k, v in values.items()}
        changes = _together(scenario, moved, values)
        if refusal := _refusal(scenario, changes):
            reason, high = refusal, share
        else:
            best, low = changes, share
    return best, reason


def _way(key, now, wanted):
    return _turned(wanted - now) if key == "pan_deg" else wanted - now
