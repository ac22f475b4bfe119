"""Impulse responses from WAV files as readings: reverberation and clarity where the site
has them.
"""

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from ..acoustics.evaluate import evaluate
from ..physics import bands, impulse, intelligibility
from .plan import as_tested

BENT_PCT = 10.0  # curvature beyond which a decay is suspicious    ISO 3382-2:2008, annex B


def read_wav(path):
    """One impulse response.

    Parameters
    ----------
    path : str or Path
        WAV, integers or floats; of several channels the first [-]

    Returns
    -------
    response : ndarray
        (sample,), full scale 1 for integers [-]
    rate : int
        Sampling rate [Hz]
    """
    path = Path(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks that nobody needs
            rate, data = wavfile.read(path)
    except FileNotFoundError:
        raise
    except Exception as error:  # a damaged file fails in many ways
        raise ValueError(f"{path.name}: cannot be read as WAV ({error}).") from None
    full = np.iinfo(data.dtype).max if np.issubdtype(data.dtype, np.integer) else 1.0
    data = data.astype(float) / full - (1.0 if data.dtype == np.uint8 else 0.0)
    return (data if data.ndim == 1 else data[:, 0]), rate


def with_waves(readings, folder, plan):
    """Readings, and beside them what impulse responses in a folder give.

    Parameters
    ----------
    readings : Readings
        Of the entry sheet; what stands there already counts before a file [-]
    folder : str or Path
        With files named by the readings they stand for, e.g. "reverberation S1 R1.wav", "clarity
        game C5.wav" [-]
    plan : TestPlan
        The plan [-]

    Returns
    -------
    readings : Readings
        T20 in octaves (noise must lie 30 dB under the peak), clarity with the levels and the noise
        that are predicted and read; a decay that bends is remarked on; files that cannot be used
        are named

    Sources
    -------
    ISO 3382-2:2008, 6 and annex B; IEC 60268-16:2020, A.5.3 (indirect method: not through limiters
    or automatic gain).
    """
    values, remarks, bad = dict(readings.values), dict(readings.remarks), list(readings.bad)
    known = {f"{i.key}.wav": i for i in plan.items if i.test in ("reverberation", "clarity")}
    ambient, results = values.get("ambient"), {}
    for path in sorted(Path(folder).glob("*.wav")):
        item = known.get(path.name)
        if item is None:
            bad.append(f"{path.name}: is no reading of reverberation or clarity in this plan.")
            continue
        if item.key in values:
            continue
        try:
            energy = impulse.octave_energy(*read_wav(path))
            if item.test == "reverberation":
                values[item.key], remark = _decay(energy, path.name)
                remarks |= {item.key: remark} if remark else {}
            else:
                if item.use not in results:
                    whole = ambient is not None and np.isfinite(ambient).all()
                    results[item.use] = evaluate(
                        as_tested(plan.scenario, item.use, ambient if whole else None),
                        follow_echoes=False,
                    )
                values[item.key] = clarity(energy, results[item.use], item.index, path.name)
        except ValueError as error:
            bad.append(f"{error}" if str(error).startswith(path.name) else f"{path.name}: {error}")
    missing = tuple(i.key for i in plan.items if i.key not in values)
    return replace(readings, values=values, remarks=remarks, bad=tuple(bad), missing=missing)


def _decay(energy, name):
    times, range_db = impulse.decay_times(energy)
    if not np.isfinite(times["t20"]).any():
        raise ValueError(
            f"{name}: the noise lies only {np.nanmax(range_db):.0f} dB under the peak; T20 needs"
            f" {impulse.OVER_NOISE_DB + 25:.0f} dB."
        )
    bent = 100 * (times["t30"][bands.MIDDLE] / times["t20"][bands.MIDDLE] - 1)
    bent = bent[np.isfinite(bent)]
    worst = float(bent[np.argmax(np.abs(bent))]) if len(bent) else 0.0
    return times["t20"], (
        f"the decay bends: T30 is {abs(worst):.0f} % {'longer' if worst > 0 else 'shorter'}"
        " than T20"
        if abs(worst) > BENT_PCT
        else ""
    )


def clarity(energy, result, index, name="the response"):
    """Clarity at a place from a measured impulse response.

    Parameters
    ----------
    energy : array
        Of ``physics.impulse.octave_energy`` (bin, 7) [any linear]
    result : Result
        The use as measured: levels and noise at the place [-]
    index : int
        Of the place [-]
    name : str
        What to call it when it cannot be used [-]

    Returns
    -------
    clarity : float
        With noise, masking and reception threshold [-]

    Sources
    -------
    IEC 60268-16:2020, A.5.3.
    """
    mtf = impulse.modulation(energy)
    if not np.isfinite(mtf).all():
        raise ValueError(f"{name}: does not reach 8 kHz. Measure with 24 kHz sampling at least.")
    return float(
        intelligibility.sti(
            mtf[None], speech_db=result.total_db[index][None], noise_db=result.noise_db
        )[0]
    )
