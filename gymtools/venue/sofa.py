"""Balloons in AES69 (SOFA) files."""

import tempfile
from pathlib import Path

import numpy as np

from ..physics import gridding
from ..physics.bands import NOMINAL, to_level
from ..physics.directivity import AZIMUTH_DEG, ELEVATION_DEG
from .writing_files import write_file

CONVENTION = "FreeFieldDirectivityTF"
COORDINATES = ("cartesian", "spherical")


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
        One line that names the file and what it lacks

    Sources
    -------
    AES69-2022 (SOFA 2.1): SourceUp is in the coordinates of SourceView where it has none of its
    own; the first of several measurements is taken.
    """
    path = Path(path)
    data = _opened(path)
    try:
        energy, frequency, vectors = _contents(data)
    except (AttributeError, ValueError, IndexError) as error:
        raise ValueError(f"{path.name}: lacks what {CONVENTION} must hold. ({error})") from None
    if energy.shape[1:] != frequency.shape or not (
        np.isfinite(energy).all() and (frequency > 0).all() and (np.diff(frequency) > 0).all()
    ):
        raise ValueError(f"{path.name}: its frequencies do not fit its data, or data are missing.")
    if frequency[-1] < NOMINAL[0] or frequency[0] > NOMINAL[-1]:
        raise ValueError(
            f"{path.name}: its frequencies reach from {frequency[0]:g} to {frequency[-1]:g} Hz."
            " Kilohertz given by mistake?"
        )
    try:
        octaves = gridding.octave_energy(energy, frequency)  # (direction, band)
        return gridding.on_grid(vectors, to_level(np.maximum(octaves, 1e-30)))
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None


def _opened(path):
    """Data of a file that is there, whole, and of a loudspeaker."""
    import sofar  # slow to load, and seldom needed

    if not path.is_file():
        raise ValueError(f"{path.name}: there is no such file.")
    try:
        data = sofar.read_sofa(str(path), verify=False, verbose=False)
        convention = str(data.GLOBAL_SOFAConventions)
    except Exception as error:  # the library and the format below it raise anything when damaged
        raise ValueError(
            f"{path.name}: cannot be read as an AES69 (SOFA) file. Damaged, or cut short?"
            f" ({type(error).__name__})"
        ) from None
    if convention != CONVENTION:
        raise ValueError(
            f"{path.name}: holds the convention {convention}, not {CONVENTION}: it is no"
            " loudspeaker's directivity."
        )
    return data


def _contents(data):
    """Energy (direction, frequency), frequency (frequency,) and directions (direction, 3) in the
    loudspeaker's frame.
    """
    pressure = np.asarray(data.Data_Real, float)[0] + 1j * np.asarray(data.Data_Imag, float)[0]
    energy, frequency = np.abs(pressure) ** 2, np.asarray(data.N, float).ravel()
    vectors = _vectors(
        np.asarray(data.ReceiverPosition, float).reshape(len(energy), 3),
        str(data.ReceiverPosition_Type),
    )
    of_view = str(data.SourceView_Type)
    of_up = str(getattr(data, "SourceUp_Type", of_view))
    view = _vectors(np.asarray(data.SourceView, float).reshape(-1, 3)[:1], of_view)[0]
    up = _vectors(np.asarray(data.SourceUp, float).reshape(-1, 3)[:1], of_up)[0]
    return energy, frequency, vectors @ _frame(view, up).T


def _vectors(position, coordinates):
    """Directions (direction, 3) from positions as the file has them."""
    if coordinates not in COORDINATES:
        raise ValueError(f"coordinates of type '{coordinates}' are neither cartesian nor spherical")
    if coordinates == "cartesian":
        return position
    azimuth, elevation = np.radians(position[:, 0]), np.radians(position[:, 1])
    return np.stack(
        [
            np.cos(elevation) * np.cos(azimuth),
            np.cos(elevation) * np.sin(azimuth),
            np.sin(elevation),
        ],
        axis=1,
    )


def _frame(view, up):
    """Front, left and up of the loudspeaker as rows (3, 3)."""
    front = view / np.linalg.norm(view)
    left = np.cross(up, front)
    if not np.linalg.norm(left) > 1e-6:
        raise ValueError("SourceView and SourceUp point the same way")
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
