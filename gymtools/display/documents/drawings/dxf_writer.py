"""Sheets as DXF: views at full size in the model, a layout of paper for each sheet."""

import io
from contextlib import contextmanager

import ezdxf
import numpy as np
from ezdxf.enums import TextEntityAlignment

from ....venue.units import FOOT
from .layers import LAYERS
from .marks import GAP, Circle, Dimension, Line, Text

INSUNITS = {"ft": 2, "m": 6}  # $INSUNITS
MEASUREMENT = {"ft": 0, "m": 1}  # $MEASUREMENT: which patterns of lines a program takes
STYLE = "GYM"
APART = 6.0  # between views in the model [m]


def document(sheets, units):
    """A set of drawings.

    Parameters
    ----------
    sheets : sequence of Sheet
        In their order
    units : str
        "m" or "ft"

    Returns
    -------
    document : ezdxf.document.Drawing
        The first view with its origin at the model's, the others beside it
    """
    with without_dates():
        made = ezdxf.new("R2010", setup=True)
    made.units = INSUNITS[units]
    made.header["$MEASUREMENT"] = MEASUREMENT[units]
    made.header["$LUNITS"] = 2  # decimal: architectural ones would read a foot as an inch
    made.header["$LWDISPLAY"] = 1
    # patterns of lines have the size that they have on paper in the model, so that both look alike
    made.header["$PSLTSCALE"] = 0
    made.styles.add(STYLE, font="arial.ttf")
    model, k = made.modelspace(), 1 / (FOOT if units == "ft" else 1.0)
    _add_layers(made, _scale_of(sheets) / 1000 * k)
    places = model_places(sheets)
    for sheet in sheets:
        paper = made.layouts.new(_layout_name(made, sheet.number))
        _layout(paper, sheet, units, k, places)
        for one in sheet.placed:
            styles = _dimension_style(made, one.view.scale, units, k)
            pen = _Pen(model, k, one.view.scale / 1000, places[id(one.view)])
            pen.draw(one.view.marks, styles)
    if "Layout1" in made.layouts:
        made.layouts.delete("Layout1")
    return made


def model_places(sheets):
    """Where the origin of every view lies in the model.

    Parameters
    ----------
    sheets : sequence of Sheet
        As for ``document``

    Returns
    -------
    places : dict
        (2,) by the ``id`` of a view: the first at the origin, each next one to the east [m]
    """
    places, east = {}, None
    for view in (one.view for sheet in sheets for one in sheet.placed):
        x = 0.0 if east is None else east + APART - float(view.low[0])
        places[id(view)] = np.array([x, 0.0])
        east = x + float(view.high[0])
    return places


def text_of(document_):
    """The text of a DXF file.

    Parameters
    ----------
    document_ : ezdxf.document.Drawing
        Of ``document``

    Returns
    -------
    text : str
        The same drawing gives the same text
    """
    out = io.StringIO()
    with without_dates():
        document_.write(out)
    return out.getvalue()


@contextmanager
def without_dates():
    """Fixed dates and marks instead of those of this moment."""
    kept = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = kept


def _layout_name(made, number):
    return number if number not in made.layouts else f"{number} (2)"


def _scale_of(sheets):
    """Scale that all views of a set share."""
    return next((one.view.scale for sheet in sheets for one in sheet.placed), 100.0)


def _add_layers(made, mm):
    """Layers with their colors, widths and patterns; a millimeter of paper in the model's units."""
    for name, layer in LAYERS.items():
        pattern = "CONTINUOUS"
        if layer.dashes:
            pattern = f"GYM-{name}"
            signed = [d * mm * (-1) ** n for n, d in enumerate(layer.dashes)]
            total = sum(abs(d) for d in signed)
            made.linetypes.add(pattern, [total, *signed], description=layer.meaning)
        weight = round(layer.weight * 100)
        made.layers.add(name, color=layer.color, linetype=pattern, lineweight=weight)


def _dimension_style(made, scale, units, k):
    """Name of the style of running dimensions at a scale; a program that edits one keeps it."""
    name = f"GYM-{scale:g}"
    if name not in made.dimstyles:
        style = made.dimstyles.duplicate_entry("EZDXF", name)
        mm = scale / 1000 * k
        values = dict(dimtxt=2.2 * mm, dimgap=0.8 * mm, dimexo=GAP * mm, dimexe=1.0 * mm)
        values |= dict(dimasz=1.0 * mm, dimscale=1.0, dimtxsty=STYLE, dimtad=0)
        light = LAYERS["EXTENSIONS"]
        values |= dict(dimclre=light.color, dimlwe=round(light.weight * 100))
        values |= dict(dimltex1="GYM-EXTENSIONS")
        if units == "ft":  # architectural figures want inches, to the quarter
            values |= dict(dimlunit=4, dimlfac=12.0, dimrnd=0.25, dimdec=2, dimzin=3)
        else:
            values |= dict(dimlunit=2, dimlfac=1.0, dimrnd=0.0, dimdec=2, dimpost="<> m")
        for key, value in values.items():
            style.dxf.set(key, value)
    return name


class _Pen:
    """Draws marks of a view into a space of the file."""

    def __init__(self, space, k, mm, at, pattern=1.0):
        self.space, self.k, self.mm, self.at = space, k, mm, np.asarray(at, float)
        self.pattern = pattern  # scale of the patterns of lines

    def point(self, at):
        """A point in the file's units."""
        return tuple(map(float, (np.asarray(at, float)[:2] + self.at) * self.k))

    def draw(self, marks, style=None):
        for mark in marks:
            layer = "DIMENSIONS" if isinstance(mark, Dimension) else mark.layer
            look = {"layer": layer, "ltscale": self.pattern}
            if isinstance(mark, Line):
                points = [self.point(p) for p in mark.points]
                self.space.add_lwpolyline(points, close=mark.closed, dxfattribs=look)
            elif isinstance(mark, Circle):
                radius = mark.radius * self.k
                self.space.add_circle(self.point(mark.center), radius, dxfattribs=look)
            elif isinstance(mark, Dimension):
                self._dimension(mark, style, look)
            elif isinstance(mark, Text):
                self._text(mark, look)

    def _text(self, text, look):
        """Names from a file are text: what would be a code of DXF's is written out."""
        entity = self.space.add_text(
            text.words.replace("%%", "% %").replace("^", " "),
            height=text.height * self.mm * self.k,
            rotation=90.0 if text.upright else 0.0,
            dxfattribs={**look, "style": STYLE},
        )
        entity.set_placement(self.point(text.at), align=TextEntityAlignment.LEFT)

    def _dimension(self, mark, style, look):
        """A running dimension; its figure is drawn as stated, and worked out anew when edited."""
        add = (self.space.add_ordinate_x_dim, self.space.add_ordinate_y_dim)[mark.axis]
        feature, end = np.array(self.point(mark.feature)), np.array(self.point(mark.line[-1]))
        made = add(
            feature_location=tuple(feature),
            offset=tuple(end - feature),
            origin=self.point(mark.datum),
            text=mark.text.words,
            dimstyle=style,
            dxfattribs=look,
        )
        made.render()
        made.dimension.dxf.text = ""


def _layout(paper, sheet, units, k, places):
    """A sheet of paper: frame, and a window onto the model for every view."""
    mm = 1.0 if units == "m" else 1 / 25.4
    size = tuple(v * mm for v in sheet.size)
    paper.page_setup(size=size, margins=(0, 0, 0, 0), units="mm" if units == "m" else "inch")
    for one in sheet.placed:
        view = one.view
        low, high = view.low - 2 * view.scale / 1000, view.high + 2 * view.scale / 1000
        middle = (low + high) / 2
        center = tuple(float(v) * mm for v in one.on_paper(middle))
        extent = (high - low) * 1000 / view.scale * mm
        paper.add_viewport(
            center=center,
            size=tuple(map(float, extent)),
            view_center_point=tuple(map(float, (middle + places[id(view)]) * k)),
            view_height=float((high - low)[1] * k),
        )
    pattern = mm / (_scale_of([sheet]) / 1000 * k)
    _Pen(paper, mm, 1.0, (0.0, 0.0), pattern).draw(sheet.frame)
