"""The panel of the design meeting: controls beside the picture, the words under it."""

from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as w

from ...acoustics.evaluate import evaluate
from ...commissioning.existing import kept_before
from ...venue.files import load
from ...venue.new_school import NewSchool
from ...venue.paths import range_at
from .. import scene
from ..jobs import Debounce, Throttle
from ..live import FigureFrame
from ..theme import missing_quantity, shown_quantity
from .advice import AdviceTab
from .aim import AimSection
from .answer import answered, with_rays
from .board import BoardSection
from .controls import Choice, Slider, SliderSpec, Tick, show_only
from .essentials import EssentialsSection
from .fixtures import FixturesSection
from .go_on import GoOnSection, in_kernel
from .kept import KeptStrip
from .lifeline import LifelineSection, Page
from .listen import ListenTab
from .loudspeaker_type import LoudspeakerTab
from .loudspeakers import LoudspeakersSection
from .microphones import MicrophonesSection
from .options import OptionsTab
from .page import CAUTION, quiet
from .parts import PartsTab
from .plan import PlanSection
from .price_book import ChosenPrices
from .readouts import LandingTab, LimitsTab, VerdictsTab
from .ringing import RoomTab
from .room import RoomSection
from .save import SaveSection
from .seat import SEAT_TABS, SeatTab, looked_at
from .seats import SeatsSection
from .state import History, PanelState
from .toolbar import PageStyle, Refusals, Toolbar
from .tracing import TraceSection
from .uncertainty import SureTab
from .use import UseSection

SIDE = (
    RoomSection,
    SeatsSection,
    FixturesSection,
    LoudspeakersSection,
    MicrophonesSection,
    UseSection,
    AimSection,
)
TABS = (  # in the order of a meeting; the designer's own come last
    VerdictsTab,
    AdviceTab,
    OptionsTab,
    SureTab,
    PartsTab,
    SeatTab,
    ListenTab,
    LandingTab,
    RoomTab,
    LoudspeakerTab,
    LimitsTab,
)
TAB_KEYS = tuple(tab.key for tab in TABS)
FRAME = (
    PageStyle,
    LifelineSection,
    GoOnSection,
    Toolbar,
    TraceSection,
    Refusals,
    SaveSection,
    EssentialsSection,
    PlanSection,
    BoardSection,
    KeptStrip,
)
STEP = 1.0  # without a change of a value: the next change of it is a step of its own [s]
LARGE = ("space", "drawing")  # what may fill the picture's frame alone
OPEN = SIDE.index(LoudspeakersSection)  # section that is open at first


class Meeting:
    """The design workbook's panel; ``box`` is what a cell shows.

    It holds one state with its history, and the answer to it. Sections render from both and call
    ``update``; every change evaluates the scenario as a whole, and a combination that cannot be is
    said in one line while the last possible picture stays.

    Parameters
    ----------
    scenario : Scenario or str
        What to start from, or the path of its file
    folder : str or Path
        Where files are written
    alone : bool
        Cover the notebook, but for its bars, until its text and code are asked for
    journal : bool, optional
        Keep a journal in the folder, so that nothing is lost with the kernel; in the kernel of a
        notebook when left out
    closed : dict, optional
        By the key of a section or tab that is closed, what stands in its place; "arrangement" is
        the list of arrangements, "schools" the way to another school, "size" what of the gym and
        the seats is always in sight

    Raises
    ------
    ValueError
        Where the file cannot be read as a scenario
    """

    def __init__(self, scenario, folder=".", *, alone=False, journal=None, closed=None):
        start = load(scenario) if isinstance(scenario, str | Path) else scenario
        file = Path(scenario) if isinstance(scenario, str | Path) else Path()
        self.folder, self.folders, self.alone = Path(folder), (file.parent,), alone
        self.closed = dict(closed or {})
        self.prices = ChosenPrices(folder)
        self.history = History(PanelState.of(start, file.name))
        self.answer, self._possible = answered(self.state), self.state
        self.live, self.rest = Throttle(self.refresh), Debounce(self.settle)
        self.step = Debounce(self.history.close, STEP)
        self._form = None  # of a new school, while it lies over the panel
        self._folded = set()  # kinds of folded sections that show an earlier state
        self._drawn = self._view(self.answer.result)
        self.frame = FigureFrame(
            scene.figure(self._drawn, scene.SPACE),
            lambda: scene.figure(self._drawn, scene.SPACE),
            self._new_figure,
        )
        self.painter = scene.Painter(self._drawn, self.frame.figure, scene.SPACE)
        self.sections = {kind: kind(self) for kind in (*FRAME, *SIDE, *TABS)}
        self._tabs = w.Tab(self._shown_boxes(TABS), selected_index=0)
        self._tabs.add_class("gt-tabs")
        self.box = self._page()
        self.sections[KeptStrip].on_ghost(self.sections[PlanSection].show_ghost)
        self.refresh()
        if in_kernel() if journal is None else journal:
            self.sections[GoOnSection].keep_journal()
        self._keep_before(file)

    def _keep_before(self, file):
        """Keep the gym as it sounds today, where a survey has left it beside the school's file."""
        try:
            designs = kept_before(file)
        except ValueError as error:
            self.options.refuse(error)
            return
        if designs:
            self.options.restore(designs)

    # ---- what stands

    @property
    def state(self):
        """What the controls are set to."""
        return self.history.present

    @property
    def start(self):
        """The scenario started from."""
        return self.state.start

    @property
    def scenario(self):
        """The scenario that is shown: the last one that can be."""
        return self.answer.scenario

    @property
    def result(self):
        """The evaluation that is shown."""
        return self.answer.result

    @property
    def first(self):
        """The evaluation of what is shown with few rays."""
        return self.answer.first

    @property
    def refusal(self):
        """Why what the controls are set to cannot be built; empty where it can."""
        return self.answer.refusal

    @property
    def figure(self):
        """The live figure."""
        return self.frame.figure

    @property
    def controls(self):
        """Widgets of the controls, by key: a path, or a word."""
        self._render_folded()
        boards = (section.board.widgets for section in self.sections.values())
        return {key: widget for widgets in boards for key, widget in widgets.items()}

    @property
    def searching(self):
        """Whether a better aim is being looked for."""
        return self.aims.job.running

    @property
    def aims(self):
        """The section of the better aim."""
        self._render_folded()
        return self.sections[AimSection]

    @property
    def advice(self):
        """The tab of advice."""
        return self.sections[AdviceTab]

    @property
    def sure(self):
        """The tab of ranges."""
        return self.sections[SureTab]

    @property
    def options(self):
        """The tab of options."""
        return self.sections[OptionsTab]

    @property
    def parts(self):
        """The tab of parts."""
        return self.sections[PartsTab]

    @property
    def tracing(self):
        """The section of the traced room."""
        return self.sections[TraceSection]

    def value(self, path):
        """Present value of a path; see ``PanelState.value``.

        Parameters
        ----------
        path : tuple
            e.g. ("groups", "north row", "downtilt_deg")

        Returns
        -------
        value : any
            In SI
        """
        return self.state.value(path)

    # ---- changes

    def update(self, what=None, **new):
        """Change the state; the only way to do so, with ``undo`` and ``redo``.

        Parameters
        ----------
        what : any
            What is changed; the same in a row is one step of the history
        new : any
            For ``PanelState.update``

        Raises
        ------
        ValueError
            Where a name is unknown
        """
        if new.get("tab", TAB_KEYS[0]) not in TAB_KEYS:
            raise ValueError(f"tab '{new['tab']}' is unknown. Known: {', '.join(TAB_KEYS)}.")
        self.history.add(self.state.update(**new), what)
        self.step()
        self.live()

    def set(self, path, value):
        """Change one value of the scenario, as a slider does.

        Parameters
        ----------
        path : tuple
            e.g. ("groups", "north row", "downtilt_deg")
        value : any
            New value [SI]

        Raises
        ------
        ValueError
            Where the path names nothing
        """
        self.update(path, changes={path: value})

    def price_by(self, name):
        """Have everything that the panel says priced by another price book.

        Parameters
        ----------
        name : str
            Of a file in the folder; empty for the package's invented prices
        """
        self.history.add(self.state.update(price_book=name))
        self._price_anew()
        self.live()

    def _price_anew(self):
        self.prices.read(self.state.price_book)
        for section in self.sections.values():
            section.reprice()
        self._fill_open_tab()

    def undo(self):
        """Go one step back."""
        self.history.undo()
        self.live()

    def redo(self):
        """Go one step forward again."""
        self.history.redo()
        self.live()

    def restore_design(self, state):
        """Go back to the design of an earlier state, as a step of its own; what is looked at stays.

        Parameters
        ----------
        state : PanelState
            Of the history
        """
        self.history.add(self.state.with_design_of(state))
        self.live()

    def restore_possible(self):
        """Set the controls back to the nearest state before this one that is possible.

        What the picture shows may be what an undo has just left: to go back there would lead in a
        circle.
        """
        state = self._nearest_possible()
        shown = shown_quantity(answered(state).result, state.quantity)
        self.history.add(state.update(quantity=shown))
        self.live()

    def _nearest_possible(self):
        seen = []
        for earlier in self.history.so_far:
            state = self.state.with_design_of(earlier)
            if any(state.changes == s.changes and state.start is s.start for s in seen):
                continue  # what was only looked at
            try:
                answered(state)
            except ValueError:
                seen.append(state)
                continue
            return state
        return self._possible  # with its use: no design that is kept can be heard in this one

    def open_tab(self, key):
        """Open a tab and bring it into view.

        Parameters
        ----------
        key : str
            One of ``TAB_KEYS``

        Raises
        ------
        ValueError
            Where the key is unknown
        """
        self.update(tab=key)
        self.sections[BoardSection].reveal_tabs()

    def open_up(self, keys):
        """Open what was closed.

        Parameters
        ----------
        keys : sequence of str
            Of ``closed``; others stay closed
        """
        if not set(keys) & set(self.closed):
            return
        self.closed = {key: words for key, words in self.closed.items() if key not in keys}
        for box, kinds in ((self._side, SIDE), (self._tabs, TABS)):
            show_only(box, self._shown_boxes(kinds))
        self.refresh()

    def open_form(self):
        """Open the form of a new school over the panel; it leads back, or opens what it wrote."""
        from ..school.page import NAMELESS, NewSchoolPage  # which opens meetings itself

        def leave():
            self.box.children = [one for one in self.box.children if one is not form.sheet]
            self.box.remove_class("gt-behind")
            self._form = None
            form.close()

        def opened(path):
            leave()
            self.sections[SaveSection].open(path)

        if self._form is not None:
            return self._form
        school = NewSchool(name=NAMELESS, units=self.state.units)
        form = self._form = NewSchoolPage(
            self.folder, school, alone=self.alone, on_back=leave, on_open=opened
        )
        self.box.children = [*self.box.children, form.sheet]
        self.box.add_class("gt-behind")
        return form

    def look_at(self, index):
        """Look at one seat closely: marks it in the plan and opens its tab, unless it is listened
        to.

        Parameters
        ----------
        index : int
            Which of the result's points [-]
        """
        tab = self.state.tab if self.state.tab in SEAT_TABS else SeatTab.key
        self.update(seat=index, tab=tab)

    # ---- what is shown

    def refresh(self):
        """Evaluate the state and show it; a refusal is said, and the last possible picture
        stays.
        """
        last = self.answer
        self.answer = answered(self.state, last)
        another = not self.answer.belongs_with(last)
        if self.answer.possible:
            self._possible = self.state
        seat = self.state.seat
        if seat is not None and seat >= len(self.result.points):
            self.history.add(self.state.update(seat=None))
        if self.state.price_book != self.prices.name:  # an undo
            self._price_anew()
        if another or not self.answer.possible:  # proposals are for what is shown alone
            for section in self.sections.values():
                section.outdate()
        self._paint(self.result)
        if missing := missing_quantity(self.result, self.state.quantity):
            self.answer = replace(self.answer, refusal=self.answer.refusal or missing)
        self._render()
        self._tabs.selected_index = TAB_KEYS.index(self.state.tab)
        if self.figure.layout.coloraxis.showscale != (alone := self.state.large == "space"):
            self.figure.layout.coloraxis.showscale = alone
        for part in LARGE:
            change = self._work.add_class if part == self.state.large else self._work.remove_class
            change(f"gt-large-{part}")
        if not another:
            self._fill_open_tab()
        self.rest()

    def _render(self):
        """Render what can be seen; folded sections are rendered when they are opened."""
        opened = self._side.selected_index
        self._folded = {kind for n, kind in enumerate(SIDE) if n != opened}
        for kind, section in self.sections.items():
            if kind not in self._folded:
                section.render(self.state, self.answer)

    def _render_folded(self, _change=None):
        """Bring sections that were folded up to date."""
        folded, self._folded = self._folded, set()
        for kind in folded:
            self.sections[kind].render(self.state, self.answer)

    def settle(self):
        """What is deferred until a slider stops: the words under the picture, and with them the
        verdicts.
        """
        self._fill_open_tab()

    def trace(self):
        """Trace the room to the end here and now; for cells and tests."""
        self.live.flush()
        self.tracing.finish()

    def show_traced(self, field, last=False):
        """Show the traced room as far as it has come.

        Parameters
        ----------
        field : TracedField
            What has been traced
        last : bool
            Nothing more comes: the words follow too
        """
        self.answer = with_rays(self.answer, field, last)
        self._paint(self.result)
        for section in self.sections.values():
            section.show_rays(self.state, self.answer)
        if last:
            self._fill_open_tab()

    def show_draft(self, scenario):
        """Show a scenario that a search has come upon, with few rays; the state stays.

        Parameters
        ----------
        scenario : Scenario
            With the same uses
        """
        self._paint(evaluate(scenario, self.state.use, rays="few"))

    def refuse(self, error):
        """Say a refusal of something that was asked for; the state stays.

        Parameters
        ----------
        error : Exception
            What was refused
        """
        self.answer = replace(self.answer, refusal=str(error))
        self._render()

    def to_file(self):
        """The scenario as it is saved: in the units that its file came in.

        Returns
        -------
        scenario : Scenario
            The last one that can be
        """
        return replace(self.scenario, units=self.state.file_units or self.scenario.units)

    def _fill_open_tab(self):
        """Fill in the open tab; the others are filled when they are opened."""
        self.sections[TABS[TAB_KEYS.index(self.state.tab)]].fill(self.state, self.answer)

    def _view(self, result):
        state = self.state
        areas = list(result.configuration.areas)
        return scene.View(
            result=result,
            quantity=shown_quantity(result, state.quantity),
            area=state.area if state.area in areas else areas[0],
            units=state.units,
            walker=state.walker,
            facing_deg=state.facing_deg,
            microphone=state.microphone,
            seat=looked_at(state, result),
            worst=state.worst,
        )

    def _paint(self, result):
        self._drawn = self._view(result)
        self.sections[PlanSection].paint(self._drawn)  # the quicker of the two
        self.painter.paint(self._drawn)

    # ---- the page

    def slider(self, path, words, value=None):
        """Description of a slider for a value of the scenario; for sections.

        Parameters
        ----------
        path : tuple
            With names
        words : dict
            Fields of ``SliderSpec`` but the path
        value : float, optional
            Present value; that of the path when left out [SI]

        Returns
        -------
        slider : Slider
            Its act sets the value
        """
        value = self.value(path) if value is None else value
        return Slider(
            key=path,
            value=0.0 if value is None else value,
            spec=SliderSpec(path=path, **{"allowed": range_at(self.start, path)} | words),
            units=self.state.units,
            act=lambda new: self.set(path, new),
        )

    def tick(self, path, label):
        """Description of a box to tick for a value of the scenario; for sections.

        Parameters
        ----------
        path : tuple
            With names
        label : str
            Behind it

        Returns
        -------
        tick : Tick
            Its act sets the value
        """
        return Tick(
            key=path,
            value=self.value(path),
            label=label,
            act=lambda new: self.set(path, new),
        )

    def listed(self, path, name, label, *, inverse=False):
        """Description of a box to tick for a name on a list of the scenario; for sections.

        Parameters
        ----------
        path : tuple
            Of the list
        name : str
            What it may hold
        label : str
            Behind the box
        inverse : bool
            Whether the box is ticked where the list does not hold it

        Returns
        -------
        tick : Tick
            Its act puts the name on the list, or takes it off
        """

        def act(ticked):
            others = [n for n in self.value(path) if n != name]
            self.set(path, tuple([*others, name] if ticked != inverse else others))

        ticked = (name in self.value(path)) != inverse
        return Tick(key=(*path, name), value=ticked, label=label, act=act)

    def choice(self, path, label, options):
        """Description of a list for a value of the scenario; for sections.

        Parameters
        ----------
        path : tuple
            With names
        label : str
            In front of it
        options : tuple
            Texts, or (text, value) pairs

        Returns
        -------
        choice : Choice
            Its act sets the value
        """
        return Choice(
            key=path,
            value=self.value(path),
            label=label,
            options=options,
            act=lambda new: self.set(path, new),
        )

    def _page(self):
        boxes = {kind: section.box for kind, section in self.sections.items()}
        self._side = w.Accordion(self._shown_boxes(SIDE), selected_index=OPEN)
        self._side.observe(self._render_folded, names="selected_index")
        for titled, kinds in ((self._side, SIDE), (self._tabs, TABS)):
            for n, kind in enumerate(kinds):
                titled.set_title(n, kind.title)
        self._tabs.observe(self._opened, names="selected_index")
        side = _box(w.VBox, [boxes[EssentialsSection], self._side], "gt-side")
        school = self.sections[SaveSection].school
        self._work = _box(w.HBox, [side, self.frame, boxes[PlanSection]], "gt-work")
        return _box(
            Page,
            [
                boxes[PageStyle],
                boxes[LifelineSection],
                _box(w.HBox, [school, boxes[Toolbar], boxes[TraceSection]], "gt-bar"),
                boxes[GoOnSection],
                boxes[Refusals],
                self.live.error,
                self._work,
                boxes[BoardSection],
                boxes[KeptStrip],
                _box(w.Box, [w.HTML(CAUTION)], "gt-caution"),
                self._tabs,
                boxes[SaveSection],
                self.sections[TraceSection].tick,
            ],
            "gt-page",
        )

    def _shown_boxes(self, kinds):
        """Boxes of sections, or a line in the place of those that are closed."""
        closed = [kind.key in self.closed for kind in kinds]
        return [
            w.HTML(quiet(escape(self.closed[kind.key]))) if shut else self.sections[kind].box
            for kind, shut in zip(kinds, closed, strict=True)
        ]

    def _opened(self, change):
        key = TAB_KEYS[change["new"] or 0]
        if key != self.state.tab:
            self.update(tab=key)

    def _new_figure(self, figure):
        """Paint in a figure that the page has asked for."""
        self.painter = scene.Painter(self._drawn, figure, scene.SPACE)


def _box(kind, children, name):
    """A box that the style sheet knows by name."""
    box = kind(children)
    box.add_class(name)
    return box


def meeting(scenario, folder=".", *, alone=False, closed=None):
    """The design workbook's panel on a scenario.

    Parameters
    ----------
    scenario : Scenario or str
        A scenario, or the path of its file
    folder : str or Path
        Where files are written
    alone : bool
        Cover the notebook, but for its bars, until its text and code are asked for
    closed : dict, optional
        As for ``Meeting``

    Returns
    -------
    meeting : Meeting
        Show its ``box``

    Raises
    ------
    ValueError
        Where the file cannot be read as a scenario
    """
    return Meeting(scenario, folder, alone=alone, closed=closed)
