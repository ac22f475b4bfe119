"""Sound through a curtain or a thin partition, and between the two rooms that it parts."""

import numpy as np

from . import bands
from .checks import within
from .reverberation import C

# density of air times speed of sound at 20 degC and 101.325 kPa [Pa s/m]
# Kuttruff, Room Acoustics, 6th ed., ch. 1 (from memory: 414)
RHO_C = 413.3
FIELD_DEG = 78.0  # widest angle of incidence that counts [deg]    Bies, Hansen and Howard, ch. 7
DECAY = np.log(1e6)  # 60 dB as a power of e


def mass_law_db(surface_density, *, frequency=bands.EXACT, widest_deg=FIELD_DEG):
    r"""Transmission loss of a limp sheet by its mass alone.

    .. math::
        \tau(\theta) = \frac{1}{1 + a^2 \cos^2\theta}, \quad a = \frac{\pi f m}{\rho c}, \qquad
        \tau = \frac{\int \tau(\theta) \sin 2\theta \, d\theta}{\int \sin 2\theta \, d\theta}
             = \frac{\ln(1 + a^2) - \ln(1 + a^2 \cos^2\theta_m)}{a^2 \sin^2\theta_m}

    Parameters
    ----------
    surface_density : float
        Mass of a square meter, m, 0.1 to 200 [kg/m2]
    frequency : float or array
        Mid-band frequencies, 20 to 20,000 (band,) [Hz]
    widest_deg : float
        Widest angle of incidence, 0 (straight on) to 90 (from everywhere); 78 where it is a room's
        sound [deg]

    Returns
    -------
    loss : ndarray
        (band,), never below 0 [dB]

    Raises
    ------
    ValueError
        A value is outside its range

    Notes
    -----
    Folds, seams and the gap at the floor let more through than the mass law says. For large f m it
    goes over into 20 lg(f m) - 42 dB straight on and 20 lg(f m) - 47 dB in a room.

    Sources
    -------
    L. Cremer's mass law over the angles; e.g. Bies, Hansen and Howard, Engineering Noise Control,
    5th ed., ch. 7, and F. Fahy, Foundations of Engineering Acoustics, ch. 11 (from memory).

    Examples
    --------
    >>> mass_law_db(5.0, frequency=[500.0, 1000.0]).round(1).tolist()
    [20.5, 26.5]
    """
    hint = "Ounces or pounds given by mistake?"
    m = float(within("surface_density", surface_density, 0.1, 200, "kg/m2", hint))
    f = within("frequency", np.atleast_1d(frequency), 20, 20_000, "Hz")
    widest = np.radians(float(within("widest_deg", widest_deg, 0, 90, "deg")))
    a2 = (np.pi * f * m / RHO_C) ** 2
    if np.sin(widest) < 1e-3:
        return bands.to_level(1 + a2)
    least = a2 * np.cos(widest) ** 2
    tau = (np.log1p(a2) - np.log1p(least)) / (a2 * np.sin(widest) ** 2)
    return -bands.to_level(tau)


def coupled_energy(absorption_area, coupling_area):
    r"""Diffuse energy in two rooms that share a wall, for a source in either.

    .. math::
        (A_1 + S\tau) w_1 - S\tau\, w_2 = 4 P_1 / c, \qquad
        (A_2 + S\tau) w_2 - S\tau\, w_1 = 4 P_2 / c

    Parameters
    ----------
    absorption_area : array
        What each room absorbs without the sound that goes through, (2, band), above 0 [m2]
    coupling_area : array
        Area of the wall between them times what goes through, (band,) [m2]

    Returns
    -------
    energy : ndarray
        In the first room and the second, of a source in the first and in the second (room, source,
        band): w c / 4 over its power [1/m2]

    Raises
    ------
    ValueError
        A room that absorbs nothing, or a negative area

    Sources
    -------
    H. Kuttruff, Room Acoustics, 6th ed., ch. 5.8, coupled rooms: the balance of two diffuse fields
    (from memory).

    Examples
    --------
    >>> coupled_energy([[90.0], [45.0]], [10.0])[:, 0, 0].round(5).tolist()
    [0.01019, 0.00185]
    """
    own, s = _areas(absorption_area, coupling_area)
    matrix = np.array([[own[0] + s, -s], [-s, own[1] + s]])  # (room, source, band)
    return np.moveaxis(np.linalg.inv(np.moveaxis(matrix, -1, 0)), 0, -1)


def coupled_decays(volume, absorption_area, coupling_area, *, speed_of_sound=C):
    r"""Decay times of two rooms that share a wall: of the two ways in which they die away together.

    .. math::
        V_1 \dot w_1 = -\tfrac{c}{4} [(A_1 + S\tau) w_1 - S\tau\, w_2], \qquad
        V_2 \dot w_2 = -\tfrac{c}{4} [(A_2 + S\tau) w_2 - S\tau\, w_1]

    Parameters
    ----------
    volume : array
        Of both rooms (2,), above 0 [m3]
    absorption_area : array
        As ``coupled_energy`` (2, band) [m2]
    coupling_area : array
        As ``coupled_energy`` (band,) [m2]
    speed_of_sound : float
        300 to 370 [m/s]

    Returns
    -------
    decay_time : ndarray
        The longer and the shorter one (2, band) [s]

    Raises
    ------
    ValueError
        A room that has no volume or absorbs nothing, or a negative area

    Sources
    -------
    As ``coupled_energy``.

    Examples
    --------
    >>> coupled_decays([3000.0, 3000.0], [[90.0], [90.0]], [10.0])[:, 0].round(3).tolist()
    [5.367, 4.391]
    """
    v = within("volume", volume, 1, 1e6, "m3")
    c = float(within("speed_of_sound", speed_of_sound, 300, 370, "m/s"))
    own, s = _areas(absorption_area, coupling_area)
    one, other, cross = (own[0] + s) / v[0], (own[1] + s) / v[1], s**2 / (v[0] * v[1])
    middle, half = (one + other) / 2, np.sqrt(((one - other) / 2) ** 2 + cross)
    return DECAY / (c / 4 * np.array([middle - half, middle + half]))


def _areas(absorption_area, coupling_area):
    """Both areas, checked."""
    own = within("absorption_area", absorption_area, 1e-6, 1e6, "m2")
    return own, within("coupling_area", coupling_area, 0, 1e6, "m2")
