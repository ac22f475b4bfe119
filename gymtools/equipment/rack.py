"""The rack: where it stands and how high it is."""

import numpy as np

ASSUMED = (
    "place of the rack: to be agreed with the school. Until then cable is counted from the"
    " south-west corner; give rack_x and rack_y in [equipment]."
)
RACKS = (12, 16, 20, 27, 36, 42)  # usual heights [rack units]


def rack_place(scenario):
    """Where the rack stands.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    place : ndarray
        (3,): its own place, or the south-west corner of the gym [m]
    """
    e, hall = scenario.equipment, scenario.hall
    x = -hall.length / 2 + 0.5 if e.rack_x is None else e.rack_x
    y = -hall.width / 2 + 0.5 if e.rack_y is None else e.rack_y
    return np.array([x, y, e.rack_height])


def rack_assumed(scenario):
    """Whether nobody has said where the rack stands.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    assumed : bool
        Whether a coordinate of its place is left out
    """
    return scenario.equipment.rack_x is None or scenario.equipment.rack_y is None


def rack_warnings(scenario):
    """Warnings about a rack whose place is only assumed, or that does not stand in the gym.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    warnings : list of str
        A sentence each, or none
    """
    asked = [ASSUMED] if rack_assumed(scenario) else []
    x, y, z = rack_place(scenario)
    hall = scenario.hall
    beyond = {
        "east": x - hall.length / 2,
        "west": -x - hall.length / 2,
        "north": y - hall.width / 2,
        "south": -y - hall.width / 2,
    }
    said = [
        f"{scenario.say(way)} beyond the {wall} wall" for wall, way in beyond.items() if way > 1e-6
    ]
    if z > hall.clear_height:
        said.append(
            f"at {scenario.say(z)}, over the clear height of {scenario.say(hall.clear_height)}"
        )
    if not said:
        return asked
    return [
        *asked,
        f"the rack stands outside the gym, {' and '.join(said)}. In a room beside it? Cable is"
        " counted as if no wall stood between.",
    ]


def rack_units(amplification, others=0):
    """Height of what goes into the rack, and of the rack that holds it.

    Parameters
    ----------
    amplification : Amplification
        Amplifiers, each with a unit of air over it
    others : int
        Of everything else [rack units]

    Returns
    -------
    filled, rack : tuple of int
        The rack is the next usual size; 0 when none is high enough [rack units]
    """
    filled = others + sum(int(t.rack_units) + 1 for t in amplification.amplifiers.values())
    return filled, next((r for r in RACKS if r >= filled), 0)


def rack_size(filled):
    """Rack units to buy: the next usual size; of several racks what they hold.

    Parameters
    ----------
    filled : int
        Of everything in it [rack units]

    Returns
    -------
    units : int
        At least ``filled`` [rack units]
    """
    return next((r for r in RACKS if r >= filled), filled)
