"""Prints how many seeded faults the short and the full plan find, miss and take for others, for
Dovecote's game and graduation and for Larkfield (8 loudspeakers): python tests/seeded_faults.py
[DRAWS [SEED]]. Takes minutes; CI runs a few gyms of Dovecote in test_plan_forms.

Readings err as ``ReadingKind.spread`` says: decays by ISO 3382-2:2008, 7.1 (from memory), levels
and STI by repeats that meet NT ACOU 108:2001 (from memory) and by what a prediction at one seat
errs. The prediction is by formula, so that nothing hangs on the chance of rays.
"""

import sys
from pathlib import Path

from finished_hall import predicted

from gymtools.commissioning.plan import FORMS, plan
from gymtools.commissioning.trials import trials
from gymtools.venue.files import load

SCENARIOS = Path(__file__).parents[1] / "scenarios"
SCHOOLS = {"dovecote": ["game", "graduation"], "larkfield": None}
LINE = "{:10} {:6} {:42} {:>6} {:>6} {:>6} {:>15}"


def main(draws=5, seed=1):
    """Print the table."""
    print(LINE.format("school", "form", "fault", "tried", "found", "missed", "something else"))
    for name, uses in SCHOOLS.items():
        for form in FORMS:
            made = plan(load(SCENARIOS / f"{name}.toml"), uses, form=form)
            for t in trials(made, predicted(made), draws=draws, without=20 * draws, seed=seed):
                row = (name, form, t.fault, t.tried, t.found, t.missed, t.other)
                print(LINE.format(*row), flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
