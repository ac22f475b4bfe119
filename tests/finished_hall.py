"""Invented readings of a finished hall: evaluated from what was "built", with errors of the size
that ``expected`` takes them to have.
"""

from dataclasses import replace

import numpy as np

from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.exposure import loudness
from gymtools.commissioning.diagnosis import _interference, _levels
from gymtools.commissioning.expected import expected
from gymtools.commissioning.plan import arrival_ms, as_tested
from gymtools.commissioning.sheet import Readings
from gymtools.design.uncertainty import _each_alone
from gymtools.equipment.amplification import amplify
from gymtools.physics import bands, intelligibility
from gymtools.venue.scenario import changed


def predicted(plan, ambient=None):
    """What ``compare`` predicts, by formula."""
    results = {
        use: evaluate(as_tested(plan.scenario, use, ambient), follow_echoes=False)
        for use in plan.leads
    }
    return expected(
        plan,
        results,
        reach={
            use: loudness(r, amplify(r.scenario, {use: r})).margin_db for use, r in results.items()
        },
    )


def measure(
    plan,
    seed=0,
    *,
    built=None,
    cabinets_db=None,
    late_ms=None,
    rt_factor=1.0,
    reversed_tag=None,
    error=1.0,
    dba=False,
):
    """Readings of a hall as it was built.

    ``built``: scenario that was built, the plan's own when left out; ``cabinets_db``: gain of
    single loudspeakers by tag; ``late_ms``: delay of whole groups; ``rt_factor``: of the decay
    times read; ``reversed_tag``: a loudspeaker wired the wrong way round; ``error``: of the errors
    drawn; ``dba``: levels read in dB(A) alone.
    """
    rng, built = np.random.default_rng(seed), built or plan.scenario
    told = predicted(plan)
    values = {"ambient": np.array([45.0, 42, 38, 35, 32, 28, 22])}
    results = {}
    for use in plan.leads:
        s = as_tested(built, use)
        for group, late in (late_ms or {}).items():
            if s.uses[0].group_setting(group).on:
                s = changed(
                    s,
                    {
                        ("uses", 0, "groups", group, "delay_ms"): (
                            s.uses[0].group_setting(group).delay_ms + late
                        )
                    },
                )
        apart = _each_alone(s, s.uses[0])
        for tag, gain in (cabinets_db or {}).items():
            apart = changed(
                apart,
                {
                    ("uses", 0, "groups", tag, "gain_db"): (
                        s.uses[0].group_setting(_group(built, tag)).gain_db + gain
                    )
                },
            )
        results[use] = evaluate(s, follow_echoes=False), evaluate(apart, follow_echoes=False)
    for item in plan.items:
        sd = told.sd.get(item.key)
        if item.test == "reverberation":
            values[item.key] = told.values[item.key] * rt_factor + error * rng.normal(size=7) * sd
        elif item.test in ("level", "alone"):
            r = results[item.use][1]
            heard = (
                r.total_db[item.index]
                if item.test == "level"
                else bands.to_level(_by_itself(built, item, cabinets_db or {}))
            )
            # the volume control stands somewhere
            pink = heard - intelligibility.SPEECH_SPECTRUM_DB + 7.0
            if reversed_tag and item.test == "level":
                pink = pink + _turned(plan, told, item, reversed_tag)
            read = np.append(pink, bands.a_weighted(pink)) + error * rng.normal(size=8) * sd
            values[item.key] = float(read[7]) if dba else read[:7]
        elif item.test == "polarity":
            values[item.key] = 1.0
        elif item.test == "clarity":
            values[item.key] = float(
                np.clip(results[item.use][1].sti[item.index] + error * rng.normal() * sd, 0, 1)
            )
        elif item.test == "arrival":
            r = results[item.use][0]
            values[item.key] = (
                arrival_ms(r, item.of, item.index)
                - arrival_ms(r, plan.leads[item.use], item.index)
                + error * rng.normal() * sd
            )
        elif item.key in told.values:
            values[item.key] = told.values[item.key] + error * rng.normal() * sd
    return Readings(values=values, remarks={}, bad=(), missing=())


def _by_itself(built, item, cabinets_db):
    """One loudspeaker evaluated with all others off, and set back to the volume at which all of
    them play.
    """
    s = as_tested(built, item.use)
    apart = _each_alone(s, s.uses[0])
    one = changed(
        apart, {("uses", 0, "groups", c.tag, "on"): c.tag == item.of for c in built.loudspeakers}
    )
    together, single = evaluate(apart, follow_echoes=False), evaluate(one, follow_echoes=False)
    n = [c.tag for c in built.loudspeakers].index(item.of)
    back = (
        together.sources.on_axis[n]
        / single.sources.on_axis[n]
        * bands.to_energy(cabinets_db.get(item.of, 0.0))
    )
    return bands.to_energy(single.total_db[item.index]) * back


def _group(scenario, tag):
    return next(c.group for c in scenario.loudspeakers if c.tag == tag)


def _turned(plan, told, item, tag):
    """What a wrong polarity changes at a place, octave by octave: coherent sums with it and
    without.
    """
    one = _levels(
        plan,
        Readings(
            values={i.key: np.zeros(7) for i in plan.of("level", item.use)},
            remarks={},
            bad=(),
            missing=(),
        ),
        told,
        item.use,
    )
    n = [i.key for i in plan.of("level", item.use)].index(item.key)
    none = np.zeros(len(plan.scenario.loudspeakers))
    energy = one.direct.sum(axis=0) + one.late
    right, wrong = (
        energy
        + _interference(
            one, none, np.array([c.tag == tag and bad for c in plan.scenario.loudspeakers])
        )
        for bad in (False, True)
    )
    return 10 * np.log10(np.maximum(wrong, 0.02 * energy) / np.maximum(right, 0.02 * energy))[n]


def only(readings, *tests):
    """The readings of some tests alone."""
    return replace(
        readings, values={k: v for k, v in readings.values.items() if k.split()[0] in tests}
    )
