"""How many times as long a gym rings when what is known of it is a little off: as a factor of its
decay times, so that no draw of the unknowns needs rays of its own.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from ..acoustics.measured_room import decay_effects, time_spread
from ..acoustics.model_error import T20_SPREAD, decay_factor
from ..acoustics.room_decay import room_decay
from ..physics import bands
from ..venue.finishes import FINISHES
from ..venue.scenario import Scenario

# measured coefficients of panels exceed 1 by their edges    judgment, no source
MOST_ABSORPTION = 1.2
LEAST_LEFT = 0.2  # of what is absorbed, when all errs to less    judgment, no source
STEP = 0.1  # of the seats of an area, by which the effect of people is tried


@dataclass(frozen=True, kw_only=True, eq=False)
class Ringing:
    """Logarithms of how many times as long a gym rings in its first use, for errors of what is
    known of it; each (7,).
    """

    scenario: Scenario

    @cached_property
    def effects(self):
        """How its decay goes with its finishes (DecayEffects)."""
        return decay_effects(self.scenario, self.scenario.uses[0])

    def together(self, parts, pct):
        """For errors of finishes and scattering, and of the model itself.

        Parameters
        ----------
        parts : array
            Of finishes and scattering (7,) [-]
        pct : float
            Of the model itself, normal [%]

        Returns
        -------
        log : ndarray
            With the bias and the long tails of few published gyms; in a gym that is fitted to what
            was measured in it, as each octave is known (7,) [-]
        """
        if self.scenario.room_fit is not None:
            return parts + pct / 100 * self._by_octave
        middle = parts[bands.MIDDLE].mean()
        chance = ndtr((middle + pct / 100) / T20_SPREAD)
        return parts - middle + np.log(decay_factor(chance))

    @cached_property
    def _by_octave(self):
        """How well a fitted room is known, re the mean of 500 Hz to 2 kHz (7,)."""
        spread = time_spread(self.scenario, self.scenario.uses[0])
        return spread / spread[bands.MIDDLE].mean()

    def absorption(self, finishes, pct):
        """For errors of the absorption of finishes, in its logarithm. Each takes its share of the
        sound that is absorbed, so that much more of one shortens a decay less and less.

        Parameters
        ----------
        finishes : list of str
            Their names
        pct : array
            Error of each (finish,) [%]

        Returns
        -------
        log : ndarray
            (7,) [-]
        """
        grown = 0.0
        for name, p in zip(finishes, pct, strict=True):
            share = -self.effects.absorption[name]
            most = MOST_ABSORPTION / np.maximum(FINISHES[name].absorption, 1e-3)
            grown = grown + share * (np.minimum(np.exp(p / 100), most) - 1)
        return -np.log1p(np.maximum(grown, LEAST_LEFT - 1))

    def scattering(self, _subjects, pct):
        """For an error of the scattering of floor, walls and roof, in its logarithm.

        Parameters
        ----------
        _subjects : list
            Not used: they err together
        pct : array
            Error (1,) [%]

        Returns
        -------
        log : ndarray
            (7,) [-]
        """
        return self.effects.scattering * float(pct[0]) / 100

    def people(self, areas, pct):
        """For errors of the share of the seats that are taken.

        Parameters
        ----------
        areas : list of str
            Areas of the use
        pct : array
            Error of each (area,) [%]

        Returns
        -------
        log : ndarray
            (7,) [-]
        """
        use = self.scenario.uses[0]
        now = np.array([use.occupied.get(name, 0.0) for name in areas])
        off = np.clip(now + np.asarray(pct) / 100, 0, 1) - now
        return sum(self._by_seats[name] * o for name, o in zip(areas, off, strict=True))

    @cached_property
    def _by_seats(self):
        """Change of the logarithms with the share of an area's seats that are taken, by area."""
        use = self.scenario.uses[0]
        now, found = self._times(use.occupied), {}
        for name in {s.part for s in self.scenario.configuration().room.surfaces if s.full}:
            share = use.occupied.get(name, 0.0)
            step = STEP if share + STEP <= 1 else -STEP
            tried = self._times({**use.occupied, name: share + step})
            found[name] = np.log(tried / now) / step
        return found

    def _times(self, occupied):
        use = replace(self.scenario.uses[0], occupied=occupied)
        return room_decay(self.scenario, use, rays="few").t20
