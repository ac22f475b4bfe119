"""Measured loudspeakers: a small TOML file describes the type and names its balloon beside it."""

import hashlib
import tomllib
from pathlib import Path

import numpy as np

from ..physics import balloons
from ..physics.bands import COVERAGE, NOMINAL
from .loudspeakers import LoudspeakerType, loudspeaker_types
from .polars import read_polars
from .sofa import read_sofa

KEYS = (
    "name",
    "description",
    "balloon",
    "sensitivity_db",
    "rated_w",
    "impedance_ohm",
    "width",
    "height",
    "depth",
    "weight_kg",
    "source",
)
READERS = {".sofa": read_sofa, ".csv": read_polars}


def read_measured(path):
    """A loudspeaker type from its description file and the balloon that this names.

    Parameters
    ----------
    path : str or Path
        TOML with the keys of ``KEYS``, in meters, kilograms, watts and decibels; ``balloon`` is a
        .sofa or .csv file beside it

    Returns
    -------
    loudspeaker_type : LoudspeakerType
        Marked as measured; a scenario holds it in ``measured_types``

    Raises
    ------
    ValueError
        One line that names the file and what is wrong with it
    """
    path = Path(path)
    table = _description(path)
    file = path.parent / str(table.pop("balloon"))
    if file.suffix.lower() not in READERS:
        raise ValueError(
            f"{path.name}: balloon = '{file.name}' is neither a .sofa nor a .csv file."
        )
    balloon = READERS[file.suffix.lower()](file)
    horizontal, vertical = (
        float(np.clip(angle[COVERAGE].mean(), 5, 180)) for angle in balloons.edge_angles(balloon)
    )
    try:
        return LoudspeakerType(
            horizontal_deg=horizontal,
            vertical_deg=vertical,
            mouth_width=table["width"],
            mouth_height=table["height"],
            lobes=1,
            lobe_tilt_deg=0.0,
            sensitivity_db=_sensitivity(table.pop("sensitivity_db")),
            measured_db=balloon,
            fingerprint=hashlib.sha256(np.ascontiguousarray(balloon).tobytes()).hexdigest()[:16],
            **table,
        )
    except (ValueError, TypeError) as error:
        raise ValueError(f"{path.name}: {error}") from error


def _description(path):
    """Table of a description file that has all keys, and a name of its own."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ValueError(f"{path.name}: there is no such loudspeaker file.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ValueError(f"{path.name}: is not valid TOML. {error}") from None
    unknown, missing = [k for k in table if k not in KEYS], [k for k in KEYS if k not in table]
    if unknown:
        raise ValueError(f"{path.name}: unknown key '{unknown[0]}'. Known: {', '.join(KEYS)}.")
    if missing:
        raise ValueError(f"{path.name}: missing {', '.join(missing)}.")
    for key in ("name", "description", "source"):
        if not isinstance(table[key], str) or not table[key].strip():
            raise ValueError(f"{path.name}: {key} = {table[key]!r} must be text in quotes.")
    if table["name"] in loudspeaker_types():
        raise ValueError(
            f"{path.name}: another loudspeaker type is called '{table['name']}'. Give it another"
            " name."
        )
    return table


def _sensitivity(levels):
    """Seven levels at 1 m for 1 W."""
    if (
        not isinstance(levels, list)
        or len(levels) != len(NOMINAL)
        or not all(isinstance(v, int | float) and 40 <= v <= 130 for v in levels)
    ):
        raise ValueError(
            "sensitivity_db must be seven levels at 1 m for 1 W, 40 to 130 dB, one for each octave"
            " 125 Hz to 8 kHz."
        )
    return tuple(map(float, levels))
