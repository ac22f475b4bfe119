"""Direct sound of many loudspeakers at many points: the hot path, in float32.

The kernel carries out no input checks, by design: the things that call it have been checked when
they were made.
"""

import numpy as np

from .directivity import AZIMUTH_DEG, ELEVATION_DEG

CHUNK = (
    1000  # points worked on at a time, so that intermediate arrays stay in the processor's cache
)
NEAREST = (
    0.1  # a point is never nearer to a source than this; the far-field law ends there anyway [m]
)
AZ, EL = len(AZIMUTH_DEG), len(ELEVATION_DEG)
STEP = np.float32(np.radians(AZIMUTH_DEG[1] - AZIMUTH_DEG[0]))


def look_up(table, local):
    """Balloon energy towards directions given in the loudspeaker's own frame, bilinear in azimuth
    and elevation.

    Parameters
    ----------
    table : array
        Energy re the axis, (azimuth * elevation, band), float32, on the grid of ``directivity`` [-]
    local : array
        Directions (..., 3), any length but zero [any]

    Returns
    -------
    energy : ndarray
        (..., band), float32 [-]
    """
    x, y, z = local[..., 0], local[..., 1], local[..., 2]
    a = (np.arctan2(y, x) + np.float32(np.pi)) / STEP
    e = (np.arctan2(z, np.sqrt(x * x + y * y)) + np.float32(np.pi / 2)) / STEP
    ia = np.minimum(a.astype(np.int32), AZ - 2)
    ie = np.minimum(e.astype(np.int32), EL - 2)
    a, e = (a - ia)[..., None], (e - ie)[..., None]
    at = ia * EL + ie
    low = np.take(table, at, axis=0) * (1 - e) + np.take(table, at + 1, axis=0) * e
    high = np.take(table, at + EL, axis=0) * (1 - e) + np.take(table, at + EL + 1, axis=0) * e
    return low + a * (high - low)


def direct_energy(points, position, axes, tables, kind, on_axis, decay, *, free=None):
    r"""Energy of the direct sound from every source at every point.

    .. math:: E = E_1 \, D(\theta, \phi) \, e^{-m r} / r^2

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
    free : array of bool, optional
        Line of sight (source, point); all free when left out [-]

    Returns
    -------
    energy : ndarray
        (source, point, band) float32 [re 20 uPa squared]
    distance : ndarray
        (source, point) float32 [m]

    Sources
    -------
    Spherical spreading and exponential air loss; e.g. Kuttruff, Room Acoustics, 6th ed., ch. 1.
    """
    points, position, axes = (np.asarray(v, np.float32) for v in (points, position, axes))
    on_axis, decay = np.asarray(on_axis, np.float32), np.asarray(decay, np.float32)
    sources, count = len(position), len(points)
    energy = np.empty((sources, count, on_axis.shape[1]), np.float32)
    distance = np.empty((sources, count), np.float32)
    for s in range(sources):
        for start in range(0, count, CHUNK):
            part = slice(start, start + CHUNK)
            way = points[part] - position[s]
            r2 = np.maximum((way * way).sum(axis=1), np.float32(NEAREST**2))
            r = np.sqrt(r2)
            gain = look_up(tables[kind[s]], way @ axes[s].T)
            gain *= np.exp(np.multiply.outer(r, -decay))
            gain *= on_axis[s]
            gain *= (1 / r2 if free is None else free[s, part] / r2)[:, None]
            energy[s, part], distance[s, part] = gain, r
    return energy, distance
