"""Upper running tracks: one slab along several walls, joined around the corners."""

from dataclasses import dataclass

from .balcony import Balcony
from .finishes import FINISHES
from .hall import SIDES
from .quantity import Thing, quantity
from .tables import named
from .units import both

LEAST = 2.5  # open middle between two sides of a track [m]


@dataclass(frozen=True, kw_only=True)
class Track(Thing):
    """An upper running track along the walls that ``sides`` names, all four when left out; where
    two of them meet it goes around the corner. ``people`` makes each side a listening area, called
    by the track's name and the side.
    """

    name: str
    sides: tuple = SIDES
    depth: float = quantity("m", 0.8, 8, hint="From the wall to its front.")
    height: float = quantity("m", 2.2, 15, hint="Of its floor over the gym's floor.")
    thickness: float = quantity("m", 0.1, 1.5, default=0.3)
    parapet: float = quantity(
        "m",
        0.0,
        1.5,
        default=0.0,
        hint="Height of a solid front over its floor; 0 for open railings.",
    )
    finish: str = "rubber tile"
    front: str = "gypsum"
    under: str = "gypsum"
    people: bool = False

    def __post_init__(self):
        super().__post_init__()
        for key in ("finish", "front", "under"):
            named(FINISHES, getattr(self, key), key)
        if not isinstance(self.people, bool):
            raise ValueError(f"people = {self.people!r} must be true or false.")
        wrong = [side for side in self.sides if side not in SIDES]
        if wrong or not self.sides or len(set(self.sides)) < len(self.sides):
            raise ValueError(
                f"sides = {list(self.sides)} must name walls, each once: {', '.join(SIDES)}."
            )

    @property
    def area_names(self):
        """Names of its sides as listening areas (tuple of str); none without people."""
        there = [side for side in SIDES if side in self.sides and self.people]
        return tuple(f"{self.name} {side}" for side in there)

    def fits(self, hall):
        """Whether a gym can hold it.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        fits : bool
            True where there is open floor between two sides
        """
        return 2 * self.depth <= min(hall.length, hall.width) - LEAST

    def parts(self, hall):
        """Its sides: those along the north and south walls as long as the gym, the others between
        them.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        parts : tuple of Balcony
            Without ends, since each goes to a wall or to the next side

        Raises
        ------
        ValueError
            The gym cannot hold it
        """
        if not self.fits(hall):
            raise ValueError(
                f"'{self.name}' is {both(self.depth)} deep: more than a gym"
                f" {both(min(hall.length, hall.width))} wide can hold."
            )
        return tuple(self._part(side, hall) for side in SIDES if side in self.sides)

    def _part(self, side, hall):
        """One side."""
        if side in ("north", "south"):  # along it, from the west wall to the east wall
            length, offset = hall.length, 0.0
            inset = tuple(self.depth if s in self.sides else 0.0 for s in ("west", "east"))
        else:  # from the south wall to the north wall
            south, north = (self.depth if s in self.sides else 0.0 for s in ("south", "north"))
            length, offset = hall.width - south - north, (south - north) / 2
            inset = (0.0, 0.0)
        same = ("depth", "height", "thickness", "parapet", "finish", "front", "under")
        return Balcony(
            name=f"{self.name} {side}",
            side=side,
            length=length,
            offset=offset,
            standing=self.people,
            ends=False,
            front_inset=inset,
            **{key: getattr(self, key) for key in same},
        )
