"""Arrivals as sound: a short pulse for each, with the levels that its octaves have.

Shapes: (arrival, band), (arrival, sample), (arrival, channel, frequency).
"""

from functools import lru_cache

import numpy as np
from scipy import fft

from . import bands
from .playback import RATE

LENGTH = 2048  # samples of a pulse, 43 ms: two periods of the lowest frequency and more
LEAD = 32  # samples before a pulse: of its ripple, and of the ear that is nearer
LEAST = 1e-10  # of an octave's energy re the strongest of the same arrival: as good as silent [-]
# where the lowest and the highest octave have faded away, two octaves and one beyond their outer
# edges; nearer, the lowest would ring for longer than the pulse is [Hz]
FADED_HZ = bands.EDGES[0, 0] / 4, bands.EDGES[-1, 1] * 2
FADED_DB = -80.0


def frequencies(length=LENGTH):
    """Frequencies of a transform of so many samples.

    Parameters
    ----------
    length : int
        Samples [-]

    Returns
    -------
    frequency : ndarray
        (length / 2 + 1,) [Hz]
    """
    return fft.rfftfreq(length, 1 / RATE)


@lru_cache(maxsize=4)
def _between(length):
    """How a spectrum follows from levels at the mid-bands, the outer edges and where it has faded
    away: (11, frequency).
    """
    outer = bands.EDGES[0, 0], bands.EDGES[-1, 1]
    at = np.log([FADED_HZ[0], outer[0], *bands.EXACT, outer[1], FADED_HZ[1]])
    frequency = np.log(np.maximum(frequencies(length), 1.0))
    shares = np.array([np.interp(frequency, at, row) for row in np.eye(len(at))])
    shares.setflags(write=False)
    return shares


def spectra(energy, length=LENGTH):
    """Minimum-phase spectra whose octaves carry given energies.

    Parameters
    ----------
    energy : array
        Of each arrival re one that leaves everything as it is (arrival, band), 0 or more [-]
    length : int
        Samples of the pulse [-]

    Returns
    -------
    spectrum : ndarray
        (arrival, frequency), complex [-]

    Notes
    -----
    Levels go by straight lines over the logarithm of the frequency from mid-band to mid-band, keep
    to the outer edges, and fall by 80 dB beyond them: within two octaves downward, within one
    upward. Minimum phase: the pulse begins at once, without an echo of itself before it.

    Sources
    -------
    Minimum phase by the folded cepstrum: A. V. Oppenheim and R. W. Schafer, Discrete-Time Signal
    Processing (from memory).
    """
    energy = np.asarray(energy, float)
    energy = np.maximum(energy, LEAST * np.maximum(energy.max(axis=1, keepdims=True), 1e-30))
    half = 0.5 * np.log(energy)  # of the energy: the logarithm of the amplitude
    faded = 0.5 * FADED_DB / bands.E_FOLD_DB
    first, last = half[:, :1], half[:, -1:]
    around = np.column_stack([first + faded, first, half, last, last + faded])
    cepstrum = fft.irfft(around @ _between(length), n=length, axis=1)
    cepstrum[:, 1 : length // 2] *= 2
    cepstrum[:, length // 2 + 1 :] = 0
    return np.exp(fft.rfft(cepstrum, axis=1))


def placed(spectrum, time_s, count):
    """Pulses in their places, summed.

    Parameters
    ----------
    spectrum : array
        Of each arrival (arrival, channel, frequency), complex [-]
    time_s : array
        When each arrives (arrival,), 0 or more [s]
    count : int
        Samples of the answer [-]

    Returns
    -------
    sound : ndarray
        (channel, sample) [-]

    Notes
    -----
    Parts of a sample are a turn of the phase, so that arrivals stand exactly where they belong.
    What does not fit is cut off.
    """
    length = 2 * (spectrum.shape[-1] - 1)
    whole = np.floor(np.asarray(time_s) * RATE).astype(int)
    part = np.asarray(time_s) * RATE - whole
    turn = np.exp(-2j * np.pi * np.outer(part + LEAD, fft.rfftfreq(length)))
    pulse = fft.irfft(spectrum * turn[:, None], n=length, axis=-1)
    sound = np.zeros((spectrum.shape[1], max(count, length) + length))
    for one, begin in zip(pulse, whole - LEAD, strict=True):
        kept = max(-begin, 0)
        end = min(begin + length, sound.shape[1])
        if end > begin + kept:
            sound[:, begin + kept : end] += one[:, kept : end - begin]
    return sound[:, :count]
