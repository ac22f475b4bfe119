"""Measured loudspeakers: a small TOML file describes the type and names its balloon beside it."""

import hashlib
import tomllib
from pathlib import Path

import numpy as np
import tomlkit

from ..physics import balloons
from ..physics.bands import COVERAGE, NOMINAL
from .loudspeakers import LoudspeakerType, loudspeaker_types
from .polars import polars_and_notes
from .reading_files import MEGABYTE, check_keys, file_text, inside, name_of, one_line
from .sofa import sofa_and_notes, write_sofa
from .texts import check_text, short
from .writing_files import write_file

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
WORDS = ("name", "description", "balloon", "source")
MOST_BYTES = MEGABYTE // 10
SAME_DB = 1e-4  # between balloons that are the same [dB]
READERS = {".sofa": sofa_and_notes, ".csv": polars_and_notes}


def read_measured(path):
    """A loudspeaker type from its description file and the balloon that this names.

    Parameters
    ----------
    path : str or Path
        TOML with the keys of ``KEYS``, in meters, kilograms, watts and decibels; ``balloon`` is a
        .sofa or .csv file beside it, or in a folder there

    Returns
    -------
    loudspeaker_type : LoudspeakerType
        Marked as measured; a scenario holds it in ``measured_types``. Its ``source`` says too what
        of the balloon was not measured

    Raises
    ------
    ValueError
        One line that names the file and what is wrong with it
    """
    path = Path(path)
    name = name_of(path)
    table = _description(path, name)
    balloon = table.pop("balloon")
    try:
        file = inside(path.parent, balloon)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None
    if file.suffix.lower() not in READERS:
        raise ValueError(
            f"{name}: balloon = '{short(one_line(file.name))}' is neither a .sofa nor a .csv file."
        )
    balloon, notes = READERS[file.suffix.lower()](file)
    table["source"] = "; ".join([table["source"], *notes])
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
        raise ValueError(f"{name}: {one_line(error)}") from error


def write_measured(loudspeaker_type, path):
    """Write a measured type as a description file with its balloon beside it.

    Parameters
    ----------
    loudspeaker_type : LoudspeakerType
        A measured one
    path : str or Path
        Where the description goes; its folder is made where there is none

    Returns
    -------
    paths : list of Path
        Description and balloon; ``read_measured`` gives the same type again

    Raises
    ------
    OSError
        One line: a file could not be written
    """
    path = Path(path)
    balloon = path.with_suffix(".sofa")
    table = {key: getattr(loudspeaker_type, key) for key in KEYS if key != "balloon"}
    table["sensitivity_db"] = list(table["sensitivity_db"])
    path.parent.mkdir(parents=True, exist_ok=True)
    write_sofa(loudspeaker_type, balloon)
    write_file(path, tomlkit.dumps({**table, "balloon": balloon.name}))
    return [path, balloon]


def same_measured(a, b):
    """Whether two measured types are the same, but for the last digits that a file keeps.

    Parameters
    ----------
    a, b : LoudspeakerType
        Measured ones

    Returns
    -------
    same : bool
        All that a description says is the same, and the balloons within SAME_DB
    """
    said = all(getattr(a, key) == getattr(b, key) for key in KEYS if key != "balloon")
    return said and bool(np.allclose(a.measured_db, b.measured_db, rtol=0, atol=SAME_DB))


def _description(path, name):
    """Table of a description file that has all keys, and a name of its own."""
    text = file_text(path, "loudspeaker file", MOST_BYTES)
    try:
        check_keys(text)
    except ValueError as error:
        raise ValueError(f"{name}: is not valid TOML. {error}") from None
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{name}: is not valid TOML. {one_line(error)}") from None
    except RecursionError:
        raise ValueError(f"{name}: is nested too deeply to describe a loudspeaker.") from None
    unknown, missing = [k for k in table if k not in KEYS], [k for k in KEYS if k not in table]
    if unknown:
        said = short(one_line(unknown[0]))
        raise ValueError(f"{name}: unknown key '{said}'. Known: {', '.join(KEYS)}.")
    if missing:
        raise ValueError(f"{name}: missing {', '.join(missing)}.")
    try:
        _check_values(table)
    except ValueError as error:
        raise ValueError(f"{name}: {one_line(error)}") from None
    if table["name"] in loudspeaker_types():
        raise ValueError(
            f"{name}: another loudspeaker type is called '{table['name']}'. Give it another name."
        )
    return table


def _check_values(table):
    """Texts are texts, numbers are numbers; their ranges the type checks."""
    for key, value in table.items():
        if key in WORDS:
            if not isinstance(value, str) or not value.strip():
                raise ValueError(f"{key} = {short(repr(value))} must be text in quotes.")
            check_text(key, value)
        elif key != "sensitivity_db" and not _is_number(value):
            raise ValueError(f"{key} = {short(repr(value))} is not a number.")


def _is_number(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _sensitivity(levels):
    """Seven levels at 1 m for 1 W."""
    if (
        not isinstance(levels, list)
        or len(levels) != len(NOMINAL)
        or not all(_is_number(v) and 40 <= v <= 130 for v in levels)
    ):
        raise ValueError(
            "sensitivity_db must be seven levels at 1 m for 1 W, 40 to 130 dB, one for each octave"
            " 125 Hz to 8 kHz."
        )
    return tuple(map(float, levels))
