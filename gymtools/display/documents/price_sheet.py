"""The price as a spreadsheet that calculates: a sheet for each option and a summary; whatever is
changed in a yellow cell changes every total that rests on it.
"""

from dataclasses import dataclass

from ...equipment.job_costs import BY_HOURS, CREW, DAY, OVERHEAD
from ...equipment.prices import in_units
from ...equipment.quote import HIGH_PCT, LOW_PCT, RESERVE_PCT, not_priced, phase
from ...venue.spreadsheets import as_text
from .exports import save_steady, sheet_title

PHASES = (1, 2, 3)
MARK = " *"  # of what may be changed, for those who do not see yellow
COLUMNS = (
    f"phase{MARK}",
    "kind",
    "item",
    f"quantity{MARK}",
    "unit",
    f"price of one{MARK}",
    "material",
    f"hours for one{MARK}",
    "hours",
    "labor",
    "total",
    "why so many",
    "price from",
)
WIDTHS = (8, 20, 34, 11, 17, 12, 13, 9, 9, 13, 14, 60, 34)  # [characters]
ASKED = "FFF6CC"  # of a cell that may be changed: pale yellow
WRAPPED = (2, 3, 12, 13)  # columns of words
LETTER, A4 = "1", "9"  # paper sizes of ECMA-376, part 1, 18.3.1.63 (from memory)
CHANGED = "What is marked * and on yellow may be changed: totals follow."
ALTERNATES = "Alternates: what may be added or left out. Type 1 to take one."
HOLDS = (
    "The phases are a proposal. What is predicted holds when all of them are done; until the"
    " treatment is there, the gym rings as it does now."
)
RATE, RESERVE, LOW, HIGH, YEAR, RISE, FITTERS, HOURS = (  # of the summary
    f"$B${row}" for row in range(6, 14)
)


@dataclass(frozen=True)
class _Sheet:
    """Where the totals of one option stand."""

    quote: object
    title: str
    total: str  # cells
    alternates: str
    phases: tuple

    def cell(self, cell):
        """A cell of it, for a formula on another sheet."""
        return f"'{self.title}'!{cell}"


def write_prices(quotes, path, *, school, units):
    """Write the price of every option as one XLSX.

    Parameters
    ----------
    quotes : sequence of Quote
        Of ``equipment.quote.quote``, the recommended option first, all of one price book
    path : str or Path
        Where to
    school : str
        Its name
    units : str
        Of lengths and areas, "ft" or "m"
    """
    from openpyxl import Workbook  # slow to load

    book = Workbook()
    summary = book.active
    summary.title = "Summary"
    sheets = [
        _write_option(book.create_sheet(_title_of(n, q)), q, school, units)
        for n, q in enumerate(quotes, 1)
    ]
    _write_summary(summary, sheets, school)
    for sheet in book:
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.paperSize = LETTER if units == "ft" else A4
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    save_steady(book, path)


def _title_of(number, quote):
    """Title of an option's sheet; spreadsheets do not agree how an apostrophe in it is written."""
    return sheet_title(f"{number} {quote.name}").replace("'", "\u2019").strip()


def money_format(currency, digits=2):
    """Number format of a spreadsheet for money.

    Parameters
    ----------
    currency : str
        Sign, which stands before the amount, or code, which stands behind; may be empty
    digits : int
        Decimals [-]

    Returns
    -------
    number_format : str
        As spreadsheets write it
    """
    number = f"#,##0.{'0' * digits}"
    said = currency.replace('"', "")
    if not said:
        return number
    return f'{number} "{said}"' if any(c.isalpha() for c in said) else f'"{said}"{number}'


# ---- one option


def _write_option(sheet, quote, school, units):
    """Write the bill of one option; gives where its totals stand."""
    from openpyxl.styles import Alignment

    _title(sheet, f"{school}: option {quote.name}", quote)
    _heads(sheet, 5, COLUMNS)
    first = 6
    kinds = list(dict.fromkeys(line.kind for line in quote.lines))  # those of a kind together
    for n, line in enumerate(sorted(quote.lines, key=lambda line: kinds.index(line.kind))):
        _write_line(sheet, first + n, phase(line), line, units, quote.currency)
    last = first + len(quote.lines) - 1
    total = last + 1
    _days_from_hours(sheet, first, last)
    _sum_row(sheet, total, first, last, quote.currency)
    phases = _write_phases(sheet, total + 2, (first, last), quote.currency)
    alternates = _write_alternates(sheet, total + 8, quote, units)
    for letter, width in zip("ABCDEFGHIJKLM", WIDTHS, strict=True):
        sheet.column_dimensions[letter].width = width
    for row in sheet.iter_rows(min_row=first, max_col=len(COLUMNS)):
        for cell in row:
            cell.alignment = Alignment(wrap_text=cell.column in WRAPPED, vertical="top")
    sheet.freeze_panes = "D6"
    return _Sheet(
        quote=quote, title=sheet.title, total=f"$K${total}", alternates=alternates, phases=phases
    )


def _title(sheet, words, quote):
    """First lines of a sheet: what it is, whose prices, what may be changed."""
    from openpyxl.styles import Font

    sheet["A1"], sheet["A1"].font = as_text(words), Font(bold=True, size=14)
    invented = " They are invented: put your own in before anybody sees a total."
    sheet["A2"] = as_text(f"Prices: {quote.book_name}.{invented if quote.invented else ''}")
    sheet["A3"] = CHANGED


def _heads(sheet, row, words, wrap=True):
    from openpyxl.styles import Alignment, Font

    for column, head in enumerate(words, 1):
        cell = sheet.cell(row, column, head)
        cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=wrap, vertical="top")


def _ask(cell, value):
    """A cell that may be changed."""
    from openpyxl.styles import PatternFill

    cell.value, cell.fill = value, PatternFill("solid", start_color=ASKED)
    return cell


def _write_line(sheet, row, first, line, units, currency):
    """One line of a bill: what is counted, and what follows from it as formulas."""
    quantity, unit, one = in_units(line, units)
    hours = line.hours / line.quantity * one
    _ask(sheet.cell(row, 1), first)
    sheet.cell(row, 2, as_text(line.kind))
    sheet.cell(row, 3, as_text(line.item))
    whole = float(quantity).is_integer()
    _ask(sheet.cell(row, 4), quantity).number_format = "#,##0" if whole else "#,##0.0"
    sheet.cell(row, 5, as_text(unit.replace("m2", "m²").replace("ft2", "ft²")))
    _ask(sheet.cell(row, 6), line.price * one).number_format = money_format(currency)
    sheet.cell(row, 7, f"=D{row}*F{row}").number_format = money_format(currency)
    _ask(sheet.cell(row, 8), hours).number_format = "0.00"
    sheet.cell(row, 9, f"=D{row}*H{row}").number_format = "#,##0.0"
    sheet.cell(row, 10, f"=I{row}*Summary!{RATE}").number_format = money_format(currency)
    sheet.cell(row, 11, f"=G{row}+J{row}").number_format = money_format(currency)
    sheet.cell(row, 12, as_text(line.why))
    sheet.cell(row, 13, as_text(line.source))


def _days_from_hours(sheet, first, last):
    """Days of lift and crew as formulas of the hours above them; they come last in a bill."""
    from openpyxl.styles import PatternFill

    follow = [row for row in range(first, last + 1) if sheet.cell(row, 2).value in BY_HOURS]
    if not follow or follow[0] == first:
        return
    above = follow[0] - 1
    # one sum for each kind: not every program takes a list of kinds in SUMIF
    held = f"$B${first}:$B${above}", f"$I${first}:$I${above}"
    overhead = "+".join(f'SUMIF({held[0]},"{kind}",{held[1]})' for kind in OVERHEAD)
    asked = {
        "scissor lift": (f"({overhead})", "hours of work overhead"),
        "day of the crew": (f"SUM({held[1]})", "hours on site"),
    }
    crew = f"Summary!{FITTERS}", f"Summary!{HOURS}"
    for row in follow:
        if sheet.cell(row, 3).value in asked:
            hours, words = asked[sheet.cell(row, 3).value]
            days = f"=ROUNDUP(ROUND({hours}/({crew[0]}*{crew[1]}),6),0)"
            sheet.cell(row, 4).value, sheet.cell(row, 4).fill = days, PatternFill()
            said = f'" {words} by "&{crew[0]}&" fitters, "&{crew[1]}&" hours a day"'
            sheet.cell(row, 12).value = f'=TEXT({hours},"0")&{said}'


def _sum_row(sheet, row, first, last, currency):
    """Totals of material, hours, labor and all."""
    from openpyxl.styles import Font

    sheet.cell(row, 2, "total")
    for column, letter in ((7, "G"), (9, "I"), (10, "J"), (11, "K")):
        cell = sheet.cell(row, column, f"=SUM({letter}{first}:{letter}{last})")
        cell.number_format = "#,##0.0" if letter == "I" else money_format(currency)
    for cell in sheet[row]:
        cell.font = Font(bold=True)


def _write_phases(sheet, row, lines, currency):
    """Subtotals by phase, at the prices of the year in which it is done; gives their cells."""
    first, last = lines
    _heads(
        sheet, row, ("phase", f"year it is done{MARK}", "", "", "", "", "", "", "", "today", "then")
    )
    found = []
    for n, number in enumerate(PHASES, 1):
        at = row + n
        sheet.cell(at, 1, number)
        _ask(sheet.cell(at, 2), None)
        today = f"=SUMIF(A{first}:A{last},A{at},K{first}:K{last})"
        sheet.cell(at, 10, today).number_format = money_format(currency)
        base, rise = f"Summary!{YEAR}", f"Summary!{RISE}"
        then = f'=IF(OR(B{at}="",{base}=""),J{at},J{at}*(1+{rise}/100)^(B{at}-{base}))'
        sheet.cell(at, 11, then).number_format = money_format(currency)
        found.append(f"$K${at}")
    sheet.cell(row + len(PHASES) + 1, 1, HOLDS)
    return tuple(found)


def _write_alternates(sheet, row, quote, units):
    """Lines that may be added or left out; gives the cell of what those that are taken cost."""
    _heads(sheet, row - 1, (ALTERNATES,), wrap=False)
    _heads(sheet, row, (f"take{MARK}", *COLUMNS[1:]))
    first = row + 1
    for n, line in enumerate(quote.alternates):
        _write_line(sheet, first + n, 0, line, units, quote.currency)
    last = max(first, first + len(quote.alternates) - 1)
    total = last + 1
    sheet.cell(total, 2, "alternates that are taken")
    words = f"=SUMPRODUCT(A{first}:A{last},K{first}:K{last})"
    sheet.cell(total, 11, words).number_format = money_format(quote.currency)
    return f"$K${total}"


# ---- the summary


def _write_summary(sheet, sheets, school):
    """Options side by side, with reserve and range, and their phases."""
    quote = sheets[0].quote
    _title(sheet, f"{school}: price of the sound system", quote)
    sheet["A5"] = "What all totals rest on"
    rows = (
        ("an hour of labor", quote.book.hour, money_format(quote.currency)),
        ("reserve for what is not known yet [%]", RESERVE_PCT, "0.0"),
        ("lowest to expect, below the total with its reserve [%]", LOW_PCT, "0.0"),
        ("highest to expect, above it [%]", HIGH_PCT, "0.0"),
        ("year of these prices", None, "0"),
        ("rise of prices in a year [%]", 0.0, "0.0"),
        ("fitters who work together", CREW, "0"),
        ("hours of their day [h]", DAY, "0.0"),
    )
    for n, (words, value, form) in enumerate(rows, 6):
        sheet.cell(n, 1, f"{words}{MARK}")
        _ask(sheet.cell(n, 2), value).number_format = form
    heads = ("option", "bill", "alternates taken", "reserve", "total", "from", "to")
    row = 15
    _heads(sheet, row, (*heads, "against the first"))
    for n, s in enumerate(sheets, row + 1):
        _write_total(sheet, n, s, row + 1)
    row += len(sheets) + 2
    _heads(sheet, row, ("phase", *(as_text(s.quote.name) for s in sheets)))
    for n, number in enumerate(PHASES):
        sheet.cell(row + 1 + n, 1, number)
        for column, s in enumerate(sheets, 2):
            cell = sheet.cell(row + 1 + n, column, f"={s.cell(s.phases[n])}")
            cell.number_format = money_format(quote.currency)
    for n, words in enumerate(_notes(quote), row + len(PHASES) + 2):
        sheet.cell(n, 1, as_text(words))
    sheet.column_dimensions["A"].width = 52
    for letter in "BCDEFGH":
        sheet.column_dimensions[letter].width = 18


def _write_total(sheet, row, option, first):
    """The row of one option."""
    cells = (
        f"={option.cell(option.total)}",
        f"={option.cell(option.alternates)}",
        f"=(B{row}+C{row})*{RESERVE}/100",
        f"=B{row}+C{row}+D{row}",
        f"=E{row}*(1-{LOW}/100)",
        f"=E{row}*(1+{HIGH}/100)",
        f"=E{row}-E${first}",
    )
    sheet.cell(row, 1, as_text(option.quote.name))
    for column, formula in enumerate(cells, 2):
        sheet.cell(row, column, formula).number_format = money_format(option.quote.currency)


def _notes(quote):
    """What stands below the totals."""
    notes = [
        HOLDS,
        "Reserve and range before bids are common practice, no source: set your own.",
        "Taxes are not included. Quantities are counted from the design; measure before ordering.",
    ]
    missing = not_priced(quote.book)
    if missing:
        notes.append(f"Without a price in {quote.book_name}, so not included: {'; '.join(missing)}")
    return notes
