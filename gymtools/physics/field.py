"""Direct sound of many loudspeakers at many points: the hot path, in float32.

The kernel carries out no input checks, by design: the things that call it have been checked when
they were made.
"""

import numpy as np

from . import compiled

# points worked on at a time, so that intermediate arrays stay in the processor's cache
CHUNK = 1000
# a point is never nearer to a source than this; the far-field law ends there anyway [m]
NEAREST = 0.1


def direct_energy(points, sources, *, free=None):
    r"""Energy of the direct sound from every source at every point.

    .. math:: E = E_1 \, D(\theta, \phi) \, e^{-m r} / r^2

    Parameters
    ----------
    points : array
        Listening points (point, 3) [m]
    sources : Sources
        The loudspeakers
    free : array of bool, optional
        Line of sight (source, point); all free when left out

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
    points, on_axis = np.asarray(points, np.float32), np.asarray(sources.on_axis, np.float32)
    energy = np.empty((len(sources), len(points), on_axis.shape[1]), np.float32)
    distance = np.empty(energy.shape[:2], np.float32)
    for s in range(len(sources)):
        seen = None if free is None else free[s]
        spread, distance[s] = spreading(points, sources.position[s], sources.decay, seen)
        energy[s] = pattern(points, sources.position[s], sources.axes[s], sources.balloon(s))
        energy[s] *= spread
        energy[s] *= on_axis[s]
    return energy, distance


def spreading(points, position, decay, free=None):
    """What is left of the sound of a source by the way it goes: spreading and air.

    Parameters
    ----------
    points : array
        Where it arrives (point, 3) [m]
    position : array
        The source (3,) [m]
    decay : array
        Energy decay of the air (band,) [1/m]
    free : array of bool, optional
        Line of sight (point,); all free when left out

    Returns
    -------
    energy : ndarray
        Re that at 1 m (point, band), float32; 0 out of sight [-]
    distance : ndarray
        At least ``NEAREST`` (point,), float32 [m]

    Sources
    -------
    As ``direct_energy``.
    """
    points, position, decay = (np.asarray(v, np.float32) for v in (points, position, decay))
    free = np.ones(len(points), bool) if free is None else free
    energy = np.empty((len(points), len(decay)), np.float32)
    distance = np.empty(len(points), np.float32)
    if compiled.available():
        from . import direct_compiled  # slow to load

        direct_compiled.spreading(points, position, decay, free, energy, distance)
        return energy, distance
    for start in range(0, len(points), CHUNK):
        part = slice(start, start + CHUNK)
        way = points[part] - position
        r2 = np.maximum((way * way).sum(axis=1), np.float32(NEAREST**2))
        distance[part] = np.sqrt(r2)
        energy[part] = np.exp(np.multiply.outer(distance[part], -decay))
        energy[part] *= (free[part] / r2)[:, None]
    return energy, distance


def pattern(points, position, axes, balloon):
    """What a source sends toward points, by its directivity.

    Parameters
    ----------
    points : array
        Where it goes (point, 3) [m]
    position : array
        The source (3,) [m]
    axes : array
        Its front, left and up as rows (3, 3) [-]
    balloon : Balloon
        Its directivity

    Returns
    -------
    energy : ndarray
        Re the axis (point, band), float32 [-]

    Sources
    -------
    Bilinear interpolation, as ``Balloon.toward``.
    """
    points, position, axes = (np.asarray(v, np.float32) for v in (points, position, axes))
    energy = np.empty((len(points), balloon.table.shape[1]), np.float32)
    if compiled.available():
        from . import direct_compiled  # slow to load

        direct_compiled.pattern(points, position, np.ascontiguousarray(axes), balloon.table, energy)
        return energy
    for start in range(0, len(points), CHUNK):
        part = slice(start, start + CHUNK)
        energy[part] = balloon.toward((points[part] - position) @ axes.T)
    return energy


def pattern_and_air(sources, number, way):
    """Energy of one source after straight ways, by pattern and air; spreading is still to come.

    Parameters
    ----------
    sources : Sources
        The loudspeakers
    number : int
        Which of them [-]
    way : array
        From the source to where the sound arrives (way, 3), float32 [m]

    Returns
    -------
    gain : ndarray
        Energy re the axis, less what the air takes (way, band), float32 [-]
    r : ndarray
        Length, at least ``NEAREST`` (way,), float32 [m]
    r2 : ndarray
        Its square (way,), float32 [m2]

    Sources
    -------
    As ``direct_energy``.
    """
    axes, decay = (np.asarray(v, np.float32) for v in (sources.axes[number], sources.decay))
    r2 = np.maximum((way * way).sum(axis=1), np.float32(NEAREST**2))
    r = np.sqrt(r2)
    gain = sources.balloon(number).toward(way @ axes.T)
    gain *= np.exp(np.multiply.outer(r, -decay))
    return gain, r, r2
