"""``open`` and ``new``: the workbook, and a school of one's own."""

from ..display.launch import WORKBOOK, new_workbook, open_workbook
from ..venue.files import load
from ..venue.writing_files import school_file
from .arguments import example, folder_of, text


def _add_open(commands):
    command = commands.add_parser(
        "open",
        help="start JupyterLab and print where the workbook is",
        epilog=example("open --no-browser"),
    )
    command.add_argument(
        "workbook",
        type=text,
        nargs="?",
        default=WORKBOOK,
        help="notebook (default: the design workbook)",
    )
    _add_server(command)
    command.set_defaults(run=_open)


def _add_new(commands):
    command = commands.add_parser(
        "new",
        help="begin a school of your own: start JupyterLab with its form",
        epilog=example("new 'Alder Hollow High School'"),
    )
    command.add_argument("name", type=text, nargs="?", default=None, help="name of the school")
    command.add_argument(
        "--folder",
        type=text,
        default=".",
        help="where the school's file and its notebook are written (default: here)",
    )
    command.add_argument(
        "--from",
        type=text,
        default=None,
        dest="copied_from",
        metavar="SCHOOL.toml",
        help="scenario file of another school to begin as a copy of",
    )
    _add_server(command)
    command.set_defaults(run=_new)


def _add_server(command):
    command.add_argument(
        "--host",
        type=text,
        default="127.0.0.1",
        help="interface to listen on (default: this machine only; 0.0.0.0 in a container)",
    )
    command.add_argument("--port", type=int, default=0, help="port (default: a free one)")
    command.add_argument("--no-browser", action="store_true", help="print the address only")


def _open(given):
    open_workbook(given.workbook, host=given.host, port=given.port, browser=not given.no_browser)


def _new(given):
    folder = folder_of(given.folder)
    if given.copied_from:
        load(given.copied_from)  # refused here, not on the page
    book = new_workbook(folder, given.name or "", given.copied_from or "")
    file = school_file(folder, given.name or "")
    if given.name and file.is_file():
        print(
            f"'{given.name}' is here already: {file}. The page offers to open the meeting on it or"
            " to edit the gym."
        )
    open_workbook(book, host=given.host, port=given.port, browser=not given.no_browser)


def add_commands(commands):
    """Add open and new.

    Parameters
    ----------
    commands : argparse subparsers
        Of the whole command line
    """
    _add_open(commands)
    _add_new(commands)
