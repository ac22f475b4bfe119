"""Direct sound of the loudspeakers in a gym; what has not moved is not worked out again."""

from hashlib import blake2b

import numpy as np

from ..physics import compiled, field, geometry

KEPT = 512  # loudspeakers and areas whose direct sound is kept


def direct_sound(sources, areas, blocking, memory):
    """Direct sound at the points of several areas.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    areas : sequence of array
        Points of each area (point, 3) [m]
    blocking : Polygons
        What may stand in the way [m]
    memory : Memory
        Of the scenario: a loudspeaker that stays keeps its distances and lines of sight, and its
        sound at 1 W where it looks the same way, in every use

    Returns
    -------
    energy : ndarray
        (source, point, band) float32, the points of all areas in order [re 20 uPa squared]
    distance : ndarray
        (source, point) float32 [m]

    Sources
    -------
    As ``physics.field.direct_energy``.
    """
    areas = [np.asarray(a, float) for a in areas]
    places, pairs = _places(sources, areas, blocking), _pairs(sources, areas)
    keys = [
        (place, sources.axes[s].tobytes(), sources.balloon(s))
        for place, (s, _) in zip(places, pairs, strict=True)
    ]
    ways = memory.cache("ways of direct sound", KEPT)

    def make(missing):
        return _sent(
            sources, [(places[n], areas[pairs[n][1]], pairs[n][0]) for n in missing], blocking, ways
        )

    on_axis = np.asarray(sources.on_axis, np.float32)
    ends = np.cumsum([0, *(len(a) for a in areas)])
    energy = np.zeros((len(sources), ends[-1], on_axis.shape[1]), np.float32)
    distance = np.empty(energy.shape[:2], np.float32)
    kept = memory.cache("direct sound", KEPT).get_many(keys, make)
    for (s, k), (sent, way) in zip(pairs, kept, strict=True):
        distance[s, ends[k] : ends[k + 1]] = way
        if sources.playing[s]:
            np.multiply(sent, on_axis[s], out=energy[s, ends[k] : ends[k + 1]])
    return energy, distance


def _pairs(sources, areas):
    """Every loudspeaker with every area, in order."""
    return [(s, k) for s in range(len(sources)) for k in range(len(areas))]


def _places(sources, areas, blocking):
    """All that the way from a loudspeaker to an area depends on, for every pair, in short."""
    shapes = [getattr(blocking, name).tobytes() for name in ("normal", "offset", "edge_offset")]
    around = b"".join([*shapes, sources.decay.tobytes()])
    points = [blake2b(around + a.tobytes(), digest_size=16).digest() for a in areas]
    positions = [p.tobytes() for p in sources.position]
    return [points[k] + positions[s] for s, k in _pairs(sources, areas)]


def _sent(sources, pairs, blocking, ways):
    """Direct sound for 1 on the axis at 1 m (point, band), and the distance (point,), of several
    places with their points and loudspeakers.
    """

    def follow(missing):
        def one(n):
            _, points, s = pairs[missing[n]]
            free = geometry.in_sight(sources.position[s : s + 1], points, blocking)[0]
            return field.spreading(points, sources.position[s], sources.decay, free)

        return _each(one, len(missing))

    spread = ways.get_many([place for place, _, _ in pairs], follow)

    def one(n):
        _, points, s = pairs[n]
        aimed = field.pattern(points, sources.position[s], sources.axes[s], sources.balloon(s))
        return aimed * spread[n][0], spread[n][1]

    return _each(one, len(pairs))


def _each(one, count):
    """Answers of a function of the numbers from 0 on, side by side."""
    found = [None] * count

    def loop(first, end):
        for n in range(first, end):
            found[n] = one(n)

    compiled.side_by_side(loop, count, least=4)
    return found
