"""The gym as it stands in one use."""

from dataclasses import dataclass, field, fields
from functools import cached_property

import numpy as np

from .court import Court
from .divider import Divider
from .hall import Hall
from .memory import Memory
from .room import build_room
from .seating import COURT_GRID, AudienceArea, court_area, free_court
from .stage import Stage
from .zones import layers

CLEAR = 0.3  # from a drawn divider to who stands beside it [m]
KEPT = 256  # configurations whose room, areas and zones are kept


@dataclass(frozen=True, kw_only=True)
class HallConfiguration:
    """What is there in one use, and as it is: banks open or closed, chairs, stages and
    fixtures set out, the curtain.
    """

    hall: Hall
    court: Court
    banks: tuple = ()
    floor_seats: tuple = ()
    stage: Stage | None = None
    curtain_open: bool = True
    portable_stages: tuple = ()
    balconies: tuple = ()
    side_courts: tuple = ()
    fixtures: tuple = ()
    divider: Divider | None = None  # where it is drawn
    # of the scenario that it belongs to
    memory: Memory = field(default_factory=Memory, repr=False, compare=False)

    @cached_property
    def _hash(self):
        return hash(tuple(getattr(self, f.name) for f in fields(self) if f.compare))

    def __hash__(self):
        return self._hash

    def __getstate__(self):
        """What a copy in another process takes along: hashes of text differ there."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @cached_property
    def room(self):
        """The room as surfaces (Room); kept."""
        return self._kept("rooms", build_room)

    @property
    def standing(self):
        """What stands along walls and on the floor (tuple of things that have a footprint)."""
        return (*self.banks, *self.floor_seats, *self.portable_stages, *self.balconies)

    @property
    def aisle_footprints(self):
        """Rectangles of all aisles on the plan (x low, x high, y low, y high) [m]."""
        seats = (*self.banks, *self.floor_seats)
        return [aisle for thing in seats for aisle in thing.aisle_footprints(self.hall)]

    @property
    def seats(self):
        """Seats of every audience area that has any, by its name (dict of int) [-]."""
        things = (*self.banks, *self.balconies, *self.floor_seats)
        return {thing.name: thing.seats for thing in things if thing.seats}

    @property
    def wheelchair_spaces(self):
        """Wheelchair spaces on the banks that are out and among the chairs [-]."""
        banks = sum(b.wheelchair_spaces for b in self.banks if b.rows_out)
        return banks + sum(f.wheelchair_spaces for f in self.floor_seats)

    @cached_property
    def areas(self):
        """Audience areas by name (dict of AudienceArea): open banks, balconies with rows, chairs,
        the court, and side courts that no bank covers; kept.
        """
        return self._kept("audience areas", _areas)

    @property
    def footprints(self):
        """All that stands or hangs in it, as on a plan: (thing, rectangle) each, banks and chairs,
        stages, balconies, a drawn divider and fixtures; rectangles as x low, x high, y low, y
        high [m].
        """
        things = [*self.standing, *([self.divider] if self.divider else [])]
        found = [(thing, thing.footprint(self.hall)) for thing in things]
        return found + [(f, box) for f in self.fixtures for box in f.footprints(self.hall)]

    @cached_property
    def zones(self):
        """The air over listeners and talkers in zones (Zones), for tracing; kept."""
        return self._kept("zones", layers)

    def _kept(self, what, make):
        return self.memory.cache(what, KEPT).get(self, lambda: make(self))


def has_room(side_court, hall, banks):
    """Whether people can stand on a side court, as the banks stand.

    Parameters
    ----------
    side_court : SideCourt
        Beside the main court or across it
    hall : Hall
        The gym
    banks : sequence of Bank
        As they stand

    Returns
    -------
    room : bool
        False where they cover it
    """
    x0, x1, y0, y1 = free_court(side_court.court, hall, banks)
    return min(x1 - x0, y1 - y0) >= COURT_GRID


def _areas(configuration):
    hall, banks = configuration.hall, configuration.banks
    things = (*banks, *configuration.balconies, *configuration.floor_seats)
    areas = [
        *(thing.audience_area(hall) for thing in things),
        *_halves(court_area(configuration.court, hall, banks), configuration.divider),
        *(
            court_area(side.court, hall, banks, side.name)
            for side in configuration.side_courts
            if has_room(side, hall, banks)
        ),
    ]
    return {area.name: area for area in areas if area is not None}


def _halves(court, divider):
    """The court, or both its halves: points that stand in a drawn divider are left out."""
    if divider is None:
        return [court]
    grid = court.points.reshape(court.rows, court.columns, 3)
    axis = int(np.ptp(grid[0, :, divider.axis]) > np.ptp(grid[:, 0, divider.axis]))
    line = grid[0] if axis else grid[:, 0]
    off = line[:, divider.axis] - divider.at
    found = []
    for side, name in zip((off < -CLEAR, off > CLEAR), divider.sides, strict=True):
        points = grid.compress(side, axis=axis)
        if min(points.shape[:2]) > 1:
            shape = points.shape[:2]
            flat = points.reshape(-1, 3)
            found.append(AudienceArea(f"court {name}", "court", flat, *shape, court.unit_seats))
    return found
