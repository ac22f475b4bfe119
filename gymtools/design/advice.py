"""Advice that has been computed: for what is weakest in a use, the few moves that help most, and
what each costs elsewhere.
"""

from dataclasses import dataclass

import numpy as np

from ..acoustics.criteria import CRITERIA, WORDS, Verdict, judge
from ..acoustics.evaluate import evaluate
from ..equipment.bill import cost
from ..venue.paths import changed
from ..venue.units import to_file
from .moves import LOUDSPEAKER, Move, moves
from .options import free_areas, treated

# criteria advised on, moves for each, costs of each that are told one by one
WEAK, MOVES, COSTS = (3, 3, 3)
# loudspeaker moves that come nearest by formula, judged again in the room before none is said to
# reach the target
CHECKED = 3
WORTH = 0.15  # least gain that is told, and least cost, in the unit's own "close"
# where treatment or quiet may do
ROOM_MATTERS = (
    "sti",
    "speech_to_noise",
    "rt",
    "feedback_margin",
)
GRAIN_M2, GRAIN_DB = 5.0, 0.5  # to which the least treatment and the least quiet are found
QUIETER = 40.0  # furthest that noise is turned down to see whether quiet would do [dB]


@dataclass(frozen=True, kw_only=True, eq=False)
class Effect:
    """What a move does to one criterion."""

    use: str
    before: Verdict
    after: Verdict | None  # None: there is nothing left to judge, as of a microphone that is closed

    @property
    def gain(self):
        """How far it comes towards its target or beyond; all of it is lost where nothing is left
        [the verdict's unit].
        """
        return (
            -np.inf
            if self.after is None
            else CRITERIA[self.before.criterion].margin(self.after.value, self.before.value)
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Proposal:
    """A move with its effect on what is weak, and its worst effects on anything else in any use."""

    move: Move
    effect: Effect
    costs: tuple  # all Effects with a gain below nothing, the worst first
    price: float  # what it costs more, or less, in the price book's currency


@dataclass(frozen=True, kw_only=True, eq=False)
class Advice:
    """For one weak criterion."""

    use: str
    verdict: Verdict
    proposals: tuple
    limit: str  # when no loudspeaker move reaches the target: what would; else empty


def advise(scenario, use=None, *, room="statistical", prices=None, progress=None, stop=None):
    """The few moves that help most for what is weakest in a use, each evaluated.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    use : str, optional
        Name of a use; the first when left out [-]
    room : str
        In which room the gains are told, as for ``evaluate``; the search itself is by formula, and
        so are costs in other uses [-]
    prices : PriceBook, optional
        The package's invented one when left out [-]
    progress : callable, optional
        Called with the share that is done, 0 to 1 [-]
    stop : callable, optional
        When it answers true the advice so far is returned [-]

    Returns
    -------
    advice : tuple of Advice
        The weakest first; empty when everything holds
    """
    progress, stop = progress or (lambda _: None), stop or (lambda: False)
    use = scenario.use(use).name
    here = _judged(scenario, use, room)
    weak = _weakest(here)
    if not weak:
        return ()
    formula = {u.name: _by_key(_judged(scenario, u.name)) for u in scenario.uses}
    tried, ideas = [], list(moves(scenario, use))
    for k, move in enumerate(ideas):
        if stop():
            return ()
        tried.append((move, _by_key(_judged(move.scenario, use))))
        progress(0.7 * (k + 1) / len(ideas))
    found = []
    for k, verdict in enumerate(weak):
        key = verdict.criterion, verdict.area
        proposals = []
        for move, _ in _best(tried, formula[use], key):
            if stop():
                break
            after = {
                u.name: _by_key(
                    _judged(move.scenario, u.name, room if u.name == use else "statistical")
                )
                for u in scenario.uses
            }
            before = {**formula, use: _by_key(here)}
            proposal = _proposal(
                move, key, use, before, after, cost(move.scenario, prices) - cost(scenario, prices)
            )
            if proposal is not None:
                proposals.append(proposal)
        proposals.sort(key=lambda p: -p.effect.gain)
        limit = "" if stop() else _limit(scenario, use, room, verdict, tried)
        found.append(Advice(use=use, verdict=verdict, proposals=tuple(proposals), limit=limit))
        progress(0.7 + 0.3 * (k + 1) / len(weak))
    return tuple(found)


def _judged(scenario, use, room="statistical"):
    return judge(evaluate(scenario, use, room=room), echoes=False)


def _by_key(verdicts):
    return {(v.criterion, v.area): v for v in verdicts}


def _steps(before, after):
    """How much better, in the unit's own "close"."""
    return CRITERIA[before.criterion].steps(after.value, before.value)


def _weakest(verdicts):
    """The worst verdict of each criterion that does not hold, the worst of all first."""
    worst = {}
    for v in sorted(
        verdicts,
        key=lambda v: (-WORDS.index(v.word), -abs(CRITERIA[v.criterion].steps(v.value, v.target))),
    ):
        if v.word != "meets":
            worst.setdefault(v.criterion, v)
    return list(worst.values())[:WEAK]


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
    return sorted(best.values(), key=lambda pair: -pair[1])[:MOVES]


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


def _short(verdict):
    """How far a verdict falls short, in the unit's own "close"."""
    return max(-CRITERIA[verdict.criterion].steps(verdict.value, verdict.target), 0.0)


def _proposal(move, key, use, before, after, price):
    if key not in after[use] or _steps(before[use][key], after[use][key]) < WORTH:
        return None  # helps by formula, but not in the room it is told in
    effect = Effect(use=use, before=before[use][key], after=after[use][key])
    costs = []
    for name, verdicts in before.items():
        for k, v in verdicts.items():
            then = after[name].get(k)
            if (name, k) != (use, key) and (
                then is None and v.criterion != "in_sight" or then and _steps(v, then) <= -WORTH
            ):
                costs.append(Effect(use=name, before=v, after=then))
    return Proposal(move=move, effect=effect, costs=tuple(sorted(costs, key=_weight)), price=price)


def _weight(cost):
    """What is lost altogether first, then what changes its word for the worse, then the largest."""
    if cost.after is None:
        return 0, 0.0
    return (1 if WORDS.index(cost.after.word) > WORDS.index(cost.before.word) else 2), _steps(
        cost.before, cost.after
    )


def _limit(scenario, use, room, verdict, tried):
    """That no loudspeaker move reaches the target, and what else would; empty when one does."""
    key, shown = (verdict.criterion, verdict.area), CRITERIA[verdict.criterion].text
    nearest = _nearest(use, room, key, [m for m in tried if m[0].kind in LOUDSPEAKER])
    if any(v.word == "meets" for _, v in nearest):
        return ""
    best = _best_of([v for _, v in nearest] + [verdict])
    words = (
        f"No single loudspeaker move reaches {shown(verdict.target)}; the best of them"
        f" gives {shown(best.value)}."
    )
    others = [
        (m, v)
        for m, v in _nearest(use, room, key, [m for m in tried if m[0].kind not in LOUDSPEAKER])
        if _steps(verdict, v) >= WORTH
    ]
    holding = [(m, v) for m, v in others if v.word == "meets"]
    if holding:
        words += f" What does: {holding[0][0].words} ({shown(holding[0][1].value)})."
    elif others:
        words += (
            f" Of the other moves the nearest is to {others[0][0].words}"
            f" ({shown(others[0][1].value)})."
        )
    if verdict.criterion not in ROOM_MATTERS:
        return (
            words
            if holding
            else f"{words} It takes several moves together, or another arrangement."
        )
    area, whole = _least_treatment(scenario, use, room, key), sum(free_areas(scenario).values())

    def in_units(a):
        return f"{to_file(a, 'm2', scenario.units):.0f} {scenario.units}²"

    if area is not None:
        words += f" About {in_units(area)} more of wall panels on roof and walls would."
    else:
        words += f" Panels on all that is free of roof and walls ({in_units(whole)}) would not."
    if verdict.criterion in ("sti", "speech_to_noise"):
        quiet = _least_quiet(scenario, use, room, key)
        words += (
            f" A noise {quiet:.0f} dB lower would."
            if quiet is not None
            else f" Less noise alone would not, not even {QUIETER:g} dB less."
        )
    return words


def _best_of(verdicts):
    return max(verdicts, key=lambda v: CRITERIA[v.criterion].better * v.value)


def _nearest(use, room, key, tried):
    """Moves that come nearest to the target by formula, with their verdicts in the room, the best
    first.
    """
    found = sorted(
        ((m, v[key]) for m, v in tried if key in v),
        key=lambda pair: -CRITERIA[key[0]].better * pair[1].value,
    )[:CHECKED]
    if room != "statistical":
        again = [(m, _by_key(_judged(m.scenario, use, room)).get(key)) for m, _ in found]
        found = [(m, v) for m, v in again if v is not None]
    return sorted(found, key=lambda pair: -CRITERIA[key[0]].better * pair[1].value)


def _least_treatment(scenario, use, room, key):
    """Least area of panels that reaches a target, or None [m2]."""
    whole = 0.999 * sum(free_areas(scenario).values())
    return _least(
        lambda area: treated(scenario, area),
        use,
        room,
        key,
        whole,
        GRAIN_M2 if room == "statistical" else max(GRAIN_M2, whole / 40),
    )


def _least_quiet(scenario, use, room, key):
    """Least cut of the noise that reaches a target, or None [dB]."""
    now = scenario.use(use)

    def quieter(by):
        if now.noise_dba is None:
            return changed(
                scenario,
                {("uses", now.name, "noise_db"): tuple(np.clip(now.noise - by, -20, 120).tolist())},
            )
        return changed(scenario, {("uses", now.name, "noise_dba"): max(now.noise_dba - by, 10.0)})

    return _least(quieter, use, room, key, QUIETER, GRAIN_DB)


def _least(make, use, room, key, most, grain):
    """Least amount of something that makes a verdict hold, by halving; None when even the most does
    not.
    """

    def holds(amount):
        verdict = _by_key(_judged(make(amount), use, room)).get(key)
        return verdict is None or verdict.word == "meets"

    if most <= 0 or not holds(most):
        return None
    low, high = 0.0, most
    while high - low > grain:
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def sentence(proposal):
    """A proposal in words: what to do, what it gains, what it costs elsewhere.

    Parameters
    ----------
    proposal : Proposal
        Of an ``Advice`` [-]

    Returns
    -------
    words : str
        One sentence
    """
    e = proposal.effect
    words = f"{proposal.move.words}: {_change(e)} ({_from_to(e)}, {e.after.word})"
    if abs(proposal.price) >= 1:
        words += (
            f"; about {abs(proposal.price):,.0f} {'dearer' if proposal.price > 0 else 'cheaper'}"
        )
    if not proposal.costs:
        return f"{words}; nothing else gets worse by more than a little"
    more = len(proposal.costs) - COSTS
    return (
        f"{words}; it costs:"
        f" {'; '.join(map(_cost, proposal.costs[:COSTS]))}"
        f"{f'; and {more} more' if more > 0 else ''}"
    )


def _cost(effect):
    where = (
        f"{effect.use}{', ' + effect.before.area if effect.before.area else ''}:"
        f" {CRITERIA[effect.before.criterion].label}"
    )
    if effect.after is None:
        before = CRITERIA[effect.before.criterion].text(effect.before.value)
        return f"{where} {before}, then nothing: it is closed"
    return f"{where} {_from_to(effect)}" + (
        f", now {effect.after.word}" if effect.after.word != effect.before.word else ""
    )


def _digits(effect):
    """Digits more than usual, where both values would read alike."""
    text = CRITERIA[effect.before.criterion].text
    return int(text(effect.before.value) == text(effect.after.value))


def _from_to(effect):
    text, more = CRITERIA[effect.before.criterion].text, _digits(effect)
    return f"{text(effect.before.value, more)} to {text(effect.after.value, more)}"


def _change(effect):
    """The change with its sign as the value moves; of per cents it is points, of dB(A) dB."""
    unit = {"%": "points", "dB(A)": "dB"}.get(effect.before.unit, effect.before.unit)
    difference = effect.after.value - effect.before.value
    digits = CRITERIA[effect.before.criterion].digits + _digits(effect)
    return f"{difference:+.{digits}f}{f' {unit}' if unit else ''}"
