"""Microphones whose talker turns: what loudspeakers return for many places and many ways of facing
at once.
"""

import numpy as np

# places worked on at a time: small products stay on one thread, which a busy second core cannot
# stall
CHUNK = 400


def returned_by_facing(direct, toward, pattern, *, up_deg, facing_deg):
    r"""Energy at the output of a first-order microphone for every way its talker may face; the
    kernel has no checks.

    The microphone looks back at its talker's mouth: for a talker who faces f its axis is -f cos(up)
    + z sin(up). The sum over sources of E (A + B c)^2 is a quadratic form of the facing, so its
    moments are formed once for all facings.

    .. math:: E = \sum_s E_s \, (A + B \cos\theta_s)^2, \qquad B = 1 - A

    Parameters
    ----------
    direct : array
        Direct sound at each place (source, place, band) [any linear]
    toward : array
        Unit vectors from each place to each source (source, place, 3) [-]
    pattern : array
        A of the pattern (band,) [-]
    up_deg : float
        How far the microphone's axis rises toward the mouth [deg]
    facing_deg : array
        Where the talker looks, counter-clockwise from +x (facing,) [deg]

    Returns
    -------
    returned : ndarray
        (facing, place, band) [as direct]

    Sources
    -------
    J. Eargle, The Microphone Book, ch. 6, for the pattern; the sum over facings is algebra.
    """
    direct, toward = np.asarray(direct, np.float32), np.asarray(toward, np.float32)
    x, y = toward[..., 0], toward[..., 1]  # (source, place)
    w = np.float32(np.sin(np.radians(up_deg))) * toward[..., 2]
    # (moment, source, place)
    terms = np.stack([np.ones_like(x), x, y, w, x * x, x * y, y * y, x * w, y * w, w * w])
    moments = terms.transpose(2, 0, 1) @ direct.transpose(1, 0, 2)  # (place, moment, band)
    turn = np.radians(np.asarray(facing_deg, float))
    c, s, one, k = np.cos(turn), np.sin(turn), np.ones_like(turn), -np.cos(np.radians(up_deg))
    zero = 0 * one
    # (facing, moment): of sum E c
    linear = np.stack([zero, k * c, k * s, one, zero, zero, zero, zero, zero, zero], axis=1)
    square = np.stack(
        [
            zero,
            zero,
            zero,
            zero,
            (k * c) ** 2,
            2 * k * k * c * s,
            (k * s) ** 2,
            2 * k * c,
            2 * k * s,
            one,
        ],
        axis=1,
    )
    a = np.asarray(pattern, float)
    b = 1 - a
    plain = np.zeros(10)
    plain[0] = 1
    # (facing, moment, band): one row of weights for every facing and band
    weights = a * a * plain[:, None] + 2 * a * b * linear[..., None] + b * b * square[..., None]
    weights = weights.astype(np.float32).transpose(2, 1, 0)  # (band, moment, facing)
    returned = np.empty((len(turn), len(moments), len(a)), np.float32)
    for start in range(0, len(moments), CHUNK):
        part = slice(start, start + CHUNK)
        returned[:, part] = (moments[part].transpose(2, 0, 1) @ weights).transpose(2, 1, 0)
    return returned
