"""The room as surfaces: one geometry for casting, line of sight, reverberation and pictures."""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from ..physics.geometry import INSIDE, Polygons, pack, polygon_area
from .finishes import FINISHES
from .hall import SIDES
from .locations import along_wall
from .seating import CHAIR_HEIGHT


@dataclass(frozen=True, eq=False, kw_only=True)
class Surface:
    """A plane convex piece of the room.

    ``part`` names what a designer would call it; ``area`` is what absorbs, with covered parts taken
    off (a bank counts by the floor it stands on, as its published values do); ``full`` is the
    finish when every place is taken; ``blocks`` says whether it may stand between a loudspeaker and
    a listener.
    """

    name: str
    part: str
    corners: np.ndarray  # (corner, 3) [m]
    area: float  # [m2]
    finish: str
    full: str | None = None
    blocks: bool = False


@dataclass(frozen=True, eq=False)
class Room:
    """All surfaces of a hall with what stands in it."""

    surfaces: tuple
    polygons: Polygons
    volume: float  # [m3]

    @cached_property
    def area(self):
        """Absorbing area of each surface (surface,) [m2]."""
        return np.array([s.area for s in self.surfaces])

    @cached_property
    def parts(self):
        """Part each surface belongs to (surface,)."""
        return [s.part for s in self.surfaces]

    @cached_property
    def blocking(self):
        """The polygons that can stand in a line of sight."""
        at = [k for k, s in enumerate(self.surfaces) if s.blocks]
        return self.polygons.some(at)

    def absorption(self, occupied, treatments=(), factors=None):
        """Absorption coefficients as the room is used.

        Parameters
        ----------
        occupied : dict
            Share of places taken by area name, 0 to 1 [-]
        treatments : sequence of Treatment
            Finishes added over part of a surface [-]
        factors : dict, optional
            What the table's absorption of a finish is multiplied by, one number or seven, by its
            name [-]

        Returns
        -------
        absorption : ndarray
            (surface, band) [-]
        """
        factors = factors or {}

        def own(name):
            return np.clip(np.array(FINISHES[name].absorption) * factors.get(name, 1.0), 0, 1)

        return np.clip(self._mixed(own, occupied, treatments), 0, 1)

    def scattering(self, occupied, treatments=()):
        """Share of the reflected sound that each surface scatters, as the room is used.

        Parameters
        ----------
        occupied : dict
            Share of places taken by area name, 0 to 1 [-]
        treatments : sequence of Treatment
            Finishes added over part of a surface [-]

        Returns
        -------
        scattering : ndarray
            (surface,) [-]
        """
        return np.clip(
            self._mixed(lambda name: np.array(FINISHES[name].scattering), occupied, treatments),
            0,
            1,
        )

    @cached_property
    def counted(self):
        """Area that counts over the area that is there (surface,), 1 but for seats: they count by
        the floor they take, however they rise.
        """
        there, ratio = (
            np.array([polygon_area(s.corners) for s in self.surfaces]),
            np.ones(len(self.surfaces)),
        )
        for part in {s.part for s in self.surfaces if s.full is not None}:
            at = [k for k, s in enumerate(self.surfaces) if s.part == part]
            ratio[at] = min(self.area[at].sum() / there[at].sum(), 1.0)
        return ratio

    def _mixed(self, own, occupied, treatments):
        """A value that finishes own by name, mixed by occupancy and by the area treated (surface,
        ...).
        """
        mixed = np.array([own(s.finish) for s in self.surfaces])
        for k, s in enumerate(self.surfaces):
            if s.full is not None:
                mixed[k] += occupied.get(s.part, 0.0) * (own(s.full) - mixed[k])
        bare = mixed.copy()
        for t in treatments:
            at = [k for k, s in enumerate(self.surfaces) if s.part == t.surface]
            share = t.area / max(sum(self.surfaces[k].area for k in at), 1e-9)
            mixed[at] += share * (own(t.finish) - bare[at])
        return mixed


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


@lru_cache(maxsize=256)
def build_room(
    hall,
    court,
    banks=(),
    floor_seats=(),
    stage=None,
    curtain_open=True,
    portable_stages=(),
    balconies=(),
):
    """Surfaces of a hall and all that stands in it.

    Parameters
    ----------
    hall : Hall
        The hall [-]
    court : Court
        Lines by level of play; the court is a part of the floor of its own [-]
    banks : tuple of Bank
        Bleachers, open or closed [-]
    floor_seats : tuple of FloorSeats
        Blocks of chairs [-]
    stage : Stage or None
        Built-in stage [-]
    curtain_open : bool
        Whether the hall and the stage are one room [-]
    portable_stages : tuple of PortableStage
        Platforms on the floor [-]
    balconies : tuple of Balcony
        Slabs along the walls [-]

    Returns
    -------
    room : Room
        Cached: the same things give the same object
    """
    surfaces = [
        *_floor(
            hall,
            court,
            [thing.footprint(hall) for thing in (*banks, *floor_seats, *portable_stages)],
        ),
        *_roof(hall),
        *(piece for side in SIDES for piece in _wall(hall, side, banks, stage)),
        *(piece for bank in banks for piece in _bank(hall, bank, banks)),
        *(face for block in floor_seats for face in _chairs(block)),
        *(face for platform in portable_stages for face in _platform(platform)),
        *(face for balcony in balconies for face in _balcony(hall, balcony)),
        *((_recess(hall, stage) if curtain_open else [_curtain(hall, stage)]) if stage else ()),
    ]
    volume = (
        hall.volume
        + (stage.volume if stage and curtain_open else 0.0)
        - sum(t.solid for t in (*banks, *portable_stages, *balconies))
    )
    return Room(tuple(surfaces), pack([s.corners for s in surfaces]), volume)


def _floor(hall, court, covered):
    x, y = hall.length / 2, hall.width / 2
    cx, cy = min(court.length / 2, x), min(court.width / 2, y)
    pieces = {
        "court": (-cx, cx, -cy, cy),
        "north floor": (-x, x, cy, y),
        "south floor": (-x, x, -y, -cy),
    }
    pieces |= {"east floor": (cx, x, -cy, cy), "west floor": (-x, -cx, -cy, cy)}
    for name, (a, b, c, d) in pieces.items():
        if min(b - a, d - c) < INSIDE:  # no wider than the slack of a joint
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


def _roof(hall):
    x, y, low, high = hall.length / 2, hall.width / 2, hall.height, hall.highest
    flat = high - low < 1e-6
    slopes = (
        {"roof": (-y, low, y, low)}
        if flat
        else {"north roof": (0, high, y, low), "south roof": (-y, low, 0, high)}
    )
    for name, (y0, z0, y1, z1) in slopes.items():
        corners = np.array([[-x, y0, z0], [x, y0, z0], [x, y1, z1], [-x, y1, z1]], float)
        yield Surface(
            name=name, part="roof", corners=corners, area=polygon_area(corners), finish=hall.roof
        )


def _wall(hall, side, banks, stage):
    foot, along, _ = along_wall(side, hall)
    half = (hall.length if side in ("north", "south") else hall.width) / 2
    # along the wall, up
    outline = [(-half, 0.0), (half, 0.0), (half, hall.height), (-half, hall.height)]
    if side in ("east", "west") and hall.highest - hall.height > 1e-6:
        outline.insert(3, (0.0, hall.highest))
    outline, part = np.array(outline), f"{side} wall"
    pieces = {part: outline}
    if stage and stage.side == side:
        a, b = stage.offset - stage.width / 2, stage.offset + stage.width / 2
        beyond = _clip(_clip(outline, (1, 0), a), (-1, 0), -b)
        pieces = {
            f"{part}, left of the stage": _clip(outline, (-1, 0), -a),
            f"{part}, right of the stage": _clip(outline, (1, 0), b),
            f"{part}, over the stage": _clip(beyond, (0, 1), stage.top),
            "stage front": _clip(beyond, (0, -1), -stage.floor_height),
        }
    behind = {name: 0.0 for name in pieces}
    for bank in banks:
        if bank.side == side:
            spot = (bank.offset - bank.length / 2, bank.offset + bank.length / 2, 0.0, bank.top)
            for name, p in pieces.items():
                box = (
                    (p[:, 0].min(), p[:, 0].max(), p[:, 1].min(), p[:, 1].max())
                    if len(p)
                    else (0, 0, 0, 0)
                )
                behind[name] += overlap(spot, box)
    for name, p in pieces.items():
        if len(p) < 3 or polygon_area(np.c_[p, np.zeros(len(p))]) < 1e-3:
            continue
        corners = foot + p[:, :1] * along + p[:, 1:] * np.array([0, 0, 1.0])
        front = name == "stage front"
        yield Surface(
            name=name,
            part=name if front else part,
            corners=corners,
            area=max(polygon_area(corners) - behind[name], 0.0),
            finish=stage.front if front else hall.wall(side),
            blocks=bool(stage and stage.side == side),
        )


def _clip(outline, normal, limit):
    """Part of a convex outline (corner, 2) with normal . x >= limit."""
    kept, normal = [], np.asarray(normal, float)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        da, db = a @ normal - limit, b @ normal - limit
        if da >= 0:
            kept.append(a)
        if da * db < 0:
            kept.append(a + (b - a) * da / (da - db))
    return np.array(kept).reshape(-1, 2)


def _hidden(hall, bank, sign, banks):
    """Whether a side of a bank stands against a wall, or against another bank at least as large."""
    wall = (hall.length if bank.side in ("north", "south") else hall.width) / 2
    end = bank.offset + sign * bank.length / 2
    if abs(abs(end) - wall) < 0.01:
        return True
    others = (
        b
        for b in banks
        if b.side == bank.side
        and b is not bank
        and b.depth >= bank.depth - 0.01
        and b.top >= bank.top - 0.01
    )
    return any(abs(b.offset - sign * b.length / 2 - end) < 0.01 for b in others)


def _bank(hall, bank, banks):
    half, depth, top = bank.length / 2, bank.depth, bank.top
    front = bank.first_height - bank.row_rise / 2 if bank.open else top

    def at(u, inward, z):
        return bank.corner(hall, u, inward, z)

    seats = [at(-half, 0, top), at(half, 0, top), at(half, depth, front), at(-half, depth, front)]
    faces = {
        "front": [
            at(-half, depth, 0),
            at(half, depth, 0),
            at(half, depth, front),
            at(-half, depth, front),
        ],
        "left side": [
            at(-half, 0, 0),
            at(-half, depth, 0),
            at(-half, depth, front),
            at(-half, 0, top),
        ],
        "right side": [
            at(half, 0, 0),
            at(half, depth, 0),
            at(half, depth, front),
            at(half, 0, top),
        ],
    }
    yield Surface(
        name=bank.name,
        part=bank.name if bank.open else "closed bleachers",
        corners=np.array(seats),
        area=bank.length * depth,
        finish=bank.empty if bank.open else "bleacher closed",
        full=bank.full if bank.open else None,
        blocks=True,
    )
    for name, corners in faces.items():
        yield Surface(
            name=f"{bank.name}, {name}",
            part="bleacher fronts" if bank.open else "closed bleachers",
            corners=np.array(corners),
            area=(
                0.0
                if "side" in name and _hidden(hall, bank, -1 if "left" in name else 1, banks)
                else polygon_area(corners)
            ),
            finish="bleacher closed",
            blocks=True,
        )


def _chairs(block):
    """The plane of the heads, and what sound meets from the side; chairs count by their floor area,
    as their published values do.
    """
    for name, corners in _prism(block, 0.0, CHAIR_HEIGHT):
        top = name is None
        yield Surface(
            name=block.name if top else f"{block.name}, {name}",
            part=block.name,
            corners=corners,
            area=block.length * block.width if top else 0.0,
            finish=block.empty,
            full=block.full,
        )


def _prism(thing, low, high):
    """Top (no name) and four sides of what stands on the floor."""
    a, b, c, d = thing.footprint()
    ring = [(a, c), (b, c), (b, d), (a, d)]
    yield None, np.array([(x, y, high) for x, y in ring], float)
    for n, side in enumerate(("south", "east", "north", "west")):
        (x0, y0), (x1, y1) = ring[n], ring[(n + 1) % 4]
        yield side, np.array([(x0, y0, low), (x1, y1, low), (x1, y1, high), (x0, y0, high)], float)


def _recess(hall, stage):
    foot, along, inward = along_wall(stage.side, hall)

    def at(u, out, z):
        return foot + (stage.offset + u) * along - out * inward + np.array([0, 0, z])

    h, d, low, top = stage.width / 2, stage.depth, stage.floor_height, stage.top
    faces = {
        "stage floor": (
            [at(-h, 0, low), at(h, 0, low), at(h, d, low), at(-h, d, low)],
            stage.floor,
        ),
        "stage ceiling": (
            [at(-h, 0, top), at(h, 0, top), at(h, d, top), at(-h, d, top)],
            stage.ceiling,
        ),
        "stage back": (
            [at(-h, d, low), at(h, d, low), at(h, d, top), at(-h, d, top)],
            stage.surrounds,
        ),
        "stage left": (
            [at(-h, 0, low), at(-h, d, low), at(-h, d, top), at(-h, 0, top)],
            stage.surrounds,
        ),
        "stage right": (
            [at(h, 0, low), at(h, d, low), at(h, d, top), at(h, 0, top)],
            stage.surrounds,
        ),
    }
    for name, (corners, finish) in faces.items():
        yield Surface(
            name=name,
            part="stage",
            corners=np.array(corners),
            area=polygon_area(corners),
            finish=finish,
        )


def _curtain(hall, stage):
    foot, along, _ = along_wall(stage.side, hall)

    def at(u, z):
        return foot + (stage.offset + u) * along + np.array([0, 0, z])

    h = stage.width / 2
    corners = np.array(
        [at(-h, stage.floor_height), at(h, stage.floor_height), at(h, stage.top), at(-h, stage.top)]
    )
    return Surface(
        name="stage curtain",
        part="stage",
        corners=corners,
        area=polygon_area(corners),
        finish=stage.curtain,
    )


def _platform(stage):
    for name, corners in _prism(stage, 0.0, stage.height):
        yield Surface(
            name=f"{stage.name}, {name}" if name else stage.name,
            part="portable stage" if name else stage.name,
            corners=corners,
            area=polygon_area(corners),
            finish=stage.finish,
            blocks=True,
        )


def _balcony(hall, balcony):
    def at(u, inward, z):
        return balcony.corner(hall, u, inward, z)

    h, d, low, floor = balcony.length / 2, balcony.depth, balcony.underside, balcony.height
    high, back = floor + balcony.parapet, floor + balcony.rows * balcony.row_rise
    front_of_rows = balcony.rows * balcony.row_run
    faces = {
        balcony.name: (
            [
                at(-h, 0, back),
                at(h, 0, back),
                at(h, front_of_rows, floor),
                at(-h, front_of_rows, floor),
            ],
            balcony.finish,
        ),
        f"{balcony.name}, floor": (
            [
                at(-h, front_of_rows, floor),
                at(h, front_of_rows, floor),
                at(h, d, floor),
                at(-h, d, floor),
            ],
            balcony.finish,
        ),
        f"{balcony.name}, underside": (
            [at(-h, 0, low), at(h, 0, low), at(h, d, low), at(-h, d, low)],
            balcony.under,
        ),
        f"{balcony.name}, front": (
            [at(-h, d, low), at(h, d, low), at(h, d, high), at(-h, d, high)],
            balcony.front,
        ),
        f"{balcony.name}, left end": (
            [at(-h, 0, low), at(-h, d, low), at(-h, d, floor), at(-h, 0, floor)],
            balcony.front,
        ),
        f"{balcony.name}, right end": (
            [at(h, 0, low), at(h, d, low), at(h, d, floor), at(h, 0, floor)],
            balcony.front,
        ),
    }
    if balcony.rows and back > floor:

        def rise(u):
            return [at(u, 0, floor), at(u, front_of_rows, floor), at(u, 0, back)]

        faces |= {
            f"{balcony.name}, {side} of the rows": (rise(u), balcony.front)
            for side, u in (("left", -h), ("right", h))
        }
    for name, (corners, finish) in faces.items():
        area = polygon_area(corners)
        if area < 1e-4:
            continue
        rows = name == balcony.name
        yield Surface(
            name=name,
            part=balcony.name if rows else "balcony",
            corners=np.array(corners),
            area=area,
            finish=finish,
            full=balcony.full if rows else None,
            blocks=True,
        )
