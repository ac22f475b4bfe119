"""Options: headlines from single evaluations, what is told apart, what is beaten, and the choices that are combined."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.design.arrangements import ARRANGEMENTS, arrange
from gymtools.design.budget import cost
from gymtools.design.evaluate import evaluate
from gymtools.design.options import (
    AS_IT_IS,
    HEADLINES,
    beaten_by,
    choices,
    free_areas,
    headlines,
    option,
    told,
    told_apart,
    treated,
)
from gymtools.design.sweeping import figures, variations
from gymtools.venue.files import load
from gymtools.venue.scenario import changed

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DOVECOTE, LARKFIELD = (load(SCENARIOS / f"{n}.toml") for n in ("dovecote", "larkfield"))


def test_headlines_are_the_worst_of_all_uses():
    """Closed form: each headline from fresh evaluations of all uses, rounded as told."""
    o = option("A", DOVECOTE)
    results = [evaluate(DOVECOTE, u.name) for u in DOVECOTE.uses]
    verdicts = [v for r in results for v in r.verdicts]
    onto = [v.value for v in verdicts if v.criterion == "sound onto people"]
    assert o.headlines == dict(
        cost=round(cost(DOVECOTE), 0),
        missed=sum(v.word != "holds" for v in verdicts),
        clarity=round(min(a.sti_p10 for r in results for a in r.areas), 2),
        evenness=round(max(max(a.spread_db) for r in results for a in r.areas), 1),
        spare=round(min(float(m.spare_db.min()) for r in results for m in r.microphones), 1),
        onto=round(min(onto), 0),
    )
    assert (o.name, o.room, o.scenario) == ("A", "statistical", DOVECOTE) and o.row == figures(DOVECOTE)
    assert headlines({**o.row, **{k: None for k in o.row if k.endswith("spare gain [dB]")}})["spare"] is None


def test_figures_are_told_without_surplus_digits():
    texts = [told(h, v) for h, v in zip(HEADLINES, (33086.61, 4, 0.468, 17.24, None, 33.8), strict=True)]
    assert texts == ["33,087", "4", "0.47", "17.2", "none", "34"]


def points(*values):
    return dict(zip([h.key for h in HEADLINES], values, strict=True))


A = points(100, 2, 0.5, 6.0, 3.0, 40)


@pytest.mark.parametrize(
    "other, beaten",
    [
        (A, False),  # the same in everything
        (points(99, 2, 0.5, 6.0, 3.0, 40), True),
        (points(99, 2, 0.5, 6.1, 3.0, 40), False),
        (points(100, 2, 0.51, 6.0, 3.0, 40), True),
        (points(90, 1, 0.6, 5.0, 2.9, 50), False),
        (points(90, 1, 0.6, 5.0, None, 50), True),  # no microphone: compared in the rest
    ],
)
def test_what_is_beaten(other, beaten):
    assert beaten_by(A, {"other": other}) == ("other" if beaten else None)


@given(st.lists(st.tuples(*[st.integers(0, 3)] * len(HEADLINES)), min_size=1, max_size=12))
def test_something_is_never_beaten(rows):
    """Invariance: of any set at least one is beaten by none, and what beats is not worse in anything."""
    all_of = {str(n): points(*row) for n, row in enumerate(rows)}
    by = {name: beaten_by(one, {k: v for k, v in all_of.items() if k != name}) for name, one in all_of.items()}
    assert None in by.values()
    for name, winner in by.items():
        if winner:
            assert all((all_of[winner][h.key] - all_of[name][h.key]) * h.better >= 0 for h in HEADLINES)


def test_what_differs_is_told_in_words():
    """A tilt, a height in the file's units, a level of one use, a gain, a treatment: each is one line; the same is told as nothing."""
    assert told_apart(LARKFIELD, LARKFIELD) == []
    other = changed(LARKFIELD, {("groups", 0, "tilt_deg"): 40.0, ("groups", 1, "height"): 6.0, ("uses", 0, "target_dba"): 88.0, ("uses", 0, "groups", "court pair", "gain_db"): -2.0})
    assert sorted(told_apart(LARKFIELD, other)) == [
        ("group 'north row', tilt", "32°", "40°"),
        ("group 'south row', height", "25 ft 0 in", "19 ft 8 in"),
        ("use 'game', loudspeakers in it, court pair, gain", "-4 dB", "-2 dB"),
        ("use 'game', speech level wanted", "90 dB(A)", "88 dB(A)"),
    ]
    hung = told_apart(DOVECOTE, arrange(DOVECOTE, "pendants"))
    assert [what for what, _, _ in hung if what == "loudspeakers"] and not any(what.startswith("group ") for what, _, _ in hung)
    panels = told_apart(DOVECOTE, treated(DOVECOTE, 30.0))
    assert all(what.startswith("treatment of the") and what.endswith(", area") for what, _, _ in panels)


@pytest.mark.parametrize("scenario", [DOVECOTE, LARKFIELD], ids=lambda s: s.name)
@pytest.mark.parametrize("area", [1.0, 60.0, 200.0])
def test_treatment_is_spread_over_what_is_free(scenario, area):
    """Closed form: the sum of treatment grows by the area, each surface in the share of its free part; it is possible up to the last of it."""
    before, after = free_areas(scenario), free_areas(treated(scenario, area))
    assert sum(before.values()) - sum(after.values()) == pytest.approx(area, rel=1e-9)
    shares = {s: (before[s] - after[s]) / area for s in before if before[s] > 0}
    assert all(share == pytest.approx(before[s] / sum(before.values()), rel=1e-6) for s, share in shares.items())
    with pytest.raises(ValueError, match=r"are free of treatment\. Ask for less"):
        treated(scenario, sum(before.values()) + 1)


def test_choices_are_all_that_can_be_chosen():
    """The first of each axis leaves the design as it is; every other is either a scenario or refused with a reason; a height moves every group."""
    axes = choices(DOVECOTE)
    assert [next(iter(c)) for c in axes.values()] == [AS_IT_IS] * 4 and len(axes["arrangement"]) == len(ARRANGEMENTS) + 1
    for axis, offered in axes.items():
        for words, made in variations(DOVECOTE, {axis: offered}):
            if words[axis] == AS_IT_IS:
                assert made == DOVECOTE
            assert isinstance(made, str) or (made != DOVECOTE) == (words[axis] != AS_IT_IS) or words[axis] == DOVECOTE.groups[0].cabinet
    (_, lower), = variations(DOVECOTE, {"height": {k: v for k, v in axes["height"].items() if k.startswith("1.00 m")}})
    assert [g.height for g in lower.groups] == pytest.approx([g.height - 1.0 for g in DOVECOTE.groups])
    assert replace(lower, groups=DOVECOTE.groups) == DOVECOTE
