"""How many variations of a school with five uses and eight loudspeakers two processes evaluate in a
minute.
"""

import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import gymtools

SCENARIO = gymtools.load(Path(__file__).resolve().parents[2] / "scenarios" / "larkfield.toml")
TILTS = {f"{t}": {("groups", n, "downtilt_deg"): 20.0 + t / 4 for n in (0, 1)} for t in range(60)}
WALLS = {f: {("hall", "walls"): f} for f in ("painted block", "wall panels", "gypsum")}

if __name__ == "__main__":
    axes = {"tilt": TILTS, "walls": WALLS}
    rate = {}
    for workers in (0, 2):
        start = time.perf_counter()
        if workers:
            with ProcessPoolExecutor(workers) as pool:
                rows = gymtools.sweep(SCENARIO, axes, executor=pool)
        else:
            rows = gymtools.sweep(SCENARIO, axes)
        took = time.perf_counter() - start
        rate[workers] = len(rows) / took * 60
        print(
            f"{workers or 'no'} other processes: {len(rows)} variations of {len(SCENARIO.uses)}"
            f" uses in {took:.1f} s, {rate[workers]:.0f} a minute; 2,000 would take"
            f" {2000 / rate[workers]:.1f} min"
        )
    print(f"ratio {rate[2] / rate[0]:.2f}")
