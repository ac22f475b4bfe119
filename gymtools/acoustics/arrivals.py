"""When sound arrives at every seat: direct sound, first reflections, delays, and where the voice
seems to come from.
"""

from dataclasses import dataclass

import numpy as np

from ..physics import arrivals, bands, reflections
from ..venue.microphones import STANDING, floor_height, walkable

ECHO_BAND = 3  # 1 kHz, in which the echo criterion is judged    Dietsch and Kraak (1986)
WITHIN_DB = 10.0  # arrivals this near to the strongest count
SAMPLES = 40  # seats of each area whose reflections are followed


@dataclass(frozen=True, kw_only=True, eq=False)
class Echoes:
    """First reflections and late arrivals at some seats of every listening area."""

    points: np.ndarray  # indices of the result's points (sample,)
    late_db: np.ndarray  # strongest arrival after 50 ms over the strongest before (sample,) [dB]
    criterion: np.ndarray  # Dietsch and Kraak, speech (sample,)


def spread(direct, arrival_s):
    """Time between the first and the last of the direct arrivals that are nearly as strong as the
    strongest.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    arrival_s : array
        (source, point) [s]

    Returns
    -------
    spread : ndarray
        (point,) [s]
    """
    return arrivals.arrival_spread_s(
        direct[..., bands.SPEECH].sum(axis=-1), arrival_s, within_db=WITHIN_DB
    )


def talker_place(scenario, use, configuration):
    """Where the talker of a use stands: the first open microphone, else a stage.

    Parameters
    ----------
    scenario : Scenario
        The scenario
    use : Use
        One of its uses
    configuration : HallConfiguration
        The hall as it stands in the use

    Returns
    -------
    place : ndarray or None
        (3,); None when the use names neither [m]
    """
    for m in scenario.microphones:
        if m.name in use.microphones:
            if m.walks is None:
                return m.positions(configuration)[0][0]
            x0, x1, y0, y1 = walkable(configuration, m.walks)
            return np.array(
                [(x0 + x1) / 2, (y0 + y1) / 2, floor_height(configuration, m.walks) + STANDING]
            )
    for platform in configuration.portable_stages:
        return np.array([platform.x, platform.y, platform.height + STANDING])
    if configuration.stage and use.curtain_open:
        x0, x1, y0, y1 = walkable(configuration, "stage")
        return np.array([(x0 + x1) / 2, (y0 + y1) / 2, configuration.stage.floor_height + STANDING])
    return None


def first_strong(direct, arrival_s):
    """Loudspeaker that leads at each point: the earliest of those within 10 dB of the strongest.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    arrival_s : array
        (source, point) [s]

    Returns
    -------
    source : ndarray of int
        (point,) [-]
    """
    energy = direct[..., bands.SPEECH].sum(axis=-1)
    strong = energy >= energy.max(axis=0) * 10 ** (-WITHIN_DB / 10)
    return np.where(strong & (energy > 0), arrival_s, np.inf).argmin(axis=0)


def image_shift_deg(direct, arrival_s, position, points, talker):
    """Angle at each point between the talker and the loudspeaker that leads.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    arrival_s : array
        (source, point) [s]
    position : array
        Loudspeakers (source, 3) [m]
    points : array
        (point, 3) [m]
    talker : array
        (3,) [m]

    Returns
    -------
    angle : ndarray
        (point,), 0 where the voice seems to come from the talker [deg]
    """
    lead = position[first_strong(direct, arrival_s)] - points
    voice = talker - points
    cosine = (lead * voice).sum(axis=1) / (
        np.linalg.norm(lead, axis=1) * np.linalg.norm(voice, axis=1)
    )
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def reflected(sources, surfaces, points):
    """Direct and first-order reflected sound at a few points.

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
    A surface mirrors what it neither absorbs nor scatters; the scattered part belongs to the late
    sound.
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
    """Late strong arrivals at a sample of seats in every listening area.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    echoes : Echoes
        Up to ``SAMPLES`` seats an area

    Sources
    -------
    Dietsch and Kraak, Acustica 60 (1986), speech: exponent 0.67, step 9 ms, 1 kHz octave. The late
    sound goes in as many small arrivals, so that it covers what it would cover in the hall; what
    the first images carry is not in it a second time.
    """
    chosen = [
        np.arange(
            a.points.start, a.points.stop, max(1, (a.points.stop - a.points.start) // SAMPLES)
        )[:SAMPLES]
        for a in result.areas
    ]
    index = np.concatenate(chosen)
    energy, time = reflected(result.sources, result.surfaces, result.points[index])
    energy = energy.reshape(-1, *energy.shape[2:])  # (arrival, point, band)
    time = time.reshape(-1, time.shape[2])
    late = arrivals.late_level_db(energy[..., bands.SPEECH].sum(axis=-1), time)
    first = np.where(energy[..., ECHO_BAND] > 0, time, np.inf).min(axis=0)
    absorbed = float(
        np.average(result.absorption[:, ECHO_BAND], weights=result.configuration.room.area)
    )
    tail, tail_time = result.reverberant.tail(result.points[index], ECHO_BAND, first, absorbed)
    level, when = np.concatenate([energy[..., ECHO_BAND], tail]), np.concatenate([time, tail_time])
    return Echoes(points=index, late_db=late, criterion=arrivals.echo_criterion(level, when))
