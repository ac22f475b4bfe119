"""The short form of a test plan: the readings that say most, in about two hours."""

from itertools import zip_longest

import numpy as np

MOST_READINGS = 39
MOST_MINUTES = 120.0
DECAYS = (
    2  # one source, two microphones: the survey method of ISO 3382-2:2008, table 1 (from memory)
)
# readings of a use that are worth most, then those that make the picture fuller
FIRST, LATER = 1, 3


def shortened(readings, results, minutes_of):
    """Some readings of a full plan, in its order.

    Parameters
    ----------
    readings : sequence of Reading
        All of the full plan
    results : dict
        Evaluations of the uses, by name
    minutes_of : callable
        From readings to their time on site

    Returns
    -------
    readings : list of Reading
        Fewer than 40, in two hours at most: those that say most first, as long as there is room
    """
    chosen = []
    for reading in _by_worth(readings, results):
        trial = [*chosen, reading]
        if len(trial) <= MOST_READINGS and minutes_of(trial) <= MOST_MINUTES:
            chosen = trial
    keys = {r.key for r in chosen}
    return [r for r in readings if r.key in keys]


def _by_worth(readings, results):
    """Readings, those that say most first."""
    of = {}
    for r in readings:
        of.setdefault(r.kind.key, []).append(r)
    uses = sorted(results, key=lambda name: _least_sti(results[name]))
    at_seats = [_at_seats(of, name, results[name]) for name in uses]
    feedback = [_feedback(of, name, results[name]) for name in uses]
    arrivals = of.get("arrival", [])
    seen, ordered = set(), []
    for r in (
        *of.get("ambient", []),
        *_two_decays(of.get("reverberation", [])),
        *(r for _, r in _first_of_channels(of.get("alone", []))),
        *(r for first, _ in at_seats for r in first),
        *(r for own in feedback for r in own[:FIRST]),
        *of.get("polarity", []),
        *of.get("alone", []),
        *(r for r in arrivals if not r.playing),
        *of.get("maximum level", [])[:FIRST],
        *(r for _, later in at_seats for r in later),
        *(r for own in feedback for r in own[FIRST:]),
        *(r for r in arrivals if r.playing),
        *_in_turn([[r for r in of.get("level", []) if r.use == name] for name in uses]),
    ):
        if r.key not in seen:
            seen.add(r.key)
            ordered.append(r)
    return ordered


def _in_turn(lots):
    """One of each lot, then the next of each."""
    return [r for some in zip_longest(*lots) for r in some if r is not None]


def _two_decays(decays):
    """The first source, at its first microphones."""
    return [r for r in decays if r.subject == decays[0].subject][:DECAYS]


def _first_of_channels(alone):
    """The first loudspeaker of every channel."""
    return {r.playing: (r.playing, r) for r in reversed(alone)}.values()


def _least_sti(result):
    """The lowest STI where people listen."""
    return min(float(a.sti_p10) for a in result.areas)


def _at_seats(of, use, result):
    """STI and level where the STI is lowest, then at the other positions of the STI."""
    stis = [r for r in of.get("sti", []) if r.use == use]
    stis.sort(key=lambda r: float(result.sti[r.position.index]))
    levels = {r.position.tag: r for r in of.get("level", []) if r.use == use}
    pairs = [[r, levels[r.position.tag]] for r in stis]
    first = [r for pair in pairs[:FIRST] for r in pair]
    spread = [pairs[k] for k in sorted({len(pairs) // 2, len(pairs) - 1} - {0})][: LATER - FIRST]
    return first, [pair[1] for pair in spread] + [pair[0] for pair in spread]


def _feedback(of, use, result):
    """Feedback margins of a use, the smallest predicted first."""
    margin = {m.microphone.name: float(np.min(m.margin_db)) for m in result.microphones}
    own = [r for r in of.get("feedback margin", []) if r.use == use]
    return sorted(own, key=lambda r: margin[r.subject])
