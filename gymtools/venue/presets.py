"""Things that a gym often has, each with a usual size: a scoreboard, doors, a balcony, a use."""

from functools import cache

from .files import MANY, ONE
from .quantity import file_fields
from .tables import read_table

KEPT_BESIDE = ("full",)  # of uses: how full the seats are


@cache
def presets(table):
    """Things that can be added to a table of the file.

    Parameters
    ----------
    table : str
        "fixtures", "uses" ...

    Returns
    -------
    presets : dict of dict
        Values by key, by the preset's name [SI]
    """
    kinds = {f.name: f for f in file_fields({**ONE, **MANY}[table])}
    found = {}
    for row in read_table("presets.csv"):
        if row["table"] == table:
            field = kinds.get(row["key"])
            number = row["key"] in KEPT_BESIDE or (field is not None and "unit" in field.metadata)
            value = row["value"]
            if number:
                value = float(value)
                if field is not None and field.metadata["unit"] == "count":
                    value = int(value)
            elif field is not None and field.type is bool:
                value = value == "yes"
            found.setdefault(row["preset"], {})[row["key"]] = value
    return found
