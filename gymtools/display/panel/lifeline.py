"""What the page shows while no kernel is behind it: the line that says where it stopped, and
the note that stands in the panel's place until the notebook is run. The controls are locked then:
nothing that is moved would be heard.
"""

import sys
import uuid

import anywidget
import ipywidgets as w
from IPython.display import HTML, display
from ipywidgets.widgets.widget import _instances as open_widgets
from traitlets import Int

from .section import Section

# the panel's own style hides the note; what Jupyter says of a widget that nothing runs is no help
NOTE = """<div class="gt-note"><p><b>The meeting is not running.</b> Press ▶▶ in the bar above
(restart the kernel and run all cells) to open it. Your steps are kept: the panel asks whether to go
on from them.</p></div>
<style>.jp-OutputArea-output.jupyter-widgets:not(:has(*)) { display: none; }</style>"""


class Lifeline(anywidget.AnyWidget):
    """Hears when the kernel is gone; ``steps`` is what the journal has kept until then."""

    steps = Int(0).tag(sync=True)
    _esm = """
    const AGAIN = "jp-button[data-command='notebook:restart-run-all']";
    const HELD = ["pointerup", "mouseup", "pointercancel"];
    export default { render({ model, el }) {
      el.className = "gt-lifeline";
      el.setAttribute("role", "status");
      const gone = () => {
        const page = el.closest(".gt-page");
        if (!page || page.classList.contains("gt-gone")) return;
        page.classList.add("gt-gone");
        page.querySelectorAll(".gt-side, .gt-bar, .gt-work, .gt-kept-strip, .gtb")
          .forEach((part) => { part.inert = true; });
        for (const kind of HELD) {  // a hand lets go of what it holds
          const event = new PointerEvent(kind, { bubbles: true, pointerId: 1 });
          (page.querySelector(".noUi-active") ?? document).dispatchEvent(event);
        }
        el.textContent = "Stopped at step " + model.get("steps")
          + ": the kernel is gone, nothing is lost. ";
        const back = document.createElement("button");
        back.textContent = "Go on";
        back.title = "Restart the kernel and run all cells; the panel then asks to go on";
        back.onclick = () => {
          page.classList.add("gt-unfolded");
          const bar = el.closest(".jp-NotebookPanel, .jp-MainAreaWidget") ?? document;
          const again = bar.querySelector(AGAIN) ?? document.querySelector(AGAIN);
          again?.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
        };
        el.append(back);
      };
      model.on("comm_live_update", gone);
      return () => model.off("comm_live_update", gone);
    } };
    """


class LifelineSection(Section):
    """The line that stands on the page once the kernel is gone."""

    def _make(self):
        return Lifeline()

    def _render(self, state, answer):
        self.box.steps = self.panel.history.steps


class Page(w.VBox):
    """The panel's page. Every run of a notebook's cell gives it the same name, so that what the
    notebook was last saved with shows the panel again after a reload; where nothing runs, a note
    says how to open it.

    Parameters
    ----------
    children : sequence of Widget
        What it shows
    note : str
        HTML that stands in its place where nothing runs
    """

    def __init__(self, children, note=NOTE):
        self._note = note
        name = _name_of_cell()
        before = open_widgets.get(name)
        if before is not None:  # the cell was run before
            before.close()
        super().__init__(children, **({"model_id": name} if name else {}))

    def _ipython_display_(self):
        display(HTML(self._note))
        display(self._repr_mimebundle_(), raw=True)


def _name_of_cell():
    """A name that belongs to the cell that is being run; empty outside of a notebook."""
    shell = sys.modules.get("IPython")
    kernel = getattr(shell and shell.get_ipython(), "kernel", None)
    parent = kernel.get_parent("shell") if kernel is not None else {}
    cell = (parent or {}).get("metadata", {}).get("cellId", "")
    return uuid.uuid5(uuid.NAMESPACE_OID, f"gymtools {cell}").hex if cell else ""
