"""First reflections: every loudspeaker mirrored once in every plane surface.

The kernel carries out no input checks, by design, as in ``field``.
"""

import numpy as np

from .field import NEAREST, look_up
from .geometry import INSIDE


def image_arrivals(
    points, position, axes, tables, kind, on_axis, decay, polygons, absorption, *, blocking=None
):
    r"""Energy of the specular reflection of every source in every surface at every point.

    .. math:: E = E_1 \, D(\theta', \phi') \, (1 - \alpha) \, e^{-m r} / r^2

    The source is mirrored with its pattern. The same numbers come, with less work, from mirroring
    the point: its direction from the source is where the sound leaves toward the surface, its
    distance the whole way r.

    Parameters
    ----------
    points : array
        Listening points (point, 3) [m]
    position : array
        Sources (source, 3) [m]
    axes : array
        Loudspeaker axes as rows, ``geometry.rotation`` (source, 3, 3) [-]
    tables : sequence of array
        Balloon energies re the axis, each (azimuth * elevation, band) float32 [-]
    kind : sequence of int
        Which table each source has (source,) [-]
    on_axis : array
        Energy at 1 m on the axis (source, band) [re 20 uPa squared]
    decay : array
        Energy decay of the air (band,) [1/m]
    polygons : Polygons
        The surfaces, reflecting on both sides [m]
    absorption : array
        Absorption coefficients (surface, band); give 1 to leave a surface out in a band [-]
    blocking : Polygons, optional
        What may stand in either leg of the way; surfaces among them do not block their own
        reflections [m]

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
    points, position, axes = (np.asarray(v, np.float32) for v in (points, position, axes))
    on_axis, decay = np.asarray(on_axis, np.float32), np.asarray(decay, np.float32)
    kept = 1 - np.asarray(absorption, np.float32)  # (surface, band)
    energy = np.zeros((len(position), len(polygons), len(points), on_axis.shape[1]), np.float32)
    whole = np.zeros(energy.shape[:3], np.float32)
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
        if blocking is not None:
            near, far = np.abs(source_height[surface, s]), np.abs(point_height[surface, point])
            there = position[s] + (near / (near + far))[:, None] * way
            free = _free(np.broadcast_to(position[s], there.shape), there, blocking)
            free[free] = _free(points[point[free]], there[free], blocking)
            surface, point, way = surface[free], point[free], way[free]
        r2 = np.maximum((way * way).sum(axis=1), np.float32(NEAREST**2))
        r = np.sqrt(r2)
        gain = look_up(tables[kind[s]], way @ axes[s].T)
        gain *= np.exp(np.multiply.outer(r, -decay))
        gain *= (on_axis[s] * kept)[surface]
        gain *= (1 / r2)[:, None]
        energy[s, surface, point], whole[s, surface, point] = gain, r
    return energy, whole


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
