"""Aiming: turning, tilting, lifting and balancing loudspeaker groups for the best result over all
uses at once.
"""

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from ..acoustics.evaluate import ROOMS, evaluate
from ..physics.checks import whole
from ..venue.arguments import FROM_LOAD, call_of, kind_of, names_of, one_of, yes_or_no
from ..venue.paths import changed, value_at
from ..venue.renamed import current_fields, warn_renamed
from ..venue.scenario import Scenario
from .adjustments import KEYS, STEP, mirrored
from .delays import aligned
from .search import WORTH, Search, SearchTask, present_keys
from .weights import Weights, penalties, penalty

MOST_STARTS, MOST_EVALUATIONS, MOST_SEED = 1000, 10_000_000, 2**32 - 1
ROUNDING_WORTH = 0.05  # what values in settable steps may cost against the best found [steps]


@dataclass(frozen=True, kw_only=True, eq=False)
class Aimed:
    """What a search found; ``before`` and ``after`` are penalties over all seats, lower is
    better.
    """

    scenario: Scenario
    before: float
    after: float
    penalties_before: dict  # by criterion, in steps
    penalties_after: dict
    moved: dict  # (from, to) by path
    room: str  # in which both are judged
    given_up: bool  # something was found that was better for few seats and few rays only
    evaluations: int  # of one use each
    stopped: bool
    # what the gains that moved buy in a use: steps that it would lack with them at 0 dB, by
    # criterion, weighed; by use
    gains_buy: dict


def Wishes(**weights):
    """``Weights`` under their former name.

    Parameters
    ----------
    weights : float
        By the names of ``Weights``, or by their former names [-]

    Returns
    -------
    weights : Weights
        What ``aim`` takes
    """
    warn_renamed("Wishes(...)", "Weights(...)")
    return Weights(**current_fields(Weights, weights))


def aim(
    scenario,
    groups=None,
    *,
    move=("pan_deg", "downtilt_deg", "gain_db", "delay_ms"),
    symmetric=True,
    weights=None,
    room="traced",
    starts=3,
    evaluations=2000,
    seed=1,
    progress=None,
    stop=None,
    wishes=None,
):
    """The scenario with groups turned, tilted, lifted and balanced for the best result over all its
    uses.

    Parameters
    ----------
    scenario : Scenario
        Where to start from; it is never made worse
    groups : sequence of str, optional
        Groups that may move; all when left out
    move : str or sequence of str
        What may move: "pan_deg", "downtilt_deg", "splay_deg", "height" (under the clear height),
        "gain_db" and "delay_ms" (use by use)
    symmetric : bool
        Whether a layout that mirrors itself along or across the gym goes on doing so
    weights : Weights, optional
        How much each criterion counts; the usual weights when left out
    room : str
        In which room is searched and judged, as for ``evaluate``
    starts : int
        Starting points: the scenario as it is, then the best of random ones [-]
    evaluations : int
        Evaluations of one use at most; time grows with it [-]
    seed : int
        Of the random starting points; the same seed gives the same answer [-]
    progress : callable, optional
        Called with (share done, best scenario so far, its draft score) whenever a better one is
        found
    stop : callable, optional
        When it answers true the search ends with the best so far
    wishes : Weights, optional
        Former name of ``weights``

    Returns
    -------
    aimed : Aimed
        The best scenario, in steps that can be set, and what it is better in

    Raises
    ------
    ValueError
        No scenario; an unknown group, kind of adjustment or room; weights of another kind; starts,
        evaluations or a seed that are no whole numbers; symmetric that is neither True nor False;
        progress or stop that are no functions; nothing that can move

    Notes
    -----
    The search (L-BFGS-B from several starting points, gradients by differences in the uses that a
    change touches) looks at some 60 seats an area with few rays. Near an aim that was traced, what
    a loudspeaker feeds the room follows what the first surface leaves of its sound; the room is
    traced anew at every start and at what was found from it. The answer is judged over all seats
    with all rays, and given up if it is not better there.
    Gains stay near 0 dB: what all groups of a use share is left to the master, and a gain that does
    not buy 0.01 steps for each decibel is taken back. Delays are set last: for each use those of
    ``delays.aligned`` with the lead that helps most, if any does.
    """
    if wishes is not None:
        warn_renamed("aim(wishes=...)", "aim(weights=...)")
        weights = wishes
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    names = [g.name for g in scenario.groups]
    weights = Weights() if weights is None else weights
    move = (move,) if isinstance(move, str) else move
    listed = isinstance(move, list | tuple | set | frozenset)
    starts = whole("starts", starts, 1, MOST_STARTS)
    task = SearchTask(
        start=scenario,
        groups=names_of("groups", names if groups is None else groups, names),
        move=names_of("move", present_keys(move) if listed else move, KEYS),
        symmetric=yes_or_no("symmetric", symmetric),
        weights=kind_of("weights", weights, Weights, "Give Weights, e.g. Weights(sti=2)."),
        room=one_of("room", room, ROOMS),
        evaluations=whole("evaluations", evaluations, 1, MOST_EVALUATIONS),
        seed=whole("seed", seed, 0, MOST_SEED),
        progress=call_of("progress", progress, lambda *_: None),
        stop=call_of("stop", stop, lambda: False),
    )
    search = Search(task)
    search.run(starts)
    return _answer(task, search)


def _answer(task, search):
    """The best draft judged over all seats, with delays, in the room that was asked for."""
    before = _Judged.of(task.start, task)
    after = _best_over_all_seats(task, search, before)
    given_up = after is before and search.moved
    if task.delays:
        after = _with_delays(task, after)
    return Aimed(
        scenario=after.scenario,
        before=before.score,
        after=after.score,
        penalties_before=before.penalties,
        penalties_after=after.penalties,
        moved={} if after.scenario is task.start else _moved(task.start, after.scenario),
        room=task.room,
        given_up=given_up,
        evaluations=search.used,
        stopped=search.stopped,
        gains_buy={} if search.stopped else _gains_buy(task, after),
    )


def _gains_buy(task, judged):
    """What the gains that moved buy, use by use and criterion by criterion, weighed [steps]."""
    found = {}
    for result in judged.results if judged.scenario is not task.start else ():
        use = result.use.name
        paths = [("uses", use, "groups", g.name, "gain_db") for g in task.start.groups]
        flat = {
            path: 0.0
            for path in paths
            if value_at(judged.scenario, path) not in (0.0, value_at(task.start, path))
        }
        if flat:
            without = penalties(evaluate(changed(judged.scenario, flat), use, room=task.room))
            found[use] = {
                name: getattr(task.weights, name) * (without[name] - value)
                for name, value in penalties(result).items()
            }
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Judged:
    """A scenario with its results over all seats of all uses."""

    scenario: Scenario
    results: tuple  # Result, one a use
    weights: Weights

    @classmethod
    def of(cls, scenario, task):
        results = tuple(evaluate(scenario, name, room=task.room) for name in task.uses)
        return cls(scenario=scenario, results=results, weights=task.weights)

    @cached_property
    def score(self):
        return float(np.mean([penalty(r, self.weights) for r in self.results]))

    @property
    def penalties(self):
        by_use = [penalties(r) for r in self.results]
        return {f.name: float(np.mean([p[f.name] for p in by_use])) for f in fields(Weights)}


def _best_over_all_seats(task, search, before):
    """The best draft, or the same in settable steps where that costs little; the start where
    neither is better over all seats.
    """
    kept = before
    tried = [] if search.best is None else [search.best, task.settable(search.best)]
    for x in tried:
        try:
            scenario = task.scenario_at(x)
        except ValueError:
            continue
        found = _Judged.of(scenario, task)
        score, kept_score = found.score, kept.score
        settable = kept is not before and score < min(before.score, kept_score + ROUNDING_WORTH)
        if score < kept_score - 1e-6 or settable:
            kept = found
    return kept


def _with_delays(task, judged):
    """The scenario with delays set in the uses where that helps."""
    scenario, results = judged.scenario, list(judged.results)
    together = {g.name: mirrored(task.start, g.name, task.mirrors) for g in task.start.groups}
    for n, use in enumerate(task.uses):
        best = _delays_of_one_use(task, scenario, results[n], together)
        if best is not results[n]:
            results[n] = best
            uses = tuple(best.use if u.name == use else u for u in scenario.uses)
            scenario = replace(scenario, uses=uses)
    return _Judged(scenario=scenario, results=tuple(results), weights=task.weights)


def _delays_of_one_use(task, scenario, result, together):
    """The result with the lead that helps most, or the one without."""
    use = result.use
    playing = [g.name for g in scenario.groups if use.group_setting(g.name).on]
    kept, best = result, penalty(result, task.weights) - WORTH * len(task.uses)
    for lead in playing:
        others = [m for m in playing if m not in together[lead] and m in task.groups]
        if not others or task.stop():
            continue
        tried = aligned(scenario, use.name, lead=lead, groups=others)
        if not _alike(tried.use(use.name), playing, together):
            continue
        found = evaluate(tried, use.name, room=task.room)
        # a delay is there to bring arrivals together: no other gain counts
        nearer = penalties(found)["arrival_spread"] < penalties(kept)["arrival_spread"] - WORTH
        if nearer and penalty(found, task.weights) < best:
            kept, best = found, penalty(found, task.weights)
    return kept


def _alike(use, playing, together):
    """Whether mirrored groups keep one delay."""
    delay = {name: use.group_setting(name).delay_ms for name in playing}
    return all(abs(delay[a] - delay[b]) <= 1 for a in playing for b in together[a] & set(playing))


def _moved(start, end):
    """(from, to) of every value that a search changed."""
    paths = [("groups", g.name, key) for g in start.groups for key in STEP if key != "gain_db"]
    paths += [
        ("uses", use.name, "groups", g.name, key)
        for use in start.uses
        for g in start.groups
        for key in ("gain_db", "delay_ms")
    ]
    values = {path: tuple(value_at(s, path) for s in (start, end)) for path in paths}
    return {path: (a, b) for path, (a, b) in values.items() if abs(a - b) > 1e-9}
