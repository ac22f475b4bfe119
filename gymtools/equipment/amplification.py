"""What drives the loudspeakers: the power that every use takes, amplifiers and their channels, AC
power.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..acoustics.evaluate import evaluate_all
from ..physics import bands, electrical
from ..venue.amplifiers import AmplifierType
from ..venue.scenario import Scenario
from .amplifier_sets import AmplifierSet, cheapest
from .choice import options
from .outputs import TRANSFORMER_DB, Demand
from .prices import PriceBook, example_prices
from .rack import rack_warnings
from .wiring_words import cable_warnings, power_remarks, reason, tap_remarks

# short peaks over the continuous rating that a loudspeaker bears    common practice, no source
PEAK = 4.0
HIGH_PASS = {"line": 80, "direct": 60}  # lowest frequency sent [Hz]    common practice, no source
# of a circuit's rating that may be loaded for long    common practice after NEC 210 (from memory)
CIRCUIT_PART = 0.8
REACHED_DB = -0.05  # headroom from which a use's level is reached
CLOSE_DB = -1.0  # and from which it is close


@dataclass(frozen=True, kw_only=True)
class Need:
    """What one loudspeaker takes in one use, and what is left."""

    use: str
    tag: str
    mean_w: float  # speech at the use's level, with what heat asks for
    peak_w: float  # with the peaks of speech
    octave: str  # that takes most of it
    headroom_db: float  # until amplifier or loudspeaker is at its limit
    # "amplifier", "transformer tap", "loudspeaker, peaks" or "loudspeaker, heat"
    limited_by: str

    @property
    def word(self):
        """Whether the level is reached: "meets", "close" or "misses"."""
        if self.headroom_db >= REACHED_DB:
            return "meets"
        return "close" if self.headroom_db >= CLOSE_DB else "misses"


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
    bears_w: float  # that its loudspeakers can take in short peaks: where the limiter belongs
    rated_w: float  # that its loudspeakers can take for long
    cable: str  # name of the run
    conductor: str  # "12 AWG" or "4 mm²"
    existing_cable: bool  # lies there already
    lengths: tuple  # from the rack to the first, from there to the next ... [m]
    loss_db: float  # at the last loudspeaker
    damping: float  # at the last loudspeaker; of no account on a line
    high_pass_hz: int

    @property
    def length(self):
        """Cable in all [m]."""
        return sum(self.lengths)

    @property
    def power_limit(self):
        """What limits the power that reaches the loudspeakers: "amplifier", or "transformer tap"
        where the taps of a line take less than its amplifier gives.
        """
        tapped = self.line_volts and self.tap_w * len(self.tags) < self.type.line_w
        return "transformer tap" if tapped else "amplifier"

    @property
    def limit_w(self):
        """Power into its load that peaks are limited to: what its loudspeakers bear, or all that
        the amplifier gives [W].
        """
        return min(self.gives_w, self.bears_w)

    @property
    def limit_v(self):
        """Voltage of a sine of that power, rms [V]."""
        return math.sqrt(self.limit_w * self.load_ohm)


@dataclass(frozen=True, kw_only=True, eq=False)
class Amplification:
    """Channels, amplifiers and what they need."""

    scenario: Scenario
    needs: tuple
    channels: tuple
    warnings: tuple  # sentences
    remarks: tuple  # sentences: amplifiers far stronger than asked for, taps that leave little
    groups: tuple  # GroupOptions: ways that each group could be wired and driven
    chosen: AmplifierSet
    prices: PriceBook  # that decided

    @cached_property
    def reasons(self):
        """Why each group is wired as it is (tuple of str)."""
        return tuple(reason(self, n) for n in range(len(self.groups)))

    @property
    def amplifiers(self):
        """Types by the name of each amplifier (dict of AmplifierType)."""
        return {c.amplifier: c.type for c in self.channels}

    @property
    def reused(self):
        """Names of the amplifiers that are there already (frozenset of str)."""
        left, found = dict(self.scenario.equipment.existing_amplifiers), set()
        for name, amplifier_type in self.amplifiers.items():
            if left.get(amplifier_type.name, 0) >= 1:
                left[amplifier_type.name] -= 1
                found.add(name)
        return frozenset(found)

    @property
    def ac_power_w(self):
        """AC power drawn at an eighth of all amplifiers' power, and the heat of it (W, W);
        amplifiers run for what they are, used or not.
        """
        drawn = heat = 0.0
        for amplifier_type in self.amplifiers.values():
            d, h = electrical.ac_power(
                max(amplifier_type.watts_4, amplifier_type.watts_8, amplifier_type.line_w),
                amplifier_type.channels,
                idle_w=amplifier_type.idle_w,
                efficiency=amplifier_type.efficiency,
            )
            drawn, heat = drawn + d, heat + h
        return float(drawn), float(heat)

    @property
    def current_a(self):
        """AC current [A]."""
        return self.ac_power_w[0] / self.scenario.equipment.ac_volts

    @property
    def circuits(self):
        """Circuits of AC power [-]."""
        return max(
            1, math.ceil(self.current_a / (CIRCUIT_PART * self.scenario.equipment.circuit_a))
        )

    @property
    def limiting(self):
        """The loudspeaker with least headroom in every use: Need by use."""
        found = {}
        for n in self.needs:
            if n.use not in found or n.headroom_db < found[n.use].headroom_db:
                found[n.use] = n
        return found

    def channel(self, tag):
        """The channel that a loudspeaker hangs on.

        Parameters
        ----------
        tag : str
            Of a loudspeaker

        Returns
        -------
        channel : Channel
            One of ``channels``
        """
        return next(c for c in self.channels if tag in c.tags)


def driving(amplification, result):
    """The same amplifiers and lines, with what one use asks of them.

    Parameters
    ----------
    amplification : Amplification
        As it is built for all uses
    result : Result
        A use of the same loudspeakers, which may be evaluated otherwise, e.g. with nobody there

    Returns
    -------
    amplification : Amplification
        Its ``needs`` are those of that use alone
    """
    needs = _needs(result.scenario, result.use.name, powers(result), amplification.channels)
    return replace(amplification, needs=tuple(needs))


def powers(result):
    """Mean electrical power of every loudspeaker in one use, octave by octave.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    power : ndarray
        (source, band): speech at the use's level, equalized and tuned as it is played [W]
    """
    own = np.array([c.type.sensitivity_db for c in result.scenario.loudspeakers])
    return result.sources.on_axis / bands.to_energy(own)


def amplify(scenario, results=None, *, prices=None):
    """Amplifiers, channels and cable for a design.

    Parameters
    ----------
    scenario : Scenario
        The design; its ``equipment`` says what is not to be chosen
    results : dict, optional
        Evaluations by use, where they are at hand
    prices : PriceBook, optional
        Decides which of two amplifiers is cheaper; the package's invented one when left out

    Returns
    -------
    amplification : Amplification
        Every loudspeaker on a channel; what does not suffice is in ``needs`` and ``warnings``

    Raises
    ------
    ValueError
        No amplifier drives a group as its wiring asks, or the price book offers none

    Notes
    -----
    Every group has channels of its own, so that it can have its own gain and delay. Where the file
    leaves its wiring open, low impedance, a 70.7 V and a 100 V line are all tried. Low impedance:
    as many loudspeakers on a channel as its least load allows, if its power suffices for all of
    them, or fewer. Lines: the least tap that carries the peaks, as many on a channel as its power
    (taps take no more than 80 % of it) and its least load allow, or fewer. Of the ways that suffice
    the set is taken that costs least for all groups together: amplifiers, rack, cable, transformers
    and outputs of the processor, with the work on them; another amplifier model, line voltage or
    rack must save two hours of work. Where no cable suffices, the one that loses least; where no
    amplifier suffices, the strongest.
    """
    results = results or evaluate_all(scenario).results
    prices = prices or example_prices()
    mean = {name: powers(r) for name, r in results.items()}
    groups = tuple(options(scenario, demand, prices) for demand in _demands(scenario, mean))
    chosen = cheapest(groups, prices, scenario.equipment.existing_amplifiers)
    channels = _channels(chosen.options)
    warnings = [words for option in chosen.options for words in option.warnings]
    warnings += cable_warnings(scenario, channels) + rack_warnings(scenario)
    needs = tuple(n for use, power in mean.items() for n in _needs(scenario, use, power, channels))
    return Amplification(
        scenario=scenario,
        needs=needs,
        channels=channels,
        warnings=tuple(warnings),
        remarks=(
            *power_remarks(scenario, channels, groups),
            *tap_remarks(scenario, channels, needs),
        ),
        groups=groups,
        chosen=chosen,
        prices=prices,
    )


def _demands(scenario, mean):
    """What each group asks of its amplifier, from the mean power of each use (source, band)."""
    e = scenario.equipment
    rated = np.array([c.type.rated_w for c in scenario.loudspeakers])
    most = np.max([p.sum(axis=1) for p in mean.values()], axis=0)  # (source,)
    # that the amplifier must give
    peak = (
        electrical.heated_power(most, rated)
        * bands.to_energy(e.headroom_db)
        * bands.to_energy(e.cable_loss_db)
    )
    tags = [c.tag for c in scenario.loudspeakers]
    for group in scenario.groups:
        own = scenario.in_group(group.name)
        yield Demand(
            group=group.name,
            loudspeakers=own,
            peak_w=float(peak[tags.index(own[0].tag)]),
            wiring=e.wired(group.name),
        )


def _channels(chosen):
    """Outputs of all options put into amplifiers of their type in turn, with their cable."""
    channels, free, count = [], {}, 0
    pairs = [pair for o in chosen for pair in zip(o.outputs, o.cables, strict=True)]
    for n, (output, run) in enumerate(pairs, 1):
        kind = output.amplifier_type
        name, used = free.get(kind.name, ("", kind.channels))
        if used >= kind.channels:
            count += 1
            name, used = f"A{count}", 0
        free[kind.name] = name, used + 1
        channels.append(_channel(n, (name, used + 1), output, run))
    return tuple(channels)


def _channel(number, place, output, run):
    """One output with its place, (amplifier, its output), and its cable."""
    kind, loudspeakers = output.amplifier_type, output.loudspeakers
    damping = electrical.damping_factor(
        output.load_ohm, output_ohm=kind.output_ohm, cable_ohm=run.loop_ohm
    )
    rated = loudspeakers[0].type.rated_w * len(loudspeakers)
    return Channel(
        number=number,
        amplifier=place[0],
        output=place[1],
        type=kind,
        group=output.group,
        tags=tuple(c.tag for c in run.order),
        line_volts=output.line_volts,
        tap_w=output.tap_w,
        load_ohm=output.load_ohm,
        need_w=output.need_w,
        gives_w=float(output.gives_w),
        bears_w=PEAK * rated,
        rated_w=rated,
        cable=f"C{number}",
        conductor=run.conductor,
        existing_cable=run.existing,
        lengths=run.lengths,
        loss_db=run.loss_db,
        damping=float(damping),
        high_pass_hz=HIGH_PASS["line" if output.line_volts else "direct"],
    )


def _needs(scenario, use, mean, channels):
    """What each loudspeaker that plays takes in one use, from its mean power (source, band)."""
    headroom = bands.to_energy(scenario.equipment.headroom_db)
    for n, loudspeaker in enumerate(scenario.loudspeakers):
        watts = float(mean[n].sum())
        if watts <= 0:
            continue
        channel = next(c for c in channels if loudspeaker.tag in c.tags)
        lost_db = channel.loss_db + (TRANSFORMER_DB if channel.line_volts else 0.0)
        share = channel.gives_w / len(channel.tags) / bands.to_energy(lost_db)
        rated = loudspeaker.type.rated_w
        # mean power that each allows
        bears = {
            channel.power_limit: share / headroom,
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
            headroom_db=float(
                bands.to_level(bears[limit] / watts)
                - electrical.compression_db(bears[limit], rated)
            ),
            limited_by=limit,
        )
