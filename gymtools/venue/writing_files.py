"""Files and folders written whole or not at all: built beside, then put in place by a rename."""

import ctypes
import hashlib
import os
import re
import shutil
import stat
import sys
import unicodedata
from contextlib import contextmanager
from pathlib import Path

from .reading_files import one_line

try:
    import fcntl
except ImportError:  # Windows has no locks of this kind
    fcntl = None

UNFINISHED = ".unfinished"  # ends the name of what is being written
EXCHANGED = ".exchanged" + UNFINISHED  # note beside a folder whose name is being exchanged
REVISIONS = "revisions"  # folder of earlier folders, beside the present one
LONGEST_NAME = 60  # of a school or a use in a file's name [bytes]
LINUX = sys.platform == "linux"
EXCHANGE, HERE = 2, -100  # RENAME_EXCHANGE and AT_FDCWD of Linux, renameat2(2)


def file_words(name, empty):
    """A name as a part of a file's name: letters of any script, digits and hyphens.

    Parameters
    ----------
    name : str
        Of a school or a use
    empty : str
        Used where the name has no letter

    Returns
    -------
    words : str
        At most 60 bytes; ends in six digits of the name's hash where letters alone do not tell it
        from another name, whatever the case
    """
    name = unicodedata.normalize("NFC", name)
    kept = (c if c.isalnum() or unicodedata.category(c)[0] == "M" else " " for c in name.lower())
    words = "-".join("".join(kept).split())
    if words.replace("-", " ") == name.lower() and len(words.encode()) <= LONGEST_NAME:
        return words or empty
    mark = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    short = words.encode()[: LONGEST_NAME - 7].decode(errors="ignore").strip("-")
    return f"{short or empty}-{mark}"


@contextmanager
def _in_one_line(path):
    """Errors of the system as one line that names the file."""
    try:
        yield
    except OSError as error:
        # only our own refusal offers to replace something
        kind = OSError if isinstance(error, FileExistsError) else type(error)
        why = one_line(error.strerror or error).rstrip(".")
        raise kind(f"{one_line(Path(path).name)} cannot be written: {why}.") from error


def school_file(folder, name):
    """Where the file of a school is written.

    Parameters
    ----------
    folder : str or Path
        Of the page
    name : str
        Of the school

    Returns
    -------
    path : Path
        E.g. "alder-hollow.toml" in the folder
    """
    return Path(folder) / f"{file_words(name, 'school')}.toml"


def write_file(path, data, *, overwrite=True):
    """Write one file: the old one stays until the new one is whole.

    Parameters
    ----------
    path : str or Path
        Where to; through a link, its target is written and the link stays
    data : bytes or str
        Contents; text is written in UTF-8
    overwrite : bool
        Whether an existing file may be replaced; it hands its permissions on

    Raises
    ------
    FileExistsError
        The file is there and ``overwrite`` was not given; it is left as it was
    OSError
        One line: no such folder, a folder or a read-only file in its place, a full disk; what was
        there is left as it was

    Notes
    -----
    A kill leaves at most a file whose name ends in ".unfinished", which the next writing replaces.
    """
    path = Path(path)
    with _in_one_line(path):
        target = Path(os.path.realpath(path))
        there = _replaceable(target)
    if there and not overwrite:
        raise FileExistsError(
            f"{one_line(path.name)} exists. Choose another name, or say that it may be replaced."
        )
    beside = target.with_name(target.name + UNFINISHED)
    with _in_one_line(path):
        beside.unlink(missing_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        handle = os.open(beside, flags, 0o666)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data.encode("utf-8") if isinstance(data, str) else data)
                file.flush()
                os.fsync(file.fileno())
                made = os.fstat(file.fileno())
            if there:
                _hand_on(there, beside, made)
            if not os.path.samestat(made, os.stat(beside)):
                raise OSError("another program is writing it")
            os.replace(beside, target)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise


def _replaceable(target):
    """State of the file to be replaced, None where there is none."""
    if not target.parent.is_dir():
        raise FileNotFoundError(f"there is no folder '{target.parent.name}'")
    try:
        there = os.stat(target)
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(there.st_mode):
        raise IsADirectoryError("a folder has this name")
    if not stat.S_ISREG(there.st_mode):
        raise OSError("it is no ordinary file")
    # whoever may do everything still means what the file's mode says
    if not there.st_mode & 0o222 or not os.access(target, os.W_OK):
        raise PermissionError("the file is read-only")
    return there


def _hand_on(there, beside, made):
    """Owner and permissions of the old file for the new one."""
    if (there.st_uid, there.st_gid) != (made.st_uid, made.st_gid):
        try:
            os.chown(beside, there.st_uid, there.st_gid)
        except OSError:  # only an administrator may give a file away
            pass
    os.chmod(beside, stat.S_IMODE(there.st_mode))


def refuse_existing(folder, *, holds=""):
    """Refuse a folder that is there.

    Parameters
    ----------
    folder : str or Path
        To be written
    holds : str
        What may be in it, for the message

    Raises
    ------
    FileExistsError
        One line that says what becomes of it if it may be replaced
    """
    folder = Path(folder)
    if folder.exists():
        raise FileExistsError(
            f"the folder {one_line(folder.name)} exists{holds and ', perhaps with '}{holds}. Say"
            f" that it may be replaced, and it moves whole into '{REVISIONS}'; or move it away."
        )


@contextmanager
def new_folder(folder, *, overwrite=False, holds=""):
    """Build a folder beside its place; it takes its place when the block ends.

    Parameters
    ----------
    folder : str or Path
        Where it is wanted; through a link, its target is replaced and the link stays
    overwrite : bool
        Whether an existing one may be replaced; it moves whole into "revisions" beside it
    holds : str
        What the existing one may hold, for the message

    Returns
    -------
    building : Path
        Empty folder to write into

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; it is left as it was
    OSError
        One line: no such folder, a file in its place, a full disk, or another program is writing
        it; what was there is left as it was

    Notes
    -----
    A kill leaves the old folder in place, or the new one with the old one whole; beside it at most
    names that end in ".unfinished". The next writing moves the old one from there into the
    revisions, and clears whatever else it finds there.
    """
    folder = Path(folder)
    if not overwrite:
        refuse_existing(folder, holds=holds)
    place = Path(os.path.realpath(folder))
    building = place.with_name(place.name + UNFINISHED)
    with _in_one_line(folder):
        if not place.parent.is_dir():
            raise FileNotFoundError(f"there is no folder '{place.parent.name}'")
        if place.exists() and not place.is_dir():
            raise NotADirectoryError("a file has this name")
        lock = _cleared(building, place)
        try:
            yield building
            _settle(building)
            _put_in_place(building, place)
        except BaseException:
            if not _holds_the_old(building, place):
                shutil.rmtree(building, ignore_errors=True)
                _note(place).unlink(missing_ok=True)
            raise
        finally:
            if lock is not None:
                os.close(lock)


def _cleared(building, place):
    """An empty folder that nobody else writes into; the old folder that a kill has left under its
    name goes to the revisions, anything else in it is cleared. Gives the lock, None where the
    system has none.
    """
    while True:
        lock, done = _locked(building), False
        try:
            if _holds_the_old(building, place):
                os.rename(building, _next_revision(place))
                _note(place).unlink()
                continue
            _note(place).unlink(missing_ok=True)
            for left in building.iterdir():
                shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()
            done = True
            return lock
        finally:
            if lock is not None and not done:
                os.close(lock)


def _locked(building):
    """The lock of a folder, which is made where it is missing; None where the system has none."""
    while True:
        try:
            os.mkdir(building)
        except FileExistsError:
            pass
        if fcntl is None:
            return None
        try:
            lock = os.open(building, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        except FileNotFoundError:
            continue  # another program has just put it in place
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if os.path.samestat(os.fstat(lock), os.stat(building)):
                return lock
        except FileNotFoundError:
            pass
        except BlockingIOError:
            os.close(lock)
            raise BlockingIOError("another program is writing it") from None
        except OSError:
            return lock  # a file system without locks
        os.close(lock)


def _settle(building):
    """Bring every file to the disk, so that no power cut leaves an empty one under its name."""
    if os.name != "posix":
        return
    for path in building.rglob("*"):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _put_in_place(building, place):
    """Give a folder its name; an earlier one moves whole into the revisions."""
    if not place.exists():
        os.rename(building, place)
        return
    shutil.copymode(place, building)
    kept = _next_revision(place)
    _write_note(place)
    try:
        _exchange(building, place)
    except OSError:  # this system cannot
        _note(place).unlink()
        os.rename(place, kept)
        try:
            os.rename(building, place)
        except BaseException:
            os.rename(kept, place)
            raise
        return
    try:
        os.rename(building, kept)
    except BaseException:
        _exchange(building, place)  # the old one is back, the new one is cleared
        raise
    _note(place).unlink()


def _note(place):
    """File that tells the old folder from the new one, whichever of two names it has."""
    return place.with_name(place.name + EXCHANGED)


def _write_note(place):
    """Note which folder is the old one, before it is exchanged for the new one."""
    with _note(place).open("w", encoding="ascii") as file:
        file.write(f"{os.stat(place).st_ino}\n")
        file.flush()
        os.fsync(file.fileno())


def _holds_the_old(building, place):
    """Whether the old folder lies under the name of the new one: a kill came after the exchange.
    Where the note fits neither of them, e.g. after they were copied, what is there counts as old.
    """
    try:
        old = int(_note(place).read_text(encoding="ascii"))
        return any(building.iterdir()) and not (place.exists() and os.stat(place).st_ino == old)
    except (OSError, ValueError):  # no note, or one cut off: nothing was exchanged yet
        return False


def _exchange(one, other):
    """Exchange the names of two folders, in one step."""
    swap = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None) if LINUX else None
    if swap is None:
        raise OSError("names cannot be exchanged in one step")
    if swap(HERE, os.fsencode(one), HERE, os.fsencode(other), EXCHANGE):
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number), str(other))


def _revisions(place):
    """Numbers of the earlier folders."""
    pattern = re.compile(re.escape(place.name) + r"-(\d+)")
    try:
        found = [pattern.fullmatch(p.name) for p in place.with_name(REVISIONS).iterdir()]
    except OSError:
        return []
    return sorted(int(m[1]) for m in found if m)


def _next_revision(place):
    """Where the next earlier folder goes."""
    folder = place.with_name(REVISIONS)
    if folder.exists() and not folder.is_dir():
        raise NotADirectoryError(f"'{REVISIONS}' beside it is a file")
    folder.mkdir(exist_ok=True)
    return folder / f"{place.name}-{max(_revisions(place), default=0) + 1}"


def revisions_sentence(folder):
    """Where the earlier revisions of a folder are.

    Parameters
    ----------
    folder : str or Path
        As for ``new_folder``

    Returns
    -------
    words : str
        Empty where there are none
    """
    place = Path(os.path.realpath(folder))
    numbers = _revisions(place)
    if not numbers:
        return ""
    return (
        f"Earlier revisions are in '{REVISIONS}', the last of them as {place.name}-{numbers[-1]}."
    )


def earlier_folders(folder):
    """What is there before a folder is written anew: the one in its place, and its revisions.

    Parameters
    ----------
    folder : str or Path
        As for ``new_folder``

    Returns
    -------
    folders : list of Path
        Those that are there, the newest first
    """
    place = Path(os.path.realpath(folder))
    numbers = reversed(_revisions(place))
    found = [place, *(place.with_name(REVISIONS) / f"{place.name}-{n}" for n in numbers)]
    return [path for path in found if path.is_dir()]
