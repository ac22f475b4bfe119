"""A school of one's own: what follows from five answers, what the form writes, and that every file
it writes is an ordinary one.
"""

import json
import tomllib
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schools import FOLDER, SCENARIOS

import gymtools
from gymtools.command_line import opening
from gymtools.command_line.entry import main
from gymtools.display.school.draft_file import earlier
from gymtools.display.school.labels import text_box
from gymtools.display.school.page import NewSchoolPage, new_school
from gymtools.display.school.sketch import numbered, sketch
from gymtools.venue import files
from gymtools.venue.finishes import FINISHES
from gymtools.venue.loudspeakers import Group
from gymtools.venue.new_school import NewSchool, kinds_of
from gymtools.venue.quantity import file_fields
from gymtools.venue.questions import key_of, parts_of, questions_of, understood
from gymtools.venue.scenario import Scenario
from gymtools.venue.size_classes import size_class, size_classes
from gymtools.venue.units import FOOT
from gymtools.venue.uses import GroupSetting

FIVE = {
    "hall.length": 100 * FOOT,
    "hall.width": 82.5 * FOOT,
    "hall.clear_height": 24 * FOOT,
    "walls": ("north", "south"),
    "rows": 8,
}
# tables that the meeting, the survey and the proposals fill
ELSEWHERE = ("groups", "equipment", "measured_room", "room_fit")
ADDED = (
    "stage",
    "divider",
    "fixtures",
    "balconies",
    "tracks",
    "side_courts",
    "treatments",
    "portable_stages",
    "uses",
)


def begun(units="ft", **answers):
    """A school with the five answers, or others."""
    return NewSchool(name="Alder Hollow", units=units, answers={**FIVE, **answers})


def pendants(scenario, uses=None):
    """The school with two loudspeakers that look down, so that it can be heard."""
    high = scenario.hall.clear_height - 0.3
    two = Group(
        name="pendants",
        tag="P",
        loudspeaker="pendant 100",
        number=2,
        x=0.0,
        y=0.0,
        height=high,
        spacing=scenario.hall.length / 3,
        pan_deg=0,
        downtilt_deg=90,
    )
    return replace(scenario, groups=(two,), uses=uses or scenario.uses)


@pytest.fixture
def sheet(tmp_path):
    """The page in an empty folder."""
    return new_school(tmp_path)


def typed(sheet, table, **texts):
    """Type answers into rows of a fold; keys as in the file, with names before them."""
    form = sheet.sections[0]
    if table != "first":
        form.open(table)
    for key, text in texts.items():
        key = key.replace("__", ".").replace("end_balcony", "end balcony")
        form.answers()[key].field.value = text


def five(sheet, length, width, clear, walls, rows):
    """The five answers, typed."""
    typed(sheet, "first", hall__length=length, hall__width=width, hall__clear_height=clear)
    for side in walls:
        sheet.sections[0].first.rows["walls"].ticks[side].value = True
    typed(sheet, "first", rows=rows)


def add(sheet, table, kind):
    """Add a thing with the form's button."""
    form = sheet.sections[0]
    form.open(table)
    form.folds[form.accordion.selected_index].add(table, kind)


# ---- what follows from five answers


def test_five_answers_make_a_school():
    """Behavior: five answers and nothing else load as a scenario with seats, uses and microphones,
    no fault, and every value that was not answered is listed as assumed.
    """
    school = begun()
    configuration, faults = school.draft()
    assert faults == [] and configuration.seats.keys() == {"north bank", "south bank"}
    scenario = gymtools.parse(school.text)
    assert [use.name for use in scenario.uses] == ["game", "class", "assembly"]
    assert scenario.hall.length == pytest.approx(100 * FOOT) and scenario.groups == ()
    assert {"court", "hall.height", "hall.roof", "banks.north bank.row_run"} <= set(
        scenario.assumed
    )
    assert not set(FIVE) & set(scenario.assumed) and scenario.assumed == school.assumed
    assert "banks.north bank.rows" not in scenario.assumed
    assert gymtools.to_text(scenario) == school.text


def test_required_answers_are_waited_for():
    """Behavior: with an answer missing nothing is drawn and the key is named; without bleachers no
    rows are asked for.
    """
    school = begun().without("hall.width")
    assert school.missing == ("hall.width",) and school.draft() == (None, [])
    assert begun(walls=()).without("rows").missing == ()
    assert begun(walls=()).without("rows").draft()[1] == []


def test_confirming_and_taking_back():
    """Behavior: an assumed value is derived until it is confirmed, stays once it is, and "not sure"
    keeps a finish assumed.
    """
    school = begun()
    assert school.state("hall.roof") == "assumed" and school.value("hall.roof") == "plain deck"
    unsure = school.with_answer("hall.roof", "not sure")
    assert unsure.state("hall.roof") == "not sure" and "hall.roof" in unsure.assumed
    assert unsure.value("hall.roof") == "plain deck"
    kept = school.confirmed("banks.north bank.length")
    longer = kept.with_answer("hall.length", 130 * FOOT)
    assert longer.value("banks.north bank.length") == school.value("banks.north bank.length")
    assert longer.value("banks.south bank.length") > school.value("banks.south bank.length")
    assert "banks.north bank.length" not in longer.assumed
    assert longer.without("banks.north bank.length").assumed.count("banks.north bank.length") == 1


def test_things_that_there_are_not_or_are_already():
    """Behavior: a preset that is unknown is answered with the list, and a curtain is there once."""
    with pytest.raises(ValueError, match="Known: scoreboard, center scoreboard"):
        begun().with_thing("fixtures", "hammock")
    with pytest.raises(ValueError, match="there is a divider"):
        begun().with_thing("divider", "curtain").with_thing("divider", "curtain")
    with pytest.raises(ValueError, match="there is already a 'doors'"):
        begun().with_thing("fixtures", "doors").with_thing("fixtures", "doors", "doors")
    twice = begun().with_thing("fixtures", "doors").with_thing("fixtures", "doors")
    assert twice.things("fixtures") == ("doors", "doors 2")


def test_files_that_cannot_be_copied():
    """Behavior: what is no scenario file at all is refused with a line for each fault."""
    for text, words in (
        ("hall = 3", "says no units"),
        ("units = 'm'\nbanks = 3", "banks must be a list of tables"),
        ("units = 'm'\n[hall]\nlength = 'long'", "hall: length = 'long' is not a number"),
        ("units = ", "is not valid TOML"),
    ):
        with pytest.raises(ValueError, match=words):
            NewSchool.of_text(text)


def test_size_classes():
    """Trade fact: a larger gym has deeper rows and more chairs, and every value says where it comes
    from (common practice, no source).
    """
    classes = size_classes()
    assert [c.name for c in classes] == ["elementary", "middle school", "high school", "large"]
    for key in ("up_to", "row_run", "row_rise", "over_clear", "chairs"):
        values = [getattr(c, key) for c in classes]
        assert values == sorted(values), key
    assert {c.floor for c in classes} | {c.roof for c in classes} <= set(FINISHES)
    assert size_class(700).name == "middle school" and size_class(1e6).name == "large"


def test_everything_that_a_file_says_can_be_asked():
    """Behavior: every key of every table that the form fills has a question in plain words, and a
    letter stands for one length alone.
    """
    kinds = {"": Scenario, **files.ONE, **files.MANY}
    letters = []
    for table, kind in kinds.items():
        if table in ELSEWHERE:
            continue
        asked = {q.key.rpartition(".")[2]: q for q in questions_of(table, "")}
        known = [f.name for f in file_fields(kind) if f.name not in (*kinds, "name", "units")]
        if not table:
            known = ["court", "court_x", "court_y", "court_turned"]
        assert set(known) <= set(asked), table
        letters += [q.letter for q in asked.values() if q.letter]
        assert all("_" not in q.label for q in asked.values())
    assert len(letters) == len(set(letters))


def test_what_nobody_has_confirmed_is_assumed():
    """Behavior: wall of a stage that was added, and where microphones are, stay assumed until they
    are confirmed, also in the file, after a copy of it, and in a use that is added to a copy.
    """
    school = begun().with_thing("stage", "built-in stage")
    placed = [key for key in school.assumed if key.startswith("microphones.")]
    assert "stage.side" in school.assumed and any(key.endswith(".walks") for key in placed)
    again = NewSchool.of_text(school.text)
    assert again.assumed == gymtools.parse(school.text).assumed == school.assumed
    sure = again.confirmed("stage.side").confirmed(placed[0])
    assert not {"stage.side", placed[0]} & set(sure.assumed) and placed[1] in sure.assumed
    copied = NewSchool.of_text(SCENARIOS["alderway"].text).with_thing("uses", "show")
    for name in ("stage on the left", "stage on the right"):
        assert f"microphones.{name}.x" in copied.assumed
    assert gymtools.parse(copied.text).assumed == copied.assumed


def test_tracks_over_heads_and_a_divider_through_them(sheet):
    """Worked by hand: the eighth row of 11 in over a first seat of 17 in stands under a slab that
    leaves the headroom of 2.0 m over it. A curtain up to the roof goes through the track's north
    and south sides, one that ends below it does not.
    """
    five(sheet, "112", "90", "26", ("north", "south"), "8")
    add(sheet, "tracks", "running track")
    assert sheet.wrong.value == ""
    track, bank = sheet.scenario.tracks[0], sheet.scenario.banks[0]
    assert track.height - track.thickness >= bank.top + 2.0
    add(sheet, "divider", "curtain")
    assert "goes through &#x27;running track north&#x27;, &#x27;running track south&#x27;" in (
        sheet.doubts.value
    )
    sheet.set(sheet.school.with_answer("divider.height", track.height - track.thickness))
    assert sheet.doubts.value == ""


def test_more_chairs_than_asked_say_so(sheet):
    """Worked by hand: 400 chairs in rows of equal length are rows times chairs in a row, never
    fewer than asked.
    """
    five(sheet, "112", "84", "24", ("north", "south"), "10")
    typed(sheet, "floor_seats", chairs="400")
    block = sheet.configuration.floor_seats[0]
    said = sheet.sections[0].answers()["chairs"].said.value
    assert said == f"{block.seats} seats: {block.rows} rows of {block.seats_in_row}"
    assert block.seats >= 400 and block.seats == block.rows * block.seats_in_row


def test_keys_of_things_with_dots_in_their_names():
    """Behavior: a name with dots is found again in its key."""
    key = key_of("banks", "St. Mary's bank", "rows")
    assert parts_of(key) == ("banks", "St. Mary's bank", "rows")
    assert parts_of("hall.roof") == ("hall", "", "roof") and parts_of("court") == ("", "", "court")


def test_answers_as_people_write_them():
    """Behavior: lengths, words for finishes and courts, yes and no are understood, or refused in
    one line that says how to write them or gives the list.
    """
    hall = {q.key.rpartition(".")[2]: q for q in questions_of("hall", "")}
    court = next(q for q in questions_of("", "") if q.key == "court")
    assert understood(hall["length"], "82' 6\"", "m") == pytest.approx(25.146)
    assert understood(hall["roof"], "corrugated steel", "ft") == "plain deck"
    assert understood(court, "middle school", "ft") == "junior high"
    assert understood(hall["roof"], "Not sure", "ft") == "not sure"
    assert understood(hall["ridge_height"], "", "ft") is None
    for question, text, words in (
        (hall["roof"], "metal deck", "'plain deck', 'acoustic deck 1 in' or 'acoustic deck 3 in'"),
        (hall["length"], "7000", r"7000 ft is outside 40 ft to 262 ft\.$"),
        (hall["length"], "1120", "262 ft. Inches given by mistake or a slip of the decimal point"),
        (hall["clear_height"], "264", "12 ft to 65 ft. Inches given by mistake"),
        (hall["length"], "long", "is no length"),
        (court, "polo", "Known: junior high, high school"),
        (hall["length"], "", "nothing is written"),
    ):
        with pytest.raises(ValueError, match=words):
            understood(question, text, "ft")


def test_the_assumed_court_lies_between_the_bleachers():
    """Worked by hand: 84 ft less twice ten rows of 2 ft leave 44 ft: no high school court of 50 ft
    but a junior high court of 42 ft. A bank of eight rows of 22 in on one side of a gym 60 ft wide
    leaves 45 ft 4 in, whose middle lies 7 ft 4 in off the gym's.
    """
    size = {"hall.length": 112 * FOOT, "hall.width": 84 * FOOT}
    both = begun(**size, rows=10)
    assert both.value("court") == "junior high" and both.value("court_y") == 0
    said = "Court assumed: junior high, since 44 ft are left between the banks."
    assert both.court_words == said
    for other in (both.with_answer("court", "high school"), both.with_answer("rows", 3)):
        assert other.court_words == ""
    one = begun(**{**size, "hall.length": 80 * FOOT, "hall.width": 60 * FOOT}, walls=("north",))
    assert one.value("court_y") == pytest.approx(-(7 + 4 / 12) * FOOT)
    assert "court_y" in one.assumed and one.tables["court_y"] == one.value("court_y")


def test_what_fits_and_should_be_looked_at(sheet):
    """Worked by hand: a high school court of 50 ft between banks 44 ft apart lies under each of
    them by 3 ft; from a junior high court of 42 ft it is 1 ft to their fronts, where rules ask for
    3 ft. Both stand beside the sketch in words, and nothing is said to be wrong.
    """
    five(sheet, "112", "84", "24", ("north", "south"), "10")
    assert "Court assumed" in sheet.seats.value and sheet.wrong.value == ""
    assert "To look at:" in sheet.doubts.value
    assert sheet.doubts.value.count("Only 1 ft 0 in of floor remains between the lines") == 2
    sheet.set(sheet.school.with_answer("court", "high school"))
    assert sheet.doubts.value.count("reaches over the lines of the court") == 2
    assert sheet.doubts.value.count("by 3 ft 0 in over 84 ft 0 in") == 2
    assert sheet.wrong.value == "" and sheet.scenario.warnings
    sheet.set(sheet.school.with_answer("rows", 4))
    assert sheet.doubts.value == ""


# ---- copies


@pytest.mark.parametrize("key", SCENARIOS)
def test_a_copy_keeps_everything(key):
    """Behavior: a school's file that is copied and not changed stays as it is, comments and all;
    one change touches its own line alone.
    """
    text = SCENARIOS[key].text
    copied = NewSchool.of_text(text)
    assert copied.text == text and copied.assumed == () and copied.missing == ()
    lower = copied.with_answer("hall.clear_height", 6.0)
    old, new = text.splitlines(), lower.text.splitlines()
    changed = [line for line, other in zip(old, new, strict=True) if line != other]
    assert len(changed) == 1 and changed[0].startswith("clear_height")
    assert lower.state("hall.clear_height") == "confirmed"
    assert lower.state("hall.roof") == "confirmed"  # the file says it


def test_a_copy_takes_new_things_and_lets_others_go():
    """Behavior: what is added to a copy is assumed, what is removed is named by no use any more,
    and the file says both.
    """
    copied = NewSchool.of_text(SCENARIOS["larkfield"].text)
    more = copied.with_thing("fixtures", "doors").without_thing("banks", "south bank")
    scenario = gymtools.parse(more.text)
    assert [f.name for f in scenario.fixtures] == ["doors"]
    assert "fixtures.doors.length" in scenario.assumed
    assert [b.name for b in scenario.banks] == ["north bank"]
    assert all("south bank" not in use.listens for use in scenario.uses)


@pytest.mark.parametrize("key", SCENARIOS)
def test_whatever_is_added_to_a_copy_can_be_written(key):
    """Behavior: one of everything that the form offers is added to a copy and stands in its text,
    also what a file has once, and a use that brings a divider with it.
    """
    copied = NewSchool.of_text(SCENARIOS[key].text)
    for table in ADDED:
        for kind in kinds_of(table) or ("",):
            if table in files.ONE and copied.things(table):
                continue
            more = copied.with_thing(table, kind)
            (new, *_) = more.added[-1:]
            assert more.text != copied.text and NewSchool.of_text(more.text).things(new[0]), kind


def test_units_of_a_copy_change_its_numbers():
    """Closed form: the same gym in meters is the same gym."""
    copied = NewSchool.of_text(SCENARIOS["larkfield"].text)
    meters = gymtools.parse(replace(copied, units="m").text)
    assert meters.units == "m" and meters.hall.length == pytest.approx(112 * FOOT)
    assert meters.banks[0].row_run == pytest.approx(2 * FOOT)
    assert meters.treatments[0].area == pytest.approx(600 * FOOT**2)


# ---- three schools built through the form


def test_small_gym_with_one_bank_and_a_side_stage(sheet):
    """Worked by hand: 24 x 17 m, 4 rows on the south wall, stage in the north wall. The bank is 24
    less 1.5 at either end, 21 m; two aisles of 0.914 m leave three sections of 6.39 m with 13 seats
    of 0.46 m: 39 in a row, 156 in all. These ask for 5 wheelchair spaces, each in place of 2 x 3
    seats, one of which it is: 156 - 5 x 5 = 131.
    """
    sheet.name.value, sheet.units.value = "Fennel Brook Elementary", "m"
    five(sheet, "24", "17", "6", ("south",), "4")
    add(sheet, "stage", "built-in stage")
    typed(sheet, "stage", stage__side="north", stage__width="9 m")
    add(sheet, "uses", "show")
    assert sheet.wrong.value == ""
    assert sheet.configuration.seats["south bank"] == 131
    assert sheet.configuration.wheelchair_spaces == 5
    assert sheet.write()
    scenario = gymtools.load(sheet.file)
    assert scenario.stage.side == "north" and scenario.floor_seats[0].facing == "north"
    assert {m.name for m in scenario.microphones} >= {"announcer", "stage on the left"}
    result = gymtools.evaluate(pendants(scenario), "show", rays="few")
    assert np.isfinite(result.sti).all()


def test_large_gym_with_an_end_balcony_and_1200_chairs(sheet):
    """Worked by hand: 170 x 150 ft, 14 rows of 26 in on both long sides leave 89 ft 4 in between
    them. With 3 ft 11 in free at both ends of a row and three aisles of 44 in, four sections hold
    floor(17 ft 7.5 in / 18 in) = 11 chairs each: 44 in a row, 28 rows for 1,200, 1,232 in all.
    The balcony of three rows along 148 ft of the west wall holds 3 x floor(148 ft / 0.46 m)
    = 3 x 98 = 294.
    """
    sheet.name.value = "Cobalt Ridge High School"
    five(sheet, "170", "150", "36", ("north", "south"), "14")
    add(sheet, "balconies", "end balcony")
    typed(
        sheet,
        "balconies",
        balconies__end_balcony__length="148",
        balconies__end_balcony__height="24",
        balconies__end_balcony__depth="11",
    )
    typed(sheet, "floor_seats", chairs="1200")
    assert sheet.wrong.value == ""
    seats = sheet.configuration.seats
    assert seats["chairs"] == 1232 and seats["end balcony"] == 294
    block = sheet.configuration.floor_seats[0]
    assert (block.rows, block.seats_in_row, block.aisles) == (28, 44, 3)
    assert sheet.write() and gymtools.load(sheet.file).seats == sum(seats.values())


def test_divided_double_gym(sheet):
    """Worked by hand: 40 x 24 m, 5 rows on the south wall, a curtain across the middle: the bank is
    40 - 4 = 36 m, three aisles leave four sections of 8.31 m with 18 seats, 72 in a row, 360 in
    all; 6 wheelchair spaces take the place of 2 x 2 seats each: 360 - 6 x 3 = 342. Two classes go
    on at the same time, each on its half of the court.
    """
    sheet.name.value, sheet.units.value = "Twin Oaks Middle School", "m"
    five(sheet, "40", "24", "7.5", ("south",), "5")
    add(sheet, "divider", "curtain")
    add(sheet, "uses", "two classes")
    assert sheet.wrong.value == "" and sheet.configuration.seats["south bank"] == 342
    assert sheet.write()
    scenario = gymtools.load(sheet.file)
    west, east = (scenario.use(f"class {side}") for side in ("west", "east"))
    assert west.beside == "class east" and east.listens == {"court east": 1.0}
    both = {side: pendants(scenario, scenario.uses[:1]).groups[0] for side in ("west", "east")}
    groups = tuple(
        replace(g, name=side, tag=side[0].upper(), number=1, spacing=0.0, x=x)
        for (side, g), x in zip(both.items(), (-8.0, 8.0), strict=True)
    )
    off = GroupSetting(on=False)
    uses = (replace(west, groups={"east": off}), replace(east, groups={"west": off}))
    result = gymtools.evaluate(replace(scenario, groups=groups, uses=uses), "class west")
    assert np.isfinite(result.sti).all()


# ---- the page


def test_what_does_not_fit_is_red_with_its_reason(sheet):
    """Behavior: too many rows are drawn red with a number, and the same number stands before the
    reason; the file is not written, and undo makes it right again.
    """
    five(sheet, "100", "82-6", "24", ("north", "south"), "24")
    assert "leave" in sheet.wrong.value or "overlap" in sheet.wrong.value
    assert "gt-red" in sheet.sketch.value.split("</defs>")[1]
    assert not sheet.write() and "Not written" in sheet.words.value and sheet.file is None
    typed(sheet, "first", rows="8")
    assert sheet.wrong.value == "" and sheet.write()
    sheet.undo()
    assert sheet.school.value("rows") == 24 and sheet.wrong.value != ""


def test_a_gym_that_is_edited_the_next_day_follows_its_answers(sheet, tmp_path):
    """Behavior: as long as the file is as the form has written it, what is assumed follows from the
    answers the next day too; a fault is said once, without the names of the file's tables.
    """
    sheet.name.value = "Alder Hollow"
    five(sheet, "100", "82-6", "24", ("north", "south"), "8")
    assert sheet.write()
    page = new_school(tmp_path, "Alder Hollow")
    page.begun.edit_button.click()
    assert page.school == sheet.school
    typed(page, "first", hall__clear_height="30")
    assert page.wrong.value == "" and page.write() and page.scenario.hall.height > 30 * FOOT
    page.set(page.school.with_answer("hall.height", 25 * FOOT))
    assert page.wrong.value.count("<li>") == 1 and "[hall]" not in page.wrong.value


def test_a_slip_stays_as_it_was_typed(sheet):
    """Behavior: what cannot be understood is said in one line, the text stays and nothing else
    changes; a right answer takes its place.
    """
    typed(sheet, "first", hall__length="about a hundred")
    row = sheet.sections[0].answers()["hall.length"]
    assert "is no length" in row.said.value and row.field.value == "about a hundred"
    assert "hall.length" in sheet.school.missing
    typed(sheet, "first", hall__length="100")
    assert "100 ft 0 in (30.48 m)" in row.said.value


def test_a_file_of_somebody_else_is_not_replaced(sheet, tmp_path):
    """Behavior: a file with the school's name stays until it is said that it may be replaced; the
    page's own file is written again without asking.
    """
    other = tmp_path / "alder-hollow.toml"
    other.write_text("mine", encoding="utf-8")
    sheet.name.value = "Alder Hollow"
    five(sheet, "100", "80", "24", ("north",), "6")
    assert not sheet.write() and other.read_text(encoding="utf-8") == "mine"
    assert sheet.replace_button.layout.display == ""
    assert sheet.write(overwrite=True) and sheet.write()
    assert gymtools.load(other).name == "Alder Hollow"


def test_nothing_typed_is_lost(sheet, tmp_path):
    """Behavior: another page in the same folder offers what was typed, with all its answers; once
    it is left, it is not offered again and its text stays.
    """
    sheet.name.value = "Alder Hollow"
    typed(sheet, "first", hall__length="100")
    other = new_school(tmp_path)
    assert "Alder Hollow" in other.begun.words.value
    assert other.begun.go_button.description.startswith("Go on from the draft of ")
    other.begun.go_on()
    assert other.school == sheet.school and other.school.missing == sheet.school.missing
    third = new_school(tmp_path)
    third.begun.start_anew()
    assert earlier(tmp_path) is None
    (draft,) = (tmp_path / ".school").glob("*.json")
    assert json.loads(draft.read_text(encoding="utf-8"))["name"] == "Alder Hollow"


def gone_on(folder):
    """The school that a page in the folder goes on from, after the kernel of another one died."""
    page = new_school(folder)
    page.begun.go_on()
    return page


def test_a_copy_and_a_chosen_design_are_gone_on_from(sheet, tmp_path):
    """Behavior: after a copy in which things were only added and left out, and after a design was
    chosen, there are no answers; both are gone on from when the kernel dies.
    """
    gymtools.save(SCENARIOS["dovecote"], tmp_path / "dovecote.toml")
    sheet.copy(tmp_path / "dovecote.toml")
    sheet.set(sheet.school.with_thing("fixtures", "doors"))
    assert not sheet.school.answers and gone_on(tmp_path).school == sheet.school
    sheet.on_open = lambda path: None
    sheet.take(pendants(gymtools.parse(begun().text)))
    again = gone_on(tmp_path)
    assert again.school == sheet.school and again.file == sheet.file
    assert again.scenario.groups[0].name == "pendants" and again.write()


def test_a_school_of_the_folder_is_opened_or_edited(sheet, tmp_path):
    """Behavior: the next day the page offers the school that lies in the folder: its meeting, which
    needs loudspeakers, or its gym; editing keeps them, and what the meeting saved since stays.
    """
    assert sheet.begun.file_line.layout.display == "none"
    file = tmp_path / "alder-hollow.toml"
    gymtools.save(pendants(gymtools.parse(begun().text)), file)
    page = new_school(tmp_path, "Alder Hollow")
    assert page.begun.files.value == file and "2 loudspeakers" in page.begun.file_words.value
    page.begun.edit_button.click()
    assert page.file == file and page.begun.file_line.layout.display == "none"
    typed(page, "first", hall__clear_height="25")
    assert page.write() and gymtools.load(file).groups[0].name == "pendants"
    gymtools.save(replace(gymtools.load(file), source="the meeting"), file, overwrite=True)
    assert not page.write() and "changed outside this page" in page.words.value
    assert gymtools.load(file).source == "the meeting"
    new_school(tmp_path).begun.meet_button.click()
    bare = tmp_path / "alder-hollow 2.toml"
    gymtools.save(replace(gymtools.load(file), groups=()), bare)
    last = new_school(tmp_path)
    last.begun.files.value = bare
    assert last.begun.meet_button.layout.display == "none"


def test_five_answers_do_not_replace_a_chosen_design(sheet, tmp_path):
    """Behavior: a school that is written down again says that its file is there and what would be
    lost, and offers to open its meeting or to edit it.
    """
    file = tmp_path / "alder-hollow.toml"
    gymtools.save(pendants(gymtools.parse(begun().text)), file)
    sheet.name.value = "Alder Hollow"
    five(sheet, "100", "80", "24", ("north",), "6")
    assert not sheet.write() and "the loudspeakers in it are lost" in sheet.words.value
    assert sheet.begun.files.value == file and sheet.begun.file_line.layout.display != "none"
    sheet.begun.meet_button.click()
    assert sheet.meeting.scenario.groups[0].name == "pendants"


def test_copying_on_the_page(sheet, tmp_path):
    """Behavior: the page begins again as a copy of a file, asks for no walls and rows, and writes
    a file of its own name.
    """
    gymtools.save(SCENARIOS["dovecote"], tmp_path / "dovecote.toml")
    sheet.name.value = "Fennel Brook"
    sheet.copy(tmp_path / "dovecote.toml")
    assert sheet.school.name == "Fennel Brook" and sheet.school.copied
    assert sheet.sections[0].first.rows["walls"].box.layout.display == "none"
    assert sheet.write() and sheet.file.name == "fennel-brook.toml"
    written = gymtools.load(sheet.file)
    assert written.name == "Fennel Brook" and written.groups == SCENARIOS["dovecote"].groups


def test_from_the_command_line(tmp_path, capsys, monkeypatch):
    """Behavior: ``gymtools new`` writes a notebook of the school's name beside where its file will
    be and opens it; one that is there is opened as it is; a file that cannot be copied is refused
    before a server starts.
    """
    opened = []
    monkeypatch.setattr(opening, "open_workbook", lambda book, **_: opened.append(book))
    copied = str(FOLDER / "dovecote.toml")
    command = ["new", "Fennel Brook", "--folder", str(tmp_path), "--from", copied]
    assert main(command) == 0 and opened == [tmp_path / "fennel-brook.ipynb"]
    text = opened[0].read_text(encoding="utf-8")
    cells = [c for c in json.loads(text)["cells"] if c["metadata"].get("tags") == ["parameters"]]
    assert "name = 'Fennel Brook'" in cells[0]["source"] and "dovecote.toml" in cells[0]["source"]
    assert main(command) == 0 and opened[0].read_text(encoding="utf-8") == text
    gymtools.save(SCENARIOS["dovecote"], tmp_path / "fennel-brook.toml")
    assert main(command) == 0 and "is here already" in capsys.readouterr().out
    opened.pop()
    assert main(["new", "--folder", str(tmp_path), "--from", str(opened[0])]) == 2
    assert "TOML" in capsys.readouterr().err and len(opened) == 2


def test_the_form_over_the_meeting(tmp_path):
    """Behavior: the meeting's button opens the form in the panel's place, and it leads back."""
    from gymtools.display.panel.meeting import meeting

    panel = meeting(SCENARIOS["dovecote"], tmp_path)
    before = panel.box.children
    form = panel.open_form()
    assert isinstance(form, NewSchoolPage) and panel.box.children[-1] is form.sheet
    form.on_back()
    assert panel.box.children == before


def test_a_copy_with_loudspeakers_opens_the_meeting(sheet, tmp_path):
    """Behavior: "Next step" writes the file and opens the next step, after the last one it says why
    no meeting opens; where there are loudspeakers the meeting opens on the file, in the page's
    place.
    """
    five(sheet, "100", "80", "24", ("north",), "6")
    assert sheet.meeting_button.layout.display == "none"
    for step in range(1, len(sheet.sections)):
        sheet.next_step()
        assert sheet.steps.value == step and sheet.sections[step].box in sheet.left.children
    sheet.next_step()
    assert "no loudspeakers yet" in sheet.words.value and sheet.meeting is None
    gymtools.save(SCENARIOS["dovecote"], tmp_path / "dovecote.toml")
    sheet.name.value = "Fennel Brook"
    sheet.copy(tmp_path / "dovecote.toml")
    assert sheet.meeting_button.layout.display != "none"
    sheet.write_and_meet()
    assert sheet.meeting.scenario.name == "Fennel Brook" and sheet.meeting.box in sheet.box.children


def test_letters_stand_on_the_sketch():
    """Behavior: the letters of what can be seen stand on the sketch, with the lengths or, for the
    survey sheet, without; what is assumed says so.
    """
    school = begun().with_thing("stage", "built-in stage")
    configuration, _ = school.draft()
    drawn, bare = sketch(school, configuration), sketch(school, configuration, values=False)
    for letter in "ABCDFGHKNPQR":
        assert f">{letter}</text>" in drawn and f">{letter}</text>" in bare, letter
    assert "82 ft 6 in" in drawn and ", assumed" in drawn
    assert "assumed" not in bare.split("</title>")[1]
    faults = school.with_answer("rows", 20).draft()[1]
    assert [n for n, _ in numbered(faults)] == sorted(n for n, _ in numbered(faults))


def texts_of(drawn):
    """Words of a sketch with their places: words, x, y, anchor, turn and size."""
    found = []
    for part in ElementTree.fromstring(drawn).iter("text"):
        turn = -90 if "rotate" in part.get("transform", "") else None
        place = float(part.get("x")), float(part.get("y"))
        found.append((part.text, *place, part.get("text-anchor"), turn, int(part.get("font-size"))))
    return found


@pytest.mark.parametrize(
    "walls, stage, looks, left, right",
    [
        (("north",), None, "west", "south", "north"),
        (("north",), "west", "west", "south", "north"),
        (("north",), "east", "east", "north", "south"),
        (("east",), None, "north", "west", "east"),
        (("east",), "south", "south", "east", "west"),
    ],
)
def test_the_section_is_no_mirror_image(walls, stage, looks, left, right):
    """Closed form: whoever looks east has the north on the left hand, whoever looks west the south;
    the first seats of the only bank are measured on its own side.
    """
    school = begun(walls=walls, rows=4)
    if stage:
        school = school.with_thing("stage", "built-in stage").with_answer("stage.side", stage)
    drawn = texts_of(sketch(school, school.draft()[0]))
    at = {words: x for words, x, *_ in drawn}
    assert f"Section, looking {looks}" in at
    assert at[left] < at[right]
    middle = (at[left] + at[right]) / 2
    assert (at["K"] < middle) == (walls[0] == left)


def test_no_label_lies_over_another():
    """Behavior: lengths beside their letters, and names of what stands there, do not overprint,
    whether the stage is ahead or beside; letters that have no line are said in words.
    """
    schools = (
        begun(**{"hall.length": 112 * FOOT, "hall.width": 84 * FOOT, "rows": 10}),
        begun(walls=("north",), rows=5),
        begun(walls=("west",), **{"banks.west bank.setback": 1.2}),
    )
    for school in schools:
        for side in ("east", "north"):
            more = school.with_thing("stage", "built-in stage").with_answer("stage.side", side)
            drawn = texts_of(sketch(more, more.draft()[0], size=(660, 610)))
            boxes = [text_box(x, y, words, *kind) for words, x, y, *kind in drawn]
            for (a, one), (b, two) in combinations(zip(drawn, boxes, strict=True), 2):
                across = min(one[1], two[1]) - max(one[0], two[0])
                along = min(one[3], two[3]) - max(one[2], two[2])
                assert min(across, along) < 3, (a[0], b[0], side)
    said = [words for words, *_ in drawn if "0 here" in words]
    assert len(said) == 1 and "J off the wall's middle" in said[0] and "L from" not in said[0]
    moved = (
        schools[2]
        .with_answer("banks.west bank.offset", 1.5)
        .with_answer("banks.west bank.base_height", 3.0)
    )
    letters = {words for words, *_ in texts_of(sketch(moved, moved.draft()[0]))}
    assert {"J", "L", "M"} <= letters and not any("0 here" in words for words in letters)


# ---- whatever the form can write


def schools():
    """Schools of the form: sizes, walls, rows, units, and a few things added."""
    kinds = [(table, kind) for table in ADDED for kind in kinds_of(table)]
    sizes = st.fixed_dictionaries(
        {
            "hall.length": st.floats(16, 60),
            "hall.width": st.floats(14, 45),
            "hall.clear_height": st.floats(5, 12),
            "walls": st.sets(st.sampled_from(("north", "south", "east", "west"))).map(tuple),
            "rows": st.integers(1, 12),
        }
    )
    more = st.fixed_dictionaries(
        {},
        optional={
            "hall.roof": st.sampled_from([*FINISHES, "not sure"]),
            "hall.ridge_height": st.floats(6, 18),
            "court": st.sampled_from(["junior high", "volleyball", "college"]),
            "chairs": st.integers(1, 900),
            "banks.north bank.aisles": st.integers(0, 3),
            "banks.south bank.pulled_out": st.integers(1, 12),
            "uses.game.target_dba": st.floats(70, 95),
        },
    )
    return st.tuples(
        sizes, more, st.lists(st.sampled_from(kinds), max_size=4, unique=True), st.booleans()
    ).map(_made)


def _made(parts):
    sizes, more, things, feet = parts
    units = "ft" if feet else "m"
    school = NewSchool(name="Any School", units=units, answers={**sizes, **more})
    for table, kind in things:
        if not (table in files.ONE and school.things(table)):
            school = school.with_thing(table, kind)
    return school


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(schools())
def test_whatever_the_form_writes_loads_and_saves_back_equal(school):
    """Invariance: the text is TOML, the gym can be drawn or says why not, and what loads saves back
    letter by letter, also by way of a copy.
    """
    tomllib.loads(school.text)
    configuration, faults = school.draft()
    assert sketch(school, configuration, faults) if configuration else faults
    try:
        scenario = gymtools.parse(school.text)
    except ValueError:
        return
    assert gymtools.to_text(scenario) == school.text
    again = NewSchool.of_text(school.text)
    assert again.text == school.text and again.assumed == school.assumed


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(schools())
def test_whatever_the_form_writes_can_be_heard(school):
    """Invariance: with loudspeakers a school that loads evaluates to finite numbers."""
    try:
        scenario = gymtools.parse(school.text)
        heard = pendants(scenario, tuple(u for u in scenario.uses if not u.divided))
    except ValueError:
        return
    result = gymtools.evaluate(heard, rays="few", most_points=200)
    assert np.isfinite(result.sti).all() and np.isfinite(result.speech_dba).all()
