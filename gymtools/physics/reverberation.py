"""Reverberation time, and the steady level in a reverberant room."""

import numpy as np
from scipy.special import xlog1py, xlogy  # x log(1 + y) and x log(y): 0 for x = 0, and no warnings

from . import bands
from .checks import within

K = 24 * np.log(10)  # 60 dB of decay: T = K V / (c A) [-]
C = 343.2  # speed of sound at 20 degC [m/s]  ISO 9613-1, annex A
AXIAL = ("x-", "x+", "y-", "y+", "floor", "ceiling")  # face order of ``arau`` [-]


def _reflected(area, absorption):
    """One less the mean absorption; written so that it is exactly 0 where all is absorbed."""
    return area @ (1 - absorption) / area.sum()


def _sabine(area, absorption):
    return area @ absorption


def _eyring(area, absorption):
    return -xlogy(area.sum(), _reflected(area, absorption))


def _millington(area, absorption):
    return -xlog1py(area, -absorption.T).sum(axis=-1)


# and largest alpha
FORMULAS = {"sabine": (_sabine, 1.3), "eyring": (_eyring, 1.0), "millington": (_millington, 1.0)}


def absorption_area(area, absorption, *, air=0.0, volume=0.0, formula="eyring"):
    r"""Equivalent absorption area of surfaces and air, the denominator of a reverberation formula.

    .. math::
        A_\text{Sabine} = \sum S_i\alpha_i + 4mV, \qquad
        A_\text{Eyring} = -S\ln(1-\bar\alpha) + 4mV, \qquad
        A_\text{Millington} = -\sum S_i\ln(1-\alpha_i) + 4mV

    Parameters
    ----------
    area : array
        Area of each surface, shape (surface,) [m2]
    absorption : array
        Absorption coefficients, shape (surface, band) or (surface,). Sabine takes up to 1.3, for
        coefficients measured after ISO 354 can exceed 1; the others take up to 1 [-]
    air : float or array
        Energy decay constant of air from ``air.decay_constant``, scalar or (band,) [1/m]
    volume : float
        Volume of the room; needed only with ``air`` [m3]
    formula : str
        "sabine", "eyring" or "millington"

    Returns
    -------
    area : ndarray
        Absorption area, shape (band,); infinite for Eyring with mean absorption 1 and for
        Millington with any coefficient of 1 [m2]

    Raises
    ------
    ValueError
        An unknown formula; areas or absorption outside their range (a coefficient above 1 only for
        Sabine) or of shapes that do not match; air without a volume

    Sources
    -------
    H. Kuttruff, Room Acoustics; the three formulas are compared by H. Arau-Puchades, Acustica 65
    (1988) 163.

    Examples
    --------
    >>> float(absorption_area([100.0, 50.0], [0.1, 0.4], formula="sabine"))
    30.0
    """
    if formula not in FORMULAS:
        raise ValueError(f"formula = {formula!r} is unknown. Known: {', '.join(FORMULAS)}.")
    surfaces, limit = FORMULAS[formula]
    area = within("area", area, 0, 1e5, "m2")
    absorption = within(
        "absorption",
        absorption,
        0,
        limit,
        "-",
        "Percent, or above 1 after ISO 354? Only sabine may.",
    )
    if area.ndim != 1 or absorption.shape[:1] != area.shape:
        raise ValueError(
            f"area {area.shape} and absorption {absorption.shape} are not (surface,) and (surface,"
            " band)."
        )
    within("total area", area.sum(), 1, 1e6, "m2")
    air = within("air", air, 0, 0.5, "1/m", "dB/m given by mistake?")
    volume = within("volume", volume, 0, 1e6, "m3", "Cubic feet given by mistake?")
    if volume == 0 and np.any(air > 0):
        raise ValueError("air is given but volume = 0 m3. Give the volume: the air absorbs 4 m V.")
    return surfaces(area, absorption) + 4 * air * volume


def reverberation_time(volume, area, absorption, *, air=0.0, speed_of_sound=C, formula="eyring"):
    r"""Reverberation time of a diffuse room.

    .. math:: T = \frac{24 \ln 10}{c} \frac{V}{A}

    Parameters
    ----------
    volume : float
        Volume of the room, 10 to 1e6 [m3]
    area : array
        Area of each surface, shape (surface,) [m2]
    absorption : array
        Absorption coefficients, shape (surface, band) or (surface,) [-]
    air : float or array
        Energy decay constant of air from ``air.decay_constant``, scalar or (band,) [1/m]
    speed_of_sound : float
        Speed of sound, 300 to 370 [m/s]
    formula : str
        "sabine", "eyring" or "millington", see ``absorption_area``

    Returns
    -------
    rt : ndarray
        Reverberation time, shape (band,); 0 where the absorption area is infinite [s]

    Raises
    ------
    ValueError
        As ``absorption_area``; a volume or a speed of sound outside its range; a room in which
        nothing absorbs

    Notes
    -----
    All three expect a diffuse field. A gymnasium with one absorbing surface is the opposite: its
    late decay lasts longer than any formula says.

    Sources
    -------
    H. Kuttruff, Room Acoustics. 24 ln 10 / 343.2 = 0.161; EN 12354-6 rounds it to 0.16.

    Examples
    --------
    >>> round(float(reverberation_time(4800, [2000.0], [0.2], speed_of_sound=343)), 3)
    1.733
    """
    volume = within("volume", volume, 10, 1e6, "m3", "Cubic feet given by mistake?")
    c = within(
        "speed_of_sound", speed_of_sound, 300, 370, "m/s", "Temperature or ft/s given by mistake?"
    )
    A = absorption_area(area, absorption, air=air, volume=volume, formula=formula)
    within("absorption area", A, 1e-3, np.inf, "m2", "Nothing absorbs; the decay has no end.")
    return K * volume / (c * A)


def arau(length, width, height, absorption, *, air=0.0, speed_of_sound=C):
    r"""Reverberation time of a box whose absorption is unlike from axis to axis.

    .. math::
        T = \prod_{x,y,z} T_i^{S_i/S}, \qquad
        T_i = \frac{24\ln 10\, V}{c\,(-S\ln(1-\alpha_i) + 4mV)}

    Parameters
    ----------
    length, width, height : float
        Inner size along x, y, z, each 2 to 200 [m]
    absorption : array
        Mean absorption of the six faces x-, x+, y-, y+, floor, ceiling, shape (6, band) or (6,) [-]
    air : float or array
        Energy decay constant of air from ``air.decay_constant``, scalar or (band,) [1/m]
    speed_of_sound : float
        Speed of sound, 300 to 370 [m/s]

    Returns
    -------
    rt : ndarray
        Geometric mean of the three axial Eyring times, weighted by area, shape (band,) [s]

    Raises
    ------
    ValueError
        A size outside 2 to 200 m; other than six faces; else as ``reverberation_time``

    Sources
    -------
    H. Arau-Puchades, An improved reverberation formula, Acustica 65 (1988) 163.

    Examples
    --------
    >>> round(float(arau(30, 20, 8, [0.05, 0.05, 0.05, 0.05, 0.10, 0.50], speed_of_sound=343)), 3)
    2.355
    """
    size = [("length", length), ("width", width), ("height", height)]
    x, y, z = (
        within(name, value, 2, 200, "m", "Centimeters or feet given by mistake?")
        for name, value in size
    )
    absorption = within("absorption", absorption, 0, 1, "-", "Percent, or above 1 after ISO 354?")
    if absorption.shape[:1] != (6,):
        raise ValueError(
            f"absorption has shape {absorption.shape}, not (6, band): {', '.join(AXIAL)}."
        )
    pair = 2 * np.array([y * z, x * z, x * y])  # (axis,)
    alpha = absorption.reshape(3, 2, *absorption.shape[1:]).mean(axis=1)  # (axis, band)
    options = {"air": air, "speed_of_sound": speed_of_sound}
    times = [reverberation_time(x * y * z, [pair.sum()], mean[None], **options) for mean in alpha]
    return np.prod([t**w for t, w in zip(times, pair / pair.sum(), strict=True)], axis=0)


def critical_distance(q, volume, rt, *, sources=1):
    r"""Distance at which the direct sound of one source equals the reverberant sound of all.

    .. math:: r_c = \sqrt{\frac{24\ln 10}{16\pi c} \frac{Q V}{N T}} = 0.0566 \sqrt{\frac{Q V}{N T}}

    Parameters
    ----------
    q : float or array
        Directivity factor toward the listener [-]
    volume : float
        Volume of the room, 10 to 1e6 [m3]
    rt : float or array
        Reverberation time, 0.05 to 30 [s]
    sources : float or array
        Number N of equal sources, of which one serves the listener [-]

    Returns
    -------
    r_c : ndarray
        Critical distance, shape of the inputs [m]

    Raises
    ------
    ValueError
        An input outside its range

    Notes
    -----
    From the absorption area A = 24 ln 10 V/(c T) with c = 343.2 m/s. Handbooks print 0.057, which
    is 0.7 % more. With the room constant R in place of A (see ``steady_level``) the distance grows
    by 1/sqrt(1 - mean alpha).

    Sources
    -------
    H. Kuttruff, Room Acoustics, 6th ed., eq. (5.44); N sources: D. Davis, Sound System Engineering
    (from memory).

    Examples
    --------
    >>> round(float(critical_distance(10, 9720, 2.5, sources=4)), 2)
    5.58
    """
    q = within("q", q, 0, 1e4, "-")
    volume = within("volume", volume, 10, 1e6, "m3", "Cubic feet given by mistake?")
    rt = within("rt", rt, 0.05, 30, "s", "Milliseconds given by mistake?")
    sources = within("sources", sources, 1, 1000, "-")
    return np.sqrt(K / (16 * np.pi * C) * q * volume / (sources * rt))


def room_constant(area, absorption):
    r"""Room constant, :math:`R = S\bar\alpha / (1 - \bar\alpha)`.

    Parameters
    ----------
    area : array
        Area of each surface, shape (surface,) [m2]
    absorption : array
        Absorption coefficients up to 1, shape (surface, band) or (surface,) [-]

    Returns
    -------
    R : ndarray
        Room constant, shape (band,); infinite where every surface absorbs all [m2]

    Raises
    ------
    ValueError
        As ``absorption_area``

    Sources
    -------
    Bies, Hansen and Howard, Engineering Noise Control, 5th ed., eq. (6.43), (6.44).

    Examples
    --------
    >>> float(room_constant([100.0, 300.0], [0.5, 0.1]))
    100.0
    """
    absorption = within("absorption", absorption, 0, 1, "-", "Percent, or above 1 after ISO 354?")
    A = absorption_area(area, absorption, formula="sabine")
    with np.errstate(divide="ignore"):
        return A / _reflected(np.asarray(area, float), absorption)


def steady_level(power_level_db, distance, *, q, room_constant, sources=1):
    r"""Direct, reverberant and total level of one source among N equal ones.

    .. math:: L_p = L_W + 10\lg\Bigl(\frac{Q}{4\pi r^2} + \frac{4N}{R}\Bigr)

    Parameters
    ----------
    power_level_db : float or array
        Sound power level of one source [dB]
    distance : float or array
        Distance to the source that serves the listener, 0.1 to 1000 [m]
    q : float or array
        Directivity factor of that source toward the listener [-]
    room_constant : float or array
        R of ``room_constant`` after Bies, or the absorption area A after Kuttruff; they differ by
        the factor 1 - mean alpha, less than 0.5 dB below 0.1 [m2]
    sources : float or array
        Number N of equal sources [-]

    Returns
    -------
    direct_db, reverberant_db, total_db : ndarray
        Sound pressure levels, shape of the inputs; the 0.1 dB of rho c / 400 is left out as usual
        [dB]

    Raises
    ------
    ValueError
        An input outside its range

    Sources
    -------
    Bies, Hansen and Howard, Engineering Noise Control, 5th ed., eq. (6.43); N sources by adding
    equal powers.

    Examples
    --------
    >>> [round(float(level), 2) for level in steady_level(100, 5, q=1, room_constant=200)]
    [75.03, 83.01, 83.65]
    """
    power = within("power_level_db", power_level_db, -np.inf, 200, "dB")
    r = within("distance", distance, 0.1, 1000, "m", "Millimeters given by mistake?")
    q = within("q", q, 0, 1e4, "-")
    R = within("room_constant", room_constant, 1e-3, np.inf, "m2")
    N = within("sources", sources, 1, 1000, "-")
    direct, reverberant = q / (4 * np.pi * r**2), 4 * N / R
    return tuple(
        power + bands.to_level(energy) for energy in (direct, reverberant, direct + reverberant)
    )


def sports_hall_target(volume):
    r"""Target for the mid-band reverberation time of a sports hall: :math:`T = 0.75 \lg V - 1`,
    2.0 from 10 000 m3.

    Parameters
    ----------
    volume : float or array
        Volume of the hall, 200 to 1e6 [m3]

    Returns
    -------
    rt : ndarray
        Target, shape of ``volume`` [s]

    Raises
    ------
    ValueError
        A volume outside 200 to 1e6 m3

    Sources
    -------
    DIN 18041:2016, group A5, 200 to 10 000 m3, not seen: as printed in a board maker's handbook of
    building physics, p. 47, and compared with a secondary table on a public page, of which it gives
    four of five values (800 m3: 1.2 s, 1160: 1.3, 2230: 1.5, 6930: 1.9). The fifth, 8500 m3, prints
    2.0 for 1.947. That it is for the empty hall is from memory.

    Examples
    --------
    >>> round(float(sports_hall_target(2230)), 2)
    1.51
    """
    volume = within("volume", volume, 200, 1e6, "m3", "Cubic feet given by mistake?")
    return np.minimum(0.75 * np.log10(volume) - 1, 2.0)  # 2.0 is reached at 10 000 m3 exactly


def speech_hall_target(volume):
    r"""Target for the mid-band reverberation time of a room for speech to many:
    :math:`T = 0.37 \lg V - 0.14`.

    Parameters
    ----------
    volume : float or array
        Volume of the room, 50 to 1e6; the standard's own range ends at 5000 [m3]

    Returns
    -------
    rt : ndarray
        Target with people in it, shape of ``volume`` [s]

    Raises
    ------
    ValueError
        A volume outside 50 to 1e6 m3

    Sources
    -------
    DIN 18041:2016, group A2 (speech and lecture), 50 to 5000 m3, not seen: as printed in a board
    maker's handbook of building physics, p. 47. The edition of 2004 gives the same line for sports
    halls with an audience (a trade page, secondary). Beyond 5000 m3 the line is drawn on, which the
    standard does not.

    Examples
    --------
    >>> round(float(speech_hall_target(5000)), 2)
    1.23
    """
    volume = within("volume", volume, 50, 1e6, "m3", "Cubic feet given by mistake?")
    return 0.37 * np.log10(volume) - 0.14
