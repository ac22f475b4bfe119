"""A plan for people outside the trade: every seat a mark whose shape and color say whether words
are clear there. An element of a page, without any program in it; it prints.
"""

from html import escape

import numpy as np

from ..drawing import picture
from ..theme import FONT, INK, QUIET

# shapes tell the marks apart on a copy in black and white too
MARKS = (  # words, color, shape, by the numbers of ``losses.served``
    ("words are clear", "#2b6cb0", "dot"),
    ("nearly", "#b7791f", "triangle"),
    ("words are lost", "#b02a37", "cross"),
)
SIZES = dict(width=660.0, height=330.0)  # room that the plan has [px]
EDGE = 14.0  # around it [px]
LARGEST, SMALLEST = 4.0, 1.2  # half of a mark [px]


def seat_plan(view, numbers, *, width=SIZES["width"], height=SIZES["height"]):
    """The gym from above with a mark at every seat that listens.

    Parameters
    ----------
    view : scene.View
        What is looked at
    numbers : dict
        Of the seats of each area, 0 to 2 (point,), as ``losses.served`` gives them
    width, height : float
        Room that it has [px]

    Returns
    -------
    svg : str
        An element, with words for those who hear it
    """
    room = picture.room(view)
    place = _Place(room["bounds"], width, height)
    areas = view.result.configuration.areas
    marks = [_seats(areas[name], found, place) for name, found in numbers.items()]
    layers = (
        _lines(room["court"], place, "#d5dbe1", 1.0),
        _lines(room["outlines"], place, "#8b98a5", 1.0),
        _lines(room["walls"], place, INK, 2.0),
        *marks,
        *(_loudspeaker(c, place) for c in _playing(view)),
        *(_name(areas[name], place) for name in numbers),
        _north(place),
    )
    words = f"Plan of the gym, {view.result.use.name}: {counts_sentence(numbers, areas)}"
    return (
        f'<svg width="{place.width:.0f}" height="{place.height:.0f}"'
        f' viewBox="0 0 {place.width:.0f} {place.height:.0f}" role="img"'
        f' aria-label="{escape(words, quote=True)}" font-family="{escape(FONT, quote=True)}">'
        f"{''.join(layers)}</svg>"
    )


def legend():
    """What the marks mean, in words.

    Returns
    -------
    html : str
        A line for below the plan
    """
    said = [
        '<svg width="12" height="12" viewBox="-6 -6 12 12" aria-hidden="true">'
        f'<path d="{_shape(shape, 0, 0, 4)}" {_style(color, shape)}/></svg> {words}'
        for words, color, shape in MARKS
    ]
    square = (
        '<svg width="12" height="12" viewBox="-6 -6 12 12" aria-hidden="true">'
        f'<rect x="-4" y="-4" width="8" height="8" fill="{INK}"/></svg> loudspeaker'
    )
    # a mark stays on the line of its words
    return "&emsp; ".join(f'<span style="white-space: nowrap">{x}</span>' for x in [*said, square])


def counts_sentence(numbers, areas):
    """How many seats have clear words, area by area.

    Parameters
    ----------
    numbers : dict
        As for ``seat_plan``
    areas : dict
        AudienceArea by name: counts are of its seats

    Returns
    -------
    words : str
        E.g. "bleachers: words are clear at 160 of 180, nearly at 12, lost at 8"
    """
    said = []
    for name, found in numbers.items():
        # from the worst, each rounded once: the three add up to the area's seats
        lost, missed, all_of = (areas[name].seats_of(found >= n) for n in (2, 1, 0))
        clear, nearly = all_of - missed, missed - lost
        words = f"{name}: words are clear at {clear:,} of {all_of:,}"
        more = [f"nearly at {nearly:,}"] * bool(nearly) + [f"lost at {lost:,}"] * bool(lost)
        said.append(", ".join([words, *more]))
    return "; ".join(said)


class _Place:
    """From meters of the plan to where it is drawn."""

    def __init__(self, bounds, width, height):
        west, east, south, north = bounds
        self.scale = min((width - 2 * EDGE) / (east - west), (height - 2 * EDGE) / (north - south))
        self.west, self.north = west, north
        self.width = (east - west) * self.scale + 2 * EDGE
        self.height = (north - south) * self.scale + 2 * EDGE

    def __call__(self, points):
        points = np.asarray(points, float)
        x = EDGE + (points[..., 0] - self.west) * self.scale
        y = EDGE + (self.north - points[..., 1]) * self.scale
        return np.stack([x, y], axis=-1)


def _lines(data, place, color, wide):
    """Lines of the drawing's own model: x and y with gaps between them."""
    points = place(np.frombuffer(data, np.float32).reshape(-1, 2))
    pieces = np.split(points, np.flatnonzero(np.isnan(points[:, 0])))
    pieces = [p[~np.isnan(p[:, 0])] for p in pieces]
    path = " ".join(
        "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in piece) for piece in pieces if len(piece) > 1
    )
    return f'<path d="{path}" fill="none" stroke="{color}" stroke-width="{wide:g}"/>'


def _seats(area, numbers, place):
    """Marks of an area, those of a kind in one path."""
    at = place(area.points)
    half = np.clip(0.42 * _pitch(area) * place.scale, SMALLEST, LARGEST)
    drawn = []
    for number, (_, color, shape) in enumerate(MARKS):
        path = " ".join(_shape(shape, x, y, half) for x, y in at[numbers == number])
        if path:
            drawn.append(f'<path d="{path}" {_style(color, shape)}/>')
    return "".join(drawn)


def _pitch(area):
    """The least distance of neighboring seats in the plan [m]."""
    grid = area.points.reshape(area.rows, area.columns, 3)[..., :2]
    steps = [np.linalg.norm(np.diff(grid, axis=a), axis=-1).ravel() for a in (0, 1)]
    steps = np.concatenate(steps)
    return float(steps.min()) if len(steps) else 1.0


def _shape(shape, x, y, half):
    """A mark around a point, as a path."""
    if shape == "dot":
        r = 0.75 * half
        return (
            f"M{x - r:.1f} {y:.1f}a{r:.2f} {r:.2f} 0 1 0 {2 * r:.2f} 0"
            f"a{r:.2f} {r:.2f} 0 1 0 {-2 * r:.2f} 0"
        )
    if shape == "triangle":
        return f"M{x:.1f} {y - half:.1f}l{half:.2f} {1.8 * half:.2f}h{-2 * half:.2f}z"
    return (
        f"M{x - half:.1f} {y - half:.1f}l{2 * half:.2f} {2 * half:.2f}"
        f"m{-2 * half:.2f} 0l{2 * half:.2f} {-2 * half:.2f}"
    )


def _style(color, shape):
    if shape == "cross":
        return f'fill="none" stroke="{color}" stroke-width="1.4"'
    return f'fill="{color}"'


def _playing(view):
    pairs = zip(view.scenario.loudspeakers, view.result.playing, strict=True)
    return [c for c, playing in pairs if playing]


def _loudspeaker(loudspeaker, place):
    x, y = place(loudspeaker.position)
    return (
        f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" fill="{INK}" stroke="#fff"/>'
    )


def _name(area, place):
    """The area's name over its middle, legible on the marks."""
    x, y = place(area.points.mean(axis=0))
    return (
        f'<text x="{x:.1f}" y="{y + 5:.1f}" text-anchor="middle" font-size="15" font-weight="600"'
        f' fill="{INK}" stroke="#fff" stroke-width="4" paint-order="stroke">'
        f"{escape(area.name)}</text>"
    )


def _north(place):
    x, y = place.width - EDGE - 14, EDGE + 30
    return (
        f'<path d="M{x:.0f} {y:.0f}v-20l-4 8m4 -8l4 8" fill="none" stroke="{QUIET}"/>'
        f'<text x="{x:.0f}" y="{y + 12:.0f}" text-anchor="middle" font-size="11" fill="{QUIET}">'
        "north</text>"
    )
