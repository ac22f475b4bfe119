"""Schedules as tables."""

from dataclasses import replace
from html import escape

from ...equipment.schedule_units import unit_of
from .markup import Num, table

UNITS = {"ft2": "ft²", "m2": "m²"}  # as files have them, and as people read them
MOST_COLUMNS = 14  # of a table that a page can hold


def schedule_table(schedule, units=None):
    """Schedule as tables that fit a page, with its note.

    Parameters
    ----------
    schedule : Schedule
        Of ``equipment.schedules.schedules``
    units : str, optional
        "ft" or "m": lengths, masses and forces in these alone; all columns as they are when left
        out

    Returns
    -------
    html : str
        A table, and further ones for columns that stand apart
    """
    shown = schedule if units is None else schedule.in_units(units)
    made = "".join(map(_table, tables_of(shown)))
    note = f'<p class="quiet">{escape(shown.note)}</p>' if shown.note else ""
    return f'<div class="wide">{made}</div>{note}'


def tables_of(schedule):
    """A schedule as several that fit a page: what stands apart, and what is still too wide, is a
    table of its own that begins with the same column.

    Parameters
    ----------
    schedule : Schedule
        Any

    Returns
    -------
    tables : list of Schedule
        Together they hold every column
    """
    first, apart = schedule.columns[0], {c for _, columns in schedule.apart for c in columns}
    main = tuple(c for c in schedule.columns if c not in apart)
    found = []
    for title, columns in ((schedule.title, main), *schedule.apart):
        others = [c for c in columns if c != first]
        for n in range(0, len(others), MOST_COLUMNS - 1):
            some = (first, *others[n : n + MOST_COLUMNS - 1])
            found.append(_columns_of(schedule, some, f"{title}, continued" if n else title))
    return found


def _columns_of(schedule, columns, title):
    at = [schedule.columns.index(c) for c in columns]
    rows = tuple(tuple(row[n] for n in at) for row in schedule.rows)
    return replace(schedule, title=title, columns=columns, rows=rows, apart=())


def _table(schedule):
    columns, rows = schedule.columns, schedule.rows
    cells = [[_cell(v, c) for v, c in zip(row, columns, strict=True)] for row in rows]
    numbers = [bool(rows) and all(_is_number(row[n]) for row in rows) for n in range(len(columns))]
    head = [Num(escape(c)) if n else escape(c) for c, n in zip(columns, numbers, strict=True)]
    return table(escape(schedule.title), head, cells)


def _is_number(value):
    return isinstance(value, int | float) or value == ""


def _cell(value, column):
    if isinstance(value, str):
        return escape(UNITS.get(value, value))
    return Num(f"{value:,.2f}") if unit_of(column) == "m" else value
