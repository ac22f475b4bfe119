"""Which wiring and which amplifiers: of all ways to drive all groups, the set that costs least, few
models and few racks preferred.
"""

from dataclasses import dataclass

from .choice import price_of
from .rack import RACKS, rack_size
from .signal import EXTRA_UNITS

# work that another amplifier model, a line voltage or another rack must save before it is
# taken: spares, settings; transformers lose level and low octaves [h]    judgment, no source
PREFERRED_HOURS = 2.0
WIDTH = 20  # ways that are followed to see what can be reached
MOST_WAYS = 600  # ways that are followed then; enough for all of them in gyms of a few groups
RACK = ("rack", "rack with doors and power")
SAME = 0.01  # costs that count as alike [the price book's currency]


@dataclass(frozen=True, kw_only=True)
class AmplifierSet:
    """One option for each group, and what all of them cost together."""

    options: tuple  # Option, in the order of the groups
    cost: float  # amplifiers, rack, cable, transformers, outputs [the price book's currency]
    preference: float  # what further models, line voltages and racks count beside it

    @property
    def score(self):
        """What is compared [the price book's currency]."""
        return self.cost + self.preference


@dataclass(frozen=True)
class _State:
    """What decides how the next group adds to the cost."""

    left: tuple = ()  # outputs in use of amplifiers that have some left, by type
    spare: tuple = ()  # amplifiers that are there and not yet used, by type
    models: frozenset = frozenset()
    lines: frozenset = frozenset()  # voltages
    units: int = EXTRA_UNITS  # of the rack, filled


@dataclass(frozen=True)
class _Way:
    """One option for each of the groups so far."""

    cost: float = 0.0
    shared: float = 0.0  # the same with no more of an amplifier than the outputs in use
    preference: float = 0.0
    outputs: int = 0
    rank: int = 0  # the usual wirings first
    options: tuple = ()

    @property
    def order(self):
        return round(self.cost + self.preference, 6), self.outputs, self.rank


def cheapest(groups, prices, existing=None, *, most_ways=MOST_WAYS):
    """One option for each group, so that everything together costs least.

    Parameters
    ----------
    groups : list of GroupOptions
        Options by group
    prices : PriceBook
        What amplifiers, the rack and the work on them cost
    existing : dict, optional
        Amplifiers that are there already: count by type
    most_ways : int
        Ways that are followed at most [-]

    Returns
    -------
    chosen : AmplifierSet
        The cheapest, then the one with fewest outputs in use, then the usual wiring

    Notes
    -----
    Group by group; of all ways that leave the same outputs free, with the same models, lines and
    height of the rack, only the cheapest is followed, and none that cannot become cheaper than what
    was reached before: each group to come adds at least its cheapest option with its outputs' share
    of an amplifier. Of very many groups the ways that promise most are followed.
    """
    lists = [_undominated(group.options) for group in groups]
    costs = _Costs.of(lists, prices, spare=bool(existing))
    start = _State(spare=tuple(sorted((n, int(k)) for n, k in (existing or {}).items() if k)))
    reached = _search(lists, costs, start, bound=float("inf"), width=WIDTH)
    if most_ways <= WIDTH:
        return reached
    better = _search(lists, costs, start, bound=reached.score, width=most_ways)
    return reached if better is None or better.score > reached.score + SAME else better


@dataclass(frozen=True, kw_only=True)
class _Costs:
    """What is looked up in the price book, once."""

    new: dict  # an amplifier to buy, with the work on it, by type
    again: dict  # the work on one that is there
    rack_unit: float
    preferred: float
    spare: bool  # some amplifiers are there already

    @classmethod
    def of(cls, lists, prices, *, spare):
        names = {o.amplifier_type.name for some in lists for o in some}
        return cls(
            new={name: price_of(prices, "amplifier", name) for name in names},
            again={name: work_of(prices, name) for name in names},
            rack_unit=price_of(prices, *RACK),
            spare=spare,
            preferred=PREFERRED_HOURS * price_of(prices, "labor", "hour"),
        )

    def share(self, option):
        """What an option costs at least: of its amplifiers only the outputs that it uses."""
        kind = option.amplifier_type
        one = min(self.new[kind.name], self.again[kind.name]) if self.spare else self.new[kind.name]
        return option.own_cost + len(option.outputs) * one / kind.channels

    def promise(self, state, way):
        """What a way costs at least, the groups to come left out."""
        return way.shared + way.preference + rack_size(state.units) * self.rack_unit


def _search(lists, costs, start, *, bound, width):
    """The cheapest way of those that are followed; None where none keeps within the bound."""
    least = [min(map(costs.share, some)) for some in lists]
    ways = {start: _Way()}
    for k, some in enumerate(lists):
        found, later = {}, sum(least[k + 1 :])
        for state, way in ways.items():
            for option in some:
                new_state, new = _with(state, way, option, costs)
                if costs.promise(new_state, new) + later > bound + SAME:
                    continue
                if new_state not in found or new.order < found[new_state].order:
                    found[new_state] = new
        ranked = sorted(found.items(), key=lambda pair: (costs.promise(*pair), pair[1].order))
        ways = dict(ranked[:width])
        if not ways:
            return None
    sets = [(_finished(state, way, costs), way.order[1:]) for state, way in ways.items()]
    return min(sets, key=lambda pair: (round(pair[0].score, 2), pair[1]))[0]


def _undominated(options):
    """Options without those that another one of the same type betters in outputs and cost."""
    kept = []
    for o in sorted(options, key=lambda o: (len(o.outputs), round(o.own_cost, 6), o.rank)):
        same = (
            k for k in kept if (k.amplifier_type, k.line_volts) == (o.amplifier_type, o.line_volts)
        )
        if not any(k.own_cost <= o.own_cost + 1e-9 for k in same):
            kept.append(o)
    return kept


def _with(state, way, option, costs):
    """State and way with one option more."""
    kind, outputs = option.amplifier_type, len(option.outputs)
    used = dict(state.left)
    before = used.get(kind.name, 0)
    # amplifiers that are needed, those that are there first
    more = -(-(before + outputs) // kind.channels) - (before > 0)
    spare = dict(state.spare)
    again = min(more, spare.get(kind.name, 0))
    spare[kind.name] = spare.get(kind.name, 0) - again
    used[kind.name] = (before + outputs) % kind.channels
    lines = state.lines | ({option.line_volts} if option.line_volts else set())
    models = state.models | {kind.name}
    others = len(models) - 1 + len(lines)
    cost = way.cost + option.own_cost
    cost += (more - again) * costs.new[kind.name] + again * costs.again[kind.name]
    return _State(
        left=tuple(sorted((k, n) for k, n in used.items() if n)),
        spare=tuple(sorted((k, n) for k, n in spare.items() if n)),
        models=models,
        lines=frozenset(lines),
        units=state.units + more * (int(kind.rack_units) + 1),
    ), _Way(
        cost=cost,
        shared=way.shared + costs.share(option),
        preference=others * costs.preferred,
        outputs=way.outputs + outputs,
        rank=way.rank + option.rank,
        options=(*way.options, option),
    )


def _finished(state, way, costs):
    """The set of a way with its rack."""
    racks = -(-state.units // RACKS[-1])
    return AmplifierSet(
        options=way.options,
        cost=way.cost + rack_size(state.units) * costs.rack_unit,
        preference=way.preference + (racks - 1) * costs.preferred,
    )


def work_of(prices, name):
    """What the work on an amplifier costs that is there already.

    Parameters
    ----------
    prices : PriceBook
        What an hour of labor costs
    name : str
        Of a type of amplifier

    Returns
    -------
    cost : float
        [the price book's currency]
    """
    if ("amplifier", name) not in prices.prices:
        return 0.0
    return prices.line("amplifier", name, 1).labor
