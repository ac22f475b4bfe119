"""The invented schools, read once for all tests of a process, and all of their uses."""

from pathlib import Path

from gymtools.venue.files import load

FOLDER = Path(__file__).resolve().parents[1] / "scenarios"
SCENARIOS = {p.stem: load(p) for p in sorted(FOLDER.glob("*.toml"))}
CASES = [(name, use.name) for name, s in SCENARIOS.items() for use in s.uses]
