"""Arrivals at the seats: direct sound, first reflections, echoes, and where the voice seems to come
from.
"""

from dataclasses import dataclass

import numpy as np

from ..physics import arrivals, bands, reflections
from ..venue.microphones import STANDING, floor_height, walkable

ECHO_BAND = 3  # 1 kHz, in which the echo criterion is judged    Dietsch and Kraak (1986)
WITHIN_DB = 10.0  # arrivals no further below the strongest count [dB]
SAMPLES = 40  # seats of each area whose reflections are followed


@dataclass(frozen=True, kw_only=True, eq=False)
class Echoes:
    """Late arrivals at a sample of seats of every listening area."""

    points: np.ndarray  # indices of the result's points (sample,)
    late_db: np.ndarray  # strongest arrival after 50 ms re the strongest before (sample,) [dB]
    criterion: np.ndarray  # Dietsch and Kraak, for speech (sample,) [-]


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
    return arrivals.arrival_spread_s(
        direct[..., bands.SPEECH].sum(axis=-1), arrival_s, within_db=WITHIN_DB
    )


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
    energy = direct[..., bands.SPEECH].sum(axis=-1)
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
    direct, distance = sources.direct(points, surfaces.blocking)
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
        Up to ``SAMPLES`` seats an area

    Notes
    -----
    The reverberant sound joins in as many small arrivals, so that it covers what it would cover in
    the gym; what the first reflections carry is left out of it.

    Sources
    -------
    Dietsch and Kraak, Acustica 60 (1986), speech: exponent 0.67, step 9 ms, 1 kHz octave.
    """
    index = np.concatenate([_sampled(a.points) for a in result.areas])
    points = result.points[index]
    energy, time = first_reflections(result.sources, result.surfaces, points)
    energy = energy.reshape(-1, *energy.shape[2:])  # (arrival, point, band)
    time = time.reshape(-1, time.shape[2])  # (arrival, point)
    judged = energy[..., ECHO_BAND]
    absorbed = np.average(result.absorption[:, ECHO_BAND], weights=result.configuration.room.area)
    tail, tail_time = result.reverberant.tail(
        points, ECHO_BAND, result.arrival_s[:, index], float(absorbed)
    )
    return Echoes(
        points=index,
        late_db=arrivals.late_level_db(energy[..., bands.SPEECH].sum(axis=-1), time),
        criterion=arrivals.echo_criterion(
            np.concatenate([judged, tail]), np.concatenate([time, tail_time])
        ),
    )


def _sampled(span):
    """Up to ``SAMPLES`` indices spread over the seats of an area."""
    step = max(1, (span.stop - span.start) // SAMPLES)
    return np.arange(span.start, span.stop, step)[:SAMPLES]
