"""The mirror images of ``reflections`` as machine code: one loudspeaker, point by point."""

import math

import numpy as np
from numba import njit

from .direct_compiled import dot, inside, toward
from .geometry import INSIDE

NEAR = np.float32(INSIDE)


@njit(nogil=True, cache=True)
def image_arrivals(part, points, source, room, blocking, found):
    """Specular reflections of one source in every surface at every point.

    Parameters
    ----------
    part : tuple of int
        First point and the one after the last [-]
    points : ndarray
        (point, 3) [m]
    source : tuple of ndarray
        Position (3,) [m], axes (3, 3) [-], ``Balloon.table`` [-], energy at 1 m on the axis (band,)
        [re 20 uPa squared], and energy decay of the air (band,) [1/m]
    room : tuple of ndarray
        Of the surfaces: normals (surface, 3) [-], offsets (surface,) [m], edges (surface, edge, 3)
        [-] with their offsets (surface, edge) [m], and what is mirrored (surface, band) [-]
    blocking : tuple of ndarray
        The first four of what may stand in the way (surface, ...) [m]
    found : tuple of ndarray
        Takes the energy (surface, point, band) [re 20 uPa squared] and the way (surface, point) [m]
    """
    (position, axes, table, on_axis, decay), (energy, whole) = source, found
    normal, offset, edge, edge_offset, kept = room
    for p in range(part[0], part[1]):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        for k in range(len(offset)):
            here = dot(normal[k], position[0], position[1], position[2]) - offset[k]
            there = dot(normal[k], x, y, z) - offset[k]
            near, far = abs(here), abs(there)
            if not (here * there > 0 and near > NEAR and far > NEAR):
                continue
            if not _meets(edge[k], edge_offset[k], position, points[p], near, far):
                continue
            # leaves the source as the real sound does
            u = x - 2 * there * normal[k, 0] - position[0]
            v = y - 2 * there * normal[k, 1] - position[1]
            w = z - 2 * there * normal[k, 2] - position[2]
            share = near / (near + far)
            foot = position[0] + share * u, position[1] + share * v, position[2] + share * w
            if _blocked(position, foot, blocking) or _blocked(points[p], foot, blocking):
                continue
            square = u * u + v * v + w * w
            r = math.sqrt(square)
            whole[k, p] = r
            row = energy[k, p]
            toward(u, v, w, axes, table, row)
            for b in range(len(row)):
                row[b] *= on_axis[b] * kept[k, b] * math.exp(-decay[b] * r) / square


@njit(nogil=True, cache=True)
def _meets(edge, edge_offset, source, point, near, far):
    """Whether the foot of the reflection lies inside the polygon: it divides the line between both
    feet in the ratio of the heights.
    """
    for e in range(len(edge_offset)):
        of_point = dot(edge[e], point[0], point[1], point[2]) - edge_offset[e]
        of_source = dot(edge[e], source[0], source[1], source[2]) - edge_offset[e]
        if not near * of_point + far * of_source >= 0:
            return False
    return True


@njit(nogil=True, cache=True)
def _blocked(start, end, blocking):
    """Whether a polygon stands in a line; what either end lies on does not count."""
    normal, offset, edge, edge_offset = blocking
    for k in range(len(offset)):
        a = dot(normal[k], start[0], start[1], start[2]) - offset[k]
        b = dot(normal[k], end[0], end[1], end[2]) - offset[k]
        if not (a * b < 0 and abs(a) > NEAR and abs(b) > NEAR):
            continue
        share = a / (a - b)
        u = start[0] + share * (end[0] - start[0])
        v = start[1] + share * (end[1] - start[1])
        w = start[2] + share * (end[2] - start[2])
        if inside(edge[k], edge_offset[k], NEAR, u, v, w):
            return True
    return False
