"""Decay times and modulation from a measured impulse response, octave by octave."""

import numpy as np
from scipy.signal import butter, sosfiltfilt

from . import bands
from .checks import within
from .decay import RANGES, decay_time
from .intelligibility import MODULATION

BIN = 0.001  # energy is counted in bins of this length [s]
SMOOTH = 25  # bins of the running mean in which decay and noise are told apart
# the response begins where it first comes this near to its peak    ISO 3382-1:2009, 5.3.3
ONSET_DB = 20.0
# the noise lies at least so far under the lower end of what is evaluated    ISO 3382-1:2009, 5.3.3
OVER_NOISE_DB = 10.0
ORDER = 3  # of the Butterworth octave filters, run forwards and backwards
# such a filter spreads a pulse to both sides, by so many periods of the octave's width: what it
# brings before the onset belongs to the onset
AHEAD_PERIODS = 1.5


def octave_energy(response, rate):
    """Energy of an impulse response in the seven octaves, from its onset on.

    Parameters
    ----------
    response : array
        Sound pressure over time (sample,) [any linear]
    rate : float
        Sampling rate [Hz]

    Returns
    -------
    energy : ndarray
        In bins of 1 ms (bin, band); NaN in octaves that the sampling rate does not reach [any
        linear]

    Raises
    ------
    ValueError
        A sampling rate outside 8 to 400 kHz; a response that is shorter than 0.2 s, silent, not
        finite, or of several channels

    Sources
    -------
    Octave edges: IEC 61260-1:2014, 5.5 (ten to the 0.15 about the exact mid-band frequency).
    """
    response = np.asarray(response, float)
    rate = float(within("rate", rate, 8000, 400000, "Hz", "Kilohertz given by mistake?"))
    if response.ndim != 1 or len(response) < 0.2 * rate:
        raise ValueError(
            f"an impulse response of {len(response) / rate:.2f} s in {response.ndim} dimension(s)"
            " is no measurement. Give one channel of 0.2 s at least."
        )
    if not np.all(np.isfinite(response)) or not np.any(response):
        raise ValueError("the impulse response is silent, or holds something that is not a number.")
    per = int(round(rate * BIN))
    onset = int(np.argmax(np.abs(response) >= np.abs(response).max() * 10 ** (-ONSET_DB / 20)))
    count = (len(response) - onset) // per
    energy = np.full((count, len(bands.EXACT)), np.nan)
    for b, (low, high) in enumerate(bands.EDGES):
        if high < 0.49 * rate:
            filtered = sosfiltfilt(
                butter(ORDER, (low, high), "bandpass", fs=rate, output="sos"), response
            )
            squared = filtered**2
            energy[:, b] = squared[onset : onset + count * per].reshape(count, per).sum(axis=1)
            ahead = max(onset - int(AHEAD_PERIODS * rate / (high - low)), 0)
            energy[0, b] += squared[ahead:onset].sum()
    return energy


def cut(energy):
    """One octave's energy without its noise, cut where it sinks into the noise; a last bin stands
    for the rest.

    Parameters
    ----------
    energy : array
        In bins of 1 ms (bin,) [any linear]

    Returns
    -------
    energy : ndarray
        (bin,), its last one everything that would have followed [as energy]
    range_db : float
        Peak over noise [dB]

    Notes
    -----
    Noise: mean of the last tenth. The decay is taken as exponential where it comes near the noise,
    so that what is cut off is known; noise is subtracted before.

    Sources
    -------
    After A. Lundeby et al., Acustica 81 (1995) 344 (crossing of decay and noise, from memory), and
    W. T. Chu, J. Acoust. Soc. Am. 63 (1978) 1444 (subtraction, from memory).
    """
    noise = energy[-max(len(energy) // 10, 1) :].mean()
    smooth = np.convolve(energy, np.ones(SMOOTH) / SMOOTH, mode="same")
    top = int(np.argmax(smooth))
    # a filter that fades away after the end is no noise
    heard = noise > 1e-30 * smooth[top]
    range_db = float(10 * np.log10(smooth[top] / noise)) if heard else np.inf
    level = 10 * np.log10(np.maximum(smooth / smooth[top], 1e-30))
    floor = max(-range_db, -120.0)
    under = np.flatnonzero(level[top:] < floor + OVER_NOISE_DB)
    end = top + (under[0] if len(under) else len(level) - top)
    begin = top + int(np.argmax(level[top:] < min(-5.0, (floor + OVER_NOISE_DB) / 2)))
    if end - begin < 3:
        return energy, range_db  # there is no decay to speak of
    slope, height = np.polyfit(np.arange(begin, end), level[begin:end], 1)  # [dB a bin]
    crossing = int((floor - height) / slope) if slope < 0 else len(energy)
    crossing = int(np.clip(crossing, end, len(energy)))
    fall = -slope / bands.E_FOLD_DB  # of energy, a bin
    rest = smooth[top] * 10 ** ((height + slope * crossing) / 10) / fall if slope < 0 else 0.0
    return np.append(energy[:crossing] - (noise if crossing < len(energy) else 0.0), rest), range_db


def decay_times(energy):
    """Decay times of a measured response.

    Parameters
    ----------
    energy : array
        Of ``octave_energy`` (bin, band) [any linear]

    Returns
    -------
    times : dict
        "edt", "t20" and "t30", each (band,); NaN where the noise is too near [s]
    range_db : ndarray
        Peak over noise (band,) [dB]

    Sources
    -------
    ISO 3382-1:2009, 5.3 and annex A; ISO 3382-2:2008, 6.
    """
    found, ranges = (
        {m: np.full(energy.shape[1], np.nan) for m in RANGES},
        np.full(energy.shape[1], np.nan),
    )
    for b in np.flatnonzero(np.isfinite(energy).all(axis=0)):
        kept, ranges[b] = cut(energy[:, b])
        for measure, (_, low) in RANGES.items():
            if ranges[b] >= OVER_NOISE_DB - low:
                found[measure][b] = decay_time(kept, BIN * np.arange(len(kept) + 1), measure)
    return found, ranges


def modulation(energy):
    r"""Modulation transfer of a measured response.

    .. math:: m(F) = \left| \sum_n E_n e^{-2\pi j F t_n} \right| / \sum_n E_n

    Parameters
    ----------
    energy : array
        Of ``octave_energy`` (bin, band) [any linear]

    Returns
    -------
    mtf : ndarray
        (band, modulation); NaN in octaves that were not measured [-]

    Sources
    -------
    IEC 60268-16:2020, A.5.3: Fourier transform of the squared impulse response over its energy.
    """
    mtf = np.full((energy.shape[1], len(MODULATION)), np.nan)
    for b in np.flatnonzero(np.isfinite(energy).all(axis=0)):
        kept, _ = cut(energy[:, b])
        kept = kept[:-1]  # what was cut off has no time of its own
        turning = np.exp(-2j * np.pi * np.outer(MODULATION, BIN * np.arange(len(kept))))
        mtf[b] = np.minimum(np.abs(turning @ kept) / kept.sum(), 1.0)
    return mtf
