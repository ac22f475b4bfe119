"""Where a loudspeaker's sound lands first: with an aim, and what it would be without one."""

from functools import cached_property

import numpy as np

from ...acoustics.evaluate import evaluate
from ...physics.bands import to_energy
from ...physics.geometry import first_hit
from ...physics.landing import even_fan
from ...venue.paths import changed
from ...venue.units import FOOT, area_text, in_words
from ..exercises import Exercise, Problem, Slip, Step

SPHERE = 4 * np.pi  # solid angle of all directions [sr]
RAYS = 6000  # in all directions, from every loudspeaker of a group [-]
BAND = 4  # the octave around 2 kHz
NEAR_PCT = 0.5  # an answer so near counts [percentage points]
STEP = {"ft": 2.0, "m": 0.5}  # lengths are drawn in these [unit]
SURFACES = {"ft": 1000.0, "m": 100.0}  # and surfaces in these [unit2]
DEGREES = 180 / np.pi  # in a radian
WHAT_IT_IS = (
    "Its solid angle, in steradians (sr), is the area that it covers on a sphere of radius 1 around"
    " the loudspeaker; the whole sphere has 4π sr."
)


def solid_angle(length, width, height):
    """Solid angle of a rectangle seen from over its middle.

    Parameters
    ----------
    length, width : float
        Of the rectangle [m]
    height : float
        Over its middle [m]

    Returns
    -------
    angle : float
        From 0, far away, to half a sphere, close up [sr]

    Sources
    -------
    Closed form, e.g. from the formula for plane triangles: A. Van Oosterom and J. Strackee, IEEE
    Trans. Biomed. Eng. BME-30 (1983) 125 (from memory).
    """
    slant = 2 * height * np.sqrt(4 * height**2 + length**2 + width**2)
    return float(4 * np.arctan(length * width / slant))


def unaimed(length=20, width=12, height=10, surfaces=22, units="ft"):
    """What a loudspeaker without any aim puts onto a block of seats.

    Parameters
    ----------
    length, width : int
        Of the block [steps of 2 ft or 0.5 m]
    height : int
        Of the loudspeaker over its middle [steps of 2 ft or 0.5 m]
    surfaces : int
        All surfaces of the gym together [thousands of ft2 or hundreds of m2]
    units : str
        "m" or "ft": lengths are round in these

    Returns
    -------
    problem : Problem
        In percent
    """
    per = FOOT if units == "ft" else 1.0
    a, b, h = (STEP[units] * float(steps) for steps in (length, width, height))
    block, all_of_it = a * b * per**2, SURFACES[units] * surfaces * per**2
    share = 100 * solid_angle(a, b, h) / SPHERE
    return Problem(
        words=(
            "A loudspeaker that radiates alike in all directions hangs"
            f" {in_words(h * per, units)} over the middle of a block of seats. The block is"
            f" {in_words(a * per, units)} long and {in_words(b * per, units)} wide,"
            f" {_areas(block, units)} of all {_areas(all_of_it, units)} of surface in the gym."
            f" {WHAT_IT_IS} For a rectangle l long and w wide, seen from the height h over its"
            " middle, it is 4 arctan( l w / (2 h √(4 h² + l² + w²)) ), with the arctan in radians:"
            " degrees × π / 180. What share of the sound lands on the block first?"
        ),
        unit="%",
        answer=share,
        near=max(NEAR_PCT, 0.05 * share),
        low=0,
        high=100 * DEGREES,  # so that an arctan in degrees is told for what it is
        hint="How much of its view does the block fill? Take its solid angle against a sphere's.",
        slips=_unlike(share, 100 * block / all_of_it, 100 * a * b / (SPHERE * h**2)),
        steps=_steps(a, b, h, units),
        note="The same block far from the loudspeaker gets less, though its area stays.",
    )


def _unlike(share, of_surfaces, as_near_as_its_middle):
    """What is taken for the share of the view [%]."""
    return (
        Slip(
            of_surfaces,
            "That is the block's share of the surfaces. A loudspeaker knows no areas: what"
            " counts is how much of its view the block fills, its solid angle.",
        ),
        Slip(
            as_near_as_its_middle,
            "That takes the whole block as near as its middle. Its edges are farther away, and"
            " the loudspeaker sees them at a slant.",
        ),
        Slip(2 * share, "That is the share of half a sphere. Sound leaves upward as well."),
        Slip(
            share * DEGREES,
            "Your arctan is in degrees. Multiply it by π / 180, or set the calculator to radians.",
            near=0.02 * share * DEGREES,
        ),
    )


def _steps(a, b, h, units):
    """How the share of a sphere is worked, each line from the numbers that are shown before it."""
    area, slant = a * b, round(2 * h * np.sqrt(4 * h * h + a * a + b * b), 1)
    ratio = round(area / slant, 4)
    angle = round(4 * float(np.arctan(ratio)), 3)
    square, whole = f"{units}²", 0 if float(area).is_integer() else 2
    root = f"√(4 × {h:g}² + {a:g}² + {b:g}²)"
    return (
        Step(f"Area of the block: {a:g} × {b:g}", area, square, whole, near=0.005 * area),
        Step(f"The root: 2 × {h:g} × {root}", slant, square, 1, near=0.005 * slant),
        Step(f"Area over that: {area:,.{whole}f} / {slant:,.1f}", ratio, "", 4, near=0.001),
        Step(f"Solid angle: 4 arctan {ratio:.4f}, in radians", angle, "sr", 3, near=0.01),
        Step(
            f"In percent of a sphere: 100 × {angle:.3f} / (4 × 3.1416)", 100 * angle / SPHERE, "%"
        ),
    )


def _areas(area_m2, units):
    """An area in both units, the chosen one first."""
    other = "m" if units == "ft" else "ft"
    return f"{area_text(area_m2, units)} ({area_text(area_m2, other)})"


class Aimed:
    """A group of loudspeakers in a school, turned, and where its sound lands first.

    Parameters
    ----------
    school : Scenario
        With the group and the bank
    use : str
        Name of a use
    bank : str
        Part of the room with people that the group serves
    group : str
        Name of the loudspeakers' group
    """

    def __init__(self, school, use, bank, group):
        self.school, self.use, self.bank, self.group = school, use, bank, group
        self._mine = [n for n, one in enumerate(school.loudspeakers) if one.group == group]
        self._known = {}

    def design(self, downtilt_deg):
        """The school with the group turned.

        Parameters
        ----------
        downtilt_deg : float
            Positive is down [deg]

        Returns
        -------
        school : Scenario
            All else as it was
        """
        return changed(self.school, {("groups", self.group, "downtilt_deg"): float(downtilt_deg)})

    def turned(self, downtilt_deg):
        """The gym with the group turned, its own sound by formula; kept.

        Parameters
        ----------
        downtilt_deg : float
            Positive is down [deg]

        Returns
        -------
        result : Result
            By formula
        """
        tilt = float(downtilt_deg)
        if tilt not in self._known:
            self._known[tilt] = evaluate(self.design(tilt), self.use, room="statistical")
        return self._known[tilt]

    def landing(self, result):
        """Share of the group's sound that lands on each part first, 500 Hz to 4 kHz.

        Parameters
        ----------
        result : Result
            Of ``turned``

        Returns
        -------
        shares : dict
            By part, largest first [%]
        """
        shares = 100 * result.first_incidence[self._mine].mean(axis=0)
        order = np.argsort(-shares)
        return {result.parts[n]: float(shares[n]) for n in order}

    def onto(self, result):
        """Share of the group's sound that lands on the bank first.

        Parameters
        ----------
        result : Result
            Of ``turned``

        Returns
        -------
        share : float
            500 Hz to 4 kHz [%]
        """
        return self.landing(result)[self.bank]

    def over_direct(self, result):
        """Reverberant sound over the direct sound in the bank, octave around 2 kHz.

        Parameters
        ----------
        result : Result
            Of ``turned``

        Returns
        -------
        over : float
            Energy means [dB]
        """
        direct = to_energy(result.level_db[result.summary(self.bank).points, BAND]).mean()
        return float(result.reverberant_db[BAND] - 10 * np.log10(direct))

    @cached_property
    def unaimed(self):
        """What each part would get without an aim: the share of all directions that it fills.

        A dict by part; rays spread evenly, mean over the group, what stands in front counted [%].
        """
        result = self.turned(0.0)
        position = result.sources.position[self._mine]
        fan = np.broadcast_to(even_fan(RAYS), (len(position), RAYS, 3))
        met, _ = first_hit(position, fan, result.configuration.room.polygons)
        parts = np.array(result.configuration.room.parts)
        # what a part is made of, and whether a ray met it
        return {p: float(100 * (parts[met] == p)[met >= 0].mean()) for p in result.parts}

    @cached_property
    def of_surfaces(self):
        """The bank's share of the gym's surfaces [%]."""
        room = self.turned(0.0).configuration.room
        return float(100 * room.area[np.array(room.parts) == self.bank].sum() / room.area.sum())


def onto_bank(aimed, hung_deg=8.0):
    """How much of a group's sound lands on the people of its bank.

    Parameters
    ----------
    aimed : Aimed
        The group in its school
    hung_deg : float
        Its downtilt [deg]

    Returns
    -------
    problem : Problem
        In percent
    """
    share, without = aimed.onto(aimed.turned(hung_deg)), aimed.unaimed[aimed.bank]
    angle, times = round(SPHERE * without / 100, 3), round(share / without, 2)
    return Problem(
        words=(
            f"Seen from the {aimed.group} of {aimed.school.name}, the {aimed.bank} fills a solid"
            f" angle of {angle:.3f} steradians (sr): as large an area on a sphere of radius 1"
            f" around the loudspeakers, of 4π in all. The group is tilted {hung_deg:g}° down."
            f" Toward the bank it then sends {times:.2f} times as much as it would if it radiated"
            " alike in all directions (500 Hz to 4 kHz). What share of all its sound lands on the"
            " bank first?"
        ),
        unit="%",
        answer=share,
        near=max(NEAR_PCT, 0.05 * share),
        low=0,
        high=100,
        hint="First without an aim: the solid angle against a whole sphere's. Then the pattern.",
        slips=(
            Slip(100.0, "All of it would need a beam without edges, sides or rear."),
            Slip(
                aimed.of_surfaces,
                "That is the bank's share of the gym's surfaces. Even without an aim it is the"
                " share of the view that counts.",
            ),
            Slip(
                times * aimed.of_surfaces,
                "You took the bank's share of the surfaces. Take its share of the view: the solid"
                " angle against that of a whole sphere.",
            ),
            Slip(without, "That is what it would be without an aim. This one points somewhere."),
        ),
        steps=_with_pattern(angle, times),
        note="Rays follow the loudspeaker's pattern to the first surface they meet.",
    )


def _with_pattern(angle, times):
    """How the share with an aim is worked, each line from the numbers that are shown before it."""
    sphere = round(SPHERE, 2)
    without = round(100 * angle / sphere, 2)
    return (
        Step("Whole sphere: 4 × 3.1416", sphere, "sr", 2),
        Step(f"Without an aim, in percent: 100 × {angle:.3f} / {sphere:.2f}", without, "%", 2),
        Step(f"With the pattern: {without:.2f} × {times:.2f}", without * times, "%"),
    )


def _draw_unaimed(chance):
    width, length = sorted(int(steps) for steps in chance.integers(6, 49, 2))
    return dict(
        length=length,
        width=width,
        height=int(chance.integers(6, 20)),
        surfaces=int(chance.integers(15, 60)),
    )


EXERCISES = (
    Exercise(
        "landing.unaimed",
        "What lands on the seats without an aim?",
        problem=unaimed,
        draw=_draw_unaimed,
        needs_units=True,
        example=dict(length=20, width=15, height=8, surfaces=24),
    ),
    Exercise(
        "landing.bank",
        "How much lands on the people?",
        problem=onto_bank,
        draw=lambda chance: dict(hung_deg=float(chance.integers(0, 91))),
        needs_gym=True,
        example=dict(hung_deg=70.0),
    ),
)
