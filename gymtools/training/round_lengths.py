"""Lengths of questions: round in the units in which they are read."""

from ..venue.units import FOOT, INCH


def round_feet(meters, units, step=FOOT):
    """A length, whole in feet or in inches where those are the units.

    Parameters
    ----------
    meters : float
        As drawn or given [m]
    units : str
        "m" or "ft"; in meters it stays as it is
    step : float
        What it is a multiple of: ``FOOT`` or ``INCH`` [m]

    Returns
    -------
    meters : float
        One step at least where the units are feet [m]

    Examples
    --------
    >>> round_feet(12.0, "ft") / FOOT, round_feet(12.0, "m")
    (39.0, 12.0)
    """
    return max(1, round(meters / step)) * step if units == "ft" else meters


__all__ = ["FOOT", "INCH", "round_feet"]
