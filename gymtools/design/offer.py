"""Options as a school compares them: what is heard in every use, and what it costs."""

from dataclasses import dataclass
from functools import partial

from ..equipment.amplification import Amplification
from ..equipment.prices import PriceBook
from ..equipment.quote import Quote, quote
from ..equipment.schedules import parts
from ..venue.arguments import kind_of
from ..venue.scenario import Scenario
from .comparing import chosen_first
from .losses import losses, standings


@dataclass(frozen=True, kw_only=True, eq=False)
class Offered:
    """One option with everything that is said of it."""

    name: str
    scenario: Scenario
    results: dict  # evaluations by use
    amplification: Amplification
    quote: Quote

    @property
    def fails(self):
        """What it does not reach: list of Standing, use by use."""
        return [s for r in self.results.values() for s in standings(r).values() if s.fails]

    def loses_against(self, other):
        """What it loses against another option.

        Parameters
        ----------
        other : Offered
            Of the same school

        Returns
        -------
        losses : list of tuple
            (Standing of the other, Standing of this one), of uses that both have
        """
        both = [name for name in self.results if name in other.results]
        return [p for name in both for p in losses(other.results[name], self.results[name])]


def offer(options, chosen=None, *, prices=None, rays="full", progress=None, stop=None):
    """Evaluate and price options.

    Parameters
    ----------
    options : dict
        Scenario by the name of each option
    chosen : str, optional
        Name of the one that is recommended; the first when left out
    prices : PriceBook, optional
        The package's invented one when left out
    rays : str
        As for ``evaluate``
    progress : callable, optional
        Called with the share that is done, 0 to 1
    stop : callable, optional
        Asked between two uses; when it answers true the work is given up

    Returns
    -------
    offered : tuple of Offered or None
        The recommended one first; None when it was stopped

    Raises
    ------
    ValueError
        There are no options, or the chosen one is none of them; they are of different gyms; prices
        of another kind, or without something that an option needs
    """
    names = chosen_first(options, chosen)
    if prices is not None:
        kind_of("prices", prices, PriceBook, "Give what read_prices(path) returns.")
    progress = progress or (lambda _: None)
    steps, done, made = sum(len(s.uses) for s in options.values()), 0, []
    for name in names:
        uses = len(options[name].uses)
        tell = partial(_tell, progress, done / steps, uses / steps)
        own = parts(options[name], prices=prices, rays=rays, progress=tell, stop=stop)
        if own is None:
            return None
        _ = [r.verdicts for r in own.results.values()]  # here, where it is waited for
        done += uses
        made.append(priced(name, own, prices))
    return tuple(made)


def _tell(progress, before, weight, share):
    """Progress of all options, from that of one."""
    progress(before + weight * share)


def priced(name, made, prices=None):
    """Price an option that is evaluated.

    Parameters
    ----------
    name : str
        Of the option
    made : Parts
        Its evaluations, and what drives it
    prices : PriceBook, optional
        The package's invented one when left out

    Returns
    -------
    offered : Offered
        Driven as these results ask

    Raises
    ------
    ValueError
        The price book lacks something that the option needs
    """
    return Offered(
        name=name,
        scenario=made.scenario,
        results=made.results,
        amplification=made.amplification,
        quote=quote(name, made.scenario, prices, amplification=made.amplification),
    )
