"""The tabs of words under the picture: verdicts, uses, first incidence, the room, limits."""

from html import escape

import ipywidgets as w

from ...acoustics.differences import differences
from ...acoustics.evaluate import evaluate_all
from .. import tables
from ..theme import QUANTITIES
from .section import Section


class WordsTab(Section):
    """A tab of words; its ``words`` are made when it is open and nothing moves."""

    def make(self):
        """Make what always stands there; see ``Section.make``."""
        return w.HTML()

    def parts(self, state, answer):
        """What the tab says.

        Parameters
        ----------
        state : PanelState
            What the controls stand at
        answer : Answer
            What is shown

        Returns
        -------
        parts : list of str
            HTML, one below the other
        """
        raise NotImplementedError

    def tell(self, state, answer):
        """Fill in the words; see ``Section.tell``."""
        self.box.value = tables.card(*self.parts(state, answer))


class VerdictsTab(WordsTab):
    """Verdicts of the use that is shown."""

    def parts(self, state, answer):
        """What the tab says; see ``WordsTab.parts``."""
        return [
            tables.headline(answer.result),
            f'<p class="quiet">{escape(QUANTITIES[state.quantity].plain)}</p>',
            tables.verdict_table(answer.result),
            tables.differences_list(differences(answer.by_formula, answer.result)),
        ]


class UsesTab(WordsTab):
    """Verdicts of all uses, side by side."""

    def parts(self, state, answer):
        """What the tab says; see ``WordsTab.parts``."""
        return [tables.uses_table(evaluate_all(answer.scenario))]


class LandingTab(WordsTab):
    """Where the sound of every row lands first."""

    def parts(self, state, answer):
        """What the tab says; see ``WordsTab.parts``."""
        return [tables.landing_table(answer.result)]


class RoomTab(WordsTab):
    """Volume, surfaces, decay."""

    def parts(self, state, answer):
        """What the tab says; see ``WordsTab.parts``."""
        return [tables.room_table(answer.result, state.units)]


class LimitsTab(WordsTab):
    """Cautions, and what the model does not know."""

    def parts(self, state, answer):
        """What the tab says; see ``WordsTab.parts``."""
        return [tables.limits()]
