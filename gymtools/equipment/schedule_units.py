"""Columns of a schedule in one kind of units: a length that stands in meters and in feet is printed
once, and one that stands in meters only is converted, as is a mass.
"""

from numbers import Real

from ..venue.units import UNITS, feet_inches
from .hanging import POUND

# unit of a column: what stands for it in feet schools, and how a number becomes it; a force has
# been rounded, and is not converted any more
US = {
    "m": ("ft-in", lambda m: feet_inches(m, parts=4)),
    "kg": ("lb", lambda kg: round(kg / POUND, 1)),
    "kN": ("lbf", None),
}
METRIC = {us: metric for metric, (us, _) in US.items()}


def unit_of(column):
    """Unit of a column.

    Parameters
    ----------
    column : str
        Its name, e.g. "throw [m]"

    Returns
    -------
    unit : str
        What stands in its brackets; empty without any
    """
    name, bracket, unit = column.rpartition(" [")
    return unit.removesuffix("]") if bracket and name else ""


def names_in(columns, units):
    """Which columns are printed, and under which names.

    Parameters
    ----------
    columns : sequence of str
        Names with their units in brackets
    units : str
        "ft" or "m"

    Returns
    -------
    names : dict
        New name by the old one, in order; a column whose other one is printed is left out

    Raises
    ------
    ValueError
        The units are unknown
    """
    if units not in UNITS:
        raise ValueError(f"units = {units!r} is unknown. Known: m, ft.")
    found = {}
    for column in columns:
        unit = unit_of(column)
        us = f"{column.rpartition(' [')[0]} [{US[unit][0]}]" if unit in US else ""
        metric = f"{column.rpartition(' [')[0]} [{METRIC[unit]}]" if unit in METRIC else ""
        if units == "ft" and us:
            if us not in columns:
                found[column] = us if US[unit][1] else column
        elif units == "ft" or metric not in columns:
            found[column] = column
    return found


def converted(columns, rows, units):
    """Columns and rows of a schedule in one kind of units.

    Parameters
    ----------
    columns : sequence of str
        Names with their units in brackets
    rows : sequence of tuple
        Texts and numbers
    units : str
        "ft" or "m"

    Returns
    -------
    columns, rows : tuple
        Names, and a tuple for every row

    Raises
    ------
    ValueError
        The units are unknown
    """
    names = names_in(columns, units)
    kept = [(n, c, names[c]) for n, c in enumerate(columns) if c in names]
    made = tuple(tuple(_cell(row[n], old, new) for n, old, new in kept) for row in rows)
    return tuple(names.values()), made


def _cell(value, old, new):
    """A cell as its new column has it; text and what is left out stay."""
    if not isinstance(value, Real) or isinstance(value, bool):
        return value
    if old != new:
        return US[unit_of(old)][1](value)
    return round(value, 2) if unit_of(new) == "m" else value
