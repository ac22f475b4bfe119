"""Work that the page does not wait for: the newest value wins, what is deferred until a slider
stops, and long work in a thread.
"""

import asyncio
import html
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import ipywidgets as w

from .refusals import plain_refusal

GIVEN_UP = "Stopped, because something was changed."
STOPPING = "Stopping after the step that is under way."
HIDDEN, SHOWN = "none", "inline-flex"  # display of a button


def not_possible(refusal):
    """A refusal in one line.

    Parameters
    ----------
    refusal : Exception or str
        What was refused

    Returns
    -------
    html : str
        For an HTML widget
    """
    return f"<b>Not possible:</b> {html.escape(plain_refusal(str(refusal)))}"


def _fault(error):
    return f"<pre>{html.escape(repr(error))}</pre>"


class Throttle:
    """Runs a function for the newest request only: in a running kernel at most once a period,
    elsewhere at once.

    Parameters
    ----------
    run : callable
        What to run; takes nothing, reads the newest values itself
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
        except Exception as error:  # a fault in a callback would be invisible in the page
            self.error.value = _fault(error)
            raise


class Debounce:
    """Runs a function when requests have stopped for a while; outside a kernel it runs at once.

    Parameters
    ----------
    run : callable
        What to run; takes nothing
    wait : float
        Time without a request before the run [s]
    """

    def __init__(self, run, wait=0.25):
        self.run, self.wait, self._handle = run, wait, None

    def __call__(self):
        """Ask for a run; every request defers it anew."""
        self.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self.run()
            return
        self._handle = loop.call_later(self.wait, self.flush)

    def cancel(self):
        """Take the request back."""
        if self._handle is not None:
            self._handle.cancel()
            self._handle = None

    def flush(self):
        """Run now."""
        self.cancel()
        self.run()


class Job:
    """Long work in a thread, with a bar, a Stop button, a line of words and a way back.

    The work is a function of (tell, stop). It calls ``tell`` with anything, now and then, and goes
    on when the page has taken it; it ends soon after ``stop()`` is true. A ValueError or OSError is
    a refusal and is said in one line; any other exception is a programming error, shown and raised.
    Outside a kernel the work runs at once, or waits for ``finish``.

    Parameters
    ----------
    done : callable
        Called in the page's turn with what the work returns
    on_progress : callable, optional
        Called in the page's turn with what the work tells; moves the bar when left out
    refused : callable, optional
        Called in the page's turn with the refusal that ended the work
    outdated : callable, optional
        Called when a result no longer belongs to what is shown
    stale : str
        What is said then
    waits : bool
        Outside a kernel, wait for ``finish``
    """

    def __init__(
        self, done, *, on_progress=None, refused=None, outdated=None, stale="", waits=False
    ):
        self._done, self._on_progress, self._waits = done, on_progress or self.show_share, waits
        self._refused, self._outdated, self._stale = refused, outdated, stale
        self._pool, self._stop, self._work = ThreadPoolExecutor(1), None, None
        self._restore, self._task, self.result = None, None, None
        self.starters, self._allowed = (), True
        self.bar = w.FloatProgress(min=0, max=1, layout={"width": "330px", "visibility": "hidden"})
        self.halt = w.Button(description="Stop", disabled=True, layout={"width": "90px"})
        self.halt.on_click(lambda _: self.stop())
        self.back = w.Button(
            description="Put it back", layout={"width": "110px", "display": HIDDEN}
        )
        self.back.on_click(lambda _: self._put_back())
        self.words, self.error = w.HTML(), w.HTML()

    @property
    def running(self):
        """Whether work is under way, or waits for ``finish``."""
        return self._stop is not None

    def starts_with(self, *buttons):
        """Buttons that begin work: they rest while work is under way.

        Parameters
        ----------
        buttons : ipywidgets.Button
            Of the panel
        """
        self.starters = buttons

    def allow(self, allowed):
        """Whether there is anything to begin work on; the buttons that begin it rest where not.

        Parameters
        ----------
        allowed : bool
            False while the controls are set to something that cannot be built
        """
        self._allowed = allowed
        for button in self.starters:
            button.disabled = self.running or not allowed

    def say(self, text):
        """Say something in the line of words.

        Parameters
        ----------
        text : str
            Plain text
        """
        self.words.value = html.escape(text)

    def refuse(self, error):
        """Say a refusal in the line of words.

        Parameters
        ----------
        error : Exception
            What was refused
        """
        self.words.value = not_possible(error)

    def show_share(self, done, whole=1.0):
        """Move the bar.

        Parameters
        ----------
        done : float
            What is done, in parts of ``whole`` [-]
        whole : float
            What there is to do [-]
        """
        self.bar.value = done / whole

    def start(self, work, text=""):
        """Take up work; nothing happens while other work is under way.

        Parameters
        ----------
        work : callable
            As above
        text : str
            What is said while it runs
        """
        if self.running:
            return
        stop = self._stop = threading.Event()
        self._work, self.result = work, None
        self.withdraw_back()
        self._show(True)
        self.say(text)
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            if not self._waits:
                self.finish()
            return
        self._task = loop.create_task(self._run(loop, work, stop))

    def stop(self):
        """End the work with what it has, after the step that is under way."""
        if self.running:
            self._stop.set()
            self.halt.disabled = True
            self.say(STOPPING)

    def discard(self):
        """What is shown is another now: give the work up, and say so; a result that was there is
        outdated.
        """
        if self.running:
            self._end()
            self.say(GIVEN_UP)
        elif self.result is not None:
            self.result = None
            if self._stale:
                self.say(self._stale)
            if self._outdated:
                self._outdated()

    def forget(self):
        """The result has been used: it can no longer be outdated."""
        self.result = None

    def finish(self):
        """Do the work that waits or runs here and now, to its end; for cells and tests."""
        if not self.running:
            return
        self._stop.set()  # a thread that is at it gives it up
        stop = self._stop = threading.Event()
        try:
            result = self._work(self._on_progress, stop.is_set)
        except Exception as error:
            if self._stop is stop:
                self._fail(error)
            return
        if self._stop is stop:
            self._succeed(result)

    def offer_back(self, restore):
        """Offer the way back from what was taken.

        Parameters
        ----------
        restore : callable
            Called with nothing when it is asked for
        """
        self._restore = restore
        self.back.layout.display = SHOWN

    def withdraw_back(self):
        """There is no way back any more."""
        self._restore = None
        self.back.layout.display = HIDDEN

    def _put_back(self):
        restore = self._restore
        self.withdraw_back()
        restore()
        self.say("Put back as it was.")

    def _show(self, running):
        self.bar.value, self.bar.layout.visibility = 0.0, "visible" if running else "hidden"
        self.halt.disabled = not running
        for button in self.starters:
            button.disabled = running or not self._allowed

    def _end(self):
        self._stop.set()
        self._stop = self._work = None
        self._show(False)

    def _succeed(self, result):
        self._end()
        self.error.value, self.result = "", result
        try:
            self._done(result)
        except Exception as error:  # nobody waits for the task: a fault would be invisible
            self.error.value = _fault(error)
            raise

    def _fail(self, error):
        self._end()
        self.refuse(error)
        if not isinstance(error, ValueError | OSError):
            self.error.value = _fault(error)
            raise error
        if self._refused:
            self._refused(error)

    async def _run(self, loop, work, stop):
        def tell(*what):
            self._tell(loop, stop, what)

        try:
            result = await loop.run_in_executor(self._pool, work, tell, stop.is_set)
        except Exception as error:
            if self._stop is stop:
                self._fail(error)
            return
        if self._stop is stop:
            self._succeed(result)

    def _tell(self, loop, stop, what):
        """Hand something over from the thread, and wait until the page has taken it."""
        taken, faults = threading.Event(), []

        def take():
            try:
                if self._stop is stop:
                    self._on_progress(*what)
            except Exception as error:  # the work ends with it, and says so
                faults.append(error)
            finally:
                taken.set()

        loop.call_soon_threadsafe(take)
        while not taken.wait(0.1):
            if loop.is_closed():
                return
        if faults:
            raise faults[0]
