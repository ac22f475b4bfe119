"""Typed lengths and values: read, said back as understood, refused with the range beside them."""

import math

import ipywidgets as w
import pytest
from hypothesis import given
from hypothesis import strategies as st
from schools import SCENARIOS

from gymtools.display.panel.loudspeakers import LoudspeakersSection
from gymtools.display.panel.meeting import Meeting
from gymtools.display.panel.slider_spec import SliderSpec
from gymtools.venue.typed_values import read_length, read_value, value_text
from gymtools.venue.units import feet_inches

FT, IN = 0.3048, 0.0254
HEIGHT = SliderSpec(path=("h",), label="Height", low=2.5, high=15, step=0.1, unit="m")
TILT = SliderSpec(path=("t",), label="Downtilt", low=-10, high=90, step=1, unit="deg")
ROWS = SliderSpec(path=("n",), label="Rows", low=1, high=30, step=1, unit="count")


@pytest.mark.parametrize(
    "text, in_feet, in_meters",
    [
        ("22' 6\"", 22.5 * FT, None),
        ("22'6\"", 22.5 * FT, None),
        ("22’ 6”", 22.5 * FT, None),
        ("22′ 6″", 22.5 * FT, None),
        ("22' 6''", 22.5 * FT, None),
        ("22-6", 22.5 * FT, None),
        ("22–6", 22.5 * FT, None),
        ("22'-6\"", 22.5 * FT, None),
        ("22'-6 1/2\"", 22 * FT + 6.5 * IN, None),
        ("22-6 1/2", 22 * FT + 6.5 * IN, None),
        ("22-6½", 22 * FT + 6.5 * IN, None),
        ("22 ft 6 in", 22.5 * FT, None),
        ("22ft6in", 22.5 * FT, None),
        ("22 feet 6 inches", 22.5 * FT, None),
        ("22 FT. 6 IN.", 22.5 * FT, None),
        ("22' 6", 22.5 * FT, None),
        ("22'", 22 * FT, None),
        ("22 ft", 22 * FT, None),
        ("22.5 ft", 22.5 * FT, None),
        ("22,5 ft", 22.5 * FT, None),
        ("0-9", 9 * IN, None),
        ("9 in", 9 * IN, None),
        ('270"', 270 * IN, None),
        ("-22-6", -22.5 * FT, None),
        ("−22' 6\"", -22.5 * FT, None),
        ("+3 ft", 3 * FT, None),
        ("22.5", 22.5 * FT, 22.5),
        ("32,5", 32.5 * FT, 32.5),
        ("22 1/2", 22.5 * FT, 22.5),
        ("22½", 22.5 * FT, 22.5),
        ("1/2", 0.5 * FT, 0.5),
        (".5", 0.5 * FT, 0.5),
        ("0,125", 0.125 * FT, 0.125),
        ("  7 ", 7 * FT, 7.0),
        ("-3", -3 * FT, -3.0),
        ("0", 0.0, 0.0),
        ("6.7 m", 6.7, None),
        ("6,7m", 6.7, None),
        ("6.7 meters", 6.7, None),
        ("670 cm", 6.7, None),
        ("6700 mm", 6.7, None),
        ("6 1/2 m", 6.5, None),
    ],
)
def test_lengths_are_read(text, in_feet, in_meters):
    """Worked by hand: 1 ft = 0.3048 m and 1 in = 0.0254 m exactly; only a bare number follows the
    meeting's units.
    """
    assert read_length(text, "ft") == pytest.approx(in_feet, abs=1e-12)
    wanted = in_feet if in_meters is None else in_meters
    assert read_length(text, "m") == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize(
    "text, why",
    [
        ("", "is no length. Write e.g. 22-6"),
        ("high", "is no length"),
        ("22 6", "is no length"),
        ("22 yards", "is no length"),
        ("22'6'", "is no length"),
        ("30°", "is no length"),
        ("6.7 m 3", "is no length"),
        ("nan", "is no length"),
        ("1e3", "is no length"),
        ("--5", "is no length"),
        ("9" * 400, "is too large"),
        ("5-12", "12 in is a foot or more"),
        ("5' 13\"", "13 in is a foot or more"),
        ("22.5' 3\"", "feet before inches are whole"),
        ("6 1/0", "no 0 below its line"),
        ("1,250", "can be read in two ways. Write 1250 or 1.25."),
    ],
)
def test_what_is_no_length_is_refused(text, why):
    """Behavior: one line with what was typed and how it is written; nothing is guessed."""
    for units in ("m", "ft"):
        with pytest.raises(ValueError, match=why.replace(".", r"\.")) as refused:
            read_length(text, units)
        assert "\n" not in str(refused.value) and len(str(refused.value)) < 200


@given(st.integers(-200 * 24, 200 * 24))
def test_what_a_schedule_says_can_be_typed(halves):
    """Invariance: feet and inches as schedules print them are read back exactly."""
    meters = halves * IN / 2
    assert read_length(feet_inches(meters), "m") == pytest.approx(meters, abs=1e-9)


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text):
    """Behavior: whatever is typed gives a finite number or one line."""
    for unit in ("m", "m2", "°C", "deg", "dB", "ms", "%", "", "count"):
        try:
            assert math.isfinite(read_value(text, unit, "ft"))
        except ValueError as error:
            assert "\n" not in str(error)


@pytest.mark.parametrize(
    "text, unit, units, value",
    [
        ("30", "deg", "ft", 30),
        ("30°", "deg", "ft", 30),
        ("-12,5 deg", "deg", "m", -12.5),
        ("-3 dB", "dB", "m", -3),
        ("+3", "dB", "m", 3),
        ("75 dBA", "dB(A)", "m", 75),
        ("75 dB(A)", "dB(A)", "m", 75),
        ("20 ms", "ms", "m", 20),
        ("0.02 s", "ms", "m", 20),
        ("40", "%", "m", 40),
        ("40 %", "%", "m", 40),
        ("85 %", "", "m", 0.85),
        ("0,85", "", "m", 0.85),
        ("7", "count", "m", 7),
        ("Six", "count", "m", 6),
        ("68", "°C", "ft", 20),
        ("68 °F", "°C", "m", 20),
        ("20", "°C", "m", 20),
        ("20 C", "°C", "ft", 20),
        ("600", "m2", "ft", 600 * FT**2),
        ("600 sq ft", "m2", "m", 600 * FT**2),
        ("55,5 m2", "m2", "ft", 55.5),
        ("55 m²", "m2", "ft", 55),
    ],
)
def test_other_values_are_read(text, unit, units, value):
    """Worked by hand: degrees, decibels, times, percent, counts, areas; 68 degF are 20 degC."""
    assert read_value(text, unit, units) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    "text, unit, why",
    [
        ("6.7 m", "deg", "is no angle"),
        ("30°", "dB", "is no level"),
        ("7.5", "count", "is no whole number"),
        ("several", "count", "is no whole number"),
        ("20 dB", "ms", "is no time"),
        ("warm", "°C", "is no temperature"),
        ("600 ft", "m2", "is no area"),
    ],
)
def test_a_value_of_another_kind_is_refused(text, unit, why):
    """Behavior: a length is no angle, whatever number stands before it."""
    with pytest.raises(ValueError, match=why):
        read_value(text, unit, "ft")


@pytest.mark.parametrize(
    "value, unit, units, words",
    [
        (22.5 * FT, "m", "ft", "22 ft 6 in (6.86 m)"),
        (22.5 * FT, "m", "m", "6.86 m (22 ft 6 in)"),
        (22.3 * FT, "m", "ft", "22.3 ft, about 22 ft 3 1/2 in (6.80 m)"),
        (40.0, "deg", "ft", "40°"),
        (40.25, "deg", "ft", "40.25°"),
        (-3.0, "dB", "m", "-3 dB"),
        (20.0, "°C", "ft", "68 °F (20 °C)"),
        (600 * FT**2, "m2", "ft", "600 ft² (55.7 m²)"),
        (0.85, "", "m", "0.85 (85 %)"),
        (7, "count", "m", "7"),
    ],
)
def test_what_was_understood(value, unit, units, words):
    """Worked by hand: the meeting's units first; inches only where they are exact."""
    assert value_text(value, unit, units) == words


def typed(spec, kept, units, *texts):
    """A control in which texts have been typed, and what it reported."""
    reported = []
    control = spec.slider(kept, units, lambda path, new: reported.append(new))
    for text in texts:
        control.type(text)
    return control, reported


def test_a_typed_length_is_taken_and_said_back():
    """Behavior: 22-6 sets 6.858 m; the box shows it in its heading's unit, the line says both."""
    control, reported = typed(HEIGHT, 6.0, "ft", "22-6")
    assert reported == [pytest.approx(22.5 * FT)] and control.entry.description == "Height [ft]"
    assert control.entry.value == "22.5" and "Read as 22 ft 6 in (6.86 m)" in control.words
    assert control.value == pytest.approx(22.5) and control.slider.value == pytest.approx(22.5)


def test_a_refused_value_stays_in_the_box_with_the_reason():
    """Behavior: 200 for a tilt is refused with the range beside it; nothing is clamped, nothing is
    set; the next value that is taken clears the reason.
    """
    control, reported = typed(TILT, 30.0, "ft", "200")
    assert control.entry.value == "200" and control.refused and reported == []
    assert "200° is outside -10° to 90°." in control.words and control.slider.value == 30
    control.type("40")
    assert not control.refused and reported == [40.0] and "Read as 40°" in control.words
    control.slider.value = 41
    assert control.entry.value == "41" and control.words == "" and reported == [40.0, 41.0]
    control.type("7.5 m")
    assert control.refused and "is no angle" in control.words


def test_a_typed_value_keeps_its_digits():
    """Regression: 40.3 in a box with steps of 1 used to become 40; what the page sends back of it
    (the nearest step, even where it is half a step away) sets nothing.
    """
    control, reported = typed(TILT, 30.0, "m", "40.3")
    assert reported == [40.3] and control.entry.value == "40.3"
    control.slider.value = 40.0  # as a page sends it back
    assert reported == [40.3] and control.entry.value == "40.3"
    control.type("50.5")
    control.slider.value = 51.0
    assert reported == [40.3, 50.5] and control.kept == 50.5
    control.slider.value = 52.0  # a hand
    assert reported == [40.3, 50.5, 52.0]


def test_counts_and_values_beyond_the_slider():
    """Behavior: whole numbers alone; what the thing allows may be typed beyond the slider's end,
    which moves.
    """
    control, reported = typed(ROWS, 3, "m", "3.5", "12")
    assert reported == [12] and isinstance(reported[0], int)
    wide = SliderSpec(path=(), label="Length", low=18, high=60, step=0.1, unit="m", allowed=(5, 90))
    control, reported = typed(wide, 30.0, "m", "72.5")
    assert reported == [72.5] and control.max == pytest.approx(72.5)
    control.type("91")
    assert control.refused and "91.00 m" in control.words and reported == [72.5]


def test_temperature_follows_the_units():
    """Printed: 68 degF are 20 degC (NIST SP 811, 2008, B.8: t/degC = (t/degF - 32)/1.8)."""
    air = SliderSpec(path=("t",), label="Temperature", low=5, high=35, step=1, unit="°C")
    control, reported = typed(air, 20.0, "ft", "77")
    assert control.entry.description == "Temperature [°F]" and reported == [25.0]
    assert (control.min, control.max, control.step) == (41, 95, 1)


@pytest.fixture(scope="module")
def meeting(tmp_path_factory):
    """The panel on a school in feet."""
    return Meeting(SCENARIOS["larkfield"], tmp_path_factory.mktemp("typed"))


def test_the_panel_takes_what_is_typed(meeting):
    """Behavior: a typed tilt is in the scenario and one step of the history; one that is refused is
    none; undo shows in the same control.
    """
    path = ("groups", meeting.start.groups[0].name, "downtilt_deg")
    control, before = meeting.controls[path], meeting.value(path)
    control.type("200")
    assert meeting.value(path) == before and not meeting.history.can_undo
    assert "200° is outside" in control.words
    control.type("41.5")
    assert meeting.scenario.groups[0].downtilt_deg == 41.5 and meeting.history.can_undo
    meeting.undo()
    assert meeting.controls[path] is control, "a slider that stands follows"
    assert control.value == before and control.words == ""


def test_controls_share_their_looks(meeting):
    """Behavior: a slider adds three models to the page and a change of value none."""
    path = ("groups", meeting.start.groups[0].name, "pan_deg")
    board = meeting.sections[LoudspeakersSection].board.widgets
    control, other = board[path], board[(*path[:2], "height")]
    assert control.layout is other.layout and control.slider.style is other.slider.style
    before = len(w.widgets.widget._instances)
    for pan in range(31, 38):
        meeting.set(path, pan)
    assert len(w.widgets.widget._instances) == before
