"""Likely causes of what differs: each is tried on the readings, and told when it explains more than
chance does.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm

from ..physics import bands, intelligibility
from ..venue.units import to_file
from .expected import alone

FALSE_ALARM = 0.05  # chance that anything at all is told of a hall that is as predicted
MOST = 3  # causes looked for in the levels, one after the other
# of one loudspeaker, and of a group
STEPS_DB = np.concatenate([np.arange(-20.0, 0, 0.5), np.arange(0.5, 6.5, 0.5)])
ROOM_DB = np.concatenate([np.arange(-6.0, 0, 0.5), np.arange(0.5, 6.5, 0.5)])  # of the late sound
EDGES = bands.EXACT[:, None] * 10 ** np.array([-0.15, 0.15])  # of the octaves (7, 2) [Hz]


@dataclass(frozen=True, kw_only=True, eq=False)
class Cause:
    """Something that would explain readings."""

    kind: str  # "loudspeaker", "group", "room", "polarity", "delay", "decay", "clarity" or "reach"
    what: str  # tag, group or use; "" for the room
    amount: float  # in ``unit``
    unit: str
    words: str
    explains: float  # how much less the squared deviations are with it, in variances (chi square)
    chance: float  # of as much in a hall that is as predicted, for this one test


@dataclass(frozen=True, kw_only=True, eq=False)
class _Levels:
    """Levels of one use as read: places that were, what is predicted there from each loudspeaker
    and the room.
    """

    direct: np.ndarray  # (source, place, 7), energy
    late: np.ndarray  # (place, 7)
    share: np.ndarray  # of the late sound by the loudspeaker that feeds it (source, place or 1, 7)
    arrival: np.ndarray  # (source, place) [s]
    read: np.ndarray  # (place, 8): octaves and dB(A), NaN where not read [dB]
    sd: np.ndarray  # (place, 8) [dB]
    base: np.ndarray  # predicted (place, 8) [dB]


def causes(plan, readings, told):
    """What would explain the readings.

    Parameters
    ----------
    plan : TestPlan
        The plan [-]
    readings : Readings
        What was read [-]
    told : Expected
        What was predicted [-]

    Returns
    -------
    causes : tuple of Cause
        Surest first; of a hall that is as predicted and readings that err as ``expected`` takes
        them, anything is told in one of twenty cases at most
    """
    tests = _tests(plan, readings, told)
    limit = FALSE_ALARM / max(tests["count"], 1)
    found = _levels_explained(plan, tests["levels"], limit) + tests["other"]
    marked = [
        Cause(
            kind="polarity",
            what=i.of,
            amount=-1.0,
            unit="",
            explains=np.inf,
            chance=0.0,
            words=(
                f"{i.of} is wired the wrong way round: the tester says so. Change plus and minus at"
                " one end"
            ),
        )
        for i in plan.of("polarity")
        if readings.values.get(i.key) == -1.0
    ]
    seen = {c.what for c in marked}
    return tuple(
        marked
        + sorted(
            (
                c
                for c in found
                if c.chance < limit and not (c.kind == "polarity" and c.what in seen)
            ),
            key=lambda c: c.chance,
        )
    )


def _tests(plan, readings, told):
    """Everything that is tried, and how much of it."""
    levels = {
        use: made for use in plan.leads if (made := _levels(plan, readings, told, use)) is not None
    }
    if (made := _alone(plan, readings, told)) is not None:
        levels["alone",] = made
    other = [
        *_delays(plan, readings, told),
        *_decay(plan, readings, told),
        *_mean(plan, readings, told, "clarity"),
        *_mean(plan, readings, told, "reach"),
    ]
    tags = len(plan.scenario.loudspeakers) if levels else 0
    return dict(
        levels=levels,
        other=other,
        count=len(other) + MOST * (2 * tags + len(plan.scenario.groups) + 1) * bool(levels),
    )


# ---- levels
# -----------------------------------------------------------------------------------


def _levels(plan, readings, told, use):
    items = [i for i in plan.of("level", use) if i.key in readings.values]
    if len(items) < 3:
        return None
    result = told.results[use]
    index, pink = [i.index for i in items], bands.to_energy(-intelligibility.SPEECH_SPECTRUM_DB)
    fed = result.sources.on_axis / result.sources.q
    return _Levels(
        direct=result.direct[:, index].astype(float) * pink,
        late=result.reverberant.at(result.points[index]).astype(float) * pink,
        share=(fed / fed.sum(axis=0))[:, None],
        arrival=result.arrival_s[:, index],
        read=_as_read(items, readings),
        sd=np.array([told.sd[i.key] for i in items]),
        base=np.array([told.values[i.key] for i in items]),
    )


def _alone(plan, readings, told):
    """Every loudspeaker by itself: at each place there is one, and its share of the late sound."""
    items = [i for i in plan.of("alone") if i.key in readings.values]
    if len(items) < 3:
        return None
    tags, pink = (
        [c.tag for c in plan.scenario.loudspeakers],
        bands.to_energy(-intelligibility.SPEECH_SPECTRUM_DB),
    )
    direct, late, share = (
        np.zeros((len(tags), len(items), 7)),
        np.zeros((len(items), 7)),
        np.zeros((len(tags), len(items), 7)),
    )
    for k, item in enumerate(items):
        n, result = tags.index(item.of), told.results[item.use]
        direct[n, k] = result.direct[n, item.index] * pink
        late[k] = alone(result, item) * pink - direct[n, k]
        share[n, k] = 1.0
    return _Levels(
        direct=direct,
        late=late,
        share=share,
        arrival=np.zeros((len(tags), len(items))),
        read=_as_read(items, readings),
        sd=np.array([told.sd[i.key] for i in items]),
        base=np.array([told.values[i.key] for i in items]),
    )


def _as_read(items, readings):
    """Octaves and dB(A) (place, 8), NaN where not read [dB]."""
    read = np.full((len(items), 8), np.nan)
    for n, item in enumerate(items):
        value = readings.values[item.key]
        read[n, slice(0, 7) if np.ndim(value) else 7] = value
    return read


def level_changes(plan, readings, told, use, gains_db, room_db=0.0):
    """What levels of a use change by when loudspeakers, or the room, give more or less than
    designed.

    Parameters
    ----------
    plan : TestPlan
        The plan [-]
    readings : Readings
        At least three levels of the use [-]
    told : Expected
        What is predicted [-]
    use : str
        Name of the use [-]
    gains_db : array
        Of every loudspeaker of the scenario, 0 as designed (loudspeaker,) [dB]
    room_db : float
        Of the late sound [dB]

    Returns
    -------
    changes : dict
        (8,) by the key of a reading: seven octaves and dB(A) [dB]
    """
    one = _levels(plan, readings, told, use)
    if one is None:
        raise ValueError(f"use '{use}': three levels at least must be read.")
    gains_db = np.asarray(gains_db, float)
    found = _changed(one, gains_db, np.zeros(len(gains_db), bool), float(room_db))
    return dict(
        zip([i.key for i in plan.of("level", use) if i.key in readings.values], found, strict=True)
    )


def _levels_explained(plan, levels, limit):
    """Causes in the levels, the best first, each looked for after the ones before are taken as
    given.
    """
    if not levels:
        return []
    gains, found = np.zeros(len(plan.scenario.loudspeakers)), []
    turned, room_db = np.zeros(len(gains), bool), 0.0
    now = _misfit(levels, gains, turned, room_db)
    for _ in range(MOST):
        best = None
        for kind, what, amount, trial in _hypotheses(plan.scenario, gains, turned, room_db):
            fit = now - _misfit(levels, *trial)
            if best is None or fit > best[0]:
                best = fit, kind, what, amount, trial
        fit, kind, what, amount, trial = best
        chance = float(chi2.sf(max(fit, 0.0), 1))
        if chance >= limit:
            break
        found.append(
            Cause(
                kind=kind,
                what=what,
                amount=amount,
                unit="dB" if kind != "polarity" else "",
                words=_level_words(kind, what, amount),
                explains=float(fit),
                chance=chance,
            )
        )
        gains, turned, room_db = trial
        now -= fit
    return found


def _hypotheses(scenario, gains, turned, room_db):
    """Everything that may be off: each loudspeaker, each group, the room, each polarity."""
    loudspeakers = scenario.loudspeakers
    for n, c in enumerate(loudspeakers):
        for by in STEPS_DB:
            yield (
                "loudspeaker",
                c.tag,
                float(by),
                (gains + by * (np.arange(len(loudspeakers)) == n), turned, room_db),
            )
        yield (
            "polarity",
            c.tag,
            -1.0,
            (gains, turned ^ (np.arange(len(loudspeakers)) == n), room_db),
        )
    for g in scenario.groups:
        mine = np.array([c.group == g.name for c in loudspeakers])
        if mine.sum() > 1:
            for by in STEPS_DB:
                yield "group", g.name, float(by), (gains + by * mine, turned, room_db)
    for by in ROOM_DB:
        yield "room", "", float(by), (gains, turned, room_db + by)


def _misfit(levels, gains, turned, room_db):
    """Squared deviations in variances, the volume control of each use and octave left free."""
    whole = 0.0
    for one in levels.values():
        off = one.read - one.base - _changed(one, gains, turned, room_db)
        weight = np.where(np.isfinite(off), 1 / one.sd**2, 0.0)
        off = np.nan_to_num(off)
        mean = (weight * off).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-30)
        whole += float((weight * (off - mean) ** 2).sum())
    return whole


def _changed(one, gains, turned, room_db):
    """By how much levels change (place, 8) [dB]."""
    power = bands.to_energy(gains)[:, None, None]
    late = one.late * (one.share * power).sum(axis=0) * bands.to_energy(room_db)
    was, now = one.direct.sum(axis=0) + one.late, (one.direct * power).sum(axis=0) + late
    if turned.any():
        was, now = (
            was + _interference(one, np.zeros(len(gains)), np.zeros(len(gains), bool)),
            now + _interference(one, gains, turned),
        )
        # two loudspeakers are never so alike that nothing is left
        floor = 0.02 * (one.direct.sum(axis=0) + one.late)
        was, now = np.maximum(was, floor), np.maximum(now, floor)
    octaves = 10 * np.log10(now / was)
    dba = bands.a_weighted(10 * np.log10(now)) - bands.a_weighted(10 * np.log10(was))
    return np.concatenate([octaves, dba[:, None]], axis=1)


def _interference(one, gains, turned):
    r"""What loudspeakers that play the same add to, or take from, the sum of their energies, octave
    by octave.

    .. math::
        2 \sqrt{E_1 E_2} \, \frac{\sin 2\pi f_2 \tau - \sin 2\pi f_1 \tau}{2\pi (f_2 - f_1) \tau}
    """
    amplitude = (
        np.sqrt(one.direct)
        * 10 ** (gains / 20)[:, None, None]
        * np.where(turned, -1.0, 1.0)[:, None, None]
    )
    total = np.zeros(one.late.shape)
    for a in range(len(gains)):
        for b in range(a + 1, len(gains)):
            tau = (one.arrival[a] - one.arrival[b])[:, None]
            low, high = EDGES.T
            alike = (high * np.sinc(2 * high * tau) - low * np.sinc(2 * low * tau)) / (high - low)
            total += 2 * amplitude[a] * amplitude[b] * alike
    return total


def _level_words(kind, what, amount):
    far = f"{abs(amount):.1f} dB {'low' if amount < 0 else 'high'}"
    if kind == "polarity":
        return (
            f"{what} is wired the wrong way round: the low octaves are weak where it and its"
            " neighbors arrive together. Change plus and minus at one end, and test again"
        )
    if kind == "room":
        return (
            f"the room gives {abs(amount):.1f} dB {'more' if amount > 0 else 'less'} late sound"
            f" than predicted, everywhere: it is {'livelier' if amount > 0 else 'less lively'} than"
            " assumed"
        )
    if kind == "group":
        return f"the whole {what} is {far}: its gain, its amplifier, or its line"
    silent = (
        "; nearly silent: is it connected at all?"
        if amount <= -15
        else ": its tap, a driver, its aim, or something in its way"
    )
    return f"loudspeaker {what} is {far}{silent}"


# ---- everything else
# -----------------------------------------------------------------------------------


def _delays(plan, readings, told):
    """Groups that come earlier or later against their lead than planned."""
    for use in plan.leads:
        for item in plan.of("arrival", use):
            if item.key in readings.values:
                off = readings.values[item.key] - told.values[item.key]
                z = off / told.sd[item.key]
                words = (
                    f"in {use} the {item.of} comes {abs(off):.0f} ms"
                    f" {'later' if off > 0 else 'earlier'} than planned against the"
                    f" {plan.leads[use]}: the delay of one of the two"
                )
                yield Cause(
                    kind="delay",
                    what=item.of,
                    amount=float(off),
                    unit="ms",
                    words=words,
                    explains=float(z**2),
                    chance=float(2 * norm.sf(abs(z))),
                )


def _decay(plan, readings, told):
    """Reverberation that is longer or shorter than predicted, by more than readings scatter."""
    read = [
        (readings.values[i.key], told.values[i.key], told.sd[i.key])
        for i in plan.of("reverberation")
        if i.key in readings.values
    ]
    if not read:
        return
    off, weight = (
        np.array([m - w for m, w, _ in read]),
        np.array([np.where(np.isfinite(m), 1 / s**2, 0.0) for m, _, s in read]),
    )
    there = weight.sum(axis=0) > 0
    mean = (weight * np.nan_to_num(off)).sum(axis=0)[there] / weight.sum(axis=0)[there]
    explains = float((mean**2 * weight.sum(axis=0)[there]).sum())
    wanted = read[0][1][there]
    middle = [k for k, b in enumerate(np.flatnonzero(there)) if b in (2, 3, 4)] or list(
        range(len(wanted))
    )
    share = float((mean / wanted)[middle].mean())
    more = "longer" if share > 0 else "shorter"
    first = next(iter(told.results.values()))
    volume, rt = first.configuration.room.volume, float(wanted[middle].mean())
    area = abs(0.161 * volume / (rt * (1 + share)) - 0.161 * volume / rt)
    shown = f"{to_file(area, 'm2', plan.scenario.units):.0f} {plan.scenario.units}²"
    words = (
        f"reverberation is {100 * abs(share):.0f} % {more} than predicted (500 Hz to 2 kHz:"
        f" {rt * (1 + share):.2f} s, not {rt:.2f} s): the room is"
        f" {'livelier' if share > 0 else 'less lively'}, as with about {shown}"
        f" {'less' if share > 0 else 'more'} of full absorption"
    )
    yield Cause(
        kind="decay",
        what="",
        amount=share,
        unit="",
        words=words,
        explains=explains,
        chance=float(chi2.sf(explains, int(there.sum()))),
    )


def _mean(plan, readings, told, test):
    """A kind of reading that is off as a whole in a use."""
    for use in plan.leads:
        read = [
            (readings.values[i.key] - told.values[i.key]) / told.sd[i.key]
            for i in plan.of(test, use)
            if i.key in readings.values and i.key in told.values
        ]
        if not read:
            continue
        off = (
            float(np.mean(read))
            * told.sd[next(i.key for i in plan.of(test, use) if i.key in readings.values)]
        )
        z = float(np.sum(read) / np.sqrt(len(read)))
        if test == "clarity":
            words = (
                f"clarity in {use} is {abs(off):.2f} {'higher' if off > 0 else 'lower'} than"
                f" predicted, on the mean of {len(read)} places: look at the decay, the noise, and"
                " the equalizer"
            )
        else:
            words = (
                f"in {use} the system reaches {abs(off):.1f} dB {'more' if off > 0 else 'less'}"
                " than predicted: limiter, gain structure, taps, or amplifier"
            )
        yield Cause(
            kind=test,
            what=use,
            amount=off,
            unit="" if test == "clarity" else "dB",
            words=words,
            explains=z**2,
            chance=float(2 * norm.sf(abs(z))),
        )
