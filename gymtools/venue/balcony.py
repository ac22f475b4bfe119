"""Balconies: a slab along a wall, with a front, and perhaps rows of seats or people who stand on
it.
"""

from dataclasses import dataclass, field

import numpy as np

from .finishes import FINISHES
from .hall import SIDES
from .locations import AlongWall, along_wall
from .quantity import NOT_IN_FILE, Thing, quantity
from .seating import EAR_SEATED, EAR_STANDING, SEAT, AudienceArea, SeatNumbers
from .tables import named


@dataclass(frozen=True, kw_only=True)
class Balcony(AlongWall, Thing):
    """A slab along one wall; ``height`` is its floor. Without rows it is a gallery, on which people
    may be ``standing``. A ``Track`` is made of several, which go around corners: without ends, and
    with a front that stops short of either end.
    """

    name: str
    side: str
    depth: float = quantity("m", 0.8, 15)
    height: float = quantity("m", 2.2, 15, hint="Of its floor over the gym's floor.")
    length: float = quantity("m", 2, 80)
    offset: float = quantity("m", -40, 40, default=0.0)
    thickness: float = quantity("m", 0.1, 1.5, default=0.3)
    parapet: float = quantity(
        "m",
        0.0,
        1.5,
        default=1.07,
        hint="Height of the solid front over its floor; 0 for open railings.",
    )
    rows: int = quantity("count", 0, 20, default=0)
    row_run: float = quantity("m", 0.6, 1.2, default=0.85)
    row_rise: float = quantity("m", 0.0, 0.6, default=0.3)
    finish: str = "concrete"
    front: str = "gypsum"
    under: str = "gypsum"
    full: str = "folding chairs full"
    standing: bool = False
    ends: bool = field(default=True, metadata=NOT_IN_FILE)
    # how far its front stops short of either end, left and right as seen along the wall [m]
    front_inset: tuple = field(default=(0.0, 0.0), metadata=NOT_IN_FILE)

    def __post_init__(self):
        super().__post_init__()
        for key in ("finish", "front", "under", "full"):
            named(FINISHES, getattr(self, key), key)
        if self.side not in SIDES:
            raise ValueError(f"side = '{self.side}' is unknown. Known: {', '.join(SIDES)}.")
        if not isinstance(self.standing, bool):
            raise ValueError(f"standing = {self.standing!r} must be true or false.")
        if self.standing and self.rows:
            raise ValueError(
                f"rows = {self.rows}: with people standing there are no rows. Give one of them."
            )
        if self.rows * self.row_run > self.depth + 1e-9:
            raise ValueError(
                f"rows = {self.rows} of {self.row_run:g} m do not fit on a balcony {self.depth:g} m"
                " deep."
            )

    @property
    def seats(self):
        """Seats in its rows [-]."""
        return self.rows * int(self.length / SEAT + 1e-9)

    @property
    def solid(self):
        """Volume it takes from the gym: the slab and what the rows stand on [m3]."""
        return self.length * (
            self.depth * self.thickness
            + (self.rows * self.row_run) * (self.rows * self.row_rise) / 2
        )

    @property
    def underside(self):
        """Height of the slab's underside [m]."""
        return self.height - self.thickness

    def audience_area(self, hall):
        """Seated ears in its rows, the first row at the front; standing ears in two lines where
        people stand.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        area : AudienceArea or None
            None when it has no rows and nobody stands there
        """
        if self.standing:
            return self._standing_area(hall)
        if not self.rows:
            return None
        columns, row = max(2, round(self.length / 0.5)), np.arange(self.rows)
        u = (np.arange(columns) + 0.5) / columns * self.length - self.length / 2
        foot, along, into = along_wall(self.side, hall)
        points = (
            foot
            + (self.offset + u)[None, :, None] * along
            + ((self.rows - row - 0.5) * self.row_run)[:, None, None] * into
        )
        points = points + (self.height + row * self.row_rise + EAR_SEATED)[
            :, None, None
        ] * np.array([0, 0, 1.0])
        return AudienceArea(
            self.name,
            "balcony",
            points.reshape(-1, 3),
            self.rows,
            columns,
            self.seats / (self.rows * columns),
            SeatNumbers.even(columns, self.seats // self.rows),
        )

    def _standing_area(self, hall):
        """Standing ears in two lines, a meter apart along them."""
        columns = max(2, round(self.length))
        u = ((np.arange(columns) + 0.5) / columns - 0.5) * self.length
        points = [
            [self.corner(hall, at, share * self.depth, self.height + EAR_STANDING) for at in u]
            for share in (0.75, 0.25)
        ]
        return AudienceArea(self.name, "track", np.reshape(points, (-1, 3)), 2, columns, 0.0)
