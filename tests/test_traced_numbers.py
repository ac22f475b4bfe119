"""Numbers of every document traced to one evaluation: of each document ten printed cells are drawn
by lot and looked up in a fresh evaluation of the same school; writing evaluates nothing.
"""

import csv
import math
import random
import secrets
import sys
from dataclasses import replace
from functools import partial
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from schools import SCENARIOS

from gymtools.acoustics import evaluate as evaluate_module
from gymtools.acoustics.evaluate import evaluate
from gymtools.commissioning.plan import plan
from gymtools.commissioning.plan_time import timed_decision, timed_offer, timed_parts
from gymtools.design import decision as decision_module
from gymtools.design.decision import decide
from gymtools.design.offer import offer
from gymtools.design.options import HEADLINES, option
from gymtools.display.documents.commissioning import write_plan
from gymtools.display.documents.drawings import drawing_set
from gymtools.display.documents.drawings.marks import Dimension
from gymtools.display.documents.handover import write_record
from gymtools.display.documents.letter import write_letter
from gymtools.display.documents.specification.contents import specification
from gymtools.display.documents.specification.files import write_specification
from gymtools.equipment.bill import bill, with_plan_time
from gymtools.equipment.prices import in_units, money
from gymtools.equipment.schedules import parts, schedules
from gymtools.venue.spreadsheets import as_text

SCHOOL = replace(SCENARIOS["dovecote"], uses=SCENARIOS["dovecote"].uses[:2])
OTHER = replace(SCHOOL, treatments=(), name="Dovecote without panels")
# one that stays and one that a failure prints; named alike in all workers of a run
SEEDS = (19, secrets.randbelow(10**6))
twice = pytest.mark.parametrize("seed", SEEDS, ids=("kept", "by lot"))


class Cells(HTMLParser):
    """Cells of all tables of a page: a list of rows for each."""

    def __init__(self, page):
        super().__init__()
        self.tables, self._cell = [], False
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        if tag == "table":
            self.tables.append([])
        elif tag == "tr" and self.tables:
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")
            self._cell = True

    def handle_endtag(self, tag):
        self._cell = self._cell and tag not in ("td", "th")

    def handle_data(self, data):
        if self._cell:
            self.tables[-1][-1][-1] += data


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """All documents of one decision and one offer, and how often writing them evaluated."""
    folder, count = tmp_path_factory.mktemp("documents"), []
    with pytest.MonkeyPatch.context() as patch:
        for name, work in (("evaluate", evaluate), ("option", option), ("parts", parts)):
            patch.setattr(decision_module, name, partial(work, rays="few"))
        options = {"A": SCHOOL, "B": OTHER}
        decision = timed_decision(decide(options, draws=20))
        offered = timed_offer(offer(options, rays="few"))

        def counted(*given, **more):
            count.append(given)
            return evaluate(*given, **more)

        for name, module in list(sys.modules.items()):
            held = name.startswith("gymtools") and getattr(module, "evaluate", None)
            if held is evaluate:
                patch.setattr(module, "evaluate", counted)
        assert evaluate_module.evaluate is counted
        record = write_record(decision, folder)
        letter = write_letter(offered, folder)
        text = write_specification(decision.parts, folder)
        evaluations = len(count)
    return SimpleNamespace(
        decision=decision,
        offered=offered,
        record=record[0].parent,
        letter=letter[0].parent,
        text=text[0],
        evaluations=evaluations,
    )


@pytest.fixture(scope="module")
def fresh():
    """The same school evaluated anew."""
    return timed_parts(parts(replace(SCHOOL, text=None), rays="few"))


def drawn(cells, seed):
    """Ten of them by lot; all of them where there are fewer."""
    cells = list(cells)
    assert len(cells) >= 10
    return random.Random(seed).sample(cells, 10)


def test_writing_evaluates_nothing(written):
    """Behavior: record with schedules, drawings and price, letter and specification are written
    from what was computed; nothing is evaluated a second time for one of them.
    """
    assert written.evaluations == 0


def test_an_offer_evaluates_each_use_once_for_each_option(monkeypatch):
    """Behavior: two uses of two options are four evaluations, amplifiers and prices included."""
    count = []

    def counted(scenario, use, **more):
        count.append((scenario.name, use))
        return evaluate(scenario, use, **more)

    for name, module in list(sys.modules.items()):
        held = name.startswith("gymtools") and getattr(module, "evaluate", None)
        if held is evaluate:
            monkeypatch.setattr(module, "evaluate", counted)
    offer({"A": SCHOOL, "B": OTHER}, rays="few")
    assert count == [(s.name, u.name) for s in (SCHOOL, OTHER) for u in s.uses]


@twice
def test_schedules(written, fresh, seed):
    """Independent: cells of the CSV files are those of schedules of a fresh evaluation."""
    cells = []
    for n, table in enumerate(schedules(fresh), 1):
        table = table.in_units(SCHOOL.units)
        (path,) = written.record.glob(f"{n}-*.csv")
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))[1:]
        for k, row in enumerate(table.rows):
            for c, value in enumerate(row):
                if isinstance(value, (int, float)):
                    cells.append((path.name, table.columns[c], rows[k][c], value))
    for file, column, printed, value in drawn(cells, seed):
        assert printed == str(as_text(value)), (file, column, seed)


@twice
def test_record(written, fresh, seed):
    """Independent: what the record compares its options by is that of options evaluated anew, and
    what it lists of loudspeakers and cables that of a fresh evaluation's schedules.
    """
    tables = Cells((written.record / "record.html").read_text("utf-8")).tables
    both = [
        option(n, replace(s, text=None), rays="few", minutes=plan(s).minutes)
        for n, s in (("A", SCHOOL), ("B", OTHER))
    ]
    side = next(t for t in tables if t and t[0][:1] == ["figure"])
    cells = [
        (h.key, printed, o.text(h.key))
        for h, row in zip(HEADLINES, side[1:], strict=True)
        for o, printed in zip(both, row[1:], strict=True)
    ]
    for key, printed, value in drawn(cells, seed):
        assert printed.strip() == value, (key, seed)


@twice
def test_price_sheet(written, fresh, seed):
    """Independent: quantities, prices and hours of the workbook are those of the bill of a fresh
    evaluation.
    """
    sheet = openpyxl.load_workbook(written.record / "price.xlsx").worksheets[1]
    priced = bill(fresh.scenario, amplification=fresh.amplification)
    lines = with_plan_time(priced, plan(fresh.scenario).minutes)
    lines = {(x.kind, x.item): x for x in lines}
    cells = []
    for row in sheet.iter_rows(min_row=6, values_only=True):
        if line := lines.pop((row[1], row[2]), None):
            quantity, _, one = in_units(line, SCHOOL.units)
            cells += [
                (row[1:3], row[3], quantity),
                (row[1:3], row[5], line.price * one),
                (row[1:3], row[7], line.hours / line.quantity * one),
            ]
    assert not lines
    for item, printed, value in drawn(cells, seed):
        assert printed == pytest.approx(value), (item, seed)


@twice
def test_specification(written, fresh, seed):
    """Independent: figures of the text are those of a fresh evaluation under the same source, and
    stand on the page as they are printed.
    """
    page = written.text.read_text("utf-8")
    shown = {cell for table in Cells(page).tables for row in table for cell in row}
    figures = [
        (f, g)
        for f, g in zip(
            specification(written.decision.parts).figures, specification(fresh).figures, strict=True
        )
        if isinstance(g.value, (int, float, np.number)) and g.text in shown
    ]
    for figure, again in drawn(figures, seed):
        assert figure.source == again.source, seed
        assert figure.value == pytest.approx(again.value), (figure.source, seed)


@twice
def test_drawings(written, fresh, seed):
    """Independent: dimensions of the sheets of the decision are those of sheets drawn anew, and
    each measures what lies between its own points.
    """

    def dimensions(made):
        views = [placed.view for sheet in drawing_set(made) for placed in sheet.placed]
        return [m for view in views for m in view.marks if isinstance(m, Dimension)]

    pairs = zip(dimensions(written.decision.parts), dimensions(fresh), strict=True)
    for ours, again in drawn(pairs, seed):
        assert ours.text.words == again.text.words, seed
        length = abs(ours.feature - ours.datum)[ours.axis]
        assert math.isclose(float(ours.text.words.split()[0]), length, abs_tol=0.0051), seed


def test_letter(written):
    """Independent: the prices of the letter's options are those of a bill of options evaluated
    anew, and stand in cells of their own.
    """
    page = (written.letter / "letter.html").read_text("utf-8")
    for scenario in (SCHOOL, OTHER):
        made = timed_parts(parts(replace(scenario, text=None), rays="few"))
        assert f">{money(sum(x.total for x in made.lines), made.currency)}<" in page


@twice
def test_test_plan(tmp_path, seed):
    """Independent: each reading of the entry sheet stands at a point of the school, and the words
    for its place are those of a plan made anew.
    """
    school = replace(SCHOOL, uses=SCHOOL.uses[:1])
    paths = write_plan(plan(school, form="short"), tmp_path)
    (sheet,) = (p for p in paths if p.suffix == ".csv")
    with sheet.open(newline="", encoding="utf-8") as file:
        rows = {row[0]: row for row in csv.reader(file) if row}
    again = plan(replace(school, text=None), form="short").readings
    for reading in drawn(again, seed):
        printed = rows[reading.key]
        assert printed[4:6] == [reading.position.tag, reading.position.words], (reading.key, seed)
