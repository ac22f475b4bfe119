"""Surface finishes: octave-band absorption, and scattering, of what a gymnasium is built and filled
with.

Many tables stop at 4 kHz. There, one rule fills 8 kHz: the 4 kHz value is repeated. No source
publishes a trend to extrapolate, the air absorbs far more than the surfaces at 8 kHz, and for the
many finishes that absorb more with rising frequency the repeated value is the cautious one.
``fill_8k`` says for each finish whether it was applied.
"""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..physics.bands import NOMINAL
from ..physics.checks import within
from .tables import named, read_table


@dataclass(frozen=True, kw_only=True)
class Finish:
    """Absorption of one surface finish; values are random-incidence coefficients, capped at 1.

    Parameters
    ----------
    name : str
        Key used in scenario files
    description : str
        What it is, in plain words
    absorption : tuple of float
        Absorption coefficient in the octaves 125 Hz to 8 kHz, 0 to 1 [-]
    fill_8k : str
        "source", or how 8 kHz was filled where the source stops at 4 kHz
    source : str
        Author, title, year and table; starts with "assumption" where there is none
    scattering : tuple of float, or float
        Share of the reflected sound that leaves in all directions, not as from a mirror, in the
        same octaves, or one number for all of them, 0 to 1 [-]
    scattering_source : str
        As ``source``
    """

    name: str
    description: str
    absorption: tuple
    fill_8k: str
    source: str
    scattering: tuple
    scattering_source: str

    def __post_init__(self):
        for key in ("absorption", "scattering"):
            name, given = f"finish '{self.name}': {key}", getattr(self, key)
            if key == "scattering" and np.ndim(given) == 0:
                given = [given] * 7
            values = within(name, given, 0, 1, "(fraction)", "Percent given by mistake?")
            if values.shape != (7,):
                raise ValueError(
                    f"{name} has shape {values.shape}, not (7,): one value per octave, 125 Hz to"
                    " 8 kHz."
                )
            object.__setattr__(self, key, tuple(values.tolist()))
        if not (self.source.strip() and self.scattering_source.strip()):
            raise ValueError(
                f"finish '{self.name}': source is empty. Say where the numbers come from."
            )

    @property
    def is_assumption(self):
        """True where no published source stands behind the values."""
        return self.source.startswith("assumption")


def _load():
    plain = ("name", "description", "fill_8k", "source")
    scattering = {row["finish"]: row for row in read_table("scattering.csv")}
    return {
        row["name"]: Finish(
            absorption=[float(row[f"a{octave}"]) for octave in NOMINAL],
            scattering=[float(scattering[row["name"]][f"s{octave}"]) for octave in NOMINAL],
            scattering_source=scattering[row["name"]]["source"],
            **{key: row[key] for key in plain},
        )
        for row in read_table("finishes.csv")
    }


FINISHES = MappingProxyType(_load())


def finish(name):
    """Finish by its name.

    Parameters
    ----------
    name : str
        Name as in ``FINISHES`` and in scenario files

    Returns
    -------
    finish : Finish
        Absorption and source

    Raises
    ------
    ValueError
        There is no such finish

    Examples
    --------
    >>> finish("painted block").absorption
    (0.1, 0.05, 0.06, 0.07, 0.09, 0.08, 0.08)
    """
    return named(FINISHES, name, "finish")
