"""Starting layouts that place and aim themselves in any gym; every one can be edited afterwards."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from ..physics.checks import whole
from ..venue.arguments import FROM_LOAD, kind_of, one_of
from ..venue.renamed import warn_renamed
from ..venue.scenario import Scenario
from ..venue.tables import named
from ..venue.uses import GroupSetting
from . import layouts
from .placing import disentangled

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
    place: Callable  # scenario -> list of (Group, areas it serves)


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
        Of a grid of pendants [-]
    cabinet : str, optional
        Former name of ``loudspeaker``

    Returns
    -------
    scenario : Scenario
        In every use the groups that serve who listens are on, at equal gain and no delay

    Raises
    ------
    placing.Misfit
        One line on what the gym would need (a bank, a stage, more height)
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
    placed = disentangled(scenario, ARRANGEMENTS[key].place(scenario, **options))
    groups = tuple(group for group, _ in placed)
    uses = tuple(replace(use, groups=_settings(scenario, use, placed)) for use in scenario.uses)
    return replace(scenario, groups=groups, uses=uses)


def fitting(scenario):
    """Arrangements that this gym can take.

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
    for key in ARRANGEMENTS:
        try:
            fits[key] = arrange(scenario, key)
        except ValueError as error:
            reasons[key] = str(error)
    return fits, reasons


def _settings(scenario, use, placed):
    """Groups that serve nobody who listens are off; if that leaves none, all play."""
    listening = {name for name, weight in use.listens.items() if weight > 0}
    # chairs stand on the court
    listening |= {"court"} if listening & {f.name for f in scenario.floor_seats} else set()
    silent = [group.name for group, serves in placed if not listening & set(serves)]
    return {} if len(silent) == len(placed) else {name: GroupSetting(on=False) for name in silent}


ARRANGEMENTS = {
    a.key: a
    for a in (
        Arrangement(
            key="center four",
            title="Four loudspeakers together at the center, facing the four sides",
            fits=(
                "One place to hang and wire; fits a compact gym where banks are shallow and games"
                " are the main use."
            ),
            gives_up=(
                "Long throws to the top rows and energy on the walls; a microphone on the court is"
                " under it."
            ),
            place=layouts.center_four,
        ),
        Arrangement(
            key="center housing",
            title="One housing at the center that fires to four sides",
            fits=(
                "The same job as four loudspeakers where weight, price or looks allow only one"
                " hanging point."
            ),
            gives_up="Nothing in it can be turned, tilted or switched by itself.",
            place=layouts.center_housing,
        ),
        Arrangement(
            key="center to banks",
            title="Four loudspeakers at the center, turned more toward two facing banks",
            fits="Two facing banks and little to be heard at the ends of the court.",
            gives_up="The ends of the court and anything that stands there.",
            place=layouts.center_to_banks,
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
            place=layouts.rows_and_ends,
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
            place=layouts.rows_and_stage,
        ),
        Arrangement(
            key="stage on a side",
            title="Four in one line at the stage wall of a side, firing away from the stage",
            fits=(
                "A built-in stage on a long side: one line, level, for floor and opposite bank;"
                " arrivals stay together."
            ),
            gives_up="Banks on the stage's own side, and long throws across a wide gym.",
            place=layouts.stage_on_a_side,
        ),
        Arrangement(
            key="stage on an end",
            title="A line at the stage end firing away, to the court and to the banks",
            fits=(
                "A built-in stage on an end with one or two banks: the voice comes from the stage"
                " in every use."
            ),
            gives_up="The far ends of long banks, which are far away and off to the side.",
            place=layouts.stage_on_an_end,
        ),
        Arrangement(
            key="pendants",
            title="A grid of pendants firing down",
            fits=(
                "Clear speech at low level everywhere, for a low or hard gym and many different"
                " uses."
            ),
            gives_up=(
                "Microphones that walk under it, many hanging points, and a voice that comes from"
                " above."
            ),
            place=layouts.grid,
        ),
        Arrangement(
            key="end clusters",
            title="A pair over each end line, each turned to its half of the banks",
            fits="Scoreboard or truss at both ends and nothing allowed over the court.",
            gives_up="Two clusters that arrive apart in the middle of the gym.",
            place=layouts.end_clusters,
        ),
        Arrangement(
            key="from across",
            title="Each bank from loudspeakers over the far side line, and a pair over the court",
            fits=(
                "Banks that reach over the side lines or low joists over them: the flatter throw"
                " runs along the slope of seats."
            ),
            gives_up="Longer throws, and loudspeakers that pass over the court.",
            place=layouts.from_across,
        ),
    )
}
