"""A loudspeaker looked at closely: polars, -6 dB angles and directivity index over frequency, its
balloon in 3D.
"""

import numpy as np
import plotly.graph_objects as go

from ...physics.balloons import edge_angles
from ...physics.bands import LABELS
from ...physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions
from ..theme import FAINT, FONT, GROUP_COLORS, INK, LEVEL_SCALE, PAPER

LOWEST = -30.0  # of polars and balloon [dB]
POLAR = (1, 3, 4, 5)  # octaves drawn as polars: 250 Hz, 1, 2 and 4 kHz
DASHES = ("dot", "dashdot", "solid", "dash")
HEIGHT = 430


def mark(kind):
    """Whether a type was measured, in words that stand on every view.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type [-]

    Returns
    -------
    words : str
        With its source
    """
    return (
        f"measured ({kind.source})"
        if kind.measured_db is not None
        else "generic: made from nominal angles, not measured"
    )


def layers(kind, band=4):
    """Traces of the view.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type [-]
    band : int
        Octave of the balloon in 3D [-]

    Returns
    -------
    traces : list
        Polars in both planes, angles, index, balloon
    """
    balloon, zero, level = kind.balloon_db, len(AZIMUTH_DEG) // 2, len(ELEVATION_DEG) // 2
    # up over the top, back, under
    around = np.concatenate(
        [balloon[zero, level:], balloon[0, -2::-1], balloon[zero, 1 : level + 1]]
    )
    angle = np.arange(len(around)) * 5.0
    traces = []
    for n, b in enumerate(POLAR):
        line = dict(color=GROUP_COLORS[n], width=2, dash=DASHES[n])
        for name, subplot, theta, r in (
            ("horizontal", "polar", AZIMUTH_DEG, balloon[:, level, b]),
            ("vertical", "polar2", angle, around[:, b]),
        ):
            traces.append(
                go.Scatterpolar(
                    name=f"{LABELS[b]} Hz",
                    subplot=subplot,
                    theta=theta,
                    r=np.maximum(r, LOWEST),
                    mode="lines",
                    line=line,
                    showlegend=name == "horizontal",
                    hovertemplate=f"{LABELS[b]} Hz: %{{r:.1f}} dB at %{{theta}}°<extra></extra>",
                )
            )
    h, v = edge_angles(balloon)
    for name, values, axis, style in (
        ("horizontal -6 dB angle", h, "y", dict(color=GROUP_COLORS[1])),
        ("vertical -6 dB angle", v, "y", dict(color=GROUP_COLORS[0], dash="dash")),
        ("directivity index", kind.index_db, "y2", dict(color=INK)),
    ):
        traces.append(
            go.Scatter(
                name=name,
                x=list(LABELS),
                y=values,
                yaxis=axis,
                xaxis="x" if axis == "y" else "x2",
                mode="lines+markers",
                line=style,
                showlegend=axis == "y",
            )
        )
    reach = np.maximum(balloon[..., band] - LOWEST, 0)
    x, y, z = np.moveaxis(directions() * reach[..., None], -1, 0)
    traces.append(
        go.Surface(
            name="balloon",
            x=x,
            y=y,
            z=z,
            surfacecolor=np.maximum(balloon[..., band], LOWEST),
            cmin=LOWEST,
            cmax=0,
            colorscale=LEVEL_SCALE,
            hoverinfo="skip",
            colorbar=dict(title="dB", thickness=10, len=0.7, x=1.0),
        )
    )
    return traces


def figure(kind, band=4):
    """The whole view.

    Parameters
    ----------
    kind : LoudspeakerType
        Any type [-]
    band : int
        Octave of the balloon in 3D [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        Four charts in a row
    """
    polar = dict(
        radialaxis=dict(
            range=[LOWEST, 3],
            tickvals=[-24, -18, -12, -6, 0],
            tickfont=dict(size=9),
            gridcolor=FAINT,
        ),
        angularaxis=dict(gridcolor=FAINT, dtick=30, tickfont=dict(size=9)),
        bgcolor=PAPER,
    )
    chart = go.Figure(layers(kind, band))

    def note(text, x):
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

    hidden = dict(visible=False)
    plain = dict(showgrid=True, gridcolor="#eef1f4", zeroline=False, linecolor=FAINT)
    chart.update_layout(
        height=HEIGHT,
        autosize=True,
        margin=dict(l=30, r=20, t=40, b=40),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font=dict(family=FONT, size=11, color=INK),
        legend=dict(orientation="h", y=-0.06, x=0),
        polar=dict(domain=dict(x=[0, 0.22], y=[0.05, 0.9]), **polar),
        polar2=dict(domain=dict(x=[0.25, 0.47], y=[0.05, 0.9]), **polar),
        xaxis=dict(domain=[0.52, 0.74], anchor="y", title="octave [Hz]", **plain),
        yaxis=dict(
            domain=[0.52, 0.93], anchor="x", range=[0, 370], title="-6 dB angle [°]", **plain
        ),
        xaxis2=dict(domain=[0.52, 0.74], anchor="y2", title="octave [Hz]", **plain),
        yaxis2=dict(domain=[0.02, 0.4], anchor="x2", range=[0, 20], title="index [dB]", **plain),
        scene=dict(
            domain=dict(x=[0.77, 0.97], y=[0, 0.93]),
            xaxis=hidden,
            yaxis=hidden,
            zaxis=hidden,
            aspectmode="data",
        ),
        annotations=[
            note("<b>Horizontal</b>, seen from above [dB]", 0.0),
            note("<b>Vertical</b> [dB]", 0.25),
            note("<b>Angles and index</b>", 0.52),
            note(f"<b>Balloon</b>, {LABELS[band]} Hz", 0.78),
        ],
    )
    return chart
