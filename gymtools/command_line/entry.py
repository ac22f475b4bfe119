"""The whole command line: its parser, and how it ends."""

import argparse
import os
import sys
import warnings

from .. import __version__
from ..venue.refusals import lines_of
from . import designs, documents, figures, on_site, opening
from .arguments import Refused

STOPPED, PIPE_CLOSED = 130, 141  # as a shell reports Ctrl+C and a closed pipe


class _Parser(argparse.ArgumentParser):
    """Refuses in one line, and keeps an example in one line."""

    def __init__(self, **given):
        super().__init__(formatter_class=argparse.RawDescriptionHelpFormatter, **given)

    def error(self, message):
        self.exit(2, f"{message}. See: {self.prog} --help\n")


def main(arguments=None):
    """Run the command line.

    Parameters
    ----------
    arguments : list of str, optional
        Those of the shell when left out

    Returns
    -------
    status : int
        0 when all is done, 1 when a scenario that is checked is refused, 2 when something else was
        refused, 130 after Ctrl+C, 141 when nobody reads what is printed [-]
    """
    if hasattr(sys.stdout, "reconfigure"):  # a name that the terminal cannot show is no refusal
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        with warnings.catch_warnings():
            warnings.showwarning = _warn
            given = _parser().parse_args(arguments)
            given.run(given)
        if sys.stdout is not None:
            sys.stdout.flush()
    except Refused:
        return 1
    except BrokenPipeError:
        _print_nowhere()
        return PIPE_CLOSED
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return STOPPED
    except (ValueError, OSError) as error:
        print(_refusal(error), file=sys.stderr)
        return 2
    return 0


def _refusal(error):
    """An error in one line, or a line for each fault of a file, without the number that the system
    gives it.
    """
    if isinstance(error, OSError) and error.strerror:
        if error.filename is None:  # a disk that is full, while something is printed
            _print_nowhere()
            return f"the output cannot be written: {error.strerror}"
        return f"{error.filename}: {error.strerror}"
    more = " Here: --overwrite." if isinstance(error, FileExistsError) else ""
    lines = lines_of(error) if isinstance(error, ValueError) else [str(error)]
    return "\n".join(" ".join(line.split()) for line in lines) + more


def _print_nowhere():
    """What is left to be printed goes nowhere, so that the interpreter's end is quiet too."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, sys.stdout.fileno())
    except (OSError, ValueError, AttributeError):  # it is closed, or no file
        pass
    os.close(nowhere)


def _warn(message, *_where, **_more):
    """A warning in one line, without the line of code that gave it."""
    print(" ".join(str(message).split()), file=sys.stderr)


def _called():
    """How the command was typed."""
    typed = os.path.basename(sys.argv[0])
    return "gymtools" if typed.startswith("gymtools") else "python -m gymtools"


def _parser():
    parser = _Parser(prog=_called(), description="Design of sound systems for school gymnasiums.")
    commands = parser.add_subparsers(dest="command", required=True, parser_class=_Parser)
    parser.add_argument("--version", action="version", version=f"gymtools {__version__}")
    for group in (opening, figures, designs, documents, on_site):
        group.add_commands(commands)
    return parser
