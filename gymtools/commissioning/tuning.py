"""Octaves that are off at all positions of a preset alike: an equalizer that was not loaded or is
set otherwise.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from ..physics import bands
from .levels import changes, levels_of_loudspeakers, levels_of_uses
from .readings import BANDS, measured_of

# of what all positions of a preset share: sensitivities of the loudspeakers by octave, the room's
# own sound, tuning by ear; 1 dB of the low octaves is that an empty gym rings more than the full
# one that the preset is meant for    judgment, no source [dB]
COMMON_DB = np.array([2.5, 2.0, 1.5, 1.2, 1.0, 1.0, 2.0])
# of one preset against the others of the same gym, which share most of that    judgment [dB]
BETWEEN_DB = 1.0
TOLD_DB = 2.0  # an octave that is off by less is not named    judgment
LEAST_DB = 3.0  # of the tuning, for its loss to have a pattern    judgment
NEAR = (0.5, 1.6)  # shares of the tuning that count as the whole of it
LITTLE = 0.01  # chance below which something is left to explain


@dataclass(frozen=True, kw_only=True, eq=False)
class Offsets:
    """Octaves of a preset against what is predicted."""

    use: str
    offsets_db: np.ndarray  # re the mean of 1, 2 and 4 kHz (7,), NaN where not read [dB]
    not_loaded: bool  # whether they are those of a preset whose room equalization is missing
    explains: float  # chi square
    chance: float
    words: str  # without a period


def offsets(plan, readings, conditions, fault):
    """Octaves that are off at all positions of a preset.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Measured and expected
    conditions : Conditions
        What the expectations rest on
    fault : Fault
        What was found beside it, and is taken as given

    Returns
    -------
    offsets : list of Offsets
        Of every use in which levels were read in octaves
    """
    sets = [
        *levels_of_uses(plan, measured_of(readings, "level"), conditions),
        *levels_of_loudspeakers(plan, measured_of(readings, "alone"), conditions),
    ]
    ratio = longer(readings)
    means = {}
    for use in plan.leads:
        mine = [_octaves_of(one, fault, ratio) for one in sets if one.use == use]
        mean, variance = _together([pair for pair in mine if pair is not None])
        if np.isfinite(mean).sum() >= 2:
            means[use] = mean, variance
    return [
        _judged(use, means, np.asarray(conditions.results[use].room_eq_db, float)) for use in means
    ]


def longer(readings):
    """Measured over predicted reverberation time.

    Parameters
    ----------
    readings : sequence of Reading
        Measured and expected

    Returns
    -------
    ratio : ndarray
        Mean over positions, 1 where it was not read (7,) [-]
    """
    read = measured_of(readings, "reverberation")
    ratio = np.array([r.measured[BANDS] / r.expected[BANDS] for r in read]).reshape(-1, 7)
    known = np.isfinite(ratio)
    mean = np.where(known, ratio, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.where(known.any(axis=0), mean, 1.0)


def more_db(one, ratio):
    """Level that a room adds whose own sound grows as it rings longer.

    Parameters
    ----------
    one : Levels
        As designed
    ratio : array
        Measured over predicted reverberation time (7,) [-]

    Returns
    -------
    more : ndarray
        (point, 7) [dB]
    """
    return 10 * np.log10(1 + (ratio - 1) * one.late / np.maximum(one.designed, 1e-30))


def _octaves_of(one, fault, ratio):
    """Mean and variance of what one set of levels is off by in each octave; its volume taken off.
    The room's own sound is as much more as it rings longer.
    """
    off = (one.measured - one.expected - changes(one, fault))[:, BANDS] - more_db(one, ratio)
    weight = np.where(np.isfinite(off), 1 / one.spread[:, BANDS] ** 2, 0.0)
    there = weight.sum(axis=0)
    if (there > 0).sum() < 2:
        return None
    mean = np.where(there > 0, (weight * np.nan_to_num(off)).sum(axis=0), np.nan)
    mean = mean / np.where(there > 0, there, 1.0)
    return mean - _reference(mean), np.where(there > 0, 1 / np.maximum(there, 1e-30), np.inf)


def _reference(mean):
    """Mean of 1, 2 and 4 kHz, or of all octaves where none of them was read."""
    middle = mean[bands.COVERAGE]
    return np.nanmean(middle if np.isfinite(middle).any() else mean)


def _together(sets):
    """Mean over sets, and the variance that positions leave it (7,)."""
    if not sets:
        return np.full(7, np.nan), np.full(7, np.nan)
    weight = sum(1 / variance for _, variance in sets)
    total = sum(np.nan_to_num(mean) / variance for mean, variance in sets)
    there = weight > 0
    safe = np.where(there, weight, 1.0)
    return np.where(there, total / safe, np.nan), np.where(there, 1 / safe, np.nan)


def _judged(use, means, room_eq_db):
    """Whether the octaves are those of a preset without its tuning, or off in another way."""
    mean, variance = means[use]
    there = int(np.isfinite(mean).sum())
    size, fit, whole = _fitted(mean, variance + COMMON_DB**2, -room_eq_db)
    has_pattern = np.max(-room_eq_db) >= LEAST_DB
    # by itself, against the other presets, and any shape: three tries
    by_itself = chi2.sf(fit, 1) if has_pattern and NEAR[0] <= size <= NEAR[1] else 1.0
    against = _against_others(use, means, room_eq_db) if has_pattern else 1.0
    any_shape = chi2.sf(whole, there - 1)
    lost = min(by_itself, against)
    rest = chi2.sf(whole - fit, max(there - 2, 1))
    is_lost = bool(against < LITTLE or (lost < any_shape and rest > LITTLE))
    chance = 3 * float(lost if is_lost else any_shape)
    shown = mean - _reference(mean)
    return Offsets(
        use=use,
        offsets_db=shown,
        not_loaded=is_lost,
        explains=float(chi2.isf(min(chance, 1.0), 1)),
        chance=min(chance, 1.0),
        words=_words(use, shown, is_lost),
    )


def _fitted(off, variance, template):
    """Size of a shape in what is off, what it explains, and all there is to explain, in variances;
    the volume is free.
    """
    there = np.isfinite(off) & np.isfinite(variance)
    weight = np.where(there, 1 / np.where(there, variance, 1.0), 0.0)
    off = np.where(there, off, 0.0)
    shape = template - (weight * template).sum() / weight.sum()
    scale = float((weight * shape**2).sum())
    size = float((weight * shape * off).sum()) / scale if scale > 0 else 0.0
    centered = off - (weight * off).sum() / weight.sum()
    return size, size**2 * scale, float((weight * centered**2).sum())


def _against_others(use, means, room_eq_db):
    """Chance that this preset alone is without its tuning, the others with theirs."""
    others = [pair for name, pair in means.items() if name != use]
    if not others:
        return 1.0
    mean, variance = _together(others)
    both = means[use][1] + variance + BETWEEN_DB**2
    size, fit, whole = _fitted(means[use][0] - mean, both, -room_eq_db)
    there = int(np.isfinite(means[use][0] - mean).sum())
    if not NEAR[0] <= size <= NEAR[1] or chi2.sf(whole - fit, max(there - 2, 1)) < LITTLE:
        return 1.0
    return float(chi2.sf(fit, 1))


def _words(use, shown, lost):
    """Octaves that are off, as a sentence without its period."""
    octaves = ", ".join(
        f"{v:+.0f} dB at {name}"
        for v, name in zip(shown, bands.NAMES, strict=True)
        if abs(v) >= TOLD_DB
    )
    where = f"in {use} all positions are off alike, against 1 to 4 kHz: {octaves or 'a little'}"
    if lost:
        return (
            f"{where}. That is what the room equalization of this preset takes away: it is likely"
            " not loaded. Recall the preset, compare the equalizer with the schedule of presets,"
            " and read one position again"
        )
    return (
        f"{where}. No single loudspeaker does that: compare the equalizer of this preset with the"
        " schedule of presets, then the loudspeakers' processing and the microphone's calibration"
    )
