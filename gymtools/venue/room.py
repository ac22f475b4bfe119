"""The room as surfaces: one geometry for casting, line of sight, reverberation and pictures."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..physics.geometry import Polygons, clip, pack, polygon_area
from ..physics.screening import screens
from .finishes import FINISHES
from .fixture import FLUSH
from .hall import SIDES
from .pieces import (
    balcony,
    bank,
    chairs,
    curtain,
    divider,
    fixture,
    floor,
    platform,
    recess,
    roof,
    wall,
)


@dataclass(frozen=True, eq=False)
class Room:
    """All surfaces of a gym with what stands in it."""

    surfaces: tuple
    polygons: Polygons
    volume: float  # [m3]

    @cached_property
    def area(self):
        """Absorbing area of each surface (surface,) [m2]."""
        return np.array([s.area for s in self.surfaces])

    @cached_property
    def parts(self):
        """Part each surface belongs to (surface,)."""
        return [s.part for s in self.surfaces]

    @cached_property
    def blocking(self):
        """The polygons that can stand in a line of sight."""
        at = [k for k, s in enumerate(self.surfaces) if s.blocks]
        return self.polygons.some(at)

    @cached_property
    def screens(self):
        """The same with the edges that sound bends over (Screens)."""
        return screens(self.polygons, [s.blocks for s in self.surfaces], self.transmission)

    @cached_property
    def transmission(self):
        """Share of the energy that goes through each surface (surface, band) [-]."""
        nothing = (0.0,) * 7
        return np.array([s.through or nothing for s in self.surfaces])

    def area_of(self, part, above=0.0):
        """Area of a part, or of what of it lies above a height.

        Parameters
        ----------
        part : str
            "roof", "east wall" or another
        above : float
            Over the floor [m]

        Returns
        -------
        area : float
            Without what something covers [m2]
        """
        return sum(_area_above(s, above) for s in self.surfaces if s.part == part)

    def absorption(self, occupied, treatments=(), factors=None):
        """Absorption coefficients as the room is used.

        Parameters
        ----------
        occupied : dict
            Share of seats taken by area name, 0 to 1
        treatments : sequence of Treatment
            Finishes added over part of a surface
        factors : dict, optional
            What the table's absorption of a finish is multiplied by, one number or seven, by its
            name

        Returns
        -------
        absorption : ndarray
            (surface, band) [-]
        """
        factors = factors or {}

        def own(name):
            return np.clip(np.array(FINISHES[name].absorption) * factors.get(name, 1.0), 0, 1)

        taken = np.clip(self._mixed(own, occupied, treatments), 0, 1)
        # of what does not go through, the finish takes its share
        return self.transmission + (1 - self.transmission) * taken

    def scattering(self, occupied, treatments=(), factors=None):
        """Share of the reflected sound that each surface scatters, as the room is used.

        Parameters
        ----------
        occupied : dict
            Share of seats taken by area name, 0 to 1
        treatments : sequence of Treatment
            Finishes added over part of a surface
        factors : dict, optional
            What the table's scattering of a finish is multiplied by, one number or seven, by its
            name

        Returns
        -------
        scattering : ndarray
            (surface, band) [-]
        """
        factors = factors or {}

        def own(name):
            return np.clip(np.array(FINISHES[name].scattering) * factors.get(name, 1.0), 0, 1)

        return np.clip(self._mixed(own, occupied, treatments), 0, 1)

    @cached_property
    def counted(self):
        """Area that counts over the area that is there (surface,), 1 but for seats: they count by
        the floor they take, however they rise.
        """
        there, ratio = (
            np.array([polygon_area(s.corners) for s in self.surfaces]),
            np.ones(len(self.surfaces)),
        )
        for part in {s.part for s in self.surfaces if s.full is not None}:
            at = [k for k, s in enumerate(self.surfaces) if s.part == part]
            ratio[at] = min(self.area[at].sum() / there[at].sum(), 1.0)
        return ratio

    def _mixed(self, own, occupied, treatments):
        """A value that finishes own by name, mixed by occupancy and by the area treated (surface,
        ...).
        """
        used = {n for s in self.surfaces for n in (s.finish, s.full) if n is not None}
        of = {name: own(name) for name in used}
        mixed = np.array([of[s.finish] for s in self.surfaces])
        for k, s in enumerate(self.surfaces):
            if s.full is not None:
                mixed[k] += occupied.get(s.part, 0.0) * s.seated * (of[s.full] - mixed[k])
        bare = mixed.copy()
        for t in treatments:
            at = [k for k, s in enumerate(self.surfaces) if s.part == t.surface]
            share = t.area / max(sum(self.surfaces[k].area for k in at), 1e-9)
            mixed[at] += share * (own(t.finish) - bare[at])
        return mixed


def _area_above(surface, height):
    """Area of a surface above a height [m2]."""
    if height <= surface.corners[:, 2].min():
        return surface.area
    kept = clip(surface.corners, (0.0, 0.0, 1.0), height)
    return min(polygon_area(kept), surface.area) if len(kept) > 2 else 0.0


def build_room(configuration):
    """Surfaces of a gym and all that stands in it.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use; its ``room`` keeps the answer

    Returns
    -------
    room : Room
        Shell, bleachers, chairs, portable stages, balconies, the built-in stage and fixtures, in
        this order
    """
    c, hall, stage = configuration, configuration.hall, configuration.stage
    banks = [b for b in c.banks if b.on_floor]
    covered = [t.footprint(hall) for t in (*banks, *c.portable_stages)]
    covered += [block for t in c.floor_seats for block in t.blocks()]
    covered += [box for f in c.fixtures if f.bottom < FLUSH for box in f.footprints(hall)]
    surfaces = [
        *floor(hall, c.court, covered),
        *roof(hall, c.fixtures),
        *(piece for side in SIDES for piece in wall(hall, side, (c.banks, c.fixtures), stage)),
        *(piece for one in c.banks for piece in bank(hall, one, c.banks, c.balconies)),
        *(face for block in c.floor_seats for face in chairs(block)),
        *(face for one in c.portable_stages for face in platform(one)),
        *(face for one in c.balconies for face in balcony(hall, one, c.banks)),
    ]
    if stage:
        surfaces += recess(hall, stage) if c.curtain_open else [curtain(hall, stage)]
    if c.divider:
        surfaces.append(divider(hall, c.divider))
    surfaces += [face for one in c.fixtures for face in fixture(hall, one)]
    volume = (
        hall.volume
        + (stage.volume if stage and c.curtain_open else 0.0)
        - sum(t.solid for t in (*c.banks, *c.portable_stages, *c.balconies, *c.fixtures))
    )
    return Room(tuple(surfaces), pack([s.corners for s in surfaces]), volume)
