"""The entry sheet of a test plan, and what comes back: good rows are used, bad ones are named."""

import re
from dataclasses import dataclass, replace

import numpy as np

from ..equipment.schedules import Schedule
from ..physics import bands
from ..venue.reading_files import name_of, one_line
from .kinds import present_key
from .readings import in_octaves, one_value
from .site_files import SiteFile, merged_within, sheets

OCTAVES = tuple(f"{f:g} Hz" if f < 1000 else f"{f / 1000:g} kHz" for f in bands.NOMINAL)
COLUMNS = (
    "reading",
    "kind",
    "use",
    "subject",
    "position",
    "where",
    "unit",
    *OCTAVES,
    "value",
    "remark",
)
SIGNS = {"+": 1.0, "-": -1.0, "\u2212": -1.0, "\u2013": -1.0}
LEAST = 3  # octaves, for a reading in octaves to be of use
MORE = None  # column of what has none
MOST_NAMED = 5  # merged blocks
AGREE_DB = 2.0  # the octaves' sum and the dB(A) beside them
NUMBER = re.compile(r"([+-]?\d+(?:[.,]\d+)?)\s*(?:dB(?:\(A\)|A)?|ms|s|STI)?")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """What was measured."""

    readings: tuple  # of Reading, those that were measured, in the order of the plan
    remarks: dict  # by the key of a reading
    bad: tuple  # sentences, one for each row that cannot be used
    missing: tuple  # keys of the plan without a reading
    files: tuple = ()  # SiteFile of every file from the site

    @property
    def measured(self):
        """Measured values by the key of a reading, each (8,) [its unit]."""
        return {r.key: r.measured for r in self.readings}

    @property
    def ambient_db(self):
        """Ambient noise (7,) [dB], None unless all octaves were read."""
        ambient = self.measured.get("ambient")
        return ambient[:7] if ambient is not None and np.isfinite(ambient[:7]).all() else None


def filled_sheet(plan, measured, *, remarks=None, bad=(), files=()):
    """Readings of a plan with what was measured.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``
    measured : dict
        Measured values (8,) by the key of a reading
    remarks : dict, optional
        By the key of a reading
    bad : sequence of str
        What could not be used, in sentences
    files : sequence of SiteFile
        From which it comes

    Returns
    -------
    sheet : Sheet
        Keys that the plan does not have are left out
    """
    return Sheet(
        readings=tuple(
            replace(r, measured=np.asarray(measured[r.key], float))
            for r in plan.readings
            if r.key in measured
        ),
        remarks=dict(remarks or {}),
        bad=tuple(bad),
        missing=tuple(r.key for r in plan.readings if r.key not in measured),
        files=tuple(files),
    )


def entry_sheet(plan):
    """Table to be filled in on site.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``

    Returns
    -------
    sheet : Schedule
        A row for each reading; empty where something is to be written
    """
    rows = [
        (
            r.key,
            r.kind.label,
            r.use,
            r.subject,
            r.position.tag,
            r.position.words,
            "dB, or dB(A) under value" if r.kind.dba else r.unit,
            *([""] * (len(OCTAVES) + 2)),
        )
        for r in plan.readings
    ]
    note = (
        "Leave empty what was not measured. Noise, reverberation time and levels in octaves;"
        " everything else under value. Keep the first column as it is."
    )
    return Schedule(title="Readings", columns=COLUMNS, rows=tuple(rows), note=note)


def read_sheet(path, plan):
    """Read a filled entry sheet.

    Parameters
    ----------
    path : str or Path
        CSV (commas, semicolons or tabs; decimal commas where it has semicolons or tabs) or XLSX;
        sheets with the older names of kinds and octaves are read too
    plan : TestPlan
        From which it was made

    Returns
    -------
    sheet : Sheet
        Good rows, and what is wrong with each other one

    Raises
    ------
    ValueError
        The file is no entry sheet
    FileNotFoundError
        There is no such file
    """
    tables, merged = sheets(path)
    name = name_of(path)
    rows = _rows(max(tables, key=_has_head), name, may_move=merged is None)
    measured, remarks, bad = {}, {}, []
    for line, row in rows:
        if not any(row[c] for c in (*OCTAVES, "value")):
            continue
        try:
            _check_cells(row)
            reading = _planned(row["reading"], plan, measured)
            measured[reading.key] = _values(reading, row)
            if row.get("remark"):
                remarks[reading.key] = row["remark"]
        except ValueError as error:
            bad.append(f"{name}, line {line}: {one_line(error)}.")
    if rows and merged:
        for block in merged_within(merged, rows[0][0], rows[-1][0])[:MOST_NAMED]:
            bad.append(f"{name}: cells {block} are merged; only the first of them is read.")
    files = [SiteFile(name=name, used=bool(measured), words=f"{len(measured)} readings")]
    return filled_sheet(plan, measured, remarks=remarks, bad=bad, files=files)


def _has_head(table):
    """Whether a table has the heading of an entry sheet."""
    return any(_is_head(row) for _, row in table)


def _is_head(row):
    return bool(row) and row[0].strip().lower() == COLUMNS[0]


def _check_cells(row):
    """Refuse a row of which cells moved, or were not calculated."""
    if MORE in row:
        raise ValueError(
            f"'{row['reading'][:60]}': has {row[MORE]} more cells than the heading (a decimal comma"
            " where commas divide the cells?)"
        )
    open_cells = [c for c in ("reading", *OCTAVES, "value") if row[c].startswith("=")]
    if open_cells:
        raise ValueError(
            f"'{row['reading'][:60]}': {', '.join(open_cells)}: a formula without a stored value."
            " Open the workbook in a spreadsheet and save it once"
        )


def _rows(table, file, may_move):
    """Numbered rows under the head of the table, by the names of its columns."""
    head = next((n for n, (_, row) in enumerate(table) if _is_head(row)), None)
    if head is None:
        raise ValueError(
            f"{file}: there is no line that begins '{COLUMNS[0]}'. Is it the entry sheet of the"
            " test plan?"
        )
    # older sheets have "1k Hz"
    names = [re.sub(r"^(\d)k Hz$", r"\1 kHz", c.strip()) for c in table[head][1]]
    absent = [c for c in ("reading", "value", *OCTAVES) if c not in names]
    if absent:
        raise ValueError(f"{file}: missing column {', '.join(absent)}.")
    twice = [c for c in COLUMNS if names.count(c) > 1]
    if twice:
        raise ValueError(f"{file}: column {twice[0]} is there twice. Keep one.")
    return [(line, _row(names, cells, may_move)) for line, cells in table[head + 1 :]]


def _row(names, cells, may_move):
    """Cells by column; under MORE how many there are beyond the heading of a CSV file."""
    row = dict.fromkeys(names, "") | dict(zip(names, map(_tidy, cells), strict=False))
    more = len(cells) - len(names)
    return row | ({MORE: more} if may_move and more > 0 else {})


def _tidy(cell):
    return one_line(cell).strip()


def _planned(text, plan, measured):
    """The reading that a row is about."""
    key = present_key(text.removeprefix("'"))
    reading = plan.reading(key)
    if reading is None:
        raise ValueError(f"'{key[:60]}' is no reading of this plan")
    if key in measured:
        raise ValueError(f"'{key}' is there twice; the first counts")
    return reading


def _values(reading, row):
    """What a row holds (8,): octaves, or the single value."""
    if reading.kind.key == "polarity":
        return one_value(_sign(reading, row["value"]))
    single = _number(reading, "value", row["value"]) if row["value"] else np.nan
    if not reading.kind.octaves:
        if any(row[c] for c in OCTAVES):
            raise ValueError(f"'{reading.key}': is one value, and octaves are filled in")
        return one_value(single)
    octaves = np.array([_number(reading, c, row[c]) if row[c] else np.nan for c in OCTAVES])
    count = int(np.isfinite(octaves).sum())
    if count == 0 and reading.kind.dba:
        return one_value(single)
    if count < LEAST:
        other = ", or dB(A) under value" if reading.kind.dba else ""
        raise ValueError(
            f"'{reading.key}': {count} octaves are too few. Give {LEAST} at least{other}"
        )
    if reading.kind.dba and count == len(OCTAVES):
        _check_sum(reading, octaves, single)
    return in_octaves(octaves)  # a value beside them only checks them


def _sign(reading, text):
    """Polarity as a number."""
    sign = SIGNS.get(text.removeprefix("'").strip()[:1])
    if sign is None:
        raise ValueError(f"'{reading.key}': value = '{text[:40]}' is neither + nor -")
    return sign


def _check_sum(reading, octaves, single):
    """Refuse a value in dB(A) that is not the sum of the octaves beside it."""
    total = float(bands.a_weighted(octaves))
    if abs(total - single) > AGREE_DB:  # never when no value was given: NaN
        raise ValueError(
            f"'{reading.key}': the octaves add up to {total:.1f} dB(A), and value says {single:g}"
        )


def _number(reading, column, text):
    """A number that can be meant."""
    low, high = reading.kind.limits
    found = NUMBER.fullmatch(text.removeprefix("'").replace("\u2212", "-").strip())
    if not found:
        raise ValueError(f"'{reading.key}': {column} = '{text[:40]}' is not a number")
    value = float(found[1].replace(",", "."))
    if not low <= value <= high:
        raise ValueError(
            f"'{reading.key}': {column} = {value:g} is outside {low:g} to {high:g}"
            f" {reading.unit}. {reading.kind.slip}".rstrip(". ")
        )
    return value
