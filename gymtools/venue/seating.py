"""Bleacher banks, chairs on the floor and the court: where people are, and the points that stand
for their ears.
"""

from dataclasses import dataclass

import numpy as np

from . import wheelchairs
from .arguments import one_of
from .finishes import FINISHES
from .hall import SIDES
from .locations import AlongWall, OnFloor, along_wall, overlap, rectangle, spot
from .quantity import Thing, quantity
from .tables import named
from .units import INCH, both

# seated ear over the seat board [m]: 1.2 m over the footboard (ISO 3382-1) less a 0.43 m board
EAR_OVER_SEAT = 0.77
EAR_SEATED = 1.2  # over the floor [m]     ISO 3382-1:2009, microphone height
EAR_STANDING = 1.55  # over the floor [m]     common practice, no source
SEAT = 0.46  # width of a seat on a bench [m]     18 in, common practice in the bleacher trade
COURT_GRID = 1.0  # spacing of points on the court [m]
CHAIR_HEIGHT = 0.45  # where seated people on the floor catch sound [m]
CLOSED_DEPTH = 1.1  # depth of a bank pushed back into its stack [m]     common practice, no source
# of chairs in a new file, by its units [m]    18 in: common practice of folding chairs, no source
NEW_SPACING = {"ft": 18 * 0.0254, "m": 0.5}
SEAT_STEP = 0.5  # spacing of points along a row of a bank [m]
# width of an aisle in a bank [m]     a building encyclopedia (secondary source); codes decide
AISLE = 36 * INCH
FLOOR_AISLE = 44 * INCH  # the same between chairs [m]     common practice, no source; codes decide
MEZZANINE = 2.2  # least height of a deck that people walk under [m]     as a balcony's


def seats_of(which, seats):
    """How many of an area's seats some of its points stand for.

    Parameters
    ----------
    which : array
        Whether each point is one of them (point,) [-]
    seats : int
        Seats of the area; 0 where people stand and every point is somebody [-]

    Returns
    -------
    count : int
        Their share of the seats, rounded; all of them only for all points, none only for no point
        [-]

    Examples
    --------
    >>> seats_of([True, False, False], 53), seats_of([True, False, False], 0)
    (18, 1)
    """
    which = np.asarray(which, bool)
    if not seats or not which.any() or which.all():
        return int(seats) if seats and which.any() else int(which.sum())
    return int(np.clip(np.floor(which.mean() * seats + 0.5), min(1, seats - 1), seats - 1))


@dataclass(frozen=True, eq=False)
class SeatNumbers:
    """Numbers on site, from 1, for the points along a row or from row to row."""

    count: int  # seats in a row without wheelchair spaces, or rows
    place: np.ndarray  # of each point from the first end, in widths of a seat or a row (point,)

    @classmethod
    def even(cls, points, count):
        """Numbers for points that are spread evenly over seats or rows.

        Parameters
        ----------
        points : int
            Points along the line [-]
        count : int
            Seats or rows along the same line [-]

        Returns
        -------
        numbers : SeatNumbers
            With one seat at least
        """
        count = max(1, count)
        return cls(count, (np.arange(points) + 0.5) * count / points)

    @property
    def at(self):
        """Number of the seat or row within which each point lies (point,) [-]."""
        return np.minimum((self.place + 1e-9).astype(int) + 1, self.count)

    def nearest(self, number):
        """The point nearest to the middle of a seat or row.

        Parameters
        ----------
        number : int
            From 1; the last one where there are fewer [-]

        Returns
        -------
        point : int
            From 0 [-]
        """
        return int(np.argmin(np.abs(self.place - (min(number, self.count) - 0.5))))


@dataclass(frozen=True, eq=False)
class AudienceArea:
    """Points on a grid of rows and columns: row 0 is the first row, nearest the court (banks) or
    what the chairs face (floor); columns skip the aisles.
    """

    name: str
    kind: str  # "bank", "floor", "court", "balcony" or "track"
    points: np.ndarray  # (row * column, 3) [m]
    rows: int
    columns: int
    unit_seats: float  # seats that one point stands for
    # as they are counted on site; a number for each column and row of points when left out
    seat_numbers: SeatNumbers | None = None
    row_numbers: SeatNumbers | None = None

    def __post_init__(self):
        for key, points in (("seat_numbers", self.columns), ("row_numbers", self.rows)):
            if getattr(self, key) is None:
                object.__setattr__(self, key, SeatNumbers.even(points, points))

    @property
    def seats(self):
        """Seats that its points stand for; 0 where people stand [-]."""
        return round(self.unit_seats * len(self.points))

    def seats_of(self, which):
        """How many of its seats some of its points stand for, as ``seats_of``.

        Parameters
        ----------
        which : array
            Whether each point is one of them (point,) [-]

        Returns
        -------
        count : int
            Of ``seats``; of its points where people stand [-]
        """
        return seats_of(which, self.seats)

    def numbers(self, index):
        """Row and seat of a point, as they are counted on site.

        Parameters
        ----------
        index : int
            Which point [-]

        Returns
        -------
        row, seat : int
            From 1: those nearest to the point [-]
        """
        row, column = divmod(int(index), self.columns)
        return int(self.row_numbers.at[row]), int(self.seat_numbers.at[column])

    def index_at(self, row, seat):
        """The point nearest to a seat on site.

        Parameters
        ----------
        row, seat : int
            From 1; the last one where there are fewer [-]

        Returns
        -------
        index : int
            Among its points [-]
        """
        return self.row_numbers.nearest(row) * self.columns + self.seat_numbers.nearest(seat)

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
            "row 7 of 12, seat 3 of 60", as on site; where it is in the gym on the court and where
            people stand
        """
        if self.kind in ("court", "track"):
            return spot(self.points[index], units)
        row, seat = self.numbers(index)
        return f"row {row} of {self.row_numbers.count}, seat {seat} of {self.seat_numbers.count}"

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

        down, along = some(rows, self.rows), some(columns, self.columns)
        points = self.points.reshape(self.rows, self.columns, 3)[np.ix_(down, along)]
        return AudienceArea(
            self.name,
            self.kind,
            points.reshape(-1, 3),
            rows,
            columns,
            self.unit_seats * self.rows * self.columns / (rows * columns),
            SeatNumbers(self.seat_numbers.count, self.seat_numbers.place[along]),
            SeatNumbers(self.row_numbers.count, self.row_numbers.place[down]),
        )


class Aisles:
    """Rows of seats that aisles divide into equal sections, from the first row to the last."""

    def section(self, length):
        """Length of one of the sections of a row.

        Parameters
        ----------
        length : float
            Of the row, aisles included [m]

        Returns
        -------
        section : float
            Zero or less where the aisles leave no seat [m]
        """
        return (length - self.aisles * self.aisle_width) / (self.aisles + 1)

    def sections(self, length):
        """Middles of the sections of a row.

        Parameters
        ----------
        length : float
            Of the row, aisles included [m]

        Returns
        -------
        middles : ndarray
            From the middle of the row (section,) [m]
        """
        step = self.section(length) + self.aisle_width
        return (np.arange(self.aisles + 1) - self.aisles / 2) * step

    def aisle_middles(self, length):
        """Middles of the aisles.

        Parameters
        ----------
        length : float
            Of a row, aisles included [m]

        Returns
        -------
        middles : ndarray
            From the middle of the row (aisle,) [m]
        """
        middles = self.sections(length)
        return (middles[1:] + middles[:-1]) / 2

    def _check_aisles(self, length, seat):
        """Refuse aisles that leave no seat between them."""
        most = int((length - seat) / (self.aisle_width + seat) + 1e-9)
        if self.aisles > most:
            raise ValueError(
                f"aisles = {self.aisles} of {both(self.aisle_width)} leave no seat between them in"
                f" rows of {both(length)}. At most {most}."
            )

    def _check_wheelchairs(self, seat, step, rows, in_row):
        """Refuse more wheelchair spaces than the first row has room for."""
        most = in_row // wheelchairs.seats_taken(seat, step, rows)[1]
        if self.wheelchair_spaces > most:
            raise ValueError(
                f"wheelchair_spaces = {self.wheelchair_spaces} do not fit into the first row of"
                f" {in_row} seats. At most {most}."
            )

    def _seats(self, seat, step, rows, in_row):
        """Seats of some rows, wheelchair spaces in place of those that they take."""
        taken, _ = wheelchairs.seats_taken(seat, step, rows)
        return rows * in_row - self.wheelchair_spaces * (taken - 1)


def _wheelchair_spaces():
    """Field for the wheelchair spaces of a block of seats."""
    return quantity(
        "count", 0, 60, default=0, hint="Each takes the place of seats in the front rows."
    )


@dataclass(frozen=True, kw_only=True)
class Bank(AlongWall, Aisles, Thing):
    """A bank of bleachers along one wall; ``first_height`` is the first row's seat board over what
    the bank stands on.

    It stands ``setback`` from the wall, on the floor or on a mezzanine's deck at ``base_height``.
    ``pulled_out`` is the number of rows that are out, the low rows in front; the others are folded
    into a stack at the back, as high as the closed bank. Aisles divide its length into equal
    sections; a wheelchair space takes the place of seats in the first rows, with its ears as high
    as those of the first row.

    Raises
    ------
    ValueError
        A number is outside its range, or some of them do not go together
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
    setback: float = quantity("m", 0, 40, default=0.0, hint="From the wall to the bank's back.")
    base_height: float = quantity(
        "m", 0, 15, default=0.0, hint="Of a mezzanine's deck over the gym's floor; 0 on the floor."
    )
    pulled_out: int | None = quantity(
        "count", 1, 60, default=None, hint="Number of rows that are out; leave it out for all."
    )
    aisles: int = quantity("count", 0, 30, default=0, hint="Number of aisles between the sections.")
    aisle_width: float = quantity(
        "m", 0.5, 3.0, default=AISLE, hint="Inches or centimeters given by mistake?"
    )
    wheelchair_spaces: int = _wheelchair_spaces()
    seat_spacing: float = quantity("m", 0.4, 1.0, default=SEAT, hint="Inches given by mistake?")

    def __post_init__(self):
        super().__post_init__()
        for key in ("empty", "full"):
            named(FINISHES, getattr(self, key), key)
        one_of("side", self.side, SIDES)
        least = self.row_rise / 2 + 0.05  # so that the bank's front has a height
        if self.open and self.first_height < least:
            raise ValueError(
                f"first_height = {self.first_height:g} m is below {least:g} m, the least for"
                f" row_rise = {self.row_rise:g} m."
            )
        if 0 < self.base_height < MEZZANINE:
            raise ValueError(
                f"base_height = {both(self.base_height)} is below {both(MEZZANINE)}, the least"
                " for a mezzanine that people walk under. On a low platform, raise first_height"
                " instead."
            )
        if self.pulled_out is not None and self.pulled_out > self.rows:
            raise ValueError(
                f"pulled_out = {self.pulled_out} is more than the bank's {self.rows} rows."
            )
        self._check_aisles(self.length, self.seat_spacing)
        self._check_wheelchairs(self.seat_spacing, self.row_run, self.rows, self.seats_in_row)

    @property
    def rows_out(self):
        """Rows that are out, the low ones [-]."""
        if not self.open:
            return 0
        return self.rows if self.pulled_out is None else self.pulled_out

    @property
    def folded(self):
        """Depth of the rows that are folded into a stack at the back [m]."""
        if not self.open:
            return CLOSED_DEPTH
        return min(CLOSED_DEPTH, (self.rows - self.rows_out) * self.row_run)

    @property
    def depth(self):
        """Depth on the floor as it stands, open, partly open or closed [m]."""
        return self.rows_out * self.row_run + self.folded

    @property
    def on_floor(self):
        """Whether it stands on the gym's floor, and not on a mezzanine."""
        return self.base_height == 0

    @property
    def first_seat(self):
        """Height of the first row's seat board over the gym's floor [m]."""
        return self.base_height + self.first_height

    @property
    def front(self):
        """Height of the front edge of the seats, or of the closed stack [m]."""
        return self.first_seat - self.row_rise / 2 if self.rows_out else self.top

    @property
    def rear(self):
        """Height of the back edge of the seats that are out, or of the closed stack [m]."""
        if not self.rows_out:
            return self.top
        return self.first_seat + (self.rows_out - 0.5) * self.row_rise

    @property
    def top(self):
        """Height of the back edge of all its seats, out or folded: its highest point [m]."""
        return self.first_seat + (self.rows - 0.5) * self.row_rise

    @property
    def solid(self):
        """Volume it takes from the gym: the space under the seats is closed off by their fronts
        and sides [m3].
        """
        low, deep = 2 * self.base_height, self.rows_out * self.row_run
        seats = self.length * deep * (self.front + self.rear - low) / 2
        return seats + self.length * self.folded * (2 * self.top - low) / 2

    @property
    def seats_in_row(self):
        """Seats in one row; an aisle is no seat [-]."""
        section = self.section(self.length)
        return (self.aisles + 1) * int(section / self.seat_spacing + 1e-9)

    @property
    def seats(self):
        """Seats on the benches that are out, each wheelchair space one of them; what aisles and
        wheelchairs take is taken off [-].
        """
        if not self.rows_out:
            return 0
        return self._seats(self.seat_spacing, self.row_run, self.rows_out, self.seats_in_row)

    @property
    def seated_share(self):
        """Share of its length that seats take, aisles the rest [-]."""
        return 1 - self.aisles * self.aisle_width / self.length

    @property
    def profile(self):
        """Its section from its front to its back, (corner, 2): distance from the wall, height [m].

        A bank that is closed has the profile of its stack.
        """
        back, low, top = self.setback, self.base_height, self.top
        corners = [(back + self.depth, low)]
        for row in range(self.rows_out):
            height = self.first_seat + row * self.row_rise
            corners += [
                (back + self.depth - row * self.row_run, height),
                (back + self.depth - (row + 1) * self.row_run, height),
            ]
        if self.folded:
            corners += [(back + self.folded, top), (back, top)]
        return np.array([*corners, (back, low)])

    def aisle_footprints(self, hall):
        """Rectangles of its aisles on the plan, between the rows that are out.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        rectangles : list of tuple
            (x low, x high, y low, y high) each [m]
        """
        if not self.rows_out:
            return []
        half = self.aisle_width / 2
        return [
            rectangle(
                self.corner(hall, at - half, self.folded, 0),
                self.corner(hall, at + half, self.depth, 0),
            )
            for at in self.aisle_middles(self.length)
        ]

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
        if not self.rows_out:
            return None
        section = self.section(self.length)
        count = max(2, round(section / SEAT_STEP))  # in each section
        own = (np.arange(count) + 0.5) / count * section - section / 2
        u = (self.sections(self.length)[:, None] + own).ravel()
        row = np.arange(self.rows_out)
        inward = self.folded + (self.rows_out - row - 0.5) * self.row_run + self.setback
        ear = self.first_seat + row * self.row_rise + EAR_OVER_SEAT
        foot, along, into = along_wall(self.side, hall)
        points = foot + (self.offset + u)[None, :, None] * along + inward[:, None, None] * into
        points = points + ear[:, None, None] * np.array([0, 0, 1.0])
        return AudienceArea(
            self.name,
            "bank",
            points.reshape(-1, 3),
            self.rows_out,
            len(u),
            self.seats / (self.rows_out * len(u)),
            SeatNumbers.even(len(u), self.seats_in_row),
        )


@dataclass(frozen=True, kw_only=True)
class FloorSeats(OnFloor, Aisles, Thing):
    """A block of chairs on the floor; x and y are its center, ``length`` its size along the gym and
    ``width`` across it.

    People face the side ``facing``; their first row is nearest that side, and seats count from
    their left. Aisles run from the first row to the last and divide the rows into equal sections.

    Raises
    ------
    ValueError
        A number is outside its range, or some of them do not go together
    """

    name: str
    x: float = quantity("m", -40, 40, default=0.0)
    y: float = quantity("m", -30, 30, default=0.0)
    length: float = quantity("m", 1, 60)
    width: float = quantity("m", 1, 40)
    row_spacing: float = quantity("m", 0.7, 1.5, default=0.9)
    seat_spacing: float = quantity("m", 0.45, 1.0, default=0.5, stated=True)
    empty: str = "folding chairs empty"
    full: str = "folding chairs full"
    facing: str = "west"
    aisles: int = quantity("count", 0, 20, default=0, hint="Number of aisles between the sections.")
    aisle_width: float = quantity(
        "m", 0.5, 4.0, default=FLOOR_AISLE, hint="Inches or centimeters given by mistake?"
    )
    wheelchair_spaces: int = _wheelchair_spaces()

    def __post_init__(self):
        super().__post_init__()
        for key in ("empty", "full"):
            named(FINISHES, getattr(self, key), key)
        one_of("facing", self.facing, SIDES)
        self._check_aisles(self.row_length, self.seat_spacing)
        self._check_wheelchairs(self.seat_spacing, self.row_spacing, self.rows, self.seats_in_row)

    @property
    def row_length(self):
        """Length of a row, aisles included [m]."""
        return self.width if self.facing in ("east", "west") else self.length

    @property
    def rows(self):
        """Rows of chairs [-]."""
        deep = self.length if self.facing in ("east", "west") else self.width
        return max(1, int(deep / self.row_spacing + 1e-6))

    @property
    def seats_in_row(self):
        """Chairs in one row; an aisle is no seat [-]."""
        section = self.section(self.row_length)
        return (self.aisles + 1) * max(1, int(section / self.seat_spacing + 1e-6))

    @property
    def seats(self):
        """Chairs in the block, each wheelchair space one of them; what wheelchairs take is taken
        off [-].
        """
        return self._seats(self.seat_spacing, self.row_spacing, self.rows, self.seats_in_row)

    def blocks(self):
        """Rectangles that chairs cover, a section between aisles each.

        Returns
        -------
        rectangles : list of tuple
            (x low, x high, y low, y high) each [m]
        """
        return self._strips(self.sections(self.row_length), self.section(self.row_length))

    def aisle_footprints(self, hall=None):
        """Rectangles of its aisles on the plan.

        Parameters
        ----------
        hall : Hall, optional
            Not needed; there so that banks and chairs answer alike

        Returns
        -------
        rectangles : list of tuple
            (x low, x high, y low, y high) each [m]
        """
        return self._strips(self.aisle_middles(self.row_length), self.aisle_width)

    def _strips(self, middles, wide):
        """Rectangles from the first row to the last, so wide, about middles of a row [m]."""
        a, b, c, d = self.footprint()
        if not self.aisles:
            return [(a, b, c, d)] if len(middles) else []
        half = wide / 2
        if self.facing in ("east", "west"):
            return [(a, b, self.y + m - half, self.y + m + half) for m in middles]
        return [(self.x + m - half, self.x + m + half, c, d) for m in middles]

    def audience_area(self, hall=None):
        """Seated ears, one per chair.

        Parameters
        ----------
        hall : Hall, optional
            Not needed; there so that banks and chairs answer alike

        Returns
        -------
        area : AudienceArea
            Row 0 is the first row, nearest what the people face
        """
        section, along = self.section(self.row_length), self.facing in ("east", "west")
        least = 1 if self.aisles else 2
        rows = max(2, self.rows)
        count = max(least, int(section / self.seat_spacing + 1e-6))  # in each section
        own = ((np.arange(count) + 0.5) / count - 0.5) * section
        right = (self.sections(self.row_length)[:, None] + own).ravel()
        back = ((np.arange(rows) + 0.5) / rows - 0.5) * (self.length if along else self.width)
        # away from what they face, and to their right
        backward, rightward = FACING[self.facing]
        b, r = np.meshgrid(back, right, indexing="ij")
        points = np.stack(
            [
                self.x + b * backward[0] + r * rightward[0],
                self.y + b * backward[1] + r * rightward[1],
                np.full_like(b, EAR_SEATED),
            ],
            axis=-1,
        ).reshape(-1, 3)
        return AudienceArea(
            self.name,
            "floor",
            points,
            rows,
            len(right),
            self.seats / (rows * len(right)),
            SeatNumbers.even(len(right), self.seats_in_row),
            SeatNumbers.even(rows, self.rows),
        )


def side_toward(block, footprint):
    """Side that chairs face to look at something, e.g. at a stage.

    Parameters
    ----------
    block : FloorSeats
        Chairs on the floor
    footprint : tuple
        What they look at, (x low, x high, y low, y high) [m]

    Returns
    -------
    side : str
        For ``facing``: the way that is longest from the chairs' middle to that of the footprint
    """
    west, east, south, north = footprint
    x, y = (west + east) / 2 - block.x, (south + north) / 2 - block.y
    if abs(x) >= abs(y):
        return "east" if x > 0 else "west"
    return "north" if y > 0 else "south"


# backward and to the right of people who face a side
FACING = {
    "west": ((1, 0), (0, 1)),
    "east": ((-1, 0), (0, -1)),
    "north": ((0, -1), (1, 0)),
    "south": ((0, 1), (-1, 0)),
}


def court_area(court, hall, banks=(), name="court"):
    """Standing ears on a court.

    Parameters
    ----------
    court : Court
        Lines by level of play, where they lie
    hall : Hall
        The gym
    banks : sequence of Bank
        Where one reaches over a court line, the points stop at its front
    name : str
        Of the area

    Returns
    -------
    area : AudienceArea
        Points about a meter apart

    Raises
    ------
    ValueError
        The banks leave no room on the court
    """
    x0, x1, y0, y1 = free_court(court, hall, banks)
    if min(x1 - x0, y1 - y0) < COURT_GRID:
        raise ValueError(
            f"the banks leave no room on {'the court' if name == 'court' else repr(name)}. Fewer"
            " rows, or a closed bank?"
        )
    rows, columns = max(2, round((x1 - x0) / COURT_GRID)), max(2, round((y1 - y0) / COURT_GRID))
    x = x0 + (np.arange(rows) + 0.5) / rows * (x1 - x0)
    y = y0 + (np.arange(columns) + 0.5) / columns * (y1 - y0)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    points = np.stack([gx, gy, np.full_like(gx, EAR_STANDING)], axis=-1).reshape(-1, 3)
    return AudienceArea(name, "court", points, rows, columns, 0.0)


def free_court(court, hall, banks):
    """Rectangle of a court that banks leave free.

    Parameters
    ----------
    court : Court
        Where its lines lie
    hall : Hall
        The gym
    banks : sequence of Bank
        As they stand

    Returns
    -------
    rectangle : tuple
        (x low, x high, y low, y high); turned inside out where nothing is left [m]
    """
    x0, x1, y0, y1 = court.footprint()
    for bank in banks:
        a, b, c, d = bank.footprint(hall)
        if not bank.on_floor or overlap((a, b, c, d), court.footprint()) <= 0:
            continue
        if bank.side == "north":
            y1 = min(y1, c)
        elif bank.side == "south":
            y0 = max(y0, d)
        elif bank.side == "east":
            x1 = min(x1, a)
        else:
            x0 = max(x0, b)
    return x0, x1, y0, y1
