"""Direct sound of many loudspeakers at many points: the hot path, in float32.

The kernel carries out no input checks, by design: the things that call it have been checked when
they were made.
"""

import numpy as np

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
    points, position = np.asarray(points, np.float32), np.asarray(sources.position, np.float32)
    on_axis = np.asarray(sources.on_axis, np.float32)
    energy = np.empty((len(position), len(points), on_axis.shape[1]), np.float32)
    distance = np.empty(energy.shape[:2], np.float32)
    for s in range(len(position)):
        for start in range(0, len(points), CHUNK):
            part = slice(start, start + CHUNK)
            gain, r, r2 = pattern_and_air(sources, s, points[part] - position[s])
            gain *= on_axis[s]
            gain *= (1 / r2 if free is None else free[s, part] / r2)[:, None]
            energy[s, part], distance[s, part] = gain, r
    return energy, distance


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
