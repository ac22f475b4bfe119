"""A number to slide or to type: what was typed is said back as it was understood, or stays with the
reason why it was refused.
"""

from html import escape

import ipywidgets as w
from traitlets import Float, observe

from ..jobs import Debounce
from ..theme import QUIET

WHOLE, ENTRY = "328px", "96px"  # width of a control, and of its box to type in
REFUSED = "gt-refused"


class Shared:
    """A look that several controls share: it is closed with none of them."""


class SharedLayout(w.Layout, Shared):
    """Layout of several widgets."""


class SharedTextStyle(w.widgets.widget_string.TextStyle, Shared):
    """Style of several boxes to type in."""


class SharedWordsStyle(w.widgets.widget_string.HTMLStyle, Shared):
    """Style of several lines of words."""


class SharedSliderStyle(w.widgets.widget_int.SliderStyle, Shared):
    """Style of several sliders."""


class Looks:
    """How boxes and sliders look, shared by all of a board: the page has a third of the models to
    make.

    Parameters
    ----------
    width : str
        Of the whole control
    entry : str
        Of the box to type in
    """

    def __init__(self, width=WHOLE, entry=ENTRY):
        self.whole = SharedLayout(width=width, margin="0 0 2px 0", overflow="hidden")
        self.entry = SharedLayout(width="auto", margin="0 2px")
        self.entry_style = SharedTextStyle(description_width=f"calc(100% - {entry})")
        self.slider = SharedLayout(width="auto", height="22px", margin="0 2px 0 2px")
        self.slider_style = SharedSliderStyle()
        self.said = SharedLayout(margin="0 2px")
        self.said_style = SharedWordsStyle()

    @property
    def closed(self):
        """Whether they can serve no more: somebody has closed all widgets."""
        return self.whole.comm is None

    def close(self):
        """Close them all, with the only control that has them."""
        for look in vars(self).values():
            look.close()


class TypedBox(w.VBox):
    """Label and box to type in, and a line on what was typed.

    Parameters
    ----------
    spec : SliderSpec
        What is set
    kept : float
        Present value [SI]
    units : str
        "m" or "ft"
    changed : callable
        Called with (path, new value in SI)
    looks : Looks, optional
        That it shares with others
    """

    value = Float()  # in the unit of the label

    def __init__(self, spec, kept, units, changed, looks=None):
        self.spec, self.kept, self.units, self._changed = spec, kept, units, changed
        self._alone, self._looks, self._showing = looks is None, looks or Looks(), True
        self.entry = w.Text(
            spec.text(kept, units),
            description=spec.heading(units),
            continuous_update=False,
            layout=self._looks.entry,
            style=self._looks.entry_style,
        )
        self.said = None
        children, layout = self._parts(), self._looks.whole
        super().__init__(children, layout=layout, _dom_classes=("gt-slider",))
        self.value = float(spec.shown(kept, units))
        self._showing = False
        self.entry.observe(self._typed, names="value")

    @property
    def min(self):
        """Low end [unit of the label]."""
        return self.spec.shown(self.spec.low, self.units)

    @property
    def max(self):
        """High end [unit of the label]."""
        return self.spec.shown(self.spec.high, self.units)

    @property
    def description(self):
        """Label with its unit."""
        return self.entry.description

    @property
    def words(self):
        """What was said on the value typed last; empty where nothing was."""
        return self.said.value if self.said is not None else ""

    @property
    def refused(self):
        """Whether the box holds a typed value that was refused."""
        return self.said is not None and REFUSED in self.said._dom_classes

    def type(self, text):
        """Type a value, as a hand does; for cells and tests.

        Parameters
        ----------
        text : str
            E.g. "22-6"
        """
        self.entry.value = text

    def follow(self, kept):
        """Show a value that was set elsewhere.

        Parameters
        ----------
        kept : float
            New value [SI]
        """
        if kept != self.kept:
            self.kept = kept
            self._show()
            self._place()

    def close(self):
        """Close it, and the looks that nobody shares with it."""
        super().close()
        if self._alone:
            self._looks.close()

    def _parts(self):
        """What stands in it, but for the line."""
        return [self.entry]

    @observe("value")
    def _set(self, change):
        if not self._showing:
            self.type(str(change["new"]))

    def _typed(self, change):
        text = change["new"].strip()
        if self._showing:
            return
        if not text:
            self._show()
            return
        try:
            value, words = self.spec.read(text, self.units)
        except ValueError as error:
            self._say(f"Not taken: {error}", refused=True)
            return
        self._take(value, quiet=abs(value - self.kept) < 1e-9)
        if self.comm is not None:
            self._place()
        self._say(f"Read as {words}")

    def _take(self, kept, quiet=False):
        """Have a value that the user has set."""
        self.kept = self.kept if quiet else kept
        self._show()
        if not quiet:
            self._changed(self.spec.path, kept)

    def _place(self):
        """Put in its place whatever else shows the value."""

    def _show(self):
        """Box and value stand as kept; what was said is gone."""
        self._showing = True
        self.value = float(self.spec.shown(self.kept, self.units))
        self.entry.value = self.spec.text(self.kept, self.units)
        if self.said is not None:
            gone, self.said = self.said, None
            self.children = self._parts()
            gone.close()
        self._showing = False

    def _say(self, words, refused=False):
        if self.comm is None:  # what was set has put another control in the place of this one
            return
        if self.said is None:
            self.said = w.HTML(layout=self._looks.said, style=self._looks.said_style)
        self.said._dom_classes = ("gt-said", REFUSED) if refused else ("gt-said",)
        text = f"<b>{escape(words)}</b>" if refused else escape(words)
        style = "" if refused else f' style="color:{QUIET}"'
        self.said.value = f"<span{style}>{text}</span>"
        self.children = [*self._parts(), self.said]


class TypedSlider(TypedBox):
    """A slider as wide as the column under its label and its box to type in.

    Parameters
    ----------
    spec : SliderSpec
        What is set
    kept : float
        Present value [SI]
    units : str
        "m" or "ft"
    changed : callable
        Called with (path, new value in SI)
    looks : Looks, optional
        That it shares with others
    """

    def __init__(self, spec, kept, units, changed, looks=None):
        self.slider = self._sent_back = None
        self._renew = Debounce(self._make_slider_anew)
        super().__init__(spec, kept, units, changed, looks)

    @property
    def min(self):
        """Low end of the slider [unit of the slider]."""
        return self.slider.min

    @property
    def max(self):
        """High end of the slider [unit of the slider]."""
        return self.slider.max

    @property
    def step(self):
        """From one value of the slider to the next [unit of the slider]."""
        return self.slider.step

    def follow(self, kept):
        """Show a value that was set elsewhere: the box at once, the slider when it has settled.

        Parameters
        ----------
        kept : float
            New value [SI]
        """
        if kept != self.kept:
            self.kept = kept
            self._show()
            self._renew()

    def close(self):
        """Close it, and what it was about to do."""
        self._renew.cancel()
        super().close()

    def _parts(self):
        self.slider = self.slider or self._slider()
        return [self.entry, self.slider]

    def _slider(self):
        spec, kept, units = self.spec, self.kept, self.units
        looks = dict(readout=False, layout=self._looks.slider, style=self._looks.slider_style)
        if spec.unit == "count":
            low, high = min(int(spec.low), int(kept)), max(int(spec.high), int(kept))
            slider = w.IntSlider(int(kept), low, high, **looks)
        else:
            low, high, step = spec.grid(kept, units)
            slider = w.FloatSlider(spec.shown(kept, units), min=low, max=high, step=step, **looks)
        slider.observe(self._moved, names="value")
        return slider

    def _make_slider_anew(self):
        """Another slider for a value that was set elsewhere: a live one would send it back."""
        gone, self.slider = self.slider, self._slider()
        self._sent_back = None
        self.children = [self.slider if child is gone else child for child in self.children]
        gone.unobserve_all()
        gone.close()

    @observe("value")
    def _set(self, change):
        if not self._showing:
            self._renew.cancel()
            self.slider.value = change["new"]

    def _moved(self, change):
        if self._showing:
            return
        new = self.spec.kept(change["new"], self.units)
        shown = self.spec.shown(self.kept, self.units)
        # a page sends back what it shows: the nearest step, which nobody has set
        half = (self.slider.step or 1) / 2 * (1 + 1e-9)
        if abs(change["new"] - shown) <= half and self._sent_back in (None, change["new"]):
            self._sent_back = change["new"] if change["new"] != shown else None
            return
        if abs(new - self.kept) < 1e-9:
            return
        self._take(int(new) if self.spec.unit == "count" else new)

    def _place(self):
        """Put the slider where the value is; one whose range ends before it is made anew."""
        shown = self.spec.shown(self.kept, self.units)
        if not self.slider.min <= shown <= self.slider.max:
            self._make_slider_anew()
            return
        self._showing, self._sent_back = True, None
        self.slider.value = shown
        self._showing = False
