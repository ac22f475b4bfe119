"""Sheets to draw a tilt by hand: a section and a plan to scale, empty or with the computed beam."""

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from ...training.by_hand import BEYOND
from ...venue.units import FOOT, in_words
from ...venue.writing_files import new_folder

INCH = 25.4  # [mm]
PAPER = {"ft": (279.4, 215.9), "m": (297.0, 210.0)}  # Letter and A4, lying [mm]
# usual scales, the largest first: how it is said, and how many times smaller than the thing
SCALES = {
    "ft": (
        ("1/8 in = 1 ft", 96),
        ("3/32 in = 1 ft", 128),
        ("1/16 in = 1 ft", 192),
        ("1/32 in = 1 ft", 384),
    ),
    "m": (("1:100", 100), ("1:200", 200), ("1:500", 500)),
}
BAR = {"ft": (20 * FOOT, "20 ft"), "m": (5.0, "5 m")}  # to check the print with
MARGIN, HEAD, FOOT_MM = 14.0, 22.0, 46.0  # around the drawing, over it, and under it [mm]
INK, GRAY, BLUE, ORANGE = "#1b1f23", "#8a939c", "#2b6cb0", "#b45309"
EMPTY, COMPUTED = "1-draw-this.pdf", "2-compare.pdf"
CAUTION = (
    "For training. It replaces no local code, no authority having jurisdiction and no licensed"
    " structural, electrical or fire-alarm professional."
)


@dataclass(frozen=True, eq=False)
class View:
    """A drawing in meters and where it comes to lie on the paper."""

    paper: tuple  # width and height [mm]
    low: np.ndarray  # lower left corner of what is drawn (2,) [m]
    origin: np.ndarray  # where that corner lies on the paper (2,) [mm]
    scale: int  # the thing is so many times larger [-]
    said: str  # the scale in words

    def on_paper(self, points):
        """Points on the paper.

        Parameters
        ----------
        points : array
            (..., 2) [m]

        Returns
        -------
        points : ndarray
            (..., 2) [mm]
        """
        return self.origin + (np.asarray(points, float) - self.low) * 1000 / self.scale


def fitted(low, high, units):
    """The largest usual scale at which a drawing fits on one sheet.

    Parameters
    ----------
    low, high : array
        Corners of what is drawn (2,) [m]
    units : str
        "ft" for Letter, "m" for A4

    Returns
    -------
    view : View
        In the middle of the sheet

    Raises
    ------
    ValueError
        It fits at no usual scale
    """
    paper = np.array(PAPER[units])
    room = paper - [2 * MARGIN, HEAD + FOOT_MM + MARGIN]
    size = (np.asarray(high, float) - low) * 1000  # [mm]
    for said, scale in SCALES[units]:
        if (size / scale <= room).all():
            corner = np.array([MARGIN, FOOT_MM + MARGIN]) + (room - size / scale) / 2
            return View(PAPER[units], np.asarray(low, float), corner, scale, said)
    raise ValueError("The bank is too large for one sheet at a usual scale.")


def pages(sketch, units, *, computed=False):
    """The sheets as figures: a section and a plan.

    Parameters
    ----------
    sketch : Sketch
        Bank and group
    units : str
        "ft" for Letter, "m" for A4
    computed : bool
        Whether the computed axis and edges are drawn

    Returns
    -------
    figures : list of matplotlib.figure.Figure
        As large as the paper, their axes in millimeters of it
    """
    return [_section(sketch, units, computed), _plan(sketch, units, computed)]


def pdf(figures):
    """Figures as one PDF, in true scale.

    Parameters
    ----------
    figures : list of matplotlib.figure.Figure
        One a page

    Returns
    -------
    data : bytes
        The same for the same figures
    """
    file = io.BytesIO()
    with PdfPages(file, metadata={"CreationDate": None}) as book:
        for figure in figures:
            book.savefig(figure)
    return file.getvalue()


def write_sheets(folder, sketch, units, *, overwrite=False):
    """Write both documents into a new folder.

    Parameters
    ----------
    folder : str or Path
        To be made
    sketch : Sketch
        Bank and group
    units : str
        "ft" for Letter, "m" for A4
    overwrite : bool
        Whether an existing folder may be replaced; it moves whole into "revisions"

    Returns
    -------
    folder : Path
        With the empty sheets and those to compare with

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given
    OSError
        One line: it could not be written
    """
    files = {
        EMPTY: pdf(pages(sketch, units)),
        COMPUTED: pdf(pages(sketch, units, computed=True)),
    }
    with new_folder(folder, overwrite=overwrite) as building:
        for name, data in files.items():
            (building / name).write_bytes(data)
    return Path(folder)


# ---- drawing


def _page(view, title, lines):
    """A sheet with its title, the scale, and what is written under the drawing."""
    wide, high = view.paper
    figure = Figure(figsize=(wide / INCH, high / INCH))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, wide), ylim=(0, high))
    axes.set_axis_off()
    axes.text(MARGIN, high - 12, title, fontsize=13, weight="bold", color=INK)
    axes.text(
        MARGIN,
        high - 18,
        f"Scale {view.said}. Print at 100 %, not fitted to the page. {CAUTION}",
        fontsize=7,
        color=INK,
    )
    for n, words in enumerate(lines):
        axes.text(MARGIN, FOOT_MM - 1 - 7 * n, words, fontsize=9, color=INK)
    return figure, axes


def _bar(axes, view, units):
    """A bar of known length, to check the print with."""
    length, said = BAR[units]
    end = view.paper[0] - MARGIN
    start, high = end - length * 1000 / view.scale, 10.0
    _line(axes, [(start, high), (end, high)], "scale bar", width=1.5)
    for x in (start, end):
        _line(axes, [(x, high - 1.5), (x, high + 1.5)], width=0.8)
    size = end - start
    paper = f"{size / INCH:g} in" if units == "ft" else f"{size:g} mm"
    axes.text(end, high + 3, f"{said}: must measure {paper}", fontsize=8, ha="right", color=INK)


def _line(axes, points, gid="", *, color=INK, width=0.7, dashes="-"):
    """A line in millimeters of the paper, named where a test looks for it."""
    x, y = np.asarray(points, float).T
    axes.plot(x, y, color=color, linewidth=width, linestyle=dashes, gid=gid or None)


def _section(sketch, units, computed):
    bank = sketch.bank
    low = (-BEYOND, sketch.floor)
    end = max(bank.rows[-1], sketch.wall) if sketch.wall_shown else bank.rows[-1]
    high = (end + BEYOND, max(BEYOND, sketch.clear + 0.3))
    view = fitted(low, high, units)
    half = f"{bank.angle_deg / 2:.0f}°"
    lines = _said(sketch) if computed else _asked(half)
    title = f"{sketch.school}: section through the {sketch.bank_name} and the {sketch.group}"
    figure, axes = _page(view, title, lines)
    at = view.on_paper
    _room(axes, at, sketch, low[0], high[0])
    _line(axes, at(sketch.treads), "treads", color=GRAY)
    _line(axes, at([(0, 0), (high[0], 0)]), "horizontal", color=GRAY, dashes="--")
    _line(axes, at([(0, sketch.floor), (0, BEYOND)]), "plumb", color=GRAY, dashes=":")
    _cross(axes, at((0, 0)))
    over = f"loudspeaker, {in_words(sketch.hung, units)} over the floor"
    axes.text(*(at((0, max(0, sketch.clear))) + [2, 2]), over, fontsize=8, color=INK)
    axes.text(
        *(at((0.8 * high[0], 0)) + [0, 1]), "horizontal: 0°", fontsize=7, ha="right", color=GRAY
    )
    for n, ears in enumerate(np.stack([bank.rows, -bank.below], axis=1), 1):
        x, y = at(ears)
        axes.plot([x], [y], "o", markersize=2.5, color=INK, gid=f"row {n}")
        axes.text(x, y + 1.5, str(n), fontsize=6, ha="center", color=INK)
    if computed:
        _beam(axes, view, sketch.edges_deg, np.hypot(*high))
    _bar(axes, view, units)
    return figure


def _room(axes, at, sketch, left, right):
    """The floor, the clear height, and the wall behind the bank where it is near."""
    right = sketch.wall if sketch.wall_shown else right
    _line(axes, at([(left, sketch.floor), (right, sketch.floor)]), "floor", width=1.2)
    _line(axes, at([(left, sketch.clear), (right, sketch.clear)]), "clear height", color=GRAY)
    axes.text(*(at((left, sketch.clear)) + [0, 1]), "clear height", fontsize=7, color=GRAY)
    if sketch.wall_shown:
        _line(axes, at([(right, sketch.floor), (right, sketch.clear)]), "wall", width=1.2)


def _beam(axes, view, down_deg, length):
    """Axis and edges from the loudspeaker's point, named by what they are."""
    for name, angle in zip(("upper edge", "axis", "lower edge"), down_deg, strict=True):
        way = np.radians(angle)
        end = length * np.array([np.cos(way), -np.sin(way)])
        _ray(axes, view, end, name, angle)


def _ray(axes, view, end, name, angle):
    """A line from the origin, as far as the drawing goes, with its angle beside it."""
    start, end = view.on_paper((0, 0)), view.on_paper(end)
    low = np.array([MARGIN, FOOT_MM + 6])
    high = np.array(view.paper) - [MARGIN, HEAD]
    way = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = np.where(way > 0, (high - start) / way, np.where(way < 0, (low - start) / way, 1))
    end = start + min(1.0, float(np.min(shares))) * way
    color = ORANGE if name == "axis" else BLUE
    _line(axes, [start, end], name, color=color, width=1.2, dashes="-" if name == "axis" else "--")
    beside = start + 0.45 * (end - start) + [1.5, 1.5]
    axes.text(*beside, f"{name} {angle:.0f}°", fontsize=8, color=color)


def _cross(axes, at):
    """The loudspeaker's point: lines meet in it, so that a protractor can be laid on."""
    x, y = at
    _line(axes, [(x - 3, y), (x + 3, y)], width=1.2)
    _line(axes, [(x, y - 3), (x, y + 3)], width=1.2)


def _plan(sketch, units, computed):
    points = np.concatenate([sketch.row_ends.reshape(-1, 2), sketch.hung_at])
    view = fitted(points.min(axis=0) - BEYOND, points.max(axis=0) + BEYOND, units)
    half = f"{sketch.wide_deg / 2:.0f}°"
    title = f"{sketch.school}: plan of the {sketch.bank_name} and the {sketch.group}"
    lines = _plan_said(sketch, units) if computed else _plan_asked(half)
    figure, axes = _page(view, title, lines)
    at = view.on_paper
    for n, ends in enumerate(sketch.row_ends, 1):
        _line(axes, at(ends), f"row {n}", color=GRAY)
    for n, ends in ((1, sketch.row_ends[0]), (len(sketch.row_ends), sketch.row_ends[-1])):
        axes.text(*(at(ends[1]) + [1, -1]), str(n), fontsize=7, color=INK)
    for other in sketch.hung_at:
        if np.hypot(*other) > 0.01:
            axes.plot(*at(other), "s", markersize=4, color=GRAY)
    _cross(axes, at((0, 0)))
    axes.text(*(at((0, 0)) + [4, -6]), "loudspeaker", fontsize=8, color=INK)
    if computed:
        names = ("left edge", "axis", "right edge")
        turns = sketch.pan_deg + np.array([-0.5, 0, 0.5]) * sketch.wide_deg
        for name, turn in zip(names, turns, strict=True):
            end = 200 * np.array([np.sin(np.radians(turn)), np.cos(np.radians(turn))])
            _ray(axes, view, end, name, turn)
    _bar(axes, view, units)
    return figure


# ---- words


def _asked(half):
    return [
        "1. Choose a row for the axis. Draw it from the cross to the ears of that row (dots).",
        f"2. Draw both edges, {half} to either side of the axis. Measure from the horizontal line.",
        "My axis meets row ______ . Its downtilt is ______ °.",
        "Upper edge: ______ °, meets row ______ . Lower edge: ______ °, meets row ______ .",
        "Slant to the front row: ______  to the back row: ______  20 log of the ratio: ______ dB",
    ]


def _said(sketch):
    bank = sketch.bank
    upper, axis, lower = sketch.edges_deg

    def met(angle):
        row = bank.row_met(angle)
        return "no row" if row is None else f"row {row}"

    r = bank.distance
    return [
        f"Most even with one loudspeaker: the axis at {axis:.0f}° meets {met(axis)}"
        f" of {len(bank.rows)}.",
        f"The upper edge at {upper:.0f}° meets {met(upper)}. The lower edge at {lower:.0f}° meets"
        f" {met(lower)}.",
        f"20 log of the slants, back over front: {20 * np.log10(r[-1] / r[0]):.1f} dB.",
        f"From the loudest to the quietest row the level differs by {bank.uneven_db(axis):.1f} dB"
        " (octave around 2 kHz).",
    ]


def _plan_asked(half):
    return [
        "3. Draw the axis from the cross straight at the bank, at a right angle to the rows.",
        f"4. Draw both edges, {half} to either side of the axis.",
        "Width between the edges on the front row: ______   on the back row: ______",
        "The drawing is flat: the true edge lies a little farther out, since the axis points down.",
    ]


def _plan_said(sketch, units):
    rows = sketch.row_ends[[0, -1], 0, 1]  # straight ahead to the front row and to the back row
    front, back = 2 * rows * np.tan(np.radians(sketch.wide_deg / 2))
    return [
        f"Edges {sketch.wide_deg / 2:.0f}° to either side of the axis.",
        f"Width on the front row: {in_words(front, units)}; on the back row:"
        f" {in_words(back, units)}, if it is drawn on the plan alone.",
        "Count seats, not meters: the beam may be wider than the bank.",
    ]
