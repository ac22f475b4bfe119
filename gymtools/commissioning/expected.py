"""What the readings of a test plan should be when the hall is as designed, and how far off a
reading may be all the same.
"""

from dataclasses import dataclass

import numpy as np

from ..physics import bands, intelligibility
from ..physics.feedback import STABILITY_MARGIN_DB
from .plan import arrival_ms

READING = {
    "level": 1.0,
    "alone": 1.0,
    "clarity": 0.02,
    "arrival": 1.0,
    "spare gain": 2.0,
    "reach": 1.0,
    # one reading    judgment, no source; clarity: repeated STIPA readings spread by 0.02 to 0.03
    # (IEC 60268-16, from memory)
}
LOCAL_DB = np.array(
    [2.5, 2.0, 1.5, 1.3, 1.3, 1.3, 1.5]
    # prediction at one place: interference low down, 1.3 dB where statistics suffice    measured
    # against traced halls
)
LOCAL_DBA = 1.0  # of the A-weighted sum, whose octaves do not err alike    judgment, no source
# prediction    clarity: measured against traced halls; others judgment
MODEL = {"clarity": 0.026, "arrival": 1.0, "spare gain": 3.0, "reach": 1.5}
# of a reverberation time, in its own share: less than this nobody hears    ISO 3382-1:2009, table
# A.1
MODEL_RT = 0.05
DECAYS = 3  # averaged in one reading of a reverberation time
BANDWIDTH = bands.EXACT * (10**0.15 - 10**-0.15)  # of the octaves [Hz]


@dataclass(frozen=True, kw_only=True, eq=False)
class Expected:
    """Predictions by the key of a reading."""

    # level: (8,), octaves and dB(A), pink noise; reverberation, ambient: (7,); else a number
    values: dict
    sd: dict  # of measured less predicted, the same shapes; of a reverberation the reading's alone
    # of spare gain: what a design keeps back: margin, other open microphones, playing over the
    # crowd [dB]
    kept: dict
    results: dict  # of the uses as measured
    model_rt: float = MODEL_RT


def expected(plan, results, reach=None):
    """Predict every reading of a plan.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan`` [-]
    results : dict
        Evaluations of its uses as measured, by name [-]
    reach : dict, optional
        Level that each use has to spare until its loudspeakers are at their limit; readings of it
        are left out otherwise [dB]

    Returns
    -------
    expected : Expected
        Polarity is + everywhere; of the ambient noise nothing is predicted

    Sources
    -------
    Spread of reverberation times: ISO 3382-2:2008, 7.1 (from memory), T20: 0.88 T sqrt((1 + 1.90 /
    n) / (N B T)).
    """
    values, sd, kept = {}, {}, {}
    first = next(iter(results.values()))
    for item in plan.items:
        result = results.get(item.use)
        if item.test == "reverberation":
            rt = first.decay_times["t20"]
            values[item.key] = np.where(np.isfinite(rt), rt, first.rt)
            sd[item.key] = decay_spread(values[item.key], DECAYS, 1)
        elif item.test in ("level", "alone"):
            heard = (
                result.total_db[item.index]
                if item.test == "level"
                else bands.to_level(alone(result, item))
            )
            pink = heard - intelligibility.SPEECH_SPECTRUM_DB
            values[item.key] = np.append(pink, bands.a_weighted(pink))
            sd[item.key] = np.hypot(READING["level"], np.append(LOCAL_DB, LOCAL_DBA))
        elif item.test == "polarity":
            values[item.key], sd[item.key] = 1.0, 0.1
        elif item.test != "ambient":
            found = _number(plan, item, result, reach or {})
            if found is not None:
                values[item.key] = found
                sd[item.key] = float(np.hypot(READING[item.test], MODEL[item.test]))
        if item.test == "spare gain":
            m = next(m for m in result.microphones if m.microphone.name == item.of)
            use, targets = plan.scenario.use(item.use), plan.scenario.targets
            # than when the hall is quiet
            louder = max(
                float(bands.a_weighted(use.noise)) + targets.speech_to_noise_db - use.target_dba,
                0.0,
            )
            values[item.key] = float(m.margin_db[m.worst]) + STABILITY_MARGIN_DB + m.open_mics_db
            kept[item.key] = STABILITY_MARGIN_DB + m.open_mics_db + louder
            sd[item.key] = float(np.hypot(READING[item.test], MODEL[item.test]))
    return Expected(values=values, sd=sd, kept=kept, results=results)


def _number(plan, item, result, reach):
    if item.test == "clarity":
        return float(result.sti[item.index])
    if item.test == "arrival":
        return arrival_ms(result, item.of, item.index) - arrival_ms(
            result, plan.leads[item.use], item.index
        )
    if item.test == "reach" and item.use in reach:
        return float(result.speech_dba[item.index] + reach[item.use])
    return None


def alone(result, item):
    """What one loudspeaker gives by itself at its own place, with its share of the late sound.

    Parameters
    ----------
    result : Result
        The use in which it is measured [-]
    item : Item
        A reading of it alone [-]

    Returns
    -------
    energy : ndarray
        (7,) [re 20 uPa squared]
    """
    n = [c.tag for c in result.scenario.loudspeakers].index(item.of)
    fed = result.sources.on_axis / result.sources.q
    return result.direct[n, item.index] + result.reverberant.at(
        result.points[item.index : item.index + 1]
    )[0] * fed[n] / fed.sum(axis=0)


def decay_spread(rt, decays, places):
    """Standard deviation of a measured T20.

    Parameters
    ----------
    rt : array
        Reverberation time (7,) [s]
    decays : int
        Averaged at each place [-]
    places : int
        Combinations of source and microphone [-]

    Returns
    -------
    sd : ndarray
        (7,) [s]

    Sources
    -------
    ISO 3382-2:2008, 7.1 (from memory).
    """
    return 0.88 * rt * np.sqrt((1 + 1.90 / decays) / (places * BANDWIDTH * rt))
