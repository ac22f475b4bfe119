"""An experiment of a lesson: a prediction, then sliders beside one picture, and one aim."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from html import escape

import ipywidgets as w
import numpy as np

from ...venue.units import in_words
from ..jobs import Throttle
from ..live import FigureFrame
from ..panel.controls import SliderSpec, show_only
from ..panel.typed_slider import Looks
from ..tables import card

WIDTH = "340px"  # of sliders, which stand beside the picture: both fit a laptop's screen
NOT_YET = "Predict first: the sliders unlock with your prediction."


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
    # takes a result; gives in words what else is not as it must be, empty where all is
    besides: Callable | None = None

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
        return self._within(result) and not self._wrong(result)

    def _within(self, result):
        return bool(self.low <= self.measure(result) <= self.high)

    def _wrong(self, result):
        return self.besides(result) if self.besides else ""

    def report(self, result, says_so=True):
        """The present number, and how far it is from the aim.

        Parameters
        ----------
        result : any
            Of the experiment's ``compute``
        says_so : bool
            Whether to say that the aim is reached, where it is: not before anybody has moved

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
        wrong = self._wrong(result)
        if self._within(result):
            if wrong:
                return f"{self.what}: {say(now)}. But {wrong}. Not yet."
            return f"{self.what}: {say(now)}." + (" Reached." if says_so else "")
        far, limit, word = (
            (now - self.high, self.high, "too much")
            if now > self.high
            else (self.low - now, self.low, "too little")
        )
        also = f" And {wrong}." if wrong else ""
        return (
            f"{self.what}: {say(now)}; {say(limit)} is the limit, so {say(far)} {word}.{also} Not"
            " yet."
        )


@dataclass(frozen=True)
class Prediction:
    """What a learner commits to before anything can be moved."""

    words: str  # the question
    choices: tuple  # texts
    # takes the results at the start and where the aim is reached; gives the choice that was true
    truth: Callable


@dataclass(frozen=True, kw_only=True)
class Setup:
    """What an experiment lets one move, what it computes and draws, and what is to be reached."""

    adjustments: tuple  # of SliderSpec; the path of each is (name,), an argument of ``compute``
    start: dict  # first values by name [SI]
    compute: Callable  # result of the values, e.g. an evaluation: the physics is in it, not here
    draw: Callable  # plotly figure of a result, always with the same traces
    aim: Aim
    predict: Prediction


def slider(name, label, ends, step, unit=""):
    """What one slider of an experiment sets.

    Parameters
    ----------
    name : str
        Of the argument of ``compute``
    label : str
        Beside the slider
    ends : tuple of float
        Its lowest and highest value [SI]
    step : float
        Between its values [SI]
    unit : str
        As for ``SliderSpec``

    Returns
    -------
    adjustment : SliderSpec
        For ``Setup``
    """
    low, high = (float(end) for end in ends)
    return SliderSpec(path=(name,), label=label, low=low, high=high, step=step, unit=unit)


class Experiment:
    """A prediction, then sliders, a picture kept up to date in place, and the aim.

    A refusal (ValueError) is one line while the last picture and its number stay.

    Parameters
    ----------
    setup : Setup
        What it is made of
    units : str
        "m" or "ft", for lengths on sliders
    keep : callable, optional
        Called with (kind, reply, given) when something is to be remembered
    """

    def __init__(self, setup, units="m", keep=None):
        self.setup, self.units, self._keep = setup, units, keep
        self.adjustments = {one.path[0]: one for one in setup.adjustments}
        self.compute, self.draw, self.aim = setup.compute, setup.draw, setup.aim
        self.values = {name: float(setup.start[name]) for name in self.adjustments}
        self.result = self._first = self.compute(**self.values)
        self.predicted, self.touched, self._said = None, False, False
        self.stand = FigureFrame(self.draw(self.result), layout={"flex": "1 1 480px"})
        self.live = Throttle(self._update)
        self.report, self.message, self.sliders = w.HTML(), w.HTML(), w.VBox()
        self._looks = Looks(WIDTH)
        self.choice = w.Dropdown(
            options=[("choose", ""), *((c, c) for c in setup.predict.choices)],
            layout={"width": "230px"},
        )
        self.commit = w.Button(description="This is my prediction", layout={"width": "170px"})
        self.commit.on_click(lambda _: self.predict(self.choice.value))
        self.box = self._layout()
        self._build()
        self._report()

    def _layout(self):
        aim = f"<p><b>Aim:</b> {escape(self.aim.words)}</p>"
        ask = f"<p>{escape(self.setup.predict.words)}</p>"
        first = w.HBox([self.choice, self.commit], layout={"flex_flow": "row wrap"})
        beside = [self.sliders, self.report, self.message, self.live.error]
        left = w.VBox(beside, layout={"width": "370px", "flex": "0 0 auto"})
        both = w.HBox([left, self.stand], layout={"flex_flow": "row wrap"})
        return w.VBox([w.HTML(card(aim, ask)), first, both])

    @property
    def figure(self):
        """The live figure."""
        return self.stand.figure

    @property
    def reached(self):
        """Whether the learner has brought the picture to the aim."""
        return self.touched and self.aim.reached(self.result)

    @property
    def standing(self):
        """What has been reached so far, in a word or two."""
        said = "aim reached" if self._said else "not reached yet"
        return f"{said}; predicted: {self.predicted}" if self.predicted else said

    def predict(self, choice):
        """Commit to a prediction: the sliders unlock, and it cannot be changed any more.

        Parameters
        ----------
        choice : str
            One of the prediction's choices; anything else is refused in a line
        """
        if self.predicted is not None:
            return
        if choice not in self.setup.predict.choices:
            self.message.value = card("<p>Choose what you expect first.</p>")
            return
        self.predicted, self.message.value = choice, ""
        self.choice.disabled = self.commit.disabled = True
        self.choice.value = choice
        self._lock(False)
        self._report()

    def set(self, **values):
        """Set sliders and update at once, as somebody does who has predicted; for tests.

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
        self.touched = True
        self.live.flush()

    def first_reaching(self, name):
        """A value of one slider that reaches the aim while the others stay.

        Parameters
        ----------
        name : str
            Which slider

        Returns
        -------
        value : list of float
            The first one found, from coarse to fine; empty when none does [SI]
        """
        return next(([value] for value in self._tried(name) if value is not None), [])

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
        return sorted(value for value in self._tried(name) if value is not None)

    def _tried(self, name):
        """Each value of a slider, coarse steps first; None where it does not reach the aim."""
        one = self.adjustments[name]
        values = np.arange(one.low, one.high + one.step / 2, one.step)
        order = sorted(range(len(values)), key=lambda n: (n % 16 != 8, n % 4 != 0, n))
        for n in order:
            value = float(values[n])
            try:
                reached = self.aim.reached(self.compute(**{**self.values, name: value}))
            except ValueError:  # a value that cannot be, e.g. a loudspeaker in the wall
                reached = False
            yield value if reached else None

    def _build(self):
        """Sliders from the values: a live one is never set, for the page would send its old value
        back.
        """
        sliders = [
            adjustment.slider(self.values[name], self.units, self._moved, self._looks)
            for name, adjustment in self.adjustments.items()
        ]
        show_only(self.sliders, sliders)
        self._lock(self.predicted is None)

    def _lock(self, locked):
        for slider in self.sliders.children:
            slider.entry.disabled = slider.slider.disabled = locked

    def _moved(self, path, value):
        if self.predicted is None:
            self.message.value = card(f"<p>{NOT_YET}</p>")
            return
        self.values[path[0]], self.touched = value, True
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
        now = self.aim.report(self.result, says_so=self.touched)
        first = f"<p class='quiet'>{NOT_YET}</p>" if self.predicted is None else ""
        self.report.value = card(first, f"<p>{escape(now)}</p>", self._held(), beside)

    def _held(self):
        """What became of the prediction, from the first time that the aim is reached."""
        if not self.reached or self.predicted is None:
            return ""
        truth = self.setup.predict.truth(self._first, self.result)
        held = self.predicted == truth
        if not self._said:
            self._said = True
            if self._keep:
                self._keep("prediction", "right" if held else "wrong", self.predicted)
                self._keep("aim", "reached", "")
        end = "as it was." if held else f"it was: {truth}."
        return f"<p>You predicted: {escape(self.predicted)}; {escape(end)}</p>"
