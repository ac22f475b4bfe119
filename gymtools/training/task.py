"""A design task: an attempt scored on the criteria, and told beside what the search for a better
aim makes of the same brief.
"""

import hashlib
from dataclasses import dataclass, fields, replace
from datetime import datetime

import numpy as np

from ..acoustics.evaluate import evaluate
from ..design.aiming import Weights, aim, penalties, penalty
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..equipment.schedules import Schedule
from ..venue.files import to_text
from ..venue.scenario import Scenario
from .attempts import Attempt

TERMS = {  # what is lacking, in words, and how much of what one step is
    "evenness": (
        "evenness: how much the direct sound scatters over the places that listen",
        1.0,
        "dB",
    ),
    "worst": ("worst place: how far it lies below the mean of its area", 1.0, "dB"),
    "clarity": ("clarity: what nine tenths of the places lack of a perfect STI", 0.03, "STI"),
    "stray": ("sound that misses the listeners and is sent back", 5.0, "% of all sound"),
    "spare": ("spare gain that microphones lack", 1.0, "dB"),
    "arrivals": ("arrivals further apart than asked for", 5.0, "ms"),
    "loudest": ("loudest place: how far over what is allowed", 1.0, "dB"),
}
MOVES = ("pan_deg", "downtilt_deg", "height", "gain_db", "delay_ms")  # of the solver
SAME = 0.05  # scores that differ by less are even: half the last digit told [steps]
# what an attempt may change; of uses only how groups play
FREE = ("groups", "treatments", "equipment", "uses", "units", "text", "loudspeaker_files")


@dataclass(frozen=True, kw_only=True, eq=False)
class Scored:
    """One design on all criteria over all its uses."""

    scenario: Scenario
    score: float  # lower is better [steps]
    terms: dict  # means over all uses by the names of ``Weights`` [steps]
    weakest: tuple  # (use, its score [steps])
    hold: int  # verdicts that hold
    of: int
    cost: float
    room: str
    weights: Weights  # how much each criterion counted


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """What the solver makes of a brief."""

    scored: Scored
    moved: dict  # (from, to) by path
    evaluations: int
    stopped: bool


def scored(scenario, *, weights=None, room="statistical", prices=None):
    """Score a design.

    Parameters
    ----------
    scenario : Scenario
        The design [-]
    weights : Weights, optional
        How much each criterion counts; the usual weights when left out [-]
    room : str
        As for ``evaluate`` [-]
    prices : PriceBook, optional
        The package's invented one when left out [-]

    Returns
    -------
    scored : Scored
        Evaluated afresh in every use, over all places
    """
    weights = weights or Weights()
    results = {u.name: evaluate(scenario, u.name, room=room) for u in scenario.uses}
    by_use = {name: penalty(r, weights) for name, r in results.items()}
    lacking = [penalties(r) for r in results.values()]
    verdicts = [v for r in results.values() for v in r.verdicts]
    return Scored(
        scenario=scenario,
        room=room,
        weights=weights,
        score=float(np.mean(list(by_use.values()))),
        weakest=max(by_use.items(), key=lambda pair: pair[1]),
        terms={
            f.name: float(np.mean([found[f.name] for found in lacking])) for f in fields(Weights)
        },
        hold=sum(v.word == "meets" for v in verdicts),
        of=len(verdicts),
        cost=cost(scenario, prices, system=amplify(scenario, results, prices=prices)),
    )


def solved(
    brief,
    *,
    weights=None,
    evaluations=600,
    starts=2,
    room="statistical",
    prices=None,
    progress=None,
    stop=None,
):
    """What the search for a better aim makes of a brief, scored like an attempt.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from [-]
    weights : Weights, optional
        As for ``scored`` [-]
    evaluations : int
        As for ``aim``; time grows with it [-]
    starts : int
        As for ``aim`` [-]
    room : str
        As for ``evaluate`` [-]
    prices : PriceBook, optional
        As for ``scored`` [-]
    progress : callable, optional
        As for ``aim`` [-]
    stop : callable, optional
        As for ``aim`` [-]

    Returns
    -------
    solved : Solved
        It turns, tilts, lifts and balances what the brief has; it buys nothing and moves nothing
        along the plan
    """
    found = aim(
        brief,
        move=MOVES,
        weights=weights,
        room=room,
        evaluations=evaluations,
        starts=starts,
        progress=progress,
        stop=stop,
    )
    made = scored(found.scenario, weights=weights, room=room, prices=prices)
    return Solved(
        scored=made, moved=found.moved, evaluations=found.evaluations, stopped=found.stopped
    )


def outside(brief, scenario):
    """What an attempt has changed that the brief gives.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from [-]
    scenario : Scenario
        The attempt [-]

    Returns
    -------
    words : tuple of str
        Empty when only loudspeakers, treatment, wiring and how groups play in the uses were changed
    """
    found = [
        f.name.replace("_", " ")
        for f in fields(Scenario)
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
    """What tells one brief from another.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from [-]

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
        What everybody starts from [-]
    made : Scored
        The attempt's score [-]
    who : str
        Whose it is [-]
    now : datetime, optional
        Date and time; the clock's when left out [-]

    Returns
    -------
    attempt : Attempt
        With the text of the scenario, so that it can be scored again
    """
    when = (now or datetime.now().astimezone()).isoformat(timespec="seconds")
    return Attempt(
        who=str(who),
        when=when,
        school=brief.name,
        brief=brief_id(brief),
        room=made.room,
        score=made.score,
        hold=made.hold,
        of=made.of,
        cost=made.cost,
        terms=made.terms,
        changed=outside(brief, made.scenario),
        scenario=to_text(replace(made.scenario, units=brief.units)),
    )


def difference(own, other):
    """How an attempt stands to the solver's result, in words.

    Parameters
    ----------
    own : Scored
        The attempt [-]
    other : Scored
        The solver's [-]

    Returns
    -------
    sentences : list of str
        The whole, what the attempt is worse and better in (with the unit of each criterion),
        verdicts and money
    """
    if own.room != other.room:
        raise ValueError(
            f"the attempt was scored in the {own.room} room, the solver's result in the"
            f" {other.room} one: they do not compare."
        )
    if own.weights != other.weights:
        raise ValueError(
            "the attempt and the solver's result were weighed differently: they do not compare."
        )
    gap, weight = own.score - other.score, lambda k: getattr(own.weights, k)
    said = f"Your design lacks {own.score:.1f} steps, the solver's {other.score:.1f}"
    worse = "worse" if gap > 0 else "better"
    apart = "they are even" if abs(gap) < SAME else f"yours is {abs(gap):.1f} steps {worse}"
    found = [f"{said}: {apart}."]
    for word, sign in (("worse", 1), ("better", -1)):
        apart = {k: sign * (own.terms[k] - other.terms[k]) for k in TERMS if weight(k) > 0}
        order = sorted(apart, key=lambda k: -apart[k] * weight(k))
        rows = [
            f"{TERMS[k][0].split(':')[0]} by {words}"
            for k in order
            if (words := _amount(k, apart[k]))
        ]
        if rows:
            found.append(f"Yours is {word} in {'; '.join(rows)}.")
    found.append(
        f"Verdicts that hold: {own.hold} of {own.of} in yours, {other.hold} of {other.of} in the"
        " solver's."
    )
    money = own.cost - other.cost
    apart = (
        "the same" if abs(money) < 0.5 else f"{abs(money):,.0f} {'more' if money > 0 else 'less'}"
    )
    found.append(
        f"Yours costs {own.cost:,.0f}, the solver's {other.cost:,.0f}: {apart} (prices are invented"
        " examples)."
    )
    return found


def _amount(key, steps):
    """Steps of one criterion in its own unit; empty when there is nothing to tell."""
    size, unit = TERMS[key][1:]
    digits = 2 if size < 1 else 1
    return f"{steps * size:.{digits}f} {unit}" if round(steps * size, digits) > 0 else ""


def attempts_table(kept):
    """Attempts as a table for the supervisor.

    Parameters
    ----------
    kept : Kept
        Of ``training.attempts.kept`` [-]

    Returns
    -------
    table : Schedule
        A row for every attempt that can be read; the note names what cannot
    """
    columns = (
        "number",
        "name",
        "date",
        "school",
        "brief",
        "room",
        "score [steps]",
        "verdicts that hold",
        "verdicts",
        "cost",
        *(f"{k} [steps]" for k in TERMS),
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
            round(a.score, 3),
            a.hold,
            a.of,
            round(a.cost, 2),
            *(round(a.terms[k], 3) if k in a.terms else "" for k in TERMS),
            "; ".join(a.changed),
            scenario_name(n),
        )
        for n, a in enumerate(kept.attempts, 1)
    ]
    return Schedule(title="Attempts", columns=columns, rows=tuple(rows), note=kept.told)


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
