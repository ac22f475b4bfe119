"""Schedules as tables."""

from html import escape

from .markup import table

UNITS = {"ft2": "ft²", "m2": "m²"}  # as files have them, and as people read them


def schedule_table(schedule):
    """Schedule as a table with its note.

    Parameters
    ----------
    schedule : Schedule
        Of ``equipment.schedules.schedules``

    Returns
    -------
    html : str
        A table
    """
    head = [escape(column) for column in schedule.columns]
    rows = [[_cell(value) for value in row] for row in schedule.rows]
    made = table(escape(schedule.title), head, rows)
    note = f'<p class="quiet">{escape(schedule.note)}</p>' if schedule.note else ""
    return f'<div class="wide">{made}</div>{note}'


def _cell(value):
    return escape(UNITS.get(value, value)) if isinstance(value, str) else value
