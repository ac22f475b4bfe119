"""What somebody needs to draw a bank, a loudspeaker and its beam with a protractor and a scale."""

from dataclasses import dataclass

import numpy as np

from ..venue.seating import EAR_SEATED
from .lessons import tilt

BEYOND = 1.5  # drawn behind the last row and behind the loudspeaker [m]
NEAR_WALL = 4.0  # behind the last row, up to which the wall is drawn [m]


@dataclass(frozen=True, eq=False, kw_only=True)
class Sketch:
    """A bank and the group over it: in section, and on a plan whose up is from front to back.

    The loudspeaker that serves the bank is the origin of both.
    """

    school: str
    bank_name: str
    group: str
    bank: tilt.Bank  # what the section shows, with the vertical coverage angle
    hung: float  # height of the loudspeaker over the floor [m]
    row_ends: np.ndarray  # both ends of each row on the plan (row, 2, 2) [m]
    hung_at: np.ndarray  # loudspeakers of the group on the plan (loudspeaker, 2) [m]
    pan_deg: float  # of the loudspeaker's axis, from the plan's up, to the right positive [deg]
    wide_deg: float  # horizontal coverage angle [deg]
    wall: float  # from the loudspeaker to the wall behind the bank [m]
    clear: float  # from the loudspeaker up to the clear height [m]

    @property
    def floor(self):
        """Height of the floor under the loudspeaker's point, less than zero [m]."""
        return -self.hung

    @property
    def treads(self):
        """Outline of the bank in section, from the floor at its front (corner, 2) [m]."""
        rows, high = self.bank.rows, -self.bank.below - EAR_SEATED
        run = float(np.diff(rows).mean())
        corners = [(rows[0] - run / 2, self.floor)]
        for along, up in zip(rows, high, strict=True):
            corners += [(along - run / 2, up), (along + run / 2, up)]
        return np.array([*corners, (rows[-1] + run / 2, self.floor)])

    @property
    def wall_shown(self):
        """Whether the wall behind the bank is near enough to be drawn."""
        return self.wall - self.bank.rows[-1] <= NEAR_WALL

    @property
    def edges_deg(self):
        """Downtilt of the upper edge, the axis and the lower edge of the most even tilt [deg]."""
        half = self.bank.angle_deg / 2
        return self.bank.best_deg + np.array([-half, 0.0, half])


def sketched(school, use, bank, group):
    """A bank of a school and a group over it, to be drawn by hand.

    Parameters
    ----------
    school : Scenario
        With both
    use, bank, group : str
        Names in it

    Returns
    -------
    sketch : Sketch
        As the loudspeaker nearest to the bank's middle sees it
    """
    seen, one, seats = tilt.serving(school, use, bank, group)
    area = school.configuration(use).areas[bank]
    rows = area.points.reshape(area.rows, area.columns, 3)
    up = seats[-1, :2] - seats[0, :2]
    up = up / np.linalg.norm(up)
    right = np.array([up[1], -up[0]])
    axes = np.stack([right, up], axis=1)  # from east and north to right and up
    pan = np.radians(one.pan_deg)
    aim = np.array([np.cos(pan), np.sin(pan)]) @ axes
    half = np.array([school.hall.length, school.hall.width]) / 2
    hung = [c.position for c in school.loudspeakers if c.group == group]
    return Sketch(
        school=school.name,
        bank_name=bank,
        group=group,
        bank=seen,
        hung=float(one.position[2]),
        row_ends=(rows[:, [0, -1], :2] - one.position[:2]) @ axes,
        hung_at=(np.array(hung)[:, :2] - one.position[:2]) @ axes,
        pan_deg=float(np.degrees(np.arctan2(aim[0], aim[1]))),
        wide_deg=float(one.type.horizontal_deg),
        wall=float(np.abs(up) @ half - up @ one.position[:2]),
        clear=float(school.hall.clear_height - one.position[2]),
    )
