"""What every section of the panel has in common."""

import ipywidgets as w

from .controls import Board


class Section:
    """Part of the panel: it renders from the state, and what the user does becomes
    ``panel.update``; no section writes to another.

    Parameters
    ----------
    panel : Meeting
        Holds the state and the answer
    """

    def __init__(self, panel):
        self.panel = panel
        self.box = self.make()
        self.board = Board(self.board_box())

    def make(self):
        """Make what always stands there, once.

        Returns
        -------
        box : ipywidgets.Widget
            What the page shows
        """
        return w.VBox()

    def board_box(self):
        """Where the described controls stand.

        Returns
        -------
        box : ipywidgets.Box
            The box of the section itself, unless said otherwise
        """
        return self.box

    def controls(self, state, answer):
        """Descriptions of the controls.

        Parameters
        ----------
        state : PanelState
            What the controls stand at
        answer : Answer
            What is shown

        Returns
        -------
        controls : list of Control
            In order
        """
        return []

    def render(self, state, answer):
        """Show a state; called after every change, so it must be quick.

        Parameters
        ----------
        state : PanelState
            What the controls stand at
        answer : Answer
            What is shown
        """
        controls = self.controls(state, answer)
        if controls:
            self.board.show(controls)

    def tell(self, state, answer):
        """Fill in what is deferred until a slider stops; called for the open tab alone.

        Parameters
        ----------
        state : PanelState
            What the controls stand at
        answer : Answer
            What is shown
        """

    def outdate(self):
        """The scenario or the use is another: what was computed for the last one is outdated."""
