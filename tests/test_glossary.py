"""Glossary: one table, one heading a word, and links that lead to it."""

import re
from pathlib import Path

import nbformat
import pytest
from store_glossary import BOOK, book

from gymtools.training import glossary
from gymtools.training.glossary import terms
from gymtools.training.lessons import LESSONS

TRAINING = Path(__file__).resolve().parent.parent / "workbooks" / "training"
# what lessons say without explaining it
NEEDED = """
decibel logarithm octave dB(A) direct-sound room-sound reverberation-time coverage-angle edge
directivity-factor directivity-index throw downtilt pan STI speech-to-noise-ratio masking delay
precedence echo comb-filter feedback-margin open-microphones headroom sensitivity tap
70.7-V-line AWG impedance absorption first-incidence group use preset verdict uncertainty
solid-angle steradian radian slant notch omni cardioid reserve null gooseneck
polar-plot balloon pink-noise sound-level-meter calibrator sound-pressure-level seam""".split()


def test_the_notebook_is_the_table():
    """Regression: edited by hand, one of both would differ; tests/store_glossary.py writes it."""
    stored = nbformat.read(BOOK, as_version=4)
    fresh = book()
    assert [(c.id, c.cell_type, c.source) for c in stored.cells] == [
        (c.id, c.cell_type, c.source) for c in fresh.cells
    ]
    for term in terms():
        (cell,) = [c for c in stored.cells if c.source.startswith(f"### {term.name}\n")]
        assert term.words in cell.source and term.source in cell.source


def test_every_word_that_is_needed_is_there():
    """Trade fact: words of the lessons; each has plain words, a source, and an existing lesson."""
    anchors = {term.anchor for term in terms()}
    assert set(NEEDED) <= anchors and len(terms()) >= 40
    numbers = {path.stem[:2] for path in TRAINING.glob("[0-9][0-9]_*.ipynb")}
    for term in terms():
        assert term.lesson in numbers, term
        assert len(term.words.split()) >= 5 and term.words.endswith("."), term
        assert not re.search(r"\d\s*(dB|m|ft|s|Hz)\b", term.words), term


def test_the_feedback_margin_is_that_of_its_lesson():
    """Regression: what the lesson's formula takes off, reserve and peak allowance, is taken off in
    the glossary too.
    """
    (margin,) = [term for term in terms() if term.name == "feedback margin"]
    (lesson,) = [one for one in LESSONS if one.name == "feedback"]
    text = (TRAINING / f"{lesson.book}.ipynb").read_text(encoding="utf-8")
    formula = text.split("feedback margin = ")[1].split("\\n")[0]
    for in_formula, word in (("reserve", "reserve"), ("peak allowance", "peaks")):
        assert in_formula in formula and word in margin.words
    assert "after the" in margin.words and margin.lesson == lesson.number


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda one: one.book)
def test_links_of_a_lesson_lead_to_a_word(lesson):
    """Behavior: every lesson links the page, and every link to a word has its heading."""
    text = (TRAINING / f"{lesson.book}.ipynb").read_text(encoding="utf-8")
    links = re.findall(r"\]\(glossary\.ipynb(#[^\s]*?)?\)(?!\))", text)
    assert links
    anchors = {f"#{term.anchor}" for term in terms()}
    assert {link for link in links if link} <= anchors


def test_a_word_that_is_not_complete_is_refused(monkeypatch):
    """Behavior: a word without a source, or one that is there twice."""
    row = dict(term="hum", words="A low tone.", source="common practice, no source", lesson="10")
    for rows, said in (([{**row, "source": ""}], "not complete"), ([row, row], "there twice")):
        monkeypatch.setattr(glossary, "read_table", lambda _, rows=rows: rows)
        glossary.terms.cache_clear()
        with pytest.raises(ValueError, match=said):
            glossary.terms()
    glossary.terms.cache_clear()
