"""The price book that everything in the panel is priced by."""

from pathlib import Path

from ...equipment.prices import currency_of, read_prices


class ChosenPrices:
    """One price book for all sections; one that is refused leaves none in force.

    Parameters
    ----------
    folder : str or Path
        In which price books are looked for
    """

    def __init__(self, folder):
        self._folder, self._book, self.refusal, self.name = Path(folder), None, "", ""

    def read(self, name):
        """Take the price book of a file.

        Parameters
        ----------
        name : str
            Of a file in the folder; empty for the package's invented prices
        """
        self._book, self.refusal, self.name = None, "", name
        try:
            self._book = read_prices(self._folder / name) if name else None
        except (ValueError, OSError) as error:
            self.refusal = str(error)

    @property
    def currency(self):
        """Sign or code of the money that everything is priced in; empty where it has none."""
        return "" if self.refusal else currency_of(self._book)

    @property
    def book(self):
        """The price book that is asked for.

        Returns
        -------
        book : PriceBook or None
            None for the package's invented one

        Raises
        ------
        ValueError
            It is refused: no other one stands in for it
        """
        if self.refusal:
            raise ValueError(self.refusal)
        return self._book
