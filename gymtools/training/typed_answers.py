"""Answers as people type them: 1,200, 49 ft 6 in, 16.2 dB, 0.5 kHz, 3 1/2 times."""

import re

from ..venue.texts import shown
from ..venue.typed_values import read_area, read_length, read_value
from ..venue.units import FOOT

_THOUSANDS = re.compile(r"(?<![\d.,])([1-9]\d{0,2})((?:,\d{3})+)(?![\d,])")
_SPACES = re.compile(r"(?<=\d)[\u00a0\u202f\u2009](?=\d{3})")  # between thousands
_LARGER = {"Hz": ("khz", 1000.0), "W": ("kw", 1000.0), "ms": ("µs", 0.001), "Ω": ("kω", 1000.0)}
_BEHIND = {  # other words for a unit
    "Hz": ("hz", "hertz"),
    "W": ("w", "watt", "watts"),
    "times": ("times", "x", "×", "fold", "time"),
    "Ω": ("ω", "ohm", "ohms"),
    "mm²": ("mm²", "mm2"),
}


def read_answer(text, unit):
    """Read what a learner types.

    Parameters
    ----------
    text : any
        As it was typed; a number is taken as it is
    unit : str
        Of the answer: "m" and "ft" take any length, "m²" and "ft²" any area, the others their
        own unit, spelled out or a thousand times as large

    Returns
    -------
    value : float
        Number in the unit of the answer [unit]

    Raises
    ------
    ValueError
        Nothing was typed, or it is no such number: one line that says how to write it

    Examples
    --------
    >>> read_answer("1,200", "Hz"), read_answer("0.5 kHz", "Hz"), read_answer("16.2 dB", "dB")
    (1200.0, 500.0, 16.2)
    >>> read_answer("49 ft 6 in", "ft")
    49.5
    """
    plain = _plain(text)
    if not plain:
        raise ValueError("Type a number first.")
    if unit in ("m", "ft"):
        return _shown_length(read_length(plain, unit), FOOT if unit == "ft" else 1.0)
    if unit in ("m²", "ft²"):
        units, square = ("ft", FOOT**2) if unit == "ft²" else ("m", 1.0)
        return _shown_length(read_area(plain, units), square)
    if unit == "":
        return _share(plain)
    for word, factor in _other_words(unit):
        if plain.lower().endswith(word) and re.search(r"\d\s*$", plain[: -len(word)]):
            return read_value(plain[: -len(word)].strip(), "number", "m") * factor
    return read_value(plain, unit, "m")


def _plain(text):
    """One line without the commas between thousands."""
    words = " ".join(_SPACES.sub("", str(text)).split())
    if words.lower() in ("nan", "inf", "+inf", "-inf", "infinity", "-infinity", "none"):
        raise ValueError(f"{shown(words)} is not a number. Type one.")
    return _THOUSANDS.sub(lambda found: found[1] + found[2].replace(",", ""), words)


def _other_words(unit):
    """(words behind a number, factor) for a unit, the longest words first."""
    words = [(word, 1.0) for word in _BEHIND.get(unit, ())]
    words += [_LARGER[unit]] if unit in _LARGER else []
    return sorted(words, key=lambda pair: -len(pair[0]))


def _share(plain):
    """A bare number; a percentage is a hundredth."""
    return read_value(plain, "", "m") if plain.endswith("%") else read_value(plain, "number", "m")


def _shown_length(value, per_unit):
    return float(f"{value / per_unit:.9g}")
