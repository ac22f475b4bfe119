"""The table of a sweep on disk: it grows by whole rows, and holds only rows that are right for the
present scenario, prices, room and package.
"""

import csv
import io
import os
from itertools import count
from math import isfinite
from pathlib import Path

from ..acoustics import criteria
from ..venue.reading_files import csv_rows, file_text, one_line
from ..venue.renamed import SWEEP, WORDS, warn_outside
from ..venue.spreadsheets import as_text, as_written
from ..venue.writing_files import write_file

# columns before those of the uses: how many of how many checks meet their target
FIXED = ("key", "refused", "rays", "verdict", "met", "close", "checks", "penalty", "cost")
COUNTS = ("met", "close", "checks")
ADDED = ("rays", "close")  # columns that tables of earlier versions lack
TRACED = ("few", "full", "")  # rays of a row; none where the room is not traced
VERDICTS = (*criteria.WORDS, "")  # none of a refused row
KIND = "table of a sweep"
LONGEST = 5000  # of a text in it [characters]
LARGEST, MOST_ROWS, MOST_COLUMNS = 400_000_000, 1_000_000, 2000  # [bytes, -, -]


def present_heading(heading):
    """Present name of a column.

    Parameters
    ----------
    heading : str
        Of today or of an earlier version

    Returns
    -------
    heading : str
        Of today
    """
    if not isinstance(heading, str):
        return heading
    use, colon, figure = heading.rpartition(": ")
    return f"{use}{colon}{SWEEP.get(figure, figure)}"


def set_aside(path, number=1):
    """Where rows go that are of another scenario, loudspeaker file, price book, room or package.

    Parameters
    ----------
    path : str or Path
        The table of a sweep
    number : int
        1, or more where a file of that name holds something else [-]

    Returns
    -------
    path : Path
        Beside it
    """
    path = Path(path)
    number = "" if number == 1 else f"-{number}"
    return path.with_name(f"{path.stem}-earlier{number}{path.suffix}")


class SweepTable:
    """Rows by key, and on disk a table that grows by whole rows; what was cut off by an
    interruption is mended first. To be entered as a context.

    Parameters
    ----------
    file : str or Path or None
        CSV; None keeps nothing
    columns : list of str
        Its headings
    base : str
        What the keys of all present rows begin with

    Raises
    ------
    ValueError
        One line: the file holds another table, or is damaged
    """

    def __init__(self, file, columns, base):
        self.columns, self.axes = columns, columns[: columns.index("key")]
        self.path, self.rows, self.keys, self.file = None, {}, {}, None
        self.stale = {}  # rows of something else by key
        if file is None:
            return
        try:
            self.path = Path(os.path.realpath(file))  # what a link points to is written
        except TypeError:
            raise ValueError(f"{KIND}: {file!r} is no name of a file.") from None
        text, known = _known(self.path, columns)
        for key, row in known.items():
            (self.rows if key.startswith(f"{base}-") else self.stale)[key] = row
        for key, row in self.rows.items():
            self.keys.setdefault(self._words(row), set()).add(key)
        self._whole = text == self._text()  # nothing is to be mended
        self._twice = False  # whether a row stands in the file beside the one that replaces it

    def _words(self, row):
        """Words of a row as they stand in the file."""
        return tuple(_cell(row[axis]) for axis in self.axes)

    def _text(self):
        return _csv(self.columns, self.rows.values())

    def find(self, key, words):
        """The row of a variation.

        Parameters
        ----------
        key : str
            Of the variation
        words : dict
            What was chosen, by axis; rows of the same words and another key are of another scenario

        Returns
        -------
        row : dict
            By column; None where there is none
        """
        if self.keys:
            for other in self.keys.get(self._words(words), set()) - {key}:
                if other in self.rows:
                    self.stale[other] = self.rows.pop(other)
        return self.rows.get(key)

    def add(self, row):
        """Keep one row, in the place of an earlier one of its key, and write it through to the
        disk.

        Parameters
        ----------
        row : dict
            By column

        Raises
        ------
        OSError
            It could not be written whole; the rows before it are there
        """
        if self.file is None:
            return
        self._twice |= row["key"] in self.rows
        self.rows[row["key"]] = row
        line = _line(row.get(c) for c in self.columns).encode()
        if self.file.write(line) < len(line):
            raise OSError(f"{self.path.name}: a row could not be written. Is the disk full?")

    def __enter__(self):
        if self.path is not None:
            if not self._whole:
                self._mend()
            self.file = self.path.open("ab", buffering=0)
        return self

    def __exit__(self, error, *_):
        if self.file is not None:
            self.file.close()
            self.file = None
            # same words, another scenario; or evaluated again
            if self.stale or (self._twice and error is None):
                self._mend()

    def _mend(self):
        """Write the table anew without what was cut off, and stale rows into a file beside it."""
        if self.stale:
            aside = self._set_aside()
            number = len(self.stale)
            rows = "1 row was" if number == 1 else f"{number} rows were"
            warn_outside(
                f"{self.path.name}: {rows} of another scenario, loudspeaker file, price book, room"
                f" or version of the package, now in {aside.name}.",
                UserWarning,
            )
            self.stale = {}
        write_file(self.path, self._text())

    def _set_aside(self):
        """Add stale rows to a table of their own."""
        head = _csv(self.columns, ())
        for n in count(1):
            aside, text = set_aside(self.path, n), head
            if aside.exists():
                try:
                    text = file_text(aside, KIND, LARGEST // 2)
                except ValueError:
                    continue
            if text.startswith(head) and text.endswith("\n"):
                more = _csv(self.columns, self.stale.values()).removeprefix(head)
                write_file(aside, text + more)
                return aside


def _cell(value):
    """A cell as it is written: on one line, and no formula."""
    return as_text(one_line(value)[:LONGEST]) if isinstance(value, str) else value


def _line(cells):
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow([_cell(c) for c in cells])
    return out.getvalue()


def _csv(columns, rows):
    """A whole table."""
    return _line(columns) + "".join(_line(row.get(c) for c in columns) for row in rows)


def _known(path, columns):
    """Text of the table, and its rows by key as they were before they were written; a row that was
    cut off in the middle is dropped, another table is refused.
    """
    if not path.exists():
        return None, {}
    text, name = file_text(path, KIND, LARGEST), one_line(path.name)
    # what follows the last line end was cut off
    table = csv_rows(
        text[: text.rfind("\n") + 1], name, most_rows=MOST_ROWS, most_columns=MOST_COLUMNS
    )
    if not table and _line(columns).startswith(text):
        return text, {}  # empty, or cut off within its headings
    if not table:
        raise ValueError(f"{name} holds another table. Give another file, or remove it.")
    if (table := _in_columns(table, columns)) is None:
        raise ValueError(f"{name} holds another table. Give another file, or remove it.")
    rows = {}
    for number, cells in table:
        where = f"{name}, line {number}"
        if len(cells) != len(columns):
            raise ValueError(
                f"{where}: has {len(cells)} values where {len(columns)} belong. Was it edited?"
                " Remove the line, or give another file."
            )
        row = _read(dict(zip(columns, cells, strict=True)), columns, where)
        rows[row["key"]] = row
    return text, rows


def _in_columns(table, columns):
    """Rows under the columns of today; None where the headings are others."""
    (_, head), *rows = table
    want, axes = [str(_cell(c)) for c in columns], columns.index("key")
    if head != want:
        former = [as_written(c) for c in head[axes:]]
        head = head[:axes] + [_cell(present_heading(heading)) for heading in former]
    lacking = [c for c in ADDED if c not in head[axes:]]
    if lacking and head == want[:axes] + [c for c in want[axes:] if c not in lacking]:
        for at in sorted(columns.index(c) for c in lacking):  # of an earlier version
            rows = [(number, [*c[:at], "", *c[at:]]) for number, c in rows]
        return rows
    return rows if head == want else None


def _read(row, columns, where):
    """A row with its numbers; of a refused one only what it has."""
    row["verdict"] = WORDS.get(row["verdict"], row["verdict"])
    if row["verdict"] not in VERDICTS:
        raise ValueError(
            f"{where}: verdict = '{one_line(row['verdict'])[:40]}' is none of"
            f" {', '.join(VERDICTS[:-1])}. Was it edited? Remove the line, or give another file."
        )
    if row["rays"] not in TRACED:
        raise ValueError(
            f"{where}: rays = '{one_line(row['rays'])[:40]}' is neither few nor full. Was it"
            " edited? Remove the line, or give another file."
        )
    texts = {*columns[: columns.index("key")], "key", "refused", "rays", "verdict"}
    texts |= {c for c in ADDED if row[c] == ""}
    if row["refused"]:
        columns = columns[: columns.index("verdict")]
    return {c: as_written(row[c]) if c in texts else _number(c, row[c], where) for c in columns}


def _number(column, text, where):
    if text == "":
        return None
    try:
        value = int(text) if column in COUNTS else float(text)
        if isfinite(value):
            return value
    except (ValueError, OverflowError):
        pass
    raise ValueError(
        f"{where}: {one_line(column)} = '{one_line(text)[:40]}' is not a number. Was it edited?"
        " Remove the line, or give another file."
    )
