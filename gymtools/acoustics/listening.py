"""Listening to a seat: a program through what the seat hears, with what goes on around it."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..physics import bands, feedback_loop, head, intelligibility, noises, playback, responses
from ..venue.arguments import one_of
from ..venue.spectra import octave_levels
from .loop_response import loop_response
from .seat_response import EARS, MICROPHONE, level_db, seat_response

BACKGROUNDS = {  # what goes on around the listener, and its words
    "use": "noise of the use",
    "quiet": "quiet gym",
    "full": "full, shouting crowd",
}
# a full crowd: 92 to 98 dB(A) were measured at basketball games (Royster 1994; SHAPE America 2014;
# abstracts read) [dB(A)]
FULL_CROWD_DBA = 95.0
BALL_UNDER_DB = 6.0  # a ball that is dribbled, under the other noise of a game; by judgment [dB]
RINGS_DB = (6.0, 3.0, 1.0)  # how near to feedback a microphone can be heard [dB]
SEED = 7  # of the crowd: the same at every run
LOOP_S = 6.0  # after which the noise comes again [s]
MOST_RING_S = 12.0  # of a program through a loop that nearly rings [s]
KEPT = 24  # seats whose responses are kept


@dataclass(frozen=True, kw_only=True)
class Listening:
    """How a seat is listened to.

    Parameters
    ----------
    background : str
        One of ``BACKGROUNDS``
    delays : bool
        With the delays of the use; without them all loudspeakers are fed at once
    ears : bool
        Two ears with a head between them; False for one microphone, the same on both sides
    ring_db : float, optional
        How far below feedback the microphone that rings first is run; the level follows its gain.
        Without it no microphone is in the sound [dB]
    """

    background: str = "quiet"
    delays: bool = True
    ears: bool = True
    ring_db: float | None = None

    def __post_init__(self):
        one_of("background", self.background, BACKGROUNDS)


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """What is heard at a seat."""

    place: str  # area, row and seat, in words
    samples: np.ndarray  # left and right (2, sample) float32 at ``playback.RATE`` [re 20 uPa]
    # of the program where it sounds, as waves that sum, and with what comes back through a
    # microphone (that by the whole energy, not weighted) [dB(A)]
    speech_dba: float
    noise_dba: float  # -inf in a quiet gym [dB(A)]
    summed_db: float  # by how much the waves' sum is over the sum of energies [dB(A)]
    # of speech at the seat with this noise, from the energies of the evaluation; None where a
    # microphone nearly rings
    sti: float | None
    kind: str = "speech"  # of the program: "speech", "music" or "noise"

    @property
    def peak_db(self):
        """Highest peak [dB re 20 uPa]."""
        return float(20 * np.log10(max(np.abs(self.samples).max(), 1e-6)))


def listen(result, index, program, how=None):
    """What a seat hears of a program.

    Parameters
    ----------
    result : Result
        An evaluation of the traced room
    index : int
        Which of the result's points [-]
    program : Program
        What is played
    how : Listening, optional
        In a quiet gym, with delays, at two ears when left out

    Returns
    -------
    heard : Heard
        At its true level: differences between seats, options and uses are those of the gym

    Raises
    ------
    ValueError
        No such point, a room that is not traced, a use without a microphone to ring

    Sources
    -------
    As ``seat_response``, ``loop_response`` and ``physics.noises``.
    """
    how = how or Listening()
    seat = kept_response(result, index)
    delay_s = None if how.delays else np.zeros(len(seat.alone))
    response = seat.together(delay_s=delay_s)
    played, regained_db = program.samples, 0.0
    if how.ring_db is not None:
        loop = loop_response(result)
        if loop is None:
            raise ValueError(f"nothing can ring in '{result.use.name}': no microphone is open.")
        picked_up = played[: round(MOST_RING_S * playback.RATE)]
        played = feedback_loop.regenerated(picked_up, loop.response, how.ring_db)
        # the level follows the gain: as far as the reserve is another than it is now
        played = played * 10 ** ((loop.reserve_db - how.ring_db) / 20)
        regained_db = float(bands.to_level((played**2).sum() / (picked_up**2).sum()))
    channels = response[EARS] if how.ears else response[[MICROPHONE, MICROPHONE]]
    samples = responses.convolved(played, channels)
    around = noise_db(result, how.background)
    if how.background != "quiet":
        samples = samples + _around(result, how, around, samples.shape[1])
    level = level_db(response[MICROPHONE])
    return Heard(
        place=seat.place,
        samples=samples.astype(np.float32),
        speech_dba=float(bands.a_weighted(level)) + regained_db,
        noise_dba=float(bands.a_weighted(around)),
        summed_db=float(bands.a_weighted(level) - result.speech_dba[index]),
        sti=None if how.ring_db is not None else seat_sti(result, index, how),
        kind=program.kind,
    )


def kept_response(result, index):
    """The response of a seat, worked out once for as long as the evaluation is remembered.

    Parameters
    ----------
    result : Result
        An evaluation of the traced room
    index : int
        Which of the result's points [-]

    Returns
    -------
    response : SeatResponse
        As ``seat_response``

    Raises
    ------
    ValueError
        As ``seat_response``
    """
    cache = result.scenario.memory.cache("seats listened to", KEPT)
    # the evaluation itself is kept with it, so that its number stays its own
    return cache.get((id(result), index), lambda: (result, seat_response(result, index)))[1]


def seat_sti(result, index, how):
    """STI of a seat as it is listened to.

    Parameters
    ----------
    result : Result
        An evaluation
    index : int
        Which of the result's points [-]
    how : Listening
        Its noise and delays

    Returns
    -------
    sti : float
        That of the evaluation with the noise and the delays of the use [-]

    Sources
    -------
    As the evaluation's own: IEC 60268-16.
    """
    at = slice(index, index + 1)
    arrival_s = result.arrival_s[:, at]
    if not how.delays:
        arrival_s = arrival_s - result.sources.delay_s[:, None]
    mtf = result.reverberant.modulation(result.direct[:, at], arrival_s, result.points[at])[0]
    levels = dict(speech_db=result.total_db[index], noise_db=noise_db(result, how.background))
    return float(intelligibility.sti(mtf, **levels))


def noise_db(result, background):
    """Octave levels of what goes on around the listeners.

    Parameters
    ----------
    result : Result
        An evaluation
    background : str
        One of ``BACKGROUNDS``

    Returns
    -------
    level : ndarray
        (band,), -inf in a quiet gym [dB]
    """
    one_of("background", background, BACKGROUNDS)
    if background == "quiet":
        return np.full(len(bands.EXACT), -np.inf)
    if background == "use":
        return result.noise_db
    return octave_levels("shouting crowd", FULL_CROWD_DBA)


def _around(result, how, level, count):
    """Noise at both ears (2, sample)."""
    ball = how.background == "use" and result.use.noise_spectrum == "shouting crowd"
    pair = _crowd_and_ball(tuple(np.asarray(level).tolist()), ball, how.ears)
    return np.tile(pair, -(-count // pair.shape[1]))[:, :count]


@lru_cache(maxsize=4)
def _crowd_and_ball(level, ball, ears):
    """Some seconds of noise at both ears, to be repeated (2, sample); the same at every seat."""
    share = bands.to_energy(-BALL_UNDER_DB) if ball else 0.0
    crowd = noises.crowd_noise(level + bands.to_level(1 - share), LOOP_S, SEED, channels=2)
    pair = head.diffuse_pair(*crowd, playback.RATE) if ears else crowd[[0, 0]]
    if ball:
        dribbled = noises.ball_bounces(float(bands.a_weighted(level)) - BALL_UNDER_DB, LOOP_S)
        pair = pair + dribbled
    pair.setflags(write=False)
    return pair
