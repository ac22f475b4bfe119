"""How sound dies away: decay times, and the modulation that a decay leaves, from energy counted by
the length of its way.
"""

import numpy as np

from . import compiled
from .bands import EDGES
from .intelligibility import MODULATION

# upper and lower end [dB]    ISO 3382-1:2009
RANGES = {"edt": (0.0, -10.0), "t20": (-5.0, -25.0), "t30": (-5.0, -35.0)}
STEPS = 100  # points of the straight line's fit
BANDWIDTH = np.diff(EDGES)[:, 0]  # of the octaves (7,) [Hz]


def decay_time(energy, edges_s, measure):
    r"""Time in which sound would fall by 60 dB, from a part of its decay.

    .. math::
        L(t) = 10 \lg \frac{\int_t^\infty E}{\int_0^\infty E}, \qquad T = -60 / \text{slope of } L

    Parameters
    ----------
    energy : array
        Energy in each bin of time (bin, ...) [any linear]
    edges_s : array
        Edges of the bins (bin + 1,) [s]
    measure : str
        "edt" (0 to -10 dB), "t20" (-5 to -25 dB) or "t30" (-5 to -35 dB)

    Returns
    -------
    time : ndarray
        (...): NaN where the decay does not reach the lower end [s]

    Raises
    ------
    ValueError
        An unknown measure

    Notes
    -----
    The energy here is without the direct sound, other than in a measurement: the result is the
    room's own decay.

    Sources
    -------
    ISO 3382-1:2009, 5.3 (backward integration, M. R. Schroeder 1965) and annex A (early decay
    time); straight line by least squares.
    """
    if measure not in RANGES:
        raise ValueError(f"measure = {measure!r} is unknown. Known: {', '.join(RANGES)}.")
    energy = np.asarray(energy, float)
    rest = np.concatenate([np.cumsum(energy[::-1], axis=0)[::-1], np.zeros((1, *energy.shape[1:]))])
    # each re its beginning (curve, edge); one without energy stays NaN
    curves = rest.reshape(len(rest), -1).T
    heard, times = curves[:, 0] > 0, np.full(len(curves), np.nan)
    curves = curves[heard] / curves[heard, :1]
    edges_s = np.asarray(edges_s, float)
    if compiled.available():
        from . import decay_compiled  # slow to load

        times[heard] = decay_compiled.fit(np.ascontiguousarray(curves), edges_s, *RANGES[measure])
    else:
        times[heard] = [_fit(curve, edges_s, *RANGES[measure]) for curve in curves]
    return times.reshape(energy.shape[1:])


def _fit(curve, edges_s, high, low):
    """60 dB over the slope of a line between two levels of one backward integral."""
    there = curve > 0
    level, t = 10 * np.log10(curve[there]), np.asarray(edges_s)[there]
    # the decay begins with the last bin before the first energy
    start = np.flatnonzero(level < -1e-9)[0] - 1 if (level < -1e-9).any() else 0
    level, t = level[start:], t[start:]
    if (
        level[-1] > low - 3
    ):  # the end of a cut decay bends down: it must go on for a while below the range
        return np.nan
    first, last = (np.interp(-x, -level, t) for x in (high, low))
    at = np.linspace(first, last, STEPS)
    slope = np.polyfit(at, np.interp(at, t, level), 1)[0]
    return -60.0 / slope


def reading_spread(rt, decays, positions):
    r"""Standard deviation of a measured T20.

    .. math:: \sigma = 0.88\, T \sqrt{\frac{1 + 1.90 / n}{N B T}}

    Parameters
    ----------
    rt : array
        Reverberation time T of the octaves (7,) [s]
    decays : int
        Averaged at each position, n [-]
    positions : int
        Combinations of source and microphone, N [-]

    Returns
    -------
    spread : ndarray
        (7,) [s]

    Sources
    -------
    ISO 3382-2:2008, 7.1 (from memory).
    """
    return 0.88 * rt * np.sqrt((1 + 1.90 / decays) / (positions * BANDWIDTH * rt))


def delayed(energy, edges_s, delay_s):
    """Energy counted in bins of time, each source later by its delay.

    Parameters
    ----------
    energy : array
        (source, bin, band) [any linear]
    edges_s : array
        Edges of the bins (bin + 1,) [s]
    delay_s : array
        (source,), 0 or more [s]

    Returns
    -------
    energy : ndarray
        In the same bins, even within a bin; what moves beyond the last bin is lost (source, bin,
        band) [as energy]

    Sources
    -------
    A delay moves energy along the time axis; evenly within a bin is an assumption.
    """
    edges = np.asarray(edges_s, float)
    found = np.array(energy, float)
    for s in np.flatnonzero(np.asarray(delay_s) > 0):
        # (edge, band)
        until = np.concatenate([np.zeros((1, found.shape[2])), np.cumsum(found[s], axis=0)])
        earlier = np.clip(edges - delay_s[s], edges[0], edges[-1])
        low = np.clip(np.searchsorted(edges, earlier, side="right") - 1, 0, len(edges) - 2)
        share = ((earlier - edges[low]) / (edges[low + 1] - edges[low]))[:, None]
        found[s] = np.diff(until[low] + share * (until[low + 1] - until[low]), axis=0)
    return found


def stretched(energy, edges, start, factor):
    """Energy counted in bins, all of it that comes after a start taking longer to come; its level
    follows.

    Parameters
    ----------
    energy : array
        (place, bin, band) [any linear]
    edges : array
        Edges of the bins (bin + 1,) [s or m]
    start : array
        After which it is stretched (place,) [as edges]
    factor : float or array
        How many times as long it takes, over 0, one number or (band,) [-]

    Returns
    -------
    energy : ndarray
        In the same bins, even within a bin; what moves beyond the last bin is lost (place, bin,
        band) [as energy]

    Sources
    -------
    Worked by hand: at one power and volume the reverberant energy goes as the decay time (Sabine).
    """
    energy = np.asarray(energy)
    factor = np.broadcast_to(np.asarray(factor, float), energy.shape[2])
    edges, start = np.asarray(edges, float), np.asarray(start, float)
    if compiled.available():
        from . import decay_compiled  # slow to load

        found = np.empty_like(energy)
        decay_compiled.stretch(energy, edges, start, factor, found)
        return found
    found = [
        _stretched(energy[..., b : b + 1], edges, start[:, None], f) for b, f in enumerate(factor)
    ]
    return np.concatenate(found, axis=2).astype(energy.dtype)


def _stretched(energy, edges, start, factor):
    """The same of octaves that take alike."""
    before = np.where(edges > start, start + (edges - start) / factor, edges)  # (place, edge)
    at = np.clip(np.concatenate([before, start], axis=1), edges[0], edges[-1])
    low = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(edges) - 2)
    share = ((at - edges[low]) / (edges[low + 1] - edges[low]))[..., None]
    until = np.zeros((len(energy), len(edges), energy.shape[2]))
    np.cumsum(energy, axis=1, out=until[:, 1:])
    here, beyond = (np.take_along_axis(until, k[..., None], axis=1) for k in (low, low + 1))
    until = here + share * (beyond - here)  # of the last one: at the start
    late = np.maximum(until[:, :-1] - until[:, -1:], 0.0)
    return np.diff(until[:, :-1] + (factor - 1) * late, axis=1)


def modulation(energy, edges_s, start_s):
    r"""Modulated energy of a decay: its Fourier transform at the modulation frequencies, seen from
    a time of start.

    .. math:: M(F) = \sum_n E_n \, \operatorname{sinc}(F \Delta t_n) \, e^{-2\pi j F (t_n - t_0)}

    Parameters
    ----------
    energy : array
        Energy in each bin (zone, bin, band); in float32 it is worked with as such [any linear]
    edges_s : array
        Edges of the bins (bin + 1,) [s]
    start_s : array
        Time from which phases count (zone,) [s]

    Returns
    -------
    moving : ndarray
        (zone, band, modulation), complex [as energy]

    Notes
    -----
    Within a bin the energy is taken as even, hence the sinc.

    Sources
    -------
    IEC 60268-16:2020, A.5.3: the modulation transfer is the Fourier transform of the squared
    impulse response over its energy.
    """
    edges = np.asarray(edges_s, float)
    middle, width = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    # (bin, modulation)
    kernel = np.sinc(np.outer(width, MODULATION)) * np.exp(
        -2j * np.pi * np.outer(middle, MODULATION)
    )
    energy = np.asarray(energy)
    energy = energy if energy.dtype == np.float32 else energy.astype(float)
    zones, _, octaves = energy.shape
    flat = np.ascontiguousarray(energy.swapaxes(1, 2)).reshape(zones * octaves, -1)
    parts = [flat @ part.astype(flat.dtype) for part in (kernel.real, kernel.imag)]
    moving = (parts[0] + 1j * parts[1]).reshape(zones, octaves, -1)
    start = np.exp(2j * np.pi * np.outer(start_s, MODULATION))[:, None]
    return moving * start.astype(moving.dtype)
