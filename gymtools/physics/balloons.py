"""Balloons: what a loudspeaker radiates in each direction, re its axis, ready for the kernels."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .bands import to_energy
from .directivity import AZIMUTH_DEG, ELEVATION_DEG, directivity_index, sphere_weights
from .landing import DIRECTION, SHARE

AZ, EL = len(AZIMUTH_DEG), len(ELEVATION_DEG)
STEP = np.float32(np.radians(AZIMUTH_DEG[1] - AZIMUTH_DEG[0]))


@dataclass(frozen=True, eq=False)
class Balloon:
    """Directivity of one loudspeaker type on the grid of ``directivity``.

    Parameters
    ----------
    level_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]
    """

    level_db: np.ndarray

    @cached_property
    def table(self):
        """Energy re the axis (azimuth * elevation, band), float32 [-]."""
        flat = to_energy(self.level_db).reshape(AZ * EL, -1)
        return np.ascontiguousarray(flat, np.float32)

    @cached_property
    def index_db(self):
        """Directivity index (band,) [dB]."""
        return directivity_index(self.level_db)

    @cached_property
    def cell_share(self):
        """Share of the radiated energy in each cell of the grid, mean over the octaves (azimuth *
        elevation,); sums to 1 [-].
        """
        radiated = sphere_weights().ravel()[:, None] * self.table
        return (radiated / radiated.sum(axis=0)).mean(axis=1)

    @cached_property
    def ray_energy(self):
        """Share of the radiated energy on each ray of ``landing.DIRECTION`` (ray, band); every band
        sums to 1 [-].
        """
        energy = self.toward(DIRECTION) * SHARE[:, None]
        return energy / energy.sum(axis=0)

    def toward(self, local):
        """Energy toward directions in the loudspeaker's own frame, bilinear in azimuth and
        elevation.

        Parameters
        ----------
        local : array
            Directions (..., 3), any length but zero, float32 [any]

        Returns
        -------
        energy : ndarray
            Energy re the axis (..., band), float32 [-]
        """
        x, y, z = local[..., 0], local[..., 1], local[..., 2]
        a = (np.arctan2(y, x) + np.float32(np.pi)) / STEP
        e = (np.arctan2(z, np.sqrt(x * x + y * y)) + np.float32(np.pi / 2)) / STEP
        ia = np.minimum(a.astype(np.int32), AZ - 2)
        ie = np.minimum(e.astype(np.int32), EL - 2)
        a, e = (a - ia)[..., None], (e - ie)[..., None]
        at, table = ia * EL + ie, self.table
        low = np.take(table, at, axis=0) * (1 - e) + np.take(table, at + 1, axis=0) * e
        high = np.take(table, at + EL, axis=0) * (1 - e) + np.take(table, at + EL + 1, axis=0) * e
        return low + a * (high - low)


def edge_angles(balloon_db, edge_db=-6.0):
    """Coverage angles: full angle between the edge directions of both planes.

    Parameters
    ----------
    balloon_db : array
        Level re the axis (azimuth, elevation, band) [dB]
    edge_db : float
        What counts as the edge [dB]

    Returns
    -------
    horizontal_deg, vertical_deg : ndarray
        360 where the level never falls so far (band,) [deg]

    Sources
    -------
    The coverage angle as the angle between the -6 dB directions: common practice, no source.
    """
    middle = balloon_db.shape[0] // 2, balloon_db.shape[1] // 2
    step = 360.0 / (balloon_db.shape[0] - 1)
    h = [balloon_db[middle[0] :, middle[1]], balloon_db[middle[0] :: -1, middle[1]]]
    # front over the top to the back
    over = np.concatenate([balloon_db[middle[0], middle[1] :], balloon_db[0, -2::-1]])
    under = np.concatenate([balloon_db[middle[0], middle[1] :: -1], balloon_db[0, 1:]])
    return tuple(
        np.array(
            [
                sum(_crossing(side[:, b], step, edge_db) for side in sides)
                for b in range(balloon_db.shape[2])
            ]
        )
        for sides in (h, [over, under])
    )


def _crossing(levels, step, edge_db):
    """Angle at which a cut first falls to the edge, up to 180 [deg]."""
    below = np.flatnonzero(levels <= edge_db)
    if not len(below) or below[0] * step > 180:
        return 180.0
    k = below[0]
    return step * (k if k == 0 else k - 1 + (levels[k - 1] - edge_db) / (levels[k - 1] - levels[k]))
