"""Advice that has been computed: for what is weakest in a use, the few moves that help most, and
what each costs elsewhere.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..acoustics.criteria import CRITERIA, WORDS, Verdict, judge
from ..acoustics.evaluate import ROOMS, evaluate, evaluate_all
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..equipment.prices import PriceBook, currency_of, money
from ..venue.arguments import FROM_LOAD, call_of, kind_of, one_of
from ..venue.paths import changed
from ..venue.scenario import Scenario
from ..venue.units import area_text
from .moves import LOUDSPEAKER, Move, moves
from .treatment import free_areas, treated

WEAK = 3  # criteria advised on
MOVES = 3  # moves proposed for each
COSTS = 3  # costs of a move that a sentence names; the others are counted
# moves that come nearest with few rays and are judged again with all, before none is said to reach
# the target
CHECKED = 3
WORTH = 0.15  # least gain that is proposed, and least cost that counts, in the criterion's "close"
TREATMENT_MATTERS = ("sti", "speech_to_noise", "rt", "feedback_margin")
QUIET_MATTERS = ("sti", "speech_to_noise")
GRAIN_M2, GRAIN_DB = 5.0, 0.5  # to which the least treatment and the least quiet are found
GRAINS = 40  # a coarser grain where the free area has more steps than this
QUIETER = 40.0  # furthest that noise is turned down to see whether quiet would do [dB]


@dataclass(frozen=True, kw_only=True, eq=False)
class Effect:
    """What a move does to one criterion."""

    use: str
    before: Verdict
    after: Verdict | None  # None: there is nothing left to judge, as of a microphone that is closed

    @property
    def gain(self):
        """How far it comes toward its target or beyond; minus infinity where nothing is left to
        judge [the verdict's unit].
        """
        if self.after is None:
            return -np.inf
        return CRITERIA[self.before.criterion].margin(self.after.value, self.before.value)


@dataclass(frozen=True, kw_only=True, eq=False)
class Proposal:
    """A move with its effect on what is weak, and its worst effects on anything else in any use."""

    move: Move
    effect: Effect
    # Effects that lose 0.15 of the criterion's step or more (``WORTH``), the worst first
    costs: tuple
    price: float  # what it costs more, or less, in the price book's currency
    currency: str = ""  # sign or code of that currency


@dataclass(frozen=True, kw_only=True)
class Least:
    """The least of something that reaches a target."""

    amount: float | None  # None: not even ``most`` does
    most: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Limit:
    """How near single loudspeaker moves come to a target that none of them reaches, and what else
    would reach it.
    """

    verdict: Verdict  # what is weak
    best: float  # best value that a loudspeaker move reaches [the verdict's unit]
    other: Move | None  # of the other moves the one that comes nearest; None where none helps
    other_after: Verdict | None  # with that move
    treatment: Least | None  # more wall panels [m2]; None where they do not matter
    quiet: Least | None  # less noise [dB]; None where it does not matter
    units: str  # of the school, for the words


@dataclass(frozen=True, kw_only=True, eq=False)
class Advice:
    """For one weak criterion."""

    use: str
    verdict: Verdict
    proposals: tuple
    limit: Limit | None  # None where a loudspeaker move reaches the target


@dataclass(frozen=True, kw_only=True, eq=False)
class _Question:
    """What is asked: a design, a use, the room that gains are judged in, and the wish to stop."""

    scenario: Scenario
    use: str
    room: str
    prices: object
    stop: Callable

    def verdicts(self, scenario, rays="full"):
        """Verdicts of another scenario in the use, by criterion and area."""
        return _verdicts(evaluate(scenario, self.use, room=self.room, rays=rays))

    @cached_property
    def few(self):
        """Verdicts of the design itself with few rays."""
        return self.verdicts(self.scenario, "few")

    def stated(self, scenario):
        """Verdicts of a scenario in every use, as they are stated, and what it costs; kept, as one
        move may help in several things.
        """
        if id(scenario) not in self._kept:
            results = evaluate_all(scenario, room=self.room).results
            driven = amplify(scenario, results, prices=self.prices)
            verdicts = {name: _verdicts(result) for name, result in results.items()}
            price = cost(scenario, self.prices, amplification=driven)
            self._kept[id(scenario)] = verdicts, price, scenario
        return self._kept[id(scenario)][:2]

    @cached_property
    def _kept(self):
        return {}


def advise(scenario, use=None, *, room="traced", prices=None, progress=None, stop=None):
    """The few moves that help most for what is weakest in a use, each evaluated.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str, optional
        Name of a use; the first when left out
    room : str
        In which room is searched, with few rays, and judged, with all, as for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out
    progress : callable, optional
        Called with the share that is done, 0 to 1
    stop : callable, optional
        When it answers true the advice so far is returned

    Returns
    -------
    advice : tuple of Advice
        The weakest first; empty when every target is met

    Raises
    ------
    ValueError
        No scenario, an unknown use or room, prices of another kind, or progress or stop that are no
        functions
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    one_of("room", room, ROOMS)
    if prices is not None:
        kind_of("prices", prices, PriceBook, "Give what read_prices(path) returns.")
    progress = call_of("progress", progress, lambda _: None)
    stop = call_of("stop", stop, lambda: False)
    use = scenario.use(use).name
    question = _Question(scenario=scenario, use=use, room=room, prices=prices, stop=stop)
    weak = _weakest(question.verdicts(scenario).values())
    if not weak:
        return ()
    tried, ideas = [], list(moves(scenario, use))
    for k, move in enumerate(ideas):
        if stop():
            return ()
        tried.append((move, question.verdicts(move.scenario, "few")))
        progress(0.7 * (k + 1) / len(ideas))
    found = []
    for k, verdict in enumerate(weak):
        best = _best(tried, question.few, (verdict.criterion, verdict.area))
        proposals = _proposals(question, verdict, best)
        limit = None if stop() else _limit(question, verdict, tried)
        found.append(Advice(use=use, verdict=verdict, proposals=proposals, limit=limit))
        progress(0.7 + 0.3 * (k + 1) / len(weak))
    return tuple(found)


def _verdicts(result):
    """Verdicts by criterion and area; echoes are left out."""
    return {(v.criterion, v.area): v for v in judge(result, echoes=False)}


def _steps(before, after):
    """How much better, in the criterion's "close"."""
    return CRITERIA[before.criterion].steps(after.value, before.value)


def _short(verdict):
    """How far a verdict misses its target, in the criterion's "close"."""
    return max(-CRITERIA[verdict.criterion].steps(verdict.value, verdict.target), 0.0)


def _weakest(verdicts):
    """The worst verdict of each criterion whose target is missed, the worst of all first."""
    worst = {}
    for v in sorted(
        verdicts,
        key=lambda v: (-WORDS.index(v.word), -abs(CRITERIA[v.criterion].steps(v.value, v.target))),
    ):
        if not v.meets:
            worst.setdefault(v.criterion, v)
    return list(worst.values())[:WEAK]


# ---- proposals


def _best(tried, base, key):
    """The best move of each kind, the best few of these."""
    if key not in base:
        return []
    best = {}
    for move, found in tried:
        if key in found and _steps(base[key], found[key]) >= WORTH:
            merit = _merit(base, found, key)
            if merit > best.get(move.kind, (None, -np.inf))[1]:
                best[move.kind] = move, merit
    ranked = sorted(best.values(), key=lambda pair: -pair[1])[:MOVES]
    return [move for move, _ in ranked]


def _merit(base, found, key):
    """What a move gains up to the target, a tenth of what it gains beyond, less half of what others
    fall short by more.

    Something that is no longer there to be judged, a closed microphone, counts as one step.
    """
    gain, need = _steps(base[key], found[key]), _short(base[key])
    worse = sum(
        max(_short(found[k]) - _short(base[k]), 0.0) if k in found else 1.0
        for k in base
        if k != key
    )
    return min(gain, need) + 0.1 * max(gain - need, 0.0) - 0.5 * worse


def _proposals(question, verdict, best):
    """Moves with all rays, with their costs in all uses, the best gain first."""
    found = []
    for move in best:
        if question.stop():
            break
        (before, was), (after, now) = map(question.stated, (question.scenario, move.scenario))
        key = question.use, (verdict.criterion, verdict.area)
        proposal = _proposal(move, key, before, after, now - was)
        if proposal is not None:
            found.append(replace(proposal, currency=currency_of(question.prices)))
    return tuple(sorted(found, key=lambda p: -p.effect.gain))


def _proposal(move, key, before, after, price):
    """A move with its gain and its costs; None where it does not help with all rays."""
    effects = {
        (use, k): Effect(use=use, before=v, after=after[use].get(k))
        for use, verdicts in before.items()
        for k, v in verdicts.items()
    }
    effect = effects.pop(key)
    if effect.after is None or _steps(effect.before, effect.after) < WORTH:
        return None
    costs = tuple(sorted(filter(_is_cost, effects.values()), key=_weight))
    return Proposal(move=move, effect=effect, costs=costs, price=price)


def _is_cost(effect):
    """Whether something gets worse by more than a little. A sight line that is gone as a verdict is
    no cost: every seat sees a loudspeaker then.
    """
    if effect.after is None:
        return effect.before.criterion != "in_sight"
    return _steps(effect.before, effect.after) <= -WORTH


def _weight(effect):
    """What is lost altogether first, then what changes its word for the worse, then the largest."""
    if effect.after is None:
        return 0, 0.0
    fell = WORDS.index(effect.after.word) > WORDS.index(effect.before.word)
    return 1 if fell else 2, _steps(effect.before, effect.after)


# ---- limits


def _limit(question, verdict, tried):
    """How near loudspeaker moves come, and what else would do; None when one of them does."""
    key = verdict.criterion, verdict.area
    nearest = _nearest(question, key, [m for m in tried if m[0].kind in LOUDSPEAKER])
    if any(v.meets for _, v in nearest):
        return None
    others = [
        (move, v)
        for move, v in _nearest(question, key, [m for m in tried if m[0].kind not in LOUDSPEAKER])
        if _steps(verdict, v) >= WORTH
    ]
    reaching = [pair for pair in others if pair[1].meets]
    other, other_after = (reaching or others or [(None, None)])[0]
    better = CRITERIA[verdict.criterion].better
    return Limit(
        verdict=verdict,
        best=max((v.value for v in (*(v for _, v in nearest), verdict)), key=lambda x: better * x),
        other=other,
        other_after=other_after,
        treatment=_treatment(question, key) if verdict.criterion in TREATMENT_MATTERS else None,
        quiet=_quiet(question, key) if verdict.criterion in QUIET_MATTERS else None,
        units=question.scenario.units,
    )


def _nearest(question, key, tried):
    """Moves that come nearest to the target with few rays, with their verdicts with all rays, the
    best first.
    """
    better = CRITERIA[key[0]].better

    def ranked(pairs):
        return sorted(pairs, key=lambda pair: -better * pair[1].value)

    found = ranked((move, v[key]) for move, v in tried if key in v)[:CHECKED]
    if question.room == "traced":
        again = [(move, question.verdicts(move.scenario).get(key)) for move, _ in found]
        found = [(move, v) for move, v in again if v is not None]
    return ranked(found)


def _treatment(question, key):
    """Least area of wall panels that reaches a target [m2]."""
    whole = sum(free_areas(question.scenario).values())
    most = 0.999 * whole
    grain = max(GRAIN_M2, most / GRAINS)
    amount = _least(question, key, lambda area: treated(question.scenario, area), most, grain)
    return Least(amount=amount, most=whole)


def _quiet(question, key):
    """Least cut of the noise that reaches a target [dB]."""
    use = question.scenario.use(question.use)

    def quieter(by):
        if use.noise_dba is None:
            path, noise = "noise_db", tuple(np.clip(use.noise - by, -20, 120).tolist())
        else:
            path, noise = "noise_dba", max(use.noise_dba - by, 10.0)
        return changed(question.scenario, {("uses", use.name, path): noise})

    return Least(amount=_least(question, key, quieter, QUIETER, GRAIN_DB), most=QUIETER)


def _least(question, key, make, most, grain):
    """Least amount of something that reaches a target, by halving; None when even the most does
    not. What it changes is found with few rays, and added to what the design gives with all.
    """
    criterion, designed = CRITERIA[key[0]], question.verdicts(question.scenario)[key]
    off = designed.value - question.few[key].value if key in question.few else 0.0

    def reaches(amount):
        verdict = question.verdicts(make(amount), "few").get(key)
        if verdict is None:
            return True
        return criterion.word(verdict.value + off, verdict.target) == WORDS[0]

    if most <= 0 or not reaches(most):
        return None
    low, high = 0.0, most
    while high - low > grain:
        middle = (low + high) / 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high


# ---- words


def limit_sentence(limit):
    """What no loudspeaker move reaches, and what else would, in words.

    Parameters
    ----------
    limit : Limit
        Of an ``Advice``

    Returns
    -------
    words : str
        A few sentences
    """
    shown, target = CRITERIA[limit.verdict.criterion].text, limit.verdict.target
    words = [
        f"No single loudspeaker move reaches {shown(target)}; the best of them gives"
        f" {shown(limit.best)}."
    ]
    reaches = limit.other is not None and limit.other_after.meets
    if limit.other is not None:
        lead = "What does" if reaches else "The nearest of the other moves"
        words.append(f"{lead}: {limit.other.words} ({shown(limit.other_after.value)}).")
    if limit.treatment is not None:
        words.append(_treatment_words(limit.treatment, limit.units))
    if limit.quiet is not None:
        words.append(_quiet_words(limit.quiet))
    if limit.treatment is None and not reaches:
        words.append("It takes several moves together, or another arrangement.")
    return " ".join(words)


def _treatment_words(least, units):
    if least.amount is None:
        free = area_text(least.most, units)
        return f"Panels on all that is free of roof and walls ({free}) would not."
    return f"About {area_text(least.amount, units)} more of wall panels on roof and walls would."


def _quiet_words(least):
    if least.amount is None:
        return f"Less noise alone would not, not even {least.most:g} dB less."
    return f"A noise {least.amount:.0f} dB lower would."


def sentence(proposal):
    """A proposal in words: what to do, what it gains, what it costs elsewhere.

    Parameters
    ----------
    proposal : Proposal
        Of an ``Advice``

    Returns
    -------
    words : str
        One sentence
    """
    e, price = proposal.effect, proposal.price
    words = f"{proposal.move.words}: {_change(e)} ({_from_to(e)}, {e.after.word})"
    if abs(price) >= 1:
        words += f"; about {money(abs(price), proposal.currency)}"
        words += f" {'more' if price > 0 else 'less'} to pay"
    if not proposal.costs:
        return f"{words}; nothing else gets worse by more than a little"
    more = len(proposal.costs) - COSTS
    costs = [_cost_words(c) for c in proposal.costs[:COSTS]]
    return f"{words}; it costs: {'; '.join(costs)}{f'; and {more} more' if more > 0 else ''}"


def _cost_words(effect):
    criterion, before = CRITERIA[effect.before.criterion], effect.before
    where = f"{effect.use}{', ' + before.area if before.area else ''}: {criterion.label}"
    if effect.after is None:
        return f"{where} {criterion.text(before.value)}, then nothing: it is closed"
    changed_word = f", now {effect.after.word}" if effect.after.word != before.word else ""
    return f"{where} {_from_to(effect)}{changed_word}"


def _digits(effect):
    """Digits more than usual, where both values would read alike."""
    text = CRITERIA[effect.before.criterion].text
    return int(text(effect.before.value) == text(effect.after.value))


def _from_to(effect):
    text, more = CRITERIA[effect.before.criterion].text, _digits(effect)
    return f"{text(effect.before.value, more)} to {text(effect.after.value, more)}"


def _change(effect):
    """The change with its sign as the value moves; of percent it is points, of dB(A) dB."""
    unit = {"%": "points", "dB(A)": "dB"}.get(effect.before.unit, effect.before.unit)
    difference = effect.after.value - effect.before.value
    digits = CRITERIA[effect.before.criterion].digits + _digits(effect)
    return f"{difference:+.{digits}f} {unit}".rstrip()
