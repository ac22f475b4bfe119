"""Scattering of uneven surfaces."""

import numpy as np

from .bands import EXACT
from .checks import within

SPEED = 343.2  # of sound at 20 degC [m/s]
EVERYWHERE = 0.05  # scattered by what no drawing shows, in every octave [-]    assumption


def of_relief(depth, *, share=1.0, frequency=EXACT):
    r"""Share of the reflected sound that a surface with relief scatters, at random incidence.

    .. math::
        s = 1 - \frac{1 - e^{-g}}{g}, \qquad g = (2 k h)^2

    Parameters
    ----------
    depth : float
        Standard deviation of the surface's height about its mean plane, 0 to 2 [m]
    share : float
        Share of the surface that is uneven; the rest scatters ``EVERYWHERE``, 0 to 1 [-]
    frequency : float or array
        Mid-band frequencies [Hz]

    Returns
    -------
    scattering : ndarray
        Shape of ``frequency``, 0 to 1 [-]

    Raises
    ------
    ValueError
        A depth or share outside its range

    Notes
    -----
    The formula is for gentle slopes and many facets. For the steps of an amphitheater, 82 by 30 cm,
    it stays within 0.25 of the measured octaves (``tests/test_finishes.py``).

    Sources
    -------
    P. Beckmann and A. Spizzichino, The Scattering of Electromagnetic Waves from Rough Surfaces,
    1963: mirror reflection of a rough surface, exp(-(2 k h cos angle)^2) (from memory); its mean
    over random incidence is worked by hand.

    Examples
    --------
    >>> of_relief(0.15, share=0.6).round(2).tolist()
    [0.17, 0.37, 0.54, 0.6, 0.62, 0.62, 0.62]
    """
    h = within("depth", depth, 0, 2, "m", "Millimeters or centimeters given by mistake?")
    part = within("share", share, 0, 1, "(fraction)", "Percent given by mistake?")
    k = 2 * np.pi * np.asarray(frequency, float) / SPEED
    g = (2 * k * h) ** 2
    rough = 1 + np.expm1(-g) / np.maximum(g, 1e-12)
    return EVERYWHERE + part * (1 - EVERYWHERE) * np.where(g > 0, rough, 0.0)
