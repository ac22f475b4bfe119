"""Many variations of a design, evaluated one after the other or on a cluster, with results that
survive an interruption.
"""

import csv
import hashlib
import os
from concurrent.futures import FIRST_COMPLETED, wait
from itertools import islice, product
from math import prod
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from ..acoustics.criteria import CRITERIA, worst_word
from ..acoustics.evaluate import ROOMS, evaluate
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..venue.paths import changed
from ..venue.quantity import file_fields
from ..venue.renamed import SWEEP, WORDS, warn_outside, warn_renamed
from .weights import Weights, penalty

AHEAD = 64  # variations that are handed out before the first of them is back
# columns before those of the uses: how many of how many checks meet their target
FIXED = ("key", "refused", "verdict", "met", "checks", "penalty", "cost")
COUNTS = ("met", "checks")
# criteria of every use, each in its weakest area or at its weakest microphone
FIGURES = ("sti", "coverage_range", "feedback_margin", "on_listeners", "loudest")


class Row(dict):
    """One row of a sweep by column; columns are also found by their former headings."""

    def __missing__(self, column):
        now = _present(column)
        if now == column:
            raise KeyError(column)
        warn_renamed(f"column '{column}'", f"'{now}'")
        return self[now]

    def get(self, column, default=None):
        """Value of a column, as of a dict.

        Parameters
        ----------
        column : str
            Present or former heading
        default : any
            What is given where there is no such column

        Returns
        -------
        value : any
            As in the table
        """
        try:
            return self[column]
        except KeyError:
            return default


def column(use, criterion):
    """Heading of a figure in a sweep's table.

    Parameters
    ----------
    use : str
        Name of a use
    criterion : str
        One of ``FIGURES``

    Returns
    -------
    heading : str
        E.g. "game: feedback_margin [dB]": by the key, since labels may change and tables last
    """
    unit = CRITERIA[criterion].unit
    return f"{use}: {criterion}{f' [{unit}]' if unit else ''}"


def variations(scenario, axes):
    """All combinations of what may be chosen on several axes.

    Parameters
    ----------
    scenario : Scenario
        What is varied
    axes : dict
        By the name of an axis: choices by their words; a choice is a dict of changes (as for
        ``venue.paths.changed``) or a function from a scenario to a scenario, e.g. ``lambda s:
        arrange(s, "pendants")``

    Returns
    -------
    variations : iterator of tuple
        (words by axis, Scenario, or the refusal as text where a combination cannot be built)
    """
    for combination in product(*(choices.items() for choices in axes.values())):
        words = {axis: word for axis, (word, _) in zip(axes, combination, strict=True)}
        try:
            made = scenario
            for _, choice in combination:
                made = choice(made) if callable(choice) else changed(made, choice)
        except ValueError as error:
            made = str(error)
        yield words, made


def figures(scenario, room="statistical", prices=None):
    """Headline figures of a scenario over all its uses.

    Parameters
    ----------
    scenario : Scenario
        One design
    room : str
        As for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out

    Returns
    -------
    row : Row
        Worst verdict, how many of how many checks meet their target, penalty, cost, and for every
        use the figures of its weakest area or microphone; None where there is nothing to judge

    Raises
    ------
    ValueError
        The room is unknown, or the price book lacks a price
    """
    results = {u.name: evaluate(scenario, u.name, room=room) for u in scenario.uses}
    verdicts = [v for r in results.values() for v in r.verdicts]
    row = Row(
        verdict=worst_word(v.word for v in verdicts),
        met=sum(v.meets for v in verdicts),
        checks=len(verdicts),
        penalty=float(np.mean([penalty(r, Weights()) for r in results.values()])),
        cost=cost(scenario, prices, amplification=amplify(scenario, results, prices=prices)),
    )
    for name, result in results.items():
        row.update({column(name, key): _weakest(result, key) for key in FIGURES})
    return row


def _weakest(result, criterion):
    """Value of a criterion where it is worst; None where it has no verdict."""
    values = [float(v.value) for v in result.verdicts if v.criterion == criterion]
    worst = min if CRITERIA[criterion].better > 0 else max
    return worst(values, default=None)


def _one(words, made, key, room, prices):
    """One variation, never an exception: what refuses or fails says so in its row."""
    row = Row(words, key=key, refused="")
    if isinstance(made, str):
        return Row(row, refused=made)
    try:
        return Row(row, **figures(made, room, prices))
    except Exception as error:  # one failure must not end thousands of others
        return Row(row, refused=f"{type(error).__name__}: {error}")


def _alone(*job):
    """One variation on one core: several workers that each use all cores are slower than one."""
    with threadpool_limits(1):
        return _one(*job)


def sweep(
    scenario,
    axes,
    *,
    file=None,
    executor=None,
    room="statistical",
    prices=None,
    progress=None,
    stop=None,
):
    """Evaluate all combinations of several choices, all uses of each.

    Parameters
    ----------
    scenario : Scenario
        What is varied
    axes : dict
        As for ``variations``
    file : str or Path, optional
        CSV file to which each row goes as soon as it is there; rows found in it are not evaluated
        again
    executor : concurrent.futures.Executor, optional
        Where the work is done: a process pool, or a cluster's; here, one after the other, when left
        out
    room : str
        As for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out
    progress : callable, optional
        Called with (rows done, rows in all)
    stop : callable, optional
        When it answers true no more is begun, and what is done is returned

    Returns
    -------
    rows : list of Row
        One for each combination, in their order; ``refused`` says why a combination cannot be built

    Raises
    ------
    ValueError
        An unknown room; no choices, or an axis named like another column; a file that holds
        another table
    """
    if room not in ROOMS:
        raise ValueError(f"room = {room!r} is unknown. Known: {', '.join(ROOMS)}.")
    if not axes or not all(axes.values()):
        raise ValueError("axes: give at least one axis, and at least one choice on each.")
    columns = [*axes, *FIXED, *(column(u.name, key) for u in scenario.uses for key in FIGURES)]
    if len(set(columns)) < len(columns):
        raise ValueError(f"axes: a name is taken. Give axes other names than {', '.join(FIXED)}.")
    jobs = (
        (words, made, _key(words, made, room, prices), room, prices)
        for words, made in variations(scenario, axes)
    )
    with _Log(file, columns) as log:
        run = _Run(log, prod(map(len, axes.values())), progress or (lambda *_: None))
        missing, stop = run.missing(jobs), stop or (lambda: False)
        if executor is None:
            for job in missing:
                if stop():
                    break
                run.keep(_one(*job))
        else:
            _all(executor, missing, run.keep, stop)
        return run.rows


class _Run:
    """Rows of one sweep in the order of its jobs, as they come in."""

    def __init__(self, log, count, progress):
        self.log, self.count, self.progress = log, count, progress
        self.keys, self.done = [], 0

    def missing(self, jobs):
        """Jobs whose rows are not there yet."""
        for job in jobs:
            key = job[2]
            self.keys.append(key)
            if key in self.log.rows:
                self._count()
            else:
                yield job

    def keep(self, row):
        """Add a row to the table."""
        self.log.add(row)
        self._count()

    def _count(self):
        """Rows of other sweeps in the same file do not count."""
        self.done += 1
        self.progress(self.done, self.count)

    @property
    def rows(self):
        """Rows that are there, in the order of the jobs."""
        return [self.log.rows[key] for key in self.keys if key in self.log.rows]


def _all(executor, jobs, keep, stop):
    """Hand out jobs some way ahead, and keep what comes back."""
    pending = {executor.submit(_alone, *job) for job in islice(jobs, AHEAD)}
    while pending:
        done, pending = wait(pending, return_when=FIRST_COMPLETED)
        for future in done:
            keep(future.result())
        if stop():
            for future in pending:
                future.cancel()
            for future in wait(pending).done:
                if not future.cancelled():
                    keep(future.result())
            return
        pending |= {executor.submit(_alone, *job) for job in islice(jobs, len(done))}


def _key(words, made, room, prices):
    """What tells one variation from any other: its words and everything that is evaluated."""
    what = (
        made
        if isinstance(made, str)
        else [(f.name, getattr(made, f.name)) for f in file_fields(made)]
    )
    return hashlib.sha256(
        repr((words, what, room, prices and sorted(prices.prices.items()))).encode()
    ).hexdigest()[:16]


def _known(path, columns):
    """Rows of an earlier run by key, as they were before they were written; a row that was cut off
    in the middle is dropped, another table is refused.
    """
    if not path.exists():
        return {}
    # what follows the last line end was cut off
    whole = path.read_text(encoding="utf-8").split("\n")[:-1]
    reader = csv.DictReader(whole)
    if reader.fieldnames and reader.fieldnames != columns:
        axes = columns.index("key")
        former = reader.fieldnames
        reader.fieldnames = former[:axes] + [_present(heading) for heading in former[axes:]]
        if reader.fieldnames != columns:
            raise ValueError(f"{path.name} holds another table. Give another file, or remove it.")
        warn_outside(
            f"{path.name}: the headings are those of an earlier version. Its rows are kept under"
            " the present ones."
        )
    rows = [row for row in reader if None not in row and None not in row.values()]
    return {row["key"]: _read(row, columns) for row in rows}


def _present(heading):
    """Present heading of a column."""
    use, colon, figure = heading.rpartition(": ")
    return f"{use}{colon}{SWEEP.get(figure, figure)}"


def _read(row, columns):
    """A row with its numbers; of a refused one only what it has."""
    row["verdict"] = WORDS.get(row["verdict"], row["verdict"])
    texts = {*columns[: columns.index("key")], "key", "refused", "verdict"}
    if row["refused"]:
        columns = columns[: columns.index("verdict")]
    return Row({c: row[c] if c in texts else _number(c, row[c]) for c in columns})


def _number(column, text):
    if text == "":
        return None
    return int(text) if column in COUNTS else float(text)


class _Log:
    """Rows by key, and on disk a table that grows by whole rows; what was cut off by an
    interruption is mended first.
    """

    def __init__(self, file, columns):
        self.path, self.columns = None if file is None else Path(file), columns
        self.rows = {} if file is None else _known(self.path, columns)
        self.file = self.writer = None

    def __enter__(self):
        if self.path is not None:
            beside = self.path.with_name(self.path.name + ".part")
            with beside.open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, self.columns, lineterminator="\n")
                writer.writeheader()
                writer.writerows(self.rows.values())
            os.replace(beside, self.path)
            self.file = self.path.open("a", encoding="utf-8", newline="")
            self.writer = csv.DictWriter(self.file, self.columns, lineterminator="\n")
        return self

    def add(self, row):
        """Keep one row, and write it through to the disk."""
        self.rows[row["key"]] = row
        if self.file is not None:
            self.writer.writerow(row)
            self.file.flush()

    def __exit__(self, *_):
        if self.file is not None:
            self.file.close()
