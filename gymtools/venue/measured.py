"""Measured loudspeakers: AES69 (SOFA) balloons and plain polars, described by a small TOML file
beside them.
"""

import csv
import hashlib
import tomllib
from pathlib import Path

import numpy as np

from ..physics import balloons, gridding
from ..physics.bands import COVERAGE, NOMINAL, to_energy, to_level
from ..physics.directivity import AZIMUTH_DEG, ELEVATION_DEG
from .loudspeakers import LoudspeakerType, loudspeaker_types

CONVENTION = "FreeFieldDirectivityTF"
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


def read_measured(path):
    """A loudspeaker type from its description file and the balloon that this names.

    Parameters
    ----------
    path : str or Path
        TOML with the keys of ``KEYS``, in meters, kilograms, watts and decibels; ``balloon`` is a
        .sofa or .csv file beside it [-]

    Returns
    -------
    type : LoudspeakerType
        Marked as measured; a scenario holds it in ``measured_types``

    Raises
    ------
    ValueError
        One line that names the file and what is wrong with it
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ValueError(f"{path.name}: there is no such loudspeaker file.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ValueError(f"{path.name}: is not valid TOML. {error}") from None
    unknown, missing = [k for k in table if k not in KEYS], [k for k in KEYS if k not in table]
    if unknown or missing:
        raise ValueError(
            f"{path.name}: "
            + (
                f"unknown key '{unknown[0]}'. Known: {', '.join(KEYS)}."
                if unknown
                else f"missing {', '.join(missing)}."
            )
        )
    if table["name"] in loudspeaker_types():
        raise ValueError(
            f"{path.name}: another loudspeaker type is called '{table['name']}'. Give it another"
            " name."
        )
    file = path.parent / str(table.pop("balloon"))
    readers = {".sofa": read_sofa, ".csv": read_polars}
    if file.suffix.lower() not in readers:
        raise ValueError(
            f"{path.name}: balloon = '{file.name}' is neither a .sofa nor a .csv file."
        )
    balloon = readers[file.suffix.lower()](file)
    sensitivity = table.pop("sensitivity_db")
    if (
        not isinstance(sensitivity, list)
        or len(sensitivity) != len(NOMINAL)
        or not all(isinstance(v, int | float) and 40 <= v <= 130 for v in sensitivity)
    ):
        raise ValueError(
            f"{path.name}: sensitivity_db must be seven levels at 1 m for 1 W, 40 to 130 dB, one"
            " for each octave 125 Hz to 8 kHz."
        )
    horizontal, vertical = (
        float(np.clip(a[COVERAGE].mean(), 5, 180)) for a in balloons.edge_angles(balloon)
    )
    try:
        return LoudspeakerType(
            horizontal_deg=horizontal,
            vertical_deg=vertical,
            mouth_width=table["width"],
            mouth_height=table["height"],
            lobes=1,
            lobe_tilt_deg=0.0,
            sensitivity_db=tuple(map(float, sensitivity)),
            measured_db=balloon,
            fingerprint=hashlib.sha256(np.ascontiguousarray(balloon).tobytes()).hexdigest()[:16],
            **table,
        )
    except (ValueError, TypeError) as error:
        raise ValueError(f"{path.name}: {error}") from error


def read_sofa(path):
    """A balloon from an AES69 file.

    Parameters
    ----------
    path : str or Path
        Convention FreeFieldDirectivityTF, any directions and frequencies [-]

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]

    Sources
    -------
    AES69-2022 (SOFA 2.1): SourceUp is in the coordinates of SourceView where it has none of its
    own; the first of several measurements is taken.
    """
    import sofar  # slow to load, and seldom needed

    path = Path(path)
    if not path.is_file():
        raise ValueError(f"{path.name}: there is no such file.")
    try:
        data = sofar.read_sofa(str(path), verify=False, verbose=False)
        convention = str(data.GLOBAL_SOFAConventions)
    except (
        Exception
    ) as error:  # the library and the format below it raise anything on a damaged file
        raise ValueError(
            f"{path.name}: cannot be read as an AES69 (SOFA) file. Damaged, or cut short?"
            f" ({type(error).__name__})"
        ) from None
    if convention != CONVENTION:
        raise ValueError(
            f"{path.name}: holds the convention {convention}, not {CONVENTION}: it is no"
            " loudspeaker's directivity."
        )
    try:
        # (direction, frequency)
        energy = (
            np.abs(np.asarray(data.Data_Real, float)[0] + 1j * np.asarray(data.Data_Imag, float)[0])
            ** 2
        )
        frequency = np.asarray(data.N, float).ravel()
        vectors = _vectors(
            np.asarray(data.ReceiverPosition, float).reshape(len(energy), 3),
            str(data.ReceiverPosition_Type),
        )
        kind = str(data.SourceView_Type)
        view, up = (
            _vectors(np.asarray(v, float).reshape(-1, 3)[:1], t)[0]
            for v, t in (
                (data.SourceView, kind),
                (data.SourceUp, str(getattr(data, "SourceUp_Type", kind))),
            )
        )
        frame = _frame(view, up)
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
        return gridding.on_grid(
            vectors @ frame.T,
            to_level(np.maximum(gridding.octave_energy(energy, frequency), 1e-30)),
        )
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None


def _vectors(position, kind):
    """Directions from positions as the file has them."""
    if kind not in ("cartesian", "spherical"):
        raise ValueError(f"coordinates of type '{kind}' are neither cartesian nor spherical")
    if kind == "cartesian":
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
    """Front, left and up of the loudspeaker as rows."""
    front = view / np.linalg.norm(view)
    left = np.cross(up, front)
    if not np.linalg.norm(left) > 1e-6:
        raise ValueError("SourceView and SourceUp point the same way")
    left /= np.linalg.norm(left)
    return np.stack([front, left, np.cross(front, left)])


def write_sofa(kind, path, *, date="2000-01-01 00:00:00"):
    """Write a type's balloon as an AES69 file.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type [-]
    path : str or Path
        Where to [-]
    date : str
        Written into it [-]
    """
    import sofar  # slow to load, and seldom needed

    data = sofar.Sofa(CONVENTION)
    for name in (
        "EmitterDescriptions",
        "Description",
    ):  # optional texts that the library cannot write with every version of netCDF4
        if hasattr(data, name):
            data.delete(name)
    a, e = np.meshgrid(AZIMUTH_DEG, ELEVATION_DEG, indexing="ij")
    magnitude = 10 ** (kind.balloon_db.reshape(-1, len(NOMINAL)) / 20)
    data.ReceiverPosition = np.stack([a.ravel(), e.ravel(), np.ones(a.size)], axis=1)
    data.Data_Real, data.Data_Imag = magnitude[None], np.zeros_like(magnitude)[None]
    data.N = np.array(NOMINAL, float)
    data.GLOBAL_Title, data.GLOBAL_SourceType, data.GLOBAL_SourceManufacturer = (
        kind.name,
        kind.description,
        "generic" if kind.measured_db is None else kind.source,
    )
    data.GLOBAL_AuthorContact = data.GLOBAL_Organization = data.GLOBAL_License = (
        data.GLOBAL_DatabaseName
    ) = "gymtools"
    data.GLOBAL_DateCreated = data.GLOBAL_DateModified = date
    for name in ("SourcePosition", "SourceView", "SourceUp"):
        setattr(data, f"{name}_Reference", "middle of the front, along its axis")
    sofar.write_sofa(str(path), data)


def read_polars(path):
    """A balloon from a table of polars.

    Parameters
    ----------
    path : str or Path
        CSV: ``plane`` ("horizontal" or "vertical"), ``angle_deg`` (positive left or up), then a
        column a frequency in Hz with levels in dB, absolute or re the axis [-]

    Returns
    -------
    balloon_db : ndarray
        Level re the axis (azimuth, elevation, band) [dB]
    """
    path = Path(path)
    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except FileNotFoundError:
        raise ValueError(f"{path.name}: there is no such file.") from None
    except UnicodeDecodeError:
        raise ValueError(f"{path.name}: is not UTF-8 text. Save it as CSV in UTF-8.") from None
    head = [h.strip() for h in rows[0]] if rows else []
    try:
        frequency = np.array([float(h) for h in head[2:]])
    except ValueError:
        frequency = np.array([])
    if (
        head[:2] != ["plane", "angle_deg"]
        or not len(frequency)
        or not (np.diff(frequency) > 0).all()
    ):
        raise ValueError(
            f"{path.name}: the first line must be plane,angle_deg and then rising frequencies in"
            " Hz, e.g. plane,angle_deg,125,250,500,1000,2000,4000,8000."
        )
    found = {"horizontal": [], "vertical": []}
    for number, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        plane = row[0].strip()
        if plane not in found:
            raise ValueError(
                f"{path.name}, line {number}: plane = '{plane}' is neither horizontal nor vertical."
            )
        try:
            values = [float(v) for v in row[1:]]
        except ValueError:
            values = []
        if (
            len(values) != 1 + len(frequency)
            or not np.isfinite(values).all()
            or not -180 <= values[0] <= 180
        ):
            raise ValueError(
                f"{path.name}, line {number}: needs an angle from -180 to 180 and {len(frequency)}"
                " levels."
            )
        found[plane].append(values)
    for plane, values in found.items():
        if len(values) < 3:
            raise ValueError(
                f"{path.name}: has {len(values)} {plane} angles. Give the polar all round."
            )
    polars = []
    for values in found.values():
        values = np.array(values)
        polars += [
            values[:, 0],
            to_level(gridding.octave_energy(to_energy(values[:, 1:]), frequency)),
        ]
    try:
        return gridding.from_polars(*polars)
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None
