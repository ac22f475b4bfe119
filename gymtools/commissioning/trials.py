"""How well a plan finds faults: each possible fault is put into the readings of a gym as predicted,
and the diagnosis is asked.

Measured with five gyms of each fault (tests/seeded_faults.py prints the table). All that are
silent, reversed or late were named by either form in Dovecote's game and graduation and in
Larkfield; of presets not loaded 10 of 10 and 25 of 25 by the full form, 10 and 17 by the short one.
Of loudspeakers 6 dB low: Dovecote 17 of 20 full and 7 short, Larkfield 39 of 40 and 18; of dead
high drivers 15 of 20 and 15, 39 of 40 and 21. A room that rings 1.6 times as long lies within what
published gyms show: found once in 20. Something was reported in 2 of 400 gyms without a fault.

Dovecote's two pairs share a channel each, so that a reading "alone" has both of a pair: with
fifteen gyms of each, the full form names 46 of 60 that are 6 dB low; with a
channel for every loudspeaker, either form names 60 of 60.
"""

from dataclasses import dataclass, replace

import numpy as np

from .diagnosis import diagnose
from .expected import expect
from .possible_faults import LABELS, nothing_wrong, possible_faults, read_with
from .readings import BANDS, in_octaves


@dataclass(frozen=True, kw_only=True)
class Tally:
    """What became of the faults of one kind."""

    fault: str  # in words
    tried: int
    found: int  # of them, named with kind and place
    other: int  # gyms in which something else was reported, beside the fault or instead of it

    @property
    def missed(self):
        """Faults that were not named [-]."""
        return self.tried - self.found


def trials(plan, conditions, *, draws=1, without=20, seed=1):
    """Count faults that are found, missed, and taken for others.

    Parameters
    ----------
    plan : TestPlan
        Full or short
    conditions : Conditions
        What the expectations rest on
    draws : int
        Gyms with each fault [-]
    without : int
        Gyms without any fault [-]
    seed : int
        Of the errors of readings and predictions [-]

    Returns
    -------
    tallies : list of Tally
        One for each kind of fault, and one for gyms without any, of which nothing should be found
    """
    readings, rng = expect(plan.readings, conditions), np.random.default_rng(seed)
    cases = [f for f in possible_faults(plan, conditions) for _ in range(draws)]
    cases += [nothing_wrong(plan)] * without
    counts = {kind: [0, 0, 0] for kind in (*LABELS, "")}
    for fault in cases:
        read = [_in_octaves(r) for r in read_with(plan, readings, conditions, fault, rng)]
        causes = diagnose(plan, read, conditions)
        named = [c for c in causes if fault.kind and fault.is_named_by(c)]
        count = counts[fault.kind]
        count[0] += 1
        count[1] += bool(named)
        count[2] += len(causes) > len(named)
    words = LABELS | {"": "nothing wrong"}
    return [
        Tally(fault=words[kind], tried=tried, found=found, other=other)
        for kind, (tried, found, other) in counts.items()
        if tried
    ]


def _in_octaves(reading):
    """A level read in octaves, and not in dB(A) beside them."""
    if not reading.kind.dba:
        return reading
    return replace(reading, measured=in_octaves(reading.measured[BANDS]))
