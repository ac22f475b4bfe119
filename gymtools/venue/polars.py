"""Balloons in plain tables: a horizontal and a vertical polar as CSV."""

import numpy as np

from ..physics import gridding
from ..physics.bands import to_energy, to_level
from .reading_files import MEGABYTE, csv_rows, file_text, name_of, one_line
from .texts import short

PLANES = ("horizontal", "vertical")
FEWEST = 3  # angles of a polar
MOST_BYTES = 5 * MEGABYTE
MOST_ROWS = 2000  # two planes, half a degree apart
MOST_COLUMNS = 1002
LEVELS_DB = (-160.0, 200.0)  # absolute or re the axis [dB]


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
    text = file_text(path, "table of polars", MOST_BYTES)
    name = name_of(path)
    rows = csv_rows(text, name, most_rows=MOST_ROWS, most_columns=MOST_COLUMNS)
    frequency = _frequencies(rows, name)
    polars = []
    for plane, values in _planes(rows[1:], frequency, name).items():
        if len(values) < FEWEST:
            raise ValueError(f"{name}: has {len(values)} {plane} angles. Give the polar all round.")
        values = np.array(values)  # (angle, 1 + frequency)
        octaves = gridding.octave_energy(to_energy(values[:, 1:]), frequency)
        polars += [values[:, 0], to_level(octaves)]
    try:
        return gridding.from_polars(*polars)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None


def _frequencies(rows, name):
    """Frequencies of the first line (frequency,) [Hz]."""
    head = [h.strip() for h in rows[0][1]] if rows else []
    try:
        frequency = [float(h) for h in head[2:]]
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
    """Rows of numbers, the angle first, by plane."""
    found = {plane: [] for plane in PLANES}
    for number, row in rows:
        plane = row[0].strip()
        if plane not in found:
            raise ValueError(
                f"{name}, line {number}: plane = '{short(one_line(plane))}' is neither horizontal"
                " nor vertical."
            )
        try:
            values = [float(v) for v in row[1:]]
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
    return found
