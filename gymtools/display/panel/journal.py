"""The journal of a meeting: one line with the whole scenario at every rest, so that a kernel that
dies takes nothing with it.

Every meeting has a file of its own. Lines are only ever added; one that a kill has torn is skipped.
"""

import json
import os
import stat
from dataclasses import asdict, fields
from datetime import datetime
from pathlib import Path

from ...venue.files import parse, to_text
from ...venue.hall import Treatment
from ...venue.reading_files import one_line
from .state import VIEWED, PanelState

try:
    import fcntl
except ImportError:  # Windows has no locks of this kind
    fcntl = None

FOLDER = ".meeting"  # in the folder of the panel
KEPT = 10  # journals of earlier meetings
MOST_BYTES = 4_000_000  # of a journal; then its older half goes
LONGEST_LINE = 1_000_000  # characters that are read as one line
MOST_STARTS = 12  # scenarios started from that are read again: each takes a twentieth of a second
AWAY = 120.0  # without a line, where there are no locks: nobody is at it any more [s]
# fields of the state that are no plain values
APART = ("start", "changes", "treatments")
PLAIN = tuple(f.name for f in fields(PanelState) if f.name not in APART)


class Journal:
    """What was done in one meeting, in a file of its own.

    Parameters
    ----------
    folder : str or Path
        Of the panel; the journals lie in ".meeting" in it
    opened : str
        Name of the school that the meeting was opened on
    """

    def __init__(self, folder, opened):
        self.folder, self.opened, self.problem = Path(folder) / FOLDER, opened, ""
        self.path, self._file, self._last, self._kept = None, None, None, []
        self._whole = True  # the last line has its end
        self._texts = {}  # text of the scenario that was started from last, by its id

    def write(self, state, steps, kept=()):
        """Add a line where something has changed since the last one.

        Parameters
        ----------
        state : PanelState
            What stands
        steps : int
            Steps of the history that led to it [-]
        kept : sequence of tuple
            Names and scenarios of the designs that are kept

        Returns
        -------
        written : bool
            False where nothing has changed, or the folder cannot be written; ``problem`` says why
        """
        kept = [(name, id(scenario)) for name, scenario in kept], list(kept)
        seen = (_seen(state), kept[0])
        if seen == self._last or self.problem:
            return False
        line = {"at": datetime.now().isoformat(timespec="seconds"), "opened": self.opened}
        line |= {"steps": steps, "state": self._state(state)}
        if kept[0] != self._kept:
            line["kept"] = [{"name": name, "start": self._text(s)} for name, s in kept[1]]
        if not self._add(line):
            return False
        self._last, self._kept = seen, kept[0]
        return True

    def go_on(self, earlier, states, first, kept):
        """Take over an earlier meeting, which is not offered again.

        Parameters
        ----------
        earlier : Earlier
            What was gone on from
        states : sequence of PanelState
            Its states, oldest first
        first : int
            Steps of the history that led to the first of them [-]
        kept : sequence of tuple
            Names and scenarios of the designs that were kept
        """
        for n, state in enumerate(states):
            self.write(state, first + n, kept)
        if not self.problem:
            earlier.dismiss()

    def close(self):
        """Write no more; the file stays."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def _state(self, state):
        line = {name: getattr(state, name) for name in PLAIN}
        line["start"] = self._text(state.start)
        line["changes"] = [[list(path), value] for path, value in state.changes.items()]
        line["treatments"] = [asdict(t) for t in state.treatments]
        return line

    def _text(self, scenario):
        if id(scenario) not in self._texts:
            if len(self._texts) > MOST_STARTS:
                self._texts.clear()
            self._texts[id(scenario)] = scenario, to_text(scenario)
        return self._texts[id(scenario)][1]

    def _add(self, line):
        data = json.dumps(line, ensure_ascii=False, default=_plain).encode() + b"\n"
        try:
            if self._file is None:
                self._open()
            if not self._whole:
                data = b"\n" + data
            self._whole = False
            self._file.write(data)
            self._file.flush()
            self._whole = True
            if self._file.tell() > MOST_BYTES:
                self._halve()
        except OSError as error:
            self.problem = one_line(error.strerror or error).rstrip(".")
            return False
        return True

    def _open(self):
        self.folder.mkdir(exist_ok=True)
        _prune(self.folder)
        when = datetime.now().strftime("%Y%m%d-%H%M%S")
        for n in range(100):
            path = self.folder / f"{when}-{os.getpid()}-{n:02d}.jsonl"
            try:
                self._file = path.open("xb")
            except FileExistsError:
                continue
            self.path = path
            _lock(self._file)
            return
        raise FileExistsError("there are too many journals of this second")

    def _halve(self):
        """Let the older half go: what is left takes the file's place in one step."""
        lines = _lines(self.path)
        kept, size = [], 0
        for line in reversed(lines):
            size += len(json.dumps(line, ensure_ascii=False))
            if kept and size > MOST_BYTES / 2:
                break
            kept.insert(0, line)
        if "kept" not in kept[0]:
            before = [line["kept"] for line in lines[: len(lines) - len(kept)] if "kept" in line]
            kept[0] = {**kept[0], "kept": before[-1] if before else []}
        beside = self.path.with_suffix(".unfinished")
        file = beside.open("wb")
        _lock(file)
        file.writelines(json.dumps(line, ensure_ascii=False).encode() + b"\n" for line in kept)
        file.flush()
        os.replace(beside, self.path)
        self._file.close()
        self._file = file


class Earlier:
    """An earlier meeting that can be gone on from.

    Parameters
    ----------
    path : Path
        Of its journal
    lines : list of dict
        Those that can be read
    """

    def __init__(self, path, lines):
        self.path, self.lines = path, [line for line in lines if "state" in line]

    @property
    def steps(self):
        """Steps that had been made."""
        return self.lines[-1]["steps"]

    @property
    def kept(self):
        """Names and texts of the designs that were kept, as a list of dict."""
        return next((line["kept"] for line in reversed(self.lines) if "kept" in line), [])

    @property
    def words(self):
        """The question whether to go on."""
        at = datetime.fromisoformat(self.lines[-1]["at"])
        when = (
            f"{at:%H:%M}" if at.date() == datetime.now().date() else f"{at:%b} {at.day}, {at:%H:%M}"
        )
        counts = [_count(self.steps, "step")] if self.steps else []
        counts += [_count(len(self.kept), "kept design")] if self.kept else []
        return f"Go on from {when} ({', '.join(counts)})?"

    def states(self, folders):
        """The states of the meeting, as far as they are told apart.

        Parameters
        ----------
        folders : sequence of Path
            Where files of measured loudspeakers may lie

        Returns
        -------
        states : list of PanelState
            In the order of their steps
        now : int
            Which of them stood last [-]

        Raises
        ------
        ValueError
            The last one cannot be read any more
        """
        by_step, starts = {}, _Starts(folders)
        now = self.lines[-1]["steps"]
        for line in self._latest():
            try:
                by_step[line["steps"]] = starts.state(line["state"])
            except (ValueError, KeyError, TypeError) as error:
                if line["steps"] == now:
                    raise ValueError(one_line(error)) from error
        steps = sorted(by_step)
        return [by_step[step] for step in steps], steps.index(now)

    def designs(self, folders):
        """The designs that were kept.

        Parameters
        ----------
        folders : sequence of Path
            Where files of measured loudspeakers may lie

        Returns
        -------
        designs : list of tuple
            (name, scenario), those that can still be read
        """
        starts, found = _Starts(folders), []
        for design in self.kept:
            try:
                found.append((design["name"], starts.scenario(design["start"])))
            except (ValueError, KeyError, TypeError):
                continue
        return found

    def dismiss(self):
        """Do not offer it again; the file stays until it is one too many."""
        try:
            with self.path.open("ab") as file:
                file.write(b'\n{"answered": true}\n')
        except OSError:  # it is offered again: nothing is lost by that
            pass

    def _latest(self):
        """Last line of every step, of what a new step has not ended since; few starts of many."""
        latest = {}
        for line in self.lines:
            step = line["steps"]
            if step in latest and _design(latest[step]) != _design(line):
                latest = {n: kept for n, kept in latest.items() if n < step}
            latest[step] = line
        starts, chosen = [], []
        for line in (latest[n] for n in sorted(latest, reverse=True)):
            text = line["state"].get("start")
            if text not in starts:
                starts.append(text)
            if len(starts) > MOST_STARTS and line["steps"] != self.lines[-1]["steps"]:
                continue
            chosen.insert(0, line)
        return chosen


class _Starts:
    """Scenarios of texts, each read once."""

    def __init__(self, folders):
        self._folders, self._read = list(dict.fromkeys(map(Path, folders))), {}

    def scenario(self, text):
        if text not in self._read:
            self._read[text] = self._parsed(text)
        return self._read[text]

    def _parsed(self, text):
        for folder in self._folders[:-1]:
            try:
                return parse(text, "the journal", folder=folder)
            except ValueError:
                continue
        return parse(text, "the journal", folder=self._folders[-1])

    def state(self, line):
        plain = {name: line[name] for name in PLAIN if name in line}
        return PanelState(
            start=self.scenario(line["start"]),
            changes={tuple(path): _tuples(value) for path, value in line["changes"]},
            treatments=tuple(Treatment(**t) for t in line["treatments"]),
            **plain,
        )


def earlier(folder, opened):
    """The last meeting on a school that ended without being answered for.

    Parameters
    ----------
    folder : str or Path
        Of the panel
    opened : str
        Name of the school that is opened now

    Returns
    -------
    meeting : Earlier or None
        None where nothing was changed in any, or somebody is still at it
    """
    for path in reversed(_journals(Path(folder) / FOLDER)):
        if _alive(path):
            continue
        lines = _lines(path)
        if not lines or "answered" in lines[-1]:
            continue
        found = Earlier(path, lines)
        if not found.lines or found.lines[-1].get("opened") != opened:
            continue
        if found.steps or found.kept:
            return found
    return None


def _seen(state):
    """What a line is written for: what is only looked at is no reason."""
    plain = tuple(getattr(state, name) for name in PLAIN if name not in VIEWED)
    return (*plain, id(state.start), tuple(state.changes.items()), state.treatments)


def _design(line):
    """State of a line without what is only looked at."""
    return {key: value for key, value in line["state"].items() if key not in VIEWED}


def _plain(value):
    """A number of numpy as one of Python."""
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{type(value).__name__} cannot be written")


def _tuples(value):
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def _count(number, what):
    return f"{number} {what}{'' if number == 1 else 's'}"


def _journals(folder):
    """Journals of a folder, the oldest first."""
    try:
        return sorted(p for p in folder.iterdir() if p.suffix == ".jsonl")
    except OSError:
        return []


def _lines(path):
    """Lines of a journal that can be read; a torn one is skipped."""
    try:
        state = os.stat(path)
        if not stat.S_ISREG(state.st_mode) or state.st_size > 2 * MOST_BYTES:
            return []
        data = path.read_bytes()
    except OSError:
        return []
    found = []
    for raw in data.split(b"\n"):
        try:
            line = json.loads(raw) if 0 < len(raw) < LONGEST_LINE else None
        except (ValueError, RecursionError):
            continue
        if isinstance(line, dict) and ("answered" in line or _is_line(line)):
            found.append(line)
    return found


def _is_line(line):
    """Whether it has the form of a line, whatever its values are."""
    kinds = {"at": str, "opened": str, "steps": int, "state": dict}
    if not all(isinstance(line.get(key), kind) for key, kind in kinds.items()):
        return False
    kept = line.get("kept", [])
    if not isinstance(kept, list) or not all(isinstance(k, dict) for k in kept):
        return False
    try:
        datetime.fromisoformat(line["at"])
    except ValueError:
        return False
    return isinstance(line["state"].get("start"), str)


def _lock(file):
    """Hold a journal for as long as this process lives."""
    if fcntl is not None:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:  # a file system without locks
            pass


def _alive(path):
    """Whether another process is at a journal; what this kernel began earlier is no longer shown
    once another panel takes its place.
    """
    if path.stem.split("-")[2:3] == [str(os.getpid())]:
        return False
    try:
        if fcntl is None:
            return datetime.now().timestamp() - path.stat().st_mtime < AWAY
        with path.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        return False
    except BlockingIOError:
        return True
    except OSError:
        return False


def _prune(folder):
    """Remove the oldest journals that nobody is at."""
    old = [path for path in _journals(folder) if not _alive(path)]
    for path in old[: max(len(old) - KEPT + 1, 0)]:
        try:
            path.unlink()
        except OSError:
            continue
