"""What drives the loudspeakers: power needed in every use, channels, amplifiers, cable, mains and
rack.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..acoustics.evaluate import evaluate
from ..physics import bands, electrical
from ..venue.amplifiers import AmplifierType, amplifier_types
from ..venue.scenario import Scenario
from ..venue.wiring import TAPS
from .prices import example_prices

# short peaks over the continuous rating that a loudspeaker bears    common practice, no source
PEAK = 4.0
LINE_PART = (
    0.8  # of an amplifier's power that the taps of a line may take    common practice, no source
)
TRANSFORMER_DB = 0.7  # lost in a line transformer    common practice (0.5 to 1 dB), no source
HIGH_PASS = {"line": 80, "direct": 60}  # lowest frequency sent [Hz]    common practice, no source
AWG = (18, 16, 14, 12, 10, 8)
MM2 = tuple(electrical.MOST_OHM_KM)
SLACK = 2.0  # cable beyond the route, at both ends together [m]
LINK = 1.0  # cable from one loudspeaker to the next beyond their distance [m]
# of a circuit's rating that may be loaded for long    common practice after NEC 210 (from memory)
CIRCUIT_PART = 0.8
RACKS = (12, 16, 20, 27, 36, 42)  # usual heights [rack units]
DAMPING = 10.0  # least damping factor worth asking for    common practice, no source


@dataclass(frozen=True, kw_only=True)
class Need:
    """What one loudspeaker takes in one use, and what is left."""

    use: str
    tag: str
    mean_w: float  # speech at the use's level, with what heat asks for
    peak_w: float  # with headroom
    octave: str  # that takes most of it
    margin_db: float  # until amplifier or loudspeaker is at its limit
    limited_by: str  # "amplifier", "loudspeaker, peaks" or "loudspeaker, heat"

    @property
    def word(self):
        """Whether the level is reached: as the verdicts' words."""
        return (
            "meets" if self.margin_db >= -0.05 else "close" if self.margin_db >= -1.0 else "misses"
        )


@dataclass(frozen=True, kw_only=True)
class Channel:
    """One output of an amplifier with all that hangs on it."""

    number: int  # of all channels, from 1
    amplifier: str  # "A1", "A2" ...
    output: int  # of that amplifier, from 1
    type: AmplifierType
    group: str
    tags: tuple
    line_volts: float | None  # None: driven directly
    tap_w: float | None
    load_ohm: float
    # peaks of all that hang on it in the use that takes most, with what cable, heat and
    # transformers lose
    need_w: float
    gives_w: float  # into this load
    bears_w: float  # that its loudspeakers bear in short peaks: where the limiter belongs
    cable: str  # name of the run
    conductor: str  # "12 AWG" or "4 mm2"
    lengths: tuple  # from the rack to the first, from there to the next ... [m]
    loss_db: float  # at the last loudspeaker
    damping: float  # at the last loudspeaker; of no account on a line
    high_pass_hz: int

    @property
    def length(self):
        """Cable in all [m]."""
        return sum(self.lengths)


@dataclass(frozen=True, kw_only=True, eq=False)
class Amplification:
    """Channels, amplifiers and what they need."""

    scenario: Scenario
    needs: tuple
    channels: tuple
    warnings: tuple  # sentences

    @property
    def amplifiers(self):
        """Types by the name of each amplifier."""
        return {c.amplifier: c.type for c in self.channels}

    @property
    def mains(self):
        """Power from the mains at an eighth of all amplifiers' power, and heat (W, W); amplifiers
        run for what they are, used or not.
        """
        drawn = heat = 0.0
        for kind in self.amplifiers.values():
            d, h = electrical.ac_power(
                max(kind.watts_4, kind.watts_8, kind.line_w),
                kind.channels,
                idle_w=kind.idle_w,
                efficiency=kind.efficiency,
            )
            drawn, heat = drawn + d, heat + h
        return float(drawn), float(heat)

    @property
    def current_a(self):
        """From the mains [A]."""
        return self.mains[0] / self.scenario.equipment.mains_volts

    @property
    def circuits(self):
        """Circuits of the mains [-]."""
        return max(
            1, math.ceil(self.current_a / (CIRCUIT_PART * self.scenario.equipment.circuit_a))
        )

    @property
    def reached(self):
        """The loudspeaker with least to spare in every use: Need by use."""
        found = {}
        for n in self.needs:
            if n.use not in found or n.margin_db < found[n.use].margin_db:
                found[n.use] = n
        return found

    def channel(self, tag):
        """The channel that a loudspeaker hangs on.

        Parameters
        ----------
        tag : str
            Of a loudspeaker [-]

        Returns
        -------
        channel : Channel
            One of ``channels``
        """
        return next(c for c in self.channels if tag in c.tags)


def powers(result):
    """Mean electrical power of every loudspeaker in one use, octave by octave.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    power : ndarray
        Speech at the use's level, equalized and tuned as it is played (S, 7) [W]
    """
    own = np.array([c.type.sensitivity_db for c in result.scenario.loudspeakers])
    return result.sources.on_axis / bands.to_energy(own)


def amplify(scenario, results=None, *, prices=None):
    """Amplifiers, channels and cable for a design.

    Parameters
    ----------
    scenario : Scenario
        The design; its ``equipment`` says what is not to be chosen [-]
    results : dict, optional
        Evaluations by use, where they are at hand [-]
    prices : PriceBook, optional
        By which the cheaper of two amplifiers is told; the package's invented one when left out [-]

    Returns
    -------
    system : Amplification
        Every loudspeaker on a channel; what does not suffice is said in ``needs`` and ``warnings``

    Notes
    -----
    Every group has channels of its own, so that it can have its own gain and delay. Direct: as many
    loudspeakers on a channel as its least load allows, if its power suffices for all of them.
    Lines: the least tap that carries the peaks, all of a group on one channel while the taps take
    no more than 80 % of it and load it with no less than it bears. Of the amplifiers that suffice,
    the set that costs least for all groups together is taken, mounting included, then the one with
    fewest channels; where none suffices, the strongest.
    """
    results = results or {
        u.name: evaluate(scenario, u.name, follow_echoes=False) for u in scenario.uses
    }
    headroom = bands.to_energy(scenario.equipment.headroom_db)
    mean = {name: powers(r) for name, r in results.items()}
    rated = np.array([c.type.rated_w for c in scenario.loudspeakers])
    most = np.max([p.sum(axis=1) for p in mean.values()], axis=0)  # (loudspeaker,)
    # that the amplifier must give
    peak = (
        electrical.heated_power(most, rated)
        * headroom
        * bands.to_energy(scenario.equipment.cable_loss_db)
    )
    tags = [c.tag for c in scenario.loudspeakers]
    prices, warnings, options = prices or example_prices(), [], []
    for group in scenario.groups:
        own = [tags.index(c.tag) for c in scenario.in_group(group.name)]
        options.append(
            _options(
                scenario,
                group,
                own,
                peak,
                _candidates(scenario.equipment.wired(group.name), prices),
            )
        )
    wanted = []
    for option in _cheapest(options, prices):
        wanted += option.outputs
        warnings += option.warnings
    channels = _racked(scenario, wanted, warnings)
    warnings += _outside(scenario)
    needs = tuple(
        n for name in mean for n in _needs(scenario, name, mean[name], channels, headroom)
    )
    return Amplification(
        scenario=scenario, needs=needs, channels=channels, warnings=tuple(warnings)
    )


@dataclass(frozen=True, kw_only=True)
class _Option:
    """One way to drive a group: a type of amplifier and as few of its outputs as suffice."""

    kind: AmplifierType
    outputs: list  # dicts, before they are put into amplifiers
    fits: bool
    warnings: list


def _options(scenario, group, own, peak, candidates):
    """Every type of amplifier that suffices for a group, with as few outputs as it needs; where
    none does, the strongest alone.
    """
    # all of a group play alike
    wiring, most = (scenario.equipment.wired(group.name), float(peak[own[0]]))
    make, counts = (
        (_direct, range(min(len(own), 4), 0, -1))
        if wiring.line_volts is None
        else (_line, range(len(own), 0, -1))
    )
    if wiring.per_channel:
        counts = [min(wiring.per_channel, len(own))]
    fitting, best = {}, None
    for count in counts:
        for kind in candidates:
            found = make(scenario, group, own, most, wiring, count, kind)
            if found is None:
                continue
            strength, option = found
            if option.fits:
                fitting.setdefault(kind.name, option)  # the first has fewest outputs
            if best is None or strength > best[0]:
                best = strength, option
    if best is None and wiring.line_volts is None:
        ohm = scenario.loudspeaker_types[group.loudspeaker].impedance_ohm / counts[0]
        raise ValueError(
            f"group '{group.name}': no amplifier drives {ohm:.1f} ohm. Fewer loudspeakers on a"
            " channel, or another amplifier?"
        )
    if best is None:
        raise ValueError(
            f"group '{group.name}': amplifier '{wiring.amplifier}' drives no line. Choose another,"
            " or leave line_volts out."
        )
    return list(fitting.values()) or [best[1]]


def _direct(scenario, group, own, most, wiring, count, kind):
    """A type of amplifier with so many loudspeakers on an output: how strong it is for each, and
    the option; None when it drives no such load.
    """
    ohm = scenario.loudspeaker_types[group.loudspeaker].impedance_ohm
    gives, need = kind.watts(ohm / count), most * count
    if not gives:
        return None
    outputs = [
        dict(
            group=group,
            own=part,
            kind=kind,
            line_volts=None,
            tap_w=None,
            load=electrical.parallel([ohm] * len(part)),
            need=most * len(part),
            gives=kind.watts(ohm / len(part)),
            each_ohm=ohm,
        )
        for part in _shared(own, count)
    ]
    warnings = (
        [
            f"'{group.name}': no amplifier gives the {need:.0f} W that peaks ask for; {kind.name}"
            f" gives {gives:.0f} W."
        ]
        if gives < need
        else []
    )
    return (gives / count, count), _Option(
        kind=kind, outputs=outputs, fits=gives >= need, warnings=warnings
    )


def _line(_scenario, group, own, most, wiring, count, kind):
    """The same on a line with transformers."""
    if not kind.line_w:
        return None
    with_loss = most * bands.to_energy(TRANSFORMER_DB)
    tap = wiring.tap_w or next((t for t in TAPS if t >= with_loss), TAPS[-1])

    def load(count):
        return electrical.line_load([tap] * count, volts=wiring.line_volts)[1]

    heavy, strained = tap * count > LINE_PART * kind.line_w, load(count) < kind.min_ohm - 0.01
    many, warnings = f"{count} loudspeakers" if count > 1 else "one loudspeaker", []
    if tap < with_loss:
        warnings.append(
            f"'{group.name}': peaks ask for {with_loss:.0f} W at each transformer, its tap takes"
            f" {tap:g} W."
        )
    if heavy:
        warnings.append(
            f"'{group.name}': the taps of {many} take {tap * count:g} W, over {100 * LINE_PART:.0f}"
            f" % of the {kind.line_w:g} W of {kind.name}."
        )
    if strained:
        warnings.append(
            f"'{group.name}': the taps of {many} load the {wiring.line_volts:g} V line with"
            f" {load(count):.1f} ohm, less than the {kind.min_ohm:g} ohm that {kind.name} bears. A"
            " higher line voltage, or smaller taps?"
        )
    outputs = [
        dict(
            group=group,
            own=part,
            kind=kind,
            line_volts=wiring.line_volts,
            tap_w=tap,
            load=load(len(part)),
            need=with_loss * len(part),
            gives=min(tap * len(part), kind.line_w),
            each_ohm=load(1),
        )
        for part in _shared(own, count)
    ]
    return (not strained, kind.line_w / count, count), _Option(
        kind=kind, outputs=outputs, fits=not (heavy or strained), warnings=warnings
    )


def _cheapest(options, prices):
    """One option a group, so that the amplifiers of all cost least, then have fewest outputs in
    use.

    Group by group; of all ways that leave the same outputs free, only the cheapest is followed.
    """
    # by outputs in use of amplifiers that have some left: cost, outputs, options
    ways = {(): (0.0, 0, ())}
    for group in options:
        found = {}
        for used, (price, count, chosen) in ways.items():
            for option in group:
                name, outputs = option.kind.name, len(option.outputs)
                before = dict(used).get(name, 0)
                # amplifiers to buy
                more = -(-(before + outputs) // option.kind.channels) - (before > 0)
                rest = {**dict(used), name: (before + outputs) % option.kind.channels}
                left = tuple(sorted((k, n) for k, n in rest.items() if n))
                way = (
                    round(price + more * _price(option.kind, prices), 6),
                    count + outputs,
                    (*chosen, option),
                )
                if left not in found or way[:2] < found[left][:2]:
                    found[left] = way
        ways = found
    return min(ways.values(), key=lambda way: way[:2])[2]


def _candidates(wiring, prices):
    """The amplifier asked for, else all that the price book offers."""
    if wiring.amplifier:
        return [amplifier_types()[wiring.amplifier]]
    offered = [
        kind for name, kind in amplifier_types().items() if ("amplifier", name) in prices.prices
    ]
    if not offered:
        raise ValueError(
            f"{prices.name}: no price for any amplifier. Add rows that begin 'amplifier,' with one"
            f" of: {', '.join(amplifier_types())}."
        )
    return offered


def _price(kind, prices):
    """Of an amplifier with the work that it makes."""
    row = prices.prices.get(("amplifier", kind.name))
    # asked for by name: no choice is left
    return prices.line("amplifier", kind.name, 1).total if row else 0.0


def _shared(own, count):
    """Neighbors together, as evenly as may be, no more than count."""
    return [list(map(int, part)) for part in np.array_split(own, math.ceil(len(own) / count))]


def _racked(scenario, wanted, warnings):
    """Outputs put into amplifiers of their type in turn, with their cable."""
    channels, free, count = [], {}, 0
    nearest = _nearest(scenario, wanted)
    for n, w in enumerate(wanted, 1):
        kind = w["kind"]
        if kind.name not in free or free[kind.name][1] >= kind.channels:
            count += 1
            free[kind.name] = [f"A{count}", 0]
        free[kind.name][1] += 1
        amplifier, output = free[kind.name]
        loudspeakers = [scenario.loudspeakers[k] for k in w["own"]]
        lengths, order = _run(scenario, w["group"], loudspeakers, nearest[w["group"].name])
        conductor, loss, cable_ohm = _conductor(
            scenario, lengths, [w["each_ohm"]] * len(loudspeakers)
        )
        damping = float(
            electrical.damping_factor(w["load"], output_ohm=kind.output_ohm, cable_ohm=cable_ohm)
        )
        if loss > scenario.equipment.cable_loss_db + 0.005:
            warnings.append(
                f"cable C{n}: even {conductor} loses {loss:.2f} dB, more than the"
                f" {scenario.equipment.cable_loss_db:g} dB allowed. Fewer loudspeakers on it, or a"
                " line?"
            )
        if w["line_volts"] is None and damping < DAMPING:
            warnings.append(
                f"cable C{n}: the damping factor at the loudspeaker is {damping:.0f}; {DAMPING:.0f}"
                " or more is usual."
            )
        channels.append(
            Channel(
                number=n,
                amplifier=amplifier,
                output=output,
                type=kind,
                group=w["group"].name,
                tags=tuple(c.tag for c in order),
                line_volts=w["line_volts"],
                tap_w=w["tap_w"],
                load_ohm=float(w["load"]),
                need_w=float(w["need"]),
                gives_w=float(w["gives"]),
                bears_w=PEAK * loudspeakers[0].type.rated_w * len(loudspeakers),
                cable=f"C{n}",
                conductor=conductor,
                lengths=tuple(lengths),
                loss_db=float(loss),
                damping=damping,
                high_pass_hz=HIGH_PASS["line" if w["line_volts"] else "direct"],
            )
        )
    return tuple(channels)


def rack_place(scenario):
    """Where the rack stands.

    Parameters
    ----------
    scenario : Scenario
        The design [-]

    Returns
    -------
    place : ndarray
        Its own, or the south-west corner of the hall (3,) [m]
    """
    e, hall = scenario.equipment, scenario.hall
    x = -hall.length / 2 + 0.5 if e.rack_x is None else e.rack_x
    y = -hall.width / 2 + 0.5 if e.rack_y is None else e.rack_y
    return np.array([x, y, e.rack_height])


def _outside(scenario):
    """Doubts about a rack that does not stand in the hall."""
    x, y, z = rack_place(scenario)
    hall = scenario.hall
    beyond = {
        "east": x - hall.length / 2,
        "west": -x - hall.length / 2,
        "north": y - hall.width / 2,
        "south": -y - hall.width / 2,
    }
    said = [
        f"{scenario.say(way)} beyond the {wall} wall" for wall, way in beyond.items() if way > 1e-6
    ]
    said += (
        [f"at {scenario.say(z)}, over the clear height of {scenario.say(hall.clear_height)}"]
        if z > hall.clear_height
        else []
    )
    return (
        [
            f"the rack stands outside the hall, {' and '.join(said)}. In a room beside it? Cable is"
            " counted as if no wall stood between."
        ]
        if said
        else []
    )


def _way(scenario, a, b):
    """Cable between two places along walls and roof [m]."""
    up = scenario.hall.clear_height
    return abs(up - a[2]) + abs(b[0] - a[0]) + abs(b[1] - a[1]) + abs(up - b[2])


def _near_first(scenario, loudspeakers):
    """A row of loudspeakers, its end that is nearer to the rack first."""
    return sorted(
        (loudspeakers, loudspeakers[::-1]),
        key=lambda row: _way(scenario, rack_place(scenario), row[0].position),
    )[0]


def _nearest(scenario, wanted):
    """Of each group, the first loudspeaker of the channel that begins nearest to the rack: the one
    that a given run leads to.
    """
    found = {}
    for w in wanted:
        first = _near_first(scenario, [scenario.loudspeakers[k] for k in w["own"]])[0]
        found.setdefault(w["group"].name, []).append(first)
    return {
        name: min(firsts, key=lambda c: _way(scenario, rack_place(scenario), c.position))
        for name, firsts in found.items()
    }


def _run(scenario, group, loudspeakers, nearest):
    """Lengths from the rack to the nearest loudspeaker and on from one to the next, along walls and
    roof; and the loudspeakers in that order.
    """
    order = _near_first(scenario, loudspeakers)
    given = scenario.equipment.wired(group.name).run
    if given is None:
        first = _way(scenario, rack_place(scenario), order[0].position) + SLACK
    else:
        # past the nearest and on along the row
        first = given + float(np.abs(order[0].position - nearest.position).sum())
    links = [
        float(np.abs(b.position - a.position).sum()) + LINK
        for a, b in zip(order, order[1:], strict=False)
    ]
    return [float(first), *links], order


def _conductor(scenario, lengths, loads):
    """The thinnest usual conductor that loses no more than allowed at the last loudspeaker; the
    thickest where none does.
    """
    e = scenario.equipment
    metric = (e.conductor or ("awg" if scenario.units == "ft" else "mm2")) == "mm2"
    for size in MM2 if metric else AWG:
        wire = dict(nominal_mm2=size) if metric else dict(awg=size)
        loss = electrical.chain_loss_db(lengths, loads, **wire)[-1]
        if loss <= e.cable_loss_db:
            break
    return (
        (f"{size:g} mm²" if metric else f"{size} AWG"),
        loss,
        float(electrical.loop_resistance(sum(lengths), **wire)),
    )


def _needs(scenario, use, mean, channels, headroom):
    for n, loudspeaker in enumerate(scenario.loudspeakers):
        watts = float(mean[n].sum())
        if watts <= 0:
            continue
        channel = next(c for c in channels if loudspeaker.tag in c.tags)
        share = (
            channel.gives_w
            / len(channel.tags)
            / bands.to_energy(channel.loss_db + (TRANSFORMER_DB if channel.line_volts else 0.0))
        )
        rated = loudspeaker.type.rated_w
        # mean power that each allows
        bears = {
            "amplifier": share / headroom,
            "loudspeaker, peaks": PEAK * rated / headroom,
            "loudspeaker, heat": rated,
        }
        limit = min(bears, key=bears.get)
        fed = float(electrical.heated_power(watts, rated))
        yield Need(
            use=use,
            tag=loudspeaker.tag,
            mean_w=fed,
            peak_w=float(fed * headroom),
            octave=bands.LABELS[int(np.argmax(mean[n]))],
            margin_db=float(
                bands.to_level(bears[limit] / watts)
                - electrical.compression_db(bears[limit], rated)
            ),
            limited_by=limit,
        )


def rack_units(system, others=0):
    """Height of what goes into the rack, and of the rack that holds it.

    Parameters
    ----------
    system : Amplification
        Amplifiers, each with a unit of air over it [-]
    others : int
        Of everything else [rack units]

    Returns
    -------
    filled, rack : tuple of int
        The rack is the next usual size; 0 when none is high enough [rack units]
    """
    filled = others + sum(int(t.rack_units) + 1 for t in system.amplifiers.values())
    return filled, next((r for r in RACKS if r >= filled), 0)
