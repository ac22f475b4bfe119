"""Decay of the gym from recordings of bursts (a balloon that pops): each burst by itself, octave by
octave, with the reason where an octave cannot be used; and the mean of several.
"""

from dataclasses import dataclass, field

import numpy as np

from ..physics import bands, impulse
from ..physics.decay import RANGES
from ..venue.reading_files import name_of
from .recordings import bent_words, read_wav

BIN_S = 0.010  # in which bursts are looked for [s]
RISE_DB = 15.0  # by which a burst stands over what was just before    judgment, no source
NEAR_DB = 25.0  # under the loudest: what is softer is no burst    judgment, no source
APART_S = 0.5  # of two bursts at least    judgment, no source
BEFORE_S = 0.5  # of a recording that belong to a burst, before it
SETTLE_S = 0.05  # before a burst, in which its first sound is already there [s]
# so near to the peak in so many places, or for so many samples in a row: cut off. A sound that dies
# away comes that near once    judgment, no source
FLAT_SHARE, FLATS, LONG_FLAT = 0.999, 3, 12
GAIN_DB = 6.0  # noise after a burst over that before it, or under it    judgment, no source


@dataclass(frozen=True, kw_only=True, eq=False)
class Decay:
    """One decay of the gym: times of each octave, NaN where it cannot be used."""

    name: str  # of the recording, and which burst of it; or of the row in which it was written
    t20: np.ndarray  # (7,) [s]
    edt: np.ndarray  # (7,) [s]
    # why T20 is not used, by octave: words with {} for a number, and the number
    refused: dict = field(default_factory=dict)
    remark: str = ""

    @property
    def used(self):
        """Whether any octave of it can be used."""
        return bool(np.isfinite(self.t20).any() or np.isfinite(self.edt).any())


@dataclass(frozen=True, kw_only=True, eq=False)
class MeanDecay:
    """Mean of several decays."""

    times: np.ndarray  # T20, else EDT (7,); NaN where neither was measured [s]
    early: np.ndarray  # whether a time is an EDT (7,)
    # standard deviation of the decays about it, as a share, NaN where there is one alone (7,) [-]
    spread: np.ndarray
    count: np.ndarray  # decays that it is the mean of (7,)

    @property
    def positions(self):
        """Decays that every octave which was measured is the mean of, at least (int) [-]."""
        return int(min(self.count[self.count > 0], default=0))


def decays_in(path):
    """Decays that a recording holds, one for each burst.

    Parameters
    ----------
    path : str or Path
        WAV of one or several bursts, each with some seconds of quiet after it

    Returns
    -------
    decays : tuple of Decay
        In the order of the bursts; those of which no octave can be used too

    Raises
    ------
    ValueError
        One line: the file cannot be read as WAV; as of ``recordings.read_wav``
    FileNotFoundError
        There is no such file

    Sources
    -------
    ISO 3382-1:2009, 5.3.3 and ISO 3382-2:2008, 5.4 (integrated impulse response; bursts as its
    source, from memory).
    """
    sound, rate = read_wav(path)
    name, parts = name_of(path), _bursts(sound, rate)
    several = len(parts) > 1
    return tuple(
        _decay(sound[begin:end], rate, f"{name}, burst {n}" if several else name, n == 1)
        for n, (begin, end) in enumerate(parts, 1)
    )


def _bursts(sound, rate):
    """First and last sample of what belongs to each burst."""
    per = int(BIN_S * rate)
    energy = (sound[: len(sound) // per * per] ** 2).reshape(-1, per).sum(axis=1)
    level = 10 * np.log10(np.maximum(energy / energy.max(), 1e-15))
    back, apart = int(SETTLE_S / BIN_S), int(APART_S / BIN_S)
    starts = []
    for n in np.flatnonzero(level > -NEAR_DB):
        before = level[max(0, n - 2 * back) : n]
        rises = len(before) > 0 and level[n] - before.mean() > RISE_DB
        if rises and (not starts or n - starts[-1] >= apart):
            starts.append(int(n))
    if not starts or np.argmax(level) < starts[0]:  # one that the recording begins with
        starts.insert(0, int(np.argmax(level)))
    quiet = int(BEFORE_S / BIN_S)
    begins = [0, *(max(n - quiet, 0) for n in starts[1:])]
    ends = [*(n - back for n in starts[1:]), len(level)]
    return [(b * per, min(e * per, len(sound))) for b, e in zip(begins, ends, strict=True)]


def _decay(sound, rate, name, first):
    """The decay of one burst."""
    nothing = np.full(7, np.nan)
    try:
        energy = impulse.octave_energy(sound, rate)
    except ValueError as error:
        why = dict.fromkeys(bands.NAMES, (str(error).rstrip("."), 0.0))
        return Decay(name=name, t20=nothing, edt=nothing, refused=why)
    times, range_db = impulse.decay_times(energy)
    # before other bursts than the first one the last one may still ring
    rise_db = _noise_rise_db(sound, rate, energy) if first else nothing
    flat_s, refused = _flat_s(sound, rate), {}
    for b, label in enumerate(bands.NAMES):
        spoilt = _rise_words(rise_db[b]) or _flat_words(energy[:, b], flat_s)
        if spoilt or not np.isfinite(times["t20"][b]):
            refused[label] = spoilt or _range_words(range_db[b])
            times["t20"][b] = np.nan
        if spoilt or flat_s > 0:  # an EDT begins with the first 10 dB
            times["edt"][b] = np.nan
    return Decay(
        name=name, t20=times["t20"], edt=times["edt"], refused=refused, remark=bent_words(times)
    )


def _noise_rise_db(sound, rate, energy):
    """Noise after a burst over that before it (7,); NaN where there was no time before it [dB]."""
    near = np.abs(sound) >= np.abs(sound).max() * 10 ** (-impulse.ONSET_DB / 20)
    quiet = sound[: max(int(np.argmax(near)) - int(SETTLE_S * rate), 0)]
    if len(quiet) < 0.2 * rate or not np.any(quiet):
        return np.full(7, np.nan)
    before = impulse.octave_energy(quiet, rate).mean(axis=0)
    after = energy[-max(len(energy) // 10, 1) :].mean(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = 10 * np.log10(after / before)
    return np.where((before > 0) & (after > 0), rise, np.nan)


def _rise_words(rise_db):
    """Why an octave is not used whose noise is another after the burst; None where it is used."""
    if not abs(rise_db) > GAIN_DB:  # also where it is not known
        return None
    if rise_db > 0:
        words = (
            "the noise at its end lies {} dB over that before the burst: automatic gain, or a"
            " recording that ends before the decay does"
        )
    else:
        words = (
            "the noise at its end lies {} dB under that before the burst: noise reduction of the"
            " phone, or somebody moved before it"
        )
    return words, abs(rise_db)


def _flat_s(sound, rate):
    """Time from the onset until the last place where the recording is cut off at its peak; 0 where
    it never is [s].
    """
    level = np.abs(sound) / np.abs(sound).max()
    flat = np.concatenate([[0], (level >= FLAT_SHARE).astype(int), [0]])
    begins, ends = np.flatnonzero(np.diff(flat) == 1), np.flatnonzero(np.diff(flat) == -1)
    if len(ends) < FLATS and not (ends - begins >= LONG_FLAT).any():
        return 0.0
    onset = int(np.argmax(level >= 10 ** (-impulse.ONSET_DB / 20)))
    return max(float(ends[-1] - onset) / rate, 1.0 / rate)


def _flat_words(energy, flat_s):
    """Why an octave is not used that was cut off for too long; None where it is used."""
    if flat_s == 0 or not np.isfinite(energy).all():
        return None
    kept, _ = impulse.cut(energy)
    left = np.cumsum(kept[::-1])[::-1]
    high, _ = RANGES["t20"]
    begins_s = impulse.BIN * int(np.argmax(left < left[0] * 10 ** (high / 10)))
    if flat_s <= begins_s:
        return None
    words = f"overdriven for {1000 * flat_s:.0f} ms, and T20 begins after {{}} ms: turn the input"
    return f"{words} down", 1000 * begins_s


def _range_words(range_db):
    """Why an octave has no T20 although nothing spoils it."""
    needs = impulse.OVER_NOISE_DB - RANGES["t20"][1]
    if not np.isfinite(range_db):
        return "the sampling rate does not reach it", 0.0
    if range_db < needs:
        return f"the noise lies only {{}} dB under the peak; T20 needs {needs:.0f} dB", range_db
    return "the decay is cut off too early", 0.0


def mean_decay(decays):
    """Mean of several decays.

    Parameters
    ----------
    decays : sequence of Decay
        At other positions of burst and listener each, if possible

    Returns
    -------
    mean : MeanDecay
        T20 wherever one decay has it, else EDT

    Raises
    ------
    ValueError
        No octave of any of them can be used

    Sources
    -------
    ISO 3382-2:2008, 6.2 (arithmetic mean of the times, from memory).
    """
    if not any(d.used for d in decays):
        raise ValueError("no octave of any decay can be used.")
    t20, edt = (np.array([getattr(d, key) for d in decays]) for key in ("t20", "edt"))
    early = ~np.isfinite(t20).any(axis=0) & np.isfinite(edt).any(axis=0)
    rows = np.where(early, edt, t20)  # (decay, band)
    count = np.isfinite(rows).sum(axis=0)
    times, spread = np.full(7, np.nan), np.full(7, np.nan)
    for b in np.flatnonzero(count):
        times[b] = np.nanmean(rows[:, b])
        if count[b] > 1:
            spread[b] = np.nanstd(rows[:, b], ddof=1) / times[b]
    return MeanDecay(times=times, early=early, spread=spread, count=count)


def refused_lines(decays):
    """What of some decays cannot be used, and why.

    Parameters
    ----------
    decays : sequence of Decay
        Of ``decays_in``

    Returns
    -------
    lines : list of str
        Sentences, octaves with one reason together
    """
    found = []
    for decay in decays:
        octaves = {}
        for label, (words, value) in decay.refused.items():
            octaves.setdefault(words, []).append((label, value))
        for words, those in octaves.items():
            low, high = (f"{end(value for _, value in those):.0f}" for end in (min, max))
            said = words.format(low if low == high else f"{low} to {high}")
            at = ", ".join(label for label, _ in those)
            found.append(f"{decay.name}: {said}; not used: {at}.")
        found += [f"{decay.name}: {decay.remark}."] if decay.remark else []
    return found
