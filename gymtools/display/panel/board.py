"""The uses board on the page: it follows every change in the background, and leads the picture to
what is clicked.
"""

import json
import time
from dataclasses import dataclass
from html import escape
from pathlib import Path

import anywidget
import ipywidgets as w
from traitlets import Unicode

from ...acoustics.criteria import CRITERIA, QUESTIONS
from ...acoustics.evaluate import evaluate
from ..jobs import Job
from ..refusals import plain_refusal
from ..tables.board import (
    LEGEND,
    JudgedUse,
    board_columns,
    board_row,
    board_sentence,
    empty_row,
    microphone_of,
    picture_of,
    working_sentence,
)
from ..tables.changes import RULE, change_sentence, changed_things, new_warnings
from .section import Section

HERE = Path(__file__).parent
LABEL = "Uses board: a row per use, a column per question"
LONGEST_REST = 0.15  # of the thread after each use, while something moves [s]
FEW, FULL = "few", "full"


class BoardState(w.Widget):
    """What the page draws, as text: a model that hears the kernel however busy the page is."""

    _model_name = Unicode("WidgetModel").tag(sync=True)
    text = Unicode().tag(sync=True)


class BoardGrid(anywidget.AnyWidget):
    """The board as a grid in the page.

    Parameters
    ----------
    pick : callable
        Called with the name of a use and the key of a question, or "" for the use alone
    """

    _esm = HERE / "board.js"
    _css = HERE / "board.css"
    state_id = Unicode().tag(sync=True)

    def __init__(self, pick):
        self.state = BoardState()
        super().__init__(state_id=self.state.model_id)
        self.on_msg(lambda _, content, _buffers: pick(content["use"], content["question"]))

    def show(self, rows, said="", reveals=0):
        """Draw the board.

        Parameters
        ----------
        rows : list of dict
            Of ``tables.board.board_row``
        said : str
            What is read aloud when it changes
        reveals : int
            How often the tabs were asked to come into view [-]
        """
        board = dict(label=LABEL, legend=LEGEND, columns=board_columns(), rows=rows)
        board |= dict(said=said, reveals=reveals)
        self.state.text = json.dumps(board, ensure_ascii=False)


@dataclass(frozen=True)
class Kept:
    """A judged use, and which of the designs that the panel has shown it is of."""

    design: int
    judged: JudgedUse


@dataclass(frozen=True)
class Origin:
    """What stood before a move: what the board shows is held against it until the next move."""

    scenario: object
    judged: dict  # by use and rays
    step: int  # of the history, that the move is


class BoardSection(Section):
    """A row per use and a column per question; ``sentence`` says how many checks fail, ``change``
    who gains and who loses by what was moved.

    The use that is shown is judged from the answer, the others in a thread: with few rays while
    something moves, with all when the answer is settled. Whatever is evaluated next is of the
    newest answer, and of the others the longest outdated, so that every row follows a slider that
    is dragged.
    """

    def _begin(self):
        self.job = Job(self._done, on_progress=self._judged, waits=True)
        self.sentence, self.change = w.HTML("Working out all uses"), w.HTML(tooltip=RULE)
        self.sentence.add_class("gtb-sentence")
        self.change.add_class("gtb-change")
        self.grid = BoardGrid(self.pick)
        self._kept = {}  # by use and rays
        self._origin = None
        self._reveals, self._said = 0, ""
        self._rested = {}  # the same when nothing moved last; empty while something does
        self._design, self._answer, self._at = 0, None, ("", "")
        self._quantity = self._last = ""
        self._school = 0  # first design of the school
        self._drawn = {}  # row of each use as it was drawn last, with what it was made of

    def _make(self):
        box = w.VBox([self.sentence, self.change, self.grid, self.job.error])
        box.add_class("gt-board")
        return box

    def reveal_tabs(self):
        """Bring the tabs into view, beside the picture and a narrow board."""
        self._reveals += 1
        self._show()

    # ---- what is shown

    def _render(self, state, answer):
        self._follow(answer)
        if not self._still_shown(state):
            self._at, self._quantity = ("", ""), ""
        self._show()
        self._go_on()

    def show_rays(self, state, answer):
        """More rays have been followed; see ``Section.show_rays``.

        Parameters
        ----------
        state : PanelState
            What the controls are set to
        answer : Answer
            What is shown
        """
        self._render(state, answer)

    def _follow(self, answer):
        last, self._answer = self._answer, answer
        if last is not None and (last.scenario is answer.scenario):
            return
        if last is not None and last.scenario.name != answer.scenario.name:
            self._kept, self._origin, self._rested = {}, None, {}
            self._school = self._design + 1
        elif last is not None and last.scenario != answer.scenario:
            self._begin_move(last.scenario, answer.scenario)
            self._rested = {}
        if last is None or last.scenario != answer.scenario:
            self._design += 1

    def _begin_move(self, before, now):
        """A design gives way to another: what stood is what the next figures are held against,
        unless the same hand moves on, or the board has not come to rest since the last move.
        """
        origin, step = self._origin, self.panel.history.steps
        if origin is None or (
            self._rested
            and step != origin.step
            and changed_things(before, now)  # more than the units
            and changed_things(origin.scenario, now)  # not put back
            and changed_things(origin.scenario, self._step_before(before))  # nor put back first
        ):
            judged = self._rested or self._all_present()
            self._origin = Origin(scenario=before, judged=judged, step=step)

    def _step_before(self, otherwise):
        """Design one step before the present one: what was put back on the way was not drawn."""
        states = self.panel.history.so_far
        try:
            return states[1].scenario
        except (IndexError, ValueError):  # the first, or one that cannot be
            return otherwise

    def _show(self):
        shown = self._answer.result.use.name
        present = [kept for name in self._uses if (kept := self._present(name))]
        missing = len(self._uses) - len(present)
        judged = [kept.judged for kept in present]
        words = (
            working_sentence(missing, len(self._uses), self._before(FULL))
            if missing
            else board_sentence(judged)
        )
        self.sentence.value = self.sentence.tooltip = escape(words)
        change = "" if missing else self._change_words(judged)
        self.change.value = escape(change)
        self.change.tooltip = f"{escape(change)} {RULE}".strip()
        if self.at_rest:
            self._said = f"{words} {change}".strip()
        rows = [self._row(name, name == shown) for name in self._uses]
        self.grid.show(rows, self._said, self._reveals)

    def _before(self, rays):
        """Judged uses before the move, in order; none where one is not known of these rays."""
        judged = self._origin.judged if self._origin else {}
        found = [judged.get((use, rays)) for use in self._uses]
        return found if all(found) else []

    def _change_words(self, judged):
        """Who gains and who loses by the move; empty where that is not known."""
        if self._origin is None:
            return ""
        what = changed_things(self._origin.scenario, self._answer.scenario)
        before = [self._origin.judged.get((j.use, j.rays)) for j in judged]
        if not what or not all(before):
            return ""
        warned = new_warnings(self._origin.scenario, self._answer.scenario)
        return f"{warned} {change_sentence(what, before, judged)}".strip()

    def _all_present(self):
        """Judged uses of the present design by use and rays."""
        present = ((key, kept) for key, kept in self._kept.items() if kept.design == self._design)
        return {key: kept.judged for key, kept in present}

    @property
    def _uses(self):
        return [u.name for u in self._answer.scenario.uses]

    def _row(self, use, shown):
        kept = self._present(use) or self._latest(use)
        if kept is None:
            return empty_row(use, shown)
        before = self._origin.judged.get((use, kept.judged.rays)) if self._origin else None
        looks = dict(shown=shown, pale=kept.design != self._design)
        looks["at"] = self._at[1] if self._at[0] == use else ""
        drawn = self._drawn.get(use)
        if drawn is None or drawn[0] is not kept.judged or drawn[1:3] != (before, looks):
            row = board_row(kept.judged, before, **looks)
            drawn = self._drawn[use] = (kept.judged, before, looks, row)
        return drawn[3]

    def _present(self, use):
        """What is known of a use in the present design, of all rays where that is known."""
        found = (self._kept.get((use, rays)) for rays in (FULL, FEW))
        return next((kept for kept in found if kept and kept.design == self._design), None)

    def _latest(self, use):
        found = [kept for rays in (FULL, FEW) if (kept := self._kept.get((use, rays)))]
        return max(found, key=lambda kept: kept.design, default=None)

    def is_present(self, use):
        """Whether the row of a use is of what is shown.

        Parameters
        ----------
        use : str
            Its name

        Returns
        -------
        present : bool
            With few rays or with all
        """
        return self._present(use) is not None

    @property
    def at_rest(self):
        """Whether nothing moves and every row is of all rays that are wanted."""
        return bool(self._rested)

    # ---- judged in a thread

    def finish(self):
        """Judge all uses here and now; for cells and tests."""
        self.job.start(self._work)
        self.job.finish()

    def _go_on(self):
        """Judge what is outdated; where nothing is and nothing moves, the board is at rest."""
        if self._due(self._answer):
            self.job.start(self._work)
        elif self._answer.settled or not self.panel.state.trace:
            self._rested = self._all_present()
            self._show()

    def _work(self, tell, stop):
        while not stop():
            design, answer = self._design, self._answer
            due = self._due(answer)
            if due is None:
                return
            began = time.monotonic()
            tell(Kept(design, self._judge(answer, *due)))
            self._last = due[0]
            if design != self._design:  # something moves: leave the page as much time again
                time.sleep(min(time.monotonic() - began, LONGEST_REST))

    def _due(self, answer):
        """Use and rays to judge next; None where all are. While something moves, the use that is
        shown takes turns with the others.
        """
        shown, uses = answer.result.use.name, [u.name for u in answer.scenario.uses]
        missing = [use for use in uses if self._present(use) is None]
        others = [use for use in missing if use != shown]
        if shown in missing and (self._last != shown or not others):
            return shown, FEW
        if answer.result.rays == FULL and not self._has(shown, FULL):
            return shown, FULL
        if missing:
            return min(others or missing, key=self._age), answer.rays
        if answer.rays == FEW:
            return None
        # few as well: the figures that those of the next move are held against
        due = ((use, rays) for rays in (FULL, FEW) for use in uses)
        return next((pair for pair in due if not self._has(*pair)), None)

    def _has(self, use, rays):
        kept = self._kept.get((use, rays))
        return kept is not None and kept.design == self._design

    def _age(self, use):
        kept = self._latest(use)
        return kept.design if kept else 0

    @staticmethod
    def _judge(answer, use, rays):
        for there in (answer.first, answer.result):
            if (there.use.name, there.rays) == (use, rays):
                return JudgedUse.of(there)
        try:
            return JudgedUse.of(evaluate(answer.scenario, use, rays=rays))
        except ValueError as error:  # the other uses go on
            why = plain_refusal(str(error))
            return JudgedUse(use=use, rays=rays, units="", verdicts=(), refusal=why)

    def _judged(self, kept):
        """A use has been judged; of an outdated design it is better than what was there."""
        key = kept.judged.use, kept.judged.rays
        if key[0] in self._uses and kept.design >= self._school:
            self._kept[key] = kept
            self._show()

    def _done(self, _):
        self._go_on()  # something may have been changed as the work ended

    # ---- what is picked

    def pick(self, use, question=""):
        """Lead the picture to a use, and to a question with its worst seat marked; of a
        microphone to its own map, with where it is worst.

        Parameters
        ----------
        use : str
            Its name
        question : str
            Key of ``QUESTIONS``; the use alone when left out
        """
        if use not in self._uses or question not in ("", *QUESTIONS):
            return  # a page that shows an earlier state
        self._at = (use, question)
        if not question:
            self.panel.update(use=use)
            return
        kept = self._present(use) or self._latest(use)
        verdict = kept.judged.worst(question) if kept else None
        looks = dict(use=use, quantity=picture_of(question, verdict), seat=None)
        if verdict is not None and CRITERIA[verdict.criterion].scope == "microphone":
            looks |= dict(microphone=microphone_of(verdict))
        if verdict is not None and verdict.point is not None:
            looks |= dict(seat=verdict.point, worst=True)
            if verdict.area in self._answer.scenario.area_names:
                looks |= dict(area=verdict.area)
        self._quantity = looks["quantity"]
        self.panel.update(**looks)

    def _still_shown(self, state):
        use, question = self._at
        return state.use == use and (not question or state.quantity == self._quantity)
