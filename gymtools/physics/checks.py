"""The one refusal: a value outside its range is named, with the range and the likely slip."""

import numpy as np


def within(name, value, low, high, unit, hint=""):
    """Refuse a value unless every element of it lies in [low, high].

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : float or array
        Value to test [any]
    low, high : float
        Closed limits [same as value]
    unit : str
        Printed after the numbers
    hint : str
        Sentence on the likely slip

    Returns
    -------
    value : ndarray
        The same as a float array, shape of ``value`` [same as value]

    Raises
    ------
    ValueError
        The value is not a number, or outside its range; NaN counts as outside

    Examples
    --------
    >>> within("humidity_pct", 0.5, 1, 100, "%", "Give percent, not a fraction.")
    Traceback (most recent call last):
    ValueError: humidity_pct = 0.5 % is outside 1 to 100 %. Give percent, not a fraction.
    """
    unit = f" {unit}" if unit else ""
    try:
        value = np.asarray(value, float)
    except OverflowError:
        raise ValueError(f"{name} is a number of more than 300 digits.") from None
    except (TypeError, ValueError):
        raise ValueError(
            f"{name} = {value!r} is not a number. Give {low:g} to {high:g}{unit}."
        ) from None
    bad = ~((value >= low) & (value <= high))  # NaN counts as bad
    if bad.any():
        worst = value[bad].flat[0]
        raise ValueError(
            f"{name} = {worst:g}{unit} is outside {low:g} to {high:g}{unit}. {hint}".rstrip()
        )
    return value
