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
from .field import look_up
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

    ``corner`` (layer, 3), and ``inverse`` (layer, 3, 3): ``inverse @ (x - corner)`` lies within 0
    and 1 inside the layer; ``counts`` (layer, 2): zones along the first and the second edge;
    ``first`` (layer,): number of its first zone; ``volume`` (zone,) and ``center`` (zone, 3).
    """

    corner: np.ndarray
    inverse: np.ndarray
    counts: np.ndarray
    first: np.ndarray
    volume: np.ndarray  # [m3]
    center: np.ndarray  # [m]

    def __len__(self):
        return len(self.volume)

    def weights(self, points):
        """How the zones around points are weighed: between the middles of the zones of the nearest
        layer, linearly.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        weights : scipy.sparse.csr_array
            (point, zone), rows sum to 1; beyond the outer middles the outer zones stand [-]
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
        place = np.clip(local[np.arange(len(points)), layer, :2] * counts - 0.5, 0, counts - 1)
        low = np.minimum(place.astype(int), np.maximum(counts - 2, 0))
        high = np.minimum(low + 1, counts - 1)
        part = place - low
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
        (corner (3,), edges (3, 3), counts (2,)); the counts are zones along the first two edges [m]

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
    """What one loudspeaker that radiates 1 in every octave leaves in the room."""

    reflected: np.ndarray  # flux after one surface or more (zone, bin, band) [1/m2]
    # that part of it which has met one surface only, as a mirror (zone, bin, band) [1/m2]
    mirrored: np.ndarray
    absorbed: np.ndarray  # (surface, band) [-]
    air: np.ndarray  # taken by the air (band,) [-]
    # of rays no longer followed or slipped out, and what dropping weak rays at random lost, or
    # gained when negative (band,) [-]
    left: np.ndarray


def joined(one, passes, other):
    """Mean of a trace that is the mean of several passes, and one pass more.

    Parameters
    ----------
    one : Trace
        Mean of the passes so far [-]
    passes : int
        How many they are [-]
    other : Trace
        One more, with as many rays [-]

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


def launch(table, count, rng):
    """Directions in which a loudspeaker sends rays, more where it radiates more.

    Parameters
    ----------
    table : array
        Balloon energy re the axis, (azimuth * elevation, band), float32 [-]
    count : int
        Number of rays [-]
    rng : numpy.random.Generator
        Source of chance [-]

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
    """
    weight = sphere_weights().ravel()  # (cell,)
    radiated = weight[:, None] * table
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
    energy = look_up(table, direction) * (weight[cell] / share[cell])[:, None].astype(np.float32)
    return direction, energy / energy.sum(axis=0)


def trace(
    position,
    axes,
    table,
    polygons,
    absorption,
    scattering,
    decay,
    zones,
    *,
    rays,
    rng,
    longest=LONGEST,
    thin=THIN,
    stop=None,
):
    r"""Follow the rays of one loudspeaker until they have died away.

    .. math:: E_z = \frac{1}{V_z} \sum_\text{rays} w \prod_i (1-\alpha_i)\, e^{-m L}\, \ell

    Parameters
    ----------
    position : array
        Loudspeaker (3,) [m]
    axes : array
        Its axes as rows (3, 3) [-]
    table : array
        Balloon energy re the axis, (azimuth * elevation, band), float32 [-]
    polygons : Polygons
        The room's surfaces, reflecting on both sides [m]
    absorption : array
        (surface, band) [-]
    scattering : array
        Probability that a ray leaves a surface after Lambert (surface,) [-]
    decay : array
        Energy decay of the air (band,) [1/m]
    zones : Zones
        Where sound is counted [m]
    rays : int
        Number of rays [-]
    rng : numpy.random.Generator
        Source of chance; the same state gives the same trace [-]
    longest : float
        Ways beyond this are not followed [m]
    thin : float
        Strength below which part of the rays are dropped, the others raised by as much on average;
        0 keeps them all [-]
    stop : callable, optional
        Asked at every reflection; the trace is given up when it answers true [-]

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
    decay, absorption, scattering = (
        np.asarray(v, np.float32) for v in (decay, absorption, scattering)
    )
    local, energy = launch(table, rays, rng)
    direction = (local @ np.asarray(axes, np.float32)).astype(np.float32)
    at = np.tile(np.asarray(position, np.float32), (rays, 1))
    way = np.zeros(rays, np.float32)
    leaving = np.full(rays, -1)
    once = np.zeros(rays, bool)  # met one surface only, as a mirror
    heard = energy.copy()  # with the air on the way (ray, band)
    start = energy.sum(axis=1)
    air, left, absorbed, counted = (
        np.zeros(len(decay)),
        np.zeros(len(decay)),
        np.zeros((len(polygons), len(decay))),
        [],
    )
    order = 0
    while len(at):
        if stop is not None and stop():
            return None
        index, step = first_hit(at, direction[:, None], polygons, leaving=leaving)
        index, step = index[:, 0], step[:, 0]
        if order:
            counted += _count(at, direction, step, way, energy, decay, zones, once, rng)
        on = (index >= 0) & (way + step <= longest)
        if not on.all():
            left += heard[~on].sum(axis=0, dtype=float)
            at, direction, way, energy, heard, start, once = (
                v[on] for v in (at, direction, way, energy, heard, start, once)
            )
            index, step = index[on], step[on]
        way = way + step
        arrived = energy * np.exp(np.multiply.outer(way, -decay))
        air += (heard - arrived).sum(axis=0, dtype=float)
        taken = arrived * absorption[index]
        for band in range(len(decay)):
            absorbed[:, band] += np.bincount(index, weights=taken[:, band], minlength=len(polygons))
        energy = energy * (1 - absorption[index])
        before, heard = heard.sum(axis=1), arrived - taken
        normal = polygons.normal[index]
        at = at + step[:, None] * direction
        across = (direction * normal).sum(axis=1)
        scatters = rng.random(len(at), dtype=np.float32) < scattering[index]
        once = ~scatters if order == 0 else np.zeros(len(at), bool)
        direction = direction - (2 * across)[:, None] * normal
        lambert = np.flatnonzero(scatters)
        if len(lambert):
            ball = rng.standard_normal((len(lambert), 3), dtype=np.float32)
            ball /= np.linalg.norm(ball, axis=1, keepdims=True)
            # a point of the unit sphere on the side the ray came from, which touches the surface:
            # cosine law, and never quite along it
            direction[lambert] = ball - np.sign(across[lambert])[:, None] * normal[
                lambert
            ] * np.float32(1 + 1e-4)
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        leaving = index
        order += 1
        strength = heard.sum(axis=1)
        kept = strength > 0
        if thin:
            weak = strength < thin * start
            chance = np.where(
                weak, np.sqrt(np.minimum(strength / np.maximum(before, 1e-30), 1)), 1
            ).astype(np.float32)
            kept &= rng.random(len(at), dtype=np.float32) < chance
            raised = 1 / np.maximum(chance, 1e-6)[:, None]
            left += heard[~kept].sum(axis=0, dtype=float) - ((raised - 1) * heard)[kept].sum(
                axis=0, dtype=float
            )
            energy, heard = energy * raised, heard * raised
        if not kept.all():
            at, direction, way, energy, heard, start, once, leaving = (
                v[kept] for v in (at, direction, way, energy, heard, start, once, leaving)
            )
    reflected, mirrored = _binned(counted, len(zones), len(decay))
    per_volume = 1 / zones.volume[:, None, None]
    return Trace(
        (reflected * per_volume).astype(np.float32),
        (mirrored * per_volume).astype(np.float32),
        absorbed,
        air,
        left,
    )


@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def _count(at, direction, step, way, energy, decay, zones, once, rng):
    """What passes through every layer on the way to the next surface: (zone and bin, energy times
    length, once) of each passage.
    """
    found = []
    for corner, inverse, counts, first in zip(
        zones.corner, zones.inverse, zones.counts, zones.first, strict=True
    ):
        here, turn = inverse @ (at - corner).T, inverse @ direction.T  # (edge, ray)
        one, other = -here / turn, (1 - here) / turn
        enter = np.maximum(np.fmin(one, other).max(axis=0), 0)
        leave = np.minimum(np.fmax(one, other).min(axis=0), step)
        ray = np.flatnonzero(leave > enter)
        if not len(ray):
            continue
        length = (leave - enter)[ray]
        point = enter[ray] + length * rng.random(len(ray), dtype=np.float32)
        inside = here[:2, ray] + point * turn[:2, ray]
        cell = np.clip((inside * counts[:, None]).astype(int), 0, counts[:, None] - 1)
        whole = way[ray] + point
        bin = np.minimum(np.searchsorted(EDGES, whole, "right") - 1, len(MIDDLES) - 1)
        amount = energy[ray] * np.exp(np.multiply.outer(whole, -decay)) * length[:, None]
        found.append(
            ((first + cell[0] * counts[1] + cell[1]) * len(MIDDLES) + bin, amount, once[ray])
        )
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
