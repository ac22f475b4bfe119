"""Whether machine code can be made here."""

import warnings
from functools import cache


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
