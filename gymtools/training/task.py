"""A design task: an attempt scored on the criteria, and compared with what the search for a better
aim makes of the same brief.
"""

import hashlib
from dataclasses import dataclass, fields, replace
from datetime import datetime

import numpy as np

from ..acoustics.criteria import in_sentence
from ..acoustics.evaluate import evaluate
from ..design.aiming import Weights, aim, penalties, penalty
from ..design.weights import LABELS, STEP_SIZES
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..equipment.schedules import Schedule
from ..venue.files import to_text
from ..venue.quantity import file_fields
from ..venue.scenario import Scenario
from .attempts import Attempt


@dataclass(frozen=True)
class Step:
    """What one step of a penalty is."""

    label: str
    meaning: str
    size: float  # of one step [unit]
    unit: str

    def amount(self, steps):
        """Steps in the criterion's own unit.

        Parameters
        ----------
        steps : float
            Of a penalty [steps]

        Returns
        -------
        words : str
            E.g. "0.06 STI"; empty when it rounds to nothing
        """
        digits = 2 if self.size < 1 else 1
        shown = round(steps * self.size, digits)
        return f"{shown:.{digits}f} {self.unit}" if shown > 0 else ""


MEANINGS = {  # by the fields of ``Weights``: what a penalty counts, and the unit of its steps
    "coverage_range": ("scatter of the direct sound over the seats", "dB"),
    "quietest": ("how far it lies below the mean of its area", "dB"),
    "sti": ("what 9 of 10 seats lack of a perfect STI", "STI"),
    "stray": ("the part that walls, roof or empty floor send back", "% of all"),
    "feedback_margin": ("what microphones lack of it", "dB"),
    "arrival_spread": ("time over the target", "ms"),
    "loudest": ("level over what is allowed", "dB"),
}
STEPS = {
    key: Step(in_sentence(LABELS[key]), meaning, STEP_SIZES[key], unit)
    for key, (meaning, unit) in MEANINGS.items()
}
MOVES = ("pan_deg", "downtilt_deg", "height", "gain_db", "delay_ms")  # of the solver
SAME = 0.05  # penalties that differ by less are even: half the last digit shown [steps]
SAME_COST = 0.5  # half the last digit shown, in the price book's currency
# what an attempt may change; of uses only how groups play
FREE = ("groups", "treatments", "equipment", "uses", "units", "loudspeaker_files")


@dataclass(frozen=True, kw_only=True, eq=False)
class Score:
    """One design on all criteria over all its uses."""

    scenario: Scenario
    penalty: float  # weighted over all criteria, lower is better [steps]
    penalties: dict  # means over all uses by the fields of ``Weights`` [steps]
    weakest: tuple  # (use, its penalty [steps])
    met: int  # checks that meet their target
    checks: int  # checks in all
    cost: float  # in the price book's currency
    room: str  # in which it was scored
    weights: Weights  # how much each criterion counted


@dataclass(frozen=True, kw_only=True, eq=False)
class Solution:
    """What the solver makes of a brief."""

    score: Score
    moved: dict  # (from, to) by path
    evaluations: int
    stopped: bool  # before its end


def score(scenario, *, weights=None, room="traced", prices=None):
    """Score a design.

    Parameters
    ----------
    scenario : Scenario
        The design
    weights : Weights, optional
        How much each criterion counts; the usual weights when left out
    room : str
        As for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out

    Returns
    -------
    score : Score
        Evaluated afresh in every use, over all seats
    """
    weights = weights or Weights()
    results = {u.name: evaluate(scenario, u.name, room=room) for u in scenario.uses}
    by_use = {name: penalty(r, weights) for name, r in results.items()}
    by_criterion = [penalties(r) for r in results.values()]
    verdicts = [v for r in results.values() for v in r.verdicts]
    return Score(
        scenario=scenario,
        room=room,
        weights=weights,
        penalty=float(np.mean(list(by_use.values()))),
        weakest=max(by_use.items(), key=lambda pair: pair[1]),
        penalties={
            f.name: float(np.mean([found[f.name] for found in by_criterion]))
            for f in fields(Weights)
        },
        met=sum(v.meets for v in verdicts),
        checks=len(verdicts),
        cost=cost(scenario, prices, amplification=amplify(scenario, results, prices=prices)),
    )


def solve(brief, *, weights=None, evaluations=600, starts=2, progress=None, stop=None):
    """Let the search for a better aim work on a brief, and score the result like an attempt.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    weights : Weights, optional
        As for ``score``
    evaluations : int
        As for ``aim``; time grows with it [-]
    starts : int
        As for ``aim`` [-]
    progress : callable, optional
        As for ``aim``
    stop : callable, optional
        As for ``aim``

    Returns
    -------
    solution : Solution
        It turns, tilts, lifts and balances what the brief has; it buys nothing and moves nothing
        along the plan
    """
    found = aim(
        brief,
        move=MOVES,
        weights=weights,
        evaluations=evaluations,
        starts=starts,
        progress=progress,
        stop=stop,
    )
    return Solution(
        score=score(found.scenario, weights=weights),
        moved=found.moved,
        evaluations=found.evaluations,
        stopped=found.stopped,
    )


def outside(brief, scenario):
    """List what an attempt has changed although the brief gives it.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    scenario : Scenario
        The attempt

    Returns
    -------
    words : tuple of str
        Empty when only loudspeakers, treatment, wiring and how groups play in the uses were changed
    """
    found = [
        f.name.replace("_", " ")
        for f in file_fields(Scenario)
        if f.name not in FREE and getattr(brief, f.name) != getattr(scenario, f.name)
    ]
    before, after = ({u.name: u for u in s.uses} for s in (brief, scenario))
    found += [f"the use '{name}' is gone" for name in before if name not in after]
    found += [f"the use '{name}' is new" for name in after if name not in before]
    for name in before.keys() & after.keys():
        a, b = before[name], after[name]
        found += [
            f"'{name}': {f.name.replace('_', ' ')}"
            for f in fields(a)
            if f.name != "groups" and getattr(a, f.name) != getattr(b, f.name)
        ]
    lost = [t for t in brief.treatments if t.existing and t not in scenario.treatments]
    found += [f"existing {t.finish} on the {t.surface}" for t in lost]
    return tuple(sorted(found))


def brief_id(brief):
    """Short text that differs from one brief to another.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from

    Returns
    -------
    key : str
        The same for the same file
    """
    return hashlib.sha256(to_text(brief).encode()).hexdigest()[:16]


def attempt(brief, made, who, *, now=None):
    """An attempt to be kept.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    made : Score
        The attempt's score
    who : str
        Whose it is
    now : datetime, optional
        Date and time; the clock's when left out

    Returns
    -------
    attempt : Attempt
        With the text of the scenario, so that it can be scored again

    Raises
    ------
    ValueError
        No name is given
    """
    when = (now or datetime.now().astimezone()).isoformat(timespec="seconds")
    return Attempt(
        who=str(who),
        when=when,
        school=brief.name,
        brief=brief_id(brief),
        room=made.room,
        penalty=made.penalty,
        met=made.met,
        checks=made.checks,
        cost=made.cost,
        penalties=made.penalties,
        changed=outside(brief, made.scenario),
        scenario=to_text(replace(made.scenario, units=brief.units)),
    )


def difference(own, other):
    """Compare an attempt with the solver's result, in words.

    Parameters
    ----------
    own : Score
        The attempt
    other : Score
        The solver's

    Returns
    -------
    sentences : list of str
        The whole, where the attempt is worse and better (with the unit of each criterion), checks
        and money

    Raises
    ------
    ValueError
        The two were scored in different rooms, or with different weights
    """
    if own.room != other.room:
        raise ValueError(
            f"the attempt was scored in the {own.room} room, the solver's result in the"
            f" {other.room} one: they do not compare."
        )
    if own.weights != other.weights:
        raise ValueError(
            "the attempt and the solver's result were scored with different weights: they do not"
            " compare."
        )
    gap = own.penalty - other.penalty
    stand = (
        "they are even"
        if abs(gap) < SAME
        else f"yours is {abs(gap):.1f} steps {'worse' if gap > 0 else 'better'}"
    )
    return [
        (
            f"Your design has a penalty of {own.penalty:.1f} steps, the solver's"
            f" {other.penalty:.1f}: {stand}."
        ),
        *_criteria_apart(own, other),
        (
            f"Checks met: {own.met} of {own.checks} in yours, {other.met} of {other.checks} in the"
            " solver's."
        ),
        _cost_apart(own.cost, other.cost),
    ]


def _criteria_apart(own, other):
    """Where an attempt is worse, then where it is better, what weighs most first."""
    for word, sign in (("worse", 1), ("better", -1)):
        weights = {key: getattr(own.weights, key) for key in STEPS}
        apart = {
            key: sign * (own.penalties[key] - other.penalties[key])
            for key, weight in weights.items()
            if weight > 0
        }
        order = sorted(apart, key=lambda key: -apart[key] * weights[key])
        rows = [
            f"{STEPS[key].label} by {amount}"
            for key in order
            if (amount := STEPS[key].amount(apart[key]))
        ]
        if rows:
            yield f"Yours is {word} in {'; '.join(rows)}."


def _cost_apart(own, other):
    """What both cost."""
    money = own - other
    apart = f"{abs(money):,.0f} {'more' if money > 0 else 'less'}"
    return (
        f"Yours costs {own:,.0f}, the solver's {other:,.0f}:"
        f" {'the same' if abs(money) < SAME_COST else apart} (prices are invented examples)."
    )


def attempts_table(found):
    """Attempts as a table for the supervisor.

    Parameters
    ----------
    found : Attempts
        Of ``training.attempts.read_attempts``

    Returns
    -------
    table : Schedule
        A row for every attempt that can be read; the note names the lines that cannot
    """
    columns = (
        "number",
        "name",
        "date",
        "school",
        "brief",
        "room",
        "penalty [steps]",
        "checks met",
        "checks",
        "cost",
        *(f"{step.label} [steps]" for step in STEPS.values()),
        "changed outside the brief",
        "scenario file",
    )
    rows = [
        (
            n,
            a.who,
            a.when,
            a.school,
            a.brief,
            a.room,
            round(a.penalty, 3),
            a.met,
            a.checks,
            round(a.cost, 2),
            *(round(a.penalties[key], 3) if key in a.penalties else "" for key in STEPS),
            "; ".join(a.changed),
            scenario_name(n),
        )
        for n, a in enumerate(found.attempts, 1)
    ]
    return Schedule(title="Attempts", columns=columns, rows=tuple(rows), note=found.warning)


def scenario_name(number):
    """File name of an attempt's scenario in an export.

    Parameters
    ----------
    number : int
        Of the attempt in its file, from 1 [-]

    Returns
    -------
    name : str
        Made of the number alone, whatever the names are
    """
    return f"attempt-{number:03d}.toml"
