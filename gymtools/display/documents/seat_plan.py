"""The plan of a use on paper: every seat marked by whether it meets its target, loudspeakers with
their tags and where they aim. It needs no script and no color to be read.
"""

from html import escape

import numpy as np

from ...acoustics.criteria import CRITERIA, WORDS
from ...physics.geometry import rotation
from ...venue.units import FOOT
from .. import scene
from ..charts import maps
from ..drawing.judging import UNJUDGED, judged
from ..scene.space import all_court_lines
from ..theme import INK, QUIET

WIDE = 1000.0  # of the drawing in its own units
MARGIN = 26.0  # around the gym, in the drawing's own units
COURT, SEATS, AIM = "#b9c0c8", "#59636e", "#9a3412"  # lines
# of seats that meet, are close, miss: told apart by form, and by how dark they are
MEETS, CLOSE, MISSES = "#0072B2", "#b45309", "#7f1d1d"
SIGNS = {"meets": "●", "close": "○", "misses": "×"}
HALO = 'paint-order="stroke" stroke="#fff" stroke-width="4"'  # around letters
LETTER = 23.0  # height of letters, in the drawing's own units
LEAST_BOX = 0.5  # side of a loudspeaker's box that is drawn at least [m]
SCALE_BAR = {"m": (5.0, "5 m"), "ft": (20 * FOOT, "20 ft")}


def shown_use(results, quantity="sti"):
    """The use that a record's first picture shows: that in which the largest share of the seats
    misses the target, and of several alike that in which most people listen.

    Parameters
    ----------
    results : dict
        Evaluations by use
    quantity : str
        As for ``seat_plan``

    Returns
    -------
    result : Result
        The first of several alike
    """

    def missed(result):
        found = judged(scene.View(result=result, quantity=quantity)).numbers
        asked = found[found != UNJUDGED]
        return round(float((asked == 2).mean()), 3) if len(asked) else 0.0

    return max(results.values(), key=lambda r: (missed(r), _seats_heard(r)))


def _seats_heard(result):
    """Seats where people listen in a use."""
    areas = result.configuration.areas
    return sum(areas[name].seats for name in result.weights)


def seat_plan(result, quantity="sti"):
    """Plan of a use with its seats marked.

    Parameters
    ----------
    result : Result
        An evaluation
    quantity : str
        One of ``drawing.judging.JUDGED_BY``: what the seats are held against

    Returns
    -------
    html : str
        A drawing and the words below it; its tags do not depend on color

    Raises
    ------
    ValueError
        Nothing is asked of this quantity
    """
    view = scene.View(result=result, quantity=quantity, units=result.scenario.units)
    found = judged(view)
    if found is None:
        raise ValueError(f"quantity = {quantity!r}: no seat is held against a target of it.")
    sheet = _Sheet(result.scenario)
    parts = [*_room(sheet, result), *_seats(sheet, view, found), *_loudspeakers(sheet, view)]
    parts += [*_names(sheet, view), *_frame(sheet, result)]
    words = _words(result, found)
    return (
        f'<div class="drawing"><svg viewBox="0 0 {WIDE:.0f} {sheet.high:.0f}" role="img"'
        f' aria-label="{escape(words)}">{"".join(parts)}</svg>'
        f'<p class="quiet">{escape(words)}</p></div>'
    )


def _words(result, found):
    """What the drawing shows, with the share of the seats of each word."""
    c, numbers = CRITERIA[found.criterion], found.numbers
    counts = [int((numbers == n).sum()) for n in range(3)]
    marks = [
        f"{SIGNS[word]} {word} the target: {100 * n / max(sum(counts), 1):.0f} %"
        for word, n in zip(WORDS[:3], counts, strict=True)
    ]
    marks = "; ".join(marks).replace("close the", "close to the")
    return (
        f"{c.plain} Every seat of the {result.use.name} held against the target, {c.quantity}"
        f" {found.words}. {marks}. Arrows: where each loudspeaker aims; an open box is off."
    )


class _Sheet:
    """From meters of the plan to the drawing; north is up."""

    def __init__(self, scenario):
        hall, stage = scenario.hall, scenario.stage
        deep = {stage.side: stage.depth} if stage else {}
        west, east = (hall.length / 2 + deep.get(side, 0.0) for side in ("west", "east"))
        south, north = (hall.width / 2 + deep.get(side, 0.0) for side in ("south", "north"))
        self.k = (WIDE - 2 * MARGIN) / (west + east)
        self.west, self.north = west, north
        self.high = self.k * (north + south) + 2 * MARGIN + 1.4 * LETTER
        self.hall, self.taken = hall, []

    def at(self, points):
        """Places on the drawing (point, 2)."""
        points = np.asarray(points, float)
        x = MARGIN + (points[..., 0] + self.west) * self.k
        return np.stack([x, MARGIN + (self.north - points[..., 1]) * self.k], axis=-1)

    def path(self, points, look, closed=False):
        """A line with gaps of NaN."""
        steps, pen = [], "M"
        for x, y in self.at(points):
            if np.isfinite(x):
                steps.append(f"{pen}{x:.1f} {y:.1f}")
            pen = "L" if np.isfinite(x) else "M"
        return f'<path d="{"".join(steps)}{"Z" if closed else ""}" fill="none" {look}/>'

    def box(self, footprint, look):
        """A rectangle of the plan: west, east, south, north."""
        a, b, c, d = footprint
        return self.path([(a, c), (b, c), (b, d), (a, d)], look, closed=True)


def _stroke(color, width, more=""):
    return f'stroke="{color}" stroke-width="{width:g}" {more}'


def _room(sheet, result):
    """Court lines, what stands and hangs, walls."""
    hall, configuration = sheet.hall, result.configuration
    yield sheet.path(all_court_lines(result.scenario), _stroke(COURT, 1))
    for _, footprint in configuration.footprints:
        yield sheet.box(footprint, _stroke(SEATS, 1))
    stage = result.scenario.stage
    if stage is not None:
        (x0, y0, _), (x1, y1, _) = stage.corners(hall)
        yield sheet.box((x0, x1, y0, y1), _stroke(INK, 1.5))
        yield _label(sheet, "stage", np.array([x0, y0]), np.array([x1, y1]))
    x, y = hall.length / 2, hall.width / 2
    yield sheet.box((-x, x, -y, y), _stroke(INK, 3))


def _label(sheet, text, low, high):
    """A name within an area, where no other word stands; in its middle if it can."""
    places = [low + (high - low) * np.array([0.5, share]) for share in (0.5, 0.75, 0.25)]
    size = _size(text)
    corners = [tuple(sheet.at(place) - np.array(size) / 2) for place in places]
    return _word(sheet, text, size, corners)


def _size(text):
    """Width and height that a word takes, in the drawing's own units."""
    return LETTER * (0.62 * len(text) + 0.2), 1.1 * LETTER


def _word(sheet, text, size, corners, more=""):
    """A word at the first of some corners where no other one stands."""
    wide, high = size

    def free(corner):
        x, y = corner
        return all(
            x + wide < a or x > a + w or y + high < b or y > b + h for a, b, w, h in sheet.taken
        )

    x, y = next(filter(free, corners), corners[0])
    sheet.taken.append((x, y, wide, high))
    looks = f'font-size="{LETTER:g}" fill="{INK}" {more} {HALO}'
    return f'<text x="{x + 2:.1f}" y="{y + 0.85 * LETTER:.1f}" {looks}>{escape(text)}</text>'


def _names(sheet, view):
    """Names of the areas in which people sit."""
    for area in view.areas:
        if area.kind != "court" and area.name in view.result.weights:
            low, high = area.points[:, :2].min(axis=0), area.points[:, :2].max(axis=0)
            yield _label(sheet, area.name, low, high)


def _seats(sheet, view, found):
    """A mark at every seat that something is asked of."""
    places = sheet.at(np.concatenate([a.points for a in view.areas])[:, :2])
    size = _mark_size(sheet, view)
    dots = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in places[found.numbers == 0])
    rings = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in places[found.numbers == 1])
    r = 0.42 * size
    crosses = "".join(
        f"M{x - r:.1f} {y - r:.1f}l{2 * r:.1f} {2 * r:.1f}m0 {-2 * r:.1f}l{-2 * r:.1f} {2 * r:.1f}"
        for x, y in places[found.numbers == 2]
    )
    unasked = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in places[found.numbers == UNJUDGED])
    cap = 'stroke-linecap="round"'
    yield f'<path d="{unasked}" {_stroke(COURT, 0.3 * size, cap)}/>'
    yield f'<path class="meets" d="{dots}" {_stroke(MEETS, 0.85 * size, cap)}/>'
    yield f'<path class="close" d="{rings}" {_stroke(CLOSE, 0.9 * size, cap)}/>'
    yield f'<path d="{rings}" {_stroke("#fff", 0.5 * size, cap)}/>'
    yield f'<path class="misses" d="{crosses}" fill="none" {_stroke(MISSES, 0.2 * size)}/>'


def _mark_size(sheet, view):
    """Size of a mark, so that neighbors stay apart, in the drawing's own units."""
    apart = [
        np.linalg.norm(np.diff(a.points.reshape(a.rows, a.columns, 3)[..., :2], axis=n), axis=-1)
        for a in view.areas
        for n in (0, 1)
    ]
    steps = [float(d.min()) for d in apart if d.size]
    return float(np.clip(sheet.k * min(steps, default=1.0), 3.0, 11.0))


def _loudspeakers(sheet, view):
    """Boxes with tags, and an arrow from each to where it aims; what is off is drawn open."""
    ends = {}
    for t in view.throws:
        ends.setdefault(t.tag, t)
    for c, playing in zip(view.scenario.loudspeakers, view.result.playing, strict=True):
        sides = (c.type.width, c.type.height, c.type.depth)
        size = [max(v, LEAST_BOX) for v in sides]
        corners, _ = maps.box(c.position, rotation(c.pan_deg, c.downtilt_deg), *size)
        low, high = corners[:, :2].min(axis=0), corners[:, :2].max(axis=0)
        if playing and c.tag in ends:
            yield _arrow(sheet, ends[c.tag])
        (x0, y1), (x1, y0) = sheet.at([low, high])
        fill = INK if playing else "#fff"
        yield (
            f'<rect x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" height="{y1 - y0:.1f}"'
            f' fill="{fill}" stroke="{INK}" stroke-width="1.5"/>'
        )
        yield _tag(sheet, c.tag, (x0, y0, x1, y1))


def _arrow(sheet, throw):
    """From a loudspeaker to where its first beam lands."""
    start, end = sheet.at([throw.start[:2], throw.end[:2]])
    way = end - start
    length = float(np.hypot(*way))
    if length < 6:
        return ""
    way, across = way / length, np.array([-way[1], way[0]]) / length
    tip = [end, end - 9 * way + 4 * across, end - 9 * way - 4 * across]
    head = " ".join(f"{x:.1f},{y:.1f}" for x, y in tip)
    (x0, y0), (x1, y1) = start, end
    return (
        f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" {_stroke(AIM, 1.6)}/>'
        f'<polygon points="{head}" fill="{AIM}"/>'
    )


def _tag(sheet, text, box):
    """A tag beside its box."""
    x0, y0, x1, y1 = box
    wide, high = size = _size(text)
    middle = (x0 + x1 - wide) / 2
    corners = [(x1 + 3, y0 - 3), (x0 - wide - 3, y0 - 3), (middle, y0 - high - 2), (middle, y1 + 2)]
    corners += [(x1 + 3, y1 - high + 3), (x0 - wide - 3, y1 - high + 3)]
    return _word(sheet, text, size, corners, more='font-weight="600"')


def _frame(sheet, result):
    """North, and a scale bar below the gym."""
    length, words = SCALE_BAR[result.scenario.units]
    y, wide = sheet.high - 0.6 * LETTER, length * sheet.k
    yield f'<path d="M{MARGIN} {y - 6}v6h{wide:.1f}v-6" fill="none" {_stroke(INK, 1.5)}/>'
    looks = f'font-size="{LETTER:g}" fill="{QUIET}"'
    yield f'<text x="{MARGIN + wide + 8:.1f}" y="{y + 2}" {looks}>{words}</text>'
    yield f'<text x="{WIDE - MARGIN - 4.4 * LETTER:.0f}" y="{y + 2}" {looks}>north ↑</text>'
