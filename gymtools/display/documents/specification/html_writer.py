"""The specification as one HTML page that opens offline and prints."""

from html import escape

from ...tables.markup import table
from ..page import Page, quoted
from .clauses import Clause

STYLE = """<style>
.clause {{ display: grid; grid-template-columns: 3.6em 1fr; margin: 5px 0; break-inside: avoid; }}
.clause b {{ font-weight: 400; }}
caption {{ caption-side: top; }}
thead {{ display: table-header-group; }}
table.wide-table {{ font-size: 11px; }}
@media print {{ table.wide-table {{ font-size: 7.5pt; }} table.wide-table td, table.wide-table th {{
  padding-right: 5px; }} }}
@page {{ size: {paper}; margin: 16mm; }}
</style>"""
PAPER = {"ft": "letter", "m": "A4"}
MANY = 8  # columns from which letters are smaller


def html(text):
    """Write a specification as a page.

    Parameters
    ----------
    text : Specification
        Of ``contents.specification``

    Returns
    -------
    html : str
        One file
    """
    page = Page(f"{text.school}: specification of the sound system")
    page.add(
        STYLE.format(paper=PAPER[text.units]),
        f"<h1>{quoted(text.school)}: specification of the sound system</h1>",
        table(
            "", ("", ""), [(what, quoted(str(v)) or "&nbsp;") for what, v in text.issued]
        ).replace("<table>", '<table class="sign">', 1),
        _contents(text),
    )
    for n, part in enumerate(text.parts, 1):
        page.add(f'<h2 class="{"first" if n == 1 else ""}">Part {n}. {escape(part.title)}</h2>')
        for number, article, blocks in text.numbered(n):
            page.add(f'<h3 id="a{number}">{number} {escape(article.title)}</h3>')
            page.add(*(_block(text, name, block) for name, block in blocks))
    return page.html()


def _contents(text):
    """Links to all articles."""
    rows = []
    for n, part in enumerate(text.parts, 1):
        links = [
            f'<a href="#a{number}">{number} {escape(article.title)}</a>'
            for number, article, _ in text.numbered(n)
        ]
        rows.append((f"Part {n}. {escape(part.title)}", ", ".join(links)))
    return table("Contents", ("part", "articles"), rows)


def _block(text, number, block):
    if isinstance(block, Clause):
        said = quoted(text.text(block))
        return f'<div class="clause" id="c{number}"><b>{number}</b><span>{said}</span></div>'
    rows = [[quoted(text.text(cell)) for cell in row] for row in block.rows]
    head = [quoted(text.text(cell)) for cell in block.columns]
    made = table(f"{number}. {escape(block.title)}", head, rows)
    if len(block.columns) >= MANY:
        made = made.replace("<table>", '<table class="wide-table">', 1)
    return made
