"""What the drawing shows, as plain data for its page side: numbers as buffers, words as text.

Lengths are in meters, in the frame of the plan or of the section; the page only draws.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from contourpy import contour_generator
from plotly.colors import get_colorscale, sample_colorscale

from ...acoustics.throws import cut_side
from ...design.dragging import handles, landings, value_range
from ...venue.locations import along_wall
from ...venue.units import length_text
from ..charts import maps
from ..scene.plan import SIDES
from ..scene.space import all_court_lines
from ..scene.view import View
from ..theme import GROUP_COLORS, QUANTITIES, color_range, per_unit, room_words
from .judging import judged
from .words import handle_words, mark_words

COLORS = 256  # of a scale
MOST_TICKS = 9
NEAR_CUT = 2.0  # so near to the section a point of another area is shown in it [m]
PARTED = 1e-3  # from which columns of seats are uneven: an aisle parts them [m]


def buffer(numbers):
    """Numbers as the page takes them.

    Parameters
    ----------
    numbers : array
        (...,) [any]

    Returns
    -------
    buffer : bytes
        float32, row by row
    """
    return np.ascontiguousarray(numbers, np.float32).tobytes()


def _flat(lines):
    """Lines as one buffer of x and y, with gaps between them."""
    return buffer(maps.joined(lines)[:, :2])


@lru_cache(maxsize=16)
def palette(scale):
    """Colors of a scale, from its low end to its high one.

    Parameters
    ----------
    scale : str
        Name of a color scale

    Returns
    -------
    palette : bytes
        Red, green and blue of each of ``COLORS``
    """
    shares = np.linspace(0, 1, COLORS)
    found = sample_colorscale(get_colorscale(scale), shares, colortype="tuple")
    return np.round(255 * np.array(found)).astype(np.uint8).tobytes()


# ---- what stands still while a loudspeaker moves


def room(view):
    """The gym in plan: walls, court, seats, stages, microphones, and the areas of the map.

    Parameters
    ----------
    view : scene.View
        What is looked at

    Returns
    -------
    room : dict
        For the page
    """
    hall, stage, configuration = view.scenario.hall, view.scenario.stage, view.result.configuration
    x, y = hall.length / 2, hall.width / 2
    deep = {side: stage.depth if stage and stage.side == side else 0.0 for side in SIDES}
    walls = np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0], [-x, -y, 0]])
    return dict(
        bounds=[-x - deep["west"], x + deep["east"], -y - deep["south"], y + deep["north"]],
        hall=[x, y],
        walls=_flat([walls]),
        outlines=_flat(plan_outlines(configuration)),
        rows=_flat(row_lines(configuration.areas.values())),
        court=_flat([all_court_lines(view.scenario)]),
        joists=_flat(joist_lines(hall)),
        joist_words=_joist_words(hall, view.units),
        areas=_areas(view),
        microphones=_microphones(view),
    )


def plan_outlines(configuration):
    """Outlines of what stands and hangs in the gym, and of the aisles between seats.

    Parameters
    ----------
    configuration : HallConfiguration
        The gym as it stands

    Returns
    -------
    outlines : iterator of ndarray
        Each (corner, 3), closed [m]
    """
    outlines = [box for _, box in configuration.footprints]
    for a, b, c, d in (*outlines, *configuration.aisle_footprints):
        yield np.array([[a, c, 0], [b, c, 0], [b, d, 0], [a, d, 0], [a, c, 0]])
    for surface in configuration.room.surfaces:
        if surface.name == "stage floor":
            yield np.concatenate([surface.corners, surface.corners[:1]])


def joist_lines(hall):
    """Joists in the plan, from wall to wall.

    Parameters
    ----------
    hall : Hall
        The gym

    Returns
    -------
    lines : iterator of ndarray
        Ends of each (2, 3) [m]
    """
    x, y = hall.length / 2, hall.width / 2
    for at in hall.joists:
        ends = [(at, -y), (at, y)] if hall.across_joists == 0 else [(-x, at), (x, at)]
        yield np.array([(*end, 0.0) for end in ends])


def _joist_words(hall, units):
    spacing = hall.joist_spacing
    return "" if spacing is None else f"joists every {length_text(spacing, units)}"


def row_lines(areas):
    """Lines between the rows of banks and balconies.

    Parameters
    ----------
    areas : iterable of AudienceArea
        Of the gym

    Returns
    -------
    lines : iterator of ndarray
        Ends of each (2, 3) [m]
    """
    for area in areas:
        if area.kind in ("bank", "balcony") and area.rows > 1:
            ends = area.points.reshape(area.rows, area.columns, 3)[:, [0, -1]]
            yield from (ends[:-1] + ends[1:]) / 2


def _areas(view):
    """Grid of every area of the map: its first point, one row on, one column on (plan), and where
    its columns lie if aisles part them.
    """
    found, start = [], 0
    for area in view.areas:
        grid = area.points.reshape(area.rows, area.columns, 3)
        down, across = _grid_steps(grid)
        found.append(
            dict(
                name=area.name,
                start=start,
                rows=area.rows,
                columns=area.columns,
                origin=grid[0, 0, :2].tolist(),
                down=down[:2].tolist(),
                across=across[:2].tolist(),
                places=_parted(grid, across),
            )
        )
        start += len(area.points)
    # chairs stand on the court: what lies below comes first
    below = {area.name for area in view.areas if area.kind in ("court", "walk")}
    return sorted(found, key=lambda area: area["name"] not in below)


def _grid_steps(grid):
    """One row on and one column on within a section, each (3,); a single row is as deep as a seat
    is wide.
    """
    rows, columns = grid.shape[:2]
    down = (grid[-1, 0] - grid[0, 0]) / max(rows - 1, 1)
    across = (grid[0, -1] - grid[0, 0]) / max(columns - 1, 1)
    if columns > 2 and np.abs(np.diff(grid[0], axis=0) - across).max() > PARTED:
        across = grid[0, 1] - grid[0, 0]
    if rows == 1:
        down = np.array([-across[1], across[0], 0.0])
    if columns == 1:
        across = np.array([down[1], -down[0], 0.0])
    return down, across


def _parted(grid, across):
    """Where the columns of a grid lie, in steps of one column; None where they are even."""
    if grid.shape[1] < 3:
        return None
    places = (grid[0] - grid[0, 0]) @ across / (across @ across)
    even = np.abs(places - np.arange(len(places))).max() * np.linalg.norm(across) < PARTED
    return None if even else places.tolist()


def _microphones(view):
    """Open microphones that stand in one position: name, x and y."""
    found = []
    for m in view.scenario.microphones:
        if m.name in view.result.use.microphones and m.walks is None:
            at = m.positions(view.result.configuration)[0][0]
            found.append([m.name, float(at[0]), float(at[1])])
    return found


# ---- the map


def level_map(view):
    """The map: values, contours with labels, and what of it meets, is close or misses.

    Parameters
    ----------
    view : scene.View
        What is looked at

    Returns
    -------
    level_map : dict
        For the page
    """
    found, start, drawn = judged(view), 0, _Drawn()
    for area in view.areas:
        span = slice(start, start + len(area.points))
        start = span.stop
        if not np.isfinite(view.values[span]).all():
            continue
        drawn.add(view, area, view.values[span])
        if found is not None and not np.isnan(found.margin[span]).any():
            drawn.judge(found, area)
    return dict(
        values=buffer(view.values),
        words=b"" if found is None else found.numbers.tobytes(),
        scale=scale(view, found),
        beams=beams(view),
        **drawn.lines(),
    )


class _Drawn:
    """Lines of the map, area by area."""

    def __init__(self):
        self.contours, self.close, self.misses, self.target = [], [], [], []
        self.labels = []
        self._grid = None

    def add(self, view, area, values):
        """Contours of an area, one label in the middle of the longest line of each level."""
        self._grid, step = _Padded(area, values), view.step
        low, high = np.ceil(values.min() / step), np.floor(values.max() / step)
        for level in step * np.arange(low, high + 1):
            lines = self._grid.lines(level)
            if lines:
                longest = max(lines, key=len)
                at = longest[len(longest) // 2]
                self.labels.append([view.value_text(level + 0.0), float(at[0]), float(at[1])])
            self.contours += lines

    def judge(self, found, area):
        """What is close and misses of the area that was added last, and its target line."""
        for rings, ranges in zip((self.close, self.misses), found.ranges(area.name), strict=True):
            for low, high in ranges:
                rings += self._grid.rings(low, high)
        for level, _ in found.lines.get(area.name, ()):
            self.target += self._grid.lines(level)

    def lines(self):
        """All of them for the page."""
        kinds = ("contours", "close", "misses", "target")
        return dict(labels=self.labels, **{kind: _flat(getattr(self, kind)) for kind in kinds})


@lru_cache(maxsize=64)
def _out_to(count):
    """Places of a row's points and half a step beyond both ends, and which point holds there."""
    places = np.r_[-0.5, np.arange(count), count - 0.5]
    return places, np.clip(np.round(places), 0, count - 1).astype(int)


class _Padded:
    """Contours over an area out to half a seat beyond its outer ones, where the map ends too."""

    def __init__(self, area, values):
        grid = np.asarray(values, float).reshape(area.rows, area.columns)
        (x, columns), (y, rows) = _out_to(area.columns), _out_to(area.rows)
        self._generator = contour_generator(x=x, y=y, z=grid[np.ix_(rows, columns)])
        points = area.points.reshape(area.rows, area.columns, 3)
        self._corner, (self._down, self._across) = points[0, 0], _grid_steps(points)
        self._columns, self._places = x, _parted(points, self._across)

    def _placed(self, line):
        column = line[:, 0]
        if self._places:  # half a step beyond both ends, as the columns
            places = [-0.5, *self._places, self._places[-1] + 0.5]
            column = np.interp(column, self._columns, places)
        return self._corner + line[:, 1:] * self._down + column[:, None] * self._across

    def lines(self, level):
        return [self._placed(line) for line in self._generator.lines(level)]

    def rings(self, low, high):
        """Outlines of where the values lie between two levels; inner ones are holes."""
        found = []
        for points, offsets in zip(*self._generator.filled(low, high), strict=True):
            ends = zip(offsets[:-1], offsets[1:], strict=True)
            found += [self._placed(points[a:b]) for a, b in ends]
        return found


def scale(view, found):
    """The color scale with its target.

    Parameters
    ----------
    view : scene.View
        What is looked at
    found : Judged or None
        The map held against its target

    Returns
    -------
    scale : dict
        For the page
    """
    quantity, (low, high) = QUANTITIES[view.quantity], view.range
    every = view.step * max(1, np.ceil((high - low) / view.step / MOST_TICKS))
    ticks = np.arange(np.ceil(low / every - 1e-6), np.floor(high / every + 1e-6) + 1) * every + 0.0
    looks = dict(
        label=quantity.label,
        unit=view.unit,
        low=float(low),
        high=float(high),
        ticks=[[float(t), view.value_text(t)] for t in ticks],
        palette=palette(quantity.scale),
        origin=room_words(view.result) if quantity.needs_room else "direct sound alone",
    )
    if quantity.key in ("distance", "arrival_spread", "image_shift"):
        looks["origin"] = ""
    if found is None:
        return dict(looks, target="", targets=[])
    targets = sorted({value for lines in found.lines.values() for value, _ in lines})
    # an octave has a mean for each area, too many to mark on the scale
    marked = targets if len(targets) == 1 else []
    return dict(looks, target=found.words, targets=marked)


# ---- loudspeakers, as they stand or as they are being dragged


def moved(groups, changes):
    """Rows with values of theirs changed, not checked: for what is drawn while a hand moves.

    Parameters
    ----------
    groups : sequence of Group
        The rows
    changes : dict
        Values of groups by path [SI]

    Returns
    -------
    groups : list of Group
        In the same order
    """
    values = {}
    for (_, name, key), value in changes.items():
        values.setdefault(name, {})[key] = value
    return [replace(g, **values[g.name]) if g.name in values else g for g in groups]


def hung(view, groups=None, picked=None):
    """The rows: each loudspeaker with its axis, and their handles.

    Parameters
    ----------
    view : scene.View
        What is looked at
    groups : sequence of Group, optional
        The rows where they have moved since; the view's own when left out
    picked : str, optional
        Name of a row that is marked

    Returns
    -------
    rows : list of dict
        For the page, in the order of the groups
    """
    scenario = view.scenario
    groups, types = groups or scenario.groups, scenario.loudspeaker_types
    rows = [g.loudspeakers(types[g.loudspeaker]) for g in groups]
    if groups is scenario.groups:
        ends = [_ends(view, g.name) for g in groups]
    else:
        every = [c for row in rows for c in row]
        found = landings(scenario, view.result.use.name, every)
        ends = np.split(found, np.cumsum([*map(len, rows)]))
    own = {g.name: [h for h in handles(scenario) if h.group == g.name] for g in groups}
    found = []
    for group, row, end in zip(groups, rows, ends, strict=False):
        on = view.result.use.group_setting(group.name).on
        handle = [_handle(scenario, h, group, end, view.units) for h in own[group.name]]
        found.append(
            dict(
                name=group.name,
                color=GROUP_COLORS[view.color(group.name)],
                plays=on,
                picked=group.name == picked,
                axis=types[group.loudspeaker].lobes == 1,
                cut=_in_the_cut(view, row),
                members=[_member(c, e) for c, e in zip(row, end, strict=True)],
                handles=handle,
            )
        )
    return found


def _ends(view, group):
    """Where the first beam of each loudspeaker of a row lands, as the view has followed it."""
    return list({t.tag: t.end for t in reversed(view.throws) if t.group == group}.values())[::-1]


def _member(c, end):
    return dict(
        tag=c.tag,
        at=[round(float(v), 4) for v in (c.x, c.y, c.z, c.pan_deg, c.downtilt_deg)],
        size=[c.type.width, c.type.depth, c.type.height],
        end=[round(float(v), 4) for v in end],
    )


def _handle(scenario, handle, group, ends, units):
    """A handle for the page: its name, and its value in words and as a number."""
    label, words = handle_words(handle, group, ends[min(handle.member, len(ends) - 1)], units)
    key, low, high = value_range(scenario, handle)
    shown = per_unit(units) if key in ("x", "height") else 1.0
    value, *ends = (round(v / shown, 2) + 0.0 for v in (getattr(group, key), low, high))
    return dict(
        key=handle.key,
        kind=handle.kind,
        member=handle.member,
        label=label,
        words=words,
        value=value,
        range=ends,
    )


def _in_the_cut(view, row):
    """Which of a row stands for it in the section: the one that serves its seats, else the
    nearest.
    """
    serving = view.scenario.loudspeakers[view.section.loudspeaker].tag
    tags = [c.tag for c in row]
    if serving in tags:
        return tags.index(serving)
    foot, along, _ = _cut_frame(view)
    middle = (view.result.points[view.section.points].mean(axis=0) - foot) @ along
    return int(np.argmin([abs((c.position - foot) @ along - middle) for c in row]))


# ---- the section


def _cut_frame(view):
    """Foot, direction along and into the gym of the wall that the section starts from."""
    side = cut_side(view.result.configuration, view.section.area)
    return along_wall(side, view.scenario.hall)


def cut(view):
    """The section and the values along its rows.

    Parameters
    ----------
    view : scene.View
        What is looked at

    Returns
    -------
    cut : dict
        For the page
    """
    section = view.section
    foot, along, inward = _cut_frame(view)
    serving = view.scenario.loudspeakers[section.loudspeaker]
    looks = view if not view.on_foot else View(result=view.result, quantity="speech")
    found = judged(looks)
    numbers = found.numbers[section.points].tobytes() if found is not None else b""
    along_label = QUANTITIES[looks.quantity].label
    return dict(
        area=section.area,
        serving=serving.group,
        tag=serving.tag,
        foot=foot[:2].tolist(),
        inward=inward[:2].tolist(),
        through=_through(view, foot, along, inward),
        outline=buffer(section.outline),
        steps=buffer(section.steps),
        seats=buffer(section.seats),
        edges=buffer(_edges(section)),
        clear=view.scenario.hall.clear_height,
        joists=_flat(_joists_in_cut(view.scenario.hall, foot, inward)),
        along=buffer(view.along),
        words=numbers,
        colored=not view.on_foot,
        profile=dict(
            label=along_label,
            unit=looks.unit,
            range=[float(v) for v in color_range(view.result, looks.quantity)]
            if view.on_foot
            else [float(v) for v in view.range],
            digits=QUANTITIES[looks.quantity].digits,
            targets=[float(v) for v, _ in found.lines.get(section.area, ())] if found else [],
        ),
    )


def _joists_in_cut(hall, foot, inward):
    """Joists that the section crosses: each from its underside up to the roof."""
    axis = hall.across_joists
    if axis is None or abs(inward[axis]) < 0.5:  # it runs along them
        return
    for at in hall.joists:
        along = (at - foot[axis]) * inward[axis]
        roof = float(hall.roof_height(at if axis else 0.0))
        if roof > hall.clear_height:
            yield np.array([(along, hall.clear_height, 0.0), (along, roof, 0.0)])


def _through(view, foot, along, inward):
    """Both ends of the section in the plan."""
    middle = float((view.result.points[view.section.points].mean(axis=0) - foot) @ along)
    far = float(view.section.outline[:, 0].max())
    return [(foot + middle * along + s * inward)[:2].tolist() for s in (0.0, far)]


def _edges(section):
    gap = np.full((1, 2), np.nan)
    return np.concatenate([piece for edge in section.edges for piece in (edge, gap)] or [gap])


# ---- where things were, or would be


def outlines_of(view):
    """Loudspeakers and aims of another state, for dashed outlines.

    Parameters
    ----------
    view : scene.View
        Of that state

    Returns
    -------
    ghost : list of dict
        Rows with their members
    """
    return [
        {key: row[key] for key in ("name", "plays", "axis", "cut", "members")} for row in hung(view)
    ]


def beams(view):
    """Where the -6 dB edges of the beams lie, and the axes of loudspeakers with several.

    Parameters
    ----------
    view : scene.View
        What is looked at

    Returns
    -------
    beams : list of list
        Name of the row, and its lines as a buffer
    """
    types = view.scenario.loudspeaker_types
    single = {g.name: types[g.loudspeaker].lobes == 1 for g in view.scenario.groups}
    found = {}
    for t in view.beams:
        lines = found.setdefault(t.group, [])
        if len(t.edge):
            lines.append(t.edge)
        if not single[t.group]:
            lines.append(np.array([t.start, t.end]))
    return [[name, _flat(lines)] for name, lines in found.items()]


# ---- words on the drawing, and what is marked


def said(view, note=""):
    """Titles, the note, and the points that are marked.

    Parameters
    ----------
    view : scene.View
        What is looked at
    note : str
        A few words

    Returns
    -------
    said : dict
        For the page; of a mark its name, where it is (3,) [m], and what the section says of it:
        nothing where it lies far from what is cut
    """
    marks = [] if view.marked is None else [_mark(view, *view.marked)]
    return dict(
        units=view.units,
        per_unit=1 / view.k,
        note=note,
        seats=not view.on_foot,
        marks=marks,
    )


def _mark(view, name, point):
    """A marked point, with words where the section shows it: in the area that is cut, or near."""
    foot, along, _ = _cut_frame(view)
    rows = view.result.points[view.section.points]
    plane = foot + float((rows.mean(axis=0) - foot) @ along) * along
    span = view.result.spans[view.section.area]
    own = (view.result.points[span] == point).all(axis=1).any()
    near = own or abs(float((point - plane) @ along)) <= NEAR_CUT
    words = mark_words(name, point, (plane, along), view.units) if near else ""
    return [name, [float(v) for v in point], words]
