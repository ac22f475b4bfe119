"""Arguments that several commands share, refused before anything takes time."""

import argparse
import datetime
import os
from pathlib import Path

from ..venue.writing_files import revisions_sentence


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
    if not os.access(folder, os.W_OK | os.X_OK):
        raise ValueError(f"--folder {given}: nothing can be written there. Give another folder.")
    return folder


def say(paths):
    """Print where files were written.

    Parameters
    ----------
    paths : sequence of Path
        All in one folder
    """
    folder = paths[0].parent
    print(f"{len(paths)} files are in {folder}. {revisions_sentence(folder)}".rstrip())
