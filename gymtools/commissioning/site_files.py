"""Files that came back from the site: what they hold, and whether they were used."""

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
LAST_ROW = 1_048_576  # of a sheet: rows that lie beyond are damage
MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*ref="([A-Z]+\d+:[A-Z]+\d+)"')


@dataclass(frozen=True, kw_only=True)
class SiteFile:
    """A file from the site."""

    name: str
    used: bool
    words: str  # what it gave, or why it was not used


def sheets(path):
    """Tables that a file holds, a row of texts each.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX

    Returns
    -------
    sheets : list
        The table of a CSV file; every sheet of a workbook, the one that is open first: each a list
        of (number of the line, its cells as list of str)
    merged : tuple of str
        Blocks of merged cells, e.g. "B3:C4"; None for CSV, whose cells move where a comma is too
        many

    Raises
    ------
    ValueError
        One line: it cannot be read, or is larger than can be meant
    FileNotFoundError
        There is no such file
    """
    path = named(path, KIND)
    name = name_of(path)
    if not path.exists():
        raise FileNotFoundError(f"{name}: there is no such {KIND}.")
    data = file_bytes(path, KIND, LARGEST)
    if data.startswith(b"PK") or path.suffix.lower() in (".xlsx", ".xlsm"):
        return _workbook(data, name)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ValueError(
            f"{name}: is not UTF-8 text. Save it as CSV (UTF-8), or as XLSX."
        ) from None
    first = next((line for line in text.splitlines() if line.lower().startswith("reading")), "")
    mark = max(",;\t", key=first.count)
    rows = csv_rows(text, name, delimiter=mark, most_rows=MOST_ROWS, most_columns=MOST_COLUMNS)
    return [rows], None


def _workbook(data, name):
    """Tables of a workbook as they were last calculated, and its merged cells."""
    file = unpacked(data, name, "workbook", LARGEST_UNPACKED)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that nobody needs
            values = load_workbook(file, read_only=True, data_only=True)
            formulas = load_workbook(file, read_only=True, data_only=False)
            both = list(zip(values.worksheets, formulas.worksheets, strict=True))
            both.sort(key=lambda pair: pair[0] is not values.active)  # the open one first
            tables = [_cells(*pair, name) for pair in both]
            merged = _merged(values)
    except _Refused:
        raise
    except Exception as error:  # a damaged file fails in many ways
        why = one_line(f"{type(error).__name__}: {error}")[:120]
        raise ValueError(
            f"{name}: cannot be read as a workbook. Damaged, or cut short? ({why})"
        ) from None
    if not tables:
        raise ValueError(f"{name}: holds no sheet with cells. Is it a chart?")
    return tables, merged


class _Refused(ValueError):
    """A refusal in our own words."""


def _cells(values, formulas, name):
    """Numbered rows of texts that are not empty; a formula whose value was not stored stays."""
    if not hasattr(values, "iter_rows"):
        return []
    # sizes that the file states are no use: they may be wrong either way
    ends = dict(max_row=LAST_ROW, max_col=MOST_COLUMNS, values_only=True)
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
        if len(rows) == MOST_ROWS:
            raise _Refused(f"{name}, line {number}: more than {MOST_ROWS} rows.")
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
    found = []
    for part in book._archive.namelist():
        if part.startswith("xl/worksheets/") and part.endswith(".xml"):
            found += [ref.decode() for ref in MERGED.findall(book._archive.read(part))]
    return tuple(found)


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
