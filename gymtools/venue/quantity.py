"""Things with checked numbers: every numeric field states its unit, its range and the likely slip,
once.
"""

from dataclasses import MISSING, dataclass, field, fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import get_args, get_origin

from .arguments import number
from .texts import check_name, check_text, shown

NAMES = ("name", "tag")  # keys that hold a thing's name


def quantity(unit, low, high, *, hint="", default=MISSING, stated=False):
    """Dataclass field for a number with a unit and a range.

    Parameters
    ----------
    unit : str
        SI unit, or "deg", "dB", "%" ... ; "m", "m2" are converted in files written in feet
    low, high : float
        Closed limits [unit]
    hint : str
        Sentence on the likely slip when the value is outside
    default : float, optional
        Only for air and conventions; None means "may be left out" [unit]
    stated : bool
        Whether a thing that is new in a file states it even where it is the default

    Returns
    -------
    field : dataclasses.Field
        Field whose metadata holds unit, low, high, hint and stated
    """
    known = dict(unit=unit, low=low, high=high, hint=hint, stated=stated)
    return field(default=default, metadata=known)


NOT_IN_FILE = {"in_file": False}  # metadata of a field that is no key of a scenario file


def file_fields(thing):
    """Fields of a thing that are keys of a scenario file.

    Parameters
    ----------
    thing : Thing or type
        A thing, or its class

    Returns
    -------
    fields : list of dataclasses.Field
        In order
    """
    return list(_of_file(thing if isinstance(thing, type) else type(thing)))


@cache
def _of_file(kind):
    return tuple(f for f in fields(kind) if f.metadata.get("in_file", True))


@dataclass(frozen=True, kw_only=True, eq=False)
class Thing:
    """Base of the things: numbers are checked and stored as float (or int, where the unit is
    "count"); text must be one that can be shown.

    It compares nothing itself: with no fields, all things of a class that does not compare its own
    would be equal.
    """

    def __post_init__(self):
        for f in _fields(type(self)):
            value, meta = getattr(self, f.name), f.metadata
            if "unit" not in meta and meta.get("in_file", True):
                _check_kind(f, value)
                if isinstance(value, list):
                    object.__setattr__(self, f.name, tuple(value))
                if f.name in NAMES and isinstance(value, str):
                    check_name(f.name, value)
                check_text(f.name, value)
            if "unit" not in meta or (value is None and f.default is None):
                continue
            unit = "" if meta["unit"] == "count" else meta["unit"]
            value = number(f.name, value, meta["low"], meta["high"], unit, meta["hint"])
            if meta["unit"] == "count":
                if value != int(value):
                    raise ValueError(f"{f.name} = {value:g} is not a whole number.")
                value = int(value)
            object.__setattr__(self, f.name, value)

    def __getstate__(self):
        """What a copy in another process takes along: the fields, nothing that was worked out."""
        return {f.name: getattr(self, f.name) for f in fields(self)}


WORDS = {
    str: "text in quotes",
    bool: "true or false",
    tuple: "a list",
    dict: "a table of keys and values",
}


@cache
def _fields(cls):
    """Fields of a class, looked up once: things are made by the thousand in a search."""
    return fields(cls)


@cache
def _kinds(wanted):
    """Kinds of values that a field of a type may hold, and the kind of the items of a list; None
    where there is nothing to check.
    """
    wanted = get_args(wanted) if isinstance(wanted, UnionType) else (wanted,)
    kinds = tuple(get_origin(one) or one for one in wanted)
    if not all(k in WORDS or k is NoneType or is_dataclass(k) for k in kinds):
        return None
    return kinds, next((get_args(one)[0] for one in wanted if get_args(one)), None)


def _check_kind(f, value):
    """Refuse what a field without a unit cannot hold: text for a list, a number for a bank."""
    known = _kinds(f.type)
    if known is None:
        return
    kinds, item = known
    blank = f.type is str and isinstance(value, str) and not value.strip() and value != f.default
    if blank or not isinstance(value, (*kinds, list) if tuple in kinds else kinds):
        kind = kinds[0]
        must = WORDS.get(kind, f"a {kind.__name__}")
        raise ValueError(f"{f.name} = {shown(value)} must be {must}.")
    for part in value if item else ():
        if not isinstance(part, item):
            raise ValueError(
                f"{f.name}: {shown(part)} is no {item.__name__}. It must be a list of these."
            )


def limits(cls, name):
    """Range of a checked field, for sliders and messages.

    Parameters
    ----------
    cls : type
        A Thing
    name : str
        Field name

    Returns
    -------
    low, high, unit : tuple
        Closed limits and their unit [unit, unit, -]
    """
    meta = cls.__dataclass_fields__[name].metadata
    return meta["low"], meta["high"], meta["unit"]
