"""What a sheet is made of: lines, circles, texts and dimensions in views, each at its scale.

One geometry for all writers: a view is in meters of the gym, its letters in millimeters of paper.
"""

from dataclasses import dataclass, field

import numpy as np

GAP = 1.5  # between a feature and the line of its dimension [mm of paper]


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """A polyline."""

    points: np.ndarray  # (n, 2) [m; mm in the frame of a sheet]
    layer: str
    closed: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Circle:
    """A circle."""

    center: np.ndarray  # (2,) [m; mm]
    radius: float  # [m; mm]
    layer: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Text:
    """One line of letters; ``at`` is where its baseline begins."""

    words: str
    at: np.ndarray  # (2,) [m; mm]
    height: float  # of a capital [mm of paper]
    layer: str
    upright: bool = False  # read from the right side of the sheet
    bold: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Dimension:
    """A running dimension: from the datum along one axis to a feature, its figure outside."""

    axis: int  # 0 along x, 1 along y
    datum: np.ndarray  # (2,) [m]
    feature: np.ndarray  # (2,) [m]
    line: np.ndarray  # from the feature to the figure (4, 2) [m]
    text: Text  # the figure

    def pieces(self, gap):
        """Light line over what is drawn, and dark line outside it.

        Parameters
        ----------
        gap : float
            That the light line keeps from the feature [m]

        Returns
        -------
        extension, outside : ndarray
            (2, 2), (3, 2); the extension has no length where the gap takes it all [m]
        """
        extension = self.line[:2].copy()
        reach = np.linalg.norm(extension[1] - extension[0])
        extension[0] += (extension[1] - extension[0]) * min(gap / max(reach, 1e-9), 1.0)
        return extension, self.line[1:]


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """Plan, ceiling plan or section."""

    name: str
    marks: tuple
    scale: float  # meters of the gym in a meter of paper
    low: np.ndarray  # (2,) lowest corner of all that is drawn [m]
    high: np.ndarray  # (2,) [m]

    @property
    def size(self):
        """Room that it takes on paper (2,) [mm]."""
        return (self.high - self.low) * 1000 / self.scale


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """A view on a sheet."""

    view: View
    at: np.ndarray  # where the view's own origin lies on the paper (2,) [mm]

    def on_paper(self, points):
        """Points of the view on the paper.

        Parameters
        ----------
        points : array
            (..., 2) [m]

        Returns
        -------
        points : ndarray
            (..., 2) [mm]
        """
        return np.asarray(points, float)[..., :2] * 1000 / self.view.scale + self.at


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """One sheet of paper."""

    number: str
    title: str
    size: tuple  # (width, height) [mm]
    placed: tuple
    frame: tuple = field(default=())  # border, title block, legend, notes, in millimeters of paper
