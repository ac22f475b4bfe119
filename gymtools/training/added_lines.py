"""Files that are only added to, a line of JSON each; lines that cannot be read are named."""

import json
import os
import stat
from dataclasses import MISSING, fields
from pathlib import Path

from ..venue.reading_files import MEGABYTE, file_bytes, named

LONGEST_NAME = 80  # characters
MOST_NAMED = 20  # damaged lines in one sentence


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


def add_line(path, found, *, what, longest):
    """Add a line to the end of a file; nothing in the file is touched.

    Parameters
    ----------
    path : str or Path
        The file; made when it is not there
    found : dict
        What the line says; numbers and texts
    what : str
        What it is called in a refusal
    longest : int
        That can be read again [bytes]

    Raises
    ------
    ValueError
        The line is too long to be read again
    OSError
        It is no ordinary file, or the line could not be written whole; the file still has
        everything that it had before

    Notes
    -----
    A line begins with a line end of its own, so that it never joins one that was cut off by an
    interruption, and goes out in one piece, so that two processes may add to the same file.
    """
    line = b"\n" + json.dumps(found, allow_nan=False).encode() + b"\n"
    if len(line) > longest:  # it could not be read again
        raise ValueError(f"the {what} is larger than {longest / MEGABYTE:g} MB.")
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
            f"{Path(path).name}: only a part of the {what} could be written. Is the disk full?"
        )


def read_lines(path, make, *, kind, largest, longest):
    """Read a file of lines; the file is not changed.

    Parameters
    ----------
    path : str or Path
        The file; one that is not there holds nothing
    make : callable
        Makes something of the dict of a line, or raises ValueError
    kind : str
        What the file is called in a refusal
    largest, longest : int
        Of a file, and of a line in it [bytes]

    Returns
    -------
    made : tuple
        In the order of the lines
    damaged : tuple
        (number of the line, why it cannot be read)

    Raises
    ------
    ValueError
        One line: it is no ordinary file, may not be read, or is too large
    """
    path, made, damaged = named(path, kind), [], []
    data = file_bytes(path, kind, largest) if path.exists() else b""
    for number, line in enumerate(data.split(b"\n"), 1):
        if not line.strip():
            continue
        try:
            made.append(make(_parsed(line, longest)))
        except ValueError as error:
            damaged.append((number, plain(error, 160)))
    return tuple(made), tuple(damaged)


def of_fields(kind, found):
    """Something of a dataclass from the dict of its line.

    Parameters
    ----------
    kind : type
        Dataclass; a field with a default may be missing
    found : dict
        As it was read

    Returns
    -------
    made : any
        Of that kind

    Raises
    ------
    ValueError
        A field is missing or unknown, or refused by the dataclass
    """
    known = {f.name for f in fields(kind)}
    must = {f.name for f in fields(kind) if f.default is f.default_factory is MISSING}
    missing, more = sorted(must - found.keys()), sorted(found.keys() - known)
    if missing or more:
        words = [*(f"'{k}' is missing" for k in missing), *(f"'{k}' is unknown" for k in more)]
        raise ValueError("; ".join(words))
    return kind(**found)


def damage_words(damaged):
    """Damaged lines in words.

    Parameters
    ----------
    damaged : sequence of tuple
        Of ``read_lines``

    Returns
    -------
    words : str
        Empty when there is none
    """
    if not damaged:
        return ""
    lines = "; ".join(f"line {number}: {why}" for number, why in damaged[:MOST_NAMED])
    more = len(damaged) - MOST_NAMED
    lines += f"; and {more} more" if more > 0 else ""
    return f"Lines that cannot be read; they are left in the file as they are: {lines}."


def _parsed(line, longest):
    """The dict of one line."""
    if len(line) > longest:
        raise ValueError(f"is longer than {longest / MEGABYTE:g} MB")
    try:
        found = json.loads(line.decode("utf-8"))
    except UnicodeDecodeError:
        raise ValueError("is not UTF-8 text") from None
    except (json.JSONDecodeError, RecursionError):
        raise ValueError("was cut off or changed") from None
    except ValueError:  # an integer of thousands of digits
        raise ValueError("holds a number that cannot be meant") from None
    if not isinstance(found, dict):
        raise ValueError("holds no table")
    return found
