"""The loop of ``late_modulation`` as machine code: point by point, octaves side by side."""

import math

import numpy as np
from numba import njit

from .late_modulation import WIDE

# sine and cosine of 2 pi x for x within -0.5 and 0.5, least squares in x; error below 3e-7
_X = np.cos(np.pi * (np.arange(400) + 0.5) / 400) / 2
SINE = np.linalg.lstsq(_X[:, None] ** np.arange(1, 14, 2), np.sin(2 * np.pi * _X), rcond=None)[0]
COSINE = np.linalg.lstsq(_X[:, None] ** np.arange(0, 14, 2), np.cos(2 * np.pi * _X), rcond=None)[0]
SINE, COSINE = SINE.astype(np.float32), COSINE.astype(np.float32)
LEAST, MOST = np.float32(10**-1.5), np.float32(10**1.5)  # the signal-to-noise ratio counts between


@njit(nogil=True, cache=True, fastmath=True)
def mean_index(arrivals, corners, responses, heard, modulation, out):
    """Mean transmission index over the modulations.

    Parameters
    ----------
    arrivals : tuple of ndarray
        Direct sound (source, point, 8) [any linear], and its delay (source, point) [s]
    corners : tuple of ndarray
        Zones around each point, and their weights (point, corner) [-]
    responses : tuple of ndarray
        What each source radiates (source, 8) [as direct], and its packed modulation (source, zone,
        2, modulation, 8) [-]
    heard : ndarray
        Factor on the moving energy that gives the modulation transfer at the ear (point, 8) [1/as
        direct]
    modulation : ndarray
        Frequencies (modulation,) [Hz]
    out : ndarray
        Takes the answer (point, 8) [-]
    """
    (direct, delay), (zone, weight), (power, packed) = arrivals, corners, responses
    sources, points = delay.shape
    tones = len(modulation)
    total = np.empty((2, tones, WIDE), np.float32)
    mixed = np.empty((2, tones, WIDE), np.float32)
    cosine, sine = np.empty(tones, np.float32), np.empty(tones, np.float32)
    for p in range(points):
        total[:] = 0
        for s in range(sources):
            for f in range(tones):
                turns = modulation[f] * delay[s, p]
                turns -= np.rint(turns)
                square = turns * turns
                c, n = COSINE[6], SINE[6]
                for k in range(5, -1, -1):
                    c, n = c * square + COSINE[k], n * square + SINE[k]
                cosine[f], sine[f] = c, n * turns
            _mix(mixed, packed[s], zone[p], weight[p])
            _turn_and_add(total, mixed, power[s], direct[s, p], cosine, sine)
        for b in range(WIDE):
            product = np.float32(1.0)
            for f in range(tones):
                size = math.sqrt(total[0, f, b] ** 2 + total[1, f, b] ** 2) * heard[p, b]
                size = min(size, np.float32(1.0))
                rest = max(np.float32(1.0) - size, np.float32(1e-9))
                product *= min(max(size / rest, LEAST), MOST)
            out[p, b] = math.log10(product) / (3 * tones) + np.float32(0.5)


@njit(nogil=True, fastmath=True)
def _mix(mixed, packed, zone, weight):
    """Mean of the zones around a point."""
    flat, rows = mixed.reshape(-1), packed.reshape(len(packed), -1)
    first, w = rows[zone[0]], weight[0]
    for i in range(len(flat)):
        flat[i] = w * first[i]
    for k in range(1, len(zone)):
        row, w = rows[zone[k]], weight[k]
        if w > 0:
            for i in range(len(flat)):
                flat[i] += w * row[i]


@njit(nogil=True, fastmath=True)
def _turn_and_add(total, mixed, power, direct, cosine, sine):
    """Add what comes of one source, turned by its delay."""
    for f in range(len(cosine)):
        c, n = cosine[f], sine[f]
        for b in range(WIDE):
            re = mixed[0, f, b] * power[b] + direct[b]
            im = mixed[1, f, b] * power[b]
            total[0, f, b] += re * c + im * n
            total[1, f, b] += im * c - re * n
