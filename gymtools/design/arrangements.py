"""Starting layouts that place and aim themselves in any gym; every one can be edited afterwards."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from ..physics.checks import whole
from ..venue.arguments import FROM_LOAD, kind_of, one_of
from ..venue.renamed import warn_renamed
from ..venue.scenario import Scenario
from ..venue.tables import named
from ..venue.units import from_file, to_file
from ..venue.uses import GroupSetting
from . import layouts
from .free_places import delay_after, is_divided, on_both_sides, placed_freely, side_of
from .placing import Misfit, ears_of, listening, on_floor, share_in_beams

REACHED = 0.2  # of the ears of an area in a beam: with fewer it gets loudspeakers of its own [-]
PASSES = 2  # of looking who is left out
FINE = 10_000  # parts of a meter or a foot in which places are given
FORMER = {f"centre {words}": f"center {words}" for words in ("four", "housing", "to banks")}


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """A way to hang loudspeakers: when it fits, what it gives up, and the function that
    places it.
    """

    key: str
    title: str
    fits: str
    gives_up: str
    place: Callable  # scenario -> list of Placed
    types: tuple = ()  # other types of loudspeaker that are worth a try
    offered: bool = True  # where a list of arrangements is shown


def arrange(scenario, key, *, loudspeaker=None, rows=3, columns=3, cabinet=None):
    """The scenario with its loudspeakers replaced by an arrangement, placed and aimed for this
    gym.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating, stages and uses; its groups are replaced
    key : str
        One of ``ARRANGEMENTS``
    loudspeaker : str, optional
        Type of the main groups; what the arrangement usually takes when left out
    rows, columns : int
        Of "pendants", a grid of so many over the whole floor; those of a "pendant grid" follow
        from height and cone [-]
    cabinet : str, optional
        Former name of ``loudspeaker``

    Returns
    -------
    scenario : Scenario
        Clear of all that stands and hangs there, under joists where these are known. In every use
        the groups that serve who listens are on, at equal gain; a second line comes as much later
        as the first one is farther away

    Raises
    ------
    placing.Misfit
        One line on what the gym would need (a bank, a stage, a free place)
    ValueError
        No scenario; an unknown arrangement or loudspeaker; rows or columns outside 1 to 8
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    if isinstance(key, str) and key in FORMER:
        warn_renamed(f"arrangement '{key}'", f"'{FORMER[key]}'")
        key = FORMER[key]
    if cabinet is not None:
        warn_renamed("arrange(cabinet=...)", "arrange(loudspeaker=...)")
        loudspeaker = cabinet
    one_of("arrangement", key, ARRANGEMENTS)
    if loudspeaker is not None:
        named(scenario.loudspeaker_types, loudspeaker, "loudspeaker")
    options = {} if loudspeaker is None else {"loudspeaker": loudspeaker}
    if key == "pendants":
        options |= {"rows": whole("rows", rows, 1, 8), "columns": whole("columns", columns, 1, 8)}
    placed = hung(scenario, key, **options)
    uses = tuple(replace(use, groups=_settings(scenario, use, placed)) for use in scenario.uses)
    groups = [one.group for one in placed]
    try:
        tidy = tuple(_measurable(group, scenario.units) for group in groups)
        return replace(scenario, groups=tidy, uses=uses)
    except ValueError:  # somewhere it is that tight
        return replace(scenario, groups=tuple(groups), uses=uses)


def _measurable(group, units):
    """A group at a place that can be measured in the gym and read in its file."""

    def nearest(value, to=round):
        return from_file(to(to_file(value, "m", units) * FINE) / FINE, "m", units)

    return replace(
        group,
        x=nearest(group.x),
        y=nearest(group.y),
        spacing=nearest(group.spacing),
        height=nearest(group.height, math.floor),
    )


def hung(scenario, key, **options):
    """Groups of an arrangement where they can hang, with the areas that they serve.

    Parameters
    ----------
    scenario : Scenario
        The gym
    key : str
        One of ``ARRANGEMENTS``
    options : any
        Type of loudspeaker, rows and columns, as for ``arrange``

    Returns
    -------
    placed : list of Placed
        Nobody who listens in one use or another is left out

    Raises
    ------
    placing.Misfit
        As ``arrange``
    """
    placed = ARRANGEMENTS[key].place(scenario, **options)
    placed = on_both_sides(scenario, placed)
    for _ in range(PASSES):  # what is moved out of the way may leave somebody out
        placed = placed_freely(scenario, _told_apart(placed))
        # a given number of pendants is that number
        more = _for_those_left(scenario, placed) if ARRANGEMENTS[key].offered else []
        if not more:
            break
        placed = [*placed, *more]
    return placed_freely(scenario, _told_apart(placed)) if more else placed


def _told_apart(placed):
    """Groups with tags and names of their own."""
    tags, names, found = set(), set(), []
    for one in placed:
        tag, name, count = one.group.tag, one.group.name, 1
        while tag in tags or name in names:
            count += 1
            tag, name = f"{one.group.tag}{count}.", one.group.name
            name = f"{name} {count}" if name in names else name
        tags.add(tag)
        names.add(name)
        found.append(one._replace(group=replace(one.group, tag=tag, name=name)))
    return found


def fitting(scenario):
    """Arrangements on offer that this gym can take.

    Parameters
    ----------
    scenario : Scenario
        Hall, seating and stages

    Returns
    -------
    fits : dict
        Scenario by key
    reasons : dict
        Why not, by key, for the others
    """
    fits, reasons = {}, {}
    for key in OFFERED:
        try:
            fits[key] = arrange(scenario, key)
        except ValueError as error:
            reasons[key] = str(error)
    return fits, reasons


def _for_those_left(scenario, placed):
    """Groups for areas that an arrangement does not serve, or of whose ears hardly any lie in a
    beam.
    """
    floor = set(on_floor(scenario))
    halves = {n for use in scenario.uses if use.divided for n in use.listens}
    whole = [name for name in listening(scenario) if name not in halves]
    left = [name for name in whole if not _reached(scenario, placed, name, floor)]
    more = on_both_sides(scenario, layouts.for_those_left(scenario, left)) if left else []
    for use in (use for use in scenario.uses if use.divided):
        side = scenario.side(use)
        here = [one for one in [*placed, *more] if side_of(scenario, one.group) == side]
        names = [n for n, weight in use.listens.items() if weight > 0]
        alone = [name for name in names if not _reached(scenario, here, name, floor)]
        if alone:
            half = scenario.divider.sides[side]
            more += layouts.for_those_left(scenario, alone, half)
    return more


def _reached(scenario, placed, name, floor):
    """Whether what serves an area has enough of its ears in a beam."""
    points = ears_of(scenario, name)
    if points is None:  # no use has room for it
        return True
    groups = [one.group for one in placed if _served([one], name, floor)]
    return share_in_beams(scenario, groups, points) >= REACHED


def _served(placed, name, floor):
    """Whether a group of an arrangement serves an area; what serves the court serves all on it."""
    enough = {name, "court"} if name in floor else {name}
    return any(enough & set(one.serves) for one in placed)


def _settings(scenario, use, placed):
    """Groups that serve nobody who listens are off, as those on the other side of a divider that
    is drawn; if that leaves none, all play. A second line is late.
    """
    names = [name for name, weight in use.listens.items() if weight > 0]
    floor = set(on_floor(scenario))
    silent = [one.group.name for one in placed if not any(_served([one], n, floor) for n in names)]
    if use.divided and is_divided(scenario):
        side = scenario.side(use)
        silent += [o.group.name for o in placed if side_of(scenario, o.group) != side]
    silent = set(silent)
    if len(silent) == len(placed):
        if use.divided:
            raise Misfit(f"'{use.name}' would have no loudspeaker on its side of the divider.")
        silent = set()
    groups = {one.group.name: one for one in placed}
    found = {name: GroupSetting(on=False) for name in groups if name in silent}
    for name, one in groups.items():
        if one.after in groups and not {name, one.after} & silent:
            delay = delay_after(scenario, one, groups[one.after].group)
            found[name] = GroupSetting(delay_ms=delay)
    return found


ARRANGEMENTS = {
    a.key: a
    for a in (
        Arrangement(
            key="rows and court",
            title="A row for each bank, pendants for the court",
            fits=(
                "Crowds on bleachers one day and classes on the floor the next: rows and pendants"
                " are switched apart, so a class does not play to empty seats."
            ),
            gives_up=(
                "Two kinds of loudspeaker to hang and wire; people on the court hear the rows as"
                " well, a little later."
            ),
            place=layouts.rows_and_court,
            types=("two-way 60x60", "two-way 110x60"),
        ),
        Arrangement(
            key="stage on an end",
            title="Everyone from one line above a stage at the end",
            fits=(
                "A gym that is a theater as well: sound comes from where people look, also at"
                " games."
            ),
            gives_up=("Seats at the other end are far away, and long banks hear it from the side."),
            place=layouts.stage_on_an_end,
            types=("long-throw 60x30", "two-way 90x40"),
        ),
        Arrangement(
            key="end clusters",
            title="From above both baskets, each pair to its own half",
            fits="Nothing may hang over the court, and both ends have a truss or a scoreboard.",
            gives_up="People at midcourt hear two pairs, one after the other.",
            place=layouts.end_clusters,
            types=("long-throw 60x30", "two-way 110x60"),
        ),
        Arrangement(
            key="center to banks",
            title="From midcourt to two facing crowds",
            fits="Two banks that face each other fill the gym, and the court's ends matter little.",
            gives_up="People at the ends of the court, who are beside every beam.",
            place=layouts.center_to_banks,
            types=("two-way 60x60", "two-way 60x40"),
        ),
        Arrangement(
            key="pendant grid",
            title="Pendants over all who listen",
            fits=(
                "Many uses in a low or a ringing gym: everyone has a loudspeaker near, and each"
                " plays softly."
            ),
            gives_up=(
                "A microphone carried about the floor is always under one of them; the voice comes"
                " from the roof, and many points must hold a load."
            ),
            place=layouts.pendant_grid,
            types=("pendant 70",),
        ),
        Arrangement(
            key="rows and stage",
            title="A row for each bank, a pair beside the portable stage",
            fits=(
                "Graduations in front of full bleachers: the chairs hear the voice from the stage,"
                " whose microphones stay behind the pair."
            ),
            gives_up="A class at the far end of the floor hears everything from one end.",
            place=layouts.rows_and_stage,
            types=("two-way 60x60", "two-way 110x60"),
        ),
        Arrangement(
            key="from across",
            title="Each bank from over the opposite side line",
            fits=(
                "Bleachers that come out over the side lines, or low steel above them: sound"
                " climbs the rows at a flat angle."
            ),
            gives_up=(
                "Twice the throw of a row in front of its bank; enclosures hang over the court."
            ),
            place=layouts.from_across,
            types=("long-throw 60x30",),
        ),
        Arrangement(
            key="stage on a side",
            title="Everyone from one line above a stage at the side",
            fits="A stage on a long wall: floor and the bank across hear one line at one time.",
            gives_up=(
                "Seats beside the stage, which are behind the line; a wide gym is a long throw."
            ),
            place=layouts.stage_on_a_side,
            types=("two-way 90x40", "two-way 110x60"),
        ),
        Arrangement(
            key="center housing",
            title="One enclosure over midcourt for all sides",
            fits="A small gym with one strong point in the roof and little money.",
            gives_up=(
                "Choice: what one side needs all sides get, and nothing can be left out in a class."
            ),
            place=layouts.center_housing,
        ),
        Arrangement(
            key="stage and second line",
            title="A line above the stage, a delayed line for the far half",
            fits=(
                "Shows in a long gym: the second line lifts the far half without pulling the voice"
                " off the stage, and rows do the same for the banks."
            ),
            gives_up="Delays that must be right in every use, and the most cable of all.",
            place=layouts.stage_and_second_line,
            types=("two-way 60x60", "two-way 90x40"),
        ),
        Arrangement(
            key="center four",
            title="One loudspeaker a side, together over midcourt",
            fits="Shallow seats on any side of a compact gym, hung and wired at one point.",
            gives_up=(
                "Top rows are the farthest from it, much of it meets walls, and a talker at"
                " midcourt stands under it."
            ),
            place=layouts.center_four,
            types=("two-way 60x60", "two-way 110x60"),
        ),
        Arrangement(
            key="rows and ends",
            title="A row for each bank, the court from its two ends",
            fits=(
                "Deep bleachers and a court that needs level of its own, with nothing hung over the"
                " middle of play."
            ),
            gives_up=(
                "Midcourt hears both ends apart, and one end fires at whatever stage stands at the"
                " other."
            ),
            place=layouts.rows_and_ends,
            types=("two-way 60x60", "two-way 110x60"),
        ),
        Arrangement(
            key="pendants",
            title="So many rows and columns of pendants",
            fits="Comparing numbers of pendants over one floor.",
            gives_up="Everything that a grid made for this gym gives up, and its fit to the seats.",
            place=layouts.grid,
            offered=False,
        ),
    )
}


OFFERED = {key: a for key, a in ARRANGEMENTS.items() if a.offered}  # in the order of a list
