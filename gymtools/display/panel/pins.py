"""The designs that are kept."""

from ...commissioning.plan_time import timed_parts
from ...design.options import option
from ...equipment.schedules import parts

MOST = 6  # options: more do not fit side by side
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


class Pins:
    """Kept designs, in order, each with a name of its own.

    Parameters
    ----------
    prices : ChosenPrices
        What the options are priced by
    draw : callable
        Called with the options to show them; where it fails the options stay as they were
    """

    def __init__(self, prices, draw):
        self.options, self._prices, self._draw = [], prices, draw
        self._watchers = []
        self.waiting = []  # names and scenarios that are kept as soon as they are evaluated

    @property
    def names(self):
        """Names of the options, in order."""
        return [o.name for o in self.options]

    @property
    def kept(self):
        """Names and scenarios of all of them, of those that wait too."""
        return [(o.name, o.scenario) for o in self.options] + self.waiting

    @property
    def full(self):
        """Whether there is room for no more."""
        return len(self.options) >= MOST

    @property
    def free_letter(self):
        """The first letter that names no option."""
        return next((letter for letter in LETTERS if letter not in self.names), "")

    def watch(self, callback):
        """Have something called after every change.

        Parameters
        ----------
        callback : callable
            Called with nothing
        """
        self._watchers.append(callback)

    def one(self, name):
        """An option by name.

        Parameters
        ----------
        name : str
            Of a kept design

        Returns
        -------
        option : Option
            The option
        """
        return next(o for o in self.options if o.name == name)

    def keep(self, name, scenario, rays="few"):
        """Keep a scenario.

        Parameters
        ----------
        name : str
            Of its own
        scenario : Scenario
            Evaluated in every use
        rays : str
            As for ``evaluate``

        Raises
        ------
        ValueError
            Where the name is missing or taken, there is room for no more, or the price book is
            refused or lacks a price
        """
        if not name:
            raise ValueError("a kept design needs a name. Give it one, or a letter.")
        if name in self.names:
            raise ValueError(
                f"there is a kept design '{name}'. Give another name, or remove it first."
            )
        if self.full:
            raise ValueError(f"at most {MOST} designs are kept. Remove one first.")
        self.take([*self.options, self._priced(name, scenario, rays)])

    def reprice(self):
        """Price every option by the price book that holds now.

        Raises
        ------
        ValueError
            Where it is refused, or lacks a price: all options stay as they were
        """
        self.take([self._priced(o.name, o.scenario, o.rays) for o in self.options])

    def _priced(self, name, scenario, rays):
        """An option at the price that its documents say."""
        book = self._prices.book
        made = timed_parts(parts(scenario, prices=book, rays=rays))
        return option(name, scenario, rays=rays, prices=book, made=made)

    def wait_for(self, designs):
        """Have designs that are pinned as soon as they are evaluated.

        Parameters
        ----------
        designs : list of tuple
            Names and scenarios
        """
        self.waiting = list(designs)
        for callback in self._watchers:
            callback()

    def drop(self, name):
        """Remove an option.

        Parameters
        ----------
        name : str
            Of a kept design
        """
        gone = self.one(name)
        self.take([o for o in self.options if o is not gone])

    def swap(self, pairs):
        """Put options in the place of others; those that are gone meanwhile are left out.

        Parameters
        ----------
        pairs : list of tuple
            (old, new)
        """
        # one that was removed meanwhile, or kept anew under its name, is another
        anew = {id(old): new for old, new in pairs}
        self.take([anew.get(id(o), o) for o in self.options])

    def take(self, options):
        """Have these options from now on; where they cannot be drawn everything stays as it was.

        Parameters
        ----------
        options : list of Option
            All of them
        """
        before, self.options = self.options, options
        try:
            self._draw()
        except Exception:
            self.options = before
            raise
        for callback in self._watchers:
            callback()
