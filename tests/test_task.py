"""The design task: scores are fresh evaluations, nothing that was kept is lost, exports can be read
and scored again.
"""

import csv
import json
import os
import re
import subprocess
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from gymtools import evaluate, load, parse, to_text
from gymtools.design.aiming import Weights, penalties, penalty
from gymtools.display.lessons.task import (
    UNSEEN,
    TaskPanel,
    attempts_list,
    standing,
    write_attempts,
)
from gymtools.display.panel.meeting import Meeting
from gymtools.equipment.bill import bill, cost
from gymtools.training import attempts, task
from gymtools.training.attempts import Attempt, add_attempt, read_attempts
from gymtools.venue.hall import Treatment
from gymtools.venue.paths import changed

BRIEF = load(
    Path(__file__).resolve().parent.parent / "workbooks" / "training" / "briefs" / "fernhollow.toml"
)
OLD_ATTEMPTS = Path(__file__).parent / "data" / "old-attempts.jsonl"
NOON = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
# high, over the side lines, each pair turned across to the bank on the other side
OVER = {"x": 0.0, "height": 6.7, "downtilt_deg": 25.0}
BETTER = {
    ("groups", name, key): v
    for name, side in (("south wall pair", -1), ("post pair", 1))
    for key, v in {**OVER, "y": side * 2.4, "pan_deg": -side * 90.0}.items()
}


@pytest.fixture(scope="module")
def own():
    return task.score(BRIEF)


@pytest.fixture(scope="module")
def found():
    return task.solve(BRIEF, evaluations=150, starts=1)


@pytest.fixture
def made(own):
    return lambda who="Ines", **more: replace(task.attempt(BRIEF, own, who, now=NOON), **more)


def test_a_score_is_the_mean_of_fresh_evaluations(own):
    """Closed form: the search's own penalties, their mean over the uses; checks counted; the
    bill of the same design.
    """
    results = [evaluate(BRIEF, u.name) for u in BRIEF.uses]
    assert own.penalty == pytest.approx(
        np.mean([penalty(r, Weights()) for r in results]), rel=1e-12
    )
    for name in task.STEPS:
        assert own.penalties[name] == pytest.approx(
            np.mean([penalties(r)[name] for r in results]), rel=1e-12
        )
    assert own.penalty == pytest.approx(
        sum(getattr(own.weights, k) * steps for k, steps in own.penalties.items())
    )
    verdicts = [v for r in results for v in r.verdicts]
    assert (own.met, own.checks) == (sum(v.word == "meets" for v in verdicts), len(verdicts))
    assert own.cost == pytest.approx(cost(BRIEF)) and own.room == "traced"
    assert own.weakest[1] == pytest.approx(max(penalty(r, Weights()) for r in results))


def test_weights_make_the_penalty():
    """Closed form: with one weight alone the penalty is that criterion's."""
    alone = Weights(**{f: 0.0 for f in task.STEPS if f != "coverage_range"})
    made = task.score(BRIEF, weights=alone)
    assert made.penalty == pytest.approx(made.penalties["coverage_range"])


def test_every_weight_has_words_and_a_unit():
    """Behavior: what the page shows has a line for each field of the weights."""
    assert list(task.STEPS) == list(Weights.__dataclass_fields__)


def test_a_better_design_scores_better_and_a_worse_one_worse(own):
    """Behavior: high and turned to the banks it is far better than where the brief hangs it; with
    one pair turned to the wall it is worse again.
    """
    better = task.score(changed(BRIEF, BETTER))
    assert better.penalty < own.penalty - 3 and better.met > own.met
    assert (
        task.score(
            changed(BRIEF, {**BETTER, ("groups", "south wall pair", "pan_deg"): -90.0})
        ).penalty
        > better.penalty + 1
    )


def test_the_solver_is_no_worse_than_the_brief_and_scored_like_an_attempt(own, found):
    """Invariance: its scenario scored afresh has its penalty; what the brief gives is unchanged."""
    assert found.score.penalty < own.penalty and found.moved and found.evaluations >= 150
    assert found.score.penalty == pytest.approx(task.score(found.score.scenario).penalty)
    assert task.outside(BRIEF, found.score.scenario) == ()


def test_the_difference_shows_the_figures(own, found):
    """Behavior: worse and better, both ways round, with the numbers of both scores."""
    said = task.difference(own, found.score)
    assert f"{own.penalty - found.score.penalty:.1f} steps worse" in said[0]
    assert (
        f"{own.met} of {own.checks} in yours" in " ".join(said)
        and f"{abs(own.cost - found.score.cost):,.0f} " in said[-1]
    )
    back = task.difference(found.score, own)
    assert "steps better" in back[0] and {s.split()[2] for s in said[1:-2]} == {
        s.split()[2] for s in back[1:-2]
    } == {"worse", "better"}
    even = task.difference(own, own)
    assert "they are even" in even[0] and len(even) == 3 and "the same" in even[-1]


def test_a_difference_has_the_unit_of_the_criterion(own):
    """Closed form: two steps of intelligibility are 0.06 STI, two of arrivals 10 ms; a criterion
    without weight is left out.
    """
    worse = replace(
        own,
        penalties={
            **own.penalties,
            "sti": own.penalties["sti"] + 2,
            "arrival_spread": own.penalties["arrival_spread"] + 2,
        },
    )
    assert (
        "speech intelligibility (STI) by 0.06 STI" in task.difference(worse, own)[1]
        and "by 10.0 ms" in task.difference(worse, own)[1]
    )
    deaf = Weights(sti=0.0)
    assert "intelligibility" not in " ".join(
        task.difference(replace(worse, weights=deaf), replace(own, weights=deaf))
    )
    with pytest.raises(ValueError, match="different weights"):
        task.difference(own, replace(own, weights=deaf))
    with pytest.raises(ValueError, match="traced room, the solver's result in the statistical one"):
        task.difference(own, replace(own, room="statistical"))


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda s: changed(s, {("groups", "south wall pair", "x"): 2.0}), ()),
        (lambda s: changed(s, {("uses", "game", "groups", "post pair", "gain_db"): -3.0}), ()),
        (
            lambda s: replace(
                s, treatments=(Treatment(surface="east wall", area=20.0, finish="wall panels"),)
            ),
            (),
        ),
        (lambda s: replace(s, units="m"), ()),
        (lambda s: changed(s, {("hall", "height"): 9.0}), ("hall",)),
        (lambda s: changed(s, {("uses", "game", "noise_dba"): 40.0}), ("'game': noise dba",)),
        (lambda s: replace(s, uses=s.uses[:2]), ("the use 'assembly' is gone",)),
        (lambda s: replace(s, targets=replace(s.targets, sti=0.2)), ("targets",)),
    ],
)
def test_what_the_brief_gives_may_not_change_unnoticed(change, words):
    """Behavior: each change outside the brief is named, others are not."""
    assert task.outside(BRIEF, change(BRIEF)) == words


def test_attempts_are_read_as_they_were_kept(tmp_path, made):
    """Invariance: names of any script, in order, with the scenario."""
    file = tmp_path / "a.jsonl"
    assert read_attempts(file).attempts == () and not file.exists()
    for who in ("Ines", "Jörg", "名前"):
        add_attempt(file, made(who))
    found = read_attempts(file)
    assert (
        found.attempts == (made("Ines"), made("Jörg"), made("名前"))
        and not found.damaged
        and found.warning == ""
    )
    assert parse(found.attempts[0].scenario) == BRIEF


JOB = (  # kinds that the bill did not know
    "hanging hardware",
    "conduit",
    "antenna",
    "spare",
    "lift hire",
    "travel",
    "permit",
    "training",
    "commissioning",
)
SET_UP = 10 * 85  # of the one line that commissioning was: ten hours


def test_attempts_of_an_earlier_version_are_read(tmp_path, made):
    """Regression: a file written before penalties and checks had their names; its lines are read
    with the same figures and say that a formula gave the room, and today's are added to it. Costs
    stay as they were said then, without what a job takes beside its equipment.
    """
    file = tmp_path / "a.jsonl"
    file.write_bytes(OLD_ATTEMPTS.read_bytes())
    lines = [json.loads(line) for line in file.read_bytes().splitlines() if line.strip()]
    add_attempt(file, made("today"))
    found = read_attempts(file)
    assert not found.damaged and len(lines) == 3
    assert [a.who for a in found.attempts] == ["Ines", "Omar, jun.", "Omar, jun.", "today"]
    for line, a in zip(lines, found.attempts[:3], strict=True):
        assert (line["score"], line["hold"], line["of"]) == (a.penalty, a.met, a.checks)
        assert list(line["terms"].values()) == list(a.penalties.values())
        assert a.penalties.keys() == set(task.STEPS)
        assert (line["when"], line["cost"], line["changed"]) == (a.when, a.cost, list(a.changed))
    assert [a.room for a in found.attempts] == [*3 * ["statistical"], "traced"]
    thick = changed(BRIEF, {("equipment", "largest_awg"): 8})
    known = sum(x.total for x in bill(thick) if x.kind not in JOB) + SET_UP
    assert found.attempts[0].cost == pytest.approx(known, abs=0.01)
    listed = attempts_list(found)
    assert (listed.count(">textbook formula<"), listed.count(">all rays<")) == (3, 1)
    with pytest.warns(FutureWarning, match="cabinet is now loudspeaker"):
        assert parse(found.attempts[0].scenario) == BRIEF


def test_an_interruption_costs_at_most_the_line_it_cut(tmp_path, made):
    """Behavior: in a file cut anywhere in its last line all before is read, the rest is named, and
    later attempts are read.
    """
    file = tmp_path / "a.jsonl"
    add_attempt(file, made("first"))
    whole = file.stat().st_size
    add_attempt(file, made("second"))
    data = file.read_bytes()
    for cut in (whole + 2, whole + 40, (whole + len(data)) // 2, len(data) - 3):
        file.write_bytes(data[:cut])
        add_attempt(file, made("third"))
        found = read_attempts(file)
        assert [a.who for a in found.attempts] == ["first", "third"]
        assert [why for _, why in found.damaged] == [
            "was cut off or changed"
        ] and f"line {found.damaged[0][0]}" in found.warning
        assert file.read_bytes().startswith(data[:cut]), "what was there is left as it was"


@pytest.mark.parametrize(
    "line, why",
    [
        (b"\xff\xfe\x00", "is not UTF-8 text"),
        (b"{]", "was cut off or changed"),
        (b"[1, 2]", "holds no table"),
        (b"[" * 100_000, "was cut off or changed"),
        (b'{"who": "x"}', "'brief' is missing"),
        ({"more": 1}, "'more' is unknown"),
        ({"penalty": "5"}, "penalty is not a number"),
        ({"penalty": float("nan")}, "penalty is not a number"),
        ({"met": True}, "met is not a number"),
        ({"penalties": {}}, "penalties is no table"),
        ({"penalties": {"quietest": None}}, "penalties 'quietest' is not a number"),
        ({"changed": "all"}, "changed is no list"),
        ({"scenario": 3}, "scenario is not text"),
        ({"who": " \n "}, "there is no name"),
        ({"penalty": 10**400}, "penalty is not a number that can be meant"),
        ({"penalties": {"sti": -(10**400)}}, "penalties 'sti' is not a number that can be meant"),
        (b'{"penalty": ' + b"9" * 5000 + b"}", "holds a number that cannot be meant"),
        ({"met": 1.5}, "met is no count"),
        ({"cost": 1e300}, "cost is not a number that can be meant"),
        ({"scenario": "\ud800"}, "scenario is not text"),
        ({"changed": ["\udfff"]}, "a part of changed is not text"),
        ({"scenario": "x" * 4_000_001}, "is longer than 4 MB"),
    ],
)
def test_a_damaged_line_is_named_and_left(tmp_path, made, line, why):
    """Behavior: the line and the reason; the lines around it are read, the file stays as it is."""
    file = tmp_path / "a.jsonl"
    add_attempt(file, made("first"))
    if isinstance(line, dict):
        line = json.dumps({**json.loads(file.read_bytes()), **line}).encode()
    with file.open("ab") as out:
        out.write(line + b"\n")
    add_attempt(file, made("last"))
    before = file.read_bytes()
    found = read_attempts(file)
    assert [a.who for a in found.attempts] == ["first", "last"]
    assert len(found.damaged) == 1 and why in found.warning and "\n" not in found.warning
    assert file.read_bytes() == before


WRITER = """
import json, sys
from gymtools.training.attempts import Attempt, add_attempt
attempt = json.loads(sys.stdin.read())
for n in range(int(sys.argv[3])):
    add_attempt(sys.argv[1], Attempt(**{**attempt, "who": f"{sys.argv[2]} {n}"}))
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
    """Behavior: no line is lost or mixed with another."""
    file, count = tmp_path / "a.jsonl", 25
    jobs = [writer(file, who, count, made()) for who in ("a", "b")]
    assert [job.wait(60) for job in jobs] == [0, 0]
    for job in jobs:
        job.stdout.close()
    found = read_attempts(file)
    assert not found.damaged and sorted(a.who for a in found.attempts) == sorted(
        f"{who} {n}" for who in "ab" for n in range(count)
    )


def test_a_killed_process_loses_nothing_that_it_had_kept(tmp_path, made):
    """Behavior: everything that it reported as kept is read."""
    file = tmp_path / "a.jsonl"
    job = writer(file, "killed", 100_000, made())
    told = [int(job.stdout.readline()) for _ in range(5)]
    job.kill()
    told += [int(line) for line in job.stdout.read().split()]
    job.wait(60)
    job.stdout.close()
    add_attempt(file, made("after"))
    names = [a.who for a in read_attempts(file).attempts]
    assert names[-1] == "after" and set(names) >= {f"killed {n}" for n in told}


def test_a_number_beyond_all_bounds_does_not_lock_the_file(tmp_path, made):
    """Regression: 1e999 and deep tables in one line: the others are shown and exported."""
    file = tmp_path / "a.jsonl"
    add_attempt(file, made("first"))
    good = file.read_bytes().strip()
    for bad in (b"1e999", b"-1e999", b"1" * 400, b'{"a":' * 50_000, b"[[[[1]]]]"):
        with file.open("ab") as out:
            out.write(good.replace(b'"penalty": ', b'"penalty": ' + bad + b', "x": ') + b"\n")
            out.write(re.sub(rb'"penalty": [^,]*', b'"penalty": ' + bad, good) + b"\n")
    add_attempt(file, made("last"))
    found = read_attempts(file)
    assert [a.who for a in found.attempts] == ["first", "last"] and len(found.damaged) == 10
    panel = TaskPanel(BRIEF, lambda: BRIEF, file)
    assert "first" in panel.list.value and "last" in panel.list.value
    assert (panel.export() / "attempts.csv").exists()


def test_many_damaged_lines_are_counted(tmp_path):
    """Behavior: twenty are named, the others counted."""
    (tmp_path / "a.jsonl").write_bytes(b"{x\n" * 500)
    assert read_attempts(tmp_path / "a.jsonl").warning.endswith("; and 480 more.")


def test_what_is_no_file_of_attempts_is_refused_in_one_line(tmp_path, made, monkeypatch):
    """Regression: a folder, a pipe that nobody writes to, a file without end: no wait, one line in
    the panel; nothing is written into any of them.
    """
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for name in ("pipe", "folder"):
        with pytest.raises(ValueError, match=f"^{name}: is no ordinary file"):
            read_attempts(tmp_path / name)
        with pytest.raises(OSError, match=name):
            add_attempt(tmp_path / name, made())
        panel = TaskPanel(BRIEF, lambda: BRIEF, tmp_path / name)
        assert f"{name} cannot be read" in panel.message.value
    monkeypatch.setattr(attempts, "LARGEST", 1000)
    (tmp_path / "a.jsonl").write_bytes(b"\n" * 1001)
    with pytest.raises(ValueError, match=r"^a\.jsonl: is larger than 1 kB"):
        read_attempts(tmp_path / "a.jsonl")


def test_a_full_disk_loses_nothing_that_was_kept(tmp_path, made):
    """Behavior: a size limit in the middle of a line: refused, what was there is read whole, and so
    is the next one.
    """
    file = tmp_path / "a.jsonl"
    add_attempt(file, made("first"))
    limit = file.stat().st_size + 300
    code = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))\n"
    job = subprocess.run(
        [sys.executable, "-c", code + WRITER, str(file), "full", "1"],
        input=json.dumps({**made().__dict__}),
        capture_output=True,
        text=True,
    )
    assert "only a part of the attempt could be written. Is the disk full?" in job.stderr
    add_attempt(file, made("last"))
    found = read_attempts(file)
    assert [a.who for a in found.attempts] == ["first", "last"]
    assert [why for _, why in found.damaged] == ["was cut off or changed"]


def test_a_file_that_may_not_be_written_stays(made):
    """Behavior: refused by the system; what is there is read whole."""
    drop = "import os\nif os.getuid() == 0: os.setuid(65534)\n"
    with tempfile.TemporaryDirectory() as name:
        folder, file = Path(name), Path(name) / "a.jsonl"
        add_attempt(file, made("first"))
        before = file.read_bytes()
        file.chmod(0o444)
        folder.chmod(0o555)
        head, _, tail = WRITER.partition("for n in")
        job = subprocess.run(
            [sys.executable, "-c", head + drop + "for n in" + tail, str(file), "x", "1"],
            input=json.dumps({**made().__dict__}),
            capture_output=True,
            text=True,
        )
        folder.chmod(0o755)
        assert "PermissionError" in job.stderr and file.read_bytes() == before
        assert [p.name for p in folder.iterdir()] == ["a.jsonl"]


def test_attempts_go_through_a_link(tmp_path, made):
    """Behavior: the file that a link points to is added to; both stay what they are."""
    real, link = tmp_path / "real.jsonl", tmp_path / "a.jsonl"
    add_attempt(real, made("first"))
    before = real.read_bytes()
    link.symlink_to(real)
    add_attempt(link, made("second"))
    assert link.is_symlink() and real.read_bytes().startswith(before)
    assert [a.who for a in read_attempts(link).attempts] == ["first", "second"]
    real.unlink()
    assert read_attempts(link).attempts == ()


def test_an_export_can_be_read_and_scored_again(tmp_path, made, own):
    """Behavior: every number of the table, and every scenario: scored afresh it gives the penalty
    beside it.
    """
    file = tmp_path / "mine.jsonl"
    better = task.score(changed(BRIEF, BETTER))
    add_attempt(file, made("Ines"))
    add_attempt(file, task.attempt(BRIEF, better, "Omar, jun.", now=NOON))
    file.open("ab").write(b"{cut")
    folder = write_attempts(file)
    *rows, note = csv.reader((folder / "attempts.csv").open(encoding="utf-8", newline=""))
    table = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert [r["name"] for r in table] == ["Ines", "Omar, jun."] and "cannot be read" in note[0]
    for r, made_ in zip(table, (own, better), strict=True):
        assert r["date"] == "2031-03-04T12:00:00+00:00" and float(
            r["penalty [steps]"]
        ) == pytest.approx(made_.penalty, abs=5e-4)
        again = task.score(load(folder / r["scenario file"]))
        assert again.penalty == pytest.approx(
            made_.penalty, rel=1e-6
        ) and again.cost == pytest.approx(made_.cost)
        for key, step in task.STEPS.items():
            assert float(r[f"{step.label} [steps]"]) == pytest.approx(
                again.penalties[key], abs=6e-4
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
    """Behavior: neither a spreadsheet nor the page runs them, and no file is named after them."""
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


def test_the_panel_scores_the_design_of_the_design_panel(tmp_path, own):
    """Behavior: as it is set, and not while it is refused."""
    meeting = Meeting(BRIEF, tmp_path)
    panel = TaskPanel(BRIEF, lambda: standing(meeting), tmp_path / "a.jsonl", evaluations=60)
    panel.who.value = "Ines"
    panel.score()
    assert panel.own.penalty == pytest.approx(own.penalty)
    for path, value in BETTER.items():
        meeting.set(path, value)
    panel.score()
    assert panel.own.penalty < own.penalty - 3 and panel.own.scenario == changed(BRIEF, BETTER)
    assert [a.penalty for a in read_attempts(tmp_path / "a.jsonl").attempts] == [
        pytest.approx(own.penalty),
        pytest.approx(panel.own.penalty),
    ]
    meeting.set(("groups", "south wall pair", "height"), 40.0)
    panel.score()
    assert (
        "Not scored: The controls are set to something that cannot be built" in panel.message.value
    )
    assert len(read_attempts(tmp_path / "a.jsonl").attempts) == 2


def test_the_solver_is_seen_after_an_attempt_only(tmp_path, own):
    """Behavior: no name, no attempt; no attempt, no solver."""
    panel = TaskPanel(BRIEF, lambda: BRIEF, tmp_path / "a.jsonl", evaluations=60)
    assert panel.solve_button.disabled and panel.solution is None
    panel.solve()
    assert (
        "Score an attempt of your own first" in panel.message.value
        and panel.solution is None
        and UNSEEN in panel.compared.value
    )
    panel.score()
    assert "Say whose attempt" in panel.message.value and not (tmp_path / "a.jsonl").exists()
    panel.who.value = "Ines"
    panel.score()
    assert not panel.solve_button.disabled and UNSEEN in panel.compared.value
    panel.solve()
    for sentence in task.difference(own, panel.solution.score):
        assert sentence.replace("'", "&#x27;") in panel.compared.value
    assert len(re.findall("<li>", panel.compared.value.split("What the solver moved")[1])) == len(
        panel.solution.moved
    )


def test_earlier_attempts_are_there_again_and_trouble_is_named(tmp_path, made):
    """Behavior: a file that cannot be written and a design that is refused are one line each."""
    file = tmp_path / "a.jsonl"
    add_attempt(file, made("from yesterday"))
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
        and len(read_attempts(file).attempts) == 1
    )


def test_a_brief_differs_from_another():
    """Behavior: the same file, the same key; no attempt without a name."""
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
            penalty=1.0,
            met=1,
            checks=1,
            cost=1.0,
            penalties={"quietest": 1.0},
            changed=(),
            scenario="",
        )
