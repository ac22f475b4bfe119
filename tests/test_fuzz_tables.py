"""Damaged tables, recordings and attempts: read or refused in one line, never a traceback, a figure
that is no number, or a wait.

By hand for longer: ``GYMTOOLS_FUZZ_SECONDS=600 python -m pytest tests/test_fuzz_tables.py``.
"""

import io
import json
import warnings
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fuzzing import SECONDS, damaged, fuzz
from scipy.io import wavfile

from gymtools.commissioning.plan import plan
from gymtools.commissioning.recordings import read_wav, with_recordings
from gymtools.commissioning.sheet import entry_sheet, filled_sheet, read_sheet
from gymtools.design import sweeping
from gymtools.design.sweeping import sweep
from gymtools.display.documents.exports import csv_text, write_xlsx
from gymtools.equipment.prices import read_prices
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
            return read(tmp_path / name)

        return from_bytes

    return make


def test_fuzz_prices(through):
    """Behavior: every price is a number from 0 up, every row has words on one line."""

    def accept(book):
        for p in book.prices.values():
            assert 0 <= p.price <= 1e7 and 0 <= p.hours <= 1e4
            assert (p.kind + p.item + p.unit + p.source).isprintable()

    rows = b"".join(PRICES.splitlines(keepends=True)[:12])
    read, refused = fuzz([PRICES, rows], through("p.csv", read_prices), accept)
    assert read and refused, (read, refused)


def sound(sheet):
    """Readings lie within what can be meant, and whatever could not be used is one line."""
    for r in sheet.readings:
        low, high = r.kind.limits
        there = r.measured[~np.isnan(r.measured)]
        assert len(there) and np.all((there >= low) & (there <= high)), r
    for line in (*sheet.bad, *sheet.remarks.values(), *(f.name + f.words for f in sheet.files)):
        assert line.isprintable(), line


def test_fuzz_readings_csv(through):
    """Behavior: commas, semicolons and tabs."""
    semicolons = SHEET.replace(b",", b";")
    good = [SHEET, semicolons, SHEET.replace(b",", b"\t"), csv_text(entry_sheet(PLAN)).encode()]
    read, refused = fuzz(good, through("r.csv", lambda path: read_sheet(path, PLAN)), sound)
    assert read and refused, (read, refused)


def workbook(tmp_path):
    """A filled entry sheet as XLSX."""
    sheet = entry_sheet(PLAN)
    rows = [
        (*row[:7], *([71.5] * 7 if "dB" in row[6] else [""] * 7), "", "x") for row in sheet.rows
    ]
    write_xlsx([replace(sheet, rows=tuple(rows))], tmp_path / "good.xlsx", "gym")
    return (tmp_path / "good.xlsx").read_bytes()


def test_fuzz_readings_xlsx(through, tmp_path):
    """Behavior: bytes of the packed file are damaged."""
    good = [workbook(tmp_path)]
    read, refused = fuzz(good, through("r.xlsx", lambda path: read_sheet(path, PLAN)), sound)
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
    """Behavior: the packing is whole, and a part of it is damaged."""
    good = workbook(tmp_path)
    inner = zipfile.ZipFile(io.BytesIO(good)).read(part)
    read_file = through("r.xlsx", lambda path: read_sheet(path, PLAN))
    read, refused = fuzz(
        [inner], lambda data: read_file(repacked(good, part, data)), sound, SECONDS / 4
    )
    assert read + refused


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

    good = [*waves()]
    rng, headers = np.random.default_rng(5), []
    for n in range(60):
        data = good[n % len(good)]
        headers.append(damaged(data[:44], rng) + data[44:])
    read_, refused = fuzz([*good, *headers], read, accept)
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

    def accept(found):
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
