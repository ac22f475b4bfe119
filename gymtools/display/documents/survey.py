"""The survey sheet: one page to take into the gym, and the same as a workbook to be read back."""

import datetime
from html import escape
from pathlib import Path

from ...commissioning.survey import (
    ASKED,
    BESIDE,
    CAUTIONS,
    OCTAVES,
    PHOTOGRAPHS,
    READINGS,
    TICKS,
    blanks,
    survey_tables,
    usual_finishes,
)
from ...venue.questions import NOT_SURE, parts_of
from ...venue.reading_files import one_line
from ...venue.writing_files import new_folder
from ..school.sketch import sketch
from ..theme import INK, QUIET
from .exports import csv_text, write_xlsx
from .handover import folder_name
from .page import Page, quoted
from .sketch_picture import png_of

PAPER = {"ft": "Letter", "m": "A4"}
SKETCH = (530, 400)  # of which the sketch is drawn [px]
WORKBOOK = (720, 560)  # the same in the workbook [px]
MOST_THINGS = 4  # banks side by side, beyond which the sheet says to take another one
SIDES = ("North", "South", "East", "West")  # walls with a finish of their own
# labels where the form's own are too long for paper, by table and key
SHORT = {
    "hall.clear_height": "Clear under joists",
    "hall.height": "Walls, to the roof",
    "hall.ridge_height": "Ridge (flat: none)",
    "hall.joist_spacing": "Joists, apart",
    "hall.joists_along": "Joists run along",
    "banks.length": "Length",
    "banks.row_run": "Row depth",
    "banks.row_rise": "Rise of a row",
    "banks.offset": "Off the wall's middle",
    "banks.first_height": "First seat board",
    "banks.setback": "Wall to its back",
    "banks.base_height": "Deck under it",
    "stage.width": "Opening, width",
    "stage.opening_height": "Opening, height",
    "stage.depth": "Depth",
    "stage.floor_height": "Floor of the stage",
    "stage.offset": "Off the wall's middle",
    "balconies.depth": "Depth",
    "balconies.height": "Height of its floor",
    "balconies.length": "Length",
    "balconies.rows": "Rows of seats",
    "tracks.depth": "Depth",
    "tracks.height": "Height of its floor",
    "divider.height": "Height",
}
# height of what always stands on the sheet, and of a row of blanks; what a page holds: as measured
# in a browser, with the widest of the usual fonts [mm]
ALWAYS_MM, ROW_MM, HOLDS_MM = 157.0, 5.35, {"Letter": 252.0, "A4": 268.0}
SKETCH_MM = 62.0
STYLE = f"""
.survey {{ font-size: 7.6pt; line-height: 1.12; color: {INK}; zoom: %s; }}
.survey h1 {{ font-size: 12pt; margin: 0; }}
.survey h2 {{
  font-size: 8.6pt; margin: 1.2mm 0 0.3mm; border: 0; border-bottom: 0.3mm solid {INK}; padding: 0;
  break-before: auto;
}}
.survey p {{ margin: 0.3mm 0; }}
.survey table {{ width: 100%%; margin: 0; font-size: 7.6pt; table-layout: fixed; }}
.survey caption {{ font-size: 8.2pt; padding: 0; }}
.survey th, .survey td {{ padding: 0 0.8mm; vertical-align: middle; height: 4.9mm; }}
.survey th {{ height: auto; font-size: 7pt; vertical-align: bottom; }}
.survey td.blank {{ border: 0.25mm solid #808080; }}
.survey td.hand {{ height: 5.4mm; }}
.survey .gray {{ color: {QUIET}; }}
.survey .mark {{ font-weight: 700; width: 5mm; }}
.survey .row {{ display: flex; gap: 3mm; align-items: flex-start; }}
.survey .row > * {{ flex: 1 1 0; min-width: 0; }}
.survey .box {{
  display: inline-block; width: 2.4mm; height: 2.4mm; border: 0.25mm solid {INK};
  vertical-align: -0.4mm;
}}
.survey .ticks {{ font-size: 7pt; }}
.survey .ticks span {{ margin-right: 0.9mm; white-space: nowrap; }}
.survey .ticks .box {{ margin-right: 0.4mm; }}
.survey ul {{ margin: 0; padding-left: 3.2mm; font-size: 6.5pt; }}
.survey .drawing {{ height: {SKETCH_MM}mm; }}
.survey .empty {{ border: 0.25mm dashed #808080; }}
@page {{ size: %s; margin: 8mm; }}
"""


def survey_html(school, *, date=None):
    """The survey sheet, to be printed on one page.

    Parameters
    ----------
    school : NewSchool
        What is known of the school; nothing is a beginning too
    date : datetime.date, optional
        Of printing; today when left out

    Returns
    -------
    html : str
        Opens offline; Letter for schools in feet, A4 for others
    """
    page = Page(f"{school.name}: survey sheet")
    date = date or datetime.date.today()
    asked = blanks(school)
    paper = PAPER[school.units]
    page.add(
        f"<style>{STYLE % (f'{_zoom(school, asked, paper):.3f}', paper)}</style>",
        '<div class="survey">',
        _top(school, date),
        f'<div class="row"><div style="flex-grow:0.92">{_drawing(school)}{_of_gym(asked)}</div>'
        f"<div>{_of_things(school, asked)}</div></div>",
        _finishes(asked),
        _readings(school),
        _equipment(),
        _last(),
        "</div>",
    )
    return page.html()


def _zoom(school, asked, paper):
    """By how much the sheet is made smaller, so that it stays one page."""
    gym = SKETCH_MM + ROW_MM * sum(not b.of and not b.is_finish for b in asked)
    rows = {(_table(b), parts_of(b.key)[2]) for b in asked if b.of and b.of != READINGS}
    kinds = {_table(b) for b in asked if b.of and b.of != READINGS}
    things = ROW_MM * (len(rows) + len(kinds) + 3)
    return min(1.0, HOLDS_MM[paper] / (ALWAYS_MM + max(gym, things)))


def _top(school, date):
    """Whose sheet it is, and how it is filled in."""
    lengths = "feet and inches (12-6)" if school.units == "ft" else "meters"
    return (
        f'<div class="row"><h1>{quoted(school.name)}: survey of the gym</h1><p style="text-align:'
        f'right">Date ____________ By ______________________ <span class="gray" id="made-on">'
        f"Printed on {date.isoformat()}.</span></p></div>"
        f"<p>Lengths in {lengths}. In gray: what is assumed or known so far; tick the small box"
        " where it is right, else write what is. Plan: north is up; say which wall you call"
        " north: ______________</p>"
    )


def _drawing(school):
    """The sketch with its letters, or room for one."""
    configuration, faults = school.draft()
    if configuration is None:
        words = "Sketch the gym here: plan and section."
        return f'<div class="drawing empty"><p class="gray">{words}</p></div>'
    drawn = sketch(school, configuration, (), size=SKETCH, values=False)
    return f'<div class="drawing">{drawn}</div>'


def _of_gym(asked):
    """Blanks of the gym itself."""
    rows = [b for b in asked if not b.of and not b.is_finish]
    return "<table>" + "".join(_blank_row(b) for b in rows) + "</table>"


def _label(blank):
    """What a blank is called on paper."""
    table, _, field = parts_of(blank.key)
    return SHORT.get(f"{table}.{field}", blank.question.label.partition(" (")[0])


def _blank_row(blank):
    """A row with one blank."""
    label = escape(_label(blank))
    return (
        f'<tr><td class="mark">{escape(blank.letter)}</td><td style="width:37%">{label}</td>'
        f'<td class="gray" style="width:27%">{_assumed(blank)}</td><td class="blank"></td></tr>'
    )


def _assumed(blank):
    """What is assumed, with a box to confirm it."""
    return f'<span class="box"></span> {quoted(one_line(blank.words))}' if blank.words else ""


def _of_things(school, asked):
    """A table for each kind of thing, a column for each of its kind."""
    found = []
    for table in (t for t in ASKED if t not in ("", "hall")):
        names = school.things(table)[:MOST_THINGS]
        if names:
            found.append(_thing_table(table, names, [b for b in asked if _table(b) == table]))
    more = [t for t in ASKED if t not in ("", "hall") and len(school.things(t)) > MOST_THINGS]
    if more:
        found.append(f"<p>More of {escape(', '.join(more))}: see the workbook.</p>")
    return "".join(found) + _lines_for_more(school)


def _lines_for_more(school):
    """Lines for what nobody knows of yet."""
    absent = [
        words
        for table, words in (
            ("stage", "stage"),
            ("balconies", "balcony"),
            ("tracks", "running track"),
            ("divider", "dividing curtain"),
        )
        if not school.things(table)
    ]
    listed = ", ".join([*absent, "scoreboard, ducts, beams, doors, pads, mats"])
    lines = '<tr><td class="blank hand"></td></tr>' * 2
    return f"<p>Also there? Size and place ({listed}):</p><table>{lines}</table>"


def _table(blank):
    return parts_of(blank.key)[0]


def _thing_table(table, names, asked):
    """Blanks of things of one kind: a row for each question, a column for each thing."""
    rows = {}
    for blank in asked:
        of = parts_of(blank.key)[1]
        if of in names:
            rows.setdefault(parts_of(blank.key)[2], []).append(blank)
    head = "".join(f'<th scope="col">{quoted(n or table)}</th>' for n in names)
    body = ""
    for those in rows.values():
        label = _label(those[0])
        cells = "".join(f'<td class="blank gray">{_assumed(b)}</td>' for b in those)
        mark = escape(those[0].letter)
        body += f'<tr><td class="mark">{mark}</td><td>{escape(label)}</td>{cells}</tr>'
    return (
        f'<table><thead><tr><th class="mark"></th><th style="width:32%"></th>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )


def _finishes(asked):
    """Finishes to be ticked."""
    rows = []
    for blank in (b for b in asked if b.is_finish and not b.of):
        field = parts_of(blank.key)[2]
        wall = field.partition("_")[0].capitalize()
        if wall in SIDES:
            continue  # in one row, with the walls
        known = TICKS.get(field, ())
        rows.append(_tick_row(blank.question.label, known, blank.words))
    walls = " ".join(f"{side} ______________________" for side in SIDES)
    return (
        "<h2>Finishes: tick one, or write it</h2><table>"
        + "".join(rows)
        + f'<tr><td style="width:22mm">Walls that differ</td><td>{walls}</td></tr></table>'
    )


def _tick_row(label, known, assumed):
    """One finish with the usual ones to tick; what is assumed is said."""
    shown = [*known, NOT_SURE] if assumed in known or not assumed else [assumed, *known, NOT_SURE]
    ticks = "".join(
        f'<span class="{"gray" if w == assumed else ""}"><span class="box"></span> {escape(w)}'
        f"{' (assumed)' if w == assumed else ''}</span>"
        for w in shown
    )
    return (
        f'<tr><td style="width:22mm">{escape(label)}</td><td class="ticks">{ticks}'
        "<span>other: ______________</span></td></tr>"
    )


def _readings(school):
    """Noise and decay, and how the gym stood meanwhile."""
    widths = {"reading": 8.5, "who, what runs; where": 14.9}
    widths |= dict.fromkeys((*OCTAVES, "dB(A)"), 6.6) | {"recording": 15.0}
    heads = "".join(f'<th scope="col" style="width:{w}%">{h}</th>' for h, w in widths.items())
    empty = '<td class="blank hand"></td>'
    rows = "".join(
        f"<tr><td>{name}</td>{empty}{empty * len(OCTAVES)}{empty}{empty}</tr>"
        for name in ("noise 1", "noise 2", "T20 or EDT", "T20 or EDT", "pop", "pop", "pop")
    )
    out = "bleachers closed: ______________ chairs out: yes / no,"
    out += " stage curtain open: yes / no" if school.things("stage") else ""
    return (
        "<h2>Noise [dB] and decay [s]; or the name of a phone recording (WAV) of a balloon pop</h2>"
        f"<p>While reading: ______ people in the gym, {out.rstrip(',')}. Noise 1: nobody in it,"
        " ventilation as in use. Pops: large balloons, three or more, each elsewhere; the phone's"
        " automatic gain off, 2 s of quiet before and 5 s after.</p>"
        f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _equipment():
    """What hangs there already, and in which condition."""
    heads = (
        *(("what", 17), ("how many", 6), ("from west wall", 10), ("from south wall", 10)),
        *(("height", 9), ("apart", 8), ("faces (N, E ... down)", 10), ("tilts down", 7)),
        ("works, rattles, dead, not tried; remark", 23),
    )
    top = "".join(f'<th scope="col" style="width:{w}%">{h}</th>' for h, w in heads)
    rows = ("<tr>" + '<td class="blank hand"></td>' * len(heads) + "</tr>") * 4
    beside = " ".join(f"{what} ______________" for what in BESIDE)
    return (
        "<h2>Sound system that is there: box, horn, column, ceiling, cluster, long throw ...</h2>"
        f"<table><thead><tr>{top}</tr></thead><tbody>{rows}</tbody></table>"
        f"<p>{beside}</p>"
    )


def _last():
    """What to photograph, and what to be careful of."""
    lists = [
        f"<div><h2>{title}</h2><ul>{''.join(f'<li>{escape(x)}</li>' for x in items)}</ul></div>"
        for title, items in (("Photograph", PHOTOGRAPHS), ("Take care", CAUTIONS))
    ]
    return f'<div class="row">{"".join(lists)}</div>'


def survey_csv(school):
    """The survey sheet as one CSV file: three tables, one under the other.

    Parameters
    ----------
    school : NewSchool
        What is known of the school

    Returns
    -------
    text : str
        Read back by ``commissioning.survey_sheet.read_survey``
    """
    return "\n".join(csv_text(table) for table in survey_tables(school))


def write_survey(school, folder, *, overwrite=False, date=None):
    """Write the survey sheet, to be printed and to be filled in.

    Parameters
    ----------
    school : NewSchool
        What is known of the school
    folder : str or Path
        In which a folder for the sheet is made
    overwrite : bool
        Whether an earlier folder may be replaced; it moves whole into "revisions" beside it, a
        filled sheet with it
    date : datetime.date, optional
        As for ``survey_html``

    Returns
    -------
    paths : list of Path
        HTML, XLSX and CSV

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    target = Path(folder) / folder_name(school, "survey")
    texts = {"survey.html": survey_html(school, date=date), "survey.csv": survey_csv(school)}
    with new_folder(target, overwrite=overwrite, holds="readings") as building:
        for name, text in texts.items():
            (building / name).write_bytes(text.encode("utf-8"))
        write_xlsx(
            survey_tables(school),
            building / "survey.xlsx",
            school.name,
            blanks=True,
            offers=_offers(school),
            pictures=_pictures(school),
        )
    return [target / name for name in ("survey.html", "survey.xlsx", "survey.csv")]


def _pictures(school):
    """The sketch for the workbook, where the gym can be drawn."""
    configuration, _ = school.draft()
    if configuration is None:
        return {}
    drawn = sketch(school, configuration, (), size=WORKBOOK, values=False)
    return {"Sketch": png_of(drawn)}


def _offers(school):
    """Words that cells of the workbook offer: usual finishes, yes or no, none or all."""
    found = {}
    for row, blank in enumerate(blanks(school)):
        if blank.is_finish:
            found["School", row, "measured"] = (*usual_finishes(blank), NOT_SURE)
        elif blank.of == READINGS and blank.question.unit == "yes":
            found["School", row, "measured"] = ("yes", "no")
        elif blank.key == f"{READINGS}.closed":
            found["School", row, "measured"] = ("none", "all")
    return found
