"""Acoustic feedback: how much gain a microphone allows before the system rings.

The handbook works with four distances. They are named after their two ends here, since published
sheets permute the usual letters: ``talker_mic`` Ds, ``mic_loudspeaker`` D1,
``loudspeaker_listener`` D2, ``talker_listener`` D0.
"""

import numpy as np

from . import bands
from .checks import within
from .intelligibility import DECAY

# how far below ringing a system runs [dB]   Sound Reinforcement Handbook, 5.3.1
STABILITY_MARGIN_DB = 6.0
# what ringing out with narrow filters buys [dB]    the least of "3-9 dB" in a retailer's guide to
# ringing out; no measurement found
RINGING_OUT_DB = 3.0
EULER = (
    0.5772  # mean of the highest of many exponential chances, less the logarithm of their number
)


def _meters(name, value):
    return within(name, value, 0.01, 1000, "m", "Centimeters given by mistake?")


def needed_gain(distance_listener, equivalent_distance):
    r"""Gain that brings a talker acoustically near: needed acoustic gain (NAG) in the free field.

    .. math:: NAG = 20 \lg (D_0 / EAD)

    Parameters
    ----------
    distance_listener : float or array
        From talker to the farthest listener, D0, 0.01 to 1000 [m]
    equivalent_distance : float or array
        Equivalent acoustic distance (EAD): where the talker, unaided, would be loud enough, 0.01 to
        1000 [m]

    Returns
    -------
    gain : ndarray
        Shape of the inputs; negative where the listener is nearer than that [dB]

    Raises
    ------
    ValueError
        A distance outside 0.01 to 1000 m

    Notes
    -----
    Indoors take the difference of ``reverberation.steady_level`` at both distances instead.

    Sources
    -------
    D. Davis and E. Patronis, Sound System Engineering (from memory).

    Examples
    --------
    >>> round(float(needed_gain(30, 3)), 2)
    20.0
    """
    return 20 * np.log10(
        _meters("distance_listener", distance_listener)
        / _meters("equivalent_distance", equivalent_distance)
    )


def open_mics_db(n):
    """Gain given up for several open microphones.

    Parameters
    ----------
    n : float or array
        Number of open microphones (NOM), 1 to 1000 [-]

    Returns
    -------
    loss : ndarray
        10 lg NOM, shape of ``n`` [dB]

    Raises
    ------
    ValueError
        Fewer than 1 or more than 1000 microphones

    Sources
    -------
    D. Davis and E. Patronis, Sound System Engineering (from memory): 3 dB for every doubling.

    Examples
    --------
    >>> round(float(open_mics_db(4)), 2)
    6.02
    """
    return bands.to_level(within("open_mics", n, 1, 1000, "-", "At least one must be open."))


def peak_allowance_db(direct_share, rt, bandwidth):
    r"""How far the frequency at which a loop rings first stands over the loop's mean gain.

    .. math:: 20 \lg\left(\sqrt{k} + \sqrt{(1-k)\,(\ln N + 0.577)}\right), \qquad
              N = B\, T / 13.8

    Parameters
    ----------
    direct_share : float or array
        Share k of the energy that comes on one direct path, 0 to 1 [-]
    rt : float or array
        Reverberation time of the rest, 0.05 to 30 [s]
    bandwidth : float or array
        Of the band whose mean is known, 10 to 20 000 [Hz]

    Returns
    -------
    allowance : ndarray
        Shape of the inputs, 0 or more; ringing out is not taken off [dB]

    Raises
    ------
    ValueError
        An input outside its range

    Notes
    -----
    A loop rings where its phase comes round to zero, some 13.8/T Hz apart, so that a band holds N
    chances. In a diffuse field they are exponential; the formula is their highest, with the direct
    path in phase. Against simulated loops it is within 0.5 dB for a diffuse field, and up to 1.5 dB
    too careful where direct and diffuse sound are mixed.

    With several octaves the one governs whose mean and allowance together stand highest. All from
    250 Hz to 4 kHz taken as one band of even gain would stand 0.4 to 0.5 dB over the 4 kHz octave.

    Sources
    -------
    M. R. Schroeder, J. Audio Eng. Soc. 35 (1987) 299, for the statistics of room responses (mean
    height of maxima about 10 dB, abstract seen); the count of chances is worked by hand and checked
    by simulation.

    Examples
    --------
    >>> peak_allowance_db([0.0, 0.9], 2.0, 707.0).round(1).tolist()
    [7.2, 4.5]
    """
    k = within("direct_share", direct_share, 0, 1, "-", "Percent given by mistake?")
    T = within("rt", rt, 0.05, 30, "s", "Milliseconds given by mistake?")
    B = within("bandwidth", bandwidth, 10, 20_000, "Hz", "Kilohertz given by mistake?")
    return bands.to_level(peak_energy(k, 1 - k, T, B))


def peak_energy(direct, diffuse, rt, bandwidth):
    """Loop gain at the frequency at which a loop rings first, from its parts' means.

    Parameters
    ----------
    direct : float or array
        Mean energy that comes on one direct path [any linear]
    diffuse : float or array
        Mean energy of the rest [as direct]
    rt : float or array
        Reverberation time of the rest, unchecked [s]
    bandwidth : float or array
        Of the band whose means are known, unchecked [Hz]

    Returns
    -------
    peak : ndarray
        Shape of the inputs, the sum of both or more [as direct]

    Sources
    -------
    As ``peak_allowance_db``.
    """
    highest = np.maximum(np.log(np.maximum(bandwidth * rt / DECAY, 1.0)) + EULER, 1.0)
    together = np.sqrt(direct) + np.sqrt(diffuse * highest)
    return np.maximum(together * together, direct + diffuse)


def _reserve(open_mics, stability_margin):
    """Gain kept back for open microphones and stability [dB]."""
    return open_mics_db(open_mics) + within("stability_margin", stability_margin, 0, 40, "dB")


def potential_gain(
    *,
    talker_mic,
    mic_loudspeaker,
    loudspeaker_listener,
    talker_listener,
    open_mics=1,
    stability_margin=STABILITY_MARGIN_DB,
):
    r"""Gain available before feedback: potential acoustic gain (PAG) in the free field.

    .. math:: PAG = 20 \lg \frac{D_0 D_1}{D_s D_2} - 10 \lg NOM - FSM

    Parameters
    ----------
    talker_mic : float or array
        From talker to microphone, Ds, 0.01 to 1000 [m]
    mic_loudspeaker : float or array
        From microphone to the nearest loudspeaker, D1, 0.01 to 1000 [m]
    loudspeaker_listener : float or array
        From loudspeaker to the farthest listener, D2, 0.01 to 1000 [m]
    talker_listener : float or array
        From talker to the farthest listener, D0, 0.01 to 1000 [m]
    open_mics : float or array
        Number of open microphones [-]
    stability_margin : float
        Feedback stability margin (FSM), 0 to 40 [dB]

    Returns
    -------
    gain : ndarray
        Shape of the inputs; stable while it is no less than the needed gain [dB]

    Raises
    ------
    ValueError
        A distance outside 0.01 to 1000 m, fewer than one open microphone, or a margin outside 0 to
        40 dB

    Notes
    -----
    Everything omnidirectional and without a room. Add what the microphone loses toward the
    loudspeaker, and what the loudspeaker loses toward the microphone relative to the listener.

    Sources
    -------
    D. Davis and E. Patronis, Sound System Engineering; G. Davis and R. Jones, Sound Reinforcement
    Handbook (both from memory).

    Examples
    --------
    >>> far = dict(mic_loudspeaker=10, loudspeaker_listener=25, talker_listener=30)
    >>> round(float(potential_gain(talker_mic=0.3, **far)), 2)
    26.04
    """
    ahead = _meters("talker_listener", talker_listener) * _meters(
        "mic_loudspeaker", mic_loudspeaker
    )
    back = _meters("talker_mic", talker_mic) * _meters("loudspeaker_listener", loudspeaker_listener)
    return 20 * np.log10(ahead / back) - _reserve(open_mics, stability_margin)
