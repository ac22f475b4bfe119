"""Impulse responses from WAV files as readings: reverberation and STI where the site has them."""

import io
import struct
import warnings
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from ..acoustics.evaluate import evaluate
from ..physics import bands, impulse, intelligibility
from ..venue.reading_files import file_bytes, named, one_line
from .kinds import present_key
from .plan import as_tested
from .readings import in_octaves, one_value
from .sheet import filled_sheet
from .site_files import SiteFile

BENT_PCT = 10.0  # curvature beyond which a decay is suspicious    ISO 3382-2:2008, annex B
KIND = "recording"
LARGEST = 200_000_000  # of a recording [bytes]
LONGEST_S = 120.0  # of a response [s]
MOST_CHANNELS = 64
MOST_FILES = 5000  # of a folder
LOUDEST, QUIETEST = 1e9, 1e-9  # peaks of a response that can be meant, full scale 1
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
        (sample,), -1 to 1 for integers of any width [-]
    rate : int
        Sampling rate [Hz]

    Raises
    ------
    ValueError
        One line: the file is no WAV file; no samples, or some that are no numbers; a rate, a
        length or channels that cannot be meant; silence
    FileNotFoundError
        There is no such file
    """
    path = named(path, KIND)
    name = one_line(path.name)
    if not path.exists() and not path.is_symlink():
        raise FileNotFoundError(f"{name}: there is no such {KIND}.")
    rate, data = _samples(file_bytes(path, KIND, LARGEST), name)
    if not 8000 <= rate <= 400_000:
        raise ValueError(
            f"{name}: sampling rate = {rate} Hz is outside 8000 to 400000 Hz. Damaged header?"
        )
    data = data if data.ndim == 1 else data[:, 0]
    if len(data) > LONGEST_S * rate:
        raise ValueError(
            f"{name}: is {len(data) / rate:.0f} s long, more than {LONGEST_S:g} s. Cut it to the"
            " impulse response."
        )
    if data.dtype == np.uint8:
        data = (data - 128.0) / 128  # eight bits are unsigned
    elif np.issubdtype(data.dtype, np.integer):
        data = data / -float(np.iinfo(data.dtype).min)  # 24 bits come as the upper ones of 32
    data = data.astype(float)
    peak = float(np.abs(data).max(initial=0.0))
    if not np.isfinite(peak):
        count = np.count_nonzero(~np.isfinite(data))
        raise ValueError(f"{name}: {count} samples are no numbers. Export it again.")
    if not QUIETEST < peak < LOUDEST:
        raise ValueError(f"{name}: is {'silent' if peak <= QUIETEST else 'no sound'}.")
    return data, rate


def _check_whole(data, name):
    """Refuse a WAV file that holds less sound than its header says."""
    if data[:4] not in (b"RIFF", b"RIFX", b"RF64") or data[8:12] != b"WAVE":
        return  # named with what else is no WAV file
    order = ">" if data[:4] == b"RIFX" else "<"
    at, long = 12, None
    while at + 8 <= len(data):
        kind, size = struct.unpack_from(f"{order}4sI", data, at)
        if kind == b"ds64" and at + 24 <= len(data):  # sizes of a file over 4 GB
            (long,) = struct.unpack_from("<Q", data, at + 16)
        if kind == b"data":
            said = long if long is not None and size == 0xFFFFFFFF else size
            there = len(data) - at - 8
            if said > there:
                raise ValueError(
                    f"{name}: is cut short: its header says {said} bytes of sound, and {there} are"
                    " there. Copy it again."
                )
            return
        at += 8 + size + size % 2
    raise ValueError(f"{name}: is cut short, or damaged: there is no sound in it.")


def _samples(data, name):
    """Rate and samples of a WAV file."""
    _check_whole(data, name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks that nobody needs
            rate, samples = wavfile.read(io.BytesIO(data))
    except Exception as error:  # a damaged file fails in many ways
        why = one_line(f"{type(error).__name__}: {error}")[:120]
        raise ValueError(
            f"{name}: cannot be read as WAV. Damaged, cut short or compressed? ({why})"
        ) from None
    if samples.size == 0:
        raise ValueError(f"{name}: holds no samples.")
    if samples.ndim == 2 and samples.shape[1] > MOST_CHANNELS:
        raise ValueError(f"{name}: has {samples.shape[1]} channels, more than {MOST_CHANNELS}.")
    return rate, samples


def with_recordings(sheet, folder, plan):
    """Add to a sheet what the impulse responses in a folder give.

    Parameters
    ----------
    sheet : Sheet
        Values of the entry sheet take precedence
    folder : str or Path
        With files named by their readings, e.g. "reverberation S1 R1.wav", "sti game C5.WAV"
    plan : TestPlan
        The plan

    Returns
    -------
    sheet : Sheet
        T20 in octaves (noise must lie 30 dB under the peak), STI with the levels and the noise that
        are predicted and read; a bent decay is remarked on. ``files`` names every file of the
        folder, ``bad`` every recording that cannot be used, or that there is none

    Raises
    ------
    ValueError
        There is no such folder, it may not be read, or holds more files than can be meant

    Sources
    -------
    ISO 3382-2:2008, 6 and annex B; IEC 60268-16:2020, A.5.3 (indirect method: not through limiters
    or automatic gain).
    """
    taken = _Taken(sheet, plan)
    listed = _listed(folder)
    if not listed:
        where = one_line(Path(folder).name or folder)
        taken.bad.append(f"{where}: the folder of recordings is empty.")
    for path in listed:
        name = one_line(path.name)
        if path.suffix.lower() not in (".wav", ".wave"):
            taken.files.append(SiteFile(name=name, used=False, words="is no recording (WAV)"))
            continue
        try:
            words = taken.take(path, name)
            taken.files.append(SiteFile(name=name, used=True, words=words))
        except ValueError as error:
            words = one_line(error).removeprefix(f"{name}: ")
            if not isinstance(error, _NotNeeded):
                taken.bad.append(f"{name}: {words}")
            taken.files.append(SiteFile(name=name, used=False, words=words))
    return filled_sheet(
        plan,
        taken.measured,
        remarks=taken.remarks,
        bad=taken.bad,
        files=taken.files,
        by_themselves=sheet.by_themselves,
    )


def _listed(folder):
    """What a folder holds, in the order of its names."""
    try:
        folder = Path(folder)
        name = one_line(folder.name or folder)
        found = sorted(folder.iterdir())
    except (FileNotFoundError, NotADirectoryError):
        raise ValueError(f"{name}: there is no such folder of recordings.") from None
    except (OSError, TypeError, ValueError) as error:
        why = getattr(error, "strerror", None) or one_line(error)
        raise ValueError(f"recordings: the folder cannot be read. ({why})") from None
    if len(found) > MOST_FILES:
        raise ValueError(f"{name}: holds {len(found)} files, more than {MOST_FILES}.")
    return found


class _NotNeeded(ValueError):
    """A recording whose reading is there already."""


class _Taken:
    """What a sheet and recordings give together, as it is gathered."""

    def __init__(self, sheet, plan):
        self.sheet, self.plan = sheet, plan
        self.measured, self.remarks = sheet.measured, dict(sheet.remarks)
        self.bad, self.files = list(sheet.bad), list(sheet.files)
        self.known = {r.key.casefold(): r for r in plan.readings if r.kind.key in FROM_RESPONSES}
        self.results, self.taken = {}, {}  # by use; names of recordings by reading

    def take(self, path, name):
        """Add what one recording gives, and say what it was used for."""
        if path.is_symlink() and not path.exists():
            raise ValueError(f"{name}: is a link to a file that is not there.")
        if path.is_dir():
            raise ValueError(f"{name}: is a folder. Recordings in it are not read.")
        reading = self.known.get(present_key(path.stem.strip()).casefold())
        if reading is None:
            raise ValueError(f"{name}: is no reading of reverberation or STI in this plan.")
        if reading.key in self.taken:
            raise ValueError(f"{name}: {self.taken[reading.key]} is the same reading, and counts.")
        if reading.key in self.measured:
            raise _NotNeeded("the entry sheet has this reading, and counts.")
        energy = impulse.octave_energy(*read_wav(path))
        if reading.kind.key == "reverberation":
            values, remark = _decay(energy, name)
            self.remarks |= {reading.key: remark} if remark else {}
        else:
            at = reading.position.index
            values = one_value(sti_from(energy, self._result(reading.use), at, name))
        self.measured[reading.key], self.taken[reading.key] = values, name
        return reading.key

    def _result(self, use):
        """The use as it was measured."""
        if use not in self.results:
            tested = as_tested(self.plan.scenario, use, self.sheet.ambient_db)
            self.results[use] = evaluate(tested)
        return self.results[use]


def _decay(energy, name):
    """T20 in octaves (8,) [s], and a remark where the decay bends."""
    times, range_db = impulse.decay_times(energy)
    if not np.isfinite(times["t20"]).any():
        raise ValueError(
            f"{name}: the noise lies only {np.nanmax(range_db):.0f} dB under the peak; T20 needs"
            f" {impulse.OVER_NOISE_DB + 25:.0f} dB."
        )
    return in_octaves(times["t20"]), bent_words(times)


def bent_words(times):
    """What is remarked on a decay that bends.

    Parameters
    ----------
    times : dict
        Of ``physics.impulse.decay_times``

    Returns
    -------
    words : str
        "" where it does not, or where T30 was not measured

    Sources
    -------
    ISO 3382-2:2008, annex B (curvature).
    """
    bent = 100 * (times["t30"][bands.MIDDLE] / times["t20"][bands.MIDDLE] - 1)
    bent = bent[np.isfinite(bent)]
    worst = float(bent[np.argmax(np.abs(bent))]) if len(bent) else 0.0
    if abs(worst) <= BENT_PCT:
        return ""
    return (
        f"the decay bends: T30 is {abs(worst):.0f} % {'longer' if worst > 0 else 'shorter'} than"
        " T20"
    )


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
