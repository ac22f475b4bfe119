"""The search for a better aim: what counts, start and stop, what came out, and the way back."""

import time
from dataclasses import fields
from html import escape

import ipywidgets as w

from ...design.aiming import Weights, aim
from ...design.weights import LABELS
from ...venue.units import in_words
from .. import tables
from ..jobs import GIVEN_UP as OUTDATED
from ..jobs import Job
from .controls import WIDE
from .page import quiet
from .section import Section
from .slider_spec import SliderSpec
from .typed_slider import Looks

TICKS = {  # settings of the search beside the weights: label and default
    "symmetric": ("mirrored loudspeakers move together", True),
    "heights": ("heights may change", False),
    "gains": ("gains and delays may change, use by use", True),
}
WEIGHTS = {f.name: float(f.default) for f in fields(Weights)}
DRAW_EVERY = 1.2  # the best so far in the picture [s]
KEYS = {
    "pan_deg": ("pan", "°"),
    "downtilt_deg": ("downtilt", "°"),
    "splay_deg": ("splay", "°"),
    "height": ("height", ""),
    "gain_db": ("gain", " dB"),
    "delay_ms": ("delay", " ms"),
}
ABOUT = (
    "Turns, tilts and balances the loudspeakers for all uses at once; a worse aim is never taken."
    " The search follows few rays; all rays confirm the result."
)
GIVEN_UP = "What was better with few rays is not better with all: the aim stays as it is."


class AimSection(Section):
    """A search that sets the controls to what it found."""

    key, title = "aim", "A better aim"

    def _begin(self):
        self.job = Job(self._done, on_progress=self._better)
        self.job.words.layout.width = "345px"
        self.job.words.add_class("gt-words")
        self._drawn, self._tried = 0.0, None

    @property
    def words(self):
        """The line of words, and what was found."""
        return self.job.words

    @property
    def halt(self):
        """The button that ends the search with the best so far."""
        return self.job.halt

    def _make(self):
        looks = Looks()
        self.weights = {
            name: _weight(name, value, looks, self._set) for name, value in WEIGHTS.items()
        }
        self.ticks = {name: self._tick(name, *words) for name, words in TICKS.items()}
        self.find = w.Button(description="Find a better aim", layout={"width": "160px"})
        self.find.on_click(lambda _: self.start())
        self.job.starts_with(self.find)
        hint = w.HTML(quiet(ABOUT), layout={"width": "345px"})
        hint.add_class("gt-words")
        work = [w.HBox([self.find, self.job.halt]), self.job.bar, self.job.words, self.job.back]
        what_counts = w.HTML("<b>What counts, and how much</b>")
        settings = [*self.ticks.values(), what_counts, *self.weights.values()]
        return w.VBox([hint, *work, self.job.error, *settings])

    def _tick(self, name, label, value):
        layout = {"width": WIDE, "margin": "0 0 0 4px"}
        box = w.Checkbox(value, description=label, indent=False, layout=layout)
        box.observe(lambda change: self._set((name,), change["new"]), names="value")
        return box

    def _set(self, path, value):
        """Set a setting of the search, as a step of the history."""
        (name,) = path
        state = self.panel.state
        if settings_of(state)[name] != value:
            self.panel.update(("search", name), search={**state.search, name: value})

    def start(self):
        """Search from the present state."""
        settings = settings_of(self.panel.state)
        move = ["pan_deg", "downtilt_deg"]
        move += ["height"] if settings["heights"] else []
        move += ["gain_db", "delay_ms"] if settings["gains"] else []
        options = dict(move=move, symmetric=settings["symmetric"])
        try:
            weights = Weights(**{name: settings[name] for name in WEIGHTS})
            scenario = self.panel.state.scenario
        except ValueError as error:
            self.job.refuse(error)
            return
        self.job.start(
            lambda tell, stop: aim(scenario, weights=weights, progress=tell, stop=stop, **options),
            "Looking for a better aim; the picture shows the best so far.",
        )

    def _render(self, state, answer):
        """Show a state; what is no longer as found has no way back."""
        self.job.allow(answer.possible)
        settings = settings_of(state)
        for name, box in self.ticks.items():
            box.value = settings[name]
        for name, slider in self.weights.items():
            slider.follow(settings[name])
        if self._tried is not None and not state.same_design(self._tried):
            self._tried = None
            self.job.withdraw_back()

    def outdate(self):
        """The search began at another state; see ``Section.outdate``."""
        self.job.discard()

    def _better(self, share, scenario, _score):
        self.job.show_share(share)
        if share >= 1.0:
            self.job.say("Found something better; following all rays in every use to make sure.")
        if time.monotonic() - self._drawn > DRAW_EVERY:
            self.panel.show_draft(scenario)
            self._drawn = time.monotonic()

    def _done(self, found):
        result = self.job.result
        self.panel.live.flush()
        if self.job.result is not result:  # something was changed in the last moment
            self.job.say(OUTDATED)
            return
        self.job.forget()
        if not found.moved:
            nothing = "so far." if found.stopped else ": the aim stays as it is."
            nothing = f"Nothing better was found{' ' if found.stopped else ''}{nothing}"
            self.job.say(GIVEN_UP if found.given_up else nothing)
            self.panel.live()  # the picture may show a draft
            return
        before = self.panel.state
        self.panel.update(changes={path: after for path, (_, after) in found.moved.items()})
        self._tried = self.panel.state
        self.job.words.value = found_words(found)
        self.job.offer_back(lambda: self.panel.restore_design(before))


def settings_of(state):
    """What the search is set to.

    Parameters
    ----------
    state : PanelState
        What the controls are set to

    Returns
    -------
    settings : dict
        Ticks and weights by name; the default where a state has none, or none that can be
    """
    defaults = {**{name: value for name, (_, value) in TICKS.items()}, **WEIGHTS}
    given = state.search if isinstance(state.search, dict) else {}
    found = {}
    for name, default in defaults.items():
        value = given.get(name, default)
        number = isinstance(value, int | float) and not isinstance(value, bool)
        fits = isinstance(value, bool) if name in TICKS else number
        found[name] = value if fits else default
    return found


def _weight(name, value, looks, changed):
    """A slider for what a part of the penalty counts."""
    ends = dict(low=0, high=3, step=0.25)
    spec = SliderSpec(path=(name,), label=LABELS[name], unit="number", **ends)
    return spec.slider(value, "m", changed, looks)


def found_words(found):
    """What a search found, in words: what moves, and what it is better and worse in.

    Parameters
    ----------
    found : Aimed
        Of ``design.aiming.aim``

    Returns
    -------
    html : str
        A list and a table
    """
    moves = "".join(_moved(found.scenario, path, *values) for path, values in found.moved.items())
    rows = "".join(
        f'<tr><td>{LABELS[k]}</td><td class="num">{found.penalties_before[k]:.1f}</td><td'
        f' class="num">{found.penalties_after[k]:.1f}</td></tr>'
        for k in LABELS
    )
    head = (
        '<tr><th>lacking, in steps</th><th class="num">before</th><th class="num">after</th></tr>'
    )
    whole = (
        f"<tr><td>weighed, over all uses</td><td"
        f' class="num">{found.before:.1f}</td><td class="num">{found.after:.1f}</td></tr>'
    )
    return tables.card(
        f"<p>{'Stopped; the best so far' if found.stopped else 'Found'}:</p><ul>{moves}</ul>"
        f"{_gain_words(found)}<table>{head}{rows}{whole}</table>"
    )


def _gain_words(found):
    """What gains off 0 dB buy, in a sentence for each use."""
    said = []
    for use, buys in found.gains_buy.items():
        most = max(buys, key=buys.get)
        said.append(
            f"Gains in {escape(use)} buy {sum(buys.values()):.1f} steps, most of it in"
            f" “{LABELS[most]}”; at 0 dB it would lack as much more."
        )
    return f"<p>{' '.join(said)}</p>" if said else ""


def _moved(scenario, path, before, after):
    word, unit = KEYS[path[-1]]
    where = path[1] if path[0] == "groups" else f"{path[3]} in {path[1]}"
    values = [
        in_words(v, scenario.units) if path[-1] == "height" else f"{v:g}{unit}"
        for v in (before, after)
    ]
    return f"<li>{escape(where)}: {word} {values[0]} → {values[1]}</li>"
