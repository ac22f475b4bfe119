"""The air just over the listeners and the talkers, cut into zones of some meters, in which traced
sound is counted.
"""

import numpy as np

from ..physics.counting import zones
from ..physics.geometry import first_hit
from .locations import along_wall, overlap
from .seating import EAR_OVER_SEAT, EAR_SEATED, EAR_STANDING

ZONE = 5.0  # side of a zone, about: the late sound changes little over it [m]
OVER_SEATS = 0.3  # lower side of a layer over the slope of a bank or over a stage's floor [m]
OVER_FLOOR = 0.6  # the same over the floor, above the chairs [m]
LEAST = 0.05  # of a zone that must be left when what stands in it is taken off
# Layers over seats reach as far above the ears as below: late sound falls toward people, and a
# layer to 2.3 m counted up to 0.44 dB too much over a full bank (tests say so).
UPPER_FLOOR = 2 * EAR_SEATED - OVER_FLOOR  # upper side of the layer over the floor [m]
UPPER_BANK = 2 * EAR_OVER_SEAT - OVER_SEATS  # the same over the slope of a bank [m]
OVER_STAGE = 0.4  # how far the layer over the floor reaches over a stage on it, at least [m]
UPPER_STAGE = 2.3  # the same over a stage [m]
NARROWEST = 1.0  # floor between banks that has a layer of its own [m]
GAP = 0.05  # a layer keeps this far from what is above it [m]
PROBES = 15  # places along either edge of a layer where the room above it is looked for
EDGE = 0.02  # and from what is beside it [m]


def layers(configuration):
    """Layers of air over the floor, the open banks, balconies and stages, and what stands in the
    floor's layer taken off.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use

    Returns
    -------
    zones : Zones
        For ``physics.tracing.trace``
    """
    hall = configuration.hall
    floors = list(_over_floor(configuration))
    found = [*floors, *_over_slopes(configuration), *_over_stages(configuration)]
    made = zones(found)
    solid = [(p.footprint(), 0.0, p.height) for p in configuration.portable_stages]
    solid += [(b.footprint(hall), b.underside, b.height) for b in configuration.balconies]
    # where the layer goes through banks, because no floor lies between them
    solid += [(b.footprint(hall), b.base_height, b.top) for b in configuration.banks]
    for one in configuration.fixtures:
        solid += [(box, one.bottom, one.top) for box in one.footprints(hall)]
    for number, floor in enumerate(floors):
        _take_off(made, (made.first[number], floor), solid)
    return made


def _over_floor(configuration):
    """Layers over the free floor, through whatever stands on it: one, or one on each side of a
    divider.
    """
    room, stages = configuration.room, configuration.portable_stages
    standing = {t.name for t in (*stages, *configuration.balconies, *configuration.fixtures)}
    bare = room.polygons.some([k for k, s in enumerate(room.surfaces) if s.owner not in standing])
    # a stage that fills the layer would leave zones without air
    upper = max([UPPER_FLOOR, *(p.height + OVER_STAGE for p in stages)])
    for rectangle in _parted(_free_floor(configuration), configuration.divider):
        yield _over(bare, *_flat(rectangle, 0.0), (OVER_FLOOR, upper))


def _parted(rectangle, divider):
    """A rectangle of the floor, or its parts on both sides of a divider."""
    if divider is None:
        return [rectangle]
    x0, x1, y0, y1 = rectangle
    if divider.axis == 0:
        parts = [(x0, divider.at, y0, y1), (divider.at, x1, y0, y1)]
    else:
        parts = [(x0, x1, y0, divider.at), (x0, x1, divider.at, y1)]
    # none over the side of it that banks fill
    return [(a, b, c, d) for a, b, c, d in parts if min(b - a, d - c) >= NARROWEST] or [rectangle]


def _over_slopes(configuration):
    """Layers over open banks, and balconies with seats or people who stand."""
    hall, polygons = configuration.hall, configuration.room.polygons
    for bank in (b for b in configuration.banks if b.rows_out):
        slope = _slope(hall, bank, bank.front, bank.rear, bank.depth, bank.folded)
        yield _over(polygons, *slope, (OVER_SEATS, UPPER_BANK))
    for b in (b for b in configuration.balconies if b.rows):
        slope = _slope(hall, b, b.height, b.height + b.rows * b.row_rise, b.rows * b.row_run, 0.0)
        # the slope lies half a step over the middle of a row's floor
        yield _over(polygons, *slope, (OVER_SEATS, 2 * EAR_SEATED - b.row_rise - OVER_SEATS))
    for b in (b for b in configuration.balconies if b.standing):
        level = _slope(hall, b, b.height, b.height, b.depth - 2 * EDGE, 0.0)
        yield _over(polygons, *level, (OVER_SEATS, 2 * EAR_STANDING - OVER_SEATS))


def _over_stages(configuration):
    """Layers over portable stages and an open built-in one."""
    floors = [(p.footprint(), p.height) for p in configuration.portable_stages]
    if configuration.stage and configuration.curtain_open:
        a, b = configuration.stage.corners(configuration.hall)
        x, y = sorted((a[0], b[0])), sorted((a[1], b[1]))
        floors.append(((*x, *y), configuration.stage.floor_height))
    for footprint, height in floors:
        flat = _flat(footprint, height)
        yield _over(configuration.room.polygons, *flat, (OVER_SEATS, UPPER_STAGE))


def _free_floor(configuration):
    """Rectangle of the floor between the banks (x low, x high, y low, y high) [m]."""
    x0, x1, y0, y1 = (
        -configuration.hall.length / 2,
        configuration.hall.length / 2,
        -configuration.hall.width / 2,
        configuration.hall.width / 2,
    )
    for bank in (b for b in configuration.banks if b.on_floor):
        a, b, c, d = bank.footprint(configuration.hall)
        x0, x1 = (
            (max(x0, b), x1)
            if bank.side == "west"
            else (x0, min(x1, a))
            if bank.side == "east"
            else (x0, x1)
        )
        y0, y1 = (
            (max(y0, d), y1)
            if bank.side == "south"
            else (y0, min(y1, c))
            if bank.side == "north"
            else (y0, y1)
        )
    if min(x1 - x0, y1 - y0) < NARROWEST:  # banks beside each other leave no rectangle between them
        x, y = configuration.hall.length / 2, configuration.hall.width / 2
        return -x, x, -y, y
    return x0, x1, y0, y1


def _flat(rectangle, z):
    """Corner and two edges of a level rectangle."""
    x0, x1, y0, y1 = rectangle
    return (
        np.array([x0 + EDGE, y0 + EDGE, z]),
        np.array([x1 - x0 - 2 * EDGE, 0, 0]),
        np.array([0, y1 - y0 - 2 * EDGE, 0]),
    )


def _slope(hall, thing, low, high, front, back):
    """Corner and two edges of the slope of a bank or balcony: from its front to the wall, and along
    it.
    """
    _, along, _ = along_wall(thing.side, hall)
    half = thing.length / 2 - EDGE
    corner, rear = (
        thing.corner(hall, -half, front - EDGE, low),
        thing.corner(hall, -half, back + EDGE, high),
    )
    return corner, rear - corner, 2 * half * along


def _over(polygons, corner, first, second, span):
    """Layer over a plane between two heights, as far as there is room: (corner, edges, counts)."""
    low, high = span
    lift = np.array([0, 0, low])
    steps = np.linspace(0.001, 0.999, PROBES)
    at = np.array([corner + lift + u * first + v * second for u in steps for v in steps])
    _, up = first_hit(at, np.tile([[[0.0, 0.0, 1.0]]], (len(at), 1, 1)), polygons)
    height = min(high - low, float(up.min()) - GAP)
    counts = [max(1, round(float(np.linalg.norm(edge)) / ZONE)) for edge in (first, second)]
    return corner + lift, np.array([first, second, [0, 0, max(height, 0.1)]]), counts


def _take_off(made, floor, solid):
    """Stages, balconies and fixtures, (footprint, low, high) each, fill a part of the zones over
    the floor: no sound is there.
    """
    first, (corner, edges, counts) = floor
    dx, dy, dz = edges[0, 0] / counts[0], edges[1, 1] / counts[1], edges[2, 2]
    for n in range(counts[0]):
        for m in range(counts[1]):
            cell = (
                corner[0] + n * dx,
                corner[0] + (n + 1) * dx,
                corner[1] + m * dy,
                corner[1] + (m + 1) * dy,
            )
            free = dx * dy * dz
            for footprint, low, high in solid:
                free -= overlap(cell, footprint) * max(
                    min(high, corner[2] + dz) - max(low, corner[2]), 0.0
                )
            made.volume[first + n * counts[1] + m] = max(free, LEAST * dx * dy * dz)
