"""The echo criterion of ``arrivals`` as machine code: point by point."""

import math

import numpy as np
from numba import njit

from .arrivals import ROUNDING_S


@njit(nogil=True, cache=True)
def climb(part, arriving, spans, shape, out):
    """Most that the running center of time of merged arrivals climbs within a step.

    Parameters
    ----------
    part : tuple of int
        First point and the one after the last [-]
    arriving : tuple of ndarray
        Of each arrival (arrival, point): energy [any linear] and time [s]
    spans : tuple
        First arrival (point,) and length over which arrivals are merged [s]
    shape : tuple of float
        Exponent of the energy, and length of the step [-, s]
    out : ndarray
        Takes the climb (point,) [s]

    Sources
    -------
    As ``arrivals.echo_criterion``.
    """
    (energy, t), (first, width), (exponent, step) = arriving, spans, shape
    begin, end = part
    last = 0
    for k in range(len(energy)):
        for p in range(begin, end):
            if energy[k, p] > 0:
                last = max(last, int((t[k, p] - first[p]) / width + 0.5))
    sums, time = np.zeros((end - begin, last + 1)), np.zeros((end - begin, last + 1))
    for k in range(len(energy)):
        for p in range(begin, end):
            if energy[k, p] > 0:
                after = t[k, p] - first[p]
                span = int(after / width + 0.5)
                sums[p - begin, span] += energy[k, p]
                time[p - begin, span] += energy[k, p] * after
    for p in range(begin, end):
        out[p] = _steepest(sums[p - begin], time[p - begin], exponent, step)


@njit(nogil=True, cache=True)
def _steepest(sums, time, exponent, step):
    """Of one point, from sums of energy and of energy times time."""
    center = np.empty(len(sums) + 1)
    center[0] = 0.0
    past, moment, most, count, before = 0.0, 0.0, 0.0, 0, 0
    for k in range(len(sums)):
        if sums[k] > 0:
            now, weight = time[k] / sums[k], math.exp(exponent * math.log(sums[k]))
            past += weight
            moment += weight * now
            time[count] = now
            center[count + 1] = moment / past
            while before < count and time[before] <= now - step + ROUNDING_S:
                before += 1
            most = max(most, center[count + 1] - center[before])
            count += 1
    return most
