"""Tilt and throw: distance against angle from the front row of a bank to the back row."""

from dataclasses import dataclass, replace

import numpy as np

from ...physics.air import attenuation
from ...physics.bands import EXACT, to_level
from ...physics.directivity import EDGE_DB, SKIRT, beamwidth
from ...venue.units import in_words, to_file
from ..exercises import Exercise, Problem, Slip, Step
from ..round_lengths import round_length
from .coverage import beam_db

BAND = 4  # the octave around 2 kHz, in which a data sheet's angle is true
CUT_DEG = np.arange(-180.0, 181.0)  # off the axis, up positive [deg]
FORMULA_TO = 1.2  # of half the coverage angle: farther off, sides and rear count too [-]
ALLOWED_DB = 3.0  # how uneven a row might be in the two lessons before [dB]
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
    cut_db: np.ndarray  # what the loudspeaker radiates at ``CUT_DEG`` in that octave (angle,) [dB]

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
        return -20 * np.log10(r) - self.alpha * r + np.interp(off, CUT_DEG, self.cut_db)

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
        """Tilt of all that the slider has at which the rows differ least, among those whose axis
        meets a row: far off its beam a loudspeaker is even too, and soft [deg].
        """
        tilts = np.arange(LOW_DEG, HIGH_DEG + STEP_DEG / 2, STEP_DEG)
        return float(min(tilts, key=lambda t: (self.row_met(t) is None, self.uneven_db(t))))

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

    def moved(self, up_m=0.0, back_m=0.0):
        """The same bank with the loudspeaker somewhere else.

        Parameters
        ----------
        up_m, back_m : float
            How much higher it hangs, and how much farther from the bank [m]

        Returns
        -------
        bank : Bank
            As it is seen from there
        """
        return replace(self, rows=self.rows + back_m, below=self.below + up_m)

    def without_front(self, rows):
        """The same bank without its front rows.

        Parameters
        ----------
        rows : int
            That are left out [-]

        Returns
        -------
        bank : Bank
            The rows behind them
        """
        return replace(self, rows=self.rows[rows:], below=self.below[rows:])

    def too_many_for_one(self, allowed_db):
        """Front rows that need loudspeakers of their own, so that one serves the others evenly.

        Parameters
        ----------
        allowed_db : float
            From the loudest to the quietest row, at the best tilt [dB]

        Returns
        -------
        rows : int
            Zero where one loudspeaker serves all [-]
        """
        return next(
            n
            for n in range(len(self.rows))
            if (rest := self.without_front(n)).uneven_db(rest.best_deg) <= allowed_db
        )

    @property
    def first_try(self):
        """Row that the rule for a first try aims at, from 1 at the front [-]."""
        return max(1, round(FIRST_TRY * len(self.rows)))


def vertical_cut(kind):
    """What a type of loudspeaker radiates over and under its axis.

    Parameters
    ----------
    kind : LoudspeakerType
        With its balloon

    Returns
    -------
    level_db : ndarray
        Re the axis, at ``CUT_DEG`` (angle, band) [dB]
    """
    up = np.radians(CUT_DEG)
    way = np.stack([np.cos(up), np.zeros_like(up), np.sin(up)], axis=-1)
    return to_level(kind.balloon.toward(way.astype(np.float32)).astype(float))


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
        cut_db=vertical_cut(one.type)[:, BAND],
    )
    return seen, one, seats


def down(flat_m=8.0, below_m=6.0, units="ft", whole=False):
    """Angle of a row below the horizontal.

    Parameters
    ----------
    flat_m : float
        From the loudspeaker to the row, on the plan [m]
    below_m : float
        From the loudspeaker down to the ears [m]
    units : str
        "m" or "ft"
    whole : bool
        Whether lengths are rounded as ``round_length``

    Returns
    -------
    problem : Problem
        In degrees
    """
    if whole:
        flat_m, below_m = (round_length(v, units) for v in (flat_m, below_m))
    answer = float(np.degrees(np.arctan2(below_m, flat_m)))
    flat, below = (round(float(to_file(v, "m", units)), 2) for v in (flat_m, below_m))
    ratio = round(below / flat, 3)
    slips = [Slip(90 - answer, "That is from the vertical. A downtilt counts from the horizontal.")]
    if below_m < flat_m:  # no sine is more than one
        sine = float(np.degrees(np.arcsin(below_m / flat_m)))
        words = "That takes the sine. The distance on the plan is no slant: the tangent."
        slips.append(Slip(sine, words))
    return Problem(
        words=(
            f"The ears of a row are {in_words(flat_m, units)} from the loudspeaker on the plan and"
            f" {in_words(below_m, units)} below it. How far below the horizontal must the axis"
            " point to meet that row?"
        ),
        unit="°",
        answer=answer,
        near=1.0,
        low=-90,
        high=180,
        hint="The drop is opposite the angle, the distance on the plan lies beside it.",
        slips=tuple(slips),
        steps=(
            Step(f"Drop against plan: {below:g} / {flat:g}", ratio, "", 3),
            Step(f"Its arc tangent: arctan {ratio:.3f}", float(np.degrees(np.arctan(ratio))), "°"),
        ),
        note="On paper: draw the line to the row and measure it with a protractor.",
    )


def favored(near_m=(3.0, 8.0), far_m=(11.0, 4.0), units="ft", whole=False):
    """How much louder the front row is before a tilt helps.

    Parameters
    ----------
    near_m, far_m : tuple of float
        Of the front row and of the back row: distance on the plan, and down to the ears [m]
    units : str
        "m" or "ft"
    whole : bool
        Whether lengths are rounded as ``round_length``

    Returns
    -------
    problem : Problem
        In decibels

    Raises
    ------
    ValueError
        The back row is not farther away than the front row
    """
    if whole:
        near_m, far_m = (tuple(round_length(v, units) for v in row) for row in (near_m, far_m))
    r = np.hypot(*np.array([near_m, far_m], float).T)
    if r[1] <= r[0]:
        raise ValueError("The back row must be farther from the loudspeaker than the front row.")
    spread = float(20 * np.log10(r[1] / r[0]))
    flat = float(20 * np.log10(max(far_m[0], 0.1) / max(near_m[0], 0.1)))
    return Problem(
        words=(
            f"The front row is {in_words(near_m[0], units)} from the loudspeaker on the plan and"
            f" {in_words(near_m[1], units)} below it. The back row is {in_words(far_m[0], units)}"
            f" away and {in_words(far_m[1], units)} below. How much louder is the front row before"
            " the beam counts? Leave the air out: at 2 kHz it takes very little here."
        ),
        unit="dB",
        answer=spread,
        near=0.25,
        low=-20,
        high=60,
        hint="Work out both slant distances first. Then 20 log of their ratio.",
        slips=(
            Slip(flat, "That uses the distances on the plan. The height belongs to the way."),
            Slip(spread / 2, "That takes 10 log. Level falls with 20 log of the distance."),
        ),
        steps=_slants(near_m, far_m, units),
        note="The beam has to take that much more from the front row than from the back row.",
    )


def _slants(near_m, far_m, units):
    """How ``favored`` is worked, each line from the numbers that the lines before it show."""
    lines, slants = [], []
    for name, row in (("front", near_m), ("back", far_m)):
        flat, below = (round(float(to_file(v, "m", units)), 2) for v in row)
        slants.append(round(float(np.hypot(flat, below)), 1))
        words = f"Slant to the {name} row, √(plan^2 + drop^2): √({flat:g}^2 + {below:g}^2)"
        lines.append(Step(words, slants[-1], units))
    ratio = round(slants[1] / slants[0], 2)
    return (
        *lines,
        Step(f"Ratio of the slants: {slants[1]:.1f} / {slants[0]:.1f}", ratio, "", 2),
        Step(f"Spreading: 20 log {ratio:.2f}", float(20 * np.log10(ratio)), "dB"),
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
    shown = round(front, 1), round(back, 1)
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
        near=0.3,
        low=-100,
        high=100,
        hint="For each row: its angle off the axis, then what the beam takes there.",
        slips=(
            Slip(favor_db + front - back, "The beam takes from the front row, it does not add."),
            Slip(favor_db - front, "The back row is off the axis too. Count its loss as well."),
            Slip(-answer, "That is the back row against the front row. Mind the sign."),
        ),
        steps=(
            Step(
                f"Beam at the front: {EDGE_DB:g} · ({off[0]:g}/{half:g})^{SKIRT:g}", shown[0], "dB"
            ),
            Step(
                f"Beam at the back: {EDGE_DB:g} · ({off[1]:g}/{half:g})^{SKIRT:g}", shown[1], "dB"
            ),
            Step(
                f"Front over back: {favor_db:g} − {shown[0]:.1f} + {shown[1]:.1f}",
                favor_db - shown[0] + shown[1],
                "dB",
            ),
        ),
        note="Near zero the two rows are even. The rows between them are then the louder ones.",
    )


def _draw_down(chance):
    """Rows whose sine, where there is one, is not nearly the tangent."""
    while True:
        flat, below = float(chance.integers(6, 40)) / 2, float(chance.integers(5, 19)) / 2
        if 0.5 < below / flat < 0.9 or 1.2 < below / flat:
            return dict(flat_m=flat, below_m=below, whole=True)


def _draw_favored(chance):
    while True:
        flat, below = float(chance.integers(4, 13)) / 2, float(chance.integers(10, 19)) / 2
        rows = int(chance.integers(8, 21))
        far = flat + 0.7 * rows, max(1.0, below - 0.25 * rows)
        if np.hypot(*far) > 1.2 * np.hypot(flat, below):
            return dict(near_m=(flat, below), far_m=far, whole=True)


def _draw_left(chance):
    """Rows that are both well off the axis, not farther than the formula holds."""
    while True:
        half = float(chance.choice([20, 25, 30]))
        far = float(chance.integers(8, 26))
        back = float(chance.integers(int(0.5 * half), int(half) + 1))
        front = float(chance.integers(int(0.6 * half), int(FORMULA_TO * half) + 1))
        favor = float(chance.integers(4, 13)) / 2
        lost = EDGE_DB * (front / half) ** SKIRT, EDGE_DB * (back / half) ** SKIRT
        left_db = favor - lost[0] + lost[1]
        if abs(left_db) > 0.4 and abs(lost[0] - lost[1]) > 0.4 and lost[1] > 0.8:
            return dict(
                near_deg=far + back + front,
                far_deg=far,
                aimed_deg=far + back,
                angle_deg=2 * half,
                favor_db=favor,
            )


EXERCISES = (
    Exercise(
        "tilt.down",
        "How far down is a row?",
        problem=down,
        draw=_draw_down,
        needs_units=True,
        example=dict(flat_m=10.0, below_m=6.0, whole=True),
    ),
    Exercise(
        "tilt.favored",
        "How much does distance favor the front row?",
        problem=favored,
        draw=_draw_favored,
        needs_units=True,
        example=dict(near_m=(4.0, 7.0), far_m=(12.0, 3.0), whole=True),
    ),
    Exercise(
        "tilt.left",
        "What does a tilt leave between front and back?",
        problem=left,
        draw=_draw_left,
        example=dict(aimed_deg=40.0, near_deg=70.0, far_deg=20.0, angle_deg=60.0, favor_db=5.0),
    ),
)
