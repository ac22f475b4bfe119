"""How sure the figures are: the same design drawn many times with its inputs a little off, and what
that does to every criterion.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtri

from ..acoustics.criteria import CRITERIA, judge
from ..acoustics.evaluate import evaluate
from ..acoustics.sources import sources
from ..acoustics.traced import Tracing
from ..physics.checks import whole
from ..physics.cores import on_all_cores
from ..venue.arguments import FROM_LOAD, call_of, kind_of
from ..venue.paths import changed
from ..venue.scenario import Scenario
from .input_errors import INPUTS, MODEL, WORDS, InputSpread, ungrouped
from .ringing import Ringing

SEATS = 300  # looked at in every area that listens
FEWER_SEATS = 100  # for draws of one input alone, of which the width alone counts
ALONE = 12  # of the draws, one in so many again for every input by itself
LEAST = 16  # draws of one input by itself
MOST_SEED = 2**32 - 1
NOTHING = np.zeros(7)  # logarithm of a decay that is as it is
EDGES = (10, 90)  # of a range [percentile]


@dataclass(frozen=True, kw_only=True, eq=False)
class Range:
    """One criterion over all draws; its range always holds the design as it is."""

    criterion: str  # key of ``CRITERIA``
    area: str  # or microphone; "" for the room
    unit: str
    target: float
    value: float  # as designed, all seats
    values: np.ndarray  # drawn (draw,) [unit]
    chance: float  # share of the draws that meet the target, 0 to 1
    alone: dict  # width of the range by the input that alone is off

    @property
    def low(self):
        """9 of 10 draws lie above, and the design as it is [unit]."""
        return min(float(_edges(self.values)[0]), self.value)

    @property
    def high(self):
        """9 of 10 draws lie below, and the design as it is [unit]."""
        return max(float(_edges(self.values)[1]), self.value)

    @property
    def most(self):
        """The input that matters most, or None when nothing moves it."""
        name = max(self.alone, key=self.alone.get)
        return name if self.alone[name] > 1e-6 else None


@dataclass(frozen=True, kw_only=True, eq=False)
class Uncertainty:
    """Ranges of every criterion of one use."""

    use: str
    spread: InputSpread
    draws: int  # that could be built
    ranges: tuple  # Range
    assumed: tuple = ()  # finishes and noise that are drawn wider, as nobody confirmed them

    @property
    def least_chance(self):
        """Least chance of any criterion to meet its target, 0 to 1 [-]."""
        return min(r.chance for r in self.ranges)


def how_sure(
    scenario, use=None, *, unknowns=None, draws=200, seed=1, progress=None, stop=None, result=None
):
    """Ranges of every criterion when ringing, absorption, noise, occupancy, aim and sensitivity are
    only roughly known.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str, optional
        Name of a use; the first when left out
    unknowns : InputSpread, optional
        How far off each input may be; ``InputSpread.usual`` when left out
    draws : int
        Designs drawn with everything off at once; about as many again are drawn with one input off,
        to see which matters [-]
    seed : int
        The same seed gives the same answer [-]
    progress : callable, optional
        Called with the share that is done, 0 to 1
    stop : callable, optional
        When it answers true nothing more is drawn
    result : Result, optional
        The use evaluated with all rays, where it is at hand

    Returns
    -------
    uncertainty : Uncertainty or None
        None when it was stopped

    Raises
    ------
    ValueError
        No scenario, an unknown use, unknowns of another kind, draws outside 20 to 5000, a seed
        that is no whole number from 0, progress or stop that are no functions, or none of the draws
        can be built

    Notes
    -----
    Normal errors drawn by Latin hypercube (of absorption and scattering in their logarithms), every
    finish, area and loudspeaker for itself, finishes and noise that are only assumed wider than the
    others; without echoes. What finishes, scattering and people
    change of the decay is traced once for each of them; a draw stretches the late sound by all of
    them together, and turns loudspeakers in their direct sound alone. What an error changes is
    found over at most 300 seats an area with few rays, the same for every draw, and added to what
    the design gives over all of them with all rays, so that with nothing off the design itself
    comes out. Draws that cannot
    be built (an aim error that turns a loudspeaker into its neighbor) are left out.
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    draws, seed = whole("draws", draws, 20, 5000), whole("seed", seed, 0, MOST_SEED)
    progress = call_of("progress", progress, lambda _: None)
    stop = call_of("stop", stop, lambda: False)
    use = scenario.use(use)
    spread = InputSpread.usual(scenario, use.name) if unknowns is None else unknowns
    kind_of("unknowns", spread, InputSpread, "Give an InputSpread, e.g. InputSpread(noise_db=3).")
    designed = judge(result or evaluate(scenario, use.name), echoes=False)
    drawing = _Drawing(scenario=ungrouped(scenario, use), spread=spread, seed=seed)
    sample = drawing.values(({}, NOTHING, NOTHING), SEATS)
    found = _all_draws(drawing, draws, progress, stop)
    if found is None:
        return None
    if not found[None]:
        raise ValueError("none of the draws can be hung. Give smaller spreads.")
    return Uncertainty(
        use=use.name,
        spread=spread,
        draws=len(found[None]),
        ranges=tuple(_range(v, sample, found) for v in designed),
        assumed=drawing.wider,
    )


def _all_draws(drawing, draws, progress, stop):
    """Values of all draws by the input that alone is off, None for all at once; None when
    stopped.
    """
    few = max(draws // ALONE, LEAST)
    plan = [(None, drawing.varied, draws), *((name, [name], few) for name in drawing.varied)]
    jobs = [
        (alone, draw, SEATS if alone is None else FEWER_SEATS)
        for alone, names, count in plan
        for draw in drawing.draws(names, count)
    ]
    found = {alone: [] for alone, *_ in plan}

    def work(job):
        return None if stop() else drawing.values(*job[1:])

    for done, (job, values) in enumerate(zip(jobs, on_all_cores(work, jobs), strict=True)):
        if stop():
            return None
        if values:  # it can be built
            found[job[0]].append(values)
        progress((done + 1) / len(jobs))
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Drawing:
    """What is drawn: a scenario whose loudspeakers stand alone, and the spreads of its inputs."""

    scenario: object
    spread: InputSpread
    seed: int

    @cached_property
    def subjects(self):
        """What errs, by input."""
        return {name: INPUTS[name].subjects(self.scenario) for name in WORDS}

    @cached_property
    def spreads(self):
        """How far off each input's things may be: a number or an array; more where assumed."""
        found = {name: getattr(self.spread, name) for name in WORDS}
        for name, one in INPUTS.items():
            if one.wider is not None:
                found[name] = found[name] * one.wider(self.scenario, self.subjects[name])
        return found

    @property
    def wider(self):
        """Things that are drawn wider than the spread says."""
        return tuple(
            subject
            for name in self.varied
            for subject, spread in zip(
                self.subjects[name],
                np.broadcast_to(self.spreads[name], len(self.subjects[name])),
                strict=True,
            )
            if spread > getattr(self.spread, name)
        )

    @property
    def varied(self):
        """Inputs that err."""
        return [name for name in WORDS if getattr(self.spread, name) > 0 and self.subjects[name]]

    def draws(self, names, count):
        """Draws with some inputs off: changes of the scenario, and logarithms of how many times as
        long it rings, as it is and with nobody in it (7,).
        """
        for errors in _errors([len(self.subjects[n]) for n in names], count, self.seed):
            changes, rings, people = {}, NOTHING, NOTHING
            off = {n: e * self.spreads[n] for n, e in zip(names, errors, strict=True)}
            for name, amount in off.items():
                one = INPUTS[name]
                if one.changes is not None:
                    changes |= one.changes(self.scenario, self.subjects[name], amount)
                if one.rings is not None:
                    longer = one.rings(self._ringing, self.subjects[name], amount)
                    rings = rings + longer * one.empty_too
                    people = people + longer * (not one.empty_too)
            if MODEL in off:
                rings = self._ringing.together(rings, float(off[MODEL][0]))
            yield changes, rings + people, rings

    @cached_property
    def _ringing(self):
        return Ringing(scenario=self.scenario)

    @cached_property
    def _field(self):
        """The room as it is."""
        return Tracing(self.scenario, rays="few").run()

    def values(self, draw, seats):
        """Values by criterion and area, over a sample of the seats; None of what cannot be
        built.
        """
        changes, rings, rings_empty = draw
        try:
            scenario = changed(self.scenario, changes)
            use = scenario.uses[0]
            # a turn by a few degrees changes the late sound by less than its chance
            field = replace(self._field, sources=sources(scenario, use))
            if rings.any():
                field = field.ringing_longer(np.exp(rings))
            judged = rings if use.judged_as == "speech" else rings_empty
            field = replace(field, ringing=np.exp(judged))
            result = evaluate(scenario, room=field, most_points=seats)
        except ValueError:
            return None
        return {(v.criterion, v.area): v.value for v in judge(result, echoes=False)}


def _errors(lengths, count, seed):
    """Standard normal errors, a list of arrays a draw."""
    if not sum(lengths):
        return [[] for _ in range(count)]
    from scipy.stats import qmc  # slow to load

    drawn = ndtri(qmc.LatinHypercube(sum(lengths), rng=seed).random(count))
    return [np.split(row, np.cumsum(lengths)[:-1]) for row in drawn]


def _edges(values):
    """Ends of the range of some draws; each stands for the middle of its share, few as they are."""
    return np.percentile(values, EDGES, method="hazen")


def _range(verdict, sample, found):
    """The designed value, moved by what the errors move over the sample; a criterion without a
    verdict has its target.
    """
    key, criterion = (verdict.criterion, verdict.area), CRITERIA[verdict.criterion]
    as_is = sample.get(key, verdict.target)
    values = {
        alone: _moved(np.array([row.get(key, verdict.target) for row in rows]), as_is, verdict)
        for alone, rows in found.items()
    }
    meets = [criterion.word(v, verdict.target) == "meets" for v in values[None]]
    width = {alone: float(np.diff(_edges(v))[0]) for alone, v in values.items() if alone and len(v)}
    return Range(
        criterion=verdict.criterion,
        area=verdict.area,
        unit=verdict.unit,
        target=verdict.target,
        value=verdict.value,
        values=values[None],
        chance=float(np.mean(meets)),
        alone={name: width.get(name, 0.0) for name in WORDS},
    )


def _moved(values, as_is, verdict):
    """The designed value, moved as drawn values lie about what the sample has as it is: a decay
    time by as many times, all else by as much; shares and counts stay what they can be.
    """
    if verdict.unit == "s":
        return values * (verdict.value / as_is)
    values = values + (verdict.value - as_is)
    if verdict.unit == "%":
        return np.clip(values, 0.0, 100.0)
    return np.maximum(values, 0.0) if verdict.unit == "seats" else values
