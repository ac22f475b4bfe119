"""How work is shared among the cores."""

import threading

from gymtools.physics import cores as cores_module
from gymtools.physics.cores import cores, on_all_cores, one_core


def test_answers_come_in_the_order_of_the_jobs():
    """Behavior: with three cores three jobs run at once, each told that it has one; answers keep
    the order of the jobs.
    """
    token = cores_module._limit.set(3)
    try:
        together = threading.Barrier(3, timeout=20)

        def work(n):
            together.wait()
            return n, cores()

        assert list(on_all_cores(work, list(range(6)))) == [(n, 1) for n in range(6)]
        assert list(on_all_cores(work, [])) == []
    finally:
        cores_module._limit.reset(token)


def test_inside_one_core_nothing_is_shared():
    """Behavior: jobs run one after the other in the thread that asks, and after it as before."""
    before, mine = cores(), threading.get_ident()
    with one_core():
        assert cores() == 1
        assert set(on_all_cores(lambda _: threading.get_ident(), list(range(4)))) == {mine}
    assert cores() == before >= 1
