"""Where a loudspeaker's sound lands first: its balloon cast onto the surfaces, ray by ray."""

import numpy as np

from . import field
from .bands import to_energy
from .geometry import first_hit, rotation

# per loudspeaker; the share on a bank is then good to about one part in a hundred (a test says so)
RAYS = 1500
PAN_STEP, TILT_STEP = 15.0, 7.5  # of the aims that are tried [deg]
FRONT = 8.0  # rays per unit of solid angle around the axis, over those behind


def ray_fan(count=RAYS):
    """Directions spread evenly on a spiral, denser around the front, and the share of the sphere
    each stands for.

    Parameters
    ----------
    count : int
        Number of rays [-]

    Returns
    -------
    direction : ndarray
        Unit vectors in the loudspeaker's frame (ray, 3), float32 [-]
    share : ndarray
        Share of the sphere (ray,), sums to 1, float32 [-]

    Notes
    -----
    The density of rays falls smoothly from the front to the rear as 1 / (1 + (FRONT - 1) (1 - c) /
    2), c the cosine off the axis.

    Sources
    -------
    Spiral with the golden angle: e.g. R. Swinbank and R. J. Purser, Q. J. R. Meteorol. Soc. 132
    (2006) 1769 (from memory).
    """
    k = (np.arange(count) + 0.5) / count
    c = 1 - 2 * (FRONT**k - 1) / (FRONT - 1)  # inverse of the cumulated density
    weight = 1 + (FRONT - 1) * (1 - c) / 2
    around = np.pi * (3 - np.sqrt(5)) * np.arange(count)  # golden angle
    s = np.sqrt(1 - c * c)
    direction = np.stack([c, s * np.cos(around), s * np.sin(around)], axis=1)
    return direction.astype(np.float32), (weight / weight.sum()).astype(np.float32)


DIRECTION, SHARE = ray_fan()


def even_fan(count):
    """Directions spread evenly over the whole sphere, on a spiral.

    Parameters
    ----------
    count : int
        Number of rays [-]

    Returns
    -------
    direction : ndarray
        Unit vectors (ray, 3), float32 [-]

    Sources
    -------
    As ``ray_fan``.
    """
    c = 1 - (2 * np.arange(count) + 1) / count
    around = np.pi * (3 - np.sqrt(5)) * np.arange(count)
    s = np.sqrt(1 - c * c)
    return np.stack([s * np.cos(around), s * np.sin(around), c], axis=1).astype(np.float32)


def cast(position, axes, polygons):
    """First polygon met by every ray of the fan, from every loudspeaker.

    Parameters
    ----------
    position : array
        Loudspeakers (source, 3) [m]
    axes : array
        Loudspeaker axes as rows (source, 3, 3) [-]
    polygons : Polygons
        The room's surfaces [m]

    Returns
    -------
    index : ndarray
        Polygon (source, ray); -1 where a ray meets none [-]
    distance : ndarray
        Way to it (source, ray) [m]

    Sources
    -------
    As ``geometry.first_hit``.
    """
    return first_hit(position, DIRECTION @ np.asarray(axes, np.float32), polygons)


def shares(index, carried, count):
    """Share of the radiated energy that meets each polygon first.

    Parameters
    ----------
    index : array
        Polygon met by each ray of one loudspeaker (ray,) [-]
    carried : array
        Share each ray carries (ray, band) [-]
    count : int
        Number of polygons [-]

    Returns
    -------
    share : ndarray
        (polygon, band); rays that met nothing are left out [-]

    Sources
    -------
    Share of first incidence: a sum over rays.
    """
    met = index >= 0
    return np.stack(
        [np.bincount(index[met], weights=band[met], minlength=count) for band in carried.T], axis=1
    )


def by_aim(direction, balloon, octaves):
    """Share of a loudspeaker's sound that each of some rays carries, for a grid of aims.

    Parameters
    ----------
    direction : array
        Directions spread evenly over the sphere, as seen from the gym (ray, 3) [-]
    balloon : Balloon
        Its directivity
    octaves : slice
        Octaves whose mean counts

    Returns
    -------
    share : ndarray
        (aim, ray), float32: all pans and, from level to straight down, all tilts, not rolled [-]

    Sources
    -------
    Bilinear interpolation, as ``Balloon.toward``.
    """
    tilts, pans = np.arange(0.0, 91.0, TILT_STEP), np.arange(0.0, 360.0, PAN_STEP)
    aims = rotation(*(a.ravel() for a in np.meshgrid(pans, tilts)))
    whole = len(direction) / to_energy(balloon.index_db[octaves])  # energy of all rays (band,)
    nowhere = np.zeros(3)
    return np.array(
        [
            (field.pattern(direction, nowhere, axes, balloon)[:, octaves] / whole).mean(axis=1)
            for axes in aims
        ],
        np.float32,
    )


def best_share(carried, listens):
    """Largest share of a loudspeaker's sound that any aim sends onto listeners first.

    Parameters
    ----------
    carried : array
        Of ``by_aim`` (aim, ray) [-]
    listens : array of bool
        Whether a ray from the loudspeaker's position meets listeners first (ray,)

    Returns
    -------
    share : float
        0 to 1 [-]

    Sources
    -------
    Share of first incidence: a sum over rays.
    """
    return float(min((carried @ listens.astype(np.float32)).max(), 1.0))
