"""What every section of the panel has in common."""

import ipywidgets as w

from .controls import Board


class Section:
    """Part of the panel: it renders from the state, and what the user does becomes
    ``panel.update``; no section writes to another.

    A section says how its controls should stand (``_controls``), and may make what always stands
    there (``_begin``, ``_make``), show more of a state (``_render``) and fill in what is deferred
    (``_fill``).

    Parameters
    ----------
    panel : Meeting
        Holds the state and the answer
    """

    key = ""  # names it in the state; none where it has no heading
    title = ""  # its heading on the page

    def __init__(self, panel):
        self.panel = panel
        self._begin()
        self.box = self._make()
        self.board = Board(self._board_box())

    def render(self, state, answer):
        """Show a state; called after every change, so it must be quick.

        Parameters
        ----------
        state : PanelState
            What the controls are set to
        answer : Answer
            What is shown
        """
        controls = self._controls(state, answer)
        if controls:
            self.board.show(controls)
        self._render(state, answer)

    def fill(self, state, answer):
        """Fill in what is deferred until a slider stops; called for the open tab alone.

        Parameters
        ----------
        state : PanelState
            What the controls are set to
        answer : Answer
            What is shown
        """
        self._fill(state, answer)

    def show_rays(self, state, answer):
        """More rays have been followed in the use that is shown, or all of them in every use.

        Parameters
        ----------
        state : PanelState
            What the controls are set to
        answer : Answer
            What is shown
        """

    def outdate(self):
        """The scenario or the use is another: what was computed for the last one is outdated."""

    def reprice(self):
        """Another price book holds from now on: what was priced by the last one is outdated."""

    def _begin(self):
        """Set up what the box is made of."""

    def _make(self):
        """The box that the page shows."""
        return w.VBox()

    def _board_box(self):
        """Where the described controls stand."""
        return self.box

    def _controls(self, state, answer):
        """Descriptions of the controls, in order."""
        return []

    def _render(self, state, answer):
        """Show what is no control."""

    def _fill(self, state, answer):
        """Fill in what is deferred."""
