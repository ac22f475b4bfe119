"""Where things stand: along a wall, or on the floor."""

import numpy as np

from .units import FOOT


def spot(point, units):
    """Words for a place on the floor.

    Parameters
    ----------
    point : array
        (2,) or (3,): x, y and perhaps z [m]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        "3 m east, 5 m north of the center"
    """
    x, y = (float(v) * (1 / FOOT if units == "ft" else 1.0) for v in point[:2])
    return (
        f"{abs(x):.0f} {units} {'east' if x >= 0 else 'west'}, {abs(y):.0f} {units}"
        f" {'north' if y >= 0 else 'south'} of the center"
    )


def along_wall(side, hall):
    """Frame of a wall: middle of its foot, direction along it, direction into the gym.

    Parameters
    ----------
    side : str
        "north", "south", "east" or "west" of the plan
    hall : Hall
        The gym

    Returns
    -------
    foot, along, inward : tuple of ndarray
        Each (3,) [m, -, -]
    """
    x, y = hall.length / 2, hall.width / 2
    foot, along, inward = {
        "north": ((0, y, 0), (1, 0, 0), (0, -1, 0)),
        "south": ((0, -y, 0), (1, 0, 0), (0, 1, 0)),
        "east": ((x, 0, 0), (0, 1, 0), (-1, 0, 0)),
        "west": ((-x, 0, 0), (0, 1, 0), (1, 0, 0)),
    }[side]
    return np.array(foot, float), np.array(along, float), np.array(inward, float)


def overlap(a, b):
    """Area that two rectangles of the floor share.

    Parameters
    ----------
    a, b : tuple
        (x low, x high, y low, y high) [m]

    Returns
    -------
    area : float
        Zero when they only touch [m2]
    """
    return max(0.0, min(a[1], b[1]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[2], b[2]))


def rectangle(a, b):
    """Rectangle on the plan between two opposite corners.

    Parameters
    ----------
    a, b : array
        (2,) or (3,): x, y and perhaps z [m]

    Returns
    -------
    rectangle : tuple
        (x low, x high, y low, y high) [m]
    """
    return min(a[0], b[0]), max(a[0], b[0]), min(a[1], b[1]), max(a[1], b[1])


class AlongWall:
    """What stands along a wall: it has a side, an offset from the wall's middle, a length along it
    and a depth; perhaps a setback from the wall.
    """

    setback = 0.0  # of its back from the wall [m]

    def corner(self, hall, along, inward, height):
        """Point given along the wall from the thing's middle, into the gym from its back, and up.

        Parameters
        ----------
        hall : Hall
            The gym
        along, inward, height : float
            Distances in the wall's frame; height over the gym's floor [m]

        Returns
        -------
        point : ndarray
            (3,) [m]
        """
        foot, u, n = along_wall(self.side, hall)
        return (
            foot
            + (self.offset + along) * u
            + (self.setback + inward) * n
            + np.array([0, 0, height])
        )

    def footprint(self, hall):
        """Rectangle it covers on the floor.

        Parameters
        ----------
        hall : Hall
            The gym

        Returns
        -------
        rectangle : tuple
            (x low, x high, y low, y high) [m]
        """
        return rectangle(
            self.corner(hall, -self.length / 2, 0, 0),
            self.corner(hall, self.length / 2, self.depth, 0),
        )


class OnFloor:
    """What stands on the floor about a center x, y, with a length along the gym and a width across
    it.
    """

    def footprint(self, hall=None):
        """Rectangle it covers on the floor.

        Parameters
        ----------
        hall : Hall, optional
            Not needed; there so that all that stands in a gym answers alike

        Returns
        -------
        rectangle : tuple
            (x low, x high, y low, y high) [m]
        """
        return (
            self.x - self.length / 2,
            self.x + self.length / 2,
            self.y - self.width / 2,
            self.y + self.width / 2,
        )
