"""The room's absorption fitted to the decay that was measured, so that everything can be predicted
again.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from ..physics import air, bands, reverberation
from ..venue.scenario import Scenario

LIMITS = (0.1, 10.0)  # of the factors    as the scenario file allows


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """Absorption of a hall that gives its measured reverberation."""

    scenario: Scenario  # with the factors
    finishes: tuple  # that were fitted
    factors: np.ndarray  # what their absorption is multiplied by (7,) [-]
    measured: np.ndarray  # (7,); NaN where there is no reading [s]
    before: np.ndarray  # by formula, as designed, nobody in the hall (7,) [s]
    # time by formula that was fitted to: the measured one, or changed in the same ratio; NaN where
    # there is none (7,) [s]
    wanted: np.ndarray
    after: np.ndarray  # by formula with the factors (7,) [s]
    unreached: tuple  # octaves whose time no allowed factor gives, by their labels


def fit_absorption(scenario, use, measured, finishes=None, *, predicted=None):
    """Factors of the absorption that bring the reverberation by formula to the measured one.

    Parameters
    ----------
    scenario : Scenario
        The design as measured: occupied by nobody (``commissioning.plan.as_tested``), or its other
        uses beside it
    use : str
        Name of the use in which the hall stood as it was measured
    measured : array
        Reverberation time (7,); NaN where an octave was not measured: it keeps its factor [s]
    finishes : sequence of str, optional
        Finishes that may be off; all of the empty hall when left out
    predicted : array, optional
        What the room in which the hall is judged gives as designed, where that is not the formula
        (a traced one): the formula's time is then changed in the ratio of measured to predicted
        (7,) [s]

    Returns
    -------
    fit : Fit
        One factor an octave, the same for all the finishes; factors the scenario has already are
        part of what is fitted

    Notes
    -----
    Eyring with air, as in the design. One number an octave cannot say which finish is off.
    """
    empty = replace(scenario.use(use), occupied={})
    measured = np.asarray(measured, float)
    room = scenario.configuration(use).room
    there = sorted({s.finish for s in room.surfaces} | {t.finish for t in scenario.treatments})
    chosen = list(there if finishes is None else finishes)
    for name in chosen:
        if name not in there:
            raise ValueError(
                f"finishes: '{name}' is not in this hall. There are: {', '.join(there)}."
            )
    weather = scenario.air
    loss = air.attenuation(
        bands.EXACT,
        temperature_c=weather.temperature_c,
        humidity_pct=weather.humidity_pct,
        pressure_kpa=weather.pressure_kpa,
    )
    speed, decay = float(air.speed_of_sound(weather.temperature_c)), air.decay_constant(loss)
    now = {
        name: np.broadcast_to(np.array(scenario.absorption_factors.get(name, 1.0), float), 7)
        for name in chosen
    }

    def with_factors(factors):
        return {
            **scenario.absorption_factors,
            **{name: np.clip(now[name] * factors, *LIMITS).tolist() for name in chosen},
        }

    def times(factors):
        alpha = room.absorption(empty.occupied, scenario.treatments, with_factors(factors))
        return reverberation.reverberation_time(
            room.volume, room.area, alpha, air=decay, speed_of_sound=speed
        )

    before = times(np.ones(7))
    wanted = measured if predicted is None else before * measured / np.asarray(predicted, float)
    factors, unreached = np.ones(7), []
    for b in np.flatnonzero(np.isfinite(wanted)):

        def off(log_f, b=b):
            return times(np.where(np.arange(7) == b, np.exp(log_f), 1.0))[b] - wanted[b]

        low, high = (
            np.log(LIMITS[0] / max(f[b] for f in now.values())),
            np.log(LIMITS[1] / min(f[b] for f in now.values())),
        )
        ends = off(low), off(high)
        if ends[0] < 0 or ends[1] > 0:
            unreached.append(bands.LABELS[b])
            factors[b] = np.exp(low if ends[0] < 0 else high)
        else:
            factors[b] = np.exp(brentq(off, low, high, xtol=1e-10))
    fitted = replace(scenario, absorption_factors=with_factors(factors), text=None)
    return Fit(
        scenario=fitted,
        finishes=tuple(chosen),
        factors=factors,
        measured=measured,
        before=before,
        wanted=wanted,
        after=times(factors),
        unreached=tuple(unreached),
    )
