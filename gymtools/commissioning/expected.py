"""What each reading should be when the gym is as designed, and how far off it may be anyway."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..acoustics.measured_room import DECAYS
from ..acoustics.room_decay import room_decay
from ..physics import bands, intelligibility
from ..physics.decay import reading_spread
from ..physics.feedback import STABILITY_MARGIN_DB
from .readings import SINGLE, in_octaves, nothing, one_value

# of a prediction at one position: interference low down, 1.3 dB where statistics suffice; the
# A-weighted sum, whose octaves do not err alike    measured against traced gyms; dB(A): judgment,
# no source [dB]
LOCAL_DB = np.array([2.5, 2.0, 1.5, 1.3, 1.3, 1.3, 1.5, 1.0])


@dataclass(frozen=True, kw_only=True, eq=False)
class Conditions:
    """What expectations rest on: the uses evaluated as they are measured."""

    results: dict  # Result by use
    leads: dict  # group that arrivals are compared with, by use
    # level left until the loudspeakers reach their limit, by use; readings of the highest clean
    # level have no expectation without it [dB]
    to_limit_db: dict = field(default_factory=dict)

    @property
    def first(self):
        """Result of the first use, for what belongs to no use."""
        return next(iter(self.results.values()))


def expect(readings, conditions):
    """Fill expectations into readings.

    Parameters
    ----------
    readings : iterable of Reading
        Of a plan or of a filled sheet
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    readings : tuple of Reading
        The same with ``expected`` and ``spread``; NaN where nothing is predicted: the ambient
        noise, and the highest clean level without ``to_limit_db``
    """
    filled = []
    for reading in readings:
        value = reading.kind.expected(reading, conditions)
        filled.append(replace(reading, expected=value, spread=reading.kind.spread(value)))
    return tuple(filled)


# ---- one function for each kind of reading


def no_expectation(reading, conditions):
    """Of the ambient noise nothing is predicted.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        NaN throughout (8,) [dB]
    """
    return nothing()


def reverberation_time(reading, conditions):
    """T20 of the empty gym from a source that radiates all around; the textbook formula where the
    room gives none.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        In octaves (8,) [s]
    """
    first = conditions.first
    if first.room == "statistical":
        return in_octaves(first.rt)
    t20 = room_decay(first.scenario, first.use).t20
    return in_octaves(np.where(np.isfinite(t20), t20, first.rt))


def level(reading, conditions):
    """Pink noise from all groups of the use, at the use's volume.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        Octaves and dB(A) (8,) [dB]
    """
    return _pink(conditions.results[reading.use].total_db[reading.position.index])


def level_alone(reading, conditions):
    """Pink noise from one loudspeaker by itself, or from all of its channel.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        Octaves and dB(A) (8,) [dB]
    """
    return _pink(bands.to_level(energy_alone(reading, conditions.results[reading.use])))


def speech_intelligibility(reading, conditions):
    """STI at the position.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        One value (8,) [-]
    """
    return one_value(conditions.results[reading.use].sti[reading.position.index])


def arrival(reading, conditions):
    """Time by which a group arrives after the lead.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        One value, negative when it comes first (8,) [ms]
    """
    result, at = conditions.results[reading.use], reading.position.index
    own = reading.playing or reading.subject
    lead = reading.against or conditions.leads[reading.use]
    return one_value(arrival_ms(result, own, at) - arrival_ms(result, lead, at))


def polarity(reading, conditions):
    """First move outward, everywhere.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        One value, +1 (8,) [-]
    """
    return one_value(1.0)


def gain_until_ringing(reading, conditions):
    """Gain by which one open microphone can be raised until feedback begins, the gym quiet.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        One value: the feedback margin without what ``reserve_db`` keeps back; its peak allowance
        stays in it, for it rings at a peak here too (8,) [dB]
    """
    m = _microphone(reading, conditions.results)
    return one_value(float(m.margin_db[m.worst]) + STABILITY_MARGIN_DB + m.open_mics_db)


def highest_clean_level(reading, conditions):
    """Speech level at which the loudspeakers reach their limit.

    Parameters
    ----------
    reading : Reading
        To be predicted
    conditions : Conditions
        The uses evaluated as they are measured

    Returns
    -------
    expected : ndarray
        One value, NaN when ``to_limit_db`` does not have the use (8,) [dB(A)]
    """
    result = conditions.results[reading.use]
    more = conditions.to_limit_db.get(reading.use, np.nan)
    return one_value(float(result.speech_dba[reading.position.index] + more))


def _pink(speech_db):
    """Octaves and dB(A) of pink noise that is played instead of speech [dB]."""
    pink = speech_db - intelligibility.SPEECH_SPECTRUM_DB
    return in_octaves(pink, bands.a_weighted(pink))


def _microphone(reading, results):
    """Feedback margin of the microphone that a reading is about."""
    microphones = results[reading.use].microphones
    return next(m for m in microphones if m.microphone.name == reading.subject)


# ---- what they rest on


def energy_alone(reading, result):
    """Energy of one loudspeaker with its channel at its own seat, with their share of the
    reverberant sound.

    Parameters
    ----------
    reading : Reading
        Of a loudspeaker alone
    result : Result
        The use in which it is measured

    Returns
    -------
    energy : ndarray
        (7,) [re 20 uPa squared]
    """
    mine = np.isin(
        [c.tag for c in result.scenario.loudspeakers], reading.playing or reading.subject
    )
    k = reading.position.index
    late = result.reverberant.by_source(result.points[k : k + 1])[mine, 0]
    return result.direct[mine, k].sum(axis=0) + late.sum(axis=0)


def arrival_ms(result, which, index, late_ms=0.0):
    """Time at which a group, or some loudspeakers, are first heard.

    Parameters
    ----------
    result : Result
        An evaluation
    which : str or tuple of str
        Name of a group, or tags of loudspeakers
    index : int
        Of the point among the result's [-]
    late_ms : float or array
        By which loudspeakers are later than the result has it, or (source,) [ms]

    Returns
    -------
    time : float
        Of the nearest of them in sight, delay and distance [ms]
    """
    names = [c.group if isinstance(which, str) else c.tag for c in result.scenario.loudspeakers]
    mine = np.isin(names, which) & result.playing
    late_ms = np.broadcast_to(late_ms, mine.shape)
    time = 1000 * result.arrival_s[mine, index] + late_ms[mine]
    seen = result.direct[mine, index].sum(axis=-1) > 0
    return float((time[seen] if seen.any() else time).min())


def reserve_db(reading, plan, results):
    """Gain that a design keeps back when a microphone is rung out in the quiet gym.

    Parameters
    ----------
    reading : Reading
        Of a microphone's feedback margin
    plan : TestPlan
        To which it belongs
    results : dict
        Evaluations of the uses as measured, by name

    Returns
    -------
    reserve : float
        The stability margin, the other open microphones, and the rise over the crowd's noise [dB]
    """
    use, targets = plan.scenario.use(reading.use), plan.scenario.targets
    over_crowd = float(bands.a_weighted(use.noise)) + targets.speech_to_noise_db - use.target_dba
    open_mics_db = _microphone(reading, results).open_mics_db
    return STABILITY_MARGIN_DB + open_mics_db + max(over_crowd, 0.0)


# ---- how far off


def fixed_spread(*, reading, model):
    """Spread of a kind of reading that does not depend on the value.

    Parameters
    ----------
    reading : float
        Standard deviation of one reading [unit of the reading]
    model : float or array
        Standard deviation of its prediction, or (8,) [unit of the reading]

    Returns
    -------
    spread : callable
        From expected (8,) to the standard deviation of measured less expected (8,)
    """
    both = np.hypot(reading, model)
    return lambda expected: np.where(np.isfinite(expected), both, np.nan)


def spread_of_decays(expected):
    """Spread of one reading of the reverberation; the prediction's own, which all readings share,
    is ``acoustics.measured_room.predicted_spread``.

    Parameters
    ----------
    expected : array
        Reverberation time (8,) [s]

    Returns
    -------
    spread : ndarray
        Standard deviation of the reading alone (8,) [s]
    """
    return in_octaves(reading_spread(expected[:SINGLE], DECAYS, 1))
