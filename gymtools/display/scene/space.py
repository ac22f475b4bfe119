"""Layers of the picture in space: few and merged, because the page redraws every trace of a scene
on every move.
"""

from functools import lru_cache

import numpy as np

from ...physics.geometry import rotation
from ..charts import maps
from ..theme import FAINT, FLOOR, GROUP_COLORS, INK, SOLID, plain_text
from . import camera
from .view import fixed_microphones, xyz

SHOWN_SOLID = (
    "bleacher fronts",
    "closed bleachers",
    "stage front",
    "stage",
    "portable stage",
    "balcony",
)
# lower and upper edge of a backboard re the rim [m]    common practice, no source
BOARD = (-0.15, 0.92)
# of a label
PLATE = dict(
    showarrow=False, bgcolor="rgba(255,255,255,0.82)", borderpad=1, font=dict(size=12, color=INK)
)
COMPASS = 1.4  # the letters stand so far outside the walls [m]


def solids(view):
    """Floor, sides of banks, stages and loudspeakers: one mesh, colored face by face.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Mesh3d
    """
    pieces = [*_room_pieces(view), *_loudspeaker_pieces(view)]
    starts = np.cumsum([0, *(len(corners) for corners, _, _ in pieces)])
    i, j, k = (
        np.concatenate(
            [start + np.array(faces) for start, (_, faces, _) in zip(starts, pieces, strict=False)]
        )
        .astype(np.int32)
        .T
    )
    return dict(
        **xyz(np.concatenate([corners for corners, _, _ in pieces]), view.k),
        i=i.copy(),
        j=j.copy(),
        k=k.copy(),
        facecolor=[color for _, faces, color in pieces for _ in faces],
    )


def _room_pieces(view):
    """(corners, triangles, color) of the floor and of what stands on it."""
    x, y = view.scenario.hall.length / 2, view.scenario.hall.width / 2
    floor = np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0]])
    yield floor, [(0, 1, 2), (0, 2, 3)], FLOOR
    configuration = view.result.configuration
    things = (*configuration.portable_stages, *configuration.fixtures)
    shown = {*SHOWN_SOLID, *(thing.name for thing in things)}
    for s in configuration.room.surfaces:
        if s.part in shown and s.name != "stage ceiling":
            yield s.corners, [(0, n, n + 1) for n in range(1, len(s.corners) - 1)], SOLID


def _loudspeaker_pieces(view):
    """(corners, triangles, color) of every loudspeaker; one that does not play is faint."""
    for c, playing in zip(view.scenario.loudspeakers, view.result.playing, strict=True):
        size = (c.type.width, c.type.height, c.type.depth)
        corners, faces = maps.box(c.position, rotation(c.pan_deg, c.downtilt_deg), *size)
        yield corners, faces, GROUP_COLORS[view.color(c.group)] if playing else FAINT


def level_map(view):
    """Map on the seats or on the floor.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Mesh3d
    """
    i, j, k = maps.triangles(view.areas).T
    points = np.concatenate([maps.on_surface(a) for a in view.areas])
    return dict(**xyz(points, view.k), i=i.copy(), j=j.copy(), k=k.copy(), intensity=view.values)


@lru_cache(maxsize=16)
def court_lines(court):
    """Lines of the court, its rings and backboards.

    Parameters
    ----------
    court : Court
        Of the scenario

    Returns
    -------
    points : ndarray
        (point, 3), rows of NaN between the lines [m]
    """
    flat = [np.c_[line, np.full(len(line), 0.07)] for line in court.lines()]
    for (x, y, z), (left, right) in zip(court.hoops(), court.boards(), strict=True):
        turn, ring = np.linspace(0, 2 * np.pi, 25), court.ring_radius
        flat.append(np.c_[x + ring * np.cos(turn), y + ring * np.sin(turn), np.full(25, z)])
        low, high = z + np.array(BOARD)
        flat.append(np.c_[[left, right, right, left, left], [low, low, high, high, low]])
    return maps.joined(flat)


def all_court_lines(scenario):
    """Lines of the court and of side courts.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    points : ndarray
        (point, 3), rows of NaN between the lines [m]
    """
    return np.concatenate([court_lines(court) for court in scenario.courts])


def frame(view):
    """Edges of the room and the rows of the banks.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter3d
    """
    lines = [
        np.concatenate([s.corners, s.corners[:1]])
        for s in view.result.configuration.room.surfaces
        if s.part not in ("court", "floor")
    ]
    for area in view.areas:
        if area.kind in ("bank", "balcony"):
            lines += list(maps.on_surface(area).reshape(area.rows, area.columns, 3)[:, [0, -1]])
    return xyz(maps.joined(lines), view.k)


def painted(view):
    """Lines of the court, and the contours of the map.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter3d
    """
    contours = maps.joined([line + [0, 0, 0.06] for _, _, line in view.contours])
    return dict(
        **xyz(np.concatenate([all_court_lines(view.scenario), contours]), view.k),
        line=view.line_style,
    )


def beams(view):
    """Axis and edge of every beam that plays, in the color of its group.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter3d
    """
    pieces = [
        (maps.joined([np.array([t.start, t.end]), t.edge + [0, 0, 0.06]]), view.color(t.group))
        for t in view.beams
    ]
    colors = np.concatenate([np.full(len(points), color, np.float32) for points, color in pieces])
    return dict(
        **xyz(np.concatenate([points for points, _ in pieces]), view.k), line=dict(color=colors)
    )


def ringing(view):
    """Outline of where a microphone rings.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter3d
    """
    return xyz(maps.joined([line + [0, 0, 0.1] for line in view.feedback_lines]), view.k)


def labels(view):
    """Tags of loudspeakers, the compass, distance and level where an axis lands, microphones and
    contour values, as far as none lies over another.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    annotations : list of dict
        Of a plotly scene: text on a light plate, legible over any color
    """
    hall = view.scenario.hall
    x, y = hall.length / 2 + COMPASS, hall.width / 2 + COMPASS
    # the most wanted first: one that would lie over another is left out
    found = [(c.position + [0, 0, 0.8], c.tag) for c in view.scenario.loudspeakers]
    compass = (((0, y, 0), "N"), ((0, -y, 0), "S"), ((x, 0, 0), "E"), ((-x, 0, 0), "W"))
    found += [(np.array(at), text) for at, text in compass]
    found += [
        (t.end + [0, 0, 1.0], f"{view.distance_text(t.distance)}, {view.throw_level(t)}")
        for t in view.beams
    ]
    found += [(m.positions[0] + [0, 0, 0.4], m.microphone.name) for m in fixed_microphones(view)]
    found += [(at + [0, 0, 0.3], text) for text, at in view.labels]
    kept = camera.free_labels([at for at, _ in found], [text for _, text in found], hall)
    return [_label(found[n][0] * view.k, found[n][1]) for n in kept]


def _label(at, text):
    at = dict(zip("xyz", np.round(at, 3).tolist(), strict=True))
    return at | dict(text=plain_text(text), **PLATE)


def marks(view):
    """Where axes land (dots), the quietest seat of every area (diamonds), fixed microphones
    (circles), what is marked (a cross).

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter3d
    """
    found = [
        (
            t.end,
            "circle",
            plain_text(f"{t.tag}: {view.distance_text(t.distance)} to the {t.part},")
            + f" {t.level_dba:.1f} dB(A) there from this loudspeaker alone",
        )
        for t in view.beams
    ]
    points = view.result.points
    found += [(points[a.quietest], "diamond-open", view.quietest(a)) for a in view.result.areas]
    found += [
        (
            m.positions[0],
            "circle-open",
            f"microphone {plain_text(m.microphone.name)}: feedback margin {m.margin_db[0]:+.1f} dB",
        )
        for m in fixed_microphones(view)
    ]
    if view.marked is not None:
        words, at = view.marked
        found.append((at, "x", words))
    return dict(
        **xyz([at for at, _, _ in found], view.k),
        marker=dict(symbol=[symbol for _, symbol, _ in found]),
        hovertext=[text for _, _, text in found],
    )
