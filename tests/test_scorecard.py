"""The scorecard: every verdict shown with its number and source; text from a scenario
stays text.
"""

from dataclasses import replace
from html import escape
from pathlib import Path

import pytest

import gymtools
from gymtools.acoustics.criteria import CRITERIA, WORDS, Verdict, worst_verdict
from gymtools.display import tables
from gymtools.display.tables.markup import Num, Quiet, table
from gymtools.venue.targets import Targets

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"


def verdict(word, **more):
    """A verdict of which only the word counts."""
    values = dict(criterion="sti", area="court", value=0.4, target=0.5, unit="", place="")
    return Verdict(word=word, source="", **(values | more))


def test_every_verdict_is_shown_with_word_reason_and_source():
    """Behavior: the table holds the label, word, sentence and source of every verdict."""
    result = gymtools.evaluate(gymtools.load(SCENARIOS / "stonebridge.toml"))
    shown = tables.verdict_table(result)
    for v in result.verdicts:
        criterion = CRITERIA[v.criterion]
        for text in (v.word, criterion.label, criterion.sentence(v, "ft"), v.source):
            assert escape(text) in shown
    assert result.word in tables.headline(result)


def test_sentences_speak_the_units_of_the_school():
    """Behavior: the same verdict says square feet in a school in feet, square meters in one in
    meters.
    """
    school = gymtools.load(SCENARIOS / "dovecote.toml")
    shown = {
        units: tables.verdict_table(gymtools.evaluate(replace(school, units=units), "class"))
        for units in ("m", "ft")
    }
    assert "m² more of full absorption" in shown["m"] and "ft²" not in shown["m"]
    assert "ft² more of full absorption" in shown["ft"]


@pytest.mark.parametrize(
    "words, text",
    [
        (["meets"] * 23, "all 23 checks pass"),
        (["meets"] * 19 + ["misses"] * 4, "4 of 23 checks fail"),
        (["meets", "close", "misses", "out of reach"], "2 of 4 checks fail, 1 is close"),
        (["meets", "close"], "no check of 2 fails, 1 is close"),
        (["close", "close", "meets"], "no check of 3 fails, 2 are close"),
    ],
)
def test_checks_are_counted(words, text):
    """Worked by hand: what fails is counted, and what is close apart from it."""
    assert tables.checks_text([verdict(word) for word in words]) == text


def test_headline_when_every_check_passes():
    """Behavior: the good case says so plainly, with the count."""
    easy = Targets(
        sti=0.3,
        quietest_seat_db=20,
        coverage_range_db=20,
        echo=2.0,
        arrival_ms=200,
        on_listeners_pct=5,
    )
    result = gymtools.evaluate(
        replace(gymtools.load(SCENARIOS / "larkfield.toml"), targets=easy), "assembly"
    )
    assert result.word == "meets"
    assert f": all {len(result.verdicts)} checks pass.</p>" in tables.headline(result)


def test_landing_table_adds_up():
    """Closed form: what each loudspeaker radiates is all accounted for, part by part."""
    result = gymtools.evaluate(gymtools.load(SCENARIOS / "alderway.toml"))
    assert abs(result.first_incidence.sum(axis=1) - 1).max() < 1e-6
    shown = tables.landing_table(result)
    assert shown.count("<tr>") == 1 + len(result.scenario.loudspeakers)


def test_long_late_decay_is_shown():
    """Behavior: with walls nearly as smooth as mirrors the warning names the bare pair and both
    decay times of the gym; it is silent where walls scatter as published rooms have it, in a room
    treated all over, and by formula.
    """
    scenario = replace(gymtools.load(SCENARIOS / "larkfield.toml"), treatments=())
    finishes = {f for s in scenario.room.surfaces for f in (s.finish, s.full) if f}
    smooth = replace(scenario, scattering_factors=dict.fromkeys(finishes, 0.1))
    bare = gymtools.evaluate(smooth, rays="few")
    early, late = (values[2:5].mean() for values in (bare.own_decay.edt, bare.own_decay.t30))
    shown = tables.room_table(bare, "m")
    assert "Long late decay" in shown and "north and south walls" in shown
    assert f"{early:.1f} s" in shown and f"{late:.1f} s" in shown
    lined = replace(smooth, hall=replace(scenario.hall, walls="wall panels"))
    for even in (
        gymtools.evaluate(scenario, rays="few"),
        gymtools.evaluate(lined, rays="few"),
        gymtools.evaluate(smooth, room="statistical"),
    ):
        assert "Long late decay" not in tables.room_table(even, "m")


def test_cautions_and_limits_are_there():
    """Behavior: the usual cautions and the deferral to professionals; no claim of life safety."""
    text = tables.limits()
    for word in (
        "structural engineer",
        "electrician",
        "fire-alarm",
        "Hearing",
        "authority having jurisdiction",
        "not a life-safety design",
    ):
        assert word in text


def test_text_from_a_scenario_is_escaped():
    """Behavior: a name full of markup is shown as text."""
    scenario = gymtools.load(SCENARIOS / "dovecote.toml")
    evil = replace(scenario, name='<script>alert("x")</script>')
    shown = tables.headline(gymtools.evaluate(evil))
    assert "<script>" not in shown and "&lt;script&gt;" in shown


def test_the_headline_names_what_is_furthest_off():
    """Behavior: in a show the stage microphones miss by 7 dB; that leads, in plain words, before a
    coverage that misses by less.
    """
    result = gymtools.evaluate(gymtools.load(SCENARIOS / "larkfield.toml"), "performance")
    worst = worst_verdict(result.verdicts)
    assert worst.criterion == "feedback_margin" and worst.value < -6
    shown = tables.headline(result)
    assert "a microphone is about to ring" in shown
    assert escape(CRITERIA["feedback_margin"].sentence(worst, "m")) in shown


def test_uses_are_compared_by_their_weakest_area():
    """Closed form: the row of a use holds its lowest STI, widest coverage range, lowest feedback
    margin and number of failing checks.
    """
    everything = gymtools.evaluate_all(gymtools.load(SCENARIOS / "dovecote.toml"))
    shown = tables.uses_table(everything)
    for result in everything.results.values():
        failing = sum(v.word not in ("meets", "close") for v in result.verdicts)
        for number in (
            f"{failing} of {len(result.verdicts)}",
            f"{min(a.sti_p10 for a in result.areas):.2f}",
            f"{max(max(a.coverage_range_db) for a in result.areas):.1f}",
            f"{min(m.margin_db.min() for m in result.microphones):+.1f}",
        ):
            assert f'<td class="num">{number}</td>' in shown
    assert f"<b>{everything.word}</b>" in shown and everything.word in WORDS


def test_a_table_sets_numbers_to_the_right():
    """Behavior: bare numbers and marked cells are set to the right, everything else to the left."""
    shown = table("Sizes", ["what", Num("how much")], [["length", 26.0], [Quiet("width"), "n/a"]])
    assert (
        shown == "<table><caption>Sizes</caption><thead><tr>"
        '<th scope="col">what</th><th scope="col" class="num">how much</th></tr></thead><tbody>'
        '<tr><td>length</td><td class="num">26</td></tr>'
        '<tr><td class="quiet">width</td><td>n/a</td></tr></tbody></table>'
    )
