"""Lesson on reading a record: its chance is that of the record, the model's error in it."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm, t

from gymtools import arrange, evaluate, how_sure, load
from gymtools.acoustics.criteria import judge
from gymtools.acoustics.model_error import decay_factor
from gymtools.design.decision import DRAWS, decide
from gymtools.design.input_errors import InputSpread
from gymtools.design.options import HEADLINES, dominated_by
from gymtools.design.treatment import treated
from gymtools.display.lessons.record import RecordPage
from gymtools.training.lessons import record

SCHOOLS = Path(__file__).resolve().parent.parent / "scenarios"
ASKED = dict(use="graduation", criterion="sti", where="chairs")


@pytest.fixture(scope="module")
def school():
    """Dovecote."""
    return load(SCHOOLS / "dovecote.toml")


@pytest.fixture(scope="module")
def page(school):
    """The page as committed."""
    options = {"as it is": school, "pendants": arrange(school, "pendants")}
    return RecordPage(units="ft", options=options, asked=ASKED, draws=DRAWS, safe_pct=80.0)


def test_the_page_shows_the_chance_that_the_record_prints(school, page):
    """Independent: the record itself, decided with that one use: the same chance of every check,
    to the last draw.
    """
    alone = replace(school, uses=(school.use("graduation"),), text=None)
    made = decide({"as it is": alone}, draws=DRAWS)
    printed = {(r.criterion, r.area): r.chance for r in made.uncertainty["graduation"].ranges}
    ours = {(r.criterion, r.area): r.chance for r in page.sure.ranges}
    assert ours == pytest.approx(printed)
    said = f"{100 * page.range.chance:.0f} of 100 draws meet the target"
    assert f"Speech intelligibility (STI), chairs: {said}" in page.table.value


def test_the_models_own_error_is_in_the_chance(school, page):
    """Independent: the draws without it are narrower, and surer than they may be."""
    usual = InputSpread.usual(school, "graduation")
    without = how_sure(
        school,
        "graduation",
        draws=DRAWS,
        unknowns=replace(usual, decay_pct=0.0, scattering_pct=0.0),
    )
    mine = next(r for r in without.ranges if (r.criterion, r.area) == ("sti", "chairs"))
    assert np.std(mine.values) < 0.85 * np.std(page.range.values)
    assert usual.decay_pct > 15 and "of the decay that the model gives" in page.table.value


def test_the_chance_of_the_reverberation_follows_from_four_halls(page):
    """Independent: Student's t with three degrees of freedom about a mean of -0.12, worked out
    here, against the share of the draws.
    """
    rt = next(r for r in page.sure.ranges if r.criterion == "rt")
    off = (math.log(rt.target / rt.value) + 0.12) / (0.28 * math.sqrt(1.25))
    assert rt.chance == pytest.approx(t.cdf(off, 3), abs=0.08)


@pytest.mark.parametrize("share", [0.1, 0.42, 0.8, 0.95])
def test_how_sure_a_time_is_undoes_the_models_factor(share):
    """Closed form: a gym predicted at the target over the factor of a share meets it so often."""
    assert record.met_in(1.2 / float(decay_factor(share)), 1.2) == pytest.approx(share)


def test_the_aim_is_reached_by_some_panels_and_by_no_others(school, page):
    """Independent: brute force over the slider, each area evaluated here and its chance taken from
    Student's t: what the page calls reached is reached, and neither its start nor its end is.
    """
    trial, reached = page.safer, []
    for area in np.arange(0, 401, 10.0):
        made = treated(school, area) if area else school
        verdicts = judge(evaluate(made, "graduation", rays="few"), echoes=False)
        rt = next(v for v in verdicts if v.criterion == "rt")
        off = (math.log(rt.target / rt.value) + 0.12) / (0.28 * math.sqrt(1.25))
        if 0.80 <= t.cdf(off, 3) <= 0.88:
            reached.append(float(area))
    assert trial.reaching("area") == reached
    assert len(reached) > 2 and 0.0 not in reached and 400.0 not in reached


def test_the_prediction_holds_for_whatever_reaches_the_aim(page):
    """Closed form: 80 of 100 need exp(0.12 - 0.313 t) of the target, a sixth less."""
    ratio = math.exp(0.12 - 0.28 * math.sqrt(1.25) * t.ppf(0.8, 3))
    assert 0.80 < ratio < 0.85
    for area in page.safer.reaching("area"):
        found = page.panels.at(area)
        assert page.safer.setup.predict.truth(None, found) == "by more than a tenth"


@pytest.mark.parametrize("margin, spread", [(0.05, 0.1), (-0.03, 0.06), (0.12, 0.08)])
def test_a_chance_against_counted_draws(margin, spread):
    """Independent: a hundred thousand normal draws, counted."""
    drawn = np.random.default_rng(1).normal(margin, spread, size=100_000)
    answer = record.chance(margin, spread).answer
    assert answer == pytest.approx(100 * (drawn >= 0).mean(), abs=0.5)


def test_two_errors_together_against_counted_draws():
    """Independent: both errors drawn; leaving the model out would promise more."""
    rng = np.random.default_rng(2)
    drawn = 0.05 + rng.normal(0, 0.03, 100_000) + rng.normal(0, 0.06, 100_000)
    problem = record.together(0.05, 0.03, 0.06)
    assert problem.answer == pytest.approx(100 * (drawn >= 0).mean(), abs=0.5)
    assert problem.slips[0].value == pytest.approx(100 * norm.cdf(0.05 / 0.03))
    assert problem.slips[0].value > problem.answer + 10


@pytest.mark.parametrize(
    "criterion, value, target, word",
    [
        ("sti", 0.51, 0.5, "meets"),
        ("sti", 0.48, 0.5, "close"),
        ("sti", 0.44, 0.5, "misses"),
        ("rt", 1.4, 1.5, "meets"),
        ("rt", 1.6, 1.5, "close"),
        ("rt", 2.0, 1.5, "misses"),
        ("coverage_range", 6.6, 6.0, "close"),
        ("arrival_spread", 41.0, 30.0, "misses"),
    ],
)
def test_words_of_verdicts(criterion, value, target, word):
    """Worked by hand: more STI is better, less time is; a miss within what people notice is
    close.
    """
    assert record.word(criterion, value, target).answer == word


def test_beaten_options_as_the_workbook_finds_them():
    """Independent: the options table's own rule, over two hundred drawings."""
    keys = [h.key for h in HEADLINES]
    sti, cost, missed = "sti", "cost", "failing"
    assert {sti, cost, missed} <= set(keys)
    rng, seen = np.random.default_rng(3), set()
    for _ in range(200):
        values = record._draw_beaten(rng)
        rows = {
            name: {**dict.fromkeys(keys), sti: f[0], cost: f[1], missed: f[2]}
            for name, f in zip(record.OPTIONS, values["figures"], strict=True)
        }
        lost = [n for n in rows if dominated_by(rows[n], {o: rows[o] for o in rows if o != n})]
        if len(lost) > 1:
            with pytest.raises(ValueError, match="several"):
                record.beaten(**values)
            continue
        answer = record.beaten(**values).answer
        assert answer == (lost[0] if lost else record.NONE)
        seen.add(answer)
    assert seen == {*record.OPTIONS, record.NONE}


def test_a_verdict_that_is_not_there_is_named(school):
    """Behavior: one line that says which there are."""
    options = {"a": school, "b": school}
    with pytest.raises(ValueError, match="no verdict on 'sti' of 'roof'.*There are: .*'chairs'"):
        RecordPage(
            units="m", options=options, asked={**ASKED, "where": "roof"}, draws=20, safe_pct=80
        )


def test_the_question_and_its_table_name_the_same_verdict(page):
    """Behavior: criterion and area stand in both, and nothing there is said to be measured."""
    name = record.CRITERIA["sti"].label + ", chairs"
    assert name in page.chance.problem.words and name in page.table.value
    assert "first question" not in page.table.value
    assert not any("measured" in trace.name for trace in page.safer.figure.data)


def test_the_normal_distribution_can_be_looked_up(page):
    """Printed: a table of the standard normal distribution (any handbook, from memory): Φ of 0,
    0.25 ... 2; the page shows it, and half of it stands in the questions, wherever they are asked.
    """
    table = "0.50 0.60 0.69 0.77 0.84 0.89 0.93 0.96 0.98".split()
    cells = [f"{norm.cdf(z):.2f}" for z in np.arange(0, 2.01, 0.25)]
    assert cells == table
    places = [page.normal.value.find(text) for text in table]
    assert min(places) > 0 and places == sorted(places)
    for problem in (page.chance.problem, page.together.problem):
        for z, text in zip((0, 0.5, 1, 1.5, 2), table[::2], strict=True):
            assert f"Φ({z:g}) = {text}" in problem.words


def test_the_table_in_a_question_is_enough_to_answer_it():
    """Independent: straight lines between its five values, in every drawing."""
    chance = np.random.default_rng(4)
    z = np.arange(-2, 2.01, 0.5)
    table = np.round(norm.cdf(z), 2)
    for _ in range(200):
        one, both = record._draw_chance(chance), record._draw_together(chance)
        found = 100 * np.interp(one["margin"] / one["spread"], z, table)
        assert record.chance(**one).right(found)
        found = 100 * np.interp(both["margin"] / np.hypot(both["inputs"], both["model"]), z, table)
        assert record.together(**both).right(found)


@pytest.mark.parametrize("key", ["word", "beaten"])
def test_no_answer_is_drawn_more_often_than_others(key):
    """Invariance: six hundred drawings; who always says the same is right no more often than
    chance has it.
    """
    exercise = next(e for e in record.EXERCISES if e.key == f"record.{key}")
    chance = np.random.default_rng(5)
    drawn = [exercise.drawn(chance) for _ in range(600)]
    choices = drawn[0].choices
    share = np.array([np.mean([p.answer == c for p in drawn]) for c in choices])
    # four standard deviations of a share of six hundred
    even = 1 / len(choices)
    assert np.abs(share - even).max() < 4 * np.sqrt(even * (1 - even) / 600)
    assert len({p.words for p in drawn}) > 50
