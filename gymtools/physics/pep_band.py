"""A few bars of a pep band, synthesized: brass by its harmonics, drums by noise. Melody and sound
are invented for this package.
"""

import numpy as np
from scipy.signal import butter, sosfilt

from .checks import whole
from .playback import RATE

BEAT_S = 60 / 132  # [s]
LAST_S = 0.9  # in which the last chord dies away [s]
CONCERT_B_FLAT = 233.08  # B flat below the middle of the staff, equal temperament re 440 Hz [Hz]
SCALE = (0, 2, 4, 5, 7, 9, 11)  # semitones of a major scale
# (degree of the scale, its octave being 7 degrees; length [beat])
MELODY = (
    *((0, 1), (2, 0.5), (4, 0.5), (5, 1.5), (4, 0.5)),
    *((3, 0.5), (4, 0.5), (5, 0.5), (3, 0.5), (4, 2)),
    *((6, 1), (5, 0.5), (4, 0.5), (2, 1), (4, 1)),
    *((3, 0.5), (2, 0.5), (1, 0.5), (6, 0.5), (7, 2)),
)
BASS = ((0, 2), (3, 2), (1, 1), (3, 1), (0, 2), (4, 2), (0, 2), (1, 1), (4, 1), (0, 2))
# of the parts: octaves above CONCERT_B_FLAT, degrees above the melody, amplitude
PARTS = ((MELODY, 1, 0, 1.0), (MELODY, 1, -2, 0.6), (MELODY, 0, 0, 0.5), (BASS, -1, 0, 1.1))
BRIGHTEST_HZ, MOST_HARMONICS = 7000.0, 24  # of a note
# harmonics fall beyond this frequency, and come up later than the lower ones    by judgment
CUTOFF_HZ = 1300.0
ATTACK_S = 0.025  # [s]


def pep_band(*, rate=RATE):
    """A short piece of a band, always the same.

    Parameters
    ----------
    rate : int
        Sampling rate, 24 to 192 kHz [Hz]

    Returns
    -------
    samples : ndarray
        Dry, one channel, of no particular level (sample,) [-]

    Raises
    ------
    ValueError
        A sampling rate outside its range

    Notes
    -----
    Four parts of brass, bass drum on every beat, snare on every other one, a cymbal at the end of
    each half. How they sound is a judgment: it is something with attacks and a wide range to hear
    a gym with, not a recording of a band.
    """
    rate = whole("rate", rate, 24_000, 192_000, "Kilohertz given by mistake?")
    beats = sum(length for _, length in MELODY)
    samples = np.zeros(int(round((beats * BEAT_S + LAST_S) * rate)))
    for part, octave, above, amplitude in PARTS:
        beat = 0.0
        for degree, length in part:
            pitch = CONCERT_B_FLAT * 2 ** (octave + _semitones(degree + above) / 12)
            _add(samples, beat, amplitude * _brass(pitch, length * BEAT_S, rate), rate)
            beat += length
    chance = np.random.default_rng(1)
    for beat in range(int(beats)):
        _add(samples, beat, _bass_drum(rate), rate)
        if beat % 2:
            _add(samples, beat, _struck(chance, 0.12, (200.0, 8000.0), 0.9, rate), rate)
        if beat % 8 == 6:
            _add(samples, beat, _struck(chance, 0.9, (3000.0, 11_000.0), 0.35, rate), rate)
    return samples


def _semitones(degree):
    """Semitones of a degree of the scale above its first one."""
    return 12 * (degree // len(SCALE)) + SCALE[degree % len(SCALE)]


def _add(samples, beat, sound, rate):
    """Add a sound that begins at a beat."""
    at = int(round(beat * BEAT_S * rate))
    part = samples[at : at + len(sound)]
    part += sound[: len(part)]


def _brass(pitch, seconds, rate):
    """One note (sample,): a little shorter than its beats, dying away in a tenth of a second."""
    time = np.arange(int((seconds + 0.1) * rate)) / rate
    held = 0.9 * seconds
    vibrato = 0.004 * np.clip((time - 0.25) / 0.2, 0, 1) * np.sin(2 * np.pi * 5.2 * time)
    turn = np.exp(2j * np.pi * pitch * (np.cumsum(1 + vibrato) / rate))
    loud = np.minimum(time / ATTACK_S, 1) * np.exp(-np.maximum(time - held, 0) / 0.03)
    sound, harmonic, swelling = np.zeros(len(time)), np.ones(len(time), complex), loud.copy()
    brighter = loud**0.25
    # a louder note is a brighter one: the higher harmonics follow a power of the loudness
    for number in range(1, min(int(BRIGHTEST_HZ / pitch), MOST_HARMONICS) + 1):
        harmonic *= turn
        sound += swelling * harmonic.imag / (1 + (number * pitch / CUTOFF_HZ) ** 2)
        swelling *= brighter
    return sound


def _bass_drum(rate):
    """One stroke (sample,), its pitch falling from 120 to 60 Hz."""
    time = np.arange(int(0.4 * rate)) / rate
    frequency = 60 + 60 * np.exp(-time / 0.03)
    ending = np.clip((0.4 - time) / 0.05, 0, 1)
    return 2.0 * np.sin(2 * np.pi * np.cumsum(frequency) / rate) * np.exp(-time / 0.09) * ending


def _struck(chance, seconds, band_hz, amplitude, rate):
    """A stroke of noise (sample,) that falls by 60 dB in its time."""
    time = np.arange(int(seconds * rate)) / rate
    noise = sosfilt(
        butter(2, band_hz, "bandpass", fs=rate, output="sos"), chance.standard_normal(len(time))
    )
    return amplitude * noise * np.exp(-6.9 * time / seconds)
