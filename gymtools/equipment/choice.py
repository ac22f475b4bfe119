"""Which amplifiers: every type that suffices for a group, and of all ways the set that costs
least.
"""

from ..venue.amplifiers import amplifier_types
from .outputs import direct, on_line

DIRECT_MOST = 4  # loudspeakers in parallel without transformers    common practice, no source


def options(demand, candidates):
    """Every type of amplifier that suffices for a group, with as few outputs as it needs.

    Parameters
    ----------
    demand : Demand
        What the group asks for
    candidates : list of AmplifierType
        Types to choose from

    Returns
    -------
    options : list of Option
        Where none suffices, the strongest alone

    Raises
    ------
    ValueError
        No candidate drives the group's load, or its line
    """
    wiring, whole = demand.wiring, len(demand.loudspeakers)
    lined = wiring.line_volts is not None
    most = whole if lined else min(whole, DIRECT_MOST)
    counts = [min(wiring.per_channel, whole)] if wiring.per_channel else range(most, 0, -1)
    fitting, best = {}, None
    for count in counts:
        for amplifier_type in candidates:
            option = (on_line if lined else direct)(demand, count, amplifier_type)
            if option is None:
                continue
            if option.fits:  # the first has fewest outputs
                fitting.setdefault(amplifier_type.name, option)
            if best is None or option.strength > best.strength:
                best = option
    if best is None and lined:
        raise ValueError(
            f"group '{demand.group}': amplifier '{wiring.amplifier}' drives no line. Choose"
            " another, or leave line_volts out."
        )
    if best is None:
        raise ValueError(
            f"group '{demand.group}': no amplifier drives {demand.impedance_ohm / counts[0]:.1f}"
            " ohm. Fewer loudspeakers on a channel, or another amplifier?"
        )
    return list(fitting.values()) or [best]


def candidates(wiring, prices):
    """Types of amplifier that a group may have.

    Parameters
    ----------
    wiring : Wiring
        Of the group; it may ask for a type
    prices : PriceBook
        What is offered

    Returns
    -------
    candidates : list of AmplifierType
        The one asked for, else all that the price book offers

    Raises
    ------
    ValueError
        The price book offers none
    """
    known = amplifier_types()
    if wiring.amplifier:
        return [known[wiring.amplifier]]
    offered = [t for name, t in known.items() if ("amplifier", name) in prices.prices]
    if not offered:
        raise ValueError(
            f"{prices.name}: no price for any amplifier. Add rows that begin 'amplifier,' with one"
            f" of: {', '.join(known)}."
        )
    return offered


def cheapest(groups, prices):
    """One option for each group, so that the amplifiers of all together cost least, then have
    fewest outputs in use.

    Parameters
    ----------
    groups : list of list of Option
        Options by group
    prices : PriceBook
        What amplifiers and the work on them cost

    Returns
    -------
    chosen : tuple of Option
        In the order of the groups

    Notes
    -----
    Group by group; of all ways that leave the same outputs free, only the cheapest is followed.
    """
    # by outputs in use of amplifiers that have some left: cost, outputs, options
    ways = {(): (0.0, 0, ())}
    for group in groups:
        found = {}
        for used, way in ways.items():
            for option in group:
                left, new = _with(dict(used), way, option, prices)
                if left not in found or new[:2] < found[left][:2]:
                    found[left] = new
        ways = found
    return min(ways.values(), key=lambda way: way[:2])[2]


def _with(used, way, option, prices):
    """A way with one option more: outputs in use of amplifiers that have some left, and the way."""
    cost, count, chosen = way
    amplifier_type, outputs = option.amplifier_type, len(option.outputs)
    before = used.get(amplifier_type.name, 0)
    # amplifiers to buy
    more = -(-(before + outputs) // amplifier_type.channels) - (before > 0)
    rest = {**used, amplifier_type.name: (before + outputs) % amplifier_type.channels}
    left = tuple(sorted((k, n) for k, n in rest.items() if n))
    cost = round(cost + more * _price(amplifier_type, prices), 6)
    return left, (cost, count + outputs, (*chosen, option))


def _price(amplifier_type, prices):
    """Cost of an amplifier with the work that it makes."""
    priced = ("amplifier", amplifier_type.name) in prices.prices
    # without a price it was asked for by name: no choice is left
    return prices.line("amplifier", amplifier_type.name, 1).total if priced else 0.0
