"""Where loudspeakers hang on the structure, and the load of every point, for the engineer to check.

One point for each loudspeaker, straight above its center of gravity, as far as it is known here: a
bridle of two legs from the sides of the enclosure or its yoke, and a second safety of its own.
"""

from dataclasses import dataclass

import numpy as np

from ..physics import statics
from ..venue.units import feet_inches
from .hanging import POUND, STEEP, both_lengths, from_walls

# shackles, slings, safety and beam clamp over the loudspeaker's own    common practice, no source
HARDWARE_PART, HARDWARE_KG = 0.25, 3.0  # part of its mass, and at least [-, kg]
STEEPEST_LEG = 60.0  # of a bridle where there is room for it [deg]    common practice, no source
FLATTEST_LEG = 45.0  # a flatter one is not drawn [deg]    common practice, no source
# breaking strength over the static load, of all that hangs over people. Hardware whose rated load
# has a design factor of 5 (as ASME B30.26 asks of most shackles, from memory) is then loaded to
# half of its rating.    common practice, no source: local codes and the engineer decide
DESIGN_FACTOR = 10.0
LEAST_SHARE = 0.1  # that a top point must carry to hold a tilt steadily    common practice
UNDER_JOIST = 0.05  # from a joist's middle [m]
ASSUMED = (
    "Assumed, and to be confirmed by the engineer and the maker's drawing: one point a loudspeaker,"
    " straight above its center of gravity, which is taken as the middle of the enclosure; the"
    " structure at the clear height carries it; the roof's own load, snow, equipment and earthquake"
    " are not in these figures. Hardware is an allowance of 25 % of the loudspeaker's mass, 3 kg"
    " (7 lb) at least. Strengths are ten times the static load, for what hangs over people: with"
    " hardware rated at a fifth of its breaking strength, load it to half of its rating."
    " A second safety of its own carries the load of the point."
)
ENGINEER = "To be designed and approved by a licensed structural engineer."
COLUMNS = (
    "tag",
    "type",
    "from west wall [m]",
    "from west wall [ft-in]",
    "from south wall [m]",
    "from south wall [ft-in]",
    "structure's height [m]",
    "structure's height [ft-in]",
    "drop to the enclosure's middle [m]",
    "drop to the enclosure's middle [ft-in]",
    "structure",
    "loudspeaker [kg]",
    "hardware [kg]",
    "load of the point [kg]",
    "load of the point [lb]",
    "load of the point [kN]",
    "suspension",
    "tension of a leg [kN]",
    "least breaking strength of a leg [kN]",
    "least breaking strength of point and safety [kN]",
    "tilt",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class HangingPoint:
    """A point of the structure and what it carries, at rest."""

    tag: str
    type: str
    position: np.ndarray  # on the structure (3,) [m]
    drop: float  # from there to the middle of the enclosure [m]
    loudspeaker_kg: float
    hardware_kg: float
    leg_deg: float  # of each leg over the horizontal; 90: two upright lines, no bridle
    front_share: float | None  # of two top points, front and rear; None: it fires down
    holds_to_deg: float  # downtilt that the top points hold with LEAST_SHARE on each
    joists: tuple  # (number from the west or south, share of the load) of each that carries it

    @property
    def load_kg(self):
        """Mass that the point carries [kg]."""
        return self.loudspeaker_kg + self.hardware_kg

    @property
    def load_kn(self):
        """Weight that the point carries, at rest [kN]."""
        return self.load_kg * statics.G / 1000

    @property
    def leg_kn(self):
        """Tension of each of the two legs [kN]."""
        return self.load_kn / 2 * float(statics.bridle_factor(self.leg_deg))

    @property
    def leg_strength_kn(self):
        """Least breaking strength of a leg [kN]."""
        return DESIGN_FACTOR * self.leg_kn

    @property
    def strength_kn(self):
        """Least breaking strength of the point, and of the second safety [kN]."""
        return DESIGN_FACTOR * self.load_kn

    @property
    def suspension(self):
        """How it hangs, in words."""
        if self.leg_deg > 89.9:
            return "two upright lines: no room for a bridle"
        return f"bridle of two legs at {self.leg_deg:.0f}° over the horizontal"

    @property
    def tilt_held(self):
        """What holds the tilt, in words."""
        if self.front_share is None:
            return "fires down: yoke, or the points of its back"
        if min(self.front_share, 1 - self.front_share) < LEAST_SHARE:
            top = max(self.holds_to_deg, 0.0)
            return f"yoke or pull-back: its top points hold a tilt up to {top:.0f}°"
        front = 100 * self.front_share
        return f"top points: {front:.0f} % front, {100 - front:.0f} % rear"

    @property
    def structure(self):
        """What of the structure carries it, in words."""
        if not self.joists:
            return "not known: the engineer's drawing decides"
        if len(self.joists) == 1:
            return f"joist {self.joists[0][0]}"
        (one, share), (other, rest) = self.joists
        if other == one + 1:
            words = f"cross-member on joists {one} and {other}"
            return f"{words}: {100 * share:.0f} % and {100 * rest:.0f} %"
        return "cross-member on the outer joist and the wall"


def hanging_points(scenario):
    """Where every loudspeaker hangs on the structure.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    points : tuple of HangingPoint
        One for each loudspeaker, in their order
    """
    return tuple(_point(c, scenario.hall) for c in scenario.loudspeakers)


def _point(loudspeaker, hall):
    """The point of one loudspeaker."""
    middle, _, _ = loudspeaker.enclosure
    made = loudspeaker.type
    drop = max(hall.clear_height - float(middle[2]), 0.0)
    front, holds = _top_points(made, loudspeaker.downtilt_deg)
    return HangingPoint(
        tag=loudspeaker.tag,
        type=made.name,
        position=np.array([middle[0], middle[1], max(hall.clear_height, middle[2])]),
        drop=drop,
        loudspeaker_kg=made.weight_kg,
        hardware_kg=max(HARDWARE_PART * made.weight_kg, HARDWARE_KG),
        leg_deg=_leg_deg(drop, made.width / 2),
        front_share=front,
        holds_to_deg=holds,
        joists=_joists(hall, middle),
    )


def _leg_deg(drop, half):
    """Angle of a bridle's legs over the horizontal; 90 where there is no room for one [deg]."""
    room = float(np.degrees(np.arctan2(drop, half)))
    if room >= STEEPEST_LEG:
        return STEEPEST_LEG
    return room if room >= FLATTEST_LEG else 90.0


def _top_points(made, downtilt_deg):
    """Share of the front one of two points on the top edges, and the downtilt that both hold.

    From the middle of the enclosure, the top edges lie half a depth ahead and behind, and half a
    height up; tilted down, both move ahead, and the rear one takes more.
    """
    half = np.array([made.depth, made.height]) / 2
    # rear share = 1/2 + h tan(tilt) / (2 d); a top point needs LEAST_SHARE
    holds = float(np.degrees(np.arctan((1 - 2 * LEAST_SHARE) * half[0] / half[1])))
    if downtilt_deg >= STEEP:
        return None, holds
    tilt = np.radians(downtilt_deg)
    ahead, up = half[0] * np.cos(tilt), half[1] * np.sin(tilt)
    return statics.shares(0.0, up + ahead, up - ahead)[0], holds


def _joists(hall, middle):
    """Joists that carry a load, by number from the west or south, and their shares."""
    if not len(hall.joists):
        return ()
    at = float(middle[hall.across_joists])
    half = (hall.length, hall.width)[hall.across_joists] / 2
    nearest = int(np.abs(hall.joists - at).argmin())
    if abs(hall.joists[nearest] - at) <= UNDER_JOIST:
        return ((nearest + 1, 1.0),)
    places = np.concatenate([[-half], hall.joists, [half]])
    after = int(np.clip(np.searchsorted(places, at), 1, len(places) - 1))
    one, other = statics.shares(at, places[after - 1], places[after])
    if after == 1:  # between the west or south wall and the first joist
        return ((1, other), (0, one))
    return ((after - 1, one), (after if after < len(places) - 1 else 0, other))


def rows(scenario):
    """A row for every hanging point, under ``COLUMNS``.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    rows : tuple of tuple
        Texts and numbers, in the order of the loudspeakers
    """
    return tuple(
        (
            p.tag,
            p.type,
            *from_walls(scenario, p.position),
            *both_lengths(p.drop),
            p.structure,
            p.loudspeaker_kg,
            round(p.hardware_kg, 1),
            round(p.load_kg, 1),
            round(p.load_kg / POUND),
            round(p.load_kn, 2),
            p.suspension,
            round(p.leg_kn, 2),
            round(p.leg_strength_kn, 1),
            round(p.strength_kn, 1),
            p.tilt_held,
        )
        for p in hanging_points(scenario)
    )


def total_words(scenario):
    """Load on the structure in all, in a sentence.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    words : str
        Points, mass in both units
    """
    points = hanging_points(scenario)
    kg = sum(p.load_kg for p in points)
    lowest = min((p.position[2] for p in points), default=scenario.hall.clear_height)
    return (
        f"{len(points)} points, {kg:.0f} kg ({kg / POUND:.0f} lb) in all, at"
        f" {lowest:.2f} m ({feet_inches(lowest, parts=4)}) over the floor."
    )
