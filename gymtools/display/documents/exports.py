"""Schedules as files: CSV, one XLSX with a sheet each; the same schedules give the same bytes."""

import csv
import datetime
import io
import re
import zipfile

from lxml.etree import SerialisationError

from ...venue.spreadsheets import GUARD, as_text

WIDEST = 46  # of a column [characters]
FILLED = 14  # of a column that is to be filled in, at least [characters]
# written as the files' own date, so that the same design gives the same file
EPOCH = datetime.datetime(2000, 1, 1)
NOT_IN_A_TITLE = re.compile(r"[\[\]:*?/\\]")  # of a sheet


def csv_text(schedule):
    """A schedule as CSV.

    Parameters
    ----------
    schedule : Schedule
        A table

    Returns
    -------
    text : str
        First line the columns, last line the note
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([as_text(c) for c in schedule.columns])
    writer.writerows([as_text(v) for v in row] for row in schedule.rows)
    if schedule.note:
        writer.writerow([as_text(schedule.note)])
    return out.getvalue()


def write_xlsx(schedules, path, title, *, blanks=False, offers=None, pictures=None):
    """All schedules in one workbook, a sheet each.

    Parameters
    ----------
    schedules : sequence of Schedule
        Tables
    path : str or Path
        Where to
    title : str
        Over every table
    blanks : bool
        Whether empty cells of the rows are to be filled in: framed, and of text, so that no
        spreadsheet makes a date of 12-6
    offers : dict, optional
        By (title of a schedule, number of its row from 0, column): words that are offered there;
        others can be written all the same
    pictures : dict, optional
        PNG by the name of a sheet of its own
    """
    from openpyxl import Workbook  # slow to load

    book = Workbook()
    book.remove(book.active)
    for schedule in schedules:
        sheet = book.create_sheet(sheet_title(schedule.title))
        sheet.append([as_text(f"{title}: {schedule.title}")])
        sheet.append([as_text(c) for c in schedule.columns])
        for row in schedule.rows:
            sheet.append([as_text(v) for v in row])
        sheet.append([])
        sheet.append([as_text(schedule.note)])
        _dress(sheet, schedule)
        if blanks:
            _frame_blanks(sheet, schedule)
        _offer(sheet, schedule, offers or {})
        sheet.freeze_panes = "B3"
        sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = (
            "landscape",
            1,
            0,
        )
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    for name, png in (pictures or {}).items():
        _add_picture(book.create_sheet(name), png)
    save_steady(book, path)


def sheet_title(words):
    """A title that a sheet of a workbook can have.

    Parameters
    ----------
    words : str
        Of any origin

    Returns
    -------
    title : str
        At most 31 characters, none of those that a spreadsheet keeps for itself
    """
    return NOT_IN_A_TITLE.sub(" ", as_text(words))[:31].strip(GUARD)


def save_steady(book, path):
    """Save an XLSX whose parts carry no time of their own.

    Parameters
    ----------
    book : openpyxl.Workbook
        What is written
    path : str or Path
        Where to

    Raises
    ------
    OSError
        It cannot be written
    """
    book.properties.creator, book.properties.created, book.properties.modified = (
        "gymtools",
        EPOCH,
        EPOCH,
    )
    made = io.BytesIO()
    try:
        book.save(made)
    except SerialisationError as error:  # its temporary file of a sheet met a full disk
        raise OSError(f"{path} could not be written: {error}") from error
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "docProps/core.xml":
                now = data.split(b"<dcterms:modified")[1].split(b">", 1)[1].split(b"<")[0]
                data = data.replace(now, b"2000-01-01T00:00:00Z")
            new.writestr(zipfile.ZipInfo(name, date_time=EPOCH.timetuple()[:6]), data)


def _dress(sheet, schedule):
    """Type and widths of columns."""
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet["A1"].font = Font(bold=True, size=14)
    for cell in sheet[2]:
        cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
    for n, column in enumerate(schedule.columns, 1):
        longest = max(
            [len(str(column)) / 2, *(len(str(row[n - 1])) for row in schedule.rows)], default=8
        )
        sheet.column_dimensions[get_column_letter(n)].width = min(longest + 2, WIDEST)
        sheet.column_dimensions[get_column_letter(n)].hidden = column in schedule.hidden


def _add_picture(sheet, png):
    """Put a picture on a sheet."""
    from openpyxl.drawing.image import Image

    sheet.add_image(Image(io.BytesIO(png)), "A1")


def _frame_blanks(sheet, schedule):
    """Frame the cells that are to be filled in, and have them hold text."""
    from openpyxl.styles import Border, Side
    from openpyxl.utils import get_column_letter

    thin = Side(style="thin", color="808080")
    for line, row in enumerate(schedule.rows, 3):
        for n, value in enumerate(row, 1):
            if value == "":
                cell = sheet.cell(line, n)
                cell.number_format, cell.border = "@", Border(thin, thin, thin, thin)
                width = sheet.column_dimensions[get_column_letter(n)]
                width.width = max(width.width, FILLED)


def _offer(sheet, schedule, offers):
    """Offer words in the cells for which there are some."""
    from openpyxl.worksheet.datavalidation import DataValidation

    for (title, row, column), words in offers.items():
        if title == schedule.title:
            formula = '"' + ",".join(words) + '"'
            choice = DataValidation(type="list", formula1=formula, showErrorMessage=False)
            sheet.add_data_validation(choice)
            choice.add(sheet.cell(row + 3, schedule.columns.index(column) + 1))
