"""How long the traced room takes where people wait for it: medians.

Run: .venv/bin/python tests/benchmarks/targets.py [rounds]
"""

import statistics
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import gymtools
from gymtools.acoustics.warm_up import warm_up
from gymtools.design.decision import decide

SCHOOL = Path(__file__).parents[2] / "scenarios" / "larkfield.toml"
VARIATIONS = 2000
MEASURED, WARM = 120, 20  # variations of the sweep; the first of them start the processes


def school():
    """The demo school, of which nothing is remembered."""
    return gymtools.load(SCHOOL)


TARGETS = {
    "all uses, all rays [1 s]": lambda: gymtools.evaluate_all(school()),
    "a better aim [10 s]": lambda: gymtools.aim(school()),
    "advice for one use [5 s]": lambda: gymtools.advise(school(), "game"),
    "200 draws of the unknowns [10 s]": lambda: gymtools.how_sure(school(), "assembly"),
    "decision record [15 s]": lambda: decide({"as it is": school()}),
}


def swept():
    """What all variations would take, the best of them with all rays among them [s]."""
    s, marks = school(), {}
    heights = {
        f"{n}": {("groups", g.name, "height"): g.height - 0.01 * n for g in s.groups}
        for n in range(MEASURED)
    }
    begin = time.perf_counter()

    def note(done, _):
        marks[done] = time.perf_counter() - begin

    with ProcessPoolExecutor(2) as pool:
        gymtools.sweep(s, {"height": heights}, executor=pool, progress=note)
    return marks[max(marks)] + (VARIATIONS - MEASURED) * (marks[MEASURED] - marks[WARM]) / (
        MEASURED - WARM
    )


def seconds(work, rounds):
    """Median of some rounds [s]."""
    found = []
    for _ in range(rounds):
        begin = time.perf_counter()
        work()
        found.append(time.perf_counter() - begin)
    return statistics.median(found)


def main():
    """Print a line for each of the things that people wait for."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    warm_up()
    for words, work in TARGETS.items():
        print(f"{words}: {seconds(work, rounds):.1f} s", flush=True)
    print(f"{VARIATIONS} variations in two processes [300 s]: {swept():.0f} s")


if __name__ == "__main__":
    main()
