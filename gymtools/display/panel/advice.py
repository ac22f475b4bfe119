"""Advice: what would help, each move with what it costs elsewhere. The list stays while its moves
are tried and put back.
"""

from dataclasses import dataclass
from html import escape

import ipywidgets as w

from ...acoustics.criteria import CRITERIA
from ...design.advice import Proposal, advise, limit_sentence, sentence
from .. import tables
from ..jobs import Job
from ..school.proposals import ProposalsSection
from ..tables.changes import changed_things
from .controls import show_only
from .page import quiet
from .section import Section

ABOUT = (
    "Every move below has been evaluated: the gain where it is needed, and what it costs elsewhere,"
    " in all uses. Each is judged from the design that was asked about; one at a time can be tried"
    " and put back."
)
ASK, ASK_AGAIN = "What would help?", "Ask again"
STALE = "Something else was changed since this advice was computed. Ask again."
REPRICED = "The prices are others since this advice was computed. Ask again."
TRY, PUT_BACK = "Try it", "Put it back"
GRAY = "gt-stale"  # class of a list that is of another design
OTHERS = "Propose designs: other arrangements, aimed and balanced for all uses"


@dataclass(frozen=True)
class Offer:
    """A move of the list with its button and its words."""

    proposal: Proposal
    button: w.Button
    words: w.HTML

    def show(self, tried, possible):
        """Show whether it is tried, and whether it is on offer.

        Parameters
        ----------
        tried : bool
            The controls stand at it
        possible : bool
            It can be tried or put back
        """
        said = PUT_BACK if tried else TRY
        self.button.description, self.button.disabled = said, not possible
        self.button.tooltip = f"{said}: {self.proposal.move.words}"
        mark = "<b>Tried:</b> " if tried else ""
        self.words.value = tables.card(f"{mark}{escape(sentence(self.proposal))}.")


class ProposalsPage:
    """What proposals need of the meeting.

    Parameters
    ----------
    panel : Meeting
        Holds the state
    """

    def __init__(self, panel):
        self.panel = panel

    @property
    def scenario(self):
        """The scenario that the controls are set to; None where it cannot be."""
        answer = getattr(self.panel, "answer", None)
        return answer.scenario if answer is not None and answer.possible else None

    @property
    def prices(self):
        """The price book of the meeting; None where it cannot be read."""
        try:
            return self.panel.prices.book
        except ValueError:
            return None

    def take(self, scenario):
        """Go on from a design.

        Parameters
        ----------
        scenario : Scenario
            With other loudspeakers
        """
        self.panel.live.flush()
        self.panel.update(start=scenario)


class AdviceTab(Section):
    """Moves that would help the weakest verdicts of the use that is shown."""

    key, title = "advice", "What would help"

    def _begin(self):
        self.job = Job(self._done)
        self._asked = None  # state that the list is judged from
        self._offers, self._heading, self._why = [], "", ""

    @property
    def words(self):
        """The line of words."""
        return self.job.words

    @property
    def tried(self):
        """The proposal that the controls stand at; None where it is none of the list."""
        return next((o.proposal for o in self._offers if self._stands_at(o.proposal)), None)

    def _make(self):
        self.ask = w.Button(description=ASK, layout={"width": "160px"})
        self.ask.on_click(lambda _: self.start())
        self.job.starts_with(self.ask)
        self.list = w.VBox([])
        self.proposals = ProposalsSection(ProposalsPage(self.panel))
        other = w.Accordion([self.proposals.box], selected_index=None)
        other.set_title(0, OTHERS)
        return w.VBox(
            [
                w.HTML(quiet(ABOUT)),
                w.HBox([self.ask, self.job.halt, self.job.bar]),
                self.job.error,
                self.job.words,
                self.list,
                other,
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
        self._asked = state

        def work(tell, stop):
            found = advise(scenario, state.use, prices=prices, progress=tell, stop=stop)
            return state.use, found, stop()

        self.job.start(work, f"Trying moves for {state.use}.")

    def _render(self, state, answer):
        """Show which move of the list is tried, or that the list is of another design."""
        self.job.allow(answer.possible)
        self.proposals.show()
        if self._offers:
            self._mark()

    def outdate(self):
        """What is looked for is of another state; see ``Section.outdate``."""
        if self.job.running:
            self.job.discard()

    def reprice(self):
        """What moves cost is outdated; see ``Section.reprice``."""
        self.outdate()
        self.proposals.reprice()
        if self._offers:
            self._why = REPRICED
            self._mark()

    def _clear(self):
        self._offers, self._why = [], ""
        self.ask.description = ASK
        self.list.remove_class(GRAY)
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
        self._heading = tables.card(
            f"<p>{'Stopped; so far. ' if stopped else ''}{escape(use)}: what is weakest, and what"
            " would help most:</p>"
        )
        rows = [row for advice in found for row in self._rows(advice)]
        self._mark()
        show_only(self.list, rows)

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
        button = w.Button(layout={"width": "96px", "min_width": "96px"})
        button.on_click(lambda _: self._press(proposal))
        self._offers.append(Offer(proposal, button, w.HTML()))
        return w.HBox([button, self._offers[-1].words])

    # ---- what is tried

    def _stands_at(self, proposal):
        return self._is_shown(proposal.move.scenario)

    def _is_shown(self, scenario):
        answer = self.panel.answer
        return answer.possible and not changed_things(scenario, answer.scenario)

    def _mark(self):
        """Say what is tried; a list of another design stays, in gray, to be asked for again."""
        tried = self.tried
        stale = self._why or ("" if tried or self._is_shown(self._asked.scenario) else STALE)
        for offer in self._offers:
            offer.show(offer.proposal is tried, not stale)
        (self.list.add_class if stale else self.list.remove_class)(GRAY)
        self.ask.description = ASK_AGAIN if stale else ASK
        self.job.words.value = quiet(escape(stale)) if stale else self._heading

    def _press(self, proposal):
        """Try a move; one that is tried is put back, another one before it."""
        panel = self.panel
        panel.live.flush()
        tried = self.tried
        if self._why or not (tried or self._is_shown(self._asked.scenario)):
            return  # something was changed since: it is no longer on offer
        if tried is not None:
            panel.restore_design(self._asked)
        if tried is not proposal:
            panel.update(start=proposal.move.scenario)
