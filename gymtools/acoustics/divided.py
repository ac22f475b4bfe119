"""A divided gym by formula: its halves, and the balance of their two diffuse fields."""

from dataclasses import replace

import numpy as np

from ..physics import reverberation
from ..physics.geometry import clip, polygon_area
from ..physics.partitions import coupled_energy


def half(configuration, surfaces, side):
    """One half of a divided gym, for formulas.

    Parameters
    ----------
    configuration : HallConfiguration
        With its divider drawn
    surfaces : Surfaces
        The whole gym
    side : int
        0 or 1, as ``Divider.side_of`` [-]

    Returns
    -------
    half : Surfaces
        Areas and volume of that side; of the divider what is turned to it
    """
    divider, hall = configuration.divider, configuration.hall
    normal = np.eye(3)[divider.axis] * (1 if side else -1)
    limit = divider.at * (1 if side else -1)
    shares = []
    for one in configuration.room.surfaces:
        kept = clip(one.corners, normal, limit)
        part = polygon_area(kept) / polygon_area(one.corners) if len(kept) > 2 else 0.0
        shares.append(0.5 if one.part == "divider" else part)
    place = np.linspace(-0.5, 0.5, 2001) * (hall.length, hall.width)[divider.axis]
    height = hall.roof_height(place) if divider.axis else np.ones_like(place)
    on = place > divider.at if side else place <= divider.at
    volume = surfaces.volume * height[on].sum() / height.sum()
    return replace(surfaces, area=surfaces.area * np.array(shares), volume=float(volume))


def balance(configuration, surfaces, decay):
    """Steady energy in both halves for a source in either, the diffuse-field formula's 1 / A of a
    gym in one.

    Parameters
    ----------
    configuration : HallConfiguration
        With its divider drawn
    surfaces : Surfaces
        The whole gym
    decay : array
        Energy decay of the air (band,) [1/m]

    Returns
    -------
    energy : ndarray
        (half, half of the source, band) [1/m2]

    Sources
    -------
    ``physics.partitions.coupled_energy``, with Eyring's absorption areas.
    """
    own = []
    for side in (0, 1):
        one = half(configuration, surfaces, side)
        own.append(
            reverberation.absorption_area(
                one.area, one.absorption - one.passed, air=decay, volume=one.volume
            )
        )
    sheet = surfaces.passed.any(axis=1)
    through = (surfaces.area[:, None] * surfaces.passed)[sheet].sum(axis=0) / 2  # of one face
    return coupled_energy(np.array(own), through)
