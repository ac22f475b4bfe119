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

    def show_ghost(self, scenario):
        """Hold another design over what is shown.

        Parameters
        ----------
        scenario : Scenario or None
            None takes it away
        """
        self._other = self._looked_at(scenario)
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
        group = Handle.of(key).group
        if changes:
            self.panel.update(("dragged", key), group=group, changes=changes)
        else:
            self.panel.update(group=group)
        if done:
            self.panel.history.close()
