"""What was typed so far, in a file beside the school's, so that a kernel that dies takes nothing
with it.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ...venue.new_school import NewSchool
from ...venue.reading_files import MEGABYTE, file_text, one_line
from ...venue.writing_files import file_words, write_file

FOLDER = ".school"  # in the folder of the page
KEPT = 10  # drafts of earlier schools
PLAIN = ("name", "units", "copied", "source")


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A draft that can be gone on from.

    ``file`` is the name of the school's own file and ``known`` the fingerprint of what the page
    last read or wrote there; both None where it has none.
    """

    path: Path
    school: NewSchool
    at: datetime
    file: str | None = None
    known: str | None = None

    @property
    def words(self):
        """What it is (str)."""
        return f"'{self.school.name}' was begun on {self.at:%B} {self.at.day}, {self.at:%H:%M}."


class DraftFile:
    """The draft of one school.

    Parameters
    ----------
    folder : str or Path
        Where the school's file is written
    """

    def __init__(self, folder):
        self.folder, self.path, self.problem = Path(folder) / FOLDER, None, ""

    def write(self, school, file, known=None):
        """Write what stands.

        Parameters
        ----------
        school : NewSchool
            Of the page
        file : Path or None
            The school's own file, where it has one already
        known : str, optional
            Fingerprint of what the page last read or wrote there
        """
        line = {name: getattr(school, name) for name in PLAIN}
        line |= {"answers": dict(school.answers), "added": school.added, "removed": school.removed}
        line |= {"at": datetime.now().isoformat(timespec="seconds"), "file": file and file.name}
        line |= {"known": known}
        try:
            self.folder.mkdir(exist_ok=True)
            if self.path is None:
                _prune(self.folder)
                when = datetime.now().strftime("%Y%m%d-%H%M%S-%f")
                self.path = self.folder / f"{file_words(school.name, 'school')}-{when}.json"
            write_file(self.path, json.dumps(line, ensure_ascii=False, indent=1))
            self.problem = ""
        except OSError as error:  # it is said on the page; the form works on
            self.problem = one_line(error.strerror or error).rstrip(".")

    def dismiss(self, path):
        """Do not offer an earlier draft again; its text stays.

        Parameters
        ----------
        path : Path
            Of the draft
        """
        try:
            line = json.loads(file_text(path, "draft", MEGABYTE))
            write_file(path, json.dumps({**line, "answered": True}, ensure_ascii=False, indent=1))
        except (OSError, ValueError):  # it is offered again: nothing is lost by that
            pass


def earlier(folder):
    """The last draft that was neither gone on from nor left.

    Parameters
    ----------
    folder : str or Path
        Where the school's file is written

    Returns
    -------
    draft : Draft or None
        None where nothing was begun
    """
    for path in _drafts(Path(folder) / FOLDER)[::-1]:
        try:
            line = json.loads(file_text(path, "draft", MEGABYTE))
            school = read(line)
            if line.get("answered") or not _begun(school):
                continue
            at = datetime.fromisoformat(line["at"])
            file, known = line.get("file"), line.get("known")
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            continue
        return Draft(path=path, school=school, at=at, file=file, known=known)
    return None


def _begun(school):
    """Whether there is anything to go on from: a copy and a chosen design have no answers."""
    return bool(school.answers or school.copied or school.added or school.removed)


def read(line):
    """A school of a draft.

    Parameters
    ----------
    line : dict
        As ``DraftFile.write`` has written it

    Returns
    -------
    school : NewSchool
        With all its answers

    Raises
    ------
    ValueError
        It is none
    """
    return NewSchool(
        answers={key: _tuples(value) for key, value in line["answers"].items()},
        added=tuple(tuple(one) for one in line["added"]),
        removed=tuple(tuple(one) for one in line["removed"]),
        **{name: line[name] for name in PLAIN},
    )


def _tuples(value):
    return tuple(value) if isinstance(value, list) else value


def _drafts(folder):
    """Drafts of a folder, the oldest first."""
    try:
        return sorted(folder.glob("*.json"), key=lambda path: path.stat().st_mtime)
    except OSError:
        return []


def _prune(folder):
    """Let the oldest drafts go."""
    for path in _drafts(folder)[: -KEPT + 1]:
        path.unlink(missing_ok=True)
