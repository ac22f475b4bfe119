"""The hall: its size, roof and finishes, and what is added to treat it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .finishes import FINISHES, finish
from .quantity import Thing, quantity
from .tables import named
from .units import both

ALONG = ("length", "width")  # ways that joists may run
SIDES = ("north", "south", "east", "west")  # of the plan: north is +y (up), east is +x (right)
TREATABLE = ("roof", *(f"{side} wall" for side in SIDES))


@dataclass(frozen=True, kw_only=True)
class Hall(Thing):
    """A rectangular hall with a flat roof, or a gable roof whose ridge runs along its length.

    ``clear_height`` is the height under the joists: loudspeakers hang at or below it. Where the
    joists are known, ``joist_spacing`` is from one to the next, ``joists_along`` the way they run,
    and ``first_joist`` how far the first one is from the west wall (joists along the width) or the
    south wall (along the length); one spacing when left out. Below ``ball_height`` no panel goes on
    a wall, but what is ``existing`` there.
    """

    length: float = quantity("m", 12, 80, hint="Feet given by mistake?")
    width: float = quantity("m", 10, 60, hint="Feet given by mistake?")
    height: float = quantity("m", 4, 20, hint="Millimeters or feet given by mistake?")
    clear_height: float = quantity("m", 3.5, 20, hint="Millimeters or feet given by mistake?")
    ridge_height: float | None = quantity("m", 4, 25, default=None)
    joist_spacing: float | None = quantity(
        "m", 0.4, 15, default=None, hint="Inches given by mistake?"
    )
    joists_along: str | None = None
    first_joist: float | None = quantity("m", 0, 15, default=None, hint="Inches given by mistake?")
    ball_height: float = quantity(
        "m", 0, 15, default=0.0, hint="Height up to which balls hit the walls."
    )
    floor: str
    roof: str
    walls: str
    north_wall: str | None = None
    south_wall: str | None = None
    east_wall: str | None = None
    west_wall: str | None = None

    def __post_init__(self):
        super().__post_init__()
        for key in ("floor", "roof", "walls", *(f"{side}_wall" for side in SIDES)):
            if getattr(self, key) is not None:
                named(FINISHES, getattr(self, key), key)
        if self.ridge_height is not None and self.ridge_height < self.height:
            raise ValueError(
                f"ridge_height = {both(self.ridge_height)} is below height = {both(self.height)}."
                " Leave it out for a flat roof."
            )
        if self.clear_height > self.highest:
            raise ValueError(
                f"clear_height = {both(self.clear_height)} is above the roof"
                f" ({both(self.highest)}). It is the height under the joists."
            )
        self._check_joists()

    def _check_joists(self):
        if self.joists_along not in (None, *ALONG):
            raise ValueError(
                f"joists_along = {self.joists_along!r} is unknown. Known: {', '.join(ALONG)}."
            )
        if (self.joist_spacing is None) != (self.joists_along is None):
            raise ValueError(
                "joist_spacing and joists_along belong together: give how far apart the joists are"
                " and which way they run, or neither."
            )
        if self.first_joist is not None and self.joist_spacing is None:
            raise ValueError("first_joist says nothing without joist_spacing and joists_along.")

    @property
    def across_joists(self):
        """The axis that the joists follow each other along: 0 for x, 1 for y; None where the joists
        are not known.
        """
        return {"width": 0, "length": 1}.get(self.joists_along)

    @cached_property
    def joists(self):
        """Where the joists run, on the axis across them, from the west or south on; none is in the
        far wall (joist,) [m].
        """
        if self.joist_spacing is None:
            return np.zeros(0)
        half = (self.length, self.width)[self.across_joists] / 2
        first = self.joist_spacing if self.first_joist is None else self.first_joist
        return np.arange(first - half, half - 1e-6, self.joist_spacing)

    def wall(self, side):
        """Finish of one wall.

        Parameters
        ----------
        side : str
            "north", "south", "east" or "west" of the plan

        Returns
        -------
        finish : str
            Its own finish if it has one, else that of ``walls``
        """
        return getattr(self, f"{side}_wall") or self.walls

    @property
    def highest(self):
        """Height of the highest point of the roof [m]."""
        return self.height if self.ridge_height is None else self.ridge_height

    @property
    def volume(self):
        """Volume under the roof [m3]."""
        return self.length * self.width * (self.height + self.highest) / 2

    def roof_height(self, y):
        """Height of the roof above a place.

        Parameters
        ----------
        y : float or array
            Place across the hall [m]

        Returns
        -------
        height : float or array
            Height of the roof's underside [m]
        """
        return self.highest - (self.highest - self.height) * abs(y) / (self.width / 2)


@dataclass(frozen=True, kw_only=True)
class Treatment(Thing):
    """Absorbing (or other) finish over part of a roof or wall, given by its area; what is
    ``existing`` costs nothing.
    """

    surface: str
    area: float = quantity(
        "m2", 0, 5000, hint="Give the area covered, in the file's own units squared."
    )
    finish: str
    existing: bool = False

    def __post_init__(self):
        super().__post_init__()
        if not isinstance(self.existing, bool):
            raise ValueError(f"existing = {self.existing!r} must be true or false.")
        finish(self.finish)
        if self.surface not in TREATABLE:
            raise ValueError(
                f"surface = '{self.surface}' cannot be treated. Known: {', '.join(TREATABLE)}."
            )


@dataclass(frozen=True, kw_only=True)
class Air(Thing):
    """Air of the hall; its absorption governs the top octaves of a large room."""

    temperature_c: float = quantity(
        "degC", -5, 40, default=20.0, hint="Fahrenheit given by mistake?"
    )
    humidity_pct: float = quantity("%", 5, 100, default=50.0, hint="Give percent, not a fraction.")
    pressure_kpa: float = quantity("kPa", 60, 110, default=101.325, hint="Pascal given by mistake?")
