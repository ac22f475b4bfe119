"""Scenario files: TOML in meters or feet, refused with one clear line, saved without losing a
comment or a file.
"""

import difflib
import os
import tomllib
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..physics.checks import within
from .arguments import FROM_LOAD, kind_of, yes_or_no
from .assumptions import check_assumed
from .balcony import Balcony
from .court import SideCourt, court
from .divider import Divider
from .faults import Fault
from .fixture import Fixture
from .hall import SIDES, Air, Hall, Treatment
from .loudspeakers import Group
from .measured import read_measured, same_measured, write_measured
from .measured_room import MeasuredRoom, RoomFit
from .microphones import Microphone
from .quantity import file_fields
from .reading_files import MEGABYTE, check_keys, file_text, inside, name_of, one_line
from .refusals import FileRefusal, UnknownName, collect, lines_of
from .renamed import current_tables, current_text, warn_outside
from .scenario import Scenario
from .seating import Bank, FloorSeats
from .stage import PortableStage, Stage
from .targets import Targets
from .texts import short, shown
from .track import Track
from .units import from_file, to_file
from .uses import GroupSetting, Use
from .validation import check_counts, faults_of_a_part, fit_faults, unknown_names
from .wiring import Equipment, Wiring
from .writing_files import write_file

# a large scenario with long comments has a tenth of it
MOST_BYTES = MEGABYTE // 4
MOST_WORDS = 1000  # characters of a line of a refusal
MOST_FAULTS = 40  # lines of a refusal
SMALLEST_COURT = "volleyball"  # stands for one that is unknown, while the rest is looked at
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
    "side_courts": SideCourt,
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
    FileRefusal
        A ValueError with all that is wrong, a line each that names file, table, key, value, what is
        allowed and the likely slip; ``faults`` is the list of these lines
    """
    path = _path(path, "no scenario file. Give its path.")
    try:
        text = file_text(path, "scenario file", MOST_BYTES)
    except ValueError as error:
        raise FileRefusal(str(error)) from error
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
    FileRefusal
        As for ``load``
    """
    if not isinstance(text, str):
        raise FileRefusal(f"{where}: {short(repr(text))} is not the text of a scenario file.")
    try:
        return _parsed(text, where, folder)
    except RecursionError:
        raise FileRefusal(f"{where}: is not valid TOML. It is nested too deeply.") from None
    except ValueError as error:
        raise FileRefusal(*lines_of(error)) from error


def draft(text, where="draft", *, use=None):
    """A gym of a file that is still being written, which may have no loudspeakers and no uses yet.

    Parameters
    ----------
    text : str
        TOML
    where : str
        File name for messages
    use : str, optional
        Use whose seats and stages stand; when left out or not there, banks stand as the file has
        them, with all chairs and stages

    Returns
    -------
    configuration : HallConfiguration or None
        What can be drawn and counted: whatever is sound; None without a hall
    faults : list of Fault
        Everything that is wrong, with the name of the thing (of the table, where it has none)
    """
    try:
        tables = _tables(text, where)
    except RecursionError:
        return None, [Fault("", f"{where}: is not valid TOML. It is nested too deeply.")]
    except ValueError as error:
        return None, [Fault("", line) for line in lines_of(error)]
    things = {"measured_types": ()}
    found = [Fault(key, _no_list(where, key)) for key in MANY if not _is_list(tables, key)]
    for name, key, cls, label, entry in _entries(tables, where):
        own = []
        thing = (
            _entry(cls, entry, label, tables["units"], own)
            if key in MANY
            else _one(cls, entry, label, tables["units"], own)
        )
        things[key] = (*things.get(key, ()), thing) if key in MANY else thing
        found += [Fault(name, line) for line in own]
    top = []
    made = _draft(tables, things, top)
    keys = [f for f in _key_faults(Scenario, tables, where) if ": missing " not in f]
    found += [Fault("", line) for line in [*keys, *(_one_line(where, fault) for fault in top)]]
    if made.hall is None:
        return None, found
    known = next((u for u in made.uses or () if u.name == use), None)
    there = made.configuration_of(known)
    beside = dict(tracks=made.tracks, divider=made.divider)
    return there, [*found, *fit_faults(there, tables["units"], **beside)]


def _entries(tables, where):
    """(name, key, class, label, table) of everything that a file holds, one by one."""
    for key, cls in ONE.items():
        if key in tables:
            yield key, key, cls, f"{where} [{key}]", tables[key]
    for key, cls in MANY.items():
        entries = tables.get(key, [])
        for number, entry in enumerate(entries if isinstance(entries, list) else [], 1):
            label = _label(entry, number)
            yield label.strip("'"), key, cls, f"{where} [[{key}]] {label}", entry


def _path(path, what):
    """A path, or the refusal that it is none."""
    if not isinstance(path, str | os.PathLike):
        raise ValueError(f"path = {shown(path)} is {what}")
    try:
        return Path(path)
    except TypeError:  # one of bytes
        raise ValueError(f"path = {shown(path)} is {what}") from None


def _parsed(text, where, folder):
    """The scenario of a text, whose nesting may still be too deep; everything that is wrong with it
    is refused at once.
    """
    tables = _tables(text, where)
    units, things, faults = tables["units"], dict(tables), []
    measured = _measured_types(tables.get("loudspeaker_files", []), where, folder, faults)
    for key, cls in ONE.items():
        if key in tables:
            things[key] = _one(cls, tables[key], f"{where} [{key}]", units, faults)
    for key, cls in MANY.items():
        things[key] = _many(cls, key, tables.get(key, []), (where, units), faults)
    made = [thing for key in MANY for thing in things[key]] + [things.get(k, True) for k in ONE]
    if measured is None or any(thing is None for thing in made):
        # without what is refused no scenario can be made, but the rest of it can be looked at
        groups = () if measured is None else things["groups"]  # their types are unknown
        rest = things | {"measured_types": measured or (), "groups": groups}
        _look_at_the_rest(tables, rest, where, faults)
        scenario = None
    else:
        beside = {"text": current_text(text), "measured_types": measured}
        scenario = build(Scenario, things, where, units, beside=beside, faults=faults)
        if scenario is not None:
            own = []
            collect(own, check_assumed, scenario)
            faults += [_one_line(where, line) for line in own]
    if faults:
        raise FileRefusal(*_most(faults))
    return scenario


def _look_at_the_rest(tables, things, where, faults):
    """Note what else is wrong in a file some of whose things are refused: keys, names, and what of
    the others does not fit.
    """
    top = []
    faults += _key_faults(Scenario, tables, where)
    draft = _draft(tables, things, top)
    faults += [_one_line(where, line) for line in top]
    faults += [_one_line(where, line) for line in _names_missing(tables, things)]
    faults += [_one_line(where, line) for line in faults_of_a_part(draft)]


def _draft(tables, things, faults):
    """A scenario of the things that could be made, unchecked. What is wrong with keys of no table
    is noted.
    """
    draft = object.__new__(Scenario)
    for f in fields(Scenario):
        value = None if f.default is MISSING else f.default
        if f.default_factory is not MISSING:
            value = f.default_factory()
        if f.name in (*ONE, *MANY, "measured_types"):
            value = things.get(f.name, value)
            value = tuple(t for t in value or () if t is not None) if f.name in MANY else value
        elif f.name in tables:
            try:
                value = _value(f.name, tables[f.name], f, tables["units"])
            except (ValueError, TypeError) as error:
                faults.append(error)
        object.__setattr__(draft, f.name, value)
    object.__setattr__(draft, "court", _understood_court(draft.court, faults))
    return draft


def _understood_court(level, faults):
    """A court that there is: the one that is named or meant, else a stand-in."""
    try:
        return court(level).level
    except ValueError as error:
        meant = getattr(error, "meant", ())
        if len(meant) == 1:
            return meant[0]
        if level is not None:  # else it is missing, or refused before
            faults.append(error)
        return SMALLEST_COURT


def _most(faults):
    """Lines of a refusal, at most MOST_FAULTS."""
    faults = list(dict.fromkeys(faults))
    more = len(faults) - MOST_FAULTS
    return [*faults[:MOST_FAULTS], f"... and {more} more."] if more > 0 else faults


def _names_missing(tables, things):
    """Names that uses refer to and that no table of a file has, even one that is refused."""

    def named(*keys):
        """Names in some lists; None where one of them has no name that can be read."""
        entries = [tables.get(key, []) for key in keys]
        if not all(isinstance(e, list) for e in entries):
            return None
        found = [e.get("name") if isinstance(e, dict) else None for row in entries for e in row]
        return (
            found
            if all(isinstance(n, str) and n.strip() and n == one_line(n) for n in found)
            else None
        )

    names = dict.fromkeys(("closed", "pulled_out"), named("banks"))
    names |= {key: named(key) for key in ("groups", "microphones")}
    names["set_up"] = named("floor_seats", "portable_stages", "fixtures")
    names["beside"] = named("uses")
    areas, tracks = named("banks", "floor_seats", "balconies", "side_courts"), named("tracks")
    known = areas is not None and tracks is not None
    # also sides that a track or a divider may have, which others do not
    halves = [f"court {side}" for side in SIDES if "divider" in tables]
    sides = [f"{track} {side}" for track in tracks or () for side in SIDES]
    heard = [*areas, *sides, "court", *halves] if known else None
    names |= dict.fromkeys(("listens", "occupied"), heard)
    equipment = things.get("equipment")
    wiring = equipment.wiring if isinstance(equipment, Equipment) else ()
    return unknown_names([use for use in things["uses"] if use], names, wiring)


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


def _measured_types(names, where, folder, faults):
    """The measured types that a scenario names; None where one of them cannot be had."""
    if not isinstance(names, list) or not all(isinstance(n, str) for n in names):
        faults.append(f"{where}: loudspeaker_files must be a list of file names in quotes.")
        return None
    if names and folder is None:
        faults.append(
            f"{where}: loudspeaker_files are given, but not the folder in which they lie."
        )
        return None
    found = []
    for name in names:
        try:
            found.append(read_measured(inside(folder, name)))
        except ValueError as error:
            faults.append(_one_line(where, error))
    return tuple(found) if len(found) == len(names) else None


def _one(cls, table, label, units, faults):
    """The thing of a table that a file holds once."""
    if cls is Equipment:
        table = _with_things(table, "wiring", Wiring, (label, units), faults)
    return build(cls, table, label, units, faults=faults)


def _many(cls, key, entries, where, faults):
    """The things of an array of tables; ``where`` is the file and its units."""
    file, units = where
    if not isinstance(entries, list):
        faults.append(_no_list(file, key))
        return (None,)
    labeled = [(f"{file} [[{key}]] {_label(e, n)}", e) for n, e in enumerate(entries, 1)]
    return tuple(_entry(cls, entry, label, units, faults) for label, entry in labeled)


def _is_list(tables, key):
    """Whether a key holds a list of tables, or is not there."""
    return isinstance(tables.get(key, []), list)


def _no_list(where, key):
    """What is said of a table that must be one of several."""
    return f"{where} [{key}]: must be a list of tables. Write [[{key}]]."


def _entry(cls, entry, label, units, faults):
    """The thing of one table of an array."""
    if cls is Use and isinstance(entry, dict):
        entry = _use_groups(entry, label, units, faults)
    return build(cls, entry, label, units, faults=faults)


def build(cls, table, where, units, *, beside=None, faults=None):
    """Make one thing from one table, refusing unknown, missing and impossible keys.

    Parameters
    ----------
    cls : type
        Thing to make
    table : dict
        Parsed table; None where it was refused before
    where : str
        File and table, for messages
    units : str
        Units of the file, "m" or "ft"
    beside : dict, optional
        Values of fields that no file holds
    faults : list of str, optional
        Where to note what is wrong, in place of an error

    Returns
    -------
    thing : cls or None
        In SI; None where it cannot be made. With ``faults``, a thing of which only names are wrong
        is made with others in their place, so that the rest of it can be looked at

    Raises
    ------
    FileRefusal
        A ValueError with a line for everything that is wrong: file, table, key, value, what is
        allowed and the likely slip
    """
    own, thing = [], None
    if table is not None and not isinstance(table, dict):
        own.append(_one_line(where, "must be a table of keys and values."))
    elif table is not None:
        thing = _made(cls, table, (where, units), beside or {}, own)
    if faults is None and own:
        raise FileRefusal(*own)
    if faults is not None:
        faults += own
    return thing


def _key_faults(cls, table, where):
    """Unknown and missing keys of a table; one that is nearly right is not missing as well."""
    known, found, meant = {f.name: f for f in file_fields(cls)}, [], []
    irregular = [key for key in table if cls is Hall and key in IRREGULAR]
    if irregular:  # what to do instead is said once
        keys = ", ".join(f"'{key}'" for key in irregular)
        word = "keys" if irregular[1:] else "key"
        found.append(_one_line(where, f"unknown {word} {keys}. {RECTANGLE}"))
    for key in table:
        if key not in known and key not in irregular:
            near = difflib.get_close_matches(key, known, 1)
            meant += near
            hint = f"Did you mean '{near[0]}'?" if near else f"Known: {', '.join(known)}."
            found.append(_one_line(where, f"unknown key '{short(key)}'. {hint}"))
    missing = [key for key in _required(cls) if key not in table and key not in meant]
    if missing:
        found.append(_one_line(where, f"missing {', '.join(missing)}."))
    return found


def _required(cls):
    """Keys that a table must have."""
    return [
        f.name for f in file_fields(cls) if f.default is MISSING and f.default_factory is MISSING
    ]


def _made(cls, table, where, beside, own):
    """A thing of a table, None where it cannot be made; what is wrong is added to ``own``."""
    label, units = where
    own += _key_faults(cls, table, label)
    known, values, sound = {f.name: f for f in file_fields(cls)}, {}, True
    for key, value in table.items():
        if key in known:
            try:
                values[key] = _value(key, value, known[key], units)
            except (ValueError, TypeError) as error:
                own.append(_one_line(label, error))
                sound = False
    given = set(values)
    for key in _required(cls):
        if key not in values:
            sound = False
            values[key] = _stand_in(known[key])
    thing = _tried(cls, values, (label, sound, given), beside, own)
    return thing if sound else None


def _stand_in(field):
    """A value for a key that is missing or refused, so that the names beside it can be looked at;
    what is made with it is thrown away.
    """
    if "unit" in field.metadata:
        return field.metadata["low"]
    return {str: "?", bool: False, dict: {}}.get(field.type, ())


def _tried(cls, values, how, beside, own):
    """A thing of its values, with another name for each that is unknown; None where it cannot be.
    Of a thing whose values are not sound, only names are told.
    """
    label, sound, given = how
    replaced = set()
    while True:
        try:
            return cls(**values, **beside)
        except UnknownName as error:
            key = error.key
            if key in replaced or not isinstance(values.get(key), str) or error.known is None:
                own += _lines(label, error) if sound else []
                return None
            replaced.add(key)
            if len(error.meant) == 1 and key in given:
                _say_understood(label, key, values[key], error.meant[0])
            elif key in given:
                own.append(_one_line(label, error))
            values[key] = (error.meant or (error.known,))[0]
        except (ValueError, TypeError) as error:
            own += _lines(label, error) if sound else []
            return None


def _say_understood(label, key, word, meant):
    """Say that a word was understood, and as what."""
    said = one_line(f"{label}: {key} = '{short(word)}' is read as '{meant}'.")
    warn_outside(f"{said} Saving the scenario writes '{meant}'.", UserWarning)


def _lines(where, error):
    """Everything that a refusal says, each on a line of its own that names the table."""
    return [_one_line(where, line) for line in lines_of(error)]


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
    return FileRefusal(_one_line(where, what))


def _one_line(where, what):
    """A line of a refusal, whatever a file's names are made of."""
    return short(one_line(f"{where}: {what}"), MOST_WORDS)


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


def _with_things(table, key, cls, where, faults):
    """A table in which one key holds things by the name of a group; None where one of them is
    refused and the rest is sound.
    """
    label, units = where
    if not isinstance(table, dict) or key not in table:
        return table
    if not isinstance(table[key], dict):
        faults.append(_one_line(f"{label} [{key}]", "must be a table of groups."))
        return {**table, key: {}}
    things = {
        name: build(cls, entry, f"{label} [{key}.'{name}']", units, faults=faults)
        for name, entry in table[key].items()
    }
    return {**table, key: {name: thing for name, thing in things.items() if thing is not None}}


def _use_groups(entry, label, units, faults):
    """A use with its groups as things and its numbers as numbers; what is refused is left out."""
    entry = _with_things(entry, "groups", GroupSetting, (label, units), faults)
    for key in ("listens", "occupied"):
        table = entry.get(key, {})
        if not isinstance(table, dict):
            faults.append(_one_line(label, f"{key} must be a table of areas and numbers."))
            entry = {**entry, key: {}}
            continue
        numbers = {}
        for area, value in table.items():
            try:
                numbers[area] = _plain_number(f"{key} '{area}'", value)
            except ValueError as error:
                faults.append(_one_line(label, error))
        entry = {**entry, key: numbers} if key in entry else entry
    if "noise_db" in entry:
        try:
            if not isinstance(entry["noise_db"], list):
                raise ValueError("noise_db must be a list of seven octave levels.")
            levels = [_plain_number("noise_db", v) for v in entry["noise_db"]]
        except ValueError as error:
            faults.append(_one_line(label, error))
            levels = [0.0] * 7
        entry = {**entry, "noise_db": levels}
    return entry


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
    known, new = {f.name: f for f in file_fields(thing)}, not table
    for key in [k for k in table if k not in known]:
        del table[key]
    for key, f in known.items():
        value = getattr(thing, key)
        default = f.default_factory() if f.default_factory is not MISSING else f.default
        left_out = key not in table and value == default
        if value is None or value == () or (left_out and not (new and f.metadata.get("stated"))):
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
