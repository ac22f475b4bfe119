"""A change that can be put back, as long as nothing else has been moved since."""

from dataclasses import replace

import ipywidgets as w


class Trial:
    """The way back from something that was tried; ``button`` is there while there is one.

    Parameters
    ----------
    standing : callable
        Gives the scenario as the controls stand [-]
    state : callable
        Gives everything to go back to [-]
    restore : callable
        Called with such a state to put it back [-]
    """

    def __init__(self, standing, state, restore):
        self.standing, self.state, self.restore = standing, state, restore
        self._tried = self._before = None
        self.button = w.Button(
            description="Put it back", layout=w.Layout(width="110px", display="none")
        )

    def make(self, change):
        """Change something and remember what stood.

        Parameters
        ----------
        change : callable
            Sets the controls [-]
        """
        before = self.state()
        change()
        self._before, self._tried = before, self._design()
        self.button.layout.display = "inline-flex"

    @property
    def stands(self):
        """Whether the controls still stand as tried."""
        return self._tried is not None and self._design() == self._tried

    def check(self):
        """Something may have moved: what is no longer as tried has no way back."""
        if self._tried is not None and not self.stands:
            self.forget()

    def forget(self):
        """There is no way back any more."""
        self._tried = self._before = None
        self.button.layout.display = "none"

    def put_back(self):
        """Set the controls to what stood before."""
        before = self._before
        self.forget()
        self.restore(before)

    def _design(self):
        try:
            # the units on the page are nothing that is tried
            return replace(self.standing(), units="m", text=None)
        except ValueError:  # the controls stand at something that cannot be
            return None
