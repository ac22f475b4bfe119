"""What the picture looks at, and everything about it that more than one layer draws."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...acoustics.evaluate import Result
from ...acoustics.feedback import microphone_map, walking_map
from ...acoustics.throws import section, throws
from ...venue.seating import AudienceArea
from ..charts import maps
from ..theme import (
    GROUP_COLORS,
    LINES,
    QUANTITIES,
    QUIET,
    color_range,
    per_unit,
    plain_text,
    values,
)


@dataclass(frozen=True, kw_only=True)
class View:
    """What is looked at: a result, a quantity, a section through an area, in meters or feet."""

    result: Result
    quantity: str = "speech"
    area: str | None = None
    units: str = "m"
    walker: str = "hand-held wireless"  # microphone type of the map of feedback margin
    facing_deg: float | None = None  # where its talker looks; the worst direction when None
    microphone: str = ""  # open microphone whose feedback margin is shown; the type when empty
    seat: int | None = None  # index of a seat that is marked
    worst: bool = False  # the marked seat is the worst one of what is asked

    @property
    def scenario(self):
        """Design that was evaluated.

        Returns
        -------
        scenario : Scenario
            Of the result
        """
        return self.result.scenario

    @property
    def k(self):
        """Units of the drawing per meter.

        Returns
        -------
        k : float
            1, or 1/0.3048 in feet [1/m]
        """
        return 1 / per_unit(self.units)

    @property
    def on_foot(self):
        """Whether the map shows where a microphone may walk instead of what seats hear.

        Returns
        -------
        on_foot : bool
            True for the feedback margin
        """
        return self.quantity == "feedback_margin"

    @cached_property
    def walks(self):
        """Feedback margin over the floor and the stages.

        Returns
        -------
        walks : list of MicrophoneSummary
            One per floor on which the microphone may walk
        """
        if self._microphone is not None:
            return microphone_map(self.result, self._microphone.microphone)
        return walking_map(self.result, self.walker, self.facing_deg)

    @cached_property
    def _microphone(self):
        """Feedback margin of the microphone that is asked for, where it is open; else None."""
        if not self.on_foot:
            return None
        found = (m for m in self.result.microphones if m.microphone.name == self.microphone)
        return next(found, None)

    @property
    def walker_name(self):
        """What the map of the feedback margin is of, in words.

        Returns
        -------
        name : str
            A microphone, or a type of microphone
        """
        return self.walker if self._microphone is None else self._microphone.microphone.name

    @property
    def marked(self):
        """What is marked: the seat that is looked at, or where a microphone is worst.

        Returns
        -------
        marked : tuple or None
            Words and position, the latter of the shape (3,) [m]; None where nothing is
        """
        if self.on_foot:
            m = self._microphone
            if m is None:
                return None
            return f"worst: {m.margin_db[m.worst]:+.1f} dB", m.positions[m.worst]
        if self.seat is None:
            return None
        words = "worst seat" if self.worst else "picked seat"
        return words, self.result.points[self.seat]

    @cached_property
    def areas(self):
        """Areas that carry the map: where people listen, or where a microphone walks.

        Returns
        -------
        areas : list of AudienceArea
            In the order of ``values``
        """
        if self.on_foot:
            return [
                AudienceArea(m.microphone.name, "walk", m.positions, *m.shape, 0.0)
                for m in self.walks
            ]
        return list(self.result.configuration.areas.values())

    @cached_property
    def values(self):
        """Quantity at every point of the map.

        Returns
        -------
        values : ndarray
            (point,), float32 [unit of the quantity]
        """
        if self.on_foot:
            return np.concatenate([m.margin_db for m in self.walks]).astype(np.float32)
        found = values(self.result, self.quantity)
        return found * np.float32(self.k) if self.quantity == "distance" else found

    @property
    def step(self):
        """Distance between contour lines.

        Returns
        -------
        step : float
            Ten feet for distances in feet [unit of the quantity]
        """
        if self.quantity == "distance" and self.units == "ft":
            return 10.0
        return QUANTITIES[self.quantity].step

    @property
    def range(self):
        """Ends of the color scale.

        Returns
        -------
        low, high : tuple of float
            They follow the use and its target [unit of the quantity]
        """
        low, high = color_range(self.result, self.quantity)
        return (low, 100.0) if self.quantity == "distance" and self.units == "ft" else (low, high)

    @property
    def unit(self):
        """Unit on the color scale.

        Returns
        -------
        unit : str
            Empty for STI
        """
        return self.units if self.quantity == "distance" else QUANTITIES[self.quantity].unit

    def value_text(self, value):
        """Value as a contour label.

        Parameters
        ----------
        value : float
            Of the quantity [unit of the quantity]

        Returns
        -------
        text : str
            Without its unit
        """
        return f"{value:.{QUANTITIES[self.quantity].digits}f}"

    def distance_text(self, meters):
        """Distance as a short label.

        Parameters
        ----------
        meters : float
            Any distance [m]

        Returns
        -------
        text : str
            With the unit of the drawing
        """
        return f"{meters:.1f} m" if self.units == "m" else f"{meters * self.k:.0f} ft"

    @cached_property
    def contours(self):
        """Every contour line of the map.

        Returns
        -------
        contours : list of tuple
            (area name, level, line); the line has the shape (point, 3) [m]
        """
        found, start = [], 0
        for area in self.areas:
            mine = self.values[start : start + len(area.points)]
            start += len(area.points)
            found += [
                (area.name, level, line) for level, line in maps.contours(area, mine, self.step)
            ]
        return found

    @cached_property
    def labels(self):
        """One label per level and area, at the middle of the longest line.

        Returns
        -------
        labels : list of tuple
            (text, position); the position has the shape (3,) [m]
        """
        longest = {}
        for area, level, line in self.contours:
            if len(line) > len(longest.get((area, level), ())):
                longest[area, level] = line
        return [
            (self.value_text(level), line[len(line) // 2]) for (_, level), line in longest.items()
        ]

    @cached_property
    def feedback_lines(self):
        """Lines inside which a microphone rings.

        Returns
        -------
        lines : list of ndarray
            Each (point, 3); empty for every quantity but the feedback margin [m]
        """
        return [line for _, level, line in self.contours if self.on_foot and level == 0.0]

    @property
    def line_style(self):
        """Style of painted lines and contours: light on dark maps, dark on the one that is white in
        its middle.

        Returns
        -------
        style : dict
            Of a plotly line
        """
        return dict(color=QUIET if self.on_foot else LINES)

    def throw_level(self, throw):
        """Level where an axis lands, of that loudspeaker alone.

        Parameters
        ----------
        throw : Throw
            One of ``throws``

        Returns
        -------
        text : str
            In the octave that the map shows, else A-weighted
        """
        band = QUANTITIES[self.quantity].band
        if band is not None:
            return f"{throw.level_db[band]:.0f} dB"
        return f"{throw.level_dba:.0f} dB(A)"

    @cached_property
    def throws(self):
        """Every beam, followed to the first surface.

        Returns
        -------
        throws : list of Throw
            In the order of the loudspeakers
        """
        return throws(self.result)

    @cached_property
    def beams(self):
        """Throws of the loudspeakers that play.

        Returns
        -------
        beams : list of Throw
            In the order of the loudspeakers
        """
        return [t for t in self.throws if np.isfinite(t.level_dba)]

    @cached_property
    def section(self):
        """Cut through the chosen area, or the first one that listens.

        Returns
        -------
        section : Section
            With the loudspeaker that serves it
        """
        listening = self.result.configuration.areas
        name = self.area if self.area in listening else next(iter(listening))
        return section(self.result, name)

    @cached_property
    def along(self):
        """Values along the rows of the section: the quantity, or the speech level while the map
        shows microphones.

        Returns
        -------
        along : ndarray
            (row,) [unit of the quantity]
        """
        if self.on_foot:
            return values(self.result, "speech")[self.section.points]
        return self.values[self.section.points]

    def color(self, group):
        """Number of a group's color.

        Parameters
        ----------
        group : str
            Name of a group of loudspeakers

        Returns
        -------
        number : int
            Into ``GROUP_COLORS`` [-]
        """
        return [g.name for g in self.scenario.groups].index(group) % len(GROUP_COLORS)

    def quietest(self, area):
        """Quietest seat of an area in words.

        Parameters
        ----------
        area : AreaSummary
            One of the result's areas

        Returns
        -------
        words : str
            Seat and level re the mean, safe in a hover text
        """
        return (
            f"quietest seat of {plain_text(area.name)}: {plain_text(area.quietest_seat)},"
            f" {-area.quietest_db:.1f} dB below the mean"
        )


def xyz(points, k):
    """Points in space as the coordinates of a trace.

    Parameters
    ----------
    points : array
        (point, 3) [m]
    k : float
        Units of the drawing per meter [1/m]

    Returns
    -------
    coordinates : dict
        "x", "y" and "z", each (point,), float32 [units of the drawing]
    """
    points = np.asarray(points, np.float32) * np.float32(k)
    return dict(x=points[:, 0].copy(), y=points[:, 1].copy(), z=points[:, 2].copy())


def xy(points, k):
    """Points in the plan or in a section as the coordinates of a trace.

    Parameters
    ----------
    points : array
        (point, 2 or 3) [m]
    k : float
        Units of the drawing per meter [1/m]

    Returns
    -------
    coordinates : dict
        "x" and "y", each (point,), float32 [units of the drawing]
    """
    points = np.asarray(points, np.float32) * np.float32(k)
    return dict(x=points[:, 0].copy(), y=points[:, 1].copy())


def fixed_microphones(view):
    """Open microphones that stand in one position.

    Parameters
    ----------
    view : View
        What is looked at

    Returns
    -------
    microphones : list of MicrophoneSummary
        Those that do not walk
    """
    return [m for m in view.result.microphones if len(m.positions) == 1]
