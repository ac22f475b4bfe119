"""How loud the system can be, how loud it may be, and for how long people may stand it."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands
from ..physics.exposure import permitted_hours
from .amplification import CLOSE_DB, REACHED_DB

HEARING = "hearing"  # what limits a use whose loudest seat has what is allowed
OUT_OF_REACH = "out of reach"


@dataclass(frozen=True, kw_only=True, eq=False)
class Loudness:
    """One use: what is wanted, what can be reached, what the loudest seats get."""

    use: str
    target_dba: float
    # mean speech level with all that amplifiers, loudspeakers and hearing allow, headroom kept
    reach_dba: float
    reach_db: np.ndarray  # the same in octaves (7,) [dB]
    # to spare until the first loudspeaker or its amplifier is at its limit, hearing apart
    headroom_db: float
    tag: str  # loudspeaker that reaches its limit first, or the loudest seat
    limited_by: str
    loudest_dba: float  # at the seat that gets most, at the use's level
    # that the system may be turned up (or must be down) until the loudest seat has what is allowed
    cap_db: float
    exposed_dba: float  # there with the noise of the use, by energy
    niosh_h: float  # hours a day with both at the loudest place, for people at work
    osha_h: float

    @property
    def spare_db(self):
        """Level to spare until amplifier, loudspeaker or hearing sets the limit [dB]."""
        return self.reach_dba - self.target_dba

    @property
    def word(self):
        """Whether the use's level is reached: "meets", "close" or "out of reach"."""
        if self.spare_db >= REACHED_DB:
            return "meets"
        return "close" if self.spare_db >= CLOSE_DB else OUT_OF_REACH

    @property
    def set_dba(self):
        """Mean speech level to set: the use's, or what can be reached if that is less [dB(A)]."""
        return min(self.target_dba, self.reach_dba)

    @property
    def limiter_db(self):
        """Where the limiter of the mean level stands over the level that is set, never below it
        [dB].
        """
        return self.cap_db + self.target_dba - self.set_dba


def loudness(result, amplification):
    """How loud one use can be and may be.

    Parameters
    ----------
    result : Result
        An evaluation
    amplification : Amplification
        What drives the loudspeakers

    Returns
    -------
    loudness : Loudness
        The limiter of the mean level belongs at ``limiter_db`` over the level that is set; what the
        limits of loudspeakers or hearing do not allow is out of reach

    Sources
    -------
    Hours: NIOSH 98-126 and OSHA 29 CFR 1910.95 (rules for people at work, not for students).
    """
    first = amplification.limiting[result.use.name]
    listened = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    loudest = float(result.speech_dba[listened].max())
    exposed = float(bands.sum_levels(np.array([loudest, float(bands.a_weighted(result.noise_db))])))
    weight = np.array([a.weight for a in result.areas]) / sum(a.weight for a in result.areas)
    mean = weight @ np.array(
        [bands.to_energy(result.total_db[a.points]).mean(axis=0) for a in result.areas]
    )
    cap_db = result.scenario.targets.loudest_dba - loudest
    spare_db = min(first.headroom_db, cap_db)
    by_hearing = cap_db < first.headroom_db
    return Loudness(
        use=result.use.name,
        target_dba=result.use.target_dba,
        reach_dba=result.use.target_dba + spare_db,
        reach_db=bands.to_level(mean) + spare_db,
        headroom_db=first.headroom_db,
        tag="loudest seat" if by_hearing else first.tag,
        limited_by=HEARING if by_hearing else first.limited_by,
        loudest_dba=loudest,
        cap_db=cap_db,
        exposed_dba=exposed,
        niosh_h=float(permitted_hours(exposed, "niosh")),
        osha_h=float(permitted_hours(exposed, "osha")),
    )
