"""Distance and level: spreading, the air, two loudspeakers at one seat."""

import numpy as np

from ...physics.air import attenuation
from ...physics.bands import EXACT, sum_levels
from ...venue.typed_values import to_fahrenheit
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

TOP = -1  # the octave around 8 kHz
KHZ = 3  # the octave around 1 kHz
LEAST_AIR_DB, LEAST_RATIO = 1.3, 1.5  # of a drawn question: less could be forgotten unseen


def quieter(
    front_m=6.0, back_m=24.0, temperature_c=20.0, humidity_pct=30.0, units="ft", whole=False
):
    """How much quieter the back row is in the highest octave.

    Parameters
    ----------
    front_m, back_m : float
        From the loudspeaker, along its axis [m]
    temperature_c : float
        Of the air [degC]
    humidity_pct : float
        Relative [%]
    units : str
        "m" or "ft"
    whole : bool
        Whether distances are rounded as ``round_length``

    Returns
    -------
    problem : Problem
        In decibels
    """
    if whole:
        front_m, back_m = (round_length(value, units) for value in (front_m, back_m))
    alpha = float(attenuation(EXACT, temperature_c=temperature_c, humidity_pct=humidity_pct)[TOP])
    spread, air = 20 * np.log10(back_m / front_m), alpha * (back_m - front_m)
    per_step = alpha * (30.48 if units == "ft" else 30.0)
    hundred = "100 ft" if units == "ft" else "30 m"
    warm = f"{temperature_c:g} °C"
    if units == "ft":
        warm = f"{to_fahrenheit(temperature_c):.0f} °F ({warm})"
    return Problem(
        words=(
            f"The front row is {in_words(front_m, units)} from the loudspeaker, the back row"
            f" {in_words(back_m, units)}. In the octave around 8 kHz, air at"
            f" {warm} and {humidity_pct:g} % humidity takes {per_step:.1f} dB per"
            f" {hundred}. How much quieter is the back row in that octave?"
        ),
        unit="dB",
        answer=float(spread + air),
        near=0.5,
        low=0,
        high=200,
        hint="Two losses add: 20 log of the ratio of the distances, and the air over the rest.",
        slips=(
            Slip(float(spread), "That is the spreading alone. The air takes more."),
            Slip(
                float(spread / 2 + air),
                "That takes 10 log of the distances. Level falls with 20 log.",
            ),
            Slip(float(air), "That is the air alone. Sound also spreads."),
        ),
        steps=_lines(*(to_file(v, "m", units) for v in (front_m, back_m)), per_step, units),
        note="At 1 kHz the air takes so little that nobody counts it in a gym.",
    )


def _lines(front, back, per_step, units):
    """How ``quieter`` is worked, each line from the numbers that the lines before it show."""
    front, back, per_step = (round(float(value), 1) for value in (front, back, per_step))
    per = 100 if units == "ft" else 30
    ratio = round(back / front, 2)
    spread = round(float(20 * np.log10(ratio)), 1)
    rest = round(back - front, 1)
    air = round(rest * per_step / per, 1)
    return (
        Step(f"Ratio of the distances: {back:g} / {front:g}", ratio, "", 2),
        Step(f"Spreading: 20 log {ratio:.2f}", spread, "dB"),
        Step(f"Way through the air: {back:g} − {front:g}", rest, units),
        Step(f"Air over that way: {rest:g} · {per_step:.1f} / {per}", air, "dB"),
        Step(f"Both together: {spread:.1f} + {air:.1f}", spread + air, "dB"),
    )


def louder(loudspeakers=2, before=1):
    """How much louder several equal loudspeakers are than fewer.

    Parameters
    ----------
    loudspeakers : int
        How many, all equally far from the seat [-]
    before : int
        Of how many the level is known, fewer than those [-]

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        There are not more of them than before
    """
    if not loudspeakers > before:
        raise ValueError(f"{loudspeakers} loudspeakers are not more than {before}.")
    together = float(10 * np.log10(loudspeakers / before))
    ratio = round(loudspeakers / before, 2)
    more = loudspeakers - before
    words = (
        f"{loudspeakers} equal loudspeakers are equally far from a seat. How much louder are they"
        " together than one of them?"
    )
    if before > 1:
        words = (
            f"{before} equal loudspeakers are equally far from a seat. You hang {more} more of"
            " them, just as far away. How much louder does it get there?"
        )
    return Problem(
        words=words,
        unit="dB",
        answer=together,
        near=0.25,
        low=-20,
        high=60,
        hint="Energies add. Twice the energy is 3 dB more; ten times is 10 dB more.",
        slips=_count_slips(loudspeakers, before, together),
        steps=(
            Step(f"Energy against before: {loudspeakers} / {before}", ratio, "times", 2),
            Step(f"In decibels: 10 log {ratio:g}", float(10 * np.log10(ratio)), "dB"),
        ),
        note="It is the same whatever the level of one of them is.",
    )


def _count_slips(loudspeakers, before, together):
    """Mistakes of ``louder``; from one to two, 3 dB for each one more are right."""
    slips = [
        Slip(
            2 * together,
            "That is 20 log. It holds only for waves exactly in step, at one seat and pitch.",
        ),
        Slip(0.0, "Each one adds its energy, so together they are louder than before."),
    ]
    if (loudspeakers, before) != (2, 1):
        words = (
            "That is 3 dB for each loudspeaker that is added. Only twice the energy is 3 dB more:"
            " count the ratio."
        )
        slips.append(Slip(3.0 * (loudspeakers - before), words))
    return tuple(slips)


def _draw_quieter(chance):
    """Rows and air of which both losses count: either alone is a mistake that shows."""
    while True:
        front = float(chance.integers(8, 25)) / 2
        back = front + float(chance.integers(12, 50)) / 2
        air = dict(
            temperature_c=float(chance.integers(12, 27)),
            humidity_pct=float(chance.integers(4, 15) * 5),
        )
        alpha = attenuation(EXACT, **air)[TOP]
        if back / front > LEAST_RATIO and alpha * (back - front) > LEAST_AIR_DB:
            return dict(front_m=front, back_m=back, **air, whole=True)


def _draw_louder(chance):
    before = int(chance.integers(1, 5))
    return dict(before=before, loudspeakers=int(chance.integers(before + 1 + before // 3, 17)))


EXERCISES = (
    Exercise(
        "distance.quieter",
        "How much quieter is the back row?",
        problem=quieter,
        draw=_draw_quieter,
        needs_units=True,
        example=dict(front_m=5.0, back_m=20.0, temperature_c=20.0, humidity_pct=40.0, whole=True),
    ),
    Exercise(
        "distance.louder",
        "How much louder are several loudspeakers?",
        problem=louder,
        draw=_draw_louder,
        example=dict(loudspeakers=10),
    ),
)


def along(spacing, height, level_1m_db, temperature_c=20.0, humidity_pct=30.0):
    """Level along a row under two equal loudspeakers that radiate alike in all directions.

    Parameters
    ----------
    spacing : float
        From one to the other [m]
    height : float
        Over the ears [m]
    level_1m_db : float
        At one meter [dB]
    temperature_c : float
        Of the air [degC]
    humidity_pct : float
        Relative [%]

    Returns
    -------
    x : ndarray
        Along the row (seat,) [m]
    level_db : ndarray
        Of the first, the second and both, in the octave around 1 kHz (curve, seat) [dB]
    """
    alpha = attenuation(EXACT, temperature_c=temperature_c, humidity_pct=humidity_pct)[KHZ]
    x = np.linspace(0, spacing, 201)
    r = np.hypot(np.stack([x, spacing - x]), height)  # (loudspeaker, seat)
    level = level_1m_db - 20 * np.log10(r) - alpha * r
    return x, np.stack([*level, sum_levels(level, axis=0)])
