"""Speech intelligibility: modulation transfer, speech transmission index (STI) and its older
cross-check.
"""

import numpy as np

from . import bands
from .checks import within

# IEC 60268-16:2020 (Ed. 5), annex A
# modulation frequency [Hz]
MODULATION = np.array([0.63, 0.8, 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10, 12.5])
# octave weights, male, Table A.1 [-]
ALPHA = np.array([0.085, 0.127, 0.230, 0.233, 0.309, 0.224, 0.173])
# redundancy of neighbors, male, Table A.1 [-]
BETA = np.array([0.085, 0.078, 0.065, 0.011, 0.047, 0.095])
# absolute reception threshold [dB]
RECEPTION_THRESHOLD_DB = np.array([46, 27, 12, 6.5, 7.5, 8, 12])
# speech octaves re the 500 Hz octave, A.6.1 [dB]
MALE_SPEECH_DB = np.array([-2.5, 0.5, 0, -6, -12, -18, -24])
# the same, Ed. 5, re the A-weighted level [dB]
SPEECH_SPECTRUM_DB = MALE_SPEECH_DB - bands.a_weighted(MALE_SPEECH_DB)

DECAY = 6 * np.log(10)  # exp(-DECAY t / T) falls by 60 dB in T; 13.8155 [-]
CHUNK = 500  # points worked on at a time, so that all stays in the processor's cache [-]
# annex F [-]
RATING_EDGES = np.array([0.36, 0.40, 0.44, 0.48, 0.52, 0.56, 0.60, 0.64, 0.68, 0.72, 0.76])
RATINGS = np.array(["U", "J", "I", "H", "G", "F", "E", "D", "C", "B", "A", "A+"])  # annex F [-]


def _extremes_within(name, value, low, high, unit, hint=""):
    """``within`` for large arrays: the extremes stand for all, for NaN spreads to both."""
    value = np.asarray(value)
    if value.dtype.kind != "f":
        return within(name, value, low, high, unit, hint)
    within(name, [value.min(initial=low), value.max(initial=low)], low, high, unit, hint)
    return value


def modulation_transfer(energy, arrival_s, *, reverberant, rt):
    r"""Modulation that survives several arrivals and a reverberant tail.

    .. math::
        m(F) = \frac{\Bigl| \sum_s E_s e^{-2\pi j F t_s}
               + R\, e^{-2\pi j F t_1} / (1 + 2\pi j F T / 13.8155) \Bigr|}{\sum_s E_s + R}

    One tail for all starts with the first arrival :math:`t_1`, the earliest of the sources that are
    heard at the point. A tail for each source starts with that source's own arrival:

    .. math::
        m(F) = \frac{\Bigl| \sum_s \bigl(E_s + R_s / (1 + 2\pi j F T / 13.8155)\bigr)
               e^{-2\pi j F t_s} \Bigr|}{\sum_s (E_s + R_s)}

    Parameters
    ----------
    energy : array
        Energy of each direct or reflected arrival, shape (source, point, band) [any linear]
    arrival_s : array
        Time of arrival, shape (source, point) [s]
    reverberant : array
        Energy of the reverberant sound, shape (point, band), or what each source feeds into it,
        shape (source, point, band) [as energy]
    rt : array
        Reverberation time of the tail, 0 or more, shape (band,) [s]

    Returns
    -------
    mtf : ndarray of float32
        Modulation transfer, shape (point, band, modulation), 0 where nothing is heard [-]

    Raises
    ------
    ValueError
        Negative energies, times outside 0 to 10 s, reverberation times outside 0 to 100 s, or
        arrays whose shapes do not match

    Notes
    -----
    Works in single precision: for arrivals within a second the error stays below 1e-5, and in the
    STI it shows less.

    Sources
    -------
    IEC 60268-16:2020, A.5.3: m is the Fourier transform of the squared impulse response over its
    energy. Here that response is a row of pulses and one exponential decay.

    Examples
    --------
    >>> nothing = dict(reverberant=np.zeros((1, 7)), rt=np.zeros(7))
    >>> float(modulation_transfer(np.ones((1, 1, 7)), [[0.05]], **nothing).min())
    1.0
    """
    energy = _extremes_within("energy", energy, 0, 1e30, "(linear)", "Decibels given by mistake?")
    arrival = _extremes_within("arrival_s", arrival_s, 0, 10, "s", "Milliseconds given by mistake?")
    reverberant = _extremes_within(
        "reverberant", reverberant, 0, 1e30, "(linear)", "Decibels given by mistake?"
    )
    rt = within("rt", rt, 0, 100, "s", "Milliseconds given by mistake?")
    by_source = reverberant.ndim == 3
    want = energy.shape if by_source else energy.shape[1:]
    if energy.ndim != 3 or arrival.shape != energy.shape[:2] or reverberant.shape != want:
        shapes = (
            f"energy {energy.shape}, arrival_s {arrival.shape}, reverberant {reverberant.shape}"
        )
        raise ValueError(f"{shapes} are not (source, point, band), (source, point), (point, band).")
    # (band, modulation), conjugate
    tail = (1 / (1 - 2j * np.pi * MODULATION * rt[:, None] / DECAY)).astype(np.complex64)
    modulation = _modulation_by_source if by_source else _modulation
    mtf = np.empty((*energy.shape[1:], len(MODULATION)), np.float32)
    for start in range(0, energy.shape[1], CHUNK):
        part = slice(start, start + CHUNK)
        mtf[part] = modulation(energy[:, part], arrival[:, part], reverberant[..., part, :], tail)
    return mtf


def _modulation(energy, arrival, reverberant, tail):
    """|sum| of the first formula above, with e^{+j...} instead of e^{-j...}: same magnitude, two
    real products.
    """
    total = energy.sum(axis=0) + reverberant  # (point, band)
    total[total == 0] = 1  # silence: 0/1
    cosine, sine = _turned(arrival, np.einsum("spb->sp", energy) > 0)
    share = _shares(energy, total)
    tail_share = (reverberant / total).astype(np.float32)[..., None]  # (point, band, 1)
    # (point, band, modulation)
    real = share @ cosine + tail_share * tail.real
    imag = share @ sine + tail_share * tail.imag
    return np.sqrt(real * real + imag * imag)


def _modulation_by_source(energy, arrival, reverberant, tail):
    """The same of the second formula."""
    total = (energy + reverberant).sum(axis=0)  # (point, band)
    total[total == 0] = 1
    heard = np.einsum("spb->sp", energy) + np.einsum("spb->sp", reverberant) > 0
    cosine, sine = _turned(arrival, heard)
    direct, late = _shares(energy, total), _shares(reverberant, total)
    late_cosine, late_sine = late @ cosine, late @ sine  # (point, band, modulation)
    real = direct @ cosine + late_cosine * tail.real - late_sine * tail.imag
    imag = direct @ sine + late_sine * tail.real + late_cosine * tail.imag
    return np.sqrt(real * real + imag * imag)


def _shares(energy, total):
    """Share of each source in what arrives (point, band, source) [-]."""
    return (energy / total).astype(np.float32).transpose(1, 2, 0)


def _turned(arrival, heard):
    """Cosine and sine of each modulation at each arrival, (point, source, modulation) each."""
    first = np.min(arrival, axis=0, where=heard, initial=arrival.max(initial=0))  # (point,)
    # double precision before the difference of times, single precision (25 times faster sines)
    # after it
    phase = (arrival - first).T[..., None].astype(np.float32) * (2 * np.pi * MODULATION).astype(
        np.float32
    )
    return np.cos(phase), np.sin(phase)


def masking_db(level_db):
    """Auditory masking of a band by the next lower octave, relative to that octave's level.

    Parameters
    ----------
    level_db : float or array
        Level of speech and noise in the next lower octave [dB]

    Returns
    -------
    masking_db : ndarray
        Level of the masking less ``level_db``, shape of ``level_db``; -10 from 100 dB up, where the
        standard's table has a step of 0.2 dB [dB]

    Raises
    ------
    ValueError
        A level over 200 dB, or not a number

    Sources
    -------
    IEC 60268-16:2020, annex A, auditory masking as a function of the octave-band level.

    Examples
    --------
    >>> masking_db([60.0, 80.0]).round(1).tolist()
    [-35.0, -19.8]
    """
    L = within("level_db", level_db, -np.inf, 200, "dB", "Energy given by mistake?")
    slopes = [0.5 * L - 65, 1.8 * L - 146.9, 0.5 * L - 59.8]
    return np.select([L < 63, L < 67, L < 100], slopes, -10.0)


def transmission_index(m):
    """Transmission index of a modulation transfer: its apparent signal-to-noise ratio on a scale
    from 0 to 1.

    Parameters
    ----------
    m : float or array
        Modulation transfer; above 1 (to 1.3, beyond which a measurement is invalid) counts as 1 [-]

    Returns
    -------
    ti : ndarray
        (SNR + 15)/30 with the SNR limited to +/-15 dB, both limits as the standard prescribes [-]

    Raises
    ------
    ValueError
        A modulation transfer outside 0 to 1.3

    Sources
    -------
    IEC 60268-16:2020, A.5.5 and A.5.6.

    Examples
    --------
    >>> transmission_index([0.0, 0.5, 1.0]).tolist()
    [0.0, 0.5, 1.0]
    """
    m = np.minimum(
        _extremes_within("m", m, 0, 1.3, "-", "Above 1.3 the measurement is invalid."), 1
    )
    x = np.asarray(1 - m)  # from here on in place, a quarter of the time for thousands of points
    with np.errstate(divide="ignore"):  # m = 0 and m = 1 have an SNR of -inf and inf
        np.log10(np.divide(m, x, out=x), out=x)  # SNR / 10 dB
    x /= 3
    x += 0.5
    return np.clip(x, 0, 1, out=x)


def from_transmission_index(ti):
    r"""STI of the transmission indices of the seven octaves.

    .. math:: STI = \sum_k \alpha_k M_k - \sum_k \beta_k \sqrt{M_k M_{k+1}}

    Parameters
    ----------
    ti : array
        Transmission index, or its mean over the modulation frequencies (..., band) [-]

    Returns
    -------
    sti : ndarray
        Speech transmission index (...), cut at 1 as the standard prescribes [-]

    Raises
    ------
    ValueError
        A transmission index outside 0 to 1

    Sources
    -------
    IEC 60268-16:2020, A.5.6 and Table A.1, male speech.

    Examples
    --------
    >>> round(float(from_transmission_index([1, 1, 0, 0, 0, 0, 0])), 3)
    0.127
    """
    ti = within("ti", ti, 0, 1, "-")
    return np.clip(ti @ ALPHA - np.sqrt(ti[..., :-1] * ti[..., 1:]) @ BETA, 0, 1)


def sti(mtf, *, speech_db=None, noise_db=None):
    r"""Speech transmission index of a modulation transfer, with masking, threshold and noise if
    levels are given.

    .. math:: m'_k = m_k \frac{I_k}{I_k + I_{am,k} + I_{rt,k} + I_{n,k}}, \qquad
              I_{am,k} = (I_{k-1} + I_{n,k-1})\, 10^{am/10}

    Parameters
    ----------
    mtf : array
        Modulation transfer, shape (..., band, modulation) [-]
    speech_db : array, optional
        Octave-band level of the speech, shape (..., band); None leaves out masking and threshold
        [dB]
    noise_db : array, optional
        Octave-band level of the noise, shape (..., band); only together with ``speech_db`` [dB]

    Returns
    -------
    sti : ndarray
        Speech transmission index (...), 0 to 1 [-]

    Raises
    ------
    ValueError
        A modulation transfer of another shape or outside 0 to 1.3; a level over 300 dB; noise
        without speech

    Sources
    -------
    IEC 60268-16:2020, A.5.3 to A.5.6.

    Examples
    --------
    >>> float(sti(np.ones((7, 14)), speech_db=90 + SPEECH_SPECTRUM_DB).round(3))  # too loud
    0.924
    """
    mtf = np.asarray(mtf)
    if mtf.shape[-2:] != (len(ALPHA), len(MODULATION)):
        raise ValueError(
            f"mtf has shape {mtf.shape}, not (..., 7 bands, 14 modulation frequencies)."
        )
    if speech_db is None and noise_db is not None:
        raise ValueError(
            "noise_db is given without speech_db. Give both: noise counts by its level under the"
            " speech."
        )
    single_or_double = np.result_type(mtf, np.float32)
    if speech_db is not None:
        heard = audible(speech_db, -np.inf if noise_db is None else noise_db)
        mtf = mtf * heard[..., None].astype(single_or_double)
    return from_transmission_index(mean_index(mtf))


def mean_index(mtf):
    """Mean transmission index over the modulation frequencies.

    Parameters
    ----------
    mtf : array
        Modulation transfer, shape (..., band, modulation), 0 to 1.3 [-]

    Returns
    -------
    index : ndarray
        Modulation transfer index (..., band), 0 to 1 [-]

    Raises
    ------
    ValueError
        A modulation transfer outside 0 to 1.3

    Sources
    -------
    IEC 60268-16:2020, A.5.6.
    """
    index = transmission_index(mtf)
    return index @ np.ones(14, index.dtype) / 14  # faster than .mean


def audible(speech_db, noise_db):
    """Share of the speech in all that an octave's ear gets: noise, masking, reception threshold.

    Parameters
    ----------
    speech_db : array
        Octave-band level of the speech (..., band) [dB]
    noise_db : array
        Octave-band level of the noise (..., band), -inf for none [dB]

    Returns
    -------
    share : ndarray
        I/(I + I_am + I_rt + I_n) of the standard (..., band), 0 to 1 [-]

    Raises
    ------
    ValueError
        A level over 300 dB

    Sources
    -------
    IEC 60268-16:2020, A.5.3.
    """
    speech, noise = bands.to_energy(speech_db), bands.to_energy(noise_db)
    sound = speech + noise
    masking = np.zeros_like(sound)  # none at 125 Hz
    masking[..., 1:] = sound[..., :-1] * bands.to_energy(
        masking_db(bands.to_level(sound[..., :-1]))
    )
    return speech / (sound + masking + bands.to_energy(RECEPTION_THRESHOLD_DB))


def rating(sti):
    """Letter of an STI, from U (unfit for announcements) over J ... A to A+.

    Parameters
    ----------
    sti : float or array
        Speech transmission index, 0 to 1 [-]

    Returns
    -------
    letter : ndarray of str
        Letter, shape of ``sti``; a value on an edge takes the better letter

    Raises
    ------
    ValueError
        An STI outside 0 to 1

    Notes
    -----
    The edges lie 0.04 apart and repeated measurements spread by 0.02 to 0.03: near an edge take the
    letter lightly.

    Sources
    -------
    IEC 60268-16:2020, annex F.

    Examples
    --------
    >>> rating([0.35, 0.50, 0.76]).tolist()
    ['U', 'G', 'A+']
    """
    return RATINGS[
        np.searchsorted(
            RATING_EDGES, within("sti", sti, 0, 1, "-", "Percent given by mistake?"), "right"
        )
    ]


def al_cons(sti):
    r"""Loss of consonants that corresponds to an STI, :math:`170.5405\, e^{-5.419\, STI}`; a
    cross-check only.

    Parameters
    ----------
    sti : float or array
        Speech transmission index, 0 to 1 [-]

    Returns
    -------
    loss_pct : ndarray
        Articulation loss of consonants, shape of ``sti``; above 100 below an STI of 0.1, where the
        fit has no meaning [%]

    Raises
    ------
    ValueError
        An STI outside 0 to 1

    Sources
    -------
    Coefficients as quoted in two public files; attributed to F. Becker (from memory), primary
    source not seen.

    Examples
    --------
    >>> round(float(al_cons(0.5)), 2)
    11.35
    """
    return 170.5405 * np.exp(-5.419 * within("sti", sti, 0, 1, "-", "Percent given by mistake?"))


def al_cons_peutz(distance, volume, rt, q, *, sources=1):
    r"""Loss of consonants after Peutz, :math:`\min(200 r^2 T^2 N/(V Q),\ 9 T)`; a cross-check only.

    Parameters
    ----------
    distance : float or array
        Distance to the source that serves the listener, 0.1 to 1000 [m]
    volume : float
        Volume of the room, 10 to 1e6 [m3]
    rt : float or array
        Reverberation time, 0.05 to 30 [s]
    q : float or array
        Directivity factor toward the listener, 0.01 to 1e4 [-]
    sources : float or array
        Number N of equal sources over the number that serves the listener [-]

    Returns
    -------
    loss_pct : ndarray
        Articulation loss of consonants in a quiet room, shape of the inputs [%]

    Raises
    ------
    ValueError
        An input outside its range

    Notes
    -----
    Handbooks switch to 9 T beyond 3.16 critical distances, where the quadratic part has reached 6.5
    T only. The smaller of the two has no such jump. Noise and echoes are not in it.

    Sources
    -------
    V. M. A. Peutz, J. Audio Eng. Soc. 19 (1971) 915, in the form quoted by handbooks; the limit 9 T
    is from memory.

    Examples
    --------
    >>> round(float(al_cons_peutz(25, 9720, 3.0, 8)), 1)
    14.5
    """
    r = within("distance", distance, 0.1, 1000, "m", "Millimeters given by mistake?")
    V = within("volume", volume, 10, 1e6, "m3", "Cubic feet given by mistake?")
    T = within("rt", rt, 0.05, 30, "s", "Milliseconds given by mistake?")
    Q = within("q", q, 0.01, 1e4, "-")
    N = within("sources", sources, 1, 1000, "-")
    return np.minimum(200 * r**2 * T**2 * N / (V * Q), 9 * T)
