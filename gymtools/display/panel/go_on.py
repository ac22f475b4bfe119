"""The meeting's journal on the page: the question whether to go on from an earlier meeting, and the
line that says when nothing can be written.
"""

import sys
import time
from dataclasses import replace
from html import escape

import ipywidgets as w

from ...commissioning.existing import BEFORE
from ..jobs import HIDDEN, SHOWN, Debounce
from .journal import FOLDER, Journal, earlier
from .page import quiet
from .section import Section
from .state import VIEWED

REST = 0.3  # without a change, before a line is written [s]
LONGEST = 0.5  # of a movement without a line [s]


def in_kernel():
    """Whether this is the kernel of a notebook, whose state is lost with it.

    Returns
    -------
    kernel : bool
        False in scripts and tests
    """
    shell = sys.modules.get("IPython")
    return getattr(shell and shell.get_ipython(), "kernel", None) is not None


class GoOnSection(Section):
    """Offers to go on from the last meeting on this school, and keeps the journal of this one."""

    def _begin(self):
        self.journal = self.offer = None
        self._rest, self._written = Debounce(self.write, REST), time.monotonic()
        self._refused = self._held = False

    def _make(self):
        self.words = w.HTML()
        self.go_button = w.Button(description="Go on", layout={"width": "90px"})
        self.anew_button = w.Button(description="Start anew", layout={"width": "110px"})
        self.go_button.on_click(lambda _: self.go_on())
        self.anew_button.on_click(lambda _: self.start_anew())
        box = w.HBox([self.words, self.go_button, self.anew_button])
        box.add_class("gt-go-on")
        box.layout.display = HIDDEN
        return box

    def keep_journal(self):
        """Begin the journal of this meeting, and ask whether to go on from an earlier one."""
        folder, opened = self.panel.folder, self.panel.start.name
        self.journal = Journal(folder, opened)
        self.panel.options.pins.watch(self._rest)
        self.offer = earlier(folder, opened)
        if self.offer is not None:
            self._ask(self.offer.words)

    def go_on(self):
        """Take up the earlier meeting where it ended; undo goes back over its steps."""
        offer, panel = self.offer, self.panel
        if offer is None:
            return
        folders = (panel.folder, *panel.folders)
        try:
            states, now = offer.states(folders)
        except ValueError as error:
            self._say(f"It cannot be gone on from: {escape(str(error))}")
            return
        view = {name: getattr(panel.state, name) for name in VIEWED} | {"seat": None}
        designs = offer.designs(folders)
        self.offer = None
        panel.history.go_on_from([replace(state, **view) for state in states], now)
        self.journal.go_on(offer, panel.history.so_far[::-1], 0, designs)
        self._say("")
        panel.options.restore(designs)
        panel.live()

    def start_anew(self):
        """Leave the earlier meeting; its file stays."""
        if self.offer is not None:
            self.offer.dismiss()
            self.offer = None
        self._say("")

    def write(self):
        """Add a line to the journal where something has changed."""
        self._rest.cancel()
        if self.journal is None:
            return
        panel = self.panel
        # what the meeting begins with is no step of it
        kept = any(name != BEFORE for name, _ in panel.options.kept)
        if panel.history.steps or kept or self.journal.path:
            self.journal.write(panel.state, panel.history.steps, panel.options.kept)
        self._written = time.monotonic()
        if self.journal.problem and not self._refused:
            self._refused = True  # said once
            where = f"{escape(panel.folder.resolve().name)}/{FOLDER}"
            self._say(
                f"The journal cannot be written in {where}: {escape(self.journal.problem)}. What is"
                " changed is lost with this page's kernel: save it."
            )

    def _render(self, state, answer):
        if self.journal is None:
            return
        held, self._held = self._held, self.panel.history.held
        released = held and not self._held
        if released or time.monotonic() - self._written > LONGEST:
            self.write()
        else:
            self._rest()

    def _ask(self, words):
        self.words.value = f"<b>{escape(words)}</b>"
        self.box.layout.display = SHOWN
        for button in (self.go_button, self.anew_button):
            button.layout.display = SHOWN

    def _say(self, words):
        self.words.value = quiet(words)
        self.box.layout.display = SHOWN if words else HIDDEN
        for button in (self.go_button, self.anew_button):
            button.layout.display = HIDDEN
