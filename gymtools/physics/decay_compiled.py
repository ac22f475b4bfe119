"""The straight line of ``decay`` as machine code."""

import math

import numpy as np
from numba import njit

from .decay import STEPS


@njit(nogil=True, cache=True)
def fit(curves, edges_s, high, low):
    """60 dB over the slope of a line between two levels of backward integrals.

    Parameters
    ----------
    curves : ndarray
        Energy that is still to come at each edge, 1 at the first (curve, edge) [-]
    edges_s : ndarray
        Edges of the bins (edge,) [s]
    high, low : float
        Upper and lower end of the line [dB]

    Returns
    -------
    time : ndarray
        NaN where the decay does not reach the lower end (curve,) [s]

    Sources
    -------
    As ``decay.decay_time``.
    """
    times = np.empty(len(curves))
    for n in range(len(curves)):
        times[n] = _fit(curves[n], edges_s, high, low)
    return times


@njit(nogil=True, cache=True)
def _fit(curve, edges_s, high, low):
    """Of one backward integral."""
    level, count, start = np.empty(len(curve)), 0, -1
    for k in range(len(curve)):
        if curve[k] > 0:
            level[count] = 10 * math.log10(curve[k])
            if start < 0 and level[count] < -1e-9:
                start = count - 1
            count += 1
    start = max(start, 0)
    # the end of a cut decay bends down: it must go on for a while below the range
    if level[count - 1] > low - 3:
        return np.nan
    first = _crossing(level, edges_s, start, count, high)
    last = _crossing(level, edges_s, start, count, low)
    middle, moment, square, at = (first + last) / 2, 0.0, 0.0, start
    for n in range(STEPS):
        t = first + (last - first) * n / (STEPS - 1)
        while at < count - 2 and edges_s[at + 1] <= t:
            at += 1
        share = (t - edges_s[at]) / (edges_s[at + 1] - edges_s[at])
        y = level[at] + share * (level[at + 1] - level[at])
        moment += (t - middle) * y
        square += (t - middle) ** 2
    return -60.0 * square / moment


@njit(nogil=True, cache=True)
def _crossing(level, edges_s, start, count, wanted):
    """Time at which a falling level was last at or above a wanted one [s]."""
    k = start
    while k < count - 2 and level[k + 1] >= wanted:
        k += 1
    if level[k] == level[k + 1]:
        return edges_s[k]
    share = (level[k] - wanted) / (level[k] - level[k + 1])
    return edges_s[k] + min(max(share, 0.0), 1.0) * (edges_s[k + 1] - edges_s[k])


@njit(nogil=True, cache=True)
def stretch(energy, edges, start, factor, out):
    """Energy in bins, what comes after a start taking longer to come.

    Parameters
    ----------
    energy : ndarray
        (place, bin, band) [any linear]
    edges : ndarray
        Edges of the bins (bin + 1,) [s or m]
    start : ndarray
        After which it is stretched (place,) [as edges]
    factor : ndarray
        How many times as long it takes (band,) [-]
    out : ndarray
        Takes the energy in the same bins (place, bin, band) [as energy]

    Sources
    -------
    As ``decay.stretched``.
    """
    places, bins, octaves = energy.shape
    for p in range(places):
        begin = min(max(start[p], edges[0]), edges[bins])
        for b in range(octaves):
            direct = 0.0  # what comes before the start
            for k in range(bins):
                share = (begin - edges[k]) / (edges[k + 1] - edges[k])
                direct += min(max(share, 0.0), 1.0) * energy[p, k, b]
            k, past, before = 0, 0.0, 0.0
            for e in range(bins + 1):
                x = edges[e]
                if x > start[p]:
                    x = start[p] + (x - start[p]) / factor[b]
                x = min(max(x, edges[0]), edges[bins])
                while k < bins - 1 and edges[k + 1] <= x:
                    past += energy[p, k, b]
                    k += 1
                until = past + (x - edges[k]) / (edges[k + 1] - edges[k]) * energy[p, k, b]
                until += (factor[b] - 1) * max(until - direct, 0.0)
                if e > 0:
                    out[p, e - 1, b] = until - before
                before = until
