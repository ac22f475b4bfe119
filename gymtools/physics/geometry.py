"""Turning loudspeakers, and convex polygons met by straight lines.

Frame: origin on the floor at the gym's center, x along its length, y across, z up. Pan
counter-clockwise from +x seen from above; tilt positive down. Every routine works on whole arrays:
(source, direction, polygon, edge).
"""

from dataclasses import dataclass, fields

import numpy as np

from . import compiled

# how far outside an edge still counts as inside, so that no line slips through a joint [m]
INSIDE = 2e-3
START = 1e-3  # a line leaves its own start before it may hit [m]


def rotation(pan_deg, downtilt_deg):
    """Axes of a loudspeaker turned by pan and then tilt, as seen from the gym.

    Parameters
    ----------
    pan_deg : float or array
        Counter-clockwise from +x, seen from above [deg]
    downtilt_deg : float or array
        Below the horizontal [deg]

    Returns
    -------
    axes : ndarray
        (..., 3, 3): rows are the loudspeaker's front, left and up directions; ``axes @ v`` is v in
        the loudspeaker's frame [-]

    Sources
    -------
    Rotation matrices after Euler's angles, yaw then pitch.

    Examples
    --------
    >>> rotation(90.0, 90.0).round(6)[0] + 0.0      # front, firing straight down
    array([ 0.,  0., -1.])
    """
    p, t = np.broadcast_arrays(
        np.radians(np.asarray(pan_deg, float)), np.radians(np.asarray(downtilt_deg, float))
    )
    zero = np.zeros_like(p)
    front = [np.cos(t) * np.cos(p), np.cos(t) * np.sin(p), -np.sin(t)]
    left = [-np.sin(p), np.cos(p), zero]
    up = [np.sin(t) * np.cos(p), np.sin(t) * np.sin(p), np.cos(t)]
    return np.stack([np.stack(row, axis=-1) for row in (front, left, up)], axis=-2)


def polygon_area(corners):
    """Area of a plane polygon.

    Parameters
    ----------
    corners : array
        Corners in order (corner, 3) [m]

    Returns
    -------
    area : float
        Area [m2]

    Sources
    -------
    M. E. Newell's normal of a polygon; e.g. Sutherland, Sproull and Schumacker, Computing Surveys 6
    (1974) 1 (from memory).

    Examples
    --------
    >>> polygon_area([[0, 0, 1], [2, 0, 1], [2, 3, 1], [0, 3, 1]])
    6.0
    """
    return float(np.linalg.norm(_newell(np.asarray(corners, float))) / 2)


def clip(corners, normal, limit):
    """Part of a convex polygon on one side of a plane, or of a line in its own plane.

    Parameters
    ----------
    corners : array
        In order (corner, 2) or (corner, 3) [m]
    normal : array
        Unit normal of the plane (2,) or (3,) [-]
    limit : float
        What lies at normal . x >= limit is kept [m]

    Returns
    -------
    kept : ndarray
        Corners of what is left, none where it is all on the other side (corner, 2) or (corner, 3)
        [m]

    Sources
    -------
    I. E. Sutherland and G. W. Hodgman, Communications of the ACM 17 (1974) 32 (from memory).

    Examples
    --------
    >>> clip([[0, 0], [2, 0], [2, 1], [0, 1]], (1, 0), 1.5).tolist()
    [[1.5, 0.0], [2.0, 0.0], [2.0, 1.0], [1.5, 1.0]]
    """
    corners, kept, normal = np.asarray(corners, float), [], np.asarray(normal, float)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        da, db = a @ normal - limit, b @ normal - limit
        if da >= 0:
            kept.append(a)
        if da * db < 0:
            kept.append(a + (b - a) * da / (da - db))
    return np.array(kept).reshape(-1, corners.shape[1])


@dataclass(frozen=True, eq=False)
class Polygons:
    """Convex plane polygons, packed for array work.

    A point x lies in the plane when normal . x = offset, and inside the polygon when edge . x >=
    edge_offset for every edge. ``pack`` makes them.

    Parameters
    ----------
    normal : ndarray
        Unit normals (polygon, 3), float32 [-]
    offset : ndarray
        Distances of the planes from the origin (polygon,), float32 [m]
    edge : ndarray
        Inward unit normals of the edges (polygon, edge, 3), float32; short polygons repeat their
        last [-]
    edge_offset : ndarray
        (polygon, edge), float32 [m]
    low, high : ndarray
        Box around each polygon (polygon, 3), float32 [m]
    plane : ndarray of int
        Number of the plane that each polygon lies in (polygon,) [-]
    corner : ndarray
        Corners in order (polygon, edge, 3), float32; short polygons repeat their last [m]
    """

    normal: np.ndarray
    offset: np.ndarray
    edge: np.ndarray
    edge_offset: np.ndarray
    low: np.ndarray
    high: np.ndarray
    plane: np.ndarray
    corner: np.ndarray

    def __len__(self):
        return len(self.offset)

    def some(self, numbers):
        """Some of the polygons.

        Parameters
        ----------
        numbers : sequence of int
            Which ones [-]

        Returns
        -------
        polygons : Polygons
            Those, in that order [m]
        """
        return Polygons(*(getattr(self, f.name)[list(numbers)] for f in fields(self)))


def pack(polygons):
    """Pack convex plane polygons for array work.

    Parameters
    ----------
    polygons : sequence of array
        Each (corner, 3), at least three corners in order either way round [m]

    Returns
    -------
    packed : Polygons
        float32 arrays [m]

    Raises
    ------
    ValueError
        A polygon that has no area, is not plane or not convex
    """
    most = max((len(p) for p in polygons), default=3)
    corners = [np.asarray(polygon, float) for polygon in polygons]
    normals = [_normal(c, number) for number, c in enumerate(corners)]
    offsets = [n @ c[0] for n, c in zip(normals, corners, strict=True)]
    edges, limits, outlines = [], [], []
    for number, (n, c) in enumerate(zip(normals, corners, strict=True)):
        along = np.roll(c, -1, axis=0) - c
        inward = np.cross(n, along / np.linalg.norm(along, axis=1, keepdims=True))
        limit = (inward * c).sum(axis=1)
        if (inward @ c.T - limit[:, None]).min() < -1e-3:
            raise ValueError(f"polygon {number} is not convex. Split it.")
        fill = [*range(len(c)), *[len(c) - 1] * (most - len(c))]
        edges.append(inward[fill])
        limits.append(limit[fill])
        outlines.append(c[fill])

    def as32(rows, *shape):
        return np.array(rows, np.float32).reshape(len(polygons), *shape)

    return Polygons(
        as32(normals, 3),
        as32(offsets),
        as32(edges, most, 3),
        as32(limits, most),
        as32([c.min(axis=0) for c in corners], 3),
        as32([c.max(axis=0) for c in corners], 3),
        _planes(normals, offsets),
        as32(outlines, most, 3),
    )


def _normal(corners, number):
    """Unit normal of a polygon; refuses what has no area or is not plane."""
    n = _newell(corners)
    side = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    if np.linalg.norm(n) < 1e-9 or side.min() < 1e-6:
        raise ValueError(f"polygon {number} has no area, or two corners at one point.")
    n /= np.linalg.norm(n)
    if np.abs((corners - corners[0]) @ n).max() > 1e-3:
        raise ValueError(f"polygon {number} is not plane: its corners are off by more than 1 mm.")
    return n


def _planes(normals, offsets):
    """Number of the plane of each polygon; what lies in one plane, facing either way, has one
    number.
    """
    number = np.arange(len(normals))
    for k, (n, d) in enumerate(zip(normals, offsets, strict=True)):
        for j in range(k):
            side = np.sign(n @ normals[j])
            if np.abs(n - side * normals[j]).max() < 1e-5 and abs(d - side * offsets[j]) < 1e-3:
                number[k] = number[j]
                break
    return number


# a ray along a plane meets it at infinity
@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def first_hit(origin, direction, polygons, *, leaving=None):
    """First polygon met by each ray.

    Parameters
    ----------
    origin : array
        Starts (source, 3) [m]
    direction : array
        Unit vectors (source, ray, 3) [-]
    polygons : Polygons
        The surfaces [m]
    leaving : array of int, optional
        Polygon that each source lies on (source,), -1 for none: its rays cannot meet anything in
        the same plane. When given, other polygons count however near they are, so that no ray slips
        through a corner [-]

    Returns
    -------
    index : ndarray
        Polygon met first (source, ray); -1 where the ray leaves without meeting one [-]
    distance : ndarray
        Way to it (source, ray); infinity where none is met [m]

    Sources
    -------
    Ray against plane, then against the half planes of the edges; e.g. A. S. Glassner, An
    Introduction to Ray Tracing (1989).
    """
    origin, direction = np.asarray(origin, np.float32), np.asarray(direction, np.float32)
    count, flat = direction.shape[1], direction.reshape(-1, 3)
    height = polygons.offset[:, None] - polygons.normal @ origin.T  # (polygon, source)
    speed = (polygons.normal @ flat.T).reshape(len(polygons), *direction.shape[:2])
    ways = (height[:, :, None] / speed).reshape(len(polygons), len(flat))
    if leaving is not None:
        lies = np.repeat(np.where(leaving >= 0, polygons.plane[leaving], -1), count)
        ways[polygons.plane[:, None] == lies] = -1.0
    least = START if leaving is None else 0.0
    nearest = np.full(len(flat), np.inf, np.float32)
    index = np.full(len(flat), -1)
    # polygon by polygon: only rays that would shorten their way are tested further
    for k, way in enumerate(ways):
        hit = ((way > least) & (way < nearest)).nonzero()[0]
        shorter = way[hit]
        there = flat.take(hit, axis=0)
        there *= shorter[:, None]
        there += origin.take(hit // count, axis=0)
        inside = np.logical_and.reduce(
            polygons.edge[k] @ there.T >= (polygons.edge_offset[k] - np.float32(INSIDE))[:, None],
            axis=0,
        )
        hit = hit[inside]
        nearest[hit], index[hit] = shorter[inside], k
    return index.reshape(direction.shape[:2]), nearest.reshape(direction.shape[:2])


def in_sight(origin, points, polygons):
    """Whether straight lines from sources to points are free of the given polygons.

    Parameters
    ----------
    origin : array
        Sources (source, 3) [m]
    points : array
        Points (point, 3) [m]
    polygons : Polygons
        What may stand in the way [m]

    Returns
    -------
    free : ndarray of bool
        (source, point) [-]

    Sources
    -------
    As ``first_hit``.
    """
    origin, points = np.asarray(origin, np.float32), np.asarray(points, np.float32)
    free = np.ones((len(origin), len(points)), bool)
    if compiled.available():
        from . import direct_compiled  # slow to load

        planes = polygons.normal, polygons.offset
        edges, boxes = (polygons.edge, polygons.edge_offset), (polygons.low, polygons.high)
        for s in range(len(origin)):
            direct_compiled.in_sight(origin[s], points, planes, edges, boxes, free[s])
        return free
    for k in range(len(polygons)):
        # signed distances to the plane
        from_source = origin @ polygons.normal[k] - polygons.offset[k]
        from_point = points @ polygons.normal[k] - polygons.offset[k]
        below, above = from_point < -INSIDE, from_point > INSIDE
        crosses = (
            np.where((from_source > 0)[:, None], below, above) & (from_source != 0)[:, None] & free
        )
        if not crosses.any():
            continue
        for low, high, s, p in zip(
            polygons.low[k], polygons.high[k], origin.T, points.T, strict=True
        ):
            # all beside it
            crosses &= ~(
                np.logical_and.outer(s < low, p < low) | np.logical_and.outer(s > high, p > high)
            )
        source, point = np.nonzero(crosses)
        share = from_source[source] / (from_source[source] - from_point[point])
        there = origin[source] + share[:, None] * (points[point] - origin[source])
        inside = (there @ polygons.edge[k].T > polygons.edge_offset[k] + INSIDE).all(axis=1)
        free[source[inside], point[inside]] = False
    return free


def boxes_apart(one, other):
    """Free space between two turned boxes.

    Parameters
    ----------
    one, other : tuple of ndarray
        Center (3,), axes as rows (3, 3) and half sizes along them (3,) [m]

    Returns
    -------
    space : float
        Along the best of the fifteen separating axes; negative if the boxes meet [m]

    Sources
    -------
    S. Gottschalk, M. C. Lin, D. Manocha, SIGGRAPH 1996: the separating axis theorem for boxes.
    """
    (p, a, u), (q, b, v) = one, other
    cross = np.cross(a[:, None], b[None]).reshape(-1, 3)
    length = np.linalg.norm(cross, axis=1)
    axes = np.concatenate([a, b, cross[length > 1e-6] / length[length > 1e-6, None]])
    return float((np.abs(axes @ (q - p)) - np.abs(axes @ a.T) @ u - np.abs(axes @ b.T) @ v).max())


def _newell(corners):
    """Normal of a polygon, as long as twice its area."""
    return np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
