"""Nothing is lost: the journal of a meeting, and going on from it."""

import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from schools import SCENARIOS

from gymtools.display.jobs import Debounce
from gymtools.display.panel import journal as journals
from gymtools.display.panel.go_on import LONGEST, GoOnSection
from gymtools.display.panel.journal import FOLDER, KEPT, Journal, earlier
from gymtools.display.panel.kept import KeptStrip
from gymtools.display.panel.meeting import Meeting
from gymtools.display.panel.options import OptionsTab
from gymtools.display.panel.state import History, PanelState

DOVECOTE = SCENARIOS["dovecote"]
OPENED = PanelState.of(DOVECOTE, "dovecote.toml")
TILT = ("groups", "wall pair", "downtilt_deg")
ROOT = Path(__file__).resolve().parents[1]


def tilted(value, state=OPENED):
    return state.update(changes={TILT: float(value)})


def written(folder, values, name=DOVECOTE.name, kept=()):
    """The journal of a meeting in which a tilt was set to some values."""
    journal = Journal(folder, name)
    for step, value in enumerate(values, 1):
        journal.write(tilted(value), step, kept)
    journal.close()
    return journal


def lines(path):
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line]


def test_a_line_holds_the_whole_scenario_and_the_state(tmp_path):
    """Behavior: what was changed by hand, treated, looked at and kept comes back as it was."""
    treated = tuple(replace(t, area=12.5) for t in OPENED.treatments)
    state = OPENED.update(
        changes={TILT: 41.3, ("uses", "game", "closed"): ("bleachers",)},
        treatments=treated,
        use="class",
        units="ft",
        quantity="sti",
    )
    journal = Journal(tmp_path, DOVECOTE.name)
    assert journal.write(state, 3, [("A", DOVECOTE)])
    journal.close()
    found = earlier(tmp_path, DOVECOTE.name)
    (read,), now = found.states([tmp_path])
    assert read.scenario == replace(state.scenario, text=read.scenario.text) and now == 0
    assert (read.changes, read.treatments) == (state.changes, state.treatments)
    looks = (read.use, read.units, read.quantity, read.file)
    assert looks == ("class", "ft", "sti", "dovecote.toml")
    ((name, scenario),) = found.designs([tmp_path])
    assert name == "A" and scenario == replace(DOVECOTE, text=scenario.text)
    assert ", 1 kept design)?" in found.words and "(3 steps" in found.words


def test_a_line_is_written_where_something_has_changed(tmp_path):
    """Behavior: a tab or a seat that is looked at adds no line; a change and a kept design do, and
    kept designs are written once.
    """
    journal = Journal(tmp_path, DOVECOTE.name)
    assert journal.write(tilted(40), 1) and not journal.write(tilted(40), 1)
    assert not journal.write(tilted(40).update(tab="uses", seat=3), 1)
    assert journal.write(tilted(40), 1, [("A", DOVECOTE)])
    assert journal.write(tilted(41), 2, [("A", DOVECOTE)])
    assert ["kept" in line for line in lines(journal.path)] == [False, True, False]


@pytest.mark.parametrize("cut", [1, 40, 400, -1])
def test_a_torn_last_line_is_skipped(tmp_path, cut):
    """Behavior: a kill in the middle of a line costs that line alone."""
    journal = written(tmp_path, [40, 41, 42])
    data = journal.path.read_bytes()
    start = data.rstrip(b"\n").rfind(b"\n") + 1
    torn = data[: start + cut] if cut > 0 else data[: cut - 1]
    journal.path.write_bytes(torn)
    states, now = earlier(tmp_path, DOVECOTE.name).states([tmp_path])
    assert [s.changes[TILT] for s in states] == [40, 41] and now == 1


@pytest.mark.parametrize(
    "garbage",
    [
        b"",
        b"\n\n",
        b"\x00\xff\xfe",
        b"[1, 2]\n",
        b'{"at": "now", "opened": 3}\n',
        b'{"at": "2026-01-01T10:00:00", "opened": "x", "steps": 1, "state": {}}\n',
        b"[" * 100_000,
        b'{"answered": true}\n',
    ],
)
def test_a_file_that_is_no_journal_is_passed_over(tmp_path, garbage):
    """Behavior: whatever lies in the folder, nothing is asked and nothing breaks."""
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / "20260101-100000-1.jsonl").write_bytes(garbage)
    (tmp_path / FOLDER / "20260101-100001-1.jsonl").mkdir()
    assert earlier(tmp_path, DOVECOTE.name) is None
    assert earlier(tmp_path / "none", DOVECOTE.name) is None


def test_undone_steps_can_be_redone_after_going_on(tmp_path):
    """Behavior: an undo is a line too; a new step after it ends what could be redone."""
    journal = Journal(tmp_path, DOVECOTE.name)
    for step, value in ((1, 40), (2, 41), (3, 42), (2, 41)):
        journal.write(tilted(value), step)
    journal.close()
    states, now = earlier(tmp_path, DOVECOTE.name).states([tmp_path])
    assert [s.changes[TILT] for s in states] == [40, 41, 42] and now == 1
    journal = Journal(tmp_path, DOVECOTE.name)
    for step, value in ((1, 40), (2, 41), (1, 40), (2, 50)):
        journal.write(tilted(value), step)
    journal.close()
    states, now = earlier(tmp_path, DOVECOTE.name).states([tmp_path])
    assert [s.changes[TILT] for s in states] == [40, 50] and now == 1


def test_two_meetings_do_not_disturb_each_other(tmp_path):
    """Behavior: each has a file of its own; another school's is not offered."""
    one, two = Journal(tmp_path, DOVECOTE.name), Journal(tmp_path, "Another School")
    one.write(tilted(40), 1)
    two.write(tilted(50), 1)
    one.write(tilted(41), 2)
    assert one.path != two.path and len(lines(one.path)) == 2 and len(lines(two.path)) == 1
    assert earlier(tmp_path, DOVECOTE.name).path == one.path
    assert earlier(tmp_path, "Nowhere") is None


def test_old_journals_are_pruned(tmp_path):
    """Behavior: the last ten stay."""
    (tmp_path / FOLDER).mkdir()
    for n in range(15):
        (tmp_path / FOLDER / f"20260101-1000{n:02d}-1.jsonl").write_text("{}\n")
    journal = written(tmp_path, [40])
    left = sorted(p.name for p in (tmp_path / FOLDER).iterdir())
    assert len(left) == KEPT and left[0] == "20260101-100006-1.jsonl"
    assert left[-1] == journal.path.name


def test_a_journal_is_bounded(tmp_path, monkeypatch):
    """Behavior: the older half goes; the last line and the kept designs stay."""
    monkeypatch.setattr(journals, "MOST_BYTES", 60_000)
    journal = Journal(tmp_path, DOVECOTE.name)
    for step in range(1, 80):
        journal.write(tilted(step), step, [("A", DOVECOTE)])
        assert journal.path.stat().st_size < 75_000
    journal.close()
    found = earlier(tmp_path, DOVECOTE.name)
    states, now = found.states([tmp_path])
    assert states[now].changes[TILT] == 79 and [k["name"] for k in found.kept] == ["A"]
    assert [p.suffix for p in (tmp_path / FOLDER).iterdir()] == [".jsonl"]


def test_a_folder_that_cannot_be_written_is_said_once(tmp_path):
    """Behavior: one line with the folder and the reason; the meeting goes on."""
    (tmp_path / FOLDER).write_text("a file")
    meeting = Meeting(DOVECOTE, tmp_path, journal=True)
    section = meeting.sections[GoOnSection]
    meeting.set(TILT, 41.0)
    assert f"cannot be written in {tmp_path.name}/{FOLDER}: File exists" in section.words.value
    section.words.value = ""
    meeting.set(TILT, 42.0)
    assert section.words.value == "" and meeting.scenario.groups[0].downtilt_deg == 42


def test_going_on(tmp_path):
    """Behavior: nothing is asked when there is nothing; after changes the next panel asks, goes on
    with every step to undo and every design that was kept, and does not ask again.
    """
    first = Meeting(DOVECOTE, tmp_path, journal=True)
    assert first.sections[GoOnSection].offer is None and not (tmp_path / FOLDER).exists()
    for tilt in (41.0, 42.0, 43.0):
        first.set(TILT, tilt)
    first.controls["use"].value = "class"
    first.options.pin()
    first.undo()
    second = Meeting(DOVECOTE, tmp_path, journal=True)
    section = second.sections[GoOnSection]
    assert (
        "Go on from " in section.words.value and "(3 steps, 1 kept design)?" in section.words.value
    )
    assert second.scenario == DOVECOTE, "nothing is restored unasked"
    section.go_button.click()
    assert second.scenario.groups[0].downtilt_deg == 43 and second.state.use == "game"
    assert second.sections[OptionsTab].pins.names == ["A"] and section.box.layout.display == "none"
    second.redo()
    assert second.state.use == "class"
    for tilt in (43, 43, 42, 41):
        assert second.value(TILT) == tilt
        second.undo()
    third = Meeting(DOVECOTE, tmp_path, journal=True).sections[GoOnSection]
    assert "Go on from" in third.words.value
    third.anew_button.click()
    assert third.box.layout.display == "none"
    fourth = Meeting(DOVECOTE, tmp_path, journal=True).sections[GoOnSection]
    assert fourth.offer is None, "answered: not asked again"


def test_a_design_that_is_kept_or_removed_is_a_line(tmp_path):
    """Regression: a design that was kept after the last move was not in the journal."""
    meeting = Meeting(DOVECOTE, tmp_path, journal=True)
    meeting.options.keep("A")
    found = earlier(tmp_path, DOVECOTE.name)
    assert "(1 kept design)" in found.words
    meeting.options.pins.drop("A")
    assert earlier(tmp_path, DOVECOTE.name) is None


def test_going_on_keeps_what_was_done_before_the_answer(tmp_path):
    """Behavior: steps of this meeting stay in the history under the earlier one's last state."""
    written(tmp_path, [40, 41])
    meeting = Meeting(DOVECOTE, tmp_path, journal=True)
    meeting.set(TILT, 55.0)
    meeting.sections[GoOnSection].go_on()
    values = [meeting.value(TILT)]
    while meeting.history.can_undo:
        meeting.undo()
        values.append(meeting.value(TILT))
    assert values == [41, 55, 30, 41, 40]


def test_a_drag_is_written_while_it_lasts_and_when_it_ends(tmp_path):
    """Behavior: a kernel that dies in the middle of a drag takes half a second of it, and none of
    what was let go of.
    """
    meeting = Meeting(DOVECOTE, tmp_path, journal=True)
    journal = meeting.sections[GoOnSection]
    journal._rest = Debounce(lambda: None)  # nothing rests

    def drag(value, ago):
        journal._written -= ago
        meeting.set(TILT, value)
        kept = lines(journal.journal.path)[-1]["state"]["changes"] if journal.journal.path else []
        return dict((tuple(path), tilt) for path, tilt in kept).get(TILT)

    meeting.history.hold(True)
    assert drag(31.0, LONGEST + 0.1) == 31.0
    assert drag(32.0, -60.0) == 31.0  # as if it had just been written, however slow the machine
    assert drag(33.0, LONGEST + 60.1) == 33.0
    meeting.history.hold(False)
    assert drag(34.0, -60.0) == 34.0


def test_designs_that_were_kept_are_there_before_they_are_evaluated(tmp_path):
    """Behavior: their cards stand in the strip at once, with their names."""
    written(tmp_path, [40], kept=[("A", DOVECOTE), ("steep", DOVECOTE)])
    meeting = Meeting(DOVECOTE, tmp_path, journal=True)
    meeting.options.job.start = lambda *_: None  # work that takes for ever
    meeting.sections[GoOnSection].go_on()
    cards = meeting.sections[KeptStrip].cards.children
    words = [card.children[0].value for card in cards]
    assert ["A" in words[0], "steep" in words[1], len(words)] == [True, True, 2]


def test_history_counts_steps_that_are_kept_no_longer():
    """Invariance: the number of steps grows with every step, whatever the bound."""
    history = History(OPENED, most=3)
    for n in range(1, 9):
        history.add(tilted(n))
        assert history.steps == n
    history.undo()
    assert history.steps == 7


def test_a_history_lets_go_of_what_it_can_work_out_again():
    """Regression: every step kept its scenario with all that was worked out for it: megabytes."""
    history = History(OPENED)
    for n in range(1, 9):
        history.add(tilted(n))
        assert history.present.scenario.groups[0].downtilt_deg == n
    kept = ["scenario" in state.__dict__ for state in history.all_states[1:]]
    assert sum(kept) <= 3 and kept[-1]
    while history.can_undo:
        history.undo()
    assert history.present == OPENED


KILLED = """
import sys, time
from gymtools.display.panel.kept import KeptStrip
from gymtools.display.panel.meeting import Meeting
meeting = Meeting(sys.argv[1], sys.argv[2], journal=True)
meeting.update(tab="limits")
for n in range(100_000):
    meeting.set(("groups", "wall pair", "downtilt_deg"), 31.0 + n % 50)
    meeting.step.flush()
    print(n, flush=True)
"""


def test_a_killed_process_is_gone_on_from(tmp_path):
    """Behavior: killed (SIGKILL) in the middle of moves; while it lived nothing was asked, and
    afterwards the state of the last line is there.
    """
    school = str(ROOT / "scenarios" / "dovecote.toml")
    command = [sys.executable, "-c", KILLED, school, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        for said in process.stdout:
            if int(said) == 4:
                break
        assert earlier(tmp_path, DOVECOTE.name) is None, "somebody is at it"
        os.kill(process.pid, signal.SIGKILL)
        rest = [int(line) for line in process.stdout.read().split()]
    last = max([4, *rest])
    found = earlier(tmp_path, DOVECOTE.name)
    assert found.steps >= last
    meeting = Meeting(school, tmp_path, journal=True)
    meeting.sections[GoOnSection].go_on()
    assert meeting.value(TILT) >= 31.0 + last % 50 and meeting.history.steps >= last
