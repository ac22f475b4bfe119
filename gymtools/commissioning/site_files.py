"""Files that came back from the site: what they hold, and whether they were used."""

import csv
import datetime
import re
import warnings
from dataclasses import dataclass

import numpy as np
from openpyxl import load_workbook
from openpyxl.utils import range_boundaries

from ..venue.reading_files import csv_rows, file_bytes, name_of, named, one_line, unpacked

KIND = "entry sheet"
LARGEST, MOST_ROWS, MOST_COLUMNS = 10_000_000, 10_000, 200  # of an entry sheet [bytes, -, -]
LARGEST_UNPACKED = 30_000_000  # of the parts of a workbook [bytes]
SPARE_LINES = 3000  # of a workbook's sheet, beyond those that the plan needs
MOST_SHEETS = 12
FIRST_COLUMN = "reading"  # heading of the first column of an entry sheet
ROW = re.compile(rb'<(?:\w+:)?row\s[^>]*?\br="(\d+)"')
MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*ref="([A-Z]+\d+:[A-Z]+\d+)"')


@dataclass(frozen=True, kw_only=True)
class SiteFile:
    """A file from the site."""

    name: str
    used: bool
    words: str  # what it gave, or why it was not used


@dataclass(frozen=True, kw_only=True)
class Tables:
    """What a file from the site holds, as texts."""

    tables: list  # each a list of (number of the line, its cells as list of str)
    merged: tuple | None  # blocks of merged cells, e.g. "B3:C4"; None for CSV
    beyond: int = 0  # last line that was filled below those that are read, 0 when there is none
    names: tuple = ("",)  # of the sheets of a workbook, one for each table


def sheets(path, planned=0, *, kind=KIND, headings=(FIRST_COLUMN,)):
    """Tables that a file holds, a row of texts each.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX
    planned : int
        Rows that are expected; of a workbook's sheet SPARE_LINES more lines are read [-]
    kind : str
        What the file should be, for messages
    headings : sequence of str
        Beginnings of lines that are headings

    Returns
    -------
    found : Tables
        The table of a CSV file, whose cells move where a comma is too many; every sheet of a
        workbook, the one that is open first

    Raises
    ------
    ValueError
        One line: it cannot be read, or is larger than can be meant
    FileNotFoundError
        There is no such file
    """
    path = named(path, kind)
    name = name_of(path)
    if not path.exists():
        raise FileNotFoundError(f"{name}: there is no such {kind}.")
    data = file_bytes(path, kind, LARGEST)
    if data.startswith(b"PK") or path.suffix.lower() in (".xlsx", ".xlsm"):
        return _workbook(data, name, planned + SPARE_LINES)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ValueError(
            f"{name}: is not UTF-8 text. Save it as CSV (UTF-8), or as XLSX."
        ) from None
    mark = _separator(text, headings)
    rows = csv_rows(text, name, delimiter=mark, most_rows=MOST_ROWS, most_columns=MOST_COLUMNS)
    return Tables(tables=[rows], merged=None)


def _separator(text, headings):
    """What divides the cells of a table: that which gives its heading most columns, its longest
    line where no heading stands first.
    """
    lines = text.splitlines()
    begins = [ln for ln in lines if ln.lstrip('" ').lower().startswith(tuple(headings))]
    heading, columns = next(iter(begins), max(lines, key=len, default="")), {}
    for mark in ",;\t":
        try:
            cells = next(csv.reader([heading], delimiter=mark), [])
        except csv.Error:  # a quote that is not closed is named with its line afterwards
            cells = []
        whole = bool(cells) and cells[0].strip().lower() in headings
        columns[mark] = (whole, len(cells))
    return max(columns, key=columns.get)


def _workbook(data, name, last):
    """Tables of a workbook as they were last calculated, and its merged cells."""
    file = unpacked(data, name, "workbook", LARGEST_UNPACKED)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that nobody needs
            values = load_workbook(file, read_only=True, data_only=True)
            formulas = load_workbook(file, read_only=True, data_only=False)
            both = list(zip(values.worksheets, formulas.worksheets, strict=True))
            if len(both) > MOST_SHEETS:
                raise _Refused(f"{name}: holds {len(both)} sheets, more than {MOST_SHEETS}.")
            both.sort(key=lambda pair: pair[0] is not values.active)  # the open one first
            tables = [_cells(*pair, last, name) for pair in both]
            names = tuple(one_line(pair[0].title) for pair in both)
            merged, beyond = _merged(values), _beyond(values, last)
    except _Refused:
        raise
    except Exception as error:  # a damaged file fails in many ways
        why = one_line(f"{type(error).__name__}: {error}")[:120]
        raise ValueError(
            f"{name}: cannot be read as a workbook. Damaged, or cut short? ({why})"
        ) from None
    if not tables:
        raise ValueError(f"{name}: holds no sheet with cells. Is it a chart?")
    return Tables(tables=tables, merged=merged, beyond=beyond, names=names)


class _Refused(ValueError):
    """A refusal in our own words."""


def _cells(values, formulas, last, name):
    """Numbered rows of texts that are not empty; a formula whose value was not stored stays."""
    if not hasattr(values, "iter_rows"):
        return []
    # sizes that the file states are no use: they may be wrong either way
    ends = dict(max_row=last, max_col=MOST_COLUMNS, values_only=True)
    rows = []
    pairs = zip(values.iter_rows(**ends), formulas.iter_rows(**ends), strict=True)
    for number, (row, source) in enumerate(pairs, 1):
        if not any(cell is not None for cell in source):
            continue
        texts = [_text(v, f) for v, f in zip(row, source, strict=True)]
        while texts and not texts[-1]:
            texts.pop()
        if not texts:
            continue
        rows.append((number, texts))
    return rows


def _text(value, source):
    """A cell as text."""
    match value:
        case None if source is not None:
            return source if isinstance(source, str) and source.startswith("=") else "=formula"
        case None:
            return ""
        case float() if np.isfinite(value) and abs(value) < 1e15:
            return np.format_float_positional(value, trim="-")
        case datetime.date() | datetime.time() | datetime.timedelta():
            return f"{value} (a date or time)"
    return one_line(value)[:10_000]


def _merged(book):
    """Merged blocks of cells of a workbook's sheets."""
    return tuple(ref.decode() for part in _parts(book) for ref in MERGED.findall(part))


def _beyond(book, last):
    """Last line of a workbook's sheets, 0 when all lie above the last that is read."""
    found = max((int(row) for part in _parts(book) for row in ROW.findall(part)), default=0)
    return found if found > last else 0


def _parts(book):
    """Contents of the sheets of a workbook, as they lie in the file."""
    for part in book._archive.namelist():
        if part.startswith("xl/worksheets/") and part.endswith(".xml"):
            yield book._archive.read(part)


def merged_within(merged, first, last):
    """Merged blocks that touch some lines.

    Parameters
    ----------
    merged : sequence of str
        Blocks, e.g. "B3:C4"
    first, last : int
        Lines [-]

    Returns
    -------
    blocks : list of str
        Those that touch a line from first to last
    """
    touching = []
    for block in merged:
        _, top, _, bottom = range_boundaries(block)
        if top <= last and bottom >= first:
            touching.append(block)
    return touching
