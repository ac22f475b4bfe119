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
from gymtools.design.sweeping import FIGURES, figures, sweep, variations
from gymtools.venue.files import load
from gymtools.venue.hall import Treatment
from gymtools.venue.scenario import changed

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
SMALL = replace(DOVECOTE, uses=DOVECOTE.uses[:2])
TILT = ("groups", 0, "downtilt_deg")
AXES = {
    "tilt": {f"{t} deg": {TILT: float(t)} for t in (20, 35, 50)},
    "height": {
        "low": {("groups", 0, "height"): 5.0},
        "as it is": {},
        "in the roof": {("groups", 0, "height"): 12.0},
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
        assert row[f"{name}: STI"] == min(a.sti_p10 for a in r.areas)
        assert row[f"{name}: evenness [dB]"] == max(max(a.coverage_range_db) for a in r.areas)
        assert row[f"{name}: spare gain [dB]"] == min(
            float(m.margin_db.min()) for m in r.microphones
        )
        verdicts = [v for u in SMALL.uses for v in evaluate(s, u.name).verdicts]
        assert (row["hold"], row["of"]) == (
            sum(v.word == "meets" for v in verdicts),
            len(verdicts),
        ) and row["refused"] == ""
    assert set(figures(SMALL)) >= {f"{u.name}: {f}" for u in SMALL.uses for f in FIGURES}


def test_progress_counts_this_sweep_only(tmp_path):
    """A file that holds rows of other choices too: what is told ends at this sweep's own number."""
    file, told = tmp_path / "rows.csv", []
    sweep(SMALL, AXES, file=file)
    narrow = {
        "tilt": dict([*AXES["tilt"].items()][:1]),
        "height": {"low": AXES["height"]["low"], "lower": {("groups", 0, "height"): 4.8}},
    }
    sweep(SMALL, narrow, file=file, progress=lambda *what: told.append(what))
    assert told == [(1, 2), (2, 2)]


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
    """Stopped in the middle, the file cut in the middle of a row: the next run evaluates only what
    is missing.
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
        cut.write("35 deg,low,0123456789abcdef,,holds,3")
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
    """With a pool, what is under way when it is stopped is kept too."""
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
    """An error of one variation stands in its row; the others are there."""
    real = sweeping.figures
    monkeypatch.setattr(
        sweeping,
        "figures",
        lambda s, *more: 1 / 0 if s.groups[0].downtilt_deg == 35 else real(s, *more),
    )
    rows = sweep(SMALL, {"tilt": AXES["tilt"]})
    assert [row["refused"] for row in rows] == ["", "ZeroDivisionError: division by zero", ""]


def test_whole_designs_can_be_varied():
    """A choice may be a function: arrangements and treatment; what does not fit says so."""
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
