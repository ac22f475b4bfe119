"""Microphone types, and the microphones of a gym: at a position, or walking within an area."""

from dataclasses import dataclass

import numpy as np

from ..physics.bands import NOMINAL
from ..physics.checks import within
from ..physics.microphones import talker_level_db
from .locations import along_wall, overlap
from .quantity import Thing, quantity
from .tables import named, read_table

# Speech at 1 m in front of the mouth [dB(A)]: octave sums of ANSI S3.5-1997, Table 3
EFFORT_DBA = {"normal": 59.2, "raised": 66.4, "loud": 73.9, "shouted": 82.2}
STANDING = (
    1.5  # height of a microphone in use by a standing person [m]     common practice, no source
)
GRID = 0.5  # step of the walking map [m]


@dataclass(frozen=True, kw_only=True)
class MicrophoneType(Thing):
    """A type of microphone; ``pattern`` is A of A + B cos in each octave, ``up_deg`` how far its
    axis rises toward the mouth.
    """

    name: str
    description: str
    pattern: tuple
    up_deg: float = quantity("deg", -90, 90)
    distance: float = quantity("m", 0.01, 5)
    nearest: float = quantity("m", 0.01, 5)
    farthest: float = quantity("m", 0.01, 5)
    effort: str
    wireless: bool
    source: str

    def __post_init__(self):
        super().__post_init__()
        within("pattern", self.pattern, 0, 1, "")
        named(EFFORT_DBA, self.effort, "effort")


def _load():
    types = {}
    for row in read_table("microphones.csv"):
        pattern = tuple(float(row.pop(f"a{f}")) for f in NOMINAL)
        words = {k: row.pop(k) for k in ("name", "description", "effort", "source")}
        wireless = row.pop("wireless") == "yes"
        types[words["name"]] = MicrophoneType(
            pattern=pattern, wireless=wireless, **words, **{k: float(v) for k, v in row.items()}
        )
    return types


MICROPHONE_TYPES = _load()


@dataclass(frozen=True, kw_only=True)
class Microphone(Thing):
    """A microphone of the hall.

    It stands at x, y on what ``on`` names ("floor" or a portable stage), ``height`` over it. On the
    built-in "stage" x is how far behind the front edge and y how far along it from its middle (to
    the north or the east), so that it moves with the stage. Or its talker ``walks`` within an area:
    "court", "floor", "stage" or a portable stage. ``facing_deg`` is where the talker looks
    (counter-clockwise from east); left out, the worst way counts. ``distance`` is from the mouth.
    """

    name: str
    type: str
    x: float = quantity("m", -60, 60, default=0.0)
    y: float = quantity("m", -50, 50, default=0.0)
    on: str = "floor"
    height: float = quantity("m", 0.1, 8, default=STANDING, hint="Over what it stands on.")
    walks: str | None = None
    facing_deg: float | None = quantity("deg", -360, 360, default=None)
    distance: float | None = quantity(
        "m", 0.01, 5, default=None, hint="From the mouth. Centimeters or inches given by mistake?"
    )
    effort: str | None = None

    def __post_init__(self):
        super().__post_init__()
        kind = named(MICROPHONE_TYPES, self.type, "type")
        if self.effort is not None:
            named(EFFORT_DBA, self.effort, "effort")
        if (
            self.distance is not None
            and not kind.nearest - 1e-6 <= self.distance <= kind.farthest + 1e-6
        ):
            raise ValueError(
                f"distance = {self.distance:g} m is outside {kind.nearest:g} to {kind.farthest:g}"
                f" m, what a '{self.type}' microphone is used at."
            )

    @property
    def kind(self):
        """Its type."""
        return MICROPHONE_TYPES[self.type]

    @property
    def talker_dba(self):
        """Level of its talker at the microphone [dB(A)]."""
        effort = EFFORT_DBA[self.effort or self.kind.effort]
        return float(talker_level_db(effort, self.distance or self.kind.distance))

    def positions(self, configuration):
        """Where it can be.

        Parameters
        ----------
        configuration : HallConfiguration
            The gym as it stands in the use

        Returns
        -------
        points : ndarray
            (position, 3): one, or a grid of at most half a meter over the area its talker walks [m]
        shape : tuple
            Rows (along x) and columns (along y) of the grid; (1, 1) for one position
        """
        if self.walks is None:
            x, y = self.x, self.y
            if self.on == "stage":
                foot, along, inward = along_wall(configuration.stage.side, configuration.hall)
                x, y, _ = foot + (configuration.stage.offset + self.y) * along - self.x * inward
            return np.array([[x, y, floor_height(configuration, self.on) + self.height]]), (1, 1)
        x0, x1, y0, y1 = walkable(configuration, self.walks)
        rows, columns = (max(2, int(np.ceil((b - a) / GRID)) + 1) for a, b in ((x0, x1), (y0, y1)))
        gx, gy = np.meshgrid(np.linspace(x0, x1, rows), np.linspace(y0, y1, columns), indexing="ij")
        z = floor_height(configuration, self.walks) + self.height
        return np.stack([gx, gy, np.full_like(gx, z)], axis=-1).reshape(-1, 3), (rows, columns)


def _platform(configuration, name):
    return next((p for p in configuration.portable_stages if p.name == name), None)


def floor_height(configuration, name):
    """Height of what a microphone or its talker stands on.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in the use
    name : str
        "floor", "court", "stage" or a portable stage

    Returns
    -------
    height : float
        Over the gym's floor [m]
    """
    if name == "stage" and configuration.stage:
        return configuration.stage.floor_height
    platform = _platform(configuration, name)
    return platform.height if platform else 0.0


def walkable(configuration, name):
    """Rectangle within which a talker walks, half a meter from its edges.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in the use
    name : str
        "court" or a side court, "floor" (between the banks and walls), "stage" or a portable stage

    Returns
    -------
    rectangle : tuple
        (x low, x high, y low, y high) [m]
    """
    hall, edge = configuration.hall, 0.5
    courts = {"court": configuration.court} | {s.name: s for s in configuration.side_courts}
    if name == "stage":
        a, b = configuration.stage.corners(hall)
        x0, x1, y0, y1 = min(a[0], b[0]), max(a[0], b[0]), min(a[1], b[1]), max(a[1], b[1])
    elif name in courts:
        x0, x1, y0, y1 = courts[name].footprint()
        edge = 0.0
    elif _platform(configuration, name):
        x0, x1, y0, y1 = _platform(configuration, name).footprint()
    else:
        x0, x1, y0, y1 = -hall.length / 2, hall.length / 2, -hall.width / 2, hall.width / 2
    if name in courts or name == "floor":
        for bank in (b for b in configuration.banks if b.on_floor):
            a, b, c, d = bank.footprint(hall)
            if overlap((a, b, c, d), (x0, x1, y0, y1)) <= 0:
                continue
            limits = {"north": (x0, x1, y0, min(y1, c)), "south": (x0, x1, max(y0, d), y1)}
            limits |= {"east": (x0, min(x1, a), y0, y1), "west": (max(x0, b), x1, y0, y1)}
            x0, x1, y0, y1 = limits[bank.side]
    return x0 + edge, x1 - edge, y0 + edge, y1 - edge
