"""The design workbook's panel, driven without a browser: every control, every refusal, saving."""

import asyncio
import shutil
import time
from dataclasses import replace
from html import escape
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import gymtools
from gymtools.design.advice import sentence
from gymtools.design.options import dominated_by
from gymtools.design.uncertainty import InputSpread
from gymtools.display.jobs import Beside, Latest
from gymtools.display.panel import advice as advice_panel
from gymtools.display.panel import aim as aim_panel
from gymtools.display.panel import options as options_panel
from gymtools.display.panel import uncertainty as uncertainty_panel
from gymtools.display.panel.meeting import TABS, Meeting
from gymtools.display.tables import schedule_table
from gymtools.equipment.schedules import parts, schedules
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
    return (
        np.frombuffer(sent["buffer"], sent["dtype"]) if isinstance(sent, dict) else np.array(sent)
    )


def sound(m):
    """The panel shows an evaluation that is whole: what is drawn is what was found, and all of it
    is finite.
    """
    for a in (m.result.level_db, m.result.total_db, m.result.sti, m.result.rt):
        assert np.isfinite(a).all()
    assert values(m.figure, "map", "intensity") == pytest.approx(m.result.level_db[:, 4], abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_every_slider_to_both_ends(name):
    """Full range of every slider: each end is drawn, or refused in one line while the last good
    picture stays.
    """
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
    assert refused, (
        "some ends are impossible (a loudspeaker outside the hall); the test must see one"
    )
    assert m.result.sti == pytest.approx(gymtools.evaluate(m.start, m.use_name).sti, abs=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_every_choice(name):
    """Every entry of every list, and every tick box, is drawn or refused in one line."""
    m = panel(name)
    for key in ("quantity", "area", "units", "use"):
        for option in list(m.controls[key].options):
            m.controls[key].value = option[1] if isinstance(option, tuple) else option
            assert not m.message.value and np.isfinite(m.result.sti).all()
    for path, control in list(m.controls.items()):
        if isinstance(path, tuple) and hasattr(control, "options"):
            keep = control.value
            for option in control.options[:: 1 if len(control.options) <= 14 else 9]:
                control.value = option[1] if isinstance(option, tuple) else option
                assert not m.message.value, (path, option, m.message.value)
            control.value = keep
        elif isinstance(path, tuple) and isinstance(control.value, bool):
            control.value = not control.value
            control.value = not control.value


def test_tilt_changes_map_section_and_scorecard():
    """The control the job turns on: the 3D map, the section and the words all follow the tilt."""
    m = panel()
    before = [
        values(m.figure, "map", "intensity"),
        values(m.figure, "section: axis", "y"),
        m.card.value,
    ]
    m.controls["groups", 0, "downtilt_deg"].value = 50
    after = [
        values(m.figure, "map", "intensity"),
        values(m.figure, "section: axis", "y"),
        m.card.value,
    ]
    assert (
        not np.allclose(before[0], after[0])
        and not np.allclose(before[1], after[1])
        and before[2] != after[2]
    )
    assert m.scenario.groups[0].downtilt_deg == 50


def test_row_depth_moves_the_bank_on_the_floor():
    """Seating depth: ten rows of 2.5 ft reach 25 ft into the hall, in the mesh and in
    the scenario.
    """
    m = panel()
    m.controls["banks", 0, "row_run"].value = 2.5
    assert m.scenario.banks[0].depth == pytest.approx(25 * FOOT)
    front = values(m.figure, "plan map 1", "y").min()
    assert front == pytest.approx(48 - 23.75)  # feet: the middle of the front row


def test_a_combination_that_cannot_be_keeps_the_picture():
    """Invalid input is said in one line that names the thing and the range; nothing the user had is
    lost.
    """
    m = panel()
    before, card = values(m.figure, "map", "intensity"), m.card.value
    m.controls["groups", 0, "x"].value = m.controls["groups", 0, "x"].max
    assert "hangs outside the gym" in m.message.value and "N1" in m.message.value
    assert np.array_equal(before, values(m.figure, "map", "intensity")) and card == m.card.value
    m.controls["groups", 0, "x"].value = 0.0
    assert m.message.value == ""


def test_values_that_only_fit_together_may_pass_through_an_impossible_state():
    """Raising the clear height above the walls is refused until the walls follow; then
    both hold.
    """
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


def test_the_same_in_meters_and_in_feet():
    """A slider set in meters after a switch gives the meters."""
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
    (north,) = [n for n, t in enumerate(m.treated) if t.surface == "north wall"]
    m.controls["treatment", north].value = 40
    assert m.result.rt_mid < before - 0.05
    m.controls["treatment", north].value = 0
    assert m.result.rt_mid == pytest.approx(before)


def test_saving_asks_before_it_replaces(tmp_path):
    """A file is written once; the second time it is asked; what was there stays until it
    is said.
    """
    m = panel("larkfield", tmp_path)
    m.controls["groups", 0, "downtilt_deg"].value = 40
    m.file_name.value = "option-a"
    m.save_button.click()
    path = tmp_path / "option-a.toml"
    saved = gymtools.load(path)
    assert saved == m.scenario and "# under the joists" in path.read_text(encoding="utf-8")
    m.controls["groups", 0, "downtilt_deg"].value = 45
    m.save_button.click()
    assert "exists" in m.saved.value and gymtools.load(path) == saved
    assert m.replace_button.layout.display != "none"
    m.replace_button.click()
    assert gymtools.load(path).groups[0].downtilt_deg == 45


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
    """Latest value wins: 200 requests inside a running loop give one run with the newest value,
    after the first.
    """

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
    m.controls["groups", 0, "downtilt_deg"].value = 50
    state = m.figure.get_state()
    sent = next(t for t in state["_widget_data"] if t["name"] == "section: axis")
    assert np.array_equal(_plain_array(sent["y"]), values(m.figure, "section: axis", "y"))


def test_nothing_is_offered_to_outside_services():
    """Plotly's button that uploads a chart is off."""
    assert panel().figure._config["showSendToCloud"] is False


def test_an_arrangement_replaces_the_layout_and_can_be_edited():
    """Start from an arrangement: groups are new, hall and seats stay as set by hand, sliders work
    on; one that misfits says why.
    """
    m = panel()
    m.controls["hall", "length"].value = 120
    m.controls["arrangement"].value = "center four"
    assert [g.name for g in m.scenario.groups] == [
        "center east",
        "center north",
        "center west",
        "center south",
    ]
    assert (
        m.scenario.hall.length == pytest.approx(120 * FOOT) and "gives up" in m.layout_words.value
    )
    m.controls["groups", 0, "downtilt_deg"].value = 55
    assert m.scenario.groups[0].downtilt_deg == 55
    m.controls["arrangement"].value = "stage on a side"
    assert "built-in stage on a side" in m.layout_words.value and len(m.scenario.groups) == 4
    sound(m)


def test_every_arrangement_draws():
    """Each arrangement of the list is drawn, or says what the hall would need."""
    m = panel("stonebridge")
    for _, key in m.controls["arrangement"].options[1:]:
        m.controls["arrangement"].value = key
        assert not m.message.value
        sound(m)
    assert len(m.scenario.groups) >= 2


def test_delays_are_set_by_one_choice():
    """Choosing a lead sets the delays of the other groups in this use alone."""
    m = panel("alderway")
    m.controls["lead"].value = "stage line"
    use = m.scenario.uses[0]
    assert (
        use.group_setting("bank pair").delay_ms > 0
        and use.group_setting("stage line").delay_ms == 0
    )
    assert not m.message.value


def test_walking_map_shows_spare_gain_and_its_zero_line():
    """The walking map covers floor and stage, follows the loudspeakers, and draws the outline where
    a microphone rings.
    """
    m = panel()
    m.controls["use"].value = "performance"
    m.controls["show walking map"].click()
    assert m.quantity == "feedback_margin"
    before = values(m.figure, "map", "intensity")
    m.controls["walker"].value = "lavalier"
    lavalier = values(m.figure, "map", "intensity")
    assert lavalier.mean() < before.mean() - 8  # omni on the chest against cardioid at the lips
    assert lavalier.min() < 0 < lavalier.max() or (lavalier < 0).all()
    m.controls["uses", 4, "target_dba"].value = 68
    mixed = values(m.figure, "map", "intensity")
    assert mixed.mean() > lavalier.mean() + 7
    m.controls["way"].value = 0.0
    assert (
        values(m.figure, "map", "intensity") >= mixed - 1e-4
    ).all()  # one way of facing is no worse than the worst


def test_microphones_open_and_close():
    """Opening a second microphone costs spare gain; its own controls appear."""
    m = panel()
    one = m.result.microphones[0].margin_db[0]
    m.controls["microphones", 3, "open"].value = False
    assert len(m.result.microphones) == 1
    m.controls["microphones", 1, "open"].value = True
    assert [c.microphone.name for c in m.result.microphones] == ["announcer", "roving"]
    assert m.result.microphones[0].margin_db[0] == pytest.approx(one - 3.01, abs=0.01)
    assert ("microphones", 1, "distance") in m.controls
    m.controls["microphones", 1, "open"].value = False
    assert m.result.microphones[0].margin_db[0] == pytest.approx(one)


def test_one_seat_by_number_and_by_click():
    """A seat is chosen by typing its row and place, or by a click in the plan; its STI is that of
    the map.
    """
    m = panel()
    m.tabs.selected_index = TABS.index("One seat")
    m.seat_row.value = 7
    m.seat_place.value = 20
    area = m.result.configuration.areas["north bank"]
    assert m.seat == 6 * area.columns + 19
    assert (
        f"STI {m.result.sti[m.seat]:.2f}" in m.seat_words.value
        and "row 7 of 10" in m.seat_words.value
    )
    stems = np.array(m.seat_figure.data[1].x)
    x, y = m.result.points[300][:2] / FOOT
    m._clicked(None, SimpleNamespace(xs=[x], ys=[y]), None)
    assert m.seat == 300 and not np.array_equal(stems, np.array(m.seat_figure.data[1].x))
    assert "this seat" in next(t for t in m.figure.data if t.name == "plan: microphones").text
    m.controls["use"].value = "class"
    assert m.seat is None or m.seat < len(m.result.points)


def test_all_uses_side_by_side():
    """The tab of all uses lists every use with its verdict, and the worst over them."""
    m = panel()
    m.tabs.selected_index = TABS.index("All uses")
    for use in m.start.uses:
        assert f"<td>{use.name}</td>" in m.uses.value
    assert gymtools.evaluate_all(m.scenario).word in m.uses.value


def test_echoes_are_judged_when_the_hand_rests():
    """While a slider moves in a kernel the echo verdict waits; at rest it is there."""

    m = panel()

    def judged():
        return any(v.criterion == "echoes" for v in m.result.verdicts)

    async def move():
        m.controls["groups", 0, "downtilt_deg"].value = 41
        await asyncio.sleep(0.12)
        moving = judged()
        await asyncio.sleep(0.8)
        return moving, judged()

    assert asyncio.run(move()) == (False, True)


def test_a_file_is_saved_in_the_units_it_came_in(tmp_path):
    """Looking in meters does not turn a file written in feet into one in meters."""
    m = panel("larkfield", tmp_path)
    m.controls["units"].value = "m"
    m.file_name.value = "option 1.5"
    m.save_button.click()
    text = (tmp_path / "option 1.5.toml").read_text(encoding="utf-8")
    assert 'units = "ft"' in text and gymtools.parse(text).hall == m.start.hall


def test_a_refusal_blocks_nothing_it_does_not_touch_and_can_be_taken_back():
    """With a loudspeaker outside the hall the quantity and the use still switch; one button goes
    back to the last good state.
    """
    m = panel()
    m.controls["groups", 0, "downtilt_deg"].value = 40
    m.controls["groups", 0, "x"].value = m.controls["groups", 0, "x"].max
    assert m.back_button.layout.display == "inline-flex"
    m.controls["quantity"].value = "sti"
    assert values(m.figure, "map", "intensity") == pytest.approx(m.result.sti, abs=1e-6)
    m.controls["use"].value = "class"
    assert m.result.use.name == "class" and "hangs outside the gym" in m.message.value
    m.back_button.click()
    assert m.message.value == "" and m.back_button.layout.display == "none"
    assert m.scenario.groups[0].downtilt_deg == 40 and m.scenario.groups[0].x == m.start.groups[0].x


def test_what_stands_in_the_hall_is_ticked_per_use():
    """Banks pulled out, chairs and stages set out and the curtain are boxes of the use; sliders of
    what is not there are not shown.
    """
    m = panel()
    assert ("floor_seats", 0, "length") not in m.controls
    m.controls["uses", 0, "set_up", "graduation chairs"].value = True
    assert (
        "graduation chairs" in m.result.configuration.areas
        and ("floor_seats", 0, "length") in m.controls
    )
    m.controls["uses", 0, "closed", "north bank"].value = False
    assert "north bank" not in m.result.configuration.areas and m.area != "north bank"
    before = m.result.configuration.room.volume
    m.controls["uses", 0, "curtain_open"].value = True
    assert m.result.configuration.room.volume > before + 100
    assert m.scenario.uses[0].closed == ("north bank",) and not m.message.value


def test_a_page_that_reports_defaults_takes_nothing_from_the_figure():
    """Regression: what a page takes for its default stays in the figure, so that a page opened
    later has it too.
    """
    m = panel()
    figure = m.figure
    trace = next(t for t in figure.data if t.name == "frame")
    figure._last_trace_edit_id = 7
    delta = {"uid": trace.uid, "line": {"color": "#123456", "width": 9}, "hoverinfo": "all"}
    figure._js2py_traceDeltas = {"trace_deltas": [delta], "trace_edit_id": 7}
    sent = next(t for t in figure.get_state()["_widget_data"] if t["name"] == "frame")
    assert sent["line"]["width"] == 1.5 and sent["hoverinfo"] == "skip"


@pytest.mark.parametrize("units", ["m", "ft"])
def test_the_ends_of_a_slider_lie_inside_what_is_allowed(units):
    """The grid of a slider never reaches beyond the range of its thing: a mouth distance at both
    ends is accepted.
    """
    m = panel()
    m.controls["units"].value = units
    slider = m.controls["microphones", 0, "distance"]
    for end in (slider.min, slider.max):
        slider.value = end
        assert m.message.value == "", m.message.value


# --- the traced room


def test_at_rest_the_traced_room_is_shown_and_a_move_takes_it_back():
    """Traced: level, words, label of the map and the bar follow; a move shows the formula again;
    ticked off, nothing is traced.
    """
    m = panel("dovecote")
    m.controls["quantity"].value = "sti"

    def title():
        return m.figure.layout.annotations[0].text

    assert (
        m.result.room == "statistical"
        and "room by formula" in title()
        and "room by formula" in m.room_words.value
    )
    formula = m.result
    m.trace()
    assert (
        m.result.room == "traced"
        and "room traced" in title()
        and "error about 0." in m.room_words.value
    )
    assert m.room_progress.layout.visibility == "hidden" and m.tracing.job is None
    assert np.abs(m.result.sti - formula.sti).max() > 0.02
    np.testing.assert_allclose(values(m.figure, "map", "intensity"), m.result.sti, atol=1e-6)
    whole = gymtools.evaluate(m.scenario, m.use_name, room="traced")
    np.testing.assert_array_equal(m.result.sti, whole.sti)
    assert any(
        abs(a.sti_p10 - b.sti_p10) > 0.03
        for a, b in zip(formula.areas, m.result.areas, strict=True)
    )
    assert "Where the traced room differs from the formula" in m.card.value
    m.controls["groups", 0, "downtilt_deg"].value += 1
    assert (
        m.result.room == "statistical"
        and "room by formula" in title()
        and "differs from" not in m.card.value
    )
    m.trace_tick.value = False
    assert m.tracing.job is None and "tracing" not in m.room_words.value


def test_seat_and_room_tabs_show_the_traced_room():
    """The tabs say what the traced room says: three decay times, and one seat's limits from its
    zone.
    """
    m = panel("dovecote")
    m.trace()
    m.tabs.selected_index = TABS.index("The room")
    for name, key in (("early decay EDT", "edt"), ("T20", "t20"), ("T30", "t30")):
        assert name in m.room.value and f"{m.result.decay_times[key][3]:.2f}" in m.room.value
    m.look_at(100)
    assert f"STI {m.result.sti[100]:.2f}" in m.seat_words.value
    m.tabs.selected_index = TABS.index("The room")
    m.set(("hall", "height"), m.start.hall.height + 0.5)
    assert "T30" not in m.room.value, "by formula again"


def test_a_gain_is_answered_by_the_traced_room_at_once():
    """What was traced is used again: after a gain the traced answer needs no pass."""
    m = panel("dovecote")
    m.trace()
    m.set(("uses", 0, "groups", m.group_name, "gain_db"), -3.0)
    assert m.tracing.job is not None and m.tracing.job.ready
    m.trace()
    assert m.result.room == "traced"


class Pieces:
    """A job of slow pieces for the tests of what runs beside the page."""

    def __init__(self, count, fails=False):
        self.count, self.done, self.given_up, self.fails = count, 0, 0, fails

    @property
    def ready(self):
        return self.done >= self.count

    def next_pass(self, stop=None):
        if self.fails:
            raise RuntimeError("a fault")
        for _ in range(20):
            if stop is not None and stop():
                self.given_up += 1
                return None
            time.sleep(0.002)
        return 1

    def add(self, found):
        self.done += found


def test_work_beside_the_page():
    """In a kernel the page's own turns go on between pieces; a newer job takes the place of an
    older; a fault is shown.
    """
    seen = []
    beside = Beside(lambda job: seen.append((job, job.done)))

    async def one():
        turns, job = 0, Pieces(4)
        beside.start(job)
        while not job.ready and turns < 1000:
            await asyncio.sleep(0.005)
            turns += 1
        await asyncio.sleep(0.05)
        return job, turns

    job, turns = asyncio.run(one())
    assert turns > 10 and [d for _, d in seen] == [1, 2, 3, 4]

    async def two():
        old, new = Pieces(50), Pieces(2)
        beside.start(old)
        await asyncio.sleep(0.07)
        beside.start(new)
        await asyncio.sleep(0.4)
        return old, new

    old, new = asyncio.run(two())
    assert old.done < 4 and old.given_up == 1 and new.ready

    async def fault():
        beside.start(Pieces(1, fails=True))
        await asyncio.sleep(0.1)

    asyncio.run(fault())
    assert "a fault" in beside.error.value


def test_work_beside_the_page_outside_a_kernel():
    """Nothing runs by itself; ``finish`` works the job to its end."""
    seen = []
    beside, job = Beside(lambda job: seen.append(job.done)), Pieces(2)
    beside.start(job)
    assert job.done == 0 and not seen
    beside.finish()
    assert job.ready and seen[-1] == 2
    beside.cancel()
    beside.finish()
    assert beside.job is None


def test_tracing_runs_beside_the_page():
    """In a kernel: at rest the trace starts by itself, the bar moves, a slider moved in between
    gives it up and starts it anew.
    """
    m = panel("dovecote")
    shares = []
    m.room_progress.observe(lambda change: shares.append(change["new"]), names="value")

    async def rest_move_rest():
        m.set(("hall", "height"), m.start.hall.height + 0.2)
        await asyncio.sleep(0.85)
        started = m.tracing.job is not None
        m.set(("hall", "height"), m.start.hall.height + 0.3)
        await asyncio.sleep(0.05)
        between = m.tracing.job
        for _ in range(400):
            await asyncio.sleep(0.025)
            if m.result.room == "traced" and m.tracing.job is None:
                break
        return started, between

    assert asyncio.run(rest_move_rest()) == (True, None)
    assert m.result.room == "traced" and m.scenario.hall.height == pytest.approx(
        m.start.hall.height + 0.3
    )
    assert len({s for s in shares if 0 < s < 1}) > 3 and m.tracing.error.value == ""


# --- a better aim


def test_a_better_aim_is_set_and_can_be_put_back():
    """The search sets the controls to what it found, says what is better and worse, and puts
    everything back on demand.
    """
    m = panel("stonebridge")
    m.set(("groups", 0, "downtilt_deg"), 20.0)
    before = m.scenario
    m.aims.weights["stray"].value = 0.0
    m.aims.trace.value = False
    m.aims.start()
    assert m.aims.trial.button.layout.display == "inline-flex" and m.scenario != before
    for path, value in m.changes.items():
        if path[0] == "groups":
            assert getattr(m.scenario.groups[path[1]], path[2]) == value
    tilt = m.scenario.groups[0].downtilt_deg
    assert (
        f"tilt 20° → {tilt:g}°" in m.aims.words.value
        and "weighed, over all uses" in m.aims.words.value
    )
    m.group_name = m.scenario.groups[0].name
    m._build()
    assert m.controls["groups", 0, "downtilt_deg"].value == tilt
    m.aims.trial.button.click()
    assert m.scenario == before and m.aims.trial.button.layout.display == "none"


def test_the_search_runs_aside_and_can_be_stopped():
    """In a kernel the search leaves the page its turns, draws the best so far, stops with it, and
    is given up when something moves.
    """
    m = panel("stonebridge")

    async def stopped():
        m.aims.start()
        assert m.aims.find.disabled and not m.aims.halt.disabled
        for _ in range(200):
            await asyncio.sleep(0.02)
            if m.aims.bar.value > 0.05:
                break
        m.aims.halt.click()
        for _ in range(300):
            await asyncio.sleep(0.02)
            if not m.aims.aside.running:
                break

    asyncio.run(stopped())
    assert (
        "best so far" in m.aims.words.value
        and not m.aims.find.disabled
        and m.aims.aside.error.value == ""
    )

    async def moved():
        m.aims.start()
        await asyncio.sleep(0.3)
        m.controls["groups", 0, "downtilt_deg"].value = 33
        await asyncio.sleep(0.3)
        return m.scenario.groups[0].downtilt_deg, m.aims.words.value

    assert asyncio.run(moved()) == (33.0, "Given up, because something was moved.")


def test_an_aim_is_judged_in_the_traced_room():
    """With the tick set the words tell the traced room's scores; what is better by formula only is
    given up and said.
    """
    m = panel("dovecote")
    m.set(("groups", 0, "downtilt_deg"), 5.0)
    m.aims.start()
    assert (
        "weighed, over all uses, room traced" in m.aims.words.value
        and m.changes[("groups", 0, "downtilt_deg")] > 5
    )
    found = SimpleNamespace(moved={}, given_up=True, stopped=False)
    m.aims._done(found)
    assert (
        m.aims.words.value
        == "What was better by formula is not better in the traced room: the aim stays as it is."
    )


def test_what_cannot_be_aimed_is_said():
    """A scenario that cannot be, or weights that are all zero: one line says so."""
    m = panel("larkfield")
    m.aims.base = lambda: (_ for _ in ()).throw(ValueError("hall too small"))
    m.aims.start()
    assert "Not possible:</b> hall too small" in m.aims.words.value and not m.aims.find.disabled
    for slider in m.aims.weights.values():
        slider.value = 0.0
    m.aims.start()
    assert "nothing counts" in m.aims.words.value


# --- advice, how sure, options


def test_advice_is_tried_and_put_back():
    """Advice of the panel is the library's; a move tried is what the controls and the result stand
    at; it is put back to the last value.
    """
    m = panel("larkfield")
    m.set(("groups", 0, "downtilt_deg"), 30.0)
    before, start = m.scenario, m.start
    m.advice.start()
    found = gymtools.advise(before, "game")
    words = [c.children[1].value for c in m.advice.list.children if hasattr(c, "children")]
    assert len(words) == sum(len(a.proposals) for a in found) > 3
    for proposal, shown in zip([p for a in found for p in a.proposals], words, strict=True):
        assert escape(sentence(proposal)) in shown
    tries = [c.children[0] for c in m.advice.list.children if hasattr(c, "children")]
    first = found[0].proposals[0]
    tries[0].click()
    assert m.scenario == first.move.scenario and m.result.use.name == "game"
    after = next(
        v
        for v in m.result.verdicts
        if (v.criterion, v.area) == (first.effect.after.criterion, first.effect.after.area)
    )
    assert (
        after.value == first.effect.after.value
        and m.advice.trial.button.layout.display == "inline-flex"
    )
    m.advice.trial.button.click()
    assert (
        m.scenario == before
        and m.start is start
        and m.advice.trial.button.layout.display == "none"
        and "Put back" in m.advice.words.value
    )


@pytest.mark.parametrize("which", ["aims", "advice"])
def test_the_way_back_ends_when_something_else_is_moved(which):
    """What was tried can be put back after another use or other units were looked at, not after
    anything was moved; treatment and arrangement come back too.
    """
    m = panel("dovecote")
    m.set(("groups", 0, "downtilt_deg"), 5.0)
    m._treat(0, area=40.0)
    m.live()
    before, treated = m.scenario, list(m.treated)

    def tried():
        if which == "advice":
            m.advice.start()
            next(c for c in m.advice.list.children if hasattr(c, "children")).children[0].click()
        else:
            m.aims.trace.value = False
            m.aims.start()

    trial = getattr(m, which).trial
    tried()
    assert m.scenario != before and trial.button.layout.display == "inline-flex"
    m.controls["units"].value = "ft"
    m.controls["use"].value = "class"
    assert trial.button.layout.display == "inline-flex" and trial.stands
    trial.button.click()
    assert (
        replace(m.scenario, units="m") == before
        and m.treated == treated
        and trial.button.layout.display == "none"
    )
    m.controls["use"].value = "game"
    tried()
    m.set(("groups", 0, "height"), 5.0)
    assert trial.button.layout.display == "none" and not trial.stands
    assert m.scenario.groups[0].height == 5.0


def test_work_that_fails_leaves_the_buttons_to_the_hand(monkeypatch):
    """A refusal in the middle of work is said in one line, and everything can be pressed again; a
    programming error is raised.
    """
    m = panel("dovecote")
    m.options.pin()

    def refused(*_, **__):
        raise ValueError("two loudspeakers meet")

    for module, name in (
        (uncertainty_panel, "how_sure"),
        (advice_panel, "advise"),
        (aim_panel, "aim"),
        (options_panel, "option"),
    ):
        monkeypatch.setattr(module, name, refused)
    m.sure.start()
    m.advice.start()
    m.aims.start()
    m.options.trace()
    for one, button in (
        (m.sure, m.sure.draw),
        (m.advice, m.advice.ask),
        (m.aims, m.aims.find),
        (m.options, m.options.trace_button),
    ):
        assert one.words.value.endswith(
            "two loudspeakers meet</span>" if one is m.options else "two loudspeakers meet"
        )
        assert not button.disabled and not one.aside.running and one.aside.error.value == ""
    assert len(m.options.options) == 1
    monkeypatch.setattr(uncertainty_panel, "how_sure", lambda *_, **__: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        m.sure.start()
    assert not m.sure.draw.disabled and "ZeroDivisionError" in m.sure.aside.error.value

    async def in_a_kernel():
        m.sure.start()
        await asyncio.sleep(0.3)

    monkeypatch.setattr(uncertainty_panel, "how_sure", refused)
    asyncio.run(in_a_kernel())
    assert not m.sure.draw.disabled and m.sure.words.value.endswith("two loudspeakers meet")


def test_advice_and_ranges_of_another_state_are_taken_away():
    """When something moves, what was computed for another state says so; a change of the quantity
    shown alone leaves it.
    """
    m = panel("dovecote")
    m.advice.start()
    m.sure.start()
    assert m.advice.list.children and "least likely to hold" in m.sure.words.value
    m.controls["quantity"].value = "sti"
    assert m.advice.list.children and "least likely to hold" in m.sure.words.value
    m.set(("groups", 0, "downtilt_deg"), 41.0)
    assert (
        not m.advice.list.children
        and "Ask again" in m.advice.words.value
        and "Draw again" in m.sure.words.value
    )


def test_ranges_are_the_librarys():
    """The table of the panel has one row a criterion with the library's numbers; unknowns typed are
    used.
    """
    m = panel("dovecote")
    m.sure.unknowns["noise_db"].value = 0.0
    m.sure.start()
    found = gymtools.how_sure(m.scenario, "game", unknowns=InputSpread(noise_db=0.0))
    assert (
        m.sure.words.value.count("<svg") == len(found.ranges) and "noise 0 dB" in m.sure.words.value
    )
    for r in found.ranges:
        assert f">{100 * r.chance:.0f} %</td>" in m.sure.words.value
    assert m.sure.found.ranges[0].values == pytest.approx(found.ranges[0].values)


def test_options_are_pinned_compared_shown_and_removed():
    """Two states pinned: headlines, differences and maps of both on one scale; shown again exactly;
    names are kept apart.
    """
    m = panel("dovecote")
    m.options.pin()
    m.set(("groups", 0, "downtilt_deg"), 50.0)
    second = m.scenario
    m.options.name.value = "<b>steep</b>"
    m.options.pin()
    assert [o.name for o in m.options.options] == [
        "A",
        "<b>steep</b>",
    ] and m.options.name.value == "B"
    table = m.options.table.value
    assert (
        "&lt;b&gt;steep&lt;/b&gt;" in table
        and "<b>steep" not in table
        and "tilt" in table
        and "50°" in table
    )
    figure = m.options.stand.children[0]
    maps = [t for t in figure.data if t.type == "heatmap"]
    assert len({t.xaxis for t in maps}) == 2 and {t.coloraxis for t in maps} == {"coloraxis"}
    one = next(t for t in maps if t.xaxis == "x3" and t.name == "plan map 1")
    result = gymtools.evaluate(second, "game")
    shown = np.sort(np.array(one.z, float).ravel())
    assert shown == pytest.approx(
        np.sort(result.level_db[result.area == "bleachers", 4]), abs=0.006
    )
    m.options.pin()
    m.options.name.value = "B"
    m.options.pin()
    assert "there is an option" in m.options.words.value
    m.options.chosen.value = "A"
    m.options.show()
    assert m.scenario.groups == m.options.options[0].scenario.groups != second.groups
    m.options.drop()
    assert [o.name for o in m.options.options] == ["<b>steep</b>", "B"]
    for k in range(6):
        m.options.name.value = f"more {k}"
        m.options.pin()
    assert len(m.options.options) == 6 and "Remove one first" in m.options.words.value
    m.options.name.value = " "
    m.options.pin()
    assert "needs a name" in m.options.words.value


def test_all_combinations_go_to_a_file_and_the_best_are_pinned(tmp_path):
    """Combinations chosen in the lists are the sweep's, written to a file; what nothing beats is
    pinned; a second run adds nothing to it.
    """
    m = panel("dovecote", tmp_path)
    m.options.generated.selected_index = 0
    lists = m.options.lists
    lists["arrangement"].value = list(lists["arrangement"].options)[:3]
    lists["treatment"].value = list(lists["treatment"].options)[:2]
    assert m.options.count.value.startswith("6 combinations")
    m.options.generate()
    (file,) = tmp_path.glob("*.csv")
    rows = file.read_text().splitlines()
    assert len(rows) == 7 and "6 of 6 combinations" in m.options.found.value
    m.options.pin_best()
    kept = {o.name: o.headlines for o in m.options.options}
    assert kept and all(
        dominated_by(h, {k: v for k, v in kept.items() if k != name}) is None
        for name, h in kept.items()
    )
    m.options.generate()
    assert file.read_text().splitlines() == rows
    file.write_text("another,table\n1,2\n")
    m.options.generate()
    assert "holds another table" in m.options.words.value and not m.options.find.disabled
    lists["height"].value = []
    assert m.options.find.disabled and "at least one" in m.options.count.value


def test_a_trace_does_not_touch_an_option_pinned_meanwhile():
    """While options are traced one is removed and another pinned under its name: that one stays, by
    formula.
    """
    m = panel("dovecote")
    m.options.pin()
    old = m.options.options[0]

    async def traced():
        m.options.trace()
        m.options.drop()
        m.set(("groups", 0, "downtilt_deg"), 50.0)
        m.options.name.value = "A"
        m.options.pin()
        while m.options.aside.running:
            await asyncio.sleep(0.02)

    asyncio.run(traced())
    (o,) = m.options.options
    assert (
        o is not old
        and o.room == "statistical"
        and o.scenario.groups[0].downtilt_deg == 50.0
        and "not all" in m.options.words.value
    )


def test_other_units_keep_the_combinations_that_were_chosen(tmp_path):
    """The units are switched with the list open: the same choices, said in the other units, and
    they can be evaluated.
    """
    m = panel("dovecote", tmp_path)
    m.options.generated.selected_index = 0
    m.options.lists["height"].index = (1, 2)
    m.controls["units"].value = "ft"
    assert m.options.lists["height"].index == (1, 2) and all(
        " ft " in word for word in m.options.lists["height"].value
    )
    m.options.generate()
    assert "2 of 2 combinations" in m.options.found.value


def test_an_option_that_cannot_be_drawn_is_not_kept(monkeypatch):
    """What fails on the way into the figure leaves the options as they were; options with other
    uses are drawn with their own.
    """
    m = panel("dovecote")
    m.options.pin()
    m.options._keep("other uses", replace(m.scenario, uses=m.scenario.uses[1:]))
    assert len(m.options.options) == 2 and any(
        "class" in a.text for a in m.options.stand.children[0].layout.annotations
    )
    monkeypatch.setattr(
        options_panel.options_chart, "figure", lambda *_: (_ for _ in ()).throw(ValueError("no"))
    )
    m.options.pin()
    assert len(m.options.options) == 2 and "Not possible" in m.options.words.value


def test_options_can_be_traced():
    """The traced figures of an option equal a traced evaluation of it."""
    m = panel("dovecote")
    m.options.pin()
    m.options.trace()
    (o,) = m.options.options
    traced = gymtools.evaluate_all(o.scenario, room="traced").results
    assert o.room == "traced" and o.headlines["clarity"] == round(
        min(a.sti_p10 for r in traced.values() for a in r.areas), 2
    )
    assert "room traced" in m.options.table.value


# --- parts and the loudspeaker


def open_tab(m, name):
    m.tabs.selected_index = TABS.index(name)


def test_parts_follow_what_is_chosen(tmp_path):
    """The tab shows the library's schedules; who runs it, lines, runs and a price book change them
    and the scenario; what cannot be is said.
    """
    m = panel("dovecote", tmp_path)
    open_tab(m, "Parts and schedules")
    for schedule in schedules(parts(m.scenario)):
        assert schedule_table(schedule) in m.parts.tables.value
    m.parts.operator.value = "nobody"
    assert m.scenario.equipment.operator == "nobody" and "Mixer: automatic" in m.parts.tables.value
    m.parts.group.value = "floor pair"
    m.parts.line.value = 70.7
    m.parts.run.value = 44
    assert (
        m.scenario.equipment.wired("floor pair").line_volts == 70.7
        and "70.7 V line" in m.parts.tables.value
        and "44.0" in m.parts.tables.value
    )
    m.parts.amplifier.value = "two by 150"
    assert "drives no line" in m.parts.tables.value
    m.parts.amplifier.value = None
    m.parts.group.value = "wall pair"
    assert m.parts.line.value is None and m.parts.run.value == 0
    m.parts.book.value = "none.csv"
    assert "there is no such price book" in m.parts.words.value
    (tmp_path / "own.csv").write_text(
        resources.files("gymtools")
        .joinpath("data", "prices.csv")
        .read_text()
        .replace(",1180,", ",1,")
        .replace(",860,2.5", ",999,2.5")
    )
    m.parts.book.value = "own.csv"
    assert "999" in m.parts.tables.value and "Prices from own.csv" in m.parts.words.value
    m.set(("groups", 0, "downtilt_deg"), 41.0)
    assert "41.0° down from level" in m.parts.tables.value


def test_parts_to_both_ends():
    """Every choice of the tab to both ends: schedules, or one line that says why not."""
    m = panel("larkfield")
    open_tab(m, "Parts and schedules")
    for box in (m.parts.headroom, m.parts.loss, m.parts.run):
        keep = box.value
        for end in (box.min, box.max):
            box.value = end
            assert (
                "<caption>Bill</caption>" in m.parts.tables.value
                or "Not possible" in m.parts.tables.value
            ) and m.message.value == ""
        box.value = keep
    for box in (
        m.parts.operator,
        m.parts.conductor,
        m.parts.group,
        m.parts.line,
        m.parts.amplifier,
    ):
        keep = box.value
        for _, value in [o if isinstance(o, tuple) else (o, o) for o in box.options]:
            box.value = value
            assert (
                "<caption>Bill</caption>" in m.parts.tables.value
                or "Not possible" in m.parts.tables.value
            ) and m.message.value == ""
        box.value = keep


def test_files_are_written_once_and_replaced_only_when_asked(tmp_path):
    m = panel("dovecote", tmp_path)
    m.parts.write_button.click()
    assert "files are in dovecote-primary-school-schedules" in m.parts.words.value and len(
        list(tmp_path.rglob("*.dxf"))
    ) == len(m.start.uses)
    m.parts.write_button.click()
    assert (
        "exists" in m.parts.words.value and m.parts.replace_button.layout.display == "inline-flex"
    )
    m.parts.replace_button.click()
    assert "files are in" in m.parts.words.value and m.parts.replace_button.layout.display == "none"


def test_the_loudspeaker_is_shown_closely():
    """Polars, angles, index and balloon are the chosen group's type's, and it says that it is
    generic.
    """
    m = panel("dovecote")
    open_tab(m, "The loudspeaker")
    kind = m.scenario.loudspeakers[0].type
    words, figure = m.closely.children[0].value, m.closely.children[1]
    assert kind.name in words and "generic: made from nominal angles, not measured" in words
    two_k = next(t for t in figure.data if t.name == "2k Hz" and t.subplot == "polar")
    assert np.array(two_k.r) == pytest.approx(np.maximum(kind.balloon_db[:, 18, 4], -30))
    assert np.array(
        next(t for t in figure.data if t.name == "directivity index").y
    ) == pytest.approx(kind.index_db)
    m.controls["group"].value = "floor pair"
    assert "pendant 100" in m.closely.children[0].value


def test_a_decision_is_put_on_file(tmp_path):
    """The chosen option goes on file against the others; a second time is refused until it is
    allowed.
    """
    m = panel("dovecote", tmp_path)
    m.set(("uses", 0, "target_dba"), 84.0)
    m.options.pin()
    m.set(("groups", 0, "downtilt_deg"), 40.0)
    m.options.pin()
    m.options.chosen.value = "B"
    m.options.put_on_file(False)
    (record,) = tmp_path.rglob("record.html")
    assert "files are in dovecote-primary-school-schedules" in m.options.words.value
    text = record.read_text(encoding="utf-8")
    assert "Option <bdi>B</bdi>" in text and "Why not <bdi>A</bdi>" in text
    m.options.put_on_file(False)
    assert (
        "exists" in m.options.words.value
        and m.options.replace_button.layout.display == "inline-flex"
    )
    m.options.replace_button.click()
    assert (
        "files are in" in m.options.words.value
        and m.options.replace_button.layout.display == "none"
    )
