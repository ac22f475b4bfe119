"""Sections: the gym cut through its stage or a balcony, and through an audience with its aim."""

from dataclasses import dataclass

import numpy as np

from ....acoustics.throws import cut_side, section
from ....equipment.hanging import tilt_words
from ....equipment.hanging_points import hanging_points
from ....venue.enclosures import corners, solids
from ....venue.locations import along_wall
from .draft import Draft
from .plans import as_built, label, outline_of

PROJECTED_DEG = 0.5  # from which an axis that is turned out of the section is said to be projected
EAR = 0.1  # radius of the mark of a row's ears [m]
CHAIR = 0.22, 0.45, 0.85  # half a chair's depth, seat and back [m]    common practice, no source
TOGETHER = 0.05  # loudspeakers that are seen in one place share a tag [m]
ENDS = (("west", "east"), ("south", "north"))  # walls that a cut ends at, by its axis
LOOKS = ("north", "west")  # way that a section looks, by its axis


@dataclass(frozen=True, kw_only=True)
class Cut:
    """An upright plane along the gym (axis 0, seen to the north) or across it (axis 1, seen to the
    west), at a place on the other axis.
    """

    axis: int
    at: float  # [m]
    letter: str
    through: str  # what it was laid through

    @property
    def name(self):
        """What the view is called."""
        words = f"Section {self.letter}-{self.letter}, looking {LOOKS[self.axis]}"
        return f"{words}, through {self.through}"


def cuts(scenario):
    """Two sections, along the gym and across it, each through the stage where one lies at its end,
    else through a balcony or a bank, else through the middle.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    cuts : tuple of Cut
        A along, B across
    """
    found = []
    for axis, letter in enumerate("AB"):
        things = [] if scenario.stage is None else [(scenario.stage, "the stage")]
        things += [(b, b.name) for b in (*scenario.galleries, *scenario.banks)]
        ends = [(thing, words) for thing, words in things if thing.side in ENDS[axis]]
        at, words = (float(ends[0][0].offset), ends[0][1]) if ends else (0.0, "the middle")
        found.append(Cut(axis=axis, at=at, letter=letter, through=words))
    return tuple(found)


def heights(scenario):
    """Heights that the sections show, for a table.

    Parameters
    ----------
    scenario : Scenario
        The design

    Returns
    -------
    heights : list of tuple
        What it is, and how high over the floor, the highest first [-, m]
    """
    hall, stage = scenario.hall, scenario.stage
    found = [
        ("clear height, under the joists", hall.clear_height),
        ("roof, at its edge", hall.height),
    ]
    if hall.highest - hall.height > 1e-6:
        found.append(("roof, at its ridge", hall.highest))
    if stage:
        found += [("stage floor", stage.floor_height), ("top of the stage's opening", stage.top)]
    for group in scenario.groups:
        found.append((f"{group.name}, middle of the front", group.height))
    found += [(f"{bank.name}, top", _drawn_top(bank)) for bank in as_built(scenario).banks]
    for deck in scenario.galleries:
        found += [(f"{deck.name}, floor", deck.height), (f"{deck.name}, under", deck.underside)]
    for fixture in scenario.fixtures:
        found += [(f"{fixture.name}, top", fixture.top)]
        found += [(f"{fixture.name}, under", fixture.bottom)] if fixture.bottom > 0.05 else []
    return sorted(found, key=lambda one: -one[1])


def _drawn_top(bank):
    """Height of the highest row or of the folded stack, as it is drawn [m]."""
    return float(bank.profile[:, 1].max())


def section_view(scenario, cut, scale, units, *, result=None):
    """The gym cut by a plane: what is cut, what lies beyond, every loudspeaker, heights.

    Parameters
    ----------
    scenario : Scenario
        The design
    cut : Cut
        One of ``cuts``
    scale : float
        Of the view [-]
    units : str
        "m" or "ft"
    result : Result, optional
        Evaluation of a use, drawn with its chairs, stages, bleachers and curtain; the gym as it is
        built when left out

    Returns
    -------
    view : View
        Floor at height 0; the gym's middle at 0 across
    """
    name = f"Section {cut.letter}-{cut.letter} in '{result.use.name}'" if result else cut.name
    draft = Draft(name, scale, units)
    configuration = result.configuration if result else as_built(scenario)
    _room(draft, scenario, cut)
    shown = _things(draft, configuration, cut)
    shown += _stage(draft, scenario, cut, configuration.curtain_open if result else None)
    shown += _loudspeakers(draft, scenario, cut)
    hall = scenario.hall
    half = (hall.length, hall.width)[cut.axis] / 2
    shown += [0.0, hall.clear_height, hall.height, hall.highest]
    low, high = draft.extent()
    draft.running(1, [(-half, h) for h in shown], (-half, 0.0), low[0])
    draft.running(0, [(-half, 0.0), (half, 0.0), (low[0], 0.0), (high[0], 0.0)], (-half, 0), low[1])
    for side, way in zip(ENDS[cut.axis], (-1, 1), strict=True):
        draft.tag(f"{side} wall", (way * half, hall.height * 0.6), clear=1.0, layer="NOTES")
    return draft.view()


def _side(points, cut):
    """Points (..., 3) as a section shows them: across, up."""
    points = np.asarray(points, float)
    return np.stack([points[..., cut.axis], points[..., 2]], axis=-1)


def _room(draft, scenario, cut):
    """Floor, walls and roof, the joists and the height under them."""
    hall = scenario.hall
    half = (hall.length, hall.width)[cut.axis] / 2
    top = float(hall.roof_height(cut.at)) if cut.axis == 0 else hall.height
    roof = [(half, top), (-half, top)]
    if cut.axis == 1 and hall.highest - hall.height > 1e-6:
        roof.insert(1, (0.0, hall.highest))
    draft.line([(-half, 0.0), (half, 0.0), *roof], "GYM", closed=True)
    draft.line([(-half, hall.clear_height), (half, hall.clear_height)], "CLEAR-HEIGHT")
    words = "clear height, under the joists"
    draft.tag(words, (-half * 0.6, hall.clear_height), clear=0.6, layer="NOTES")
    if hall.across_joists == cut.axis:
        for at in hall.joists:
            upper = top if cut.axis == 0 else float(hall.roof_height(at))
            draft.line([(at, hall.clear_height), (at, max(upper, hall.clear_height))], "JOISTS")


def _things(draft, configuration, cut):
    """What stands and hangs: cut, or beyond the plane; gives heights worth a dimension."""
    shown = []
    layers = [(t, "SEATING") for t in configuration.banks]
    layers += [(t, "BALCONY") for t in configuration.balconies]
    layers += [(t, "FIXTURES") for t in configuration.fixtures]
    layers += [(t, "STAGE") for t in configuration.portable_stages]
    for thing, layer in layers:
        seen = _boxes(draft, thing, layer, configuration.hall, cut)
        if seen is None:
            continue
        if layer == "BALCONY":
            _balcony_rows(draft, thing, configuration.hall, cut)
        draft.tag(thing.name, seen, clear=0.5)
        shown += _levels(thing, layer)
    for chairs in configuration.floor_seats:
        _chairs(draft, chairs, configuration, cut)
    if configuration.divider:
        ring = configuration.divider.outline(configuration.hall)
        draft.line(_side(ring, cut), "DIVIDER", closed=True)
        draft.tag("divider", _side(ring, cut)[-1], clear=1.0)
    return shown


def _balcony_rows(draft, deck, hall, cut):
    """The steps of its rows where they are seen from their end: the first row on its floor."""
    if deck.rows < 2 or deck.side not in ENDS[cut.axis]:
        return
    way = 1 if deck.side in ("west", "south") else -1
    wall = -way * (hall.length, hall.width)[cut.axis] / 2
    steps = [((deck.rows - 1) * deck.row_run, deck.height)]
    for row in range(1, deck.rows):
        near, high = (deck.rows - row) * deck.row_run, deck.height + row * deck.row_rise
        steps += [(near, high), (near - deck.row_run, high)]
    draft.line(np.array(steps) * [way, 1] + [wall, 0.0], "SEATING")


def _levels(thing, layer):
    """Heights of a thing that are worth a dimension [m]."""
    if layer == "STAGE":
        return [thing.height]
    if layer == "BALCONY":
        return [thing.height, thing.underside]
    if layer == "SEATING":
        return [_drawn_top(thing)]
    return [thing.top] + ([thing.bottom] if getattr(thing, "bottom", 0.0) > 0.05 else [])


def _chairs(draft, chairs, configuration, cut):
    """Rows of chairs that are cut or lie beyond: one chair for every row that is seen from its end,
    seats and backs of the block where rows run along the section.
    """
    a, b, c, d = chairs.footprint(configuration.hall)
    across, through = ((a, b), (c, d)) if cut.axis == 0 else ((c, d), (a, b))
    if through[1] <= cut.at if cut.axis == 0 else through[0] >= cut.at:
        return
    _, seat, back = CHAIR
    if chairs.facing in ENDS[cut.axis]:
        area = configuration.areas[chairs.name]
        rows = area.points.reshape(area.rows, area.columns, 3)[:, 0, cut.axis]
        for at in rows:
            _chair(draft, at, 1 if chairs.facing == ENDS[cut.axis][1] else -1)
    else:
        draft.rectangle((*across, 0.0, back), "SEATING")
        draft.line([(across[0], seat), (across[1], seat)], "SEATING")
    draft.tag(chairs.name, (sum(across) / 2, back), clear=1.0)


def _chair(draft, at, way):
    """A chair from the side, facing up (1) or down (-1) the view's axis."""
    half, seat, back = CHAIR
    front, rear = at + way * half, at - way * half
    draft.line([(front, 0.0), (front, seat), (rear, seat)], "SEATING")
    draft.line([(rear, 0.0), (rear, back)], "SEATING")


def _boxes(draft, thing, layer, hall, cut):
    """Draw what a thing fills; gives the place for its tag, None where it lies before the plane."""
    if hasattr(thing, "profile") and thing.side in ENDS[cut.axis]:
        return _profile(draft, thing, hall, cut)
    tag = None
    for (a, b, c, d), bottom, top in solids(thing, hall):
        across, through = ((a, b), (c, d)) if cut.axis == 0 else ((c, d), (a, b))
        is_cut = through[0] < cut.at < through[1]
        beyond = through[1] > cut.at if cut.axis == 0 else through[0] < cut.at
        if is_cut or beyond:
            draft.rectangle((*across, bottom, top), "CUT" if is_cut else layer)
            tag = np.array([sum(across) / 2, (bottom + top) / 2])
    return tag


def _profile(draft, bank, hall, cut):
    """The steps of a bank at an end of the section."""
    a, b, c, d = bank.footprint(hall)
    low, high = (c, d) if cut.axis == 0 else (a, b)
    is_cut = low < cut.at < high
    if not is_cut and (high < cut.at if cut.axis == 0 else low > cut.at):
        return None
    way = 1 if bank.side in ("west", "south") else -1
    wall = -way * (hall.length, hall.width)[cut.axis] / 2
    steps = bank.profile * [way, 1] + [wall, 0.0]
    draft.line(steps, "CUT" if is_cut else "SEATING", closed=True)
    return np.array([steps[:, 0].mean(), bank.base_height + (bank.top - bank.base_height) * 0.35])


def _stage(draft, scenario, cut, open_curtain):
    """The stage: its recess where it is cut, its opening in the wall where it lies beyond; its
    curtain is left out where a use opens it.
    """
    stage, hall = scenario.stage, scenario.hall
    if stage is None:
        return []
    words = "stage, curtain shown closed" if open_curtain is None else "stage, curtain closed"
    words = "stage, curtain open" if open_curtain else words
    front, back = (_side(corner, cut)[0] for corner in stage.corners(hall))
    low, top = stage.floor_height, stage.top
    if stage.side in ENDS[cut.axis]:
        wall, rear = sorted((front, back), key=abs)
        draft.line([(wall, low), (rear, low), (rear, top), (wall, top)], "CUT")
        behind = wall + 0.3 * np.sign(rear - wall)
        if not open_curtain:
            draft.line([(behind, low), (behind, top)], "CURTAIN")
        draft.tag(words, ((wall + rear) / 2, (low + top) / 2), clear=0.0)
    elif stage.side == LOOKS[cut.axis]:
        opening = min(front, back), max(front, back), low, top
        draft.rectangle(opening, "STAGE")
        if not open_curtain:
            draft.rectangle(opening, "CURTAIN")
        draft.tag(words, ((front + back) / 2, (low + top) / 2), clear=0.0)
    else:
        return []
    return [low, top]


def _loudspeakers(draft, scenario, cut):
    """Every loudspeaker as it is seen, with its hanging line; gives their heights."""
    boxes = corners(scenario.loudspeakers)
    named = []  # (place, tags)
    points = hanging_points(scenario)
    for c, box, point in zip(scenario.loudspeakers, boxes, points, strict=True):
        outline = outline_of(_side(box, cut))
        draft.line(outline, "LOUDSPEAKERS", closed=True)
        for line in point.lines:
            draft.line(_side(line, cut), "POINTS")
        middle = outline.mean(axis=0)
        near = [n for n, (at, *_) in enumerate(named) if np.abs(at - middle).max() < TOGETHER]
        if near:
            named[near[0]][1].append(label(scenario, c))
        else:
            reach = np.ptp(outline, axis=0).max() / 2 / draft.mm + 1.0
            named.append((middle, [label(scenario, c)], reach))
    for at, tags, reach in named:
        draft.tag(", ".join(tags), at, clear=reach)
    return [c.z for c in scenario.loudspeakers]


def aim_section(result, area, scale, units):
    """Section across an audience: its rows, and the loudspeaker that serves it with axis and edges.

    Parameters
    ----------
    result : Result
        Evaluation of a use in which the area listens
    area : str
        Name of the audience area
    scale : float
        Of the view [-]
    units : str
        "m" or "ft"

    Returns
    -------
    view : View
        Distances from the wall behind the audience, heights over the floor
    """
    draft = Draft(f"Aim through {area}, {result.use.name}", scale, units)
    seen = section(result, area)
    draft.line(seen.outline, "GYM")
    draft.line(seen.steps, "SEATING")
    for ear in seen.seats:
        draft.circle(ear, EAR, "ROWS")
    side = cut_side(result.configuration, area)
    _set_out(draft, result, area, side, seen.seats)
    draft.line(seen.axis, "AIM-LINES")
    for edge in seen.edges:
        draft.line(edge, "COVERAGE")
    loudspeaker = result.scenario.loudspeakers[seen.loudspeaker]
    draft.circle(seen.at, 0.25, "LOUDSPEAKERS")
    up = f"{draft.length(loudspeaker.z)} up"
    draft.tag(f"{loudspeaker.tag} {up}, {_tilt_text(loudspeaker, seen)}", seen.at, clear=4.0)
    draft.tag(f"{side} wall", seen.outline[0] + [0.0, 2.0], clear=1.0, layer="NOTES")
    high = seen.outline.max(axis=0)
    rows = seen.seats[[0, -1]]
    draft.running(1, [(0, 0), (0, high[1]), (0, loudspeaker.z)], (0, 0), 0.0)
    draft.running(0, [(0, 0), (high[0], 0), seen.at, *rows], (0, 0), 0.0)
    return draft.view()


def _set_out(draft, result, area, side, seats):
    """Chairs of the audience under their listeners, and portable stages that the section cuts."""
    configuration = result.configuration
    chairs = next((f for f in configuration.floor_seats if f.name == area), None)
    if chairs is None:
        return
    way = 1 if chairs.facing in ("north", "east") else -1  # away from the south or the west wall
    for at, _ in seats:
        _chair(draft, at, way)
    foot, _, inward = along_wall(side, configuration.hall)
    for stage in configuration.portable_stages:
        a, b, c, d = stage.footprint(configuration.hall)
        through, middle = ((c, d), chairs.y) if side == "west" else ((a, b), chairs.x)
        if through[0] < middle < through[1]:
            ends = sorted(float((np.array([*p, 0.0]) - foot) @ inward) for p in ((a, c), (b, d)))
            draft.rectangle((*ends, 0.0, stage.height), "CUT")
            draft.tag(stage.name, (sum(ends) / 2, stage.height), clear=1.0)


def _tilt_text(loudspeaker, seen):
    """Tilt of a loudspeaker, and of its axis as drawn where that is another: turned out of the
    section, or one of several beams.
    """
    along, down = seen.axis[1] - seen.axis[0]
    drawn = float(np.degrees(np.arctan2(-down, abs(along))))
    tilt, projected = tilt_words(loudspeaker.downtilt_deg), tilt_words(drawn)
    if loudspeaker.type.lobes > 1:
        return f"enclosure {tilt}; one beam drawn, projected {projected}"
    if abs(drawn - loudspeaker.downtilt_deg) > PROJECTED_DEG:
        return f"{tilt}; axis drawn projected, {projected}"
    return tilt
