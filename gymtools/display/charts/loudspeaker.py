"""A loudspeaker looked at closely: polars, -6 dB angles and directivity index over frequency, its
balloon in 3D.
"""

import numpy as np
import plotly.graph_objects as go

from ...physics.balloons import edge_angles
from ...physics.bands import LABELS
from ...physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions
from ..theme import FAINT, FONT, GRID, GROUP_COLORS, INK, LEVEL_SCALE, PAPER, octave_text

LOWEST = -30.0  # of polars and balloon [dB]
POLAR = (1, 3, 4, 5)  # octaves drawn as polars: 250 Hz, 1, 2 and 4 kHz
DASHES = ("dot", "dashdot", "solid", "dash")
HEIGHT = 430
COLUMNS = (0.0, 0.25, 0.52, 0.78)  # left ends of the four charts


def mark(kind):
    """Whether a type was measured, in words that stand on every view.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type

    Returns
    -------
    words : str
        With its source
    """
    if kind.measured_db is not None:
        return f"measured ({kind.source})"
    return "generic: made from nominal angles, not measured"


def layers(kind, band=4):
    """Traces of the view.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type
    band : int
        Octave of the balloon in 3D [-]

    Returns
    -------
    traces : list
        Polars in both planes, angles, index, balloon
    """
    return [*_polars(kind.balloon_db), *_angles(kind), _balloon(kind.balloon_db[..., band])]


def _polars(balloon):
    """Levels around the loudspeaker, seen from above and from the side, octave by octave."""
    zero, level = len(AZIMUTH_DEG) // 2, len(ELEVATION_DEG) // 2
    # up over the top, back, under
    around = np.concatenate(
        [balloon[zero, level:], balloon[0, -2::-1], balloon[zero, 1 : level + 1]]
    )
    angle = np.arange(len(around)) * 5.0
    for color, dash, b in zip(GROUP_COLORS, DASHES, POLAR, strict=False):
        octave = octave_text(LABELS[b])
        for subplot, theta, r in (
            ("polar", AZIMUTH_DEG, balloon[:, level, b]),
            ("polar2", angle, around[:, b]),
        ):
            yield go.Scatterpolar(
                name=octave,
                subplot=subplot,
                theta=theta,
                r=np.maximum(r, LOWEST),
                mode="lines",
                line=dict(color=color, width=2, dash=dash),
                showlegend=subplot == "polar",
                hovertemplate=f"{octave}: %{{r:.1f}} dB at %{{theta}}°<extra></extra>",
            )


def _angles(kind):
    """-6 dB angles and directivity index over frequency."""
    horizontal, vertical = edge_angles(kind.balloon_db)
    for name, values, axis, style in (
        ("horizontal -6 dB angle", horizontal, "y", dict(color=GROUP_COLORS[1])),
        ("vertical -6 dB angle", vertical, "y", dict(color=GROUP_COLORS[0], dash="dash")),
        ("directivity index", kind.index_db, "y2", dict(color=INK)),
    ):
        yield go.Scatter(
            name=name,
            x=list(LABELS),
            y=values,
            yaxis=axis,
            xaxis="x" if axis == "y" else "x2",
            mode="lines+markers",
            line=style,
            showlegend=axis == "y",
        )


def _balloon(level_db):
    """One octave in 3D: how far a direction reaches is its level."""
    x, y, z = np.moveaxis(directions() * np.maximum(level_db - LOWEST, 0)[..., None], -1, 0)
    return go.Surface(
        name="balloon",
        x=x,
        y=y,
        z=z,
        surfacecolor=np.maximum(level_db, LOWEST),
        cmin=LOWEST,
        cmax=0,
        colorscale=LEVEL_SCALE,
        hoverinfo="skip",
        colorbar=dict(title="dB", thickness=10, len=0.7, x=1.0),
    )


def figure(kind, band=4):
    """The whole view.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type
    band : int
        Octave of the balloon in 3D [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        Four charts in a row
    """
    titles = (
        "<b>Horizontal</b>, seen from above [dB]",
        "<b>Vertical</b> [dB]",
        "<b>Angles and index</b>",
        f"<b>Balloon</b>, {octave_text(LABELS[band])}",
    )
    chart = go.Figure(layers(kind, band))
    chart.update_layout(
        height=HEIGHT,
        autosize=True,
        margin=dict(l=30, r=20, t=40, b=40),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font=dict(family=FONT, size=11, color=INK),
        legend=dict(orientation="h", y=-0.06, x=0),
        annotations=[_note(text, x) for text, x in zip(titles, COLUMNS, strict=True)],
        **_axes(),
    )
    return chart


def _axes():
    """Axes of the four charts."""
    radial = dict(range=[LOWEST, 3], tickvals=[-24, -18, -12, -6, 0])
    polar = dict(
        radialaxis=dict(**radial, tickfont=dict(size=9), gridcolor=FAINT),
        angularaxis=dict(gridcolor=FAINT, dtick=30, tickfont=dict(size=9)),
        bgcolor=PAPER,
    )
    plain = dict(showgrid=True, gridcolor=GRID, zeroline=False, linecolor=FAINT)
    across = dict(domain=[0.52, 0.74], title="octave [Hz]", **plain)
    hidden = dict(visible=False)
    return dict(
        polar=dict(domain=dict(x=[0, 0.22], y=[0.05, 0.9]), **polar),
        polar2=dict(domain=dict(x=[0.25, 0.47], y=[0.05, 0.9]), **polar),
        xaxis=dict(anchor="y", **across),
        yaxis=dict(
            domain=[0.52, 0.93], anchor="x", range=[0, 370], title="-6 dB angle [°]", **plain
        ),
        xaxis2=dict(anchor="y2", **across),
        yaxis2=dict(domain=[0.02, 0.4], anchor="x2", range=[0, 20], title="index [dB]", **plain),
        scene=dict(
            domain=dict(x=[0.77, 0.97], y=[0, 0.93]),
            xaxis=hidden,
            yaxis=hidden,
            zaxis=hidden,
            aspectmode="data",
        ),
    )


def _note(text, x):
    return dict(
        text=text,
        x=x,
        y=1.0,
        xref="paper",
        yref="paper",
        xanchor="left",
        yanchor="bottom",
        showarrow=False,
        font=dict(size=12, color=INK),
    )
