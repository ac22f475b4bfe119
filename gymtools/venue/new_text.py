"""Text of a school's file: written anew with a comment on every line, or brought up to date with
the comments that it has.
"""

import tomllib
from dataclasses import MISSING

import tomlkit

from .files import MANY, ONE
from .quantity import file_fields
from .questions import questions_of
from .refusals import FileRefusal
from .renamed import current_tables, current_text
from .scenario import Scenario
from .texts import shown
from .units import from_file, to_file
from .wiring import Wiring

HEADINGS = {
    "banks": "bleachers",
    "floor_seats": "chairs on the floor",
    "portable_stages": "stages set out on the floor",
    "balconies": "balconies",
    "tracks": "running track",
    "fixtures": "what hangs and stands in the gym",
    "microphones": "microphones",
    "treatments": "what is added to walls and roof",
    "uses": "what the school does in the gym",
    "stage": "the built-in stage",
    "divider": "the curtain that divides the gym",
    "side_courts": "courts beside the main one",
    "hall": "the gym; letters as on the sketch",
    "air": "the air",
}


def tables_of(text, where="school"):
    """Tables of a file, its lengths and areas in SI.

    Parameters
    ----------
    text : str
        TOML
    where : str
        File name for messages

    Returns
    -------
    tables : dict
        As the file has them; what is no number where one is due stays as it is

    Raises
    ------
    FileRefusal
        A ValueError: it is no TOML, says no units or no size of the gym, or holds a text where a
        number or a table is due; a line for each
    """
    try:
        tables = current_tables(tomllib.loads(text), where)
    except tomllib.TOMLDecodeError as error:
        raise FileRefusal(f"{where}: is not valid TOML. {error}") from None
    units = tables.get("units")
    if units not in ("m", "ft"):
        raise FileRefusal(f'{where}: says no units. Write units = "m" or units = "ft" at the top.')
    faults = list(_shape_faults(tables))
    if faults:
        raise FileRefusal(*(f"{where}: {fault}" for fault in faults))
    return _converted(tables, lambda value, unit: from_file(value, unit, units))


def _shape_faults(tables):
    """Tables that are none, and numbers that are none; what else is wrong the form shows."""
    for key, kind in ((k, v) for k, v in {**ONE, **MANY}.items() if k in tables):
        entries = [tables[key]] if key in ONE else tables[key]
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            yield f"{key} must be {'a table' if key in ONE else 'a list of tables'}."
            continue
        known = {f.name for f in file_fields(kind) if "unit" in f.metadata}
        needed = [f.name for f in file_fields(kind) if _must_be_there(f)]
        for entry in entries:
            missing = [name for name in needed if name not in entry]
            if missing:
                yield f"{key}: missing {', '.join(missing)}."
            for field in known & entry.keys():
                if not _is_number(entry[field]):
                    yield f"{key}: {field} = {shown(entry[field])} is not a number."
    if not isinstance(tables.get("hall"), dict):
        yield "there is no table [hall] with the size of the gym."


def in_file_units(tables, units):
    """Tables as a file has them.

    Parameters
    ----------
    tables : dict
        In SI
    units : str
        "m" or "ft"

    Returns
    -------
    tables : dict
        Lengths and areas in the file's units, without more digits than they have
    """

    def convert(value, unit):
        return _short(to_file(value, unit, units))

    return _converted(tables, convert)


def _must_be_there(field):
    return field.default is MISSING and field.default_factory is MISSING


def _converted(tables, convert):
    """Tables with every length and area converted, whatever else they hold."""
    found = _table(tables, Scenario, convert)
    for key, kind in {**ONE, **MANY}.items():
        entries = tables.get(key)
        if isinstance(entries, dict):
            found[key] = _table(entries, kind, convert)
            if isinstance(entries.get("wiring"), dict):
                rows = entries["wiring"].items()
                found[key]["wiring"] = {n: _table(w, Wiring, convert) for n, w in rows}
        elif isinstance(entries, (list, tuple)):
            found[key] = [_table(entry, kind, convert) for entry in entries]
    return found


def _table(table, kind, convert):
    if not isinstance(table, dict):
        return table
    units = {f.name: f.metadata["unit"] for f in file_fields(kind) if "unit" in f.metadata}
    return {
        key: convert(value, units[key]) if key in units and _is_number(value) else value
        for key, value in table.items()
    }


def _is_number(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _short(value):
    """29.2608, not 29.260800000000003; 30, not 30.0."""
    if isinstance(value, float):
        value = float(f"{value:.10g}")
        return int(value) if value.is_integer() else value
    return value


def written(tables, units, copied=None):
    """Text of a file.

    Parameters
    ----------
    tables : dict
        In SI
    units : str
        Units of the text, "m" or "ft"
    copied : str, optional
        Text that it was copied from: its comments and its order stay

    Returns
    -------
    text : str
        TOML
    """
    plain = _plain(in_file_units({**tables, "units": units}, units))
    if copied is None:
        return _anew(plain, units)
    document = tomlkit.parse(current_text(copied))
    _bring(document, plain)
    return tomlkit.dumps(document)


def _plain(value):
    """Lists for tuples, without what is empty."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items() if v is not None}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return _short(value)


def _anew(plain, units):
    """A file of its own, with the questions as comments."""
    document = tomlkit.document()
    long = {"ft": "feet", "m": "meters"}[units]
    for line in (
        f"{plain.get('name', '')}: one school, as it was answered in the form.",
        f"Lengths in {long}, areas in square {long}. Plan: north is up (+y), east is to the right",
        "(+x); the origin is the middle of the gym's floor.",
        "What nobody has confirmed stands in the list 'assumed'.",
    ):
        document.add(tomlkit.comment(line))
    for key in [k for k, v in plain.items() if not _is_table(v)]:
        document[key] = _item(plain[key], key)
    for key, value in plain.items():
        if isinstance(value, dict):
            document.add(tomlkit.nl())
            document[key] = _commented(key, value, HEADINGS.get(key))
        elif _is_table(value) and value:
            rows = tomlkit.aot()
            for number, entry in enumerate(value):
                rows.append(_commented(key, entry, HEADINGS.get(key) if not number else None))
            document[key] = rows
    return _spaced(tomlkit.dumps(document))


def _spaced(text):
    """An empty line before every table."""
    lines = []
    for line in text.splitlines():
        if line.startswith("[") and lines and lines[-1].strip():
            lines.append("")
        lines.append(line)
    return "\n".join(lines) + "\n"


def _is_table(value):
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and isinstance(value[0], dict)
    )


def _commented(key, entry, heading):
    """A table whose lines say what they are."""
    labels = {q.key.rpartition(".")[2]: q for q in questions_of(key, "")}
    table = tomlkit.table()
    if heading:
        table.add(tomlkit.comment(heading))
    for name, value in entry.items():
        item, question = _item(value, name), labels.get(name)
        if question is not None and not isinstance(value, (dict, list)):
            letter = f"{question.letter}: " if question.letter else ""
            item.comment(f"{letter}{question.label}")
        table[name] = item
    return table


def _item(value, key):
    """A value of a file: tables within a line, long lists over several."""
    if isinstance(value, dict):
        row = tomlkit.inline_table()
        row.update({k: _item(v, k) for k, v in value.items()})
        return row
    if isinstance(value, list):
        array = tomlkit.array()
        array.extend(value)
        return array.multiline(len(value) > 4 and isinstance(value[0], str))
    return tomlkit.item(value)


def _bring(container, plain):
    """Bring a table up to date, touching only what changed."""
    for key in [k for k in container if k not in plain]:
        del container[key]
    for key, value in plain.items():
        old = container.get(key)
        if isinstance(value, dict) and isinstance(old, dict):
            _bring(old, value)
        elif isinstance(value, list) and _is_table(value) and (old is None or _is_table(list(old))):
            _bring_list(container, key, value)
        elif old is None or not _same(old, value):
            if isinstance(value, dict) and key in (*ONE, "groups", "wiring"):
                container[key] = tomlkit.table()
                _bring(container[key], value)
            else:
                container[key] = _item(value, key)


def _bring_list(container, key, entries):
    """An array of tables in a new order, each that was there kept with its comments."""
    old = list(container.get(key, ()))
    names = [entry.get("name") for entry in entries]
    if [entry.get("name") for entry in old] == names:
        for there, entry in zip(old, entries, strict=True):
            _bring(there, entry)
        return
    by_name = {entry.get("name", number): entry for number, entry in enumerate(old)}
    made = tomlkit.aot()
    for number, entry in enumerate(entries):
        table = by_name.get(entry.get("name", number))
        if table is None:
            table = _commented(key, entry, None)
        else:
            _bring(table, entry)
        made.append(table)
    container[key] = made


def _same(old, new):
    """Whether a value of a file says the same."""
    if _is_number(old) and _is_number(new):
        return abs(old - new) <= 1e-9 * max(1.0, abs(old), abs(new))
    if isinstance(new, list) and isinstance(old, list):
        return len(old) == len(new) and all(_same(a, b) for a, b in zip(old, new, strict=True))
    return old == new and isinstance(old, type(new))
