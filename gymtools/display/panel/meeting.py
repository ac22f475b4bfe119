"""The panel of the design meeting: controls beside the picture, the scorecard under it."""

import re
import time
from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as w
import numpy as np

from ...acoustics import seat as seats
from ...acoustics.differences import differences
from ...acoustics.evaluate import evaluate, evaluate_all
from ...acoustics.traced import Tracing
from ...design.arrangements import ARRANGEMENTS, arrange
from ...design.delays import aligned
from ...venue.files import load, save
from ...venue.finishes import FINISHES
from ...venue.hall import TREATABLE, Treatment
from ...venue.microphones import MICROPHONE_TYPES
from ...venue.paths import changed
from ...venue.spectra import SPECTRA
from .. import scene, tables
from ..charts import loudspeaker as loudspeaker_chart
from ..charts import seat as seat_chart
from ..jobs import Beside, Fit, Latest, LiveFigure, Rest
from ..theme import FONT, QUANTITIES, QUIET
from .advice import AdvicePanel
from .aim import AimPanel
from .controls import Knob, chooser, tick
from .options import OptionsPanel
from .parts import PartsPanel
from .trial import Trial
from .uncertainty import SurePanel

ROOM = (
    Knob(
        path=("hall", "length"), label="Length", low=18, high=60, step=0.1, unit="m", feet_step=0.5
    ),
    Knob(path=("hall", "width"), label="Width", low=14, high=50, step=0.1, unit="m", feet_step=0.5),
    Knob(path=("hall", "height"), label="Wall height", low=5, high=16, step=0.1, unit="m"),
    Knob(
        path=("hall", "clear_height"),
        label="Clear under joists",
        low=4,
        high=15,
        step=0.1,
        unit="m",
    ),
)
AIR = (
    Knob(path=("air", "temperature_c"), label="Temperature", low=5, high=35, step=1, unit="°C"),
    Knob(path=("air", "humidity_pct"), label="Humidity", low=10, high=90, step=1, unit="%"),
)
BANK = (
    ("rows", dict(label="Rows", low=1, high=30, step=1, unit="count")),
    ("row_run", dict(label="Row depth", low=0.5, high=1.1, step=0.01, unit="m", feet_step=0.05)),
    ("row_rise", dict(label="Row rise", low=0.0, high=0.5, step=0.01, unit="m", feet_step=0.05)),
    ("length", dict(label="Length", low=3, high=50, step=0.5, unit="m", feet_step=1.0)),
)
CHAIRS = (
    ("length", dict(label="Length", low=2, high=40, step=0.5, unit="m", feet_step=1.0)),
    ("width", dict(label="Width", low=2, high=30, step=0.5, unit="m", feet_step=1.0)),
    ("x", dict(label="East of center", low=-20, high=20, step=0.5, unit="m", feet_step=1.0)),
)
GROUP = (
    ("downtilt_deg", dict(label="Tilt down", low=-10, high=90, step=1, unit="deg")),
    ("pan_deg", dict(label="Pan, 90 is north", low=-180, high=180, step=1, unit="deg")),
    ("height", dict(label="Height", low=2.5, high=15, step=0.1, unit="m")),
    ("x", dict(label="East of center", low=-30, high=30, step=0.1, unit="m")),
    ("y", dict(label="North of center", low=-25, high=25, step=0.1, unit="m")),
    ("number", dict(label="Number", low=1, high=8, step=1, unit="count")),
    ("spacing", dict(label="Spacing", low=0.5, high=20, step=0.1, unit="m")),
    ("splay_deg", dict(label="Turned apart", low=-120, high=120, step=1, unit="deg")),
)
ON_STAGE = (
    ("x", dict(label="Behind the edge", low=0, high=12, step=0.1, unit="m")),
    ("y", dict(label="Along the edge", low=-12, high=12, step=0.1, unit="m")),
)
DRIVE = (
    ("gain_db", dict(label="Gain", low=-20, high=10, step=0.5, unit="dB")),
    ("delay_ms", dict(label="Delay", low=0, high=200, step=1, unit="ms")),
)
USE = (
    ("target_dba", dict(label="Speech level wanted", low=60, high=100, step=1, unit="dB(A)")),
    ("noise_dba", dict(label="Noise", low=30, high=100, step=1, unit="dB(A)")),
)
WAYS = [
    ("the worst way", "worst"),
    ("north", 90.0),
    ("east", 0.0),
    ("south", -90.0),
    ("west", 180.0),
]
TRACE_AFTER = 0.7  # the hand has rested: longer than between two presses of a key [s]
PAINT_EVERY = 0.8  # while the room is being traced [s]
TABS = (
    "Verdicts",
    "All uses",
    "One seat",
    "Where the sound lands",
    "The room",
    "What would help",
    "How sure",
    "Options",
    "Parts and schedules",
    "The loudspeaker",
    "Cautions and limits",
)
PAGE = """<style>
.gt-page .widget-label, .gt-page .widget-readout {{ font-family: {font}; }}
.gt-side {{ overflow: auto; flex: 0 0 auto; }}
.gt-stand > * {{ width: 100%; }}
.gt-page .lm-TabBar-tab {{ min-width: max-content; flex: 0 0 auto !important; }}
.gt-message {{ min-height: 26px; }}
.gt-words {{ line-height: 1.3; }}
.gt-words .widget-html-content {{ white-space: normal; }}
.jp-OutputArea-promptOverlay {{ display: none !important; }}
{hide}
</style>"""
TITLE = (
    "<b>What does every seat hear?</b> <span style='color:{quiet}'>Loudspeakers hang over people;"
    " mains, hearing and emergency announcements can hurt. Local codes, the authority having"
    " jurisdiction and licensed professionals come before anything shown here.</span>"
)
HIDE = """.jp-MarkdownCell, .jp-CodeCell > .jp-Cell-inputWrapper, .jp-OutputPrompt, .jp-Collapser,
.jp-NotebookPanel-toolbar { display: none !important; }"""


class Meeting:
    """The design workbook's panel; ``box`` is what a cell shows.

    The scenario as loaded and the changes made by hand are kept apart; every move builds the
    scenario anew, as a whole, and a combination that cannot be is said in one line while the last
    good picture stays.

    Parameters
    ----------
    scenario : Scenario or str
        What to start from, or the path of its file [-]
    folder : str or Path
        Where "save" writes [-]
    """

    def __init__(self, scenario, folder="."):
        self.folder = Path(folder)
        self.start = load(scenario) if isinstance(scenario, str | Path) else scenario
        self.scenario, self.changes = self.start, {}
        self.treated = self._treatable(self.start)
        self.units, self.use_name = self.start.units, self.start.uses[0].name
        self.file_units = self.start.units
        self.group_name = self.start.groups[0].name
        self.quantity, self.area = "direct 2k", self.start.area_names[0]
        self.walker, self.facing_deg, self.seat = "hand-held wireless", None, None
        self.result = self.by_formula = evaluate(self.scenario, self.use_name)
        self.painter = scene.Painter(self._view(), LiveFigure)
        self.figure = self.painter.figure
        self.live, self.rest, self.long_rest = (
            Latest(self.refresh),
            Rest(self.settle),
            Rest(self._trace_at_rest, TRACE_AFTER),
        )
        self.tracing = Beside(self._traced)
        self._painted = 0.0
        self.room_words, self.room_progress = (
            w.HTML(),
            w.FloatProgress(min=0, max=1, layout=w.Layout(width="220px", visibility="hidden")),
        )
        self.trace_tick = w.Checkbox(
            value=True,
            description="trace the room when nothing moves",
            indent=False,
            layout=w.Layout(width="270px"),
        )
        self.trace_tick.observe(lambda _: self.live(), names="value")
        self.controls, self._filling, self.layout_words = (
            {},
            False,
            w.HTML(layout=w.Layout(width="350px")),
        )
        self.layout_words.add_class("gt-words")
        self.message, self.title = w.HTML(), w.HTML(TITLE.format(quiet=QUIET))
        self.message.add_class("gt-message")
        self.room_words.add_class("gt-room")
        self.back_button = w.Button(
            description="Go back",
            tooltip="Back to the last state that was",
            layout=w.Layout(width="100px", display="none"),
        )
        self.back_button.on_click(lambda _: self.go_back())
        self._good = {}, list(self.treated)
        self.card, self.first_incidence, self.room, self.uses = (
            w.HTML(),
            w.HTML(),
            w.HTML(),
            w.HTML(),
        )
        self._style = w.HTML()
        self._questions, self._side = (
            w.HBox(),
            w.VBox(layout=w.Layout(width="384px", height="740px")),
        )
        self._side.add_class("gt-side")
        self._save = self._saving()
        self.seat_box = self._seat_tab()

        def trial():
            return Trial(self._candidate, self._state, self._set_back)

        self.aims = AimPanel(self._candidate, self._draw_draft, self._take_aim, trial())

        def at_hand():
            return (self._candidate(), self.use_name)

        self.advice = AdvicePanel(at_hand, self._restart, trial())
        self.sure = SurePanel(at_hand)
        self.options = OptionsPanel(
            self._candidate,
            lambda: (self.use_name, self.quantity, self.units),
            self._restart,
            self.folder,
        )
        self.parts = PartsPanel(self._candidate, self.set, self.folder)
        self.closely, self._looked_at = w.VBox([], layout=w.Layout(width="100%")), None
        self.closely.add_class("gt-stand")
        panels = self.advice.box, self.sure.box, self.options.box, self.parts.box, self.closely
        tabs = w.Tab(
            [
                self.card,
                self.uses,
                self.seat_box,
                self.first_incidence,
                self.room,
                *panels,
                w.HTML(tables.card(tables.limits())),
            ]
        )
        for n, title in enumerate(TABS):
            tabs.set_title(n, title)
        self.tabs = tabs
        tabs.selected_index = 0
        tabs.observe(self._say, names="selected_index")
        for trace in self.figure.data:
            if trace.name.startswith("plan map"):
                trace.on_click(self._clicked)
        stand = w.VBox(
            [self.figure, Fit()],
            layout=w.Layout(flex="1 1 auto", min_width="760px", overflow="auto"),
        )
        stand.add_class("gt-stand")
        self.box = w.VBox(
            [
                self._style,
                self.title,
                self._questions,
                w.HBox([self.trace_tick, self.room_words, self.room_progress]),
                w.HBox([self.back_button, self.message]),
                w.HBox([self._side, stand]),
                self.live.error,
                self.tracing.error,
                tabs,
                self._save,
            ]
        )
        self.box.add_class("gt-page")
        self.fold(True)
        self._build()
        self._say()
        self._tell_room()
        self.rest()
        self.long_rest()

    # ---- what is shown
    # -----------------------------------------------------------------------------------

    def _view(self):
        return scene.View(
            result=self.result,
            quantity=self.quantity,
            area=self.area,
            units=self.units,
            walker=self.walker,
            facing_deg=self.facing_deg,
            seat=self.seat,
        )

    def _candidate(self):
        """The scenario as the controls stand."""
        changes = dict(self.changes)
        kept = tuple(t for t in self.treated if t.area > 0)
        if kept != self.start.treatments:
            changes["treatments",] = kept
        changes["units",] = self.units  # for what is said; a file is saved in the units it came in
        return changed(self.start, changes)

    @staticmethod
    def _treatable(scenario):
        """What the scenario treats, and an empty entry for every other surface that could be."""
        there = {t.surface for t in scenario.treatments}
        return [
            *scenario.treatments,
            *(
                Treatment(surface=s, area=0.0, finish="wall panels")
                for s in TREATABLE
                if s not in there
            ),
        ]

    def refresh(self):
        """Evaluate what the controls say and redraw; a refusal is shown, and what it does not touch
        is drawn as it last was.
        """
        refusal = ""
        self.tracing.cancel()
        use_before = self.by_formula.use.name
        try:
            scenario = self._candidate()
            result = formula = evaluate(scenario, self.use_name, follow_echoes=False)
            self._good = dict(self.changes), list(self.treated)
        except ValueError as error:
            refusal, scenario = str(error), self.scenario
            result, formula = self.result, self.by_formula
            if formula.use.name != self.use_name:
                result = formula = evaluate(scenario, self.use_name, follow_echoes=False)
        if self.seat is not None and self.seat >= len(result.points):
            self.seat = None
        if scenario != self.scenario or self.use_name != use_before:
            for panel in (self.aims, self.advice, self.sure):
                panel.discard()
        old, self.result, self.by_formula, self.scenario = self.result, result, formula, scenario
        try:
            self.painter.paint(self._view())
        except ValueError as error:  # a quantity that this use has not got
            refusal, self.result = str(error), old
        shown = (
            f"<b>Not possible:</b> {escape(refusal)} The picture still shows the last state that"
            " was."
        )
        self.message.value = shown if refusal else ""
        self.back_button.layout.display = "inline-flex" if refusal else "none"
        self._tell_room()
        self.rest()
        self.long_rest()

    def go_back(self):
        """Set the controls back to the last state that was possible."""
        self.changes, self.treated = dict(self._good[0]), list(self._good[1])
        if self.result.image_shift_deg is None and self.quantity == "image_shift":
            self.quantity = "speech"
        self._build()
        self.live()

    def settle(self):
        """What the page is spared while the hand moves: first reflections and their verdict, and
        the words under the picture.
        """
        if self.result is self.by_formula:
            self.result.verdicts  # noqa: B018  followed while nothing moves, then remembered
        self._say()

    def _trace_at_rest(self):
        """Begin to trace the room, unless it has been or is not wanted."""
        if self.trace_tick.value and self.result.room != "traced" and not self.aims.aside.running:
            self.tracing.start(Tracing(self.scenario, self.use_name))
            self._tell_room()

    def trace(self):
        """Trace the room to the end here and now; for cells and tests."""
        if self.tracing.job is None:
            self.tracing.start(Tracing(self.scenario, self.use_name))
        self.tracing.finish()

    def _traced(self, job):
        """A piece of the traced room has come: the bar moves, now and then the picture, at the end
        the words too.
        """
        self.room_progress.value = job.progress
        if not job.ready and (not job.started or time.monotonic() - self._painted < PAINT_EVERY):
            return
        self.result = evaluate(self.scenario, self.use_name, room=job.field)
        self.painter.paint(self._view())
        self._painted = time.monotonic()
        if job.ready:
            self._say()
            self.tracing.job = None
        self._tell_room()

    def _tell_room(self):
        """Which of the two rooms is shown, and how far the trace has come."""
        job = self.tracing.job
        self.room_progress.layout.visibility = "hidden" if job is None else "visible"
        self.room_progress.value = 0.0 if job is None else job.progress
        words = tables.room_shown(self.result)
        self.room_words.value = (
            f'<span style="color:{QUIET}">{words}{"; tracing it" if job is not None else ""}</span>'
        )

    def _say(self, _change=None):
        """Fill the tab that is open; the others are filled when they are opened."""
        tab = TABS[self.tabs.selected_index or 0]
        if tab == "Verdicts":
            plain = f'<p class="quiet">{escape(QUANTITIES[self.quantity].plain)}</p>'
            why = tables.differences_list(differences(self.by_formula, self.result))
            self.card.value = tables.card(
                tables.headline(self.result), plain, tables.verdict_table(self.result), why
            )
        elif tab == "All uses":
            self.uses.value = tables.card(tables.uses_table(evaluate_all(self.scenario)))
        elif tab == "One seat":
            self._show_seat()
        elif tab == "Where the sound lands":
            self.first_incidence.value = tables.card(tables.landing_table(self.result))
        elif tab == "Parts and schedules":
            self.parts.show()
        elif tab == "The loudspeaker":
            self._look_closely()
        elif tab == "Options" and self.options.options:
            self.options.redraw()
        elif tab == "The room":
            self.room.value = tables.card(tables.room_table(self.result, self.units))

    def _look_closely(self):
        """The chosen group's type of loudspeaker: polars, angles, index, balloon."""
        own = self.scenario.in_group(self.group_name) or self.scenario.loudspeakers
        kind = own[0].type
        if self._looked_at == kind:
            return
        self._looked_at = kind
        words = (
            f"<p><b>{escape(kind.name)}</b>, {escape(kind.description)};"
            f" {escape(loudspeaker_chart.mark(kind))}. Rated {kind.rated_w:g} W,"
            f" {kind.impedance_ohm:g} ohm, {kind.weight_kg:g} kg.</p>"
        )
        self.closely.children = [
            w.HTML(tables.card(words)),
            LiveFigure(loudspeaker_chart.figure(kind)),
            Fit(),
        ]

    # ---- one seat
    # -----------------------------------------------------------------------------------

    def _seat_tab(self):
        self.seat_area = w.Dropdown(description="Area", layout=w.Layout(width="260px"))
        self.seat_row = w.BoundedIntText(
            description="Row", min=1, max=200, value=1, layout=w.Layout(width="170px")
        )
        self.seat_place = w.BoundedIntText(
            description="Place", min=1, max=500, value=1, layout=w.Layout(width="170px")
        )
        self.seat_words = w.HTML()
        self.seat_figure = None
        self.seat_stand = w.VBox([], layout=w.Layout(width="100%"))
        for box in (self.seat_area, self.seat_row, self.seat_place):
            box.observe(self._typed, names="value")
        hint = w.HTML(
            f'<span style="color:{QUIET}">Click a place in the plan, or type row and place.</span>'
        )
        return w.VBox(
            [
                w.HBox([self.seat_area, self.seat_row, self.seat_place, hint]),
                self.seat_words,
                self.seat_stand,
            ]
        )

    def _clicked(self, _trace, points, _state):
        if not points.xs or self.quantity == "feedback_margin":
            return
        at = np.array([points.xs[0], points.ys[0]]) / self._view().k
        self.look_at(int(np.argmin(np.linalg.norm(self.result.points[:, :2] - at, axis=1))))

    def _typed(self, _change):
        if self._filling or self.seat_area.value not in self.result.configuration.areas:
            return
        area = self.result.configuration.areas[self.seat_area.value]
        start = int(np.flatnonzero(self.result.area == area.name)[0])
        row, place = min(self.seat_row.value, area.rows), min(self.seat_place.value, area.columns)
        self.look_at(start + (row - 1) * area.columns + place - 1)

    def look_at(self, index):
        """Look at one seat closely: marks it in the plan and opens its tab.

        Parameters
        ----------
        index : int
            Which of the result's points [-]
        """
        self.seat = index
        self.painter.paint(self._view())
        if self.tabs.selected_index == TABS.index("One seat"):
            self._show_seat()
        else:
            self.tabs.selected_index = TABS.index("One seat")

    def _show_seat(self):
        if self.seat is None:
            self.seat = self.result.areas[0].quietest
            self.painter.paint(self._view())
        found = seats.look(self.result, self.seat)
        name = str(self.result.area[self.seat])
        area = self.result.configuration.areas[name]
        row, place = divmod(
            self.seat - int(np.flatnonzero(self.result.area == name)[0]), area.columns
        )
        self._filling = True
        self.seat_area.options = list(self.result.configuration.areas)
        self.seat_area.value, self.seat_row.value, self.seat_place.value = name, row + 1, place + 1
        self._filling = False
        gain = max(found.without, key=found.without.get)
        self.seat_words.value = tables.card(
            f"<p><b>{escape(found.place)}</b>: STI {found.sti:.2f},"
            f" {self.result.speech_dba[self.seat]:.0f} dB(A). What limits it most: <b>{gain}</b>"
            f" (without it {found.without[gain]:.2f}).</p>"
        )
        if (
            self.seat_figure is None
        ):  # made when first looked at: a second live figure is heavy to send
            self.seat_figure = LiveFigure(seat_chart.figure(found))
            self.seat_stand.children = [self.seat_figure, Fit()]
            return
        with self.seat_figure.batch_update():
            for trace, new in zip(self.seat_figure.data, seat_chart.layers(found), strict=True):
                trace.update(new)

    # ---- controls
    # -----------------------------------------------------------------------------------

    def set(self, path, value):
        """Change one value of the scenario, as a slider does.

        Parameters
        ----------
        path : tuple
            As for ``venue.paths.changed`` [-]
        value : any
            New value [SI]
        """
        self.changes[path] = value
        self.live()

    def value(self, path):
        """Present value of a path: as changed by hand, else as in the scenario started from.

        Parameters
        ----------
        path : tuple
            As for ``venue.paths.changed`` [-]

        Returns
        -------
        value : any
            In SI
        """
        if path in self.changes:
            return self.changes[path]
        thing = self.start
        for step in path:
            if isinstance(thing, dict):
                thing = thing.get(step)
            else:
                thing = thing[step] if isinstance(step, int) else getattr(thing, step)
        return thing

    def _knob(self, prefix, name, words, fallback=None):
        path = (*prefix, name)
        value = self.value(path)
        return self._slider(Knob(path=path, **words), fallback if value is None else value)

    def _slider(self, adjustment, value):
        slider = adjustment.slider(value, self.units, self.set)
        self.controls[adjustment.path] = slider
        return slider

    def _choose(self, path, label, options, value=None):
        box = chooser(
            label,
            options,
            self.value(path) if value is None else value,
            lambda new: self.set(path, new),
        )
        self.controls[path] = box
        return box

    def _build(self):
        """Make all controls anew from the values that are kept."""
        self.controls = {}
        opened = self._sections.selected_index if hasattr(self, "_sections") else 2
        self._questions.children = self._question_row()
        parts = [
            self._room(),
            self._seats(),
            self._loudspeakers(),
            self._microphones(),
            self._use(),
            self.aims.box,
        ]
        self._sections = w.Accordion(parts, selected_index=opened)
        for n, title in enumerate(
            (
                "The room",
                "The seats",
                "The loudspeakers",
                "The microphones",
                "The use: people, noise, level",
                "A better aim",
            )
        ):
            self._sections.set_title(n, title)
        self._side.children = [self._sections]

    def _question_row(self):
        def narrow(box, width):
            return (
                setattr(box.layout, "width", width),
                setattr(box.style, "description_width", "initial"),
                box,
            )[-1]

        uses = narrow(
            chooser("Use", [u.name for u in self.start.uses], self.use_name, self._switch_use),
            "220px",
        )
        shown = [(q.label, key) for key, q in QUANTITIES.items()]
        quantity = narrow(chooser("Show", shown, self.quantity, self._switch_quantity), "300px")
        there = list(self._configuration().areas)
        self.area = self.area if self.area in there else there[0]
        cut = narrow(chooser("Section through", there, self.area, self._switch_area), "280px")
        units = w.ToggleButtons(
            options=[("feet", "ft"), ("meters", "m")],
            value=self.units,
            style=dict(button_width="76px"),
        )
        units.observe(lambda change: self._switch_units(change["new"]), names="value")
        code = w.ToggleButton(
            value=not self.folded, description="Show the code", layout=w.Layout(width="130px")
        )
        code.observe(lambda change: self.fold(not change["new"]), names="value")
        self.controls |= {
            "use": uses,
            "quantity": quantity,
            "area": cut,
            "units": units,
            "code": code,
        }
        return [uses, quantity, cut, units, code]

    def _configuration(self):
        """The hall in the present use, as the controls stand if that can be."""
        try:
            return self._candidate().configuration(self.use_name)
        except ValueError:
            return self.scenario.configuration(self.use_name)

    def _room(self):
        finishes = sorted(FINISHES)
        hall = self.start.hall
        rows = [self._slider(k, self.value(k.path)) for k in ROOM]
        if hall.ridge_height is not None:
            ridge = Knob(
                path=("hall", "ridge_height"),
                label="Ridge height",
                low=5,
                high=20,
                step=0.1,
                unit="m",
            )
            rows.append(self._slider(ridge, self.value(ridge.path)))
        rows += [
            self._choose(("hall", part), label, finishes)
            for part, label in (("roof", "Roof finish"), ("walls", "Wall finish"))
        ]
        rows.append(w.HTML("<b>Treatment</b>"))
        for n, t in enumerate(self.treated):
            adjustment = Knob(
                path=("treatment", n), label=f"{t.surface}", low=0, high=600, step=1, unit="m2"
            )
            slider = adjustment.slider(
                t.area, self.units, lambda path, area: self._treat(path[1], area=area)
            )
            kind = chooser(
                "of", finishes, t.finish, lambda finish, n=n: self._treat(n, finish=finish)
            )
            self.controls |= {adjustment.path: slider, ("treatment", n, "finish"): kind}
            rows += [slider, kind]
        return w.VBox(rows + [self._slider(k, self.value(k.path)) for k in AIR])

    def _treat(self, n, **new):
        self.treated[n] = replace(self.treated[n], **new)
        self.live()

    def _seats(self):
        rows = []
        use = self._use_number()
        for n, bank in enumerate(self.start.banks):
            rows.append(w.HTML(f"<b>{escape(bank.name)}</b>"))
            opened = bank.name not in self.value(("uses", use, "closed"))
            rows.append(
                self._listed("closed", bank.name, "pulled out in this use", opened, keep=False)
            )
            rows += [self._knob(("banks", n), name, words) for name, words in BANK]
            if opened:
                rows.append(self._occupied(use, bank.name))
        for n, block in enumerate(self.start.floor_seats):
            rows.append(w.HTML(f"<b>{escape(block.name)}</b>"))
            standing = block.name in self.value(("uses", use, "set_up"))
            rows.append(
                self._listed("set_up", block.name, "set out in this use", standing, keep=True)
            )
            if standing:
                rows += [self._knob(("floor_seats", n), name, words) for name, words in CHAIRS]
                rows.append(self._occupied(use, block.name))
        for platform in self.start.portable_stages:
            standing = platform.name in self.value(("uses", use, "set_up"))
            rows.append(w.HTML(f"<b>{escape(platform.name)}</b>"))
            rows.append(
                self._listed("set_up", platform.name, "set out in this use", standing, keep=True)
            )
        if self.start.stage:
            path = ("uses", use, "curtain_open")
            curtain = tick(
                "open in this use", self.value(path), lambda new: self._rebuilt(path, new)
            )
            self.controls[path] = curtain
            rows += [w.HTML("<b>Stage curtain</b>"), curtain]
        return w.VBox(rows or [w.HTML("There is no seating in this scenario.")])

    def _listed(self, word, name, label, ticked, *, keep):
        """Box to tick that puts a name on one of the use's lists (or takes it off, where being on
        it means not being there).
        """
        path = ("uses", self._use_number(), word)

        def changed_to(on):
            others = [n for n in self.value(path) if n != name]
            self._rebuilt(path, tuple([*others, name] if on == keep else others))

        box = tick(label, ticked, changed_to)
        self.controls[(*path, name)] = box
        return box

    def _rebuilt(self, path, value):
        """Change a value that decides which controls there are."""
        self.changes[path] = value
        self._build()
        self.live()

    def _occupied(self, use, name):
        adjustment = Knob(
            path=("uses", use, "occupied", name), label="Share taken", low=0, high=1, step=0.05
        )
        return self._slider(adjustment, self.value(adjustment.path) or 0.0)

    def _loudspeakers(self):
        names = [g.name for g in self.start.groups]
        n = names.index(self.group_name)
        group = chooser("Group", names, self.group_name, self._switch_group)
        self.controls["group"] = group
        types = [(f"{t.name}", t.name) for t in self.start.loudspeaker_types.values()]
        layouts = chooser(
            "Start from",
            [("the present layout", ""), *((a.title, key) for key, a in ARRANGEMENTS.items())],
            "",
            self._arrange,
        )
        self.controls["arrangement"] = layouts
        rows = [
            layouts,
            self.layout_words,
            group,
            self._choose(("groups", n, "loudspeaker"), "Loudspeaker", types),
        ]
        rows += [self._knob(("groups", n), name, words) for name, words in GROUP]
        prefix = ("uses", self._use_number(), "groups", self.group_name)
        group_setting = self.start.use(self.use_name).group_setting(self.group_name)
        on = (*prefix, "on")
        box = tick(
            "plays in this use",
            self.changes.get(on, group_setting.on),
            lambda new: self.set(on, new),
        )
        self.controls[on] = box
        rows.append(box)
        for name, words in DRIVE:
            adjustment = Knob(path=(*prefix, name), **words)
            rows.append(
                self._slider(
                    adjustment, self.changes.get(adjustment.path, getattr(group_setting, name))
                )
            )
        leads = [
            ("set delays so that ... leads", ""),
            ("the talker", "talker"),
            *((g.name, g.name) for g in self.start.groups),
        ]
        lead = chooser("Delays", leads, "", self._align)
        self.controls["lead"] = lead
        rows.append(lead)
        return w.VBox(rows)

    def _arrange(self, key):
        """Start anew from an arrangement; what was set by hand in the room and the seats stays."""
        if not key:
            return
        try:
            arranged = arrange(self._candidate(), key)
        except ValueError as error:
            self.layout_words.value = (
                f"<b>{escape(ARRANGEMENTS[key].title)} does not fit this hall:</b>"
                f" {escape(str(error))}"
            )
            self.controls["arrangement"].value = ""
            return
        chosen = ARRANGEMENTS[key]
        self.layout_words.value = (
            f"<b>{escape(chosen.title)}.</b> {escape(chosen.fits)} <i>It gives up:</i>"
            f" {escape(chosen.gives_up)}"
        )
        self._restart(arranged)

    def _align(self, lead):
        if not lead:
            return
        try:
            self._restart(aligned(self._candidate(), self.use_name, lead=lead))
        except ValueError as error:
            self.message.value = f"<b>Not possible:</b> {escape(str(error))}"
            self.controls["lead"].value = ""

    def _draw_draft(self, scenario):
        """Show a scenario that a search has come upon, by formula."""
        self.tracing.cancel()
        self.result = evaluate(scenario, self.use_name, follow_echoes=False)
        self.painter.paint(self._view())
        self._tell_room()

    def _take_aim(self, changes):
        """Set the controls to what a search found."""
        for (kind, name, *rest), value in changes.items():  # the controls count things
            names = [thing.name for thing in getattr(self.start, kind)]
            self.changes[kind, names.index(name), *rest] = value
        self._build()
        self.live()

    def _state(self):
        """Everything that the controls hold of the scenario."""
        return self.start, dict(self.changes), list(self.treated)

    def _set_back(self, state):
        """Set the controls to a state that was held before."""
        self.start, self.changes, self.treated = state
        self._good = dict(self.changes), list(self.treated)
        if self.group_name not in [g.name for g in self.start.groups]:
            self.group_name = self.start.groups[0].name
        self._build()
        self.live()

    def _restart(self, scenario):
        """Go on from a scenario that was made whole."""
        self.start, self.changes = scenario, {}
        self.treated = self._treatable(scenario)
        self._good = {}, list(self.treated)
        if self.group_name not in [g.name for g in scenario.groups]:
            self.group_name = scenario.groups[0].name
        self._build()
        self.live()

    def _microphones(self):
        use, n = self.start.uses[self._use_number()], self._use_number()
        opened = self.value(("uses", n, "microphones"))
        rows = [w.HTML(f"<b>Open in {escape(use.name)}</b>")]
        for k, m in enumerate(self.start.microphones):
            box = tick(
                f"{m.name} ({m.type})",
                m.name in opened,
                lambda on, name=m.name: self._open(name, on),
            )
            box.layout.margin = "0 0 0 20px"
            self.controls["microphones", k, "open"] = box
            rows.append(box)
            if m.name in opened:
                rows.append(
                    self._choose(("microphones", k, "type"), "Type", list(MICROPHONE_TYPES))
                )
                kind = MICROPHONE_TYPES[self.value(("microphones", k, "type"))]
                mouth = Knob(
                    path=("microphones", k, "distance"),
                    label="Mouth away",
                    low=kind.nearest,
                    high=kind.farthest,
                    step=0.005,
                    unit="m",
                    feet_step=0.02,
                )
                rows.append(self._slider(mouth, self.value(mouth.path) or kind.distance))
                if m.walks is None:
                    rows += [
                        self._knob(("microphones", k), axis, words)
                        for axis, words in (ON_STAGE if m.on == "stage" else GROUP)
                        if axis in "xy"
                    ]
                rows.append(
                    self._choose_way(
                        ("microphones", k, "facing_deg"),
                        self.value(("microphones", k, "facing_deg")),
                    )
                )
        if not self.start.microphones:
            rows.append(w.HTML("There is no microphone in this scenario."))
        rows.append(w.HTML("<b>The walking map</b> shows where a wireless microphone may go"))
        wireless = [name for name, kind in MICROPHONE_TYPES.items() if kind.wireless]
        walker = chooser("Microphone", wireless, self.walker, self._switch_walker)
        way = chooser(
            "Talker faces",
            WAYS,
            "worst" if self.facing_deg is None else self.facing_deg,
            self._switch_way,
        )
        show = w.Button(
            description="Show the walking map",
            layout=w.Layout(width="220px", margin="4px 0 4px 146px"),
        )
        show.on_click(lambda _: setattr(self.controls["quantity"], "value", "feedback_margin"))
        self.controls |= {"walker": walker, "way": way, "show walking map": show}
        return w.VBox([*rows, walker, way, show])

    def _choose_way(self, path, now):
        now = "worst" if now is None else now
        ways = WAYS if now in [v for _, v in WAYS] else [*WAYS, (f"{now:g}°", now)]
        box = chooser(
            "Talker faces", ways, now, lambda new: self.set(path, None if new == "worst" else new)
        )
        self.controls[path] = box
        return box

    def _open(self, name, on):
        path = ("uses", self._use_number(), "microphones")
        now = [m for m in self.value(path) if m != name]
        self._rebuilt(path, tuple(now + [name] if on else now))

    def _switch_walker(self, name):
        self.walker = name
        self.live()

    def _switch_way(self, facing):
        self.facing_deg = None if facing == "worst" else facing
        self.live()

    def _use(self):
        n = self._use_number()
        use = self.start.uses[n]
        rows = [
            self._knob(("uses", n), name, words)
            for name, words in USE
            if name != "noise_dba" or use.noise_dba is not None
        ]
        if use.noise_dba is not None:
            rows.append(self._choose(("uses", n, "noise_spectrum"), "Kind of noise", list(SPECTRA)))
        for name in self.start.area_names:
            adjustment = Knob(
                path=("uses", n, "listens", name), label=f"Weight, {name}", low=0, high=1, step=0.1
            )
            rows.append(self._slider(adjustment, self.value(adjustment.path) or 0.0))
        return w.VBox(rows)

    def _use_number(self):
        return [u.name for u in self.start.uses].index(self.use_name)

    def _switch_use(self, name):
        self.use_name, self.seat = name, None
        self._build()
        self.live()

    def _switch_group(self, name):
        self.group_name = name
        self._build()
        self._say()

    def _switch_units(self, units):
        self.units = units
        self._build()
        self.options.offer_again()
        self.live()

    def _switch_quantity(self, key):
        self.quantity = key
        self.live()

    def _switch_area(self, name):
        self.area = name
        self.live()

    def fold(self, folded):
        """Hide the notebook's code and tools for the meeting, or show them.

        Parameters
        ----------
        folded : bool
            Hide them [-]
        """
        self.folded = folded
        self._style.value = PAGE.format(font=FONT, hide=HIDE if folded else "")

    # ---- saving
    # -----------------------------------------------------------------------------------

    def _saving(self):
        self.file_name = w.Text(
            value=f"{self.start.name.split()[0].lower()}-option.toml",
            description="Save as",
            layout=w.Layout(width="330px"),
        )
        self.save_button = w.Button(description="Save scenario", layout=w.Layout(width="130px"))
        self.replace_button = w.Button(
            description="Replace it", layout=w.Layout(width="110px", display="none")
        )
        self.saved = w.HTML()
        self.save_button.on_click(lambda _: self._write(False))
        self.replace_button.on_click(lambda _: self._write(True))
        self.file_name.observe(lambda _: self._ask(""), names="value")
        return w.HBox([self.file_name, self.save_button, self.replace_button, self.saved])

    def _ask(self, text, replace=False):
        self.saved.value = f'<span style="color:{QUIET}">{escape(text)}</span>'
        self.replace_button.layout.display = "inline-flex" if replace else "none"

    def _write(self, overwrite):
        self.live.flush()
        name = self.file_name.value.strip()
        if not re.fullmatch(r"\w[\w .()-]*", name):
            return self._ask("Give a plain file name without folders, e.g. option-a.toml.")
        if self.message.value:
            return self._ask("The controls stand at something that cannot be; nothing was saved.")
        path = self.folder / (name if name.endswith(".toml") else f"{name}.toml")
        try:
            save(replace(self.scenario, units=self.file_units), path, overwrite=overwrite)
        except FileExistsError as error:
            return self._ask(str(error), replace=True)
        except OSError as error:
            return self._ask(f"{path.name} could not be written: {error.strerror}.")
        self._ask(f"Saved as {path.name}.")


def meeting(scenario, folder="."):
    """The design workbook's panel on a scenario.

    Parameters
    ----------
    scenario : Scenario or str
        A scenario, or the path of its file [-]
    folder : str or Path
        Where "save" writes [-]

    Returns
    -------
    meeting : Meeting
        Show its ``box``
    """
    return Meeting(scenario, folder)
