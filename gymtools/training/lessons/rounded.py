"""Lengths that are round in the units of who reads them."""

from ...venue.units import FOOT


def rounded(value_m, units, feet=1.0, meters=0.5):
    """The nearest length that is a whole number of steps in the units chosen.

    Parameters
    ----------
    value_m : float
        As it was drawn [m]
    units : str
        "m" or "ft"
    feet, meters : float
        The step in each of them [ft and m]

    Returns
    -------
    length : float
        At least one step [m]
    """
    step = feet * FOOT if units == "ft" else meters
    return max(1, round(value_m / step)) * step
