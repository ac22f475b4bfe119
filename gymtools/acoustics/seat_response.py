"""What one seat hears as sound: the response of every loudspeaker at two ears and at a microphone.

Channels: left ear, right ear, a microphone without a head, in this order.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from ..physics import bands, head, intelligibility, playback, pulses, responses, tails
from ..venue.ears import ears
from .arrivals import talker_position
from .point_sound import point_sounds

EARS, MICROPHONE = slice(0, 2), 2  # channels
MOST_TRIM = 4.0  # an octave's energy is brought to that of the evaluation by so much at most [-]
EARLY_S = 0.1  # after the last reflection its pulse has died away [s]
TRIMS = 3  # times that the octaves are brought there: filters overlap


@dataclass(frozen=True, kw_only=True, eq=False)
class SeatResponse:
    """Responses at one seat in one use, one for each loudspeaker that plays, so that gains, delays
    and muting cost nothing. Speech of 0 dB(A) comes out at the level of the evaluation.
    """

    place: str  # area, row and seat, in words
    tags: tuple  # of the loudspeakers that play
    loudspeakers: tuple  # their indices among those of the scenario
    alone: tuple  # (channel, sample) float32 of each, its delay left out [-]
    delay_s: np.ndarray  # (loudspeaker,) [s]

    def together(self, *, delay_s=None, gain_db=None):
        """All loudspeakers as they sound together: their waves sum.

        Parameters
        ----------
        delay_s : array, optional
            Delay of each loudspeaker (loudspeaker,), 0 or more; those of the use when left out [s]
        gain_db : array, optional
            Turned up by so much, each (loudspeaker,); -inf mutes; 0 when left out [dB]

        Returns
        -------
        response : ndarray
            (channel, sample) float32 [-]
        """
        delays = self.delay_s if delay_s is None else np.asarray(delay_s, float)
        gains = np.zeros(len(self.alone)) if gain_db is None else np.asarray(gain_db, float)
        late = np.round(delays * playback.RATE).astype(int)
        count = max(
            (one.shape[1] + by for one, by in zip(self.alone, late, strict=True)), default=1
        )
        whole = np.zeros((3, count), np.float32)
        for one, by, gain in zip(self.alone, late, 10 ** (gains / 20), strict=True):
            whole[:, by : by + one.shape[1]] += np.float32(gain) * one
        return whole


def seat_response(result, index):
    """What a seat hears, as responses to be listened through.

    Parameters
    ----------
    result : Result
        An evaluation of the traced room
    index : int
        Which of the result's points [-]

    Returns
    -------
    response : SeatResponse
        At two ears and a microphone

    Raises
    ------
    ValueError
        No such point, or a room that is not traced

    Notes
    -----
    The listener faces the talker, else the way that the rows face. Direct sound and first
    reflections meet each ear from their direction through the dummy head of ``venue.ears``; the
    late sound comes from everywhere, alike at both ears as far as a diffuse field is.

    Within one loudspeaker the octaves are held to what the evaluation says of it; several
    loudspeakers sum as waves, so that together an octave may be louder or softer than its sum of
    energies.

    Sources
    -------
    As ``point_sounds``; heads: Gardner and Martin 1994; coherence: ``physics.head``.
    """
    if not 0 <= index < len(result.points):
        raise ValueError(f"seat {index} is not among the {len(result.points)} seats.")
    area = result.configuration.areas[str(result.area[index])]
    sounds = point_sounds(result, result.points[index])
    facing = _facing(result, index, area)
    number = index - result.spans[area.name].start
    tags = [c.tag for c in result.scenario.loudspeakers]
    return SeatResponse(
        place=f"{area.name}, {area.seat_words(number, result.scenario.units)}",
        tags=tuple(tags[s.loudspeaker] for s in sounds),
        loudspeakers=tuple(s.loudspeaker for s in sounds),
        alone=tuple(_heard(sound, facing) for sound in sounds),
        delay_s=np.array([result.sources.delay_s[s.loudspeaker] for s in sounds]),
    )


def level_db(response):
    """Octave levels of speech of 0 dB(A) through a response.

    Parameters
    ----------
    response : array
        Of one channel (sample,), or several (channel, sample) [-]

    Returns
    -------
    level : ndarray
        (band,) or (channel, band) [dB]
    """
    return bands.to_level(responses.octave_gain(response)) + intelligibility.SPEECH_SPECTRUM_DB


def _facing(result, index, area):
    """Where the listener looks (2,): at the talker, else where the rows do, else at the middle."""
    here = result.points[index]
    talker = talker_position(result.scenario, result.use, result.configuration)
    rows = area.points.reshape(area.rows, -1, 3).mean(axis=1)
    ways = [talker - here] if talker is not None else []
    for way in (*ways, rows[0] - rows[-1], -here):
        if np.hypot(*way[:2]) > 0.1:
            return way[:2] / np.hypot(*way[:2])
    return np.array([1.0, 0.0])


def microphone_response(sound):
    """What one loudspeaker brings to a point, as a microphone without a head has it.

    Parameters
    ----------
    sound : PointSound
        Of ``point_sounds``, perhaps weighed by the microphone's pattern

    Returns
    -------
    response : ndarray
        (sample,) float32, the loudspeaker's delay left out [-]
    """
    return _leveled(sound)[0]


def _leveled(sound):
    """One loudspeaker at a microphone (sample,), and by what its octaves were raised for that:
    energies of the first arrivals and of the late sound (band,) each.
    """
    amplitude, noise = tails.envelopes(sound.late), tails.loudspeaker_noise(sound.loudspeaker)[0]
    free = np.ones((len(sound.energy), 1, 1))
    gain = np.ones(len(bands.EXACT))
    found = responses.octave_gain(_first_arrivals(sound, free, gain)[0])
    trim = _toward(sound.energy.sum(axis=0), found)
    for last in range(TRIMS + 1):
        early = _first_arrivals(sound, free, trim)[0]
        late = tails.followed(amplitude, noise, np.sqrt(gain))
        both = _sum(sound, early, late)
        if last < TRIMS:
            off = _toward(sound.whole, responses.octave_gain(both))
            trim, gain = trim * off, gain * off
    return both, trim, gain


def _heard(sound, facing):
    """One loudspeaker at the ears and the microphone (channel, sample)."""
    free, trim, gain = _leveled(sound)
    ahead, left = sound.toward[:, :2] @ facing, sound.toward[:, :2] @ [-facing[1], facing[0]]
    azimuth = np.degrees(np.arctan2(left, ahead))
    elevation = np.degrees(np.arcsin(np.clip(sound.toward[:, 2], -1, 1)))
    through = fft.rfft(ears().responses(azimuth, elevation), n=pulses.LENGTH, axis=-1)
    # an arrival's time is that at the middle of the head
    through *= np.exp(2j * np.pi * ears().lead * fft.rfftfreq(pulses.LENGTH))
    early = _first_arrivals(sound, through, trim)
    amplitude = tails.envelopes(sound.late)
    pairs = zip(tails.loudspeaker_noise(sound.loudspeaker), _ear_shares(), strict=True)
    common, apart = (tails.followed(amplitude, n, np.sqrt(gain) * share) for n, share in pairs)
    sides = [_sum(sound, early[0], common + apart), _sum(sound, early[1], common - apart)]
    count = max(len(free), len(sides[0]))
    return np.array([np.pad(one, (0, count - len(one))) for one in (*sides, free)], np.float32)


def _toward(wanted, found):
    """By what an octave's energy is to be raised (band,)."""
    off = np.divide(wanted, found, out=np.ones_like(wanted), where=found > 0)
    return np.clip(off, 1 / MOST_TRIM, MOST_TRIM)


def _ear_shares():
    """How much of a first and of a second noise makes the sound at both ears (2, band)."""
    coherence = head.diffuse_coherence(bands.EXACT)
    return np.sqrt((1 + coherence) / 2), np.sqrt((1 - coherence) / 2)


def _first_arrivals(sound, channels, trim):
    """Direct sound and first reflections (channel, sample), through spectra of each arrival
    (arrival, channel, frequency).
    """
    spectrum = pulses.spectra(sound.energy * trim)
    count = int((sound.time_s.max() + EARLY_S) * playback.RATE)
    return pulses.placed(spectrum[:, None] * channels, sound.time_s, count)


def _sum(sound, early, late):
    """Early and late sound of one channel (sample,) float32."""
    begin = round(sound.late_from_s * playback.RATE)
    whole = np.zeros(max(begin + len(late), len(early)), np.float32)
    whole[: len(early)] += early
    whole[begin : begin + len(late)] += late
    return whole
