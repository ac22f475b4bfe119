"""One factor an octave on the absorption, by the textbook formula alone. What every finish and the
scattering are fitted to, in the traced room, is ``measured_room``.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from ..physics import bands, reverberation
from ..venue.scenario import Scenario
from .sources import sources

LIMITS = (0.1, 10.0)  # of the factors    as the scenario file allows


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """Absorption of a gym that gives its measured reverberation."""

    scenario: Scenario  # with the factors
    finishes: tuple  # that were fitted
    factors: np.ndarray  # what their absorption is multiplied by (7,) [-]
    measured: np.ndarray  # (7,); NaN where there is no reading [s]
    before: np.ndarray  # by formula, as designed, nobody in the gym (7,) [s]
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
        Name of the use in which the gym stood as it was measured
    measured : array
        Reverberation time (7,); NaN where an octave was not measured: it keeps its factor [s]
    finishes : sequence of str, optional
        Finishes that may be off; all of the empty gym when left out
    predicted : array, optional
        What the room in which the gym is judged gives as designed, where that is not the formula
        (a traced one): the formula's time is then changed in the ratio of measured to predicted
        (7,) [s]

    Returns
    -------
    fit : Fit
        One factor an octave, the same for all the finishes; factors the scenario has already are
        part of what is fitted

    Raises
    ------
    ValueError
        A finish that is not in this gym, or an unknown use

    Notes
    -----
    One number an octave cannot say which finish is off.

    Sources
    -------
    Eyring's formula with air, as in the design: ``physics.reverberation.reverberation_time``.
    """
    measured = np.asarray(measured, float)
    empty = _EmptyGym(scenario, use, _chosen(scenario, use, finishes))
    before = empty.times(np.ones(7))
    wanted = measured if predicted is None else before * measured / np.asarray(predicted, float)
    factors, unreached = np.ones(7), []
    for band in np.flatnonzero(np.isfinite(wanted)):
        factors[band], reached = empty.factor(band, wanted[band])
        if not reached:
            unreached.append(bands.LABELS[band])
    return Fit(
        scenario=replace(scenario, absorption_factors=empty.with_factors(factors), text=None),
        finishes=empty.finishes,
        factors=factors,
        measured=measured,
        before=before,
        wanted=wanted,
        after=empty.times(factors),
        unreached=tuple(unreached),
    )


def _chosen(scenario, use, finishes):
    """Finishes to fit: those named, or all of the empty gym."""
    surfaces = scenario.configuration(use).room.surfaces
    there = sorted({s.finish for s in surfaces} | {t.finish for t in scenario.treatments})
    for name in finishes or ():
        if name not in there:
            raise ValueError(
                f"finishes: '{name}' is not in this gym. There are: {', '.join(there)}."
            )
    return tuple(there if finishes is None else finishes)


class _EmptyGym:
    """Reverberation time by formula of the gym without people, for any factors of some finishes."""

    def __init__(self, scenario, use, finishes):
        self.scenario, self.finishes = scenario, finishes
        self.room = scenario.configuration(use).room
        present = scenario.absorption_factors
        self.present = {  # factors the scenario has already (7,), by finish
            name: np.broadcast_to(np.array(present.get(name, 1.0), float), 7) for name in finishes
        }
        playing = sources(scenario, scenario.use(use))
        self.decay, self.speed = playing.decay, playing.speed

    def with_factors(self, factors):
        """Absorption factors of the scenario with further factors (7,) on the chosen finishes."""
        changed = {
            name: np.clip(self.present[name] * factors, *LIMITS).tolist() for name in self.finishes
        }
        return {**self.scenario.absorption_factors, **changed}

    def times(self, factors):
        """Reverberation time after Eyring with further factors (7,) [s]."""
        alpha = self.room.absorption({}, self.scenario.treatments, self.with_factors(factors))
        return reverberation.reverberation_time(
            self.room.volume, self.room.area, alpha, air=self.decay, speed_of_sound=self.speed
        )

    def factor(self, band, wanted):
        """Factor that gives the wanted time [s] in an octave, and whether any allowed one does."""

        def excess(log_factor):
            factors = np.ones(7)
            factors[band] = np.exp(log_factor)
            return self.times(factors)[band] - wanted

        least = np.log(LIMITS[0] / max(f[band] for f in self.present.values()))
        most = np.log(LIMITS[1] / min(f[band] for f in self.present.values()))
        if excess(least) < 0:  # too short even with the least absorption
            return np.exp(least), False
        if excess(most) > 0:
            return np.exp(most), False
        return np.exp(brentq(excess, least, most, xtol=1e-10)), True
