"""Several loudspeakers: delay for a lead, notches of a comb, copies that are echoes."""

import numpy as np

from ...physics.air import speed_of_sound
from ...physics.arrivals import delay_for_lead, haas_limit_db, notch_frequencies
from ...venue.typed_values import to_fahrenheit
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step

MIDDLE = slice(2, 6)  # octaves around 500 Hz to 4 kHz
NEARER_M = 0.5  # by how much the helpers are nearer to a seat that needs their delay [m]
ECHO, MERGES = "an echo of its own", "one voice with the first"


def delay(lead_m=25.0, helper_m=10.0, lead_ms=10.0, temperature_c=20.0, units="ft"):
    """Delay of a loudspeaker that helps a farther one.

    Parameters
    ----------
    lead_m, helper_m : float
        From the lead and from its helper to the seat [m]
    lead_ms : float
        By how much the lead is to be heard first [ms]
    temperature_c : float
        Of the air [degC]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In milliseconds
    """
    c = float(speed_of_sound(temperature_c))
    apart = lead_m - helper_m
    held = 1000 * float(delay_for_lead(apart, lead_s=lead_ms / 1000, speed_of_sound=c))
    travel = 1000 * apart / c
    way, speed = (float(to_file(value, "m", units)) for value in (apart, c))
    return Problem(
        words=(
            f"A seat is {in_words(lead_m, units)} from the lead loudspeaker and"
            f" {in_words(helper_m, units)} from its helper. {_travels(temperature_c, units)} The"
            f" lead is to be heard {lead_ms:g} ms before the helper. How long must the helper be"
            " delayed?"
        ),
        unit="ms",
        answer=held,
        near=1.0,
        low=0,
        high=1000,
        hint="Divide the difference of the distances by the speed of sound. Then add the lead.",
        slips=(
            Slip(travel, "That makes both arrive together. The lead must come first."),
            Slip(
                1000 * lead_m / c + lead_ms,
                "That is the whole way from the lead. The helper's sound travels too.",
            ),
            Slip(travel - lead_ms, "That lets the helper arrive first. Which one must lead?"),
        ),
        steps=(
            Step("Difference of the distances", way, units, 2),
            Step(f"Time for that: 1000 · {way:.2f} / {speed:.1f}", travel, "ms"),
            Step(f"With the lead: {travel:.1f} + {lead_ms:g}", held, "ms"),
        ),
        note="Without a delay the voice seems to come from the nearer loudspeaker.",
    )


def notch(farther_m=0.6, temperature_c=20.0, units="ft"):
    """Lowest frequency that two equal loudspeakers cancel at a seat.

    Parameters
    ----------
    farther_m : float
        By how much one is farther away than the other [m]
    temperature_c : float
        Of the air [degC]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In hertz
    """
    c = float(speed_of_sound(temperature_c))
    lag = farther_m / c
    lowest = float(notch_frequencies(lag, 1)[0])
    way, speed = (float(to_file(value, "m", units)) for value in (farther_m, c))
    return Problem(
        words=(
            "Two equal loudspeakers play the same sound. One is"
            f" {in_words(farther_m, units)} farther from a seat than the other."
            f" {_travels(temperature_c, units)} Which is the lowest frequency that they cancel at"
            " that seat?"
        ),
        unit="Hz",
        answer=lowest,
        near=0.05 * lowest,
        low=0,
        high=20_000,
        digits=0,
        hint="First find by how much one arrives later. It cancels where that is half a period.",
        slips=(
            Slip(
                2 * lowest,
                "There the farther one is a whole period late, so the two add. Half a period"
                " cancels.",
            ),
            Slip(
                lowest / 2,
                "There it is a quarter of a period late. That neither adds fully nor cancels.",
            ),
        ),
        steps=(
            Step(f"Later by: 1000 · {way:.2f} / {speed:.1f}", 1000 * lag, "ms", 2),
            Step(f"Half a period: 1000 / (2 · {1000 * lag:.2f})", lowest, "Hz", 0, 0.01 * lowest),
        ),
        note=f"It cancels again at {3 * lowest:,.0f} Hz. It adds at {2 * lowest:,.0f} Hz.",
    )


def copy(late_ms=80.0, level_db=-3.0):
    """Whether a late copy of speech is heard as an echo.

    Parameters
    ----------
    late_ms : float
        After the first arrival [ms]
    level_db : float
        Re the first arrival [dB]

    Returns
    -------
    problem : Problem
        A choice

    Raises
    ------
    ValueError
        The copy is too near to the limit to tell
    """
    limit = float(haas_limit_db(late_ms / 1000))
    if abs(level_db - limit) < 2:
        raise ValueError("so near to the limit nobody can tell.")
    return Problem(
        words=(
            f"A copy of speech arrives {late_ms:g} ms after the first sound, at {level_db:+g} dB re"
            " the first. What does a listener hear?"
        ),
        answer=ECHO if level_db > limit else MERGES,
        choices=(ECHO, MERGES),
        hint=(
            "Early copies merge even when they are a bit louder. The later a copy comes, the softer"
            " it must be. The formulas below say how soft."
        ),
        steps=(
            Step(f"Loudest that merges, {late_ms:g} ms late, re the first", limit, "dB", 1, 0.5),
            Step("The copy is over that limit by", level_db - limit, "dB"),
        ),
        note="This limit is for speech that arrives twice, without a room around it.",
    )


def _travels(temperature_c, units):
    """Temperature of the air and speed of sound in words, the chosen units first."""
    c = float(speed_of_sound(temperature_c))
    feet = f"{to_file(c, 'm', 'ft'):.0f} ft/s"
    warm = f"{to_fahrenheit(temperature_c):.0f} °F"
    if units == "ft":
        return f"The air is at {warm} ({temperature_c:.1f} °C): sound travels {feet} ({c:.1f} m/s)."
    return f"The air is at {temperature_c:.1f} °C ({warm}): sound travels {c:.1f} m/s ({feet})."


def _draw_delay(chance):
    helper = float(chance.integers(10, 30)) / 2
    return dict(
        helper_m=helper,
        lead_m=helper + float(chance.integers(8, 60)) / 2,
        lead_ms=float(chance.integers(5, 16)),
        temperature_c=float(chance.integers(14, 28)),
    )


EXERCISES = (
    Exercise(
        "arrivals.delay",
        "How long is the helper delayed?",
        problem=delay,
        draw=_draw_delay,
        needs_units=True,
        example=dict(lead_m=30.0, helper_m=12.0, lead_ms=8.0),
    ),
    Exercise(
        "arrivals.notch",
        "Which is the lowest frequency that cancels?",
        problem=notch,
        draw=lambda chance: dict(
            farther_m=float(chance.integers(3, 60)) / 20,
            temperature_c=float(chance.integers(14, 28)),
        ),
        needs_units=True,
        example=dict(farther_m=0.3),
    ),
    Exercise(
        "arrivals.copy",
        "Is a late copy an echo?",
        problem=copy,
        draw=lambda chance: dict(
            late_ms=float(chance.integers(2, 19) * 5), level_db=float(chance.integers(-20, 9))
        ),
        example=dict(late_ms=60.0, level_db=-20.0),
    ),
)


def deciding_seat(result, lead, helper, points):
    """Seat nearer to the helper than to the lead at which both are most alike in level.

    Parameters
    ----------
    result : Result
        An evaluation without delays
    lead, helper : str
        Names of groups
    points : slice
        Seats among the result's points

    Returns
    -------
    seat : int
        Among ``points`` [-]
    ways : tuple of float
        From the nearest loudspeaker of the lead and of the helper to it [m]
    apart : float
        By how much their levels differ there, 500 Hz to 4 kHz [dB]

    Raises
    ------
    ValueError
        No seat is nearer to the helper
    """
    owner = np.array([one.group for one in result.scenario.loudspeakers], object)
    at = {group: owner == group for group in (lead, helper)}
    if not all(result.playing[found].any() for found in at.values()):
        raise ValueError(f"'{lead}' and '{helper}' must both play in '{result.use.name}'.")
    way = [result.distance[at[g]][:, points].min(axis=0) for g in (lead, helper)]
    level = [result.direct[at[g]][:, points, MIDDLE].sum(axis=(0, 2)) for g in (lead, helper)]
    nearer = way[0] - way[1] > NEARER_M
    if not nearer.any():
        raise ValueError(f"no seat is nearer to '{helper}' than to '{lead}': exchange them.")
    apart = np.where(nearer, np.abs(10 * np.log10(level[0] / level[1])), np.inf)
    seat = int(apart.argmin())
    return seat, (float(way[0][seat]), float(way[1][seat])), float(apart[seat])


def lag_ms(result, lead, helper, index):
    """By how much a helper arrives after its lead.

    Parameters
    ----------
    result : Result
        An evaluation
    lead, helper : str
        Names of groups
    index : int
        Which of the result's points [-]

    Returns
    -------
    lag : float
        Negative where the helper comes first [ms]
    """
    owner = np.array([one.group for one in result.scenario.loudspeakers], object)
    first = [result.arrival_s[owner == group, index].min() for group in (lead, helper)]
    return 1000 * float(first[1] - first[0])
