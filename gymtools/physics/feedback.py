"""Acoustic feedback: how much gain a microphone allows before the system rings.

Handbook forms work with four distances, named after their two ends, since published sheets permute
the usual letters: ``talker_mic`` Ds, ``mic_loudspeaker`` D1, ``loudspeaker_listener`` D2,
``talker_listener`` D0. The energy forms below them work with what really comes back to the
microphone, loudspeaker by loudspeaker and octave by octave.
"""

import numpy as np

from . import bands
from .checks import within

STABILITY_MARGIN_DB = (
    6.0  # how far below ringing a system is run [dB]   Sound Reinforcement Handbook, 5.3.1
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
        Negative where the listener is nearer than that [dB]

    Notes
    -----
    Indoors take the difference of ``attenuation`` at both distances instead.

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
    """Gain that must be given up for several open microphones.

    Parameters
    ----------
    n : float or array
        Number of open microphones (NOM), 1 to 1000 [-]

    Returns
    -------
    loss : ndarray
        10 lg NOM [dB]

    Sources
    -------
    D. Davis and E. Patronis, Sound System Engineering (from memory): 3 dB for every doubling.

    Examples
    --------
    >>> round(float(open_mics_db(4)), 2)
    6.02
    """
    return bands.to_level(within("open_mics", n, 1, 1000, "-", "At least one must be open."))


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
    r"""Gain that is to be had before feedback: potential acoustic gain (PAG) in the free field.

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
        Stable while it is no less than the needed gain [dB]

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


def attenuation(distance, *, q, room_constant):
    r"""Fall of level from a source's power to a point in a room, after Hopkins and Stryker.

    .. math:: \Delta(D) = -10 \lg \Bigl( \frac{Q}{4\pi D^2} + \frac{4}{R} \Bigr)

    Parameters
    ----------
    distance : float or array
        Distance D, 0.01 m and more; infinity gives the reverberant limit [m]
    q : float or array
        Directivity factor toward the point, 0.001 to 1000 [-]
    room_constant : float or array
        R of ``reverberation.room_constant``; infinity is the free field [m2]

    Returns
    -------
    attenuation : ndarray
        Level of power less level at the point [dB]

    Sources
    -------
    H. F. Hopkins and N. R. Stryker, Proc. IRE 36 (1948) 315 (from memory); Bies, Hansen and Howard,
    Engineering Noise Control, 5th ed., eq. (6.43).

    Examples
    --------
    >>> round(float(attenuation(10, q=1, room_constant=600)), 2)
    21.27
    """
    D = within("distance", distance, 0.01, np.inf, "m", "Centimeters given by mistake?")
    Q = within("q", q, 1e-3, 1e3, "-", "Decibels given by mistake?")
    R = within("room_constant", room_constant, 1, np.inf, "m2")
    return -bands.to_level(Q / (4 * np.pi * D**2) + 4 / R)


def potential_gain_indoors(
    *,
    talker_mic,
    mic_loudspeaker,
    loudspeaker_listener,
    talker_listener,
    room_constant,
    talker_q=2.5,
    loudspeaker_q,
    loudspeaker_q_to_mic,
    open_mics=1,
    stability_margin=STABILITY_MARGIN_DB,
):
    r"""Gain that is to be had before feedback, in a reverberant room.

    .. math:: PAG = \Delta(D_0) - \Delta(D_s) + \Delta(D_1) - \Delta(D_2) - 10 \lg NOM - FSM

    Parameters
    ----------
    talker_mic : float or array
        From talker to microphone, Ds [m]
    mic_loudspeaker : float or array
        From microphone to the nearest loudspeaker, D1 [m]
    loudspeaker_listener : float or array
        From loudspeaker to the farthest listener, D2 [m]
    talker_listener : float or array
        From talker to the farthest listener, D0 [m]
    room_constant : float or array
        R of ``reverberation.room_constant`` [m2]
    talker_q : float or array
        Directivity factor of the talker toward microphone and listener; 2.5 is common practice [-]
    loudspeaker_q : float or array
        Directivity factor of the loudspeaker toward the listener [-]
    loudspeaker_q_to_mic : float or array
        Directivity factor of the loudspeaker toward the microphone: Q times its energy that way re
        the axis [-]
    open_mics : float or array
        Number of open microphones [-]
    stability_margin : float
        Feedback stability margin (FSM), 0 to 40 [dB]

    Returns
    -------
    gain : ndarray
        To be held against ``attenuation`` at D0 less ``attenuation`` at the equivalent acoustic
        distance [dB]

    Notes
    -----
    Beyond the critical distance the term of D1 saturates: a microphone moved farther from the
    loudspeakers gains nothing. The microphone is omnidirectional here.

    Sources
    -------
    D. Davis and E. Patronis, Sound System Engineering (from memory), with ``attenuation`` in place
    of 20 lg D.
    """
    talker, room = dict(q=talker_q, room_constant=room_constant), dict(room_constant=room_constant)
    return (
        attenuation(_meters("talker_listener", talker_listener), **talker)
        - attenuation(_meters("talker_mic", talker_mic), **talker)
        + attenuation(_meters("mic_loudspeaker", mic_loudspeaker), q=loudspeaker_q_to_mic, **room)
        - attenuation(
            _meters("loudspeaker_listener", loudspeaker_listener), q=loudspeaker_q, **room
        )
        - _reserve(open_mics, stability_margin)
    )


def returned_energy(direct, pickup, reverberant, efficiency):
    """Energy at the output of microphones from all loudspeakers; the kernel has no checks.

    Parameters
    ----------
    direct : array
        Direct sound where the microphone is, ``field.direct_energy`` (source, place, band) [any
        linear]
    pickup : array
        ``microphones.pickup`` toward each source, (source, place, band) or (source, place, 1) [-]
    reverberant : array
        Energy of the reverberant sound (band,), or (place, band) [as direct]
    efficiency : float or array
        ``microphones.random_efficiency``, one number or (band,) [-]

    Returns
    -------
    returned : ndarray
        (place, band) [as direct]

    Notes
    -----
    Energies add: a mean over frequency and place. Where arrivals happen to meet in phase the loop
    gain peaks above it, in an un-equalized room by 3 to 6 dB (common practice); the stability
    margin is there for that.
    """
    return (direct * pickup).sum(axis=0) + np.multiply(reverberant, efficiency)


def loop_gain_db(returned, talker):
    r"""Gain once around: what comes back to the microphone over what the talker gave it.

    .. math:: G = 10 \lg (E_\text{returned} / E_\text{talker})

    Parameters
    ----------
    returned : array
        Energy at the microphone's output from all loudspeakers (..., band), while the talker speaks
        [any linear]
    talker : array
        Energy at the microphone's output from the talker (..., band), at the same setting [as
        returned]

    Returns
    -------
    gain : ndarray
        (..., band); rings at 0 and above, minus infinity where nothing comes back [dB]

    Sources
    -------
    H. Nyquist, Bell Syst. Tech. J. 11 (1932) 126 (from memory), with the phase taken at its worst.

    Examples
    --------
    >>> round(float(loop_gain_db(1.0, 4.0)), 2)
    -6.02
    """
    talker = within(
        "talker", talker, 1e-30, np.inf, "(linear)", "A silent talker has no loop gain."
    )
    return bands.to_level(
        within("returned", returned, 0, np.inf, "(linear)", "Decibels given by mistake?") / talker
    )


def feedback_margin_db(returned, talker, *, open_mics=1, stability_margin=STABILITY_MARGIN_DB):
    """Gain still to be had at this setting: the worst band's distance from ringing, less what is
    kept back.

    Parameters
    ----------
    returned : array
        Energy at the microphone's output from all loudspeakers (..., band) [any linear]
    talker : array
        Energy at the microphone's output from the talker (..., band), at the same setting [as
        returned]
    open_mics : float or array
        Number of open microphones, one number or (...) [-]
    stability_margin : float
        Feedback stability margin, 0 to 40 [dB]

    Returns
    -------
    spare : ndarray
        (...); negative where the setting cannot be run safely [dB]

    Notes
    -----
    For one omni loudspeaker and one omni microphone in the free field it is ``potential_gain`` less
    ``needed_gain``.
    """
    return -loop_gain_db(returned, talker).max(axis=-1) - _reserve(open_mics, stability_margin)
