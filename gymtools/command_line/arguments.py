"""Arguments that several commands share, refused before anything takes time."""

import argparse
import datetime
import os
import shutil
import sys
import tempfile
import textwrap
from pathlib import Path

from ..equipment.prices import read_prices
from ..venue.writing_files import revisions_sentence

NARROWEST, WIDEST = 40, 100  # lines of text on a terminal [columns]


class Refused(Exception):
    """Some of what was given is refused, and has been said: status 1."""


def example(words):
    """The line under the help of a command.

    Parameters
    ----------
    words : str
        A command with its arguments

    Returns
    -------
    epilog : str
        For ``add_parser``
    """
    _, *rest = words.split(" ")  # argparse puts the command in, as it was called
    return f"example: %(prog)s {' '.join(rest)}"


def add_use(command, default="all"):
    """Option on one use.

    Parameters
    ----------
    command : argparse.ArgumentParser
        Of one command
    default : str
        What is taken when it is left out, in words
    """
    words = f"one use of the school (default: {default})"
    command.add_argument("--use", type=text, metavar="NAME", help=words)


def use_names(scenario, name=None):
    """Uses that are asked for; an unknown one is refused with the list of them.

    Parameters
    ----------
    scenario : Scenario
        Of the school
    name : str, optional
        As typed; all uses when left out

    Returns
    -------
    names : list of str
        At least one

    Raises
    ------
    ValueError
        The scenario has no such use
    """
    known = [u.name for u in scenario.uses]
    if name is None:
        return known
    try:
        return [scenario.use(name).name]
    except ValueError:
        raise ValueError(
            f"--use '{name}': {scenario.name} has no such use. Give one of: {', '.join(known)}."
        ) from None


def add_file(command, out=True):
    """Options on one file that is written.

    Parameters
    ----------
    command : argparse.ArgumentParser
        Of one command
    out : bool
        Whether ``--out`` is added too
    """
    if out:
        words = "scenario file to write (default: here, named after the school)"
        command.add_argument("--out", type=text, metavar="FILE", help=words)
    command.add_argument("--overwrite", action="store_true", help="replace a file that is there")


def file_to_write(given, option, overwrite):
    """The file to write; refused before anything takes time.

    Parameters
    ----------
    given : str
        As typed
    option : str
        Its option, for the message
    overwrite : bool
        Whether a file that is there may be replaced

    Returns
    -------
    file : Path
        In a folder that is there and can be written

    Raises
    ------
    ValueError
        Its folder is missing or cannot be written, it is a folder itself, or it is there
    """
    file = Path(given)
    if file.is_dir():
        raise ValueError(f"{option} {given}: this is a folder. Give a file in it.")
    if not file.parent.is_dir():
        raise ValueError(f"{option} {given}: there is no such folder. Make it first.")
    _try_writing(file.parent, f"{option} {given}")
    if os.path.lexists(file) and not overwrite:
        raise ValueError(f"{given} exists. Give another name with {option}, or --overwrite.")
    return file


def text(given):
    """An argument; an empty one is a slip, not one that was left out.

    Parameters
    ----------
    given : str
        As typed

    Returns
    -------
    given : str
        The same

    Raises
    ------
    argparse.ArgumentTypeError
        It is empty
    """
    if not given.strip():
        raise argparse.ArgumentTypeError("is empty. Give a name, or leave it out")
    return given


def date(given):
    """A day as it is written in files.

    Parameters
    ----------
    given : str
        As typed

    Returns
    -------
    date : datetime.date
        The day

    Raises
    ------
    argparse.ArgumentTypeError
        It is no day
    """
    try:
        return datetime.date.fromisoformat(given.strip())
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{given!r} is no day. Write it as 2026-11-26: year, month, day"
        ) from None


def add_date(command, words):
    """Option on the day that stands on a paper.

    Parameters
    ----------
    command : argparse.ArgumentParser
        Of one command
    words : str
        What the day is of, and what stands there when it is left out
    """
    command.add_argument("--date", type=date, metavar="YYYY-MM-DD", help=words)


def add_prices(command):
    """Option on the price book.

    Parameters
    ----------
    command : argparse.ArgumentParser
        Of one command
    """
    command.add_argument(
        "--prices",
        type=text,
        metavar="FILE",
        help="price book (CSV); the package's invented one when left out",
    )


def prices_of(given):
    """The price book that is asked for; refused before anything takes time.

    Parameters
    ----------
    given : str or None
        As typed

    Returns
    -------
    book : PriceBook or None
        None for the package's own

    Raises
    ------
    ValueError
        There is no such file, or it is no price book
    """
    if given is None:
        return None
    if not Path(given).is_file():
        raise ValueError(f"--prices {given}: there is no such price book. Give a CSV file.")
    return read_prices(given)


def print_lines(words, indent=""):
    """Print some text; on a terminal words are not torn at its edge.

    Parameters
    ----------
    words : str
        One line
    indent : str
        Before the first line; what follows it stands two further in
    """
    if sys.stdout is None or not sys.stdout.isatty():  # a line each, for who searches them
        print(f"{indent}{words}")
        return
    columns = min(shutil.get_terminal_size().columns, WIDEST)
    print(
        textwrap.fill(
            words,
            max(columns - 1, NARROWEST),
            initial_indent=indent,
            subsequent_indent=f"{indent}  ",
            break_long_words=False,
            break_on_hyphens=False,
        )
    )


def add_output(command, folder=True):
    """Options on where files go.

    Parameters
    ----------
    command : argparse.ArgumentParser
        Of one command
    folder : bool
        Whether ``--folder`` is added too
    """
    if folder:
        command.add_argument(
            "--folder",
            type=text,
            default=".",
            help="where the folder with the files is made (default: here)",
        )
    command.add_argument(
        "--overwrite",
        action="store_true",
        help="replace an earlier folder; it is kept in 'revisions'",
    )


def folder_of(given):
    """The folder to write in; refused before anything takes time.

    Parameters
    ----------
    given : str
        As typed

    Returns
    -------
    folder : Path
        It is there and can be written

    Raises
    ------
    ValueError
        It is not
    """
    folder = Path(given)
    if not folder.is_dir():
        what = "is no folder" if folder.exists() else "there is no such folder"
        raise ValueError(f"--folder {given}: {what}. Make it first, or leave --folder out.")
    _try_writing(folder, f"--folder {given}")
    return folder


def _try_writing(folder, option):
    """Refuse a folder in which no file can be made; its mode does not say so of every folder."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        raise ValueError(f"{option}: nothing can be written there. Give another folder.") from None


def say(paths):
    """Print where files were written.

    Parameters
    ----------
    paths : sequence of Path
        All in one folder
    """
    folder = paths[0].parent
    print(f"{len(paths)} files are in {folder}. {revisions_sentence(folder)}".rstrip())
