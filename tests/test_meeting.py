"""The design workbook's panel, driven without a browser: every control, every refusal, saving."""

import shutil
from pathlib import Path

import numpy as np
import pytest

import gymtools
from gymtools.display.live import Latest
from gymtools.display.meeting import Meeting
from gymtools.venue.units import FOOT

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
NAMES = sorted(p.stem for p in SCENARIOS.glob("*.toml"))


def panel(name="larkfield", folder="."):
    return Meeting(SCENARIOS / f"{name}.toml", folder)


def values(figure, name, key):
    """An attribute of a trace as it stands."""
    return np.array(next(t for t in figure.data if t.name == name)[key])


def _plain_array(sent):
    """An array as it travels to the page: binary with its type."""
    return np.frombuffer(sent["buffer"], sent["dtype"]) if isinstance(sent, dict) else np.array(sent)


def sound(m):
    """The panel shows an evaluation that is whole: what is drawn is what was found, and all of it is finite."""
    for a in (m.result.level_db, m.result.total_db, m.result.sti, m.result.rt):
        assert np.isfinite(a).all()
    assert values(m.figure, "map", "intensity") == pytest.approx(m.result.level_db[:, 4], abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_every_slider_to_both_ends(name):
    """Full range of every slider: each end is drawn, or refused in one line while the last good picture stays."""
    m = panel(name)
    refused = 0
    for group in [g.name for g in m.start.groups]:
        m.controls["group"].value = group
        for path, control in list(m.controls.items()):
            if not hasattr(control, "min"):
                continue
            keep = control.value
            for end in (control.min, control.max):
                control.value = end
                if m.message.value:
                    refused += 1
                    assert m.message.value.count("<b>") == 1 and "\n" not in m.message.value, path
                sound(m)
            control.value = keep
            assert m.message.value == "", (path, m.message.value)
    assert refused, "some ends are impossible (a cabinet outside the hall); the test must see one"
    assert m.result.sti == pytest.approx(gymtools.evaluate(m.start, m.use_name).sti, abs=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_every_choice(name):
    """Every entry of every list, and every tick box, is drawn or refused in one line."""
    m = panel(name)
    for key in ("use", "quantity", "area", "units"):
        for option in list(m.controls[key].options):
            m.controls[key].value = option[1] if isinstance(option, tuple) else option
            assert not m.message.value and np.isfinite(m.result.sti).all()
    for path, control in list(m.controls.items()):
        if isinstance(path, tuple) and hasattr(control, "options"):
            keep = control.value
            for option in control.options:
                control.value = option[1] if isinstance(option, tuple) else option
                assert not m.message.value, (path, option, m.message.value)
            control.value = keep
        elif isinstance(path, tuple) and isinstance(control.value, bool):
            control.value = not control.value
            control.value = not control.value


def test_tilt_changes_map_section_and_scorecard():
    """The control the job turns on: the 3D map, the section and the words all follow the tilt."""
    m = panel()
    before = [values(m.figure, "map", "intensity"), values(m.figure, "section: axis", "y"), m.card.value]
    m.controls["groups", 0, "tilt_deg"].value = 50
    after = [values(m.figure, "map", "intensity"), values(m.figure, "section: axis", "y"), m.card.value]
    assert not np.allclose(before[0], after[0]) and not np.allclose(before[1], after[1]) and before[2] != after[2]
    assert m.scenario.groups[0].tilt_deg == 50


def test_row_depth_moves_the_bank_on_the_floor():
    """Seating depth: ten rows of 3 ft reach 30 ft into the hall, in the mesh and in the scenario."""
    m = panel()
    m.controls["banks", 0, "row_run"].value = 3.0
    assert m.scenario.banks[0].depth == pytest.approx(30 * FOOT)
    front = values(m.figure, "plan: north bank", "y").min()
    assert front == pytest.approx(48 - 28.5)  # feet: the middle of the front row


def test_a_combination_that_cannot_be_keeps_the_picture():
    """Invalid input is said in one line that names the thing and the range; nothing the user had is lost."""
    m = panel()
    before, card = values(m.figure, "map", "intensity"), m.card.value
    m.controls["groups", 0, "x"].value = m.controls["groups", 0, "x"].max
    assert "hangs outside the hall" in m.message.value and "N1" in m.message.value
    assert np.array_equal(before, values(m.figure, "map", "intensity")) and card == m.card.value
    m.controls["groups", 0, "x"].value = 0.0
    assert m.message.value == ""


def test_values_that_only_fit_together_may_pass_through_an_impossible_state():
    """Raising the clear height above the walls is refused until the walls follow; then both hold."""
    m = panel()
    m.controls["hall", "clear_height"].value = 32
    assert "above the roof" in m.message.value
    m.controls["hall", "height"].value = 34
    assert not m.message.value and m.scenario.hall.clear_height == pytest.approx(32 * FOOT)


def test_units_may_be_switched_without_moving_a_thing():
    """Six switches leave every length as it was, to the last digit."""
    m = panel()
    before = m.scenario
    for units in ("m", "ft") * 3:
        m.controls["units"].value = units
    assert m.scenario == before


def test_the_same_in_metres_and_in_feet():
    """A slider set in metres after a switch gives the metres."""
    m = panel()
    m.controls["units"].value = "m"
    m.controls["hall", "length"].value = 40.0
    assert m.scenario.hall.length == pytest.approx(40.0)
    m.controls["units"].value = "ft"
    assert m.controls["hall", "length"].value == pytest.approx(131.0, abs=0.3)
    assert m.scenario.hall.length == pytest.approx(40.0)


def test_treatment_sliders_add_and_remove_panels():
    """Panels put on the roof shorten the reverberation; taken off again, the room is as before."""
    m = panel("dovecote")
    before = m.result.rt_mid
    m.controls["treatment", "north wall"].value = 40
    assert m.result.rt_mid < before - 0.05
    m.controls["treatment", "north wall"].value = 0
    assert m.result.rt_mid == pytest.approx(before)


def test_saving_asks_before_it_replaces(tmp_path):
    """A file is written once; the second time it is asked; what was there stays until it is said."""
    m = panel("larkfield", tmp_path)
    m.controls["groups", 0, "tilt_deg"].value = 40
    m.file_name.value = "option-a"
    m.save_button.click()
    path = tmp_path / "option-a.toml"
    saved = gymtools.load(path)
    assert saved == m.scenario and "# under the joists" in path.read_text(encoding="utf-8")
    m.controls["groups", 0, "tilt_deg"].value = 45
    m.save_button.click()
    assert "exists" in m.saved.value and gymtools.load(path) == saved
    assert m.replace_button.layout.display != "none"
    m.replace_button.click()
    assert gymtools.load(path).groups[0].tilt_deg == 45


@pytest.mark.parametrize("name", ["", "../evil", "a/b", " "])
def test_saving_refuses_a_name_with_folders(tmp_path, name):
    """Only a plain name is written, and only into the folder."""
    m = panel("larkfield", tmp_path)
    m.file_name.value = name
    m.save_button.click()
    assert "without folders" in m.saved.value and not list(tmp_path.iterdir())


def test_saving_into_a_folder_that_is_gone(tmp_path):
    """A failed write is said, not raised."""
    gone = tmp_path / "gone"
    gone.mkdir()
    m = panel("larkfield", gone)
    shutil.rmtree(gone)
    m.save_button.click()
    assert "could not be written" in m.saved.value


def test_a_burst_of_changes_runs_once_in_a_kernel():
    """Latest value wins: 200 requests inside a running loop give one run with the newest value, after the first."""
    import asyncio

    seen, now = [], {"value": 0}
    latest = Latest(lambda: seen.append(now["value"]), period=0.02)

    async def burst():
        for k in range(200):
            now["value"] = k
            latest()
        await asyncio.sleep(0.1)

    asyncio.run(burst())
    assert seen == [199]


def test_an_error_in_a_callback_is_shown_and_raised():
    """A programming error does not vanish in the page."""
    latest = Latest(lambda: 1 / 0)
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        latest.flush()
    assert "ZeroDivisionError" in latest.error.value


def test_late_viewers_get_the_present_state():
    """A page opened or reloaded later sees the figure as it stands, not as it was made."""
    m = panel()
    m.controls["groups", 0, "tilt_deg"].value = 50
    state = m.figure.get_state()
    sent = next(t for t in state["_widget_data"] if t["name"] == "section: axis")
    assert np.array_equal(_plain_array(sent["y"]), values(m.figure, "section: axis", "y"))


def test_nothing_is_offered_to_outside_services():
    """Plotly's button that uploads a chart is off."""
    assert panel().figure._config["showSendToCloud"] is False
