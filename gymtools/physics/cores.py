"""How work is shared among the cores of this machine."""

import os
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar

from threadpoolctl import threadpool_limits


def _of_this_process():
    """Cores that this process may run on, where the system says so; fewer where the environment
    limits machine code.
    """
    affinity = getattr(os, "sched_getaffinity", None)
    count = len(affinity(0)) if affinity else os.cpu_count() or 1
    asked = os.environ.get("NUMBA_NUM_THREADS", "")
    return min(count, int(asked)) if asked.isdecimal() and int(asked) else count


HERE = _of_this_process()  # cores that are there [-]
_limit = ContextVar("limit", default=HERE)


def cores():
    """Cores that work may be shared among here.

    Returns
    -------
    count : int
        Those of this process, or one for what has a core of its own [-]
    """
    return _limit.get()


@contextmanager
def one_core():
    """Keep what is computed inside to one core: several workers that each use all cores are slower
    than as many that use one.
    """
    before = _limit.set(1)
    try:
        with threadpool_limits(1):
            yield
    finally:
        _limit.reset(before)


def on_all_cores(work, jobs):
    """Do jobs that do not depend on one another side by side, each on one core.

    Parameters
    ----------
    work : callable
        Called with each job
    jobs : list
        The jobs

    Returns
    -------
    done : iterator
        What each job gives, in their order; whoever stops asking ends the jobs that are not begun
    """
    count = min(cores(), len(jobs))
    if count <= 1:
        yield from map(work, jobs)
        return
    with ThreadPoolExecutor(count, initializer=_limit.set, initargs=(1,)) as pool:
        try:
            yield from pool.map(work, jobs)
        finally:
            pool.shutdown(cancel_futures=True)
