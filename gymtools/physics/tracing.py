"""The room traced: where sound goes after its first landing, ray by ray, and how it dies away.

Rays leave a loudspeaker as its balloon radiates. At every surface each octave keeps its share; the
ray goes on as from a mirror, or, with the surface's scattering as probability, in a random
direction after Lambert. What passes through the air just over the listeners is counted there,
octave by octave, by the length of way behind it. The kernel carries out no input checks, by design,
as in ``field``.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy.sparse import csr_array

from .directivity import AZIMUTH_DEG, ELEVATION_DEG, sphere_weights
from .geometry import first_hit

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
# once a ray is this weak, part of the weak rays are dropped and the others stand for them [-]
THIN = 10**-1.5


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
        points = np.asarray(points, float)
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
        columns, values = [], []
        for i, wi in ((low[:, 0], 1 - part[:, 0]), (high[:, 0], part[:, 0])):
            for j, wj in ((low[:, 1], 1 - part[:, 1]), (high[:, 1], part[:, 1])):
                columns.append(self.first[layer] + i * counts[:, 1] + j)
                values.append(wi * wj)
        rows = np.tile(np.arange(len(points)), 4)
        return csr_array(
            (np.concatenate(values), (rows, np.concatenate(columns))),
            shape=(len(points), len(self)),
        )


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


@dataclass(frozen=True, eq=False)
class Trace:
    """What one loudspeaker that radiates 1 in every octave leaves in the room.

    Parameters
    ----------
    reflected : ndarray
        Flux after one surface or more (zone, bin, band), float32 [1/m2]
    mirrored : ndarray
        Part of it that has met one surface only, as a mirror (zone, bin, band), float32 [1/m2]
    absorbed : ndarray
        Taken by the surfaces (surface, band) [-]
    air : ndarray
        Taken by the air (band,) [-]
    left : ndarray
        Carried by rays no longer followed or slipped out, and lost (gained when negative) by
        dropping weak rays at random (band,) [-]
    """

    reflected: np.ndarray
    mirrored: np.ndarray
    absorbed: np.ndarray
    air: np.ndarray
    left: np.ndarray


def joined(one, passes, other):
    """Mean of a trace that is the mean of several passes, and one pass more.

    Parameters
    ----------
    one : Trace
        Mean of the passes so far
    passes : int
        How many they are [-]
    other : Trace
        One more, with as many rays

    Returns
    -------
    trace : Trace
        As if all their rays had been followed at once
    """
    mixed = (
        getattr(one, f.name)
        + (getattr(other, f.name) - getattr(one, f.name)) / np.float32(passes + 1)
        for f in fields(Trace)
    )
    return Trace(*mixed)


def launch(balloon, count, rng):
    """Directions in which a loudspeaker sends rays, more where it radiates more.

    Parameters
    ----------
    balloon : Balloon
        Directivity [dB]
    count : int
        Number of rays [-]
    rng : numpy.random.Generator
        Source of chance

    Returns
    -------
    direction : ndarray
        Unit vectors in the loudspeaker's frame (ray, 3), float32 [-]
    energy : ndarray
        What each carries (ray, band); every octave sums to 1, float32 [-]

    Notes
    -----
    The density is the mean over the octaves of what they radiate; evenly spaced drawing over the
    cells of the balloon's grid, chance within the cell.

    Sources
    -------
    Stratified sampling; e.g. Pharr, Jakob and Humphreys, Physically Based Rendering, ch. 13 (from
    memory).
    """
    weight = sphere_weights().ravel()  # (cell,)
    radiated = weight[:, None] * balloon.table
    share = (radiated / radiated.sum(axis=0)).mean(axis=1)  # (cell,)
    cell = np.searchsorted(
        np.cumsum(share), (np.arange(count) + rng.random(count)) / count * share.sum() * (1 - 1e-9)
    )
    at_azimuth, at_elevation = np.divmod(cell, len(ELEVATION_DEG))
    step = np.radians(AZIMUTH_DEG[1] - AZIMUTH_DEG[0])
    azimuth = np.radians(AZIMUTH_DEG)[at_azimuth] + step * (rng.random(count) - 0.5)
    elevation = np.radians(ELEVATION_DEG)[at_elevation]
    low, high = (
        np.sin(np.clip(elevation + side * step / 2, -np.pi / 2, np.pi / 2)) for side in (-1, 1)
    )
    z = low + (high - low) * rng.random(count)
    around = np.sqrt(1 - z * z)
    direction = np.stack([around * np.cos(azimuth), around * np.sin(azimuth), z], axis=1).astype(
        np.float32
    )
    energy = balloon.toward(direction) * (weight[cell] / share[cell])[:, None].astype(np.float32)
    return direction, energy / energy.sum(axis=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Rays:
    """How many rays leave a loudspeaker, by which chance, and how long they are followed.

    Parameters
    ----------
    count : int
        Number of rays [-]
    rng : numpy.random.Generator
        Source of chance; the same state gives the same trace
    longest : float
        Ways beyond this are not followed [m]
    thin : float
        Strength below which part of the rays are dropped, the others raised by as much on average;
        0 keeps them all [-]
    """

    count: int
    rng: np.random.Generator
    longest: float = LONGEST
    thin: float = THIN


def trace(source, surfaces, zones, rays, *, stop=None):
    r"""Follow the rays of one loudspeaker until they have died away.

    .. math:: E_z = \frac{1}{V_z} \sum_\text{rays} w \prod_i (1-\alpha_i)\, e^{-m L}\, \ell

    Parameters
    ----------
    source : Sources
        One loudspeaker: where it hangs, its balloon, and the air [m]
    surfaces : Surfaces
        The room; both sides of a surface reflect [m]
    zones : Zones
        Where sound is counted [m]
    rays : Rays
        How many, by which chance, how far
    stop : callable, optional
        Asked at every reflection; the trace is given up when it answers true

    Returns
    -------
    trace : Trace or None
        Per unit of radiated energy; None when it was given up

    Notes
    -----
    A length :math:`\ell` of ray with energy w inside a zone of volume V adds :math:`w\ell/V` to the
    mean square pressure there, so that a source with E at 1 m on the axis and directivity factor Q
    gives :math:`4\pi E/Q` times the trace. The direct sound is not in it. Where a ray passes
    several zones of a layer, one point of its way in the layer, drawn evenly, takes all of it:
    right on average, and much faster. The zone counts as if it lay in free air: nothing may stand
    in it.

    Sources
    -------
    H. Kuttruff, Room Acoustics, 6th ed., ch. 9.8 (ray tracing), 4.5 (Lambert's law); A. Krokstad,
    S. Strom, S. Sorsdal, J. Sound Vib. 8 (1968) 118. Dropping weak rays at random ("Russian
    roulette") is a standard method of Monte Carlo transport.
    """
    flight = _Flight(source, surfaces, rays)
    while len(flight.at):
        if stop is not None and stop():
            return None
        flight.to_the_next_surface(zones)
        before = flight.heard.sum(axis=1)
        flight.reflect()
        flight.drop_weak(before)
    return flight.result(zones)


class _Flight:
    """Rays on their way, row by row, and the sums of what has become of the others."""

    ROWS = ("at", "direction", "way", "energy", "heard", "start", "once", "leaving")

    def __init__(self, source, surfaces, rays):
        self.polygons, self.rays = surfaces.polygons, rays
        self.absorption, self.scattering, self.decay = (
            np.asarray(v, np.float32)
            for v in (surfaces.met_absorption, surfaces.scattering, source.decay)
        )
        local, self.energy = launch(source.balloon(0), rays.count, rays.rng)
        self.direction = (local @ np.asarray(source.axes[0], np.float32)).astype(np.float32)
        self.at = np.tile(np.asarray(source.position[0], np.float32), (rays.count, 1))
        self.way = np.zeros(rays.count, np.float32)
        self.heard = self.energy.copy()  # with the air on the way (ray, band)
        self.start = self.energy.sum(axis=1)
        self.once = np.zeros(rays.count, bool)  # met one surface only, as a mirror
        self.leaving = np.full(rays.count, -1)  # surface that the ray comes from
        self.order = 0  # surfaces met
        self.air, self.left = np.zeros(len(self.decay)), np.zeros(len(self.decay))
        self.absorbed = np.zeros((len(self.polygons), len(self.decay)))
        self.counted = []

    def keep(self, rows):
        """Go on with some of the rays."""
        if not rows.all():
            for name in self.ROWS:
                setattr(self, name, getattr(self, name)[rows])

    def to_the_next_surface(self, zones):
        """Count what passes through the zones; give up rays that meet nothing or have gone far."""
        index, step = first_hit(
            self.at, self.direction[:, None], self.polygons, leaving=self.leaving
        )
        index, step = index[:, 0], step[:, 0]
        if self.order:
            self.counted += _count(self, step, zones)
        on = (index >= 0) & (self.way + step <= self.rays.longest)
        if not on.all():
            self.left += self.heard[~on].sum(axis=0, dtype=float)
        self.keep(on)
        self.leaving, step = index[on], step[on]
        self.way = self.way + step
        self.at = self.at + step[:, None] * self.direction

    def reflect(self):
        """Leave part of the energy with the air and the surface, and turn the rays."""
        index, rng = self.leaving, self.rays.rng
        arrived = self.energy * np.exp(np.multiply.outer(self.way, -self.decay))
        self.air += (self.heard - arrived).sum(axis=0, dtype=float)
        taken = arrived * self.absorption[index]
        for band in range(len(self.decay)):
            self.absorbed[:, band] += np.bincount(
                index, weights=taken[:, band], minlength=len(self.polygons)
            )
        self.energy = self.energy * (1 - self.absorption[index])
        self.heard = arrived - taken
        scatters = rng.random(len(index), dtype=np.float32) < self.scattering[index]
        self.once = ~scatters if self.order == 0 else np.zeros(len(index), bool)
        self.direction = _turned(self.direction, self.polygons.normal[index], scatters, rng)
        self.order += 1

    def drop_weak(self, before):
        """Drop rays without energy, and part of the weak ones at random: the others stand for
        them.
        """
        strength = self.heard.sum(axis=1)
        kept = strength > 0
        if self.rays.thin:
            weak = strength < self.rays.thin * self.start
            chance = np.where(
                weak, np.sqrt(np.minimum(strength / np.maximum(before, 1e-30), 1)), 1
            ).astype(np.float32)
            kept &= self.rays.rng.random(len(kept), dtype=np.float32) < chance
            raised = 1 / np.maximum(chance, 1e-6)[:, None]
            self.left += self.heard[~kept].sum(axis=0, dtype=float)
            self.left -= ((raised - 1) * self.heard)[kept].sum(axis=0, dtype=float)
            self.energy, self.heard = self.energy * raised, self.heard * raised
        self.keep(kept)

    def result(self, zones):
        """All that was counted, per volume."""
        reflected, mirrored = _binned(self.counted, len(zones), len(self.decay))
        per_volume = 1 / zones.volume[:, None, None]
        return Trace(
            (reflected * per_volume).astype(np.float32),
            (mirrored * per_volume).astype(np.float32),
            self.absorbed,
            self.air,
            self.left,
        )


def _turned(direction, normal, scatters, rng):
    """Directions after a surface (ray, 3): as from a mirror, or after Lambert where it scatters."""
    across = (direction * normal).sum(axis=1)
    direction = direction - (2 * across)[:, None] * normal
    lambert = np.flatnonzero(scatters)
    if len(lambert):
        ball = rng.standard_normal((len(lambert), 3), dtype=np.float32)
        ball /= np.linalg.norm(ball, axis=1, keepdims=True)
        # a point of the unit sphere on the side the ray came from, which touches the surface:
        # cosine law, and never quite along it
        side = np.sign(across[lambert])[:, None] * normal[lambert]
        direction[lambert] = ball - side * np.float32(1 + 1e-4)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    return direction


@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def _count(flight, step, zones):
    """What passes through every layer on the way to the next surface: (zone and bin, energy times
    length, once) of each passage.
    """
    found = []
    for corner, inverse, counts, first in zip(
        zones.corner, zones.inverse, zones.counts, zones.first, strict=True
    ):
        here, turn = inverse @ (flight.at - corner).T, inverse @ flight.direction.T  # (edge, ray)
        one, other = -here / turn, (1 - here) / turn
        enter = np.maximum(np.fmin(one, other).max(axis=0), 0)
        leave = np.minimum(np.fmax(one, other).min(axis=0), step)
        ray = np.flatnonzero(leave > enter)
        if not len(ray):
            continue
        length = (leave - enter)[ray]
        point = enter[ray] + length * flight.rays.rng.random(len(ray), dtype=np.float32)
        inside = here[:2, ray] + point * turn[:2, ray]
        cell = np.clip((inside * counts[:, None]).astype(int), 0, counts[:, None] - 1)
        whole = flight.way[ray] + point
        bin = np.minimum(np.searchsorted(EDGES, whole, "right") - 1, len(MIDDLES) - 1)
        decayed = flight.energy[ray] * np.exp(np.multiply.outer(whole, -flight.decay))
        number = first + cell[0] * counts[1] + cell[1]
        found.append((number * len(MIDDLES) + bin, decayed * length[:, None], flight.once[ray]))
    return found


def _binned(counted, zones, bands):
    """Sums of all passages: everything, and what has met one surface only (zone, bin, band)."""
    shape = zones, len(MIDDLES), bands
    if not counted:
        return np.zeros(shape), np.zeros(shape)
    at, amount, once = (np.concatenate(v) for v in zip(*counted, strict=True))

    def sums(a, e):
        return np.stack(
            [np.bincount(a, weights=band, minlength=shape[0] * shape[1]) for band in e.T], axis=-1
        ).reshape(shape)

    return sums(at, amount), sums(at[once], amount[once])
