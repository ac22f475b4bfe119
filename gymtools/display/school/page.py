"""The page on which a school of one's own is written down: the form beside the live sketch, and the
steps that follow it.
"""

import re
from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as w

from ...commissioning.existing import BEFORE
from ...venue import wheelchairs
from ...venue.faults import court_doubts, divider_doubts
from ...venue.files import parse, to_text
from ...venue.new_school import NewSchool
from ...venue.reading_files import MEGABYTE, file_text
from ...venue.refusals import lines_of
from ...venue.scenario import Scenario
from ...venue.units import length_text
from ...venue.writing_files import school_file, write_file
from ..panel.accessible_names import AccessibleNames
from ..panel.controls import close
from ..panel.keyboard import PageKeyboard
from ..panel.lifeline import NOTE, Lifeline, Page
from ..panel.meeting import Meeting
from ..panel.page import CAUTION, quiet, style, with_folder
from ..panel.save import OURS, schools
from ..refusals import plain_refusal
from .answers import shown
from .begun import Begun, contents, fingerprint
from .draft_file import DraftFile
from .form import FormSection
from .proposals import ProposalsSection
from .sketch import numbered, sketch
from .style import STYLE
from .survey import SurveySection

ALL = "everything set out"
NAMELESS = "New school"  # until it has a name
NOT_RUNNING = NOTE.replace("The meeting is", "The form is").replace(
    "Your steps are kept: the panel asks whether to go\non from them.",
    "What was typed is kept: the form asks whether to go on from it.",
)
SIZE = (660, 610)  # of the sketch [px]
# the steps, in order; each has a title, a box and show()
SECTIONS = (FormSection, SurveySection, ProposalsSection)
MOST_STEPS = 200  # that can be undone


class NewSchoolPage:
    """The page of a new school; ``box`` is what a cell shows.

    Parameters
    ----------
    folder : str or Path
        Where the school's file is written
    school : NewSchool, optional
        What it begins with; a school of which nothing is known when left out
    alone : bool
        Cover the notebook, but for its bars
    on_back : callable, optional
        Leads back to where the page was opened from
    on_open : callable, optional
        Opens the meeting on a file, called with its path; in the page's place when left out
    """

    def __init__(self, folder=".", school=None, *, alone=False, on_back=None, on_open=None):
        self.folder, self.file, self.alone = Path(folder), None, alone
        self.draft_file, self.on_back, self.on_open = DraftFile(folder), on_back, on_open
        self._past, self._future = [], []
        self.school = school or NewSchool(name=NAMELESS)
        self.configuration, self.faults, self.meeting = None, [], None
        self._parsed, self.known = (None, None, []), None
        self._make()
        self.sections = tuple(kind(self) for kind in SECTIONS)
        self._make_steps()
        self.refresh()
        self.open_step(0)
        self.begun.ask()

    def close(self):
        """Close the page's widgets; what was typed stays in the draft."""
        for section in self.sections:
            if job := getattr(section, "job", None):
                job.discard()
        close(self.sheet, *(section.box for section in self.sections))

    # ---- steps

    def _make_steps(self):
        """Buttons of the steps, where there are several."""
        titles = [(f"{n}  {one.title}", n - 1) for n, one in enumerate(self.sections, 1)]
        self.steps = w.ToggleButtons(options=titles, value=0)
        self.steps.add_class("gt-steps")
        self.steps.observe(lambda change: self.open_step(change["new"]), names="value")
        shown(self.steps, len(titles) > 1)
        self.bar.children = (self.steps, *self.bar.children)

    def open_step(self, number):
        """Open a step.

        Parameters
        ----------
        number : int
            From 0 [-]
        """
        section = self.sections[number]
        self.steps.value = number
        self.left.children = (section.box,)
        change = self.body.add_class if getattr(section, "wide", False) else self.body.remove_class
        change("gt-wide")
        section.show()

    def next_step(self):
        """Write the file and open the next step; after the last one the meeting."""
        if not self.write():
            return
        if self.steps.value + 1 < len(self.sections):
            self.open_step(self.steps.value + 1)
        elif self.scenario.groups:
            self.open_meeting()
        else:
            self.say(f"{self.words_of_file()} It has no loudspeakers yet, so no meeting opens.")

    def write_and_meet(self):
        """Write the file and open the meeting on it."""
        if self.write():
            self.open_meeting()

    # ---- what stands

    @property
    def scenario(self):
        """The school as a scenario (Scenario); None while it cannot be."""
        return self._scenario()[0]

    def _scenario(self):
        """The scenario of the present text, and why there is none."""
        school = self.school
        if self._parsed[0] is not school:
            scenario, refused = None, []
            if not school.missing:
                try:
                    scenario = parse(school.text, school.name, folder=self.folder)
                except ValueError as error:
                    refused = lines_of(error)
            self._parsed = (school, scenario, refused)
        return self._parsed[1:]

    # ---- changes

    def set(self, school):
        """Show another state of the school: the only way to change it, with ``undo``.

        Parameters
        ----------
        school : NewSchool
            As it is now
        """
        self._past, self._future = [*self._past[-MOST_STEPS:], self.school], []
        self._show(school)

    def _show(self, school):
        self.school = school
        self.units.value = school.units
        if school.name != NAMELESS:
            self.name.value = school.name
        self.say("")
        self.refresh()
        self.lifeline.steps = len(self._past)
        self.draft_file.write(school, self.file, self.known)
        if self.draft_file.problem:
            self.say(
                f"The draft cannot be written: {escape(self.draft_file.problem)}. What is typed is"
                " lost with this page's kernel."
            )

    def undo(self):
        """Go one step back."""
        if self._past:
            self._future.append(self.school)
            self._show(self._past.pop())

    def redo(self):
        """Go one step forward again."""
        if self._future:
            self._past.append(self.school)
            self._show(self._future.pop())

    def take(self, new):
        """Take what a later step has found, and write the file.

        Parameters
        ----------
        new : NewSchool or Scenario
            The school with what was measured, or with the design that was chosen; with a scenario
            that has loudspeakers the meeting opens
        """
        if isinstance(new, Scenario):
            school = NewSchool.of_text(to_text(new))
            self.set(school)
            if self.write() and new.groups:
                self.open_meeting()
            return
        self.set(new)
        self.write()

    # ---- the file

    def write(self, *, overwrite=False):
        """Write the school's file, if it can be one.

        Parameters
        ----------
        overwrite : bool
            Whether a file that is not this school's own may be replaced

        Returns
        -------
        written : bool
            False where something is missing or does not fit, or the file is another's
        """
        self.replace_button.layout.display = "none"
        if self.school.missing:
            self.say("The file is written once the five answers are there.")
            return False
        if self.scenario is None:
            self.say(f"Not written: {escape(self._refusals()[0])}")
            return False
        path = self.file or school_file(self.folder, self.school.name)
        own = self.file is not None and fingerprint(path) == self.known
        try:
            write_file(path, self.school.text, overwrite=overwrite or own)
        except FileExistsError:
            self._say_there(path)
            return False
        except OSError as error:
            self.say(escape(str(error)))
            return False
        self.file, self.known = path, fingerprint(path)
        self.draft_file.write(self.school, path, self.known)
        self.begun.leave()
        self.say(self.words_of_file())
        return True

    def _say_there(self, path):
        """A file that the page does not know is in the way: what it holds, and what can be done."""
        words, heard = contents(path)
        since = "was changed outside this page" if self.file else "is in the folder already"
        lost = "; the loudspeakers in it are lost" if heard else ""
        self.say(
            f"Not written: {escape(path.name)} {since}. {escape(words)} Edit it above, give this"
            f" school another name, or replace that file by this gym{lost}."
        )
        self.begun.offer(path)
        self.replace_button.layout.display = ""

    def words_of_file(self):
        """Where the school's file is (str, HTML)."""
        return f"Written: {escape(with_folder(self.file))}."

    def open_meeting(self):
        """Open the design meeting on the school."""
        if self.on_open is not None:
            self.on_open(self.file)
            return
        self.meeting = Meeting(self.file, self.folder, alone=self.alone)
        self.box.children = (self.meeting.box,)

    def copy(self, path):
        """Begin as a copy of another school.

        Parameters
        ----------
        path : str or Path
            Its file
        """
        named = self.school.name if self.school.name != NAMELESS else ""
        try:
            school = copy_of(path, named)
        except (ValueError, OSError) as error:
            self.say(f"Not copied: {'<br>'.join(escape(line) for line in lines_of(error))}")
            return
        self.file = None
        self.set(school)
        self.say(f"Copied from {escape(with_folder(Path(path)))}, comments and all.")

    def take_draft(self, draft):
        """Go on from a draft.

        Parameters
        ----------
        draft : Draft
            Of this folder
        """
        file = draft.file and self.folder / draft.file
        self.file = file if file and file.is_file() else None
        self.draft_file.path, self.known = draft.path, draft.known
        self.set(draft.school)

    def edit(self, path):
        """Go on with the gym of a school's file, its loudspeakers kept.

        Parameters
        ----------
        path : Path
            Of the school's own file
        """
        try:
            school = self._school_of(path)
        except (ValueError, OSError) as error:
            self.say(f"Not opened: {'<br>'.join(escape(line) for line in lines_of(error))}")
            return
        self.replace_button.layout.display = "none"
        self.begun.leave()
        self.file, self.known = path, fingerprint(path)
        self.set(school)
        self.say(f"Editing {escape(with_folder(path))}.")

    def _school_of(self, path):
        """The school of a file; that of its draft where both say the same, since there what is
        assumed still follows from the answers.
        """
        text, draft = file_text(path, "scenario file", MEGABYTE // 4), self.begun.draft
        if draft is not None and draft.file == path.name and draft.school.text == text:
            return draft.school
        return NewSchool.of_text(text)

    def meet(self, path):
        """Open the meeting on a school's file.

        Parameters
        ----------
        path : Path
            With loudspeakers in it
        """
        self.begun.leave()
        self.file, self.known = path, fingerprint(path)
        self.open_meeting()

    # ---- what is shown

    def refresh(self):
        """Draw the school, count its seats, and say what does not fit."""
        use = self.use.value if self.use.value != ALL else None
        self.configuration, found = self.school.draft(use)
        self.faults = [fault for fault in found if fault.words]
        self._show_uses()
        self._show_sketch()
        self.seats.value = self._seat_words()
        self.wrong.value = self._fault_words()
        self.doubts.value = self._doubt_words()
        heard = self.scenario is not None and bool(self.scenario.groups)
        shown(self.meeting_button, heard)
        self.undo_button.disabled, self.redo_button.disabled = not self._past, not self._future
        if self.left.children:
            self.sections[self.steps.value].show()

    def _show_uses(self):
        uses = (ALL, *(self.school.things("uses") if not self.school.missing else ()))
        if tuple(self.use.options) != uses:
            chosen = self.use.value if self.use.value in uses else ALL
            self.use.options, self.use.value = uses, chosen

    def _show_sketch(self):
        if self.configuration is not None:
            placed = [fault for fault in self.faults if fault.name]
            self.sketch.value = sketch(self.school, self.configuration, placed, size=SIZE)
            return
        if not self.school.missing:
            self.sketch.value = quiet("The gym cannot be drawn as it is.")
            return
        example = self.school.example
        drawn = sketch(example, example.draft()[0], size=SIZE, values=False)
        words = "An example, until the five answers are there; letters as in the questions."
        self.sketch.value = f"{quiet(words)}<div class='gt-example'>{drawn}</div>"

    def _seat_words(self):
        """Seats of all areas, and wheelchair spaces."""
        if self.configuration is None:
            return ""
        seats = self.configuration.seats
        total, spaces = sum(seats.values()), self.configuration.wheelchair_spaces
        each = ", ".join(f"{escape(name)} {count:,}" for name, count in seats.items())
        needed = wheelchairs.spaces_required(total)
        enough = "enough" if spaces >= needed else "too few"
        asked = (
            f"Wheelchair spaces: <b>{spaces}</b>, {enough}: {total:,} seats ask for {needed}"
            " (2010 ADA Standards, table 221.2.1.1; local codes decide)"
        )
        court = self.school.court_words
        first = f"<b>{escape(court)}</b><br>" if court else ""
        if not total:
            return f"{first}No seats in this use." if self.use.value != ALL else f"{first}No seats."
        return f"{first}Seats: <b>{total:,}</b>{f' ({each})' if each else ''}. {asked}"

    def _refusals(self):
        """Why the school cannot be, in plain words."""
        return [_plain(line, self.school.name) for line in self._scenario()[1]]

    def _fault_words(self):
        """What does not fit, with the numbers of the sketch; then what else keeps it from being."""
        if self.school.missing:
            return ""
        named = numbered([fault for fault in self.faults if fault.name])
        drawn = dict.fromkeys((n, _plain(f.words, self.school.name)) for n, f in named)
        said = {words for _, words in drawn}
        others = [_plain(f.words, self.school.name) for f in self.faults if not f.name]
        others += self._refusals()
        lines = [f"<li><b>{n}</b>{escape(words)}</li>" for n, words in drawn]
        lines += [f"<li><b>!</b>{escape(w)}</li>" for w in dict.fromkeys(others) if w not in said]
        if not lines:
            return ""
        return f"Does not fit yet; what can be drawn is red:<ol>{''.join(lines)}</ol>"

    def _doubt_words(self):
        """What fits and should still be looked at."""
        c = self.configuration
        if c is None or any(fault.name == "court" for fault in self.faults):
            return ""
        units = self.school.units
        found = court_doubts(c.court, c.banks, c.hall, lambda meters: length_text(meters, units))
        if self.scenario is not None:
            gym = self.scenario
            found += divider_doubts(gym.divider, gym.galleries, gym.hall, gym.say)
        if not found:
            return ""
        lines = "".join(f"<li><b>?</b>{escape(words)}</li>" for words in found)
        return f"To look at:<ol>{lines}</ol>"

    def say(self, words):
        """Say something in the page's bar.

        Parameters
        ----------
        words : str
            HTML
        """
        self.words.value = quiet(words)

    # ---- the page

    def _make(self):
        self.words, self.seats, self.wrong, self.doubts, self.sketch = (w.HTML() for _ in range(5))
        self.wrong.add_class("gt-faults")
        self.doubts.add_class("gt-doubts")
        self.sketch.add_class("gt-sketch")
        self.left = _box(w.VBox, [], "gt-left")
        self._make_bar()
        self.use = w.Dropdown(
            options=(ALL,),
            description="Drawn as in",
            style={"description_width": "90px"},
            layout={"width": "300px"},
        )
        self.use.observe(lambda _: self.refresh(), names="value")
        right = _box(
            w.VBox, [self.seats, self.wrong, self.doubts, self.use, self.sketch], "gt-right"
        )
        self.body = _box(w.HBox, [self.left, right], "gt-body")
        self.begun = Begun(self)
        self.style, self.lifeline = w.HTML(style(True, self.alone)), Lifeline()
        hidden = w.HBox([self.style, w.HTML(STYLE), AccessibleNames(), PageKeyboard()])
        page = [
            hidden,
            self.lifeline,
            self.bar,
            self.begun.box,
            self.body,
            _box(w.Box, [w.HTML(CAUTION)], "gt-caution"),
        ]
        self.sheet = _box(w.VBox, page, "gt-page")
        self.sheet.add_class("gt-new")
        self.box = Page([self.sheet], NOT_RUNNING)

    def _make_bar(self):
        """Name, units, what to copy; steps back, and the file."""
        self._make_fields()
        self.undo_button = _button("Undo", self.undo, "62px")
        self.redo_button = _button("Redo", self.redo, "62px")
        self.replace_button = _button("Replace it", lambda: self.write(overwrite=True), "90px")
        self.replace_button.layout.display = "none"
        self.write_button = _button("Write the file", self.write, "110px")
        self.next_button = _button("Next step", self.next_step, "96px")
        self.meeting_button = _button("Open the meeting", self.write_and_meet, "140px")
        back = [_button("Back to the meeting", self.on_back, "170px")] if self.on_back else []
        parts = [
            self.name,
            self.units,
            self.files,
            _button("Copy", lambda: self.files.value and self.copy(self.files.value), "62px"),
            self.undo_button,
            self.redo_button,
            self.write_button,
            self.next_button,
            self.meeting_button,
            self.replace_button,
            *back,
            self.notebook,
            self.words,
        ]
        self.bar = _box(w.HBox, parts, "gt-bar")

    def _make_fields(self):
        """Name, units, what to copy, and whether the notebook is seen."""
        self.name = w.Text(
            self.school.name if self.school.name != NAMELESS else "",
            description="Name of the school",
            placeholder="e.g. Alder Hollow High School",
            continuous_update=False,
            style={"description_width": "130px"},
            layout={"width": "360px"},
        )
        self.units = w.ToggleButtons(
            options=(("feet", "ft"), ("meters", "m")),
            value=self.school.units,
            tooltips=("Lengths in feet", "Lengths in meters"),
        )
        self.files = w.Dropdown(
            description="Copy from", layout={"width": "300px"}, style={"description_width": "76px"}
        )
        self._list_schools()
        self.notebook = w.ToggleButton(
            description="Notebook",
            tooltip="Show the notebook with its text and code around the form, or hide it",
            layout={"width": "88px"},
        )
        self.name.observe(self._rename, names="value")
        self.units.observe(self._change_units, names="value")
        self.notebook.observe(self._fold, names="value")

    def _fold(self, change):
        self.style.value = style(not change["new"], self.alone)

    def _list_schools(self):
        found = [p for p in schools((self.folder, OURS)) if not p.stem.endswith(f" {BEFORE}")]
        self.files.options = [("choose a school", ""), *((with_folder(p), str(p)) for p in found)]
        self.files.value = ""

    def _rename(self, change):
        named = change["new"].strip()
        if not named or named == self.school.name:
            return
        try:
            self.set(replace(self.school, name=named))
        except ValueError as error:
            self.say(escape(str(error)))

    def _change_units(self, change):
        if change["new"] != self.school.units:
            self.set(replace(self.school, units=change["new"]))


def _plain(words, school):
    """A fault in the words of the page, without the name of the school before it; tables of the
    file are no words of the page.
    """
    words = words.removeprefix(f"{school}: ").removeprefix(f"{school} ")
    return plain_refusal(re.sub(r"^\[(\w+)\]: ", _of_table, words))


def _of_table(match):
    """The gym needs no name; another table is what it is called."""
    return "" if match[1] == "hall" else f"{match[1].replace('_', ' ')}: "


def copy_of(path, name=""):
    """A school that begins as a copy of another one's file.

    Parameters
    ----------
    path : str or Path
        Of the file
    name : str
        Of the new school; that of the file with "copy" behind it when left out

    Returns
    -------
    school : NewSchool
        All that the file says, comments too

    Raises
    ------
    ValueError
        The file cannot be read
    """
    path = Path(path)
    school = NewSchool.of_text(file_text(path, "scenario file", MEGABYTE // 4))
    return replace(school, name=name or f"{school.name}, copy")


def _box(kind, children, name):
    """A box that the style sheet knows by name."""
    box = kind(children)
    box.add_class(name)
    return box


def _button(words, act, width="110px"):
    button = w.Button(description=words, layout={"width": width})
    button.on_click(lambda _: act())
    return button


def new_school(folder=".", name="", copied_from=None):
    """The page of a new school, over the whole notebook.

    Parameters
    ----------
    folder : str or Path
        Where the school's file is written
    name : str
        Of the school; asked for when left out
    copied_from : str or Path, optional
        File of another school that it begins as a copy of

    Returns
    -------
    page : NewSchoolPage
        Show its ``box``

    Raises
    ------
    ValueError
        The file to copy cannot be read, or the name cannot be one
    """
    school = copy_of(copied_from, name) if copied_from else NewSchool(name=name or NAMELESS)
    return NewSchoolPage(folder, school, alone=True)
