"""The scenario's file: saving it under a name, and opening another school."""

import os
import re
from html import escape
from pathlib import Path

import ipywidgets as w

from ...acoustics.evaluate import evaluate
from ...venue.files import load, save
from ...venue.refusals import lines_of
from ..jobs import HIDDEN, SHOWN, Debounce, Job
from .page import quiet, with_folder
from .section import Section

SLOW = 0.5  # that opening a school takes before its bar and Stop are shown [s]
MOST_FILES = 200  # schools that a list shows
OURS = Path("../scenarios")  # beside the workbook


class SaveSection(Section):
    """File name, and what became of it; a list of the schools that can be opened."""

    def _begin(self):
        self._saved = [self._kept(self.panel.state)]  # what stands in files
        self._school = ""
        self.job = Job(self._opened, refused=self._refused)
        self._late = Debounce(lambda: self._show_work(self.job.running), SLOW)

    def _make(self):
        self.stand, self.school = w.HTML(), w.HTML()
        self.school.add_class("gt-school")
        self.name = w.Text(self._proposed(), description="Save as", layout={"width": "330px"})
        self.button = _button("Save scenario", lambda: self._write(False))
        self.replace_button = _button("Replace it", lambda: self._write(True), shown=False)
        self.list_button = _button("Open another school", self.offer, "170px")
        self.form_button = _button("New school", self.panel.open_form, "100px")
        self.files = w.Dropdown(description="School", layout={"width": "330px", "display": HIDDEN})
        self.open_button = _button("Open it", self.open_chosen, "90px", shown=False)
        self.words = w.HTML()
        self.name.observe(lambda _: self._say(""), names="value")
        self.job.starts_with(self.list_button, self.open_button)
        self.job.bar.layout.width = "120px"
        self._show_work(False)
        work = [self.job.bar, self.job.halt]
        opening = [
            self.form_button,
            self.list_button,
            self.files,
            self.open_button,
            *work,
            self.job.error,
        ]
        if "schools" in self.panel.closed:
            opening = [self.job.error]
        row = [self.stand, self.name, self.button, self.replace_button, *opening, self.words]
        return w.HBox(row, layout={"flex_flow": "row wrap"})

    def _render(self, state, answer):
        if state.start.name != self._school:  # another one was opened, or brought back
            self._school = state.start.name
            self.name.value = self._proposed()
            self.school.value = f"<b>{escape(self._school)}</b>"
            self.school.tooltip = self._school
        now = self._kept(state)
        saved = any(now[0] is file[0] and now[1:] == file[1:] for file in self._saved)
        changed = "" if saved else ", not saved"
        name = state.file or "a school without a file"
        self.stand.value = f"<b>{escape(name)}</b>{changed}&nbsp;"

    @staticmethod
    def _kept(state):
        """What a file holds of a state, and the file's name."""
        return state.start, state.changes, state.treatments, state.file

    def _proposed(self):
        words = re.findall(r"\w+", self.panel.start.name.lower())
        return f"{words[0] if words else 'school'}-option.toml"

    def _say(self, text, replaceable=False):
        self.words.value = quiet(text)
        self.replace_button.layout.display = SHOWN if replaceable else HIDDEN

    def _write(self, overwrite):
        self.panel.live.flush()
        name = self.name.value.strip()
        if not re.fullmatch(r"\w[\w .()-]*", name):
            return self._say("Give a plain file name without folders, e.g. option-a.toml.")
        if self.panel.refusal:
            return self._say(
                "The controls are set to something that cannot be built. Nothing was saved."
            )
        path = self.panel.folder / (name if name.endswith(".toml") else f"{name}.toml")
        try:
            save(self.panel.to_file(), path, overwrite=overwrite)
        except FileExistsError as error:
            return self._say(escape(str(error)), replaceable=True)
        except (OSError, ValueError) as error:
            return self._say(escape(str(error)))
        self.panel.history.amend(self.panel.state.update(file=path.name))
        others = [file for file in self._saved if file[-1] != path.name]
        self._saved = [*others, self._kept(self.panel.state)]
        self._say(f"Saved as {escape(with_folder(path))}.")
        self._render(self.panel.state, self.panel.answer)

    # ---- opening

    def offer(self):
        """Show the list of schools that can be opened, as the folders hold them now."""
        found = schools((self.panel.folder, *self.panel.folders, OURS))
        self.files.options = [(with_folder(path), str(path)) for path in found]
        for widget in (self.files, self.open_button):
            widget.layout.display = SHOWN if found else HIDDEN
        self._say("" if found else "There is no scenario file in these folders.")

    def open_chosen(self):
        """Open the school that is chosen in the list."""
        if self.files.value:
            self.open(self.files.value)

    def open(self, path):
        """Open a school as a step of the history: undo brings back the one before it.

        It is read and first evaluated in a thread.

        Parameters
        ----------
        path : str or Path
            Of a scenario file
        """
        path, panel = Path(path), self.panel
        panel.live.flush()
        use = panel.state.use

        def work(tell, stop):
            school = load(path)
            tell(0.3)
            if not stop():
                names = [u.name for u in school.uses]
                evaluate(school, use if use in names else names[0], rays="few")
            return None if stop() else (path, school)

        if not self.job.running:
            self._say(f"Opening {escape(with_folder(path))}.")
            self.job.start(work)
            self._late()

    def _show_work(self, shown):
        for widget in (self.job.bar, self.job.halt):
            widget.layout.display = SHOWN if shown else HIDDEN

    def _refused(self, error):
        self._show_work(False)
        self._say(f"Not opened: {'<br>'.join(escape(line) for line in lines_of(error))}")

    def _opened(self, found):
        self._show_work(False)
        if found is None:
            self._say("Stopped: no school was opened.")
            return
        (path, school), panel = found, self.panel
        panel.live.flush()
        panel.folders = tuple(dict.fromkeys((*panel.folders, path.parent)))
        panel.update(start=school, file=path.name, file_units=school.units, seat=None)
        self._saved.append(self._kept(panel.state))
        for widget in (self.files, self.open_button):
            widget.layout.display = HIDDEN
        self._render(panel.state, panel.answer)  # another proposed name takes the words away
        self._say(f"Opened {escape(with_folder(path))}. Undo brings back what was there.")


def schools(folders):
    """Scenario files of some folders.

    Parameters
    ----------
    folders : sequence of Path
        Where to look; what is no folder is passed over

    Returns
    -------
    paths : list of Path
        Each file once, by folder and name
    """
    found = {}
    for folder in folders:
        try:
            names = sorted(entry.name for entry in os.scandir(folder) if entry.is_file())
        except OSError:
            continue
        for name in names:
            if name.endswith(".toml") and not name.startswith("."):
                path = Path(folder) / name
                found.setdefault(path.resolve(), path)
    return list(found.values())[:MOST_FILES]


def _button(words, act, width="130px", shown=True):
    layout = {"width": width, "display": SHOWN if shown else HIDDEN}
    button = w.Button(description=words, layout=layout)
    button.on_click(lambda _: act())
    return button
