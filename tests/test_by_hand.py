"""Sheets to draw on: true to scale on the paper, and the computed beam at its angles."""

import re
import zlib
from pathlib import Path

import numpy as np
import pytest

from gymtools import load
from gymtools.display.documents import by_hand
from gymtools.display.lessons.tilt import Sheets
from gymtools.training.by_hand import sketched
from gymtools.venue.units import FOOT

SCHOOLS = Path(__file__).resolve().parent.parent / "scenarios"
NAMES = ("assembly", "north bank", "north row")
POINT_MM = 25.4 / 72


def sketch(name):
    return sketched(load(SCHOOLS / f"{name}.toml"), *NAMES)


def strokes(data):
    """Paths of each page of a PDF, read from its streams: points in millimeters of the paper."""
    found = []
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.S):
        try:
            text = zlib.decompress(stream).decode("latin-1")
        except zlib.error:
            text = stream.decode("latin-1")
        if " m\n" not in text and not re.search(r" m\s", text):
            continue
        lines = []
        for path in re.findall(r"((?:-?[\d.]+ -?[\d.]+ [ml]\s+)+)S", text):
            points = re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml]", path)
            lines.append(np.array(points, float) * POINT_MM)
        if lines:
            found.append(lines)
    return found


def paper(data):
    """Size of the pages [mm]."""
    boxes = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
    return {tuple(round(float(v) * POINT_MM, 1) for v in box) for box in boxes}


def two_points(lines):
    """Ends of the straight ones (line, 2, 2) [mm]."""
    return np.array([one for one in lines if len(one) == 2])


@pytest.mark.parametrize(
    "units, size, per_m",
    [("m", (297.0, 210.0), 10.0), ("ft", (279.4, 215.9), 25.4 / 8 / FOOT)],
)
def test_the_section_is_true_to_scale(units, size, per_m):
    """Independent: read from the PDF: one meter is 10 mm on A4, one foot an eighth of an inch on
    Letter; steps of the bank are the file's run and rise.
    """
    data = by_hand.pdf(by_hand.pages(sketch("stonebridge"), units))
    assert paper(data) == {size}
    section = strokes(data)[0]
    (treads,) = [one for one in section if len(one) > 20]
    across, up = np.abs(np.diff(treads, axis=0)).T
    # row_run = 0.66 m and row_rise = 0.32 m in the file of the school
    assert np.median(across[across > 0.1]) == pytest.approx(0.66 * per_m, abs=0.02)
    assert np.median(up[up > 0.1]) == pytest.approx(0.32 * per_m, abs=0.02)
    lines = two_points(section)
    length = np.linalg.norm(np.diff(lines, axis=1)[:, 0], axis=1)
    bar = {"m": 50.0, "ft": 2.5 * 25.4}[units]  # 5 m, and 20 ft at an eighth of an inch a foot
    assert np.abs(length - bar).min() < 0.02


@pytest.mark.parametrize("name, units", [("stonebridge", "m"), ("larkfield", "ft")])
def test_the_beam_has_its_angles_on_paper(name, units):
    """Independent: three lines from the loudspeaker in the PDF, their angles measured there; axis
    and edges are half the coverage angle apart, and the axis meets the row that it says.
    """
    drawn = sketch(name)
    empty, full = (
        strokes(by_hand.pdf(by_hand.pages(drawn, units, computed=c)))[0] for c in (False, True)
    )
    before = {tuple(np.round(one.ravel(), 2)) for one in two_points(empty)}
    added = np.array(
        [one for one in two_points(full) if tuple(np.round(one.ravel(), 2)) not in before]
    )
    assert len(added) == 3
    way = added[:, 1] - added[:, 0]
    down = np.sort(np.degrees(np.arctan2(-way[:, 1], way[:, 0])))
    assert np.diff(down) == pytest.approx([30, 30], abs=0.05)  # a beam of 60 degrees
    tilts = np.arange(-10.0, 91.0)
    best = min(tilts, key=lambda t: np.ptp(drawn.bank.level_db(t)))
    assert down[1] == pytest.approx(best, abs=0.05)
    assert np.ptp(added[:, 0], axis=0) == pytest.approx([0, 0], abs=0.01)  # from one point


def test_the_plan_has_the_bank_and_the_edges():
    """Independent: rows as long as the file says, at the scale that the sheet names; both edges 45
    degrees off the axis.
    """
    drawn = sketch("stonebridge")
    plan = strokes(by_hand.pdf(by_hand.pages(drawn, "m", computed=True)))[1]
    lines = two_points(plan)
    way = np.diff(lines, axis=1)[:, 0]
    length = np.linalg.norm(way, axis=1)
    seats = np.linalg.norm(drawn.row_ends[0, 1] - drawn.row_ends[0, 0])
    assert 32 < seats < 34  # the bank is 34 m long, its outer seats half a place inside
    assert (np.abs(length - seats * 1000 / 200) < 0.05).sum() == 16
    turned = np.degrees(np.arctan2(way[:, 0], way[:, 1]))
    for angle in (-45.0, 0.0, 45.0):
        assert np.abs(turned - angle).min() < 0.05


def test_no_answer_is_on_the_empty_sheet():
    """Behavior: the words of the computed one are not on the first."""
    drawn = sketch("stonebridge")
    texts = []
    for computed in (False, True):
        axes = [a for f in by_hand.pages(drawn, "m", computed=computed) for a in f.axes]
        texts.append(" ".join(text.get_text() for one in axes for text in one.texts))
    best = f"{drawn.bank.best_deg:.0f}°"
    assert best not in texts[0] and best in texts[1]
    assert all("authority having jurisdiction" in text for text in texts)
    assert "must measure 50 mm" in texts[0] and "Scale 1:100" in texts[0]
    assert f"meets row {drawn.bank.row_met(drawn.bank.best_deg)} of 16" in texts[1]


def test_the_largest_scale_that_fits_is_taken():
    """Closed form: the length of 20 m fits at 1:100, of 40 m only at 1:200; a mile at none."""
    for wide, scale in ((20, 100), (40, 200), (100, 500)):
        view = by_hand.fitted((0, 0), (wide, 5), "m")
        assert view.scale == scale
        ends = view.on_paper([(0, 0), (wide, 0)])
        assert np.ptp(ends[:, 0]) == pytest.approx(wide * 1000 / scale)
        assert 0 < ends[0, 0] and ends[1, 0] < view.paper[0]
    with pytest.raises(ValueError, match="too large for one sheet"):
        by_hand.fitted((0, 0), (1600, 5), "m")


def test_sheets_are_written_once_and_replaced_on_request(tmp_path):
    """Behavior: a folder that is there stays, and moves into the revisions when it is replaced."""
    sheets = Sheets(lambda: sketch("larkfield"), "ft", tmp_path / "drawn")
    sheets.button.click()
    first = (tmp_path / "drawn" / by_hand.EMPTY).read_bytes()
    assert "Written" in sheets.said.value and first.startswith(b"%PDF")
    (tmp_path / "drawn" / "mine.txt").write_text("kept")
    sheets.button.click()
    assert "Not written" in sheets.said.value and sheets.replace.layout.display == ""
    assert (tmp_path / "drawn" / "mine.txt").exists()
    sheets.replace.click()
    assert "Written" in sheets.said.value and sheets.replace.layout.display == "none"
    assert not (tmp_path / "drawn" / "mine.txt").exists()
    assert list((tmp_path / "revisions").glob("*/mine.txt"))
    assert (tmp_path / "drawn" / by_hand.EMPTY).read_bytes() == first
    lost = Sheets(lambda: sketch("larkfield"), "ft", tmp_path / "none" / "drawn")
    lost.button.click()
    assert "Not written" in lost.said.value
