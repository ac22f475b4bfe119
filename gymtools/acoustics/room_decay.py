"""The decay of a gym as it is measured: a source that radiates all around, microphones spread over
the room. No loudspeaker of the design takes part, so that it is the gym's own.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, decay, geometry, tracing
from ..physics.balloons import AZ, EL, Balloon
from ..physics.cores import on_all_cores
from ..physics.counting import EDGES
from ..physics.reverberation import reverberation_time
from ..physics.sources import Sources
from .divided import half
from .sources import through_air

SOURCE_HEIGHT = 1.5  # over the floor    ISO 3382-2:2008, 4.3 (from memory) [m]
OFF_WALLS = 1.0  # of what stands on the floor    the same, 4.3.1 (from memory) [m]
ENDS = ((0.12, 0.3), (0.8, 0.75))  # of the free floor; off the axes, so that few modes are missed
FEW = 5  # passes of each position of the source where a design is looked for
PASSES = 20  # where figures are stated; doubled while the error is too large
MOST = 60  # passes at most
WANTED = 0.05  # standard error of T20, mean of 500 Hz to 2 kHz, as a share of it
RAYS_PER = 30.0  # volume of the gym for each ray of a pass [m3]
FEWEST_RAYS, MOST_RAYS = 150, 750  # of a pass
SEED = 31
STORED = 64  # decays that are kept
EVEN = Balloon(np.zeros((AZ, EL, len(bands.NOMINAL))))


@dataclass(frozen=True, kw_only=True, eq=False)
class RoomDecay:
    """Decay times of a gym in one state: traced, or by formula, where T20 and EDT are alike."""

    formula: np.ndarray | None = None  # Eyring's time, with air (7,); None where traced [s]
    courses: np.ndarray | None = None  # energy of each pass (pass, bin, 7)
    edges_s: np.ndarray | None = None  # of the bins (bin + 1,) [s]
    scale: float = 1.0  # by which all times are longer [-]

    @cached_property
    def t20(self):
        """T20 of each octave (7,); NaN where the decay was not followed far enough [s]."""
        return self._time("t20", self.courses)

    @cached_property
    def t30(self):
        """T30 of each octave (7,) [s]."""
        return self._time("t30", self.courses)

    @cached_property
    def edt(self):
        """Early decay time of each octave (7,) [s]."""
        return self._time("edt", self.courses)

    @cached_property
    def t20_error(self):
        """Standard error of T20, from how much it varies with the rays (7,) [s]."""
        return self._error("t20")

    @cached_property
    def edt_error(self):
        """Standard error of the early decay time (7,) [s]."""
        return self._error("edt")

    def longer(self, factor):
        """The decay of a gym that rings so many times as long.

        Parameters
        ----------
        factor : float
            Of all times [-]

        Returns
        -------
        decay : RoomDecay
            With its errors
        """
        return replace(self, scale=self.scale * factor)

    @property
    def middle(self):
        """Mean of 500 Hz, 1 and 2 kHz [s]."""
        return float(self.t20[bands.MIDDLE].mean())

    @property
    def middle_error(self):
        """Its standard error [s]: octaves share their rays, so their errors go together."""
        return float(self.t20_error[bands.MIDDLE].mean())

    def _time(self, measure, courses):
        if self.formula is not None:
            return self.scale * self.formula
        return self.scale * decay.decay_time(courses.mean(axis=0), self.edges_s, measure)

    def _error(self, measure):
        """Jackknife over the passes."""
        if self.formula is not None:
            return np.zeros_like(self.formula)
        count = len(self.courses)
        left_out = (np.delete(self.courses, k, axis=0) for k in range(count))
        rest = [self._time(measure, courses) for courses in left_out]
        return np.sqrt((count - 1) / count * ((rest - np.mean(rest, axis=0)) ** 2).sum(axis=0))


def room_decay(scenario, use, *, room="traced", rays="full", seed=SEED, passes=None):
    """Decay times of the gym as it stands in a use, with the people that are in it.

    Parameters
    ----------
    scenario : Scenario
        The gym
    use : Use
        One of its uses, perhaps with another occupancy
    room : str
        "traced", or "statistical" for the textbook formula, in which T20 and EDT are alike
    rays : str
        "full" or "few", as for ``evaluate``
    seed : int
        Of the rays' chance: the same one gives the same answer [-]
    passes : int, optional
        Of each position of the source; as many as the error asks for when left out [-]

    Returns
    -------
    decay : RoomDecay
        Kept by the scenario's memory
    """
    surfaces, through = scenario.surfaces(use), through_air(scenario.air)
    if room == "statistical":
        return _by_formula(scenario, use, *through)
    configuration, side = scenario.configuration(use.name), scenario.side(use)
    if rays == "few":
        passes = FEW
    key = (
        configuration,
        surfaces.met_absorption.tobytes(),
        surfaces.scattering.tobytes(),
        through[0].tobytes(),
        through[1],
        seed,
        passes,
        side,
    )
    return scenario.memory.cache("room decays", STORED).get(
        key, lambda: _traced((configuration, side), surfaces, through, (seed, passes))
    )


def _by_formula(scenario, use, decay_constant, speed):
    """Eyring's time, with air; of the listeners' half where the gym is divided."""
    surfaces = scenario.surfaces(use)
    if use.divided:
        surfaces = half(scenario.configuration(use.name), surfaces, scenario.side(use))
    rt = reverberation_time(
        surfaces.volume,
        surfaces.area,
        surfaces.absorption,
        air=decay_constant,
        speed_of_sound=speed,
    )
    return RoomDecay(formula=rt)


def _traced(where, surfaces, through, chance):
    """Decay times of all passes together, of as many as are wanted or as the error asks for."""
    configuration, side = where
    (seed, wanted), zones = chance, configuration.zones
    volume = zones.volume
    if side is not None:  # of the listeners' half alone
        volume = np.where(configuration.divider.side_of(zones.center) == side, volume, 0.0)
    heads = [(*head, SOURCE_HEIGHT) for head in source_spots(configuration, side)]
    source = _all_around(heads, *through)
    count = int(np.clip(surfaces.volume / RAYS_PER, FEWEST_RAYS, MOST_RAYS))

    def course(which):  # of one pass of one position (bin, band)
        rays = tracing.Rays(count=count, rng=np.random.default_rng([seed, *which]))
        found = tracing.trace(source.some([which[1]]), surfaces, zones, rays)
        return np.tensordot(volume, found.reflected, 1)

    courses = []  # of each pass
    while True:
        numbers = range(len(courses), wanted or max(2 * len(courses), PASSES))
        due = [(number, n) for number in numbers for n in range(len(heads))]
        found = np.array(list(on_all_cores(course, due)))
        courses += list(found.reshape(len(numbers), len(heads), *found.shape[1:]).sum(axis=1))
        decays = RoomDecay(courses=np.array(courses), edges_s=EDGES / through[1])
        sure = decays.middle_error <= WANTED * decays.middle
        if wanted or len(courses) >= MOST or sure:
            return decays


def _all_around(positions, decay_constant, speed):
    """Sources that radiate alike in all directions."""
    number = len(positions)
    return Sources(
        position=np.array(positions, float),
        axes=geometry.rotation(np.zeros(number), np.zeros(number)),
        balloons=(EVEN,),
        kind=np.zeros(number, int),
        on_axis=np.ones((number, len(bands.NOMINAL))),
        delay_s=np.zeros(number),
        playing=np.ones(number, bool),
        decay=decay_constant,
        speed=speed,
    )


def free_spots(configuration, side=None):
    """Spots of the floor, a meter apart, off walls and off what stands there.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use
    side : int, optional
        Of a divider, as ``Divider.side_of``; the whole floor when left out [-]

    Returns
    -------
    spots : ndarray
        (spot, 2), the center where nothing is free [m]
    """
    hall, c = configuration.hall, configuration
    x, y = (
        np.arange(-v / 2 + OFF_WALLS, v / 2 - OFF_WALLS + 1e-9, 1.0)
        for v in (hall.length, hall.width)
    )
    spots = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    free = np.ones(len(spots), bool)
    if side is not None:
        free &= c.divider.side_of(spots) == side
    banks = [b for b in c.banks if b.open and b.on_floor]
    covered = [t.footprint(hall) for t in (*banks, *c.floor_seats, *c.portable_stages)]
    covered += [
        box
        for f in c.fixtures
        if f.bottom < SOURCE_HEIGHT + OFF_WALLS
        for box in f.footprints(hall)
    ]
    if c.divider:
        covered.append(c.divider.footprint(hall))
    for west, east, south, north in covered:
        inside = (spots[:, 0] > west - OFF_WALLS) & (spots[:, 0] < east + OFF_WALLS)
        free &= ~(inside & (spots[:, 1] > south - OFF_WALLS) & (spots[:, 1] < north + OFF_WALLS))
    return spots[free] if free.any() else np.zeros((1, 2))


def source_spots(configuration, side=None):
    """Where the source of a measurement stands, in turn.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use
    side : int, optional
        Of a divider, as ``Divider.side_of``; the whole floor when left out [-]

    Returns
    -------
    spots : list of ndarray
        Two spots of the free floor, far from each other, each (2,) [m]

    Sources
    -------
    Two positions: ISO 3382-2:2008, table 1, engineering method (from memory).
    """
    spots = free_spots(configuration, side)
    low, high = spots.min(axis=0), spots.max(axis=0)
    ends = [low + (high - low) * share for share in ENDS]
    return [spots[np.argmin(np.linalg.norm(spots - end, axis=1))] for end in ends]
