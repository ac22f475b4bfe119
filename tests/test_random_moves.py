"""Random moves over every control of the panel, with work under way and interrupted: nothing is
raised, the controls, the scenario and the picture stay one, and what the page holds stays bounded.
``random_moves.py`` makes more of them by hand.
"""

import pytest
from random_moves import Moves
from schools import SCENARIOS

LONG = {"dovecote": 0.5}  # share of the minutes-long work that is begun: in the smallest school


@pytest.mark.parametrize("name", SCENARIOS)
def test_random_moves(name, tmp_path):
    """Invariance: a hundred moves, drawn with a seed, leave the panel whole after each of them."""
    moves = Moves(SCENARIOS[name], tmp_path, seed=15, long=LONG.get(name, 0.0)).run(100)
    assert moves.made == 100 and sum(moves.counts.values()) > 40, moves.counts


def test_the_same_seed_makes_the_same_moves(tmp_path):
    """Invariance: threads and clocks leave no mark: two runs are alike to the last word."""
    runs = [Moves(SCENARIOS["dovecote"], tmp_path, seed=3, long=0.0).run(30) for _ in range(2)]
    assert runs[0].log == runs[1].log and runs[0].log
    states = [run.panel.state for run in runs]
    assert states[0].same_design(states[1]) and states[0].use == states[1].use
