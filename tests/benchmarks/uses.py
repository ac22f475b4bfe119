"""Five uses of an eight-loudspeaker scenario, and the walking map of 3,000 places.

Run from the repository: .venv/bin/python tests/benchmarks/uses.py
"""

from pathlib import Path

import numpy as np
from evaluate import table, timed, timing

import gymtools
from gymtools.acoustics.criteria import judge
from gymtools.acoustics.feedback import feedback_margin, walking_map
from gymtools.venue.microphones import Microphone
from gymtools.venue.scenario import changed

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"


def plain(result, m):
    """The walking map written as a loop over facings and sources, in float64."""
    from gymtools.acoustics.feedback import FACINGS

    pattern, up = np.array(m.microphone.kind.pattern), np.radians(m.microphone.kind.up_deg)
    direct, distance = result.sources.direct(m.positions, result.configuration.room.screens)
    toward = (result.sources.position[:, None] - m.positions) / distance[..., None].astype(float)
    worst = 0.0
    for facing in np.radians(FACINGS):
        axis = np.array([-np.cos(facing) * np.cos(up), -np.sin(facing) * np.cos(up), np.sin(up)])
        total = np.zeros((len(m.positions), 7))
        for s in range(len(toward)):
            cosine = np.einsum("...i,...i->...", axis, toward[s])[..., None]
            total += direct[s] * (pattern + (1 - pattern) * cosine) ** 2
        worst = np.maximum(worst, total)
    return worst


def main():
    """Print the table."""
    scenario = gymtools.load(SCENARIOS / "larkfield.toml")
    gymtools.evaluate_all(scenario)  # traced once

    def judged():
        return [judge(r) for r in gymtools.evaluate_all(scenario).results.values()]

    print(f"{len(scenario.loudspeakers)} loudspeakers, {len(scenario.uses)} uses, traced before")
    table(
        {
            "all uses, all verdicts": timing(judged),
            "one use, without echoes": timing(
                lambda: judge(gymtools.evaluate(scenario), echoes=False)
            ),
        },
        runs=7,
    )
    wide = changed(
        scenario, {("hall", "length"): 42.0, ("groups", 0, "y"): 6.5, ("groups", 1, "y"): -6.5}
    )
    result = gymtools.evaluate(wide, "class")
    floor = walking_map(result)[0]
    walker = Microphone(name="walker", type="hand-held wireless", walks="floor")
    ours, quick = timed(lambda: feedback_margin(result, walker), 30)
    loop, _ = timed(lambda: plain(result, floor), 5)
    print(
        f"walking map, {len(floor.positions)} positions, 12 ways of facing: {ours:.1f} ms median,"
        f" {quick:.1f} ms least; as a loop {loop:.0f} ms, ratio {loop / ours:.0f}"
    )


if __name__ == "__main__":
    main()
