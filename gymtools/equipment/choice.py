"""How a group may be wired and driven: at low impedance, on a 70.7 V or a 100 V line, by every type
of amplifier that suffices, with what cable, transformers and outputs cost.
"""

from dataclasses import dataclass, replace

from ..venue.amplifiers import amplifier_types
from .cabling import cables, conductor_name, counted_in
from .outputs import direct, on_line

DIRECT_MOST = 4  # loudspeakers in parallel without transformers    common practice, no source
# lines that are looked at where the file leaves the wiring open, the usual one of a school's units
# first [V]    common practice, no source
OPEN_LINES = {"ft": (70.7, 100.0), "m": (100.0, 70.7)}
ALIKE_DB = 0.01  # losses that count as alike where none is within what is allowed
TRANSFORMER = ("line transformer", "at a loudspeaker")
OUTPUT = ("processor", "inputs and outputs")


@dataclass(frozen=True, kw_only=True)
class GroupOptions:
    """All ways to wire and drive a group."""

    group: str
    stated: bool  # the file says how it is wired
    options: tuple  # Option: those that suffice; where none does, those that come nearest
    lacking: dict  # why a wiring does not suffice, by the volts of its line, None: low impedance

    def wirings(self):
        """Wirings among its options: volts of a line, None for low impedance."""
        return list(dict.fromkeys(o.line_volts for o in self.options))

    def wired(self, line_volts):
        """The same with one wiring only.

        Parameters
        ----------
        line_volts : float or None
            Of the line; None: low impedance [V]

        Returns
        -------
        options : GroupOptions
            As many as have that wiring
        """
        return replace(self, options=tuple(o for o in self.options if o.line_volts == line_volts))


def options(scenario, demand, prices):
    """Every way to wire and drive a group that suffices.

    Parameters
    ----------
    scenario : Scenario
        The design
    demand : Demand
        What the group asks for
    prices : PriceBook
        What is offered, and what it costs

    Returns
    -------
    options : GroupOptions
        Where none suffices, those whose cables lose least; where no amplifier has the power, the
        strongest alone

    Raises
    ------
    ValueError
        No candidate drives the group's load, or its line; or the price book offers none
    """
    wiring = demand.wiring
    types = candidates(wiring, prices, scenario.equipment.existing_amplifiers)
    found, priced = {}, _Costs(scenario, prices)
    for rank, volts in enumerate(_wirings(scenario, wiring, prices)):
        tried = [
            option
            for count in _counts(demand, volts)
            for kind in types
            if (option := _option(demand, count, kind, volts)) is not None
        ]
        found[volts] = [priced.with_cables(o, rank) for o in tried]
    every = [o for some in found.values() for o in some]
    if not every:
        _refuse(demand)
    return GroupOptions(
        group=demand.group,
        stated=wiring.line_volts is not None,
        options=tuple(_nearest(found)),
        lacking={volts: _lack(scenario, some) for volts, some in found.items() if _lacks(some)},
    )


def _wirings(scenario, wiring, prices):
    """Wirings to look at: volts of a line, None for low impedance."""
    if wiring.line_volts is not None:
        return [wiring.line_volts or None]
    lines = OPEN_LINES[scenario.units] if TRANSFORMER in prices.prices else ()
    return [None, *lines]


def _counts(demand, volts):
    """Loudspeakers on one output, the most first."""
    whole, asked = len(demand.loudspeakers), demand.wiring.per_channel
    most = whole if volts else min(whole, DIRECT_MOST)
    return [min(asked, whole)] if asked else range(most, 0, -1)


def _option(demand, count, amplifier_type, volts):
    if volts:
        return on_line(demand, count, amplifier_type, volts)
    return direct(demand, count, amplifier_type)


def _nearest(found):
    """Options that suffice; else those whose cables lose least; else the strongest of the first
    wiring that can be driven.
    """
    every = [o for some in found.values() for o in some]
    settled = [o for o in every if o.settled]
    if settled:
        return settled
    strong = [o for o in every if o.fits]
    if strong:
        least = min(map(_worst_loss, strong))
        return [o for o in strong if _worst_loss(o) < least + ALIKE_DB]
    first = next(some for some in found.values() if some)
    return [max(first, key=lambda o: o.strength)]


def _worst_loss(option):
    """Loss of the cable that loses most [dB]."""
    return max(c.loss_db for c in option.cables)


def _lacks(some):
    return not any(o.settled for o in some)


def _lack(scenario, some):
    """Why a wiring does not suffice."""
    e = scenario.equipment
    unit = counted_in(e.conductor, scenario.units)
    if any(o.fits for o in some):
        largest = conductor_name(e.largest_mm2 if unit == "mm2" else e.largest_awg, unit)
        return f"would lose more than {e.cable_loss_db:g} dB in its cables, even of {largest}"
    if some:
        return "would not carry the peaks"
    return "has no amplifier that drives it"


def _refuse(demand):
    """Say that nothing drives a group."""
    wiring = demand.wiring
    if wiring.line_volts:
        raise ValueError(
            f"group '{demand.group}': amplifier '{wiring.amplifier}' drives no line. Choose"
            " another, or leave line_volts out."
        )
    most = next(iter(_counts(demand, None)))
    raise ValueError(
        f"group '{demand.group}': no amplifier drives {demand.impedance_ohm / most:.1f}"
        " ohm. Fewer loudspeakers on a channel, or another amplifier?"
    )


def candidates(wiring, prices, existing=()):
    """Types of amplifier that a group may have.

    Parameters
    ----------
    wiring : Wiring
        Of the group; it may ask for a type
    prices : PriceBook
        What is offered
    existing : collection of str
        Types of which some are there already

    Returns
    -------
    candidates : list of AmplifierType
        The one asked for, else all that the price book offers or that are there

    Raises
    ------
    ValueError
        The price book offers none
    """
    known = amplifier_types()
    if wiring.amplifier:
        return [known[wiring.amplifier]]
    offered = [
        t for name, t in known.items() if ("amplifier", name) in prices.prices or name in existing
    ]
    if not offered:
        raise ValueError(
            f"{prices.name}: no price for any amplifier. Add rows that begin 'amplifier,' with one"
            f" of: {', '.join(known)}."
        )
    return offered


def price_of(prices, kind, item):
    """What one of something costs with the work that it makes.

    Parameters
    ----------
    prices : PriceBook
        What is offered
    kind, item : str
        Of a row

    Returns
    -------
    price : float
        0 without such a row: the bill refuses it, or no choice is left
        [the price book's currency]
    """
    return prices.line(kind, item, 1).total if (kind, item) in prices.prices else 0.0


class _Costs:
    """Puts cables and their cost to options; cables that options share are worked out once."""

    def __init__(self, scenario, prices):
        self.scenario, self.prices = scenario, prices
        self._cables = {}

    def with_cables(self, option, rank):
        """An option with its cables, and what it costs without its amplifier."""
        outputs = option.outputs
        key = len(outputs), outputs[0].each_ohm
        if key not in self._cables:
            made = cables(self.scenario, outputs)
            self._cables[key] = made, sum(map(self._cable_price, made))
        made, price = self._cables[key]
        count = sum(len(o.loudspeakers) for o in outputs) if option.line_volts else 0
        price += count * price_of(self.prices, *TRANSFORMER)
        price += len(outputs) * price_of(self.prices, *OUTPUT)
        return replace(option, cables=made, own_cost=price, rank=rank)

    def _cable_price(self, cable):
        per_meter = 0.0 if cable.existing else price_of(self.prices, "cable", cable.conductor)
        return per_meter * sum(cable.lengths)
