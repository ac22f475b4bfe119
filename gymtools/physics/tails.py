"""The room's late sound as noise: in every octave it follows the course of its energy.

Shapes: (band, sample), (step, band).
"""

from functools import lru_cache

import numpy as np
from scipy import fft
from scipy.ndimage import uniform_filter1d

from . import bands
from .playback import RATE

STEP_S = 0.001  # in which the course of the energy is given [s]
PER_STEP = int(RATE * STEP_S)
PERIOD = 131072  # samples after which the noise comes again, 2.7 s: far down its own decay
SEED = 20
BLEND = 2 ** (1 / 96)  # octaves blend over a 96th of an octave about their edges [-]
EVEN_PERIODS = 1.5  # of an octave's bandwidth, over which its noise is made even
EVENED = 8  # times; half as often above the third octave, where many periods pass anyway
LONG_EVENED = 3
NOISES = 8  # that are kept, 7 MB each
TURN = 20_011  # samples by which a noise is turned on for a further loudspeaker, 0.4 s
CHANNELS = 2  # noises that know nothing of each other, for two ears


@lru_cache(maxsize=4)
def octave_windows(length):
    """How much of an amplitude spectrum belongs to each octave.

    Parameters
    ----------
    length : int
        Samples of the transform [-]

    Returns
    -------
    window : ndarray
        (band, frequency), 0 to 1; between the outer edges the squares sum to 1 [-]
    """
    frequency = np.maximum(fft.rfftfreq(length, 1 / RATE), 1e-3)
    edges = np.append(bands.EDGES[:, 0], bands.EDGES[-1, 1])
    place = np.log(frequency / edges[:, None]) / np.log(BLEND)  # -1 to 1 while it blends
    above = np.sin(np.pi / 4 * (1 + np.clip(place, -1, 1)))  # (edge, frequency)
    window = above[:-1] * np.sqrt(1 - above[1:] ** 2)
    window.setflags(write=False)
    return window


@lru_cache(maxsize=1)
def unit_energy():
    """Energy of a pulse that leaves everything as it is, in each octave.

    Returns
    -------
    energy : ndarray
        (band,) [-]
    """
    window = octave_windows(PERIOD)
    return 2 * (window**2).sum(axis=1) / PERIOD


def loudspeaker_noise(number):
    """Noises of a loudspeaker: one of ``NOISES``, turned on for every further loudspeaker, so that
    dozens of them need no more memory.

    Parameters
    ----------
    number : int
        Of the loudspeaker [-]

    Returns
    -------
    noise : ndarray
        (channel, band, sample), as ``even_noise`` [-]
    """
    again, which = divmod(number, NOISES)
    noise = even_noise(which)
    return np.roll(noise, again * TURN, axis=-1) if again else noise


@lru_cache(maxsize=NOISES)
def even_noise(number):
    """Noises of one octave each, as even as their bandwidth allows.

    Parameters
    ----------
    number : int
        Which: each is another one, the same at every run [-]

    Returns
    -------
    noise : ndarray
        (channel, band, sample) float32, mean square 1, going round after ``PERIOD`` samples [-]

    Notes
    -----
    The noise of an octave waxes and wanes by chance over some periods of its bandwidth. That is
    taken out, so that one response shows the decay itself and not the chance of one noise. Evening
    alone would spread an octave into its neighbors (-16 dB), where it would be heard after they
    have died away: after each time the spectrum is made that of the octave again.
    """
    rng = np.random.default_rng([SEED, number])
    shape = CHANNELS, PERIOD // 2 + 1
    phase = np.exp(2j * np.pi * rng.random(shape, np.float32)).astype(np.complex64)
    window = octave_windows(PERIOD).astype(np.float32)
    noise = np.empty((CHANNELS, len(window), PERIOD), np.float32)
    for b, (low, high) in enumerate(bands.EDGES):
        size = int(EVEN_PERIODS * RATE / (high - low))
        one = fft.irfft(phase * window[b], n=PERIOD, workers=2)
        for _ in range(EVENED if b < LONG_EVENED else EVENED // 2):
            one /= np.sqrt(uniform_filter1d(one * one, size, mode="wrap"))
            # back into its octave: only the phases are kept
            lines = fft.rfft(one, workers=2)
            lines *= window[b] / np.maximum(np.abs(lines), 1e-20)
            one = fft.irfft(lines, n=PERIOD, workers=2)
        noise[:, b] = one / np.sqrt(np.mean(one * one, axis=1, keepdims=True))
    noise.setflags(write=False)
    return noise


def envelopes(course):
    """Amplitude of the late sound over time.

    Parameters
    ----------
    course : array
        Energy in steps of 1 ms (step, band) [-]

    Returns
    -------
    amplitude : ndarray
        Of noise with mean square 1 (band, sample) float32, by straight lines from the middle of
        each step to the next [-]
    """
    level = np.sqrt(np.maximum(course, 0) * unit_energy() / PER_STEP).T.astype(np.float32)
    middles = np.concatenate([level[:, :1], (level[:, 1:] + level[:, :-1]) / 2, level[:, -1:]], 1)
    ramp = np.linspace(0, 1, PER_STEP, endpoint=False, dtype=np.float32)
    rise = np.diff(middles, axis=1)[..., None] * ramp
    return (middles[:, :-1, None] + rise).reshape(len(level), -1)


def followed(amplitude, noise, gain=None):
    """Noise that follows a course, all octaves together.

    Parameters
    ----------
    amplitude : array
        (band, sample) [-]
    noise : array
        Going round (band, sample) [-]
    gain : array, optional
        Of each octave's amplitude (band,); 1 when left out [-]

    Returns
    -------
    sound : ndarray
        (sample,) float32 [-]
    """
    count = amplitude.shape[1]
    gain = np.ones(len(amplitude), np.float32) if gain is None else np.float32(gain)
    sound = np.zeros(count, np.float32)
    for begin in range(0, count, PERIOD):
        part = slice(begin, min(begin + PERIOD, count))
        going = noise[:, : part.stop - begin]
        sound[part] = np.einsum("b,bn,bn->n", gain, amplitude[:, part], going)
    return sound
