"""Assistive listening: how many receivers a room of assembly needs."""

import math

from ..physics.checks import within

# over so many seats: receivers, and one more for so many seats beyond
STEPS = ((50, 2, 25), (500, 20, 33), (1000, 35, 50), (2000, 55, 100))


def receivers(seats):
    """Receivers of an assistive listening system, and how many of them must suit hearing aids.

    Parameters
    ----------
    seats : int
        Capacity of the area of assembly, chairs on the floor included [-]

    Returns
    -------
    receivers : int
        At least this many [-]
    compatible : int
        Of these, hearing-aid compatible [-]

    Raises
    ------
    ValueError
        ``seats`` is outside 0 to 200,000

    Sources
    -------
    2010 ADA Standards for Accessible Design, section 219.3 and Table 219.3. Other places have other
    rules: the authority having jurisdiction decides.
    """
    seats = int(within("seats", seats, 0, 200_000, ""))
    if seats == 0:
        return 0, 0
    if seats <= 50:
        return 2, 2
    over, base, each = next(step for step in reversed(STEPS) if seats > step[0])
    count = base + math.ceil((seats - over) / each)
    return count, 2 if seats <= 200 else max(2, math.ceil(count / 4))
