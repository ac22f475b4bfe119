"""Plans and sections of their own, taken from the picture's layers: small maps beside each other,
and figures for paper.
"""

import plotly.graph_objects as go

from .. import scene
from ..theme import FONT, INK, PAPER, QUANTITIES, ROOMS

# of a small map
MAPS = ("plan map", "plan: room", "plan: contours", "plan: contour labels", "plan: loudspeakers")
WHOLE = (
    *MAPS,
    "plan: painted",
    "plan: beams",
    "plan: ringing",
    "plan: microphones",
    "plan: quietest seats",
)
CUT = ("section:", "along")
# of figures for paper
LOOK = dict(
    width=620, paper_bgcolor=PAPER, plot_bgcolor=PAPER, font=dict(family=FONT, size=11, color=INK)
)
BARE = dict(showgrid=False, zeroline=False, showticklabels=False, ticks="", constrain="domain")


def traces(view, names, x, y, coloraxis="coloraxis"):
    """Traces of the picture's plan or section on axes of their own.

    Parameters
    ----------
    view : View
        What is looked at [-]
    names : tuple of str
        Beginnings of the layers' names [-]
    x, y : str
        Axes, e.g. "x2", "y2" [-]
    coloraxis : str
        Of what carries the map's colors [-]

    Returns
    -------
    traces : list
        In the picture's order
    """
    made = []
    for layer in scene.layers(view.scenario):
        if layer.name.startswith(names):
            trace = layer.trace(view, xaxis=x, yaxis=y)
            if layer.kind is go.Heatmap:
                trace.coloraxis = coloraxis
            made.append(trace)
    return made


def plan(view):
    """One plan with its map.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper
    """
    quantity, (low, high) = QUANTITIES[view.quantity], view.range
    chart = go.Figure(traces(view, WHOLE, "x", "y"))
    room = f", {ROOMS[view.result.room]}" if quantity.needs_room else ""
    chart.update_layout(
        **LOOK,
        **floor(view),
        height=470,
        margin=dict(l=46, r=10, t=34, b=36),
        showlegend=False,
        title=dict(
            text=f"{quantity.label}{f' [{view.unit}]' if view.unit else ''}{room}",
            x=0.01,
            font=dict(size=13),
        ),
        coloraxis=dict(
            colorscale=quantity.scale,
            cmin=low,
            cmax=high,
            colorbar=dict(title=dict(text=view.unit), thickness=12),
        ),
    )
    return chart


def floor(view):
    """Axes of a plan for paper.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    axes : dict
        "xaxis" and "yaxis" of a layout, one scale, lengths in the units of the view
    """
    across, up = scene.plan_range(view)
    bare = dict(constrain="domain", showgrid=False, zeroline=False)
    return dict(
        xaxis=dict(range=across, title=f"[{view.units}]", **bare),
        yaxis=dict(range=up, scaleanchor="x", **bare),
    )


def cut(view):
    """The section with the loudspeaker that serves it, and the quantity along its rows below.

    Parameters
    ----------
    view : View
        What is looked at [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper
    """
    low, high = view.range
    section = [t for t in traces(view, CUT[:1], "x", "y") if t.name != "section: seats"]
    seats = traces(view, ("section: seats",), "x", "y")
    along = traces(view, CUT[1:], "x", "y2")
    wide = view.section.outline[:, 0].max() * view.k
    chart = go.Figure([*section, *seats, *along])
    bare = dict(showgrid=False, zeroline=False)
    chart.update_layout(
        **LOOK,
        height=380,
        margin=dict(l=46, r=10, t=34, b=36),
        showlegend=False,
        title=dict(
            text=(
                f"Section, {scene.plain(view.section.area)}: axis and -6 dB edges; below,"
                f" {QUANTITIES[view.quantity].label.lower()} along the rows"
            ),
            x=0.01,
            font=dict(size=13),
        ),
        xaxis=dict(range=[-0.02 * wide, 1.02 * wide], title=f"[{view.units}]", anchor="y2", **bare),
        yaxis=dict(domain=[0.42, 1.0], scaleanchor="x", constrain="domain", **bare),
        yaxis2=dict(
            domain=[0.0, 0.32],
            range=[low, high],
            showgrid=True,
            gridcolor="#eef1f4",
            zeroline=False,
        ),
        coloraxis=dict(
            colorscale=QUANTITIES[view.quantity].scale, cmin=low, cmax=high, showscale=False
        ),
    )
    return chart
