"""What a workbook's parameters cell may hold; anything else is refused in one line, before any cell
works with it.
"""

import datetime
from numbers import Real
from pathlib import Path

from ..acoustics.criteria import CRITERIA
from ..acoustics.evaluate import ROOMS
from ..commissioning.plan import FORMS
from ..design.arrangements import ARRANGEMENTS
from ..design.decision import option_names
from ..physics.checks import whole, within
from ..training.lessons.data_sheet import RATINGS
from ..venue.arguments import names_of, one_of
from ..venue.files import load
from ..venue.finishes import FINISHES
from ..venue.paths import changed, check_changes
from ..venue.texts import check_text, short, shown
from .documents.record import READERS
from .tables.halls import HALLS_SHOWN

RANGES = {  # lowest, highest, unit
    "front_m": (0.5, 100, "m"),
    "back_m": (0.5, 200, "m"),
    "level_1m_db": (40, 140, "dB"),
    "temperature_c": (-20, 50, "°C"),
    "humidity_pct": (1, 100, "%"),
    "height_m": (2, 15, "m"),
    "even_db": (1, 30, "dB"),
    "downtilt_deg": (-30, 90, "°"),
    "hung_deg": (-30, 90, "°"),
    "onto_people_pct": (1, 100, "%"),
    "panels_m2": (1, 2000, "m²"),
    "area_m2": (0, 2000, "m²"),
    "target_s": (0.2, 15, "s"),
    "on_roof_pct": (0, 100, "%"),
    "crowd_dba": (10, 110, "dB(A)"),
    "pause_dba": (10, 110, "dB(A)"),
    "more_db": (0.5, 30, "dB"),
    "start_dba": (40, 120, "dB(A)"),
    "lead_ms": (0, 200, "ms"),
    "late_ms": (0.5, 200, "ms"),
    "delay_ms": (0, 200, "ms"),
    "farther_m": (0.01, 20, "m"),
    "far_m": (0.01, 3, "m"),
    "near_m": (0.01, 3, "m"),
    "margin_db": (-30, 40, "dB"),
    "gain_db": (-60, 20, "dB"),
    "alike_db": (0.1, 30, "dB"),
    "level_db": (40, 130, "dB"),
    "headroom_db": (0, 24, "dB"),
    "line_volts": (20, 250, "V"),
    "tap_w": (0.1, 1000, "W"),
    "awg": (4, 30, ""),
    "loss_db": (0.01, 6, "dB"),
    "safe_pct": (50, 92, "%"),
    "lost_db": (0.5, 40, "dB"),
    "times": (1.5, 1000, ""),
    "adds_db": (0.2, 2.8, "dB"),
    "within_db": (0.1, 6, "dB"),
    "scatter_db": (0.01, 10, "dB"),
    "sensitivity_db": (60, 130, "dB"),
    "rating_w": (1, 10_000, "W"),
    "distance_m": (1, 100, "m"),
    "ohm": (1, 100, "ohms"),
    "angle_deg": (30, 120, "°"),
    "hold_hz": (150, 3000, "Hz"),
    "sloping_m": (1, 60, "m"),
    "level_m": (0.1, 50, "m"),
    "held_m": (0, 3, "m"),
    "with_db": (0, 130, "dB"),
    "without_db": (0, 130, "dB"),
    "time_s": (0.3, 10, "s"),
    "scatter_pct": (2, 10, "%"),
}
COUNTS = {
    "loudspeakers": (2, 64),
    "open_mics": (2, 32),
    "draws": (20, 5000),
    "seed": (0, 2**32 - 1),
    "evaluations": (1, 1_000_000),
}
BELOW = (("level_m", "sloping_m", "shorter than"), ("without_db", "with_db", "below"))
MAY_BE_NONE = ("roof", "target_s")
MAY_BE_EMPTY = (
    "units",
    "folder",
    "progress_file",
    "export_to",
    "my_file",
    "readings",
    "waves",
    "name",
    "copied_from",
    "reason",
    "prepared_for",
    "date",
    "where",
)
UNITS = ("m", "ft")
CHOICES = {
    "units": UNITS,
    "reader": READERS,
    "room": ROOMS,
    "arrangement": tuple(ARRANGEMENTS),
    "criterion": tuple(CRITERIA),
    "roof": tuple(FINISHES),
    "halls": HALLS_SHOWN,
    "form": FORMS,
    "kind": tuple(RATINGS),
}
TEXTS = (
    "readings",
    "waves",
    "where",
    "attempts_file",
    "progress_file",
    "export_to",
    "my_file",
    "name",
    "reason",
    "prepared_for",
)
SCHOOLS = ("scenario", "brief")
MOST_WORDS = 300  # characters of a refusal


def checked(**given):
    """Refuse parameters that no cell can work with.

    Parameters
    ----------
    given : any
        The parameters by their names; "scenario" or "brief" is the path of a school's file, which
        says what uses, groups, areas and microphones there are

    Raises
    ------
    ValueError
        One of them is missing, of another kind, unknown or outside its range; the school's file
        cannot be read
    """
    try:
        schools = [_school(name, given[name]) for name in SCHOOLS if name in given]
        for name, value in given.items():
            if name not in SCHOOLS:
                _check(name, value, schools[0] if schools else None, given)
        if "against" in given:
            option_names((given["scenario"], *given["against"]), given.get("arrangements", ()))
        if "front_m" in given and not given["front_m"] < given["back_m"]:
            raise ValueError(
                f"back_m = {given['back_m']:g} m is not behind front_m = {given['front_m']:g} m."
                " Exchanged by mistake?"
            )
        if "near_m" in given and not given["near_m"] < given["far_m"]:
            raise ValueError(
                f"near_m = {given['near_m']:g} m is not nearer than far_m = {given['far_m']:g} m."
                " Exchanged by mistake?"
            )
        for less, more, what in BELOW:
            if more in given and not given[less] < given[more]:
                raise ValueError(
                    f"{less} = {given[less]:g} is not {what} {more} = {given[more]:g}. Exchanged by"
                    " mistake?"
                )
    except (ValueError, OSError) as error:
        why = error.strerror if isinstance(error, OSError) else None
        said = f"{short(error.filename)}: {why}" if why else " ".join(str(error).split())
        raise ValueError(f"In the parameters cell: {short(said, MOST_WORDS)}") from None


def _school(name, path):
    """The school of a file."""
    if not isinstance(path, str | Path) or not str(path).strip():
        raise ValueError(f"{name} = {shown(path)} is no path. Give that of a scenario file (TOML).")
    return load(path)


def _check(name, value, school, given):
    if (value is None and name in MAY_BE_NONE) or (value == "" and name in MAY_BE_EMPTY):
        if name != "units" or "reader" in given:  # a lesson needs its units
            return
    if name in RANGES:
        low, high, unit = RANGES[name]
        if not isinstance(value, Real) or isinstance(value, bool):
            raise ValueError(
                f"{name} = {shown(value)} is not a number. Give {low:g} to {high:g} {unit}".rstrip()
                + "."
            )
        within(name, value, low, high, unit)
    elif name in COUNTS:
        whole(name, value, *COUNTS[name])
    elif name in CHOICES:
        one_of(name, value, CHOICES[name])
    elif name == "folder":
        if not isinstance(value, str | Path) or not Path(value).is_dir():
            raise ValueError(f"folder = {shown(value)} is no folder. Make it first.")
    elif name in TEXTS:
        if not isinstance(value, str) or not value.strip():
            raise ValueError(f"{name} = {shown(value)} is no text. Give a name in quotes.")
        check_text(name, value)
    elif name == "date":
        _day(name, value)
    elif name == "copied_from":
        try:
            _school(name, value)
        except (ValueError, OSError) as error:
            raise ValueError(f"{name}: {' '.join(str(error).split())}") from error
    elif name == "arrangements":
        names_of(name, value, ARRANGEMENTS)
    elif name == "against":
        _files(name, value)
    elif name == "files":
        _names_of_files(name, value)
    elif name == "begin_with":
        _changes(name, value, school)
    else:
        _of_school(name, value, school, given)


def _changes(name, value, school):
    if not isinstance(value, dict):
        raise ValueError(f"{name} = {shown(value)} is no dict. Give {{}} for no changes.")
    check_changes(name, value)
    if school is not None:
        changed(school, value)


def _day(name, value):
    try:
        datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError(f'{name} = {shown(value)} is no day. Write "2026-11-25".') from None


def _files(name, value):
    if not isinstance(value, list | tuple):
        raise ValueError(f"{name} = {shown(value)} is no list. Give paths in brackets, or [].")
    for path in value:
        _school(name, path)


def _names_of_files(name, value):
    """Names of files that need not be there yet."""
    if not isinstance(value, list | tuple):
        raise ValueError(f"{name} = {shown(value)} is no list. Give paths in brackets, or [].")
    for path in value:
        if not isinstance(path, str | Path) or not str(path).strip():
            raise ValueError(f"{name}: {shown(path)} is no path.")


def _of_school(name, value, school, given):
    """A name of something in the school."""
    uses = [u.name for u in school.uses]
    known = {
        "use": lambda: uses,
        "uses": lambda: uses,
        "group": lambda: [g.name for g in school.groups],
        "lead": lambda: [g.name for g in school.groups],
        "bank": lambda: school.configuration(one_of("use", given["use"], uses)).areas,
        "microphone": lambda: [m.name for m in school.microphones],
        "tag": lambda: [one.tag for one in school.loudspeakers],
    }[name]()
    (names_of if name == "uses" else one_of)(name, value, known)
