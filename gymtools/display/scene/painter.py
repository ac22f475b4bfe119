"""Brings the figure on a page up to date: one message that carries only what has changed."""

import numpy as np

from .figure import PARTS, SPARE_WORDS, layout, moved


class Painter:
    """Brings a figure on the page up to date with views, in one message that carries only what has
    changed.

    Parameters
    ----------
    view : View
        First view; decides the layers
    chart : plotly.graph_objects.Figure
        What ``figure`` made of that view, live or not
    parts : tuple of str
        The same as ``figure`` was given
    """

    def __init__(self, view, chart, parts=PARTS):
        self.figure, self._parts = chart, parts
        self._names = [trace.name for trace in self.figure.data]
        self._words = "words"  # which of the two traces of text is shown
        self._texts = None
        self._data, self._layout = self._turned(moved(view, self._parts)), layout(view, self._parts)

    def paint(self, view):
        """Show a view.

        Parameters
        ----------
        view : View
            What is looked at; of a scenario with the same areas
        """
        data, frame = self._turned(moved(view, self._parts)), layout(view, self._parts)
        with self.figure.batch_update():
            for trace, new, old in zip(self.figure.data, data, self._data, strict=True):
                fresh = {
                    key: value for key, value in new.items() if not _alike(value, old.get(key))
                }
                if fresh:
                    trace.update(fresh, overwrite=False)
            fresh = {key: value for key, value in frame.items() if value != self._layout[key]}
            if fresh:
                self.figure.update_layout(fresh)
        self._data, self._layout = data, frame

    def _turned(self, data):
        """Show new texts in the other of two traces: plotly draws texts that are new to a trace at
        half their size.
        """
        now, spare = (self._names.index(name) for name in ("words", SPARE_WORDS))
        texts = data[now]["text"]
        if self._texts not in (None, texts):
            self._words = SPARE_WORDS if self._words == "words" else "words"
        self._texts = texts
        shown, hidden = (now, spare) if self._words == "words" else (spare, now)
        data[shown], data[hidden] = {**data[shown], "visible": True}, {"visible": False}
        return data


def _alike(a, b):
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_alike(a[k], b[k]) for k in a)
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        return a.shape == b.shape and np.array_equal(a, b, equal_nan=True)
    return type(a) is type(b) and a == b
