"""The picture of a design: the hall in 3D, its plan, a section, and the level along the rows, as
one figure.

Every layer is a function of the view that returns only what moves; its style is told once.
``figure`` makes the whole, ``moved`` the data for a figure that is already on the page, so that one
message redraws it.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import plotly.graph_objects as go

from ..acoustics.evaluate import Result
from ..acoustics.feedback import walking_map
from ..acoustics.throws import section, throws
from ..physics.bands import LABELS
from ..physics.geometry import rotation
from ..venue.seating import AudienceArea
from ..venue.units import length_text
from .charts import maps
from .theme import (
    FAINT,
    FLOOR,
    FONT,
    GROUP_COLORS,
    INK,
    LINES,
    PAPER,
    QUANTITIES,
    QUIET,
    ROOMS,
    SOLID,
    color_range,
    per_unit,
    values,
)

SHOWN_SOLID = (
    "bleacher fronts",
    "closed bleachers",
    "stage front",
    "stage",
    "portable stage",
    "balcony",
)
# the page takes numbers faster than names
COLORS = [[k / (len(GROUP_COLORS) - 1), color] for k, color in enumerate(GROUP_COLORS)]
SPARE_WORDS = "words, in turn"
# lower and upper edge of a backboard re the rim [m]    common practice, no source
BOARD = (-0.15, 0.92)
HEIGHT = 740  # the width follows the page [px]
SCENE = dict(x=[0.0, 0.575], y=[0.0, 1.0])
RIGHT = [0.665, 1.0]


@dataclass(frozen=True, kw_only=True)
class View:
    """What is looked at: a result, a quantity, a section through an area, in meters or feet."""

    result: Result
    quantity: str = "speech"
    area: str | None = None
    units: str = "m"
    walker: str = "hand-held wireless"  # microphone of the walking map
    facing_deg: float | None = None  # where its talker looks; the worst way when None
    seat: int | None = None  # a seat that is marked

    @property
    def scenario(self):
        return self.result.scenario

    @property
    def k(self):
        """Units of the drawing in a meter."""
        return 1 / per_unit(self.units)

    @cached_property
    def walks(self):
        """Spare gain over the floor and the stages."""
        return walking_map(self.result, self.walker, self.facing_deg)

    @cached_property
    def areas(self):
        """Areas that carry the map: where people listen, or where a microphone walks."""
        if self.quantity == "spare gain":
            return [
                AudienceArea(m.microphone.name, "walk", m.places, *m.shape, 0.0) for m in self.walks
            ]
        return list(self.result.configuration.areas.values())

    @cached_property
    def values(self):
        if self.quantity == "spare gain":
            return np.concatenate([m.margin_db for m in self.walks]).astype(np.float32)
        found = values(self.result, self.quantity)
        return found * np.float32(self.k) if self.quantity == "distance" else found

    @property
    def step(self):
        return (
            10.0
            if self.quantity == "distance" and self.units == "ft"
            else QUANTITIES[self.quantity].step
        )

    @property
    def range(self):
        low, high = color_range(self.result, self.quantity)
        return (low, 100.0) if self.quantity == "distance" and self.units == "ft" else (low, high)

    @property
    def unit(self):
        return self.units if self.quantity == "distance" else QUANTITIES[self.quantity].unit

    def say(self, value):
        """A value with its unit, as a label."""
        return f"{value:.{QUANTITIES[self.quantity].digits}f}"

    def way(self, meters):
        """A distance, short."""
        return f"{meters:.1f} m" if self.units == "m" else f"{meters * self.k:.0f} ft"

    @cached_property
    def contours(self):
        """(area, level, line) of every contour."""
        found, start = [], 0
        for area in self.areas:
            mine = self.values[start : start + len(area.points)]
            start += len(area.points)
            found += [
                (area.name, level, line) for level, line in maps.contours(area, mine, self.step)
            ]
        return found

    def loudness(self, throw):
        """Level where an axis lands, of that loudspeaker alone: in the octave that the map shows,
        else A-weighted.
        """
        if self.quantity.startswith("direct "):
            return f"{throw.level_db[LABELS.index(self.quantity.removeprefix('direct '))]:.0f} dB"
        return f"{throw.level_dba:.0f} dB(A)"

    @property
    def paint(self):
        """Color of painted lines and contours: light on the dark maps, dark on the one that is
        white in its middle.
        """
        return dict(color=QUIET if self.quantity == "spare gain" else LINES)

    @cached_property
    def heavy(self):
        """The line inside which a microphone will ring."""
        return [
            line
            for _, level, line in self.contours
            if self.quantity == "spare gain" and level == 0.0
        ]

    @cached_property
    def along(self):
        """What the section's seats get: the quantity, or the speech level while the map shows
        microphones.
        """
        if self.quantity == "spare gain":
            return values(self.result, "speech")[self.section.points]
        return self.values[self.section.points]

    @cached_property
    def labels(self):
        """(text, place) of one label for each level in each area, at the middle of its longest
        line.
        """
        longest = {}
        for area, level, line in self.contours:
            if len(line) > len(longest.get((area, level), ())):
                longest[area, level] = line
        return [(self.say(level), line[len(line) // 2]) for (_, level), line in longest.items()]

    @cached_property
    def throws(self):
        return throws(self.result)

    @cached_property
    def section(self):
        listening = self.result.configuration.areas
        name = self.area if self.area in listening else next(iter(listening))
        return section(self.result, name)

    @cached_property
    def beams(self):
        """Throws of the loudspeakers that play."""
        return [t for t in self.throws if np.isfinite(t.level_dba)]

    def color(self, group):
        """Number of a group's color."""
        return [g.name for g in self.scenario.groups].index(group) % len(GROUP_COLORS)


def _xyz(points, k):
    points = np.asarray(points, np.float32) * np.float32(k)
    return dict(x=points[:, 0].copy(), y=points[:, 1].copy(), z=points[:, 2].copy())


def _xy(points, k):
    points = np.asarray(points, np.float32) * np.float32(k)
    return dict(x=points[:, 0].copy(), y=points[:, 1].copy())


# ---- layers in space: few and merged, because the page redraws every trace of a sce
# move ------------------


def _solids(view):
    """Floor, sides of banks, stages and the loudspeakers: one mesh, colored face by face."""
    x, y = view.scenario.hall.length / 2, view.scenario.hall.width / 2
    pieces = [
        (np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0]]), [(0, 1, 2), (0, 2, 3)], FLOOR)
    ]
    platforms = [p.name for p in view.result.configuration.portable_stages]
    for s in view.result.configuration.room.surfaces:
        if (s.part in SHOWN_SOLID or s.part in platforms) and s.name != "stage ceiling":
            pieces.append((s.corners, [(0, n, n + 1) for n in range(1, len(s.corners) - 1)], SOLID))
    for n, c in enumerate(view.scenario.loudspeakers):
        box = maps.box(
            c.position,
            rotation(c.pan_deg, c.downtilt_deg),
            c.type.width,
            c.type.height,
            c.type.depth,
        )
        pieces.append(
            (*box, GROUP_COLORS[view.color(c.group)] if view.result.playing[n] else FAINT)
        )
    starts = np.cumsum([0, *(len(corners) for corners, _, _ in pieces)])
    i, j, k = (
        np.concatenate(
            [start + np.array(faces) for start, (_, faces, _) in zip(starts, pieces, strict=False)]
        )
        .astype(np.int32)
        .T
    )
    colors = [color for _, faces, color in pieces for _ in faces]
    return dict(
        **_xyz(np.concatenate([c for c, _, _ in pieces]), view.k),
        i=i.copy(),
        j=j.copy(),
        k=k.copy(),
        facecolor=colors,
    )


def _map(view):
    i, j, k = maps.triangles(view.areas).T
    points = np.concatenate([maps.on_surface(a) for a in view.areas])
    return dict(**_xyz(points, view.k), i=i.copy(), j=j.copy(), k=k.copy(), intensity=view.values)


@lru_cache(maxsize=16)
def _court_lines(court):
    flat = [np.c_[line, np.full(len(line), 0.07)] for line in court.lines()]
    for x, y, z in court.hoops():  # ring and board
        turn, ring, half = np.linspace(0, 2 * np.pi, 25), court.ring_radius, court.board_width / 2
        flat.append(np.c_[x + ring * np.cos(turn), y + ring * np.sin(turn), np.full(25, z)])
        back = np.sign(x) * (court.length / 2 - court.board_inset)
        low, high = BOARD
        board = np.array([[-half, low], [half, low], [half, high], [-half, high], [-half, low]])
        flat.append(np.c_[np.full(5, back), y + board[:, 0], z + board[:, 1]])
    return maps.joined(flat)


def _frame(view):
    """Edges of the room and the rows of the banks."""
    lines = [
        np.concatenate([s.corners, s.corners[:1]])
        for s in view.result.configuration.room.surfaces
        if s.part not in ("court", "floor")
    ]
    for area in view.areas:
        if area.kind in ("bank", "balcony"):
            lines += list(maps.on_surface(area).reshape(area.rows, area.columns, 3)[:, [0, -1]])
    return _xyz(maps.joined(lines), view.k)


def _painted(view):
    """Lines of the court, and the contours of the map."""
    contours = maps.joined([line + [0, 0, 0.06] for _, _, line in view.contours])
    return dict(
        **_xyz(np.concatenate([_court_lines(view.scenario.lines), contours]), view.k),
        line=view.paint,
    )


def _beams(view):
    """Axis and edge of every beam that plays, in the color of its group."""
    pieces = [
        (maps.joined([np.array([t.start, t.end]), t.edge + [0, 0, 0.06]]), view.color(t.group))
        for t in view.beams
    ]
    colors = np.concatenate([np.full(len(points), color, np.float32) for points, color in pieces])
    return dict(
        **_xyz(np.concatenate([points for points, _ in pieces]), view.k), line=dict(color=colors)
    )


def _ringing(view):
    """Outline of where a microphone will ring."""
    return _xyz(maps.joined([line + [0, 0, 0.1] for line in view.heavy]), view.k)


def _words(view):
    """Tags of loudspeakers, contour values, distance and level where an axis lands, the compass:
    one trace of text.
    """
    hall = view.scenario.hall
    x, y = hall.length / 2 + 2.5, hall.width / 2 + 2.5
    words = [(c.position + [0, 0, 0.8], c.tag) for c in view.scenario.loudspeakers]
    words += [(place + [0, 0, 0.3], text) for text, place in view.labels]
    words += [
        (t.end + [0, 0, 1.0], f"{view.way(t.distance)}, {view.loudness(t)}") for t in view.beams
    ]
    words += [
        (m.places[0] + [0, 0, 0.4], m.microphone.name)
        for m in view.result.microphones
        if len(m.places) == 1
    ]
    words += [
        (np.array(at), text)
        for at, text in (((0, y, 0), "N"), ((0, -y, 0), "S"), ((x, 0, 0), "E"), ((-x, 0, 0), "W"))
    ]
    return dict(**_xyz([at for at, _ in words], view.k), text=[text for _, text in words])


def _marks(view):
    """Where axes land (dots) and the lowest place of every area (diamonds)."""
    landed = [
        (
            t.end,
            "circle",
            (
                f"{t.tag}: {view.way(t.distance)} to the {plain(t.part)}, {t.level_dba:.1f} dB(A)"
                " there from this loudspeaker alone"
            ),
        )
        for t in view.beams
    ]
    low = [(view.result.points[a.quietest], "diamond-open", _lowest(a)) for a in view.result.areas]
    open_mics = [
        (
            m.places[0],
            "circle-open",
            f"microphone {plain(m.microphone.name)}: {m.margin_db[0]:+.1f} dB to spare",
        )
        for m in view.result.microphones
        if len(m.places) == 1
    ]
    marks = landed + low + open_mics
    return dict(
        **_xyz([at for at, _, _ in marks], view.k),
        marker=dict(symbol=[s for _, s, _ in marks]),
        hovertext=[t for _, _, t in marks],
    )


def _lowest(area):
    return (
        f"lowest in {plain(area.name)}: {area.quietest_seat}, {-area.quietest_db:.1f} dB below the"
        " mean"
    )


# ---- layers of the plan
# -----------------------------------------------------------------------------------


def _grid(slot):
    def layer(view):
        if slot >= len(view.areas):
            return dict(x=[], y=[], z=[], hovertemplate="")
        area = view.areas[slot]
        start = sum(len(a.points) for a in view.areas[:slot])
        grid = area.points.reshape(area.rows, area.columns, 3)
        z = view.values[start : start + len(area.points)].reshape(area.rows, area.columns)
        if abs(grid[0, -1, 0] - grid[0, 0, 0]) > abs(grid[-1, 0, 0] - grid[0, 0, 0]):
            x, y = grid[0, :, 0], grid[:, 0, 1]
        else:
            x, y, z = grid[:, 0, 0], grid[0, :, 1], z.T
        right, up = np.argsort(x), np.argsort(y)
        z = np.round(z[np.ix_(up, right)].astype(float), 2)
        hover = f"{plain(area.name)}: %{{z}} {view.unit}<extra></extra>"
        return dict(x=x[right] * view.k, y=y[up] * view.k, z=z, hovertemplate=hover)

    return layer


def _slots(scenario):
    """How many maps the plan may need: every area that can listen, or the floor and its stages."""
    return max(len(scenario.area_names), 2 + len(scenario.portable_stages))


def _plan_room(view):
    hall, configuration = view.scenario.hall, view.result.configuration
    x, y = hall.length / 2, hall.width / 2
    outlines = [np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0], [-x, -y, 0]])]
    for thing in (
        *configuration.banks,
        *configuration.floor_seats,
        *configuration.portable_stages,
        *configuration.balconies,
    ):
        a, b, c, d = thing.footprint(hall)
        outlines.append(np.array([[a, c, 0], [b, c, 0], [b, d, 0], [a, d, 0], [a, c, 0]]))
    outlines += [
        np.concatenate([s.corners, s.corners[:1]])
        for s in view.result.configuration.room.surfaces
        if s.name == "stage floor"
    ]
    return _xy(maps.joined(outlines), view.k)


def _plan_court(view):
    return dict(**_xy(_court_lines(view.scenario.lines), view.k), line=view.paint)


def _plan_contours(view):
    return dict(**_xy(maps.joined([line for _, _, line in view.contours]), view.k), line=view.paint)


def _plan_labels(view):
    places = np.array([place for _, place in view.labels]).reshape(-1, 3)
    return dict(**_xy(places, view.k), text=[text for text, _ in view.labels])


def _plan_beams(view):
    lines = [line for t in view.beams for line in (t.edge, np.array([t.start, t.end])) if len(line)]
    return _xy(maps.joined(lines), view.k)


def _plan_cabinets(view):
    loudspeakers, playing = view.scenario.loudspeakers, view.result.playing
    colors = [
        GROUP_COLORS[view.color(c.group)] if on else FAINT
        for c, on in zip(loudspeakers, playing, strict=True)
    ]
    return dict(
        **_xy([c.position for c in loudspeakers], view.k),
        text=[c.tag for c in loudspeakers],
        marker=dict(color=colors, angle=[-c.pan_deg for c in loudspeakers]),
        hovertext=[
            f"{c.tag}: {c.type.name}, {view.way(c.z)} up, pan {c.pan_deg:g}, tilt"
            f" {c.downtilt_deg:g} deg"
            for c in loudspeakers
        ],
    )


def _plan_heavy(view):
    return _xy(maps.joined(view.heavy), view.k)


def _plan_microphones(view):
    """Open microphones that stand at one place, and the seat that is looked at."""
    fixed = [
        (m.places[0], m.microphone.name) for m in view.result.microphones if len(m.places) == 1
    ]
    symbols = ["circle"] * len(fixed)
    if view.seat is not None:
        fixed.append((view.result.points[view.seat], "this seat"))
        symbols.append("star")
    return dict(
        **_xy(np.array([at for at, _ in fixed]).reshape(-1, 3), view.k),
        text=[name for _, name in fixed],
        marker=dict(symbol=symbols),
    )


def _plan_worst(view):
    return dict(
        **_xy([view.result.points[a.quietest] for a in view.result.areas], view.k),
        hovertext=[_lowest(a) for a in view.result.areas],
    )


# ---- layers of the section
# -----------------------------------------------------------------------------------


def _cut_room(view):
    return _xy(view.section.outline, view.k)


def _cut_steps(view):
    return _xy(view.section.steps, view.k)


def _cut_axis(view):
    return _xy(view.section.axis, view.k)


def _cut_edges(view):
    lines = [np.concatenate([e, [[np.nan, np.nan]]]) for e in view.section.edges]
    return _xy(np.concatenate(lines) if lines else np.full((1, 2), np.nan), view.k)


def _cut_cabinet(view):
    c = view.scenario.loudspeakers[view.section.loudspeaker]
    return dict(
        **_xy(view.section.at[None], view.k),
        text=[f" {c.tag} {length_text(c.z, view.units)} up, {c.downtilt_deg:g}° down"],
        marker=dict(color=GROUP_COLORS[view.color(c.group)]),
    )


def _cut_seats(view):
    return dict(
        **_xy(view.section.seats, view.k),
        marker=dict(
            color=(
                view.along
                if view.quantity != "spare gain"
                else np.zeros(len(view.along), np.float32)
            )
        ),
    )


def _cut_values(view):
    return dict(x=_xy(view.section.seats, view.k)["x"], y=view.along)


# ---- the figure
# -----------------------------------------------------------------------------------

_SPACE, _PLAN, _CUT, _ALONG = (
    dict(scene="scene"),
    dict(xaxis="x", yaxis="y"),
    dict(xaxis="x2", yaxis="y2"),
    dict(xaxis="x2", yaxis="y3"),
)
_SMALL = dict(size=11, color=INK, family=FONT)
_HALO = dict(size=10, color=INK, family=FONT, shadow="0 0 2px #fff, 0 0 3px #fff, 0 0 4px #fff")


def _line(color, width, dash="solid"):
    return dict(color=color, width=width, dash=dash)


def layers(scenario):
    """Layers of the picture, back to front: name, trace type, style, and the function that gives
    what moves.

    Parameters
    ----------
    scenario : Scenario
        Its areas decide how many maps the plan has [-]

    Returns
    -------
    layers : list of tuple
        (name, plotly class, style, function of a View)
    """
    line3, mark3 = dict(mode="lines", hoverinfo="skip"), dict(mode="markers", hoverinfo="text")
    plan_maps = [
        (f"plan map {n + 1}", go.Heatmap, _PLAN | dict(coloraxis="coloraxis"), _grid(n))
        for n in range(_slots(scenario))
    ]
    return [
        (
            "solids",
            go.Mesh3d,
            _SPACE
            | dict(flatshading=True, hoverinfo="skip", lighting=dict(ambient=0.85, diffuse=0.25)),
            _solids,
        ),
        (
            "map",
            go.Mesh3d,
            _SPACE
            | dict(
                coloraxis="coloraxis",
                hovertemplate="%{intensity:.2f}<extra></extra>",
                lighting=dict(ambient=1, diffuse=0),
            ),
            _map,
        ),
        ("frame", go.Scatter3d, _SPACE | line3 | dict(line=dict(color=QUIET, width=1.5)), _frame),
        ("painted", go.Scatter3d, _SPACE | line3 | dict(line=dict(width=2.5)), _painted),
        (
            "beams",
            go.Scatter3d,
            _SPACE
            | line3
            | dict(line=dict(width=3, colorscale=COLORS, cmin=0, cmax=len(COLORS) - 1)),
            _beams,
        ),
        ("ringing", go.Scatter3d, _SPACE | line3 | dict(line=dict(color=INK, width=8)), _ringing),
        (
            "words",
            go.Scatter3d,
            _SPACE
            | dict(mode="text", hoverinfo="skip", textfont=dict(size=12, color=INK, family=FONT)),
            _words,
        ),
        (
            SPARE_WORDS,
            go.Scatter3d,
            _SPACE
            | dict(
                mode="text",
                hoverinfo="skip",
                visible=False,
                textfont=dict(size=12, color=INK, family=FONT),
            ),
            _words,
        ),
        (
            "marks",
            go.Scatter3d,
            _SPACE
            | mark3
            | dict(marker=dict(size=4.5, color=PAPER, line=dict(color=INK, width=2))),
            _marks,
        ),
        *plan_maps,
        ("plan: room", go.Scatter, _PLAN | line3 | dict(line=_line(INK, 1.5)), _plan_room),
        ("plan: painted", go.Scatter, _PLAN | line3 | dict(line=dict(width=1.2)), _plan_court),
        ("plan: contours", go.Scatter, _PLAN | line3 | dict(line=dict(width=1.5)), _plan_contours),
        ("plan: beams", go.Scatter, _PLAN | line3 | dict(line=_line(INK, 1, "dot")), _plan_beams),
        (
            "plan: contour labels",
            go.Scatter,
            _PLAN | dict(mode="text", hoverinfo="skip", textfont=_HALO),
            _plan_labels,
        ),
        (
            "plan: lowest places",
            go.Scatter,
            _PLAN
            | mark3
            | dict(
                marker=dict(symbol="diamond", size=9, color=PAPER, line=dict(color=INK, width=1.5))
            ),
            _plan_worst,
        ),
        ("plan: ringing", go.Scatter, _PLAN | line3 | dict(line=_line(INK, 4)), _plan_heavy),
        (
            "plan: microphones",
            go.Scatter,
            _PLAN
            | dict(
                mode="markers+text",
                hoverinfo="text",
                textposition="bottom center",
                textfont=_HALO,
                marker=dict(size=9, color="#F0E442", line=dict(color=INK, width=1.5)),
            ),
            _plan_microphones,
        ),
        (
            "plan: loudspeakers",
            go.Scatter,
            _PLAN
            | dict(
                mode="markers+text",
                hoverinfo="text",
                textposition="top center",
                textfont=_HALO | dict(size=11),
                marker=dict(symbol="square", size=11, line=dict(color=INK, width=1)),
            ),
            _plan_cabinets,
        ),
        ("section: room", go.Scatter, _CUT | line3 | dict(line=_line(INK, 1.5)), _cut_room),
        (
            "section: steps",
            go.Scatter,
            _CUT | line3 | dict(fill="toself", fillcolor=SOLID, line=_line(QUIET, 1)),
            _cut_steps,
        ),
        ("section: edges", go.Scatter, _CUT | line3 | dict(line=_line(INK, 1, "dash")), _cut_edges),
        ("section: axis", go.Scatter, _CUT | line3 | dict(line=_line(INK, 2)), _cut_axis),
        (
            "section: seats",
            go.Scatter,
            _CUT
            | dict(
                mode="markers",
                hoverinfo="skip",
                marker=dict(size=7, coloraxis="coloraxis", line=dict(color=INK, width=0.5)),
            ),
            _cut_seats,
        ),
        (
            "section: loudspeaker",
            go.Scatter,
            _CUT
            | dict(
                mode="markers+text",
                hoverinfo="text",
                textposition="middle right",
                cliponaxis=False,
                textfont=_SMALL,
                marker=dict(symbol="square", size=12, line=dict(color=INK, width=1)),
            ),
            _cut_cabinet,
        ),
        (
            "along the rows",
            go.Scatter,
            _ALONG
            | dict(
                mode="lines+markers",
                hovertemplate="%{y:.2f}<extra></extra>",
                line=_line(INK, 1.5),
                marker=dict(size=6, color=INK),
            ),
            _cut_values,
        ),
    ]


def plain(text):
    """A name that is shown by plotly as text, never as markup.

    Parameters
    ----------
    text : str
        From a scenario [-]

    Returns
    -------
    text : str
        Safe in titles, labels and hover texts
    """
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace("%{", "% {")


def _note(text, x, y, anchor="left"):
    return dict(
        text=text,
        x=x,
        y=y,
        xref="paper",
        yref="paper",
        xanchor=anchor,
        yanchor="bottom",
        showarrow=False,
        font=dict(size=12, color=INK, family=FONT),
    )


def _titles(view):
    c = view.scenario.loudspeakers[view.section.loudspeaker]
    quantity = QUANTITIES[view.quantity]
    unit = f" [{view.unit}]" if view.unit else ""
    walker = (
        f": {view.walker}, talker facing the worst way"
        if view.quantity == "spare gain" and view.facing_deg is None
        else ""
    )
    walker = walker or (f": {view.walker}" if view.quantity == "spare gain" else "")
    room = f", <i>{ROOMS[view.result.room]}</i>" if quantity.needs_room else ""
    along = "Speech level [dB(A)]" if view.quantity == "spare gain" else quantity.label + unit
    return [
        _note(f"<b>{quantity.label}</b>{unit}{walker}{room}", 0.0, 1.0),
        _note("<b>Plan</b>, north up", RIGHT[0], 1.0),
        _note(
            f"<b>Section</b>, {plain(view.section.area)}: {c.tag}, axis and -6 dB edges",
            RIGHT[0],
            0.435,
        ),
        _note(f"{along} along the rows", RIGHT[0], 0.155),
    ]


def plan_range(view):
    """Ends of the plan: the hall and its stage, with a little air.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    x, y : tuple of list
        Two ends each [units of the drawing]
    """
    hall, stage, k = view.scenario.hall, view.scenario.stage, view.k
    x, y = hall.length / 2 * 1.03, hall.width / 2 * 1.05
    more = {
        side: stage.depth if stage and stage.side == side else 0.0
        for side in ("west", "east", "south", "north")
    }
    return [(-x - more["west"]) * k, (x + more["east"]) * k], [
        (-y - more["south"]) * k,
        (y + more["north"]) * k,
    ]


def _ranges(view):
    hall, k = view.scenario.hall, view.k
    across = view.section.outline[:, 0].max()
    return dict(
        **dict(zip(("xaxis", "yaxis"), plan_range(view), strict=True)),
        xaxis2=[-0.02 * across * k, 1.02 * across * k],
        yaxis2=[-0.3 * k, (hall.highest + 1.5) * k],
        yaxis3=list(
            color_range(view.result, "speech") if view.quantity == "spare gain" else view.range
        ),
    )


def layout(view):
    """What of the layout moves with the view.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    layout : dict
        For ``figure.update_layout``
    """
    quantity, ranges = QUANTITIES[view.quantity], _ranges(view)
    low, high = view.range
    colors = dict(
        colorscale=quantity.scale, cmin=low, cmax=high, colorbar=dict(title=dict(text=view.unit))
    )
    return dict(
        annotations=_titles(view),
        coloraxis=colors,
        **{name: dict(range=ends) for name, ends in ranges.items()},
    )


def figure(view):
    """The whole picture.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        One figure with a scene, a plan, a section and a profile
    """
    traces = []
    for name, kind, style, layer in layers(view.scenario):
        trace = (
            kind(name=name, showlegend=False, **style)
            if kind not in (go.Heatmap, go.Mesh3d)
            else kind(name=name, **style)
        )
        trace.update(layer(view))
        traces.append(trace)
    hidden = dict(visible=False, showspikes=False)
    bare = dict(
        showgrid=False,
        zeroline=False,
        ticks="outside",
        tickfont=dict(size=10),
        linecolor=FAINT,
        fixedrange=False,
    )
    chart = go.Figure(traces)
    chart.update_layout(
        autosize=True,
        height=HEIGHT,
        margin=dict(l=0, r=8, t=24, b=28),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font=dict(family=FONT, size=12, color=INK),
        uirevision="keep",
        showlegend=False,
        modebar=dict(orientation="v", bgcolor="rgba(0,0,0,0)"),
        scene=dict(
            domain=SCENE,
            xaxis=hidden,
            yaxis=hidden,
            zaxis=hidden,
            aspectmode="data",
            dragmode="orbit",
            camera=dict(eye=dict(x=-0.85, y=-1.9, z=1.35), center=dict(x=0, y=0, z=-0.2)),
        ),
        coloraxis=dict(
            colorbar=dict(
                x=0.585,
                xanchor="left",
                y=0.5,
                len=0.72,
                thickness=14,
                title=dict(side="top"),
                tickfont=dict(size=10),
            )
        ),
        xaxis=dict(domain=RIGHT, anchor="y", constrain="domain", **bare),
        yaxis=dict(domain=[0.52, 0.985], anchor="x", scaleanchor="x", constrain="domain", **bare),
        xaxis2=dict(domain=RIGHT, anchor="y3", constrain="domain", **bare),
        yaxis2=dict(
            domain=[0.225, 0.42], anchor="x2", scaleanchor="x2", constrain="domain", **bare
        ),
        yaxis3=dict(
            domain=[0.0, 0.145],
            anchor="x2",
            showgrid=True,
            gridcolor="#eef1f4",
            **{k: v for k, v in bare.items() if k != "showgrid"},
        ),
    )
    chart.update_layout(layout(view))
    return chart


def moved(view):
    """What can move in every trace, in the order of ``layers``.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    updates : list of dict
        One for each trace
    """
    return [layer(view) for _, _, _, layer in layers(view.scenario)]


class Painter:
    """Brings a figure on the page up to date with views, in one message that carries only what has
    changed.

    Parameters
    ----------
    view : View
        First view; decides the layers [-]
    live : callable
        Makes the live figure from a plotly figure [-]
    """

    def __init__(self, view, live):
        self.figure = live(figure(view))
        self._names = [trace.name for trace in self.figure.data]
        self._words = "words"  # which of the two traces of text is shown
        self._data, self._layout = self._turned(moved(view)), layout(view)

    def paint(self, view):
        """Show a view.

        Parameters
        ----------
        view : View
            What is looked at; of a scenario with the same areas [-]
        """
        data, frame = self._turned(moved(view)), layout(view)
        with self.figure.batch_update():
            for trace, new, old in zip(self.figure.data, data, self._data, strict=True):
                fresh = {
                    key: value for key, value in new.items() if not _alike(value, old.get(key))
                }
                if fresh:
                    trace.update(fresh, overwrite=False)
            fresh = {key: value for key, value in frame.items() if value != self._layout[key]}
            if fresh:
                self.figure.update_layout(fresh)
        self._data, self._layout = data, frame

    def _turned(self, data):
        """Show new texts in the other of two traces: plotly draws texts that are new to a trace at
        half their size.
        """
        now, spare = (self._names.index(name) for name in ("words", SPARE_WORDS))
        if hasattr(self, "_data") and data[now]["text"] != self._texts:
            self._words = SPARE_WORDS if self._words == "words" else "words"
        self._texts = data[now]["text"]
        shown, hidden = (now, spare) if self._words == "words" else (spare, now)
        data[shown], data[hidden] = {**data[shown], "visible": True}, {"visible": False}
        return data


def _alike(a, b):
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_alike(a[k], b[k]) for k in a)
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        return a.shape == b.shape and np.array_equal(a, b, equal_nan=True)
    return type(a) is type(b) and a == b
