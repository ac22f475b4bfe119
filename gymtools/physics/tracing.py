"""The room traced: where sound goes after its first landing, ray by ray, and how it dies away.

Rays leave a loudspeaker as its balloon radiates. At every surface each octave keeps its share; the
ray goes on as from a mirror, or, with the surface's scattering as probability, in a random
direction after Lambert. Where octaves scatter differently one of them leads each ray, and all are
weighed by how likely they would have gone the same way. What passes through the air just over the
listeners is counted there, octave by octave, by the length of way behind it. The kernel carries out
no input checks, by design, as in ``field``.
"""

from dataclasses import dataclass, fields
from importlib import import_module

import numpy as np

from . import compiled, tracing_arrays
from .counting import LONGEST
from .directivity import AZIMUTH_DEG, ELEVATION_DEG, sphere_weights

# once a ray is this weak, part of the weak rays are dropped and the others stand for them [-]
THIN = 10**-1.5
CELLS = sphere_weights().ravel()  # share of the sphere in each cell of a balloon (cell,)


@dataclass(frozen=True, eq=False)
class Trace:
    """What one loudspeaker that radiates 1 in every octave leaves in the room.

    Parameters
    ----------
    reflected : ndarray
        Flux after one surface or more (zone, bin, band), float32 [1/m2]
    mirrored : ndarray
        Part of it that has met one surface only, as a mirror (zone, bin, band), float32 [1/m2]
    absorbed : ndarray
        Taken by the surfaces (surface, band) [-]
    air : ndarray
        Taken by the air (band,) [-]
    left : ndarray
        Carried by rays no longer followed or slipped out, and lost (gained when negative) by
        dropping weak rays at random (band,) [-]
    """

    reflected: np.ndarray
    mirrored: np.ndarray
    absorbed: np.ndarray
    air: np.ndarray
    left: np.ndarray


class Passes:
    """Passes of one loudspeaker with as many rays each, as they come in."""

    def __init__(self):
        self._sums, self._count, self._mean = None, 0, None

    def add(self, trace):
        """Take in one pass more.

        Parameters
        ----------
        trace : Trace
            The pass
        """
        parts = [getattr(trace, f.name) for f in fields(Trace)]
        if self._sums is None:
            self._sums = [np.array(part) for part in parts]
        else:
            for one, part in zip(self._sums, parts, strict=True):
                one += part
        self._count, self._mean = self._count + 1, None

    @property
    def mean(self):
        """As if all their rays had been followed at once (Trace); None without a pass."""
        if self._mean is None and self._count:
            self._mean = Trace(*(one / np.float32(self._count) for one in self._sums))
        return self._mean


def present_engine():
    """The engine that traces on this machine.

    Returns
    -------
    engine : str
        "compiled", or "arrays" where no machine code can be made
    """
    return "compiled" if compiled.available() else "arrays"


def _engine(name):
    """Module of an engine; both hold ``follow``."""
    if name == "arrays":
        return tracing_arrays
    # slow to load, compiled when it is first called
    return import_module(".tracing_compiled", __package__)


def launch(balloon, count, rng):
    """Directions in which a loudspeaker sends rays, more where it radiates more.

    Parameters
    ----------
    balloon : Balloon
        Directivity [dB]
    count : int
        Number of rays [-]
    rng : numpy.random.Generator
        Source of chance

    Returns
    -------
    direction : ndarray
        Unit vectors in the loudspeaker's frame (ray, 3), float32 [-]
    energy : ndarray
        What each carries (ray, band); every octave sums to 1, float32 [-]

    Notes
    -----
    The density is the mean over the octaves of what they radiate; evenly spaced drawing over the
    cells of the balloon's grid, chance within the cell.

    Sources
    -------
    Stratified sampling; e.g. Pharr, Jakob and Humphreys, Physically Based Rendering, ch. 13 (from
    memory).
    """
    weight, share = CELLS, balloon.cell_share  # (cell,)
    cell = np.searchsorted(
        np.cumsum(share), (np.arange(count) + rng.random(count)) / count * share.sum() * (1 - 1e-9)
    )
    at_azimuth, at_elevation = np.divmod(cell, len(ELEVATION_DEG))
    step = np.radians(AZIMUTH_DEG[1] - AZIMUTH_DEG[0])
    azimuth = np.radians(AZIMUTH_DEG)[at_azimuth] + step * (rng.random(count) - 0.5)
    elevation = np.radians(ELEVATION_DEG)[at_elevation]
    low, high = (
        np.sin(np.clip(elevation + side * step / 2, -np.pi / 2, np.pi / 2)) for side in (-1, 1)
    )
    z = low + (high - low) * rng.random(count)
    around = np.sqrt(1 - z * z)
    direction = np.stack([around * np.cos(azimuth), around * np.sin(azimuth), z], axis=1).astype(
        np.float32
    )
    energy = balloon.toward(direction) * (weight[cell] / share[cell])[:, None].astype(np.float32)
    return direction, energy / energy.sum(axis=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Rays:
    """How many rays leave a loudspeaker, by which chance, and how long they are followed.

    Parameters
    ----------
    count : int
        Number of rays [-]
    rng : numpy.random.Generator
        Source of chance; the same state gives the same trace
    longest : float
        Ways beyond this are not followed [m]
    thin : float
        Strength below which part of the rays are dropped, the others raised by as much on average;
        0 keeps them all [-]
    """

    count: int
    rng: np.random.Generator
    longest: float = LONGEST
    thin: float = THIN


def trace(source, surfaces, zones, rays, *, stop=None, engine=None):
    r"""Follow the rays of one loudspeaker until they have died away.

    .. math:: E_z = \frac{1}{V_z} \sum_\text{rays} w \prod_i (1-\alpha_i)\, e^{-m L}\, \ell

    Parameters
    ----------
    source : Sources
        One loudspeaker: where it hangs, its balloon, and the air [m]
    surfaces : Surfaces
        The room; both sides of a surface reflect [m]
    zones : Zones
        Where sound is counted [m]
    rays : Rays
        How many, by which chance, how far
    stop : callable, optional
        Asked now and then; the trace is given up when it answers true
    engine : str, optional
        "compiled" or "arrays"; the one of ``present_engine`` when left out

    Returns
    -------
    trace : Trace or None
        Per unit of radiated energy; None when it was given up

    Notes
    -----
    A length :math:`\ell` of ray with energy w inside a zone of volume V adds :math:`w\ell/V` to the
    mean square pressure there, so that a source with E at 1 m on the axis and directivity factor Q
    gives :math:`4\pi E/Q` times the trace. The direct sound is not in it. Where a ray passes
    several zones of a layer, one point of its way in the layer, drawn evenly, takes all of it:
    right on average, and much faster. The zone counts as if it lay in free air: nothing may stand
    in it.

    Sources
    -------
    H. Kuttruff, Room Acoustics, 6th ed., ch. 9.8 (ray tracing), 4.5 (Lambert's law); A. Krokstad,
    S. Strom, S. Sorsdal, J. Sound Vib. 8 (1968) 118. Dropping weak rays at random ("Russian
    roulette") is a standard method of Monte Carlo transport. One octave that leads, with the
    balance of all: E. Veach and L. Guibas, SIGGRAPH 1995, 419 (multiple importance sampling; from
    memory).
    """
    local, energy = launch(source.balloon(0), rays.count, rays.rng)
    direction = (local @ np.asarray(source.axes[0], np.float32)).astype(np.float32)
    follow = _engine(engine or present_engine()).follow
    tally = follow(source, (direction, energy), surfaces, zones, rays, stop)
    if tally is None:
        return None
    per_volume = 1 / zones.volume[:, None, None]
    return Trace(
        (tally.reflected * per_volume).astype(np.float32),
        (tally.mirrored * per_volume).astype(np.float32),
        tally.absorbed,
        tally.air,
        tally.left,
    )
