"""Random moves over every control of the panel, with work in threads that moves only when it is
told to, so that a seed gives the same moves everywhere. By hand, for one school:

    python tests/random_moves.py larkfield 2000 1
"""

import asyncio
import logging
import random
import sys
import threading
from concurrent.futures import Future
from types import SimpleNamespace

import anywidget
import ipywidgets as w
import numpy as np
import traitlets
from ipywidgets.widgets.widget import _instances as open_widgets

from gymtools.design.dragging import handles
from gymtools.display import jobs, scene
from gymtools.display.live import FigureFrame
from gymtools.display.panel import aim, tracing
from gymtools.display.panel.controls import close
from gymtools.display.panel.kept import KeptStrip
from gymtools.display.panel.meeting import Meeting
from gymtools.display.panel.plan import PlanSection
from gymtools.display.panel.ringing import RoomTab
from gymtools.display.panel.toolbar import Refusals

WAITS = (0.0, 0.0, 0.05, 0.3, 0.8, 1.5)  # between two moves, on the loop's own clock [s]
MOST_WIDGETS = 1200  # that one panel may keep alive: with every tab opened and six kept designs 980
TEXTS = (
    "",
    "A",
    "7",
    "22-6",
    "200",
    "option 2",
    "<b>x</b>",
    "a/b",
    "prices.csv",
    "../prices.csv",
    "nan",
    "x" * 300,
)
LONG_BUTTONS = (
    "All rays for all",
    "Put it on file",
    "Replace the files",
    "Evaluate them all",
    "Fit the room to what was measured",
)


class SteppedLoop(asyncio.SelectorEventLoop):
    """A loop whose clock jumps to the next thing to do, and that tells a thread's word from its
    own.
    """

    def __init__(self):
        super().__init__()
        self.now, self.faults, self.threads = 0.0, [], {}
        select = self._selector.select

        def jump(timeout=None):
            self.now += timeout or 0.0
            return select(0)

        self._selector.select = jump
        self.set_exception_handler(lambda _, context: self.faults.append(context))

    def time(self):
        """The loop's own clock [s]."""
        return self.now

    def call_soon_threadsafe(self, callback, *args, context=None):
        """A thread that hands something over rests until it is told to go on."""
        handle = super().call_soon_threadsafe(callback, *args, context=context)
        if (mine := self.threads.get(threading.current_thread())) is not None:
            mine.rested.set()
        return handle


class SteppedWork:
    """One piece of work in a thread, which goes on only while ``step`` waits for it."""

    def __init__(self, loop, run, tell, stop):
        self.future, self.done, self.begun = Future(), False, False
        self.go, self.rested = threading.Semaphore(0), threading.Event()
        self._loop, self._run, self._tell, self._stop = loop, run, tell, stop
        self._thread = threading.Thread(target=self._work, daemon=True)
        loop.threads[self._thread] = self

    def _gate(self):
        self.rested.set()
        self.go.acquire()

    def _asked(self):
        # threads that the work has started itself run on while ``step`` waits for all of it
        if threading.current_thread() is self._thread:
            self._gate()
        return self._stop()

    def _told(self, *what):
        self._tell(*what)  # the page takes it while this thread rests
        self.go.acquire()

    def _work(self):
        self.go.acquire()
        try:
            found, error = self._run(self._told, self._asked), None
        except Exception as raised:
            found, error = None, raised
        self.done = True
        self.future.set_exception(error) if error else self.future.set_result(found)
        self.rested.set()

    def step(self):
        """Let the thread go on to where it next asks, tells or ends."""
        if not self.begun:
            self.begun = True
            self._thread.start()
        self.rested.clear()
        self.go.release()
        self.rested.wait()


class SteppedPool:
    """Stands for the pool of a job: one piece of work at a time, moved by ``step``."""

    def __init__(self, loop):
        self._loop, self.waiting = loop, []

    def submit(self, run, tell, stop):
        """Take work as an executor does."""
        work = SteppedWork(self._loop, run, tell, stop)
        self.waiting.append(work)
        return work.future

    def step(self):
        """One step of the work whose turn it is; whether there was any."""
        while self.waiting and self.waiting[0].done:
            self.waiting.pop(0)
        if self.waiting:
            self.waiting[0].step()
        return bool(self.waiting)


class Moves:
    """A panel with random moves over every control.

    Parameters
    ----------
    scenario : Scenario
        Opened
    folder : Path
        Where files are written
    seed : int
        The same seed gives the same moves
    long : float
        Share of the moves on long work (tracing all options, the record) that are made
    """

    def __init__(self, scenario, folder, *, seed, long=1.0):
        self.loop, self.random, self.long = SteppedLoop(), random.Random(seed), long
        self.scenario, self.folder, self.made, self.log = scenario, folder, 0, []
        self.widgets, self.counts, self.before = 0, {}, len(open_widgets)

    def run(self, count):
        """Make moves, with all that must hold checked after each; AssertionError names the last."""
        stand_ins = {m: m.time for m in (jobs, aim, tracing)}
        handler = logging.Handler(logging.WARNING)
        handler.emit = lambda record: self.loop.faults.append(
            record.getMessage() + str(record.exc_info and record.exc_info[1])
        )
        logger = traitlets.log.get_logger()
        logger.addHandler(handler)
        for module in stand_ins:
            module.time = SimpleNamespace(monotonic=self.loop.time)
        try:
            self.loop.run_until_complete(self._all(count))
        finally:
            for module, real in stand_ins.items():
                module.time = real
            logger.removeHandler(handler)
            close(self.panel.box)
            self.loop.close()
        return self

    async def _all(self, count):
        self.panel = m = Meeting(self.scenario, self.folder)
        self.jobs = [
            m.aims.job,
            m.advice.job,
            m.advice.proposals.job,
            m.sure.job,
            m.options.job,
            m.parts.job,
            m.sections[KeptStrip].job,
            m.tracing.job,
            m.sections[RoomTab].job,
        ]
        self.pools = []
        for job in self.jobs:
            job._pool = SteppedPool(self.loop)
            self.pools.append(job._pool)
        for self.made in range(1, count + 1):
            await self._move()
            await asyncio.sleep(self.random.choice(WAITS))
            if self.random.random() < 0.5:
                self._check()
        for job in self.jobs:
            job.stop()
        await self._settle()
        self._check()

    async def _settle(self):
        while any([pool.step() for pool in self.pools]):
            await asyncio.sleep(0)
            await asyncio.sleep(0)
        await asyncio.sleep(2.0)
        await asyncio.sleep(0)

    # ---- moves

    async def _move(self):
        kind = self.random.random()
        if kind < 0.25:
            return await self._step_threads()
        if kind < 0.27:
            return await self._press_any("Stop")
        if kind < 0.29:
            return self.random.choice((self._click_seat, self._drag))()
        if kind < 0.6:  # mostly sliders: there are most of them
            return self._use(self.random.choice(list(shown(self.panel.box))))
        # alike often whatever there is most of: a kind of control, then one of that kind
        found = {}
        for widget in shown(self.panel.box):
            found.setdefault(type(widget), []).append(widget)
        kinds = sorted(found, key=lambda k: k.__name__)
        if self.random.random() < 0.3:
            kinds = [k for k in kinds if k is w.Button] or kinds
        self._use(self.random.choice(found[self.random.choice(kinds)]))

    async def _step_threads(self):
        steps = self.random.choice((1, 3, 10, 60, 300))
        self._note(f"{steps} steps of the threads")
        for _ in range(steps):
            if not any([pool.step() for pool in self.pools]):
                return
            await asyncio.sleep(0)
            await asyncio.sleep(0)

    async def _press_any(self, label):
        for widget in list(shown(self.panel.box)):
            if isinstance(widget, w.Button) and widget.description == label:
                self._use(widget)

    def _click_seat(self):
        index = self.random.randrange(len(self.panel._drawn.result.points))
        self._note(f"click on seat {index}")
        self._tell(kind="pin", index=index)

    def _drag(self):
        """A handle is taken, moved a few steps and let go, or put back."""
        handle = self.random.choice(handles(self.panel._drawn.scenario)).key
        self._note(f"drag {handle}")
        for _ in range(self.random.randrange(1, 6)):
            by = [self.random.uniform(-9, 9) for _ in range(2)]
            self._tell(kind="step", handle=handle, by=by, cut=self.random.random() < 0.3)
        self._tell(kind=self.random.choice(("release", "release", "cancel")), handle=handle)

    def _tell(self, **message):
        """The page's drawing says something."""
        self.panel.sections[PlanSection].box.sheet._handle_custom_msg(message, [])

    def _note(self, words):
        self.log.append(words)

    def _use(self, widget):
        pick, name = self.random, getattr(widget, "description", "")
        self._note(f"{type(widget).__name__} {name!r}")
        self.counts[type(widget).__name__] = self.counts.get(type(widget).__name__, 0) + 1
        if isinstance(widget, w.Button):
            if name in LONG_BUTTONS and pick.random() > self.long:
                return
            widget.click()
            if name == "New school":  # the form has tests of its own
                self.panel.open_form().on_back()
        elif isinstance(widget, w.ToggleButton | w.Checkbox):
            widget.value = not widget.value
        elif isinstance(widget, w.IntSlider | w.BoundedIntText):
            widget.value = pick.randint(widget.min, widget.max)
        elif isinstance(widget, w.FloatSlider | w.BoundedFloatText):
            near = pick.random() < 0.6  # a hand that moves a little
            step = (widget.step or 1) * pick.randint(-3, 3)
            value = widget.value + step if near else pick.uniform(widget.min, widget.max)
            widget.value = min(max(value, widget.min), widget.max)
        elif isinstance(widget, w.SelectMultiple):
            many = range(len(widget.options))
            widget.index = tuple(sorted(pick.sample(many, pick.randint(0, min(2, len(many))))))
        elif isinstance(widget, w.Dropdown | w.ToggleButtons):
            widget.index = pick.randrange(len(widget.options)) if widget.options else None
        elif isinstance(widget, w.Text):
            widget.value = pick.choice(TEXTS)
        elif isinstance(widget, w.Tab | w.Accordion):
            widget.selected_index = pick.randrange(len(widget.children))
        self._note(f"  -> {getattr(widget, 'value', None)!r:.60}")

    # ---- what must hold

    def _check(self):
        m = self.panel
        m.live.flush()
        said = f"after move {self.made}: {'; '.join(self.log[-8:])}"
        assert not self.loop.faults, f"{self.loop.faults} {said}"
        errors = [x.value for x in (m.live.error, *(job.error for job in self.jobs)) if x.value]
        assert not errors, f"{errors} {said}"
        assert "\n" not in m.refusal, said
        self._controls_equal_scenario(said)
        if not m.searching and not m.tracing.job.running:
            picture_equals_fresh(m, said)
        self.widgets = max(self.widgets, len(open_widgets))
        assert len(open_widgets) < MOST_WIDGETS + self.before, f"{len(open_widgets)} widgets {said}"

    def _controls_equal_scenario(self, said):
        m, state = self.panel, self.panel.state
        shown_refusal = bool(m.sections[Refusals].board.widgets.get("go back"))
        assert shown_refusal == bool(m.refusal), said
        if not m.refusal:
            assert m.scenario == state.scenario and m.result.use.name == state.use, said
            for proposals in (m.advice.list.children,):
                assert not (proposals and m.advice.job.running), said
        else:
            live = [b for b in shown(m.advice.list) if not b.disabled]
            assert not live, f"moves are on offer in an impossible state {said}"
        for section in m.sections.values():
            for key, control in section.board._controls.items():
                if (
                    isinstance(key, tuple)
                    and key[0] not in ("heading",)
                    and hasattr(control, "spec")
                ):
                    widget = section.board.widgets[key]
                    now = control.spec.kept(widget.value, control.units)
                    assert abs(now - control.value) < 1e-6 * max(1, abs(now)), (key, said)


def shown(widget):
    """Widgets that a hand can reach: inside open tabs, shown, enabled."""
    if getattr(getattr(widget, "layout", None), "display", None) == "none":
        return
    if isinstance(widget, FigureFrame):
        return
    if isinstance(widget, w.Tab | w.Accordion):
        yield widget
        if widget.selected_index is not None:
            yield from shown(widget.children[widget.selected_index])
    elif isinstance(widget, w.Box):
        for child in widget.children:
            yield from shown(child)
    elif not isinstance(widget, w.HTML | w.FloatProgress | anywidget.AnyWidget) and not getattr(
        widget, "disabled", False
    ):
        yield widget


def picture_equals_fresh(m, said):
    """The figure's data is that of a new picture of the same view."""
    fresh = scene.figure(m._view(m.result), scene.SPACE)
    for old, new in zip(m.figure.data, fresh.data, strict=True):
        for key in new._props:
            if key in ("uid",):
                continue
            assert alike(old[key], new[key]), f"{old.name}.{key} {said}"
    assert m.figure.layout.scene.annotations == fresh.layout.scene.annotations, said
    assert m.figure.layout.annotations == fresh.layout.annotations, said


def alike(a, b):
    """Equal as far as a page can tell."""
    if a is None or b is None:
        return a is b
    if isinstance(a, np.ndarray | tuple | list):
        a, b = np.asarray(a), np.asarray(b)
        if a.shape != b.shape:
            return False
        if a.dtype.kind == "f":
            return np.array_equal(a, b, equal_nan=True)
        return bool(np.all(a == b))
    return a == b


if __name__ == "__main__":
    import tempfile
    import time
    from pathlib import Path

    from schools import SCENARIOS

    name, count, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    long = float(sys.argv[4]) if len(sys.argv) > 4 else 1.0
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as where:
        moves = Moves(SCENARIOS[name], Path(where), seed=seed, long=long)
        try:
            moves.run(count)
        finally:
            print(
                name,
                "moves",
                moves.made,
                "most widgets",
                moves.widgets,
                moves.counts,
                f"{time.monotonic() - begun:.0f} s",
                flush=True,
            )
