"""What a design costs: quantities from the scenario and its equipment, prices and hours from a
price book.
"""

from .amplification import amplify
from .assistive_listening import receivers
from .prices import OTHER, example_prices
from .rack import rack_units
from .signal import EXTRA_UNITS, inputs, mixer, plates, processor


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
        assistive listening, and treatment that is not there yet; each item once
    """
    book = prices or example_prices()
    amplification = amplification or amplify(scenario, prices=book)
    counted = {}

    def count(kind, item, quantity):
        if quantity:
            counted[kind, item] = counted.get((kind, item), 0) + quantity

    for c in scenario.loudspeakers:
        count("loudspeaker", c.type.name, 1)
        count("hanging point", "rated hardware with second safety", 1)
    count("hanging point", "engineer's approval", 1)
    for amplifier_type in amplification.amplifiers.values():
        count("amplifier", amplifier_type.name, 1)
    for c in amplification.channels:
        count("cable", c.conductor, c.length)
        count("line transformer", "at a loudspeaker", len(c.tags) if c.line_volts else 0)
    for i in inputs(scenario):
        count("microphone", i.type, 1)
    count("mixer", mixer(scenario).kind, 1)
    needs = processor(scenario, amplification)
    count("processor", "inputs and outputs", needs["inputs"] + needs["outputs"])
    count("wall plate", "microphone or line", len(plates(scenario)))
    filled, high = rack_units(amplification, EXTRA_UNITS)
    # all of the rack is bought; of several at least what they hold
    count("rack", "rack with doors and power", high or filled)
    count("fire alarm", "muting contact", 1)
    whole, compatible = receivers(scenario.seats)
    count("assistive listening", "transmitter and antenna", 1 if whole else 0)
    count("assistive listening", "receiver", whole)
    count("assistive listening", "neck loop", compatible)
    count("commissioning", "measurement and setting up", 1)
    for t in scenario.treatments:
        if not t.existing:
            count(
                "treatment", t.finish if ("treatment", t.finish) in book.prices else OTHER, t.area
            )
    return tuple(book.line(kind, item, quantity) for (kind, item), quantity in counted.items())


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
