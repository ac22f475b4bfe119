"""What several arrivals of one sound do to a listener: echoes, time spread, combs, and the delay
that avoids them.

Arrays start with the axis of arrivals: direct sounds and reflections together, in any order,
(arrival, ...). An arrival without energy does not count, whatever its time.
"""

import numpy as np

from . import bands, compiled
from .checks import within
from .reverberation import C

# Echo criterion of Dietsch and Kraak, Acustica 60 (1986), after the Handbook for Sound Engineers,
# 4th ed., 7.2.2.5
SPEECH_EXPONENT, SPEECH_STEP_S = 0.67, 0.009  # octave of 1 kHz [-], [s]
MUSIC_EXPONENT, MUSIC_STEP_S = 1.0, 0.014  # octaves of 1 and 2 kHz [-], [s]
EK_SPEECH_50, EK_SPEECH_10 = 1.0, 0.9  # above it 50 %, 10 % of listeners hear an echo [-]
EK_MUSIC_50, EK_MUSIC_10 = 1.8, 1.5  # [-]

# Delay [s] and level re the first arrival [dB] below which a copy of speech is not heard as an
# echo. Up to 35 ms a copy must be 10 dB louder than the first (Haas, after the Master Handbook of
# Acoustics, 4th ed., fig. 3-19, p. 75); -10 dB at 50 ms and the milder end of "-20 to -25 dB" at
# 95 ms are common practice (from memory). Straight lines between are ours.
HAAS_S = np.array([0.0, 0.035, 0.050, 0.095])
HAAS_DB = np.array([10.0, 10.0, -10.0, -20.0])

# What the octave of 1 kHz cannot tell apart, as far as the echo criterion goes: arrivals merged
# over so long, and a tail in steps of it, come within 8 % of the criterion's integral over the
# pressure itself, impulses and noise through a smooth filter of that octave, where there is an echo
# (a test says so; worked by hand).
PULSE_S = 0.0012
ROUNDING_S = 1e-9  # two arrivals a step apart are a step apart [s]

# an arrival this far below the strongest does not set the clock: the Haas limit's own floor [dB]
LEAD_DB = 20.0


def _arrivals(energy, arrival_s):
    """Energy and time of arrival in double precision, checked and of one shape."""
    E = within("energy", energy, 0, np.inf, "(linear)", "Decibels given by mistake?")
    t = within("arrival_s", arrival_s, 0, 10, "s", "Milliseconds given by mistake?")
    if E.shape != t.shape or not E.ndim or not len(E):
        raise ValueError(
            f"energy {E.shape} and arrival_s {t.shape} are not the same (arrival, ...), one at"
            " least."
        )
    return E, t


def _first(t, heard):
    """Earliest time among those heard (...), 0 where nothing is."""
    first = np.where(heard, t, np.inf).min(axis=0)
    return np.where(np.isfinite(first), first, 0.0)


def echo_criterion(
    energy, arrival_s, *, exponent=SPEECH_EXPONENT, step_s=SPEECH_STEP_S, merge_s=None
):
    r"""Echo criterion: the steepest climb of the running center of time.

    .. math::
        t_s(\tau) = \frac{\int_0^\tau t\, |p|^n \, dt}{\int_0^\tau |p|^n \, dt}, \qquad
        EK = \max_\tau \frac{t_s(\tau) - t_s(\tau - \Delta\tau)}{\Delta\tau}

    Parameters
    ----------
    energy : array
        Energy of each arrival in the octave judged, (arrival, ...); the pressure is its root [any
        linear]
    arrival_s : array
        Time of arrival (arrival, ...), any order [s]
    exponent : float
        n, 0.67 for speech and 1 for music, 0.1 to 3 [-]
    step_s : float
        Step of the running difference, 0.009 for speech and 0.014 for music, 0.001 to 0.1 [s]
    merge_s : float, optional
        Arrivals that come within so long count as one, as by ``merged``; each for itself when left
        out [s]

    Returns
    -------
    ek : ndarray
        (...), to be held against ``EK_SPEECH_50`` or its likes; 0 where nothing or one arrival is
        heard [-]

    Raises
    ------
    ValueError
        Negative energies, times outside 0 to 10 s, arrays of different shapes, ``exponent``,
        ``step_s`` or ``merge_s`` outside its range

    Notes
    -----
    Time runs from the first arrival. Arrivals without width or tail between them are the severe
    case: in a live room reverberation fills the gaps and brings the criterion down. Hand it a tail,
    as further arrivals ``PULSE_S`` apart, to see that, and arrivals that come closer together than
    this as one (``merged``): the exponent makes two halves count more than their whole, so that an
    arrival must be what the band can tell apart. The running center of separate arrivals climbs in
    steps, so that the steepest climb ends on an arrival.

    Sources
    -------
    L. Dietsch and W. Kraak, Acustica 60 (1986), as quoted in Handbook for Sound Engineers, 4th ed.,
    7.2.2.5.

    Examples
    --------
    >>> round(float(echo_criterion([1.0, 1.0], [0.010, 0.028])), 6)     # an equal copy after 18 ms
    1.0
    """
    n, step = (
        within("exponent", exponent, 0.1, 3, "-"),
        within("step_s", step_s, 0.001, 0.1, "s", "Milliseconds given by mistake?"),
    )
    if merge_s is not None:
        if compiled.available():
            return _climb_of_merged(energy, arrival_s, (n / 2, step), merge_s) / step
        energy, arrival_s = merged(energy, arrival_s, merge_s)
    E, t = _arrivals(energy, arrival_s)
    shape, t = E.shape[1:], np.where(E > 0, t - _first(t, E > 0), 0.0)
    t, weight = t.reshape(len(t), -1).T, E.reshape(len(E), -1).T ** (n / 2)  # (point, arrival)
    order = t.argsort(axis=1, kind="stable")
    t, weight = np.take_along_axis(t, order, axis=1), np.take_along_axis(weight, order, axis=1)
    return (_steepest_climb(t, weight, step) / step).reshape(shape)


def _climb_of_merged(energy, arrival_s, shape, merge_s):
    """Steepest climb of the running center of merged arrivals, in machine code (point,) [s]."""
    from . import arrivals_compiled  # slow to load

    E, t, width = _to_merge(energy, arrival_s, merge_s)
    first = _first(t, E > 0)
    climb = np.empty(len(first))

    def loop(begin, end):
        arrivals_compiled.climb((begin, end), (E, t), (first, width), shape, climb)

    compiled.side_by_side(loop, len(first), least=30)
    return climb


def _to_merge(energy, arrival_s, width_s):
    """Energy, time and length of the spans, checked."""
    width = within("width_s", width_s, 1e-4, 0.1, "s", "Milliseconds given by mistake?")
    E, t = _arrivals(energy, arrival_s)
    if E.ndim != 2:
        raise ValueError(f"energy {E.shape} is not (arrival, point).")
    return E, t, float(width)


def _steepest_climb(t, weight, step):
    """Most that the running center of time climbs within a step (point,) [s]."""
    past = np.maximum(weight.cumsum(axis=1), np.finfo(float).tiny)
    # before the first arrival, then after each
    center = np.c_[np.zeros(len(t)), (weight * t).cumsum(axis=1) / past]
    block = np.arange(len(t))[:, None]
    clock = t + block * (t.max(initial=0.0) + 2 * step)  # one ascending row of times for all points
    known = (
        np.searchsorted(clock.ravel(), (clock - step + ROUNDING_S).ravel(), side="right").reshape(
            t.shape
        )
        - block * t.shape[1]
    )
    climb = center[:, 1:] - np.take_along_axis(center, known, axis=1)
    return climb.max(axis=1)


def merged(energy, arrival_s, width_s):
    """Arrivals that a band cannot tell apart, as one.

    Parameters
    ----------
    energy : array
        Energy of each arrival (arrival, point) [any linear]
    arrival_s : array
        Time of arrival (arrival, point) [s]
    width_s : float
        How long a pulse is in the band, 0.0001 to 0.1 [s]

    Returns
    -------
    energy : ndarray
        Sums over spans of that length, the first around the first arrival (span, point) [as energy]
    arrival_s : ndarray
        Mean time of what arrives in each span (span, point) [s]

    Raises
    ------
    ValueError
        Negative energies, times outside 0 to 10 s, arrays of different shapes or not (arrival,
        point), or ``width_s`` outside its range

    Sources
    -------
    Energies of arrivals without a fixed phase add; the span is the band's resolution.

    Examples
    --------
    >>> energy, time = merged([[1.0], [1.0], [2.0]], [[0.010], [0.0104], [0.028]], 0.002)
    >>> energy[energy > 0].tolist(), time[energy > 0].round(4).tolist()
    ([2.0, 2.0], [0.0102, 0.028])
    """
    E, t, width = _to_merge(energy, arrival_s, width_s)
    first, points = _first(t, E > 0), E.shape[1]
    span = np.where(E > 0, np.rint((t - first) / width), 0).astype(int)
    count = span.max(initial=0) + 1
    flat, size = (span * points + np.arange(points)).ravel(), count * points
    sums = np.bincount(flat, weights=E.ravel(), minlength=size)
    moments = np.bincount(flat, weights=(E * t).ravel(), minlength=size)
    middle = (first + width * np.arange(count)[:, None]).ravel()
    time = np.divide(moments, sums, out=middle, where=sums > 0)
    return sums.reshape(count, points), time.reshape(count, points)


def arrival_spread_s(energy, arrival_s, *, within_db=10.0):
    """Time between the first and the last of the arrivals that are nearly as strong as the
    strongest.

    Parameters
    ----------
    energy : array
        Energy of each arrival (arrival, ...) [any linear]
    arrival_s : array
        Time of arrival (arrival, ...) [s]
    within_db : float
        How far below the strongest an arrival still counts, 0 to 60 [dB]

    Returns
    -------
    spread : ndarray
        (...); 0 where one arrival counts, or none is heard [s]

    Raises
    ------
    ValueError
        Negative energies, times outside 0 to 10 s, arrays of different shapes, or ``within_db``
        outside 0 to 60 dB

    Sources
    -------
    Definition; that arrivals 10 dB below the strongest still count is common practice, no source.

    Examples
    --------
    >>> round(float(arrival_spread_s([1.0, 0.5, 0.01], [0.02, 0.05, 0.2])), 6)
    0.03
    """
    E, t = _arrivals(energy, arrival_s)
    counts = (E > 0) & (
        E
        >= E.max(axis=0)
        * bands.to_energy(-within("within_db", within_db, 0, 60, "dB"))
        * (1 - 1e-6)
    )
    last = np.where(counts, t, -np.inf).max(axis=0)
    return np.where(counts.any(axis=0), last - _first(t, counts), 0.0)


def late_level_db(energy, arrival_s, *, after_s=0.05):
    """Strongest late arrival over the strongest early one.

    The clock starts with the lead: the first arrival that is no more than ``LEAD_DB`` below the
    strongest of all. Early is what comes up to ``after_s`` after the lead, or before the lead; late
    is what comes after that.

    Parameters
    ----------
    energy : array
        Energy of each arrival (arrival, ...) [any linear]
    arrival_s : array
        Time of arrival (arrival, ...) [s]
    after_s : float
        Where late begins, 0 to 1; 50 ms for speech [s]

    Returns
    -------
    level : ndarray
        (...); minus infinity where nothing is late [dB]

    Raises
    ------
    ValueError
        Negative energies, times outside 0 to 10 s, arrays of different shapes, or ``after_s``
        outside 0 to 1 s

    Sources
    -------
    50 ms and more for discrete echoes of speech: Haas, after the Master Handbook of Acoustics, 4th
    ed., fig. 3-19, p. 75.

    Examples
    --------
    >>> round(float(late_level_db([1.0, 0.5, 0.1], [0.02, 0.05, 0.2])), 6)
    -10.0
    """
    E, t = _arrivals(energy, arrival_s)
    after = within("after_s", after_s, 0, 1, "s", "Milliseconds given by mistake?")
    leads = (E > 0) & (E >= E.max(axis=0) * bands.to_energy(-LEAD_DB) * (1 - 1e-6))
    late = (E > 0) & (t > _first(t, leads) + after + 1e-9)
    early = np.where(late, 0.0, E).max(axis=0)
    return bands.to_level(np.where(late, E, 0.0).max(axis=0) / np.where(early > 0, early, 1.0))


def haas_limit_db(delay_s):
    """Level re the first arrival up to which a delayed copy of speech is not heard as an echo.

    Parameters
    ----------
    delay_s : float or array
        Delay of the copy behind the first arrival, 0 to 10 [s]

    Returns
    -------
    limit : ndarray
        Shape of ``delay_s``; beyond 95 ms it stays where it is there [dB]

    Raises
    ------
    ValueError
        A delay outside 0 to 10 s

    Notes
    -----
    Common practice, not a standard: running speech in a fairly dry room. The figures stand at
    ``HAAS_DB``. A copy below the limit can still color the sound (``comb_response_db``) or shift
    its apparent direction.

    Sources
    -------
    H. Haas (1951), after the Master Handbook of Acoustics, 4th ed., fig. 3-19, p. 75; the rest
    common practice (from memory).

    Examples
    --------
    >>> haas_limit_db([0.020, 0.050, 0.095]).round(1).tolist()
    [10.0, -10.0, -20.0]
    """
    return np.interp(
        within("delay_s", delay_s, 0, 10, "s", "Milliseconds given by mistake?"), HAAS_S, HAAS_DB
    )


def comb_response_db(energy, arrival_s, frequency):
    r"""Level of arrivals that add in phase and out of phase, relative to the sum of their energies.

    .. math:: L = 10 \lg \frac{|\sum_i \sqrt{E_i}\, e^{-2\pi j f t_i}|^2}{\sum_i E_i}

    Parameters
    ----------
    energy : array
        Energy of each arrival, the same at all frequencies (arrival,) [any linear]
    arrival_s : array
        Time of arrival (arrival,) [s]
    frequency : float or array
        Frequencies, 0 to 100000, any shape [Hz]

    Returns
    -------
    level : ndarray
        Shape of ``frequency``; down to about -300 in an exact notch, 0 where nothing is heard [dB]

    Raises
    ------
    ValueError
        As ``echo_criterion``; more than one listener; a frequency outside 0 to 100 kHz

    Sources
    -------
    Superposition of pressures.

    Examples
    --------
    >>> comb_response_db([1.0, 1.0], [0.010, 0.011], [1000.0, 900.0]).round(2).tolist()
    [3.01, 2.57]
    """
    E, t = _arrivals(energy, arrival_s)
    f = within("frequency", frequency, 0, 1e5, "Hz", "Kilohertz are not meant.")
    if E.ndim != 1:
        raise ValueError(f"energy {E.shape} is not (arrival,): one listener at a time.")
    if not E.any():
        return np.zeros(f.shape)
    pressure = np.exp(-2j * np.pi * np.multiply.outer(f, t - _first(t, E > 0))) @ np.sqrt(E)
    return bands.to_level(np.abs(pressure) ** 2 / E.sum())


def notch_frequencies(delay_s, count):
    r"""Frequencies at which a delayed copy is in opposition.

    .. math:: f_n = (2n + 1) / (2 \Delta t)

    Parameters
    ----------
    delay_s : float or array
        Delay of the copy, 1e-5 to 10 [s]
    count : int
        How many, from the lowest [-]

    Returns
    -------
    frequency : ndarray
        (..., count) [Hz]

    Raises
    ------
    ValueError
        A delay outside 1e-5 to 10 s

    Sources
    -------
    Two equal pressures half a period apart.

    Examples
    --------
    >>> notch_frequencies(0.001, 3).tolist()
    [500.0, 1500.0, 2500.0]
    """
    delay = within("delay_s", delay_s, 1e-5, 10, "s", "Milliseconds given by mistake?")
    return (2 * np.arange(count) + 1) / (2 * delay[..., None])


def ripple_db(level_db):
    r"""Highest and lowest level of a comb, relative to the direct sound alone.

    .. math:: L = 20 \lg |1 \pm 10^{L_c/20}|

    Parameters
    ----------
    level_db : float or array
        Level of the copy re the direct sound, up to 60 [dB]

    Returns
    -------
    highest, lowest : ndarray
        Shape of ``level_db``; the lowest of an equal copy is minus infinity [dB]

    Raises
    ------
    ValueError
        A copy more than 60 dB over the direct sound

    Sources
    -------
    Two pressures in phase and in opposition.

    Examples
    --------
    >>> [round(float(level), 1) for level in ripple_db(-10.0)]
    [2.4, -3.3]
    """
    g = np.sqrt(
        bands.to_energy(within("level_db", level_db, -np.inf, 60, "dB", "Energy given by mistake?"))
    )
    return bands.to_level((1 + g) ** 2), bands.to_level((1 - g) ** 2)


def delay_for_lead(path_difference, *, lead_s, speed_of_sound=C):
    """Electronic delay of a loudspeaker that follows a farther source, so that the voice seems to
    come from the farther one.

    Parameters
    ----------
    path_difference : float or array
        Way from the leading source less way from this loudspeaker, at the seat that decides, -1000
        to 1000 [m]
    lead_s : float
        How much earlier the lead arrives, 0 to 0.1; commonly 0.010 to 0.015 [s]
    speed_of_sound : float
        Speed of sound, 300 to 370 [m/s]

    Returns
    -------
    delay : ndarray
        Shape of ``path_difference``; refuses a negative one, where the lead comes early enough
        without [s]

    Raises
    ------
    ValueError
        An input outside its range, or a delay that would be negative

    Sources
    -------
    Path over speed of sound, and the law of the first wave front (Haas); 5 to 20 ms of lead are
    common practice (from memory).

    Examples
    --------
    >>> round(1000 * float(delay_for_lead(34.32, lead_s=0.012)), 6)     # ms
    112.0
    """
    way = within(
        "path_difference", path_difference, -1000, 1000, "m", "Centimeters given by mistake?"
    )
    lead = within("lead_s", lead_s, 0, 0.1, "s", "Milliseconds given by mistake?")
    c = within(
        "speed_of_sound", speed_of_sound, 300, 370, "m/s", "Temperature or ft/s given by mistake?"
    )
    return within(
        "delay",
        way / c + lead,
        0,
        10,
        "s",
        "The lead comes early enough without: leave the delay out.",
    )
