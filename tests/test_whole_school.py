"""A school with everything that a gym may hold at once: a court that lies elsewhere and one beside
it, aisles, a bank partly out, fixtures, a running track, and a curtain that divides it.
"""

import html
import re
from dataclasses import replace

import numpy as np
import pytest
from schools import AS_USED

from gymtools.acoustics.evaluate import evaluate
from gymtools.display.documents import record_gym
from gymtools.display.documents.drawings import drawing
from gymtools.display.drawing import picture
from gymtools.display.panel.meeting import Meeting
from gymtools.venue.balcony import Balcony
from gymtools.venue.configuration import HallConfiguration
from gymtools.venue.court import court
from gymtools.venue.divider import Divider
from gymtools.venue.files import draft, parse, to_text
from gymtools.venue.fixture import Fixture
from gymtools.venue.hall import Hall
from gymtools.venue.paths import value_at
from gymtools.venue.seating import Bank
from gymtools.venue.track import Track
from gymtools.venue.validation import fit_faults
from gymtools.venue.zones import layers

WHOLE = (
    AS_USED.replace('name = "game"\n', 'name = "game"\nset_up = ["mats"]\n', 1)
    + """
[[uses]]
name = "west class"
target_dba = 70
noise_dba = 45
listens = { "court west" = 1.0, "west court" = 0.5 }
pulled_out = { bleachers = 3 }
divided = true
beside = "east class"
[uses.groups]
"floor pair" = { on = false }

[[uses]]
name = "east class"
target_dba = 70
noise_dba = 45
listens = { "court east" = 1.0, "track east" = 0.5 }
pulled_out = { bleachers = 3 }
divided = true
beside = "west class"
[uses.groups]
"wall pair" = { on = false }

[[fixtures]]
name = "scoreboard"      # over the west wall's door
finish = "plaster"
side = "west"
length = 3
depth = 0.3
height = 1.2
bottom = 4

[[fixtures]]
name = "mats"
finish = "wall panels"
x = 11.5
y = 7
length = 2
depth = 1
height = 1
movable = true

[[tracks]]
name = "track"
sides = ["south", "east"]
depth = 1.2
height = 3.2
people = true

[divider]
x = 1.0
surface_density = 0.7
"""
)


@pytest.fixture(scope="module")
def school():
    """The school, read once."""
    return parse(WHOLE)


def test_it_comes_back(school):
    """Behavior: saved and loaded it is the same, in its own text."""
    assert to_text(school) == WHOLE and parse(to_text(school)) == school
    assert parse(to_text(replace(school, text=None))) == school


@pytest.mark.parametrize(
    "use, room",
    [
        ("game", "statistical"),
        ("game", "traced"),
        ("west class", "statistical"),
        ("west class", "traced"),
        ("east class", "statistical"),
    ],
)
def test_it_is_evaluated(school, use, room):
    """Behavior: every figure of every seat is finite, divided and not."""
    result = evaluate(school, use, room=room, rays="few")
    assert np.isfinite(result.sti).all() and np.isfinite(result.total_db).all()
    assert all(v.word for v in result.verdicts)
    listen = {name for name, share in result.use.listens.items() if share > 0}
    assert listen <= set(result.area)


def test_halves_beside_a_side_court(school):
    """Worked by hand: the turned court reaches from 3.5 m west to 5.5 m east; at x = 1 m the
    divider cuts it in two, and leaves the side court whole.
    """
    whole, half = (school.configuration(use).areas for use in ("game", "west class"))
    assert set(half) - set(whole) == {"court west", "court east"}
    assert set(whole) - set(half) == {"court"}
    np.testing.assert_array_equal(whole["west court"].points, half["west court"].points)
    west, east = (half[f"court {side}"].points[:, 0] for side in ("west", "east"))
    assert -3.5 < west.min() and west.max() < 0.7 and 1.3 < east.min() and east.max() < 5.5


def test_a_side_court_on_both_sides(school):
    """Behavior: a side court through which the divider hangs is refused where people listen on
    it.
    """
    moved = (replace(school.side_courts[0], x=1.0),)
    said = "^use 'west class': 'west court' lies on both sides of the divider"
    with pytest.raises(ValueError, match=said) as refused:
        replace(school, side_courts=moved)
    assert len(refused.value.faults) == 1


def test_it_is_drawn(school):
    """Behavior: the drawing and the DXF show each thing once, and the aisles."""
    c = school.configuration("west class")
    names = [thing.name for thing, _ in c.footprints]
    assert names == ["bleachers", "track south", "track east", "divider", "scoreboard"]
    assert len(list(picture.plan_outlines(c))) == len(names) + len(c.aisle_footprints)
    layers_used = [e.dxf.layer for e in drawing(school).modelspace()]
    assert {"FIXTURES", "SEATING", "COURT"} <= set(layers_used)


def test_the_record_names_it(school):
    """Behavior: the decision record lists what stands and hangs in the gym, each once."""
    said = html.unescape(re.sub("<[^>]*>", "", record_gym._gym(school)))
    for words in (
        "running track 'track'",
        "fixture 'scoreboard'",
        "fixture 'mats'",
        "side court 'west court'",
        "across the gym at 1.00 m, holds back",
    ):
        assert said.count(words) == 1, said


def test_all_faults_at_once():
    """Behavior: what is wrong with things of every kind is told in one go, a line each."""
    wrong = (
        WHOLE.replace("width = 19.5", "width = 17.5")
        .replace("x = 11.5\n", "x = 12.5\n")
        .replace("depth = 1.2\nheight = 3.2", "depth = 8\nheight = 3.2")
        .replace("[divider]\nx = 1.0", "[divider]\nx = 12.9")
        .replace("south_wall", 'shape = "L"\nsouth_wall')
    )
    said = (
        "unknown key 'shape'. A gym is a rectangle",
        r"court 'volleyball' \(.*, turned\) does not fit into the gym",
        "'track' is 8.00 m .*deep: more than a gym",
        "'mats' reaches outside the gym",
        "the divider at 12.90 m .*leaves no room on one side",
    )
    with pytest.raises(ValueError, match="unknown key 'shape'") as refused:
        parse(wrong)
    lines = refused.value.faults
    assert all(any(re.search(s, f) for f in lines) for s in said)
    assert len(lines) == len(said), "no use is blamed for what does not fit"
    _, faults = draft(wrong)
    assert all(any(re.search(s, f.words) for f in faults) for s in said)
    assert {"hall", "court", "track", "mats", "divider"} <= {f.name for f in faults}


def test_faults_of_two_classes_at_once(school):
    """Behavior: what two uses beside each other contradict is told once for both, all of it."""
    one, other = school.uses[-2:]
    wrong = replace(other, pulled_out={}, set_up=("mats",), groups={}, microphones=("roving",))
    said = "^uses 'west class' and 'east class' go on at the same time: pulled_out must name"
    with pytest.raises(ValueError, match=said) as refused:
        replace(school, uses=(*school.uses[:-2], one, wrong))
    lines = refused.value.faults
    for words in ("pulled_out must", "set_up must", "'wall pair' plays in both", "'roving' is on"):
        assert sum(words in line for line in lines) == 1


def test_every_pair_of_fixtures_is_told_once(school):
    """Behavior: fixtures that reach into each other and into the bank are three faults."""
    box = dict(finish="plaster", x=8.0, y=7.5, length=1, depth=1, height=1, bottom=0.2)
    boxes = tuple(Fixture(name=name, **box) for name in ("one", "two"))
    with pytest.raises(ValueError, match="'one' reaches into") as refused:
        replace(school, fixtures=boxes, uses=(replace(school.uses[0], set_up=()),))
    lines = refused.value.faults
    assert len(lines) == 3 and sum("into 'bleachers'" in line for line in lines) == 2


def test_a_deck_under_a_bank_counts_once():
    """Worked by hand: a bank of 10 m by 2.4 m on a deck of 20 m by 4 m leaves 56 m2 of its floor;
    the bank's underside lies on it and counts as nothing.
    """
    hall = Hall(
        length=32,
        width=24,
        height=9,
        clear_height=8,
        floor="wood floor",
        roof="plain deck",
        walls="painted block",
    )
    deck = Balcony(name="deck", side="north", depth=4, height=3, length=20)
    bank = Bank(
        name="upper",
        side="north",
        rows=4,
        row_run=0.6,
        row_rise=0.3,
        length=10,
        base_height=3.0,
    )
    c = HallConfiguration(hall=hall, court=court("volleyball"), banks=(bank,), balconies=(deck,))
    area = {s.name: s.area for s in c.room.surfaces}
    assert area["deck, floor"] == pytest.approx(20 * 4 - 10 * 2.4)
    assert area["upper, underside"] == pytest.approx(0.0)
    assert area["deck, underside"] == pytest.approx(20 * 4)


@pytest.mark.parametrize(
    "people, said",
    [
        (dict(rows=2), ["'upper' stands on 'deck', where rows of its own are."]),
        (dict(standing=True), ["'upper' stands on 'deck', where people stand."]),
        (dict(), []),
    ],
)
def test_people_on_a_deck_count_once(people, said):
    """Behavior: a bank on a balcony that has people of its own is refused; with none it stands."""
    s = parse(AS_USED)
    deck = Balcony(name="deck", side="south", depth=3, height=2.6, length=12, **people)
    bank = Bank(
        name="upper",
        side="south",
        rows=2,
        row_run=0.6,
        row_rise=0.3,
        length=10,
        base_height=2.6,
    )
    c = replace(s.configuration("class"), banks=(bank,), balconies=(deck,))
    lines = [f.words for f in fit_faults(c)]
    assert len(lines) == len(said) and all(map(str.startswith, lines, said))


def test_zones_of_a_divided_gym_with_a_pulled_out_bank():
    """Invariance: a divider that hangs over a bank parts no floor, and the zones have air."""
    hall = parse(WHOLE).hall
    bank = Bank(name="b", side="west", rows=6, row_run=0.6, row_rise=0.25, length=16)
    track = Track(name="t", sides=("east",), depth=1.2, height=3.2).parts(hall)
    c = HallConfiguration(
        hall=hall,
        court=replace(court("volleyball"), x=3.0),
        banks=(bank,),
        balconies=track,
        divider=Divider(x=-11.0, surface_density=0.7),
    )
    assert (layers(c).volume > 0).all()


def test_a_meeting_moves_what_hangs_and_stands(school):
    """Behavior: court, setback, rows out, track, divider and fixtures have controls that reach the
    gym; a divider that one class alone would lose is refused with the reason.
    """
    m = Meeting(school)
    moves = {
        ("court_x",): 0.5,
        ("banks", "bleachers", "setback"): 0.8,
        ("uses", "game", "pulled_out", "bleachers"): 2,
        ("tracks", "track", "height"): 3.4,
        ("divider", "x"): 0.5,
        ("fixtures", "scoreboard", "bottom"): 4.5,
        ("hall", "ball_height"): 2.0,
    }
    for path, value in moves.items():
        assert path in m.controls
        m.set(path, value)
        m.refresh()
        assert not m.refusal, path
        assert value_at(m.scenario, path) == value
    m.controls[("uses", "game", "set_up", "mats")].value = False
    m.refresh()
    assert "mats" not in [f.name for f in m.result.configuration.fixtures]
    m.update(use="west class")
    m.refresh()
    m.controls[("uses", "west class", "divided")].value = False
    m.refresh()
    assert "the gym is not divided" in m.refusal
