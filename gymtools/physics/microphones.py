"""First-order microphones: pattern A + B cos of the angle off the axis, with A + B = 1."""

import numpy as np

from . import bands, compiled
from .checks import within

# A of the usual patterns [-]. J. Eargle, The Microphone Book, 2nd ed. (2004), ch. 6; the exact
# supercardioid, of the most front-to-back, has (sqrt(3) - 1)/2 = 0.366, rounded here. Some lists
# swap the names of super- and hypercardioid.
PATTERNS = {
    "omni": 1.0,
    "subcardioid": 0.7,
    "cardioid": 0.5,
    "supercardioid": 0.37,
    "hypercardioid": 0.25,
    "figure-8": 0.0,
}
# how far behind the lips the voice seems to start [m]    equivalent lip position of the artificial
# mouth, ITU-T P.51 (from memory)
BEHIND_LIPS = 0.006
# points worked on at a time: small products stay on one thread, which a busy second core cannot
# stall
CHUNK = 400


def _share(a):
    return within("a", a, 0, 1, "-", "A is the pattern's share without direction, 1 for omni.")


def random_efficiency(a):
    r"""Random energy efficiency: energy picked up in a diffuse field over that of an omni of equal
    axis sensitivity.

    .. math:: REE = A^2 + B^2 / 3

    Parameters
    ----------
    a : float or array
        A of the pattern, 0 to 1 [-]

    Returns
    -------
    efficiency : ndarray
        1 for omni, at best 1/4, for the hypercardioid; shape of ``a`` [-]

    Raises
    ------
    ValueError
        A outside 0 to 1

    Sources
    -------
    J. Eargle, The Microphone Book, eq. (6.4) to (6.6).

    Examples
    --------
    >>> round(float(random_efficiency(0.5)), 3)
    0.333
    """
    a = _share(a)
    return a**2 + (1 - a) ** 2 / 3


def directivity_index_db(a):
    """Directivity index: how much less diffuse sound is picked up than by an omni.

    Parameters
    ----------
    a : float or array
        A of the pattern, 0 to 1 [-]

    Returns
    -------
    index : ndarray
        -10 lg REE, shape of ``a`` [dB]

    Raises
    ------
    ValueError
        A outside 0 to 1

    Sources
    -------
    J. Eargle, The Microphone Book, ch. 6; IEC 60268-4, 13.2.2.

    Examples
    --------
    >>> round(float(directivity_index_db(0.5)), 2)
    4.77
    """
    return -bands.to_level(random_efficiency(a))


def distance_factor(a):
    """How many times farther than an omni the microphone may stand for the same share of diffuse
    sound.

    Parameters
    ----------
    a : float or array
        A of the pattern, 0 to 1 [-]

    Returns
    -------
    factor : ndarray
        1 / sqrt(REE), shape of ``a`` [-]

    Raises
    ------
    ValueError
        A outside 0 to 1

    Sources
    -------
    J. Eargle, The Microphone Book, eq. (6.4) to (6.6).

    Examples
    --------
    >>> float(distance_factor(0.25))
    2.0
    """
    return 1 / np.sqrt(random_efficiency(a))


def null_deg(a):
    r"""Angle off the axis from which nothing is picked up.

    .. math:: \cos\theta_0 = -A / B

    Parameters
    ----------
    a : float or array
        A of the pattern, 0 to 1 [-]

    Returns
    -------
    angle : ndarray
        90 to 180, shape of ``a``; NaN where the pattern has no null (A above 0.5) [deg]

    Raises
    ------
    ValueError
        A outside 0 to 1

    Sources
    -------
    J. Eargle, The Microphone Book, ch. 6.

    Examples
    --------
    >>> null_deg([0.25, 0.5, 0.7]).round(1).tolist()
    [109.5, 180.0, nan]
    """
    a = _share(a)
    cosine = -np.minimum(a, 0.5) / np.maximum(1 - a, 0.5)
    return np.where(a <= 0.5, np.degrees(np.arccos(cosine)), np.nan)


def talker_level_db(level_db, distance):
    r"""Level of a talker on the axis of the mouth, near the lips too.

    .. math:: L = L_1 - 20 \lg \frac{d + a}{1 + a}

    Parameters
    ----------
    level_db : float or array
        Level at 1 m in front of the lips [dB]
    distance : float or array
        From the lips to the microphone, 0.01 to 100 [m]

    Returns
    -------
    level_db : ndarray
        Shape of the inputs together [dB]

    Raises
    ------
    ValueError
        A distance outside 0.01 to 100 m, or a level outside -100 to 200 dB

    Notes
    -----
    The acoustic center lies a = 6 mm behind the lips, so that level rises more slowly than by 1/d
    close to them: 1.8 dB less at 25 mm, 0.9 dB at 50 mm. Within a cone of about 60 degrees around
    the axis a simple source describes a mannequin's mouth within 3 dB (250 Hz to 4 kHz).

    Sources
    -------
    Simple source: J. L. Flanagan, J. Acoust. Soc. Am. 32 (1960) 1613 (abstract seen); its place:
    ITU-T P.51 (from memory).

    Examples
    --------
    >>> talker_level_db(66.4, [1.0, 0.025]).round(1).tolist()
    [66.4, 96.6]
    """
    d = within("distance", distance, 0.01, 100, "m", "Centimeters given by mistake?")
    L = within("level_db", level_db, -100, 200, "dB")
    return L - 20 * np.log10((d + BEHIND_LIPS) / (1 + BEHIND_LIPS))


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
        Direct sound at each point (source, point, band) [any linear]
    toward : array
        Unit vectors from each point to each source (source, point, 3) [-]
    pattern : array
        A of the pattern (band,) [-]
    up_deg : float
        How far the microphone's axis rises toward the mouth [deg]
    facing_deg : array
        Where the talker looks, counter-clockwise from +x (facing,) [deg]

    Returns
    -------
    returned : ndarray
        (facing, point, band) [as direct]

    Sources
    -------
    J. Eargle, The Microphone Book, ch. 6, for the pattern; the sum over facings is algebra.
    """
    direct, toward = np.asarray(direct, np.float32), np.asarray(toward, np.float32)
    x, y = toward[..., 0], toward[..., 1]  # (source, point)
    w = np.float32(np.sin(np.radians(up_deg))) * toward[..., 2]
    # (moment, source, point)
    terms = np.stack([np.ones_like(x), x, y, w, x * x, x * y, y * y, x * w, y * w, w * w])
    moments = terms.transpose(2, 0, 1) @ direct.transpose(1, 0, 2)  # (point, moment, band)
    turn = np.radians(np.asarray(facing_deg, float))
    c, s, k = np.cos(turn), np.sin(turn), -np.cos(np.radians(up_deg))
    # (facing, moment): coefficients of sum E c and of sum E c^2
    linear, square = np.zeros((len(turn), 10)), np.zeros((len(turn), 10))
    linear[:, 1], linear[:, 2], linear[:, 3] = k * c, k * s, 1
    square[:, 4], square[:, 5], square[:, 6] = (k * c) ** 2, 2 * k * k * c * s, (k * s) ** 2
    square[:, 7], square[:, 8], square[:, 9] = 2 * k * c, 2 * k * s, 1
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


def strongest_by_facing(direct, toward, pattern, *, up_deg, facing_deg):
    """The part of ``returned_by_facing`` that comes from the loudspeaker that gives most.

    Parameters
    ----------
    direct : array
        Direct sound at each point (source, point, band) [any linear]
    toward : array
        Unit vectors from each point to each source (source, point, 3) [-]
    pattern : array
        A of the pattern (band,) [-]
    up_deg : float
        How far the microphone's axis rises toward the mouth [deg]
    facing_deg : array
        Where the talker looks, counter-clockwise from +x (facing,) [deg]

    Returns
    -------
    strongest : ndarray
        (facing, point, band) [as direct]

    Sources
    -------
    As ``returned_by_facing``.
    """
    direct, toward = np.asarray(direct, np.float32), np.asarray(toward, np.float32)
    a = np.asarray(pattern, np.float32)
    axes = _axes(up_deg, facing_deg)
    strongest = np.empty((len(axes), *direct.shape[1:]), np.float32)
    for n, axis in enumerate(axes):
        picked = a + (1 - a) * (toward @ axis)[..., None]  # (source, point, band)
        strongest[n] = (direct * picked * picked).max(axis=0, initial=0.0)
    return strongest


def all_and_strongest(direct, toward, pattern, *, up_deg, facing_deg):
    """``returned_by_facing`` and ``strongest_by_facing`` together, in machine code where that can
    be made.

    Parameters
    ----------
    direct : array
        Direct sound at each point (source, point, band) [any linear]
    toward : array
        Unit vectors from each point to each source (source, point, 3) [-]
    pattern : array
        A of the pattern (band,) [-]
    up_deg : float
        How far the microphone's axis rises toward the mouth [deg]
    facing_deg : array
        Where the talker looks, counter-clockwise from +x (facing,) [deg]

    Returns
    -------
    returned, strongest : ndarray
        Each (facing, point, band) [as direct]

    Sources
    -------
    As ``returned_by_facing``.
    """
    turned = dict(up_deg=up_deg, facing_deg=facing_deg)
    if not compiled.available():
        heard = direct, toward, pattern
        return returned_by_facing(*heard, **turned), strongest_by_facing(*heard, **turned)
    from . import microphones_compiled  # slow to load

    plain = [np.ascontiguousarray(v, np.float32) for v in (direct, toward, pattern)]
    axes = _axes(**turned)
    found = [np.empty((len(axes), *plain[0].shape[1:]), np.float32) for _ in range(2)]
    microphones_compiled.by_facing(*plain, axes, tuple(found))
    return found


def _axes(up_deg, facing_deg):
    """Axes of a microphone that looks back at its talker (facing, 3) [-]."""
    turn, up = np.radians(np.asarray(facing_deg, float)), np.radians(up_deg)
    return np.stack(
        [-np.cos(turn) * np.cos(up), -np.sin(turn) * np.cos(up), np.full_like(turn, np.sin(up))],
        axis=-1,
    ).astype(np.float32)
