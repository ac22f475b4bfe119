"""Angle and coverage: how wide a beam is on a row, and what two beams give where they meet."""

import numpy as np
from scipy.optimize import brentq

from ...physics.bands import sum_levels
from ...physics.directivity import EDGE_DB, SKIRT
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length

TWO_DB = float(10 * np.log10(2))  # of two equal sounds over one of them [dB]
NUMBER = 3  # loudspeakers of the experiment's group


def beam_db(off_deg, angle_deg):
    """What a beam loses off its axis.

    Parameters
    ----------
    off_deg : float or array
        Angle off the axis [deg]
    angle_deg : float or array
        Full coverage angle [deg]

    Returns
    -------
    level_db : ndarray
        Re the axis, zero or less, shape of ``off_deg`` [dB]

    Sources
    -------
    ``directivity.generic_balloon`` without its rear: -6 dB at the edge by definition, its shape
    between axis and edge an assumption.
    """
    return -EDGE_DB * (np.abs(off_deg) / (np.asarray(angle_deg, float) / 2)) ** SKIRT


def seam_db(spacing, distance, angle_deg):
    """Level in the middle between two equal loudspeakers that point straight at a row.

    Parameters
    ----------
    spacing : float or array
        From one to the other [m]
    distance : float
        Of both from the row [m]
    angle_deg : float
        Full coverage angle [deg]

    Returns
    -------
    level_db : ndarray
        Re one of them alone on its axis, shape of ``spacing`` [dB]
    """
    off = np.arctan2(np.asarray(spacing, float) / 2, distance)
    return beam_db(np.degrees(off), angle_deg) + 20 * np.log10(np.cos(off)) + TWO_DB


def edge_to_edge(distance, angle_deg):
    """Spacing at which the edges of two beams meet on the row.

    Parameters
    ----------
    distance : float
        Of the loudspeakers from the row [m]
    angle_deg : float
        Full coverage angle, less than 180 [deg]

    Returns
    -------
    spacing : float
        As wide as the beam [m]
    """
    return float(2 * distance * np.tan(np.radians(angle_deg / 2)))


def width(distance_m=9.0, angle_deg=80.0, units="ft", whole=False):
    """Width of a beam on a straight row.

    Parameters
    ----------
    distance_m : float
        Along the axis [m]
    angle_deg : float
        Full coverage angle, less than 180 [deg]
    units : str
        "m" or "ft"
    whole : bool
        Whether the distance is rounded as ``round_length``

    Returns
    -------
    problem : Problem
        In meters or feet
    """
    distance_m = round_length(distance_m, units) if whole else distance_m
    half, d = np.radians(angle_deg / 2), round(float(to_file(distance_m, "m", units)), 2)
    answer = float(2 * d * np.tan(half))
    to_edge = round(answer / 2, 2)
    return Problem(
        words=(
            f"{_article(angle_deg)} {angle_deg:g}° loudspeaker is {in_words(distance_m, units)}"
            " from a row and points straight at it. How wide is its beam on the row, from edge to"
            " edge?"
        ),
        unit=units,
        answer=answer,
        near=0.02 * answer,
        low=0,
        high=1e4,
        hint="Draw the axis and one edge: a right triangle. Its angle is half the coverage angle.",
        slips=(
            Slip(answer / 2, "That is from the axis to one edge. The beam has two halves."),
            Slip(float(2 * d * half), "That is the arc. A row of seats is straight."),
            Slip(float(2 * d * np.sin(half)), "That is the sine. The axis is known: the tangent."),
        ),
        steps=(
            Step(f"Half the angle: {angle_deg:g} / 2", angle_deg / 2, "°"),
            Step(f"Axis to edge: {d:g} × tan {angle_deg / 2:g}°", to_edge, units, 2),
            Step(f"Both halves: 2 × {to_edge:.2f}", 2 * to_edge, units),
        ),
        note="The edge is not where sound ends. It is where the beam has lost half its pressure.",
    )


def _article(number):
    """The article before a number of two or three figures that is read out."""
    return "An" if f"{number:g}".startswith("8") or number in (11, 18) else "A"


def seam(angle_deg=70.0):
    """Level where the edges of two beams meet on a straight row.

    Parameters
    ----------
    angle_deg : float
        Full coverage angle, less than 180 [deg]

    Returns
    -------
    problem : Problem
        In decibels re one of them on its axis
    """
    half = np.radians(angle_deg / 2)
    path = float(20 * np.log10(np.cos(half)))
    answer = float(-EDGE_DB + path + TWO_DB)
    way, two = round(-path, 1), round(TWO_DB, 1)
    return Problem(
        words=(
            f"Two equal {angle_deg:g}° loudspeakers point straight at a row. They hang so far apart"
            " that the edges of their beams meet on the row. How many decibels under the axis of"
            " one loudspeaker is the seat where they meet? Leave the air out."
        ),
        unit="dB",
        answer=-answer,
        near=0.3,
        low=-30,
        high=60,
        hint="Three parts: what the beam takes, what the longer way takes, what the second adds.",
        slips=(
            Slip(EDGE_DB, "That is the edge of one beam. Count the way and the second one too."),
            Slip(EDGE_DB - TWO_DB, "The way to the seam is longer than the axis. It costs more."),
            Slip(EDGE_DB - path, "That is one of them alone. The second adds its energy."),
            Slip(0.0, "Two edges do not make a whole: equal energies add only a little."),
            Slip(answer, "You are asked how far under the axis it is: a positive number."),
        ),
        steps=(
            Step("What the beam takes at its edge, by definition", EDGE_DB, "dB"),
            Step(f"What the longer way takes: 20 log(1 / cos {angle_deg / 2:g}°)", way, "dB"),
            Step("What two equal energies give back: 10 log 2", two, "dB"),
            Step(
                f"Under the axis: {EDGE_DB:.1f} + {way:.1f} − {two:.1f}", EDGE_DB + way - two, "dB"
            ),
        ),
        note="So hang loudspeakers closer than edge to edge where the seam must not be weak.",
    )


def widest(distance, angle_deg, under_db):
    """Spacing at which the seam is so far under the axis of one.

    Parameters
    ----------
    distance : float
        Of both loudspeakers from the row [m]
    angle_deg : float
        Full coverage angle, less than 180 [deg]
    under_db : float
        How far the seam may be under the axis, 0 to 30 [dB]

    Returns
    -------
    spacing : float
        From one to the other [m]
    """
    # so far apart, the way alone takes more than 30 dB
    return brentq(lambda s: seam_db(s, distance, angle_deg) + under_db, 0, 200 * distance)


def _tried(off, d, angle_deg, under_db, units):
    """Steps from what the seam may lose to the angle at which it does, and to the spacing."""
    off, two = round(off, 1), round(TWO_DB, 1)
    loss = round(-float(beam_db(off, angle_deg)), 1)
    way = round(-float(20 * np.log10(np.cos(np.radians(off)))), 1)
    return (
        Step(f"Beam and way may take: {under_db:g} + {two:.1f}", under_db + two, "dB"),
        Step("By trying, the angle off the axis where they do", off, "°"),
        Step(
            f"There the beam takes: {EDGE_DB:g} · ({off:.1f} / {angle_deg / 2:g})^{SKIRT:g}",
            loss,
            "dB",
        ),
        Step(f"There the way takes: 20 log(1 / cos {off:.1f}°)", way, "dB"),
        Step(f"Both, to compare with the first line: {loss:.1f} + {way:.1f}", loss + way, "dB"),
        Step(
            f"Apart: 2 × {d:g} × tan {off:.1f}°",
            float(2 * d * np.tan(np.radians(off))),
            units,
        ),
    )


def apart(distance_m=9.0, angle_deg=90.0, under_db=3.0, units="ft", whole=False):
    """Largest spacing at which the seam is no further under the axis than allowed.

    Parameters
    ----------
    distance_m : float
        Of the loudspeakers from the row [m]
    angle_deg : float
        Full coverage angle, less than 180 [deg]
    under_db : float
        How far the seam may be under the axis of one [dB]
    units : str
        "m" or "ft"
    whole : bool
        Whether the distance is rounded as ``round_length``

    Returns
    -------
    problem : Problem
        In meters or feet
    """
    distance_m = round_length(distance_m, units) if whole else distance_m
    found = widest(distance_m, angle_deg, under_db)
    edge = edge_to_edge(distance_m, angle_deg)
    off = float(np.degrees(np.arctan2(found / 2, distance_m)))
    answer, d = (float(to_file(v, "m", units)) for v in (found, distance_m))
    return Problem(
        words=(
            f"Two equal {angle_deg:g}° loudspeakers point straight at a row,"
            f" {in_words(distance_m, units)} away. The seat in the middle may be {under_db:g} dB"
            " under the axis of one of them, no more. How far apart may they hang?"
        ),
        unit=units,
        answer=answer,
        near=0.04 * answer,
        low=0,
        high=1e4,
        hint=(
            "Try an angle: add the loss of the beam and of the way, and take off the gain of two."
            " Then try a better one."
        ),
        slips=(
            Slip(
                float(to_file(edge, "m", units)),
                "That is edge to edge. The seam there is not what it may be. Work it out.",
            ),
            Slip(answer / 2, "That is from one axis to the seam. The other half is as long."),
        ),
        steps=_tried(off, round(d, 2), angle_deg, under_db, units),
        note=f"Edge to edge would be {to_file(edge, 'm', units):.1f} {units}.",
    )


def _draw_width(chance):
    """Angles wide enough that arc, sine and tangent differ."""
    return dict(
        distance_m=float(chance.integers(8, 33)) / 2,
        angle_deg=float(chance.integers(10, 25) * 5),
        whole=True,
    )


def _draw_seam(chance):
    """Angles whose seam is neither the edge of one beam nor what is left without the way."""
    return dict(angle_deg=float(chance.choice([*range(46, 82), *range(100, 136)])))


def _draw_apart(chance):
    return dict(
        distance_m=float(chance.integers(8, 33)) / 2,
        angle_deg=float(chance.choice([60, 70, 80, 90, 100, 110])),
        under_db=float(chance.integers(1, 7)) / 2,
        whole=True,
    )


EXERCISES = (
    Exercise(
        "coverage.width",
        "How wide is the beam on a row?",
        problem=width,
        draw=_draw_width,
        needs_units=True,
        example=dict(distance_m=10.0, angle_deg=60.0, whole=True),
    ),
    Exercise(
        "coverage.seam",
        "How weak is the seam where two edges meet?",
        problem=seam,
        draw=_draw_seam,
        example=dict(angle_deg=50.0),
    ),
    Exercise(
        "coverage.apart",
        "How far apart may two loudspeakers hang?",
        problem=apart,
        draw=_draw_apart,
        needs_units=True,
        example=dict(distance_m=8.0, angle_deg=100.0, under_db=3.0, whole=True),
    ),
)


def along(spacing, angle_deg, distance):
    """Level along a row under a group of equal loudspeakers that point straight at it.

    Parameters
    ----------
    spacing : float
        From one to the next [m]
    angle_deg : float
        Full coverage angle [deg]
    distance : float
        Of all of them from the row [m]

    Returns
    -------
    x : ndarray
        Along the row, from the axis of the first to that of the last (seat,) [m]
    level_db : ndarray
        Of each alone and of all together (curve, seat), re one of them on its axis [dB]
    """
    axes = spacing * np.arange(NUMBER)
    x = np.linspace(0, axes[-1], 60 * (NUMBER - 1) + 1)  # a seat on each axis and on each seam
    aside = x - axes[:, None]  # (loudspeaker, seat)
    level = beam_db(np.degrees(np.arctan2(aside, distance)), angle_deg)
    level = level - 20 * np.log10(np.hypot(aside, distance) / distance)
    return x, np.stack([*level, sum_levels(level, axis=0)])
