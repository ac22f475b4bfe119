"""What a job takes beside its equipment: conduit, hardware, spares, lift, travel, permit, training.
Each quantity follows from the design by a rule that its line states; the rules are common practice,
no source.
"""

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from .prices import TREATMENT
from .signal import inputs

CREW, DAY = 2, 8.0  # fitters who work together, and their day [-, h]
ON_JOIST = 0.15  # so near to the middle of a joist a loudspeaker hangs on it [m]
RECEIVERS = 4  # that one antenna distribution feeds
SESSIONS = {"nobody": 1, "teacher": 2, "trained": 2}  # of training, by who runs the system
OVERHEAD = (  # kinds of work done from a lift
    "loudspeaker",
    "hanging point",
    "hanging hardware",
    "line transformer",
    "cable",
    "conduit",
    "treatment",
)
LIFT, DELIVERY = "scissor lift", "delivery, and boards under its wheels"
CREW_DAY = "day of the crew"
LATER = 2  # phase that is proposed for the treatment; everything else is in the first
BY_HOURS = ("lift hire", "travel")  # kinds that follow from the hours of all others
COMMISSIONING = "commissioning"
USE_MEASURED = "use measured"
# lines of commissioning that estimate the time of the test plan's readings
ESTIMATED = (
    "gym measured as a whole",
    "loudspeaker measured alone",
    USE_MEASURED,
    "area measured in a use",
)
METERS = 2  # people who take the readings of a test plan, one at the rack    common practice [-]


@dataclass(frozen=True, kw_only=True)
class Counted:
    """How many of something a design needs, and why so many."""

    kind: str
    item: str
    quantity: float  # lengths and areas in SI [-, m or m2]
    why: str


def from_design(scenario, amplification, hung):
    """What hangs, pulls, feeds and is kept as spare.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification or None
        Its channels; None where the equipment is there already
    hung : sequence of Loudspeaker
        Those that are hung new

    Returns
    -------
    counted : list of Counted
        In the order of a bill
    """
    types = list(dict.fromkeys(c.type.name for c in hung))
    rows = [
        *(_overhead(scenario, hung) if hung else ()),
        ("spare", "high-frequency driver", len(types), f"one for each type: {', '.join(types)}"),
        (COMMISSIONING, "loudspeaker measured alone", len(hung), "each that is new"),
    ]
    if amplification is not None:
        rows += [*_signal(scenario, amplification), *_hand_over(scenario)]
    return [Counted(kind=k, item=i, quantity=n, why=w) for k, i, n, w in rows if n]


def _overhead(scenario, hung):
    """What holds and guards the loudspeakers."""
    beside, why = _beside_joists(scenario.hall, hung)
    return (
        ("hanging hardware", "strut between joists", beside, why),
        ("hanging hardware", "guard against balls", len(hung), "one for each loudspeaker"),
    )


def _signal(scenario, amplification):
    """What cable and microphones take."""
    microphones, runs = inputs(scenario), _conduit_runs(amplification)
    wireless = sum(i.wireless for i in microphones)
    pairs = math.ceil(wireless / RECEIVERS) if wireless > 1 else 0
    words = f"{wireless} wireless receivers, up to {RECEIVERS} on one"
    longest = f"the longest cable of each row: {', '.join(runs)}"
    return (
        ("conduit", "for loudspeaker cable", sum(runs.values()), longest),
        ("antenna", "pair with distribution", pairs, words),
        ("spare", "batteries and windscreen", len(microphones), "one set for each microphone"),
    )


def _hand_over(scenario):
    """What is measured, applied for and taught."""
    sessions = SESSIONS[scenario.equipment.operator]
    again = "at hand-over, and again in the first season" if sessions > 1 else "at hand-over"
    uses = f"each use: {', '.join(u.name for u in scenario.uses)}"
    areas = sum(len(u.listens) for u in scenario.uses)
    return (
        (COMMISSIONING, "gym measured as a whole", 1, "once for the job"),
        (COMMISSIONING, USE_MEASURED, len(scenario.uses), uses),
        (COMMISSIONING, "area measured in a use", areas, "who listens, use by use"),
        ("permit", "electrical", 1, "once for the job"),
        ("training", "session for those who run it", sessions, again),
    )


def phase(line):
    """Phase that is proposed for a line: what hangs on nothing else can come later.

    Parameters
    ----------
    line : Line or Counted
        Of a bill

    Returns
    -------
    phase : int
        1, or 2 for treatment [-]
    """
    return LATER if line.kind == TREATMENT else 1


def from_hours(lines):
    """Lift and travel, by the hours of what is to be done in each phase.

    Parameters
    ----------
    lines : sequence of Line
        Of the bill so far

    Returns
    -------
    counted : list of Counted
        In the order of a bill; every phase has days and a delivery of its own
    """
    overhead, on_site = Counter(), Counter()
    for line in lines:
        on_site[phase(line)] += line.hours
        overhead[phase(line)] += line.hours * (line.kind in OVERHEAD)
    times = sum(1 for hours in overhead.values() if hours > 0)
    once = "once" if times <= 1 else f"{times} times, once a phase"
    rows = (
        ("lift hire", LIFT, *_days(overhead, "hours of work overhead")),
        ("lift hire", DELIVERY, times, f"{once}; the boards spread its load on the floor"),
        ("travel", CREW_DAY, *_days(on_site, "hours on site")),
    )
    return [Counted(kind=k, item=i, quantity=n, why=w) for k, i, n, w in rows if n]


def _days(hours, words):
    """Days of the crew for the hours of each phase, and why so many."""
    found = {n: h for n, h in sorted(hours.items()) if h > 0}
    days = {n: math.ceil(round(h / (CREW * DAY), 6)) for n, h in found.items()}
    why = f"{sum(found.values()):.0f} {words} by {CREW} fitters, {DAY:g} hours a day"
    if len(days) > 1:
        why += f" ({', '.join(f'phase {n}: {d}' for n, d in days.items())})"
    return sum(days.values()), why


def _beside_joists(hall, hung):
    """How many loudspeakers hang beside a joist, and why they count so."""
    if hall.across_joists is None:
        return len(hung), "one for each loudspeaker: where the joists run is not known"
    if not len(hall.joists):
        return len(hung), "one for each loudspeaker: no joist stands over the floor"
    gaps = [np.abs(hall.joists - c.position[hall.across_joists]).min() for c in hung]
    return sum(gap > ON_JOIST for gap in gaps), "one for each loudspeaker that hangs beside a joist"


def _conduit_runs(amplification):
    """Longest cable of each row, by its name [m]."""
    runs = {}
    for channel in amplification.channels:
        runs[channel.group] = max(runs.get(channel.group, 0.0), channel.length)
    return runs
