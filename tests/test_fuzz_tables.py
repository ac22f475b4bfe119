"""Damaged tables, recordings and attempts: read or refused in one line, never a traceback, a figure
that is no number, or a wait.

By hand for longer: ``GYMTOOLS_FUZZ_SECONDS=600 python -m pytest tests/test_fuzz_tables.py``.
"""

import io
import json
import re
import warnings
import wave
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fuzzing import SECONDS, damaged, fuzz, number_in, rows_of
from scipy.io import wavfile

from gymtools.commissioning.plan import plan
from gymtools.commissioning.recordings import read_wav, with_recordings
from gymtools.commissioning.sheet import OCTAVES, entry_sheet, filled_sheet, read_sheet
from gymtools.design import sweeping
from gymtools.design.sweeping import sweep
from gymtools.display.documents.exports import csv_text, write_xlsx
from gymtools.equipment.prices import COLUMNS, read_prices
from gymtools.training.attempts import Attempt, add_attempt, read_attempts
from gymtools.venue.files import load

ROOT = Path(__file__).parents[1]
DOVECOTE = load(ROOT / "scenarios" / "dovecote.toml")
SMALL = replace(DOVECOTE, uses=DOVECOTE.uses[:1])
PLAN = plan(SMALL)
SHEET = (ROOT / "scenarios" / "dovecote-readings.csv").read_bytes()
PRICES = (ROOT / "gymtools" / "data" / "prices.csv").read_bytes()
TEXT = (np.linspace(-1, 1, 4000) * np.exp(-np.arange(4000) / 400)).astype(float)


@pytest.fixture(autouse=True)
def quietly():
    """Warnings of names of earlier versions are no matter here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@pytest.fixture
def through(tmp_path):
    """Reads bytes by way of a file."""

    def make(name, read):
        def from_bytes(data):
            (tmp_path / name).write_bytes(data)
            return read(tmp_path / name), data

        return from_bytes

    return make


def test_fuzz_prices(through):
    """Behavior: every price is a number from 0 up that stands in a row with its kind, item and
    unit; every row has words on one line.
    """

    def accept(made):
        book, data = made
        there = {
            (r["kind"], r["item"], r["unit"], number_in(r["price"]), number_in(r["hours"]))
            for r in rows_of(data, "kind")
            if set(COLUMNS[:-1]) <= set(r)
        }
        for p in book.prices.values():
            assert (p.kind, p.item, p.unit, p.price, p.hours) in there, (p, data[:2000])
            assert 0 <= p.price <= 1e7 and 0 <= p.hours <= 1e4
            assert (p.kind + p.item + p.unit + p.source).isprintable()

    rows = b"".join(PRICES.splitlines(keepends=True)[:12])
    read, refused = fuzz([PRICES, rows], through("p.csv", read_prices), accept)
    print("price books", read, refused)
    assert read and refused, (read, refused)


def sound(sheet):
    """Readings lie within what can be meant, and whatever could not be used is one line."""
    for r in sheet.readings:
        low, high = r.kind.limits
        there = r.measured[~np.isnan(r.measured)]
        assert len(there) and np.all((there >= low) & (there <= high)), r
    for line in (*sheet.bad, *sheet.remarks.values(), *(f.name + f.words for f in sheet.files)):
        assert line.isprintable(), line


def stands_in(reading, data):
    """Whether every value of a reading stands in the columns of a row of its own."""
    columns = dict(zip((*OCTAVES, "value"), reading.measured, strict=True))
    if reading.kind.key == "polarity":
        columns = {"value": reading.measured[-1]}
    for mark in ",;\t":
        for row in rows_of(data, "reading", mark):
            if row.get("reading", "").removeprefix("'") == reading.key and all(
                agrees(row.get(c, ""), v, reading.kind.key) for c, v in columns.items()
            ):
                return True
    return False


def agrees(cell, value, kind):
    """Whether a cell holds a value; what was not read is empty, or beside octaves."""
    if kind == "polarity":
        word = cell.removeprefix("'").strip().rstrip(".!").casefold()
        sign = {1.0: "+", -1.0: "-\u2212\u2013", 0.0: ()}[value]
        words = {
            1.0: ("ok", "out", "outward", "plus", "positive", "right", "correct"),
            -1.0: ("in", "inward", "minus", "negative", "wrong", "reversed"),
            0.0: ("none", "silent", "dead", "0"),
        }
        return word in words[value] or (word[:1] and word[:1] in sign)
    return np.isnan(value) or number_in(cell.removeprefix("'")) == value


def test_fuzz_readings_csv(through):
    """Behavior: commas, semicolons and tabs. Every value that is used stands in the damaged text,
    in a row of its reading and a column of its octave.
    """

    def accept(made):
        sheet, data = made
        sound(sheet)
        for r in sheet.readings:
            assert stands_in(r, data), (r.key, r.measured, data.decode(errors="replace"))

    semicolons = SHEET.replace(b",", b";")
    good = [SHEET, semicolons, SHEET.replace(b",", b"\t"), csv_text(entry_sheet(PLAN)).encode()]
    read, refused = fuzz(good, through("r.csv", lambda path: read_sheet(path, PLAN)), accept)
    print("readings", read, refused)
    assert read and refused, (read, refused)


LEVELS = [61.25, 62.5, 63.75, 64.25, 65.5, 66.75, 67.25]  # of every reading of a level [dB]


def workbook(tmp_path):
    """A filled entry sheet as XLSX."""
    sheet = entry_sheet(PLAN)
    rows = [
        (*row[:7], *(LEVELS if row[6].startswith("dB,") else [""] * 7), "", "x")
        for row in sheet.rows
    ]
    write_xlsx([replace(sheet, rows=tuple(rows))], tmp_path / "good.xlsx", SMALL.name)
    return (tmp_path / "good.xlsx").read_bytes()


def test_fuzz_readings_xlsx(through, tmp_path):
    """Behavior: bytes of the packed file are damaged: it is refused, or nothing of it is lost."""
    good, count = [workbook(tmp_path)], sum(r.kind.dba for r in PLAN.readings)

    def accept(made):
        sound(made[0])
        assert len(made[0].readings) == count
        assert all(r.measured[:7].tolist() == LEVELS for r in made[0].readings)

    read, refused = fuzz(good, through("r.xlsx", lambda path: read_sheet(path, PLAN)), accept)
    print("packed workbooks", read, refused)
    assert refused, (read, refused)


def repacked(data, name, part):
    """A packed file with one of its parts replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for each in old.namelist():
            new.writestr(each, part if each == name else old.read(each))
    return out.getvalue()


@pytest.mark.parametrize(
    "part",
    ["xl/worksheets/sheet1.xml", "xl/_rels/workbook.xml.rels", "xl/workbook.xml", "xl/styles.xml"],
)
def test_fuzz_the_parts_of_a_workbook(through, tmp_path, part):
    """Behavior: the packing is whole, and a part of it is damaged: some are refused, some are read,
    and what is read stands in the part that holds the cells.
    """
    good = workbook(tmp_path)
    inner = zipfile.ZipFile(io.BytesIO(good)).read(part)
    read_file = through("r.xlsx", lambda path: read_sheet(path, PLAN))

    def read(data):
        return read_file(repacked(good, part, data))[0], data

    def accept(made):
        sheet, data = made
        sound(sheet)
        cells = set(re.findall(rb">([0-9.]+)<", data)) if "sheet1" in part else set()
        there = {float(c) for c in cells if c.count(b".") < 2 and c != b"."} or set(LEVELS)
        for r in sheet.readings:
            assert there.issuperset(r.measured[~np.isnan(r.measured)]), (r.key, r.measured)

    whole = read(inner)
    accept(whole)
    assert len(whole[0].readings) == sum(r.kind.dba for r in PLAN.readings)
    counts = fuzz([inner], read, accept, SECONDS / 2)
    print(part, *counts)
    assert counts[1], counts


def waves():
    """Short recordings of every width."""
    for dtype, k, zero in (
        ("uint8", 127, 128),
        ("int16", 32767, 0),
        ("int32", 2**31 - 1, 0),
        ("float32", 1, 0),
        ("float64", 1, 0),
    ):
        out = io.BytesIO()
        wavfile.write(out, 16000, (TEXT * k + zero).astype(dtype))
        yield out.getvalue()


def wave_of_24_bits():
    """A short recording of three bytes a sample."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(3)
        file.setframerate(16000)
        samples = (TEXT * (2**23 - 1)).astype(int).tolist()
        file.writeframes(b"".join(v.to_bytes(3, "little", signed=True) for v in samples))
    return out.getvalue()


def test_fuzz_recordings(tmp_path):
    """Behavior: header and samples are damaged; samples are numbers, so is what comes of them."""
    folder = tmp_path / "waves"
    folder.mkdir()

    def read(data):
        # most of it is samples: half of the damage goes to the header
        (folder / "reverberation S1 R1.wav").write_bytes(data)
        sheet = with_recordings(filled_sheet(PLAN, {}), folder, PLAN)
        return sheet, read_wav(folder / "reverberation S1 R1.wav")

    def accept(made):
        sheet, (response, rate) = made
        assert np.all(np.isfinite(response)) and rate > 0 and len(response)
        assert len(sheet.files) == 1
        for r in sheet.readings:
            there = r.measured[~np.isnan(r.measured)]
            assert len(there) and np.all(np.isfinite(there)) and np.all(there >= 0)
        for line in (*sheet.bad, *sheet.remarks.values()):
            assert line.isprintable(), line

    good = [*waves(), wave_of_24_bits()]
    rng, headers = np.random.default_rng(5), []
    for n in range(60):
        data = good[n % len(good)]
        headers.append(damaged(data[:44], rng) + data[44:])
    read_, refused = fuzz([*good, *headers], read, accept)
    print("recordings", read_, refused)
    assert read_ and refused, (read_, refused)


ATTEMPT = Attempt(
    who="Ines",
    when="2026-05-04T12:00:00+00:00",
    school="A school",
    brief="0123456789abcdef",
    room="statistical",
    penalty=12.5,
    met=18,
    checks=28,
    cost=21000.0,
    penalties={"quietest": 3.0, "sti": 1.5},
    changed=("court",),
    scenario="name = 'A school'\n",
)


def test_fuzz_attempts(tmp_path, through):
    """Behavior: a damaged line is named in one line and the others are read; nothing is refused as
    a whole.
    """
    for who in ("Ines", "Omar", "Ada"):
        add_attempt(tmp_path / "good.jsonl", replace(ATTEMPT, who=who))

    def accept(made):
        found, _ = made
        assert found.warning.isprintable()
        for a in found.attempts:
            numbers = (a.penalty, a.met, a.checks, a.cost, *a.penalties.values())
            assert all(abs(x) <= 1e12 for x in numbers)
            json.dumps(a.penalties, allow_nan=False)
            a.scenario.encode()

    good = (tmp_path / "good.jsonl").read_bytes()
    read, refused = fuzz([good], through("a.jsonl", read_attempts), accept)
    assert read and not refused, (read, refused)


def test_fuzz_sweep_tables(tmp_path, monkeypatch):
    """Behavior: a damaged table is refused or resumed; every figure is a number, every row there.
    What is evaluated does not matter here, and stands in for it.
    """
    axes = {"tilt": {f"{t} deg": {} for t in (20, 35)}, "other": {"a, b": {}, "=c": {}}}
    row = sweeping.figures(SMALL)
    monkeypatch.setattr(sweeping, "figures", lambda *_: sweeping.Row(row))
    file = tmp_path / "rows.csv"
    want = sweep(SMALL, axes, file=file)
    good = file.read_bytes()

    def read(data):
        for path in tmp_path.iterdir():
            path.unlink()
        file.write_bytes(data)
        return sweep(SMALL, axes, file=file)

    def accept(rows):
        assert len(rows) == 4 and [r["key"] for r in rows] == [r["key"] for r in want]
        for r in rows:
            assert all(np.isfinite(v) for v in r.values() if isinstance(v, float))
        assert sweep(SMALL, axes, file=file) == rows, "what is written is read again"

    read_, refused = fuzz([good], read, accept)
    assert read_ and refused, (read_, refused)
