"""Values of a scenario by path: by name, several at once, refused in one line."""

import warnings
from pathlib import Path

import numpy as np
import pytest

from gymtools.venue.files import load
from gymtools.venue.hall import Treatment
from gymtools.venue.paths import by_name, changed, names, value_at
from gymtools.venue.uses import GroupSetting
from gymtools.venue.wiring import Wiring

LARKFIELD = load(Path(__file__).parents[1] / "scenarios" / "larkfield.toml")


def test_values_are_changed_by_name():
    """Closed form: values by path, all at once; a group that a use does not name gets a setting."""
    changes = {
        ("hall", "length"): 34.5,
        ("banks", "south bank", "rows"): 9,
        ("uses", "class", "groups", "court pair", "gain_db"): -3.0,
        ("uses", "game", "listens", "court"): 0.25,
        ("equipment", "wiring", "north row", "run"): 20.0,
        ("microphones", "lectern", "distance"): 0.4,
        ("treatments", "west wall", "area"): 40.0,
        ("name",): "Other",
    }
    s = changed(LARKFIELD, changes)
    assert {path: value_at(s, path) for path in changes} == changes
    assert (s.hall.length, s.banks[1].rows, s.name) == (34.5, 9, "Other")
    assert s.use("class").groups["court pair"] == GroupSetting(gain_db=-3.0)
    assert s.use("game").listens == {"north bank": 1.0, "south bank": 1.0, "court": 0.25}
    assert s.equipment.wiring == {"north row": Wiring(run=20.0)}
    assert s.microphones[3].distance == 0.4 and s.treatments[1].area == 40.0
    before = {path: value_at(LARKFIELD, path) for path in changes}
    assert before["equipment", "wiring", "north row", "run"] is None
    assert changed(s, before).groups == LARKFIELD.groups and changed(LARKFIELD, {}) == LARKFIELD


def test_values_that_fit_together_only_change_together():
    """Regression: two values that only fit together may change together, one of them
    alone may not.
    """
    low = {("groups", g.name, "height"): 6.0 for g in LARKFIELD.groups}
    assert changed(LARKFIELD, {("hall", "clear_height"): 6.1, **low}).hall.clear_height == 6.1
    with pytest.raises(
        ValueError, match=r"^loudspeaker N1 hangs at 25 ft 0 in, above the clear height"
    ):
        changed(LARKFIELD, {("hall", "clear_height"): 6.1})


def test_whole_things_and_tables():
    """Closed form: a whole thing takes the place of the other; a table adds to the table there."""
    deaf = changed(LARKFIELD, {("uses", "game", "groups", "north row"): GroupSetting(on=False)})
    assert not deaf.use("game").group_setting("north row").on
    assert deaf.use("game").group_setting("court pair").gain_db == -4
    more = changed(LARKFIELD, {("uses", "class", "occupied"): {"court": 0.5}})
    assert value_at(more, ("uses", "class", "occupied")) == {"court": 0.5}
    assert changed(LARKFIELD, {("treatments",): ()}).treatments == ()
    octaves = {("uses", "game", "noise_dba"): None, ("uses", "game", "noise_db"): (50.0,) * 7}
    assert value_at(changed(LARKFIELD, octaves), ("uses", "game", "noise_db", 6)) == 50.0


def test_what_is_not_said_has_its_meaning():
    """Closed form: a group without a setting plays at 0 dB, an area without a share is empty."""
    assert value_at(LARKFIELD, ("uses", "game", "groups", "north row")) == GroupSetting()
    assert value_at(LARKFIELD, ("uses", "game", "occupied", "court")) == 0.0
    assert value_at(LARKFIELD, ("uses", "class", "listens", "north bank")) == 0.0
    assert value_at(LARKFIELD, ("absorption_factors", "wall panels")) == 1.0


def test_treatments_are_called_by_their_surface():
    """Closed form: the second treatment of a surface has a number."""
    panels = [
        Treatment(surface=surface, area=10, finish="wall panels")
        for surface in ("east wall", "roof", "east wall", "east wall")
    ]
    assert names(panels) == ["east wall", "roof", "east wall 2", "east wall 3"]
    s = changed(LARKFIELD, {("treatments",): tuple(panels)})
    s = changed(s, {("treatments", "east wall 2", "area"): 12.0})
    assert [t.area for t in s.treatments] == [10, 10, 12, 10]


@pytest.mark.parametrize(
    ("path", "refusal"),
    [
        (
            ("groups", "nort row", "height"),
            "^groups: 'nort row' is unknown. Known: north row, south row, court pair.$",
        ),
        (("groups", 3, "height"), "^groups: 3 is unknown. Known: north row, south row"),
        (("grups", "north row"), "^scenario: 'grups' is unknown. Known: name, units,"),
        (("groups", "north row", "tilt"), "^groups, north row: 'tilt' is unknown. Known: name, "),
        (("uses", "game", "groups", "choir", "on"), "^uses, game, groups: 'choir' is unknown"),
        (("uses", "game", "occupied", "attic"), "^uses, game, occupied: 'attic' is unknown"),
        (("uses", "game", "noise_db", 0), "^uses, game, noise_db: there is none, so 0 leads"),
        (("hall", "length", "feet"), "^hall, length: holds one value, so 'feet' leads nowhere"),
        (("banks", "attic", "rows"), "^banks: 'attic' is unknown. Known: north bank, south bank"),
        (("balconies", "attic", "rows"), "^balconies: 'attic' is unknown. Known: none.$"),
        ((), "^a path needs at least one name"),
    ],
)
def test_a_path_that_leads_nowhere_is_refused(path, refusal):
    """Behavior: one line names the step and lists what is there."""
    for refuse in (lambda: value_at(LARKFIELD, path), lambda: changed(LARKFIELD, {path: 1.0})):
        with pytest.raises(ValueError, match=refusal) as caught:
            refuse()
        assert "\n" not in str(caught.value)


def test_a_value_is_given_once():
    """Behavior: a thing and a part of it in one change are refused, in either order."""
    whole, part = ("uses", "game", "groups", "north row"), ("uses", "game", "groups", "north row")
    values = [(whole, GroupSetting(on=False)), ((*part, "gain_db"), -3.0)]
    for order in (values, values[::-1]):
        with pytest.raises(ValueError, match="north row.*: a value is given in whole and in part"):
            changed(LARKFIELD, dict(order))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (("groups", 1, "height"), ("groups", "south row", "height")),
        (("groups", np.int64(1), "height"), ("groups", "south row", "height")),
        (("groups", "south row", "tilt_deg"), ("groups", "south row", "downtilt_deg")),
        (("groups", "south row", "cabinet"), ("groups", "south row", "loudspeaker")),
        (("targets", "spread_db"), ("targets", "coverage_range_db")),
        (
            ("uses", 3, "groups", "court pair", "on"),
            ("uses", "graduation", "groups", "court pair", "on"),
        ),
    ],
)
def test_positions_and_former_names_are_understood(old, new):
    """Behavior: scripts of old go on working; the line that should change is told, once."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("default")
        for _ in range(3):
            assert by_name(LARKFIELD, old) == new
    assert [w.category for w in said] == [FutureWarning] and said[0].filename == __file__
    with pytest.warns(FutureWarning, match="is now"):
        value = value_at(LARKFIELD, old)
    assert value == value_at(LARKFIELD, new)


@pytest.mark.parametrize(
    "changes, said",
    [
        ({("name",): 5}, r"^name = 5 must be text in quotes\.$"),
        ({("name",): " "}, r"^name = ' ' must be text in quotes\.$"),
        ({("hall", "length"): None}, r"^length = None is not a number\. Give 12 to 80 m\.$"),
        ({("hall", "length"): "34"}, r"^length = '34' is not a number\."),
        ({("hall", "length"): {"a": 1}}, r"^length: holds one value, where a table is given\.$"),
        ({("hall",): {"nope": 1}}, r"^hall: 'nope' is unknown\. Known: length, width"),
        ({("hall",): 3}, r"^hall = 3 must be a Hall\.$"),
        ({("banks",): (1,)}, r"^banks: 1 is no Bank\. It must be a list of these\.$"),
        ({("uses", "game", "groups", "north row"): 3}, r"^groups 'north row' = 3 is no GroupSett"),
        ({("uses", "game", "listens", "court"): [1]}, r"^listens 'court' = \[1\] is not a number"),
        ({("groups",): 1}, r"^groups = 1 must be a list\.$"),
        ({1: 2}, r"^changes: 1 is no path\. Give tuples of names"),
        ({(None,): 2}, r"^changes: \(None,\) is no path\."),
        (3, r"^changes = 3 must be a dict of values by path\."),
    ],
)
def test_values_of_another_kind_are_refused(changes, said):
    """Regression: these gave a traceback, or a scenario that could not be saved or evaluated."""
    with pytest.raises(ValueError, match=said):
        changed(LARKFIELD, changes)
