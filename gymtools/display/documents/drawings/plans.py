"""Plans: the floor, the ceiling with its hanging points, and who hears what in one use."""

from dataclasses import replace

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from ....acoustics.throws import throws
from ....equipment.hanging import STEEP
from ....equipment.hanging_points import hanging_points
from ....equipment.rack import rack_assumed, rack_place
from ....venue.enclosures import corners
from ....venue.locations import along_wall
from .draft import Draft

RACK = 0.3  # half a rack's side [m]
MICROPHONE = 0.15  # radius of its mark [m]
FRONT = 0.4  # tick that shows where a front faces [m]
CUT_MARK = 14.0  # length of the mark at either end of a section [mm]
POINT = 1.2  # radius of the mark of a hanging point [mm]
WALLS = ("north", "south", "east", "west")


def floor_plan(scenario, amplification, cuts, scale, units):
    """Plan of all that stands and hangs, with the cable routes.

    Parameters
    ----------
    scenario : Scenario
        The design
    amplification : Amplification or None
        Its channels give the cables
    cuts : sequence of Cut
        Sections whose places are marked
    scale : float
        Of the view [-]
    units : str
        "m" or "ft"

    Returns
    -------
    view : View
        North up, the origin in the middle of the gym
    """
    draft = Draft("Floor plan", scale, units)
    configuration = as_built(scenario)
    _shell(draft, scenario)
    _court(draft, scenario)
    _standing(draft, configuration)
    _hanging(draft, configuration)
    _stage(draft, scenario)
    for cut in cuts:
        _cut_mark(draft, cut, scenario.hall)
    if amplification is not None:
        _cables(draft, scenario, amplification)
    outlines = _loudspeakers(draft, scenario)
    _rack(draft, scenario)
    _microphones(draft, scenario)
    _fixed_dimensions(draft, scenario, configuration)
    for c, outline in zip(scenario.loudspeakers, outlines, strict=True):
        draft.tag(label(scenario, c), outline.mean(axis=0), clear=_reach(draft, outline))
    return draft.view()


def as_built(scenario):
    """The gym with its bleachers as the school has them, and nothing set out on the floor.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    configuration : HallConfiguration
        Its divider is drawn, if it has one
    """
    full = scenario.configuration_of()
    return replace(full, floor_seats=(), portable_stages=(), divider=scenario.divider)


def ceiling_plan(scenario, scale, units):
    """Reflected-ceiling plan: hanging points from two walls, joists, and what hangs beside them.

    Parameters
    ----------
    scenario : Scenario
        The design
    scale : float
        Of the view [-]
    units : str
        "m" or "ft"

    Returns
    -------
    view : View
        As the floor plan: north up, not mirrored
    """
    draft = Draft("Reflected-ceiling plan of the hanging points", scale, units)
    configuration = as_built(scenario)
    hall = scenario.hall
    _shell(draft, scenario)
    _joists(draft, hall)
    draft.line(scenario.lines.lines()[0], "COURT")
    _hanging(draft, configuration, lowest=2.0)
    _stage(draft, scenario)
    outlines = _loudspeakers(draft, scenario)
    points = hanging_points(scenario)
    for point in points:
        _cross(draft, point.position)
        if point.kind in ("lines", "frame"):
            ends = [line[0] for line in point.lines]
            draft.line(ends, "POINTS")
            for end in ends:  # of the two points at the sides
                _tick(draft, end, point.across)
    x, y = hall.length / 2, hall.width / 2
    places = [p.position[:2] for p in points]
    low, _ = draft.extent()
    draft.running(0, [*places, (-x, -y), (x, -y)], (-x, -y), min(low[1], -y))
    draft.running(1, [*places, (-x, -y), (-x, y)], (-x, -y), min(low[0], -x))
    for c, outline in zip(scenario.loudspeakers, outlines, strict=True):
        height = draft.length(c.z)
        words = f"{label(scenario, c)}  {height} up"
        draft.tag(words, outline.mean(axis=0), clear=_reach(draft, outline))
    return draft.view()


def use_plan(result, scale, units):
    """Plan of one use: who sits where, which loudspeakers play, where they aim and what they cover.

    Parameters
    ----------
    result : Result
        Evaluation of the use
    scale : float
        Of the view [-]
    units : str
        "m" or "ft"

    Returns
    -------
    view : View
        North up
    """
    scenario, configuration = result.scenario, result.configuration
    draft = Draft(f"Use '{result.use.name}': seating, aim and coverage", scale, units)
    _shell(draft, scenario)
    _court(draft, scenario)
    _standing(draft, configuration)
    _hanging(draft, configuration)
    _stage(draft, scenario, open_curtain=configuration.curtain_open)
    outlines = _loudspeakers(draft, scenario)
    _aims(draft, result)
    _rack(draft, scenario)
    for m in result.microphones:
        if len(m.positions) == 1:
            _microphone(draft, m.microphone.name, m.positions[0])
    _set_out_dimensions(draft, result)
    for c, outline, plays in zip(scenario.loudspeakers, outlines, result.playing, strict=True):
        named = label(scenario, c)
        words = f"{named}  {draft.length(c.z)} up" if plays else f"{named} off"
        draft.tag(words, outline.mean(axis=0), clear=_reach(draft, outline))
    return draft.view()


def label(scenario, loudspeaker):
    """What a drawing calls a loudspeaker.

    Parameters
    ----------
    scenario : Scenario
        The design
    loudspeaker : Loudspeaker
        One of its loudspeakers

    Returns
    -------
    words : str
        Its tag; with a word where it hangs there already
    """
    there = any(g.existing for g in scenario.groups if g.name == loudspeaker.group)
    return f"{loudspeaker.tag} (there already)" if there else loudspeaker.tag


# ---- what plans share


def _shell(draft, scenario):
    """Walls, and their names."""
    hall = scenario.hall
    x, y = hall.length / 2, hall.width / 2
    draft.rectangle((-x, x, -y, y), "GYM")
    for side in WALLS:
        foot, along, inward = along_wall(side, hall)
        at = foot + along * 0.3 * (x if along[0] else y) + 2.5 * draft.mm * inward
        draft.tag(f"{side} wall", at, clear=0.0, layer="NOTES")


def _court(draft, scenario):
    for court in scenario.courts:
        for line in court.lines():
            draft.line(line, "COURT")


def _standing(draft, configuration):
    """Bleachers row by row, chairs, aisles, portable stages."""
    things = (*configuration.banks, *configuration.floor_seats, *configuration.portable_stages)
    for thing in things:
        a, b, c, d = thing.footprint(configuration.hall)
        stage = thing in configuration.portable_stages
        draft.rectangle((a, b, c, d), "STAGE" if stage else "SEATING")
        draft.tag(thing.name, ((a + b) / 2, (c + d) / 2), clear=0.0)
    for area in configuration.areas.values():
        if area.kind in ("bank", "floor"):
            _rows(draft, area)
    for aisle in configuration.aisle_footprints:
        draft.rectangle(aisle, "AISLES")


def _rows(draft, area):
    """A line along every row of seats."""
    for row in area.points.reshape(area.rows, area.columns, 3):
        draft.line(row[[0, -1]], "ROWS")


def _hanging(draft, configuration, lowest=-1.0):
    """Balconies, tracks, a divider and fixtures that reach over a height."""
    hall = configuration.hall
    for thing in configuration.balconies:
        sides = thing.footprint(hall)
        draft.rectangle(sides, "BALCONY")
        draft.tag_inside(f"{thing.name}, over", sides)
    if configuration.divider:
        sides = configuration.divider.footprint(hall)
        draft.rectangle(sides, "DIVIDER")
        draft.tag("divider", (sides[0], sides[3]), clear=1.0)
    for thing in configuration.fixtures:
        if thing.top <= lowest:
            continue
        footprints = thing.footprints(hall)
        for sides in footprints:
            draft.rectangle(sides, "FIXTURES")
        a, b, c, d = footprints[0]
        up = f", {draft.length(thing.bottom)} up" if thing.bottom > 0.05 else ""
        draft.tag(f"{thing.name}{up}", ((a + b) / 2, (c + d) / 2), clear=0.5)


def _stage(draft, scenario, open_curtain=None):
    """The built-in stage behind its wall, with its curtain drawn closed."""
    stage, hall = scenario.stage, scenario.hall
    if stage is None:
        return
    front, back = stage.corners(hall)
    a, b = sorted((front[0], back[0])), sorted((front[1], back[1]))
    draft.rectangle((*a, *b), "STAGE")
    foot, along, inward = along_wall(stage.side, hall)
    middle = foot + stage.offset * along
    half = stage.width / 2 * along
    behind = middle - 0.3 * inward  # the curtain hangs behind the opening
    if open_curtain:
        return draft.tag("stage, curtain open", middle - stage.depth / 2 * inward, clear=0.0)
    draft.line([behind - half, behind + half], "CURTAIN")
    state = "curtain shown closed" if open_curtain is None else "curtain closed"
    return draft.tag(f"stage, {state}", middle - stage.depth / 2 * inward, clear=0.0)


def _joists(draft, hall):
    """Every joist; the first one says how far apart they are."""
    x, y = hall.length / 2, hall.width / 2
    for n, at in enumerate(hall.joists):
        ends = [(at, -y), (at, y)] if hall.across_joists == 0 else [(-x, at), (x, at)]
        draft.line(ends, "JOISTS")
        if n == 0:
            words = f"joist 1, then every {draft.length(hall.joist_spacing)}"
            draft.tag(words, np.array(ends[1]), clear=0.5, layer="NOTES")


def outline_of(points):
    """Outline of points in a plane.

    Parameters
    ----------
    points : array
        (point, 2) [m]

    Returns
    -------
    outline : ndarray
        The outer ones in order (corner, 2); both ends of points in a line [m]
    """
    try:
        return points[ConvexHull(points).vertices]
    except QhullError:  # seen exactly from the side
        return points[[0, -1]]


def _loudspeakers(draft, scenario):
    """Enclosures as they hang; gives their outlines."""
    outlines = [outline_of(at) for at in corners(scenario.loudspeakers)[..., :2]]
    for c, outline in zip(scenario.loudspeakers, outlines, strict=True):
        draft.line(outline, "LOUDSPEAKERS", closed=True)
        if c.downtilt_deg < STEEP:  # a tick ahead of its front
            ahead = FRONT * np.array([np.cos(np.radians(c.pan_deg)), np.sin(np.radians(c.pan_deg))])
            draft.line([c.position[:2], c.position[:2] + ahead], "LOUDSPEAKERS")
    return outlines


def _reach(draft, outline):
    """Distance from the middle of an outline that a tag keeps [mm]."""
    half = np.ptp(outline, axis=0).max() / 2
    return half / draft.mm + 1.0


def _cross(draft, at):
    """Mark of a hanging point."""
    reach = POINT * draft.mm
    draft.circle(at, reach, "POINTS")
    for way in ((1.6, 0.0), (0.0, 1.6)):
        arm = np.array(way) * reach
        draft.line([at[:2] - arm, at[:2] + arm], "POINTS")


def _tick(draft, at, across):
    """Mark of a point at the side of an enclosure."""
    arm = POINT * draft.mm * np.array([-across[1], across[0]])
    draft.line([at[:2] - arm, at[:2] + arm], "POINTS")


def _aims(draft, result):
    """Axes of what plays, to where they land, and the edge of what each covers."""
    playing = dict(zip((c.tag for c in result.scenario.loudspeakers), result.playing, strict=True))
    for beam in throws(result):
        if not playing[beam.tag]:
            continue
        draft.line([beam.start, beam.end], "AIM-LINES")
        draft.circle(beam.end, MICROPHONE, "AIM-LINES")
        if len(beam.edge):
            draft.line(beam.edge, "COVERAGE")


def _rack(draft, scenario):
    x, y, _ = rack_place(scenario)
    draft.rectangle((x - RACK, x + RACK, y - RACK, y + RACK), "RACK")
    words = "rack, place to be agreed" if rack_assumed(scenario) else "rack"
    draft.tag(words, (x, y), clear=RACK / draft.mm + 0.5)


def _microphones(draft, scenario):
    """Microphones that stand on the floor or the stage."""
    for m, at in _built_microphones(scenario):
        _microphone(draft, m.name, at)


def _built_microphones(scenario):
    """Microphones with a place on the floor or the built-in stage, and that place."""
    configuration = scenario.configuration_of()
    fixed = [m for m in scenario.microphones if m.walks is None and m.on in ("floor", "stage")]
    return [(m, m.positions(configuration)[0][0][:2]) for m in fixed]


def _microphone(draft, name, at):
    draft.circle(at, MICROPHONE, "MICROPHONES")
    draft.tag(name, at, clear=MICROPHONE / draft.mm + 0.5)


def _cables(draft, scenario, amplification):
    """Each cable along the wall and over the roof, as its length is counted."""
    rack = rack_place(scenario)[:2]
    where = {c.tag: c.position[:2] for c in scenario.loudspeakers}
    drawn = set()
    for channel in amplification.channels:
        order = channel.tags
        at = rack
        for tag in order:
            to = where[tag]
            corner = np.array([at[0], to[1]]) if at is rack else np.array([to[0], at[1]])
            path = tuple(tuple(np.round(p, 3)) for p in (at, corner, to))
            if path not in drawn:
                draft.line([at, corner, to], "CABLES")
                drawn.add(path)
            at = to
        words = f"cable {channel.cable}, {channel.conductor}"
        run = scenario.equipment.wired(channel.group).run
        if run is not None:  # the file says how long the way is, and not where
            words += f", {draft.length(run)} as given"
        draft.tag(words, where[order[0]], clear=3.0)


def _cut_mark(draft, cut, hall):
    """Where a section cuts, and its letter at both ends."""
    x, y = hall.length / 2 + 6 * draft.mm, hall.width / 2 + 6 * draft.mm
    ends = [(-x, cut.at), (x, cut.at)] if cut.axis == 0 else [(cut.at, -y), (cut.at, y)]
    for end, other in (ends, ends[::-1]):
        inward = np.sign(np.subtract(other, end)) * CUT_MARK * draft.mm
        draft.line([end, end + inward], "SECTION-MARKS")
        draft.tag(cut.letter, end, clear=0.5, layer="NOTES", height=5.0)


def _fixed_dimensions(draft, scenario, configuration):
    """Running dimensions of what is built: walls, bleachers, stage, divider, rack, microphones."""
    hall = scenario.hall
    x, y = hall.length / 2, hall.width / 2
    features = [(-x, -y), (x, y), rack_place(scenario)[:2]]
    features += [at for _, at in _built_microphones(scenario)]
    for thing in (*configuration.banks, *configuration.balconies):
        features += _four(thing.footprint(hall))
    if scenario.stage:
        front, back = scenario.stage.corners(hall)
        features += [front[:2], back[:2]]
    if configuration.divider:
        a, b, c, d = configuration.divider.footprint(hall)
        features += [((a + b) / 2, (c + d) / 2)]
    low, _ = draft.extent()
    draft.running(0, features, (-x, -y), low[1], through=False)
    draft.running(1, features, (-x, -y), low[0], through=False)


def _four(sides):
    """Corners of a rectangle."""
    a, b, c, d = sides
    return [(a, c), (b, c), (b, d), (a, d)]


def _set_out_dimensions(draft, result):
    """Running dimensions of what is set out for a use: stages, blocks of chairs, microphones."""
    gym = result.configuration
    features = [
        corner
        for thing in (*gym.floor_seats, *gym.portable_stages)
        for corner in _four(thing.footprint(gym.hall))
    ]
    features += [m.positions[0][:2] for m in result.microphones if len(m.positions) == 1]
    if not features:
        return
    x, y = gym.hall.length / 2, gym.hall.width / 2
    features += _four((-x, x, -y, y))
    low, _ = draft.extent()
    draft.running(0, features, (-x, -y), low[1], through=False)
    draft.running(1, features, (-x, -y), low[0], through=False)
