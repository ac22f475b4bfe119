"""Sheets for print: SVG, PNG and PDF, black on white, line weights as the layers have them."""

import io

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from .layers import LAYERS
from .lettering import CAP, FAMILY
from .marks import GAP, Circle, Dimension, Line, Text

INCH = 25.4  # [mm]
POINT = INCH / 72  # [mm]
KINDS = ("svg", "png", "pdf")
DPI = 150  # of a PNG
GRAY = "0.45"  # of what is there for orientation
FAINT = ("COURT", "ROWS", "AISLES", "JOISTS", "EXTENSIONS")
CIRCLE = np.stack(
    [np.cos(np.linspace(0, 2 * np.pi, 49)), np.sin(np.linspace(0, 2 * np.pi, 49))], axis=1
)


def figure(sheet):
    """A sheet as a figure, in millimeters of its paper.

    Parameters
    ----------
    sheet : Sheet
        Of a set of drawings

    Returns
    -------
    figure : matplotlib.figure.Figure
        As large as the paper
    """
    wide, high = sheet.size
    page = Figure(figsize=(wide / INCH, high / INCH))
    FigureCanvasAgg(page)
    axes = page.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, wide), ylim=(0, high))
    axes.set_axis_off()
    lines, texts = {}, []
    for one in sheet.placed:
        _sort(one.view.marks, one.on_paper, 1000 / one.view.scale, lines, texts)
    _sort(sheet.frame, lambda points: np.asarray(points, float), 1.0, lines, texts)
    for name, pieces in lines.items():
        axes.add_collection(_collection(name, pieces))
    for text, at in texts:
        axes.text(
            *at,
            text.words,
            rotation=90 if text.upright else 0,
            va="baseline",
            ha="left",
            family=FAMILY,
            fontsize=text.height / CAP / POINT,
            weight="bold" if text.bold else "normal",
            parse_math=False,
            zorder=5,
            bbox=None if text.bold else {"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )
    return page


def _sort(marks, on_paper, per_meter, lines, texts):
    """Put the marks of a view to the lines and texts of the paper."""
    for mark in marks:
        if isinstance(mark, Text):
            texts.append((mark, on_paper(mark.at)))
        elif isinstance(mark, Dimension):
            light, dark = mark.pieces(GAP / per_meter)
            lines.setdefault("EXTENSIONS", []).append(on_paper(light))
            lines.setdefault("DIMENSIONS", []).append(on_paper(dark))
            texts.append((mark.text, on_paper(mark.text.at)))
        elif isinstance(mark, Circle):
            ring = on_paper(mark.center) + mark.radius * per_meter * CIRCLE
            lines.setdefault(mark.layer, []).append(ring)
        elif isinstance(mark, Line):
            points = mark.points
            if mark.closed:
                points = np.concatenate([points, points[:1]])
            lines.setdefault(mark.layer, []).append(on_paper(points))


def _collection(name, pieces):
    """Lines of one layer."""
    layer = LAYERS[name]
    made = LineCollection(
        pieces,
        linewidths=layer.weight / POINT,
        colors=GRAY if name in FAINT else "black",
        capstyle="butt",
        joinstyle="miter",
    )
    if layer.dashes:
        dashes = layer.dashes * (2 if len(layer.dashes) % 2 else 1)
        # matplotlib multiplies dashes by the width of the line
        made.set_linestyle([(0, tuple(d / layer.weight for d in dashes))])
    return made


def picture(sheet, kind="svg"):
    """One sheet for print.

    Parameters
    ----------
    sheet : Sheet
        Of a set of drawings
    kind : str
        "svg", "png" or "pdf"

    Returns
    -------
    data : bytes
        A file's content; the same sheet gives the same bytes

    Raises
    ------
    ValueError
        ``kind`` is none of the three
    """
    if kind not in KINDS:
        raise ValueError(f"kind = {kind!r} is unknown. Known: {', '.join(KINDS)}.")
    if kind == "pdf":
        return pdf([sheet])
    out = io.BytesIO()
    metadata = {"Date": None} if kind == "svg" else {"Software": None}
    # letters as wide as on paper, whatever the pixels
    with matplotlib.rc_context({"svg.hashsalt": "gymtools", "text.hinting": "no_hinting"}):
        figure(sheet).savefig(out, format=kind, dpi=DPI, metadata=metadata)
    return out.getvalue()


def pdf(sheets):
    """All sheets in one file, a page each, at the scale that they state.

    Parameters
    ----------
    sheets : sequence of Sheet
        A set of drawings

    Returns
    -------
    data : bytes
        A file's content; the same sheets give the same bytes
    """
    out = io.BytesIO()
    with matplotlib.rc_context({"pdf.fonttype": 42, "pdf.compression": 6}):
        with PdfPages(out, metadata={"CreationDate": None, "Producer": None}) as pages:
            for one in sheets:
                pages.savefig(figure(one))
    return out.getvalue()
