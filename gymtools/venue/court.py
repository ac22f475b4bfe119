"""Courts: the published lines of each level of play, drawn true, so that a gym is recognized at a
glance.
"""

from dataclasses import dataclass, fields

import numpy as np

from ..physics.checks import within
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

    def __post_init__(self):
        within("length", self.length, 8, 40, "m", "Feet given by mistake?")
        within("width", self.width, 5, self.length, "m", "Length and width swapped?")
        for size in [field.name for field in fields(self)][4:]:
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

    def hoops(self):
        """Centers of the two rims, shape (2, 3) [m]; none, shape (0, 3), on a court
        without hoops.
        """
        if not self.hoop_height:
            return np.empty((0, 3))
        x = self.length / 2 - self.hoop_inset
        return np.array([[x, 0, self.hoop_height], [-x, 0, self.hoop_height]])

    def lines(self):
        """Lines on the floor, and hoop and backboard seen from above, as polylines.

        Returns
        -------
        lines : list of ndarray
            Each of shape (n, 2), x along the length and y across from the court's center: boundary,
            center line, center circle; then for each end key, free-throw circle, three-point line,
            backboard, ring [m]
        """
        x, y = self.length / 2, self.width / 2
        lines = [
            np.array([[-x, -y], [x, -y], [x, y], [-x, y], [-x, -y]]),
            np.array([[0, -y], [0, y]]),
        ]
        if self.circle_radius:
            lines.append(_circle(0, 0, self.circle_radius))
        # the other end turned by 180 degrees
        return lines + [line * end for end in (1, -1) for line in self._end()]

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
