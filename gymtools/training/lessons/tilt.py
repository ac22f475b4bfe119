"""Tilt and throw: distance against angle from the front row of a bank to the back row."""

from dataclasses import dataclass

import numpy as np

from ...physics.air import attenuation
from ...physics.bands import EXACT
from ...physics.directivity import EDGE_DB, SKIRT, beamwidth
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from .coverage import beam_db

BAND = 4  # the octave around 2 kHz, in which a data sheet's angle is true
LOW_DEG, HIGH_DEG, STEP_DEG = -10.0, 90.0, 1.0  # tilts that are tried, as the slider has them
FIRST_TRY = (
    2 / 3
)  # of the rows, from the front: where the first try aims; common practice, no source


@dataclass(frozen=True, eq=False, kw_only=True)
class Bank:
    """A bank as one of its loudspeakers sees it: a seat of each row, and the beam."""

    rows: np.ndarray  # horizontal distance of each row from the loudspeaker (row,) [m]
    below: np.ndarray  # how far its ears are below the loudspeaker (row,) [m]
    angle_deg: float  # vertical coverage angle in the octave of the lesson [deg]
    alpha: float  # loss in air there [dB/m]

    @property
    def distance(self):
        """From the loudspeaker to each row (row,) [m]."""
        return np.hypot(self.rows, self.below)

    @property
    def down_deg(self):
        """How far each row is below the horizontal, seen from the loudspeaker (row,) [deg]."""
        return np.degrees(np.arctan2(self.below, self.rows))

    def level_db(self, downtilt_deg):
        """Level of each row, re one meter on the axis.

        Parameters
        ----------
        downtilt_deg : float
            Of the axis, positive down [deg]

        Returns
        -------
        level_db : ndarray
            (row,) [dB]
        """
        r, off = self.distance, downtilt_deg - self.down_deg
        return -20 * np.log10(r) - self.alpha * r + beam_db(off, self.angle_deg)

    def uneven_db(self, downtilt_deg):
        """Difference from the loudest to the quietest row.

        Parameters
        ----------
        downtilt_deg : float
            Of the axis, positive down [deg]

        Returns
        -------
        uneven_db : float
            Zero or more [dB]
        """
        return float(np.ptp(self.level_db(downtilt_deg)))

    @property
    def best_deg(self):
        """Tilt of all that the slider has at which the rows differ least [deg]."""
        tilts = np.arange(LOW_DEG, HIGH_DEG + STEP_DEG / 2, STEP_DEG)
        return float(min(tilts, key=self.uneven_db))

    def row_met(self, downtilt_deg):
        """Row that a line from the loudspeaker comes nearest to.

        Parameters
        ----------
        downtilt_deg : float
            Of the line, positive down [deg]

        Returns
        -------
        row : int or None
            From 1 at the front; None where the line passes more than half the step from one row to
            the next outside the first or the last [-]
        """
        down = self.down_deg
        order = np.argsort(down)
        ends = down[order[[0, -1]]]
        steps = np.abs(np.diff(down[order]))[[0, -1]] / 2
        if not ends[0] - steps[0] <= downtilt_deg <= ends[1] + steps[1]:
            return None
        return int(np.argmin(np.abs(down - downtilt_deg))) + 1

    @property
    def first_try(self):
        """Row that the rule for a first try aims at, from 1 at the front [-]."""
        return max(1, round(FIRST_TRY * len(self.rows)))


def serving(school, use, bank, group):
    """The bank of a school as the nearest loudspeaker of a group sees it.

    Parameters
    ----------
    school : Scenario
        With both
    use, bank, group : str
        Names in it

    Returns
    -------
    bank : Bank
        A seat in the middle of each row
    loudspeaker : Loudspeaker
        The one of the group that is nearest to those seats
    seats : ndarray
        One of each row, from the front to the back (row, 3) [m]

    Raises
    ------
    ValueError
        The bank has fewer than three rows
    """
    area = school.configuration(use).areas[bank]
    if area.rows < 3:
        raise ValueError(f"The {bank} has {area.rows} rows. This lesson needs three or more.")
    seats = area.points[np.arange(area.rows) * area.columns + area.columns // 2]
    mine = [one for one in school.loudspeakers if one.group == group]
    one = min(mine, key=lambda c: np.linalg.norm(seats.mean(axis=0) - c.position))
    way = seats - one.position
    air = school.air
    alpha = attenuation(EXACT[BAND], temperature_c=air.temperature_c, humidity_pct=air.humidity_pct)
    angle = beamwidth(one.type.vertical_deg, one.type.mouth_height, EXACT[BAND])
    seen = Bank(
        rows=np.linalg.norm(way[:, :2], axis=1),
        below=-way[:, 2],
        angle_deg=float(angle),
        alpha=float(alpha),
    )
    return seen, one, seats


def down(flat_m=8.0, below_m=6.0, units="ft"):
    """Angle of a row below the horizontal.

    Parameters
    ----------
    flat_m : float
        From the loudspeaker to the row, on the plan [m]
    below_m : float
        From the loudspeaker down to the ears [m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In degrees
    """
    answer = float(np.degrees(np.arctan2(below_m, flat_m)))
    flat, below = (to_file(v, "m", units) for v in (flat_m, below_m))
    return Problem(
        words=(
            f"The ears of a row are {in_words(flat_m, units)} from the loudspeaker on the plan and"
            f" {in_words(below_m, units)} below it. How far below the horizontal must the axis"
            " point to meet that row?"
        ),
        unit="°",
        answer=answer,
        near=1.5,
        low=-90,
        high=180,
        digits=0,
        hint="The drop is opposite the angle, the distance on the plan lies beside it.",
        slips=(
            Slip(90 - answer, "That is from the vertical. A downtilt counts from the horizontal."),
            Slip(
                float(np.degrees(np.arcsin(min(1.0, below_m / flat_m)))),
                "That takes the sine. The distance on the plan is no slant: the tangent.",
            ),
        ),
        steps=(
            Step(f"Drop against plan: {below:.1f} / {flat:.1f}", below_m / flat_m, "", 3),
            Step(f"Its arc tangent: arctan {below_m / flat_m:.3f}", answer, "°", 0),
        ),
        note="On paper: draw the line to the row and measure it with a protractor.",
    )


def favored(near_m=(3.0, 8.0), far_m=(11.0, 4.0), alpha=0.01, units="ft"):
    """How much louder the front row is before a tilt helps.

    Parameters
    ----------
    near_m, far_m : tuple of float
        Of the front row and of the back row: distance on the plan, and down to the ears [m]
    alpha : float
        Loss in air [dB/m]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        The back row is not farther away than the front row
    """
    r = np.hypot(*np.array([near_m, far_m], float).T)
    if r[1] <= r[0]:
        raise ValueError("The back row must be farther from the loudspeaker than the front row.")
    spread, air = float(20 * np.log10(r[1] / r[0])), float(alpha * (r[1] - r[0]))
    per_step = alpha * (30.48 if units == "ft" else 30.0)
    hundred = "100 ft" if units == "ft" else "30 m"
    near, far = to_file(r[0], "m", units), to_file(r[1], "m", units)
    flat = float(20 * np.log10(max(far_m[0], 0.1) / max(near_m[0], 0.1)))
    return Problem(
        words=(
            f"The front row is {in_words(near_m[0], units)} from the loudspeaker on the plan and"
            f" {in_words(near_m[1], units)} below it. The back row is {in_words(far_m[0], units)}"
            f" away and {in_words(far_m[1], units)} below. The air takes {per_step:.1f} dB per"
            f" {hundred}. How much louder is the front row before the beam counts?"
        ),
        unit="dB",
        answer=spread + air,
        near=0.4,
        low=-20,
        high=60,
        hint="Work out both slant distances first. Then 20 log of their ratio, and the air.",
        slips=(
            Slip(flat, "That uses the distances on the plan. The height belongs to the way."),
            Slip(spread / 2 + air, "That takes 10 log. Level falls with 20 log of the distance."),
        ),
        steps=(
            Step("Slant to the front row", float(near), units),
            Step("Slant to the back row", float(far), units),
            Step(f"Spreading: 20 log({far:.1f} / {near:.1f})", spread, "dB"),
            Step("The air over the rest of the way", air, "dB", 2),
            Step("Both together", spread + air, "dB"),
        ),
        note="The beam has to take that much more from the front row than from the back row.",
    )


def left(aimed_deg=35.0, near_deg=65.0, far_deg=20.0, angle_deg=60.0, favor_db=3.5):
    """How much louder the front row is with a tilt.

    Parameters
    ----------
    aimed_deg : float
        Downtilt of the axis [deg]
    near_deg, far_deg : float
        How far the front row and the back row are below the horizontal [deg]
    angle_deg : float
        Vertical coverage angle [deg]
    favor_db : float
        How much louder the front row is before the beam counts [dB]

    Returns
    -------
    problem : Problem
        In decibels
    """
    half = angle_deg / 2
    front, back = (float(-beam_db(aimed_deg - v, angle_deg)) for v in (near_deg, far_deg))
    answer = favor_db - front + back
    off = abs(aimed_deg - near_deg), abs(aimed_deg - far_deg)
    return Problem(
        words=(
            f"Seen from the loudspeaker the front row is {near_deg:g}° below the horizontal and the"
            f" back row {far_deg:g}°. The beam is {angle_deg:g}° and points {aimed_deg:g}° down."
            f" Off its axis it takes {EDGE_DB:g} · (angle / {half:g})^{SKIRT:g} dB. Distance and"
            f" air favor the front row by {favor_db:g} dB. By how much is the front row louder now?"
            " Less than zero means softer."
        ),
        unit="dB",
        answer=answer,
        near=0.5,
        low=-100,
        high=100,
        hint="For each row: its angle off the axis, then what the beam takes there.",
        slips=(
            Slip(favor_db + front - back, "The beam takes from the front row, it does not add."),
            Slip(favor_db - front, "The back row is off the axis too. Count its loss as well."),
            Slip(-answer, "That is the back row against the front row. Mind the sign."),
        ),
        steps=(
            Step(f"Beam at the front: {EDGE_DB:g} · ({off[0]:g}/{half:g})^{SKIRT:g}", front, "dB"),
            Step(f"Beam at the back: {EDGE_DB:g} · ({off[1]:g}/{half:g})^{SKIRT:g}", back, "dB"),
            Step(f"Front over back: {favor_db:g} − {front:.1f} + {back:.1f}", answer, "dB"),
        ),
        note="Near zero the two rows are even. The rows between them are then the louder ones.",
    )


def _draw_down(chance):
    return dict(flat_m=float(chance.integers(6, 40)) / 2, below_m=float(chance.integers(5, 19)) / 2)


def _draw_favored(chance):
    flat, below = float(chance.integers(4, 13)) / 2, float(chance.integers(10, 19)) / 2
    rows = int(chance.integers(8, 21))
    return dict(
        near_m=(flat, below),
        far_m=(flat + 0.7 * rows, max(1.0, below - 0.25 * rows)),
        alpha=float(chance.integers(6, 16)) / 1000,
    )


def _draw_left(chance):
    far = float(chance.integers(8, 31))
    near = far + float(chance.integers(20, 46))
    return dict(
        near_deg=near,
        far_deg=far,
        aimed_deg=far + float(chance.integers(2, int(near - far) // 2 + 1)),
        angle_deg=float(chance.choice([40, 50, 60])),
        favor_db=float(chance.integers(4, 13)) / 2,
    )


EXERCISES = (
    Exercise(
        "tilt.down",
        "How far down is a row?",
        problem=down,
        draw=_draw_down,
        needs_units=True,
        example=dict(flat_m=10.0, below_m=6.0),
    ),
    Exercise(
        "tilt.favored",
        "How much does distance favor the front row?",
        problem=favored,
        draw=_draw_favored,
        needs_units=True,
        example=dict(near_m=(4.0, 7.0), far_m=(12.0, 3.0), alpha=0.01),
    ),
    Exercise(
        "tilt.left",
        "What does a tilt leave between front and back?",
        problem=left,
        draw=_draw_left,
        example=dict(aimed_deg=30.0, near_deg=60.0, far_deg=20.0, angle_deg=60.0, favor_db=4.0),
    ),
)
