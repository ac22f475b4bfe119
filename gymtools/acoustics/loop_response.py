"""The loop of the microphone that rings first, as a response to be listened through."""

from dataclasses import dataclass, replace

import numpy as np

from ..physics import microphones, playback
from ..physics.feedback_loop import ring_point
from .feedback import BANDS, FACINGS
from .point_sound import point_sounds
from .seat_response import microphone_response


@dataclass(frozen=True, kw_only=True, eq=False)
class LoopResponse:
    """What comes back to a microphone of what it picks up."""

    microphone: str  # its name
    # as it is run now, re a talker of 0 dB(A) at the microphone (sample,) [-]
    response: np.ndarray
    talker_dba: float  # speech at the microphone [dB(A)]

    @property
    def reserve_db(self):
        """How far below its ring point it is run now; negative where it would ring [dB]."""
        return 20 * np.log10(ring_point(self.response)[0]) + self.talker_dba


def loop_response(result):
    """The loop of the microphone with the least feedback margin, at its worst position.

    Parameters
    ----------
    result : Result
        An evaluation of the traced room

    Returns
    -------
    loop : LoopResponse or None
        None for a use without a microphone

    Raises
    ------
    ValueError
        The room is not traced

    Notes
    -----
    The octaves carry what the feedback margin is worked out from: direct sound and reflections
    through the microphone's pattern, late sound through its mean over all directions; below 250 Hz
    and above 4 kHz the microphone hears nothing of it. A talker whose facing is not given faces the
    way in which most comes back directly.

    Sources
    -------
    As ``feedback_margin``.
    """
    if not result.microphones:
        return None
    margin = min(result.microphones, key=lambda m: float(m.margin_db.min()))
    sounds = point_sounds(result, margin.positions[margin.worst])
    kind = margin.microphone.kind
    known = margin.microphone.facing_deg
    facings = FACINGS if known is None else [known]
    heard = max(
        ([_picked_up(s, kind, facing) for s in sounds] for facing in facings),
        key=lambda some: sum(float(s.energy.sum()) for s in some),
    )
    late = [round(result.sources.delay_s[s.loudspeaker] * playback.RATE) for s in heard]
    alone = [microphone_response(s) for s in heard]
    whole = np.zeros(max(len(one) + by for one, by in zip(alone, late, strict=True)))
    for one, by in zip(alone, late, strict=True):
        whole[by : by + len(one)] += one
    talker_dba = float(margin.microphone.talker_dba)
    return LoopResponse(microphone=margin.microphone.name, response=whole, talker_dba=talker_dba)


def _picked_up(sound, kind, facing_deg):
    """What a microphone of a kind picks up, its talker facing some way."""
    turn, up = np.radians(facing_deg), np.radians(kind.up_deg)
    axis = [-np.cos(turn) * np.cos(up), -np.sin(turn) * np.cos(up), np.sin(up)]
    pattern = np.array(kind.pattern)  # (band,)
    heard = np.zeros(len(pattern))
    heard[BANDS] = 1.0
    cosine = (sound.toward @ axis)[:, None]
    turned = (pattern + (1 - pattern) * cosine) ** 2 * heard
    efficiency = microphones.random_efficiency(pattern) * heard
    return replace(sound, energy=sound.energy * turned, late=sound.late * efficiency)
