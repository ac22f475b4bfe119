"""How long a level may be heard: the rules for people at work. They are no rule for pupils, who
deserve lower levels.
"""

import numpy as np

from .checks import within

# criterion for 8 h [dB(A)], exchange rate [dB], level from which a period counts and above which
# none is permitted [dB(A)], what it is after
RULES = {
    "niosh": (
        85.0,
        3.0,
        -np.inf,
        np.inf,
        "NIOSH Publication 98-126 (1998): 85 dB(A) for 8 h, half the time for 3 dB more",
    ),
    "osha": (
        90.0,
        5.0,
        80.0,
        115.0,
        (
            "OSHA 29 CFR 1910.95, Table G-16: 90 dB(A) for 8 h, half the time for 5 dB more, none"
            " above 115; periods below 80 dB(A) do not count"
        ),
    ),
}


def permitted_hours(level_dba, rule="niosh"):
    """Hours a day for which a steady level is permitted.

    Parameters
    ----------
    level_dba : float or array
        [dB(A)]
    rule : str
        One of ``RULES`` [-]

    Returns
    -------
    hours : float or ndarray
        8 h at the criterion, halved for every exchange rate above it; 0 where the rule permits
        none, which OSHA does not above 115 dB(A) [h]

    Sources
    -------
    NIOSH 98-126; OSHA 29 CFR 1910.95, Table G-16.
    """
    level_dba = within("level_dba", level_dba, 0, 140, "dB(A)", "No rule permits more than 140 dB.")
    criterion, exchange, _, highest, _ = _rule(rule)
    return np.where(level_dba > highest, 0.0, 8.0 / 2.0 ** ((level_dba - criterion) / exchange))


def dose_pct(level_dba, hours, rule="niosh"):
    """Noise dose of several periods.

    Parameters
    ----------
    level_dba : array
        Of each period [dB(A)]
    hours : array
        Of each period [h]
    rule : str
        One of ``RULES`` [-]

    Returns
    -------
    dose : float
        100 is all that is permitted in a day; infinite with a period of which none is permitted [%]

    Sources
    -------
    OSHA 29 CFR 1910.95, appendix A: D = 100 sum C / T; threshold 80 dB(A) of its hearing
    conservation program (from memory).
    """
    level_dba, hours = np.broadcast_arrays(
        np.asarray(level_dba, float), within("hours", hours, 0, 24, "h")
    )
    counts = (hours > 0) & (level_dba >= _rule(rule)[2])
    permitted = permitted_hours(level_dba, rule)[counts]
    if (permitted == 0).any():
        return float("inf")
    return float(100 * np.sum(hours[counts] / permitted))


def _rule(rule):
    if rule not in RULES:
        raise ValueError(f"rule = {rule!r} is unknown. Known: {', '.join(RULES)}.")
    return RULES[rule]
