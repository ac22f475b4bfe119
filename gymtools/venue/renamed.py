"""Names that scenario files and scripts used before, and what they are called now."""

import re
import sys
import warnings

PACKAGE = __name__.partition(".")[0]

# keys of a scenario file, by the thing that they belong to
KEYS = {
    "Equipment": {"mains_volts": "ac_volts"},
    "Group": {"cabinet": "loudspeaker", "tilt_deg": "downtilt_deg"},
    "Targets": {
        "spread_db": "coverage_range_db",
        "worst_seat_db": "quietest_seat_db",
        "over_noise_db": "speech_to_noise_db",
        "spare_gain_db": "feedback_margin_db",
    },
    "Weights": {
        "evenness": "coverage_range",
        "worst": "quietest",
        "clarity": "sti",
        "spare": "feedback_margin",
        "arrivals": "arrival_spread",
    },
}
# tables of a scenario file that hold these things
TABLES = {"equipment": "Equipment", "groups": "Group", "targets": "Targets"}
# of a price book
PRICES = {
    ("labour", "hour"): ("labor", "hour"),
    ("assistive listening", "transmitter and aerial"): (
        "assistive listening",
        "transmitter and antenna",
    ),
}
# headings of a sweep's table: as a whole, or after "a use: "
SWEEP = {
    "score": "penalty",
    "hold": "met",
    "of": "checks",
    "STI": "sti",
    "evenness [dB]": "coverage_range [dB]",
    "spare gain [dB]": "feedback_margin [dB]",
    "onto people [%]": "on_listeners [%]",
    "loudest [dB(A)]": "loudest [dB(A)]",
}
# verdicts
WORDS = {"holds": "meets", "falls short": "misses"}


def warn_renamed(old, new):
    """Say once, at the line outside the package that used it, that something is called otherwise.

    Parameters
    ----------
    old : str
        What was written, as a reader would quote it
    new : str
        What to write instead
    """
    warn_outside(f"{old} is now {new}.")


def warn_outside(message, category=FutureWarning):
    """Warn at the line outside the package that asked for it.

    Parameters
    ----------
    message : str
        One line
    category : type
        Of the warning; what will not be understood forever when left out
    """
    level, frame = 1, sys._getframe(0)
    while frame.f_back and frame.f_globals.get("__name__", "").partition(".")[0] == PACKAGE:
        level, frame = level + 1, frame.f_back
    warnings.warn(message, category, stacklevel=level)


def current_key(thing, key):
    """Present name of a key.

    Parameters
    ----------
    thing : type
        What the key belongs to, e.g. ``Group``
    key : str
        Present or former name

    Returns
    -------
    key : str
        Present name; as given when it never had another
    """
    return KEYS.get(thing.__name__, {}).get(key, key)


def current_fields(thing, values):
    """Arguments of a dataclass under their present names; former ones are said once.

    Parameters
    ----------
    thing : type
        What is made of them, e.g. ``Weights``
    values : dict
        By present or former name

    Returns
    -------
    values : dict
        By present name

    Raises
    ------
    ValueError
        One thing is given under both names
    """
    found = {}
    for key, value in values.items():
        now = current_key(thing, key)
        if now != key:
            warn_renamed(f"{thing.__name__}({key}=...)", f"{thing.__name__}({now}=...)")
        if now in found:
            raise ValueError(f"{now} is given twice, once by its former name. Keep one.")
        found[now] = value
    return found


def current_tables(tables, where):
    """Tables of a scenario file with their keys in present names; former ones are said once.

    Parameters
    ----------
    tables : dict
        As the file has them
    where : str
        Name of the file

    Returns
    -------
    tables : dict
        The same when no former name is in it

    Raises
    ------
    ValueError
        A table holds one thing under both names
    """
    said, found = {}, dict(tables)
    for table, thing in TABLES.items():
        entries = tables.get(table)
        if isinstance(entries, list):
            found[table] = [_current(e, thing, f"{where} [[{table}]]", said) for e in entries]
        elif isinstance(entries, dict):
            found[table] = _current(entries, thing, f"{where} [{table}]", said)
    if said:
        listed = ", ".join(f"{old} is now {new}" for old, new in said.items())
        warn_outside(f"{where}: {listed}. Saving the scenario writes the present names.")
    return found


def _current(entry, thing, where, said):
    """One table with present keys; what was renamed is added to ``said``."""
    if not isinstance(entry, dict):
        return entry
    names = KEYS[thing]
    for old in names.keys() & entry.keys():
        if names[old] in entry:
            raise ValueError(
                f"{where}: {old} and {names[old]} are the same thing. Keep {names[old]}."
            )
    said |= {old: new for old, new in names.items() if old in entry}
    return {names.get(key, key): value for key, value in entry.items()}


def current_text(text):
    """Text of a scenario file with its keys in present names; comments and order stay.

    Parameters
    ----------
    text : str
        TOML, one key a line

    Returns
    -------
    text : str
        A key within an inline table is left to whoever writes the file
    """
    lines, names = [], {}
    for line in text.splitlines(keepends=True):
        header = re.match(r"\s*\[+\s*([\w.]+)\s*\]+", line)
        if header:
            names = KEYS.get(TABLES.get(header[1]), {})
        key = re.match(r"\s*(\w+)(?=\s*=)", line)
        if key and key[1] in names:
            line = line[: key.start(1)] + names[key[1]] + line[key.end(1) :]
        lines.append(line)
    return "".join(lines)
