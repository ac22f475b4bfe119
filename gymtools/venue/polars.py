"""Balloons in plain tables: a horizontal and a vertical polar as CSV."""

import numpy as np

from ..physics import gridding
from ..physics.bands import to_energy, to_level
from .reading_files import MEGABYTE, csv_rows, file_text, name_of, one_line, plain_number
from .texts import short

PLANES = ("horizontal", "vertical")
FEWEST = 3  # angles of a polar
MOST_BYTES = 5 * MEGABYTE
MOST_ROWS = 2000  # two planes, half a degree apart
MOST_COLUMNS = 1002
LEVELS_DB = (-160.0, 200.0)  # absolute or re the axis [dB]
MOST_LINEAR = 1.5  # pressure re the axis; levels that all lie from 0 to it are no decibels [-]
AXES_APART_DB = 3.0  # of the two planes at a frequency    common practice, no source [dB]


def read_polars(path):
    """A balloon from a table of polars.

    Parameters
    ----------
    path : str or Path
        CSV: ``plane`` ("horizontal" or "vertical"), ``angle_deg`` (positive left or up), then a
        column for each frequency in Hz with levels in dB, absolute or re the axis

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]

    Raises
    ------
    ValueError
        One line that names the file, the line and what is wrong with it
    """
    return polars_and_notes(path)[0]


def polars_and_notes(path):
    """A balloon from a table of polars, and what in it was not measured.

    Parameters
    ----------
    path : str or Path
        As for ``read_polars``

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]
    notes : tuple of str
        Octaves that were taken from a neighbor, and what is assumed behind

    Raises
    ------
    ValueError
        As for ``read_polars``
    """
    text = file_text(path, "table of polars", MOST_BYTES)
    name = name_of(path)
    rows = csv_rows(text, name, most_rows=MOST_ROWS, most_columns=MOST_COLUMNS)
    frequency = _frequencies(rows, name)
    planes, polars, notes = (
        _planes(rows[1:], frequency, name),
        [],
        gridding.octaves_taken(frequency),
    )
    for plane, values in planes.items():
        octaves = gridding.octave_energy(to_energy(values[:, 1:]), frequency)
        polars += [values[:, 0], to_level(octaves)]
        notes += gridding.rear_assumed(plane, values[:, 0])
    try:
        balloon = gridding.from_polars(*polars)
        _check_levels(*planes.values(), frequency)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None
    return balloon, notes


def _check_levels(horizontal, vertical, frequency):
    """Refuse pressures for decibels, and two planes of which the axes are not the same."""
    axes = [p[np.abs(p[:, 0]).argmin(), 1:] for p in (horizontal, vertical)]  # (frequency,)
    levels = np.concatenate([horizontal[:, 1:], vertical[:, 1:]])
    if levels.min() >= 0 and levels.max() <= MOST_LINEAR and np.allclose(axes, 1, atol=1e-3):
        raise ValueError(
            f"all its levels lie between {levels.min():g} and {levels.max():g}, with 1 on the axis."
            " Decibels are expected. Pressures re the axis given by mistake?"
        )
    apart = np.abs(axes[0] - axes[1])
    if apart.max() > AXES_APART_DB:
        at = int(apart.argmax())
        raise ValueError(
            f"at {frequency[at]:g} Hz the axis has {axes[0][at]:g} dB in the horizontal plane and"
            f" {axes[1][at]:g} dB in the vertical. It is the same direction. Give both planes re"
            " the axis, or both absolute."
        )


def _frequencies(rows, name):
    """Frequencies of the first line (frequency,) [Hz]."""
    head = [h.strip() for h in rows[0][1]] if rows else []
    try:
        frequency = [plain_number(h) for h in head[2:]]
    except ValueError:
        frequency = []
    if head[:2] != ["plane", "angle_deg"] or not frequency:
        raise ValueError(
            f"{name}: the first line must be plane,angle_deg and then rising frequencies in Hz,"
            " e.g. plane,angle_deg,125,250,500,1000,2000,4000,8000."
        )
    try:
        return gridding.check_frequencies(frequency)
    except ValueError as error:
        raise ValueError(f"{name}, line {rows[0][0]}: {error}") from None


def _planes(rows, frequency, name):
    """Numbers by plane, each (angle, 1 + frequency), the angle first [deg, dB]."""
    found = {plane: [] for plane in PLANES}
    for number, row in rows:
        plane = row[0].strip()
        if plane not in found:
            raise ValueError(
                f"{name}, line {number}: plane = '{short(one_line(plane))}' is neither horizontal"
                " nor vertical."
            )
        try:
            values = [plain_number(v) for v in row[1:]]
        except ValueError:
            values = []
        whole = len(values) == 1 + len(frequency) and np.isfinite(values).all()
        if not whole or not -180 <= values[0] <= 180:
            raise ValueError(
                f"{name}, line {number}: needs an angle from -180 to 180 and {len(frequency)}"
                " levels."
            )
        for level in values[1:]:
            if not LEVELS_DB[0] <= level <= LEVELS_DB[1]:
                raise ValueError(
                    f"{name}, line {number}: a level of {level:g} dB is outside {LEVELS_DB[0]:g} to"
                    f" {LEVELS_DB[1]:g} dB."
                )
        found[plane].append(values)
    for plane, values in found.items():
        if len(values) < FEWEST:
            raise ValueError(f"{name}: has {len(values)} {plane} angles. Give the polar all round.")
    return {plane: np.array(values) for plane, values in found.items()}
