"""The pieces of a room, thing by thing: floor, roof and walls, bleachers, chairs, stages and
balconies as plane surfaces with a finish.
"""

from dataclasses import dataclass

import numpy as np

from ..physics.geometry import INSIDE, clip, polygon_area
from .fixture import FLUSH
from .locations import along_wall, overlap
from .seating import CHAIR_HEIGHT

SMALLEST = 1e-3  # piece of a wall that is kept [m2]
THINNEST = 1e-4  # face of a balcony that is kept [m2]


# of a box, by axis
FACES = (("west side", "east side"), ("south side", "north side"), ("underside", "top"))


@dataclass(frozen=True, eq=False, kw_only=True)
class Surface:
    """A plane convex piece of the room.

    ``owner`` is the name of the thing that it belongs to, "" for the gym itself and its built-in
    stage; ``part`` names what a designer would call it; ``area`` is what absorbs, with covered
    parts taken off (a bank counts by the floor it stands on, as its published values do); ``full``
    is the finish when every seat is taken, over the ``seated`` share of it that is no aisle;
    ``blocks`` says whether it may stand between a loudspeaker and a listener.
    """

    name: str
    part: str
    corners: np.ndarray  # (corner, 3) [m]
    area: float  # [m2]
    finish: str
    full: str | None = None
    seated: float = 1.0  # [-]
    blocks: bool = False
    owner: str = ""
    through: tuple | None = None  # share of the energy that goes through it (band,)


def floor(hall, court, covered):
    """Pieces of the floor: the court, and what lies around it.

    Parameters
    ----------
    hall : Hall
        The gym
    court : Court
        Lines by level of play
    covered : list of tuple
        Rectangles (x low, x high, y low, y high) that something stands on [m]

    Returns
    -------
    pieces : iterator of Surface
        None that is no wider than the slack of a joint
    """
    x, y = hall.length / 2, hall.width / 2
    west, east, south, north = court.footprint()
    west, east, south, north = max(west, -x), min(east, x), max(south, -y), min(north, y)
    pieces = {
        "court": (west, east, south, north),
        "north floor": (-x, x, north, y),
        "south floor": (-x, x, -y, south),
        "east floor": (east, x, south, north),
        "west floor": (-x, west, south, north),
    }
    for name, (a, b, c, d) in pieces.items():
        if min(b - a, d - c) < INSIDE:
            continue
        corners = np.array([[a, c, 0], [b, c, 0], [b, d, 0], [a, d, 0]], float)
        free = polygon_area(corners) - sum(overlap((a, b, c, d), r) for r in covered)
        yield Surface(
            name=name,
            part="court" if name == "court" else "floor",
            corners=corners,
            area=max(free, 0.0),
            finish=hall.floor,
        )


def roof(hall, fixtures=()):
    """The roof: one piece where it is flat, else two slopes; what fixtures hide does not count.

    Parameters
    ----------
    hall : Hall
        The gym
    fixtures : sequence of Fixture
        What hangs or stands in it

    Returns
    -------
    pieces : iterator of Surface
        Seen from below
    """
    x, y, low, high = hall.length / 2, hall.width / 2, hall.height, hall.highest
    flat = high - low < 1e-6
    slopes = (
        {"roof": (-y, low, y, low)}
        if flat
        else {"north roof": (0, high, y, low), "south roof": (-y, low, 0, high)}
    )
    for name, (y0, z0, y1, z1) in slopes.items():
        corners = np.array([[-x, y0, z0], [x, y0, z0], [x, y1, z1], [-x, y1, z1]], float)
        area = polygon_area(corners) - (_on_the_roof(hall, fixtures) if flat else 0.0)
        yield Surface(
            name=name, part="roof", corners=corners, area=max(area, 0.0), finish=hall.roof
        )


def _on_the_roof(hall, fixtures):
    """Area of a flat roof that fixtures hide [m2]."""
    return sum(f.length * f.depth * f.number for f in fixtures if hall.height - f.top < FLUSH)


def wall(hall, side, standing, stage):
    """A wall, in pieces around the opening of a stage; what bleachers and fixtures hide does not
    count.

    Parameters
    ----------
    hall : Hall
        The gym
    side : str
        "north", "south", "east" or "west"
    standing : tuple
        Bleachers of all sides, and fixtures
    stage : Stage or None
        Built-in stage

    Returns
    -------
    pieces : iterator of Surface
        Those that are there
    """
    foot, along, _ = along_wall(side, hall)
    banks, fixtures = standing
    hidden = [
        (b.offset - b.length / 2, b.offset + b.length / 2, b.base_height, b.top)
        for b in banks
        if b.side == side and b.setback < FLUSH
    ]
    hidden += against(hall, side, fixtures)
    opened = stage is not None and stage.side == side
    for name, outline in _wall_outlines(hall, side, stage if opened else None).items():
        if len(outline) < 3 or polygon_area(np.c_[outline, np.zeros(len(outline))]) < SMALLEST:
            continue
        corners = foot + outline[:, :1] * along + outline[:, 1:] * np.array([0, 0, 1.0])
        front = name == "stage front"
        yield Surface(
            name=name,
            part=name if front else f"{side} wall",
            corners=corners,
            area=max(polygon_area(corners) - _hidden_area(outline, hidden), 0.0),
            finish=stage.front if front else hall.wall(side),
            blocks=opened,
        )


def _wall_outlines(hall, side, stage):
    """Outlines (corner, 2), along the wall and up, of the pieces of a wall by name [m]."""
    half = (hall.length if side in ("north", "south") else hall.width) / 2
    corners = [(-half, 0.0), (half, 0.0), (half, hall.height), (-half, hall.height)]
    if side in ("east", "west") and hall.highest - hall.height > 1e-6:
        corners.insert(3, (0.0, hall.highest))
    outline, name = np.array(corners), f"{side} wall"
    if stage is None:
        return {name: outline}
    a, b = stage.offset - stage.width / 2, stage.offset + stage.width / 2
    beyond = clip(clip(outline, (1, 0), a), (-1, 0), -b)
    return {
        f"{name}, left of the stage": clip(outline, (-1, 0), -a),
        f"{name}, right of the stage": clip(outline, (1, 0), b),
        f"{name}, over the stage": clip(beyond, (0, 1), stage.top),
        "stage front": clip(beyond, (0, -1), -stage.floor_height),
    }


def _hidden_area(outline, hidden):
    """Area of a piece of a wall that is hidden by rectangles along the wall and up [m2]."""
    box = (*_range(outline[:, 0]), *_range(outline[:, 1]))
    return sum(overlap(one, box) for one in hidden)


def against(hall, side, fixtures):
    """What fixtures hide of a wall that they lie on.

    Parameters
    ----------
    hall : Hall
        The gym
    side : str
        "north", "south", "east" or "west"
    fixtures : sequence of Fixture
        What hangs or stands in it

    Returns
    -------
    rectangles : list of tuple
        (low, high) along the wall from its middle, and (low, high) over the floor [m]
    """
    foot, along, inward = along_wall(side, hall)
    found = []
    for box in (box for one in fixtures for box in one.boxes(hall)):
        u, out = np.sort((box - foot) @ along), ((box - foot) @ inward).min()
        if out < FLUSH:
            found.append((u[0], u[1], box[0, 2], box[1, 2]))
    return found


def _range(values):
    return values.min(), values.max()


def bank(hall, one, banks, decks=()):
    """A bank of bleachers: the slope of its seats, the stack of its folded rows, front, sides, and
    back and underside where they are free.

    Parameters
    ----------
    hall : Hall
        The gym
    one : Bank
        Open, partly open or closed
    banks : sequence of Bank
        All banks: a side that stands against another one absorbs nothing
    decks : sequence of Balcony
        What a bank on a mezzanine may stand on

    Returns
    -------
    pieces : iterator of Surface
        The seats first
    """
    part = "bleacher fronts" if one.open else "closed bleachers"
    hidden = {
        f"{way} side": _hidden(hall, one, s, banks) for way, s in (("left", -1), ("right", 1))
    }
    if one.rows_out:
        yield _seats(hall, one)
    for name, face in _bank_faces(one).items():
        corners = _corners(hall, one, face)
        area = polygon_area(corners)
        if name in ("", "folded top"):  # by its floor, as the seats
            area = one.length * one.folded
        elif name == "underside":
            area -= _resting(hall, one, decks)
        yield Surface(
            name=f"{one.name}, {name}" if name else one.name,
            owner=one.name,
            part="closed bleachers" if "folded" in name else part,
            corners=corners,
            area=0.0 if hidden.get(name.removeprefix("folded ")) else max(area, 0.0),
            finish="bleacher closed",
            blocks=True,
        )


def _seats(hall, one):
    """The slope of the seats that are out; they count by the floor they take."""
    h, back, deep = one.length / 2, one.folded, one.depth
    front, rear = one.front, one.rear
    face = [(-h, back, rear), (h, back, rear), (h, deep, front), (-h, deep, front)]
    return Surface(
        name=one.name,
        owner=one.name,
        part=one.name,
        corners=_corners(hall, one, face),
        area=one.length * (deep - back),
        finish=one.empty,
        full=one.full,
        seated=one.seated_share,
        blocks=True,
    )


def _bank_faces(one):
    """Points along the wall, into the gym and up, of each face of a bank but its seats, by name;
    the top of a closed one has none.
    """
    h, back, deep, low = one.length / 2, one.folded, one.depth, one.base_height
    faces = {}
    if one.rows_out:
        faces |= _body(h, (back, deep), (low, one.rear, one.front), low)
    if back:
        stack = _body(h, (0, back), (low, one.top, one.top), one.rear if one.rows_out else low)
        top = [(-h, 0, one.top), (h, 0, one.top), (h, back, one.top), (-h, back, one.top)]
        if one.rows_out:
            faces |= {"folded top": top} | {f"folded {n}": face for n, face in stack.items()}
        else:
            faces |= {"": top} | stack
    if one.setback > 0:
        faces["back"] = [(-h, 0, low), (h, 0, low), (h, 0, one.top), (-h, 0, one.top)]
    if not one.on_floor:
        faces["underside"] = [(-h, 0, low), (h, 0, low), (h, deep, low), (-h, deep, low)]
    return faces


def _body(h, reach, heights, foot):
    """Front and sides of a body along a wall that reaches so far into the gym, with its low edge,
    its rear and front height, and the foot of its front.
    """
    (near, far), (low, rear, front) = reach, heights
    return {
        "front": [(-h, far, foot), (h, far, foot), (h, far, front), (-h, far, front)],
        "left side": [(-h, near, low), (-h, far, low), (-h, far, front), (-h, near, rear)],
        "right side": [(h, near, low), (h, far, low), (h, far, front), (h, near, rear)],
    }


def _resting(hall, one, decks):
    """Area of a bank's underside that lies on a deck [m2]."""
    return sum(
        overlap(one.footprint(hall), deck.footprint(hall))
        for deck in decks
        if abs(deck.height - one.base_height) < FLUSH
    )


def _corners(hall, thing, points):
    """Corners (corner, 3) of what stands along a wall, from points along it, into the gym and up
    [m].
    """
    return np.array([thing.corner(hall, *point) for point in points])


def _hidden(hall, one, sign, banks):
    """Whether a side of a bank stands against a wall, or against another bank at least as large."""
    half = (hall.length if one.side in ("north", "south") else hall.width) / 2
    end = one.offset + sign * one.length / 2
    if abs(abs(end) - half) < FLUSH:
        return True
    others = (b for b in banks if b.side == one.side and b is not one and _covers(b, one))
    return any(abs(b.offset - sign * b.length / 2 - end) < FLUSH for b in others)


def _covers(other, one):
    """Whether the side of a bank hides the side of another that stands against it."""
    alike = abs(other.setback - one.setback) < FLUSH and other.base_height == one.base_height
    if one.rows_out and (one.folded or other.folded):  # their steps differ unless they are alike
        there, here = other.profile, one.profile
        return alike and there.shape == here.shape and np.abs(there - here).max() < FLUSH
    return alike and other.depth >= one.depth - FLUSH and other.top >= one.top - FLUSH


def chairs(block):
    """The plane of the heads, and what sound meets from the side, of every section between aisles;
    chairs count by their floor area, as their published values do.

    Parameters
    ----------
    block : FloorSeats
        Chairs on the floor

    Returns
    -------
    pieces : iterator of Surface
        The top of a section first
    """
    blocks = block.blocks()
    for n, footprint in enumerate(blocks, 1):
        called = block.name if len(blocks) == 1 else f"{block.name}, section {n}"
        a, b, c, d = footprint
        for name, corners in _prism(footprint, CHAIR_HEIGHT):
            yield Surface(
                name=f"{called}, {name}" if name else called,
                owner=block.name,
                part=block.name,
                corners=corners,
                area=0.0 if name else (b - a) * (d - c),
                finish=block.empty,
                full=block.full,
            )


def platform(stage):
    """A portable stage.

    Parameters
    ----------
    stage : PortableStage
        Set out on the floor

    Returns
    -------
    pieces : iterator of Surface
        The deck first
    """
    for name, corners in _prism(stage.footprint(), stage.height):
        yield Surface(
            name=f"{stage.name}, {name}" if name else stage.name,
            owner=stage.name,
            part="portable stage" if name else stage.name,
            corners=corners,
            area=polygon_area(corners),
            finish=stage.finish,
            blocks=True,
        )


def _prism(footprint, high):
    """Top (no name) and four sides of what stands on the floor."""
    a, b, c, d = footprint
    ring = [(a, c), (b, c), (b, d), (a, d)]
    yield None, np.array([(x, y, high) for x, y in ring], float)
    for n, side in enumerate(("south", "east", "north", "west")):
        (x0, y0), (x1, y1) = ring[n], ring[(n + 1) % 4]
        yield side, np.array([(x0, y0, 0.0), (x1, y1, 0.0), (x1, y1, high), (x0, y0, high)], float)


def fixture(hall, one):
    """A fixture: the faces of its boxes that do not lie on the floor, a wall or a flat roof.

    Parameters
    ----------
    hall : Hall
        The gym
    one : Fixture
        As it hangs or stands

    Returns
    -------
    pieces : iterator of Surface
        Those that sound meets
    """
    shell = np.array(
        [[-hall.length / 2, -hall.width / 2, 0.0], [hall.length / 2, hall.width / 2, hall.height]]
    )
    flat = hall.highest - hall.height < FLUSH
    for number, box in enumerate(one.boxes(hall), 1):
        name = one.name if one.number == 1 else f"{one.name} {number}"
        for axis, face in ((axis, face) for axis in range(3) for face in (0, 1)):
            upper = axis == 2 and face == 1
            if abs(box[face, axis] - shell[face, axis]) < FLUSH and (flat or not upper):
                continue
            corners = _face(box, axis, face)
            yield Surface(
                name=f"{name}, {FACES[axis][face]}",
                owner=one.name,
                part=one.name,
                corners=corners,
                area=polygon_area(corners),
                finish=one.finish,
                blocks=True,
            )


def divider(hall, one):
    """The curtain that divides the gym.

    Parameters
    ----------
    hall : Hall
        The gym
    one : Divider
        It is drawn

    Returns
    -------
    piece : Surface
        Its area counts on both sides
    """
    corners = one.outline(hall)
    return Surface(
        name="divider",
        part="divider",
        corners=corners,
        area=2 * polygon_area(corners),
        finish=one.finish,
        blocks=True,
        through=tuple(one.transmission.tolist()),
    )


def _face(box, axis, face):
    """Corners of one face of an upright box (corner, 3)."""
    u, v = (axis + 1) % 3, (axis + 2) % 3
    corners = np.empty((4, 3))
    corners[:, axis] = box[face, axis]
    corners[:, u] = box[[0, 1, 1, 0], u]
    corners[:, v] = box[[0, 0, 1, 1], v]
    return corners


def recess(hall, stage):
    """The room behind the opening of a built-in stage.

    Parameters
    ----------
    hall : Hall
        The gym
    stage : Stage
        Its curtain is open

    Returns
    -------
    pieces : iterator of Surface
        Floor, ceiling, back and sides
    """
    h, d, low, top = stage.width / 2, stage.depth, stage.floor_height, stage.top
    faces = {
        "floor": [(-h, 0, low), (h, 0, low), (h, d, low), (-h, d, low)],
        "ceiling": [(-h, 0, top), (h, 0, top), (h, d, top), (-h, d, top)],
        "back": [(-h, d, low), (h, d, low), (h, d, top), (-h, d, top)],
        "left": [(-h, 0, low), (-h, d, low), (-h, d, top), (-h, 0, top)],
        "right": [(h, 0, low), (h, d, low), (h, d, top), (h, 0, top)],
    }
    for name, face in faces.items():
        corners = _in_opening(hall, stage, face)
        yield Surface(
            name=f"stage {name}",
            part="stage",
            corners=corners,
            area=polygon_area(corners),
            finish={"floor": stage.floor, "ceiling": stage.ceiling}.get(name, stage.surrounds),
        )


def curtain(hall, stage):
    """The closed curtain of a built-in stage.

    Parameters
    ----------
    hall : Hall
        The gym
    stage : Stage
        What is behind the curtain does not count

    Returns
    -------
    piece : Surface
        In the plane of the wall
    """
    h, low, top = stage.width / 2, stage.floor_height, stage.top
    corners = _in_opening(hall, stage, [(-h, 0, low), (h, 0, low), (h, 0, top), (-h, 0, top)])
    return Surface(
        name="stage curtain",
        part="stage",
        corners=corners,
        area=polygon_area(corners),
        finish=stage.curtain,
    )


def _in_opening(hall, stage, points):
    """Corners (corner, 3) from points along the opening, behind it and up [m]."""
    foot, along, inward = along_wall(stage.side, hall)
    return np.array(
        [
            foot + (stage.offset + u) * along - out * inward + np.array([0, 0, z])
            for u, out, z in points
        ]
    )


def balcony(hall, one, banks=()):
    """A balcony: its rows, its floor, its underside, front and ends.

    Parameters
    ----------
    hall : Hall
        The gym
    one : Balcony
        Along a wall
    banks : sequence of Bank
        Those that stand on it cover its floor, as those on the gym's floor do

    Returns
    -------
    pieces : iterator of Surface
        Those that have an area
    """
    for name, (face, finish) in _balcony_faces(one).items():
        corners = _corners(hall, one, face)
        area = polygon_area(corners)
        if area < THINNEST:
            continue
        if name == "floor":
            area -= sum(_resting(hall, b, (one,)) for b in banks if not b.on_floor)
        yield Surface(
            name=f"{one.name}, {name}" if name else one.name,
            owner=one.name,
            part="balcony" if name else one.name,
            corners=corners,
            area=max(area, 0.0),
            finish=finish,
            full=None if name else one.full,
            blocks=True,
        )


def _balcony_faces(one):
    """Points along the wall, into the gym and up, and the finish, of each face of a balcony by
    name; the rows have none.
    """
    h, d, low, floor = one.length / 2, one.depth, one.underside, one.height
    left, right = one.front_inset
    high, back = floor + one.parapet, floor + one.rows * one.row_rise
    deep = one.rows * one.row_run  # of the rows
    faces = {
        "": ([(-h, 0, back), (h, 0, back), (h, deep, floor), (-h, deep, floor)], one.finish),
        "floor": ([(-h, deep, floor), (h, deep, floor), (h, d, floor), (-h, d, floor)], one.finish),
        "underside": ([(-h, 0, low), (h, 0, low), (h, d, low), (-h, d, low)], one.under),
        "front": (
            [(-h + left, d, low), (h - right, d, low), (h - right, d, high), (-h + left, d, high)],
            one.front,
        ),
        "left end": ([(-h, 0, low), (-h, d, low), (-h, d, floor), (-h, 0, floor)], one.front),
        "right end": ([(h, 0, low), (h, d, low), (h, d, floor), (h, 0, floor)], one.front),
    }
    if not one.ends:
        del faces["left end"], faces["right end"]
    if one.rows and back > floor:
        for side, u in (("left", -h), ("right", h)):
            rise = [(u, 0, floor), (u, deep, floor), (u, 0, back)]
            faces[f"{side} of the rows"] = rise, one.front
    return faces
