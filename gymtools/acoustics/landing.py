"""Where the sound of each loudspeaker lands first, in the room of a scenario."""

import numpy as np

from ..physics import bands, geometry, landing

BALLOONS = 16  # types of loudspeakers whose aims are remembered
KEPT = 256  # loudspeakers whose first landings are remembered
AROUND = landing.even_fan(1500)  # rays in all directions, for any aim


def first_surfaces(sources, polygons, memory):
    """Follow the rays of every loudspeaker to their first surface.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    polygons : Polygons
        The room
    memory : Memory
        Of the scenario: what has not moved is not followed again

    Returns
    -------
    met : ndarray
        Surface of each ray (source, ray) [-]
    way : ndarray
        Length of each ray (source, ray) [m]

    Raises
    ------
    ValueError
        Rays leave the room without meeting a surface
    """

    def follow(missing):
        position, axes = sources.position[missing], sources.axes[missing]
        return list(zip(*landing.cast(position, axes, polygons), strict=True))

    keys = [
        (polygons, position.tobytes(), axes.tobytes())
        for position, axes in zip(sources.position, sources.axes, strict=True)
    ]
    met, way = zip(*memory.cache("first landings", KEPT).get_many(keys, follow), strict=True)
    met, way = np.array(met), np.array(way)
    if (met < 0).mean() > 1e-3:
        raise ValueError(
            "a loudspeaker's sound leaves the gym without meeting a surface. Is a loudspeaker in"
            " or behind a wall or the roof?"
        )
    return met, np.where(met < 0, 0, way)


def shares(sources, met, surfaces):
    """Share of first incidence: how much of each loudspeaker's sound meets each surface first.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    met : array
        Surface of each ray, of ``first_surfaces`` (source, ray) [-]
    surfaces : int
        Number of surfaces of the room [-]

    Returns
    -------
    shares : ndarray
        (source, surface, band), 0 to 1 [-]
    """
    carried = [sources.balloon(n).ray_energy for n in range(len(sources))]
    return np.array([landing.shares(m, c, surfaces) for m, c in zip(met, carried, strict=True)])


def first_incidence(sources, polygons, memory):
    """Share of first incidence of every loudspeaker; of one that stays it is remembered.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    polygons : Polygons
        The room
    memory : Memory
        Of the scenario

    Returns
    -------
    shares : ndarray
        (source, surface, band), 0 to 1 [-]

    Raises
    ------
    ValueError
        As ``first_surfaces``
    """
    met, _ = first_surfaces(sources, polygons, memory)

    def make(missing):
        return list(shares(sources.some(missing), met[missing], len(polygons)))

    keys = [
        (polygons, sources.position[n].tobytes(), sources.axes[n].tobytes(), sources.balloon(n))
        for n in range(len(sources))
    ]
    return np.array(memory.cache("first incidence", KEPT).get_many(keys, make))


def best_shares(sources, room, listening, memory):
    """Largest share of each loudspeaker's sound, 500 Hz to 4 kHz, that turning it could send onto
    listeners first; of one that hangs where it did it is remembered.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    room : Room
        The room
    listening : tuple of str
        Parts of the room that listen
    memory : Memory
        Of the scenario

    Returns
    -------
    shares : ndarray
        (source,), 0 to 1; 0 for one that is off [-]
    """
    listens = np.array([part in listening for part in room.parts])
    playing = np.flatnonzero(sources.playing)

    def aims(balloon):
        return memory.cache("aims", BALLOONS).get(
            balloon, lambda: landing.by_aim(AROUND, balloon, bands.SPEECH)
        )

    def make(missing):
        position = sources.position[playing[missing]]
        met, _ = geometry.first_hit(
            position, np.broadcast_to(AROUND, (len(missing), *AROUND.shape)), room.polygons
        )
        return [
            landing.best_share(aims(sources.balloon(playing[n])), listens[m] & (m >= 0))
            for n, m in zip(missing, met, strict=True)
        ]

    keys = [
        (room.polygons, listening, sources.position[n].tobytes(), sources.balloon(n))
        for n in playing
    ]
    shares = np.zeros(len(sources))
    shares[playing] = memory.cache("best aims", KEPT).get_many(keys, make)
    return shares


def remaining_share(sources, surfaces, memory):
    """Share of each loudspeaker's sound that remains after the air and the first surface; of one
    that stays it is remembered.

    Parameters
    ----------
    sources : Sources
        Loudspeakers of a use
    surfaces : Surfaces
        The room, as its scenario keeps it
    memory : Memory
        Of the scenario

    Returns
    -------
    share : ndarray
        (source, band), 0 to 1 [-]

    Raises
    ------
    ValueError
        As ``first_surfaces``

    Sources
    -------
    Absorption by air: exponential, ``physics.air.decay_constant``; the first surface takes its
    absorption coefficient.
    """
    met, way = first_surfaces(sources, surfaces.polygons, memory)
    left = 1 - surfaces.met_absorption

    def make(missing):
        for n in missing:
            through_air = np.exp(np.multiply.outer(way[n], -sources.decay))
            carried = sources.balloon(n).ray_energy  # (ray, band)
            yield (carried * through_air * left[met[n]]).sum(axis=0)

    air = sources.decay.tobytes()
    keys = [
        (surfaces, air, position.tobytes(), axes.tobytes(), sources.balloon(n))
        for n, (position, axes) in enumerate(zip(sources.position, sources.axes, strict=True))
    ]
    return np.array(
        memory.cache("remaining shares", KEPT).get_many(keys, lambda which: list(make(which)))
    )
