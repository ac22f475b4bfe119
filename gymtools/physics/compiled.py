"""Whether machine code can be made here, and how its loops share the cores."""

import warnings
from concurrent.futures import ThreadPoolExecutor
from functools import cache

LEAST = 300  # rows that are worth a thread of their own


@cache
def available():
    """Whether numba, which compiles the hot loops, can be loaded on this machine; asked once.

    Returns
    -------
    available : bool
        A warning says why it is not, and that the slower arrays do the work
    """
    return found()


def found():
    """Look whether numba can be loaded.

    Returns
    -------
    found : bool
        As ``available``
    """
    try:
        import numba  # noqa: F401
    except Exception as error:  # it fails in many ways where it does not fit the machine
        warnings.warn(
            f"no machine code here, the work is done in slower arrays: {error}",
            RuntimeWarning,
            stacklevel=3,
        )
        return False
    return True


def side_by_side(loop, count, least=LEAST):
    """Run a loop over rows that do not depend on one another, on all cores.

    Parameters
    ----------
    loop : callable
        Called with the first row and the one after the last of each part; lets other threads run
        meanwhile
    count : int
        Number of rows [-]
    least : int
        Rows that are worth a thread of their own [-]

    Notes
    -----
    Every row is worked out alone, so that the same inputs give the same bytes on any number of
    cores.
    """
    parts = min(_cores(), max(1, count // least))
    if parts == 1:
        loop(0, count)
        return
    edges = [count * k // parts for k in range(parts + 1)]
    with ThreadPoolExecutor(parts - 1) as pool:
        others = [pool.submit(loop, *part) for part in zip(edges[1:-1], edges[2:], strict=True)]
        loop(edges[0], edges[1])
        for other in others:
            other.result()


def _cores():
    """Cores that loops may share; without machine code one thread keeps the others waiting."""
    if not available():
        return 1
    from numba import config

    return config.NUMBA_NUM_THREADS
