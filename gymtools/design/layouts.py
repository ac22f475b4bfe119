"""The layouts of the arrangements: each function hangs and aims its groups in any gym and says
which areas each group serves. Numbers follow from throw, beam and what is to be covered
(``spacing``).

All of it is common practice of the trade, no source, unless a line says otherwise.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from ..venue.locations import along_wall
from ..venue.loudspeakers import Group
from .free_places import is_divided
from .placing import (
    OPPOSITE,
    SEATED_EARS,
    STANDING_EARS,
    Misfit,
    Placed,
    along_side,
    bank_point,
    banks_by_side,
    court_edge,
    ears_of,
    front_point,
    highest,
    listening,
    on_floor,
    place,
    seats_along,
    stands,
)
from .spacing import covered_width, grid_of, number_in_row

APART = 0.15  # free space between loudspeakers of a cluster [m]
WALL = 0.6  # how far a loudspeaker at a wall hangs in front of it [m]
COMPASS = {"east": 0.0, "north": 90.0, "west": 180.0, "south": -90.0}
WIDE, NARROW, PENDANT = "two-way 90x60", "two-way 60x40", "pendant 100"
NO_BANK = "a bank of seats is needed for this arrangement."
GRID = 0.5  # from the last ears of an area to its edge [m]
BELOW = 2.5  # of the ears under pendants, so that a cone covers more than a few seats [m]
LEAST = 1.2  # of a part of the floor, by a divider, that gets pendants of its own [m]
# a second line hangs this part of the way from the first one to the far end
SECOND = 0.5
FAR = 2.0  # from the first line to the far end, in heights over the ears: nearer needs no second


def center_four(scenario, loudspeaker=WIDE):
    """One loudspeaker for each side of the gym, together over the middle of the court.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all of them

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve
    """
    banks, placed = banks_by_side(scenario), []
    out, lines = _outward(scenario.loudspeaker_types[loudspeaker]), scenario.lines
    for side, pan in COMPASS.items():
        way = np.array([math.cos(math.radians(pan)), math.sin(math.radians(pan))])
        at = out * way + [lines.x, lines.y]
        seats = seats_along(scenario, side)
        if side in banks:
            target, serves = bank_point(scenario, banks[side]), [*seats, "court"]
        else:
            target, serves = court_edge(scenario, side), ["court", *seats]
        name = dict(name=f"center {side}", tag=side[0].upper(), loudspeaker=loudspeaker)
        placed.append(place(scenario, at, target, serves, framed=True, **name))
    return placed


def _outward(loudspeaker_type):
    """How far from the center the fronts of a cluster hang, so that the backs keep apart [m]."""
    return loudspeaker_type.depth + loudspeaker_type.width / 2 + APART


def center_housing(scenario, loudspeaker="four-sided 90x50"):
    """One enclosure over the middle of the court that fires to four sides.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type that fires to all sides

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

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
    lines = scenario.lines
    group = Group(
        name="center",
        tag="C",
        loudspeaker=loudspeaker,
        x=lines.x,
        y=lines.y,
        height=highest(scenario, lines.y, loudspeaker_type),
        pan_deg=0.0,
        downtilt_deg=0.0,
    )
    seats = [name for side in COMPASS for name in seats_along(scenario, side)]
    return [Placed(group, [*seats, "court"], framed=True)]


def center_to_banks(scenario, loudspeaker=WIDE):
    """Loudspeakers together at the center, turned toward two facing banks.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all of them

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        No two banks face each other
    """
    banks = banks_by_side(scenario)
    return [one for side in _facing(banks) for one in _halves(scenario, banks[side], loudspeaker)]


def _facing(banks):
    """Two sides with facing banks."""
    for side in ("north", "east"):
        if side in banks and OPPOSITE[side] in banks:
            return side, OPPOSITE[side]
    raise Misfit("two facing banks are needed for this arrangement.")


def _halves(scenario, bank, loudspeaker):
    """Two loudspeakers at the center, each aimed at the middle of its half of a bank."""
    loudspeaker_type = scenario.loudspeaker_types[loudspeaker]
    out, lines = _outward(loudspeaker_type), scenario.lines
    middle = np.array([lines.x, lines.y, 0.0])
    _, along, inward = along_wall(bank.side, scenario.hall)
    halves = {-1: "west" if along[0] else "south", 1: "east" if along[0] else "north"}
    targets = {half: bank_point(scenario, bank, half * bank.length / 4) for half in halves}
    turned = []  # from square to the bank [rad]
    for half, target in targets.items():
        from_middle = target - middle
        aside = abs((from_middle - half * loudspeaker_type.width / 2 * along) @ along)
        turned.append(math.atan2(aside, abs((from_middle + out * inward) @ inward)))
    spacing = loudspeaker_type.width + 2 * loudspeaker_type.depth * math.sin(max(turned)) + APART
    serves = [*seats_along(scenario, bank.side), "court"]
    for half, name in halves.items():
        at = middle - out * inward + half * spacing / 2 * along
        called = dict(name=f"center {bank.side}, {name}", tag=f"{bank.side[0]}{name[0]}".upper())
        yield place(
            scenario,
            at[:2],
            targets[half],
            serves,
            framed=True,
            loudspeaker=loudspeaker,
            **called,
        )


# ---- rows along banks


def bank_row(scenario, stand, loudspeaker=WIDE, *, serves=None, called=None):
    """Loudspeakers over the side line, or in front of a bank that reaches over it, in a row along a
    bank or balcony and square to it.

    Parameters
    ----------
    scenario : Scenario
        The gym
    stand : Bank or Balcony
        What the row serves
    loudspeaker : str
        Type of the row
    serves : list of str, optional
        Areas that it serves; the stand alone when left out
    called : str, optional
        Name of the row; that of its side when left out

    Returns
    -------
    placed : Placed
        As many as cover the first row of seats, where the beam is narrowest
    """
    foot, along, inward = along_wall(stand.side, scenario.hall)
    wall = abs(foot @ inward)
    front = stand.setback + stand.depth
    from_wall = max(wall - scenario.lines.reach(stand.side), front + 0.5)
    if wall - from_wall < 1.0:
        from_wall = max(wall - 1.0, front + 0.5)
    at = (foot + from_wall * inward + stand.offset * along)[:2]
    row = _row_over(scenario, at, front_point(scenario, stand), stand, loudspeaker)
    name = called or f"{stand.side} row"
    return place(
        scenario,
        at,
        bank_point(scenario, stand),
        [stand.name] if serves is None else serves,
        name=name,
        tag=_tag(name),
        loudspeaker=loudspeaker,
        along_deg=along_side(stand.side),
        **row,
    )


def _tag(name):
    """A short tag of a name: "north row" is N, "upper bank row" is UB."""
    words = [word for word in name.split() if word != "row"]
    return "".join(word[0] for word in words[:2] if word[0].isalnum()).upper() or "R"


def _row_over(scenario, at, ears, stand, loudspeaker):
    """Number and spacing of a row that covers a bank's length at some ears."""
    kind = scenario.loudspeaker_types[loudspeaker]
    height = highest(scenario, at[1], kind, 30.0)
    throw = math.dist((*at, height), ears)
    width = covered_width(throw, kind.horizontal_deg)
    most = max(int(stand.length / (kind.width + APART)), 1)
    number = min(number_in_row(stand.length, width), most)
    return dict(number=number, spacing=stand.length / number if number > 1 else 0.0)


def bank_rows(scenario, loudspeaker=WIDE):
    """A row for each bank, and for each balcony or track on which people are where no bank stands
    along that wall.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows

    Returns
    -------
    placed : list of Placed
        Rows with what they serve

    Raises
    ------
    Misfit
        Nobody sits or stands along a wall
    """
    placed, banks = [], {b.name for b in scenario.banks}
    for side in banks_by_side(scenario):
        there = [s for s in stands(scenario) if s.side == side]
        own = [s for s in there if s.name in banks] or there[:1]
        # people over a bank: whether its row reaches them is for ``for_those_left``
        over = [s.name for s in there if s not in own]
        for stand in own:
            called = f"{side} row" if len(own) == 1 else f"{stand.name} row"
            serves = [stand.name, *over]
            placed.append(bank_row(scenario, stand, loudspeaker, serves=serves, called=called))
    if not placed:
        raise Misfit(NO_BANK)
    return placed


def rows_and_ends(scenario, loudspeaker=WIDE):
    """A row for each bank, and loudspeakers that fire down the court from its ends.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no bank
    """
    placed, court = bank_rows(scenario, loudspeaker), scenario.lines
    kind = scenario.loudspeaker_types[NARROW]
    for side, sign in _court_ends(court):
        at = court.point(sign * court.length / 2 * 0.95, 0.0)
        # a little beyond the middle
        target = (*court.point(-sign * court.length * 0.05, 0.0), STANDING_EARS)
        throw = math.dist((*at, highest(scenario, at[1], kind)), target)
        # as many as cover the width of the court at its middle
        width = covered_width(throw, kind.horizontal_deg)
        number = number_in_row(court.width, width, 0.0)
        row = dict(number=number, along_deg=along_side(side))
        row["spacing"] = court.width / number if number > 1 else 0.0
        called = dict(name=f"{side} end", tag=f"{side[0].upper()}E", loudspeaker=NARROW)
        placed.append(place(scenario, at, target, ["court"], **called, **row))
    return placed


def _court_ends(court):
    """Side and sign of the two ends of a court."""
    return (("south", -1), ("north", 1)) if court.turned else (("west", -1), ("east", 1))


def rows_and_court(scenario, loudspeaker=WIDE):
    """A row for each bank, and pendants over the court and the chairs on it.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no bank
    """
    return [*bank_rows(scenario, loudspeaker), *_court_pendants(scenario)]


def _court_pendants(scenario):
    """Pendants over the court and what stands on it that listens."""
    rectangles = [scenario.lines.footprint()]
    heard = listening(scenario)
    rectangles += [f.footprint() for f in scenario.floor_seats if f.name in heard]
    a, b, c, d = np.array(rectangles).T
    box = a.min(), b.max(), c.min(), d.max()
    return _pendants_over(scenario, (box, STANDING_EARS), ["court"], "court pendants")


def _pendants_over(scenario, floor, serves, name, loudspeaker=PENDANT, size=None):
    """Pendants over a rectangle and the height of its ears, in rows along the gym; in a gym that is
    divided half by half.
    """
    box, ears = floor
    kind, placed = scenario.loudspeaker_types[loudspeaker], []
    for half, part in _half_boxes(scenario, box):
        west, east, south, north = part
        length, width = east - west, north - south
        hung = highest(scenario, max(abs(south), abs(north)), kind, 90.0)
        columns, rows = size or grid_of(length, width, hung - ears, kind.horizontal_deg)
        for row in range(rows):
            y = south + (row + 0.5) / rows * width
            called = f"{name} {half}".strip() + (f" {row + 1}" if rows > 1 else "")
            tag = "".join(word[0] for word in name.split()).upper() + half[:1].upper()
            group = Group(
                name=called,
                tag=f"{tag}{row + 1}.",
                loudspeaker=loudspeaker,
                number=columns,
                x=(west + east) / 2,
                y=y,
                height=highest(scenario, y, kind, 90.0),
                spacing=length / columns if columns > 1 else 0.0,
                along_deg=0.0,
                pan_deg=0.0,
                downtilt_deg=90.0,
            )
            placed.append(Placed(group, list(serves)))
    return placed


def _half_boxes(scenario, box):
    """A rectangle with no name; in a gym that is divided the parts of it on either side, named."""
    if not is_divided(scenario):
        return [("", box)]
    divider, found = scenario.divider, []
    low, high = 2 * divider.axis, 2 * divider.axis + 1
    for side, ends in zip(
        divider.sides, ((box[low], divider.at), (divider.at, box[high])), strict=True
    ):
        part = list(box)
        part[low], part[high] = max(ends[0], box[low]), min(ends[1], box[high])
        if part[high] - part[low] > LEAST:
            found.append((side, tuple(part)))
    return found


def pendant_grid(scenario, loudspeaker=PENDANT):
    """Pendants that fire down on all who listen, as many as their cones and height need.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the pendants

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve
    """
    kind = scenario.loudspeaker_types[loudspeaker]
    under = {}  # ears of those who are far enough below
    for name in listening(scenario):
        points = ears_of(scenario, name)
        if points is None:
            continue
        hung = highest(scenario, np.abs(points[:, 1]).max(), kind, 90.0)
        if hung - points[:, 2].mean() > BELOW:
            under[name] = points
    if not under:
        raise Misfit("nobody is far enough below the joists for pendants.")
    box = _around(under.values())
    ears = float(np.mean([points[:, 2].mean() for points in under.values()]))
    return _pendants_over(scenario, (box, ears), [*under], "pendants", loudspeaker)


def grid(scenario, loudspeaker=PENDANT, rows=3, columns=3):
    """Rows and columns of pendants over the whole floor, firing down.

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
    placed : list of Placed
        Groups with the areas that they serve
    """
    x, y = scenario.hall.length / 2, scenario.hall.width / 2
    everywhere = ["court", *listening(scenario)]
    over = dict(loudspeaker=loudspeaker, size=(columns, rows))
    return _pendants_over(scenario, ((-x, x, -y, y), SEATED_EARS), everywhere, "pendants", **over)


def _around(points):
    """Rectangle around some sets of ears (x low, x high, y low, y high) [m]."""
    low = np.min([p.min(axis=0) for p in points], axis=0)
    high = np.max([p.max(axis=0) for p in points], axis=0)
    return low[0], high[0], low[1], high[1]


# ---- at a stage


def rows_and_stage(scenario, loudspeaker=WIDE):
    """A row for each bank, and a pair beside the portable stage that fires over the chairs.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no bank, or no portable stage
    """
    placed = bank_rows(scenario, loudspeaker)
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
    called = dict(name="stage pair", tag="P", loudspeaker=WIDE)
    return [*placed, place(scenario, at, target, ["court"], **called, **pair)]


def _away(scenario, platform):
    """Axis (0 x, 1 y) and sign that lead away from a platform into the gym, and its front edge."""
    reach = (abs(platform.x) + platform.length / 2, abs(platform.y) + platform.width / 2)
    axis = 0 if reach[0] / scenario.hall.length >= reach[1] / scenario.hall.width else 1
    middle = (platform.x, platform.y)[axis]
    sign = -1.0 if middle > 0 else 1.0
    return axis, sign, middle + sign * (platform.length, platform.width)[axis] / 2


@dataclass(frozen=True, kw_only=True, eq=False)
class _StageLine:
    """Loudspeakers in one line at the wall of a built-in stage: the inner ones to the floor."""

    side: str
    place: np.ndarray  # middle of the line on the floor (3,) [m]
    inward: np.ndarray  # away from the stage (3,)
    depth: float  # of the gym, from the stage [m]
    step: float  # between two loudspeakers [m]
    inner: Placed

    def outer(self, scenario, loudspeaker, target, serves):
        """The outer two of the line."""
        reach = (self.inner.group.number + 1) * self.step
        pair = dict(number=2, spacing=reach, along_deg=along_side(self.side))
        called = dict(name="stage line, outer", tag="O", loudspeaker=loudspeaker)
        return place(scenario, self.place[:2], target, serves, framed=True, **called, **pair)

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
    kind = scenario.loudspeaker_types[loudspeaker]
    # however it is turned, a large enclosure must not reach into the wall
    from_wall = max(WALL, math.hypot(kind.depth, kind.height / 2, kind.width / 2))
    at = foot + stage.offset * along + from_wall * inward
    wall, depth = hall.length, hall.width
    if stage.side in ("east", "west"):
        wall, depth = depth, wall
    floor = at + 0.45 * depth * inward
    throw = math.dist((*at[:2], highest(scenario, at[1], kind)), (*floor[:2], SEATED_EARS))
    # two at least, so that none hangs before the middle of the stage
    number = max(2, number_in_row(wall, covered_width(throw, kind.horizontal_deg)))
    step = min(stage.width / (number + 1), (wall - 2 * abs(stage.offset) - 2.0) / (number + 1))
    called = dict(name="stage line", tag="L", loudspeaker=loudspeaker)
    row = dict(number=number, spacing=step, along_deg=along_side(stage.side))
    target = (floor[0], floor[1], SEATED_EARS)
    return _StageLine(
        side=stage.side,
        place=at,
        inward=inward,
        depth=depth,
        step=step,
        inner=place(scenario, at[:2], target, ["court"], framed=True, **called, **row),
    )


def stage_on_a_side(scenario, loudspeaker=WIDE):
    """One line at the wall of a stage on a side, to the floor and to the bank across.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all of them

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no built-in stage on a side
    """
    line, banks = _stage_line(scenario, ("north", "south"), loudspeaker), banks_by_side(scenario)
    across = OPPOSITE[line.side]
    target = bank_point(scenario, banks[across]) if across in banks else line.far
    serves = [*seats_along(scenario, across), "court"]
    return _level([line.inner, line.outer(scenario, loudspeaker, target, serves)])


def stage_on_an_end(scenario, loudspeaker=WIDE):
    """One line at the wall of a stage on an end, to the floor and to the banks.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the line

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no built-in stage on an end
    """
    line, banks = _stage_line(scenario, ("east", "west"), loudspeaker), banks_by_side(scenario)
    placed = [line.inner]
    reach = (line.inner.group.number + 1) / 2 * line.step
    for side in ("north", "south"):
        if side not in banks:
            continue
        sign, bank = 1.0 if side == "north" else -1.0, banks[side]
        at = (line.place[0], line.place[1] + sign * reach)
        target = bank_point(scenario, bank)
        # a little beyond its middle
        beyond = np.sign(line.inward[0]) * bank.length * 0.1
        target[0] = bank.corner(scenario.hall, 0, 0, 0)[0] + beyond
        called = dict(name=f"stage {side}", tag=side[0].upper(), loudspeaker=NARROW)
        serves = seats_along(scenario, side)
        placed.append(place(scenario, at, target, serves, framed=True, **called))
    if len(placed) == 1:
        placed.append(line.outer(scenario, loudspeaker, line.far, ["court"]))
    return _level(placed)


def _level(placed):
    """The same at the height of the lowest."""
    height = min(one.group.height for one in placed)
    return [one._replace(group=replace(one.group, height=height)) for one in placed]


def stage_and_second_line(scenario, loudspeaker=WIDE):
    """A line at the stage and a second, later one half way to the far end, both firing away from
    the stage; a row for each bank, later too.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all of them

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no built-in stage, or the far end is near enough for one line
    """
    if scenario.stage is None:
        raise Misfit("a built-in stage is needed for this arrangement.")
    line = _stage_line(scenario, (scenario.stage.side,), loudspeaker)
    first = line.inner.group
    if line.depth < FAR * (first.height - SEATED_EARS):
        raise Misfit("the far end is near enough for one line at the stage.")
    serves = [name for name in on_floor(scenario) if name in listening(scenario)] or ["court"]
    at = line.place + SECOND * line.depth * line.inward
    target = line.place + 0.8 * line.depth * line.inward
    called = dict(name="second line", tag="D", loudspeaker=loudspeaker)
    row = dict(number=first.number, spacing=first.spacing, along_deg=first.along_deg)
    ears = (target[0], target[1], SEATED_EARS)
    second = place(scenario, at[:2], ears, serves, after=first.name, **called, **row)
    banks = [s for s in stands(scenario) if s.side != line.side]
    rows = bank_rows(scenario, loudspeaker) if banks else []
    rows = [one._replace(after=first.name) for one in rows]
    return [line.inner._replace(serves=["court", *serves]), second, *rows]


# ---- from the ends and from across


def end_clusters(scenario, loudspeaker=WIDE):
    """A pair over each end line of the court, each turned to its half of the sides.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of all of them

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve
    """
    court, banks, placed = scenario.lines, banks_by_side(scenario), []
    kind = scenario.loudspeaker_types[loudspeaker]
    aside = kind.width / 2 + kind.depth / 2 + APART
    # the sides to the left and to the right of the court's own direction
    sides = (("west", 1), ("east", -1)) if court.turned else (("north", 1), ("south", -1))
    for end, sign in _court_ends(court):
        for side, turn in sides:
            at = court.point(sign * court.length / 2, turn * aside)
            if side in banks:
                along = along_wall(side, scenario.hall)[1]
                toward = float(np.sign(court.point(sign, 0.0) - court.point(0.0, 0.0)) @ along[:2])
                target = bank_point(scenario, banks[side], toward * banks[side].length * 0.2)
                serves = [*seats_along(scenario, side), "court"]
            else:
                edge = court.point(0.0, turn * court.width / 2 * 0.7)
                target, serves = (*edge, STANDING_EARS), ["court"]
            called = dict(name=f"{end} cluster, {side}", tag=f"{end[0]}{side[0]}".upper())
            one = place(
                scenario, at, target, serves, framed=True, loudspeaker=loudspeaker, **called
            )
            placed.append(one)
    return placed


def from_across(scenario, loudspeaker=NARROW):
    """Each bank from loudspeakers over the far side line, and pendants over the court.

    Parameters
    ----------
    scenario : Scenario
        The gym
    loudspeaker : str
        Type of the rows for the banks

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve

    Raises
    ------
    Misfit
        There is no bank
    """
    placed = []
    for side, stand in banks_by_side(scenario).items():
        foot, along, inward = along_wall(side, scenario.hall)
        # over the far side line
        way = abs(foot @ inward) + scenario.lines.reach(OPPOSITE[side]) * 0.8
        at = (foot + way * inward + stand.offset * along)[:2]
        row = _row_over(scenario, at, front_point(scenario, stand), stand, loudspeaker)
        called = dict(name=f"{side} from across", tag=side[0].upper(), loudspeaker=loudspeaker)
        target, serves = bank_point(scenario, stand), seats_along(scenario, side)
        row["along_deg"] = along_side(side)
        placed.append(place(scenario, at, target, serves, **called, **row))
    if not placed:
        raise Misfit(NO_BANK)
    return [*placed, *_court_pendants(scenario)]


# ---- who is left


def for_those_left(scenario, names, half=""):
    """Loudspeakers for areas that an arrangement leaves out: a row for what stands along a wall,
    pendants over what lies on the floor.

    Parameters
    ----------
    scenario : Scenario
        The gym
    names : sequence of str
        Areas that nothing serves
    half : str
        Side of the divider, where only that half is left out

    Returns
    -------
    placed : list of Placed
        Groups with the areas that they serve
    """
    placed, along = [], {stand.name: stand for stand in stands(scenario)}
    for name in names:
        if name in along:
            placed.append(bank_row(scenario, along[name], called=f"{name} row"))
            continue
        points = ears_of(scenario, name)
        # ears stand in the middle of what they stand for
        west, east, south, north = _around([points])
        box = west - GRID, east + GRID, south - GRID, north + GRID
        ears = float(points[:, 2].mean())
        over = _pendants_over(scenario, (box, ears), [name], f"{name} pendants")
        placed += [_named(one, name) for one in over if not half or half in _ending(one)]
    return placed


def _ending(one):
    """What a name says after "pendants": half and row."""
    return one.group.name.rpartition("pendants")[2].split()


def _named(one, area):
    """Pendants over half a court, which its name says already."""
    short = one.group.name
    for half in ("west", "east", "south", "north"):
        if area.endswith(f" {half}"):
            short = short.replace(f"pendants {half}", "pendants")
    return one._replace(group=replace(one.group, name=short))
