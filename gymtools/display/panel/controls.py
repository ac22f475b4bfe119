"""Controls of a panel: every value is kept in SI; a slider only shows it, in meters or feet.

A live slider is never given new limits: the page would snap its value to the new grid and send it
back. A change of units builds new sliders from the values that are kept.
"""

import math
from dataclasses import dataclass

import ipywidgets as w

from ...venue.units import feet_inches, to_file
from ..theme import per_unit

WIDE = "328px"
STYLE = dict(description_width="132px")


@dataclass(frozen=True, kw_only=True)
class Knob:
    """A number that a slider can set: its path in the scenario, its words, range and step (SI)."""

    path: tuple
    label: str
    low: float
    high: float
    step: float
    unit: str = ""  # "m" and "m2" follow the unit switch; "count" gives whole numbers
    feet_step: float = 0.25

    def shown(self, value, units):
        """The value in the units shown."""
        return to_file(value, self.unit, units)

    def kept(self, value, units):
        """The value in SI."""
        power = {"m": 1, "m2": 2}.get(self.unit, 0)
        # without the last digits of a conversion
        return float(f"{value * per_unit(units) ** power:.9g}")

    def heading(self, units):
        """Label with its unit."""
        unit = {"m": units, "m2": "ft²" if units == "ft" else "m²", "count": "", "deg": "°"}.get(
            self.unit, self.unit
        )
        return f"{self.label} [{unit}]" if unit else self.label

    def slider(self, value, units, changed):
        """A slider (with typed entry) that shows a value and reports a new one in SI.

        Parameters
        ----------
        value : float
            Present value [SI]
        units : str
            "m" or "ft" [-]
        changed : callable
            Called with (path, new value in SI) [-]

        Returns
        -------
        box : ipywidgets.Widget
            The slider, with the other unit beside it where there is one
        """
        if self.unit == "count":
            slider = w.IntSlider(
                value=int(value),
                min=int(self.low),
                max=int(self.high),
                description=self.heading(units),
            )
        else:
            step = (
                {"m": self.feet_step, "m2": 10.0}.get(self.unit, self.step)
                if units == "ft"
                else self.step
            )
            low, high = (
                self.shown(min(self.low, value), units),
                self.shown(max(self.high, value), units),
            )
            # the grid stays inside the range
            low, high = (step * math.ceil(low / step - 1e-6), step * math.floor(high / step + 1e-6))
            low, high = min(low, self.shown(value, units)), max(high, self.shown(value, units))
            digits = 0 if step >= 1 else 1 if step >= 0.1 else 2
            slider = w.FloatSlider(
                value=self.shown(value, units),
                min=low,
                max=high,
                step=step,
                readout_format=f".{digits}f",
                description=self.heading(units),
            )
        slider.style, slider.layout.width, slider.tooltip = STYLE, WIDE, self.heading(units)
        slider.add_class("gt-slider")
        truth = {"value": value}

        def moved(change):
            new = self.kept(change["new"], units)
            if abs(new - truth["value"]) < 1e-9:
                return
            truth["value"] = new
            changed(self.path, int(new) if self.unit == "count" else new)

        slider.observe(moved, names="value")
        return slider


def chooser(label, options, value, changed):
    """Drop-down list.

    Parameters
    ----------
    label : str
        In front of it [-]
    options : sequence
        Texts, or (text, value) pairs [-]
    value : any
        Chosen at first [-]
    changed : callable
        Called with the new value [-]

    Returns
    -------
    dropdown : ipywidgets.Dropdown
        The list
    """
    box = w.Dropdown(
        options=options, value=value, description=label, style=STYLE, layout=w.Layout(width=WIDE)
    )
    box.observe(lambda change: changed(change["new"]), names="value")
    return box


def tick(label, value, changed):
    """Box to tick.

    Parameters
    ----------
    label : str
        Beside it [-]
    value : bool
        Ticked at first [-]
    changed : callable
        Called with the new value [-]

    Returns
    -------
    box : ipywidgets.Checkbox
        The box
    """
    box = w.Checkbox(
        value=value,
        description=label,
        indent=False,
        layout=w.Layout(width=WIDE, margin="0 0 0 136px"),
    )
    box.observe(lambda change: changed(change["new"]), names="value")
    return box


def in_words(value, units):
    """A length in both units, the chosen one first.

    Parameters
    ----------
    value : float
        Length [m]
    units : str
        "m" or "ft" [-]

    Returns
    -------
    words : str
        "7.00 m (22 ft 11 1/2 in)" or the other way round
    """
    return (
        f"{value:.2f} m ({feet_inches(value)})"
        if units == "m"
        else f"{feet_inches(value)} ({value:.2f} m)"
    )
