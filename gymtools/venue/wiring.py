"""How loudspeaker groups are wired, and how the gym is run and powered."""

from dataclasses import dataclass, field

from .amplifiers import amplifier_types
from .quantity import Thing, quantity
from .tables import named

OPERATORS = ("nobody", "teacher", "trained")  # who runs the system
CONDUCTORS = ("awg", "mm2")
# usual taps of line transformers [W]    common practice, no source
TAPS = (3.75, 7.5, 15.0, 30.0, 60.0, 100.0, 150.0, 200.0, 250.0)


@dataclass(frozen=True, kw_only=True)
class Wiring(Thing):
    """How one loudspeaker group is wired; what is left out is chosen for it."""

    line_volts: float | None = quantity(
        "V",
        20,
        110,
        default=None,
        hint="25, 70.7 or 100 V; left out, loudspeakers are driven directly.",
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

    def __post_init__(self):
        super().__post_init__()
        if self.amplifier is not None:
            named(amplifier_types(), self.amplifier, "amplifier")
        if self.tap_w is not None and self.line_volts is None:
            raise ValueError("tap_w is given, but no line_volts: only a line has taps.")


@dataclass(frozen=True, kw_only=True)
class Equipment(Thing):
    """How the gym is wired, run and powered; the rack stands in the south-west corner when no
    place is given. What is ``existing`` (amplifiers, cable, mixer, microphones, rack) costs
    nothing.
    """

    rack_x: float | None = quantity("m", -60, 60, default=None)
    rack_y: float | None = quantity("m", -50, 50, default=None)
    rack_height: float = quantity("m", 0, 15, default=1.2, hint="Of the amplifiers over the floor.")
    headroom_db: float = quantity(
        "dB", 0, 24, default=10.0, hint="Peaks of speech over its mean level."
    )
    cable_loss_db: float = quantity("dB", 0.1, 3, default=0.5, hint="Most that a cable may take.")
    conductor: str | None = None
    ac_volts: float = quantity("V", 90, 260, default=120.0)
    circuit_a: float = quantity("A", 5, 63, default=20.0)
    operator: str = "teacher"
    existing: bool = False
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

    def wired(self, group):
        """How a group is wired.

        Parameters
        ----------
        group : str
            Name of the group

        Returns
        -------
        wiring : Wiring
            Driven directly, the rest chosen, when nothing is said of it
        """
        return self.wiring.get(group, Wiring())
