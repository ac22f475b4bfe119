"""One seat closely: its arrivals, octaves, limits and comb filter."""

from html import escape

import ipywidgets as w
import numpy as np

from ...acoustics import seat as seats
from .. import tables
from ..charts import seat as seat_chart
from ..live import FigureFrame
from .controls import Choice, Number, Words
from .page import quiet
from .section import Section

HINT = (
    "Click a seat in the plan, or type row and seat. Points are half a meter apart: of a seat"
    " between two of them the nearer is shown."
)


SEAT_TABS = ("seat", "listen")  # keys of the tabs that are of one seat


def looked_at(state, result):
    """The seat that is looked at.

    Parameters
    ----------
    state : PanelState
        Says which, or nothing
    result : Result
        Has the seats

    Returns
    -------
    index : int or None
        Of the result's points; the quietest of the first area where a tab of one seat is open and
        no seat has been chosen [-]
    """
    if state.seat is not None:
        return min(state.seat, len(result.points) - 1)
    return result.areas[0].quietest if state.tab in SEAT_TABS else None


def numbered(result, index):
    """Area, row and seat of a point.

    Parameters
    ----------
    result : Result
        Has the seats
    index : int
        Of the result's points [-]

    Returns
    -------
    area, row, seat : str, int, int
        Rows and seats from 1, as they are counted on site
    """
    name = str(result.area[index])
    first = int(np.flatnonzero(result.area == name)[0])
    return name, *result.configuration.areas[name].numbers(index - first)


def index_of(result, area, row, seat):
    """Index of a seat by area, row and number.

    Parameters
    ----------
    result : Result
        Has the seats
    area : str
        Name of the area
    row, seat : int
        From 1; the last one where there are fewer [-]

    Returns
    -------
    index : int
        Of the result's points: the one nearest to the seat [-]
    """
    there = result.configuration.areas[area]
    first = int(np.flatnonzero(result.area == area)[0])
    return first + there.index_at(row, seat)


def next_index(result, index, row, seat):
    """Index of a seat of the same area that somebody has typed or stepped to.

    Parameters
    ----------
    result : Result
        Has the seats
    index : int
        Of the result's points: what has been looked at [-]
    row, seat : int
        From 1 [-]

    Returns
    -------
    index : int
        Where the seat has no point of its own and the nearest is the one that was looked at, the
        point beyond: a step never stays where it was [-]
    """
    area, _, before = numbered(result, index)
    found = index_of(result, area, row, seat)
    there = result.configuration.areas[area]
    if found != index or seat in (before, there.seat_numbers.count):
        return found
    column = (index - result.spans[area].start) % there.columns
    step = 1 if seat > before else -1
    return index + step * (0 <= column + step < there.columns)


class SeatTab(Section):
    """What one seat hears, chosen by its numbers or by a click."""

    key, title = "seat", "One seat"

    def _begin(self):
        self.words, self.stand = w.HTML(), w.VBox(layout={"width": "100%"})
        self._chosen = w.HBox()

    @property
    def figure(self):
        """The live figure; None until the tab has been opened."""
        return self.stand.children[0].figure if self.stand.children else None

    def _make(self):
        return w.VBox([self._chosen, self.words, self.stand])

    def _board_box(self):
        return self._chosen

    def _controls(self, state, answer):
        index = looked_at(state, answer.result)
        if index is None:
            return []
        area, row, seat = numbered(answer.result, index)
        there = answer.result.configuration.areas[area]
        looks = dict(low=1, whole=True, wide="170px")

        def look(row=row, seat=seat):
            result = self.panel.result
            at = min(index, len(result.points) - 1)
            self.panel.look_at(next_index(result, at, int(row), int(seat)))

        return [
            Choice(
                key="seat area",
                value=area,
                label="Area",
                options=tuple(answer.result.configuration.areas),
                width="260px",
                act=lambda new: self.panel.look_at(index_of(self.panel.result, new, row, seat)),
            ),
            Number(
                key="row",
                value=int(row),
                label="Row",
                high=there.row_numbers.count,
                act=lambda n: look(row=n),
                **looks,
            ),
            Number(
                key="seat",
                value=int(seat),
                label="Seat",
                high=there.seat_numbers.count,
                act=lambda n: look(seat=n),
                **looks,
            ),
            Words(key="hint", value=quiet(HINT)),
        ]

    def _fill(self, state, answer):
        result, index = answer.result, looked_at(state, answer.result)
        found = seats.inspect_seat(result, index)
        limit = found.limited_by
        self.words.value = tables.card(
            f"<p><b>{escape(found.place)}</b>: STI {found.sti:.2f},"
            f" {result.speech_dba[index]:.0f} dB(A). What limits it most:"
            f" <b>{seats.REMOVED[limit]}</b> (without it {found.sti_without[limit]:.2f}).</p>"
        )
        if self.figure is None:  # made when first opened: a second live figure is heavy to draw
            self.stand.children = [FigureFrame(seat_chart.figure(found))]
            return
        with self.figure.batch_update():
            for trace, new in zip(self.figure.data, seat_chart.layers(found), strict=True):
                trace.update(new)
