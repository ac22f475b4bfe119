"""Advice as controls: what would help, each move with what it costs elsewhere, to be tried and put
back.
"""

from html import escape

import ipywidgets as w

from ...acoustics.criteria import CRITERIA
from ...design.advice import advise, limit_sentence, sentence
from .. import tables
from ..jobs import Aside
from ..theme import QUIET, ROOMS

ABOUT = (
    "Every move below has been evaluated: the gain where it is needed, and what it costs elsewhere,"
    " in all uses. Moves can be tried, and put back."
)


class AdvicePanel:
    """Controls of the advice; ``box`` is what the page shows.

    Parameters
    ----------
    base : callable
        Gives the scenario and the name of the use [-]
    take : callable
        Called with a scenario to go on from [-]
    trial : Trial
        The way back from a move that was tried [-]
    """

    def __init__(self, base, take, trial):
        self.base, self.take, self.trial, self.aside, self.found = (
            base,
            take,
            trial,
            Aside(self._told, self._done, self._failed),
            None,
        )
        self.ask = w.Button(description="What would help?", layout=w.Layout(width="160px"))
        self.trace = w.Checkbox(
            value=False,
            description="tell gains in the traced room (slower)",
            indent=False,
            layout=w.Layout(width="300px"),
        )
        self.ask.on_click(lambda _: self.start())
        trial.button.on_click(lambda _: self._put_back())
        self.bar, self.words, self.list = (
            w.FloatProgress(min=0, max=1, layout=w.Layout(width="330px", visibility="hidden")),
            w.HTML(),
            w.VBox([]),
        )
        hint = w.HTML(f'<span style="color:{QUIET}">{ABOUT}</span>')
        self.box = w.VBox(
            [
                hint,
                w.HBox([self.ask, trial.button, self.trace, self.bar]),
                self.aside.error,
                self.words,
                self.list,
            ]
        )

    def start(self):
        """Look for moves from the present state."""
        if self.aside.running:
            return
        try:
            scenario, use = self.base()
        except ValueError as error:
            self.words.value = f"<b>Not possible:</b> {escape(str(error))}"
            return
        self.ask.disabled, self.bar.value, self.bar.layout.visibility = True, 0.0, "visible"
        self.list.children, self.words.value, room = (
            [],
            f"Trying moves for {escape(use)}.",
            "traced" if self.trace.value else "statistical",
        )
        self.aside.start(
            lambda tell, stop: (
                use,
                room,
                advise(scenario, use, room=room, progress=tell, stop=stop),
            )
        )

    def discard(self):
        """Somebody moved something: advice for another state is no advice."""
        self.trial.check()
        if self.aside.running:
            self.aside.discard()
            self._rest()
            self.words.value = "Given up, because something was moved."
        elif self.found is not None:
            self.words.value, self.list.children = (
                "Something was moved since this advice was computed. Ask again.",
                [],
            )
        self.found = None

    def _rest(self):
        self.ask.disabled, self.bar.layout.visibility = False, "hidden"

    def _failed(self, error):
        self._rest()
        self.words.value = f"<b>Not possible:</b> {escape(str(error))}"

    def _told(self, share):
        self.bar.value = share

    def _done(self, answer):
        use, room, self.found = answer
        self._rest()
        if not self.found:
            self.words.value = tables.card(
                f"<p>{escape(use)}: everything asked for holds; no advice is needed.</p>"
            )
            return
        self.words.value = tables.card(
            f"<p>{escape(use)}, {ROOMS[room]}; costs in other uses by formula. What is weakest, and"
            " what would help most:</p>"
        )
        rows = []
        for advice in self.found:
            v = advice.verdict
            where = f" ({escape(v.area)})" if v.area else ""
            head = (
                f"<p><b>{escape(CRITERIA[v.criterion].label)}</b>{where} {v.word}:"
                f" {CRITERIA[v.criterion].text(v.value)}, asked for"
                f" {CRITERIA[v.criterion].text(v.target)}.</p>"
            )
            rows.append(w.HTML(tables.card(head)))
            for p in advice.proposals:
                button = w.Button(
                    description="Try it", layout=w.Layout(width="80px", min_width="80px")
                )
                button.on_click(lambda _, p=p: self._try(p))
                rows.append(w.HBox([button, w.HTML(tables.card(f"{escape(sentence(p))}."))]))
            if not advice.proposals:
                rows.append(
                    w.HTML(tables.card("<p>No single move helps by more than a little.</p>"))
                )
            if advice.limit:
                rows.append(w.HTML(tables.card(f"<p>{escape(limit_sentence(advice.limit))}</p>")))
        self.list.children = rows

    def _try(self, proposal):
        self.found, self.list.children = None, []
        self.trial.make(lambda: self.take(proposal.move.scenario))
        self.words.value = tables.card(
            f"<p>Done: {escape(proposal.move.words)}. The controls and the picture show it.</p>"
        )

    def _put_back(self):
        self.trial.put_back()
        self.words.value = "Put back as it was."
