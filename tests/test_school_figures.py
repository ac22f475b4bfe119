"""Figures of the schools as they were before courts, banks and chairs could stand as they are used.

Where the physics changes on purpose, the new figures are written by running this file:

python tests/test_school_figures.py
"""

import csv
from pathlib import Path

import pytest
from schools import CASES, SCENARIOS, heard

FILE = Path(__file__).parent / "data" / "school-figures.csv"
HEAD = ["school", "use", "what", "area", "value"]


def figures(name, use):
    """What is told of a school in one use: verdicts by the textbook formula, seats and volume."""
    result = heard(name, use, room="statistical")
    room = result.configuration.room
    yield name, use, "volume", "", room.volume
    yield name, use, "surfaces", "", room.area.sum()
    for area in result.configuration.areas.values():
        yield name, use, "points", area.name, len(area.points)
    for v in result.verdicts:
        if v.value is not None:
            yield name, use, v.criterion, v.area, float(v.value)


def kept():
    """Figures of the file by school, use, what and area."""
    with FILE.open(encoding="utf-8", newline="") as file:
        return {tuple(row[:4]): float(row[4]) for row in list(csv.reader(file))[1:]}


@pytest.mark.parametrize("name", SCENARIOS)
def test_figures_of_the_schools(name):
    """Regression: every verdict of every school and use, to seven digits: sums in single
    precision differ from one processor to another."""
    want = {key: value for key, value in kept().items() if key[0] == name}
    got = {row[:4]: row[4] for school, use in CASES if school == name for row in figures(name, use)}
    assert len(want) > 40 and got == pytest.approx(want, rel=1e-7, abs=1e-9)


if __name__ == "__main__":
    with FILE.open("w", encoding="utf-8", newline="") as written:
        rows = [row for case in CASES for row in figures(*case)]
        csv.writer(written, lineterminator="\n").writerows([HEAD, *rows])
