"""Wheelchair spaces: how many a number of seats asks for, and the seats that one takes.

Companion seats, lines of sight and routes are the architect's; local codes and the authority having
jurisdiction decide.
"""

import math

from ..physics.checks import whole
from .units import INCH

# of a single space [m]    2010 ADA Standards for Accessible Design, 802.1.2
WIDTH = 36 * INCH
# entered from the front or rear [m]    the same, 802.1.3
DEPTH = 48 * INCH
# most seats, and spaces for up to so many    the same, table 221.2.1.1
TABLE = ((3, 0), (25, 1), (50, 2), (150, 4), (300, 5), (500, 6))
LARGE = 5000  # seats from which one more space serves 200 instead of 150
SLACK = 1e-6  # a width that fits but for rounding [m]


def spaces_required(seats):
    """Wheelchair spaces that an assembly area with fixed seats asks for at least.

    Parameters
    ----------
    seats : int
        Seats of the assembly area [-]

    Returns
    -------
    spaces : int
        Least number [-]

    Raises
    ------
    ValueError
        ``seats`` is no whole number

    Sources
    -------
    2010 ADA Standards for Accessible Design, table 221.2.1.1.

    Examples
    --------
    >>> spaces_required(500), spaces_required(501), spaces_required(1200)
    (6, 7, 11)
    """
    seats = whole("seats", seats, 0, 1_000_000)
    for most, spaces in TABLE:
        if seats <= most:
            return spaces
    middle, large = min(seats, LARGE), max(seats - LARGE, 0)
    return 6 + math.ceil((middle - 500) / 150) + math.ceil(large / 200)


def seats_taken(across, along, rows):
    """Seats that one wheelchair space takes the place of, at the front of a block.

    Parameters
    ----------
    across : float
        Width of a seat [m]
    along : float
        From row to row [m]
    rows : int
        Rows of the block [-]

    Returns
    -------
    seats, beside : int
        Seats in all, and side by side in the first row [-]
    """
    beside = math.ceil((WIDTH - SLACK) / across)
    return beside * min(math.ceil((DEPTH - SLACK) / along), rows), beside
