"""The price as a spreadsheet: calculated by a program that knows nothing of the package, its totals
are the package's own, and a changed price changes them.
"""

import math
import os
import shutil
import subprocess
from dataclasses import replace
from functools import cache

import openpyxl
import pytest
from schools import SCENARIOS, heard

from gymtools.commissioning.plan import plan
from gymtools.commissioning.plan_time import plan_minutes
from gymtools.display.documents.price_sheet import ASKED, money_format, write_prices
from gymtools.equipment.amplification import amplify
from gymtools.equipment.bill import BY_PLAN, bill, cost, with_plan_time
from gymtools.equipment.prices import PriceBook, example_prices, in_units
from gymtools.equipment.quote import HIGH_PCT, LOW_PCT, RESERVE_PCT, quote
from gymtools.venue.hall import Treatment

LARKFIELD, DOVECOTE = SCENARIOS["larkfield"], SCENARIOS["dovecote"]
HOSTILE = "O'Brien's =1+1 [a]:b"
CALCULATOR = os.environ.get("GYMTOOLS_CALCULATOR", "ssconvert")
calculated_here = pytest.mark.skipif(
    not (shutil.which(CALCULATOR) or "GYMTOOLS_CALCULATOR" in os.environ),
    reason="no spreadsheet calculator here; CI installs gnumeric, whose ssconvert is one",
)


def calculated(path):
    """The workbook with every formula worked out by the calculator, and what it complained of."""
    worked = path.with_name(f"worked-{path.name}")
    done = subprocess.run(
        [CALCULATOR, "--recalc", path, worked], capture_output=True, text=True, check=True
    )
    wrong = [line for line in done.stderr.splitlines() if "nvalid" in line]
    with pytest.warns(UserWarning, match="no default style"):
        return openpyxl.load_workbook(worked, data_only=True), wrong


def row_of(sheet, column, words):
    """The first row whose cell in a column reads so."""
    return next(row for row in sheet.iter_rows() if row[column].value == words)


def change(path, sheet, cells):
    """Type values into cells, as a contractor would."""
    book = openpyxl.load_workbook(path)
    for cell, value in cells.items():
        assert book[sheet][cell].fill.start_color.rgb.endswith(ASKED), f"{cell} is no input"
        book[sheet][cell] = value
    book.save(path)


@cache
def driven(name):
    """What drives a school, by the textbook formula: rays change no price that is checked here."""
    s = SCENARIOS[name]
    return amplify(s, {u.name: heard(name, u.name, room="statistical") for u in s.uses})


def lines_of(scenario, name):
    """The bill of a variant of a school, on the amplifiers of the school itself."""
    return bill(scenario, amplification=driven(name))


@pytest.fixture(scope="module")
def quotes():
    """Two options of one school, one of them with a name that means something to spreadsheets."""
    bare = replace(LARKFIELD, treatments=())
    options = (("A", LARKFIELD), (HOSTILE, bare))
    return [quote(n, s, amplification=driven("larkfield")) for n, s in options]


@pytest.fixture
def written(quotes, tmp_path):
    path = tmp_path / "price.xlsx"
    write_prices(quotes, path, school="=cmd()", units="ft")
    return path


@calculated_here
def test_the_totals_are_the_packages_own_to_the_cent(quotes, written):
    """Independent: a spreadsheet program works out every formula; bill, reserve and range of each
    option are what the package says, the hours and labor too, and nothing was refused.
    """
    book, wrong = calculated(written)
    assert wrong == [] and len(book.sheetnames) == 3
    whole = cost(LARKFIELD, amplification=driven("larkfield"))
    assert whole == pytest.approx(quotes[0].total, abs=1e-9)
    summary = book["Summary"]
    for q, sheet in zip(quotes, book.worksheets[1:], strict=True):
        total = row_of(sheet, 1, "total")
        assert total[10].value == pytest.approx(q.total, abs=0.005)
        assert total[8].value == pytest.approx(sum(x.hours for x in q.lines), abs=1e-6)
        assert total[9].value == pytest.approx(sum(x.labor for x in q.lines), abs=0.005)
        said = [cell.value for cell in row_of(summary, 0, q.name)]
        low, high = q.range
        assert said[1] == pytest.approx(q.total, abs=0.005) and said[2] == 0
        assert said[3] == pytest.approx(q.total * RESERVE_PCT / 100, abs=0.005)
        assert said[4] == 0  # nothing rises before a year is given
        assert said[5:8] == pytest.approx([q.with_reserve, low, high], abs=0.005)
        assert said[8] == round(q.with_reserve) - round(quotes[0].with_reserve)
    assert low == pytest.approx(q.total * 1.1 * (1 - LOW_PCT / 100)) and high > low
    assert high == pytest.approx(q.total * 1.1 * (1 + HIGH_PCT / 100))


@calculated_here
def test_a_changed_price_changes_the_totals(quotes, written):
    """Worked by hand: 100 more for each of eight loudspeakers is 800 more; labor at 95 in place of
    85 is 10 for every hour; an alternate that is taken comes on top, and 20 % in reserve for all.
    """
    q = quotes[0]
    book = openpyxl.load_workbook(written)
    sheet = book.worksheets[1]
    dearer = row_of(sheet, 1, "loudspeaker")
    spare = next(r for r in sheet.iter_rows() if "spare one" in str(r[11].value))
    assert dearer[3].value == 8 and sheet.title == "1 A"
    cells = {dearer[5].coordinate: dearer[5].value + 100, spare[0].coordinate: 1}
    change(written, "1 A", cells)
    change(written, "Summary", {"B6": 95, "B7": 20})
    summary = calculated(written)[0]["Summary"]
    _, bill_now, taken, reserve, _, total = [c.value for c in row_of(summary, 0, "A")][:6]
    more = 800 + 10 * sum(x.hours for x in q.lines)
    assert bill_now == pytest.approx(q.total + more, abs=0.005) and taken == 980
    assert reserve == pytest.approx(0.2 * (bill_now + 980), abs=0.005)
    assert total == pytest.approx(1.2 * (bill_now + 980), abs=0.005)


def of_phases(sheet, item, column):
    """A column of the rows of lift or travel, by their phase."""
    return {r[0].value: r[column].value for r in sheet.iter_rows() if r[2].value == item}


def split_hours(lines):
    """Hours on site and overhead of the first phase and of the panels, sorted by hand."""
    ground = "amplifier rack microphone mixer processor spare commissioning permit training antenna"
    ground = {*ground.split(), "wall plate", "assistive listening", "fire alarm"}
    panels = sum(x.hours for x in lines if x.kind == "treatment")
    plain = [x for x in lines if x.kind not in ("lift hire", "travel", "treatment")]
    on_site = sum(x.hours for x in plain)
    return on_site, on_site - sum(x.hours for x in plain if x.kind in ground), panels


@calculated_here
def test_days_follow_the_hours_and_the_crew(quotes, written):
    """Independent: days of lift and crew of each phase, worked out by hand from its hours; both
    phases have a delivery, and together they are those of the bill. With three fitters of ten
    hours, and a loudspeaker of one hour more, the days follow, and a day's travel takes three
    fitters half as long again as two.
    """
    q = quotes[0]
    on_site, overhead, panels = split_hours(q.lines)
    sheet = calculated(written)[0]["1 A"]
    for item, hours in (("scissor lift", overhead), ("day of the crew", on_site)):
        days = of_phases(sheet, item, 3)
        assert days == {1: -(-hours // 16), 2: -(-panels // 16), 3: 0, "other": 0}
        assert sum(days.values()) == next(x.quantity for x in q.lines if x.item == item)
    deliveries = of_phases(sheet, "delivery, and boards under its wheels", 3)
    assert deliveries == {1: 1, 2: 1, 3: 0, "other": 0}
    assert of_phases(sheet, "day of the crew", 7)[1] == 1.0
    cell = row_of(openpyxl.load_workbook(written)["1 A"], 1, "loudspeaker")[7]
    change(written, "1 A", {cell.coordinate: cell.value + 1})
    change(written, "Summary", {"B12": 3, "B13": 10})
    sheet = calculated(written)[0]["1 A"]
    for item, hours in (("scissor lift", overhead + 8), ("day of the crew", on_site + 8)):
        days = of_phases(sheet, item, 3)
        assert days == {1: -(-hours // 30), 2: -(-panels // 30), 3: 0, "other": 0}
        assert of_phases(sheet, item, 11)[1].endswith("by 3 fitters, 10 hours a day")
    assert of_phases(sheet, "day of the crew", 7)[1] == pytest.approx(1.5)


def phase_rows(sheet):
    """Rows of the phases on the sheet of an option: by phase bill, alternates, reserve, today,
    then; and what the last says of lines without a phase.
    """
    start = row_of(sheet, 4, "bill")[0].row
    rows = [[sheet.cell(start + n, c).value for c in (5, 6, 7, 10, 11)] for n in range(1, 5)]
    return rows, sheet.cell(start + 4, 3).value


@calculated_here
def test_phases_add_up_and_follow_the_year(quotes, written):
    """Worked by hand: panels with their lift and travel are phase 2, all else phase 1, each with
    its reserve, and both are the total; done two years after the prices at 5 % a year the second
    costs 1.1025 times as much, which is in the total too. An alternate counts in the phase of what
    it changes: without the panels phase 2 keeps its lift and travel alone.
    """
    q = quotes[0]
    (panels,) = [x for x in q.lines if x.kind == "treatment"]
    days = -(-panels.hours // 16)
    there = days * 240 + (350 + 85) + days * (48 + 85)  # of the price book
    second = panels.total + there
    start = row_of(openpyxl.load_workbook(written)["1 A"], 4, "bill")[0].row
    change(written, "1 A", {f"B{start + 2}": 2028})
    change(written, "Summary", {"B10": 2026, "B11": 5.0})
    book, _ = calculated(written)
    rows, said = phase_rows(book["1 A"])
    assert [r[0] for r in rows] == pytest.approx([q.total - second, second, 0, 0], abs=0.005)
    assert [r[3] for r in rows] == pytest.approx([1.1 * r[0] for r in rows], abs=0.005)
    then = [1.1 * (q.total - second), 1.1 * 1.1025 * second, 0, 0]
    assert [r[4] for r in rows] == pytest.approx(then, abs=0.005)
    summary, shown = book["Summary"], ("1", "2", "3", "other")
    phases = [r for r in summary.iter_rows() if str(r[0].value) in shown]
    assert [r[1].value for r in phases] == pytest.approx(then, abs=0.005)
    total = [c.value for c in row_of(summary, 0, "A")]
    assert total[4] == pytest.approx(0.1025 * 1.1 * second, abs=0.005)
    assert total[5] == pytest.approx(sum(then), abs=0.005) and "every line has" in said
    left = next(r for r in book["1 A"].iter_rows() if "leave out" in str(r[11].value))
    change(written, "1 A", {left[0].coordinate: 1})
    book, _ = calculated(written)
    rows, _ = phase_rows(book["1 A"])
    assert rows[1][1] == pytest.approx(-panels.total, abs=0.005)
    assert rows[1][3] == pytest.approx(1.1 * there, abs=0.005)
    total = row_of(book["Summary"], 0, "A")[5].value
    assert total == pytest.approx(sum(r[4] for r in rows), abs=0.005)


@calculated_here
def test_a_line_without_a_phase_is_counted_and_said(quotes, written):
    """Behavior: panels in a phase 7 stand in a row of their own with their lift and travel, a cell
    says that one line has another phase, and the total stays what it was.
    """
    q = quotes[0]
    (panels,) = [x for x in q.lines if x.kind == "treatment"]
    cell = row_of(openpyxl.load_workbook(written)["1 A"], 1, "treatment")[0]
    change(written, "1 A", {cell.coordinate: 7})
    book, _ = calculated(written)
    rows, said = phase_rows(book["1 A"])
    assert "CHECK: 1 lines have another phase" in said
    assert rows[1][3] == 0 and rows[3][0] > panels.total
    total = row_of(book["Summary"], 0, "A")[5].value
    assert total == pytest.approx(q.with_reserve, abs=0.005)
    assert total == pytest.approx(sum(r[4] for r in rows), abs=0.005)


@pytest.mark.parametrize("name", ["larkfield", "dovecote"])
def test_a_sheet_is_in_the_units_of_the_school(name, tmp_path):
    """Behavior: lengths of cable and conduit in the school's units, boxes of panels said in them,
    the paper of the country, whose prices they are, and why so many of everything.
    """
    school = SCENARIOS[name]
    q = quote("A", school, amplification=driven(name))
    write_prices([q], tmp_path / "p.xlsx", school=school.name, units=school.units)
    sheet = openpyxl.load_workbook(tmp_path / "p.xlsx").worksheets[1]
    metric = school.units == "m"
    cable, panels = row_of(sheet, 1, "conduit"), row_of(sheet, 1, "treatment")
    run = next(x for x in q.lines if x.kind == "conduit").quantity  # the price book counts meters
    assert cable[4].value == school.units
    assert cable[3].value == pytest.approx(run if metric else run / 0.3048)
    assert cable[5].value == pytest.approx(3.40 if metric else 3.40 * 0.3048)
    assert panels[4].value == ("box of 2.97 m²" if metric else "box of 32 ft²")
    assert sheet.page_setup.paperSize == (9 if metric else 1)
    assert "invented" in sheet["A2"].value and "wall panels" in panels[2].value
    last = row_of(sheet, 1, "total")[0].row - 1
    lines = [r for r in sheet.iter_rows(min_row=6, max_row=last)]
    assert all(r[11].value and r[0].value in (1, 2, 3, "other") for r in lines)
    assert {r[2].value for r in lines} == {x.item for x in q.lines}


def test_names_run_nothing_and_the_file_is_the_same_twice(quotes, written, tmp_path):
    """Behavior: a name that is a formula is shown as text; the same options give the same bytes."""
    book = openpyxl.load_workbook(written)
    texts = [c.value for s in book for r in s.iter_rows() for c in r if isinstance(c.value, str)]
    assert not any(t.startswith("=cmd") for t in texts) and "'=cmd()" in " ".join(texts)
    assert all(set(s.title).isdisjoint("[]:*?/\\'") for s in book)
    write_prices(quotes, tmp_path / "again.xlsx", school="=cmd()", units="ft")
    assert (tmp_path / "again.xlsx").read_bytes() == written.read_bytes()


@pytest.mark.parametrize(
    "currency, said",
    [("$", '"$"#,##0.00'), ("EUR", '#,##0.00 "EUR"'), ("", "#,##0.00"), ('"x', '#,##0.00 "x"')],
)
def test_money_is_in_the_books_currency(currency, said):
    """Behavior: a sign stands before, a code behind, a quotation mark breaks no format."""
    assert money_format(currency) == said


def test_what_is_left_out_is_the_treatment_as_it_is_ordered():
    """Worked by hand: 100 m2 of panels are 33.6 boxes of 2.9729 m2, so 34; left out they are 34
    fewer, at 282 each and 1.8 hours at 85.
    """
    school = replace(
        DOVECOTE,
        treatments=(
            Treatment(surface="roof", area=60.0, finish="wall panels"),
            Treatment(surface="east wall", area=40.0, finish="wall panels"),
        ),
    )
    q = quote("A", school, amplification=driven("dovecote"))
    (line,) = [x for x in q.lines if x.kind == "treatment"]
    assert (line.quantity, line.unit) == (34, "box of 32 ft2")
    assert line.why == "roof 60 m², east wall 40 m²"
    (left,) = [x for x in q.alternates if x.kind == "treatment"]
    assert left.total == pytest.approx(-34 * (282 + 1.8 * 85)) == pytest.approx(-line.total)


def test_an_own_book_is_named_and_not_called_invented():
    """Behavior: the quote of an own price book carries its name and its money."""
    own = PriceBook(
        [p for p in example_prices().prices.values() if p.kind != "currency"], "ours.csv"
    )
    q = quote("A", DOVECOTE, own, amplification=driven("dovecote"))
    assert (q.book_name, q.currency, q.invented) == ("ours.csv", "", False)
    assert quote("A", DOVECOTE, amplification=driven("dovecote")).invented
    assert q.total == pytest.approx(cost(DOVECOTE, own, amplification=driven("dovecote")))


def test_days_of_lift_and_crew_follow_the_hours():
    """Invariance: a bare gym takes fewer days than the same with its panels, by the hours that the
    panels take: 61 boxes of 1.8 h are 109.8 h, of two fitters 6.9 days.
    """
    days = [
        next(x.quantity for x in lines_of(s, "dovecote") if x.item == "scissor lift")
        for s in (DOVECOTE, replace(DOVECOTE, treatments=()))
    ]
    assert days[0] - days[1] in (6, 7)


# minutes of two people for a reading, and before the first of its kind    common practice
READING = {"level": 1, "sti": 1.5, "alone": 1.5, "polarity": 1, "arrival": 3, "reverberation": 3}
READING |= {"feedback margin": 4, "maximum level": 4, "ambient": 2}
ONCE = 20 + 6 + 3 + 3  # unpacking and calibrating; a source, a channel alone, a polarity test
PRESET = 2  # to recall one


@pytest.mark.parametrize("name", SCENARIOS)
def test_the_hours_of_measuring_are_those_of_the_test_plan(name):
    """Independent: beside the four hours of setting up, a quote counts the time of two people for
    all readings of the full test plan, worked out here from each of them; the estimate that a
    search takes is within 15 % of it. Days of the crew follow the hours.
    """
    school = SCENARIOS[name]
    made, estimate = plan(school), lines_of(school, name)
    minutes = ONCE + PRESET * len(made.leads) + sum(READING[r.kind.key] for r in made.readings)
    q = quote("A", school, amplification=driven(name), minutes=plan_minutes(school))
    hours = [
        sum(x.hours for x in lines if x.kind == "commissioning") for lines in (estimate, q.lines)
    ]
    assert hours[1] - 4 == pytest.approx(2 * minutes / 60, abs=1e-9)
    assert hours[0] - 4 == pytest.approx(2 * minutes / 60, rel=0.15)
    (line,) = [x for x in q.lines if x.item == BY_PLAN]
    assert f"{minutes:.0f} minutes" in line.why and "full form" in line.why
    assert line.labor == pytest.approx(line.hours * q.book.hour)
    (days,) = [x for x in q.lines if x.item == "day of the crew"]
    on_site, _, panels = split_hours(q.lines)
    assert days.quantity == math.ceil(on_site / 16) + math.ceil(panels / 16)
    assert days.total / days.quantity == pytest.approx(q.book.line("travel", days.item, 1).total)


def test_a_bill_without_lines_of_measuring_is_left_as_it_is():
    """Behavior: a price book whose one line of commissioning holds all of it is not charged for the
    plan again, and a bill that has the plan's line is left alone.
    """
    lines = lines_of(DOVECOTE, "dovecote")
    once = with_plan_time(lines, 192.0)
    assert with_plan_time(once, 192.0) == once != lines
    old = tuple(x for x in lines if "measured" not in x.item)
    assert with_plan_time(old, 192.0) == old


def test_a_quantity_is_the_same_in_both_units():
    """Closed form: 10 m of cable are 32.81 ft, at a price for one that costs the same."""
    line = example_prices().line("cable", "12 AWG", 10.0)
    quantity, unit, one = in_units(line, "ft")
    assert (round(quantity, 2), unit) == (32.81, "ft")
    assert quantity * line.price * one == pytest.approx(line.quantity * line.price)


@pytest.mark.parametrize("name", SCENARIOS)
def test_the_plans_time_is_the_same_with_amplifiers_at_hand(name):
    """Invariance: whether the amplifiers are chosen anew or handed over."""
    school = SCENARIOS[name]
    assert plan_minutes(school, driven(name)) == plan_minutes(school)
