"""What a search weighs: how far each use falls short, criterion by criterion, and how much each
criterion counts.
"""

from dataclasses import dataclass, fields

import numpy as np

from ..acoustics.criteria import CRITERIA, NINE_OF_TEN
from ..physics import bands
from ..physics.checks import within

UNSEEN_DB = 40.0  # a seat out of sight counts as this far below the loudest, not as silent [dB]


@dataclass(frozen=True, kw_only=True)
class Weights:
    """How much each criterion counts, per step of ``STEP_SIZES``."""

    coverage_range: float = 1.0  # scatter of the direct sound over an area
    quietest: float = 0.5  # how far the quietest seat lies below the mean
    sti: float = 1.0  # STI that 9 of 10 seats reach
    # sound that lands on bare walls, roof or empty floor first and is sent back
    stray: float = 0.25
    feedback_margin: float = 1.0  # feedback margin that a microphone lacks
    arrival_spread: float = 0.5  # arrivals further apart than the target
    loudest: float = 0.5  # the loudest seat over its target

    def __post_init__(self):
        given = [getattr(self, f.name) for f in fields(self)]
        weights = within("weights", given, 0, 100, "", "A weight cannot be negative.")
        if not weights.any():
            raise ValueError(
                "weights: nothing counts. Give at least one criterion a weight above 0."
            )


# what each weight counts, on screen and in documents: the criterion of its name; sound that misses
# the people is no criterion, as it leaves out what is absorbed
LABELS = {
    f.name: CRITERIA[f.name].label if f.name in CRITERIA else "Sound that misses the people"
    for f in fields(Weights)
}
# one step of a penalty: a miss by one step is still "close" [unit of the criterion]
STEP_SIZES = {
    f.name: CRITERIA[f.name if f.name in CRITERIA else "on_listeners"].close
    for f in fields(Weights)
}


def penalty(result, weights):
    """Weighted sum of what one use lacks.

    Parameters
    ----------
    result : Result
        Of ``evaluate``
    weights : Weights
        How much each criterion counts

    Returns
    -------
    penalty : float
        Lower is better [steps]
    """
    return sum(getattr(weights, name) * value for name, value in penalties(result).items())


def penalties(result):
    """What one use lacks, criterion by criterion.

    Parameters
    ----------
    result : Result
        Of ``evaluate``

    Returns
    -------
    steps : dict
        By the names of ``Weights``, lower is better; areas by their weight, microphones alike
        [steps]
    """
    share = np.array([a.weight for a in result.areas]) / sum(a.weight for a in result.areas)

    def over_areas(lacking):
        return float(share @ [lacking(result, a) for a in result.areas])

    return dict(
        coverage_range=over_areas(_scatter),
        quietest=over_areas(_below_mean),
        sti=over_areas(_unclear),
        stray=_stray(result),
        feedback_margin=_margin_lacking(result),
        arrival_spread=over_areas(_apart),
        loudest=_too_loud(result),
    )


def _over(x):
    """Smooth form of max(0, x), so that a search sees a slope on both sides of a target."""
    return np.logaddexp(0.0, x)


def _octaves(result, area):
    """Direct level at 1, 2 and 4 kHz (seat, band) [dB]."""
    octaves = result.level_db[area.points, bands.COVERAGE]
    return np.maximum(octaves, octaves.max() - UNSEEN_DB)


def _scatter(result, area):
    """Standard deviation of the direct level, mean of the octaves [steps]."""
    return _octaves(result, area).std(axis=0).mean() / STEP_SIZES["coverage_range"]


def _below_mean(result, area):
    """Smooth form of how far the quietest seat lies below the mean [steps]."""
    level = bands.sum_levels(_octaves(result, area))
    below = level.mean() + np.logaddexp.reduce(-2.0 * level) / 2.0 - np.log(len(level)) / 2.0
    return below / STEP_SIZES["quietest"]


def _unclear(_result, area):
    """What 9 of 10 seats lack of a perfect STI [steps]."""
    return (1.0 - area.sti_p10) / STEP_SIZES["sti"]


def _apart(result, area):
    """Arrivals further apart than the target [steps]."""
    spread = 1000 * np.percentile(result.arrival_spread_s[area.points], NINE_OF_TEN)
    target = result.scenario.targets.arrival_ms
    return _over((spread - target) / STEP_SIZES["arrival_spread"])


def _margin_lacking(result):
    """Feedback margin that the microphones lack, in the mean [steps]."""
    step, target = STEP_SIZES["feedback_margin"], result.scenario.targets.feedback_margin_db
    lacking = [_over((target - m.margin_db.min()) / step) for m in result.microphones]
    return float(np.mean(lacking)) if lacking else 0.0


def _too_loud(result):
    """How far the loudest seat is over its target [steps]."""
    loudest = max(result.speech_dba[a.points].max() for a in result.areas)
    target = result.scenario.targets.loudest_dba
    return float(_over((loudest - target) / STEP_SIZES["loudest"]))


def _stray(result):
    """Share of the sound that misses the listeners and is sent back [steps]."""
    radiated = (result.sources.on_axis / result.sources.q)[:, bands.SPEECH].sum(axis=1)
    stray = float(radiated @ result.first_incidence @ _sent_back(result) / radiated.sum())
    return stray / (STEP_SIZES["stray"] / 100)


def _sent_back(result):
    """Share of what meets each part of the room that it sends back, 500 Hz to 4 kHz; none for the
    listeners (part,) [-].
    """
    people = set(result.listening_parts)
    room, alpha = result.configuration.room, result.absorption[:, bands.SPEECH].mean(axis=1)

    def mean(part):
        return np.average(alpha, weights=(np.array(room.parts) == part) * room.area + 1e-12)

    return np.array([0.0 if part in people else 1 - mean(part) for part in result.parts])
