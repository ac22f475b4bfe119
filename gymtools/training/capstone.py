"""The last piece of work: an unseen gym drawn by the supervisor's seed and given as a survey; the
learner's own scenario, held against the gym; a rubric for the talk.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..design.arrangements import ARRANGEMENTS, arrange
from ..venue.files import parse
from ..venue.new_school import NewSchool
from ..venue.scenario import Scenario
from ..venue.units import in_words
from ..venue.validation import low_over_courts
from .task import LEAST_OVER_COURT, judged
from .yardstick import Yardstick, budget_of

# of a laser from wall to wall by one person; common practice, no source [m]
SCATTER = 0.004
BLUNDER = (0.25, 0.9)  # of the one reading that went wrong [m]
NEAR = 0.06  # within which a length of the learner's file is that of the survey [m]
READINGS = 3  # of every length
NAMES = ("Ashbrook", "Birchmere", "Coldwater", "Elderfield", "Foxhollow", "Greenbank", "Hazelton")
ROOFS = ("plain deck", "acoustic deck 1 in")
WALLS = ("painted block", "bare block")
LENGTHS = {  # key of the scenario's hall: label on the survey
    "length": "Length of the gym, wall to wall",
    "width": "Width of the gym, wall to wall",
    "clear_height": "Clear height under the joists",
}
WORTHLESS = 0.5  # quality at which the scale of the capstone begins [-]
RUBRIC = (  # what the supervisor listens for, and what the marks 0 to 3 mean
    (
        "The room",
        "Not named",
        "Size and seats",
        "Also what the room does to speech",
        "Also what was measured, and how sure it is",
    ),
    (
        "The uses",
        "One use only",
        "Every use named",
        "The weakest use named with its reason",
        "Also what the school may give up, and what not",
    ),
    (
        "The choice",
        "No reason",
        "A reason",
        "What the other option was better in",
        "Also what a point of quality costs",
    ),
    (
        "The figures",
        "Numbers without units",
        "Numbers with units and seats",
        "Also the target and its source",
        "Also the range, and the unknown that moves it most",
    ),
    (
        "Safety and limits",
        "Not mentioned",
        "Rigging and power are deferred to professionals",
        "Also hearing and the fire alarm",
        "Also what the calculation cannot say",
    ),
    (
        "Plain words",
        "Jargon",
        "Terms explained when asked",
        "A principal could follow",
        "A principal could decide",
    ),
)
MOST_MARKS = 3


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A line of the survey."""

    label: str
    words: tuple  # what was read, in words: three readings of a length, else one


@dataclass(frozen=True, kw_only=True, eq=False)
class Unseen:
    """A gym that only its survey shows."""

    truth: Scenario  # without loudspeakers
    survey: tuple  # of Reading


def unseen(seed, units="ft"):
    """Draw a gym.

    Parameters
    ----------
    seed : int
        The supervisor's [-]
    units : str
        "m" or "ft"

    Returns
    -------
    gym : Unseen
        The same for the same seed
    """
    chance = np.random.default_rng(seed)
    sides = (("north",), ("south",), ("north", "south"))[int(chance.integers(3))]
    hall = {
        "length": float(chance.integers(26, 35)) + float(chance.integers(10)) / 10,
        "width": float(chance.integers(20, 27)) + float(chance.integers(10)) / 10,
        "clear_height": 6.8 + float(chance.integers(0, 13)) / 10,
    }
    rows = int(chance.integers(5, 11))
    roof, walls = str(chance.choice(ROOFS)), str(chance.choice(WALLS))
    name = f"{chance.choice(NAMES)} School {seed}"
    answers = {f"hall.{key}": value for key, value in hall.items()}
    answers |= {"walls": sides, "rows": rows, "hall.roof": roof, "hall.walls": walls}
    school = NewSchool(name=name, units=units, answers=answers, source="drawn for a capstone")
    survey = [Reading(label="Name", words=(name,))]
    wrong = str(chance.choice(list(hall)))
    for key, value in hall.items():
        read = _read_three(value, key == wrong, chance)
        words = tuple(in_words(r, units) for r in read)
        survey.append(Reading(label=LENGTHS[key], words=words))
    survey += [
        Reading(label="Walls with bleachers", words=(" and ".join(sides),)),
        Reading(label="Rows of bleachers", words=(str(rows),)),
        Reading(label="Roof", words=(roof,)),
        Reading(label="Walls", words=(walls,)),
        Reading(label="Uses", words=("as the page of a new school proposes them",)),
    ]
    return Unseen(truth=parse(school.text), survey=tuple(survey))


def mismatches(truth, own):
    """Where the learner's scenario is not the gym of the survey.

    Parameters
    ----------
    truth, own : Scenario
        The gym, and what the learner wrote down

    Returns
    -------
    words : tuple of str
        What differs, without the right value; empty where all agrees
    """
    found = [
        label.lower()
        for key, label in LENGTHS.items()
        if abs(getattr(own.hall, key) - getattr(truth.hall, key)) > NEAR
    ]
    found += [
        f"finish of the {part}"
        for part in ("roof", "walls")
        if getattr(own.hall, part) != getattr(truth.hall, part)
    ]
    banks = [sorted((b.side, b.rows) for b in s.banks) for s in (truth, own)]
    if [side for side, _ in banks[0]] != [side for side, _ in banks[1]]:
        found.append("walls with bleachers")
    elif banks[0] != banks[1]:
        found.append("rows of bleachers")
    if sorted(u.name for u in truth.uses) != sorted(u.name for u in own.uses):
        found.append("uses")
    return tuple(found)


def hung_in(truth, own):
    """The learner's loudspeakers and treatment in the gym as it is.

    Parameters
    ----------
    truth, own : Scenario
        The gym, and the learner's design

    Returns
    -------
    scenario : Scenario
        Gym, seats, uses, noise, targets and microphones of the gym; the design of the learner

    Raises
    ------
    ValueError
        One line: the design cannot be built in the gym as it is, or has no loudspeakers
    """
    if not own.groups:
        raise ValueError("there are no loudspeakers in this file yet.")
    groups = {u.name: u.groups for u in own.uses}
    new = tuple(t for t in own.treatments if not t.existing)
    return replace(
        truth,
        groups=tuple(replace(g, existing=False, condition="", leak_db=0.0) for g in own.groups),
        treatments=(*truth.treatments, *new),
        uses=tuple(replace(u, groups=groups.get(u.name, u.groups)) for u in truth.uses),
        text=None,
    )


def too_low(design):
    """Loudspeakers that hang too low over a court.

    Parameters
    ----------
    design : Scenario
        Of ``hung_in``

    Returns
    -------
    words : tuple of str
        As in the design task; empty when none does
    """
    return tuple(
        f"loudspeaker {c.tag} hangs {design.say(height)} over {under}"
        for c, under, height in low_over_courts(design)
        if height < LEAST_OVER_COURT
    )


def scale(truth):
    """The scale of a capstone: from a design that is worth little to the best arrangement.

    Parameters
    ----------
    truth : Scenario
        The gym

    Returns
    -------
    yardstick : Yardstick
        Of the best of the package's arrangements

    Raises
    ------
    ValueError
        No arrangement fits the gym
    """
    found = []
    for key in ARRANGEMENTS:
        try:
            found.append(judged(arrange(truth, key)))
        except ValueError:  # it does not fit this gym
            continue
    if not found:
        raise ValueError("no arrangement fits this gym: take another seed.")
    best = max(found, key=lambda j: (round(j.quality, 6), -j.cost))
    return Yardstick(
        brief=truth.name,
        quality_brief=WORTHLESS,
        quality_reference=best.quality,
        cost_reference=best.cost,
        budget=budget_of(best.cost),
    )


def talk_marks(marks):
    """Marks of the talk, added up.

    Parameters
    ----------
    marks : sequence of int
        0 to 3 for each row of ``RUBRIC`` [-]

    Returns
    -------
    total, most : int
        Marks, and how many there can be [-]

    Raises
    ------
    ValueError
        There are more or fewer than rows, or one is outside 0 to 3
    """
    marks = list(marks)
    if len(marks) != len(RUBRIC) or any(m not in range(MOST_MARKS + 1) for m in marks):
        raise ValueError(f"give {len(RUBRIC)} marks of 0 to {MOST_MARKS}.")
    return sum(marks), MOST_MARKS * len(RUBRIC)


def _read_three(value, wrong, chance):
    """Three readings of a length; of the wrong one, one is far off."""
    read = value + SCATTER * chance.standard_normal(READINGS)
    if wrong:
        read[int(chance.integers(READINGS))] += chance.choice([-1, 1]) * chance.uniform(*BLUNDER)
    return [float(r) for r in read]
