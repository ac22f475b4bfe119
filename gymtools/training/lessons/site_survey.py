"""Surveying a gym: lengths, noise, decays, and how far off each of them may be."""

import numpy as np

from ...physics.bands import LABELS
from ...physics.decay import reading_spread
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

# differences of readings with and without a source that are corrected in full, and what is taken
# off at most under the least of them    ISO 3744:2010, 8.2 (from memory) [dB]
LEAST_DB, MOST_DB = 6.0, 15.0
MOST_OFF_DB = 1.3
OCTAVE = 0  # judged in the experiment: the lowest, which scatters most


def height(sloping_m=10.0, level_m=6.0, held_m=1.2, units="ft"):
    """Height of a roof from two readings of a laser.

    Parameters
    ----------
    sloping_m : float
        From the laser to a point of the roof [m]
    level_m : float
        From the laser to the spot straight under that point [m]
    held_m : float
        Laser over the floor; all three a whole number of feet where those are the units [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In the units asked for

    Raises
    ------
    ValueError
        The level reading is as long as the sloping one
    """

    def say(v):
        return to_file(v, "m", units)

    sloping_m, level_m, held_m = (
        round_length(v, units, meter_step=0) for v in (sloping_m, level_m, held_m)
    )
    if level_m >= sloping_m:
        raise ValueError("a sloping beam is longer than the level one. Change the readings.")
    up = float(np.sqrt(sloping_m**2 - level_m**2))
    answer, above = say(up + held_m), round(say(up), 2)
    return Problem(
        words=(
            f"A laser is held {in_words(held_m, units)} over the floor. It reads"
            f" {in_words(sloping_m, units)} to a point of the roof, and"
            f" {in_words(level_m, units)} level to the spot under that point. How high is the"
            " roof there?"
        ),
        unit=units,
        answer=answer,
        near=0.01 * answer,
        low=0,
        high=300,
        hint="The sloping reading is the long side of a right triangle. Mind where you hold it.",
        slips=(
            Slip(say(up), "That counts from the laser. The height counts from the floor."),
            Slip(say(sloping_m + held_m), "The beam slopes. Its length is more than the height."),
            Slip(say(sloping_m - level_m + held_m), "Sides of a triangle subtract as squares."),
        ),
        steps=(
            Step(
                f"Above the laser: √({say(sloping_m):g}² − {say(level_m):g}²)",
                above,
                units,
                2,
            ),
            Step(f"Above the floor: {above:.2f} + {say(held_m):g}", above + say(held_m), units, 1),
        ),
        note="Measure straight up where you can. A sloping beam a little off errs by more.",
    )


def noise(with_db=58.0, without_db=50.0):
    """Level of a source alone, from a reading with the background in it.

    Parameters
    ----------
    with_db, without_db : float
        Level with the source on, and off [dB]

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        The readings differ by less, or by more, than is corrected in full

    Sources
    -------
    ISO 3744:2010, 8.2 (from memory).
    """
    apart = round(with_db - without_db, 1)
    if not LEAST_DB <= apart <= MOST_DB:
        raise ValueError(
            f"with_db and without_db differ by {apart:g} dB. ISO 3744 corrects for"
            f" {LEAST_DB:g} to {MOST_DB:g} dB: change one of them."
        )
    added = background_in(apart)
    answer, shown = with_db - added, round(added, 2)
    return Problem(
        words=(
            f"With the fan on, the meter reads {with_db:.1f} dB. With the fan off it reads"
            f" {without_db:.1f} dB. What is the level of the fan alone?"
        ),
        unit="dB",
        answer=answer,
        near=0.12,
        low=-20,
        high=140,
        hint="Energies add, so take one energy from the other. Then go back to decibels.",
        slips=(
            Slip(with_db, "The background is still in that reading."),
            Slip(with_db - without_db, "That is how far the fan stands out, not its level."),
            Slip((with_db + without_db) / 2, "A mean of the two is neither of them."),
        ),
        steps=(
            Step(f"Difference of the readings: {with_db:.1f} − {without_db:.1f}", apart, "dB"),
            Step(f"To take off: −10 log (1 − 10^(−{apart:.1f} / 10))", shown, "dB", 2),
            Step(f"The fan alone: {with_db:.1f} − {shown:.2f}", with_db - shown, "dB", 2),
        ),
        note=(
            f"Under {LEAST_DB:g} dB of difference the result is an upper limit only (ISO 3744:2010,"
            " 8.2, from memory)."
        ),
    )


def background_in(apart_db):
    """How much the background adds to a reading.

    Parameters
    ----------
    apart_db : float
        Reading with the source less that without it, more than nothing [dB]

    Returns
    -------
    added : float
        To take off for the source alone [dB]
    """
    return float(-10 * np.log10(1 - 10 ** (-apart_db / 10)))


def alone(with_db=50.0, without_db=46.5):
    """What a survey may say of a source alone.

    Parameters
    ----------
    with_db, without_db : float
        Level with the source on, and off [dB]

    Returns
    -------
    problem : Problem
        One of the lines, with its number

    Sources
    -------
    ISO 3744:2010, 8.2 (from memory).
    """
    apart = round(with_db - without_db, 1)
    added = background_in(apart)
    taken = MOST_OFF_DB if apart < LEAST_DB else added
    limit = f"at most {with_db - taken:.1f} dB"
    number = f"{with_db - added:.1f} dB"
    mean, as_read = f"{(with_db + without_db) / 2:.1f} dB", f"{with_db:.1f} dB"
    short = apart < LEAST_DB
    answer = limit if short else number if apart <= MOST_DB else as_read
    return Problem(
        words=(
            f"With the fan on, the meter reads {with_db:.1f} dB. With the fan off it reads"
            f" {without_db:.1f} dB. What may the survey say of the fan alone, by ISO 3744?"
        ),
        answer=answer,
        choices=tuple(dict.fromkeys((as_read, number, limit, mean))),
        hint=(
            f"The background can be taken off while the readings differ by {LEAST_DB:g} to"
            f" {MOST_DB:g} dB. Where they differ by less, no more may be taken off than there, and"
            " the fan may be softer still. Where they differ by more, nothing is taken off."
        ),
        slips=tuple(s for s in _slips_of_alone(as_read, number, limit, mean) if s.value != answer),
        steps=(
            Step(f"Difference of the readings: {with_db:.1f} − {without_db:.1f}", apart, "dB"),
            Step("What may be taken off", taken if apart <= MOST_DB else 0.0, "dB"),
        ),
        note=(
            f"ISO 3744:2010, 8.2 (from memory): under {LEAST_DB:g} dB take off {MOST_OFF_DB:g} dB"
            f" and call it an upper limit; over {MOST_DB:g} dB take off nothing."
        ),
    )


def _slips_of_alone(as_read, number, limit, mean):
    """What is wrong with each line where it is wrong."""
    return (
        Slip(as_read, "The background is still in that reading."),
        Slip(number, "How far do the readings differ? This one asks more of them than they hold."),
        Slip(limit, "How far do the readings differ? They tell more than a limit here."),
        Slip(mean, "A mean of the two is neither of them."),
    )


def slope(start_s=0.18, end_s=0.98):
    """Reverberation time from two points of a decay.

    Parameters
    ----------
    start_s, end_s : float
        Where the decay passes 5 dB and 25 dB below its beginning [s]

    Returns
    -------
    problem : Problem
        In seconds
    """
    falls = end_s - start_s
    return Problem(
        words=(
            f"After a balloon pop, the decay passes −5 dB at {start_s:.2f} s and −25 dB at"
            f" {end_s:.2f} s. It is a straight line. What is T20?"
        ),
        unit="s",
        answer=3 * falls,
        near=0.02 * 3 * falls,
        low=0,
        high=60,
        digits=2,
        hint="T20 is named after the 20 dB that are looked at. It still tells the time for 60 dB.",
        slips=(
            Slip(falls, "That is the time for 20 dB. A reverberation time is for 60 dB."),
            Slip(3 * end_s, "Count from where the line passes −5 dB, not from the pop."),
        ),
        steps=(
            Step(f"Time for 20 dB: {end_s:.2f} − {start_s:.2f}", falls, "s", 2),
            Step(f"Time for 60 dB: 3 × {falls:.2f}", 3 * falls, "s", 2),
        ),
    )


def places(one_pct=12.0, count=6):
    """How far the mean of several decays scatters.

    Parameters
    ----------
    one_pct : float
        Of one decay: one standard deviation [%]
    count : int
        Of places, each another one [-]

    Returns
    -------
    problem : Problem
        In percent
    """
    answer = float(one_pct / np.sqrt(count))
    root = round(float(np.sqrt(count)), 2)
    return Problem(
        words=(
            f"One balloon pop gives a T20 that scatters by {one_pct:g} % from place to place."
            f" You pop {count}, each at another place. By how much does their mean scatter?"
        ),
        unit="%",
        answer=answer,
        near=0.06 * answer,
        low=0,
        high=100,
        hint="The mean of four scatters half as much as one.",
        slips=(
            Slip(one_pct / count, "Scatter does not fall as fast as that."),
            Slip(one_pct, "The mean of several is steadier than one of them."),
        ),
        steps=(
            Step(f"Square root of the count: √({count})", root, "", 2),
            Step(f"Scatter of the mean: {one_pct:g} / {root:.2f}", one_pct / root, "%"),
        ),
    )


def volume(time_s=1.8, measured_m=8.0, true_m=8.8, units="ft"):
    """Reverberation time when the height was measured wrong.

    Parameters
    ----------
    time_s : float
        Computed with the measured height [s]
    measured_m, true_m : float
        Mean height of the gym; a whole number of feet where those are the units [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In seconds
    """
    measured_m, true_m = (
        round_length(value, units, meter_step=0) for value in (measured_m, true_m)
    )
    ratio = true_m / measured_m
    answer, shown = time_s * ratio, round(ratio, 3)
    heights = (to_file(v, "m", units) for v in (true_m, measured_m))
    divided = " / ".join(f"{v:g}" for v in heights)
    return Problem(
        words=(
            f"With a mean height of {in_words(measured_m, units)} a gym computes to {time_s:.1f} s."
            f" The true height is {in_words(true_m, units)}. Floor and roof take nearly all of the"
            " sound, so the absorption stays. What does it compute to?"
        ),
        unit="s",
        answer=answer,
        near=0.02 * answer,
        low=0,
        high=60,
        digits=2,
        hint="Sabine: the time goes as the volume over the absorption.",
        slips=(
            Slip(time_s / ratio, "Does a larger gym ring longer or shorter?"),
            Slip(time_s * ratio**3, "Only one of the three lengths was wrong."),
            Slip(time_s, "The volume is in Sabine's formula."),
        ),
        steps=(
            Step(f"True over measured volume: {divided}", shown, "", 3),
            Step(f"Reverberation time: {time_s:.1f} × {shown:.3f}", time_s * shown, "s", 2),
        ),
        note="More wall absorbs a little more, so the real change is a little less.",
    )


def _draw_height(chance):
    up, level = float(chance.integers(50, 110)) / 10, float(chance.integers(30, 90)) / 10
    return dict(
        sloping_m=float(np.round(np.hypot(up, level), 1)),
        level_m=level,
        held_m=float(chance.integers(8, 16)) / 10,
    )


def _draw_noise(chance):
    off = float(chance.integers(300, 600)) / 10
    return dict(with_db=round(off + chance.integers(60, 121) / 10, 1), without_db=off)


def _draw_alone(chance):
    """Each of the three cases as often as the others."""
    off = float(chance.integers(300, 600)) / 10
    apart = ((25, 58), (65, 121), (160, 221))[chance.integers(3)]
    return dict(with_db=round(off + chance.integers(*apart) / 10, 1), without_db=off)


def _draw_slope(chance):
    start = float(chance.integers(5, 30)) / 100
    return dict(start_s=start, end_s=start + float(chance.integers(25, 140)) / 100)


def _draw_volume(chance):
    measured = float(chance.integers(60, 110)) / 10
    return dict(
        time_s=float(chance.integers(10, 40)) / 10,
        measured_m=measured,
        true_m=measured + float(chance.choice([-1, 1]) * chance.integers(6, 16)) / 10,
    )


EXERCISES = (
    Exercise(
        "site_survey.height",
        "How high is the roof?",
        problem=height,
        draw=_draw_height,
        needs_units=True,
        example=dict(sloping_m=10.0, level_m=6.0, held_m=1.0),
    ),
    Exercise(
        "site_survey.noise",
        "How loud is the fan alone?",
        problem=noise,
        draw=_draw_noise,
        example=dict(with_db=50.0, without_db=43.0),
    ),
    Exercise(
        "site_survey.alone",
        "What may the survey say of the fan?",
        problem=alone,
        draw=_draw_alone,
        example=dict(with_db=47.0, without_db=43.5),
    ),
    Exercise(
        "site_survey.slope",
        "What is T20?",
        problem=slope,
        draw=_draw_slope,
        example=dict(start_s=0.10, end_s=0.70),
    ),
    Exercise(
        "site_survey.places",
        "How far does the mean scatter?",
        problem=places,
        draw=lambda chance: dict(
            one_pct=float(chance.integers(6, 30)), count=int(chance.integers(2, 13))
        ),
        example=dict(one_pct=12.0, count=9),
    ),
    Exercise(
        "site_survey.volume",
        "And with the true height?",
        problem=volume,
        draw=_draw_volume,
        needs_units=True,
        example=dict(time_s=2.0, measured_m=8.0, true_m=9.0),
    ),
)


def fewest(scatter_pct, time, most_places, most_pops):
    """Smallest number of pops whose mean is steady enough.

    Parameters
    ----------
    scatter_pct : float
        How far the mean may scatter in the lowest octave [%]
    time : float
        Reverberation time of the gym [s]
    most_places, most_pops : int
        Of places, and of pops at each [-]

    Returns
    -------
    count : float
        Places times pops; infinite where none is steady enough [-]
    """
    enough = (
        float(places_ * pops)
        for places_ in range(1, most_places + 1)
        for pops in range(1, most_pops + 1)
        if scatter(places_, pops, time)[OCTAVE] <= scatter_pct
    )
    return min(enough, default=np.inf)


def scatter(places_, pops, time):
    """How far the mean of several decays scatters, by octave.

    Parameters
    ----------
    places_ : int
        Pairs of source and microphone [-]
    pops : int
        Decays at each of them [-]
    time : float
        Reverberation time of the gym, alike in all octaves [s]

    Returns
    -------
    scatter : ndarray
        One standard deviation of the mean, of the time (7,) [%]
    """
    times = np.full(len(LABELS), float(time))
    return 100 * reading_spread(times, int(round(pops)), int(round(places_))) / times
