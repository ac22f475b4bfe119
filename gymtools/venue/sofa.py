"""Balloons in AES69 (SOFA) files."""

import re
import tempfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from ..physics import gridding
from ..physics.bands import NOMINAL, to_level
from ..physics.directivity import AZIMUTH_DEG, ELEVATION_DEG
from .reading_files import MEGABYTE, check_file, name_of, one_line
from .texts import short
from .writing_files import write_file

CONVENTION = "FreeFieldDirectivityTF"
COORDINATES = ("cartesian", "spherical")
STANDARD_UNITS = {"cartesian": "metre", "spherical": "degree, degree, metre"}  # AES69-2022
METERS = ("m", "metre", "metres", "meter", "meters")
DEGREES = ("deg", "degree", "degrees")
RADIANS = ("rad", "radian", "radians")
HERTZ = ("hz", "hertz")
MOST_BYTES = 50 * MEGABYTE
MOST_VALUES = 30_000_000  # of all arrays once unpacked, of eight bytes each
ATTRIBUTES = ("Type", "Units")
MOST_AZIMUTH = 360.0  # either way [deg]
# what is read of a file, and whether its first row is all that is needed
VARIABLES = {
    "N": False,
    "Data.Real": True,
    "Data.Imag": True,
    "ReceiverPosition": False,
    "SourceView": True,
    "SourceUp": True,
}


def read_sofa(path):
    """A balloon from an AES69 file.

    Parameters
    ----------
    path : str or Path
        Convention FreeFieldDirectivityTF, any directions and frequencies

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]

    Raises
    ------
    ValueError
        One line that names the file and what it lacks: a direction or value that is not finite, an
        unknown unit, an octave or data that are missing, an axis that was not measured

    Sources
    -------
    AES69-2022 (SOFA 2.1): SourceUp is in the coordinates of SourceView where it has none of its
    own; the first of several measurements is taken.
    """
    return sofa_and_notes(path)[0]


def sofa_and_notes(path):
    """A balloon from an AES69 file, and what in it was not measured.

    Parameters
    ----------
    path : str or Path
        As for ``read_sofa``

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]
    notes : tuple of str
        Octaves that were taken from a neighbor

    Raises
    ------
    ValueError
        As for ``read_sofa``
    """
    path = Path(path)
    name = name_of(path)
    data = _opened(path, name)
    try:
        energy, frequency, vectors = _contents(data)
        octaves = gridding.octave_energy(energy, frequency)  # (direction, band)
        balloon = gridding.on_grid(vectors, to_level(np.maximum(octaves, 1e-30)))
        return balloon, gridding.octaves_taken(frequency)
    except (AttributeError, TypeError, IndexError, OverflowError) as error:
        raise ValueError(
            f"{name}: lacks what {CONVENTION} must hold. ({one_line(error)})"
        ) from None
    except ValueError as error:
        raise ValueError(f"{name}: {one_line(error)}") from None


def _opened(path, name):
    """Data of a file that is there, whole, of bounded size, and of a loudspeaker."""
    import netCDF4  # slow to load, and seldom needed; comes with sofar

    check_file(path, "SOFA file", MOST_BYTES)
    try:
        with netCDF4.Dataset(str(path)) as file:
            values = sum(map(_size, file.variables.values()))
            convention = str(file.SOFAConventions)
            read = values <= MOST_VALUES and convention == CONVENTION
            data = SimpleNamespace(**_variables(file)) if read else None
    except Exception as error:  # the library and the format below it raise anything when damaged
        raise ValueError(
            f"{name}: cannot be read as an AES69 (SOFA) file. Damaged, or cut short?"
            f" ({type(error).__name__})"
        ) from None
    if values > MOST_VALUES:
        raise ValueError(
            f"{name}: unpacks to {values} values, more than {MOST_VALUES}, so it is no"
            " loudspeaker's directivity."
        )
    if convention != CONVENTION:
        raise ValueError(
            f"{name}: holds the convention {short(one_line(convention))}, not {CONVENTION}: it is"
            " no loudspeaker's directivity."
        )
    return data


def _size(variable):
    """Number of values of an array, of eight bytes each, before anything is unpacked."""
    each = getattr(variable.dtype, "itemsize", 8)  # texts of any length count as one
    return int(np.prod(variable.shape, dtype=float) * max(each / 8, 1))


def _variables(file):
    """What a balloon is made from, by name; values that the file marks as missing are NaN."""
    found = {}
    for key, first in VARIABLES.items():
        if key not in file.variables:
            continue
        variable, plain = file.variables[key], key.replace(".", "_")
        rows = slice(1) if first and variable.ndim else slice(None)
        found[plain] = np.ma.filled(np.ma.asarray(variable[rows], float), np.nan)
        for attribute in ATTRIBUTES:
            if attribute in variable.ncattrs():
                found[f"{plain}_{attribute}"] = variable.getncattr(attribute)
    return found


def _contents(data):
    """Energy (direction, frequency), frequency (frequency,) and directions (direction, 3) in the
    loudspeaker's frame.
    """
    if str(data.N_Units).strip().lower() not in HERTZ:
        raise ValueError(f"N_Units = '{short(data.N_Units)}' is unknown. Known: hertz.")
    frequency = gridding.check_frequencies(data.N)
    parts = [np.asarray(part, float) for part in (data.Data_Real, data.Data_Imag)]
    if any(part.ndim != 3 or part.shape[2] != len(frequency) for part in parts):
        raise ValueError(
            "its frequencies do not fit its data: data must be (measurement, receiver, frequency)."
        )
    real, imaginary = parts[0][0], parts[1][0]  # (receiver, frequency) of the first measurement
    bad = np.argwhere(~(np.isfinite(real) & np.isfinite(imaginary)))
    if len(bad):
        receiver, line = bad[0]
        raise ValueError(
            f"the value of receiver {receiver + 1} at {frequency[line]:g} Hz is not finite: data"
            " are missing."
        )
    pressure = real + 1j * imaginary
    if not pressure.any():
        raise ValueError("its data are all zero.")
    with np.errstate(over="ignore"):  # what is too large is refused with the other levels
        energy = np.minimum(np.abs(pressure) ** 2, np.finfo(float).max / len(frequency))
    return energy, frequency, _in_own_frame(data, len(energy))


def _in_own_frame(data, receivers):
    """Directions of the receivers from the loudspeaker (direction, 3)."""
    position = np.asarray(data.ReceiverPosition, float)
    if position.shape[:2] != (receivers, 3) or position.size != receivers * 3:
        raise ValueError(f"ReceiverPosition does not hold one position for {receivers} receivers.")
    vectors = _vectors("ReceiverPosition", position, data)
    view = _vectors("SourceView", np.reshape(np.asarray(data.SourceView, float), (-1, 3))[:1], data)
    up = np.reshape(np.asarray(data.SourceUp, float), (-1, 3))[:1]
    return vectors @ _frame(view[0], _vectors("SourceUp", up, data, like="SourceView")[0]).T


def _vectors(key, position, data, like=None):
    """Directions (direction, 3) from positions as the file has them; ``like`` names the key whose
    type and units hold where this one has none of its own.
    """
    position = position.reshape(len(position), 3)
    coordinates = _said_of(data, f"{key}_Type", like and f"{like}_Type")
    units = _said_of(data, f"{key}_Units", like and f"{like}_Units")
    if like and not hasattr(data, f"{key}_Units") and hasattr(data, f"{key}_Type"):
        units = STANDARD_UNITS.get(coordinates, units)
    if coordinates not in COORDINATES:
        raise ValueError(f"{key}_Type = '{short(coordinates)}' is neither cartesian nor spherical.")
    in_degrees = _in_degrees(f"{key}_Units", units, coordinates)
    _check_directions(key, position, coordinates)
    if coordinates == "cartesian":
        return position
    angles = position[:, :2] if in_degrees else np.degrees(position[:, :2])
    steep = np.flatnonzero(np.abs(angles[:, 1]) > 90 + 1e-6)
    if len(steep):
        raise ValueError(
            f"{key} {steep[0] + 1} has an elevation of {angles[steep[0], 1]:g}°, outside -90 to"
            f" 90°. Are its units '{short(units)}' right?"
        )
    far = np.flatnonzero(np.abs(angles[:, 0]) > MOST_AZIMUTH + 1e-6)
    if len(far):
        raise ValueError(
            f"{key} {far[0] + 1} has an azimuth of {angles[far[0], 0]:g}°, outside"
            f" -{MOST_AZIMUTH:g} to {MOST_AZIMUTH:g}°. Are its units '{short(units)}' right?"
        )
    azimuth, elevation = np.radians(angles).T
    return np.stack(
        [
            np.cos(elevation) * np.cos(azimuth),
            np.cos(elevation) * np.sin(azimuth),
            np.sin(elevation),
        ],
        axis=1,
    )


def _said_of(data, key, other):
    """Text of an attribute, or of another where there is none."""
    if other is not None and not hasattr(data, key):
        key = other
    return str(getattr(data, key)).strip().lower()


def _in_degrees(key, units, coordinates):
    """Whether angles are in degrees, else in radians; an unknown unit is refused."""
    words = [w for w in re.split(r"[\s,;]+", units) if w]
    if coordinates == "cartesian":
        if words and set(words) <= set(METERS) and len(words) in (1, 3):
            return False
        known = "metre"
    else:
        for angle in (DEGREES, RADIANS):
            if len(words) == 3 and set(words[:2]) <= set(angle) and words[2] in METERS:
                return angle is DEGREES
        known = "degree, degree, metre; radian, radian, metre"
    raise ValueError(f"{key} = '{short(units)}' is unknown for {coordinates}. Known: {known}.")


def _check_directions(key, position, coordinates):
    """Every position points somewhere; a distance below zero would turn it round."""
    far = position[:, 2] if coordinates == "spherical" else np.abs(position).max(axis=1)
    bad = np.flatnonzero(~np.isfinite(position).all(axis=1) | (far <= 0))
    if len(bad):
        shown = ", ".join(f"{v:g}" for v in position[bad[0]])
        raise ValueError(
            f"{key} {bad[0] + 1} of {len(position)} is {shown} ({coordinates}), which points"
            " nowhere."
        )


def _frame(view, up):
    """Front, left and up of the loudspeaker as rows (3, 3)."""
    front, up = gridding.unit_vectors([view, up])
    left = np.cross(up, front)
    if not np.linalg.norm(left) > 1e-6:
        raise ValueError("SourceView and SourceUp point the same way.")
    left /= np.linalg.norm(left)
    return np.stack([front, left, np.cross(front, left)])


def write_sofa(loudspeaker_type, path, *, date="2000-01-01 00:00:00"):
    """Write a type's balloon as an AES69 file, whole or not at all.

    Parameters
    ----------
    loudspeaker_type : LoudspeakerType
        Any type
    path : str or Path
        Where to
    date : str
        Written into it
    """
    import sofar  # slow to load, and seldom needed

    data = sofar.Sofa(CONVENTION)
    # optional texts that the library cannot write with every version of netCDF4
    for name in ("EmitterDescriptions", "Description"):
        if hasattr(data, name):
            data.delete(name)
    a, e = np.meshgrid(AZIMUTH_DEG, ELEVATION_DEG, indexing="ij")
    magnitude = 10 ** (loudspeaker_type.balloon_db.reshape(-1, len(NOMINAL)) / 20)
    data.ReceiverPosition = np.stack([a.ravel(), e.ravel(), np.ones(a.size)], axis=1)
    data.Data_Real, data.Data_Imag = magnitude[None], np.zeros_like(magnitude)[None]
    data.N = np.array(NOMINAL, float)
    measured = loudspeaker_type.measured_db is not None
    data.GLOBAL_Title = loudspeaker_type.name
    data.GLOBAL_SourceType = loudspeaker_type.description
    data.GLOBAL_SourceManufacturer = loudspeaker_type.source if measured else "generic"
    for name in ("AuthorContact", "Organization", "License", "DatabaseName"):
        setattr(data, f"GLOBAL_{name}", "gymtools")
    data.GLOBAL_DateCreated = data.GLOBAL_DateModified = date
    for name in ("SourcePosition", "SourceView", "SourceUp"):
        setattr(data, f"{name}_Reference", "middle of the front, along its axis")
    # the library writes step by step, so it does that elsewhere
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "balloon.sofa"
        sofar.write_sofa(str(made), data)
        write_file(path, made.read_bytes())
