"""``record``, ``letter``, ``specification`` and ``drawings``: what is handed over."""

from dataclasses import replace
from pathlib import Path

from ..design.comparing import check_same_gym
from ..design.decision import decide, options_of, titled
from ..design.offer import offer
from ..design.revisions import Issue
from ..display.documents.handover import folder_name, write_drawings, write_record
from ..display.documents.letter import MOST_OPTIONS, PROPOSED_REASON, write_letter
from ..display.documents.record import READERS
from ..display.documents.specification.files import write_specification
from ..equipment.schedules import parts
from ..venue.files import load
from ..venue.units import UNITS
from ..venue.writing_files import refuse_existing
from .arguments import add_date, add_output, add_prices, example, folder_of, prices_of, say, text
from .progress import Progress

LINE = "a line to write on when left out"  # in the help of what a letter may leave blank


def _add_record(commands):
    command = commands.add_parser(
        "record",
        help="write the decision record, schedules and drawings of a scenario",
        epilog=example("record scenarios/larkfield.toml --for 'the principal' --date 2026-11-26"),
    )
    command.add_argument("scenario", type=text, help="scenario file of the chosen option")
    _add_against(command, "may be given several times")
    command.add_argument(
        "--reader",
        choices=READERS,
        default="file",
        help="what the record holds: plain words, schedules, or everything (default)",
    )
    _add_names(command)
    add_prices(command)
    _add_issue(command)
    command.add_argument(
        "--sound",
        type=text,
        metavar="USE",
        help="let a seat of this use be heard in the record (more than a megabyte for each option)",
    )
    add_output(command)
    command.set_defaults(run=_record)


def _add_letter(commands):
    command = commands.add_parser(
        "letter",
        help="write the letter to the school, with the price as a spreadsheet beside it",
        epilog=example("letter scenarios/dovecote.toml --for 'the principal' --date 2026-11-26"),
    )
    command.add_argument("scenario", type=text, help="scenario file of the recommended option")
    _add_against(command, f"at most {MOST_OPTIONS - 1} of them")
    given = (
        ("--for", "recipient", "NAME", f"who it is for; {LINE}"),
        ("--from", "sender", "NAME", f"who writes it; {LINE}"),
        (
            "--reason",
            "reason",
            "WORDS",
            "why this option is recommended; proposed from the figures when left out",
        ),
    )
    for option, name, what, words in given:
        command.add_argument(option, dest=name, type=text, metavar=what, help=words)
    add_date(command, LINE)
    _add_names(command)
    add_prices(command)
    add_output(command)
    command.set_defaults(run=_letter)


def _add_against(command, how_many):
    command.add_argument(
        "--against",
        type=text,
        action="append",
        default=[],
        metavar="FILE",
        help=f"scenario file of another option; {how_many}",
    )


def _add_names(command):
    command.add_argument(
        "--name",
        type=text,
        action="append",
        default=[],
        metavar="NAME",
        help=(
            "what an option is called, the chosen one first, then those of --against; may be given"
            " several times (default: how its loudspeakers hang)"
        ),
    )


def _add_issue(command):
    """What of a record nobody can compute."""
    command.add_argument(
        "--reason",
        type=text,
        metavar="TEXT",
        help="why this option, in your own words (default: lines to write it by hand)",
    )
    command.add_argument(
        "--for",
        type=text,
        dest="prepared_for",
        metavar="NAME",
        help="for whom the record is (default: a blank line)",
    )
    add_date(command, "date of the record (default: a blank line)")
    command.add_argument(
        "--units",
        choices=UNITS,
        help="lengths in the record, schedules and drawings (default: the school's own)",
    )


def _add_specification(commands):
    command = commands.add_parser(
        "specification",
        help="write what bidders price and inspectors check, as a page and as DOCX",
        epilog=example("specification scenarios/larkfield.toml --date 2027-03-01 --revision A"),
    )
    command.add_argument("scenario", type=text, help="scenario file of the chosen option")
    command.add_argument("--revision", type=text, help="letter or number of this issue")
    add_date(command, f"date of issue; {LINE}")
    command.add_argument(
        "--prices",
        type=text,
        metavar="FILE",
        help="price book (CSV) that decides between amplifiers; the package's invented one when"
        " left out",
    )
    add_output(command)
    command.set_defaults(run=_specification)


def _add_drawings(commands):
    command = commands.add_parser(
        "drawings",
        help="write the drawings alone: DXF, PDF and SVG, PNG when asked for",
        epilog=example("drawings scenarios/larkfield.toml --date 2027-03-01 --revision A"),
    )
    command.add_argument("scenario", type=text, help="scenario file of the chosen option")
    command.add_argument("--revision", type=text, help="letter or number of this issue")
    add_date(command, f"date of issue; {LINE}")
    command.add_argument("--units", choices=UNITS, help="of the drawings (default: the school's)")
    command.add_argument("--png", action="store_true", help="a PNG of every sheet too, 150 dpi")
    add_output(command)
    command.set_defaults(run=_drawings)


def _record(given):
    folder = folder_of(given.folder)
    options = titled(options_of((given.scenario, *given.against)), given.name)
    check_same_gym(options)
    chosen = next(iter(options.values()))
    if given.sound:  # refused before the minutes that it takes
        chosen.use(given.sound)
    if not given.overwrite:
        refuse_existing(folder / folder_name(chosen))
    if given.units:
        options = {name: replace(s, units=given.units) for name, s in options.items()}
    prices = prices_of(given.prices)
    with Progress("Following all rays") as progress:
        decision = decide(options, prices=prices, progress=progress)
    files = [Path(file).name for file in (given.scenario, *given.against)]
    given_words = dict(prepared_for=given.prepared_for or "", reason=given.reason or "")
    given_words["heard"] = given.sound or ""
    given_words["files"] = tuple(zip(options, files, strict=True))
    issue = Issue(date=given.date, **given_words)
    asked = dict(reader=given.reader, overwrite=given.overwrite, issue=issue)
    say(write_record(decision, folder, **asked))


def _letter(given):
    folder, count = folder_of(given.folder), 1 + len(given.against)
    if count > MOST_OPTIONS:
        raise ValueError(
            f"a letter compares at most {MOST_OPTIONS} options, not {count}. Leave some --against"
            " out; the command 'record' takes them all."
        )
    options = titled(options_of((given.scenario, *given.against)), given.name)
    check_same_gym(options)
    if not given.overwrite:  # before the minutes that it takes
        refuse_existing(folder / folder_name(next(iter(options.values())), "letter"))
    prices = prices_of(given.prices)
    with Progress("Following all rays") as progress:
        offered = offer(options, prices=prices, progress=progress)
    words = {name: getattr(given, name) or "" for name in ("recipient", "sender", "reason")}
    say(write_letter(offered, folder, overwrite=given.overwrite, date=given.date, **words))
    if len(offered) > 1 and not given.reason:
        print(PROPOSED_REASON + " Give your own with --reason.")


def _specification(given):
    folder, scenario = folder_of(given.folder), load(given.scenario)
    if not given.overwrite:
        refuse_existing(folder / folder_name(scenario, "specification"))
    prices = prices_of(given.prices)
    with Progress("Following all rays"):
        made = parts(scenario, prices=prices)
    given_words = dict(date=given.date, revision=given.revision or "")
    say(write_specification(made, folder, overwrite=given.overwrite, **given_words))


def _drawings(given):
    folder, scenario = folder_of(given.folder), load(given.scenario)
    if not given.overwrite:
        refuse_existing(folder / folder_name(scenario, "drawings"))
    with Progress("Following all rays"):
        made = parts(scenario)
    issue = Issue(date=given.date, revision=given.revision or "")
    asked = dict(overwrite=given.overwrite, units=given.units, issue=issue, png=given.png)
    say(write_drawings(made, folder, **asked))


def add_commands(commands):
    """Add record, letter, specification and drawings.

    Parameters
    ----------
    commands : argparse subparsers
        Of the whole command line
    """
    _add_record(commands)
    _add_letter(commands)
    _add_specification(commands)
    _add_drawings(commands)
