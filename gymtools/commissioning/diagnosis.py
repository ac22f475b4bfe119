"""Likely causes of what differs: each is tried on the readings, and reported when it explains more
than chance does.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.stats import chi2, norm
from scipy.stats import t as student

from ..acoustics.evaluate import evaluate
from ..acoustics.measured_room import predicted_spread
from ..acoustics.model_error import HALLS, T20_MEAN, deviation
from ..physics import bands, intelligibility, reverberation
from ..venue.units import to_file
from .expected import energy_alone
from .readings import FEWEST, SINGLE, measured_of

FALSE_ALARM = 0.05  # chance that anything is reported of a gym that is as predicted
MOST = 3  # causes looked for in the levels, one after the other
# of one loudspeaker, and of a group
STEPS_DB = np.concatenate([np.arange(-20.0, 0, 0.5), np.arange(0.5, 6.5, 0.5)])
# of the reverberant sound
ROOM_DB = np.concatenate([np.arange(-6.0, 0, 0.5), np.arange(0.5, 6.5, 0.5)])
SILENT_DB = -15.0  # a loudspeaker as low as this may not be connected    judgment
# two loudspeakers are never so alike that nothing is left of their energy    judgment [-]
LEAST_LEFT = 0.02
PINK = bands.to_energy(-intelligibility.SPEECH_SPECTRUM_DB)  # pink noise re speech (7,)


@dataclass(frozen=True, kw_only=True, eq=False)
class Cause:
    """Something that would explain readings."""

    kind: str  # loudspeaker, group, room, polarity, delay, decay or use
    subject: str  # tag, group or use; "" for the room
    amount: float  # in ``unit``
    unit: str
    words: str
    explains: float  # how much less the squared deviations are with it, in variances (chi square)
    chance: float  # of as much in a gym that is as predicted, for this one test
    reading: str = ""  # key of the kind of reading that is off as a whole in a use


@dataclass(frozen=True, kw_only=True, eq=False)
class _Levels:
    """Levels that were read with one setting of the volume, and what is predicted there."""

    direct: np.ndarray  # (source, point, 7), energy
    late: np.ndarray  # (point, 7), energy
    share: np.ndarray  # of the late sound by the source that feeds it (source, point, 7)
    arrival: np.ndarray  # (source, point) [s]
    measured: np.ndarray  # (point, 8): octaves and dB(A), NaN where not read [dB]
    spread: np.ndarray  # (point, 8) [dB]
    expected: np.ndarray  # (point, 8) [dB]

    @cached_property
    def designed(self):
        """Energy as designed, without interference (point, 7)."""
        return self.direct.sum(axis=0) + self.late

    @cached_property
    def designed_with_interference(self):
        """Energy as designed, coherent where arrivals are together (point, 7)."""
        none = _Fault.none(len(self.direct))
        return np.maximum(self.designed + _interference(self, none), LEAST_LEFT * self.designed)


@dataclass(frozen=True, eq=False)
class _Fault:
    """How loudspeakers and room differ from the design."""

    gains_db: np.ndarray  # (source,) [dB]
    reversed: np.ndarray  # polarity (source,), bool
    room_db: float = 0.0  # of the late sound [dB]

    @classmethod
    def none(cls, sources):
        return cls(np.zeros(sources), np.zeros(sources, bool))

    def louder(self, by_db, which):
        return _Fault(self.gains_db + by_db * which, self.reversed, self.room_db)

    def turned(self, which):
        return _Fault(self.gains_db, self.reversed ^ which, self.room_db)

    def livelier(self, by_db):
        return _Fault(self.gains_db, self.reversed, self.room_db + by_db)


def diagnose(plan, readings, conditions):
    """Find what would explain the readings.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : iterable of Reading
        Measured and expected
    conditions : Conditions
        What the expectations rest on

    Returns
    -------
    causes : tuple of Cause
        Surest first. The false-alarm rate is at most 5 % for a gym that is as predicted and
        readings that scatter as their ``spread`` says, and 5 % more for its decay, which has a test
        of its own. Intelligibility is judged by what the measured decay would make of it
    """
    readings = [r for r in readings if r.kind.diagnosis and r.is_measured]
    readings = _with_measured_decay(readings, conditions)
    levels = _each_kind(LEVELS, plan, readings, conditions)
    other = _each_kind(BY_CHANCE, plan, readings, conditions)
    tags = len(plan.scenario.loudspeakers)
    count = len(other) + MOST * (2 * tags + len(plan.scenario.groups) + 1) * bool(levels)
    limit = FALSE_ALARM / max(count, 1)  # Bonferroni: of all tests together
    found = _levels_explained(plan.scenario, levels, limit) + other
    tested = _each_kind(CERTAIN, plan, readings, conditions)
    seen = {c.subject for c in tested}
    sure = [
        c
        for c in found
        if c.chance < (FALSE_ALARM if c.kind == "decay" else limit)
        and not (c.kind == "polarity" and c.subject in seen)
    ]
    return tuple(tested + sorted(sure, key=lambda c: c.chance))


def _with_measured_decay(readings, conditions):
    """Readings, those of intelligibility expected with the decay that was read."""
    read = [r for r in readings if r.kind.key == "reverberation"]
    if not read or conditions.first.room != "traced":
        return readings
    ratio = np.array([(r.measured / r.expected)[:7] for r in read])
    known = np.isfinite(ratio)
    mean = np.where(known, ratio, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    factor = np.where(known.any(axis=0), mean, 1.0)
    changes = {}
    for use, result in conditions.results.items():
        longer = evaluate(result.scenario, room=result.reverberant.ringing_longer(factor))
        changes[use] = longer.sti - result.sti

    def moved(r):
        if r.kind.key != "sti":
            return r
        return replace(r, expected=r.expected + changes[r.use][r.position.index])

    return [moved(r) for r in readings]


def _each_kind(tests, plan, readings, conditions):
    """What tests give for the readings of each kind that asks for them."""
    found = []
    for name, test in tests.items():
        for kind in dict.fromkeys(r.kind.key for r in readings if r.kind.diagnosis == name):
            found += test(plan, measured_of(readings, kind), conditions)
    return found


def level_changes(readings, result, gains_db, room_db=0.0):
    """What levels of a use change by when loudspeakers or the room differ from the design.

    Parameters
    ----------
    readings : sequence of Reading
        Levels of one use, three at least
    result : Result
        The use as measured
    gains_db : array
        Of every loudspeaker of the scenario, 0 as designed (source,) [dB]
    room_db : float
        Of the late sound [dB]

    Returns
    -------
    changes : dict
        (8,) by the key of a reading: seven octaves and dB(A) [dB]

    Raises
    ------
    ValueError
        There are fewer than three readings
    """
    if len(readings) < FEWEST:
        raise ValueError(
            f"use '{result.use.name}': {len(readings)} levels are too few. Read {FEWEST} at least."
        )
    gains_db = np.asarray(gains_db, float)
    fault = _Fault(gains_db, np.zeros(len(gains_db), bool), float(room_db))
    changes = _changes(_levels(readings, result), fault)
    return dict(zip([r.key for r in readings], changes, strict=True))


# ---- levels


def _levels_of_uses(plan, readings, conditions):
    """Levels of each use: the volume is set once in a use."""
    for use in plan.leads:
        of_use = [r for r in readings if r.use == use]
        if len(of_use) >= FEWEST:
            yield _levels(of_use, conditions.results[use])


def _levels_of_loudspeakers(plan, readings, conditions):
    """Levels of the loudspeakers alone: the volume is set once for all of them."""
    if len(readings) >= FEWEST:
        yield _levels_alone(readings, plan.scenario.loudspeakers, conditions.results)


def _levels(readings, result):
    """Levels of one use with all its loudspeakers."""
    index = [r.position.index for r in readings]
    late = result.reverberant.by_source(result.points[index])  # (source, point, 7)
    return _Levels(
        direct=result.direct[:, index].astype(float) * PINK,
        late=late.sum(axis=0) * PINK,
        share=late / late.sum(axis=0),
        arrival=result.arrival_s[:, index],
        measured=np.array([r.measured for r in readings]),
        spread=np.array([r.spread for r in readings]),
        expected=np.array([r.expected for r in readings]),
    )


def _levels_alone(readings, loudspeakers, results):
    """Levels of every loudspeaker alone: one source at each point, and its share of the late
    sound.
    """
    tags = [c.tag for c in loudspeakers]
    direct = np.zeros((len(tags), len(readings), 7))
    late, share = np.zeros((len(readings), 7)), np.zeros((len(tags), len(readings), 7))
    for k, reading in enumerate(readings):
        n, result = tags.index(reading.subject), results[reading.use]
        direct[n, k] = result.direct[n, reading.position.index] * PINK
        late[k] = energy_alone(reading, result) * PINK - direct[n, k]
        share[n, k] = 1.0
    return _Levels(
        direct=direct,
        late=late,
        share=share,
        arrival=np.zeros((len(tags), len(readings))),
        measured=np.array([r.measured for r in readings]),
        spread=np.array([r.spread for r in readings]),
        expected=np.array([r.expected for r in readings]),
    )


def _levels_explained(scenario, levels, limit):
    """Causes in the levels, the best first; each next one is looked for with those before it taken
    as given.
    """
    found = []
    if not levels:
        return found
    fault = _Fault.none(len(scenario.loudspeakers))
    now = _misfit(levels, fault)
    for _ in range(MOST):
        best = None
        for kind, subject, amount, trial in _hypotheses(scenario, fault):
            fit = now - _misfit(levels, trial)
            if best is None or fit > best[0]:
                best = fit, kind, subject, amount, trial
        fit, kind, subject, amount, fault = best
        chance = float(chi2.sf(max(fit, 0.0), 1))
        if chance >= limit:
            break
        found.append(
            Cause(
                kind=kind,
                subject=subject,
                amount=amount,
                unit="" if kind == "polarity" else "dB",
                words=_level_words(kind, subject, amount),
                explains=float(fit),
                chance=chance,
            )
        )
        now -= fit
    return found


def _hypotheses(scenario, fault):
    """Everything that may be off: each loudspeaker, each group, the room, each polarity."""
    loudspeakers = scenario.loudspeakers
    for n, c in enumerate(loudspeakers):
        this = np.arange(len(loudspeakers)) == n
        for by in STEPS_DB:
            yield "loudspeaker", c.tag, float(by), fault.louder(by, this)
        yield "polarity", c.tag, -1.0, fault.turned(this)
    for g in scenario.groups:
        members = np.array([c.group == g.name for c in loudspeakers])
        if members.sum() > 1:
            for by in STEPS_DB:
                yield "group", g.name, float(by), fault.louder(by, members)
    for by in ROOM_DB:
        yield "room", "", float(by), fault.livelier(by)


def _misfit(levels, fault):
    """Squared deviations in variances, the volume of each use and octave left free."""
    whole = 0.0
    for one in levels:
        off = one.measured - one.expected - _changes(one, fault)
        weight = np.where(np.isfinite(off), 1 / one.spread**2, 0.0)
        off = np.nan_to_num(off)
        mean = (weight * off).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-30)
        whole += float((weight * (off - mean) ** 2).sum())
    return whole


def _changes(one, fault):
    """By how much levels change with a fault (point, 8) [dB]."""
    power = bands.to_energy(fault.gains_db)[:, None, None]
    late = one.late * (one.share * power).sum(axis=0) * bands.to_energy(fault.room_db)
    was, now = one.designed, (one.direct * power).sum(axis=0) + late
    if fault.reversed.any():
        was = one.designed_with_interference
        now = np.maximum(now + _interference(one, fault), LEAST_LEFT * one.designed)
    octaves = 10 * np.log10(now / was)
    dba = bands.a_weighted(10 * np.log10(now)) - bands.a_weighted(10 * np.log10(was))
    return np.concatenate([octaves, dba[:, None]], axis=1)


def _interference(one, fault):
    r"""What loudspeakers that play the same add to, or take from, the sum of their energies.

    .. math::
        2 \sqrt{E_1 E_2} \, \frac{\sin 2\pi f_2 \tau - \sin 2\pi f_1 \tau}{2\pi (f_2 - f_1) \tau}
    """
    sign = np.where(fault.reversed, -1.0, 1.0) * 10 ** (fault.gains_db / 20)
    amplitude = np.sqrt(one.direct) * sign[:, None, None]
    low, high = bands.EDGES.T
    total = np.zeros(one.late.shape)  # (point, 7)
    for a in range(len(amplitude)):
        for b in range(a + 1, len(amplitude)):
            tau = (one.arrival[a] - one.arrival[b])[:, None]
            alike = (high * np.sinc(2 * high * tau) - low * np.sinc(2 * low * tau)) / (high - low)
            total += 2 * amplitude[a] * amplitude[b] * alike
    return total


def _level_words(kind, subject, amount):
    """A cause in the levels as a sentence without its period."""
    far = f"{abs(amount):.1f} dB {'low' if amount < 0 else 'high'}"
    if kind == "polarity":
        return (
            f"{subject} has reversed polarity: the low octaves are weak where it and its neighbors"
            " arrive together. Change plus and minus at one end, and test again"
        )
    if kind == "room":
        return (
            f"the room gives {abs(amount):.1f} dB {'more' if amount > 0 else 'less'} reverberant"
            f" sound than predicted at all seats: it is {'livelier' if amount > 0 else 'deader'}"
            " than assumed"
        )
    if kind == "group":
        return f"the whole {subject} is {far}: check its gain, its amplifier and its line"
    check = (
        "; it is nearly silent: check that it is connected"
        if amount <= SILENT_DB
        else ": check its tap, its drivers, its aim, and what stands in its way"
    )
    return f"loudspeaker {subject} is {far}{check}"


# ---- everything else


def _polarities(plan, readings, conditions):
    """Loudspeakers that the polarity tester shows reversed."""
    return [
        Cause(
            kind="polarity",
            subject=r.subject,
            amount=-1.0,
            unit="",
            words=(
                f"{r.subject} has reversed polarity by the tester. Change plus and minus at one end"
            ),
            explains=np.inf,
            chance=0.0,
        )
        for r in readings
        if r.measured[SINGLE] == -1.0
    ]


def _delays(plan, readings, conditions):
    """Groups that arrive earlier or later after their lead than planned."""
    for use, lead in plan.leads.items():
        for r in (r for r in readings if r.use == use):
            off = float(r.difference[SINGLE])
            z = off / float(r.spread[SINGLE])
            yield Cause(
                kind="delay",
                subject=r.subject,
                amount=off,
                unit="ms",
                words=(
                    f"in {use} the {r.subject} arrives {abs(off):.0f} ms"
                    f" {'later' if off > 0 else 'earlier'} after the {lead} than planned: check the"
                    " delay of both"
                ),
                explains=float(z**2),
                chance=float(2 * norm.sf(abs(z))),
            )


def _decay(plan, readings, conditions):
    """Reverberation that is longer or shorter than predicted, by more than readings scatter and
    predictions err; half the variance of that error is taken to be common to all octaves.
    """
    if not readings:
        return
    off = np.array([r.difference[:7] for r in readings])  # (reading, 7)
    spread = np.array([r.spread[:7] for r in readings])
    weight = np.where(np.isfinite(off), 1 / spread**2, 0.0)
    there = weight.sum(axis=0) > 0
    mean = (weight * np.nan_to_num(off)).sum(axis=0)[there] / weight.sum(axis=0)[there]
    expected = readings[0].expected[:7][there]
    model = predicted_spread(plan.scenario)[there]
    alone = np.diag(1 / (weight.sum(axis=0)[there] * expected**2) + model**2 / 2)
    precision = np.linalg.inv(alone + np.outer(model, model) / 2)
    ratio = np.log(np.maximum(mean / expected, -0.99) + 1)  # of measured to predicted
    common = float((precision @ ratio).sum() / precision.sum())
    explains = float(common**2 * precision.sum())
    middle = [k for k, b in enumerate(np.flatnonzero(there)) if b in range(7)[bands.MIDDLE]]
    middle = middle or list(range(len(expected)))
    share = float((mean / expected)[middle].mean())
    yield Cause(
        kind="decay",
        subject="",
        amount=share,
        unit="",
        words=_decay_words(plan.scenario, conditions.first, float(expected[middle].mean()), share),
        explains=explains,
        chance=_chance_of(plan.scenario, common, explains),
    )


def _chance_of(scenario, common, explains):
    """Chance of a decay so far off: as few published gyms have it, or as the fit to this gym."""
    if scenario.room_fit is not None:
        return float(chi2.sf(explains, 1))
    return float(2 * student.sf(abs(common - T20_MEAN) / deviation(), HALLS - 1))


def _decay_words(scenario, first, rt, share):
    """Another reverberation as a sentence, with the absorption that would make it (Sabine)."""
    volume, speed = first.configuration.room.volume, first.sources.speed
    was, now = (reverberation.K * volume / (speed * t) for t in (rt, rt * (1 + share)))
    area = abs(now - was)
    shown = f"{to_file(area, 'm2', scenario.units):.0f} {scenario.units}²"
    return (
        f"reverberation is {100 * abs(share):.0f} % {'longer' if share > 0 else 'shorter'} than"
        f" predicted (500 Hz to 2 kHz: {rt * (1 + share):.2f} s, not {rt:.2f} s): the room is"
        f" {'livelier' if share > 0 else 'deader'}, as with about {shown}"
        f" {'less' if share > 0 else 'more'} of full absorption. Look at whether the planned"
        " treatment and finishes are there"
    )


def _means(plan, readings, conditions):
    """Readings of a kind that are off as a whole in a use."""
    for use in plan.leads:
        read = [r for r in readings if r.use == use]
        if not read:
            continue
        kind = read[0].kind
        off = [float(r.difference[SINGLE] / r.spread[SINGLE]) for r in read]  # in its spread
        amount = float(np.mean(off)) * float(read[0].spread[SINGLE])
        z = float(np.sum(off) / np.sqrt(len(off)))
        yield Cause(
            kind="use",
            subject=use,
            reading=kind.key,
            amount=amount,
            unit=kind.deviation.unit,
            words=kind.deviation.sentence(
                use=use, amount=amount, digits=kind.digits, count=len(read)
            ),
            explains=z**2,
            chance=float(2 * norm.sf(abs(z))),
        )


# what ``ReadingKind.diagnosis`` asks for; each test takes the plan, the measured readings of one
# kind, and the conditions
LEVELS = {"levels": _levels_of_uses, "levels alone": _levels_of_loudspeakers}  # give _Levels
CERTAIN = {"polarity": _polarities}  # give causes that are no matter of chance
BY_CHANCE = {"delay": _delays, "decay": _decay, "mean": _means}  # give causes with their chance
TESTS = LEVELS | CERTAIN | BY_CHANCE
