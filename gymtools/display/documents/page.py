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
.quiet {{ color: {QUIET}; font-size: 12px; }}
.word {{ font-weight: 600; }}
.wide {{ overflow-x: auto; }} .wide table {{ font-size: 11px; }}
figure {{ display: inline-block; margin: 8px 4px; break-inside: avoid; }}
figcaption {{ font-size: 12px; color: {QUIET}; max-width: 600px; }}
.sign td {{ border-bottom: 1px solid {INK}; height: 44px; vertical-align: bottom; }}
bdi {{ unicode-bidi: isolate; }}
@media print {{
  body {{ max-width: none; margin: 0; padding: 0; font-size: 11pt; }}
  h2 {{ break-before: page; }}
  h2.first {{ break-before: auto; }}
  tr, figure, h3 {{ break-inside: avoid; }}
  .screen {{ display: none; }}
  .wide {{ overflow: visible; }}
  .wide table {{ font-size: 6.5pt; }}
  .wide th, .wide td {{ padding-right: 4px; }}
  .modebar-container {{ display: none !important; }}
}}
@page {{ size: A4; margin: 14mm; }}
"""
POLICY = (
    "default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data: blob:;"
    " font-src data:; base-uri 'none'; form-action 'none'"
)


class Page:
    """Pieces of a document, with numbered figures.

    Parameters
    ----------
    title : str
        Of the window
    """

    def __init__(self, title):
        self.title, self.pieces, self.scripts, self.figures = title, [], [], 0

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
        policy = POLICY.format(scripts=" ".join(sorted(set(self.scripts))) or "'none'")
        return (
            f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta name="viewport"'
            f' content="width=device-width, initial-scale=1">'
            '<meta http-equiv="Content-Security-Policy"'
            f' content="{policy}"><title>{escape(self.title)}</title><style>{STYLE}</style>'
            f"{library}</head>"
            f"<body>{''.join(self.pieces)}</body></html>\n"
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
