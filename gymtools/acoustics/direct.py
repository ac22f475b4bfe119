"""Direct sound of the loudspeakers in a gym; what has not moved is not worked out again."""

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
    places = _places(sources, areas, blocking)
    ways = _ways(sources, areas, blocking, memory.cache("ways of direct sound", KEPT), places)
    sent = _sent(sources, areas, memory.cache("direct sound", KEPT), places, ways)
    on_axis = np.asarray(sources.on_axis, np.float32)
    ends = np.cumsum([0, *(len(a) for a in areas)])
    energy = np.zeros((len(sources), ends[-1], on_axis.shape[1]), np.float32)
    distance = np.empty(energy.shape[:2], np.float32)
    for (s, k), (_, way), found in zip(_pairs(sources, areas), ways, sent, strict=True):
        distance[s, ends[k] : ends[k + 1]] = way
        if sources.playing[s]:
            np.multiply(found, on_axis[s], out=energy[s, ends[k] : ends[k + 1]])
    return energy, distance


def _pairs(sources, areas):
    """Every loudspeaker with every area, in order."""
    return [(s, k) for s in range(len(sources)) for k in range(len(areas))]


def _places(sources, areas, blocking):
    """All that the way from a loudspeaker to an area depends on, for every pair."""
    around = tuple(
        getattr(blocking, name).tobytes() for name in ("normal", "offset", "edge_offset")
    )
    surroundings = (*around, sources.decay.tobytes())
    points = [a.tobytes() for a in areas]
    return [
        (surroundings, points[k], sources.position[s].tobytes(), bool(sources.playing[s]))
        for s, k in _pairs(sources, areas)
    ]


def _ways(sources, areas, blocking, cache, places):
    """Spreading and distance of every pair."""
    pairs = _pairs(sources, areas)

    def make(missing):
        def one(n):
            s, k = pairs[n]
            position = sources.position[s : s + 1]
            free = geometry.in_sight(position, areas[k], blocking)[0]
            return field.spreading(areas[k], position[0], sources.decay, free)

        return _each(one, missing)

    return cache.get_many(places, make)


def _sent(sources, areas, cache, places, ways):
    """Direct sound of every pair for 1 on the axis at 1 m (point, band)."""
    pairs = _pairs(sources, areas)

    def make(missing):
        def one(n):
            s, k = pairs[n]
            aim = sources.position[s], sources.axes[s], sources.balloon(s)
            return field.pattern(areas[k], *aim) * ways[n][0]

        return _each(one, missing)

    keys = [
        (*place, sources.axes[s].tobytes(), sources.balloon(s))
        for place, (s, _) in zip(places, pairs, strict=True)
    ]
    return cache.get_many(keys, make)


def _each(one, missing):
    """Answers for all that is missing, side by side."""
    found = [None] * len(missing)

    def loop(first, end):
        for n in range(first, end):
            found[n] = one(missing[n])

    compiled.side_by_side(loop, len(missing), least=4)
    return found
