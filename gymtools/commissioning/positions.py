"""Where a reading is taken, in words that somebody with a tape measure follows."""

import numpy as np

from ..venue.units import FOOT, INCH
from .readings import Position

TAPE_M, TAPE_IN = 0.1, 3  # steps to which a position is measured off    judgment [m, in]
SEATED = ("bank", "floor", "balcony")  # kinds of area whose seats can be counted


def tape_words(meters, units):
    """A distance as it is measured off on site: nobody puts a microphone stand to the inch.

    Parameters
    ----------
    meters : float
        Distance [m]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        To 0.1 m, or to 3 in

    Examples
    --------
    >>> tape_words(5.234, "m"), tape_words(5.234, "ft")
    ('5.2 m', '17 ft 3 in')
    """
    if units == "m":
        return f"{round(meters / TAPE_M) * TAPE_M + 0.0:.1f} m"
    inches = round(meters / INCH / TAPE_IN) * TAPE_IN
    feet, inches = divmod(inches, round(FOOT / INCH))
    return f"{feet} ft {inches} in" if inches else f"{feet} ft"


def wall_words(point, scenario):
    """A position on the plan by its distances from the two nearest walls.

    Parameters
    ----------
    point : array
        (2,) or (3,): x, y and perhaps z [m]
    scenario : Scenario
        Gives the walls and the units

    Returns
    -------
    words : str
        "5.2 m from the west wall, 3.1 m from the south wall"
    """
    x, y, hall = float(point[0]), float(point[1]), scenario.hall
    return (
        f"{_off_wall(hall.length / 2 - abs(x), 'west' if x < 0 else 'east', scenario.units)},"
        f" {_off_wall(hall.width / 2 - abs(y), 'south' if y < 0 else 'north', scenario.units)}"
    )


def _off_wall(distance, side, units):
    """Distance from a wall; what stands on a stage may lie behind it."""
    words = tape_words(abs(distance), units)
    return f"{words} {'from' if distance >= 0 else 'behind'} the {side} wall"


def seat_words(area, index, scenario):
    """A point of an audience area: by row and seat as they are counted on site, and from the walls.

    Parameters
    ----------
    area : AudienceArea
        In which it is
    index : int
        Among the area's points [-]
    scenario : Scenario
        Gives the walls and the units

    Returns
    -------
    words : str
        Rows count from the front, seats from the end that is named. The walls' distances alone
        where there are no seats
    """
    walls = wall_words(area.points[index], scenario)
    if area.kind not in SEATED or area.unit_seats <= 0:
        return f"{area.name}: {walls}"
    row, seat = area.numbers(index)
    return (
        f"{area.name}: row {row} of {area.row_numbers.count} from the front, seat {seat} of"
        f" {area.seat_numbers.count} from the {_first_end(area)} end; {walls}"
    )


def _earlier_words(area, index, scenario):
    """The same point as entry sheets named it that were written before: its seat by the points of
    the row, or by the mean number of seats in a row with wheelchair spaces.
    """
    if area.kind not in SEATED or area.unit_seats <= 0:
        return (f"{area.name}: {area.seat_words(index, scenario.units)}",)
    row, column = divmod(int(index), area.columns)
    row = f"{area.name}: row {row + 1} of {area.rows}"
    count = max(1, round(area.columns * area.unit_seats))
    number = min(count, int((column + 0.5) * area.unit_seats) + 1)
    return (
        f"{row}, seat {column + 1} of {area.columns}",
        f"{row} from the front, seat {number} of {count} from the {_first_end(area)} end;"
        f" {wall_words(area.points[index], scenario)}",
    )


def _first_end(area):
    """Where the first seats of the rows are, as a side of the plan."""
    if area.columns < 2:
        x, y = area.points[0][:2]
    else:
        x, y = (area.points[0] - area.points[area.columns - 1])[:2]
    if abs(x) >= abs(y):
        return "west" if x < 0 else "east"
    return "south" if y < 0 else "north"


def seat_of(result, k, tag="", earlier_tag=""):
    """Position of a point of a result.

    Parameters
    ----------
    result : Result
        An evaluation
    k : int
        Which of its points [-]
    tag : str
        On the plan
    earlier_tag : str
        In entry sheets that were written before

    Returns
    -------
    position : Position
        With its words
    """
    area = result.configuration.areas[str(result.area[k])]
    own = k - int(np.flatnonzero(result.area == area.name)[0])
    return Position(
        tag,
        seat_words(area, own, result.scenario),
        tuple(np.round(result.points[k], 3).tolist()),
        int(k),
        earlier=_earlier_words(area, own, result.scenario),
        earlier_tag=earlier_tag,
    )
