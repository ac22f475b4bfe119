"""The price book that everything in the panel is priced by."""

from pathlib import Path

from ...equipment.prices import read_prices


class ChosenPrices:
    """One price book for all sections; one that is refused leaves none in force.

    Parameters
    ----------
    folder : str or Path
        In which price books are looked for
    """

    def __init__(self, folder):
        self._folder, self._book, self.refusal = Path(folder), None, ""

    def read(self, name):
        """Take the price book of a file.

        Parameters
        ----------
        name : str
            Of a file in the folder; empty for the package's invented prices
        """
        self._book, self.refusal = None, ""
        try:
            self._book = read_prices(self._folder / name) if name else None
        except (ValueError, OSError) as error:
            self.refusal = str(error)

    @property
    def book(self):
        """The price book (PriceBook), None for the package's invented one; ValueError while one
        that is refused is asked for, since nothing is priced by another than the one that is
        named.
        """
        if self.refusal:
            raise ValueError(self.refusal)
        return self._book
