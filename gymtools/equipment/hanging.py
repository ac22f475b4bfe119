"""What hangs where: positions from two walls, pan and downtilt as an installer reads them, aim
points and weights.
"""

from ..acoustics.throws import throws
from ..venue.units import feet_inches

POUND = 0.45359237  # kg
STEEP = 75.0  # downtilt from which a loudspeaker fires down rather than ahead [deg]
SIDES = ("east", "north", "west", "south")  # counter-clockwise from east
COLUMNS = (
    "tag",
    "group",
    "type",
    "from west wall [m]",
    "from west wall [ft-in]",
    "from south wall [m]",
    "from south wall [ft-in]",
    "height of the front's middle [m]",
    "height of the front's middle [ft-in]",
    "pan in words",
    "tilt in words",
    "pan [°]",
    "downtilt [°]",
    "aims at",
    "aim point from west wall [m]",
    "aim point from west wall [ft-in]",
    "aim point from south wall [m]",
    "aim point from south wall [ft-in]",
    "aim point height [m]",
    "aim point height [ft-in]",
    "throw [m]",
    "throw [ft-in]",
    "weight [kg]",
    "weight [lb]",
    "channel",
)


def both_lengths(meters):
    """A length as two cells: meters, and feet and inches to the quarter inch.

    Parameters
    ----------
    meters : float
        Length [m]

    Returns
    -------
    cells : tuple
        (number, text)
    """
    return round(float(meters), 3) + 0.0, feet_inches(meters, parts=4)  # + 0.0 turns -0.0 into 0.0


def from_walls(scenario, point):
    """A point as an installer measures it, in cells of ``both_lengths``.

    Parameters
    ----------
    scenario : Scenario
        The design
    point : array
        (3,) [m]

    Returns
    -------
    cells : tuple
        From the west wall, from the south wall, over the floor
    """
    west, south = point[0] + scenario.hall.length / 2, point[1] + scenario.hall.width / 2
    return *both_lengths(west), *both_lengths(south), *both_lengths(point[2])


def pan_words(pan_deg, downtilt_deg=0.0):
    """A pan as an installer reads it from a plan whose north is up.

    Parameters
    ----------
    pan_deg : float
        Counter-clockwise from east [deg]
    downtilt_deg : float
        Of one that fires down, the pan says where its top points [deg]

    Returns
    -------
    words : str
        The nearest side and the turn from it, seen from above
    """

    def turn(n):
        return (pan_deg - 90.0 * n + 180) % 360 - 180

    nearest = min(range(4), key=lambda n: abs(turn(n)))
    verb = "faces" if downtilt_deg < STEEP else "its top points"
    off, name = turn(nearest), SIDES[nearest]
    if abs(off) < 0.05:
        return f"{verb} {name}"
    toward = SIDES[(nearest + (1 if off > 0 else -1)) % 4]
    return f"{verb} {name}, turned {abs(off):.1f}° to the {toward}"


def tilt_words(downtilt_deg):
    """A downtilt as an inclinometer shows it.

    Parameters
    ----------
    downtilt_deg : float
        Positive down [deg]

    Returns
    -------
    words : str
        From level
    """
    if abs(downtilt_deg) < 0.05:
        return "level"
    if downtilt_deg > 89.95:
        return "straight down"
    return f"{abs(downtilt_deg):.1f}° {'down' if downtilt_deg > 0 else 'up'} from level"


def aims(results):
    """Throw of every loudspeaker's first beam, from the use in which most of its sound lands on
    seats that listen; the first of several alike.

    Parameters
    ----------
    results : dict
        Evaluations by use

    Returns
    -------
    aims : dict
        Throw by tag; a loudspeaker that plays in no use has none
    """
    found = {}
    for result in results.values():
        listening = [n for n, part in enumerate(result.parts) if part in result.listening_parts]
        serves = result.first_incidence[:, listening].sum(axis=1)  # (source,)
        beams = {}
        for t in throws(result):
            beams.setdefault(t.tag, t)
        for n, c in enumerate(result.scenario.loudspeakers):
            if result.playing[n] and (c.tag not in found or serves[n] > found[c.tag][0] + 1e-6):
                found[c.tag] = serves[n], beams[c.tag]
    return {tag: t for tag, (_, t) in found.items()}


def rows(scenario, results, amplification):
    """A row for every loudspeaker, under ``COLUMNS``.

    Parameters
    ----------
    scenario : Scenario
        The design
    results : dict
        Evaluations by use
    amplification : Amplification
        Channels that the loudspeakers hang on

    Returns
    -------
    rows : tuple of tuple
        Texts and numbers, in the order of the loudspeakers
    """
    throw = aims(results)
    return tuple(
        (
            c.tag,
            c.group,
            c.type.name,
            *from_walls(scenario, c.position),
            pan_words(c.pan_deg, c.downtilt_deg),
            tilt_words(c.downtilt_deg),
            round(c.pan_deg, 2),
            round(c.downtilt_deg, 2),
            *_aim(scenario, throw.get(c.tag), c.type),
            c.type.weight_kg,
            round(c.type.weight_kg / POUND, 1),
            amplification.channel(c.tag).number,
        )
        for c in scenario.loudspeakers
    )


def _aim(scenario, throw, loudspeaker_type):
    """Cells of an aim: what it is, where it is, how far away."""
    if throw is None:
        return ("plays in no use", *[""] * 8)
    words = throw.part
    if loudspeaker_type.lobes > 1:
        words += (
            f": beam 1 of {loudspeaker_type.lobes}, {loudspeaker_type.lobe_tilt_deg:g}° below the"
            " enclosure's level"
        )
    return words, *from_walls(scenario, throw.end), *both_lengths(throw.distance)
