"""From design to parts: what drives the loudspeakers, the schedules, and the files for the
installer.
"""

from html import escape

import ipywidgets as w

from ...commissioning.plan_time import timed_parts
from ...equipment.cabling import conductor_name, counted_in
from ...equipment.schedules import parts, schedules
from ...venue.amplifiers import amplifier_types
from ...venue.quantity import limits
from ...venue.units import length_text
from ...venue.wiring import AWG, MM2, OPERATORS, Wiring
from ...venue.writing_files import revisions_sentence
from .. import tables
from ..documents import handover
from ..jobs import HIDDEN, SHOWN, Job, not_possible
from .controls import Choice, Number
from .page import quiet, with_folder
from .section import Section

ABOUT = (
    "What the design takes: power, channels, cable, inputs and money. Everything follows the"
    " controls; what is chosen here is part of the scenario."
)
WHO = {"nobody": "nobody (it runs by itself)", "teacher": "teachers", "trained": "a trained person"}
LEAST_RUN, MOST_RUN, _ = limits(Wiring, "run")  # [m]
ANY = "by need and price"
CONDUCTORS = (("as the units", None), ("AWG", "awg"), ("mm²", "mm2"))
LINES = (
    ("the cheapest way", None),
    ("low impedance", 0.0),
    ("70.7 V line", 70.7),
    ("100 V line", 100.0),
)
LOOKS = dict(width="330px", label_width="150px")


class PartsTab(Section):
    """Schedules with the choices that make them."""

    key, title = "parts", "Cost, parts and schedules"

    def _begin(self):
        self._choices = w.HBox(layout={"flex_flow": "row wrap"})
        self.job = Job(self._written, refused=self._refused)
        self.made, self.refusal = None, ""

    def _make(self):
        self.book = w.Text(
            "",
            placeholder="invented prices",
            description="Price book (CSV)",
            layout={"width": LOOKS["width"]},
            style=dict(description_width=LOOKS["label_width"]),
            continuous_update=False,
        )
        self.book.observe(self._booked, names="value")
        self.write_button = w.Button(
            description="Write schedules and drawings", layout={"width": "230px"}
        )
        hidden = {"width": "120px", "display": HIDDEN}
        self.replace_button = w.Button(description="Replace them", layout=hidden)
        self.write_button.on_click(lambda _: self.write(False))
        self.replace_button.on_click(lambda _: self.write(True))
        self.job.starts_with(self.write_button)
        self.tables = w.HTML()
        files = w.HBox([self.write_button, self.replace_button, self.job.words, self.job.error])
        return w.VBox([w.HTML(quiet(ABOUT)), self._choices, self.book, files, self.tables])

    @property
    def words(self):
        """The line of words."""
        return self.job.words

    def _board_box(self):
        return self._choices

    def _controls(self, state, answer):
        wired, groups = ("equipment", "wiring", state.group), (g.name for g in state.start.groups)
        volts = state.value((*wired, "line_volts"))
        lines = LINES
        if volts not in [v for _, v in LINES]:
            lines = (*LINES, (f"{volts:g} V line", volts))
        who = tuple((WHO[o], o) for o in OPERATORS)
        types = ((ANY, None), *((n, n) for n in amplifier_types()))
        group = Choice(
            key="wired group",
            value=state.group,
            label="Row",
            options=tuple(groups),
            act=lambda name: self.panel.update(group=name),
            **LOOKS,
        )
        run = Number(
            key=(*wired, "run"),
            value=state.value((*wired, "run")) or 0.0,
            label="Run to the first",  # 0: along walls and roof
            low=0,
            high=MOST_RUN,
            unit="m",
            units=state.units,
            act=self._set_run,
            wide=LOOKS["width"],
        )
        return [
            self._choice("operator", "Run by", who),
            self._number("headroom_db", "Headroom", (0, 24, 1)),
            self._number("cable_loss_db", "Cable may lose", (0.1, 3, 0.1)),
            self._choice("conductor", "Conductors in", CONDUCTORS),
            self._largest(state),
            group,
            self._choice("line_volts", "Wired", lines, wired),
            self._choice("amplifier", "Amplifier", types, wired),
            run,
        ]

    def _choice(self, name, label, options, of=("equipment",)):
        path = (*of, name)
        value, act = self.panel.value(path), self._act(path)
        return Choice(key=path, value=value, label=label, options=options, act=act, **LOOKS)

    def _largest(self, state):
        """The largest conductor that connectors take, in what conductors are counted in."""
        unit = counted_in(self.panel.value(("equipment", "conductor")), state.units)
        name, sizes = ("largest_mm2", MM2) if unit == "mm2" else ("largest_awg", AWG)
        sizes = dict.fromkeys((*sizes, self.panel.value(("equipment", name))))
        options = tuple((conductor_name(size, unit), size) for size in sizes)
        return self._choice(name, "Largest conductor", options)

    def _number(self, name, label, ends):
        low, high, step = ends
        path = ("equipment", name)
        value = self.panel.value(path)
        looks = dict(low=low, high=high, step=step, unit="dB", wide=LOOKS["width"])
        return Number(key=path, value=value, label=label, act=self._act(path), **looks)

    def _act(self, path):
        return lambda value: self.panel.set(path, value)

    def _set_run(self, meters):
        """A run by hand; 0 leaves it to the routes, and nothing shorter than the least run is
        taken.
        """
        units = self.panel.state.units
        if 0 < meters < LEAST_RUN:
            self._say(
                f"A run of {length_text(meters, units)} is too short:"
                f" {length_text(LEAST_RUN, units)} is taken. 0 leaves it to the routes along walls"
                " and roof."
            )
            meters = LEAST_RUN
        self.panel.set(("equipment", "wiring", self.panel.state.group, "run"), meters or None)

    def _booked(self, _change):
        name = self.book.value.strip()
        if name != self.panel.state.price_book:
            self.panel.price_by(name)

    def reprice(self):
        """Say what everything is priced by; see ``Section.reprice``."""
        name, prices = self.panel.state.price_book, self.panel.prices
        self._say(f"Prices from {escape(name)}." if name else "")
        if prices.refusal:
            self.job.refuse(prices.refusal)
        self.fill(self.panel.state, self.panel.answer)

    def _render(self, state, answer):
        """Nothing is written of what cannot be, or by prices that are refused."""
        if self.book.value.strip() != state.price_book:  # an undo
            self.book.value = state.price_book
        possible = answer.possible and not self.panel.prices.refusal
        self.job.allow(possible)
        if not possible:
            self.replace_button.layout.display = HIDDEN

    def _say(self, words):
        self.job.words.value = quiet(words)
        self.replace_button.layout.display = HIDDEN

    def _fill(self, state, answer):
        try:
            made = parts(state.scenario, prices=self.panel.prices.book, rays=answer.rays)
            self.made = timed_parts(made)
            self._render(state, answer)
        except ValueError as error:
            self.made, self.refusal = None, str(error)
            self.job.allow(False)
            self.replace_button.layout.display = HIDDEN
            self.tables.value = tables.card(f"<p>{not_possible(error)}</p>")
            return
        made = (tables.schedule_table(s, state.units) for s in schedules(self.made))
        self.tables.value = tables.card(*made)

    def write(self, overwrite):
        """Write all files for the installer, with all rays.

        Parameters
        ----------
        overwrite : bool
            Whether those of an earlier time may be replaced
        """
        self.fill(self.panel.state, self.panel.answer)
        if self.made is None:
            self.job.refuse(self.refusal)
            return
        scenario, prices, folder = self.made.scenario, self.panel.prices.book, self.panel.folder

        def work(tell, stop):
            made = parts(scenario, prices=prices)
            return handover.write_handover(made, folder, overwrite=overwrite)

        self.replace_button.layout.display = HIDDEN
        self.job.start(work, "Writing schedules and drawings.")

    def _written(self, paths):
        folder = paths[0].parent
        self._say(
            f"{len(paths)} files are in {escape(with_folder(folder))}."
            f" {escape(revisions_sentence(folder))}"
        )

    def _refused(self, error):
        said = str(error)
        if not isinstance(error, FileExistsError | ValueError):
            said = str(getattr(error, "strerror", None) or error)
        self.job.words.value = quiet(escape(said))
        if isinstance(error, FileExistsError):
            self.replace_button.layout.display = SHOWN
