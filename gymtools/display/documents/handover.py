"""Everything the installer gets, as files beside each other: schedules, drawings, the scenario."""

import re
from pathlib import Path

from ...equipment.schedules import schedules
from ...venue.files import to_text
from . import drawings
from .exports import csv_text, write_xlsx
from .record import record_html


def folder_name(scenario):
    """Name of the folder that a school's files go to.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    name : str
        Plain letters, digits and hyphens
    """
    return (
        re.sub(r"[^a-z0-9]+", "-", scenario.name.lower()).strip("-")[:60] or "school"
    ) + "-schedules"


def write_handover(made, folder, *, overwrite=False, units=None):
    """Write schedules, drawings and the scenario.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    folder : str or Path
        In which a folder for the school is made
    overwrite : bool
        Whether files of an earlier time may be replaced
    units : str, optional
        Of the drawings, "ft" or "m"; the scenario's own when left out

    Returns
    -------
    paths : list of Path
        XLSX, CSV a schedule, DXF, SVG and PNG a use, and the scenario

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    """
    target = Path(folder) / folder_name(made.scenario)
    if target.exists() and not overwrite:
        raise FileExistsError(
            f"the folder {target.name} exists. Say that its files may be replaced, or move it away."
        )
    target.mkdir(exist_ok=True)
    tables, paths = schedules(made), []

    def write(name, data):
        path = target / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8"))
        paths.append(path)

    book = target / "schedules.xlsx"
    write_xlsx(tables, book, made.scenario.name)
    paths.append(book)
    for n, table in enumerate(tables, 1):
        write(f"{n}-{table.title.lower()}.csv", csv_text(table))
    for n, use in enumerate(made.scenario.uses, 1):
        drawing = drawings.drawing(made.scenario, use.name, units=units)
        name = f"use-{n}-{re.sub(r'[^a-z0-9]+', '-', use.name.lower()).strip('-')[:40] or 'use'}"
        write(f"{name}.dxf", drawings.dxf_text(drawing))
        write(f"{name}.svg", drawings.picture(drawing, "svg"))
        write(f"{name}.png", drawings.picture(drawing, "png"))
    write("scenario.toml", to_text(made.scenario))
    return paths


def write_record(decision, folder, *, reader="file", overwrite=False, date=None):
    """Write the decision record with everything for the installer beside it.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``
    folder : str or Path
        As for ``write_handover``
    reader : str
        As for ``display.documents.record.record_html``
    overwrite : bool
        As for ``write_handover``
    date : datetime.date, optional
        As for ``record_html``

    Returns
    -------
    paths : list of Path
        The record first
    """
    paths = write_handover(decision.parts, folder, overwrite=overwrite)
    record = paths[0].parent / "record.html"
    record.write_text(record_html(decision, reader=reader, date=date), encoding="utf-8")
    for n, option in enumerate(decision.options[1:], 1):
        path = record.with_name(f"option-{n}-not-chosen.toml")
        path.write_text(to_text(option.scenario), encoding="utf-8")
        paths.append(path)
    return [record, *paths]
