"""Verdicts: each criterion in words, with the number, the place and where its target comes from."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands, intelligibility, reverberation
from ..venue.targets import SOURCES

WORDS = ("holds", "close", "falls short", "out of reach")  # from best to worst
SHOWN = {"dB": 0.05, "dB(A)": 0.05, "%": 0.5, "": 0.005, "s": 0.05}  # half the last digit shown: no verdict turns on less
CLOSE = {"dB": 1.0, "dB(A)": 1.0, "%": 5.0, "": 0.03, "s": 0.15}  # a miss by no more than this is "close"; STI: a just noticeable step
OCTAVES = ("1 kHz", "2 kHz", "4 kHz")


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """One criterion in one area (or in the room): a word, the number, the target and its source, and why."""

    criterion: str
    area: str
    value: float
    target: float
    unit: str
    word: str
    sentence: str
    source: str


def judge(result):
    """Verdicts of one evaluation.

    Parameters
    ----------
    result : Result
        What ``evaluate`` found; ``areas`` filled in [-]

    Returns
    -------
    verdicts : tuple of Verdict
        Area by area, then the room
    """
    verdicts = [v for area in result.areas for v in _judge_area(result, area)]
    return (*verdicts, *_judge_room(result))


def _verdict(key, criterion, area, value, target, unit, why, *, more_is_better, limit=None):
    margin = (value - target) if more_is_better else (target - value)
    if margin >= -SHOWN[unit]:
        word = "holds"
    elif margin >= -CLOSE[unit]:
        word = "close"
    else:
        word = "falls short"
    if word != "holds" and limit:
        word, why = "out of reach", limit
    return Verdict(
        criterion=criterion, area=area, value=value, target=target, unit=unit, word=word, sentence=why, source=SOURCES[key]
    )


def _judge_area(result, area):
    targets, name = result.scenario.targets, area.name
    octave = int(np.argmax(area.spread_db))
    spread = area.spread_db[octave]
    yield _verdict(
        "spread_db", "evenness", name, spread, targets.spread_db, "dB",
        f"nine tenths of the places lie within {spread:.1f} dB at {OCTAVES[octave]} (direct sound); asked for: {targets.spread_db:g} dB",
        more_is_better=False,
    )  # fmt: skip
    near = 100 * area.within_3db
    yield _verdict(
        "within_3db_pct", "places near the mean", name, near, targets.within_3db_pct, "%",
        f"{near:.0f} % of the places are within 3 dB of the area's mean; asked for: {targets.within_3db_pct:g} %",
        more_is_better=True,
    )  # fmt: skip
    yield _verdict(
        "worst_seat_db", "worst place", name, -area.worst_db, targets.worst_seat_db, "dB",
        f"{area.worst_place} is {-area.worst_db:.1f} dB below the area's mean; allowed: {targets.worst_seat_db:g} dB",
        more_is_better=False,
    )  # fmt: skip
    noise = float(bands.a_weighted(result.noise_db))
    need = noise + targets.over_noise_db
    limit = None
    if need > targets.loudest_dba:
        limit = f"the noise is {noise:.0f} dB(A); {targets.over_noise_db:g} dB over it would be {need:.0f}, beyond the {targets.loudest_dba:g} dB(A) allowed at any seat"
    yield _verdict(
        "over_noise_db", "level over the noise", name, area.over_noise_db, targets.over_noise_db, "dB",
        f"{area.speech_dba:.0f} dB(A) of speech over {noise:.0f} dB(A) of noise: {area.over_noise_db:+.1f} dB; asked for: {targets.over_noise_db:g} dB",
        more_is_better=True, limit=limit,
    )  # fmt: skip
    best = _clarity_without_reverberation(result, area)
    limit = None
    if best < targets.sti:
        limit = f"at this level and noise even a room without any reverberation gives {best:.2f}; asked for: {targets.sti:.2f}"
    letter = str(intelligibility.rating(area.sti_p10))
    yield _verdict(
        "sti", "clarity of speech (STI)", name, area.sti_p10, targets.sti, "",
        f"nine tenths of the places reach {area.sti_p10:.2f} (rating {letter}), half of them {area.sti_median:.2f}; asked for: {targets.sti:.2f}",
        more_is_better=True, limit=limit,
    )  # fmt: skip


def _clarity_without_reverberation(result, area):
    perfect = np.ones((7, len(intelligibility.MODULATION)))
    speech = intelligibility.SPEECH_SPECTRUM_DB + area.speech_dba
    return float(intelligibility.sti(perfect, speech_db=speech, noise_db=result.noise_db))


def _judge_room(result):
    targets = result.scenario.targets
    listened = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    loudest = listened[int(np.argmax(result.speech_dba[listened]))]
    peak = float(result.speech_dba[loudest])
    yield _verdict(
        "loudest_dba", "loudest place", "", peak, targets.loudest_dba, "dB(A)",
        f"{peak:.0f} dB(A) in the {result.area[loudest]}; allowed: {targets.loudest_dba:g} dB(A)",
        more_is_better=False,
    )  # fmt: skip
    names = [a.name for a in result.areas]
    radiated = bands.to_energy(result.drive_dbw)
    radiated = radiated / radiated.sum()
    share = {part: 100 * float(radiated @ result.lands[:, k]) for k, part in enumerate(result.parts)}
    on_people = sum(share.get(name, 0.0) for name in names)
    stray = max((p for p in share if p not in names), key=share.get)
    yield _verdict(
        "on_listeners_pct", "sound onto people", "", on_people, targets.on_listeners_pct, "%",
        f"{on_people:.0f} % of what the loudspeakers radiate (500 Hz to 4 kHz) lands on listeners first, {share[stray]:.0f} % on the {stray}; asked for: {targets.on_listeners_pct:g} %",
        more_is_better=True,
    )  # fmt: skip
    room = result.setting.room
    target = targets.rt_s or float(reverberation.sports_hall_target(room.volume))
    source = "rt_s"
    why = f"{result.rt_mid:.1f} s (500 Hz to 2 kHz, as occupied); asked for: {target:.1f} s or less"
    if result.rt_mid > target:
        missing = _missing_absorption(result, target)
        why += f". No loudspeaker changes this: it needs about {missing:.0f} m2 more absorption"
    yield _verdict(source, "reverberation", "", result.rt_mid, target, "s", why, more_is_better=False)


def _missing_absorption(result, target):
    """Sabine area that would bring the mid-band time to the target [m2]."""
    volume = result.setting.room.volume
    return reverberation.K / reverberation.C * volume * (1 / target - 1 / result.rt_mid)
