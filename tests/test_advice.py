"""Advice: every number equals a fresh evaluation, the best of all moves comes first, and what no
loudspeaker can do is said.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gymtools.acoustics.criteria import CLOSE, WORDS, better
from gymtools.acoustics.evaluate import evaluate
from gymtools.design import advice as advising
from gymtools.design.advice import COSTS, MOVES, WEAK, WORTH, advise, said, sentence
from gymtools.design.moves import LOUDSPEAKER, moves
from gymtools.design.options import free_areas, treated
from gymtools.equipment.bill import cost
from gymtools.venue.files import load
from gymtools.venue.scenario import changed

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DOVECOTE, LARKFIELD, ALDERWAY = (
    load(SCENARIOS / f"{n}.toml") for n in ("dovecote", "larkfield", "alderway")
)


def fresh(scenario, use, key, room="statistical"):
    verdicts = evaluate(scenario, use, room=room, follow_echoes=False).verdicts
    return next(v for v in verdicts if (v.criterion, v.area) == key)


@pytest.mark.parametrize(
    "scenario, use",
    [(LARKFIELD, "graduation"), (DOVECOTE, "game"), (ALDERWAY, "performance")],
    ids=["Larkfield", "Dovecote", "Alderway"],
)
def test_every_number_equals_a_fresh_evaluation(scenario, use):
    """Closed form: gains, costs and prices from evaluations of the scenarios that the moves name;
    the weakest verdicts are advised on.
    """
    found = advise(scenario, use)
    assert 1 <= len(found) <= WEAK
    weak = [v for v in evaluate(scenario, use, follow_echoes=False).verdicts if v.word != "meets"]
    for advice in found:
        v = advice.verdict
        assert v in weak or (v.criterion, v.area, v.value) in [
            (x.criterion, x.area, x.value) for x in weak
        ]
        assert len(advice.proposals) <= MOVES and len(
            {p.move.kind for p in advice.proposals}
        ) == len(advice.proposals)
        for p in advice.proposals:
            key = v.criterion, v.area
            after = fresh(p.move.scenario, use, key)
            assert (p.effect.before.value, p.effect.after.value, p.effect.after.word) == (
                v.value,
                after.value,
                after.word,
            )
            assert p.effect.gain / CLOSE[v.unit] >= WORTH and p.price == pytest.approx(
                cost(p.move.scenario) - cost(scenario)
            )
            for c in p.costs:
                k = c.before.criterion, c.before.area
                assert (
                    c.before.value == fresh(scenario, c.use, k).value
                    and c.after.value == fresh(p.move.scenario, c.use, k).value
                    and c.gain < 0
                )


def judged(scenario, use):
    return {(v.criterion, v.area): v for v in evaluate(scenario, use, follow_echoes=False).verdicts}


def steps(before, after):
    """How much better, in the unit's own "close"."""
    up = before.criterion in (
        "within_3db",
        "speech_to_noise",
        "sti",
        "feedback_margin",
        "on_listeners",
    )
    return (1 if up else -1) * (after.value - before.value) / CLOSE[before.unit]


@pytest.mark.parametrize(
    "scenario, use",
    [(LARKFIELD, "graduation"), (ALDERWAY, "performance"), (DOVECOTE, "game")],
    ids=["Larkfield", "Alderway", "Dovecote"],
)
def test_all_that_gets_worse_is_there_in_its_order(scenario, use):
    """Closed form: of all verdicts of all uses, those that a move makes worse: lost altogether
    first, then those whose word falls, then the rest, each by how much; the sentence tells the
    first three and counts the others.
    """
    for advice in advise(scenario, use):
        for p in advice.proposals:
            want = []
            for u in scenario.uses:
                after = judged(p.move.scenario, u.name)
                for key, v in judged(scenario, u.name).items():
                    if (u.name, key) != (use, (advice.verdict.criterion, advice.verdict.area)):
                        by = steps(v, after[key]) if key in after else -np.inf
                        fell = key in after and WORDS.index(after[key].word) > WORDS.index(v.word)
                        if by <= -WORTH:
                            want.append(((key in after, not fell, by), u.name, key))
            assert [(c.use, (c.before.criterion, c.before.area)) for c in p.costs] == [
                (u, key) for _, u, key in sorted(want, key=lambda w: w[0])
            ]
            assert (f"; and {len(want) - COSTS} more" in sentence(p)) == (len(want) > COSTS) and (
                "nothing else gets worse" in sentence(p)
            ) == (not want)


@pytest.mark.parametrize(
    "scenario, use",
    [(LARKFIELD, "graduation"), (ALDERWAY, "performance")],
    ids=["Larkfield", "Alderway"],
)
def test_the_best_of_all_moves_come_first(scenario, use):
    """Closed form: of every kind the move with the most merit, of these the three best; merit
    counts gains up to the target whole, beyond it a tenth, and takes off half of what others fall
    short by more. Told by gain.
    """
    base, tried = (
        judged(scenario, use),
        [(m, judged(m.scenario, use)) for m in moves(scenario, use)],
    )

    def short(v):
        return max(-steps(replace(v, value=v.target), v), 0.0)

    for advice in advise(scenario, use):
        key, merit = (advice.verdict.criterion, advice.verdict.area), {}
        for m, found in tried:
            if key in found and (gain := steps(base[key], found[key])) >= WORTH:
                others = sum(
                    max(short(found[k]) - short(base[k]), 0) if k in found else 1
                    for k in base
                    if k != key
                )
                worth = (
                    min(gain, short(base[key]))
                    + 0.1 * max(gain - short(base[key]), 0)
                    - 0.5 * others
                )
                if worth > merit.get(m.kind, ("", -np.inf))[1]:
                    merit[m.kind] = m.words, worth
        best = sorted(merit.values(), key=lambda pair: -pair[1])[:MOVES]
        assert {p.move.words for p in advice.proposals} == {words for words, _ in best}
        gains = [p.effect.gain for p in advice.proposals]
        assert gains == sorted(gains, reverse=True)


def test_a_closed_microphone_is_a_cost():
    """What can no longer be judged is lost: it is told first, in words."""
    found = [p for a in advise(LARKFIELD, "performance") for p in a.proposals]
    for p in (p for p in found if p.move.kind == "fewer microphones"):
        assert (
            p.costs[0].after is None
            and p.costs[0].gain == -np.inf
            and "then nothing: it is closed" in sentence(p)
        )
    use = next(u for u in LARKFIELD.uses if len(u.microphones) > 1)
    shut = next(m for m in moves(LARKFIELD, use.name) if m.kind == "fewer microphones")
    before, after = (
        {u.name: judged(s, u.name) for u in LARKFIELD.uses} for s in (LARKFIELD, shut.scenario)
    )
    (gone,) = before[use.name].keys() - after[use.name].keys()
    key = next(k for k in before[use.name] if k != gone)
    made = advising._proposal(
        shut,
        key,
        use.name,
        before,
        {
            **after,
            use.name: {
                **after[use.name],
                key: replace(
                    before[use.name][key], value=before[use.name][key].target + 99 * better(key[0])
                ),
            },
        },
        0.0,
    )
    assert (made.costs[0].before.criterion, made.costs[0].before.area) == gone and made.costs[
        0
    ].after is None
    assert (
        f"{use.name}, {gone[1]}: {gone[0]} {said(before[use.name][gone].value, 'dB')}, then"
        " nothing: it is closed" in sentence(made)
    )


def test_moves_are_of_every_kind_and_each_is_one_change():
    """All kinds of the list are tried where they make sense; a move keeps the mirror; its words
    name what it does.
    """
    kinds = {
        m.kind for name in ("class", "graduation", "performance") for m in moves(LARKFIELD, name)
    }
    assert kinds >= {
        "tilt",
        "height",
        "off",
        "gain",
        "delay",
        "type",
        "microphone type",
        "talker distance",
        "fewer microphones",
        "treatment",
        "level",
    }
    for m in moves(LARKFIELD, "graduation"):
        assert m.scenario != LARKFIELD and m.words
        if m.kind == "tilt":
            assert m.scenario.groups[0].downtilt_deg == m.scenario.groups[1].downtilt_deg != 32.0
            assert f"{abs(m.scenario.groups[0].downtilt_deg - 32):g}°" in m.words and (
                "down" in m.words
            ) == (m.scenario.groups[0].downtilt_deg > 32)
        if m.kind in LOUDSPEAKER:
            assert replace(m.scenario, groups=LARKFIELD.groups, uses=LARKFIELD.uses) == LARKFIELD
    assert not any("pendant" in m.words for m in moves(LARKFIELD, "game") if m.kind == "type"), (
        "what hangs tilted does not become what fires down"
    )


def test_words_of_a_move_say_which_way():
    """Down is more tilt, higher is more height, up is more gain; left is where a loudspeaker's own
    left is, so that mirrored ones turn to opposite sides; dearer is what costs more.
    """
    seen = set()
    for m in (
        m
        for s, use in ((LARKFIELD, "graduation"), (DOVECOTE, "game"), (ALDERWAY, "performance"))
        for m in moves(s, use)
        if m.kind in ("tilt", "pan", "height", "gain")
    ):
        s = next(s for s in (LARKFIELD, DOVECOTE, ALDERWAY) if s.name == m.scenario.name)
        for old, new in zip(s.groups, m.scenario.groups, strict=True):
            if m.kind == "gain":
                by = {
                    u.name: (
                        new_u.group_setting(old.name).gain_db - u.group_setting(old.name).gain_db
                    )
                    for u, new_u in zip(s.uses, m.scenario.uses, strict=True)
                }
                moved = [d for d in by.values() if d]
                assert len(moved) <= 1 and (
                    not moved
                    or f"{'up' if moved[0] > 0 else 'down'} by {abs(moved[0]):g} dB" in m.words
                )
                seen |= {moved[0] > 0} if moved else set()
                continue
            key = {"tilt": "downtilt_deg", "pan": "pan_deg", "height": "height"}[m.kind]
            by = (getattr(new, key) - getattr(old, key) + 180) % 360 - 180  # a pan may go round
            if by and m.kind == "pan":
                part = next(p for p in m.words.split(" and turn ") if old.name in p)
                assert part.endswith(
                    f"{abs(by):g}° to {'their' if ' and ' in part else 'its'}"
                    f" {'left' if by > 0 else 'right'}"
                )
            elif by:
                assert {"tilt": ("further up", "further down"), "height": ("lower", "higher")}[
                    m.kind
                ][by > 0] in m.words
            seen |= {(m.kind, by > 0)} if by else set()
    assert seen == {
        True,
        False,
        *((k, way) for k in ("tilt", "pan", "height") for way in (True, False)),
    }
    p = next(p for a in advise(DOVECOTE, "game") for p in a.proposals if p.price)
    assert "about 50 dearer" in sentence(replace(p, price=50.0)) and "about 50 cheaper" in sentence(
        replace(p, price=-50.0)
    )
    e = replace(
        p.effect,
        before=replace(p.effect.before, unit="%", value=66.7),
        after=replace(p.effect.after, unit="%", value=71.9),
    )
    assert ": +5 points (67 % to 72 %" in sentence(replace(p, effect=e))
    e = replace(
        e,
        before=replace(e.before, unit="", value=0.421),
        after=replace(e.after, unit="", value=0.424),
    )
    assert ": +0.003 (0.421 to 0.424" in sentence(replace(p, effect=e))


def test_limits_in_the_traced_room_are_the_traced_rooms():
    """The area and the best loudspeaker move that are told hold in the room they are told for: so
    much more reaches the target there, so much less does not.
    """
    found = advise(DOVECOTE, "game", room="traced")
    a = next(a for a in found if a.verdict.criterion == "sti")
    key = a.verdict.criterion, a.verdict.area
    shifts = sorted(
        (m for m in moves(DOVECOTE, "game") if m.kind in LOUDSPEAKER),
        key=lambda m: -judged(m.scenario, "game")[key].value,
    )
    best = max(fresh(m.scenario, "game", key, "traced").value for m in shifts[: advising.CHECKED])
    assert (
        f"the best of them gives {best:.2f}" in a.limit
        and f"{best:.2f}" != f"{judged(shifts[0].scenario, 'game')[key].value:.2f}"
    )
    a = next(a for a in found if a.verdict.criterion == "reverberation")
    area, key = float(a.limit.split("About ")[1].split(" m²")[0]), ("reverberation", "")
    assert (
        fresh(treated(DOVECOTE, area + 3), "game", key, "traced").word
        == "meets"
        != fresh(treated(DOVECOTE, area - 15), "game", key, "traced").word
    )


def test_what_other_moves_do_is_told():
    """Where no loudspeaker move reaches a target and another move does, that one is named with its
    figure.
    """
    a = next(a for a in advise(LARKFIELD, "graduation") if a.verdict.criterion == "feedback_margin")
    assert "No single loudspeaker move reaches 0.0 dB" in a.limit and "What does: " in a.limit
    named = a.limit.split("What does: ")[1].split(" (")[0]
    m = next(m for m in moves(LARKFIELD, "graduation") if m.words == named)
    v = judged(m.scenario, "graduation")[a.verdict.criterion, a.verdict.area]
    assert v.word == "meets" and f"({said(v.value, v.unit)})" in a.limit


def test_a_hall_that_rings_needs_treatment_and_says_how_much():
    """A bare hall of several seconds: no loudspeaker move brings clarity, the area said makes it
    hold, and a little less does not.
    """
    bare = replace(
        DOVECOTE,
        hall=replace(DOVECOTE.hall, roof="plain deck", walls="painted block"),
        treatments=(),
    )
    quiet = changed(bare, {("uses", 0, "noise_dba"): 45.0})
    assert evaluate(quiet).rt_mid > 3
    advice = next(a for a in advise(quiet) if a.verdict.criterion == "sti")
    assert (
        "No single loudspeaker move reaches 0.50" in advice.limit
        and "Less noise alone would not" in advice.limit
    )
    area = float(advice.limit.split("About ")[1].split(" m²")[0])
    key = advice.verdict.criterion, advice.verdict.area
    assert (
        fresh(treated(quiet, area + 3), quiet.uses[0].name, key).word
        == "meets"
        != fresh(treated(quiet, area - 8), quiet.uses[0].name, key).word
    )


def test_a_roaring_crowd_needs_quiet_and_says_how_much():
    """Noise that no allowed level stands over: it says that treatment would not do, and how much
    quieter it must be.
    """
    loud = changed(DOVECOTE, {("uses", 0, "noise_dba"): 92.0})
    advice = next(a for a in advise(loud) if a.verdict.criterion == "speech_to_noise")
    assert advice.verdict.word == "out of reach"
    assert (
        f"Panels on all that is free of roof and walls ({sum(free_areas(loud).values()):.0f} m²)"
        " would not" in advice.limit
    )
    less = float(advice.limit.split("A noise ")[1].split(" dB")[0])
    key = advice.verdict.criterion, advice.verdict.area
    assert (
        fresh(
            changed(loud, {("uses", 0, "noise_dba"): 92.0 - less - 0.5}), loud.uses[0].name, key
        ).word
        == "meets"
    )
    assert (
        fresh(
            changed(loud, {("uses", 0, "noise_dba"): 92.0 - less + 1.5}), loud.uses[0].name, key
        ).word
        != "meets"
    )


def test_sentences_carry_gain_and_cost():
    """The gain with its sign, both values, the verdict, the price, and each cost with its use."""
    p = advise(LARKFIELD, "graduation")[0].proposals[0]
    words = sentence(p)
    e = p.effect
    before, after = (said(v.value, v.unit) for v in (e.before, e.after))
    assert words.startswith(p.move.words)
    assert f"({before} to {after}, {e.after.word})" in words
    assert "0.472 to 0.468" in sentence(
        replace(
            p,
            costs=(
                replace(
                    e,
                    before=replace(e.before, value=0.472, unit=""),
                    after=replace(e.after, value=0.468, unit=""),
                ),
            ),
        )
    )
    assert all(f"{c.use}" in words and c.before.criterion in words for c in p.costs[:COSTS])
    assert (said(0.456, ""), said(2.149, "dB"), said(66.6, "%"), said(31.2, "ms")) == (
        "0.46",
        "2.1 dB",
        "67 %",
        "31 ms",
    )


def test_gains_in_the_traced_room_are_the_traced_rooms():
    """Closed form: with room = "traced" gains equal traced evaluations."""
    found = advise(DOVECOTE, "game", room="traced")
    key = found[0].verdict.criterion, found[0].verdict.area
    assert found[0].verdict.value == fresh(DOVECOTE, "game", key, "traced").value
    for p in found[0].proposals:
        assert p.effect.after.value == fresh(p.move.scenario, "game", key, "traced").value


def test_nothing_weak_no_advice_and_stop():
    """Everything holds: nothing is said. Stopped at once: nothing is said either, and no more is
    evaluated.
    """
    easy = replace(
        DOVECOTE,
        targets=replace(
            DOVECOTE.targets,
            coverage_range_db=30,
            within_3db_pct=2,
            quietest_seat_db=30,
            speech_to_noise_db=0,
            sti=0.2,
            arrival_ms=200,
            feedback_margin_db=-10,
            loudest_dba=110,
            on_listeners_pct=2,
            rt_s=10,
        ),
    )
    assert advise(easy, "class") == ()
    assert advise(DOVECOTE, stop=lambda: True) == ()
