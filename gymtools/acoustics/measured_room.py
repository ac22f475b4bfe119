"""The room fitted to what was measured in it: absorption of every finish and scattering, moved from
their published values no further than the measured decay asks.

Nothing is fitted unasked: ``fit_room`` gives a scenario that holds the factors, so that the same
file always gives the same answer, and everybody sees what was changed.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, decay
from ..venue.assumptions import assumed_finishes
from ..venue.finishes import FINISHES
from ..venue.measured_room import RoomFit, as_measured, by_octave, octaves_of
from ..venue.scenario import Scenario
from .fitting import LIMITS
from .model_error import relative_spread
from .room_decay import room_decay

# of a published absorption coefficient, one standard deviation of its logarithm    judgment, no
# source: twice what a calibration may leave
ABSORPTION_SPREAD = 0.20
# and at least this much, which moves the smallest coefficients most    judgment: published tables
# of one material differ by as much [-]
LEAST_ABSORPTION = 0.02
MOST_SPREAD = 0.7  # of a small coefficient: a factor of two either way    judgment, no source
# of the scattering of floor, walls and roof, of its logarithm    judgment, no source
SCATTERING_SPREAD = 0.5
# of a time that a fitted room gives where it was measured    judgment, no source
FITTED_SPREAD = 0.03
PASSES = 32  # of rays, whose chance must not be taken for the room's own
FEW = 8  # for effects alone: the same rays with and without
DECAYS = 3  # averaged at each position of a measurement    ISO 3382-2:2008, table 1 (from memory)
STEP = -0.3  # of a logarithm, by which its effect is tried: down, for what absorbs all stays so
ROUNDS = 4  # of the fit at most
CLOSE = 0.02  # of a measured time: nearer it need not come
LONGEST_STEP = 0.8  # of a logarithm in one round
OUT_OF_REACH = 0.10  # of a measured time: what stays further off is named
SCATTERING = "scattering"  # stands for all fixed surfaces


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedRoom:
    """A gym whose decay is the measured one, and what it took."""

    scenario: Scenario  # with the factors, and the times that they were fitted to
    finishes: tuple  # of what was there when it was measured
    absorption: np.ndarray  # factor of each finish's absorption (finish, 7) [-]
    scattering: np.ndarray  # factor of the scattering of floor, walls and roof (7,) [-]
    measured: np.ndarray  # (7,); NaN where an octave was not measured [s]
    before: np.ndarray  # with the factors that were there (7,) [s]
    after: np.ndarray  # (7,) [s]
    # what is left unknown of a time predicted for the same state, one standard deviation (7,);
    # before there was a measurement: ``prior_spread`` [-]
    spread: np.ndarray
    prior_spread: np.ndarray
    unreached: tuple  # octaves that stay more than 10 % off, by their labels
    room: str  # in which it was fitted: "traced" or "statistical"


def absorption_spread(finish):
    """How far off the published absorption of a finish may be.

    Parameters
    ----------
    finish : str
        Its name

    Returns
    -------
    spread : ndarray
        Standard deviation of its logarithm (7,) [-]
    """
    published = np.maximum(FINISHES[finish].absorption, 1e-3)
    return np.minimum(np.hypot(ABSORPTION_SPREAD, LEAST_ABSORPTION / published), MOST_SPREAD)


def fit_room(scenario, *, room="traced"):
    """Fit absorption and scattering to what was measured in the gym.

    Parameters
    ----------
    scenario : Scenario
        With a measured room; treatments that are not ``existing`` were not there
    room : str
        "traced", or "statistical" for the textbook formula

    Returns
    -------
    fitted : FittedRoom
        Its ``scenario`` is the one given, with factors: save it, and every later prediction starts
        from the fitted room. Factors of an earlier fit are forgotten; others are where it starts

    Raises
    ------
    ValueError
        Nothing was measured

    Notes
    -----
    The most probable room: each logarithm of a factor x weighs against its spread s, the times
    against how well they are measured, sum (x / s)^2 + sum (ln T - ln T_measured)^2 / sigma^2; each
    octave for itself. The effect of every factor is tried in the room itself, with the same rays.

    Sources
    -------
    Gauss-Newton steps of a maximum a posteriori estimate; e.g. A. Tarantola, Inverse Problem
    Theory, SIAM 2005, ch. 3 (from memory).
    """
    measured = scenario.measured_room
    if measured is None:
        raise ValueError(
            "nothing was measured in this gym: the scenario has no table [measured_room]."
        )
    start = scenario
    if scenario.room_fit is not None:
        start = replace(scenario, absorption_factors={}, scattering_factors={}, text=None)
    readings = Readings(times=measured.times, early=measured.early, positions=measured.positions)
    return fitted_to(scenario, as_measured(start), readings, room=room)


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings:
    """Decay times that were measured."""

    times: np.ndarray  # (7,); NaN where an octave was not measured [s]
    early: np.ndarray  # whether a time is an EDT (7,)
    positions: int  # combinations of source and microphone that they are the mean of

    @property
    def spread(self):
        """Standard deviation of the logarithm of each time, the model's own with it (7,) [-]."""
        times = np.nan_to_num(self.times, nan=1.0)
        reading = decay.reading_spread(times, DECAYS, self.positions) / times
        return np.hypot(reading, FITTED_SPREAD)


def fitted_to(scenario, state, readings, *, room="traced"):
    """Fit a gym to times measured in one of its states.

    Parameters
    ----------
    scenario : Scenario
        The design that takes the factors
    state : Scenario
        The gym as it was measured: its first use, its treatments, the factors to start from
    readings : Readings
        What was measured
    room : str
        "traced" or "statistical"

    Returns
    -------
    fitted : FittedRoom
        As of ``fit_room``
    """
    gym = _Gym(state, room, readings.early)
    x = np.zeros_like(gym.spread)
    before, effect = gym.times(x), gym.effects
    sigma = np.hypot(readings.spread, gym.error)
    known = np.isfinite(readings.times) & np.isfinite(before)
    wanted = np.log(readings.times)
    now = np.log(before)
    for _ in range(ROUNDS):
        if np.all(np.abs(wanted - now)[known] < CLOSE):
            break
        off = np.where(known, np.nan_to_num(wanted - now + (effect * x).sum(axis=0)), 0.0)
        best = _gain(effect, gym.spread, np.nan_to_num(sigma, nan=1.0)) * off
        x = gym.within_limits(x + np.clip(best - x, -LONGEST_STEP, LONGEST_STEP))
        now = np.log(gym.times(x))
    prior = (effect**2 * gym.spread**2).sum(axis=0)
    left = np.where(known, prior * sigma**2 / (prior + sigma**2), prior)
    found = dict(
        measured=readings.times,
        before=before,
        after=np.exp(now),
        spread=_with_misses(np.hypot(np.sqrt(left), FITTED_SPREAD), known, now - wanted),
        prior_spread=np.maximum(np.hypot(np.sqrt(prior), FITTED_SPREAD), relative_spread()),
    )
    off = known & (np.abs(now - wanted) > OUT_OF_REACH)
    return FittedRoom(
        scenario=_with_factors(scenario, gym, x, found),
        finishes=gym.finishes,
        absorption=np.exp(x[:-1]),
        scattering=np.exp(x[-1]),
        unreached=tuple(np.array(bands.LABELS)[off].tolist()),
        room=room,
        **found,
    )


def _with_factors(scenario, gym, x, found):
    """The scenario with factors, and a note on what they were fitted to."""
    note = RoomFit(
        measured_s=octaves_of(found["measured"], 4),
        fitted_s=octaves_of(found["after"], 4),
        spread_pct=octaves_of(100 * found["spread"], 2),
    )
    return replace(scenario, **gym.with_factors(x), room_fit=note, text=scenario.text)


def predicted_spread(scenario):
    """How far off a predicted decay time may be.

    Parameters
    ----------
    scenario : Scenario
        Where its room is fitted to what was measured, less is left unknown

    Returns
    -------
    spread : ndarray
        Standard deviation of a measured T20 about the predicted one of the gym as it is planned,
        with nobody in it, as a share of it: as the measured halls have it, or as the fit to this
        gym leaves it (7,) [-]
    """
    if scenario.room_fit is None or scenario.measured_room is None:
        return np.full(7, relative_spread())
    return time_spread(scenario, replace(scenario.uses[0], occupied={}))


def time_spread(scenario, use, *, room="traced"):
    """What is unknown of the decay times that are predicted for a gym in some state, as far as
    absorption and scattering are.

    Parameters
    ----------
    scenario : Scenario
        Where it is fitted to what was measured, less is unknown
    use : Use
        One of its uses, perhaps with another occupancy
    room : str
        "traced" or "statistical"

    Returns
    -------
    spread : ndarray
        Standard deviation of the logarithm of T20 (7,) [-]

    Notes
    -----
    Close to the prediction a logarithm of time is taken to follow the logarithms of the factors
    along straight lines.
    """
    gym = _Gym(_alone(scenario, use), room)
    effect, unknown = gym.effects, gym.spread
    variance = (effect**2 * unknown**2).sum(axis=0)
    if scenario.measured_room is None or scenario.room_fit is None:
        return np.hypot(np.sqrt(variance), FITTED_SPREAD)
    there, sigma, known = _measured_gym(scenario, room)
    # both states share what the finishes absorb
    mine = np.array(
        [effect[gym.names.index(n)] if n in gym.names else 0 * sigma for n in there.names]
    )
    shared = (mine * there.effects * there.spread**2).sum(axis=0)
    own = (there.effects**2 * there.spread**2).sum(axis=0)
    left = variance - np.where(known, shared**2 / (own + sigma**2), 0.0)
    fit = scenario.room_fit
    off = np.log(by_octave(fit.fitted_s) / by_octave(fit.measured_s))
    return _with_misses(np.hypot(np.sqrt(np.maximum(left, 0.0)), FITTED_SPREAD), known, off)


def _with_misses(spread, known, off):
    """Spread of a fitted room (7,): an octave that was not measured is known as little as in the
    published gyms, and one whose time no likely values give is at least as far off as it stays.
    """
    missed = np.where(known & (np.abs(off) > OUT_OF_REACH), np.abs(off), 0.0)
    return np.where(known, np.hypot(spread, missed), np.maximum(spread, relative_spread()))


@dataclass(frozen=True, kw_only=True, eq=False)
class DecayEffects:
    """Change of the logarithm of each decay time with that of a factor."""

    absorption: dict  # of a finish's absorption (7,), by its name [-]
    scattering: np.ndarray  # of the scattering of floor, walls and roof (7,) [-]

    @property
    def spread(self):
        """What is unknown of a decay time for what is unknown of its finishes: standard deviation
        of its logarithm (7,) [-].
        """
        rows = [effect * absorption_spread(name) for name, effect in self.absorption.items()]
        rows.append(self.scattering * SCATTERING_SPREAD)
        return np.sqrt((np.array(rows) ** 2).sum(axis=0))


def decay_effects(scenario, use):
    """How the decay times of a gym go with absorption and scattering.

    Parameters
    ----------
    scenario : Scenario
        The gym
    use : Use
        One of its uses

    Returns
    -------
    effects : DecayEffects
        Traced with the same rays with and without each change
    """
    gym = _Gym(_alone(scenario, use), "traced", passes=FEW)
    *rows, scattering = gym.effects
    return DecayEffects(
        absorption=dict(zip(gym.finishes, rows, strict=True)), scattering=scattering
    )


def _measured_gym(scenario, room):
    """The fitted gym as it was measured, how well its times are known, and which."""
    measured = scenario.measured_room
    gym = _Gym(as_measured(scenario), room, measured.early)
    readings = Readings(times=measured.times, early=measured.early, positions=measured.positions)
    sigma = np.hypot(readings.spread, gym.error)
    return gym, sigma, np.isfinite(readings.times) & np.isfinite(sigma)


def _gain(effect, prior, sigma):
    """By how much each logarithm of a factor (factor, band) goes with one of a time."""
    return prior**2 * effect / (sigma**2 + (effect**2 * prior**2).sum(axis=0))


class _Gym:
    """Decay times of a gym in one state, its first use, for any factors: a row for each finish, the
    last for the scattering of the fixed surfaces. All are traced with the same rays.
    """

    def __init__(self, state, room, early=False, passes=None):
        passes = PASSES if passes is None else passes
        self.state, self.early, self.room, self.passes = state, early, room, passes
        surfaces, occupied = state.room.surfaces, state.uses[0].occupied
        there = {s.finish for s in surfaces} | {t.finish for t in state.treatments}
        there |= {s.full for s in surfaces if s.full and occupied.get(s.part)}
        self.finishes = tuple(sorted(there))
        fixed = {s.finish for s in surfaces if s.full is None}
        self.fixed = sorted(fixed | {t.finish for t in state.treatments})
        self.names = (*self.finishes, SCATTERING)
        assumed = assumed_finishes(state)
        rows = [
            np.maximum(absorption_spread(name), assumed.get(name, 0.0)) for name in self.finishes
        ]
        scatters = 0.0 if room == "statistical" else SCATTERING_SPREAD
        self.spread = np.array([*rows, np.full(7, scatters)])  # (factor, band)
        start = room_decay(state, state.uses[0], room=room, passes=passes)
        time, error = start.t20, start.t20_error
        if np.any(early):
            time, error = np.where(early, start.edt, time), np.where(early, start.edt_error, error)
        self.error = error / time  # standard error, as a share of the time (7,) [-]

    def with_factors(self, x):
        """Factors of the scenario by its fields, those that are there taken along."""
        rows = {"absorption_factors": list(zip(self.finishes, x[:-1], strict=True))}
        if self.room == "traced":
            rows["scattering_factors"] = [(name, x[-1]) for name in self.fixed]
        found = {}
        for key, those in rows.items():
            found[key] = dict(getattr(self.state, key))
            for name, row in those:
                factors = np.clip(self._present(key, name) * np.exp(row), *LIMITS)
                found[key][name] = factors.round(4).tolist()
        return found

    def _present(self, key, name):
        return np.array(getattr(self.state, key).get(name, 1.0), float)

    def times(self, x):
        """Time of each octave (7,) [s]."""
        state = replace(self.state, **self.with_factors(x), text=None)
        found = room_decay(state, state.uses[0], room=self.room, passes=self.passes)
        return np.where(self.early, found.edt, found.t20) if np.any(self.early) else found.t20

    @cached_property
    def effects(self):
        """Change of the logarithm of each time with that of each factor (factor, band)."""
        nothing = np.zeros_like(self.spread)
        now, found = self.times(nothing), nothing.copy()
        for row in range(len(found)):
            if self.spread[row].any():
                tried = nothing.copy()
                tried[row] = STEP
                found[row] = np.log(self.times(tried) / now) / STEP
        found = np.nan_to_num(found)  # a decay too long to be followed
        return np.minimum(found, 0.0)  # neither absorption nor scattering ever lengthens a decay

    def within_limits(self, x):
        """Logarithms of factors that are allowed, also where an absorption would exceed 1."""
        published = np.array([FINISHES[n].absorption for n in self.finishes])
        present = np.array(
            [np.broadcast_to(self._present("absorption_factors", n), 7) for n in self.finishes]
        )
        most = np.minimum(LIMITS[1], 1 / np.maximum(published * present, 0.1))
        low, high = np.log(LIMITS[0]), np.log(np.vstack([most, np.full(7, LIMITS[1])]))
        return np.clip(x, low, np.maximum(high, 0.0))


def _alone(scenario, use):
    """The gym with one use and nothing beside it, and nothing measured in it."""
    uses = (replace(use, beside=None),)
    return replace(scenario, uses=uses, measured_room=None, room_fit=None, text=None)
