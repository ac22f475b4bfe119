"""Lesson on microphones and feedback: margins from an evaluation and from integrals."""

import re
from pathlib import Path

import numpy as np
import pytest

from gymtools.acoustics.feedback import feedback_margin
from gymtools.display.lessons import feedback as page_of
from gymtools.display.lessons.feedback import FeedbackPage
from gymtools.physics.microphones import PATTERNS
from gymtools.training.lessons import feedback

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
FAR_M, NEAR_M = 0.2794, 0.2032  # 11 and 8 in
LIPS_M = 0.006  # ITU-T P.51, equivalent lip position (from memory)


@pytest.fixture(scope="module")
def page():
    """The page as committed, in meters."""
    place = dict(scenario=str(SCENARIOS / "alderway.toml"), use="graduation", microphone="lectern")
    first = dict(far_m=FAR_M, near_m=NEAR_M)
    return FeedbackPage(units="m", place=place, first=first, open_mics=3, margin_db=0.0)


def test_a_step_nearer_wins_what_the_gym_says(page):
    """Independent: the margins of two evaluations, against the closed form of the question."""
    mic = page.mic
    for far, near in ((0.40, 0.20), (0.45, 0.30), (0.33, 0.21)):
        margins = [page.margin(page.stand(d, mic.x, mic.y)) for d in (near, far)]
        asked = feedback.nearer(far, near, units="m")
        assert asked.answer == pytest.approx(margins[0] - margins[1], abs=0.01)
        assert asked.right(20 * np.log10(far / near)), "without the lips it is near enough"
        assert "More or less" in asked.slip(-asked.answer).words


def test_closed_microphones_win_what_the_gym_says(page):
    """Independent: margins of the same microphone with other numbers of open ones."""
    result = page.stand(0.3, page.mic.x, page.mic.y)

    def margin(count):
        return float(feedback_margin(result, page.mic, count).margin_db.min())

    for before, after in ((3, 1), (8, 2), (5, 3)):
        asked = feedback.closed(before, after)
        assert asked.answer == pytest.approx(margin(after) - margin(before), abs=1e-4)
    with pytest.raises(ValueError, match="not fewer"):
        feedback.closed(2, 2)


@pytest.mark.parametrize("pattern", ["subcardioid", "cardioid", "supercardioid", "hypercardioid"])
def test_a_pattern_leaves_out_what_an_integral_says(pattern):
    """Independent: the pattern's square, averaged over the sphere in rings."""
    a = PATTERNS[pattern]
    cos = np.linspace(-1, 1, 200_001)
    mean = np.trapezoid((a + (1 - a) * cos) ** 2, cos) / 2
    for shift in (0.0, 2.0):
        asked = feedback.room_share(a, shift)
        assert pattern in asked.words
        assert asked.answer == pytest.approx(-10 * np.log10(mean) - shift, abs=1e-6)


def test_the_plain_ratio_counts_as_right():
    """Closed form: who forgets the way behind the lips, and rounds, is near enough, in every
    drawing and in both units; the distances are whole inches or centimeters.
    """
    (exercise,) = (e for e in feedback.EXERCISES if e.key == "feedback.nearer")
    chance, seen = np.random.default_rng(7), set()
    for n in range(200):
        units = ("m", "ft")[n % 2]
        p = exercise.drawn(chance, units=units)
        unit = "in" if units == "ft" else "cm"
        found = re.search(rf"speaks (\d+) {unit} .* up to (\d+) {unit} ", p.words)
        far, near = map(int, found.groups())
        lips = 0.24 if units == "ft" else 0.6
        assert f"({far} + {lips:g}) / ({near} + {lips:g})" in p.steps[0].words
        assert p.answer == pytest.approx(20 * np.log10((far + lips) / (near + lips)), abs=0.01)
        assert p.right(round(20 * np.log10(far / near), 1)), p.words
        assert "behind the lips" in p.words, "the rule is in the question"
        seen.add(p.words)
    assert len(seen) > 80


def test_closing_is_said_with_numbers():
    """Behavior: how many are closed and how many stay, in a sentence that adds up."""
    assert "10 equal microphones open" in feedback.closed(10, 3).words
    assert "Then 7 are closed and 3 stay open." in feedback.closed(10, 3).words
    assert "Then 1 is closed and 1 stays open." in feedback.closed(2, 1).words


@pytest.mark.parametrize("key", ["feedback.nearer", "feedback.closed", "feedback.room_share"])
def test_a_method_has_two_lines_at_least_and_slips_are_wrong(key):
    """Behavior: a slip is well away from what counts as right; there is much to draw."""
    (exercise,) = (e for e in feedback.EXERCISES if e.key == key)
    chance, seen = np.random.default_rng(8), set()
    for _ in range(400):
        p = exercise.drawn(chance)
        seen.add(p.words)
        assert len(p.steps) >= 2
        assert all(abs(slip.value - p.answer) > 2 * p.near for slip in p.slips)
    assert len(seen) >= 50


def test_the_aim_holds_from_the_distance_that_a_closed_form_gives(page):
    """Independent: 20 log from one evaluated distance, against every step of the slider."""
    mic, slider = page.mic, page.moving.adjustments["distance"]
    start = page.margin(page.stand(FAR_M, mic.x, mic.y))
    assert start < 0, "the microphone may ring where the experiment begins"
    nearest = np.arange(slider.low, slider.high + slider.step / 2, slider.step)
    margins = start + 20 * np.log10((FAR_M + LIPS_M) / (nearest + LIPS_M))
    clear = np.abs(margins) > 0.02
    reached = np.isin(nearest, page.moving.reaching("distance"))
    assert reached.any() and np.array_equal(reached[clear], margins[clear] >= 0)


def test_a_place_alone_can_decide(page):
    """Independent: brute force over the stage at the distance of the start: at some places the
    microphone may stand, at others it may ring, and the aim says the same.
    """
    along = [page.moving.adjustments[name] for name in "xy"]
    places = [np.linspace(one.low, one.high, 6) for one in along]
    margins = [page.margin(page.stand(FAR_M, x, y)) for x in places[0] for y in places[1]]
    assert max(margins) > 0.5 and min(margins) < -1.5
    reached = page.moving.reaching("x")
    assert reached and page.mic.x not in reached
    assert all(page.margin(page.stand(FAR_M, x, page.mic.y)) >= 0 for x in reached)


def test_the_map_is_drawn_at_the_distance_of_the_slider(page):
    """Independent: its values on the stage against evaluations of a microphone moved there, at
    two distances; they differ by 20 log of the distances.
    """
    mic, found = page.mic, {}
    for distance in (FAR_M, 0.40):
        result = page.stand(distance, mic.x, mic.y)
        floor, stage = page.view(result).walks
        assert stage.microphone.walks == "stage"
        found[distance] = stage.margin_db
        there = page.stand(distance, mic.x + 2.0, mic.y)
        (moved,) = there.microphones
        way = np.linalg.norm(stage.positions - moved.positions[0], axis=1)
        assert way.min() < 0.5
        assert stage.margin_db[way.argmin()] == pytest.approx(page.margin(there), abs=0.3)
    less = 20 * np.log10((0.40 + LIPS_M) / (FAR_M + LIPS_M))
    assert found[FAR_M] - found[0.40] == pytest.approx(less, abs=0.01)
    texts = [t.text for t in page.moving.figure.data if t.name == "plan: microphones"]
    assert not any("worst" in text for text in texts[0])


def test_the_prediction_comes_true_as_computed(page):
    """Independent: the nearest distance by the rule of 20 log, the walks by evaluations."""
    mic, start = page.mic, page.stand(FAR_M, page.mic.x, page.mic.y)
    won = []
    for dx, dy in ((2, 0), (-2, 0), (0, 2), (0, -2)):
        try:
            moved = page.stand(FAR_M, mic.x + dx, mic.y + dy)
        except ValueError:
            continue
        won.append(page.margin(moved) - page.margin(start))
    near = 20 * np.log10((FAR_M + LIPS_M) / (0.20 + LIPS_M))
    assert near - max(won) > page_of.ALIKE_DB, "in this gym the distance wins"
    assert page.moving.setup.predict.truth(start, start) == page.near_choice
    assert "20 cm" in page.near_choice


def test_one_screen_holds_sliders_and_map(page):
    """Behavior: a picture of 360 pixels that takes the width it gets, beside three sliders."""
    layout = page.moving.figure.layout
    assert layout.height == page_of.HEIGHT <= 360 and layout.width is None
    assert len(page.moving.sliders.children) == 3


def test_nearer_to_ringing_is_louder_and_rings_longer(page):
    """Invariance: 5 dB more gain raise the level by 5 dB or more, for what comes back adds; and
    more of the energy comes after the direct sound has ended.
    """
    heard = [sound.samples for sound in page.ringing.heard().values()]
    energy = [float((x.astype(float) ** 2).sum()) for x in heard]
    assert 10 * np.log10(energy[-1] / energy[0]) > 5.0
    late = [
        float((x[:, -96_000:].astype(float) ** 2).sum()) / e
        for x, e in zip(heard, energy, strict=True)
    ]
    assert late[0] < late[1] < late[2]
    assert page.ringing.blind.right == list(page.ringing.sounds)[-1]


def test_a_microphone_that_walks_is_refused():
    """Behavior: in one line, before anything is shown."""
    place = dict(scenario=str(SCENARIOS / "larkfield.toml"), use="class", microphone="lectern")
    with pytest.raises(ValueError, match="must stay at one position and be open in 'class'"):
        first = dict(far_m=0.4, near_m=0.2)
        FeedbackPage(units="m", place=place, first=first, open_mics=3, margin_db=0.0)
