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


def feedback_margin_db(returned, talker, *, open_mics=1, stability_margin=6.0, peak_db=0.0):
    """Gain in reserve in the worst band (...): what comes back over what the talker gives (...,
    band) and by how much its peak stands over that, less the stability margin and 10 lg NOM [dB].
    """
    loop_db = (bands.to_level(np.asarray(returned) / talker) + peak_db).max(axis=-1)
    return -loop_db - stability_margin - feedback.open_mics_db(open_mics)


def peak_db(strongest, returned, rt):
    """By how much a loop's peak stands over its octave's mean, 3 dB of ringing out taken off:
    strongest path and all that comes back (band,), reverberation time (band,) [dB].
    """
    octaves = 1000 * 10 ** (0.3 * np.arange(-3, 4)) * (2**0.5 - 0.5**0.5)
    share = np.asarray(strongest) / returned
    chances = np.maximum(np.log(np.maximum(octaves * rt / 13.8155, 1)) + 0.5772, 1)
    amplitude = np.sqrt(share) + np.sqrt((1 - share) * chances)
    return np.maximum(20 * np.log10(amplitude) - 3.0, 0.0)
