"""Enclosures of loudspeakers as turned boxes: what they reach into, and how low they hang."""

from itertools import product

import numpy as np

from ..physics.geometry import boxes_apart, rotation
from .locations import rectangle

SIGNS = np.array(list(product((-1, 1), repeat=3)), float)  # of the eight corners of a box
TOUCH = 1e-6  # within which an enclosure only touches [m]
RAIL = 0.05  # thickness of a balcony's solid front [m]     common practice, no source


def corners(loudspeakers):
    """Corners of the enclosures as they hang.

    Parameters
    ----------
    loudspeakers : sequence of Loudspeaker
        Turned and tilted, each by its own angles

    Returns
    -------
    corners : ndarray
        (loudspeaker, 8, 3) [m]
    """
    if not loudspeakers:
        return np.zeros((0, 8, 3))
    axes = rotation([c.pan_deg for c in loudspeakers], [c.downtilt_deg for c in loudspeakers])
    half = np.array([(c.type.depth, c.type.width, c.type.height) for c in loudspeakers]) / 2
    middle = np.array([c.position for c in loudspeakers]) - half[:, :1] * axes[:, 0]
    return middle[:, None] + (SIGNS * half[:, None]) @ axes


def beyond_room(loudspeakers, hall):
    """How far enclosures reach into walls, roof and floor.

    Parameters
    ----------
    loudspeakers : sequence of Loudspeaker
        Where they hang
    hall : Hall
        The gym; its roof may rise to a ridge

    Returns
    -------
    beyond : list of tuple
        (Loudspeaker, "east wall" or another, how far [m]) of those that do, the worst of each
    """
    at = corners(loudspeakers)  # (loudspeaker, corner, 3)
    x, y, z = np.moveaxis(at, -1, 0)
    parts = {
        "east wall": x - hall.length / 2,
        "west wall": -x - hall.length / 2,
        "north wall": y - hall.width / 2,
        "south wall": -y - hall.width / 2,
        "roof": z - hall.roof_height(y),
        "floor": -z,
    }
    over = np.array([p.max(axis=1) for p in parts.values()])  # (part, loudspeaker)
    names, worst = list(parts), over.argmax(axis=0)
    return [
        (c, names[worst[n]], float(over[worst[n], n]))
        for n, c in enumerate(loudspeakers)
        if over[worst[n], n] > TOUCH
    ]


def meeting(loudspeakers, things, hall):
    """The first enclosure that meets something solid that stands in the gym.

    Parameters
    ----------
    loudspeakers : sequence of Loudspeaker
        Where they hang
    things : iterable of Bank, PortableStage, Balcony or Fixture
        As they stand in one use or another
    hall : Hall
        The gym

    Returns
    -------
    found : tuple or None
        The loudspeaker, the thing, and how far the one reaches into the other [-, -, m]
    """
    if not loudspeakers:
        return None
    at = corners(loudspeakers)
    low, high = at.min(axis=1), at.max(axis=1)  # (loudspeaker, 3)
    for thing in things:
        for footprint, bottom, top in solids(thing, hall, float(low[:, 2].min())):
            box = np.reshape([*footprint, bottom, top], (3, 2))
            near = ((low < box[:, 1]) & (high > box[:, 0])).all(axis=1)
            turned = box.mean(axis=1), np.eye(3), np.diff(box).ravel() / 2
            for n in np.flatnonzero(near):
                apart = boxes_apart(loudspeakers[n].enclosure, turned)
                if apart < -TOUCH:
                    return loudspeakers[n], thing, -apart
    return None


def solids(thing, hall, above=0.0):
    """Upright boxes that a thing fills.

    Parameters
    ----------
    thing : Bank, PortableStage, Balcony or Fixture
        As it stands
    hall : Hall
        The gym
    above : float
        What ends below this height is left out [m]

    Returns
    -------
    boxes : iterator of tuple
        Rectangle on the plan (x low, x high, y low, y high), bottom and top [m]
    """
    if hasattr(thing, "boxes"):  # a fixture
        for (x0, y0, z0), (x1, y1, z1) in thing.boxes(hall):
            if z1 > above:
                yield (x0, x1, y0, y1), z0, z1
        return
    left = right = 0.0
    if hasattr(thing, "underside"):  # a balcony
        boxes = [(0.0, thing.depth, thing.underside, thing.height)]
        boxes += [(thing.depth - RAIL, thing.depth, thing.height, thing.height + thing.parapet)]
        left, right = thing.front_inset
    elif hasattr(thing, "first_height"):  # a bank
        low, front = thing.base_height, thing.depth
        boxes = [
            (front - (n + 1) * thing.row_run, front - n * thing.row_run, low, top)
            for n, top in enumerate(thing.first_seat + np.arange(thing.rows_out) * thing.row_rise)
        ]
        boxes += [(0.0, thing.folded, low, thing.top)] if thing.folded else []
    else:
        if thing.height > above:
            yield thing.footprint(hall), 0.0, thing.height
        return
    for near, far, bottom, top in boxes:
        if top > max(above, bottom):
            short = near > 0  # the front of a balcony
            a = thing.corner(hall, -thing.length / 2 + short * left, near, 0)
            b = thing.corner(hall, thing.length / 2 - short * right, far, 0)
            yield rectangle(a, b), bottom, top


def filling(things, points, hall):
    """The first thing that has a point inside what is solid of it.

    Parameters
    ----------
    things : iterable of Bank, PortableStage, Balcony or Fixture
        As they stand
    points : array
        (point, 3) [m]
    hall : Hall
        The gym

    Returns
    -------
    thing : Bank, PortableStage, Balcony, Fixture or None
        None when all points are outside
    """
    for thing in things:
        for footprint, bottom, top in solids(thing, hall):
            box = np.reshape([*footprint, bottom, top], (3, 2))
            inside = (points > box[:, 0] + TOUCH) & (points < box[:, 1] - TOUCH)
            if inside.all(axis=1).any():
                return thing
    return None


def holding(loudspeakers, points):
    """The first enclosure that has a point inside it.

    Parameters
    ----------
    loudspeakers : sequence of Loudspeaker
        Where they hang
    points : array
        (point, 3) [m]

    Returns
    -------
    loudspeaker : Loudspeaker or None
        None when all points are outside
    """
    at = corners(loudspeakers)
    near = (at.min(axis=1) <= points.max(axis=0)) & (at.max(axis=1) >= points.min(axis=0))
    for n in np.flatnonzero(near.all(axis=1)):
        middle, axes, half = loudspeakers[n].enclosure
        if (np.abs((points - middle) @ axes.T) < half - TOUCH).all(axis=1).any():
            return loudspeakers[n]
    return None
