"""``arrange`` and ``aim``: another design from a scenario, written as a new file."""

from ..design.aiming import MOST_EVALUATIONS, aim
from ..design.arrangements import OFFERED, arrange, fitting
from ..design.comparing import differing_values, loudspeaker_list
from ..physics.checks import whole
from ..venue.files import load, save
from ..venue.writing_files import school_file
from .arguments import add_file, example, file_to_write, print_lines, text
from .progress import Progress

EVALUATIONS = 2000  # of one use, as ``aim`` has it [-]


def add_commands(commands):
    """Add arrange and aim.

    Parameters
    ----------
    commands : argparse subparsers
        Of the whole command line
    """
    command = commands.add_parser(
        "arrange",
        help="hang and aim another arrangement of loudspeakers; writes a new scenario file",
        epilog=example("arrange scenarios/larkfield.toml --list"),
    )
    command.add_argument("scenario", type=text, help="scenario file")
    what = command.add_mutually_exclusive_group(required=True)
    what.add_argument(
        "--with", dest="key", choices=OFFERED, metavar="KEY", help="arrangement, as --list has it"
    )
    what.add_argument("--list", action="store_true", help="print which arrangements fit this gym")
    add_file(command)
    command.set_defaults(run=_arrange)
    command = commands.add_parser(
        "aim",
        help="look for a better aim for all uses; writes a new scenario file",
        epilog=example("aim scenarios/larkfield.toml --evaluations 500 --out larkfield-aimed.toml"),
    )
    command.add_argument("scenario", type=text, help="scenario file")
    command.add_argument(
        "--evaluations",
        type=int,
        default=EVALUATIONS,
        metavar="NUMBER",
        help=f"how many to try at most; time grows with it (default: {EVALUATIONS})",
    )
    add_file(command)
    command.set_defaults(run=_aim)


def _arrange(given):
    scenario = load(given.scenario)
    if given.list:
        fits, reasons = fitting(scenario)
        for key, a in OFFERED.items():
            count = sum(g.number for g in fits[key].groups) if key in fits else 0
            number = f"{count} loudspeaker{'' if count == 1 else 's'}"
            fit = f"Fits, {number}." if count else f"No: {reasons[key]}"
            print_lines(f"{key}: {a.title}. {fit}")
        if fits:
            key = next(k for k in OFFERED if k in fits)
            print_lines(f"Take one by its name before the colon, for example: --with '{key}'")
        return
    file = _file(given, scenario, given.key)
    made = arrange(scenario, given.key)
    save(made, file, overwrite=given.overwrite)
    print(f"{file}: {loudspeaker_list(made)}.")
    for warning in made.warnings:
        print_lines(warning, "  ")


def _file(given, scenario, ending):
    """Where the new scenario goes; its own folder is here."""
    out = given.out or str(school_file(".", f"{scenario.name} {ending}"))
    return file_to_write(out, "--out", given.overwrite)


def _aim(given):
    whole("--evaluations", given.evaluations, 1, MOST_EVALUATIONS)
    scenario = load(given.scenario)
    file = _file(given, scenario, "aimed")
    with Progress("Looking for a better aim") as progress:
        found = aim(scenario, evaluations=given.evaluations, progress=progress)
    if not found.moved:
        print("No better aim was found; nothing is written.")
        return
    save(found.scenario, file, overwrite=given.overwrite)
    print_lines(
        f"{file}: what all uses together lack against their targets is {found.after:.1f} steps now,"
        f" and was {found.before:.1f}; a miss by one step is still 'close'."
    )
    for what, before, after in differing_values(scenario, found.scenario):
        print_lines(f"{what}: from {before} to {after}", "  ")
