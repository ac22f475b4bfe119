"""Where the picture in space is looked at from: the whole gym fits its frame, and labels are placed
so that none lies over another.
"""

from functools import lru_cache

import numpy as np

LOOK = np.array([-0.42, -0.79, 0.60])  # from the middle of the gym to the eye: from the southwest
FIELD = np.pi / 4  # vertical field of view of plotly's camera
FRAME = (325.0, 250.0)  # width and height that labels are placed for [px]
FILLED = 0.96  # of the frame
MARGIN = 1.6  # around the walls, for the letters of the compass [m]
LETTER = (7.0, 15.0)  # width of a character and height of a line of text [px]


def ranges(hall):
    """Ends of the axes of the scene.

    Parameters
    ----------
    hall : Hall
        The gym

    Returns
    -------
    ends : ndarray
        (axis, 2) [m]
    """
    x, y = hall.length / 2 + MARGIN, hall.width / 2 + MARGIN
    return np.array([[-x, x], [-y, y], [0.0, hall.highest + 1.0]])


@lru_cache(maxsize=16)
def eye(hall):
    """Where the camera stands so that the gym fills its frame, the middle of it at the center.

    Parameters
    ----------
    hall : Hall
        The gym

    Returns
    -------
    eye : ndarray
        (3,), in the units of plotly's camera [-]
    """
    corners = np.array(np.meshgrid(*ranges(hall))).reshape(3, -1).T
    near, far = 0.5, 12.0
    for _ in range(40):
        middle = (near + far) / 2
        seen = _seen(_normalized(corners, hall), middle * _unit(LOOK))
        near, far = (near, middle) if np.abs(seen).max() <= FILLED else (middle, far)
    at = far * _unit(LOOK)
    at.setflags(write=False)
    return at


def on_frame(points, hall):
    """Where points of the gym are seen in the frame that labels are placed for.

    Parameters
    ----------
    points : array
        (point, 3) [m]
    hall : Hall
        The gym

    Returns
    -------
    at : ndarray
        (point, 2), from the middle of the frame to the right and up [px]
    """
    seen = _seen(_normalized(np.asarray(points, float), hall), eye(hall))
    return seen * np.array(FRAME) / 2


def free_labels(points, texts, hall):
    """Labels that do not lie over one placed before.

    Parameters
    ----------
    points : array
        Middle of each label, the most wanted first (label, 3) [m]
    texts : sequence of str
        What they say
    hall : Hall
        The gym

    Returns
    -------
    kept : list of int
        Which of them can be shown [-]
    """
    at = on_frame(np.asarray(points, float).reshape(-1, 3), hall)
    half = np.array([(len(text) * LETTER[0] / 2, LETTER[1] / 2) for text in texts]).reshape(-1, 2)
    kept = []
    for n in range(len(texts)):
        apart = (np.abs(at[kept] - at[n]) >= half[kept] + half[n]).any(axis=1)
        if apart.all():
            kept.append(n)
    return kept


def _normalized(points, hall):
    """Points in the units of plotly's camera: its middle is that of the axes."""
    ends = ranges(hall)
    size = ends[:, 1] - ends[:, 0]
    return (points - ends.mean(axis=1)) / np.prod(size) ** (1 / 3)


def _seen(points, camera):
    """Share of half the frame, to the right and up (point, 2)."""
    ahead = -_unit(camera)
    right = _unit(np.cross(ahead, [0.0, 0.0, 1.0]))
    up = np.cross(right, ahead)
    way = points - camera
    depth = np.maximum(way @ ahead, 1e-3) * np.tan(FIELD / 2)
    aspect = FRAME[0] / FRAME[1]
    return np.stack([way @ right / depth / aspect, way @ up / depth], axis=-1)


def _unit(v):
    return np.asarray(v, float) / np.linalg.norm(v)
