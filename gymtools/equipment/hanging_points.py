"""Where loudspeakers hang on the structure, and the load of every point, for the engineer to check.

One point for each loudspeaker. Where there is room over it, it hangs straight under the point, on a
bridle of two legs from its upper corners; where there is less, on two lines or in a frame, with two
points at its sides; one close to a wall is on a bracket there. Each has a second safety of its own.
The center of gravity is the middle of the enclosure, as far as it is known here.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..physics import statics
from ..venue.enclosures import TOUCH, corners
from ..venue.locations import along_wall
from ..venue.units import FOOT, feet_inches
from .hanging import POUND, STEEP, both_lengths, from_walls

# shackles, slings, safety and beam clamp over the loudspeaker's own    common practice, no source
HARDWARE_PART, HARDWARE_KG = 0.25, 3.0  # part of its mass, and at least [-, kg]
STEEPEST_LEG = 60.0  # of a bridle where there is room for it [deg]    common practice, no source
FLATTEST_LEG = 45.0  # a flatter one is not drawn [deg]    common practice, no source
# beam clamp and shackle, from the structure down to where the legs meet [m]    judgment, no source
HARDWARE_ROOM = 0.15
# breaking strength over the static load, of all that hangs over people
# common practice, no source: local codes and the engineer decide
DESIGN_FACTOR = 10.0
# the same over the rated load (working load limit) of hardware: ASME B30.26 asks 5 of most shackles
# (from memory; public rigging texts say 4 to 5)
RATED_FACTOR = 5.0
LEAST_SHARE = 0.1  # that a top point must carry to hold a tilt steadily    common practice
UNDER_JOIST = 0.05  # from a joist's middle [m]
# a line transformer in or at the enclosure: an allowance on the heavy side of usual ones
TRANSFORMER_KG, TRANSFORMER_KG_PER_W = 0.5, 0.02  # judgment, no source
AT_WALL = 0.3  # gap within which a loudspeaker is taken to be on a bracket [m]    judgment
ANCHORS = 0.3  # from the lower to the upper anchors of its plate [m]    judgment, no source
BRACKET_TILT = 25.0  # that usual wall brackets reach [deg]    common practice, no source
LBF = 4.4482216152605  # N: a pound's mass in standard gravity
ENGINEER = "To be designed and approved by a licensed structural engineer."
COLUMNS = (
    "tag",
    "type",
    "from west wall [m]",
    "from west wall [ft-in]",
    "from south wall [m]",
    "from south wall [ft-in]",
    "height of the point [m]",
    "height of the point [ft-in]",
    "from there to the enclosure's middle [m]",
    "from there to the enclosure's middle [ft-in]",
    "structure",
    "loudspeaker [kg]",
    "loudspeaker [lb]",
    "hardware and transformer [kg]",
    "hardware and transformer [lb]",
    "load of the point [kg]",
    "load of the point [lb]",
    "suspension",
    "tension of a leg or of upper anchors [kN]",
    "tension of a leg or of upper anchors [lbf]",
    "rated load of a leg or of upper anchors [kg]",
    "rated load of a leg or of upper anchors [lb]",
    "rated load of point and safety [kg]",
    "rated load of point and safety [lb]",
    "tilt",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class HangingPoint:
    """A point of the structure and what it carries, at rest."""

    tag: str
    type: str
    position: np.ndarray  # on the structure (3,) [m]
    middle: np.ndarray  # of the enclosure (3,) [m]
    downtilt_deg: float
    wall: str  # side of the wall that carries a bracket; empty: it hangs
    loudspeaker_kg: float
    hardware_kg: float
    transformer_kg: float  # 0 without a line
    under: float  # middle of the enclosure under the clear height; negative over it [m]
    top: float  # highest corner of the enclosure, as it is tilted, over its middle [m]
    half: float  # of the enclosure's width [m]
    across: np.ndarray  # unit vector along the enclosure's width (3,) [-]
    front_share: float | None  # of two top points, front and rear; None: it fires down
    holds_to_deg: float  # downtilt that the top points hold with LEAST_SHARE on each
    joists: tuple  # (number from the west or south, share of the load) of each that carries it

    @property
    def kind(self):
        """What holds it: "bracket", "bridle", "lines" or "frame"."""
        if self.wall:
            return "bracket"
        if self.room < 0:
            return "frame"
        flattest = self.half * np.tan(np.radians(FLATTEST_LEG))
        return "bridle" if self.room >= flattest else "lines"

    @property
    def room(self):
        """From the enclosure's highest corner up to where the legs of a bridle meet [m]."""
        return self.under - HARDWARE_ROOM - self.top

    @property
    def over(self):
        """How far the enclosure reaches over the clear height; 0 where it does not [m]."""
        return max(self.top - self.under, 0.0)

    @property
    def leg_deg(self):
        """Angle of each leg of a bridle over the horizontal; 90 of all that is none [deg].

        The legs begin at the sides at the height of the highest corner: where they begin lower,
        they are steeper, and pull less.
        """
        if self.kind != "bridle":
            return 90.0
        return min(float(np.degrees(np.arctan2(self.room, self.half))), STEEPEST_LEG)

    @property
    def lines(self):
        """What is drawn from the structure down to the enclosure: a list of (n, 3) [m]."""
        if self.kind == "bracket":
            return [np.array([self.position, self.middle])]
        sides = [self.half * self.across, -self.half * self.across]
        if self.kind != "bridle":
            return [np.array([self.position + side, self.middle + side]) for side in sides]
        ends = [self.middle + [0.0, 0.0, self.top] + side for side in sides]
        rise = self.half * float(np.tan(np.radians(self.leg_deg)))
        joint = self.middle + [0.0, 0.0, self.top + rise]
        return [np.array([self.position, joint]), np.array([ends[0], joint, ends[1]])]

    @property
    def lower_by(self):
        """How much lower a bridle would have room; 0 of a bridle and of a bracket [m]."""
        if self.kind in ("bracket", "bridle"):
            return 0.0
        return self.half * float(np.tan(np.radians(FLATTEST_LEG))) - self.room

    @property
    def drop(self):
        """Distance from the structure to the middle of the enclosure [m]."""
        return float(np.linalg.norm(self.position - self.middle))

    @property
    def load_kg(self):
        """Mass that the point carries [kg]."""
        return self.loudspeaker_kg + self.hardware_kg + self.transformer_kg

    @property
    def load_kn(self):
        """Weight that the point carries, at rest [kN]."""
        return self.load_kg * statics.G / 1000

    @property
    def leg_kn(self):
        """Tension of each of two legs or lines, and load of either of two points [kN]."""
        return self.load_kn / 2 * float(statics.bridle_factor(self.leg_deg))

    @property
    def moment_knm(self):
        """Moment of a bracket at the wall; 0 of what hangs [kN m]."""
        return self._bracket[1]

    @property
    def tension_kn(self):
        """Tension of each leg, or of the upper anchors of a bracket together [kN]."""
        return self._bracket[2] if self.wall else self.leg_kn

    @property
    def _bracket(self):
        """Shear, moment and pull at a wall [kN, kN m, kN]."""
        if not self.wall:
            return 0.0, 0.0, 0.0
        return tuple(v / 1000 for v in statics.bracket(1000 * self.load_kn, self.drop, ANCHORS))

    @property
    def leg_strength_kn(self):
        """Least breaking strength of a leg, or of a bracket's upper anchors together [kN]."""
        return DESIGN_FACTOR * self.tension_kn

    @property
    def strength_kn(self):
        """Least breaking strength of the point, and of the second safety [kN]."""
        return DESIGN_FACTOR * self.load_kn

    @property
    def leg_rated_kg(self):
        """Rated load (working load limit) of each leg, or of a bracket's upper anchors together, at
        least [kg].
        """
        return self.leg_strength_kn / RATED_FACTOR * 1000 / statics.G

    @property
    def rated_kg(self):
        """Rated load that the point and the second safety need at least [kg]."""
        return self.strength_kn / RATED_FACTOR * 1000 / statics.G

    def suspension(self, units="m"):
        """How it hangs, in words.

        Parameters
        ----------
        units : str
            "ft" or "m": which ones lead

        Returns
        -------
        words : str
            For a cell
        """
        if self.kind == "bracket":
            pounds, turn = self.load_kg / POUND, self.moment_knm * 1000 / LBF / FOOT
            shear = lead(f"{self.load_kn:.2f} kN", f"{pounds:.0f} lbf", units)
            moment = lead(f"{self.moment_knm:.2f} kN m", f"{turn:.0f} lbf-ft", units)
            return f"wall bracket: shear {shear}, moment at the wall {moment}"
        if self.kind == "bridle":
            return f"bridle of two legs at {self.leg_deg:.0f}° over the horizontal"
        return (
            f"{self._two_points(units)}; a bridle has room {_both_up(self.lower_by, units)} lower"
        )

    def _two_points(self, units):
        """Frame or lines, in words."""
        at = "two points at its sides, half of the load each"
        if self.kind == "lines":
            return f"two upright lines, {at}"
        if self.over <= TOUCH:
            return f"frame (yoke) under the structure, {at}"
        over = f"its top is {_both(self.over, units)} over the clear height"
        if len(self.joists) == 1:
            return f"frame (yoke) beside joist {self.joists[0][0]}, {at}: {over}, not under a joist"
        return f"frame (yoke) between joists, {at}: {over}"

    @property
    def tilt_held(self):
        """What holds the tilt, in words."""
        if self.wall and self.downtilt_deg > BRACKET_TILT:
            return f"yoke or extension: wall brackets usually tilt up to {BRACKET_TILT:.0f}°"
        if self.wall:
            return f"tilting bracket, set to {self.downtilt_deg:.0f}°"
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
        if self.wall:
            return f"{self.wall} wall: how it is built decides the anchors"
        if not self.joists:
            return "joists not known: the engineer's drawing decides"
        if len(self.joists) == 1:
            return f"joist {self.joists[0][0]}"
        (one, share), (other, rest) = self.joists
        if other == one + 1:
            words = f"cross-member on joists {one} and {other}"
            return f"{words}: {100 * share:.0f} % and {100 * rest:.0f} %"
        return "cross-member on the outer joist and the wall"


def hanging_points(scenario, amplification=None):
    """Where every loudspeaker hangs on the structure.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification, optional
        What its lines say of transformers; none are counted when left out

    Returns
    -------
    points : tuple of HangingPoint
        One for each loudspeaker, in their order
    """
    return tuple(
        _point(c, scenario, _transformer_kg(c.tag, amplification)) for c in scenario.loudspeakers
    )


def _transformer_kg(tag, amplification):
    """Allowance for the line transformer of a loudspeaker [kg]."""
    channel = amplification.channel(tag) if amplification else None
    if channel is None or not channel.line_volts:
        return 0.0
    return TRANSFORMER_KG + TRANSFORMER_KG_PER_W * channel.tap_w


def _point(loudspeaker, scenario, transformer_kg):
    """The point of one loudspeaker."""
    hall, (middle, axes, _) = scenario.hall, loudspeaker.enclosure
    made, box = loudspeaker.type, corners([loudspeaker])[0]
    front, holds = _top_points(made, loudspeaker.downtilt_deg)
    wall = "" if front is None else _wall_behind(box, middle, scenario)
    if wall:
        foot, _, inward = along_wall(wall, hall)
        position = middle - ((middle - foot) @ inward) * inward
    else:
        position = np.array([middle[0], middle[1], max(hall.clear_height, middle[2])])
    return HangingPoint(
        tag=loudspeaker.tag,
        type=made.name,
        position=position,
        middle=middle,
        downtilt_deg=loudspeaker.downtilt_deg,
        wall=wall,
        under=hall.clear_height - float(middle[2]),
        top=float(box[:, 2].max() - middle[2]),
        half=made.width / 2,
        across=axes[1],
        loudspeaker_kg=made.weight_kg,
        hardware_kg=max(HARDWARE_PART * made.weight_kg, HARDWARE_KG),
        transformer_kg=transformer_kg,
        front_share=front,
        holds_to_deg=holds,
        joists=() if wall else _joists(hall, middle),
    )


def _wall_behind(box, middle, scenario):
    """Side of the nearest wall where it is near enough for a bracket; empty where none is."""
    hall, stage = scenario.hall, scenario.stage
    gaps = {}
    for side in ("west", "east", "south", "north"):
        foot, along, inward = along_wall(side, hall)
        off = abs(float((middle - foot) @ along) - (stage.offset if stage else 0.0))
        if stage and stage.side == side and middle[2] < stage.top and off < stage.width / 2:
            continue  # the opening of the stage is no wall
        gaps[side] = float(((box - foot) @ inward).min())
    side = min(gaps, key=gaps.get)
    return side if gaps[side] <= AT_WALL else ""


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


def rows(scenario, amplification=None):
    """A row for every hanging point, under ``COLUMNS``.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification, optional
        As for ``hanging_points``

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
            *_masses(p.loudspeaker_kg),
            *_masses(p.hardware_kg + p.transformer_kg),
            *printed_load(p),
            p.suspension(scenario.units),
            round(p.tension_kn, 2),
            round(p.tension_kn * 1000 / LBF),
            math.ceil(p.leg_rated_kg),
            math.ceil(p.leg_rated_kg / POUND),
            math.ceil(p.rated_kg),
            math.ceil(p.rated_kg / POUND),
            p.tilt_held,
        )
        for p in hanging_points(scenario, amplification)
    )


def _both(meters, units):
    """A length in both units, inches to the quarter."""
    return lead(f"{meters:.2f} m", feet_inches(meters, parts=4), units)


def _both_up(meters, units):
    """A length that is asked for at least in both units, rounded up."""
    centimeters, quarters = (math.ceil(meters / unit - 1e-9) for unit in (0.01, FOOT / 48))
    feet = feet_inches(quarters * FOOT / 48, parts=4)
    return lead(f"{centimeters / 100:.2f} m", feet, units)


def _masses(kg):
    """Cells of a mass: kilograms, pounds."""
    return round(kg, 1), round(kg / POUND, 1)


def printed_load(point):
    """Load of a point as all documents print it: the sum of its parts as they are printed.

    Parameters
    ----------
    point : HangingPoint
        One of ``hanging_points``

    Returns
    -------
    kg, lb : tuple of float
        In either unit, so that parts, loads and total add up in both [kg, lb]
    """
    parts = _masses(point.loudspeaker_kg), _masses(point.hardware_kg + point.transformer_kg)
    return tuple(round(one + other, 1) for one, other in zip(*parts, strict=True))


def assumed(units):
    """What the loads take for granted, and what the engineer confirms.

    Parameters
    ----------
    units : str
        "ft" or "m": which ones lead

    Returns
    -------
    words : str
        Sentences for a schedule's note
    """
    room = lead("0.15 m", "6 in", units)
    least, transformer = lead("3 kg", "7 lb", units), lead("0.5 kg", "1 lb", units)
    tap, wall = lead("20 g", "0.7 oz", units), lead("0.3 m", "1 ft", units)
    return (
        "Assumed, and to be confirmed by the engineer and the maker's drawing: one point a"
        " loudspeaker, straight above its center of gravity, which is taken as the middle of the"
        " enclosure; the structure at the clear height carries it; the roof's own load, snow,"
        " equipment and earthquake are not in these figures. Loads are at rest: no hoist that"
        " starts or stops, no swing, no ball strike. Legs of a bridle run from the enclosure's"
        f" sides, at the height of its highest corner, to {room} under the structure, for clamp and"
        " shackle; each carries half the load over the sine of its angle, 45° at least. Where that"
        " has no room, two points at the enclosure's sides carry half of the load each, on lines or"
        " in a frame; point and safety are rated for the whole, so that one of them holds alone."
        f" Hardware is an allowance of 25 % of the loudspeaker's mass, {least} at least; a line"
        f" transformer is allowed with {transformer} and {tap} for each watt of its tap. A"
        f" loudspeaker within {wall} of a wall is on a bracket there, anchors {wall} apart: the"
        " wall carries the load as shear, and the moment pulls the upper anchors out. Over people"
        " all parts have a breaking strength of ten times the static load: the rated loads (working"
        " load limits) asked for are twice the load, for hardware that is rated at a fifth of its"
        " breaking strength. A second safety of its own carries the load of the point."
    )


def lead(metric, us, units):
    """A value in both units, the school's own first.

    Parameters
    ----------
    metric, us : str
        The value with its unit
    units : str
        "ft" or "m"

    Returns
    -------
    words : str
        One, and the other in parentheses
    """
    return f"{us} ({metric})" if units == "ft" else f"{metric} ({us})"


def total_words(scenario, amplification=None, units=None):
    """Load on the structure in all, in a sentence.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification, optional
        As for ``hanging_points``
    units : str, optional
        "ft" or "m": which ones lead; the scenario's own when left out

    Returns
    -------
    words : str
        Points, mass in both units, force for the engineer
    """
    points = hanging_points(scenario, amplification)
    kn = sum(p.load_kn for p in points)
    kg, lb = (sum(loads) for loads in zip((0.0, 0.0), *map(printed_load, points), strict=True))
    heights = [p.position[2] for p in points if not p.wall]
    lowest = min(heights, default=scenario.hall.clear_height)
    brackets = len(points) - len(heights)
    on_walls = f" {brackets} of them on wall brackets." if brackets else ""
    units = units or scenario.units
    mass = lead(f"{kg:.1f} kg, {kn:.2f} kN", f"{lb:.1f} lb", units)
    return (
        f"{len(points)} points, {mass} in all; the structure is {_both(lowest, units)} over the"
        f" floor.{on_walls}"
    )
