"""The picture as one plotly figure: its layers with their styles, its axes, its titles."""

from collections.abc import Callable
from dataclasses import dataclass, field

import plotly.graph_objects as go

from ..theme import (
    FAINT,
    FONT,
    GRID,
    GROUP_COLORS,
    INK,
    PAPER,
    QUANTITIES,
    QUIET,
    SOLID,
    color_range,
    plain_text,
    room_words,
)
from . import camera, plan, section, space

# the page takes numbers faster than names
COLORS = [[k / (len(GROUP_COLORS) - 1), color] for k, color in enumerate(GROUP_COLORS)]
HEIGHT = 740  # the width follows the page [px]
LONGEST = 24  # characters of a name in a title: the frame is narrow on a small page
PARTS = ("space", "plan", "section")
SPACE = ("space",)  # the picture in space alone
SCENE = dict(x=[0.0, 0.575], y=[0.0, 1.0])
ALONE = dict(x=[0.0, 1.0], y=[0.0, 1.0])
RIGHT = [0.665, 1.0]

LINES, MARKS = dict(mode="lines", hoverinfo="skip"), dict(mode="markers", hoverinfo="text")
TEXT, TAGS = dict(mode="text", hoverinfo="skip"), dict(mode="markers+text", hoverinfo="text")
WORDS = dict(size=12, color=INK, family=FONT)
SMALL = dict(size=11, color=INK, family=FONT)
HALO = dict(size=10, color=INK, family=FONT, shadow="0 0 2px #fff, 0 0 3px #fff, 0 0 4px #fff")
BARE = dict(
    zeroline=False, ticks="outside", tickfont=dict(size=10), linecolor=FAINT, fixedrange=False
)


@dataclass(frozen=True)
class Layer:
    """One trace of the picture: its style stands, ``moving`` gives the rest for a view."""

    name: str
    kind: type  # plotly class
    axes: dict
    style: dict
    moving: Callable = field(repr=False)

    def trace(self, view, **axes):
        """Trace of a view.

        Parameters
        ----------
        view : View
            What is looked at
        axes : str, optional
            Other axes than the picture's own

        Returns
        -------
        trace : plotly trace
            Style and data
        """
        legend = {} if self.kind in (go.Heatmap, go.Mesh3d) else dict(showlegend=False)
        made = self.kind(name=self.name, **legend, **(axes or self.axes), **self.style)
        return made.update(self.moving(view))


def _line(color, width, dash="solid"):
    return dict(line=dict(color=color, width=width, dash=dash))


def _dot(size, width=1.0, **more):
    return dict(marker=dict(size=size, line=dict(color=INK, width=width), **more))


def _in_space():
    """Layers of the scene, back to front."""
    shaded = dict(flatshading=True, hoverinfo="skip", lighting=dict(ambient=0.85, diffuse=0.25))
    colored = dict(
        coloraxis="coloraxis",
        hovertemplate="%{intensity:.2f}<extra></extra>",
        lighting=dict(ambient=1, diffuse=0),
    )
    by_group = dict(line=dict(width=3, colorscale=COLORS, cmin=0, cmax=len(COLORS) - 1))
    on = dict(scene="scene")
    return [
        Layer("solids", go.Mesh3d, on, shaded, space.solids),
        Layer("map", go.Mesh3d, on, colored, space.level_map),
        Layer("frame", go.Scatter3d, on, LINES | _line(QUIET, 1.5), space.frame),
        Layer("painted", go.Scatter3d, on, LINES | dict(line=dict(width=2.5)), space.painted),
        Layer("beams", go.Scatter3d, on, LINES | by_group, space.beams),
        Layer("ringing", go.Scatter3d, on, LINES | _line(INK, 8), space.ringing),
        Layer("marks", go.Scatter3d, on, MARKS | _dot(4.5, 2, color=PAPER), space.marks),
    ]


def _in_plan(scenario):
    """Layers of the plan, back to front."""
    on = dict(xaxis="x", yaxis="y")
    below = dict(textposition="bottom center", textfont=HALO)
    above = dict(textposition="top center", textfont=HALO | dict(size=11))
    microphone, box = _dot(9, 1.5, color="#F0E442"), _dot(11, symbol="square")
    diamond = _dot(9, 1.5, symbol="diamond", color=PAPER)
    maps = [
        Layer(
            f"plan map {n + 1}",
            go.Heatmap,
            on,
            dict(coloraxis="coloraxis"),
            plan.map_of(n),
        )
        for n in range(plan.map_count(scenario))
    ]
    rest = [
        ("plan: room", LINES | _line(INK, 1.5), plan.room),
        ("plan: painted", LINES | dict(line=dict(width=1.2)), plan.court),
        ("plan: contours", LINES | dict(line=dict(width=1.5)), plan.contours),
        ("plan: beams", LINES | _line(INK, 1, "dot"), plan.beams),
        ("plan: contour labels", TEXT | dict(textfont=HALO), plan.contour_labels),
        ("plan: quietest seats", MARKS | diamond, plan.quietest),
        ("plan: ringing", LINES | _line(INK, 4), plan.ringing),
        ("plan: microphones", TAGS | below | microphone, plan.microphones),
        ("plan: loudspeakers", TAGS | above | box, plan.loudspeakers),
    ]
    return [*maps, *(Layer(name, go.Scatter, on, style, layer) for name, style, layer in rest)]


def _in_section():
    """Layers of the section and of the profile below it, back to front."""
    on, below = dict(xaxis="x2", yaxis="y2"), dict(xaxis="x2", yaxis="y3")
    steps = LINES | dict(fill="toself", fillcolor=SOLID) | _line(QUIET, 1)
    seats = dict(mode="markers", hoverinfo="skip") | _dot(7, 0.5, coloraxis="coloraxis")
    tag = dict(textposition="middle right", cliponaxis=False, textfont=SMALL)
    profile = dict(
        mode="lines+markers",
        hovertemplate="%{y:.2f}<extra></extra>",
        marker=dict(size=6, color=INK),
    )
    layers = [
        ("section: room", on, LINES | _line(INK, 1.5), section.room),
        ("section: steps", on, steps, section.steps),
        ("section: edges", on, LINES | _line(INK, 1, "dash"), section.edges),
        ("section: axis", on, LINES | _line(INK, 2), section.axis),
        ("section: seats", on, seats, section.seats),
        ("section: loudspeaker", on, TAGS | tag | _dot(12, symbol="square"), section.loudspeaker),
        ("along the rows", below, profile | _line(INK, 1.5), section.along_the_rows),
    ]
    return [Layer(name, go.Scatter, axes, style, layer) for name, axes, style, layer in layers]


def layers(scenario, parts=PARTS):
    """Layers of the picture, back to front.

    Parameters
    ----------
    scenario : Scenario
        Its areas decide how many maps the plan has
    parts : tuple of str
        Of ``PARTS``

    Returns
    -------
    layers : list of Layer
        In the order of the parts
    """
    made = {"space": _in_space, "plan": lambda: _in_plan(scenario), "section": _in_section}
    return [layer for part in parts for layer in made[part]()]


def _note(text, x, y):
    return dict(
        text=text,
        x=x,
        y=y,
        xref="paper",
        yref="paper",
        xanchor="left",
        yanchor="bottom",
        showarrow=False,
        font=WORDS,
    )


def _title(view):
    """Quantity of the map, and how its room was computed."""
    quantity = QUANTITIES[view.quantity]
    unit = f" [{view.unit}]" if view.unit else ""
    name = view.walker_name
    name = name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…"
    walker = f": {plain_text(name)}" if view.on_foot else ""
    room = f", <i>{room_words(view.result)}</i>" if quantity.needs_room else ""
    return _note(f"<b>{quantity.label}</b>{unit}{walker}{room}", 0.0, 1.0)


def _titles(view):
    c, quantity = view.scenario.loudspeakers[view.section.loudspeaker], QUANTITIES[view.quantity]
    unit = f" [{view.unit}]" if view.unit else ""
    along = "Speech level [dB(A)]" if view.on_foot else quantity.label + unit
    return [
        _title(view),
        _note("<b>Plan</b>, north up", RIGHT[0], 1.0),
        _note(
            f"<b>Section</b>, {plain_text(view.section.area)}: {plain_text(c.tag)}, axis and -6 dB"
            " edges",
            RIGHT[0],
            0.435,
        ),
        _note(f"{along} along the rows", RIGHT[0], 0.155),
    ]


def _ranges(view):
    hall, k = view.scenario.hall, view.k
    across = view.section.outline[:, 0].max()
    return dict(
        **dict(zip(("xaxis", "yaxis"), plan.plan_range(view), strict=True)),
        xaxis2=[-0.02 * across * k, 1.02 * across * k],
        yaxis2=[-0.3 * k, (hall.highest + 1.5) * k],
        yaxis3=list(color_range(view.result, "speech") if view.on_foot else view.range),
    )


def layout(view, parts=PARTS):
    """What of the layout moves with the view.

    Parameters
    ----------
    view : View
        What is looked at
    parts : tuple of str
        Of ``PARTS``: all, or space alone

    Returns
    -------
    layout : dict
        For ``figure.update_layout``
    """
    low, high = view.range
    colors = dict(
        colorscale=QUANTITIES[view.quantity].scale,
        cmin=low,
        cmax=high,
        colorbar=dict(title=dict(text=view.unit)),
    )
    ends = camera.ranges(view.scenario.hall) * view.k
    both = {f"scene_{a}axis_range": e.tolist() for a, e in zip("xyz", ends, strict=True)}
    both |= dict(coloraxis=colors, scene_annotations=space.labels(view))
    if parts == SPACE:
        return dict(annotations=[_title(view)], **both)
    return dict(
        annotations=_titles(view),
        **both,
        **{name: dict(range=ends) for name, ends in _ranges(view).items()},
    )


def _scene(view, domain):
    """The scene, seen from the southwest, the whole gym in its frame."""
    hidden, hall = dict(visible=False, showspikes=False), view.scenario.hall
    return dict(
        domain=domain,
        xaxis=hidden,
        yaxis=hidden,
        zaxis=hidden,
        aspectmode="data",
        dragmode="orbit",
        camera=dict(eye=dict(zip("xyz", camera.eye(hall).tolist(), strict=True))),
    )


def _axes():
    """Axes of the plan, of the section below it, and of the profile along the rows."""
    bare = BARE | dict(showgrid=False)
    true = dict(constrain="domain", **bare)
    grid = BARE | dict(showgrid=True, gridcolor=GRID)
    return dict(
        xaxis=dict(domain=RIGHT, anchor="y", **true),
        yaxis=dict(domain=[0.52, 0.985], anchor="x", scaleanchor="x", **true),
        xaxis2=dict(domain=RIGHT, anchor="y3", **true),
        yaxis2=dict(domain=[0.225, 0.42], anchor="x2", scaleanchor="x2", **true),
        yaxis3=dict(domain=[0.0, 0.145], anchor="x2", **grid),
    )


def figure(view, parts=PARTS):
    """The whole picture, or the one in space alone.

    Parameters
    ----------
    view : View
        What is looked at
    parts : tuple of str
        Of ``PARTS``: all, or space alone

    Returns
    -------
    figure : plotly.graph_objects.Figure
        One figure with a scene, a plan, a section and a profile
    """
    chart = go.Figure([layer.trace(view) for layer in layers(view.scenario, parts)])
    alone = parts == SPACE
    bar = dict(x=0.94 if alone else 0.585, xanchor="left", y=0.5, len=0.72, thickness=14)
    chart.update_layout(
        autosize=True,
        height=None if alone else HEIGHT,
        margin=dict(l=0, r=8, t=24, b=28),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font=WORDS,
        uirevision="keep",
        showlegend=False,
        modebar=dict(orientation="v", bgcolor="rgba(0,0,0,0)"),
        scene=_scene(view, ALONE if alone else SCENE),
        coloraxis_showscale=not alone,  # the plan beside it has the scale
        coloraxis=dict(colorbar=dict(**bar, title=dict(side="top"), tickfont=dict(size=10))),
        **({} if alone else _axes()),
    )
    return chart.update_layout(layout(view, parts))


def moved(view, parts=PARTS):
    """What can move in every trace, in the order of ``layers``.

    Parameters
    ----------
    view : View
        What is looked at
    parts : tuple of str
        As for ``layers``

    Returns
    -------
    updates : list of dict
        One for each trace
    """
    return [layer.moving(view) for layer in layers(view.scenario, parts)]
