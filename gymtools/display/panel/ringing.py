"""The tab on the room: how it rings, what was measured in it, and the fit to that."""

import ipywidgets as w

from ...acoustics.measured_room import fit_room
from ...acoustics.room_comparison import compare_rooms, sentences
from .. import tables
from ..jobs import HIDDEN, Job
from .section import Section

STALE = "Something was changed since. Fit the room again."


class RoomTab(Section):
    """Volume, surfaces, decay; where the gym was measured, the way to start from that."""

    key, title = "room", "The room"

    def _begin(self):
        self.job = Job(self._done, stale=STALE)
        self._tried = None  # state with the fitted room

    def _make(self):
        self.measured, self.tables = w.HTML(), w.HTML()
        self.fit_button = w.Button(
            description="Fit the room to what was measured", layout={"width": "270px"}
        )
        self.fit_button.on_click(lambda _: self.start())
        self.job.starts_with(self.fit_button)
        work = [self.fit_button, self.job.halt, self.job.back, self.job.bar]
        self._fitting = w.VBox([self.measured, w.HBox(work), self.job.error, self.job.words])
        return w.VBox([self._fitting, self.tables])

    def start(self):
        """Fit absorption and scattering to what was measured."""
        try:
            scenario = self.panel.state.scenario
        except ValueError as error:
            self.job.refuse(error)
            return
        self.job.start(lambda tell, stop: fit_room(scenario), "Fitting the room.")

    def outdate(self):
        """The fit is of another state; see ``Section.outdate``."""
        self.job.discard()

    def _render(self, state, answer):
        self.job.allow(answer.possible)
        there = answer.scenario.measured_room is not None
        self._fitting.layout.display = "flex" if there else HIDDEN
        if self._tried is not None and not state.same_design(self._tried):
            self._tried = None
            self.job.withdraw_back()

    def _fill(self, state, answer):
        self.measured.value = tables.card(tables.measured_table(answer.scenario))
        compared = compare_rooms(answer.by_formula, answer.result)
        self.tables.value = tables.card(
            tables.room_table(answer.result, state.units),
            tables.differences_list(sentences(compared)),
        )

    def _done(self, fitted):
        self.panel.live.flush()
        if self.job.result is not fitted:  # something was changed in the last moment
            return
        self.job.forget()
        before = self.panel.state
        self.panel.update(start=fitted.scenario)
        self._tried = self.panel.state
        self.job.offer_back(lambda: self.panel.restore_design(before))
        self.job.words.value = tables.card(tables.fit_table(fitted))
