"""Advice that has been computed: for what is weakest in a use, the few moves that help most, and what each costs elsewhere."""

from dataclasses import dataclass

import numpy as np

from ..venue.loudspeakers import loudspeaker_types
from ..venue.microphones import MICROPHONE_TYPES
from ..venue.scenario import Scenario, changed
from ..venue.units import to_file
from .aiming import knobs
from .budget import cost
from .criteria import CLOSE, SHOWN, WORDS, Verdict
from .delays import aligned
from .evaluate import evaluate
from .options import free_areas, treated

WEAK, MOVES, COSTS = 3, 3, 3  # criteria advised on, moves for each, costs told of each
TURNS = (3.0, 6.0, 10.0)  # [deg]
LIFTS = (0.5, 1.0)  # [m]
TRIMS = (2.0, 4.0)  # [dB]
MORE = (50.0, 150.0)  # treatment [m2]
WORTH = 0.15  # least gain that is told, and least cost, in the unit's own "close"
LOUDSPEAKER = ("tilt", "pan", "height", "gain", "off", "delay", "type")  # kinds of move that touch loudspeakers only
INSTEAD = {  # what may do a microphone's work    common practice, no source
    "lectern": ("headset", "lavalier", "hand-held wireless", "table stand"),
    "hand-held wireless": ("headset", "lavalier"),
    "headset": ("hand-held wireless", "lavalier"),
    "lavalier": ("headset", "hand-held wireless"),
    "announcer's headset": ("table stand", "headset"),
    "table stand": ("announcer's headset", "headset", "lectern"),
    "stage overhead": ("headset", "lavalier"),
}
ROOM_MATTERS = ("clarity of speech (STI)", "level over the noise", "reverberation", "spare gain before feedback")  # where treatment or quiet may do
QUIETER = 40.0  # furthest that noise is turned down to see whether quiet would do [dB]


@dataclass(frozen=True, kw_only=True, eq=False)
class Move:
    """One thing to do."""

    kind: str
    words: str
    scenario: Scenario  # with it done


@dataclass(frozen=True, kw_only=True, eq=False)
class Effect:
    """What a move does to one criterion."""

    use: str
    before: Verdict
    after: Verdict

    @property
    def gain(self):
        """How far it comes towards its target or beyond [the verdict's unit]."""
        return _better(self.before.criterion) * (self.after.value - self.before.value)


@dataclass(frozen=True, kw_only=True, eq=False)
class Proposal:
    """A move with its effect on what is weak, and its worst effects on anything else in any use."""

    move: Move
    effect: Effect
    costs: tuple  # Effects with a gain below nothing, the worst first
    price: float  # what it costs more, or less, in the price book's currency


@dataclass(frozen=True, kw_only=True, eq=False)
class Advice:
    """For one weak criterion."""

    use: str
    verdict: Verdict
    proposals: tuple
    limit: str  # when no loudspeaker move reaches the target: what would; else empty


def moves(scenario, use):
    """Things that a designer may try in a use.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    use : str
        Name of a use [-]

    Returns
    -------
    moves : iterator of Move
        Mirrored loudspeakers move together; what cannot be is left out
    """
    for kind, words, make in _ideas(scenario, scenario.use(use)):
        try:
            made = make()
        except ValueError:
            continue
        yield Move(kind=kind, words=words, scenario=made)


def _ideas(scenario, use):
    names = [g.name for g in scenario.groups]
    playing = [name for name in names if use.drive(name).on]
    n = [u.name for u in scenario.uses].index(use.name)
    for key, kind, steps in (("tilt_deg", "tilt", TURNS), ("pan_deg", "pan", TURNS), ("height", "height", LIFTS), ("gain_db", "gain", TRIMS)):
        for knob in knobs(scenario, playing, (key,)):
            if use.name not in knob.uses:
                continue
            who = _listed([scenario.groups[p[1]].name if p[0] == "groups" else p[3] for p, _, _ in knob.links])
            for step in (s * sign for s in steps for sign in (1, -1)):
                value = knob.now + step
                if knob.low - 1e-9 <= value <= knob.high + 1e-9:
                    yield kind, _turned(scenario, kind, who, step, use), lambda k=knob, v=value: changed(scenario, k.set(v))
    for name in names:
        on, others = use.drive(name).on, [p for p in playing if p != name]
        if not on or others:
            words = f"{'do not play' if on else 'play'} the {name} in {use.name}"
            yield "off", words, lambda name=name, on=on: changed(scenario, {("uses", n, "groups", name, "on"): not on})
    for name in playing if len(playing) > 1 else ():
        yield "delay", f"set delays in {use.name} so that the {name} leads", lambda name=name: aligned(scenario, use.name, lead=name)
    for knob in knobs(scenario, playing, ("tilt_deg",), symmetric=True):
        orbit = [p[1] for p, _, _ in knob.links]
        for kind, other in loudspeaker_types().items():
            if kind != scenario.groups[orbit[0]].cabinet and _family(other) == _family(scenario.groups[orbit[0]].type):
                who = _listed([scenario.groups[m].name for m in orbit])
                yield "type", f"take {kind} for the {who}", lambda orbit=orbit, kind=kind: changed(scenario, {("groups", m, "cabinet"): kind for m in orbit})
    opened = [(k, m) for k, m in enumerate(scenario.microphones) if m.name in use.microphones]
    for k, m in opened:
        for kind in INSTEAD[m.type]:
            if MICROPHONE_TYPES[kind].wireless or m.walks is None:
                words = f"give '{m.name}' the type {kind}"
                yield "microphone type", words, lambda k=k, kind=kind: changed(scenario, {("microphones", k, "type"): kind, ("microphones", k, "distance"): None})
        near = max((m.distance or m.kind.distance) / 2, m.kind.nearest)
        if near < 0.95 * (m.distance or m.kind.distance):
            words = f"speak into '{m.name}' from {scenario.say(near)}, not {scenario.say(m.distance or m.kind.distance)}"
            yield "talker distance", words, lambda k=k, near=near: changed(scenario, {("microphones", k, "distance"): near})
        if len(opened) > 1:
            rest = tuple(name for name in use.microphones if name != m.name)
            yield "fewer microphones", f"keep '{m.name}' closed in {use.name}", lambda rest=rest: changed(scenario, {("uses", n, "microphones"): rest})
    for area in MORE:
        yield "treatment", _panels(scenario, area), lambda area=area: treated(scenario, area)
    for by in (3.0, -3.0):
        words = f"play {abs(by):g} dB {'louder' if by > 0 else 'softer'} in {use.name}"
        yield "level", words, lambda by=by: changed(scenario, {("uses", n, "target_dba"): use.target_dba + by})


def _family(kind):
    """Types that hang alike and can take each other's place."""
    return kind.lobes, kind.name.startswith("pendant")


def _turned(scenario, kind, who, step, use):
    far = abs(step)
    return {
        "tilt": f"tilt the {who} {far:g}° further {'down' if step > 0 else 'up'}",
        "pan": f"turn the {who} {far:g}° {'to the left' if step > 0 else 'to the right'}",
        "height": f"hang the {who} {scenario.say(far)} {'higher' if step > 0 else 'lower'}",
        "gain": f"turn the {who} {'up' if step > 0 else 'down'} by {far:g} dB in {use.name}",
    }[kind]


def _listed(names):
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _panels(scenario, area):
    return f"{to_file(area, 'm2', scenario.units):.0f} {scenario.units}² more of wall panels, spread over roof and walls"


def advise(scenario, use=None, *, room="statistical", prices=None, progress=None, stop=None):
    """The few moves that help most for what is weakest in a use, each evaluated.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    use : str, optional
        Name of a use; the first when left out [-]
    room : str
        In which room the gains are told, as for ``evaluate``; the search itself is by formula, and so are costs in other uses [-]
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
    here = evaluate(scenario, use, room=room, follow_echoes=False)
    weak = _weakest(here.verdicts)
    if not weak:
        return ()
    formula = {u.name: _verdicts(scenario, u.name) for u in scenario.uses}
    tried, ideas = [], list(moves(scenario, use))
    for k, move in enumerate(ideas):
        if stop():
            return ()
        tried.append((move, _verdicts(move.scenario, use)))
        progress(0.7 * (k + 1) / len(ideas))
    found = []
    for k, verdict in enumerate(weak):
        key = verdict.criterion, verdict.area
        proposals = []
        for move, _ in _best(tried, formula[use], key):
            if stop():
                break
            after = {use: _verdicts(move.scenario, use, room)} | {u.name: _verdicts(move.scenario, u.name) for u in scenario.uses if u.name != use}
            before = {**formula, use: _by_key(here.verdicts)}
            proposal = _proposal(move, key, use, before, after, cost(move.scenario, prices) - cost(scenario, prices))
            if proposal is not None:
                proposals.append(proposal)
        proposals.sort(key=lambda p: -p.effect.gain)
        moved = [v[key] for m, v in tried if m.kind in LOUDSPEAKER and key in v]
        reached = verdict.word != "out of reach" and any(v.word == "holds" for v in moved)
        limit = "" if reached or stop() else _limit(scenario, use, formula[use].get(key, verdict), moved)
        found.append(Advice(use=use, verdict=verdict, proposals=tuple(proposals), limit=limit))
        progress(0.7 + 0.3 * (k + 1) / len(weak))
    return tuple(found)


def _verdicts(scenario, use, room="statistical"):
    return _by_key(evaluate(scenario, use, room=room, follow_echoes=False).verdicts)


def _by_key(verdicts):
    return {(v.criterion, v.area): v for v in verdicts}


def _better(criterion):
    """1 where more is better, else -1."""
    more = ("places near the mean", "level over the noise", "clarity of speech (STI)", "spare gain before feedback", "sound onto people")
    return 1 if criterion in more else -1


def _steps(before, after):
    """How much better, in the unit's own "close"."""
    return _better(before.criterion) * (after.value - before.value) / CLOSE[before.unit]


def _weakest(verdicts):
    """The worst verdict of each criterion that does not hold, the worst of all first."""
    worst = {}
    for v in sorted(verdicts, key=lambda v: (-WORDS.index(v.word), -abs(v.value - v.target) / CLOSE[v.unit])):
        if v.word != "holds":
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
    """What a move gains up to the target, a tenth of what it gains beyond, less half of what others fall short by more."""
    gain, need = _steps(base[key], found[key]), _short(base[key])
    worse = sum(max(_short(v) - _short(base[k]), 0.0) for k, v in found.items() if k != key and k in base)
    return min(gain, need) + 0.1 * max(gain - need, 0.0) - 0.5 * worse


def _short(verdict):
    """How far a verdict falls short, in the unit's own "close"."""
    return max(_better(verdict.criterion) * (verdict.target - verdict.value) / CLOSE[verdict.unit], 0.0)


def _proposal(move, key, use, before, after, price):
    if key not in after[use] or _steps(before[use][key], after[use][key]) < WORTH:
        return None  # helps by formula, but not in the room it is told in
    effect = Effect(use=use, before=before[use][key], after=after[use][key])
    costs = []
    for name, verdicts in after.items():
        for k, v in verdicts.items():
            if (name, k) != (use, key) and k in before[name] and _steps(before[name][k], v) <= -WORTH:
                costs.append(Effect(use=name, before=before[name][k], after=v))
    costs.sort(key=lambda e: (-(WORDS.index(e.after.word) > WORDS.index(e.before.word)), _steps(e.before, e.after)))
    return Proposal(move=move, effect=effect, costs=tuple(costs[:COSTS]), price=price)


def _limit(scenario, use, verdict, moved):
    """That no loudspeaker move reaches the target, and by how much treatment or quiet would."""
    best = max(moved, key=lambda v: _better(v.criterion) * v.value, default=verdict)
    if _better(verdict.criterion) * (verdict.value - best.value) > 0:
        best = verdict
    key, say = (verdict.criterion, verdict.area), lambda v: said(v.value, v.unit)
    words = f"No single loudspeaker move reaches {said(verdict.target, verdict.unit)}; the best of them gives {say(best)}."
    if verdict.criterion not in ROOM_MATTERS:
        return f"{words} Neither treatment nor quiet changes this: it takes several moves together, or another arrangement."
    area, whole = _least_treatment(scenario, use, key), sum(free_areas(scenario).values())
    shown = lambda a: f"{to_file(a, 'm2', scenario.units):.0f} {scenario.units}²"  # noqa: E731
    if area is not None:
        words += f" About {shown(area)} more of wall panels on roof and walls would."
    else:
        words += f" Panels on all that is free of roof and walls ({shown(whole)}) would not."
    if verdict.criterion in ("clarity of speech (STI)", "level over the noise"):
        quiet = _least_quiet(scenario, use, key)
        words += f" A noise {quiet:.0f} dB lower would." if quiet is not None else f" Less noise alone would not, not even {QUIETER:g} dB less."
    return words


def _least_treatment(scenario, use, key):
    """Least area of panels that reaches a target, or None [m2]."""
    whole = 0.999 * sum(free_areas(scenario).values())
    return _least(lambda area: treated(scenario, area), use, key, whole, 5.0)


def _least_quiet(scenario, use, key):
    """Least cut of the noise that reaches a target, or None [dB]."""
    n = [u.name for u in scenario.uses].index(use)
    now = scenario.uses[n]

    def quieter(by):
        if now.noise_dba is None:
            return changed(scenario, {("uses", n, "noise_db"): tuple(np.clip(now.noise - by, -20, 120).tolist())})
        return changed(scenario, {("uses", n, "noise_dba"): max(now.noise_dba - by, 10.0)})

    return _least(quieter, use, key, QUIETER, 0.5)


def _least(make, use, key, most, grain):
    """Least amount of something that makes a verdict hold, by halving; None when even the most does not."""

    def holds(amount):
        verdict = _verdicts(make(amount), use).get(key)
        return verdict is None or verdict.word == "holds"

    if most <= 0 or not holds(most):
        return None
    low, high = 0.0, most
    while high - low > grain:
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def said(value, unit, more=0):
    """A value as the scorecard tells it.

    Parameters
    ----------
    value : float
        Of a verdict [unit]
    unit : str
        Its unit [-]
    more : int
        Digits more than usual [-]

    Returns
    -------
    words : str
        e.g. "2.1 dB"
    """
    digits = (2 if unit == "" else 0 if SHOWN[unit] >= 0.5 else 1) + more
    return f"{value:.{digits}f}{f' {unit}' if unit else ''}"


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
        words += f"; about {abs(proposal.price):,.0f} {'dearer' if proposal.price > 0 else 'cheaper'}"
    if not proposal.costs:
        return f"{words}; nothing else gets worse by more than a little"
    costs = "; ".join(
        f"{c.use}{', ' + c.before.area if c.before.area else ''}: {c.before.criterion} {_from_to(c)}" + (f", now {c.after.word}" if c.after.word != c.before.word else "")
        for c in proposal.costs
    )
    return f"{words}; it costs: {costs}"


def _from_to(effect):
    """Both values, with a digit more where they would read alike."""
    a, b, unit = effect.before.value, effect.after.value, effect.before.unit
    more = int(said(a, unit) == said(b, unit))
    return f"{said(a, unit, more)} to {said(b, unit, more)}"


def _change(effect):
    """The gain with its sign as the value moves."""
    difference = effect.after.value - effect.before.value
    digits = 2 if effect.before.unit == "" else 0 if SHOWN[effect.before.unit] >= 0.5 else 1
    return f"{difference:+.{digits}f}{f' {effect.before.unit}' if effect.before.unit else ''}"
