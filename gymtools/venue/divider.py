"""The curtain that divides a gym for two classes."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands
from ..physics.checks import within
from ..physics.partitions import mass_law_db
from .finishes import FINISHES
from .quantity import Thing, quantity
from .tables import named
from .units import both

DRAWN = 0.1  # thickness on a plan [m]


@dataclass(frozen=True, kw_only=True)
class Divider(Thing):
    """A curtain right across the gym at ``x``, or along it at ``y``, from the floor up to
    ``height``, or to the roof where that is left out.

    How much it holds back follows from its mass, or from ``loss_db`` where seven octaves were
    measured. ``finish`` is what absorbs of the sound that does not go through.
    """

    x: float | None = quantity("m", -38, 38, default=None)
    y: float | None = quantity("m", -28, 28, default=None)
    height: float | None = quantity("m", 2, 25, default=None)
    surface_density: float | None = quantity(
        "kg/m2", 0.2, 50, default=None, hint="Ounces per square yard? 1 kg/m2 is 29.5 of them."
    )
    loss_db: tuple | None = None
    finish: str = "flat curtain"

    def __post_init__(self):
        super().__post_init__()
        named(FINISHES, self.finish, "finish")
        if (self.x is None) == (self.y is None):
            raise ValueError("give the divider's place: x, or y where it runs along the gym.")
        if (self.surface_density is None) == (self.loss_db is None):
            raise ValueError("give either surface_density, or loss_db in seven octaves.")
        if self.loss_db is not None:
            if len(self.loss_db) != 7:
                raise ValueError(
                    f"loss_db has {len(self.loss_db)} values, not one for each of the seven octaves"
                    " 125 Hz to 8 kHz."
                )
            given = within("loss_db", self.loss_db, 0.1, 80, "dB")
            object.__setattr__(self, "loss_db", tuple(given.tolist()))

    @property
    def name(self):
        """What drawings call it."""
        return "divider"

    @property
    def axis(self):
        """0 where it stands across the gym's length, 1 where it runs along it."""
        return 0 if self.y is None else 1

    @property
    def at(self):
        """Its place along that axis [m]."""
        return self.x if self.y is None else self.y

    @property
    def sides(self):
        """What both halves are called, the lower side of the axis first (tuple of str)."""
        return (("west", "east"), ("south", "north"))[self.axis]

    @property
    def transmission_db(self):
        """Transmission loss (band,) [dB]."""
        if self.loss_db is not None:
            return np.array(self.loss_db)
        return mass_law_db(self.surface_density)

    @property
    def transmission(self):
        """Share of the energy that goes through (band,) [-]."""
        return bands.to_energy(-self.transmission_db)

    def outline(self, hall):
        """Its corners.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        corners : ndarray
            (corner, 3) [m]

        Raises
        ------
        ValueError
            It hangs outside the gym, or reaches through the roof
        """
        half = (hall.length / 2, hall.width / 2)[self.axis]
        if abs(self.at) > half - 1.0:
            raise ValueError(
                f"the divider at {both(self.at)} leaves no room on one side of the gym."
            )
        across = (hall.width / 2, hall.length / 2)[self.axis]
        edge = float(hall.roof_height(hall.width / 2 if self.axis == 0 else self.at))
        top = self.height
        if top is not None and top > edge + 1e-6:
            raise ValueError(
                f"the divider reaches up to {both(top)}, above the roof ({both(edge)} at its edge)."
                " Leave height out for one that reaches the roof everywhere."
            )
        ring = [(-across, 0.0), (across, 0.0), (across, top or edge), (-across, top or edge)]
        if top is None and self.axis == 0 and hall.highest - edge > 1e-6:
            ring.insert(3, (0.0, hall.highest))
        corners = np.array([(self.at, u, z) for u, z in ring])
        return corners if self.axis == 0 else corners[:, [1, 0, 2]]

    def footprint(self, hall):
        """Strip that it hangs over.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        rectangle : tuple
            (x low, x high, y low, y high) [m]
        """
        x, y = hall.length / 2, hall.width / 2
        if self.axis == 0:
            return self.at - DRAWN / 2, self.at + DRAWN / 2, -y, y
        return -x, x, self.at - DRAWN / 2, self.at + DRAWN / 2

    def side_of(self, points):
        """Side of it on which points lie.

        Parameters
        ----------
        points : array
            (..., 3) [m]

        Returns
        -------
        side : ndarray of int
            0 or 1, as in ``sides`` (...) [-]
        """
        return (np.asarray(points, float)[..., self.axis] > self.at).astype(int)
