"""Kept designs: the strip, the list of combinations, and the school's file."""

import asyncio
import re
from dataclasses import replace

import numpy as np
import pytest
from schools import FOLDER, SCENARIOS
from test_jobs import until

import gymtools
from gymtools.design.options import AS_IT_IS, headlines
from gymtools.display import scene
from gymtools.display.charts.thumbnails import thumbnail
from gymtools.display.panel.kept import KeptStrip
from gymtools.display.panel.meeting import Meeting
from gymtools.display.panel.pins import MOST
from gymtools.display.panel.save import SaveSection, schools
from gymtools.display.tables import options_table
from gymtools.equipment.prices import PriceBook, example_prices, money, read_prices
from gymtools.equipment.schedules import parts, schedules

DOVECOTE = SCENARIOS["dovecote"]
TILT = ("groups", "wall pair", "downtilt_deg")


@pytest.fixture
def meeting(tmp_path):
    """The panel on the smallest school, with few rays."""
    panel = Meeting(DOVECOTE, tmp_path)
    panel.update(trace=False)
    return panel


def strip(meeting):
    return meeting.sections[KeptStrip]


def kept(meeting, *tilts):
    """Keep a design for each of some tilts."""
    for tilt in tilts:
        meeting.set(TILT, float(tilt))
        strip(meeting).keep_button.click()
    return strip(meeting)


def card_words(card):
    """What stands on a card."""
    return card.children[1].children[0].value


def test_what_was_removed_is_never_lost(meeting):
    """Regression: put back, a removed design takes another letter where its own has been given
    again, and stays to be put back while there is no room.
    """
    strip = meeting.sections[KeptStrip]
    for _ in "AB":
        strip.keep()
    removed = strip.pins.one("B")
    strip.remove(removed)
    strip.keep()
    strip.put_back()
    assert strip.pins.names == ["A", "B", "C"] and strip.pins.one("C").scenario is removed.scenario
    strip.remove(strip.pins.one("C"))
    while not strip.pins.full:
        strip.keep()
    strip.put_back()
    assert strip._removed is not None and strip.back_button.layout.display != "none"
    strip.remove(strip.pins.one("A"))


def test_a_kept_design_shows_its_plan_failures_and_price(meeting):
    """Behavior: name, checks that fail and price in the price book's money, beside a small plan."""
    s = kept(meeting, 40, 50)
    assert [o.name for o in s.pins.options] == ["A", "B"] and len(s.cards.children) == 2
    option = s.pins.options[0]
    said = card_words(s.cards.children[0])
    assert "<b>A</b>" in said and f"{option.headlines['failing']} fail" in said
    assert f"${option.row['cost']:,.0f}" in said and "fail so far" in said
    assert said.count("<div") == 3 and said.count("white-space:nowrap") == 3, "a line each"
    svg = s.cards.children[0].children[0].value
    assert svg.startswith("<svg") and 'role="img"' in svg and "data:image/png;base64," in svg


def test_going_on_from_a_kept_design_is_a_step(meeting):
    """Behavior: a click on its plan holds it over the picture and offers to go on from it, a second
    one lets go; its button goes on at once; undo comes back.
    """
    s, seen = kept(meeting, 40, 50), []
    s.on_ghost(lambda design, _="": seen.append(design and design.groups[0].downtilt_deg))

    def press():
        s.pointing._handle_custom_msg({"pressed": next(iter(s._by_number))}, [])

    press()
    assert meeting.value(TILT) == 50 and seen[-1] == 40
    assert s.go_button.layout.display != "none" and s.go_button.description == "Go on from A"
    s.pointing._handle_custom_msg({"over": None}, [])
    assert seen[-1] == 40, "held when the pointer leaves"
    press()
    assert seen[-1] is None and s.go_button.layout.display == "none"
    press()
    s.go_button.click()
    assert meeting.value(TILT) == 40 and seen[-1] is None
    meeting.undo()
    press()
    s.remove(s.pins.options[0])
    assert seen[-1] is None and s.go_button.layout.display == "none"
    s.put_back()
    s.pins.take(sorted(s.pins.options, key=lambda o: o.name))
    assert meeting.value(TILT) == 50
    s.cards.children[0].children[1].children[1].children[0].click()
    assert meeting.value(TILT) == 40


def test_all_rays_of_kept_designs_are_followed_in_the_background(tmp_path):
    """Behavior: once those of the picture are, and not while something moves; the card then says
    how many checks fail of all.
    """
    bank = replace(DOVECOTE.banks[0], rows=2, length=9.0)
    small = replace(DOVECOTE, banks=(bank,), uses=DOVECOTE.uses[:1])
    meeting = Meeting(small, tmp_path)
    meeting.update(trace=False)
    s = kept(meeting, 40)
    assert not s.job.running, "all rays are not wanted"

    def settle():
        meeting.answer = replace(meeting.answer, settled=True)
        s.show_rays(meeting.state, meeting.answer)

    settle()
    assert s.job.running
    meeting.set(TILT, 46.0)
    assert not s.job.running
    settle()
    s.job.finish()
    assert [o.rays for o in s.pins.options] == ["full"] and not s.job.running
    full = gymtools.evaluate_all(s.pins.options[0].scenario).results.values()
    fails = sum(v.word in ("misses", "out of reach") for r in full for v in r.verdicts)
    assert f">{fails} fail</div>" in card_words(s.cards.children[0])


def test_cards_of_several_schools_name_them(meeting):
    """Behavior: the school stands on the cards as soon as there are cards of another one."""
    s = kept(meeting, 40)
    assert DOVECOTE.name not in card_words(s.cards.children[0])
    meeting.update(start=replace(DOVECOTE, name="Another school"), file="")
    assert f"<b>A, {DOVECOTE.name}</b>" in card_words(s.cards.children[0])


def test_pointing_at_a_kept_design_gives_a_ghost(meeting):
    """Behavior: its scenario while the pointer or the focus is on it, None when it has left."""
    s, seen = kept(meeting, 40, 50), []
    s.on_ghost(lambda *given: seen.append(given))
    numbers = list(s._by_number)
    for over in (numbers[1], None, 99_999):
        s.pointing._handle_custom_msg({"over": over}, [])
    (scenario, name), *rest = seen
    assert scenario.groups[0].downtilt_deg == 50 and rest == [(None,), (None,)]
    assert name == s.pins.options[1].name
    assert meeting.value(TILT) == 50, "nothing is changed by looking"


def test_what_is_removed_can_be_put_back(meeting):
    """Behavior: removing leaves the others; the last one that was removed comes back."""
    s = kept(meeting, 40, 50)
    s.remove(s.pins.options[0])
    assert s.pins.names == ["B"] and s.back_button.description == "Put A back"
    s.back_button.click()
    assert sorted(s.pins.names) == ["A", "B"] and s.back_button.layout.display == "none"


def test_the_strip_is_bounded_and_compares(meeting):
    """Behavior: at most six; Compare opens the options side by side."""
    s = strip(meeting)
    assert s.compare_button.disabled and "No design is kept yet" in s.cards.children[0].value
    kept(meeting, *range(31, 31 + MOST))
    assert s.keep_button.disabled and len(s.cards.children) == MOST
    s.compare_button.click()
    assert meeting.state.tab == "options"


def test_the_plans_follow_the_quantity(meeting):
    """Behavior: all plans show the quantity and the use of the picture."""
    s = kept(meeting, 40)
    before = s.cards.children[0].children[0].value
    meeting.update(quantity="sti", use="class")
    after = s.cards.children[0].children[0].value
    assert before != after and "class" in after


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_a_thumbnail_is_small_and_inside_its_frame(name):
    """Behavior: some kB, every loudspeaker drawn, whatever the school."""
    scenario = SCENARIOS[name]
    result = gymtools.evaluate(scenario, rays="few")
    svg = thumbnail(scene.View(result=result, quantity="sti", units="m"), 116, 66)
    assert len(svg) < 12_000 and svg.count('width="4"') == len(scenario.loudspeakers)
    corners = np.array(re.findall(r'<rect x="([\d.-]+)" y="([\d.-]+)" width="4"', svg), float)
    assert (corners > -4).all() and (corners < [116, 66]).all()


# --- the list of combinations


def swept(meeting, **indices):
    many = meeting.options.combinations
    many.box.selected_index = 0
    for axis, index in indices.items():
        many.lists[axis].index = index
    many.generate()
    return many


def test_the_list_shows_distinct_designs_fewest_failures_first(meeting):
    """Behavior: a type that is hung already makes no other design; failures never fall down the
    list; the present design is marked.
    """
    many = meeting.options.combinations
    many.box.selected_index = 0
    words = list(many.lists["loudspeakers"].options)
    own = [k for k, word in enumerate(words) if word == DOVECOTE.groups[0].loudspeaker]
    assert own, "the first row's type is a choice"
    many = swept(meeting, loudspeakers=(0, *own, 1), height=(0, 1), treatment=(0, 1))
    designs = many._distinct([r for r in many.rows if not r["refused"]])
    failing = [headlines(row)["failing"] for row, _ in designs]
    assert failing == sorted(failing) and len(designs) <= len(many.rows)
    scenarios = [scenario for _, scenario in designs]
    assert all(a != b for n, a in enumerate(scenarios) for b in scenarios[:n])
    assert many.found.value.count("<b>present</b>") == 1
    possible = [headlines(r)["failing"] for r in many.rows if not r["refused"]]
    assert failing[0] == min(possible), "an option with fewer failures is never hidden"


def test_combinations_of_one_design_are_one(tmp_path):
    """Behavior: all rows are of one type, and it is chosen once more by its name."""
    one_type = replace(
        DOVECOTE,
        groups=tuple(
            replace(g, loudspeaker=DOVECOTE.groups[0].loudspeaker) for g in DOVECOTE.groups
        ),
    )
    meeting = Meeting(one_type, tmp_path)
    meeting.update(trace=False)
    many = meeting.options.combinations
    many.box.selected_index = 0
    words = list(many.lists["loudspeakers"].options)
    many = swept(meeting, loudspeakers=(0, words.index(one_type.groups[0].loudspeaker)))
    assert len(many.rows) == 2
    ((row, scenario),) = many._distinct(many.rows)
    assert row["loudspeakers"] == AS_IT_IS and scenario == one_type
    many.pin_best()
    assert meeting.options.pins.names == [AS_IT_IS]


# --- files


def test_another_school_is_opened_and_undone(tmp_path):
    """Behavior: the list holds the schools of the folders; opening is a step, and undo brings back
    the former school with its name, its changes and what its file is written in.
    """
    (tmp_path / "ours.toml").write_text((FOLDER / "larkfield.toml").read_text("utf-8"), "utf-8")
    meeting = Meeting(FOLDER / "dovecote.toml", tmp_path)
    save = meeting.sections[SaveSection]
    meeting.set(TILT, 41.0)
    assert "dovecote.toml" in save.stand.value and "not saved" in save.stand.value
    save.list_button.click()
    labels = [label for label, _ in save.files.options]
    assert labels[0] == f"{tmp_path.name}/ours.toml" and "scenarios/stonebridge.toml" in labels
    save.files.index = 0
    save.open_button.click()
    assert meeting.start.name == SCENARIOS["larkfield"].name and meeting.state.file == "ours.toml"
    assert save.name.value == "larkfield-option.toml" and "not saved" not in save.stand.value
    assert meeting.state.units == "m", "the meeting's units stay"
    assert meeting.to_file().units == "ft"
    meeting.undo()
    assert meeting.scenario.groups[0].downtilt_deg == 41 and meeting.state.file == "dovecote.toml"
    assert save.name.value == "dovecote-option.toml" and "not saved" in save.stand.value
    assert meeting.to_file().units == DOVECOTE.units
    meeting.redo()
    assert meeting.start.name == SCENARIOS["larkfield"].name


def test_opening_and_undoing_leaves_a_saved_school_saved(tmp_path):
    """Regression: opening another school forgot that this one stands in its file; so does saving
    what is undone afterwards.
    """
    meeting = Meeting(FOLDER / "dovecote.toml", tmp_path)
    save = meeting.sections[SaveSection]
    save.open(FOLDER / "larkfield.toml")
    assert "not saved" not in save.stand.value
    meeting.undo()
    assert "dovecote.toml" in save.stand.value and "not saved" not in save.stand.value
    meeting.set(TILT, 41.0)
    assert "not saved" in save.stand.value
    save.name.value = "steep"
    save.button.click()
    meeting.undo()
    assert "dovecote.toml" in save.stand.value and "not saved" not in save.stand.value
    meeting.redo()
    assert "steep.toml" in save.stand.value and "not saved" not in save.stand.value


def test_the_schools_name_stands_in_the_top_bar(meeting):
    """Behavior: its name follows, whatever markup is in it."""
    save = meeting.sections[SaveSection]
    assert DOVECOTE.name in save.school.value
    meeting.update(start=replace(DOVECOTE, name="<b>Another</b> school"), file="")
    assert "&lt;b&gt;Another&lt;/b&gt; school" in save.school.value


def test_what_is_saved_is_named_with_its_folder(tmp_path):
    """Behavior: the line says folder and file; the state has the file's name; what is changed
    afterwards is said to be unsaved.
    """
    meeting = Meeting(FOLDER / "dovecote.toml", tmp_path)
    save = meeting.sections[SaveSection]
    meeting.set(TILT, 41.0)
    save.name.value = "steep"
    save.button.click()
    assert f"Saved as {tmp_path.name}/steep.toml." in save.words.value
    assert meeting.state.file == "steep.toml" and "not saved" not in save.stand.value
    meeting.set(TILT, 42.0)
    assert "steep.toml" in save.stand.value and "not saved" in save.stand.value


def test_a_file_that_is_no_school_is_not_opened(meeting, tmp_path):
    """Behavior: the refusal is said, and what is shown stays."""
    (tmp_path / "notes.toml").write_text('title = "notes"\n')
    save = meeting.sections[SaveSection]
    before = meeting.state
    save.open(tmp_path / "notes.toml")
    assert "Not opened: notes.toml" in save.words.value and meeting.state == before
    save.open(tmp_path / "gone.toml")
    assert "Not opened" in save.words.value


def test_opening_has_a_bar_and_can_be_stopped(tmp_path):
    """Behavior: a school is read and evaluated in a thread; what takes long shows a bar and Stop,
    and stopped, nothing was opened.
    """
    meeting = Meeting(DOVECOTE, tmp_path)
    save = meeting.sections[SaveSection]

    def shown():
        return save.job.halt.layout.display != "none"

    async def opened(stop):
        save._late.wait = 0.0
        save.open(FOLDER / "larkfield.toml")
        assert meeting.start is DOVECOTE and not shown() and save.list_button.disabled
        await until(shown)
        if stop:
            save.job.halt.click()
        await until(lambda: not save.job.running)
        assert not shown()
        meeting.tracing.later.cancel()

    asyncio.run(opened(True))
    assert meeting.start is DOVECOTE and "Stopped" in save.words.value
    asyncio.run(opened(False))
    assert meeting.start.name == SCENARIOS["larkfield"].name and "Opened" in save.words.value


def test_every_file_is_listed_once(tmp_path):
    """Behavior: a folder that is named twice, hidden files, folders and what is missing."""
    (tmp_path / "a.toml").write_text("")
    (tmp_path / ".hidden.toml").write_text("")
    (tmp_path / "b.toml").mkdir()
    found = schools((tmp_path, tmp_path / ".", tmp_path / "none"))
    assert [p.name for p in found] == ["a.toml"]


# --- money and units


def own_book(tmp_path, currency):
    """The invented prices in a currency of one's own."""
    rows = [p for p in example_prices().prices.values() if p.kind != "currency"]
    text = "kind,item,unit,price,hours,source\n"
    text += f"currency,{currency},each,0,0,own\n" if currency else ""
    text += "".join(f'"{p.kind}","{p.item}",{p.unit},{p.price},{p.hours},own\n' for p in rows)
    path = tmp_path / "own.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "amount, currency, words",
    [
        (53915.4, "$", "$53,915"),
        (-1200, "$", "-$1,200"),
        (-0.2, "$", "$0"),
        (1200, "EUR", "1,200 EUR"),
        (1200, "€", "€1,200"),
        (1200, "kr", "1,200 kr"),
        (1200, "", "1,200"),
    ],
)
def test_money_in_words(amount, currency, words):
    """Worked by hand: a sign stands before the amount, a code behind it."""
    assert money(amount, currency) == words


def test_the_price_books_currency_is_said_everywhere(meeting, tmp_path):
    """Behavior: another price book, another currency: on the strip, in the table of options, in
    the bill; undo brings the former prices back.
    """
    s = kept(meeting, 40)
    own_book(tmp_path, "EUR")
    meeting.parts.book.value = "own.csv"
    option = s.pins.options[0]
    assert option.text("cost").endswith(" EUR") and " EUR" in card_words(s.cards.children[0])
    assert "EUR" in options_table([option], option) and "$" not in options_table([option], option)
    meeting.undo()
    assert meeting.parts.book.value == "" and s.pins.options[0].text("cost").startswith("$")
    meeting.redo()
    assert meeting.parts.book.value == "own.csv" and s.pins.options[0].currency == "EUR"


def test_a_price_book_has_one_currency(tmp_path):
    """Behavior: none is none, two are refused."""
    assert read_prices(own_book(tmp_path, "")).currency == ""
    book = read_prices(own_book(tmp_path, "kr"))
    assert book.currency == "kr"
    rows = tuple(book.prices.values())
    two = (*rows, replace(next(r for r in rows if r.kind == "currency"), item="EUR"))
    with pytest.raises(ValueError, match="there are several currencies: kr, EUR. Keep one."):
        PriceBook(two)


@pytest.mark.parametrize("units, length, area", [("ft", "ft", "ft2"), ("m", "m", "m2")])
def test_the_bill_counts_in_the_schools_units(units, length, area):
    """Invariance: whatever it counts in, the money is the same."""
    made = parts(replace(SCENARIOS["larkfield"], units=units), rays="few")
    bill = next(s for s in schedules(made) if s.title == "Bill")
    counted = {row[3] for row in bill.rows}
    assert length in counted and not counted & ({"m", "m2", "ft", "ft2"} - {length, area})
    assert bill.rows[-1][-1] == pytest.approx(sum(line.total for line in made.lines), abs=0.1)
    assert "money is in $" in bill.note
