"""Names that scenario files and scripts used before, and what they are called now."""

import sys
import warnings

PACKAGE = __name__.partition(".")[0]

# keys of a scenario file, by the thing that they belong to
KEYS = {
    "Group": {"cabinet": "loudspeaker", "tilt_deg": "downtilt_deg"},
    "Targets": {
        "spread_db": "coverage_range_db",
        "worst_seat_db": "quietest_seat_db",
        "over_noise_db": "speech_to_noise_db",
        "spare_gain_db": "feedback_margin_db",
    },
}


def warn_renamed(old, new):
    """Say once, at the line outside the package that used it, that something is called otherwise.

    Parameters
    ----------
    old : str
        What was written, as a reader would quote it
    new : str
        What to write instead
    """
    level, frame = 1, sys._getframe(0)
    while frame.f_back and frame.f_globals.get("__name__", "").partition(".")[0] == PACKAGE:
        level, frame = level + 1, frame.f_back
    warnings.warn(f"{old} is now {new}.", FutureWarning, stacklevel=level)


def current_key(thing, key):
    """Present name of a key.

    Parameters
    ----------
    thing : type
        What the key belongs to, e.g. ``Group``
    key : str
        Present or former name

    Returns
    -------
    key : str
        Present name; as given when it never had another
    """
    return KEYS.get(thing.__name__, {}).get(key, key)
