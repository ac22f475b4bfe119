"""Names and things given to the public functions: what is not known, or of another kind, is refused
in one line that names the argument, what is allowed and the likely slip.
"""

import difflib

from ..physics.checks import within
from .refusals import UnknownName
from .texts import short, shown

MOST_KNOWN = 200  # characters of a list of choices

FROM_LOAD = "Give what gymtools.load(path) returns."  # to whoever gives no scenario


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
    UnknownName
        A ValueError: it is none of them

    Examples
    --------
    >>> one_of("room", "traecd", ("statistical", "traced"))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    gymtools.venue.refusals.UnknownName: room = 'traecd' is unknown. Did you mean 'traced'? ...
    """
    known = list(known)
    if isinstance(value, str) and value in known:
        return value
    text = value if isinstance(value, str) else ""
    near = difflib.get_close_matches(short(text), known, 1)
    meant = f" Did you mean '{near[0]}'?" if near else ""
    said = f"{name} = {shown(value)} is unknown.{meant} Known: {choices(known)}."
    raise UnknownName.of(said, name, (), known[0] if known else None)


def choices(known):
    """A list of names for a refusal.

    Parameters
    ----------
    known : sequence of str
        Names that there are

    Returns
    -------
    words : str
        At most some MOST_KNOWN characters, and how many more there are
    """
    known = list(known)
    if len(", ".join(known)) <= MOST_KNOWN:
        return ", ".join(known) or "none"
    kept = []
    for name in known:
        if kept and len(", ".join([*kept, short(name)])) > MOST_KNOWN:
            break
        kept.append(short(name))
    more = len(known) - len(kept)
    return ", ".join(kept) + (f" and {more} more" if more else "")


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
            f"{name} = {shown(value)} is no list of names. Give some of: {choices(known)}."
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
    raise ValueError(f"{name} = {shown(value)} is no {kind.__name__}. {hint}")


def call_of(name, value, otherwise):
    """Refuse what is to be called and cannot be.

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : callable or None
        What was given
    otherwise : callable
        What stands for None

    Returns
    -------
    call : callable
        The same, or what stands for None

    Raises
    ------
    ValueError
        It is no function
    """
    if value is None:
        return otherwise
    if callable(value):
        return value
    raise ValueError(f"{name} = {shown(value)} is no function. Give its name without (), or None.")


def yes_or_no(name, value):
    """Refuse what is neither True nor False.

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : bool
        What was given

    Returns
    -------
    value : bool
        The same

    Raises
    ------
    ValueError
        It is neither
    """
    if isinstance(value, bool):
        return value
    raise ValueError(
        f"{name} = {shown(value)} is neither True nor False. Give one, without quotes."
    )


def number(name, value, low, high, unit, hint=""):
    """Refuse what is not one number in its range.

    Parameters
    ----------
    name : str
        Argument name as the caller wrote it
    value : float
        What was given [any]
    low, high : float
        Closed limits [same as value]
    unit : str
        Printed after the numbers
    hint : str
        Sentence on the likely slip

    Returns
    -------
    value : float
        The same [same as value]

    Raises
    ------
    ValueError
        It is several numbers, none, or outside its range
    """
    if type(value) is float and low <= value <= high:  # nearly always
        return value
    given, unit = unit, f" {unit}" if unit else ""
    if isinstance(value, bool | str | list | tuple | dict) or getattr(value, "shape", ()) != ():
        raise ValueError(
            f"{name} = {shown(value)} is not a number. Give {low:g} to {high:g}{unit}."
        )
    return float(within(name, value, low, high, given, hint))
