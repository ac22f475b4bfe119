"""Damaged files for the fuzz tests: seeded mutations of good ones, and what must hold of each.

In CI every reader gets a few seconds (``GYMTOOLS_FUZZ_SECONDS``, 2.5 unless set); by hand hours:
``GYMTOOLS_FUZZ_SECONDS=3600 python -m pytest -k fuzz``.
"""

import csv
import io
import os
import re
import time

import numpy as np

SECONDS = float(os.environ.get("GYMTOOLS_FUZZ_SECONDS", 2.5))
SEED = int(os.environ.get("GYMTOOLS_FUZZ_SEED", 1))
SLOWEST = 10.0  # for one file [s]
# what goes wrong in texts that people edit
PIECES = [
    b"",
    b"nan",
    b"inf",
    b"-inf",
    b"1e999",
    b"-1",
    b"0",
    b"9" * 400,
    b"1,5",
    b'"',
    b"'",
    b"=1+1",
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\r",
    b"\n",
    b"\t",
    b";",
    b"[",
    b"]",
    b"{",
    b"}",
    b"[[groups]]\n",
    b"<b>",
    "é".encode(),
    "\u202e".encode(),
    "\ufffe".encode(),
]


def damaged(good, rng):
    """One damaged copy of a file.

    Parameters
    ----------
    good : bytes
        Of a good file
    rng : numpy.random.Generator
        Source of the damage

    Returns
    -------
    data : bytes
        With one to four kinds of damage, each somewhere
    """
    data = good
    for _ in range(rng.integers(1, 5)):
        at, to = np.sort(rng.integers(0, len(data) + 1, 2))
        piece = PIECES[rng.integers(len(PIECES))]
        match rng.integers(7):
            case 0:  # cut short
                data = data[:to]
            case 1:  # something put in
                data = data[:at] + piece + data[at:]
            case 2:  # a stretch lost
                data = data[:at] + data[min(to, at + 40) :]
            case 3:  # a stretch twice
                data = data[:to] + data[at:to][:200] + data[to:]
            case 4 if data:  # a bit flipped
                data = data[: at - 1] + bytes([data[at - 1] ^ (1 << rng.integers(8))]) + data[at:]
            case 5:  # a word replaced
                words = data.split(b" ")
                words[rng.integers(len(words))] = piece
                data = b" ".join(words)
            case _:  # a line lost, doubled or moved
                lines = data.split(b"\n")
                line = lines.pop(rng.integers(len(lines)))
                for _ in range(rng.integers(3)):
                    lines.insert(rng.integers(len(lines) + 1), line)
                data = b"\n".join(lines)
    return data


def rows_of(data, first, mark=","):
    """Rows of a damaged table by the names of its columns, read without the package.

    Parameters
    ----------
    data : bytes
        Of the table
    first : str
        Heading of its first column; rows above it are passed over
    mark : str
        Between the cells

    Returns
    -------
    rows : list of dict
        Cells as text, on one line each
    """
    table = csv.reader(io.StringIO(data.decode("utf-8-sig", "replace"), newline=""), delimiter=mark)
    head, rows = None, []
    try:
        for row in table:
            cells = ["".join(c if c.isprintable() else " " for c in x).strip() for x in row]
            if head is None and cells and cells[0].lower() == first:
                head = cells
            elif head is not None and any(cells):
                rows.append(dict(zip(head, cells, strict=False)))
    except csv.Error:
        pass
    return rows


def number_in(cell):
    """The number that a cell begins with.

    Parameters
    ----------
    cell : str
        With a decimal point or comma

    Returns
    -------
    number : float
        NaN where there is none
    """
    found = re.match(r"[+-]?[0-9]*[.,]?[0-9]+(e[+-]?[0-9]+)?", cell.replace("\u2212", "-"), re.I)
    return float(found[0].replace(",", ".")) if found else float("nan")


def fuzz(good, read, accept=lambda made: None, seconds=None):
    """Read damaged copies of a file until the time is over.

    Parameters
    ----------
    good : list of bytes
        Good files, each damaged in turn
    read : callable
        From the bytes of a file to what it holds; may raise ValueError, and nothing else
    accept : callable
        Called with what was read; asserts what must hold of it
    seconds : float, optional
        For how long; SECONDS when left out [s]

    Returns
    -------
    read, refused : int
        Files that were read, and that were refused in one line
    """
    rng, counts, end = np.random.default_rng(SEED), [0, 0], time.monotonic() + (seconds or SECONDS)
    while time.monotonic() < end:
        data = damaged(good[sum(counts) % len(good)], rng)
        begun = time.monotonic()
        try:
            made = read(data)
            accept(made)
            counts[0] += 1
        except ValueError as error:
            words = str(error)
            lines = getattr(error, "faults", [words])  # a scenario file says all that is wrong
            assert words == "\n".join(lines) and len(lines) <= 41, (words, data[:2000])
            assert all(line and line.isprintable() for line in lines), (words, data[:2000])
            counts[1] += 1
        assert time.monotonic() - begun < SLOWEST, data[:2000]
    return tuple(counts)
