"""Advice: every number equals a fresh evaluation, the best of all moves comes first, and what no loudspeaker can do is said."""

from dataclasses import replace
from pathlib import Path

import pytest

from gymtools.design.advice import COSTS, LOUDSPEAKER, MOVES, WEAK, WORTH, advise, moves, said, sentence
from gymtools.design.budget import cost
from gymtools.design.criteria import CLOSE
from gymtools.design.evaluate import evaluate
from gymtools.design.options import free_areas, treated
from gymtools.venue.files import load
from gymtools.venue.scenario import changed

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DOVECOTE, LARKFIELD, ALDERWAY = (load(SCENARIOS / f"{n}.toml") for n in ("dovecote", "larkfield", "alderway"))


def fresh(scenario, use, key, room="statistical"):
    verdicts = evaluate(scenario, use, room=room, follow_echoes=False).verdicts
    return next(v for v in verdicts if (v.criterion, v.area) == key)


@pytest.mark.parametrize("scenario, use", [(LARKFIELD, "graduation"), (DOVECOTE, "game"), (ALDERWAY, "performance")], ids=["Larkfield", "Dovecote", "Alderway"])
def test_every_number_equals_a_fresh_evaluation(scenario, use):
    """Closed form: gains, costs and prices from evaluations of the scenarios that the moves name; the weakest verdicts are advised on."""
    found = advise(scenario, use)
    assert 1 <= len(found) <= WEAK
    weak = [v for v in evaluate(scenario, use, follow_echoes=False).verdicts if v.word != "holds"]
    for advice in found:
        v = advice.verdict
        assert v in weak or (v.criterion, v.area, v.value) in [(x.criterion, x.area, x.value) for x in weak]
        assert len(advice.proposals) <= MOVES and len({p.move.kind for p in advice.proposals}) == len(advice.proposals)
        for p in advice.proposals:
            key = v.criterion, v.area
            after = fresh(p.move.scenario, use, key)
            assert (p.effect.before.value, p.effect.after.value, p.effect.after.word) == (v.value, after.value, after.word)
            assert p.effect.gain / CLOSE[v.unit] >= WORTH and p.price == pytest.approx(cost(p.move.scenario) - cost(scenario))
            assert len(p.costs) <= COSTS
            for c in p.costs:
                k = c.before.criterion, c.before.area
                assert c.before.value == fresh(scenario, c.use, k).value and c.after.value == fresh(p.move.scenario, c.use, k).value and c.gain < 0


def test_costs_are_the_worst_of_all_that_get_worse():
    """Closed form: of all verdicts of all uses that a move makes worse, those that change their word, then the largest, are told."""
    (advice, *_), use = advise(LARKFIELD, "graduation"), "graduation"
    p = advice.proposals[0]
    worse = []
    for u in LARKFIELD.uses:
        after = {(v.criterion, v.area): v for v in evaluate(p.move.scenario, u.name, follow_echoes=False).verdicts}
        for v in evaluate(LARKFIELD, u.name, follow_echoes=False).verdicts:
            key = v.criterion, v.area
            better = 1 if key[0] in ("places near the mean", "level over the noise", "clarity of speech (STI)", "spare gain before feedback", "sound onto people") else -1
            if key in after and better * (after[key].value - v.value) / CLOSE[v.unit] <= -WORTH and (u.name, key) != (use, (advice.verdict.criterion, advice.verdict.area)):
                worse.append((u.name, key))
    assert {(c.use, (c.before.criterion, c.before.area)) for c in p.costs} <= set(worse) and len(p.costs) == min(len(worse), COSTS)


def test_moves_are_of_every_kind_and_each_is_one_change():
    """All kinds of the list are tried where they make sense; a move keeps the mirror; its words name what it does."""
    kinds = {m.kind for name in ("class", "graduation", "performance") for m in moves(LARKFIELD, name)}
    assert kinds >= {"tilt", "height", "off", "gain", "delay", "type", "microphone type", "talker distance", "fewer microphones", "treatment", "level"}
    for m in moves(LARKFIELD, "graduation"):
        assert m.scenario != LARKFIELD and m.words
        if m.kind == "tilt":
            assert m.scenario.groups[0].tilt_deg == m.scenario.groups[1].tilt_deg != 32.0
            assert f"{abs(m.scenario.groups[0].tilt_deg - 32):g}°" in m.words and ("down" in m.words) == (m.scenario.groups[0].tilt_deg > 32)
        if m.kind in LOUDSPEAKER:
            assert replace(m.scenario, groups=LARKFIELD.groups, uses=LARKFIELD.uses) == LARKFIELD
    assert not any("pendant" in m.words for m in moves(LARKFIELD, "game") if m.kind == "type"), "what hangs tilted does not become what fires down"


def test_a_hall_that_rings_needs_treatment_and_says_how_much():
    """A bare hall of several seconds: no loudspeaker move brings clarity, the area said makes it hold, and a little less does not."""
    bare = replace(DOVECOTE, hall=replace(DOVECOTE.hall, roof="plain deck", walls="painted block"), treatments=())
    quiet = changed(bare, {("uses", 0, "noise_dba"): 45.0})
    assert evaluate(quiet).rt_mid > 3
    advice = next(a for a in advise(quiet) if a.verdict.criterion == "clarity of speech (STI)")
    assert "No single loudspeaker move reaches 0.50" in advice.limit and "Less noise alone would not" in advice.limit
    area = float(advice.limit.split("About ")[1].split(" m²")[0])
    key = advice.verdict.criterion, advice.verdict.area
    assert fresh(treated(quiet, area + 3), quiet.uses[0].name, key).word == "holds" != fresh(treated(quiet, area - 8), quiet.uses[0].name, key).word


def test_a_roaring_crowd_needs_quiet_and_says_how_much():
    """Noise that no allowed level stands over: it says that treatment would not do, and how much quieter it must be."""
    loud = changed(DOVECOTE, {("uses", 0, "noise_dba"): 92.0})
    advice = next(a for a in advise(loud) if a.verdict.criterion == "level over the noise")
    assert advice.verdict.word == "out of reach"
    assert f"Panels on all that is free of roof and walls ({sum(free_areas(loud).values()):.0f} m²) would not" in advice.limit
    less = float(advice.limit.split("A noise ")[1].split(" dB")[0])
    key = advice.verdict.criterion, advice.verdict.area
    assert fresh(changed(loud, {("uses", 0, "noise_dba"): 92.0 - less - 0.5}), loud.uses[0].name, key).word == "holds"
    assert fresh(changed(loud, {("uses", 0, "noise_dba"): 92.0 - less + 1.5}), loud.uses[0].name, key).word != "holds"


def test_sentences_carry_gain_and_cost():
    """The gain with its sign, both values, the verdict, the price, and each cost with its use."""
    p = advise(LARKFIELD, "graduation")[0].proposals[0]
    words = sentence(p)
    e = p.effect
    assert words.startswith(p.move.words) and f"({said(e.before.value, e.before.unit)} to {said(e.after.value, e.after.unit)}, {e.after.word})" in words
    assert "0.472 to 0.468" in sentence(replace(p, costs=(replace(e, before=replace(e.before, value=0.472, unit=""), after=replace(e.after, value=0.468, unit="")),)))
    assert all(f"{c.use}" in words and c.before.criterion in words for c in p.costs)
    assert (said(0.456, ""), said(2.149, "dB"), said(66.6, "%"), said(31.2, "ms")) == ("0.46", "2.1 dB", "67 %", "31 ms")


def test_gains_in_the_traced_room_are_the_traced_rooms():
    """Closed form: with room = "traced" gains equal traced evaluations."""
    found = advise(DOVECOTE, "game", room="traced")
    key = found[0].verdict.criterion, found[0].verdict.area
    assert found[0].verdict.value == fresh(DOVECOTE, "game", key, "traced").value
    for p in found[0].proposals:
        assert p.effect.after.value == fresh(p.move.scenario, "game", key, "traced").value


def test_nothing_weak_no_advice_and_stop():
    """Everything holds: nothing is said. Stopped at once: nothing is said either, and no more is evaluated."""
    easy = replace(DOVECOTE, targets=replace(DOVECOTE.targets, spread_db=30, within_3db_pct=2, worst_seat_db=30, over_noise_db=0, sti=0.2, arrival_ms=200, spare_gain_db=-10, loudest_dba=110, on_listeners_pct=2, rt_s=10))
    assert advise(easy, "class") == ()
    assert advise(DOVECOTE, stop=lambda: True) == ()
