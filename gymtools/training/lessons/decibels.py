"""Decibels and octaves: ratios and levels, sums, A-weighting, direct sound and room sound."""

import numpy as np

from ...physics.bands import A_WEIGHTING, NAMES, NOMINAL, a_weighted, sum_levels, to_energy
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step

POLES_HZ = 20.598997, 107.65265, 737.86223, 12194.217  # of the A-weighting: IEC 61672-1, annex E


def ratio(times=4.0):
    """Level difference of a ratio of powers.

    Parameters
    ----------
    times : float
        As much power, more than 1 [-]

    Returns
    -------
    problem : Problem
        In decibels
    """
    more = float(10 * np.log10(times))
    return Problem(
        words=(
            f"An amplifier gives a loudspeaker {times:g} times the power that it had. By how much"
            " does the level at every seat rise?"
        ),
        unit="dB",
        answer=more,
        near=0.3,
        low=0,
        high=3000,
        hint="Power and energy: ten times the logarithm of the ratio.",
        slips=(
            Slip(2 * more, "That is 20 log. It is for pressures, voltages and distances."),
            Slip(more / 10, "That is the logarithm alone, in bels. A bel has ten decibels."),
            Slip(times, "That is the ratio itself. Take its logarithm first."),
        ),
        steps=(
            Step(f"log {times:g}", more / 10, "", 3),
            Step(f"Ten times that: 10 log {times:g}", more, "dB"),
        ),
        note="Twice the power is always the same step, whatever the power was before.",
    )


def energy(more_db=7.0):
    """Ratio of energies of a level difference.

    Parameters
    ----------
    more_db : float
        Level difference, more than 0 [dB]

    Returns
    -------
    problem : Problem
        In times
    """
    times = float(to_energy(more_db))
    return Problem(
        words=(
            f"The crowd is {more_db:g} dB louder in the fourth quarter than in the first. How many"
            " times the sound energy is that?"
        ),
        unit="times",
        answer=times,
        near=0.06 * times,
        low=0,
        high=1e6,
        hint="Turn the definition around: ten to the power of a tenth of the level.",
        slips=(
            Slip(float(10 ** (more_db / 20)), "That is the ratio of pressures. Energy is squared."),
            Slip(more_db, "That is the number of decibels itself. Each step multiplies."),
            Slip(
                more_db / 10, "That is a tenth of it, the exponent. Ten to that power comes next."
            ),
        ),
        steps=(
            Step(f"A tenth of it: {more_db:g} / 10", more_db / 10, "", 2),
            Step(f"10 to the power of {more_db / 10:.2f}", times, "times"),
        ),
        note="Every 10 dB multiply the energy by ten.",
    )


def together(first_db=80.0, second_db=76.0):
    """Level of two sounds together.

    Parameters
    ----------
    first_db, second_db : float
        Of each, the first the louder one [dB]

    Returns
    -------
    problem : Problem
        In decibels
    """
    both = float(sum_levels(np.array([first_db, second_db])))
    apart = first_db - second_db
    added = both - first_db
    return Problem(
        words=(
            f"One loudspeaker gives {first_db:g} dB at a seat, another one {second_db:g} dB. What"
            " do both give together?"
        ),
        unit="dB",
        answer=both,
        near=0.3,
        low=0,
        high=400,
        hint="Add energies, not decibels. The louder one counts most.",
        slips=(
            Slip(first_db + second_db, "Decibels do not add like meters. Add the energies."),
            Slip((first_db + second_db) / 2, "That is the mean. Two are louder than one of them."),
            Slip(first_db, "That is the louder one alone. The other adds something.", 0.1),
        ),
        steps=(
            Step("The second is softer by", apart, "dB", 0),
            Step(
                f"Its energy, in shares of the first: 10^(−{apart:g}/10)",
                10 ** (-apart / 10),
                "",
                3,
            ),
            Step(f"Both against the first: 10 log(1 + {10 ** (-apart / 10):.3f})", added, "dB", 2),
            Step(f"Level of both: {first_db:g} + {added:.2f}", both, "dB"),
        ),
        note="A sound that is much softer adds almost nothing.",
    )


def octave(start=2, up=2):
    """Center of an octave some octaves higher or lower.

    Parameters
    ----------
    start : int
        Octave to begin with, 0 for 125 Hz [-]
    up : int
        Octaves upward, downward where negative [-]

    Returns
    -------
    problem : Problem
        In hertz
    """
    begin, answer = float(NOMINAL[start]), float(NOMINAL[start + up])
    way, count = ("higher", up) if up > 0 else ("lower", -up)
    linear = begin * (1 + up) if up > 0 else begin / (1 + count)
    return Problem(
        words=(
            f"You look at the octave around {NAMES[start]}. Around what frequency is the one"
            f" that lies {count} octave{'s' if count > 1 else ''} {way}?"
        ),
        unit="Hz",
        answer=answer,
        near=0.03 * answer,
        low=1,
        high=200_000,
        digits=0,
        hint="An octave up doubles the frequency. An octave down halves it. Do it step by step.",
        slips=(
            Slip(
                linear, "Every octave starts from the last one. Do not take equal steps in hertz."
            ),
            Slip(begin * 10.0**up, "An octave is a factor of two, not of ten."),
        ),
        steps=tuple(_octave_steps(start, up)),
        note="The octaves of this workbook go from 125 Hz to 8 kHz.",
    )


def _octave_steps(start, up):
    """One step for every octave on the way."""
    one, word = (1, "× 2") if up > 0 else (-1, "/ 2")
    for n in range(0, up, one):
        before, after = (float(NOMINAL[start + m]) for m in (n, n + one))
        yield Step(f"{before:g} {word}", after, "Hz", 0)


def weighted(low=1, high=4, low_db=80.0, high_db=70.0):
    """A-weighted level of two octaves together.

    Parameters
    ----------
    low, high : int
        Octaves, 0 for 125 Hz [-]
    low_db, high_db : float
        Level in each [dB]

    Returns
    -------
    problem : Problem
        In dB(A)
    """
    level = np.full(7, -np.inf)
    level[[low, high]] = low_db, high_db
    answer = float(a_weighted(level))
    a, b = float(A_WEIGHTING[low]), float(A_WEIGHTING[high])
    plain = float(sum_levels(np.array([low_db, high_db])))
    return Problem(
        words=(
            f"A fan makes {low_db:g} dB in the octave around {NAMES[low]} and {high_db:g} dB in the"
            f" octave around {NAMES[high]}, and nothing else. The A-weighting is {a:+.1f} dB and"
            f" {b:+.1f} dB there. What does a sound level meter show in dB(A)?"
        ),
        unit="dB(A)",
        answer=answer,
        near=0.4,
        low=0,
        high=400,
        hint="Correct each octave by its weighting first. Then add the energies.",
        slips=(
            Slip(plain, "That is the sum without the weighting. The ear hears low octaves less."),
            Slip(low_db + a + high_db + b, "Decibels do not add like meters. Add the energies."),
            Slip(plain + a + b, "Each octave gets its own weighting, before they are added."),
        ),
        steps=(
            Step(f"{NAMES[low]}: {low_db:g} {a:+.1f}", low_db + a, "dB"),
            Step(f"{NAMES[high]}: {high_db:g} {b:+.1f}", high_db + b, "dB"),
            Step("Energies of both added", answer, "dB(A)"),
        ),
        note=(
            f"Without the weighting the meter would show {'more' if plain > answer else 'less'}:"
            f" {plain:.1f} dB."
        ),
    )


def alike(at_m=2.0, direct_db=86.0, room_db=74.0, units="ft"):
    """Distance at which direct sound and room sound are equal.

    Parameters
    ----------
    at_m : float
        Distance at which the direct sound is known [m]
    direct_db : float
        Of the direct sound there [dB]
    room_db : float
        Of the room sound, the same everywhere; lower than the direct sound [dB]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In meters or feet

    Raises
    ------
    ValueError
        The room sound is not lower than the direct sound at that distance
    """
    over = direct_db - room_db
    if over <= 0:
        raise ValueError("The room sound must be lower than the direct sound at that distance.")
    times = float(10 ** (over / 20))
    at = to_file(at_m, "m", units)
    answer = float(to_file(at_m * times, "m", units))
    return Problem(
        words=(
            f"The direct sound of a loudspeaker is {direct_db:g} dB at {in_words(at_m, units)}. It"
            " falls by 20 log of the distance. The room sound is"
            f" {room_db:g} dB everywhere. At what distance are both equally loud?"
        ),
        unit=units,
        answer=answer,
        near=0.06 * answer,
        low=0,
        high=1e5,
        hint="First the difference. Then ask how many times as far loses just that much.",
        slips=(
            Slip(
                float(at * 10 ** (over / 10)),
                "That is 10 log. With distance, level goes by 20 log.",
            ),
            Slip(
                times, "That is how many times as far. Multiply the distance by it.", 0.02 * times
            ),
            Slip(float(at * over), "Decibels are no factor. Turn them into a ratio first."),
        ),
        steps=(
            Step(f"The direct sound may fall by: {direct_db:g} − {room_db:g}", over, "dB", 0),
            Step(f"Times as far: 10^({over:g}/20)", times, "times", 2),
            Step(f"Distance: {times:.2f} × {at:.2f}", answer, units),
        ),
        note="Farther away the room is louder than the loudspeaker. Words blur there.",
    )


def _draw_octave(chance):
    start = int(chance.integers(0, 7))
    ends = [n for n in range(7) if 1 <= abs(n - start) <= 3]
    return dict(start=start, up=int(chance.choice(ends)) - start)


def _draw_together(chance):
    first = float(chance.integers(70, 95))
    return dict(first_db=first, second_db=first - float(chance.integers(1, 11)))


def _draw_weighted(chance):
    return dict(
        low=int(chance.integers(0, 3)),
        high=int(chance.integers(3, 7)),
        low_db=float(chance.integers(70, 90)),
        high_db=float(chance.integers(60, 76)),
    )


def _draw_alike(chance):
    direct = float(chance.integers(80, 96))
    return dict(
        at_m=float(chance.integers(2, 9)) / 2,
        direct_db=direct,
        room_db=direct - float(chance.integers(6, 19)),
    )


EXERCISES = (
    Exercise(
        "decibels.ratio",
        "A ratio of powers in decibels",
        problem=ratio,
        draw=lambda chance: dict(times=float(chance.integers(3, 61))),
        example=dict(times=2.0),
    ),
    Exercise(
        "decibels.energy",
        "Decibels as a ratio of energies",
        problem=energy,
        draw=lambda chance: dict(more_db=float(chance.integers(4, 50)) / 2),
        example=dict(more_db=3.0),
    ),
    Exercise(
        "decibels.together",
        "Two unequal levels together",
        problem=together,
        draw=_draw_together,
        example=dict(first_db=90.0, second_db=84.0),
    ),
    Exercise(
        "decibels.octave",
        "Octaves up and down",
        problem=octave,
        draw=_draw_octave,
        example=dict(start=0, up=3),
    ),
    Exercise(
        "decibels.weighted",
        "dB(A) of two octaves",
        problem=weighted,
        draw=_draw_weighted,
        example=dict(low=0, high=3, low_db=75.0, high_db=65.0),
    ),
    Exercise(
        "decibels.alike",
        "Where direct sound and room sound are equal",
        problem=alike,
        draw=_draw_alike,
        needs_units=True,
        example=dict(at_m=1.0, direct_db=90.0, room_db=70.0),
    ),
)


def a_curve_db(frequency):
    """A-weighting at any frequency.

    Parameters
    ----------
    frequency : float or array
        More than 0 [Hz]

    Returns
    -------
    weighting_db : ndarray
        Re 1 kHz, shape of the frequencies [dB]

    Sources
    -------
    IEC 61672-1:2013, annex E: the poles and their order, from memory.
    """

    def response(f):
        square = np.square(np.asarray(f, float))
        low, first, second, high = np.square(POLES_HZ)
        below = np.sqrt((square + first) * (square + second))
        return 20 * np.log10(high * square**2 / ((square + low) * below * (square + high)))

    return response(frequency) - response(1000.0)


def added(first_db, second_db):
    """What two sounds give together, while the second is turned from soft to loud.

    Parameters
    ----------
    first_db, second_db : float
        Level of each [dB]

    Returns
    -------
    second : ndarray
        Levels of the second that are drawn (level,) [dB]
    both : ndarray
        Of both together at those (level,) [dB]
    first_db, second_db, both_db : float
        As they are now [dB]
    """
    second = np.linspace(first_db - 30, first_db + 10, 161)
    both = sum_levels(np.stack([np.full_like(second, first_db), second]), axis=0)
    now = float(sum_levels(np.array([first_db, second_db])))
    return second, both, float(first_db), float(second_db), now
