"""What does not fit of the things that stand in a gym: each fault names the thing and says by how
much, in the file's units.
"""

import math
from dataclasses import dataclass
from itertools import combinations

from .locations import overlap

HEADROOM = 2.0  # over the top row's footing [m]     common practice, no source
SHARED = 0.01  # area that two things may share, for rounding [m2]
# free floor around a court [m]     3 ft least, 10 ft preferred, NFHS basketball rules (secondary
# source)
RUN_OUT = 0.91
SLACK = 1e-6  # length that nothing is refused for [m]


@dataclass(frozen=True)
class Fault:
    """One thing that does not fit: what it is called, and one line that says why."""

    name: str
    words: str


def court_faults(configuration, say):
    """Courts that do not lie within the gym.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands
    say : callable
        Gives a length in words

    Returns
    -------
    faults : iterator of Fault
        For the main court, then for side courts
    """
    hall, court = configuration.hall, configuration.court
    x, y = _size(court.footprint())
    if x > hall.length + SLACK or y > hall.width + SLACK:
        size = f"{say(court.length)} x {say(court.width)}"
        turned = ", turned" if court.turned else ""
        yield Fault(
            "court",
            f"court '{court.level}' ({size}{turned}) does not fit into the gym"
            f" ({say(hall.length)} x {say(hall.width)}).",
        )
    else:
        far = outside(court.footprint(), hall)
        if far > SLACK:
            yield Fault(
                "court",
                f"court '{court.level}' reaches {say(far)} outside the gym. Move it (court_x,"
                " court_y) or choose a smaller one.",
            )
    for side in configuration.side_courts:
        far = outside(side.footprint(), hall)
        if far > SLACK:
            yield Fault(side.name, f"'{side.name}' reaches {say(far)} outside the gym.")


def court_doubts(court, banks, hall, say):
    """What is legal but should be looked at: bleachers over the lines of the court, and too little
    floor between the lines and walls or fronts of bleachers.

    Parameters
    ----------
    court : Court
        The main one
    banks : sequence of Bank
        As they stand; those on a mezzanine leave the floor free
    hall : Hall
        The gym
    say : callable
        Gives a length in words

    Returns
    -------
    doubts : list of str
        A sentence each
    """
    found, short = [], []
    for bank in (b for b in banks if b.on_floor):
        free = _apart(bank.footprint(hall), court.footprint())
        if overlap(bank.footprint(hall), court.footprint()) > SHARED:
            found.append(
                f"'{bank.name}' reaches over the lines of the court when it stands like this, by"
                f" {overlap_words(bank, court, hall, say)}."
            )
        elif free < RUN_OUT:
            short.append(
                f"{_only(free, say)} floor remains between the lines of the court and the front of"
                f" '{bank.name}'; rules ask for at least {say(RUN_OUT)}."
            )
    free = -outside(court.footprint(), hall)
    if free < RUN_OUT:
        short.append(
            f"{_only(free, say)} floor remains around the court; rules ask for at least"
            f" {say(RUN_OUT)}."
        )
    return found + short


def divider_doubts(divider, galleries, hall, say):
    """Balconies and running tracks that the divider goes through.

    Parameters
    ----------
    divider : Divider or None
        Of the gym
    galleries : sequence of Balcony
        Balconies, and sides of tracks
    hall : Hall
        The gym
    say : callable
        Gives a length in words

    Returns
    -------
    doubts : list of str
        One sentence or none
    """
    if divider is None:
        return []
    cut = [
        one
        for one in galleries
        if overlap(divider.footprint(hall), one.footprint(hall)) > SHARED
        and (divider.height is None or divider.height > one.underside)
    ]
    if not cut:
        return []
    names = ", ".join(f"'{one.name}'" for one in cut)
    return [
        f"The divider goes through {names}. Give it a height of at most"
        f" {say(min(one.underside for one in cut))}, or expect sound to pass where a real curtain"
        " is cut out around it."
    ]


def _only(free, say):
    """How much is free, to the millimeter."""
    return f"Only {say(free)} of" if free > 0.001 else "No"


def _apart(a, b):
    """Distance between two rectangles of the floor, 0 where they meet [m]."""
    across = max(a[0] - b[1], b[0] - a[1], 0.0)
    along = max(a[2] - b[3], b[2] - a[3], 0.0)
    return math.hypot(across, along)


def _size(rectangle):
    west, east, south, north = rectangle
    return east - west, north - south


def outside(rectangle, hall):
    """How far a rectangle of the floor reaches outside the gym.

    Parameters
    ----------
    rectangle : tuple
        (x low, x high, y low, y high) [m]
    hall : Hall
        The gym

    Returns
    -------
    far : float
        Negative inside [m]
    """
    west, east, south, north = rectangle
    x, y = hall.length / 2, hall.width / 2
    return max(-x - west, east - x, -y - south, north - y)


def floor_faults(thing, hall, say):
    """Chairs or a portable stage that reach outside the gym.

    Parameters
    ----------
    thing : FloorSeats or PortableStage
        On the floor
    hall : Hall
        The gym
    say : callable
        Gives a length in words

    Returns
    -------
    faults : iterator of Fault
        One or none
    """
    far = outside(thing.footprint(), hall)
    if far > SLACK:
        yield Fault(thing.name, f"'{thing.name}' reaches {say(far)} outside the gym.")


def bank_faults(bank, hall, say):
    """What of a bank does not fit into the gym: along its wall, into it, and under the roof.

    Parameters
    ----------
    bank : Bank
        Open or closed
    hall : Hall
        The gym
    say : callable
        Gives a length in words

    Returns
    -------
    faults : iterator of Fault
        Up to three
    """
    sideways = bank.side in ("north", "south")
    wall, deep = (hall.length, hall.width) if sideways else (hall.width, hall.length)
    long, beyond = bank.length - wall, bank.length / 2 + abs(bank.offset) - wall / 2
    if beyond > SLACK:
        much = f"{say(long)} too long" if long > SLACK else f"it reaches {say(beyond)} past its end"
        yield Fault(
            bank.name,
            f"'{bank.name}' ({say(bank.length)} long, offset {say(bank.offset)}) does not fit along"
            f" the {bank.side} wall ({say(wall)}): {much}.",
        )
    reach = bank.setback + bank.depth
    if reach > deep - 1.0:
        back = f" and stands {say(bank.setback)} from the wall" if bank.setback else ""
        yield Fault(
            bank.name,
            f"'{bank.name}' is {say(bank.depth)} deep{back}: more than the gym ({say(deep)}) can"
            " hold.",
        )
    edge = max(abs(bank.footprint(hall)[2]), abs(bank.footprint(hall)[3]))
    roof = hall.height if sideways else float(hall.roof_height(edge))
    if sideways and bank.setback:
        roof = float(hall.roof_height(edge))  # its back is nearer to the ridge
    if bank.top + HEADROOM > roof:  # closed ones too: they are there to be opened
        yield Fault(
            bank.name,
            f"'{bank.name}': its top row ({say(bank.top)}) leaves less than {say(HEADROOM)} under"
            f" the roof ({say(roof)}). Fewer rows, less rise?",
        )


def standing_faults(configuration, say):
    """Things that stand in each other's place.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands
    say : callable
        Gives a length in words

    Returns
    -------
    faults : iterator of Fault
        One for every pair
    """
    hall, c = configuration.hall, configuration
    for a, b in combinations((*c.banks, *c.floor_seats, *c.portable_stages), 2):
        shared = overlap(a.footprint(hall), b.footprint(hall))
        if shared > SHARED and _level(a, b):
            yield Fault(
                b.name, f"'{a.name}' and '{b.name}' overlap by {overlap_words(a, b, hall, say)}."
            )
    for bank in (b for b in c.banks if not b.on_floor):
        yield from _under(bank, c, say)


def _level(a, b):
    """Whether two things that share floor are on one level: people pass under a mezzanine."""
    low = [getattr(thing, "base_height", 0.0) for thing in (a, b)]
    high = [getattr(thing, "top", 0.0) for thing in (a, b)]
    return low[0] == low[1] or min(high) > max(low)


def _under(bank, configuration, say):
    """Banks and chairs on the floor whose people have no headroom under a mezzanine's bank."""
    hall = configuration.hall
    below = (*(b for b in configuration.banks if b.on_floor), *configuration.floor_seats)
    for thing in below:
        top = getattr(thing, "top", 0.0)
        shared = overlap(bank.footprint(hall), thing.footprint(hall)) > SHARED
        if shared and top <= bank.base_height < top + HEADROOM:
            yield Fault(
                thing.name,
                f"'{thing.name}' has less than {say(HEADROOM)} under '{bank.name}'"
                f" ({say(bank.base_height)}).",
            )


def overlap_words(a, b, hall, say):
    """By how much two things overlap on the plan.

    Parameters
    ----------
    a, b : Bank, FloorSeats, PortableStage or Court
        Things that have a footprint
    hall : Hall
        The gym
    say : callable
        Gives a length in words

    Returns
    -------
    words : str
        "3 ft 0 in over 40 ft 0 in": the shorter side first, by which one has to be moved
    """
    one, other = a.footprint(hall), b.footprint(hall)
    sides = [min(one[n + 1], other[n + 1]) - max(one[n], other[n]) for n in (0, 2)]
    return f"{say(min(sides))} over {say(max(sides))}"
