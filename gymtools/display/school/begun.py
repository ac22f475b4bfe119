"""What was begun earlier, at the top of the page: the last draft, and the schools of the folder,
whose meeting can be opened or whose gym can be edited.
"""

from datetime import datetime
from hashlib import sha256
from html import escape
from pathlib import Path

import ipywidgets as w

from ...commissioning.existing import BEFORE
from ...venue.files import load
from ...venue.reading_files import one_line
from ...venue.writing_files import school_file
from ..panel import journal
from ..panel.save import OURS, schools
from .answers import shown
from .draft_file import earlier


class Begun:
    """Two lines: the draft that can be gone on from, and the schools that lie in the folder.

    Parameters
    ----------
    page : NewSchoolPage
        Holds the school; its ``take_draft``, ``edit`` and ``meet`` act
    """

    def __init__(self, page):
        self.page, self.draft = page, None
        self.words, self.file_words = w.HTML(), w.HTML()
        self.go_button = _button("Go on from the draft", self.go_on)
        self.anew_button = _button("Start anew", self.start_anew)
        self.draft_line = _line([self.words, self.go_button, self.anew_button])
        self.files = w.Dropdown(
            description="In this folder",
            layout={"width": "330px"},
            style={"description_width": "96px"},
        )
        self.files.observe(lambda _: self._show_file(), names="value")
        self.meet_button = _button("Open the meeting", lambda: page.meet(self.files.value))
        self.edit_button = _button("Edit the gym", lambda: page.edit(self.files.value))
        parts = [self.files, self.meet_button, self.edit_button, self.file_words]
        self.file_line = _line(parts)
        self.box = w.VBox([self.draft_line, self.file_line])

    # ---- what there is

    def ask(self):
        """Offer what lies in the folder."""
        self.draft = earlier(self.page.folder)
        shown(self.draft_line, self.draft is not None)
        if self.draft is not None:
            self.go_button.description = f"Go on from the draft of {_when(self.draft.at)}"
            self.words.value = f"<b>{escape(self.draft.words)}</b>{self._since()}"
        own = self._own()
        self._list(schools_of(self.page.folder, [path for path in own if path.is_file()]))

    def _own(self):
        """Files that may be this school's own, the likeliest first."""
        named = [school_file(self.page.folder, self.page.school.name)]
        if self.draft is not None:
            begun = self.draft.file
            named += [Path(self.page.folder) / begun] if begun else []
            named.append(school_file(self.page.folder, self.draft.school.name))
        return named

    def _since(self):
        """That the file of the draft was changed after it."""
        file = self.draft.file and Path(self.page.folder) / self.draft.file
        if not file or not file.is_file() or fingerprint(file) == self.draft.known:
            return ""
        return f" {escape(file.name)} was changed since, e.g. in the meeting: look at it below."

    def _list(self, paths):
        self.files.options = [(one_line(path.name), path) for path in paths]
        self.files.value = paths[0] if paths else None
        shown(self.file_line, bool(paths))
        self._show_file()

    def offer(self, path):
        """Offer one file before the others.

        Parameters
        ----------
        path : Path
            In the folder
        """
        self._list(schools_of(self.page.folder, [path]))

    def _show_file(self):
        """What the chosen file holds; a meeting needs loudspeakers."""
        if self.files.value is None:
            return
        words, heard = contents(self.files.value)
        self.file_words.value = escape(words)
        shown(self.meet_button, heard)

    # ---- what is chosen

    def go_on(self):
        """Go on from the draft that is offered."""
        if self.draft is not None:
            draft = self.draft
            self.leave()
            self.page.take_draft(draft)

    def start_anew(self):
        """Leave the draft that is offered; its file stays."""
        if self.draft is not None:
            self.page.draft_file.dismiss(self.draft.path)
            self.draft = None
        shown(self.draft_line, False)

    def leave(self):
        """Offer nothing more: the page has its school."""
        self.draft = None
        shown(self.draft_line, False)
        shown(self.file_line, False)


def schools_of(folder, first=()):
    """Schools of a folder that may be gone on with.

    Parameters
    ----------
    folder : str or Path
        Of the page
    first : sequence of Path
        The likeliest ones

    Returns
    -------
    paths : list of Path
        These, then the others, the latest first; of the package's own folder these alone
    """
    others = [] if Path(folder).resolve() == OURS.resolve() else schools((folder,))
    others = [path for path in others if not path.stem.endswith(f" {BEFORE}")]
    return list(dict.fromkeys([*first, *sorted(others, key=_written, reverse=True)]))


def _written(path):
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def fingerprint(path):
    """What tells a file from what it was.

    Parameters
    ----------
    path : Path
        A file

    Returns
    -------
    fingerprint : str or None
        None where it cannot be read
    """
    try:
        return sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def contents(path):
    """What a school's file holds, in words.

    Parameters
    ----------
    path : Path
        Of the file

    Returns
    -------
    words, heard : tuple of str and bool
        And whether it has loudspeakers
    """
    try:
        school = load(path)
    except (ValueError, OSError) as error:
        return f"It cannot be opened: {one_line(error)}", False
    count = len(school.loudspeakers)
    has = f"{count} loudspeaker{'s' if count > 1 else ''}" if count else "no loudspeakers yet"
    left = journal.earlier(path.parent, school.name) if count else None
    asked = f" The meeting asks: {left.words}" if left else ""
    return f"'{school.name}', {has}.{asked}", bool(count)


def _when(at):
    """A time, with its day where that is not today."""
    return f"{at:%H:%M}" if at.date() == datetime.now().date() else f"{at:%b} {at.day}, {at:%H:%M}"


def _line(parts):
    box = w.HBox(parts)
    box.add_class("gt-go-on")
    return box


def _button(words, act):
    button = w.Button(description=words, layout={"width": "auto"})
    button.on_click(lambda _: act())
    return button
