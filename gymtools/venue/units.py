"""Meters and feet at the edge: scenario files, panels and schedules. Inside, everything is SI."""

import math
from fractions import Fraction

from ..physics.checks import within

FOOT = 0.3048  # international foot [m], exact: NIST Special Publication 811, 2008, Table B.8
INCH = FOOT / 12  # [m]
UNITS = ("m", "ft")

_POWER = {"m": 1, "m2": 2, "m3": 3}
_SLIPS = {
    "feet": "ft",
    "foot": "ft",
    "'": "ft",
    "meter": "m",
    "meters": "m",
    "metre": "m",
    "metres": "m",
}


def _check_units(units):
    if units not in UNITS:
        plain = str(units).strip().lower()
        near = plain if plain in UNITS else _SLIPS.get(plain)
        raise ValueError(
            f"units = {units!r} is unknown."
            + (f" Did you mean '{near}'?" if near else " Known: m, ft.")
        )


def _scaled(value, factor, digits):
    """Scale numbers, also inside lists; leave text, booleans and None to the check that owns the
    key.
    """
    if isinstance(value, (list, tuple)):
        return [_scaled(v, factor, digits) for v in value]
    if isinstance(value, (str, bool)) or value is None:
        return value
    scaled = value * factor
    return float(f"{scaled:.{digits}g}") if digits and isinstance(scaled, float) else scaled


def from_file(value, unit, units):
    """SI value of a quantity read from a scenario file.

    Parameters
    ----------
    value : float, array or list
        Number, array (...,), or nested list of numbers as the file has it; text, booleans and None
        pass unchanged [unit of the file]
    unit : str
        SI unit of the quantity: "m", "m2" or "m3" are converted, any other is not
    units : str
        Units the file declares, "m" or "ft"

    Returns
    -------
    value : float, array or list
        The same in SI, as (...,); a tuple comes back as a list [m, m2 or m3]

    Raises
    ------
    ValueError
        The units are unknown

    Examples
    --------
    >>> round(from_file(84, "m", "ft"), 4)
    25.6032
    """
    _check_units(units)
    if units == "m" or unit not in _POWER:
        return value
    return _scaled(value, FOOT ** _POWER[unit], digits=None)


def to_file(value, unit, units):
    """Value for a scenario file of a quantity held in SI.

    Parameters
    ----------
    value : float, array or list
        Number, array (...,), or nested list of numbers; text, booleans and None pass unchanged [SI]
    unit : str
        SI unit of the quantity: "m", "m2" or "m3" are converted, any other is not
    units : str
        Units the file declares, "m" or "ft"

    Returns
    -------
    value : float, array or list
        The same in the file's units, as (...,); a number in feet has 12 significant digits, so
        that 84 ft is written as 84.0 and not as 84.00000000000001 [unit of the file]

    Raises
    ------
    ValueError
        The units are unknown

    Examples
    --------
    >>> to_file(25.6032, "m", "ft")
    84.0
    """
    _check_units(units)
    if units == "m" or unit not in _POWER:
        return value
    return _scaled(value, 1 / FOOT ** _POWER[unit], digits=12)


def feet_inches(meters, parts=2):
    """Length in feet and inches, to the nearest half inch, or to a finer part of one.

    Parameters
    ----------
    meters : float
        Length, may be negative [m]
    parts : int
        Of an inch: 2, or 4 on drawings and in schedules, which are measured from [-]

    Returns
    -------
    text : str
        Feet, inches and a fraction of an inch

    Raises
    ------
    ValueError
        The length is outside +-100 km

    Examples
    --------
    >>> feet_inches(7.0), feet_inches(6.41, parts=4)
    ('22 ft 11 1/2 in', '21 ft 0 1/4 in')
    """
    meters = float(within("meters", meters, -1e5, 1e5, "m"))
    # whole number of parts, so 12 in cannot remain
    count = math.floor(abs(meters) / INCH * parts + 0.5)
    feet, rest = divmod(count, 12 * parts)
    inches, part = divmod(rest, parts)
    sign = "-" if meters < 0 and count else ""
    fraction = f" {Fraction(part, parts)}" if part else ""
    return f"{sign}{feet} ft {inches}{fraction} in"


def length_text(meters, units):
    """Length as text in the chosen units.

    Parameters
    ----------
    meters : float
        Length [m]
    units : str
        "m" for meters with two decimals, "ft" for feet and inches

    Returns
    -------
    text : str
        Length with its unit

    Raises
    ------
    ValueError
        The units are unknown, or the length is outside +-100 km

    Examples
    --------
    >>> length_text(7.0, "m"), length_text(7.0, "ft")
    ('7.00 m', '22 ft 11 1/2 in')
    """
    _check_units(units)
    if units == "ft":
        return feet_inches(meters)
    meters = float(within("meters", meters, -1e5, 1e5, "m"))
    return f"{round(meters, 2) + 0.0:.2f} m"  # + 0.0 turns -0.00 into 0.00


def measured_text(meters, units):
    """A length that somebody measures out: to the quarter inch, or to the centimeter.

    Parameters
    ----------
    meters : float
        Length [m]
    units : str
        "m" or "ft"

    Returns
    -------
    text : str
        Length with its unit

    Raises
    ------
    ValueError
        The units are unknown, or the length is outside +-100 km

    Examples
    --------
    >>> measured_text(6.41, "m"), measured_text(6.41, "ft")
    ('6.41 m', '21 ft 0 1/4 in')
    """
    return feet_inches(meters, parts=4) if units == "ft" else length_text(meters, units)


def both(meters):
    """Length in both units, for schedules.

    Parameters
    ----------
    meters : float
        Length [m]

    Returns
    -------
    text : str
        Meters, then feet and inches in parentheses

    Raises
    ------
    ValueError
        The length is outside +-100 km

    Examples
    --------
    >>> both(7.0)
    '7.00 m (22 ft 11 1/2 in)'
    """
    return f"{length_text(meters, 'm')} ({feet_inches(meters)})"


def area_text(area, units):
    """An area in words.

    Parameters
    ----------
    area : float
        Area [m2]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        To the whole unit, e.g. "6,450 ft²"

    Raises
    ------
    ValueError
        The units are unknown

    Examples
    --------
    >>> area_text(600.0, "ft")
    '6,458 ft²'
    """
    return f"{to_file(float(area), 'm2', units):,.0f} {units}²"


def in_words(value, units):
    """A length in both units, the chosen one first.

    Parameters
    ----------
    value : float
        Length [m]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        "7.00 m (22 ft 11 1/2 in)" or the other way round
    """
    meters, feet = f"{value:.2f} m", feet_inches(value)
    return f"{meters} ({feet})" if units == "m" else f"{feet} ({meters})"
