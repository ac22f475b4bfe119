"""Scenario files: what comes in unchanged, what is refused and in which words, and that no file is
ever lost.
"""

import builtins
import os
import re
import stat
import time
from copy import deepcopy
from dataclasses import replace
from pathlib import Path

import pytest
import tomlkit
from cases import usual
from hypothesis import given, settings
from hypothesis import strategies as st

from gymtools.acoustics.evaluate import evaluate, evaluate_all
from gymtools.command_line.entry import main
from gymtools.venue.court import COURTS
from gymtools.venue.files import load, parse, save, to_text
from gymtools.venue.finishes import FINISHES
from gymtools.venue.hall import Treatment
from gymtools.venue.paths import changed
from gymtools.venue.scenario import Scenario
from gymtools.venue.seating import FloorSeats
from gymtools.venue.tables import meanings, read_table
from gymtools.venue.targets import Targets
from gymtools.venue.uses import GroupSetting
from gymtools.venue.validation import MOST

PATHS = {p.stem: p for p in sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))}
METERS, FEET = (PATHS[name].read_text(encoding="utf-8") for name in ("dovecote", "larkfield"))
FOOT = 0.3048


def edited(old, new, text=METERS):
    """The file's text with one passage replaced, which must be there."""
    assert old in text
    return text.replace(old, new, 1)


def refusal(text):
    """What ``parse`` says about a file called gym.toml; fails if it accepts it or needs more than
    one line.
    """
    with pytest.raises(ValueError, match=r"^gym\.toml") as caught:
        parse(text, "gym.toml")
    assert str(caught.value).isprintable(), "one line, and nothing that a terminal would obey"
    return str(caught.value)


@pytest.mark.parametrize("name", PATHS)
def test_round_trip(name, tmp_path):
    """Regression: loaded, saved and loaded again three times, scenario and text are the same, to
    the last byte.
    """
    original = PATHS[name].read_bytes()
    scenario, path = load(PATHS[name]), tmp_path / f"{name}.toml"
    for _ in range(3):
        assert save(load(path) if path.exists() else scenario, path, overwrite=True) == path
        assert path.read_bytes() == original
    assert load(path) == scenario
    assert [p.name for p in tmp_path.iterdir()] == [f"{name}.toml"]


@pytest.mark.parametrize("name", PATHS)
def test_round_trip_without_the_old_text(name):
    """Regression: a scenario made in Python writes a file that reads back equal."""
    bare = replace(load(PATHS[name]), text=None)
    assert parse(to_text(bare)) == bare


def test_file_in_meters_stays_in_meters():
    """Closed form: numbers of a file in meters are SI as they stand, and are written so."""
    s = parse(METERS)
    assert (s.hall.length, s.hall.height, s.banks[0].row_run, s.treatments[0].area) == (
        26.0,
        7.6,
        0.61,
        180,
    )
    assert "length = 30\n" in to_text(replace(s, hall=replace(s.hall, length=30.0)))


def test_file_in_feet_is_meters_inside():
    """Closed form: feet times 0.3048, square feet times its square; degrees, decibels and counts as
    they are.
    """
    s = parse(FEET)
    assert (s.hall.length, s.hall.clear_height, s.banks[0].first_height) == pytest.approx(
        (112 * FOOT, 26 * FOOT, 1.4 * FOOT), rel=1e-12
    )
    assert s.treatments[0].area == pytest.approx(600 * FOOT**2, rel=1e-12)
    assert (
        s.groups[0].downtilt_deg,
        s.groups[0].number,
        s.uses[0].groups["court pair"].gain_db,
        s.air.temperature_c,
    ) == (32, 3, -4, 20)
    assert "\nlength = 110\n" in to_text(replace(s, hall=replace(s.hall, length=110 * FOOT)))


def test_units_can_be_changed():
    """Invariance: written in the other unit a scenario is the same to the ten digits that are
    written.
    """
    s = parse(METERS)
    other = parse(to_text(replace(s, units="ft")))
    assert other.units == "ft"
    assert (other.hall.length, other.treatments[0].area) == pytest.approx(
        (s.hall.length, s.treatments[0].area), rel=1e-9
    )
    assert other.loudspeakers[0].position == pytest.approx(s.loudspeakers[0].position, rel=1e-9)


def comments(text):
    return [line.split("#", 1)[1] for line in text.splitlines() if "#" in line]


def first_use(s, **changes):
    return replace(s, uses=(replace(s.uses[0], **changes), *s.uses[1:]))


EDITS = {  # what a designer changes
    "height": lambda s: replace(s, hall=replace(s.hall, height=s.hall.height + FOOT)),
    "aim": lambda s: replace(
        s, groups=(replace(s.groups[0], downtilt_deg=40, x=FOOT), *s.groups[1:])
    ),
    "order": lambda s: replace(s, groups=s.groups[::-1]),
    "rows": lambda s: replace(s, banks=(*s.banks[:-1], replace(s.banks[-1], rows=4))),
    "listeners": lambda s: first_use(s, listens={"court": 0.5}),
    "drives": lambda s: first_use(
        s, groups={s.groups[0].name: GroupSetting(gain_db=-2, delay_ms=3.5)}, occupied={}
    ),
    "another use": lambda s: replace(s, uses=(*s.uses, replace(s.uses[-1], name="another"))),
    "treatment": lambda s: replace(
        s,
        treatments=(
            *s.treatments,
            Treatment(surface="west wall", area=20 * FOOT**2, finish="wall panels"),
        ),
    ),
    "chairs": lambda s: replace(
        s,
        floor_seats=(
            *s.floor_seats,
            FloorSeats(name="new", x=-20 * FOOT, length=10 * FOOT, width=10 * FOOT),
        ),
    ),
    "targets": lambda s: replace(s, targets=Targets(sti=0.6, rt_s=1.6)),
}


@pytest.mark.parametrize("kind", EDITS)
@pytest.mark.parametrize("name", usual(PATHS, "alderway", "larkfield"))
def test_edits_keep_the_comments(name, kind):
    """Regression: after an edit every comment is there, untouched lines are, and the file reads
    back as the edit.
    """
    s = load(PATHS[name])
    edit = EDITS[kind](s)
    text = to_text(edit)
    again = parse(text)
    assert to_text(again) == text
    assert sorted(comments(text)) == sorted(comments(s.text))
    gone = [line for line in s.text.splitlines() if line.strip() and line not in text.splitlines()]
    assert len(gone) <= (4 if kind == "drives" else 2)
    if s.units == "m":
        assert again == edit
    else:  # ten digits in feet
        assert to_text(replace(again, text=None)) == to_text(replace(edit, text=None))


def test_numbers_stay_as_they_were_written():
    """Regression: a file in feet with more digits, or with a point more than needed, is not tidied
    up.
    """
    text = edited(
        "height = 30 ",
        "height = 30.123456789012345 ",
        edited("row_run = 2.0 ", "row_run = 2.000 ", FEET),
    )
    assert to_text(parse(text)) == text


def test_what_is_taken_out_is_gone():
    """Regression: a stage, treatments, drives and a noise level taken out of a scenario are out of
    its file.
    """
    s = load(PATHS["alderway"])
    use = replace(s.uses[0], noise_dba=None, noise_db=(40.0,) * 7, groups={})
    things = dict(stage=None, treatments=(), microphones=(), measured_room=None, room_fit=None)
    gone = replace(s, **things, uses=(replace(use, microphones=()),))
    text = to_text(gone)
    assert parse(text) == gone or to_text(parse(text)) == text
    for word in ("[stage]", "[[treatments]]", "delay_ms", "noise_dba", "[[microphones]]"):
        assert word not in text
    assert "noise_db = [40, 40, 40, 40, 40, 40, 40]" in text.replace(".0", "")


def test_comment_beside_a_changed_value_stays():
    """Regression: also beside a number, and beside an inline table."""
    s = parse(
        edited(
            "listens = { court = 1.0 }",
            "listens = { court = 1.0 }  # nobody else",
            edited("height = 7.6", "height = 7.6  # to the roof"),
        )
    )
    text = to_text(
        replace(
            s,
            hall=replace(s.hall, height=8.0),
            uses=(s.uses[0], replace(s.uses[1], listens={"court": 0.5})),
        )
    )
    assert "height = 8  # to the roof" in text
    assert re.search(r"^listens = \{ ?court = 0\.5 ?\}  # nobody else$", text, re.M)


WORDS = [  # passage, replacement, what is said after the file's name
    (
        "height = 7.6",
        "height = 7000",
        " [hall]: height = 7000 m is outside 4 to 20 m. Millimeters or feet given by mistake?",
    ),
    (
        "height = 7.6",
        "height = -7.6",
        " [hall]: height = -7.6 m is outside 4 to 20 m. Millimeters or feet given by mistake?",
    ),
    (
        "height = 7.6",
        "height = 0",
        " [hall]: height = 0 m is outside 4 to 20 m. Millimeters or feet given by mistake?",
    ),
    (
        "height = 7.6",
        "height = nan",
        " [hall]: height = nan m is outside 4 to 20 m. Millimeters or feet given by mistake?",
    ),
    (
        "height = 7.6",
        "height = inf",
        " [hall]: height = inf m is outside 4 to 20 m. Millimeters or feet given by mistake?",
    ),
    (
        "height = 7.6",
        f"height = 1{'0' * 400}",
        " [hall]: height is a number of more than 300 digits.",
    ),
    ("height = 7.6", 'height = "7.6"', " [hall]: height = '7.6' is not a number."),
    ("height = 7.6", "height = true", " [hall]: height = True is not a number."),
    ("height = 7.6", "height = [7.6]", " [hall]: height = [7.6] is not a number."),
    ("height = 7.6", "heigth = 7.6", " [hall]: unknown key 'heigth'. Did you mean 'height'?"),
    ("height = 7.6\n", "", " [hall]: missing height."),
    ('floor = "synthetic floor"', "floor = 5", " [hall]: floor = 5 must be text in quotes."),
    ('floor = "synthetic floor"', 'floor = " "', " [hall]: floor = ' ' must be text in quotes."),
    (
        'floor = "synthetic floor"',
        'floor = "synthetic flor"',
        " [hall]: floor = 'synthetic flor' is unknown. Did you mean 'synthetic floor'?",
    ),
    ('units = "m"', 'units = "feet"', ": units = 'feet' is unknown. Did you mean 'ft'?"),
    ('units = "m"\n', "", ': units is missing. Write units = "m" or units = "ft" at the top.'),
    (
        'court = "junior high"',
        'court = "junior"',
        ": court = 'junior' is unknown. Did you mean 'junior high'?",
    ),
    ("[hall]", "[[hall]]", " [hall]: must be a table of keys and values."),
    ("[[banks]]", "[banks]", " [banks]: must be a list of tables. Write [[banks]]."),
    ("[[treatments]]", "[[treatment]]", ": unknown key 'treatment'. Did you mean 'treatments'?"),
    ("rows = 5", "rows = 5.5", " [[banks]] 'bleachers': rows = 5.5 is not a whole number."),
    ("rows = 5", "rows = 5\nopen = 1", " [[banks]] 'bleachers': open = 1 must be true or false."),
    (
        "row_run = 0.61",
        "row_run = 61",
        (
            " [[banks]] 'bleachers': row_run = 61 m is outside 0.45 to 1.2 m. "
            "Depth of one row, seat to seat. Inches or centimeters given by mistake?"
        ),
    ),
    ('name = "bleachers"\n', "", " [[banks]] number 1: missing name."),
    (
        "area = 180",
        "area = -1",
        (
            " [[treatments]] number 1: area = -1 m² is outside 0 to 5000 m². "
            "Give the area covered, in the file's own units squared."
        ),
    ),
    (
        "occupied = { bleachers = 0.7 }",
        "occupied = { bleachers = 70 }",
        (
            " [[uses]] 'game': occupied 'bleachers' = 70 is outside 0 to 1. Give a share from 0 to"
            " 1, not percent."
        ),
    ),
    (
        "occupied = { bleachers = 0.7 }",
        'occupied = { bleachers = "0.7" }',
        " [[uses]] 'game': occupied 'bleachers' = '0.7' is not a number.",
    ),
    (
        "occupied = { bleachers = 0.7 }",
        "occupied = { bleachers = true }",
        " [[uses]] 'game': occupied 'bleachers' = True is not a number.",
    ),
    (
        "occupied = { bleachers = 0.7 }",
        "occupied = 0.7",
        " [[uses]] 'game': occupied must be a table of areas and numbers.",
    ),
    (
        "noise_dba = 76",
        "noise_db = 76",
        " [[uses]] 'game': noise_db must be a list of seven octave levels.",
    ),
    (
        "noise_dba = 76",
        "noise_db = [70, 70]",
        (
            " [[uses]] 'game': noise_db has 2 values, not one for each of the seven octaves 125 Hz"
            " to 8 kHz."
        ),
    ),
    (
        "noise_dba = 76",
        'noise_db = ["70", 70, 70, 70, 70, 70, 70]',
        " [[uses]] 'game': noise_db = '70' is not a number.",
    ),
    (
        "noise_dba = 76",
        "noise_dba = 76\nnoise_db = [1, 1, 1, 1, 1, 1, 1]",
        (
            " [[uses]] 'game': give the noise either as noise_dba with noise_spectrum, or as"
            " noise_db in seven octaves."
        ),
    ),
    (
        "noise_dba = 76",
        "noise_dba = 76\ncurtain_open = 0",
        " [[uses]] 'game': curtain_open = 0 must be true or false.",
    ),
    (
        'microphones = ["announcer"]',
        'microphones = "announcer"',
        " [[uses]] 'game': microphones must be a list of names in quotes.",
    ),
    (
        'microphones = ["announcer"]',
        "microphones = [1]",
        " [[uses]] 'game': microphones must be a list of names in quotes.",
    ),
    (
        "{ on = false }",
        "{ gain = 3 }",
        " [[uses]] 'class' [groups.'wall pair']: unknown key 'gain'. Did you mean 'gain_db'?",
    ),
    (
        "{ on = false }",
        "{ loud = 3 }",
        " [[uses]] 'class' [groups.'wall pair']: unknown key 'loud'. Known: on, gain_db, delay_ms.",
    ),
    (
        "{ on = false }",
        "{ delay_ms = 900 }",
        (
            " [[uses]] 'class' [groups.'wall pair']: delay_ms = 900 ms is outside 0 to 500 ms."
            " Seconds given by mistake?"
        ),
    ),
    (
        "{ on = false }",
        "false",
        " [[uses]] 'class' [groups.'wall pair']: must be a table of keys and values.",
    ),
    (
        "[hall]",
        '[hall]\nshape = "L"',
        (
            " [hall]: unknown key 'shape'. A gym is a rectangle under a flat roof, or a gable along"
            " its length. For an L-shape give the part with the court and the seats, and the open"
            " side of the other part as a treatment 'stage opening'; for a curved roof a gable with"
            " the walls' height and a ridge that gives the same volume."
        ),
    ),
    (
        'units = "m"',
        'units = "m"\ntext = "no"',
        (
            ": unknown key 'text'. Known: name, units, source, court, court_x, court_y,"
            " court_turned, hall, air, side_courts, banks,"
            " floor_seats, stage, portable_stages, balconies, tracks, fixtures, divider,"
            " microphones, treatments, groups, uses, targets, equipment, loudspeaker_files,"
            " absorption_factors, scattering_factors, measured_room, room_fit, assumed."
        ),
    ),
]


@pytest.mark.parametrize(
    "old, new, said", WORDS, ids=[f"{k} {row[1][:30]}" for k, row in enumerate(WORDS)]
)
def test_words_of_refusals(old, new, said):
    """Regression: file, table, key, value, what is allowed and the likely slip, in one line."""
    assert refusal(edited(old, new)) == "gym.toml" + said


def test_refusal_speaks_the_files_units():
    """Regression: ranges in feet for a file in feet; the two limits themselves are accepted."""
    assert refusal(edited("height = 30 ", "height = 9000 ", FEET)).startswith(
        "gym.toml [hall]: height = 9000 ft is outside 13.1234 to 65.6168 ft. Millimeters"
    )
    assert "area = 60000 ft² is outside 0 to 53819.6 ft²." in refusal(
        edited("area = 600", "area = 60000", FEET)
    )
    west = 'surface = "west wall"\narea = 600'
    said = refusal(edited(west, west + "0", FEET))
    assert said == "gym.toml: treatment of the west wall: 6,000 ft² asked for, 2,880 ft² there."
    edge = edited("height = 30 ", "height = 65.6167979003 ", FEET)
    assert parse(edge).hall.height == pytest.approx(20, abs=1e-9)


@pytest.mark.parametrize(
    "text, said",
    [
        ("", r": units is missing"),
        ("units", r": is not valid TOML\."),
        ("= 1", r": is not valid TOML\."),
        ("a = [1", r": is not valid TOML\."),
        (METERS + "\0", r": is not valid TOML\."),
        (
            METERS + "\n[hall]\nlength = 3\n",
            r": is not valid TOML\. Cannot declare \('hall',\) twice",
        ),
        (
            edited("height = 7.6", "height = 7.6\nheight = 8"),
            r": is not valid TOML\. Cannot overwrite a value",
        ),
        ("a = " + "[" * 50_000, r": is not valid TOML\."),
        (edited("height = 7.6", "height = 1" + "0" * 5000), r": is not valid TOML\."),
        ('units = ["m"]', r": units = \['m'\] is unknown"),
    ],
)
def test_broken_files(text, said):
    """Regression: broken or senseless TOML is one line, too."""
    assert re.match(rf"gym\.toml{said}", refusal(text))


@pytest.mark.parametrize(
    "name",
    [
        "'; DROP TABLE seats; --",
        "<script>alert(1)</script>",
        "__import__('os').abort()",
        "${HOME} $(reboot) `reboot`",
        "{0.__class__}",
        "%s %n",
        "../../etc/passwd",
        "a" * 200,
        "Ünïcödé 体育館 🏀",
        '"""',
        "\\",
    ],
)
def test_hostile_names(name, tmp_path):
    """Regression: a name is text and nothing else: kept as it is, saved and read back, and one line
    in a refusal.
    """
    document = tomlkit.parse(METERS)
    document["name"] = name
    document["uses"][1]["name"] = name
    s = parse(tomlkit.dumps(document))
    assert (s.name, s.uses[1].name) == (name, name)
    path = save(s, tmp_path / "s.toml")
    assert load(path) == s
    document["uses"][1]["target_dba"] = 1e9
    assert "target_dba = 1e+09 dB(A) is outside 40 to 110 dB(A)." in refusal(
        tomlkit.dumps(document)
    )


def test_nothing_in_a_file_is_executed(tmp_path, monkeypatch):
    """Regression: values that are programs stay text; no shell, no eval, no import of what a file
    names.
    """
    ran = []
    for module, name in ((os, "system"), (os, "popen"), (builtins, "eval"), (builtins, "exec")):
        monkeypatch.setattr(module, name, lambda *a, **k: ran.append(a))
    code = "__import__('pathlib').Path('ran').touch()"
    monkeypatch.chdir(tmp_path)
    s = parse(
        edited(
            'source = "invented; sizes typical of a small school gymnasium"', f'source = "{code}"'
        )
    )
    save(s, tmp_path / "s.toml")
    assert s.source == code and load(tmp_path / "s.toml").source == code
    assert "roof = \"!!python/object/apply:os.system ['reboot']\" is unknown." in refusal(
        edited('roof = "plain deck"', "roof = \"!!python/object/apply:os.system ['reboot']\"")
    )
    assert not ran and [p.name for p in tmp_path.iterdir()] == ["s.toml"]


def test_huge_file(tmp_path):
    """Regression: more than 250 kB is refused before it is read, from a file and as text."""
    path = tmp_path / "huge.toml"
    path.write_text(METERS + "#" * 250_000)
    with pytest.raises(
        ValueError, match=r"^huge\.toml: is larger than 250 kB, so it is no scenario file\.$"
    ):
        load(path)
    assert refusal(METERS + "#" * 250_000) == (
        "gym.toml: is larger than 250 kB, so it is no scenario."
    )


@pytest.mark.parametrize(
    "text",
    [
        "line\nbreak",
        "tab\there",
        "\x1b[2J",
        "next\x85line",
        "next\u2028line",
        "\u202egnp.exe",
        "\u2066",
        "\ufffe",
        "\ufdd0",
        "\U0010ffff",
    ],
)
@pytest.mark.parametrize("where", ["name", "source", "use", "area", "microphone"])
def test_text_that_cannot_be_shown(text, where):
    """Behavior: control characters, reversed directions and code points that are no characters are
    refused in every name and text, on one line that quotes none of them.
    """
    document = tomlkit.parse(METERS).unwrap()
    if where in ("name", "source"):
        document[where] = text
    elif where == "area":
        document["uses"][0]["listens"][text] = 1.0
    else:
        document["uses" if where == "use" else "microphones"][0]["name"] = text
    try:
        written = tomlkit.dumps(document)
    except ValueError:  # cannot be written at all
        return
    said = refusal(written)
    assert said.startswith("gym.toml") and said.isprintable()
    assert re.search(r"holds the character U\+[0-9A-F]{4}|is not valid TOML", said)


def test_text_is_checked_in_things_as_well():
    """Behavior: a name that a script gives is checked like one of a file; a lone surrogate, which
    no file can hold, is refused there. Names of other scripts and joined emoji stay.
    """
    s = parse(METERS)
    for bad in ("a\ud800b", "a\nb", "a\u202eb"):
        with pytest.raises(
            ValueError, match=r"^name = .* holds the character U\+[0-9A-F]{4}, which"
        ):
            replace(s, name=bad)
        with pytest.raises(
            ValueError, match=r"^tag = .* holds the character U\+[0-9A-F]{4}, which"
        ):
            replace(s.groups[0], tag=bad)
    for good in ("体育館", "مدرسة", "👩\u200d🏫", "São João"):
        assert replace(s, name=good).name == good


LISTS = dict(
    banks='side = "north"\nrows = 1\nrow_run = 0.6\nrow_rise = 0.2\nlength = 2',
    floor_seats="length = 1\nwidth = 1",
    portable_stages="length = 1\nwidth = 1\nheight = 0.3",
    balconies='side = "south"\ndepth = 1\nheight = 4\nlength = 2',
    microphones='type = "lectern"',
    groups='tag = "Q"\nloudspeaker = "pendant 100"\nheight = 5\npan_deg = 0\ndowntilt_deg = 90',
    uses="target_dba = 70",
)


@pytest.mark.parametrize("key", [*LISTS, "treatments", "loudspeaker_files"])
def test_more_than_any_gym_holds(key, monkeypatch):
    """Behavior: a list longer than any school's is refused by its number, before any of it is
    made; a longer file by its size.
    """
    monkeypatch.setattr("gymtools.venue.files.build", lambda *a, **k: pytest.fail("made something"))
    count = MOST[key] + 1
    if key == "loudspeaker_files":
        text = f"loudspeaker_files = {['x.toml'] * count}\n" + METERS
    elif key == "treatments":
        text = METERS + '\n[[treatments]]\nsurface = "roof"\narea = 0\nfinish = "brick"' * count
    else:
        text = METERS + "".join(f'\n[[{key}]]\nname = "n{n}"\n{LISTS[key]}\n' for n in range(count))
    said = refusal(text)
    assert re.fullmatch(rf"gym\.toml: {key}: \d+ are given, more than {MOST[key]}\.", said)


def test_many_loudspeakers():
    """Behavior: 9,604 loudspeakers in groups, and lists in a script, are refused by their number
    within half a second.
    """
    s = parse(METERS)
    one = replace(s.groups[0], number=12, spacing=0.5)
    begun = time.monotonic()
    with pytest.raises(ValueError, match=r"^groups: 801 are given, more than 100\.$"):
        replace(s, groups=(one,) * 801)
    with pytest.raises(ValueError, match=r"^loudspeakers: 1200 are given, more than 300\.$"):
        replace(s, groups=(one,) * 100)
    with pytest.raises(ValueError, match=r"^banks: 60000 are given, more than 40\.$"):
        replace(s, banks=(s.banks[0],) * 60_000)
    assert time.monotonic() - begun < 0.5


@pytest.mark.parametrize("nested", ["a = " + "[" * 5000 + "]" * 5000, "a = " + "{a=" * 3000])
def test_deeply_nested(nested):
    """Behavior: nesting that no reader can follow is one line."""
    assert refusal(nested) == "gym.toml: is not valid TOML. It is nested too deeply."


@pytest.mark.parametrize(
    "old, new, said",
    [
        ('name = "bleachers"', "name = 2026-01-01", "name = datetime.date"),
        ('name = "bleachers"', 'name = ["a"]', "name = ['a'] must be text in quotes."),
        ("length = 26.0", "length = 12:00:00", "length = datetime.time"),
        ('closed = ["bleachers"]', "closed = 2026-01-01", "closed must be a list of names"),
    ],
)
def test_values_of_a_wrong_kind(old, new, said):
    """Behavior: a date, a time or a list where text, a number or a list of names belongs is named
    with its key.
    """
    assert old in METERS
    assert said in refusal(METERS.replace(old, new, 1))


@pytest.mark.parametrize("given", [None, 3, b"x", ["a"], object()])
def test_what_is_no_file_and_no_text(given):
    """Behavior: what is neither a path nor text, or no scenario at all, is refused in words."""
    with pytest.raises(ValueError, match=r"^path = .* is no scenario file\. Give its path\.$"):
        load(given)
    with pytest.raises(ValueError, match=r"^scenario: .* is not the text of a scenario file\.$"):
        parse(given)
    for what in (evaluate, evaluate_all):
        with pytest.raises(
            ValueError,
            match=r"^scenario = .* is no Scenario\. Give what gymtools\.load\(path\)",
        ):
            what("school.toml" if given is None else given)


def test_no_ordinary_file(tmp_path):
    """Behavior: a folder, a pipe that nobody writes to and a device are refused at once."""
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "folder.toml").mkdir()
    (tmp_path / "device.toml").symlink_to("/dev/zero")
    for name in ("pipe", "folder", "device"):
        with pytest.raises(
            ValueError, match=rf"^{name}\.toml: .*(no ordinary file|cannot be opened)"
        ):
            load(tmp_path / f"{name}.toml")


def test_encodings(tmp_path):
    """Regression: UTF-8 with or without a byte-order mark and Windows line ends are read, other
    encodings refused.
    """
    path, want = tmp_path / "s.toml", parse(METERS)
    for content in (METERS.encode("utf-8-sig"), METERS.replace("\n", "\r\n").encode()):
        path.write_bytes(content)
        assert load(path) == want
    for content in (
        METERS.replace("invented", "erfunden für").encode("latin-1"),
        METERS.encode("utf-16"),
        b"\xff\xfe\x00",
    ):
        path.write_bytes(content)
        with pytest.raises(
            ValueError, match=r"^s\.toml: is not UTF-8 text\. Save it in UTF-8\. Was it saved"
        ):
            load(path)


def test_missing_file(tmp_path):
    """Regression: a file that is not there is refused by its name."""
    with pytest.raises(ValueError, match=r"^nowhere\.toml: there is no such scenario file\.$"):
        load(tmp_path / "nowhere.toml")


def test_existing_file_is_not_replaced_unasked(tmp_path):
    """Regression: FileExistsError, and the old file is as it was; with overwrite, replaced, and its
    rights kept.
    """
    path = tmp_path / "s.toml"
    path.write_text("precious")
    path.chmod(0o600)
    with pytest.raises(
        FileExistsError,
        match=r"^s\.toml exists\. Choose another name, or say that it may be replaced\.$",
    ):
        save(parse(METERS), path)
    assert path.read_text() == "precious"
    save(parse(METERS), path, overwrite=True)
    assert path.read_text() == METERS
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]


@pytest.mark.parametrize("step", ["replace", "fsync", "chmod"])
@pytest.mark.parametrize(
    "error", [OSError("disk full"), KeyboardInterrupt("stop")], ids=["disk full", "interrupted"]
)
def test_a_failed_save_loses_nothing(step, error, tmp_path, monkeypatch):
    """Regression: whatever fails on the way, the old file is intact and nothing is left
    beside it.
    """
    path = tmp_path / "s.toml"
    path.write_text("precious")

    def fail(*args, **kwargs):
        raise error

    monkeypatch.setattr(os, step, fail)
    with pytest.raises(type(error), match=str(error)):
        save(parse(METERS), path, overwrite=True)
    if step != "chmod":  # a new file gets its permissions as it is made
        with pytest.raises(type(error), match=str(error)):
            save(parse(METERS), tmp_path / "new.toml")
    assert path.read_text() == "precious"
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]


ODD = st.one_of(
    st.text(max_size=20),
    st.sampled_from(["", " ", "nan", "north", "court", "7.6", "\n"]),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.integers(-3, 30),
    st.sampled_from([10**400, -(10**309), 2**63]),
    st.floats(),
    st.floats(-100, 100),
    st.lists(st.one_of(st.integers(-9, 9), st.text(max_size=3), st.booleans()), max_size=8),
    st.dictionaries(
        st.text(max_size=8), st.one_of(st.integers(-9, 9), st.text(max_size=3)), max_size=3
    ),
    st.just([{}]),
    st.just([{"name": "court"}]),
    st.just({"court": 1.0}),
)


def places(tables):
    """Every table of a parsed file and each of its keys, and a key that is not there."""
    for key, value in [*tables.items()]:
        yield tables, key
        if isinstance(value, dict):
            yield from places(value)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for entry in value:
                yield from places(entry)
    yield tables, "surprise"


FUZZED = [
    tomlkit.parse(text).unwrap()
    for text in (METERS, FEET, PATHS["alderway"].read_text(encoding="utf-8"))
]


@settings(max_examples=120)  # 2,000 by hand
@given(
    tables=st.sampled_from(FUZZED),
    where=st.integers(0, 10_000),
    odd=ODD,
    drop=st.booleans(),
)
def test_fuzz_one_key(tables, where, odd, drop):
    """Invariance: one key set to anything, or dropped, gives a sound scenario or lines that name
    the file.
    """
    tables = deepcopy(tables)
    spots = list(places(tables))
    table, key = spots[where % len(spots)]
    if drop and key in table and where % 3 == 0:
        del table[key]
    else:
        table[key] = odd
    try:
        fuzzed = tomlkit.dumps(tables)
    except ValueError:  # some texts and numbers cannot be written as TOML at all
        return
    try:
        s = parse(fuzzed, "gym.toml")
    except ValueError as error:
        assert error.faults == str(error).split("\n")
        assert all(line.startswith("gym.toml") and line.isprintable() for line in error.faults)
        return
    assert isinstance(s, Scenario)
    assert s.room.volume > 0 and s.areas and s.loudspeakers and isinstance(s.warnings, list)
    saved = to_text(s)
    again = parse(saved, "gym.toml")
    # in feet a last digit may differ
    assert to_text(again) == saved and (again == s or s.units == "ft")


def test_a_limit_saved_in_feet_is_read_again(tmp_path):
    """Regression: chairs 1.5 m apart, the limit, were written as feet that were refused."""
    s = load(Path(__file__).parents[1] / "scenarios" / "larkfield.toml")
    wide = changed(s, {("floor_seats", "show chairs", "row_spacing"): 1.5})
    again = load(save(wide, tmp_path / "s.toml"))
    assert again.floor_seats[1].row_spacing == pytest.approx(1.5, abs=1e-9)


# ---- everything at once


def slips(*pairs, text=METERS):
    """The file's text with several passages replaced."""
    for old, new in pairs:
        text = edited(old, new, text)
    return text


def faults(text):
    """Lines of a refusal after the file's name; its text is these lines, and nothing else."""
    with pytest.raises(ValueError, match=r"^gym\.toml") as caught:
        parse(text, "gym.toml")
    assert str(caught.value) == "\n".join(caught.value.faults)
    assert all(line.isprintable() for line in caught.value.faults)
    return [line.removeprefix("gym.toml") for line in caught.value.faults]


def test_a_file_full_of_slips():
    """Behavior: a first file with thirteen slips is told all of them at once: keys, numbers,
    finishes and names of every table, and what does not fit of the things that are sound.
    """
    text = slips(
        ("width = 19.5", "width = 19.5\nlights = 4"),
        ('walls = "painted block"', 'walls = "concrete block"'),
        ("row_run = 0.61", "row_run = 24"),
        ("rows = 5", "rows = 5\nopen = 1"),
        ("x = -2.0", "x = -8.0"),
        ('surface = "roof"', 'surface = "ceiling"'),
        ("height = 6.4", "height = 7.4"),
        ('loudspeaker = "pendant 100"', 'loudspeaker = "pendant"'),
        ("y = 5.6", "y = 12"),
        ('type = "hand-held wireless"', 'type = "hand held"'),
        ("target_dba = 86", "target_dba = 860"),
        ('court = "junior high"', 'court = "tennis"'),
        ("temperature_c = 19", "temperature_c = 66"),
    )
    told = faults(text)
    assert [line.split(".")[0] for line in told] == [
        " [hall]: unknown key 'lights'",
        " [hall]: walls = 'concrete block' is unknown",
        " [air]: temperature_c = 66 degC is outside -5 to 40 degC",
        " [[banks]] 'bleachers': row_run = 24 m is outside 0",
        " [[microphones]] 'roving': type = 'hand held' is unknown",
        " [[treatments]] number 1: surface = 'ceiling' cannot be treated",
        " [[uses]] 'game': target_dba = 860 dB(A) is outside 40 to 110 dB(A)",
        ": court = 'tennis' is unknown",
        ": group 'floor pair': loudspeaker = 'pendant' is unknown",
        ": 'chairs' reaches 1",
        ": microphone 'announcer' at 0",
    ]
    # the bank's second slip and the loudspeaker's height wait for what they depend on
    mended = slips(("row_run = 24", "row_run = 0.61"), ("pendant", "pendant 100"), text=text)
    assert " [[banks]] 'bleachers': open = 1 must be true or false." in faults(mended)
    assert [line for line in faults(mended) if "W1 hangs at 7.40 m" in line]


def test_what_fits_together_is_told_at_once():
    """Behavior: where every thing is sound, everything that does not fit is told, what is the same
    in several uses once, with all of them.
    """
    told = faults(
        slips(
            ("y = -2.5\nlength = 13.0", "y = 2.5\nlength = 13.0"),
            ("height = 6.4", "height = 7.4"),
            ("area = 180", "area = 1800"),
            ("listens = { bleachers", "listens = { bleacher"),
        )
    )
    assert told[0].startswith(": use 'game', listens: area 'bleacher' is unknown. Known: bleachers")
    assert [line for line in told if line.startswith(": treatment of the roof: 1,800 m² asked for")]
    assert len([line for line in told if "above the clear height" in line]) == 2
    both = slips(("y = -2.5\nlength = 13.0", "y = 4.0\nlength = 13.0"))
    assert [line for line in faults(both) if "overlap by" in line] == [
        ": use 'graduation': 'bleachers' and 'chairs' overlap by 1.30 m over 13.00 m."
    ]


def test_one_refused_thing_brings_no_others_down():
    """Behavior: a bank or a block that is refused is still known by its name, so that nothing is
    said of the uses that name it; a key that is nearly right is not missing as well.
    """
    assert len(faults(edited("row_run = 0.61", "row_run = 24"))) == 1
    assert faults(edited("length = 26.0", "lenght = 26.0")) == [
        " [hall]: unknown key 'lenght'. Did you mean 'length'?"
    ]
    assert faults(edited('name = "chairs"', 'nome = "chairs"')) == [
        " [[floor_seats]] number 1: unknown key 'nome'. Did you mean 'name'?"
    ]


def test_a_thing_from_a_script_is_refused_in_one_line():
    """Behavior: a change of a scenario says the first thing that does not fit, in one line; its
    ``faults`` has all.
    """
    panels = (Treatment(surface="roof", area=900, finish="wall panels"),)
    with pytest.raises(ValueError, match=r"^court 'college' \(28\.65 m x 15\.24 m\)") as caught:
        replace(parse(METERS), court="college", treatments=panels)
    assert str(caught.value).isprintable() and len(caught.value.faults) == 2


def test_files_that_cannot_be_read_have_faults(tmp_path):
    """Behavior: whatever is wrong with a file, the refusal has its lines as a list."""
    for text in ("", "= 1", "a = [1", METERS.replace('units = "m"', 'units = "yd"')):
        assert len(faults(text)) == 1
    with pytest.raises(ValueError, match="no such file|cannot be read|there is no") as caught:
        load(tmp_path / "none.toml")
    assert caught.value.faults == [str(caught.value)]
    bad = "[[treatments]]\nsurface = 1\narea = 1\nfinish = 'glass'\n\n"
    many = METERS.replace("[[treatments]]", bad * 59 + "[[treatments]]", 1)
    assert len(faults(many)) == 41 and faults(many)[-1] == "... and 19 more."


def test_the_command_line_says_all_of_it(tmp_path, capsys):
    """Behavior: a file that is refused is told line by line on the command line."""
    path = tmp_path / "gym.toml"
    path.write_text(slips(("row_run = 0.61", "row_run = 24"), ("humidity_pct = 40", "wet = 40")))
    assert main(["testplan", str(path), "--folder", str(tmp_path)]) == 2
    said = capsys.readouterr().err.splitlines()
    assert [line.partition(":")[0] for line in said] == [
        "gym.toml [air]",
        "gym.toml [[banks]] 'bleachers'",
    ]


@pytest.mark.parametrize(
    "word, meant",
    [
        ("middle school", "junior high"),
        ("Middle School", "junior high"),
        ("FIBA", "international"),
        ("NCAA", "college"),
    ],
)
def test_words_for_courts(word, meant):
    """Behavior: a word that people use for a court is understood, said so once, and saved as the
    court's name.
    """
    hall = edited("length = 26.0", "length = 36.0").replace("width = 19.5", "width = 24.0")
    with pytest.warns(UserWarning, match=rf"^gym\.toml: court = '{word}' is read as '{meant}'\."):
        s = parse(hall.replace('court = "junior high"', f'court = "{word}"'), "gym.toml")
    assert s.court == meant and f'court = "{meant}"' in to_text(s)


@pytest.mark.parametrize(
    "key, word, meant",
    [
        ("walls", "Painted Block", "painted block"),
        ("floor", "urethane", "synthetic floor"),
        ("floor", "linoleum", "rubber tile"),
    ],
)
def test_words_for_finishes(key, word, meant):
    """Behavior: the same for finishes."""
    old = {"walls": 'walls = "painted block"', "floor": 'floor = "synthetic floor"'}[key]
    with pytest.warns(UserWarning, match=rf"\[hall\]: {key} = '{word}' is read as '{meant}'"):
        s = parse(edited(old, f'{key} = "{word}"'), "gym.toml")
    assert getattr(s.hall, key) == meant


@pytest.mark.parametrize(
    "key, word, said",
    [
        ("roof", "metal deck", "'plain deck', 'acoustic deck 1 in' or 'acoustic deck 3 in'"),
        ("walls", "cmu", "'bare block' or 'painted block'"),
        ("walls", "drywall", "'gypsum', 'double gypsum' or 'plasterboard ceiling'"),
    ],
)
def test_words_that_may_mean_several(key, word, said):
    """Behavior: a word that may mean several finishes is answered with these, never guessed."""
    old = {"walls": 'walls = "painted block"', "roof": 'roof = "plain deck"'}[key]
    assert faults(edited(old, f'{key} = "{word}"')) == [
        f" [hall]: {key} = '{word}' is unknown. Did you mean {said}?"
    ]


def test_every_synonym_leads_somewhere():
    """Behavior: every word of the table stands for finishes or courts that there are, and for none
    of their own names.
    """
    known = {**FINISHES, **COURTS}
    for row in read_table("synonyms.csv"):
        names = [name.strip() for name in row["means"].split(";")]
        assert names and set(names) <= set(known) and row["words"] not in known
        assert row["words"] == row["words"].lower().strip()
        assert meanings(row["words"].upper(), known) == names
