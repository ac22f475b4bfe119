"""Likely causes of what differs: each is tried on the readings, and reported when it explains more
than chance does.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2, norm
from scipy.stats import t as student

from ..acoustics.evaluate import evaluate
from ..acoustics.measured_room import predicted_spread
from ..acoustics.model_error import HALLS, T20_MEAN, deviation
from ..physics import bands, reverberation
from ..venue.units import to_file
from . import tuning
from .levels import Fault, joined, levels_of_loudspeakers, levels_of_uses, misfits
from .readings import FEWEST, SINGLE, measured_of

FALSE_ALARM = 0.05  # chance that anything is reported of a gym that is as predicted
# of it for tunings, and for all tests of one thing together; a decay is judged by published gyms
SHARE = FALSE_ALARM / 3
MOST = 3  # causes looked for in the levels, one after the other
# of one loudspeaker, and of a group
STEPS_DB = np.concatenate(
    [[-40.0, -30.0, -25.0], np.arange(-20.0, -8), np.arange(-8.0, 0, 0.5), np.arange(0.5, 6.5, 0.5)]
)
# of the reverberant sound
ROOM_DB = np.concatenate([np.arange(-6.0, 0, 0.5), np.arange(0.5, 6.5, 0.5)])
SILENT_DB = -15.0  # a loudspeaker as low as this may not be connected    judgment
SILENCE_DB = -60.0  # stands for a loudspeaker that gives no sound
# what is left of a loudspeaker of which a driver is dead: in the octave in which the two take over
# from each other, and beyond it    common practice, no source [dB]
AT_CROSSOVER_DB, BEYOND_DB = -12.0, -20.0
CROSSOVERS = (3, 4, 5)  # octaves in which it may lie: 1, 2 and 4 kHz
DRIVER_SHARES = (0.5, 1.0)  # worn, and dead


@dataclass(frozen=True, kw_only=True, eq=False)
class Cause:
    """Something that would explain readings."""

    # loudspeaker, group, high driver, low driver, room, polarity, delay, decay, tuning or use
    kind: str
    subject: str  # tag, group or use; "" for the room
    amount: float  # in ``unit``
    unit: str
    words: str
    explains: float  # how much less the squared deviations are with it, in variances (chi square)
    chance: float  # of as much in a gym that is as predicted, for this one test
    reading: str = ""  # key of the kind of reading that is off as a whole in a use


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
        Surest first. For a gym that is as predicted and readings that scatter as their ``spread``
        says, a third of 5 % is the chance that octaves off at all positions are reported, and
        another third that anything else is; one published gym in twenty has a decay that is.
        Intelligibility and levels are judged by what the measured decay would make of them
    """
    readings = [r for r in readings if r.kind.diagnosis and r.is_measured]
    readings = _with_measured_decay(readings, conditions)
    levels = patterns(plan, readings, conditions)
    other = _each_kind(BY_CHANCE, plan, readings, conditions)
    limit = limit_of(plan, readings, len(other))
    tested = _each_kind(CERTAIN, plan, readings, conditions)
    known = _as_tested(plan, tested, levels)
    fault, found = _levels_explained(plan, levels, limit, known)
    found += other + _tunings(plan, readings, conditions, fault)
    limits = {"decay": FALSE_ALARM, "tuning": SHARE / len(plan.leads)}
    seen = {c.subject for c in tested}
    sure = [
        c
        for c in found
        if c.chance < limits.get(c.kind, limit) and not (c.kind == "polarity" and c.subject in seen)
    ]
    return tuple(tested + sorted(sure, key=lambda c: c.chance))


def _as_tested(plan, tested, levels):
    """What the polarity tester has shown, taken as given in the levels; a reversed polarity only
    where they do not speak against it, for what it does to them is known less well.
    """
    tags = [c.tag for c in plan.scenario.loudspeakers]
    fault = Fault.none(len(tags))
    for cause in tested:
        this = np.array(tags) == cause.subject
        if cause.kind != "polarity":
            fault = fault.louder(SILENCE_DB, this)
            continue
        turned = fault.turned(this)
        with_it, without = misfits(levels, [turned, fault])
        fault = turned if with_it < without else fault
    return fault


def limit_of(plan, readings, others):
    """Chance below which one test is reported, so that all of them together alarm as rarely as
    stated (Bonferroni).

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Measured and expected
    others : int
        Tests beside those of the levels [-]

    Returns
    -------
    limit : float
        Of the chance of one test [-]
    """
    tags, groups = len(plan.scenario.loudspeakers), len(plan.scenario.groups)
    read = bool(measured_of(readings, "level") or measured_of(readings, "alone"))
    # level, polarity and two drivers of each; a second cause is looked for only beside a first,
    # so that a gym without a fault is asked once
    patterns_tried = 4 * tags + groups + 1
    return SHARE / max(others + read * patterns_tried, 1)


def patterns(plan, readings, conditions):
    """Levels whose pattern from position to position says something.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Measured and expected
    conditions : Conditions
        What the expectations rest on

    Returns
    -------
    levels : list of Levels
        Of every use with three levels, and of all loudspeakers alone if there are three
    """
    longer = tuning.longer(readings)
    of_uses = levels_of_uses(plan, measured_of(readings, "level"), conditions)
    found = [one for one in of_uses if len(one.measured) >= FEWEST]
    alone = measured_of(readings, "alone")
    if len(alone) >= FEWEST:
        found.append(joined(levels_of_loudspeakers(plan, alone, conditions)))
    # a room that was read to ring longer gives more sound of its own, most where it is far from
    # loudspeakers: none of them is high or low for that
    return [replace(one, expected=one.expected + _by_room(one, longer)) for one in found]


def _by_room(one, longer):
    """By how much the decay that was read changes levels (point, 8) [dB]."""
    octaves = tuning.more_db(one, longer)
    weight = one.designed * bands.to_energy(bands.A_WEIGHTING)
    dba = 10 * np.log10((weight * bands.to_energy(octaves)).sum(axis=1) / weight.sum(axis=1))
    return np.column_stack([octaves, dba])


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


# ---- levels


def _levels_explained(plan, levels, limit, fault):
    """Causes in the levels beside a fault that is known, the best first, and what they are
    together; each next one is looked for with those before it taken as given.
    """
    found = []
    if not levels:
        return fault, found
    now = float(misfits(levels, [fault])[0])
    for _ in range(MOST):
        lots = list(_hypotheses(plan.scenario, fault))
        tried = [h for lot in lots for h in lot]
        fits = now - np.concatenate([misfits(levels, [h[-1] for h in lot]) for lot in lots])
        chances = chi2.sf(np.maximum(fits, 0.0), [h[3] for h in tried])
        best = int(np.argmin(chances)) if chances.min() > 0 else int(np.argmax(fits))
        if chances[best] >= limit:
            break
        kind, subject, amount, _, fault = tried[best]
        fit = float(fits[best])
        found.append(
            Cause(
                kind=kind,
                subject=subject,
                amount=amount,
                unit="" if kind == "polarity" else "dB",
                words=_level_words(kind, subject, amount) + _sharing(plan, kind, subject),
                explains=fit,
                chance=float(chances[best]),
            )
        )
        now -= fit
    return fault, found


def _hypotheses(scenario, fault):
    """Everything that may be off, in lots: each loudspeaker, its drivers, each group, the room,
    each polarity; kind, subject, amount, free parameters, and the fault with it.
    """
    loudspeakers = scenario.loudspeakers
    every = np.arange(len(loudspeakers))
    for n, c in enumerate(loudspeakers):
        this = every == n
        yield [("loudspeaker", c.tag, float(by), 1, fault.louder(by, this)) for by in STEPS_DB]
        yield [
            (kind, c.tag, float(share * BEYOND_DB), 2, fault.louder(share * profile, this))
            for kind, profile in driver_profiles()
            for share in DRIVER_SHARES
        ]
        yield [("polarity", c.tag, -1.0, 1, fault.turned(this))]
    for g in scenario.groups:
        members = np.array([c.group == g.name for c in loudspeakers])
        if members.sum() > 1:
            yield [("group", g.name, float(by), 1, fault.louder(by, members)) for by in STEPS_DB]
    yield [("room", "", float(by), 1, fault.livelier(by)) for by in ROOM_DB]


def driver_profiles():
    """What is left of a loudspeaker of which a driver is dead, for each crossover that it may have.

    Returns
    -------
    profiles : list of tuple
        "high driver" or "low driver", and (7,) [dB]
    """
    found = []
    for at in CROSSOVERS:
        for kind, beyond in (("high driver", range(at + 1, 7)), ("low driver", range(at))):
            profile = np.zeros(7)
            profile[at], profile[list(beyond)] = AT_CROSSOVER_DB, BEYOND_DB
            found.append((kind, profile))
    return found


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
    if kind in ("high driver", "low driver"):
        return _driver_words(kind, subject, amount)
    check = (
        "; it is nearly silent: check that it is connected"
        if amount <= SILENT_DB
        else ": check its tap, its drivers, its aim, and what stands in its way"
    )
    return f"loudspeaker {subject} is {far}{check}"


def _sharing(plan, kind, group):
    """What cannot be told apart in a group of which loudspeakers share a channel."""
    tags = {c.tag for c in plan.scenario.loudspeakers if kind == "group" and c.group == group}
    shared = [", ".join(channel) for channel in plan.channels if len(tags & set(channel)) > 1]
    if not shared:
        return ""
    return (
        f". {' and '.join(shared)} sound together: it may also be one of them that is further off."
        " Listen under each"
    )


def _driver_words(kind, tag, amount):
    """A driver that is dead or worn, as a sentence without its period."""
    high = kind == "high driver"
    where = "high" if high else "low"
    state = "dead" if amount <= SILENT_DB else "weak"
    return (
        f"loudspeaker {tag} plays its {'low' if high else 'high'} octaves as predicted and is"
        f" {abs(amount):.0f} dB low in its {where} ones: its {where} driver is likely {state}."
        " Listen to it alone; check the driver, its protection and its crossover"
    )


def _tunings(plan, readings, conditions, fault):
    """Presets whose octaves are off at all positions alike, beside the faults that were found."""
    return [
        Cause(
            kind="tuning",
            subject=found.use,
            amount=float(np.nanmax(np.abs(found.offsets_db))),
            unit="dB",
            words=found.words,
            explains=found.explains,
            chance=found.chance,
        )
        for found in tuning.offsets(plan, readings, conditions, fault)
    ]


# ---- everything else


def _polarities(plan, readings, conditions):
    """Loudspeakers that the polarity tester shows reversed, and those that gave it no sound."""
    for r in (r for r in readings if r.measured[SINGLE] <= 0):
        silent = r.measured[SINGLE] == 0
        words = (
            f"loudspeaker {r.subject} gives no sound: check its connections, its line and its"
            " channel"
            if silent
            else f"{r.subject} has reversed polarity by the tester. Change plus and minus at one"
            " end"
        )
        yield Cause(
            kind="loudspeaker" if silent else "polarity",
            subject=r.subject,
            amount=SILENCE_DB if silent else -1.0,
            unit="dB" if silent else "",
            words=words,
            explains=np.inf,
            chance=0.0,
        )


def _delays(plan, readings, conditions):
    """Groups that arrive earlier or later after their lead than planned."""
    for use, lead in plan.leads.items():
        for r in (r for r in readings if r.use == use):
            than = " and ".join(r.against) or f"the {lead}"
            what = r.subject if r.against else f"the {r.subject}"
            off = float(r.difference[SINGLE])
            z = off / float(r.spread[SINGLE])
            yield Cause(
                kind="delay",
                subject=r.subject,
                amount=off,
                unit="ms",
                words=(
                    f"in {use} {what} arrives {abs(off):.0f} ms"
                    f" {'later' if off > 0 else 'earlier'} after {than} than planned: check the"
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


# what ``ReadingKind.diagnosis`` asks for: "levels" and "levels alone" are explained together; each
# other test takes the plan, the measured readings of one kind, and the conditions
LEVELS = ("levels", "levels alone")
CERTAIN = {"polarity": _polarities}  # give causes that are no matter of chance
BY_CHANCE = {"delay": _delays, "decay": _decay, "mean": _means}  # give causes with their chance
TESTS = (*LEVELS, *CERTAIN, *BY_CHANCE)
