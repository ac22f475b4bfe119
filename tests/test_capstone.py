"""The capstone: gyms drawn by a seed, surveys that can be trusted where readings agree, and a score
that only a design for that gym earns.
"""

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest

from gymtools import arrange, save
from gymtools.display.lessons import capstone as panel_of_capstone
from gymtools.display.lessons.capstone import NO_FILE, CapstonePanel
from gymtools.training import capstone
from gymtools.training.progress import Progress
from gymtools.training.task import judged
from gymtools.venue.paths import changed
from gymtools.venue.typed_values import read_length

SEED = 3


@pytest.fixture(scope="module")
def gym():
    return capstone.unseen(SEED)


def lengths(gym):
    """Readings of every length, by label [m]."""
    labels = set(capstone.LENGTHS.values())
    return {
        r.label: [read_length(words.split(" (")[0], "ft") for words in r.words]
        for r in gym.survey
        if r.label in labels
    }


def test_gyms_differ_and_come_again():
    """Behavior: forty seeds make forty gyms that can be built, the same at every run, without
    loudspeakers.
    """
    sizes = set()
    for seed in range(40):
        made = capstone.unseen(seed)
        assert made.truth == capstone.unseen(seed).truth and not made.truth.groups
        sizes.add((made.truth.hall.length, made.truth.hall.width, made.truth.hall.clear_height))
    assert len(sizes) == 40


def test_two_of_three_readings_agree_and_one_length_has_a_bad_one():
    """Independent: of every length at least two readings lie together, and their mean is that of
    the gym; over all lengths of a gym just one reading is far off.
    """
    for seed in range(30):
        made, bad = capstone.unseen(seed), 0
        for (label, read), key in zip(lengths(made).items(), capstone.LENGTHS, strict=True):
            assert label == capstone.LENGTHS[key]
            a, b = min(itertools.combinations(read, 2), key=lambda p: abs(p[0] - p[1]))
            truth = getattr(made.truth.hall, key)
            assert (a + b) / 2 == pytest.approx(truth, abs=0.03)
            bad += sum(abs(r - truth) > 0.1 for r in read)
        assert bad == 1


def test_a_file_is_held_against_the_survey_without_giving_the_answer(gym):
    """Behavior: each difference is named, no right value is; a bad reading taken for the truth is
    found.
    """
    truth = gym.truth
    assert capstone.mismatches(truth, truth) == ()
    wrong = {
        "length of the gym, wall to wall": changed(
            truth, {("hall", "length"): truth.hall.length + 0.3}
        ),
        "finish of the roof": changed(truth, {("hall", "roof"): "wood lining"}),
        "rows of bleachers": replace(
            truth, banks=tuple(replace(b, rows=b.rows - 1) for b in truth.banks)
        ),
        "uses": replace(truth, uses=truth.uses[:1]),
    }
    for words, own in wrong.items():
        found = capstone.mismatches(truth, own)
        assert words in found and not re.search(r"\d", " ".join(found)), words


def test_a_design_for_another_gym_earns_nothing(gym, tmp_path):
    """Behavior: the best arrangement has all points; the same in a file with a wrong length none,
    though it would score in the gym as it is; without loudspeakers it is not scored.
    """
    good = arrange(gym.truth, "pendants")
    panel = CapstonePanel(SEED, save(good, tmp_path / "mine.toml"))
    panel.grade()
    assert panel.score.points > 80 and not panel.score.strays
    hung = capstone.hung_in(gym.truth, good)
    assert panel.score.judged.quality == pytest.approx(judged(hung).quality)
    off = changed(good, {("hall", "length"): good.hall.length + 0.5})
    other = CapstonePanel(SEED, save(off, tmp_path / "off.toml"))
    other._scale = panel._scale
    other.grade()
    assert other.score.points == 0.0 and "length of the gym" in other.scored.value
    empty = CapstonePanel(SEED, save(gym.truth, tmp_path / "empty.toml"))
    empty.grade()
    assert "no loudspeakers in this file yet" in empty.scored.value and empty.score is None


def test_what_costs_nothing_elsewhere_costs_here(gym):
    """Behavior: loudspeakers and panels called existing are paid for, or do not count."""
    good = arrange(gym.truth, "pendants")
    cheat = replace(good, groups=tuple(replace(g, existing=True) for g in good.groups))
    paid = judged(capstone.hung_in(gym.truth, good)).cost
    assert judged(capstone.hung_in(gym.truth, cheat)).cost == pytest.approx(paid)


def test_the_rules_of_the_task_hold_here(gym, tmp_path):
    """Behavior: what hangs low over the court earns nothing, loudspeakers better than their type do
    not exist, and an arrangement that is taken as it is is named.
    """
    good = arrange(gym.truth, "pendants")
    leaky = replace(good, groups=tuple(replace(g, leak_db=-6.0) for g in good.groups))
    assert judged(capstone.hung_in(gym.truth, leaky)).quality == pytest.approx(
        judged(capstone.hung_in(gym.truth, good)).quality
    )
    low = replace(good, groups=tuple(replace(g, height=3.5) for g in good.groups))
    assert capstone.too_low(capstone.hung_in(gym.truth, low)) and not capstone.too_low(good)
    panel = CapstonePanel(SEED, save(low, tmp_path / "low.toml"))
    panel.grade()
    assert panel.score.points == 0.0 and "over the court" in panel.scored.value
    (tmp_path / "low.toml").write_text("name = ", encoding="utf-8")
    panel.grade()
    assert panel.score is None and panel.scored.value == "", "the old score is gone"
    named = CapstonePanel(SEED, save(good, tmp_path / "good.toml"))
    named._scale = panel._scale
    named.grade()
    assert named.score.arrangement and named.score.arrangement in named.scored.value


@pytest.mark.parametrize(
    "file, words",
    [("", NO_FILE), ("nowhere.toml", "nowhere.toml"), ("bad.toml", "bad.toml")],
)
def test_a_file_that_cannot_be_read_is_one_line(file, words, tmp_path, monkeypatch):
    """Behavior: none, not there, or no scenario."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.toml").write_text("name = ", encoding="utf-8")
    panel = CapstonePanel(SEED, file)
    panel.grade()
    assert words in panel.checked.value and panel.score is None


def test_the_survey_on_the_page_is_the_survey(gym):
    """Behavior: every reading, in the units of the page."""
    page = CapstonePanel(SEED).survey
    assert all(r.label in page and all(w in page for w in r.words) for r in gym.survey)
    meters = CapstonePanel(SEED, units="m").gym.survey
    assert all(re.match(r"\d+\.\d\d m \(", r.words[0]) for r in meters[1:4])


def test_the_talk_is_marked(tmp_path):
    """Closed form: marks add up to at most three a row; what is not marked is refused; kept
    without a name.
    """
    rows = len(capstone.RUBRIC)
    assert capstone.talk_marks([2] * rows) == (2 * rows, 3 * rows)
    for marks in ([2] * (rows - 1), [4] * rows, [None] * rows):
        with pytest.raises(ValueError, match="marks of 0 to 3"):
            capstone.talk_marks(marks)
    progress = Progress(tmp_path / "p.jsonl")
    panel = CapstonePanel(SEED, progress=progress)
    panel.keep_button.click()
    assert "marks of 0 to 3" in panel.marked.value and not progress.read().events
    for n, mark in enumerate(panel.marks):
        mark.value = n % 4
    panel.keep_button.click()
    (event,) = progress.read().events
    assert event.given == f"{sum(np.arange(rows) % 4)} of {3 * rows} marks"


def test_a_record_is_written_beside_the_file(gym, tmp_path, monkeypatch):
    """Behavior: the record of the learner's design, once; a second time it is said that it is
    there.
    """
    monkeypatch.setattr(panel_of_capstone, "DRAWS", 20)
    design = arrange(gym.truth, "center housing")
    one = replace(design, uses=design.uses[:1], assumed=())
    panel = CapstonePanel(SEED, save(one, tmp_path / "m.toml"))
    panel.record()
    panel.job.finish()
    assert "The record is" in panel.written.value
    assert list(tmp_path.glob("*/record.html")) or list(tmp_path.glob("*/*.html"))
