"""How long a level may be heard: the rules for people at work. They are no rule for students, who
deserve lower levels.
"""

import numpy as np

from .checks import within

# criterion for 8 h [dB(A)], exchange rate [dB], level above which none is permitted [dB(A)], source
RULES = {
    "niosh": (
        85.0,
        3.0,
        np.inf,
        "NIOSH Publication 98-126 (1998): 85 dB(A) for 8 h, half the time for 3 dB more",
    ),
    "osha": (
        90.0,
        5.0,
        115.0,
        (
            "OSHA 29 CFR 1910.95, Table G-16: 90 dB(A) for 8 h, half the time for 5 dB more, none"
            " above 115"
        ),
    ),
}


def permitted_hours(level_dba, rule="niosh"):
    """Hours a day for which a steady level is permitted.

    Parameters
    ----------
    level_dba : float or array
        Steady level, 0 to 140 [dB(A)]
    rule : str
        One of ``RULES``

    Returns
    -------
    hours : float or ndarray
        8 h at the criterion, halved for every exchange rate above it, shape of ``level_dba``; 0
        where the rule permits none: OSHA above 115 dB(A) [h]

    Raises
    ------
    ValueError
        An unknown rule, or a level outside 0 to 140 dB(A)

    Sources
    -------
    NIOSH 98-126; OSHA 29 CFR 1910.95, Table G-16.

    Examples
    --------
    >>> permitted_hours([88.0, 95.0]).round(2).tolist()
    [4.0, 0.79]
    >>> permitted_hours([90.0, 116.0], 'osha').tolist()
    [8.0, 0.0]
    """
    level_dba = within("level_dba", level_dba, 0, 140, "dB(A)", "No rule permits more than 140 dB.")
    criterion, exchange, highest, _ = _rule(rule)
    return np.where(level_dba > highest, 0.0, 8.0 / 2.0 ** ((level_dba - criterion) / exchange))


def _rule(rule):
    if rule not in RULES:
        raise ValueError(f"rule = {rule!r} is unknown. Known: {', '.join(RULES)}.")
    return RULES[rule]
