"""Directivity of sources: textbook patterns, and a generic loudspeaker balloon made from its
nominal angles.

A *balloon* is an array (azimuth, elevation, band) of levels relative to the axis [dB] on the grid
``AZIMUTH_DEG`` by ``ELEVATION_DEG``, in the loudspeaker's own frame: x out of the front, y to the
loudspeaker's left, z up.
"""

import numpy as np
from scipy.special import j1

from .bands import EXACT, to_energy, to_level
from .checks import within
from .geometry import rotation

# counter-clockwise from the axis, seen from above; both ends present
AZIMUTH_DEG = np.arange(-180.0, 181.0, 5.0)
ELEVATION_DEG = np.arange(-90.0, 91.0, 5.0)
# K in d = K/(angle f) [m deg Hz]    Keele, AES 51st Convention (1975): 1e6 inch degree hertz
KEELE = 2.54e4
EDGE_DB = 6.0  # what "coverage angle" means: the full angle between the -6 dB directions
# How far a box's rear is below its axis, 125 Hz to 8 kHz [dB]. Common practice for vented boxes, no
# source.
REAR_DB = np.array([9.0, 12.0, 14.0, 15.0, 16.0, 17.0, 18.0])
# Exponent of the fall with angle: 2 is a Gaussian beam, larger is flatter inside and steeper
# outside. A reference manual on sound systems (1999) prints -3, -6 dB at 45, 60 degrees of a
# ceiling loudspeaker (ch. 6), which is 2.41, and -3, -6, -9 dB at 14, 23, 30 degrees of a large
# horn (ch. 3), which is 1.46: horns round off more than this.
SKIRT = 2.5
# What goes to the sides, as a share of the beam's power where that is narrow. With it a horn of
# 90 x 40 degrees and a ceiling loudspeaker of 120 have the directivity index that the same manual
# prints for theirs, 10.8 dB (ch. 3) and 6 dB (ch. 6), within 0.5 dB.
SIDES = 0.35
# exponent of the beam's outline: 2 is an ellipse, infinity a rectangle; a horn lies between
CORNER = 3.0
SIDES_POWER = 8 / 15  # mean over the sphere of the fourth power of the sine [-]
MOST_LOBES = 8  # equal beams of one housing


def rectangular_q(horizontal_deg, vertical_deg):
    r"""Directivity factor of a source that fills a rectangle of angles evenly and radiates nothing
    outside.

    .. math:: Q = 180^\circ / \arcsin(\sin(\alpha/2) \sin(\beta/2))

    Parameters
    ----------
    horizontal_deg, vertical_deg : float or array
        Full coverage angles, 1 to 180 [deg]

    Returns
    -------
    q : ndarray
        Directivity factor, shape of the angles [-]

    Raises
    ------
    ValueError
        An angle outside 1 to 180 deg

    Sources
    -------
    C. T. Molloy, J. Acoust. Soc. Am. 20 (1948) 387; formula as standard in handbooks (from memory,
    checked by integration).

    Examples
    --------
    >>> round(float(rectangular_q(90, 40)), 2)
    12.86
    """
    a = np.radians(within("horizontal_deg", horizontal_deg, 1, 180, "deg"))
    b = np.radians(within("vertical_deg", vertical_deg, 1, 180, "deg"))
    return np.pi / np.arcsin(np.sin(a / 2) * np.sin(b / 2))


def control_frequency(mouth_m, angle_deg):
    """Frequency above which a mouth of this size holds this coverage angle.

    Parameters
    ----------
    mouth_m : float or array
        Size of the mouth in the plane of the angle, 0.01 to 10 [m]
    angle_deg : float or array
        Full coverage angle, 5 to 360 [deg]

    Returns
    -------
    frequency : ndarray
        Lower limit of pattern control, shape of the inputs [Hz]

    Raises
    ------
    ValueError
        A mouth outside 0.01 to 10 m, or an angle outside 5 to 360 deg

    Sources
    -------
    D. B. Keele, "What's so sacred about exponential horns?", AES 51st Convention (1975): d =
    K/(angle f).

    Examples
    --------
    >>> round(float(control_frequency(0.6, 60)))
    706
    """
    mouth = within("mouth_m", mouth_m, 0.01, 10, "m", "Centimeters given by mistake?")
    return KEELE / (mouth * within("angle_deg", angle_deg, 5, 360, "deg"))


def beamwidth(nominal_deg, mouth_m, frequency):
    """Coverage angle at a frequency: nominal above pattern control, doubling with every octave
    below it.

    Parameters
    ----------
    nominal_deg : float
        Full coverage angle above pattern control [deg]
    mouth_m : float
        Size of the mouth in the plane of the angle [m]
    frequency : float or array
        Frequency [Hz]

    Returns
    -------
    angle : ndarray
        Full angle between the -6 dB directions, shape of ``frequency``; beyond 360 the source is
        on its way to omnidirectional [deg]

    Raises
    ------
    ValueError
        As ``control_frequency``

    Sources
    -------
    Keele (1975) for the limit; the doubling below it is common practice, no source.
    """
    return nominal_deg * np.maximum(
        1.0, control_frequency(mouth_m, nominal_deg) / np.asarray(frequency, float)
    )


def piston_db(ka, angle_deg):
    r"""Level of a rigid circular piston in a baffle relative to its axis.

    .. math:: D = 2 J_1(ka \sin\theta) / (ka \sin\theta)

    Parameters
    ----------
    ka : float or array
        Wave number times radius, 0 to 1000 [-]
    angle_deg : float or array
        Angle off the axis, -90 to 90 [deg]

    Returns
    -------
    level : ndarray
        20 lg |D|, shape of the inputs; minus infinity in an exact null [dB]

    Raises
    ------
    ValueError
        ``ka`` outside 0 to 1000, or an angle outside -90 to 90 deg

    Sources
    -------
    Beranek and Mellow, Acoustics (2012), eq. (4.42).

    Examples
    --------
    >>> round(float(piston_db(2.2118, 90)), 2)
    -6.0
    """
    ka = within("ka", ka, 0, 1000, "")
    x = ka * np.abs(np.sin(np.radians(within("angle_deg", angle_deg, -90, 90, "deg"))))
    x = np.maximum(x, 1e-9)
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(2 * j1(x) / x))


def directions(azimuth_deg=AZIMUTH_DEG, elevation_deg=ELEVATION_DEG):
    """Unit vectors of a grid of directions.

    Parameters
    ----------
    azimuth_deg : array
        Counter-clockwise from x (azimuth,) [deg]
    elevation_deg : array
        Up from the x-y plane (elevation,) [deg]

    Returns
    -------
    vectors : ndarray
        (azimuth, elevation, 3) [-]
    """
    a, e = np.meshgrid(np.radians(azimuth_deg), np.radians(elevation_deg), indexing="ij")
    return np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], axis=-1)


def sphere_weights(azimuth_deg=AZIMUTH_DEG, elevation_deg=ELEVATION_DEG):
    """Share of the sphere that each direction of a regular grid stands for.

    Parameters
    ----------
    azimuth_deg : array
        From -180 to 180, both ends present (azimuth,) [deg]
    elevation_deg : array
        From -90 to 90, both ends present (elevation,) [deg]

    Returns
    -------
    weights : ndarray
        (azimuth, elevation), sums to 1 [-]

    Sources
    -------
    Areas of spherical zones: 2 pi (sin of the upper edge less sin of the lower), shared evenly
    around.
    """
    edges = np.radians(
        np.concatenate([[-90.0], (elevation_deg[1:] + elevation_deg[:-1]) / 2, [90.0]])
    )
    around = np.gradient(np.asarray(azimuth_deg, float))
    around[[0, -1]] /= 2  # the seam is in the grid twice
    return np.outer(around / around.sum(), np.diff(np.sin(edges)) / 2)


def directivity_index(balloon_db, azimuth_deg=AZIMUTH_DEG, elevation_deg=ELEVATION_DEG):
    """Directivity index: axis level over the mean over the sphere.

    Parameters
    ----------
    balloon_db : array
        Level re the axis (azimuth, elevation, ...) [dB]
    azimuth_deg : array
        From -180 to 180, both ends present (azimuth,) [deg]
    elevation_deg : array
        From -90 to 90, both ends present (elevation,) [deg]

    Returns
    -------
    index : ndarray
        Directivity index (...) [dB]

    Raises
    ------
    ValueError
        A level over 300 dB, or not a number

    Sources
    -------
    Definition; e.g. Kuttruff, Room Acoustics, 6th ed., eq. (5.44) and text. DI = 10 lg Q.
    """
    return -to_level(
        np.tensordot(sphere_weights(azimuth_deg, elevation_deg), to_energy(balloon_db), axes=2)
    )


def generic_balloon(
    horizontal_deg,
    vertical_deg,
    *,
    mouth_width,
    mouth_height,
    frequency=EXACT,
    rear_db=REAR_DB,
    lobes=1,
    lobe_tilt_deg=0.0,
):
    """Balloon of a loudspeaker known only by its nominal angles and the size of its mouth.

    Inside, the level falls with angle to -6 dB at the nominal edge of either plane, and along a
    rounded rectangle between the planes; outside it runs into a rear level. Below pattern control
    each plane widens as ``beamwidth``.

    Parameters
    ----------
    horizontal_deg, vertical_deg : float
        Nominal full coverage angles, 5 to 360 [deg]
    mouth_width, mouth_height : float
        Size of the mouth, 0.01 to 10 [m]
    frequency : array
        Band frequencies (band,) [Hz]
    rear_db : array
        How far the rear lies below the axis, more than 6 (band,) [dB]
    lobes : int
        Equal beams spaced evenly around the vertical, 1 to 8 [-]
    lobe_tilt_deg : float
        Each beam's own tilt below the housing's horizontal [deg]

    Returns
    -------
    balloon_db : ndarray
        Level re the axis of one beam, (azimuth, elevation, band) [dB]

    Raises
    ------
    ValueError
        Angles or a mouth outside the range of ``control_frequency``; a rear less than 6.5 dB below
        the axis; no whole number of lobes from 1 to 8

    Notes
    -----
    Written for this package. Beam, rear, and what goes to the sides make its directivity
    index; above pattern control that stays within 2.3 dB of Molloy's (a test says so). A reference
    manual (1999, ch. 3 and 6) prints 0.3 and 0.7 dB under Molloy for two large horns and 0.3 dB
    over it for a ceiling loudspeaker; small ones leak more (it says so, without figures). What
    stays unknown is about 1 dB. Fine ripple, crossover lobes and asymmetry are not in it: use a
    measured balloon where one is to be had.

    Sources
    -------
    Beam widths: Keele (1975). Fall and power to the sides: fitted to figures of a reference
    manual on sound systems, 1999, ch. 3 and 6. The rear and the outline are assumptions.
    """
    rear = to_energy(-within("rear_db", rear_db, EDGE_DB + 0.5, 60, "dB"))
    if within("lobes", lobes, 1, MOST_LOBES, "") % 1:
        raise ValueError(f"lobes = {lobes:g} is not a whole number.")
    lobes = int(lobes)
    half_h = beamwidth(horizontal_deg, mouth_width, frequency) / 2  # (band,)
    half_v = beamwidth(vertical_deg, mouth_height, frequency) / 2

    def lobe(vectors, turn_deg, sides):
        """One beam with its rear, and so much to its sides (..., band)."""
        forward, left, up = np.moveaxis(vectors @ rotation(turn_deg, lobe_tilt_deg).T, -1, 0)
        cosine = np.clip(forward, -1, 1)[..., None]
        around = np.arctan2(np.abs(up), np.abs(left))[..., None]
        edge = ((np.cos(around) / half_h) ** CORNER + (np.sin(around) / half_v) ** CORNER) ** (
            -1 / CORNER
        )
        # puts -6 dB exactly on the edge, whatever else goes there
        there = rear + sides * _to_sides(np.cos(np.radians(np.minimum(edge, 180.0))))
        slope = -np.log10((to_energy(-EDGE_DB) - there) / (1 - rear))
        beam = 10 ** (-slope * (np.degrees(np.arccos(cosine)) / edge) ** SKIRT)
        return (1 - rear) * beam + sides * _to_sides(cosine) + rear / lobes

    ahead = directions()
    beam_only = np.tensordot(sphere_weights(), lobe(ahead, 0.0, 0.0) - rear / lobes, axes=2)
    sides = SIDES / SIDES_POWER * beam_only * (1 - beam_only) ** 3 / lobes
    turns = 360.0 * np.arange(lobes) / lobes
    total, axis = (
        sum(lobe(vectors, turn, sides) for turn in turns)
        for vectors in (ahead, rotation(0.0, lobe_tilt_deg)[0])
    )
    return to_level(total / axis)


def _to_sides(cosine):
    """Energy of what goes to the sides: nothing on the axis, most straight to the sides."""
    return (1 - cosine**2) ** 2
