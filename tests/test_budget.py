"""Budget: a bill counted by hand, and price books that are refused in one line."""

import math
import pickle
import re
from dataclasses import replace
from pathlib import Path

import pytest

from gymtools.equipment.amplification import amplify
from gymtools.equipment.assistive_listening import receivers
from gymtools.equipment.bill import bill, cost
from gymtools.equipment.prices import COLUMNS, example_prices, read_prices
from gymtools.equipment.quote import not_priced
from gymtools.equipment.schedules import parts, schedules
from gymtools.venue.files import load
from gymtools.venue.finishes import FINISHES
from gymtools.venue.hall import Treatment
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.microphones import MICROPHONE_TYPES
from gymtools.venue.paths import changed

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
HEAD = ",".join(COLUMNS)


def book(tmp_path, *rows):
    path = tmp_path / "own.csv"
    path.write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    return path


def test_the_price_book_that_all_share_cannot_be_changed():
    """Regression: a price set in the package's book would cost every later design; a copy that
    another process gets is the same book.
    """
    shared = example_prices()
    with pytest.raises(TypeError, match="does not support item assignment"):
        shared.prices["labor", "hour"] = replace(shared.find("labor", "hour"), price=0.0)
    again = pickle.loads(pickle.dumps(shared))
    assert again.name == shared.name and list(again.prices.items()) == list(shared.prices.items())


def test_a_bill_is_its_quantities_times_its_prices():
    """Closed form: prices and hours from the price book, quantities counted by hand from the
    scenario and from what drives it: three microphones and a player go in, two channels come out; 5
    + 2 units fill a rack of 12.
    """
    p, system = example_prices(), amplify(DOVECOTE)
    hour = p.find("labor", "hour").price
    lines = {(line.kind, line.item): line for line in bill(DOVECOTE)}
    counted = {
        ("hanging point", "rated hardware with second safety"): len(DOVECOTE.loudspeakers),
        ("hanging point", "engineer's approval"): 1,
        ("mixer", "rotary"): 1,
        ("processor", "inputs and outputs"): 3 + 1 + 2,
        ("fire alarm", "muting contact"): 1,
        ("wall plate", "microphone or line"): (
            1 + sum(not m.kind.wireless for m in DOVECOTE.microphones)
        ),
        ("rack", "rack with doors and power"): 12,
        ("assistive listening", "transmitter and antenna"): 1,
        ("assistive listening", "receiver"): receivers(DOVECOTE.seats)[0],
        ("assistive listening", "neck loop"): receivers(DOVECOTE.seats)[1],
        ("commissioning", "measurement and setting up"): 1,
        ("commissioning", "gym measured as a whole"): 1,
        ("commissioning", "loudspeaker measured alone"): 4,
        ("commissioning", "use measured"): 4,
        ("commissioning", "area measured in a use"): 2 + 1 + 1 + 2,
        ("hanging hardware", "strut between joists"): 4,  # where they run is not known
        ("hanging hardware", "guard against balls"): 4,
        ("spare", "high-frequency driver"): 2,  # two types
        ("spare", "batteries and windscreen"): 3,
        ("permit", "electrical"): 1,
        ("training", "session for those who run it"): 2,  # teachers run it
        ("lift hire", "delivery, and boards under its wheels"): 2,  # the panels may come later
        # two channels, each all of a row
        ("conduit", "for loudspeaker cable"): sum(c.length for c in system.channels),
    }
    for key, n in [(("loudspeaker", c.type.name), 1) for c in DOVECOTE.loudspeakers] + [
        (("microphone", m.type), 1) for m in DOVECOTE.microphones
    ]:
        counted[key] = counted.get(key, 0) + n
    for key, n in [(("amplifier", k.name), 1) for k in system.amplifiers.values()] + [
        (("cable", c.conductor), c.length) for c in system.channels
    ]:
        counted[key] = counted.get(key, 0) + n
    # 180 m2 of panels in boxes of 32 ft2, which are 2.9729 m2: 60.5 of them
    counted["treatment", "wall panels"] = 61
    overhead = sum(
        line.hours
        for line in lines.values()
        if line.kind.startswith(("loudspeaker", "hanging", "cable", "conduit"))
    )
    apart = ("travel", "lift hire", "treatment")
    on_site = sum(x.hours for x in lines.values() if x.kind not in apart)
    panels = math.ceil(61 * 1.8 / 16)  # days of two fitters for eight hours
    counted["lift hire", "scissor lift"] = math.ceil(overhead / 16) + panels
    counted["travel", "day of the crew"] = math.ceil(on_site / 16) + panels
    assert {k: line.quantity for k, line in lines.items()} == pytest.approx(counted)
    for k, n in counted.items():
        assert lines[k].total == pytest.approx(n * (p.find(*k).price + p.find(*k).hours * hour))
    assert cost(DOVECOTE) == pytest.approx(sum(line.total for line in lines.values()))


def test_a_line_has_a_transformer_at_each_loudspeaker():
    """Closed form: two on a line are two transformers, the pair at low impedance has none."""
    wiring = ("equipment", "wiring")
    s = changed(
        DOVECOTE,
        {(*wiring, "floor pair", "line_volts"): 70.7, (*wiring, "wall pair", "line_volts"): 0.0},
    )
    (line,) = [x for x in bill(s) if x.kind == "line transformer"]
    assert (
        line.quantity == 2
        and line.total == pytest.approx(2 * 45 + 2 * 0.3 * 85)
        and not any(x.kind == "line transformer" for x in bill(DOVECOTE))
    )


@pytest.mark.parametrize("name", ["alderway", "dovecote", "larkfield", "stonebridge"])
def test_the_bill_counts_what_the_schedules_say(name):
    """Independent: processor inputs and outputs, wall plates, rack and receivers as the notes of
    the schedules word them.
    """
    s = load(Path(__file__).parents[1] / "scenarios" / f"{name}.toml")
    found = {t.title: t for t in schedules(parts(s))}
    billed = {(r[0], r[1]): r[2] for r in found["Bill"].rows}
    goes_in, comes_out = map(
        int, re.search(r"Processor: (\d+) inputs, (\d+) outputs", found["Inputs"].note).groups()
    )
    assert (
        billed["processor", "inputs and outputs"] == goes_in + comes_out
        and goes_in == len(found["Inputs"].rows) + 1
        and comes_out == len(found["Channels"].rows)
    )
    assert billed["rack", "rack with doors and power"] == int(
        re.search(r"units filled, (\d+) units high", found["Amplifiers"].note)[1]
    )
    assert (
        billed["wall plate", "microphone or line"]
        == re.search(r"Plates: (.*?)\. Assistive", found["Inputs"].note)[1].count(";") + 1
    )
    whole, compatible = map(
        int, re.search(r": (\d+) receivers, (\d+) of them", found["Inputs"].note).groups()
    )
    assert (
        billed["assistive listening", "receiver"],
        billed["assistive listening", "neck loop"],
    ) == (whole, compatible) and compatible < whole


def test_what_is_there_already_costs_nothing():
    """Invariance: a treatment that exists is in the room, and not in the bill; a microphone that no
    use opens is not either.
    """
    there = replace(
        DOVECOTE, treatments=tuple(replace(t, existing=True) for t in DOVECOTE.treatments)
    )
    assert cost(there) == pytest.approx(cost(replace(DOVECOTE, treatments=())))
    closed = replace(DOVECOTE, uses=tuple(replace(u, microphones=()) for u in DOVECOTE.uses))
    assert not any(line.kind == "microphone" for line in bill(closed))


def test_everything_has_a_price():
    """Behavior: every type of the data tables has a row, and any finish finds one."""
    p = example_prices()
    # measured ones are a scenario's own
    assert all(
        ("loudspeaker", name) in p.prices
        for name, kind in loudspeaker_types().items()
        if kind.measured_db is None
    )
    assert all(("microphone", name) in p.prices for name in MICROPHONE_TYPES)
    panels = tuple(Treatment(surface="roof", area=10.0, finish=finish) for finish in FINISHES)
    priced = [x for x in bill(replace(DOVECOTE, treatments=panels)) if x.kind == "treatment"]
    boxes = {line.item: line.quantity for line in priced}
    # 10 m2 are 3.4 boxes of 32 ft2: what is ordered by the box comes whole, and keeps its name
    assert boxes.pop("wall panels") == 4 and set(boxes) == set(FINISHES) - {"wall panels"}
    assert all(area == pytest.approx(10.0) for area in boxes.values())


def test_an_own_price_book_is_used(tmp_path):
    """Behavior: prices of another file count; of amplifiers only those that it offers are chosen; a
    row that is missing is named.
    """
    own = [
        f'{q.kind},"{q.item}",{q.unit},{100 if q.kind == "loudspeaker" else 0},0,'
        for q in example_prices().prices.values()
        if q.kind != "amplifier"
    ]
    assert cost(
        DOVECOTE, read_prices(book(tmp_path, *own, "amplifier,two by 900,each,7,0,"))
    ) == pytest.approx(100 * len(DOVECOTE.loudspeakers) + 7)
    with pytest.raises(
        ValueError, match=r"own\.csv: no price for any amplifier\. Add rows that begin 'amplifier,'"
    ):
        cost(DOVECOTE, read_prices(book(tmp_path, *own)))
    without = [row for row in own if "rotary" not in row]
    with pytest.raises(ValueError, match=r"own\.csv: no price for mixer 'rotary'"):
        cost(DOVECOTE, read_prices(book(tmp_path, *without, "amplifier,two by 900,each,7,0,")))


def test_a_price_book_in_feet_costs_the_same(tmp_path):
    """Closed form: cable at 0.3048 of its price a meter for a foot, finishes at 0.09290304 of
    theirs for a square foot: the same total; lines keep the book's unit.
    """

    def row(q):
        units = {"m": (0.3048, "ft"), "m2": (0.09290304, "ft2")}
        units["box of 32 ft2"] = (1.0, "box of 2.97289728 m2")
        k, unit = units.get(q.unit, (1.0, q.unit))
        return f'{q.kind},"{q.item}",{unit},{q.price * k!r},{q.hours * k!r},'

    feet = read_prices(book(tmp_path, *map(row, example_prices().prices.values())))
    assert cost(DOVECOTE, feet) == pytest.approx(cost(DOVECOTE), rel=1e-9)
    metric = {(x.kind, x.item): x for x in bill(DOVECOTE)}
    for x in bill(DOVECOTE, feet):
        k = {"ft": 0.3048, "ft2": 0.09290304}.get(x.unit, 1.0)
        assert x.quantity * k == pytest.approx(
            metric[x.kind, x.item].quantity
        ) and x.total == pytest.approx(metric[x.kind, x.item].total)
    assert {x.unit for x in bill(DOVECOTE, feet) if x.kind in ("cable", "treatment")} == {
        "ft",
        "box of 2.97289728 m2",
    }


def test_a_price_book_without_the_lines_of_a_job_prices_the_rest(tmp_path):
    """Behavior: a book from before conduit, lift and travel costs what it did, a sum over its own
    rows, and what it has no price for is said by name.
    """
    old = ("hanging hardware", "conduit", "antenna", "spare", "lift hire", "travel", "permit")
    rows = [
        f'{q.kind},"{q.item}",{q.unit},{q.price},{q.hours},'
        for q in example_prices().prices.values()
        if q.kind not in (*old, "training") and "measured" not in q.item
    ]
    before = read_prices(book(tmp_path, *rows))
    left = [x for x in bill(DOVECOTE) if x.kind not in (*old, "training")]
    same = [x for x in left if "measured" not in x.item]
    assert cost(DOVECOTE, before) == pytest.approx(sum(x.total for x in same))
    said = " ".join(not_priced(before))
    assert all(kind in said for kind in (*old, "training")) and not_priced(example_prices()) == []


@pytest.mark.parametrize(
    "joists, struts",
    [({}, 4), (dict(joist_spacing=4.5, joists_along="width", first_joist=4.0), 2)],
)
def test_struts_are_counted_where_a_loudspeaker_hangs_beside_a_joist(joists, struts):
    """Worked by hand: joists at 4, 8.5, 13, 17.5 and 22 m from the west wall of a gym of 26 m, so
    at -9, -4.5, 0, 4.5 and 9 m from its middle. The wall pair hangs at -4.5 and 4.5 m, on joists;
    the floor pair at -5.5 and 5.5 m, a meter beside them. Not known: each counts.
    """
    school = replace(DOVECOTE, hall=replace(DOVECOTE.hall, **joists))
    assert [c.x for c in school.loudspeakers] == [-4.5, 4.5, -5.5, 5.5]
    lines = bill(school, amplification=amplify(DOVECOTE))  # joists change no amplifier
    (line,) = [x for x in lines if x.item == "strut between joists"]
    assert line.quantity == struts


@pytest.mark.parametrize(
    "rows, message",
    [
        (["loudspeaker,compact 90x90,each,100,1,"], r"own\.csv: there is no row 'labor,hour'"),
        (
            ["labor,hour,h,85,0,", "labor,hour,h,90,0,"],
            r"own\.csv: labor 'hour' stands there twice",
        ),
        (["labor,hour,h,cheap,0,"], r"own\.csv, line 2: price = 'cheap' is not a number"),
        (["labor,hour,h,-3,0,"], r"own\.csv, line 2: price = -3 is outside 0 to 1e\+07"),
        (["labor,hour,h,nan,0,"], r"own\.csv, line 2: price = nan is outside"),
        (
            ["labor,hour,h,85,0,a,b"],
            r"own\.csv, line 2: does not have 6 values\. Put text with commas in quotes",
        ),
        (["labor,hour,h"], r"own\.csv, line 2: does not have 6 values"),
        (
            ["labor,hour,h,85,0,", "cable,12 AWG,yd,3,0,"],
            (
                r"own\.csv, line 3: unit 'yd' of cable '12 AWG' must be m or ft: that is what the"
                r" bill counts"
            ),
        ),
        (
            ["treatment,cork,ft,3,0,"],
            r"own\.csv, line 2: unit 'ft' of treatment 'cork' must be m2 or ft2",
        ),
        (
            ["treatment,cork,box of 0 m2,3,0,"],
            r"own\.csv, line 2: unit 'box of 0 m2' of treatment 'cork' must be m2 or ft2",
        ),
        (
            ["treatment,cork,box of 12 ft,3,0,"],
            r"own\.csv, line 2: unit 'box of 12 ft' of treatment 'cork' must be m2 or ft2",
        ),
        (
            ["loudspeaker,our own,pair,100,1,"],
            r"own\.csv, line 2: unit 'pair' of loudspeaker 'our own' must be each",
        ),
        (
            ["hanging point,engineer's approval,each,100,1,"],
            r"own\.csv, line 2: unit 'each' of hanging point 'engineer's approval' must be job",
        ),
    ],
)
def test_a_damaged_price_book_is_refused(tmp_path, rows, message):
    """Behavior: one line names the file, the row and what is wrong; a box that holds nothing, or
    meters where areas are counted, too.
    """
    with pytest.raises(ValueError, match=message):
        read_prices(book(tmp_path, *rows))


def test_other_refusals(tmp_path):
    """Behavior: a book that is missing, no table, no text or short of a row: one line each."""
    with pytest.raises(ValueError, match=r"none\.csv: there is no such price book"):
        read_prices(tmp_path / "none.csv")
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    with pytest.raises(
        ValueError,
        match=(
            r"x\.csv: missing column kind, item, unit, price, hours\. The first line must be"
            r" kind,item"
        ),
    ):
        read_prices(tmp_path / "x.csv")
    (tmp_path / "y.csv").write_bytes(b"\xff\xfe\x00k")
    with pytest.raises(ValueError, match=r"y\.csv: is not UTF-8 text"):
        read_prices(tmp_path / "y.csv")
    with pytest.raises(
        ValueError,
        match=(
            r"no price for loudspeaker 'two-way 90x60'\. Add a row that begins 'loudspeaker,two-way"
            r" 90x60'"
        ),
    ):
        read_prices(book(tmp_path, "labor,hour,h,1,0,")).find("loudspeaker", "two-way 90x60")
    with pytest.raises(ValueError, match=r"existing = 'yes' must be true or false"):
        Treatment(surface="roof", area=10.0, finish="wall panels", existing="yes")
