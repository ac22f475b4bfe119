"""Sound to be listened to: its sampling rate, and its octave levels."""

import numpy as np
from scipy import fft

from .bands import EDGES, to_level
from .checks import within

RATE = 48000  # of everything that is played [Hz]
SHORTEST_S = 0.1  # about nine periods of the 125 Hz octave's lower edge [s]


def octave_levels_db(samples, rate):
    """Mean-square levels of a steady sound in the seven octaves.

    Parameters
    ----------
    samples : array
        Sound over time, at least SHORTEST_S of it (..., sample) [any linear]
    rate : float
        Sampling rate, 8 to 400 kHz [Hz]

    Returns
    -------
    level_db : ndarray
        Re a root mean square of 1, over the whole length (..., band); minus infinity where there
        is nothing, as above half the sampling rate [dB]

    Raises
    ------
    ValueError
        A sampling rate outside its range; a sound that is too short, or that is not finite

    Notes
    -----
    Every line of the spectrum belongs to one octave, the whole length is one period (Parseval):
    the octaves add up to the mean square between 89 Hz and 11.2 kHz.

    Sources
    -------
    Octave edges: IEC 61260-1:2014, 5.5 (ten to the 0.15 about the exact mid-band frequency).
    """
    rate = float(within("rate", rate, 8000, 400_000, "Hz", "Kilohertz given by mistake?"))
    samples = np.asarray(samples, float)
    length = samples.shape[-1] if samples.ndim else 0
    if length < SHORTEST_S * rate:
        raise ValueError(
            f"a sound of {length / rate:.3f} s is too short. Give {SHORTEST_S:g} s at least, time"
            " along the last axis."
        )
    if not np.isfinite(samples).all():
        raise ValueError("the sound holds something that is not a number.")
    energy = 2 * np.abs(fft.rfft(samples) / length) ** 2  # (..., line)
    if length % 2 == 0:
        energy[..., -1] /= 2  # the line at half the sampling rate has no twin
    low, high = octave_lines(length, rate).T
    sums = [energy[..., a:b].sum(axis=-1) for a, b in zip(low, high, strict=True)]
    return to_level(np.stack(sums, axis=-1))


def octave_lines(length, rate):
    """Which lines of a spectrum lie in each octave.

    Parameters
    ----------
    length : int
        Samples of the sound [-]
    rate : float
        Sampling rate [Hz]

    Returns
    -------
    lines : ndarray
        First line, and the first one that no longer belongs to it (band, 2); the octaves share no
        line and leave none between them [-]

    Sources
    -------
    Octave edges: IEC 61260-1:2014, 5.5.
    """
    lines = np.ceil(EDGES * length / rate - 1e-9).astype(int)
    lines[1:, 0] = lines[:-1, 1]  # the edge of two octaves is one number but for rounding
    return np.minimum(lines, length // 2 + 1)
