"""What is left of the model's error where it was held against published halls, and the ranges that
follow.

Four halls whose finishes are published, nine decay times, none of a single octave above 1 kHz.
Scattering and the absorption of plain decks are set from three of them
(``tests/test_measured_halls.py`` sets each from one hall and checks it on another). That is
thin, so the ranges are wide: they come from Student's t with as many halls. No gym with a published
early decay time, level or STI *and* its geometry was found: for these the error of the decay is
carried on, worked by hand.
"""

import numpy as np
from scipy.special import stdtrit

from ..physics import intelligibility

# Natural logarithm of measured over traced T20; every hall counts the same. The figures are what
# ``measured_halls.compare_decays`` gives; ``tests/test_measured_halls.py`` holds them to it.
T20_MEAN = -0.12  # the measured one is that much shorter, mean over the halls [-]
T20_SPREAD = 0.28  # standard deviation of one hall about that mean [-]
HALLS = 4  # that these figures rest on [-]
# measured decays in the stated range, of all, each hall computed with what the others set
HELD = (12, 13)
LOW, HIGH = 0.1, 0.9  # the range that is stated [-]
NARROWER = (
    "Few measured gyms stand behind this range. One decay measured in the room itself would narrow"
    " it."
)


def deviation():
    """Standard deviation of the logarithm of measured over traced decay for one more hall.

    Returns
    -------
    deviation : float
        With what is unknown of the mean of so few halls [-]
    """
    return float(T20_SPREAD * np.sqrt(1 + 1 / HALLS))


def decay_factor(chance):
    """What a traced decay time is multiplied by for one more hall like the measured ones.

    Parameters
    ----------
    chance : float or array
        Share of such halls in which the factor is smaller, between 0 and 1 [-]

    Returns
    -------
    factor : ndarray
        Shape of ``chance`` [-]

    Notes
    -----
    For draws, ``decay_factor(rng.uniform(size=n))``: one factor for all octaves of a hall.

    Sources
    -------
    Prediction interval of a normal sample with unknown mean and deviation, e.g. G. Hahn and W.
    Meeker, Statistical Intervals, 1991 (from memory).
    """
    return np.exp(T20_MEAN + deviation() * stdtrit(HALLS - 1, chance))


def range_of_decay(t20):
    """Range that holds the measured decay time of four halls in five.

    Parameters
    ----------
    t20 : float or array
        Decay time as traced, T20, T30 or EDT [s]

    Returns
    -------
    low, high : ndarray
        10th and 90th percentile, each of the shape of ``t20`` [s]
    """
    low, high = decay_factor(np.array([LOW, HIGH]))
    return np.asarray(t20, float) * low, np.asarray(t20, float) * high


def relative_spread():
    """Spread of a measured decay time about the traced one, for expected readings.

    Returns
    -------
    spread : float
        Half of the range that holds 68 of 100 halls, over the traced value [-]
    """
    low, high = decay_factor(np.array([0.16, 0.84]))
    return float((high - low) / 2)


def range_of_late_level():
    """Range of the reverberant level about the traced one.

    Returns
    -------
    low, high : float
        10th and 90th percentile [dB]

    Sources
    -------
    Worked by hand: at one power and volume the reverberant energy goes as the decay time (Sabine).
    """
    low, high = 10 * np.log10(decay_factor(np.array([LOW, HIGH])))
    return float(low), float(high)


def range_of_sti(t20):
    """Change of the STI where there is reverberant sound alone, the most that the decay can do.

    Parameters
    ----------
    t20 : array
        Decay time as traced (7,) [s]

    Returns
    -------
    low, high : float
        Change at the 10th and at the 90th percentile; the long decay gives the low one [-]

    Sources
    -------
    Worked by hand: IEC 60268-16 for an exponential decay (Schroeder 1981).
    """
    as_traced = _reverberant_sti(t20)
    changes = [_reverberant_sti(one) - as_traced for one in range_of_decay(t20)]
    return min(changes), max(changes)


def _reverberant_sti(rt):
    """STI of an exponential decay with no direct sound and no noise."""
    f = intelligibility.MODULATION
    mtf = 1 / np.sqrt(1 + (2 * np.pi * f * np.asarray(rt, float)[:, None] / 13.8155) ** 2)
    return float(intelligibility.sti(mtf))
