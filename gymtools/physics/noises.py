"""Noise of a gym, made by computation: many voices, and a ball on the floor."""

import numpy as np
from scipy import fft
from scipy.signal import butter, sosfilt

from .bands import EXACT, a_weighted, to_energy
from .checks import whole, within
from .decay import BANDWIDTH
from .playback import RATE, octave_levels_db, octave_lines

# how fast and how far a crowd of voices swells: syllables come 2 to 5 times a second; the depth is
# a judgment, one voice alone would have about 1
SWELL_HZ = (2.0, 5.0)
SWELL = 0.2  # root mean square of the amplitude's change, re its mean [-]
LEAST_SWELL = 0.2  # of the amplitude, re its mean [-]
GRAVITY = 9.81  # [m/s2]
DROP = 1.8  # height from which a ball is dropped [m]
# share of its speed that a ball keeps. It is dropped from 1.8 m (its underside) and comes up to
# 1.2 to 1.4 m (its top); less 0.24 m of diameter that is 0.73 to 0.80   rules of basketball
KEPT_SPEED = 0.77
REST_S = 0.12  # bounces that follow faster than this are left out [s]
AGAIN_S = 0.8  # from the last bounce to the next drop's first [s]
THUMP_S = 0.35  # [s]
# of a thump, by judgment: frequency [Hz], amplitude [-], time in which it falls by a factor e [s]
THUMP = (
    (95, 1.0, 0.035),
    (190, 0.8, 0.025),
    (410, 0.5, 0.016),
    (930, 0.25, 0.03),
    (2300, 0.1, 0.004),
)
CONTACT_S = 0.004  # in which a thump comes up [s]
SLAP = 0.15  # of noise in it, re its first part, falling with SLAP_S [-]
SLAP_S = 0.006  # [s]


def crowd_noise(levels_db, seconds, seed, *, channels=1, rate=RATE):
    r"""Noise of many voices with given octave levels, swelling slowly.

    Parameters
    ----------
    levels_db : array
        Sound pressure levels of the octaves, e.g. ``Use.noise`` (band,) [dB]
    seconds : float
        Length, 0.5 to 120 [s]
    seed : int
        Of the chance, 0 or more [-]
    channels : int
        1 to 8; each has noise of its own, all swell together [-]
    rate : int
        Sampling rate, 24 to 192 kHz [Hz]

    Returns
    -------
    samples : ndarray
        Sound pressure re 20 uPa, (channel, sample): a root mean square of 1 is 0 dB [-]

    Raises
    ------
    ValueError
        A value outside its range, or levels that are not seven

    Notes
    -----
    Gaussian noise from 89 Hz to 11.2 kHz, smooth over frequency. Each octave swells by itself at
    SWELL_HZ by SWELL, and every channel's octaves then are brought to the levels that were asked
    for, over the whole length, so that swelling changes no level. The end runs into the beginning
    without a step, so it can be played in a loop. The same inputs give the same samples.

    The channels are independent at all frequencies. Ears in a diffuse field hear nearly the same
    below some 500 Hz; whoever needs that must mix the channels.

    Sources
    -------
    Rate of the syllables: IEC 60268-16:2020, whose modulations are largest there (from memory);
    depth by judgment.
    """
    levels = within("levels_db", levels_db, -60, 140, "dB", "Give levels, not energies.")
    if levels.shape != EXACT.shape:
        raise ValueError(f"levels_db has shape {levels.shape}, not (7,): 125 Hz to 8 kHz.")
    seconds = float(within("seconds", seconds, 0.5, 120, "s", "Milliseconds given by mistake?"))
    rate = whole("rate", rate, 24_000, 192_000, "Kilohertz given by mistake?")
    chance = np.random.default_rng(whole("seed", seed, 0, 2**63 - 1))
    channels, length = whole("channels", channels, 1, 8), int(round(seconds * rate))
    spans = octave_lines(length, rate)
    swells = [_swell(chance, length, rate) for _ in EXACT]
    samples = np.zeros((channels, length))
    for channel in samples:
        even = _even_noise(chance, spans, levels, length, rate)
        for (low, high), swell in zip(spans, swells, strict=True):
            octave = np.zeros(length // 2 + 1, complex)
            octave[low:high] = even[low:high]
            channel += swell * fft.irfft(octave, length)
        channel[:] = _at_levels(channel, spans, levels, rate)
    return samples


def _even_noise(chance, spans, levels, length, rate):
    """Spectrum (line,) of steady noise, its decibels per hertz a line between the mid-bands."""
    first, last = spans[0, 0], spans[-1, 1]
    lines = np.zeros(length // 2 + 1, complex)
    frequency = np.arange(first, last) * rate / length
    density = np.interp(np.log(frequency), np.log(EXACT), levels - 10 * np.log10(BANDWIDTH))
    pair = chance.standard_normal((2, last - first))
    lines[first:last] = 10 ** (density / 20) * (pair[0] + 1j * pair[1])
    return lines * np.sqrt(length * rate / 4)  # one line is rate / length wide


def _swell(chance, length, rate):
    """Amplitude over time (sample,), about one."""
    lines = np.zeros(length // 2 + 1, complex)
    low, high = (int(np.ceil(f * length / rate)) for f in SWELL_HZ)
    pair = chance.standard_normal((2, high - low))
    lines[low:high] = pair[0] + 1j * pair[1]
    change = fft.irfft(lines, length)
    return np.maximum(1 + SWELL * change / np.sqrt(np.mean(change**2)), LEAST_SWELL)


def _at_levels(samples, spans, levels, rate):
    """The same sound with its octaves at their levels, and nothing outside them."""
    gains = 10 ** ((levels - octave_levels_db(samples, rate)) / 20)
    lines = fft.rfft(samples)
    lines[: spans[0, 0]] = 0
    lines[spans[-1, 1] :] = 0
    for (low, high), gain in zip(spans, gains, strict=True):
        lines[low:high] *= gain
    return fft.irfft(lines, len(samples))


def ball_bounces(level_dba, seconds, *, rate=RATE):
    r"""A ball that is dropped on a floor, bounces until it rests, is dropped again: synthesized.

    .. math::
        t_{n+1} - t_n = 2 k^n \sqrt{2 h / g}, \qquad p_n \propto k^n

    Parameters
    ----------
    level_dba : float
        A-weighted energy-mean level over the whole length, -20 to 140 [dB]
    seconds : float
        Length, 0.5 to 120 [s]
    rate : int
        Sampling rate, 24 to 192 kHz [Hz]

    Returns
    -------
    samples : ndarray
        Sound pressure re 20 uPa, dry (sample,): a root mean square of 1 is 0 dB. The first bounce
        comes at once [-]

    Raises
    ------
    ValueError
        A value outside its range

    Notes
    -----
    When the bounces come, and that each is weaker by the speed it lost, is mechanics; what one
    thump sounds like (THUMP) is a judgment, not a recording.

    Sources
    -------
    Free fall; rules of basketball: dropped from 1.8 m, measured to its underside, the ball comes
    up to 1.2 to 1.4 m, measured to its top.
    """
    level = float(within("level_dba", level_dba, -20, 140, "dB(A)"))
    seconds = float(within("seconds", seconds, 0.5, 120, "s", "Milliseconds given by mistake?"))
    rate = whole("rate", rate, 24_000, 192_000, "Kilohertz given by mistake?")
    samples = np.zeros(int(round(seconds * rate)))
    thump = _thump(rate)
    for time, strength in bounces(seconds):
        at = int(round(time * rate))
        part = samples[at : at + len(thump)]
        part += strength * thump[: len(part)]
    # a thump that is cut off at the end must not click
    ramp = np.linspace(1, 0, int(0.01 * rate))
    samples[-len(ramp) :] *= ramp
    have = a_weighted(octave_levels_db(samples, rate))
    return samples * np.sqrt(to_energy(level) / to_energy(have))


def bounces(seconds):
    """When a ball meets the floor, and how hard.

    Parameters
    ----------
    seconds : float
        Length of time [s]

    Returns
    -------
    found : list of tuple
        (time [s], speed re that of the first bounce of a drop [-]), in order of time
    """
    found, time, strength = [], 0.0, 1.0
    while time < seconds:
        found.append((time, strength))
        strength *= KEPT_SPEED
        gap = 2 * strength * np.sqrt(2 * DROP / GRAVITY)
        if gap < REST_S:
            gap, strength = AGAIN_S, 1.0
        time += gap
    return found


def _thump(rate):
    """One bounce (sample,), without DC."""
    time = np.arange(int(THUMP_S * rate)) / rate
    sound = sum(a * np.sin(2 * np.pi * f * time) * np.exp(-time / fall) for f, a, fall in THUMP)
    noise = np.random.default_rng(1).standard_normal(len(time))
    sound = sound + SLAP * noise * np.exp(-time / SLAP_S)
    sound *= np.minimum(time / CONTACT_S, 1.0)
    sound *= np.clip((THUMP_S - time) / 0.05, 0, 1)
    band = butter(2, (60.0, 8000.0), "bandpass", fs=rate, output="sos")
    return sosfilt(band, sound)
