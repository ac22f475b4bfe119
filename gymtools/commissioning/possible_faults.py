"""Faults that a finished gym may have, and what its readings would be with one of them."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..acoustics.measured_room import predicted_spread
from .diagnosis import driver_profiles
from .expected import arrival_ms
from .levels import Fault, changes, levels_of_loudspeakers, levels_of_uses
from .readings import BANDS, SINGLE, in_octaves, one_value
from .tuning import COMMON_DB

SILENT_DB, LOW_DB, LATE_MS, LIVELIER = -60.0, -6.0, 20.0, 1.6  # the faults that are tried
DULL = driver_profiles()[2][1]  # a crossover at 2 kHz (7,) [dB]
LABELS = {  # kinds of fault, in words
    "dead": "a silent loudspeaker",
    "low": f"a loudspeaker {-LOW_DB:.0f} dB low",
    "dull": "a dead high driver",
    "reversed": "reversed polarity",
    "late": f"a channel {LATE_MS:.0f} ms late",
    "not loaded": "a preset without its room equalization",
    "livelier": f"a room that rings {LIVELIER:g} times as long as predicted",
}
# what diagnosis calls them
CAUSES = {
    "dead": ("loudspeaker", "high driver", "low driver"),
    "low": ("loudspeaker",),
    "dull": ("high driver",),
    "reversed": ("polarity",),
    "late": ("delay",),
    "not loaded": ("tuning",),
    "livelier": ("decay", "room"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class PossibleFault:
    """One thing that may be wrong."""

    kind: str  # of LABELS
    subject: str  # tag, channel or use; "" for the room
    levels: Fault  # what it does to levels
    late_ms: np.ndarray  # (source,) [ms]
    offsets_db: dict = field(default_factory=dict)  # of all positions of a use (7,), by use [dB]
    longer: float = 1.0  # reverberation time, as a factor [-]

    def is_named_by(self, cause):
        """Whether a cause is this fault.

        Parameters
        ----------
        cause : Cause
            Of the diagnosis

        Returns
        -------
        named : bool
            Right kind and right subject; a delay lies between two, so either of them is right
        """
        if cause.kind not in CAUSES[self.kind]:
            return False
        return self.kind in ("late", "livelier") or cause.subject == self.subject


def nothing_wrong(plan):
    """The gym as it was designed.

    Parameters
    ----------
    plan : TestPlan
        The plan

    Returns
    -------
    fault : PossibleFault
        Which is none
    """
    sources = len(plan.scenario.loudspeakers)
    return PossibleFault(kind="", subject="", levels=Fault.none(sources), late_ms=np.zeros(sources))


def possible_faults(plan, conditions):
    """Everything that is tried: each loudspeaker, each channel, each preset, the room.

    Parameters
    ----------
    plan : TestPlan
        The plan
    conditions : Conditions
        What the expectations rest on

    Returns
    -------
    faults : list of PossibleFault
        Of what plays in one of the uses that are measured
    """
    none = nothing_wrong(plan)
    tags = [c.tag for c in plan.scenario.loudspeakers]
    playing = np.any([r.playing for r in conditions.results.values()], axis=0)
    found = []
    for n, tag in enumerate(tags):
        if not playing[n]:
            continue
        this = np.arange(len(tags)) == n
        for kind, levels in (
            ("dead", none.levels.louder(SILENT_DB, this)),
            ("low", none.levels.louder(LOW_DB, this)),
            ("dull", none.levels.louder(DULL, this)),
            ("reversed", none.levels.turned(this)),
        ):
            found.append(replace(none, kind=kind, subject=tag, levels=levels))
    for channel in plan.channels:
        mine = np.isin(tags, channel)
        if playing[mine].any():
            words = ", ".join(channel)
            found.append(replace(none, kind="late", subject=words, late_ms=LATE_MS * mine))
    for use, result in conditions.results.items():
        lost = {use: -np.asarray(result.room_eq_db, float)}
        found.append(replace(none, kind="not loaded", subject=use, offsets_db=lost))
    return [*found, replace(none, kind="livelier", longer=LIVELIER)]


def read_with(plan, readings, conditions, fault, rng=None):
    """Readings of a gym with one fault.

    Parameters
    ----------
    plan : TestPlan
        The plan
    readings : sequence of Reading
        Expected; all of them are read
    conditions : Conditions
        What the expectations rest on
    fault : PossibleFault
        What is wrong
    rng : numpy.random.Generator, optional
        For the errors of readings and predictions; none when left out

    Returns
    -------
    readings : list of Reading
        Measured; levels in octaves, and in dB(A) without what is common to all positions. STI,
        feedback margin and highest clean level are read as predicted, but for their error
    """
    common = 0.0 if rng is None else rng.normal(size=7) * COMMON_DB
    longer = fault.longer * (1.0 if rng is None else _room_error(plan, rng))
    levels = _levels_with(plan, readings, conditions, fault, longer)
    found = []
    for r in readings:
        error = np.zeros(8) if rng is None else rng.normal(size=8) * np.nan_to_num(r.spread)
        match r.kind.key:
            case "level" | "alone":
                off = common + fault.offsets_db.get(r.use, 0.0)
                value = levels[r.key] + error + np.append(np.full(7, 1.0) * off, 0.0)
            case "reverberation":
                value = r.expected * in_octaves(np.full(7, 1.0) * longer) + error
            case "polarity":
                shown = {"reversed": -1.0, "dead": 0.0} if r.subject == fault.subject else {}
                value = one_value(shown.get(fault.kind, 1.0))
            case "arrival":
                value = _arrival(r, conditions, fault) + error
            case _:
                value = r.expected + error
        found.append(replace(r, measured=value))
    return found


def _room_error(plan, rng):
    """Measured over predicted reverberation time of a gym without a fault (7,): half the variance
    is common to all octaves, as in the diagnosis.
    """
    spread = predicted_spread(plan.scenario)
    return np.exp(spread * np.sqrt(0.5) * (rng.normal() + rng.normal(size=7)))


def _levels_with(plan, readings, conditions, fault, longer):
    """Levels (8,) by the key of a reading; the room's own sound grows as it rings longer."""
    more_db = 10 * np.log10(np.broadcast_to(longer, 7))
    found = {}
    for kind, gathered in (("level", levels_of_uses), ("alone", levels_of_loudspeakers)):
        mine = [r for r in readings if r.kind.key == kind]
        for one in gathered(plan, mine, conditions):
            keys = [r.key for r in mine if r.use == one.use]
            # the room's share is as much more in every octave as it rings longer there
            room = 10 * np.log10(1 + (10 ** (more_db / 10) - 1) * one.late / one.designed)
            by = changes(one, fault.levels)
            by[:, BANDS] += room
            found |= dict(zip(keys, one.expected + by, strict=True))
    return found


def _arrival(reading, conditions, fault):
    """Time between two groups or channels, one of which may be late."""
    result, at = conditions.results[reading.use], reading.position.index
    own = reading.playing or reading.subject
    lead = reading.against or conditions.leads[reading.use]
    times = [arrival_ms(result, which, at, fault.late_ms) for which in (own, lead)]
    value = np.full(8, np.nan)
    value[SINGLE] = times[0] - times[1]
    return value
