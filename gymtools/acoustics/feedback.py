"""Feedback margin of every open microphone, and the loudspeaker that limits it."""

from dataclasses import dataclass, replace

import numpy as np

from ..physics import bands, feedback, intelligibility, microphones
from ..venue.microphones import Microphone

# 250 Hz to 4 kHz; speech microphones are high-passed below (common practice, no source)
BANDS = slice(1, 6)
BANDWIDTH_HZ = bands.EXACT[BANDS] * (np.sqrt(2) - np.sqrt(0.5))
FACINGS = np.arange(0.0, 360.0, 30.0)  # ways a talker may face when none is given [deg]
ROOM = -1  # instead of a loudspeaker's index: the reverberant sound limits


@dataclass(frozen=True, kw_only=True, eq=False)
class FeedbackMargin:
    """One open microphone, at one position or at all positions its talker walks to."""

    microphone: Microphone
    positions: np.ndarray  # (position, 3) [m]
    shape: tuple  # rows and columns of the positions
    # gain in reserve; peak allowance, stability margin and open microphones are taken off
    # (position,) [dB]
    margin_db: np.ndarray
    band: np.ndarray  # octave that would ring first (position,)
    # index of the loudspeaker that gives most in that octave, or ``ROOM`` (position,)
    limited_by: np.ndarray
    # by how much the frequency that rings first stands over its octave's mean, what ringing out
    # buys taken off (position,) [dB]
    peak_allowance_db: np.ndarray
    needed_gain_db: float  # level at the listeners over the talker's level at the microphone [dB]
    open_mics_db: float = 0.0  # 10 lg of the number of open microphones [dB]

    @property
    def worst(self):
        """Index of the worst position [-]."""
        return int(np.argmin(self.margin_db))

    @property
    def threshold_db(self):
        """Feedback threshold: gain at which the worst position rings [dB]."""
        kept = feedback.STABILITY_MARGIN_DB + self.open_mics_db
        return self.needed_gain_db + float(self.margin_db[self.worst]) + kept

    @property
    def safe_share(self):
        """Share of the positions with gain in reserve, 0 to 1 [-]."""
        return float((self.margin_db >= 0).mean())


def feedback_margins(result):
    """Feedback margin of every open microphone of the use.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    feedback_margins : tuple of FeedbackMargin
        One for each open microphone; where they are mixed automatically each counts as the only one

    Sources
    -------
    As ``feedback_margin``.
    """
    opened = [m for m in result.scenario.microphones if m.name in result.use.microphones]
    count = result.scenario.open_at_once(result.use)
    return tuple(feedback_margin(result, m, count) for m in opened)


def feedback_margin(result, microphone, open_mics=1):
    """Feedback margin of one microphone.

    The loudspeakers play at the use's setting (or at the level asked for over its noise, if that is
    more); the talker speaks at the microphone's usual effort and distance. Loop gain is what comes
    back over what the talker gives, octave by octave: direct sound through both patterns,
    reverberant sound through the microphone's mean over all directions. A talker whose facing is
    not given faces the worst way.

    Parameters
    ----------
    result : Result
        An evaluation
    microphone : Microphone
        Any microphone of the scenario, or a changed one
    open_mics : int
        How many are open at once, 1 to 1000 [-]

    Returns
    -------
    feedback_margin : FeedbackMargin
        At each of its positions

    Raises
    ------
    ValueError
        ``open_mics`` out of range

    Sources
    -------
    Davis and Patronis, Sound System Engineering, for the gain method (from memory); peak allowance,
    margin 6 dB and 10 lg NOM as in ``physics.feedback``.
    """
    positions, shape = microphone.positions(result.configuration)
    wanted_dba = _wanted_dba(result)
    open_mics_db = float(feedback.open_mics_db(open_mics))
    loop = _Loop.of(result, microphone, positions)
    talker_db = microphone.talker_dba + intelligibility.SPEECH_SPECTRUM_DB  # (band,)
    raised = bands.to_energy(wanted_dba - result.use.target_dba)
    mean = loop.beamed + loop.diffuse  # by facing (facing, position, octave of ``BANDS``)
    peak = _peak(result, loop, mean)
    rings = peak * (raised / bands.to_energy(talker_db[BANDS])).astype(np.float32)
    octave = rings.max(axis=0).argmax(axis=1)
    at = np.arange(len(positions))
    facing = rings[:, at, octave].argmax(axis=0)  # the worst way
    first = facing, at, octave
    return FeedbackMargin(
        microphone=microphone,
        positions=positions,
        shape=shape,
        margin_db=-bands.to_level(rings[first]) - feedback.STABILITY_MARGIN_DB - open_mics_db,
        band=octave + BANDS.start,
        limited_by=loop.limited_by(facing, octave),
        peak_allowance_db=bands.to_level(peak[first] / np.maximum(mean[first], 1e-30)),
        needed_gain_db=wanted_dba - microphone.talker_dba,
        open_mics_db=open_mics_db,
    )


def _peak(result, loop, mean):
    """What comes back at the frequency that rings first, less what ringing out buys, at least the
    octave's mean (facing, position, octave of ``BANDS``).
    """
    decay, formula = result.own_decay.t20[BANDS], result.rt[BANDS]
    rt = np.clip(np.where(np.isfinite(decay), decay, formula), 0.05, 30)
    rest = np.maximum(mean - loop.strongest, 0)
    found = feedback.peak_energy(loop.strongest, rest, *np.float32([rt, BANDWIDTH_HZ]))
    return np.maximum(found / np.float32(bands.to_energy(feedback.RINGING_OUT_DB)), mean)


def _wanted_dba(result):
    """Level at the listeners: the use's target, or as asked over its noise, if that is more."""
    noise_dba = float(bands.a_weighted(result.noise_db))
    return max(result.use.target_dba, noise_dba + result.scenario.targets.speech_to_noise_db)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Loop:
    """What comes back to a microphone at each of its positions."""

    kind: object  # its type
    facings: np.ndarray  # of the talker (facing,) [deg]
    direct: np.ndarray  # (source, position, 7) [re 20 uPa squared]
    toward: np.ndarray  # unit vectors to the loudspeakers (source, position, 3)
    beamed: np.ndarray  # direct sound through the pattern (facing, position, octave of ``BANDS``)
    strongest: np.ndarray  # its part that comes from the loudspeaker that gives most
    diffuse: np.ndarray  # reverberant sound through it (position, octave of ``BANDS``)

    @classmethod
    def of(cls, result, microphone, positions):
        """Of one microphone at several positions."""
        kind, pattern = microphone.kind, np.array(microphone.kind.pattern)
        direct, distance = result.sources.direct(positions, result.configuration.room.screens)
        toward = (result.sources.position[:, None] - positions) / distance[..., None]
        known = microphone.facing_deg
        facings = FACINGS if known is None else np.array([known])
        efficiency = microphones.random_efficiency(pattern)
        heard = direct[..., BANDS], toward, pattern[BANDS]
        turned = dict(up_deg=kind.up_deg, facing_deg=facings)
        beamed, strongest = microphones.all_and_strongest(*heard, **turned)
        return cls(
            kind=kind,
            facings=facings,
            direct=direct,
            toward=toward,
            beamed=beamed,
            strongest=strongest,
            diffuse=(result.reverberant.at(positions) * efficiency)[:, BANDS].astype(np.float32),
        )

    def limited_by(self, facing, octave):
        """Loudspeaker that gives most in an octave at each position, or ``ROOM`` (position,)."""
        returned = self._returned(self.facings[facing], octave + BANDS.start)  # (source, position)
        direct_limits = returned.sum(axis=0) > self.diffuse[np.arange(len(octave)), octave]
        return np.where(direct_limits, returned.argmax(axis=0), ROOM)

    def _returned(self, facing_deg, band):
        """What each loudspeaker gives in one octave at each position (source, position)."""
        turn, up = np.radians(facing_deg), np.radians(self.kind.up_deg)
        axis = np.stack(
            [
                -np.cos(turn) * np.cos(up),
                -np.sin(turn) * np.cos(up),
                np.full_like(turn, np.sin(up)),
            ],
            axis=-1,
        )
        a = np.array(self.kind.pattern)[band]
        energy = np.take_along_axis(self.direct, band[None, :, None], axis=2)[..., 0]
        return energy * (a + (1 - a) * (self.toward * axis).sum(axis=-1)) ** 2


def walking_map(result, microphone_type="hand-held wireless", facing_deg=None):
    """Feedback margin of a wireless microphone over the whole floor, and over the open stages.

    Parameters
    ----------
    result : Result
        An evaluation
    microphone_type : str
        Name of a type of microphone
    facing_deg : float, optional
        Where its talker looks; the worst way when left out [deg]

    Returns
    -------
    maps : list of FeedbackMargin
        One for the floor, one for each stage

    Raises
    ------
    ValueError
        An unknown type of microphone
    """
    return microphone_map(
        result, Microphone(name="walker", type=microphone_type, facing_deg=facing_deg)
    )


def microphone_map(result, microphone):
    """Feedback margin of a microphone, were it carried over the whole floor and the open stages, at
    its distance from the mouth and its talker's effort.

    Parameters
    ----------
    result : Result
        An evaluation
    microphone : Microphone
        Any microphone

    Returns
    -------
    maps : list of FeedbackMargin
        One for the floor, one for each stage
    """
    configuration, count = result.configuration, max(1, result.scenario.open_at_once(result.use))
    stages = [platform.name for platform in configuration.portable_stages]
    if configuration.stage and configuration.curtain_open:
        stages.insert(0, "stage")
    carried = [replace(microphone, name=area, walks=area) for area in ("floor", *stages)]
    return [feedback_margin(result, walker, count) for walker in carried]


def limit_name(result, limited_by):
    """Name of what limits a microphone.

    Parameters
    ----------
    result : Result
        An evaluation
    limited_by : int
        Of a ``FeedbackMargin`` [-]

    Returns
    -------
    name : str
        The loudspeaker's tag, or "the room's own sound"
    """
    if limited_by == ROOM:
        return "the room's own sound"
    return result.scenario.loudspeakers[limited_by].tag
