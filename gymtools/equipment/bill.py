"""What a design costs: quantities from the scenario and its equipment, prices and hours from a
price book.
"""

from collections import Counter
from dataclasses import replace

from ..venue.units import area_text
from .amplification import amplify
from .assistive_listening import receivers
from .job_costs import (
    BY_HOURS,
    COMMISSIONING,
    ESTIMATED,
    METERS,
    USE_MEASURED,
    from_design,
    from_hours,
)
from .prices import TREATMENT, Line, example_prices
from .rack import rack_units
from .signal import EXTRA_UNITS, inputs, mixer, plates, processor

THERE = "stays as it is: nothing is bought"  # source of a line that costs nothing
BY_PLAN = "test plan, full form"  # item of the line that takes its time from the plan


def bill(scenario, prices=None, *, amplification=None):
    """What a design is made of and what it costs.

    Parameters
    ----------
    scenario : Scenario
        The design
    prices : PriceBook, optional
        The package's invented one when left out
    amplification : Amplification, optional
        Of ``amplify``, where it is at hand

    Returns
    -------
    lines : tuple of Line
        Loudspeakers and their hanging, amplifiers and cable, inputs, mixer, processor, rack,
        assistive listening, treatment that is not there yet, and what the job takes beside them, as
        far as the price book has a row for it; each item once. What is there already costs nothing:
        loudspeakers have lines that say so, of equipment there is none

    Raises
    ------
    ValueError
        The price book has no row for something that the design needs
    """
    book, tally, system, again = prices or example_prices(), _Tally(), None, []
    stay = {g.name for g in scenario.groups if g.existing}
    hung = [c for c in scenario.loudspeakers if c.group not in stay]
    _count_loudspeakers(hung, tally)
    if not scenario.equipment.existing:
        system = amplification or amplify(scenario, prices=book)
        _count_equipment(scenario, system, tally)
        again = _used_again(system, book)
    for t in scenario.treatments:
        if not t.existing:
            tally.count(TREATMENT, t.finish, t.area, _where(t, scenario.units))
    lines = tally.lines(book)
    lines += _priced(book, from_design(scenario, system, hung))
    return (*_staying(scenario), *again, *lines, *_priced(book, from_hours([*again, *lines])))


class _Tally:
    """How many of everything, and why so many."""

    def __init__(self):
        self._counted, self._reasons = Counter(), {}

    def count(self, kind, item, quantity, why):
        if quantity:
            self._counted[kind, item] += quantity
            self._reasons.setdefault((kind, item), []).append(why)

    def lines(self, book):
        counted = self._counted.items()
        return [book.line(*key, n, why=", ".join(self._reasons[key])) for key, n in counted]


def _priced(book, counted):
    """Lines of what a job takes, as far as they have a price: a book from before these lines
    prices the rest as it did.
    """
    priced = [c for c in counted if (c.kind, c.item) in book.prices]
    return [book.line(c.kind, c.item, c.quantity, why=c.why) for c in priced]


def _where(treatment, units):
    return f"{treatment.surface} {area_text(treatment.area, units)}"


def _count_loudspeakers(hung, tally):
    """Loudspeakers that are bought, and how they are hung."""
    for c in hung:
        tally.count("loudspeaker", c.type.name, 1, c.tag)
        tally.count("hanging point", "rated hardware with second safety", 1, c.tag)
    tally.count("hanging point", "engineer's approval", bool(hung), "once for the job")


def _staying(scenario):
    """Lines of the loudspeakers that hang there already."""
    stay = Counter()
    for g in scenario.groups:
        if g.existing:
            stay[there_already(g.loudspeaker, g.condition)] += g.number
    free = dict(
        kind="loudspeaker", unit="each", price=0.0, hours=0.0, labor=0.0, source=THERE, why=THERE
    )
    return [Line(item=item, quantity=n, **free) for item, n in stay.items()]


def _used_again(amplification, book):
    """Lines of amplifiers and cable that are there already: nothing is bought, and only amplifiers
    take the work that a new one takes.
    """
    equipment, found = amplification.scenario.equipment, Counter()
    for name in amplification.reused:
        item = amplification.amplifiers[name].name
        row = book.line("amplifier", item, 1) if ("amplifier", item) in book.prices else None
        work = (row.hours, row.labor) if row else (0.0, 0.0)
        found["amplifier", there_already(item, equipment.existing_condition), "each", work] += 1
    for c in (c for c in amplification.channels if c.existing_cable):
        item = there_already(c.conductor, equipment.wired(c.group).cable_condition)
        found["cable", item, "m", (0.0, 0.0)] += c.length
    return [
        Line(
            kind=kind,
            item=item,
            quantity=n,
            unit=unit,
            price=0.0,
            hours=n * hours,
            labor=n * labor,
            source=THERE,
            why=THERE,
        )
        for (kind, item, unit, (hours, labor)), n in sorted(found.items())
    ]


def there_already(item, condition):
    """What schedules and bills call something that is used again.

    Parameters
    ----------
    item : str
        Its name
    condition : str
        How it was found; may be empty

    Returns
    -------
    words : str
        E.g. "12 AWG (there already, tested)"
    """
    return f"{item} (there already{', ' + condition if condition else ''})"


def _count_equipment(scenario, amplification, tally):
    """Amplifiers and cable, and all that stands before them."""
    for name, amplifier_type in amplification.amplifiers.items():
        tally.count("amplifier", amplifier_type.name, name not in amplification.reused, name)
    for c in amplification.channels:
        taps = len(c.tags) if c.line_volts else 0
        new = 0.0 if c.existing_cable else c.length
        tally.count("cable", c.conductor, new, c.cable)
        tally.count("line transformer", "at a loudspeaker", taps, c.cable)
    for i in inputs(scenario):
        tally.count("microphone", i.type, 1, i.name)
    tally.count("mixer", mixer(scenario).kind, 1, mixer(scenario).reason)
    needs, outlets = processor(scenario, amplification), plates(scenario)
    goes_in, comes_out = needs["inputs"], needs["outputs"]
    words = f"{goes_in} inputs and {comes_out} outputs"
    tally.count("processor", "inputs and outputs", goes_in + comes_out, words)
    tally.count("wall plate", "microphone or line", len(outlets), "; ".join(outlets))
    filled, high = rack_units(amplification, EXTRA_UNITS)
    # all of the rack is bought; of several at least what they hold
    tally.count("rack", "rack with doors and power", high or filled, f"{filled} units are filled")
    tally.count("fire alarm", "muting contact", 1, "once for the job")
    whole, compatible = receivers(scenario.seats)
    seats = f"{scenario.seats} seats, 2010 ADA Standards 219.3"
    tally.count("assistive listening", "transmitter and antenna", bool(whole), "once for the job")
    tally.count("assistive listening", "receiver", whole, seats)
    tally.count("assistive listening", "neck loop", compatible, seats)
    tally.count("commissioning", "measurement and setting up", 1, "once for the job")


def with_plan_time(lines, minutes):
    """A bill whose measuring takes the time that the test plan says.

    Parameters
    ----------
    lines : sequence of Line
        Of ``bill``
    minutes : float
        On site for the full form of the plan, two people [min]

    Returns
    -------
    lines : tuple of Line
        One line for the plan in place of those that estimate its readings, at the same wage; days
        of the crew follow. Unchanged where nothing is estimated: equipment that is there already, a
        price book from before those lines, a bill that has the plan's line
    """
    if not estimates_readings(lines):
        return tuple(lines)
    estimated = [x for x in lines if x.kind == COMMISSIONING and x.item in ESTIMATED]
    first, found = _plan_line(estimated, minutes), []
    for line in lines:
        if line is estimated[0]:
            found.append(first)
        elif line not in estimated:
            found.append(line)
    days = {c.item: c for c in from_hours([x for x in found if x.kind not in BY_HOURS])}
    return tuple(_for_days(x, days[x.item]) if x.kind in BY_HOURS else x for x in found)


def estimates_readings(lines):
    """Whether a bill estimates the time of the test plan's readings.

    Parameters
    ----------
    lines : sequence of Line
        Of a bill

    Returns
    -------
    estimates : bool
        False where they are not priced, or priced by the plan's own time
    """
    return any((x.kind, x.item) == (COMMISSIONING, USE_MEASURED) for x in lines)


def _plan_line(estimated, minutes):
    """The line of the test plan, at the wage of the lines that it replaces."""
    hours = METERS * minutes / 60
    wage = sum(x.labor for x in estimated) / (sum(x.hours for x in estimated) or 1.0)
    return Line(
        kind=COMMISSIONING,
        item=BY_PLAN,
        quantity=minutes / 60,
        unit="hour on site",
        price=0.0,
        hours=hours,
        labor=hours * wage,
        source="the test plan's own time",
        why=f"{minutes:.0f} minutes on site for {METERS} people, all readings of the full form",
    )


def _for_days(line, counted):
    """A line of lift or travel with as many days as are counted now."""
    share = counted.quantity / line.quantity
    return replace(
        line,
        quantity=counted.quantity,
        hours=line.hours * share,
        labor=line.labor * share,
        why=counted.why,
    )


def cost(scenario, prices=None, *, amplification=None):
    """What a design costs in all.

    Parameters
    ----------
    scenario : Scenario
        The design
    prices : PriceBook, optional
        The package's invented one when left out
    amplification : Amplification, optional
        Of ``amplify``, where it is at hand

    Returns
    -------
    total : float
        Material and labor, measuring estimated by rules [the price book's currency]
    """
    return sum(line.total for line in bill(scenario, prices, amplification=amplification))
