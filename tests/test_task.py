"""The design task: scores are fresh evaluations, nothing that was kept is lost, exports can be read
and scored again.
"""

import csv
import json
import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from gymtools import evaluate, load, parse, to_text
from gymtools.design.aiming import Weights, penalties, penalty
from gymtools.display.lessons.task import UNSEEN, TaskPanel, standing, write_attempts
from gymtools.display.panel.meeting import Meeting
from gymtools.equipment.bill import cost
from gymtools.training import task
from gymtools.training.attempts import Attempt, keep, kept
from gymtools.venue.hall import Treatment
from gymtools.venue.scenario import changed

BRIEF = load(
    Path(__file__).resolve().parent.parent / "workbooks" / "training" / "briefs" / "fernhollow.toml"
)
NOON = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
# high, over the side lines, each pair turned across to the bank on the other side
OVER = {"x": 0.0, "height": 6.7, "downtilt_deg": 25.0}
BETTER = {
    ("groups", n, key): v
    for n, side in enumerate((-1, 1))
    for key, v in {**OVER, "y": side * 2.4, "pan_deg": -side * 90.0}.items()
}


@pytest.fixture(scope="module")
def own():
    return task.scored(BRIEF)


@pytest.fixture(scope="module")
def found():
    return task.solved(BRIEF, evaluations=150, starts=1)


@pytest.fixture
def made(own):
    return lambda who="Ines", **more: replace(task.attempt(BRIEF, own, who, now=NOON), **more)


def test_a_score_is_the_mean_of_fresh_evaluations(own):
    """Closed form: the search's own score and terms, meant over the uses; verdicts counted; the
    bill of the same design.
    """
    results = [evaluate(BRIEF, u.name) for u in BRIEF.uses]
    assert own.score == pytest.approx(np.mean([penalty(r, Weights()) for r in results]), rel=1e-12)
    for name in task.TERMS:
        assert own.terms[name] == pytest.approx(
            np.mean([penalties(r)[name] for r in results]), rel=1e-12
        )
    assert own.score == pytest.approx(
        sum(getattr(own.weights, k) * steps for k, steps in own.terms.items())
    )
    verdicts = [v for r in results for v in r.verdicts]
    assert (own.hold, own.of) == (sum(v.word == "meets" for v in verdicts), len(verdicts))
    assert own.cost == pytest.approx(cost(BRIEF)) and own.room == "statistical"
    assert own.weakest[1] == pytest.approx(max(penalty(r, Weights()) for r in results))


def test_wishes_weigh_the_score():
    """Closed form: with one wish alone the score is that criterion's term."""
    alone = Weights(**{f: 0.0 for f in task.TERMS if f != "evenness"})
    made = task.scored(BRIEF, weights=alone)
    assert made.score == pytest.approx(made.terms["evenness"])


def test_every_wish_has_words_and_a_unit():
    assert list(task.TERMS) == list(Weights.__dataclass_fields__)


def test_a_better_design_scores_better_and_a_worse_one_worse(own):
    """High and turned to the banks it is better by far than where the brief hangs it; one pair
    turned to the wall, it is worse again.
    """
    better = task.scored(changed(BRIEF, BETTER))
    assert better.score < own.score - 3 and better.hold > own.hold
    assert (
        task.scored(changed(BRIEF, {**BETTER, ("groups", 0, "pan_deg"): -90.0})).score
        > better.score + 1
    )


def test_the_solver_is_no_worse_than_the_brief_and_scored_like_an_attempt(own, found):
    assert found.scored.score < own.score and found.moved and found.evaluations >= 150
    assert found.scored.score == pytest.approx(task.scored(found.scored.scenario).score)
    assert task.outside(BRIEF, found.scored.scenario) == ()


def test_the_difference_is_told_from_the_figures(own, found):
    said = task.difference(own, found.scored)
    assert f"{own.score - found.scored.score:.1f} steps worse" in said[0]
    assert (
        f"{own.hold} of {own.of} in yours" in " ".join(said)
        and f"{abs(own.cost - found.scored.cost):,.0f} " in said[-1]
    )
    back = task.difference(found.scored, own)
    assert "steps better" in back[0] and {s.split()[2] for s in said[1:-2]} == {
        s.split()[2] for s in back[1:-2]
    } == {"worse", "better"}
    even = task.difference(own, own)
    assert "they are even" in even[0] and len(even) == 3 and "the same" in even[-1]


def test_a_difference_is_told_in_the_unit_of_the_criterion(own):
    """Closed form: two steps of clarity are 0.06 STI, two of arrivals 10 ms; one without weight is
    not told.
    """
    worse = replace(
        own,
        terms={
            **own.terms,
            "clarity": own.terms["clarity"] + 2,
            "arrivals": own.terms["arrivals"] + 2,
        },
    )
    assert (
        "clarity by 0.06 STI" in task.difference(worse, own)[1]
        and "by 10.0 ms" in task.difference(worse, own)[1]
    )
    deaf = Weights(clarity=0.0)
    assert "clarity" not in " ".join(
        task.difference(replace(worse, weights=deaf), replace(own, weights=deaf))
    )
    with pytest.raises(ValueError, match="weighed differently"):
        task.difference(own, replace(own, weights=deaf))
    with pytest.raises(ValueError, match="statistical room, the solver's result in the traced one"):
        task.difference(own, replace(own, room="traced"))


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda s: changed(s, {("groups", 0, "x"): 2.0}), ()),
        (lambda s: changed(s, {("uses", 0, "groups", "post pair", "gain_db"): -3.0}), ()),
        (
            lambda s: replace(
                s, treatments=(Treatment(surface="east wall", area=20.0, finish="wall panels"),)
            ),
            (),
        ),
        (lambda s: replace(s, units="m"), ()),
        (lambda s: changed(s, {("hall", "height"): 9.0}), ("hall",)),
        (lambda s: changed(s, {("uses", 0, "noise_dba"): 40.0}), ("'game': noise dba",)),
        (lambda s: replace(s, uses=s.uses[:2]), ("the use 'assembly' is gone",)),
        (lambda s: replace(s, targets=replace(s.targets, sti=0.2)), ("targets",)),
    ],
)
def test_what_the_brief_gives_may_not_change_unnoticed(change, words):
    assert task.outside(BRIEF, change(BRIEF)) == words


def test_attempts_are_read_as_they_were_kept(tmp_path, made):
    file = tmp_path / "a.jsonl"
    assert kept(file).attempts == () and not file.exists()
    for who in ("Ines", "Jörg", "名前"):
        keep(file, made(who))
    found = kept(file)
    assert (
        found.attempts == (made("Ines"), made("Jörg"), made("名前"))
        and not found.damaged
        and found.told == ""
    )
    assert parse(found.attempts[0].scenario) == BRIEF


def test_an_interruption_costs_at_most_the_line_it_cut(tmp_path, made):
    """A file cut anywhere in its last line: all before is read, the rest is named, and what is
    added later is read.
    """
    file = tmp_path / "a.jsonl"
    keep(file, made("first"))
    whole = file.stat().st_size
    keep(file, made("second"))
    data = file.read_bytes()
    for cut in (whole + 2, whole + 40, (whole + len(data)) // 2, len(data) - 3):
        file.write_bytes(data[:cut])
        keep(file, made("third"))
        found = kept(file)
        assert [a.who for a in found.attempts] == ["first", "third"]
        assert [why for _, why in found.damaged] == [
            "was cut off or changed"
        ] and f"line {found.damaged[0][0]}" in found.told
        assert file.read_bytes().startswith(data[:cut]), "what was there is left as it was"


@pytest.mark.parametrize(
    "line, why",
    [
        (b"\xff\xfe\x00", "is not UTF-8 text"),
        (b"{]", "was cut off or changed"),
        (b"[1, 2]", "is no attempt"),
        (b"[" * 100_000, "was cut off or changed"),
        (b'{"who": "x"}', "'brief' is missing"),
        ({"more": 1}, "'more' is unknown"),
        ({"score": "5"}, "score is not a number"),
        ({"score": float("nan")}, "score is not a number"),
        ({"hold": True}, "hold is not a number"),
        ({"terms": {}}, "terms is no table"),
        ({"terms": {"evenness": None}}, "terms 'evenness' is not a number"),
        ({"changed": "all"}, "changed is no list"),
        ({"scenario": 3}, "scenario is not text"),
        ({"who": " \n "}, "there is no name"),
    ],
)
def test_a_damaged_line_is_named_and_left(tmp_path, made, line, why):
    file = tmp_path / "a.jsonl"
    keep(file, made("first"))
    if isinstance(line, dict):
        line = json.dumps({**json.loads(file.read_bytes()), **line}).encode()
    with file.open("ab") as out:
        out.write(line + b"\n")
    keep(file, made("last"))
    before = file.read_bytes()
    found = kept(file)
    assert [a.who for a in found.attempts] == ["first", "last"]
    assert len(found.damaged) == 1 and why in found.told and "\n" not in found.told
    assert file.read_bytes() == before


WRITER = """
import json, sys
from gymtools.training.attempts import Attempt, keep
attempt = json.loads(sys.stdin.read())
for n in range(int(sys.argv[3])):
    keep(sys.argv[1], Attempt(**{**attempt, "who": f"{sys.argv[2]} {n}"}))
    print(n, flush=True)
"""


def writer(file, who, count, attempt):
    job = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(file), who, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    job.stdin.write(json.dumps({**attempt.__dict__}))
    job.stdin.close()
    return job


def test_several_processes_add_to_one_file(tmp_path, made):
    file, count = tmp_path / "a.jsonl", 40
    jobs = [writer(file, who, count, made()) for who in ("a", "b", "c")]
    assert [job.wait(60) for job in jobs] == [0, 0, 0]
    for job in jobs:
        job.stdout.close()
    found = kept(file)
    assert not found.damaged and sorted(a.who for a in found.attempts) == sorted(
        f"{who} {n}" for who in "abc" for n in range(count)
    )


def test_a_killed_process_loses_nothing_that_it_had_kept(tmp_path, made):
    file = tmp_path / "a.jsonl"
    job = writer(file, "killed", 100_000, made())
    told = [int(job.stdout.readline()) for _ in range(5)]
    job.kill()
    told += [int(line) for line in job.stdout.read().split()]
    job.wait(60)
    job.stdout.close()
    keep(file, made("after"))
    names = [a.who for a in kept(file).attempts]
    assert names[-1] == "after" and set(names) >= {f"killed {n}" for n in told}


def test_an_export_can_be_read_and_scored_again(tmp_path, made, own):
    """Every number of the table, and every scenario: scored afresh it gives the score that stands
    beside it.
    """
    file = tmp_path / "mine.jsonl"
    better = task.scored(changed(BRIEF, BETTER))
    keep(file, made("Ines"))
    keep(file, task.attempt(BRIEF, better, "Omar, jun.", now=NOON))
    file.open("ab").write(b"{cut")
    folder = write_attempts(file)
    *rows, note = csv.reader((folder / "attempts.csv").open(encoding="utf-8", newline=""))
    table = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert [r["name"] for r in table] == ["Ines", "Omar, jun."] and "cannot be read" in note[0]
    for r, made_ in zip(table, (own, better), strict=True):
        assert r["date"] == "2031-03-04T12:00:00+00:00" and float(
            r["score [steps]"]
        ) == pytest.approx(made_.score, abs=5e-4)
        again = task.scored(load(folder / r["scenario file"]))
        assert again.score == pytest.approx(made_.score, rel=1e-6) and again.cost == pytest.approx(
            made_.cost
        )
        assert all(
            float(r[f"{k} [steps]"]) == pytest.approx(again.terms[k], abs=6e-4) for k in task.TERMS
        )
    assert (folder / "attempts.jsonl").read_bytes() == file.read_bytes()
    second = write_attempts(file)
    assert (
        second != folder
        and (second / "attempts.csv").read_bytes() == (folder / "attempts.csv").read_bytes()
    ), "no export replaces another"
    with pytest.raises(ValueError, match="no attempt yet"):
        write_attempts(tmp_path / "nobody.jsonl")


HOSTILE = '=HYPERLINK("x")\n<script>alert(1)</script>\x00\ud800'


def test_hostile_names_are_text(tmp_path):
    """Neither a spreadsheet nor the page runs them, and no file is named after them."""
    school = replace(
        BRIEF,
        name="=1+1<img src=x>",
        uses=(replace(BRIEF.uses[0], name="<b>game"), *BRIEF.uses[1:]),
    )
    file = tmp_path / "a.jsonl"
    panel = TaskPanel(
        school,
        lambda: replace(school, hall=replace(school.hall, height=school.hall.height + 0.5)),
        file,
    )
    panel.who.value = HOSTILE
    panel.score_button.click()
    with file.open("ab") as out:
        out.write(b'{"<script>": 1}\n')
    panel.score()
    folder = panel.export()
    page = "".join(x.value for x in (panel.message, panel.scores, panel.list))
    assert "&lt;script&gt;" in page and "&lt;img" in page
    assert "<script" not in page and "<img" not in page and "<b>game" not in page
    assert {p.name for p in folder.iterdir()} == {
        "attempts.csv",
        "attempts.jsonl",
        "attempt-001.toml",
        "attempt-002.toml",
    }
    cells = [
        c
        for row in csv.reader((folder / "attempts.csv").open(encoding="utf-8", newline=""))
        for c in row
    ]
    assert any("HYPERLINK" in c for c in cells) and not any(
        c.startswith(("=", "+", "@", "\t")) for c in cells
    )
    assert all("\n" not in c for c in cells)


def test_the_panel_scores_what_stands_in_the_design_panel(tmp_path, own):
    meeting = Meeting(BRIEF, tmp_path)
    panel = TaskPanel(BRIEF, lambda: standing(meeting), tmp_path / "a.jsonl", evaluations=60)
    panel.who.value = "Ines"
    panel.score()
    assert panel.own.score == pytest.approx(own.score)
    for path, value in BETTER.items():
        meeting.set(path, value)
    panel.score()
    assert panel.own.score < own.score - 3 and panel.own.scenario == changed(BRIEF, BETTER)
    assert [a.score for a in kept(tmp_path / "a.jsonl").attempts] == [
        pytest.approx(own.score),
        pytest.approx(panel.own.score),
    ]
    meeting.set(("groups", 0, "height"), 40.0)
    panel.score()
    assert "Not scored: The controls stand at something that cannot be" in panel.message.value
    assert len(kept(tmp_path / "a.jsonl").attempts) == 2


def test_the_solver_is_seen_after_an_attempt_only(tmp_path, own):
    panel = TaskPanel(BRIEF, lambda: BRIEF, tmp_path / "a.jsonl", evaluations=60)
    assert panel.solve_button.disabled and panel.solution is None
    panel.solve()
    assert (
        "Score an attempt of your own first" in panel.message.value
        and panel.solution is None
        and UNSEEN in panel.beside.value
    )
    panel.score()
    assert "Say whose attempt" in panel.message.value and not (tmp_path / "a.jsonl").exists()
    panel.who.value = "Ines"
    panel.score()
    assert not panel.solve_button.disabled and UNSEEN in panel.beside.value
    panel.solve()
    for sentence in task.difference(own, panel.solution.scored):
        assert sentence.replace("'", "&#x27;") in panel.beside.value
    assert len(re.findall("<li>", panel.beside.value.split("What the solver moved")[1])) == len(
        panel.solution.moved
    )


def test_earlier_attempts_are_there_again_and_trouble_is_told(tmp_path, made):
    file = tmp_path / "a.jsonl"
    keep(file, made("from yesterday"))
    assert "from yesterday" in TaskPanel(BRIEF, lambda: BRIEF, file).list.value
    nowhere = TaskPanel(BRIEF, lambda: BRIEF, tmp_path / "no folder" / "a.jsonl")
    nowhere.who.value = "Ines"
    nowhere.score()
    assert (
        "could not be written, so the attempt is not kept" in nowhere.message.value
        and nowhere.own is None
    )
    assert nowhere.export() is None and "no attempt yet" in nowhere.message.value

    def refuse():
        raise ValueError("height = 700 m is outside 3 to 25 m. <b>")

    refused = TaskPanel(BRIEF, refuse, file)
    refused.who.value = "Ines"
    refused.score()
    assert (
        "Not scored: height = 700 m" in refused.message.value
        and "<b>." not in refused.message.value
        and len(kept(file).attempts) == 1
    )


def test_a_brief_is_told_from_another():
    assert (
        task.brief_id(BRIEF)
        == task.brief_id(parse(to_text(BRIEF)))
        != task.brief_id(changed(BRIEF, BETTER))
    )
    with pytest.raises(ValueError, match="there is no name"):
        Attempt(
            who="\n",
            when="",
            school="",
            brief="",
            room="",
            score=1.0,
            hold=1,
            of=1,
            cost=1.0,
            terms={"evenness": 1.0},
            changed=(),
            scenario="",
        )
