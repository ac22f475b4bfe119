"""Which cases of a test are tried every time: the same statement on every school, use or seed takes
minutes, so the usual run takes those that differ most. GYMTOOLS_CASES=all takes every one.
"""

import os

ALL = os.environ.get("GYMTOOLS_CASES") == "all"


def usual(cases, *few):
    """The cases of a run: all of them when that is asked for, else a few of them."""
    cases = list(cases)
    missing = [c for c in few if c not in cases]
    assert few and not missing, missing
    return cases if ALL else list(few)
