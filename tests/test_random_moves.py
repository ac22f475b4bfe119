"""Random moves over every control of the panel, with work under way and interrupted: nothing is
raised, the controls, the scenario and the picture stay one, and what the page holds stays bounded.
``random_moves.py`` makes more of them by hand.
"""

import pytest
from cases import usual
from random_moves import Moves
from schools import FOLDER, SCENARIOS

from gymtools.venue.files import load

LONG = {"dovecote": 0.5}  # share of the minutes-long work that is begun: in the smallest school


def made(name, folder, *, seed, count):
    """Moves on a school read anew: what others have traced of it would shorten the work."""
    folder.mkdir(exist_ok=True)
    school = load(FOLDER / f"{name}.toml")
    return Moves(school, folder, seed=seed, long=LONG.get(name, 0.0)).run(count)


@pytest.mark.parametrize("name", usual(SCENARIOS, "dovecote", "larkfield"))
def test_random_moves(name, tmp_path):
    """Invariance: 26 moves, drawn with a seed, leave the panel whole after each of them; hundreds
    are made by hand.
    """
    moves = made(name, tmp_path, seed=15, count=26)
    assert moves.made == 26 and sum(moves.counts.values()) > 15, moves.counts


def test_the_same_seed_makes_the_same_moves(tmp_path):
    """Invariance: threads and clocks leave no mark: two runs are alike to the last word."""
    runs = [made("dovecote", tmp_path / one, seed=3, count=20) for one in "ab"]
    assert runs[0].log == runs[1].log and runs[0].log
    states = [run.panel.state for run in runs]
    assert states[0].changes == states[1].changes and states[0].use == states[1].use
    assert states[0].treatments == states[1].treatments
