"""Writes the invented readings that come with the commissioning workbook anew, when positions or
predictions change: python tests/example_readings.py

One loudspeaker has a dead high driver, the graduation preset's room equalization was not loaded,
the room is far livelier than assumed; two rows are damaged and one is empty.
"""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
from finished_hall import AMBIENT_DB

from gymtools.acoustics.evaluate import evaluate
from gymtools.commissioning.comparison import conditions_of
from gymtools.commissioning.expected import expect
from gymtools.commissioning.plan import plan
from gymtools.commissioning.possible_faults import DULL, nothing_wrong, read_with
from gymtools.commissioning.readings import BANDS, SINGLE, in_octaves
from gymtools.commissioning.sheet import COLUMNS, OCTAVES, entry_sheet, filled_sheet
from gymtools.venue.files import load

SCENARIOS = Path(__file__).parents[1] / "scenarios"
VOLUME_DB, LONGER, DULL_TAG, NOT_LOADED = 7.0, 2.57, "F2", "graduation"
DAMAGED = {
    "level game CO2": ("500 Hz", "7O.1"),
    "sti game B6": ("value", "32"),
    "level game B5": (None, ""),
}


def measured(made):
    """Values (8,) of every reading of the finished gym, by key."""
    there = filled_sheet(made, {r.key: AMBIENT_DB for r in made.readings})
    conditions = conditions_of(made, there)
    readings = expect(made.readings, conditions)
    none = nothing_wrong(made)
    this = np.array([c.tag == DULL_TAG for c in made.scenario.loudspeakers])
    lost = {NOT_LOADED: -conditions.results[NOT_LOADED].room_eq_db}
    fault = replace(none, levels=none.levels.louder(DULL, this), offsets_db=lost, longer=LONGER)
    rng = np.random.default_rng(19)
    found = {}
    livelier = {
        use: evaluate(r.scenario, room=r.reverberant.ringing_longer(np.full(7, LONGER)))
        for use, r in conditions.results.items()
    }
    for r, plain in zip(read_with(made, readings, conditions, fault), readings, strict=True):
        value = r.measured + rng.normal(size=8) * np.nan_to_num(plain.spread)
        if r.kind.key == "ambient":
            value = AMBIENT_DB
        elif r.kind.dba:
            value = in_octaves(value[BANDS] + VOLUME_DB)
        elif r.kind.key == "polarity":
            value = plain.expected
        elif r.kind.key == "sti":
            value[SINGLE] += livelier[r.use].sti[r.position.index] - plain.expected[SINGLE]
        found[r.key] = value
    return found


def main():
    """Write the file."""
    made = plan(load(SCENARIOS / "dovecote.toml"), ["game", "graduation"])
    values = measured(made)
    sheet = entry_sheet(made)
    rows = []
    for cells in sheet.rows:
        row = dict(zip(COLUMNS, cells, strict=True))
        reading, value = made.reading(row["reading"]), values[row["reading"]]
        digits = 1 if reading.kind.unit in ("dB", "dB(A)", "ms") else 2
        for column, v in zip((*OCTAVES, "value"), value, strict=True):
            row[column] = f"{v:.{digits}f}" if np.isfinite(v) else ""
        if reading.kind.key == "polarity":
            row["value"] = "ok"
        column, text = DAMAGED.get(reading.key, ("remark", ""))
        row = row | ({column: text} if column else dict.fromkeys(OCTAVES, ""))
        rows.append([row[c] for c in COLUMNS])
    with (SCENARIOS / "dovecote-readings.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([COLUMNS, *rows])
        writer.writerow([sheet.note])  # states form and uses, from which the report takes them
        writer.writerow(
            ["Invented readings, to show how a finished gym is compared with its design."]
        )


if __name__ == "__main__":
    main()
