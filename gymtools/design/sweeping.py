"""Many variations of a design, evaluated one after the other or on a cluster, with results that
survive an interruption.
"""

from concurrent.futures import FIRST_COMPLETED, Future, wait
from itertools import islice, product
from math import isfinite, prod

import numpy as np

from ..acoustics.criteria import CRITERIA, worst_word
from ..acoustics.evaluate import ROOMS, evaluate_all
from ..equipment.amplification import amplify
from ..equipment.bill import cost
from ..equipment.prices import PriceBook
from ..physics.cores import one_core
from ..venue.arguments import FROM_LOAD, call_of, kind_of, one_of
from ..venue.paths import changed, check_changes
from ..venue.reading_files import named, one_line
from ..venue.renamed import warn_renamed
from ..venue.scenario import Scenario
from ..venue.texts import short, shown
from .fingerprints import check_package, contents, fingerprint, package, prices_of
from .sweep_table import FIXED, SweepTable, present_heading
from .weights import Weights, penalty

# variations of least penalty that are evaluated again with all rays: these at least, and of a
# hundred those that are not clearly behind the best with few rays
BEST, MOST_AGAIN = 20, 100
# penalties of few rays that lie nearer may stand the other way round with all: twice what they vary
# about those of all, 0.06 to 0.19 in two schools [steps]
CLEARLY = 0.4
AHEAD = 64  # variations that are handed out before the first of them is back
# criteria of every use, each in its weakest area or at its weakest microphone
FIGURES = ("sti", "coverage_range", "feedback_margin", "on_listeners", "loudest")


class Row(dict):
    """One row of a sweep by column; columns are also found by their former headings."""

    def __missing__(self, column):
        now = present_heading(column)
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
    for combination in product(*axes.values()):
        words = dict(zip(axes, combination, strict=True))
        yield words, _combined(scenario, axes, words)


def _combined(scenario, axes, words):
    """The scenario with one choice on every axis, or the refusal as text."""
    try:
        for axis, word in words.items():
            scenario = _chosen(scenario, axes[axis][word])
    except ValueError as error:
        return str(error)
    return scenario


def _chosen(scenario, choice):
    """The scenario after one choice."""
    if not callable(choice):
        return changed(scenario, choice)
    made = choice(scenario)
    if not isinstance(made, Scenario):
        raise ValueError(f"a choice gives {type(made).__name__}, where it must give a scenario.")
    return made


def figures(scenario, room="traced", prices=None, rays="full", *, made=None):
    """Headline figures of a scenario over all its uses.

    Parameters
    ----------
    scenario : Scenario
        One design
    room : str
        As for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out
    rays : str
        As for ``evaluate``
    made : Parts, optional
        Its evaluations with that room and those rays, and what drives it, where they are at hand

    Returns
    -------
    row : Row
        Worst verdict, how many of how many checks meet their target or are close, penalty, cost,
        and for every use the figures of its weakest area or microphone; None where there is nothing
        to judge

    Raises
    ------
    ValueError
        The room is unknown, or the price book lacks a price
    """
    results = made.results if made else evaluate_all(scenario, room=room, rays=rays).results
    system = made.amplification if made else amplify(scenario, results, prices=prices)
    verdicts = [v for r in results.values() for v in r.verdicts]
    row = Row(
        rays=rays if room == "traced" else "",
        verdict=worst_word(v.word for v in verdicts),
        met=sum(v.meets for v in verdicts),
        close=sum(v.word == "close" for v in verdicts),
        checks=len(verdicts),
        penalty=float(np.mean([penalty(r, Weights()) for r in results.values()])),
        cost=sum(x.total for x in made.lines)
        if made
        else cost(scenario, prices, amplification=system),
    )
    for name, result in results.items():
        row.update({column(name, key): _weakest(result, key) for key in FIGURES})
    return row


def _weakest(result, criterion):
    """Value of a criterion where it is worst; None where it has no verdict."""
    values = [float(v.value) for v in result.verdicts if v.criterion == criterion]
    worst = min if CRITERIA[criterion].better > 0 else max
    return worst(values, default=None)


def _one(words, made, key, room, prices, rays):
    """One variation, never an exception: what refuses or fails says so in its row; and whether the
    row is right the next time too.
    """
    row = Row(words, key=key, refused="", rays="")
    if isinstance(made, str):
        return Row(row, refused=one_line(made)), True
    try:
        found = figures(made, room, prices, rays)
    except ValueError as error:
        return Row(row, refused=one_line(error)), True
    except Exception as error:  # one failure must not end thousands of others
        return _failed(words, key, error), False
    wrong = [c for c, v in found.items() if isinstance(v, float) and not isfinite(v)]
    if wrong:
        return Row(row, refused=f"{wrong[0]} is not a number."), True
    return Row(row, **found), True


def _failed(words, key, error):
    """Row of what may well succeed the next time: out of memory, a worker that ended."""
    text = one_line(f"{type(error).__name__}: {error}").strip(": ")
    return Row(words, key=key, refused=text, rays="")


def _alone(version, *job):
    """One variation in a worker."""
    if package() != version:
        raise RuntimeError("a worker has another version of the package or its libraries")
    with one_core():
        return _one(*job)


def sweep(
    scenario,
    axes,
    *,
    file=None,
    executor=None,
    room="traced",
    prices=None,
    progress=None,
    stop=None,
):
    """Evaluate all combinations of several choices, all uses of each: with few rays, and the best
    of them again with all rays.

    Parameters
    ----------
    scenario : Scenario
        What is varied
    axes : dict
        As for ``variations``
    file : str or Path, optional
        CSV file to which each row goes as soon as it is there; rows found in it are not evaluated
        again. Rows of another scenario, measured loudspeaker, price book, room or version of the
        package are moved into a file beside it, evaluated again, and their number is warned of
    executor : concurrent.futures.Executor, optional
        Where the work is done: a process pool, or a cluster's; here, one after the other, when left
        out
    room : str
        As for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out
    progress : callable, optional
        Called with (evaluations of a row done, of those in all)
    stop : callable, optional
        When it answers true no more is begun, and what is done is returned

    Returns
    -------
    rows : list of Row
        One for each combination, in their order; ``rays`` is "full" in the twenty of least penalty
        and, of a hundred, in those that few rays do not put clearly behind the best, "few" in the
        others; ``refused`` says why a combination cannot be built, or what failed. A failure that
        is no refusal (out of memory, a worker that ended) is not written, and tried again the next
        time

    Raises
    ------
    ValueError
        An unknown room; no choices, or an axis named like another column; a file that holds
        another table, or is damaged; a file, where those of the package have changed since it was
        imported
    OSError
        A row could not be written; those before it are whole
    """
    _check(scenario, axes, executor, prices)
    one_of("room", room, ROOMS)
    _check_folder(file)
    progress = call_of("progress", progress, lambda *_: None)
    stop = call_of("stop", stop, lambda: False)
    if not axes or not all(axes.values()):
        raise ValueError("axes: give at least one axis, and at least one choice on each.")
    columns = [*axes, *FIXED, *(column(u.name, key) for u in scenario.uses for key in FIGURES)]
    if len(set(columns)) < len(columns):
        raise ValueError(f"axes: a name is taken. Give axes other names than {', '.join(FIXED)}.")
    if file is not None:
        check_package()
    base = fingerprint((contents(scenario), room, prices_of(prices), package()))
    jobs = (
        (words, made, _key(base, words, made), room, prices, "few")
        for words, made in variations(scenario, axes)
    )
    with SweepTable(file, columns, base) as table:
        count = prod(map(len, axes.values()))
        again = min(BEST, count) if room == "traced" else 0
        run = _Run(table, count + again, progress)
        _work(executor, run.missing(jobs), run.keep, stop)
        # another may be among the best when some of them have all rays
        while (due := run.uncertain) and not stop():
            run.expect(len(due))
            jobs = (
                (words, _combined(scenario, axes, words), key, room, prices, "full")
                for key, words in due
            )
            _work(executor, jobs, run.keep, stop)
        run.end()
        return run.rows


def _work(executor, jobs, keep, stop):
    """Do some jobs here, or where the executor does them."""
    if executor is not None:
        _all(executor, jobs, keep, stop)
        return
    for job in jobs:
        if stop():
            break
        keep(*_one(*job))


def _check(scenario, axes, executor, prices):
    """Refuse what is none of the things that a sweep takes."""
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    _check_axes(axes)
    if executor is not None and not hasattr(executor, "submit"):
        raise ValueError("executor must be one of concurrent.futures, or of a cluster.")
    if prices is not None and not isinstance(prices, PriceBook):
        raise ValueError("prices must be a price book, as read_prices gives it.")


def _check_folder(file):
    """Refuse a table whose folder is not there, before anything is computed."""
    if file is None:
        return
    path = named(file, "table of a sweep")
    try:
        there = path.parent.is_dir()
    except ValueError:  # a zero byte
        there = False
    if not there:
        raise ValueError(f"file = {shown(str(file))}: its folder is not there. Make it first.")


def _check_axes(axes):
    """Refuse axes that are no choices by axis and words."""
    if not isinstance(axes, dict) or not all(isinstance(c, dict) for c in axes.values()):
        raise ValueError(
            "axes must be a dict of choices by axis, each a dict by words:"
            ' {"tilt": {"20 deg": {("groups", "north row", "downtilt_deg"): 20.0}}}.'
        )
    for axis, choices in axes.items():
        for word, choice in choices.items():
            if not callable(choice) and not isinstance(choice, dict):
                raise ValueError(
                    f"axes: choice '{one_line(word)}' of '{one_line(axis)}' must be a dict of"
                    " changes by path, or a function from a scenario to a scenario."
                )
            if isinstance(choice, dict):
                check_changes(
                    f"axes: choice '{short(one_line(word))}' of '{short(one_line(axis))}'", choice
                )


class _Run:
    """Rows of one sweep in the order of its jobs, as they come in."""

    def __init__(self, table, count, progress):
        self.table, self.progress, self.count = table, progress, count  # of evaluations
        self.found, self.words, self.done = {}, {}, 0  # Row and words by key
        self.failed = set()  # keys of what was no refusal
        self.drafts = {}  # penalty with few rays by key

    def missing(self, jobs):
        """Jobs whose rows are not there yet."""
        for job in jobs:
            words, key = job[0], job[2]
            self.words[key] = words
            row = self.table.find(key, words)
            if row is None:
                yield job
            else:
                self._take(key, Row(row | words))
                self._count()

    def keep(self, row, lasting):
        """Add a row, to the table too when it lasts; what fails the second time leaves the row of
        few rays.
        """
        if not lasting:
            self.failed.add(row["key"])
            if row["key"] in self.found:
                return
        self._take(row["key"], row)
        if lasting:
            self.table.add(row)
        self._count()

    def _take(self, key, row):
        self.found[key] = row
        if row.get("rays") == "few" and row.get("penalty") is not None:
            self.drafts[key] = row["penalty"]

    def expect(self, more):
        """Count the evaluations that are still to come, where they are more than planned."""
        self.count = max(self.count, self.done + more)

    def _count(self):
        """Rows of other sweeps in the same file do not count."""
        self.done = min(self.done + 1, self.count)
        self.progress(self.done, self.count)

    @property
    def uncertain(self):
        """Key and words of the rows that are among the best, with few rays only."""
        judged = [r for r in self.found.values() if r.get("penalty") is not None]
        best = sorted(judged, key=lambda r: r["penalty"])[:MOST_AGAIN]
        # few rays find more penalty than all: they are held against few
        limit = CLEARLY + self.drafts.get(best[0]["key"], best[0]["penalty"]) if best else 0.0
        best = [r for n, r in enumerate(best) if n < BEST or r["penalty"] < limit]
        few = [r["key"] for r in best if r["rays"] == "few" and r["key"] not in self.failed]
        return [(key, self.words[key]) for key in few]

    def end(self):
        """Nothing more comes."""
        if len(self.found) == len(self.words) and not self.uncertain:
            self.progress(self.count, self.count)

    @property
    def rows(self):
        """Rows that are there, in the order of the jobs."""
        return [self.found[key] for key in self.words if key in self.found]


def _all(executor, jobs, keep, stop):
    """Hand out jobs some way ahead, and keep what comes back."""
    handed = {}  # job by future

    def hand_out(count):
        for job in islice(jobs, count):
            handed[_submitted(executor, job)] = job

    def take(futures):
        for future in futures:
            job = handed.pop(future)
            if future.cancelled():
                continue
            error = future.exception()
            keep(*((_failed(job[0], job[2], error), False) if error else future.result()))

    hand_out(AHEAD)
    while handed:
        done, _ = wait(handed, return_when=FIRST_COMPLETED)
        take(done)
        if stop():
            for future in handed:
                future.cancel()
            take(wait(handed).done)
            return
        hand_out(len(done))


def _submitted(executor, job):
    """A job under way; one that a broken pool does not take has failed already."""
    try:
        return executor.submit(_alone, package(), *job)
    except Exception as error:
        failed = Future()
        failed.set_exception(error)
        return failed


def _key(base, words, made):
    """What tells one variation from any other: what all have in common, its words, its scenario."""
    what = made if isinstance(made, str) else contents(made)
    return f"{base}-{fingerprint((words, what))}"
