"""Loudspeakers and rooms made by hand, for tests of the kernels."""

import numpy as np

from gymtools.physics import bands
from gymtools.physics.balloons import Balloon
from gymtools.physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions
from gymtools.physics.geometry import pack
from gymtools.physics.sources import Sources
from gymtools.physics.surfaces import Surfaces

OMNI = Balloon(np.zeros((len(AZIMUTH_DEG), len(ELEVATION_DEG), 7)))


def balloon_of(energy, count=7):
    """Balloon alike in all bands, from the energy re the axis as a function of unit vectors."""
    level = bands.to_level(energy(directions()))
    return Balloon(np.repeat(level[..., None], count, axis=-1))


def sources_of(position, axes, balloons=(OMNI,), **known):
    """Loudspeakers that all play, undelayed; unless said, 1 at 1 m on the axis and no air loss."""
    count = len(position)
    usual = dict(
        kind=np.zeros(count, int),
        on_axis=np.ones((count, 7)),
        delay_s=np.zeros(count),
        playing=np.ones(count, bool),
        decay=np.zeros(7),
        speed=343.0,
    )
    return Sources(
        position=np.asarray(position, float),
        axes=np.asarray(axes, float),
        balloons=tuple(balloons),
        **{**usual, **known},
    )


def surfaces_of(faces, absorption, *, scattering=0.0, blocks=False):
    """A room of given faces: absorption (surface, band); scattering and blocking one value or one a
    surface, scattering also (surface, band).
    """
    scattering = np.asarray(scattering, float)
    polygons = faces if hasattr(faces, "plane") else pack(faces)
    each = np.ones(len(polygons))
    return Surfaces(
        polygons=polygons,
        absorption=np.asarray(absorption, float),
        scattering=scattering if scattering.ndim == 2 else scattering * each,
        area=each,
        counted=each,
        blocks=np.asarray(blocks) & (each > 0),
        volume=1.0,
    )
