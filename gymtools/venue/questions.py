"""What is asked about a school: every key of the scenario file as a question in plain words, and
how a typed answer is understood.
"""

import math
import re
from dataclasses import dataclass
from functools import cache

from .arguments import one_of
from .court import COURTS
from .files import MANY, ONE
from .finishes import FINISHES
from .hall import SIDES, TREATABLE
from .microphones import EFFORT_DBA, MICROPHONE_TYPES
from .quantity import file_fields
from .scenario import Scenario
from .spectra import SPECTRA
from .tables import either, meanings, read_table
from .texts import check_text, shown
from .typed_values import digits, read_value, value_text
from .units import FOOT, INCH, to_file

NOT_SURE = "not sure"  # an answer: the value stays assumed
REQUIRED = ("hall.length", "hall.width", "hall.clear_height", "walls", "rows")
TABLES = {
    "finishes": FINISHES,
    "courts": COURTS,
    "sides": dict.fromkeys(SIDES),
    "spectra": SPECTRA,
    "microphones": MICROPHONE_TYPES,
    "efforts": EFFORT_DBA,
    "treatable": dict.fromkeys(TREATABLE),
}
# kinds of answers that are no number and no single name
LISTS = ("banks", "movable", "microphone_names", "sides")
BY_NAME = {"weights": "number", "shares": "", "rows": "count"}  # unit of each value
# of which unit a number is typed, where a scenario calls it otherwise
TYPED_AS = {"degC": "°C"}
SYNONYMS = {"not sure": NOT_SURE, "unknown": NOT_SURE, "?": NOT_SURE, "don't know": NOT_SURE}
ROUND_FROM = 10  # limits of lengths are whole numbers [ft]
_POINT = "a slip of the decimal point"
# how a length may have been meant, and what it is multiplied by then
SLIPS = {
    "ft": (("inches given by mistake", INCH / FOOT), (_POINT, 0.1)),
    "m": (
        ("feet given by mistake", FOOT),
        ("inches given by mistake", INCH),
        ("centimeters given by mistake", 0.01),
        (_POINT, 0.1),
    ),
}
WORDS_OF_YES = {"yes": True, "true": True, "y": True, "no": False, "false": False, "n": False}


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question of the form; ``key`` is the place of its answer in the file, by names.

    ``unit`` is that of ``typed_values.read_value`` for numbers; "choice" and "choices" for names,
    "yes", "text" and "octaves" for others, "weights", "shares" and "rows" for numbers by name.
    ``letter`` marks it on the sketch and the survey sheet. ``low`` and ``high`` are its limits in
    SI or in the unit.
    """

    key: str
    label: str
    unit: str
    letter: str | None = None
    choices: tuple = ()
    required: bool = False
    hint: str = ""
    low: float | None = None
    high: float | None = None
    optional: bool = False

    @property
    def may_be_unsure(self):
        """Whether "not sure" is an answer: of finishes."""
        return self.unit == "choice" and self.choices == tuple(FINISHES)


def key_of(table, name, field):
    """Key of a value.

    Parameters
    ----------
    table : str
        Of the file; empty for a key at its top
    name : str
        Of the thing; empty where the file has the table once
    field : str
        Of the thing

    Returns
    -------
    key : str
        "banks.north bank.rows", "hall.roof", "court"
    """
    return ".".join(part for part in (table, name, field) if part)


def parts_of(key):
    """Table, name and field of a key; a name may hold dots.

    Parameters
    ----------
    key : str
        As of ``key_of``

    Returns
    -------
    table, name, field : tuple of str
        Empty where there is none
    """
    table, _, rest = key.partition(".")
    if not rest:
        return "", "", table
    name, _, field = rest.rpartition(".")
    return table, name, field


def first_questions():
    """The five questions that a school begins with.

    Returns
    -------
    questions : tuple of Question
        Required
    """
    hall = {q.key: q for q in questions_of("hall", "")}
    return (
        *(hall[key] for key in REQUIRED[:3]),
        Question(
            key="walls",
            label="Walls with bleachers",
            unit="choices",
            choices=SIDES,
            required=True,
        ),
        Question(
            key="rows",
            label="Rows of bleachers",
            unit="count",
            required=True,
            low=1,
            high=60,
        ),
    )


@cache
def questions_of(table, name):
    """Questions about one thing.

    Parameters
    ----------
    table : str
        Of the file; empty for its top
    name : str
        Of the thing; empty where the file has the table once

    Returns
    -------
    questions : tuple of Question
        In the order in which they are asked
    """
    kind = _kind(table)
    known = {f.name: f for f in file_fields(kind)}
    rows = [row for row in read_table("questions.csv") if row["table"] == table]
    return tuple(
        _question(row, known[row["key"]], name)
        for row in rows
        if row["key"] in known and row["key"] not in ("units", "source")
    )


def _kind(table):
    """Class of the things of a table."""
    if not table:
        return Scenario
    known = {**ONE, **MANY}
    return known[one_of("table", table, tuple(known))]


def _question(row, field, name):
    """A question of its row and of the field that it fills."""
    meta, table = field.metadata, row["table"]
    key, given = key_of(table, name, row["key"]), row["choices"]
    choices = tuple(TABLES[given]) if given in TABLES else ()
    if "|" in given:
        choices = tuple(given.split("|"))
    if "unit" in meta:
        unit = TYPED_AS.get(meta["unit"], meta["unit"])
    elif given in ("yes", "octaves", "weights", "shares", "rows"):
        unit = given
    elif given in LISTS and field.type in (tuple, tuple | None):
        unit = "choices"
    else:
        unit = "choice" if given else "text"
    return Question(
        key=key,
        label=row["label"],
        unit=unit,
        letter=row["letter"] or None,
        choices=choices,
        required=key in REQUIRED,
        hint=meta.get("hint", ""),
        low=meta.get("low"),
        high=meta.get("high"),
        optional=field.default is None,
    )


def understood(question, text, units):
    """A typed answer as a value.

    Parameters
    ----------
    question : Question
        What was asked
    text : str
        As a person types it
    units : str
        What bare lengths, areas and temperatures are in: "m" or "ft"

    Returns
    -------
    value : float, int, str, bool, tuple or None
        In SI, or in the question's unit; None for an empty text where that is an answer

    Raises
    ------
    ValueError
        One line that says what cannot be understood, or what is allowed
    """
    text = " ".join(str(text).split())
    if not text:
        if question.optional:
            return None
        raise ValueError(f"{question.label}: nothing is written.")
    if question.unit == "yes":
        if text.lower() not in WORDS_OF_YES:
            raise ValueError(f"{question.label}: {shown(text)} is neither yes nor no.")
        return WORDS_OF_YES[text.lower()]
    if question.unit == "text":
        check_text(question.label, text)
        return text
    if question.unit == "octaves":
        return _octaves(question, text)
    if question.unit == "choice":
        return _choice(question, text)
    value = read_value(text, question.unit, units)
    return _within(question, value, units)


def _within(question, value, units):
    """A number that lies within a question's limits."""
    low, high = question.low, question.high
    slack = 1e-9 * max(1.0, abs(value))
    if low is not None and not low - slack <= value <= high + slack:
        ends = [_limit(low, question.unit, units, math.ceil)]
        ends += [_limit(high, question.unit, units, math.floor)]
        given = _without_label(question.hint, question.label)
        hint = slip_hint(given, value, (low, high), units if question.unit == "m" else "")
        raise ValueError(
            f"{question.label}: {_plain(value, question.unit, units)} is outside {ends[0]} to"
            f" {ends[1]}.{hint}"
        )
    value = min(max(value, low), high) if low is not None else value
    return int(value) if question.unit == "count" else value


def _without_label(hint, label):
    """A hint without a first sentence that only says again what was asked."""
    first, _, rest = hint.partition(". ")
    asked, said = (set(re.findall(r"\w+", text.lower())) for text in (label, first))
    again = not first.endswith("?") and len(asked & said) * 2 > len(asked)
    return rest if again else hint


def slip_hint(hint, value, limits, units):
    """What a length outside its limits may have been meant as.

    Parameters
    ----------
    hint : str
        Of the question; what it says of mistaken units gives way to what the number speaks for
    value : float
        As it was understood [m]
    limits : tuple
        Low and high [m]
    units : str
        What bare lengths are in: "m" or "ft"; empty for another quantity

    Returns
    -------
    hint : str
        With a space before it; empty where there is none
    """
    if units not in SLIPS or "by mistake" not in hint:
        return f" {hint}" if hint else ""
    low, high = limits
    meant = [words for words, factor in SLIPS[units] if low <= value * factor <= high]
    kept = [part for part in re.findall(r"[^.?]+[.?]", hint) if "by mistake" not in part]
    said = "".join(kept)
    if meant:
        asked = " or ".join(meant)
        said += f" {asked[0].upper()}{asked[1:]}?"
    return f" {said.strip()}" if said.strip() else ""


def _limit(value, unit, units, rounded):
    """A limit, of long lengths in whole feet within it."""
    feet = value / FOOT
    if unit == "m" and units == "ft" and feet >= ROUND_FROM:
        return f"{rounded(feet - 1e-9 if rounded is math.ceil else feet + 1e-9)} ft"
    return _plain(value, unit, units)


def _plain(value, unit, units):
    """A number with its unit, short."""
    if unit == "m":
        return f"{digits(round(to_file(value, 'm', units), 2), 0)} {units}"
    if unit == "m2":
        return f"{to_file(value, 'm2', units):,.0f} {units}²"
    return value_text(value, unit, units)


def _octaves(question, text):
    """Seven levels."""
    words = text.replace(",", " ").replace(";", " ").split()
    if len(words) != 7:
        raise ValueError(
            f"{question.label}: write seven numbers, 125 Hz to 8 kHz, with spaces between."
            f" There are {len(words)}."
        )
    return tuple(read_value(word, "dB", "m") for word in words)


def _choice(question, text):
    """One of a question's choices: the one that is named, or meant by another word."""
    if question.may_be_unsure and text.lower() in SYNONYMS:
        return NOT_SURE
    if not question.choices:  # names of things of the school, which the form offers
        return text
    table = dict.fromkeys(question.choices)
    meant = meanings(text, table)
    if len(meant) == 1:
        return meant[0]
    if meant:
        raise ValueError(f"{question.label}: {shown(text)} may be {either(meant)}. Choose one.")
    raise ValueError(
        f"{question.label}: {shown(text)} is unknown. Known: {', '.join(question.choices)}."
    )


def answer_words(question, value, units):
    """An answer in words, as it was understood.

    Parameters
    ----------
    question : Question
        What was asked
    value : any
        As of ``understood`` [SI, or the question's unit]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        "100 ft 0 in (30.48 m)", "yes", "north, south"
    """
    if value is None:
        return "none"
    if question.unit == "yes":
        return "yes" if value else "no"
    if question.unit == "choices":
        return ", ".join(value) or "none"
    if question.unit == "octaves":
        return " ".join(f"{level:g}" for level in value)
    if question.unit in BY_NAME:
        return ", ".join(f"{name} {number:g}" for name, number in value.items()) or "none"
    if question.unit in ("choice", "text"):
        return str(value)
    return value_text(value, question.unit, units)


def typed_words(question, value, units):
    """An answer as it can be typed again.

    Parameters
    ----------
    question : Question
        What was asked
    value : any
        As of ``understood`` [SI, or the question's unit]
    units : str
        "m" or "ft"

    Returns
    -------
    text : str
        "100", "30.48", "yes"; read back as the same value to the third decimal
    """
    if value is None:
        return ""
    if question.unit in ("yes", "choices", "octaves", "choice", "text", *BY_NAME):
        return answer_words(question, value, units)
    if question.unit == "°C":
        return digits(value * 1.8 + 32 if units == "ft" else value, 0)
    return digits(float(to_file(value, question.unit, units)), 0)
