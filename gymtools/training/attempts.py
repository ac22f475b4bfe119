"""Attempts at a design task, kept in a local file: lines are only ever added, and lines that cannot
be read are named and left as they are.
"""

import json
import os
import stat
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from ..venue.reading_files import MEGABYTE, file_bytes, named
from ..venue.renamed import KEYS

KIND = "file of attempts"
LONGEST_NAME = 80  # characters
LONGEST_LINE = 4 * MEGABYTE  # of one attempt, with the text of its scenario [bytes]
LARGEST = 400 * MEGABYTE  # of a file of attempts [bytes]
MOST_NAMED = 20  # damaged lines in one sentence
MOST = 1e12  # beyond which no number of an attempt can be meant
# names in files of earlier versions, and what they are called today
OLD_FIELDS = {"score": "penalty", "terms": "penalties", "hold": "met", "of": "checks"}
OLD_CRITERIA = KEYS["Weights"]  # of the penalties


def plain(text, longest=LONGEST_NAME):
    """Text on one line, of characters that can be shown.

    Parameters
    ----------
    text : str
        As somebody typed it
    longest : int
        Length at which it is cut [characters]

    Returns
    -------
    text : str
        May be empty
    """
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())[:longest]


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """One attempt as it was scored.

    Raises
    ------
    ValueError
        A field is of the wrong kind, or nobody's name is given
    """

    who: str
    when: str  # date and time with zone
    school: str
    brief: str  # ``training.task.brief_id``
    room: str  # in which it was scored
    penalty: float  # weighted over all criteria, lower is better [steps]
    met: int  # checks that meet their target
    checks: int  # checks in all
    cost: float  # in the price book's currency
    penalties: dict  # by criterion [steps]
    changed: tuple  # what the attempt changed although the brief gives it, in words
    scenario: str  # text of the scenario file

    def __post_init__(self):
        for f in fields(self):
            value = getattr(self, f.name)
            if f.name == "who" and isinstance(value, str):
                value = plain(value)  # as somebody typed it
            if f.type is str:
                _check_text(f.name, value)
            if f.type in (float, int):
                _check_number(f.name, value)
            if f.type is int and (value < 0 or value != int(value)):
                raise ValueError(f"{f.name} is no count")
        if not isinstance(self.penalties, dict) or not self.penalties:
            raise ValueError("penalties is no table of numbers")
        for name, value in self.penalties.items():
            _check_text("a name of penalties", name)
            _check_number(f"penalties '{name}'", value)
        if not isinstance(self.changed, list | tuple):
            raise ValueError("changed is no list of texts")
        for words in self.changed:
            _check_text("a part of changed", words)
        object.__setattr__(self, "changed", tuple(self.changed))
        object.__setattr__(self, "who", plain(self.who))
        if not self.who:
            raise ValueError("there is no name. Say whose attempt this is.")


def _check_text(name, value):
    """Refuse everything but text that a file can hold."""
    if not isinstance(value, str) or any("\ud800" <= c <= "\udfff" for c in value):
        raise ValueError(f"{name} is not text")


def _check_number(name, value):
    """Refuse everything but a finite number that can be meant."""
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise ValueError(f"{name} is not a number")
    if abs(value) > MOST:  # an integer of any length compares; not all of them are floats
        raise ValueError(f"{name} is not a number that can be meant")


@dataclass(frozen=True, kw_only=True)
class Attempts:
    """Contents of a file of attempts."""

    attempts: tuple  # of Attempt, in the order in which they were added
    damaged: tuple  # (number of the line, why it cannot be read)

    @property
    def warning(self):
        """Damaged lines in words; empty when there is none."""
        if not self.damaged:
            return ""
        lines = "; ".join(f"line {number}: {why}" for number, why in self.damaged[:MOST_NAMED])
        more = len(self.damaged) - MOST_NAMED
        lines += f"; and {more} more" if more > 0 else ""
        return f"Lines that cannot be read; they are left in the file as they are: {lines}."


def add_attempt(path, attempt):
    """Add an attempt to the end of a file; nothing in the file is touched.

    Parameters
    ----------
    path : str or Path
        The file; made when it is not there
    attempt : Attempt
        To be kept

    Raises
    ------
    ValueError
        The attempt is too large to be read again
    OSError
        It is no ordinary file, or the attempt could not be written whole; the file still has
        everything that it had before

    Notes
    -----
    A line begins with a line end of its own, so that it never joins one that was cut off by an
    interruption, and goes out in one piece, so that two processes may add to the same file.
    """
    line = b"\n" + json.dumps(asdict(attempt), allow_nan=False).encode() + b"\n"
    if len(line) > LONGEST_LINE:  # it could not be read again
        raise ValueError(f"the attempt is larger than {LONGEST_LINE / MEGABYTE:g} MB.")
    flags = getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)  # a pipe must not wait
    handle = os.open(Path(path), os.O_WRONLY | os.O_CREAT | os.O_APPEND | flags, 0o644)
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(f"{Path(path).name}: is no ordinary file.")
        written = os.write(handle, line)
        os.fsync(handle)
    finally:
        os.close(handle)
    if written < len(line):
        raise OSError(
            f"{Path(path).name}: only a part of the attempt could be written. Is the disk full?"
        )


def read_attempts(path):
    """Read a file of attempts; the file is not changed.

    Parameters
    ----------
    path : str or Path
        Written by this version or an earlier one; a file that is not there holds nothing

    Returns
    -------
    attempts : Attempts
        Attempts in the order in which they were added, and the lines that cannot be read

    Raises
    ------
    ValueError
        One line: it is no ordinary file, may not be read, or is too large
    """
    path, attempts, damaged = named(path, KIND), [], []
    data = file_bytes(path, KIND, LARGEST) if path.exists() else b""
    for number, line in enumerate(data.split(b"\n"), 1):
        if not line.strip():
            continue
        try:
            attempts.append(_attempt(line))
        except ValueError as error:
            damaged.append((number, plain(error, 160)))
    return Attempts(attempts=tuple(attempts), damaged=tuple(damaged))


def _attempt(line):
    """One attempt from its line."""
    if len(line) > LONGEST_LINE:
        raise ValueError(f"is longer than {LONGEST_LINE / MEGABYTE:g} MB")
    try:
        found = json.loads(line.decode("utf-8"))
    except UnicodeDecodeError:
        raise ValueError("is not UTF-8 text") from None
    except (json.JSONDecodeError, RecursionError):
        raise ValueError("was cut off or changed") from None
    except ValueError:  # an integer of thousands of digits
        raise ValueError("holds a number that cannot be meant") from None
    if not isinstance(found, dict):
        raise ValueError("is no attempt")
    found = _with_todays_names(found)
    known = {f.name for f in fields(Attempt)}
    missing, more = sorted(known - found.keys()), sorted(found.keys() - known)
    if missing or more:
        raise ValueError(
            "; ".join(
                [*(f"'{k}' is missing" for k in missing), *(f"'{k}' is unknown" for k in more)]
            )
        )
    return Attempt(**found)


def _with_todays_names(found):
    """An attempt with the names of earlier versions replaced."""
    found = {OLD_FIELDS.get(k, k): v for k, v in found.items()}
    if isinstance(found.get("penalties"), dict):
        found["penalties"] = {OLD_CRITERIA.get(k, k): v for k, v in found["penalties"].items()}
    return found
