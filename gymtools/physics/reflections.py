"""First reflections: every loudspeaker mirrored once in every plane surface.

The kernel carries out no input checks, by design, as in ``field``.
"""

import numpy as np

from . import compiled
from .field import pattern_and_air
from .geometry import INSIDE


def image_arrivals(points, sources, surfaces):
    r"""Energy of the specular reflection of every source in every surface at every point.

    .. math:: E = E_1 \, D(\theta', \phi') \, (1 - \alpha) (1 - s) \, e^{-m r} / r^2

    The source is mirrored with its pattern. The same numbers come, with less work, from mirroring
    the point: its direction from the source is where the sound leaves toward the surface, its
    distance the whole way r.

    Parameters
    ----------
    points : array
        Listening points (point, 3) [m]
    sources : Sources
        The loudspeakers [re 20 uPa squared]
    surfaces : Surfaces
        The room: what a surface neither absorbs nor scatters is mirrored; what ``blocks`` may stand
        in either leg of the way, but does not block its own reflections [m]

    Returns
    -------
    energy : ndarray
        (source, surface, point, band) float32; zero where there is no reflection [re 20 uPa
        squared]
    way : ndarray
        Whole way (source, surface, point) float32; 0 where there is no reflection, so that sums
        over all arrivals stay finite: tell them by their energy [m]

    Notes
    -----
    There is a reflection where source and point are on the same side of the plane, each more than 2
    mm from it, and the line from the mirrored source to the point meets the plane inside the
    polygon, its outline included. Rough surfaces (open bleachers, people) scatter what this sends
    one way; below some hundred hertz small surfaces reflect less.

    Sources
    -------
    J. B. Allen and D. A. Berkley, J. Acoust. Soc. Am. 65 (1979) 943 (from memory), for any plane
    and any pattern.
    """
    points, position = (np.asarray(v, np.float32) for v in (points, sources.position))
    on_axis, polygons = np.asarray(sources.on_axis, np.float32), surfaces.polygons
    kept = 1 - np.asarray(surfaces.specular_loss, np.float32)  # (surface, band)
    energy = np.zeros((len(position), len(polygons), len(points), on_axis.shape[1]), np.float32)
    whole = np.zeros(energy.shape[:3], np.float32)
    if compiled.available():
        _in_machine_code(points, sources, surfaces, kept, (energy, whole))
        return energy, whole
    # (surface, point), (surface, edge, point)
    point_height, point_clear = _heights(points, polygons)
    # (surface, source), (surface, edge, source)
    source_height, source_clear = _heights(position, polygons)
    # (surface, point, 3)
    mirrored = points - 2 * point_height[..., None] * polygons.normal[:, None]
    for s in range(len(position)):
        exists = _meets(source_height[:, s], source_clear[:, :, s], point_height, point_clear)
        surface, point = np.nonzero(exists)
        # (pair, 3): leaves the source as the real sound does
        way = mirrored[surface, point] - position[s]
        if len(surfaces.blocking):
            near, far = np.abs(source_height[surface, s]), np.abs(point_height[surface, point])
            foot = position[s] + (near / (near + far))[:, None] * way
            free = _free(np.broadcast_to(position[s], foot.shape), foot, surfaces.blocking)
            free[free] = _free(points[point[free]], foot[free], surfaces.blocking)
            surface, point, way = surface[free], point[free], way[free]
        gain, r, r2 = pattern_and_air(sources, s, way)
        gain *= (on_axis[s] * kept)[surface]
        gain *= (1 / r2)[:, None]
        energy[s, surface, point], whole[s, surface, point] = gain, r
    return energy, whole


def _in_machine_code(points, sources, surfaces, kept, found):
    """The same, written into energy and way."""
    from . import reflections_compiled  # slow to load

    polygons, blocking = surfaces.polygons, surfaces.blocking
    shapes = "normal", "offset", "edge", "edge_offset"
    room = (*(getattr(polygons, name) for name in shapes), kept)
    stands = tuple(np.ascontiguousarray(getattr(blocking, name)) for name in shapes)
    each = []
    for s in range(len(sources)):
        which = sources.position[s], sources.axes[s], sources.balloon(s).table
        arrays = (*which, sources.on_axis[s], sources.decay)
        source = tuple(np.ascontiguousarray(v, np.float32) for v in arrays)
        each.append((source, (found[0][s], found[1][s])))

    def loop(first, end):
        for source, taken in each:
            reflections_compiled.image_arrivals((first, end), points, source, room, stands, taken)

    compiled.side_by_side(loop, len(points), least=30)


def _heights(points, polygons):
    """Signed heights over the planes (surface, point), and how far inside each edge (surface, edge,
    point).
    """
    height = polygons.normal @ points.T - polygons.offset[:, None]
    return height, polygons.edge @ points.T - polygons.edge_offset[..., None]


def _meets(source_height, source_clear, point_height, point_clear):
    """Whether the reflection exists (surface, point).

    The foot of the reflection divides the line between both feet in the ratio of the heights, so
    that it lies inside an edge when near * (point's clearance) + far * (source's clearance) >= 0.
    """
    near, far = np.abs(source_height)[:, None], np.abs(point_height)
    meets = (source_height[:, None] * point_height > 0) & (near > INSIDE) & (far > INSIDE)
    for e in range(point_clear.shape[1]):
        meets &= near * point_clear[:, e] + far * source_clear[:, e, None] >= 0
    return meets


def _free(start, end, polygons):
    """Whether lines from start (pair, 3) to end (pair, 3) are free; what either end lies on does
    not count.
    """
    free = np.ones(len(start), bool)
    for k in range(len(polygons)):
        a = start @ polygons.normal[k] - polygons.offset[k]
        b = end @ polygons.normal[k] - polygons.offset[k]
        pair = np.flatnonzero((a * b < 0) & (np.abs(a) > INSIDE) & (np.abs(b) > INSIDE) & free)
        share = (a[pair] / (a[pair] - b[pair]))[:, None]
        there = start[pair] + share * (end[pair] - start[pair])
        inside = (there @ polygons.edge[k].T > polygons.edge_offset[k] + INSIDE).all(axis=1)
        free[pair[inside]] = False
    return free
