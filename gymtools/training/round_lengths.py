"""Lengths of drawn questions: round in the units that the learner has chosen."""

from ..venue.units import FOOT

HALF_METER = 0.5  # [m]


def round_length(length_m, units, foot_step=FOOT, meter_step=HALF_METER):
    """A length as a question has it.

    Parameters
    ----------
    length_m : float
        As it was drawn, more than 0 [m]
    units : str
        "m" or "ft"
    foot_step, meter_step : float
        What it is a multiple of, by the units; in meters it stays as it is where ``meter_step``
        is 0 [m]

    Returns
    -------
    length_m : float
        The nearest multiple; one step at least [m]

    Examples
    --------
    >>> round_length(6.2, "m"), round(round_length(6.2, "ft") / 0.3048, 9)
    (6.0, 20.0)
    """
    step = foot_step if units == "ft" else meter_step
    return float(f"{max(1, round(length_m / step)) * step:.12g}") if step else length_m
