"""What a microphone returns for every way its talker may face, as machine code: point by point."""

import numpy as np
from numba import njit


@njit(nogil=True, cache=True)
def by_facing(direct, toward, pattern, axes, found):
    """Energy of all sources through the pattern, and that of the source that gives most.

    Parameters
    ----------
    direct : ndarray
        Direct sound at each point (source, point, band) [any linear]
    toward : ndarray
        Unit vectors from each point to each source (source, point, 3) [-]
    pattern : ndarray
        A of the pattern (band,) [-]
    axes : ndarray
        Axes of the microphone (facing, 3) [-]
    found : tuple of ndarray
        Takes the sum and the strongest, each (facing, point, band) [as direct]
    """
    whole, strongest = found
    sources, points, octaves = direct.shape
    for f in range(len(axes)):
        for p in range(points):
            for b in range(octaves):
                whole[f, p, b] = strongest[f, p, b] = 0.0
            for s in range(sources):
                cosine = np.float32(0.0)
                for i in range(3):
                    cosine += toward[s, p, i] * axes[f, i]
                for b in range(octaves):
                    picked = pattern[b] + (np.float32(1.0) - pattern[b]) * cosine
                    energy = direct[s, p, b] * picked * picked
                    whole[f, p, b] += energy
                    strongest[f, p, b] = max(strongest[f, p, b], energy)
