"""Power, cable and lines: power of amplifiers, loss of cables, load of lines."""

import numpy as np
from scipy.special import lambertw

from .checks import within

# resistivity of annealed copper at 20 degC [ohm mm2/m]    IEC 60028 (1/58 ohm mm2/m)
COPPER = 0.017241
# at 20 degC by nominal mm2 [ohm/km]    IEC 60228, class 2 (from memory)
MOST_OHM_KM = {0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83}
LINES = (25.0, 70.7, 100.0)  # usual line voltages [V]
BTU = 3.412  # British thermal units in a watt-hour
# lost to heat at full rated power, less in proportion below it    handbooks say 3 to 6 dB (from
# memory)
COMPRESSION_DB = 3.0
# share of rated power: speech and music with 9 dB of headroom, as in safety tests of audio
# equipment    IEC 60065, UL 6500 (secondary source)
EIGHTH = 1 / 8


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
        From the loudspeaker, 0.1 to 500 [m]

    Returns
    -------
    power : float or ndarray
        Electrical power required, shape of the inputs [W]

    Raises
    ------
    ValueError
        A distance outside 0.1 to 500 m

    Notes
    -----
    .. math:: P = 10^{(L + H - L_s + 20 \\lg r) / 10}

    Direct sound alone, without what the room adds and the air takes.

    Sources
    -------
    Davis and Patronis, Sound System Engineering, "electrical power required" (from memory; worked
    values of a trade association).

    Examples
    --------
    >>> round(float(amplifier_power(80, headroom_db=10, sensitivity_db=90, distance=12)))
    144
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
        Gauge, 0 to 40; larger is thinner [AWG]

    Returns
    -------
    area : float or ndarray
        Cross-section of the copper, shape of ``awg`` [mm2]

    Raises
    ------
    ValueError
        A gauge outside 0 to 40

    Sources
    -------
    ASTM B258: diameter 0.127 mm * 92^((36 - n) / 39); table in NBS Handbook 100.

    Examples
    --------
    >>> round(float(awg_area(12)), 2)
    3.31
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
        Gauge; give one of the three [AWG]
    area_mm2 : float, optional
        Cross-section of the copper of one conductor [mm2]
    nominal_mm2 : float, optional
        Nominal size of a metric cable, one of ``MOST_OHM_KM``; its resistance may be 5 to 7 % over
        that of the area [mm2]

    Returns
    -------
    resistance : float or ndarray
        There and back, shape of ``length`` [ohm]

    Raises
    ------
    ValueError
        No or more than one of the three sizes given; an unknown nominal size; a length outside 0 to
        2000 m; an area outside 0.05 to 200 mm2

    Sources
    -------
    Copper after IEC 60028; by nominal cross-section the most that IEC 60228 lets a class 2
    conductor have (from memory).

    Examples
    --------
    >>> round(float(loop_resistance(30.48, awg=12)), 3)      # 100 ft
    0.318
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
        All loads together [ohm]
    awg : float, optional
        Gauge; give one of the three [AWG]
    area_mm2 : float, optional
        Cross-section of the copper of one conductor [mm2]
    nominal_mm2 : float, optional
        Nominal size of a metric cable, one of ``MOST_OHM_KM``; its resistance may be 5 to 7 % over
        that of the area [mm2]

    Returns
    -------
    loss : float or ndarray
        20 lg(1 + R / Z), shape of the inputs [dB]

    Raises
    ------
    ValueError
        No or more than one of the three sizes given; an unknown nominal size; a length outside 0 to
        2000 m; a load outside 0.5 to 100 000 ohm

    Sources
    -------
    Voltage divider of cable and load, Ohm's law.

    Examples
    --------
    >>> round(float(cable_loss_db(30.48, 8, awg=12)), 2)     # 100 ft
    0.34
    """
    return 20 * np.log10(
        1
        + loop_resistance(length, awg=awg, area_mm2=area_mm2, nominal_mm2=nominal_mm2)
        / within("load_ohm", load_ohm, 0.5, 1e5, "ohm")
    )


def chain_loss_db(lengths, loads_ohm, *, awg=None, area_mm2=None, nominal_mm2=None):
    """Level lost on the way to each of several loads in a chain on one cable.

    Parameters
    ----------
    lengths : array
        From the amplifier to the first, from there to the next, ... (load,) [m]
    loads_ohm : array
        Loads in the same order (load,) [ohm]
    awg : float, optional
        Gauge; give one of the three [AWG]
    area_mm2 : float, optional
        Cross-section of the copper of one conductor [mm2]
    nominal_mm2 : float, optional
        Nominal size of a metric cable, one of ``MOST_OHM_KM``; its resistance may be 5 to 7 % over
        that of the area [mm2]

    Returns
    -------
    loss : ndarray
        At each load re the amplifier's terminals (load,) [dB]

    Raises
    ------
    ValueError
        No or more than one of the three sizes given; an unknown nominal size; a length outside 0 to
        2000 m; a load outside 0.5 to 100 000 ohm

    Sources
    -------
    Voltage dividers from the far end to the amplifier, Ohm's and Kirchhoff's laws.

    Examples
    --------
    >>> chain_loss_db([30, 10], [16, 16], awg=12).round(2).tolist()
    [0.33, 0.39]
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
        At least one (load,) [ohm]

    Returns
    -------
    impedance : float
        All loads together [ohm]

    Raises
    ------
    ValueError
        A load outside 0.5 to 100 000 ohm

    Sources
    -------
    Kirchhoff's laws: conductances add.

    Examples
    --------
    >>> parallel([8, 8])
    4.0
    """
    return float(1 / np.sum(1 / within("loads_ohm", np.atleast_1d(loads_ohm), 0.5, 1e5, "ohm")))


def line_load(taps_w, *, volts=70.7):
    """Load of a line with transformers.

    Parameters
    ----------
    taps_w : array
        Tap of each loudspeaker (loudspeaker,) [W]
    volts : float
        Line voltage, 10 to 250 [V]

    Returns
    -------
    total_w : float
        Sum of the taps [W]
    impedance_ohm : float
        Impedance of the line, V squared over P; at 70.7 V 5000 / P, as its tables have it [ohm]

    Raises
    ------
    ValueError
        A tap outside 0.1 to 2000 W, or a line outside 10 to 250 V

    Sources
    -------
    Z = V^2 / P. 5000 / P for 70.7 V: usual tables of line transformers (common practice).

    Examples
    --------
    >>> line_load([30, 15, 5], volts=70.7)
    (50.0, 100.0)
    """
    total = float(np.sum(within("taps_w", np.atleast_1d(taps_w), 0.1, 2000, "W")))
    square = (
        5000.0
        if abs(float(volts) - 70.7) < 0.05
        else float(within("volts", volts, 10, 250, "V")) ** 2
    )
    return total, square / total


def damping_factor(load_ohm, *, output_ohm, cable_ohm):
    """Damping factor: load over all that lies in front of it.

    Parameters
    ----------
    load_ohm : float or array
        Impedance of the loudspeaker [ohm]
    output_ohm : float or array
        Output impedance of the amplifier [ohm]
    cable_ohm : float or array
        Resistance of the cable, there and back [ohm]

    Returns
    -------
    factor : float or ndarray
        At the loudspeaker, shape of the inputs [-]

    Sources
    -------
    Definition: load over the impedance that it sees; common practice, no standard.

    Examples
    --------
    >>> damping_factor([4, 8], output_ohm=0.02, cable_ohm=0.318).round(1).tolist()
    [11.8, 23.7]
    """
    return np.asarray(load_ohm) / (np.asarray(output_ohm) + cable_ohm)


def compression_db(power_w, rated_w):
    """Level that a loudspeaker loses because its coil is hot.

    Parameters
    ----------
    power_w : float or array
        Mean power fed to it [W]
    rated_w : float or array
        Its rating [W]

    Returns
    -------
    loss : float or ndarray
        Loss re its sensitivity, in proportion to the power up to the rated one, constant beyond;
        shape of the inputs [dB]

    Sources
    -------
    3 to 6 dB at full rated power: handbooks (from memory); the line below it is common practice, no
    source.

    Examples
    --------
    >>> compression_db([50.0, 100.0, 200.0], 100.0).tolist()
    [1.5, 3.0, 3.0]
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
        Power that gives the level with the compression that it causes itself, shape of the inputs
        [W]

    Notes
    -----
    .. math:: 10 \\lg P - C \\min(P / P_r, 1) = 10 \\lg P_0

    solved for P: with k = C ln(10) / 10, P = -P_r W(-k P_0 / P_r) / k on the principal branch of
    Lambert's function W.

    Sources
    -------
    Closed form of ``compression_db``; Corless et al., "On the Lambert W function" (1996).

    Examples
    --------
    >>> round(float(heated_power(35.4, 100.0)), 1)
    50.0
    """
    k = COMPRESSION_DB * np.log(10) / 10
    part = np.asarray(cool_w, float) / rated_w
    full = np.exp(-k)  # share of the rated power at which all of it is needed
    warm = -lambertw(-k * np.minimum(part, full)).real / k
    return rated_w * np.where(part < full, warm, part / full)


def ac_power(rated_w, channels, *, idle_w, efficiency, share=EIGHTH):
    """AC power that an amplifier draws.

    Parameters
    ----------
    rated_w : float or array
        Rated power of one channel [W]
    channels : int or array
        Number of channels driven [-]
    idle_w : float or array
        AC power without a signal [W]
    efficiency : float or array
        Efficiency at that share of its power, 0.05 to 1 [-]
    share : float
        Share of rated power that it gives, 0 to 1 [-]

    Returns
    -------
    drawn : float or ndarray
        AC power, shape of the inputs [W]
    heat : float or ndarray
        Heat left in the rack, shape of the inputs [W]

    Raises
    ------
    ValueError
        An efficiency outside 0.05 to 1, or a share outside 0 to 1

    Sources
    -------
    Efficiency is power given over power drawn beyond idling; the share of 1/8: ``EIGHTH``.

    Examples
    --------
    >>> drawn, heat = ac_power(500, 4, idle_w=60, efficiency=0.7)
    >>> round(drawn), round(heat)
    (417, 167)
    """
    within("efficiency", efficiency, 0.05, 1, "")
    given = np.asarray(rated_w) * channels * within("share", share, 0, 1, "")
    drawn = idle_w + given / efficiency
    return drawn, drawn - given
