"""A design task: an attempt scored from 0, the brief as it stands, to 100, the reference design, by
its verdicts in every use and by what it costs.
"""

import hashlib
from dataclasses import dataclass, fields, replace
from datetime import datetime

import numpy as np

from ..acoustics.criteria import CRITERIA
from ..acoustics.evaluate import evaluate
from ..design.aiming import aim
from ..design.arrangements import ARRANGEMENTS, arrange
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..venue.files import to_text
from ..venue.quantity import file_fields
from ..venue.scenario import Scenario
from ..venue.validation import low_over_courts
from .attempts import Attempt
from .yardstick import FAR_STEPS, Yardstick, budget_of

MOVES = ("pan_deg", "downtilt_deg", "height", "gain_db", "delay_ms")  # of the search
# what an attempt may change; of uses only how groups play, of equipment only where the rack stands:
# what each group needs of amplifier and cable follows from where it hangs
FREE = ("groups", "treatments", "equipment", "uses", "units")
FREE_EQUIPMENT = ("rack_x", "rack_y", "rack_height")
# under a loudspeaker over a court; school rules ask for less than international ones; common
# practice, no source [m]
LEAST_OVER_COURT = 6.0
EVEN = 0.5  # points that differ by less are even: half the last digit shown [-]


@dataclass(frozen=True, eq=False)
class Task:
    """A brief with its scale.

    Raises
    ------
    ValueError
        The yardstick is of another brief
    """

    brief: Scenario  # what everybody starts from
    yardstick: Yardstick

    def __post_init__(self):
        if self.yardstick.brief != brief_id(self.brief):
            raise ValueError("the yardstick is of another brief: make it anew.")


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A design in all its uses: what is met, how far the rest misses, what it costs."""

    scenario: Scenario
    quality: float  # 0 to 1: half of it verdicts met, half how far the others miss [-]
    met: int  # verdicts that meet their target
    verdicts: int  # in all
    weakest: tuple  # (use, verdicts met there, verdicts there)
    misses: tuple  # (use, Verdict) of what is not met, the farthest first
    cost: float  # in the price book's currency


@dataclass(frozen=True, kw_only=True, eq=False)
class Score:
    """An attempt on the scale of its brief."""

    judged: Judged
    yardstick: Yardstick
    points: float  # 0 to 100
    strays: tuple  # what was changed although the brief gives it: then there are no points
    arrangement: str = ""  # title of the package's arrangement whose loudspeakers these are

    @property
    def over_budget(self):
        """By how much the budget is exceeded [the price book's currency]."""
        return max(0.0, self.judged.cost - self.yardstick.budget)


def judged(scenario, *, prices=None):
    """Judge a design in the traced room, afresh in every use, over all seats.

    Parameters
    ----------
    scenario : Scenario
        The design
    prices : PriceBook, optional
        The package's invented one when left out

    Returns
    -------
    judged : Judged
        The same for the same scenario

    Raises
    ------
    ValueError
        It cannot be built, or in some use nothing plays
    """
    results = {
        u.name: evaluate(scenario, u.name, room="traced", rays="full") for u in scenario.uses
    }
    met = {name: (sum(v.meets for v in r.verdicts), len(r.verdicts)) for name, r in results.items()}
    weakest = min(met, key=lambda name: met[name][0] / met[name][1])
    misses = [(name, v) for name, r in results.items() for v in r.verdicts if not v.meets]
    return Judged(
        scenario=scenario,
        quality=float(np.mean([_use_quality(r.verdicts) for r in results.values()])),
        met=sum(m for m, _ in met.values()),
        verdicts=sum(n for _, n in met.values()),
        weakest=(weakest, *met[weakest]),
        misses=tuple(sorted(misses, key=lambda pair: -_short(pair[1]))),
        cost=cost(scenario, prices, amplification=amplify(scenario, results, prices=prices)),
    )


def score(scenario, task, *, prices=None):
    """Score an attempt.

    Parameters
    ----------
    scenario : Scenario
        The design
    task : Task
        Brief and scale
    prices : PriceBook, optional
        The package's invented one when left out

    Returns
    -------
    score : Score
        No points where something was changed that the brief gives

    Raises
    ------
    ValueError
        As ``judged``
    """
    found, strays = judged(scenario, prices=prices), outside(task.brief, scenario)
    points = 0.0 if strays else task.yardstick.points(found.quality, found.cost)
    return Score(
        judged=found,
        yardstick=task.yardstick,
        points=points,
        strays=strays,
        arrangement=as_arranged(task.brief, scenario),
    )


def as_arranged(brief, scenario):
    """The package's arrangement that an attempt has taken as it is.

    Parameters
    ----------
    brief, scenario : Scenario
        What everybody starts from, and the attempt

    Returns
    -------
    title : str
        Empty where loudspeakers hang otherwise
    """
    for key, arrangement in ARRANGEMENTS.items():
        try:
            if arrange(brief, key).groups == scenario.groups:
                return arrangement.title
        except ValueError:  # it does not fit this gym
            continue
    return ""


def reference(brief, *, evaluations=300, progress=None, stop=None):
    """A good design for a brief: the best of the package's arrangements, then aimed.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    evaluations : int
        Of the search for a better aim; none when 0 [-]
    progress, stop : callable, optional
        As for ``aim``

    Returns
    -------
    judged : Judged
        The best in quality; of equals the cheapest
    """
    found = []
    for key in ARRANGEMENTS:
        try:
            found.append(judged(arrange(brief, key)))
        except ValueError:  # it does not fit this gym
            continue
    best = max([judged(brief), *found], key=_worth)
    if evaluations:
        more = dict(evaluations=evaluations, starts=1, progress=progress, stop=stop)
        best = max(best, judged(aim(best.scenario, move=MOVES, **more).scenario), key=_worth)
    return best


def yardstick(brief, *, evaluations=300):
    """Measure a brief: what it is worth as it stands, and what a good design is worth and costs.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    evaluations : int
        As for ``reference`` [-]

    Returns
    -------
    yardstick : Yardstick
        To score attempts by

    Raises
    ------
    ValueError
        Nothing better than the brief was found, so there is no scale
    """
    good = reference(brief, evaluations=evaluations)
    return Yardstick(
        brief=brief_id(brief),
        quality_brief=judged(brief).quality,
        quality_reference=good.quality,
        cost_reference=good.cost,
        budget=budget_of(good.cost),
    )


def solve(brief, *, evaluations=600, starts=2, progress=None, stop=None):
    """Let the search for a better aim work on a brief.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    evaluations : int
        As for ``aim``; time grows with it [-]
    starts : int
        As for ``aim`` [-]
    progress, stop : callable, optional
        As for ``aim``

    Returns
    -------
    found : Aimed
        Of ``aim``: it turns, tilts, lifts and balances what the brief has; it buys nothing and
        moves nothing along the plan
    """
    more = dict(evaluations=evaluations, starts=starts, progress=progress, stop=stop)
    return aim(brief, move=MOVES, **more)


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
        Empty when only loudspeakers, treatment and how groups play in the uses were changed,
        and nothing hangs low over a court
    """
    found = [
        f.name.replace("_", " ")
        for f in file_fields(Scenario)
        if f.name not in FREE and getattr(brief, f.name) != getattr(scenario, f.name)
    ]
    found += [*_strayed_uses(brief, scenario), *_free_of_charge(brief, scenario)]
    found += [
        f"equipment: {f.name.replace('_', ' ')}"
        for f in fields(scenario.equipment)
        if f.name not in FREE_EQUIPMENT
        and getattr(brief.equipment, f.name) != getattr(scenario.equipment, f.name)
    ]
    found += [
        f"loudspeaker {c.tag} hangs {scenario.say(height)} over {under}"
        for c, under, height in low_over_courts(scenario)
        if height < LEAST_OVER_COURT
    ]
    return tuple(sorted(found))


def changed_design(brief, scenario):
    """Whether an attempt is another design than the brief.

    Parameters
    ----------
    brief, scenario : Scenario
        What everybody starts from, and the attempt

    Returns
    -------
    changed : bool
        Loudspeakers, treatment or how groups play differ
    """
    names = ("groups", "treatments", "uses")
    return any(getattr(brief, name) != getattr(scenario, name) for name in names)


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


def attempt(brief, made, who, *, now=None, opened=False):
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
    opened : bool
        Whether the search had been opened before

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
    found = made.judged
    return Attempt(
        who=str(who),
        when=when,
        school=brief.name,
        brief=brief_id(brief),
        points=made.points,
        quality=found.quality,
        met=found.met,
        checks=found.verdicts,
        cost=found.cost,
        changed=made.strays,
        opened=opened,
        arrangement=made.arrangement,
        scenario=to_text(replace(found.scenario, units=brief.units)),
    )


def difference(own, other, name):
    """Compare an attempt with another design of the same brief, in words.

    Parameters
    ----------
    own, other : Score
        The attempt, and the other
    name : str
        What the other is called

    Returns
    -------
    sentences : list of str
        Points, verdicts in every use, and money

    Raises
    ------
    ValueError
        They were scored by different yardsticks
    """
    if own.yardstick != other.yardstick:
        raise ValueError("the two were scored by different yardsticks: they do not compare.")
    apart, a, b = own.points - other.points, own.judged, other.judged
    stand = (
        "they are even"
        if abs(apart) < EVEN
        else f"yours is {abs(apart):.0f} points {'better' if apart > 0 else 'worse'}"
    )
    money = a.cost - b.cost
    dearer = (
        f"{abs(money):,.0f} {'more' if money > 0 else 'less'}" if abs(money) >= EVEN else "same"
    )
    return [
        f"Your design has {own.points:.0f} points, {name} {other.points:.0f}: {stand}.",
        f"Verdicts met: {a.met} of {a.verdicts} in yours, {b.met} of {b.verdicts} in {name}.",
        f"The weakest use of yours is {a.weakest[0]}, of {name} {b.weakest[0]}.",
        f"Yours costs {a.cost:,.0f}, {name} {b.cost:,.0f}: {dearer} (invented prices).",
    ]


def _use_quality(verdicts):
    """Half the share of verdicts met, half how near the others are."""
    met = np.mean([v.meets for v in verdicts])
    return (met + 1 - np.mean([_short(v) for v in verdicts]) / FAR_STEPS) / 2


def _short(verdict):
    """How far a verdict misses [steps], at most FAR_STEPS."""
    if verdict.meets:
        return 0.0
    steps = CRITERIA[verdict.criterion].steps(verdict.value, verdict.target)
    return min(FAR_STEPS, max(0.0, -float(steps)))


def _worth(found):
    return round(found.quality, 6), -found.cost


def _strayed_uses(brief, scenario):
    """What of the uses is no longer as the brief has it."""
    before, after = ({u.name: u for u in s.uses} for s in (brief, scenario))
    found = [f"the use '{name}' is gone" for name in before if name not in after]
    found += [f"the use '{name}' is new" for name in after if name not in before]
    for name in before.keys() & after.keys():
        a, b = before[name], after[name]
        found += [
            f"'{name}': {f.name.replace('_', ' ')}"
            for f in fields(a)
            if f.name != "groups" and getattr(a, f.name) != getattr(b, f.name)
        ]
    return found


def _free_of_charge(brief, scenario):
    """What is called existing, and so costs nothing, or was existing and is gone; and loudspeakers
    that are better than their type.
    """
    lost = [t for t in brief.treatments if t.existing and t not in scenario.treatments]
    new = [t for t in scenario.treatments if t.existing and t not in brief.treatments]
    found = [f"existing {t.finish} on the {t.surface}" for t in lost]
    found += [f"{t.finish} on the {t.surface} called existing" for t in new]
    there = {g.name: g for g in brief.groups if g.existing}
    for g in (g for g in scenario.groups if g.existing):
        before = there.get(g.name)
        if before is None or (g.loudspeaker, g.number) != (before.loudspeaker, before.number):
            found.append(f"loudspeakers '{g.name}' called existing")
    leaks = {g.name: g.leak_db for g in brief.groups}
    found += [
        f"what '{g.name}' radiates beside its axis"
        for g in scenario.groups
        if g.leak_db != leaks.get(g.name, 0.0)
    ]
    return found
