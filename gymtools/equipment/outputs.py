"""How the loudspeakers of a group share the outputs of a type of amplifier: driven directly, or on
a line with transformers.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..physics import bands, electrical
from ..venue.amplifiers import AmplifierType
from ..venue.wiring import TAPS, Wiring

# of an amplifier's power that the taps of a line may take    common practice, no source
LINE_PART = 0.8
TRANSFORMER_DB = 0.7  # lost in a line transformer    common practice (0.5 to 1 dB), no source
LOAD_SLACK = 0.01  # by which a load may lie below the least load, for rounding [ohm]


@dataclass(frozen=True, kw_only=True)
class Demand:
    """What one group asks of its amplifier; all loudspeakers of a group play alike."""

    group: str
    loudspeakers: tuple
    peak_w: float  # at the amplifier for each loudspeaker, in the use that takes most
    wiring: Wiring

    @property
    def impedance_ohm(self):
        """Impedance of each loudspeaker [ohm]."""
        return self.loudspeakers[0].type.impedance_ohm


@dataclass(frozen=True, kw_only=True)
class Output:
    """Loudspeakers on one output, before it is given a place in an amplifier."""

    group: str
    loudspeakers: tuple
    amplifier_type: AmplifierType
    line_volts: float | None  # None: driven directly
    tap_w: float | None
    load_ohm: float
    need_w: float  # that the peaks of all of them ask for
    gives_w: float  # into this load
    each_ohm: float  # load of one loudspeaker, with its transformer on a line


@dataclass(frozen=True, kw_only=True)
class Option:
    """One way to drive a group: how it is wired, a type of amplifier and some of its outputs."""

    amplifier_type: AmplifierType
    outputs: tuple
    line_volts: float | None  # None: low impedance
    fits: bool  # its power and its load suffice
    warnings: tuple
    strength: tuple  # sorts options of which none fits
    cables: tuple = ()  # Cable, one for each output
    rank: int = 0  # the usual wirings first
    own_cost: float = 0.0  # cable, transformers and outputs of the processor; no amplifier

    @property
    def settled(self):
        """Whether power, load and cables suffice."""
        return self.fits and all(c.fits for c in self.cables)


def direct(demand, count, amplifier_type):
    """Loudspeakers on an output without transformers, in parallel.

    Parameters
    ----------
    demand : Demand
        Of a group
    count : int
        Loudspeakers on one output at most [-]
    amplifier_type : AmplifierType
        Which to try

    Returns
    -------
    option : Option or None
        None when the amplifier drives no such load
    """
    ohm = demand.impedance_ohm
    gives, need = amplifier_type.watts(ohm / count), demand.peak_w * count
    if not gives:
        return None
    outputs = tuple(
        Output(
            group=demand.group,
            loudspeakers=part,
            amplifier_type=amplifier_type,
            line_volts=None,
            tap_w=None,
            load_ohm=float(electrical.parallel([ohm] * len(part))),
            need_w=demand.peak_w * len(part),
            gives_w=amplifier_type.watts(ohm / len(part)),
            each_ohm=ohm,
        )
        for part in _shared(demand.loudspeakers, count)
    )
    weak = (
        f"'{demand.group}': no amplifier gives the {need:.0f} W that peaks ask for;"
        f" {amplifier_type.name} gives {gives:.0f} W."
    )
    return Option(
        amplifier_type=amplifier_type,
        outputs=outputs,
        line_volts=None,
        fits=gives >= need,
        warnings=() if gives >= need else (weak,),
        strength=(gives / count, count),
    )


def on_line(demand, count, amplifier_type, volts):
    """Loudspeakers on an output with a transformer each, on the least tap that carries the peaks.

    Parameters
    ----------
    demand : Demand
        Of a group
    count : int
        Loudspeakers on one output at most [-]
    amplifier_type : AmplifierType
        Which to try
    volts : float
        Of the line [V]

    Returns
    -------
    option : Option or None
        None when the amplifier drives no line; a tap that is too small suffices only where the
        file asks for the line
    """
    if not amplifier_type.line_w:
        return None
    with_loss = demand.peak_w * bands.to_energy(TRANSFORMER_DB)
    tap = demand.wiring.tap_w or next((t for t in TAPS if t >= with_loss), TAPS[-1])
    each = _line_load(tap, 1, volts)
    outputs = tuple(
        Output(
            group=demand.group,
            loudspeakers=part,
            amplifier_type=amplifier_type,
            line_volts=volts,
            tap_w=tap,
            load_ohm=each / len(part),
            need_w=float(with_loss * len(part)),
            gives_w=min(tap * len(part), amplifier_type.line_w),
            each_ohm=each,
        )
        for part in _shared(demand.loudspeakers, count)
    )
    heavy = tap * count > LINE_PART * amplifier_type.line_w
    strained = each / count < amplifier_type.min_ohm - LOAD_SLACK
    said = []
    if tap < with_loss:
        said.append(
            f"'{demand.group}': peaks ask for {with_loss:.0f} W at each transformer, its tap takes"
            f" {tap:g} W."
        )
    if heavy:
        said.append(_heavy(demand.group, count, tap, amplifier_type))
    if strained:
        said.append(_strained(demand.group, count, tap, volts, amplifier_type))
    weak = tap < with_loss and not demand.wiring.line_volts
    return Option(
        amplifier_type=amplifier_type,
        outputs=outputs,
        line_volts=volts,
        fits=not (heavy or strained or weak),
        warnings=tuple(said),
        strength=(not strained, amplifier_type.line_w / count, count),
    )


def _line_load(tap_w, count, volts):
    """Load of so many equal taps [ohm]."""
    return float(electrical.line_load([tap_w] * count, volts=volts)[1])


def _heavy(group, count, tap_w, amplifier_type):
    return (
        f"'{group}': the taps of {_many(count)} take {tap_w * count:g} W, over"
        f" {100 * LINE_PART:.0f} % of the {amplifier_type.line_w:g} W of {amplifier_type.name}."
    )


def _strained(group, count, tap_w, volts, amplifier_type):
    return (
        f"'{group}': the taps of {_many(count)} load the {volts:g} V line with"
        f" {_line_load(tap_w, count, volts):.1f} ohm, less than the {amplifier_type.min_ohm:g} ohm"
        f" that {amplifier_type.name} bears. A higher line voltage, or smaller taps?"
    )


def _many(count):
    return f"{count} loudspeakers" if count > 1 else "one loudspeaker"


def _shared(loudspeakers, count):
    """Neighbors together, as evenly as may be, no more than count."""
    parts = np.array_split(range(len(loudspeakers)), math.ceil(len(loudspeakers) / count))
    return [tuple(loudspeakers[k] for k in part) for part in parts]
