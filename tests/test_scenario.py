"""One school as a whole: every refusal in its own words, configurations, warnings."""

from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from schools import SCENARIOS

from gymtools.design.arrangements import ARRANGEMENTS, arrange
from gymtools.venue.balcony import Balcony
from gymtools.venue.enclosures import beyond_room, corners
from gymtools.venue.hall import Air, Hall, Treatment
from gymtools.venue.loudspeakers import Group, loudspeaker_types
from gymtools.venue.microphones import Microphone
from gymtools.venue.scenario import Scenario
from gymtools.venue.seating import Bank, FloorSeats
from gymtools.venue.stage import PortableStage, Stage
from gymtools.venue.uses import GroupSetting, Use

HALL = Hall(
    length=30,
    width=22,
    height=8,
    clear_height=7,
    floor="wood floor",
    roof="plain deck",
    walls="painted block",
)
BANK = Bank(name="bank", side="north", rows=4, row_run=0.6, row_rise=0.3, length=16)
CHAIRS = FloorSeats(name="chairs", x=-5, y=-2, length=6, width=6)
ROW = Group(
    name="row",
    tag="R",
    loudspeaker="two-way 90x60",
    number=2,
    height=6.5,
    spacing=8,
    pan_deg=90,
    downtilt_deg=30,
)
DOWN = Group(
    name="down", tag="D", loudspeaker="pendant 100", y=-5, height=6.8, pan_deg=0, downtilt_deg=90
)
USE = Use(
    name="game",
    target_dba=80,
    noise_dba=60,
    listens={"bank": 1.0, "court": 0.5},
    occupied={"bank": 0.5},
    set_up=("chairs",),
)
BASE = Scenario(
    name="Base",
    units="m",
    source="made up for tests",
    court="junior high",
    hall=HALL,
    banks=(BANK,),
    floor_seats=(CHAIRS,),
    groups=(ROW, DOWN),
    uses=(USE,),
)
STAGE = Stage(side="east", width=10, opening_height=4, depth=6)
DECK = PortableStage(name="deck", x=9, y=0, length=4, width=6, height=0.5)
GALLERY = Balcony(name="gallery", side="west", depth=3, height=5.2, length=18, parapet=1)
MIKE = Microphone(name="lectern", type="lectern", x=9, y=0, height=1.2)
GABLE = replace(HALL, height=6, ridge_height=9, clear_height=8)


def with_use(**changes):
    return dict(uses=(replace(USE, **changes),))


REFUSALS = {
    "units": (dict(units="yd"), r"^units = 'yd' is unknown\. Known: m, ft\.$"),
    # names
    "bank twice": (
        dict(banks=(BANK, replace(BANK, side="south"))),
        r"^two things are called 'bank'\. Every bank, balcony, stage, block of chairs or fixture",
    ),
    "chairs like bank": (
        dict(floor_seats=(replace(CHAIRS, name="bank"),)),
        r"^two things are called 'bank'\. Every bank, balcony, stage, block of chairs or fixture",
    ),
    "group twice": (
        dict(groups=(ROW, replace(DOWN, name="row"))),
        r"^two things are called 'row'\. Every group needs its own name\.$",
    ),
    "use twice": (
        dict(uses=(USE, USE)),
        r"^two things are called 'game'\. Every use needs its own name\.$",
    ),
    "tag twice": (
        dict(groups=(ROW, replace(DOWN, tag="R"))),
        r"^two loudspeakers carry the tag 'R1'\. Give each group its own tag\.$",
    ),
    "tag in tag": (
        dict(groups=(replace(ROW, number=12, spacing=2), replace(DOWN, tag="R1"))),
        r"^two loudspeakers carry the tag 'R11'\.",
    ),
    "unknown type": (
        dict(groups=(replace(ROW, loudspeaker="two-way 90x50"), DOWN)),
        r"^group 'row': loudspeaker = 'two-way 90x50' is unknown\. Did you mean 'two-way 90x.0'\?"
        r" A measured one needs its loudspeaker_files\.$",
    ),
    "no use": (dict(uses=()), r"^there is no use\. Add \[\[uses\]\]\.$"),
    **{
        f"bank called {part}": (
            dict(banks=(replace(BANK, name=part),)),
            rf"^'{part}' names a part of the gym\. Call the bank or the chairs something",
        )
        for part in (
            "court",
            "floor",
            "roof",
            "north wall",
            "stage",
            "bleacher fronts",
            "closed bleachers",
            "portable stage",
            "balcony",
        )
    },
    # seating
    "court too long": (
        dict(court="college"),
        (
            r"^court 'college' \(28\.65 m x 15\.24 m\) does not fit into the gym \(28\.00 m x"
            r" 22\.00 m\)\.$"
        ),
        dict(length=28),
    ),
    "court too wide": (
        dict(),
        (
            r"^court 'junior high' \(22\.56 m x 12\.80 m\) does not fit into the gym \(30\.00 m x"
            r" 12\.00 m\)\.$"
        ),
        dict(width=12),
    ),
    "court, in feet": (
        dict(units="ft"),
        r"^court 'junior high' \(74 ft 0 in x 42 ft 0 in\) does not fit",
        dict(width=12),
    ),
    "bank too long": (
        dict(banks=(replace(BANK, length=30.5),)),
        (
            r"^'bank' \(30\.50 m long, offset 0\.00 m\) does not fit along the north wall \(30\.00"
            r" m\): 0\.50 m too long\.$"
        ),
    ),
    "bank offset": (
        dict(banks=(replace(BANK, side="west", offset=-3.5),)),
        r"^'bank' \(16\.00 m long, offset -3\.50 m\) does not fit along the west wall \(22\.00 m\)",
    ),
    "bank too deep": (
        dict(banks=(replace(BANK, rows=36, row_rise=0),)),
        r"^'bank' is 21\.60 m deep: more than the gym \(22\.00 m\) can hold\.$",
    ),
    "bank too high": (
        dict(banks=(replace(BANK, rows=12, row_rise=0.5),)),
        (
            r"^'bank': its top row \(6\.18 m\) leaves less than 2\.00 m under the roof \(8\.00"
            r" m\)\. Fewer rows"
        ),
    ),
    "closed, too high": (
        dict(banks=(replace(BANK, rows=12, row_rise=0.5, open=False),)),
        r"^'bank': its top row \(6\.18 m\) leaves less than 2\.00 m",
    ),
    "high at the eaves": (
        dict(hall=GABLE, banks=(replace(BANK, rows=10, row_rise=0.4),)),
        r"^'bank': its top row \(4\.23 m\) leaves less than 2\.00 m under the roof \(6\.00 m\)",
    ),
    "high in the gable": (
        dict(hall=GABLE, banks=(replace(BANK, side="west", rows=14, row_rise=0.4),)),
        r"^'bank': its top row \(5\.83 m\) leaves less than 2\.00 m under the roof \(6\.82 m\)",
    ),
    "two banks": (
        dict(banks=(BANK, replace(BANK, name="other", length=4, offset=9))),
        r"^use 'game': 'bank' and 'other' overlap by 1\.00 m over 2\.40 m\.$",
    ),
    "corner": (
        dict(banks=(replace(BANK, length=26), replace(BANK, name="end", side="east", length=18))),
        r"^use 'game': 'bank' and 'end' overlap",
    ),
    "bank and chairs": (
        dict(floor_seats=(replace(CHAIRS, y=7),)),
        r"^use 'game': 'bank' and 'chairs' overlap by 1\.40 m over 6\.00 m\.$",
    ),
    "chairs outside": (
        dict(floor_seats=(replace(CHAIRS, x=12.5),)),
        r"^'chairs' reaches 0\.50 m outside the gym\.$",
    ),
    "no court left": (
        dict(banks=(replace(BANK, rows=33, row_rise=0),), floor_seats=(), **with_use(set_up=())),
        r"^the banks leave no room on the court\.",
    ),
    "deck outside": (
        dict(portable_stages=(replace(DECK, y=9),)),
        r"^'deck' reaches 1\.00 m outside the gym\.$",
    ),
    "deck and chairs": (
        dict(portable_stages=(replace(DECK, x=-6),), **with_use(set_up=("chairs", "deck"))),
        r"^use 'game': 'chairs' and 'deck' overlap by 4\.00 m over 4\.00 m\.$",
    ),
    # balconies
    "balcony too long": (
        dict(balconies=(replace(GALLERY, length=23),)),
        r"^'gallery' \(23\.00 m long\) does not fit along the west wall \(22\.00 m\)\.$",
    ),
    "balcony too high": (
        dict(balconies=(replace(GALLERY, rows=3),)),
        r"^'gallery' leaves less than 2\.00 m over its back under the roof \(8\.00 m\)\.$",
    ),
    "balconies meet": (
        dict(balconies=(GALLERY, replace(GALLERY, name="track", side="north", length=30))),
        r"^balconies 'gallery' and 'track' run into each other\. Shorten one of them\.$",
    ),
    "bank under a balcony": (
        dict(balconies=(replace(GALLERY, side="north", height=3.3),)),
        (
            r"^use 'game': the top row of 'bank' \(1\.48 m\) leaves less than 2\.00 m under"
            r" 'gallery' \(3\.00 m\)\.$"
        ),
    ),
    "balcony across the stage": (
        dict(stage=STAGE, balconies=(replace(GALLERY, side="east", height=4),)),
        r"^'gallery' runs across the stage opening\.$",
    ),
    "loudspeaker on a balcony": (
        dict(balconies=(replace(GALLERY, depth=12),)),
        r"^loudspeaker R1 hangs in or less than 2\.00 m over 'gallery'\.$",
    ),
    # microphones
    "microphone twice": (
        dict(microphones=(MIKE, MIKE)),
        r"^two things are called 'lectern'\. Every microphone needs its own name\.$",
    ),
    "on no stage": (
        dict(microphones=(replace(MIKE, on="stage"),)),
        r"^microphone 'lectern': on = 'stage' is unknown\. Known: floor\.$",
    ),
    "walks nowhere": (
        dict(portable_stages=(DECK,), microphones=(replace(MIKE, walks="roof"),)),
        r"^microphone 'lectern': walks = 'roof' is unknown\. Known: court, floor, deck\.$",
    ),
    "deck not set up": (
        dict(
            portable_stages=(DECK,),
            microphones=(replace(MIKE, on="deck"),),
            **with_use(microphones=("lectern",)),
        ),
        r"^use 'game': microphone 'lectern' needs 'deck', which is not set up\.$",
    ),
    "behind the stage": (
        dict(stage=STAGE, microphones=(replace(MIKE, on="stage", x=16),)),
        r"^microphone 'lectern' at 16\.00 m, .* stands outside 'stage'\.$",
    ),
    "outside the gym": (
        dict(microphones=(replace(MIKE, on="floor", x=39),)),
        r"^microphone 'lectern' at 39\.00 m, .* stands outside the gym\.$",
    ),
    "curtain closed": (
        dict(
            stage=STAGE,
            microphones=(replace(MIKE, on="stage", x=2),),
            **with_use(microphones=("lectern",), curtain_open=False),
        ),
        r"^use 'game': microphone 'lectern' is on the stage, whose curtain is closed\.$",
    ),
    # stage
    "stage too wide": (
        dict(stage=replace(STAGE, width=23)),
        r"^the stage \(23\.00 m wide\) does not fit into the east wall \(22\.00 m\)\.$",
    ),
    "stage offset": (
        dict(stage=replace(STAGE, offset=6.5)),
        r"^the stage \(10\.00 m wide\) does not fit into the east wall",
    ),
    "stage too high": (
        dict(stage=replace(STAGE, opening_height=7.1)),
        r"^the stage opening reaches 8\.00 m, over the wall \(8\.00 m\)\.$",
    ),
    "bank before stage": (
        dict(stage=replace(STAGE, side="north", offset=9)),
        r"^'bank' stands in front of the stage opening\.",
    ),
    # treatments
    "treatment": (
        dict(treatments=(Treatment(surface="roof", area=661, finish="wall panels"),)),
        r"^treatment of the roof: 661 m² asked for, 660 m² there\.$",
    ),
    "treatments together": (
        dict(treatments=(Treatment(surface="east wall", area=90, finish="wall panels"),) * 2),
        r"^treatment of the east wall: 180 m² asked for, 176 m² there\.$",
    ),
    "wall behind bank": (
        dict(treatments=(Treatment(surface="north wall", area=230, finish="wall panels"),)),
        r"^treatment of the north wall: 230 m² asked for, 216 m²",
    ),
    "treatment, in feet": (
        dict(units="ft", treatments=(Treatment(surface="roof", area=661, finish="wall panels"),)),
        r"^treatment of the roof: 7,115 ft² asked for, 7,104 ft² there\.$",
    ),
    # loudspeakers
    "outside": (
        dict(groups=(replace(ROW, x=11),)),
        r"^loudspeaker R2 at 15\.00 m, 0\.00 m hangs outside the gym \(30\.00 m x 22\.00 m\)\.$",
    ),
    "in the wall": (
        dict(groups=(replace(ROW, y=-10.9),)),
        r"^loudspeaker R1 at -4\.00 m, -10\.90 m hangs outside the gym",
    ),
    "above the joists": (
        dict(groups=(replace(ROW, height=7.1),)),
        r"^loudspeaker R1 hangs at 7\.10 m, above the clear height under the joists \(7\.00 m\)\.$",
    ),
    "above the eaves": (
        dict(hall=GABLE, groups=(replace(ROW, y=-10, height=7),)),
        r"^loudspeaker R1 hangs at 7\.00 m, above the clear height under the joists \(6\.17 m\)\.$",
    ),
    "above, in feet": (
        dict(units="ft", groups=(replace(ROW, height=7.1),)),
        (
            r"^loudspeaker R1 hangs at 23 ft 3 1/2 in, above the clear height under the joists"
            r" \(22 ft"
            r" 11 1/2 in\)"
        ),
    ),
    "over the seats": (
        dict(groups=(replace(ROW, y=10.5, height=3.2),)),
        r"^loudspeaker R1 at 3\.20 m hangs less than 2\.00 m over the seats of 'bank'\.$",
    ),
    "over the stack": (
        dict(banks=(replace(BANK, open=False),), groups=(replace(ROW, y=10.5, height=3.2),)),
        r"^loudspeaker R1 at 3\.20 m hangs less than 2\.00 m over",
    ),
    "in one place": (
        dict(groups=(ROW, replace(DOWN, x=4.1, y=0.1, height=6.5))),
        r"^loudspeakers R2 and D1 overlap\. Move one of them\.$",
    ),
    # uses
    "unknown group": (
        with_use(groups={"rwo": GroupSetting()}),
        r"^use 'game', groups: group 'rwo' is unknown\. Known: row, down\.$",
    ),
    "unknown closed": (
        with_use(closed=("bnak",)),
        r"^use 'game', closed: bank 'bnak' is unknown\. Known: bank\.$",
    ),
    "unknown set up": (
        with_use(set_up=("deck",)),
        (
            r"^use 'game', set_up: block of chairs, portable stage or movable fixture 'deck' is"
            r" unknown\. Known: chairs\.$"
        ),
    ),
    "unknown microphone": (
        with_use(microphones=("lectern",)),
        r"^use 'game', microphones: microphone 'lectern' is unknown\. Known: none\.$",
    ),
    "nobody, pushed back": (
        with_use(closed=("bank",), listens={"bank": 1.0}),
        r"^use 'game': nobody listens\.",
    ),
    "nobody, not set up": (
        with_use(set_up=(), listens={"chairs": 1.0}),
        r"^use 'game': nobody listens\.",
    ),
    "unknown listeners": (
        with_use(listens={"balcony": 1.0}),
        r"^use 'game', listens: area 'balcony' is unknown\. Known: bank, chairs, court\.$",
    ),
    "unknown occupied": (
        with_use(occupied={"balcony": 1.0}),
        r"^use 'game', occupied: area 'balcony' is unknown\. Known: bank, chairs, court\.$",
    ),
    "nobody": (
        with_use(listens={}),
        (
            r"^use 'game': nobody listens\. Give at least one area that is open or set up a weight"
            r" in 'listens'\.$"
        ),
    ),
    "nobody, by weight": (with_use(listens={"court": 0.0}), r"^use 'game': nobody listens\."),
    "nobody, closed": (
        dict(banks=(replace(BANK, open=False),), **with_use(listens={"bank": 1.0})),
        r"^use 'game': nobody listens\.",
    ),
    "all off": (
        with_use(groups={"row": GroupSetting(on=False), "down": GroupSetting(on=False)}),
        r"^use 'game': every loudspeaker group is off\.$",
    ),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_refusals_of_the_whole(case):
    """Regression: every refusal that needs more than one thing, in its own words and in the
    scenario's units.
    """
    change, said, *hall = REFUSALS[case]
    if hall:
        change = dict(
            banks=(),
            floor_seats=(),
            hall=replace(HALL, **hall[0]),
            **with_use(listens={"court": 1.0}, occupied={}),
            **change,
        )
    with pytest.raises(ValueError, match=said):
        replace(BASE, **change)


@pytest.mark.parametrize(
    "change",
    [
        dict(banks=(replace(BANK, length=30),)),
        dict(banks=(BANK, replace(BANK, name="beside", length=7, offset=11.5))),
        dict(
            stage=replace(STAGE, width=22, opening_height=7),
            treatments=(Treatment(surface="roof", area=660, finish="wall panels"),),
        ),
        dict(groups=(replace(ROW, height=7), replace(DOWN, y=10.5, height=4))),
        dict(groups=(replace(ROW, spacing=0.5),)),
        dict(banks=(replace(BANK, open=False),)),
        with_use(occupied={"bank": 0.0, "court": 1.0}),
        with_use(groups={"row": GroupSetting(on=False)}),
        dict(stage=replace(STAGE, side="north", width=7, offset=11.5)),
        dict(groups=(replace(ROW, y=10.5, height=3.24),)),
        dict(balconies=(replace(GALLERY, length=22, height=6),)),
        dict(stage=STAGE, balconies=(replace(GALLERY, side="east", height=5.21),)),
        dict(
            banks=(BANK, replace(BANK, name="other", side="south", length=6, open=False)),
            portable_stages=(DECK,),
            microphones=(replace(MIKE, on="deck", walks="deck"),),
            **with_use(set_up=("deck",), microphones=("lectern",)),
        ),
        dict(floor_seats=(CHAIRS, replace(CHAIRS, name="others"))),
    ],
)
def test_limits_themselves_are_legal(change):
    """Closed form: what just fits is accepted: a bank as long as the wall, a stage as wide, a
    loudspeaker at the joists.
    """
    assert replace(BASE, **change) != BASE


THINGS = {
    "ridge": (
        HALL,
        dict(ridge_height=7),
        (
            r"^ridge_height = 7\.00 m \(22 ft 11 1/2 in\) is below height = 8\.00 m \(26 ft 3"
            r" in\)\. Leave it out"
        ),
    ),
    "clear": (
        HALL,
        dict(clear_height=8.5),
        (
            r"^clear_height = 8\.50 m \(27 ft 10 1/2 in\) is above the roof \(8\.00 m \(26 ft 3"
            r" in\)\)\. It is the"
        ),
    ),
    "length": (
        HALL,
        dict(length=112),
        r"^length = 112 m is outside 12 to 80 m\. Feet given by mistake\?$",
    ),
    "joists alone": (
        HALL,
        dict(joist_spacing=1.8),
        r"^joist_spacing and joists_along belong together: give how far apart",
    ),
    "way alone": (HALL, dict(joists_along="width"), r"^joist_spacing and joists_along belong"),
    "way": (
        HALL,
        dict(joist_spacing=1.8, joists_along="east"),
        r"^joists_along = 'east' is unknown\. Known: length, width\.$",
    ),
    "first joist": (HALL, dict(first_joist=1.0), r"^first_joist says nothing without"),
    "joist spacing": (
        HALL,
        dict(joist_spacing=72, joists_along="width"),
        r"^joist_spacing = 72 m is outside 0\.4 to 15 m\. Inches given by mistake\?$",
    ),
    "wall": (HALL, dict(east_wall="velvet"), r"^east_wall = 'velvet' is unknown\."),
    "surface": (
        Treatment(surface="roof", area=9, finish="glass"),
        dict(surface="floor"),
        r"^surface = 'floor' cannot be treated\. Known: roof, north wall",
    ),
    "air": (
        Air(),
        dict(humidity_pct=0.45),
        r"^humidity_pct = 0\.45 % is outside 5 to 100 %\. Give percent, not a fraction\.$",
    ),
    "fahrenheit": (
        Air(),
        dict(temperature_c=70),
        r"^temperature_c = 70 degC is outside -5 to 40 degC\. Fahrenheit given by mistake\?$",
    ),
    "side": (
        STAGE,
        dict(side="up"),
        r"^side = 'up' is unknown\. Known: north, south, east, west\.$",
    ),
    "stage finish": (
        STAGE,
        dict(front="plywod"),
        r"^front = 'plywod' is unknown\. Did you mean 'plywood'\?$",
    ),
    "loudspeaker": (
        ROW,
        dict(loudspeaker=90),
        r"^loudspeaker = 90 must be text in quotes\.$",
    ),
    "spacing": (
        ROW,
        dict(spacing=0),
        r"^spacing = 0 m hangs 2 loudspeakers in one place\. Give their distance\.$",
    ),
    "tilt": (
        ROW,
        dict(downtilt_deg=-60),
        (
            r"^downtilt_deg = -60 deg is outside -30 to 90 deg\. Tilt is positive down: 90 fires"
            r" at the"
            r" floor\.$"
        ),
    ),
    "number": (ROW, dict(number=1.5), r"^number = 1\.5 is not a whole number\.$"),
    "text": (
        ROW,
        dict(pan_deg="north"),
        r"^pan_deg = 'north' is not a number\. Give -180 to 180 deg\.$",
    ),
    "drive": (GroupSetting(), dict(on=1), r"^on = 1 must be true or false\.$"),
    "delay": (
        GroupSetting(),
        dict(delay_ms=-1),
        r"^delay_ms = -1 ms is outside 0 to 500 ms\. Seconds given by mistake\?$",
    ),
    "share": (
        USE,
        dict(occupied={"bank": 70}),
        r"^occupied 'bank' = 70 .*Give a share from 0 to 1, not percent\.$",
    ),
    "weight": (
        USE,
        dict(listens={"bank": -1}),
        r"^listens 'bank' = -1 .*A weight cannot be negative\.$",
    ),
    "no noise": (
        USE,
        dict(noise_dba=None),
        r"^give the noise either as noise_dba with noise_spectrum, or as noise_db",
    ),
}


@pytest.mark.parametrize("case", THINGS)
def test_refusals_of_single_things(case):
    """Regression: what a thing refuses by itself."""
    thing, change, said = THINGS[case]
    with pytest.raises(ValueError, match=said):
        replace(thing, **change)


def test_a_line_of_loudspeakers():
    """Closed form: five loudspeakers 2 m apart along north-east, splayed by 10 degrees, the middle
    one at the group.
    """
    line = Group(
        name="line",
        tag="L",
        loudspeaker="pendant 70",
        number=5,
        x=1,
        y=2,
        height=6,
        spacing=2,
        along_deg=45,
        pan_deg=20,
        downtilt_deg=30,
        splay_deg=10,
    )
    loudspeakers = line.loudspeakers(loudspeaker_types()["pendant 70"])
    assert [c.tag for c in loudspeakers] == ["L1", "L2", "L3", "L4", "L5"]
    assert [c.pan_deg for c in loudspeakers] == [0, 10, 20, 30, 40]
    assert loudspeakers[2].position.tolist() == [1, 2, 6]
    step = 4 / 2**0.5
    assert loudspeakers[0].position == pytest.approx([1 - step, 2 - step, 6])
    assert {c.downtilt_deg for c in loudspeakers} == {30} and all(
        c.type is loudspeaker_types()["pendant 70"] for c in loudspeakers
    )


def test_use_by_name():
    """Regression: the first when none is named, and a refusal that lists them."""
    s = SCENARIOS["larkfield"]
    assert s.use() is s.uses[0]
    assert s.use("class").name == "class"
    with pytest.raises(
        ValueError,
        match=r"^use 'gala' is unknown\. Known: game, class, assembly, graduation, performance\.$",
    ):
        s.use("gala")


def test_settings():
    """Closed form: each use has its own banks, chairs, decks and curtain, and with them its areas
    and its room.
    """
    closed = replace(
        USE,
        name="class",
        closed=("bank",),
        set_up=("deck",),
        curtain_open=False,
        listens={"court": 1.0},
        occupied={},
    )
    s = replace(
        BASE,
        stage=STAGE,
        portable_stages=(DECK,),
        balconies=(replace(GALLERY, rows=1),),
        uses=(USE, closed),
    )
    game, lesson = s.configuration(), s.configuration("class")
    assert list(game.areas) == ["bank", "gallery", "chairs", "court"] and list(lesson.areas) == [
        "gallery",
        "court",
    ]
    assert (
        s.area_names == ("bank", "chairs", "gallery", "court")
        and s.areas == game.areas
        and s.room is game.room
    )
    assert [b.open for b in game.banks] == [True] and [b.open for b in lesson.banks] == [False]
    assert {"bank", "chairs"} <= set(game.room.parts) and "deck" not in game.room.parts
    assert {"closed bleachers", "deck", "stage"} <= set(lesson.room.parts)
    apart = STAGE.volume - game.banks[0].solid + lesson.banks[0].solid + DECK.solid
    assert game.room.volume == pytest.approx(lesson.room.volume + apart)
    assert (
        s.configuration("class").room is lesson.room
        and s.configuration("class").areas is lesson.areas
    )


def test_seats_and_words():
    """Closed form: places of open banks and chairs; lengths in the scenario's units."""
    assert BASE.seats == 4 * 34 + 6 * 12
    assert replace(BASE, banks=(replace(BANK, open=False),)).seats == 6 * 12
    assert (BASE.say(7), replace(BASE, units="ft").say(7)) == ("7.00 m", "22 ft 11 1/2 in")


def test_frozen():
    """Regression: a scenario cannot be changed under the hands of those who share it."""
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'name'"):
        BASE.name = "other"
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'length'"):
        BASE.hall.length = 5


def test_doubts():
    """Regression: low over the court, a bank over the lines, little floor around it; none without
    cause.
    """
    assert all("above the clear height" in w for w in SCENARIOS["larkfield"].warnings)
    quiet = replace(
        BASE,
        hall=replace(HALL, height=9, clear_height=8.9),
        groups=(replace(ROW, height=7.4), replace(DOWN, height=8)),
    )
    assert quiet.warnings == []
    low = replace(quiet, groups=(replace(ROW, height=7.2),))
    assert low.warnings == [
        f"Loudspeaker R{k} hangs over the court with 6.89 m under it; international rules ask for"
        " 7.00 m."
        for k in (1, 2)
    ]
    assert replace(quiet, groups=(replace(ROW, y=8, height=5),)).warnings == [], (
        "beside the court it may hang lower"
    )
    deep = replace(quiet, banks=(replace(BANK, rows=8),))
    assert deep.warnings == [
        "'bank' reaches over the lines of the court when it stands like this, by 0.20 m over"
        " 16.00 m."
    ]
    tight = replace(quiet, hall=replace(quiet.hall, length=24))
    assert tight.warnings == [
        "Only 0.72 m of floor remains around the court; rules ask for at least 0.91 m."
    ]
    assert "2 ft 4 1/2 in" in replace(tight, units="ft").warnings[0]


LONG = dict(loudspeaker="two-way 90x60", number=1, spacing=0.0)  # 0.40 x 0.62 x 0.38 m deep
ENCLOSURES = {
    # its front hangs 0.25 m from the wall, its back 0.38 m behind that
    "in a wall, by its back": (
        dict(groups=(replace(ROW, **LONG, x=14.75, pan_deg=180, downtilt_deg=0),)),
        r"^loudspeaker R1: its enclosure reaches 0\.13 m into the east wall\. It must stay within"
        r" the gym: move it, or turn or tilt it less\.$",
    ),
    # turned along the wall, half its width of 0.40 m
    "in a wall, by its side": (
        dict(groups=(replace(ROW, **LONG, y=-10.84, pan_deg=0, downtilt_deg=0),)),
        r"^loudspeaker R1: its enclosure reaches 0\.04 m into the south wall\.",
    ),
    "in feet": (
        dict(units="ft", groups=(replace(ROW, **LONG, x=14.75, pan_deg=180, downtilt_deg=0),)),
        r"^loudspeaker R1: its enclosure reaches 0 ft 5 in into the east wall\.",
    ),
    "the outer one of a line": (
        dict(groups=(replace(ROW, number=3, spacing=14.82, pan_deg=90, downtilt_deg=0),)),
        r"^loudspeaker R1: its enclosure reaches 0\.02 m into the west wall\.",
    ),
    # 0.31 m of half its height over a front at 6.7 m
    "in the roof": (
        dict(
            hall=replace(HALL, height=6.85, clear_height=6.8),
            groups=(replace(ROW, **LONG, height=6.7, downtilt_deg=0),),
        ),
        r"^loudspeaker R1: its enclosure reaches 0\.16 m into the roof\.",
    ),
    # firing at the floor, its whole depth rises over its front
    "in the roof, tilted": (
        dict(
            hall=replace(HALL, height=6.85, clear_height=6.8),
            groups=(replace(ROW, **LONG, height=6.7, downtilt_deg=90),),
        ),
        r"^loudspeaker R1: its enclosure reaches 0\.23 m into the roof\.",
    ),
    # the slope is 8.18 m high over y = 3; the back top corner is 0.38 m further out, where it is
    # 9 - 3.38 * 3 / 11 = 8.078 m, and 7.9 + 0.31 m high itself
    "in the slope of a roof": (
        dict(
            hall=GABLE, groups=(replace(ROW, **LONG, y=3, height=7.9, pan_deg=-90, downtilt_deg=0),)
        ),
        r"^loudspeaker R1: its enclosure reaches 0\.13 m into the roof\.",
    ),
    "in another": (
        dict(groups=(ROW, replace(ROW, name="too", tag="T", x=0.3))),
        r"^loudspeakers R1 and T1 overlap\. Move one of them\.$",
    ),
    "in the bleachers, beside its middle": (
        dict(
            banks=(replace(BANK, first_height=2.4),),
            groups=(replace(ROW, **LONG, y=8.5, height=2.3, pan_deg=-90, downtilt_deg=0),),
        ),
        (
            r"^loudspeaker R1: its enclosure reaches .+ into 'bank'\. Hang it higher, or move one"
            r" of them"
        ),
    ),
    "in the slab of a balcony": (
        dict(
            balconies=(GALLERY,),
            groups=(replace(ROW, **LONG, x=-11.9, height=5.1, pan_deg=0, downtilt_deg=0),),
        ),
        r"^loudspeaker R1: its enclosure reaches .+ into 'gallery'\.",
    ),
    "a microphone in a loudspeaker": (
        dict(
            microphones=(replace(MIKE, x=4.2, y=0.0, height=6.5),),
            groups=(replace(ROW, **LONG, x=4.0, pan_deg=180, downtilt_deg=0),),
            **with_use(microphones=("lectern",)),
        ),
        r"^use 'game': microphone 'lectern' is inside loudspeaker R1\. Move one of them\.$",
    ),
    "people under a deck": (
        dict(
            portable_stages=(replace(DECK, height=1.9),),
            **with_use(set_up=("chairs", "deck")),
        ),
        r"^use 'game': \d+ seats of 'court' lie in or under the deck of 'deck'\. Move or lower the",
    ),
    "chairs under a deck": (
        dict(
            portable_stages=(replace(DECK, x=-5, y=-2, height=1.9),),
            **with_use(set_up=("chairs", "deck")),
        ),
        r"^use 'game': 'chairs' and 'deck' overlap by 4\.00 m over 6\.00 m\.$",
    ),
    "chairs under a low balcony": (
        dict(
            balconies=(replace(GALLERY, height=2.2, thickness=0.4),),
            floor_seats=(replace(CHAIRS, x=-11),),
        ),
        r"^use 'game': 'chairs' has less than 2\.00 m under 'gallery' \(1\.80 m\)\.$",
    ),
}


@pytest.mark.parametrize("case", ENCLOSURES)
def test_an_enclosure_takes_room(case):
    """Worked by hand: an enclosure in a wall, a roof, another thing or around a microphone, from
    its size, turn and tilt; and people without room over their heads.
    """
    changes, words = ENCLOSURES[case]
    with pytest.raises(ValueError, match=words):
        replace(BASE, **{"microphones": (), **changes})


@pytest.mark.parametrize(
    "changes",
    [
        dict(x=14.75, pan_deg=0),  # its back is to the gym
        dict(x=14.62, pan_deg=180),  # its back touches the wall
        dict(y=-10.8, pan_deg=0),
        dict(height=6.69, downtilt_deg=0),
    ],
)
def test_an_enclosure_may_touch(changes):
    """Worked by hand: what only touches a wall or the roof is legal."""
    hall = replace(HALL, height=7.0)
    row = replace(ROW, **LONG, **{"downtilt_deg": 0, **changes})
    assert replace(BASE, hall=hall, groups=(row,)).loudspeakers


def test_corners_of_an_enclosure():
    """Worked by hand: a box that fires at the floor lies over its front, its height along the way
    it would face.
    """
    row = replace(ROW, **LONG, x=1, y=2, height=5, pan_deg=0, downtilt_deg=90)
    at = corners(replace(BASE, groups=(row,)).loudspeakers)[0]
    assert np.allclose(at.min(axis=0), [1 - 0.31, 2 - 0.2, 5.0])
    assert np.allclose(at.max(axis=0), [1 + 0.31, 2 + 0.2, 5.38])


def test_low_loudspeakers_are_warned_of():
    """Behavior: a loudspeaker within reach over chairs, a stage or the floor is legal and warned
    of; at 3 m nothing is said of it.
    """
    low = replace(ROW, **LONG, x=-5, y=-2, height=2.2, downtilt_deg=0)
    said = [w for w in replace(BASE, groups=(low,)).warnings if "low over" in w]
    assert said == [
        "Loudspeaker R1 hangs low over 'chairs': 1.89 m under it. People reach what hangs under"
        " 2.44 m; hang it higher or keep people away."
    ]
    beside = replace(BASE, groups=(replace(low, x=5),)).warnings
    assert any("R1 hangs low over the floor: 1.89 m" in w for w in beside)
    stage = dict(portable_stages=(DECK,), **with_use(set_up=("chairs", "deck")))
    over = replace(BASE, groups=(replace(low, x=9, y=0, height=3),), **stage).warnings
    assert any("R1 hangs low over 'deck': 2.19 m" in w for w in over)
    high = replace(BASE, groups=(replace(low, height=3),)).warnings
    assert not any("low over" in w for w in high)


@pytest.mark.parametrize("name", SCENARIOS)
@pytest.mark.parametrize("key", ARRANGEMENTS)
def test_arrangements_keep_within_the_gym(name, key):
    """Invariance: whatever loudspeaker an arrangement takes, it hangs within walls and roof; the
    usual loudspeakers fit wherever the gym has what the arrangement needs.
    """
    scenario = SCENARIOS[name]
    for loudspeaker in (None, "long-throw 40x30", "four-sided 90x50", "column 110x20"):
        try:
            made = arrange(scenario, key, loudspeaker=loudspeaker)
        except ValueError as error:
            assert "needed for this" in str(error) or "fires one way" in str(error), error
            continue
        assert beyond_room(made.loudspeakers, made.hall) == []


@pytest.mark.parametrize(
    "change, said",
    [
        (dict(name="x" * 201), r"^name = 'x+\.\.\. has 201 characters, more than 200\. Shorten"),
        (dict(source="x" * 2001), r"has 2001 characters, more than 2000\. Shorten it\.$"),
        (dict(name="Base "), r"^name = 'Base ' begins or ends with a space\. Typed by mistake"),
        (dict(name="Ba\u200bse"), r"holds the character U\+200B, which takes no room\. Copied"),
        (dict(uses=(USE, replace(USE, name="Game"))), r"^'game' and 'Game' look alike\. Give eve"),
        (dict(groups=(ROW, replace(DOWN, name="RO\u200dW"))), r" look alike\. Give every group a"),
        (
            dict(groups=(replace(ROW, name="caf\u00e9"), replace(DOWN, name="cafe\u0301"))),
            r" look alike\.",
        ),
        (dict(banks=(replace(BANK, name="Court"),)), r"^'Court' names a part of the gym\."),
    ],
)
def test_names_that_nobody_tells_apart(change, said):
    """Regression: they were two things to the program and one to whoever reads the drawing."""
    with pytest.raises(ValueError, match=said):
        replace(BASE, **change) if "name" not in change else replace(BASE, name=change["name"])


@pytest.mark.parametrize(
    "change, said",
    [
        (
            dict(
                microphones=(replace(MIKE, x=0, y=10.1, height=0.5),),
                **with_use(microphones=("lectern",)),
            ),
            r"^use 'game': microphone 'lectern' is inside 'bank'\. Raise it, or ",
        ),
        (
            dict(
                microphones=(replace(MIKE, height=0.4),),
                portable_stages=(DECK,),
                **with_use(microphones=("lectern",), set_up=("chairs", "deck")),
            ),
            r"^use 'game': microphone 'lectern' is inside 'deck'\.",
        ),
        (
            dict(
                portable_stages=(replace(DECK, height=1.3),),
                **with_use(set_up=("chairs", "deck"), listens={"bank": 1, "court": 1}),
            ),
            r"^use 'game': \d+ seats of 'court' lie in or under the deck of 'deck'\.",
        ),
    ],
)
def test_nothing_is_inside_a_solid(change, said):
    """Regression: microphones stood in bleachers and stages, listeners in a deck up to 1.55 m."""
    with pytest.raises(ValueError, match=said):
        replace(BASE, **change)


def test_what_stands_out_is_warned_of():
    """Regression: an enclosure among the joists, and people on the court where a low deck stands,
    are said.
    """
    (said,) = (w for w in SCENARIOS["larkfield"].warnings if "'north row'" in w)
    assert said.startswith("'north row' reaches 0 ft ") and "above the clear height" in said
    stage = dict(
        portable_stages=(DECK,),
        **with_use(set_up=("chairs", "deck"), listens={"bank": 1, "court": 1}),
    )
    (said,) = (w for w in replace(BASE, **stage).warnings if "'deck'" in w)
    assert said.startswith("Use 'game': ") and "positions of the court lie where" in said


def test_joists_stand_from_the_west_or_the_south_wall_on():
    """Worked by hand: in a hall of 24 m, 5 m apart and the first 2 m from the west wall: 2, 7, 12,
    17 and 22 m from it; the first one spacing off when left out, and none in the far wall.
    """
    hall = replace(HALL, length=24, width=20, joist_spacing=5.0, joists_along="width")
    assert hall.across_joists == 0
    assert replace(hall, first_joist=2.0).joists == pytest.approx([-10, -5, 0, 5, 10])
    assert hall.joists == pytest.approx([-7, -2, 3, 8])
    along = replace(hall, joists_along="length")
    assert along.across_joists == 1
    assert along.joists == pytest.approx([-5, 0, 5])
    assert HALL.across_joists is None and len(HALL.joists) == 0
