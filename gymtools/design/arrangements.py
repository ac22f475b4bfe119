"""Starting layouts that place and aim themselves in any hall; every one can be edited afterwards.

All of it is common practice of the trade, no source, unless a line says otherwise.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..physics.checks import within
from ..venue.locations import along_wall
from ..venue.loudspeakers import Group
from ..venue.renamed import warn_renamed
from ..venue.seating import EAR_OVER_SEAT
from ..venue.tables import named
from ..venue.uses import GroupSetting
from ..venue.validation import colliding_loudspeakers

AIM_ROW = (
    2 / 3
    # a bank is aimed at this part of its depth, from the front: the last third levels near and far
    # rows
)
APART = 0.15  # free space between loudspeakers of a cluster [m]
CLUSTER = 1.5  # loudspeakers this near to the middle of the hall hang in a cluster [m]
STEP, STEPS = (
    0.2,
    16,
)  # how loudspeakers that would meet are moved apart [m], and how often it is tried
WALL = 0.6  # how far a loudspeaker at a wall hangs in front of it [m]
FORMER = {f"centre {words}": f"center {words}" for words in ("four", "housing", "to banks")}
COMPASS = {"east": 0.0, "north": 90.0, "west": 180.0, "south": -90.0}
OPPOSITE = {"north": "south", "south": "north", "east": "west", "west": "east"}


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """A way to hang loudspeakers: when it fits, what it gives up, and the function that
    places it.
    """

    key: str
    title: str
    fits: str
    gives_up: str
    place: Callable  # scenario -> list of (Group, areas it serves)


class Misfit(ValueError):
    """The arrangement asks for something this hall has not got."""


def arrange(scenario, key, *, loudspeaker=None, rows=3, columns=3, cabinet=None):
    """The scenario with its loudspeakers replaced by an arrangement, placed and aimed for this
    hall.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, stages and uses; its groups are replaced [-]
    key : str
        One of ``ARRANGEMENTS`` [-]
    loudspeaker : str, optional
        Type of the main groups; what the arrangement usually takes when left out [-]
    rows, columns : int
        Of a grid of pendants [-]
    cabinet : str, optional
        Former name of ``loudspeaker``

    Returns
    -------
    scenario : Scenario
        In every use the groups that serve who listens are on, at equal gain and no delay

    Raises
    ------
    Misfit
        One line on what the hall would need (a bank, a stage, more height)
    """
    if key in FORMER:
        warn_renamed(f"arrangement '{key}'", f"'{FORMER[key]}'")
        key = FORMER[key]
    if cabinet is not None:
        warn_renamed("arrange(cabinet=...)", "arrange(loudspeaker=...)")
        loudspeaker = cabinet
    if key not in ARRANGEMENTS:
        raise ValueError(f"arrangement '{key}' is unknown. Known: {', '.join(ARRANGEMENTS)}.")
    if loudspeaker is not None:
        named(scenario.loudspeaker_types, loudspeaker, "loudspeaker")
    options = {} if loudspeaker is None else {"loudspeaker": loudspeaker}
    if key == "pendants":
        options |= {"rows": _whole("rows", rows), "columns": _whole("columns", columns)}
    placed = _disentangled(scenario, ARRANGEMENTS[key].place(scenario, **options))
    groups = tuple(group for group, _ in placed)
    uses = tuple(replace(use, groups=_drives(scenario, use, placed)) for use in scenario.uses)
    return replace(scenario, groups=groups, uses=uses)


def fitting(scenario):
    """Arrangements that this hall can take.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating and stages [-]

    Returns
    -------
    fits : dict
        Scenario by key
    reasons : dict
        Why not, by key, for the others
    """
    fits, reasons = {}, {}
    for key in ARRANGEMENTS:
        try:
            fits[key] = arrange(scenario, key)
        except ValueError as error:
            reasons[key] = str(error)
    return fits, reasons


def _drives(scenario, use, placed):
    """Groups that serve nobody who listens are off; if that leaves none, all play."""
    listening = {name for name, weight in use.listens.items() if weight > 0}
    # chairs stand on the court
    listening |= {"court"} if listening & {f.name for f in scenario.floor_seats} else set()
    silent = [group.name for group, serves in placed if not listening & set(serves)]
    return {} if len(silent) == len(placed) else {name: GroupSetting(on=False) for name in silent}


def _whole(name, value):
    if int(within(name, value, 1, 8, "")) != value:
        raise ValueError(f"{name} = {value:g} is not a whole number.")
    return int(value)


def _disentangled(scenario, placed):
    """The same, each group whose loudspeakers meet those before it moved towards the middle of the
    hall until they do not.
    """
    done, others = [], []
    for group, serves in placed:
        kind = scenario.loudspeaker_types[group.loudspeaker]
        away = np.array([group.x, group.y])
        ahead = np.array(
            [math.cos(math.radians(group.pan_deg)), math.sin(math.radians(group.pan_deg))]
        )
        # a cluster opens outwards
        step = -away / np.linalg.norm(away) if np.linalg.norm(away) > CLUSTER else ahead
        for k in range(STEPS):
            moved = replace(group, x=group.x + k * STEP * step[0], y=group.y + k * STEP * step[1])
            own = moved.loudspeakers(kind)
            if not colliding_loudspeakers([*others, *own]):
                break
        else:
            raise Misfit(f"'{group.name}' finds no free place beside the other loudspeakers.")
        done.append((moved, serves))
        others += own
    return done


# ---- places and aims
# -----------------------------------------------------------------------------------


def _height(scenario, y, kind, downtilt_deg=0.0):
    """Height of a loudspeaker hung as high as the joists allow [m]."""
    # it hangs by the middle of its front: tilted down, its back rises over that
    tilt = math.radians(downtilt_deg)
    above = math.cos(tilt) * kind.height / 2 + max(math.sin(tilt), 0.0) * kind.depth
    return min(scenario.hall.clear_height, float(scenario.hall.roof_height(y))) - above


def _aim(start, end):
    """Pan and tilt from one place to another, to the whole degree an installer can set."""
    dx, dy, dz = np.asarray(end, float) - np.asarray(start, float)
    pan = round(math.degrees(math.atan2(dy, dx)))
    return float(pan), float(round(math.degrees(math.atan2(-dz, math.hypot(dx, dy)))))


def _bank_point(scenario, bank, part=AIM_ROW, along=0.0):
    """Ears in a bank at a part of its depth from the front."""
    row = part * bank.rows - 0.5
    height = bank.first_height + max(row, 0) * bank.row_rise + EAR_OVER_SEAT
    return bank.corner(scenario.hall, along, (1 - part) * bank.rows * bank.row_run, height)


def _banks(scenario):
    """Banks that are open in one use or another, by side; the largest of a side."""
    found = {}
    for bank in scenario.banks:
        shown = replace(bank, open=True)
        if bank.side not in found or shown.seats > found[bank.side].seats:
            found[bank.side] = shown
    return found


def _serves(scenario, side):
    """Seats along a side: banks, and balconies over them."""
    return [t.name for t in (*scenario.banks, *scenario.balconies) if t.side == side]


def _edge(scenario, side, reach=0.85):
    """Floor just inside the court's edge on a side, at standing ears."""
    court = scenario.lines
    x, y = court.length / 2 * reach, court.width / 2 * reach
    return np.array(
        {"east": (x, 0, 1.5), "west": (-x, 0, 1.5), "north": (0, y, 1.5), "south": (0, -y, 1.5)}[
            side
        ]
    )


def _group(scenario, name, tag, loudspeaker, place, target, **more):
    """A group at a place (x, y), hung as high as it may, aimed at a target."""
    kind = scenario.loudspeaker_types[loudspeaker]
    reach = (
        more.get("spacing", 0.0)
        * (more.get("number", 1) - 1)
        / 2
        * abs(math.sin(math.radians(more.get("along_deg", 0.0))))
    )
    outer = abs(place[1]) + reach  # where the roof is lowest over the line
    z = _height(scenario, outer, kind)
    pan, tilt = _aim((*place, z), target)
    z = _height(scenario, outer, kind, tilt)
    return Group(
        name=name,
        tag=tag,
        loudspeaker=loudspeaker,
        x=place[0],
        y=place[1],
        height=z,
        pan_deg=pan,
        downtilt_deg=tilt,
        **more,
    )


def _across(side):
    """Direction along a bank on a side."""
    return 0.0 if side in ("north", "south") else 90.0


# ---- the arrangements
# -----------------------------------------------------------------------------------


def _center_four(scenario, loudspeaker="two-way 90x60"):
    kind, banks, placed = scenario.loudspeaker_types[loudspeaker], _banks(scenario), []
    out = kind.depth + kind.width / 2 + APART
    for side, pan in COMPASS.items():
        at = (out * math.cos(math.radians(pan)), out * math.sin(math.radians(pan)))
        target = _bank_point(scenario, banks[side]) if side in banks else _edge(scenario, side)
        serves = (
            [*_serves(scenario, side), "court"]
            if side in banks
            else ["court", *_serves(scenario, side)]
        )
        placed.append(
            (_group(scenario, f"center {side}", side[0].upper(), loudspeaker, at, target), serves)
        )
    return placed


def _center_housing(scenario, loudspeaker="four-sided 90x50"):
    kind = scenario.loudspeaker_types[loudspeaker]
    if kind.lobes < 2:
        raise Misfit(
            f"'{loudspeaker}' fires one way; this arrangement needs a housing that fires to all"
            " sides."
        )
    group = Group(
        name="center",
        tag="C",
        loudspeaker=loudspeaker,
        height=_height(scenario, 0, kind),
        pan_deg=0.0,
        downtilt_deg=0.0,
    )
    return [(group, [*(name for side in COMPASS for name in _serves(scenario, side)), "court"])]


def _facing(scenario):
    """Two sides with facing banks."""
    banks = _banks(scenario)
    for side in ("north", "east"):
        if side in banks and OPPOSITE[side] in banks:
            return side, OPPOSITE[side]
    raise Misfit("two facing banks are needed for this arrangement.")


def _center_to_banks(scenario, loudspeaker="two-way 90x60"):
    kind, banks, placed = scenario.loudspeaker_types[loudspeaker], _banks(scenario), []
    for side in _facing(scenario):
        bank, out = banks[side], kind.depth + kind.width / 2 + APART
        _, along, inward = along_wall(side, scenario.hall)
        ways = {}
        for half, name in (
            (-1, "west" if along[0] else "south"),
            (1, "east" if along[0] else "north"),
        ):
            # the middle of its half
            target = _bank_point(scenario, bank, along=half * bank.length / 4)
            way = abs((target + out * inward) @ inward)
            ways[half] = (
                name,
                target,
                math.atan2(abs((target - half * kind.width / 2 * along) @ along), way),
            )
        spacing = (
            kind.width
            + 2 * kind.depth * math.sin(max(turned for _, _, turned in ways.values()))
            + APART
        )
        for half, (name, target, _) in ways.items():
            at = -out * inward + half * spacing / 2 * along
            group = _group(
                scenario,
                f"center {side}, {name}",
                f"{side[0]}{name[0]}".upper(),
                loudspeaker,
                at[:2],
                target,
            )
            placed.append((group, [*_serves(scenario, side), "court"]))
    return placed


def _bank_rows(scenario, loudspeaker, number=3):
    """Loudspeakers over the side lines, one row a bank, each aimed square at its bank."""
    banks, placed = _banks(scenario), []
    if not banks:
        raise Misfit("a bank of seats is needed for this arrangement.")
    court = scenario.lines
    for side, bank in banks.items():
        foot, along, inward = along_wall(side, scenario.hall)
        half = (court.width if side in ("north", "south") else court.length) / 2
        wall = abs(foot @ inward)
        # over the side line, or just in front of a bank that reaches over it
        from_wall = max(wall - half, bank.depth + 0.5)
        if wall - from_wall < 1.0:
            from_wall = wall - 1.0
        at = foot + from_wall * inward + bank.offset * along
        target = _bank_point(scenario, bank)
        group = _group(
            scenario,
            f"{side} row",
            side[0].upper(),
            loudspeaker,
            at[:2],
            target,
            number=number,
            spacing=bank.length / number,
            along_deg=_across(side),
        )
        placed.append((group, _serves(scenario, side)))
    return placed


def _rows_and_ends(scenario, loudspeaker="two-way 90x60"):
    placed, court = _bank_rows(scenario, loudspeaker), scenario.lines
    for side, sign in (("west", -1), ("east", 1)):
        at = (sign * court.length / 2 * 0.95, 0.0)
        target = (-sign * court.length * 0.05, 0.0, 1.5)  # a little beyond the middle
        placed.append(
            (
                _group(scenario, f"{side} end", f"{side[0].upper()}E", "two-way 60x40", at, target),
                ["court"],
            )
        )
    return placed


def _platform(scenario):
    if not scenario.portable_stages:
        raise Misfit("a portable stage is needed for this arrangement.")
    return scenario.portable_stages[0]


def _away(scenario, platform):
    """Axis (0 x, 1 y) and sign that lead away from a platform into the hall, and its front edge."""
    reach = (abs(platform.x) + platform.length / 2, abs(platform.y) + platform.width / 2)
    axis = 0 if reach[0] / scenario.hall.length >= reach[1] / scenario.hall.width else 1
    middle = (platform.x, platform.y)[axis]
    sign = -1.0 if middle > 0 else 1.0
    return axis, sign, middle + sign * (platform.length, platform.width)[axis] / 2


def _rows_and_stage(scenario, loudspeaker="two-way 90x60"):
    placed, platform = _bank_rows(scenario, loudspeaker), _platform(scenario)
    axis, sign, front = _away(scenario, platform)
    span = ((platform.width, platform.length)[axis]) + 2.0
    at, target = [platform.x, platform.y], [platform.x, platform.y, 1.2]
    at[axis] = front + sign * 0.3
    far = (scenario.lines.length, scenario.lines.width)[axis] / 2
    target[axis] = front + sign * 0.65 * abs(sign * far - front)  # towards the back of the chairs
    group = _group(
        scenario,
        "stage pair",
        "P",
        "two-way 90x60",
        at,
        target,
        number=2,
        spacing=span,
        along_deg=90.0 * (1 - axis),
    )
    return [*placed, (group, ["court"])]


def _stage_line(scenario, sides, loudspeaker):
    """Four loudspeakers in one line at the wall of a built-in stage, the inner two to the floor,
    the outer two beyond it.
    """
    stage = scenario.stage
    if stage is None or stage.side not in sides:
        where = "a side" if "north" in sides else "an end"
        raise Misfit(f"a built-in stage on {where} of the hall is needed for this arrangement.")
    foot, along, inward = along_wall(stage.side, scenario.hall)
    place = foot + stage.offset * along + WALL * inward
    depth = scenario.hall.width if stage.side in ("north", "south") else scenario.hall.length
    wall = scenario.hall.length if stage.side in ("north", "south") else scenario.hall.width
    step = min(stage.width / 3, (wall - 2.0) / 3)
    banks = _banks(scenario)
    floor = place + 0.45 * depth * inward
    names = [f.name for f in scenario.floor_seats]
    inner = _group(
        scenario,
        "stage line",
        "L",
        loudspeaker,
        place[:2],
        (floor[0], floor[1], 1.2),
        number=2,
        spacing=step,
        along_deg=_across(stage.side),
    )
    return stage, banks, place, inward, along, depth, step, inner, names


def _stage_side(scenario, loudspeaker="two-way 90x60"):
    stage, banks, place, inward, _, depth, step, inner, names = _stage_line(
        scenario, ("north", "south"), loudspeaker
    )
    across = OPPOSITE[stage.side]
    if across in banks:
        target = _bank_point(scenario, banks[across])
    else:
        far = place + 0.75 * depth * inward
        target = (far[0], far[1], 1.2)
    serves = _serves(scenario, across)
    outer = _group(
        scenario,
        "stage line, outer",
        "O",
        loudspeaker,
        place[:2],
        target,
        number=2,
        spacing=3 * step,
        along_deg=_across(stage.side),
    )
    outer = replace(outer, height=min(outer.height, inner.height))
    inner = replace(inner, height=outer.height)  # level with each other
    return [(inner, ["court", *names]), (outer, [*serves, "court", *names])]


def _stage_end(scenario, loudspeaker="two-way 90x60"):
    stage, banks, place, inward, along, depth, step, inner, names = _stage_line(
        scenario, ("east", "west"), loudspeaker
    )
    placed, serves = [(inner, ["court", *names])], ["court", *names]
    for side in ("north", "south"):
        if side not in banks:
            continue
        sign = 1.0 if side == "north" else -1.0
        at = (place[0], place[1] + sign * 1.5 * step)
        bank = banks[side]
        away = np.sign(inward[0])
        toward = _bank_point(scenario, bank, along=0.0)
        # a little beyond its middle
        toward[0] = bank.corner(scenario.hall, 0, 0, 0)[0] + away * bank.length * 0.1
        group = _group(scenario, f"stage {side}", side[0].upper(), "two-way 60x40", at, toward)
        group = replace(group, height=min(group.height, inner.height))
        placed.append((group, _serves(scenario, side)))
    if len(placed) == 1:
        far = place + 0.75 * depth * inward
        outer = _group(
            scenario,
            "stage line, outer",
            "O",
            loudspeaker,
            place[:2],
            (far[0], far[1], 1.2),
            number=2,
            spacing=3 * step,
            along_deg=90.0,
        )
        placed.append((outer, serves))
    level = min(group.height for group, _ in placed)
    return [(replace(group, height=level), names) for group, names in placed]


def _grid(scenario, loudspeaker="pendant 100", rows=3, columns=3):
    hall, kind, placed = scenario.hall, scenario.loudspeaker_types[loudspeaker], []
    everywhere = [
        "court",
        *(t.name for t in (*scenario.banks, *scenario.balconies, *scenario.floor_seats)),
    ]
    for row in range(rows):
        y = ((row + 0.5) / rows - 0.5) * hall.width
        z = _height(scenario, y, kind, 90.0)
        group = Group(
            name=f"pendants {row + 1}",
            tag=f"P{row + 1}.",
            loudspeaker=loudspeaker,
            number=columns,
            x=0.0,
            y=y,
            height=z,
            spacing=hall.length / columns if columns > 1 else 0.0,
            along_deg=0.0,
            pan_deg=0.0,
            downtilt_deg=90.0,
        )
        placed.append((group, everywhere))
    return placed


def _end_clusters(scenario, loudspeaker="two-way 90x60"):
    court, kind, banks, placed = (
        scenario.lines,
        scenario.loudspeaker_types[loudspeaker],
        _banks(scenario),
        [],
    )
    for end, sign in (("west", -1), ("east", 1)):
        x = sign * court.length / 2
        for side, turn in (("north", 1), ("south", -1)):
            y = turn * (kind.width / 2 + kind.depth / 2 + APART)
            if side in banks:
                target = _bank_point(scenario, banks[side], along=sign * banks[side].length * 0.2)
                serves = [*_serves(scenario, side), "court"]
            else:
                target, serves = np.array([0.0, turn * court.width * 0.35, 1.5]), ["court"]
            tag = f"{end[0]}{side[0]}".upper()
            placed.append(
                (
                    _group(scenario, f"{end} cluster, {side}", tag, loudspeaker, (x, y), target),
                    serves,
                )
            )
    return placed


def _from_across(scenario, loudspeaker="two-way 60x40"):
    banks, court, placed = _banks(scenario), scenario.lines, []
    if not banks:
        raise Misfit("a bank of seats is needed for this arrangement.")
    for side, bank in banks.items():
        foot, along, inward = along_wall(side, scenario.hall)
        half = (court.width if side in ("north", "south") else court.length) / 2
        # over the far side line
        at = foot + (abs(foot @ inward) + half * 0.8) * inward + bank.offset * along
        target = _bank_point(scenario, bank)
        group = _group(
            scenario,
            f"{side} from across",
            side[0].upper(),
            loudspeaker,
            at[:2],
            target,
            number=2,
            spacing=bank.length / 2,
            along_deg=_across(side),
        )
        placed.append((group, _serves(scenario, side)))
    court_pair = _group(
        scenario,
        "court pair",
        "C",
        "two-way 90x60",
        (0.0, 0.0),
        (0.0, 0.0, 1.5),
        number=2,
        spacing=court.length / 2,
    )
    return [*placed, (replace(court_pair, pan_deg=90.0, downtilt_deg=90.0), ["court"])]


ARRANGEMENTS = {
    a.key: a
    for a in (
        Arrangement(
            key="center four",
            title="Four loudspeakers together at the center, facing the four sides",
            fits=(
                "One place to hang and wire; fits a compact hall where banks are shallow and games"
                " are the main use."
            ),
            gives_up=(
                "Long throws to the top rows and energy on the walls; a microphone on the court is"
                " under it."
            ),
            place=_center_four,
        ),
        Arrangement(
            key="center housing",
            title="One housing at the center that fires to four sides",
            fits=(
                "The same job as four loudspeakers where weight, price or looks allow only one"
                " hanging point."
            ),
            gives_up="Nothing in it can be turned, tilted or switched by itself.",
            place=_center_housing,
        ),
        Arrangement(
            key="center to banks",
            title="Four loudspeakers at the center, turned more towards two facing banks",
            fits="Two facing banks and little to be heard at the ends of the court.",
            gives_up="The ends of the court and anything that stands there.",
            place=_center_to_banks,
        ),
        Arrangement(
            key="rows and ends",
            title=(
                "Three loudspeakers a bank over the side lines, two firing down the court from its"
                " ends"
            ),
            fits=(
                "Deep banks: nearer loudspeakers reach the top rows evenly, and the court has its"
                " own two."
            ),
            gives_up=(
                "More loudspeakers, cable and hanging points; the end loudspeakers fire at a stage"
                " at the other end."
            ),
            place=_rows_and_ends,
        ),
        Arrangement(
            key="rows and stage",
            title=(
                "Three loudspeakers a bank over the side lines, two framing the portable stage and"
                " firing away from it"
            ),
            fits=(
                "Deep banks and graduations: the voice comes from the stage, and its microphones"
                " are behind the loudspeakers."
            ),
            gives_up="The court is covered from one end only.",
            place=_rows_and_stage,
        ),
        Arrangement(
            key="stage on a side",
            title="Four in one line at the stage wall of a side, firing away from the stage",
            fits=(
                "A built-in stage on a long side: one line, level, for floor and opposite bank;"
                " arrivals stay together."
            ),
            gives_up="Banks on the stage's own side, and long throws across a wide hall.",
            place=_stage_side,
        ),
        Arrangement(
            key="stage on an end",
            title="A line at the stage end firing away, to the court and to the banks",
            fits=(
                "A built-in stage on an end with one or two banks: the voice comes from the stage"
                " in every use."
            ),
            gives_up="The far ends of long banks, which are far away and off to the side.",
            place=_stage_end,
        ),
        Arrangement(
            key="pendants",
            title="A grid of pendants firing down",
            fits="Clarity at low level everywhere, for a low or hard room and many different uses.",
            gives_up=(
                "Microphones that walk under it, many hanging points, and a voice that comes from"
                " above."
            ),
            place=_grid,
        ),
        Arrangement(
            key="end clusters",
            title="A pair over each end line, each turned to its half of the banks",
            fits="Scoreboard or truss at both ends and nothing allowed over the court.",
            gives_up="Two clusters that arrive apart in the middle of the hall.",
            place=_end_clusters,
        ),
        Arrangement(
            key="from across",
            title="Each bank from loudspeakers over the far side line, and a pair over the court",
            fits=(
                "Banks that reach over the side lines or low joists over them: the flatter throw"
                " runs along the slope of seats."
            ),
            gives_up="Longer throws, and loudspeakers that pass over the court.",
            place=_from_across,
        ),
    )
}
