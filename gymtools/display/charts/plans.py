"""Plans and sections of their own, taken from the picture's layers: small maps beside each other,
and figures for paper.
"""

import plotly.graph_objects as go

from .. import scene
from ..theme import FONT, GRID, INK, PAPER, QUANTITIES, plain_text, room_words

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
# of figures for paper
LOOK = dict(
    width=620,
    paper_bgcolor=PAPER,
    plot_bgcolor=PAPER,
    font=dict(family=FONT, size=11, color=INK),
    margin=dict(l=46, r=10, t=34, b=36),
    showlegend=False,
)
BARE = dict(showgrid=False, zeroline=False, showticklabels=False, ticks="", constrain="domain")


def traces(view, names, x, y, coloraxis="coloraxis"):
    """Traces of the picture's plan or section on axes of their own.

    Parameters
    ----------
    view : View
        What is looked at
    names : tuple of str
        Beginnings of the layers' names
    x, y : str
        Axes, e.g. "x2", "y2"
    coloraxis : str
        Of what carries the map's colors

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


def title(view):
    """Quantity of a view with its unit, as a title.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    title : str
        E.g. "Speech level, all sound [dB(A)]"
    """
    return QUANTITIES[view.quantity].label + (f" [{view.unit}]" if view.unit else "")


def colors(view):
    """Color scale of a view.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    coloraxis : dict
        Of a layout, without its bar
    """
    low, high = view.range
    return dict(colorscale=QUANTITIES[view.quantity].scale, cmin=low, cmax=high)


def plan(view):
    """One plan with its map.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper
    """
    room = f", {room_words(view.result)}" if QUANTITIES[view.quantity].needs_room else ""
    bar = dict(title=dict(text=view.unit), thickness=12)
    chart = go.Figure(traces(view, WHOLE, "x", "y"))
    return chart.update_layout(
        **LOOK,
        **floor(view),
        height=470,
        title=dict(text=f"{title(view)}{room}", x=0.01, font=dict(size=13)),
        coloraxis=dict(**colors(view), colorbar=bar),
    )


def floor(view):
    """Axes of a plan for paper.

    Parameters
    ----------
    view : View
        What is looked at

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
        What is looked at

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper
    """
    wide = view.section.outline[:, 0].max() * view.k
    words = f"Section, {plain_text(view.section.area)}: axis and -6 dB edges; below, {title(view)}"
    bare = dict(showgrid=False, zeroline=False)
    chart = go.Figure(
        [*traces(view, ("section:",), "x", "y"), *traces(view, ("along",), "x", "y2")]
    )
    return chart.update_layout(
        **LOOK,
        height=380,
        title=dict(text=f"{words} along the rows", x=0.01, font=dict(size=13)),
        xaxis=dict(range=[-0.02 * wide, 1.02 * wide], title=f"[{view.units}]", anchor="y2", **bare),
        yaxis=dict(domain=[0.42, 1.0], scaleanchor="x", constrain="domain", **bare),
        yaxis2=dict(
            domain=[0.0, 0.32],
            range=list(view.range),
            showgrid=True,
            gridcolor=GRID,
            zeroline=False,
        ),
        coloraxis=dict(**colors(view), showscale=False),
    )
