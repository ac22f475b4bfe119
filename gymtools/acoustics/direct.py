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
    pairs = [(s, k) for s in range(len(sources)) for k in range(len(areas))]
    places = _places(sources, areas, pairs)
    on_axis = np.asarray(sources.on_axis, np.float32)
    ends = np.cumsum([0, *(len(a) for a in areas)])
    energy = np.zeros((len(sources), ends[-1], on_axis.shape[1]), np.float32)
    distance = np.empty(energy.shape[:2], np.float32)
    free = _in_sight(sources, [areas[k] for _, k in pairs], pairs, (places, blocking, memory))
    sent = _sent(sources, [areas[k] for _, k in pairs], pairs, (places, memory))
    for (s, k), (at_1w, way), seen in zip(pairs, sent, free, strict=True):
        part = slice(ends[k], ends[k + 1])
        distance[s, part] = way
        if sources.playing[s]:
            np.multiply(at_1w, on_axis[s], out=energy[s, part])
            if seen is not None:
                energy[s, part][~seen] = 0
    return energy, distance


def _places(sources, areas, pairs):
    """All that the way from a loudspeaker to an area depends on, for every pair, in short."""
    air = sources.decay.tobytes()
    points = [blake2b(air + a.tobytes(), digest_size=16).digest() for a in areas]
    positions = [p.tobytes() for p in sources.position]
    return [points[k] + positions[s] for s, k in pairs]


def _in_sight(sources, points, pairs, keeping):
    """Lines of sight of every pair (point,); None where all are free."""
    places, blocking, memory = keeping
    shapes = [getattr(blocking, name).tobytes() for name in ("normal", "offset", "edge_offset")]
    around = blake2b(b"".join(shapes), digest_size=16).digest()

    def make(missing):
        def one(n):
            s, _ = pairs[missing[n]]
            free = geometry.in_sight(sources.position[s : s + 1], points[missing[n]], blocking)[0]
            return None if free.all() else free

        return _each(one, len(missing))

    return memory.cache("lines of sight", KEPT).get_many([p + around for p in places], make)


def _sent(sources, points, pairs, keeping):
    """Direct sound for 1 on the axis at 1 m, everything in sight (point, band), and the distance
    (point,), of every pair.
    """
    places, memory = keeping

    def follow(missing):
        def one(n):
            position = sources.position[pairs[missing[n]][0]]
            return field.spreading(points[missing[n]], position, sources.decay)

        return _each(one, len(missing))

    def make(missing):
        ways = memory.cache("ways of direct sound", KEPT)
        spread = ways.get_many(
            [places[n] for n in missing], lambda among: follow([missing[n] for n in among])
        )

        def one(n):
            s, _ = pairs[missing[n]]
            aim = sources.position[s], sources.axes[s], sources.balloon(s)
            return field.pattern(points[missing[n]], *aim) * spread[n][0], spread[n][1]

        return _each(one, len(missing))

    axes = [a.tobytes() for a in sources.axes]
    keys = [
        (place, axes[s], sources.balloon(s)) for place, (s, _) in zip(places, pairs, strict=True)
    ]
    return memory.cache("direct sound", KEPT).get_many(keys, make)


def _each(one, count):
    """Answers of a function of the numbers from 0 on, side by side."""
    found = [None] * count

    def loop(first, end):
        for n in range(first, end):
            found[n] = one(n)

    compiled.side_by_side(loop, count, least=4)
    return found
