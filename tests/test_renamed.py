"""What files and scripts of earlier versions say is still understood, and said once."""

import warnings
from dataclasses import replace
from pathlib import Path

import pytest

from gymtools.design.arrangements import arrange
from gymtools.equipment.prices import example_prices, read_prices
from gymtools.venue.files import load, parse, save, to_text
from gymtools.venue.paths import changed

ROOT = Path(__file__).parents[1]
OLD = ROOT / "tests" / "data" / "larkfield-old-names.toml"
NEW = ROOT / "scenarios" / "larkfield.toml"
TARGETS = """
[targets]
spread_db = 7              # wide, agreed with the school
worst_seat_db = 5
over_noise_db = 12
spare_gain_db = 1          # a little more
"""
PRESENT = {
    "spread_db": "coverage_range_db",
    "worst_seat_db": "quietest_seat_db",
    "over_noise_db": "speech_to_noise_db",
    "spare_gain_db": "feedback_margin_db",
}


def quietly(function, *args, **more):
    """What a function of old names answers, and the warnings that it gave."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("default")
        return function(*args, **more), said


def test_an_old_scenario_file_is_read():
    """Regression: a file of the first version means what its present form means."""
    old, said = quietly(load, OLD)
    # which says where the rack is as well
    assert old == replace(load(NEW), equipment=old.equipment)
    assert [(w.category, w.filename) for w in said] == [(FutureWarning, __file__)]
    assert (
        str(said[0].message)
        == "larkfield-old-names.toml: cabinet is now loudspeaker, tilt_deg is now downtilt_deg."
        " Saving the scenario writes the present names."
    )


def test_an_old_file_is_saved_in_present_names(tmp_path):
    """Behavior: saving writes the present names in the old order, with every comment."""
    old, _ = quietly(load, OLD)
    save(old, tmp_path / "saved.toml")
    was, now = OLD.read_text().splitlines(), (tmp_path / "saved.toml").read_text().splitlines()
    renamed = {"cabinet ": "loudspeaker ", "tilt_deg ": "downtilt_deg "}
    for name, present in renamed.items():
        was = [line.replace(name, present) if line.startswith(name) else line for line in was]
    assert now == was
    again, said = quietly(load, tmp_path / "saved.toml")
    assert again == old and not said


def test_old_targets_are_read():
    """Regression: each former target is the present one, and keeps the comment on its line."""
    s, said = quietly(parse, NEW.read_text() + TARGETS)
    assert len(said) == 1
    t = s.targets
    assert (
        t.coverage_range_db,
        t.quietest_seat_db,
        t.speech_to_noise_db,
        t.feedback_margin_db,
    ) == (
        7,
        5,
        12,
        1,
    )
    text = to_text(s)
    assert "coverage_range_db = 7              # wide, agreed with the school\n" in text
    assert text.endswith("feedback_margin_db = 1          # a little more\n")


@pytest.mark.parametrize("old, new", PRESENT.items())
def test_both_names_at_once_are_refused(old, new):
    """Behavior: one line says which of the two to keep."""
    text = f"{NEW.read_text()}\n[targets]\n{old} = 4\n{new} = 5\n"
    with pytest.raises(
        ValueError, match=rf"^x\.toml \[targets\]: {old} and {new} are the same thing\. Keep {new}"
    ):
        parse(text, "x.toml")


def test_an_inline_table_of_old_names():
    """Behavior: old names in a table on one line are read, and written anew."""
    s, said = quietly(parse, "targets = { spread_db = 9 }\n" + NEW.read_text())
    assert s.targets.coverage_range_db == 9 and len(said) == 1
    again, said = quietly(parse, to_text(s))
    assert again == s and not said and "spread_db" not in to_text(s)


@pytest.mark.parametrize("words", ["four", "housing"])
def test_old_arrangements(words):
    """Behavior: arrangements are found by their former spelling, with the former keyword too."""
    s = load(NEW)
    with pytest.warns(FutureWarning, match=f"arrangement 'centre {words}' is now 'center {words}'"):
        assert arrange(s, f"centre {words}") == arrange(s, f"center {words}")
    with pytest.warns(FutureWarning, match=r"arrange\(cabinet=\.\.\.\) is now arrange\(loudsp"):
        other = arrange(s, "pendants", cabinet="pendant 70")
    assert other == arrange(s, "pendants", loudspeaker="pendant 70")


def test_an_old_price_book_is_read(tmp_path):
    """Regression: a price book of the first version has the same prices."""
    book = (ROOT / "gymtools" / "data" / "prices.csv").read_text()
    book = book.replace("labor,", "labour,").replace("and antenna", "and aerial")
    (tmp_path / "mine.csv").write_text(book)
    old, said = quietly(read_prices, tmp_path / "mine.csv")
    assert old.prices == example_prices().prices
    assert [str(w.message) for w in said] == [
        "mine.csv, line 3: labour,hour is now labor,hour.",
        (
            f"mine.csv, line {1 + book[: book.index('aerial')].count(chr(10))}: assistive"
            " listening,transmitter and aerial is now assistive listening,transmitter and antenna."
        ),
    ]
    (tmp_path / "both.csv").write_text(book + "labor,hour,h,80,0,twice\n")
    with pytest.raises(ValueError, match="labor 'hour' stands there"):
        quietly(read_prices, tmp_path / "both.csv")


def test_old_equipment_is_read():
    """Regression: the voltage of AC power under its former name, in a file and in a path."""
    text = NEW.read_text().replace(
        "\n[equipment]\n", "\n[equipment]\nmains_volts = 230   # on the rack\n"
    )
    s, said = quietly(parse, text)
    assert s.equipment.ac_volts == 230 and len(said) == 1
    assert "ac_volts = 230   # on the rack\n" in to_text(s)
    again, said = quietly(changed, s, {("equipment", "mains_volts"): 120})
    assert again.equipment.ac_volts == 120 and len(said) == 1
