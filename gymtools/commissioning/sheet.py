"""The entry sheet of a test plan, and what comes back from it: good rows used, each bad
one named.
"""

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from ..equipment.schedules import Schedule
from ..physics import bands

OCTAVES = tuple(f"{label} Hz" for label in bands.LABELS)
COLUMNS = ("reading", "test", "use", "of", "place", "where", "unit", *OCTAVES, "value", "remark")
LIMITS = {  # by test: lowest, highest, and the likely slip beyond
    "ambient": (-20, 120, "Not dB?"),
    "reverberation": (0.05, 30, "Milliseconds?"),
    "level": (0, 140, "Not dB re 20 µPa?"),
    "alone": (0, 140, "Not dB re 20 µPa?"),
    "clarity": (0, 1, "Per cent? STI goes from 0 to 1."),
    "arrival": (-1000, 1000, "Seconds or samples?"),
    "spare gain": (-20, 80, "Not dB?"),
    "reach": (20, 140, "Not dB(A)?"),
}
LOUD = ("level", "alone")  # read in octaves or in dB(A)
SIGNS = {"+": 1.0, "-": -1.0, "\u2212": -1.0, "\u2013": -1.0}
LEAST = 3  # octaves, for a reading in octaves to be of use
AGREE_DB = 2.0  # the octaves' sum and the dB(A) beside them
NUMBER = re.compile(r"([+-]?\d+(?:[.,]\d+)?)\s*(?:dB(?:\(A\)|A)?|ms|s|STI)?")


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings:
    """What was measured."""

    # by key: (7,) where read in octaves (NaN: not read), else a number; levels in dB(A) alone are
    # numbers
    values: dict
    remarks: dict  # by key
    bad: tuple  # sentences, one for each row that cannot be used
    missing: tuple  # keys of the plan without a reading


def entry_sheet(plan):
    """Table to be filled in on site.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan`` [-]

    Returns
    -------
    sheet : Schedule
        A row for each reading; empty where something is to be written
    """
    rows = [
        (
            i.key,
            i.test,
            i.use,
            i.of,
            i.tag,
            i.where,
            "dB, or dB(A) under value" if i.test in LOUD else i.unit,
            *([""] * 9),
        )
        for i in plan.items
    ]
    note = (
        "Leave empty what was not measured. Octaves where it says dB or s; everything else under"
        " value. Keep the first column as it is."
    )
    return Schedule(title="Readings", columns=COLUMNS, rows=tuple(rows), note=note)


def read_readings(path, plan):
    """Read a filled entry sheet.

    Parameters
    ----------
    path : str or Path
        CSV (commas, semicolons or tabs; decimal commas where it has semicolons or tabs) or XLSX [-]
    plan : TestPlan
        That it was made from [-]

    Returns
    -------
    readings : Readings
        Good rows; what is wrong with each other one; a file that is no entry sheet is refused
    """
    path = Path(path)
    table = _xlsx(path) if path.suffix.lower() == ".xlsx" else _csv(path)
    head = next(
        (n for n, (_, row) in enumerate(table) if row and row[0].strip().lower() == COLUMNS[0]),
        None,
    )
    if head is None:
        raise ValueError(
            f"{path.name}: there is no line that begins '{COLUMNS[0]}'. Is it the entry sheet of"
            " the test plan?"
        )
    names = [c.strip() for c in table[head][1]]
    absent = [c for c in ("reading", "value", *OCTAVES) if c not in names]
    if absent:
        raise ValueError(f"{path.name}: missing column {', '.join(absent)}.")
    values, remarks, bad = {}, {}, []
    for line, cells in table[head + 1 :]:
        row = dict(zip(names, [c.strip() for c in cells] + [""] * len(names), strict=False))
        key = row["reading"].removeprefix("'")
        filled = [row[c] for c in (*OCTAVES, "value") if row[c]]
        if not filled:
            continue
        try:
            item = plan.item(key)
            if item is None:
                raise ValueError(f"'{key[:60]}' is no reading of this plan")
            if key in values:
                raise ValueError(f"'{key}' stands there twice; the first counts")
            values[key] = _value(item, row)
            remarks |= {key: row["remark"]} if row.get("remark") else {}
        except ValueError as error:
            bad.append(f"{path.name}, line {line}: {error}.")
    return Readings(
        values=values,
        remarks=remarks,
        bad=tuple(bad),
        missing=tuple(i.key for i in plan.items if i.key not in values),
    )


def _csv(path):
    """Numbered rows of texts; what divides them is found out."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise ValueError(
            f"{path.name}: is not UTF-8 text. Save it as CSV (UTF-8), or as XLSX."
        ) from None
    first = next((line for line in text.splitlines() if line.lower().startswith(COLUMNS[0])), "")
    mark = max(",;\t", key=first.count)
    return [(n, row) for n, row in enumerate(csv.reader(io.StringIO(text), delimiter=mark), 1)]


def _xlsx(path):
    try:
        sheet = load_workbook(path, data_only=True).active
    except FileNotFoundError:
        raise
    except (
        InvalidFileException,
        KeyError,
        ValueError,
        OSError,
    ) as error:  # a damaged file fails in many ways, BadZipFile among them
        raise ValueError(f"{path.name}: cannot be read as a workbook ({error}).") from None
    except Exception as error:
        raise ValueError(
            f"{path.name}: cannot be read as a workbook ({type(error).__name__})."
        ) from None
    return [
        (n, ["" if v is None else str(v) for v in row])
        for n, row in enumerate(sheet.iter_rows(values_only=True), 1)
    ]


def _value(item, row):
    if item.test == "polarity":
        sign = SIGNS.get(row["value"].removeprefix("'").strip()[:1])
        if sign is None:
            raise ValueError(f"'{item.key}': value = '{row['value']}' is neither + nor -")
        return sign
    one = _number(item, "value", row["value"]) if row["value"] else None
    if not item.octaves:
        if any(row[c] for c in OCTAVES):
            raise ValueError(f"'{item.key}': is one value, and octaves are filled in")
        return one
    read = np.array([_number(item, c, row[c]) if row[c] else np.nan for c in OCTAVES])
    count = int(np.isfinite(read).sum())
    if count == 0 and item.test in LOUD and one is not None:
        return one
    if count < LEAST:
        raise ValueError(
            f"'{item.key}': {count} octaves are too few. Give {LEAST} at"
            f" least{', or dB(A) under value' if item.test in LOUD else ''}"
        )
    if (
        one is not None
        and item.test in LOUD
        and count == len(OCTAVES)
        and abs(float(bands.a_weighted(read)) - one) > AGREE_DB
    ):
        raise ValueError(
            f"'{item.key}': the octaves add up to {float(bands.a_weighted(read)):.1f} dB(A), and"
            f" value says {one:g}"
        )
    return read


def _number(item, column, text):
    low, high, slip = LIMITS[item.test]
    found = NUMBER.fullmatch(text.removeprefix("'").replace("\u2212", "-").strip())
    if not found:
        raise ValueError(f"'{item.key}': {column} = '{text[:40]}' is not a number")
    value = float(found[1].replace(",", "."))
    if not low <= value <= high:
        raise ValueError(
            f"'{item.key}': {column} = {value:g} is outside {low:g} to {high:g} {item.unit}."
            f" {slip}".rstrip(". ")
        )
    return value
