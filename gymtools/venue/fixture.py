"""Fixtures: what hangs or stands in the gym beside its seats. A scoreboard, a backboard folded up
or let down, a duct, a beam, padding on a wall, a stack of mats: each a box with a finish.
"""

from dataclasses import dataclass

import numpy as np

from .finishes import FINISHES
from .hall import SIDES
from .locations import along_wall
from .quantity import Thing, quantity
from .tables import named
from .units import both

FLUSH = 0.01  # a fixture that is no farther from a surface lies on it [m]


@dataclass(frozen=True, kw_only=True)
class Fixture(Thing):
    """An upright box, or several alike in a line.

    With a ``side`` it hangs or stands along that wall: ``offset`` along it from its middle, ``gap``
    to it, ``length`` along it and ``depth`` into the gym. Without, ``x`` and ``y`` are its middle,
    ``length`` lies along the gym and ``depth`` across it. ``number`` of them stand ``spacing``
    apart from middle to middle, along the wall or along the gym. What is ``movable`` is there in
    the uses whose ``set_up`` names it; all else always.
    """

    name: str
    finish: str
    length: float = quantity("m", 0.02, 80, hint="Along the wall, or along the gym.")
    depth: float = quantity("m", 0.02, 60, hint="Into the gym, or across it.")
    height: float = quantity("m", 0.02, 20, hint="Of the thing itself, not over the floor.")
    bottom: float = quantity("m", 0, 25, default=0.0, hint="Of its lower side, over the floor.")
    side: str | None = None
    offset: float = quantity("m", -40, 40, default=0.0)
    gap: float = quantity("m", 0, 30, default=0.0, hint="Free space between it and the wall.")
    x: float = quantity("m", -40, 40, default=0.0)
    y: float = quantity("m", -30, 30, default=0.0)
    number: int = quantity("count", 1, 40, default=1)
    spacing: float = quantity("m", 0, 60, default=0.0, hint="From middle to middle.")
    movable: bool = False

    def __post_init__(self):
        super().__post_init__()
        named(FINISHES, self.finish, "finish")
        if not isinstance(self.movable, bool):
            raise ValueError(f"movable = {self.movable!r} must be true or false.")
        if self.side is not None and self.side not in SIDES:
            raise ValueError(f"side = '{self.side}' is unknown. Known: {', '.join(SIDES)}.")
        for key in ("x", "y") if self.side else ("offset", "gap"):
            if getattr(self, key):
                known = "with a side, give offset and gap" if self.side else "give a side with it"
                raise ValueError(f"{key} = {getattr(self, key):g}: {known}.")
        if self.number > 1 and self.spacing < self.length:
            raise ValueError(
                f"spacing = {both(self.spacing)} is less than length = {both(self.length)}:"
                f" {self.number} of them would overlap."
            )

    @property
    def top(self):
        """Height of its upper side over the floor [m]."""
        return self.bottom + self.height

    @property
    def solid(self):
        """Volume it takes from the gym [m3]."""
        return self.number * self.length * self.depth * self.height

    def footprints(self, hall):
        """Rectangle of each on the plan.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        rectangles : list of tuple
            (x low, x high, y low, y high) [m]
        """
        steps = (np.arange(self.number) - (self.number - 1) / 2) * self.spacing
        half = np.array([self.length, self.depth]) / 2
        found = []
        for step in steps.tolist():
            if self.side:
                foot, along, inward = along_wall(self.side, hall)
                middle = foot + (self.offset + step) * along + (self.gap + half[1]) * inward
                reach = half if self.side in ("north", "south") else half[::-1]
            else:
                middle, reach = np.array([self.x + step, self.y]), half
            low, high = (middle[:2] - reach).tolist(), (middle[:2] + reach).tolist()
            found.append((low[0], high[0], low[1], high[1]))
        return found

    def boxes(self, hall):
        """The boxes that it fills.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        boxes : ndarray
            Lowest and highest corners (box, 2, 3) [m]
        """
        found = [[(a, c), (b, d)] for a, b, c, d in self.footprints(hall)]
        heights = np.tile([[[self.bottom], [self.top]]], (len(found), 1, 1))
        return np.concatenate([found, heights], axis=2)
