"""How far a long command is, on standard error."""

import sys
import time

FIRST, EVERY = 3.0, 20.0  # a share is said first after, then every so many seconds [s]


class Progress:
    """One line that is rewritten on a terminal; few lines where nobody rewrites them.

    Parameters
    ----------
    words : str
        What is done, without a full stop; it is said at once
    """

    def __init__(self, words):
        self._words, self._next = words, time.monotonic() + FIRST
        self._rewrites = sys.stderr.isatty()
        print(f"{words} ...", end="" if self._rewrites else "\n", file=sys.stderr, flush=True)

    def __call__(self, share, *_more):
        """Say how much is done.

        Parameters
        ----------
        share : float
            0 to 1 [-]
        """
        line = f"{self._words} ... {100 * share:.0f} %"
        if self._rewrites:
            print(f"\r{line}", end="", file=sys.stderr, flush=True)
        elif time.monotonic() >= self._next and share < 1:
            self._next = time.monotonic() + EVERY
            print(line, file=sys.stderr, flush=True)

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        if self._rewrites:
            print(file=sys.stderr)
