"""Plan and section of what is shown, in which loudspeakers are dragged."""

from ...acoustics.evaluate import evaluate
from ...design.dragging import Handle
from .. import scene
from ..drawing import Drawing
from .section import Section


class PlanSection(Section):
    """The drawing: what is dragged in it changes the state, a seat that is clicked is looked at."""

    def _begin(self):
        self._view = self._other = None
        self._before = None  # state when a handle was taken

    def _make(self):
        drawing = Drawing(self._moved, self.panel.look_at)
        drawing.add_class("gt-drawing-frame")
        return drawing

    def paint(self, view):
        """Show a view.

        Parameters
        ----------
        view : scene.View
            What is looked at
        """
        self._view = view
        self.box.show(view, picked=self.panel.state.group, ghost=self._other)

    def show_ghost(self, scenario, name=""):
        """Hold another design over what is shown.

        Parameters
        ----------
        scenario : Scenario or None
            None takes it away
        name : str
            Of the design
        """
        other = self._looked_at(scenario)
        self._other = None if other is None else (name, other)
        if self._view is not None:
            self.paint(self._view)

    def _looked_at(self, scenario):
        use = self.panel.result.use.name
        if scenario is None or use not in [u.name for u in scenario.uses]:
            return None
        result = evaluate(scenario, use, rays="few")
        return scene.View(result=result, quantity=self._view.quantity, units=self._view.units)

    def _moved(self, key, changes, _reason, done):
        """A handle is held: what it changes is one step of the history until it is let go. The
        drawing says itself why a handle stops.
        """
        group, panel = Handle.of(key).group, self.panel
        self._before = self._before or panel.state
        panel.history.hold(not done)
        if changes:
            panel.update(("dragged", key), group=group, changes=changes)
        else:
            panel.update(group=group)
        if done:
            if changes and panel.state.same_design(self._before):  # put back where it was
                panel.history.drop()
            self._before = None
            panel.history.close()
