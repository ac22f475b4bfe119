"""Arrivals at the seats: direct sound, first reflections, echoes, and where the voice seems to come
from.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..physics import arrivals, bands, reflections
from ..venue.microphones import STANDING, floor_height, walkable

ECHO_BAND = 3  # 1 kHz, in which the echo criterion is judged    Dietsch and Kraak (1986)
IN_SPEECH = np.zeros(7, np.float32)  # sums the octaves of speech (band,)
IN_SPEECH[bands.SPEECH] = 1
WITHIN_DB = 10.0  # arrivals no further below the strongest count [dB]
SAMPLES = 240  # seats of all areas together whose reflections are followed
KEPT = 64  # loudspeakers whose first reflections are kept
FEWEST = 20  # seats of any area, where it has so many
GOLDEN = (np.sqrt(5) - 1) / 2
NINE_OF_TEN = 90  # percentile of the seats by which echoes are judged [%]


@dataclass(frozen=True, kw_only=True, eq=False)
class Echoes:
    """Late arrivals at a sample of seats, spread evenly over every listening area."""

    points: np.ndarray  # indices of the result's points (sample,)
    share: np.ndarray  # of all seats that each one stands for (sample,), sums to 1 [-]
    seats: int  # of the areas that listen, sampled or not
    late_db: np.ndarray  # strongest arrival after 50 ms re the strongest before (sample,) [dB]
    criterion: np.ndarray  # Dietsch and Kraak, for speech (sample,) [-]

    def reached(self, values, percent=NINE_OF_TEN):
        """What so many of all seats do not exceed.

        Parameters
        ----------
        values : array
            ``late_db`` or ``criterion`` (sample,) [any]
        percent : float
            How many of the seats, 0 to 100 [%]

        Returns
        -------
        value : float
            Percentile, each sampled seat counted with its share [as values]
        """
        order = np.argsort(values)
        share = self.share[order]
        middle = np.cumsum(share) - share / 2
        return float(np.interp(percent / 100, middle, values[order]))

    @property
    def error(self):
        """Standard error of the criterion that nine of ten seats do not exceed [-].

        The number of sampled seats below a percentile is binomial; the percentiles that lie two
        standard errors of it below and above are four standard errors of the value apart (so wide,
        that a few seats alike do not make it small). A sample of all seats has none.

        Sources
        -------
        Woodruff, JASA 47 (1952) 635, from memory.
        """
        p, count = NINE_OF_TEN / 100, 1 / (self.share**2).sum()
        left = max(1 - len(self.points) / self.seats, 0.0)  # not sampled
        off = 100 * float(np.sqrt(p * (1 - p) / count * left))
        low, high = (
            self.reached(self.criterion, np.clip(NINE_OF_TEN + 2 * x, 0, 100)) for x in (-off, off)
        )
        return (high - low) / 4


def arrival_spread_s(direct, arrival_s):
    """Time between the first and the last direct arrival within 10 dB of the strongest.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    arrival_s : array
        Time of arrival (source, point) [s]

    Returns
    -------
    spread : ndarray
        (point,); 0 where one arrival counts [s]

    Raises
    ------
    ValueError
        Negative energy or time, or shapes that do not fit
    """
    return arrivals.arrival_spread_s(direct @ IN_SPEECH, arrival_s, within_db=WITHIN_DB)


def talker_position(scenario, use, configuration):
    """Position of the talker of a use: at the first open microphone, else on a stage.

    Parameters
    ----------
    scenario : Scenario
        The scenario
    use : Use
        One of its uses
    configuration : HallConfiguration
        The gym as it stands in the use

    Returns
    -------
    position : ndarray or None
        (3,); None for a use with neither [m]
    """
    for m in scenario.microphones:
        if m.name in use.microphones:
            return (
                m.positions(configuration)[0][0]
                if m.walks is None
                else _middle(configuration, m.walks)
            )
    for platform in configuration.portable_stages:
        return np.array([platform.x, platform.y, platform.height + STANDING])
    if configuration.stage and use.curtain_open:
        return _middle(configuration, "stage")
    return None


def _middle(configuration, area):
    """A standing talker in the middle of an area to walk in (3,) [m]."""
    x0, x1, y0, y1 = walkable(configuration, area)
    return np.array([(x0 + x1) / 2, (y0 + y1) / 2, floor_height(configuration, area) + STANDING])


def leading_source(direct, arrival_s):
    """Loudspeaker that leads at each point: the earliest of those within 10 dB of the strongest.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    arrival_s : array
        Time of arrival (source, point) [s]

    Returns
    -------
    source : ndarray of int
        Its index (point,) [-]

    Sources
    -------
    Law of the first wave front (Haas 1951, from memory); 10 dB is common practice, no source.
    """
    energy = direct @ IN_SPEECH
    strong = energy >= energy.max(axis=0) * 10 ** (-WITHIN_DB / 10)
    return np.where(strong & (energy > 0), arrival_s, np.inf).argmin(axis=0)


def image_shift_deg(direct, arrival_s, position, points, talker):
    """Image shift: angle at each point between the talker and the loudspeaker that leads.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    arrival_s : array
        Time of arrival (source, point) [s]
    position : array
        Positions of the loudspeakers (source, 3) [m]
    points : array
        Ears (point, 3) [m]
    talker : array
        Position of the talker (3,) [m]

    Returns
    -------
    angle : ndarray
        (point,), 0 where the voice seems to come from the talker [deg]
    """
    lead = position[leading_source(direct, arrival_s)] - points
    voice = talker - points
    cosine = (lead * voice).sum(axis=1) / (
        np.linalg.norm(lead, axis=1) * np.linalg.norm(voice, axis=1)
    )
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def first_reflections(sources, surfaces, points):
    """Direct sound and first reflections at a few points.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    surfaces : Surfaces
        Of the room
    points : array
        (point, 3) [m]

    Returns
    -------
    energy : ndarray
        (source, 1 + surface, point, band): the direct sound first [re 20 uPa squared]
    arrival_s : ndarray
        (source, 1 + surface, point) [s]

    Notes
    -----
    A surface mirrors what it neither absorbs nor scatters; the scattered part belongs to the
    reverberant sound.

    Sources
    -------
    Image sources of the first order, each with its loudspeaker's pattern: ``physics.reflections``.
    """
    direct, distance = sources.direct(points, surfaces.screens)
    images, way = reflections.image_arrivals(points, sources, surfaces)
    energy = np.concatenate([direct[:, None], images], axis=1)
    time = (
        np.concatenate([distance[:, None], way], axis=1) / sources.speed
        + sources.delay_s[:, None, None]
    )
    return energy, time


def echoes(result):
    """Late arrivals and the echo criterion at a sample of seats in every listening area.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    echoes : Echoes
        About ``SAMPLES`` seats, more where an area is larger

    Notes
    -----
    The reverberant sound joins in as many small arrivals, so that it covers what it would cover in
    the gym; what the first reflections carry is left out of it. What comes within the length of a
    pulse in the octave counts as one arrival.

    Sources
    -------
    Dietsch and Kraak, Acustica 60 (1986), speech: exponent 0.67, step 9 ms, 1 kHz octave.
    """
    index, share = _sample(result)
    points = result.points[index]
    judged, speech, time = _remembered_reflections(result, points)
    absorbed = np.average(result.absorption[:, ECHO_BAND], weights=result.configuration.room.area)
    arrival_s = result.arrival_s[:, index]
    tail, tail_time = result.reverberant.tail(points, ECHO_BAND, arrival_s, float(absorbed))
    together = np.concatenate([judged, tail]), np.concatenate([time, tail_time])
    return Echoes(
        points=index,
        share=share,
        seats=len(result.listeners),
        late_db=arrivals.late_level_db(speech, time),
        criterion=arrivals.echo_criterion(*together, merge_s=arrivals.PULSE_S),
    )


def _remembered_reflections(result, points):
    """Direct sound and first reflections in the octave judged and in those of speech, and their
    arrival (arrival, point) each; those of a loudspeaker that stays are not followed again.
    """
    sources, surfaces = result.sources, result.surfaces
    playing = np.flatnonzero(sources.playing)

    def make(missing):
        alone = sources.some(playing[missing])
        alone = replace(
            alone, on_axis=np.ones_like(alone.on_axis), delay_s=np.zeros_like(alone.delay_s)
        )
        return list(zip(*first_reflections(alone, surfaces, points), strict=True))

    around = (
        result.configuration.room.polygons,
        surfaces.specular_loss.tobytes(),
        points.tobytes(),
    )
    air = sources.decay.tobytes(), sources.speed
    keys = [
        (around, air, sources.position[n].tobytes(), sources.axes[n].tobytes(), sources.balloon(n))
        for n in playing
    ]
    judged, speech, times = [], [], []
    kept = result.scenario.memory.cache("first reflections", KEPT).get_many(keys, make)
    for n, (energy, time) in zip(playing, kept, strict=True):
        judged.append(energy[..., ECHO_BAND] * sources.on_axis[n, ECHO_BAND])
        speech.append(energy[..., bands.SPEECH] @ sources.on_axis[n, bands.SPEECH])
        times.append(time + sources.delay_s[n])
    return np.concatenate(judged), np.concatenate(speech), np.concatenate(times)


def _sample(result):
    """Indices of the seats whose echoes are followed, and the share of all seats that each one
    stands for (sample,).
    """
    seats, index, share = len(result.listeners), [], []
    for name in result.weights:
        span, area = result.spans[name], result.configuration.areas[name]
        count = span.stop - span.start
        wanted = max(FEWEST, round(SAMPLES * count / seats))
        columns = area.columns if area.rows * area.columns == count else 1
        found = _spread(count // columns, columns, wanted)
        index.append(span.start + found)
        share.append(np.full(len(found), count / seats / len(found)))
    return np.concatenate(index), np.concatenate(share)


def _spread(rows, columns, wanted):
    """Seats spread evenly over rows and columns (sample,): a lattice by the golden section, whose
    rows and columns do not keep time with those of the seats.
    """
    if wanted >= rows * columns:
        return np.arange(rows * columns)
    n = np.arange(wanted)
    along = ((n + 0.5) / wanted * columns).astype(int)
    across = ((n + 0.5) * GOLDEN % 1 * rows).astype(int)
    return np.unique(across * columns + along)
