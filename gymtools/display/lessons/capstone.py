"""The capstone as controls: the survey, the learner's file held against it, a score, a record, and
the rubric of the talk.
"""

from html import escape
from pathlib import Path

import ipywidgets as w

from ...design.decision import decide
from ...training import capstone
from ...training.progress import Progress
from ...training.task import Score, as_arranged, judged
from ...venue.files import load
from .. import tables
from ..documents.handover import write_record
from ..jobs import Job
from ..tables.markup import bullets, table
from .task import score_table

NO_FILE = "Write the name of your scenario file into the parameters, and run the cells again."
UNMARKED = -1  # a row of the rubric before the supervisor has chosen
DRAWS = 100  # of the unknowns, in the record [-]


class CapstonePanel:
    """Controls of a capstone.

    Parameters
    ----------
    seed : int
        The supervisor's: draws the gym [-]
    file : str or Path
        The learner's scenario; empty before it is written
    units : str
        "m" or "ft"
    progress : Progress, optional
        The learner's file
    """

    def __init__(self, seed, file="", *, units="ft", progress=None):
        self.gym, self.seed = capstone.unseen(seed, units), seed
        self.file, self.progress = Path(file) if file else None, progress or Progress()
        self.score = self._scale = None
        self.checked, self.scored, self.written = w.HTML(), w.HTML(), w.HTML()
        self.check_button = _button("Check my file", "150px", self.check)
        self.score_button = _button("Score my design", "150px", self.grade)
        self.record_button = _button("Write my record", "150px", self.record)
        self.job = Job(self._recorded, refused=self._refused)
        self.job.starts_with(self.record_button)
        self.marks = [
            w.Dropdown(
                description=row[0],
                options=[
                    ("not marked", UNMARKED),
                    *((f"{n}: {t}", n) for n, t in enumerate(row[1:])),
                ],
                value=UNMARKED,
                style={"description_width": "140px"},
                layout={"width": "560px"},
            )
            for row in capstone.RUBRIC
        ]
        self.keep_button = _button("Keep the marks", "150px", self.keep_marks)
        self.marked = w.HTML()

    @property
    def survey(self):
        """The survey as it was brought back (str of HTML)."""
        rows = [(escape(r.label), escape("; ".join(r.words))) for r in self.gym.survey]
        return tables.card(table("Survey", ("asked", "read"), rows))

    @property
    def box(self):
        """What the page shows under the survey."""
        work = [self.check_button, self.score_button, self.record_button, self.job.halt]
        said = [self.checked, self.scored, self.job.words, self.job.error, self.written]
        return w.VBox([w.HBox(work, layout={"flex_flow": "row wrap"}), *said])

    @property
    def rubric(self):
        """What the marks mean, and marks of the talk."""
        head = ("", *(str(n) for n in range(capstone.MOST_MARKS + 1)))
        rows = [tuple(map(escape, row)) for row in capstone.RUBRIC]
        meaning = w.HTML(tables.card(table("What the marks mean", head, rows)))
        return w.VBox([meaning, *self.marks, self.keep_button, self.marked])

    def check(self):
        """Hold the learner's file against the survey.

        Returns
        -------
        own : Scenario or None
            None where there is none, or it cannot be read
        """
        try:
            own = self._own()
        except ValueError as refused:
            self.checked.value = tables.card(f"<p><b>{escape(str(refused))}</b></p>")
            self.scored.value, self.score = "", None
            return None
        off = capstone.mismatches(self.gym.truth, own)
        words = (
            "<p>Not as the survey has it:</p>" + bullets(escape(o) for o in off)
            if off
            else "<p><b>Your file agrees with the survey.</b></p>"
        )
        self.checked.value = tables.card(words)
        return own

    def grade(self):
        """Score the learner's design in the gym as it is."""
        own = self.check()
        if own is None:
            return
        try:
            design = capstone.hung_in(self.gym.truth, own)
            self._scale = self._scale or capstone.scale(self.gym.truth)
            found = judged(design)
        except ValueError as refused:
            self.score = None
            said = f"Not scored: in the gym as it is, {refused}"
            self.scored.value = tables.card(f"<p><b>{escape(said)}</b></p>")
            return
        points = self._scale.points(found.quality, found.cost)
        off = capstone.mismatches(self.gym.truth, own)
        strays = (f"the file differs from the survey in: {', '.join(off)}",) if off else ()
        strays += capstone.too_low(design)
        points = 0.0 if strays else points
        self.score = Score(
            judged=found,
            yardstick=self._scale,
            points=points,
            strays=strays,
            arrangement=as_arranged(self.gym.truth, own),
        )
        self.scored.value = tables.card(score_table(self.score))
        self._keep("task", "capstone", f"{self.score.points:.0f} points")

    def record(self):
        """Write the decision record of the learner's design beside its file."""
        own = self.check()
        if own is None:
            return
        self.job.start(
            lambda tell, stop: decide({"my design": own}, draws=DRAWS, stop=stop),
            "Putting the decision together.",
        )

    def keep_marks(self):
        """Keep the marks of the talk."""
        try:
            total, most = capstone.talk_marks([m.value for m in self.marks])
        except ValueError as refused:
            self.marked.value = f"<b>{escape(str(refused))}</b>"
            return
        self._keep("task", "talk", f"{total} of {most} marks")
        self.marked.value = f"<b>{total} of {most} marks, kept.</b>"

    def works(self):
        """See that the capstone works with its parameters.

        Returns
        -------
        said : str
            What was seen

        Raises
        ------
        ValueError
            The gym's own survey does not describe it
        """
        if capstone.mismatches(self.gym.truth, self.gym.truth) or self.gym.truth.groups:
            raise ValueError("the survey does not describe its gym.")
        return (
            f"Lines of the survey: {len(self.gym.survey)}. Rows of the rubric: {len(self.marks)}."
        )

    def _own(self):
        if self.file is None:
            raise ValueError(NO_FILE)
        try:
            return load(self.file)
        except OSError as error:
            raise ValueError(f"{self.file.name}: {error.strerror or error}.") from None

    def _recorded(self, decision):
        if decision is None:
            self.job.say("Stopped.")
            return
        try:
            paths = write_record(decision, self.file.parent)
        except OSError as error:
            self.job.refuse(error)
            return
        self.job.say("")
        self.written.value = tables.card(
            f"<p>The record is {escape(paths[0].parent.name)}/{escape(paths[0].name)}. Read it as"
            " the principal, as the installer, and as an inspector. Then give your talk.</p>"
        )

    def _refused(self, error):
        self.job.refuse(error)

    def _keep(self, kind, reply, given):
        try:
            self.progress.add(kind, "capstone", f"seed {self.seed}", reply, given=given)
        except OSError as error:
            said = f"Progress could not be written: {error.strerror or error}."
            self.checked.value = tables.card(f"<p><b>{escape(said)}</b></p>")


def _button(words, wide, click):
    made = w.Button(description=words, layout={"width": wide})
    made.on_click(lambda _: click())
    return made
