"""The decay of a gym as it is measured: a source that radiates all around, microphones spread over
the room. No loudspeaker of the design takes part, so that it is the gym's own.
"""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from ..physics import air, bands, decay, geometry, tracing
from ..physics.balloons import AZ, EL, Balloon
from ..physics.counting import EDGES
from ..physics.reverberation import reverberation_time
from ..physics.sources import Sources

SOURCE_HEIGHT = 1.5  # over the floor    ISO 3382-2:2008, 4.3 (from memory) [m]
OFF_WALLS = 1.0  # of what stands on the floor    the same, 4.3.1 (from memory) [m]
ENDS = ((0.12, 0.3), (0.8, 0.75))  # of the free floor; off the axes, so that few modes are missed
PASSES = 4  # of each position of the source; doubled while the error is too large
MOST = 8  # passes at most
WANTED = 0.04  # standard error of T20 in the worst of 250 Hz to 4 kHz, as a share of it
RAYS_PER = 8.0  # volume of the gym for each ray of a pass [m3]
FEWEST_RAYS, MOST_RAYS = 300, 2500  # of a pass
SEED = 31
STORED = 64  # decays that are kept
EVEN = Balloon(np.zeros((AZ, EL, len(bands.NOMINAL))))


@dataclass(frozen=True, kw_only=True, eq=False)
class RoomDecay:
    """Decay times of a gym in one state."""

    t20: np.ndarray  # (7,); NaN where the decay was not followed far enough [s]
    edt: np.ndarray  # (7,) [s]
    t20_error: np.ndarray  # standard error, from how much it varies with the rays (7,) [s]
    edt_error: np.ndarray  # (7,) [s]
    passes: int  # of each position of the source; 0 by formula

    @property
    def middle(self):
        """Mean T20 of 500 Hz, 1 and 2 kHz [s]."""
        return float(self.t20[bands.MIDDLE].mean())

    @property
    def middle_error(self):
        """Its standard error [s]: octaves share their rays, so their errors go together."""
        return float(self.t20_error[bands.MIDDLE].mean())


def room_decay(scenario, use, *, room="traced", seed=SEED, passes=None):
    """Decay times of the gym as it stands in a use, with the people that are in it.

    Parameters
    ----------
    scenario : Scenario
        The gym
    use : Use
        One of its uses, perhaps with another occupancy
    room : str
        "traced", or "statistical" for the textbook formula, in which T20 and EDT are alike
    seed : int
        Of the rays' chance: the same one gives the same answer [-]
    passes : int, optional
        Of each position of the source; as many as the error asks for when left out [-]

    Returns
    -------
    decay : RoomDecay
        Kept by the scenario's memory
    """
    surfaces, weather = scenario.surfaces(use), scenario.air
    loss_db = air.attenuation(
        bands.EXACT,
        temperature_c=weather.temperature_c,
        humidity_pct=weather.humidity_pct,
        pressure_kpa=weather.pressure_kpa,
    )
    through = air.decay_constant(loss_db), float(air.speed_of_sound(weather.temperature_c))
    if room == "statistical":
        return _by_formula(surfaces, *through)
    configuration = scenario.configuration(use.name)
    key = (
        configuration,
        surfaces.met_absorption.tobytes(),
        surfaces.scattering.tobytes(),
        through[0].tobytes(),
        through[1],
        seed,
        passes,
    )
    return scenario.memory.cache("room decays", STORED).get(
        key, lambda: _traced(configuration, surfaces, through, (seed, passes))
    )


def _by_formula(surfaces, decay_constant, speed):
    """Eyring's time, with air."""
    rt = reverberation_time(
        surfaces.volume,
        surfaces.area,
        surfaces.absorption,
        air=decay_constant,
        speed_of_sound=speed,
    )
    exact = np.zeros_like(rt)
    return RoomDecay(t20=rt, edt=rt, t20_error=exact, edt_error=exact, passes=0)


def _traced(configuration, surfaces, through, chance):
    """Decay times of all passes together, of as many as are wanted or as the error asks for."""
    (seed, wanted), zones = chance, configuration.zones
    heads = [(*head, SOURCE_HEIGHT) for head in source_spots(configuration)]
    source = _all_around(heads, *through)
    count = int(np.clip(surfaces.volume / RAYS_PER, FEWEST_RAYS, MOST_RAYS))

    def course(which):  # of one pass of one position (bin, band)
        rays = tracing.Rays(count=count, rng=np.random.default_rng([seed, *which]))
        found = tracing.trace(source.some([which[1]]), surfaces, zones, rays)
        return np.tensordot(zones.volume, found.reflected, 1)

    courses = []  # of each pass
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        while True:
            numbers = range(len(courses), wanted or max(2 * len(courses), PASSES))
            due = [(number, n) for number in numbers for n in range(len(heads))]
            found = np.array(list(pool.map(course, due)))
            courses += list(found.reshape(len(numbers), len(heads), *found.shape[1:]).sum(axis=1))
            decays = _of_passes(np.array(courses), EDGES / through[1])
            error = (decays.t20_error / decays.t20)[1:6]
            if wanted or len(courses) >= MOST or not np.any(error > WANTED):
                return decays


def _of_passes(courses, edges_s):
    """Decay times of passes together (pass, bin, band), and by jackknife how much they vary."""
    count, values = len(courses), {}
    for measure in ("t20", "edt"):
        values[measure] = decay.decay_time(courses.mean(axis=0), edges_s, measure)
        rest = [
            decay.decay_time(np.delete(courses, k, axis=0).mean(axis=0), edges_s, measure)
            for k in range(count)
        ]
        varied = ((rest - np.mean(rest, axis=0)) ** 2).sum(axis=0)
        values[f"{measure}_error"] = np.sqrt((count - 1) / count * varied)
    return RoomDecay(**values, passes=count)


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


def free_spots(configuration):
    """Spots of the floor, a meter apart, off walls and off what stands there.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use

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
    banks = [b for b in c.banks if b.open]
    for thing in (*banks, *c.floor_seats, *c.portable_stages):
        west, east, south, north = thing.footprint(hall)
        inside = (spots[:, 0] > west - OFF_WALLS) & (spots[:, 0] < east + OFF_WALLS)
        free &= ~(inside & (spots[:, 1] > south - OFF_WALLS) & (spots[:, 1] < north + OFF_WALLS))
    return spots[free] if free.any() else np.zeros((1, 2))


def source_spots(configuration):
    """Where the source of a measurement stands, in turn.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands in a use

    Returns
    -------
    spots : list of ndarray
        Two spots of the free floor, far from each other, each (2,) [m]

    Sources
    -------
    Two positions: ISO 3382-2:2008, table 1, engineering method (from memory).
    """
    spots = free_spots(configuration)
    low, high = spots.min(axis=0), spots.max(axis=0)
    ends = [low + (high - low) * share for share in ENDS]
    return [spots[np.argmin(np.linalg.norm(spots - end, axis=1))] for end in ends]
