"""Beams: axes and -6 dB edges followed to the surfaces they meet, in space and in a section."""

from dataclasses import dataclass

import numpy as np

from ..physics import bands, field, geometry
from ..venue.locations import along_wall

BAND = 4  # edges are drawn for the 2 kHz octave, where the nominal angles hold
AROUND = 60  # directions around a beam's edge
JUMP = 1.5  # an outline is broken where it leaps farther than this from one surface to another [m]
EDGE_DB = -6.0
KEPT = 64  # types of loudspeakers whose edges are remembered


@dataclass(frozen=True, kw_only=True, eq=False)
class Throw:
    """One beam: from the loudspeaker along its axis to the first surface, and the outline of its
    -6 dB edge there.
    """

    tag: str
    group: str
    start: np.ndarray  # (3,) [m]
    end: np.ndarray  # (3,) [m]
    distance: float  # from start to end [m]
    # direct speech of this loudspeaker alone at the end; -inf for one that is off (7,) [dB]
    level_db: np.ndarray
    level_dba: float  # the same A-weighted [dB(A)]
    part: str  # of the room, at the end
    # (n, 3), closed, rows of NaN where it leaps to another surface; empty for a pattern without an
    # edge [m]
    edge: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Section:
    """A cut through one audience area; points of it are (distance, height), the distance from the
    wall behind a bank, or from the west wall.
    """

    area: str
    outline: np.ndarray  # floor, walls and roof (corner, 2) [m]
    # profile of the bank, and balconies and fixtures that are cut, each after a row of NaN (corner,
    # 2) [m]
    steps: np.ndarray
    points: np.ndarray  # indices of the seats in the cut, front to back (row,)
    seats: np.ndarray  # their ears (row, 2) [m]
    loudspeaker: int  # index of the loudspeaker that gives these seats the most direct sound
    at: np.ndarray  # its position (2,) [m]
    axis: np.ndarray  # start and end of the axis (2, 2) [m]
    edges: tuple  # upper and lower -6 dB edge, each (2, 2) [m]


def throws(result):
    """Every beam of every loudspeaker, followed to the first surface.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    throws : list of Throw
        In the order of the loudspeakers; one for each beam of a loudspeaker
    """
    sources, memory = result.sources, result.scenario.memory
    edges = [_edges(c.type, memory) for c in result.scenario.loudspeakers]
    types = [c.type for c in result.scenario.loudspeakers]
    # axes of the beams, then the edge of each
    rays = [
        np.concatenate([of.beams[:, 0], *around]) @ axes
        for of, around, axes in zip(types, edges, sources.axes, strict=True)
    ]
    most = max(map(len, rays))
    # (source, ray, 3), the short ones filled up
    padded = np.stack([np.concatenate([r, np.repeat(r[:1], most - len(r), axis=0)]) for r in rays])
    met, way = geometry.first_hit(sources.position, padded, result.configuration.room.polygons)
    beams = []
    for s, own in enumerate(rays):
        begin = types[s].lobes
        for beam, edge in enumerate(edges[s]):
            ring = slice(begin, begin + len(edge))
            outline = sources.position[s] + way[s, ring, None] * own[ring]
            outline = _broken(outline, met[s, ring])
            beams.append(_throw(result, s, own[beam], (met[s, beam], way[s, beam]), outline))
            begin += len(edge)
    return beams


def _throw(result, source, front, hit, edge):
    """One beam that goes a way and meets a surface (hit: its index, the way [m])."""
    loudspeaker, (surface, distance) = result.scenario.loudspeakers[source], hit
    sources, distance = result.sources, float(distance)
    level_db = (
        bands.to_level(sources.on_axis[source])
        - 20 * np.log10(max(distance, field.NEAREST))
        - bands.E_FOLD_DB * sources.decay * distance
    )
    return Throw(
        tag=loudspeaker.tag,
        group=loudspeaker.group,
        start=loudspeaker.position,
        end=loudspeaker.position + distance * front,
        distance=distance,
        level_db=level_db,
        level_dba=float(bands.a_weighted(level_db)),
        part=result.configuration.room.surfaces[surface].part,
        edge=edge,
    )


def _broken(outline, surface):
    """A closed outline with gaps where it leaps from one surface to another."""
    if not len(outline):
        return outline
    outline, surface = np.concatenate([outline, outline[:1]]), np.append(surface, surface[0])
    leap = (np.linalg.norm(np.diff(outline, axis=0), axis=1) > JUMP) & (np.diff(surface) != 0)
    return np.insert(outline, np.flatnonzero(leap) + 1, np.nan, axis=0)


def _edges(loudspeaker_type, memory):
    """Directions of the -6 dB edge of each beam in the loudspeaker's frame: list of (AROUND, 3),
    empty for a beam without an edge.
    """
    around = np.linspace(0, 2 * np.pi, AROUND, endpoint=False)
    return memory.cache("beam edges", KEPT).get(
        loudspeaker_type,
        lambda: [_edge(loudspeaker_type, beam, around) for beam in loudspeaker_type.beams],
    )


def _edge(loudspeaker_type, beam, around):
    """Directions at which the level falls through -6 dB, going outward from a beam's axis at the
    given angles around it (direction, 3).
    """
    theta = np.radians(np.arange(0.0, 179.0, 1.0))
    local = _cone(theta, around[:, None])  # (direction, step, 3)
    toward = (local @ beam).astype(np.float32)
    level = bands.to_level(loudspeaker_type.balloon.toward(toward)[..., BAND])
    below = level < EDGE_DB
    if not below.any(axis=1).all():
        return np.empty((0, 3))
    k = below.argmax(axis=1)  # first step below; the axis itself is at 0 dB
    rows = np.arange(len(around))
    before, after = level[rows, k - 1], level[rows, k]
    at = theta[k - 1] + (theta[1] - theta[0]) * (before - EDGE_DB) / (before - after)
    return _cone(at, around) @ beam


def _cone(off, around):
    """Unit vectors at angles off the x axis and around it (..., 3)."""
    x, y, z = np.cos(off), np.cos(around) * np.sin(off), np.sin(around) * np.sin(off)
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def cut_side(configuration, area):
    """Wall from which the section through an area starts, across its rows.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use
    area : str
        Name of an audience area

    Returns
    -------
    side : str
        Behind a bank; for chairs whose rows run along the gym "south"; else "west"
    """
    bank = next((b for b in configuration.banks if b.name == area), None)
    chairs = next((f for f in configuration.floor_seats if f.name == area), None)
    if bank:
        return bank.side
    return "south" if chairs and chairs.facing in ("north", "south") else "west"


def section(result, area):
    """Cut through the middle of an audience area, across its rows.

    Parameters
    ----------
    result : Result
        An evaluation
    area : str
        Name of an audience area

    Returns
    -------
    section : Section
        Distances from the wall that ``cut_side`` gives [m]
    """
    hall = result.scenario.hall
    bank = next((b for b in result.configuration.banks if b.name == area), None)
    side = cut_side(result.configuration, area)
    foot, along, inward = along_wall(side, hall)

    def flat(p):
        return np.stack([(np.asarray(p) - foot) @ inward, np.asarray(p)[..., 2]], axis=-1)

    points = _middle_seats(result, area)
    middle = result.points[points]
    direct, _ = result.sources.direct(middle)
    loudspeaker = int(np.argmax(direct[..., BAND].sum(axis=1)))
    start = result.scenario.loudspeakers[loudspeaker].position
    lines = [flat(np.stack([start, end])) for end in _ends(result, loudspeaker, middle)]
    cut = [
        _gapped(flat(c)) for c in cut_lines(result.configuration, along, float(middle[0] @ along))
    ]
    return Section(
        area=area,
        outline=hall_outline(hall, side, middle[0][1]),
        steps=np.concatenate([bank.profile if bank else np.empty((0, 2)), *cut]),
        points=points,
        seats=flat(middle),
        loudspeaker=loudspeaker,
        at=flat(start),
        axis=lines[0],
        edges=tuple(lines[1:]),
    )


def _middle_seats(result, area):
    """Indices of the middle seat of every row (row,)."""
    seats = result.configuration.areas[area]
    return result.spans[area].start + np.arange(seats.rows) * seats.columns + seats.columns // 2


def _ends(result, loudspeaker, seats):
    """Where the axis and the upper and lower edge of the beam that looks at these seats meet a
    surface (line, 3) [m].
    """
    c, axes = result.scenario.loudspeakers[loudspeaker], result.sources.axes[loudspeaker]
    fronts = c.type.beams[:, 0] @ axes
    beam = c.type.beams[int(np.argmax(fronts @ (seats.mean(axis=0) - c.position)))]
    edge = _edge(c.type, beam, np.array([np.pi / 2, -np.pi / 2]))  # up and down
    rays = np.concatenate([beam[:1], edge]) @ axes
    _, way = geometry.first_hit([c.position], rays[None], result.configuration.room.polygons)
    return c.position + way[0][:, None] * rays


def hall_outline(hall, side, y=0.0):
    """Floor, walls and roof cut by an upright plane that begins at a wall.

    Parameters
    ----------
    hall : Hall
        The gym
    side : str
        Wall that the plane is square to
    y : float
        Where the plane runs, for one along the gym [m]

    Returns
    -------
    outline : ndarray
        (corner, 2), closed: distance from the wall, and height [m]
    """
    if side in ("north", "south"):
        w = hall.width
        return np.array(
            [[0, 0], [w, 0], [w, hall.height], [w / 2, hall.highest], [0, hall.height], [0, 0]]
        )
    top = float(hall.roof_height(y))
    return np.array([[0, 0], [hall.length, 0], [hall.length, top], [0, top], [0, 0]])


def cut_lines(configuration, along, at):
    """Lines in which an upright plane cuts balconies, fixtures and a divider.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands
    along : array
        Direction across the plane (3,) [-]
    at : float
        Where the plane lies in that direction [m]

    Returns
    -------
    lines : iterator of ndarray
        Ends of each (2, 3) [m]
    """
    hanging = {thing.name for thing in (*configuration.balconies, *configuration.fixtures)}
    for surface in configuration.room.surfaces:
        if surface.owner not in hanging and surface.part != "divider":
            continue
        one, other = surface.corners, np.roll(surface.corners, -1, axis=0)
        a, b = one @ along - at, other @ along - at
        crosses = (a < 0) != (b < 0)
        if crosses.sum() == 2:
            share = (a / np.where(crosses, a - b, 1.0))[crosses, None]
            yield one[crosses] + share * (other - one)[crosses]


def _gapped(line):
    """A line (point, 2) after a gap, so that it does not join what is drawn before it."""
    return np.concatenate([np.full((1, 2), np.nan), line])
