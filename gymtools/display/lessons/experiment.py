"""An experiment of a lesson: sliders, one picture, and one aim with the present number."""

import math
from dataclasses import dataclass
from html import escape

import ipywidgets as w
import numpy as np

from ..jobs import Throttle
from ..live import FigureFrame
from ..panel.controls import in_words, show_only
from ..panel.typed_slider import Looks
from ..tables import card

WIDTH = "560px"  # of sliders: a lesson has the room for whole labels


@dataclass(frozen=True, kw_only=True)
class Aim:
    """Aim of an experiment: a number that it computes, and the limits of that number."""

    words: str
    measure: object  # callable: what ``compute`` returned -> number [unit]
    what: str  # name of the number
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    digits: int = 1

    def reached(self, result):
        """Whether a result reaches the aim.

        Parameters
        ----------
        result : any
            Of the experiment's ``compute``

        Returns
        -------
        reached : bool
            False for what is not a number
        """
        return bool(self.low <= self.measure(result) <= self.high)

    def report(self, result):
        """The present number, and how far it is from the aim.

        Parameters
        ----------
        result : any
            Of the experiment's ``compute``

        Returns
        -------
        words : str
            One sentence or two
        """
        now = float(self.measure(result))

        def say(v):
            return f"{v:.{self.digits}f} {self.unit}".rstrip()

        if not math.isfinite(now):
            return f"{self.what}: no number here. Not reached."
        if self.reached(result):
            return f"{self.what}: {say(now)}. Reached."
        far, limit, word = (
            (now - self.high, self.high, "too much")
            if now > self.high
            else (self.low - now, self.low, "too little")
        )
        return f"{self.what}: {say(now)}; {say(limit)} is the limit, so {say(far)} {word}. Not yet."


class Experiment:
    """Sliders, a picture kept up to date in place, and the aim with the present number.

    A refusal (ValueError) is one line while the last picture and its number stay.

    Parameters
    ----------
    adjustments : sequence of SliderSpec
        Of ``display.panel.controls``; the path of each is (name,), an argument of ``compute``
    start : dict
        First values by name [SI]
    compute : callable
        Result of the values, e.g. an evaluation; the physics is in it, not here
    draw : callable
        Plotly figure of a result, always with the same traces
    aim : Aim
        The one thing to reach
    units : str
        "m" or "ft", for lengths on sliders
    """

    def __init__(self, adjustments, start, compute, draw, aim, units="m"):
        self.adjustments = {adjustment.path[0]: adjustment for adjustment in adjustments}
        self.compute, self.draw, self.aim, self.units = compute, draw, aim, units
        self.values = {name: float(start[name]) for name in self.adjustments}
        self.result = compute(**self.values)
        frame = {"width": "100%", "max_width": "1000px"}
        self.stand = FigureFrame(draw(self.result), layout=frame)
        self.live = Throttle(self._update)
        self.report, self.message, self.sliders = w.HTML(), w.HTML(), w.VBox()
        self._looks = Looks(WIDTH)
        heading = w.HTML(card(f"<p><b>Aim:</b> {escape(aim.words)}</p>"))
        words = [heading, self.sliders, self.report, self.message, self.live.error]
        self.box = w.VBox([*words, self.stand])
        self._build()
        self._report()

    @property
    def figure(self):
        """The live figure."""
        return self.stand.figure

    @property
    def reached(self):
        """Whether the picture reaches the aim."""
        return self.aim.reached(self.result)

    def set(self, **values):
        """Set sliders and update at once; for cells and tests.

        Parameters
        ----------
        values : float
            New values by name [SI]

        Raises
        ------
        ValueError
            There is no slider of that name
        """
        for name in values:
            if name not in self.adjustments:
                raise ValueError(
                    f"'{name}' is no slider here. Known: {', '.join(self.adjustments)}."
                )
        self.values.update({name: float(value) for name, value in values.items()})
        self._build()
        self.live.flush()

    def reaching(self, name):
        """Values of one slider that reach the aim while the others stay, found by trying them all.

        Parameters
        ----------
        name : str
            Which slider

        Returns
        -------
        values : list of float
            Values in steps of the slider; empty when none reaches the aim [SI]
        """
        adjustment, found = self.adjustments[name], []
        for value in np.arange(
            adjustment.low, adjustment.high + adjustment.step / 2, adjustment.step
        ):
            try:
                if self.aim.reached(self.compute(**{**self.values, name: float(value)})):
                    found.append(float(value))
            except ValueError:  # a value that cannot be, e.g. a loudspeaker in the wall
                continue
        return found

    def _build(self):
        """Sliders from the values: a live one is never set, for the page would send its old value
        back.
        """
        sliders = [
            adjustment.slider(self.values[name], self.units, self._moved, self._looks)
            for name, adjustment in self.adjustments.items()
        ]
        show_only(self.sliders, sliders)

    def _moved(self, path, value):
        self.values[path[0]] = value
        self.live()

    def _update(self):
        try:
            result = self.compute(**self.values)
            fresh = self.draw(result)
        except ValueError as refused:
            self.message.value = card(
                f"<p>{escape(str(refused))} The picture shows what was there before.</p>"
            )
            return
        self.message.value, self.result = "", result
        with self.figure.batch_update():
            for old, new in zip(self.figure.data, fresh.data, strict=True):
                old.update(
                    {k: v for k, v in new.to_plotly_json().items() if k != "type"}, overwrite=False
                )
            self.figure.layout.update(fresh.layout)
        self._report()

    def _report(self):
        lengths = [
            f"{escape(k.label)}: {in_words(self.values[n], self.units)}"
            for n, k in self.adjustments.items()
            if k.unit == "m"
        ]
        beside = f"<p class='quiet'>{'; '.join(lengths)}</p>" if lengths else ""
        self.report.value = card(f"<p>{escape(self.aim.report(self.result))}</p>", beside)
