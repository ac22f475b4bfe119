"""Small plans of kept designs: the map, the walls and the loudspeakers, as a few kB of drawing."""

import base64
import struct
import zlib
from functools import lru_cache
from html import escape

import numpy as np
from plotly.colors import get_colorscale, hex_to_rgb, unlabel_rgb
from scipy.spatial import cKDTree

from ..theme import FAINT, GROUP_COLORS, INK, QUANTITIES

COLORS = 64  # of a map that is a hundred points wide
AROUND = 5  # a seat and those around it
REACH = 0.75  # of the distance of seats: a pixel farther from every seat shows the floor [-]


def thumbnail(view, width=116, height=66):
    """A small plan with the map of a view.

    Parameters
    ----------
    view : View
        What is looked at
    width, height : int
        Room that it has [px]

    Returns
    -------
    svg : str
        An element for an HTML widget, with words for those who hear it
    """
    hall = view.scenario.hall
    scale = min((width - 4) / hall.length, (height - 4) / hall.width)
    across, up = hall.length * scale, hall.width * scale
    x0, y0 = (width - across) / 2, (height - up) / 2
    picture = _map(view, int(across), int(up))
    boxes = "".join(
        f'<rect x="{x0 + (c.position[0] + hall.length / 2) * scale - 2:.1f}"'
        f' y="{y0 + (hall.width / 2 - c.position[1]) * scale - 2:.1f}" width="4" height="4"'
        f' fill="{_color(view, c)}" stroke="{INK}" stroke-width="0.6"/>'
        for c in view.scenario.loudspeakers
    )
    frame = f'x="{x0:.1f}" y="{y0:.1f}" width="{across:.1f}" height="{up:.1f}"'
    words = f"Plan, {QUANTITIES[view.quantity].label}, {view.result.use.name}"
    return (
        f'<svg width="{width}" height="{height}" viewBox="0 0 {width} {height}" role="img"'
        f' aria-label="{escape(words, quote=True)}"><title>{escape(words)}</title>'
        f'<rect {frame} fill="#fff" stroke="{FAINT}"/>'
        f'<image {frame} preserveAspectRatio="none" href="data:image/png;base64,{picture}"/>'
        f'<rect {frame} fill="none" stroke="{INK}"/>{boxes}</svg>'
    )


def _color(view, loudspeaker):
    names = [g.name for g in view.scenario.groups]
    return GROUP_COLORS[names.index(loudspeaker.group) % len(GROUP_COLORS)]


def _map(view, columns, rows):
    """The map as an image, transparent where nobody sits."""
    hall, points = view.scenario.hall, np.concatenate([a.points for a in view.areas])[:, :2]
    x = (np.arange(columns) + 0.5) / columns * hall.length - hall.length / 2
    y = hall.width / 2 - (np.arange(rows) + 0.5) / rows * hall.width
    pixels = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)  # (pixel, 2)
    tree = cKDTree(points)
    # every area has its own grid, wider along than across: of the seats around the farthest counts
    gaps = tree.query(points, k=min(AROUND, len(points)))[0].reshape(len(points), -1).max(axis=1)
    far, nearest = tree.query(pixels)
    low, high = view.range
    there = far <= np.maximum(REACH * gaps[nearest], hall.length / columns)
    share = np.clip((view.values[nearest[there]] - low) / (high - low), 0, 1)
    image = np.zeros((rows * columns, 4), np.uint8)
    image[there, :3] = _table(QUANTITIES[view.quantity].scale)[(share * (COLORS - 1)).astype(int)]
    image[there, 3] = 255
    return base64.b64encode(_png(image.reshape(rows, columns, 4))).decode()


@lru_cache(maxsize=8)
def _table(scale):
    """Colors of a scale, (color, 3) [0 to 255]."""
    stops = get_colorscale(scale)
    colors = [hex_to_rgb(c) if c.startswith("#") else unlabel_rgb(c) for _, c in stops]
    at = np.linspace(0, 1, COLORS)
    places = [place for place, _ in stops]
    return np.stack([np.interp(at, places, one) for one in zip(*colors, strict=True)], axis=1)


def _png(image):
    """A PNG file of an image (row, column, 4) [0 to 255]."""
    rows, columns, _ = image.shape

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    lines = b"".join(b"\0" + line.tobytes() for line in image)
    head = struct.pack(">IIBBBBB", columns, rows, 8, 6, 0, 0, 0)  # 8 bits, with transparency
    parts = [chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(lines, 6)), chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)
