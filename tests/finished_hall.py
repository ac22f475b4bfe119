"""Invented readings of a finished gym: evaluated from what was "built", with errors as large as
``expected`` takes them to be.
"""

from dataclasses import replace

import numpy as np

from gymtools.acoustics.evaluate import evaluate
from gymtools.commissioning.comparison import limits_db
from gymtools.commissioning.expected import Conditions, arrival_ms, expect
from gymtools.commissioning.levels import Fault, interference, levels_of
from gymtools.commissioning.plan import as_tested
from gymtools.commissioning.readings import in_octaves, one_value
from gymtools.commissioning.sheet import filled_sheet
from gymtools.design.input_errors import ungrouped
from gymtools.physics import bands, intelligibility
from gymtools.venue.paths import changed

AMBIENT_DB = in_octaves([45.0, 42, 38, 35, 32, 28, 22])
VOLUME_DB = 7.0  # where the volume stands above the design's


def predicted(plan, ambient=None, room="statistical"):
    """Conditions as ``compare`` makes them, by formula or traced, with the level left in every
    use.
    """
    results = {
        use: evaluate(as_tested(plan.scenario, use, ambient), room=room) for use in plan.leads
    }
    return Conditions(results=results, leads=plan.leads, to_limit_db=limits_db(plan, results))


def expected_of(plan):
    """Readings of a plan with their expectations, by key."""
    return {r.key: r for r in expect(plan.readings, predicted(plan))}


def measure(
    plan,
    seed=0,
    *,
    built=None,
    gains_db=None,
    late_ms=None,
    rt_factor=1.0,
    reversed_tag=None,
    error=1.0,
    dba=False,
    conditions=None,
):
    """Sheet of a gym as it was built.

    ``built``: scenario that was built, the plan's own when left out; ``gains_db``: of single
    loudspeakers by tag; ``late_ms``: delay of whole groups; ``rt_factor``: of the decay times read;
    ``reversed_tag``: a loudspeaker of reversed polarity; ``error``: of the errors drawn; ``dba``:
    levels read in dB(A) alone; ``conditions``: of ``predicted``, computed when left out.
    """
    rng, built, gains_db = np.random.default_rng(seed), built or plan.scenario, gains_db or {}
    conditions = conditions or predicted(plan)
    results = {u: _built(built, u, gains_db, late_ms or {}) for u in plan.leads}
    measured = {}
    for r in expect(plan.readings, conditions):
        whole, apart = results.get(r.use, (None, None))
        kind = r.kind.key
        if kind == "ambient":
            measured[r.key] = AMBIENT_DB
        elif kind == "reverberation":
            read = r.expected[:7] * rt_factor + error * rng.normal(size=7) * r.spread[:7]
            measured[r.key] = in_octaves(read)
        elif kind in ("level", "alone"):
            if kind == "level":
                heard = apart.total_db[r.position.index]
            else:
                heard = bands.to_level(by_itself(built, r, gains_db))
            pink = heard - intelligibility.SPEECH_SPECTRUM_DB + VOLUME_DB
            if reversed_tag and kind == "level":
                pink = pink + _turned(plan, conditions, r, reversed_tag)
            read = in_octaves(pink, bands.a_weighted(pink))
            read = read + error * rng.normal(size=8) * r.spread
            measured[r.key] = one_value(read[7]) if dba else in_octaves(read[:7])
        elif kind == "polarity":
            measured[r.key] = one_value(1.0)
        else:
            still = _single(r, plan, whole, apart)
            read = still + error * rng.normal() * r.spread[7]
            measured[r.key] = one_value(np.clip(read, 0, 1) if kind == "sti" else read)
    return filled_sheet(plan, measured)


def _built(built, use, gains_db, late_ms):
    """A use as built: the whole, and every loudspeaker a group of its own."""
    s = as_tested(built, use)
    setting = s.uses[0].group_setting
    for group, late in late_ms.items():
        if setting(group).on:
            path = ("uses", s.uses[0].name, "groups", group, "delay_ms")
            s = changed(s, {path: setting(group).delay_ms + late})
    return evaluate(s, room="statistical"), as_built(s, use, gains_db)


def as_built(built, use, gains_db, room="statistical"):
    """A use evaluated with some loudspeakers louder or softer, every one a group of its own."""
    s = as_tested(built, use)
    setting = s.uses[0].group_setting
    apart = ungrouped(s, s.uses[0])
    for tag, gain in gains_db.items():
        path = ("uses", s.uses[0].name, "groups", tag, "gain_db")
        apart = changed(apart, {path: setting(_group(built, tag)).gain_db + gain})
    return evaluate(apart, room=room)


def _single(reading, plan, whole, apart):
    """A reading of one value without its error."""
    at = reading.position.index
    if reading.kind.key == "sti":
        return apart.sti[at]
    if reading.kind.key == "arrival":
        own, lead = reading.playing or reading.subject, reading.against or plan.leads[reading.use]
        return arrival_ms(whole, own, at) - arrival_ms(whole, lead, at)
    return reading.expected[7]


def by_itself(built, reading, gains_db):
    """A channel evaluated with all others off, and set back to the volume of all."""
    s = as_tested(built, reading.use)
    apart = ungrouped(s, s.uses[0])
    sounding = reading.playing or (reading.subject,)
    only_these = {
        ("uses", s.uses[0].name, "groups", c.tag, "on"): c.tag in sounding
        for c in built.loudspeakers
    } | {
        ("uses", s.uses[0].name, "groups", c.tag, "gain_db"): (
            s.uses[0].group_setting(c.group).gain_db + gains_db.get(c.tag, 0.0)
        )
        for c in built.loudspeakers
        if c.tag in sounding
    }
    together = evaluate(apart, room="statistical")
    single = evaluate(changed(apart, only_these), room="statistical")
    n = [c.tag for c in built.loudspeakers].index(sounding[0])
    back = together.sources.on_axis[n] / single.sources.on_axis[n]
    gain = bands.to_energy(gains_db.get(sounding[0], 0.0))
    return bands.to_energy(single.total_db[reading.position.index]) * back * gain


def _group(scenario, tag):
    return next(c.group for c in scenario.loudspeakers if c.tag == tag)


def _turned(plan, conditions, reading, tag):
    """What a reversed polarity changes at a position, octave by octave: coherent sums with it and
    without.
    """
    readings = plan.of("level", reading.use)
    one = levels_of(readings, conditions.results[reading.use])
    n = [r.key for r in readings].index(reading.key)
    right = Fault.none(len(plan.scenario.loudspeakers))
    wrong = right.turned(np.array([c.tag == tag for c in plan.scenario.loudspeakers]))
    energy = one.direct.sum(axis=0) + one.late
    both = [np.maximum(energy + interference(one, f), 0.02 * energy) for f in (wrong, right)]
    return 10 * np.log10(both[0] / both[1])[n]


def only(sheet, *kinds):
    """The readings of some kinds alone."""
    return replace(sheet, readings=tuple(r for r in sheet.readings if r.kind.key in kinds))
