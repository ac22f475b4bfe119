"""Impulse responses from WAV files as readings: reverberation and STI where the site has them."""

import warnings
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from ..acoustics.evaluate import evaluate
from ..physics import bands, impulse, intelligibility
from .kinds import present_key
from .plan import as_tested
from .readings import in_octaves, one_value
from .sheet import filled_sheet

BENT_PCT = 10.0  # curvature beyond which a decay is suspicious    ISO 3382-2:2008, annex B
FROM_RESPONSES = ("reverberation", "sti")  # kinds of test that a response gives


def read_wav(path):
    """Read one impulse response.

    Parameters
    ----------
    path : str or Path
        WAV, integers or floats; of several channels the first

    Returns
    -------
    response : ndarray
        (sample,), full scale 1 for integers [-]
    rate : int
        Sampling rate [Hz]

    Raises
    ------
    ValueError
        The file is no WAV file
    FileNotFoundError
        There is no such file
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


def with_recordings(sheet, folder, plan):
    """Add to a sheet what the impulse responses in a folder give.

    Parameters
    ----------
    sheet : Sheet
        Values of the entry sheet take precedence
    folder : str or Path
        With files named by their readings, e.g. "reverberation S1 R1.wav", "sti game C5.wav"
    plan : TestPlan
        The plan

    Returns
    -------
    sheet : Sheet
        T20 in octaves (noise must lie 30 dB under the peak), STI with the levels and the noise that
        are predicted and read; a bent decay is remarked on; files that cannot be used are named

    Sources
    -------
    ISO 3382-2:2008, 6 and annex B; IEC 60268-16:2020, A.5.3 (indirect method: not through limiters
    or automatic gain).
    """
    measured, remarks, bad = sheet.measured, dict(sheet.remarks), list(sheet.bad)
    known = {r.key: r for r in plan.readings if r.kind.key in FROM_RESPONSES}
    results = {}
    for path in sorted(Path(folder).glob("*.wav")):
        reading = known.get(present_key(path.stem))
        if reading is None:
            bad.append(f"{path.name}: is no reading of reverberation or STI in this plan.")
            continue
        if reading.key in measured:
            continue
        try:
            energy = impulse.octave_energy(*read_wav(path))
            if reading.kind.key == "reverberation":
                measured[reading.key], remark = _decay(energy, path.name)
                remarks |= {reading.key: remark} if remark else {}
            else:
                if reading.use not in results:
                    tested = as_tested(plan.scenario, reading.use, sheet.ambient_db)
                    results[reading.use] = evaluate(tested)
                result, at = results[reading.use], reading.position.index
                measured[reading.key] = one_value(sti_from(energy, result, at, path.name))
        except ValueError as error:
            bad.append(f"{error}" if str(error).startswith(path.name) else f"{path.name}: {error}")
    return filled_sheet(plan, measured, remarks=remarks, bad=bad)


def _decay(energy, name):
    """T20 in octaves (8,) [s], and a remark where the decay bends."""
    times, range_db = impulse.decay_times(energy)
    if not np.isfinite(times["t20"]).any():
        raise ValueError(
            f"{name}: the noise lies only {np.nanmax(range_db):.0f} dB under the peak; T20 needs"
            f" {impulse.OVER_NOISE_DB + 25:.0f} dB."
        )
    bent = 100 * (times["t30"][bands.MIDDLE] / times["t20"][bands.MIDDLE] - 1)
    bent = bent[np.isfinite(bent)]
    worst = float(bent[np.argmax(np.abs(bent))]) if len(bent) else 0.0
    remark = (
        f"the decay bends: T30 is {abs(worst):.0f} % {'longer' if worst > 0 else 'shorter'}"
        " than T20"
        if abs(worst) > BENT_PCT
        else ""
    )
    return in_octaves(times["t20"]), remark


def sti_from(energy, result, index, name="the response"):
    """STI at a position from a measured impulse response.

    Parameters
    ----------
    energy : array
        Of ``physics.impulse.octave_energy`` (bin, 7) [any linear]
    result : Result
        The use as measured: levels and noise at the position
    index : int
        Of the position among the result's points [-]
    name : str
        What a refusal calls it

    Returns
    -------
    sti : float
        With noise, masking and reception threshold [-]

    Raises
    ------
    ValueError
        The response does not reach 8 kHz

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
