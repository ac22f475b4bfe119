"""The price as a spreadsheet that calculates: a sheet for each option and a summary; whatever is
changed in a yellow cell changes every total that rests on it.
"""

from dataclasses import dataclass

from ...equipment.job_costs import (
    BY_HOURS,
    CREW,
    CREW_DAY,
    DAY,
    DELIVERY,
    LIFT,
    OVERHEAD,
    phase,
)
from ...equipment.prices import in_units
from ...equipment.quote import HIGH_PCT, LOW_PCT, RESERVE_PCT, not_priced
from ...venue.spreadsheets import as_text
from .exports import save_steady, sheet_title

PHASES = (1, 2, 3)
OTHER = "other"  # row of what has none of these phases
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
WIDTHS = (8, 20, 34, 11, 17, 12, 13, 9, 9, 13, 14, 60, 34, 8)  # [characters]
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
    phases: tuple  # of each phase, and of what has none: its row

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
    number = f"#,##0.{'0' * digits}".rstrip(".")
    said = currency.replace('"', "")
    if not said:
        return number
    return f'{number} "{said}"' if any(c.isalpha() for c in said) else f'"{said}"{number}'


# ---- one option


def _write_option(sheet, quote, school, units):
    """Write the bill of one option; gives where its totals stand."""
    _title(sheet, f"{school}: option {quote.name}", quote)
    _heads(sheet, 5, COLUMNS)
    first = 6
    kinds = list(dict.fromkeys(line.kind for line in quote.lines))  # those of a kind together
    lines = sorted(quote.lines, key=lambda line: (line.kind in BY_HOURS, kinds.index(line.kind)))
    above = sum(line.kind not in BY_HOURS for line in lines)
    for n, line in enumerate(lines[:above]):
        _write_line(sheet, first + n, line, units, quote.currency)
        _ask(sheet.cell(first + n, 1), phase(line))
    counted = first, first + above - 1  # rows whose hours decide on lift and travel
    days = [(line, at) for line in lines[above:] for at in (*PHASES, OTHER)]
    for n, (line, at) in enumerate(days, first + above):
        _write_line(sheet, n, line, units, quote.currency)
        _days_from_hours(sheet, n, at, counted)
    last = first + above + len(days) - 1
    total = last + 1
    _sum_row(sheet, total, first, last, quote.currency)
    below = total + 2 + len(PHASES) + 5
    alternates = _write_alternates(sheet, below, quote, units, counted)
    phases = _write_phases(sheet, total + 2, (first, last), (counted, alternates), quote.currency)
    _widen(sheet, first)
    return _Sheet(quote=quote, title=sheet.title, total=f"$K${total}", phases=phases)


def _widen(sheet, first):
    """Widths of the columns, and words that wrap."""
    from openpyxl.styles import Alignment

    for letter, width in zip("ABCDEFGHIJKLMN", WIDTHS, strict=True):
        sheet.column_dimensions[letter].width = width
    for row in sheet.iter_rows(min_row=first, max_col=len(COLUMNS)):
        for cell in row:
            cell.alignment = Alignment(wrap_text=cell.column in WRAPPED, vertical="top")
    sheet.freeze_panes = "D6"


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


def _write_line(sheet, row, line, units, currency):
    """One line of a bill: what is counted, and what follows from it as formulas."""
    quantity, unit, one = in_units(line, units)
    hours = line.hours / line.quantity * one
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


def _days_from_hours(sheet, row, at, counted):
    """Lift, delivery and days of the crew in one phase, from the hours of the lines above."""
    from openpyxl.styles import PatternFill

    item, (fitters, hours) = sheet.cell(row, 3).value, (f"Summary!{FITTERS}", f"Summary!{HOURS}")
    overhead = "+".join(_hours(counted, at, kind) for kind in OVERHEAD)
    asked = {
        LIFT: (overhead, "hours of work overhead"),
        DELIVERY: (overhead, ""),
        CREW_DAY: (_hours(counted, at), "hours on site"),
    }
    worked, words = asked[item]
    days = f"ROUNDUP(ROUND(({worked})/({fitters}*{hours}),6),0)"
    sheet.cell(row, 1).value = at
    amount = sheet.cell(row, 4)
    amount.value = f"=IF(ROUND({worked},6)>0,1,0)" if item == DELIVERY else f"={days}"
    amount.number_format, amount.fill = "#,##0", PatternFill()
    if words:
        said = f'" {words} by "&{fitters}&" fitters, "&{hours}&" hours a day"'
        sheet.cell(row, 12).value = f'=TEXT({worked},"0")&{said}'
    else:
        sheet.cell(row, 12).value = "once a phase; the boards spread its load on the floor"
    if item == CREW_DAY:  # a larger crew spends more hours on the way
        way = sheet.cell(row, 8)
        way.value = f"={way.value / CREW!r}*{fitters}"


def _hours(counted, at, kind=None):
    """Formula of the hours of one phase, or of what has none; of one kind or of all."""
    first, last = counted
    hours, kinds = f"$I${first}:$I${last}", f"$B${first}:$B${last}"
    phases = f"$A${first}:$A${last}"
    of_kind = f',{kinds},"{kind}"' if kind else ""
    if at != OTHER:
        return f"SUMIFS({hours},{phases},{at}{of_kind})"
    whole = f'SUMIF({kinds},"{kind}",{hours})' if kind else f"SUM({hours})"
    return f"({whole}-{'-'.join(_hours(counted, n, kind) for n in PHASES)})"


def _sum_row(sheet, row, first, last, currency):
    """Totals of material, hours, labor and all."""
    from openpyxl.styles import Font

    sheet.cell(row, 2, "total")
    for column, letter in ((7, "G"), (9, "I"), (10, "J"), (11, "K")):
        cell = sheet.cell(row, column, f"=SUM({letter}{first}:{letter}{last})")
        cell.number_format = "#,##0.0" if letter == "I" else money_format(currency)
    for cell in sheet[row]:
        cell.font = Font(bold=True)


def _write_phases(sheet, row, lines, others, currency):
    """What is paid in each phase, at the prices of the year in which it is done; gives the rows."""
    (first, last), (counted, (alternates, end)) = lines, others
    heads = ("phase", f"year it is done{MARK}", "", "", "bill", "alternates", "reserve")
    _heads(sheet, row, (*heads, "", "", "today", "then"))
    base, rise, rows = f"Summary!{YEAR}", f"Summary!{RISE}", []
    found = f"$A${first}:$A${last}", f"$K${first}:$K${last}"
    takes, costs, at_phase = (f"${c}${alternates}:${c}${end}" for c in "AKN")
    for at, number in enumerate((*PHASES, OTHER), row + 1):
        sheet.cell(at, 1, number)
        if number != OTHER:
            _ask(sheet.cell(at, 2), None)
        ours = (
            f"SUMIF({found[0]},A{at},{found[1]})",
            f"SUMPRODUCT({takes},{costs},--({at_phase}=A{at}))",
        )
        if number == OTHER:
            ours = (
                f"SUM({found[1]})-SUM(E{row + 1}:E{at - 1})",
                f"SUMPRODUCT({takes},{costs})-SUM(F{row + 1}:F{at - 1})",
            )
            sheet.cell(at, 3, _stray(counted))
        cells = {
            5: f"={ours[0]}",
            6: f"={ours[1]}",
            7: f"=(E{at}+F{at})*Summary!{RESERVE}/100",
            10: f"=E{at}+F{at}+G{at}",
            11: f'=IF(OR(B{at}="",{base}=""),J{at},J{at}*(1+{rise}/100)^(B{at}-{base}))',
        }
        for column, formula in cells.items():
            sheet.cell(at, column, formula).number_format = money_format(currency)
        rows.append(at)
    sheet.cell(rows[-1] + 1, 2, "all phases")
    for letter in "EFGJK":
        cell = sheet[f"{letter}{rows[-1] + 1}"]
        cell.value = f"=SUM({letter}{rows[0]}:{letter}{rows[-1]})"
        cell.number_format = money_format(currency)
    sheet.cell(rows[-1] + 2, 1, HOLDS)
    return tuple(rows)


def _stray(counted):
    """Formula that says how many lines have a phase that is none."""
    phases = f"$A${counted[0]}:$A${counted[1]}"
    known = "".join(f"-COUNTIF({phases},{n})" for n in PHASES)
    count = f"ROWS({phases}){known}"
    return (
        f'=IF({count}=0,"check: every line has a phase of 1 to {PHASES[-1]}",'
        f'"CHECK: "&({count})&" lines have another phase; they are counted here, as of today")'
    )


def _write_alternates(sheet, row, quote, units, counted):
    """Lines that may be added or left out, in the phase of what they change; gives their rows."""
    _heads(sheet, row - 1, (ALTERNATES,), wrap=False)
    _heads(sheet, row, (f"take{MARK}", *COLUMNS[1:], "phase"))
    items = [[sheet.cell(n, c).value for c in (2, 3)] for n in range(counted[0], counted[1] + 1)]
    first = row + 1
    for n, line in enumerate(quote.alternates, first):
        _write_line(sheet, n, line, units, quote.currency)
        _ask(sheet.cell(n, 1), 0)
        own = [as_text(line.kind), as_text(line.item)]
        follows = f"=A{counted[0] + items.index(own)}" if own in items else phase(line)
        sheet.cell(n, len(COLUMNS) + 1).value = follows
    return first, max(first, first + len(quote.alternates) - 1)


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
    heads = ("option", "bill", "alternates taken", "reserve", "rise of prices", "total")
    row = 15
    _heads(sheet, row, (*heads, "from", "to", "against the first"))
    for n, s in enumerate(sheets, row + 1):
        _write_total(sheet, n, s, row + 1)
    row += len(sheets) + 2
    _heads(sheet, row, ("phase, with reserve", *(as_text(s.quote.name) for s in sheets)))
    for n, number in enumerate((*PHASES, OTHER)):
        sheet.cell(row + 1 + n, 1, number)
        for column, s in enumerate(sheets, 2):
            cell = sheet.cell(row + 1 + n, column, f"={s.cell(f'$K${s.phases[n]}')}")
            cell.number_format = money_format(quote.currency)
    for n, words in enumerate(_notes(quote), row + len(PHASES) + 3):
        sheet.cell(n, 1, as_text(words))
    sheet.column_dimensions["A"].width = 52
    for letter in "BCDEFGHI":
        sheet.column_dimensions[letter].width = 18


def _write_total(sheet, row, option, first):
    """The row of one option; whole money, and the difference of what is shown, as in the letter."""
    today, then = (f"{option.cell(f'${c}${option.phases[-1] + 1}')}" for c in "JK")
    cells = (
        f"={option.cell(option.total)}",
        f"={option.cell(f'$F${option.phases[-1] + 1}')}",
        f"=(B{row}+C{row})*{RESERVE}/100",
        f"={then}-{today}",
        f"=B{row}+C{row}+D{row}+E{row}",
        f"=F{row}*(1-{LOW}/100)",
        f"=F{row}*(1+{HIGH}/100)",
        f"=ROUND(F{row},0)-ROUND(F${first},0)",
    )
    sheet.cell(row, 1, as_text(option.quote.name))
    for column, formula in enumerate(cells, 2):
        whole = money_format(option.quote.currency, 0)
        cell = sheet.cell(row, column, formula)
        cell.number_format = whole if column > 5 else money_format(option.quote.currency)


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
