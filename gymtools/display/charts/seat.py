"""One seat in a picture: arrivals as stems, octaves, what limits its intelligibility, and its comb
filter.
"""

import numpy as np
import plotly.graph_objects as go

from ...acoustics.seat import REMOVED
from ...physics.bands import LABELS
from ..theme import FAINT, FONT, GRID, GROUP_COLORS, INK, PAPER, QUIET, plain_text

HEIGHT = 420
FLOOR = -30.0  # where stems begin [dB]
NAMED = 4  # strongest arrivals that carry their name
TITLES = (
    (0.0, "Arrivals: ● direct, ◇ first reflections"),
    (0.34, "Octaves: … direct, ― all, - - noise"),
    (0.6, "STI with one thing removed"),
    (0.835, "Comb filter, direct sounds"),
)


def layers(seat):
    """What moves in every trace, in the order of ``figure``.

    Parameters
    ----------
    seat : Seat
        One seat

    Returns
    -------
    updates : list of dict
        Stems, their heads, three lines of octaves, bars of STI, comb
    """
    return [
        _stems(seat),
        _heads(seat),
        dict(y=np.asarray(seat.direct_db, float)),
        dict(y=np.asarray(seat.total_db, float)),
        dict(y=np.asarray(seat.noise_db, float)),
        _removed(seat),
        dict(x=seat.comb_hz, y=np.maximum(seat.comb_db, -25)),
    ]


def _stems(seat):
    n = len(seat.arrival_ms)
    y = np.stack([np.full(n, FLOOR), seat.level_db, np.full(n, np.nan)], axis=1).ravel()
    return dict(x=np.repeat(seat.arrival_ms, 3).astype(np.float32), y=y.astype(np.float32))


def _heads(seat):
    direct = list(seat.direct)
    names = [plain_text(name) for name in seat.names]
    named = np.argsort(-seat.level_db)[:NAMED]
    return dict(
        x=seat.arrival_ms,
        y=seat.level_db,
        text=[name if k in named else "" for k, name in enumerate(names)],
        hovertext=[
            f"{name}: {t:.0f} ms, {level:.1f} dB"
            for name, t, level in zip(names, seat.arrival_ms, seat.level_db, strict=True)
        ],
        marker=dict(
            color=[GROUP_COLORS[1] if d else GROUP_COLORS[4] for d in direct],
            symbol=["circle" if d else "diamond-open" for d in direct],
        ),
    )


def _removed(seat):
    """STI as it is and without one thing at a time, the first on top."""
    found = {"as it is": seat.sti} | {
        f"without {REMOVED[w]}": sti for w, sti in seat.sti_without.items()
    }
    names = list(found)[::-1]
    values = [found[name] for name in names]
    return dict(x=values, y=names, text=[f"{value:.2f}" for value in values])


def figure(seat):
    """Picture of one seat.

    Parameters
    ----------
    seat : Seat
        One seat

    Returns
    -------
    figure : plotly.graph_objects.Figure
        Four small charts in a row
    """
    chart = go.Figure(_traces(layers(seat)))
    chart.update_layout(
        height=HEIGHT,
        autosize=True,
        margin=dict(l=50, r=10, t=40, b=45),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font=dict(family=FONT, size=12, color=INK),
        showlegend=False,
        annotations=[_note(text, x) for x, text in TITLES],
        **_axes(),
    )
    return chart


def _traces(data):
    """Traces with their styles and what moves of each."""
    heads = dict(
        mode="markers+text",
        textposition="top right",
        hoverinfo="text",
        textfont=dict(size=10),
        cliponaxis=False,
    )
    octaves = dict(mode="lines+markers", x=list(LABELS), xaxis="x2", yaxis="y2")
    direct, noise = (
        dict(color=GROUP_COLORS[1], dash="dot"),
        dict(color=GROUP_COLORS[4], dash="dash"),
    )
    bars = dict(orientation="h", xaxis="x3", yaxis="y3", marker=dict(color=GROUP_COLORS[5]))
    stems = dict(mode="lines", hoverinfo="skip", line=dict(color=QUIET, width=1))
    comb = dict(mode="lines", xaxis="x4", yaxis="y4", line=dict(color=INK, width=1))
    return [
        go.Scatter(name="stems", **stems, **data[0]),
        go.Scatter(name="arrivals", **heads, **data[1]),
        go.Scatter(name="direct", line=direct, **octaves, **data[2]),
        go.Scatter(name="all sound", line=dict(color=INK), **octaves, **data[3]),
        go.Scatter(name="noise", line=noise, **octaves, **data[4]),
        go.Bar(name="sti", **bars, **data[5]),
        go.Scatter(name="comb", **comb, **data[6]),
    ]


def _axes():
    """Axes of the four charts."""
    plain = dict(gridcolor=GRID, linecolor=FAINT, zeroline=False)
    return dict(
        xaxis=dict(domain=[0, 0.29], title="after the first [ms]", rangemode="tozero", **plain),
        yaxis=dict(range=[FLOOR, 5], title="re the strongest [dB]", **plain),
        xaxis2=dict(
            domain=[0.34, 0.52], anchor="y2", title="octave [Hz]", type="category", **plain
        ),
        yaxis2=dict(anchor="x2", title="level [dB]", **plain),
        xaxis3=dict(domain=[0.68, 0.78], anchor="y3", range=[0, 1], title="STI", **plain),
        yaxis3=dict(anchor="x3", **plain),
        xaxis4=dict(domain=[0.835, 1], anchor="y4", type="log", title="frequency [Hz]", **plain),
        yaxis4=dict(anchor="x4", range=[-25, 10], title="re energy sum [dB]", **plain),
    )


def _note(text, x):
    return dict(
        text=f"<b>{text}</b>",
        x=x,
        y=1.02,
        xref="paper",
        yref="paper",
        xanchor="left",
        yanchor="bottom",
        showarrow=False,
    )
