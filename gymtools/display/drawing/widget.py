"""The drawing as a widget: shows a view, and reports what a hand moves."""

import time
from dataclasses import dataclass, field
from pathlib import Path

import anywidget
import ipywidgets as w
import numpy as np
from traitlets import Dict

from ...design.dragging import Handle, dragged, place_of, steps
from ...venue.paths import value_at
from . import picture
from .words import seat_sentence

HERE = Path(__file__).parent
HEIGHT = "560px"
TRIES = 4  # sheets that are made for pages that hear nothing
BUSY = 2.0  # a page that complains so soon after its greeting was read waited for the kernel [s]


@dataclass(kw_only=True)
class _Drag:
    """A handle in a hand."""

    handle: Handle
    scenario: object  # as it was when the hand took hold
    at: np.ndarray  # where the hand is: what it has pulled to (3,) [m]
    changes: dict = field(default_factory=dict)
    reason: str = ""


class Sheet(anywidget.AnyWidget):
    """What a page draws: the present state, which whoever looks at it later sees too."""

    _esm = HERE / "drawing.js"
    _css = HERE / "drawing.css"
    room = Dict().tag(sync=True)
    map = Dict().tag(sync=True)
    rows = Dict().tag(sync=True)
    cut = Dict().tag(sync=True)
    ghost = Dict().tag(sync=True)
    said = Dict().tag(sync=True)


TRAITS = ("room", "map", "rows", "cut", "ghost", "said")


class Drawing(w.Box):
    """Plan above section; loudspeakers, their aim points and heights can be dragged.

    It fills the box that its layout gives it. A page that was too busy to load its code hears
    nothing more: its sheet is made anew.

    Parameters
    ----------
    on_move : callable, optional
        Called with (handle key, changes, reason, done) while a handle is held and when it is let
        go; changes are values by path as for ``PanelState.update``, empty for a handle that was
        only clicked; the reason says why it stops before the hand
    on_seat : callable, optional
        Called with the index of a seat that was clicked
    """

    def __init__(self, on_move=None, on_seat=None):
        super().__init__(layout=dict(width="100%", height=HEIGHT, min_width="0", overflow="hidden"))
        self._on_move, self._on_seat = on_move, on_seat
        self._view = self._other = self._picked = self._drag = None
        self._other_name = ""
        self._answered, self._tries, self._greeted = 0, TRIES, 0.0
        self._lay(Sheet())

    def _lay(self, sheet):
        """Show a sheet and listen to it."""
        self.sheet = sheet
        sheet.layout = dict(width="100%", height="100%", min_width="0")
        sheet.on_msg(self._hear)
        self.children = [sheet]

    @property
    def view(self):
        """What is looked at (scene.View); None before anything was shown."""
        return self._view

    def show(self, view, *, picked=None, ghost=None, note=""):
        """Show a view.

        Parameters
        ----------
        view : scene.View
            What is looked at
        picked : str, optional
            Name of a row that is marked
        ghost : tuple of (str, scene.View), optional
            Name of another design and its view: its loudspeakers are shown as dashed outlines
        note : str
            A few words on the picture
        """
        self._view, self._picked = view, picked
        self._other_name, self._other = ghost or ("", None)
        sheet = self.sheet
        with sheet.hold_sync():
            sheet.room = picture.room(view)
            sheet.map = picture.level_map(view)
            sheet.cut = picture.cut(view)
            self._show_rows()
            sheet.ghost = self._shown_ghost()
            sheet.said = picture.said(view, note)

    def _show_rows(self, groups=None):
        """The rows as they stand, or as a hand has moved them; also the answer to the page."""
        held = self._drag
        self.sheet.rows = dict(
            rows=picture.hung(self._view, groups, self._picked),
            answered=self._answered,
            held=held.handle.key if held else "",
            reason=held.reason if held else "",
        )

    def _shown_ghost(self):
        if self._drag is not None:
            return self.sheet.ghost
        if self._other is None:
            return {}
        return dict(rows=picture.outlines_of(self._other), name=self._other_name)

    # ---- what the page says

    def _hear(self, _widget, content, _buffers):
        """A message of the page; what it leads to is reported when it has been understood, so that
        a fault of who listens is not taken for one of the page.
        """
        if content.get("kind") in ("greet", "deaf"):
            self._greet(content["kind"] == "deaf")
            return
        if self._view is None:
            return
        self._answered = content.get("number", self._answered)
        acts = {
            "move": self._move,
            "step": self._step,
            "release": self._release,
            "cancel": self._cancel,
            "hover": self._hover,
            "pin": self._pin,
        }
        try:
            report = acts[content["kind"]](content)
        except (KeyError, TypeError, ValueError) as error:  # of a page that saw another state
            self._drag = None
            self._show_rows()
            self.sheet.send({"kind": "refused", "words": str(error)})
            return
        self._tell(report)

    @staticmethod
    def _tell(report):
        """Call who listens, if somebody does: (callback, what it is told)."""
        if report and report[0] is not None:
            report[0](*report[1:])

    def _greet(self, deaf):
        """Answer a page that has loaded; one that hears no answer gets another sheet."""
        now = time.monotonic()
        if deaf and self._tries and now - self._greeted > BUSY:
            self._tries -= 1
            given_up = self.sheet
            self._lay(Sheet(**{name: getattr(given_up, name) for name in TRAITS}))
            given_up.close()
            return
        self._greeted = now
        self.sheet.send({"kind": "greeted"})
        if self._drag is not None:  # the page that held it is gone
            self._tell(self._release({}))

    def _held(self, content):
        """The drag that goes on, or one that begins."""
        handle = Handle.of(content["handle"])
        if self._drag is None or self._drag.handle != handle:
            scenario = self._view.scenario
            at = place_of(scenario, handle, self._view.result.use.name)
            self._drag = _Drag(handle=handle, scenario=scenario, at=at)
            self.sheet.ghost = dict(rows=picture.outlines_of(self._view), dragged=True)
        return self._drag

    def _move(self, content):
        drag = self._held(content)
        to = [float(v) for v in content["to"]]
        if content.get("cut"):
            to = self._in_space(drag, to)
        if drag.handle.kind == "height":
            drag.at[2] = to[-1]
        else:
            drag.at[: len(to)] = to
        return self._pull(drag, in_cut=bool(content.get("cut")))

    def _step(self, content):
        drag = self._held(content)
        by = steps(drag.scenario, drag.handle, self._view.units)
        across, up = (float(v) * one for v, one in zip(content["by"], by, strict=True))
        if content.get("cut"):
            s, z = self._in_cut(drag.at)
            drag.at = np.array(self._in_space(drag, [s + across, z + up]))
        elif drag.handle.kind == "height":
            drag.at = drag.at + [0.0, 0.0, up]
        else:
            drag.at = drag.at + [across, up, 0.0]
        report = self._pull(drag, in_cut=bool(content.get("cut")))
        if drag.handle.kind != "aim" and drag.reason:  # no steps beyond the limit
            own = {path[2]: v for path, v in drag.changes.items() if path[1] == drag.handle.group}
            keys = ("x", "y", "height")
            drag.at = np.array([own.get(k, v) for k, v in zip(keys, drag.at, strict=True)])
        return report

    def _pull(self, drag, in_cut):
        kind = drag.handle.kind
        to = drag.at[2:] if kind == "height" else drag.at if in_cut else drag.at[:2]
        use = self._view.result.use.name
        drag.changes, drag.reason = dragged(drag.scenario, drag.handle, to, use)
        self._show_rows(picture.moved(drag.scenario.groups, drag.changes))
        return self._report(drag, done=False)

    def _release(self, content):
        drag, self._drag = self._drag, None
        if drag is None:
            return self._on_move, Handle.of(content["handle"]).key, {}, "", True
        with self.sheet.hold_sync():
            self.sheet.ghost = self._shown_ghost()
            self._show_rows(picture.moved(drag.scenario.groups, drag.changes))
        return self._report(drag, done=True)

    def _cancel(self, _content):
        """Put back what was dragged."""
        drag, self._drag = self._drag, None
        if drag is None:
            return None
        drag.changes = {path: value_at(drag.scenario, path) for path in drag.changes}
        drag.reason = ""
        with self.sheet.hold_sync():
            self.sheet.ghost = self._shown_ghost()
            self._show_rows(drag.scenario.groups)
        return self._report(drag, done=True)

    def _report(self, drag, done):
        if not drag.changes:
            return None
        return self._on_move, drag.handle.key, drag.changes, drag.reason, done

    def _in_cut(self, point):
        foot, inward = np.array(self.sheet.cut["foot"]), np.array(self.sheet.cut["inward"])
        return float((point[:2] - foot) @ inward), float(point[2])

    def _in_space(self, drag, to):
        """A point of the section in space: as far along the wall as the hand took hold."""
        s, z = to
        inward = np.array(self.sheet.cut["inward"])
        place = drag.at[:2] + (s - self._in_cut(drag.at)[0]) * inward
        return [float(place[0]), float(place[1]), z]

    def _hover(self, content):
        index = int(content["index"])
        self.sheet.send({"kind": "seat", "index": index, "words": seat_sentence(self._view, index)})

    def _pin(self, content):
        index = int(content["index"])
        return None if self._view.on_foot else (self._on_seat, index)
