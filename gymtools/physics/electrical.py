"""Power, cable and lines: what an amplifier must give, what the cable takes, what a line
carries.
"""

import numpy as np
from scipy.special import lambertw

from .checks import within

COPPER = (
    0.017241  # resistivity of annealed copper at 20 degC [ohm mm2/m]    IEC 60028 (1/58 ohm mm2/m)
)
# at 20 degC by nominal mm2 [ohm/km]    IEC 60228, class 2 (from memory)
MOST_OHM_KM = {0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83}
LINES = (25.0, 70.7, 100.0)  # usual line voltages [V]
BTU = 3.412  # British thermal units in a watt-hour
# lost to heat at full rated power, less in proportion below it    handbooks say 3 to 6 dB (from
# memory)
COMPRESSION_DB = 3.0
EIGHTH = (
    1 / 8
    # of rated power: speech and music with 9 dB of headroom, as in safety tests of audio equipment
    # IEC 60065, UL 6500 (secondary source)
)


def amplifier_power(level_db, *, headroom_db, sensitivity_db, distance):
    """Power that gives a level at a distance on the axis, headroom included.

    Parameters
    ----------
    level_db : float or array
        Level wanted at the distance [dB]
    headroom_db : float or array
        Peaks over that level [dB]
    sensitivity_db : float or array
        Level at 1 m for 1 W [dB]
    distance : float or array
        From the loudspeaker [m]

    Returns
    -------
    power : float or ndarray
        Electrical power required [W]

    Notes
    -----
    .. math:: P = 10^{(L + H - L_s + 20 \\lg r) / 10}

    Direct sound alone: what the room adds and the air takes is left out.

    Sources
    -------
    Davis and Patronis, Sound System Engineering, "electrical power required" (from memory; worked
    values of a trade association).
    """
    distance = within("distance", distance, 0.1, 500, "m")
    return 10 ** (
        (np.asarray(level_db) + headroom_db - np.asarray(sensitivity_db) + 20 * np.log10(distance))
        / 10
    )


def awg_area(awg):
    """Cross-section of a wire by its American gauge.

    Parameters
    ----------
    awg : float or array
        Gauge; larger is thinner [-]

    Returns
    -------
    area : float or ndarray
        Of the copper [mm2]

    Sources
    -------
    ASTM B258: diameter 0.127 mm * 92^((36 - n) / 39); table in NBS Handbook 100.
    """
    diameter = 0.127 * 92 ** (
        (36 - within("awg", awg, 0, 40, "", "Larger numbers are thinner wires.")) / 39
    )
    return np.pi / 4 * diameter**2


def loop_resistance(length, *, awg=None, area_mm2=None, nominal_mm2=None):
    """Resistance of both conductors of a cable at 20 degC.

    Parameters
    ----------
    length : float or array
        One way [m]
    awg : float, optional
        Gauge; give one of the three [-]
    area_mm2 : float, optional
        Cross-section of the copper of one conductor [mm2]
    nominal_mm2 : float, optional
        What a metric cable is called: one of ``MOST_OHM_KM``, whose resistance may be 5 to 7 % over
        that of the area [mm2]

    Returns
    -------
    resistance : float or ndarray
        There and back [ohm]

    Sources
    -------
    Copper after IEC 60028; by nominal cross-section the most that IEC 60228 lets a class 2
    conductor have (from memory).
    """
    if sum(given is not None for given in (awg, area_mm2, nominal_mm2)) != 1:
        raise ValueError("give the conductor either as awg or as area_mm2 or as nominal_mm2.")
    if nominal_mm2 is not None:
        if nominal_mm2 not in MOST_OHM_KM:
            raise ValueError(
                f"nominal_mm2 = {nominal_mm2:g} mm2 is unknown. Known:"
                f" {', '.join(f'{a:g}' for a in MOST_OHM_KM)}."
            )
        return 2 * within("length", length, 0, 2000, "m") * MOST_OHM_KM[nominal_mm2] / 1000
    area = (
        awg_area(awg)
        if area_mm2 is None
        else within("area_mm2", area_mm2, 0.05, 200, "mm2", "A gauge given by mistake? Use awg.")
    )
    return 2 * within("length", length, 0, 2000, "m") * COPPER / area


def cable_loss_db(length, load_ohm, *, awg=None, area_mm2=None, nominal_mm2=None):
    """Level that a cable takes from a load at its end.

    Parameters
    ----------
    length : float or array
        One way [m]
    load_ohm : float or array
        Of all that hangs on it [ohm]
    awg : float, optional
        Gauge; give one of the three [-]
    area_mm2 : float, optional
        Cross-section of the copper of one conductor [mm2]
    nominal_mm2 : float, optional
        What a metric cable is called: one of ``MOST_OHM_KM``, whose resistance may be 5 to 7 % over
        that of the area [mm2]

    Returns
    -------
    loss : float or ndarray
        20 lg(1 + R / Z) [dB]
    """
    return 20 * np.log10(
        1
        + loop_resistance(length, awg=awg, area_mm2=area_mm2, nominal_mm2=nominal_mm2)
        / within("load_ohm", load_ohm, 0.5, 1e5, "ohm")
    )


def chain_loss_db(lengths, loads_ohm, *, awg=None, area_mm2=None, nominal_mm2=None):
    """Level lost on the way to each load of several that hang one behind the other on one cable.

    Parameters
    ----------
    lengths : array
        From the amplifier to the first, from there to the next, ... (load,) [m]
    loads_ohm : array
        (load,) [ohm]
    awg : float, optional
        Gauge; give one of the three [-]
    area_mm2 : float, optional
        Cross-section of the copper of one conductor [mm2]
    nominal_mm2 : float, optional
        What a metric cable is called: one of ``MOST_OHM_KM``, whose resistance may be 5 to 7 % over
        that of the area [mm2]

    Returns
    -------
    loss : ndarray
        At each load re the amplifier's terminals (load,) [dB]
    """
    resistance = np.atleast_1d(
        loop_resistance(lengths, awg=awg, area_mm2=area_mm2, nominal_mm2=nominal_mm2)
    )
    loads = within("loads_ohm", np.atleast_1d(loads_ohm), 0.5, 1e5, "ohm")
    seen = np.empty(len(loads))  # impedance at each load, with all that follows
    for k in reversed(range(len(loads))):
        beyond = 1 / (resistance[k + 1] + seen[k + 1]) if k + 1 < len(loads) else 0.0
        seen[k] = 1 / (1 / loads[k] + beyond)
    return np.cumsum(20 * np.log10(1 + resistance / seen))


def parallel(loads_ohm):
    """Impedance of loads side by side.

    Parameters
    ----------
    loads_ohm : array
        At least one [ohm]

    Returns
    -------
    impedance : float
        Of all together [ohm]
    """
    return float(1 / np.sum(1 / within("loads_ohm", np.atleast_1d(loads_ohm), 0.5, 1e5, "ohm")))


def line_load(taps_w, *, volts=70.7):
    """What a line with transformers carries.

    Parameters
    ----------
    taps_w : array
        Power that each loudspeaker is set to take [W]
    volts : float
        Of the line [V]

    Returns
    -------
    total_w : float
        Power of all [W]
    impedance_ohm : float
        Of the line, V squared over P; 70.7 V counts as 5000 / P, as its tables do [ohm]
    """
    total = float(np.sum(within("taps_w", np.atleast_1d(taps_w), 0.1, 2000, "W")))
    square = (
        5000.0
        if abs(float(volts) - 70.7) < 0.05
        else float(within("volts", volts, 10, 250, "V")) ** 2
    )
    return total, square / total


def damping_factor(load_ohm, *, output_ohm, cable_ohm):
    """Load over all that lies in front of it.

    Parameters
    ----------
    load_ohm : float or array
        [ohm]
    output_ohm : float or array
        Of the amplifier [ohm]
    cable_ohm : float or array
        There and back [ohm]

    Returns
    -------
    factor : float or ndarray
        At the loudspeaker [-]
    """
    return load_ohm / (output_ohm + cable_ohm)


def compression_db(power_w, rated_w):
    """Level that a loudspeaker loses because its coil is hot.

    Parameters
    ----------
    power_w : float or array
        Mean power that it is fed with [W]
    rated_w : float or array
        Its rating [W]

    Returns
    -------
    loss : float or ndarray
        Re the level that its sensitivity promises, in proportion to the power up to the rated one,
        constant beyond [dB]

    Sources
    -------
    3 to 6 dB at full rated power: handbooks (from memory); the line below it is common practice, no
    source.
    """
    return COMPRESSION_DB * np.minimum(np.asarray(power_w) / rated_w, 1.0)


def heated_power(cool_w, rated_w):
    """Power that makes up for the heat of the coil.

    Parameters
    ----------
    cool_w : float or array
        Mean power that would do by the sensitivity alone [W]
    rated_w : float or array
        Its rating [W]

    Returns
    -------
    power : float or ndarray
        That does with the compression that it causes itself [W]

    Notes
    -----
    .. math:: 10 \\lg P - C \\min(P / P_r, 1) = 10 \\lg P_0

    solved for P: with k = C ln(10) / 10, P = -P_r W(-k P_0 / P_r) / k on the principal branch of
    Lambert's function W.

    Sources
    -------
    Closed form of ``compression_db``; Corless et al., "On the Lambert W function" (1996).
    """
    k = COMPRESSION_DB * np.log(10) / 10
    part = np.asarray(cool_w, float) / rated_w
    full = np.exp(-k)  # share of the rated power at which all of it is needed
    warm = -lambertw(-k * np.minimum(part, full)).real / k
    return rated_w * np.where(part < full, warm, part / full)


def mains_power(rated_w, channels, *, idle_w, efficiency, share=EIGHTH):
    """Power that an amplifier takes from the mains.

    Parameters
    ----------
    rated_w : float or array
        Of one channel [W]
    channels : int or array
        How many are driven [-]
    idle_w : float or array
        With nothing to do [W]
    efficiency : float or array
        At that share of its power, 0 to 1 [-]
    share : float
        Of rated power that it gives [-]

    Returns
    -------
    drawn : float or ndarray
        From the mains [W]
    heat : float or ndarray
        What stays in the rack [W]
    """
    within("efficiency", efficiency, 0.05, 1, "")
    given = np.asarray(rated_w) * channels * within("share", share, 0, 1, "")
    drawn = idle_w + given / efficiency
    return drawn, drawn - given
