"""What a learner has done: a local file that is only added to. It holds no names."""

from dataclasses import asdict, dataclass, fields
from datetime import datetime
from pathlib import Path

from ..venue.reading_files import MEGABYTE
from .added_lines import add_line, damage_words, of_fields, plain, read_lines

KIND = "file of progress"
LONGEST_LINE = 4000  # of one event [bytes]
LARGEST = 50 * MEGABYTE  # of a file [bytes]
LONGEST_TEXT = 300  # of a field [characters]
KINDS = ("answer", "prediction", "aim", "listening", "task")
RIGHT, SKIPPED = "right", "skipped"
ROW = 3  # right at the first try, one after the other: passed [-]
DAY_S = 86400.0
NOBODY = Path()  # nothing is kept


@dataclass(frozen=True, kw_only=True)
class Event:
    """One thing that a learner did.

    Raises
    ------
    ValueError
        A field is of the wrong kind
    """

    when: str  # date and time with zone
    kind: str  # one of ``KINDS``
    lesson: str  # name of its module, or "task"
    asked: str  # key of the exercise, or what the experiment or listening is called
    reply: str  # "right", "too low", "reached" ...
    given: str = ""  # what was answered
    slip: str = ""  # typical mistake that was made, in words
    number: int = 1  # which try at this problem
    seconds: float = 0.0  # since the event before it, or since the page was opened
    problem: str = ""  # ``Problem.fingerprint`` of an answer; empty in earlier files

    def __post_init__(self):
        for f in fields(self):
            value = getattr(self, f.name)
            if f.type is str:
                if not isinstance(value, str):
                    raise ValueError(f"{f.name} is not text")
                object.__setattr__(self, f.name, plain(value, LONGEST_TEXT))
            elif isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError(f"{f.name} is not a number")
            elif not 0 <= value < 1e9:  # NaN is refused too
                raise ValueError(f"{f.name} is not a number that can be meant")
        if self.kind not in KINDS:
            raise ValueError(f"kind '{self.kind}' is unknown")
        try:
            self.time  # noqa: B018
        except (OverflowError, OSError):
            raise ValueError("when is no time that can be meant") from None

    @property
    def time(self):
        """When it was, with the zone of the clock where none was kept."""
        return datetime.fromisoformat(self.when).astimezone()


class Progress:
    """A learner's file.

    Parameters
    ----------
    path : str or Path or None
        The file, made with the first event; nothing is kept where it is None or empty
    """

    def __init__(self, path=None):
        self.path = Path(path) if path else NOBODY

    @property
    def kept(self):
        """Whether anything is kept."""
        return self.path != NOBODY

    def add(self, kind, lesson, asked, reply, **more):
        """Add an event that happens now.

        Parameters
        ----------
        kind, lesson, asked, reply : str
            As ``Event``
        more : any
            Its other fields

        Raises
        ------
        OSError
            It could not be written
        """
        if not self.kept:
            return
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        event = Event(when=now, kind=kind, lesson=lesson, asked=asked, reply=reply, **more)
        add_line(self.path, asdict(event), what="event", longest=LONGEST_LINE)

    def read(self):
        """Everything so far.

        Returns
        -------
        history : History
            Empty where nothing is kept

        Raises
        ------
        ValueError
            One line: the file cannot be read at all
        """
        return read_progress(self.path) if self.kept else History()


@dataclass(frozen=True)
class History:
    """Contents of a file of progress."""

    events: tuple = ()  # of Event, in the order in which they were added
    damaged: tuple = ()  # (number of the line, why it cannot be read)

    @property
    def warning(self):
        """Damaged lines in words; empty when there is none."""
        return damage_words(self.damaged)

    def answers(self, key):
        """Answers to an exercise.

        Parameters
        ----------
        key : str
            Of the exercise

        Returns
        -------
        answers : list of Event
            Every try, in order
        """
        return [e for e in self.events if e.kind == "answer" and e.asked == key]

    def seen(self, key):
        """Problems of an exercise that have been answered, right or wrong.

        Parameters
        ----------
        key : str
            Of the exercise

        Returns
        -------
        seen : set of str
            ``Problem.fingerprint``
        """
        return {e.problem for e in self.answers(key) if e.problem and e.reply != SKIPPED}

    def row(self, key):
        """How many in a row were right at the first try, up to now.

        Parameters
        ----------
        key : str
            Of an exercise

        Returns
        -------
        row : int
            Count [-]
        """
        return _rows(self.answers(key))[-1]

    def passed(self, key):
        """Whether ``ROW`` in a row have ever been right at the first try.

        Parameters
        ----------
        key : str
            Of an exercise

        Returns
        -------
        passed : bool
            Later mistakes take nothing back
        """
        return max(_rows(self.answers(key))) >= ROW


def read_progress(path):
    """Read a file of progress; the file is not changed.

    Parameters
    ----------
    path : str or Path
        A file that is not there holds nothing

    Returns
    -------
    history : History
        Events in order, and the lines that cannot be read

    Raises
    ------
    ValueError
        One line: it is no ordinary file, may not be read, or is too large
    """
    limits = dict(kind=KIND, largest=LARGEST, longest=LONGEST_LINE)
    events, damaged = read_lines(path, lambda found: of_fields(Event, found), **limits)
    return History(events, damaged)


def due(history, exercises, count=2, now=None):
    """Old questions that are most worth asking again.

    Parameters
    ----------
    history : History
        Of the learner
    exercises : sequence of Exercise
        Those of earlier lessons, in their order
    count : int
        How many [-]
    now : datetime, optional
        The clock's when left out

    Returns
    -------
    found : list of Exercise
        Those answered wrong last come first, then what was asked and not passed, then what was
        never asked, last what was passed; among equals the one that was asked longest ago, then
        the latest lesson. What was asked in the last hour comes after all others
    """
    now = now or datetime.now().astimezone()

    def worth(numbered):
        number, exercise = numbered
        answers = history.answers(exercise.key)
        if not answers:
            return 2, 0.0, -number
        apart = (now - answers[-1].time).total_seconds()
        firsts = [a for a in answers if a.number == 1 and a.reply != SKIPPED] or answers
        wrong = firsts[-1].reply != RIGHT
        class_ = 0 if wrong else 3 if history.passed(exercise.key) else 1
        return (4 if apart < DAY_S / 24 else class_), -apart, -number

    can = [(n, e) for n, e in enumerate(exercises) if not e.needs_gym]
    return [exercise for _, exercise in sorted(can, key=worth)[:count]]


def _rows(answers):
    """Right first tries in a row, after each problem; begins with 0. A problem counts once: who has
    seen its answer cannot show anything by it.
    """
    rows, seen = [0], set()
    for one in answers:
        if one.number == 1 and one.problem not in seen:
            rows.append(rows[-1] + 1 if one.reply == RIGHT else 0)
        seen |= {one.problem} - {""}
    return rows
