"""The seven octave bands, and the way between levels and energies."""

import numpy as np

from .checks import within

NOMINAL = np.array([125, 250, 500, 1000, 2000, 4000, 8000])  # names of the bands [Hz]      ISO 266
# mid-band frequency [Hz]                 IEC 61260-1:2014, 5.2, 5.4
EXACT = 1000 * 10 ** (0.3 * np.arange(-3, 4))
# edges of an octave re its mid-band      IEC 61260-1:2014, 5.5 [-]
EDGE_RATIOS = 10 ** np.array([-0.15, 0.15])
EDGES = EXACT[:, None] * EDGE_RATIOS  # lower and upper (band, 2) [Hz]
LABELS = ("125", "250", "500", "1k", "2k", "4k", "8k")  # axis labels [-]
# octaves [dB]         ISO 4869-2; IEC 61672-1
A_WEIGHTING = np.array([-16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])
NAMES = tuple(f"{f} Hz" if f < 1000 else f"{f // 1000} kHz" for f in NOMINAL.tolist())  # in words
# sets of octaves that the package judges in
SPEECH = slice(2, 6)  # 500 Hz to 4 kHz, which carry most of what is understood
COVERAGE = slice(3, 6)  # 1, 2 and 4 kHz, in which coverage is judged
MIDDLE = slice(2, 5)  # 500 Hz to 2 kHz, whose mean is "the" reverberation time
E_FOLD_DB = 10 * np.log10(np.e)  # level change of a factor e, 4.3429 [dB]


def to_energy(level_db):
    """Energy of a level, 10^(L/10).

    Parameters
    ----------
    level_db : float or array
        Level; minus infinity is the level of silence [dB]

    Returns
    -------
    energy : ndarray
        Energy re the reference of the level, shape of ``level_db`` [-]

    Raises
    ------
    ValueError
        A level over 300 dB, or not a number

    Sources
    -------
    Definition of the decibel.

    Examples
    --------
    >>> round(float(to_energy(20.0)), 9)
    100.0
    """
    level_db = within("level_db", level_db, -np.inf, 300, "dB", "Energy given by mistake?")
    # half the time of 10 ** (level_db / 10), equal within 1e-14
    return np.exp(level_db / E_FOLD_DB)


def to_level(energy):
    """Level of an energy, 10 lg E.

    Parameters
    ----------
    energy : float or array
        Energy re the wanted reference, zero or more [-]

    Returns
    -------
    level_db : ndarray
        Shape of ``energy``; silence (zero energy) has minus infinity, without a warning [dB]

    Raises
    ------
    ValueError
        A negative energy, or not a number

    Sources
    -------
    Definition of the decibel.

    Examples
    --------
    >>> to_level([100.0, 0.0]).tolist()
    [20.0, -inf]
    """
    energy = within("energy", energy, 0, np.inf, "(linear)", "Decibels given by mistake?")
    with np.errstate(divide="ignore"):
        return 10 * np.log10(energy)


def sum_levels(level_db, axis=-1):
    """Level of the sum of the energies, for sounds that do not interfere.

    Parameters
    ----------
    level_db : array
        Levels to add (...); minus infinity adds nothing [dB]
    axis : int
        Axis to add along [-]

    Returns
    -------
    level_db : ndarray
        Total level (...), without that axis [dB]

    Raises
    ------
    ValueError
        A level over 300 dB, or not a number

    Sources
    -------
    Energies of incoherent sounds add; e.g. Kuttruff, Room Acoustics, 6th ed., ch. 1.

    Examples
    --------
    >>> round(float(sum_levels([80.0, 80.0])), 2)
    83.01
    """
    return to_level(to_energy(level_db).sum(axis=axis))


def a_weighted(level_db):
    """Overall A-weighted level of seven octave-band levels.

    Parameters
    ----------
    level_db : array
        Octave-band levels, 125 Hz to 8 kHz (..., band) [dB]

    Returns
    -------
    level_dba : ndarray
        A-weighted level (...) [dB(A)]

    Raises
    ------
    ValueError
        A level over 300 dB, or not a number

    Sources
    -------
    Octave-band A-weightings as used by ISO 4869-2 (the curve of IEC 61672-1 at mid-band, rounded to
    0.1 dB).

    Examples
    --------
    >>> round(float(a_weighted([70, 70, 70, 70, 70, 70, 70])), 1)
    77.0
    """
    return sum_levels(np.asarray(level_db, float) + A_WEIGHTING)
