"""Dragging a loudspeaker: what changes, mirror twins, the grid, aim points, limits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schools import CASES, SCENARIOS

from gymtools.design.adjustments import mirrors_of
from gymtools.design.dragging import (
    GRID,
    OUTSIDE,
    TOO_NEAR,
    Handle,
    dragged,
    handles,
    has_aim,
    landings,
    place_of,
    step,
    surface_under,
    twins,
)
from gymtools.venue.paths import changed, value_at
from gymtools.venue.units import FOOT

LARKFIELD = SCENARIOS["larkfield"]
NORTH = Handle(kind="position", group="north row")
NORTH_AIM = Handle(kind="aim", group="north row", member=1)
NORTH_HEIGHT = Handle(kind="height", group="north row")


def path(group, key):
    return ("groups", group, key)


def test_a_handle_is_read_back_from_its_text():
    """Closed form: names with spaces survive."""
    assert Handle.of(NORTH_AIM.key) == NORTH_AIM


@pytest.mark.parametrize("key", ["", "aim", "aim 0", "turn 0 north row", "aim x north row"])
def test_a_text_that_names_no_handle_is_refused(key):
    """Behavior: whatever a page sends, it is a handle or a line."""
    with pytest.raises(ValueError, match="is no handle"):
        Handle.of(key)


def test_an_unknown_row_is_refused():
    """Behavior: the refusal lists the rows."""
    with pytest.raises(ValueError, match="row 'west row' is unknown. Known: north row"):
        dragged(LARKFIELD, Handle(kind="position", group="west row"), (0, 0))


def test_a_place_that_is_none_is_refused():
    """Behavior: nothing that is not a number reaches the scenario."""
    with pytest.raises(ValueError, match="to = nan m is outside"):
        dragged(LARKFIELD, NORTH, (float("nan"), 0))


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_row_has_its_handles(name):
    """Behavior: position and height of every row, an aim where turning it makes a difference."""
    scenario = SCENARIOS[name]
    for group in scenario.groups:
        kinds = {h.kind for h in handles(scenario) if h.group == group.name}
        assert kinds - {"aim"} == {"position", "height"}
        assert ("aim" in kinds) == has_aim(scenario, group.name)


def test_a_pendant_that_looks_straight_down_has_no_aim():
    """Behavior: a pendant straight down has none, one with an oblong pattern has."""
    pendants = changed(LARKFIELD, {path("court pair", "loudspeaker"): "pendant 100"})
    assert has_aim(LARKFIELD, "court pair")
    assert not has_aim(pendants, "court pair")
    four_sided = changed(LARKFIELD, {path("court pair", "loudspeaker"): "four-sided 90x50"})
    assert not has_aim(four_sided, "court pair")


def test_mirror_twins_are_found_with_their_signs():
    """Worked by hand: the south row is the north row mirrored across the long axis."""
    assert twins(LARKFIELD, "north row") == {"north row": (1, 1), "south row": (1, -1)}
    assert twins(LARKFIELD, "court pair") == {"court pair": (1, 1)}


def test_the_mirror_twin_moves_along():
    """Worked by hand: 2 ft east and 1 ft north, the twin 2 ft east and 1 ft south."""
    changes, reason = dragged(LARKFIELD, NORTH, (2 * FOOT, 20 * FOOT))
    assert reason == ""
    wanted = {
        path("north row", "x"): 2 * FOOT,
        path("north row", "y"): 20 * FOOT,
        path("south row", "x"): 2 * FOOT,
        path("south row", "y"): -20 * FOOT,
    }
    assert changes == pytest.approx(wanted)
    assert 1 in mirrors_of(changed(LARKFIELD, changes))


def test_a_row_without_a_twin_moves_alone():
    """Behavior: a twin that was turned another way is none any more."""
    alone = changed(LARKFIELD, {path("south row", "downtilt_deg"): 40.0})
    changes, _ = dragged(alone, NORTH, (1.0, 6.0))
    assert {p[1] for p in changes} == {"north row"}


@given(x=st.floats(-6, 6), y=st.floats(1, 9), units=st.sampled_from(["m", "ft"]))
@settings(max_examples=30)
def test_positions_snap_to_the_grid(x, y, units):
    """Invariance: what has moved stands on the grid of the units that are looked at."""
    scenario = changed(LARKFIELD, {("units",): units})
    changes, _ = dragged(scenario, NORTH, (x, y))
    for key in "xy":
        value, before = changes[path("north row", key)], value_at(scenario, path("north row", key))
        steps = value / GRID[units]
        assert value == before or steps == pytest.approx(round(steps), abs=1e-6)
        assert abs(value - {"x": x, "y": y}[key]) <= GRID[units] / 2 + 1e-9


def test_a_coordinate_that_hardly_moves_stays():
    """Behavior: a drag to the east does not put the row on another y of the grid."""
    scenario = changed(LARKFIELD, {("units",): "m"})
    changes, _ = dragged(scenario, NORTH, (2.0, 19 * FOOT + 0.03))
    assert changes[path("north row", "y")] == value_at(scenario, path("north row", "y"))


@pytest.mark.parametrize("name, use", CASES)
def test_an_axis_lands_where_it_is_dragged_to(name, use):
    """Closed form: through floor, seats or stage, within 5 cm, for every row of every school."""
    scenario = SCENARIOS[name]
    hall = scenario.hall
    for handle in (h for h in handles(scenario) if h.kind == "aim"):
        c = scenario.in_group(handle.group)[handle.member]
        for x, y in ((c.x + 3.0, c.y * 0.6), (c.x - 2.0, c.y + np.sign(c.y or 1) * 4.0)):
            to = np.clip(
                [x, y],
                [-0.4 * hall.length, -0.4 * hall.width],
                [0.4 * hall.length, 0.4 * hall.width],
            )
            changes, reason = dragged(scenario, handle, to, use)
            if reason:
                continue
            lands = place_of(changed(scenario, changes), handle, use)
            on = surface_under(scenario, use, *to)
            # an axis that meets something on its way lands there: on its line, not beyond
            way, whole = lands - c.position, on - c.position
            off = np.linalg.norm(np.cross(way, whole)) / np.linalg.norm(whole)
            assert off < 0.05
            if np.linalg.norm(way) > np.linalg.norm(whole) - 0.3:
                assert np.hypot(*(lands - on)[:2]) < 0.05


def test_an_aim_on_the_bank_turns_both_rows():
    """Closed form: the twin's axis lands at the mirrored place."""
    to = np.array([4.0, 11.0])
    changes, _ = dragged(LARKFIELD, NORTH_AIM, to, "game")
    moved = changed(LARKFIELD, changes)
    north, south = (
        landings(moved, "game", moved.in_group(g))[1] for g in ("north row", "south row")
    )
    assert north[:2] == pytest.approx(to, abs=0.05)
    assert south == pytest.approx(north * [1, -1, 1], abs=1e-3)


def test_an_aim_in_space_is_passed_through():
    """Closed form: the axis passes through a point in the air, as a section gives it."""
    point = np.array([0.0, 10.0, 4.0])
    changes, _ = dragged(LARKFIELD, NORTH_AIM, point, "game")
    moved = changed(LARKFIELD, changes)
    c = moved.in_group("north row")[1]
    end = landings(moved, "game", [c])[0]
    ray, to = (end - c.position) / np.linalg.norm(end - c.position), point - c.position
    assert np.linalg.norm(to - ray * (to @ ray)) < 0.02


def test_one_that_is_fanned_out_aims_for_the_row():
    """Closed form: the member that is dragged lands there; the row's pan takes its splay out."""
    fanned = changed(LARKFIELD, {path("north row", "splay_deg"): -10.0})
    handle = replace(NORTH_AIM, member=2)
    changes, _ = dragged(fanned, handle, (9.0, 11.0), "game")
    moved = changed(fanned, changes)
    assert place_of(moved, handle, "game")[:2] == pytest.approx((9.0, 11.0), abs=0.05)
    outer = moved.in_group("north row")[2].pan_deg
    assert value_at(moved, path("north row", "pan_deg")) - outer == pytest.approx(10.0)


def test_an_aim_behind_the_loudspeaker_turns_it_round():
    """Worked by hand: from the north bank to the south end of the court, straight behind."""
    changes, _ = dragged(LARKFIELD, NORTH_AIM, (0.0, -3.0), "game")
    assert changes[path("north row", "pan_deg")] == pytest.approx(-90.0)
    assert changes[path("south row", "pan_deg")] == pytest.approx(90.0)


def test_a_mirrored_pan_is_right_when_the_twin_looked_straight_down():
    """Worked by hand: straight down any pan is a mirror image; once tilted only one is."""
    down = {path(g, "downtilt_deg"): 90.0 for g in ("north row", "south row")}
    down[path("south row", "pan_deg")] = 90.0
    changes, _ = dragged(changed(LARKFIELD, down), NORTH_AIM, (0.0, 10.0), "game")
    assert changes[path("north row", "pan_deg")] == pytest.approx(90.0)
    assert changes[path("south row", "pan_deg")] == pytest.approx(-90.0)


def test_the_height_stops_under_the_joists():
    """Behavior: a pull to the roof stops at the clear height and says why."""
    changes, reason = dragged(LARKFIELD, NORTH_HEIGHT, (12.0,))
    assert changes[path("north row", "height")] == pytest.approx(26 * FOOT)
    assert changes[path("south row", "height")] == pytest.approx(26 * FOOT)
    assert "above the clear height under the joists" in reason and "\n" not in reason


def test_the_height_stops_over_the_floor():
    """Behavior: no lower than a loudspeaker may hang."""
    changes, reason = dragged(LARKFIELD, NORTH_HEIGHT, (0.5,))
    assert changes[path("north row", "height")] == pytest.approx(7.25 * FOOT)
    assert reason == "'north row' hangs at least 7 ft 2 1/2 in over the floor."


def test_reasons_speak_the_units_of_the_meeting():
    """Behavior: far outside everything, no reason falls back to meters in a school in feet."""
    for handle, to in ((NORTH, (90.0, 90.0)), (NORTH_HEIGHT, (90.0,)), (NORTH_HEIGHT, (-5.0,))):
        changes, reason = dragged(LARKFIELD, handle, to)
        changed(LARKFIELD, changes)
        assert " ft " in reason and " m" not in reason


def test_a_row_slides_along_the_wall():
    """Behavior: pulled through the east wall, its last loudspeaker stops before it, and the row
    still follows the hand north.
    """
    changes, reason = dragged(LARKFIELD, NORTH, (30.0, 21 * FOOT))
    moved = changed(LARKFIELD, changes)
    assert max(c.x for c in moved.in_group("north row")) == pytest.approx(
        LARKFIELD.hall.length / 2, abs=0.5
    )
    assert changes[path("north row", "y")] == pytest.approx(21 * FOOT)
    assert "hangs outside the gym" in reason


def test_a_row_stops_before_the_heads_of_the_upper_rows():
    """Behavior: a low row that is pulled over the bank stops where people need the room."""
    low = changed(LARKFIELD, {path(g, "height"): 4.0 for g in ("north row", "south row")})
    changes, reason = dragged(low, NORTH, (0.0, 14.0))
    moved = changed(low, changes)  # it can be built
    assert 19 * FOOT < moved.groups[0].y < 14.0
    assert "over the seats of 'north bank'" in reason


def test_rows_stop_before_they_meet():
    """Behavior: pulled into its own mirror image, the row stops with a reason."""
    crossed, reason = dragged(LARKFIELD, NORTH, (0.0, 0.0))
    changed(LARKFIELD, crossed)
    assert reason


def test_an_aim_outside_stays_in_the_gym():
    """Behavior: dragged through a wall, the aim stops at it."""
    changes, reason = dragged(LARKFIELD, NORTH_AIM, (-40.0, 11.0), "class")
    moved = changed(LARKFIELD, changes)
    assert reason == OUTSIDE
    lands = place_of(moved, NORTH_AIM, "class")
    assert lands[0] == pytest.approx(-LARKFIELD.hall.length / 2, abs=0.3)


def test_an_aim_in_the_loudspeaker_changes_nothing():
    """Behavior: without a direction the row stays as it is."""
    c = LARKFIELD.in_group("north row")[1]
    changes, reason = dragged(LARKFIELD, NORTH_AIM, c.position, "game")
    assert reason == TOO_NEAR
    assert changed(LARKFIELD, changes).groups == LARKFIELD.groups


def test_the_tilt_stops_at_its_limit():
    """Behavior: an aim above the loudspeaker stops at the highest that it can look."""
    changes, reason = dragged(LARKFIELD, NORTH_AIM, (0.0, 6.5, 9.0), "game")
    assert changes[path("north row", "downtilt_deg")] == -30.0
    assert "tilts between -30° and 90° down" in reason


@pytest.mark.parametrize("name", SCENARIOS)
@given(data=st.data())
@settings(max_examples=8)
def test_whatever_is_dragged_can_be_built(name, data):
    """Invariance: wherever the hand goes, the changes give a scenario, and without a reason the
    handle is under the hand.
    """
    scenario = SCENARIOS[name]
    handle = data.draw(st.sampled_from(handles(scenario)))
    to = [data.draw(st.floats(-60, 60)) for _ in range({"height": 1}.get(handle.kind, 2))]
    changes, reason = dragged(scenario, handle, to)
    moved = changed(scenario, changes)
    if not reason and handle.kind != "aim":
        there = place_of(moved, handle, scenario.uses[0].name)
        there = there[2:] if handle.kind == "height" else there[:2]
        assert there == pytest.approx(to, abs=GRID[scenario.units])


def test_steps_of_the_keys():
    """Behavior: a quarter of a foot or a tenth of a meter; aim points go farther."""
    assert step(NORTH, "ft") == pytest.approx(0.25 * FOOT)
    assert step(NORTH_HEIGHT, "m") == pytest.approx(0.1)
    assert step(NORTH_AIM, "ft") == pytest.approx(FOOT)
