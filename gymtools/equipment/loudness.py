"""How loud the system can be, how loud it may be, and for how long people may stand it."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands
from ..physics.exposure import permitted_hours


@dataclass(frozen=True, kw_only=True, eq=False)
class Loudness:
    """One use: what is wanted, what can be reached, what the nearest seats get."""

    use: str
    target_dba: float
    reach_dba: (
        float  # mean speech level with all that amplifiers and loudspeakers have, headroom kept
    )
    reach_db: np.ndarray  # the same in octaves (7,) [dB]
    headroom_db: float  # to spare until the first loudspeaker or its amplifier is at its limit
    tag: str  # loudspeaker that reaches its limit first
    limited_by: str
    word: str
    loudest_dba: float  # at the place that gets most, at the use's level
    # that the system may be turned up (or must be down) until the loudest place has what is allowed
    cap_db: float
    exposed_dba: float  # there with the noise of the use, by energy
    niosh_h: float  # hours a day with both at the loudest place, for people at work
    osha_h: float


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
        The limiter belongs at ``cap_db`` over the use's level

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
    return Loudness(
        use=result.use.name,
        target_dba=result.use.target_dba,
        reach_dba=result.use.target_dba + first.headroom_db,
        reach_db=bands.to_level(mean) + first.headroom_db,
        headroom_db=first.headroom_db,
        tag=first.tag,
        limited_by=first.limited_by,
        word=first.word,
        loudest_dba=loudest,
        cap_db=result.scenario.targets.loudest_dba - loudest,
        exposed_dba=exposed,
        niosh_h=float(permitted_hours(exposed, "niosh")),
        osha_h=float(permitted_hours(exposed, "osha")),
    )
