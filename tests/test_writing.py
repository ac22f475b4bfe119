"""Whatever is written is old or new, whole: faults at every step of every writer, names that never
share a folder, revisions that keep what was there.
"""

import errno
import itertools
import os
import resource
import shutil
import signal
import stat
import sys
import traceback
import unicodedata
from dataclasses import replace
from functools import cache, partial
from types import SimpleNamespace

import hypothesis.strategies as st
import pytest
from cases import ALL
from finished_hall import measure
from hypothesis import given, settings
from schools import SCENARIOS

from gymtools.command_line.entry import main
from gymtools.commissioning.comparison import compare
from gymtools.commissioning.plan import plan
from gymtools.commissioning.plan_time import timed_decision, timed_parts
from gymtools.design.decision import decide
from gymtools.display.documents import commissioning, drawings, handover
from gymtools.display.documents.commissioning import write_plan, write_report
from gymtools.display.documents.exports import write_xlsx
from gymtools.display.documents.handover import folder_name, write_handover, write_record
from gymtools.display.lessons.task import write_attempts
from gymtools.equipment.schedules import parts, schedules
from gymtools.training.attempts import Attempt, add_attempt
from gymtools.venue import writing_files
from gymtools.venue.files import load, save, to_text
from gymtools.venue.sofa import write_sofa
from gymtools.venue.writing_files import EXCHANGED, UNFINISHED, file_words, new_folder

SCHOOL = replace(SCENARIOS["dovecote"], uses=SCENARIOS["dovecote"].uses[:1])
# what the interpreter reports of itself; a fault is put at each of them
STEPS = ("open", "os.", "shutil.", "ctypes.dl", "tempfile.")
# steps from one fault to the next: the record's are the handover's, and those of the library that
# writes SOFA are its own; GYMTOOLS_CASES=all takes every one
EVERY = {} if ALL else {"sofa": 9, "handover": 7, "record": 9, "plan": 3, "report": 3}
SIZES = (0, 100, 2_000, 20_000)  # of the largest file that the disk takes [bytes]
OLD = {"a filled sheet.csv": b"sti,0.55", "use-1-of-an-earlier-design.dxf": b"old", "in/it": b"x"}


# ---- the writers


@cache
def measured():
    """Plan and comparison of a gym with its room measured."""
    made = plan(SCHOOL)
    return made, compare(made, measure(made))


@cache
def installed():
    """What the installer gets."""
    return timed_parts(parts(SCHOOL))


@cache
def decision():
    """A decision between two options."""
    other = replace(SCHOOL, name="Other School")
    return timed_decision(decide({"a": SCHOOL, "b": other}, "a", draws=20))


def attempts(folder):
    """A file with one attempt."""
    file = folder / "attempts.jsonl"
    if not file.exists():
        kept = dict(school=SCHOOL.name, brief="x", met=1, checks=2, cost=3.0, changed=())
        when = "2031-03-04T12:00:00+00:00"
        more = dict(points=4.0, scenario=to_text(SCHOOL))
        add_attempt(file, Attempt(who="Ann", when=when, **kept, **more))
    return file


# name: (file or folder that is made, what makes it in a folder)
WRITERS = {
    "save": ("s.toml", lambda d: save(SCHOOL, d / "s.toml", overwrite=True)),
    "sofa": ("s.sofa", lambda d: write_sofa(SCHOOL.loudspeakers[0].type, d / "s.sofa")),
    "handover": (
        folder_name(SCHOOL),
        lambda d: write_handover(installed(), d, overwrite=True),
    ),
    "record": (folder_name(SCHOOL), lambda d: write_record(decision(), d, overwrite=True)),
    "plan": (
        folder_name(SCHOOL, "commissioning"),
        lambda d: write_plan(measured()[0], d, overwrite=True),
    ),
    "report": (
        folder_name(SCHOOL, "commissioning-report"),
        lambda d: write_report(measured()[1], d, overwrite=True),
    ),
    "attempts": ("attempts-export-1", lambda d: write_attempts(attempts(d))),
}
FILES = ("save", "sofa")


def sheets_of(made):
    """A sheet for every use, by its number alone."""
    return [SimpleNamespace(number=f"AV-{n}") for n, _ in enumerate(made.scenario.uses, 1)]


@pytest.fixture
def quick(monkeypatch):
    """Contents that take long are worked out before, and are the same each time."""
    # a kill of the process loses nothing that the system has taken
    monkeypatch.setattr(os, "fsync", lambda _: None)
    two = schedules(installed())[:2]
    monkeypatch.setattr(handover, "schedules", lambda _: two)
    monkeypatch.setattr(drawings, "drawing_set", lambda made, **_: sheets_of(made))
    monkeypatch.setattr(drawings, "document", lambda *_: None)
    monkeypatch.setattr(drawings, "dxf_text", lambda _: "dxf\n" * 2_000)
    monkeypatch.setattr(drawings, "pdf", lambda _: b"pdf" * 2_000)
    monkeypatch.setattr(drawings, "picture", lambda _, kind: kind.encode() * 2_000)
    monkeypatch.setattr(
        handover, "write_prices", lambda _, path, **__: write_xlsx(two, path, "price")
    )
    monkeypatch.setattr(handover, "record_html", lambda *_, **__: "<p>record</p>" * 5_000)
    monkeypatch.setattr(commissioning, "plan_html", lambda *_, **__: "<p>plan</p>" * 5_000)
    monkeypatch.setattr(commissioning, "report_html", lambda *_, **__: "<p>report</p>" * 5_000)


def contents(path):
    """What a file or a folder holds; None where there is nothing."""
    if path.is_dir():
        return {
            p.relative_to(path).as_posix(): p.read_bytes() for p in path.rglob("*") if p.is_file()
        }
    return path.read_bytes() if path.exists() else None


def put_old(path, writer):
    """Something of an earlier time in the place of what is written."""
    if writer in FILES:
        path.write_bytes(b"old")
        return
    for name, data in OLD.items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(data)


# ---- faults


def in_child(write, prepare, refusals):
    """How a forked child ends that prepares a fault and writes: 0, 1 for a refusal in one line, 2
    for anything else, or minus the signal that killed it.
    """
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        code = 2
        try:
            prepare()
            write()
            code = 0
        except refusals as error:
            code = 1 if "\n" not in str(error) else 2
        except BaseException:
            os.write(2, traceback.format_exc().encode())
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def at_step(number, fault):
    """Put a fault at one of the steps that the interpreter reports."""
    count = itertools.count()

    def hook(event, _):
        if event.startswith(STEPS) and next(count) == number:
            fault()

    sys.addaudithook(hook)


def kill():
    os.kill(os.getpid(), signal.SIGKILL)


def no_space():
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def limited(size):
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def no_exchange(*_):
    raise OSError("names cannot be exchanged in one step")


def check(folder, name, old, new, published=()):
    """What lies in a folder after a fault: old or new in its place, whole, and the old never
    lost; only what was in the place before becomes a revision; nothing hidden. Gives what is in
    the place.
    """
    place = contents(folder / name)
    revisions = folder / "revisions"
    kept = sorted(revisions.iterdir()) if revisions.exists() else []
    kept = [contents(p) for p in kept]
    if isinstance(new, dict):
        assert place in (old, new) or (place is None and kept == [old])
        assert kept in ([], [old], [old, *published])
        waits = contents(folder / (name + UNFINISHED)) if place == new and not kept else None
        assert old is None or old == place or old in kept or old == waits
    else:
        assert place in (old, new) and not kept
    others = {p.name for p in folder.iterdir()} - {name, "revisions", "attempts.jsonl"}
    assert others <= {name + UNFINISHED, name + EXCHANGED}
    return place


def try_fault(folder, writer, new, prepare, with_old):
    """One fault in one writer, and the next writing after it; gives how it ended."""
    name, write = WRITERS[writer]
    folder.mkdir()
    if writer == "attempts":
        shutil.copy(folder.parent / "attempts.jsonl", folder)
    if with_old:
        put_old(folder / name, writer)
    old = contents(folder / name)
    # the library that writes SOFA has refusals of its own; what is exported is read first
    refusals = {"sofa": Exception, "attempts": (OSError, ValueError)}.get(writer, OSError)
    ended = in_child(partial(write, folder), prepare, refusals)
    assert ended in (0, 1, -signal.SIGKILL)
    place = check(folder, name, old, new)
    if ended == 0:
        assert contents(folder / name) == new
    elif writer == "attempts" and contents(folder / name) == new:
        pass  # killed after the last step; the next export has the next number
    else:
        write(folder)
        assert contents(folder / name) == new
        check(folder, name, old, new, [new] if place == new else [])
        assert not [p.name for p in folder.iterdir() if p.name.endswith(UNFINISHED)]
    shutil.rmtree(folder)
    return ended


CASES = [(w, True) for w in WRITERS] + [
    (w, False) for w in ("handover", "record", "plan", "report")
]


@pytest.mark.parametrize(
    "writer, exchange", CASES, ids=[f"{w}{'' if x else ', renamed twice'}" for w, x in CASES]
)
def test_old_or_new_whatever_happens(writer, exchange, tmp_path, quick, monkeypatch, capsys):
    """Behavior: killed, or refused by the system, at every step the interpreter reports; the disk
    full at any size: old or new, whole, and the next writing succeeds.
    """
    if not exchange:
        monkeypatch.setattr(writing_files, "_exchange", no_exchange)
    name, write = WRITERS[writer]
    attempts(tmp_path)
    (tmp_path / "reference").mkdir()
    shutil.copy(tmp_path / "attempts.jsonl", tmp_path / "reference")
    write(tmp_path / "reference")
    new = contents(tmp_path / "reference" / name)
    assert new
    killed = refused = full = 0
    run = partial(try_fault, tmp_path / "run", writer, new)
    # where nothing was, nothing is exchanged: the first cases have tried that
    olds = (False,) if writer == "attempts" else (False, True) if exchange else (True,)
    for with_old in olds:
        for steps in itertools.count(step=EVERY.get(writer, 1)):
            if run(partial(at_step, steps, kill), with_old) == 0:
                break
            killed += 1
        refused += sum(
            run(partial(at_step, k, no_space), with_old)
            for k in range(steps)[:: EVERY.get(writer, 1)]
        )
        full += sum(run(partial(limited, size), with_old) for size in SIZES)
    assert killed > 5 and refused > 5 and full > 0
    if os.environ.get("GYMTOOLS_COUNTS"):
        with capsys.disabled():
            print(
                f"\n{writer}, exchange {exchange}: {killed} killed, {refused} refused, {full} full"
            )


# ---- single files


def test_a_link_stays_and_its_target_is_written(tmp_path):
    """Behavior: a linked scenario and a linked folder are written where they lie."""
    (tmp_path / "elsewhere").mkdir()
    target, link = tmp_path / "elsewhere" / "real.toml", tmp_path / "s.toml"
    link.symlink_to(target)
    for _ in range(2):  # first it points at nothing
        assert save(SCHOOL, link, overwrite=True) == link
        assert link.is_symlink() and not target.is_symlink() and load(target) == SCHOOL
    with pytest.raises(FileExistsError, match=r"^s\.toml exists\."):
        save(SCHOOL, link)
    assert [p.name for p in (tmp_path / "elsewhere").iterdir()] == ["real.toml"]
    folder = tmp_path / "linked"
    folder.symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    with new_folder(folder, overwrite=True) as building:
        (building / "new").write_text("new")
    assert folder.is_symlink() and contents(folder) == {"new": b"new"}
    assert (tmp_path / "revisions" / "elsewhere-1" / "real.toml").exists()


def test_permissions(tmp_path):
    """Behavior: a file that is replaced keeps its permissions, a new one gets those of the user."""
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text("old")
    old.chmod(0o664)
    kept = os.umask(0o027)
    try:
        for path in (old, new):
            save(SCHOOL, path, overwrite=True)
    finally:
        os.umask(kept)
    assert [stat.S_IMODE(p.stat().st_mode) for p in (old, new)] == [0o664, 0o640]


def test_what_cannot_be_written_is_refused_in_one_line(tmp_path):
    """Behavior: read-only, a folder in the place, no such folder, a pipe: one sentence each."""
    (tmp_path / "read-only.toml").write_text("precious")
    (tmp_path / "read-only.toml").chmod(0o444)
    (tmp_path / "folder.toml").mkdir()
    os.mkfifo(tmp_path / "pipe.toml")
    for name, kind, why in (
        ("read-only.toml", PermissionError, "the file is read-only"),
        ("folder.toml", IsADirectoryError, "a folder has this name"),
        ("nowhere/s.toml", FileNotFoundError, "there is no folder 'nowhere'"),
        ("pipe.toml", OSError, "it is no ordinary file"),
    ):
        with pytest.raises(kind, match=rf"^[\w.-]+ cannot be written: {why}\.$"):
            save(SCHOOL, tmp_path / name, overwrite=True)
    assert (tmp_path / "read-only.toml").read_text() == "precious"
    (tmp_path / "school").write_text("a file")
    for folder, why in (
        ("school", "a file has this name"),
        ("no/school", "there is no folder 'no'"),
    ):
        with pytest.raises(OSError, match=rf"^school cannot be written: {why}\.$"):
            with new_folder(tmp_path / folder, overwrite=True):
                raise AssertionError("nothing is written")


def test_a_killed_save_leaves_a_name_that_the_next_one_takes(tmp_path):
    """Behavior: what a kill left stands under a name that everybody sees, and goes with the next
    writing.
    """
    (tmp_path / f"s.toml{UNFINISHED}").write_text("half a fi")
    save(SCHOOL, tmp_path / "s.toml")
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]


# ---- folders


def write_one(folder, text):
    """A folder with one file."""
    with new_folder(folder, overwrite=True) as building:
        (building / "text").write_text(text)


@pytest.mark.parametrize("last", ["_exchange", "os.rename", "unlink"])
def test_only_what_was_published_becomes_a_revision(last, tmp_path):
    """Regression: a kill while names are exchanged: the old folder in place, or the new one with
    the old one whole; the next writing never clears the old, and no revision is of a folder that
    was never in its place.
    """
    folder = tmp_path / "x"
    write_one(folder, "first")

    def prepare():
        if last == "_exchange":
            writing_files._exchange = lambda *_: kill()
        elif last == "os.rename":
            os.rename = lambda *_: kill()
        else:
            writing_files.Path.unlink = lambda *_, **__: kill()
            writing_files._cleared = lambda building, _: os.mkdir(building)

    assert in_child(lambda: write_one(folder, "second"), prepare, OSError) == -signal.SIGKILL
    stands, old = {"text": b"second"}, {"text": b"first"}
    left = contents(tmp_path / f"x{UNFINISHED}")
    if last == "_exchange":
        assert (contents(folder), left) == (old, stands)
    else:
        assert contents(folder) == stands
        assert (left or contents(tmp_path / "revisions" / "x-1")) == old
    assert all(p.name.startswith("x-") for p in (tmp_path / "revisions").iterdir())
    write_one(folder, "third")
    kept = [contents(p) for p in sorted((tmp_path / "revisions").iterdir())]
    assert kept == ([old] if last == "_exchange" else [old, stands])
    assert sorted(p.name for p in tmp_path.iterdir()) == ["revisions", "x"]


def test_an_old_folder_that_was_copied_after_a_kill_is_kept(tmp_path):
    """Behavior: a copy of what a kill has left has other numbers on the disk; the old one in it is
    still no left-over to be cleared.
    """
    (tmp_path / "a").mkdir()
    write_one(tmp_path / "a" / "x", "first")

    def prepare():
        os.rename = lambda *_: kill()

    second = partial(write_one, tmp_path / "a" / "x", "second")
    assert in_child(second, prepare, OSError) == -signal.SIGKILL
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    write_one(tmp_path / "b" / "x", "third")
    kept = [contents(p) for p in sorted((tmp_path / "b" / "revisions").iterdir())]
    assert kept == [{"text": b"first"}, {"text": b"second"}]


def test_a_revision_that_cannot_be_kept_leaves_the_old_in_place(tmp_path, monkeypatch):
    """Behavior: refused after the exchange: the old folder is back, nothing is left beside it."""
    write_one(tmp_path / "x", "first")

    def refused(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "rename", refused)
    with pytest.raises(OSError, match=r"^x cannot be written: No space left on device\.$"):
        write_one(tmp_path / "x", "second")
    assert contents(tmp_path / "x") == {"text": b"first"}
    assert sorted(p.name for p in tmp_path.iterdir()) == ["revisions", "x"]


def test_the_reports_of_two_schools_stay_apart(tmp_path):
    """Regression: sheets of two schools in one folder: one school's report is no revision of the
    other's.
    """
    made, first = measured()
    other = replace(first, plan=replace(made, scenario=replace(SCHOOL, name="Other School")))
    folders = {write_report(c, tmp_path)[0].parent.name for c in (first, other)}
    assert folders == {
        folder_name(SCHOOL, "commissioning-report"),
        "other-school-commissioning-report",
    }
    assert not (tmp_path / "revisions").exists()


def test_two_writers_never_mix(tmp_path):
    """Behavior: a second writing of the same folder is refused while the first is under way."""
    with new_folder(tmp_path / "x") as first:
        (first / "a").write_text("first")
        with pytest.raises(
            OSError, match=r"^x cannot be written: another program is writing it\.$"
        ):
            with new_folder(tmp_path / "x"):
                raise AssertionError("nothing is written")
    assert contents(tmp_path / "x") == {"a": b"first"}


def test_no_file_of_an_earlier_design_remains(tmp_path, quick):
    """Behavior: a use that is taken out leaves no drawing behind; the earlier folders are kept
    whole.
    """
    paths = write_handover(installed(), tmp_path)
    folder, first = paths[0].parent, contents(paths[0].parent)
    two = replace(SCHOOL, uses=SCENARIOS["dovecote"].uses[:2])
    write_handover(parts(two), tmp_path, overwrite=True)
    second = contents(folder)
    assert "drawing-AV-2.svg" in second and "drawing-AV-2.svg" not in first
    write_handover(installed(), tmp_path, overwrite=True)
    kept = tmp_path / "revisions"
    assert contents(folder) == contents(kept / f"{folder.name}-1") == first
    assert contents(kept / f"{folder.name}-2") == second


def test_a_filled_sheet_is_never_lost(tmp_path, capsys):
    """Behavior: a test plan written over a filled sheet moves it into the revisions and says so."""
    save(SCHOOL, tmp_path / "s.toml")
    call = ["testplan", str(tmp_path / "s.toml"), "--folder", str(tmp_path)]
    assert main(call) == 0
    sheet = tmp_path / folder_name(SCHOOL, "commissioning") / "readings.csv"
    sheet.write_text("a day's work")
    assert main(call) == 2 and "moves whole into 'revisions'" in capsys.readouterr().err
    assert main([*call, "--overwrite"]) == 0
    assert f"the last of them as {sheet.parent.name}-1." in capsys.readouterr().out
    kept = tmp_path / "revisions" / f"{sheet.parent.name}-1" / "readings.csv"
    assert kept.read_text() == "a day's work" and sheet.read_text() != "a day's work"


# ---- names


def test_no_two_schools_share_a_folder():
    """Behavior: names in other scripts, or that differ in a sign only, give folders of their own; a
    plain name is used as it is.
    """
    names = ("東高校", "西高校", "Школа №1", "Школа 1", "مدرسة الشرق", "مدرسة الغرب", "St. Mary's")
    names += (
        "St Mary s",
        "St-Mary-s",
        "École",
        "Ecole",
        "",
        ".",
        "..",
        "A" * 80,
        "A" * 81,
        "學" * 99,
    )
    names += (
        "學" * 100,
        "हिन्दी",
        "हन्द",
        "😀",
        "😁",
        "CON",
        "nul.",
        "a/b",
        "a b",
        "a\\b",
        "e\u0301",
        "e",
    )
    folders = [
        folder_name(replace(SCHOOL, name=n)) if n else file_words(n, "school") for n in names
    ]
    assert len(set(folders)) == len(names)
    for folder in folders:
        assert len(folder.encode()) < 100 and not set(folder) & set('/\\:*?"<>|. ')
    assert folder_name(SCHOOL) == "dovecote-primary-school-schedules"
    assert file_words("東高校", "school") == "東高校"


@settings(max_examples=300)
@given(st.text(max_size=40), st.text(max_size=40))
def test_names_of_any_letters(one, other):
    """Invariance: two names that differ in more than case and composition give two file names."""
    same = [unicodedata.normalize("NFC", x).lower() for x in (one, other)]
    if same[0] != same[1]:
        assert file_words(one, "") != file_words(other, "")
