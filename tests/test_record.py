"""The decision record: the same twice, every number from the evaluation, hostile text as text,
offline in a browser.
"""

import datetime
import re
from dataclasses import replace
from functools import partial
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from browser import FLAGS, SHOTS, browser_path
from playwright.sync_api import sync_playwright

from gymtools import __main__ as command_line
from gymtools.__main__ import main
from gymtools.acoustics.criteria import CRITERIA
from gymtools.acoustics.evaluate import evaluate
from gymtools.design import decision as decision_module
from gymtools.design.arrangements import arrange
from gymtools.design.decision import decide, options_of, reasons
from gymtools.design.options import HEADLINES
from gymtools.display.cautions import LIMITS
from gymtools.display.documents.handover import write_record
from gymtools.display.documents.page import quoted
from gymtools.display.documents.record import record_html
from gymtools.display.parameters import checked
from gymtools.display.tables.schedules import UNITS
from gymtools.equipment.prices import INVENTED, PriceBook, example_prices
from gymtools.equipment.schedules import schedules
from gymtools.venue.files import load, save
from gymtools.venue.loudspeakers import loudspeaker_types

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
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
    monkeypatch.setattr(decision_module, "evaluate", lambda *_, **__: None)
    monkeypatch.setattr(decision_module, "how_sure", lambda *_, **__: None)
    monkeypatch.setattr(
        decision_module, "option", lambda name, *_, **__: SimpleNamespace(name=name)
    )
    monkeypatch.setattr(decision_module, "parts", lambda *_, **__: None)
    monkeypatch.setattr(decision_module, "quote", lambda *_, **__: None)

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
    assert decision.prices == INVENTED and f"prices of {quoted(INVENTED)};" in html
    priced = replace(decision, prices="<own>.csv")
    for reader in ("school", "installer", "file"):
        assert f"These are the prices of {quoted('<own>.csv')};" in record_html(
            priced, reader=reader
        )
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
        found = next(t for t in seen.tables if t and t[0] == list(schedule.columns))
        for got, want in zip(found[1:], schedule.rows, strict=True):
            assert got == [
                f"{v:,.10g}"
                if isinstance(v, int | float)
                else " ".join(UNITS.get(v, str(v)).split())
                for v in want
            ]
    for sureness in decision.uncertainty.values():
        for r in sureness.ranges:
            assert f"{100 * r.chance:.0f} %" in words
    assert decision.inputs_hash in words and "gymtools" in words


def test_reasons_are_computed():
    """Closed form: what an option is worse and better in follows its figures, with their signs."""

    def option(**h):
        return type(
            "O", (), {"name": "x", "headlines": dict.fromkeys([h.key for h in HEADLINES], 1.0) | h}
        )()

    worse, dominated = reasons(option(), option(cost=2.0))
    assert (
        worse == "It is worse in cost: 2, against 1."
        and dominated == "The chosen one is at least as good in every figure."
    )
    both = reasons(option(), option(cost=0.5, sti=0.5))
    assert both == [
        "It is worse in speech intelligibility (STI), worst use: 0.50, against 1.00.",
        "It is better in cost: 0, against 1.",
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
        and len(school) < 40_000
    )
    assert "schedules</h2>" in installer and "Options considered" not in installer
    assert all(
        h in whole
        for h in (
            "What it rests on",
            "Options considered",
            "How the gym rings",
            "How sure",
            "what the model cannot say",
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
        paths[0].name == "record.html" and (paths[0].parent / "option-1-not-chosen.toml").exists()
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
        page.pdf(path=SHOTS / "record.pdf", prefer_css_page_size=True)
        browser.close()
    assert (errors, left) == ([], [])
    assert (SHOTS / "record.pdf").stat().st_size > 100_000


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
    assert main(call) == 0 and "files are in" in capsys.readouterr().out
    (page,) = tmp_path.glob("*/record.html")
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
