"""Which criterion a map belongs to, and what of the map meets, is close or misses.

A criterion judges an area as a whole, mostly by 9 of 10 seats; the map shows the same question seat
by seat.
"""

from dataclasses import dataclass

import numpy as np

from ...acoustics.criteria import CRITERIA, WORDS, in_words
from ...physics.bands import COVERAGE, LABELS

# quantity -> criterion; a quantity that is not here is not hatched
JUDGED_BY = {
    "speech": "loudest",
    "speech_to_noise": "speech_to_noise",
    "sti": "sti",
    "arrival_spread": "arrival_spread",
    "feedback_margin": "feedback_margin",
    # an octave is even where its seats lie within half the range either way of the area's mean
    **{f"direct {LABELS[band]}": "coverage_range" for band in np.arange(len(LABELS))[COVERAGE]},
}
BEYOND = 1e9  # farther from a target than any value
UNJUDGED = 255  # number of a point that nothing is asked of, beside those of ``WORDS``


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A map held against the target of its criterion."""

    criterion: str  # key of ``CRITERIA``
    margin: np.ndarray  # on the good side of the target, NaN where nothing is asked (point,) [unit]
    # by area name: (value, which side of it is good: 1 above, -1 below) of the target lines [unit]
    lines: dict
    words: str  # the target in words
    close: float  # a miss by no more than this is close [unit]
    shown: float  # no word turns on less [unit]

    @property
    def numbers(self):
        """Words of the points as numbers: 0 meets, 1 close, 2 misses (point,) uint8."""
        numbers = in_words(self.margin, close=self.close, shown=self.shown)
        numbers[np.isnan(self.margin)] = UNJUDGED
        return numbers.astype(np.uint8)

    def ranges(self, area):
        """Values of an area that are close, and that miss.

        Parameters
        ----------
        area : str
            Name of an area

        Returns
        -------
        close, misses : tuple of list
            (low, high) each [unit of the map]
        """
        close, misses = [], []
        for value, side in self.lines.get(area, ()):
            near, far = value - side * self.shown, value - side * self.close
            close.append(tuple(sorted((far, near))))
            misses.append(tuple(sorted((far, far - side * BEYOND))))
        return close, misses

    def word(self, index):
        """Word of one point.

        Parameters
        ----------
        index : int
            Which of the map's points [-]

        Returns
        -------
        word : str
            "meets", "close" or "misses"; empty where nothing is asked
        """
        number = self.numbers[index : index + 1][0]
        return "" if number == UNJUDGED else WORDS[number]


def judged(view):
    """The map of a view, held against its target.

    Parameters
    ----------
    view : scene.View
        What is looked at

    Returns
    -------
    judged : Judged or None
        None for a quantity without a target
    """
    criterion = CRITERIA.get(JUDGED_BY.get(view.quantity))
    if criterion is None:
        return None
    target = criterion.target_in(view.scenario.targets)
    if criterion.key == "coverage_range":
        return _even(view, criterion, target)
    asked = np.ones(len(view.values), bool) if view.on_foot else _listening(view)
    margin = np.where(asked, criterion.margin(view.values, target), np.nan)
    ends = "or more" if criterion.better > 0 else "or less"
    return Judged(
        criterion=criterion.key,
        margin=margin,
        lines={area.name: ((target, criterion.better),) for area in view.areas},
        words=f"{_target_text(criterion, target)} {ends}",
        close=criterion.close,
        shown=criterion.shown,
    )


def _listening(view):
    """Which points lie where somebody listens (point,)."""
    result = view.result
    asked = np.zeros(len(result.points), bool)
    for name in result.weights:
        asked[result.spans[name]] = True
    return asked


def _even(view, criterion, target):
    """Seats of an octave within half the range either way of their area's mean."""
    result, margin, lines = view.result, np.full(len(view.values), np.nan), {}
    for name in result.weights:
        span = result.spans[name]
        heard = np.isfinite(result.level_db[span]).all(axis=1)
        mean = float(view.values[span][heard].mean()) if heard.any() else 0.0
        margin[span] = target / 2 - np.abs(view.values[span] - mean)
        lines[name] = ((mean - target / 2, 1), (mean + target / 2, -1))
    return Judged(
        criterion=criterion.key,
        margin=margin,
        lines=lines,
        words=f"within {target / 2:g} dB of the area's mean",
        close=criterion.close / 2,
        shown=criterion.shown / 2,
    )


def _target_text(criterion, target):
    """A target with its unit, with no more digits than it has."""
    return f"{target:g} {criterion.unit}".rstrip()
