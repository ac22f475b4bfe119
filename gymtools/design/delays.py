"""Delays set so that a chosen lead, the talker or a group of loudspeakers, is heard first."""

from dataclasses import replace

import numpy as np

from ..acoustics.arrivals import talker_position
from ..acoustics.evaluate import evaluate
from ..physics import bands
from ..venue.arguments import FROM_LOAD, choices, kind_of, names_of, number
from ..venue.scenario import Scenario
from ..venue.texts import shown

SERVED = 90  # percentile of the seats that a group serves, at which the lead is kept [%]


def aligned(scenario, use=None, *, lead="talker", lead_s=0.010, groups=None):
    """The scenario with delays set so that a chosen lead is heard first.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str, optional
        Name of a use; the first when left out
    lead : str
        "talker", or the name of a group whose own delay stays as it is
    lead_s : float
        By how much the lead comes first at 9 of 10 of the seats that a group serves [s]
    groups : sequence of str, optional
        Groups to set; all that play but the lead when left out

    Returns
    -------
    scenario : Scenario
        Delays changed in that use alone, in steps of 1 ms; a group that would have to come earlier
        gets none

    Raises
    ------
    ValueError
        No scenario; an unknown use, lead or group; a use without a talker; a lead outside 0 to
        0.2 s
    """
    kind_of("scenario", scenario, Scenario, FROM_LOAD)
    lead_s = number("lead_s", lead_s, 0, 0.2, "s", "Milliseconds given by mistake?")
    result = evaluate(scenario, use, rays="few")  # for who serves which seats
    owner = np.array([c.group for c in scenario.loudspeakers], object)  # plain texts
    groups = names_of("groups", () if groups is None else groups, dict.fromkeys(owner))
    reference = _arrival_of(lead, result, owner)
    served = _served(result, owner)
    settings = dict(result.use.groups)
    for name in groups or dict.fromkeys(owner[result.playing]):
        if name == lead:
            continue
        seats = served(name)
        own = (result.distance[owner == name][:, seats] / result.sources.speed).min(axis=0)
        delay = max(0.0, float(np.percentile(reference[seats] - own, SERVED)) + lead_s)
        settings[name] = replace(
            result.use.group_setting(name), delay_ms=float(np.ceil(delay * 1000))
        )
    uses = tuple(
        replace(u, groups=settings) if u.name == result.use.name else u for u in scenario.uses
    )
    return replace(scenario, uses=uses)


def _arrival_of(lead, result, owner):
    """When the lead arrives at every point (point,) [s]."""
    if isinstance(lead, str) and lead == "talker":
        talker = talker_position(result.scenario, result.use, result.configuration)
        if talker is None:
            raise ValueError(
                f"use '{result.use.name}' has no talker: no open microphone and no stage to speak"
                " from."
            )
        return np.linalg.norm(result.points - talker, axis=1) / result.sources.speed
    if not isinstance(lead, str) or lead not in owner[result.playing]:
        raise ValueError(
            f"lead = {shown(lead)} is neither 'talker' nor a group that plays. Known:"
            f" {choices(sorted(set(owner[result.playing])))}."
        )
    return result.arrival_s[owner == lead].min(axis=0)


def _served(result, owner):
    """A function that gives the seats where a group is the strongest; all listening seats for a
    group that is the strongest nowhere.
    """
    listening = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    energy = result.direct[:, listening][..., bands.SPEECH].sum(axis=-1)
    strongest = owner[energy.argmax(axis=0)]

    def seats(group):
        found = listening[strongest == group]
        return found if len(found) else listening

    return seats
