"""The layouts of the arrangements: each function places and aims its groups in any gym and says
which areas each group serves.

All of it is common practice of the trade, no source, unless a line says otherwise.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from ..venue.locations import along_wall
from ..venue.loudspeakers import Group
from .placing import (
    OPPOSITE,
    SEATED_EARS,
    STANDING_EARS,
    Misfit,
    along_side,
    bank_point,
    banks_by_side,
    court_edge,
    hang,
    highest,
    seats_along,
)

APART = 0.15  # free space between loudspeakers of a cluster [m]
WALL = 0.6  # how far a loudspeaker at a wall hangs in front of it [m]
COMPASS = {"east": 0.0, "north": 90.0, "west": 180.0, "south": -90.0}
WIDE, NARROW = "two-way 90x60", "two-way 60x40"
NO_BANK = "a bank of seats is needed for this arrangement."


def center_four(scenario, loudspeaker=WIDE):
    """Four loudspeakers together at the center, facing the four sides.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all four

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)
    """
    banks, placed = banks_by_side(scenario), []
    out = _outward(scenario.loudspeaker_types[loudspeaker])
    for side, pan in COMPASS.items():
        at = (out * math.cos(math.radians(pan)), out * math.sin(math.radians(pan)))
        seats = seats_along(scenario, side)
        if side in banks:
            target, serves = bank_point(scenario, banks[side]), [*seats, "court"]
        else:
            target, serves = court_edge(scenario, side), ["court", *seats]
        name = dict(name=f"center {side}", tag=side[0].upper(), loudspeaker=loudspeaker)
        placed.append((hang(scenario, at, target, **name), serves))
    return placed


def _outward(loudspeaker_type):
    """How far from the center the fronts of a cluster hang, so that the backs keep apart [m]."""
    return loudspeaker_type.depth + loudspeaker_type.width / 2 + APART


def center_housing(scenario, loudspeaker="four-sided 90x50"):
    """One housing at the center that fires to four sides.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type that fires to all sides

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        The type fires one way
    """
    loudspeaker_type = scenario.loudspeaker_types[loudspeaker]
    if loudspeaker_type.lobes < 2:
        raise Misfit(
            f"'{loudspeaker}' fires one way; this arrangement needs a housing that fires to all"
            " sides."
        )
    group = Group(
        name="center",
        tag="C",
        loudspeaker=loudspeaker,
        height=highest(scenario, 0, loudspeaker_type),
        pan_deg=0.0,
        downtilt_deg=0.0,
    )
    return [(group, [*(name for side in COMPASS for name in seats_along(scenario, side)), "court"])]


def center_to_banks(scenario, loudspeaker=WIDE):
    """Four loudspeakers at the center, turned more toward two facing banks.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all four

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        No two banks face each other
    """
    banks = banks_by_side(scenario)
    return [
        (group, [*seats_along(scenario, side), "court"])
        for side in _facing(banks)
        for group in _halves(scenario, banks[side], loudspeaker)
    ]


def _facing(banks):
    """Two sides with facing banks."""
    for side in ("north", "east"):
        if side in banks and OPPOSITE[side] in banks:
            return side, OPPOSITE[side]
    raise Misfit("two facing banks are needed for this arrangement.")


def _halves(scenario, bank, loudspeaker):
    """Two loudspeakers at the center, each aimed at the middle of its half of a bank."""
    loudspeaker_type = scenario.loudspeaker_types[loudspeaker]
    out = _outward(loudspeaker_type)
    _, along, inward = along_wall(bank.side, scenario.hall)
    halves = {-1: "west" if along[0] else "south", 1: "east" if along[0] else "north"}
    targets = {half: bank_point(scenario, bank, half * bank.length / 4) for half in halves}
    turned = []  # from square to the bank [rad]
    for half, target in targets.items():
        aside = abs((target - half * loudspeaker_type.width / 2 * along) @ along)
        turned.append(math.atan2(aside, abs((target + out * inward) @ inward)))
    spacing = loudspeaker_type.width + 2 * loudspeaker_type.depth * math.sin(max(turned)) + APART
    for half, name in halves.items():
        at = -out * inward + half * spacing / 2 * along
        called = dict(name=f"center {bank.side}, {name}", tag=f"{bank.side[0]}{name[0]}".upper())
        yield hang(scenario, at[:2], targets[half], loudspeaker=loudspeaker, **called)


def _bank_rows(scenario, loudspeaker, number=3):
    """Loudspeakers over the side lines, one row a bank, each aimed square at its bank."""
    banks, placed = banks_by_side(scenario), []
    if not banks:
        raise Misfit(NO_BANK)
    for side, bank in banks.items():
        foot, along, inward = along_wall(side, scenario.hall)
        wall = abs(foot @ inward)
        # over the side line, or just in front of a bank that reaches over it
        front = bank.setback + bank.depth
        from_wall = max(wall - scenario.lines.reach(side), front + 0.5)
        if wall - from_wall < 1.0:
            from_wall = wall - 1.0
        at = foot + from_wall * inward + bank.offset * along
        row = dict(number=number, spacing=bank.length / number, along_deg=along_side(side))
        called = dict(name=f"{side} row", tag=side[0].upper(), loudspeaker=loudspeaker)
        group = hang(scenario, at[:2], bank_point(scenario, bank), **called, **row)
        placed.append((group, seats_along(scenario, side)))
    return placed


def rows_and_ends(scenario, loudspeaker=WIDE):
    """Three loudspeakers a bank over the side lines, two firing down the court from its ends.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        There is no bank
    """
    placed, court = _bank_rows(scenario, loudspeaker), scenario.lines
    for side, sign in _court_ends(court):
        at = court.point(sign * court.length / 2 * 0.95, 0.0)
        # a little beyond the middle
        target = (*court.point(-sign * court.length * 0.05, 0.0), STANDING_EARS)
        called = dict(name=f"{side} end", tag=f"{side[0].upper()}E", loudspeaker=NARROW)
        placed.append((hang(scenario, at, target, **called), ["court"]))
    return placed


def _court_ends(court):
    """Side and sign of the two ends of a court."""
    return (("south", -1), ("north", 1)) if court.turned else (("west", -1), ("east", 1))


def rows_and_stage(scenario, loudspeaker=WIDE):
    """Three loudspeakers a bank over the side lines, two framing the portable stage and firing away
    from it.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        There is no bank, or no portable stage
    """
    placed = _bank_rows(scenario, loudspeaker)
    if not scenario.portable_stages:
        raise Misfit("a portable stage is needed for this arrangement.")
    platform = scenario.portable_stages[0]
    axis, sign, front = _away(scenario, platform)
    at, target = [platform.x, platform.y], [platform.x, platform.y, SEATED_EARS]
    at[axis] = front + sign * 0.3
    # the court's line that is farther from the stage
    far = scenario.lines.reach((("west", "", "east"), ("south", "", "north"))[axis][int(sign) + 1])
    target[axis] = front + sign * 0.65 * abs(sign * far - front)  # toward the back of the chairs
    span = (platform.width, platform.length)[axis] + 2.0
    pair = dict(number=2, spacing=span, along_deg=90.0 * (1 - axis))
    group = hang(scenario, at, target, name="stage pair", tag="P", loudspeaker=WIDE, **pair)
    return [*placed, (group, ["court"])]


def _away(scenario, platform):
    """Axis (0 x, 1 y) and sign that lead away from a platform into the gym, and its front edge."""
    reach = (abs(platform.x) + platform.length / 2, abs(platform.y) + platform.width / 2)
    axis = 0 if reach[0] / scenario.hall.length >= reach[1] / scenario.hall.width else 1
    middle = (platform.x, platform.y)[axis]
    sign = -1.0 if middle > 0 else 1.0
    return axis, sign, middle + sign * (platform.length, platform.width)[axis] / 2


@dataclass(frozen=True, kw_only=True, eq=False)
class _StageLine:
    """Four loudspeakers in one line at the wall of a built-in stage: the inner two to the floor."""

    side: str
    place: np.ndarray  # middle of the line on the floor (3,) [m]
    inward: np.ndarray  # away from the stage (3,)
    depth: float  # of the gym, from the stage [m]
    step: float  # between two loudspeakers [m]
    inner: Group
    floor: list  # areas on the floor

    def outer(self, scenario, loudspeaker, target):
        """The outer two of the line."""
        pair = dict(number=2, spacing=3 * self.step, along_deg=along_side(self.side))
        called = dict(name="stage line, outer", tag="O", loudspeaker=loudspeaker)
        return hang(scenario, self.place[:2], target, **called, **pair)

    @property
    def far(self):
        """Ears on the floor far from the stage (3,) [m]."""
        x, y, _ = self.place + 0.75 * self.depth * self.inward
        return x, y, SEATED_EARS


def _stage_line(scenario, sides, loudspeaker):
    """The line at a stage on one of some sides."""
    stage, hall = scenario.stage, scenario.hall
    if stage is None or stage.side not in sides:
        where = "a side" if "north" in sides else "an end"
        raise Misfit(f"a built-in stage on {where} of the gym is needed for this arrangement.")
    foot, along, inward = along_wall(stage.side, hall)
    deep = scenario.loudspeaker_types[loudspeaker]
    # however it is turned, a large enclosure must not reach into the wall
    from_wall = max(WALL, math.hypot(deep.depth, deep.height / 2, deep.width / 2))
    place = foot + stage.offset * along + from_wall * inward
    wall, depth = hall.length, hall.width
    if stage.side in ("east", "west"):
        wall, depth = depth, wall
    step = min(stage.width / 3, (wall - 2.0) / 3)
    floor = place + 0.45 * depth * inward
    called = dict(name="stage line", tag="L", loudspeaker=loudspeaker)
    pair = dict(number=2, spacing=step, along_deg=along_side(stage.side))
    return _StageLine(
        side=stage.side,
        place=place,
        inward=inward,
        depth=depth,
        step=step,
        inner=hang(scenario, place[:2], (floor[0], floor[1], SEATED_EARS), **called, **pair),
        floor=["court", *(f.name for f in scenario.floor_seats)],
    )


def stage_on_a_side(scenario, loudspeaker=WIDE):
    """Four in one line at the stage wall of a side, firing away from the stage.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all four

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        There is no built-in stage on a side
    """
    line, banks = _stage_line(scenario, ("north", "south"), loudspeaker), banks_by_side(scenario)
    across = OPPOSITE[line.side]
    target = bank_point(scenario, banks[across]) if across in banks else line.far
    outer = line.outer(scenario, loudspeaker, target)
    outer_serves = [*seats_along(scenario, across), *line.floor]
    return _level([(line.inner, line.floor), (outer, outer_serves)])


def stage_on_an_end(scenario, loudspeaker=WIDE):
    """A line at the stage end firing away, to the court and to the banks.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the line

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        There is no built-in stage on an end
    """
    line, banks = _stage_line(scenario, ("east", "west"), loudspeaker), banks_by_side(scenario)
    placed = [(line.inner, line.floor)]
    for side in ("north", "south"):
        if side not in banks:
            continue
        sign, bank = 1.0 if side == "north" else -1.0, banks[side]
        at = (line.place[0], line.place[1] + sign * 1.5 * line.step)
        target = bank_point(scenario, bank)
        # a little beyond its middle
        beyond = np.sign(line.inward[0]) * bank.length * 0.1
        target[0] = bank.corner(scenario.hall, 0, 0, 0)[0] + beyond
        called = dict(name=f"stage {side}", tag=side[0].upper(), loudspeaker=NARROW)
        placed.append((hang(scenario, at, target, **called), seats_along(scenario, side)))
    if len(placed) == 1:
        placed.append((line.outer(scenario, loudspeaker, line.far), line.floor))
    return _level(placed)


def _level(placed):
    """The same at the height of the lowest."""
    height = min(group.height for group, _ in placed)
    return [(replace(group, height=height), serves) for group, serves in placed]


def grid(scenario, loudspeaker="pendant 100", rows=3, columns=3):
    """A grid of pendants firing down.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the pendants
    rows, columns : int
        Across and along the gym [-]

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)
    """
    hall, loudspeaker_type = scenario.hall, scenario.loudspeaker_types[loudspeaker]
    seats = (*scenario.banks, *scenario.galleries, *scenario.floor_seats)
    listening = [t.name for t in seats if t.name in scenario.area_names]
    everywhere, placed = ["court", *listening], []
    for row in range(rows):
        y = ((row + 0.5) / rows - 0.5) * hall.width
        group = Group(
            name=f"pendants {row + 1}",
            tag=f"P{row + 1}.",
            loudspeaker=loudspeaker,
            number=columns,
            x=0.0,
            y=y,
            height=highest(scenario, y, loudspeaker_type, 90.0),
            spacing=hall.length / columns if columns > 1 else 0.0,
            along_deg=0.0,
            pan_deg=0.0,
            downtilt_deg=90.0,
        )
        placed.append((group, everywhere))
    return placed


def end_clusters(scenario, loudspeaker=WIDE):
    """A pair over each end line, each turned to its half of the banks.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all four

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)
    """
    court, banks, placed = scenario.lines, banks_by_side(scenario), []
    loudspeaker_type = scenario.loudspeaker_types[loudspeaker]
    for end, sign in (("west", -1), ("east", 1)):
        x = sign * court.reach(end)
        for side, turn in (("north", 1), ("south", -1)):
            y = turn * (loudspeaker_type.width / 2 + loudspeaker_type.depth / 2 + APART)
            if side in banks:
                target = bank_point(scenario, banks[side], sign * banks[side].length * 0.2)
                serves = [*seats_along(scenario, side), "court"]
            else:
                edge = court_edge(scenario, side, 0.7)[1]
                target, serves = (court.x, edge, STANDING_EARS), ["court"]
            called = dict(name=f"{end} cluster, {side}", tag=f"{end[0]}{side[0]}".upper())
            group = hang(scenario, (x, y), target, loudspeaker=loudspeaker, **called)
            placed.append((group, serves))
    return placed


def from_across(scenario, loudspeaker=NARROW):
    """Each bank from loudspeakers over the far side line, and a pair over the court.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the pairs for the banks

    Returns
    -------
    placed : list of tuple
        (Group, names of the areas it serves)

    Raises
    ------
    Misfit
        There is no bank
    """
    banks, placed = banks_by_side(scenario), []
    if not banks:
        raise Misfit(NO_BANK)
    for side, bank in banks.items():
        foot, along, inward = along_wall(side, scenario.hall)
        # over the far side line
        way = abs(foot @ inward) + scenario.lines.reach(OPPOSITE[side]) * 0.8
        at = foot + way * inward + bank.offset * along
        pair = dict(number=2, spacing=bank.length / 2, along_deg=along_side(side))
        called = dict(name=f"{side} from across", tag=side[0].upper(), loudspeaker=loudspeaker)
        group = hang(scenario, at[:2], bank_point(scenario, bank), **called, **pair)
        placed.append((group, seats_along(scenario, side)))
    lines = scenario.lines
    middle, along = (lines.x, lines.y), 90.0 if lines.turned else 0.0
    pair = dict(number=2, spacing=lines.length / 2, along_deg=along)
    called = dict(name="court pair", tag="C", loudspeaker=WIDE)
    court = hang(scenario, middle, (*middle, STANDING_EARS), **called, **pair)
    return [*placed, (replace(court, pan_deg=90.0 - along, downtilt_deg=90.0), ["court"])]
