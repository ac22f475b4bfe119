"""Refusals in one line: a value outside its range, a name that is not known, a thing of another
kind; each names the argument, what is allowed and the likely slip.
"""

import difflib

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
        value = np.asarray("None" if value is None else value, float)  # numpy takes it for NaN
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
    if isinstance(value, bool | np.bool_) or np.ndim(value):
        raise ValueError(f"{name} = {value!r} is not a number. Give {low} to {high}.")
    number = float(within(name, value, low, high, "", hint))
    if number != int(number):
        raise ValueError(f"{name} = {number:g} is no whole number. Give {low} to {high}.")
    return int(number)


def one_of(name, value, known):
    """Refuse a name unless it is known; the nearest known name is suggested.

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : str
        Name to look for
    known : iterable of str
        Names that there are

    Returns
    -------
    value : str
        The same

    Raises
    ------
    ValueError
        It is none of them

    Examples
    --------
    >>> one_of("room", "traecd", ("statistical", "traced"))
    Traceback (most recent call last):
    ValueError: room = 'traecd' is unknown. Did you mean 'traced'? Known: statistical, traced.
    """
    known = list(known)
    if isinstance(value, str) and value in known:
        return value
    text = value if isinstance(value, str) else ""
    near = difflib.get_close_matches(text, known, 1)
    meant = f" Did you mean '{near[0]}'?" if near else ""
    raise ValueError(f"{name} = {value!r:.80} is unknown.{meant} Known: {', '.join(known)}.")


def names_of(name, value, known):
    """Refuse a list of names unless all are known; a name alone is a list of one.

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : str or sequence of str
        Names to look for
    known : iterable of str
        Names that there are

    Returns
    -------
    names : tuple of str
        The same

    Raises
    ------
    ValueError
        It is no list of names, or one of them is unknown

    Examples
    --------
    >>> names_of("groups", "north row", ("north row", "south row"))
    ('north row',)
    >>> names_of("groups", 3, ("north row", "south row"))
    Traceback (most recent call last):
    ValueError: groups = 3 is no list of names. Give some of: north row, south row.
    """
    known = list(known)
    if isinstance(value, str):
        value = (value,)
    if not isinstance(value, list | tuple | set | frozenset | dict):
        raise ValueError(
            f"{name} = {value!r:.80} is no list of names. Give some of: {', '.join(known)}."
        )
    return tuple(one_of(name, one, known) for one in value)


def kind_of(name, value, kind, hint):
    """Refuse a thing of another kind, such as a path where what was read from it is wanted.

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : any
        Thing to test
    kind : type
        What it must be
    hint : str
        Sentence on how to get one

    Returns
    -------
    value : any
        The same

    Raises
    ------
    ValueError
        It is something else

    Examples
    --------
    >>> kind_of("scenario", "gym.toml", dict, "Give what load(path) returns.")
    Traceback (most recent call last):
    ValueError: scenario = 'gym.toml' is no dict. Give what load(path) returns.
    """
    if isinstance(value, kind):
        return value
    plain = isinstance(value, str | int | float | None)
    shown = f"{value!r:.80}" if plain else f"a {type(value).__name__}"
    raise ValueError(f"{name} = {shown} is no {kind.__name__}. {hint}")
