"""Says in the page that the kernel has stopped, and locks the controls then: nothing that is moved
would be heard.
"""

import anywidget
from traitlets import Int

from .section import Section


class Lifeline(anywidget.AnyWidget):
    """Hears when the kernel is gone; ``steps`` is what the journal has kept until then."""

    steps = Int(0).tag(sync=True)
    _esm = """
    export default { render({ model, el }) {
      el.className = "gt-lifeline";
      el.setAttribute("role", "status");
      const gone = () => {
        const page = el.closest(".gt-page");
        const steps = model.get("steps");
        if (!page || page.classList.contains("gt-gone")) return;
        page.classList.add("gt-gone");
        el.textContent = "The kernel stopped at step " + steps + ". Nothing is lost: show the"
          + " notebook, restart the kernel and run all cells, then choose to go on.";
        const back = document.createElement("button");
        back.textContent = "Show the notebook";
        back.onclick = () => page.classList.add("gt-unfolded");
        el.append(" ", back);
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
