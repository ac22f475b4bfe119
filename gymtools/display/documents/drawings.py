"""Plan and section as DXF: layers, tags, aim lines, in feet or meters, for any CAD program."""

import io
from contextlib import contextmanager

import ezdxf
import matplotlib
import numpy as np
from ezdxf.addons.drawing import Frontend, RenderContext, config
from ezdxf.addons.drawing.matplotlib import MatplotlibBackend
from ezdxf.enums import TextEntityAlignment
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from scipy.spatial import ConvexHull, QhullError

from ...acoustics.evaluate import evaluate
from ...acoustics.throws import section, throws
from ...equipment.hanging import tilt_words
from ...equipment.rack import rack_place
from ...physics.geometry import rotation
from ...venue.units import length_text
from ..charts import maps
from ..theme import per_unit

LAYERS = {  # name: color number of the AutoCAD index, an open convention of DXF
    "HALL": 7,
    "COURT": 8,
    "SEATING": 9,
    "STAGE": 9,
    "FIXTURES": 8,
    "LOUDSPEAKERS": 1,
    "TAGS": 7,
    "AIM-LINES": 3,
    "COVERAGE": 4,
    "MICROPHONES": 5,
    "RACK": 6,
    "NOTES": 8,
}
TEXT = 0.35  # height of letters [m]
NOTE = (
    "Overhead loads by a licensed structural engineer; AC power by a licensed electrician. Check"
    " all dimensions on site."
)
PROJECTED_DEG = 0.5  # from which an axis that is turned out of the section is said to be projected
UNITS = {"ft": 2, "m": 6}  # $INSUNITS


def drawing(scenario, use=None, *, units=None):
    """Plan, and a section through every bank, of one use.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str, optional
        Whose seating and aim lines are drawn; the first when left out
    units : str, optional
        "ft" or "m"; the scenario's own when left out

    Returns
    -------
    document : ezdxf.document.Drawing
        Plan with the origin at the center of the gym, sections below it
    """
    units = units or scenario.units
    result = evaluate(scenario, use)
    with _without_dates():
        document = ezdxf.new("R2010", setup=True)
    document.units = UNITS[units]
    for name, color in LAYERS.items():
        document.layers.add(name, color=color)
    pen = _Pen(document.modelspace(), 1 / per_unit(units))
    _plan(pen, result, units)
    down = -scenario.hall.width / 2 - 4.0
    for name, area in result.configuration.areas.items():
        if area.kind == "bank":
            down -= scenario.hall.highest + 3.0
            _section(pen, result, name, np.array([-scenario.hall.length / 2, down]), units)
    return document


def dxf_text(document):
    """The text of a DXF file.

    Parameters
    ----------
    document : ezdxf.document.Drawing
        Of ``drawing``

    Returns
    -------
    text : str
        The same drawing gives the same text
    """
    out = io.StringIO()
    with _without_dates():
        document.write(out)
    return out.getvalue()


@contextmanager
def _without_dates():
    """Fixed dates and marks instead of those of this moment."""
    kept = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = kept


def picture(document, kind="svg"):
    """The drawing for print, black on white paper.

    Parameters
    ----------
    document : ezdxf.document.Drawing
        Of ``drawing``
    kind : str
        "svg" or "png"

    Returns
    -------
    data : bytes
        A file's content; the same drawing gives the same bytes

    Raises
    ------
    ValueError
        ``kind`` is neither
    """
    if kind not in ("svg", "png"):
        raise ValueError(f"kind = {kind!r} is unknown. Known: svg, png.")
    sheet = Figure(figsize=(11.7, 16.5))  # A3, upright [in]
    FigureCanvasAgg(sheet)
    axes = sheet.add_axes((0.02, 0.02, 0.96, 0.96))
    axes.set_axis_off()
    paper = config.Configuration(
        background_policy=config.BackgroundPolicy.WHITE, color_policy=config.ColorPolicy.BLACK
    )
    Frontend(RenderContext(document), MatplotlibBackend(axes), config=paper).draw_layout(
        document.modelspace()
    )
    out = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "gymtools"}):
        sheet.savefig(
            out,
            format=kind,
            dpi=150,
            metadata={"Date": None} if kind == "svg" else {"Software": None},
        )
    return out.getvalue()


class _Pen:
    """Draws in meters; the file has the drawing's units."""

    def __init__(self, space, k):
        self.space, self.k = space, k

    def line(self, points, layer, closed=False):
        points = [
            tuple(map(float, np.asarray(p)[:2] * self.k))
            for p in points
            if np.isfinite(p[:2]).all()
        ]
        if len(points) > 1:
            self.space.add_lwpolyline(points, close=closed, dxfattribs={"layer": layer})

    def pieces(self, points, layer):
        """A line with gaps of NaN."""
        points = np.asarray(points, float)[:, :2]
        breaks = np.flatnonzero(~np.isfinite(points[:, 0]))
        for part in np.split(points, breaks):
            self.line(part[np.isfinite(part[:, 0])], layer)

    def text(self, words, at, layer="TAGS", height=TEXT):
        """Names from a file are text: what would be a code of DXF's is written out."""
        entity = self.space.add_text(
            words.replace("%%", "% %").replace("^", " "),
            height=height * self.k,
            dxfattribs={"layer": layer},
        )
        entity.set_placement(
            tuple(map(float, np.asarray(at)[:2] * self.k)), align=TextEntityAlignment.LEFT
        )

    def point(self, at, layer, radius=0.15):
        self.space.add_circle(
            tuple(map(float, np.asarray(at)[:2] * self.k)),
            radius * self.k,
            dxfattribs={"layer": layer},
        )


def _box(a, b, c, d):
    return [(a, c), (b, c), (b, d), (a, d)]


def _plan(pen, result, units):
    """The gym seen from above, north up."""
    _plan_room(pen, result)
    _plan_loudspeakers(pen, result, units)
    _plan_microphones(pen, result)
    _plan_rack(pen, result.scenario)
    hall = result.scenario.hall
    words = f"{result.scenario.name}, {result.use.name}: plan, north up. {NOTE}"
    pen.text(words, (-hall.length / 2, hall.width / 2 + 1.0), "NOTES")


def _plan_room(pen, result):
    configuration, hall = result.configuration, result.scenario.hall
    x, y = hall.length / 2, hall.width / 2
    pen.line(_box(-x, x, -y, y), "HALL", closed=True)
    for court in result.scenario.courts:
        for line in court.lines():
            pen.line(line, "COURT")
    for thing, (a, b, c, d) in configuration.footprints:
        hangs = thing in (*configuration.fixtures, configuration.divider)
        fixed = "FIXTURES" if hangs else "SEATING"
        layer = "STAGE" if thing in configuration.portable_stages else fixed
        pen.line(_box(a, b, c, d), layer, closed=True)
        pen.text(thing.name, (a + 0.3, c + 0.3))
    for aisle in configuration.aisle_footprints:
        pen.line(_box(*aisle), "SEATING", closed=True)
    for surface in configuration.room.surfaces:
        if surface.name == "stage floor":
            pen.line(surface.corners, "STAGE", closed=True)


def _plan_loudspeakers(pen, result, units):
    """Enclosures with tag and height; of those that play, aim lines and what they cover."""
    beams = throws(result)
    for c, playing in zip(result.scenario.loudspeakers, result.playing, strict=True):
        size = (c.type.width, c.type.height, c.type.depth)
        corners, _ = maps.box(c.position, rotation(c.pan_deg, c.downtilt_deg), *size)
        pen.line(_hull(corners[:, :2]), "LOUDSPEAKERS", closed=True)
        pen.text(f"{c.tag} {length_text(c.z, units)}", c.position + [0.4, 0.4, 0])
        for t in (b for b in beams if playing and b.tag == c.tag):
            pen.line([t.start, t.end], "AIM-LINES")
            pen.point(t.end, "AIM-LINES")
            if len(t.edge):
                pen.pieces(t.edge, "COVERAGE")


def _plan_microphones(pen, result):
    for m in result.microphones:
        if len(m.positions) == 1:
            pen.point(m.positions[0], "MICROPHONES")
            pen.text(m.microphone.name, m.positions[0] + [0.3, -0.5, 0])


def _plan_rack(pen, scenario):
    rack = rack_place(scenario)
    pen.line(_box(rack[0] - 0.3, rack[0] + 0.3, rack[1] - 0.3, rack[1] + 0.3), "RACK", closed=True)
    pen.text("rack", rack + [0.4, 0, 0])


def _hull(points):
    """Outline of some points of the plan."""
    try:
        return points[ConvexHull(points).vertices]
    except QhullError:  # seen exactly from the side
        return points[[0, -1]]


def _section(pen, result, area, at, units):
    """A section drawn to the right of a place, floor at its height."""
    cut = section(result, area)

    def move(points):
        return np.asarray(points, float)[:, :2] + at

    pen.pieces(move(cut.outline), "HALL")
    pen.pieces(move(cut.steps), "SEATING")
    pen.line(move(cut.axis), "AIM-LINES")
    for edge in cut.edges:
        pen.line(move(edge), "COVERAGE")
    c = result.scenario.loudspeakers[cut.loudspeaker]
    pen.point(move([cut.at])[0], "LOUDSPEAKERS", radius=0.25)
    pen.text(
        f"{c.tag} {length_text(c.z, units)} up, {_tilt_text(c, cut)}",
        move([cut.at])[0] + [0.5, 0.3],
    )
    pen.text(
        f"Section through {area}, {result.use.name}",
        at + [0, result.scenario.hall.highest + 0.6],
        "NOTES",
    )


def _tilt_text(loudspeaker, cut):
    """Tilt of a loudspeaker, and of its axis as drawn where that is another: turned out of the
    section, or one of several beams.
    """
    along, down = cut.axis[1] - cut.axis[0]
    drawn = float(np.degrees(np.arctan2(-down, abs(along))))

    def words(tilt):
        return tilt_words(tilt).replace("°", " deg")

    if loudspeaker.type.lobes > 1:
        return (
            f"housing {words(loudspeaker.downtilt_deg)}; one beam drawn, projected {words(drawn)}"
        )
    if abs(drawn - loudspeaker.downtilt_deg) > PROJECTED_DEG:
        return f"{words(loudspeaker.downtilt_deg)}; axis drawn projected, {words(drawn)}"
    return words(loudspeaker.downtilt_deg)
