"""Style of the page that the panel stands on."""

from ..theme import FONT, QUIET

STYLE = """<style>
.gt-page .widget-label, .gt-page .widget-readout {{ font-family: {font}; }}
.gt-bar {{ align-items: center; justify-content: space-between; height: 32px; }}
.gt-bar > * {{ flex: 0 0 auto; }}
.gt-bar .widget-toggle-buttons button {{ width: auto !important; min-width: 40px; padding: 0 6px; }}
.gt-bar > .gt-school {{ flex: 1 1 60px; min-width: 0; }}
.gt-school .widget-html-content {{ white-space: nowrap; overflow: hidden;
  text-overflow: ellipsis; }}
.gt-bar > :last-child {{ flex: 0 0 140px; justify-content: flex-end; }}
.gt-bar .widget-html-content, .gt-caution .widget-html-content {{ line-height: 1.3; }}
.gt-room .widget-html-content {{ white-space: nowrap; }}
.gt-caution {{ min-height: 18px; }}
.gt-caution .widget-html-content {{ font-size: 11.5px; }}
.gt-work {{ height: 460px; min-height: 280px; align-items: stretch; }}
.gt-gone .gt-side, .gt-gone .gt-bar, .gt-gone .gt-work, .gt-gone .gt-kept-strip {{
  pointer-events: none; opacity: 0.55; }}
.gt-gone .jupyter-widgets-disconnected::before {{ content: none !important; }}
.gt-note {{ display: none; }}
.gt-lifeline {{ font-weight: 600; }}
.gt-gone.gt-unfolded {{ position: static !important; }}
.gt-page, .gt-side {{ display: flex; flex-direction: column; }}
.gt-page > *, .gt-side > * {{ flex: 0 0 auto; }}
.gt-side {{ overflow: auto; flex: 0 0 348px; width: 348px; }}
.gt-work > .gt-drawing-frame {{ flex: 1.1 1 0; height: 100% !important; min-width: 320px; }}
.gt-work > .gt-stand {{ flex: 1 1 0; min-width: 300px; height: 100%; overflow: hidden; }}
.gt-work .gt-stand > :first-child {{ height: 100%; }}
.gt-work .js-plotly-plot, .gt-work .plot-container, .gt-work .svg-container {{
  height: 100% !important; }}
.gt-large-space .gt-drawing-frame, .gt-large-drawing > .gt-stand {{ display: none; }}
.gt-slider .widget-text .widget-label {{ text-align: left; }}
.gt-slider .widget-slider .noUi-target {{ margin: 0 8px; }}
.gt-said .widget-html-content {{ line-height: 1.25; white-space: normal; }}
.gt-stand > * {{ width: 100%; }}
.gt-page .gtb-sentence .widget-html-content {{ white-space: nowrap; overflow: hidden;
  text-overflow: ellipsis; height: 21px; }}
.gt-side .jupyter-widget-Collapse-contents {{ padding: 4px 2px; }}
.gt-side .jupyter-widget-Collapse-contents > *, .gt-side .gt-slider {{ max-width: 100%; }}
.gt-page .lm-TabBar-tab {{ min-width: max-content; flex: 0 0 auto !important; }}
.gt-stale, .gt-stale * {{ color: {quiet} !important; }}
.gt-page .gt-kept-held {{ outline: 3px solid #0072b2; outline-offset: -3px; }}
.gt-kept svg {{ cursor: pointer; }}
.gt-message {{ min-height: 0; }}
.gt-behind > :not(.gt-new) {{ display: none !important; }}
.gt-tabs .widget-html, .gt-tabs .widget-html-content {{ min-width: 0; max-width: 100%; }}
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
# the inputs of code cells alone: text cells and the notebook's tools stay
HIDE = """.jp-CodeCell > .jp-Cell-inputWrapper, .jp-OutputPrompt,
.jp-CodeCell .jp-Collapser { display: none !important; }"""
# the panel alone over the whole notebook: its first screen holds all that a meeting looks at, and
# the picture stays in view above what is read below
ALONE = """.gt-page { position: fixed; inset: 0; z-index: 500; overflow: hidden auto;
  background: #fff; padding: 6px 14px; container-type: size; }
.gt-work { height: calc(100cqh - 402px); position: sticky; top: -6px; z-index: 5;
  background: #fff; }
.gt-reading .gt-work { height: max(240px, 36cqh); min-height: 0;
  margin-bottom: var(--gt-work-lost, 0); }
.gt-reading .gt-board { position: sticky; top: calc(max(240px, 36cqh) - 6px); z-index: 5;
  background: #fff; margin-bottom: var(--gt-board-lost, 0); }
.gt-page > .gt-tabs { min-height: calc(64cqh - 150px); isolation: isolate; }
@container (max-height: 680px) {
  .gt-work { height: calc(100cqh - 328px); }
  .gt-board { flex-flow: row wrap; }
  .gt-board > * { flex: 0 0 100%; }
  .gt-board > .gtb-sentence { flex: 1 1 0; min-width: 0; }
  .gt-board > .gtb-change { flex: 0 1 auto; max-width: 50%; min-width: 0; }
  .gt-kept-strip { min-height: 0 !important; height: 32px; overflow: hidden; }
  .gt-kept-strip .widget-vbox:first-child { flex-direction: row; width: auto !important; }
  .gt-kept-strip svg { display: none; }
}"""


def style(folded, alone=False):
    """Style sheet of the page.

    Parameters
    ----------
    folded : bool
        Hide the inputs of code cells
    alone : bool
        Let the panel cover the notebook while they are hidden

    Returns
    -------
    html : str
        A style element
    """
    hidden = (HIDE, ALONE) if alone else (HIDE,)
    return STYLE.format(font=FONT, quiet=QUIET, hide="\n".join(hidden) if folded else "")


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


def with_folder(path):
    """A file or folder that was written, with the folder that it lies in.

    Parameters
    ----------
    path : Path
        Where it lies

    Returns
    -------
    words : str
        E.g. "scenarios/option-a.toml"
    """
    path = path.resolve()
    return f"{path.parent.name}/{path.name}"
