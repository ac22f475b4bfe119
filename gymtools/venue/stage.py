"""Stages: one built into a side or an end of the hall, and portable ones set out on the floor."""

from dataclasses import dataclass

from .finishes import FINISHES
from .hall import SIDES
from .locations import OnFloor, along_wall
from .quantity import Thing, quantity
from .tables import named


@dataclass(frozen=True, kw_only=True)
class Stage(Thing):
    """Built-in stage; the recess is as high as the opening's top."""

    side: str
    width: float = quantity("m", 3, 30, hint="Width of the opening.")
    opening_height: float = quantity(
        "m", 2, 12, hint="From the stage floor to the top of the opening."
    )
    depth: float = quantity("m", 2, 20)
    floor_height: float = quantity(
        "m", 0.2, 2.0, default=0.9, hint="Stage floor over the gym's floor."
    )
    offset: float = quantity("m", -30, 30, default=0.0)
    floor: str = "stage floor"
    surrounds: str = "velour curtain"
    ceiling: str = "gypsum"
    front: str = "plywood"
    curtain: str = "velour curtain"

    def __post_init__(self):
        super().__post_init__()
        for key in ("floor", "surrounds", "ceiling", "front", "curtain"):
            named(FINISHES, getattr(self, key), key)
        if self.side not in SIDES:
            raise ValueError(f"side = '{self.side}' is unknown. Known: {', '.join(SIDES)}.")

    @property
    def top(self):
        """Height of the opening's top over the gym's floor [m]."""
        return self.floor_height + self.opening_height

    def corners(self, hall):
        """Two opposite corners of the stage floor.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        a, b : tuple of ndarray
            Left front and right back, each (3,) [m]
        """
        foot, along, inward = along_wall(self.side, hall)
        a = foot + (self.offset - self.width / 2) * along
        return a, a + self.width * along - self.depth * inward

    @property
    def volume(self):
        """Volume of the recess [m3]."""
        return self.width * self.depth * self.opening_height


@dataclass(frozen=True, kw_only=True)
class PortableStage(OnFloor, Thing):
    """A platform set out on the floor for some uses; x and y are its center."""

    name: str
    x: float = quantity("m", -40, 40, default=0.0)
    y: float = quantity("m", -30, 30, default=0.0)
    length: float = quantity("m", 1, 30, hint="Along the gym.")
    width: float = quantity("m", 1, 30, hint="Across the gym.")
    height: float = quantity(
        "m", 0.1, 2.0, hint="Of the deck over the floor. Inches or centimeters given by mistake?"
    )
    finish: str = "portable stage"

    def __post_init__(self):
        super().__post_init__()
        named(FINISHES, self.finish, "finish")

    @property
    def solid(self):
        """Volume it takes from the gym [m3]."""
        return self.length * self.width * self.height
