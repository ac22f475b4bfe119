"""Verdicts: each criterion in words, with the number, the place and where its target comes from."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands, intelligibility, reverberation
from ..venue.locations import spot
from ..venue.targets import SOURCES, Targets
from ..venue.units import to_file
from .feedback import names as limit_words

WORDS = ("holds", "close", "falls short", "out of reach")  # from best to worst
# half the last digit shown: no verdict turns on less
SHOWN = {"dB": 0.05, "dB(A)": 0.05, "%": 0.5, "": 0.005, "s": 0.05, "ms": 0.5, "places": 0.5}
# a miss by no more than this is "close"; STI: a just noticeable step
CLOSE = {"dB": 1.0, "dB(A)": 1.0, "%": 5.0, "": 0.03, "s": 0.15, "ms": 5.0, "places": 0.5}
OCTAVES = ("1 kHz", "2 kHz", "4 kHz")
MORE_IS_BETTER = (
    "places near the mean",
    "level over the noise",
    "clarity of speech (STI)",
    "spare gain before feedback",
    "sound onto people",
)


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """One criterion in one area (or in the room): a word, the number, the target and its source,
    and why.
    """

    criterion: str
    area: str
    value: float
    target: float
    unit: str
    word: str
    sentence: str
    source: str


def worst_word(words):
    """The worst of several verdicts.

    Parameters
    ----------
    words : iterable of str
        Each one of ``WORDS`` [-]

    Returns
    -------
    word : str
        The worst
    """
    return max(words, key=WORDS.index)


def worst_verdict(verdicts):
    """The verdict that is furthest from its target, among those of the worst word.

    Parameters
    ----------
    verdicts : sequence of Verdict
        At least one [-]

    Returns
    -------
    verdict : Verdict
        Misses are compared in the unit's own "close"
    """
    worst = worst_word(v.word for v in verdicts)
    return max(
        (v for v in verdicts if v.word == worst),
        key=lambda v: abs(v.value - v.target) / CLOSE[v.unit],
    )


def judge(result, *, follow_echoes=True):
    """Verdicts of one evaluation.

    Parameters
    ----------
    result : Result
        What ``evaluate`` found; ``areas`` and ``microphones`` filled in [-]
    follow_echoes : bool
        Whether late reflections are judged too [-]

    Returns
    -------
    verdicts : tuple of Verdict
        Area by area, then the room
    """
    verdicts = [v for area in result.areas for v in _judge_area(result, area)]
    verdicts += [_judge_microphone(result, m) for m in result.microphones]
    echoes = [_judge_echoes(result)] if follow_echoes else []
    return (*verdicts, *_judge_room(result), *echoes)


def better(criterion):
    """Which way a criterion is better.

    Parameters
    ----------
    criterion : str
        As verdicts call it [-]

    Returns
    -------
    sign : int
        1 where more is better, else -1
    """
    return 1 if criterion in MORE_IS_BETTER else -1


def word_for(criterion, value, target, unit):
    """How a value stands to its target, in a word; that a target is out of reach is not known here.

    Parameters
    ----------
    criterion : str
        As verdicts call it [-]
    value, target : float
        Both [unit]
    unit : str
        One of ``CLOSE`` [-]

    Returns
    -------
    word : str
        "holds", "close" or "falls short"
    """
    margin = better(criterion) * (value - target)
    return (
        "holds" if margin >= -SHOWN[unit] else "close" if margin >= -CLOSE[unit] else "falls short"
    )


def _verdict(key, criterion, area, value, target, unit, why, *, limit=None):
    default = Targets.__dataclass_fields__[key].default
    own = (
        key != "rt_s"
        and key in SOURCES
        and default != target
        and criterion != "in sight of a loudspeaker"
    )
    word = word_for(criterion, value, target, unit)
    if word != "holds" and limit:
        word, why = "out of reach", limit
    source = "set for this school" if own else SOURCES[key]
    return Verdict(
        criterion=criterion,
        area=area,
        value=value,
        target=target,
        unit=unit,
        word=word,
        sentence=why,
        source=source,
    )


def _judge_area(result, area):
    targets, name = result.scenario.targets, area.name
    if area.silent:
        yield _verdict(
            "coverage_range_db",
            "in sight of a loudspeaker",
            name,
            float(area.silent),
            0.0,
            "places",
            f"{area.silent} places hear no direct sound at all: something stands between them and"
            " every loudspeaker that plays",
        )
    octave = int(np.argmax(area.coverage_range_db))
    spread = area.coverage_range_db[octave]
    yield _verdict(
        "coverage_range_db",
        "evenness",
        name,
        spread,
        targets.coverage_range_db,
        "dB",
        f"nine tenths of the places lie in a window of {spread:.1f} dB at {OCTAVES[octave]} (direct"
        f" sound); asked for: {targets.coverage_range_db:g} dB",
    )
    near = 100 * area.within_3db
    yield _verdict(
        "within_3db_pct",
        "places near the mean",
        name,
        near,
        targets.within_3db_pct,
        "%",
        f"{near:.0f} % of the places are within 3 dB either way of the area's mean (direct sound);"
        f" asked for: {targets.within_3db_pct:g} %",
    )
    yield _verdict(
        "quietest_seat_db",
        "worst place",
        name,
        -area.quietest_db,
        targets.quietest_seat_db,
        "dB",
        f"{area.quietest_seat} is {-area.quietest_db:.1f} dB below the area's mean (direct sound);"
        f" allowed: {targets.quietest_seat_db:g} dB",
    )
    noise = float(bands.a_weighted(result.noise_db))
    need = noise + targets.speech_to_noise_db
    limit = None
    if need > targets.loudest_dba:
        limit = (
            f"the noise is {noise:.0f} dB(A); {targets.speech_to_noise_db:g} dB over it would be"
            f" {need:.0f}, beyond the {targets.loudest_dba:g} dB(A) allowed at any seat"
        )
    yield _verdict(
        "speech_to_noise_db",
        "level over the noise",
        name,
        area.speech_to_noise_db,
        targets.speech_to_noise_db,
        "dB",
        f"{area.speech_dba:.0f} dB(A) of speech over {noise:.0f} dB(A) of noise:"
        f" {area.speech_to_noise_db:+.1f} dB; asked for: {targets.speech_to_noise_db:g} dB",
        limit=limit,
    )
    best = _clarity_without_reverberation(result, area)
    limit = None
    if best < targets.sti:
        limit = (
            f"over this noise even a room without any reverberation gives at most {best:.2f}, at"
            f" any level up to {targets.loudest_dba:g} dB(A); asked for: {targets.sti:.2f}"
        )
    spread_ms = 1000 * float(np.percentile(result.arrival_spread_s[area.points], 90))
    yield _verdict(
        "arrival_ms",
        "arrivals together",
        name,
        spread_ms,
        targets.arrival_ms,
        "ms",
        f"at nine tenths of the places the loudspeakers that count arrive within {spread_ms:.0f}"
        f" ms; asked for: {targets.arrival_ms:g} ms",
    )
    letter = str(intelligibility.rating(area.sti_p10))
    yield _verdict(
        "sti",
        "clarity of speech (STI)",
        name,
        area.sti_p10,
        targets.sti,
        "",
        f"nine tenths of the places reach {area.sti_p10:.2f} (rating {letter}), half of them"
        f" {area.sti_median:.2f}; asked for: {targets.sti:.2f}",
        limit=limit,
    )


def _judge_microphone(result, m):
    targets, worst = result.scenario.targets, m.worst
    spare, name = float(m.margin_db[worst]), m.microphone.name
    octave = bands.LABELS[m.band[worst]]
    need = (
        f"needs {m.needed_gain_db:+.0f} dB from its microphone to the listeners;"
        f" {m.threshold_db:+.0f} dB rings"
    )
    where = ""
    if len(m.places) > 1:
        where = f" at {spot(m.places[worst], result.scenario.units)}"
        where += f" (clear on {100 * m.clear:.0f} % of its floor)"
    kept = "the 6 dB margin" + (
        f" and {m.open_mics_db:.0f} dB for {len(result.microphones)} open microphones"
        if m.open_mics_db
        else ""
    )
    why = (
        f"{spare:+.1f} dB to spare{where} after {kept}, first at {octave} Hz, limited by"
        f" {limit_words(result, m.limited_by[worst])}; {need}"
    )
    return _verdict(
        "feedback_margin_db",
        "spare gain before feedback",
        f"microphone '{name}'",
        spare,
        targets.feedback_margin_db,
        "dB",
        why,
    )


def _judge_echoes(result):
    limit, value = result.scenario.targets.echo, float(np.percentile(result.echoes.criterion, 90))
    late = float(np.percentile(result.echoes.late_db, 90))
    why = (
        f"at nine tenths of the places looked at the echo criterion is {value:.2f} or less;"
        f" {limit:g} disturbs half of all listeners"
    )
    why += (
        f"; the strongest arrival later than 50 ms is {-late:.0f} dB or more below the strongest"
        " early one"
        if np.isfinite(late)
        else ""
    )
    return _verdict("echo", "echoes", "", value, limit, "", why)


def _clarity_without_reverberation(result, area):
    """Best STI that this noise allows at any level up to the loudest that is allowed."""
    perfect = np.ones((7, len(intelligibility.MODULATION)))
    levels = np.append(
        np.arange(area.speech_dba, result.scenario.targets.loudest_dba, 3.0),
        [area.speech_dba, result.scenario.targets.loudest_dba],
    )
    speech = intelligibility.SPEECH_SPECTRUM_DB + levels[:, None]
    return float(intelligibility.sti(perfect, speech_db=speech, noise_db=result.noise_db).max())


def _judge_room(result):
    targets = result.scenario.targets
    listened = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    loudest = listened[int(np.argmax(result.speech_dba[listened]))]
    peak = float(result.speech_dba[loudest])
    yield _verdict(
        "loudest_dba",
        "loudest place",
        "",
        peak,
        targets.loudest_dba,
        "dB(A)",
        f"{peak:.0f} dB(A) in the {result.area[loudest]}; allowed: {targets.loudest_dba:g} dB(A)",
    )
    names = [a.name for a in result.areas]
    radiated = (result.sources.on_axis / result.sources.q)[:, 2:6].sum(axis=1)  # 500 Hz to 4 kHz
    radiated = radiated / radiated.sum()
    share = {
        part: 100 * float(radiated @ result.first_incidence[:, k])
        for k, part in enumerate(result.parts)
    }
    on_people = sum(share.get(name, 0.0) for name in names)
    stray = max((p for p in share if p not in names), key=share.get)
    yield _verdict(
        "on_listeners_pct",
        "sound onto people",
        "",
        on_people,
        targets.on_listeners_pct,
        "%",
        f"{on_people:.0f} % of what the loudspeakers radiate (500 Hz to 4 kHz) lands on listeners"
        f" first, {share[stray]:.0f} % on the {stray}; asked for: {targets.on_listeners_pct:g} %",
    )
    room = result.configuration.room
    target = targets.rt_s or float(reverberation.sports_hall_target(room.volume))
    why = f"{result.rt_mid:.1f} s (500 Hz to 2 kHz, as occupied); asked for: {target:.1f} s or less"
    if result.rt_mid > target + SHOWN["s"]:
        missing = to_file(_missing_absorption(result, target), "m2", result.scenario.units)
        why += (
            f". No loudspeaker changes this: it needs about {missing:.0f} {result.scenario.units}²"
            " more of full absorption"
        )
    yield _verdict("rt_s", "reverberation", "", result.rt_mid, target, "s", why)


def _missing_absorption(result, target):
    """Sabine area that would bring the mid-band time to the target [m2]."""
    volume = result.configuration.room.volume
    return reverberation.K / reverberation.C * volume * (1 / target - 1 / result.rt_mid)


BARE, UNEVEN = (
    0.12,
    2.0,
    # mean absorption of a bare pair of walls, and how far the hall's mean must exceed it    common
    # practice, no source
)


def bare_pairs(result):
    """Pairs of facing walls that are bare while the rest of the hall absorbs: between them sound
    can go on bouncing.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    pairs : list of tuple
        (words, mean absorption of the pair, of the hall), at 1 kHz [-]
    """
    room, alpha, found = result.configuration.room, result.absorption[:, 3], []
    overall = float(np.average(alpha, weights=room.area))
    for a, b in (("north", "south"), ("east", "west")):
        at = np.array([part in (f"{a} wall", f"{b} wall") for part in room.parts])
        mean = float(np.average(alpha[at], weights=room.area[at] + 1e-9))
        if mean < BARE and overall > UNEVEN * mean:
            found.append((f"{a} and {b} walls", mean, overall))
    return found
