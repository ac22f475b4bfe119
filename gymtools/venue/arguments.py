"""Names and things given to the public functions: what is not known, or of another kind, is refused
in one line that names the argument, what is allowed and the likely slip.
"""

import difflib


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
    shown = f"{value!r:.80}" if plain else f"({type(value).__name__})"
    raise ValueError(f"{name} = {shown} is no {kind.__name__}. {hint}")
