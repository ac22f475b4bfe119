"""The surfaces of a room as the formulas need them."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .geometry import Polygons
from .screening import screens

LEAST_CHANCE = 0.1  # of a ray to go through a surface that lets sound through, and not to [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class Surfaces:
    """All surfaces of a room, in one order, and the volume they enclose.

    Parameters
    ----------
    polygons : Polygons
        Their shapes; both sides reflect [m]
    absorption : ndarray
        Published absorption coefficients (surface, band) [-]
    scattering : ndarray
        Share of the reflected sound that leaves in all directions (surface,) or (surface, band)
        [-]
    area : ndarray
        Area that the published absorption belongs to (surface,) [m2]
    counted : ndarray
        That area over the area that sound meets (surface,): below 1 for seats, whose absorption is
        published by floor area [-]
    blocks : ndarray of bool
        Whether the surface can stand between a loudspeaker and a listener (surface,)
    volume : float
        Volume of the room [m3]
    transmission : ndarray, optional
        Share of the energy that goes through (surface, band), part of what is not reflected;
        nothing when left out [-]
    """

    polygons: Polygons
    absorption: np.ndarray
    scattering: np.ndarray
    area: np.ndarray
    counted: np.ndarray
    blocks: np.ndarray
    volume: float
    transmission: np.ndarray | None = None

    def __len__(self):
        return len(self.polygons)

    @cached_property
    def blocking(self):
        """The polygons that can stand in a line of sight [m]."""
        return self.polygons.some(np.flatnonzero(self.blocks))

    @cached_property
    def screens(self):
        """The same with the edges that sound bends over (Screens) [m]."""
        return screens(self.polygons, self.blocks, self.passed)

    @cached_property
    def passing(self):
        """Chance of a ray to go through each surface where an octave leads it (surface, band): the
        share of what goes on, but never so rare or so certain that one way is hardly followed; 0
        where nothing goes through [-].
        """
        share = self.passed / np.maximum(1 - self.met_absorption + self.passed, 1e-9)
        through = self.passed.any(axis=1)[:, None]
        return np.where(through, np.clip(share, LEAST_CHANCE, 1 - LEAST_CHANCE), 0.0)

    @cached_property
    def passed(self):
        """Share of the energy that goes through each surface (surface, band) [-]."""
        if self.transmission is None:
            return np.zeros_like(self.absorption)
        return self.transmission

    @cached_property
    def met_absorption(self):
        """Share of the energy that is absorbed where sound meets a surface (surface, band) [-]."""
        return self.absorption * self.counted[:, None]

    @cached_property
    def octave_scattering(self):
        """Scattering of every octave (surface, band) [-]."""
        scattering = np.asarray(self.scattering, float)
        by_octave = scattering if scattering.ndim == 2 else scattering[:, None]
        return np.broadcast_to(by_octave, self.absorption.shape)

    @cached_property
    def specular_loss(self):
        """Share of the energy that a surface absorbs or scatters, so that no mirror image carries
        it (surface, band) [-].
        """
        return 1 - (1 - self.met_absorption) * (1 - self.octave_scattering)
