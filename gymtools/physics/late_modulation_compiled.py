"""The loop of ``late_modulation`` as machine code: point by point, octaves side by side."""

import math

import numpy as np
from numba import njit

from .intelligibility import MODULATION
from .late_modulation import WIDE

# sine and cosine of 2 pi x for x within -0.5 and 0.5, least squares in x; error below 3e-7
_X = np.cos(np.pi * (np.arange(400) + 0.5) / 400) / 2
SINE = np.linalg.lstsq(_X[:, None] ** np.arange(1, 14, 2), np.sin(2 * np.pi * _X), rcond=None)[0]
COSINE = np.linalg.lstsq(_X[:, None] ** np.arange(0, 14, 2), np.cos(2 * np.pi * _X), rcond=None)[0]
SINE, COSINE = SINE.astype(np.float32), COSINE.astype(np.float32)
LEAST, MOST = np.float32(10**-1.5), np.float32(10**1.5)  # the signal-to-noise ratio counts between
TONES = len(MODULATION)
HALF = TONES * WIDE  # real parts, then as many imaginary ones
TURNS = MODULATION.astype(np.float32)


@njit(nogil=True, cache=True, fastmath=True)
def mean_index(part, arrivals, corners, room, heard, out):
    """Mean transmission index over the modulations.

    Parameters
    ----------
    part : tuple of int
        First point and the one after the last [-]
    arrivals : tuple of ndarray
        Direct sound (source, point, band) [any linear], and its delay (source, point) [s]
    corners : tuple of ndarray
        Four zones around each point, and their weights (point, 4) [-]
    room : tuple of ndarray
        Packed modulation of each source (source, zone, 2 * modulation * 8), and the reverberant
        energy of all (zone, 8) [as direct]
    heard : ndarray
        Speech over all that is heard (point, band) [-]
    out : ndarray
        Takes the answer (point, band) [-]

    Notes
    -----
    Long flat arrays: only then does the compiler put eight numbers into one register.
    """
    (direct, delay), (zone, weight), (packed, energy) = arrivals, corners, room
    sources, octaves = len(delay), heard.shape[1]
    total, mixed = np.empty(2 * HALF, np.float32), np.empty(2 * HALF, np.float32)
    turn, row = np.empty(2 * HALF, np.float32), np.zeros(WIDE, np.float32)
    angle, level = np.empty(2 * TONES, np.float32), np.empty(WIDE, np.float32)
    for p in range(part[0], part[1]):
        total[:] = 0
        z, w = zone[p], weight[p]
        for b in range(WIDE):
            level[b] = w[0] * energy[z[0], b] + w[1] * energy[z[1], b]
            level[b] += w[2] * energy[z[2], b] + w[3] * energy[z[3], b]
        for s in range(sources):
            for b in range(octaves):
                row[b] = direct[s, p, b]
                level[b] += row[b]
            one, two, three, four = (
                packed[s, z[0]],
                packed[s, z[1]],
                packed[s, z[2]],
                packed[s, z[3]],
            )
            for i in range(2 * HALF):
                mixed[i] = w[0] * one[i] + w[1] * two[i] + w[2] * three[i] + w[3] * four[i]
            for f in range(TONES):
                for b in range(WIDE):
                    mixed[f * WIDE + b] += row[b]
            _turns(delay[s, p], angle, turn)
            for i in range(HALF):
                total[i] += mixed[i] * turn[i] + mixed[HALF + i] * turn[HALF + i]
                total[HALF + i] += mixed[HALF + i] * turn[i] - mixed[i] * turn[HALF + i]
        for b in range(octaves):
            level[b] = heard[p, b] / max(level[b], np.float32(1e-30))
        for b in range(octaves, WIDE):
            level[b] = 0
        _index(total, level, out[p])


@njit(nogil=True, cache=True, fastmath=True)
def _turns(delay, angle, turn):
    """Cosine and sine by which a delay turns each modulation, the same for all octaves."""
    for f in range(TONES):
        turns = TURNS[f] * delay
        turns -= np.rint(turns)
        square = turns * turns
        c, n = COSINE[6], SINE[6]
        for k in range(5, -1, -1):
            c, n = c * square + COSINE[k], n * square + SINE[k]
        angle[f], angle[TONES + f] = c, n * turns
    for f in range(2 * TONES):
        value = angle[f]
        for b in range(WIDE):
            turn[f * WIDE + b] = value


@njit(nogil=True, cache=True, fastmath=True)
def _index(total, heard, out):
    """Mean of the transmission indices of one point."""
    ratio = np.empty(HALF, np.float32)
    for i in range(HALF):
        ratio[i] = math.sqrt(total[i] * total[i] + total[HALF + i] * total[HALF + i])
    product = np.ones(WIDE, np.float32)
    for f in range(TONES):
        for b in range(WIDE):
            size = min(ratio[f * WIDE + b] * heard[b], np.float32(1.0))
            rest = max(np.float32(1.0) - size, np.float32(1e-9))
            product[b] *= min(max(size / rest, LEAST), MOST)
    for b in range(len(out)):
        out[b] = math.log10(product[b]) / (3 * TONES) + np.float32(0.5)
