"""How loudspeaker groups are wired, and how the gym is run and powered."""

from dataclasses import dataclass, field

from ..physics.electrical import MOST_OHM_KM
from .amplifiers import amplifier_types
from .arguments import number
from .quantity import Thing, quantity
from .tables import named
from .texts import shown

NOBODY = "nobody"
OPERATORS = (NOBODY, "teacher", "trained")  # who runs the system
CONDUCTORS = ("awg", "mm2")
LEAST_LINE = 20.0  # lowest voltage of a line [V]
AWG = (18, 16, 14, 12, 10, 8)  # usual conductors of loudspeaker cable, the thickest last
MM2 = tuple(MOST_OHM_KM)
# usual taps of line transformers [W]    common practice, no source
TAPS = (3.75, 7.5, 15.0, 30.0, 60.0, 100.0, 150.0, 200.0, 250.0)


@dataclass(frozen=True, kw_only=True)
class Wiring(Thing):
    """How one loudspeaker group is wired; what is left out is chosen for it.

    ``line_volts`` of 0 asks for low impedance, without transformers. ``existing_cable`` is a
    conductor that lies there already, e.g. "12 AWG" or "2.5 mm2", and is used again;
    ``cable_condition`` says how it was found.
    """

    line_volts: float | None = quantity(
        "V",
        0,
        110,
        default=None,
        hint="25, 70.7 or 100 V, or 0 for low impedance; left out, the cheapest is chosen.",
    )
    tap_w: float | None = quantity(
        "W", 0.5, 1000, default=None, hint="Of each loudspeaker's transformer."
    )
    amplifier: str | None = None
    per_channel: int | None = quantity(
        "count", 1, 12, default=None, hint="Loudspeakers on one channel."
    )
    run: float | None = quantity(
        "m",
        0.5,
        500,
        default=None,
        hint="Cable from the rack to the group's first loudspeaker; the others follow from there.",
    )
    existing_cable: str | None = None
    cable_condition: str = ""

    def __post_init__(self):
        super().__post_init__()
        if self.line_volts and self.line_volts < LEAST_LINE:
            raise ValueError(
                f"line_volts = {self.line_volts:g} V is no line: give {LEAST_LINE:g} to 110 V, or 0"
                " for low impedance."
            )
        if self.existing_cable is not None:
            conductor(self.existing_cable)
        if self.amplifier is not None:
            named(amplifier_types(), self.amplifier, "amplifier")
        if self.tap_w is not None and not self.line_volts:
            raise ValueError("tap_w is given, but no line_volts: only a line has taps.")


def conductor(words):
    """Size of a conductor and what it is counted in.

    Parameters
    ----------
    words : str
        E.g. "12 AWG" or "2.5 mm2"

    Returns
    -------
    size : float
        Gauge or nominal cross-section [AWG or mm2]
    unit : str
        One of ``CONDUCTORS``

    Raises
    ------
    ValueError
        No such conductor is known
    """
    size, _, unit = words.strip().replace("²", "2").lower().partition(" ")
    known = {"awg": AWG, "mm2": MM2}.get(unit.strip(), ())
    match = [one for one in known if size == f"{one:g}"]
    if not match:
        raise ValueError(
            f"existing_cable = {shown(words)} is unknown. Known:"
            f" {', '.join(f'{n} AWG' for n in AWG)}, {', '.join(f'{a:g} mm2' for a in MM2)}."
        )
    return match[0], unit.strip()


@dataclass(frozen=True, kw_only=True)
class Equipment(Thing):
    """How the gym is wired, run and powered.

    The rack is taken to stand in the south-west corner until ``rack_x`` and ``rack_y`` are given,
    and documents say so. ``largest_awg`` and ``largest_mm2`` are the thickest conductors that
    connectors take; which of them counts follows ``conductor``. ``automatic_mixing`` keeps one
    microphone open at a time in every use that does not say otherwise. ``existing_amplifiers``
    counts by type those that are there and are used again; ``existing_condition`` says how they
    were found. Where all of it is ``existing`` (amplifiers, cable, mixer, microphones, rack) it
    costs nothing.
    """

    rack_x: float | None = quantity("m", -60, 60, default=None)
    rack_y: float | None = quantity("m", -50, 50, default=None)
    rack_height: float = quantity("m", 0, 15, default=1.2, hint="Of the amplifiers over the floor.")
    headroom_db: float = quantity(
        "dB", 0, 24, default=10.0, hint="Peaks of speech over its mean level."
    )
    cable_loss_db: float = quantity("dB", 0.1, 3, default=0.5, hint="Most that a cable may take.")
    conductor: str | None = None
    largest_awg: int = quantity(
        "count", 8, 18, default=10, hint="Smaller numbers are thicker wires."
    )
    largest_mm2: float = quantity("mm2", 0.75, 10, default=6.0)
    ac_volts: float = quantity("V", 90, 260, default=120.0)
    circuit_a: float = quantity("A", 5, 63, default=20.0)
    operator: str = "teacher"
    existing: bool = False
    automatic_mixing: bool = False
    existing_amplifiers: dict = field(default_factory=dict)
    existing_condition: str = ""
    wiring: dict = field(default_factory=dict)

    def __post_init__(self):
        super().__post_init__()
        if self.operator not in OPERATORS:
            raise ValueError(
                f"operator = '{self.operator}' is unknown. Known: {', '.join(OPERATORS)}."
            )
        if self.conductor is not None and self.conductor not in CONDUCTORS:
            raise ValueError(
                f"conductor = '{self.conductor}' is unknown. Known: {', '.join(CONDUCTORS)}."
            )
        if not isinstance(self.automatic_mixing, bool):
            raise ValueError(f"automatic_mixing = {self.automatic_mixing!r} must be true or false.")
        for name, count in self.existing_amplifiers.items():
            named(amplifier_types(), name, "existing_amplifiers")
            number(f"existing_amplifiers '{name}'", count, 0, 50, "", "Give how many there are.")

    def wired(self, group):
        """How a group is wired.

        Parameters
        ----------
        group : str
            Name of the group

        Returns
        -------
        wiring : Wiring
            All of it chosen, when nothing is said of it
        """
        return self.wiring.get(group, Wiring())
