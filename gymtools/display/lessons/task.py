"""A design task as controls: score the design, see the attempts, compare with the solver, export
them for the supervisor.
"""

from html import escape
from pathlib import Path

import ipywidgets as w

from ...training import task
from ...training.added_lines import plain
from ...training.attempts import add_attempt, read_attempts
from ...venue.writing_files import new_folder
from .. import tables
from ..documents.exports import csv_text
from ..jobs import Job
from ..panel.controls import STYLE, WIDE
from ..theme import QUIET, ROOMS

UNSEEN = (
    "The solver's result appears here once you have scored an attempt of your own and ask for it."
)
ABOUT = (
    "A step is the smallest difference that matters in practice. The penalty adds what the design"
    " lacks, weighted and averaged over all uses: lower is better."
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


class TaskPanel:
    """Controls of a design task; ``box`` is what the page shows.

    Parameters
    ----------
    brief : Scenario
        What everybody starts from
    design : callable
        Gives the design to be scored
    file : str or Path
        Where attempts are kept; exports go into folders beside it
    evaluations : int
        Of the solver; its time grows with them [-]
    weights : Weights, optional
        How much each criterion counts
    """

    def __init__(self, brief, design, file, *, evaluations=600, weights=None):
        self.brief, self.design, self.file = brief, design, Path(file)
        self.evaluations, self.weights = evaluations, weights
        self.own = self.solution = None  # Score, Solution
        self.job = Job(self._done, on_progress=self._progress, refused=self._failed)
        self.who = w.Text(
            placeholder="your name",
            description="Whose attempt",
            style=STYLE,
            layout=w.Layout(width=WIDE),
        )
        self.score_button = _button("Score this attempt", "170px", self.score)
        self.solve_button = _button("Show the solver's result", "190px", self.solve)
        self.export_button = _button("Export for the supervisor", "200px", self.export)
        self.solve_button.disabled = True
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
                w.HBox([self.solve_button, self.job.halt, self.job.bar]),
                self.compared,
                w.HBox([self.export_button]),
                self.list,
                self.job.error,
            ]
        )

    def score(self):
        """Score the design and keep the attempt.

        A refusal is one line, and nothing kept is lost.
        """
        if not plain(self.who.value):
            return self._say("Say whose attempt this is; then score again.")
        try:
            made = task.score(self.design(), weights=self.weights)
            add_attempt(self.file, task.attempt(self.brief, made, self.who.value))
        except ValueError as error:
            return self._say(f"Not scored: {error}")
        except OSError as error:
            return self._say(
                f"{self.file.name} could not be written, so the attempt is not kept:"
                f" {error.strerror or error}."
            )
        self.own = made
        self.solve_button.disabled = self.job.running
        self.scores.value = tables.card(score_table(made, task.outside(self.brief, made.scenario)))
        self._say("Scored, and kept.")
        self._show_list()
        self._compare()

    def solve(self):
        """Let the solver start from the same brief; only after an attempt of one's own."""
        if self.own is None:
            return self._say("Score an attempt of your own first.")
        if self.solution is not None:
            return self._compare()
        self._say("The solver searches for a better aim from the same brief.")
        self.job.start(
            lambda tell, stop: task.solve(
                self.brief,
                weights=self.weights,
                evaluations=self.evaluations,
                progress=tell,
                stop=stop,
            )
        )

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
            f"Exported into the folder {folder.name}: a table, and the scenario file of every"
            " attempt."
        )
        return folder

    def _progress(self, share, _scenario, _score):
        self.job.show_share(share)

    def _done(self, found):
        self.solution = None if found.stopped else found
        self._say(
            "Stopped before its end; ask again for the whole search."
            if found.stopped
            else f"The solver tried {found.evaluations} evaluations."
        )
        self._compare(found)

    def _failed(self, error):
        self._say(f"The solver cannot work on this brief: {error}")

    def _compare(self, found=None):
        found = found or self.solution
        if found is not None:
            said = "".join(f"<li>{escape(s)}</li>" for s in task.difference(self.own, found.score))
            self.compared.value = tables.card(
                f"<ul>{said}</ul>",
                compared_table(self.own, found.score),
                moved_list(found, self.brief),
            )

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


def score_table(made, outside=()):
    """One score, criterion by criterion.

    Parameters
    ----------
    made : Score
        Of ``training.task.score``
    outside : sequence of str
        What was changed although the brief gives it

    Returns
    -------
    html : str
        A sentence or two and a table
    """
    rows = "".join(
        f'<tr><td>{step.label}: {step.meaning}</td><td class="num">{made.penalties[key]:.1f}</td>'
        f'<td class="num">{getattr(made.weights, key):g}</td>'
        f'<td class="quiet">{step.size:g} {step.unit}</td></tr>'
        for key, step in task.STEPS.items()
    )
    use, least = made.weakest
    whole = (
        f"<p><b>Penalty {made.penalty:.1f} steps</b>, {ROOMS[made.room]}; {made.met} of"
        f" {made.checks} checks met; cost {made.cost:,.0f} (invented prices). The weakest use is"
        f" {escape(use)}, with {least:.1f} steps.</p>"
    )
    strayed = (
        f"<p><b>Outside the brief:</b> {escape('; '.join(outside))}. It does not compare with other"
        " attempts.</p>"
        if outside
        else ""
    )
    return (
        f'{whole}{strayed}<table><tr><th>criterion</th><th class="num">penalty [steps]</th><th'
        f' class="num">weight</th><th>a step is</th></tr>{rows}</table>'
    )


def compared_table(own, other):
    """An attempt beside the solver's result.

    Parameters
    ----------
    own, other : Score
        Both scored alike

    Returns
    -------
    html : str
        A table
    """

    def row(words, a, b, say):
        return (
            f'<tr><td>{words}</td><td class="num">{say(a)}</td><td class="num">{say(b)}</td></tr>'
        )

    rows = row("<b>all, weighted</b>", own.penalty, other.penalty, "{:.1f}".format)
    rows += "".join(
        row(step.label, own.penalties[key], other.penalties[key], "{:.1f}".format)
        for key, step in task.STEPS.items()
    )
    rows += row("checks met", own.met, other.met, "{}".format) + row(
        "cost", own.cost, other.cost, "{:,.0f}".format
    )
    return (
        '<table><tr><th>penalty in steps</th><th class="num">yours</th><th'
        f' class="num">solver</th></tr>{rows}</table>'
    )


def moved_list(found, brief):
    """What the solver moved.

    Parameters
    ----------
    found : Solution
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
    return (
        "<details><summary>What the solver"
        f" moved</summary><ul>{rows or '<li>nothing</li>'}</ul></details>"
    )


def attempts_list(found):
    """Attempts so far, and the lines of the file that cannot be read.

    Parameters
    ----------
    found : Attempts
        Of ``training.attempts.read_attempts``

    Returns
    -------
    html : str
        A table
    """
    rows = "".join(
        f'<tr><td class="num">{n}</td><td>{escape(a.who)}</td><td>{escape(plain(a.when))}</td>'
        f'<td>{escape(plain(a.school))}</td><td class="num">{a.penalty:.1f}</td>'
        f'<td class="quiet">{ROOMS.get(a.room, "")}</td>'
        f'<td class="num">{a.met} of {a.checks}</td><td class="num">{a.cost:,.0f}</td>'
        f"<td>{escape(plain('; '.join(a.changed), 200))}</td></tr>"
        for n, a in enumerate(found.attempts, 1)
    )
    head = (
        '<tr><th></th><th>name</th><th>date</th><th>school</th><th class="num">penalty [steps]</th>'
        '<th>figures from</th><th class="num">checks met</th><th class="num">cost</th>'
        "<th>outside the brief</th></tr>"
    )
    table = (
        f"<table><caption>Attempts so far</caption>{head}{rows}</table>"
        if rows
        else "<p class='quiet'>No attempt has been kept yet.</p>"
    )
    return table + (f"<p>{escape(found.warning)}</p>" if found.damaged else "")


def write_attempts(file):
    """Export all attempts of a file into a new folder beside it.

    Parameters
    ----------
    file : str or Path
        Of ``training.attempts``

    Returns
    -------
    folder : Path
        Holds attempts.csv, the scenario of every attempt, and the file itself as it is, damaged
        lines included

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
    files = {"attempts.csv": csv_text(task.attempts_table(found)).encode("utf-8")}
    for n, attempt in enumerate(found.attempts, 1):
        files[task.scenario_name(n)] = attempt.scenario.encode("utf-8")
    files["attempts.jsonl"] = file.read_bytes()
    with new_folder(folder) as building:
        for name, data in files.items():
            (building / name).write_bytes(data)
    return folder
