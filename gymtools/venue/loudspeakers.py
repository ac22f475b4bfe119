"""Loudspeaker types, and groups of them in the gym."""

import math
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from types import MappingProxyType

import numpy as np

from ..physics.balloons import Balloon
from ..physics.bands import NOMINAL, SPEECH
from ..physics.directivity import MOST_LOBES, generic_balloon
from ..physics.geometry import rotation
from .arguments import one_of
from .quantity import Thing, quantity
from .tables import read_table

# most that the processor lifts a weak octave of a loudspeaker [dB]    common practice, no source
BOOST_DB = 6.0
# of what hangs there already
CONDITIONS = ("works", "rattles", "dead", "not tried")


@dataclass(frozen=True, kw_only=True)
class LoudspeakerType(Thing):
    """A type of loudspeaker: its numbers carry their ``source``; the balloon is made from them."""

    name: str
    description: str
    horizontal_deg: float = quantity("deg", 5, 180)
    vertical_deg: float = quantity("deg", 5, 180)
    mouth_width: float = quantity("m", 0.02, 3)
    mouth_height: float = quantity("m", 0.02, 3)
    lobes: int = quantity("count", 1, MOST_LOBES)
    lobe_tilt_deg: float = quantity("deg", 0, 80)
    sensitivity_db: tuple  # level at 1 m on axis for 1 W, seven octaves [dB]
    rated_w: float = quantity("W", 1, 5000)
    impedance_ohm: float = quantity("ohm", 2, 32)
    width: float = quantity("m", 0.05, 3)
    height: float = quantity("m", 0.05, 3)
    depth: float = quantity("m", 0.05, 3)
    weight_kg: float = quantity("kg", 0.5, 300)
    source: str
    # balloon as measured; None: generic
    measured_db: np.ndarray | None = field(default=None, repr=False, compare=False)
    fingerprint: str = ""  # of what was measured

    @cached_property
    def balloon(self):
        """Directivity (Balloon): as measured, else made from the nominal angles."""
        if self.measured_db is not None:
            return Balloon(self.measured_db)
        return Balloon(
            generic_balloon(
                self.horizontal_deg,
                self.vertical_deg,
                mouth_width=self.mouth_width,
                mouth_height=self.mouth_height,
                lobes=self.lobes,
                lobe_tilt_deg=self.lobe_tilt_deg,
            )
        )

    @property
    def balloon_db(self):
        """Level re the axis (azimuth, elevation, band) [dB]."""
        return self.balloon.level_db

    @property
    def index_db(self):
        """Directivity index (band,) [dB]."""
        return self.balloon.index_db

    @cached_property
    def beams(self):
        """Axes of each beam in the loudspeaker's frame (beam, 3, 3): one for most, one a side for a
        enclosure with several.
        """
        turn = 360.0 * np.arange(self.lobes) / self.lobes
        return rotation(turn, np.full(self.lobes, self.lobe_tilt_deg))

    @cached_property
    def response_db(self):
        """Level at 1 m on axis for 1 W once equalized: flat at the mid-band mean, but no octave
        lifted by more than BOOST_DB (band,) [dB].
        """
        own = np.array(self.sensitivity_db, float)
        return np.minimum(own[SPEECH].mean(), own + BOOST_DB)


@lru_cache(maxsize=1)
def loudspeaker_types():
    """Loudspeaker types of the package's table; a scenario adds those that were measured for it.

    Returns
    -------
    types : mapping
        LoudspeakerType by name; it cannot be changed
    """
    types = {}
    for row in read_table("loudspeakers.csv"):
        sensitivity = tuple(float(row.pop(f"s{f}")) for f in NOMINAL)
        words = {k: row.pop(k) for k in ("name", "description", "source")}
        numbers = {k: float(v) for k, v in row.items()}
        types[words["name"]] = LoudspeakerType(sensitivity_db=sensitivity, **words, **numbers)
    return MappingProxyType(types)


@dataclass(frozen=True, kw_only=True)
class Loudspeaker:
    """One loudspeaker where it hangs: position of its acoustic center [m], pan counter-clockwise
    from east, downtilt [deg].
    """

    tag: str
    group: str
    type: LoudspeakerType
    x: float
    y: float
    z: float
    pan_deg: float
    downtilt_deg: float
    leak_db: float = 0.0  # what it radiates more than its type at one level on the axis [dB]

    @property
    def position(self):
        """Position of its acoustic center (3,) [m]."""
        return np.array([self.x, self.y, self.z])

    @property
    def enclosure(self):
        """Center (3,), axes (3, 3) and half sizes (3,) of the enclosure; its acoustic center lies
        in the middle of its front [m, -, m].
        """
        axes = rotation(self.pan_deg, self.downtilt_deg)
        half = np.array([self.type.depth, self.type.width, self.type.height]) / 2
        return self.position - half[0] * axes[0], axes, half


@dataclass(frozen=True, kw_only=True)
class Group(Thing):
    """Loudspeakers of one type in a line, moved and switched together; x, y is the line's middle.

    ``spacing`` is the distance from one to the next along the direction ``along_deg`` (0 east, 90
    north); ``splay_deg`` turns each one further than its neighbor; ``leak_db`` is what each
    radiates more than its type says, at one level on the axis. A group of one is a single
    loudspeaker. What is ``existing`` hangs there already and costs nothing; its ``condition`` is
    one of ``CONDITIONS``.
    """

    name: str
    tag: str
    loudspeaker: str
    number: int = quantity("count", 1, 12, default=1)
    x: float = quantity("m", -40, 40, default=0.0)
    y: float = quantity("m", -30, 30, default=0.0)
    height: float = quantity(
        "m", 2.2, 20, hint="Height of the loudspeaker's middle over the floor."
    )
    spacing: float = quantity("m", 0, 60, default=0.0)
    along_deg: float = quantity("deg", -180, 180, default=0.0)
    pan_deg: float = quantity("deg", -180, 180)
    downtilt_deg: float = quantity(
        "deg", -30, 90, hint="Tilt is positive down: 90 fires at the floor."
    )
    splay_deg: float = quantity("deg", -180, 180, default=0.0)
    leak_db: float = quantity(
        "dB",
        -6,
        6,
        default=0.0,
        hint="What each radiates more than its type says, at one level on its axis.",
    )
    existing: bool = False
    condition: str = ""

    def __post_init__(self):
        super().__post_init__()
        if self.condition:
            one_of("condition", self.condition, CONDITIONS)
        if self.condition and not self.existing:
            raise ValueError(
                f"condition = '{self.condition}': only what is there has one. Add existing = true."
            )
        if not isinstance(self.loudspeaker, str):
            raise ValueError(f"loudspeaker = {self.loudspeaker!r} must be text in quotes.")
        if self.number > 1 and self.spacing <= 0:
            raise ValueError(
                f"spacing = {self.spacing:g} m hangs {self.number} loudspeakers in one place. Give"
                " their distance."
            )

    def loudspeakers(self, loudspeaker_type):
        """The loudspeakers of the group.

        Parameters
        ----------
        loudspeaker_type : LoudspeakerType
            What the scenario knows under the group's ``loudspeaker``

        Returns
        -------
        loudspeakers : tuple of Loudspeaker
            In line order
        """
        found, a = [], math.radians(self.along_deg)
        for k in range(self.number):
            step = k - (self.number - 1) / 2
            found.append(
                Loudspeaker(
                    tag=f"{self.tag}{k + 1}",
                    group=self.name,
                    type=loudspeaker_type,
                    x=self.x + step * self.spacing * math.cos(a),
                    y=self.y + step * self.spacing * math.sin(a),
                    z=self.height,
                    pan_deg=self.pan_deg + step * self.splay_deg,
                    downtilt_deg=self.downtilt_deg,
                    leak_db=self.leak_db,
                )
            )
        return tuple(found)
