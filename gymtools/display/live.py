"""Live figures: they survive reloads, mixed updates and a page that was too busy to draw them."""

import functools
import sys
from copy import deepcopy
from pathlib import Path

import anywidget
import ipywidgets as w
import plotly
import plotly.graph_objects as go
from ipywidgets.widgets.widget import _instances as open_widgets
from plotly.basedatatypes import Undefined
from traitlets import Int, Unicode, default

LIBRARY = Path(plotly.__file__).parent / "package_data" / "widgetbundle.js"
# plotly loads a validator of notebooks with it, and that a grammar of addresses, which takes longer
# than all else that the panel needs and which no notebook is checked by
UNWANTED = "rfc3987_syntax"
TRIES = 4  # figures that a page may ask for before it says that it cannot draw


def _figure_widget():
    """Plotly's widget, without the module that is not wanted."""
    if UNWANTED in sys.modules:
        return go.FigureWidget
    sys.modules[UNWANTED] = None  # whoever asks for it takes it for not installed
    try:
        return go.FigureWidget
    finally:
        del sys.modules[UNWANTED]


class PageCode(w.Widget):
    """Plotly's page code, sent to a page once and shared by all its figures."""

    _model_name = Unicode("WidgetModel").tag(sync=True)
    text = Unicode().tag(sync=True)


@functools.lru_cache(maxsize=1)
def _read_code():
    return LIBRARY.read_text(encoding="utf-8")


def _page_code():
    """The page code that the widgets of this kernel share; made anew when it has been closed."""
    there = (x for x in list(open_widgets.values()) if isinstance(x, PageCode))
    return next(there, None) or PageCode(text=_read_code())


class LiveFigure(_figure_widget()):
    """FigureWidget whose late viewers see the present state and whose batches may mix traces;
    nothing is sent to outside services.

    Plotly 7 keeps the state of construction for pages opened later; a batch that updates an
    attribute of some traces makes the page report the others' arrays back; and what a page reports
    as its defaults is dropped from the figure, so that a page opened later lacks it. Its page code
    of 5 MB comes with every figure, and when a busy page takes more than 2 s to load it, the figure
    takes no update any more. Here a few lines start at once and load the shared code in their own
    time; updates that arrive in between are made up for by asking for the present state.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure
        With all its traces
    """

    _code_id = Unicode().tag(sync=True)
    _esm = """
    const wait = (ms) => new Promise((done) => setTimeout(done, ms));
    async function load(model) {
      for (let tries = 0; ; tries++) {
        try {
          const code = await model.widget_manager.get_model(model.get("_code_id"));
          const type = { type: "text/javascript" };
          const url = URL.createObjectURL(new Blob([code.get("text")], type));
          return await import(url);
        } catch (error) {
          if (tries > 100) throw error;
          await wait(100);  // a page that is reloaded may not have the code yet
        }
      }
    }
    const shared = (model) => (globalThis.gymtoolsPlotly ??= load(model));
    const SENT = ["update", "restyle", "relayout", "addTraces", "deleteTraces", "moveTraces",
      "animate", "removeLayoutProps", "removeTraceProps"];
    async function start(model) {
      let missed = false;
      const note = () => { missed = true; };
      SENT.forEach((name) => model.on(`change:_py2js_${name}`, note));
      const figure = (await shared(model)).default();
      for (let tries = 0; missed && tries < 3; tries++) {
        missed = false;
        const answered = new Promise((done) => {
          model.on("msg:custom", (message) => { if (message.sent === "state") done(); });
        });
        model.send({ wanted: "state" });
        await Promise.race([answered, wait(20000)]);
      }
      SENT.forEach((name) => model.off(`change:_py2js_${name}`, note));
      figure.initialize({ model });
      return figure;
    }
    export default () => {
      let started;
      return {
        initialize({ model }) {
          // a model that anywidget has given up hears nothing: its watch must know
          model.on("msg:custom", () => model.set("_hears", true));
          model.send({ wanted: "answer" });
          started = start(model);
          started.catch(console.warn);
        },
        async render({ model, el }) { return (await started).render({ model, el }); },
      };
    };
    """

    @default("_code_id")  # known when the page is told of the figure
    def _shared_code(self):
        return _page_code().model_id

    @staticmethod
    def _remove_overlapping_props(input_data, delta_data, prop_path=()):
        return []  # the figure keeps what it was given, whatever a page takes for its default

    def __init__(self, figure):
        super().__init__(figure)
        self._config = {
            **self._config,
            "showSendToCloud": False,
            "displaylogo": False,
            "responsive": True,
            "modeBarButtonsToRemove": ["select2d", "lasso2d"],
        }
        self.on_msg(self._answer)

    def _answer(self, _widget, content, _buffers):
        if content.get("wanted") == "state":
            self.send_state(["_widget_data", "_widget_layout"])
        self.send({"sent": content.get("wanted")})

    def get_state(self, key=None, drop_defaults=False):
        """State for a viewer: as the figure stands, not as it was made.

        Parameters
        ----------
        key : str, list or None
            What is asked for
        drop_defaults : bool
            Leave defaults out

        Returns
        -------
        state : dict
            Widget state
        """
        asked = [key] if isinstance(key, str) else key
        whole = asked is None or "_widget_data" in asked
        if whole and getattr(self, "_layout_obj", None) is not None:
            self._trait_values["_widget_data"] = deepcopy(self._data)
            self._trait_values["_widget_layout"] = deepcopy(self._layout_obj._props)
        return super().get_state(key=key, drop_defaults=drop_defaults)

    def _send_update_msg(
        self, restyle_data, relayout_data, trace_indexes=None, source_view_id=None
    ):
        numbers = self._normalize_trace_indexes(trace_indexes)
        for name, found in restyle_data.items():
            for k, value in enumerate(found):
                if value is Undefined and name in self._data[numbers[k]]:
                    found[k] = self._data[numbers[k]][name]
        super()._send_update_msg(restyle_data, relayout_data, trace_indexes, source_view_id)


class Watch(anywidget.AnyWidget):
    """Watches the figure beside it in the page: fits it to its width, which plotly does not watch,
    says while it is being drawn, and asks for another when it does not come or hears nothing.

    Parameters
    ----------
    figure : LiveFigure
        Beside it, in the same box
    tries : int
        How many other figures may be asked for [-]
    """

    figure_id = Unicode().tag(sync=True)
    asked = Int(0).tag(sync=True)
    tries = Int(TRIES).tag(sync=True)
    _esm = """
    const DEAF = 4000, UNDRAWN = 30000, ASLEEP = 20000;  // how long either may last [ms]
    export default { render({ model, el }) {
      const fit = () => window.dispatchEvent(new Event("resize"));
      const sized = new ResizeObserver(() => requestAnimationFrame(fit));
      // the wheel scrolls the page; with Ctrl it comes nearer to what the picture shows
      const calm = (event) => { if (!event.ctrlKey) event.stopPropagation(); };
      let beside = null;
      requestAnimationFrame(() => {
        beside = el.parentElement;
        if (!beside) return;
        sized.observe(beside);
        beside.addEventListener("wheel", calm, { capture: true, passive: true });
      });
      const drawn = () => [...(el.parentElement?.querySelectorAll(".js-plotly-plot") ?? [])]
        .some((g) => g.data?.length && g._fullData?.length);
      const hears = async () => {
        try {
          const figure = await model.widget_manager.get_model(model.get("figure_id"));
          return Boolean(figure.get("_hears"));
        } catch (error) { return false; }
      };
      let timers = [], gone = false, idle = false, since = performance.now();
      let waited = 0, asleep = 0;
      // the kernel takes turns: once it has answered here, the figure has been answered before
      model.on("msg:custom", () => { idle = true; });
      model.send({ wanted: "answer" });
      el.className = "gt-drawing";
      el.style.color = "#595959";
      el.textContent = "Drawing ...";
      const check = async () => {
        const heard = await hears();
        if (gone) return;
        if (drawn() && heard) {
          el.textContent = "";
          timers = [0, 300, 1000, 2500].map((ms) => setTimeout(fit, ms));
          return;
        }
        // a page that is busy does not look either: only turns that it had count; a watch that was
        // given up itself hears no answer
        asleep += Math.min(performance.now() - since, 500);
        if (idle || asleep > ASLEEP) waited += Math.min(performance.now() - since, 500);
        since = performance.now();
        if (waited > (heard ? UNDRAWN : DEAF)) {
          if (!model.get("tries") || model.get("asked")) {
            el.textContent = "The picture cannot be drawn. Reload the page.";
            return;
          }
          waited = 0;
          model.set("asked", 1);
          model.save_changes();
        }
        timers = [setTimeout(check, 250)];
      };
      check();
      return () => {
        gone = true;
        sized.disconnect();
        timers.forEach(clearTimeout);
        beside?.removeEventListener("wheel", calm, { capture: true });
      };
    } };
    """

    def __init__(self, figure, tries=TRIES):
        super().__init__(figure_id=figure.model_id, tries=tries)
        self.on_msg(lambda *_: self.send({"sent": "answer"}))


class FigureFrame(w.VBox):
    """A live figure and its watch; a figure that the page did not draw is made anew.

    Parameters
    ----------
    chart : plotly.graph_objects.Figure
        What to show, with all its traces
    again : callable, optional
        Gives the chart as it should stand then; a copy of the live figure when left out
    renewed : callable, optional
        Called with every live figure but the first, e.g. to listen to clicks again
    layout : dict, optional
        Of the box; full width when left out
    """

    def __init__(self, chart, again=None, renewed=None, layout=None):
        self.figure, self._again, self._renewed = LiveFigure(chart), again, renewed
        self.watch = self._watched(TRIES)
        super().__init__([self.figure, self.watch], layout=layout or {"width": "100%"})
        self.add_class("gt-stand")

    def _watched(self, tries):
        watch = Watch(self.figure, tries)
        watch.observe(self._renew, names="asked")
        return watch

    def _renew(self, _change):
        unheard, given_up = self.figure, self.watch
        self.figure = LiveFigure(self._again() if self._again else go.Figure(unheard))
        self.watch = self._watched(given_up.tries - 1)  # the page may have given up both
        self.children = [self.figure, self.watch]
        unheard.close()
        given_up.close()
        if self._renewed:
            self._renewed(self.figure)
