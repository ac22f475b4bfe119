"""``survey``, ``testplan`` and ``report``: what is measured in the gym."""

import os
import sys
from pathlib import Path

from ..commissioning.comparison import compare
from ..commissioning.plan import plan
from ..commissioning.recordings import with_recordings
from ..commissioning.sheet import plan_of_sheet, read_sheet
from ..commissioning.survey_lines import survey_lines
from ..commissioning.survey_sheet import read_survey
from ..display.documents.commissioning import write_plan, write_report
from ..display.documents.handover import folder_name
from ..display.documents.survey import write_survey
from ..venue.files import load, to_text
from ..venue.new_school import NewSchool
from ..venue.writing_files import refuse_existing
from .arguments import add_date, add_output, example, folder_of, say, text, use_names


def _add_survey(commands):
    command = commands.add_parser(
        "survey",
        help="write the survey sheet of a school, or say what a filled one says",
        epilog=example("survey scenarios/larkfield.toml"),
    )
    command.add_argument("scenario", type=text, help="file of the school")
    command.add_argument(
        "--read",
        type=text,
        metavar="SHEET",
        help="filled sheet, XLSX or CSV; what it says is printed, nothing is changed",
    )
    add_output(command)
    command.set_defaults(run=_survey)


def _add_testplan(commands):
    command = commands.add_parser(
        "testplan",
        help="write the test plan and the entry sheet for the finished gym",
        epilog=example("testplan scenarios/larkfield.toml --short"),
    )
    command.add_argument("scenario", type=text, help="scenario file of what was built")
    _add_uses(command, "all that differ")
    _add_form(command, "full")
    add_date(command, "date of the plan (default: a blank line)")
    add_output(command)
    command.set_defaults(run=_testplan)


def _add_report(commands):
    command = commands.add_parser(
        "report",
        help="compare a filled entry sheet with the design; the report goes beside it",
        epilog=example("report scenarios/dovecote.toml scenarios/dovecote-readings.csv"),
    )
    command.add_argument("scenario", type=text, help="scenario file of what was built")
    command.add_argument("readings", type=text, help="entry sheet, CSV or XLSX")
    command.add_argument(
        "--waves",
        type=text,
        metavar="FOLDER",
        help="folder with impulse responses (WAV), named by the readings they stand for",
    )
    _add_uses(command, "those that the entry sheet states")
    _add_form(command)
    command.add_argument(
        "--folder",
        type=text,
        metavar="FOLDER",
        help="where the folder with the report is made (default: beside the readings)",
    )
    add_date(command, "date of the report (default: a blank line)")
    add_output(command, folder=False)
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
        help=f"all readings (default{'' if default else ': the form that the entry sheet states'})",
    )
    command.set_defaults(form=default)


def _add_uses(command, default):
    command.add_argument(
        "--use",
        type=text,
        action="append",
        default=None,
        metavar="NAME",
        help=f"a use that is measured; may be given several times (default: {default})",
    )


def _survey(given):
    school = NewSchool.of_text(to_text(load(given.scenario)))
    if given.read is None:
        say(write_survey(school, folder_of(given.folder), overwrite=given.overwrite))
        return
    survey = read_survey(given.read, school)
    for line in survey_lines(survey):
        print(line)
    for sentence in (*survey.bad, *survey.doubts):
        print(sentence, file=sys.stderr)


def _testplan(given):
    folder, scenario = folder_of(given.folder), load(given.scenario)
    _check_uses(scenario, given.use)
    _refuse_existing(folder, scenario, "commissioning", given, holds="readings")
    made = plan(scenario, given.use, form=given.form)
    say(write_plan(made, folder, overwrite=given.overwrite, date=given.date))


def _check_uses(scenario, names):
    """Refuse a use that the school does not have."""
    for name in names or ():
        use_names(scenario, name)


def _refuse_existing(folder, scenario, what, given, holds=""):
    """Refuse a folder that is there, before anything takes time."""
    if not given.overwrite:
        refuse_existing(folder / folder_name(scenario, what), holds=holds)


def _report(given):
    folder = _report_folder(given)
    scenario = load(given.scenario)
    _check_uses(scenario, given.use)
    _refuse_existing(folder, scenario, "commissioning-report", given)
    form, uses = plan_of_sheet(given.readings)
    made = plan(scenario, given.use or uses, form=given.form or form or "full")
    readings = read_sheet(given.readings, made)
    if given.waves is not None:
        readings = with_recordings(readings, given.waves, made)
    for sentence in readings.bad:
        print(sentence, file=sys.stderr)
    compared = compare(made, readings)
    say(write_report(compared, folder, overwrite=given.overwrite, date=given.date))


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
        return folder_of(given.folder)
    if not os.access(readings.parent, os.W_OK | os.X_OK):
        raise ValueError(
            f"{readings.name}: nothing can be written beside it. Give another folder with --folder."
        )
    return readings.parent


def add_commands(commands):
    """Add survey, testplan and report.

    Parameters
    ----------
    commands : argparse subparsers
        Of the whole command line
    """
    _add_survey(commands)
    _add_testplan(commands)
    _add_report(commands)
