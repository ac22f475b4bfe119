"""Letters on paper: how much room words take, and where a tag lies so that it covers no other."""

from functools import lru_cache

import numpy as np
from matplotlib import font_manager
from matplotlib.ft2font import FT2Font

FAMILY = "DejaVu Sans"  # comes with matplotlib; wider than the letters CAD programs put instead
CAP = 0.729  # height of a capital [em]
ABOVE, BELOW = 1.30, 0.34  # of a line's letters over and under its baseline [capitals]
EM = 200.0  # size at which letters are measured [pixels]
DIRECTIONS = np.array([(1, 0), (1, 1), (1, -1), (-1, 0), (-1, 1), (-1, -1), (0, 1), (0, -1)], float)
RINGS = np.array([0, 1.5, 3, 5, 8, 12, 16, 21, 27, 35, 45, 60, 80, 110, 150, 200, 280], float)
# what counts against a place: a line that runs through, a millimeter away, a leader through letters
LINE_COST, AWAY_COST, LEADER_COST = 4.0, 1.0, 12.0
INSIDE = 0.5  # that a tag keeps from the edge of what it lies in [mm]
TRIED = 40  # free places that are compared


@lru_cache(maxsize=4)
def _font(bold):
    weight = "bold" if bold else "normal"
    properties = font_manager.FontProperties(family=FAMILY, weight=weight)
    font = FT2Font(font_manager.findfont(properties))
    font.set_size(EM, 72)
    return font


@lru_cache(maxsize=4)
def _glyphs(bold):
    return frozenset(_font(bold).get_charmap())


def printable(words):
    """Words in letters that the font has: any other one is an empty box.

    Parameters
    ----------
    words : str
        As a file has it

    Returns
    -------
    words : str
        On one line
    """
    line = " ".join(str(words).split())
    return "".join(c if ord(c) in _glyphs(False) and c.isprintable() else "□" for c in line)


@lru_cache(maxsize=20_000)
def width(words, height, bold=False):
    """Width of words on paper.

    Parameters
    ----------
    words : str
        One line
    height : float
        Of a capital [mm]
    bold : bool
        Heavy letters

    Returns
    -------
    width : float
        Of all letters [mm]
    """
    font = _font(bold)
    font.set_text(words, 0.0)
    return font.get_width_height()[0] / 64 / EM * height / CAP


def wrapped(words, height, room, bold=False):
    """Lines of a text that fit into a column.

    Parameters
    ----------
    words : str
        A paragraph
    height : float
        Of a capital [mm]
    room : float
        Width of the column [mm]
    bold : bool
        Whether it is bold

    Returns
    -------
    lines : list of str
        A word that is wider than the column is cut
    """
    lines = [""]
    for word in printable(words).split():
        longer = f"{lines[-1]} {word}".strip()
        if width(longer, height, bold) <= room:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        while width(word, height, bold) > room:
            keep = next(
                n for n in range(len(word), 0, -1) if n == 1 or _fits(word, n, height, room)
            )
            lines[-1] = word[:keep]
            word = word[keep:]
            lines.append("")
        lines[-1] = word
    return [line for line in lines if line] or [""]


def _fits(word, count, height, room):
    return width(word[:count], height) <= room


def box(text, at):
    """Room that a text takes on paper.

    Parameters
    ----------
    text : Text
        Its words, height and way
    at : array
        Where its baseline begins (2,) [mm]

    Returns
    -------
    box : ndarray
        x low, y low, x high, y high (4,) [mm]
    """
    long, h = width(text.words, text.height, text.bold), text.height
    x, y = at
    if text.upright:
        return np.array([x - ABOVE * h, y, x + BELOW * h, y + long])
    return np.array([x, y - BELOW * h, x + long, y + ABOVE * h])


def overlaps(one, boxes, gap=0.0):
    """Which boxes another one overlaps.

    Parameters
    ----------
    one : array
        x low, y low, x high, y high (..., 4) [mm]
    boxes : array
        (box, 4) [mm]
    gap : float
        Least room between them [mm]

    Returns
    -------
    overlaps : ndarray of bool
        (..., box) [-]
    """
    a, b = np.asarray(one, float)[..., None, :], np.reshape(boxes, (-1, 4))
    return (
        (a[..., 0] < b[:, 2] + gap)
        & (b[:, 0] < a[..., 2] + gap)
        & (a[..., 1] < b[:, 3] + gap)
        & (b[:, 1] < a[..., 3] + gap)
    )


def meets(boxes, segments):
    """Which line segments run through which boxes.

    Parameters
    ----------
    boxes : array
        x low, y low, x high, y high (box, 4) [mm]
    segments : array
        Both ends of each (segment, 2, 2) [mm]

    Returns
    -------
    meets : ndarray of bool
        (box, segment) [-]
    """
    start, way = segments[:, 0], segments[:, 1] - segments[:, 0]  # (segment, 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        low = (boxes[:, None, :2] - start) / way  # (box, segment, 2)
        high = (boxes[:, None, 2:] - start) / way
    first, last = np.minimum(low, high), np.maximum(low, high)
    still = np.abs(way) < 1e-12  # (segment, 2)
    if still.any():
        inside = (start >= boxes[:, None, :2]) & (start <= boxes[:, None, 2:])
        first = np.where(still, np.where(inside, -np.inf, np.inf), first)
        last = np.where(still, np.where(inside, np.inf, -np.inf), last)
    begin = np.maximum(np.maximum(first[..., 0], first[..., 1]), 0.0)
    return begin <= np.minimum(np.minimum(last[..., 0], last[..., 1]), 1.0)


def _near(boxes, segments):
    """Segments that can reach some boxes."""
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    ends = np.sort(segments, axis=1)
    return segments[(ends[:, 0] <= high).all(axis=1) & (ends[:, 1] >= low).all(axis=1)]


def candidates(anchor, size, clear):
    """Boxes around a point, near ones first.

    Parameters
    ----------
    anchor : array
        (2,) [mm]
    size : array
        Width and height of the box (2,) [mm]
    clear : float
        Distance that the nearest keep from the point [mm]

    Returns
    -------
    boxes : ndarray
        (candidate, 4) [mm]
    away : ndarray
        How far each keeps beyond ``clear`` (candidate,) [mm]
    """
    reach = (clear + RINGS)[:, None, None] / np.maximum(
        np.linalg.norm(DIRECTIONS, axis=1)[:, None], 1.0
    )
    middle = anchor + DIRECTIONS * (reach + np.asarray(size) / 2)  # (ring, direction, 2)
    boxes = np.concatenate([middle - np.asarray(size) / 2, middle + np.asarray(size) / 2], axis=-1)
    away = np.repeat(RINGS, len(DIRECTIONS)) + np.tile(
        np.arange(len(DIRECTIONS)) * 0.05, len(RINGS)
    )
    return boxes.reshape(-1, 4), away


def best_place(anchor, size, clear, taken, segments, bounds):
    """Box for a tag that lies over no other letters and over as few lines as can be.

    Parameters
    ----------
    anchor : array
        What the tag belongs to (2,) [mm]
    size : array
        Width and height of the box (2,) [mm]
    clear : float
        Distance that it keeps from the anchor [mm]
    taken : array
        Boxes of letters (box, 4) [mm]
    segments : array
        Lines (segment, 2, 2) [mm]
    bounds : array
        x low, y low, x high, y high of the drawing room (4,) [mm]

    Returns
    -------
    box : ndarray
        (4,) [mm]
    away : float
        How far it lies from its nearest place [mm]
    """
    boxes, away = candidates(anchor, size, clear)
    free = ~overlaps(boxes, taken, 0.4).any(axis=-1)
    inside = (boxes[:, :2] >= bounds[:2]).all(axis=1) & (boxes[:, 2:] <= bounds[2:]).all(axis=1)
    usable = np.flatnonzero(free & inside) if (free & inside).any() else np.flatnonzero(free)
    if not len(usable):
        usable = np.arange(len(boxes))
    near = usable[np.argsort(away[usable], kind="stable")[:TRIED]]
    ends = leader_end(anchor, boxes[near])
    leaders = np.stack([np.broadcast_to(anchor, ends.shape), ends], axis=1)
    through = meets(np.reshape(taken, (-1, 4)), leaders).sum(axis=0)
    cost = (
        LINE_COST * meets(boxes[near], _near(boxes[near], segments)).sum(axis=1)
        + AWAY_COST * away[near]
        + LEADER_COST * through * (away[near] >= 3)
    )
    chosen = near[int(np.argmin(cost))]
    return boxes[chosen], float(away[chosen])


def place_inside(room, size, taken, segments):
    """Box for a tag inside what it names, over no other letters and as few lines as can be.

    Parameters
    ----------
    room : array
        x low, y low, x high, y high of what it names (4,) [mm]
    size : array
        Width and height of the box (2,) [mm]
    taken : array
        Boxes of letters (box, 4) [mm]
    segments : array
        Lines (segment, 2, 2) [mm]

    Returns
    -------
    box : ndarray or None
        (4,), None where it does not fit or no place is free [mm]
    """
    low, high = np.asarray(room[:2], float) + INSIDE, np.asarray(room[2:], float) - INSIDE - size
    if (high < low).any():
        return None
    grid = np.meshgrid(*(np.linspace(a, b, 15) for a, b in zip(low, high, strict=True)))
    corners = np.stack(grid, axis=-1).reshape(-1, 2)
    boxes = np.concatenate([corners, corners + size], axis=1)
    boxes = boxes[~overlaps(boxes, taken, 0.4).any(axis=-1)]
    if not len(boxes):
        return None
    away = np.linalg.norm(boxes[:, :2] - (low + high) / 2, axis=1)
    cost = LINE_COST * meets(boxes, _near(boxes, segments)).sum(axis=1) + AWAY_COST * away / 4
    return boxes[int(np.argmin(cost))]


def leader_end(anchor, boxes):
    """Where a leader from a point meets a box.

    Parameters
    ----------
    anchor : array
        (2,) [mm]
    boxes : array
        (..., 4) [mm]

    Returns
    -------
    ends : ndarray
        Nearest point of each box (..., 2) [mm]
    """
    boxes = np.asarray(boxes, float)
    return np.clip(anchor, boxes[..., :2], boxes[..., 2:])


def spread(wanted, apart):
    """Places along a line, as near as can be to where they are wanted, but so far apart.

    Parameters
    ----------
    wanted : array
        In rising order (place,) [mm]
    apart : float
        Least distance from one to the next [mm]

    Returns
    -------
    places : ndarray
        Least squares of the shifts (place,) [mm]
    """
    step = np.arange(len(wanted)) * apart
    blocks = []  # (mean, count): pool adjacent violators
    for value in np.asarray(wanted, float) - step:
        blocks.append((value, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (a, m), (b, n) = blocks[-2:]
            blocks[-2:] = [((a * m + b * n) / (m + n), m + n)]
    return np.repeat([b for b, _ in blocks], [n for _, n in blocks]) + step
