"""Everything the installer gets, as files beside each other: schedules, drawings, the scenario."""

from pathlib import Path

from ...commissioning.plan_time import timed_decision, timed_parts
from ...design.revisions import KEPT, Issue, dated, earlier_record, kept_text, next_issue
from ...equipment.schedules import schedules
from ...venue.files import to_text
from ...venue.measured import write_measured
from ...venue.writing_files import file_words, new_folder
from .exports import csv_text, write_xlsx
from .price_sheet import write_prices
from .record import record_html


def folder_name(scenario, kind="schedules"):
    """Name of the folder that a school's files go to.

    Parameters
    ----------
    scenario : Scenario
        The design
    kind : str
        What is in it

    Returns
    -------
    name : str
        Letters, digits and hyphens; another one for every name of a school
    """
    return f"{file_words(scenario.name, 'school')}-{kind}"


def write_handover(made, folder, *, overwrite=False, units=None, issue=None):
    """Write schedules, drawings and the scenario, all of them or nothing.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    folder : str or Path
        In which a folder for the school is made
    overwrite : bool
        Whether an earlier folder may be replaced; it moves whole into "revisions" beside it
    units : str, optional
        Of schedules and drawings, "ft" or "m"; the scenario's own when left out
    issue : Issue, optional
        Revision, date and names for the drawings; lines to write on when left out

    Returns
    -------
    paths : list of Path
        XLSX, CSV a schedule, all sheets as DXF and as PDF, SVG a sheet, and the scenario with the
        files of its measured loudspeakers

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    target = Path(folder) / folder_name(made.scenario)
    with new_folder(target, overwrite=overwrite) as building:
        names = _write_files(building, timed_parts(made), units, issue)
    return [target / name for name in names]


def _write_files(folder, made, units, issue):
    """Write everything for the installer; gives the names."""
    units = units or made.scenario.units
    tables, files = [table.in_units(units) for table in schedules(made)], {}
    for n, table in enumerate(tables, 1):
        name = f"{n}-{file_words(table.title, 'table')}.csv"
        files[name] = csv_text(table).encode("utf-8")
    files |= _drawing_files(made, units, issue)
    files["scenario.toml"] = to_text(made.scenario).encode("utf-8")
    write_xlsx(tables, folder / "schedules.xlsx", made.scenario.name)
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return ["schedules.xlsx", *files, *_write_measured(folder, made.scenario)]


def _drawing_files(made, units, issue, png=False):
    """Bytes of all drawings by the names of their files."""
    from . import drawings  # slow to load

    sheets = drawings.drawing_set(made, units=units, issue=issue)
    dxf = drawings.document(sheets, units)
    files = {
        "drawings.dxf": drawings.dxf_text(dxf).encode("utf-8"),
        "drawings.pdf": drawings.pdf(sheets),
    }
    kinds = ("svg", "png") if png else ("svg",)
    for kind in kinds:
        files |= {f"drawing-{s.number}.{kind}": drawings.picture(s, kind) for s in sheets}
    return files


def write_drawings(made, folder, *, overwrite=False, units=None, issue=None, png=False):
    """Write the drawings alone, all of them or nothing.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    folder : str or Path
        In which a folder for the school is made
    overwrite : bool
        As for ``write_handover``
    units : str, optional
        As for ``write_handover``
    issue : Issue, optional
        As for ``write_handover``
    png : bool
        Whether a PNG of every sheet is written too, at 150 dots an inch

    Returns
    -------
    paths : list of Path
        All sheets as DXF and as PDF, an SVG a sheet, and a PNG a sheet where asked for

    Raises
    ------
    FileExistsError, OSError
        As for ``write_handover``
    """
    target = Path(folder) / folder_name(made.scenario, "drawings")
    with new_folder(target, overwrite=overwrite) as building:
        files = _drawing_files(made, units or made.scenario.units, issue, png)
        for name, data in files.items():
            (building / name).write_bytes(data)
    return [target / name for name in files]


def _write_measured(folder, scenario):
    """Write the files of measured loudspeakers, so that the scenario can be loaded where it lies;
    gives the names.
    """
    listed = zip(scenario.loudspeaker_files, scenario.measured_types, strict=False)
    return [
        path.relative_to(folder).as_posix()
        for name, measured in listed
        for path in write_measured(measured, folder / name)
    ]


def write_record(decision, folder, *, reader="file", overwrite=False, date=None, issue=None):
    """Write the decision record with everything for the installer and the price of every option
    beside it, all or nothing.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``
    folder : str or Path
        As for ``write_handover``
    reader : str
        As for ``display.documents.record.record_html``
    overwrite : bool
        As for ``write_handover``; the record then says what has changed since the earlier one
    date : datetime.date, optional
        As for ``record_html``
    issue : Issue, optional
        Date, for whom and why, as given; blank lines when left out. Its number follows from the
        earlier record

    Returns
    -------
    paths : list of Path
        The record first

    Raises
    ------
    FileExistsError, OSError
        As for ``write_handover``
    """
    target = Path(folder) / folder_name(decision.parts.scenario)
    decision = timed_decision(decision)
    with new_folder(target, overwrite=overwrite) as building:
        earlier = earlier_record(target)
        issue = next_issue(dated(issue or Issue(), date), earlier)
        names = [
            "record.html",
            *_write_files(building, decision.parts, None, issue),
            "price.xlsx",
        ]
        scenario = decision.parts.scenario
        write_prices(
            decision.quotes, building / "price.xlsx", school=scenario.name, units=scenario.units
        )
        html = record_html(decision, reader=reader, issue=issue, earlier=earlier)
        texts = {"record.html": html, KEPT: kept_text(decision, issue)}
        for n, option in enumerate(decision.options[1:], 1):
            name = f"option-{n}-{file_words(option.name, 'option')}-not-chosen.toml"
            texts[name] = to_text(option.scenario)
        for name, text in texts.items():
            (building / name).write_bytes(text.encode("utf-8"))
    return [target / name for name in dict.fromkeys([*names, *texts])]
