"""The design workbook's panel, driven without a browser: every control, every refusal, saving."""

import asyncio
import re
import shutil
from dataclasses import replace
from functools import partial
from html import escape
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from cases import usual
from ipywidgets.widgets.widget import _instances as open_widgets
from test_jobs import until

import gymtools
from gymtools.commissioning.plan_time import timed_decision, timed_parts
from gymtools.design.advice import sentence
from gymtools.design.decision import decide
from gymtools.design.dragging import handles
from gymtools.design.input_errors import InputSpread
from gymtools.design.options import dominated_by
from gymtools.design.uncertainty import how_sure
from gymtools.display import scene
from gymtools.display.documents.page import quoted
from gymtools.display.panel import advice as advice_panel
from gymtools.display.panel import aim as aim_panel
from gymtools.display.panel import combinations as combinations_panel
from gymtools.display.panel import options as options_panel
from gymtools.display.panel import parts as parts_panel
from gymtools.display.panel import pins
from gymtools.display.panel import uncertainty as uncertainty_panel
from gymtools.display.panel.controls import UNSET
from gymtools.display.panel.loudspeaker_type import LoudspeakerTab
from gymtools.display.panel.meeting import TABS, Meeting
from gymtools.display.panel.plan import PlanSection
from gymtools.display.panel.readouts import VerdictsTab
from gymtools.display.panel.ringing import RoomTab
from gymtools.display.panel.save import SaveSection
from gymtools.display.panel.seat import SeatTab
from gymtools.display.panel.toolbar import Refusals
from gymtools.display.refusals import plain_refusal
from gymtools.display.tables import schedule_table
from gymtools.display.theme import QUANTITIES
from gymtools.equipment.schedules import parts, schedules
from gymtools.venue.measured_room import MeasuredRoom, RoomFit
from gymtools.venue.microphones import MICROPHONE_TYPES
from gymtools.venue.units import FOOT

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
NAMES = sorted(p.stem for p in SCENARIOS.glob("*.toml"))
DOVECOTE = gymtools.load(SCENARIOS / "dovecote.toml")
SMALL = replace(  # few seats and two uses: quick to search, to draw and to trace
    DOVECOTE,
    banks=(replace(DOVECOTE.banks[0], rows=2, length=9.0),),
    uses=DOVECOTE.uses[:2],
)
NORTH = ("groups", "north row")  # of Larkfield
WALL = ("groups", "wall pair")  # of Dovecote
DOWN = (*WALL, "downtilt_deg")


def panel(scenario="larkfield", folder="."):
    """A panel on a scenario, or on a file by its name."""
    if isinstance(scenario, str):
        scenario = SCENARIOS / f"{scenario}.toml"
    return Meeting(scenario, folder)


@pytest.fixture(scope="module")
def opened():
    """One panel on Larkfield for the tests that undo what they did."""
    return panel()


@pytest.fixture
def lark(opened):
    """The shared panel, brought back to its first state by its own history."""
    back_to_start(opened)
    yield opened
    back_to_start(opened)
    assert opened.scenario == opened.start and not opened.refusal


def back_to_start(m):
    while m.history.can_undo:
        m.history.undo()
    m.update(tab="verdicts", seat=None, trace=True)


def words(m, kind):
    """What a tab of words says."""
    section = m.sections[kind]
    return getattr(section, "tables", section.box).value


def message(m):
    """The line on what cannot be."""
    return "".join(x.value for x in m.sections[Refusals].box.children if hasattr(x, "value"))


def edges(m):
    """The edges of the beam in the drawn section."""
    return np.frombuffer(m.sections[PlanSection].box.sheet.cut["edges"], np.float32)


def go_back_button(m):
    return m.controls.get("go back")


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


def kind_of(path, school):
    """What a control stands for once: itself in the small school; in the larger ones, whose pages
    are made alike, what it sets of any thing.
    """
    return path if school == "dovecote" or isinstance(path, str) else (path[0], path[-1])


@pytest.mark.parametrize("name", usual(NAMES, "dovecote", "larkfield"))
def test_every_slider_to_both_ends(name):
    """Behavior: each end of every slider is drawn, or refused in one line while the last possible
    picture stays; of the larger schools' sliders one of a kind, to one end.
    """
    m, seen, refused = panel(name), set(), 0
    m.update(tab="limits")  # no words to write at every step
    for group in [g.name for g in m.start.groups]:
        m.update(group=group)
        for path in [p for p, c in m.controls.items() if hasattr(c, "min")]:
            if kind_of(path, name) in seen:
                continue
            seen.add(kind_of(path, name))
            ends = ("min", "max") if name == "dovecote" else (("min", "max")[len(seen) % 2],)
            for end in ends:
                before = m.state
                m.controls[path].value = getattr(m.controls[path], end)
                refused += bool(m.refusal)
                assert message(m).count("<b>") == bool(m.refusal) and "\n" not in m.refusal, path
                sound(m)
                if m.state is not before:
                    m.undo()
            assert not m.refusal and m.scenario == m.start, path
    assert refused, "some ends are impossible (a loudspeaker outside the gym)"
    few = gymtools.evaluate(m.start, m.state.use, rays="few")
    assert m.result.sti == pytest.approx(few.sti, abs=1e-6)


@pytest.mark.parametrize("name", usual(NAMES, "dovecote"))
def test_every_choice(name):
    """Behavior: every entry of every list, and every tick box, is drawn or refused in one line; of
    the larger schools' lists one of a kind, and of it every third entry.
    """
    m, third, seen = panel(name), 1 if name == "dovecote" else 3, set()
    m.update(tab="limits")
    for key in ("quantity", "area", "units", "use"):
        for option in list(m.controls[key].options):
            m.controls[key].value = option[1] if isinstance(option, tuple) else option
            assert not m.refusal and np.isfinite(m.result.sti).all()
    for path, control in list(m.controls.items()):
        if not isinstance(path, tuple) or path[0] == "equipment":
            continue
        if hasattr(control, "options"):
            if kind_of(path, name) in seen:
                continue
            seen.add(kind_of(path, name))
            for option in control.options[:: third if len(control.options) <= 14 else 9]:
                m.controls[path].value = option[1] if isinstance(option, tuple) else option
                # a large loudspeaker does not fit where a small one hung at the wall
                large = path[-1] == "loudspeaker" and ": its enclosure reaches" in m.refusal
                assert not m.refusal or large, (path, option, m.refusal)
        elif isinstance(getattr(control, "value", None), bool):
            m.controls[path].value = not control.value
            assert not m.refusal and m.controls[path].value != control.value or control.comm
            m.undo()


def test_tilt_changes_map_section_and_scorecard(lark):
    """Behavior: the control the job turns on: map, section and words all follow the tilt."""
    m = lark

    def shown():
        return [
            values(m.figure, "map", "intensity"),
            edges(m),
            words(m, VerdictsTab),
        ]

    before = shown()
    m.controls[*NORTH, "downtilt_deg"].value = 50
    after = shown()
    assert not np.allclose(before[0], after[0]) and not np.array_equal(before[1], after[1])
    assert before[2] != after[2] and m.scenario.groups[0].downtilt_deg == 50


def test_row_depth_moves_the_bank_on_the_floor(lark):
    """Closed form: ten rows of 2.5 ft reach 25 ft into the gym, in the mesh and in the scenario."""
    m = lark
    m.controls["banks", "north bank", "row_run"].value = 2.5
    assert m.scenario.banks[0].depth == pytest.approx(25 * FOOT)
    bank = m.result.configuration.areas["north bank"]
    assert bank.points[:, 1].min() == pytest.approx((48 - 23.75) * FOOT)  # middle of the front row
    assert m.sections[PlanSection].box._view.result is m.result


def test_a_combination_that_cannot_be_keeps_the_picture(lark):
    """Behavior: it is refused in one line that names the thing and the range; nothing the user had
    is lost.
    """
    m = lark
    before, card = values(m.figure, "map", "intensity"), words(m, VerdictsTab)
    slider = m.controls[*NORTH, "x"]
    slider.value = slider.max
    assert "hangs outside" in m.refusal and "N1" in m.refusal and m.refusal in message(m)
    assert np.array_equal(before, values(m.figure, "map", "intensity"))
    assert card == words(m, VerdictsTab)
    m.controls[*NORTH, "x"].value = 0.0
    assert not m.refusal and message(m) == ""


def test_values_that_only_fit_together_may_pass_through_an_impossible_state(lark):
    """Behavior: a clear height above the walls is refused until the walls follow; then both
    hold.
    """
    m = lark
    m.controls["hall", "clear_height"].value = 32
    assert "above the roof" in m.refusal
    m.controls["hall", "height"].value = 34
    assert not m.refusal and m.scenario.hall.clear_height == pytest.approx(32 * FOOT)


def test_units_may_be_switched_without_moving_a_thing(lark):
    """Invariance: six switches leave every length as it was, to the last digit."""
    m = lark
    before = m.scenario
    for units in ("m", "ft") * 3:
        m.controls["units"].value = units
    assert m.scenario == before


def test_the_same_in_meters_and_in_feet(lark):
    """Closed form: a slider set in meters after a switch gives the meters."""
    m = lark
    m.controls["units"].value = "m"
    m.controls["hall", "length"].value = 40.0
    assert m.scenario.hall.length == pytest.approx(40.0)
    m.controls["units"].value = "ft"
    assert m.controls["hall", "length"].value == pytest.approx(131.0, abs=0.3)
    assert m.scenario.hall.length == pytest.approx(40.0)


def test_treatment_sliders_add_and_remove_panels():
    """Behavior: panels on a wall shorten the reverberation; taken off, the room is as before."""
    m = panel(SMALL)
    before = m.result.rt_mid
    m.controls["treatments", "north wall", "area"].value = 40
    assert m.result.rt_mid < before - 0.05
    m.controls["treatments", "north wall", "area"].value = 0
    assert m.result.rt_mid == pytest.approx(before)


# --- undo, redo, and what lives in the page


LEAD = "lead"


@pytest.mark.parametrize(
    "step",
    [
        lambda m: m.controls.__getitem__(DOWN).set_trait("value", 50),
        lambda m: m.controls["arrangement"].set_trait("value", "center four"),
        lambda m: m.controls[LEAD].set_trait("value", "wall pair"),
        lambda m: m.controls["units"].set_trait("value", "ft"),
        lambda m: m.controls["use"].set_trait("value", "class"),
        lambda m: m.controls["quantity"].set_trait("value", "sti"),
        lambda m: m.controls["uses", "game", "closed", "bleachers"].set_trait("value", False),
        lambda m: m.controls["treatments", "north wall", "area"].set_trait("value", 40),
        lambda m: m.controls["equipment", "operator"].set_trait("value", "nobody"),
        lambda m: (m.options.chosen.set_trait("value", "steep"), m.options.show()),
        lambda m: first_move(m).click(),
        lambda m: m.aims._done(better_aim(m)),
    ],
    ids=[
        "slider",
        "arrangement",
        "delays",
        "units",
        "use",
        "quantity",
        "tick",
        "treatment",
        "equipment",
        "option",
        "advice",
        "aim",
    ],
)
def test_undo_brings_back_what_stood(small, step):
    """Behavior: whatever was done, Undo brings back the design with its controls and its picture,
    and Redo does it again.
    """
    m = small
    m.set(DOWN, 41.0)
    before, drawn = m.state, values(m.figure, "map", "intensity")
    step(m)
    after = m.state
    assert after != before and not m.refusal
    m.controls["undo"].click()
    assert m.state == before and m.scenario == before.scenario
    assert np.array_equal(drawn, values(m.figure, "map", "intensity"))
    assert m.controls[DOWN].value == 41 and m.controls["use"].value == "game"
    m.controls["redo"].click()
    assert m.state == after and m.scenario == after.scenario
    assert m.controls["redo"].disabled and not m.controls["undo"].disabled


@pytest.fixture(scope="module")
def small_panel():
    m = panel(SMALL)
    m.options.pins.keep("steep", gymtools.venue.paths.changed(SMALL, {DOWN: 60.0}))
    return m


@pytest.fixture
def small(small_panel):
    """The shared panel on the small gym, brought back by its own history; a design is kept."""
    back_to_start(small_panel)
    return small_panel


def first_move(m):
    """The button of the first move that would help."""
    m.advice.start()
    return next(c for c in m.advice.list.children if hasattr(c, "children")).children[0]


def better_aim(m):
    """What a search would hand over, made up."""
    return SimpleNamespace(
        moved={DOWN: (m.value(DOWN), 55.0)},
        scenario=m.scenario,
        stopped=False,
        given_up=False,
        before=2.0,
        after=1.0,
        penalties_before=dict.fromkeys(aim_panel.LABELS, 2.0),
        penalties_after=dict.fromkeys(aim_panel.LABELS, 1.0),
        gains_buy={},
    )


def test_widgets_that_are_replaced_are_closed():
    """Regression: ten changes of use, group and units, with every tab opened, leave no more widgets
    alive than one of each; a browser reload brings back what is alive.
    """
    m = panel(SMALL)

    def round_trip():
        for use in ("class", "game"):
            m.controls["use"].value = use
        for group in ("floor pair", "wall pair"):
            m.controls["group"].value = group
        for units in ("ft", "m"):
            m.controls["units"].value = units
        m.controls["arrangement"].value = "center four"
        m.undo()
        m.options.redraw()

    for tab in ("seat", "options", "parts", "loudspeaker_type", "room"):
        m.update(tab=tab)
    m.options.pin()
    round_trip()
    alive = len(open_widgets)
    for _ in range(10):
        round_trip()
    assert len(open_widgets) == alive
    assert len(m.controls) < 150


def test_closed_widgets_do_nothing(small):
    """Regression: what is left of a replaced slider moves nothing."""
    m = small
    old = m.controls[DOWN]
    m.controls["group"].value = "floor pair"
    old.value = 60
    assert old.comm is None and m.scenario == m.start


def test_a_figure_that_the_page_did_not_draw_is_made_anew(small):
    """Behavior: a page that was too busy asks again; the new figure shows what stands and follows
    the sliders.
    """
    m = small
    m.set(DOWN, 50.0)
    old, watch = m.figure, m.frame.watch
    watch.asked += 1
    assert m.figure is not old and m.frame.children[0] is m.figure and old.comm is None
    sound(m)
    m.set(DOWN, 55.0)
    sound(m)


# --- saving


def test_saving_asks_before_it_replaces(tmp_path):
    """Behavior: a file is written once; the second time it is asked; what was there stays until it
    is said.
    """
    m = panel("larkfield", tmp_path)
    save = m.sections[SaveSection]
    m.set((*NORTH, "downtilt_deg"), 40.0)
    save.name.value = "option-a"
    save.button.click()
    path = tmp_path / "option-a.toml"
    saved = gymtools.load(path)
    assert saved == m.scenario and "# under the joists" in path.read_text(encoding="utf-8")
    m.set((*NORTH, "downtilt_deg"), 45.0)
    save.button.click()
    assert "exists" in save.words.value and gymtools.load(path) == saved
    assert save.replace_button.layout.display != "none"
    save.replace_button.click()
    assert gymtools.load(path).groups[0].downtilt_deg == 45


@pytest.mark.parametrize("name", ["", "../evil", "a/b", " "])
def test_saving_refuses_a_name_with_folders(small, name):
    """Behavior: only a plain name is written, and only into the folder."""
    save = small.sections[SaveSection]
    save.name.value = name
    save.button.click()
    assert "without folders" in save.words.value


def test_saving_what_cannot_be_or_where_nothing_is(tmp_path):
    """Behavior: a failed write is said, not raised; controls that cannot be are not saved."""
    gone = tmp_path / "gone"
    gone.mkdir()
    m = panel(SMALL, gone)
    save = m.sections[SaveSection]
    m.set((*WALL, "x"), 30.0)
    save.button.click()
    assert m.refusal and "Nothing was saved" in save.words.value and not list(gone.iterdir())
    m.undo()
    shutil.rmtree(gone)
    save.button.click()
    assert "cannot be written" in save.words.value


def test_a_file_is_saved_in_the_units_it_came_in(tmp_path):
    """Behavior: looking in meters does not turn a file written in feet into one in meters."""
    m = panel("larkfield", tmp_path)
    m.controls["units"].value = "m"
    save = m.sections[SaveSection]
    save.name.value = "option 1.5"
    save.button.click()
    text = (tmp_path / "option 1.5.toml").read_text(encoding="utf-8")
    assert 'units = "ft"' in text and gymtools.parse(text).hall == m.start.hall


# --- the figure


def test_late_viewers_get_the_present_state(lark):
    """Behavior: a page opened or reloaded later sees the figure as it stands, not as it was
    made.
    """
    m = lark
    m.controls[*NORTH, "downtilt_deg"].value = 50
    state = m.figure.get_state()
    sent = next(t for t in state["_widget_data"] if t["name"] == "beams")
    assert np.array_equal(_plain_array(sent["y"]), values(m.figure, "beams", "y"), equal_nan=True)
    sheet = m.sections[PlanSection].box.sheet
    assert sheet.get_state()["cut"] == sheet.cut and edges(m).size


def test_nothing_is_offered_to_outside_services(lark):
    """Behavior: plotly's button that uploads a chart is off."""
    assert lark.figure._config["showSendToCloud"] is False


def test_figures_share_the_code_of_the_page(lark):
    """Regression: plotly's 5 MB travel once, not with every figure."""
    lark.update(tab="seat")
    figures = (lark.figure, lark.sections[SeatTab].figure)
    assert len({f._code_id for f in figures}) == 1
    assert all(len(f.get_state()["_esm"]) < 20_000 for f in figures)
    assert len(open_widgets[figures[0]._code_id].text) > 1_000_000


def test_a_page_that_reports_defaults_takes_nothing_from_the_figure(lark):
    """Regression: what a page takes for its default stays in the figure, so that a page opened
    later has it too.
    """
    figure = lark.figure
    trace = next(t for t in figure.data if t.name == "frame")
    figure._last_trace_edit_id = 7
    delta = {"uid": trace.uid, "line": {"color": "#123456", "width": 9}, "hoverinfo": "all"}
    figure._js2py_traceDeltas = {"trace_deltas": [delta], "trace_edit_id": 7}
    sent = next(t for t in figure.get_state()["_widget_data"] if t["name"] == "frame")
    assert sent["line"]["width"] == 1.5 and sent["hoverinfo"] == "skip"


# --- loudspeakers, microphones, seats


def test_an_arrangement_replaces_the_layout_and_can_be_edited(lark):
    """Behavior: rows are new, gym and seats stay as set by hand, sliders work on; one that misfits
    says why.
    """
    m = lark
    m.controls["hall", "length"].value = 120
    m.controls["arrangement"].value = "center four"
    names = [f"center {side}" for side in ("east", "north", "west", "south")]
    assert [g.name for g in m.scenario.groups] == names
    assert m.scenario.hall.length == pytest.approx(120 * FOOT)
    assert "gives up" in m.controls["arrangement words"].value
    m.controls["groups", "center east", "downtilt_deg"].value = 55
    assert m.scenario.groups[0].downtilt_deg == 55
    m.controls["arrangement"].value = "stage on a side"
    assert "built-in stage on a side" in m.controls["arrangement words"].value
    assert len(m.scenario.groups) == 4 and m.controls["arrangement"].value == ""
    sound(m)


def test_every_arrangement_draws():
    """Behavior: each arrangement of the list is drawn, or says what the gym would need."""
    m = panel("stonebridge")
    m.update(tab="limits")
    for _, key in m.controls["arrangement"].options[1:]:
        m.controls["arrangement"].value = key
        assert not m.refusal
        sound(m)
    assert len(m.scenario.groups) >= 2


def test_delays_are_set_by_one_choice():
    """Behavior: choosing a lead sets the delays of the other rows in this use alone; a lead that
    does not play is refused and moves nothing.
    """
    m = panel("alderway")
    m.controls[LEAD].value = "stage line"
    use = m.scenario.uses[0]
    assert use.group_setting("bank pair").delay_ms > 0 == use.group_setting("stage line").delay_ms
    assert not m.refusal and m.controls[LEAD].value == ""
    m.set(("uses", use.name, "groups", "stage line", "on"), False)
    stood = m.state
    m.controls[LEAD].value = "stage line"
    assert "neither 'talker' nor a group that plays" in m.refusal and m.state == stood
    go_back_button(m).click()
    assert not m.refusal and m.state == stood


def test_walking_map_shows_the_feedback_margin_and_its_zero_line(lark):
    """Behavior: the walking map covers floor and stage, follows the loudspeakers, and draws the
    outline where a microphone rings.
    """
    m = lark
    m.controls["use"].value = "performance"
    m.controls["show walking map"].click()
    before = values(m.figure, "map", "intensity")
    m.controls["walker"].value = "lavalier"
    lavalier = values(m.figure, "map", "intensity")
    assert lavalier.mean() < before.mean() - 8  # omni on the chest against cardioid at the lips
    assert lavalier.min() < 0 < lavalier.max() or (lavalier < 0).all()
    m.controls["uses", "performance", "target_dba"].value = 68
    mixed = values(m.figure, "map", "intensity")
    assert mixed.mean() > lavalier.mean() + 7
    m.controls["way"].value = 0.0
    one_way = values(m.figure, "map", "intensity")
    assert (one_way >= mixed - 1e-4).all()  # no worse than the worst way of facing


def test_microphones_open_and_close(lark):
    """Closed form: a second open microphone costs 3.01 dB of margin; its own controls appear."""
    m = lark
    one = m.result.microphones[0].margin_db[0]
    roving, names = "roving", [k.name for k in m.start.microphones]
    opened_now = [c.microphone.name for c in m.result.microphones]
    for name in set(opened_now) - {"announcer"}:
        m.controls["microphones", name, "open"].value = False
    assert len(m.result.microphones) == 1 and roving in names
    m.controls["microphones", roving, "open"].value = True
    assert [c.microphone.name for c in m.result.microphones] == ["announcer", roving]
    assert m.result.microphones[0].margin_db[0] == pytest.approx(one - 3.01, abs=0.01)
    assert ("microphones", roving, "distance") in m.controls
    m.controls["microphones", roving, "open"].value = False
    assert m.result.microphones[0].margin_db[0] == pytest.approx(one)


def test_a_drag_is_one_step_and_one_put_back_none(small):
    """Regression: a hand that rests while it drags still makes one step; Escape leaves none."""
    m, sheet = small, small.sections[PlanSection].box.sheet
    handle = next(h.key for h in handles(m.scenario) if h.kind == "position")

    def tell(**message):
        sheet._handle_custom_msg(message, [])

    before, steps = m.state, m.history.steps
    for _ in range(2):
        tell(kind="step", handle=handle, by=[1, 0])
        m.step.flush()  # the hand rests: of a slider the next move would be another step
    tell(kind="release", handle=handle)
    assert m.history.steps == steps + 1 and not m.state.same_design(before)
    m.undo()
    assert m.state.same_design(before)
    tell(kind="step", handle=handle, by=[1, 0])
    tell(kind="cancel", handle=handle)
    assert m.history.steps == steps and m.state.same_design(before)


def test_another_type_of_microphone_is_held_where_it_is_used(lark):
    """Behavior: a distance from the mouth that the new type is used at stays; any other gives
    way to the type's own, and one step back brings both.
    """
    m, path = lark, ("microphones", "announcer")
    near = m.state.value((*path, "distance")) or m.result.microphones[0].microphone.kind.distance
    m.set((*path, "distance"), near * 1.05)
    m.controls[(*path, "type")].value = "headset"
    assert not m.refusal and m.state.value((*path, "distance")) == near * 1.05
    m.undo()
    m.undo()
    m.controls[(*path, "distance")].value = m.controls[(*path, "distance")].max
    far = m.state.value((*path, "distance"))
    kept, given = m.state.value((*path, "type")), "lavalier"
    m.controls[(*path, "type")].value = given
    kind = MICROPHONE_TYPES[given]
    stays = kind.nearest <= far <= kind.farthest
    assert not m.refusal and m.state.value((*path, "distance")) == (far if stays else None)
    assert m.result.microphones[0].microphone.type == given and not stays
    m.undo()
    assert m.state.value((*path, "distance")) == far and m.state.value((*path, "type")) == kept


@pytest.mark.parametrize("units", ["m", "ft"])
def test_the_ends_of_a_slider_lie_inside_what_is_allowed(lark, units):
    """Invariance: the grid of a slider never reaches beyond the range of its thing: a mouth
    distance at both ends is accepted.
    """
    m = lark
    m.controls["units"].value = units
    path = ("microphones", "announcer", "distance")
    for end in ("min", "max"):
        m.controls[path].value = getattr(m.controls[path], end)
        assert not m.refusal


def test_one_seat_by_number_and_by_click(lark):
    """Behavior: a seat is chosen by typing its row and number, or by a click in the plan; its STI
    is that of the map.
    """
    m, tab = lark, lark.sections[SeatTab]
    m.update(tab="seat")
    m.controls["row"].value = 7
    m.controls["seat"].value = 20
    area = m.result.configuration.areas["north bank"]
    # point 18 of 49 lies within seat 20 of 53
    assert m.state.seat == 6 * area.columns + 18 == area.index_at(7, 20)
    assert f"STI {m.result.sti[m.state.seat]:.2f}" in tab.words.value
    assert "row 7 of 10" in tab.words.value
    stems = np.array(tab.figure.data[1].x)
    drawing = m.sections[PlanSection].box
    drawing.sheet._handle_custom_msg({"kind": "pin", "index": 300}, [])
    assert m.state.seat == 300 and not np.array_equal(stems, np.array(tab.figure.data[1].x))
    assert [name for name, *_ in drawing.sheet.said["marks"]] == ["picked seat"]
    m.controls["use"].value = "class"
    assert m.state.seat is None


def test_a_seat_that_is_gone_is_forgotten(lark):
    """Behavior: when rows are taken away the seat looked at may be gone; another is looked at."""
    m = lark
    m.look_at(len(m.result.points) - 1)
    m.set(("banks", "north bank", "rows"), 2)
    assert m.state.seat is None and not m.refusal


def test_verdicts_are_deferred_until_a_slider_stops():
    """Behavior: in a kernel a change draws the picture at once and leaves words and verdicts, with
    the echoes in them, to the moment when the slider has stopped.
    """
    m = panel(SMALL)

    async def move():
        m.set(DOWN, 41.0)
        m.live.flush()
        sound(m)
        moving = "verdicts" in vars(m.result)
        m.rest.flush()
        return moving, "verdicts" in vars(m.result)

    assert asyncio.run(move()) == (False, True)


def test_a_drag_is_one_step_back():
    """Behavior: the many values of one drag are undone at once."""
    m = panel(SMALL)

    async def drag():
        for value in (31.0, 35.0, 40.0):
            m.set(DOWN, value)
            m.live.flush()
        m.step.flush()
        m.set(DOWN, 50.0)
        m.live.flush()

    asyncio.run(drag())
    m.undo()
    assert m.value(DOWN) == 40
    m.undo()
    assert m.value(DOWN) == 30 and not m.history.can_undo


def test_a_refusal_blocks_nothing_it_does_not_touch_and_can_be_taken_back(lark):
    """Behavior: with a loudspeaker outside the gym the quantity and the use still switch; one
    button goes back to the last possible state.
    """
    m = lark
    m.controls[*NORTH, "downtilt_deg"].value = 40
    m.controls[*NORTH, "x"].value = m.controls[*NORTH, "x"].max
    assert go_back_button(m)
    m.controls["quantity"].value = "sti"
    assert values(m.figure, "map", "intensity") == pytest.approx(m.result.sti, abs=1e-6)
    m.controls["use"].value = "class"
    assert m.result.use.name == "class" and "hangs outside" in message(m)
    go_back_button(m).click()
    assert message(m) == "" and go_back_button(m) is None
    assert m.scenario.groups[0].downtilt_deg == 40 and m.scenario.groups[0].x == m.start.groups[0].x


def test_a_tab_goes_by_its_key(lark):
    """Behavior: a tab is opened by its key, not by its heading; another word is refused, and what
    stands stays.
    """
    keys = [tab.key for tab in TABS]
    assert len(set(keys)) == len(keys) == len({tab.title for tab in TABS}) and all(keys)
    with pytest.raises(ValueError, match=r"^tab 'Verdicts' is unknown\. Known: verdicts, advice, "):
        lark.update(tab="Verdicts")
    assert lark.state.tab == "verdicts"


def test_a_quantity_that_the_use_has_not_got_is_said():
    """Behavior: without a talker there is no image shift to draw: one line says so, and the way
    back shows another quantity.
    """
    m = panel(SMALL)
    m.set(("uses", "game", "microphones"), ())
    m.update(quantity="image_shift")
    assert "no voice to compare with" in message(m) and "Speech level" in message(m)
    assert scene.figure(m._drawn) and m._drawn.quantity == "speech", "the page may draw it anew"
    assert m.state.quantity == "image_shift"
    assert QUANTITIES["speech"].plain in m.sections[VerdictsTab].box.value
    m.update(trace=True)
    m.trace()
    assert m._drawn.quantity == "speech" and m._drawn.result.rays == "full"
    go_back_button(m).click()
    assert not m.refusal and m.state.quantity == "speech"


def test_what_stands_in_the_hall_is_ticked_per_use(lark):
    """Behavior: banks pulled out, chairs set out and the curtain are boxes of the use; sliders of
    what is not there are not shown.
    """
    m, chairs = lark, ("floor_seats", "graduation chairs", "length")
    assert chairs not in m.controls
    m.controls["uses", "game", "set_up", "graduation chairs"].value = True
    assert "graduation chairs" in m.result.configuration.areas and chairs in m.controls
    m.controls["uses", "game", "closed", "north bank"].value = False
    assert "north bank" not in m.result.configuration.areas
    assert m.controls["area"].value != "north bank"
    before = m.result.configuration.room.volume
    m.controls["uses", "game", "curtain_open"].value = True
    assert m.result.configuration.room.volume > before + 100
    assert m.scenario.uses[0].closed == ("north bank",) and not m.refusal


def test_numbers_in_paths_are_understood(lark):
    """Behavior: a script of earlier days that counts rows sets the same value, and is told."""
    with pytest.warns(FutureWarning, match="north row"):
        lark.set(("groups", 0, "downtilt_deg"), 40.0)
    assert lark.value((*NORTH, "downtilt_deg")) == 40


# --- few rays while something moves, all when nothing does


@pytest.fixture(scope="module")
def traced():
    """A panel on the small gym at rest: all rays have been followed."""
    m = panel(SMALL)
    m.update(quantity="sti")
    m.trace()
    return m


def test_all_rays_are_shown_at_rest_and_few_while_something_moves(traced):
    """Behavior: level, words, label of the map and the bar follow the rays; a move shows few rays
    again; without the tick no more are followed.
    """
    m, few = traced, traced.first

    def title():
        return m.figure.layout.annotations[0].text

    assert m.answer.settled and m.result.rays == "full" and "all rays" in title()
    assert "Shown: all rays." in m.tracing.words.value and not m.tracing.job.running
    assert f"{max(m.result.rt_mid_error, 0.05):.1f} s" in m.tracing.words.value, "by chance"
    assert m.tracing.job.bar.layout.visibility == "hidden"
    assert few.rays == "few" and np.abs(m.result.sti - few.sti).max() > 1e-3
    np.testing.assert_allclose(values(m.figure, "map", "intensity"), m.result.sti, atol=1e-6)
    whole = gymtools.evaluate(m.scenario, m.state.use)
    np.testing.assert_array_equal(m.result.sti, whole.sti)
    m.set(DOWN, 31.0)
    assert m.result is m.first and m.result.rays == "few" and "few rays" in title()
    assert "Shown: few rays" in m.tracing.words.value and not m.answer.settled
    m.tracing.begin()
    assert m.tracing.job.running and "Settling" in m.tracing.words.value
    m.controls["trace"].value = False
    assert not m.tracing.job.running
    m.controls["trace"].value = True
    m.undo()
    m.trace()
    assert m.result.rays == "full" and m.answer.settled
    m.controls["trace"].value = False
    assert m.result is m.first and "few rays" in title() and not m.answer.settled
    m.controls["trace"].value = True


def test_tabs_say_what_the_picture_says(traced):
    """Behavior: while the picture is of few rays every tab of words is too, at rest all are of all
    rays: verdicts, the room and one seat. Every other use has all rays at rest as well.
    """
    m = traced
    m.trace()
    for rays in ("full", "few"):
        if rays == "few":
            m.set(DOWN, 32.0)
        assert m.answer.rays == m.result.rays == rays
        m.update(tab="verdicts")
        fresh = gymtools.evaluate(m.scenario, m.state.use, rays=rays)
        for v in fresh.verdicts:
            assert escape(v.sentence) in words(m, VerdictsTab), (rays, v.criterion)
        m.look_at(10)
        assert f"STI {m.result.sti[10]:.2f}" in m.sections[SeatTab].words.value
        m.update(tab="room")
        own = m.result.own_decay
        for name, times in (("early decay EDT", own.edt), ("T20", own.t20), ("T30", own.t30)):
            assert name in words(m, RoomTab) and f"{times[3]:.2f}" in words(m, RoomTab)
        assert "textbook formula: Eyring with air" in words(m, RoomTab)
    m.undo()
    for use in m.scenario.uses:
        assert gymtools.acoustics.traced.Tracing(m.scenario, use.name).ready, use.name


def test_a_gain_needs_no_new_rays(traced):
    """Behavior: what was followed is used again: after a gain all rays are there without a pass."""
    m, told = traced, []
    m.trace()
    m.set(("uses", "game", "groups", "wall pair", "gain_db"), -3.0)
    assert m.result.rays == "few"
    m.tracing.job.bar.observe(lambda change: told.append(change["new"]), names="value")
    m.trace()
    assert m.result.rays == "full" and m.answer.settled and not [s for s in told if s > 0]
    m.undo()


def test_looking_at_something_else_keeps_the_trace(traced):
    """Behavior: another quantity or tab needs no new evaluation: all rays stay."""
    m = traced
    m.trace()
    shown = m.result
    m.update(quantity="speech")
    m.update(tab="room")
    assert m.result is shown
    m.update(quantity="sti", tab="verdicts")


def test_tracing_runs_beside_the_page():
    """Behavior: in a kernel, when nothing moves, the trace starts by itself and the bar moves; a
    slider moved in between gives it up and starts it anew.
    """
    m, shares = panel(SMALL), []
    m.tracing.job.bar.observe(lambda change: shares.append(change["new"]), names="value")

    async def stop_move_stop():
        m.set(("hall", "height"), m.start.hall.height + 0.2)
        m.live.flush()
        m.tracing.later.flush()
        assert m.tracing.job.running
        await until(lambda: [s for s in shares if s > 0])
        m.set(("hall", "height"), m.start.hall.height + 0.3)
        m.live.flush()
        assert not m.tracing.job.running
        m.tracing.later.flush()
        await until(lambda: m.answer.settled and not m.tracing.job.running, most=60)

    asyncio.run(stop_move_stop())
    assert m.scenario.hall.height == pytest.approx(m.start.hall.height + 0.3)
    assert len({s for s in shares if 0 < s < 1}) > 3 and m.tracing.job.error.value == ""


# --- a better aim


def test_a_better_aim_is_set_and_can_be_put_back(small, monkeypatch):
    """Behavior: the search sets the controls to what it found, says what is better and worse, and
    puts everything back on demand.
    """
    m = small
    monkeypatch.setattr(aim_panel, "aim", partial(gymtools.aim, evaluations=100, starts=1))
    m.set(DOWN, 5.0)
    before = m.scenario
    m.aims.start()
    assert m.aims.job.back.layout.display == "inline-flex" and m.scenario != before
    tilt = m.scenario.groups[0].downtilt_deg
    assert m.state.changes[DOWN] == tilt and m.controls[DOWN].value == tilt
    assert f"downtilt 5° → {tilt:g}°" in m.aims.words.value
    assert "weighed, over all uses" in m.aims.words.value
    m.aims.job.back.click()
    assert m.scenario == before and m.aims.job.back.layout.display == "none"


def test_the_search_runs_aside_and_can_be_stopped():
    """Behavior: in a kernel the search leaves the page its turns, stops with the best so far, and
    is given up when something moves.
    """
    m = panel(SMALL)
    m.update(tab="limits", trace=False)

    async def stopped():
        m.aims.start()
        assert m.aims.find.disabled and not m.aims.halt.disabled and m.searching
        await until(lambda: m.aims.job.bar.value > 0.02)
        m.aims.halt.click()
        await until(lambda: not m.searching)

    asyncio.run(stopped())
    assert "so far" in m.aims.words.value
    assert not m.aims.find.disabled and m.aims.job.error.value == ""

    async def moved():
        m.aims.start()
        m.set(("groups", m.state.group, "downtilt_deg"), 33.0)
        m.live.flush()
        return m.searching, m.aims.words.value

    assert asyncio.run(moved()) == (False, "Stopped, because something was changed.")
    assert m.scenario.groups[0].downtilt_deg == 33


def test_a_search_is_asked_for_what_is_ticked(small, monkeypatch):
    """Behavior: the search is asked in the one room there is; heights move where they are ticked;
    what is better with few rays only is given up and said.
    """
    m, asked = small, []

    def search(scenario, **options):
        asked.append(options)
        return better_aim(m)

    monkeypatch.setattr(aim_panel, "aim", search)
    m.aims.ticks["heights"].value = True
    m.aims.start()
    assert "room" not in asked[0] and "height" in asked[0]["move"]
    assert "weighed, over all uses<" in m.aims.words.value and m.value(DOWN) == 55
    m.aims.ticks["heights"].value = False
    m.aims._done(SimpleNamespace(moved={}, given_up=True, stopped=False, gains_buy={}))
    assert m.aims.words.value == aim_panel.GIVEN_UP


def test_what_cannot_be_aimed_is_said(small):
    """Behavior: a scenario that cannot be, or weights that are all zero: one line says so."""
    m = small
    m.set((*WALL, "x"), 30.0)
    for start, said in (
        (m.aims.start, m.aims.words),
        (m.advice.start, m.advice.words),
        (m.sure.start, m.sure.words),
        (m.options.pin, m.options.words),
    ):
        start()
        assert "Not possible:</b>" in said.value and "hangs outside" in said.value
    assert m.aims.find.disabled, "there is nothing to search from"
    m.undo()
    assert not m.aims.find.disabled
    kept = {name: slider.value for name, slider in m.aims.weights.items()}
    for slider in m.aims.weights.values():
        slider.value = 0.0
    m.aims.start()
    assert "nothing counts" in m.aims.words.value
    for name, slider in m.aims.weights.items():
        slider.value = kept[name]


def test_what_a_search_is_set_to_can_be_undone(small):
    """Behavior: ticks and weights are steps of the history like everything else."""
    m = small
    steps, name = m.history.steps, next(iter(m.aims.weights))
    start = m.aims.weights[name].kept
    m.aims.ticks["heights"].value = True
    m.aims._set((name,), 2.5)
    assert m.aims.weights[name].kept == 2.5 and m.history.steps == steps + 2
    m.undo()
    assert m.aims.weights[name].kept == start and m.aims.ticks["heights"].value
    m.undo()
    assert not m.aims.ticks["heights"].value and m.history.steps == steps
    m.redo()
    assert m.aims.ticks["heights"].value
    m.undo()
    broken = replace(m.state, search={"heights": "yes", name: None, "other": 1})
    assert aim_panel.settings_of(broken) == aim_panel.settings_of(replace(m.state, search={}))


# --- advice, how sure, options


def test_advice_is_tried_and_put_back(small):
    """Behavior: advice of the panel is the library's; a move tried is what the controls stand at,
    and the result once all rays are followed; it is put back to the last value.
    """
    m = small
    m.set(DOWN, 12.0)
    before, start = m.scenario, m.start
    first_move(m)
    found = gymtools.advise(before, "game")
    rows = [c for c in m.advice.list.children if hasattr(c, "children")]
    assert len(rows) == sum(len(a.proposals) for a in found) > 1
    for proposal, row in zip([p for a in found for p in a.proposals], rows, strict=True):
        assert escape(sentence(proposal)) in row.children[1].value
    first = found[0].proposals[0]
    rows[0].children[0].click()
    assert m.scenario == first.move.scenario and m.result.use.name == "game"
    effect = first.effect.after
    m.trace()
    after = next(
        v for v in m.result.verdicts if (v.criterion, v.area) == (effect.criterion, effect.area)
    )
    assert after.value == effect.value
    button, words = rows[0].children
    assert button.description == "Put it back" and words.value.count("<b>Tried:</b>") == 1
    button.click()
    assert m.scenario == before and m.start is start
    assert button.description == "Try it" and "Tried" not in words.value


def test_the_list_of_advice_stays_while_its_moves_are_tried(small):
    """Behavior: every move is tried from the design that was asked about, the one before it put
    back first; an undo a step; in another use and in other units the list stays.
    """
    m = small
    first_move(m)
    asked, steps = m.scenario, m.history.steps
    rows = [c for c in m.advice.list.children if hasattr(c, "children")]
    one, other = (row.children[0] for row in rows[:2])
    proposals = [p for a in gymtools.advise(asked, "game") for p in a.proposals]
    one.click()
    other.click()
    assert m.scenario == proposals[1].move.scenario and m.history.steps == steps + 3
    assert [row.children[0].description for row in rows[:2]] == ["Try it", "Put it back"]
    assert not any(row.children[0].disabled for row in rows)
    m.controls["units"].value = "ft"
    m.controls["use"].value = "class"
    assert m.advice.tried.move.words == proposals[1].move.words
    m.undo(), m.undo(), m.undo()
    assert replace(m.scenario, units=asked.units) == asked and m.advice.tried is None
    m.undo()
    assert m.advice.tried.move.words == proposals[0].move.words, "redone or undone, it is marked"


def test_the_way_back_ends_when_something_else_is_moved(small):
    """Behavior: what was tried can be put back after another use or other units were looked at, not
    after anything was moved; treatment and arrangement come back too.
    """
    m = small
    m.set(DOWN, 12.0)
    m.controls["treatments", "north wall", "area"].value = 40.0
    before, treated = m.scenario, m.state.treatments

    def tried():
        m.aims._done(better_aim(m))

    back = m.aims.job.back
    tried()
    assert m.scenario != before and back.layout.display == "inline-flex"
    m.controls["units"].value = "ft"
    m.controls["use"].value = "class"
    assert back.layout.display == "inline-flex"
    back.click()
    assert replace(m.scenario, units="m") == before and m.state.treatments == treated
    assert back.layout.display == "none"
    m.controls["use"].value = "game"
    tried()
    m.set((*WALL, "height"), 5.0)
    assert back.layout.display == "none" and m.scenario.groups[0].height == 5.0


def test_work_that_fails_leaves_the_buttons_usable(monkeypatch):
    """Behavior: a refusal in the middle of work is said in one line, and everything can be pressed
    again.
    """
    m = panel(SMALL)
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
    for start, one, button in (
        (m.sure.start, m.sure, m.sure.draw),
        (m.advice.start, m.advice, m.advice.ask),
        (m.aims.start, m.aims, m.aims.find),
        (m.options.trace, m.options, m.options.trace_button),
    ):
        start()
        assert "<b>Not possible:</b> two loudspeakers meet" in one.words.value
        assert not button.disabled and not one.job.running and one.job.error.value == ""
    assert len(m.options.options) == 1
    monkeypatch.setattr(uncertainty_panel, "how_sure", lambda *_, **__: 1 / 0)
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        m.sure.start()
    assert not m.sure.draw.disabled and "ZeroDivisionError" in m.sure.job.error.value


def test_advice_and_ranges_of_another_state_say_so(small, monkeypatch):
    """Behavior: when something moves, ranges of another state go, and advice stays to be read, in
    gray and out of order, until it is asked for again or the move is undone; a change of the
    quantity shown alone leaves both.
    """
    m = small
    monkeypatch.setattr(uncertainty_panel, "how_sure", partial(how_sure, draws=20))
    move = first_move(m)
    m.sure.start()
    assert m.advice.list.children and m.sure.found is not None
    m.controls["quantity"].value = "sti"
    assert m.advice.list.children and "<svg" in m.sure.words.value
    m.set(DOWN, 41.0)
    assert m.sure.found is None and "Draw again" in m.sure.words.value
    assert m.advice.list.children and move.disabled and "gt-stale" in m.advice.list._dom_classes
    assert "Ask again" in m.advice.words.value and m.advice.ask.description == "Ask again"
    at = m.state
    move.click()
    assert m.state is at
    m.undo()
    assert not move.disabled and "gt-stale" not in m.advice.list._dom_classes


def test_ranges_are_the_librarys(small, monkeypatch):
    """Behavior: the table of the panel has one row a criterion with the library's numbers; unknowns
    typed are used.
    """
    m, few = small, partial(how_sure, draws=20)
    monkeypatch.setattr(uncertainty_panel, "how_sure", few)
    m.sure.unknowns["noise_db"].value = 0.0
    m.sure.start()
    unknowns = replace(InputSpread.usual(m.scenario, "game"), noise_db=0.0)
    found = few(m.scenario, "game", unknowns=unknowns)
    assert m.sure.words.value.count("<svg") == len(found.ranges)
    assert "noise 0 dB" in m.sure.words.value
    for r, shown in zip(found.ranges, m.sure.found.ranges, strict=True):
        assert f">{100 * r.chance:.0f} %</td>" in m.sure.words.value
        assert shown.values == pytest.approx(r.values)
    m.sure.unknowns["noise_db"].value = InputSpread().noise_db


def test_a_fitted_room_narrows_what_is_unknown():
    """Behavior: once the room is fitted to what was measured in it, the boxes of How sure begin
    with what is left unknown; taken back, with what is usual.
    """
    times = {"500": 2.0, "1000": 2.0, "2000": 1.8}
    fit = RoomFit(measured_s=times, fitted_s=times, spread_pct=dict.fromkeys(times, 9.0))
    measured = MeasuredRoom(t20_s=times, closed=("bleachers",))
    m, fitted = panel(SMALL), replace(SMALL, measured_room=measured, room_fit=fit)
    m.update(tab="uncertainty")
    for scenario in (fitted, SMALL):
        usual = InputSpread.usual(scenario, "game")
        m.update(start=scenario)
        for name, box in m.sure.unknowns.items():
            assert box.value == getattr(usual, name), name
    narrow = InputSpread.usual(fitted, "game")
    assert narrow.decay_pct < usual.decay_pct <= InputSpread().decay_pct
    assert narrow.absorption_pct == 0.0 < usual.absorption_pct


def test_options_are_pinned_compared_shown_and_removed():
    """Behavior: two states pinned: headlines, differences and maps of both on one scale; shown
    again exactly; names are kept apart.
    """
    m = panel(SMALL)
    m.options.pin()
    m.set(DOWN, 50.0)
    second = m.scenario
    m.options.name.value = "<b>steep</b>"
    m.options.pin()
    assert [o.name for o in m.options.options] == ["A", "<b>steep</b>"]
    assert m.options.name.value == "B"
    table = m.options.table.value
    assert "&lt;b&gt;steep&lt;/b&gt;" in table and "<b>steep" not in table
    assert "tilt" in table and "50°" in table
    figure = m.options.stand.children[0].figure
    maps = [t for t in figure.data if t.type == "heatmap"]
    assert len({t.xaxis for t in maps}) == 2 and {t.coloraxis for t in maps} == {"coloraxis"}
    one = next(t for t in maps if t.xaxis == "x3" and t.name == "plan map 1")
    result = gymtools.evaluate(second, "game", rays="few")
    shown = np.sort(np.array(one.z, float).ravel())
    here = np.sort(result.level_db[result.area == "bleachers", 4])
    assert shown == pytest.approx(here, abs=0.006)
    for name in ("B", "B"):
        m.options.name.value = name
        m.options.pin()
    assert "there is a kept design" in m.options.words.value
    m.options.chosen.value = "A"
    m.options.show()
    assert m.scenario.groups == m.options.options[0].scenario.groups != second.groups
    m.options.drop()
    assert [o.name for o in m.options.options] == ["<b>steep</b>", "B"]


def test_as_many_options_as_can_be_compared():
    """Behavior: a seventh option and one without a name are refused in one line."""
    m = panel(SMALL)
    for name in "ABCDEF":
        m.options.pins.keep(name, SMALL)
    m.options.name.value = "G"
    m.options.pin()
    assert len(m.options.options) == pins.MOST == 6
    assert "Remove one first" in m.options.words.value
    m.options.name.value = " "
    m.options.pin()
    assert "needs a name" in m.options.words.value


def test_all_combinations_go_to_a_file_and_the_best_are_pinned(tmp_path):
    """Behavior: combinations chosen in the lists are the sweep's, written to a file; what no other
    betters is pinned; a second run adds nothing to it.
    """
    m = panel(SMALL, tmp_path)
    many = m.options.combinations
    many.box.selected_index = 0
    many.lists["arrangement"].value = list(many.lists["arrangement"].options)[:3]
    many.lists["treatment"].value = list(many.lists["treatment"].options)[:2]
    assert many.count.value.startswith("6 combinations")
    many.generate()
    (file,) = tmp_path.glob("*.csv")
    rows = file.read_text().splitlines()
    assert len(rows) == 7 and "6 of 6 combinations" in many.found.value
    many.pin_best()
    kept = {o.name: o.headlines for o in m.options.options}
    assert kept and all(
        dominated_by(h, {k: v for k, v in kept.items() if k != name}) is None
        for name, h in kept.items()
    )
    many.generate()
    assert file.read_text().splitlines() == rows
    file.write_text("another,table\n1,2\n")
    many.generate()
    assert "holds another table" in m.options.words.value and not many.find.disabled
    many.lists["height"].value = []
    assert many.find.disabled and "at least one" in many.count.value


def test_the_best_are_of_the_combinations_that_are_shown(tmp_path):
    """Regression: lists that are filled anew for another state, and a second run that is given up,
    left the best of the first run nothing to be built from.
    """
    m = panel(SMALL, tmp_path)
    m.update(trace=False)
    many = m.options.combinations
    many.box.selected_index = 0
    many.generate()
    m.update(units="ft")
    first = next(iter(many.lists))
    many.lists[first].index = (1,)

    async def give_up():
        many.generate()
        assert many.best_button.disabled and not many.rows, "what was found is no longer shown"
        m.options.job.discard()

    many.pin_best()
    assert m.options.pins.names == ["as it is"]
    asyncio.run(give_up())
    many.pin_best()
    assert m.options.pins.names == ["as it is"]


def test_a_trace_does_not_touch_an_option_pinned_meanwhile(monkeypatch):
    """Behavior: while all rays of options are followed one is removed and another pinned under its
    name: that one stays, with few rays.
    """
    m = panel(SMALL)
    m.update(trace=False)
    m.options.pin()
    old = m.options.options[0]
    monkeypatch.setattr(
        options_panel,
        "option",
        lambda name, s, prices, made: replace(old, name=name, rays="full"),
    )

    async def trace():
        m.options.trace()
        m.options.drop()
        m.set(DOWN, 50.0)
        m.options.name.value = "A"
        m.options.pin()
        await until(lambda: not m.options.job.running)

    asyncio.run(trace())
    (o,) = m.options.options
    assert o is not old and o.rays == "few" and o.scenario.groups[0].downtilt_deg == 50.0
    assert "not for all" in m.options.words.value


def test_other_units_keep_the_combinations_that_were_chosen(tmp_path):
    """Behavior: the units are switched with the list open: the same choices, said in the other
    units, and they can be evaluated.
    """
    m = panel(SMALL, tmp_path)
    many = m.options.combinations
    many.box.selected_index = 0
    many.lists["height"].index = (1, 2)
    m.controls["units"].value = "ft"
    assert many.lists["height"].index == (1, 2)
    assert all(" ft " in word for word in many.lists["height"].value)
    many.generate()
    assert "2 of 2 combinations" in many.found.value


def test_an_option_that_cannot_be_drawn_is_not_kept(monkeypatch):
    """Behavior: what fails on the way into the figure leaves the options as they were; options with
    other uses are drawn with their own.
    """
    m = panel(SMALL)
    m.options.pin()
    m.options.pins.keep("other uses", replace(m.scenario, uses=m.scenario.uses[1:]))
    figure = m.options.stand.children[0].figure
    assert len(m.options.options) == 2 and any("class" in a.text for a in figure.layout.annotations)
    monkeypatch.setattr(
        options_panel.options_chart, "figure", lambda *_: (_ for _ in ()).throw(ValueError("no"))
    )
    m.options.pin()
    assert len(m.options.options) == 2 and "Not possible" in m.options.words.value


def test_all_rays_of_options_can_be_followed():
    """Behavior: pinned while something moves an option has few rays; all rays of it are those of an
    evaluation of it. Options of few rays and of all are not compared.
    """
    m = panel(replace(SMALL, uses=SMALL.uses[:1]))
    m.options.pin()
    assert m.options.options[0].rays == "few" and "few rays" in m.options.table.value
    m.options.trace()
    (o,) = m.options.options
    results = gymtools.evaluate_all(o.scenario).results
    least = min(a.sti_p10 for r in results.values() for a in r.areas)
    assert o.rays == "full" and round(least, 2) in o.headlines.values()
    assert ">all rays<" in m.options.table.value and "few rays" not in m.options.table.value
    m.set(DOWN, 50.0)
    m.options.pin()
    assert [o.rays for o in m.options.options] == ["full", "few"]
    assert "are not compared" in m.options.table.value
    assert "▲" not in m.options.table.value and "▼" not in m.options.table.value


def test_a_decision_is_put_on_file(tmp_path, monkeypatch):
    """Behavior: the chosen option goes on file against the others; a second time is refused until
    it is allowed.
    """
    monkeypatch.setattr(options_panel, "decide", partial(decide, draws=20))
    m = panel(replace(SMALL, uses=SMALL.uses[:1]), tmp_path)
    m.update(trace=False)
    for name in "AB":
        m.options.name.value = name
        m.options.pin()
        m.set(("uses", "game", "target_dba"), 84.0)
    m.options.chosen.value = "B"
    m.options.reason.value = "Quieter <at> the desk."
    m.options.put_on_file(False)
    (record,) = tmp_path.rglob("record.html")
    assert "/dovecote-primary-school-schedules" in m.options.words.value
    text = record.read_text(encoding="utf-8")
    assert "<bdi>B</bdi> (chosen)" in text and "Why not <bdi>A</bdi>" in text
    m.options.put_on_file(False)
    assert "exists" in m.options.words.value
    assert m.options.replace_button.layout.display == "inline-flex"
    assert "Quieter &lt;at&gt; the desk." in text
    m.options.replace_button.click()
    assert "files are in" in m.options.words.value
    text = record.read_text(encoding="utf-8")
    assert "What has changed since revision 1" in text
    assert "Nothing that the figures come from has changed." in text
    assert m.options.replace_button.layout.display == "none"


# --- parts and the loudspeaker


def test_parts_follow_what_is_chosen(tmp_path):
    """Behavior: the tab shows the library's schedules, with the rays of the picture; who runs it,
    lines, runs and a price book change them and the scenario; what cannot be is said.
    """
    m = panel("dovecote", tmp_path)
    m.update(tab="parts")
    tab = m.parts
    for schedule in schedules(timed_parts(parts(m.scenario, rays=m.result.rays))):
        assert schedule_table(schedule, m.state.units) in tab.tables.value
    assert "throw [m]" in tab.tables.value and "[ft-in]" not in tab.tables.value
    m.update(units="ft")  # the page's own switch
    assert "throw [ft-in]" in tab.tables.value and "[m]" not in tab.tables.value
    m.update(units="m")
    m.controls["equipment", "operator"].value = "nobody"
    assert m.scenario.equipment.operator == "nobody" and "Mixer: automatic" in tab.tables.value
    m.controls["wired group"].value = "floor pair"
    wired = ("equipment", "wiring", "floor pair")
    m.controls[*wired, "line_volts"].value = 70.7
    m.controls[*wired, "run"].value = 44
    assert m.scenario.equipment.wired("floor pair").line_volts == 70.7
    assert "70.7 V line" in tab.tables.value and "44.0" in tab.tables.value
    m.controls[*wired, "amplifier"].value = "two by 150"
    assert "drives no line" in tab.tables.value
    m.controls[*wired, "amplifier"].value = UNSET
    # a list shows what stands for no choice of one's own, and goes back to it
    assert m.controls[*wired, "amplifier"].label == parts_panel.ANY
    assert m.scenario.equipment.wired("floor pair").amplifier is None
    assert m.controls["equipment", "conductor"].label == "as the units"
    m.controls["wired group"].value = "wall pair"
    other = ("equipment", "wiring", "wall pair")
    assert m.controls[*other, "line_volts"].label == "the cheapest way"
    assert m.controls[*other, "run"].value == 0
    m.controls[*other, "run"].value = 0.01
    assert "too short" in tab.words.value
    m.undo()
    tab.book.value = "none.csv"
    assert "there is no such price book" in tab.words.value
    prices = resources.files("gymtools").joinpath("data", "prices.csv").read_text()
    own = prices.replace(",1180,", ",1,").replace(",860,2.5", ",999,2.5")
    (tmp_path / "own.csv").write_text(own)
    tab.book.value = "own.csv"
    assert "999" in tab.tables.value and "Prices from own.csv" in tab.words.value
    m.set(DOWN, 41.0)
    assert "41.0° down from level" in tab.tables.value


def test_parts_to_both_ends():
    """Behavior: every choice of the tab to both ends: schedules, or one line that says why not."""
    m = panel(SMALL)
    m.update(tab="parts", trace=False)

    def shown():
        possible = "<caption>Bill</caption>" in m.parts.tables.value
        assert possible or "Not possible" in m.parts.tables.value
        assert not m.refusal

    equipment = [k for k in m.controls if isinstance(k, tuple) and k[0] == "equipment"]
    for path in (*equipment, "wired group"):
        control = m.controls[path]
        options = getattr(control, "options", None)
        ends = [o[1] if isinstance(o, tuple) else o for o in options or ()]
        for end in ends or (control.min, control.max):
            before = m.state
            m.controls[path].value = end
            shown()
            if m.state is not before:
                m.undo()


def test_files_are_written_once_and_replaced_only_when_asked(tmp_path):
    """Behavior: files for the installer are written; those of an earlier time are replaced only
    when that is said.
    """
    m = panel(SMALL, tmp_path)
    m.parts.write_button.click()
    assert "/dovecote-primary-school-schedules" in m.parts.words.value
    assert len(list(tmp_path.rglob("*.dxf"))) == len(list(tmp_path.rglob("*.pdf"))) == 1
    m.parts.write_button.click()
    assert "exists" in m.parts.words.value
    assert m.parts.replace_button.layout.display == "inline-flex"
    m.parts.replace_button.click()
    assert "files are in" in m.parts.words.value
    assert m.parts.replace_button.layout.display == "none"


def own_prices(folder, name="own.csv", labor="8500"):
    """A price book in which an hour of work is dear."""
    text = resources.files("gymtools").joinpath("data", "prices.csv").read_text()
    line = next(x for x in text.splitlines() if x.startswith("labor,hour"))
    kind, item, unit, _, rest = line.split(",", 4)
    dear = ",".join((kind, item, unit, labor, rest))
    (folder / name).write_text(text.replace(line, dear))


def test_one_price_book_for_everything(tmp_path, monkeypatch):
    """Regression: the book of the parts tab prices pinned options, the record that is put on file,
    what is traced, combinations and advice; pages name it.
    """
    monkeypatch.setattr(options_panel, "decide", partial(decide, draws=20))
    asked = {}
    monkeypatch.setattr(
        advice_panel, "advise", lambda *_, prices, **__: asked.update(advice=prices) or []
    )
    monkeypatch.setattr(
        combinations_panel, "sweep", lambda *_, prices, **__: asked.update(sweep=prices) or []
    )
    own_prices(tmp_path)
    m = panel(replace(SMALL, uses=SMALL.uses[:1]), tmp_path)
    m.update(trace=False)
    m.options.pin()
    cheap = m.options.options[0].headlines["cost"]
    assert "invented example prices" in m.options.table.value
    m.parts.book.value = "own.csv"
    book = m.prices.book
    total = sum(line.total for line in timed_parts(parts(m.scenario, prices=book)).lines)
    assert m.options.options[0].headlines["cost"] == round(total) > 2 * cheap
    assert "own.csv" in m.options.table.value and "invented" not in m.options.table.value
    m.options.trace()
    (o,) = m.options.options
    assert o.rays == "full" and o.prices == "own.csv" and o.headlines["cost"] > 2 * cheap
    m.options.put_on_file(False)
    record = (tmp_path / "dovecote-primary-school-schedules" / "record.html").read_text("utf-8")
    assert f"Priced by {quoted('own.csv')};" in record and "invented example" not in record
    chosen = timed_decision(decide({"A": m.scenario}, prices=book, draws=20)).chosen
    assert f"${chosen.row['cost']:,.0f}: $" in record
    m.advice.start()
    m.options.combinations.offer()
    m.options.combinations.generate()
    assert asked == {"advice": book, "sweep": book}
    m.parts.book.value = ""
    assert m.prices.book is None and m.options.options[0].prices != "own.csv"


def test_a_refused_price_book_writes_nothing(tmp_path):
    """Regression: while a refused book stands in the box no other one stands in for it: nothing is
    priced, nothing is written, and the refusal stays.
    """
    own_prices(tmp_path)
    m = panel(SMALL, tmp_path)
    m.update(trace=False, tab="parts")
    m.parts.book.value = "own.csv"
    m.parts.write_button.click()
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    m.parts.write_button.click()
    assert m.parts.replace_button.layout.display == "inline-flex"
    m.parts.book.value = "own.cvs"
    refusal = "own.cvs: there is no such price book"
    assert refusal in m.parts.words.value and refusal in m.parts.tables.value
    assert m.parts.write_button.disabled and m.parts.replace_button.layout.display == "none"
    m.parts.write(True)
    assert refusal in m.parts.words.value
    m.options.pin()
    assert refusal in m.options.words.value and not m.options.options
    m.advice.start()
    assert refusal in m.advice.words.value
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before
    m.parts.book.value = "own.csv"
    m.options.pin()
    m.parts.book.value = "none.csv"
    for act in (m.options.trace, lambda: m.options.put_on_file(True)):
        act()
        assert "none.csv: there is no such price book" in m.options.words.value
    assert m.options.options[0].prices == "own.csv"
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before
    m.parts.book.value = ""
    assert not m.parts.write_button.disabled


def test_nothing_is_written_of_what_cannot_be(tmp_path):
    """Regression: while the controls are at something that cannot be built, the button that writes
    schedules rests.
    """
    m = panel(SMALL, tmp_path)
    m.update(trace=False, tab="parts")
    assert not m.parts.write_button.disabled
    m.set((*WALL, "height"), 30.0)
    assert m.refusal and m.parts.write_button.disabled
    m.parts.write(False)
    assert "Not possible" in m.parts.words.value and not list(tmp_path.iterdir())
    go_back_button(m).click()
    assert not m.refusal and not m.parts.write_button.disabled


def test_the_loudspeaker_is_shown_closely():
    """Behavior: polars, angles, index and balloon are the chosen row's type's, and it says that it
    is generic.
    """
    m = panel(SMALL)
    m.update(tab="loudspeaker_type")
    box = m.sections[LoudspeakerTab].box
    kind = m.scenario.loudspeakers[0].type
    said, figure = box.children[0].value, box.children[1].figure
    assert kind.name in said and "generic: made from nominal angles, not measured" in said
    two_k = next(t for t in figure.data if t.name == "2 kHz" and t.subplot == "polar")
    assert np.array(two_k.r) == pytest.approx(np.maximum(kind.balloon_db[:, 18, 4], -30))
    index = next(t for t in figure.data if t.name == "directivity index")
    assert np.array(index.y) == pytest.approx(kind.index_db)
    m.controls["group"].value = "floor pair"
    assert "pendant 100" in box.children[0].value


def impossible(m):
    """Set the controls to something that cannot be built."""
    m.set((*WALL, "x"), 30.0)
    assert m.refusal


def test_going_back_leads_before_what_cannot_be(small):
    """Behavior: an option is shown from an impossible state and undone: Go back leads to what stood
    before the impossible state, not forward to the option in a circle.
    """
    m = small
    before = m.state
    impossible(m)
    m.options.chosen.value = "steep"
    m.options.show()
    assert not m.refusal and m.value(DOWN) == 60
    m.undo()
    assert m.refusal
    go_back_button(m).click()
    assert not m.refusal and m.state == before
    m.undo()
    assert m.refusal and m.controls["undo"].disabled is False
    m.undo()
    assert m.state == before, "Undo goes on where it went before"


def test_going_back_when_nothing_that_is_kept_can_be():
    """Behavior: the history that is kept holds impossible states alone: what the picture shows is
    gone back to.
    """
    m = panel(SMALL)
    before = m.state
    impossible(m)
    m.history._states, m.history._now = [m.state], 0
    go_back_button(m).click()
    assert not m.refusal and m.state.same_design(before)


def test_a_refusal_speaks_the_words_of_the_page(small):
    """Behavior: no key of the file stands in it; what is in quotes is a name, and stays."""
    m = small
    m.set(("hall", "clear_height"), 15.0)
    assert "clear_height" in m.refusal
    said = m.sections[Refusals].board.widgets["refusal"].value
    assert "clear height under joists = " in said and "_" not in re.sub("<[^>]*>", "", said)
    words = "group 'row_a': downtilt_deg = 95 deg is outside; air.humidity_pct stays"
    plain = "group 'row_a': downtilt = 95 deg is outside; air.humidity_pct stays"
    assert plain_refusal(words) == plain


def test_treatment_ends_where_its_surface_does(small):
    """Closed form: the slider of a wall ends at the wall's area, in square feet by the foot."""
    m = small
    hall, key = m.scenario.hall, ("treatments", "east wall", "area")
    there = sum(s.area for s in m.scenario.room.surfaces if s.part == "east wall")
    assert there <= hall.width * hall.highest + 1e-6
    m.controls["units"].value = "ft"
    spec = m.controls[key].spec
    assert spec.high == pytest.approx(there)
    with pytest.raises(ValueError, match=r"^6,450 ft² .* is outside 0 ft² .* to [\d,.]+ ft²"):
        spec.read("6450", "ft")
    m.controls[key].value = spec.shown(there, "ft")
    assert not m.refusal and m.controls[key].spec.high == pytest.approx(there)


def test_nothing_is_on_offer_in_an_impossible_state(small):
    """Behavior: moves, ranges, a search under way and the buttons that begin or pin something are
    withdrawn as soon as the controls are set to something that cannot be built, and not before.
    """
    m = small
    move = first_move(m)
    assert m.advice.list.children and not m.advice.ask.disabled
    impossible(m)
    at = m.state
    assert move.disabled and "Ask again" in m.advice.words.value
    move.click()
    assert m.state is at, "a button that the page still had does nothing"
    buttons = [m.aims.find, m.advice.ask, m.sure.draw, m.options.pin_button, m.options.show_button]
    assert all(b.disabled for b in buttons)
    m.controls["arrangement"].value = "pendant grid"
    assert m.state is at and "cannot be built" in m.controls["arrangement words"].value
    m.undo()
    assert m.aims.find in buttons and not any(b.disabled for b in buttons)


def test_a_search_is_given_up_when_the_controls_cannot_be_built(monkeypatch):
    """Behavior: what it finds is not set on top of an impossible state."""
    m, going = panel(SMALL), {"stopped": False}
    found = SimpleNamespace(moved={DOWN: (30.0, 55.0)}, given_up=False, stopped=True, gains_buy={})

    def search(*_, stop, **__):
        while not stop():
            pass
        going["stopped"] = True
        return found

    monkeypatch.setattr(aim_panel, "aim", search)

    async def run():
        m.aims.start()
        m.set((*WALL, "x"), 30.0)
        await until(lambda: m.refusal)
        await until(lambda: going["stopped"])

    asyncio.run(run())
    assert not m.searching and m.value(DOWN) == 30 and "changed" in m.aims.words.value


def test_a_record_that_is_being_made_can_be_stopped(tmp_path, monkeypatch):
    """Behavior: Stop says that the step under way is finished first, then that nothing was
    written; nothing is.
    """
    m = panel(SMALL, tmp_path)
    m.options.pin()

    def deciding(*_, progress, stop, **__):
        while not stop():
            pass

    monkeypatch.setattr(options_panel, "decide", deciding)

    async def run():
        m.options.put_on_file(False)
        assert m.options.job.running and not m.options.job.halt.disabled
        m.options.job.halt.click()
        assert "step that is under way" in m.options.words.value and m.options.job.halt.disabled
        await until(lambda: not m.options.job.running)

    asyncio.run(run())
    assert "Stopped. Nothing was written." in m.options.words.value
    assert not list(tmp_path.iterdir())
    assert decide({"A": SMALL}, stop=lambda: True) is None


def test_what_is_stopped_before_its_end_does_not_say_that_all_is_well(small):
    """Behavior: advice that was stopped does not say that every target is met, and ranges that were
    stopped say so.
    """
    m = small
    m.advice._done(("game", (), True))
    assert "Stopped" in m.advice.words.value and "every target" not in m.advice.words.value
    m.sure._done(None)
    assert "Stopped" in m.sure.words.value
