"""Designs proposed for a gym: every arrangement that fits is tried in all uses, the best are aimed
and balanced, and those with the fewest failing checks are stated with all rays.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.criteria import WORDS
from ..acoustics.evaluate import evaluate, evaluate_all
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..equipment.prices import PriceBook, book_name, currency_of
from ..venue.arguments import FROM_LOAD, call_of, kind_of
from ..venue.scenario import Scenario
from ..venue.uses import GroupSetting
from .adjustments import mirrored, mirrors_of
from .arrangements import OFFERED, arrange
from .delays import aligned
from .search import Search, SearchTask
from .weights import Weights, penalty

AIMED = 5  # arrangements that are aimed and balanced
SHOWN = 3  # that are proposed
EVALUATIONS = 180  # of one use each, for the aim of one design
GAINS = (-4.0, 3.0)  # by which a row is turned down or up to balance it [dB]
STEEP = 85.0  # what is tilted down further fires at the floor and is not aimed [deg]
# what a step of the work takes of the bar: rough ranking, aiming, statement
SHARES = (0.3, 0.5, 0.2)


@dataclass(frozen=True, kw_only=True, eq=False)
class ProposedDesign:
    """A design with what it does in every use; ``results`` are those of ``evaluate``."""

    key: str  # of its arrangement; "" for the design that is there
    title: str
    fits: str
    gives_up: str
    scenario: Scenario
    results: dict  # Result by the name of the use
    cost: float  # in the price book's money
    currency: str
    prices: str  # name of the price book

    @property
    def rays(self):
        """With which rays it is stated: "full", or "few" where the work was stopped."""
        return next(iter(self.results.values())).rays

    @property
    def counts(self):
        """Checks that are met, close and failing, by the name of the use (dict of tuple) [-]."""
        return {name: _counted(r.verdicts) for name, r in self.results.items()}

    @property
    def failing(self):
        """Checks that fail over all uses [-]."""
        return sum(failing for _, _, failing in self.counts.values())

    @property
    def close(self):
        """Checks that are close over all uses [-]."""
        return sum(close for _, close, _ in self.counts.values())

    @property
    def checks(self):
        """Checks of all uses [-]."""
        return sum(sum(counts) for counts in self.counts.values())

    @property
    def fails(self):
        """What fails: (use, Verdict) each, in the order of the uses (list of tuple)."""
        return [
            (name, v)
            for name, r in self.results.items()
            for v in r.verdicts
            if v.word not in WORDS[:2]
        ]

    @property
    def loudspeakers(self):
        """Number of loudspeakers by the name of their type (dict) [-]."""
        found = {}
        for c in self.scenario.loudspeakers:
            found[c.type.name] = found.get(c.type.name, 0) + 1
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Proposals:
    """What was found for a gym."""

    best: tuple  # ProposedDesign, the fewest failing checks first, then the lowest cost
    others: tuple  # the same, of the other arrangements that fit
    refused: dict  # reason by the title of an arrangement
    present: ProposedDesign | None  # the design that is there; None where there is none
    stopped: bool  # before all was done

    @property
    def meets(self):
        """Whether no check of the first design fails."""
        return bool(self.best) and not self.best[0].failing


def propose(scenario, *, progress=None, stop=None, prices=None):
    """Propose designs for a gym: its own loudspeakers, if it has any, are replaced.

    Parameters
    ----------
    scenario : Scenario
        Gym, seats and uses
    progress : callable, optional
        Called with (share done, words on what is being done)
    stop : callable, optional
        When it answers true the work ends with what has been found
    prices : PriceBook, optional
        The package's invented one when left out

    Returns
    -------
    proposals : Proposals
        Three designs at most, the other arrangements that fit, and why the rest do not

    Raises
    ------
    ValueError
        No scenario, or no price book; progress or stop that are no functions; a price that is
        lacking

    Notes
    -----
    Every arrangement is tried with its usual loudspeaker and with some others, in all uses with
    few rays. The best five are turned, tilted and balanced by the same search as ``aim`` (few
    rays, symmetry kept), then use by use: rows that do no good are off, levels are balanced, and
    delays set where arrivals come nearer together. Whatever leaves more checks failing is
    reverted. The five are then evaluated with all rays.
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    if prices is not None:
        kind_of("prices", prices, PriceBook, "Give what read_prices returns.")
    work = _Work(
        scenario=scenario,
        prices=prices,
        tell=call_of("progress", progress, lambda *_: None),
        stop=call_of("stop", stop, lambda: False),
    )
    tried, refused = _tried(work)
    found = [_improved(work, one, n) for n, one in enumerate(tried[:AIMED])]
    stated = [_stated(work, one, n / len(found)) for n, one in enumerate(found)]
    stated.sort(key=_order)
    others = [*stated[SHOWN:], *tried[AIMED:]]
    present = None
    if scenario.groups and not work.stop():
        present = _design(work, scenario, rays="full")
    return Proposals(
        best=tuple(stated[:SHOWN]),
        others=tuple(sorted(others, key=_order)),
        refused=refused,
        present=present,
        stopped=work.stop(),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Work:
    """What a proposal is asked for, and whom it tells."""

    scenario: Scenario
    prices: PriceBook | None
    tell: object
    stop: object

    def say(self, step, share, words):
        """Tell how far a step of the work is."""
        self.tell(sum(SHARES[:step]) + SHARES[step] * share, words)


def _counted(verdicts):
    """Verdicts that are met, close and failing."""
    words = [v.word for v in verdicts]
    met, close = words.count(WORDS[0]), words.count(WORDS[1])
    return met, close, len(words) - met - close


def _order(design):
    return design.failing, design.cost, design.close


def _design(work, scenario, key="", rays="few"):
    """A design evaluated in all its uses."""
    results = evaluate_all(scenario, rays=rays).results
    drive = amplify(scenario, results, prices=work.prices)
    arrangement = OFFERED.get(key)
    return ProposedDesign(
        key=key,
        title=arrangement.title if arrangement else "As it is",
        fits=arrangement.fits if arrangement else "",
        gives_up=arrangement.gives_up if arrangement else "",
        scenario=scenario,
        results=results,
        cost=cost(scenario, work.prices, amplification=drive),
        currency=currency_of(work.prices),
        prices=book_name(work.prices),
    )


# ---- rough ranking


def _tried(work):
    """The best variant of every arrangement that fits, best first; and why others do not fit."""
    found, refused = [], {}
    for n, (key, arrangement) in enumerate(OFFERED.items()):
        if work.stop() and found:
            break
        count = f"{n + 1} of {len(OFFERED)}"
        work.say(0, n / len(OFFERED), f"Step 1 of 3, trying {count}: {arrangement.title}.")
        variants = []
        for loudspeaker in (None, *arrangement.types):
            try:
                made = arrange(work.scenario, key, loudspeaker=loudspeaker)
                variants.append(_design(work, made, key))
            except ValueError as error:
                if loudspeaker is None:
                    refused[arrangement.title] = str(error)
                    break
            if work.stop():
                break
        if variants:
            found.append(min(variants, key=_rough))
    return sorted(found, key=_rough), refused


def _rough(design):
    """Order of designs whose figures are of few rays: failing checks, half as much what is close,
    then how far all is from its targets.
    """
    return design.failing + design.close / 2, _penalty(design.results.values())


def _penalty(results):
    return float(np.mean([penalty(r, Weights()) for r in results]))


# ---- aim and balance


def _improved(work, design, n):
    """A design aimed, then balanced use by use; as it was where that fails more checks."""
    if work.stop():
        return design
    work.say(1, n / AIMED, f"Step 2 of 3, aiming {n + 1} of {AIMED}: {design.title}.")
    aimed = _aimed(work, design)
    work.say(1, (n + 0.5) / AIMED, f"Step 2 of 3, balancing {n + 1} of {AIMED}: {design.title}.")
    scenario = aimed.scenario
    for use in scenario.uses:
        if work.stop():
            break
        scenario = _balanced(work, scenario, use.name)
    found = _design(work, scenario, design.key)
    return min((design, aimed, found), key=_rough)


def _aimed(work, design):
    """A design with the aim that the search finds with few rays."""
    try:
        task = SearchTask(
            start=design.scenario,
            groups=tuple(g.name for g in design.scenario.groups if g.downtilt_deg < STEEP),
            move=("pan_deg", "downtilt_deg", "gain_db"),
            symmetric=True,
            weights=Weights(),
            room="traced",
            evaluations=EVALUATIONS,
            seed=1,
            progress=lambda *_: None,
            stop=work.stop,
        )
    except ValueError:  # nothing can move: all of it fires down
        return design
    search = Search(task)
    search.run(1)
    if search.best is None:
        return design
    try:  # in degrees and decibels that an installer can set
        aimed = _design(work, task.scenario_at(task.settable(search.best)), design.key)
    except ValueError:
        return design
    return min(design, aimed, key=_rough)


def _balanced(work, scenario, use):
    """A scenario with the settings of one use changed one by one where that helps: rows off,
    levels, delays.
    """
    kept, score = scenario, _use_score(scenario, use)
    for tried in _settings(work, kept, use):
        if work.stop():
            break
        try:
            made = _with(kept, use, tried)
            found = _use_score(made, use)
        except ValueError:  # nothing would play
            continue
        if found < score:
            kept, score = made, found
    return _delayed(work, kept, use, score)


def _use_score(scenario, use):
    result = evaluate(scenario, use, rays="few")
    _, close, failing = _counted(result.verdicts)
    return failing + close / 2, penalty(result, Weights())


def _settings(work, scenario, use):
    """Changes of settings to be tried: mirrored rows together, off or at another level."""
    playing = [g.name for g in scenario.groups if scenario.use(use).group_setting(g.name).on]
    mirrors, seen = mirrors_of(scenario), set()
    sets = []
    for name in playing:
        together = tuple(sorted(mirrored(scenario, name, mirrors) & set(playing)))
        if together not in seen:
            seen.add(together)
            sets.append(together)
    if len(sets) < 2:
        return
    for names in sets:
        yield {name: dict(on=False) for name in names}
        for gain in GAINS:
            yield {name: dict(gain_db=gain) for name in names}


def _with(scenario, use, changes):
    """A scenario with settings of one use changed."""
    uses = []
    for one in scenario.uses:
        if one.name == use:
            groups = dict(one.groups)
            for name, change in changes.items():
                groups[name] = replace(groups.get(name, GroupSetting()), **change)
            one = replace(one, groups=groups)
        uses.append(one)
    return replace(scenario, uses=tuple(uses))


def _delayed(work, scenario, use, score):
    """A scenario with delays in one use, where a lead brings arrivals nearer together."""
    kept = scenario
    playing = [g.name for g in scenario.groups if scenario.use(use).group_setting(g.name).on]
    mirrors = mirrors_of(scenario)
    leads = {min(mirrored(scenario, name, mirrors)) for name in playing}
    for lead in sorted(leads if len(leads) > 1 else ()):
        if work.stop():
            break
        together = mirrored(scenario, lead, mirrors)
        others = [name for name in playing if name not in together]
        if not others or lead not in playing:
            continue
        made = aligned(scenario, use, lead=lead, groups=others)
        found = _use_score(made, use)
        if found < score:
            kept, score = made, found
    return kept


# ---- statement


def _stated(work, design, share):
    """A design evaluated with all rays, unless the work was stopped."""
    if work.stop():
        return design
    work.say(2, share, f"Step 3 of 3, following all rays: {design.title}.")
    return _design(work, design.scenario, design.key, rays="full")
