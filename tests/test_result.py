"""A result keeps little and computes the rest when it is first asked for."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest

from gymtools.acoustics import landing, result, reverberant
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.result import Result
from gymtools.physics import intelligibility
from gymtools.venue.files import load
from gymtools.venue.memory import Memory
from gymtools.venue.paths import changed

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
COSTLY = ("sti", "echoes", "microphones", "verdicts", "areas")  # all but the levels


@pytest.fixture
def counted(monkeypatch):
    """How often STI, modulation, echoes and feedback margins are computed, by name."""
    calls = {}

    def count(owner, name):
        work = getattr(owner, name)
        calls[name] = 0

        def counting(*args, **options):
            calls[name] += 1
            return work(*args, **options)

        monkeypatch.setattr(owner, name, counting)

    count(intelligibility, "sti")
    count(reverberant.TracedField, "mean_index")
    count(result, "echoes")
    count(result, "feedback_margins")
    count(result, "judge")
    return calls


def test_a_result_keeps_at_most_fourteen_fields():
    """Behavior: scenario, use and what the loudspeakers and the room give; all else follows."""
    assert len(fields(Result)) <= 14
    assert not {f.name for f in fields(Result)} & set(COSTLY)


def test_a_map_of_levels_computes_nothing_else(counted):
    """Behavior: who draws the direct or the total level alone pays neither for STI nor for echoes,
    margins or verdicts.
    """
    r = evaluate(DOVECOTE, "class", rays="few")
    assert np.isfinite(r.level_db).all() and np.isfinite(r.total_db).all()
    assert r.speech_dba.shape == r.arrival_spread_s.shape == (len(r.points),)
    assert counted == dict.fromkeys(counted, 0)
    assert not set(vars(r)) & set(COSTLY)


def test_everything_is_computed_once(counted):
    """Behavior: asked for again, a figure is the same object, computed once."""
    r = evaluate(DOVECOTE, "class", rays="few")
    first = [getattr(r, name) for name in COSTLY]
    once = dict(counted)
    assert once["echoes"] == once["feedback_margins"] == once["judge"] == once["mean_index"] == 1
    assert all(getattr(r, name) is value for name, value in zip(COSTLY, first, strict=True))
    assert counted == once


def test_echoes_wait_until_they_are_asked_for(counted):
    """Behavior: ``follow_echoes`` is accepted and changes nothing: echoes are there either way, and
    not followed before.
    """
    results = [
        evaluate(DOVECOTE, "class", rays="few", follow_echoes=follow) for follow in (True, False)
    ]
    assert counted["echoes"] == 0
    one, other = (r.echoes for r in results)
    np.testing.assert_array_equal(one.criterion, other.criterion)
    assert [v.criterion for v in results[0].verdicts] == [v.criterion for v in results[1].verdicts]


def test_two_threads_evaluate_the_same_school(monkeypatch):
    """Regression: with a memory for three loudspeakers only, two threads that evaluate seven aims
    at once get the figures of one thread alone, and no exception.

    The cache of first incidence raised a KeyError while another thread dropped its oldest entries.
    """
    monkeypatch.setattr(landing, "KEPT", 3)
    aims = [float(tilt) for tilt in range(30, 37)]

    def figures(scenario, tilts):
        for tilt in tilts:
            moved = changed(scenario, {("groups", "wall pair", "downtilt_deg"): tilt})
            r = evaluate(moved, "game", rays="few")
            yield tilt, r.total_db, r.sti, r.first_incidence

    alone = {f[0]: f[1:] for f in figures(replace(DOVECOTE, memory=Memory()), aims)}
    shared, start = replace(DOVECOTE, memory=Memory()), Barrier(2)

    def work(tilts):
        start.wait()
        return list(figures(shared, tilts))

    with ThreadPoolExecutor(2) as pool:
        both = [*pool.map(work, (aims * 3, aims[::-1] * 3))]
    for tilt, *found in (figure for one in both for figure in one):
        for value, wanted in zip(found, alone[tilt], strict=True):
            np.testing.assert_array_equal(value, wanted)
    assert len(shared.memory.cache("first landings", 3)) <= 3


def test_a_result_is_named_in_one_line():
    """Behavior: a cell that ends with a result shows what it is, not all of its numbers."""
    for room in ("traced", "statistical"):
        shown = repr(evaluate(DOVECOTE, "game", room=room, rays="few"))
        assert shown == f"<Result: Dovecote Primary School, game, {room} room>"
