"""Options: headlines from single evaluations, how designs differ, which option another betters, and
the choices that are combined.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.acoustics.criteria import CRITERIA
from gymtools.acoustics.evaluate import evaluate
from gymtools.design.arrangements import OFFERED, arrange
from gymtools.design.comparing import differing_values, loudspeaker_list
from gymtools.design.options import (
    AS_IT_IS,
    HEADLINES,
    Option,
    choices,
    dominated,
    dominated_by,
    headlines,
    option,
)
from gymtools.design.sweeping import column, figures, variations
from gymtools.design.treatment import free_areas, treated
from gymtools.display.charts import options as options_chart
from gymtools.display.tables import options_table
from gymtools.equipment.bill import cost
from gymtools.venue.files import load
from gymtools.venue.paths import changed

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DOVECOTE, LARKFIELD = (load(SCENARIOS / f"{n}.toml") for n in ("dovecote", "larkfield"))


def test_headlines_are_the_worst_of_all_uses():
    """Closed form: each headline from fresh evaluations of all uses, rounded as shown."""
    o = option("A", DOVECOTE)
    results = [evaluate(DOVECOTE, u.name) for u in DOVECOTE.uses]
    verdicts = [v for r in results for v in r.verdicts]
    areas = [a for r in results for a in r.areas]
    microphones = [m for r in results for m in r.microphones]
    onto = [v.value for v in verdicts if v.criterion == "on_listeners"]
    assert o.headlines == dict(
        cost=round(cost(DOVECOTE), 0),
        failing=sum(v.word not in ("meets", "close") for v in verdicts),
        sti=round(min(a.sti_p10 for a in areas), 2),
        coverage_range=round(max(max(a.coverage_range_db) for a in areas), 1),
        feedback_margin=round(min(float(m.margin_db.min()) for m in microphones), 1),
        on_listeners=round(min(onto), 0),
    )
    assert (o.name, o.room, o.rays, o.scenario) == ("A", "traced", "full", DOVECOTE)
    assert o.row == figures(DOVECOTE)
    without = {column(u.name, "feedback_margin"): None for u in DOVECOTE.uses}
    assert headlines({**o.row, **without})["feedback_margin"] is None


@pytest.mark.parametrize("room, rays", [("traced", "few"), ("statistical", "full")])
def test_an_option_says_what_it_rests_on(room, rays):
    """Behavior: an option in another room or with few rays is that of evaluations there, and says
    so; by formula there are no rays.
    """
    one_use = replace(DOVECOTE, uses=DOVECOTE.uses[:1])
    o = option("B", one_use, room=room, rays=rays)
    result = evaluate(one_use, room=room, rays=rays)
    assert (o.room, o.rays) == (room, rays if room == "traced" else "")
    assert o.row[column(one_use.uses[0].name, "sti")] == pytest.approx(result.worst_sti)


def test_headlines_are_the_criterias_own():
    """Behavior: unit, decimals and direction of a headline are those of its criterion."""
    for h in HEADLINES[2:]:
        c = CRITERIA[h.key]
        assert (h.unit, h.digits, h.better) == (c.unit, c.digits, c.better)
        assert h.words.lower().startswith(f"{c.label}, worst ".lower())


def test_figures_are_shown_without_surplus_digits():
    """Behavior: money and counts whole, the others with the decimals of their criterion."""
    values = (33086.61, 4, 0.468, 17.24, None, 33.8)
    texts = [h.text(v) for h, v in zip(HEADLINES, values, strict=True)]
    assert texts == ["33,087", "4", "0.47", "17.2", "none", "34"]


def points(*values):
    return dict(zip([h.key for h in HEADLINES], values, strict=True))


A = points(100, 2, 0.5, 6.0, 3.0, 40)


@pytest.mark.parametrize(
    "other, dominated",
    [
        (A, False),  # the same in everything
        (points(99, 2, 0.5, 6.0, 3.0, 40), True),
        (points(99, 2, 0.5, 6.1, 3.0, 40), False),
        (points(100, 2, 0.51, 6.0, 3.0, 40), True),
        (points(90, 1, 0.6, 5.0, 2.9, 50), False),
        (points(90, 1, 0.6, 5.0, None, 50), False),  # no microphone is no better than one
        (points(99, 2, 0.5, 6.0, 3.5, 40), True),
    ],
)
def test_what_is_bettered(other, dominated):
    """Closed form: by an option at least as good in every headline and better in one."""
    assert dominated_by(A, {"other": other}) == ("other" if dominated else None)


@given(st.lists(st.tuples(*[st.integers(0, 3)] * len(HEADLINES)), min_size=1, max_size=12))
def test_something_is_never_bettered(rows):
    """Invariance: of any set at least one is bettered by none, and what betters is not worse in
    anything.
    """
    all_of = {str(n): points(*row) for n, row in enumerate(rows)}
    by = {
        name: dominated_by(one, {k: v for k, v in all_of.items() if k != name})
        for name, one in all_of.items()
    }
    assert None in by.values()
    for name, winner in by.items():
        if winner:
            assert all(
                (all_of[winner][h.key] - all_of[name][h.key]) * h.better >= 0 for h in HEADLINES
            )


def test_both_without_a_figure_are_compared_in_the_rest():
    """Behavior: two designs without a microphone are compared in all else."""
    quiet = {**A, "feedback_margin": None}
    assert (
        dominated_by(quiet, {"cheaper": {**quiet, "cost": 90}}) == "cheaper"
        and dominated_by(quiet, {"same": quiet}) is None
    )


def made(name, room="traced", rays="full", **headlines):
    headlines = {**A, **headlines}
    return Option(name=name, scenario=DOVECOTE, headlines=headlines, row={}, room=room, rays=rays)


def test_rooms_are_not_compared_with_each_other():
    """Behavior: an option of the statistical room betters none of the traced room, one with few
    rays none with all, and the table puts no sign between them; within one room and rays it does.
    """
    one, cheap = made("one"), made("cheap", cost=90)
    assert dominated([one, cheap]) == ["cheap", None]
    same = options_table([one, cheap], one)
    assert "▲" in same and "are not compared" not in same
    for other in (made("formula", room="statistical", cost=80), made("few", rays="few", cost=80)):
        assert dominated([one, other]) == [None, None]
        apart = options_table([one, other], one)
        assert "▲" not in apart and "are not compared" in apart


@pytest.mark.parametrize("h", HEADLINES, ids=lambda h: h.key)
def test_better_has_a_sign_and_stands_higher(h):
    """Behavior: more of what is better is ▲ better and higher in the figure; less of it is ▼ worse
    and lower.
    """
    one, other = made("one"), made("other", **{h.key: A[h.key] + h.better})
    assert "▲ better" in options_table([one, other], one) and "▼" not in options_table(
        [one, other], one
    )
    assert "▼ worse" in options_table([other, one], other) and "▲" not in options_table(
        [other, one], other
    )
    lines, _ = options_chart._lines([one, other], [])
    k = [x.key for x in HEADLINES].index(h.key)
    assert lines[1].y[k] == 1 and lines[0].y[k] == 0


@given(st.lists(st.floats(0, 1), min_size=1, max_size=6))
def test_names_at_line_ends_keep_apart_and_on_the_figure(ends):
    """Invariance: six names fit over each other wherever the lines end; the order of the lines is
    the order of the names.
    """
    notes = options_chart._names([(y, f"{k}", "black") for k, y in enumerate(ends)])
    places = [n["y"] for n in notes]
    assert (
        np.all(np.diff(places) >= options_chart.SPACED - 1e-9)
        and max(places) <= options_chart.TOP + 1e-9
    )
    assert [ends[int(n["text"])] for n in notes] == sorted(ends)
    if min(np.diff(sorted([*ends, 9]))) >= options_chart.SPACED:
        assert places == pytest.approx(sorted(ends))


def test_what_differs_is_said_in_words():
    """Behavior: a downtilt, a height in the file's units, a level of one use, a gain, a treatment:
    each is one line; the same design twice has none.
    """
    assert differing_values(LARKFIELD, LARKFIELD) == []
    other = changed(
        LARKFIELD,
        {
            ("groups", "north row", "downtilt_deg"): 40.0,
            ("groups", "south row", "height"): 6.0,
            ("uses", "game", "target_dba"): 88.0,
            ("uses", "game", "groups", "court pair", "gain_db"): -2.0,
        },
    )
    assert sorted(differing_values(LARKFIELD, other)) == [
        ("group 'north row', downtilt", "32°", "40°"),
        ("group 'south row', height", "25 ft 0 in", "19 ft 8 in"),
        ("use 'game', loudspeakers in it, court pair, gain", "-4 dB", "-2 dB"),
        ("use 'game', target speech level", "90 dB(A)", "88 dB(A)"),
    ]
    hung = differing_values(DOVECOTE, arrange(DOVECOTE, "pendants"))
    assert [what for what, _, _ in hung if what == "loudspeakers"] and not any(
        what.startswith("group ") for what, _, _ in hung
    )
    twice = replace(
        DOVECOTE,
        treatments=(*DOVECOTE.treatments, *(replace(t, area=10.0) for t in DOVECOTE.treatments)),
    )
    assert differing_values(DOVECOTE, replace(DOVECOTE, treatments=())) and len(
        differing_values(DOVECOTE, twice)
    ) == len(DOVECOTE.treatments)
    assert all("-" != a != b != "-" for _, a, b in differing_values(DOVECOTE, twice))
    panels = differing_values(DOVECOTE, treated(DOVECOTE, 30.0))
    assert all(
        what.startswith("treatment of the") and what.endswith(", area") for what, _, _ in panels
    )


@pytest.mark.parametrize("scenario", [DOVECOTE, LARKFIELD], ids=lambda s: s.name)
@pytest.mark.parametrize("area", [1.0, 60.0, 200.0])
def test_treatment_is_spread_over_what_is_free(scenario, area):
    """Closed form: the sum of treatment grows by the area, each surface in the share of its free
    part; it is possible up to the last of it.
    """
    before, after = free_areas(scenario), free_areas(treated(scenario, area))
    assert sum(before.values()) - sum(after.values()) == pytest.approx(area, rel=1e-9)
    shares = {s: (before[s] - after[s]) / area for s in before if before[s] > 0}
    assert all(
        share == pytest.approx(before[s] / sum(before.values()), rel=1e-6)
        for s, share in shares.items()
    )
    with pytest.raises(ValueError, match=r"are free of treatment\. Ask for less"):
        treated(scenario, sum(before.values()) + 1)


def test_choices_are_all_that_can_be_chosen():
    """Behavior: the first of each axis leaves the design as it is; every other is either a scenario
    or refused with a reason; a height moves every group.
    """
    axes = choices(DOVECOTE)
    assert [next(iter(c)) for c in axes.values()] == [AS_IT_IS] * 4 and len(
        axes["arrangement"]
    ) == len(OFFERED) + 1
    for axis, offered in axes.items():
        for words, made in variations(DOVECOTE, {axis: offered}):
            if words[axis] == AS_IT_IS:
                assert made == DOVECOTE
            assert (
                isinstance(made, str)
                or (made != DOVECOTE) == (words[axis] != AS_IT_IS)
                or words[axis] == DOVECOTE.groups[0].loudspeaker
            )
    ((_, lower),) = variations(
        DOVECOTE, {"height": {k: v for k, v in axes["height"].items() if k.startswith("1.00 m")}}
    )
    assert [g.height for g in lower.groups] == pytest.approx(
        [g.height - 1.0 for g in DOVECOTE.groups]
    )
    assert replace(lower, groups=DOVECOTE.groups) == DOVECOTE


def test_loudspeakers_are_listed():
    """Behavior: groups with number and type."""
    groups = [f"{g.name} ({g.number} {g.loudspeaker})" for g in DOVECOTE.groups]
    assert loudspeaker_list(DOVECOTE).split(", ") == groups
