"""Distance and level: spreading, the air, two loudspeakers at one seat."""

import numpy as np

from ...physics.air import attenuation
from ...physics.bands import EXACT, sum_levels
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step

TOP = -1  # the octave around 8 kHz
KHZ = 3  # the octave around 1 kHz


def quieter(front_m=6.0, back_m=24.0, temperature_c=20.0, humidity_pct=30.0, units="ft"):
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

    Returns
    -------
    problem : Problem
        In decibels
    """
    alpha = float(attenuation(EXACT, temperature_c=temperature_c, humidity_pct=humidity_pct)[TOP])
    spread, air = 20 * np.log10(back_m / front_m), alpha * (back_m - front_m)
    per_step = alpha * (30.48 if units == "ft" else 30.0)
    hundred = "100 ft" if units == "ft" else "30 m"
    front, back = (to_file(value, "m", units) for value in (front_m, back_m))
    farther = in_words(back_m - front_m, units)
    return Problem(
        words=(
            f"The front row is {in_words(front_m, units)} from the loudspeaker, the back row"
            f" {in_words(back_m, units)}. In the octave around 8 kHz, air at"
            f" {temperature_c:g} °C and {humidity_pct:g} % humidity takes {per_step:.1f} dB per"
            f" {hundred}. How much quieter is the back row in that octave?"
        ),
        unit="dB",
        answer=float(spread + air),
        near=1.0,
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
        steps=(
            Step(f"Ratio of the distances: {back:.1f} / {front:.1f}", back_m / front_m, "", 2),
            Step(f"Spreading: 20 log {back_m / front_m:.2f}", float(spread), "dB"),
            Step(f"Air over {farther}: {per_step:.1f} dB per {hundred}", float(air), "dB"),
            Step(f"Both together: {spread:.1f} + {air:.1f}", float(spread + air), "dB"),
        ),
        note="At 1 kHz the air takes so little that nobody counts it in a gym.",
    )


def louder(loudspeakers=2):
    """How much louder several equal loudspeakers are than one.

    Parameters
    ----------
    loudspeakers : int
        How many, all equally far from the seat [-]

    Returns
    -------
    problem : Problem
        In decibels
    """
    together = float(sum_levels(np.zeros(loudspeakers)))
    return Problem(
        words=(
            f"{loudspeakers} equal loudspeakers are equally far from a seat. How much louder are"
            " they together than one of them?"
        ),
        unit="dB",
        answer=together,
        near=0.4,
        low=-20,
        high=60,
        hint="Energies add. Twice the energy is 3 dB more; ten times is 10 dB more.",
        slips=(
            Slip(
                2 * together,
                "That is 20 log. It holds only for waves exactly in step, at one seat and pitch.",
            ),
            Slip(0.0, "Each one adds its energy, so together they are louder than one."),
            Slip(
                100.0 * loudspeakers / 10,
                "Decibels of equal sources do not add like meters. Their energies add.",
            ),
        ),
        steps=(
            Step("Energy against one of them", float(loudspeakers), "times", 0),
            Step(f"10 log {loudspeakers}", together, "dB"),
        ),
        note="It is the same whatever the level of one of them is.",
    )


def _draw_quieter(chance):
    front = float(chance.integers(8, 25)) / 2
    return dict(
        front_m=front,
        back_m=front + float(chance.integers(8, 50)) / 2,
        temperature_c=float(chance.integers(12, 27)),
        humidity_pct=float(chance.integers(4, 15) * 5),
    )


EXERCISES = (
    Exercise(
        "distance.quieter",
        "How much quieter is the back row?",
        problem=quieter,
        draw=_draw_quieter,
        needs_units=True,
        example=dict(front_m=5.0, back_m=20.0, temperature_c=20.0, humidity_pct=40.0),
    ),
    Exercise(
        "distance.louder",
        "How much louder are several loudspeakers?",
        problem=louder,
        draw=lambda chance: dict(loudspeakers=int(chance.integers(2, 13))),
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
