"""Bleacher banks, chairs on the floor and the court: where people are, and the points that stand
for their ears.
"""

from dataclasses import dataclass

import numpy as np

from .finishes import FINISHES
from .hall import SIDES
from .locations import AlongWall, OnFloor, along_wall, spot
from .quantity import Thing, quantity
from .tables import named

# seated ear over the seat board [m]: 1.2 m over the footboard (ISO 3382-1) less a 0.43 m board
EAR_OVER_SEAT = 0.77
EAR_SEATED = 1.2  # over the floor [m]     ISO 3382-1:2009, microphone height
EAR_STANDING = 1.55  # over the floor [m]     common practice, no source
SEAT = 0.46  # width of a seat on a bench [m]     18 in, common practice in the bleacher trade
COURT_GRID = 1.0  # spacing of points on the court [m]
CHAIR_HEIGHT = 0.45  # where seated people on the floor catch sound [m]
CLOSED_DEPTH = 1.1  # depth of a bank pushed back into its stack [m]     common practice, no source


@dataclass(frozen=True, eq=False)
class AudienceArea:
    """Points on a grid of rows and columns: row 0 nearest the court (banks), or nearest the west
    (floor).
    """

    name: str
    kind: str  # "bank", "floor", "court", "balcony" or "track"
    points: np.ndarray  # (row * column, 3) [m]
    rows: int
    columns: int
    unit_seats: float  # seats that one point stands for

    def seat_words(self, index, units="m"):
        """Words for one of the seats.

        Parameters
        ----------
        index : int
            Which point [-]
        units : str
            "m" or "ft"

        Returns
        -------
        words : str
            "row 7 of 12, seat 3 of 60"; where it is in the gym on the court and where people stand
        """
        row, column = divmod(int(index), self.columns)
        if self.kind in ("court", "track"):
            return spot(self.points[index], units)
        return f"row {row + 1} of {self.rows}, seat {column + 1} of {self.columns}"

    def thinned(self, most):
        """A coarser grid over the same area: first and last rows and columns stay, those between
        are spread evenly.

        Parameters
        ----------
        most : int
            Points at most, or four [-]

        Returns
        -------
        area : AudienceArea
            This one when it has no more points; seats are counted on the coarse grid
        """
        if len(self.points) <= most:
            return self
        rows = int(
            np.clip(round(np.sqrt(most * self.rows / self.columns)), min(2, self.rows), self.rows)
        )
        columns = int(np.clip(most // rows, min(2, self.columns), self.columns))

        def some(count, of):
            return np.round(np.linspace(0, of - 1, count)).astype(int)

        points = self.points.reshape(self.rows, self.columns, 3)[
            np.ix_(some(rows, self.rows), some(columns, self.columns))
        ]
        stands = self.unit_seats * self.rows * self.columns / (rows * columns)
        return AudienceArea(self.name, self.kind, points.reshape(-1, 3), rows, columns, stands)


@dataclass(frozen=True, kw_only=True)
class Bank(AlongWall, Thing):
    """A bank of bleachers along one wall; ``first_height`` is the first row's seat board over the
    floor.
    """

    name: str
    side: str
    rows: int = quantity("count", 1, 60)
    row_run: float = quantity(
        "m",
        0.45,
        1.2,
        hint="Depth of one row, seat to seat. Inches or centimeters given by mistake?",
    )
    row_rise: float = quantity(
        "m", 0.0, 0.6, hint="Rise from row to row. Inches or centimeters given by mistake?"
    )
    length: float = quantity("m", 1.5, 80)
    offset: float = quantity("m", -40, 40, default=0.0)
    first_height: float = quantity(
        "m", 0.2, 4.0, default=0.43, hint="Height of the first seat board over the floor."
    )
    open: bool = True
    empty: str = "bench empty"
    full: str = "bench full"

    def __post_init__(self):
        super().__post_init__()
        for key in ("empty", "full"):
            named(FINISHES, getattr(self, key), key)
        if self.side not in SIDES:
            raise ValueError(f"side = '{self.side}' is unknown. Known: {', '.join(SIDES)}.")
        if not isinstance(self.open, bool):
            raise ValueError(f"open = {self.open!r} must be true or false.")
        least = self.row_rise / 2 + 0.05  # so that the bank's front has a height
        if self.open and self.first_height < least:
            raise ValueError(
                f"first_height = {self.first_height:g} m is below {least:g} m, the least for"
                f" row_rise = {self.row_rise:g} m."
            )

    @property
    def depth(self):
        """Depth on the floor as it stands, open or closed [m]."""
        return self.rows * self.row_run if self.open else CLOSED_DEPTH

    @property
    def top(self):
        """Height of the back edge of the seats, or of the closed stack [m]."""
        return self.first_height + (self.rows - 0.5) * self.row_rise

    @property
    def solid(self):
        """Volume it takes from the gym: the space under the seats is closed off by their fronts
        and sides [m3].
        """
        front = self.first_height - self.row_rise / 2 if self.open else self.top
        return self.length * self.depth * (front + self.top) / 2

    @property
    def seats(self):
        """Seats on the benches when open, aisles not taken off [-]."""
        return self.rows * int(self.length / SEAT + 1e-9) if self.open else 0

    def audience_area(self, hall):
        """Ears of a full bank, one point per about half a meter of every row.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        area : AudienceArea or None
            None when the bank is closed
        """
        if not self.open:
            return None
        columns = max(2, round(self.length / 0.5))
        u = (np.arange(columns) + 0.5) / columns * self.length - self.length / 2
        row = np.arange(self.rows)
        inward = (self.rows - row - 0.5) * self.row_run
        ear = self.first_height + row * self.row_rise + EAR_OVER_SEAT
        foot, along, into = along_wall(self.side, hall)
        points = foot + (self.offset + u)[None, :, None] * along + inward[:, None, None] * into
        points = points + ear[:, None, None] * np.array([0, 0, 1.0])
        return AudienceArea(
            self.name,
            "bank",
            points.reshape(-1, 3),
            self.rows,
            columns,
            self.seats / (self.rows * columns),
        )


@dataclass(frozen=True, kw_only=True)
class FloorSeats(OnFloor, Thing):
    """A block of chairs on the floor; x and y are its center, rows run across x (people face along
    x) or along it.
    """

    name: str
    x: float = quantity("m", -40, 40, default=0.0)
    y: float = quantity("m", -30, 30, default=0.0)
    length: float = quantity("m", 1, 60)
    width: float = quantity("m", 1, 40)
    row_spacing: float = quantity("m", 0.7, 1.5, default=0.9)
    seat_spacing: float = quantity("m", 0.45, 1.0, default=0.5)
    empty: str = "folding chairs empty"
    full: str = "folding chairs full"

    def __post_init__(self):
        super().__post_init__()
        for key in ("empty", "full"):
            named(FINISHES, getattr(self, key), key)

    @property
    def seats(self):
        """Chairs in the block [-]."""
        return max(1, int(self.length / self.row_spacing + 1e-6)) * max(
            1, int(self.width / self.seat_spacing + 1e-6)
        )

    def audience_area(self, hall=None):
        """Seated ears, one per chair.

        Parameters
        ----------
        hall : Hall, optional
            Not needed; there so that banks and chairs answer alike

        Returns
        -------
        area : AudienceArea
            Rows run along y
        """
        rows = max(2, int(self.length / self.row_spacing + 1e-6))
        columns = max(2, int(self.width / self.seat_spacing + 1e-6))
        x = self.x + ((np.arange(rows) + 0.5) / rows - 0.5) * self.length
        y = self.y + ((np.arange(columns) + 0.5) / columns - 0.5) * self.width
        gx, gy = np.meshgrid(x, y, indexing="ij")
        points = np.stack([gx, gy, np.full_like(gx, EAR_SEATED)], axis=-1).reshape(-1, 3)
        return AudienceArea(
            self.name, "floor", points, rows, columns, self.seats / (rows * columns)
        )


def court_area(court, hall, banks=()):
    """Standing ears on the court.

    Parameters
    ----------
    court : Court
        Lines by level of play
    hall : Hall
        The gym
    banks : sequence of Bank
        Where one reaches over a court line, the points stop at its front

    Returns
    -------
    area : AudienceArea
        Points about a meter apart

    Raises
    ------
    ValueError
        The banks leave no room on the court
    """
    x0, x1, y0, y1 = -court.length / 2, court.length / 2, -court.width / 2, court.width / 2
    for bank in banks:
        a, b, c, d = bank.footprint(hall)
        if bank.side == "north":
            y1 = min(y1, c)
        elif bank.side == "south":
            y0 = max(y0, d)
        elif bank.side == "east":
            x1 = min(x1, a)
        else:
            x0 = max(x0, b)
    if min(x1 - x0, y1 - y0) < COURT_GRID:
        raise ValueError("the banks leave no room on the court. Fewer rows, or a closed bank?")
    rows, columns = max(2, round((x1 - x0) / COURT_GRID)), max(2, round((y1 - y0) / COURT_GRID))
    x = x0 + (np.arange(rows) + 0.5) / rows * (x1 - x0)
    y = y0 + (np.arange(columns) + 0.5) / columns * (y1 - y0)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    points = np.stack([gx, gy, np.full_like(gx, EAR_STANDING)], axis=-1).reshape(-1, 3)
    return AudienceArea("court", "court", points, rows, columns, 0.0)
