"""The decision record: the same twice, every number from the evaluation, hostile text as text,
offline in a browser, on paper; and what one revision says of the one before.
"""

import base64
import datetime
import io
import json
import re
import zlib
from dataclasses import replace
from functools import partial
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from browser import FLAGS, SHOTS, browser_path
from playwright.sync_api import sync_playwright
from schools import SCENARIOS, heard

from gymtools.acoustics.criteria import CRITERIA
from gymtools.acoustics.evaluate import evaluate, evaluate_all
from gymtools.command_line import documents as command_line
from gymtools.command_line.entry import main
from gymtools.commissioning.plan import plan
from gymtools.commissioning.plan_time import timed_decision, timed_parts
from gymtools.design import decision as decision_module
from gymtools.design.arrangements import arrange
from gymtools.design.decision import decide, options_of, proposed_reason, reasons
from gymtools.design.options import HEADLINES
from gymtools.design.plain_reason import plain_reason
from gymtools.design.revisions import (
    Issue,
    changes_since,
    counted,
    earlier_record,
    kept_text,
    total_of,
)
from gymtools.display.cautions import LIMITS
from gymtools.display.documents import handover, record_sounds
from gymtools.display.documents.handover import write_handover, write_record
from gymtools.display.documents.letter import letter_html
from gymtools.display.documents.page import BLANK, Page, quoted
from gymtools.display.documents.record import record_html
from gymtools.display.documents.record_figures import sectioned_area
from gymtools.display.documents.record_gym import gym
from gymtools.display.documents.record_inputs import inputs
from gymtools.display.documents.seat_plan import LETTER, WIDE, seat_plan, shown_use
from gymtools.display.parameters import checked
from gymtools.display.tables.board import JudgedUse, board_row, board_sentence
from gymtools.display.tables.schedules import UNITS, tables_of
from gymtools.equipment.bill import BY_PLAN
from gymtools.equipment.prices import INVENTED, PriceBook, example_prices, money
from gymtools.equipment.schedules import parts, schedules
from gymtools.venue.files import load, save
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.paths import changed
from gymtools.venue.validation import conflicts_beside_court, court_conflicts, low_over_courts

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
LARK = SCENARIOS["larkfield"].uses
SHORT = replace(DOVECOTE, uses=DOVECOTE.uses[:2])
DAY = datetime.date(2026, 11, 25)
HOSTILE = '<script>alert("x")</script> & "quotes" </script> right to left ' + "long " * 20 + "end"


class Reader(HTMLParser):
    """Rows of all tables, paragraphs, and what must not be there."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.scripts, self.text, self.tags, self._cell, self._skip = (
            [],
            0,
            [],
            [],
            None,
            False,
        )
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag == "table":
            self.tables.append([])
        elif tag == "tr" and self.tables:
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self._cell = []
        self._skip = tag in ("script", "style") or self._skip
        self.scripts += tag == "script"

    def handle_endtag(self, tag):
        if tag in ("td", "th") and self.tables and self.tables[-1]:
            self.tables[-1][-1].append("".join(self._cell or []).strip())
            self._cell = None
        if tag in ("script", "style"):
            self._skip = False

    def handle_data(self, data):
        if self._skip:
            return
        self.text.append(data)
        if self._cell is not None:
            self._cell.append(data)

    def table(self, first):
        """The table whose first head cell reads so."""
        return next(t for t in self.tables if t and t[0] and t[0][0] == first)


@pytest.fixture(scope="module")
def decision():
    return decide({"as drawn": SHORT, "pendants": arrange(SHORT, "pendants")}, draws=20)


@pytest.fixture(scope="module")
def html(decision):
    return record_html(decision, date=DAY)


def test_the_same_inputs_give_the_same_document(decision, html):
    """Invariance: made again from the start it is identical; on another day one line differs."""
    again = decide({"as drawn": SHORT, "pendants": arrange(SHORT, "pendants")}, draws=20)
    assert record_html(again, date=DAY) == html and again.inputs_hash == decision.inputs_hash
    later = record_html(decision, date=datetime.date(2028, 1, 2))
    assert later != html and later.replace("2028-01-02", "2026-11-25") == html
    other = decide(
        {
            "as drawn": replace(SHORT, air=replace(SHORT.air, humidity_pct=51)),
            "pendants": arrange(SHORT, "pendants"),
        },
        draws=20,
    )
    assert other.inputs_hash != decision.inputs_hash


def dearer(name="own.csv"):
    """A price book in which one price is another."""
    prices = [*example_prices().prices.values()]
    prices[3] = replace(prices[3], price=prices[3].price + 1)
    return PriceBook(prices, name)


def test_the_hash_is_of_everything_that_is_read(monkeypatch):
    """Regression: another price, name of a price book, balloon of a loudspeaker's file, number of
    draws or version of the package gives another hash; the same give the same.
    """
    monkeypatch.setattr(decision_module, "how_sure", lambda *_, **__: None)
    monkeypatch.setattr(
        decision_module, "option", lambda name, *_, **__: SimpleNamespace(name=name)
    )
    nothing = SimpleNamespace(results={}, amplification=None)
    monkeypatch.setattr(decision_module, "parts", lambda *_, **__: nothing)
    monkeypatch.setattr(decision_module, "priced", lambda *_, **__: None)

    def measured(extra_db):
        kind = loudspeaker_types()[SHORT.groups[0].loudspeaker]
        balloon = kind.balloon_db.copy()
        balloon[:, -1] += extra_db
        kind = replace(kind, name="our own", measured_db=balloon)
        groups = (replace(SHORT.groups[0], loudspeaker="our own"), *SHORT.groups[1:])
        return replace(SHORT, measured_types=(kind,), groups=groups)

    def hashed(scenario=None, **more):
        return decide({"a": scenario or measured(0.0)}, **more).inputs_hash

    first = hashed()
    others = [hashed(measured(-1.0)), hashed(prices=dearer()), hashed(prices=dearer("b.csv"))]
    others += [hashed(draws=150), hashed(replace(measured(0.0), units="ft"))]
    assert hashed() == hashed(measured(0.0)) == first and len(first) == 64
    monkeypatch.setattr(decision_module, "package", lambda: "another")
    others.append(hashed())
    assert len({first, *others}) == 1 + len(others)


def test_the_record_names_its_price_book(decision, html):
    """Regression: the record says whose prices it holds, in words for the school and for the
    file.
    """
    assert decision.prices == INVENTED and f"Priced by {quoted(INVENTED)};" in html
    priced = replace(decision, prices="<own>.csv")
    for reader in ("school", "installer", "file"):
        assert f"Priced by {quoted('<own>.csv')};" in record_html(priced, reader=reader)
    assert f"The price book is {quoted('<own>.csv')}." in record_html(priced)


def test_two_options_of_one_name_are_refused(tmp_path, monkeypatch):
    """Regression: files of one name in two folders, and a file called like a layout, are refused by
    command line, function and parameters cell alike; none takes the other's place.
    """
    one = replace(SHORT, uses=SHORT.uses[:1])
    files = [tmp_path / "a.toml", tmp_path / "other" / "a.toml", tmp_path / "pendants.toml"]
    (tmp_path / "other").mkdir()
    for file in files:
        save(one, file)
    cases = (
        (files[:2], (), r"two options are called 'a'\. Give their files other names\."),
        ([files[0], files[2]], ("pendants",), r"two options are called 'pendants'\. Name the"),
        (files[:1], ("pendants", "pendants"), r"two options are called 'pendants'\. Name the"),
    )
    for paths, keys, said in cases:
        with pytest.raises(ValueError, match=f"^{said}"):
            options_of(paths, keys)
        more = dict(arrangements=list(keys), units="", reader="file", folder="")
        with pytest.raises(ValueError, match=f"^In the parameters cell: .*{said}"):
            checked(scenario=str(paths[0]), against=[str(p) for p in paths[1:]], **more)
    found = options_of([files[0], files[2]], ("center four",))
    assert list(found) == ["a", "pendants", "center four"] and found["pendants"] == one
    assert found["center four"] == arrange(one, "center four")


def test_the_document_knows_one_room(decision, html):
    """Behavior: every figure is of all rays; the textbook formula stands in one row of each use, as
    a cross-check that is called so. What is drawn holds the figure that is judged.
    """
    words = " ".join(" ".join(Reader(html).text).split())
    for limit in LIMITS:  # one of them tells how the panel works
        assert limit in words
        words = words.replace(limit, "")
    said = re.search(r"few rays|by formula|traced room|room traced|statistical", words)
    assert not said, said
    lines = [line for line in Reader(html).text if "formula" in line and "Eyring" in line]
    assert len(lines) == len(SHORT.uses) and all("as a cross-check" in line for line in lines)
    assert all(o.rays == "full" for o in decision.options)
    for use, sureness in decision.uncertainty.items():
        verdicts = evaluate(SHORT, use).verdicts
        stated = {(v.criterion, v.area): v.value for v in verdicts if v.criterion != "echo"}
        assert stated == {(r.criterion, r.area): r.value for r in sureness.ranges}
        assert all(r.low <= r.value <= r.high for r in sureness.ranges)


def _printed(value, column):
    """A cell of a schedule as the record prints it."""
    if isinstance(value, int | float):
        return f"{value:,.2f}" if column.endswith("[m]") else f"{value:,.10g}"
    return " ".join(UNITS.get(value, value).split())


def test_numbers_are_the_evaluations(decision, html):
    """Closed form: verdicts, headlines, bill, levels and chances in the document are those of fresh
    computations.
    """
    seen = Reader(html)
    words = " ".join(" ".join(seen.text).split())
    for use in SHORT.uses:
        result = evaluate(SHORT, use.name, room="traced")
        for v in result.verdicts:
            sentence = CRITERIA[v.criterion].sentence(v, SHORT.units)
            assert " ".join(sentence.split()) in words, sentence
    side = seen.table("figure")
    assert side[0][1:] == ["as drawn (chosen)", "pendants"]
    for row, h in zip(side[1:], HEADLINES, strict=True):
        assert row[1:] == [o.text(h.key) for o in decision.options]
    assert f"${sum(line.total for line in decision.parts.lines):,.0f}: $" in words
    for schedule in schedules(decision.parts):
        for part in tables_of(schedule.in_units("m")):
            found = next(t for t in seen.tables if t and t[0] == list(part.columns))
            for got, want in zip(found[1:], part.rows, strict=True):
                assert got == [_printed(v, c) for v, c in zip(want, part.columns, strict=True)]
    for sureness in decision.uncertainty.values():
        for r in sureness.ranges:
            assert f"{100 * r.chance:.0f} %" in words
    assert decision.inputs_hash in words and "gymtools" in words


def test_reasons_are_computed():
    """Closed form: what an option is worse and better in follows its figures, with their signs."""

    def option(**h):
        figures = dict.fromkeys([h.key for h in HEADLINES], 1.0) | h
        return SimpleNamespace(name="x", headlines=figures, currency="$")

    worse, dominated = reasons(option(), option(cost=2.0))
    assert (
        worse == "It is worse in cost: $2, against $1."
        and dominated == "The chosen one is at least as good in every figure."
    )
    both = reasons(option(), option(cost=0.5, sti=0.5))
    assert both == [
        "It is worse in speech intelligibility (STI), worst use: 0.50, against 1.00.",
        "It is better in cost: $0, against $1.",
    ]
    assert "rests on something else" in reasons(option(), option(cost=0.4))[-1]
    assert (
        "equal those" in reasons(option(), option())[0]
        and len(reasons(option(), option(feedback_margin=None))) == 1
    )


def test_parts_for_the_reader(decision):
    """Behavior: the school's record is the plain page with cautions and signatures; the
    installer's has the schedules; only the file's has all.
    """
    school, installer, whole = (
        record_html(decision, reader=r, date=DAY) for r in ("school", "installer", "file")
    )
    assert (
        "In plain words" in school
        and "schedules</h2>" not in school
        and "Cautions" in school
        and "Signatures" in school
        and "plotly" not in school
        and len(school) < 150_000
    )
    assert "schedules</h2>" in installer and "Options considered" not in installer
    assert all(
        h in whole
        for h in (
            "What it rests on",
            "Options considered",
            "How the gym rings",
            "How sure",
            "What the model cannot say",
            "SHA-256",
            "Signatures",
        )
    )
    with pytest.raises(
        ValueError, match=r"reader = 'principal' is unknown\. Known: school, installer, file"
    ):
        record_html(decision, reader="principal")


def test_figures_and_tables_are_accessible(html):
    """Behavior: every table has a caption or stands in a titled part, every figure a caption and a
    description; plotly's code is there once; no address to fetch from.
    """
    seen = Reader(html)
    figures = [a for tag, a in seen.tags if tag == "div" and a.get("role") == "img"]
    drawn = [a for tag, a in seen.tags if tag == "svg"]
    assert all(a["role"] == "img" and len(a["aria-label"]) > 10 for a in drawn)
    assert len(figures) == html.count("<figcaption>") == len(
        {a["id"] for a in figures}
    ) > 8 and all(len(a["aria-label"]) > 10 for a in figures)
    # the ranges stand under a sentence
    assert (
        sum(tag == "table" for tag, _ in seen.tags) - sum(tag == "caption" for tag, _ in seen.tags)
        <= 2
    )
    assert html.count("plotly.js v") <= 2 and not re.search(
        r'(src|href)="', re.sub(r"<script>.*?</script>", "", html, flags=re.S)
    )


def test_hostile_text_is_text(tmp_path):
    """Behavior: tags, quotes, very long and right-to-left text in every name of a scenario are
    shown as text, and nothing runs.
    """
    uses = (
        replace(
            SHORT.uses[0],
            name=HOSTILE,
            groups={HOSTILE: replace(SHORT.uses[0].group_setting(SHORT.groups[0].name))},
        ),
    )
    groups = (replace(SHORT.groups[0], name=HOSTILE), *SHORT.groups[1:])
    s = replace(SHORT, name=HOSTILE, source=HOSTILE, uses=uses, groups=groups)
    page = record_html(decide({HOSTILE: s}, draws=20), date=DAY)
    assert "<script>alert" not in page and "</script> &" not in page
    assert (
        Reader(page).scripts
        == Reader(
            record_html(decide({"plain": replace(SHORT, uses=SHORT.uses[:1])}, draws=20), date=DAY)
        ).scripts
    )


@pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
def test_it_opens_offline_and_prints(decision, tmp_path):
    """Behavior: in Chromium with the network off no request leaves, the console has no error, every
    figure is drawn; the PDF has pages.
    """
    paths = write_record(decision, tmp_path, date=DAY)
    assert (
        paths[0].name == "record.html"
        and (paths[0].parent / "option-1-pendants-not-chosen.toml").exists()
    )
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path(), args=FLAGS)
        context = browser.new_context(offline=True, viewport={"width": 1100, "height": 1400})
        page, errors, left = context.new_page(), [], []
        page.on("pageerror", lambda e: errors.append(str(e)))
        page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
        page.on(
            "request",
            lambda r: (
                left.append(r.url) if not r.url.startswith(("file:", "data:", "blob:")) else None
            ),
        )
        page.goto(paths[0].as_uri())
        page.wait_for_function(
            "() => document.querySelectorAll('figure .main-svg').length >="
            " document.querySelectorAll('figure').length",
            timeout=60_000,
        )
        SHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SHOTS / "record.png")
        page.locator("h2", has_text="Game").scroll_into_view_if_needed()
        page.evaluate(
            "() => [...document.querySelectorAll('h2')].find(h =>"
            " h.innerText.includes('Game')).scrollIntoView()"
        )
        page.screenshot(path=SHOTS / "record_use.png")
        page.emulate_media(media="print")
        page.set_viewport_size({"width": PRINTED, "height": 1000})
        wide = page.evaluate(TOO_WIDE)
        page.emulate_media(media="screen")
        page.set_viewport_size({"width": 1440, "height": 900})
        wide += page.evaluate(TOO_WIDE)
        page.pdf(path=SHOTS / "record.pdf", prefer_css_page_size=True)
        browser.close()
    assert (errors, left, wide) == ([], [], [])
    pages = letters_by_page((SHOTS / "record.pdf").read_bytes())
    assert 10 < len(pages) < 30 and min(pages) > LEAST_LETTERS


PRINTED = 688  # width of what is printed on A4 between its margins [px]
TOO_WIDE = """() => [...document.querySelectorAll('table')].filter(t =>
    t.scrollWidth > document.body.clientWidth + 1 || t.getBoundingClientRect().right >
    document.body.getBoundingClientRect().right + 1).map(t => t.innerText.slice(0, 40))"""
LEAST_LETTERS = 150  # on a page that is not blank: its foot has about 60


def letters_by_page(pdf):
    """How many letters every page of a PDF shows, as Chromium writes it: pages in order, content
    packed, letters as glyphs of four hexadecimal digits.
    """
    things = dict(re.findall(rb"(?:^|\n)(\d+) 0 obj\n(.*?)\nendobj", pdf, re.S))
    found = []
    for number, thing in things.items():
        if re.search(rb"/Type\s*/Page\b", thing):
            content = re.search(rb"/Contents\s+(\d+) 0 R", thing)[1]
            packed = things[content].partition(b"stream\n")[2].rpartition(b"\nendstream")[0]
            glyphs = b"".join(re.findall(rb"<([0-9A-Fa-f]+)>", zlib.decompress(packed)))
            found.append((int(number), len(glyphs) // 4))
    return [count for _, count in sorted(found)]


@pytest.fixture
def quick(monkeypatch):
    """The command line draws the unknowns a few times only."""
    monkeypatch.setattr(command_line, "decide", partial(decide, draws=20))


def test_the_command_line(tmp_path, capsys, quick):
    """Behavior: python -m gymtools record writes files into a folder, and replaces nothing unless
    asked.
    """
    one = replace(SHORT, uses=SHORT.uses[:1])
    save(one, tmp_path / "a.toml")
    save(arrange(one, "pendants"), tmp_path / "b.toml")
    call = ["record", str(tmp_path / "a.toml"), "--against", str(tmp_path / "b.toml")]
    call += ["--folder", str(tmp_path), "--reader", "school"]
    more = ["--reason", "The lift.", "--for", "Ann", "--date", "2026-11-25", "--units", "ft"]
    assert main([*call, *more]) == 0 and "files are in" in capsys.readouterr().out
    (page,) = tmp_path.glob("*/record.html")
    text = page.read_text(encoding="utf-8")
    for said in (quoted("The lift."), f"for: {quoted('Ann')}", "Date: 2026-11-25", "size: letter;"):
        assert said in text
    page.write_text("not to be lost", encoding="utf-8")
    assert main(call) == 2 and "exists" in capsys.readouterr().err
    assert page.read_text(encoding="utf-8") == "not to be lost"
    assert main([*call[:2], *call[4:], "--overwrite"]) == 0
    assert "In plain words" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words, refusal",
    [
        (["record", "none.toml"], "there is no such scenario file"),
        (["record", "a.toml", "--against", "a.toml"], "two options are called 'a'"),
        (["record", "a.toml", "--prices", "p.csv"], "p.csv"),
        (["record", "broken.toml"], "broken.toml"),
        (["record", ""], "scenario: is empty"),
        (["record", "a.toml", "--prices", ""], "--prices: is empty"),
        (["record", "a.toml", "--against", " "], "--against: is empty"),
        (["record", "a.toml", "--folder", ""], "--folder: is empty"),
        (["report", "a.toml", "r.csv", "--waves", ""], "--waves: is empty"),
        (["testplan", "a.toml", "--use", ""], "--use: is empty"),
        (["open", ""], "workbook: is empty"),
        (
            ["record", "a.toml", "--date", "tomorrow"],
            "--date: 'tomorrow' is no day. Write it as 2026-11-26",
        ),
        (["record", "a.toml", "--reason", " "], "--reason: is empty"),
        (["record", "a.toml", "--reader", "principal"], "invalid choice: 'principal'"),
        (["record"], "required: scenario"),
        (["testplan", "none.toml"], "there is no such scenario file"),
        (["testplan", "a.toml", "--use", "chess"], "chess"),
        (["report", "a.toml", "none.csv"], "none.csv"),
        (["open", "none.ipynb"], "none.ipynb: there is no such notebook"),
        (["open", "--port", "http"], "invalid int value: 'http'"),
        (["sing"], "invalid choice: 'sing'"),
        ([], "required: command"),
    ],
    ids=" ".join,
)
def test_every_command_refuses_in_one_line(words, refusal, tmp_path, monkeypatch, capsys):
    """Behavior: what cannot be done is refused in one line that names it, with status 2."""
    monkeypatch.chdir(tmp_path)
    save(replace(SHORT, uses=SHORT.uses[:1]), "a.toml")
    Path("broken.toml").write_text("units = ", encoding="utf-8")
    try:
        status = main(words)
    except SystemExit as end:  # of the parser
        status = end.code
    told = [line for line in capsys.readouterr().err.splitlines() if not line.startswith("Tracing")]
    assert status == 2 and len(told) == 1 and refusal in told[0]
    assert "Traceback" not in told[0] and "Errno" not in told[0]


def test_decisions_that_cannot_be():
    """Behavior: no option, or an unknown one, is refused in one line."""
    with pytest.raises(ValueError, match=r"options: give at least one"):
        decide({})
    with pytest.raises(ValueError, match=r"chosen = 'b' is none of the options: a"):
        decide({"a": SHORT}, "b")


# --- what stands on the first page


def test_the_board_is_the_meetings(decision, html):
    """Regression: the record's board has the rows and words of the meeting's, cell by cell, and its
    sentence; no second place says which use fails what.
    """
    seen = Reader(html)
    shown = next(t for t in seen.tables if t and t[0][:2] == ["use", "Loud enough?"])
    judged = [JudgedUse.of(r) for r in decision.results.values()]
    for got, use in zip(shown[1:], judged, strict=True):
        row = board_row(use)
        assert got[0] == row["use"] + row["note"]
        for cell, want in zip(got[1:], row["cells"], strict=True):
            said = "".join(want[key] for key in ("word", "number", "count", "where"))
            assert cell == (said or "-")
    assert " ".join(board_sentence(judged).split()) in " ".join(" ".join(seen.text).split())


def test_seats_are_marked_as_they_are_judged(decision):
    """Closed form: the drawing has a dot, a ring or a cross for each seat, as many as the figures
    of its seats give; the words below it say the shares. Nothing hangs on color: each is a path of
    another form.
    """
    result = shown_use(decision.results)
    sti, target = result.sti, result.scenario.targets.sti
    close, shown = CRITERIA["sti"].close, CRITERIA["sti"].shown
    asked = [sti[result.spans[name]] for name in result.weights]
    values = [v for area in asked for v in area]
    meets = sum(v >= target - shown for v in values)
    misses = sum(v < target - close for v in values)
    drawn = seat_plan(result)
    for word, count in (("meets", meets), ("close", len(values) - meets - misses)):
        assert drawn.split(f'class="{word}" d="')[1].partition('"')[0].count("h0") == count
    crosses = drawn.split('class="misses" d="')[1].partition('"')[0].count("l")
    assert crosses == 2 * misses
    for sign, count in (("●", meets), ("×", misses)):
        assert re.search(rf"{sign} \w+ the target: {100 * count / len(values):.0f} %", drawn)
    with pytest.raises(ValueError, match=r"^quantity = 'distance': no seat is held against"):
        seat_plan(result, "distance")


def test_the_section_goes_through_the_seats_of_the_use():
    """Trade fact: at a graduation and a performance the chairs on the floor are those who came for
    it (common practice, no source); where all bleachers hear alike they are cut, and a class on
    the court has no rows to cut.
    """
    cut = {u.name: sectioned_area(heard("larkfield", u.name, room="statistical")) for u in LARK}
    assert cut["performance"] == "show chairs" and cut["class"] is None
    assert cut["graduation"] == "graduation chairs" and cut["game"] == "north bank"


@pytest.mark.parametrize("name", SCENARIOS)
def test_no_word_of_the_plan_lies_over_another(name):
    """Regression: in every use of every school tags, names and scale stand apart, within the sheet;
    letters are taken as wide as the widest usual ones, 0.62 of their height.
    """
    s = SCENARIOS[name]
    for use in s.uses:
        drawn = seat_plan(evaluate(s, use.name, rays="few"))
        words = re.findall(r'<text x="([\d.-]+)" y="([\d.-]+)"[^>]*>([^<]*)<', drawn)
        assert len(words) >= len(s.loudspeakers) + 2
        boxes = [
            (float(x), float(y) - 0.8 * LETTER, float(x) + 0.62 * LETTER * len(text), float(y) + 4)
            for x, y, text in words
        ]
        for n, (x0, y0, x1, y1) in enumerate(boxes):
            assert 0 <= x0 and x1 <= WIDE and y0 >= 0, words[n]
            for a0, b0, a1, b1 in boxes[:n]:
                assert x1 <= a0 or a1 <= x0 or y1 <= b0 or b1 <= y0, words[n]


def test_letter_and_record_propose_one_reason(decision):
    """Behavior: the reason that the figures propose is the same sentence in both documents, and
    both say the price of the chosen option with its reserve; the record its bill too.
    """
    decision = timed_decision(decision)
    page, letter = record_html(decision, date=DAY), letter_html(decision.offered)
    said = quoted(plain_reason(decision.offered))
    assert said in page and said in letter
    totals = [o.quote.total for o in decision.offered]
    assert totals == pytest.approx([o.row["cost"] for o in decision.options])
    assert total_of(decision) == pytest.approx(totals[0])
    (line,) = [x for x in decision.parts.lines if x.item == BY_PLAN]
    assert line.quantity == pytest.approx(plan(SHORT).minutes / 60)
    for o, total in zip(decision.offered, totals, strict=True):
        assert money(total, "$") in page and money(round(1.1 * total), "$") in letter
        assert (money(o.quote.price, "$") in page) == (o is decision.offered[0])


def test_files_of_options_stand_at_the_end(decision):
    """Behavior: an option is called by its name everywhere; the file that it was read from is named
    once, where it is said what the record comes from.
    """
    issue = Issue(files=(("as drawn", "short.toml"), ("pendants", "other.toml")))
    before, _, after = record_html(decision, date=DAY, issue=issue).partition("Where this comes")
    assert f"'{quoted('as drawn')}' from {quoted('short.toml')}" in after
    assert "short.toml" not in before and "They were read so" not in record_html(decision)


def test_what_matters_most_is_said_once_for_each_use(decision):
    """Behavior: a sentence for each use in place of a column that repeats it beside every check."""
    page = record_html(decision, date=DAY)
    part = page[page.index("How sure the figures are") :]
    assert part.count("What matters most: ") == len(decision.uncertainty)
    assert "what matters most</th>" not in part


def test_conflicts_with_the_court_stand_on_the_first_page(decision):
    """Behavior: loudspeakers low over the court are one sentence, with the lowest; the list of
    warnings does not say it again. Where none is in the way, that is said.
    """
    page = record_html(decision, date=DAY)
    first = page[: page.index("Why this option")]
    low = min(c.z - c.type.height / 2 for c in SHORT.loudspeakers)
    assert f"hang over the court, the lowest with {low:.2f} m under it" in first
    assert all(quoted(text) not in page for text in SHORT.warnings if "over the court" in text)
    larkfield = SCENARIOS["larkfield"]  # all hang under the roof, and banks keep off the lines
    assert court_conflicts(larkfield) == []
    low, beside = low_over_courts(SHORT), conflicts_beside_court(SHORT)
    assert len(low) == len(SHORT.loudspeakers)
    assert len(court_conflicts(SHORT)) == len(low) + len(beside)
    assert all(quoted(text) in first for text in beside)


def with_scenario(decision, scenario, **more):
    """A decision of which the chosen option is another scenario."""
    chosen = replace(decision.chosen, scenario=scenario)
    return replace(decision, options=(chosen, *decision.options[1:]), **more)


def test_assumptions_are_counted_and_listed(decision):
    """Behavior: the first page says how many values nobody has confirmed, the inputs list them; of
    a file that marks none, that is said.
    """
    assert "The file marks no value as assumed." in record_html(decision, reader="school")
    assumed = replace(SHORT, assumed=("hall.roof", "hall.clear_height"))
    marked = with_scenario(decision, assumed)
    page = record_html(marked, reader="school")
    assert "2 values are assumed and not confirmed on site" in page[: page.index("Why this option")]
    page = Page("t")
    inputs(page, marked)
    rows = Reader(page.html()).tables
    listed = next(t for t in rows if ["gym: roof", SHORT.hall.roof] in t)
    assert len(listed) == 3


def test_the_gym_is_listed_whole():
    """Behavior: every surface of every use stands in the record with its finish, the stage with its
    curtain, every balcony, track, fixture and divider by its name; criteria stand by their names,
    and a target has its unit and says which side of it is good.
    """
    s = SCENARIOS["larkfield"]
    results = evaluate_all(s, rays="few").results
    page = Page("t")
    gym(page, SimpleNamespace(chosen=SimpleNamespace(scenario=s), results=results))
    seen = Reader(page.html())
    surfaces = {row[0]: row[1] for row in seen.table("surface")[1:]}
    for result in results.values():
        for x in result.configuration.room.surfaces:
            assert x.area < 0.5 or x.name in surfaces
    (stage,) = [row[1] for row in seen.table("what") if row[0] == "stage"]
    for words in (s.stage.side, s.say(s.stage.width), s.stage.curtain, s.stage.surrounds):
        assert words in stage
    page = Page("t")
    inputs(page, SimpleNamespace(chosen=SimpleNamespace(scenario=s), results=results))
    targets = {row[1]: row[2] for row in Reader(page.html()).table("question")[1:]}
    assert targets[CRITERIA["coverage_range"].label] == "at most 6.0 dB"
    assert targets[CRITERIA["sti"].label] == "at least 0.50"
    assert not [label for label in targets if "_" in label]


def test_a_reason_is_the_designers_and_figures_propose_another(decision):
    """Behavior: what the designer writes stands as it is written, tags as text; without it lines
    are left to write on. What the figures say is best and given up follows the headlines.
    """
    school = partial(record_html, decision, reader="school")
    page = school(issue=Issue(reason="The lift reaches <these>.\nAnd so."))
    assert f"<p>{quoted('The lift reaches <these>.')}</p><p>{quoted('And so.')}</p>" in page
    assert 'class="by-hand"' not in page
    assert school().count('class="by-hand"') == 5

    def option(name, **h):
        figures = dict.fromkeys([h.key for h in HEADLINES], 1.0) | h
        return SimpleNamespace(name=name, headlines=figures, currency="$")

    ours = option("a", cost=1.0, sti=0.4)
    assert proposed_reason([ours]) == [
        "It is the only option on record, so the figures compare it with nothing."
    ]
    assert proposed_reason([ours, option("b", cost=2.0, sti=0.4), option("c", sti=0.5)]) == [
        "It is worse in speech intelligibility (STI), worst use (0.40; c: 0.50)."
    ]
    assert proposed_reason([ours, option("b", cost=2.0, sti=0.4)]) == [
        "Of the 2 options it is best in cost ($1; b: $2)."
    ]


# --- revisions


@pytest.fixture(scope="module")
def later(decision):
    """The same decision with one group tilted otherwise, and without the last line of its bill."""
    moved = changed(SHORT, {("groups", "floor pair", "downtilt_deg"): 60.0})
    results = {u.name: evaluate(moved, u.name) for u in moved.uses}
    lines = decision.parts.lines[:-1]
    more = dict(results=results, parts=replace(decision.parts, lines=lines), inputs_hash="another")
    return with_scenario(decision, moved, **more)


def put_earlier(folder, decision, issue):
    """A record of an earlier time, with what the next one reads of it."""
    folder.mkdir(parents=True)
    (folder / "record.html").write_text("<p>earlier</p>", encoding="utf-8")
    (folder / "record.json").write_text(kept_text(decision, issue), encoding="utf-8")
    save(decision.chosen.scenario, folder / "scenario.toml")


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_school_is_kept_for_the_next_record(name, decision):
    """Regression: what the next record reads is written of every school's whole bill; the struts
    of a school whose loudspeakers hang beside joists stopped its record.
    """
    use = SCENARIOS[name].uses[0].name
    more = dict(
        results={use: heard(name, use, room="statistical")},
        parts=timed_parts(parts(SCENARIOS[name])),
    )
    kept = json.loads(kept_text(with_scenario(decision, SCENARIOS[name], **more), Issue()))
    assert len(kept["lines"]) == len(more["parts"].lines)
    assert sum(line[4] for line in kept["lines"]) == pytest.approx(kept["total"], abs=1.0)


def test_a_revision_says_what_has_changed(decision, later, tmp_path):
    """Closed form: values of the scenario, checks whose word changed and the price are those of
    both evaluations; who it was for and when stand beside.
    """
    issue = Issue(revision=4, date=DAY, prepared_for="The board")
    put_earlier(tmp_path / "x", decision, issue)
    earlier = earlier_record(tmp_path / "x")
    assert (earlier.revision, earlier.date, earlier.prepared_for) == (4, "2026-11-25", "The board")
    found = changes_since(earlier, later)
    assert found.values == (("group 'floor pair', downtilt", "90°", "60°"),)
    words = {}
    for n, d in enumerate((decision, later)):
        for use, result in d.results.items():
            for v in result.verdicts:
                words.setdefault((use, v.criterion, v.area), ["", ""])[n] = v.word
    assert len(found.verdicts) == sum(a != b for a, b in words.values()) > 0
    for x in found.verdicts:
        assert any(
            [x.was[1:], x.now[1:]] == [(a,), (b,)]
            for (u, *_), (a, b) in words.items()
            if u == x.use
        )
    less = decision.parts.lines[-1].total
    assert found.money.endswith(f"${less:,.0f} less.")
    gone = decision.parts.lines[-1]
    (line, was, now), *more = found.bill
    assert not more and line == f"{gone.kind}: {gone.item}" and now == ""
    assert was.startswith(f"{gone.quantity:g}"[:3]) and was.endswith(money(gone.total, "$"))
    page = record_html(later, reader="school", issue=Issue(revision=5), earlier=earlier)
    assert "What has changed since revision 4" in page and "of 2026-11-25" in page
    assert quoted("group 'floor pair', downtilt") in page
    assert " ".join(counted(found).split()) in " ".join(" ".join(Reader(page).text).split())


def test_nothing_that_has_not_changed_is_listed(decision, tmp_path):
    """Behavior: a record of the same inputs says that nothing has changed, after a save and a load
    of the scenario.
    """
    put_earlier(tmp_path / "x", decision, Issue())
    earlier = earlier_record(tmp_path / "x")
    found = changes_since(earlier, decision)
    assert (found.values, found.verdicts, found.moved, found.money) == ((), (), 0, "")
    assert found.bill == ()
    page = record_html(decision, reader="school", issue=Issue(revision=2), earlier=earlier)
    for words in (
        "Nothing that the figures come from has changed.",
        "No value of the scenario has changed.",
        "The price is the same.",
    ):
        assert words in page


def test_a_bill_that_changed_says_how(decision, tmp_path):
    """Regression: "$20 more" alone left the reader to compare two bills. Lines that are new, gone
    or of another number are named; a record from before bills were kept says that it has none.
    """
    put_earlier(tmp_path / "x", decision, Issue())
    earlier = earlier_record(tmp_path / "x")
    lines = earlier.kept["lines"]
    assert sum(row[4] for row in lines) == pytest.approx(earlier.kept["total"], abs=1)
    lines[0][2] += 2
    lines[0][4] += 20
    lines.append(["cable", "of another <time>", 3.0, "m", 12.0])
    fresh, lines[1:2] = lines[1], []
    found = {line: (was, now) for line, was, now in changes_since(earlier, decision).bill}
    first = decision.parts.lines[0]
    changed_line = found.pop(f"{first.kind}: {first.item}")
    assert changed_line[0].endswith(money(lines[0][4], "$"))
    assert changed_line[1].endswith(money(first.total, "$"))
    assert found.pop("cable: of another <time>") == ("3 m, $12", "")
    assert [was for was, _ in found.values()] == [""] and list(found) == [f"{fresh[0]}: {fresh[1]}"]
    page = record_html(decision, reader="school", issue=Issue(revision=2), earlier=earlier)
    assert "Lines of the bill that differ" in page and quoted("cable: of another <time>") in page
    kept = json.loads((tmp_path / "x" / "record.json").read_text(encoding="utf-8"))
    del kept["lines"]
    (tmp_path / "x" / "record.json").write_text(json.dumps(kept), encoding="utf-8")
    earlier = earlier_record(tmp_path / "x")
    assert changes_since(earlier, decision).bill is None
    page = record_html(decision, reader="school", issue=Issue(revision=2), earlier=earlier)
    assert "The earlier record kept no bill" in page


def test_figures_of_different_words_do_not_print_alike(decision, tmp_path):
    """Regression: "7.0 dB, close" that became "7.0 dB, misses" had no visible reason; as many more
    digits as tell them apart are shown, and no more.
    """
    put_earlier(tmp_path / "x", decision, Issue())
    earlier = earlier_record(tmp_path / "x")
    alike = [
        row
        for row in earlier.kept["verdicts"]
        if CRITERIA[row[1]].text(row[3]) == CRITERIA[row[1]].text(row[3] + 0.003)
        and CRITERIA[row[1]].text(row[3], 3) != CRITERIA[row[1]].text(row[3] + 0.003, 3)
    ]
    for row in alike:
        row[3] += 0.003
        row[4] = "close" if row[4] != "close" else "misses"
    found = changes_since(earlier, decision).verdicts
    assert len(found) == len(alike) > 3
    assert all(x.was[0] != x.now[0] and x.was[1] != x.now[1] for x in found)


def test_the_date_is_given_not_guessed(decision):
    """Regression: the day of writing stood beside the given date. A record has the date of its
    issue, else that of the call, else a blank; no other.
    """

    def top(**more):
        page = record_html(decision, reader="school", **more)
        return re.search(r'<p class="issue">.*?</p>', page)[0], page

    blank, page = top()
    assert f"Date: {BLANK}" in blank and datetime.date.today().isoformat() not in page
    assert "Written on" not in page and "Date: 2026-11-25" in top(date=DAY)[0]
    other = datetime.date(2031, 5, 6)
    both, page = top(date=DAY, issue=Issue(date=other))
    assert "Date: 2031-05-06" in both and "2026-11-25" not in page


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"format": 2}', '{"format": 1, "revision": "4"}', "[" * 100_000],
)
def test_an_earlier_record_that_cannot_be_read_is_said(decision, tmp_path, text):
    """Behavior: whatever stands in the earlier folder, the next record is written and says that it
    cannot compare; its number still follows.
    """
    put_earlier(tmp_path / "x", decision, Issue(revision=7))
    (tmp_path / "x" / "record.json").write_text(text, encoding="utf-8")
    earlier = earlier_record(tmp_path / "x")
    assert earlier.kept is None and earlier.revision == 1
    page = record_html(decision, reader="school", issue=Issue(revision=2), earlier=earlier)
    assert "What the earlier record kept of its figures cannot be read." in page


def test_revisions_are_counted(decision, tmp_path, monkeypatch):
    """Behavior: every record that is written in the place of another has the next number, also when
    schedules without a record were written in between; date and reader are blank until given.
    """
    monkeypatch.setattr(handover, "_write_files", lambda *_: [])
    numbers = []
    for n in range(3):
        page, *_ = write_record(
            decision,
            tmp_path,
            reader="school",
            overwrite=True,
            issue=Issue(prepared_for="Ann" * (n > 0)),
        )
        numbers.append(json.loads((page.parent / "record.json").read_text())["revision"])
        if n == 0:
            assert page.read_text().count('class="to-write"') == 2
            write_handover(decision.parts, tmp_path, overwrite=True)
    assert numbers == [1, 2, 3]
    assert f"Prepared for: {quoted('Ann')}" in page.read_text()
    assert "What has changed since revision 2" in page.read_text()


def test_paper_and_foot_follow_the_school(decision):
    """Behavior: a school in feet is printed on letter paper, one in meters on A4; the foot of every
    page names the school and the revision, and no name can end the style sheet.
    """
    evil = replace(SHORT, units="ft", name='x"; } </style><script>alert(1)</script>\\')
    feet = record_html(with_scenario(decision, evil), reader="school", issue=Issue(revision=2))
    meters = record_html(decision, reader="school")
    assert "size: letter;" in feet and "size: A4;" in meters
    assert f'"{SHORT.name}: decision record, revision 1"' in meters
    assert "decision record, revision 2" in feet and feet.count("</style>") == 1
    assert "<script>alert" not in feet and 'x"; }' not in feet.partition("</style>")[0]


def test_a_seat_can_be_heard_in_the_record(decision, html):
    """Behavior: where a use is named, each option and a quiet gym can be played where words are
    least clear of all that listen, as FLAC in the page, one at a time, softly at first, nothing by
    itself; its size is stated, the page may play what it holds and asks for nothing. Without a use
    there is no sound.
    """
    use = SHORT.uses[0].name
    page = record_html(decision, date=DAY, issue=Issue(heard=use))
    tags = [attributes for tag, attributes in Reader(page).tags if tag == "audio"]
    assert len(tags) == 3 and not any("autoplay" in t or "loop" in t for t in tags)
    files = [base64.b64decode(t["src"].split("base64,")[1]) for t in tags]
    sounds = [soundfile.read(io.BytesIO(file)) for file in files]
    assert {rate for _, rate in sounds} == {48000} and all(s.shape[1] == 2 for s, _ in sounds)
    assert all(0.01 < np.abs(s).max() <= 1 for s, _ in sounds)
    size = sum(len(t["src"]) for t in tags) / 1e6
    assert f"{size:.1f} MB" in page and "media-src data:" in page
    result = evaluate(SHORT, use)
    worst = min(result.sti[result.spans[name]].min() for name in result.weights)
    assert f"STI {worst:.2f}" in page and "volume down" in page
    assert (
        "Not heard here" not in page
        and "a.volume=0.25" in page
        and "<audio" not in html
        and "media-src 'none'" in html
    )


def test_an_option_that_is_not_heard_is_named(decision, monkeypatch):
    """Behavior: with room for one option only, the record says which other one it leaves out."""
    monkeypatch.setattr(record_sounds, "MOST", 1)
    page = record_html(decision, date=DAY, issue=Issue(heard=SHORT.uses[0].name))
    assert page.count("<audio") == 2
    assert f"Not heard here: {quoted('pendants')}. At most 1 options are" in page


def test_a_use_that_cannot_be_heard_is_refused(decision):
    """Behavior: an unknown use is one line."""
    with pytest.raises(ValueError, match="gala"):
        record_html(decision, date=DAY, issue=Issue(heard="gala"))
