"""The direct sound of ``field`` as machine code: one loudspeaker, point by point."""

import math

import numpy as np
from numba import njit

from .balloons import AZ, EL, STEP
from .field import NEAREST
from .geometry import INSIDE

HALF_TURN, QUARTER = np.float32(np.pi), np.float32(np.pi / 2)
TOUCHING = np.float32(NEAREST**2)
NEAR = np.float32(INSIDE)


@njit(nogil=True, cache=True)
def spreading(points, position, decay, free, energy, distance):
    """What is left of the sound of a source by the way it goes.

    Parameters
    ----------
    points : ndarray
        Where it arrives (point, 3) [m]
    position : ndarray
        The source (3,) [m]
    decay : ndarray
        Energy decay of the air (band,) [1/m]
    free : ndarray of bool
        Line of sight (point,)
    energy : ndarray
        Takes the energy re that at 1 m (point, band) [-]
    distance : ndarray
        Takes the distance (point,) [m]
    """
    for p in range(len(points)):
        x, y, z = (
            points[p, 0] - position[0],
            points[p, 1] - position[1],
            points[p, 2] - position[2],
        )
        square = max(x * x + y * y + z * z, TOUCHING)
        r = math.sqrt(square)
        distance[p] = r
        for b in range(len(decay)):
            energy[p, b] = math.exp(-decay[b] * r) / square if free[p] else np.float32(0)


@njit(nogil=True, cache=True)
def pattern(points, position, axes, table, energy):
    """What a source sends toward points, by its directivity.

    Parameters
    ----------
    points : ndarray
        Where it goes (point, 3) [m]
    position : ndarray
        The source (3,) [m]
    axes : ndarray
        Its front, left and up as rows (3, 3) [-]
    table : ndarray
        ``Balloon.table`` (azimuth * elevation, band) [-]
    energy : ndarray
        Takes the energy re the axis (point, band) [-]
    """
    for p in range(len(points)):
        x, y, z = (
            points[p, 0] - position[0],
            points[p, 1] - position[1],
            points[p, 2] - position[2],
        )
        toward(x, y, z, axes, table, energy[p])


@njit(nogil=True, cache=True)
def toward(x, y, z, axes, table, energy):
    """Energy re the axis toward one direction, bilinear in azimuth and elevation.

    Parameters
    ----------
    x, y, z : float
        Direction as seen from the gym, any length [m]
    axes : ndarray
        Front, left and up of the source as rows (3, 3) [-]
    table : ndarray
        ``Balloon.table`` (azimuth * elevation, band) [-]
    energy : ndarray
        Takes the energy (band,) [-]
    """
    front = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
    left = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
    up = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]
    a = (np.float32(math.atan2(left, front)) + HALF_TURN) / STEP
    e = (np.float32(math.atan2(up, math.sqrt(front * front + left * left))) + QUARTER) / STEP
    ia, ie = min(int(a), AZ - 2), min(int(e), EL - 2)
    a -= np.float32(ia)
    e -= np.float32(ie)
    at = ia * EL + ie
    for b in range(len(energy)):
        low = table[at, b] * (1 - e) + table[at + 1, b] * e
        high = table[at + EL, b] * (1 - e) + table[at + EL + 1, b] * e
        energy[b] = low + a * (high - low)


@njit(nogil=True, cache=True)
def in_sight(origin, points, planes, edges, boxes, free):
    """Whether straight lines from one source to points are free of polygons.

    Parameters
    ----------
    origin : ndarray
        The source (3,) [m]
    points : ndarray
        (point, 3) [m]
    planes : tuple of ndarray
        Unit normals (polygon, 3) [-] and distances from the origin (polygon,) [m]
    edges : tuple of ndarray
        Inward unit normals (polygon, edge, 3) [-] and their offsets (polygon, edge) [m]
    boxes : tuple of ndarray
        Lowest and highest corners around the polygons (polygon, 3) [m]
    free : ndarray of bool
        Takes the answer (point,)
    """
    (normal, offset), (edge, edge_offset), (low, high) = planes, edges, boxes
    from_source = np.empty(len(offset), np.float32)
    for k in range(len(offset)):
        from_source[k] = dot(normal[k], origin[0], origin[1], origin[2]) - offset[k]
    for p in range(len(points)):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        free[p] = True
        for k in range(len(offset)):
            a, b = from_source[k], dot(normal[k], x, y, z) - offset[k]
            if not ((a > 0 and b < -NEAR) or (a < 0 and b > NEAR)):
                continue
            if _beside(origin, points[p], low[k], high[k]):
                continue
            share = a / (a - b)
            u = origin[0] + share * (x - origin[0])
            v = origin[1] + share * (y - origin[1])
            w = origin[2] + share * (z - origin[2])
            if inside(edge[k], edge_offset[k], NEAR, u, v, w):
                free[p] = False
                break


@njit(nogil=True, cache=True)
def dot(vector, x, y, z):
    """Scalar product.

    Parameters
    ----------
    vector : ndarray
        (3,) [any]
    x, y, z : float
        The other one [any]

    Returns
    -------
    product : float
        As both [any]
    """
    return vector[0] * x + vector[1] * y + vector[2] * z


@njit(nogil=True, cache=True)
def _beside(one, other, low, high):
    """Whether both ends of a line lie on the same side of a box."""
    for i in range(3):
        if (one[i] < low[i] and other[i] < low[i]) or (one[i] > high[i] and other[i] > high[i]):
            return True
    return False


@njit(nogil=True, cache=True)
def inside(edge, edge_offset, margin, x, y, z):
    """Whether a point of a polygon's plane lies inside all edges by a margin.

    Parameters
    ----------
    edge : ndarray
        Inward unit normals (edge, 3) [-]
    edge_offset : ndarray
        Their offsets (edge,) [m]
    margin : float
        How far inside at least [m]
    x, y, z : float
        The point [m]

    Returns
    -------
    inside : bool
        Whether it is
    """
    for e in range(len(edge_offset)):
        if not dot(edge[e], x, y, z) > edge_offset[e] + margin:
            return False
    return True
