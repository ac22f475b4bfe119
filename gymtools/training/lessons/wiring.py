"""Power, lines and cable: decibels over one watt, watts, headroom on a tap, longer cable."""

import numpy as np

from ...physics.electrical import amplifier_power, cable_loss_db, line_load
from ...physics.playback import RATE
from ...venue.programs import labels, program
from ...venue.units import in_words
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

LEAST_W, MOST_W = 6.0, 700.0  # of amplifiers that are drawn [W]
LEAST_LEFT_DB = -2.5  # of headroom in what is drawn [dB]
SINE_PEAK_DB = 3.0  # of a sine over its own level: an amplifier is rated with one [dB]
NEAR_DB = 0.5  # how far off watts may be [dB]
SPOKEN = next(iter(labels()))
CLIP_S = 6.0  # of speech that is heard clipped [s]


def near_watts(watts):
    """How far off watts still count as right: a ratio, as decibels judge it.

    Parameters
    ----------
    watts : float
        The answer [W]

    Returns
    -------
    near : float
        Up to ``NEAR_DB`` too many, and as many too few [W]
    """
    return watts * (10 ** (NEAR_DB / 10) - 1)


def over_watt(level_db=92.0, headroom_db=10.0, sensitivity_db=97.0, distance_m=9.5, units="ft"):
    """Power needed, in decibels over one watt.

    Parameters
    ----------
    level_db : float
        Direct sound wanted at the seat [dB]
    headroom_db : float
        Peaks over that [dB]
    sensitivity_db : float
        At one meter for one watt [dB]
    distance_m : float
        To the seat, on the axis; to the centimeter [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels
    """
    distance_m, lost = _spread(distance_m)
    power = _power(level_db, headroom_db, sensitivity_db, distance_m)
    over = float(10 * np.log10(power))
    rest = level_db + headroom_db - sensitivity_db
    return Problem(
        words=(
            f"{_asked(level_db, headroom_db, sensitivity_db, distance_m, units)} How many decibels"
            " over one watt must its amplifier give?"
        ),
        unit="dB",
        answer=over,
        near=0.6,
        low=-80,
        high=120,
        hint="Add the level, the headroom and the spreading from one meter. Take off sensitivity.",
        slips=(
            Slip(over - headroom_db, "That leaves out the headroom. Every peak would clip."),
            Slip(over - lost, "That is at one meter. The seat is farther away."),
            Slip(over - lost / 2, "That takes 10 log of the distance. Level falls with 20 log."),
        ),
        steps=(
            Step(f"Spreading from 1 m: 20 log {distance_m:.2f}", lost, "dB", 2, 0.1),
            Step(
                f"Level and headroom over sensitivity: {level_db:g} + {headroom_db:g} −"
                f" {sensitivity_db:g}",
                rest,
                "dB",
            ),
            Step(f"Both together: {lost:.2f} {'−' if rest < 0 else '+'} {abs(rest):g}", over, "dB"),
        ),
        note="The distance counts in meters here, for sensitivity is stated at one meter.",
    )


def watts(level_db=92.0, headroom_db=10.0, sensitivity_db=97.0, distance_m=9.5, units="ft"):
    """Power needed, in watts; an answer is judged by its ratio.

    Parameters
    ----------
    level_db, headroom_db, sensitivity_db, distance_m : float
        As ``over_watt`` [dB and m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In watts
    """
    distance_m, lost = _spread(distance_m, 3)
    power = _power(level_db, headroom_db, sensitivity_db, distance_m)
    over = round(level_db + headroom_db - sensitivity_db + lost, 3)
    return Problem(
        words=(
            f"{_asked(level_db, headroom_db, sensitivity_db, distance_m, units)} How many watts"
            " must its amplifier give?"
        ),
        unit="W",
        answer=power,
        near=near_watts(power),
        low=0,
        high=1e9,
        digits=0 if power >= 20 else 2,
        hint="First find the decibels over one watt. Ten decibels more are ten times the watts.",
        slips=(
            _slip(power / 10 ** (headroom_db / 10), "That leaves out the headroom."),
            _slip(
                power / distance_m, "That takes 10 log of the distance. Level falls with 20 log."
            ),
            _slip(power / distance_m**2, "That is at one meter. The seat is farther away."),
            _slip(10 ** (over / 20), "That divides the decibels by 20. Watts are power: by 10."),
        ),
        steps=(
            Step(f"Spreading from 1 m: 20 log {distance_m:.2f}", lost, "dB", 3, 0.1),
            Step(
                f"All together, over one watt: {level_db:g} + {headroom_db:g} −"
                f" {sensitivity_db:g} + {lost:.3f}",
                over,
                "dB",
                3,
                0.1,
            ),
            Step(f"In watts: 10^({over:.3f} / 10)", power, "W", 0 if power >= 20 else 2),
        ),
        note="Three decibels more would take twice the watts.",
    )


def left_on_tap(
    level_db=92.0, headroom_db=10.0, sensitivity_db=97.0, distance_m=9.5, tap_w=60.0, units="ft"
):
    """Headroom that is left where a tap gives less than is needed.

    Parameters
    ----------
    level_db, headroom_db, sensitivity_db, distance_m : float
        As ``over_watt`` [dB and m]
    tap_w : float
        What the transformer is set to [W]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels; negative where not even the level itself is reached

    Raises
    ------
    ValueError
        The tap gives what is needed
    """
    distance_m, lost = _spread(distance_m, 3)
    needed = _power(level_db, headroom_db, sensitivity_db, distance_m)
    if tap_w >= needed:
        raise ValueError(f"a tap of {tap_w:g} W gives all of {needed:.0f} W. Take a smaller one.")
    short = float(10 * np.log10(needed / tap_w))
    left = headroom_db - short
    return Problem(
        words=(
            f"{_asked(level_db, headroom_db, sensitivity_db, distance_m, units)} It hangs on a"
            f" line, and its transformer is set to {tap_w:g} W. How many decibels of headroom are"
            " left at that level? A minus says that not even the level is reached."
        ),
        unit="dB",
        answer=left,
        near=0.5,
        low=-60,
        high=60,
        hint=(
            "Find the watts that are needed. By how many decibels is the tap short of them? They"
            " come off the headroom."
        ),
        slips=_far_enough(
            left,
            0.5,
            Slip(short, "That is how much the tap is short. What is left of the headroom?"),
            Slip(headroom_db - 2 * short, "That takes 20 log. A ratio of watts takes 10 log."),
            Slip(headroom_db, "The tap gives fewer watts, so the headroom shrinks."),
            Slip(headroom_db + short, "More or less headroom? The tap gives fewer watts."),
        ),
        steps=_tap_steps(level_db + headroom_db - sensitivity_db, headroom_db, distance_m, tap_w),
        note=(
            "Peaks above that clip. Take a larger tap, a direct feed, or a lower level."
            if left >= 0
            else "Not even the level itself is reached. Take a larger tap or a direct feed."
        ),
    )


def _tap_steps(rest_db, headroom_db, distance_m, tap_w):
    """How the headroom on a tap is worked, from level and headroom over sensitivity."""
    distance_m, lost = _spread(distance_m, 3)
    watts = 10 ** ((rest_db + lost) / 10)
    digits = 1 if watts >= 20 else 2
    ratio = round(round(watts, digits) / tap_w, 3)
    short = round(float(10 * np.log10(ratio)), 2)
    left = headroom_db - float(10 * np.log10(10 ** (rest_db / 10) * distance_m**2 / tap_w))
    return (
        Step(f"Spreading from 1 m: 20 log {distance_m:.2f}", lost, "dB", 3, 0.1),
        Step(
            f"Needed with all the headroom: 10^(({_minus(rest_db)} + {lost:.3f}) / 10)",
            round(watts, digits),
            "W",
            digits,
            near_watts(watts),
        ),
        Step(f"Needed over given: {watts:.{digits}f} / {tap_w:g}", ratio, "times", 3, 0.05 * ratio),
        Step(f"Short by: 10 log {ratio:.3f}", short, "dB", 2, 0.1),
        Step(f"Headroom left: {headroom_db:g} − {short:.2f}", left, "dB"),
    )


def longer(impedance_ohm=8.0, tap_w=60.0, line_volts=70.7):
    """How many times as long a cable may be on a line.

    Parameters
    ----------
    impedance_ohm : float
        Of the loudspeaker fed directly [ohm]
    tap_w : float
        Of its transformer on the line [W]
    line_volts : float
        Of the line [V]

    Returns
    -------
    problem : Problem
        A ratio
    """
    ohm = float(line_load(tap_w, volts=line_volts)[1])
    times = ohm / impedance_ohm
    usual = abs(line_volts - 70.7) < 0.05
    squared = "5000" if usual else f"{line_volts:g} · {line_volts:g}"
    return Problem(
        words=(
            f"A loudspeaker of {impedance_ohm:g} Ω hangs on a {line_volts:g} V line. Its"
            f" transformer is set to {tap_w:g} W. How many times as long may the same cable be as"
            " with a direct feed, for the same loss?"
        ),
        unit="times",
        answer=times,
        near=0.05 * times,
        low=0,
        high=1e5,
        hint=(
            "The impedance of the tap is volts squared over watts. Squared, 70.7 V counts as 5000."
            " Then find how many times the loudspeaker's own impedance that is."
        ),
        slips=_far_enough(
            times,
            0.05 * times,
            _times(line_volts, "That is the voltage itself. The impedance of the tap counts."),
            _times(times**0.5, "That is a ratio of currents. The loss goes with R over Z."),
            _times(ohm, "That is the impedance of the tap. Compare it with the loudspeaker's."),
        ),
        steps=(
            Step(f"Impedance of the tap: {squared} / {tap_w:g}", ohm, "Ω", 1, 0.005 * ohm),
            Step(f"Against the loudspeaker's own: {ohm:.1f} / {impedance_ohm:g}", times, "times"),
        ),
        note="A smaller tap has a higher impedance, and its cable may be longer still.",
    )


def _minus(value):
    """A number with the sign as it is printed."""
    return f"{value:g}".replace("-", "−")


def _spread(distance_m, digits=2):
    """A distance as it is printed [m], and what spreading takes on it as printed [dB]."""
    distance_m = round(distance_m, 2)
    return distance_m, round(float(20 * np.log10(distance_m)), digits)


def _far_enough(answer, near, *slips):
    """The slips that an answer nearly right cannot be taken for."""
    return tuple(slip for slip in slips if abs(slip.value - answer) > 2 * near)


def _power(level_db, headroom_db, sensitivity_db, distance_m):
    return float(
        amplifier_power(
            level_db, headroom_db=headroom_db, sensitivity_db=sensitivity_db, distance=distance_m
        )
    )


def _asked(level_db, headroom_db, sensitivity_db, distance_m, units):
    return (
        f"A loudspeaker has a sensitivity of {sensitivity_db:g} dB at 1 m for 1 W. It is to give"
        f" {level_db:g} dB of direct sound at a seat {in_words(distance_m, units)} away on its"
        f" axis, with {headroom_db:g} dB of headroom."
    )


def _slip(value, words):
    """A slip in watts, with a tolerance of its own."""
    return Slip(value, words, near_watts(value))


def _times(value, words):
    return Slip(value, words, 0.05 * value)


def _with_whole_lengths(problem):
    """A problem whose distance is taken to the whole foot or half meter: for drawings."""

    def made(*, distance_m, units="ft", whole=False, **values):
        distance_m = round_length(distance_m, units) if whole else distance_m
        return problem(distance_m=distance_m, units=units, **values)

    return made


def _draw_power(chance):
    while True:
        values = dict(
            level_db=float(chance.integers(84, 97)),
            headroom_db=float(chance.integers(6, 15)),
            sensitivity_db=float(chance.integers(90, 103)),
            distance_m=float(chance.integers(10, 50)) / 2,
        )
        if LEAST_W <= _power(**values) <= MOST_W:  # such amplifiers are made
            return dict(values, whole=True)


def _draw_tap(chance):
    while True:
        values, tap_w = _draw_power(chance), float(chance.choice([5, 10, 15, 30, 60, 100]))
        short = 10 * np.log10(_power(**{k: v for k, v in values.items() if k != "whole"}) / tap_w)
        if 1.5 <= short <= values["headroom_db"] - LEAST_LEFT_DB:
            return dict(values, tap_w=tap_w)


EXERCISES = (
    Exercise(
        "wiring.over_watt",
        "How many decibels over one watt?",
        problem=_with_whole_lengths(over_watt),
        draw=_draw_power,
        needs_units=True,
        example=dict(
            level_db=85.0, headroom_db=10.0, sensitivity_db=95.0, distance_m=20.0, whole=True
        ),
    ),
    Exercise(
        "wiring.watts",
        "How many watts?",
        problem=_with_whole_lengths(watts),
        draw=_draw_power,
        needs_units=True,
        example=dict(
            level_db=85.0, headroom_db=10.0, sensitivity_db=95.0, distance_m=20.0, whole=True
        ),
    ),
    Exercise(
        "wiring.left_on_tap",
        "How much headroom is left on a tap?",
        problem=_with_whole_lengths(left_on_tap),
        draw=_draw_tap,
        needs_units=True,
        example=dict(
            level_db=85.0,
            headroom_db=10.0,
            sensitivity_db=95.0,
            distance_m=20.0,
            tap_w=100.0,
            whole=True,
        ),
    ),
    Exercise(
        "wiring.longer",
        "How many times as long may a cable be?",
        problem=longer,
        draw=lambda chance: dict(
            impedance_ohm=float(chance.choice([4, 6, 8, 16])),
            tap_w=float(chance.choice([2.5, 5, 7.5, 10, 15, 20, 30, 60, 100])),
            line_volts=float(chance.choice([70.7, 100.0])),
        ),
        example=dict(impedance_ohm=4.0, tap_w=30.0, line_volts=100.0),
    ),
)


def connected(run, awg, count, on_line, load):
    """A cable with what hangs at its end.

    Parameters
    ----------
    run : float
        Of the cable, one way [m]
    awg : float
        Gauge of its wire [AWG]
    count : float
        Loudspeakers at its end [-]
    on_line : float
        1 for a line with transformers, 0 for a direct feed [-]
    load : dict
        "impedance_ohm" of one loudspeaker [ohm], "tap_w" of one transformer [W] and "line_volts"
        of the line [V]

    Returns
    -------
    found : dict
        "run" [m], "awg", "ohm" at the end and "loss" [dB]
    """
    taps = [load["tap_w"]] * int(count)
    line_ohm = line_load(taps, volts=load["line_volts"])[1]
    ohm = line_ohm if on_line else load["impedance_ohm"] / count
    return dict(run=run, awg=awg, ohm=float(ohm), loss=float(cable_loss_db(run, ohm, awg=awg)))


def longest_run(awg, ohm, loss_db):
    """Longest run for a loss.

    Parameters
    ----------
    awg : float
        Gauge [AWG]
    ohm : float
        At its end [ohm]
    loss_db : float
        Most that the cable may take [dB]

    Returns
    -------
    run : float
        One way [m]
    """
    per_meter = 10 ** (float(cable_loss_db(1.0, ohm, awg=awg)) / 20) - 1  # R / Z of one meter
    return (10 ** (loss_db / 20) - 1) / per_meter


def clipped(level_dba, headroom_db, played=SPOKEN):
    """Speech whose amplifier gives no more than a headroom over its level.

    An amplifier is rated with a sine, whose peaks are ``SINE_PEAK_DB`` over its level. The level
    that headroom counts from is not weighted.

    Parameters
    ----------
    level_dba : float
        Of the speech before it is clipped [dB(A)]
    headroom_db : float
        Over its level; infinite where nothing clips [dB]
    played : str
        Key of ``venue.programs.labels``

    Returns
    -------
    sound : ndarray
        (2, sample) [re 20 uPa]
    """
    samples = program(played).samples[: round(CLIP_S * RATE)] * 10 ** (level_dba / 20)
    most = np.sqrt((samples**2).mean()) * 10 ** ((headroom_db + SINE_PEAK_DB) / 20)
    samples = np.clip(samples, -most, most)
    return np.stack([samples, samples])
