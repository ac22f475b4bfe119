"""The search for a better aim as controls: what counts, start and stop, what came out, and the way
back.
"""

import time
from dataclasses import fields
from html import escape

import ipywidgets as w

from ...design.aiming import Weights, aim
from .. import tables
from ..jobs import Aside
from ..theme import QUIET, ROOMS
from .controls import STYLE, WIDE, in_words

DRAW_EVERY = 1.2  # the best so far in the picture [s]
WORDS = {
    "coverage_range": "Evenness",
    "quietest": "Worst place",
    "sti": "Clarity of speech",
    "stray": "Sound onto people",
    "feedback_margin": "Spare gain",
    "arrival_spread": "Arrivals together",
    "loudest": "Not too loud",
}
KEYS = {
    "pan_deg": ("pan", "°"),
    "downtilt_deg": ("tilt", "°"),
    "splay_deg": ("turned apart", "°"),
    "height": ("height", ""),
    "gain_db": ("gain", " dB"),
    "delay_ms": ("delay", " ms"),
}
ABOUT = (
    "Turns, tilts and balances the loudspeakers for all uses at once, never for the worse. The"
    " search looks at the room by formula; the traced room has the last word."
)


class AimPanel:
    """Controls of the search; ``box`` is what the page shows.

    Parameters
    ----------
    base : callable
        Gives the scenario to start from [-]
    draw : callable
        Called with the best scenario so far, to show it [-]
    take : callable
        Called with the changes found, by path [-]
    trial : Trial
        The way back from what was found [-]
    """

    def __init__(self, base, draw, take, trial):
        self.base, self.draw, self.take, self.trial = base, draw, take, trial
        self.aside = Aside(self._told, self._done, self._failed)
        self.weights = {
            f.name: w.FloatSlider(
                value=f.default,
                min=0,
                max=3,
                step=0.25,
                description=WORDS[f.name],
                continuous_update=False,
                style=STYLE,
                layout=w.Layout(width=WIDE),
            )
            for f in fields(Weights)
        }

        def check(words, value):
            return w.Checkbox(
                value=value,
                description=words,
                indent=False,
                layout=w.Layout(width=WIDE, margin="0 0 0 40px"),
            )

        self.symmetric = check("mirrored loudspeakers move together", True)
        self.heights = check("heights may change", False)
        self.gains = check("gains and delays may change, use by use", True)
        self.trace = check("judge the answer in the traced room", True)
        self.find = w.Button(description="Find a better aim", layout=w.Layout(width="160px"))
        self.halt = w.Button(description="Stop here", layout=w.Layout(width="110px"), disabled=True)
        self.bar, self.words = (
            w.FloatProgress(min=0, max=1, layout=w.Layout(width="330px", visibility="hidden")),
            w.HTML(layout=w.Layout(width="345px")),
        )
        self.words.add_class("gt-words")
        self.find.on_click(lambda _: self.start())
        self.halt.on_click(lambda _: self.aside.stop())
        trial.button.on_click(lambda _: self._put_back())
        self._drawn = 0.0
        hint = w.HTML(f'<span style="color:{QUIET}">{ABOUT}</span>', layout=w.Layout(width="345px"))
        hint.add_class("gt-words")
        weights = [w.HTML("<b>What counts, and how much</b>"), *self.weights.values()]
        self.box = w.VBox(
            [
                hint,
                w.HBox([self.find, self.halt]),
                self.bar,
                self.words,
                trial.button,
                self.aside.error,
                self.symmetric,
                self.heights,
                self.gains,
                self.trace,
                *weights,
            ]
        )

    def start(self):
        """Search from the present state."""
        move = [
            "pan_deg",
            "downtilt_deg",
            *(["height"] if self.heights.value else []),
            *(["gain_db", "delay_ms"] if self.gains.value else []),
        ]
        symmetric, room = self.symmetric.value, "traced" if self.trace.value else "statistical"
        try:
            weights = Weights(**{name: slider.value for name, slider in self.weights.items()})
            scenario = self.base()
        except ValueError as error:
            self.words.value = f"<b>Not possible:</b> {escape(str(error))}"
            return
        self._show(True)
        self.words.value = "Looking for a better aim; the picture shows the best so far."
        self.aside.start(
            lambda tell, stop: aim(
                scenario,
                move=move,
                symmetric=symmetric,
                weights=weights,
                room=room,
                progress=tell,
                stop=stop,
            )
        )

    def discard(self):
        """Somebody moved something: the search is given up, and an answer that no longer stands
        cannot be put back.
        """
        self.trial.check()
        if self.aside.running:
            self.aside.discard()
            self._show(False)
            self.words.value = "Given up, because something was moved."

    def _show(self, running):
        self.find.disabled, self.halt.disabled = running, not running
        self.bar.layout.visibility = "visible" if running else "hidden"
        if running:
            self.bar.value = 0.0
            self.trial.forget()

    def _failed(self, error):
        self._show(False)
        self.words.value = f"<b>Not possible:</b> {escape(str(error))}"

    def _told(self, share, scenario, _score):
        self.bar.value = share
        if share >= 1.0:
            self.words.value = "Found something better; tracing it in every use to make sure."
        if time.monotonic() - self._drawn > DRAW_EVERY:
            self.draw(scenario)
            self._drawn = time.monotonic()

    def _done(self, found):
        self._show(False)
        if not found.moved:
            given_up = (
                "What was better by formula is not better in the traced room: the aim stays as"
                " it is."
            )
            self.words.value = (
                given_up
                if found.given_up
                else "Nothing better was found"
                + (" so far." if found.stopped else ": the aim stays as it is.")
            )
            self.take({})
            return
        self.words.value = found_words(found)
        self.trial.make(
            lambda: self.take({path: after for path, (_, after) in found.moved.items()})
        )

    def _put_back(self):
        self.trial.put_back()
        self.words.value = "Put back as it was."


def found_words(found):
    """What a search found, in words: what moves, and what it is better and worse in.

    Parameters
    ----------
    found : Aimed
        Of ``design.aiming.aim`` [-]

    Returns
    -------
    html : str
        A list and a table
    """
    s = found.scenario
    moves = ""
    for path, (a, b) in found.moved.items():
        word, unit = KEYS[path[-1]]
        where = path[1] if path[0] == "groups" else f"{path[3]} in {path[1]}"
        say = (
            (lambda v: in_words(v, s.units))
            if path[-1] == "height"
            else (lambda v, unit=unit: f"{v:g}{unit}")
        )
        moves += f"<li>{escape(where)}: {word} {say(a)} → {say(b)}</li>"
    rows = "".join(
        f'<tr><td>{WORDS[k]}</td><td class="num">{found.penalties_before[k]:.1f}</td><td'
        f' class="num">{found.penalties_after[k]:.1f}</td></tr>'
        for k in WORDS
    )
    head = (
        '<tr><th>lacking, in steps</th><th class="num">before</th><th class="num">after</th></tr>'
    )
    whole = (
        f"<tr><td>weighed, over all uses, {ROOMS[found.room]}</td><td"
        f' class="num">{found.before:.1f}</td><td class="num">{found.after:.1f}</td></tr>'
    )
    return tables.card(
        f"<p>{'Stopped; the best so far' if found.stopped else 'Found'}:</p><ul>{moves}</ul>"
        f"<table>{head}{rows}{whole}</table>"
    )
