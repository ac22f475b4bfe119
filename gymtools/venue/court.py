"""Courts: the published lines of each level of play, drawn true, so that a gym is recognized at a
glance; where a court lies in the gym; and side courts beside or across it.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..physics.checks import within
from .arguments import one_of
from .quantity import Thing, quantity
from .tables import named, read_table
from .units import INCH

_TO_METERS = {"m": 1.0, "in": INCH}  # published unit of a row
_ARC = np.deg2rad(3.0)  # step along an arc; a 6.75 m arc is then true to 2.3 mm


def _circle(x, y, radius):
    """Closed circle."""
    angle = np.linspace(0, 2 * np.pi, round(2 * np.pi / _ARC) + 1)
    return np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=-1)  # (n, 2)


@dataclass(frozen=True, kw_only=True)
class Court:
    """Court of one level of play; a size of 0 means that this court has no such mark.

    Sizes are taken to the middle of a line; the rules measure to one edge or the other of lines 5
    cm wide.

    Parameters
    ----------
    level : str
        Level of play, e.g. "high school"
    length : float
        Between the end lines [m]
    width : float
        Between the sidelines [m]
    source : str
        Rule book, and which sizes are an assumption
    hoop_height : float
        Rim above the floor [m]
    hoop_inset : float
        Center of the rim from the end line [m]
    ring_radius : float
        Inner radius of the rim [m]
    board_inset : float
        Face of the backboard from the end line [m]
    board_width : float
        Backboard [m]
    key_width : float
        Key, or free-throw lane [m]
    free_throw : float
        Free-throw line from the end line [m]
    three_point_radius : float
        Three-point arc about the floor point under the rim's center [m]
    three_point_corner : float
        Straight parts of the three-point line from the court's long axis [m]
    circle_radius : float
        Center circle and free-throw circles [m]
    attack_line : float
        Volleyball attack lines from the center line [m]
    x, y : float
        Middle of the court, east and north of the gym's center [m]
    turned : bool
        Whether it runs across the gym
    ends : tuple of int
        Ends that have marks and a basket: 1 toward the east (turned: the north), -1 the other [-]
    """

    level: str
    length: float
    width: float
    source: str
    hoop_height: float = 0.0
    hoop_inset: float = 0.0
    ring_radius: float = 0.0
    board_inset: float = 0.0
    board_width: float = 0.0
    key_width: float = 0.0
    free_throw: float = 0.0
    three_point_radius: float = 0.0
    three_point_corner: float = 0.0
    circle_radius: float = 0.0
    attack_line: float = 0.0
    x: float = 0.0
    y: float = 0.0
    turned: bool = False
    ends: tuple = (1, -1)

    def __post_init__(self):
        within("length", self.length, 8, 40, "m", "Feet given by mistake?")
        # half a court may be wider than it is long
        widest = self.length if len(self.ends) == 2 else 40
        within("width", self.width, 5, widest, "m", "Length and width swapped?")
        for size in SIZES:
            within(size, getattr(self, size), 0, self.length / 2, "m", "Feet given by mistake?")
        widest = min(self.three_point_radius, self.width / 2)
        within(
            "three_point_corner",
            self.three_point_corner,
            0,
            widest,
            "m",
            "The line leaves its arc or the court.",
        )
        if not self.source.strip():
            raise ValueError(
                f"court '{self.level}': source is empty. Say where the sizes come from."
            )

    def point(self, along, across):
        """A point of the court in the gym.

        Parameters
        ----------
        along, across : float or array
            From the middle of the court, along it and to the left of that [m]

        Returns
        -------
        point : ndarray
            (2,), or (n, 2) for arrays [m]
        """
        at = (-across, along) if self.turned else (along, across)
        return np.stack(np.broadcast_arrays(*at), axis=-1) + np.array([self.x, self.y])

    def footprint(self, hall=None):
        """Rectangle between its lines.

        Parameters
        ----------
        hall : Hall, optional
            Not needed; there so that all that lies in a gym answers alike

        Returns
        -------
        rectangle : tuple
            (x low, x high, y low, y high) [m]
        """
        across, along = self.width / 2, self.length / 2
        x, y = (across, along) if self.turned else (along, across)
        return self.x - x, self.x + x, self.y - y, self.y + y

    def reach(self, side):
        """How far it lies from the gym's center toward a side.

        Parameters
        ----------
        side : str
            "north", "south", "east" or "west"

        Returns
        -------
        reach : float
            Of its line on that side [m]
        """
        west, east, south, north = self.footprint()
        return {"west": -west, "east": east, "south": -south, "north": north}[side]

    def hoops(self):
        """Centers of the rims, shape (2, 3), or (1, 3) with one basket [m]; none, shape (0, 3), on
        a court without hoops.
        """
        if not self.hoop_height:
            return np.empty((0, 3))
        x = self.length / 2 - self.hoop_inset
        return np.array(
            [[*self.point(end * x, 0.0), self.hoop_height] for end in self.ends]
        ).reshape(-1, 3)

    def boards(self):
        """Ends of the backboards on the plan, shape (basket, 2, 2) [m]."""
        if not self.hoop_height:
            return np.empty((0, 2, 2))
        x, half = self.length / 2 - self.board_inset, self.board_width / 2
        return np.array(
            [self.point(end * x, np.array([-half, half])) for end in self.ends]
        ).reshape(-1, 2, 2)

    def lines(self):
        """Lines on the floor, and hoop and backboard seen from above, as polylines.

        Returns
        -------
        lines : list of ndarray
            Each of shape (n, 2), in the gym's frame: boundary, center line, center circle; then for
            each end key, free-throw circle, three-point line, backboard, ring [m]
        """
        return [self.point(line[:, 0], line[:, 1]) for line in self._lines()]

    def _lines(self):
        """The lines about the court's own middle, x along it."""
        x, y = self.length / 2, self.width / 2
        lines = [np.array([[-x, -y], [x, -y], [x, y], [-x, y], [-x, -y]])]
        if len(self.ends) == 2:  # half a court has no middle
            lines.append(np.array([[0, -y], [0, y]]))
            if self.circle_radius:
                lines.append(_circle(0, 0, self.circle_radius))
        # the other end turned by 180 degrees
        return lines + [line * end for end in self.ends for line in self._end()]

    def _end(self):
        """Lines of the end at +x."""
        x, y = self.length / 2, self.width / 2
        if self.attack_line:
            yield np.array([[self.attack_line, -y], [self.attack_line, y]])
        if self.key_width:
            line, half = x - self.free_throw, self.key_width / 2
            yield np.array([[x, -half], [line, -half], [line, half], [x, half]])
            yield _circle(line, 0, self.circle_radius)
        if self.three_point_radius:
            yield self._three_point()
        if self.hoop_height:
            board, half = x - self.board_inset, self.board_width / 2
            yield np.array([[board, -half], [board, half]])
            yield _circle(x - self.hoop_inset, 0, self.ring_radius)

    def _three_point(self):
        """Straight from the end line, then the arc about the rim, then straight back."""
        corner, radius = self.three_point_corner, self.three_point_radius
        # arc angle from the long axis at which the straight part begins
        last = np.arcsin(corner / radius)
        angle = np.linspace(-last, last, round(2 * last / _ARC) + 1)
        arc = np.stack(
            [self.length / 2 - self.hoop_inset - radius * np.cos(angle), radius * np.sin(angle)],
            axis=-1,
        )
        return np.concatenate([[[self.length / 2, -corner]], arc, [[self.length / 2, corner]]])


# sizes of marks, 0 where a court has none
SIZES = (
    *("hoop_height", "hoop_inset", "ring_radius", "board_inset", "board_width", "key_width"),
    *("free_throw", "three_point_radius", "three_point_corner", "circle_radius", "attack_line"),
)


def _load():
    courts = {}
    for row in read_table("courts.csv"):
        level, source, scale = row.pop("level"), row.pop("source"), _TO_METERS[row.pop("unit")]
        sizes = {name: float(size) * scale for name, size in row.items() if size}
        courts[level] = Court(level=level, source=source, **sizes)
    return courts


COURTS = _load()


def court(level):
    """Court by its level of play.

    Parameters
    ----------
    level : str
        "junior high", "high school", "college", "international" or "volleyball"

    Returns
    -------
    court : Court
        Sizes in meters, with their source

    Raises
    ------
    ValueError
        There is no such level of play

    Examples
    --------
    >>> round(court("high school").length, 4), round(court("high school").width, 2)
    (25.6032, 15.24)
    """
    return named(COURTS, level, "court")


# side courts of which only the outline is painted have baskets of these sizes
PRACTICE = court("high school")


@dataclass(frozen=True, kw_only=True)
class SideCourt(Thing):
    """A court beside the main one or across it, where a class may listen: half a court with one
    practice basket, or a cross court.

    With a ``level`` it has that court's published lines; else it is an outline of ``length`` (along
    its baskets) by ``width``. ``x`` and ``y`` are its center.

    Raises
    ------
    ValueError
        It has both a level and a size, or neither
    """

    name: str
    x: float = quantity("m", -40, 40, default=0.0, hint="East of the gym's center.")
    y: float = quantity("m", -30, 30, default=0.0, hint="North of the gym's center.")
    turned: bool = False
    level: str | None = None
    length: float | None = quantity(
        "m", 8, 40, default=None, hint="Along its baskets. Feet given by mistake?"
    )
    width: float | None = quantity(
        "m", 5, 40, default=None, hint="Across its baskets. Feet given by mistake?"
    )
    baskets: str = "both ends"

    def __post_init__(self):
        super().__post_init__()
        one_of("baskets", self.baskets, self._baskets)
        if self.level is not None:
            named(COURTS, self.level, "level")
        given = [key for key in ("length", "width") if getattr(self, key) is not None]
        if self.level is not None and given:
            raise ValueError(
                f"level = '{self.level}' has its published size. Leave out {' and '.join(given)},"
                " or leave out level."
            )
        if self.level is None and len(given) < 2:
            raise ValueError("give length and width, or level for a court of published size.")
        _ = self.court  # refuses sizes that cannot be

    @property
    def _baskets(self):
        """Ends with a basket, by what a file calls them."""
        ends = ("north", "south") if self.turned else ("east", "west")
        return {"both ends": (1, -1), ends[0]: (1,), ends[1]: (-1,), "none": ()}

    @property
    def court(self):
        """Its lines, where they lie in the gym (Court)."""
        lies = dict(x=self.x, y=self.y, turned=self.turned, ends=self._baskets[self.baskets])
        if self.level is not None:
            return replace(court(self.level), **lies)
        basket = {key: getattr(PRACTICE, key) for key in SIZES[:5]} if lies["ends"] else {}
        return Court(
            level=self.name,
            length=self.length,
            width=self.width,
            source="as drawn; baskets as on a high school court",
            **basket,
            **lies,
        )

    def footprint(self, hall=None):
        """Rectangle between its lines.

        Parameters
        ----------
        hall : Hall, optional
            Not needed; there so that all that lies in a gym answers alike

        Returns
        -------
        rectangle : tuple
            (x low, x high, y low, y high) [m]
        """
        return self.court.footprint()
