"""``python -m gymtools open | new | survey | record | letter | specification | testplan | report``:
the workbook, a school of one's own, its survey sheet, the decision record, the letter to the
school, the specification, the test plan and the commissioning report, from the command line.
"""

import argparse
import datetime
import os
import sys
import warnings
from dataclasses import replace
from pathlib import Path

from .commissioning.comparison import compare
from .commissioning.plan import plan
from .commissioning.recordings import with_recordings
from .commissioning.sheet import plan_of_sheet, read_sheet
from .commissioning.survey_lines import survey_lines
from .commissioning.survey_sheet import read_survey
from .design.decision import decide, options_of
from .design.offer import offer
from .design.revisions import Issue
from .display.documents.commissioning import write_plan, write_report
from .display.documents.handover import folder_name, write_record
from .display.documents.letter import MOST_OPTIONS, write_letter
from .display.documents.record import READERS
from .display.documents.specification.files import write_specification
from .display.documents.survey import write_survey
from .display.launch import WORKBOOK, new_workbook, open_workbook
from .equipment.prices import read_prices
from .equipment.schedules import parts
from .venue.files import load, to_text
from .venue.new_school import NewSchool
from .venue.refusals import lines_of
from .venue.units import UNITS
from .venue.writing_files import refuse_existing, revisions_sentence, school_file

STOPPED, PIPE_CLOSED = 130, 141  # as a shell reports Ctrl+C and a closed pipe


class _Parser(argparse.ArgumentParser):
    """Refuses in one line."""

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
        0 when all is done, 2 when something was refused, 130 after Ctrl+C, 141 when nobody reads
        what is printed [-]
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


def _parser():
    parser = _Parser(
        prog="python -m gymtools", description="Design of sound systems for school gymnasiums."
    )
    commands = parser.add_subparsers(dest="command", required=True, parser_class=_Parser)
    _add_open(commands)
    _add_new(commands)
    _add_survey(commands)
    _add_record(commands)
    _add_letter(commands)
    _add_specification(commands)
    _add_testplan(commands)
    _add_report(commands)
    return parser


def _add_open(commands):
    command = commands.add_parser("open", help="start JupyterLab and print where the workbook is")
    command.add_argument(
        "workbook",
        type=_text,
        nargs="?",
        default=WORKBOOK,
        help="notebook (default: the design workbook)",
    )
    _add_server(command)
    command.set_defaults(run=_open)


def _add_new(commands):
    command = commands.add_parser(
        "new", help="begin a school of your own: start JupyterLab with its form"
    )
    command.add_argument("name", type=_text, nargs="?", default=None, help="name of the school")
    command.add_argument(
        "--folder",
        type=_text,
        default=".",
        help="where the school's file and its notebook are written (default: here)",
    )
    command.add_argument(
        "--from",
        type=_text,
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
        type=_text,
        default="127.0.0.1",
        help="interface to listen on (default: this machine only; 0.0.0.0 in a container)",
    )
    command.add_argument("--port", type=int, default=0, help="port (default: a free one)")
    command.add_argument("--no-browser", action="store_true", help="print the address only")


def _add_survey(commands):
    command = commands.add_parser(
        "survey", help="write the survey sheet of a school, or say what a filled one says"
    )
    command.add_argument("scenario", type=_text, help="file of the school")
    command.add_argument(
        "--read",
        type=_text,
        metavar="SHEET",
        help="filled sheet, XLSX or CSV; what it says is printed, nothing is changed",
    )
    _add_output(command)
    command.set_defaults(run=_survey)


def _add_record(commands):
    command = commands.add_parser(
        "record", help="write the decision record, schedules and drawings of a scenario"
    )
    command.add_argument("scenario", type=_text, help="scenario file of the chosen option")
    command.add_argument(
        "--against",
        type=_text,
        action="append",
        default=[],
        metavar="FILE",
        help="scenario file of another option; may be given several times",
    )
    command.add_argument(
        "--reader",
        choices=READERS,
        default="file",
        help="what the record holds: plain words, schedules, or everything (default)",
    )
    _add_prices(command)
    _add_issue(command)
    _add_output(command)
    command.set_defaults(run=_record)


def _add_prices(command):
    command.add_argument(
        "--prices",
        type=_text,
        metavar="FILE",
        help="price book (CSV); the package's invented one when left out",
    )


def _add_letter(commands):
    command = commands.add_parser(
        "letter",
        help="write the letter to the school, with the price as a spreadsheet beside it",
        epilog=(
            "example: python -m gymtools letter scenarios/dovecote.toml --against cheaper.toml"
            " --for 'the principal' --date 2026-11-26"
        ),
    )
    command.add_argument("scenario", type=_text, help="scenario file of the recommended option")
    command.add_argument(
        "--against",
        type=_text,
        action="append",
        default=[],
        metavar="FILE",
        help=f"scenario file of another option; at most {MOST_OPTIONS - 1} of them",
    )
    given = (
        ("--for", "recipient", "NAME", "who it is for"),
        ("--from", "sender", "NAME", "who writes it"),
        ("--reason", "reason", "WORDS", "why this option is recommended"),
    )
    for option, name, what, words in given:
        blank = f"{words}; a line to write on when left out"
        command.add_argument(option, dest=name, type=_text, metavar=what, help=blank)
    command.add_argument(
        "--date", type=_date, metavar="YYYY-MM-DD", help="a line to write on when left out"
    )
    _add_prices(command)
    _add_output(command)
    command.set_defaults(run=_letter)


def _add_issue(command):
    """What of a record nobody can compute."""
    command.add_argument(
        "--reason",
        type=_text,
        metavar="TEXT",
        help="why this option, in your own words (default: lines to write it by hand)",
    )
    command.add_argument(
        "--for",
        type=_text,
        dest="prepared_for",
        metavar="NAME",
        help="for whom the record is (default: a blank line)",
    )
    command.add_argument(
        "--date",
        type=_date,
        metavar="YYYY-MM-DD",
        help="date of the record (default: a blank line)",
    )
    command.add_argument(
        "--units",
        choices=UNITS,
        help="lengths in the record, schedules and drawings (default: the school's own)",
    )


def _add_specification(commands):
    command = commands.add_parser(
        "specification",
        help="write what bidders price and inspectors check, as a page and as DOCX",
        epilog="example: specification school.toml --date 2027-03-01 --revision A",
    )
    command.add_argument("scenario", type=_text, help="scenario file of the chosen option")
    command.add_argument("--revision", type=_text, help="letter or number of this issue")
    command.add_argument(
        "--date",
        type=_date,
        metavar="YYYY-MM-DD",
        help="date of issue; a line to write on when left out",
    )
    command.add_argument(
        "--prices",
        type=_text,
        metavar="FILE",
        help="price book (CSV) that decides between amplifiers; the package's invented one when"
        " left out",
    )
    _add_output(command)
    command.set_defaults(run=_specification)


def _add_testplan(commands):
    command = commands.add_parser(
        "testplan", help="write the test plan and the entry sheet for the finished gym"
    )
    command.add_argument("scenario", type=_text, help="scenario file of what was built")
    _add_uses(command, "all that differ")
    _add_form(command, "full")
    _add_output(command)
    command.set_defaults(run=_testplan)


def _add_report(commands):
    command = commands.add_parser(
        "report", help="compare a filled entry sheet with the design; the report goes beside it"
    )
    command.add_argument("scenario", type=_text, help="scenario file of what was built")
    command.add_argument("readings", type=_text, help="entry sheet, CSV or XLSX")
    command.add_argument(
        "--waves",
        type=_text,
        metavar="FOLDER",
        help="folder with impulse responses (WAV), named by the readings they stand for",
    )
    _add_uses(command, "those that the entry sheet states")
    _add_form(command)
    command.add_argument(
        "--folder",
        type=_text,
        metavar="FOLDER",
        help="where the folder with the report is made (default: beside the readings)",
    )
    _add_output(command, folder=False)
    command.set_defaults(run=_report)


def _add_form(command, default=None):
    """Which form of the plan; by default of a report, the one that its entry sheet states."""
    form = command.add_mutually_exclusive_group()
    form.add_argument(
        "--short",
        dest="form",
        action="store_const",
        const="short",
        help="fewer than 40 readings, about two hours",
    )
    form.add_argument(
        "--full",
        dest="form",
        action="store_const",
        const="full",
        help=f"all readings (default: {default or 'the form that the entry sheet states'})",
    )
    command.set_defaults(form=default)


def _add_uses(command, default):
    command.add_argument(
        "--use",
        type=_text,
        action="append",
        default=None,
        metavar="NAME",
        help=f"a use that is measured; may be given several times (default: {default})",
    )


def _text(given):
    """An argument; an empty one is a slip, not one that was left out."""
    if not given.strip():
        raise argparse.ArgumentTypeError("is empty. Give a name, or leave it out")
    return given


def _date(given):
    """A day as it is written in files."""
    try:
        return datetime.date.fromisoformat(given.strip())
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{given!r} is no day. Write it as 2026-11-26: year, month, day"
        ) from None


def _add_output(command, folder=True):
    if folder:
        command.add_argument(
            "--folder",
            type=_text,
            default=".",
            help="where the folder with the files is made (default: here)",
        )
    command.add_argument(
        "--overwrite",
        action="store_true",
        help="replace an earlier folder; it is kept in 'revisions'",
    )


def _folder(given):
    """The folder to write in; refused before anything takes time."""
    folder = Path(given)
    if not folder.is_dir():
        what = "is no folder" if folder.exists() else "there is no such folder"
        raise ValueError(f"--folder {given}: {what}. Make it first, or leave --folder out.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise ValueError(f"--folder {given}: nothing can be written there. Give another folder.")
    return folder


def _say(paths):
    folder = paths[0].parent
    print(f"{len(paths)} files are in {folder}. {revisions_sentence(folder)}".rstrip())


def _open(given):
    open_workbook(given.workbook, host=given.host, port=given.port, browser=not given.no_browser)


def _new(given):
    folder = _folder(given.folder)
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


def _survey(given):
    school = NewSchool.of_text(to_text(load(given.scenario)))
    if given.read is None:
        _say(write_survey(school, _folder(given.folder), overwrite=given.overwrite))
        return
    survey = read_survey(given.read, school)
    for line in survey_lines(survey):
        print(line)
    for sentence in (*survey.bad, *survey.doubts):
        print(sentence, file=sys.stderr)


def _testplan(given):
    folder, scenario = _folder(given.folder), load(given.scenario)
    _refuse_existing(folder, scenario, "commissioning", given, holds="readings")
    made = plan(scenario, given.use, form=given.form)
    _say(write_plan(made, folder, overwrite=given.overwrite))


def _refuse_existing(folder, scenario, what, given, holds=""):
    """Refuse a folder that is there, before anything takes time."""
    if not given.overwrite:
        refuse_existing(folder / folder_name(scenario, what), holds=holds)


def _report(given):
    folder = _report_folder(given)
    scenario = load(given.scenario)
    _refuse_existing(folder, scenario, "commissioning-report", given)
    form, uses = plan_of_sheet(given.readings)
    made = plan(scenario, given.use or uses, form=given.form or form or "full")
    readings = read_sheet(given.readings, made)
    if given.waves is not None:
        readings = with_recordings(readings, given.waves, made)
    for sentence in readings.bad:
        print(sentence, file=sys.stderr)
    compared = compare(made, readings)
    _say(write_report(compared, folder, overwrite=given.overwrite))


def _report_folder(given):
    """Where the report goes; refused with what it needs, before anything takes time."""
    readings = Path(given.readings)
    if not readings.exists():
        raise ValueError(
            f"{readings.name}: there is no such entry sheet. Give the filled one after the scenario"
            " (of 'testplan': readings.csv or readings.xlsx)."
        )
    if given.waves is not None and not Path(given.waves).is_dir():
        raise ValueError(
            f"--waves {given.waves}: there is no such folder of recordings. Leave --waves out where"
            " there are none."
        )
    if given.folder is not None:
        return _folder(given.folder)
    if not os.access(readings.parent, os.W_OK | os.X_OK):
        raise ValueError(
            f"{readings.name}: nothing can be written beside it. Give another folder with --folder."
        )
    return readings.parent


def _record(given):
    folder = _folder(given.folder)
    options = options_of((given.scenario, *given.against))
    if given.units:
        options = {name: replace(s, units=given.units) for name, s in options.items()}
    prices = read_prices(given.prices) if given.prices is not None else None
    print("Tracing the room in every use; this takes a minute or two.", file=sys.stderr)
    decision = decide(options, prices=prices)
    given_words = dict(prepared_for=given.prepared_for or "", reason=given.reason or "")
    issue = Issue(date=given.date, **given_words)
    asked = dict(reader=given.reader, overwrite=given.overwrite, issue=issue)
    _say(write_record(decision, folder, **asked))


def _letter(given):
    folder, count = _folder(given.folder), 1 + len(given.against)
    if count > MOST_OPTIONS:
        raise ValueError(
            f"a letter compares at most {MOST_OPTIONS} options, not {count}. Leave some --against"
            " out; the command 'record' takes them all."
        )
    options = options_of((given.scenario, *given.against))
    if not given.overwrite:  # before the minutes that it takes
        refuse_existing(folder / folder_name(next(iter(options.values())), "letter"))
    prices = read_prices(given.prices) if given.prices is not None else None
    offered = offer(options, prices=prices, progress=_progress("Following all rays"))
    words = {name: getattr(given, name) or "" for name in ("recipient", "sender", "reason")}
    _say(write_letter(offered, folder, overwrite=given.overwrite, date=given.date, **words))


def _progress(words):
    """A function that prints how much of some work is done, after every step."""

    def tell(share):
        print(f"{words}: {100 * share:.0f} % done.", file=sys.stderr)

    return tell


def _specification(given):
    folder, scenario = _folder(given.folder), load(given.scenario)
    if not given.overwrite:
        refuse_existing(folder / folder_name(scenario, "specification"))
    prices = read_prices(given.prices) if given.prices is not None else None
    print("Tracing the room in every use; this takes a minute.", file=sys.stderr)
    _say(
        write_specification(
            parts(scenario, prices=prices),
            folder,
            overwrite=given.overwrite,
            date=given.date,
            revision=given.revision or "",
        )
    )


if __name__ == "__main__":
    sys.exit(main())
