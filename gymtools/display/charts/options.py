"""Options as one figure: headline figures as lines side by side, and small maps on equal scales."""

from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from ...design.options import HEADLINES, dominated
from .. import scene
from ..theme import FAINT, FONT, GROUP_COLORS, INK, PAPER, QUIET, plain_text, room_words
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
        At least one
    views : sequence of View
        What the map of each shows, the same quantity in the same use
    others : sequence of dict
        Headlines of designs that are shown faintly behind

    Returns
    -------
    figure : plotly.graph_objects.Figure
        Lines above, maps below; an option that another one betters in every figure is gray and says
        so
    """
    rows = int(np.ceil(len(options) / ACROSS))
    height = LINES + MAP * rows
    bottom = (MAP * rows + 0.13 * LINES) / height  # lower edge of the lines
    lines, names = _lines(options, others)
    chart = go.Figure(lines)
    notes, axes = [_note(_title(options, others), 0.0, 1.0), *names], {}
    for n, (option, view) in enumerate(zip(options, views, strict=True)):
        slot = _Slot(n, rows, height)
        chart.add_traces(plans.traces(view, plans.MAPS, slot.x, slot.y))
        axes |= slot.axes(view)
        notes.append(slot.note(option, view))
    bar = dict(x=0.955, xanchor="left", y=bottom - 0.08, yanchor="top")
    bar |= dict(len=200, lenmode="pixels", thickness=12)
    chart.update_layout(
        height=height,
        autosize=True,
        margin=dict(l=60, r=20, t=30, b=10),
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        showlegend=False,
        font=dict(family=FONT, size=12, color=INK),
        annotations=notes,
        coloraxis=dict(**plans.colors(views[0]), colorbar=bar),
        **_line_axes(bottom),
        **axes,
    )
    return chart


def _title(options, others):
    rooms = {room_words(o) for o in options}
    words = rooms.pop() if len(rooms) == 1 else "some with few rays, some with all"
    return f"<b>Figures of the worst use, better is up</b>; {words}"


def _line_axes(bottom):
    """Axes of the lines: headlines across, from worst to best up."""
    heads = [
        f"{h.words}{f' [{h.unit}]' if h.unit else ''}".replace(", ", ",<br>") for h in HEADLINES
    ]
    return dict(
        xaxis=dict(
            domain=[0, 0.93],
            anchor="y",
            tickvals=list(range(len(HEADLINES))),
            tickangle=0,
            ticktext=heads,
            range=[-0.35, len(HEADLINES) - 0.3],
            showgrid=True,
            gridcolor=FAINT,
            zeroline=False,
        ),
        yaxis=dict(
            domain=[bottom, 0.985],
            anchor="x",
            range=[-0.12, 1.18],
            tickvals=[0, 1],
            ticktext=["worst", "best"],
            showgrid=False,
            zeroline=False,
        ),
    )


@dataclass(frozen=True)
class _Slot:
    """Where the small map of one option goes."""

    number: int
    rows: int
    height: float  # of the figure [px]

    @property
    def x(self):
        return f"x{self.number + 2}"

    @property
    def y(self):
        return f"y{self.number + 2}"

    @property
    def corner(self):
        """Left and upper edge, as shares of the figure."""
        row, column = divmod(self.number, ACROSS)
        return column / ACROSS, (self.rows - row) * MAP / self.height - 0.035

    def axes(self, view):
        left, top = self.corner
        across, up = scene.plan_range(view)
        return {
            f"xaxis{self.number + 2}": dict(
                domain=[left, left + 0.92 / ACROSS], anchor=self.y, range=across, **plans.BARE
            ),
            f"yaxis{self.number + 2}": dict(
                domain=[top - MAP / self.height + 0.075, top],
                anchor=self.x,
                scaleanchor=self.x,
                range=up,
                **plans.BARE,
            ),
        }

    def note(self, option, view):
        name, use = plain_text(option.name), plain_text(view.result.use.name)
        return _note(f"<b>{name}</b>, {use}: {plans.title(view)}", *self.corner)


def _lines(options, others):
    """A line for each option over all headlines, scaled from the worst to the best of all that are
    shown, and the names at their ends.
    """
    scale = _scale([*(o.headlines for o in options), *others])
    lines, ends = ([_others(others, scale)] if others else []), []
    written = [[] for _ in HEADLINES]  # heights at which a figure stands, headline by headline
    for n, (option, better) in enumerate(zip(options, dominated(options), strict=True)):
        color = QUIET if better else GROUP_COLORS[n % len(GROUP_COLORS)]
        heights = _heights(option.headlines, scale)
        end = next((y for y in reversed(heights) if y is not None), 0.5)
        name = f"<b>{_short(option.name)}</b>"
        name += f"<br>(bettered by {_short(better)})" if better else ""
        ends.append((end, name, color))
        line = dict(color=color, width=1.5 if better else 3, dash=DASHES[n % len(DASHES)])
        lines.append(_line(option, heights, written, line))
    return lines, _names(ends)


def _scale(everything):
    """Worst and best of each headline, by its key."""
    found = {}
    for h in HEADLINES:
        values = [e[h.key] * h.better for e in everything if e[h.key] is not None]
        found[h.key] = (min(values), max(values)) if values else (0, 0)
    return found


def _heights(headlines, scale):
    """0 for the worst of all, 1 for the best; None where there is no figure."""

    def height(h):
        (low, high), value = scale[h.key], headlines[h.key]
        if value is None:
            return None
        return 0.5 if high == low else (value * h.better - low) / (high - low)

    return [height(h) for h in HEADLINES]


def _others(others, scale):
    """Designs that are shown faintly behind, as one line with gaps."""
    across = list(range(len(HEADLINES)))
    return go.Scatter(
        name="generated",
        x=[x for _ in others for x in (*across, None)],
        y=[y for headlines in others for y in (*_heights(headlines, scale), None)],
        mode="lines",
        hoverinfo="skip",
        line=dict(color=FAINT, width=1),
    )


def _line(option, heights, written, line):
    """One option's line; of figures that lie together one is written."""
    words = [plain_text(h.text(option.headlines[h.key], option.currency)) for h in HEADLINES]
    shown = []
    for text, y, there in zip(words, heights, written, strict=True):
        free = y is not None and all(abs(y - other) > TOGETHER for other in there)
        there += [y] if free else []
        shown.append(text if free else "")
    return go.Scatter(
        name=plain_text(option.name),
        x=list(range(len(HEADLINES))),
        y=heights,
        mode="lines+markers+text",
        text=shown,
        customdata=words,
        textposition="top right",
        cliponaxis=False,
        line=line,
        marker=dict(size=7),
        textfont=dict(size=11, color=line["color"]),
        hovertemplate=f"{plain_text(option.name)}: %{{customdata}}<extra></extra>",
        showlegend=False,
    )


def _names(ends):
    """Names at the ends of the lines, moved apart where they would meet."""
    ends, places, low, high = sorted(ends), [], -1.0, TOP + SPACED
    for y, *_ in ends:
        low = max(y, low + SPACED)
        places.append(low)
    for k in reversed(range(len(places))):  # a pile that has grown over the top is let down again
        places[k] = high = min(places[k], high - SPACED)
    return [
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
        for (_, text, color), y in zip(ends, places, strict=True)
    ]


def _short(name):
    return plain_text(name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…")


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
