"""Acoustic treatment added to what a gym has: where there is room for it, and how it is spread."""

from dataclasses import replace

from ..venue.hall import TREATABLE, Treatment
from ..venue.units import area_text


def treated(scenario, area, finish="wall panels"):
    """The scenario with more of its roof and walls treated, spread over what is free of each.

    Parameters
    ----------
    scenario : Scenario
        The design
    area : float
        To be added [m2]
    finish : str
        Finish of what is added

    Returns
    -------
    scenario : Scenario
        With new treatments, or with larger ones where the same finish is planned already

    Raises
    ------
    ValueError
        Less is free than asked for, or the finish is unknown
    """
    free = free_areas(scenario)
    whole = sum(free.values())
    if area > whole:
        raise ValueError(
            f"only {area_text(whole, scenario.units)} of roof and walls are free of treatment. Ask"
            " for less."
        )
    kept = list(scenario.treatments)
    for surface in (s for s in free if free[s] > 0):
        more = Treatment(surface=surface, area=area * free[surface] / whole, finish=finish)
        same = next(
            (t for t in kept if (t.surface, t.finish, t.existing) == (surface, finish, False)), None
        )
        if same:
            kept[kept.index(same)] = replace(same, area=same.area + more.area)
        else:
            kept.append(more)
    return replace(scenario, treatments=tuple(kept))


def free_areas(scenario):
    """Area of the roof and of each wall that is not treated, of a wall above the balls.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    areas : dict
        By surface [m2]
    """
    room, balls = scenario.room, scenario.hall.ball_height
    free = {}
    for part in TREATABLE:
        own = [t for t in scenario.treatments if t.surface == part]
        taken, new = sum(t.area for t in own), sum(t.area for t in own if not t.existing)
        above = room.area_of(part, 0.0 if part == "roof" else balls)
        free[part] = max(min(room.area_of(part) - taken, above - new), 0.0)
    return free
