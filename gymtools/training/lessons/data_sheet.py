"""Reading a data sheet: coverage angle, sensitivity, ratings, pattern control, taps."""

import numpy as np

from ...physics.bands import EXACT
from ...physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, beamwidth, control_frequency
from ...physics.directivity import generic_balloon as balloon
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step

ONE_WATT_8 = 2.83  # volts that are about one watt into 8 ohm [V]
# times the continuous rating    common practice, no source [-]
RATINGS = {"continuous": 1.0, "program": 2.0, "peak": 4.0}
EDGE_DB = -6.0  # of a coverage angle [dB]
STEP_DEG = 10.0  # of a printed polar [deg]
FALL = 1.8  # power of the angle by which an invented polar falls    assumption
HEIGHT_SHARE = 0.6  # of a mouth and its angle in the other plane    assumption


def angle(half_deg=44.0):
    """Coverage angle from a polar.

    Parameters
    ----------
    half_deg : float
        Off the axis where the polar is 6 dB down [deg]

    Returns
    -------
    problem : Problem
        In degrees
    """
    off = np.arange(0.0, 95.0, STEP_DEG)
    level = np.round(EDGE_DB * (off / half_deg) ** FALL, 1)
    k = int(np.flatnonzero(level <= EDGE_DB)[0])
    at = float(np.interp(-EDGE_DB, -level, off))
    half_power = float(np.interp(3.0, -level, off))
    shown = ", ".join(f"{o:.0f}°: {v + 0.0:.1f} dB" for o, v in zip(off, level, strict=True))
    return Problem(
        words=(
            "The polar of an invented loudspeaker is alike on both sides. Level against the axis:"
            f" {shown}. What is the coverage angle, between its −6 dB directions?"
        ),
        unit="°",
        answer=2 * at,
        near=4.0,
        low=0,
        high=360,
        digits=0,
        hint="Find where the level passes the edge on one side. The angle runs to both sides.",
        slips=(
            Slip(at, "That is one side only. The coverage angle runs from edge to edge."),
            Slip(2 * half_power, "That is the half-power angle, 3 dB down. It is narrower."),
        ),
        steps=(
            Step(
                f"Last printed angle inside the edge: {level[k - 1]:.1f} dB at", off[k - 1], "°", 0
            ),
            Step("Between the two rows, the edge lies at", at, "°", 1),
            Step(f"Both sides: 2 × {at:.1f}", 2 * at, "°", 0),
        ),
        note="Some sheets print the half-power angle. Look which one it is.",
    )


def sensitivity(printed_db=94.0, ohm=4.0):
    """Sensitivity for one watt, from a sheet that gives it for 2.83 V.

    Parameters
    ----------
    printed_db : float
        At 1 m for 2.83 V [dB]
    ohm : float
        Rated impedance [ohm]

    Returns
    -------
    problem : Problem
        In decibels
    """
    power = ONE_WATT_8**2 / ohm
    more = float(10 * np.log10(power))
    answer = printed_db - more
    return Problem(
        words=(
            f"A sheet prints {printed_db:.1f} dB, 2.83 V at one meter. The rated impedance is"
            f" {ohm:g} ohms. What is the sensitivity for one watt at one meter?"
        ),
        unit="dB",
        answer=answer,
        near=0.3,
        low=40,
        high=140,
        hint="How many watts does this voltage give into this impedance? Square it and divide.",
        slips=(
            Slip(printed_db + more, "Does this loudspeaker take more or less than one watt there?"),
            Slip(printed_db, "The two agree for 8 ohms only."),
        ),
        steps=(
            Step(f"Power: 2.83² / {ohm:g}", power, "W", 2),
            Step(f"Over one watt: 10 log {power:.2f}", more, "dB", 1),
            Step(f"{printed_db:.1f} − ({more:.1f})", answer, "dB", 1),
        ),
    )


def maximum(sensitivity_db=96.0, rating_w=400.0, kind="program", distance_m=12.0, units="ft"):
    """Level that a loudspeaker keeps up at a seat, from its sheet.

    Parameters
    ----------
    sensitivity_db : float
        For one watt at 1 m [dB]
    rating_w : float
        Power rating [W]
    kind : str
        Of the rating: "continuous", "program" or "peak"
    distance_m : float
        To the seat, on the axis [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels
    """
    power = rating_w / RATINGS[kind]
    watts, far = float(10 * np.log10(power)), float(20 * np.log10(distance_m))
    answer = sensitivity_db + watts - far
    meters = "" if units == "m" else f" ({distance_m:.1f} m)"
    share = (
        "" if kind == "continuous" else f" That is {RATINGS[kind]:g} times the continuous power."
    )
    return Problem(
        words=(
            f"Sensitivity {sensitivity_db:.1f} dB, one watt at one meter."
            f" {kind.capitalize()} rating {rating_w:g} W.{share} Which continuous level is left on"
            f" the axis at {in_words(distance_m, units)}{meters}? Count no room, no air, no heat."
        ),
        unit="dB",
        answer=answer,
        near=1.0,
        low=20,
        high=160,
        hint="Add the power in decibels to the sensitivity. Then take off the distance in meters.",
        slips=_slips_of_level(sensitivity_db, rating_w, kind, distance_m),
        steps=(
            Step(f"Continuous power: {rating_w:g} / {RATINGS[kind]:g}", power, "W", 0),
            Step(f"10 log {power:g}", watts, "dB"),
            Step(f"Distance: 20 log {distance_m:.1f}", far, "dB"),
            Step(f"{sensitivity_db:.1f} + {watts:.1f} − {far:.1f}", answer, "dB"),
        ),
        note="A hot voice coil takes some decibels more at full power. Keep headroom.",
    )


def _slips_of_level(sensitivity_db, rating_w, kind, distance_m):
    """Mistakes with watts, ratings and meters."""
    watts = float(10 * np.log10(rating_w / RATINGS[kind]))
    far, feet = (float(20 * np.log10(to_file(distance_m, "m", u))) for u in ("m", "ft"))
    as_printed = float(10 * np.log10(rating_w)) if kind != "continuous" else 2 * watts
    return (
        Slip(sensitivity_db + watts, "That is the level at one meter."),
        Slip(
            sensitivity_db + as_printed - far,
            "Which power is the continuous one? And watts take 10 log.",
        ),
        Slip(
            sensitivity_db + watts - feet,
            "The sensitivity is given at one meter. Take the distance in meters.",
            near=0.5,
        ),
    )


def control(mouth_m=0.4, angle_deg=60.0, units="ft"):
    """Frequency down to which a mouth holds its angle.

    Parameters
    ----------
    mouth_m : float
        Size of the mouth in the plane of the angle [m]
    angle_deg : float
        Coverage angle [deg]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In hertz
    """
    answer = float(control_frequency(mouth_m, angle_deg))
    return Problem(
        words=(
            f"The mouth of a horn is {in_words(mouth_m, units)} wide. Its sheet promises"
            f" {angle_deg:g}° across. Down to which frequency can it hold that angle? In meters,"
            " degrees and hertz: frequency = 25,400 / (mouth × angle)."
        ),
        unit="Hz",
        answer=answer,
        near=0.07 * answer,
        low=10,
        high=50_000,
        digits=0,
        hint="Put the mouth in meters into the rule.",
        slips=(
            Slip(2 * answer, "The rule takes the full angle and the whole mouth, not half."),
            Slip(answer * mouth_m / to_file(mouth_m, "m", "ft"), "The mouth goes in in meters."),
        ),
        steps=(
            Step("Mouth", mouth_m, "m", 3),
            Step(f"Mouth × angle: {mouth_m:.3f} × {angle_deg:g}", mouth_m * angle_deg, "", 1),
            Step(f"25,400 / {mouth_m * angle_deg:.1f}", answer, "Hz", 0),
        ),
        note="An octave lower the angle is about twice as wide, whatever the first page says.",
    )


def tap(ohm=500.0, volts=70.7):
    """Tap that a meter reading of the impedance shows.

    Parameters
    ----------
    ohm : float
        Impedance of the loudspeaker with its transformer [ohm]
    volts : float
        Of the line [V]

    Returns
    -------
    problem : Problem
        In watts
    """
    answer = volts**2 / ohm
    return Problem(
        words=(
            f"A loudspeaker for a {volts:g} V line measures {ohm:,.0f} ohms at 1 kHz. On which tap"
            " does it stand?"
        ),
        unit="W",
        answer=answer,
        near=0.08 * answer,
        low=0,
        high=10_000,
        hint="Power is voltage squared over impedance.",
        slips=(
            Slip(volts / ohm, "That is the current. Power takes the voltage squared."),
            Slip(2 * answer, "Mind the line voltage: the 100 V line gives twice as much."),
        ),
        steps=(
            Step(f"Voltage squared: {volts:g}²", volts**2, "V²", 0),
            Step(f"{volts**2:,.0f} / {ohm:,.0f}", answer, "W"),
        ),
    )


def _draw_maximum(chance):
    return dict(
        sensitivity_db=float(chance.integers(86, 106)),
        rating_w=float(chance.choice([60, 100, 150, 200, 300, 400, 600, 800])),
        kind=str(chance.choice(list(RATINGS))),
        distance_m=float(chance.integers(12, 60)) / 2,
    )


EXERCISES = (
    Exercise(
        "data_sheet.angle",
        "What is the coverage angle?",
        problem=angle,
        draw=lambda chance: dict(half_deg=float(chance.integers(20, 80))),
        example=dict(half_deg=35.0),
    ),
    Exercise(
        "data_sheet.sensitivity",
        "How sensitive is it for one watt?",
        problem=sensitivity,
        draw=lambda chance: dict(
            printed_db=float(chance.integers(850, 1050)) / 10,
            ohm=float(chance.choice([3, 4, 6, 12, 16])),
        ),
        example=dict(printed_db=91.0, ohm=16.0),
    ),
    Exercise(
        "data_sheet.maximum",
        "How loud can it play at the seat?",
        problem=maximum,
        draw=_draw_maximum,
        needs_units=True,
        example=dict(sensitivity_db=92.0, rating_w=200.0, kind="continuous", distance_m=10.0),
    ),
    Exercise(
        "data_sheet.control",
        "Down to which frequency does it hold its angle?",
        problem=control,
        draw=lambda chance: dict(
            mouth_m=float(chance.integers(10, 90)) / 100,
            angle_deg=float(chance.integers(4, 12) * 10),
        ),
        needs_units=True,
        example=dict(mouth_m=0.5, angle_deg=90.0),
    ),
    Exercise(
        "data_sheet.tap",
        "On which tap does it stand?",
        problem=tap,
        draw=lambda chance: dict(
            ohm=float(chance.integers(4, 250) * 20), volts=float(chance.choice([70.7, 100.0]))
        ),
        example=dict(ohm=167.0, volts=70.7),
    ),
)


def pattern(mouth, angle_deg):
    """How a mouth holds its angle, octave by octave, and two of its polars.

    Parameters
    ----------
    mouth : float
        Its width; it is less high [m]
    angle_deg : float
        Nominal angle across [deg]

    Returns
    -------
    angles : ndarray
        Full coverage angle across, by octave, 360 at most (7,) [deg]
    limit : float
        Lowest frequency that holds the angle [Hz]
    polars : ndarray
        Level re the axis around the horizon, by octave (azimuth, 7) [dB]
    """
    angles = np.minimum(beamwidth(angle_deg, mouth, EXACT), 360.0)
    made = balloon(
        angle_deg,
        max(HEIGHT_SHARE * angle_deg, 5.0),
        mouth_width=mouth,
        mouth_height=HEIGHT_SHARE * mouth,
    )
    level = int(np.argmin(np.abs(ELEVATION_DEG)))
    return angles, float(control_frequency(mouth, angle_deg)), made[:, level]


AROUND_DEG = AZIMUTH_DEG
