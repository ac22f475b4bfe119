"""The set of drawings of a design: which sheets there are, and what stands in their columns."""

import math

import numpy as np

from ....acoustics.evaluate import evaluate
from ....acoustics.throws import throws
from ....design.revisions import Issue
from ....equipment.hanging import pan_words
from ....equipment.hanging_points import (
    ENGINEER,
    HARDWARE_ROOM,
    POUND,
    hanging_points,
    printed_load,
    total_words,
)
from ....equipment.rack import rack_assumed, rack_place
from ....equipment.schedules import LOADS
from ....venue.enclosures import TOUCH
from ....venue.units import FOOT, measured_text
from .dxf_writer import document
from .frame import About, Table, sheet, stacked
from .paper import choose
from .plans import ceiling_plan, floor_plan, use_plan
from .sections import aim_section, cuts, heights, section_view

DESIGNATOR = "AV"  # before the number of a sheet
STEP = {"m": 0.01, "ft": 0.25 * FOOT / 12}  # to which lengths are printed [m]
SEE = f"Assumptions: schedule '{LOADS}'."
GENERAL = (
    "Dimensions run from the inside faces of the west and the south wall, heights from the floor.",
    "North is the top of the plans as the school's file has it; it need not be the compass's.",
    "Cable routes follow walls and roof, schematically: measure before cutting. Lengths and"
    " conductors are in the schedules.",
    "Chairs, portable stages and bleachers as they stand in a use are on the sheets of the uses.",
)


def drawing_set(made, *, units=None, issue=None):
    """All sheets of a design.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    units : str, optional
        "ft" or "m"; the scenario's own when left out
    issue : Issue, optional
        Revision, date and names for the title block; lines to write on when left out

    Returns
    -------
    sheets : list of Sheet
        Floor plan, reflected-ceiling plan, sections, aim, and one for every use
    """
    scenario, units = made.scenario, units or made.scenario.units
    about, scale = _about(scenario, units, issue or Issue(revision=""))
    planes = cuts(scenario)
    plan = floor_plan(scenario, made.amplification, planes, scale, units)
    ceiling = ceiling_plan(scenario, scale, units)
    across = [section_view(scenario, cut, scale, units) for cut in planes]
    pages = [("Floor plan and cables", [plan], _floor_words(made, units))]
    pages.append(("Hanging points", [ceiling], _ceiling_words(made, units)))
    pages.append(("Sections", across, (GENERAL[0], _heights(scenario, units))))
    pages.append(("Aim of the loudspeakers", _aims(made.results, scale, units), (GENERAL[0],)))
    for result in made.results.values():
        pages.append(_use_page(result, scale, units))
    set_out = _set_out(made.results, planes, scale, units)
    if set_out:
        pages.append(("Sections of the uses", set_out, (GENERAL[0],)))
    return _numbered(pages, about)


def _set_out(results, planes, scale, units):
    """A section of every use that sets chairs or stages out or opens the curtain, along the way
    that people face.
    """
    found = []
    for result in results.values():
        gym = result.configuration
        opens = gym.stage is not None and gym.curtain_open
        if gym.floor_seats or gym.portable_stages or opens:
            facing = gym.floor_seats[0].facing if gym.floor_seats else ""
            side = facing or (gym.stage.side if opens else "east")
            cut = planes[side in ("north", "south")]
            found.append(section_view(result.scenario, cut, scale, units, result=result))
    return found


def use_sheets(result, *, units=None, issue=None):
    """Sheets of one use: its plan, and a section through every bank.

    Parameters
    ----------
    result : Result
        Evaluation of the use
    units : str, optional
        "ft" or "m"; the scenario's own when left out
    issue : Issue, optional
        As for ``drawing_set``

    Returns
    -------
    sheets : list of Sheet
        The plan first
    """
    scenario, units = result.scenario, units or result.scenario.units
    about, scale = _about(scenario, units, issue or Issue(revision=""))
    banks = [a.name for a in result.configuration.areas.values() if a.kind == "bank"]
    aims = [aim_section(result, name, scale, units) for name in banks]
    pages = [_use_page(result, scale, units)]
    if aims:
        pages.append((f"Aim in '{result.use.name}'", aims, (GENERAL[0],)))
    return _numbered(pages, about)


def drawing(scenario, use=None, *, units=None):
    """Plan, and a section through every bank, of one use, as DXF.

    Parameters
    ----------
    scenario : Scenario
        The design
    use : str, optional
        Whose seating and aim lines are drawn; the first when left out
    units : str, optional
        "ft" or "m"; the scenario's own when left out

    Returns
    -------
    document : ezdxf.document.Drawing
        Plan with the origin at the center of the gym, sections beside it
    """
    units = units or scenario.units
    return document(use_sheets(evaluate(scenario, use), units=units), units)


def _about(scenario, units, issue):
    """What all sheets share, and the scale of their views."""
    hall, stage = scenario.hall, scenario.stage
    wide, high = hall.length, hall.width
    if stage and stage.side in ("east", "west"):
        wide += stage.depth
    elif stage:
        high += stage.depth
    (paper, *size), scale = choose(wide, high, units)
    about = About(school=scenario.name, units=units, paper=paper, size=tuple(size), issue=issue)
    return about, scale


def _numbered(pages, about):
    """Sheets in their order; views that need more paper go on with the next number."""
    found = []
    for title, views, extras in pages:
        for placed in stacked(views, about) if views else [[]]:
            number = f"{DESIGNATOR}-{len(found) + 1}"
            found.append(sheet(number, title, placed, about, extras))
    return found


def _use_page(result, scale, units):
    """Title, view, table and words of the sheet of one use."""
    title = f"Use '{result.use.name}'"
    playing = zip(result.scenario.loudspeakers, result.playing, strict=True)
    off = [c.tag for c, plays in playing if not plays]
    words = [f"Loudspeakers off in this use: {', '.join(off) or 'none'}."]
    stowed = _stowed(result)
    if stowed:
        words.append(f"Stowed in this use: {', '.join(stowed)}.")
    walking = [m.microphone.name for m in result.microphones if len(m.positions) > 1]
    if walking:
        words.append(f"Microphones that walk: {', '.join(walking)}.")
    return title, [use_plan(result, scale, units)], [_landing(result, off, units), *words]


def _stowed(result):
    """What the school has and this use does not take: folded bleachers, chairs, stages."""
    scenario, gym = result.scenario, result.configuration
    folded = [f"{b.name} (folded)" for b in gym.banks if not b.rows_out]
    used = {thing.name for thing in (*gym.banks, *gym.floor_seats, *gym.portable_stages)}
    every = (*scenario.banks, *scenario.floor_seats, *scenario.portable_stages)
    return folded + [thing.name for thing in every if thing.name not in used]


def _landing(result, off, units):
    """Table of where the axes of what plays land, to aim by."""
    walls = np.array([result.scenario.hall.length, result.scenario.hall.width, 0.0]) / 2
    rows = tuple(
        (
            beam.tag,
            beam.part,
            *(measured_text(float(v), units) for v in beam.end + walls),
            measured_text(beam.distance, units),
        )
        for beam in throws(result)
        if beam.tag not in off
    )
    return Table(
        title="Where the axes land",
        columns=("tag", "on", "from west", "from south", "height", "throw"),
        rows=rows,
    )


def _heights(scenario, units):
    """Table of the heights that the sections show."""
    rows = tuple((name, measured_text(high, units)) for name, high in heights(scenario))
    return Table(title="Heights over the floor", columns=("what", "height"), rows=rows)


def _aims(results, scale, units):
    """A section through every audience, from the use in which it counts most."""
    best = {}
    for result in results.values():
        for name, area in result.configuration.areas.items():
            weight = result.use.listens.get(name, 0.0)
            if area.kind in ("bank", "balcony", "floor") and weight > 0:
                if name not in best or weight > best[name][0]:
                    best[name] = weight, result
    return [aim_section(result, name, scale, units) for name, (_, result) in best.items()]


def _floor_words(made, units):
    """Notes of the floor plan, and its cables."""
    scenario = made.scenario
    x, y, z = rack_place(scenario)
    west, south = x + scenario.hall.length / 2, y + scenario.hall.width / 2
    place = ", ".join(
        f"{measured_text(v, units)} {words}"
        for v, words in ((west, "from the west wall"), (south, "from the south wall"))
    )
    assumed = " Place of the rack: to be agreed." if rack_assumed(scenario) else ""
    rack = f"Rack: {place}, amplifiers {measured_text(z, units)} over the floor.{assumed}"
    cables = tuple(
        (c.cable, " - ".join(c.tags), c.conductor, measured_text(c.length, units))
        for c in made.amplification.channels
    )
    columns = ("cable", "rack to", "conductor", "length")
    return (*GENERAL, rack, Table(title="Cables", columns=columns, rows=cables))


def _ceiling_words(made, units):
    """Tables of the reflected-ceiling plan: what each point carries, what hangs where, and what
    does not fit under the joists.
    """
    scenario, amplification = made.scenario, made.amplification
    found = hanging_points(scenario, amplification)
    points = tuple(_point_cells(p, scenario.hall, units) for p in found)
    fronts = tuple(_front_cells(c, scenario.hall, units) for c in scenario.loudspeakers)
    return (
        Table(
            title="Hanging points, as dimensioned, with least rated loads (WLL)",
            columns=(
                "tag",
                "from west",
                "from south",
                "load",
                "held by",
                "leg or anchors",
                "point, safety",
            ),
            rows=points,
            note=f"{total_words(scenario, amplification, units)} {ENGINEER} {SEE}",
        ),
        Table(
            title="Loudspeakers, middle of the front",
            columns=("tag", "from west", "from south", "height", "faces", "tilt"),
            rows=fronts,
        ),
        *_over_words(scenario, units),
        *_frame_words(found, units),
    )


def _over_words(scenario, units):
    """A sentence on enclosures that reach over the clear height."""
    over = [p for p in hanging_points(scenario) if p.over > TOUCH]
    if not over:
        return ()
    most = measured_text(max(p.over for p in over), units)
    tags = ", ".join(p.tag for p in over)
    return (
        f"{tags}: the top reaches up to {most} over the clear height, into the depth of the joists."
        " Hang them between joists, after a look on site that no duct, pipe or bracing is there;"
        " else hang them lower and have the aim checked.",
    )


def _frame_words(points, units):
    """A sentence on enclosures that are too near the structure for a bridle."""
    no_bridle = [p for p in points if p.kind in ("lines", "frame")]
    if not no_bridle:
        return ()
    lower = measured_text(max(p.lower_by for p in no_bridle) + STEP[units] / 2, units)
    return (
        f"{', '.join(p.tag for p in no_bridle)}: no room for a bridle, whose legs meet"
        f" {measured_text(HARDWARE_ROOM, units)} under the structure. Two points at the enclosure's"
        " sides hold it, half of the load each; each is rated for the whole. A bridle has room"
        f" where it hangs {lower} lower; the aim is then to be checked.",
    )


def _from_walls(point, hall, units):
    """Cells: from the west wall, from the south wall."""
    walls = np.array([hall.length, hall.width]) / 2
    return tuple(measured_text(float(v), units) for v in np.asarray(point)[:2] + walls)


def _point_cells(point, hall, units):
    """A row of the table of hanging points."""

    def rated(kg):
        return f"{math.ceil(kg / POUND)} lb" if units == "ft" else f"{math.ceil(kg)} kg"

    kg, lb = printed_load(point)
    return (
        point.tag,
        *_from_walls(point.position, hall, units),
        f"{lb:.1f} lb" if units == "ft" else f"{kg:.1f} kg",
        _legs(point),
        rated(point.leg_rated_kg),
        rated(point.rated_kg),
    )


def _front_cells(loudspeaker, hall, units):
    """A row of the table of loudspeakers."""
    pan = pan_words(loudspeaker.pan_deg, loudspeaker.downtilt_deg)
    return (
        loudspeaker.tag,
        *_from_walls(loudspeaker.position, hall, units),
        measured_text(loudspeaker.z, units),
        pan.removeprefix("faces "),
        f"{loudspeaker.downtilt_deg:.1f}°",
    )


def _legs(point):
    """What holds it in a cell, and the angle of a bridle's legs."""
    if point.kind == "bridle":
        return f"legs {point.leg_deg:.0f}°"
    return {"bracket": "bracket", "lines": "2 lines", "frame": "frame"}[point.kind]
