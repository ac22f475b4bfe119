"""Controls of a panel: every value is kept in SI; a slider only shows it, in meters or feet.

A section says how its controls should stand, as plain descriptions; a ``Board`` makes widgets of
them, keeps those that stand as described and closes those it replaces. A live slider is never given
new limits or another value: the page would snap it to its grid and send it back.
"""

import math
from dataclasses import dataclass, field, replace

import ipywidgets as w

from ...venue.units import feet_inches, to_file
from ..theme import per_unit

WIDE = "328px"
STYLE = dict(description_width="132px")

# stands for None in a drop-down list, which shows no choice at all where its value is None
UNSET = ""


@dataclass(frozen=True, kw_only=True)
class SliderSpec:
    """A number that a slider can set: its path in the scenario, its label, range and step (SI)."""

    path: tuple
    label: str
    low: float
    high: float
    step: float
    unit: str = ""  # "m" and "m2" follow the unit switch; "count" gives whole numbers
    feet_step: float = 0.25

    def shown(self, value, units):
        """The value in the units shown.

        Parameters
        ----------
        value : float
            Value [SI]
        units : str
            "m" or "ft"

        Returns
        -------
        shown : float
            The same [unit of the slider]
        """
        return to_file(value, self.unit, units)

    def kept(self, value, units):
        """The value in SI.

        Parameters
        ----------
        value : float
            As the slider shows it [unit of the slider]
        units : str
            "m" or "ft"

        Returns
        -------
        kept : float
            Value [SI]
        """
        power = {"m": 1, "m2": 2}.get(self.unit, 0)
        # without the last digits of a conversion
        return float(f"{value * per_unit(units) ** power:.9g}")

    def heading(self, units):
        """Label with its unit.

        Parameters
        ----------
        units : str
            "m" or "ft"

        Returns
        -------
        heading : str
            For example "Height [ft]"
        """
        unit = {"m": units, "m2": "ft²" if units == "ft" else "m²", "count": "", "deg": "°"}.get(
            self.unit, self.unit
        )
        return f"{self.label} [{unit}]" if unit else self.label

    def grid(self, value, units):
        """Ends and step of the slider; the grid stays inside the range.

        Parameters
        ----------
        value : float
            Present value, which the range takes in [SI]
        units : str
            "m" or "ft"

        Returns
        -------
        low, high, step : float
            Both ends, and from one value to the next [unit of the slider]
        """
        in_feet = {"m": self.feet_step, "m2": 10.0}.get(self.unit, self.step)
        step = in_feet if units == "ft" else self.step
        now = self.shown(value, units)
        low, high = min(self.shown(self.low, units), now), max(self.shown(self.high, units), now)
        low = step * math.ceil(low / step - 1e-6)
        high = step * math.floor(high / step + 1e-6)
        return min(low, now), max(high, now), step

    def slider(self, value, units, changed):
        """A slider (with typed entry) that shows a value and reports a new one in SI.

        Parameters
        ----------
        value : float
            Present value [SI]
        units : str
            "m" or "ft"
        changed : callable
            Called with (path, new value in SI)

        Returns
        -------
        slider : ipywidgets.Widget
            The slider
        """
        heading = self.heading(units)
        looks = dict(description=heading, tooltip=heading, style=STYLE, layout={"width": WIDE})
        step = 0.0
        if self.unit == "count":
            slider = w.IntSlider(int(value), int(self.low), int(self.high), **looks)
        else:
            low, high, step = self.grid(value, units)
            digits = 0 if step >= 1 else 1 if step >= 0.1 else 2
            now, form = self.shown(value, units), f".{digits}f"
            slider = w.FloatSlider(now, min=low, max=high, step=step, readout_format=form, **looks)
        slider.add_class("gt-slider")
        shown = {"value": value}

        def moved(change):
            new = self.kept(change["new"], units)
            # a page sends back what it shows: the nearest step, which nobody has set
            sent_back = abs(change["new"] - self.shown(shown["value"], units)) < step / 2
            if sent_back or abs(new - shown["value"]) < 1e-9:
                return
            shown["value"] = new
            changed(self.path, int(new) if self.unit == "count" else new)

        slider.observe(moved, names="value")
        return slider


@dataclass(frozen=True, kw_only=True)
class Control:
    """How one control should stand; ``act`` is called with a value that the user sets."""

    key: object
    value: object = None
    act: object = field(default=None, compare=False, repr=False)

    def make(self, report):
        """The widget.

        Parameters
        ----------
        report : callable
            Called with the new value

        Returns
        -------
        widget : ipywidgets.Widget
            Standing as described
        """
        return self._widget(report)

    def _widget(self, report):
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class Slider(Control):
    """A slider for a number of the scenario."""

    spec: SliderSpec
    units: str

    def _widget(self, report):
        return self.spec.slider(self.value, self.units, lambda _, new: report(new))


@dataclass(frozen=True, kw_only=True)
class Choice(Control):
    """A drop-down list; ``options`` are texts or (text, value) pairs, the value None among them."""

    label: str
    options: tuple
    width: str = WIDE
    label_width: str = "132px"

    def _widget(self, report):
        pairs = [o if isinstance(o, tuple) else (o, o) for o in self.options]
        box = w.Dropdown(
            options=[(text, UNSET if value is None else value) for text, value in pairs],
            value=UNSET if self.value is None else self.value,
            description=self.label,
            style=dict(description_width=self.label_width),
            layout={"width": self.width},
        )
        box.observe(
            lambda change: report(None if change["new"] == UNSET else change["new"]), names="value"
        )
        return box


@dataclass(frozen=True, kw_only=True)
class Tick(Control):
    """A box to tick."""

    label: str
    indent: str = "136px"
    width: str = WIDE

    def _widget(self, report):
        margin = f"0 0 0 {self.indent}"
        layout = {"width": self.width, "margin": margin}
        box = w.Checkbox(self.value, description=self.label, indent=False, layout=layout)
        box.observe(lambda change: report(change["new"]), names="value")
        return box


@dataclass(frozen=True, kw_only=True)
class Number(Control):
    """A number to type; ``whole`` for whole numbers."""

    label: str
    low: float
    high: float
    step: float = 1
    whole: bool = False
    width: str = WIDE
    label_width: str = "132px"

    def _widget(self, report):
        box = (w.BoundedIntText if self.whole else w.BoundedFloatText)(
            value=self.value,
            min=self.low,
            max=self.high,
            step=self.step,
            description=self.label,
            style=dict(description_width=self.label_width),
            layout={"width": self.width},
        )
        box.observe(lambda change: report(change["new"]), names="value")
        return box


@dataclass(frozen=True, kw_only=True)
class Push(Control):
    """A button, or with ``stays`` one that stays down."""

    label: str
    tip: str = ""
    stays: bool = False
    enabled: bool = True
    width: str = "130px"
    margin: str = "2px"

    def _widget(self, report):
        looks = dict(description=self.label, tooltip=self.tip, disabled=not self.enabled)
        looks["layout"] = {"width": self.width, "margin": self.margin}
        if self.stays:
            button = w.ToggleButton(self.value, **looks)
            button.observe(lambda change: report(change["new"]), names="value")
        else:
            button = w.Button(**looks)
            button.on_click(lambda _: report(None))
        return button


@dataclass(frozen=True, kw_only=True)
class Switch(Control):
    """A row of buttons of which one is down."""

    options: tuple

    def _widget(self, report):
        style = dict(button_width="76px")
        box = w.ToggleButtons(options=list(self.options), value=self.value, style=style)
        box.observe(lambda change: report(change["new"]), names="value")
        return box


@dataclass(frozen=True, kw_only=True)
class Words(Control):
    """Words between controls; ``value`` is HTML."""

    width: str = ""

    def _widget(self, report):
        words = w.HTML(self.value, layout={"width": self.width} if self.width else {})
        words.add_class("gt-words")
        return words


class Board:
    """The controls of a box, made of descriptions; only those that differ are made anew.

    Parameters
    ----------
    box : ipywidgets.Box
        Shows the widgets, in the order of the descriptions
    """

    def __init__(self, box):
        self.box, self.widgets, self._controls = box, {}, {}

    def show(self, controls):
        """Show these controls; what is replaced is closed.

        Parameters
        ----------
        controls : sequence of Control
            With different keys
        """
        old, stood = self.widgets, self._controls
        self._controls = {c.key: c for c in controls}
        self.widgets = {
            key: old[key] if stood.get(key) == c else self._made(c)
            for key, c in self._controls.items()
        }
        children = tuple(self.widgets.values())
        if children != self.box.children:
            self.box.children = children
        kept = set(map(id, children))
        close(*(widget for widget in old.values() if id(widget) not in kept))

    def _made(self, control):
        return control.make(lambda new: self._report(control.key, new))

    def _report(self, key, new):
        control = self._controls[key]
        if not isinstance(control, Push) or control.stays:  # a button stands as before
            self._controls[key] = replace(control, value=new)
        control.act(new)


def close(*widgets):
    """Close widgets and all that they hold: left open they live in kernel and page for good.

    Parameters
    ----------
    widgets : ipywidgets.Widget
        No longer shown anywhere
    """
    for widget in widgets:
        if widget.comm is None:
            continue
        held = [value for name, value in widget._trait_values.items() if name != "comm"]
        widget.unobserve_all()
        widget.close()
        for value in held:
            for one in value if isinstance(value, list | tuple) else (value,):
                if isinstance(one, w.Widget):
                    close(one)


def show_only(box, children):
    """Show children in a box, and close those that they replace.

    Parameters
    ----------
    box : ipywidgets.Box
        The box
    children : sequence of ipywidgets.Widget
        What it shows from now on
    """
    before, box.children = box.children, tuple(children)
    kept = set(map(id, box.children))
    close(*(child for child in before if id(child) not in kept))


def in_words(value, units):
    """A length in both units, the chosen one first.

    Parameters
    ----------
    value : float
        Length [m]
    units : str
        "m" or "ft"

    Returns
    -------
    words : str
        "7.00 m (22 ft 11 1/2 in)" or the other way round
    """
    meters, feet = f"{value:.2f} m", feet_inches(value)
    return f"{meters} ({feet})" if units == "m" else f"{feet} ({meters})"
