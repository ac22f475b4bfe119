"""The record's last parts: schedules, cautions, limits of the model, versions, signatures."""

from html import escape

from ...equipment import schedules as equipment
from ...venue.validation import court_conflicts
from .. import tables
from ..cautions import CAUTIONS, LIMITS
from ..tables.markup import bullets, table
from .page import quoted

SIGNERS = (
    "the school",
    "the contractor",
    "the structural engineer, for overhead loads",
    "the electrician, for AC power",
)


def schedules(page, decision):
    """Put all schedules at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add(
        "<h2>Equipment and schedules</h2>",
        "<p>The files beside this one hold the same tables (XLSX, CSV) and the drawings (DXF, PDF,"
        " SVG): floor plan, hanging points, sections, aim, and a sheet for every use.</p>",
    )
    units = decision.chosen.scenario.units
    for schedule in equipment.schedules(decision.parts):
        page.add(tables.schedule_table(schedule, units))


def cautions(page, _decision):
    """Put the safety cautions at the end.

    Parameters
    ----------
    page : Page
        Of the record
    _decision : Decision
        Not used: the cautions are always the same
    """
    page.add("<h2>Cautions</h2>", bullets([escape(text) for text in CAUTIONS]))


def limits(page, decision):
    """Put what the model cannot say, and the warnings of this design, at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add(
        "<h2>What the model cannot say</h2>",
        bullets([escape(text) for text in LIMITS]),
    )
    scenario = decision.chosen.scenario
    said = court_conflicts(scenario)  # on the first page
    warnings = [text for text in scenario.warnings if text not in said]
    warnings += decision.parts.amplification.warnings
    if warnings:
        words = "<p>Warnings of this design, beside the conflicts with the court:</p>"
        page.add(words, bullets([quoted(text) for text in warnings]))


def origin(page, decision, issue):
    """Put versions and the hash of the inputs at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    issue : Issue
        With the files that the options were read from, where they are known
    """
    rows = [(escape(name), escape(version)) for name, version in decision.versions.items()]
    page.add(
        "<h2>Where this comes from</h2>",
        table("Versions", ("software", "version"), rows),
        f"<p>The price book is {quoted(decision.prices)}. The scenario files of all options lie"
        f" beside this page; whoever opens it later begins from them.{_files(issue)}</p>",
        "<p>Hash of all inputs (SHA-256 of what the options' scenarios, their loudspeaker files and"
        f" the price book say, of the {decision.draws} draws of the uncertainty with their seed,"
        " and of gymtools' formulas and tables):"
        f" <code>{decision.inputs_hash}</code>. The same inputs, for the same reader, as the same"
        " revision and with the versions above, give this document again, except for the line that"
        " says when it was written.</p>",
    )


def _files(issue):
    """Which file each option was read from."""
    said = "; ".join(f"'{quoted(name)}' from {quoted(file)}" for name, file in issue.files)
    return f" They were read so: {said}." if said else ""


def signatures(page, _decision):
    """Put the lines for signatures at the end.

    Parameters
    ----------
    page : Page
        Of the record
    _decision : Decision
        Not used: the signers are always the same
    """
    rows = [(who, "", "", "") for who in SIGNERS]
    signed = table("Signatures", ("for", "name", "date", "signature"), rows)
    page.add("<h2>Agreed</h2>", signed.replace("<table>", '<table class="sign">', 1))
