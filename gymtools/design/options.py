"""Options side by side: headline figures over all uses, and which option another one betters in
everything.
"""

from dataclasses import dataclass, replace

from ..acoustics.criteria import CRITERIA, in_sentence
from ..equipment.prices import INVENTED, book_name, currency_of, money
from ..venue.scenario import Scenario
from ..venue.units import area_text
from .arrangements import OFFERED, arrange
from .sweeping import column, figures
from .treatment import treated

AS_IT_IS = "as it is"
LOWER = (0.5, 1.0, 1.5)  # than the loudspeakers hang [m]
# wall panels, round in the units of the school [m2]
PANELS = {"m": (50.0, 100.0, 200.0), "ft": tuple(ft2 * 0.3048**2 for ft2 in (500, 1000, 2000))}


@dataclass(frozen=True, kw_only=True)
class Headline:
    """A figure that options are compared by: the worst of all uses, rounded as it is shown."""

    key: str  # of the criterion, or of the whole design
    words: str
    unit: str
    digits: int
    better: int  # 1: more is better, -1: less is better

    @classmethod
    def of(cls, criterion, where="use"):
        """Headline of a criterion.

        Parameters
        ----------
        criterion : str
            Key of ``CRITERIA``
        where : str
            What the worst is taken of

        Returns
        -------
        headline : Headline
            With the criterion's own label, unit, decimals and direction
        """
        c = CRITERIA[criterion]
        words = f"{in_sentence(c.label)}, worst {where}"
        return cls(key=criterion, words=words, unit=c.unit, digits=c.digits, better=c.better)

    def text(self, value, currency=""):
        """A value as it is shown, without its unit but with the sign of its money.

        Parameters
        ----------
        value : float or None
            Value [its unit]
        currency : str
            Sign or code of what costs are in

        Returns
        -------
        words : str
            "none" where there is nothing to judge
        """
        if value is None:
            return "none"
        if self.key == "cost":
            return money(value, currency)
        return f"{value:,.0f}" if self.digits == 0 else f"{value:.{self.digits}f}"


HEADLINES = (
    Headline(key="cost", words="cost", unit="", digits=0, better=-1),
    Headline(key="failing", words="checks that fail", unit="", digits=0, better=-1),
    Headline.of("sti"),
    Headline.of("coverage_range"),
    Headline.of("feedback_margin", "microphone"),
    Headline.of("on_listeners"),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Option:
    """A design that is kept to be compared."""

    name: str
    scenario: Scenario
    headlines: dict  # by the keys of ``HEADLINES``; None where there is nothing to judge
    row: dict  # all figures, as of ``sweeping.figures``
    room: str  # in which they are judged
    rays: str = "full"  # with which they are; "" by formula
    prices: str = INVENTED  # name of the price book that it is priced by
    currency: str = ""  # sign or code of its money

    def text(self, key):
        """A headline figure as it is shown.

        Parameters
        ----------
        key : str
            One of ``HEADLINES``

        Returns
        -------
        words : str
            Costs with their currency
        """
        (headline,) = (h for h in HEADLINES if h.key == key)
        return headline.text(self.headlines[key], self.currency)


def option(name, scenario, *, room="traced", rays="full", prices=None, minutes=None):
    """Keep a design as an option.

    Parameters
    ----------
    name : str
        What it is called
    scenario : Scenario
        The design
    room, rays : str
        As for ``evaluate``
    prices : PriceBook, optional
        The package's invented one when left out
    minutes : float, optional
        As for ``bill.cost`` [min]

    Returns
    -------
    option : Option
        Evaluated in all its uses

    Raises
    ------
    ValueError
        As ``sweeping.figures``
    """
    row = figures(scenario, room, prices, rays, minutes=minutes)
    return Option(
        name=name,
        scenario=scenario,
        headlines=headlines(row),
        row=row,
        room=room,
        rays=row["rays"],
        prices=book_name(prices),
        currency=currency_of(prices),
    )


def headlines(row):
    """Headline figures of a row of ``figures`` or ``sweep``.

    Parameters
    ----------
    row : dict
        Figures of all uses; of a variation that was not refused

    Returns
    -------
    headlines : dict
        By the keys of ``HEADLINES``, rounded as they are shown
    """
    whole, found = {"cost": row["cost"], "failing": row["checks"] - row["met"] - row["close"]}, {}
    for h in HEADLINES:
        if h.key in whole:
            values = [whole[h.key]]
        else:
            ending = column("", h.key)
            values = [v for k, v in row.items() if k.endswith(ending) and v is not None]
        found[h.key] = round((min if h.better > 0 else max)(values), h.digits) if values else None
    return found


def dominated_by(one, others):
    """The first of some designs that is at least as good in every headline and better in one.

    Parameters
    ----------
    one : dict
        Headlines
    others : dict
        Headlines by name

    Returns
    -------
    name : str or None
        None when no other betters it; what only one of two has a figure for (the feedback margin of
        a microphone) leaves both
    """
    for name, other in others.items():
        pairs = [(one[h.key], other[h.key], h.better) for h in HEADLINES]
        if any((a is None) != (b is None) for a, b, _ in pairs):
            continue
        gains = [(b - a) * better for a, b, better in pairs if a is not None]
        if gains and min(gains) >= 0 and max(gains) > 0:
            return name
    return None


def dominated(options):
    """Which options another one betters in everything; figures are compared with those of the same
    room and rays only.

    Parameters
    ----------
    options : sequence of Option
        All that are shown

    Returns
    -------
    names : list of str or None
        For each option the name of one that betters it, or None
    """
    return [
        dominated_by(
            o.headlines,
            {
                x.name: x.headlines
                for x in options
                if x is not o and (x.room, x.rays) == (o.room, o.rays)
            },
        )
        for o in options
    ]


def choices(scenario):
    """What a designer may want to see all combinations of.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    axes : dict
        For ``sweep``: by axis, choices by their words; the first of each leaves it as it is
    """
    arranged = {a.title: _arranged(key) for key, a in OFFERED.items()}
    other = {name: _every_group(loudspeaker=name) for name in scenario.loudspeaker_types}
    lower = {f"{scenario.say(by)} lower": _lower(by) for by in LOWER}
    panels = {
        f"{area_text(area, scenario.units)} more": _panels(area) for area in PANELS[scenario.units]
    }
    return {
        "arrangement": {AS_IT_IS: {}, **arranged},
        "loudspeakers": {AS_IT_IS: {}, **other},
        "height": {AS_IT_IS: {}, **lower},
        "treatment": {AS_IT_IS: {}, **panels},
    }


def _arranged(key):
    return lambda s: arrange(s, key)


def _every_group(**values):
    return lambda s: replace(s, groups=tuple(replace(g, **values) for g in s.groups))


def _lower(by):
    return lambda s: replace(s, groups=tuple(replace(g, height=g.height - by) for g in s.groups))


def _panels(area):
    return lambda s: treated(s, area)
