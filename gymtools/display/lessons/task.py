"""A design task as controls: score the design; write what the search will do, open it, compare."""

import re
from html import escape
from pathlib import Path

import ipywidgets as w

from ...acoustics.criteria import CRITERIA
from ...training import task
from ...training.added_lines import plain
from ...training.attempts import add_attempt, read_attempts
from ...training.progress import Progress
from ...venue.writing_files import new_folder
from .. import tables
from ..documents.exports import csv_text
from ..jobs import HIDDEN, SHOWN, Job
from ..panel.controls import STYLE, WIDE
from ..tables.markup import Num, bullets, table
from ..theme import QUIET
from .attempts_table import attempts_list, attempts_table, scenario_name
from .question import folded

LATER = "Closed for now: it opens with the search, below."
GIVEN = "The brief gives this."
SEARCH = ("arrangement", "aim", "advice", "options")  # in the panel, opened with the search
CLOSED = dict.fromkeys(SEARCH, LATER) | dict.fromkeys(
    ("size", "seats", "microphones", "schools"), GIVEN
)
LEAST_WORDS = 8  # of a written prediction
MOST_MISSES = 8  # that are listed
ABOUT = (
    "The brief as it stands has 0 points. A design as good as the reference, at no more than its"
    " cost, has 100. Half counts verdicts that are met, half how far the others miss, in every"
    " use alike. More money than the reference costs points; more than the budget costs many."
)
UNSEEN = (
    "The search and the arrangements open after you have scored a changed design and written down"
    " what you expect of the search."
)
FIRST_CHANGE = "Change the design and score it first. The search opens after that."
WRITE = (
    f"Write at least {LEAST_WORDS} words: what will the search change, what can it not change, and"
    " will it beat you? Name the loudspeakers that you mean."
)


def standing(panel):
    """The design as set in the design panel, in the units of its file.

    Parameters
    ----------
    panel : Meeting
        Of ``display.panel.meeting.meeting``

    Returns
    -------
    scenario : Scenario
        As the controls are set

    Raises
    ------
    ValueError
        The controls are set to something that cannot be built
    """
    panel.live.flush()
    if panel.refusal:
        raise ValueError(
            "The controls are set to something that cannot be built. Undo or change it, and score"
            " again."
        )
    return panel.to_file()


class Bench:
    """Where a design is made: a design panel, as far as a task has to do with it.

    Parameters
    ----------
    panel : Meeting
        With ``CLOSED`` sections
    """

    def __init__(self, panel):
        self.panel = panel

    def design(self):
        """The design as it is set.

        Returns
        -------
        scenario : Scenario
            As ``standing``

        Raises
        ------
        ValueError
            As ``standing``
        """
        return standing(self.panel)

    def open_up(self):
        """Open what was closed."""
        self.panel.open_up(SEARCH)


class TaskPanel:
    """Controls of a design task; ``box`` is what the page shows.

    Parameters
    ----------
    set_task : Task
        Brief and scale
    bench : Bench
        Where the design is made
    file : str or Path
        Where attempts are kept; exports go into folders beside it
    evaluations : int
        Of the search; its time grows with them [-]
    progress : Progress, optional
        The learner's file
    """

    def __init__(self, set_task, bench, file, *, evaluations=600, progress=None):
        self.task, self.brief, self.bench, self.file = set_task, set_task.brief, bench, Path(file)
        self.evaluations, self.progress = evaluations, progress or Progress()
        self.own = self.found = None  # Score of the attempt, and of what the search makes
        self.job = Job(self._done, on_progress=self._progress, refused=self._failed)
        self.who = w.Text(
            placeholder="your name",
            description="Whose attempt",
            style=STYLE,
            layout={"width": WIDE},
        )
        self.score_button = _button("Score this attempt", "170px", self.score)
        self.expected = w.Textarea(placeholder=WRITE, layout={"width": "620px", "height": "64px"})
        self.open_button = _button("Open the search", "170px", self.open_search)
        self.solve_button = _button("Search from the brief", "190px", self.solve)
        self.solve_button.layout.display = HIDDEN
        self.export_button = _button("Export for the supervisor", "200px", self.export)
        self.job.starts_with(self.solve_button)
        self.message, self.scores, self.list = w.HTML(), w.HTML(), w.HTML()
        self.compared = w.HTML(tables.card(f"<p class='quiet'>{UNSEEN}</p>"))
        self.box = self._layout()
        self._show_list()

    def _layout(self):
        return w.VBox(
            [
                w.HTML(f'<span style="color:{QUIET}">{ABOUT}</span>'),
                w.HBox([self.who, self.score_button]),
                self.message,
                self.scores,
                self.expected,
                w.HBox([self.open_button, self.solve_button, self.job.halt, self.job.bar]),
                self.compared,
                w.HBox([self.export_button]),
                self.list,
                self.job.error,
            ]
        )

    def works(self):
        """See that the task works with its parameters, without scoring anything on the page.

        Returns
        -------
        said : str
            What was seen

        Raises
        ------
        ValueError
            The brief as it stands has points, or more than it gives was changed
        """
        as_it_stands = task.score(self.brief, self.task)
        if as_it_stands.points > 1 or as_it_stands.strays:
            raise ValueError("the brief as it stands is not at the beginning of its scale.")
        strays = task.outside(self.brief, self.bench.design())
        if strays:
            raise ValueError(f"the panel begins outside the brief: {'; '.join(strays)}.")
        return "The brief begins at 0 points, and the panel begins inside it."

    def score(self):
        """Score the design and keep the attempt.

        A refusal is one line, and nothing kept is lost.
        """
        if not plain(self.who.value):
            return self._say("Say whose attempt this is; then score again.")
        try:
            made = task.score(self.bench.design(), self.task)
            kept = task.attempt(self.brief, made, self.who.value, opened=self.opened)
            add_attempt(self.file, kept)
        except ValueError as error:
            return self._say(f"Not scored: {error}")
        except OSError as error:
            return self._say(
                f"{self.file.name} could not be written, so the attempt is not kept:"
                f" {error.strerror or error}."
            )
        self.own = made
        self.scores.value = tables.card(score_table(made))
        self._say("Scored, and kept.")
        self._keep("task", "attempt", f"{made.points:.0f} points")
        self._show_list()
        self._compare()

    def open_search(self):
        """Open arrangements and search: after a changed attempt and a written prediction."""
        own = self.own
        if own is None or own.strays or not task.changed_design(self.brief, own.judged.scenario):
            return self._say(FIRST_CHANGE)
        text = self.expected.value.lower()
        named = any(g.name.lower() in text for g in self.brief.groups)
        if not named or len(set(re.findall(r"[^\W\d_]{3,}", text))) < LEAST_WORDS:
            return self._say(WRITE)
        self._keep("prediction", "written", self.expected.value)
        self.expected.disabled = self.open_button.disabled = True
        self.solve_button.layout.display = SHOWN
        self.bench.open_up()
        return self._say(
            "Open: the search below, and in the panel the arrangements and its search."
        )

    def solve(self):
        """Let the search start from the same brief."""
        if not self.opened:
            return self._say(UNSEEN)
        if self.found is not None:
            return self._compare()
        self._say("The search looks for a better aim from the same brief.")
        more = dict(evaluations=self.evaluations)
        self.job.start(lambda tell, stop: task.solve(self.brief, progress=tell, stop=stop, **more))

    def export(self):
        """Write all attempts into a new folder beside their file.

        Returns
        -------
        folder : Path or None
            None when it could not be written
        """
        try:
            folder = write_attempts(self.file)
        except (OSError, ValueError) as error:
            self._say(f"Not exported: {getattr(error, 'strerror', None) or error}.")
            return None
        self._say(
            f"Exported into the folder {folder.name}: a table without names, and the scenario file"
            " of every attempt."
        )
        return folder

    @property
    def opened(self):
        """Whether the search has been opened."""
        return self.open_button.disabled

    def _keep(self, kind, reply, given):
        try:
            self.progress.add(kind, "task", self.brief.name, reply, given=given)
        except OSError as error:
            words = f"{self.progress.path.name} could not be written: {error.strerror or error}."
            self.message.value += f"<br>{escape(words)}"

    def _progress(self, share, _scenario, _score):
        self.job.show_share(share)

    def _done(self, aimed):
        if aimed.stopped:
            return self._say("Stopped before its end; ask again for the whole search.")
        self.found = aimed, task.score(aimed.scenario, self.task)
        self._say(f"The search tried {aimed.evaluations} evaluations.")
        self._compare()

    def _failed(self, error):
        self._say(f"The search cannot work on this brief: {error}")

    def _compare(self):
        if self.found is None:
            return
        aimed, other = self.found
        said = bullets(escape(s) for s in task.difference(self.own, other, "the search"))
        wrote = f"<p>You wrote: <i>{escape(self.expected.value)}</i></p>"
        reference = self.task.yardstick
        beside = (
            f"<p>The reference design costs {reference.cost_reference:,.0f}. It hangs other"
            " loudspeakers in other positions: the search alone cannot do that.</p>"
        )
        self.compared.value = tables.card(wrote, said, beside, moved_list(aimed, self.brief))

    def _say(self, words):
        self.message.value = f"<b>{escape(words)}</b>"

    def _show_list(self):
        try:
            found = read_attempts(self.file)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            return self._say(f"{self.file.name} cannot be read: {why}. It is left as it is.")
        self.list.value = tables.card(attempts_list(found))


def _button(words, wide, click):
    made = w.Button(description=words, layout=w.Layout(width=wide))
    made.on_click(lambda _: click())
    return made


def score_table(made):
    """One score: points, what is met, what misses farthest, money.

    Parameters
    ----------
    made : Score
        Of ``training.task.score``

    Returns
    -------
    html : str
        A sentence or two and a table
    """
    found, scale = made.judged, made.yardstick
    use, met, verdicts = found.weakest
    over = (
        f", {made.over_budget:,.0f} over the budget"
        if made.over_budget
        else f" of a budget of {scale.budget:,.0f}"
    )
    whole = (
        f"<p><b>{made.points:.0f} points.</b> {found.met} of {found.verdicts} verdicts met, in the"
        f" traced room. Cost {found.cost:,.0f}{over} (invented prices). The weakest use is"
        f" {escape(use)}: {met} of {verdicts} met.</p>"
    )
    if made.arrangement:
        whole += (
            f"<p>The loudspeakers hang as the arrangement '{escape(made.arrangement)}' has them:"
            " say what you would change for this school.</p>"
        )
    strayed = (
        f"<p><b>No points, for something was changed that the brief gives:</b>"
        f" {escape('; '.join(made.strays))}.</p>"
        if made.strays
        else ""
    )
    rows = [
        (
            escape(name),
            escape(f"{CRITERIA[v.criterion].label}{', ' + v.area if v.area else ''}"),
            Num(f"{v.value:.2f} {v.unit}"),
            Num(f"{v.target:g} {v.unit}"),
            v.word,
        )
        for name, v in found.misses[:MOST_MISSES]
    ]
    head = ("use", "what misses farthest", Num("value"), Num("target"), "verdict")
    return whole + strayed + (table("", head, rows) if rows else "<p>Nothing misses.</p>")


def moved_list(found, brief):
    """What the search moved.

    Parameters
    ----------
    found : Aimed
        Of ``training.task.solve``
    brief : Scenario
        What it started from

    Returns
    -------
    html : str
        A list, folded
    """

    def say(path, v):
        return brief.say(v) if path[-1] == "height" else f"{v:g}"

    def where(path):
        return path[1] if path[0] == "groups" else f"{path[3]} in {path[1]}"

    rows = "".join(
        f"<li>{escape(where(p))}:"
        f" {p[-1].replace('_deg', ' [°]').replace('_db', ' [dB]').replace('_ms', ' [ms]')}"
        f" {say(p, a)} → {say(p, b)}</li>"
        for p, (a, b) in found.moved.items()
    )
    return folded("What the search moved", f"<ul>{rows or '<li>nothing</li>'}</ul>")


def write_attempts(file):
    """Export all attempts of a file into a new folder beside it, without names.

    Parameters
    ----------
    file : str or Path
        Of ``training.attempts``

    Returns
    -------
    folder : Path
        Holds attempts.csv and the scenario of every attempt; the file with the names stays

    Raises
    ------
    ValueError
        The file holds no attempt
    OSError
        One line: the folder could not be written; nothing is left of it
    """
    file = Path(file)
    found = read_attempts(file)
    if not found.attempts and not found.damaged:
        raise ValueError("there is no attempt yet")
    number = 1
    while (folder := file.with_name(f"{file.stem}-export-{number}")).exists():
        number += 1
    files = {"attempts.csv": csv_text(attempts_table(found)).encode("utf-8")}
    for n, attempt in enumerate(found.attempts, 1):
        files[scenario_name(n)] = attempt.scenario.encode("utf-8")
    with new_folder(folder) as building:
        for name, data in files.items():
            (building / name).write_bytes(data)
    return folder
