"""Plain HTML tables, as cards in a workbook and in documents."""

from ..theme import FAINT, FONT, INK, QUIET

# a class named three times outweighs the notebook's own rule, which sets every table to the right
STYLE = f"""<style>
.gt-card {{
  font-family: {FONT}; color: {INK}; font-size: 14px; line-height: 1.45; max-width: 1560px;
}}
.gt-card table {{ border-collapse: collapse; width: 100%; margin: 4px 0 10px; }}
.gt-card caption {{ text-align: left; font-weight: 600; padding: 6px 0 2px; }}
.gt-card.gt-card.gt-card th, .gt-card.gt-card.gt-card td {{
  text-align: left; vertical-align: top; padding: 4px 14px 4px 0;
  border-bottom: 1px solid {FAINT}; white-space: normal;
}}
.gt-card.gt-card.gt-card td.num, .gt-card.gt-card.gt-card th.num {{ text-align: right; }}
.gt-card .quiet {{ color: {QUIET}; font-size: 12px; }}
.gt-card .wide {{ overflow-x: auto; }}
.gt-card .word {{ white-space: nowrap; font-weight: 600; }}
.gt-card .meets {{ font-weight: 400; }}
.gt-card .misses, .gt-card .out {{ border-bottom: 2px solid {INK}; }}
</style>"""


class Num(str):
    """HTML of a cell that is set to the right."""

    css = "num"


class Quiet(str):
    """HTML of a cell that is small and gray."""

    css = "quiet"


class QuietNum(str):
    """HTML of a cell that is small, gray and set to the right."""

    css = "num quiet"


def card(*parts):
    """A piece of HTML in the workbook's own style.

    Parameters
    ----------
    parts : str
        HTML; text from a scenario must have been escaped

    Returns
    -------
    html : str
        One block
    """
    return f'{STYLE}<div class="gt-card">{"".join(parts)}</div>'


def table(caption, head, rows):
    """A table with its caption.

    Parameters
    ----------
    caption : str
        HTML over it; none when empty
    head : sequence of str
        HTML of the columns' names; a ``Num`` is set to the right
    rows : sequence of sequence
        Cells: HTML, ``Num`` or ``Quiet`` HTML, or bare numbers, which are set to the right

    Returns
    -------
    html : str
        The table
    """
    top = "".join(_cell(h, "th", ' scope="col"') for h in head)
    body = "".join("<tr>" + "".join(_cell(v) for v in row) + "</tr>" for row in rows)
    title = f"<caption>{caption}</caption>" if caption else ""
    return f"<table>{title}<thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


def _cell(value, tag="td", more=""):
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = Num(f"{value:,.10g}")
    style = f' class="{value.css}"' if hasattr(value, "css") else ""
    return f"<{tag}{more}{style}>{value}</{tag}>"


def bullets(items):
    """A list.

    Parameters
    ----------
    items : sequence of str
        HTML of each entry

    Returns
    -------
    html : str
        The list; empty without entries
    """
    return f"<ul>{''.join(f'<li>{item}</li>' for item in items)}</ul>" if items else ""
