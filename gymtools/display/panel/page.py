"""Style of the page that the panel stands on."""

from ..theme import FONT, QUIET

STYLE = """<style>
.gt-page .widget-label, .gt-page .widget-readout {{ font-family: {font}; }}
.gt-first {{ height: 790px; }}
.gt-bar {{ align-items: center; justify-content: space-between; height: 32px; }}
.gt-bar > * {{ flex: 0 0 auto; }}
.gt-bar .widget-toggle-buttons button {{ width: 58px; }}
.gt-first .widget-html-content {{ line-height: 1.3; }}
.gt-first > .gt-caution {{ height: 20px; font-size: 12px; }}
.gt-work {{ flex: 1 1 0 !important; min-height: 300px; align-items: stretch; }}
.gt-page, .gt-first, .gt-side {{ display: flex; flex-direction: column; }}
.gt-page > *, .gt-first > *, .gt-side > * {{ flex: 0 0 auto; }}
.gt-side {{ overflow: auto; flex: 0 0 348px; width: 348px; }}
.gt-work > .gt-stand {{ flex: 1 1 0; min-width: 300px; height: 100%; overflow: hidden; }}
.gt-work .gt-stand > :first-child {{ height: 100%; }}
.gt-work .js-plotly-plot, .gt-work .plot-container, .gt-work .svg-container {{
  height: 100% !important; }}
.gt-stand > * {{ width: 100%; }}
.gt-page .lm-TabBar-tab {{ min-width: max-content; flex: 0 0 auto !important; }}
.gt-message {{ min-height: 0; }}
.gt-words {{ line-height: 1.3; }}
.gt-words .widget-html-content {{ white-space: normal; }}
.jp-OutputArea-promptOverlay {{ display: none !important; }}
{hide}
</style>"""
CAUTION = (
    f"<span style='color:{QUIET}'>Loudspeakers hang over people; AC power, loud sound and emergency"
    " announcements can hurt. Local codes, the authority having jurisdiction and licensed"
    " professionals come before anything shown here.</span>"
)
# the inputs of code cells; the notebook's tools stay
# and the text around the panel, which says what its page says
HIDE = """.jp-CodeCell > .jp-Cell-inputWrapper, .jp-OutputPrompt, .jp-CodeCell .jp-Collapser,
.jp-Notebook:has(.gt-page) .jp-MarkdownCell { display: none !important; }
.gt-page { position: fixed; inset: 0; z-index: 500; overflow: hidden auto; background: #fff;
  padding: 6px 14px; }
.gt-first { height: 100%; }"""


def style(folded):
    """Style sheet of the page.

    Parameters
    ----------
    folded : bool
        Hide the inputs of code cells

    Returns
    -------
    html : str
        A style element
    """
    return STYLE.format(font=FONT, hide=HIDE if folded else "")


def quiet(text):
    """A hint in gray.

    Parameters
    ----------
    text : str
        HTML

    Returns
    -------
    html : str
        For an HTML widget
    """
    return f'<span style="color:{QUIET}">{text}</span>' if text else ""
