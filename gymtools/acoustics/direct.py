"""Direct sound of the loudspeakers in a gym; what has not moved is not worked out again."""

from hashlib import blake2b

import numpy as np

from ..physics import compiled, field, screening

KEPT = 512  # loudspeakers and areas whose direct sound is kept


def direct_sound(sources, areas, screens, memory):
    """Direct sound at the points of several areas.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    areas : sequence of array
        Points of each area (point, 3) [m]
    screens : Screens
        What may stand in the way [m]
    memory : Memory
        Of the scenario: a loudspeaker that stays keeps its distances, its lines of sight and ways
        round edges, and its sound at 1 W where it looks the same way, in every use

    Returns
    -------
    energy : ndarray
        (source, point, band) float32, the points of all areas in order [re 20 uPa squared]
    distance : ndarray
        (source, point) float32 [m]
    seen : ndarray of bool
        Whether the line is free, False where the source does not play (source, point)

    Sources
    -------
    As ``physics.field.direct_energy``, and behind edges ``physics.screening``.
    """
    areas = [np.asarray(a, float) for a in areas]
    pairs = [(s, k) for s in range(len(sources)) for k in range(len(areas))]
    places = _places(sources, areas, pairs)
    on_axis = np.asarray(sources.on_axis, np.float32)
    ends = np.cumsum([0, *(len(a) for a in areas)])
    energy = np.zeros((len(sources), ends[-1], on_axis.shape[1]), np.float32)
    distance = np.empty(energy.shape[:2], np.float32)
    seen = np.zeros(energy.shape[:2], bool)
    edges = _over_edges(sources, [areas[k] for _, k in pairs], pairs, (places, screens, memory))
    sent = _sent(sources, [areas[k] for _, k in pairs], pairs, (places, memory))
    for (s, k), (at_1w, way), screened in zip(pairs, sent, edges, strict=True):
        part = slice(ends[k], ends[k + 1])
        distance[s, part] = way
        if sources.playing[s]:
            np.multiply(at_1w, on_axis[s], out=energy[s, part])
            seen[s, part] = True
            if screened is not None:
                seen[s, part], kept = screened
                energy[s, part] *= kept
    return energy, distance, seen


def _places(sources, areas, pairs):
    """All that the way from a loudspeaker to an area depends on, for every pair, in short."""
    air = sources.decay.tobytes()
    points = [blake2b(air + a.tobytes(), digest_size=16).digest() for a in areas]
    positions = [p.tobytes() for p in sources.position]
    return [points[k] + positions[s] for s, k in pairs]


def _over_edges(sources, points, pairs, keeping):
    """Lines of sight (point,), and what arrives round edges (point, band), of every pair; None
    where nothing stands in the way of any point, nor near it.
    """
    places, screens, memory = keeping
    speed = np.float64(sources.speed).tobytes()
    around = blake2b(screens.tobytes() + speed, digest_size=16).digest()

    def make(missing):
        def one(n):
            s, _ = pairs[missing[n]]
            way = sources.position[s], points[missing[n]], screens, sources.speed
            seen, kept = screening.around_and_through(*way)
            return None if (kept == 1).all() else (seen, kept)

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
