"""The gym before it has loudspeakers: plan above section, with a letter for every length that is
asked for, and what does not fit in red with a number.

The lines are those of the drawing in the meeting; here they stand in an SVG, since the survey sheet
prints the same sketch.
"""

from html import escape
from itertools import groupby

import numpy as np

from ...acoustics.throws import cut_lines, hall_outline
from ...venue.locations import along_wall
from ...venue.units import length_text
from ..drawing.picture import joist_lines, row_lines
from ..scene.space import court_lines
from ..theme import FAINT, INK, PAPER, QUIET
from .labels import WIDE, Labels, text_box

FLOOR, SEATS, THING = "#f7f2e8", "#e4dfd6", "#cfd6dd"
RED, RED_FILL = "#b3261e", "#fbe4e2"
EDGE = 46  # around the drawings, for dimension lines [px]
GAP = 64  # between plan and section [px]
CUT_SHARE = 0.4  # of the height that the section may take
LETTER = 9  # radius of a letter's ring [px]
SMALL = 11  # size of type [px]
# letters of bleachers that have no line where their length is 0, by the field of a bank
NOUGHT = {
    "offset": "J off the wall's middle",
    "setback": "L from the wall to the bank's back",
    "base_height": "M deck under a bank",
}


class _Frame:
    """Places of one drawing on the sheet: meters in, pixels out."""

    def __init__(self, x, y, k):
        self.x, self.y, self.k = x, y, k

    def at(self, u, v):
        """Pixels of a place, v upward [px]."""
        return self.x + u * self.k, self.y - v * self.k

    def path(self, points, closed=False):
        """An SVG path through points (n, 2); rows of NaN part it."""
        words, begun = [], False
        for u, v in np.asarray(points, float)[:, :2]:
            if np.isnan(u):
                begun = False
                continue
            x, y = self.at(u, v)
            words.append(f"{'L' if begun else 'M'}{x:.1f} {y:.1f}")
            begun = True
        return "".join(words) + ("Z" if closed else "")


def sketch(school, configuration, faults=(), *, size=(820, 760), values=True):
    """Plan and section of a school.

    Parameters
    ----------
    school : NewSchool
        Gives the lengths that the letters stand for
    configuration : HallConfiguration
        The gym as far as it can be drawn
    faults : sequence of Fault
        What does not fit; its number stands at the thing
    size : tuple of int
        Width and height of the sheet [px]
    values : bool
        Whether lengths stand beside their letters; without, the letters alone

    Returns
    -------
    svg : str
        An element, with words for those who hear it
    """
    return _Sketch(school, configuration, faults, size, values).svg()


def numbered(faults):
    """Faults with the number that stands at their thing.

    Parameters
    ----------
    faults : sequence of Fault
        What does not fit

    Returns
    -------
    numbered : list of tuple
        Number of the thing, from 1, and the fault
    """
    names = list(dict.fromkeys(fault.name for fault in faults))
    return [(names.index(fault.name) + 1, fault) for fault in faults]


class _Sketch:
    """A sheet that is being drawn."""

    def __init__(self, school, configuration, faults, size, values):
        self.school, self.c, self.size, self.values = school, configuration, size, values
        self.units, self.hall = school.units, configuration.hall
        self.number = {fault.name: n for n, fault in numbered(faults)}
        self.parts, self.late, self.taken = [], [], set()
        self.measures, self.labels = [], Labels(size)
        self.across = self._cut_side() in ("north", "south")
        self._lay_out()

    # ---- where everything goes

    def _cut_side(self):
        """Wall that the section is square to: that of a bank, the south one where there is none."""
        sides = [bank.side for bank in self.c.banks]
        first = next(iter(sides), "south")
        return first if first in ("east", "west") and "north" not in sides else "south"

    def _lay_out(self):
        hall, (wide, high) = self.hall, self.size
        out = self._outside()
        length, width = hall.length + out["west"] + out["east"], hall.width
        width += out["south"] + out["north"]
        deep = hall.width if self.across else hall.length
        tall = max([hall.highest, *(b.top for b in self.c.banks)])
        room = wide - 2 * EDGE, high - 2 * EDGE - GAP
        # the section has its own scale, or its letters would find no room
        k = min(room[0] / length, (1 - CUT_SHARE) * room[1] / width)
        cut_k = min(0.86 * room[0] / deep, (room[1] - width * k) / tall)
        k = min(room[0] / length, (room[1] - tall * cut_k) / width)
        left = (wide - length * k) / 2 + (hall.length / 2 + out["west"]) * k
        self.plan = _Frame(left, EDGE + (hall.width / 2 + out["north"]) * k, k)
        floor = EDGE + width * k + GAP + tall * cut_k
        self.cut = _Frame((wide - deep * cut_k) / 2, floor, cut_k)

    def _outside(self):
        """How far a stage, or something that does not fit, reaches out of each side [m]."""
        hall, found = self.hall, dict.fromkeys(("north", "south", "east", "west"), 0.0)
        if self.c.stage:
            found[self.c.stage.side] = self.c.stage.depth
        boxes = [box for _, box in self.c.footprints] + [self.c.court.footprint()]
        for west, east, south, north in boxes:
            x, y = hall.length / 2, hall.width / 2
            for side, far in zip(found, (north - y, -south - y, east - x, -west - x), strict=True):
                found[side] = max(found[side], min(far, 8.0))
        return found

    def svg(self):
        """The sheet as an element."""
        self._plan()
        self._section()
        self._not_drawn()
        self._write_measures()
        for x, y, letter, color in self.late:  # nothing lies over them
            self._ring(x, y, letter, color)
        wide, high = self.size
        words = escape(self._words(), quote=True)
        return (
            f'<svg viewBox="0 0 {wide} {high}" width="100%" height="100%" role="img"'
            f' preserveAspectRatio="xMidYMin meet" aria-label="{words}"'
            f" style=\"font-family:system-ui,'Segoe UI',Helvetica,Arial,sans-serif\">"
            f"<title>{words}</title>{_HATCH}{''.join(self.parts)}</svg>"
        )

    def _words(self):
        """The sheet in a sentence."""
        hall, say = self.hall, self._say
        banks = ", ".join(f"{b.name} with {b.rows} rows" for b in self.c.banks) or "no bleachers"
        wrong = f" {len(self.number)} things do not fit." if self.number else ""
        return (
            f"Plan and section: {say(hall.length)} by {say(hall.width)}, clear height"
            f" {say(hall.clear_height)}; {banks}.{wrong}"
        )

    def _say(self, meters):
        return length_text(meters, self.units)

    # ---- pens

    def _path(self, d, fill="none", color=INK, width=1.0, dash=""):
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="{d}" fill="{fill}" stroke="{color}" stroke-width="{width}"{dashed}/>'
        )

    def _box(self, frame, box, name="", fill="none", **pen):
        """A rectangle of the plan or section; red where its thing does not fit."""
        a, b, c, d = box
        corners = np.array([(a, c), (b, c), (b, d), (a, d)])
        if name in self.number:
            pen |= {"color": RED, "width": 2.2}
            fill = "url(#gt-red)"
        self._path(frame.path(corners, closed=True), fill=fill, **pen)
        if name in self.number and name not in self.taken:
            self.taken.add(name)
            x, y = frame.at((a + b) / 2, (c + d) / 2)
            self.late.append((x, y, str(self.number[name]), RED))

    def _text(self, x, y, words, **looks):
        """Words; looks are ``anchor``, ``color``, ``size``, ``turn`` and ``weight``."""
        turn = looks.get("turn")
        kind = (looks.get("anchor", "middle"), turn, looks.get("size", SMALL))
        self.labels.take(text_box(x, y, words, *kind))
        turned = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn else ""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{looks.get("anchor", "middle")}"'
            f' fill="{looks.get("color", INK)}" font-size="{looks.get("size", SMALL)}"'
            f' font-weight="{looks.get("weight", 400)}" paint-order="stroke" stroke="{PAPER}"'
            f' stroke-width="3" stroke-linejoin="round"{turned}>{escape(words)}</text>'
        )

    def _ring(self, x, y, letter, color):
        self.parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{LETTER}" fill="{color}" stroke="{PAPER}"/>'
            f'<text x="{x:.1f}" y="{y + 4:.1f}" text-anchor="middle" fill="{PAPER}" font-size="11"'
            f' font-weight="600">{escape(letter)}</text>'
        )

    def _measure(self, a, b, letter, of, *, side=1):
        """A dimension line between two places in pixels, with its letter; ``of`` is the key and
        the length. Its words follow when all lines are there.
        """
        (x0, y0), (x1, y1) = a, b
        tick = 4
        marks = "".join(
            f"M{x - tick} {y + tick:.1f}L{x + tick:.1f} {y - tick:.1f}" for x, y in (a, b)
        )
        self._path(f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}{marks}", color=QUIET, width=0.9)
        upright = abs(x1 - x0) < abs(y1 - y0)
        # the words find room above the letter of an upright line
        shares = (0.3, 0.5, 0.7, 0.15) if upright else (0.5, 0.35, 0.65, 0.2, 0.8)
        low, high = (a, b) if y0 > y1 else (b, a)
        places = [
            (x0 + share * (x1 - x0), y0)
            if not upright
            else (x0, low[1] + share * (high[1] - low[1]))
            for share in shares
        ]
        x, y = self.labels.best(
            places, lambda at: (at[0] - LETTER, at[0] + LETTER, at[1] - LETTER, at[1] + LETTER)
        )
        self.labels.take((x - LETTER, x + LETTER, y - LETTER, y + LETTER))
        self.labels.take((min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)))
        self.late.append((x, y, letter, INK))
        self.measures.append((x, y, abs(y1 - y0) if upright else 0.0, of, side))

    def _write_measures(self):
        """Lengths beside their letters, where nothing else stands."""
        for x, y, upright, (key, meters), side in self.measures if self.values else ():
            assumed = self.school.state(key) in ("assumed", "not sure")
            words = _brief(self._say(meters)) + (", assumed" if assumed else "")
            fits = 0.7 * upright > LETTER + 5 + WIDE * len(words)
            at = self.labels.best(
                _beside(x, y, upright, fits, side),
                lambda at: text_box(at[0], at[1], words, at[2], at[3]),  # noqa: B023
            )
            self._text(
                at[0], at[1], words, anchor=at[2], turn=at[3], color=QUIET if assumed else INK
            )

    def _not_drawn(self):
        """What is asked about bleachers and cannot be drawn, since it is nought."""
        found = [
            words
            for field, words in NOUGHT.items()
            if self.c.banks and not any(getattr(bank, field) for bank in self.c.banks)
        ]
        if found:
            x, y = self.size[0] / 2, self.size[1] - 6
            words = f"Not drawn, since 0 here: {', '.join(found)}."
            self._text(x, y, words, color=QUIET, size=10)

    # ---- the plan

    def _plan(self):
        hall, c, plan = self.hall, self.c, self.plan
        x, y = hall.length / 2, hall.width / 2
        self._box(plan, (-x, x, -y, y), fill=FLOOR, color="none")
        self._seats()
        lines = [court_lines(one) for one in (c.court, *(s.court for s in c.side_courts))]
        color = RED if "court" in self.number else "#a8763e"
        self._path(plan.path(np.concatenate(lines)), color=color, width=1.2)
        for line in joist_lines(hall):
            self._path(plan.path(line), color=FAINT, width=0.8, dash="8 4")
        self._things()
        walls = [(-x, -y), (x, -y), (x, y), (-x, y)]
        self._path(plan.path(walls, closed=True), width=2.6)
        self.labels.take_line([plan.at(*corner) for corner in [*walls, walls[0]]])
        self._stage_in_plan()
        self._plan_measures()
        self._plan_words()

    def _seats(self):
        """Banks and chairs with their rows."""
        for bank in self.c.banks:
            self._box(self.plan, bank.footprint(self.hall), bank.name, fill=SEATS, width=0.9)
        for block in self.c.floor_seats:
            for box in block.blocks():
                self._box(self.plan, box, block.name, fill="#eee9f3", width=0.8)
            self._chair_rows(block)
        for aisle in self.c.aisle_footprints:
            self._box(self.plan, aisle, fill=PAPER, color=FAINT, width=0.6)
        # of banks that leave no room on the court there are no areas yet
        seats = [thing.audience_area(self.hall) for thing in (*self.c.banks, *self.c.balconies)]
        for line in row_lines([area for area in seats if area is not None]):
            self._path(self.plan.path(line), color="#b9b2a6", width=0.6)

    def _chair_rows(self, block):
        """A line for each row of chairs."""
        a, b, c, d = block.footprint()
        along = block.facing in ("east", "west")
        low, high = (a, b) if along else (c, d)
        for at in low + (np.arange(block.rows) + 0.5) * (high - low) / block.rows:
            ends = [(at, c), (at, d)] if along else [(a, at), (b, at)]
            self._path(self.plan.path(ends), color="#b7a9c6", width=0.6)

    def _things(self):
        """Stages, balconies, a divider and fixtures."""
        banks = {b.name for b in self.c.banks} | {f.name for f in self.c.floor_seats}
        for thing, box in self.c.footprints:
            if thing.name in banks:
                continue
            if thing in self.c.balconies:
                self._box(self.plan, box, thing.name, width=1.2, dash="7 4")
            elif thing is self.c.divider:
                self._box(self.plan, box, thing.name, fill=INK, width=1.4)
            else:
                self._box(self.plan, box, thing.name, fill=THING, width=0.9)
        if self.c.divider is None and "divider" in self.school.tables:
            self._divider()

    def _divider(self):
        """The curtain where it is drawn, which is not in every use."""
        table, hall = self.school.tables["divider"], self.hall
        x, y = hall.length / 2, hall.width / 2
        if table.get("x") is not None:
            line = [(table["x"], -y), (table["x"], y)]
        else:
            line = [(-x, table.get("y") or 0.0), (x, table.get("y") or 0.0)]
        wrong = "divider" in self.number
        self._path(self.plan.path(line), color=RED if wrong else INK, width=2.0, dash="3 4")
        px, py = self.plan.at(*line[1])
        self._text(px, py - 6, "curtain", color=RED if wrong else QUIET)

    def _stage_in_plan(self):
        stage = self.c.stage
        if not stage:
            return
        a, b = stage.corners(self.hall)
        box = (min(a[0], b[0]), max(a[0], b[0]), min(a[1], b[1]), max(a[1], b[1]))
        self._box(self.plan, box, "stage", fill="#eadfc8", width=1.2)

    def _plan_words(self):
        """Names of what stands there, and north."""
        things = (*self.c.banks, *self.c.floor_seats, *self.c.portable_stages)
        for thing in (*things, *self.c.balconies):
            a, b, c, d = thing.footprint(self.hall)
            x, y = self.plan.at((a + b) / 2, (c + d) / 2)
            turn = -90 if (d - c) > 1.4 * (b - a) else None
            seats = getattr(thing, "seats", 0)
            words = f"{thing.name}, {seats:,} seats" if seats else thing.name
            off = 18 if thing.name in self.number else 4
            steps = [(0, off), (0, -off - 6), (0, off + 13), (0, -off - 19), (60, off), (-60, off)]
            places = [(x + v, y + u) if turn else (x + u, y + v) for u, v in steps]
            x, y = self.labels.best(
                places,
                lambda at: text_box(*at, words, turn=turn),  # noqa: B023
            )
            self._text(x, y, words, turn=turn)
        if self.c.stage:
            a, b = self.c.stage.corners(self.hall)
            x, y = self.plan.at((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
            self._text(x, y - 8, "stage")
        for name, boxes in groupby(self.c.fixtures, key=lambda f: f.name):
            for fixture in boxes:
                a, b, _, d = fixture.footprints(self.hall)[0]
                x, y = self.plan.at((a + b) / 2, d)
                self._text(x, y - 4, name, color=QUIET, size=10)
        self._text(16, 30, "N", size=13, weight=700)
        self._path("M16 56V36M12 43L16 35L20 43", width=1.3)
        self._text(34, 18, "Plan", anchor="start", size=13, weight=700)

    def _plan_measures(self):
        hall, plan = self.hall, self.plan
        x, y = hall.length / 2, hall.width / 2
        out = self._outside()
        low = plan.at(0, -y - out["south"])[1] + 22
        self._measure(
            (plan.at(-x, 0)[0], low), (plan.at(x, 0)[0], low), "A", ("hall.length", hall.length)
        )
        far = plan.at(-x - out["west"], 0)[0] - 22
        self._measure(
            (far, plan.at(0, -y)[1]), (far, plan.at(0, y)[1]), "B", ("hall.width", hall.width)
        )
        self._bank_measures()
        if self.c.stage:
            self._stage_measures()
        for one in self.c.balconies[:1]:
            self._balcony_measures(one)

    def _bank_measures(self):
        """Length of the first bank of each wall, and what is free behind it."""
        for bank in {b.side: b for b in reversed(self.c.banks)}.values():
            a, b = (bank.corner(self.hall, u, bank.depth, 0)[:2] for u in _ends(bank))
            inward = along_wall(bank.side, self.hall)[2][:2]
            off = inward * 14 / self.plan.k
            ends = self.plan.at(*(a + off)), self.plan.at(*(b + off))
            self._measure(*ends, "F", (f"banks.{bank.name}.length", bank.length))
        self._off_the_wall()

    def _off_the_wall(self):
        """What is free behind the first bank that stands off its wall, and how far the first one
        that is off the wall's middle is from it.
        """
        for bank in [b for b in self.c.banks if b.setback][:1]:
            inward = along_wall(bank.side, self.hall)[2][:2]
            back = bank.corner(self.hall, bank.length / 4, 0, 0)[:2]
            ends = self.plan.at(*(back - inward * bank.setback)), self.plan.at(*back)
            self._measure(*ends, "L", (f"banks.{bank.name}.setback", bank.setback))
        for bank in [b for b in self.c.banks if b.offset][:1]:
            foot, along, inward = (part[:2] for part in along_wall(bank.side, self.hall))
            middle = foot + inward * (bank.setback + 0.75 * bank.depth)
            ends = self.plan.at(*middle), self.plan.at(*(middle + bank.offset * along))
            self._measure(*ends, "J", (f"banks.{bank.name}.offset", abs(bank.offset)))

    def _stage_measures(self):
        stage = self.c.stage
        a, b = (corner[:2] for corner in stage.corners(self.hall))
        _, along, inward = along_wall(stage.side, self.hall)
        along, inward = along[:2], inward[:2]
        front = a + 14 / self.plan.k * inward
        ends = self.plan.at(*front), self.plan.at(*(front + stage.width * along))
        self._measure(*ends, "N", ("stage.width", stage.width))
        middle = a + 0.25 * stage.width * along
        ends = self.plan.at(*middle), self.plan.at(*(middle - stage.depth * inward))
        self._measure(*ends, "Q", ("stage.depth", stage.depth))

    def _balcony_measures(self, one):
        """Depth and length of the first balcony, or depth of a track."""
        track = next(
            (t for t in self.school.things("tracks") if one.name.startswith(f"{t} ")), None
        )
        a, b = (one.corner(self.hall, u, one.depth, 0)[:2] for u in _ends(one))
        inward = along_wall(one.side, self.hall)[2][:2]
        at = a + 0.15 * (b - a)
        ends = self.plan.at(*(at - inward * one.depth)), self.plan.at(*at)
        key = f"tracks.{track}.depth" if track else f"balconies.{one.name}.depth"
        self._measure(*ends, "V" if track else "S", (key, one.depth))
        if not track:
            off = inward * 14 / self.plan.k
            ends = self.plan.at(*(a + off)), self.plan.at(*(b + off))
            self._measure(*ends, "U", (f"balconies.{one.name}.length", one.length))

    # ---- the section

    @property
    def _walls_cut(self):
        """Walls at the left and the right end of the section. It looks at the stage where that is
        at one of the walls ahead, else to the west or the north; looking east, north is left.
        """
        stage = self.c.stage and self.c.stage.side
        if self.across:
            return ("north", "south") if stage == "east" else ("south", "north")
        return ("east", "west") if stage == "south" else ("west", "east")

    def _section(self):
        hall, cut = self.hall, self.cut
        left = self._walls_cut[0]
        outline = hall_outline(hall, left)
        deep = hall.width if self.across else hall.length
        self._path(cut.path(outline), fill=PAPER, color="none")
        self._stage_in_cut()
        for bank in self.c.banks:
            self._bank_in_cut(bank, deep)
        foot, along, inward = along_wall(left, hall)
        at = 0.31 * (hall.length if self.across else hall.width) / 2
        for line in cut_lines(self.c, along, at):
            flat = np.stack([(line - foot) @ inward, line[:, 2]], axis=-1)
            self._path(cut.path(flat), color=QUIET, width=1.4)
        for fixture in self.c.fixtures:
            self._fixture_in_cut(fixture, foot, inward)
        self._path(
            cut.path([(0, hall.clear_height), (deep, hall.clear_height)]), color=QUIET, dash="6 4"
        )
        self._path(cut.path(outline, closed=True), width=2.2)
        self.labels.take_line([cut.at(*corner) for corner in outline])
        self._section_words(deep)
        self._section_measures(deep)

    def _section_words(self, deep):
        """Where the section looks to, and its end walls."""
        x, y = self.cut.at(0, self.hall.highest)
        looks = {"north": "east", "south": "west", "west": "north", "east": "south"}
        left, right = self._walls_cut
        title = f"Section, looking {looks[left]}"
        self._text(x, y - 14, title, anchor="start", size=13, weight=700)
        for at, words in ((0, left), (deep, right)):
            x, y = self.cut.at(at, 0)
            self._text(x, y + 16, words, color=QUIET)

    def _bank_in_cut(self, bank, deep):
        """Profile of a bank that the section cuts across."""
        if bank.side not in self._walls_cut:
            return
        profile = bank.profile.copy()
        if bank.side == self._walls_cut[1]:
            profile[:, 0] = deep - profile[:, 0]
        for (u, z), (v, w) in zip(profile, profile[1:], strict=False):
            if z == w and z > bank.base_height:  # what stands under a row
                (x0, y0), (x1, y1) = self.cut.at(u, z), self.cut.at(v, bank.base_height)
                self.labels.take((min(x0, x1), max(x0, x1), y0, y1))
        wrong = bank.name in self.number
        self._path(
            self.cut.path(profile, closed=True),
            fill="url(#gt-red)" if wrong else SEATS,
            color=RED if wrong else INK,
            width=2.0 if wrong else 1.0,
        )

    def _fixture_in_cut(self, fixture, foot, inward):
        """Boxes of a fixture as seen in the direction of the section."""
        for low, high in fixture.boxes(self.hall):
            ends = sorted(((low - foot) @ inward, (high - foot) @ inward))
            box = (*ends, low[2], high[2])
            self._box(self.cut, box, fixture.name, color=QUIET, width=0.8, dash="2 2")

    def _stage_in_cut(self):
        """The opening, where one looks at it, or the recess where the section runs into it."""
        stage = self.c.stage
        if not stage:
            return
        low, top = stage.floor_height, stage.top
        deep = self.hall.width if self.across else self.hall.length
        if stage.side in self._walls_cut:
            far = stage.side == self._walls_cut[1]
            box = (deep, deep + stage.depth, low, top) if far else (-stage.depth, 0, low, top)
        else:
            foot, _, inward = along_wall(self._walls_cut[0], self.hall)
            ends = [(corner - foot) @ inward for corner in stage.corners(self.hall)]
            box = (min(ends), max(ends), low, top)
        self._box(self.cut, box, "stage", fill="#fbf6ea", color=QUIET, dash="5 3")
        # away from the bank whose rows are measured; of a recess, inside the gym
        bank, cut = self._bank_measured(), self.cut
        left = bank is not None and bank.side == self._walls_cut[1]
        if stage.side in self._walls_cut:
            left = stage.side == self._walls_cut[0]
        low_end, high_end = max(box[0], 0.0), min(box[1], deep)
        x = cut.at(low_end, 0)[0] + 16 if left else cut.at(high_end, 0)[0] - 16
        ground, floor, over = (self.cut.at(0, z)[1] for z in (0, low, top))
        side = 1 if left else -1
        opening = ("stage.opening_height", stage.opening_height)
        self._measure((x, floor), (x, over), "P", opening, side=side)
        self._measure((x, ground), (x, floor), "R", ("stage.floor_height", low), side=side)

    def _section_measures(self, deep):
        hall, cut = self.hall, self.cut
        x = cut.at(deep * 0.56, 0)[0]
        self._measure(
            (x, cut.y),
            (x, cut.at(0, hall.clear_height)[1]),
            "C",
            ("hall.clear_height", hall.clear_height),
        )
        far = cut.at(deep, 0)[0] + 22
        self._measure(
            (far, cut.y),
            (far, cut.at(0, hall.height)[1]),
            "D",
            ("hall.height", hall.height),
            side=-1,
        )
        if hall.ridge_height is not None and self.across:
            x = cut.at(deep / 2, 0)[0]
            self._measure(
                (x, cut.y),
                (x, cut.at(0, hall.highest)[1]),
                "E",
                ("hall.ridge_height", hall.highest),
            )
        bank = self._bank_measured()
        if bank:
            self._row_measures(bank, deep, far=bank.side == self._walls_cut[1])
        for bank in [b for b in self.c.banks if b.side in self._walls_cut and b.base_height][:1]:
            at = bank.setback + 0.7 * bank.depth
            x = self.cut.at(deep - at if bank.side == self._walls_cut[1] else at, 0)[0]
            high = self.cut.at(0, bank.base_height)[1]
            of = (f"banks.{bank.name}.base_height", bank.base_height)
            self._measure((x, self.cut.y), (x, high), "M", of)
        self._height_measures(deep)

    def _bank_measured(self):
        """Bank whose rows the section measures; None where it shows none."""
        return next((b for b in self.c.banks if b.side in self._walls_cut and b.rows_out), None)

    def _row_measures(self, bank, deep, far):
        """Row depth, rise, first seat and base of one bank."""
        key, lift = f"banks.{bank.name}.", 16 / self.cut.k
        front, row = bank.setback + bank.depth, min(2, bank.rows_out - 1)
        top = bank.first_seat + row * bank.row_rise + lift
        ends = (front - row * bank.row_run, top), (front - (row + 1) * bank.row_run, top)
        found = [("G", "row_run", *ends)]
        out = front + 26 / self.cut.k
        found += [("K", "first_height", (out, bank.base_height), (out, bank.first_seat))]
        if bank.rows_out > 1:
            away = front - (bank.rows_out - 1) * bank.row_run + lift
            high = bank.first_seat + (bank.rows_out - 1) * bank.row_rise + 2 * lift
            found += [("H", "row_rise", (away, high - bank.row_rise), (away, high))]
        for letter, field, *places in found:
            one, other = (self.cut.at(deep - s if far else s, z) for s, z in places)
            side = -1 if far else 1
            self._measure(one, other, letter, (key + field, getattr(bank, field)), side=side)

    def _height_measures(self, deep):
        """Height of the first balcony or track, and of the divider."""
        for one in self.c.balconies[:1]:
            track = next(
                (t for t in self.school.things("tracks") if one.name.startswith(f"{t} ")), None
            )
            key = f"tracks.{track}.height" if track else f"balconies.{one.name}.height"
            x = self.cut.at(0.3 * deep, 0)[0]
            self._measure(
                (x, self.cut.y),
                (x, self.cut.at(0, one.height)[1]),
                "W" if track else "T",
                (key, one.height),
            )
        height = self.school.value("divider.height")
        if height is not None and self.school.things("divider"):
            x = self.cut.at(0.42 * deep, 0)[0]
            self._measure(
                (x, self.cut.y), (x, self.cut.at(0, height)[1]), "X", ("divider.height", height)
            )


_HATCH = (
    f'<defs><pattern id="gt-red" width="7" height="7" patternUnits="userSpaceOnUse"'
    f' patternTransform="rotate(45)"><rect width="7" height="7" fill="{RED_FILL}"/>'
    f'<path d="M0 0V7" stroke="{RED}" stroke-width="1.6"/></pattern></defs>'
)


def _ends(thing):
    """Places along its wall of both ends of a thing, from its middle [m]."""
    return -thing.length / 2, thing.length / 2


def _beside(x, y, upright, along, side):
    """Places for words beside a letter, the best first: x, y, anchor and turn; ``along`` is whether
    they find room on their own upright line.
    """
    ahead, behind = ("start", "end") if side > 0 else ("end", "start")
    step = side * (LETTER + 3)
    near = [(x + step, y + 1, ahead, None), (x - step, y + 1, behind, None)]
    if not upright:
        over = [(x + step, y - 5, ahead, None), (x - step, y - 5, behind, None)]
        below = [(px, py + 18, anchor, None) for px, py, anchor, _ in over]
        middle = [(x, y - LETTER - 4, "middle", None), (x, y + LETTER + 12, "middle", None)]
        return over + below + middle
    turned = [(x + dx, y - LETTER - 3, "start", -90) for dx in (-5, 13)]
    moved = [(px, py + dy, anchor, None) for dy in (-16, 16) for px, py, anchor, _ in near]
    return turned + near + moved if along else near + moved + turned


def _brief(length):
    """A length without what is nought: "25 ft", "9 in"."""
    return length.removesuffix(" 0 in").removeprefix("0 ft ")
