"""Aiming: turning, tilting, lifting and balancing loudspeaker groups for the best result over all
uses at once.
"""

from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np
from scipy.optimize import minimize

from ..acoustics.evaluate import ROOMS, evaluate
from ..physics import bands
from ..physics.checks import within
from ..venue.loudspeakers import Group
from ..venue.paths import changed, value_at
from ..venue.renamed import current_key, warn_renamed
from ..venue.scenario import Scenario
from .delays import aligned

DRAFT = 60  # places looked at in every area while the search goes on
# what an installer sets, and the step of the search
STEP = {"pan_deg": 1.0, "downtilt_deg": 1.0, "splay_deg": 1.0, "height": 0.05, "gain_db": 0.5}
# what changes about as much
SCALE = {"pan_deg": 10.0, "downtilt_deg": 10.0, "splay_deg": 10.0, "height": 0.5, "gain_db": 3.0}
MOVES = (*STEP, "delay_ms")
WAYS = {"pan_deg": 45.0, "splay_deg": 45.0, "height": 2.0}  # how far either way from where it is
TILT = (-10.0, 90.0)  # mounting travel [deg]
GAIN = (-12.0, 6.0)  # [dB]
LOWEST = 2.5  # of a loudspeaker over the floor [m]
DRAWN = 16  # random beginnings that are looked at for each start
# a move that makes the score no better by this is taken back: fewer changes for the installer
# [steps]
WORTH = 0.02
REFUSED = 1e3  # score of what cannot be


@dataclass(frozen=True, kw_only=True)
class Weights:
    """How much each criterion counts, in steps that are just worth talking about (1 dB, 0.03 STI, 5
    % of the sound, 5 ms).
    """

    evenness: float = 1.0  # spread of the direct sound over an area
    worst: float = 0.5  # how far the worst place lies below the mean
    clarity: float = 1.0  # STI that nine tenths of the places reach
    # sound that does not land on listeners first and is sent back: bare walls, roof, empty floor
    stray: float = 0.25
    spare: float = 1.0  # spare gain that a microphone lacks
    arrivals: float = 0.5  # arrivals further apart than asked
    loudest: float = 0.5  # places louder than allowed

    def __post_init__(self):
        weights = within(
            "wishes",
            [getattr(self, f.name) for f in fields(self)],
            0,
            100,
            "",
            "A weight cannot be negative.",
        )
        if not weights.any():
            raise ValueError(
                "wishes: nothing counts. Give at least one criterion a weight above 0."
            )


@dataclass(frozen=True, kw_only=True, eq=False)
class Aimed:
    """What a search found; ``before`` and ``after`` are scores over all places, lower is better."""

    scenario: Scenario
    before: float
    after: float
    penalties_before: dict  # by criterion, in steps
    penalties_after: dict
    moved: dict  # (from, to) by path
    room: str  # in which the scores are told
    given_up: bool  # something was found that was better by formula only
    evaluations: int  # of one use each
    stopped: bool


def penalties(result):
    """What one use lacks, criterion by criterion.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    steps : dict
        By the names of ``Weights``, lower is better; areas by their weight, microphones alike [-]
    """
    targets = result.scenario.targets
    weight = np.array([a.weight for a in result.areas]) / sum(a.weight for a in result.areas)

    def over(x):
        return np.logaddexp(0.0, x)  # smooth form of max(0, x)

    even, worst, clear, late = [], [], [], []
    for a in result.areas:
        octaves = result.level_db[a.points, bands.COVERAGE]
        # places out of sight count as very quiet, not as minus infinity
        octaves = np.maximum(octaves, octaves.max() - 40.0)
        level = bands.sum_levels(octaves)
        even.append(octaves.std(axis=0).mean())
        # smooth form of the largest gap
        worst.append(
            level.mean() + np.logaddexp.reduce(-2.0 * level) / 2.0 - np.log(len(level)) / 2.0
        )
        clear.append((1.0 - a.sti_p10) / 0.03)
        late.append(
            over(
                (1000 * np.percentile(result.arrival_spread_s[a.points], 90) - targets.arrival_ms)
                / 5.0
            )
        )
    radiated = (result.sources.on_axis / result.sources.q)[:, bands.SPEECH].sum(axis=1)
    stray = float(radiated @ result.first_incidence @ _sent_back(result) / radiated.sum())
    spare = [over(targets.feedback_margin_db - m.margin_db.min()) for m in result.microphones]
    return dict(
        evenness=float(weight @ even),
        worst=float(weight @ worst),
        clarity=float(weight @ clear),
        stray=stray / 0.05,
        spare=float(np.mean(spare)) if spare else 0.0,
        arrivals=float(weight @ late),
        loudest=float(
            over(max(result.speech_dba[a.points].max() for a in result.areas) - targets.loudest_dba)
        ),
    )


def _sent_back(result):
    """Share of what meets each part of the room that it sends back, 500 Hz to 4 kHz; none for the
    listeners (part,).
    """
    people = {a.name for a in result.areas}
    room, alpha = result.configuration.room, result.absorption[:, bands.SPEECH].mean(axis=1)

    def mean(part):
        return np.average(alpha, weights=(np.array(room.parts) == part) * room.area + 1e-12)

    return np.array([0.0 if part in people else 1 - mean(part) for part in result.parts])


def penalty(result, weights):
    """What one use lacks in all, weighed.

    Parameters
    ----------
    result : Result
        An evaluation [-]
    weights : Weights
        How much each criterion counts [-]

    Returns
    -------
    penalty : float
        Lower is better [steps]
    """
    return sum(getattr(weights, name) * value for name, value in penalties(result).items())


def aim(
    scenario,
    groups=None,
    *,
    move=("pan_deg", "downtilt_deg", "gain_db", "delay_ms"),
    symmetric=True,
    weights=None,
    room="statistical",
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
        Where to start from; it is never made worse [-]
    groups : sequence of str, optional
        Groups that may move; all when left out [-]
    move : sequence of str
        What may move: "pan_deg", "downtilt_deg", "splay_deg", "height" (under the clear height),
        "gain_db" and "delay_ms" (use by use) [-]
    symmetric : bool
        Whether a layout that mirrors itself along or across the hall goes on doing so [-]
    weights : Weights, optional
        How much each criterion counts; the usual weights when left out [-]
    room : str
        In which room the answer is judged in the end, as for ``evaluate``; the search itself is by
        formula [-]
    starts : int
        Beginnings: the scenario as it is, then the best of random ones [-]
    evaluations : int
        Evaluations of one use at most; time grows with it [-]
    seed : int
        Of the random beginnings; the same seed gives the same answer [-]
    progress : callable, optional
        Called with (share done, best scenario so far, its draft score) whenever a better one is
        found [-]
    stop : callable, optional
        When it answers true the search ends with the best so far [-]
    wishes : Weights, optional
        Former name of ``weights``

    Returns
    -------
    aimed : Aimed
        The best scenario, in steps that can be set, and what it is better in

    Notes
    -----
    The search (L-BFGS-B from several beginnings, gradients by differences in the uses that a change
    touches) looks at some 60 places an area in the statistical room; the answer is judged over all
    places, and given up if it is not better there. Delays are set last: for each use those of
    ``delays.aligned`` with the lead that helps most, if any does. With ``room = "traced"`` start
    and answer are then traced in every use, and the answer is given up if it is not better in that
    room. A search that is stopped is not traced any more.
    """
    if room not in ROOMS:
        raise ValueError(f"room = {room!r} is unknown. Known: {', '.join(ROOMS)}.")
    if wishes is not None:
        warn_renamed("aim(wishes=...)", "aim(weights=...)")
        weights = wishes
    return _Search(
        scenario,
        groups,
        tuple(_present(key) for key in move),
        symmetric,
        weights or Weights(),
        room,
        evaluations,
        seed,
        progress,
        stop,
    ).run(starts)


def _present(key):
    """Present name of what may move."""
    present = current_key(Group, key)
    if present != key:
        warn_renamed(f"move = {key}", present)
    return present


class _Ended(Exception):
    """The search has used up its evaluations, or was told to stop."""


class _Search:
    def __init__(
        self, scenario, groups, move, symmetric, weights, room, evaluations, seed, progress, stop
    ):
        names = [g.name for g in scenario.groups]
        for name in groups or ():
            if name not in names:
                raise ValueError(f"group '{name}' is unknown. Known: {', '.join(names)}.")
        for key in move:
            if key not in MOVES:
                raise ValueError(f"move = '{key}' is unknown. Known: {', '.join(MOVES)}.")
        self.start, self.weights, self.room, self.most, self.seed = (
            scenario,
            weights,
            room,
            evaluations,
            seed,
        )
        self.progress, self.stop, self.used = (
            progress or (lambda *_: None),
            stop or (lambda: False),
            0,
        )
        self.mirrors = [axis for axis in (0, 1) if symmetric and _mirrors(scenario, axis)]
        self.groups, self.delays = tuple(groups or names), "delay_ms" in move
        self.adjustments = adjustments(scenario, self.groups, move, symmetric=symmetric)
        if not (self.adjustments or self.delays):
            raise ValueError(
                "nothing can move: the layout's symmetry or the choice of groups leaves no"
                " adjustment. Give symmetric = False?"
            )
        self.best, self.best_score, self.stopped = None, np.inf, False

    def run(self, starts):
        try:
            if self.adjustments:
                self._search(starts)
        except _Ended:
            pass
        return self._answer()

    def _search(self, starts):
        rng = np.random.default_rng(self.seed)
        limits = np.array([(k.low / k.scale, k.high / k.scale) for k in self.adjustments])
        origin = np.clip([k.now / k.scale for k in self.adjustments], *limits.T)
        self._draft(origin)
        begun = [origin]
        if starts > 1:
            drawn = limits[:, 0] + rng.random((DRAWN * (starts - 1), len(self.adjustments))) * (
                limits[:, 1] - limits[:, 0]
            )
            drawn = origin + 0.6 * (drawn - origin)
            begun += sorted(drawn, key=lambda x: self._draft(x))[: starts - 1]
        for x in begun:
            minimize(
                self._with_gradient,
                x,
                jac=True,
                method="L-BFGS-B",
                bounds=limits,
                options=dict(maxiter=40, ftol=1e-4),
            )
        self._take_back(origin)

    def _take_back(self, origin):
        """Put back, one by one, what moved for little."""
        for n in np.argsort(np.abs(self.best - origin)):
            if self.best[n] == origin[n]:
                continue
            tried, kept = self.best.copy(), self.best_score
            tried[n] = origin[n]
            found = self._draft(tried)
            if found < kept + WORTH:
                self.best, self.best_score = tried, found

    def scenario_at(self, x):
        """The scenario with the knobs at x; refuses like any scenario."""
        turned = {
            path: value
            for k, v in zip(self.adjustments, x, strict=True)
            for path, value in k.set(v * k.scale).items()
        }
        return changed(
            self.start,
            {path: v for path, v in turned.items() if abs(v - value_at(self.start, path)) > 1e-9},
        )

    def _uses(self, scenario, names):
        """Draft score of some uses by name."""
        if self.used >= self.most or self.stop():
            self.stopped = self.used < self.most
            raise _Ended
        self.used += len(names)
        return {
            n: penalty(evaluate(scenario, n, follow_echoes=False, most_points=DRAFT), self.weights)
            for n in names
        }

    def _draft(self, x, into=None):
        try:
            scenario = self.scenario_at(x)
        except ValueError:
            return REFUSED
        found = self._uses(scenario, [u.name for u in self.start.uses])
        if into is not None:
            into.update(found)
        mean = float(np.mean(list(found.values())))
        if mean < self.best_score - 1e-9:
            self.best, self.best_score = np.array(x, float), mean
            # 1 is told when the answer is traced
            self.progress(min(self.used / self.most, 0.99), scenario, mean)
        return mean

    def _with_gradient(self, x):
        """Draft score and its slope; a change is evaluated only in the uses that it touches."""
        by_use = {}
        here = self._draft(x, by_use)
        slope = np.zeros(len(x))
        if here >= REFUSED:
            return here, slope
        for n, adjustment in enumerate(self.adjustments):
            for side in (1.0, -1.0):
                step = side * STEP[adjustment.key] / adjustment.scale
                if (
                    not adjustment.low / adjustment.scale
                    <= x[n] + step
                    <= adjustment.high / adjustment.scale
                ):
                    continue
                near = x.copy()
                near[n] += step
                try:
                    scenario = self.scenario_at(near)
                except ValueError:
                    continue
                there = self._uses(scenario, adjustment.uses)
                slope[n] = (
                    sum(there[u] - by_use[u] for u in adjustment.uses) / len(self.start.uses) / step
                )
                break
        return here, slope

    def _answer(self):
        before = [evaluate(self.start, u.name, follow_echoes=False) for u in self.start.uses]

        def judged(results):
            return float(np.mean([penalty(r, self.weights) for r in results]))

        kept, results = self.start, before
        for x in (self.best, None if self.best is None else self._settable(self.best)):
            if x is None:
                continue
            try:
                scenario = self.scenario_at(x)
            except ValueError:
                continue
            found = [evaluate(scenario, u.name, follow_echoes=False) for u in self.start.uses]
            settable = (
                kept is not self.start
                and judged(found) < judged(before)
                and judged(found) < judged(results) + 0.05
            )
            if judged(found) < judged(results) - 1e-6 or settable:
                kept, results = scenario, found
        if self.delays:
            kept, results = self._delayed(kept, results)
        room, found = "statistical", kept
        traced = (
            self._traced(kept, judged(results))
            if self.room == "traced" and kept is not self.start
            else None
        )
        if traced is not None:
            room, (before, results) = "traced", traced
            if judged(results) > judged(before) - 1e-6:
                kept, results = self.start, before

        def mean(rs):
            return {
                f.name: float(np.mean([penalties(r)[f.name] for r in rs])) for f in fields(Weights)
            }

        moved = {} if kept is self.start else _moved(self.start, kept)
        return Aimed(
            scenario=kept,
            before=judged(before),
            after=judged(results),
            penalties_before=mean(before),
            penalties_after=mean(results),
            moved=moved,
            evaluations=self.used,
            stopped=self.stopped,
            room=room,
            given_up=kept is not found,
        )

    def _traced(self, scenario, found):
        """Results of start and answer in the traced room, or None when stopped."""
        self.progress(1.0, scenario, found)
        pair = [], []
        for use in self.start.uses:
            for results, s in zip(pair, (self.start, scenario), strict=True):
                if self.stop():
                    return None
                results.append(evaluate(s, use.name, room="traced", follow_echoes=False))
        return pair

    def _delayed(self, scenario, results):
        """The scenario with delays set in the uses where that helps, and its results."""
        results, names = list(results), [g.name for g in scenario.groups]
        together = {
            name: {names[m] for m in _orbit(self.start, k, self.mirrors)}
            for k, name in enumerate(names)
        }
        for n, use in enumerate(self.start.uses):
            playing = [
                g.name for g in scenario.groups if scenario.use(use.name).group_setting(g.name).on
            ]
            best = penalty(results[n], self.weights) - WORTH * len(results)
            for lead in playing:
                others = [
                    name for name in playing if name not in together[lead] and name in self.groups
                ]
                if not others or self.stop():
                    continue
                tried = aligned(scenario, use.name, lead=lead, groups=others)
                delay = {name: tried.use(use.name).group_setting(name).delay_ms for name in playing}
                if any(
                    abs(delay[a] - delay[b]) > 1
                    for a in playing
                    for b in together[a] & set(playing)
                ):
                    continue  # mirrored groups keep one delay
                found = evaluate(tried, use.name, follow_echoes=False)
                # what a delay is for
                nearer = penalties(found)["arrivals"] < penalties(results[n])["arrivals"] - WORTH
                if nearer and penalty(found, self.weights) < best:
                    best, results[n] = penalty(found, self.weights), found
            if results[n].scenario is not scenario:
                scenario = replace(
                    scenario,
                    uses=tuple(results[n].use if u.name == use.name else u for u in scenario.uses),
                )
        return scenario, results

    def _settable(self, x):
        """The same in steps that an installer sets."""
        return np.array(
            [
                round(v * k.scale / STEP[k.key]) * STEP[k.key] / k.scale
                for k, v in zip(self.adjustments, x, strict=True)
            ]
        )


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


@dataclass(frozen=True, kw_only=True)
class Knob:
    """One thing to adjust, with what must move along to keep the symmetry."""

    key: str
    now: float
    low: float
    high: float
    links: tuple  # (path, value now, sign) of all that move together
    uses: tuple  # names of the uses that hear it

    @property
    def scale(self):
        """What changes the sound about as much as any other knob's."""
        return SCALE[self.key]

    def set(self, value):
        """Changes that put it, and what moves along, at a value.

        Parameters
        ----------
        value : float
            Of the first that is linked [its unit]

        Returns
        -------
        changes : dict
            For ``venue.paths.changed``
        """
        moved = {path: now + sign * (value - self.now) for path, now, sign in self.links}
        if self.key == "pan_deg":
            return {path: (v + 180.0) % 360.0 - 180.0 for path, v in moved.items()}
        return moved


def adjustments(scenario, groups, move, *, symmetric=True):
    """What can be adjusted, each with what must move along.

    Parameters
    ----------
    scenario : Scenario
        The scenario [-]
    groups : sequence of str
        Groups that may move [-]
    move : sequence of str
        Kinds of adjustment [-]
    symmetric : bool
        Whether mirrors that hold must go on holding [-]

    Returns
    -------
    adjustments : list of Knob
        None that breaks a mirror
    """
    mirrors = [axis for axis in (0, 1) if symmetric and _mirrors(scenario, axis)]
    names = [g.name for g in scenario.groups]
    found, done = [], set()
    for n in (names.index(g) for g in groups):
        orbit = sorted(_orbit(scenario, n, mirrors), key=lambda m: (m != n, m))
        if n in done or any(names[m] not in groups for m in orbit):
            continue
        done |= set(orbit)
        playing = tuple(
            u.name for u in scenario.uses if any(u.group_setting(names[m]).on for m in orbit)
        )
        if not playing:
            continue
        for key in (k for k in move if k not in ("gain_db", "delay_ms")):
            now = [getattr(scenario.groups[m], key) for m in orbit]
            if key == "splay_deg" and scenario.groups[n].number == 1:
                continue
            for signs in product((1.0, -1.0), repeat=len(orbit) - 1):
                links = tuple(
                    (("groups", names[m], key), v, s)
                    for m, v, s in zip(orbit, now, (1.0, *signs), strict=True)
                )
                adjustment = Knob(
                    key=key, now=now[0], **_limits(scenario, key, now[0]), links=links, uses=playing
                )
                if adjustment.low < adjustment.high and _holds(scenario, adjustment, mirrors):
                    found.append(adjustment)
                    break
        if "gain_db" in move:
            found += _gains(scenario, [names[m] for m in orbit])
    return found


def _gains(scenario, orbit):
    """Gain of some groups that go together, use by use, where another group plays to be balanced
    against.
    """
    for use in scenario.uses:
        on = [name for name in orbit if use.group_setting(name).on]
        others = [
            g.name for g in scenario.groups if g.name not in orbit and use.group_setting(g.name).on
        ]
        if on and others:
            links = tuple(
                (
                    ("uses", use.name, "groups", name, "gain_db"),
                    use.group_setting(name).gain_db,
                    1.0,
                )
                for name in on
            )
            now = use.group_setting(on[0]).gain_db
            yield Knob(
                key="gain_db",
                now=now,
                low=min(GAIN[0], now),
                high=max(GAIN[1], now),
                links=links,
                uses=(use.name,),
            )


def _limits(scenario, key, now):
    if key == "downtilt_deg":
        return dict(low=min(TILT[0], now), high=max(TILT[1], now))
    low, high = now - WAYS[key], now + WAYS[key]
    if key == "height":
        return dict(
            low=min(max(low, LOWEST), now), high=max(min(high, scenario.hall.clear_height), now)
        )
    return dict(low=low, high=high)


def _seen(loudspeakers, axis=None):
    """Loudspeakers as a set that two layouts can be compared by; mirrored across an axis of the
    plan if one is given.
    """
    found = set()
    for c in loudspeakers:
        pan = np.radians(c.pan_deg)
        front = np.array([np.cos(pan), np.sin(pan)]) * np.cos(np.radians(c.downtilt_deg))
        place = np.array([c.x, c.y])
        if axis is not None:
            front[axis], place[axis] = -front[axis], -place[axis]
        found.add(
            (
                c.type.name,
                *(np.round([*place, c.z], 2) + 0.0),
                *(np.round(front, 3) + 0.0),
                round(c.downtilt_deg, 1),
            )
        )
    return found


def _mirrors(scenario, axis):
    """Whether the layout is its own mirror image across one axis of the plan."""
    return _seen(scenario.loudspeakers, axis) == _seen(scenario.loudspeakers)


def _orbit(scenario, n, mirrors):
    """Groups that a group becomes under the mirrors, itself among them."""

    def seen(group, axis=None):
        return _seen(scenario.in_group(group.name), axis)

    found = {n}
    for axis in (*mirrors, *mirrors):
        for m in list(found):
            image = seen(scenario.groups[m], axis)
            found |= {k for k, g in enumerate(scenario.groups) if seen(g) == image}
    return found


def _holds(scenario, adjustment, mirrors):
    """Whether the mirrors still hold when the knob is turned a little."""
    if not mirrors:
        return True
    for step in (3 * STEP[adjustment.key], -3 * STEP[adjustment.key]):
        try:
            turned = changed(scenario, adjustment.set(adjustment.now + step))
        except ValueError:
            continue
        return all(_mirrors(turned, axis) for axis in mirrors)
    return False  # it cannot move either way
