"""The search for a better aim on drafts: some seats of every area, few rays."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import minimize

from ..acoustics.evaluate import ROOMS, evaluate
from ..acoustics.traced import Nearby
from ..venue.loudspeakers import Group
from ..venue.paths import changed, value_at
from ..venue.renamed import current_key, warn_renamed
from ..venue.scenario import Scenario
from .adjustments import KEYS, adjustments, mirrors_of
from .weights import Weights, penalty

DRAFT = 60  # seats looked at in every area while the search goes on
DRAWN = 10  # random starting points that are looked at for each start
SPREAD = 0.6  # of the way from the present aim to a random one
WORTH = 0.02  # moves that gain less than this are reverted: fewer changes to set [steps]
ITERATIONS = (6, 20, 10)  # of the search, each time before the room is traced anew
# what a gain must buy for each decibel that it stands off 0 dB: it takes amplifier power elsewhere,
# and nobody sees why [steps]
GAIN_WORTH = 0.01
HOPELESS = 0.0  # score over the best from which a start is not followed further [steps]
REFUSED = 1e3  # score of what cannot be built


@dataclass(frozen=True, kw_only=True, eq=False)
class SearchTask:
    """What a search starts from, what it may move and what counts."""

    start: Scenario
    groups: tuple  # names of the groups that may move
    move: tuple  # of ``KEYS``
    symmetric: bool
    weights: Weights
    room: str  # in which is searched and judged
    evaluations: int  # at most, of one use each
    seed: int
    progress: Callable  # (share done, best scenario, its score)
    stop: Callable  # whether to end

    def __post_init__(self):
        if self.room not in ROOMS:
            raise ValueError(f"room = {self.room!r} is unknown. Known: {', '.join(ROOMS)}.")
        names = [g.name for g in self.start.groups]
        for name in self.groups:
            if name not in names:
                raise ValueError(f"group '{name}' is unknown. Known: {', '.join(names)}.")
        for key in self.move:
            if key not in KEYS:
                raise ValueError(f"move = '{key}' is unknown. Known: {', '.join(KEYS)}.")
        if not (self.adjustments or self.delays):
            raise ValueError(
                "nothing can move: the layout's symmetry or the choice of groups leaves no"
                " adjustment. Give symmetric = False?"
            )

    @cached_property
    def mirrors(self):
        """Axes of the plan across which the layout must go on being its mirror image."""
        return mirrors_of(self.start) if self.symmetric else []

    @cached_property
    def adjustments(self):
        """What may be adjusted (list of Adjustment)."""
        return adjustments(self.start, self.groups, self.move, symmetric=self.symmetric)

    @property
    def delays(self):
        """Whether delays may be set."""
        return "delay_ms" in self.move

    @property
    def uses(self):
        """Names of the uses."""
        return [u.name for u in self.start.uses]

    @cached_property
    def limits(self):
        """Lowest and highest value of each adjustment (adjustment, 2) [its scale]."""
        return np.array([(a.low / a.scale, a.high / a.scale) for a in self.adjustments])

    @cached_property
    def origin(self):
        """Where the adjustments stand at first (adjustment,) [their scale]."""
        return np.clip([a.now / a.scale for a in self.adjustments], *self.limits.T)

    def scenario_at(self, x):
        """The scenario with its adjustments at some values.

        Parameters
        ----------
        x : array
            (adjustment,) [their scale]

        Returns
        -------
        scenario : Scenario
            What does not move keeps its value to the last digit

        Raises
        ------
        ValueError
            It cannot be built
        """
        values = {
            path: value
            for a, v in zip(self.adjustments, x, strict=True)
            for path, value in a.set(v * a.scale).items()
        }
        moved = {
            path: v for path, v in values.items() if abs(v - value_at(self.start, path)) > 1e-9
        }
        return changed(self.start, moved)

    def settable(self, x):
        """The same values in steps that an installer sets.

        Parameters
        ----------
        x : array
            (adjustment,) [their scale]

        Returns
        -------
        x : ndarray
            (adjustment,) [their scale]
        """
        return np.array(
            [
                round(v * a.scale / a.step) * a.step / a.scale
                for a, v in zip(self.adjustments, x, strict=True)
            ]
        )


def present_keys(move):
    """Kinds of adjustment under their present names; former ones are said once.

    Parameters
    ----------
    move : iterable of str
        As for ``aim``

    Returns
    -------
    keys : tuple of str
        As in ``adjustments.KEYS``
    """
    keys = []
    for key in move:
        now = current_key(Group, key)
        if now != key:
            warn_renamed(f"move = {key}", now)
        keys.append(now)
    return tuple(keys)


class _Ended(Exception):
    """The search has used up its evaluations, or was told to stop."""


class Search:
    """Looks for the adjustments with the least penalty on drafts.

    Parameters
    ----------
    task : SearchTask
        Where to start and what may move
    """

    def __init__(self, task):
        self.task = task
        self.best, self.best_score = None, np.inf  # adjustments, and their draft score
        self.used, self.stopped = 0, False
        self._told = np.inf  # the last score that was told: a room traced anew may find it worse
        self._rooms = {}  # traced near the aims that are tried, by use

    @property
    def moved(self):
        """Whether something better than the start was found."""
        return self.best is not None and not np.allclose(self.best, self.task.origin)

    def run(self, starts):
        """Search from several starting points; ``best`` is what was found.

        Parameters
        ----------
        starts : int
            The scenario as it is, then the best of random ones [-]
        """
        try:
            if self.task.adjustments:
                self._from_all(starts)
        except _Ended:
            pass
        if self.moved:
            self._settle_gains()

    def _from_all(self, starts):
        origin = self.task.origin
        self._trace(origin)
        self._down(origin)
        for x in self._drawn(starts - 1):
            self._down(x)
        if self.best is not None:
            self._trace(self.best)
            self._revert_small(origin)

    def _down(self, x):
        """Search downhill from a start, the room traced anew on the way; where others have come
        much further, no longer than it takes to see that.
        """
        for iterations in ITERATIONS:
            self._trace(x)
            found = minimize(
                self._with_gradient,
                x,
                jac=True,
                method="L-BFGS-B",
                bounds=self.task.limits,
                options=dict(maxiter=iterations, ftol=1e-3),
            )
            x = found.x
            if found.fun > self.best_score + HOPELESS:
                return
        self._trace(x)

    def _trace(self, x):
        """Trace the room with some adjustments: those that are tried next are near to them."""
        try:
            scenario = self.task.scenario_at(x)
        except ValueError:
            return
        if self.task.room == "traced":
            self._rooms = {use: Nearby(scenario, use) for use in self.task.uses}
        if self.best is not None and np.array_equal(x, self.best):
            self.best_score = np.inf  # it was found in a room that was traced elsewhere
        self._draft(x)

    def _drawn(self, count):
        """The best of random starting points."""
        if count < 1:
            return []
        rng, limits = np.random.default_rng(self.task.seed), self.task.limits
        drawn = rng.random((DRAWN * count, len(limits))) * (limits[:, 1] - limits[:, 0])
        drawn = limits[:, 0] + drawn
        drawn = self.task.origin + SPREAD * (drawn - self.task.origin)
        return sorted(drawn, key=self._draft)[:count]

    def _revert_small(self, origin):
        """Revert, one by one, what moved for little, the least moved first."""
        for n in np.argsort(np.abs(self.best - origin)):
            if self.best[n] == origin[n]:
                continue
            tried, kept = self.best.copy(), self.best_score
            tried[n] = origin[n]
            found = self._draft(tried)
            if found < kept + WORTH:
                self.best, self.best_score = tried, found

    def _settle_gains(self):
        """Bring gains that were moved back toward 0 dB: what all groups of a use share belongs to
        the master, and what buys too little is taken back, whole or half.
        """
        for use in self.task.uses:
            own = [
                n
                for n, a in enumerate(self.task.adjustments)
                if a.key == "gain_db" and a.uses == (use,)
            ]
            moved = [n for n in own if self.best[n] != self.task.origin[n]]
            if not moved:
                continue
            self._share_out(use, own)
            for n in sorted(moved, key=lambda n: -abs(self.best[n])):
                if not self.task.stop():
                    self._nearer_to_zero(use, n)

    def _share_out(self, use, own):
        """Leave to the master what all groups that play in a use are turned up or down by: the
        sound stays the same.
        """
        task, found = self.task, self.task.start.use(use)
        linked = {path[3] for n in own for path, _, _ in task.adjustments[n].links}
        playing = {g.name for g in task.start.groups if found.group_setting(g.name).on}
        gains = self.best[own]
        if linked != playing or not (np.all(gains > 0) or np.all(gains < 0)):
            return
        self.best[own] = gains - gains[np.abs(gains).argmin()]

    def _nearer_to_zero(self, use, n):
        """Take a gain back, whole or half, where it buys too little."""
        adjustment = self.task.adjustments[n]
        kept = self._score_at(self.best, use)
        for part in (0.0, 0.5):
            tried = self.best.copy()
            tried[n] *= part
            far = abs(self.best[n] - tried[n]) * adjustment.scale
            if far < adjustment.step:
                return
            buys = (self._score_at(tried, use) - kept) / len(self.task.uses)
            if buys < GAIN_WORTH * far:
                self.best = tried
                return

    def _score_at(self, x, use):
        """Draft score of some adjustments in one use, beyond the evaluations that are counted for
        the search itself.
        """
        self.used += 1
        return self._score(self.task.scenario_at(x), use)

    def _by_use(self, scenario, names):
        """Draft scores of some uses by name."""
        task = self.task
        if self.used >= task.evaluations or task.stop():
            self.stopped = self.used < task.evaluations
            raise _Ended
        self.used += len(names)
        return {name: self._score(scenario, name) for name in names}

    def _score(self, scenario, use):
        """Draft score of one use."""
        task, room = self.task, self._rooms.get(use)
        if room is None or not room.fits(scenario):
            room = task.room
        draft = evaluate(scenario, use, room=room, rays="few", most_points=DRAFT)
        return penalty(draft, task.weights)

    def _draft(self, x):
        return self._draft_by_use(x)[0]

    def _draft_by_use(self, x):
        """Draft score of some adjustments over all uses, and by use; the best is kept."""
        try:
            scenario = self.task.scenario_at(x)
        except ValueError:
            return REFUSED, {}
        found = self._by_use(scenario, self.task.uses)
        mean = float(np.mean(list(found.values())))
        if mean < self.best_score - 1e-9:
            self.best, self.best_score = np.array(x, float), mean
            if mean < self._told:
                self._told = mean
                # 1 is kept for the answer
                self.task.progress(min(self.used / self.task.evaluations, 0.99), scenario, mean)
        return mean, found

    def _with_gradient(self, x):
        """Draft score and its slope by differences."""
        here, by_use = self._draft_by_use(x)
        if here >= REFUSED:
            return here, np.zeros(len(x))
        return here, np.array([self._slope(x, n, by_use) for n in range(len(x))])

    def _slope(self, x, n, by_use):
        """Slope along one adjustment, evaluated in the uses that hear it; 0 where it can move
        neither way.
        """
        adjustment, (low, high) = self.task.adjustments[n], self.task.limits[n]
        for step in (adjustment.step / adjustment.scale, -adjustment.step / adjustment.scale):
            if not low <= x[n] + step <= high:
                continue
            near = x.copy()
            near[n] += step
            try:
                scenario = self.task.scenario_at(near)
            except ValueError:
                continue
            there = self._by_use(scenario, adjustment.uses)
            change = sum(there[u] - by_use[u] for u in adjustment.uses)
            return change / len(self.task.uses) / step
        return 0.0
