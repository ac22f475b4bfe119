"""A figure that survives reloads and mixed updates, a hand that never waits (the newest value
wins), and work done beside it.
"""

import asyncio
import html
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy

import anywidget
import ipywidgets as w
import plotly.graph_objects as go
from plotly.basedatatypes import Undefined


class LiveFigure(go.FigureWidget):
    """FigureWidget whose late viewers see the present state and whose batches may mix traces;
    nothing is sent to outside services.

    Plotly 7 keeps the state of construction for pages opened later; a batch that updates an
    attribute of some traces makes the page report the others' arrays back; and what a page reports
    as its defaults is dropped from the figure, so that a page opened later lacks it. All three are
    mended here.
    """

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

    def get_state(self, key=None, drop_defaults=False):
        """State for a viewer: as the figure stands, not as it was made.

        Parameters
        ----------
        key : str, list or None
            What is asked for [-]
        drop_defaults : bool
            Leave defaults out [-]

        Returns
        -------
        state : dict
            Widget state
        """
        if (key is None or key == "_widget_data") and getattr(
            self, "_layout_obj", None
        ) is not None:
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


class Fit(anywidget.AnyWidget):
    """Invisible; tells the figures of the page when the place beside it gets another width, which
    plotly does not watch.
    """

    _esm = """
    export default { render({ el }) {
      const tell = () => window.dispatchEvent(new Event("resize"));
      const watch = new ResizeObserver(() => requestAnimationFrame(tell));
      requestAnimationFrame(() => { if (el.parentElement) watch.observe(el.parentElement); });
      // the figure may be drawn after this
      const late = [300, 1000, 2500].map((wait) => setTimeout(tell, wait));
      return () => { watch.disconnect(); late.forEach(clearTimeout); };
    } };
    """


class Latest:
    """Runs a function for the newest request only: in a running kernel at most once a period,
    elsewhere at once.

    Parameters
    ----------
    run : callable
        What to run; takes nothing, reads the newest values itself [-]
    period : float
        Least time between two runs [s]
    """

    def __init__(self, run, period=0.03):
        self.run, self.period = run, period
        self.runs, self._handle, self._last = 0, None, 0.0
        self.error = w.HTML()

    def __call__(self, _change=None):
        """Ask for a run; returns at once inside a kernel."""
        if self._handle is not None:
            return
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # plain Python: no loop to wait in, and errors reach the caller
            self.flush()
            return
        self._handle = loop.call_later(
            max(0.0, self._last + self.period - time.monotonic()), self.flush
        )

    def flush(self):
        """Run now with the newest values; call it in cells and tests."""
        if self._handle is not None:
            self._handle.cancel()
            self._handle = None
        self._last = time.monotonic()
        self.runs += 1
        try:
            self.run()
            self.error.value = ""
        except (
            Exception
        ) as error:  # a programming error in a callback would otherwise be invisible in the page
            self.error.value = f"<pre>{html.escape(repr(error))}</pre>"
            raise


class Rest:
    """Runs a function once the hand has rested: every call puts it off anew; outside a kernel it
    runs at once.

    Parameters
    ----------
    run : callable
        What to run; takes nothing [-]
    wait : float
        How long nothing may happen first [s]
    """

    def __init__(self, run, wait=0.25):
        self.run, self.wait, self._handle = run, wait, None

    def __call__(self):
        """Something moved."""
        self.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self.run()
            return
        self._handle = loop.call_later(self.wait, self.flush)

    def cancel(self):
        """Do not run after all."""
        if self._handle is not None:
            self._handle.cancel()
            self._handle = None

    def flush(self):
        """Run now."""
        self.cancel()
        self.run()


class Beside:
    """Works through a job in pieces beside the page, and gives it up as soon as it is told.

    A job has ``ready``, ``next_pass(stop)`` (changes nothing, runs in a thread) and ``add(found)``
    (in the page's own turn). Outside a kernel nothing runs by itself: ``finish`` works the job to
    its end.

    Parameters
    ----------
    stepped : callable
        Called with the job after every piece, and once at the start of a job that is ready [-]
    """

    def __init__(self, stepped):
        self.stepped, self.job = stepped, None
        self._pool = ThreadPoolExecutor(1)
        self._stop, self._task = threading.Event(), None
        self.error = w.HTML()

    def start(self, job):
        """Take up a job; one that was under way is given up.

        Parameters
        ----------
        job : object
            As above [-]
        """
        self.cancel()
        self.job, self._stop = job, threading.Event()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return
        self._task = loop.create_task(self._run(job, self._stop))

    def cancel(self):
        """Give the job up."""
        self._stop.set()
        self.job = None

    def finish(self):
        """Work the job to its end here and now; for cells and tests."""
        job = self.job
        if job is None:
            return
        self._stop.set()
        while not job.ready:
            job.add(job.next_pass())
            self.stepped(job)
        self.stepped(job)

    async def _run(self, job, stop):
        try:
            while not job.ready:
                found = await asyncio.get_running_loop().run_in_executor(
                    self._pool, job.next_pass, stop.is_set
                )
                if stop.is_set() or found is None:
                    return
                job.add(found)
                if not job.ready:
                    self.stepped(job)
            if not stop.is_set():
                self.stepped(job)
            self.error.value = ""
        except Exception as error:  # nobody waits for the task: an error would be invisible
            self.error.value = f"<pre>{html.escape(repr(error))}</pre>"
            raise


class Aside:
    """Runs one long piece of work in a thread; it tells what it has on the way, and can be stopped
    with the best so far.

    The work is a function of (tell, stop): it calls ``tell`` with anything, now and then, and ends
    soon after ``stop()`` is true. Outside a kernel it runs at once.

    Parameters
    ----------
    told : callable
        Called in the page's own turn with what the work tells [-]
    done : callable
        Called in the page's own turn with what the work returns [-]
    failed : callable
        Called in the page's own turn with the exception that ended the work [-]
    """

    def __init__(self, told, done, failed):
        self.told, self.done, self.failed = told, done, failed
        self._pool, self._stop, self._task = ThreadPoolExecutor(1), None, None
        self.error = w.HTML()

    @property
    def running(self):
        """Whether work is under way."""
        return self._stop is not None

    def start(self, work):
        """Take up work; nothing happens while other work is under way.

        Parameters
        ----------
        work : callable
            As above [-]
        """
        if self.running:
            return
        stop = self._stop = threading.Event()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            try:
                result = work(self.told, stop.is_set)
            except Exception as error:
                self._stop = None
                self._fail(error)
                return
            self._stop = None
            self.done(result)
            return
        self._task = loop.create_task(self._run(loop, work, stop))

    def stop(self):
        """End the work with what it has."""
        if self._stop is not None:
            self._stop.set()

    def discard(self):
        """End the work and forget it: what it tells or returns from now on reaches nobody."""
        self.stop()
        self._stop = None

    def _fail(self, error):
        """A refusal is the panel's to tell; anything else is a programming error and is shown, and
        raised.
        """
        self.failed(error)
        if not isinstance(error, ValueError | OSError):
            self.error.value = f"<pre>{html.escape(repr(error))}</pre>"
            raise error

    async def _run(self, loop, work, stop):
        def current():
            return self._stop is stop

        def tell(*what):
            loop.call_soon_threadsafe(lambda: self.told(*what) if current() else None)

        try:
            result = await loop.run_in_executor(self._pool, work, tell, stop.is_set)
        except Exception as error:
            if current():
                self._stop = None
                self._fail(error)
            return
        if current():
            self._stop, self.error.value = None, ""
            try:
                self.done(result)
            except Exception as error:  # nobody waits for the task: an error would be invisible
                self.error.value = f"<pre>{html.escape(repr(error))}</pre>"
                raise
