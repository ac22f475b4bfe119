"""What drives the loudspeakers: power by hand, channels that suffice, lines, cable, mains, and what
is said when nothing does.
"""

import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest
from cases import usual
from schools import SCENARIOS

from gymtools.acoustics.evaluate import evaluate
from gymtools.display.documents.drawings.plans import floor_plan
from gymtools.display.documents.specification.contents import specification
from gymtools.display.documents.specification.html_writer import html
from gymtools.equipment.amplification import CIRCUIT_PART, PEAK, amplify, powers
from gymtools.equipment.amplifier_sets import cheapest
from gymtools.equipment.bill import bill
from gymtools.equipment.cabling import allowed_length, larger_conductor, next_tap
from gymtools.equipment.choice import GroupOptions
from gymtools.equipment.loudness import loudness
from gymtools.equipment.outputs import LINE_PART, TRANSFORMER_DB, Option
from gymtools.equipment.prices import example_prices
from gymtools.equipment.rack import rack_place, rack_units
from gymtools.equipment.schedules import parts, schedules
from gymtools.equipment.signal import inputs, mixer, plates, presets, processor
from gymtools.physics import electrical
from gymtools.physics.bands import a_weighted, to_energy, to_level
from gymtools.venue.amplifiers import AmplifierType, amplifier_types
from gymtools.venue.files import parse, to_text
from gymtools.venue.paths import changed
from gymtools.venue.wiring import Equipment, Wiring

LARKFIELD, DOVECOTE = SCENARIOS["larkfield"], SCENARIOS["dovecote"]


def wired(scenario, group, **wiring):
    return changed(scenario, {("equipment", "wiring", group, k): v for k, v in wiring.items()})


def low(scenario):
    """The same with every group at low impedance, as its file may ask for."""
    return changed(
        scenario,
        {("equipment", "wiring", g.name, "line_volts"): 0.0 for g in scenario.groups},
    )


def test_power_is_what_the_level_on_the_axis_takes():
    """Closed form: the electrical power of each octave is what the sensitivity turns into the level
    at 1 m that the evaluation plays; in octaves that are not lifted, the A-weighted level of a
    loudspeaker that alone makes its level follows the power required of a handbook.
    """
    result = evaluate(LARKFIELD, "game")
    watts = powers(result)
    for n, c in enumerate(LARKFIELD.loudspeakers):
        at_1m = np.array(c.type.sensitivity_db) + to_level(watts[n])
        assert at_1m == pytest.approx(to_level(result.sources.on_axis[n]), abs=1e-6)
        level = float(a_weighted(at_1m))
        flat = c.type.response_db[3]
        same = electrical.amplifier_power(level, headroom_db=0, sensitivity_db=flat, distance=1.0)
        assert 0.3 < watts[n].sum() / same < 4, (
            "speech of that A-weighted level takes about the power of one with a flat sensitivity"
        )


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_loudspeaker_hangs_on_one_channel_that_suffices(name):
    """Closed form: each loudspeaker once, groups apart, loads not below the amplifier's least,
    power enough for the peaks in every use, cable within its limit and no larger than connectors
    take, at low impedance and on lines.
    """
    s = SCENARIOS[name]
    system = amplify(s)
    tags = [t for c in system.channels for t in c.tags]
    assert sorted(tags) == sorted(c.tag for c in s.loudspeakers) and not system.warnings
    used = {}
    for c in system.channels:
        used.setdefault(c.amplifier, []).append(c.output)
        own = s.in_group(c.group)
        kind = own[0].type
        assert set(c.tags) <= {x.tag for x in own}
        each = c.line_volts**2 / c.tap_w if c.line_volts else kind.impedance_ohm
        assert (
            c.load_ohm == pytest.approx(each / len(c.tags), rel=0.001)  # 5000 / P at 70.7 V
            and c.load_ohm >= c.type.min_ohm - 0.01
        )
        gives = c.tap_w * len(c.tags) if c.line_volts else c.type.watts(c.load_ohm)
        assert c.gives_w == pytest.approx(gives) and c.gives_w >= c.need_w
        assert c.bears_w == PEAK * kind.rated_w * len(c.tags) and c.limit_w <= c.bears_w
        assert c.limit_v == pytest.approx(math.sqrt(c.limit_w * c.load_ohm))
        if c.line_volts:
            assert c.gives_w <= LINE_PART * c.type.line_w
            assert c.limit_v <= c.line_volts * 1.001
        assert c.loss_db <= s.equipment.cable_loss_db + 0.005
        assert c.line_volts or c.damping >= 10
        size = float(c.conductor.split()[0])
        wire = dict(awg=size) if "AWG" in c.conductor else dict(nominal_mm2=size)
        assert size >= 10 if "AWG" in c.conductor else size <= 6
        assert c.loss_db == pytest.approx(
            electrical.chain_loss_db(c.lengths, [c.load_ohm * len(c.tags)] * len(c.tags), **wire)[
                -1
            ]
        )
    for amplifier, outputs in used.items():
        assert (
            sorted(outputs) == list(range(1, len(outputs) + 1))
            and len(outputs) <= system.amplifiers[amplifier].channels
        )
    assert all(n.headroom_db >= -0.05 and n.word == "meets" for n in system.needs)


def test_spare_level_is_told_from_its_parts():
    """Closed form: spare level of every loudspeaker from amplifier, peaks, heat, cable and the
    compression where that limit is reached.
    """
    system = amplify(LARKFIELD)
    results = {u.name: evaluate(LARKFIELD, u.name) for u in LARKFIELD.uses}
    for n in system.needs:
        k = [c.tag for c in LARKFIELD.loudspeakers].index(n.tag)
        kind, channel = LARKFIELD.loudspeakers[k].type, system.channel(n.tag)
        mean = powers(results[n.use])[k].sum()
        head = 10 ** (LARKFIELD.equipment.headroom_db / 10)
        lost_db = channel.loss_db + (TRANSFORMER_DB if channel.line_volts else 0)
        bears = {
            channel.power_limit: channel.gives_w / len(channel.tags) / to_energy(lost_db) / head,
            "loudspeaker, peaks": PEAK * kind.rated_w / head,
            "loudspeaker, heat": kind.rated_w,
        }
        limit = min(bears, key=bears.get)
        assert n.limited_by == limit and n.peak_w == pytest.approx(n.mean_w * head)
        assert to_level(n.mean_w) - 3.0 * min(n.mean_w / kind.rated_w, 1) == pytest.approx(
            to_level(mean), abs=1e-6
        ), "what is fed, less 3 dB in proportion, is what the level takes"
        assert n.headroom_db == pytest.approx(
            to_level(bears[limit] / mean) - 3.0 * min(bears[limit] / kind.rated_w, 1), abs=1e-5
        )


WIRINGS = (0.0, 70.7, 100.0)


def forced(s, results, group):
    """Every way to wire and drive one group, as the file may force it: line, model, outputs, units
    of the rack for each amplifier, and what it costs without its amplifier.
    """
    book, ways = example_prices(), []
    for other in s.groups:  # one way for the others, so that little is searched
        s = wired(s, other.name, line_volts=0.0, amplifier="four by 900", per_channel=1)
    for volts, kind, count in itertools.product(
        WIRINGS, amplifier_types(), range(1, group.number + 1)
    ):
        asked = dict(line_volts=volts, amplifier=kind, per_channel=count)
        try:
            system = amplify(wired(s, group.name, **asked), results)
        except ValueError:
            continue
        own = [c for c in system.channels if c.group == group.name]
        short = any(c.loss_db > s.equipment.cable_loss_db + 0.005 for c in own)
        weak = any(d.startswith(f"'{group.name}'") for d in system.warnings)
        if short or weak:
            continue
        cost = sum(book.line("cable", c.conductor, c.length).total for c in own)
        if volts:
            cost += book.line("line transformer", "at a loudspeaker", group.number).total
        cost += book.line("processor", "inputs and outputs", len(own)).total
        ways.append((volts, kind, len(own), cost))
    return ways


def total(ways):
    """What a way for each group costs with amplifiers and rack, and with what is preferred: two
    hours for each model but one, each line voltage.
    """
    book, types = example_prices(), amplifier_types()
    outputs = {}
    for _, kind, count, _ in ways:
        outputs[kind] = outputs.get(kind, 0) + count
    number = {kind: math.ceil(n / types[kind].channels) for kind, n in outputs.items()}
    cost = sum(way[3] for way in ways)
    cost += sum(book.line("amplifier", kind, n).total for kind, n in number.items())
    units = 5 + sum(n * (types[kind].rack_units + 1) for kind, n in number.items())
    rack = next(r for r in (12, 16, 20, 27, 36, 42) if r >= units)
    cost += book.line("rack", "rack with doors and power", rack).total
    others = len(number) - 1 + len({volts for volts, *_ in ways if volts})
    return cost + 2 * book.line("labor", "hour", 1).total * others


@pytest.mark.parametrize(
    "name",
    usual(["alderway", "dovecote", "larkfield", "stonebridge"], "alderway", "stonebridge"),
)
def test_no_other_wiring_costs_less(name):
    """Independent: every combination of wiring, model and loudspeakers on a channel, each forced in
    the file and priced by the rows of the price book, costs as much or more than the chosen one.
    """
    s = SCENARIOS[name]
    results = {u.name: evaluate(s, u.name, room="statistical") for u in s.uses}
    ways = [forced(s, results, g) for g in s.groups]
    # of ways with the same model and line and as many outputs the cheapest
    ways = [{w[:3]: w for w in sorted(some, key=lambda w: -w[3])}.values() for some in ways]
    least = min(total(combination) for combination in itertools.product(*ways))
    assert amplify(s, results).chosen.score == pytest.approx(least, abs=0.02)
    assert all(len(some) > 1 for some in ways)


def a_way(kind, volts, outputs, own_cost):
    """An option for ``cheapest``, which asks nothing else of it."""
    return Option(
        amplifier_type=amplifier_types()[kind],
        outputs=("output",) * outputs,
        line_volts=volts,
        fits=True,
        warnings=(),
        strength=(),
        own_cost=own_cost,
    )


def random_job(seed):
    """Up to five groups with up to six ways each, and amplifiers that are there already."""
    lot, kinds = random.Random(seed), list(amplifier_types())
    groups = tuple(
        GroupOptions(
            group=f"group {n}",
            stated=False,
            options=tuple(
                a_way(
                    lot.choice(kinds),
                    lot.choice((None, 70.7, 100.0)),
                    lot.randint(1, 6),
                    lot.uniform(50, 1500),
                )
                for _ in range(lot.randint(1, 6))
            ),
            lacking={},
        )
        for n in range(lot.randint(1, 5))
    )
    return groups, {lot.choice(kinds): lot.randint(1, 2)} if lot.random() < 0.4 else {}


def cost_of_set(options, existing):
    """Rows of the price book for one option a group: amplifiers that are there cost their work,
    and two hours count for each model but one, each line voltage, each rack but one.
    """
    book, types, outputs = example_prices(), amplifier_types(), {}
    for o in options:
        kind = o.amplifier_type.name
        outputs[kind] = outputs.get(kind, 0) + len(o.outputs)
    cost, units = sum(o.own_cost for o in options), 5
    for kind, n in outputs.items():
        number = math.ceil(n / types[kind].channels)
        again = min(number, existing.get(kind, 0))
        cost += book.line("amplifier", kind, 1).total * (number - again)
        cost += book.line("amplifier", kind, 1).labor * again
        units += number * (types[kind].rack_units + 1)
    racks = math.ceil(units / 42)
    high = next((r for r in (12, 16, 20, 27, 36, 42) if r >= units), units)
    cost += book.line("rack", "rack with doors and power", high).total
    others = len(outputs) - 1 + len({o.line_volts for o in options if o.line_volts}) + racks - 1
    return cost + 2 * book.line("labor", "hour", 1).total * others


@pytest.mark.parametrize("seed", range(60))
def test_no_other_set_of_a_random_job_costs_less(seed):
    """Independent: of up to five groups with up to six ways each every combination is priced from
    the rows of the price book; none costs less than the one that is chosen, with amplifiers that
    are there already or without.
    """
    groups, existing = random_job(seed)
    chosen = cheapest(groups, example_prices(), existing)
    every = itertools.product(*(g.options for g in groups))
    assert chosen.score == pytest.approx(min(cost_of_set(o, existing) for o in every), abs=0.02)
    assert chosen.score == pytest.approx(cost_of_set(chosen.options, existing), abs=0.02)


def test_a_larger_tap_that_costs_nothing_is_named():
    """Behavior: where the taps of a line leave under 3 dB and amplifier and cable carry larger ones
    as they are, that is said; with the tap that is named, amplifiers, cable and cost are the same,
    the channel gives twice as much, and nothing is said any more.
    """
    s = SCENARIOS["alderway"]
    results = {u.name: evaluate(s, u.name, room="statistical") for u in s.uses}
    before = amplify(s, results)
    (said,) = [r for r in before.remarks if r.startswith("'bank pair'")]
    assert "carry taps of 15 W, about 3 dB more" in said
    taps = {"bank pair": 15.0, "stage line": 30.0}
    for name, tap in taps.items():
        s = wired(s, name, line_volts=70.7, tap_w=tap)
    after = amplify(s, results)
    assert [(c.type, c.conductor) for c in after.channels] == [
        (c.type, c.conductor) for c in before.channels
    ]
    assert after.chosen.cost == pytest.approx(before.chosen.cost)
    assert [c.gives_w for c in after.channels] == [2 * c.gives_w for c in before.channels]
    assert not after.warnings and not after.remarks


def test_a_tap_is_not_named_that_amplifier_cable_or_loudspeaker_do_not_carry():
    """Closed form: three taps of 150 W fill an amplifier of 600 W to 75 %; three of 200 W would
    take all of it, over 80 %. A pendant of 100 W takes no tap of 150 W.
    """
    north = amplify(LARKFIELD).channels[0]
    assert (north.tap_w, len(north.tags), north.type.line_w) == (150.0, 3, 600.0)
    assert next_tap(LARKFIELD, north) == 0.0
    s = wired(low(DOVECOTE), "floor pair", line_volts=100.0, tap_w=100.0, amplifier="four by 900")
    (c,) = [c for c in amplify(s).channels if c.line_volts]
    assert next_tap(s, c) == 0.0
    smaller = wired(s, "floor pair", line_volts=100.0, tap_w=60.0, amplifier="four by 900")
    (c,) = [c for c in amplify(smaller).channels if c.line_volts]
    assert next_tap(smaller, c) == 100.0
    # a cable that loses all it may carries no larger tap
    assert next_tap(smaller, replace(c, lengths=(2000.0, 10.0))) == 0.0


def test_outputs_that_nobody_uses_are_not_paid_for():
    """Closed form: two channels of 77 W take one of two by 150 for 520, not one of four by 150 for
    860; with a third group of the same need, four outputs in one are the cheaper.
    """
    assert (
        [k.name for k in amplify(DOVECOTE).amplifiers.values()]
        == ["two by 150"]
        == [k.name for k in amplify(low(SCENARIOS["dovecote"])).amplifiers.values()]
    )
    third = replace(DOVECOTE.groups[1], name="third", tag="T", y=2.0)
    assert [
        k.name
        for k in amplify(
            low(replace(DOVECOTE, groups=(*DOVECOTE.groups, third)))
        ).amplifiers.values()
    ] == ["four by 150"], "520 + 520 and two hours against 860 and one"


def test_a_tap_that_is_given_too_small_does_not_make_the_amplifier_larger():
    """Behavior: the tap is what it is: the cheapest amplifier that carries it is taken (here one
    with room for both groups), not the strongest, and what is missing is said once.
    """
    system = amplify(wired(low(DOVECOTE), "floor pair", line_volts=70.7, tap_w=3.75))
    (c,) = [c for c in system.channels if c.line_volts]
    assert (
        c.type.name == "four by 150"
        and c.gives_w == 7.5
        and sum("its tap takes 3.75 W" in d for d in system.warnings) == 1
    )


def fixed(scenario, system, **new):
    """A design whose amplifiers and counts stay as a system has them."""
    kept = {}
    for c in system.channels:
        kept["equipment", "wiring", c.group, "amplifier"] = c.type.name
        kept["equipment", "wiring", c.group, "per_channel"] = max(
            len(x.tags) for x in system.channels if x.group == c.group
        )
        kept["equipment", "wiring", c.group, "line_volts"] = c.line_volts or 0.0
        if c.line_volts:
            kept["equipment", "wiring", c.group, "tap_w"] = c.tap_w
    return changed(scenario, {**kept, **new})


@pytest.mark.parametrize(
    "name, limit",
    [
        ("larkfield", "amplifier"),
        ("stonebridge", "amplifier"),
        ("alderway", "transformer tap"),
        ("dovecote", "loudspeaker, heat"),
        ("dovecote", "loudspeaker, peaks"),
    ],
)
def test_what_can_be_reached_is_reached_with_nothing_to_spare(name, limit):
    """Closed form: with the reach as the target and the same amplifiers nothing is left to spare,
    whatever limits it; of 3 dB of heat none is forgotten.
    """
    s = changed(SCENARIOS[name], {("targets", "loudest_dba"): 110.0})  # hearing sets no limit here
    if (
        limit != "transformer tap"
    ):  # strong amplifiers; with little headroom heat comes first, with much the peaks
        s = changed(
            s,
            {
                ("equipment", "headroom_db"): 3.0 if "heat" in limit else 12.0,
                **{
                    ("equipment", "wiring", g.name, k): v
                    for g in s.groups
                    for k, v in (
                        ("amplifier", "four by 900"),
                        ("per_channel", 1),
                        ("line_volts", 0.0),
                    )
                },
            },
        )
    system = amplify(s)
    use = s.uses[0].name
    limiting = system.limiting[use]  # something is to spare: a hundred times what is left below
    assert limiting.limited_by == limit and limiting.headroom_db > 0.1
    reach = loudness(evaluate(s, use, follow_echoes=False), system).reach_dba
    there = fixed(s, system)
    there = replace(there, uses=(replace(s.uses[0], target_dba=reach), *s.uses[1:]))
    found = amplify(there).limiting[use]
    assert found.headroom_db == pytest.approx(0.0, abs=1e-3) and found.limited_by == limit


def test_nothing_suffices_and_it_is_said():
    """Behavior: a roar that no amplifier carries: the strongest is taken, how much is missing is
    said, and the level misses.
    """
    loud = changed(DOVECOTE, {("uses", "game", "target_dba"): 110.0})
    system = amplify(loud)
    assert any(
        "no amplifier gives the" in d and "W that peaks ask for" in d for d in system.warnings
    )
    assert system.limiting["game"].word == "misses" and system.limiting["game"].headroom_db < -3
    result = loudness(evaluate(loud, "game"), system)
    assert result.word == "out of reach" and result.reach_dba == pytest.approx(
        110 + min(system.limiting["game"].headroom_db, result.cap_db)
    )


def test_amplifiers_and_cable_that_are_there_are_used_again():
    """Closed form: of two amplifiers that are wanted one is there: only its work is paid for, and
    the design takes that model for it; cable that lies there costs nothing, keeps its size, and
    what it loses too much is said. Schedules and bill call them so.
    """
    bare = bill(low(DOVECOTE))
    words = {
        ("equipment", "existing_amplifiers"): {"four by 400": 1},
        ("equipment", "existing_condition"): "tested in May",
        ("equipment", "wiring", "wall pair", "existing_cable"): "2.5 mm2",
    }
    s = changed(low(DOVECOTE), words)
    made = parts(s, rays="few")
    lines = {(x.kind, x.item): x for x in made.lines}
    again = lines["amplifier", "four by 400 (there already, tested in May)"]
    assert (again.quantity, again.price, again.labor) == (1, 0.0, 85.0)
    assert [k.name for k in made.amplification.amplifiers.values()] == ["four by 400"]
    own = [c for c in made.amplification.channels if c.group == "wall pair"]
    old = lines["cable", "2.5 mm² (there already)"]
    assert old.total == 0 and old.quantity == pytest.approx(sum(c.length for c in own))
    assert sum(x.total for x in made.lines) < sum(x.total for x in bare) - 520
    assert max(c.loss_db for c in own) > 0.5
    assert "the 2.5 mm² that lies there loses" in made.amplification.warnings[0]
    found = {t.title: t for t in schedules(made)}
    assert found["Amplifiers"].rows[0][1] == "four by 400 (there already, tested in May)"
    assert found["Cables"].rows[0][3] == "2.5 mm² (there already)"
    assert parse(to_text(s)) == s


def test_a_limit_stands_where_the_peaks_of_a_use_exceed_it():
    """Worked by hand: a pendant rated 100 W bears peaks of 400 W; a use whose peaks ask for more is
    out of reach by the difference, the limiter stays at 400 W, and nothing is set to work below the
    level that is set.
    """
    loud = changed(
        low(DOVECOTE),
        {
            ("uses", "game", "target_dba"): 100.0,
            ("targets", "loudest_dba"): 110.0,
            ("equipment", "wiring", "floor pair", "amplifier"): "two by 900",
            ("equipment", "wiring", "floor pair", "per_channel"): 1,
        },
    )
    result = evaluate(loud, "game")
    system = amplify(loud, {"game": result})
    channel = system.channel("F1")
    assert channel.need_w > channel.bears_w == 400 == channel.limit_w
    assert channel.limit_v == pytest.approx(math.sqrt(400 * 8))
    found = loudness(result, system)
    assert found.word == "out of reach" and found.limiter_db > 0
    assert found.set_dba == found.reach_dba < 100.0


def test_hearing_sets_the_limit_of_a_use():
    """Closed form: where the loudest seat may get 2 dB less than the use's level gives, that level
    is out of reach by 2 dB, and the limiter stands at the level that is set, not under it.
    """
    result = evaluate(DOVECOTE, "game")
    loudest = loudness(result, amplify(DOVECOTE, {"game": result})).loudest_dba
    quiet = changed(DOVECOTE, {("targets", "loudest_dba"): loudest - 2.0})
    result = evaluate(quiet, "game")
    found = loudness(result, amplify(quiet, {"game": result}))
    assert found.cap_db == pytest.approx(-2.0) and found.spare_db == pytest.approx(-2.0)
    assert (found.word, found.limited_by, found.tag) == ("out of reach", "hearing", "loudest seat")
    assert found.set_dba == pytest.approx(result.use.target_dba - 2.0)
    assert found.limiter_db == pytest.approx(0.0)


@pytest.mark.parametrize("volts", [70.7, 100.0])
def test_a_line_carries_taps(volts):
    """Closed form: the least usual tap that carries the peaks, taps at most 80 % of the amplifier,
    impedance V squared over P, high-pass at 80 Hz.
    """
    s = wired(DOVECOTE, "floor pair", line_volts=volts)
    system = amplify(s)
    (c,) = [c for c in system.channels if c.group == "floor pair"]
    assert c.line_volts == volts and c.high_pass_hz == 80 and len(c.tags) == 2
    assert c.load_ohm == pytest.approx(electrical.line_load([c.tap_w] * 2, volts=volts)[1])
    assert 2 * c.tap_w <= LINE_PART * c.type.line_w
    most = max(n.peak_w for n in system.needs if n.tag in c.tags)
    assert c.tap_w >= most * to_energy(TRANSFORMER_DB) and c.tap_w in (3.75, 7.5, 15, 30, 60, 100)
    assert parse(to_text(s)) == s
    direct = next(x for x in amplify(low(DOVECOTE)).channels if x.group == "floor pair")

    def thin(x):
        return float(x.conductor.split()[0])

    assert thin(c) < thin(direct), "a line needs less copper"


def test_a_line_of_low_voltage_does_not_load_an_amplifier_below_what_it_bears():
    """Closed form: 25 V over taps of 30 W each is 625 / 60 = 10.4 ohm for two and 625 / 120 = 5.2
    ohm for four; an amplifier takes what its least load allows, else it is said.
    """

    def pair(**new):
        return wired(
            wired(
                low(changed(DOVECOTE, {("uses", "game", "target_dba"): 90.0})),
                "wall pair",
                line_volts=25.0,
                **new,
            ),
            "floor pair",
            line_volts=25.0,
            **new,
        )

    system = amplify(pair())
    assert {len(c.tags) for c in system.channels} == {1}, (
        "one loudspeaker a channel is what 25 V allow here"
    )
    for c in system.channels:
        assert (
            c.load_ohm == pytest.approx(625 / (c.tap_w * len(c.tags)))
            and c.load_ohm >= c.type.min_ohm
            and not system.warnings
        )
    louder = changed(
        LARKFIELD, {("uses", "game", "target_dba"): LARKFIELD.use("game").target_dba + 1}
    )
    north = amplify(wired(louder, "north row", line_volts=25.0))
    strained = [c.load_ohm for c in north.channels if c.line_volts == 25.0]
    assert strained == pytest.approx([3.125] * 3), (
        "taps of 200 W: 625 / 200, and nothing bears less than 4 ohm"
    )
    assert any(
        "'north row': the taps of one loudspeaker load the 25 V line with 3.1 ohm, less than the"
        " 4 ohm" in d
        for d in north.warnings
    )
    forced = amplify(
        wired(
            low(DOVECOTE),
            "floor pair",
            line_volts=25.0,
            tap_w=60.0,
            amplifier="line 240",
            per_channel=2,
        )
    )
    (c,) = [c for c in forced.channels if c.line_volts]
    assert c.load_ohm == pytest.approx(625 / 120) and c.load_ohm < c.type.min_ohm == 8
    assert any(
        "'floor pair': the taps of 2 loudspeakers load the 25 V line with 5.2 ohm, less than the 8"
        " ohm that line 240 bears" in d
        for d in forced.warnings
    )
    eased = amplify(
        wired(low(DOVECOTE), "floor pair", line_volts=25.0, tap_w=60.0, amplifier="line 240")
    )
    assert [c.load_ohm for c in eased.channels if c.line_volts] == pytest.approx(
        [625 / 60] * 2
    ) and not any("load the" in d for d in eased.warnings)


def test_a_tap_that_is_too_small_or_too_much_is_said():
    """Behavior: a warning names the group, the tap and what it should carry."""
    small = amplify(wired(DOVECOTE, "floor pair", line_volts=70.7, tap_w=3.75))
    assert any("its tap takes 3.75 W" in d for d in small.warnings)
    heavy = amplify(
        wired(DOVECOTE, "floor pair", line_volts=70.7, tap_w=250.0, amplifier="line 120")
    )
    assert any("over 80 % of the 120 W of line 120" in d for d in heavy.warnings)
    with pytest.raises(
        ValueError, match=r"group 'floor pair': amplifier 'two by 150' drives no line"
    ):
        amplify(wired(DOVECOTE, "floor pair", line_volts=70.7, amplifier="two by 150"))
    with pytest.raises(ValueError, match=r"group 'wall pair': no amplifier drives 8\.0 ohm"):
        amplify(wired(low(DOVECOTE), "wall pair", amplifier="line 120", per_channel=1))


def test_a_long_thin_run_is_said():
    """Behavior: a run of 300 m at low impedance: even the largest conductor that connectors take
    loses too much, and the damping is low; what would help is said, and with the wiring left open a
    line is taken.
    """
    run = wired(LARKFIELD, "court pair", run=300.0)
    far = amplify(wired(run, "court pair", line_volts=0.0))
    own = [c for c in far.channels if c.group == "court pair"]
    assert min(c.lengths[0] for c in own) == 300.0
    assert {c.conductor for c in own} == {"10 AWG"} and all(c.loss_db > 0.5 for c in own)
    (first, *_) = [d for d in far.warnings if d.startswith(f"cable {own[0].cable} ")]
    for words in ("10 AWG, the largest that connectors take", "a rack so near", "or 100 V line"):
        assert words in first
    assert any("damping factor" in d for d in far.warnings)
    (line,) = [c for c in amplify(run).channels if c.group == "court pair"]
    assert line.line_volts and line.loss_db <= 0.505 and not amplify(run).warnings


def test_what_would_help_a_cable_helps():
    """Closed form: the length that is said to be allowed loses as much as allowed, by the circuit
    of the cable; 8 AWG, where the file lets connectors take it, is taken.
    """
    pair = wired(low(LARKFIELD), "court pair", per_channel=2)
    channel = amplify(pair).channel("C1")
    assert channel.conductor == "10 AWG" and 0.5 < channel.loss_db < 0.7
    shorter = allowed_length(pair, channel) / channel.length
    loss = electrical.chain_loss_db(np.array(channel.lengths) * shorter, [8.0, 8.0], awg=10)[-1]
    assert loss == pytest.approx(0.5, abs=1e-4) and larger_conductor(pair, channel) == "8 AWG"
    larger = changed(pair, {("equipment", "largest_awg"): 8})
    assert amplify(larger).channel("C1").conductor == "8 AWG" and not amplify(larger).warnings


def test_routes_follow_walls_and_roof():
    """Closed form: up from the rack to the joists, along both walls, down to the loudspeaker, and
    some slack; the nearer end of a row comes first.
    """
    system = amplify(DOVECOTE)
    rack, up = rack_place(DOVECOTE), DOVECOTE.hall.clear_height
    for c in system.channels:
        p = next(x for x in DOVECOTE.loudspeakers if x.tag == c.tags[0]).position
        assert c.lengths[0] == pytest.approx(
            abs(up - rack[2]) + abs(p[0] - rack[0]) + abs(p[1] - rack[1]) + abs(up - p[2]) + 2.0
        )
    moved = replace(DOVECOTE, equipment=Equipment(rack_x=0.0, rack_y=0.0, rack_height=1.0))
    assert sum(c.length for c in amplify(moved).channels) < sum(c.length for c in system.channels)


def test_a_given_run_leads_to_the_nearest_loudspeaker_of_its_group():
    """Closed form: three loudspeakers 8 m apart on three channels: 30 m as given, and 8 and 16 m
    more; two on the first channel add 8 m and a meter of slack. The bill pays for all of it.
    """
    row = changed(
        LARKFIELD,
        {
            ("groups", "north row", "number"): 3,
            ("groups", "north row", "spacing"): 8.0,
            ("groups", "north row", "along_deg"): 0.0,
            ("equipment", "rack_x"): -14.0,
            ("equipment", "rack_y"): 0.0,
        },
    )
    name = row.groups[0].name
    alone = [
        c for c in amplify(wired(row, name, run=30.0, per_channel=1)).channels if c.group == name
    ]
    assert [c.tags for c in alone] == [("N1",), ("N2",), ("N3",)] and [
        c.lengths for c in alone
    ] == [(30.0,), (pytest.approx(38.0),), (pytest.approx(46.0),)]
    east = [
        c
        for c in amplify(
            wired(changed(row, {("equipment", "rack_x"): 14.0}), name, run=30.0, per_channel=1)
        ).channels
        if c.group == name
    ]
    assert [c.length for c in east] == pytest.approx([46.0, 38.0, 30.0]), (
        "the other end is nearer to a rack in the east"
    )
    pairs = [
        c for c in amplify(wired(row, name, run=30.0, per_channel=2)).channels if c.group == name
    ]
    assert [c.tags for c in pairs] == [("N1", "N2"), ("N3",)] and [c.lengths for c in pairs] == [
        pytest.approx((30.0, 9.0)),
        pytest.approx((46.0,)),
    ]
    system = amplify(wired(row, name, run=30.0, per_channel=1))
    assert sum(
        line.quantity for line in bill(row, amplification=system) if line.kind == "cable"
    ) == pytest.approx(sum(c.length for c in system.channels))


def test_a_line_by_hand():
    """Closed form: two taps of 60 W on 70.7 V take 120 W of the 250 W that the channel could give;
    a loudspeaker gets 60 W less what its cable and 0.7 dB of transformer take, a tenth of it in the
    mean (10 dB of headroom), less the heat of that; a channel's need is two peaks, 0.5 dB of cable
    and 0.7 dB of transformers, in the use that takes most.
    """
    s = wired(low(DOVECOTE), "floor pair", line_volts=70.7)
    system, loudspeaker = amplify(s), next(c for c in s.loudspeakers if c.tag == "F1")
    (c,) = [c for c in system.channels if c.line_volts]
    assert (c.type.line_w, c.gives_w, c.tap_w, c.load_ohm) == (
        250.0,
        120.0,
        60.0,
        pytest.approx(41.667, abs=1e-3),
    )
    peaks = {n.use: n.peak_w for n in system.needs if n.tag == "F1"}
    assert (
        max(peaks, key=peaks.get) == "game"
        and c.need_w == pytest.approx(2 * peaks["game"] * 10**0.05 * 10**0.07)
        and c.need_w > 5 * min(peaks.values())
    )
    mean_w = 60.0 / 10 ** ((c.loss_db + 0.7) / 10) / 10
    for use, result in {u: evaluate(s, u, follow_echoes=False) for u in peaks}.items():
        cool = powers(result)[s.loudspeakers.index(loudspeaker)].sum()
        (n,) = [n for n in system.needs if n.tag == "F1" and n.use == use]
        assert (
            n.headroom_db
            == pytest.approx(
                10 * np.log10(mean_w / cool) - 3.0 * mean_w / loudspeaker.type.rated_w, abs=1e-4
            )
            and n.limited_by == "transformer tap"
        )


def test_damping_counts_the_whole_way():
    """Closed form: two of 8 ohm are 4 ohm; 0.04 ohm of the amplifier and both pieces of 6 mm2,
    there and back at 3.08 ohm/km (IEC 60228, from memory), lie in front of the last one.
    """
    c = amplify(DOVECOTE).channels[0]
    assert (c.tags, c.conductor, c.load_ohm, c.type.output_ohm) == (
        ("W1", "W2"),
        "6 mm²",
        4.0,
        0.04,
    )
    # up 5.8, along 13 - 0.5 - 4.5 = 8 and 9.75 - 0.5 + 1 = 10.25, down 0.6, 2 of slack; then 9 and
    # 1 of slack
    assert c.lengths == pytest.approx((26.65, 10.0)) and c.damping == pytest.approx(
        4.0 / (0.04 + 2 * 36.65 * 0.00308)
    )


def test_needs_and_channels_fit_together():
    """Closed form: the octave told takes more than any other; the need of a channel at low
    impedance is its loudspeakers' peaks in the use that takes most, and 0.5 dB for the cable.
    """
    for s in map(low, SCENARIOS.values()):
        system = amplify(s)
        for n in system.needs:
            octaves = powers(evaluate(s, n.use, follow_echoes=False))[
                [c.tag for c in s.loudspeakers].index(n.tag)
            ]
            assert (
                octaves[("125", "250", "500", "1k", "2k", "4k", "8k").index(n.octave)]
                == octaves.max()
                > 2 * octaves.min()
            )
        for c in system.channels:
            most = max(n.peak_w for n in system.needs if n.tag in c.tags)
            assert (
                c.need_w
                == pytest.approx(len(c.tags) * most * 10 ** (s.equipment.cable_loss_db / 10))
                and c.high_pass_hz == 60
            )


@pytest.mark.parametrize(
    "place, words",
    [
        (
            dict(rack_x=15.0),
            "the rack stands outside the gym, 2.00 m beyond the east wall. In a room beside it?",
        ),
        (dict(rack_x=-13.5, rack_y=10.0), "0.25 m beyond the north wall"),
        (dict(rack_x=-13.5), "0.50 m beyond the west wall"),
        (dict(rack_y=-11.75), "2.00 m beyond the south wall"),
        (dict(rack_height=7.5), "at 7.50 m, over the clear height of 7.00 m"),
    ],
)
def test_a_rack_outside_the_hall_is_said(place, words):
    """Closed form: the gym is 26 by 19.5 m, 7 m clear."""
    warnings = amplify(replace(DOVECOTE, equipment=Equipment(**place))).warnings
    assert sum(words in d for d in warnings) == 1 and not any(
        "outside" in d for d in amplify(DOVECOTE).warnings
    )


def test_a_rack_without_a_place_is_to_be_agreed():
    """Behavior: until the school has said where the rack stands, the schedule of amplifiers, the
    warnings, the specification and the floor plan say that it is to be agreed; with a place none of
    them does.
    """
    words = "place of the rack: to be agreed"
    open_place = parts(replace(DOVECOTE, equipment=Equipment()), rays="few", room="statistical")
    agreed = parts(DOVECOTE, rays="few", room="statistical")
    for made, open_yet in ((open_place, True), (agreed, False)):
        said = [w.lower() for w in made.amplification.warnings]
        assert any(words in w for w in said) == open_yet
        (table,) = [t for t in schedules(made) if t.title == "Amplifiers"]
        assert (words in table.note.lower()) == open_yet
        assert "12 units high" in table.note
        text = specification(made, drawings=[("AV-1", "Floor plan")])
        page = html(text)
        assert ("Its place is to be agreed with the school" in page) == open_yet
        plan = floor_plan(made.scenario, made.amplification, (), 100, "m")
        tags = [m.words for m in plan.marks if hasattr(m, "words")]
        assert ("rack, place to be agreed" in tags) == open_yet


def test_mains_heat_and_rack():
    """Closed form: sums over the amplifiers at an eighth of their power; circuits from the current;
    the rack is the next usual size.
    """
    system = amplify(LARKFIELD)
    drawn = heat = 0.0
    for kind in system.amplifiers.values():
        given = max(kind.watts_4, kind.watts_8, kind.line_w) * kind.channels / 8
        drawn += kind.idle_w + given / kind.efficiency
        heat += kind.idle_w + given / kind.efficiency - given
    assert system.ac_power_w == (
        pytest.approx(drawn),
        pytest.approx(heat),
    ) and system.current_a == pytest.approx(drawn / 120)
    weak = replace(LARKFIELD, equipment=Equipment(circuit_a=5.0))
    assert amplify(weak).circuits == int(np.ceil(drawn / 120 / (CIRCUIT_PART * 5)))
    filled, rack = rack_units(system, 5)
    assert filled == 5 + sum(k.rack_units + 1 for k in system.amplifiers.values()) and rack == 12
    assert rack_units(system, 60)[1] == 0


def test_levels_and_hours():
    """Closed form: the reach is the target and what is spare; hours from speech and noise together
    at the loudest place (as loud as each other: 3.01 dB more); the limiter's margin from what is
    allowed.
    """
    result = evaluate(LARKFIELD, "game")
    system = amplify(LARKFIELD)
    x = loudness(result, system)
    verdict = next(v for v in result.verdicts if v.criterion == "loudest")
    assert x.loudest_dba == pytest.approx(verdict.value) and x.cap_db == pytest.approx(
        95 - verdict.value
    )
    both = 10 * np.log10(10 ** (verdict.value / 10) + 10 ** (result.use.noise_dba / 10))
    assert x.exposed_dba == pytest.approx(both, abs=0.01) and both > verdict.value + 0.1
    assert (x.niosh_h, x.osha_h) == (
        pytest.approx(8 / 2 ** ((both - 85) / 3), rel=1e-3),
        pytest.approx(8 / 2 ** ((both - 90) / 5), rel=1e-3),
    )
    as_loud = replace(LARKFIELD, uses=(replace(LARKFIELD.uses[0], noise_dba=x.loudest_dba),))
    assert loudness(evaluate(as_loud), amplify(as_loud)).exposed_dba == pytest.approx(
        x.loudest_dba + 3.0103, abs=0.01
    )
    assert float(a_weighted(x.reach_db)) == pytest.approx(x.reach_dba, abs=0.01)


def test_inputs_are_counted_once_and_presets_say_what_a_use_does():
    """Closed form: every microphone that a use opens, once; a preset a use, with the drive of each
    group.
    """
    found = inputs(LARKFIELD)
    assert [i.name for i in found] == [
        "announcer",
        "roving",
        "teacher",
        "lectern",
        "stage left",
        "stage right",
    ] and [i.number for i in found] == list(range(1, 7))
    assert found[4].uses == ("performance",) and found[1].wireless and not found[0].wireless
    assert len(plates(LARKFIELD)) == 4 + 1
    game, lesson, *_ = presets(LARKFIELD)
    assert game.groups == {
        "north row": (0.0, 0.0),
        "south row": (0.0, 0.0),
        "court pair": (-4.0, 0.0),
    } and game.microphones == ("announcer",)
    assert lesson.groups["north row"] is None and lesson.closed == ("north bank", "south bank")
    needs = processor(LARKFIELD, amplify(LARKFIELD))
    assert (needs["inputs"], needs["presets"], needs["longest_delay_ms"]) == (7, 5, 0.0)


@pytest.mark.parametrize(
    "name, who, kind",
    [
        ("larkfield", "nobody", "automatic"),
        ("larkfield", "trained", "faders"),
        ("larkfield", "teacher", "tablet"),
        ("dovecote", "teacher", "rotary"),
    ],
)
def test_the_mixer_suits_who_runs_it(name, who, kind):
    """Trade fact: who runs the system decides the mixer; common practice, no source."""
    chosen = mixer(replace(SCENARIOS[name], equipment=Equipment(operator=who)))
    assert chosen.kind == kind and len(chosen.reason) > 30


def test_amplifiers_between_their_ratings():
    """Closed form: a voltage limit between 8 and 4 ohm, the current limit at 4, nothing below the
    least load; lines only by name.
    """
    kind = amplifier_types()["four by 400"]
    assert (
        (kind.watts(8), kind.watts(4), kind.watts(2)) == (400.0, 700.0, 0.0)
        and kind.watts(16) == 200.0
        and kind.watts(6) == pytest.approx(533.3, abs=0.1)
    )
    assert amplifier_types()["line 120"].watts(8) == 0.0 and all(
        isinstance(k, AmplifierType) for k in amplifier_types().values()
    )


@pytest.mark.parametrize(
    "make, message",
    [
        (
            lambda: Equipment(operator="caretaker"),
            r"operator = 'caretaker' is unknown\. Known: nobody, teacher, trained",
        ),
        (lambda: Equipment(conductor="gauge"), r"conductor = 'gauge' is unknown"),
        (lambda: Wiring(tap_w=30.0), r"tap_w is given, but no line_volts"),
        (lambda: Wiring(line_volts=0, tap_w=30.0), r"tap_w is given, but no line_volts"),
        (lambda: Wiring(line_volts=12), r"line_volts = 12 V is no line: give 20 to 110 V, or 0"),
        (lambda: Equipment(largest_awg=6), r"largest_awg = 6 is outside 8 to 18\. Smaller numbers"),
        (
            lambda: Wiring(existing_cable="12 gauge"),
            r"existing_cable = .12 gauge. is unknown\. Known: 18 AWG, .*10 mm2",
        ),
        (
            lambda: Equipment(existing_amplifiers={"two by 15": 1}),
            r"existing_amplifiers = 'two by 15' is unknown\. Did you mean 'two by 150'",
        ),
        (lambda: Wiring(amplifier="big"), r"amplifier = 'big' is unknown"),
        (
            lambda: Wiring(line_volts=230.0),
            r"line_volts = 230 V is outside 0 to 110 V\. 25, 70\.7 or 100 V",
        ),
        (
            lambda: replace(DOVECOTE, equipment=Equipment(wiring={"ceiling": Wiring()})),
            r"equipment, wiring: group 'ceiling' is unknown",
        ),
        (
            lambda: parse(to_text(DOVECOTE).replace("rack_x", "rack_hight", 1)),
            r"unknown key 'rack_hight'\. Did you mean 'rack_height'",
        ),
        (
            lambda: parse(to_text(DOVECOTE) + '\n[equipment.wiring]\n"wall pair" = 3\n'),
            r"\[wiring\.'wall pair'\]: must be a table",
        ),
        (
            lambda: parse(to_text(DOVECOTE).replace("rack_x", "wiring", 1)),
            r"\[wiring\]: must be a table of groups",
        ),
    ],
)
def test_refusals(make, message):
    """Behavior: one line names the key, the value and what is allowed."""
    with pytest.raises(ValueError, match=message):
        make()
