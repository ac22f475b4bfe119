"""A stage built into a side or an end of the hall: an opening in the wall and a recess behind it."""

from dataclasses import dataclass

from .finishes import finish
from .hall import SIDES
from .quantity import Thing, quantity


@dataclass(frozen=True, kw_only=True)
class Stage(Thing):
    """Built-in stage; the recess is as high as the opening's top."""

    side: str
    width: float = quantity("m", 3, 30, hint="Width of the opening.")
    opening_height: float = quantity("m", 2, 12, hint="From the stage floor to the top of the opening.")
    depth: float = quantity("m", 2, 20)
    floor_height: float = quantity("m", 0.2, 2.0, default=0.9, hint="Stage floor over the hall's floor.")
    offset: float = quantity("m", -30, 30, default=0.0)
    floor: str = "stage floor"
    surrounds: str = "velour curtain"
    ceiling: str = "gypsum"
    front: str = "plywood"

    def __post_init__(self):
        super().__post_init__()
        for name in (self.floor, self.surrounds, self.ceiling, self.front):
            finish(name)
        if self.side not in SIDES:
            raise ValueError(f"side = '{self.side}' is unknown. Known: {', '.join(SIDES)}.")

    @property
    def top(self):
        """Height of the opening's top over the hall's floor [m]."""
        return self.floor_height + self.opening_height

    @property
    def volume(self):
        """Volume of the recess [m3]."""
        return self.width * self.depth * self.opening_height
