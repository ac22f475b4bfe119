"""One setting for all tests: hypothesis looks at the same examples everywhere, so that a failure is
the same everywhere.
"""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")
