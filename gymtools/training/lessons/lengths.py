"""Lengths of drawn questions: round in the units that the learner has chosen."""

from ...venue.units import FOOT

HALF_METER = 0.5  # [m]


def round_length(length_m, units):
    """A length as a question has it.

    Parameters
    ----------
    length_m : float
        More than 0 [m]
    units : str
        "m" or "ft"

    Returns
    -------
    length_m : float
        The nearest whole number of feet, or of half meters; never none at all [m]

    Examples
    --------
    >>> round_length(6.2, "m"), round(round_length(6.2, "ft") / 0.3048, 9)
    (6.0, 20.0)
    """
    step = FOOT if units == "ft" else HALF_METER
    return float(f"{max(1, round(length_m / step)) * step:.12g}")
