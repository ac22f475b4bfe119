"""Many variations of a design evaluated one after the other or all over a cluster, with results
that survive an interruption.
"""

import csv
import hashlib
import os
from concurrent.futures import FIRST_COMPLETED, wait
from itertools import islice, product
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from ..acoustics.criteria import worst_word
from ..acoustics.evaluate import ROOMS, evaluate
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..venue.paths import changed
from ..venue.quantity import file_fields
from .weights import Weights, penalty

AHEAD = 64  # variations that are handed out before the first of them is back
# columns before those of the uses
FIXED = ("key", "refused", "verdict", "hold", "of", "penalty", "cost")
# of every use, its weakest area or microphone
FIGURES = ("STI", "evenness [dB]", "spare gain [dB]", "onto people [%]", "loudest [dB(A)]")


def variations(scenario, axes):
    """All combinations of what may be chosen on several axes.

    Parameters
    ----------
    scenario : Scenario
        What is varied [-]
    axes : dict
        By the name of an axis: choices by their words; a choice is a dict of changes (as for
        ``venue.paths.changed``) or a function from a scenario to a scenario, e.g. ``lambda s:
        arrange(s, "rows")`` [-]

    Returns
    -------
    variations : iterator of tuple
        (words by axis, Scenario, or the refusal as text where a combination cannot be)
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
        One design [-]
    room : str
        As for ``evaluate`` [-]
    prices : PriceBook, optional
        The package's invented one when left out [-]

    Returns
    -------
    row : dict
        Worst verdict, how many hold, score, cost, and for every use the figures of its weakest area
        or microphone
    """
    results = {u.name: evaluate(scenario, u.name, room=room) for u in scenario.uses}
    verdicts = [v for r in results.values() for v in r.verdicts]
    row = dict(
        verdict=worst_word(v.word for v in verdicts),
        hold=sum(v.word == "meets" for v in verdicts),
        of=len(verdicts),
        penalty=float(np.mean([penalty(r, Weights()) for r in results.values()])),
        cost=cost(scenario, prices, system=amplify(scenario, results, prices=prices)),
    )
    for name, r in results.items():
        onto = next(v.value for v in r.verdicts if v.criterion == "on_listeners")
        loudest = next(v.value for v in r.verdicts if v.criterion == "loudest")
        values = (
            r.worst_sti,
            r.worst_coverage_range_db,
            r.worst_feedback_margin_db,
            onto,
            loudest,
        )
        row |= {f"{name}: {figure}": value for figure, value in zip(FIGURES, values, strict=True)}
    return row


def _one(words, made, key, room, prices):
    """One variation, never an exception: what refuses or fails says so in its row."""
    row = {**words, "key": key, "refused": ""}
    if isinstance(made, str):
        return {**row, "refused": made}
    try:
        return {**row, **figures(made, room, prices)}
    except Exception as error:  # one failure must not end thousands of others
        return {**row, "refused": f"{type(error).__name__}: {error}"}


def _alone(*job):
    """One variation on one core: workers that each use all cores are slower together than one of
    them.
    """
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
        What is varied [-]
    axes : dict
        As for ``variations`` [-]
    file : str or Path, optional
        CSV file to which each row goes as soon as it is there; rows found in it are not evaluated
        again [-]
    executor : concurrent.futures.Executor, optional
        Where the work is done: a process pool, or a cluster's; here, one after the other, when left
        out [-]
    room : str
        As for ``evaluate`` [-]
    prices : PriceBook, optional
        The package's invented one when left out [-]
    progress : callable, optional
        Called with (rows done, rows in all) [-]
    stop : callable, optional
        When it answers true no more is begun, and what is done is returned [-]

    Returns
    -------
    rows : list of dict
        One for each combination, in their order; ``refused`` says why where a combination cannot be
    """
    if room not in ROOMS:
        raise ValueError(f"room = {room!r} is unknown. Known: {', '.join(ROOMS)}.")
    if not axes or not all(axes.values()):
        raise ValueError("axes: give at least one axis, and at least one choice on each.")
    columns = [*axes, *FIXED, *(f"{u.name}: {figure}" for u in scenario.uses for figure in FIGURES)]
    if len(set(columns)) < len(columns):
        raise ValueError(f"axes: a name is taken. Give axes other names than {', '.join(FIXED)}.")
    found = {} if file is None else _known(Path(file), columns)
    count = int(np.prod([len(choices) for choices in axes.values()]))
    order, done, progress, stop = [], 0, progress or (lambda *_: None), stop or (lambda: False)
    with _Log(file, columns) as log:

        def missing():
            for words, made in variations(scenario, axes):
                key = _key(words, made, room, prices)
                order.append(key)
                if key in found:
                    step()
                else:
                    yield words, made, key, room, prices

        def step():  # rows of other sweeps in the same file do not count
            nonlocal done
            done += 1
            progress(done, count)

        def keep(row):
            found[row["key"]] = row
            log.add(row)
            step()

        if executor is None:
            for job in missing():
                if stop():
                    break
                keep(_one(*job))
        else:
            _all(executor, missing(), keep, stop)
    return [found[key] for key in order if key in found]


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
    """Rows of an earlier run by key; a row that was cut off in the middle is dropped, another table
    is refused.
    """
    if not path.exists():
        return {}
    # what follows the last line end was cut off
    whole = path.read_text(encoding="utf-8").split("\n")[:-1]
    reader = csv.DictReader(whole)
    rows = [row for row in reader if None not in row and None not in row.values()]
    if reader.fieldnames and reader.fieldnames != columns:
        raise ValueError(f"{path.name} holds another table. Give another file, or remove it.")
    return {row["key"]: _numbers(row, columns) for row in rows}


def _numbers(row, columns):
    """A row as it was before it was written."""
    texts = {*columns[: columns.index("key")], "key", "refused", "verdict"}

    def value(k, v):
        return v if k in texts else None if v == "" else int(v) if k in ("hold", "of") else float(v)

    kept = {k: value(k, v) for k, v in row.items()}
    return (
        {k: kept[k] for k in (*columns[: columns.index("verdict")],)} if kept["refused"] else kept
    )


class _Log:
    """A table on disk that grows by whole rows; what was cut off by an interruption is mended
    first.
    """

    def __init__(self, file, columns):
        self.path, self.columns, self.file = None if file is None else Path(file), columns, None

    def __enter__(self):
        if self.path is not None:
            whole = list(_known(self.path, self.columns).values())
            beside = self.path.with_name(self.path.name + ".part")
            with beside.open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, self.columns, lineterminator="\n")
                writer.writeheader()
                writer.writerows(whole)
            os.replace(beside, self.path)
            self.file = self.path.open("a", encoding="utf-8", newline="")
            self.writer = csv.DictWriter(self.file, self.columns, lineterminator="\n")
        return self

    def add(self, row):
        """Write one row through to the disk."""
        if self.file is not None:
            self.writer.writerow(row)
            self.file.flush()

    def __exit__(self, *_):
        if self.file is not None:
            self.file.close()
