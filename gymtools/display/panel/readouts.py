"""The tabs of words under the picture: verdicts, first incidence, limits."""

from html import escape

import ipywidgets as w

from .. import tables
from ..theme import QUANTITIES, shown_quantity
from .section import Section


class WordsTab(Section):
    """A tab of words; its ``words`` are made when it is open and nothing moves."""

    def _make(self):
        return w.HTML()

    def _parts(self, state, answer):
        """What the tab says: parts of a card, one below the other."""
        raise NotImplementedError

    def _fill(self, state, answer):
        self.box.value = tables.card(*self._parts(state, answer))


class VerdictsTab(WordsTab):
    """Verdicts of the use that is shown."""

    key, title = "verdicts", "Verdicts"

    def _parts(self, state, answer):
        shown = QUANTITIES[shown_quantity(answer.result, state.quantity)]
        return [
            tables.headline(answer.result),
            f'<p class="quiet">{escape(shown.plain)}</p>',
            tables.verdict_table(answer.result),
        ]


class LandingTab(WordsTab):
    """Where the sound of every row lands first."""

    key, title = "landing", "Where the sound lands"

    def _parts(self, state, answer):
        return [tables.landing_table(answer.result)]


class LimitsTab(WordsTab):
    """Cautions, and what the model does not know."""

    key, title = "limits", "Cautions and limits"

    def _parts(self, state, answer):
        return [tables.limits()]
