"""Refusals in one line: a value outside its range, or no whole number, with the likely slip."""

import numpy as np

QUOTED = 60  # characters of a value that a refusal repeats


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
        value = np.asarray("None" if value is None else value, float)  # numpy takes it for NaN
    except OverflowError:
        raise ValueError(f"{name} is a number of more than 300 digits.") from None
    except (TypeError, ValueError):
        raise ValueError(
            f"{name} = {_said(value)} is not a number. Give {low:g} to {high:g}{unit}."
        ) from None
    bad = ~((value >= low) & (value <= high))  # NaN counts as bad
    if bad.any():
        worst = value[bad].flat[0]
        raise ValueError(
            f"{name} = {worst:g}{unit} is outside {low:g} to {high:g}{unit}. {hint}".rstrip()
        )
    return value


def _said(value):
    """A value for a refusal, short and on one line."""
    text = " ".join(repr(value).split())
    return text if len(text) <= QUOTED else f"{text[:QUOTED]}..."


def whole(name, value, low, high, hint=""):
    """Refuse a value unless it is a whole number in [low, high].

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : int
        Value to test [-]
    low, high : int
        Closed limits [-]
    hint : str
        Sentence on the likely slip

    Returns
    -------
    value : int
        The same [-]

    Raises
    ------
    ValueError
        The value is no whole number, or outside its range

    Examples
    --------
    >>> whole("draws", 20.5, 20, 5000)
    Traceback (most recent call last):
    ValueError: draws = 20.5 is no whole number. Give 20 to 5000.
    """
    if isinstance(value, bool | np.bool_ | list | tuple | np.ndarray):
        raise ValueError(f"{name} = {_said(value)} is not a number. Give {low} to {high}.")
    number = float(within(name, value, low, high, "", hint))
    if number != int(number):
        raise ValueError(f"{name} = {number:g} is no whole number. Give {low} to {high}.")
    return int(number)
