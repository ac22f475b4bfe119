"""What a search or a designer may adjust: turn, tilt, fan out, lift and balance groups, mirrored
ones together.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np

from ..venue.paths import changed

# what an installer sets, and the step of the search
STEP = {"pan_deg": 1.0, "downtilt_deg": 1.0, "splay_deg": 1.0, "height": 0.05, "gain_db": 0.5}
# what changes the sound about as much
SCALE = {"pan_deg": 10.0, "downtilt_deg": 10.0, "splay_deg": 10.0, "height": 0.5, "gain_db": 3.0}
KEYS = (*STEP, "delay_ms")
REACH = {"pan_deg": 45.0, "splay_deg": 45.0, "height": 2.0}  # either way from where it is
DOWNTILT = (-10.0, 90.0)  # mounting travel [deg]
GAIN = (-12.0, 6.0)  # [dB]
LOWEST = 2.5  # of a loudspeaker over the floor [m]


@dataclass(frozen=True, kw_only=True)
class Adjustment:
    """One thing to adjust, with what must move along to keep the symmetry."""

    key: str
    now: float
    low: float
    high: float
    links: tuple  # (path, value now, sign) of all that move together
    uses: tuple  # names of the uses that hear it

    @property
    def scale(self):
        """What changes the sound about as much as any other adjustment's [its unit]."""
        return SCALE[self.key]

    @property
    def step(self):
        """What an installer sets [its unit]."""
        return STEP[self.key]

    def set(self, value):
        """Changes that put it, and what moves along, at a value.

        Parameters
        ----------
        value : float
            Of the first that is linked [its unit]

        Returns
        -------
        changes : dict
            For ``venue.paths.changed``
        """
        moved = {path: now + sign * (value - self.now) for path, now, sign in self.links}
        if self.key == "pan_deg":
            return {path: (v + 180.0) % 360.0 - 180.0 for path, v in moved.items()}
        return moved


def adjustments(scenario, groups, move, *, symmetric=True):
    """What can be adjusted, each with what must move along.

    Parameters
    ----------
    scenario : Scenario
        The design
    groups : sequence of str
        Groups that may move
    move : sequence of str
        Kinds of adjustment, of ``KEYS``
    symmetric : bool
        Whether mirrors that hold must go on holding

    Returns
    -------
    adjustments : list of Adjustment
        None that breaks a mirror
    """
    mirrors = mirrors_of(scenario) if symmetric else []
    names = [g.name for g in scenario.groups]
    found, done = [], set()
    for name in groups:
        together = sorted(
            mirrored(scenario, name, mirrors), key=lambda m: (m != name, names.index(m))
        )
        if name in done or not set(together) <= set(groups):
            continue
        done |= set(together)
        playing = tuple(
            u.name for u in scenario.uses if any(u.group_setting(m).on for m in together)
        )
        if not playing:
            continue
        for key in (k for k in move if k not in ("gain_db", "delay_ms")):
            found += _of_groups(scenario, key, together, playing, mirrors)
        if "gain_db" in move:
            found += _gains(scenario, together)
    return found


def _of_groups(scenario, key, together, uses, mirrors):
    """Adjustment of one value of some groups that go together; none where it breaks a mirror."""
    groups = [scenario.groups[[g.name for g in scenario.groups].index(m)] for m in together]
    if key == "splay_deg" and groups[0].number == 1:
        return
    now = [getattr(g, key) for g in groups]
    limits = _limits(scenario, key, now[0])
    for signs in product((1.0, -1.0), repeat=len(together) - 1):
        links = tuple(
            (("groups", m, key), value, sign)
            for m, value, sign in zip(together, now, (1.0, *signs), strict=True)
        )
        adjustment = Adjustment(key=key, now=now[0], **limits, links=links, uses=uses)
        if adjustment.low < adjustment.high and _keeps(scenario, adjustment, mirrors):
            yield adjustment
            return


def _gains(scenario, together):
    """Gain of some groups that go together, use by use, where another group plays to be balanced
    against.
    """
    for use in scenario.uses:
        on = [name for name in together if use.group_setting(name).on]
        others = [
            g.name
            for g in scenario.groups
            if g.name not in together and use.group_setting(g.name).on
        ]
        if on and others:
            links = tuple(
                (
                    ("uses", use.name, "groups", name, "gain_db"),
                    use.group_setting(name).gain_db,
                    1.0,
                )
                for name in on
            )
            now = use.group_setting(on[0]).gain_db
            low, high = min(GAIN[0], now), max(GAIN[1], now)
            yield Adjustment(
                key="gain_db", now=now, low=low, high=high, links=links, uses=(use.name,)
            )


def _limits(scenario, key, now):
    """Lowest and highest value by name; what stands outside the usual travel may stay there."""
    if key == "downtilt_deg":
        return dict(low=min(DOWNTILT[0], now), high=max(DOWNTILT[1], now))
    low, high = now - REACH[key], now + REACH[key]
    if key == "height":
        return dict(
            low=min(max(low, LOWEST), now), high=max(min(high, scenario.hall.clear_height), now)
        )
    return dict(low=low, high=high)


def mirrors_of(scenario):
    """Axes of the plan across which the layout is its own mirror image.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    axes : list of int
        0: mirrored along x, 1: along y [-]
    """
    layout = _layout(scenario.loudspeakers)
    return [axis for axis in (0, 1) if _layout(scenario.loudspeakers, axis) == layout]


def mirrored(scenario, group, mirrors):
    """Groups that a group becomes under the mirrors, itself among them.

    Parameters
    ----------
    scenario : Scenario
        The design
    group : str
        Name of a group
    mirrors : list of int
        Of ``mirrors_of`` [-]

    Returns
    -------
    names : set of str
        Groups that move together
    """
    layouts = {g.name: _layout(scenario.in_group(g.name)) for g in scenario.groups}
    found = {group}
    for axis in (*mirrors, *mirrors):
        for name in list(found):
            image = _layout(scenario.in_group(name), axis)
            found |= {other for other, layout in layouts.items() if layout == image}
    return found


def _layout(loudspeakers, axis=None):
    """Loudspeakers as a set that two layouts can be compared by; mirrored across an axis of the
    plan if one is given.
    """
    found = set()
    for c in loudspeakers:
        pan = np.radians(c.pan_deg)
        front = np.array([np.cos(pan), np.sin(pan)]) * np.cos(np.radians(c.downtilt_deg))
        place = np.array([c.x, c.y])
        if axis is not None:
            front[axis], place[axis] = -front[axis], -place[axis]
        # 0.0 makes -0 and 0 alike
        where, way = np.round([*place, c.z], 2) + 0.0, np.round(front, 3) + 0.0
        found.add((c.type.name, *where, *way, round(c.downtilt_deg, 1)))
    return found


def _keeps(scenario, adjustment, mirrors):
    """Whether the mirrors still hold when the adjustment moves a little."""
    if not mirrors:
        return True
    for step in (3 * adjustment.step, -3 * adjustment.step):
        try:
            moved = changed(scenario, adjustment.set(adjustment.now + step))
        except ValueError:
            continue
        return set(mirrors) <= set(mirrors_of(moved))
    return False  # it cannot move either way
