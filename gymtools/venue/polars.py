"""Balloons in plain tables: a horizontal and a vertical polar as CSV."""

import csv
from pathlib import Path

import numpy as np

from ..physics import gridding
from ..physics.bands import to_energy, to_level

PLANES = ("horizontal", "vertical")
FEWEST = 3  # angles of a polar


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
    path = Path(path)
    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except FileNotFoundError:
        raise ValueError(f"{path.name}: there is no such file.") from None
    except UnicodeDecodeError:
        raise ValueError(f"{path.name}: is not UTF-8 text. Save it as CSV in UTF-8.") from None
    frequency = _frequencies(rows, path.name)
    polars = []
    for plane, values in _planes(rows[1:], frequency, path.name).items():
        if len(values) < FEWEST:
            raise ValueError(
                f"{path.name}: has {len(values)} {plane} angles. Give the polar all round."
            )
        values = np.array(values)  # (angle, 1 + frequency)
        octaves = gridding.octave_energy(to_energy(values[:, 1:]), frequency)
        polars += [values[:, 0], to_level(octaves)]
    try:
        return gridding.from_polars(*polars)
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None


def _frequencies(rows, name):
    """Frequencies of the first line (frequency,) [Hz]."""
    head = [h.strip() for h in rows[0]] if rows else []
    try:
        frequency = np.array([float(h) for h in head[2:]])
    except ValueError:
        frequency = np.array([])
    rising = len(frequency) and (np.diff(frequency) > 0).all()
    if head[:2] != ["plane", "angle_deg"] or not rising:
        raise ValueError(
            f"{name}: the first line must be plane,angle_deg and then rising frequencies in Hz,"
            " e.g. plane,angle_deg,125,250,500,1000,2000,4000,8000."
        )
    return frequency


def _planes(rows, frequency, name):
    """Rows of numbers, the angle first, by plane."""
    found = {plane: [] for plane in PLANES}
    for number, row in enumerate(rows, 2):
        if not any(cell.strip() for cell in row):
            continue
        plane = row[0].strip()
        if plane not in found:
            raise ValueError(
                f"{name}, line {number}: plane = '{plane}' is neither horizontal nor vertical."
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
        found[plane].append(values)
    return found
