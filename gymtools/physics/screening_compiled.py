"""The ways of ``screening`` as machine code: one source, point by point."""

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from .direct_compiled import dot, inside


class _Faces(NamedTuple):
    """What may stand in the way."""

    normal: np.ndarray  # (polygon, 3)
    offset: np.ndarray  # (polygon,)
    edge: np.ndarray  # (polygon, edge, 3)
    edge_offset: np.ndarray  # (polygon, edge)
    low: np.ndarray  # (polygon, 3)
    high: np.ndarray


class _Edges(NamedTuple):
    """Free edges."""

    start: np.ndarray  # (edge, 3)
    along: np.ndarray  # unit vectors (edge, 3)
    length: np.ndarray  # (edge,)
    owner: np.ndarray  # (edge, 2)
    low: np.ndarray  # (edge, 3)
    high: np.ndarray


class _Work(NamedTuple):
    """Room to work in."""

    way: np.ndarray  # detour over each edge (edge,)
    stops: np.ndarray  # of a bent way: source, bends, point (4, 3)
    moved: np.ndarray  # the same, bends a little outward


@njit(nogil=True, cache=True)
def detours(origin, points, faces, edges, limits, taken):
    """The shortest ways from one source to points.

    Parameters
    ----------
    origin : ndarray
        The source (3,) [m]
    points : ndarray
        (point, 3) [m]
    faces : tuple of ndarray
        Normals, offsets, edges with their offsets, lowest and highest corners of the screens
        (polygon, ...) [m]
    edges : tuple of ndarray
        Starts and ends of the free edges (edge, 3) [m], and the polygons of each
        (edge, 2) [-]
    limits : tuple
        How far inside an edge counts as inside, for straight and for bent ways, and how far apart
        two bends are at least; how far off an edge a bend is looked at; the longest detour, and the
        longest of a free line [m]
    taken : tuple of ndarray
        Whether each line is free (point,); takes detour and way between two edges [m], and the
        number of edges (point,) [-]
    """
    screens = _Faces(*faces)
    bends = _prepared(edges)
    seen, detour, between, number = taken
    _grazing(origin, points, screens, bends, limits, (seen, detour))
    work = _Work(np.empty(len(bends.length)), np.empty((4, 3)), np.empty((4, 3)))
    for p in range(len(points)):
        if not seen[p]:
            way = _behind(origin, points[p], screens, bends, work, limits)
            detour[p], between[p], number[p] = way


@njit(nogil=True)
def _prepared(edges):
    """Edges by their start, direction and length."""
    start, end, owner = edges
    along, length = np.empty_like(start), np.empty(len(start))
    for e in range(len(start)):
        length[e] = _distance(start[e], end[e])
        for i in range(3):
            along[e, i] = (end[e, i] - start[e, i]) / length[e]
    return _Edges(start, along, length, owner, np.minimum(start, end), np.maximum(start, end))


@njit(nogil=True)
def _distance(one, other):
    x, y, z = one[0] - other[0], one[1] - other[1], one[2] - other[2]
    return math.sqrt(x * x + y * y + z * z)


@njit(nogil=True)
def _from_edge(x, y, z, e, bends):
    """Where a point is along an edge, and how far from its line."""
    start, along = bends.start, bends.along
    x, y, z = x - start[e, 0], y - start[e, 1], z - start[e, 2]
    at = along[e, 0] * x + along[e, 1] * y + along[e, 2] * z
    u, v, w = x - at * along[e, 0], y - at * along[e, 1], z - at * along[e, 2]
    return at, math.sqrt(u * u + v * v + w * w)


@njit(nogil=True)
def _bent(a, p, b, q, length):
    """Shortest way over an edge and where along it, between points at a and b, p and q off it."""
    at = min(max((a * q + b * p) / max(p + q, 1e-12), 0.0), length)
    return math.sqrt((at - a) ** 2 + p * p) + math.sqrt((at - b) ** 2 + q * q), at


@njit(nogil=True)
def _over(one, other, e, bends):
    """Shortest way from one to the other over an edge, and where along it."""
    a, p = _from_edge(one[0], one[1], one[2], e, bends)
    b, q = _from_edge(other[0], other[1], other[2], e, bends)
    return _bent(a, p, b, q, bends.length[e])


@njit(nogil=True)
def _place(at, e, bends, stop):
    """Point of an edge."""
    for i in range(3):
        stop[i] = bends.start[e, i] + at * bends.along[e, i]


@njit(nogil=True)
def _clear(start, end, screens, least):
    """Whether a line is free; what ends on a screen does not cross it."""
    for k in range(len(screens.offset)):
        apart = False
        for i in range(3):
            least_i, most_i = min(start[i], end[i]), max(start[i], end[i])
            apart = apart or most_i < screens.low[k, i] or least_i > screens.high[k, i]
        if apart:
            continue
        a = dot(screens.normal[k], start[0], start[1], start[2]) - screens.offset[k]
        b = dot(screens.normal[k], end[0], end[1], end[2]) - screens.offset[k]
        if not _across(a, b, least):
            continue
        share = a / (a - b)
        u = start[0] + share * (end[0] - start[0])
        v = start[1] + share * (end[1] - start[1])
        w = start[2] + share * (end[2] - start[2])
        if inside(screens.edge[k], screens.edge_offset[k], least, u, v, w):
            return False
    return True


@njit(nogil=True)
def _grazing(origin, points, screens, bends, limits, taken):
    """Free lines that cross the plane of a screen close to its edge: row by row in plain numbers,
    most of the time of an evaluation's first direct sound goes here.
    """
    seen, detour = taken
    (least, _, _), _, _, longest = limits
    planes, count = len(screens.offset), len(bends.length)
    from_source, side = np.empty(planes), np.empty(planes)
    at, far = np.empty(count), np.empty(count)  # of the source: along the edge, and off it
    ox, oy, oz = origin[0], origin[1], origin[2]
    normal, low, high, owner = screens.normal, bends.low, bends.high, bends.owner
    for k in range(planes):
        from_source[k] = normal[k, 0] * ox + normal[k, 1] * oy + normal[k, 2] * oz
        from_source[k] -= screens.offset[k]
    for e in range(count):
        at[e], far[e] = _from_edge(ox, oy, oz, e, bends)
    for p in range(len(points)):
        if not seen[p]:
            continue
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        straight = math.sqrt((x - ox) ** 2 + (y - oy) ** 2 + (z - oz) ** 2)
        # as far off in the middle of the line an edge makes a detour of the longest that counts
        r = math.sqrt(longest * (straight + longest) / 2)
        for k in range(planes):
            side[k] = normal[k, 0] * x + normal[k, 1] * y + normal[k, 2] * z - screens.offset[k]
        nearest = longest
        for e in range(count):
            if max(ox, x) < low[e, 0] - r or min(ox, x) > high[e, 0] + r:
                continue
            if max(oy, y) < low[e, 1] - r or min(oy, y) > high[e, 1] + r:
                continue
            if max(oz, z) < low[e, 2] - r or min(oz, z) > high[e, 2] + r:
                continue
            one, two = owner[e, 0], owner[e, 1]
            if _across(from_source[one], side[one], least) or _across(
                from_source[two], side[two], least
            ):
                b, q = _from_edge(x, y, z, e, bends)
                way, _ = _bent(at[e], far[e], b, q, bends.length[e])
                nearest = min(nearest, way - straight)
        if nearest < longest:
            detour[p] = -nearest


@njit(nogil=True)
def _across(a, b, least):
    """Whether a line crosses a plane, from the signed distances of its ends."""
    return (a > 0 and b < -least) or (a < 0 and b > least)


@njit(nogil=True)
def _behind(origin, point, screens, bends, work, limits):
    """Detour, way between, and number of edges to a point that is hidden."""
    way, best, gap, edges = work.way, np.inf, 0.0, 2
    straight = _distance(origin, point)
    for e in range(len(way)):
        way[e] = _over(origin, point, e, bends)[0] - straight
    done = -1.0  # all shorter ones have been looked at
    last = -1
    while True:
        e = _next(way, done, last)
        if e < 0 or not way[e] < min(best, limits[2]):
            return best, gap, edges
        done, last = way[e], e
        work.stops[0] = origin
        work.stops[2] = point
        _place(_over(origin, point, e, bends)[1], e, bends, work.stops[1])
        if _bent_clear(3, screens, work, limits):
            return way[e], 0.0, 1
        for other in range(len(way)):
            if other == e or not way[other] < min(best, limits[2]):
                continue
            for turn in range(2):
                one, two = (e, other) if turn == 0 else (other, e)
                detour = _over_two(origin, point, one, two, bends, work) - straight
                between = _distance(work.stops[1], work.stops[2])
                if not (detour < min(best, limits[2]) and between > limits[0][2]):
                    continue
                if _bent_clear(4, screens, work, limits):
                    best, gap = detour, between


@njit(nogil=True)
def _next(way, done, last):
    """The edge with the next longer detour; of equal ones the next in order."""
    found = -1
    for e in range(len(way)):
        later = way[e] > done or (way[e] == done and e > last)
        if later and (found < 0 or way[e] < way[found]):
            found = e
    return found


@njit(nogil=True)
def _over_two(origin, point, one, two, bends, work):
    """Shortest way over two edges; its bends are left in the stops."""
    first, second = work.stops[1], work.stops[2]
    work.stops[0] = origin
    work.stops[3] = point
    _place(_over(origin, point, two, bends)[1], two, bends, second)
    way = 0.0
    for _ in range(8):  # ROUNDS of the arrays; kept machine code would not see it change
        _place(_over(origin, second, one, bends)[1], one, bends, first)
        way, at = _over(first, point, two, bends)
        _place(at, two, bends, second)
    return way + _distance(origin, first)


@njit(nogil=True)
def _bent_clear(count, screens, work, limits):
    """Whether a bent way is free, its bends moved a little outward."""
    stops, moved = work.stops, work.moved
    moved[0] = stops[0]
    moved[count - 1] = stops[count - 1]
    for n in range(1, count - 1):
        before, after = _distance(stops[n - 1], stops[n]), _distance(stops[n + 1], stops[n])
        size = 0.0
        for i in range(3):
            turn = (stops[n - 1, i] - stops[n, i]) / max(before, 1e-9)
            turn += (stops[n + 1, i] - stops[n, i]) / max(after, 1e-9)
            moved[n, i] = turn
            size += turn * turn
        size = max(math.sqrt(size), 1e-9)
        for i in range(3):
            moved[n, i] = stops[n, i] - limits[1] * moved[n, i] / size
    for n in range(count - 1):
        if not _clear(moved[n], moved[n + 1], screens, limits[0][1]):
            return False
    return True
