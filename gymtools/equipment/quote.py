"""The price of one option: its bill, and what the school may add to it or leave out."""

from dataclasses import dataclass, replace

from .bill import THERE, bill, with_plan_time
from .job_costs import Counted
from .prices import TREATMENT, PriceBook, book_name, example_prices
from .signal import inputs

# of the bill, for what is not known yet    common practice, no source [%]
RESERVE_PCT = 10.0
# either way of the bill with its reserve, before bids    common practice, no source [%]
LOW_PCT, HIGH_PCT = 15.0, 20.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Quote:
    """What one option costs."""

    name: str  # of the option
    lines: tuple  # of the bill
    alternates: tuple  # Line: what may be added, or left out with a quantity below 0
    book: PriceBook
    book_name: str  # what pages call it

    @property
    def total(self):
        """Material and labor of the bill [the price book's currency]."""
        return sum(line.total for line in self.lines)

    @property
    def with_reserve(self):
        """The total and its reserve [the price book's currency]."""
        return self.total * (1 + RESERVE_PCT / 100)

    @property
    def price(self):
        """The total with its reserve in whole money, as it is printed; differences are of these
        [the price book's currency].
        """
        return round(self.with_reserve)

    @property
    def range(self):
        """Lowest and highest price to expect (2,) [the price book's currency]."""
        return (
            self.with_reserve * (1 - LOW_PCT / 100),
            self.with_reserve * (1 + HIGH_PCT / 100),
        )

    @property
    def currency(self):
        """Sign or code of the money; empty where the price book names none."""
        return self.book.currency

    @property
    def invented(self):
        """Whether the prices are the package's invented ones."""
        return self.book is example_prices()


def quote(name, scenario, prices=None, *, amplification=None, minutes=None):
    """Price an option.

    Parameters
    ----------
    name : str
        Of the option
    scenario : Scenario
        The design
    prices : PriceBook, optional
        The package's invented one when left out
    amplification : Amplification, optional
        Of ``amplify``, where it is at hand
    minutes : float, optional
        On site for the full test plan; estimated by rules when left out [min]

    Returns
    -------
    quote : Quote
        Without minutes its total is what ``bill.cost`` says

    Raises
    ------
    ValueError
        The price book has no row for something that the design needs
    """
    book = prices or example_prices()
    lines = bill(scenario, prices, amplification=amplification)
    if minutes is not None:
        lines = with_plan_time(lines, minutes)
    return Quote(
        name=name,
        lines=lines,
        alternates=_alternates(scenario, lines, book),
        book=book,
        book_name=book_name(prices),
    )


def not_priced(book):
    """What a job takes and a price book has no row for.

    Parameters
    ----------
    book : PriceBook
        The school's, or the package's

    Returns
    -------
    items : list of str
        Kind and item of each
    """
    kinds = {kind for kind, _ in book.prices}
    asked = {kind for kind, _ in example_prices().prices} - kinds
    return [
        f"{kind}: {item}"
        for kind, item in example_prices().prices
        if kind in asked and kind != "currency"
    ]


def _alternates(scenario, lines, book):
    """Lines that a school may add, or leave out."""
    wireless = dict.fromkeys(i.type for i in inputs(scenario) if i.wireless)
    more = [
        Counted(kind="microphone", item=kind, quantity=1, why="one more, for a second talker")
        for kind in wireless
    ]
    found = [book.line(c.kind, c.item, c.quantity, why=f"add: {c.why}") for c in more]
    for line in lines:
        if line.kind == "loudspeaker" and line.source != THERE:
            spare = book.line(line.kind, line.item, 1, why="add: a spare one, kept at the school")
            found.append(replace(spare, hours=0.0, labor=0.0))  # nobody hangs it
    for line in lines:
        if line.kind == TREATMENT:
            words = (
                "leave out: the gym then rings longer, and what is predicted no longer holds; days"
                " of lift and crew are left as they are"
            )
            found.append(
                replace(
                    line,
                    quantity=-line.quantity,
                    hours=-line.hours,
                    labor=-line.labor,
                    why=words,
                )
            )
    return tuple(found)
