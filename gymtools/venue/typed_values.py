"""Values as people type them: 22' 6", 22-6, 22 ft 6 in, 22.5, 6.7 m, 32,5, 85 %, 68 °F. Read into
SI, said back as they were understood, never guessed.
"""

import math
import re
from fractions import Fraction

from .texts import shown
from .units import FOOT, INCH, _check_units, feet_inches

# whatever a keyboard or another program puts for the same sign
_SIGNS = {
    "\u2212": "-",
    "\u2013": "-",
    "\u2010": "-",
    "\u2011": "-",
    "\u2019": "'",
    "\u2018": "'",
    "\u2032": "'",
    "\u02b9": "'",
    "\u201d": '"',
    "\u201c": '"',
    "\u2033": '"',
    "\u02ba": '"',
    "\u00a0": " ",
    "\u202f": " ",
    "\u2044": "/",
    "\u00bd": " 1/2",
    "\u00bc": " 1/4",
    "\u00be": " 3/4",
    "\u00ba": "\u00b0",
}
_PLAIN = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"  # 22, 22.5, 22,5, .5
_MIXED = r"(?:\d+ )?\d+ ?/ ?\d+"  # 1/2, 6 1/2
_NUMBER = rf"(?:{_MIXED}|{_PLAIN})"
_FOOT, _INCH = r"(?:ft\.?|feet|foot|')", r"(?:in\.?|inch|inches|\"|'')"
_FEET_INCHES = re.compile(rf"([+-]?)({_NUMBER}) ?{_FOOT} ?-? ?({_NUMBER}) ?{_INCH}?")
_HYPHEN = re.compile(rf"([+-]?)(\d+) ?- ?({_NUMBER}) ?{_INCH}?")
_WITH_UNIT = re.compile(rf"([+-]?) ?({_NUMBER}) ?(.*)")
_LENGTHS = {
    **dict.fromkeys(("ft", "ft.", "feet", "foot", "'"), FOOT),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"', "''"), INCH),
    **dict.fromkeys(("m", "m.", "meter", "meters", "metre", "metres"), 1.0),
    "cm": 0.01,
    "mm": 0.001,
}
_AREAS = {
    **dict.fromkeys(("ft2", "ft²", "sq ft", "sqft", "sq. ft.", "sq ft.", "square feet"), FOOT**2),
    **dict.fromkeys(("m2", "m²", "sq m", "sqm", "square meters", "square metres"), 1.0),
}
_MS = ("ms", "millisecond", "milliseconds")
_SECOND = ("s", "sec", "second", "seconds")
_DB = ("db", "decibel", "decibels")
_DBA = (*_DB, "dba", "db(a)", "db a", "db (a)")
_DEG = ("°", "deg", "deg.", "degree", "degrees")
# what may stand behind the number of a unit, and by how much it counts
_BEHIND = {
    "deg": dict.fromkeys(_DEG, 1.0),
    "°": dict.fromkeys(_DEG, 1.0),
    "dB": dict.fromkeys(_DB, 1.0),
    "dB(A)": dict.fromkeys(_DBA, 1.0),
    "ms": {**dict.fromkeys(_MS, 1.0), **dict.fromkeys(_SECOND, 1000.0)},
    "s": {**dict.fromkeys(_SECOND, 1.0), **dict.fromkeys(_MS, 0.001)},
    "%": dict.fromkeys(("%", "percent"), 1.0),
    "": dict.fromkeys(("%", "percent"), 0.01),
    "number": {},
    "count": {},
}
_COUNTS = (  # whole numbers in words, from 0
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve"),
)
_KINDS = {  # what a unit measures, and how it is written
    "deg": ("angle", "Write degrees, e.g. 30."),
    "°": ("angle", "Write degrees, e.g. 30."),
    "dB": ("level", "Write decibels, e.g. -3."),
    "dB(A)": ("level", "Write decibels, e.g. 75."),
    "ms": ("time", "Write milliseconds, e.g. 20 or 0.02 s."),
    "s": ("time", "Write seconds, e.g. 1.2."),
    "%": ("percentage", "Write percent, e.g. 40."),
    "": ("number", "Write e.g. 0.85 or 85 %."),
    "number": ("number", "Write e.g. 1.5."),
    "count": ("whole number", "Write e.g. 3."),
}
FAHRENHEIT = 1.8, 32.0  # of one degree Celsius, and at zero [degF]


def read_length(text, units):
    """Read a typed length.

    Parameters
    ----------
    text : str
        22' 6", 22-6, 22 ft 6 in, 22 1/2, 270 in, 6.7 m, 670 cm or a bare number
    units : str
        What a bare number is in: "m" or "ft"

    Returns
    -------
    meters : float
        Length [m]

    Raises
    ------
    ValueError
        It is no length, 12 inches or more stand behind feet, or a comma can be read in two ways

    Examples
    --------
    >>> round(read_length("22-6", "m"), 4), round(read_length("32,5", "ft"), 4)
    (6.858, 9.906)
    """
    _check_units(units)
    plain = _in_plain_signs(text)
    feet = _FEET_INCHES.fullmatch(plain) or _HYPHEN.fullmatch(plain)
    if feet:
        return _feet_and_inches(*feet.groups(), text)
    bare = {"": FOOT if units == "ft" else 1.0}
    value = _with_unit(plain, {**_LENGTHS, **bare}, text)
    if value is None:
        write = "22-6, 22' 6\", 22.5 ft or 6.7 m"
        raise ValueError(f"{shown(text)} is no length. Write e.g. {write}.")
    return value


def read_area(text, units):
    """Read a typed area.

    Parameters
    ----------
    text : str
        600, 600 sq ft, 55 m2 ...
    units : str
        What a bare number is in: "m" for m2, "ft" for ft2

    Returns
    -------
    area : float
        Area [m2]

    Raises
    ------
    ValueError
        It is no area, or a comma can be read in two ways
    """
    _check_units(units)
    bare = {"": FOOT**2 if units == "ft" else 1.0}
    value = _with_unit(_in_plain_signs(text), {**_AREAS, **bare}, text)
    if value is None:
        write = "600 ft2 or 55 m2"
        raise ValueError(f"{shown(text)} is no area. Write e.g. {write}.")
    return value


def read_temperature(text, units):
    """Read a typed temperature.

    Parameters
    ----------
    text : str
        68, 68 °F, 20 C ...
    units : str
        What a bare number is in: "m" for degrees Celsius, "ft" for Fahrenheit

    Returns
    -------
    temperature_c : float
        Temperature [degC]

    Raises
    ------
    ValueError
        It is no temperature
    """
    _check_units(units)
    plain = _in_plain_signs(text).replace("degrees", "°").replace("deg", "°")
    found = re.fullmatch(rf"([+-]? ?{_PLAIN}) ?°? ?(c|f|celsius|fahrenheit)?", plain)
    if found is None:
        raise ValueError(f"{shown(text)} is no temperature. Write e.g. 68 °F or 20 °C.")
    value, scale = _decimal(found[1].replace(" ", ""), text), found[2]
    in_fahrenheit = units == "ft" if scale is None else scale[0] == "f"
    return from_fahrenheit(value) if in_fahrenheit else value


def read_value(text, unit, units):
    """Read a typed value of any unit that the panel sets.

    Parameters
    ----------
    text : str
        As a person types it
    unit : str
        "m", "m2", "°C", "deg", "dB", "dB(A)", "ms", "s", "%", "count", "number", or "" for a share
    units : str
        What bare lengths, areas and temperatures are in: "m" or "ft"

    Returns
    -------
    value : float
        In SI, or in the unit [unit]

    Raises
    ------
    ValueError
        It is none, in one line that says how it is written
    """
    by_system = {"m": read_length, "m2": read_area, "°C": read_temperature}
    if unit in by_system:
        return by_system[unit](text, units)
    kind, write = _KINDS.get(unit, ("number", f"Write e.g. 3 {unit}."))
    behind = _BEHIND.get(unit, {unit.lower(): 1.0})
    plain = _in_plain_signs(text)
    if unit == "count":
        plain = str(_COUNTS.index(plain)) if plain in _COUNTS else plain
    value = _with_unit(plain, {**behind, "": 1.0}, text)
    if value is None or (unit == "count" and value != int(value)):
        raise ValueError(f"{shown(text)} is no {kind}. {write}")
    return value


def value_text(value, unit, units):
    """A value in words, as it was understood: the meeting's units first, exact ones only.

    Parameters
    ----------
    value : float
        In SI, or in the unit [unit]
    unit : str
        As for ``read_value``
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        "22 ft 6 in (6.86 m)", "40°", "68 °F (20 °C)"
    """
    if unit == "m":
        return _length_words(value, units)
    if unit == "m2":
        square = (f"{round(value / FOOT**2, 1):,g} ft²", f"{round(value, 1):,g} m²")
        return _first(*square, units)
    if unit == "°C":
        degrees = (f"{digits(to_fahrenheit(value), 0)} °F", f"{round(value, 1):g} °C")
        return _first(*degrees, units)
    if unit == "count":
        return f"{value:.0f}"
    if unit == "number":
        return digits(value, 0)
    if unit == "":
        return f"{digits(value, 0)} ({100 * value:.3g} %)"
    sign = {"deg": "°", "°": "°"}.get(unit)
    return f"{digits(value, 0)}{sign}" if sign else f"{digits(value, 0)} {unit}"


def digits(value, least):
    """A number with as many decimals as it has, three at most.

    Parameters
    ----------
    value : float
        Number [any]
    least : int
        Decimals that are shown even where they are nought [-]

    Returns
    -------
    text : str
        40 and 40.3, not 40.300
    """
    text = f"{round(value, 3) + 0.0:.3f}"
    whole, rest = text.split(".")
    rest = rest.rstrip("0").ljust(least, "0")
    return f"{whole}.{rest}" if rest else whole


def to_fahrenheit(temperature_c):
    """Degrees Fahrenheit of degrees Celsius.

    Parameters
    ----------
    temperature_c : float
        Temperature [degC]

    Returns
    -------
    temperature_f : float
        The same [degF]
    """
    scale, zero = FAHRENHEIT
    return temperature_c * scale + zero


def from_fahrenheit(temperature_f):
    """Degrees Celsius of degrees Fahrenheit.

    Parameters
    ----------
    temperature_f : float
        Temperature [degF]

    Returns
    -------
    temperature_c : float
        The same [degC]
    """
    scale, zero = FAHRENHEIT
    return (temperature_f - zero) / scale


def _in_plain_signs(text):
    """Lower-case text with one sign for each thing and single spaces."""
    for odd, plain in _SIGNS.items():
        text = text.replace(odd, plain)
    text = re.sub(r"(?<=[\d)])\s*''", '"', text)
    return " ".join(text.lower().split())


def _with_unit(plain, behind, text):
    """A number with one of some units behind it, scaled; None where it is none."""
    found = _WITH_UNIT.fullmatch(plain)
    if found is None or found[3] not in behind:
        return None
    value = _amount(found[2], text) * behind[found[3]]
    return -value if found[1] == "-" else value


def _feet_and_inches(sign, feet, inches, text):
    feet, inches = _amount(feet, text), _amount(inches, text)
    if feet != int(feet):
        raise ValueError(f"{shown(text)}: feet before inches are whole. Write e.g. 22 ft 6 in.")
    if inches >= 12:
        raise ValueError(f"{shown(text)}: {inches:g} in is a foot or more. Write less than 12 in.")
    meters = feet * FOOT + inches * INCH
    return -meters if sign == "-" else meters


def _amount(number, text):
    """A number without sign: decimals, or a whole and a fraction."""
    if "/" not in number:
        return _decimal(number, text)
    *whole, part = number.replace(" /", "/").replace("/ ", "/").split()
    above, below = part.split("/")
    if int(below) == 0:
        raise ValueError(f"{shown(text)}: a fraction has no 0 below its line.")
    return float((int(whole[0]) if whole else 0) + Fraction(int(above), int(below)))


def _decimal(number, text):
    """A decimal number; a comma before three digits may as well part thousands."""
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", number):
        ways = number.replace(",", ""), number.replace(",", ".").rstrip("0").rstrip(".")
        raise ValueError(f"{shown(text)} can be read in two ways. Write {ways[0]} or {ways[1]}.")
    value = float(number.replace(",", "."))
    if not math.isfinite(value):
        raise ValueError(f"{shown(text)} is too large.")
    return value


def _length_words(meters, units):
    """Feet and inches where they are exact, else feet with what they are about."""
    halves = meters / INCH * 2
    words = feet_inches(meters)
    if abs(halves - round(halves)) > 1e-3:
        words = f"{digits(meters / FOOT, 0)} ft, about {words}"
    return _first(words, f"{meters:.2f} m", units)


def _first(american, metric, units):
    return f"{american} ({metric})" if units == "ft" else f"{metric} ({american})"
