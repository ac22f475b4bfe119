"""Reading a data sheet: coverage angle, sensitivity, ratings, pattern control, taps."""

import numpy as np

from ...physics.bands import EXACT
from ...physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, beamwidth, control_frequency
from ...physics.directivity import generic_balloon as balloon
from ...venue.units import INCH, in_words, to_file
from ...venue.wiring import TAPS
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

ONE_WATT_8 = 2.83  # volts that are about one watt into 8 ohm [V]
# times the continuous rating    common practice, no source [-]
RATINGS = {"continuous": 1.0, "program": 2.0, "peak": 4.0}
IN_METERS = "The mouth goes in in meters."
EDGE_DB = -6.0  # of a coverage angle [dB]
STEP_DEG = 10.0  # of a printed polar [deg]
FALL = 1.8  # power of the angle by which an invented polar falls    assumption
LINES_V = (70.7, 100.0)  # voltages of lines in the question on taps [V]
TAP_OFF = 0.08  # a reading may be so far off and still show its tap [-]
TAP_DRAWN = 0.05  # as far as one that is drawn is off, at most [-]
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
    inside, outside = -level[k - 1] + 0.0, -level[k]
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
            Step(f"The last angle inside the edge, {inside:.1f} dB down", off[k - 1], "°", 0),
            Step(
                f"Edge between the two rows: {off[k - 1]:.0f} + {STEP_DEG:.0f} ×"
                f" ({-EDGE_DB:.1f} − {inside:.1f}) / ({outside:.1f} − {inside:.1f})",
                round(at, 1),
                "°",
                1,
            ),
            Step(f"Both sides: 2 × {at:.1f}", 2 * round(at, 1), "°", 0),
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
    shown_w = round(power, 2)
    over = round(float(10 * np.log10(shown_w)), 1)
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
            Step(f"Power: 2.83² / {ohm:g}", shown_w, "W", 2),
            Step(f"Over one watt: 10 log {shown_w:.2f}", over, "dB", 1),
            Step(f"For one watt: {printed_db:.1f} − ({over:.1f})", printed_db - over, "dB", 1),
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
        To the seat, on the axis; a whole number of feet where those are the units [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels
    """
    power, distance_m = rating_w / RATINGS[kind], round_length(distance_m, units, meter_step=0)
    watts, far = float(10 * np.log10(power)), float(20 * np.log10(distance_m))
    answer = sensitivity_db + watts - far
    shown = round(watts, 1), round(float(20 * np.log10(round(distance_m, 2))), 1)
    share = (
        "" if kind == "continuous" else f" That is {RATINGS[kind]:g} times the continuous power."
    )
    return Problem(
        words=(
            f"Sensitivity {sensitivity_db:.1f} dB, one watt at one meter."
            f" {kind.capitalize()} rating {rating_w:g} W.{share} Which continuous level is left on"
            f" the axis at {in_words(distance_m, units)}? Count no room, no air, no heat."
        ),
        unit="dB",
        answer=answer,
        near=1.0,
        low=20,
        high=160,
        hint="Add the power in decibels to the sensitivity. Then take off the distance in meters.",
        slips=_slips_of_level(sensitivity_db, rating_w, kind, distance_m),
        steps=(
            Step(f"Continuous power: {rating_w:g} / {RATINGS[kind]:g}", power, "W", 1),
            Step(f"Power over one watt: 10 log {power:g}", shown[0], "dB"),
            Step(f"Distance: 20 log {distance_m:.2f}", shown[1], "dB"),
            Step(
                f"Level: {sensitivity_db:.1f} + {shown[0]:.1f} − {shown[1]:.1f}",
                sensitivity_db + shown[0] - shown[1],
                "dB",
            ),
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
        Size of the mouth in the plane of the angle; a whole number of inches in those units [m]
    angle_deg : float
        Coverage angle [deg]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In hertz
    """
    mouth_m = round_length(mouth_m, units, INCH, 0)
    answer = float(control_frequency(mouth_m, angle_deg))
    inches, product = mouth_m / INCH, round(round(mouth_m, 3) * angle_deg, 1)
    wide = f"{mouth_m:.2f} m" if units == "m" else f"{inches:.0f} in ({mouth_m:.3f} m)"
    first = f"{mouth_m * 100:.0f} / 100" if units == "m" else f"{inches:.0f} × 0.0254"
    return Problem(
        words=(
            f"The mouth of a horn is {wide} wide. Its sheet promises"
            f" {angle_deg:g}° across. Down to which frequency can it hold that angle? In meters,"
            " degrees and hertz: frequency = 25,400 / (mouth × angle)."
        ),
        unit="Hz",
        answer=answer,
        near=0.07 * answer,
        low=1,
        high=50_000,
        digits=0,
        hint="Put the mouth in meters into the rule.",
        slips=(
            Slip(2 * answer, "The rule takes the full angle and the whole mouth, not half."),
            Slip(answer * mouth_m / to_file(mouth_m, "m", "ft"), IN_METERS),
            Slip(answer * mouth_m / inches, IN_METERS),
        ),
        steps=(
            Step(f"Mouth in meters: {first}", mouth_m, "m", 3),
            Step(f"Mouth × angle: {mouth_m:.3f} × {angle_deg:g}", product, "", 1),
            Step(f"Frequency: 25,400 / {product:.1f}", 25_400 / product, "Hz", 0),
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
        One of the taps

    Raises
    ------
    ValueError
        The reading comes near to none of them
    """
    square = round(volts**2)
    power = round(square / ohm, 2 if square / ohm < 10 else 1)
    near = min(TAPS, key=lambda watts: abs(watts / power - 1))
    if abs(power / near - 1) > TAP_OFF:
        raise ValueError(f"{ohm:g} ohms on a {volts:g} V line are the impedance of no usual tap.")
    other = LINES_V[0] if volts == LINES_V[1] else LINES_V[1]
    on_other = _watts(min(TAPS, key=lambda watts: abs(watts * ohm / other**2 - 1)))
    slips = ()
    if on_other != _watts(near):
        slips = (Slip(on_other, f"That takes the line for one of {other:g} V. Read its voltage."),)
    return Problem(
        words=(
            f"A loudspeaker for a {volts:g} V line measures {ohm:,.0f} ohms at 1 kHz. Readings are"
            " a few percent off. On which tap does it stand?"
        ),
        answer=_watts(near),
        choices=tuple(_watts(one) for one in TAPS),
        hint="Power is voltage squared over impedance. Take the tap that comes nearest.",
        slips=slips,
        steps=(
            Step(f"Voltage squared: {volts:g}²", square, "V²", 0),
            Step(f"Power: {square:,.0f} / {ohm:,.0f}", power, "W", 2 if power < 10 else 1),
            Step("The nearest tap", near, "W", len(f"{near:g}".partition(".")[2])),
        ),
    )


def _watts(tap_w):
    return f"{tap_w:g} W"


def _draw_tap(chance):
    """Reading at one of the taps, a few percent off."""
    volts, watts = float(chance.choice(LINES_V)), float(chance.choice(TAPS))
    off = float(chance.uniform(-TAP_DRAWN, TAP_DRAWN))
    return dict(ohm=float(round(volts**2 / watts * (1 + off))), volts=volts)


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
        draw=lambda chance: dict(half_deg=float(chance.integers(40, 160)) / 2),
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
        draw=_draw_tap,
        example=dict(ohm=172.0, volts=70.7),
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
