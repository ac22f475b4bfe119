"""Scenario files: TOML in meters or feet, refused with one clear line, saved without losing a
comment or a file.
"""

import difflib
import os
import tomllib
from dataclasses import MISSING, is_dataclass
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..physics.checks import within
from .arguments import FROM_LOAD, kind_of, yes_or_no
from .balcony import Balcony
from .divider import Divider
from .fixture import Fixture
from .hall import Air, Hall, Treatment
from .loudspeakers import Group
from .measured import read_measured, same_measured, write_measured
from .measured_room import MeasuredRoom, RoomFit
from .microphones import Microphone
from .quantity import file_fields
from .reading_files import MEGABYTE, check_keys, file_text, inside, name_of, one_line
from .renamed import current_tables, current_text
from .scenario import Scenario
from .seating import Bank, FloorSeats
from .stage import PortableStage, Stage
from .targets import Targets
from .texts import short, shown
from .track import Track
from .units import from_file, to_file
from .uses import GroupSetting, Use
from .validation import check_counts
from .wiring import Equipment, Wiring
from .writing_files import write_file

# a large scenario with long comments has a tenth of it
MOST_BYTES = MEGABYTE // 4
MOST_WORDS = 1000  # characters of a refusal
# tables of the file
ONE = {
    "hall": Hall,
    "air": Air,
    "stage": Stage,
    "divider": Divider,
    "measured_room": MeasuredRoom,
    "room_fit": RoomFit,
    "targets": Targets,
    "equipment": Equipment,
}
# keys by which somebody means an outline that is no rectangle, or a roof that is no gable
IRREGULAR = (
    *("shape", "outline", "corners", "polygon", "points", "plan", "wings", "alcoves"),
    *("roof_shape", "roof_radius", "radius", "arch", "arch_height", "curve", "vault", "dome"),
)
RECTANGLE = (
    "A gym is a rectangle under a flat roof, or a gable along its length. For an L-shape give the"
    " part with the court and the seats, and the open side of the other part as a treatment"
    " 'stage opening'; for a curved roof a gable with the walls' height and a ridge that gives the"
    " same volume."
)
# arrays of tables
MANY = {
    "banks": Bank,
    "floor_seats": FloorSeats,
    "portable_stages": PortableStage,
    "balconies": Balcony,
    "tracks": Track,
    "fixtures": Fixture,
    "microphones": Microphone,
    "treatments": Treatment,
    "groups": Group,
    "uses": Use,
}


def load(path):
    """Read a scenario file.

    Parameters
    ----------
    path : str or Path
        TOML file, at most MOST_BYTES

    Returns
    -------
    scenario : Scenario
        In SI whatever the file's units; keeps the file's text so that saving keeps its comments

    Raises
    ------
    ValueError
        One line that names file, table, key, value, what is allowed and the likely slip
    """
    path = _path(path, "no scenario file. Give its path.")
    text = file_text(path, "scenario file", MOST_BYTES)
    return parse(text, name_of(path), folder=path.parent)


def parse(text, where="scenario", *, folder=None):
    """Make a scenario from the text of a file.

    Parameters
    ----------
    text : str
        TOML
    where : str
        File name for messages
    folder : str or Path, optional
        Where the files of measured loudspeakers lie that it names

    Returns
    -------
    scenario : Scenario
        As ``load`` returns it

    Raises
    ------
    ValueError
        As for ``load``
    """
    if not isinstance(text, str):
        raise ValueError(f"{where}: {short(repr(text))} is not the text of a scenario file.")
    try:
        return _parsed(text, where, folder)
    except RecursionError:
        raise ValueError(f"{where}: is not valid TOML. It is nested too deeply.") from None


def _path(path, what):
    """A path, or the refusal that it is none."""
    if not isinstance(path, str | os.PathLike):
        raise ValueError(f"path = {shown(path)} is {what}")
    try:
        return Path(path)
    except TypeError:  # one of bytes
        raise ValueError(f"path = {shown(path)} is {what}") from None


def _parsed(text, where, folder):
    """The scenario of a text, whose nesting may still be too deep."""
    tables = _tables(text, where)
    units = tables["units"]
    measured = _measured_types(tables.get("loudspeaker_files", []), where, folder)
    for key, cls in ONE.items():
        if key in tables:
            tables[key] = _one(cls, tables[key], f"{where} [{key}]", units)
    for key, cls in MANY.items():
        tables[key] = _many(cls, key, tables.get(key, []), where, units)
    beside = {"text": current_text(text), "measured_types": measured}
    return build(Scenario, tables, where, units, beside=beside)


def _tables(text, where):
    """Tables of a file in present names, with units that are known."""
    if len(text) > MOST_BYTES:
        raise ValueError(f"{where}: is larger than {MOST_BYTES // 1000} kB, so it is no scenario.")
    try:
        check_keys(text)
        tables = tomllib.loads(text)
    except ValueError as error:
        raise _refused(where, f"is not valid TOML. {error}") from None
    try:
        check_counts({k: len(v) for k, v in tables.items() if isinstance(v, list)})
    except ValueError as error:
        raise _refused(where, error) from None
    try:
        tomlkit.parse(text)  # saving will need it, to keep the comments
    except (TOMLKitError, ValueError) as error:
        raise _refused(where, f"is not valid TOML. {error}") from None
    units = tables.get("units")
    if units is None:
        raise ValueError(
            f'{where}: units is missing. Write units = "m" or units = "ft" at the top.'
        )
    try:
        to_file(1.0, "m", units)
    except ValueError as error:
        raise _refused(where, error) from None
    return current_tables(tables, where)


def _measured_types(names, where, folder):
    """The measured types that a scenario names."""
    if not isinstance(names, list) or not all(isinstance(n, str) for n in names):
        raise ValueError(f"{where}: loudspeaker_files must be a list of file names in quotes.")
    if names and folder is None:
        raise ValueError(
            f"{where}: loudspeaker_files are given, but not the folder in which they lie."
        )
    try:
        return tuple(read_measured(inside(folder, name)) for name in names)
    except ValueError as error:
        raise _refused(where, error) from None


def _one(cls, table, label, units):
    """The thing of a table that a file holds once."""
    if cls is Equipment:
        table = _with_things(table, "wiring", Wiring, label, units)
    return build(cls, table, label, units)


def _many(cls, key, entries, where, units):
    """The things of an array of tables."""
    if not isinstance(entries, list):
        raise ValueError(f"{where} [{key}]: must be a list of tables. Write [[{key}]].")
    things = []
    for number, entry in enumerate(entries, 1):
        label = f"{where} [[{key}]] {_label(entry, number)}"
        if cls is Use and isinstance(entry, dict):
            entry = _use_groups(entry, label, units)
        things.append(build(cls, entry, label, units))
    return tuple(things)


def build(cls, table, where, units, *, beside=None):
    """Make one thing from one table, refusing unknown, missing and impossible keys.

    Parameters
    ----------
    cls : type
        Thing to make
    table : dict
        Parsed table
    where : str
        File and table, for messages
    units : str
        Units of the file, "m" or "ft"
    beside : dict, optional
        Values of fields that no file holds

    Returns
    -------
    thing : cls
        In SI

    Raises
    ------
    ValueError
        One line that names file, table, key, value, what is allowed and the likely slip
    """
    if not isinstance(table, dict):
        raise _refused(where, "must be a table of keys and values.")
    known = {f.name: f for f in file_fields(cls)}
    for key in table:
        if cls is Hall and key in IRREGULAR:
            raise _refused(where, f"unknown key '{short(key)}'. {RECTANGLE}")
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            raise _refused(
                where,
                f"unknown key '{short(key)}'. "
                + (f"Did you mean '{near[0]}'?" if near else f"Known: {', '.join(known)}."),
            )
    missing = [
        k
        for k, f in known.items()
        if k not in table and f.default is MISSING and f.default_factory is MISSING
    ]
    if missing:
        raise _refused(where, f"missing {', '.join(missing)}.")
    try:
        values = {key: _value(key, value, known[key], units) for key, value in table.items()}
        return cls(**values, **(beside or {}))
    except (ValueError, TypeError) as error:
        raise _refused(where, error) from error


def _value(key, value, field, units):
    """Value of one key in SI."""
    if "unit" in field.metadata:
        return _number(key, value, field.metadata, units)
    text = field.type in (str, str | None)
    if text and not (isinstance(value, str) and value.strip()):
        raise ValueError(f"{key} = {short(repr(value))} must be text in quotes.")
    # what else a key may be, its thing checks
    if field.type in (tuple, tuple | None) and not isinstance(value, (list, tuple)):
        raise ValueError(f"{key} must be a list of names in quotes.")
    if field.type is dict and not isinstance(value, dict):
        raise ValueError(f"{key} = {short(repr(value))} must be a table of keys and values.")
    return tuple(value) if isinstance(value, list) else value


def _refused(where, what):
    """The refusal, on one line whatever a file's names are made of."""
    return ValueError(short(one_line(f"{where}: {what}"), MOST_WORDS))


def _plain_number(key, value):
    """The value as float, if it is a number and neither text nor a boolean."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f"{key} = {short(repr(value))} is not a number.")
    try:
        return float(value)
    except OverflowError:
        raise ValueError(f"{key} is a number of more than 300 digits.") from None


def _number(key, value, meta, units):
    """A number in SI, its range given in the units of the file."""
    value, unit = _plain_number(key, value), meta["unit"]
    unit_text = {"m": units, "m2": f"{units}²"}.get(unit, unit)
    low, high = (to_file(meta[end], unit, units) for end in ("low", "high"))
    hint = (
        ""
        if units == "ft" and "eet given" in meta["hint"] and "meters" not in meta["hint"].lower()
        else meta["hint"]
    )
    # a foot's last digit must not refuse the limit itself
    low, high = low - 1e-9 * abs(low), high + 1e-9 * abs(high)
    within(key, value, low, high, "" if unit == "count" else unit_text, hint)
    return min(max(from_file(value, unit, units), meta["low"]), meta["high"])


def _with_things(table, key, cls, label, units):
    """A table in which one key holds things by the name of a group."""
    if not isinstance(table, dict) or key not in table:
        return table
    if not isinstance(table[key], dict):
        raise _refused(f"{label} [{key}]", "must be a table of groups.")
    return {
        **table,
        key: {
            name: build(cls, entry, f"{label} [{key}.'{name}']", units)
            for name, entry in table[key].items()
        },
    }


def _use_groups(entry, label, units):
    entry, numbers = _with_things(entry, "groups", GroupSetting, label, units), {}
    try:
        for key in ("listens", "occupied"):
            if not isinstance(entry.get(key, {}), dict):
                raise ValueError(f"{key} must be a table of areas and numbers.")
            numbers[key] = {
                area: _plain_number(f"{key} '{area}'", v) for area, v in entry.get(key, {}).items()
            }
        if "noise_db" in entry:
            if not isinstance(entry["noise_db"], list):
                raise ValueError("noise_db must be a list of seven octave levels.")
            numbers["noise_db"] = [_plain_number("noise_db", v) for v in entry["noise_db"]]
    except ValueError as error:
        raise _refused(label, error) from None
    return {**entry, **numbers}


def _label(entry, number):
    name = entry.get("name") if isinstance(entry, dict) else None
    return f"'{short(name)}'" if isinstance(name, str) else f"number {number}"


def save(scenario, path, *, overwrite=False):
    """Write a scenario file whole or not at all; comments of the file it came from are kept.

    Files of its measured loudspeakers are written beside it where they are missing.

    Parameters
    ----------
    scenario : Scenario
        What to write, in its own units
    path : str or Path
        Where to; through a link, its target is written
    overwrite : bool
        Whether an existing file may be replaced; it hands its permissions on

    Returns
    -------
    path : Path
        The file written

    Raises
    ------
    ValueError
        No scenario or no path; a file beside it has the name of one of its loudspeaker files and
        holds another type. Nothing is written
    FileExistsError
        The file is there and ``overwrite`` was not given; it is left as it was
    OSError
        One line: no such folder, a folder or a read-only file in its place, a full disk; what was
        there is left as it was
    """
    text = to_text(scenario)
    path = _path(path, "no path. Say where the scenario file goes.")
    if not path.name or "\0" in str(path):
        raise ValueError(f"path = {shown(str(path))} is no file name. Say where the file goes.")
    if not yes_or_no("overwrite", overwrite) and os.path.lexists(path):
        write_file(path, text, overwrite=False)  # refuses before anything is written beside it
    for file, measured in _missing_files(scenario, path.parent):
        write_measured(measured, file)
    write_file(path, text, overwrite=overwrite)
    return path


def _missing_files(scenario, folder):
    """(Path, LoudspeakerType) of measured loudspeakers whose files are not in a folder yet."""
    missing = []
    if not folder.is_dir():  # writing the scenario says so
        return missing
    for name, measured in zip(scenario.loudspeaker_files, scenario.measured_types, strict=False):
        file = inside(folder, name)
        if os.path.lexists(file):
            _check_same(file, measured)
        elif os.path.lexists(file.with_suffix(".sofa")):
            raise ValueError(
                f"{name_of(file.with_suffix('.sofa'))} is there, but no {name_of(file)}: the"
                f" balloon of '{measured.name}' would replace it. Save into another folder."
            )
        else:
            missing.append((file, measured))
    return missing


def _check_same(file, measured):
    """Refuse a loudspeaker file that is there when it does not give the type that is meant."""
    try:
        there = read_measured(file)
    except ValueError as error:
        raise _refused("the loudspeaker file that is there cannot be read", error) from None
    if not same_measured(there, measured):
        raise ValueError(
            f"{name_of(file)}: the loudspeaker file that is there does not hold '{measured.name}'"
            " as this scenario has it. Save into another folder, or load the scenario again."
        )


def to_text(scenario):
    """Text of the scenario's file.

    Parameters
    ----------
    scenario : Scenario
        What to write

    Returns
    -------
    text : str
        TOML, with the comments and the order of the file it came from

    Raises
    ------
    ValueError
        It is no scenario
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    document = tomlkit.parse(scenario.text) if scenario.text else tomlkit.document()
    _write(document, scenario, scenario.units)
    return tomlkit.dumps(document)


def _write(table, thing, units):
    """Bring a tomlkit table up to date with a thing, touching only what changed."""
    known = {f.name: f for f in file_fields(thing)}
    for key in [k for k in table if k not in known]:
        del table[key]
    for key, f in known.items():
        value = getattr(thing, key)
        default = f.default_factory() if f.default_factory is not MISSING else f.default
        if value is None or (key not in table and value == default) or value == ():
            table.pop(key, None)
        elif is_dataclass(value):
            _write(table.setdefault(key, tomlkit.table()), value, units)
        elif isinstance(value, tuple) and is_dataclass(value[0]):
            old = table.get(key, [])
            if [t.get("name") for t in old] == [getattr(v, "name", None) for v in value]:
                for t, v in zip(old, value, strict=True):
                    _write(t, v, units)
            else:
                table[key] = _written_list(old, value, units)
        elif isinstance(value, dict) and any(is_dataclass(v) for v in value.values()):
            rows = table.setdefault(key, tomlkit.table())
            for name in [n for n in rows if n not in value]:
                del rows[name]
            for name, v in value.items():
                _write(rows.setdefault(name, tomlkit.inline_table()), v, units)
        else:
            value = _plain(value, f.metadata.get("unit"), units)
            if key not in table or not _same(table[key], value):
                table[key] = value


def _written_list(old, things, units):
    """Array of tables in the order of the things, each table that was there kept with
    its comments.
    """
    by_name = {entry.get("name", number): entry for number, entry in enumerate(old)}
    made = tomlkit.aot()
    for number, thing in enumerate(things):
        table = by_name.get(getattr(thing, "name", number), tomlkit.table())
        _write(table, thing, units)
        made.append(table)
    return made


def _plain(value, unit, units):
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, dict):
        long = any(isinstance(v, tuple) for v in value.values())  # a line for each of them
        # else it stays on its line, with the line's comment
        row = tomlkit.table() if long else tomlkit.inline_table()
        row.update({k: list(v) if isinstance(v, tuple) else v for k, v in value.items()})
        return row
    value = to_file(value, unit, units) if unit else value
    # 29.2608, not 29.260800000000003
    value = float(f"{value:.10g}") if isinstance(value, float) else value
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _same(old, new):
    def number(v):
        return isinstance(v, (int, float)) and not isinstance(v, bool)

    if number(old) and number(new):
        return abs(old - new) <= 1e-9 * max(1.0, abs(old), abs(new))
    return old == new
