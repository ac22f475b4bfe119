"""``python -m gymtools record SCENARIO``: the decision record and all files for the installer, from the command line."""

import argparse
import sys
from pathlib import Path

from .design.decision import decide
from .design.prices import read_prices
from .display.handover import write_record
from .display.record import READERS
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
    parser = argparse.ArgumentParser(prog="python -m gymtools", description="Design of sound systems for school gymnasiums.")
    commands = parser.add_subparsers(dest="command", required=True)
    record = commands.add_parser("record", help="write the decision record, schedules and drawings of a scenario")
    record.add_argument("scenario", help="scenario file of the option that was chosen")
    record.add_argument("--against", action="append", default=[], metavar="FILE", help="scenario file of another option; may be given several times")
    record.add_argument("--reader", choices=READERS, default="file", help="what the record holds: plain words, schedules, or everything (default)")
    record.add_argument("--prices", metavar="FILE", help="price book (CSV); the package's invented one when left out")
    record.add_argument("--folder", default=".", help="where the folder with the files is made (default: here)")
    record.add_argument("--overwrite", action="store_true", help="replace files of an earlier time")
    given = parser.parse_args(arguments)
    try:
        options = {}
        for file in (given.scenario, *given.against):
            name = Path(file).stem
            if name in options:
                raise ValueError(f"two options are called '{name}'. Give their files other names.")
            options[name] = load(file)
        prices = read_prices(given.prices) if given.prices else None
        print("Tracing the room in every use; this takes a minute or two.", file=sys.stderr)
        paths = write_record(decide(options, prices=prices), given.folder, reader=given.reader, overwrite=given.overwrite)
    except (ValueError, OSError) as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{len(paths)} files are in {paths[0].parent}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
