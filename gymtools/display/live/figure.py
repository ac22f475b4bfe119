"""The live figure: it survives reloads and mixed updates, and a slow page gets no more moves than
it draws.
"""

import functools
import sys
import time
from copy import deepcopy
from pathlib import Path

import ipywidgets as w
import numpy as np
import plotly
import plotly.graph_objects as go
from ipywidgets.widgets.widget import _instances as open_widgets
from plotly.basedatatypes import Undefined
from plotly.graph_objs.layout.scene import Annotation
from traitlets import Unicode, default

from ..jobs import Debounce

LIBRARY = Path(plotly.__file__).parent / "package_data" / "widgetbundle.js"
# plotly loads a validator of notebooks with it, and that a grammar of addresses, which takes longer
# than all else that the panel needs and which no notebook is checked by
UNWANTED = "rfc3987_syntax"
AHEAD = 8  # moves that a page may be behind: it answers every fourth
LOST = 5.0  # without a word from the page: nobody is looking, or its answer was lost [s]


def _figure_widget():
    """Plotly's widget, without the module that is not wanted."""
    if UNWANTED in sys.modules:
        return go.FigureWidget
    sys.modules[UNWANTED] = None  # whoever asks for it takes it for not installed
    try:
        return go.FigureWidget
    finally:
        del sys.modules[UNWANTED]


class PageCode(w.Widget):
    """Plotly's page code, sent to a page once and shared by all its figures."""

    _model_name = Unicode("WidgetModel").tag(sync=True)
    text = Unicode().tag(sync=True)


@functools.lru_cache(maxsize=1)
def _read_code():
    return LIBRARY.read_text(encoding="utf-8")


def _page_code():
    """The page code that the widgets of this kernel share; made anew when it has been closed."""
    there = (x for x in list(open_widgets.values()) if isinstance(x, PageCode))
    return next(there, None) or PageCode(text=_read_code())


class LiveFigure(_figure_widget()):
    """FigureWidget whose late viewers see the present state and whose batches may mix traces;
    nothing is sent to outside services.

    Plotly 7 keeps the state of construction for pages opened later; a batch that updates an
    attribute of some traces makes the page report the others' arrays back; and what a page reports
    as its defaults is dropped from the figure, so that a page opened later lacks it. Its page code
    of 5 MB comes with every figure, and when a busy page takes more than 2 s to load it, the figure
    takes no update any more. Here a few lines start at once and load the shared code in their own
    time; updates that arrive in between are made up for by asking for the present state.

    ``move`` brings traces and labels of a scene up to date past Plotly's own machinery, which takes
    ten times as long on either side: the page updates the drawing objects, or asks for a full
    update where it cannot. A page that has not drawn the last moves gets the next one when it has.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure
        With all its traces
    """

    _code_id = Unicode().tag(sync=True)
    _esm = Path(__file__).with_name("figure.js")

    @default("_code_id")  # known when the page is told of the figure
    def _shared_code(self):
        return _page_code().model_id

    @staticmethod
    def _remove_overlapping_props(input_data, delta_data, prop_path=()):
        return []  # the figure keeps what it was given, whatever a page takes for its default

    def __init__(self, figure):
        super().__init__(figure)
        self._config = {
            **self._config,
            "showSendToCloud": False,
            "displaylogo": False,
            "responsive": True,
            "modeBarButtonsToRemove": ["select2d", "lasso2d"],
        }
        self._moved, self._labels_moved = {}, False  # what the page has not been sent
        self._sent = self._drawn = 0  # moves
        self._sent_at, self._later = 0.0, Debounce(self._send_moves, LOST)
        self.on_msg(self._answer)

    def move(self, moves, labels=None):
        """Bring traces and labels up to date; every number and text replaces one of its kind.

        Parameters
        ----------
        moves : dict
            By number of a trace, new values by name, as "x"; a dict stands for what is new in one
        labels : list of dict, optional
            All annotations of the scene; they stay when left out
        """
        for number, values in moves.items():
            fresh = dict(_flat(values))
            for name, value in fresh.items():
                _put(self._data[number], name, value)
            self._moved.setdefault(number, {}).update(fresh)
        if labels is not None:
            self._label(labels)
            self._labels_moved = True
        self._send_moves()

    def _label(self, labels):
        """Put labels in the place of those of the scene: to check each takes longer than the sound
        of a whole gym.
        """
        scene = self.layout.scene
        self._layout_obj._props["scene"]["annotations"] = [dict(label) for label in labels]
        held = list(scene._compound_array_props["annotations"] or ())[: len(labels)]
        while len(held) < len(labels):
            label = Annotation()
            label._orphan_props.clear()
            label._parent = scene
            held.append(label)
        scene._compound_array_props["annotations"] = held

    @property
    def _waits(self):
        """Whether a page has moves to draw that it was sent."""
        behind = self._drawn and self._sent - self._drawn >= AHEAD
        return behind and time.monotonic() - self._sent_at < LOST

    def _send_moves(self):
        if self._waits:
            self._later()
            return
        self._later.cancel()
        if not self._moved and not self._labels_moved:
            return
        traces, buffers = [], []
        for number, values in self._moved.items():
            plain, arrays = {}, []
            for name, value in values.items():
                if isinstance(value, np.ndarray):
                    arrays.append((name, value.dtype.name, len(buffers)))
                    buffers.append(memoryview(np.ascontiguousarray(value)))
                else:
                    plain[name] = value
            traces.append(dict(trace=number, values=plain, arrays=arrays))
        labels = self._layout_obj._props["scene"]["annotations"] if self._labels_moved else None
        self._moved, self._labels_moved = {}, False
        self._sent, self._sent_at = self._sent + 1, time.monotonic()
        self.send(dict(kind="move", number=self._sent, traces=traces, labels=labels), buffers)

    def _answer(self, _widget, content, _buffers):
        if "drawn" in content:
            self._drawn = content["drawn"]
            self._send_moves()
            return
        wanted = content.get("wanted")
        if wanted == "state":
            self.send_state(["_widget_data", "_widget_layout"])
        if wanted == "whole":
            self._send_whole()
        self.send({"sent": wanted})

    def _send_whole(self):
        """A full update to what stands, for a page that cannot draw a move by itself."""
        restyle = {}
        for n, trace in enumerate(self._data):
            for name, value in _flat(trace):
                restyle.setdefault(name, [Undefined] * len(self._data))[n] = value
        scene = self._layout_obj._props.get("scene", {})
        relayout = {"scene.annotations": deepcopy(scene["annotations"])} if scene else {}
        self._send_update_msg(restyle, relayout, list(range(len(self._data))))

    def get_state(self, key=None, drop_defaults=False):
        """State for a viewer: as the figure stands, not as it was made.

        Parameters
        ----------
        key : str, list or None
            What is asked for
        drop_defaults : bool
            Leave defaults out

        Returns
        -------
        state : dict
            Widget state
        """
        asked = [key] if isinstance(key, str) else key
        whole = asked is None or "_widget_data" in asked
        if whole and getattr(self, "_layout_obj", None) is not None:
            self._trait_values["_widget_data"] = deepcopy(self._data)
            self._trait_values["_widget_layout"] = deepcopy(self._layout_obj._props)
        return super().get_state(key=key, drop_defaults=drop_defaults)

    def _send_update_msg(
        self, restyle_data, relayout_data, trace_indexes=None, source_view_id=None
    ):
        numbers = self._normalize_trace_indexes(trace_indexes)
        for name, found in restyle_data.items():
            for k, value in enumerate(found):
                if value is Undefined and name in self._data[numbers[k]]:
                    found[k] = self._data[numbers[k]][name]
        super()._send_update_msg(restyle_data, relayout_data, trace_indexes, source_view_id)


def _put(thing, name, value):
    """Put a value where a name like "marker.symbol" leads."""
    *steps, last = name.split(".")
    for step in steps:
        thing = thing.setdefault(step, {})
    thing[last] = value


def _flat(thing, before=""):
    """Every value of nested dicts with its name, as ("marker.symbol", value)."""
    for name, value in thing.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{name}.")
        elif before + name not in ("type", "uid"):
            yield before + name, value
