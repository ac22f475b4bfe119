"""The loudspeakers as arrays, ready for the kernels: where they hang, what they radiate, when."""

from dataclasses import dataclass, replace

import numpy as np

from . import bands, field, screening


@dataclass(frozen=True, kw_only=True, eq=False)
class Sources:
    """Several loudspeakers in one order; those that are off radiate nothing.

    Parameters
    ----------
    position : ndarray
        Acoustic centers (source, 3) [m]
    axes : ndarray
        Front, left and up as rows, ``geometry.rotation`` (source, 3, 3) [-]
    balloons : tuple of Balloon
        The directivities that occur [dB]
    kind : ndarray of int
        Which of the balloons each source has (source,) [-]
    on_axis : ndarray
        Energy at 1 m on the axis (source, band) [re 20 uPa squared]
    delay_s : ndarray
        Delay of the signal (source,) [s]
    playing : ndarray of bool
        Which sources are on (source,)
    decay : ndarray
        Energy decay of the air (band,) [1/m]
    speed : float
        Speed of sound [m/s]
    leak_db : ndarray or float
        How much more each radiates in all directions than its balloon says, at one level on the
        axis (source,) [dB]
    """

    position: np.ndarray
    axes: np.ndarray
    balloons: tuple
    kind: np.ndarray
    on_axis: np.ndarray
    delay_s: np.ndarray
    playing: np.ndarray
    decay: np.ndarray
    speed: float
    leak_db: np.ndarray | float = 0.0

    def __len__(self):
        return len(self.position)

    @property
    def q(self):
        """Directivity factor (source, band), ``leak_db`` taken off [-]."""
        index_db = np.array([b.index_db for b in self.balloons])[self.kind]
        return bands.to_energy(index_db - np.reshape(self.leak_db, (-1, 1)))

    @property
    def radiated(self):
        """Energy radiated in all directions, at 1 m over the whole sphere (source, band) [re 20 uPa
        squared, m2].
        """
        return 4 * np.pi * self.on_axis / self.q

    def balloon(self, number):
        """Directivity of one source.

        Parameters
        ----------
        number : int
            Which source [-]

        Returns
        -------
        balloon : Balloon
            One of ``balloons``
        """
        return self.balloons[self.kind[number]]

    def some(self, numbers):
        """Some of the sources.

        Parameters
        ----------
        numbers : sequence of int
            Which ones [-]

        Returns
        -------
        sources : Sources
            In that order
        """
        each = ("position", "axes", "kind", "on_axis", "delay_s", "playing")
        leak_db = np.broadcast_to(self.leak_db, len(self))[list(numbers)]
        some = {k: np.asarray(getattr(self, k))[list(numbers)] for k in each}
        return replace(self, leak_db=leak_db, **some)

    def raised(self, gain_db):
        """The same sources, all turned up by a gain.

        Parameters
        ----------
        gain_db : float or array
            Gain, one number or (band,) [dB]

        Returns
        -------
        sources : Sources
            With more (or less) on the axis

        Raises
        ------
        ValueError
            A gain over 300 dB
        """
        return replace(self, on_axis=self.on_axis * bands.to_energy(gain_db))

    def direct(self, points, screens=None):
        """Direct sound at points.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        screens : Screens, optional
            What may stand in the way; nothing when left out [m]

        Returns
        -------
        energy : ndarray
            (source, point, band) float32 [re 20 uPa squared]
        distance : ndarray
            (source, point) float32 [m]
        """
        energy, distance = field.direct_energy(points, self)
        if screens is not None and len(screens):
            for s in np.flatnonzero(self.playing):
                way = self.position[s], points, screens, self.speed
                energy[s] *= screening.around_and_through(*way)[1]
        return energy, distance
