"""Attempts at a design task, kept in a local file: lines are only ever added, and lines that cannot
be read are named and left as they are.
"""

from dataclasses import asdict, dataclass, field, fields

from ..venue.reading_files import MEGABYTE
from ..venue.renamed import KEYS
from .added_lines import add_line, damage_words, of_fields, plain, read_lines

KIND = "file of attempts"
LONGEST_LINE = 4 * MEGABYTE  # of one attempt, with the text of its scenario [bytes]
LARGEST = 400 * MEGABYTE  # of a file of attempts [bytes]
MOST = 1e12  # beyond which no number of an attempt can be meant
# names in files of earlier versions, and what they are called today
OLD_FIELDS = {"score": "penalty", "terms": "penalties", "hold": "met", "of": "checks"}
OLD_CRITERIA = KEYS["Weights"]  # of the penalties


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """One attempt as it was scored.

    Raises
    ------
    ValueError
        A field is of the wrong kind, or nobody's name is given
    """

    who: str
    when: str  # date and time with zone
    school: str
    brief: str  # ``training.task.brief_id``
    met: int  # checks that meet their target
    checks: int  # checks in all
    cost: float  # in the price book's currency
    changed: tuple  # what the attempt changed although the brief gives it, in words
    scenario: str  # text of the scenario file
    points: float | None = None  # 0 to 100; None in files of earlier versions
    quality: float | None = None  # 0 to 1
    opened: bool = False  # whether the search had been opened before
    arrangement: str = ""  # that was taken as it is; empty where loudspeakers hang otherwise
    # of earlier versions, which scored by steps of penalty
    room: str = ""
    penalty: float | None = None
    penalties: dict = field(default_factory=dict)

    def __post_init__(self):
        for f in fields(self):
            value = getattr(self, f.name)
            if f.name == "who" and isinstance(value, str):
                value = plain(value)  # as somebody typed it
            if f.type is str:
                _check_text(f.name, value)
            if f.type in (float, int) or value is not None and f.type == float | None:
                _check_number(f.name, value)
            if f.type is bool and not isinstance(value, bool):
                raise ValueError(f"{f.name} is neither true nor false")
            if f.type is int and (value < 0 or value != int(value)):
                raise ValueError(f"{f.name} is no count")
        if self.points is None and self.penalty is None:
            raise ValueError("'points' is missing")
        if not isinstance(self.penalties, dict):
            raise ValueError("penalties is no table of numbers")
        for name, value in self.penalties.items():
            _check_text("a name of penalties", name)
            _check_number(f"penalties '{name}'", value)
        if not isinstance(self.changed, list | tuple):
            raise ValueError("changed is no list of texts")
        for words in self.changed:
            _check_text("a part of changed", words)
        object.__setattr__(self, "changed", tuple(self.changed))
        object.__setattr__(self, "who", plain(self.who))
        if not self.who:
            raise ValueError("there is no name. Say whose attempt this is.")


def _check_text(name, value):
    """Refuse everything but text that a file can hold."""
    if not isinstance(value, str) or any("\ud800" <= c <= "\udfff" for c in value):
        raise ValueError(f"{name} is not text")


def _check_number(name, value):
    """Refuse everything but a finite number that can be meant."""
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise ValueError(f"{name} is not a number")
    if abs(value) > MOST:  # an integer of any length compares; not all of them are floats
        raise ValueError(f"{name} is not a number that can be meant")


@dataclass(frozen=True, kw_only=True)
class Attempts:
    """Contents of a file of attempts."""

    attempts: tuple  # of Attempt, in the order in which they were added
    damaged: tuple  # (number of the line, why it cannot be read)

    @property
    def warning(self):
        """Damaged lines in words; empty when there is none."""
        return damage_words(self.damaged)


def add_attempt(path, attempt):
    """Add an attempt to the end of a file; nothing in the file is touched.

    Parameters
    ----------
    path : str or Path
        The file; made when it is not there
    attempt : Attempt
        To be kept

    Raises
    ------
    ValueError
        The attempt is too large to be read again
    OSError
        It is no ordinary file, or the attempt could not be written whole; the file still has
        everything that it had before
    """
    add_line(path, asdict(attempt), what="attempt", longest=LONGEST_LINE)


def read_attempts(path):
    """Read a file of attempts; the file is not changed.

    Parameters
    ----------
    path : str or Path
        Written by this version or an earlier one; a file that is not there holds nothing

    Returns
    -------
    attempts : Attempts
        Attempts in the order in which they were added, and the lines that cannot be read

    Raises
    ------
    ValueError
        One line: it is no ordinary file, may not be read, or is too large
    """
    attempts, damaged = read_lines(path, _attempt, kind=KIND, largest=LARGEST, longest=LONGEST_LINE)
    return Attempts(attempts=attempts, damaged=damaged)


def _attempt(found):
    """One attempt from its line."""
    return of_fields(Attempt, _with_todays_names(found))


def _with_todays_names(found):
    """An attempt with the names of earlier versions replaced."""
    found = {OLD_FIELDS.get(k, k): v for k, v in found.items()}
    if isinstance(found.get("penalties"), dict):
        found["penalties"] = {OLD_CRITERIA.get(k, k): v for k, v in found["penalties"].items()}
    return found
