"""What a number that can be set looks like: its label, its range, its step, its units."""

import math
from dataclasses import dataclass

from ...venue.typed_values import digits, from_fahrenheit, read_value, to_fahrenheit, value_text
from ...venue.units import to_file
from ..theme import per_unit
from .typed_slider import TypedSlider

WIDE = "328px"
STYLE = dict(description_width="132px")
SIGNS = {"deg": "°", "count": "", "number": ""}
AMERICAN, METRIC = {"m": "ft", "m2": "ft²", "°C": "°F"}, {"m2": "m²"}


@dataclass(frozen=True, kw_only=True)
class SliderSpec:
    """A number that a slider can set: its path in the scenario, its label, range and step (SI)."""

    path: tuple
    label: str
    low: float
    high: float
    step: float
    unit: str = ""  # "m", "m2" and "°C" follow the unit switch; "count" gives whole numbers
    feet_step: float = 0.25
    allowed: tuple | None = None  # ends of what may be typed; those of the slider when left out

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
        if self.unit == "°C":
            return float(f"{to_fahrenheit(value):.9g}") if units == "ft" else value
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
        if self.unit == "°C" and units == "ft":
            return float(f"{from_fahrenheit(value):.9g}")
        power = {"m": 1, "m2": 2}.get(self.unit, 0)
        # without the last digits of a conversion
        return float(f"{value * per_unit(units) ** power:.9g}")

    def sign(self, units):
        """Unit behind a number.

        Parameters
        ----------
        units : str
            "m" or "ft"

        Returns
        -------
        sign : str
            "ft", "°", "dB" ...; empty where there is none
        """
        own = (AMERICAN if units == "ft" else METRIC).get(self.unit, self.unit)
        return SIGNS.get(own, own)

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
        unit = self.sign(units)
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

    def text(self, value, units):
        """The value as it stands in the box: no digit that it has is left out.

        Parameters
        ----------
        value : float
            Value [SI]
        units : str
            "m" or "ft"

        Returns
        -------
        text : str
            E.g. "22.5", in the unit of the heading
        """
        if self.unit == "count":
            return str(int(value))
        step = self.grid(value, units)[2]
        return digits(self.shown(value, units), 0 if step >= 1 else 1 if step >= 0.1 else 2)

    def read(self, text, units):
        """Read a typed value.

        Parameters
        ----------
        text : str
            As a person types it
        units : str
            "m" or "ft", for a bare number

        Returns
        -------
        value : float
            Value; a whole number where it counts [SI]
        words : str
            How it was understood

        Raises
        ------
        ValueError
            It cannot be read, or lies outside of what is allowed, which the refusal names
        """
        value = read_value(text, self.unit, units)
        low, high = self.allowed or (self.low, self.high)
        if not low - 1e-9 <= value <= high + 1e-9:
            ends = (value_text(end, self.unit, units) for end in (value, low, high))
            raise ValueError("{} is outside {} to {}.".format(*ends))
        value = float(f"{min(max(value, low), high):.9g}")
        words = value_text(value, self.unit, units)
        return int(value) if self.unit == "count" else value, words

    def slider(self, value, units, changed, looks=None):
        """A slider with a box to type in, that shows a value and reports a new one in SI.

        Parameters
        ----------
        value : float
            Present value [SI]
        units : str
            "m" or "ft"
        changed : callable
            Called with (path, new value in SI)
        looks : Looks, optional
            That it shares with others; looks of its own when left out

        Returns
        -------
        slider : TypedSlider
            The slider
        """
        return TypedSlider(self, value, units, changed, looks)
