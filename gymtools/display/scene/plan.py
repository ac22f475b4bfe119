"""Layers of the picture's plan, north up."""

import numpy as np

from ..charts import maps
from ..theme import FAINT, GROUP_COLORS, plain_text
from .space import all_court_lines
from .view import fixed_microphones, xy

SIDES = ("west", "east", "south", "north")


def map_of(slot):
    """Layer that shows one area's map.

    Parameters
    ----------
    slot : int
        Position of the area among those of the view [-]

    Returns
    -------
    layer : callable
        Gives what moves of a Heatmap; empty when the view has fewer areas
    """

    def layer(view):
        if slot >= len(view.areas):
            return dict(x=[], y=[], z=[], hovertemplate="")
        area = view.areas[slot]
        start = sum(len(a.points) for a in view.areas[:slot])
        grid = area.points.reshape(area.rows, area.columns, 3)
        z = view.values[start : start + len(area.points)].reshape(area.rows, area.columns)
        if abs(grid[0, -1, 0] - grid[0, 0, 0]) > abs(grid[-1, 0, 0] - grid[0, 0, 0]):
            x, y = grid[0, :, 0], grid[:, 0, 1]
        else:
            x, y, z = grid[:, 0, 0], grid[0, :, 1], z.T
        right, up = np.argsort(x), np.argsort(y)
        z = np.round(z[np.ix_(up, right)].astype(float), 2)
        hover = f"{plain_text(area.name)}: %{{z}} {view.unit}<extra></extra>"
        return dict(x=x[right] * view.k, y=y[up] * view.k, z=z, hovertemplate=hover)

    return layer


def map_count(scenario):
    """Maps that the plan may need: every area that can listen, or the floor and its stages.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    count : int
        At least two [-]
    """
    return max(len(scenario.area_names), 2 + len(scenario.portable_stages))


def room(view):
    """Outlines of the gym, its seats, its stages and what hangs in it.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    hall, configuration = view.scenario.hall, view.result.configuration
    x, y = hall.length / 2, hall.width / 2
    outlines = [np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0], [-x, -y, 0]])]
    footprints = [box for _, box in configuration.footprints]
    for a, b, c, d in (*footprints, *configuration.aisle_footprints):
        outlines.append(np.array([[a, c, 0], [b, c, 0], [b, d, 0], [a, d, 0], [a, c, 0]]))
    outlines += [
        np.concatenate([s.corners, s.corners[:1]])
        for s in configuration.room.surfaces
        if s.name == "stage floor"
    ]
    return xy(maps.joined(outlines), view.k)


def court(view):
    """Lines of the court.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    return dict(**xy(all_court_lines(view.scenario), view.k), line=view.line_style)


def contours(view):
    """Contour lines of the map.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    lines = maps.joined([line for _, _, line in view.contours])
    return dict(**xy(lines, view.k), line=view.line_style)


def contour_labels(view):
    """Values of the contour lines.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    positions = np.array([at for _, at in view.labels]).reshape(-1, 3)
    return dict(**xy(positions, view.k), text=[text for text, _ in view.labels])


def beams(view):
    """Axis and edge of every beam that plays.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    lines = [line for t in view.beams for line in (t.edge, np.array([t.start, t.end])) if len(line)]
    return xy(maps.joined(lines), view.k)


def loudspeakers(view):
    """Loudspeakers with their tags; one that does not play is faint.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    hung, playing = view.scenario.loudspeakers, view.result.playing
    colors = [
        GROUP_COLORS[view.color(c.group)] if on else FAINT
        for c, on in zip(hung, playing, strict=True)
    ]
    return dict(
        **xy([c.position for c in hung], view.k),
        text=[plain_text(c.tag) for c in hung],
        marker=dict(color=colors, angle=[-c.pan_deg for c in hung]),
        hovertext=[
            plain_text(f"{c.tag}: {c.type.name}, {view.distance_text(c.z)} up,")
            + f" pan {c.pan_deg:g}°, downtilt {c.downtilt_deg:g}°"
            for c in hung
        ],
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
        Of a Scatter
    """
    return xy(maps.joined(view.feedback_lines), view.k)


def microphones(view):
    """Open microphones that stand in one position, and the seat that is looked at.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    found = [(m.positions[0], m.microphone.name, "circle") for m in fixed_microphones(view)]
    if view.marked is not None:
        words, at = view.marked
        found.append((at, words, "star"))
    return dict(
        **xy(np.array([at for at, _, _ in found]).reshape(-1, 3), view.k),
        text=[plain_text(name) for _, name, _ in found],
        marker=dict(symbol=[symbol for _, _, symbol in found]),
    )


def quietest(view):
    """Quietest seat of every area.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    moving : dict
        Of a Scatter
    """
    return dict(
        **xy([view.result.points[a.quietest] for a in view.result.areas], view.k),
        hovertext=[view.quietest(a) for a in view.result.areas],
    )


def plan_range(view):
    """Ends of the plan: the gym and its stage, with a little air.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    x, y : tuple of list
        Two ends each [units of the drawing]
    """
    hall, stage, k = view.scenario.hall, view.scenario.stage, view.k
    x, y = hall.length / 2 * 1.03, hall.width / 2 * 1.05
    more = {side: stage.depth if stage and stage.side == side else 0.0 for side in SIDES}
    return [(-x - more["west"]) * k, (x + more["east"]) * k], [
        (-y - more["south"]) * k,
        (y + more["north"]) * k,
    ]
