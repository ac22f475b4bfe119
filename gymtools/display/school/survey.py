"""The step of the survey: print the sheet, read it back, fit the gym to what was measured, and keep
the sound system that is there as the "before".
"""

from html import escape
from pathlib import Path

import ipywidgets as w

from ...acoustics.measured_room import fit_room
from ...commissioning.existing import before, before_file
from ...commissioning.survey import PHONE
from ...commissioning.survey_sheet import read_survey, with_measured
from ...venue.files import parse, save, to_text
from ...venue.new_school import NewSchool
from ...venue.reading_files import one_line
from ...venue.writing_files import refuse_existing, revisions_sentence
from ..documents.handover import folder_name
from ..documents.survey import write_survey
from ..jobs import HIDDEN, SHOWN, Job, not_possible
from ..panel.page import quiet, with_folder
from ..tables.markup import bullets, card
from ..tables.room import fit_table
from ..tables.survey import (
    answers_table,
    decays_table,
    equipment_table,
    faults_list,
    fit_sentence,
    noise_table,
)

ABOUT = (
    "Take the sheet into the gym: it has the letters of the sketch, what is assumed in gray, room"
    " for noise, decay and the loudspeakers that hang there. Type what was found into the workbook"
    " beside it, and read that back. Every answer can also be given in the form; this step can be"
    " skipped."
)
HOW = (
    '<details style="line-height:1.4"><summary>How a phone records a balloon that pops</summary>'
    f"{bullets(PHONE)}</details>"
)
SHEETS, SOUNDS = (".xlsx", ".xlsm", ".csv"), (".wav", ".wave")
MOST_LISTED = 200  # files of a folder
STALE = "Something was changed since. Fit the room again."


class SurveySection:
    """The survey of a school that is being written down; ``box`` is what the page shows.

    Parameters
    ----------
    page : any
        Holds ``school``, ``scenario``, ``folder`` and ``file``, and takes a school or a scenario by
        ``take``
    """

    key, title = "survey", "Survey"

    def __init__(self, page):
        self.page, self.survey, self._read_of, self.found_before = page, None, None, None
        self.fit_job = Job(self._fitted, stale=STALE)
        self.words, self.read_words = w.HTML(), w.HTML()
        self.existing_words, self.fit_words = w.HTML(), w.HTML()
        self._make_buttons()
        self.box = self._make()
        self.show()

    # ---- what is shown

    def _make_buttons(self):
        self.print_button = _button("Write the survey sheet", "190px", lambda: self.write(False))
        self.replace_button = _button("Replace the sheet", "160px", lambda: self.write(True))
        self.replace_button.layout.display = HIDDEN
        self.chosen = w.Dropdown(description="Sheet", layout={"width": "420px"})
        self.chosen.description_allow_html = False
        self.add = w.FileUpload(
            accept=",".join((*SHEETS, *SOUNDS)),
            multiple=True,
            description="Add files (sheet, WAV)",
            layout={"width": "210px"},
        )
        self.add.observe(lambda change: self.take_files(change["new"]), "value")
        self.read_button = _button("Read it back", "120px", self.read)
        self.use_button = _button("Use these answers", "160px", self.use)
        self.fit_button = _button("Fit the room to it", "150px", self.fit)
        self.fit_button.tooltip = "Move absorption and scattering until it rings as measured"
        self.keep_button = _button('Keep it as the "before"', "190px", self.keep_before)
        self.fit_job.starts_with(self.fit_button)

    def _make(self):
        row = {"flex_flow": "row wrap"}
        self.fit_job.bar.layout.width = "160px"
        self.fit_job.halt.layout.width = "70px"
        steps = [self.use_button, self.fit_button, self.keep_button]
        work = [self.fit_job.halt, self.fit_job.back, self.fit_job.bar]
        self._working = w.HBox(work)
        return w.VBox(
            [
                w.HTML(quiet(ABOUT)),
                w.HBox([self.print_button, self.replace_button]),
                w.HBox([self.chosen, self.read_button, self.add], layout=row),
                w.HTML(HOW),
                self.words,
                w.HBox(steps, layout=row),
                self._working,
                self.fit_job.words,
                self.fit_job.error,
                self.fit_words,
                self.existing_words,
                self.read_words,
            ]
        )

    def show(self):
        """Bring the step up to date with the school and with the files that lie there."""
        files = self._files()
        chosen = self.chosen.value if self.chosen.value in files else None
        self.chosen.options = [(self._named(f), f) for f in files]
        self.chosen.value = chosen or (files[0] if files else None)
        self.read_button.disabled = not files
        self._show_parts()

    def _show_parts(self):
        survey = self.survey
        measured = getattr(self.page.scenario, "measured_room", None) is not None
        fits = bool((survey and survey.measured) or measured)
        shown = {
            self.use_button: bool(survey and survey.answers),
            self.fit_button: fits,
            self._working: fits,
            self.keep_button: bool(survey and any(i.is_loudspeaker for i in survey.items)),
        }
        for part, visible in shown.items():
            part.layout.display = SHOWN if visible else HIDDEN

    @property
    def sheet_folder(self):
        """Where the sheet of this school lies (Path)."""
        return Path(self.page.folder) / folder_name(self.page.school, "survey")

    def _files(self):
        """Files that may be a filled sheet, those of the school's own folder first."""
        found = []
        for folder in (self.sheet_folder, Path(self.page.folder)):
            if folder.is_dir():
                there = sorted(f for f in folder.iterdir() if f.suffix.lower() in SHEETS)
                # a workbook before the same as CSV
                found += sorted(there, key=lambda f: SHEETS.index(f.suffix.lower()))
        return found[:MOST_LISTED]

    def _named(self, file):
        folder = Path(self.page.folder)
        return one_line(file.relative_to(folder) if file.is_relative_to(folder) else file.name)

    # ---- the sheet

    def write(self, overwrite=False):
        """Write the sheet to be printed, and the workbook to be filled in.

        Parameters
        ----------
        overwrite : bool
            Whether an earlier one may be replaced; it moves into "revisions", filled or not
        """
        self.replace_button.layout.display = HIDDEN
        try:
            if not overwrite:
                refuse_existing(self.sheet_folder, holds="readings")
            paths = write_survey(self.page.school, self.page.folder, overwrite=overwrite)
        except FileExistsError:
            self.replace_button.layout.display = SHOWN
            self.words.value = (
                "There is a sheet of this school already, perhaps filled in. To replace it moves"
                ' it into the folder "revisions".'
            )
            return
        except (ValueError, OSError) as error:
            self.words.value = not_possible(error)
            return
        self.words.value = (
            f"Print {escape(with_folder(paths[0]))} (one page), and fill in"
            f" {escape(paths[1].name)} beside it. {revisions_sentence(paths[0].parent)}"
        )
        self.show()

    def take_files(self, files):
        """Put files that were added beside the sheet; none that is there is replaced.

        Parameters
        ----------
        files : sequence of dict
            "name" and "content" of each
        """
        said, sheet = [], None
        for file in files:
            name = one_line(Path(str(file["name"])).name)
            try:
                added = self._put(name, bytes(file["content"]))
                said.append(f"{escape(name)} was added.")
                sheet = added if added.suffix.lower() in SHEETS else sheet
            except (ValueError, OSError) as error:
                said.append(not_possible(error))
        if said:
            self.words.value = "<br>".join(said)
            self.show()
            self.chosen.value = sheet or self.chosen.value

    def _put(self, name, content):
        """Write a file that was added, and give its path."""
        if Path(name).suffix.lower() not in (*SHEETS, *SOUNDS):
            raise ValueError(f"{name}: is neither a sheet (XLSX, CSV) nor a recording (WAV).")
        folder = self.sheet_folder
        folder.mkdir(exist_ok=True)
        try:
            with (folder / name).open("xb") as target:
                target.write(content)
            return folder / name
        except FileExistsError:
            raise ValueError(
                f"{name}: there is such a file. Rename the new one; what is there stays."
            ) from None

    # ---- what came back

    def read(self):
        """Read the chosen sheet, and say what was understood."""
        if self.chosen.value is None:
            return
        self.fit_job.discard()
        try:
            self._read_of = self.page.school
            self.survey = read_survey(self.chosen.value, self._read_of)
        except (ValueError, OSError) as error:
            self.survey = None
            self.words.value = not_possible(error)
            self.read_words.value = self.existing_words.value = ""
            self._show_parts()
            return
        survey = self.survey
        said = f"{escape(self.chosen.value.name)}: {escape(survey.files[0].words)}."
        self.words.value = f"{said} Nothing is changed before you say so."
        self.read_words.value = card(
            answers_table(survey),
            faults_list(survey),
            decays_table(survey),
            noise_table(survey),
        )
        self.existing_words.value = (
            card(equipment_table(survey.items, survey.school.units)) if survey.items else ""
        )
        self.use_button.disabled = False
        self._show_parts()

    def use(self):
        """Take the answers of the sheet into the school."""
        answered, before_it = self.page.school, self._read_of.answers
        for key, value in self.survey.school.answers.items():
            # what was answered in the form since the sheet was read stays
            if key not in before_it or before_it[key] != value:
                answered = answered.with_answer(key, value)
        try:
            self.page.take(answered)
        except ValueError as error:
            self.words.value = not_possible(error)
            return
        changed = sum(a.state == "corrected" for a in self.survey.answers)
        agreed = sum(a.state == "confirmed" for a in self.survey.answers)
        unused = len(self.survey.bad)
        more = f"; {unused} not used (see below)" if unused else ""
        self.words.value = f"Taken: {changed} corrected, {agreed} confirmed{more}."
        self.use_button.disabled = True
        self._keep_again()
        self._show_parts()

    # ---- the room

    def fit(self):
        """Put what was measured into the school, and fit the room to it."""
        if self.survey and self.survey.answers and not self.use_button.disabled:
            self.fit_job.refuse("the answers of the sheet are not used yet. Use them first.")
            return
        try:
            gym = self._gym()
        except ValueError as error:
            self.fit_job.refuse(error)
            return
        self.fit_job.start(lambda tell, stop: fit_room(gym), "Fitting the room; some seconds.")

    def _gym(self):
        """The gym with what was measured in it."""
        gym = self._scenario()
        if self.survey is None or self.survey.measured is None:
            return gym  # measured earlier
        return with_measured(gym, self.survey)

    def _scenario(self):
        """The school as a scenario.

        Raises
        ------
        ValueError
            It cannot be one yet
        """
        if self.page.scenario is not None:
            return self.page.scenario
        return parse(self.page.school.text, self.page.school.name, folder=self.page.folder)

    def _fitted(self, fitted):
        before_fit = self.page.school
        # as a school, not as a design that was chosen: the meeting does not open yet
        self.page.take(NewSchool.of_text(to_text(fitted.scenario)))
        self.fit_job.forget()
        self.fit_job.say(fit_sentence(fitted))
        self.fit_words.value = card(fit_table(fitted))
        self.fit_job.offer_back(lambda: self._take_back(before_fit))
        self._keep_again()

    def _take_back(self, school):
        self.fit_words.value = ""
        self.page.take(school)
        self._keep_again()

    def _keep_again(self):
        """The gym is another: what is kept of it as it sounds today follows."""
        if self.found_before is not None:
            self.keep_before()

    # ---- the sound system that is there

    def keep_before(self):
        """Keep the gym with the sound system that is there, to be compared with new designs."""
        try:
            found, file = self._before()
        except (ValueError, OSError) as error:
            self.existing_words.value = not_possible(error)
            return
        self.found_before = found
        kept = (
            f'<p>The gym as it sounds today is kept in {escape(file.name)}: it stands as "before"'
            " among the kept designs when the meeting opens.</p>"
        )
        said = [*found.left_out, *found.assumed]
        self.existing_words.value = card(
            equipment_table(self.survey.items, self.survey.school.units),
            kept if found.scenario is not None else "",
            bullets([escape(x) for x in said]),
        )

    def _before(self):
        """The gym as it sounds today, written beside the school's file, and its path."""
        if self.page.file is None:
            raise ValueError("the school has no file yet. Write it first.")
        found = before(self._scenario(), self.survey.items)
        file = before_file(Path(self.page.file))
        if found.scenario is not None:
            save(found.scenario, file, overwrite=True)
        return found, file


def _button(words, width, act):
    button = w.Button(description=words, layout={"width": width})
    button.on_click(lambda _: act())
    return button
