"""Where words find room on a sketch: no label over another, nor over a line that is measured."""

from itertools import pairwise

WIDE = 6  # of a letter of type of the usual size, on average [px]
USUAL = 11  # size of type [px]
RANK = 4  # that a place is the better by, for every one behind it [px2]


class Labels:
    """What of a sheet is taken by words and dimension lines.

    Parameters
    ----------
    size : tuple of int
        Width and height of the sheet [px]
    """

    def __init__(self, size):
        self.size, self.boxes = size, []

    def take(self, box):
        """Something stands there.

        Parameters
        ----------
        box : tuple
            (left, right, top, bottom) [px]
        """
        self.boxes.append(box)

    def take_line(self, points):
        """A line stands there.

        Parameters
        ----------
        points : sequence of tuple
            Its corners [px]
        """
        for (x0, y0), (x1, y1) in pairwise(points):
            self.take((min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)))

    def best(self, places, box_of):
        """The place where least else stands, the first of those that are alike.

        Parameters
        ----------
        places : sequence
            To choose from
        box_of : callable
            Gives the box of a place [px]

        Returns
        -------
        place : any
            One of them
        """
        costs = [self._covered(box_of(place)) + RANK * n for n, place in enumerate(places)]
        return places[costs.index(min(costs))]

    def _covered(self, box):
        """Area of a box that is taken or lies outside the sheet; lines count with a width [px2]."""
        wide, high = self.size
        inside = _shared(box, (0, wide, 0, high), 0.0)
        outside = (box[1] - box[0]) * (box[3] - box[2]) - inside
        return outside + sum(_shared(box, other, 1.0) for other in self.boxes)


def _shared(a, b, margin):
    """Area that two boxes share [px2]."""
    across = min(a[1], b[1] + margin) - max(a[0], b[0] - margin)
    along = min(a[3], b[3] + margin) - max(a[2], b[2] - margin)
    return max(across, 0.0) * max(along, 0.0)


def text_box(x, y, words, anchor="middle", turn=None, size=USUAL):
    """Box that words take.

    Parameters
    ----------
    x, y : float
        Of their anchor, on the line that they stand on [px]
    words : str
        One line
    anchor : str
        "start", "middle" or "end"
    turn : float, optional
        -90 for words that run upward; level when left out [deg]
    size : float
        Of the type [px]

    Returns
    -------
    box : tuple
        (left, right, top, bottom) [px]
    """
    long = WIDE * len(words) * size / USUAL
    begin = {"start": 0.0, "middle": -long / 2, "end": -long}[anchor]
    if turn:
        return x - 0.8 * size, x + 0.2 * size, y - begin - long, y - begin
    return x + begin, x + begin + long, y - 0.8 * size, y + 0.2 * size
