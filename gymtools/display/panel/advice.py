"""Advice: what would help, each move with what it costs elsewhere, to be tried and put back."""

from html import escape

import ipywidgets as w

from ...acoustics.criteria import CRITERIA
from ...design.advice import advise, limit_sentence, sentence
from .. import tables
from ..jobs import Job
from .controls import show_only
from .page import quiet
from .section import Section

ABOUT = (
    "Every move below has been evaluated: the gain where it is needed, and what it costs elsewhere,"
    " in all uses. Moves can be tried and put back."
)
STALE = "Something was changed since this advice was computed. Ask again."


class AdviceTab(Section):
    """Moves that would help the weakest verdicts of the use that is shown."""

    key, title = "advice", "What would help"

    def _begin(self):
        self.job = Job(self._done, outdated=self._clear, stale=STALE)
        self._tried = None  # state

    @property
    def words(self):
        """The line of words."""
        return self.job.words

    def _make(self):
        self.ask = w.Button(description="What would help?", layout={"width": "160px"})
        self.ask.on_click(lambda _: self.start())
        self.job.starts_with(self.ask)
        self.list = w.VBox([])
        return w.VBox(
            [
                w.HTML(quiet(ABOUT)),
                w.HBox([self.ask, self.job.halt, self.job.back, self.job.bar]),
                self.job.error,
                self.job.words,
                self.list,
            ]
        )

    def start(self):
        """Look for moves from the present state."""
        state = self.panel.state
        try:
            scenario, prices = state.scenario, self.panel.prices.book
        except ValueError as error:
            self.job.refuse(error)
            return
        self._clear()

        def work(tell, stop):
            found = advise(scenario, state.use, prices=prices, progress=tell, stop=stop)
            return state.use, found, stop()

        self.job.start(work, f"Trying moves for {state.use}.")

    def _render(self, state, answer):
        """Show a state; what is no longer as tried has no way back."""
        self.job.allow(answer.possible)
        if self._tried is not None and not state.same_design(self._tried):
            self._tried = None
            self.job.withdraw_back()

    def outdate(self):
        """Advice is for another state; see ``Section.outdate``."""
        self.job.discard()

    def reprice(self):
        """What moves cost is outdated; see ``Section.reprice``."""
        self.job.discard()

    def _clear(self):
        show_only(self.list, [])

    def _done(self, answer):
        use, found, stopped = answer
        if stopped and not found:
            self.job.say("Stopped before any move was judged. Ask again.")
            return
        if not found:
            nothing = f"<p>{escape(use)}: every target is met; no advice is needed.</p>"
            self.job.words.value = tables.card(nothing)
            return
        self.job.words.value = tables.card(
            f"<p>{'Stopped; so far. ' if stopped else ''}{escape(use)}: what is weakest, and what"
            " would help most:</p>"
        )
        show_only(self.list, [row for advice in found for row in self._rows(advice)])

    def _rows(self, advice):
        v, criterion = advice.verdict, CRITERIA[advice.verdict.criterion]
        where = f" ({escape(v.area)})" if v.area else ""
        head = (
            f"<p><b>{escape(criterion.label)}</b>{where} {v.word}: {criterion.text(v.value)},"
            f" target {criterion.text(v.target)}.</p>"
        )
        rows = [w.HTML(tables.card(head)), *map(self._move, advice.proposals)]
        if not advice.proposals:
            rows.append(w.HTML(tables.card("<p>No single move helps by more than a little.</p>")))
        if advice.limit:
            rows.append(w.HTML(tables.card(f"<p>{escape(limit_sentence(advice.limit))}</p>")))
        return rows

    def _move(self, proposal):
        button = w.Button(description="Try it", layout={"width": "80px", "min_width": "80px"})
        button.on_click(lambda _: self._try(proposal))
        return w.HBox([button, w.HTML(tables.card(f"{escape(sentence(proposal))}."))])

    def _try(self, proposal):
        self.panel.live.flush()
        if self.job.result is None:  # something was changed since: it is no longer on offer
            return
        self.job.forget()
        before = self.panel.state
        self.panel.update(start=proposal.move.scenario)
        self._tried = self.panel.state
        self._clear()
        self.job.offer_back(lambda: self.panel.restore_design(before))
        done = f"<p>Done: {escape(proposal.move.words)}. The controls and the picture show it.</p>"
        self.job.words.value = tables.card(done)
