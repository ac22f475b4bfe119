"""Where each open microphone stays clear of feedback, and which loudspeaker limits it."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands, feedback, intelligibility, microphones
from ..venue.microphones import Microphone

# 250 Hz to 4 kHz; speech microphones are high-passed below (common practice, no source)
BANDS = slice(1, 6)
FACINGS = np.arange(0.0, 360.0, 30.0)  # ways a talker may face when none is given [deg]
ROOM = -1  # "the room": the reverberant sound limits, not one loudspeaker


@dataclass(frozen=True, kw_only=True, eq=False)
class FeedbackMargin:
    """One open microphone, at one place or over all the places its talker walks."""

    microphone: Microphone
    places: np.ndarray  # (place, 3) [m]
    shape: tuple  # rows and columns of the places
    # gain still to be had, margin and open microphones taken off (place,) [dB]
    margin_db: np.ndarray
    band: np.ndarray  # octave that would ring first (place,)
    limited_by: np.ndarray  # loudspeaker that gives most in that octave, or ROOM (place,)
    needed_gain_db: float  # level at the listeners over the talker's level at the microphone [dB]

    @property
    def worst(self):
        """Index of the worst place."""
        return int(np.argmin(self.margin_db))

    @property
    def threshold_db(self):
        """Gain at which the worst place rings, nothing kept back [dB]."""
        kept = feedback.STABILITY_MARGIN_DB + self.open_mics_db
        return self.needed_gain_db + float(self.margin_db[self.worst]) + kept

    open_mics_db: float = 0.0  # 10 lg of the number of open microphones [dB]

    @property
    def clear(self):
        """Share of the places with spare gain, 0 to 1."""
        return float((self.margin_db >= 0).mean())


def feedback_margins(result):
    """Spare gain of every open microphone of the use.

    The loudspeakers play at the use's setting (or at what stands over its noise as asked, if that
    is more); the talker speaks at the microphone's usual effort and distance. Loop gain is what
    comes back over what the talker gives, octave by octave: direct sound through both patterns,
    reverberant sound through the microphone's mean over all directions.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    feedback_margins : tuple of FeedbackMargin
        One for each open microphone

    Sources
    -------
    Davis and Patronis, Sound System Engineering, for the gain method (from memory); margin 6 dB and
    10 lg NOM as in ``physics.feedback``.
    """
    opened = [m for m in result.scenario.microphones if m.name in result.use.microphones]
    return tuple(feedback_margin(result, m, len(opened)) for m in opened)


def feedback_margin(result, microphone, open_mics=1):
    """Spare gain of one microphone.

    Parameters
    ----------
    result : Result
        An evaluation
    microphone : Microphone
        Any microphone of the scenario, or a changed one
    open_mics : int
        How many are open at once [-]

    Returns
    -------
    feedback_margin : FeedbackMargin
        Spare gain at each place
    """
    kind = microphone.kind
    places, shape = microphone.positions(result.configuration)
    # (source, place, band)
    direct, distance = result.sources.direct(places, result.configuration.room.blocking)
    toward = (result.sources.position[:, None] - places) / distance[..., None]
    facings = FACINGS if microphone.facing_deg is None else np.array([microphone.facing_deg])
    pattern = np.array(kind.pattern)
    beamed = microphones.returned_by_facing(
        direct[..., BANDS], toward, pattern[BANDS], up_deg=kind.up_deg, facing_deg=facings
    )
    # (place, band)
    diffuse = (result.reverberant.at(places) * microphones.random_efficiency(pattern))[:, BANDS]
    talker_db = microphone.talker_dba + intelligibility.SPEECH_SPECTRUM_DB
    noise = float(bands.a_weighted(result.noise_db))
    wanted = max(result.use.target_dba, noise + result.scenario.targets.speech_to_noise_db)
    extra = bands.to_energy(wanted - result.use.target_dba)
    # worst facing (place, band)
    loop = (beamed.max(axis=0) + diffuse) * (extra / bands.to_energy(talker_db[BANDS]))
    octave, at = loop.argmax(axis=1), np.arange(len(places))
    facing = beamed[:, at, octave].argmax(axis=0)
    spare = (
        -bands.to_level(loop[at, octave])
        - feedback.STABILITY_MARGIN_DB
        - feedback.open_mics_db(open_mics)
    )
    band = octave + BANDS.start
    strongest = _strongest(direct, toward, kind, facings[facing], band)  # (source, place)
    loudest = strongest.argmax(axis=0)
    limited = np.where(strongest.sum(axis=0) > diffuse[at, octave], loudest, ROOM)
    return FeedbackMargin(
        microphone=microphone,
        places=places,
        shape=shape,
        margin_db=spare,
        band=band,
        limited_by=limited,
        needed_gain_db=wanted - microphone.talker_dba,
        open_mics_db=float(feedback.open_mics_db(open_mics)),
    )


def _strongest(direct, toward, kind, facing_deg, band):
    """What each source gives in the octave that rings first, the talker facing the worst way
    (source, place).
    """
    turn, up = np.radians(facing_deg), np.radians(kind.up_deg)
    axis = np.stack(
        [-np.cos(turn) * np.cos(up), -np.sin(turn) * np.cos(up), np.full_like(turn, np.sin(up))],
        axis=-1,
    )
    a = np.array(kind.pattern)[band]
    energy = np.take_along_axis(direct, band[None, :, None], axis=2)[..., 0]
    return energy * (a + (1 - a) * (toward * axis).sum(axis=-1)) ** 2


def walking_map(result, kind="hand-held wireless", facing_deg=None):
    """Spare gain of a wireless microphone over the whole floor, and over the stages that stand
    open.

    Parameters
    ----------
    result : Result
        An evaluation
    kind : str
        Type of microphone
    facing_deg : float, optional
        Where its talker looks; the worst way when left out [deg]

    Returns
    -------
    maps : list of FeedbackMargin
        One for the floor, one for each stage
    """
    configuration, count = result.configuration, max(1, len(result.use.microphones))
    stages = (["stage"] if configuration.stage and configuration.curtain_open else []) + [
        p.name for p in configuration.portable_stages
    ]
    walkers = [
        Microphone(name=place, type=kind, walks=place, facing_deg=facing_deg)
        for place in ("floor", *stages)
    ]
    return [feedback_margin(result, walker, count) for walker in walkers]


def names(result, limited_by):
    """Words for what limits a microphone.

    Parameters
    ----------
    result : Result
        An evaluation
    limited_by : int
        Of a ``FeedbackMargin`` [-]

    Returns
    -------
    words : str
        The loudspeaker's tag, or "the room"
    """
    return (
        "the room's own sound"
        if limited_by == ROOM
        else result.scenario.loudspeakers[limited_by].tag
    )
