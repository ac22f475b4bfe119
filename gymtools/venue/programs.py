"""What is played to a listener: announcements and a piece of music that come with the package, and
recordings of the user's own.
"""

import io
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from math import gcd
from pathlib import Path

import numpy as np

from ..physics.leveling import at_zero_dba, equalized, faded
from ..physics.playback import RATE
from .arguments import one_of
from .reading_files import MEGABYTE, file_bytes, name_of, named, one_line
from .tables import read_table
from .texts import short

KINDS = ("speech", "music", "noise")
KIND = "recording"  # what a file is called in refusals
FORMATS = ("WAV", "WAVEX", "RF64", "FLAC")  # as soundfile names them
LARGEST = 200 * MEGABYTE  # of a recording
LONGEST_S = 3600.0  # of a recording; the first MOST_S of it are played
MOST_S, LEAST_S = 30.0, 0.5  # of a program [s]
MOST_CHANNELS = 8
RATES = (8000, 192_000)  # [Hz]
QUIETEST, LOUDEST = 1e-4, 1e9  # peaks that can be meant, full scale 1
UNKNOWN = 2**62  # a length above this is one that the file does not state [sample]
BAND = "pep band"


@dataclass(frozen=True, kw_only=True)
class Program:
    """Something to listen to: one dry channel of known level.

    Parameters
    ----------
    key : str
        Name in scripts
    label : str
        Name on the page; says where a sound is synthesized
    kind : str
        "speech", "music" or "noise"
    samples : ndarray
        (sample,) at ``playback.RATE``; the A-weighted energy mean over its sound is 0 dB re a root
        mean square of 1, so 10^(L/20) times it is a sound of L dB(A). Speech has the spectrum of
        ``intelligibility.SPEECH_SPECTRUM_DB`` as far as the recording has sound there. Cannot be
        written to [-]
    source : str
        Where it comes from
    text : str
        Words that are spoken, "" where there are none or they are not known
    notes : tuple of str
        What was left out or changed, one sentence each
    """

    key: str
    label: str
    kind: str
    samples: np.ndarray = field(repr=False, compare=False)
    source: str
    text: str = ""
    notes: tuple = ()

    def __post_init__(self):
        one_of("kind", self.kind, KINDS)
        if not self.source.strip():
            raise ValueError(f"program '{self.key}': source is empty. Say where it comes from.")
        samples = np.array(self.samples, float)
        if samples.ndim != 1 or not len(samples) or not np.isfinite(samples).all():
            raise ValueError(f"program '{self.key}': samples are not one channel of numbers.")
        samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)

    @property
    def seconds(self):
        """Length [s]."""
        return len(self.samples) / RATE


def labels():
    """Programs that come with the package, without making them.

    Returns
    -------
    labels : dict of str
        Label by key, in the order in which they are offered
    """
    return {**{row["key"]: row["label"] for row in _rows()}, BAND: "Pep band (synthesized)"}


def programs():
    """Programs that come with the package.

    Returns
    -------
    programs : tuple of Program
        Announcements first; worked out once
    """
    return tuple(map(program, labels()))


def program(key):
    """One of the programs that come with the package.

    Parameters
    ----------
    key : str
        Of ``labels``, e.g. "announcement woman"

    Returns
    -------
    program : Program
        Worked out once

    Raises
    ------
    UnknownName
        A ValueError: there is no such program
    """
    return _packaged(one_of("program", key, labels()))


@lru_cache(maxsize=8)  # they are part of the package; nothing that a user gives is kept
def _packaged(key):
    """One program of the package."""
    if key == BAND:
        return _pep_band()
    (row,) = (row for row in _rows() if row["key"] == key)
    folder = resources.files("gymtools").joinpath("data", "speech")
    samples, rate, _ = _decoded(folder.joinpath(row["file"]).read_bytes(), row["file"])
    return Program(
        key=key,
        label=row["label"],
        kind="speech",
        samples=_leveled(samples[:, 0], rate, "speech"),
        source=row["source"],
        text=row["text"],
    )


@lru_cache(maxsize=1)
def _rows():
    """Announcements of the package."""
    return tuple(read_table("speech/speech.csv"))


def _pep_band():
    """The synthesized band."""
    from ..physics.pep_band import pep_band  # its filters are slow to load

    return Program(
        key=BAND,
        label=labels()[BAND],
        kind="music",
        samples=at_zero_dba(faded(_centered(pep_band()), RATE), RATE),
        source="melody and sound invented for this package, synthesized (physics/pep_band.py)",
    )


def own_program(path, *, kind="speech"):
    """A recording of the user's own.

    Parameters
    ----------
    path : str or Path
        WAV or FLAC, at most LARGEST; channels are averaged, the first MOST_S are taken
    kind : str
        "speech" is equalized to the speech spectrum, by at most 12 dB up; "music" and "noise" keep
        their own spectrum

    Returns
    -------
    program : Program
        Its ``notes`` say what was left out or changed

    Raises
    ------
    ValueError
        One line: no file, too large, no WAV or FLAC, a sampling rate, a length or channels that
        cannot be meant, silence, samples that are no numbers
    """
    one_of("kind", kind, KINDS)
    name = name_of(named(path, KIND))
    if Path(path).is_dir():
        raise ValueError(f"{name} is a folder. Name a file in it.")
    samples, rate, frames = _decoded(file_bytes(path, KIND, LARGEST), name)
    notes = []
    if frames > len(samples):
        notes.append(f"The first {MOST_S:g} s of {frames / rate:.0f} s are played.")
    if samples.shape[1] > 1:
        notes.append(f"Its {samples.shape[1]} channels are averaged.")
    if kind == "speech":
        notes.append("It is equalized to the speech spectrum that the design is judged with.")
    mono = samples.mean(axis=1)
    if np.abs(_centered(mono)).max() < QUIETEST:
        raise ValueError(f"{name}: is silent, or its channels cancel each other. Give one channel.")
    try:
        leveled = _leveled(mono, rate, kind)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None
    return Program(
        key=f"own {name}",
        label=short(name),
        kind=kind,
        samples=leveled,
        source=f"the user's own file {name}",
        notes=tuple(notes),
    )


def _centered(samples):
    """Samples without their mean."""
    return samples - samples.mean()


def _leveled(samples, rate, kind):
    """Samples of any rate as a program has them."""
    from scipy.signal import resample_poly  # slow to load

    from ..physics.intelligibility import SPEECH_SPECTRUM_DB

    common = gcd(rate, RATE)
    # faded before: a step at an end would ring in the resampler's filter
    there = resample_poly(faded(_centered(samples), rate), RATE // common, rate // common)
    if kind == "speech":
        return equalized(there, RATE, SPEECH_SPECTRUM_DB)
    return at_zero_dba(faded(_centered(there), RATE), RATE)


def _decoded(data, name):
    """The first MOST_S of a recording (sample, channel), its rate [Hz] and all its samples."""
    import soundfile  # slow to load, and only needed to listen

    _check_whole(data, name)
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            form, rate, frames = file.format, file.samplerate, file.frames
            faults = _faults(form, rate, frames, file.channels)
            want = min(int(MOST_S * rate), frames)
            samples = None if faults else file.read(want, dtype="float64", always_2d=True)
    except Exception as error:  # a damaged file fails in many ways
        raise ValueError(
            f"{name}: cannot be read as WAV or FLAC. Damaged, or no recording?"
        ) from error
    if faults:
        raise ValueError(f"{name}: {faults}")
    if len(samples) < want:
        raise ValueError(f"{name}: is cut short. Copy it again.")
    peak = float(np.abs(samples).max(initial=0.0))
    if not np.isfinite(peak):
        raise ValueError(f"{name}: holds samples that are no numbers. Export it again.")
    if len(samples) < LEAST_S * rate:
        raise ValueError(f"{name}: is {len(samples) / rate:.2f} s long, less than {LEAST_S:g} s.")
    if not QUIETEST <= peak <= LOUDEST:
        begins = f"is silent for its first {MOST_S:g} s" if frames > want else "is silent"
        raise ValueError(f"{name}: {begins if peak < QUIETEST else 'is no sound'}.")
    return samples, rate, frames


def _faults(form, rate, frames, channels):
    """What of a recording's header cannot be meant, "" where all can."""
    if form not in FORMATS:
        return f"is {one_line(form)}, not WAV or FLAC. Export it as one of these."
    low, high = RATES
    if not low <= rate <= high:
        return f"sampling rate = {rate} Hz is outside {low} to {high} Hz. Damaged header?"
    if channels > MOST_CHANNELS:
        return f"has {channels} channels, more than {MOST_CHANNELS}."
    if frames == 0:
        return "holds no samples."
    if frames > UNKNOWN:
        return "does not state its length. Export it again."
    if frames > LONGEST_S * rate:
        return f"is {frames / rate / 60:.0f} min long, more than {LONGEST_S / 60:g}. Cut it."
    return ""


def _check_whole(data, name):
    """Refuse a WAV file of which a part is missing."""
    if data[:4] != b"RIFF" or data[8:12] != b"WAVE":
        return
    said = int.from_bytes(data[4:8], "little")
    # writers that do not know the length leave nothing or everything there
    if said not in (0, 0xFFFFFFFF) and said + 8 > len(data) + 1:
        raise ValueError(
            f"{name}: is cut short: its header says {said + 8} bytes, and {len(data)} are there."
            " Copy it again."
        )
