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

from gymtools import arrange, evaluate, load, parse, to_text
from gymtools.acoustics.criteria import CRITERIA
from gymtools.design.aiming import Weights
from gymtools.design.arrangements import ARRANGEMENTS
from gymtools.design.treatment import free_areas, treated
from gymtools.display.lessons.attempts_table import attempts_list
from gymtools.display.lessons.task import (
    CLOSED,
    SEARCH,
    UNSEEN,
    Bench,
    TaskPanel,
    score_table,
    write_attempts,
)
from gymtools.display.panel.meeting import Meeting
from gymtools.equipment.bill import bill, cost
from gymtools.training import attempts, task
from gymtools.training.attempts import Attempt, add_attempt, read_attempts
from gymtools.training.progress import Progress
from gymtools.training.yardstick import beside, read_yardstick, yardstick_text
from gymtools.venue.hall import Treatment
from gymtools.venue.paths import changed

BRIEFS = Path(__file__).resolve().parent.parent / "workbooks" / "training" / "briefs"
BRIEF = load(BRIEFS / "fernhollow.toml")
OLD_ATTEMPTS = Path(__file__).parent / "data" / "old-attempts.jsonl"
NOON = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
# high, over the side lines, each pair turned across to the bank on the other side
OVER = {"x": 0.0, "height": 6.7, "downtilt_deg": 25.0}
BETTER = {
    ("groups", name, key): v
    for name, side in (("south wall pair", -1), ("post pair", 1))
    for key, v in {**OVER, "y": side * 2.4, "pan_deg": -side * 90.0}.items()
}


SCALE = read_yardstick(beside(BRIEFS / "fernhollow.toml"))
TASK = task.Task(BRIEF, SCALE)


class Stub:
    """A bench without a panel."""

    def __init__(self, design=lambda: BRIEF):
        self.design, self.opened = design, 0

    def open_up(self):
        self.opened += 1


@pytest.fixture(scope="module")
def own():
    return task.score(BRIEF, TASK)


@pytest.fixture(scope="module")
def better():
    return task.score(changed(BRIEF, BETTER), TASK)


@pytest.fixture(scope="module")
def panels_everywhere():
    return treated(BRIEF, sum(free_areas(BRIEF).values()))


@pytest.fixture
def made(own):
    return lambda who="Ines", **more: replace(task.attempt(BRIEF, own, who, now=NOON), **more)


def test_a_design_is_judged_by_fresh_evaluations(own):
    """Independent: verdicts counted over the uses, and quality worked out from their words and
    values by hand, with the bill of the same design.
    """
    by_use, met, of = [], 0, 0
    for u in BRIEF.uses:
        verdicts = evaluate(BRIEF, u.name).verdicts
        right = [v.word == "meets" for v in verdicts]
        short = []
        for v, ok in zip(verdicts, right, strict=True):
            c = CRITERIA[v.criterion]
            off = (v.target - v.value) * c.better / c.close
            short.append(0.0 if ok else min(6.0, max(0.0, off)))
        by_use.append(0.5 * sum(right) / len(right) + 0.5 * (1 - sum(short) / len(short) / 6.0))
        met, of = met + sum(right), of + len(right)
    assert own.judged.quality == pytest.approx(sum(by_use) / len(by_use))
    assert (own.judged.met, own.judged.verdicts) == (met, of)
    assert own.judged.cost == pytest.approx(cost(BRIEF))


def test_the_scale_runs_from_the_brief_to_the_reference(own):
    """Closed form: 0 as it stands, 100 at the reference and its cost, 85 where the budget is spent,
    nothing a quarter over it; between them straight lines.
    """
    assert own.points == pytest.approx(0.0, abs=0.01) and not own.strays
    low, high = SCALE.quality_brief, SCALE.quality_reference
    cheap, dear = SCALE.cost_reference, SCALE.budget
    assert SCALE.points(high, cheap) == 100.0 == SCALE.points(1.0, 0.5 * cheap)
    assert SCALE.points((low + high) / 2, cheap) == pytest.approx(50.0)
    assert SCALE.points(high, dear) == pytest.approx(85.0)
    assert SCALE.points(high, (cheap + dear) / 2) == pytest.approx(92.5)
    assert SCALE.points(high, 1.125 * dear) == pytest.approx(42.5)
    assert SCALE.points(high, 1.25 * dear) == SCALE.points(0.0, cheap) == 0.0


def test_the_scale_on_file_is_that_of_the_brief():
    """Regression: measured again without the search for a better aim, which gains little here: the
    same brief, and a reference within a hundredth of the one on file.
    """
    again = task.yardstick(BRIEF, evaluations=0)
    assert again.brief == SCALE.brief and again.budget == SCALE.budget
    assert again.quality_brief == pytest.approx(SCALE.quality_brief, abs=1e-5)
    assert again.quality_reference == pytest.approx(SCALE.quality_reference, abs=0.01)


def test_a_better_design_scores_better_and_a_worse_one_worse(own, better):
    """Behavior: high and turned to the banks it is far better than where the brief hangs it; with
    one pair turned to the wall it is worse again.
    """
    assert better.points > own.points + 40 and better.judged.met > own.judged.met
    turned = changed(BRIEF, {**BETTER, ("groups", "south wall pair", "pan_deg"): -90.0})
    assert task.score(turned, TASK).points < better.points - 15


def test_more_verdicts_met_are_more_points(better):
    """Invariance: of two designs of equal cost, the one that meets far more verdicts has far more
    points: 24 and 46 do not score alike.
    """
    searched = task.solve(BRIEF, evaluations=120, starts=1)
    made = task.score(searched.scenario, TASK)
    assert made.judged.met < better.judged.met - 10
    assert made.points < 0.5 * better.points


def tree(widget):
    """Everything that a widget and those inside it hold for the page."""
    text = json.dumps(widget.get_state(), default=str)
    return text + "".join(map(tree, getattr(widget, "children", ())))


def learner(kind, steps=6):
    """Designs of a learner who follows one idea only; the last is the attempt."""
    chance, school = np.random.default_rng(4), BRIEF
    for _ in range(steps):
        if kind == "random":
            group = str(chance.choice([g.name for g in school.groups]))
            key = str(chance.choice(["pan_deg", "downtilt_deg"]))
            top = 180 if key == "pan_deg" else 90
            school = changed(school, {("groups", group, key): float(chance.integers(0, top))})
        if kind == "louder":
            ups = {("uses", u.name, "groups", "post pair", "gain_db"): 6.0 for u in school.uses}
            school = changed(school, ups)
    return school


@pytest.mark.parametrize("kind, most", [("random", 40), ("louder", 10)])
def test_one_idea_alone_earns_little(kind, most):
    """Behavior: a learner who turns at random, or only turns up, stays far from the careful one."""
    assert task.score(learner(kind), TASK).points < most


def test_panels_everywhere_earn_nothing(panels_everywhere, better):
    """Behavior: they cost ten times as much as a good design and mend hardly anything."""
    made = task.score(panels_everywhere, TASK)
    assert made.judged.cost > 5 * SCALE.budget and made.over_budget > 0
    assert made.points == 0.0 < better.points


def test_a_careful_learner_is_rewarded(better):
    """Behavior: high, over the side lines, turned to the banks: most of the way to the reference,
    within the budget; and a row of pendants does better still.
    """
    assert better.points > 45 and not better.over_budget
    assert task.score(arrange(BRIEF, "pendant grid"), TASK).points > 95


def _called_existing(s):
    return replace(s, groups=tuple(replace(g, existing=True) for g in s.groups))


def _free_panels(s):
    new = Treatment(surface="east wall", area=60.0, finish="wall panels", existing=True)
    return replace(s, treatments=(*s.treatments, new))


CHEATS = {
    "a lower target": lambda s: replace(s, targets=replace(s.targets, sti=0.2)),
    "a quieter crowd": lambda s: changed(s, {("uses", "game", "noise_dba"): 40.0}),
    "a use left out": lambda s: replace(s, uses=s.uses[:2]),
    "nobody listens in the far bank": lambda s: replace(
        s, uses=(replace(s.uses[0], listens={"court": 1.0}), *s.uses[1:])
    ),
    "no microphone open": lambda s: replace(
        s, uses=(*s.uses[:2], replace(s.uses[2], microphones=()))
    ),
    "a lower gym": lambda s: changed(s, {("hall", "height"): 8.0}),
    "walls that absorb": lambda s: changed(s, {("hall", "walls"): "wall panels"}),
    "a finish that absorbs more": lambda s: replace(s, absorption_factors={"painted block": 3.0}),
    "panels called existing": _free_panels,
    "loudspeakers called existing": _called_existing,
    "loudspeakers better than their type": lambda s: replace(
        s, groups=tuple(replace(g, leak_db=-6.0) for g in s.groups)
    ),
    "a run of cable that is shorter than the way": lambda s: changed(
        s, {("equipment", "wiring", "post pair", "run"): 0.5}
    ),
    "taps that cannot play": lambda s: changed(
        s, {("equipment", "wiring", "post pair", "tap"): 1.0}
    ),
    "equipment called existing": lambda s: changed(s, {("equipment", "existing"): True}),
    "no headroom": lambda s: changed(s, {("equipment", "headroom_db"): 0.0}),
    "cable that may lose all": lambda s: changed(s, {("equipment", "cable_loss_db"): 3.0}),
    "fewer seats": lambda s: replace(s, banks=s.banks[:1]),
    "over the court, in the way": lambda s: changed(
        s, {("groups", "post pair", "y"): 0.0, ("groups", "post pair", "height"): 4.0}
    ),
}


@pytest.mark.parametrize("cheat", CHEATS)
def test_no_cheat_earns_a_point(cheat):
    """Behavior: on top of a good design each costs all of its points, or cannot be built."""
    good = changed(BRIEF, BETTER)
    try:
        design = CHEATS[cheat](good)
    except ValueError:  # that is no scenario
        return
    assert design != good
    made = task.score(design, TASK)
    assert made.strays and made.points == 0.0


def test_a_use_in_which_nothing_plays_is_not_scored():
    """Behavior: silence is refused in one line; it has no feedback, and nobody hears it."""
    off = {("uses", "game", "groups", g.name, "on"): False for g in BRIEF.groups}
    with pytest.raises(ValueError, match="."):
        task.score(changed(BRIEF, off), TASK)


def test_the_difference_shows_the_figures(own, better):
    """Behavior: better and worse, both ways round, with the numbers of both scores."""
    said = task.difference(own, better, "the other")
    assert f"{better.points - own.points:.0f} points worse" in said[0]
    assert f"{own.judged.met} of {own.judged.verdicts} in yours" in said[1]
    apart = abs(own.judged.cost - better.judged.cost)
    assert f"{apart:,.0f} " in said[-1]
    assert "points better" in task.difference(better, own, "the other")[0]
    assert "they are even" in task.difference(own, own, "the other")[0]
    with pytest.raises(ValueError, match="different yardsticks"):
        task.difference(own, replace(own, yardstick=replace(SCALE, budget=1e6)), "the other")


def test_a_yardstick_is_of_one_brief(tmp_path):
    """Behavior: of another brief, of no scale, or damaged it is refused in one line."""
    with pytest.raises(ValueError, match="of another brief"):
        task.Task(changed(BRIEF, BETTER), SCALE)
    with pytest.raises(ValueError, match="nothing better than the brief"):
        replace(SCALE, quality_reference=SCALE.quality_brief)
    file = tmp_path / "x.yardstick"
    file.write_text(yardstick_text(SCALE, BRIEF.name), encoding="utf-8")
    assert read_yardstick(file) == SCALE
    for text, why in (
        ("a = ", "is no TOML"),
        ("a = 1", "holds a, not"),
        (yardstick_text(SCALE, "x").replace("budget = 3", "budget = -3"), "budget"),
    ):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(ValueError, match=why) as refused:
            read_yardstick(file)
        assert "\n" not in str(refused.value)


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
        assert list(line["terms"].values()) == list(a.penalties.values()) and a.points is None
        assert a.penalties.keys() == set(Weights.__dataclass_fields__)
        assert (line["when"], line["cost"], line["changed"]) == (a.when, a.cost, list(a.changed))
    assert [a.room for a in found.attempts] == [*3 * ["statistical"], ""]
    thick = changed(BRIEF, {("equipment", "largest_awg"): 8})
    known = sum(x.total for x in bill(thick) if x.kind not in JOB) + SET_UP
    assert found.attempts[0].cost == pytest.approx(known, abs=0.01)
    listed = attempts_list(found)
    assert listed.count(">by an earlier rule<") == 3
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
        ({"points": None}, "'points' is missing"),
        ({"points": "5"}, "points is not a number"),
        ({"more": 1}, "'more' is unknown"),
        ({"penalty": "5"}, "penalty is not a number"),
        ({"penalty": float("nan")}, "penalty is not a number"),
        ({"met": True}, "met is not a number"),
        ({"penalties": []}, "penalties is no table"),
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
    panel = TaskPanel(TASK, Stub(), file)
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
        panel = TaskPanel(TASK, Stub(), tmp_path / name)
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


def test_an_export_can_be_read_and_scored_again(tmp_path, made, own, better):
    """Behavior: every number of the table, and every scenario: scored afresh it gives the points
    beside it. No name leaves the machine.
    """
    file = tmp_path / "mine.jsonl"
    add_attempt(file, made("Ines"))
    for _ in range(2):
        add_attempt(file, task.attempt(BRIEF, better, "Omar, jun.", now=NOON))
    file.open("ab").write(b"{cut")
    folder = write_attempts(file)
    *rows, note = csv.reader((folder / "attempts.csv").open(encoding="utf-8", newline=""))
    listed = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert [r["learner"] for r in listed] == ["1", "2", "2"] and "cannot be read" in note[0]
    for r, made_ in zip(listed, (own, better), strict=False):
        assert r["date"] == "2031-03-04T12:00:00+00:00"
        assert float(r["points"]) == pytest.approx(made_.points, abs=0.051)
        again = task.score(load(folder / r["scenario file"]), TASK)
        assert again.points == pytest.approx(made_.points, abs=1e-6)
        assert again.judged.cost == pytest.approx(float(r["cost"]), abs=0.01)
    every = b"".join(p.read_bytes() for p in folder.iterdir())
    assert b"Ines" not in every and b"Omar" not in every
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
    strange = task.Task(school, replace(SCALE, brief=task.brief_id(school)))
    higher = replace(school, hall=replace(school.hall, height=school.hall.height + 0.5))
    panel = TaskPanel(strange, Stub(lambda: higher), file)
    panel.who.value = HOSTILE
    panel.score_button.click()
    with file.open("ab") as out:
        out.write(b'{"<script>": 1}\n')
    panel.score()
    folder = panel.export()
    page = "".join(x.value for x in (panel.message, panel.scores, panel.list))
    assert "&lt;script&gt;" in page and "&lt;img" in page
    assert "<script" not in page and "<img" not in page and "<b>game" not in page
    names = {"attempts.csv", "attempt-001.toml", "attempt-002.toml"}
    assert {p.name for p in folder.iterdir()} == names
    cells = [
        c
        for row in csv.reader((folder / "attempts.csv").open(encoding="utf-8", newline=""))
        for c in row
    ]
    assert not any(c.startswith(("=", "+", "@", "\t")) for c in cells)
    assert all("\n" not in c for c in cells) and not any("HYPERLINK" in c for c in cells)


def test_the_panel_scores_the_design_of_the_design_panel(tmp_path, own):
    """Behavior: as it is set, and not while it is refused; untouched it is inside the brief and has
    no points; arrangements, search, advice and comparison are closed until they are opened.
    """
    meeting = Meeting(BRIEF, tmp_path, closed=CLOSED)
    assert "arrangement" not in meeting.controls
    boxes = (*meeting._side.children, *meeting._tabs.children)
    assert sum("Closed for now" in getattr(box, "value", "") for box in boxes) == 3
    assert sum("The brief gives this" in getattr(box, "value", "") for box in boxes) == 2
    assert ("hall", "length") not in meeting.controls, "what the brief gives is no slider"
    assert "Open another school" not in tree(meeting.box)
    panel = TaskPanel(TASK, Bench(meeting), tmp_path / "a.jsonl", evaluations=60)
    panel.who.value = "Ines"
    panel.score()
    assert panel.own.points == pytest.approx(own.points) and not panel.own.strays
    for path, value in BETTER.items():
        meeting.set(path, value)
    panel.score()
    assert panel.own.points > own.points + 40
    assert panel.own.judged.scenario == changed(BRIEF, BETTER)
    kept = [a.points for a in read_attempts(tmp_path / "a.jsonl").attempts]
    assert kept == [pytest.approx(own.points), pytest.approx(panel.own.points)]
    meeting.set(("groups", "south wall pair", "height"), 40.0)
    panel.score()
    assert "Not scored: The controls are set to something" in panel.message.value
    assert len(read_attempts(tmp_path / "a.jsonl").attempts) == 2
    meeting.undo()
    meeting.open_up(SEARCH)
    assert "arrangement" in meeting.controls and "seats" in meeting.closed
    boxes = (*meeting._side.children, *meeting._tabs.children)
    assert not any("Closed for now" in getattr(box, "value", "") for box in boxes)


NAMELESS = "tilt something higher and turn everything toward the empty seats"
EXPECTED = "The search will tilt the post pair up, but it cannot move it off the posts."


def test_the_search_opens_after_a_changed_attempt_and_a_prediction(tmp_path, own, better):
    """Behavior: no name, no attempt; the brief as it stands does not open it; nor do too few words,
    nor the same word again and again; then it is opened once, and compared.
    """
    design = [BRIEF]
    bench = Stub(lambda: design[0])
    progress = Progress(tmp_path / "p.jsonl")
    panel = TaskPanel(TASK, bench, tmp_path / "a.jsonl", evaluations=60, progress=progress)
    panel.solve()
    assert UNSEEN.split(".")[0] in panel.message.value and panel.found is None
    panel.score()
    assert "Say whose attempt" in panel.message.value and not (tmp_path / "a.jsonl").exists()
    panel.who.value = "Ines"
    panel.expected.value = EXPECTED
    for scored in (False, True):
        if scored:
            panel.score()
        panel.open_button.click()
        assert "Change the design" in panel.message.value and not bench.opened
    design[0] = changed(BRIEF, {**BETTER, ("hall", "height"): 9.0})
    panel.score()
    panel.open_button.click()
    assert "Change the design" in panel.message.value, "outside the brief"
    design[0] = changed(BRIEF, BETTER)
    panel.score()
    for few in ("", "better", "better " * 20, "aa bb cc dd ee ff gg hh", "it will " + NAMELESS):
        panel.expected.value = few
        panel.open_button.click()
        assert "at least 8 words" in panel.message.value and not bench.opened
    panel.expected.value = EXPECTED
    panel.open_button.click()
    assert bench.opened == 1 and panel.expected.disabled
    panel.solve()
    aimed, other = panel.found
    for sentence in task.difference(better, other, "the search"):
        assert sentence.replace("'", "&#x27;") in panel.compared.value
    assert "cannot move it off the posts" in panel.compared.value
    moved = re.findall("<li>", panel.compared.value.split("What the search moved")[1])
    assert len(moved) == len(aimed.moved)
    panel.score()
    opened = [a.opened for a in read_attempts(tmp_path / "a.jsonl").attempts]
    assert opened == [False, False, False, True]
    kinds = [e.kind for e in progress.read().events]
    assert kinds == ["task", "task", "task", "prediction", "task"]


def test_an_arrangement_that_is_taken_as_it_is_is_named(better):
    """Behavior: by its title, in the score and in what is kept; a design of one's own is not."""
    taken = task.score(arrange(BRIEF, "pendant grid"), TASK)
    title = ARRANGEMENTS["pendant grid"].title
    assert taken.arrangement == title and not better.arrangement
    assert task.attempt(BRIEF, taken, "Ines").arrangement == title
    assert title in score_table(taken) and "arrangement" not in score_table(better)


def test_an_attempt_is_kept_once_when_progress_cannot_be_written(tmp_path):
    """Behavior: what is kept and what is not is said apart, and the search can still be opened."""
    progress = Progress(tmp_path / "no folder" / "p.jsonl")
    panel = TaskPanel(TASK, Stub(), tmp_path / "a.jsonl", progress=progress)
    panel.who.value = "Ines"
    panel.score()
    assert "Scored, and kept." in panel.message.value and "p.jsonl" in panel.message.value
    assert panel.own is not None and len(read_attempts(tmp_path / "a.jsonl").attempts) == 1


def test_earlier_attempts_are_there_again_and_trouble_is_named(tmp_path, made):
    """Behavior: a file that cannot be written and a design that is refused are one line each."""
    file = tmp_path / "a.jsonl"
    add_attempt(file, made("from yesterday"))
    assert "from yesterday" in TaskPanel(TASK, Stub(), file).list.value
    nowhere = TaskPanel(TASK, Stub(), tmp_path / "no folder" / "a.jsonl")
    nowhere.who.value = "Ines"
    nowhere.score()
    assert "could not be written, so the attempt is not kept" in nowhere.message.value
    assert nowhere.own is None
    assert nowhere.export() is None and "no attempt yet" in nowhere.message.value

    def refuse():
        raise ValueError("height = 700 m is outside 3 to 25 m. <b>")

    refused = TaskPanel(TASK, Stub(refuse), file)
    refused.who.value = "Ines"
    refused.score()
    assert "Not scored: height = 700 m" in refused.message.value
    assert "<b>." not in refused.message.value and len(read_attempts(file).attempts) == 1


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
            points=1.0,
            met=1,
            checks=1,
            cost=1.0,
            changed=(),
            scenario="",
        )
