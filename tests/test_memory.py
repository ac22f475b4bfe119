"""What is worked out once is kept by its scenario: bounded, the same for everybody, whole when
making it fails, and safe for threads that work on the same scenario.
"""

import pickle
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.acoustics.evaluate import evaluate
from gymtools.design.aiming import aim
from gymtools.venue import memory
from gymtools.venue.files import load
from gymtools.venue.memory import Cache, Memory
from gymtools.venue.paths import changed

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")


@given(bound=st.integers(1, 5), asked=st.lists(st.integers(0, 8), max_size=40))
def test_the_latest_used_are_kept(bound, asked):
    """Closed form: after any requests the cache holds the last different keys, as many as its
    bound; what is among them is not made again.
    """
    cache, kept = Cache(bound), []
    for key in asked:
        made = []
        assert cache.get(key, lambda key=key, made=made: made.append(key) or -key) == -key
        assert bool(made) == (key not in kept)
        kept = [*(k for k in kept if k != key), key][-bound:]
        assert len(cache) == len(kept)


def test_several_keys_are_made_together():
    """Closed form: what is missing is made in one call, in its order; more keys than the cache
    holds all come back.
    """
    cache, asked = Cache(2), []
    cache.get("b", lambda: "B")

    def make(missing):
        asked.append(missing)
        return [keys[n].upper() for n in missing]

    keys = ["a", "b", "c", "d"]
    assert cache.get_many(keys, make) == ["A", "B", "C", "D"]
    assert asked == [[0, 2, 3]] and len(cache) == 2


def test_everybody_gets_the_same_object():
    """Behavior: of two threads that make a value at the same time one wins, and both get its
    object.
    """
    cache, both = Cache(4), Barrier(2)

    def make():
        both.wait(timeout=60)
        return object()

    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(lambda _: cache.get("key", make), range(2))
    assert one is other is cache.get("key", make)


def test_a_failure_leaves_the_cache_whole():
    """Behavior: what cannot be made raises, is not kept, and can be made later."""
    cache = Cache(2)
    cache.get("a", lambda: 1)
    with pytest.raises(ZeroDivisionError, match="division"):
        cache.get("b", lambda: 1 / 0)
    assert len(cache) == 1 and cache.get("a", lambda: 2) == 1 and cache.get("b", lambda: 3) == 3


def test_the_first_copy_elsewhere_begins_empty():
    """Behavior: scenarios made by a change share one memory; a pickled one has its own."""
    assert changed(DOVECOTE, {("hall", "height"): DOVECOTE.hall.height}).memory is DOVECOTE.memory
    kept = Memory()
    kept.cache("x", 2).get("a", lambda: 1)
    assert kept.cache("x", 2).get("a", lambda: 2) == 1
    assert pickle.loads(pickle.dumps(kept)).cache("x", 2).get("a", lambda: 2) == 2


def test_copies_of_one_memory_are_one_elsewhere():
    """Behavior: a worker that is handed variations of a school one by one finds what it has worked
    out for the ones before; another school's memory is another.
    """
    kept, other = Memory(), Memory()
    there = [pickle.loads(pickle.dumps(m)) for m in (kept, kept, other)]
    there[0].cache("x", 2).get("a", lambda: 1)
    assert there[1].cache("x", 2).get("a", lambda: 2) == 1
    assert there[2].cache("x", 2).get("a", lambda: 3) == 3
    school = pickle.loads(pickle.dumps(DOVECOTE))
    again = changed(DOVECOTE, {("groups", "wall pair", "height"): 6.0})
    assert pickle.loads(pickle.dumps(again)).memory is school.memory


def test_what_a_loudspeaker_does_not_change_is_one_object():
    """Behavior: the gym as it stands in a use and its surfaces are the same objects in scenarios
    that differ in their loudspeakers alone, and others where it stands otherwise; a pickled
    scenario takes along neither.
    """
    use = DOVECOTE.uses[0]
    moved = changed(DOVECOTE, {("groups", "wall pair", "height"): 6.0})
    assert moved.configuration(use.name) is DOVECOTE.configuration(use.name)
    assert moved.surfaces(use) is DOVECOTE.surfaces(use)
    assert moved.surfaces(replace(use, occupied={})) is not moved.surfaces(use)
    larger = changed(DOVECOTE, {("hall", "height"): DOVECOTE.hall.height + 0.5})
    assert larger.configuration(use.name) != DOVECOTE.configuration(use.name)
    assert set(pickle.loads(pickle.dumps(moved)).__dict__) == {f.name for f in fields(moved)}


@pytest.fixture
def crowded(monkeypatch):
    """A school whose caches hold two values each, so that threads throw out each other's."""
    real = memory.Cache
    monkeypatch.setattr(memory, "Cache", lambda bound: real(min(bound, 2)))
    return replace(DOVECOTE, memory=Memory())


def test_threads_evaluate_the_same_scenario(crowded):
    """Regression: four threads that evaluate changes of one scenario, with caches too small for
    them, fail nowhere and find what one thread finds. (A shared table of first landings once lost a
    key between being looked up and being read.)
    """
    lead = DOVECOTE.groups[0].name
    turned = [
        changed(crowded, {("groups", lead, "downtilt_deg"): 20.0 + k % 12}) for k in range(48)
    ]
    uses = [u.name for u in DOVECOTE.uses]

    def figures(k):
        result = evaluate(turned[k], uses[k % len(uses)], most_points=20)
        return result.sti, result.level_db, result.first_incidence

    alone = [figures(k) for k in range(12)]
    with ThreadPoolExecutor(4) as pool:
        for k, found in enumerate(pool.map(figures, range(48))):
            assert all(map(np.array_equal, found, alone[k % 12])), k


def test_a_search_beside_the_page_on_the_same_scenario(crowded):
    """Regression: a search and the page that goes on evaluating beside it get the same answers as
    each by itself.
    """
    least = dict(starts=1, evaluations=15)
    alone = aim(DOVECOTE, **least)
    want = evaluate(DOVECOTE, "class").sti
    with ThreadPoolExecutor(2) as pool:
        search = pool.submit(aim, crowded, **least)
        beside = [pool.submit(evaluate, crowded, "class") for _ in range(6)]
        assert all(np.array_equal(e.result().sti, want) for e in beside)
        found = search.result()
        assert (found.scenario, found.after) == (alone.scenario, alone.after)
