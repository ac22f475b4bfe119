"""A document for the file: one HTML file that opens offline, prints well, and asks for nothing."""

import base64
import hashlib
import json
from html import escape

import plotly.io as pio
from plotly.offline import get_plotlyjs

from ..theme import FAINT, FONT, INK, QUIET

STYLE = f"""
body {{
  font-family: {FONT};
  color: {INK};
  background: #fff;
  max-width: 1080px;
  margin: 24px auto;
  padding: 0 20px;
  line-height: 1.45;
  font-size: 15px;
}}
h1 {{ font-size: 26px; }}
h2 {{ font-size: 20px; border-bottom: 2px solid {INK}; padding-bottom: 3px; margin-top: 36px; }}
h3 {{ font-size: 16px; margin-bottom: 4px; }}
table {{ border-collapse: collapse; width: 100%; margin: 6px 0 14px; font-size: 13px; }}
caption {{ text-align: left; font-weight: 600; padding: 6px 0 2px; }}
th, td {{
  text-align: left;
  vertical-align: top;
  padding: 3px 10px 3px 0;
  border-bottom: 1px solid {FAINT};
  overflow-wrap: break-word;
}}
table {{ table-layout: auto; }}
td:first-child {{ max-width: 16em; }}
td.num, th.num {{ text-align: right; }}
td.num + td:not(.num), th.num + th:not(.num) {{ padding-left: 10px; }}
.board .quiet {{ font-size: inherit; }}
.quiet {{ color: {QUIET}; font-size: 12px; }}
.word {{ font-weight: 600; }}
.nowrap {{ white-space: nowrap; }}
.meets {{ font-weight: 400; }}
.misses, .out {{ border-bottom: 2px solid {INK}; }}
.wide {{ overflow-x: auto; }} .wide table {{ font-size: 12px; }}
.board table {{ font-size: 12px; table-layout: fixed; }}
.board th:first-child {{ width: 12%; }}
.beside {{ display: grid; grid-template-columns: 1fr 1fr; gap: 20px; break-inside: avoid; }}
.drawing {{ break-inside: avoid; }} .drawing svg {{ width: 100%; }}
.issue span {{ margin-right: 28px; }}
.to-write {{ display: inline-block; width: 7em; height: 1.2em; border-bottom: 1px solid {INK}; }}
.by-hand {{ height: 30px; border-bottom: 1px solid {QUIET}; break-inside: avoid; }}
.sources {{ font-size: 11px; color: {QUIET}; padding-left: 26px; }}
figure {{ display: inline-block; margin: 8px 4px; break-inside: avoid; }}
figcaption {{ font-size: 12px; color: {QUIET}; max-width: 600px; }}
.sign, .together {{ break-inside: avoid; }}
.sign td {{ border-bottom: 1px solid {INK}; height: 44px; vertical-align: bottom; }}
bdi {{ unicode-bidi: isolate; }}
@media print {{
  body {{ max-width: none; margin: 0; padding: 0; font-size: 9.5pt; orphans: 1; widows: 1; }}
  h1 {{ margin: 0 0 4px; font-size: 17pt; }}
  h2 {{ margin: 14px 0 8px; font-size: 13pt; break-after: avoid; }}
  tbody tr:first-child {{ break-before: avoid; break-after: avoid; }}
  tbody tr:last-child {{ break-before: avoid; }}
  h3, caption {{ break-after: avoid; }}
  table {{ font-size: 8.5pt; }}
  tr, figure, h3, li {{ break-inside: avoid; }}
  .screen, audio {{ display: none; }}
  figure {{ margin: 4px 0; }}
  figure.paper {{ zoom: 0.64; width: 520px; }}
  figure.paper figcaption {{ font-size: 15px; padding-right: 24px; }}
  p {{ margin: 6px 0; orphans: 2; widows: 2; }}
  h2 + p {{ break-after: avoid; }}
  .beside p {{ margin: 3px 0; font-size: 8.8pt; }}
  .beside .quiet {{ font-size: 8pt; }}
  .beside ul {{ margin: 4px 0; padding-left: 18px; font-size: 9pt; }}
  .wide {{ overflow: visible; }}
  .wide table, .board table {{ font-size: 7.5pt; }}
  .wide th, .wide td, .board th, .board td {{ padding-right: 5px; }}
  .board th {{ font-size: 6.4pt; }}
  .modebar-container {{ display: none !important; }}
}}
"""
SHEET = """
@page {{
  size: {paper}; margin: 14mm 14mm 16mm;
  @bottom-left {{ content: "{foot}"; font: 8pt sans-serif; color: {quiet}; }}
  @bottom-right {{
    content: "page " counter(page) " of " counter(pages); font: 8pt sans-serif; color: {quiet};
  }}
}}
"""
POLICY = (
    "default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data: blob:;"
    " font-src data:; media-src {media}; base-uri 'none'; form-action 'none'"
)

BLANK = '<span class="to-write"></span>'  # to be filled in by hand


def date_words(date):
    """A date as it was given, never guessed.

    Parameters
    ----------
    date : datetime.date or None
        The day

    Returns
    -------
    html : str
        Year, month, day; a blank to write on without one
    """
    return date.isoformat() if date else BLANK


class Page:
    """Pieces of a document, with numbered figures.

    Parameters
    ----------
    title : str
        Of the window
    paper : str
        It is printed on: "A4" or "letter"
    foot : str
        At the foot of every printed page; the title when left out
    """

    def __init__(self, title, *, paper="A4", foot=""):
        self.paper, self.foot = paper, foot or title
        self.title, self.pieces, self.scripts, self.figures = title, [], [], 0
        self.sounds = 0

    def add(self, *html):
        """Put pieces at the end.

        Parameters
        ----------
        html : str
            Each of them
        """
        self.pieces += html

    def figure(self, chart, words, screen=False):
        """Put a figure at the end, with its caption.

        Parameters
        ----------
        chart : plotly.graph_objects.Figure
            What is drawn
        words : str
            Caption, and what is read aloud instead
        screen : bool
            Whether it can be turned, and is left out on paper
        """
        self.figures += 1
        number = self.figures
        data = pio.to_json(chart, validate=False)
        parts = json.loads(data)

        def safe(v):
            return json.dumps(v, separators=(",", ":"), ensure_ascii=True).replace("<", "\\u003c")

        self.add(
            f'<figure class="{"screen" if screen else "paper"}"><div id="figure-{number}"'
            f' role="img" aria-label="{escape(words)}"></div>'
            f"<figcaption>Figure {number}. {escape(words)}</figcaption></figure>"
            + self._script(
                f'Plotly.newPlot("figure-{number}",{safe(parts["data"])},{safe(parts["layout"])},'
                '{"displaylogo":false,"showSendToCloud":false,'
                f'"staticPlot":{str(not screen).lower()}}});'
            )
        )

    def sound(self, file, name, words):
        """Put a sound at the end, as an item of a list, to be played from the page itself.

        Parameters
        ----------
        file : bytes
            FLAC
        name : str
            What is heard
        words : str
            Its figures
        """
        self.sounds += 1
        data = base64.b64encode(file).decode("ascii")
        self.add(
            f"<li><b>{quoted(name)}</b>: {escape(words)}<br><audio controls preload='none'"
            f" aria-label='{escape(name, quote=True)}' src='data:audio/flac;base64,{data}'>"
            "</audio></li>"
        )

    def run(self, code):
        """Put a script of the page's own at the end.

        Parameters
        ----------
        code : str
            JavaScript
        """
        self.add(self._script(code))

    def _sheet(self):
        """Rules of the printed page."""
        return SHEET.format(paper=self.paper, foot=_in_css(self.foot), quiet=QUIET)

    def _script(self, code):
        """A script that the page's policy allows, by its hash."""
        code = code.replace("\r\n", "\n").replace("\r", "\n")  # as a browser reads it
        digest = base64.b64encode(hashlib.sha256(code.encode("utf-8")).digest()).decode("ascii")
        self.scripts.append(f"'sha256-{digest}'")
        return f"<script>{code}</script>"

    def html(self):
        """The whole document.

        Returns
        -------
        html : str
            One file; it asks for nothing, and runs no script but its own
        """
        library = self._script(get_plotlyjs()) if self.figures else ""
        scripts = " ".join(sorted(set(self.scripts))) or "'none'"
        policy = POLICY.format(scripts=scripts, media="data:" if self.sounds else "'none'")
        return (
            f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta name="viewport"'
            f' content="width=device-width, initial-scale=1">'
            '<meta http-equiv="Content-Security-Policy"'
            f' content="{policy}"><title>{escape(self.title)}</title>'
            f"<style>{STYLE}{self._sheet()}</style>{library}</head>"
            f"<body>{''.join(self.pieces)}</body></html>\n"
        )


def _in_css(text):
    """Text as a string of a style sheet: everything but plain letters, digits and spaces by its
    number, so that nothing ends the string or the sheet.
    """
    return "".join(
        c if c.isascii() and (c.isalnum() or c in " ,:.-") else f"\\{ord(c):06x}" for c in text
    )


def quoted(text):
    """Text of a scenario: never markup, and never turning the direction of what follows.

    Parameters
    ----------
    text : str
        Of any origin

    Returns
    -------
    html : str
        Shown as it is
    """
    return f"<bdi>{escape(text)}</bdi>"
