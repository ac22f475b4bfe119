"""What a design costs: quantities from the scenario and its equipment, prices and hours from a
price book.
"""

from collections import Counter

from .amplification import amplify
from .assistive_listening import receivers
from .prices import OTHER, Line, example_prices
from .rack import rack_units
from .signal import EXTRA_UNITS, inputs, mixer, plates, processor

THERE = "stays as it is: nothing is bought"  # source of a line that costs nothing


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
        assistive listening, and treatment that is not there yet; each item once. What is there
        already costs nothing: loudspeakers have lines that say so, of equipment there is none
    """
    book = prices or example_prices()
    counted, again = Counter(), []
    _count_loudspeakers(scenario, counted)
    if not scenario.equipment.existing:
        amplification = amplification or amplify(scenario, prices=book)
        _count_equipment(scenario, amplification, counted)
        again = _used_again(amplification, book)
    for t in scenario.treatments:
        if not t.existing:
            item = t.finish if ("treatment", t.finish) in book.prices else OTHER
            counted["treatment", item] += t.area
    bought = [book.line(kind, item, n) for (kind, item), n in counted.items() if n]
    return (*_staying(scenario), *again, *bought)


def _count_loudspeakers(scenario, counted):
    """Loudspeakers that are bought, and how they are hung."""
    stay = {g.name for g in scenario.groups if g.existing}
    new = [c for c in scenario.loudspeakers if c.group not in stay]
    for c in new:
        counted["loudspeaker", c.type.name] += 1
        counted["hanging point", "rated hardware with second safety"] += 1
    counted["hanging point", "engineer's approval"] += bool(new)


def _staying(scenario):
    """Lines of the loudspeakers that hang there already."""
    stay = Counter()
    for g in scenario.groups:
        if g.existing:
            stay[there_already(g.loudspeaker, g.condition)] += g.number
    free = dict(kind="loudspeaker", unit="each", price=0.0, hours=0.0, labor=0.0, source=THERE)
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


def _count_equipment(scenario, amplification, counted):
    """Amplifiers and cable, inputs, mixer, processor, rack, assistive listening."""
    for name, amplifier_type in amplification.amplifiers.items():
        counted["amplifier", amplifier_type.name] += name not in amplification.reused
    for c in amplification.channels:
        counted["cable", c.conductor] += 0.0 if c.existing_cable else c.length
        counted["line transformer", "at a loudspeaker"] += len(c.tags) if c.line_volts else 0
    for i in inputs(scenario):
        counted["microphone", i.type] += 1
    counted["mixer", mixer(scenario).kind] += 1
    needs = processor(scenario, amplification)
    counted["processor", "inputs and outputs"] += needs["inputs"] + needs["outputs"]
    counted["wall plate", "microphone or line"] += len(plates(scenario))
    filled, high = rack_units(amplification, EXTRA_UNITS)
    # all of the rack is bought; of several at least what they hold
    counted["rack", "rack with doors and power"] += high or filled
    counted["fire alarm", "muting contact"] += 1
    whole, compatible = receivers(scenario.seats)
    counted["assistive listening", "transmitter and antenna"] += 1 if whole else 0
    counted["assistive listening", "receiver"] += whole
    counted["assistive listening", "neck loop"] += compatible
    counted["commissioning", "measurement and setting up"] += 1


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
        Material and labor [the price book's currency]
    """
    return sum(line.total for line in bill(scenario, prices, amplification=amplification))
