"""Sweeps: equal to single evaluations wherever they run, refusals in their rows, interruptions that
lose nothing.
"""

import csv
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest

from gymtools.acoustics.evaluate import evaluate
from gymtools.design import sweeping
from gymtools.design.arrangements import arrange
from gymtools.design.sweeping import FIGURES, Row, column, figures, sweep, variations
from gymtools.venue.files import load
from gymtools.venue.hall import Treatment
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
    digit; in the order of the axes.
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
        assert (row["met"], row["checks"], row["refused"]) == (met, len(verdicts), "")
    assert set(figures(SMALL)) >= {column(u.name, key) for u in SMALL.uses for key in FIGURES}


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
    assert figures(quiet)[column(quiet.uses[0].name, "feedback_margin")] is None


def test_progress_counts_this_sweep_only(tmp_path):
    """Behavior: in a file that holds rows of other choices too, progress ends at this sweep's own
    number.
    """
    file, seen = tmp_path / "rows.csv", []
    sweep(SMALL, AXES, file=file)
    narrow = {
        "tilt": dict([*AXES["tilt"].items()][:1]),
        "height": {"low": AXES["height"]["low"], "lower": {("groups", FIRST, "height"): 4.8}},
    }
    sweep(SMALL, narrow, file=file, progress=lambda *what: seen.append(what))
    assert seen == [(1, 2), (2, 2)]


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


def test_an_interruption_loses_nothing(plain, tmp_path, monkeypatch):
    """Behavior: stopped in the middle, the file cut in the middle of a row: the next run evaluates
    only what is missing.
    """
    file, seen = tmp_path / "sweep.csv", []
    first = sweep(
        SMALL,
        AXES,
        file=file,
        progress=lambda done, count: seen.append((done, count)),
        stop=lambda: len(seen) >= 4,
    )
    assert first == plain[:4] and seen == [(n, 9) for n in (1, 2, 3, 4)]
    with file.open("a", encoding="utf-8") as cut:
        cut.write("35 deg,low,0123456789abcdef,,meets,3")
    evaluated, one = [], sweeping._one
    monkeypatch.setattr(
        sweeping, "_one", lambda words, *rest: evaluated.append(words) or one(words, *rest)
    )
    assert sweep(SMALL, AXES, file=file) == plain
    assert len(evaluated) == 5
    evaluated.clear()
    assert sweep(SMALL, AXES, file=file) == plain and not evaluated
    rows = list(csv.DictReader(file.open(encoding="utf-8", newline="")))
    assert len(rows) == 9 and not list(tmp_path.glob("*.part"))


def test_a_stop_keeps_what_was_handed_out(plain, tmp_path):
    """Behavior: with a pool, what is under way when it is stopped is kept too."""
    file, done = tmp_path / "sweep.csv", []
    with ThreadPoolExecutor(2) as pool:
        rows = sweep(
            SMALL,
            AXES,
            file=file,
            executor=pool,
            progress=lambda n, _: done.append(n),
            stop=lambda: len(done) >= 2,
        )
    assert 2 <= len(rows) <= 9 and all(row in plain for row in rows)
    assert len(list(csv.DictReader(file.open(encoding="utf-8", newline="")))) == len(rows)


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


def test_a_table_of_the_first_version_is_resumed(old):
    """Regression: its rows are kept under the present headings, to the last digit, beside the rows
    of the present run; the figures of both are alike. Said once.
    """
    before = list(csv.DictReader(OLD.open(encoding="utf-8", newline="")))
    with pytest.warns(FutureWarning, match="earlier version") as said:
        rows = sweep(SMALL, OLD_AXES, file=old)
    assert [str(w.message) for w in said] == [
        "old-sweep.csv: the headings are those of an earlier version. Its rows are kept under the"
        " present ones."
    ]
    after = list(csv.DictReader(old.open(encoding="utf-8", newline="")))
    kept = {row["key"]: row for row in after}
    assert len(after) == len(before) + len(rows)
    for was in before:
        row = kept[was["key"]]
        assert row["refused"] == was["refused"]
        assert (row["met"], row["checks"], row["penalty"]) == (was["hold"], was["of"], was["score"])
        assert row[column("game", "feedback_margin")] == was["game: spare gain [dB]"]
        assert row["verdict"] == {"falls short": "misses", "": ""}[was["verdict"]]
        (same,) = [r for r in rows if (r["tilt"], r["height"]) == (was["tilt"], was["height"])]
        if not was["refused"]:
            assert float(was["score"]) == pytest.approx(same["penalty"], rel=1e-9)
            assert float(was["class: STI"]) == pytest.approx(same[column("class", "sti")], rel=1e-9)
    assert sweep(SMALL, OLD_AXES, file=old) == rows  # nothing is said or evaluated any more


def test_a_row_of_the_first_version_is_used_where_its_key_is_the_present_one(old, monkeypatch):
    """Behavior: a row whose key is the present one is not evaluated again, and has its numbers."""
    keys = iter([row["key"] for row in csv.DictReader(OLD.open(encoding="utf-8", newline=""))])
    monkeypatch.setattr(sweeping, "_key", lambda *_: next(keys))
    monkeypatch.setattr(sweeping, "_one", lambda *_: 1 / 0)
    with pytest.warns(FutureWarning, match="earlier version"):
        rows = sweep(SMALL, OLD_AXES, file=old)
    assert [(r["met"], r["checks"], r["verdict"]) for r in rows if not r["refused"]] == [
        (18, 28, "misses"),
        (17, 28, "misses"),
    ]
    assert [r["refused"][:11] for r in rows if r["refused"]] == ["cabinet W1 "] * 2


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
