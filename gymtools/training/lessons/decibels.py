"""Decibels and octaves: ratios and levels, sums, A-weighting, direct sound and room sound."""

import numpy as np

from ...physics.bands import A_WEIGHTING, NAMES, NOMINAL, a_weighted, sum_levels, to_energy
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

HIGHEST_HZ = 200_000.0  # that can be answered
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
    log = round(more / 10, 3)
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
            Step(f"Its logarithm: log {times:g}", log, "", 3),
            Step(f"Ten times that: 10 · {log:.3f}", 10 * log, "dB"),
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
            Step(
                f"Ten to that power: 10^{more_db / 10:.2f}", 10 ** round(more_db / 10, 2), "times"
            ),
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
    share = round(10 ** (-apart / 10), 3)
    added = round(float(10 * np.log10(1 + share)), 2)
    return Problem(
        words=(
            f"One loudspeaker gives {first_db:g} dB at a seat, another one {second_db:g} dB. What"
            " do both give together?"
        ),
        unit="dB",
        answer=both,
        near=0.2,
        low=0,
        high=400,
        hint="Add energies, not decibels. The louder one counts most.",
        slips=(
            Slip(first_db + second_db, "Decibels do not add like meters. Add the energies."),
            Slip((first_db + second_db) / 2, "That is the mean. Two are louder than one of them."),
            Slip(first_db, "That is the louder one alone. The other adds something."),
        ),
        steps=(
            Step(f"The second is softer by: {first_db:g} − {second_db:g}", apart, "dB", 0),
            Step(f"Its energy, in shares of the first: 10^(−{apart:g}/10)", share, "", 3),
            Step(f"Both against the first: 10 log(1 + {share:.3f})", added, "dB", 2),
            Step(f"Level of both: {first_db:g} + {added:.2f}", first_db + added, "dB"),
        ),
        note="A sound that is much softer adds almost nothing.",
    )


def octave(start=2, up=2, tone_hz=0.0):
    """Center of an octave, or a tone, some octaves higher or lower.

    Parameters
    ----------
    start : int
        Octave to begin with, 0 for 125 Hz [-]
    up : int
        Octaves upward, downward where negative [-]
    tone_hz : float
        A tone to begin with; an octave where zero [Hz]

    Returns
    -------
    problem : Problem
        In hertz
    """
    begin = tone_hz or float(NOMINAL[start])
    answer = begin * 2.0**up if tone_hz else float(NOMINAL[start + up])
    way, count = ("higher", up) if up > 0 else ("lower", -up)
    octaves = f"{count} octave{'s' if count > 1 else ''}"
    words = (
        f"You look at the octave around {NAMES[start]}. Around what frequency is the one that lies"
        f" {octaves} {way}?"
    )
    if tone_hz:
        words = f"A whistle has a tone at {begin:,g} Hz. What tone lies {octaves} {way}?"
    return Problem(
        words=words,
        unit="Hz",
        answer=answer,
        near=0.03 * answer,
        low=1,
        high=HIGHEST_HZ,
        digits=0,
        hint="An octave up doubles the frequency. An octave down halves it. Do it step by step.",
        slips=_octave_slips(begin, up),
        steps=tuple(_octave_steps(begin, up)),
        note="The octaves of this workbook go from 125 Hz to 8 kHz.",
    )


def _octave_slips(begin, up):
    """Equal steps, or factors that are none of an octave; over one octave there is no such step."""
    slips = []
    if up > 1:
        words = "Every octave starts from the last one. Do not take equal steps in hertz."
        slips.append(Slip(begin * (1 + up), words))
    elif up < -1:
        words = f"That divides once, by {1 - up}. Halve once for each octave instead."
        slips.append(Slip(begin / (1 - up), words))
    if 1 <= begin * 10.0**up <= HIGHEST_HZ:
        slips.append(Slip(begin * 10.0**up, "An octave is a factor of two, not of ten."))
    return tuple(slips)


def _octave_steps(begin, up):
    """One step for every octave on the way; the last but one for a single octave is the factor."""
    one, word = (2.0, "× 2") if up > 0 else (0.5, "/ 2")
    way = "up" if up > 0 else "down"
    if abs(up) == 1:
        yield Step(f"An octave {way} is a factor of: {'2' if up > 0 else '1 / 2'}", one, "", 1)
    for n in range(abs(up)):
        before = begin * one**n
        yield Step(f"Octave {n + 1} {way}: {before:,g} {word}", before * one, "Hz", 0)


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
            f" octave around {NAMES[high]}, and nothing else. The A-weighting is {_signed(a)} dB"
            f" and {_signed(b)} dB there. What does a sound level meter show in dB(A)?"
        ),
        unit="dB(A)",
        answer=answer,
        near=0.25,
        low=0,
        high=400,
        hint="Correct each octave by its weighting first. Then add the energies.",
        slips=(
            Slip(plain, "That is the sum without the weighting. The ear hears low octaves less."),
            Slip(low_db + a + high_db + b, "Decibels do not add like meters. Add the energies."),
            Slip(plain + a + b, "Each octave gets its own weighting, before they are added."),
            Slip(
                max(low_db + a, high_db + b),
                "That is the louder octave alone. The other one adds something.",
            ),
        ),
        steps=_weighted_steps((low, low_db, a), (high, high_db, b)),
        note=(
            f"Without the weighting the meter would show {'more' if plain > answer else 'less'}:"
            f" {plain:.1f} dB."
        ),
    )


def _signed(value):
    """A correction as it is written."""
    return f"{value:+.1f}".replace("-", "−") if round(value, 1) else "0"


def _weighted_steps(*octaves):
    """How ``weighted`` is worked, each line from the numbers that the lines before it show."""
    left = []
    for n, level, weight in octaves:
        sign = "−" if weight < 0 else "+"
        words = f"Octave {NAMES[n]}: {level:g} {sign} {abs(weight):.1f}"
        left.append(Step(words, round(level + weight, 1), "dB"))
    levels = [step.value for step in left]
    apart = round(max(levels) - min(levels), 1)
    more = round(float(10 * np.log10(1 + 10 ** (-apart / 10))), 1)
    return (
        *left,
        Step(f"The softer one is softer by: {max(levels):.1f} − {min(levels):.1f}", apart, "dB"),
        Step(f"It adds: 10 log(1 + 10^(−{apart:.1f}/10))", more, "dB"),
        Step(f"Both together: {max(levels):.1f} + {more:.1f}", max(levels) + more, "dB(A)"),
    )


def alike(at_m=2.0, direct_db=86.0, room_db=74.0, units="ft", whole=False):
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
    whole : bool
        Whether the distance is rounded as ``round_length``

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
    at_m = round_length(at_m, units) if whole else at_m
    at = round(float(to_file(at_m, "m", units)), 2)
    answer = float(to_file(at_m * times, "m", units))
    return Problem(
        words=(
            f"The direct sound of a loudspeaker is {direct_db:g} dB at {in_words(at_m, units)}. It"
            " falls by 20 log of the distance. The room sound is"
            f" {room_db:g} dB everywhere. At what distance are both equally loud?"
        ),
        unit=units,
        answer=answer,
        near=0.04 * answer,
        low=0,
        high=1e5,
        hint="First the difference. Then ask how many times as far loses just that much.",
        slips=(
            Slip(
                float(at * 10 ** (over / 10)),
                "That is 10 log. With distance, level goes by 20 log.",
            ),
            Slip(times, "That is how many times as far. Multiply the distance by it."),
            Slip(float(at * over), "Decibels are no factor. Turn them into a ratio first."),
        ),
        steps=(
            Step(f"The direct sound may fall by: {direct_db:g} − {room_db:g}", over, "dB", 0),
            Step(f"Times as far: 10^({over:g}/20)", round(times, 2), "times", 2),
            Step(f"Distance: {times:.2f} × {at:g}", round(times, 2) * at, units),
        ),
        note="Farther away the room is louder than the loudspeaker. Words blur there.",
    )


def _draw_octave(chance):
    """Two or three octaves: over a single one, equal steps would be right."""
    if chance.integers(2):
        up = int(chance.choice([-3, -2, 2, 3]))
        tone = 40.0 * chance.integers(3, 21) if up > 0 else 80.0 * chance.integers(10, 61)
        return dict(tone_hz=float(tone), up=up)
    start = int(chance.integers(0, 7))
    ends = [n for n in range(7) if 2 <= abs(n - start) <= 3]
    return dict(start=start, up=int(chance.choice(ends)) - start)


def _draw_together(chance):
    first = float(chance.integers(70, 95))
    return dict(first_db=first, second_db=first - float(chance.integers(1, 11)))


def _draw_weighted(chance):
    """Two octaves that both count after their weighting: neither can be left out unseen."""
    low, high = int(chance.integers(0, 3)), int(chance.integers(3, 7))
    high_db = float(chance.integers(55, 71))
    as_loud = high_db + A_WEIGHTING[high] - A_WEIGHTING[low]
    low_db = float(np.round(as_loud) + chance.integers(-5, 3))
    return dict(low=low, high=high, low_db=low_db, high_db=high_db)


def _draw_alike(chance):
    direct = float(chance.integers(80, 96))
    return dict(
        at_m=float(chance.integers(3, 10)) / 2,
        direct_db=direct,
        room_db=direct - float(chance.integers(6, 19)),
        whole=True,
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
        draw=lambda chance: dict(more_db=float(chance.integers(4, 60)) / 2),
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
        example=dict(low=0, high=3, low_db=80.0, high_db=65.0),
    ),
    Exercise(
        "decibels.alike",
        "Where direct sound and room sound are equal",
        problem=alike,
        draw=_draw_alike,
        needs_units=True,
        example=dict(at_m=2.5, direct_db=90.0, room_db=70.0, whole=True),
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
