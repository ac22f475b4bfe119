"""What was typed so far, in a file beside the school's, so that a kernel that dies takes nothing
with it.
"""

import json
from datetime import datetime
from pathlib import Path

from ...venue.new_school import NewSchool
from ...venue.reading_files import MEGABYTE, file_text, one_line
from ...venue.writing_files import file_words, write_file

FOLDER = ".school"  # in the folder of the page
KEPT = 10  # drafts of earlier schools
PLAIN = ("name", "units", "copied", "source")


class DraftFile:
    """The draft of one school.

    Parameters
    ----------
    folder : str or Path
        Where the school's file is written
    """

    def __init__(self, folder):
        self.folder, self.path, self.problem = Path(folder) / FOLDER, None, ""

    def write(self, school, file):
        """Write what stands.

        Parameters
        ----------
        school : NewSchool
            Of the page
        file : Path or None
            The school's own file, where it has one already
        """
        line = {name: getattr(school, name) for name in PLAIN}
        line |= {"answers": dict(school.answers), "added": school.added, "removed": school.removed}
        line |= {"at": datetime.now().isoformat(timespec="seconds"), "file": file and file.name}
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
    draft : tuple or None
        (path, words that say what it is, NewSchool, name of its file or None)
    """
    for path in _drafts(Path(folder) / FOLDER)[::-1]:
        try:
            line = json.loads(file_text(path, "draft", MEGABYTE))
            if line.get("answered") or not line["answers"]:
                continue
            school = read(line)
            at = datetime.fromisoformat(line["at"])
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            continue
        words = f"'{school.name}' was begun on {at:%B %d, %H:%M}."
        return path, words, school, line.get("file")
    return None


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
