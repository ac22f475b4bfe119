"""The scorecard: every verdict shown with its number and source; text from a scenario
stays text.
"""

from dataclasses import replace
from html import escape
from pathlib import Path

import gymtools
from gymtools.acoustics.criteria import CLOSE, worst_verdict
from gymtools.display import tables
from gymtools.venue.targets import Targets

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"


def test_every_verdict_is_shown_with_word_reason_and_source():
    """Closed form: the table holds every sentence of the evaluation and where each target comes
    from.
    """
    result = gymtools.evaluate(gymtools.load(SCENARIOS / "stonebridge.toml"))
    table = tables.verdict_table(result)
    for v in result.verdicts:
        for text in (v.word, v.sentence, v.source, v.criterion):
            assert escape(text) in table
    assert result.word in tables.headline(result)


def test_headline_when_everything_holds():
    """The good case says so plainly, with the count."""
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
    assert f"holds</b> ({len(result.verdicts)} of {len(result.verdicts)})" in tables.headline(
        result
    )


def test_landing_table_adds_up():
    """Closed form: what each loudspeaker radiates is all accounted for, part by part."""
    result = gymtools.evaluate(gymtools.load(SCENARIOS / "alderway.toml"))
    assert abs(result.first_incidence.sum(axis=1) - 1).max() < 1e-6
    table = tables.landing_table(result)
    assert table.count("<tr>") == 1 + len(result.scenario.loudspeakers)


def test_long_late_decay_is_told_from_the_traced_room():
    """The warning names the bare pair and both decay times; it is silent in a room treated all
    over, and by formula.
    """
    scenario = gymtools.load(SCENARIOS / "larkfield.toml")
    bare = gymtools.evaluate(replace(scenario, treatments=()), room="traced")
    early, late = (bare.decay_times[key][2:5].mean() for key in ("edt", "t30"))
    table = tables.room_table(bare, "m")
    assert (
        "north and south walls" in table
        and f"ring as if for {early:.1f} s" in table
        and f"as if for {late:.1f} s" in table
    )
    lined = replace(scenario, treatments=(), hall=replace(scenario.hall, walls="wall panels"))
    assert "Long late decay" not in tables.room_table(gymtools.evaluate(lined, room="traced"), "m")
    assert "Long late decay" not in tables.room_table(gymtools.evaluate(scenario), "m")


def test_cautions_and_limits_are_there():
    """Safety: the usual cautions and the deferral to professionals; no claim of life safety."""
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
    """A name full of markup is shown as text."""
    scenario = gymtools.load(SCENARIOS / "dovecote.toml")
    evil = replace(scenario, name='<script>alert("x")</script>')
    result = gymtools.evaluate(evil)
    assert "<script>" not in tables.headline(result) and "&lt;script&gt;" in tables.headline(result)


def test_the_headline_names_what_is_furthest_off():
    """In a show the stage microphones miss by 7 dB: that leads, in plain words, before an evenness
    that misses by less.
    """
    result = gymtools.evaluate(gymtools.load(SCENARIOS / "larkfield.toml"), "performance")
    worst = worst_verdict(result.verdicts)
    miss = {
        v: abs(v.value - v.target) / CLOSE[v.unit] for v in result.verdicts if v.word == worst.word
    }
    assert worst.criterion == "feedback_margin" and miss[worst] == max(miss.values())
    text = tables.headline(result)
    assert "a microphone is about to ring" in text and escape(worst.sentence) in text


def test_every_criterion_has_plain_words():
    """Whatever can lead the headline has words for people outside the trade."""
    for path in SCENARIOS.glob("*.toml"):
        for result in gymtools.evaluate_all(gymtools.load(path)).results.values():
            assert {v.criterion for v in result.verdicts} <= set(tables.PLAIN)
