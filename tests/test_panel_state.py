"""The state of the panel, one value that never changes, and its history."""

from dataclasses import FrozenInstanceError, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import gymtools
from gymtools.display.panel.state import History, PanelState

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
DOVECOTE = gymtools.load(SCENARIOS / "dovecote.toml")
OPENED = PanelState.of(DOVECOTE)
TILT = ("groups", "wall pair", "downtilt_deg")


def tilted(value):
    return OPENED.update(changes={TILT: value})


def test_an_opened_state_is_the_scenario():
    """Behavior: nothing changed gives the scenario of the file; its first use and group are looked
    at.
    """
    assert OPENED.scenario == DOVECOTE and OPENED.value(TILT) == 30
    assert (OPENED.use, OPENED.group, OPENED.units) == ("game", "wall pair", "m")


def test_update_returns_another_state():
    """Invariance: a state never changes; an update of it leaves it as it was."""
    other = tilted(50.0)
    assert other.scenario.groups[0].downtilt_deg == 50 and OPENED.scenario == DOVECOTE
    with pytest.raises(FrozenInstanceError, match="cannot assign"):
        OPENED.units = "ft"


@pytest.mark.parametrize(
    "new, said",
    [
        (dict(color="red"), "'color' is nothing of the panel"),
        (dict(use="regatta"), "use 'regatta' is unknown. Known: game, class"),
        (dict(group="roof row"), "group 'roof row' is unknown. Known: wall pair, floor pair"),
        (dict(quantity="smell"), "quantity 'smell' is unknown"),
        (dict(units="yd"), "units 'yd' is unknown. Known: m, ft"),
        (dict(changes={("groups", "roof row", "x"): 0.0}), "'roof row' is unknown"),
    ],
)
def test_what_is_unknown_is_refused(new, said):
    """Behavior: a name that is nowhere is refused in one line that says what is known."""
    with pytest.raises(ValueError, match=said):
        OPENED.update(**new)


def test_a_combination_that_cannot_be_is_a_state_all_the_same():
    """Behavior: values that only fit together may pass through a combination that cannot be."""
    high = OPENED.update(changes={("hall", "clear_height"): 9.0})
    with pytest.raises(ValueError, match="above the roof"):
        high.scenario  # noqa: B018  made when it is asked for
    assert high.design is None
    both = high.update(changes={("hall", "height"): 10.0})
    assert both.scenario.hall.clear_height == 9.0


def test_another_start_drops_the_changes_and_keeps_what_is_looked_at():
    """Behavior: an option with other groups and uses is shown with its own; units and quantity
    stay.
    """
    uses = tuple(replace(use, groups={}) for use in DOVECOTE.uses[1:])
    other = replace(DOVECOTE, uses=uses, groups=DOVECOTE.groups[1:])
    state = tilted(50.0).update(units="ft", seat=7).update(start=other)
    assert state.scenario == replace(other, units="ft")
    assert (state.use, state.group, state.units, state.seat) == ("class", "floor pair", "ft", None)


def test_treatment_starts_from_an_empty_entry_for_every_surface():
    """Behavior: area 0 treats nothing; an area is part of the scenario."""
    assert OPENED.scenario.treatments == DOVECOTE.treatments
    surfaces = [t.surface for t in OPENED.treatments]
    n = surfaces.index("north wall")
    treatments = list(OPENED.treatments)
    treatments[n] = replace(treatments[n], area=40.0)
    state = OPENED.update(treatments=tuple(treatments))
    assert state.scenario.treatments == (*DOVECOTE.treatments, treatments[n])


def test_undo_and_redo_walk_over_every_kind_of_step():
    """Behavior: values, use, units, quantity, treatment and another start: each is one step back
    and one step forward again.
    """
    history, states = History(OPENED), [OPENED]
    updates = [
        dict(changes={TILT: 50.0}),
        dict(use="class"),
        dict(units="ft"),
        dict(quantity="sti"),
        dict(start=replace(DOVECOTE, name="another")),
    ]
    for new in updates:
        states.append(states[-1].update(**new))
        history.add(states[-1])
    for state in reversed(states[:-1]):
        history.undo()
        assert history.present == state
    assert not history.can_undo and history.can_redo
    history.undo()
    assert history.present == OPENED
    for state in states[1:]:
        history.redo()
        assert history.present == state
    assert not history.can_redo
    history.undo()
    history.add(OPENED.update(use="assembly"))
    assert not history.can_redo, "a new step ends what could be redone"


def test_a_drag_is_one_step():
    """Behavior: the same value changed in a row is one step, until the slider stops."""
    history = History(OPENED)
    for value in (31.0, 32.0, 33.0):
        history.add(tilted(value), TILT)
    history.close()
    history.add(tilted(40.0), TILT)
    history.undo()
    assert history.present.value(TILT) == 33
    history.undo()
    assert history.present == OPENED


def test_what_is_only_looked_at_is_no_step():
    """Behavior: a tab, a seat or the folded code is no step, and an undo leaves the tab open."""
    history = History(OPENED)
    history.add(OPENED.update(tab="options", seat=3, folded=False))
    assert not history.can_undo and history.present.tab == "options"
    history.add(history.present.update(changes={TILT: 50.0}))
    history.add(history.present.update(tab="uncertainty"))
    history.undo()
    assert history.present.tab == "uncertainty" and history.present.value(TILT) == 30
    history.redo()
    assert history.present.tab == "uncertainty" and history.present.value(TILT) == 50


def test_a_seat_belongs_to_its_use():
    """Behavior: an undo that changes the use forgets the seat, which is a number of that use."""
    history = History(OPENED)
    history.add(OPENED.update(use="class"))
    history.add(history.present.update(seat=5))
    history.undo()
    assert history.present.seat is None


@given(st.lists(st.sampled_from(["step", "undo", "redo"]), max_size=40))
def test_history_is_bounded_and_never_lost(moves):
    """Invariance: any walk stays on states that were added, at most so many of them."""
    history, added = History(OPENED, most=5), [OPENED]
    for move in moves:
        if move == "step":
            added.append(tilted(float(len(added))))
            history.add(added[-1])
        elif move == "undo":
            history.undo()
        else:
            history.redo()
        assert history.present in added
    back = 0
    while history.can_undo:
        history.undo()
        back += 1
    assert back <= 5


def test_the_same_design_looked_at_otherwise():
    """Behavior: units, use and quantity are no part of the design; any value of it is."""
    seen = tilted(50.0).update(units="ft", use="class", quantity="sti")
    assert seen.same_design(tilted(50.0)) and not seen.same_design(OPENED)
    assert seen.with_design_of(OPENED).same_design(OPENED)
    assert seen.with_design_of(OPENED).use == "class"
