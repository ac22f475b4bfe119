"""All rays followed when nothing moves, with the progress."""

import time

import ipywidgets as w

from ...acoustics.traced import Tracing
from .. import tables
from ..jobs import Debounce, Job
from .controls import Tick
from .page import quiet
from .section import Section

TRACE_AFTER = 0.7  # without a change: longer than between two presses of a key [s]
PAINT_EVERY = 0.8  # while the room is being traced [s]


class TraceSection(Section):
    """Says how sure the picture is, and follows all rays when nothing moves."""

    def _begin(self):
        self.words = w.HTML()
        self.words.add_class("gt-room")
        self.job = Job(self._done, on_progress=self._piece, waits=True)
        self.job.bar.layout.width = "40px"
        self.later = Debounce(self.begin, TRACE_AFTER)
        self._painted, self.tick = 0.0, w.HBox()
        self._of = None  # first result of what is being traced

    def _make(self):
        return w.HBox([self.job.bar, self.words, self.job.error])

    def _board_box(self):
        return self.tick

    def _controls(self, state, answer):
        return [
            Tick(
                key="trace",
                value=state.trace,
                label="follow all rays when nothing moves",
                indent="0",
                width="270px",
                act=lambda wanted: self.panel.update(trace=wanted),
            )
        ]

    def _render(self, state, answer):
        if not state.trace and self.job.running:
            self.job.discard()
        self._say(answer)
        self.later()

    def outdate(self):
        """What is being traced is no longer shown; see ``Section.outdate``."""
        if self.panel.answer.first is not self._of:
            self.job.discard()

    def begin(self):
        """Begin to follow all rays, unless they have been or are not wanted."""
        answer = self.panel.answer
        idle = not self.job.running and not self.panel.searching
        if self.panel.state.trace and idle and not answer.settled:
            self._take_up(answer)
            self._say(answer)

    def finish(self):
        """Trace the room to the end here and now; for cells and tests."""
        self._take_up(self.panel.answer)
        self.job.finish()

    def _take_up(self, answer):
        if not self.job.running:
            self._of = answer.first
            self.job.start(tracing(answer.scenario, answer.result.use.name))

    def _piece(self, traced, piece):
        """A piece has come: the bar moves, and now and then the picture."""
        traced.add(piece)
        self.job.show_share(traced.progress)
        if traced.ready:  # other uses follow
            self.panel.show_traced(traced.field)
            self._say(self.panel.answer)
            return
        due = time.monotonic() - self._painted > PAINT_EVERY
        if due and traced.started:
            self.panel.show_traced(traced.field)
            self._painted = time.monotonic()
            self._say(self.panel.answer)

    def _done(self, traced):
        if traced is not None:
            self.panel.show_traced(traced.field, last=True)
        self._say(self.panel.answer)

    def _say(self, answer):
        self.words.value = quiet(tables.settled_words(answer.result, answer.settled))


def tracing(scenario, use):
    """Work of a job that traces the room of one use, and then of the others.

    Parameters
    ----------
    scenario : Scenario
        The scenario
    use : str
        Name of the use

    Returns
    -------
    work : callable
        Tells (tracing, piece) for every piece; the piece is added in the page's turn
    """
    traced = Tracing(scenario, use)

    def work(tell, stop):
        while not traced.ready:
            piece = traced.next_pass(stop)
            if piece is None:
                return None
            tell(traced, piece)
        for other in (u.name for u in scenario.uses if u.name != use):
            if stop() or Tracing(scenario, other).run(stop) is None:
                return None
        return traced

    return work
