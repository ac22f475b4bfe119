"""A microphone's loop as sound: where it rings, and what a voice becomes shortly before.

A loop is what comes back to the microphone for what it picks up, as a response at
``playback.RATE``; at a gain it rings where what comes back is in phase and no weaker.
"""

import numpy as np
from scipy import fft

from .checks import within
from .playback import RATE

LENGTH = 1 << 20  # samples, 22 s: a ring has died away by then [-]


def ring_point(response):
    """Gain at which a loop rings first, and where.

    Parameters
    ----------
    response : array
        Of the loop at a gain of 1 (sample,), 22 s at most [-]

    Returns
    -------
    gain : float
        Of the loop's amplitude; infinite where nothing comes back in phase [-]
    frequency : float
        Of the ring [Hz]

    Raises
    ------
    ValueError
        A response that is too long, or not one channel

    Sources
    -------
    H. Nyquist, Bell System Technical Journal 11 (1932) 126: the curve of the open loop must not
    enclose the point 1; a loop of less gain at every crossing of the real axis does not.
    """
    curve = _spectrum(response)
    before, after = curve[:-1], curve[1:]
    crossing = np.flatnonzero((before.imag < 0) != (after.imag < 0))
    share = before.imag[crossing] / (before.imag[crossing] - after.imag[crossing])
    real = before.real[crossing] + share * (after.real - before.real)[crossing]
    if not len(real) or real.max() <= 0:
        return np.inf, np.nan
    first = int(real.argmax())
    return float(1 / real[first]), float((crossing[first] + share[first]) * RATE / LENGTH)


def regenerated(program, response, reserve_db):
    r"""What a program becomes in a loop shortly before it rings.

    .. math:: Y(f) = X(f) / (1 - g\,L(f))

    Parameters
    ----------
    program : array
        What the microphone picks up of the talker (sample,), 15 s at most [any linear]
    response : array
        Of the loop at any gain (sample,) [-]
    reserve_db : float
        How far below its ring point it is run, 0.5 to 40 [dB]

    Returns
    -------
    sound : ndarray
        What the loudspeakers are fed with (sample,), 4 s longer than the program [as program]

    Raises
    ------
    ValueError
        A reserve outside 0.5 to 40 dB: nearer, a ring outlasts what is followed; a program of more
        than 15 s

    Sources
    -------
    A closed loop; e.g. M. R. Schroeder, J. Acoust. Soc. Am. 36 (1964) 1718 (from memory).
    """
    reserve_db = float(within("reserve_db", reserve_db, 0.5, 40, "dB"))
    seconds = len(program) / RATE
    within("length of the program", seconds, 0.0, 15.0, "s", "Give its first 15 seconds.")
    gain, _ = ring_point(response)
    back = 0.0 if np.isinf(gain) else gain * 10 ** (-reserve_db / 20) * _spectrum(response)
    sound = fft.irfft(fft.rfft(program, n=LENGTH) / (1 - back), n=LENGTH)
    return sound[: len(program) + 4 * RATE]


def _spectrum(response):
    response = np.asarray(response, float)
    if response.ndim != 1 or not 0 < len(response) <= LENGTH:
        raise ValueError(
            f"a loop's response of shape {response.shape} is not one channel of {LENGTH} samples"
            " at most."
        )
    return fft.rfft(response, n=LENGTH)
