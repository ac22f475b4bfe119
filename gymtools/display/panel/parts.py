"""From design to parts, as controls: what drives the loudspeakers, the schedules, and the files for
the installer.
"""

from html import escape

import ipywidgets as w

from ...equipment.prices import read_prices
from ...equipment.schedules import parts, schedules
from ...venue.amplifiers import amplifier_types
from ...venue.quantity import limits
from ...venue.units import FOOT, length_text
from ...venue.wiring import OPERATORS, Wiring
from .. import tables
from ..documents import handover
from ..theme import QUIET

ABOUT = (
    "What the design takes: power, channels, cable, inputs and money. Everything follows the"
    " controls; what is chosen here is part of the scenario."
)
WHO = {"nobody": "nobody (it runs by itself)", "teacher": "teachers", "trained": "a trained person"}
RUN = "Run to the first [{}]"  # 0: along walls and roof
LEAST_RUN, MOST_RUN, _ = limits(Wiring, "run")  # [m]
ANY = "chosen by need and price"


class PartsPanel:
    """Schedules with the choices that make them; ``box`` is what the page shows.

    Parameters
    ----------
    base : callable
        Gives the scenario as it stands [-]
    put : callable
        Called with (path, value) to change the scenario [-]
    folder : Path
        Where price books are looked for and files are written [-]
    """

    def __init__(self, base, put, folder):
        self.base, self.put, self.folder, self.prices, self.made = base, put, folder, None, None
        narrow = dict(style=dict(description_width="150px"))
        lay = w.Layout(width="330px")
        self.operator = w.Dropdown(
            options=[(WHO[o], o) for o in OPERATORS],
            value="teacher",
            description="Run by",
            layout=lay,
            **narrow,
        )
        self.headroom = w.BoundedFloatText(
            min=0, max=24, step=1, value=10, description="Headroom [dB]", layout=lay, **narrow
        )
        self.loss = w.BoundedFloatText(
            min=0.1,
            max=3,
            step=0.1,
            value=0.5,
            description="Cable may lose [dB]",
            layout=lay,
            **narrow,
        )
        self.conductor = w.Dropdown(
            options=[("as the units", None), ("AWG", "awg"), ("mm²", "mm2")],
            value=None,
            description="Conductors in",
            layout=lay,
            **narrow,
        )
        self.group = w.Dropdown(options=[], description="Group", layout=lay, **narrow)
        self.line = w.Dropdown(
            options=[("driven directly", None), ("70.7 V line", 70.7), ("100 V line", 100.0)],
            value=None,
            description="Wired",
            layout=lay,
            **narrow,
        )
        self.amplifier = w.Dropdown(
            options=[(ANY, None), *((n, n) for n in amplifier_types())],
            value=None,
            description="Amplifier",
            layout=lay,
            **narrow,
        )
        self.run = w.BoundedFloatText(
            min=0,
            max=int(MOST_RUN),
            step=1,
            value=0,
            description=RUN.format("m"),
            layout=lay,
            **narrow,
        )
        self.book = w.Text(
            value="",
            placeholder="the package's invented prices",
            description="Price book (CSV)",
            layout=lay,
            **narrow,
        )
        self.write_button = w.Button(
            description="Write schedules and drawings", layout=w.Layout(width="230px")
        )
        self.replace_button = w.Button(
            description="Replace them", layout=w.Layout(width="120px", display="none")
        )
        self.words, self.tables = w.HTML(), w.HTML()
        self._filling = False
        for box, key in (
            (self.operator, "operator"),
            (self.headroom, "headroom_db"),
            (self.loss, "cable_loss_db"),
            (self.conductor, "conductor"),
        ):
            box.observe(
                lambda change, key=key: self._set(("equipment", key), change["new"]), names="value"
            )
        self.run.observe(lambda change: self._set_run(change["new"]), names="value")
        for box, key in ((self.line, "line_volts"), (self.amplifier, "amplifier")):
            box.observe(
                lambda change, key=key: self._set(
                    ("equipment", "wiring", self.group.value, key), change["new"] or None
                ),
                names="value",
            )
        self.group.observe(lambda _: self._fill(), names="value")
        self.book.observe(lambda _: self._read(), names="value")
        self.book.continuous_update = False
        self.write_button.on_click(lambda _: self.write(False))
        self.replace_button.on_click(lambda _: self.write(True))
        hint = w.HTML(f'<span style="color:{QUIET}">{ABOUT}</span>')
        choices = [
            w.VBox([self.operator, self.headroom, self.loss]),
            w.VBox([self.conductor, self.book]),
            w.VBox([self.group, self.line, self.amplifier, self.run]),
        ]
        self.box = w.VBox(
            [
                hint,
                w.HBox(choices, layout=w.Layout(flex_flow="row wrap")),
                w.HBox([self.write_button, self.replace_button, self.words]),
                self.tables,
            ]
        )

    def _set(self, path, value):
        if not self._filling:
            self.put(path, value)

    def _set_run(self, value):
        """A run in the units of the page; 0 leaves it to the routes, and nothing shorter than the
        least run is taken.
        """
        if self._filling:
            return
        units = self.base().units
        meters = value * (FOOT if units == "ft" else 1.0)
        if 0 < meters < LEAST_RUN:
            self._say(
                f"A run of {length_text(meters, units)} is too short:"
                f" {length_text(LEAST_RUN, units)} is taken. 0 leaves it to the routes along walls"
                " and roof."
            )
            meters = LEAST_RUN
        self._set(("equipment", "wiring", self.group.value, "run"), meters or None)

    def _fill(self):
        """Show what the scenario says of its equipment."""
        scenario = self.base()
        e, names = scenario.equipment, [g.name for g in scenario.groups]
        self._filling = True
        try:
            if list(self.group.options) != names:
                kept = self.group.value
                self.group.options = names
                self.group.value = kept if kept in names else names[0]
            wiring = e.wired(self.group.value)
            self.operator.value, self.headroom.value, self.loss.value, self.conductor.value = (
                e.operator,
                e.headroom_db,
                e.cable_loss_db,
                e.conductor,
            )
            volts = [v for _, v in self.line.options]
            if wiring.line_volts not in volts:
                self.line.options = [
                    *self.line.options,
                    (f"{wiring.line_volts:g} V line", wiring.line_volts),
                ]
            self.line.value, self.amplifier.value = wiring.line_volts, wiring.amplifier
            per = FOOT if scenario.units == "ft" else 1.0
            self.run.description, self.run.max = RUN.format(scenario.units), int(MOST_RUN / per)
            self.run.value = round((wiring.run or 0) / per, 2)
        finally:
            self._filling = False

    def _read(self):
        name = self.book.value.strip()
        try:
            self.prices = read_prices(self.folder / name) if name else None
            self._say(f"Prices from {escape(name)}." if name else "")
        except ValueError as error:
            self._say(f"<b>Not possible:</b> {escape(str(error))}")
        self.show()

    def _say(self, words, replace=False):
        self.words.value = f'<span style="color:{QUIET}">{words}</span>' if words else ""
        self.replace_button.layout.display = "inline-flex" if replace else "none"

    def show(self):
        """Compute and show all schedules of the scenario as it stands."""
        try:
            self._fill()
            self.made = parts(self.base(), prices=self.prices)
        except ValueError as error:
            self.made = None
            self.tables.value = tables.card(f"<p><b>Not possible:</b> {escape(str(error))}</p>")
            return
        self.tables.value = tables.card(*(tables.schedule_table(s) for s in schedules(self.made)))

    def write(self, overwrite):
        """Write all files for the installer.

        Parameters
        ----------
        overwrite : bool
            Whether those of an earlier time may be replaced [-]
        """
        self.show()
        if self.made is None:
            return
        try:
            paths = handover.write_handover(self.made, self.folder, overwrite=overwrite)
        except FileExistsError as error:
            return self._say(escape(str(error)), replace=True)
        except OSError as error:
            return self._say(f"<b>Not possible:</b> {escape(str(error.strerror or error))}")
        self._say(f"{len(paths)} files are in {escape(paths[0].parent.name)}.")
