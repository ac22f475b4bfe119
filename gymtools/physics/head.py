"""What a head does to sound on its way to two ears: time, shadow, and how much alike both ears hear
in a diffuse field.
"""

import numpy as np
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from .air import C_REF
from .checks import within

# radius of a sphere that stands for a head [m]      Kuhn 1977; Duda and Martens 1998 (from memory)
RADIUS = 0.0875
EAR_AZIMUTH_DEG = np.array([90.0, -90.0])  # axes of the left and of the right ear [deg]
# two ears in a diffuse field: width of the head [m], and two fitted numbers [-]      Lindevald and
# Benade 1986, abstract
WIDTH, ALPHA, BETA = 0.15, 2.2, 0.5
TERMS = 30  # of a series, over its argument: what follows is under 1e-12


def ear_angles(azimuth_deg, elevation_deg=0.0):
    """Angles between where sound comes from and the axes of both ears.

    Parameters
    ----------
    azimuth_deg : float or array
        Counter-clockwise (to the left) from straight ahead, -360 to 360 [deg]
    elevation_deg : float or array
        Above the horizontal plane, -90 to 90 [deg]

    Returns
    -------
    angle_deg : ndarray
        0 where sound comes along the ear's axis, to 180, shape of both with (ear,), left and
        right, at the end [deg]

    Raises
    ------
    ValueError
        An angle outside its range

    Sources
    -------
    Scalar product of unit vectors.

    Examples
    --------
    >>> ear_angles(30.0).round(6).tolist()
    [60.0, 120.0]
    """
    hint = "Radians are not degrees; a compass bearing turns the other way."
    azimuth = np.radians(within("azimuth_deg", azimuth_deg, -360, 360, "deg", hint))
    hint = "Elevation counts from the horizontal plane, up is positive."
    elevation = np.radians(within("elevation_deg", elevation_deg, -90, 90, "deg", hint))
    left = np.sin(azimuth) * np.cos(elevation)
    return np.degrees(np.arccos(np.clip(np.stack([left, -left], axis=-1), -1, 1)))


def ear_delay(angle_deg, radius=RADIUS):
    r"""Time after which a plane wave reaches an ear of a sphere, re its middle.

    .. math:: t = -\tfrac{a}{c}\cos\theta \;(\theta \le 90^\circ), \qquad
        t = \tfrac{a}{c}(\theta - \pi/2) \;(\theta > 90^\circ)

    Parameters
    ----------
    angle_deg : float or array
        Between where sound comes from and the ear's axis, 0 to 180 [deg]
    radius : float
        Of the sphere, 0.05 to 0.15 [m]

    Returns
    -------
    delay : ndarray
        Negative on the near side; along the surface on the far side, shape of ``angle_deg`` [s]

    Raises
    ------
    ValueError
        Angle or radius outside its range

    Sources
    -------
    R. S. Woodworth, Experimental Psychology, Holt 1938 (from memory): the difference of both ears,
    (a/c)(theta + sin theta), is that of a ray.

    Examples
    --------
    >>> (1e6 * ear_delay([0.0, 90.0, 180.0])).round(0).tolist()  # microseconds
    [-255.0, -0.0, 400.0]
    """
    theta = np.radians(within("angle_deg", angle_deg, 0, 180, "deg", "From the ear's axis."))
    a = float(within("radius", radius, 0.05, 0.15, "m", "Diameter or centimeters by mistake?"))
    return a / C_REF * np.where(theta <= np.pi / 2, -np.cos(theta), theta - np.pi / 2)


def interaural_time(azimuth_deg, elevation_deg=0.0, *, radius=RADIUS):
    """By how much sound is earlier at the left ear, at frequencies that are short against the head.

    Parameters
    ----------
    azimuth_deg : float or array
        Counter-clockwise (to the left) from straight ahead, -360 to 360 [deg]
    elevation_deg : float or array
        Above the horizontal plane, -90 to 90 [deg]
    radius : float
        Of the sphere, 0.05 to 0.15 [m]

    Returns
    -------
    time : ndarray
        Interaural time difference, positive from the left, shape of both angles [s]

    Raises
    ------
    ValueError
        An angle or the radius outside its range

    Sources
    -------
    R. S. Woodworth, Experimental Psychology, Holt 1938 (from memory).

    Examples
    --------
    >>> round(1e6 * float(interaural_time(90.0)))  # microseconds
    655
    """
    delay = ear_delay(ear_angles(azimuth_deg, elevation_deg), radius)
    return delay[..., 1] - delay[..., 0]


def low_interaural_time(azimuth_deg, elevation_deg=0.0, *, radius=RADIUS):
    r"""By how much sound is earlier at the left ear, at frequencies that are long against the head.

    .. math:: t = 3\tfrac{a}{c}\sin\theta

    Parameters
    ----------
    azimuth_deg : float or array
        Counter-clockwise (to the left) from straight ahead, -360 to 360 [deg]
    elevation_deg : float or array
        Above the horizontal plane, -90 to 90 [deg]
    radius : float
        Of the sphere, 0.05 to 0.15 [m]

    Returns
    -------
    time : ndarray
        Interaural time difference, positive from the left, shape of both angles [s]

    Raises
    ------
    ValueError
        An angle or the radius outside its range

    Sources
    -------
    G. F. Kuhn, J. Acoust. Soc. Am. 62 (1977) 157 (from memory): below about 500 Hz; the same
    formula with 2 in place of 3 above about 3 kHz.

    Examples
    --------
    >>> round(1e6 * float(low_interaural_time(90.0)))  # microseconds
    765
    """
    a = float(within("radius", radius, 0.05, 0.15, "m", "Diameter or centimeters by mistake?"))
    angle = np.radians(ear_angles(azimuth_deg, elevation_deg)[..., 0])
    return 3 * a / C_REF * np.cos(angle)


def sphere_transfer(frequency, angle_deg, radius=RADIUS):
    r"""Sound pressure on a rigid sphere over that at its middle without it, for a distant source.

    .. math:: H = \frac{i}{\mu^2} \sum_m (2m+1) (-i)^m \frac{P_m(\cos\theta)}{h_m'(\mu)},
        \qquad \mu = 2\pi f a/c

    Parameters
    ----------
    frequency : float or array
        20 to 20000 [Hz]
    angle_deg : float or array
        Between where sound comes from and the point on the sphere, 0 to 180 [deg]
    radius : float
        Of the sphere, 0.05 to 0.15 [m]

    Returns
    -------
    transfer : ndarray
        Complex, a delay has negative phase, shape of both broadcast together [-]

    Raises
    ------
    ValueError
        Frequency, angle or radius outside its range

    Sources
    -------
    R. O. Duda and W. L. Martens, J. Acoust. Soc. Am. 104 (1998) 3048, for a source far away (from
    memory; the series follows from the plane wave on a rigid sphere and the Wronskian, worked by
    hand). Their phase turns the other way.

    Examples
    --------
    >>> abs(sphere_transfer(4000.0, [0.0, 90.0, 180.0])).round(2).tolist()
    [1.93, 1.28, 1.12]
    """
    f = within("frequency", frequency, 20, 20000, "Hz", "Kilohertz given by mistake?")
    theta = np.radians(within("angle_deg", angle_deg, 0, 180, "deg", "From the ear's axis."))
    a = float(within("radius", radius, 0.05, 0.15, "m", "Diameter or centimeters by mistake?"))
    mu = 2 * np.pi * f * a / C_REF
    total = np.zeros(np.broadcast_shapes(mu.shape, theta.shape), complex)
    for m in range(int(1.1 * np.max(mu, initial=0.0)) + TERMS):
        with np.errstate(over="ignore", invalid="ignore"):
            slope = spherical_jn(m, mu, True) + 1j * spherical_yn(m, mu, True)
            part = (2 * m + 1) * (-1j) ** m / slope
        # where the Neumann function overflows, its term is nothing
        total += np.where(np.isfinite(slope), part, 0) * eval_legendre(m, np.cos(theta))
    return np.conj(1j / mu**2 * total)


def diffuse_coherence(frequency):
    r"""How much alike both ears hear in a diffuse field: 1 the same, 0 nothing in common.

    .. math:: \gamma = \frac{\sin(\alpha\delta)}{\alpha\delta} \Big/ \sqrt{1 + (\beta\delta)^4},
        \qquad \delta = 2\pi f d/c, \quad \alpha = 2.2, \quad \beta = 0.5, \quad d = 0.15

    Parameters
    ----------
    frequency : float or array
        0 to 200000 [Hz]

    Returns
    -------
    coherence : ndarray
        Real part of the normalized cross spectrum, negative where both move against each other,
        shape of ``frequency`` [-]

    Raises
    ------
    ValueError
        A frequency outside its range

    Notes
    -----
    Two microphones at the same distance without a head have alpha = 1 and beta = 0: R. K. Cook et
    al., J. Acoust. Soc. Am. 27 (1955) 1072 (from memory). The head halves the frequency of the
    first zero.

    Sources
    -------
    I. M. Lindevald and A. H. Benade, Two-ear correlation in the statistical sound fields of rooms,
    J. Acoust. Soc. Am. 80 (1986) 661, abstract: fitted to two ears in a reverberant room.

    Examples
    --------
    >>> diffuse_coherence([0.0, 250.0, 520.0]).round(2).tolist()
    [1.0, 0.66, 0.0]
    """
    f = within("frequency", frequency, 0, 200000, "Hz", "Not a band's number.")
    delta = 2 * np.pi * f * WIDTH / C_REF
    return np.sinc(ALPHA * delta / np.pi) / np.sqrt(1 + (BETA * delta) ** 4)


def diffuse_pair(first, second, rate):
    r"""What both ears hear of a diffuse field, out of two noises that have nothing in common.

    .. math:: L = c N_1 + s N_2, \quad R = c N_1 - s N_2, \qquad
        c = \sqrt{(1+\gamma)/2}, \quad s = \sqrt{(1-\gamma)/2}

    Parameters
    ----------
    first, second : array
        Noises of the same spectrum (sample,) [any linear]
    rate : float
        Sampling rate [Hz]

    Returns
    -------
    pair : ndarray
        Left and right (ear, sample) [any linear]

    Raises
    ------
    ValueError
        A sampling rate outside 8 to 400 kHz; noises of different length, of several channels, or
        with something that is not a number

    Notes
    -----
    Each ear has on average the spectrum of the noises at every frequency. One draw of noise has it
    as nearly as any noise has: what the two happen to have in common adds or lacks. The mixing is
    circular: noise is mixed before it gets its decay, or with 20 ms of silence at its end.

    Sources
    -------
    Worked by hand: c^2 + s^2 = 1 keeps the spectrum, c^2 - s^2 is the coherence.
    """
    first, second = np.asarray(first, float), np.asarray(second, float)
    rate = float(within("rate", rate, 8000, 400000, "Hz", "Kilohertz given by mistake?"))
    if first.ndim != 1 or first.shape != second.shape or not len(first):
        raise ValueError(
            f"two noises of shapes {first.shape} and {second.shape} make no pair. Give two of one"
            " channel and the same length."
        )
    if not (np.all(np.isfinite(first)) and np.all(np.isfinite(second))):
        raise ValueError("a noise holds something that is not a number.")
    coherence = diffuse_coherence(np.fft.rfftfreq(len(first), 1 / rate))
    common = np.sqrt((1 + coherence) / 2) * np.fft.rfft(first)
    apart = np.sqrt((1 - coherence) / 2) * np.fft.rfft(second)
    return np.fft.irfft(np.stack([common + apart, common - apart]), len(first))
