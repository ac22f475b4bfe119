"""What a gym of some size usually has: assumed of a school until somebody knows better."""

from dataclasses import dataclass
from functools import cache

from .tables import read_table
from .units import FOOT, INCH

SCALES = {"m": 1.0, "m2": 1.0, "in": INCH, "ft": FOOT, "count": 1.0}


@dataclass(frozen=True, kw_only=True)
class SizeClass:
    """Usual values of gyms up to a floor area.

    Parameters
    ----------
    name : str
        "elementary", "middle school", "high school" or "large"
    up_to : float
        Largest floor area [m2]
    court : str
        Level of play
    over_clear : float
        From the clear height to the roof at the walls [m]
    floor, roof, walls : str
        Finishes
    row_run, row_rise, first_height : float
        Of bleachers [m]
    section : float
        Longest row between two aisles [m]
    end : float
        Bare wall at either end of a bank [m]
    chairs : int
        Chairs set out at most [-]
    uses : tuple of str
        What the school does there
    """

    name: str
    up_to: float
    court: str
    over_clear: float
    floor: str
    roof: str
    walls: str
    row_run: float
    row_rise: float
    first_height: float
    section: float
    end: float
    chairs: int
    uses: tuple


@cache
def size_classes():
    """All size classes, the smallest first.

    Returns
    -------
    classes : tuple of SizeClass
        Their rows in the table say where each value comes from
    """
    found = {}
    for row in read_table("size_classes.csv"):
        value = row["value"]
        if row["unit"]:
            value = float(value) * SCALES[row["unit"]]
        elif row["key"] == "uses":
            value = tuple(part.strip() for part in value.split(";"))
        found.setdefault(row["size_class"], {"name": row["size_class"]})[row["key"]] = value
    made = [SizeClass(**{**row, "chairs": int(row["chairs"])}) for row in found.values()]
    return tuple(sorted(made, key=lambda one: one.up_to))


def size_class(area):
    """Size class of a gym.

    Parameters
    ----------
    area : float
        Floor area [m2]

    Returns
    -------
    size_class : SizeClass
        The smallest that holds it; the largest above all

    Examples
    --------
    >>> size_class(500).name, size_class(1000).name
    ('elementary', 'high school')
    """
    classes = size_classes()
    return next((one for one in classes if area <= one.up_to), classes[-1])
