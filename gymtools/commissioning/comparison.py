"""Prediction and measurement side by side: point by point, criterion by criterion, with what both
are good for.
"""

from dataclasses import dataclass

import numpy as np

from ..acoustics.criteria import CRITERIA
from ..acoustics.evaluate import evaluate, evaluate_all
from ..acoustics.exposure import loudness
from ..acoustics.fitting import Fit, fit_absorption
from ..equipment.amplification import amplify
from ..physics import bands
from .diagnosis import causes
from .expected import Expected, expected
from .plan import TestPlan, as_tested
from .sheet import Readings

DRAWS = 400  # of readings that scatter
# standard deviations: nineteen of twenty readings of a hall that is as predicted lie within
SURE = 2.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Point:
    """One reading against its prediction."""

    key: str
    test: str
    use: str
    where: str
    unit: str
    predicted: float
    measured: float
    sd: float  # of the difference: reading and prediction together

    @property
    def difference(self):
        """Measured less predicted [the unit]."""
        return self.measured - self.predicted

    @property
    def within(self):
        """Whether the difference may be chance."""
        return abs(self.difference) <= SURE * self.sd


@dataclass(frozen=True, kw_only=True, eq=False)
class Check:
    """One criterion of a use: what was asked for, predicted for the hall as measured,
    and measured.
    """

    use: str
    criterion: str
    unit: str
    target: float
    predicted: float
    measured: float
    sd: float
    word: str  # of the measured value against the target
    count: int  # readings that it rests on

    @property
    def against_prediction(self):
        """In words whether the hall does what was predicted."""
        if abs(self.measured - self.predicted) <= SURE * self.sd:
            return "as predicted"
        return "higher than predicted" if self.measured > self.predicted else "lower than predicted"


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Everything that the finished hall says about its design."""

    plan: TestPlan
    readings: Readings
    expected: Expected
    points: tuple
    checks: tuple
    causes: tuple  # Cause, the surest first
    fit: Fit | None  # None without a reverberation that was measured
    # by use: (predicted, predicted with the fitted room), results of the uses as designed; empty
    # without a fit
    again: dict
    room: str  # in which it was predicted

    @property
    def outside(self):
        """Readings that differ by more than chance allows."""
        return [p for p in self.points if not p.within]


def compare(plan, readings, *, room="statistical"):
    """Compare what was measured with what was predicted for the hall as it was measured.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan`` [-]
    readings : Readings
        Of ``commissioning.sheet.read_readings`` [-]
    room : str
        As for ``evaluate``; in which room it is predicted [-]

    Returns
    -------
    comparison : Comparison
        Rests on what was read; what was not is left out
    """
    if not readings.values:
        raise ValueError(
            "nothing was measured: no row of the sheet holds a reading that can be used."
        )
    ambient = readings.values.get("ambient")
    whole = ambient is not None and np.isfinite(ambient).all()
    results = {
        name: evaluate(
            as_tested(plan.scenario, name, ambient if whole else None),
            room=room,
            follow_echoes=False,
        )
        for name in plan.leads
    }
    told = expected(
        plan,
        results,
        reach={
            name: loudness(r, amplify(r.scenario, {name: r})).margin_db
            for name, r in results.items()
            if _read(readings, "reach", name, plan)
        },
    )
    points = tuple(_points(plan, readings, told))
    checks = tuple(_checks(plan, readings, told, results))
    fit = _fit(plan, readings, results, room)
    again = {}
    if fit is not None:
        before, after = (evaluate_all(s, room=room).results for s in (plan.scenario, fit.scenario))
        again = {name: (before[name], after[name]) for name in before}
    return Comparison(
        plan=plan,
        readings=readings,
        expected=told,
        points=points,
        checks=checks,
        causes=causes(plan, readings, told),
        fit=fit,
        again=again,
        room=room,
    )


def _read(readings, test, use, plan):
    return any(i.key in readings.values for i in plan.of(test, use))


def offsets(plan, readings, told, use):
    """How far levels of a use stand off the prediction as a whole: the volume control is set by
    hand.

    Parameters
    ----------
    plan : TestPlan
        The plan [-]
    readings : Readings
        What was read [-]
    told : Expected
        What was predicted [-]
    use : str
        Name of the use [-]

    Returns
    -------
    octaves : ndarray
        Mean of measured less predicted over the places (7,); NaN without readings [dB]
    dba : float
        The same of levels in dB(A) [dB]
    """
    octaves, dba = [], []
    for item in plan.of("level", use):
        value = readings.values.get(item.key)
        if value is None:
            continue
        if np.ndim(value):
            octaves.append(value - told.values[item.key][:7])
        else:
            dba.append(value - told.values[item.key][7])
    with np.errstate(invalid="ignore"):
        mean = (
            np.array(
                [np.nanmean(c) if np.isfinite(c).any() else np.nan for c in np.array(octaves).T]
            )
            if octaves
            else np.full(7, np.nan)
        )
    return mean, float(np.mean(dba)) if dba else np.nan


def _points(plan, readings, told):
    """Every reading; levels in octaves are told by their A-weighted sum, both with the volume
    control taken off.
    """
    shift = {use: offsets(plan, readings, told, use) for use in plan.leads}
    by_itself = [
        _summed(readings.values[i.key], told.values[i.key])
        for i in plan.of("alone")
        if i.key in readings.values
    ]
    # of most of them: one may be off
    volume = (
        float(np.median([measured - predicted for predicted, measured in by_itself]))
        if by_itself
        else 0.0
    )
    for item in plan.items:
        value, want = readings.values.get(item.key), told.values.get(item.key)
        if value is None or want is None:
            continue
        sd = told.sd[item.key]
        if item.test == "level":
            octaves, dba = shift[item.use]
            predicted, measured = _summed(value, want + np.append(np.nan_to_num(octaves), dba))
            spread = float(sd[7])
        elif item.test == "alone":
            predicted, measured = _summed(value, want)
            predicted, spread = predicted + volume, float(sd[7])
        elif np.ndim(
            value
        ):  # reverberation: the mean of 500 Hz, 1 and 2 kHz, as far as they were read
            middle = np.arange(2, 5)[np.isfinite(value[bands.MIDDLE])]
            if not len(middle):
                continue
            predicted, measured = float(want[middle].mean()), float(value[middle].mean())
            spread = float(np.sqrt((sd[middle] ** 2).sum()) / len(middle))
        else:
            predicted, measured, spread = float(want), float(value), float(sd)
        where = " ".join(x for x in (item.tag, item.of, item.where) if x)
        yield Point(
            key=item.key,
            test=item.test,
            use=item.use,
            where=where,
            unit="dB(A)" if item.test in ("level", "alone") else item.unit,
            predicted=predicted,
            measured=measured,
            sd=spread,
        )


def _summed(value, want):
    """Predicted and measured level in dB(A): of the octaves that were read, or as it was read."""
    if not np.ndim(value):
        return float(want[7]), float(value)
    there = np.isfinite(value)
    return tuple(float(bands.a_weighted(np.where(there, v, -200.0))) for v in (want[:7], value))


def _checks(plan, readings, told, results):
    """Criteria that were measured, use by use."""
    targets = plan.scenario.targets
    values = readings.values
    decays = [
        (values[i.key], told.values[i.key], told.sd[i.key])
        for i in plan.of("reverberation")
        if i.key in values and np.isfinite(values[i.key][bands.MIDDLE]).all()
    ]
    if decays:
        measured, predicted = (
            np.array([d[k][bands.MIDDLE].mean() for d in decays]) for k in (0, 1)
        )
        sd = np.sqrt(sum((d[2][bands.MIDDLE] ** 2).sum() for d in decays)) / 3 / len(decays)
        first = next(iter(results.values()))
        target = next(v.target for v in first.verdicts if v.criterion == "rt")
        yield _check(
            "",
            "rt",
            target,
            predicted.mean(),
            measured.mean(),
            float(np.hypot(sd, told.model_rt * predicted.mean())),
            len(decays),
        )
    for use in plan.leads:
        read = [
            (values[i.key], told.values[i.key], told.sd[i.key], i)
            for i in plan.of("level", use)
            if i.key in values
        ]
        whole = [
            (v[bands.COVERAGE], w[bands.COVERAGE], s[bands.COVERAGE])
            for v, w, s, _ in read
            if np.ndim(v) and np.isfinite(v[bands.COVERAGE]).all()
        ]
        if len(whole) >= 3:
            predicted, sd = _scattered_spread(*(np.array([x[k] for x in whole]) for k in (1, 2)))
            yield _check(
                use,
                "coverage_range",
                targets.coverage_range_db,
                predicted,
                _spread(np.array([x[0] for x in whole])),
                sd,
                len(whole),
            )
        clear = [
            (values[i.key], told.values[i.key], told.sd[i.key])
            for i in plan.of("clarity", use)
            if i.key in values
        ]
        if clear:
            least = int(np.argmin([c[0] for c in clear]))
            yield _check(
                use,
                "sti",
                targets.sti,
                min(c[1] for c in clear),
                clear[least][0],
                clear[least][2],
                len(clear),
            )
        late = [
            (abs(values[i.key]), abs(told.values[i.key]), told.sd[i.key])
            for i in plan.of("arrival", use)
            if i.key in values
        ]
        if late:
            most = int(np.argmax([x[0] for x in late]))
            yield _check(
                use,
                "arrival_spread",
                targets.arrival_ms,
                max(x[1] for x in late),
                late[most][0],
                late[most][2],
                len(late),
            )
        spare = [
            (values[i.key], told.values[i.key], told.sd[i.key], told.kept[i.key])
            for i in plan.of("spare gain", use)
            if i.key in values
        ]
        if spare:
            least = int(np.argmin([x[0] - x[3] for x in spare]))
            yield _check(
                use,
                "feedback_margin",
                targets.feedback_margin_db,
                min(x[1] - x[3] for x in spare),
                spare[least][0] - spare[least][3],
                spare[least][2],
                len(spare),
            )
        reach = [
            (values[i.key], told.values[i.key], told.sd[i.key], i)
            for i in plan.of("reach", use)
            if i.key in values
        ]
        if reach:
            value, want, sd, item = reach[0]
            noise = float(bands.a_weighted(plan.scenario.use(use).noise))
            yield _check(
                use,
                "speech_to_noise",
                targets.speech_to_noise_db,
                want - noise,
                value - noise,
                sd,
                1,
            )


def _spread(levels):
    """Nine tenths of the places, in the worst of the octaves around 1, 2 and 4 kHz."""
    return float(max(np.ptp(np.percentile(levels, (5, 95), axis=0), axis=0)))


def _scattered_spread(levels, sd):
    """The same of predictions that scatter as readings do: mean and standard deviation, for a
    spread grows with scatter.
    """
    drawn = np.random.default_rng(1).normal(size=(DRAWS, *levels.shape))
    found = [_spread(levels + d * sd) for d in drawn]
    return float(np.mean(found)), float(np.std(found))


def _check(use, criterion, target, predicted, measured, sd, count):
    word = CRITERIA[criterion].word(float(measured), target)
    return Check(
        use=use,
        criterion=criterion,
        unit=CRITERIA[criterion].unit,
        target=target,
        predicted=float(predicted),
        measured=float(measured),
        sd=float(sd),
        word=word,
        count=count,
    )


def _fit(plan, readings, results, room):
    """Absorption fitted to the mean of what was read, against what was predicted in the
    same room.
    """
    read = np.array(
        [readings.values[i.key] for i in plan.of("reverberation") if i.key in readings.values]
    )
    if not len(read):
        return None
    mean = np.array([np.nanmean(c) if np.isfinite(c).any() else np.nan for c in read.T])
    use = next(iter(plan.leads))
    first = results[use]
    told = (
        None
        if room == "statistical"
        else np.where(np.isfinite(first.decay_times["t20"]), first.decay_times["t20"], first.rt)
    )
    return fit_absorption(plan.scenario, use, mean, predicted=told)
