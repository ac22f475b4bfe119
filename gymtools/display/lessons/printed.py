"""Published values beside computed ones."""

import math
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from html import escape

from ..tables import card


@dataclass(frozen=True)
class Printed:
    """One published value beside what this package computes."""

    what: str
    printed: str  # as the source prints it, so that it keeps its last digit
    computed: float
    source: str

    @property
    def fault(self):
        """Why the row does not hold; empty when it does."""
        if not self.source.strip():
            return "no source is named"
        try:
            value = Decimal(self.printed)
        except InvalidOperation:
            return "what is printed is not a number"
        half = 0.5 * 10.0 ** value.as_tuple().exponent if value.is_finite() else math.nan
        if not abs(self.computed - float(value)) <= half * (
            1 + 1e-9
        ):  # NaN fails; a tie may be rounded either way
            return "differs by more than half the last printed digit"
        return ""

    @property
    def shown(self):
        """The computed value with one digit more than the print."""
        try:
            places = max(0, -Decimal(self.printed).as_tuple().exponent) + 1
        except (InvalidOperation, TypeError):
            places = 3
        return f"{self.computed:.{places}f}"


@dataclass(frozen=True)
class PrintedTable:
    """Published values beside computed ones; a notebook shows it as a table."""

    rows: tuple = field(default=())

    @property
    def faults(self):
        """Rows that do not hold, as sentences."""
        return [f"{row.what}: {row.fault}" for row in self.rows if row.fault]

    def _repr_html_(self):
        cells = "".join(
            f'<tr><td>{escape(r.what)}</td><td class="num">{escape(r.printed)}</td><td'
            f' class="num">{r.shown}</td>'
            f"<td>{f'<b>{r.fault}</b>' if r.fault else 'agrees'}</td><td"
            f" class='quiet'>{escape(r.source)}</td></tr>"
            for r in self.rows
        )
        head = (
            '<tr><th>what</th><th class="num">printed</th><th'
            ' class="num">computed</th><th></th><th>source</th></tr>'
        )
        return card(
            f"<table><caption>Published values, computed again</caption>{head}{cells}</table>"
        )


def printed(rows):
    """Published values beside computed ones; a row that does not hold is marked, none is refused.

    Parameters
    ----------
    rows : sequence of tuple
        (what, value as printed, computed value, source) [-]

    Returns
    -------
    table : PrintedTable
        Its ``faults`` are empty when every row agrees to half its last printed digit

    Examples
    --------
    >>> printed([("equal levels add", "3.0", 3.0103, "definition")]).faults
    []
    """
    return PrintedTable(
        tuple(
            Printed(str(what), str(text), float(value), str(source))
            for what, text, value, source in rows
        )
    )
