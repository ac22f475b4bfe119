"""Price books: what one of everything costs, and the hours that it takes; CSV files that anybody
can edit.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from types import MappingProxyType

from ..physics.checks import within
from ..venue.reading_files import csv_rows, file_text, name_of, one_line, plain_number
from ..venue.renamed import PRICES, warn_renamed
from ..venue.units import FOOT

COLUMNS = ("kind", "item", "unit", "price", "hours", "source")
LABOR = ("labor", "hour")
CURRENCY = "currency"  # kind of the row whose item is the sign or code of the money
# units a row may have instead: what they stand for, and how much of it is one
IN_SI = {"ft": ("m", FOOT), "ft2": ("m2", FOOT**2)}
# a unit that is ordered whole, e.g. "box of 32 ft2"
BOX = re.compile(r"box of (\d+(?:\.\d+)?) (m|m2|ft|ft2)")
KIND = "price book"
LARGEST, MOST_ROWS, MOST_COLUMNS = 5_000_000, 20_000, 50  # of a price book [bytes, -, -]
LONGEST_WORDS = 300  # characters of a kind, an item or a unit
INVENTED = "gymtools' invented example prices"
TREATMENT = "treatment"
OTHER = "any other finish"  # item for a treatment whose finish has no row of its own


@dataclass(frozen=True, kw_only=True)
class Price:
    """One row of a price book."""

    kind: str
    item: str
    unit: str
    price: float  # for one unit, in the book's own currency
    hours: float  # of labor for one unit [h]
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of a bill."""

    kind: str
    item: str
    quantity: float
    unit: str
    price: float  # of one
    hours: float  # of labor in all [h]
    labor: float  # what these hours cost
    source: str = ""
    why: str = ""  # so many

    @property
    def total(self):
        """Material and labor."""
        return self.quantity * self.price + self.labor


class PriceBook:
    """Prices by kind and item.

    Parameters
    ----------
    prices : sequence of Price
        Rows; the hour of labor must be among them
    name : str
        For messages

    Raises
    ------
    ValueError
        A row stands there twice, the hour of labor is missing, or there are several currencies
    """

    def __init__(self, prices, name="price book"):
        rows = {}
        for p in prices:
            if (p.kind, p.item) in rows:
                raise ValueError(f"{name}: {p.kind} '{p.item}' stands there twice. Keep one row.")
            rows[p.kind, p.item] = p
        if LABOR not in rows:
            raise ValueError(
                f"{name}: there is no row 'labor,hour'. It says what an hour of work costs."
            )
        signs = [item for kind, item in rows if kind == CURRENCY]
        if len(signs) > 1:
            raise ValueError(f"{name}: there are several currencies: {', '.join(signs)}. Keep one.")
        self.name, self.currency = name, signs[0] if signs else ""
        self.prices = MappingProxyType(rows)  # Price by (kind, item); one book serves all designs

    def __reduce__(self):
        """Pickle the rows: a read-only mapping does not pickle."""
        return type(self), (tuple(self.prices.values()), self.name)

    def find(self, kind, item):
        """The row of a kind and item.

        Parameters
        ----------
        kind : str
            e.g. "loudspeaker"
        item : str
            e.g. a type's name

        Returns
        -------
        price : Price
            The row

        Raises
        ------
        ValueError
            There is none
        """
        if (kind, item) not in self.prices:
            raise ValueError(
                f"{self.name}: no price for {kind} '{item}'. Add a row that begins '{kind},{item}'."
            )
        return self.prices[kind, item]

    def line(self, kind, item, quantity, *, why=""):
        """A line of a bill.

        Parameters
        ----------
        kind, item : str
            As for ``find``; a finish without a row of its own is priced as any other
        quantity : float
            How many; lengths and areas in SI, whatever the row's unit [-, m or m2]
        why : str
            So many

        Returns
        -------
        line : Line
            With its labor, in the row's unit; boxes are whole

        Raises
        ------
        ValueError
            There is no such row
        """
        other = kind == TREATMENT and (kind, item) not in self.prices
        row = self.find(kind, OTHER if other else item)
        _, one, whole = counted_in(row.unit)
        quantity = float(quantity) / one  # also of an array: a record keeps it as JSON
        if whole:
            quantity = math.ceil(quantity - 1e-9)
        hours = quantity * row.hours
        labor = hours * self.prices[LABOR].price
        return Line(
            kind=kind,
            item=item,
            quantity=quantity,
            unit=row.unit,
            price=row.price,
            hours=hours,
            labor=labor,
            source=row.source,
            why=why,
        )

    @property
    def hour(self):
        """What an hour of labor costs [its currency]."""
        return self.prices[LABOR].price


def counted_in(unit):
    """What a unit of a price book stands for.

    Parameters
    ----------
    unit : str
        Of a row

    Returns
    -------
    si : str
        "m", "m2", or the unit itself
    one : float
        How much of it one unit is [si]
    whole : bool
        Whether it is ordered whole, in boxes

    Examples
    --------
    >>> counted_in("ft"), counted_in("box of 2.5 m2")
    (('m', 0.3048, False), ('m2', 2.5, True))
    """
    box = BOX.fullmatch(unit)
    size, inner = (float(box[1]), box[2]) if box else (1.0, unit)
    si, one = IN_SI.get(inner, (inner, 1.0))
    return si, size * one, bool(box)


def in_units(line, units):
    """What a line counts, in the units of the school.

    Parameters
    ----------
    line : Line
        Of a bill
    units : str
        "ft" or "m"

    Returns
    -------
    quantity : float
        How many [unit]
    unit : str
        "ft", "ft2", "m", "m2", or what the price book counts in; boxes are said to hold so much
    one : float
        How many of the line's own units one of these is [-]

    Examples
    --------
    >>> line = example_prices().line("treatment", "wall panels", 50.0)
    >>> in_units(line, "m")[:2]
    (17, 'box of 2.97 m2')
    """
    si, size, whole = counted_in(line.unit)
    other = {"m": "ft", "m2": "ft2"}.get(si) if units == "ft" else si
    if si not in ("m", "m2"):
        return line.quantity, line.unit, 1.0
    one = IN_SI[other][1] if units == "ft" else 1.0
    if whole:
        return line.quantity, f"box of {size / one:.3g} {other}", 1.0
    return line.quantity * size / one, other, one / size


def read_prices(path):
    """Read a price book.

    Parameters
    ----------
    path : str or Path
        CSV with the columns kind, item, unit, price, hours, source; the one of the package is the
        pattern, also for the units, where ft may stand for m and ft2 for m2

    Returns
    -------
    book : PriceBook
        Its name is the file's

    Raises
    ------
    ValueError
        One line that names file, row and column
    """
    text = file_text(path, KIND, LARGEST)
    return _book(text, name_of(path), example_prices())


def _book(text, name, pattern=None):
    table = csv_rows(text, name, most_rows=MOST_ROWS, most_columns=MOST_COLUMNS)
    head = [cell.strip() for cell in table[0][1]] if table else []
    missing = [c for c in COLUMNS[:-1] if c not in head]
    if missing:
        raise ValueError(
            f"{name}: missing column {', '.join(missing)}. The first line must be"
            f" {','.join(COLUMNS)}."
        )
    twice = [c for c in COLUMNS if head.count(c) > 1]
    if twice:
        raise ValueError(f"{name}: column {twice[0]} is there twice. Keep one.")
    rows = []
    for number, cells in table[1:]:
        where = f"{name}, line {number}"
        if len(cells) != len(head):
            raise ValueError(
                f"{where}: does not have {len(head)} values. Put text with commas in quotes."
            )
        rows.append(_price(dict(zip(head, cells, strict=True)), where))
        if pattern:
            _check_unit(rows[-1], where, pattern)
    return PriceBook(rows, name)


def _price(row, where):
    """One row, in today's words."""
    numbers = {}
    for key, high in (("price", 1e7), ("hours", 1e4)):
        try:
            within(key, row[key].strip(), 0, high, "")
            numbers[key] = plain_number(row[key])
        except ValueError as error:
            raise ValueError(f"{where}: {one_line(error)}") from None
    words = {k: one_line(row.get(k, "")).strip() for k in ("kind", "item", "unit", "source")}
    for key in ("kind", "item", "unit"):
        if len(words[key]) > LONGEST_WORDS:
            raise ValueError(
                f"{where}: {key} is longer than {LONGEST_WORDS} characters. Is a closing quote"
                " missing?"
            )
    written = words["kind"], words["item"]
    if written in PRICES:
        words |= dict(zip(("kind", "item"), PRICES[written], strict=True))
        warn_renamed(f"{where}: {','.join(written)}", ",".join(PRICES[written]))
    return Price(**numbers, **words)


def _check_unit(row, where, pattern):
    """Refuse a unit that the quantities of the bill are not counted in."""
    same = [
        counted_in(p.unit)[0]
        for p in pattern.prices.values()
        if p.kind == row.kind and (p.item == row.item or (row.kind, row.item) not in pattern.prices)
    ]
    known = list(
        dict.fromkeys([*same, *(other for other, (unit, _) in IN_SI.items() if unit in same)])
    )
    si, one, _ = counted_in(row.unit)
    if known and (si not in same or not one > 0):
        raise ValueError(
            f"{where}: unit '{row.unit}' of {row.kind} '{row.item}' must be {' or '.join(known)}:"
            " that is what the bill counts."
        )


def money(amount, currency, digits=0):
    """An amount of money in words.

    Parameters
    ----------
    amount : float
        In the price book's currency [currency]
    currency : str
        Its sign, which stands before the amount, or its code, which stands behind; empty where the
        price book names none
    digits : int
        Decimals [-]

    Returns
    -------
    words : str
        "$53,915", "53,915 EUR" or "53,915"

    Examples
    --------
    >>> money(-1200, "$"), money(1200, "EUR")
    ('-$1,200', '1,200 EUR')
    """
    number = f"{abs(amount):,.{digits}f}"
    minus = "-" if amount < 0 and float(number.replace(",", "")) else ""
    if not currency or any(c.isalpha() for c in currency):
        return f"{minus}{number} {currency}".rstrip()
    return f"{minus}{currency}{number}"


def currency_of(prices):
    """Sign or code of the money of a price book.

    Parameters
    ----------
    prices : PriceBook or None
        None stands for the package's invented one

    Returns
    -------
    currency : str
        Empty where the book names none
    """
    return (prices or example_prices()).currency


def book_name(prices):
    """What pages call a price book.

    Parameters
    ----------
    prices : PriceBook or None
        None stands for the package's invented one

    Returns
    -------
    name : str
        Its file's name, or words
    """
    return INVENTED if prices is None else prices.name


@lru_cache(maxsize=1)
def example_prices():
    """The price book of the package; every price in it is invented.

    Returns
    -------
    book : PriceBook
        To try things with, and as the pattern for one's own
    """
    return _book(
        resources.files("gymtools").joinpath("data", "prices.csv").read_text(encoding="utf-8"),
        "prices.csv",
    )
