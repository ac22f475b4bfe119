"""``python -m gymtools record | testplan | report``: the decision record, the test plan and the
commissioning report, from the command line.
"""

import argparse
import sys
from pathlib import Path

from .commissioning.comparison import compare
from .commissioning.plan import plan
from .commissioning.recordings import with_recordings
from .commissioning.sheet import read_sheet
from .design.decision import decide
from .display.documents.commissioning import write_plan, write_report
from .display.documents.handover import write_record
from .display.documents.record import READERS
from .equipment.prices import read_prices
from .venue.files import load


def main(arguments=None):
    """Run the command line.

    Parameters
    ----------
    arguments : list of str, optional
        Those of the shell when left out [-]

    Returns
    -------
    status : int
        0 when all is written, 2 when something was refused
    """
    parser = argparse.ArgumentParser(
        prog="python -m gymtools", description="Design of sound systems for school gymnasiums."
    )
    commands = parser.add_subparsers(dest="command", required=True)
    record = commands.add_parser(
        "record", help="write the decision record, schedules and drawings of a scenario"
    )
    record.add_argument("scenario", help="scenario file of the option that was chosen")
    record.add_argument(
        "--against",
        action="append",
        default=[],
        metavar="FILE",
        help="scenario file of another option; may be given several times",
    )
    record.add_argument(
        "--reader",
        choices=READERS,
        default="file",
        help="what the record holds: plain words, schedules, or everything (default)",
    )
    record.add_argument(
        "--prices",
        metavar="FILE",
        help="price book (CSV); the package's invented one when left out",
    )
    record.add_argument(
        "--folder", default=".", help="where the folder with the files is made (default: here)"
    )
    record.add_argument("--overwrite", action="store_true", help="replace files of an earlier time")
    test = commands.add_parser(
        "testplan", help="write the test plan and the entry sheet for the finished hall"
    )
    test.add_argument("scenario", help="scenario file of what was built")
    report = commands.add_parser(
        "report",
        help="compare a filled entry sheet with the design, and write the report beside it",
    )
    report.add_argument("scenario", help="scenario file of what was built")
    report.add_argument("readings", help="entry sheet, CSV or XLSX")
    report.add_argument(
        "--waves",
        metavar="FOLDER",
        help="folder with impulse responses (WAV), named by the readings they stand for",
    )
    for command in (test, report):
        command.add_argument(
            "--use",
            action="append",
            default=None,
            metavar="NAME",
            help=(
                "a use that is measured; may be given several times, the same for plan and report"
                " (default: all that differ)"
            ),
        )
        command.add_argument(
            "--overwrite", action="store_true", help="replace files of an earlier time"
        )
    test.add_argument(
        "--folder", default=".", help="where the folder with the files is made (default: here)"
    )
    given = parser.parse_args(arguments)
    try:
        paths = {"record": _record, "testplan": _testplan, "report": _report}[given.command](given)
    except (ValueError, OSError) as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{len(paths)} files are in {paths[0].parent}.")
    return 0


def _testplan(given):
    return write_plan(
        plan(load(given.scenario), given.use), given.folder, overwrite=given.overwrite
    )


def _report(given):
    made = plan(load(given.scenario), given.use)
    readings = read_sheet(given.readings, made)
    if given.waves:
        readings = with_recordings(readings, given.waves, made)
    for sentence in readings.bad:
        print(sentence, file=sys.stderr)
    return write_report(
        compare(made, readings, room="traced"),
        Path(given.readings).parent,
        overwrite=given.overwrite,
    )


def _record(given):
    options = {}
    for file in (given.scenario, *given.against):
        name = Path(file).stem
        if name in options:
            raise ValueError(f"two options are called '{name}'. Give their files other names.")
        options[name] = load(file)
    prices = read_prices(given.prices) if given.prices else None
    print("Tracing the room in every use; this takes a minute or two.", file=sys.stderr)
    return write_record(
        decide(options, prices=prices), given.folder, reader=given.reader, overwrite=given.overwrite
    )


if __name__ == "__main__":
    sys.exit(main())
