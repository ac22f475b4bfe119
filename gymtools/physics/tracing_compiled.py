"""The tracer as machine code: the same rays as in ``tracing_arrays``, one after the other.

numba compiles it once and keeps it on disk. Every ray draws from a stream of its own and all are
summed in their order, so that the same inputs give the same bytes, however many threads trace other
loudspeakers meanwhile.
"""

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from .counting import EDGES, MIDDLES, Tally
from .geometry import INSIDE, START

# of splitmix64: G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators,
# OOPSLA 2014
GOLDEN = np.uint64(0x9E3779B97F4A7C15)
FIRST, SECOND = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
TO_UNIT = 2.0**-53
OFF_PLANE = 1.0 + 1e-4  # keeps a scattered ray from going quite along the surface


class _Room(NamedTuple):
    """Surfaces and air."""

    normal: np.ndarray  # (surface, 3)
    offset: np.ndarray  # (surface,)
    edge: np.ndarray  # (surface, edge, 3)
    edge_offset: np.ndarray  # (surface, edge)
    plane: np.ndarray  # (surface,)
    kept: np.ndarray  # share of the energy that goes on (surface, band)
    scattering: np.ndarray  # (surface, band)
    alike: np.ndarray  # whether a surface scatters all octaves alike (surface,)
    air: np.ndarray  # energy decay (band,) [1/m]
    passed: np.ndarray  # share of the energy that goes through (surface, band)
    passing: np.ndarray  # chance of a ray to go through (surface, band)
    passes: np.ndarray  # whether a surface lets anything through (surface,)


class _Layers(NamedTuple):
    """Where sound is counted, as in ``counting.Zones``."""

    corner: np.ndarray
    inverse: np.ndarray
    counts: np.ndarray
    first: np.ndarray
    edges: np.ndarray  # of the bins [m]
    air: np.ndarray  # energy decay (band,) [1/m]


class _Ray(NamedTuple):
    """One ray on its way."""

    at: np.ndarray  # (3,) [m]
    direction: np.ndarray  # (3,)
    energy: np.ndarray  # without the air (band,)
    heard: np.ndarray  # with it (band,)
    likely: np.ndarray  # how likely each octave would have gone this way, re their mean (band,)
    here: np.ndarray  # its point and its direction along the edges of a layer (3,)
    along: np.ndarray
    chance: np.ndarray  # state of its stream (1,)


def follow(source, launched, surfaces, zones, rays, stop=None):
    """Follow rays, one after the other.

    Parameters
    ----------
    source : Sources
        One loudspeaker
    launched : tuple of ndarray
        Directions (ray, 3) and energies (ray, band) [-]
    surfaces : Surfaces
        The room
    zones : Zones
        Where sound is counted
    rays : Rays
        By which chance, how far; its chance has launched the rays already
    stop : callable, optional
        Asked once, before the rays are followed: that takes milliseconds

    Returns
    -------
    tally : Tally or None
        None when it was given up
    """
    if stop is not None and stop():
        return None
    scattering = _plain(surfaces.octave_scattering)
    room = _Room(
        *(_plain(getattr(surfaces.polygons, key)) for key in ("normal", "offset", "edge")),
        _plain(surfaces.polygons.edge_offset),
        surfaces.polygons.plane.astype(np.int64),
        _plain(1 - surfaces.met_absorption),
        scattering,
        (scattering == scattering[:, :1]).all(axis=1),
        _plain(source.decay),
        _plain(surfaces.passed),
        _plain(surfaces.passing),
        surfaces.passed.any(axis=1),
    )
    layers = _Layers(
        _plain(zones.corner),
        _plain(zones.inverse),
        zones.counts.astype(np.int64),
        zones.first.astype(np.int64),
        EDGES,
        room.air,
    )
    bands = len(source.decay)
    counted = len(zones), len(MIDDLES), bands
    tally = Tally(
        np.zeros(counted),
        np.zeros(counted),
        np.zeros((len(surfaces), bands)),
        np.zeros(bands),
        np.zeros(bands),
    )
    directions, energies = map(_plain, launched)
    # numbers of other modules go in as arguments: a compiled function on disk would keep old ones
    limits = float(rays.longest), float(rays.thin), float(START), float(INSIDE)
    seed = np.uint64(rays.rng.integers(2**63))
    _follow((_plain(source.position[0]), directions, energies), room, layers, tally, limits, seed)
    return tally


def _plain(values):
    """As the compiled functions take them."""
    return np.ascontiguousarray(values, dtype=float)


@njit(nogil=True)
def _draw(chance):
    """The next number of a stream, from 0 up to 1."""
    chance[0] += GOLDEN
    return (_mixed(chance[0]) >> np.uint64(11)) * TO_UNIT


@njit(nogil=True)
def _mixed(z):
    """All bits of a number depend on all bits of the other."""
    z = (z ^ (z >> np.uint64(30))) * FIRST
    z = (z ^ (z >> np.uint64(27))) * SECOND
    return z ^ (z >> np.uint64(31))


@njit(nogil=True, cache=True)
def _follow(launched, room, layers, tally, limits, seed):
    """All rays, in their order."""
    start, directions, energies = launched
    bands = energies.shape[1]
    ray = _Ray(
        np.empty(3),
        np.empty(3),
        np.empty(bands),
        np.empty(bands),
        np.empty(bands),
        np.empty(3),
        np.empty(3),
        np.empty(1, np.uint64),
    )
    for number in range(len(directions)):
        ray.chance[0] = _mixed(seed + np.uint64(number) * GOLDEN)
        ray.at[:] = start
        ray.direction[:] = directions[number]
        ray.energy[:] = energies[number]
        ray.heard[:] = energies[number]
        ray.likely[:] = 1.0
        _fly(ray, number % bands, room, layers, tally, limits)


@njit(nogil=True)
def _fly(ray, leading, room, layers, tally, limits):
    """One ray from its loudspeaker to its end; the leading octave draws whether it scatters."""
    longest, thin, least, inside = limits
    at_start = before = ray.energy.sum()
    way, leaving, order, once = 0.0, -1, 0, False
    while True:
        index, step = _next_surface(ray, leaving, room, (least, inside))
        if order > 0:
            _count(ray, way, step, once, layers, tally)
        if index < 0 or way + step > longest:
            tally.left[:] += ray.heard
            return
        way += step
        for i in range(3):
            ray.at[i] += step * ray.direction[i]
        through = False
        if room.passes[index]:
            through = _draw(ray.chance) < room.passing[index, leading]
            _split(ray, (index, through), way, room, tally)
        else:
            _leave(ray, index, way, room, tally)
        if through:
            once = False
        else:
            scatters = _draw(ray.chance) < room.scattering[index, leading]
            if not room.alike[index]:
                _weigh(ray, room.scattering[index], scatters, tally)
            once = order == 0 and not scatters
            _turn(ray, room.normal[index], scatters)
            order += 1
        leaving = index
        strength = ray.heard.sum()
        if not strength > 0.0:
            return
        if strength < thin * at_start:
            if _dropped(ray, math.sqrt(min(strength / before, 1.0)), tally):
                return
            strength = ray.heard.sum()
        before = strength


@njit(nogil=True)
def _next_surface(ray, leaving, room, limits):
    """Polygon met first, -1 for none, and the way to it; as ``geometry.first_hit``."""
    px, py, pz = ray.at[0], ray.at[1], ray.at[2]
    dx, dy, dz = ray.direction[0], ray.direction[1], ray.direction[2]
    nearest, index, lies = np.inf, -1, -1
    least, inside = limits
    if leaving >= 0:
        lies, least = room.plane[leaving], 0.0
    for k in range(len(room.offset)):
        if room.plane[k] == lies:
            continue
        nx, ny, nz = room.normal[k, 0], room.normal[k, 1], room.normal[k, 2]
        speed = nx * dx + ny * dy + nz * dz
        height = room.offset[k] - (nx * px + ny * py + nz * pz)
        if speed == 0.0 or height * speed < 0.0:
            continue
        step = height / speed
        if not least < step < nearest:
            continue
        x, y, z = px + step * dx, py + step * dy, pz + step * dz
        hit = True
        for e in range(room.edge.shape[1]):
            inward = room.edge[k, e, 0] * x + room.edge[k, e, 1] * y + room.edge[k, e, 2] * z
            if inward < room.edge_offset[k, e] - inside:
                hit = False
                break
        if hit:
            nearest, index = step, k
    return index, nearest


@njit(nogil=True)
def _count(ray, way, step, once, layers, tally):
    """What passes through every layer on the way to the next surface."""
    here, turn = ray.here, ray.along
    for layer in range(len(layers.first)):
        enter, leave = 0.0, step
        for i in range(2, -1, -1):  # the low height of a layer excludes most
            here[i] = turn[i] = 0.0
            for j in range(3):
                here[i] += layers.inverse[layer, i, j] * (ray.at[j] - layers.corner[layer, j])
                turn[i] += layers.inverse[layer, i, j] * ray.direction[j]
            if turn[i] != 0.0:
                one, other = -here[i] / turn[i], (1.0 - here[i]) / turn[i]
                enter, leave = max(enter, min(one, other)), min(leave, max(one, other))
            elif not 0.0 <= here[i] <= 1.0:
                leave = -1.0
            if leave <= enter:
                break
        if leave <= enter:
            continue
        point = enter + (leave - enter) * _draw(ray.chance)
        zone = layers.first[layer]
        rows, columns = layers.counts[layer, 0], layers.counts[layer, 1]
        row = min(max(int((here[0] + point * turn[0]) * rows), 0), rows - 1)
        column = min(max(int((here[1] + point * turn[1]) * columns), 0), columns - 1)
        zone += row * columns + column
        bin = _bin(way + point, layers.edges)
        for b in range(len(layers.air)):
            amount = ray.energy[b] * math.exp(-layers.air[b] * (way + point)) * (leave - enter)
            tally.reflected[zone, bin, b] += amount
            if once:
                tally.mirrored[zone, bin, b] += amount


@njit(nogil=True)
def _bin(way, edges):
    """Bin that a way falls into; the last takes what is longer."""
    low, high = 0, len(edges) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if edges[middle] <= way:
            low = middle
        else:
            high = middle
    return low


@njit(nogil=True)
def _leave(ray, index, way, room, tally):
    """Leave part of the energy with the air and the surface."""
    for b in range(len(room.air)):
        arrived = ray.energy[b] * math.exp(-room.air[b] * way)
        taken = arrived * (1.0 - room.kept[index, b])
        tally.air[b] += ray.heard[b] - arrived
        tally.absorbed[index, b] += taken
        ray.energy[b] *= room.kept[index, b]
        ray.heard[b] = arrived - taken


@njit(nogil=True)
def _split(ray, meets, way, room, tally):
    """The same where a surface lets sound through: the ray goes on for what goes through, or for
    what is reflected.
    """
    index, through = meets
    for b in range(len(room.air)):
        arrived = ray.energy[b] * math.exp(-room.air[b] * way)
        passed, chance = room.passed[index, b], room.passing[index, b]
        taken = arrived * (1.0 - room.kept[index, b] - passed)
        share = passed / chance if through else room.kept[index, b] / (1.0 - chance)
        tally.air[b] += ray.heard[b] - arrived
        tally.absorbed[index, b] += taken
        ray.energy[b] *= share
        ray.heard[b] = arrived * share
        tally.left[b] += arrived - taken - ray.heard[b]
    _weigh(ray, room.passing[index], through, tally)


@njit(nogil=True)
def _weigh(ray, scattering, scatters, tally):
    """Weigh the octaves by how likely each would have gone on as the leading one does."""
    mean = 0.0
    for b in range(len(scattering)):
        ray.likely[b] *= scattering[b] if scatters else 1.0 - scattering[b]
        mean += ray.likely[b] / len(scattering)
    for b in range(len(scattering)):
        factor = (scattering[b] if scatters else 1.0 - scattering[b]) / mean
        ray.likely[b] /= mean
        tally.left[b] += ray.heard[b] * (1.0 - factor)
        ray.energy[b] *= factor
        ray.heard[b] *= factor


@njit(nogil=True)
def _turn(ray, normal, scatters):
    """Go on as from a mirror, or after Lambert."""
    direction = ray.direction
    across = 0.0
    for i in range(3):
        across += direction[i] * normal[i]
    if scatters:
        # a point of the unit sphere on the side the ray came from, which touches the surface
        up = 2.0 * _draw(ray.chance) - 1.0
        angle = 2.0 * math.pi * _draw(ray.chance)
        around = math.sqrt(max(0.0, 1.0 - up * up))
        side = -OFF_PLANE if across > 0.0 else OFF_PLANE
        direction[0] = around * math.cos(angle) + side * normal[0]
        direction[1] = around * math.sin(angle) + side * normal[1]
        direction[2] = up + side * normal[2]
    else:
        for i in range(3):
            direction[i] -= 2.0 * across * normal[i]
    size = math.sqrt(direction[0] ** 2 + direction[1] ** 2 + direction[2] ** 2)
    for i in range(3):
        direction[i] /= size


@njit(nogil=True)
def _dropped(ray, kept, tally):
    """Drop the ray, or let it stand for those that are dropped."""
    drop = _draw(ray.chance) >= kept
    factor = 0.0 if drop else 1.0 / max(kept, 1e-6)
    for b in range(len(ray.heard)):
        tally.left[b] += (1.0 - factor) * ray.heard[b]
        ray.energy[b] *= factor
        ray.heard[b] *= factor
    return drop
