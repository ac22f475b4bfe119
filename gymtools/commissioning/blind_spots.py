"""What the readings that were made could not have shown: said beside whatever they show."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2, norm

from . import tuning
from .diagnosis import SHARE, diagnose, limit_of, patterns
from .kinds import KINDS
from .levels import Fault, misfits
from .possible_faults import LABELS, nothing_wrong, possible_faults, read_with
from .readings import FEWEST, measured_of

POWER = 0.9  # chance of being found from which a fault counts as one that would have been seen
AHEAD = float(norm.ppf(POWER))  # standard deviations beyond what is reported [-]
# kinds of reading without which a question stays open, and the question
QUESTIONS = {
    "sti": "how clear speech is",
    "feedback margin": "how far microphones are from feedback",
    "maximum level": "how loud the system gets",
    "reverberation": "how long the gym rings",
    "ambient": "how loud the empty gym is",
}


@dataclass(frozen=True, kw_only=True)
class Sight:
    """A kind of fault, and in which cases the readings made would show it."""

    kind: str  # of ``possible_faults.LABELS``
    seen: tuple  # subjects with which nine of ten such faults would be found
    unseen: tuple

    @property
    def fault(self):
        """The fault in words."""
        return LABELS[self.kind]


def sights(plan, readings, conditions):
    """What the readings made would show of every possible fault.

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
    sights : list of Sight
        One for each kind of fault that the gym can have
    """
    made = [r for r in readings if r.is_measured and r.is_expected and r.kind.diagnosis]
    found = {}
    for fault in possible_faults(plan, conditions):
        seen = bool(made) and _would_be_seen(plan, made, conditions, fault)
        found.setdefault(fault.kind, ([], []))[not seen].append(fault.subject or "the room")
    return [
        Sight(kind=kind, seen=tuple(seen), unseen=tuple(unseen))
        for kind, (seen, unseen) in found.items()
    ]


def _would_be_seen(plan, made, conditions, fault):
    """Whether nine of ten gyms with a fault would show it in these readings."""
    read = [
        replace(new, measured=np.where(np.isfinite(old.measured), new.measured, np.nan))
        for new, old in zip(read_with(plan, made, conditions, fault), made, strict=True)
    ]
    limit = limit_of(plan, made, sum(r.kind.key == "arrival" for r in made))
    if fault.kind in ("dead", "reversed") and _tested(read, fault.subject):
        return True
    if fault.kind == "late":
        return _late(read, limit)
    if fault.kind == "not loaded":
        return any(
            o.use == fault.subject and o.not_loaded and _is_sure(o.chance, SHARE, plan)
            for o in tuning.offsets(plan, read, conditions, Fault.none(len(fault.late_ms)))
        )
    if fault.kind == "livelier":
        decays = [r for r in read if r.kind.key == "reverberation"]
        return any(c.kind == "decay" for c in diagnose(plan, decays, conditions))
    levels = patterns(plan, read, conditions)
    if not levels:
        return False
    none = nothing_wrong(plan).levels
    explains = float(misfits(levels, [none])[0] - misfits(levels, [fault.levels])[0])
    least = chi2.isf(limit, 2 if fault.kind == "dull" else 1)
    return np.sqrt(max(explains, 0.0)) >= np.sqrt(least) + AHEAD


def _tested(read, tag):
    """Whether the polarity tester was under a loudspeaker."""
    return any(r.kind.key == "polarity" and r.subject == tag for r in read)


def _late(read, limit):
    """Whether one of the arrivals is off by so much that chance cannot hide it."""
    least = norm.isf(limit / 2) + AHEAD
    return any(
        abs(r.difference[-1]) >= least * r.spread[-1] for r in read if r.kind.key == "arrival"
    )


def _is_sure(chance, allowed, plan):
    """Whether an effect is so large that nine of ten gyms with it are below the allowed chance."""
    needed = norm.isf(allowed / len(plan.leads) / 2) + AHEAD
    return norm.isf(max(chance, 1e-300) / 2) >= needed


def open_questions(plan, readings):
    """What nothing was read about.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Measured

    Returns
    -------
    sentences : list of str
        Without periods; a question of the gym, or of some uses of it
    """
    found = []
    for kind, question in QUESTIONS.items():
        read = {r.use for r in readings if r.kind.key == kind and r.is_measured}
        wanted = {""} if kind in ("reverberation", "ambient") else set(plan.leads)
        if kind == "feedback margin":
            wanted = {u for u in wanted if plan.scenario.use(u).microphones}
        left = [u for u in ("", *plan.leads) if u in wanted - read]
        if left:
            where = f" in {', '.join(left)}" if left != [""] else ""
            found.append(f"{question}{where} ({KINDS[kind].label.lower()} not read)")
    few = [u for u in plan.leads if len(measured_of(readings, "level", u)) < FEWEST]
    if few:
        found.append(f"how even levels are in {', '.join(few)} (fewer than {FEWEST} levels read)")
    return found
