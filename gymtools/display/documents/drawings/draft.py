"""A view as it is drawn: lines in meters, tags that find a free place, running dimensions."""

from dataclasses import dataclass

import numpy as np

from ....venue.units import measured_text
from .lettering import (
    ABOVE,
    BELOW,
    best_place,
    box,
    leader_end,
    place_inside,
    printable,
    spread,
    width,
)
from .marks import Circle, Dimension, Line, Text, View

TAG = 2.5  # height of letters of tags [mm]     ISO 3098
FIGURE = 2.2  # of dimensions [mm]
LEADER_FROM = 4.0  # from which a tag has a leader [mm]
SAME = 1e-3  # features that are no farther apart share a dimension [m]
OUTSIDE = 5.0  # from what is drawn to the knee of a dimension [mm]
STEP = 4.0  # of the knee [mm]
ROW = (ABOVE + BELOW) * FIGURE + 0.5  # from one figure to the next [mm]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Tag:
    words: str
    anchor: np.ndarray  # [m]
    clear: float  # [mm]
    layer: str
    height: float
    room: np.ndarray | None = None  # x low, y low, x high, y high that it lies in if it fits [m]


class Draft:
    """Collects what one view shows.

    Parameters
    ----------
    name : str
        Under the view
    scale : float
        Meters of the gym in a meter of paper [-]
    units : str
        "m" or "ft": of dimensions
    """

    def __init__(self, name, scale, units):
        self.name, self.scale, self.units = name, scale, units
        self.marks, self._tags = [], []

    @property
    def mm(self):
        """A millimeter of paper in the gym [m]."""
        return self.scale / 1000

    def length(self, meters):
        """A length as this view states it.

        Parameters
        ----------
        meters : float
            Length [m]

        Returns
        -------
        words : str
            To the quarter inch or the centimeter
        """
        return measured_text(meters, self.units)

    def line(self, points, layer, closed=False):
        """Draw a line; a row of NaN is a gap.

        Parameters
        ----------
        points : array
            (n, 2) or (n, 3); the first two count [m]
        layer : str
            One of ``LAYERS``
        closed : bool
            Whether it goes back to its beginning
        """
        points = np.asarray(points, float)[:, :2]
        gaps = np.flatnonzero(~np.isfinite(points).all(axis=1))
        for part in np.split(points, gaps):
            part = part[np.isfinite(part).all(axis=1)]
            if len(part) > 1:
                self.marks.append(Line(points=part, layer=layer, closed=closed))

    def rectangle(self, sides, layer):
        """Draw a rectangle.

        Parameters
        ----------
        sides : tuple
            (x low, x high, y low, y high) [m]
        layer : str
            One of ``LAYERS``
        """
        a, b, c, d = sides
        self.line([(a, c), (b, c), (b, d), (a, d)], layer, closed=True)

    def circle(self, center, radius, layer):
        """Draw a circle.

        Parameters
        ----------
        center : array
            (2,) or (3,) [m]
        radius : float
            [m]
        layer : str
            One of ``LAYERS``
        """
        center = np.asarray(center, float)[:2]
        self.marks.append(Circle(center=center, radius=float(radius), layer=layer))

    def tag(self, words, anchor, *, clear=1.5, layer="TAGS", height=TAG):
        """Name something; the tag finds its place when the view is done.

        Parameters
        ----------
        words : str
            One line
        anchor : array
            What it belongs to (2,) or (3,) [m]
        clear : float
            Distance that it keeps from there [mm]
        layer : str
            One of ``LAYERS``
        height : float
            Of a capital [mm]
        """
        anchor = np.asarray(anchor, float)[:2]
        self._tags.append(
            _Tag(words=printable(words), anchor=anchor, clear=clear, layer=layer, height=height)
        )

    def tag_inside(self, words, sides):
        """Name a strip or an area inside it, along it where it is narrow, else beside it.

        Parameters
        ----------
        words : str
            One line
        sides : tuple
            (x low, x high, y low, y high) [m]
        """
        a, b, c, d = sides
        room, anchor = np.array([a, c, b, d], float), np.array([a + b, c + d]) / 2
        words = printable(words)
        self._tags.append(
            _Tag(words=words, anchor=anchor, clear=0.0, layer="TAGS", height=TAG, room=room)
        )

    def words(self, words, at, *, height=TAG, upright=False, bold=False):
        """Put words at a place of their own.

        Parameters
        ----------
        words : str
            One line
        at : array
            Where its baseline begins (2,) [m]
        height : float
            Of a capital [mm]
        upright : bool
            Read from the right
        bold : bool
            Heavy letters
        """
        self.marks.append(
            Text(
                words=printable(words),
                at=np.asarray(at, float)[:2],
                height=height,
                layer="NOTES",
                upright=upright,
                bold=bold,
            )
        )

    def extent(self):
        """Lowest and highest corner of what is drawn so far.

        Returns
        -------
        low, high : tuple of ndarray
            (2,) each [m]
        """
        corners = [np.zeros((1, 2))]
        for mark in self.marks:
            if isinstance(mark, (Line, Dimension)):
                corners.append(mark.points if isinstance(mark, Line) else mark.line)
            if isinstance(mark, Circle):
                corners.append(mark.center + mark.radius * np.array([[-1, -1], [1, 1]]))
            text = mark.text if isinstance(mark, Dimension) else mark
            if isinstance(text, Text):
                room = box(text, text.at / self.mm).reshape(2, 2) * self.mm
                corners.append(room)
        points = np.concatenate(corners)
        return points.min(axis=0), points.max(axis=0)

    def running(self, axis, features, datum, base, *, through=True):
        """Running dimensions along one axis, each feature once, figures in a row outside.

        Parameters
        ----------
        axis : int
            0: along x, figures under the view; 1: along y, figures at its left [-]
        features : array
            Points (n, 2) or (n, 3) that are measured to [m]
        datum : array
            Where they begin (2,) [m]
        base : float
            Outer edge of what is drawn, on the other axis [m]
        through : bool
            Whether the line of a figure passes all features that share it; else it ends at the
            nearest one
        """
        points = np.asarray(features, float).reshape(len(features), -1)[:, :2]
        points = points[np.lexsort((points[:, 1 - axis], points[:, axis]))]
        first = np.concatenate([[True], np.diff(points[:, axis]) > SAME])
        last = np.append(np.flatnonzero(first)[1:], len(points)) - 1
        chosen = points[last if through else np.flatnonzero(first)]
        places = spread(chosen[:, axis] / self.mm, ROW) * self.mm
        knee, end = base - OUTSIDE * self.mm, base - (OUTSIDE + STEP) * self.mm
        for point, place in zip(chosen, places, strict=True):
            words = self.length(float(point[axis] - datum[axis]))
            line = np.array([point, point, point, point], float)
            line[0, 1 - axis] = self._short_of_aim(point, axis, knee)
            line[1, 1 - axis], line[2, 1 - axis] = knee, end + 1.0 * self.mm
            line[2:, axis], line[3, 1 - axis] = place, end
            self.marks.append(
                Dimension(
                    axis=axis,
                    datum=np.asarray(datum, float)[:2],
                    feature=point,
                    line=line,
                    text=self._figure(words, axis, place, end),
                )
            )

    def _short_of_aim(self, point, axis, knee):
        """Where the line of a figure begins, on the other axis: at its feature, or short of an aim
        line that runs along it [m].
        """
        begin, other = float(point[1 - axis]), 1 - axis
        for mark in self.marks:
            if isinstance(mark, Line) and mark.layer == "AIM-LINES":
                low = float(mark.points[:, other].min())
                along = np.abs(mark.points[:, axis] - point[axis]).max() < SAME
                begin = min(begin, low) if along and low < point[other] else begin
        return max(begin, knee)

    def _figure(self, words, axis, place, end):
        """Text of a dimension, its end toward what is measured."""
        begin = end - (width(words, FIGURE) + 1.0) * self.mm
        low = place - (FIGURE / 2) * self.mm if axis else place + FIGURE / 2 * self.mm
        at = np.array([low, begin]) if axis == 0 else np.array([begin, low])
        return Text(words=words, at=at, height=FIGURE, layer="DIMENSIONS", upright=axis == 0)

    def view(self):
        """The view, its tags placed so that none overprints other letters.

        Returns
        -------
        view : View
            For a sheet
        """
        low, high = self.extent()
        margin = 22.0 * self.mm
        bounds = np.concatenate([low - margin / 4, high + margin]) / self.mm
        taken = self._taken()
        segments = self._segments()
        for tag in self._tags:
            inside = self._inside(tag, taken, segments)
            if inside is not None:
                self.marks.append(inside)
                taken = np.concatenate([taken, box(inside, inside.at / self.mm)[None]])
                continue
            size = (width(tag.words, tag.height), (ABOVE + BELOW) * tag.height)
            anchor = tag.anchor / self.mm
            place, away = best_place(anchor, size, tag.clear, taken, segments, bounds)
            at = np.array([place[0], place[1] + BELOW * tag.height]) * self.mm
            self.marks.append(Text(words=tag.words, at=at, height=tag.height, layer=tag.layer))
            taken = np.concatenate([taken, place[None]])
            if away >= LEADER_FROM - tag.clear:
                leader = np.stack([anchor, leader_end(anchor, place)])
                self.line(leader * self.mm, "TAGS")
                segments = np.concatenate([segments, leader[None]])
        self._tags = []
        low, high = self.extent()
        return View(name=self.name, marks=tuple(self.marks), scale=self.scale, low=low, high=high)

    def _inside(self, tag, taken, segments):
        """A tag as it lies in its room, upright where it does not fit level; None: it does not."""
        if tag.room is None:
            return None
        size = np.array([width(tag.words, tag.height), (ABOVE + BELOW) * tag.height])
        for upright in (False, True):
            place = place_inside(
                tag.room / self.mm, size[::-1] if upright else size, taken, segments
            )
            if place is not None:
                below = BELOW * tag.height
                at = (place[2] - below, place[1]) if upright else (place[0], place[1] + below)
                return Text(
                    words=tag.words,
                    at=np.array(at) * self.mm,
                    height=tag.height,
                    layer=tag.layer,
                    upright=upright,
                )
        return None

    def _taken(self):
        """Boxes of all letters that are there (box, 4) [mm]."""
        texts = [m.text if isinstance(m, Dimension) else m for m in self.marks]
        found = [box(t, t.at / self.mm) for t in texts if isinstance(t, Text)]
        return np.array(found).reshape(-1, 4)

    def _segments(self):
        """All lines as straight pieces (segment, 2, 2) [mm]."""
        found = [np.zeros((0, 2, 2))]
        for mark in self.marks:
            if isinstance(mark, Circle):
                turn = np.linspace(0, 2 * np.pi, 9)
                ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
                points = mark.center + mark.radius * ring
            elif isinstance(mark, (Line, Dimension)):
                points = mark.points if isinstance(mark, Line) else mark.line
                if isinstance(mark, Line) and mark.closed:
                    points = np.concatenate([points, points[:1]])
            else:
                continue
            found.append(np.stack([points[:-1], points[1:]], axis=1))
        return np.concatenate(found) / self.mm
