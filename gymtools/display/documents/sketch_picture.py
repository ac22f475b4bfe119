"""The sketch of a school as a picture, for workbooks, which hold no drawings of the page."""

import io
import re
from xml.etree import ElementTree

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path

DPI = 150  # of the picture; the sketch's own pixels are 1/96 in
POINTS = 0.75  # in one of them
STEP = re.compile(r"([MLZ])(?:(-?[\d.]+) (-?[\d.]+))?")
TURN = re.compile(r"rotate\((-?[\d.]+)")
CODES = {"M": Path.MOVETO, "L": Path.LINETO, "Z": Path.CLOSEPOLY}
ACROSS = {"middle": "center", "end": "right"}


def png_of(svg):
    """A sketch as PNG.

    Parameters
    ----------
    svg : str
        Of ``display.school.sketch.sketch``: straight paths, circles and text

    Returns
    -------
    data : bytes
        A file's content; the same sketch gives the same bytes
    """
    root = ElementTree.fromstring(svg)
    wide, high = (float(v) for v in root.get("viewBox").split()[2:])
    sheet = Figure(figsize=(wide / 96, high / 96))
    FigureCanvasAgg(sheet)
    axes = sheet.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, wide), ylim=(high, 0))
    axes.set_axis_off()
    for order, part in enumerate(root):  # what comes later lies above
        draw = DRAWN.get(part.tag)
        if draw:
            draw(axes, part, order)
    out = io.BytesIO()
    sheet.savefig(out, dpi=DPI, format="png", metadata={"Software": None})
    return out.getvalue()


def _path(axes, part, order):
    steps = STEP.findall(part.get("d"))
    points = [(float(x or 0), float(y or 0)) for _, x, y in steps]
    axes.add_patch(
        PathPatch(
            Path(points, [CODES[letter] for letter, _, _ in steps]),
            facecolor=_color(part.get("fill")),
            edgecolor=_color(part.get("stroke")),
            linewidth=POINTS * float(part.get("stroke-width", 1)),
            linestyle="--" if part.get("stroke-dasharray") else "-",
            zorder=order,
        )
    )


def _circle(axes, part, order):
    middle = float(part.get("cx")), float(part.get("cy"))
    colors = dict(facecolor=_color(part.get("fill")), edgecolor=_color(part.get("stroke")))
    axes.add_patch(Circle(middle, float(part.get("r")), zorder=order, **colors))


def _text(axes, part, order):
    turned = TURN.search(part.get("transform", ""))
    axes.text(
        float(part.get("x")),
        float(part.get("y")),
        "".join(part.itertext()),
        color=part.get("fill"),
        fontsize=POINTS * float(part.get("font-size", 11)),
        fontweight="bold" if part.get("font-weight", "400") in ("bold", "600", "700") else "normal",
        ha=ACROSS.get(part.get("text-anchor"), "left"),
        va="baseline",
        rotation=-float(turned[1]) if turned else 0,
        rotation_mode="anchor",
        parse_math=False,
        zorder=order,
    )


def _color(value):
    """A color of the sketch; hatches and what has none are left out."""
    return "none" if value is None or value.startswith("url") else value


DRAWN = {"path": _path, "circle": _circle, "text": _text}
