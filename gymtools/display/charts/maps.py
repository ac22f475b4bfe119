"""Shapes that carry a map: the listening areas as meshes and grids, their contour lines, and lines
with gaps.
"""

import numpy as np
from contourpy import contour_generator

from ...venue.microphones import STANDING
from ...venue.seating import CHAIR_HEIGHT, EAR_OVER_SEAT, EAR_SEATED, EAR_STANDING

LIFT = {
    "bank": 0.08 - EAR_OVER_SEAT,
    "floor": CHAIR_HEIGHT + 0.05 - EAR_SEATED,
    "court": 0.05 - EAR_STANDING,
    "balcony": 0.08 - EAR_SEATED,
    "track": 0.08 - EAR_STANDING,
    "walk": 0.06 - STANDING,
}
GAP = np.array([[np.nan] * 3])


def on_surface(area):
    """Points of an area, lowered from the ears onto what people sit or stand on.

    Parameters
    ----------
    area : AudienceArea
        The area

    Returns
    -------
    points : ndarray
        (row * column, 3) [m]
    """
    return area.points + np.array([0, 0, LIFT[area.kind]])


def triangles(areas):
    """Triangles that join the points of every area, numbered over all areas together.

    Parameters
    ----------
    areas : sequence of AudienceArea
        In the order of the result's points

    Returns
    -------
    corners : ndarray
        (triangle, 3) int32, numbers of points [-]
    """
    found, start = [], 0
    for area in areas:
        grid = start + np.arange(area.rows * area.columns).reshape(area.rows, area.columns)
        a, b, c, d = (
            g.ravel() for g in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:])
        )
        found += [np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]
        start += area.rows * area.columns
    return np.concatenate(found).astype(np.int32)


def contours(area, values, step):
    """Contour lines of a map on one area, in space.

    Parameters
    ----------
    area : AudienceArea
        The area
    values : array
        One per point (row * column,) [any]
    step : float
        Between lines [same as values]

    Returns
    -------
    lines : list of tuple
        (level, points on the surface (point, 3)) [same as values, m]
    """
    if (
        not np.isfinite(values).all() or min(area.rows, area.columns) < 2
    ):  # a single row has no contour
        return []
    grid = np.asarray(values, float).reshape(area.rows, area.columns)
    points = on_surface(area).reshape(area.rows, area.columns, 3)
    corner = points[0, 0]
    # rows are evenly spaced and alike, columns skip the aisles: a position in the grid is one in
    # space
    down = (points[-1, 0] - corner) / (area.rows - 1)
    across, columns = points[0] - corner, np.arange(area.columns)
    generator = contour_generator(z=grid)
    lines = []
    for level in step * np.arange(np.ceil(grid.min() / step), np.floor(grid.max() / step) + 1):
        for line in generator.lines(level):
            aside = [np.interp(line[:, 0], columns, across[:, k]) for k in range(3)]
            lines.append((float(level), corner + line[:, 1:] * down + np.stack(aside, axis=-1)))
    return lines


def joined(lines):
    """Several lines as one, with gaps between them.

    Parameters
    ----------
    lines : iterable of array
        Each (point, 3) [m]

    Returns
    -------
    points : ndarray
        (point, 3), rows of NaN between the lines [m]
    """
    pieces = [piece for line in lines for piece in (np.asarray(line, float).reshape(-1, 3), GAP)]
    return np.concatenate(pieces) if pieces else GAP


def box(center, axes, width, height, depth):
    """Corners and triangles of a loudspeaker's enclosure.

    Parameters
    ----------
    center : array
        Its acoustic center, in the middle of the front's plane (3,) [m]
    axes : array
        Front, left and up as rows (3, 3) [-]
    width, height, depth : float
        Its size [m]

    Returns
    -------
    corners : ndarray
        (8, 3) [m]
    triangles : ndarray
        (12, 3) numbers of corners [-]
    """
    x, y, z = (
        s.ravel()
        for s in np.meshgrid(
            [-depth, 0.0], [-width / 2, width / 2], [-height / 2, height / 2], indexing="ij"
        )
    )
    corners = np.asarray(center) + np.stack([x, y, z], axis=1) @ np.asarray(axes)
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return corners, np.array([t for a, b, c, d in faces for t in ((a, b, c), (a, c, d))])
