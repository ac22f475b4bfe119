"""Advice: every number equals a fresh evaluation, the best of all moves comes first, and what no
loudspeaker can do is said.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cases import usual
from schools import SCENARIOS

from gymtools.acoustics.criteria import CRITERIA, WORDS, judge
from gymtools.acoustics.evaluate import evaluate
from gymtools.design import advice as advising
from gymtools.design.advice import (
    COSTS,
    GRAIN_DB,
    GRAIN_M2,
    MOVES,
    QUIETER,
    WEAK,
    WORTH,
    Least,
    advise,
    limit_sentence,
    sentence,
)
from gymtools.design.moves import LOUDSPEAKER, moves
from gymtools.design.treatment import free_areas, treated
from gymtools.equipment.bill import cost
from gymtools.venue.hall import Hall
from gymtools.venue.loudspeakers import Group
from gymtools.venue.paths import changed
from gymtools.venue.scenario import Scenario
from gymtools.venue.targets import Targets
from gymtools.venue.uses import Use

DOVECOTE, LARKFIELD = SCENARIOS["dovecote"], SCENARIOS["larkfield"]
ALDERWAY = SCENARIOS["alderway"]  # two of its uses: what a move does in others is traced in each
ALDERWAY = replace(ALDERWAY, uses=tuple(map(ALDERWAY.use, ("performance", "class"))), text=None)
STAGE = replace(LARKFIELD, uses=(LARKFIELD.use("performance"),), text=None)
SCHOOLS = {"dovecote": DOVECOTE, "larkfield": LARKFIELD, "alderway": ALDERWAY, "stage": STAGE}
CASES = [("larkfield", "graduation"), ("dovecote", "game"), ("alderway", "performance")]
# targets that everything meets, so that a test chooses what is weak
EASY = dict(
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
)
# one loudspeaker in a small gym, so that tracing is quick
SMALL = Scenario(
    name="small",
    units="m",
    source="made up for tests",
    court="junior high",
    hall=Hall(
        length=28,
        width=18,
        height=8,
        clear_height=7.5,
        floor="wood floor",
        roof="plain deck",
        walls="painted block",
    ),
    groups=(
        Group(
            name="one",
            tag="O",
            loudspeaker="two-way 60x40",
            x=-10,
            y=0,
            height=6.5,
            pan_deg=0,
            downtilt_deg=25,
        ),
    ),
    uses=(Use(name="talk", target_dba=75, noise_dba=45, listens={"court": 1.0}),),
    targets=Targets(**{**EASY, "sti": 0.5}),
)
_judged = {}  # verdicts by scenario, use and rays, with the scenario so that its id stays taken


def judged(scenario, use, rays="full"):
    """Verdicts of a fresh evaluation by criterion and area; each is made once."""
    key = id(scenario), use, rays
    if key not in _judged:
        found = judge(evaluate(scenario, use, rays=rays), echoes=False)
        _judged[key] = scenario, {(v.criterion, v.area): v for v in found}
    return _judged[key][1]


@cache
def moves_of(school, use):
    """All moves in one use of a school, made once."""
    return list(moves(SCHOOLS[school], use))


@cache
def advice_on(school, use):
    """Advice on a school in one use."""
    return advise(SCHOOLS[school], use)


def key_of(advice):
    return advice.verdict.criterion, advice.verdict.area


def only(scenario, use, **targets):
    """A scenario with one use, whose other targets are all met."""
    s = replace(scenario, uses=(scenario.use(use),), text=None)
    return replace(s, targets=replace(s.targets, **{**EASY, **targets}))


def steps(before, after):
    """How much better, in the criterion's own "close"."""
    criterion = CRITERIA[before.criterion]
    return criterion.better * (after.value - before.value) / criterion.close


@pytest.mark.parametrize("school, use", usual(CASES, CASES[1]))
def test_every_number_equals_a_fresh_evaluation(school, use):
    """Closed form: gains, costs and prices from evaluations with all rays of the scenarios that the
    moves name, in every use; the weakest verdicts are advised on.
    """
    scenario, found = SCHOOLS[school], advice_on(school, use)
    assert 1 <= len(found) <= WEAK
    weak = {k: v for k, v in judged(scenario, use).items() if v.word != "meets"}
    for advice in found:
        assert weak[key_of(advice)] == advice.verdict
        kinds = {p.move.kind for p in advice.proposals}
        assert len(kinds) == len(advice.proposals) <= MOVES
        for p in advice.proposals:
            after = judged(p.move.scenario, use)[key_of(advice)]
            assert (p.effect.before, p.effect.after) == (advice.verdict, after)
            assert steps(p.effect.before, p.effect.after) >= WORTH
            assert p.price == pytest.approx(cost(p.move.scenario) - cost(scenario))
            for c in p.costs:
                key = c.before.criterion, c.before.area
                assert c.before == judged(scenario, c.use)[key] and c.gain < 0
                assert c.after == judged(p.move.scenario, c.use).get(key)


@pytest.mark.parametrize("school, use", CASES)
def test_all_that_gets_worse_is_there_in_its_order(school, use):
    """Closed form: of all verdicts of all uses, those that a move makes worse: lost altogether
    first, then those whose word falls, then the rest, each by how much.
    """
    scenario = SCHOOLS[school]
    for advice in advice_on(school, use):
        for p in advice.proposals:
            want = []
            for u in scenario.uses:
                after = judged(p.move.scenario, u.name)
                for key, v in judged(scenario, u.name).items():
                    if (u.name, key) != (use, key_of(advice)):
                        by = steps(v, after[key]) if key in after else -np.inf
                        fell = key in after and WORDS.index(after[key].word) > WORDS.index(v.word)
                        if by <= -WORTH:
                            want.append(((key in after, not fell, by), u.name, key))
            assert [(c.use, (c.before.criterion, c.before.area)) for c in p.costs] == [
                (u, key) for _, u, key in sorted(want, key=lambda w: w[0])
            ]


def test_the_best_of_all_moves_come_first():
    """Closed form: with few rays, of every kind the move with the most merit, of these the three
    best; merit counts gains up to the target whole, beyond it a tenth, and takes off half of what
    others fall short by more. Those that help with all rays too are proposed, in the order of their
    gain.
    """
    scenario, use = DOVECOTE, "game"
    base = judged(scenario, use, "few")
    tried = [(m, judged(m.scenario, use, "few")) for m in moves_of("dovecote", use)]

    def short(v):
        return max(-steps(replace(v, value=v.target), v), 0.0)

    def merit(found, key):
        gain, need = steps(base[key], found[key]), short(base[key])
        lost = [short(found[k]) - short(base[k]) if k in found else 1 for k in base if k != key]
        return min(gain, need) + 0.1 * max(gain - need, 0) - 0.5 * sum(max(x, 0) for x in lost)

    for advice in advice_on("dovecote", use):
        key, best = key_of(advice), {}
        for m, found in tried:
            if key in found and steps(base[key], found[key]) >= WORTH:
                worth = merit(found, key)
                if worth > best.get(m.kind, ("", -np.inf))[1]:
                    best[m.kind] = m, worth
        ranked = sorted(best.values(), key=lambda pair: -pair[1])[:MOVES]
        with_all = {m.words: judged(m.scenario, use)[key] for m, _ in ranked}
        helps = {w for w, v in with_all.items() if steps(advice.verdict, v) >= WORTH}
        assert {p.move.words for p in advice.proposals} == helps != set()
        gains = [p.effect.gain for p in advice.proposals]
        assert gains == sorted(gains, reverse=True)


def test_a_closed_microphone_is_a_cost():
    """Behavior: what can no longer be judged is lost: it comes first, in words."""
    use = next(u for u in LARKFIELD.uses if len(u.microphones) > 1)
    shut = next(m for m in moves(LARKFIELD, use.name) if m.kind == "fewer microphones")
    before, after = (
        {u.name: judged(s, u.name, "few") for u in LARKFIELD.uses}
        for s in (LARKFIELD, shut.scenario)
    )
    (gone,) = before[use.name].keys() - after[use.name].keys()
    key = next(k for k in before[use.name] if k != gone)
    # as if it helped a lot
    better = before[use.name][key].target + 99 * CRITERIA[key[0]].better
    after[use.name] = {**after[use.name], key: replace(before[use.name][key], value=better)}
    made = advising._proposal(shut, (use.name, key), before, after, 0.0)
    first = made.costs[0]
    assert (first.before.criterion, first.before.area) == gone
    assert first.after is None and first.gain == -np.inf
    lost = CRITERIA[gone[0]].text(before[use.name][gone].value)
    assert f"{use.name}, {gone[1]}: Feedback margin {lost}, then nothing: it is closed" in sentence(
        made
    )


def test_moves_are_of_every_kind_and_each_is_one_change():
    """Behavior: all kinds of the list are tried where they make sense; a move keeps the mirror; its
    words name what it does.
    """
    kinds = {
        m.kind
        for name in ("class", "graduation", "performance")
        for m in moves_of("larkfield", name)
    }
    assert kinds >= {*LOUDSPEAKER} - {"pan"} | {
        "microphone type",
        "talker distance",
        "fewer microphones",
        "treatment",
        "level",
    }
    for m in moves_of("larkfield", "graduation"):
        assert m.scenario != LARKFIELD and m.words
        if m.kind == "tilt":
            north, south = m.scenario.groups[:2]
            assert north.downtilt_deg == south.downtilt_deg != 32.0
            assert f"{abs(north.downtilt_deg - 32):g}°" in m.words
            assert ("down" in m.words) == (north.downtilt_deg > 32)
        if m.kind in LOUDSPEAKER:
            assert replace(m.scenario, groups=LARKFIELD.groups, uses=LARKFIELD.uses) == LARKFIELD
    assert not any("pendant" in m.words for m in moves(LARKFIELD, "game") if m.kind == "type"), (
        "what hangs tilted does not become what fires down"
    )


def test_identical_microphones_are_not_told_apart():
    """Behavior: the two microphones over the stage, alike but for their sides, are given another
    type together, one of them is closed, and mixing them automatically is offered; where one is
    lower, each is named by itself.
    """
    ideas = [m.words for m in moves(LARKFIELD, "performance") if "stage left" in m.words]
    assert ideas and all("'stage left' and 'stage right'" in words for words in ideas)
    assert "keep one of 'stage left' and 'stage right' closed in performance" in ideas
    (mixed,) = [m for m in moves(LARKFIELD, "performance") if m.kind == "automatic mixing"]
    use = mixed.scenario.use("performance")
    assert mixed.scenario.open_at_once(use) == 1 and use.microphones == (
        "stage left",
        "stage right",
    )
    lower = changed(LARKFIELD, {("microphones", "stage left", "height"): 2.5})
    ideas = [m.words for m in moves(lower, "performance")]
    assert "keep 'stage left' closed in performance" in ideas
    assert not any(m.kind == "automatic mixing" for m in moves(LARKFIELD, "game"))


def gain_changes(before, after, group):
    """Changes of a group's gain in the uses where there is one [dB]."""
    pairs = zip(before.uses, after.uses, strict=True)
    found = [b.group_setting(group).gain_db - a.group_setting(group).gain_db for a, b in pairs]
    return [by for by in found if by]


def test_words_of_a_move_say_which_way():
    """Behavior: down is more downtilt, higher is more height, up is more gain; left is where a
    loudspeaker's own left is, so that mirrored ones turn to opposite sides.
    """
    seen, ways = set(), {"tilt": ("further up", "further down"), "height": ("lower", "higher")}
    keys = {"tilt": "downtilt_deg", "pan": "pan_deg", "height": "height"}
    for school, use in CASES:
        s = SCHOOLS[school]
        for m in (m for m in moves_of(school, use) if m.kind in (*keys, "gain")):
            for old, new in zip(s.groups, m.scenario.groups, strict=True):
                if m.kind == "gain":
                    for by in gain_changes(s, m.scenario, old.name):
                        assert f"{'up' if by > 0 else 'down'} by {abs(by):g} dB in {use}" in m.words
                        seen.add(("gain", by > 0))
                    continue
                by = getattr(new, keys[m.kind]) - getattr(old, keys[m.kind])
                by = (by + 180) % 360 - 180  # a pan may go round
                if by and m.kind == "pan":
                    part = next(p for p in m.words.split(" and turn ") if old.name in p)
                    whose = "their" if " and " in part else "its"
                    assert part.endswith(f"{abs(by):g}° to {whose} {'left' if by > 0 else 'right'}")
                elif by:
                    assert ways[m.kind][by > 0] in m.words
                seen |= {(m.kind, by > 0)} if by else set()
    assert seen == {(k, way) for k in (*keys, "gain") for way in (True, False)}


def test_sentences_carry_gain_and_cost():
    """Behavior: the gain with its sign, both values, the verdict, the price, and the first three
    costs with their uses; others are counted.
    """
    for p in (p for case in CASES for a in advice_on(*case) for p in a.proposals):
        words, e = sentence(p), p.effect
        before, after = (CRITERIA[v.criterion].text(v.value) for v in (e.before, e.after))
        assert words.startswith(f"{p.move.words}: ")
        assert before == after or f"({before} to {after}, {e.after.word})" in words
        for c in p.costs[:COSTS]:
            assert f"{c.use}{', ' if c.before.area else ''}{c.before.area}: " in words
        assert (f"; and {len(p.costs) - COSTS} more" in words) == (len(p.costs) > COSTS)
        assert ("nothing else gets worse" in words) == (not p.costs)
        assert ("to pay" in words) == (abs(p.price) >= 1)
    assert "about $50 more to pay" in sentence(replace(p, price=50.0))
    assert "about $50 less to pay" in sentence(replace(p, price=-50.0))


@pytest.mark.parametrize(
    "criterion, before, after, words",
    [
        ("within_3db", 66.7, 71.9, ": +5 points (67 % to 72 %"),
        ("sti", 0.421, 0.424, ": +0.003 (0.421 to 0.424"),  # a digit more where both look alike
        ("sti", 0.456, 0.512, ": +0.06 (0.46 to 0.51"),
        ("coverage_range", 7.149, 5.0, ": -2.1 dB (7.1 dB to 5.0 dB"),
        ("arrival_spread", 31.2, 12.0, ": -19 ms (31 ms to 12 ms"),
    ],
)
def test_a_change_is_written_as_its_criterion_is(criterion, before, after, words):
    """Behavior: decimals and unit are the criterion's; percent change by points."""
    p = advice_on("dovecote", "game")[0].proposals[0]
    v = replace(p.effect.before, criterion=criterion, unit=CRITERIA[criterion].unit)
    effect = replace(p.effect, before=replace(v, value=before), after=replace(v, value=after))
    assert words in sentence(replace(p, effect=effect))


def test_what_other_moves_do_is_said():
    """Closed form: where no loudspeaker move reaches a target and another move does, that one is
    named with its figure.
    """
    advice = advice_on("stage", "performance")
    a = next(a for a in advice if a.verdict.criterion == "feedback_margin")
    m = next(m for m in moves_of("stage", "performance") if m.words == a.limit.other.words)
    v = judged(m.scenario, "performance")[key_of(a)]
    assert v == a.limit.other_after and v.word == "meets" and m.kind not in LOUDSPEAKER
    words = limit_sentence(a.limit)
    assert words.startswith("No single loudspeaker move reaches 0.0 dB; the best of them gives ")
    assert f"What does: {m.words} ({CRITERIA['feedback_margin'].text(v.value)})." in words


def test_no_limit_where_a_loudspeaker_move_reaches_the_target():
    """Closed form: of all loudspeaker moves those that come nearest with few rays are judged with
    all; there is a limit exactly where none of them meets the target, and it says the best value.
    """
    s, use, limits = DOVECOTE, "game", []
    shifts = [m for m in moves_of("dovecote", use) if m.kind in LOUDSPEAKER]
    for a in advice_on("dovecote", use):
        key, better = key_of(a), CRITERIA[a.verdict.criterion].better
        few = [(m, judged(m.scenario, use, "few").get(key)) for m in shifts]
        few = sorted((pair for pair in few if pair[1]), key=lambda pair: -better * pair[1].value)
        found = [judged(m.scenario, use)[key] for m, _ in few[: advising.CHECKED]]
        assert (a.limit is None) == any(v.word == "meets" for v in found)
        limits.append(a.limit)
        if a.limit:
            values = [judged(s, use)[key].value, *(v.value for v in found)]
            assert better * a.limit.best == max(better * value for value in values)
    assert any(limits)


def with_few_rays(scenario, use, key, made):
    """Value of a criterion with all rays, and what few rays say that another scenario changes."""
    before, after = (judged(s, use, "few")[key].value for s in (scenario, made))
    return judged(scenario, use)[key].value + after - before


def test_a_gym_that_rings_needs_treatment_and_says_how_much():
    """Closed form: in a bare gym of several seconds no loudspeaker move brings clear speech; the
    area said does, and a little less does not: what few rays find that it changes, added to the
    figure with all rays. With all rays it comes within 0.02 STI of the target.
    """
    bare = changed(SMALL, {("hall", "roof"): "plaster", ("hall", "walls"): "painted brick"})
    quiet = replace(bare, targets=replace(bare.targets, sti=0.5))
    assert evaluate(quiet).rt_mid > 3
    (a,) = advise(quiet)
    assert a.verdict.criterion == "sti" and a.limit.quiet == Least(amount=None, most=QUIETER)
    area, whole = a.limit.treatment.amount, a.limit.treatment.most
    assert whole == pytest.approx(sum(free_areas(quiet).values()))
    grain = max(GRAIN_M2, whole / advising.GRAINS)
    enough, less = treated(quiet, area), treated(quiet, area - grain)
    reached, short = (with_few_rays(quiet, "talk", key_of(a), s) for s in (enough, less))
    shown = CRITERIA["sti"].shown
    assert reached >= 0.5 - shown > short
    assert judged(enough, "talk")[key_of(a)].value == pytest.approx(0.5, abs=0.02)
    words = limit_sentence(a.limit)
    assert f"About {area:.0f} m² more of wall panels on roof and walls would." in words
    assert "Less noise alone would not, not even 40 dB less." in words


def test_a_roaring_crowd_needs_quiet_and_says_how_much():
    """Closed form: over a noise that no allowed level stands above, treatment would not do; so much
    quieter does, and a little less does not (levels and noise are the same with any rays).
    """
    loud = replace(SMALL, targets=Targets(**{**EASY, "speech_to_noise_db": 10, "loudest_dba": 95}))
    loud = changed(loud, {("uses", "talk", "noise_dba"): 92.0})
    a = next(a for a in advise(loud) if a.verdict.criterion == "speech_to_noise")
    assert a.verdict.word == "out of reach" and a.limit.treatment.amount is None

    def quieter(by):
        return judged(changed(loud, {("uses", "talk", "noise_dba"): 92.0 - by}), "talk")[key_of(a)]

    less = a.limit.quiet.amount
    assert quieter(less).word == "meets" != quieter(less - GRAIN_DB).word
    words = limit_sentence(a.limit)
    whole = sum(free_areas(loud).values())
    assert f"Panels on all that is free of roof and walls ({whole:,.0f} m²) would not." in words
    assert f"A noise {less:.0f} dB lower would." in words


def test_areas_are_in_the_units_of_the_school():
    """Behavior: a school that works in feet reads square feet."""
    advice = advice_on("larkfield", "performance")
    limit = next(a.limit for a in advice if a.limit and a.limit.treatment)
    limit = replace(limit, treatment=Least(amount=50.0, most=500.0))
    assert f"About {50.0 / 0.3048**2:.0f} ft² more" in limit_sentence(limit)


def test_advice_in_the_room_that_is_asked_for():
    """Closed form: in the statistical room, where rays do not matter, every gain and the best
    loudspeaker move of all equal evaluations by formula; so much treatment reaches the target,
    less does not.
    """

    def by_formula(scenario):
        found = judge(evaluate(scenario, "talk", room="statistical"), echoes=False)
        return {(v.criterion, v.area): v for v in found}[key_of(a)]

    (a,) = advise(SMALL, room="statistical")
    assert a.verdict == by_formula(SMALL)
    for p in a.proposals:
        assert p.effect.after == by_formula(p.move.scenario)
    shifts = [by_formula(m.scenario).value for m in moves(SMALL, "talk") if m.kind in LOUDSPEAKER]
    assert a.limit.best == max(*shifts, a.verdict.value)
    area, grain = a.limit.treatment.amount, a.limit.treatment.most / advising.GRAINS
    assert by_formula(treated(SMALL, area)).word == "meets"
    assert by_formula(treated(SMALL, area - max(grain, GRAIN_M2))).word != "meets"


def test_nothing_weak_no_advice_and_stop():
    """Behavior: where every target is met there is no advice. Stopped at once there is none either,
    and no more is evaluated.
    """
    assert advise(only(DOVECOTE, "class")) == ()
    assert advise(DOVECOTE, stop=lambda: True) == ()


def test_refusals():
    """Behavior: an unknown room or use is refused in one line."""
    with pytest.raises(ValueError, match=r"^room = 'x' is unknown\. Known: traced, statistical"):
        advise(DOVECOTE, room="x")
    with pytest.raises(ValueError, match=r"^use 'x' is unknown\. Known: game"):
        advise(DOVECOTE, "x")
    with pytest.raises(
        ValueError, match=r"^scenario = None is no Scenario\. Give what gymtools\.load"
    ):
        advise(None)
    with pytest.raises(
        ValueError, match=r"^prices = 'mine\.csv' is no PriceBook\. Give what read_prices"
    ):
        advise(DOVECOTE, prices="mine.csv")
