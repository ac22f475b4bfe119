"""Options as one figure: headline figures as lines side by side, and small maps on equal scales."""

import numpy as np
import plotly.graph_objects as go

from ...design.options import HEADLINES, dominated
from .. import scene
from ..theme import FAINT, FONT, GROUP_COLORS, INK, PAPER, QUANTITIES, QUIET, ROOMS
from . import plans

ACROSS = 3  # small maps in a row
LINES, MAP = 320, 290  # height of the lines, and of a row of maps [px]
# of the height of the lines: figures that lie together, names that would meet
TOGETHER, SPACED = (0.09, 0.1)
TOP, LONGEST = 1.15, 34  # highest place of a name, and its letters
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")


def figure(options, views, others=()):
    """All options in one figure.

    Parameters
    ----------
    options : sequence of Option
        At least one [-]
    views : sequence of View
        What the map of each shows, the same quantity in the same use [-]
    others : sequence of dict
        Headlines of designs that are shown faintly behind [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        Lines above, maps below; beaten options are gray and say so
    """
    rows = int(np.ceil(len(options) / ACROSS))
    height = LINES + MAP * rows
    top = MAP * rows / height + 0.13 * LINES / height  # lower edge of the lines
    lines, names = _lines(options, others)
    chart = go.Figure(lines)
    quantity, (low, high) = QUANTITIES[views[0].quantity], views[0].range
    rooms = {o.room for o in options} | ({"statistical"} if others else set())
    notes = [
        _note(
            "<b>Figures of the worst use, better is up</b>;"
            f" {ROOMS[options[0].room] if len(rooms) == 1 else 'some by formula, some traced'}",
            0.0,
            1.0,
        )
    ]
    axes = {}
    for n, (o, view) in enumerate(zip(options, views, strict=True)):
        row, column = divmod(n, ACROSS)
        x0, y1 = column / ACROSS, (rows - row) * MAP / height - 0.035
        chart.add_traces(plans.traces(view, plans.MAPS, f"x{n + 2}", f"y{n + 2}"))
        ends = scene.plan_range(view)
        axes[f"xaxis{n + 2}"] = dict(
            domain=[x0, x0 + 0.92 / ACROSS], anchor=f"y{n + 2}", range=ends[0], **plans.BARE
        )
        axes[f"yaxis{n + 2}"] = dict(
            domain=[y1 - MAP / height + 0.075, y1],
            anchor=f"x{n + 2}",
            scaleanchor=f"x{n + 2}",
            range=ends[1],
            **plans.BARE,
        )
        notes.append(
            _note(
                f"<b>{scene.plain(o.name)}</b>: {scene.plain(view.result.use.name)},"
                f" {quantity.label}{f' [{view.unit}]' if view.unit else ''}",
                x0,
                y1,
            )
        )
    chart.update_layout(
        height=height,
        autosize=True,
        margin=dict(l=60, r=20, t=30, b=10),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        showlegend=False,
        font=dict(family=FONT, size=12, color=INK),
        annotations=notes + names,
        xaxis=dict(
            domain=[0, 0.93],
            anchor="y",
            tickvals=list(range(len(HEADLINES))),
            tickangle=0,
            ticktext=[
                f"{h.words}{f' [{h.unit}]' if h.unit else ''}".replace(", ", ",<br>")
                for h in HEADLINES
            ],
            range=[-0.35, len(HEADLINES) - 0.3],
            showgrid=True,
            gridcolor=FAINT,
            zeroline=False,
        ),
        yaxis=dict(
            domain=[top, 0.985],
            anchor="x",
            range=[-0.12, 1.18],
            tickvals=[0, 1],
            ticktext=["worst", "best"],
            showgrid=False,
            zeroline=False,
        ),
        coloraxis=dict(
            colorscale=quantity.scale,
            cmin=low,
            cmax=high,
            colorbar=dict(
                x=0.955,
                xanchor="left",
                y=top - 0.08,
                yanchor="top",
                len=200,
                lenmode="pixels",
                thickness=12,
            ),
        ),
        **axes,
    )
    return chart


def _lines(options, others):
    """A line for each option over all headlines, scaled from the worst to the best of all that are
    shown, and the names at their ends.
    """
    everything = [*(o.headlines for o in options), *others]
    spread = {}
    for h in HEADLINES:
        values = [e[h.key] * h.better for e in everything if e[h.key] is not None]
        spread[h.key] = (min(values), max(values)) if values else (0, 0)

    def heights(found):
        for h in HEADLINES:
            (low, high), value = spread[h.key], found[h.key]
            yield (
                None
                if value is None
                else 0.5
                if high == low
                else (value * h.better - low) / (high - low)
            )

    across, lines, ends = list(range(len(HEADLINES))), [], []
    if others:
        x = [v for _ in others for v in (*across, None)]
        y = [v for found in others for v in (*heights(found), None)]
        lines.append(
            go.Scatter(
                name="generated",
                x=x,
                y=y,
                mode="lines",
                hoverinfo="skip",
                line=dict(color=FAINT, width=1),
            )
        )
    labelled = [[] for _ in HEADLINES]
    for n, (o, by) in enumerate(zip(options, dominated(options), strict=True)):
        color, ys = (
            QUIET if by else GROUP_COLORS[n % len(GROUP_COLORS)],
            list(heights(o.headlines)),
        )
        words = [h.text(o.headlines[h.key]) for h in HEADLINES]
        shown = []
        for text, y, there in zip(
            words, ys, labelled, strict=True
        ):  # of figures that lie together one is written
            free = y is not None and all(abs(y - other) > TOGETHER for other in there)
            there += [y] if free else []
            shown.append(text if free else "")
        ends.append(
            (
                next((y for y in reversed(ys) if y is not None), 0.5),
                f"<b>{_short(o.name)}</b>" + (f"<br>(beaten by {_short(by)})" if by else ""),
                color,
            )
        )
        lines.append(
            go.Scatter(
                name=o.name,
                x=across,
                y=ys,
                mode="lines+markers+text",
                text=shown,
                customdata=words,
                textposition="top right",
                cliponaxis=False,
                line=dict(color=color, width=1.5 if by else 3, dash=DASHES[n % len(DASHES)]),
                marker=dict(size=7),
                textfont=dict(size=11, color=color),
                hovertemplate=f"{scene.plain(o.name)}: %{{customdata}}<extra></extra>",
                showlegend=False,
            )
        )
    return lines, _names(ends)


def _names(ends):
    """Names at the ends of the lines, moved apart where they would meet."""
    ends, places, low, high = sorted(ends), [], -1.0, TOP + SPACED
    for y, *_ in ends:
        low = max(y, low + SPACED)
        places.append(low)
    for k in reversed(range(len(places))):  # a pile that has grown over the top is let down again
        places[k] = high = min(places[k], high - SPACED)
    notes = []
    for (_, text, color), y in zip(ends, places, strict=True):
        notes.append(
            dict(
                text=text,
                x=len(HEADLINES) - 0.9,
                y=y,
                xref="x",
                yref="y",
                xanchor="left",
                showarrow=False,
                font=dict(size=12, color=color, family=FONT),
            )
        )
    return notes


def _short(name):
    return scene.plain(name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…")


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
        font=dict(size=12, color=INK, family=FONT),
    )
