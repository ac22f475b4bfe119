"""Sweeps: equal to single evaluations wherever they run, refusals in their rows, interruptions that
lose nothing.
"""

import csv
import os
import re
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest

from gymtools.acoustics.evaluate import evaluate
from gymtools.design import fingerprints, sweeping
from gymtools.design.arrangements import arrange
from gymtools.design.sweeping import FIGURES, Row, column, figures, sweep, variations
from gymtools.equipment.prices import PriceBook, example_prices
from gymtools.venue.files import load, save
from gymtools.venue.hall import Treatment
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.paths import changed

ROOT = Path(__file__).parents[1]
DOVECOTE = load(ROOT / "scenarios" / "dovecote.toml")
OLD = ROOT / "tests" / "data" / "old-sweep.csv"  # written by the first version
SMALL = replace(DOVECOTE, uses=DOVECOTE.uses[:2])
FIRST = DOVECOTE.groups[0].name
TILT = ("groups", FIRST, "downtilt_deg")
AXES = {
    "tilt": {f"{t} deg": {TILT: float(t)} for t in (20, 35, 50)},
    "height": {
        "low": {("groups", FIRST, "height"): 5.0},
        "as it is": {},
        "in the roof": {("groups", FIRST, "height"): 12.0},
    },
}


def forked(workers):
    """A process pool that knows this module."""
    return ProcessPoolExecutor(workers, mp_context=get_context("fork"))


@pytest.fixture(scope="module")
def plain():
    return sweep(SMALL, AXES)


def test_rows_are_single_evaluations(plain):
    """Closed form: each row's figures from a fresh evaluation of its own scenario, to the last
    digit, with all rays as the row says: so few rows are all among the best; in the order of the
    axes.
    """
    assert [(row["tilt"], row["height"]) for row in plain] == [
        (t, h) for t in AXES["tilt"] for h in AXES["height"]
    ]
    for row in plain:
        if row["height"] == "in the roof":
            assert (
                "above the clear height under the joists" in row["refused"] and "penalty" not in row
            )
            continue
        assert row["rays"] == "full"
        s = changed(SMALL, AXES["tilt"][row["tilt"]] | AXES["height"][row["height"]])
        r = evaluate(s, SMALL.uses[1].name)
        name = r.use.name
        assert row[column(name, "sti")] == min(a.sti_p10 for a in r.areas)
        assert row[column(name, "coverage_range")] == max(max(a.coverage_range_db) for a in r.areas)
        assert row[column(name, "feedback_margin")] == min(
            float(m.margin_db.min()) for m in r.microphones
        )
        verdicts = [v for u in SMALL.uses for v in evaluate(s, u.name).verdicts]
        met = sum(v.word == "meets" for v in verdicts)
        close = sum(v.word == "close" for v in verdicts)
        assert (row["met"], row["close"]) == (met, close)
        assert (row["checks"], row["refused"]) == (len(verdicts), "")
    assert set(figures(SMALL, rays="few")) >= {
        column(u.name, key) for u in SMALL.uses for key in FIGURES
    }


def test_columns_are_headed_by_the_criteria():
    """Behavior: a heading is the use, the criterion's key and its unit: no label, which may change
    while tables last.
    """
    assert [column("game", key) for key in FIGURES] == [
        "game: sti",
        "game: coverage_range [dB]",
        "game: feedback_margin [dB]",
        "game: on_listeners [%]",
        "game: loudest [dB(A)]",
    ]


def test_a_use_without_a_microphone_has_no_feedback_margin():
    """Behavior: what cannot be judged is empty, not a number."""
    quiet = replace(SMALL, uses=(replace(SMALL.uses[0], microphones=()),))
    assert figures(quiet, rays="few")[column(quiet.uses[0].name, "feedback_margin")] is None


def test_progress_counts_this_sweep_only(counted, tmp_path):
    """Behavior: in a file that holds rows of other choices too, progress ends at this sweep's own
    number: two rows, both evaluated again with all rays. A sweep that finds every row says at once
    that all is done.
    """
    file, seen = tmp_path / "rows.csv", []
    sweep(SMALL, AXES, file=file)
    narrow = {
        "tilt": dict([*AXES["tilt"].items()][:1]),
        "height": {"low": AXES["height"]["low"], "lower": {("groups", FIRST, "height"): 4.8}},
    }
    sweep(SMALL, narrow, file=file, progress=lambda *what: seen.append(what))
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]
    seen.clear()
    sweep(SMALL, narrow, file=file, progress=lambda *what: seen.append(what))
    assert seen == [(1, 4), (2, 4), (4, 4)]
    seen.clear()
    sweep(SMALL, narrow, room="statistical", progress=lambda *what: seen.append(what))
    assert seen[-1] == (2, 2), "by formula nothing is evaluated again"


@pytest.mark.parametrize("workers", [1, 2])
def test_a_process_pool_gives_the_same(plain, workers):
    """Invariance: one or two other processes, the same rows to the last digit, in the
    same order.
    """
    with forked(workers) as pool:
        assert sweep(SMALL, AXES, executor=pool) == plain


def test_a_dask_cluster_gives_the_same(plain):
    """Invariance: a local cluster's executor, the way to many machines, gives the same rows to the
    last digit.
    """
    from distributed import Client, LocalCluster

    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        Client(cluster) as client,
    ):
        assert sweep(SMALL, AXES, executor=client.get_executor()) == plain


def test_an_interruption_loses_nothing(counted, tmp_path, monkeypatch):
    """Behavior: stopped in the middle, of the rows with few rays or of those with all, the file cut
    in the middle of a row: the next run evaluates only what is missing, and one after all is done
    nothing.
    """
    file, seen, whole = tmp_path / "sweep.csv", [], sweep(SMALL, AXES)
    evaluated, one = [], sweeping._one
    monkeypatch.setattr(
        sweeping,
        "_one",
        lambda words, *rest: evaluated.append((rest[-1], *words.values())) or one(words, *rest),
    )

    def run(until):
        seen.clear()
        evaluated.clear()
        told = lambda done, count: seen.append((done, count))  # noqa: E731
        stop = lambda: len(seen) >= until  # noqa: E731
        return sweep(SMALL, AXES, file=file, progress=told, stop=stop)

    first = run(4)
    assert [row["rays"] for row in first] == ["few", "few", "", "few"], "one cannot be built"
    assert seen == [(n, 18) for n in (1, 2, 3, 4)]
    with file.open("a", encoding="utf-8") as cut:
        cut.write("35 deg,low,0123456789abcdef,,,meets,3")
    rows = run(11)  # four that are there, five new ones, two again
    assert len(evaluated) == 7 and [e[0] for e in evaluated].count("full") == 2
    assert [row["rays"] for row in rows].count("full") == 2
    assert len(file.read_text("utf-8").splitlines()) == 10, "one line of each combination"
    assert run(99) == whole and len(evaluated) == 4 and seen[-1] == (18, 18)
    assert {e[0] for e in evaluated} == {"full"}
    text = file.read_text("utf-8")
    assert run(99) == whole and not evaluated and file.read_text("utf-8") == text
    rows = list(csv.DictReader(file.open(encoding="utf-8", newline="")))
    assert len(rows) == 9 and not list(tmp_path.glob("*.unfinished"))


def test_a_stop_keeps_what_was_handed_out(counted, tmp_path):
    """Behavior: with a pool, what is under way when it is stopped is kept too."""
    file, done, whole = tmp_path / "sweep.csv", [], sweep(SMALL, AXES)
    with ThreadPoolExecutor(2) as pool:
        rows = sweep(
            SMALL,
            AXES,
            file=file,
            executor=pool,
            progress=lambda n, _: done.append(n),
            stop=lambda: len(done) >= 2,
        )
    assert 2 <= len(rows) <= 9 and {row["rays"] for row in rows} <= {"few", ""}
    keys = [row["key"] for row in whole]
    assert all(row["key"] in keys for row in rows)
    assert len(list(csv.DictReader(file.open(encoding="utf-8", newline="")))) == len(rows)


# ---- few rays first, and the best again with all


MANY = {"tilt": {f"{t} deg": {TILT: float(t)} for t in range(10, 40)}}


@pytest.fixture
def graded(monkeypatch):
    """Figures whose penalty is the tilt with few rays, and with all what a table adds to it; those
    asked for, with their rays.
    """
    asked, more = [], {}
    nothing = {column(u.name, key): None for u in SMALL.uses for key in FIGURES}

    def graded_figures(scenario, room, prices, rays):
        tilt = scenario.groups[0].downtilt_deg
        asked.append((tilt, rays))
        wrong = more.get(tilt, 0.0) if rays == "full" else 0.0
        if isinstance(wrong, Exception):
            raise wrong
        worth = tilt * more.get("apart", 1.0) + wrong
        row = dict(verdict="meets", met=1, close=0, checks=2, cost=1.0, rays=rays, penalty=worth)
        return Row(row | nothing)

    monkeypatch.setattr(sweeping, "figures", graded_figures)
    return asked, more


@pytest.mark.parametrize("workers", [0, 2])
def test_the_best_twenty_are_evaluated_again_with_all_rays(graded, tmp_path, workers):
    """Behavior: of thirty the twenty of least penalty have all rays at the end. One that all rays
    show to be worse makes room for the next, which is evaluated again too. Here or in a pool;
    progress ends at all.
    """
    (asked, more), seen = graded, []
    more[12.0] = 100.0
    with ThreadPoolExecutor(workers or 1) as pool:
        rows = sweep(
            SMALL,
            MANY,
            file=tmp_path / "s.csv",
            executor=pool if workers else None,
            progress=lambda *what: seen.append(what),
        )
    assert [row["tilt"] for row in rows] == list(MANY["tilt"]), "in the order of the axes"
    best = sorted(rows, key=lambda row: row["penalty"])[:20]
    assert {row["rays"] for row in best} == {"full"}
    assert [t for t, rays in asked if rays == "few"] == [float(t) for t in range(10, 40)] or workers
    again = sorted(t for t, rays in asked if rays == "full")
    assert again == [float(t) for t in range(10, 31)], "21: the worse one, and who took its place"
    (worse,) = [row for row in rows if row["tilt"] == "12 deg"]
    assert (worse["penalty"], worse["rays"]) == (112.0, "full")
    assert [row["rays"] for row in rows].count("few") == 9 and seen[-1] == (51, 51)
    assert len(set(seen)) == len(seen) or seen[-2:] == [(51, 51)] * 2
    asked.clear()
    assert sweep(SMALL, MANY, file=tmp_path / "s.csv") == rows and not asked


def test_what_is_not_clearly_behind_is_evaluated_again(graded, monkeypatch):
    """Behavior: of thirty, 0.017 steps apart, those within 0.4 of the best have all rays, though
    all rays find 0.2 less in each: few are held against few. Of these no more than the most.
    """
    (_, more), seen = graded, []
    more["apart"] = 0.017
    more |= {float(t): -0.2 for t in range(10, 40)}
    rows = sweep(SMALL, MANY, progress=lambda *what: seen.append(what))
    assert [row["rays"] for row in rows] == ["full"] * 24 + ["few"] * 6 and seen[-1] == (54, 54)
    monkeypatch.setattr(sweeping, "MOST_AGAIN", 22)
    rows = sweep(SMALL, MANY)
    assert [row["rays"] for row in rows].count("full") == 22


def test_a_failure_with_all_rays_keeps_the_row_of_few(graded, tmp_path):
    """Behavior: out of memory the second time: the row is there as it was with few rays, with no
    word of refusal, and the next run tries again.
    """
    (asked, more), file = graded, tmp_path / "s.csv"
    more[11.0] = MemoryError()
    rows, seen = [], []
    axes = {"tilt": dict([*MANY["tilt"].items()][:3])}
    rows = sweep(SMALL, axes, file=file, progress=lambda *what: seen.append(what))
    assert [row["rays"] for row in rows] == ["full", "few", "full"] and seen[-1] == (6, 6)
    assert rows[1]["penalty"] == 11.0 and rows[1]["refused"] == ""
    more.clear()
    asked.clear()
    rows = sweep(SMALL, axes, file=file)
    assert asked == [(11.0, "full")] and [row["rays"] for row in rows] == ["full"] * 3


def test_a_table_without_rays_is_set_aside(graded, tmp_path):
    """Regression: a table of before rays had a column: nobody can say what its rows rest on. They
    go into the file beside it with that cell empty, and all are evaluated.
    """
    (asked, _), file = graded, tmp_path / "s.csv"
    axes = {"tilt": dict([*MANY["tilt"].items()][:3])}
    rows = sweep(SMALL, axes, file=file)
    table = [*csv.reader(file.open(encoding="utf-8", newline=""))]
    at = table[0].index("rays")
    text = "".join(",".join(row[:at] + row[at + 1 :]) + "\n" for row in table)
    file.write_text(text.replace(rows[0]["key"][:16], "0123456789abcdef"), encoding="utf-8")
    asked.clear()
    with pytest.warns(UserWarning, match="^s.csv: 3 rows were of another"):
        assert sweep(SMALL, axes, file=file) == rows
    assert len(asked) == 6
    aside = [*csv.DictReader((tmp_path / "s-earlier.csv").open(encoding="utf-8", newline=""))]
    assert [(row["rays"], float(row["penalty"])) for row in aside] == [
        ("", 10.0),
        ("", 11.0),
        ("", 12.0),
    ]


def test_rays_that_mean_nothing_are_refused(graded, tmp_path):
    """Behavior: one line that names the file and the line."""
    file, axes = tmp_path / "s.csv", {"tilt": dict([*MANY["tilt"].items()][:1])}
    sweep(SMALL, axes, file=file)
    file.write_text(file.read_text("utf-8").replace(",full,", ",some,"), encoding="utf-8")
    with pytest.raises(ValueError, match=r"^s\.csv, line 2: rays = 'some' is neither few nor full"):
        sweep(SMALL, axes, file=file)


def test_a_failure_is_a_row(monkeypatch):
    """Behavior: an error of one variation stands in its row; the others are there."""
    real = sweeping.figures
    monkeypatch.setattr(
        sweeping,
        "figures",
        lambda s, *more: 1 / 0 if s.groups[0].downtilt_deg == 35 else real(s, *more),
    )
    rows = sweep(SMALL, {"tilt": AXES["tilt"]})
    assert [row["refused"] for row in rows] == ["", "ZeroDivisionError: division by zero", ""]


def test_whole_designs_can_be_varied():
    """Behavior: a choice may be a function: arrangements, treatment; what does not fit says so."""
    lined = Treatment(surface="east wall", area=60.0, finish="wall panels")
    axes = {
        "layout": {
            "as it is": {},
            "pendants": lambda s: arrange(s, "pendants"),
            "none": lambda s: arrange(s, "stage on a side"),
        },
        "treatment": {"bare": {}, "lined": lambda s: replace(s, treatments=(*s.treatments, lined))},
    }
    made = list(variations(SMALL, axes))
    assert [words for words, _ in made] == [
        {"layout": a, "treatment": b} for a in axes["layout"] for b in axes["treatment"]
    ]
    assert made[1][1].treatments == (*SMALL.treatments, lined) and (
        isinstance(made[2][1], str) or made[2][1].groups != SMALL.groups
    )


def test_refusals(tmp_path):
    """Behavior: axes, rooms and files that mean nothing are refused in one line; the file stays."""
    with pytest.raises(ValueError, match=r"^axes: give at least one axis"):
        sweep(SMALL, {})
    with pytest.raises(ValueError, match=r"^axes: a name is taken\."):
        sweep(SMALL, {"penalty": {"a": {}}})
    with pytest.raises(ValueError, match=r"^room = 'x' is unknown\."):
        sweep(SMALL, AXES, room="x")
    other = tmp_path / "other.csv"
    other.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"^other\.csv holds another table\."):
        sweep(SMALL, AXES, file=other)
    assert other.read_text(encoding="utf-8") == "a,b\n1,2\n"


@pytest.fixture
def old(tmp_path):
    """A copy of the table of the first version."""
    file = tmp_path / "old-sweep.csv"
    file.write_bytes(OLD.read_bytes())
    return file


OLD_AXES = {
    "tilt": {"35 deg": {TILT: 35.0}, "50 deg": {TILT: 50.0}},
    "height": {"as it is": {}, "in the roof": {("groups", FIRST, "height"): 12.0}},
}


def test_a_table_of_the_first_version_is_set_aside(old):
    """Regression: nobody can say with which package its rows were worked out. They are kept in a
    file beside it, under the present headings, to the last digit; the present rows take their
    place. Said once. The sound is another, since loudspeakers leak as published ones do and the
    room is traced, and the cost is higher, since the bill counts what a job takes beside its
    equipment: such rows must not stand among the present ones.
    """
    before = list(csv.DictReader(OLD.open(encoding="utf-8", newline="")))
    with pytest.warns(UserWarning, match="4 rows were of another") as said:
        rows = sweep(SMALL, OLD_AXES, file=old)
    assert [(str(w.message), w.filename) for w in said] == [(SET_ASIDE, __file__)]
    after = list(csv.DictReader(old.open(encoding="utf-8", newline="")))
    assert [row["key"] for row in after] == [row["key"] for row in rows]
    aside = old.with_name("old-sweep-earlier.csv")
    kept = {row["key"]: row for row in csv.DictReader(aside.open(encoding="utf-8", newline=""))}
    assert len(kept) == len(before)
    for was in before:
        row = kept[was["key"]]
        assert row["refused"] == was["refused"]
        assert (row["met"], row["checks"], row["penalty"]) == (was["hold"], was["of"], was["score"])
        assert row[column("game", "feedback_margin")] == was["game: spare gain [dB]"]
        assert row["verdict"] == {"falls short": "misses", "": ""}[was["verdict"]]
        (same,) = [r for r in rows if (r["tilt"], r["height"]) == (was["tilt"], was["height"])]
        if not was["refused"]:
            evenness = float(was["game: evenness [dB]"])
            assert evenness != pytest.approx(same[column("game", "coverage_range")], rel=1e-2)
            assert 1.1 * float(was["cost"]) < same["cost"] < 1.3 * float(was["cost"])
    assert sweep(SMALL, OLD_AXES, file=old) == rows  # nothing is said or evaluated any more


SET_ASIDE = (
    "old-sweep.csv: 4 rows were of another scenario, loudspeaker file, price book, room or version"
    " of the package, now in old-sweep-earlier.csv."
)


@pytest.fixture(scope="module")
def headline():
    """Figures of one design."""
    return figures(SMALL, rays="few")


@pytest.fixture
def counted(monkeypatch, headline):
    """Figures that cost no time, as they would be with the rays that are asked for, and the
    scenarios of which the figures with few rays, or by formula, were asked.
    """
    asked = []

    def quick(scenario, room, prices, rays):
        if rays == "few":
            asked.append(scenario)
        return Row(headline, rays=rays if room == "traced" else "")

    monkeypatch.setattr(sweeping, "figures", quick)
    return asked


def measured_school(sensitivity_db=0.0, rear_db=0.0):
    """A school whose first group is of a measured type; what its file says may differ."""
    kind = replace(
        loudspeaker_types()[DOVECOTE.groups[0].loudspeaker],
        name="our own",
        measured_db=np.zeros((72, 37, 7)) + np.linspace(rear_db, 0, 72)[:, None, None],
    )
    kind = replace(kind, sensitivity_db=tuple(v + sensitivity_db for v in kind.sensitivity_db))
    groups = (replace(SMALL.groups[0], loudspeaker="our own"), *SMALL.groups[1:])
    return replace(SMALL, measured_types=(kind,), groups=groups)


def dearer():
    """The package's price book with one price changed."""
    prices = [*example_prices().prices.values()]
    prices[3] = replace(prices[3], price=prices[3].price + 1)
    return PriceBook(prices, example_prices().name)


@pytest.mark.parametrize(
    "before, after",
    [
        ({}, dict(scenario=measured_school(sensitivity_db=3.0))),
        ({}, dict(scenario=measured_school(rear_db=-12.0))),
        ({}, dict(prices=dearer())),
        (dict(prices=dearer()), {}),
        ({}, dict(room="statistical")),
        ({}, dict(package="0123456789abcdef")),
        ({}, dict(scenario=replace(measured_school(), source="another"))),
    ],
)
def test_rows_of_anything_else_are_evaluated_again(counted, tmp_path, monkeypatch, before, after):
    """Regression: the same names, and what a loudspeaker file, the price book, the room, the
    package or the scenario says has changed: every row is evaluated again, none of the former is
    mixed in.
    """

    def run(package=None, scenario=None, **options):
        monkeypatch.setattr(sweeping, "package", lambda: package or "the present one")
        return sweep(
            scenario or measured_school(),
            {"tilt": AXES["tilt"]},
            file=tmp_path / "s.csv",
            **options,
        )

    first = run(**before)
    assert run(**before) == first and len(counted) == 3, "the same again: nothing to do"
    with pytest.warns(UserWarning, match="^s.csv: 3 rows were of another"):
        rows = run(**after)
    assert len(counted) == 6 and len(rows) == 3
    lines = (tmp_path / "s.csv").read_text("utf-8").splitlines()
    assert len(lines) == 4 and all(
        r["key"] in line for r, line in zip(rows, lines[1:], strict=True)
    )
    aside = (tmp_path / "s-earlier.csv").read_text("utf-8").splitlines()
    assert aside[0] == lines[0] and all(
        r["key"] in line for r, line in zip(first, aside[1:], strict=True)
    )
    with pytest.warns(UserWarning, match="^s.csv: 3 rows"):
        run(**before)
    assert len((tmp_path / "s-earlier.csv").read_text("utf-8").splitlines()) == 7


def test_a_choice_that_means_something_else_now_takes_the_place_of_its_row(counted, tmp_path):
    """Regression: the same words for other changes: one row of these words, the present one."""
    file = tmp_path / "s.csv"
    sweep(SMALL, {"tilt": {"flat": {TILT: 10.0}, "steep": {TILT: 50.0}}}, file=file)
    with pytest.warns(UserWarning, match="^s.csv: 1 row was of another"):
        rows = sweep(SMALL, {"tilt": {"flat": {TILT: 5.0}, "steep": {TILT: 50.0}}}, file=file)
    written = list(csv.DictReader(file.open(encoding="utf-8", newline="")))
    assert sorted(r["key"] for r in written) == sorted(r["key"] for r in rows) and len(counted) == 3


def test_the_package_is_fingerprinted_with_its_data(tmp_path, monkeypatch):
    """Behavior: another table, formula or library version gives another fingerprint; words on the
    screen do not.
    """
    for name in ("data/finishes.csv", "physics/air.py", "display/theme.py", "physics/x.pyc"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("1", encoding="utf-8")
    monkeypatch.setattr(fingerprints, "PACKAGE", tmp_path)
    found = fingerprints._on_disk
    first = found()
    for name, other in (("display/theme.py", False), ("physics/x.pyc", False)):
        (tmp_path / name).write_text("2", encoding="utf-8")
        assert (found() != first) == other
    for name in ("data/finishes.csv", "physics/air.py"):
        (tmp_path / name).write_text("2", encoding="utf-8")
        assert found() != first
        (tmp_path / name).write_text("1", encoding="utf-8")
    assert found() == first
    monkeypatch.setattr(fingerprints.metadata, "version", lambda name: "0")
    assert found() != first


IMPORTED_EARLIER = """
import sys
from pathlib import Path
from gymtools.design import fingerprints, sweeping
from gymtools.venue.files import load

school, table, here = sys.argv[1:]
before = fingerprints.package()
file = Path(fingerprints.__file__).parents[1] / here
file.write_bytes(file.read_bytes() + b"\\n")
assert fingerprints.package() == before
school = load(school)
try:
    print(len(sweeping.sweep(school, {"a": {"as it is": {}}}, file=table)))
except ValueError as error:
    print("refused:", error)
print(len(sweeping.sweep(school, {"a": {"as it is": {}}})))
"""


@pytest.mark.parametrize(
    "file, refused",
    [("physics/air.py", True), ("data/spectra.csv", True), ("display/theme.py", False)],
)
def test_a_package_that_changed_since_its_import_writes_no_rows(file, refused, tmp_path):
    """Regression: code on the disk that is not the code that runs gives no row its fingerprint:
    with a table the sweep is refused in words, without one it runs.
    """
    shutil.copytree(ROOT / "gymtools", tmp_path / "gymtools")
    save(SMALL, tmp_path / "school.toml")
    (tmp_path / "run.py").write_text(IMPORTED_EARLIER, encoding="utf-8")
    words = [sys.executable, "run.py", "school.toml", "s.csv", file]
    env = {**os.environ, "PYTHONPATH": str(tmp_path)}
    done = subprocess.run(words, cwd=tmp_path, env=env, capture_output=True, text=True)
    first, last = done.stdout.splitlines()
    assert last == "1" and not done.stderr
    said = "refused: the files of gymtools have changed since it was imported"
    assert first.startswith(said) if refused else first == "1"
    assert (tmp_path / "s.csv").exists() != refused


@pytest.mark.parametrize("error", [MemoryError(), OSError("disk"), ZeroDivisionError("x")])
def test_a_momentary_failure_is_tried_again(counted, tmp_path, monkeypatch, error):
    """Regression: a failure that is no refusal stands in its row, and not in the file."""
    real, file, fail = sweeping.figures, tmp_path / "s.csv", [True]

    def figures_(s, *more):
        if s.groups[0].downtilt_deg == 35 and fail:
            fail.clear()
            raise error
        return real(s, *more)

    monkeypatch.setattr(sweeping, "figures", figures_)
    rows = sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)
    assert [bool(r["refused"]) for r in rows] == [False, True, False]
    assert rows[1]["refused"].startswith(type(error).__name__) and len(counted) == 2
    again = sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)
    assert len(counted) == 3 and [r["refused"] for r in again] == ["", "", ""]


def test_a_broken_pool_is_told_and_tried_again(counted, tmp_path, monkeypatch):
    """Regression: a worker that is killed breaks its pool: every row that it cost says so, the
    others are kept, and the next run makes up for it.
    """
    stub, file = sweeping.figures, tmp_path / "s.csv"
    monkeypatch.setattr(sweeping, "figures", lambda *_: os._exit(9))
    with forked(1) as pool:
        rows = sweep(SMALL, {"tilt": AXES["tilt"]}, file=file, executor=pool)
    assert [r["refused"][:17] for r in rows] == ["BrokenProcessPool"] * 3
    monkeypatch.setattr(sweeping, "figures", stub)
    assert [r["refused"] for r in sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)] == [""] * 3


def test_a_worker_of_another_version_is_told(counted, monkeypatch):
    """Behavior: rows of a worker with other code are not mixed in."""
    versions = iter(["here", "here", "there"] * 9)
    monkeypatch.setattr(sweeping, "package", lambda: next(versions))
    with ThreadPoolExecutor(1) as pool:
        (row,) = sweep(SMALL, {"tilt": {"a": {}}}, executor=pool)
    assert "another version of the package" in row["refused"] and not counted


def test_any_words_come_back_as_they_were(counted, tmp_path):
    """Behavior: words that would be a formula, lines, numbers: the row has them as they were, the
    file has them as text on one line.
    """
    axes = {
        "=a": {"=1+1": {}, "two\nlines": {}, "\u2028": {}, "-3.2": {}, "x" * 20_000: {}},
        7: {1: {}, None: {}},
    }
    rows = sweep(SMALL, axes, file=tmp_path / "s.csv")
    assert [(r["=a"], r[7]) for r in rows] == [(a, n) for a in axes["=a"] for n in axes[7]]
    assert sweep(SMALL, axes, file=tmp_path / "s.csv") == rows and len(counted) == 10
    text = (tmp_path / "s.csv").read_text("utf-8")
    assert text.startswith("'=a,7,key") and "\n'=1+1,1," in text and "\n-3.2,1," in text
    assert len(text.split("\n")) == 12


@pytest.mark.parametrize(
    "edit, message",
    [
        (
            lambda t: t.replace(",misses,", ",misses,x", 1),
            r"^s\.csv, line 2: met = 'x\d+' is not a n",
        ),
        (
            lambda t: re.sub(r"\d+\.\d+\n", "1e999\n", t),
            r"^s\.csv, line 2: .* = '1e999' is not a num",
        ),
        (
            lambda t: re.sub(r"\d+\.\d+\n", "nan\n", t),
            r"^s\.csv, line 2: .* = 'nan' is not a number",
        ),
        (
            lambda t: t.replace(",misses,", ",misses," + "9" * 5000, 1),
            r"^s\.csv, line 2: met = '9+' is",
        ),
        (
            lambda t: t.replace(",misses,", ",fine,", 1),
            r"^s\.csv, line 2: verdict = 'fine' is none of",
        ),
        (lambda t: t.replace("35 deg,", '"35 deg,', 1), r"^s\.csv, line 3: is not a row of CSV"),
        (lambda t: t.replace("35 deg,", "35 deg,,", 1), r"^s\.csv, line 3: has \d+ values where"),
        (lambda t: t.replace("35 deg", "x" * 20_000, 1), r"^s\.csv, line 3: a cell is longer than"),
        (lambda t: "no table", r"^s\.csv holds another table\."),
    ],
)
def test_a_damaged_table_is_refused(counted, tmp_path, edit, message):
    """Regression: one line that names the file and the line; the file stays as it is."""
    file = tmp_path / "s.csv"
    sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)
    damaged = edit(file.read_text("utf-8"))
    file.write_text(damaged, encoding="utf-8")
    with pytest.raises(ValueError, match=message) as refused:
        sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)
    assert str(refused.value).isprintable() and len(str(refused.value)) < 200
    assert file.read_text("utf-8") == damaged and len([*tmp_path.iterdir()]) == 1


@pytest.mark.parametrize(
    "change, message",
    [
        (dict(axes={"tilt": [20, 30]}), r"^axes must be a dict of choices by axis"),
        (dict(axes=[TILT]), r"^axes must be a dict of choices by axis"),
        (dict(axes={"tilt": {"20 deg": 20.0}}), r"^axes: choice '20 deg' of 'tilt' must be a dict"),
        (
            dict(scenario="dovecote.toml"),
            r"^scenario = .* is no Scenario\. Give what",
        ),
        (dict(prices="mine.csv"), r"^prices must be a price book, as read_prices gives it\.$"),
        (dict(executor=2), r"^executor must be one of concurrent\.futures"),
        (dict(room=None), r"^room = None is unknown\."),
        (dict(file=3), r"^table of a sweep: 3 is no name of a file\.$"),
        (dict(file=ROOT), r": is no ordinary file, so it is no table of a sweep\.$"),
    ],
)
def test_wrong_arguments_are_refused(change, message):
    """Regression: one line for anything that a script can give it."""
    given = dict(scenario=SMALL, axes=AXES) | change
    with pytest.raises(ValueError, match=message):
        sweep(given.pop("scenario"), given.pop("axes"), **given)


def test_a_function_that_gives_no_scenario_is_a_row():
    """Regression: the row says so."""
    (row,) = sweep(SMALL, {"layout": {"none": lambda s: None}})
    assert row["refused"] == "a choice gives NoneType, where it must give a scenario."


# ---- faults while it writes

FAULTY = """
import os, resource, sys
from pathlib import Path
from gymtools import load
from gymtools.design import sweeping
scenario, file, count, fault = load(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
row = sweeping.Row(verdict="meets", met=1, close=0, checks=2, penalty=0.5, cost=1.5)
sweeping.figures = lambda *_: sweeping.Row(row)
axes = {"n": {f"{n} of many": {} for n in range(count)}}
sweeping.sweep(scenario, {"n": {"0": {}}})
if fault == "full":
    limit = int(sys.argv[5])
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
if fault == "read-only" and os.getuid() == 0:
    os.setuid(65534)
try:
    sweeping.sweep(scenario, axes, file=file, progress=lambda done, _: print(done, flush=True))
except OSError as error:
    print("refused:", error)
"""


@pytest.fixture
def faulty(tmp_path, monkeypatch):
    """Runs a sweep of quick rows in a process of its own, with a fault; then what a next run finds
    of it.
    """
    scenario = tmp_path / "school.toml"
    save(SMALL, scenario)
    script = tmp_path / "faulty.py"
    script.write_text(FAULTY, encoding="utf-8")

    def run(file, count, fault, *more):
        words = [sys.executable, script, scenario, file, count, fault, *more]
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        return subprocess.Popen([*map(str, words)], stdout=subprocess.PIPE, text=True, env=env)

    def resumed(file, count):
        row, asked = Row(verdict="meets", met=1, close=0, checks=2, penalty=0.5, cost=1.5), []
        monkeypatch.setattr(sweeping, "figures", lambda *_: asked.append(1) or Row(row))
        axes = {"n": {f"{n} of many": {} for n in range(count)}}
        rows = sweep(load(scenario), axes, file=file)
        assert len(rows) == count and all(r | row == r for r in rows)
        assert len(file.read_text("utf-8").split("\n")) == count + 2
        return len(asked)

    return run, resumed


def test_a_killed_sweep_has_every_row_that_it_told_of(faulty, tmp_path):
    """Behavior: killed while it writes: the next run does only what is missing."""
    run, resumed = faulty
    job = run(tmp_path / "s.csv", 600, "none")
    told = [int(job.stdout.readline()) for _ in range(200)]
    job.kill()
    told += [int(line) for line in job.stdout.read().split()]
    job.wait(60)
    assert len(told) - 3 <= 600 - resumed(tmp_path / "s.csv", 600) <= 600


@pytest.mark.parametrize("spare", [1, 60, 200, 5000])
def test_a_full_disk_costs_no_whole_row(faulty, tmp_path, spare):
    """Behavior: a size limit in the middle of a row, or of the first: one line, and whatever was
    written whole is used by the next run.
    """
    run, resumed = faulty
    file = tmp_path / "s.csv"
    out, _ = run(file, 100, "full", spare).communicate(timeout=60)
    assert "refused:" in out.splitlines()[-1]
    assert not list(tmp_path.glob("*.unfinished"))
    told = len(out.splitlines()) - 1
    assert resumed(file, 100) == 100 - told


def test_a_table_that_cannot_be_mended_is_left_whole(faulty, tmp_path):
    """Behavior: the disk is full while a table is written anew: the old one is there as it was."""
    run, resumed = faulty
    file = tmp_path / "s.csv"
    run(file, 100, "none").communicate(timeout=60)
    with file.open("a", encoding="utf-8") as cut:
        cut.write("99 of many,012")
    before = file.read_bytes()
    out, _ = run(file, 120, "full", 600).communicate(timeout=60)
    assert out.startswith("refused:") and file.read_bytes() == before
    assert not list(tmp_path.glob("*.unfinished")) and resumed(file, 120) == 20


def test_a_folder_that_may_not_be_written_is_one_line(faulty):
    """Behavior: what is there stays; nothing is left beside it."""
    run, resumed = faulty
    with tempfile.TemporaryDirectory() as name:
        folder, file = Path(name), Path(name) / "s.csv"
        folder.chmod(0o755)
        run(file, 3, "none").communicate(timeout=60)
        before = file.read_bytes()
        folder.chmod(0o555)
        file.chmod(0o444)
        out, _ = run(file, 5, "read-only").communicate(timeout=60)
        assert out.splitlines()[-1].startswith("refused:") and file.read_bytes() == before
        folder.chmod(0o755)
        assert [p.name for p in folder.iterdir()] == ["s.csv"]


def test_a_link_stays_a_link_and_permissions_stay(counted, tmp_path):
    """Regression: the table that a link points to is written, with the permissions it has."""
    (tmp_path / "there").mkdir()
    real, link = tmp_path / "there" / "real.csv", tmp_path / "s.csv"
    link.symlink_to(real)
    rows = sweep(SMALL, {"tilt": AXES["tilt"]}, file=link)
    real.chmod(0o640)
    with real.open("a", encoding="utf-8") as cut:
        cut.write("35 deg,01")
    assert sweep(SMALL, {"tilt": AXES["tilt"]}, file=link) == rows and len(counted) == 3
    assert link.is_symlink() and real.stat().st_mode & 0o777 == 0o640
    assert len(real.read_text("utf-8").splitlines()) == 4
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s.csv", "there"]


def test_a_table_is_mended_by_the_one_writer(counted, tmp_path):
    """Regression: a file or a link of the user's that lies beside the table under another name is
    left alone, and a table that is read-only is refused.
    """
    file, mine = tmp_path / "s.csv", tmp_path / "mine.txt"
    mine.write_text("my own")
    (tmp_path / "s.csv.part").symlink_to(mine)
    rows = sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)
    assert mine.read_text() == "my own" and (tmp_path / "s.csv.part").is_symlink()
    with file.open("a", encoding="utf-8") as cut:
        cut.write("35 deg,01")
    before = file.read_bytes()
    file.chmod(0o444)
    with pytest.raises(OSError, match=r"^s\.csv cannot be written: the file is read-only\.$"):
        sweep(SMALL, {"tilt": AXES["tilt"]}, file=file)
    assert file.read_bytes() == before
    file.chmod(0o644)
    assert sweep(SMALL, {"tilt": AXES["tilt"]}, file=file) == rows
    assert mine.read_text() == "my own" and not list(tmp_path.glob("*.unfinished"))


def test_former_columns_of_a_row_are_found():
    """Behavior: a script that asks a row for a former column gets the present one, and is told."""
    row = Row({"met": 3, "game: sti": 0.5})
    with pytest.warns(FutureWarning, match=r"^column 'hold' is now 'met'\.$"):
        assert row["hold"] == 3
    with pytest.warns(FutureWarning, match=r"is now 'game: sti'"):
        assert row["game: STI"] == 0.5
    with pytest.warns(FutureWarning, match=r"^column 'hold' is now 'met'\.$"):
        assert row.get("hold") == 3
    assert row.get("cost") is None and row.get("cost", 5) == 5
    with pytest.raises(KeyError, match="cost"):
        row["cost"]
