"""How many loudspeakers, and how far apart: from throw, beam, height and what they are to cover."""

import math

from ..physics.checks import within

# share of its own width that a beam in a row shares with its neighbor, so that level is even along
# the row      common practice, no source
OVERLAP = 0.2
# most in one row, and rows of a grid: what a ``Group`` and a drawing hold
MOST_IN_ROW, MOST_ROWS = 12, 8


def covered_width(throw, beam_deg):
    """Width that a beam covers across its axis, between the angles where it is 6 dB down.

    Parameters
    ----------
    throw : float
        From the loudspeaker to the ears [m]
    beam_deg : float
        Nominal angle of the beam [deg]

    Returns
    -------
    width : float
        Twice the throw times the tangent of half the beam [m]

    Raises
    ------
    ValueError
        A throw of nothing, or a beam outside 5 to 175 degrees

    Sources
    -------
    Plane geometry.

    Examples
    --------
    >>> round(covered_width(8.0, 90.0), 2)
    16.0
    """
    within("throw", throw, 1e-3, 200, "m")
    beam = within("beam_deg", beam_deg, 5, 180, "deg")
    return 2 * throw * math.tan(math.radians(min(float(beam), 175.0)) / 2)


def number_in_row(length, width, overlap=OVERLAP):
    """Loudspeakers of a row that covers a length, each in the middle of an equal part of it.

    Parameters
    ----------
    length : float
        What the row is to cover [m]
    width : float
        That one of them covers [m]
    overlap : float
        Share of its width that one shares with the next, 0 to 0.9 [-]

    Returns
    -------
    number : int
        At least one, at most ``MOST_IN_ROW`` [-]

    Raises
    ------
    ValueError
        An overlap outside 0 to 0.9

    Examples
    --------
    >>> number_in_row(24.4, 13.9)
    3
    """
    free = width * (1 - float(within("overlap", overlap, 0, 0.9, "")))
    return min(max(math.ceil(length / free - 1e-6), 1), MOST_IN_ROW)


def grid_of(length, width, height, beam_deg):
    """Fewest pendants, in equal cells, whose cones leave no gap at the ears.

    A cone covers a circle; circles over the middles of equal cells leave no gap where the diagonal
    of a cell is no longer than their diameter.

    Parameters
    ----------
    length, width : float
        Of the floor to be covered [m]
    height : float
        Of the pendants over the ears [m]
    beam_deg : float
        Nominal angle of the cone [deg]

    Returns
    -------
    columns, rows : int
        Along the length and along the width; of equally many the one with the squarest cells [-]

    Raises
    ------
    ValueError
        As ``covered_width``

    Sources
    -------
    Plane geometry.

    Examples
    --------
    >>> grid_of(30.0, 20.0, 6.0, 90.0)
    (5, 2)
    """
    circle = covered_width(max(height, 0.5), beam_deg)
    found = [
        (columns * rows, abs(length / columns - width / rows), columns, rows)
        for columns in range(1, MOST_IN_ROW + 1)
        for rows in range(1, MOST_ROWS + 1)
        if math.hypot(length / columns, width / rows) <= circle + 1e-6
    ]
    return min(found)[2:] if found else (MOST_IN_ROW, MOST_ROWS)
