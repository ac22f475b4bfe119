"""Brings the figure on a page up to date: one message that carries only what has changed."""

import numpy as np

from ..live import LiveFigure
from .figure import PARTS, layout, moved

LISTS = ("annotations", "scene_annotations")


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
        self._data, self._layout = moved(view, self._parts), layout(view, self._parts)

    def paint(self, view):
        """Show a view.

        Parameters
        ----------
        view : View
            What is looked at; of a scenario with the same areas
        """
        data, frame = moved(view, self._parts), layout(view, self._parts)
        moves = {}
        for number, (new, old) in enumerate(zip(data, self._data, strict=True)):
            if fresh := {k: v for k, v in new.items() if not _alike(v, old.get(k))}:
                moves[number] = fresh
        fresh = {key: value for key, value in frame.items() if value != self._layout[key]}
        if isinstance(self.figure, LiveFigure):
            labels = fresh.pop("scene_annotations", None)
            if moves or labels is not None:
                self.figure.move(moves, labels)
            moves = {}
        if moves or fresh:
            self._update(moves, fresh)
        self._data, self._layout = data, frame

    def _update(self, moves, fresh):
        """Update whatever is new in one message."""
        with self.figure.batch_update():
            for number, values in moves.items():
                self.figure.data[number].update(values, overwrite=False)
            for key in LISTS:
                if key in fresh:
                    self._replace(key, fresh.pop(key))
            if fresh:
                self.figure.update_layout(fresh)

    def _replace(self, key, entries):
        """Show a list of labels; of as many as before only what is new in them is sent, as plotly
        checks every label that is new as a whole.
        """
        before = self._layout[key]
        if len(before) != len(entries):
            self.figure.update_layout({key: entries}, overwrite=True)
            return
        shown = self.figure.layout
        for name in key.split("_"):
            shown = shown[name]
        for label, entry, old in zip(shown, entries, before, strict=True):
            for name in entry:
                if entry[name] != old.get(name):
                    label[name] = entry[name]


def _alike(a, b):
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_alike(a[k], b[k]) for k in a)
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        return a.shape == b.shape and np.array_equal(a, b, equal_nan=True)
    return type(a) is type(b) and a == b
