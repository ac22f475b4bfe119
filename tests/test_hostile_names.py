"""Names of a school made of markup, links, templates, formulas and entities: shown as they are, in
every picture, table and document.
"""

import datetime
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import pytest
import tomlkit
from browser import FLAGS, browser_path
from finished_hall import measure
from playwright.sync_api import sync_playwright
from schools import FOLDER

from gymtools import evaluate, how_sure
from gymtools.acoustics.evaluate import evaluate_all
from gymtools.acoustics.seat import inspect_seat
from gymtools.commissioning.comparison import compare
from gymtools.commissioning.plan import plan
from gymtools.design.decision import decide
from gymtools.design.options import option
from gymtools.display import scene, tables, theme
from gymtools.display.charts import loudspeaker, options, plans, seat
from gymtools.display.documents import commissioning
from gymtools.display.documents.page import Page
from gymtools.display.documents.record import record_html
from gymtools.equipment.prices import PriceBook, example_prices
from gymtools.equipment.schedules import parts, schedules
from gymtools.venue.files import parse

DAY = datetime.date(2026, 11, 25)
EVIL = (
    '<a href="http://evil.test/">{0}</a>',
    "<b>{0}</b><br><sub>x</sub>",
    "{0} %{{customdata}} %{{z}}<extra>x</extra>",
    "$\\href{{http://evil.test/}}{{{0}}}$",
    "&lt;em&gt;{0}&lt;/em&gt; &#60;em&#62;",
    "\"'><script>alert('{0}')</script>",
)
NAMED = ("name", "tag", "source")
LINKS = """() => [...document.querySelectorAll('a')].filter(a => a.getAttribute('href') ||
a.getAttributeNS('http://www.w3.org/1999/xlink', 'href')).length"""
# what the charts mean as markup themselves
OWN = {"<b>", "</b>", "<i>", "</i>", "<br>", "<extra>", "</extra>"}


@cache
def hostile():
    """Dovecote with every name, wherever it stands, made of markup."""
    document = tomlkit.parse((FOLDER / "dovecote.toml").read_text("utf-8")).unwrap()
    names = {}

    def collect(thing):
        for entry in thing if isinstance(thing, list) else ():
            collect(entry)
        for key, value in thing.items() if isinstance(thing, dict) else ():
            if key in NAMED and isinstance(value, str):
                names.setdefault(
                    value, EVIL[len(names) % len(EVIL)].format(value) + EVIL[0].format("+")
                )
            collect(value)

    def renamed(thing):
        if isinstance(thing, dict):
            return {names.get(k, k): v if k == "type" else renamed(v) for k, v in thing.items()}
        if isinstance(thing, list):
            return [renamed(v) for v in thing]
        return names.get(thing, thing) if isinstance(thing, str) else thing

    collect(document)
    document["uses"] = document["uses"][:1] + document["uses"][2:3]
    s = parse(tomlkit.dumps(renamed(document)))
    kind = replace(s.loudspeakers[0].type, name=EVIL[0].format("type"), source=EVIL[1].format("by"))
    groups = (replace(s.groups[0], loudspeaker=kind.name), *s.groups[1:])
    kind = replace(kind, measured_db=kind.balloon_db)
    return replace(s, groups=groups, measured_types=(kind,))


@cache
def prices():
    """The price book with a row for the hostile type."""
    book = example_prices()
    kind = hostile().measured_types[0]
    known = book.find("loudspeaker", "two-way 60x40")
    return PriceBook([*book.prices.values(), replace(known, item=kind.name)])


@cache
def made():
    """What the documents rest on: decision, test plan, comparison."""
    s = hostile()
    name = EVIL[0].format("option")
    decision = decide({name: s, EVIL[2].format("other"): s}, name, draws=20, prices=prices())
    tests = plan(s)
    return decision, tests, compare(tests, measure(tests))


def strings(thing):
    """Every text in a figure."""
    if isinstance(thing, str):
        yield thing
    for part in thing.values() if isinstance(thing, dict) else ():
        yield from strings(part)
    if isinstance(thing, list | tuple) or (hasattr(thing, "dtype") and thing.dtype.kind in "OU"):
        for part in thing:
            yield from strings(part)


def live(chart):
    """Texts of a figure in which a name has become something else."""
    data = chart.to_plotly_json()
    letters = [t for t in data["data"] if t["type"] == "scatter3d" and "text" in t.get("mode", "")]
    in_space = {x for t in letters for x in strings(t.get("text", ()))}
    found = []
    for text in {*strings(data)}:
        tags = set(re.findall(r"<[^<>]*>", text)) - OWN
        own = re.sub(r"%\{(x|y|z|r|theta|customdata|intensity)(:[^}]*)?\}", "", text, count=2)
        bold = re.search(r"<extra>x|<b>(bleachers|wall pair|game|roving)", text)
        # letters in space know neither formulas nor entities
        meant = text not in in_space and re.search(r"\$[^$]*\$|&(lt|#60);em", text)
        if tags or bold or meant or "%{" in own and text not in in_space:
            found.append(text)
    return found


def pictures():
    """Every picture of the display."""
    s = hostile()
    decision, tests, compared = made()
    for use in s.uses:
        result = evaluate(s, use.name)
        for area in result.configuration.areas:
            view = scene.View(result=result, quantity="speech", area=area)
            yield scene.figure(view)
            yield plans.cut(view)
        for quantity in theme.QUANTITIES:
            if quantity != "feedback_margin" or result.microphones:
                view = scene.View(result=result, quantity=quantity, units="ft", seat=3)
                yield scene.figure(view)
                yield plans.plan(view)
        yield seat.figure(inspect_seat(result, 3))
        yield commissioning.positions_map(tests, use.name)
    yield from (loudspeaker.figure(c.type) for c in s.loudspeakers)
    pinned = [option(EVIL[k].format("option"), s, prices=prices()) for k in range(3)]
    views = [scene.View(result=evaluate(s)) for _ in pinned]
    yield options.figure(pinned, views)
    yield commissioning.scatter(compared)


def test_plain_text_keeps_what_harms_nothing():
    """Behavior: an ordinary name stays as it is, an ampersand and a dollar are shown as such."""
    assert theme.plain_text("Band & Choir, 5 % of $20: {x}") == (
        "Band &amp; Choir, 5 % of &#36;20: {x}"
    )
    assert theme.plain_text("%{x}<b>") == "&#37;{x}&lt;b&gt;"
    assert theme.plain_text("R&B <b>$5", entities=False) == "R&B ‹b›$5"


def test_no_name_is_markup_in_a_picture():
    """Behavior: no tag, link, template, formula or entity of a name is live in any picture."""
    charts = list(pictures())
    assert len(charts) > 20 and [x for chart in charts for x in live(chart)] == []
    shown = " ".join(x for chart in charts for x in strings(chart.to_plotly_json()))
    assert "&lt;a href" in shown, "the names are there"


class Tags(HTMLParser):
    """Tags of a page, and attributes that make something live."""

    def __init__(self, text):
        super().__init__()
        self.found = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        if tag in ("a", "img", "sub", "extra", "form", "base", "iframe", "object"):
            self.found.append(tag)
        self.found += [k for k, _ in attributes if k.startswith("on") or k in ("href", "src")]


def test_no_name_is_markup_in_a_table():
    """Behavior: no tag of a name is live in any table."""
    s = hostile()
    first = evaluate(s)
    pinned = [option(text.format("option"), s, prices=prices()) for text in EVIL]
    shown = [
        tables.headline(first),
        tables.verdict_table(first),
        tables.uses_table(evaluate_all(s)),
        tables.room_table(first, "m"),
        tables.landing_table(first),
        tables.options_table(pinned, pinned[0]),
        tables.sureness_table(how_sure(s, draws=20)),
        *map(tables.schedule_table, schedules(parts(s, prices=prices()))),
    ]
    for html in shown:
        assert Tags(html).found == [] and "evil.test/'" not in html and "<script" not in html


def test_no_name_is_markup_in_a_document(monkeypatch):
    """Behavior: no tag of a name is live in record, test plan or report, nor in their pictures."""
    decision, tests, compared = made()
    charts, figure = [], Page.figure

    def noted(page, chart, words, screen=False):
        charts.append(chart)
        figure(page, chart, words, screen)

    monkeypatch.setattr(Page, "figure", noted)
    pages = [record_html(decision, date=DAY)]
    pages += [commissioning.plan_html(tests, date=DAY)]
    pages += [commissioning.report_html(compared, date=DAY)]
    assert len(charts) > 10 and [x for chart in charts for x in live(chart)] == []
    for html in pages:
        assert Tags(html).found == [] and html.count("evil.test") > 2
        assert "<script>alert" not in html


def test_a_page_runs_its_own_scripts_only():
    """Behavior: no eval, no form, no other base; a page without figures allows no script."""
    page = Page("words")
    page.add("<p>words</p>")
    policy = re.search(r'Security-Policy" content="([^"]*)"', page.html())[1]
    assert "script-src 'none'" in policy and "<script" not in page.html()
    decision, *_ = made()
    for html in (record_html(decision, date=DAY), record_html(decision, reader="school", date=DAY)):
        policy = re.search(r'Security-Policy" content="([^"]*)"', html)[1]
        assert "unsafe-eval" not in policy and "base-uri 'none'; form-action 'none'" in policy
        assert "unsafe-inline" not in re.search("script-src ([^;]*);", policy)[1]


@pytest.mark.skipif(
    not browser_path(), reason="no Chromium or Chrome found; CI installs one and fails on a skip"
)
def test_nothing_is_live_in_a_browser(tmp_path):
    """Behavior: in Chromium every figure of the hostile documents is drawn, no link is on the page,
    no error on the console; a script that is not the page's own does not run.
    """
    decision, tests, compared = made()
    record = record_html(decision, date=DAY).replace(
        "</body>", "<script>window.foreign = 1</script></body>"
    )
    texts = (
        record,
        commissioning.plan_html(tests, date=DAY),
        commissioning.report_html(compared, date=DAY),
    )
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path(), args=FLAGS)
        for n, html in enumerate(texts):
            path = tmp_path / f"{n}.html"
            path.write_text(html, encoding="utf-8")
            page, said = browser.new_page(), []
            page.on("pageerror", lambda e, said=said: said.append(str(e)))
            page.on(
                "console",
                lambda m, said=said: said.append(m.text) if m.type == "error" else None,
            )
            page.goto(path.as_uri())
            page.wait_for_function(
                "() => [...document.querySelectorAll('figure')]"
                ".every(f => f.querySelector('.main-svg'))",
                timeout=60_000,
            )
            assert page.evaluate(LINKS) == 0
            assert page.evaluate("() => window.foreign") is None
            refused = [x for x in said if "violates" in x and "script" in x]
            assert len(refused) == (1 if n == 0 else 0)
            assert [x for x in said if x not in refused] == []
            page.close()
        browser.close()
