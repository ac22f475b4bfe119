"""Tables of the package: rows of a CSV file, and looking one up by name."""

import csv
import difflib
from importlib import resources

MENTIONED = 20  # names in a refusal


def read_table(filename):
    """Rows of one table in ``gymtools/data``.

    Parameters
    ----------
    filename : str
        Name of the CSV file, e.g. "finishes.csv"

    Returns
    -------
    rows : list of dict
        One dict of texts per row, keyed by the header
    """
    with (
        resources.files("gymtools")
        .joinpath("data", filename)
        .open(encoding="utf-8", newline="") as file
    ):
        return list(csv.DictReader(file))


def named(table, name, kind):
    """Entry of a table by name, or a refusal that suggests the nearest name.

    Parameters
    ----------
    table : dict
        Entries keyed by name
    name : str
        Name looked for
    kind : str
        What the table holds, for the message, e.g. "finish"

    Returns
    -------
    entry : object
        ``table[name]``

    Raises
    ------
    ValueError
        There is no such entry; the nearest name is suggested
    """
    if isinstance(name, str) and name in table:
        return table[name]
    near = difflib.get_close_matches(str(name).lower(), table, 1)
    known = ", ".join(list(table)[:MENTIONED]) + (" ..." if len(table) > MENTIONED else "")
    hint = f"Did you mean '{near[0]}'?" if near else f"Known: {known}."
    raise ValueError(f"{kind} = {name!r} is unknown. {hint}")
