"""A design at a glance: its plan with the map above its section, as a small drawing."""

from html import escape

import numpy as np

from ...acoustics.throws import cut_side, section
from ...venue.locations import along_wall
from ..scene.space import all_court_lines
from ..theme import FAINT, GROUP_COLORS, INK, QUIET
from .thumbnails import thumbnail

EDGE = 2.0  # around plan and section, as the small plan has it [px]
GAP = 10  # between plan and section [px]
LOUDSPEAKER = 2.5  # half the size of its mark [px]


def design_sketch(view, width=360, plan_height=220, section_height=110):
    """Plan and section of a design in one use.

    Parameters
    ----------
    view : View
        What is looked at
    width : int
        Of both [px]
    plan_height, section_height : int
        Room that each has [px]

    Returns
    -------
    svg : str
        An element for an HTML widget, with words for those who hear it
    """
    area = _area(view)
    count = len(view.scenario.loudspeakers)
    words = (
        f"Plan and section through {area}, {view.result.use.name}: {count}"
        f" loudspeaker{'s' if count > 1 else ''}"
    )
    height = plan_height + GAP + section_height
    plan = thumbnail(view, width, plan_height)
    lines = _plan_lines(view, width, plan_height)
    cut = _section(view, area, width, section_height)
    return (
        f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img"'
        f' style="max-width:100%" aria-label="{escape(words, quote=True)}">'
        f"<title>{escape(words)}</title>{plan}{lines}"
        f'<g transform="translate(0 {plan_height + GAP})">{cut}</g></svg>'
    )


def _area(view):
    """Area that the section goes through: a bank that listens, else the first that does."""
    heard = [a.name for a in view.result.areas]
    banks = [b.name for b in view.result.configuration.banks if b.name in heard]
    return (banks or heard)[0]


def _plan_lines(view, width, height):
    """Court lines, and outlines of what stands and hangs, over the small plan."""
    hall = view.scenario.hall
    k = min((width - 2 * EDGE) / hall.length, (height - 2 * EDGE) / hall.width)

    def path(points, color, wide):
        xy = np.asarray(points, float)[:, :2] * [k, -k] + [width / 2, height / 2]
        return _path(xy, color, wide)

    boxes = [box for _, box in view.result.configuration.footprints]
    corners = [[(a, c), (b, c), (b, d), (a, d), (a, c)] for a, b, c, d in boxes]
    court = path(all_court_lines(view.scenario), FAINT, 0.8)
    return "".join([court, *(path(box, QUIET, 0.9) for box in corners)])


def _path(points, color, wide, dash=""):
    """A line of an SVG; rows of NaN part it."""
    words, begun = [], False
    for x, y in points:
        if not np.isfinite(x):
            begun = False
            continue
        words.append(f"{'L' if begun else 'M'}{x:.1f} {y:.1f}")
        begun = True
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path d="{"".join(words)}" fill="none" stroke="{color}" stroke-width="{wide}"{dashed}/>'
    )


def _section(view, area, width, height):
    """The section: outline, rows, ears, all loudspeakers, and the beam of the one that serves the
    middle of the area most.
    """
    result, cut = view.result, section(view.result, area)
    hall = view.scenario.hall
    foot, _, inward = along_wall(cut_side(result.configuration, area), hall)
    deep = hall.width if abs(inward[1]) > 0.5 else hall.length
    k = min((width - 2 * EDGE) / deep, (height - 2 * EDGE) / hall.highest)
    left, floor = (width - deep * k) / 2, height - EDGE

    def move(points):
        return np.asarray(points, float)[..., :2] * [k, -k] + [left, floor]

    names = [g.name for g in view.scenario.groups]
    marks = []
    for c in view.scenario.loudspeakers:
        x, y = move([(c.position - foot) @ inward, c.z])
        color = GROUP_COLORS[names.index(c.group) % len(GROUP_COLORS)]
        marks.append(
            f'<rect x="{x - LOUDSPEAKER:.1f}" y="{y - LOUDSPEAKER:.1f}" width="{2 * LOUDSPEAKER}"'
            f' height="{2 * LOUDSPEAKER}" fill="{color}" stroke="{INK}" stroke-width="0.6"/>'
        )
    ears = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.2"/>' for x, y in move(cut.seats))
    return "".join(
        [
            _path(move(cut.outline), INK, 1.0),
            _path(move(cut.steps), QUIET, 0.9),
            _path(move(cut.axis), INK, 0.9),
            *(_path(move(edge), QUIET, 0.8, "3 3") for edge in cut.edges),
            f'<g fill="{QUIET}">{ears}</g>',
            *marks,
        ]
    )
