"""Whether machine code can be made here, and how its loops share the cores."""

import warnings
from _thread import start_new_thread
from functools import cache
from importlib import import_module
from threading import Condition

from .cores import cores

# modules of this package that hold them
LOOPS = (
    "arrivals_compiled",
    "decay_compiled",
    "direct_compiled",
    "late_modulation_compiled",
    "microphones_compiled",
    "reflections_compiled",
    "screening_compiled",
    "tracing_compiled",
)
LEAST = 300  # rows that are worth a thread of their own
PIECES = 4  # that the rows of a thread come in


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
    """Look whether the compiled loops can be loaded: numba is there, and there is a folder where
    what it makes can be kept.

    Returns
    -------
    found : bool
        As ``available``
    """
    try:
        for name in LOOPS:
            import_module(f".{name}", __package__)
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
    # without machine code one thread keeps the others waiting
    parts = min(cores(), max(1, count // least)) if available() else 1
    if parts == 1:
        loop(0, count)
        return
    edges = [count * k // (PIECES * parts) for k in range(PIECES * parts + 1)]
    shared = _Shared(loop, list(zip(edges, edges[1:], strict=False)))
    for _ in range(parts - 1):
        start_new_thread(shared.work, ())
    shared.work()
    shared.wait()


class _Shared:
    """Pieces of a loop that any thread takes; who finds none left is done, so that nobody waits for
    a thread that a busy machine has not even begun.
    """

    def __init__(self, loop, pieces):
        self.loop, self.left, self.error = loop, len(pieces), None
        self._pieces, self._changed = iter(pieces), Condition()

    def work(self):
        """Take pieces until none is left."""
        while True:
            with self._changed:
                piece = next(self._pieces, None)
            if piece is None:
                return
            error = None
            try:
                self.loop(*piece)
            except BaseException as raised:  # passed on by ``wait``
                error = raised
            with self._changed:
                self.left, self.error = self.left - 1, self.error or error
                self._changed.notify_all()

    def wait(self):
        """Wait for the pieces that are still being worked on."""
        with self._changed:
            self._changed.wait_for(lambda: not self.left)
        if self.error is not None:
            raise self.error
