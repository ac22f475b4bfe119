"""Where traced sound is counted: layers of air over the listeners, cut into zones, and bins of the
way behind it.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_array

from .remembered import Remembered

WIDTH = 1.5  # of a bin near the source [m]
GROWTH = 0.0375  # of a bin far from it, as a share of the way
LONGEST = 3000.0  # ways beyond this are not followed; 8.7 s [m]
_EVEN = np.arange(0.0, WIDTH / GROWTH + 1e-9, WIDTH)
# of the bins [m]
EDGES = np.append(
    _EVEN,
    _EVEN[-1] * np.exp(GROWTH * np.arange(1, np.ceil(np.log(LONGEST / _EVEN[-1]) / GROWTH) + 1)),
)
MIDDLES = (EDGES[1:] + EDGES[:-1]) / 2  # (bin,) [m]
REMEMBERED = 8  # sets of points whose weights are kept


@dataclass(frozen=True, eq=False)
class Zones:
    """Where sound is counted: layers of air over listening areas, each cut into equal zones along
    two of its edges.

    Parameters
    ----------
    corner : ndarray
        One corner of each layer (layer, 3), float32 [m]
    inverse : ndarray
        ``inverse @ (x - corner)`` lies within 0 and 1 inside the layer (layer, 3, 3), float32 [1/m]
    counts : ndarray of int
        Zones along the first and the second edge (layer, 2) [-]
    first : ndarray of int
        Number of the first zone of each layer (layer,) [-]
    volume : ndarray
        Volume of each zone (zone,) [m3]
    center : ndarray
        Middle of each zone (zone, 3) [m]
    """

    corner: np.ndarray
    inverse: np.ndarray
    counts: np.ndarray
    first: np.ndarray
    volume: np.ndarray
    center: np.ndarray

    def __len__(self):
        return len(self.volume)

    @cached_property
    def _weights(self):
        return Remembered(REMEMBERED)

    def layer_means(self, values):
        """Means over the zones of each layer.

        Parameters
        ----------
        values : array
            (zone, ...) [any]

        Returns
        -------
        means : ndarray
            (layer, ...) [as values]
        """
        count = self.counts.prod(axis=1).reshape(-1, *[1] * (np.ndim(values) - 1))
        return np.add.reduceat(values, self.first, axis=0) / count.astype(values.dtype)

    def weights(self, points):
        """Weights of the zones around points: linear between the middles of the zones of the
        nearest layer.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        weights : sparse array
            (point, zone), rows sum to 1; beyond the outer middles the outer zones stand [-]

        Sources
        -------
        Bilinear interpolation.
        """
        return self._at(points)[0]

    def corners(self, points):
        """The zones around points and their weights, as arrays.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        zone : ndarray of int
            Four zones around each point (point, 4), some of them more than once [-]
        weight : ndarray
            Their weights (point, 4), rows sum to 1, float32 [-]

        Sources
        -------
        As ``weights``.
        """
        return self._at(points)[1:3]

    def shares(self, points):
        """How much each zone counts in the mean over some points.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        share : ndarray
            (zone,), sums to 1 [-]

        Sources
        -------
        As ``weights``.
        """
        return self._at(points)[3]

    def _at(self, points):
        """Weights as a sparse array, zones and weights as arrays, and shares; remembered."""
        points = np.asarray(points, float)
        return self._weights.get(points, lambda: self._between(points))

    def _between(self, points):
        # (point, layer, edge)
        local = np.einsum("kij,pkj->pki", self.inverse, points[:, None] - self.corner)
        outside = np.einsum(
            "kij,pkj->pki", np.linalg.inv(self.inverse), local - np.clip(local, 0, 1)
        )
        layer = (outside**2).sum(axis=2).round(6).argmin(axis=1)
        counts = self.counts[layer]
        # in zones from the first middle
        at = np.clip(local[np.arange(len(points)), layer, :2] * counts - 0.5, 0, counts - 1)
        low = np.minimum(at.astype(int), np.maximum(counts - 2, 0))
        high = np.minimum(low + 1, counts - 1)
        part = at - low
        zone = np.empty((len(points), 4), np.int64)
        weight = np.empty((len(points), 4))
        corner = 0
        for i, wi in ((low[:, 0], 1 - part[:, 0]), (high[:, 0], part[:, 0])):
            for j, wj in ((low[:, 1], 1 - part[:, 1]), (high[:, 1], part[:, 1])):
                zone[:, corner] = self.first[layer] + i * counts[:, 1] + j
                weight[:, corner] = wi * wj
                corner += 1
        rows = np.repeat(np.arange(len(points)), 4)
        sparse = csr_array((weight.ravel(), (rows, zone.ravel())), shape=(len(points), len(self)))
        shares = np.asarray(sparse.mean(axis=0)).ravel()
        return sparse, zone, weight.astype(np.float32), shares


def zones(layers):
    """Cut layers of air into zones.

    Parameters
    ----------
    layers : sequence of tuple
        Corner (3,), edges as rows (3, 3), and number of zones along the first two edges (2,) [m]

    Returns
    -------
    zones : Zones
        In the order of the layers, the second edge running fastest
    """
    first, volume, center = [], [], []
    for corner, edges, counts in layers:
        first.append(sum(len(c) for c in center))
        u, v = ((np.arange(n) + 0.5) / n for n in counts)
        at = np.stack(
            [*np.meshgrid(u, v, indexing="ij"), np.full((len(u), len(v)), 0.5)], axis=-1
        ).reshape(-1, 3)
        center.append(corner + at @ np.asarray(edges, float))
        volume.append(np.full(len(at), abs(np.linalg.det(edges)) / len(at)))
    return Zones(
        np.array([corner for corner, _, _ in layers], np.float32),
        np.array([np.linalg.inv(np.asarray(edges, float).T) for _, edges, _ in layers], np.float32),
        np.array([counts for _, _, counts in layers]),
        np.array(first),
        np.concatenate(volume),
        np.concatenate(center),
    )


class Tally(NamedTuple):
    """What has become of the energy of all rays.

    Parameters
    ----------
    reflected : ndarray
        Energy times length of way, after one surface or more (zone, bin, band) [m]
    mirrored : ndarray
        Part of it that has met one surface only, as a mirror (zone, bin, band) [m]
    absorbed : ndarray
        Taken by the surfaces (surface, band) [-]
    air : ndarray
        Taken by the air (band,) [-]
    left : ndarray
        No longer followed, or lost (gained when negative) by chance (band,) [-]
    """

    reflected: np.ndarray
    mirrored: np.ndarray
    absorbed: np.ndarray
    air: np.ndarray
    left: np.ndarray
