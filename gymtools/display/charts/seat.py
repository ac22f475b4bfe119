"""One seat in a picture: arrivals as stems, octaves, what limits its clarity, and its
comb filter.
"""

import numpy as np
import plotly.graph_objects as go

from ...physics.bands import LABELS
from ..theme import FAINT, FONT, GROUP_COLORS, INK, PAPER, QUIET

HEIGHT = 420


def layers(seat):
    """What moves in every trace, in the order of ``figure``.

    Parameters
    ----------
    seat : Seat
        One seat [-]

    Returns
    -------
    updates : list of dict
        Stems, their heads, three bars of octaves, bars of clarity, comb
    """
    floor = -30.0
    n = len(seat.arrival_ms)
    stems_x = np.repeat(seat.arrival_ms, 3)
    stems_y = np.stack([np.full(n, floor), seat.level_db, np.full(n, np.nan)], axis=1).ravel()
    direct = [" off " not in name for name in seat.name]
    named = np.argsort(-seat.level_db)[:4]
    words = [name if k in named else "" for k, name in enumerate(seat.name)]
    hover = [
        f"{name}: {t:.0f} ms, {level:.1f} dB"
        for name, t, level in zip(seat.name, seat.arrival_ms, seat.level_db, strict=True)
    ]
    colors = [GROUP_COLORS[1] if d else GROUP_COLORS[4] for d in direct]
    symbols = ["circle" if d else "diamond-open" for d in direct]
    removed = {
        "as it is": seat.sti,
        **{f"without {what}": value for what, value in seat.without.items()},
    }
    names = list(removed)[::-1]
    return [
        dict(x=stems_x.astype(np.float32), y=stems_y.astype(np.float32)),
        dict(
            x=seat.arrival_ms,
            y=seat.level_db,
            text=words,
            hovertext=hover,
            marker=dict(color=colors, symbol=symbols),
        ),
        dict(y=np.asarray(seat.direct_db, float)),
        dict(y=np.asarray(seat.total_db, float)),
        dict(y=np.asarray(seat.noise_db, float)),
        dict(
            x=[removed[name] for name in names],
            y=names,
            text=[f"{removed[name]:.2f}" for name in names],
        ),
        dict(x=seat.comb_hz, y=np.maximum(seat.comb_db, -25)),
    ]


def figure(seat):
    """Picture of one seat.

    Parameters
    ----------
    seat : Seat
        One seat [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        Four small charts in a row
    """
    data = layers(seat)
    heads = dict(
        mode="markers+text",
        textposition="top right",
        hoverinfo="text",
        textfont=dict(size=10),
        cliponaxis=False,
    )
    bars = dict(mode="lines+markers", x=list(LABELS))
    chart = go.Figure(
        [
            go.Scatter(
                name="stems",
                mode="lines",
                hoverinfo="skip",
                line=dict(color=QUIET, width=1),
                **data[0],
            ),
            go.Scatter(name="arrivals", **heads, **data[1]),
            go.Scatter(
                name="direct",
                xaxis="x2",
                yaxis="y2",
                line=dict(color=GROUP_COLORS[1], dash="dot"),
                **bars,
                **data[2],
            ),
            go.Scatter(
                name="all sound", xaxis="x2", yaxis="y2", line=dict(color=INK), **bars, **data[3]
            ),
            go.Scatter(
                name="noise",
                xaxis="x2",
                yaxis="y2",
                line=dict(color=GROUP_COLORS[4], dash="dash"),
                **bars,
                **data[4],
            ),
            go.Bar(
                name="clarity",
                orientation="h",
                xaxis="x3",
                yaxis="y3",
                marker=dict(color=GROUP_COLORS[5]),
                **data[5],
            ),
            go.Scatter(
                name="comb",
                mode="lines",
                xaxis="x4",
                yaxis="y4",
                line=dict(color=INK, width=1),
                **data[6],
            ),
        ]
    )
    plain = dict(gridcolor="#eef1f4", linecolor=FAINT, zeroline=False)
    titles = (
        (0.0, "Arrivals: ● direct, ◇ first reflections"),
        (0.34, "Octaves: … direct, ― all, - - noise"),
        (0.6, "Clarity, one thing removed"),
        (0.835, "Comb filter, direct sounds"),
    )
    chart.update_layout(
        height=HEIGHT,
        autosize=True,
        margin=dict(l=50, r=10, t=40, b=45),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font=dict(family=FONT, size=12, color=INK),
        showlegend=False,
        xaxis=dict(domain=[0, 0.29], title="after the first [ms]", rangemode="tozero", **plain),
        yaxis=dict(range=[-30, 5], title="re the strongest [dB]", **plain),
        xaxis2=dict(
            domain=[0.34, 0.52], anchor="y2", title="octave [Hz]", type="category", **plain
        ),
        yaxis2=dict(anchor="x2", title="level [dB]", **plain),
        xaxis3=dict(domain=[0.68, 0.78], anchor="y3", range=[0, 1], title="STI", **plain),
        yaxis3=dict(anchor="x3", **plain),
        xaxis4=dict(domain=[0.835, 1], anchor="y4", type="log", title="frequency [Hz]", **plain),
        yaxis4=dict(anchor="x4", range=[-25, 10], title="re energy sum [dB]", **plain),
        annotations=[
            dict(
                text=f"<b>{text}</b>",
                x=x,
                y=1.02,
                xref="paper",
                yref="paper",
                xanchor="left",
                yanchor="bottom",
                showarrow=False,
            )
            for x, text in titles
        ],
    )
    return chart
