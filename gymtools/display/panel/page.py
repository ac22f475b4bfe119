"""Style of the page that the panel stands on."""

from ..theme import FONT, QUIET

STYLE = """<style>
.gt-page .widget-label, .gt-page .widget-readout {{ font-family: {font}; }}
.gt-side {{ overflow: auto; flex: 0 0 auto; }}
.gt-stand > * {{ width: 100%; }}
.gt-page .lm-TabBar-tab {{ min-width: max-content; flex: 0 0 auto !important; }}
.gt-message {{ min-height: 26px; }}
.gt-words {{ line-height: 1.3; }}
.gt-words .widget-html-content {{ white-space: normal; }}
.jp-OutputArea-promptOverlay {{ display: none !important; }}
{hide}
</style>"""
TITLE = (
    f"<b>What does every seat hear?</b> <span style='color:{QUIET}'>Loudspeakers hang over people;"
    " AC power, loud sound and emergency announcements can hurt. Local codes, the authority having"
    " jurisdiction and licensed professionals come before anything shown here.</span>"
)
# the inputs of code cells alone: text cells and the notebook's tools stay
HIDE = """.jp-CodeCell > .jp-Cell-inputWrapper, .jp-OutputPrompt,
.jp-CodeCell .jp-Collapser { display: none !important; }"""


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
