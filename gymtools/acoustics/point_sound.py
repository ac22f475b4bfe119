"""What each loudspeaker brings to one point, ready to be made audible: its direct sound and first
reflections with their times and directions, and the course of the late sound behind them.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from ..physics import bands, counting, intelligibility, reflections, tails

# reflections stand for what the rays of the zone saw mirrored; of a seat that hardly sees the
# surface they are raised no further than this, and the rest stays late sound [-]
MOST_RAISED = 4.0
SPREAD_S = 0.005  # what a zone has before the direct sound of this seat follows within so long [s]
WEAK_DB = 65.0  # the late sound is followed until so much of it is gone in every octave [dB]
LONGEST_S = 8.0  # ... but no longer than this [s]


@dataclass(frozen=True, kw_only=True, eq=False)
class PointSound:
    """What one loudspeaker brings to one point, its delay left out; energies are gains of the
    program's octaves, so that speech of 0 dB(A) comes out at the level of the evaluation.
    """

    loudspeaker: int  # index among those of the scenario
    energy: np.ndarray  # of each arrival, the direct sound first (arrival, band) [-]
    time_s: np.ndarray  # (arrival,) [s]
    toward: np.ndarray  # unit vectors from the point to where each comes from (arrival, 3) [-]
    late: np.ndarray  # energy of the late sound in steps of 1 ms from its start (step, band) [-]
    late_from_s: float  # when it starts [s]

    @property
    def whole(self):
        """Energy of all of it (band,) [-]."""
        return self.energy.sum(axis=0) + self.late.sum(axis=0)


def point_sounds(result, point):
    """What every loudspeaker that plays brings to a point.

    Parameters
    ----------
    result : Result
        An evaluation of the traced room
    point : array
        Where (3,) [m]

    Returns
    -------
    sounds : list of PointSound
        One for each loudspeaker that plays

    Raises
    ------
    ValueError
        The room of the evaluation is not traced

    Notes
    -----
    Reflections come when and whence their mirror images say; how strong they are together follows
    the rays (their part that has met one surface, as a mirror), so that direct, reflected and late
    sound of a loudspeaker sum to what the evaluation says of it.

    Sources
    -------
    Images of the first order after Allen and Berkley 1979: ``physics.reflections``; late sound:
    ``physics.tracing``.
    """
    if result.room != "traced":
        raise ValueError(
            "only the traced room can be listened to: by formula nobody knows when what arrives."
            " Evaluate with room = 'traced'."
        )
    sources, point = result.sources, np.asarray(point, float)[None]
    playing = np.flatnonzero(result.playing)
    still = replace(sources, delay_s=np.zeros(len(sources))).some(playing)
    direct, distance = still.direct(point, result.surfaces.screens)
    images, way = reflections.image_arrivals(point, still, result.surfaces)
    speech = bands.to_energy(intelligibility.SPEECH_SPECTRUM_DB)
    mirrors = _mirrored(still.position, result.surfaces.polygons)  # (source, surface, 3)
    sounds = []
    for k, n in enumerate(playing.tolist()):
        there = np.flatnonzero(images[k, :, 0].any(axis=1))
        late, kept = _late(result, n, point, images[k, there, 0].sum(axis=0))
        energy = np.concatenate([direct[k, :1], images[k, there, 0] * kept])
        origin = np.concatenate([still.position[k : k + 1], mirrors[k, there]]) - point
        metres = np.concatenate([distance[k, :1], way[k, there, 0]])
        sounds.append(
            PointSound(
                loudspeaker=n,
                energy=energy / speech,
                time_s=metres / sources.speed,
                toward=origin / np.linalg.norm(origin, axis=1)[:, None],
                late=_until_weak(late / speech),
                late_from_s=float(distance[k, 0] / sources.speed),
            )
        )
    return sounds


def _mirrored(position, polygons):
    """Loudspeakers mirrored in the planes (source, surface, 3)."""
    normal = polygons.normal.astype(float)
    height = position @ normal.T - polygons.offset  # (source, surface)
    return position[:, None] - 2 * height[..., None] * normal


def _late(result, n, point, images):
    """Late sound of one loudspeaker at a point in steps of 1 ms from its direct sound on (step,
    band), and how its reflections are raised to be what the rays saw mirrored (band,).
    """
    field = result.reverberant
    response = field.responses.get(n)
    if response is None:
        return np.zeros((1, len(images))), np.zeros(len(images))
    zones, weights = (found[0] for found in field.zones.corners(point))
    fed, trace = field.fed[n], response.trace
    mirrored = fed * (weights @ trace.mirrored[zones].sum(axis=1))  # (band,)
    kept = np.minimum(mirrored / np.maximum(images, 1e-30), MOST_RAISED) * (images > 0)
    # what the images do not stand for stays late sound
    rest = 1 - np.divide(kept * images, mirrored, out=np.zeros_like(mirrored), where=mirrored > 0)
    late = 0.0
    for zone, weight in zip(zones, weights, strict=True):
        course = trace.reflected[zone] - trace.mirrored[zone] * (1 - rest)
        late = late + _in_steps(weight * fed * np.maximum(course, 0), response, zone)
    return late, kept


def _in_steps(course, response, zone):
    """The course of a zone (bin, band) in steps of 1 ms after the direct sound (step, band)."""
    since = (counting.EDGES - response.way[zone]) / response.speed
    until = np.concatenate([np.zeros((1, course.shape[1])), np.cumsum(course, axis=0)])
    end = min(LONGEST_S, since[-1])
    at = np.arange(0.0, end, tails.STEP_S)
    steps = np.diff(PchipInterpolator(since, until)(np.maximum(at, since[0])), axis=0)
    before = until[np.searchsorted(since, 0.0)] if since[0] < 0 else np.zeros(course.shape[1])
    found = np.zeros((round(LONGEST_S / tails.STEP_S), course.shape[1]))
    found[: len(steps)] = np.maximum(steps, 0)
    whole = found.sum(axis=0) + before
    first = round(SPREAD_S / tails.STEP_S)
    found[:first] += before / first
    # rounding of the steps: the energy stays what it is
    return found * np.divide(until[-1], whole, out=np.zeros_like(whole), where=whole > 0)


def _until_weak(late):
    """Late sound without its weak end (step, band)."""
    whole = late.sum(axis=0)
    left = whole - np.cumsum(late, axis=0)
    loud = (left > whole * bands.to_energy(-WEAK_DB)).any(axis=1)
    return late[: int(loud.sum()) + 1]
