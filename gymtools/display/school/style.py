"""Style of the page on which a school is written down."""

from ..theme import FAINT, INK, QUIET

STYLE = f"""<style>
.gt-new.gt-page {{ overflow: hidden; }}
.gt-new .gt-body {{ flex: 1 1 auto; min-height: 0; height: calc(100cqh - 132px);
  align-items: stretch; }}
.gt-new .gt-left {{ flex: 0 0 690px; width: 690px; overflow: hidden auto; padding-right: 6px;
  border-right: 1px solid {FAINT}; }}
.gt-new .gt-right {{ flex: 1 1 0; min-width: 0; overflow: hidden auto; padding-left: 10px; }}
.gt-new .gt-sketch {{ flex: 1 1 auto; min-height: 0; }}
.gt-new .gt-sketch .widget-html-content, .gt-new .gt-sketch svg {{ width: 100%; height: 100%; }}
.gt-new .gt-left > *, .gt-new .gt-right > * {{ flex: 0 0 auto; }}
.gt-new .gt-right > .gt-sketch {{ flex: 1 1 auto; min-height: 380px;
  height: calc(100cqh - 270px); }}
.gt-new .gt-wide .gt-right {{ display: none; }}
.gt-new .gt-wide .gt-left {{ flex: 1 1 auto; border: 0; }}
.gt-new .widget-html-content {{ line-height: 1.3; }}
.gt-new .gt-example {{ opacity: 0.45; height: 94%; }}
.gt-new .gt-answer {{ align-items: center; min-height: 30px; overflow: visible; }}
.gt-new .gt-answer > * {{ margin-top: 0; margin-bottom: 0; }}
.gt-new .gt-answer > * {{ flex: 0 0 auto; }}
.gt-new .gt-answer > .gt-said {{ flex: 1 1 0; min-width: 0; margin: 0 0 0 4px; }}
.gt-new .gt-answer .widget-label {{ text-align: left !important; white-space: normal;
  line-height: 1.15; overflow: visible; text-overflow: clip; }}
.gt-new .gt-answer.gt-assumed input, .gt-new .gt-answer.gt-not-sure input,
.gt-new .gt-answer.gt-usual input {{ color: {QUIET}; font-style: italic; border-style: dashed; }}
.gt-new .gt-assumed .gt-said, .gt-new .gt-not-sure .gt-said, .gt-new .gt-usual .gt-said {{
  color: {QUIET}; font-style: italic; }}
.gt-new .gt-said.gt-refused {{ color: #b3261e; font-style: normal; font-weight: 600; }}
.gt-new .gt-answer input[aria-invalid="true"] {{ border: 2px solid #b3261e; }}
.gt-new .gt-thing {{ width: 330px; text-align: left; font-weight: 600; }}
.gt-new .gt-thing-bar {{ margin-top: 4px; }}
.gt-new .gt-adder {{ margin-top: 8px; padding-top: 6px; border-top: 1px solid {FAINT}; }}
.gt-new .gt-bar {{ height: auto; min-height: 34px; flex-wrap: wrap; justify-content: flex-start; }}
.gt-new .gt-bar > :last-child {{ flex: 0 0 auto; }}
.gt-new.gt-gone .gt-body {{ pointer-events: none; opacity: 0.55; }}
.gt-new .gt-steps button {{ width: auto !important; padding: 0 12px; }}
.gt-new .gt-faults .widget-html-content {{ color: #8c1d18; }}
.gt-new .gt-doubts .widget-html-content {{ color: #6b4400; }}
.gt-new .gt-doubts ol, .gt-new .gt-faults ol {{ margin: 2px 0; padding: 0; list-style: none; }}
.gt-new .gt-faults b {{ display: inline-block; min-width: 18px; border-radius: 9px; color: #fff;
  background: #b3261e; text-align: center; margin-right: 6px; }}
.gt-new .gt-doubts b {{ display: inline-block; min-width: 18px; border-radius: 9px; color: #fff;
  background: #8a5a00; text-align: center; margin-right: 6px; }}
.gt-new .jupyter-widget-Collapse-header {{ color: {INK}; padding: 5px 10px; min-height: 0; }}
.gt-new .jupyter-widget-Collapse-contents {{ padding: 4px 6px; }}
</style>"""
