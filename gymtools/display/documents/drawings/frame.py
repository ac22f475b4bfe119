"""The frame of a sheet: border, title block, cautions, legend, tables, scale bars, north arrow."""

from dataclasses import dataclass

import numpy as np

from ....design.revisions import Issue
from ....venue.units import FOOT
from .layers import LAYERS
from .lettering import printable, width, wrapped
from .marks import Circle, Dimension, Line, Placed, Sheet, Text
from .paper import COLUMN, MARGIN, scale_words

SMALL, USUAL, LARGE, TITLE = 2.0, 2.5, 3.5, 5.0  # heights of letters [mm]     ISO 3098
PITCH = 1.75  # from line to line [heights]
INSET = 3.0  # of words from a line [mm]
UNDER = 17.0  # room for a view's name and scale bar [mm]
CAUTION = (
    "CAUTION. Overhead loads: attachment to the structure to be designed and approved by a"
    " licensed structural engineer; rated hardware, an independent second safety, protection"
    " against ball strike. AC power by a licensed electrician. Local codes, the authority having"
    " jurisdiction and licensed professionals come before anything shown here. Not a life-safety"
    " drawing: emergency announcements are by others. Check all dimensions on site; do not scale"
    " from the print."
)
BARS = {"m": (1.0, 5), "ft": (5 * FOOT, 4)}  # length of a part of a scale bar [m], and parts


@dataclass(frozen=True, kw_only=True)
class Table:
    """A small table in a sheet's column."""

    title: str
    columns: tuple
    rows: tuple  # of texts
    note: str = ""


class _Column:
    """Writes down a column of paper."""

    def __init__(self, left, right, top):
        self.left, self.right, self.y = left, right, top
        self.marks = []

    @property
    def room(self):
        return self.right - self.left - 2 * INSET

    def line(self, points):
        self.marks.append(Line(points=np.asarray(points, float), layer="FRAME"))

    def rule(self):
        self.line([(self.left, self.y), (self.right, self.y)])

    def text(self, words, at, height=USUAL, bold=False):
        words = printable(words)
        at = np.asarray(at, float)
        self.marks.append(Text(words=words, at=at, height=height, layer="NOTES", bold=bold))

    def row(self, words, height=USUAL, bold=False):
        """One line of words, cut to the column."""
        self.y -= PITCH * height
        words, height = _fitted(words, height, self.room, bold)
        self.text(words, (self.left + INSET, self.y), height, bold)

    def paragraph(self, words, height=SMALL):
        for line in wrapped(words, height, self.room):
            self.row(line, height)


def sheet(number, title, placed, about, extras=()):
    """A sheet with its frame.

    Parameters
    ----------
    number, title : str
        Of the sheet
    placed : tuple of Placed
        Its views
    about : About
        School, paper, units and issue
    extras : sequence
        Tables and paragraphs for the column

    Returns
    -------
    sheet : Sheet
        Whole
    """
    wide, high = about.size
    left = wide - MARGIN - COLUMN
    border = [
        (MARGIN, MARGIN),
        (wide - MARGIN, MARGIN),
        (wide - MARGIN, high - MARGIN),
        (MARGIN, high - MARGIN),
    ]
    marks = [Line(points=np.array(border, float), layer="FRAME", closed=True)]
    marks.append(
        Line(points=np.array([(left, MARGIN), (left, high - MARGIN)], float), layer="FRAME")
    )
    low, block = _title_block(number, title, placed, about)
    low, caution = _boxed(CAUTION, low, about)
    used = _used(placed)
    low, legend = _legend(used, low, about)
    column = _Column(left, wide - MARGIN, high - MARGIN)
    for extra in extras:
        _extra(column, extra, low)
    marks += [*block, *caution, *legend, *column.marks]
    for one in placed:
        marks += _under(one, about)
    return Sheet(
        number=number, title=title, size=about.size, placed=tuple(placed), frame=tuple(marks)
    )


@dataclass(frozen=True, kw_only=True)
class About:
    """What all sheets of a set share."""

    school: str
    units: str
    paper: str
    size: tuple  # of the paper (width, height) [mm]
    issue: Issue = Issue(revision="")


def _title_block(number, title, placed, about):
    """Title block in the lower right corner; gives its upper edge."""
    wide = about.size[0]
    rows = [
        ("school", about.school, LARGE),
        ("sheet", title, LARGE),
    ]
    scales = sorted({scale_words(p.view.scale, about.units) for p in placed})
    issue = about.issue
    pairs = [
        ("scale", ", ".join(scales) or "-", "paper", about.paper),
        ("revision", str(issue.revision), "date", issue.date.isoformat() if issue.date else ""),
        ("drawn by", issue.drawn_by, "checked by", issue.checked_by),
        ("lengths in", {"m": "meters", "ft": "feet and inches"}[about.units], "sheet", number),
    ]
    top = MARGIN + 11.0 * len(pairs) + 13.0 * len(rows)
    column = _Column(wide - MARGIN - COLUMN, wide - MARGIN, top)
    column.rule()
    for label, words, height in rows:
        column.text(label, (column.left + INSET, column.y - 4.0), SMALL)
        fitted, height = _fitted(words, height, column.room, bold=True)
        column.text(fitted, (column.left + INSET, column.y - 10.5), height, bold=True)
        column.y -= 13.0
        column.rule()
    middle = (column.left + column.right) / 2
    for n, (label, words, other, more) in enumerate(pairs):
        last = n == len(pairs) - 1
        for at, name, said in ((column.left, label, words), (middle, other, more)):
            column.text(name, (at + INSET, column.y - 4.0), SMALL)
            big = last and at == middle
            fitted, height = _fitted(said, TITLE if big else USUAL, COLUMN / 2 - 2 * INSET)
            column.text(fitted, (at + INSET + (14.0 if big else 0.0), column.y - 9.0), height, big)
        column.y -= 11.0
        if not last:
            column.rule()
    column.line([(middle, MARGIN), (middle, top - 13.0 * len(rows))])
    return top, column.marks


def _fitted(words, height, room, bold=False):
    """Words and the height at which they fit into a field; what never fits ends in dots."""
    words = printable(words)
    while height > SMALL and width(words, height, bold) > room:
        height -= 0.25
    if width(words, height, bold) <= room:
        return words, height
    while width(f"{words}...", height, bold) > room:
        words = words[:-1]
    return f"{words}...", height


def _boxed(words, low, about):
    """A paragraph over what lies under it; gives its upper edge."""
    wide = about.size[0]
    lines = wrapped(words, SMALL, COLUMN - 2 * INSET)
    top = low + (len(lines) * PITCH + 1.6) * SMALL
    column = _Column(wide - MARGIN - COLUMN, wide - MARGIN, top)
    column.rule()
    for line in lines:
        column.row(line, SMALL)
    return top, column.marks


def _used(placed):
    """Layers that views show, in the order of the legend."""
    shown = {_layer(mark) for one in placed for mark in one.view.marks}
    return [name for name, layer in LAYERS.items() if name in shown and layer.meaning]


def _layer(mark):
    return "DIMENSIONS" if isinstance(mark, Dimension) else mark.layer


def _legend(used, low, about):
    """What each line means, in two columns; gives its upper edge."""
    wide = about.size[0]
    count = -(-len(used) // 2)
    pitch = PITCH * SMALL + 0.8
    top = low + count * pitch + 9.0
    column = _Column(wide - MARGIN - COLUMN, wide - MARGIN, top)
    column.rule()
    column.row("Legend", USUAL, bold=True)
    first = column.y - 1.0
    for n, name in enumerate(used):
        x = column.left + INSET + (n // count) * COLUMN / 2
        y = first - (n % count + 1) * pitch + 1.0
        sample = np.array([(x, y + 0.8), (x + 12.0, y + 0.8)])
        column.marks.append(Line(points=sample, layer=name))
        words, height = _fitted(LAYERS[name].meaning, SMALL, COLUMN / 2 - 14.0 - INSET)
        column.text(words, (x + 14.0, y), height)
    return top, column.marks


def _extra(column, extra, low):
    """A table or a paragraph, as far as there is room over the legend."""
    if isinstance(extra, Table):
        return _table(column, extra, low)
    lines = wrapped(extra, SMALL, column.room)
    if column.y - (len(lines) + 1) * PITCH * SMALL < low:
        return None
    for line in lines:
        column.row(line, SMALL)
    column.y -= SMALL
    return None


def _table(column, table, low):
    """A table; what has no room is in the schedule, and the table says so."""
    pitch = PITCH * SMALL
    free = int((column.y - low - 2 * PITCH * USUAL) / pitch) - 5
    if free < 1:
        return
    column.row(table.title, USUAL, bold=True)
    rows = table.rows[:free]
    widths = _widths(table.columns, rows, column.room)
    heads = [
        wrapped(head, SMALL, wide - 1.5, bold=True)
        for head, wide in zip(table.columns, widths, strict=True)
    ]
    deep = max(len(head) for head in heads)
    over = zip(*([""] * (deep - len(head)) + head for head in heads), strict=True)
    for cells, bold in [*((line, True) for line in over), *((row, False) for row in rows)]:
        column.y -= pitch
        x = column.left + INSET
        for cell, wide in zip(cells, widths, strict=True):
            fitted, height = _fitted(cell, SMALL, wide - 1.5, bold)
            column.text(fitted, (x, column.y), height, bold)
            x += wide
    if len(rows) < len(table.rows):
        column.row(f"and {len(table.rows) - len(rows)} more, in the schedules", SMALL)
    if table.note:
        column.paragraph(table.note)
    column.y -= USUAL
    column.rule()


def _widths(columns, rows, room):
    """Room for each column of a table, as its cells and head ask for; heads are broken between
    words where the table is too wide [mm].
    """
    cells = [
        max((width(printable(c), SMALL, bold=True) for c in column), default=0.0)
        for column in (zip(*rows, strict=True) if rows else ((),) * len(columns))
    ]
    for parts in (lambda head: [head], str.split):
        wanted = [
            max(wide, *(width(printable(part), SMALL, bold=True) for part in parts(head))) + 3.0
            for wide, head in zip(cells, columns, strict=True)
        ]
        if sum(wanted) <= room:
            return wanted
    return [w * room / sum(wanted) for w in wanted]


def _under(one, about):
    """Name, scale, scale bar and, under a plan, the north arrow of a view."""
    low = one.on_paper(one.view.low)
    x, y = float(low[0]), float(low[1]) - 8.0
    words = printable(one.view.name)
    marks = [Text(words=words, at=np.array([x, y]), height=LARGE, layer="NOTES", bold=True)]
    said = f"scale {scale_words(one.view.scale, about.units)}"
    marks.append(Text(words=said, at=np.array([x, y - 6.0]), height=USUAL, layer="NOTES"))
    begin = x + max(width(said, USUAL), 34.0) + 8.0
    marks += _bar(begin, y - 6.0, one.view.scale, about.units)
    if one.view.name.startswith(("Floor plan", "Reflected", "Use ")):
        part, count = BARS[about.units]
        bar_end = begin + part * count * 1000 / one.view.scale
        name_end = x + width(words, LARGE, bold=True)
        marks += _north(max(bar_end, name_end) + 14.0, y - 4.0)
    return marks


def _bar(x, y, scale, units):
    """A scale bar."""
    part, count = BARS[units]
    long = part * 1000 / scale
    every = max(1, int(np.ceil(12.0 / long)))  # so that its figures do not touch
    marks = []
    for n in range(count):
        a, b = x + n * long, x + (n + 1) * long
        ring = np.array([(a, y), (b, y), (b, y + 1.2), (a, y + 1.2)])
        marks.append(Line(points=ring, layer="FRAME", closed=True))
        if n % 2 == 0:
            middle = np.array([(a, y + 0.6), (b, y + 0.6)])
            marks.append(Line(points=middle, layer="FRAME"))
    for n in range(0, count + 1, every):
        figure = f"{n * part / (FOOT if units == 'ft' else 1.0):.0f}"
        words = f"{figure} {units}" if n + every > count else figure
        at = np.array([x + n * long - width(figure, SMALL) / 2, y + 2.4])
        marks.append(Text(words=words, at=at, height=SMALL, layer="NOTES"))
    return marks


def _north(x, y):
    """A north arrow."""
    arrow = np.array(
        [(x, y - 3.0), (x, y + 5.0), (x - 1.6, y + 1.0), (x, y + 5.0), (x + 1.6, y + 1)]
    )
    at = np.array([x + 2.6, y + 2.0])
    return [
        Circle(center=np.array([x, y]), radius=3.0, layer="FRAME"),
        Line(points=arrow, layer="FRAME"),
        Text(words="N", at=at + [1.2, 0.0], height=LARGE, layer="NOTES", bold=True),
    ]


def stacked(views, about):
    """Views one under the other, on as many sheets as they ask for.

    Parameters
    ----------
    views : sequence of View
        In the order in which they are read
    about : About
        Whose paper they go on

    Returns
    -------
    sheets : list of list of Placed
        One list for each sheet
    """
    left, room = MARGIN, about.size[1] - 2 * MARGIN
    wide = about.size[0] - 2 * MARGIN - COLUMN
    groups, heights = [[]], [0.0]
    for view in views:
        need = view.size[1] + UNDER + 6.0
        if groups[-1] and heights[-1] + need > room:
            groups.append([])
            heights.append(0.0)
        groups[-1].append(view)
        heights[-1] += need
    found = []
    for group, used in zip(groups, heights, strict=True):
        gap = max(room - used, 0.0) / (len(group) + 1)
        top, placed = about.size[1] - MARGIN - gap, []
        for view in group:
            corner = np.array([left + max(wide - view.size[0], 0.0) / 2, top - view.size[1] - 3.0])
            placed.append(Placed(view=view, at=corner - view.low * 1000 / view.scale))
            top -= view.size[1] + UNDER + 6.0 + gap
        found.append(placed)
    return found
