"""Where beams go: axes and -6 dB edges followed to the surfaces they meet, in space and in a
section.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..physics import bands, field, geometry
from ..venue.locations import along_wall

BAND = 4  # edges are drawn for the 2 kHz octave, where the nominal angles hold
AROUND = 60  # directions around a beam's edge
JUMP = 1.5  # an outline is broken where it leaps farther than this from one surface to another [m]
EDGE_DB = -6.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Throw:
    """One beam: from the loudspeaker along its axis to the first surface, and the outline of its -6
    dB edge there.
    """

    tag: str
    group: str
    start: np.ndarray  # (3,) [m]
    end: np.ndarray  # (3,) [m]
    distance: float  # [m]
    level_db: np.ndarray  # the same in octaves (7,) [dB]
    level_dba: (
        float  # direct speech of this loudspeaker alone at the end; -inf when it is off [dB(A)]
    )
    part: str  # of the room
    # (n, 3), closed, rows of NaN where it leaps to another surface; empty where the pattern has no
    # edge [m]
    edge: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Section:
    """A cut through one listening area: ``along`` is the distance from the wall behind it (or from
    the west), ``up`` the height.
    """

    area: str
    outline: np.ndarray  # floor, walls and roof (corner, 2) [m]
    steps: np.ndarray  # the bank's profile (corner, 2); empty on the floor [m]
    points: np.ndarray  # indices of the seats in the cut, front to back
    seats: np.ndarray  # their ears (row, 2) [m]
    loudspeaker: int  # index of the loudspeaker that gives these seats the most direct sound
    at: np.ndarray  # its place (2,) [m]
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
        In the order of the loudspeakers; a housing with several beams has one entry a beam
    """
    scenario = result.scenario
    loudspeakers, room = scenario.loudspeakers, result.configuration.room
    axes = result.sources.axes
    on_axis_db = bands.to_level(result.sources.on_axis)
    loss_db = bands.E_FOLD_DB * result.sources.decay
    # axes of the beams, then the edge of each
    local = [[c.type.beams[:, 0], *_edges(c.type)] for c in loudspeakers]
    rays = [np.concatenate(parts) @ axes[s] for s, parts in enumerate(local)]
    most = max(map(len, rays))
    # (source, ray, 3)
    padded = np.stack([np.concatenate([r, np.repeat(r[:1], most - len(r), axis=0)]) for r in rays])
    indices, ways = geometry.first_hit(result.sources.position, padded, room.polygons)
    made = []
    for s, c in enumerate(loudspeakers):
        fronts, edges = rays[s][: c.type.lobes], [e @ axes[s] for e in local[s][1:]]
        index, way, begin = indices[s], ways[s], c.type.lobes
        for beam, front in enumerate(fronts):
            r = float(way[beam])
            level = on_axis_db[s] - 20 * np.log10(max(r, field.NEAREST)) - loss_db * r
            ring = edges[beam]
            part = slice(begin, begin + len(ring))
            begin += len(ring)
            outline = _broken(c.position + way[part, None] * ring, index[part])
            made.append(
                Throw(
                    tag=c.tag,
                    group=c.group,
                    start=c.position,
                    end=c.position + r * front,
                    distance=r,
                    level_db=level,
                    level_dba=float(bands.a_weighted(level)),
                    part=room.surfaces[index[beam]].part,
                    edge=outline,
                )
            )
    return made


def _broken(outline, surface):
    """A closed outline with gaps where it leaps from one surface to another."""
    if not len(outline):
        return outline
    outline, surface = np.concatenate([outline, outline[:1]]), np.append(surface, surface[0])
    leap = (np.linalg.norm(np.diff(outline, axis=0), axis=1) > JUMP) & (np.diff(surface) != 0)
    return np.insert(outline, np.flatnonzero(leap) + 1, np.nan, axis=0)


@lru_cache(maxsize=64)
def _edges(kind):
    """Directions of the -6 dB edge of each beam in the loudspeaker's frame: list of (AROUND, 3),
    empty without an edge.
    """
    around = np.linspace(0, 2 * np.pi, AROUND, endpoint=False)
    return [_edge(kind, beam, around) for beam in kind.beams]


def _edge(kind, beam, around):
    """Directions at which the level falls through -6 dB, going outward from a beam's axis at the
    given angles around it.
    """
    theta = np.radians(np.arange(0.0, 179.0, 1.0))
    local = np.stack(
        [
            np.broadcast_to(np.cos(theta), (len(around), len(theta))),
            np.outer(np.cos(around), np.sin(theta)),
            np.outer(np.sin(around), np.sin(theta)),
        ],
        axis=-1,
    )
    level = bands.to_level(kind.balloon.toward((local @ beam).astype(np.float32))[..., BAND])
    below = level < EDGE_DB
    if not below.any(axis=1).all():
        return np.empty((0, 3))
    k = below.argmax(axis=1)  # first step below; the axis itself is at 0 dB
    rows = np.arange(len(around))
    a, b = level[rows, k - 1], level[rows, k]
    at = theta[k - 1] + (theta[1] - theta[0]) * (a - EDGE_DB) / (a - b)
    return (
        np.stack([np.cos(at), np.cos(around) * np.sin(at), np.sin(around) * np.sin(at)], axis=-1)
        @ beam
    )


def section(result, area):
    """Cut through the middle of a listening area, across its rows.

    Parameters
    ----------
    result : Result
        An evaluation
    area : str
        Name of a listening area

    Returns
    -------
    section : Section
        Distances from the wall behind a bank, or from the west wall elsewhere [m]
    """
    scenario = result.scenario
    hall, place = scenario.hall, result.configuration.areas[area]
    bank = next((b for b in result.configuration.banks if b.name == area), None)
    side = bank.side if bank else "west"
    foot, _, inward = along_wall(side, hall)

    def flat(p):
        return np.stack([(np.asarray(p) - foot) @ inward, np.asarray(p)[..., 2]], axis=-1)

    start = int(np.flatnonzero(result.area == area)[0])
    points = start + np.arange(place.rows) * place.columns + place.columns // 2
    middle = result.points[points]
    direct, _ = result.sources.direct(middle)
    loudspeaker = int(np.argmax(direct[..., BAND].sum(axis=1)))

    c = scenario.loudspeakers[loudspeaker]
    axes = result.sources.axes[loudspeaker]
    fronts = c.type.beams[:, 0] @ axes
    # the beam that looks at these seats
    beam = int(np.argmax(fronts @ (middle.mean(axis=0) - c.position)))
    rays = [c.type.beams[beam, 0]]
    edge = _edge(c.type, c.type.beams[beam], np.array([np.pi / 2, -np.pi / 2]))  # up and down
    rays = np.concatenate([rays, edge]) @ axes
    _, way = geometry.first_hit([c.position], rays[None], result.configuration.room.polygons)
    ends = c.position + way[0][:, None] * rays

    def line(end):
        return flat(np.stack([c.position, end]))

    return Section(
        area=area,
        outline=_outline(hall, side, middle[0]),
        steps=_steps(bank) if bank else np.empty((0, 2)),
        points=points,
        seats=flat(middle),
        loudspeaker=loudspeaker,
        at=flat(c.position),
        axis=line(ends[0]),
        edges=tuple(line(e) for e in ends[1:]),
    )


def _outline(hall, side, through):
    """Floor, walls and roof cut by a vertical plane across a wall of this side."""
    if side in ("north", "south"):
        w = hall.width
        return np.array(
            [[0, 0], [w, 0], [w, hall.height], [w / 2, hall.highest], [0, hall.height], [0, 0]]
        )
    top = float(hall.roof_height(through[1]))
    return np.array([[0, 0], [hall.length, 0], [hall.length, top], [0, top], [0, 0]])


def _steps(bank):
    """Profile of an open bank, from its front on the floor to the wall."""
    corners = [(bank.depth, 0.0)]
    for row in range(bank.rows):
        height = bank.first_height + row * bank.row_rise
        corners += [
            (bank.depth - row * bank.row_run, height),
            (bank.depth - (row + 1) * bank.row_run, height),
        ]
    return np.array(corners + [(0.0, 0.0)])
