"""Prediction and measurement side by side: reading by reading, criterion by criterion, with the
spread of both.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.criteria import CRITERIA, reverberation_target
from ..acoustics.evaluate import evaluate, evaluate_all
from ..acoustics.measured_room import FittedRoom, Readings, fitted_to, predicted_spread
from ..equipment.amplification import driving
from ..equipment.loudness import loudness
from ..physics import bands
from ..venue.measured_room import MeasuredRoom, octaves_of
from .blind_spots import open_questions, sights
from .diagnosis import diagnose
from .expected import Conditions, expect, reserve_db
from .plan import TestPlan, as_tested
from .readings import BANDS, FEWEST, SINGLE, Reading, ReadingKind, measured_of, of_kind
from .sheet import Sheet

DRAWS = 400  # of readings that scatter
SURE = 2.0  # standard deviations: 19 of 20 readings of a gym that is as predicted lie within
MOST_AGAIN = 9  # readings that anybody would take again to decide a criterion    judgment
NOT_READ_DB = -200.0  # stands for an octave without a reading in a sum


@dataclass(frozen=True, kw_only=True, eq=False)
class Difference:
    """One reading against its expectation, each as one number."""

    reading: Reading
    unit: str
    expected: float
    measured: float
    spread: float  # standard deviation of the difference: reading and prediction together

    @property
    def value(self):
        """Measured less expected [``unit``]."""
        return self.measured - self.expected

    @property
    def within(self):
        """Whether the difference may be chance."""
        return abs(self.value) <= SURE * self.spread

    @property
    def where(self):
        """Tag, subject and words of the position."""
        position = self.reading.position
        return " ".join(x for x in (position.tag, self.reading.subject, position.words) if x)


@dataclass(frozen=True, kw_only=True, eq=False)
class Check:
    """One criterion of a use: target, expected for the gym as measured, and measured."""

    use: str  # "" for the gym as a whole
    criterion: str  # key of ``acoustics.criteria.CRITERIA``
    target: float
    expected: float
    measured: float
    spread: float  # standard deviation of measured less expected
    word: str  # of the measured value against the target
    kind: ReadingKind  # of the readings on which it rests
    count: int  # of these readings
    repeats: float  # standard deviation of the measured value, were all of it read again
    where: str = ""  # position or subject that decides it
    direct: str = ""  # a trial on site that decides it by itself, "" where there is none

    @property
    def unit(self):
        """Unit of its values."""
        return CRITERIA[self.criterion].unit

    @property
    def is_decided(self):
        """Whether the readings are good enough to tell on which side of the target it lies."""
        return abs(self.measured - self.target) > SURE * self.repeats

    @property
    def deciding(self):
        """The reading that would decide it, in words; "" where it is decided."""
        if self.is_decided:
            return ""
        gap = abs(self.measured - self.target)
        again = (SURE * self.repeats / gap) ** 2 if gap > 0 else np.inf
        if self.direct:
            return self.direct
        if again <= MOST_AGAIN:
            more = max(1, int(np.ceil(again)) - 1)
            times = "once more" if more == 1 else f"{more} more times"
            return f"read {self.where} {times} and take the mean"
        return "too near the target for repeated readings to decide"

    @property
    def side(self):
        """Side of the prediction on which it lies: 1 higher, -1 lower, 0 as near as chance lets it
        be [-].
        """
        if abs(self.measured - self.expected) <= SURE * self.spread:
            return 0
        return 1 if self.measured > self.expected else -1


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Everything that the finished gym says about its design."""

    plan: TestPlan
    sheet: Sheet
    readings: tuple  # of Reading, those of the sheet with their expectations
    conditions: Conditions
    differences: tuple  # of Difference
    checks: tuple  # of Check
    causes: tuple  # of Cause, the surest first
    sights: tuple  # of Sight, what these readings would show and what they could not
    open_questions: tuple  # sentences: what nothing was read about
    fit: FittedRoom | None  # None without a reverberation that was measured
    # by use: (predicted, predicted with the fitted room), results of the uses as designed; empty
    # without a fit
    again: dict
    room: str  # in which it was predicted

    @property
    def outside(self):
        """Differences larger than chance allows."""
        return [d for d in self.differences if not d.within]


def compare(plan, sheet, *, room="traced"):
    """Compare what was measured with what was predicted for the gym as it was measured.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``
    sheet : Sheet
        Of ``commissioning.sheet.read_sheet``
    room : str
        As for ``evaluate``; in which room it is predicted

    Returns
    -------
    comparison : Comparison
        Rests on what was read; what was not is left out

    Raises
    ------
    ValueError
        Nothing was measured
    """
    if not sheet.readings:
        raise ValueError(
            "nothing was measured: no row of the sheet holds a reading that can be used."
        )
    conditions = conditions_of(plan, sheet, room=room)
    readings = expect(sheet.readings, conditions)
    fit = _fit(plan, readings, room)
    again = {}
    if fit is not None:
        before, after = (evaluate_all(s, room=room).results for s in (plan.scenario, fit.scenario))
        again = {name: (before[name], after[name]) for name in before}
    return Comparison(
        plan=plan,
        sheet=sheet,
        readings=readings,
        conditions=conditions,
        differences=tuple(_differences(plan, readings)),
        checks=tuple(_checks(plan, readings, conditions)),
        causes=diagnose(plan, readings, conditions),
        sights=tuple(sights(plan, readings, conditions)),
        open_questions=tuple(open_questions(plan, readings)),
        fit=fit,
        again=again,
        room=room,
    )


def conditions_of(plan, sheet, *, room="traced"):
    """Evaluate the uses of a plan as they were measured.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``
    sheet : Sheet
        Gives the ambient noise, and says which uses need the level left to their limit
    room : str
        As for ``evaluate``

    Returns
    -------
    conditions : Conditions
        For ``commissioning.expected.expect``
    """
    results = {
        name: evaluate(as_tested(plan.scenario, name, sheet.ambient_db), room=room)
        for name in plan.leads
    }
    asked = {u: r for u, r in results.items() if of_kind(sheet.readings, "maximum level", u)}
    return Conditions(results=results, leads=plan.leads, to_limit_db=limits_db(plan, asked))


def limits_db(plan, results):
    """Level left in some uses until the first loudspeaker or amplifier is at its limit.

    Parameters
    ----------
    plan : TestPlan
        Its design's amplifiers are those of all uses together, as they are installed
    results : dict
        Evaluations of uses as they are measured, by name

    Returns
    -------
    limits : dict
        By use; empty where no amplifier of the price book suits the design [dB]
    """
    system = plan.amplification if results else None
    if system is None:
        return {}
    return {u: loudness(r, driving(system, r)).headroom_db for u, r in results.items()}


# ---- reading by reading


def offsets(readings, use):
    """How far levels of a use are off the prediction as a whole: the volume is set by hand.

    Parameters
    ----------
    readings : iterable of Reading
        Measured and expected
    use : str
        Name of the use

    Returns
    -------
    offsets : ndarray
        Mean of measured less expected in octaves and dB(A) (8,); NaN without readings [dB]
    """
    off = np.array([r.difference for r in measured_of(readings, "level", use)]).reshape(-1, 8)
    return np.array([np.mean(c[np.isfinite(c)]) if np.isfinite(c).any() else np.nan for c in off.T])


def is_lone_level(reading, readings):
    """Whether a reading is the only level of its use: with the volume taken off it agrees with
    every prediction, and only its octaves say something.

    Parameters
    ----------
    reading : Reading
        One of them
    readings : iterable of Reading
        All that were measured

    Returns
    -------
    alone : bool
        False for readings of other kinds
    """
    return reading.kind.key == "level" and len(measured_of(readings, "level", reading.use)) == 1


def _differences(plan, readings):
    """Every reading with an expectation of its own; levels as dB(A), the volume taken off."""
    shift = {use: np.nan_to_num(offsets(readings, use)) for use in plan.leads}
    by_itself = [_summed(r.measured, r.expected) for r in measured_of(readings, "alone")]
    # of most of them: one may be off
    volume = float(np.median([m - e for e, m in by_itself])) if by_itself else 0.0
    for r in readings:
        if not (r.is_measured and r.is_expected) or is_lone_level(r, readings):
            continue
        spread = float(r.spread[SINGLE])
        if r.kind.key == "level":
            expected, measured = _summed(r.measured, r.expected + shift[r.use])
        elif r.kind.key == "alone":
            expected, measured = _summed(r.measured, r.expected)
            expected += volume
        elif r.kind.key == "reverberation":
            if not np.isfinite(r.measured[bands.MIDDLE]).any():
                continue
            expected, measured, spread = _middle(r)
            spread = np.hypot(spread, _middle_spread(plan.scenario) * expected)
        else:
            expected, measured = float(r.expected[SINGLE]), float(r.measured[SINGLE])
        yield Difference(
            reading=r,
            unit=r.kind.shown_unit,
            expected=expected,
            measured=measured,
            spread=spread,
        )


def _middle(reading):
    """Expected and measured mean of 500 Hz, 1 and 2 kHz as far as read, and its spread."""
    there = np.flatnonzero(np.isfinite(reading.measured[bands.MIDDLE])) + bands.MIDDLE.start
    expected, measured = reading.expected[there].mean(), reading.measured[there].mean()
    spread = np.sqrt((reading.spread[there] ** 2).sum()) / len(there)
    return float(expected), float(measured), float(spread)


def _middle_spread(scenario):
    """How far off the prediction of a mean of 500 Hz, 1 and 2 kHz may be, as a share of it."""
    return float(predicted_spread(scenario)[bands.MIDDLE].mean())


def _summed(measured, expected):
    """Expected and measured level in dB(A): of the octaves that were read, or as it was read."""
    there = np.isfinite(measured[BANDS])
    if not there.any():
        return float(expected[SINGLE]), float(measured[SINGLE])
    both = (np.where(there, v[BANDS], NOT_READ_DB) for v in (expected, measured))
    return tuple(float(bands.a_weighted(v)) for v in both)


# ---- criterion by criterion


def _checks(plan, readings, conditions):
    """Criteria that were measured, use by use."""
    yield from _check_reverberation(plan, readings)
    for use in plan.leads:
        yield from _check_uniformity(plan, readings, use)
        yield from _check_sti(plan, readings, use)
        yield from _check_arrivals(plan, readings, use)
        yield from _check_feedback(plan, readings, use, conditions)
        yield from _check_maximum(plan, readings, use)


def _check_reverberation(plan, readings):
    """Mean of 500 Hz, 1 and 2 kHz over all positions where these were read."""
    read = [
        r
        for r in measured_of(readings, "reverberation")
        if np.isfinite(r.measured[bands.MIDDLE]).all()
    ]
    if not read:
        return
    uses = [plan.scenario.use(name) for name in plan.leads]
    empty = [u for u in uses if u.judged_as == "sports" or not u.occupied]
    if not empty:  # what is wanted with people in the gym says nothing about the empty one
        return
    target, _ = reverberation_target(plan.scenario, empty[0])
    expected = np.mean([r.expected[bands.MIDDLE].mean() for r in read])
    spread = np.sqrt(sum((r.spread[bands.MIDDLE] ** 2).sum() for r in read)) / 3 / len(read)
    yield _check(
        "rt",
        target=target,
        expected=expected,
        measured=np.mean([r.measured[bands.MIDDLE].mean() for r in read]),
        spread=np.hypot(spread, _middle_spread(plan.scenario) * expected),
        kind=read[0].kind,
        count=len(read),
        repeats=spread,
        where="all decays",
    )


def _check_uniformity(plan, readings, use):
    """Range of the levels at the seats, of all sound, direct and reverberant."""
    read = [
        r
        for r in measured_of(readings, "level", use)
        if np.isfinite(r.measured[bands.COVERAGE]).all()
    ]
    if len(read) < FEWEST:
        return
    expected, spread = _scattered_range(
        np.array([r.expected[bands.COVERAGE] for r in read]),
        np.array([r.spread[bands.COVERAGE] for r in read]),
    )
    measured = np.array([r.measured[bands.COVERAGE] for r in read])
    yield _check(
        "coverage_range",
        use=use,
        target=plan.scenario.targets.coverage_range_db,
        expected=expected,
        measured=_range(measured),
        spread=spread,
        kind=read[0].kind,
        count=len(read),
        repeats=_scattered_range(measured, read[0].kind.repeats)[1],
        where="the levels at all positions",
    )


def _check_sti(plan, readings, use):
    """The lowest STI."""
    read = measured_of(readings, "sti", use)
    if read:
        least = min(read, key=lambda r: r.measured[SINGLE])
        yield _check(
            "sti",
            use=use,
            target=plan.scenario.targets.sti,
            expected=min(r.expected[SINGLE] for r in read),
            measured=least.measured[SINGLE],
            spread=least.spread[SINGLE],
            kind=least.kind,
            count=len(read),
            repeats=least.kind.repeats,
            where=least.key,
        )


def _check_arrivals(plan, readings, use):
    """The largest time between a group and its lead."""
    # channels within a group show how it is wired, not what a listener's ears compare
    read = [r for r in measured_of(readings, "arrival", use) if not r.playing]
    if read:
        latest = max(read, key=lambda r: abs(r.measured[SINGLE]))
        yield _check(
            "arrival_spread",
            use=use,
            target=plan.scenario.targets.arrival_ms,
            expected=max(abs(r.expected[SINGLE]) for r in read),
            measured=abs(latest.measured[SINGLE]),
            spread=latest.spread[SINGLE],
            kind=latest.kind,
            count=len(read),
            repeats=latest.kind.repeats,
            where=latest.key,
        )


def _check_feedback(plan, readings, use, conditions):
    """The smallest feedback margin, what a design keeps back taken off."""
    read = [
        (r, reserve_db(r, plan, conditions.results))
        for r in measured_of(readings, "feedback margin", use)
    ]
    if read:
        least, kept = min(read, key=lambda pair: pair[0].measured[SINGLE] - pair[1])
        yield _check(
            "feedback_margin",
            use=use,
            target=plan.scenario.targets.feedback_margin_db,
            expected=min(r.expected[SINGLE] - reserve for r, reserve in read),
            measured=least.measured[SINGLE] - kept,
            spread=least.spread[SINGLE],
            kind=least.kind,
            count=len(read),
            repeats=least.kind.repeats,
            where=least.subject,
            direct=_ringing_trial(least, kept + plan.scenario.targets.feedback_margin_db),
        )


def _ringing_trial(reading, gain_db):
    """The trial that decides a feedback margin: it rings at this gain, or it does not."""
    return (
        f"set {reading.subject} to {gain_db:.1f} dB over its working gain at the same position, and"
        " go back after half a minute; three times. The target is met if it never rings"
    )


def _check_maximum(plan, readings, use):
    """The highest clean level over the noise of the use."""
    read = measured_of(readings, "maximum level", use)
    if read:
        noise = float(bands.a_weighted(plan.scenario.use(use).noise))
        yield _check(
            "speech_to_noise",
            use=use,
            target=plan.scenario.targets.speech_to_noise_db,
            expected=read[0].expected[SINGLE] - noise,
            measured=read[0].measured[SINGLE] - noise,
            spread=read[0].spread[SINGLE],
            kind=read[0].kind,
            count=1,
            repeats=read[0].kind.repeats,
            where=read[0].key,
        )


def _check(criterion, *, target, **about):
    """A check with its word."""
    numbers = ("expected", "measured", "spread", "repeats")
    about = {name: float(v) if name in numbers else v for name, v in about.items()}
    word = CRITERIA[criterion].word(about["measured"], target)
    return Check(**dict(use="") | about, criterion=criterion, target=target, word=word)


def _range(levels):
    """5th to 95th percentile over the positions, in the worst octave [dB]."""
    return float(max(np.ptp(np.percentile(levels, (5, 95), axis=0), axis=0)))


def _scattered_range(levels, spread):
    """Range of predictions that scatter as readings do, mean and standard deviation: a range grows
    with scatter [dB].
    """
    drawn = np.random.default_rng(1).normal(size=(DRAWS, *levels.shape))
    found = [_range(levels + d * spread) for d in drawn]
    return float(np.mean(found)), float(np.std(found))


# ---- the room


def _fit(plan, readings, room):
    """The room fitted to the mean of what was read in it."""
    read = np.array([r.measured[BANDS] for r in of_kind(readings, "reverberation")])
    if not np.isfinite(read).any():
        return None
    mean = np.array([np.nanmean(c) if np.isfinite(c).any() else np.nan for c in read.T])
    name = next(iter(plan.leads))
    use = plan.scenario.use(name)
    measured = MeasuredRoom(
        t20_s=octaves_of(mean, 4),
        positions=len(read),
        closed=use.closed,
        pulled_out=use.pulled_out,
        set_up=use.set_up,
        curtain_open=use.curtain_open,
        note="in the finished gym",
    )
    there = tuple(replace(t, existing=True) for t in plan.scenario.treatments)
    scenario = replace(plan.scenario, measured_room=measured, treatments=there)
    read = Readings(times=measured.times, early=measured.early, positions=len(read))
    return fitted_to(scenario, as_tested(plan.scenario, name), read, room=room)
