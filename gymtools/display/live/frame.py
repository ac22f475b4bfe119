"""A live figure with its watch: a figure that the page did not draw is made anew."""

from pathlib import Path

import anywidget
import ipywidgets as w
import plotly.graph_objects as go
from traitlets import Int, Unicode

from .figure import LiveFigure

TRIES = 4  # figures that a page may ask for before it says that it cannot draw


class Watch(anywidget.AnyWidget):
    """Watches the figure beside it in the page: fits it to its width, which plotly does not watch,
    says while it is being drawn, and asks for another when it does not come or hears nothing.

    Parameters
    ----------
    figure : LiveFigure
        Beside it, in the same box
    tries : int
        How many other figures may be asked for [-]
    """

    figure_id = Unicode().tag(sync=True)
    asked = Int(0).tag(sync=True)
    tries = Int(TRIES).tag(sync=True)
    _esm = Path(__file__).with_name("watch.js")

    def __init__(self, figure, tries=TRIES):
        super().__init__(figure_id=figure.model_id, tries=tries)
        self.on_msg(lambda *_: self.send({"sent": "answer"}))


class FigureFrame(w.VBox):
    """A live figure and its watch; a figure that the page did not draw is made anew.

    Parameters
    ----------
    chart : plotly.graph_objects.Figure
        What to show, with all its traces
    again : callable, optional
        Gives the chart as it should stand then; a copy of the live figure when left out
    renewed : callable, optional
        Called with every live figure but the first, e.g. to listen to clicks again
    layout : dict, optional
        Of the box; full width when left out
    """

    def __init__(self, chart, again=None, renewed=None, layout=None):
        self.figure, self._again, self._renewed = LiveFigure(chart), again, renewed
        self.watch = self._watched(TRIES)
        super().__init__([self.figure, self.watch], layout=layout or {"width": "100%"})
        self.add_class("gt-stand")

    def _watched(self, tries):
        watch = Watch(self.figure, tries)
        watch.observe(self._renew, names="asked")
        return watch

    def _renew(self, _change):
        unheard, given_up = self.figure, self.watch
        self.figure = LiveFigure(self._again() if self._again else go.Figure(unheard))
        self.watch = self._watched(given_up.tries - 1)  # the page may have given up both
        self.children = [self.figure, self.watch]
        unheard.close()
        given_up.close()
        if self._renewed:
            self._renewed(self.figure)
