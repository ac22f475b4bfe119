"""Work that the page does not wait for: throttled, deferred, or in a thread."""

import asyncio
import threading

import ipywidgets as w
import pytest

from gymtools.display.jobs import GIVEN_UP, STOPPING, Debounce, Job, Throttle


async def until(condition, most=20.0):
    """Give the page its turns until a condition holds."""
    loop = asyncio.get_running_loop()
    end = loop.time() + most
    while not condition():
        assert loop.time() < end, "it did not come"
        await asyncio.sleep(0.005)


def test_a_burst_of_changes_runs_once_in_a_kernel():
    """Behavior: 200 requests inside a running loop give one run, with the newest value."""
    seen, now = [], {"value": 0}
    throttle = Throttle(lambda: seen.append(now["value"]), period=0.02)

    async def burst():
        for k in range(200):
            now["value"] = k
            throttle()
        await until(lambda: seen)
        await asyncio.sleep(0)

    asyncio.run(burst())
    assert seen == [199] and throttle.runs == 1


def test_an_error_in_a_callback_is_shown_and_raised():
    """Behavior: a programming error does not vanish in the page."""
    throttle = Throttle(lambda: 1 / 0)
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        throttle.flush()
    assert "ZeroDivisionError" in throttle.error.value


def test_deferred_until_requests_stop():
    """Behavior: every request puts the run off; taken back, it does not come; without a kernel it
    is there at once.
    """
    seen = []
    debounce = Debounce(lambda: seen.append(1), wait=0.01)

    async def requests():
        for _ in range(5):
            debounce()
        assert not seen
        await until(lambda: seen)
        debounce()
        debounce.cancel()

    asyncio.run(requests())
    assert seen == [1]
    debounce()
    assert seen == [1, 1]


class Counter:
    """Work that counts, and waits at each step until it may go on."""

    def __init__(self, count):
        self.count, self.reached, self.free = count, 0, threading.Semaphore(0)

    def __call__(self, tell, stop):
        for k in range(1, self.count + 1):
            while not self.free.acquire(timeout=0.01):
                if stop():
                    return self.reached
            if stop():
                return self.reached
            self.reached = k
            tell(k, self.count)
        return self.reached

    def go(self, steps=1):
        for _ in range(steps):
            self.free.release()


def test_a_job_runs_in_a_thread():
    """Behavior: the page's turns go on, the bar moves, the button that began it rests, and the
    result comes.
    """
    done, seen, work = [], [], Counter(4)
    job = Job(done.append)
    job.bar.observe(lambda change: seen.append(change["new"]), names="value")

    async def run():
        job.start(work, "Counting & waiting.")
        assert job.running and job.words.value == "Counting &amp; waiting."
        assert job.bar.layout.visibility == "visible" and not job.halt.disabled
        for k in range(1, 5):
            work.go()
            await until(lambda k=k: work.reached >= k)
        await until(lambda: done)

    asyncio.run(run())
    assert done == [4] and job.result == 4 and not job.running and job.halt.disabled
    assert {0.25, 0.5, 0.75} <= set(seen) and job.bar.layout.visibility == "hidden"


def test_stop_is_answered_at_once():
    """Behavior: Stop says that the step under way comes to its end, and cannot be pressed twice."""
    job = Job(lambda _: None, waits=True)
    job.start(lambda tell, stop: None, "Working.")
    job.halt.click()
    assert job.words.value == STOPPING and job.halt.disabled
    job.finish()


def test_what_begins_work_rests_while_there_is_nothing_to_work_on():
    """Behavior: a button that begins work is off while that is not allowed, whether work is under
    way or not.
    """
    job, button = Job(lambda _: None, waits=True), w.Button()
    job.starts_with(button)
    job.start(lambda tell, stop: None)
    job.allow(False)
    job.finish()
    assert button.disabled
    job.allow(True)
    assert not button.disabled


def test_a_job_can_be_stopped_with_what_it_has():
    """Behavior: Stop ends the work; its result so far is taken."""
    done, work = [], Counter(50)
    job = Job(done.append)

    async def run():
        job.start(work)
        work.go(2)
        await until(lambda: work.reached == 2)
        job.halt.click()
        await until(lambda: done)

    asyncio.run(run())
    assert done == [2]


def test_a_job_that_is_discarded_reaches_nobody():
    """Behavior: when something changes the work is given up and says so; what it tells or returns
    later reaches nobody, and new work runs.
    """
    done, told, old, new = [], [], Counter(50), Counter(1)
    job = Job(done.append, on_progress=lambda *what: told.append(what))

    async def run():
        job.start(old)
        old.go()
        await until(lambda: told)
        job.discard()
        assert job.words.value == GIVEN_UP and not job.running
        job.start(new)
        new.go()
        await until(lambda: done)

    asyncio.run(run())
    assert done == [1] and told == [(1, 50), (1, 1)]


def test_a_result_is_outdated_once():
    """Behavior: when something changes a result that is shown is taken away and says so; one that
    was used is not.
    """
    gone = []
    job = Job(lambda _: None, outdated=lambda: gone.append(1), stale="Ask again.")
    job.start(lambda tell, stop: [])
    job.discard()
    job.discard()
    assert gone == [1] and job.words.value == "Ask again." and job.result is None
    job.start(lambda tell, stop: [])
    job.forget()
    job.discard()
    assert gone == [1]


@pytest.mark.parametrize("kernel", [True, False])
def test_a_refusal_is_said_in_one_line(kernel):
    """Behavior: a ValueError or OSError of the work is a refusal; the buttons can be pressed
    again.
    """
    refused = []
    job = Job(lambda _: None, refused=refused.append)

    def work(tell, stop):
        raise ValueError("two <loudspeakers> meet")

    async def run():
        job.start(work)
        await until(lambda: refused)

    if kernel:
        asyncio.run(run())
    else:
        job.start(work)
    assert job.words.value == "<b>Not possible:</b> two &lt;loudspeakers&gt; meet"
    assert len(refused) == 1 and not job.running and job.error.value == ""


def test_a_fault_is_shown_and_raised():
    """Behavior: any other exception is a programming error: shown in the page, and raised, from the
    work, from what it tells and from what is done with its result.
    """
    job = Job(lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError, match="division"):
        job.start(lambda tell, stop: 1)
    assert "ZeroDivisionError" in job.error.value and not job.running
    with pytest.raises(KeyError, match="work"):
        job.start(lambda tell, stop: {}["work"])
    assert "KeyError" in job.error.value and not job.running

    async def told():
        failing = Job(lambda _: None, on_progress=lambda share: {}["told"])
        failing.start(lambda tell, stop: tell(0.5))
        await until(lambda: not failing.running)
        return failing.error.value

    async def loop_errors():
        asyncio.get_running_loop().set_exception_handler(lambda *_: None)
        return await told()

    assert "KeyError" in asyncio.run(loop_errors())


def test_a_job_that_waits_is_finished_on_demand():
    """Behavior: outside a kernel a waiting job does nothing until ``finish``; inside one,
    ``finish`` takes it over from the thread.
    """
    done, work = [], Counter(3)
    job = Job(done.append, waits=True)
    job.start(work)
    assert job.running and work.reached == 0
    work.go(3)
    job.finish()
    assert done == [3] and not job.running
    job.finish()
    assert done == [3]

    async def taken_over():
        slow = Counter(2)
        job.start(slow)
        slow.go(1)
        await until(lambda: slow.reached == 1)
        slow.go(3)
        job.finish()

    asyncio.run(taken_over())
    assert done == [3, 2]


def test_what_a_job_took_can_be_put_back():
    """Behavior: the way back is a button while there is one, and is used once."""
    put_back = []
    job = Job(lambda _: None)
    assert job.back.layout.display == "none"
    job.offer_back(lambda: put_back.append(1))
    assert job.back.layout.display == "inline-flex"
    job.back.click()
    assert put_back == [1] and job.back.layout.display == "none" and "Put back" in job.words.value
    job.offer_back(lambda: put_back.append(2))
    job.withdraw_back()
    assert job.back.layout.display == "none"
