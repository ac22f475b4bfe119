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
    HIGHEST,
    LOWEST,
    OUTSIDE,
    TOO_NEAR,
    Handle,
    dragged,
    handles,
    has_aim,
    landings,
    place_of,
    step,
    steps,
    surface_under,
    twins,
    value_range,
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


def test_a_pendant_can_be_tilted_one_with_several_beams_has_no_aim():
    """Worked by hand: a pendant straight down, pulled 2 m aside at 25 ft, tilts up a little."""
    pendants = changed(LARKFIELD, {path("court pair", "loudspeaker"): "pendant 100"})
    handle = Handle(kind="aim", group="court pair")
    c = pendants.in_group("court pair")[0]
    assert c.downtilt_deg == 90
    changes, reason = dragged(pendants, handle, (c.x, c.y + 2.0), "game")
    off = np.degrees(np.arctan2(2.0, c.z))
    assert changes[path("court pair", "downtilt_deg")] == pytest.approx(90 - off, abs=0.05)
    assert reason == ""
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
    assert reason == HIGHEST


def test_the_height_stops_over_the_floor():
    """Behavior: no lower than a loudspeaker may hang."""
    changes, reason = dragged(LARKFIELD, NORTH_HEIGHT, (0.5,))
    assert changes[path("north row", "height")] == pytest.approx(7.25 * FOOT)
    assert reason == LOWEST


@pytest.mark.parametrize(
    "handle, to, words",
    [
        (NORTH, (90.0, 90.0), "the east wall and the north wall."),
        (NORTH, (-90.0, 6.0), "the west wall."),
        (NORTH_HEIGHT, (90.0,), "highest under joists and roof."),
        (NORTH_HEIGHT, (-5.0,), "lowest that a loudspeaker hangs."),
        (NORTH, (0.0, 0.0), "N1 and S1 would overlap."),
    ],
)
def test_reasons_name_what_is_there_and_no_place_that_is_not_taken(handle, to, words):
    """Behavior: where the handle stands is said beside; the reason holds no second position."""
    changes, reason = dragged(LARKFIELD, handle, to)
    changed(LARKFIELD, changes)
    assert reason == words


def test_a_refusal_says_the_limit_in_the_units_of_the_meeting():
    """Behavior: over the seats the room that people need is said in feet in a school in feet."""
    low = changed(LARKFIELD, {path(g, "height"): 4.0 for g in ("north row", "south row")})
    _, reason = dragged(low, NORTH, (0.0, 14.0))
    assert reason == "N1 keeps 6 ft 6 1/2 in over the seats of 'north bank'."


def test_under_a_sloped_roof_the_height_stops_at_the_roof():
    """Behavior: beside the wall of a gable the roof is lower than the joists' clear height."""
    hall = dict(height=7.0, ridge_height=11.0, clear_height=9.0)
    rows = (("north row", 12.0), ("south row", -12.0))
    changes = {("hall", key): value for key, value in hall.items()}
    for name, y in rows:
        changes |= {path(name, "y"): y, path(name, "height"): 6.6}
    gable = changed(LARKFIELD, changes)
    changes, reason = dragged(gable, NORTH_HEIGHT, (10.0,))
    assert reason == "N1 would reach into the roof."
    roof = gable.hall.roof_height(12.0)
    assert roof - 0.6 < changes[path("north row", "height")] < roof


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
    assert reason == "the east wall."


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
    assert reason == "loudspeakers tilt between -30° and 90° down."


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
        near = [max(v, GRID[scenario.units]) for v in steps(scenario, handle, scenario.units)]
        assert (np.abs(there - to) <= np.array(near[: len(to)]) + 1e-9).all()


def test_steps_of_the_keys():
    """Behavior: a quarter of a foot or a tenth of a meter; aim points go farther."""
    assert step(NORTH, "ft") == pytest.approx(0.25 * FOOT)
    assert step(NORTH_HEIGHT, "m") == pytest.approx(0.1)
    assert step(NORTH_AIM, "ft") == pytest.approx(FOOT)


# ---- joists

EIGHT = {("hall", "joist_spacing"): 8 * FOOT, ("hall", "joists_along"): "width"}
ACROSS = changed(LARKFIELD, EIGHT | {("hall", "first_joist"): 4 * FOOT})
ALONG = changed(LARKFIELD, EIGHT | {("hall", "joists_along"): "length"})


def test_a_row_that_is_dragged_across_joists_hangs_under_one():
    """Worked by hand: 112 ft, joists at 4, 12 ... 108 ft from the west wall are at -52, -44 ... 52
    ft; a pull to 9 ft east ends at 12 ft. Along them the grid holds.
    """
    changes, reason = dragged(ACROSS, NORTH, (9 * FOOT, 20.3 * FOOT))
    assert reason == ""
    assert changes[path("north row", "x")] == pytest.approx(12 * FOOT)
    assert changes[path("north row", "y")] == pytest.approx(20.25 * FOOT)


def test_joists_along_the_gym_hold_a_row_that_is_dragged_across_it():
    """Worked by hand: 96 ft, the first one spacing from the south wall: -40, -32 ... 40 ft."""
    changes, _ = dragged(ALONG, NORTH, (1.1 * FOOT, 26.0 * FOOT))
    assert changes[path("north row", "y")] == pytest.approx(24 * FOOT)
    assert changes[path("south row", "y")] == pytest.approx(-24 * FOOT)
    assert changes[path("north row", "x")] == pytest.approx(FOOT)


def test_of_a_row_across_the_joists_the_middle_one_hangs_under_a_joist():
    """Behavior: of two loudspeakers the first; whatever the row's middle is then."""
    changes, _ = dragged(ACROSS, Handle(kind="position", group="court pair"), (5 * FOOT, 0.0))
    first = changed(ACROSS, changes).in_group("court pair")[0]
    assert np.abs(ACROSS.hall.joists - first.x).min() == pytest.approx(0.0, abs=1e-6)


def test_a_row_between_joists_stays_while_it_is_dragged_along_them():
    """Behavior: a drag to the north does not put it under another joist."""
    changes, _ = dragged(ACROSS, NORTH, (0.02, 20 * FOOT))
    assert changes[path("north row", "x")] == 0.0


def test_at_the_wall_the_last_joist_that_the_row_fits_under_holds():
    """Behavior: pulled out of the gym, the row stops under a joist, at the wall."""
    changes, reason = dragged(ACROSS, NORTH, (90.0, 19 * FOOT))
    row = changed(ACROSS, changes).in_group("north row")
    assert np.abs(ACROSS.hall.joists - row[1].x).min() == pytest.approx(0.0, abs=1e-6)
    assert reason == "the east wall."


def test_past_the_last_joist_the_reason_says_so():
    """Worked by hand: joists at 8, 16 ... 40 ft and 8 ft before the north wall the last one; a row
    of one depth stops under it though the wall is 8 ft on.
    """
    changes, reason = dragged(ALONG, NORTH, (0.0, 45.0 * FOOT))
    assert changes[path("north row", "y")] == pytest.approx(40 * FOOT)
    assert reason == "the last joist before the north wall."


def test_arrow_keys_go_from_joist_to_joist():
    """Worked by hand: 8 ft across the joists, a quarter of a foot along them and up."""
    assert steps(ACROSS, NORTH, "ft") == pytest.approx([8 * FOOT, 0.25 * FOOT])
    assert steps(ALONG, NORTH, "ft") == pytest.approx([0.25 * FOOT, 8 * FOOT])
    assert steps(ACROSS, NORTH_HEIGHT, "ft") == pytest.approx([0.25 * FOOT] * 2)


def test_the_value_of_a_handle_and_its_ends():
    """Worked by hand: Larkfield is 112 ft long, clear under its joists are 26 ft."""
    assert value_range(LARKFIELD, NORTH) == ("x", -56 * FOOT, 56 * FOOT)
    key, low, high = value_range(LARKFIELD, NORTH_HEIGHT)
    assert (key, high) == ("height", pytest.approx(26 * FOOT)) and 2 < low < 3
    assert value_range(LARKFIELD, NORTH_AIM) == ("downtilt_deg", -30, 90)
