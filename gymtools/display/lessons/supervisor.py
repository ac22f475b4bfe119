"""The supervisor's page: what learners have done, from their files, without names."""

from html import escape
from pathlib import Path

from ...equipment.schedules import Schedule
from ...training.progress import History, read_progress
from ...training.summary import others, summary
from ...venue.writing_files import new_folder
from .. import tables
from ..documents.exports import csv_text
from ..tables.markup import Num, Quiet, table

COLUMNS = (
    "learner",
    "lesson",
    "problems",
    "right at the first try",
    "exercises passed",
    "exercises",
    "minutes",
    "predictions right",
    "predictions",
    "aims reached",
    "blind answers right",
    "blind answers",
    "commonest slips",
)
NOTHING = "This file holds no event yet."
PART = "its file cannot be read, or not all of it; the page says why."
WRITTEN = "written"  # reply of a prediction in a learner's own words


class Supervisor:
    """Learners side by side.

    Parameters
    ----------
    files : sequence of str or Path
        A file of progress for each learner; learners are numbered in this order
    """

    def __init__(self, files):
        self.files = tuple(Path(file) for file in files)
        self.histories, self.troubles = [], []
        for file in self.files:
            try:
                found = read_progress(file)
                trouble = found.warning or ("" if file.exists() else "is not there.")
            except ValueError as refused:
                found, trouble = History(), str(refused)
            self.histories.append(found)
            self.troubles.append(trouble)

    def _repr_html_(self):
        return tables.card(*(self._learner(n) for n in range(len(self.files))))

    def export(self, folder):
        """Write the tables for all learners, without names.

        Parameters
        ----------
        folder : str or Path
            A new folder

        Returns
        -------
        folder : Path
            Holds progress.csv and events.csv

        Raises
        ------
        FileExistsError, OSError
            There is one already, or it could not be written
        """
        files = {"progress.csv": csv_text(self._table()), "events.csv": csv_text(self._events())}
        with new_folder(Path(folder)) as building:
            for name, text in files.items():
                (building / name).write_text(text, encoding="utf-8")
        return Path(folder)

    def _learner(self, n):
        history, trouble = self.histories[n], self.troubles[n]
        trouble = trouble.removeprefix(f"{self.files[n].name}: ")
        said = f"<p><b>{escape(self.files[n].name)}: {escape(trouble)}</b></p>" if trouble else ""
        rows = [_shown(row) for row in summary(history) if row.begun]
        head = (
            "lesson",
            Num("problems"),
            Num("right at once"),
            Num("passed"),
            Num("minutes"),
            Num("predictions"),
            Num("aims"),
            Num("blind"),
            "commonest slips",
        )
        body = (
            table(f"Learner {n + 1}", head, rows) if rows else f"<p>Learner {n + 1}: {NOTHING}</p>"
        )
        more = "; ".join(escape(f"{e.lesson}, {e.reply}: {e.given}") for e in others(history))
        return said + body + (f"<p>Beside the lessons: {more}.</p>" if more else "")

    def _table(self):
        rows = [
            (
                n,
                s.number,
                s.asked,
                s.right_first,
                s.passed,
                s.exercises,
                round(s.minutes, 1),
                *s.predictions,
                s.aims,
                *s.listening,
                "; ".join(f"{words} ({times})" for words, times in s.slips),
            )
            for n, history in enumerate(self.histories, 1)
            for s in summary(history)
        ]
        troubles = [f"Learner {n}: {PART}" for n, t in enumerate(self.troubles, 1) if t]
        return Schedule(
            title="Progress", columns=COLUMNS, rows=tuple(rows), note=" ".join(troubles)
        )

    def _events(self):
        columns = (
            "learner",
            "when",
            "kind",
            "lesson",
            "asked",
            "reply",
            "given",
            "slip",
            "try",
            "s",
        )
        rows = [
            (n, e.when, e.kind, e.lesson, e.asked, e.reply, _given(e), e.slip, e.number, e.seconds)
            for n, history in enumerate(self.histories, 1)
            for e in history.events
        ]
        return Schedule(title="Events", columns=columns, rows=tuple(rows))


def _given(event):
    """What was answered; a learner's own words stay on the machine."""
    return "" if event.reply == WRITTEN else event.given


def _shown(row):
    """A lesson's row on the page."""
    return (
        row.number,
        Num(row.asked),
        Num(row.right_first),
        Num(f"{row.passed} of {row.exercises}"),
        Num(f"{row.minutes:.0f}"),
        Num("{} of {}".format(*row.predictions)),
        Num(row.aims),
        Num("{} of {}".format(*row.listening)),
        Quiet("<br>".join(escape(f"{words} ({times})") for words, times in row.slips)),
    )
