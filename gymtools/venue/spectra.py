"""Octave spectra of speech and noise, relative to their own A-weighted level."""

from dataclasses import dataclass

import numpy as np

from ..physics.bands import A_WEIGHTING
from ..physics.checks import within
from .tables import named, read_table


@dataclass(frozen=True, kw_only=True)
class Spectrum:
    """Shape of one sound.

    Parameters
    ----------
    name : str
        Key used in scenario files
    description : str
        What it stands for, in plain words
    level_db : tuple of float
        Level in the octaves 125 Hz to 8 kHz relative to the A-weighted level of all seven [dB]
    source : str
        Standard and table, and how a missing octave was filled; starts with "assumption" where the
        use is ours
    """

    name: str
    description: str
    level_db: tuple
    source: str

    def __post_init__(self):
        values = within(
            f"spectrum '{self.name}': level_db",
            self.level_db,
            -60,
            40,
            "dB",
            "Not relative to dB(A)?",
        )
        if values.shape != (7,):
            raise ValueError(
                f"spectrum '{self.name}': level_db has shape {values.shape}, not (7,): 125 Hz to 8"
                " kHz."
            )
        total = 10 * np.log10(np.sum(10 ** ((values + A_WEIGHTING) / 10)))
        within(
            f"spectrum '{self.name}': A-weighted sum",
            total,
            -0.05,
            0.05,
            "dB",
            "Subtract it from every octave.",
        )
        if not self.source.strip():
            raise ValueError(
                f"spectrum '{self.name}': source is empty. Say where the levels come from."
            )
        object.__setattr__(self, "level_db", tuple(values.tolist()))

    @property
    def is_assumption(self):
        """True where the source does not describe this very sound."""
        return self.source.startswith("assumption")


def _load():
    rows = read_table("spectra.csv")
    bands = [column for column in rows[0] if column[0] == "l" and column[1:].isdigit()]
    plain = ("name", "description", "source")
    return {
        row["name"]: Spectrum(
            level_db=[float(row[band]) for band in bands], **{key: row[key] for key in plain}
        )
        for row in rows
    }


SPECTRA = _load()


def spectrum(name):
    """Octave levels relative to the A-weighted level.

    Parameters
    ----------
    name : str
        "speech", "raised voices", "shouting crowd", "ventilation" or "flat"

    Returns
    -------
    level_db : ndarray
        (band,), 125 Hz to 8 kHz [dB]

    Raises
    ------
    ValueError
        There is no such spectrum

    Examples
    --------
    >>> spectrum("speech").tolist()
    [-2.5, 0.5, 0.0, -6.0, -12.0, -18.0, -24.0]
    """
    return np.array(named(SPECTRA, name, "spectrum").level_db)  # (band,)


def octave_levels(name, level_dba):
    """Octave levels of a sound of given A-weighted level.

    Parameters
    ----------
    name : str
        Name of the spectrum
    level_dba : float
        A-weighted level of the whole, 0 to 140 [dB]

    Returns
    -------
    level_db : ndarray
        (band,), 125 Hz to 8 kHz; their A-weighted sum is ``level_dba`` within 0.05 dB [dB]

    Raises
    ------
    ValueError
        There is no such spectrum, or the level is outside 0 to 140 dB

    Examples
    --------
    >>> octave_levels("speech", 60.0).tolist()
    [57.5, 60.5, 60.0, 54.0, 48.0, 42.0, 36.0]
    """
    level = float(within("level_dba", level_dba, 0, 140, "dB"))
    return spectrum(name) + level
