"""Controls of a panel: every value is kept in SI; a slider only shows it, in meters or feet.

A section says how its controls should stand, as plain descriptions; a ``Board`` makes widgets of
them, keeps those that stand as described and closes those it replaces. A live slider is never given
new limits: the page would snap its value to the grid and send it back.
"""

from dataclasses import dataclass, field, replace
from html import escape

import ipywidgets as w

from .slider_spec import STYLE, WIDE, SliderSpec
from .typed_slider import Looks, Shared, TypedBox, TypedSlider

__all__ = ["STYLE", "WIDE", "SliderSpec", "TypedSlider"]

# stands for None in a drop-down list, which shows no choice at all where its value is None
UNSET = ""


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
class Typed(Control):
    """A number with a box to type it in; ``spec`` says which."""

    units: str = "m"

    @property
    def width(self):
        """Of the whole control."""
        return WIDE

    def made_with(self, looks, report):
        """The widget, with looks that it shares with others.

        Parameters
        ----------
        looks : Looks
            Of all typed numbers of a board that are as wide
        report : callable
            Called with the new value

        Returns
        -------
        widget : TypedBox
            Standing as described
        """
        return self._kind()(self.spec, self.value, self.units, lambda _, new: report(new), looks)

    def _kind(self):
        return TypedSlider

    def _widget(self, report):
        return self.made_with(None, report)


@dataclass(frozen=True, kw_only=True)
class Slider(Typed):
    """A slider for a number of the scenario."""

    spec: SliderSpec


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
class Number(Typed):
    """A number to type, without a slider; ``whole`` for whole numbers."""

    label: str
    low: float
    high: float
    step: float = 1
    unit: str = "number"
    whole: bool = False
    wide: str = WIDE

    @property
    def width(self):
        """Of the whole control."""
        return self.wide

    @property
    def spec(self):
        """What is typed."""
        unit = "count" if self.whole else self.unit
        ends = dict(low=self.low, high=self.high, step=self.step)
        return SliderSpec(path=(self.key,), label=self.label, unit=unit, **ends)

    def _kind(self):
        return TypedBox


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


def heading(name):
    """A name over the controls of a thing.

    Parameters
    ----------
    name : str
        As the scenario has it

    Returns
    -------
    words : Words
        In bold
    """
    return Words(key=("heading", name), value=f"<b>{escape(name)}</b>")


class Board:
    """The controls of a box, made of descriptions; only those that differ are made anew.

    Parameters
    ----------
    box : ipywidgets.Box
        Shows the widgets, in the order of the descriptions
    """

    def __init__(self, box):
        self.box, self.widgets, self._controls, self._looks = box, {}, {}, {}

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
            key: self._followed(old[key], c) if _alike(stood.get(key), c) else self._made(c)
            for key, c in self._controls.items()
        }
        children = tuple(self.widgets.values())
        if children != self.box.children:
            self.box.children = children
        kept = set(map(id, children))
        close(*(widget for widget in old.values() if id(widget) not in kept))

    def _followed(self, widget, control):
        """A widget that stands; a typed number follows a value that was set elsewhere."""
        if isinstance(widget, TypedBox):
            widget.follow(control.value)
        return widget

    def _made(self, control):
        def report(new):
            self._report(control.key, new)

        if not isinstance(control, Typed):
            return control.make(report)
        looks = self._looks.get(control.width)
        if looks is None or looks.closed:
            looks = self._looks[control.width] = Looks(control.width)
        return control.made_with(looks, report)

    def _report(self, key, new):
        control = self._controls[key]
        if not isinstance(control, Push) or control.stays:  # a button stands as before
            self._controls[key] = replace(control, value=new)
        control.act(new)


def _alike(stood, control):
    """Whether a widget that stands can serve a description: the same, or another typed value."""
    if isinstance(stood, Typed) and type(stood) is type(control):
        return replace(stood, value=control.value) == control
    return stood == control


def close(*widgets):
    """Close widgets and all that they hold: left open they live in kernel and page for good. What
    others share stays.

    Parameters
    ----------
    widgets : ipywidgets.Widget
        No longer shown anywhere
    """
    for widget in widgets:
        if widget.comm is None or isinstance(widget, Shared):
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
