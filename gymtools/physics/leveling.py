"""Sound brought to a known level and octave spectrum, so that it can stand for a prediction."""

import numpy as np
from scipy import fft

from .bands import EDGES, EXACT, a_weighted, to_level
from .checks import within
from .playback import octave_levels_db, octave_lines

FADE_S = 0.010  # at both ends [s]
BLOCK_S = 0.020  # in which silence and sound are told apart [s]
SILENCE_DB = 40.0  # so far under the loudest block there is silence, by judgment
MOST_LIFT_DB = 12.0  # of a mid-band: more would lift the noise of a recording
HUSH_DB = -120.0  # of an octave in which there is nothing
RUMBLE_HZ = (30.0, 60.0)  # nothing below the first is kept of speech, everything above the second
ROUNDS = 40  # of the equalizer; it stops when no octave is off by NEAR_DB
NEAR_DB = 0.001
MARGIN_S = 0.2  # of silence around a sound while it is equalized [s]


def active_span(samples, rate):
    """Where a recording begins and ends, without the silence before and after.

    Parameters
    ----------
    samples : array
        Sound over time (sample,) [any linear]
    rate : float
        Sampling rate [Hz]

    Returns
    -------
    span : slice
        From the first to the last block that comes within SILENCE_DB of the loudest; pauses in
        between count as sound

    Raises
    ------
    ValueError
        It is shorter than a block, or silent

    Sources
    -------
    Common practice, no source; a plain stand-in for the active level of ITU-T P.56.
    """
    samples = np.asarray(samples, float)
    per = max(int(round(BLOCK_S * rate)), 1)
    count = len(samples) // per
    if not count or not samples.any():
        raise ValueError("the sound is silent, or too short to have a level.")
    # what is left over at the end belongs to the last block
    starts = per * np.arange(count)
    energy = np.add.reduceat(samples**2, starts)
    loud = np.flatnonzero(energy > energy.max() * 10 ** (-SILENCE_DB / 10))
    end = len(samples) if loud[-1] == count - 1 else per * (int(loud[-1]) + 1)
    return slice(per * int(loud[0]), end)


def faded(samples, rate):
    """A sound that begins and ends without a click.

    Parameters
    ----------
    samples : array
        Sound over time (sample,) [any linear]
    rate : float
        Sampling rate [Hz]

    Returns
    -------
    samples : ndarray
        With a raised cosine of FADE_S at both ends, the first and the last sample zero (sample,)
        [as samples]
    """
    samples = np.array(samples, float)
    count = min(int(round(FADE_S * rate)), len(samples) // 2)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count, 1))
    samples[:count] *= ramp
    samples[len(samples) - count :] *= ramp[::-1]
    return samples


def at_zero_dba(samples, rate):
    """A sound whose A-weighted level is 0 dB re a root mean square of 1.

    Parameters
    ----------
    samples : array
        Sound over time (sample,) [any linear]
    rate : float
        Sampling rate [Hz]

    Returns
    -------
    samples : ndarray
        Energy mean over ``active_span``, of the seven octaves as everywhere here: times
        10^(L/20) they are a sound of L dB(A) (sample,) [-]

    Raises
    ------
    ValueError
        A silent sound, or one without anything in the seven octaves

    Sources
    -------
    A-weighting of octaves as in ``bands.a_weighted``.
    """
    samples = np.asarray(samples, float)
    level = a_weighted(octave_levels_db(samples[active_span(samples, rate)], rate))
    if not np.isfinite(level):
        raise ValueError("the sound has nothing between 89 Hz and 11 kHz.")
    return samples * 10 ** (-float(level) / 20)


def equalized(samples, rate, spectrum_db):
    """A sound with a given octave spectrum, and an A-weighted level of 0 dB.

    Parameters
    ----------
    samples : array
        Sound over time (sample,) [any linear]
    rate : float
        Sampling rate [Hz]
    spectrum_db : array
        Octave levels re the A-weighted level of the whole (band,) [dB]

    Returns
    -------
    samples : ndarray
        Of the same length, without DC and rumble, faded at the ends (sample,) [-]

    Raises
    ------
    ValueError
        A silent sound, or a spectrum that is not seven levels

    Notes
    -----
    Of linear phase (no delay), smooth over frequency: decibels are a straight line over the
    logarithm of frequency between the mid-bands. Nothing is lifted by more than MOST_LIFT_DB over
    a recording of equal A-weighted level; what has less sound in an octave stays below the spectrum
    there. An octave that a recording holds in part (8 kHz of one sampled at 16 kHz, which
    ends at 8 kHz) gets the whole octave's energy in the part that is there.
    """
    target = within("spectrum_db", spectrum_db, -100, 100, "dB")
    if target.shape != EXACT.shape:
        raise ValueError(f"spectrum_db has shape {target.shape}, not (7,): 125 Hz to 8 kHz.")
    sound = faded(np.asarray(samples, float) - np.mean(samples), rate)
    sound = at_zero_dba(sound, rate)
    span = active_span(sound, rate)
    gain_db = _gains(sound[span], rate, target)
    margin = int(round(MARGIN_S * rate))
    padded = np.pad(sound, margin)
    length = fft.next_fast_len(len(padded), real=True)
    lines = fft.rfft(padded, length)
    frequency = np.arange(len(lines)) * rate / length
    lines *= _curve(frequency, gain_db) * _without_rumble(frequency)
    shaped = fft.irfft(lines, length)
    return at_zero_dba(faded(shaped[margin : margin + len(sound)], rate), rate)


def _gains(sound, rate, target):
    """Gains at the mid-bands (band,) that bring the octaves to their targets [dB]."""
    energy = 2 * np.abs(fft.rfft(sound) / len(sound)) ** 2
    spans = octave_lines(len(sound), rate)
    frequency = np.maximum(np.arange(len(energy)), 1) * rate / len(sound)
    first, last = spans[0, 0], spans[-1, 1]
    part, near = energy[first:last], frequency[first:last]
    gain_db = np.zeros(len(target))
    for _ in range(ROUNDS):
        shaped = part * _curve(near, gain_db) ** 2
        sums = [shaped[a - first : b - first].sum() for a, b in spans]
        level = np.maximum(to_level(sums), HUSH_DB)
        step = np.minimum(gain_db + target - level, MOST_LIFT_DB) - gain_db
        gain_db += step
        if np.abs(step).max() < NEAR_DB:
            break
    return gain_db


def _curve(frequency, gain_db):
    """Linear gain over frequency, flat beyond the outer mid-bands."""
    decades = np.log10(np.maximum(frequency, EDGES[0, 0] / 10))
    return 10 ** (np.interp(decades, np.log10(EXACT), gain_db) / 20)


def _without_rumble(frequency):
    """Linear gain that rises from nothing to one over RUMBLE_HZ."""
    low, high = RUMBLE_HZ
    share = np.clip((frequency - low) / (high - low), 0, 1)
    return 0.5 - 0.5 * np.cos(np.pi * share)
