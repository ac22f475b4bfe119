"""Formulas of handbooks written out plainly, for comparison: the package gets the same numbers by
another way.
"""

import numpy as np

from gymtools.physics import bands, feedback


def response(a, angle_deg):
    """Amplitude that a first-order microphone picks up from an angle re its axis: A + B cos."""
    return a + (1 - a) * np.cos(np.radians(angle_deg))


def pickup(a, facing, direction):
    """Energy that microphones pick up re their axis (..., or ..., band), from unit vectors along
    the axis and toward the source (..., 3).
    """
    cosine = np.einsum("...i,...i->...", facing, direction)
    cosine = cosine[..., None] if np.ndim(a) else cosine
    return (a + (1 - np.asarray(a)) * cosine) ** 2


def returned_energy(direct, pickup, reverberant, efficiency):
    """Energy at a microphone's output (place, band): direct sound of every loudspeaker (source,
    place, band) by its pickup, reverberant sound (band,) by the random energy efficiency.
    """
    return (direct * pickup).sum(axis=0) + np.multiply(reverberant, efficiency)


def feedback_margin_db(returned, talker, *, open_mics=1, stability_margin=6.0):
    """Gain in reserve in the worst band (...): what comes back over what the talker gives (...,
    band), less the stability margin and 10 lg NOM [dB].
    """
    loop_db = bands.to_level(np.asarray(returned) / talker).max(axis=-1)
    return -loop_db - stability_margin - feedback.open_mics_db(open_mics)
