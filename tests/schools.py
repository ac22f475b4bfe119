"""The invented schools, read once for all tests of a process, all of their uses, and what is heard
in them.
"""

from functools import cache
from pathlib import Path

from gymtools.acoustics.evaluate import evaluate
from gymtools.venue.files import load

FOLDER = Path(__file__).resolve().parents[1] / "scenarios"
SCENARIOS = {p.stem: load(p) for p in sorted(FOLDER.glob("*.toml"))}
CASES = [(name, use.name) for name, s in SCENARIOS.items() for use in s.uses]
ROOMS = ("statistical", "traced")


@cache
def heard(name, use, room="traced", rays="few"):
    """A school in one use, evaluated once; with few rays, for most tests ask for no figure."""
    return evaluate(SCENARIOS[name], use, room=room, rays=rays)
