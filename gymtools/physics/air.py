"""Still air: how it absorbs sound, and how fast sound crosses it."""

import numpy as np

from .checks import within

P_REF = 101.325  # reference pressure [kPa]       ISO 9613-1, clause 4.2
T_REF = 293.15  # reference temperature [K]      ISO 9613-1, clause 4.2
T_TRIPLE = 273.16  # triple point of water [K]      ISO 9613-1, annex B
C_REF = 343.2  # speed of sound at T_REF [m/s]  ISO 9613-1, annex A


def attenuation(frequency, *, temperature_c=20.0, humidity_pct=50.0, pressure_kpa=P_REF):
    r"""Pure-tone attenuation of sound in air.

    .. math::
        \alpha = 8.686 f^2 \Bigl[ 1.84\cdot10^{-11} \tfrac{p_r}{p} \theta^{1/2}
          + \theta^{-5/2} \Bigl( \frac{0.01275\, e^{-2239.1/T}}{f_O + f^2/f_O}
          + \frac{0.1068\, e^{-3352/T}}{f_N + f^2/f_N} \Bigr) \Bigr],
        \qquad \theta = T/T_0

    Parameters
    ----------
    frequency : float or array
        Exact mid-band frequency, e.g. ``bands.EXACT``; the nominal 8000 instead
        of 7943 costs up to 1.4 % at 8 kHz [Hz]
    temperature_c : float
        Air temperature, -20 to 50 [degC]
    humidity_pct : float
        Relative humidity, 1 to 100 [%]
    pressure_kpa : float
        Ambient pressure, 50 to 110; about 1.2 lower per 100 m of altitude [kPa]

    Returns
    -------
    alpha : ndarray
        Attenuation, shape of ``frequency`` [dB/m]

    Raises
    ------
    ValueError
        Frequency, temperature, humidity or pressure outside its range

    Notes
    -----
    The source claims +/-10 % for 0.05 % to 5 % water vapour and 0.0004 to
    10 Hz/Pa; every gymnasium lies well inside.

    Sources
    -------
    ISO 9613-1:1993, eq. (3), (4), (5) and annex B.

    Examples
    --------
    >>> round(1000 * float(attenuation(1000.0, temperature_c=10, humidity_pct=70)), 2)  # dB/km
    3.66
    """
    f = within("frequency", frequency, 20, 20000, "Hz", "Kilohertz given by mistake?")
    T = within("temperature_c", temperature_c, -20, 50, "degC", "Kelvin given by mistake?") + 273.15
    rh = within("humidity_pct", humidity_pct, 1, 100, "%", "Give percent, not a fraction.")
    p = within("pressure_kpa", pressure_kpa, 50, 110, "kPa", "Pascal given by mistake?") / P_REF
    theta = T / T_REF

    p_sat = 10 ** (4.6151 - 6.8346 * (T_TRIPLE / T) ** 1.261)  # (B.2), (B.3), re P_REF
    h = rh * p_sat / p  # (B.1), water vapour [%]
    f_O = p * (24 + 4.04e4 * h * (0.02 + h) / (0.391 + h))  # (3)
    f_N = p * theta**-0.5 * (9 + 280 * h * np.exp(-4.170 * (theta ** (-1 / 3) - 1)))  # (4)
    classical = 1.84e-11 / p * theta**0.5
    oxygen = 0.01275 * np.exp(-2239.1 / T) / (f_O + f**2 / f_O)
    nitrogen = 0.1068 * np.exp(-3352.0 / T) / (f_N + f**2 / f_N)
    return 8.686 * f**2 * (classical + theta**-2.5 * (oxygen + nitrogen))  # (5)


def speed_of_sound(temperature_c):
    r"""Speed of sound in air, :math:`c = 343.2 \sqrt{T/T_0}`.

    Parameters
    ----------
    temperature_c : float or array
        Air temperature, -20 to 50 [degC]

    Returns
    -------
    c : ndarray
        Shape of ``temperature_c`` [m/s]

    Raises
    ------
    ValueError
        A temperature outside -20 to 50 degC

    Notes
    -----
    Humidity is left out; indoors it adds less than 0.4 %.

    Sources
    -------
    ISO 9613-1:1993, annex A.

    Examples
    --------
    >>> float(speed_of_sound(20.0))
    343.2
    """
    T = within("temperature_c", temperature_c, -20, 50, "degC", "Kelvin given by mistake?") + 273.15
    return C_REF * np.sqrt(T / T_REF)


def decay_constant(attenuation_db):
    r"""Energy decay constant of air, :math:`m = \alpha / (10 \lg e)`, for the 4mV of a
    reverberation formula.

    Parameters
    ----------
    attenuation_db : float or array
        Attenuation from ``attenuation``, 0 to 2 [dB/m]

    Returns
    -------
    m : ndarray
        Energy falls as exp(-m x) over the path x; shape of ``attenuation_db`` [1/m]

    Raises
    ------
    ValueError
        An attenuation outside 0 to 2 dB/m

    Sources
    -------
    Definition: 10 lg exp(-m x) = -alpha x. EN 12354-6:2003 uses the same m.

    Examples
    --------
    >>> round(float(decay_constant(0.0994)), 4)
    0.0229
    """
    return within("attenuation_db", attenuation_db, 0, 2, "dB/m", "dB/km given by mistake?") / (
        10 * np.log10(np.e)
    )
