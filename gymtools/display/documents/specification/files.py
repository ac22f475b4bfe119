"""The specification's files."""

from pathlib import Path

from ....commissioning.plan_time import timed_parts
from ....venue.writing_files import new_folder
from ..handover import folder_name
from .contents import specification
from .html_writer import html
from .word_writer import docx_bytes

NAMES = ("specification.html", "specification.docx")


def write_specification(made, folder, *, overwrite=False, date=None, revision=""):
    """Write the specification, both files or none.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    folder : str or Path
        In which a folder for the school is made
    overwrite : bool
        Whether an earlier folder may be replaced; it moves whole into "revisions" beside it
    date : datetime.date, optional
        As for ``specification``
    revision : str
        As for ``specification``

    Returns
    -------
    paths : list of Path
        HTML and DOCX

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    target = Path(folder) / folder_name(made.scenario, "specification")
    with new_folder(target, overwrite=overwrite) as building:
        # the quantities are those of the price sheet
        text = specification(timed_parts(made), date=date, revision=revision)
        (building / NAMES[0]).write_bytes(html(text).encode("utf-8", "replace"))
        (building / NAMES[1]).write_bytes(docx_bytes(text))
    return [target / name for name in NAMES]
