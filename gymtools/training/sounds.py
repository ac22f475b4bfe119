"""Sounds that a lesson makes itself, without a gym: level steps, octaves, a decay, arrivals, a
crowd.

A sound is (2, sample) at ``physics.playback.RATE`` re 20 uPa, left and right alike unless said.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft
from scipy.optimize import brentq

from ..physics import intelligibility, noises, responses, tails
from ..physics.bands import to_energy
from ..physics.playback import RATE
from ..venue.programs import labels, program
from ..venue.spectra import octave_levels

SPOKEN = next(iter(labels()))  # program of a lesson where it names none
ONE_SEED = 7  # of a crowd: the same in every sound
POP_S = 0.002  # of a balloon's bang    assumption [s]
# its energy at the ear: that of the room's sound at the start, for so long. Where a gym rings for
# 1.5 s it is a quarter of the room's: a seat at twice the critical distance    assumption
POP_DIRECT_S = 0.03
TAIL_PARTS = 1.2  # of its decay time, as long as a tail is followed [-]
ROOM_ALONE_DB = -40.0  # direct sound over the room's own where hardly any is left [dB]
LOUDEST_DBA = 120.0  # as far as the masking in the ear is followed [dB(A)]


def at_level(level_dba, played=SPOKEN):
    """Dry speech at a level.

    Parameters
    ----------
    level_dba : float
        Of the speech [dB(A)]
    played : str
        Key of ``venue.programs.labels``

    Returns
    -------
    sound : ndarray
        (2, sample) [re 20 uPa]
    """
    samples = program(played).samples * 10 ** (level_dba / 20)
    return np.stack([samples, samples])


def in_octaves(level_dba, gains_db, played=SPOKEN):
    """Dry speech with each octave louder or softer by so much.

    Parameters
    ----------
    level_dba : float
        Of the speech before that [dB(A)]
    gains_db : array
        By octave, minus infinity for one that is left out (band,) [dB]
    played : str
        Key of ``venue.programs.labels``

    Returns
    -------
    sound : ndarray
        (2, sample), without what lies outside the seven octaves [re 20 uPa]
    """
    samples = program(played).samples * 10 ** (level_dba / 20)
    # as long again in silence, so that what the filter spreads does not come round to the start
    length = fft.next_fast_len(2 * samples.size, real=True)
    gain = 10 ** (np.asarray(gains_db, float) / 20)
    window = np.sqrt(np.tensordot(gain**2, tails.octave_windows(length) ** 2, axes=1))
    heard = fft.irfft(fft.rfft(samples, length) * window, length)[: samples.size]
    return np.stack([heard, heard])


def in_room(rt, level_dba, direct_db=0.0, played=SPOKEN):
    """Speech in a room that rings alike in all octaves.

    Parameters
    ----------
    rt : float
        Reverberation time [s]
    level_dba : float
        Of direct and room sound together [dB(A)]
    direct_db : float
        Direct sound over the room's own sound [dB]
    played : str
        Key of ``venue.programs.labels``

    Returns
    -------
    sound : ndarray
        (2, sample), the room's own sound another one in each ear [re 20 uPa]
    """
    response = room_response(rt, direct_db)
    return responses.convolved(program(played).samples * 10 ** (level_dba / 20), response)


def room_response(rt, direct_db=0.0):
    """Impulse response of a room that rings alike in all octaves.

    Parameters
    ----------
    rt : float
        Reverberation time [s]
    direct_db : float
        Direct sound over the room's own sound [dB]

    Returns
    -------
    response : ndarray
        (2, sample), of an energy of about 1 in each ear [-]
    """
    direct, room = _shares(direct_db)
    steps = max(2, round(TAIL_PARTS * rt / tails.STEP_S))
    course = 10 ** (-6 * np.arange(steps) * tails.STEP_S / rt)
    course *= room / course.sum()
    amplitude = tails.envelopes(np.repeat(course[:, None], 7, axis=1))
    response = np.stack([tails.followed(amplitude, ear) for ear in tails.even_noise(0)])
    response[:, 0] += np.sqrt(direct)
    return response


def pop(rt, level_dba=85.0, seconds=4.0):
    """A balloon pop in a room that rings alike in all octaves: a click, and what the
    room makes of it.

    The same balloon in every room: its click, and the room's sound at the start, are as loud for
    any decay time. A longer decay is louder as a whole, as it is in a gym.

    Parameters
    ----------
    rt : float
        Reverberation time [s]
    level_dba : float
        Of the click, over its 2 ms, as its samples are [dB]
    seconds : float
        How long it is [s]

    Returns
    -------
    sound : ndarray
        (2, sample), the tail another one in each ear [re 20 uPa]
    """
    course = 10 ** (-6 * np.arange(round(seconds / tails.STEP_S)) * tails.STEP_S / rt)
    amplitude = tails.envelopes(np.repeat(course[:, None], 7, axis=1))
    response = np.stack([tails.followed(amplitude, ear) for ear in tails.even_noise(0)])
    click = np.linspace(1, -1, round(POP_S * RATE))  # up at once, down, back: a bang from near by
    click *= np.sqrt(POP_DIRECT_S / tails.STEP_S / (click**2).sum())
    response[:, : click.size] += click
    return response * 10 ** (level_dba / 20) / np.sqrt((click**2).mean())


def arrivals(delays_s, levels_db, level_dba, played=SPOKEN):
    """Speech that arrives several times: a comb where the times are short, an echo where long.

    Parameters
    ----------
    delays_s : sequence of float
        Time of each arrival [s]
    levels_db : sequence of float
        Level of each, re the first [dB]
    level_dba : float
        Of the first arrival [dB(A)]
    played : str
        Key of ``venue.programs.labels``

    Returns
    -------
    sound : ndarray
        (2, sample) [re 20 uPa]
    """
    response = np.zeros((2, round(max(delays_s) * RATE) + 1))
    for delay, level in zip(delays_s, levels_db, strict=True):
        response[:, round(delay * RATE)] += 10 ** (level / 20)
    return responses.convolved(program(played).samples * 10 ** (level_dba / 20), response)


def over_crowd(sound, noise_dba, spectrum="shouting crowd"):
    """A sound with a crowd around it.

    Parameters
    ----------
    sound : array
        (2, sample) [re 20 uPa]
    noise_dba : float
        Of the crowd [dB(A)]
    spectrum : str
        Name in the package's table of spectra

    Returns
    -------
    sound : ndarray
        (2, sample), the crowd another one in each ear [re 20 uPa]
    """
    levels, seconds = octave_levels(spectrum, noise_dba), sound.shape[1] / RATE
    crowd = noises.crowd_noise(levels, max(0.5, seconds), ONE_SEED, channels=2)
    return sound + crowd[:, : sound.shape[1]]


def sti_of(level_dba, *, rt=0.0, direct_db=np.inf, noise_dba=-np.inf, spectrum="shouting crowd"):
    """STI of speech as the sounds of this module have it.

    Parameters
    ----------
    level_dba : float
        Of the speech, direct and room sound together [dB(A)]
    rt : float
        Reverberation time [s]
    direct_db : float
        Direct sound over the room's own sound; infinite where there is no room [dB]
    noise_dba : float
        Of the crowd; minus infinite where there is none [dB(A)]
    spectrum : str
        Of the crowd

    Returns
    -------
    sti : float
        Speech transmission index [-]

    Sources
    -------
    IEC 60268-16:2020, annex A, as ``physics.intelligibility``.
    """
    direct, room = _shares(direct_db)
    ones = np.ones((1, 7))
    mtf = intelligibility.modulation_transfer(
        direct * ones[None], [[0.0]], reverberant=room * ones, rt=np.full(7, rt)
    )[0]
    speech = level_dba + intelligibility.SPEECH_SPECTRUM_DB
    noise = octave_levels(spectrum, noise_dba) if np.isfinite(noise_dba) else None
    return float(intelligibility.sti(mtf, speech_db=speech, noise_db=noise))


@dataclass(frozen=True, kw_only=True)
class Alike:
    """Three disturbances that leave the same STI, each alone."""

    sti: float  # of each [-]
    level_dba: float  # of speech with noise, and of speech in the room [dB(A)]
    noise_dba: float  # crowd around that speech, no room [dB(A)]
    rt: float  # of a room with hardly any direct sound, no crowd [s]
    loud_dba: float  # level of speech that nothing disturbs but its own loudness [dB(A)]


def alike(sti, level_dba=70.0):
    """Noise, reverberation and loudness that leave the same STI, each alone.

    Parameters
    ----------
    sti : float
        Wanted, 0.70 to 0.95: loudness alone takes no more than that [-]
    level_dba : float
        Of speech with noise, and in the room [dB(A)]

    Returns
    -------
    found : Alike
        Each within 0.0001 of the wanted STI

    Raises
    ------
    ValueError
        One of the three cannot leave that STI

    Sources
    -------
    As ``sti_of``. What loudness takes is masking in the ear: a loudspeaker at a safe level cannot
    play it.
    """

    def solve(of, low, high):
        if not min(of(low), of(high)) < sti < max(of(low), of(high)):
            raise ValueError(f"an STI of {sti:g} is not to be had by noise, room and loudness.")
        return float(brentq(lambda value: of(value) - sti, low, high, xtol=1e-4))

    def with_noise(noise):
        return sti_of(level_dba, noise_dba=noise)

    def with_room(rt):
        return sti_of(level_dba, rt=rt, direct_db=ROOM_ALONE_DB)

    return Alike(
        sti=sti,
        level_dba=level_dba,
        noise_dba=solve(with_noise, level_dba - 40, level_dba + 20),
        rt=solve(with_room, 0.05, 10.0),
        loud_dba=solve(sti_of, 80.0, LOUDEST_DBA),
    )


def _shares(direct_db):
    """Shares of direct and room sound, together 1."""
    if np.isinf(direct_db):
        return 1.0, 0.0
    over = float(to_energy(direct_db))
    return over / (1 + over), 1 / (1 + over)
