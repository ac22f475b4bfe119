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


def unaimed(length_m=12.0, width_m=6.0, height_m=6.0, surfaces_m2=2000.0, units="ft"):
    """What a loudspeaker without any aim puts onto a block of seats.

    Parameters
    ----------
    length_m, width_m : float
        Of the block [m]
    height_m : float
        Of the loudspeaker over its middle [m]
    surfaces_m2 : float
        All surfaces of the gym together [m2]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In percent
    """
    block = length_m * width_m
    angle = solid_angle(length_m, width_m, height_m)
    share = 100 * angle / SPHERE
    return Problem(
        words=(
            "A loudspeaker that radiates alike in all directions hangs"
            f" {in_words(height_m, units)} over the middle of a block of seats. The block is"
            f" {in_words(length_m, units)} long and {in_words(width_m, units)} wide,"
            f" {_areas(block, units)} of all {_areas(surfaces_m2, units)} of"
            " surface in the gym. What share of its sound lands on the block first?"
        ),
        unit="%",
        answer=share,
        near=max(0.5, 0.05 * share),
        low=0,
        high=100,
        hint="How much of its view does the block fill? Take its solid angle against a sphere's.",
        slips=(
            Slip(
                100 * block / surfaces_m2,
                "That is the block's share of the surfaces. A loudspeaker knows no areas: what"
                " counts is how much of its view the block fills, its solid angle.",
            ),
            Slip(
                100 * block / (SPHERE * height_m**2),
                "That takes the whole block as near as its middle. Its edges are farther away, and"
                " the loudspeaker sees them at a slant.",
            ),
            Slip(2 * share, "That is the share of half a sphere. Sound leaves upward as well."),
        ),
        steps=_steps(length_m, width_m, height_m, units),
        note="The same block far from the loudspeaker gets less, though its area stays.",
    )


def _steps(length_m, width_m, height_m, units):
    """How the share of a sphere is worked, with lengths as the learner has them."""
    per = FOOT if units == "ft" else 1.0
    a, b, h = length_m / per, width_m / per, height_m / per
    slant = 2 * h * np.sqrt(4 * h * h + a * a + b * b)
    angle, unit = solid_angle(a, b, h), f"{units}²"
    return (
        Step(f"Area of the block: {a:.1f} × {b:.1f}", a * b, unit, 0, near=0.005 * a * b),
        Step("2 h √(4 h² + length² + width²)", slant, unit, 0, near=0.005 * slant),
        Step("Solid angle: 4 arctan (area / that)", angle, "sr", 2),
        Step(f"Share of a sphere: {angle:.2f} / (4 π), in percent", 100 * angle / SPHERE, "%"),
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
    angle, times = SPHERE * without / 100, share / without
    return Problem(
        words=(
            f"Seen from the {aimed.group} of {aimed.school.name}, the {aimed.bank} fills a solid"
            f" angle of {angle:.3f} sr. The group is tilted {hung_deg:g}° down. Toward the bank it"
            f" then sends {times:.2f} times as much as it would if it radiated alike in all"
            " directions (500 Hz to 4 kHz). What share of all its sound lands on the bank first?"
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
        steps=(
            Step(f"Without an aim: {angle:.3f} / (4 π), in percent", without, "%"),
            Step(f"With the pattern: {without:.1f} × {times:.2f}", share, "%"),
        ),
        note="Rays follow the loudspeaker's pattern to the first surface they meet.",
    )


def _draw_unaimed(chance):
    length, width = sorted(chance.integers(6, 49, 2) / 2)
    return dict(
        length_m=float(width),
        width_m=float(length),
        height_m=float(chance.integers(6, 20)) / 2,
        surfaces_m2=float(chance.integers(15, 60)) * 100,
    )


EXERCISES = (
    Exercise(
        "landing.unaimed",
        "What lands on the seats without an aim?",
        problem=unaimed,
        draw=_draw_unaimed,
        needs_units=True,
        example=dict(length_m=10.0, width_m=8.0, height_m=5.0, surfaces_m2=2400.0),
    ),
    Exercise(
        "landing.bank",
        "How much lands on the people?",
        problem=onto_bank,
        draw=lambda chance: dict(hung_deg=float(chance.integers(0, 19) * 5)),
        needs_gym=True,
        example=dict(hung_deg=70.0),
    ),
)
