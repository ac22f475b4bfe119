"""Several loudspeakers: delay for a lead, notches of a comb, copies that are no echo yet."""

import numpy as np

from ...physics.air import speed_of_sound
from ...physics.arrivals import (
    HAAS_DB,
    HAAS_S,
    delay_for_lead,
    haas_limit_db,
    notch_frequencies,
)
from ...venue.typed_values import to_fahrenheit
from ...venue.units import FOOT, in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

MIDDLE = slice(2, 6)  # octaves around 500 Hz to 4 kHz
NEARER_M = 0.5  # by how much the helpers are nearer to a seat that needs their delay [m]


def delay(lead_m=25.0, helper_m=10.0, lead_ms=10.0, temperature_c=20.0, whole=False, units="ft"):
    """Delay of a loudspeaker that helps a farther one.

    Parameters
    ----------
    lead_m, helper_m : float
        From the lead and from its helper to the seat [m]
    lead_ms : float
        By how much the lead is to be heard first [ms]
    temperature_c : float
        Of the air [degC]
    whole : bool
        Whether the distances are taken to the whole foot or half meter
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In milliseconds
    """
    if whole:
        lead_m, helper_m = round_length(lead_m, units), round_length(helper_m, units)
    c = float(speed_of_sound(temperature_c))
    apart = lead_m - helper_m
    held = 1000 * float(delay_for_lead(apart, lead_s=lead_ms / 1000, speed_of_sound=c))
    travel = 1000 * apart / c
    far, near, speed = _shown((lead_m, 2), (helper_m, 2), (c, 1), units=units)
    way = round(far - near, 2)
    passed = round(1000 * way / speed, 2)
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
            Step(f"Difference of the distances: {far:.2f} − {near:.2f}", way, units, 2),
            Step(f"Time for that: 1000 · {way:.2f} / {speed:.1f}", passed, "ms", 2, 0.2),
            Step(f"With the lead: {passed:.2f} + {lead_ms:g}", held, "ms"),
        ),
        note="Without a delay the voice seems to come from the nearer loudspeaker.",
    )


def notch(farther_m=0.6, temperature_c=20.0, whole=False, units="ft"):
    """Lowest frequency that two equal loudspeakers cancel at a seat.

    Parameters
    ----------
    farther_m : float
        By how much one is farther away than the other [m]
    temperature_c : float
        Of the air [degC]
    whole : bool
        Whether the distance is taken to the half foot or to five centimeters
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In hertz
    """
    if whole:
        farther_m = round_length(farther_m, units, FOOT / 2, 0.05)
    c = float(speed_of_sound(temperature_c))
    lowest = float(notch_frequencies(farther_m / c, 1)[0])
    way, speed = _shown((farther_m, 2), (c, 1), units=units)
    lag = round(1000 * way / speed, 3)
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
            Step(f"Later by: 1000 · {way:.2f} / {speed:.1f}", lag, "ms", 3, 0.01 * lag),
            Step(f"That is half a period. A period: 2 · {lag:.3f}", 2 * lag, "ms", 3, 0.02 * lag),
            Step(f"Periods in a second: 1000 / {2 * lag:.3f}", lowest, "Hz", 0, 0.01 * lowest),
        ),
        note=f"It cancels again at {3 * lowest:,.0f} Hz. It adds at {2 * lowest:,.0f} Hz.",
    )


def copy(late_ms=80.0, first_db=70.0):
    """How loud a late copy of speech may be before it is heard as an echo.

    Parameters
    ----------
    late_ms : float
        After the first arrival, 36 to 94 [ms]
    first_db : float
        Level of the first arrival [dB]

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        The copy comes at another time
    """
    if not 36 <= late_ms <= 94:
        raise ValueError(f"{late_ms:g} ms late: the limit changes between 35 and 95 ms.")
    limit = float(haas_limit_db(late_ms / 1000))
    n = int(np.searchsorted(HAAS_S, late_ms / 1000))
    (high, low), most = HAAS_DB[n - 1 : n + 1], first_db + limit
    return Problem(
        words=(
            f"A seat hears speech at {first_db:g} dB, and a copy of it {late_ms:g} ms later. Up to"
            " 35 ms late, a copy merges with the first sound while it is at most 10 dB louder. At"
            " 50 ms it must be 10 dB softer, at 95 ms 20 dB softer. Between these, the limit"
            " follows straight lines. How loud may the copy be at most and not be an echo?"
        ),
        unit="dB",
        answer=most,
        near=0.5,
        low=0,
        high=150,
        hint=(
            "Between which two times does the copy come? Find how much of the way from one to the"
            " other has passed. The limit has changed by as much of its way."
        ),
        slips=_far_enough(
            most,
            0.5,
            Slip(first_db - limit, "Softer or louder than the first? The sign is turned round."),
            Slip(first_db + high, "That is the limit at the earlier of the two times."),
            Slip(first_db + low, "That is the limit at the later of the two times."),
        ),
        steps=_copy_steps(
            late_ms, first_db, (1000 * HAAS_S[n - 1 : n + 1], HAAS_DB[n - 1 : n + 1])
        ),
        note="This limit is for speech that arrives twice, without a room around it.",
    )


def _copy_steps(late_ms, first_db, between):
    """How the limit is worked between two times [ms] and their limits [dB]."""
    (begin, end), (high, low) = between
    share = round((late_ms - begin) / (end - begin), 3)
    re_first = round(high - (high - low) * share, 2)
    most = first_db + float(haas_limit_db(late_ms / 1000))
    return (
        Step(
            f"Share of the way from {begin:.0f} to {end:.0f} ms: ({late_ms:g} − {begin:.0f}) /"
            f" ({end:.0f} − {begin:.0f})",
            share,
            "",
            3,
            0.01,
        ),
        Step(
            f"Limit re the first: {_minus(high)} − {high - low:g} · {share:.3f}",
            re_first,
            "dB",
            2,
            0.1,
        ),
        Step(
            f"Limit at this seat: {first_db:g} {'+' if re_first >= 0 else '−'} {abs(re_first):.2f}",
            most,
            "dB",
        ),
    )


def _minus(value):
    """A number with the sign as it is printed."""
    return f"{value:g}".replace("-", "−")


def _far_enough(answer, near, *slips):
    """The slips that an answer nearly right cannot be taken for."""
    return tuple(slip for slip in slips if abs(slip.value - answer) > 2 * near)


def _shown(*lengths, units):
    """Lengths as the page prints them: in its units, to so many digits."""
    return [round(float(to_file(value, "m", units)), digits) for value, digits in lengths]


def _travels(temperature_c, units):
    """Temperature of the air and speed of sound in words, the chosen units first."""
    c = float(speed_of_sound(temperature_c))
    feet = f"{to_file(c, 'm', 'ft'):.1f} ft/s"
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
        whole=True,
    )


EXERCISES = (
    Exercise(
        "arrivals.delay",
        "How long is the helper delayed?",
        problem=delay,
        draw=_draw_delay,
        needs_units=True,
        example=dict(lead_m=30.0, helper_m=12.0, lead_ms=8.0, whole=True),
    ),
    Exercise(
        "arrivals.notch",
        "Which is the lowest frequency that cancels?",
        problem=notch,
        draw=lambda chance: dict(
            farther_m=float(chance.integers(2, 21)) * 0.15,
            temperature_c=float(chance.integers(14, 28)),
            whole=True,
        ),
        needs_units=True,
        example=dict(farther_m=0.9, whole=True),
    ),
    Exercise(
        "arrivals.copy",
        "How loud may a late copy be?",
        problem=copy,
        draw=lambda chance: dict(
            late_ms=float(chance.integers(36, 95)), first_db=float(chance.integers(60, 86))
        ),
        example=dict(late_ms=60.0, first_db=68.0),
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
