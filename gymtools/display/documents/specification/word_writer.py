"""The specification as DOCX, to be edited: the same words under the same numbers."""

import io
import math
import zipfile

from ..exports import EPOCH
from .clauses import Clause

PAPER = {"ft": (216, 279), "m": (210, 297)}  # Letter and A4 [mm]
MARGIN = 20  # [mm]
SIZES = ((7, 7), (5, 8), (0, 9))  # columns from which letters of a table have that size [pt]
LONGEST_WORD = 18  # letters of a word that a column keeps whole
NOT_XML = dict.fromkeys([*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF], " ")


def docx_bytes(text):
    """Write a specification as DOCX.

    Parameters
    ----------
    text : Specification
        Of ``contents.specification``

    Returns
    -------
    data : bytes
        The same specification gives the same bytes
    """
    document = _blank(text)
    for n, part in enumerate(text.parts, 1):
        document.add_heading(f"Part {n}. {part.title}", 1)
        for number, article, blocks in text.numbered(n):
            document.add_heading(f"{number} {article.title}", 2)
            for name, block in blocks:
                if isinstance(block, Clause):
                    _add_clause(document, name, plain(text.text(block)))
                else:
                    _add_table(document, text, name, block)
    made = io.BytesIO()
    document.save(made)
    return _steady(made)


def plain(text):
    """Text without what no XML file may hold.

    Parameters
    ----------
    text : str
        Of any origin

    Returns
    -------
    text : str
        With spaces instead of control characters
    """
    kept = text.translate(NOT_XML)
    return kept.encode("utf-8", "replace").decode("utf-8")  # half a surrogate pair


def _blank(text):
    """A document with its paper, its letters, its title and the lines under it."""
    from docx import Document  # slow to load
    from docx.shared import Mm, Pt

    document = Document()
    section, (wide, high) = document.sections[0], PAPER[text.units]
    section.page_width, section.page_height = Mm(wide), Mm(high)
    section.left_margin = section.right_margin = Mm(MARGIN)
    section.top_margin = section.bottom_margin = Mm(MARGIN)
    document.styles["Normal"].font.name, document.styles["Normal"].font.size = "Arial", Pt(10)
    title = plain(f"{text.school}: specification of the sound system")
    document.add_heading(title, 0)
    for what, value in text.issued:
        document.add_paragraph(f"{what}: {plain(str(value)) or '_' * 30}")
    _add_page_number(section, title)
    about = document.core_properties
    about.title, about.author, about.comments = title[:200], "gymtools", ""
    about.created = about.modified = EPOCH
    return document


def _add_page_number(section, title):
    """Title and page number at the foot of every page."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    foot = section.footer.paragraphs[0]
    foot.add_run(f"{title[:80]}, page ")
    for words, counted in (("", "PAGE"), (" of ", "NUMPAGES")):
        foot.add_run(words)
        field = OxmlElement("w:fldSimple")
        field.set(qn("w:instr"), counted)
        foot._p.append(field)


def _add_clause(document, number, words):
    from docx.shared import Mm, Pt

    paragraph = document.add_paragraph(f"{number}\t{words}")
    shape = paragraph.paragraph_format
    shape.left_indent, shape.first_line_indent = Mm(14), Mm(-14)
    shape.tab_stops.add_tab_stop(Mm(14))
    shape.space_after = Pt(4)


def _add_table(document, text, number, block):
    from docx.shared import Pt

    caption = document.add_paragraph()
    caption.add_run(f"{number}. {block.title}").bold = True
    caption.paragraph_format.keep_with_next = True
    size = Pt(next(size for columns, size in SIZES if len(block.columns) >= columns))
    made = document.add_table(len(block.rows) + 1, len(block.columns))
    made.style = "Table Grid"
    texts = [[plain(text.text(c)) for c in row] for row in (block.columns, *block.rows)]
    _set_widths(made, texts, PAPER[text.units][0] - 2 * MARGIN)
    # cells of a row once: asked for one by one, each asks for all of the table
    for row, cells in zip(made.rows, texts, strict=True):
        for place, cell in zip(row.cells, cells, strict=True):
            run = place.paragraphs[0].add_run(cell)
            run.font.size, run.bold = size, cells is texts[0]
        _keep_together(row, head=cells is texts[0])
    document.add_paragraph()


def column_widths(texts, wide):
    """Widths of a table's columns, so that no usual word is broken.

    Parameters
    ----------
    texts : list of list of str
        Cells, row by row
    wide : float
        Of the table [mm]

    Returns
    -------
    widths : list of float
        One for each column, as much as its longest word asks for and a share of the rest by how
        much it holds [mm]
    """
    columns = list(zip(*texts, strict=True))
    word = [max(len(w) for cell in c for w in [*cell.split(), ""]) for c in columns]
    most = [max(len(cell) for cell in c) for c in columns]
    least = [4 + 1.6 * min(w, LONGEST_WORD) for w in word]  # margins, and letters of 7 pt
    more = [1 + math.sqrt(max(0, m - n)) for m, n in zip(most, word, strict=True)]
    rest = max(0.0, wide - sum(least)) / sum(more)
    unit = wide / (sum(least) + rest * sum(more))
    return [unit * (n + rest * m) for n, m in zip(least, more, strict=True)]


def _set_widths(made, texts, wide):
    """Fixed widths, in the grid and in every cell: word processors read one or the other."""
    from docx.shared import Mm

    made.autofit = False
    widths = [Mm(w) for w in column_widths(texts, wide)]
    for column, width in zip(made.columns, widths, strict=True):
        column.width = width
    for row in made.rows:
        for cell, width in zip(row.cells, widths, strict=True):
            cell.width = width


def _keep_together(row, head):
    """A row stays on one page; the head is repeated on every page."""
    from docx.oxml import OxmlElement

    properties = row._tr.get_or_add_trPr()
    properties.append(OxmlElement("w:cantSplit"))
    if head:
        properties.append(OxmlElement("w:tblHeader"))


def _steady(made):
    """A file whose parts carry no time of their own."""
    out = io.BytesIO()
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(zipfile.ZipInfo(name, EPOCH.timetuple()[:6]), old.read(name))
    return out.getvalue()
