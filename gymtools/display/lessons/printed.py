"""Values from print or worked by hand, beside computed ones."""

import math
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from html import escape

from ..tables import card


@dataclass(frozen=True)
class Row:
    """One value from elsewhere beside what this package computes."""

    what: str
    given: str  # as the source gives it, so that it keeps its last digit
    computed: float
    source: str  # print, edition and page or table; or how it was worked

    @property
    def fault(self):
        """Why the row does not hold; empty when it does."""
        if not self.source.strip():
            return "no source is named"
        try:
            value = Decimal(self.given)
        except InvalidOperation:
            return "the given value is not a number"
        half = 0.5 * 10.0 ** value.as_tuple().exponent if value.is_finite() else math.nan
        if not abs(self.computed - float(value)) <= half * (
            1 + 1e-9
        ):  # NaN fails; a tie may be rounded either way
            return "differs by more than half the last digit"
        return ""

    @property
    def shown(self):
        """The computed value with one digit more than the given one."""
        try:
            places = max(0, -Decimal(self.given).as_tuple().exponent) + 1
        except (InvalidOperation, TypeError):
            places = 3
        return f"{self.computed:.{places}f}"


@dataclass(frozen=True, kw_only=True)
class ComparedTable:
    """Given values beside computed ones; a notebook shows it as a table."""

    rows: tuple  # of Row
    caption: str
    given: str  # heading of the given values
    source: str  # heading of their sources

    @property
    def faults(self):
        """Rows that do not hold, as sentences."""
        return [f"{row.what}: {row.fault}" for row in self.rows if row.fault]

    def _repr_html_(self):
        cells = "".join(
            f'<tr><td>{escape(r.what)}</td><td class="num">{escape(r.given)}</td><td'
            f' class="num">{r.shown}</td>'
            f"<td>{f'<b>{r.fault}</b>' if r.fault else 'agrees'}</td><td"
            f" class='quiet'>{escape(r.source)}</td></tr>"
            for r in self.rows
        )
        head = (
            f'<tr><th>what</th><th class="num">{self.given}</th><th'
            f' class="num">computed</th><th></th><th>{self.source}</th></tr>'
        )
        return card(f"<table><caption>{self.caption}</caption>{head}{cells}</table>")


def printed(rows, *, caption="Published values, computed again"):
    """Published values beside computed ones; a row that does not hold is marked, none is refused.

    Parameters
    ----------
    rows : sequence of tuple
        (what, value as printed, computed value, print with edition and page or table)
    caption : str
        Over the table, where the print is not the source itself

    Returns
    -------
    table : ComparedTable
        Its ``faults`` are empty when every row agrees to half its last digit

    Examples
    --------
    >>> printed([("first zero of J1", "3.83171", 3.831706, "table of zeros")]).faults
    []
    """
    return ComparedTable(rows=_rows(rows), caption=caption, given="printed", source="source")


def worked_by_hand(rows):
    """Values worked by hand beside computed ones, for what has no print to quote.

    Parameters
    ----------
    rows : sequence of tuple
        (what, value by hand, computed value, how it was worked)

    Returns
    -------
    table : ComparedTable
        Its ``faults`` are empty when every row agrees to half its last digit

    Examples
    --------
    >>> worked_by_hand([("equal levels add [dB]", "3.0", 3.0103, "10 lg 2")]).faults
    []
    """
    return ComparedTable(
        rows=_rows(rows), caption="Worked by hand, computed again", given="by hand", source="how"
    )


def _rows(rows):
    return tuple(
        Row(str(what), str(text), float(value), str(source)) for what, text, value, source in rows
    )
