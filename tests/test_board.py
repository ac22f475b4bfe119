"""The uses board: every criterion answers one question, cells hold the worst verdict, one sentence
over all uses, and a section that follows every change.
"""

import asyncio
import html
import json
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from schools import CASES, SCENARIOS, heard
from test_jobs import until

from gymtools.acoustics.criteria import CRITERIA, QUESTIONS, WORDS, Verdict, worst_verdict
from gymtools.acoustics.evaluate import evaluate
from gymtools.display import scene
from gymtools.display.panel import board as board_panel
from gymtools.display.panel.board import FEW, FULL, BoardSection
from gymtools.display.panel.meeting import Meeting
from gymtools.display.panel.plan import PlanSection
from gymtools.display.tables.board import (
    NOT_YET,
    JudgedUse,
    board_columns,
    board_row,
    board_sentence,
    failing,
    picture_of,
    working_sentence,
)
from gymtools.display.tables.changes import change_sentence, changed_things
from gymtools.display.theme import QUANTITIES
from gymtools.physics import bands
from gymtools.venue.microphones import Microphone
from gymtools.venue.paths import changed

DOVECOTE = SCENARIOS["dovecote"]
SMALL = replace(  # few seats and two uses: quick to trace
    DOVECOTE,
    banks=(replace(DOVECOTE.banks[0], rows=2, length=9.0),),
    uses=DOVECOTE.uses[:2],
)
DOWN = ("groups", "wall pair", "downtilt_deg")
COLUMN = {key: number for number, key in enumerate(QUESTIONS)}


def verdict(criterion, value, word, **more):
    """A verdict as a criterion would give it, with the target of the schools."""
    c = CRITERIA[criterion]
    target = c.target_in(DOVECOTE.targets)
    given = dict(area="court", value=value, target=0.0 if target is None else target)
    facts = dict(median=0.5, best=0.7, loudest=95, octave="2 kHz", noise=80, speech=84, need=96)
    given |= dict(criterion=criterion, unit=c.unit, place="", word=word, source="", facts=facts)
    return Verdict(**(given | more))


def judged(*verdicts, use="game", rays="full"):
    """A judged use."""
    return JudgedUse(use=use, rays=rays, units="m", verdicts=verdicts)


def cell(row, question):
    """Cell of a row by the key of its question."""
    return row["cells"][COLUMN[question]]


# --- questions


def test_every_criterion_answers_exactly_one_question():
    """Behavior: none is missing on the board, and none is there twice."""
    found = [key for q in QUESTIONS.values() for key in q.criteria]
    assert sorted(found) == sorted(CRITERIA) and all(q.criteria for q in QUESTIONS.values())
    assert [column["key"] for column in board_columns()] == list(QUESTIONS)


def test_every_question_has_a_picture():
    """Behavior: a cell leads to a quantity that can be shown, to what is judged where there is a
    map of it; unevenness to the octave it is in.
    """
    for key, q in QUESTIONS.items():
        mapped = [c for c in q.criteria if c in QUANTITIES]
        assert picture_of(key) in (mapped or QUANTITIES)
    r = heard("larkfield", "class")
    worst = JudgedUse.of(r).worst("even")
    octave = bands.COVERAGE.start + int(np.argmax(r.areas[0].coverage_range_db))
    assert worst.criterion == "coverage_range"
    assert picture_of("even", worst) == f"direct {bands.LABELS[octave]}"


@pytest.mark.parametrize("name, use", CASES)
def test_a_verdict_knows_its_worst_seat(name, use):
    """Closed form: the lowest STI and speech level, the longest spread and the loudest seat, found
    with numpy; what is of no seat has none.
    """
    r = heard(name, use)
    lowest = dict(sti=r.sti, speech_to_noise=r.speech_dba, arrival_spread=-r.arrival_spread_s)
    for v in r.verdicts:
        assert v.point is None or type(v.point) is int  # controls take nothing else
        if v.criterion in lowest:
            values, span = lowest[v.criterion], r.summary(v.area).points
            assert v.point in range(span.start, span.stop)
            assert values[v.point] == values[span].min()
        elif v.criterion == "loudest":
            assert r.speech_dba[v.point] == pytest.approx(v.value)
        elif v.criterion == "quietest":
            assert v.point == r.summary(v.area).quietest
        elif v.criterion in ("feedback_margin", "on_listeners", "rt"):
            assert v.point is None


@pytest.mark.parametrize("name, use", CASES)
def test_the_seat_of_unevenness_differs_most(name, use):
    """Closed form: no other seat of the area is further from its mean, in that octave or of 1, 2
    and 4 kHz together.
    """
    r = heard(name, use)
    for v in r.verdicts:
        if v.criterion not in ("coverage_range", "within_3db"):
            continue
        span = r.summary(v.area).points
        octaves = r.level_db[span, 3:6]
        level = 10 * np.log10((10 ** (octaves / 10)).sum(axis=1))
        if v.criterion == "coverage_range":
            level = r.level_db[span, v.facts["band"]]
        heard_at = np.isfinite(level)
        away = np.where(heard_at, np.abs(level - level[heard_at].mean()), -1)
        assert away[v.point - span.start] == pytest.approx(away.max(), abs=1e-4)


def test_a_seat_out_of_sight_is_the_worst_in_sight():
    """Behavior: the seat that is marked sees no loudspeaker that plays."""
    seen = 0
    for name, use in CASES:
        r = heard(name, use)
        for v in r.verdicts:
            if v.criterion == "in_sight":
                seen += 1
                assert not r.in_sight[v.point] and not r.seen[:, v.point].any()
                assert r.area[v.point] == v.area
    hidden = SimpleNamespace(in_sight=np.array([True, True, False, True]))
    hidden.areas = [SimpleNamespace(name="court", out_of_sight=1, points=slice(1, 4))]
    assert [m.point for m in CRITERIA["in_sight"].measure(hidden)] == [2]


# --- one sentence


def test_the_sentence_counts_and_names_the_worst():
    """Worked by hand: two fail (one misses, one is out of reach), one is close, of five; what is
    out of reach is worst.
    """
    game = judged(
        verdict("sti", 0.41, "misses"),
        verdict("arrival_spread", 12.0, "meets"),
        verdict("speech_to_noise", 4.0, "out of reach", area="north bank"),
    )
    show = judged(
        verdict("coverage_range", 6.4, "close"),
        verdict("loudest", 90.0, "meets", area=""),
        use="performance",
    )
    assert board_sentence([game, show]) == (
        "2 of 5 checks fail, 1 is close. Worst (game): speech reaches the north bank"
        " 4.0 dB above the noise; it should be 10 dB above, which is out of reach."
    )
    assert board_sentence([replace(game, verdicts=game.verdicts[:2]), show]) == (
        "1 of 4 checks fails, 1 is close. Worst (game): speech reaches the court at STI"
        " 0.41; it should be 0.50."
    )


def test_the_sentence_when_nothing_fails():
    """Worked by hand: close alone is no failure; all that meet are counted; few rays say so."""
    close = judged(
        verdict("coverage_range", 6.4, "close"), verdict("within_3db", 79.0, "close"), use="class"
    )
    fine = judged(verdict("sti", 0.6, "meets"), use="game")
    assert board_sentence([fine, close]) == (
        "No check of 3 fails, 2 are close. Nearest to failing (class): 9 of 10 seats of"
        " the court differ by up to 6.4 dB; aim 6 dB."
    )
    assert board_sentence([fine]) == "All 1 checks pass in the one use."
    not_yet = " so far (few rays; echoes are known when nothing moves)."
    assert board_sentence([replace(fine, rays="few"), fine]) == (
        f"No check fails in all 2 uses{not_yet}"
    )
    bad = judged(verdict("sti", 0.41, "misses"), rays="few")
    assert board_sentence([bad, fine]).startswith(f"1 check fails{not_yet} Worst (game): ")
    two = replace(bad, verdicts=(*bad.verdicts, *replace(close, rays="few").verdicts))
    assert board_sentence([two, two]).startswith(f"2 checks fail, 4 are close{not_yet}")


def test_while_uses_are_worked_out_the_sentence_says_so():
    """Worked by hand: how many are missing, and what stood before where all of that is known."""
    bad, fine = judged(verdict("sti", 0.41, "misses")), judged(verdict("sti", 0.6, "meets"))
    assert working_sentence(2, 5) == "Working out 2 of 5 uses."
    before = "Working out 1 of 2 uses. Before the change 1 of 2 checks failed."
    assert working_sentence(1, 2, [bad, fine]) == before
    assert working_sentence(1, 1, [replace(bad, rays="few")]) == "Working out 1 of 1 use."


@pytest.mark.parametrize("name, use", CASES)
def test_plain_sentences_show_their_numbers(name, use):
    """Regression: value and target stand in the words for people outside the trade, too."""
    for v in heard(name, use).verdicts:
        c = CRITERIA[v.criterion]
        words = c.plain_sentence(v)
        value = abs(v.value) if v.criterion in ("feedback_margin", "speech_to_noise") else v.value
        assert c.number(value) in words
        if v.criterion not in ("in_sight", "feedback_margin"):
            assert f"{v.target:g}" in words or c.number(v.target) in words
        assert v.area in words and not words.endswith(".")


def test_the_worst_verdict_of_those_that_meet():
    """Worked by hand: where all meet, the one with the least in reserve; where something is close
    by its error alone, the one further on the bad side.
    """
    easy, near = verdict("sti", 0.7, "meets"), verdict("sti", 0.51, "meets")
    assert worst_verdict([easy, near]) is near is worst_verdict([near, easy])
    within, under = verdict("sti", 0.52, "close"), verdict("sti", 0.49, "close")
    assert worst_verdict([within, under]) is under


# --- rows and cells


@pytest.mark.parametrize("name, use", CASES)
def test_a_cell_holds_its_worst_verdict(name, use):
    """Closed form: of all verdicts on a question the worst word, and of these the least margin in
    steps of what counts as close.
    """
    r = heard(name, use)
    row = board_row(JudgedUse.of(r))
    assert row["use"] == use and len(row["cells"]) == len(QUESTIONS)
    for key, q in QUESTIONS.items():
        found = [v for v in r.verdicts if v.criterion in q.criteria]
        if not found:
            continue
        order = [
            (-WORDS.index(v.word), CRITERIA[v.criterion].steps(v.value, v.target)) for v in found
        ]
        v = found[order.index(min(order))]
        shown, c = cell(row, key), CRITERIA[v.criterion]
        assert shown["word"] == v.word
        assert c.text(v.value) in f"{shown['number']} {shown['where']}"
        start = f"{use}, {q.plain.lower()}: {v.word}, {c.quantity} {c.text(v.value)}, target "
        assert shown["name"].startswith(start) and c.sentence(v, r.scenario.units) in shown["tip"]


def test_a_cell_is_read_aloud():
    """Behavior: use, question, word, quantity, number and target, in this order."""
    row = board_row(judged(verdict("sti", 0.41, "misses"), use="graduation"))
    name = "graduation, clear?: misses, STI 0.41, target 0.50, court"
    assert cell(row, "clear")["name"] == name
    assert cell(row, "clear")["where"] == "court" and row["note"] == "1 fail"


@pytest.mark.parametrize("name, use", CASES)
def test_cells_add_up_to_their_row(name, use):
    """Invariance: rows and cells count the same thing: a cell that fails is one check where it
    names no more.
    """
    r = heard(name, use)
    row = board_row(JudgedUse.of(r))
    failed = [c for c in row["cells"] if c["word"] in WORDS[2:]]
    count = sum(int(c["count"].split(" of ")[0]) if c["count"] else 1 for c in failed)
    assert count == failing(r.verdicts)[0]
    assert not any(c["count"] for c in row["cells"] if c not in failed)


def test_a_cell_with_several_checks_says_how_many_fail():
    """Behavior: shown, read aloud and in the tip; "out of reach" moves to the second line."""
    bad = [verdict("sti", 0.41, "misses", area=area) for area in ("court", "north bank")]
    row = board_row(judged(*bad, verdict("sti", 0.6, "meets", area="south bank")))
    shown = cell(row, "clear")
    assert (shown["count"], shown["number"]) == ("2 of 3 fail", "0.41")
    assert "2 of 3 checks fail" in shown["name"] and "2 of 3 checks fail" in shown["tip"]
    assert row["note"] == "2 fail" and row["counts"] == "2 of 3 checks fail"
    bad = [verdict("speech_to_noise", 4.0, "out of reach", area=a) for a in ("court", "north bank")]
    shown = cell(board_row(judged(*bad)), "loud")
    assert (shown["count"], shown["number"]) == ("2 of 2 fail", "4.0 dB")
    assert shown["where"] == "out of reach, court"


def test_what_cannot_be_judged_says_why():
    """Behavior: a use without an open microphone, and echoes while few rays are followed."""
    quiet = replace(SMALL, uses=(replace(SMALL.uses[0], microphones=()),))
    row = board_row(JudgedUse.of(evaluate(quiet, rays="few")))
    shown = cell(row, "microphones")
    assert (shown["word"], shown["number"]) == ("", "-")
    assert shown["tip"] == "no microphone is open in this use" and shown["tip"] in shown["name"]
    late = cell(row, "echo")
    assert (late["word"], late["number"], late["where"]) == ("", *NOT_YET)
    assert "with all rays" in late["tip"]
    assert row["note"].startswith("few rays")
    row = board_row(JudgedUse.of(evaluate(quiet)))
    assert cell(row, "echo")["word"] in WORDS and "few rays" not in row["note"]


@pytest.mark.parametrize(
    "before, now, said",
    [
        (("sti", 0.47), ("sti", 0.41), "▼ was 0.47"),
        (("sti", 0.41), ("sti", 0.47), "▲ was 0.41"),
        (("sti", 0.4149), ("sti", 0.4151), ""),  # another digit, but no more than rounding
        (("sti", 0.412), ("sti", 0.408), ""),  # the same digits
        (("coverage_range", 7.0), ("coverage_range", 6.5), "▲ was 7.0"),  # less is better
        (("coverage_range", 15.3), ("within_3db", 41.0), "▲ was 15.3 dB"),  # another is worst
    ],
)
def test_what_was_stands_beside_what_is(before, now, said):
    """Worked by hand: only where it changed by more than its rounding, and whether it is better."""
    of = [judged(verdict(key, value, "misses")) for key, value in (before, now)]
    shown = cell(board_row(of[1], of[0]), "clear" if now[0] == "sti" else "even")
    assert f"{shown['arrow']} {shown['was']}".strip() == said
    assert shown["where"] == "court", "the place stays"
    spoken = said.replace("▼", "worse,").replace("▲", "better,")
    assert shown["name"].endswith(spoken or "court")
    assert shown["tip"].endswith(spoken[1:])


def test_what_is_out_of_reach_fits_its_cell():
    """Behavior: the words take the first line, number and place the second."""
    row = board_row(judged(verdict("speech_to_noise", 4.0, "out of reach")))
    shown = cell(row, "loud")
    assert (shown["word"], shown["number"]) == ("out of reach", "")
    assert shown["where"] == "4.0 dB, court"


# --- the section


def panel(scenario=SMALL):
    """A panel with its board."""
    m = Meeting(scenario)
    return m, m.sections[BoardSection]


def rows(section):
    """Rows as the page draws them, by use."""
    return {r["use"]: r for r in json.loads(section.grid.state.text)["rows"]}


def fresh(m, rays):
    """Rows of fresh evaluations: words and numbers."""
    made = (
        board_row(JudgedUse.of(evaluate(m.scenario, u.name, rays=rays))) for u in m.scenario.uses
    )
    return {r["use"]: [(c["word"], c["number"]) for c in r["cells"]] for r in made}


def numbers(section):
    """Words and numbers of all rows."""
    return {use: [(c["word"], c["number"]) for c in r["cells"]] for use, r in rows(section).items()}


def pale(section):
    """Uses whose rows are outdated."""
    return {use for use, r in rows(section).items() if r["pale"]}


def was(section):
    """Cells that say what was."""
    return [c for r in rows(section).values() for c in r["cells"] if c["was"]]


def test_the_board_is_filled_and_follows():
    """Behavior: all uses are pale until they have been judged, with few rays, then with all; after
    a move they are pale again, then new, with what was before.
    """
    m, section = panel()
    assert pale(section) == {"game", "class"}
    assert all(c["number"] == "" for c in rows(section)["class"]["cells"])
    section.finish()
    assert not pale(section) and numbers(section) == fresh(m, "few")
    assert [r["shown"] for r in rows(section).values()] == [True, False]
    m.trace()
    section.finish()
    assert not pale(section) and numbers(section) == fresh(m, "full") and section.at_rest
    first = board_sentence([JudgedUse.of(evaluate(m.scenario, u.name)) for u in m.scenario.uses])
    assert section.sentence.value == first.replace("'", "&#x27;")
    m.set(DOWN, 20.0)
    assert pale(section) == {"game", "class"} and not section.at_rest
    counted = first.split(" checks")[0]
    assert section.sentence.value == (
        f"Working out 2 of 2 uses. Before the change {counted} checks failed."
    )
    section.finish()
    assert not pale(section)
    assert numbers(section) == fresh(m, "few") and "few rays" in section.sentence.value
    assert was(section)
    m.undo()
    section.finish()  # as it was, of the same few rays: nothing has changed
    assert not was(section) and section.change.value == ""


def test_what_was_stays_until_the_next_move():
    """Behavior: settled, the cells still say what was, and one line who gains and who loses; a hand
    that moves on holds them against the same design, the next move against what stood then.
    """
    m, section = panel()
    m.trace()
    section.finish()
    before = [JudgedUse.of(evaluate(m.scenario, u.name)) for u in m.scenario.uses]
    m.history.hold(True)
    m.update("held", changes={DOWN: 20.0})
    m.trace()
    section.finish()
    assert section.at_rest and was(section)
    m.update("held", changes={DOWN: 60.0})
    m.history.hold(False)
    m.trace()
    section.finish()
    now = [JudgedUse.of(evaluate(m.scenario, u.name)) for u in m.scenario.uses]
    said = change_sentence("wall pair", before, now)
    assert section.change.value == said.replace("'", "&#x27;") and "loses" in said
    assert json.loads(section.grid.state.text)["said"].endswith(said), "read aloud at rest"
    m.history.close()
    m.set(DOWN, 61.0)
    section.finish()
    assert section._origin.scenario.groups[0].downtilt_deg == 60.0


def test_what_is_put_back_before_the_next_move_costs_it_nothing():
    """Regression: a move that was tried is put back and another tried in its place, without a
    picture in between: the second is held against what stood before the first.
    """
    m, section = panel()
    m.trace()
    section.finish()
    start = m.scenario
    m.set(DOWN, 20.0)
    m.trace()
    section.finish()
    assert section.at_rest
    m.history.undo()
    m.set(("groups", m.scenario.groups[1].name, "height"), 6.0)
    section.finish()
    assert section._origin.scenario == start
    assert section.change.value.startswith(f"Since {start.groups[1].name} was changed")


def test_who_gains_and_who_loses():
    """Worked by hand: a check whose word gets better gains, whose word gets worse loses; the worst
    loss is named; numbers that change within a word count for nothing.
    """
    first = verdict("sti", 0.41, "misses"), verdict("sti", 0.62, "meets", area="north bank")
    game = judged(*first), judged(verdict("sti", 0.55, "meets"), first[1])
    class_ = (
        judged(*first, use="class"),
        judged(first[0], verdict("sti", 0.48, "close", area="north bank"), use="class"),
    )
    assert change_sentence("north row", *zip(game, class_, strict=True)) == (
        "Since north row was changed: game gains 1 check, class loses 1 (worst: STI, north bank:"
        " 0.48, now close)."
    )
    still = judged(verdict("sti", 0.40, "misses"), first[1])
    assert change_sentence("a and b", game[:1], [still]) == (
        "Since a and b were changed: no check gains or loses."
    )


def test_what_was_changed_is_named():
    """Behavior: things by their names; what has none of its own in words; many are counted."""
    row = replace(SMALL.groups[0], downtilt_deg=33.0)
    one = replace(SMALL, groups=(row, *SMALL.groups[1:]))
    assert changed_things(SMALL, SMALL) == changed_things(SMALL, replace(SMALL, units="ft")) == ""
    assert changed_things(SMALL, one) == row.name
    two = replace(one, hall=replace(one.hall, height=one.hall.height + 1))
    assert sorted(changed_things(SMALL, two).split(" and ")) == sorted([row.name, "the gym"])


def test_a_loudspeaker_hung_low_over_the_court_is_warned_of_first():
    """Behavior: balls and heads come before checks that gain or lose, and are read aloud."""
    tall = {("hall", "height"): 9.0, ("hall", "clear_height"): 8.0}
    m, section = panel(changed(SMALL, tall | {("groups", "wall pair", "height"): 7.4}))
    m.trace()
    section.finish()
    assert section.change.value == ""
    m.set(("groups", "wall pair", "height"), 3.0)
    m.trace()
    section.finish()
    said = section.change.value
    assert said.startswith("Warning: Loudspeaker W1 hangs over the court with ")
    assert "Since wall pair was changed" in said
    assert html.unescape(said) in json.loads(section.grid.state.text)["said"]
    m.set(("groups", "wall pair", "height"), 3.5)
    m.trace()
    section.finish()
    assert "Warning" not in section.change.value, "it has hung low before"
    m.set(("groups", "wall pair", "height"), 7.4)
    section.finish()
    assert "Warning" not in section.change.value


def test_another_use_needs_no_new_evaluation():
    """Behavior: what is known of all rays stays when another use is looked at."""
    m, section = panel()
    m.trace()
    section.finish()
    before = numbers(section)
    section.pick("class")
    assert m.state.use == "class" and not pale(section) and numbers(section) == before
    assert [r["shown"] for r in rows(section).values()] == [False, True]


def test_a_cell_leads_the_picture():
    """Behavior: use, quantity and the worst seat of that cell; what is of no seat marks none."""
    m, section = panel()
    section.finish()
    section.pick("class", "clear")
    worst = JudgedUse.of(evaluate(m.scenario, "class", rays="few")).worst("clear")
    assert (m.state.use, m.state.quantity, m.state.seat) == ("class", "sti", worst.point)
    assert m.result.sti[m.state.seat] == m.result.sti[m.result.summary(worst.area).points].min()
    assert m.state.area == worst.area
    m.live.flush()
    said = m.sections[PlanSection].box.sheet.said["marks"]
    assert [name for name, *_ in said] == ["worst seat"]
    assert [r["at"] for r in rows(section).values()] == ["", "clear"]
    section.pick("game", "ringing")
    assert (m.state.use, m.state.quantity, m.state.seat) == ("game", "speech", None)
    m.update(quantity="sti")
    assert [r["at"] for r in rows(section).values()] == ["", ""]


def test_titles_fit_the_narrowest_frame():
    """Regression: at 1280 px the frame holds some 60 letters; the title of the feedback margin, of
    a microphone with a long name, was cut.
    """
    name = "the microphone of the announcer at the long table"
    desk = Microphone(name=name, type="lectern", x=4.0, y=1.0)
    use = replace(SMALL.uses[0], microphones=(name,))
    result = evaluate(replace(SMALL, microphones=(desk,), uses=(use,)), rays="few")
    for key in QUANTITIES:
        if key == "image_shift":
            continue  # this use has no voice in the gym
        title = scene.figure(scene.View(result=result, quantity=key, microphone=name), scene.SPACE)
        text = re.sub("<[^>]*>", "", title.layout.annotations[0].text)
        assert len(text) <= 58, text


def marks(m):
    """Words of what the drawing marks."""
    return [name for name, *_ in m.sections[PlanSection].box.sheet.said["marks"]]


def test_the_worst_seat_is_called_so_until_something_is_moved():
    """Behavior: the drawing says "worst seat"; after a move the mark is a seat that was picked."""
    m, section = panel()
    section.finish()
    section.pick("class", "clear")
    assert marks(m) == ["worst seat"]
    m.set(DOWN, 20.0)
    assert marks(m) == ["picked seat"]
    m.undo()
    assert marks(m) == ["picked seat"]


@pytest.mark.parametrize("walks", [None, "court"])
def test_a_microphone_leads_to_its_own_map(walks):
    """Behavior: "Microphones safe?" shows the margin of the microphone that is worst, not of a
    hand-held one, hatched, and marks where it is worst of where it can be.
    """
    desk = Microphone(name="desk", type="lectern", x=4.0, y=1.0, walks=walks)
    use = replace(SMALL.uses[0], microphones=("desk",), target_dba=95.0)
    m, section = panel(replace(SMALL, microphones=(desk,), uses=(use,)))
    section.finish()
    section.pick(use.name, "microphones")
    (summary,) = m.result.microphones
    assert (m.state.quantity, m.state.microphone) == ("feedback_margin", "desk")
    drawing = m.sections[PlanSection].box
    assert drawing.view.walker_name == "desk" and "desk" in m.figure.layout.annotations[0].text
    ((words, point, _),) = drawing.sheet.said["marks"]
    assert words == f"worst: {summary.margin_db[summary.worst]:+.1f} dB"
    assert point == pytest.approx(summary.positions[summary.worst])
    near = drawing.view.areas[0].points - summary.positions[summary.worst]
    at = np.linalg.norm(near, axis=1).argmin()
    margin = drawing.view.values[at]
    assert margin == pytest.approx(summary.margin_db.min(), abs=1.5), "the map is of it"
    assert set(drawing.sheet.map["words"]) & {1, 2} and drawing.sheet.map["scale"]["target"]
    assert len(drawing.sheet.map["misses"]) > 0, "hatched"
    m.update(quantity="sti")
    assert marks(m) == []


def test_a_message_of_the_page_is_taken():
    """Behavior: what the page sends picks; what an earlier page shows and is gone does nothing."""
    m, section = panel()
    section.grid._handle_custom_msg({"use": "class", "question": "loud"}, [])
    assert (m.state.use, m.state.quantity) == ("class", "speech_to_noise")
    for gone in ({"use": "fair", "question": ""}, {"use": "game", "question": "colorful"}):
        section.grid._handle_custom_msg(gone, [])
    assert (m.state.use, m.state.quantity) == ("class", "speech_to_noise")


def test_the_newest_state_wins_in_a_kernel():
    """Behavior: in a running kernel a burst of moves never waits for the board; what it shows in
    the end is of the last one, and the use that is shown is judged first.
    """
    m, section = panel()
    section.finish()
    seen = []

    async def moves():
        section.grid.state.observe(
            lambda _: seen.append({use for use, r in rows(section).items() if not r["pale"]}),
            names="text",
        )
        for value in (20.0, 25.0, 31.0, 36.0):
            m.set(DOWN, value)
            m.live.flush()
            m.tracing.later.cancel()
            assert pale(section) == {"game", "class"}
        await until(lambda: not pale(section) and not section.job.running)

    asyncio.run(moves())
    assert numbers(section) == fresh(m, "few")
    assert next(s for s in seen if s) == {"game"}


def test_every_row_follows_a_slider_that_does_not_stop():
    """Behavior: while every move outdates the use that is shown before it is judged, it takes
    turns with the others, and they are judged of the newest state.
    """
    m, section = panel()
    section.finish()
    m.set(DOWN, 20.0)
    for last, following in (("", "game"), ("game", "class"), ("class", "game")):
        section._last = last
        assert section._due(m.answer) == (following, FEW)
    section.finish()
    seen = []  # designs that the other use was judged in

    def other_is_judged():
        kept = section._kept["class", FEW].design
        if kept not in seen:
            seen.append(kept)
        m.history.add(m.state.update(changes={DOWN: 20.0 + len(m.history.so_far) % 40}))
        m.refresh()
        m.tracing.later.cancel()
        return len(seen) > 1

    async def drag():
        await until(other_is_judged, most=60.0)
        assert pale(section) == {"game", "class"}
        await until(lambda: not section.job.running)

    asyncio.run(drag())
    assert seen == sorted(seen) and numbers(section) == fresh(m, "few")


def test_a_use_that_cannot_be_judged_holds_up_no_other(monkeypatch):
    """Behavior: its row says why, the others are judged."""

    def refused(scenario, use, **more):
        if use == "class":
            raise ValueError("class: nobody can be heard.")
        return evaluate(scenario, use, **more)

    m, section = panel()
    monkeypatch.setattr(board_panel, "evaluate", refused)
    section.finish()
    found = rows(section)
    assert not found["class"]["pale"] and found["class"]["note"] == "few rays, not possible"
    assert all(c["tip"] == "class: nobody can be heard." for c in found["class"]["cells"])
    assert found["game"]["cells"][0]["word"] in WORDS
    assert "not possible in class" in section.sentence.value


def test_another_school_begins_anew():
    """Behavior: no figure of the last school stays, though the uses have the same names."""
    m, section = panel()
    section.finish()
    late = section._kept["game", FEW]
    m.update(start=replace(SMALL, name="Another school"))
    section._judged(late)  # was under way
    assert all(c["number"] == "" for r in rows(section).values() for c in r["cells"])
    section.finish()
    assert numbers(section) == fresh(m, "few")


def test_what_cannot_be_leaves_the_board():
    """Behavior: controls set to something impossible: the board is of what the picture shows."""
    m, section = panel()
    section.finish()
    before = numbers(section)
    m.set(("groups", "wall pair", "height"), 30.0)
    assert m.refusal and numbers(section) == before and not pale(section)


def test_figures_of_few_and_of_all_rays_are_told_apart():
    """Behavior: a row of few rays says so while the others have all."""
    m, section = panel()
    m.trace()
    section.finish()
    m.controls["trace"].value = False
    m.set(DOWN, 31.0)
    section.finish()
    assert all(r["note"].startswith("few rays") for r in rows(section).values())
    assert section.at_rest, "no more are wanted"
    assert {rays for _, rays in section._kept} == {FEW, FULL}


def test_failures_are_counted():
    """Worked by hand: misses and out of reach fail, close counts apart."""
    words = ["meets", "close", "misses", "out of reach", "misses"]
    assert failing([verdict("sti", 0.4, word) for word in words]) == (3, 1)
