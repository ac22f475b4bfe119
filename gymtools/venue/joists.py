"""Rows of loudspeakers under the joists of the roof."""

import numpy as np

# from a joist's middle, within which a loudspeaker hangs under it [m]    judgment, no source
UNDER = 0.05


def joist_warnings(scenario):
    """Rows of which some loudspeakers do not hang under a joist, where joists are known.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    warnings : list of str
        Which row, how many hang under a joist, and what spacing would bring all there
    """
    hall = scenario.hall
    if hall.joist_spacing is None:
        return []
    said, say = [], scenario.say
    for group in scenario.groups:
        at = np.array([c.position[hall.across_joists] for c in scenario.in_group(group.name)])
        off = np.abs(at[:, None] - hall.joists).min(axis=1, initial=np.inf)
        under, step = int((off <= UNDER).sum()), _step(at)
        if under == len(at) or step < UNDER:
            continue
        off_step = abs(step - round(step / hall.joist_spacing) * hall.joist_spacing)
        if off_step <= UNDER:
            continue
        fewer = int(step / hall.joist_spacing)
        whole = " or ".join(say(n * hall.joist_spacing) for n in (fewer, fewer + 1) if n)
        said.append(
            f"'{group.name}': {under or 'none'} of its {len(at)} loudspeakers"
            f" {'hang' if under > 1 else 'hangs'} under a joist: across the joists they are"
            f" {say(step)} apart, and joists follow every {say(hall.joist_spacing)}. With"
            f" {whole} all could; else steel between joists carries them."
        )
    return said


def _step(at):
    """How far apart the loudspeakers of a row are along an axis [m]."""
    return float(abs(at[1] - at[0])) if len(at) > 1 else 0.0
