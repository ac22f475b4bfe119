"""Sound behind edges: the screen formula by hand, against Fresnel's integrals, and the ways over
edges against closed forms and a search.
"""

import numpy as np
import pytest
from arrays import sources_of
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.special import fresnel

from gymtools.physics import bands, compiled
from gymtools.physics.geometry import pack, rotation
from gymtools.physics.screening import (
    GRAZING,
    ONE_EDGE_DB,
    TWO_EDGES_DB,
    detours,
    screening_loss_db,
    screens,
)

seed = st.integers(0, 2**32 - 1)
AT_1_KHZ = dict(frequency=1000.0, speed_of_sound=343.0)


def box(low, high):
    """Six faces of an upright box."""
    low, high = np.array(low, float), np.array(high, float)
    faces = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for value in (low[axis], high[axis]):
            face = np.empty((4, 3))
            face[:, axis] = value
            face[:, u] = low[u], high[u], high[u], low[u]
            face[:, v] = low[v], low[v], high[v], high[v]
            faces.append(face)
    return faces


SHELL = box([-15, -10, 0], [15, 10, 9])


def among(*things):
    """Screens of some things in an empty gym."""
    faces = [face for thing in things for face in thing]
    polygons = pack([*SHELL, *faces])
    return screens(polygons, np.arange(len(polygons)) >= len(SHELL))


def wall(height):
    """A thin wall right across the gym, on the floor."""
    return [np.array([[0, -10, 0], [0, 10, 0], [0, 10, height], [0, -10, height]], float)]


WALL = among(wall(4.5))


@pytest.mark.parametrize(
    "detour, loss",
    [
        # 343 m/s: a wavelength of 0.343 m at 1 kHz, so that 40 z / lambda is round
        (0.0, 10 * np.log10(3)),
        (0.343 / 40, 10 * np.log10(4)),
        (0.343 * 97 / 40, 20.0),
        (2.0, 20.0),
        (-0.343 / 40, 10 * np.log10(2)),
        (-0.343 * 2 / 40, 0.0),
        (-1.0, 0.0),
    ],
)
def test_loss_over_one_edge_by_hand(detour, loss):
    """Worked by hand: ISO 9613-2:1996, eq. (14) with C_2 = 40, up to its limit of 20 dB; half a
    decibel's thousandth.
    """
    assert screening_loss_db(detour, **AT_1_KHZ).item() == pytest.approx(loss, abs=5e-4)


@pytest.mark.parametrize(
    "between, c3",
    [(0.0, 1.0), (5 * 0.343, 2 / (4 / 3)), (50 * 0.343, 1.01 / (1 / 3 + 0.01)), (100.0, 2.9982)],
)
def test_loss_over_two_edges_by_hand(between, c3):
    """Worked by hand: eq. (15): C_3 is 1 for edges close together, 3/2 five wavelengths apart, and
    nearly 3 far apart; the limit is 25 dB.
    """
    found = screening_loss_db([0.0343, 100.0], between=between, edges=2, **AT_1_KHZ)
    assert found[0, 0] == pytest.approx(10 * np.log10(3 + 4 * c3), abs=2e-3)
    assert found[1, 0] == TWO_EDGES_DB


def test_loss_is_near_that_of_fresnel():
    """Independent: scipy's Fresnel integrals behind a half plane; the formula takes up to 3 dB less
    than they do, from just before the shadow to its limit.

    At the edge the half plane takes 6.0 dB, the formula 4.8 dB.
    """
    number = np.r_[-0.05, 0.0, np.geomspace(0.01, 4.5, 60)]  # Fresnel number 2 z / lambda
    v = np.sign(number) * np.sqrt(2 * np.abs(number))
    s, c = fresnel(v)
    diffracted = -10 * np.log10(((0.5 - c) ** 2 + (0.5 - s) ** 2) / 2)
    formula = screening_loss_db(number * 0.343 / 2, **AT_1_KHZ)[:, 0]
    assert -3.0 < (formula - diffracted).min() and (formula - diffracted).max() < 0.0


@given(z=st.floats(-1, 8), e=st.floats(0, 20), more=st.floats(0, 1))
def test_loss_grows_with_detour_frequency_and_gap(z, e, more):
    """Invariance: never less for a longer detour, a higher octave or edges further apart."""
    loss = screening_loss_db(z, between=e, edges=2)
    assert (np.diff(loss) >= -1e-9).all() or z < 0
    assert (screening_loss_db(z + more, between=e, edges=2) >= loss - 1e-9).all()
    if z >= 0:
        assert (screening_loss_db(z, between=e + more, edges=2) >= loss - 1e-9).all()
    assert 0 <= loss.min() and loss.max() <= TWO_EDGES_DB


@pytest.mark.parametrize(
    "given, message",
    [
        (dict(detour=np.nan), "detour = nan m is outside"),
        (dict(detour=1.0, between=-1.0), "between = -1 m is outside 0 to 100 m"),
        (dict(detour=1.0, edges=3), "edges = 3 edges is outside 1 to 2"),
        (dict(detour=1.0, frequency=0.125), "frequency = 0.125 Hz is outside"),
        (dict(detour=1.0, speed_of_sound=1125), "speed_of_sound = 1125 m/s is outside"),
    ],
)
def test_loss_refuses(given, message):
    """Behavior: what is no length, no edge or no sound is refused in one line."""
    with pytest.raises(ValueError, match=message):
        screening_loss_db(**given)


@settings(max_examples=50)
@given(x=st.floats(0.5, 14), up=st.floats(-3, 1.4), across=st.floats(-6, 6))
def test_over_a_wall(x, up, across):
    """Closed form: ISO 9613-2:1996, eq. (16), unfolded: over a wall's top, seen or not."""
    source, point = np.array([-6.0, 0, 4.0]), np.array([x, across, 3.6 + up])
    found = detours(source, point[None], WALL)
    off = np.hypot(6.0, 0.5), np.hypot(x, 4.5 - point[2])
    way = np.hypot(sum(off), across) - np.linalg.norm(point - source)
    height = 4.0 + (point[2] - 4.0) * 6 / (6 + x)  # of the line over the wall
    if abs(height - 4.5) < 0.005:
        return
    assert found.seen[0] == (height > 4.5)
    if found.seen[0]:
        assert found.detour[0] == pytest.approx(-way) or way > GRAZING
    else:
        assert (found.detour[0], found.edges[0]) == (pytest.approx(way), 1)


def test_over_a_block():
    """Closed form: eq. (17): over the two top edges of a block across the gym, e between them."""
    source, point = np.array([-6.0, 0, 2.0]), np.array([[8.0, 3, 1.5]])
    found = detours(source, point, among(box([-2, -10, 0], [3, 10, 5])))
    off, e = np.hypot(4, 3) + np.hypot(5, 3.5), 5.0
    total = np.hypot(off + e, 3)
    assert found.detour[0] == pytest.approx(total - np.hypot(14, np.hypot(3, 0.5)), abs=1e-6)
    # eq. (17) takes e straight across; the way crosses it aslant
    assert found.between[0] == pytest.approx(e * total / (off + e), abs=1e-3)
    assert (found.edges[0], found.seen[0]) == (2, False)


def test_no_edge_where_a_thing_stands_on_floor_and_walls():
    """Behavior: sound bends over the top of a wall across the gym, not under it nor around its
    ends; with a gap at one end, around that end too.
    """
    full = among(wall(4.0))
    assert full.start.tolist() == [[0, 10, 4]] and full.end.tolist() == [[0, -10, 4]]
    short = [np.array([[0, -10, 0], [0, 8, 0], [0, 8, 4], [0, -10, 4]], float)]
    assert len(among(short).start) == 2
    assert len(among(box([-1, -1, 0], [1, 1, 2])).start) == 8
    assert len(among(box([-1, -1, 3], [1, 1, 5])).start) == 12
    side_by_side = among(box([-1, -1, 0], [1, 1, 2]), box([1, -1, 0], [3, 1, 2]))
    assert len({tuple(row) for row in np.sort(side_by_side.start[:, :1], axis=1)}) == 3


def shortest(source, point, edges):
    """Way over one or two edges by a general search, from several starts."""

    def length(shares):
        bends = [a + s * (b - a) for s, (a, b) in zip(shares, edges, strict=True)]
        stops = np.array([source, *bends, point])
        return np.linalg.norm(np.diff(stops, axis=0), axis=1).sum()

    limits = [(0, 1)] * len(edges)
    starts = np.random.default_rng(1).uniform(0, 1, (4, len(edges)))
    return min(minimize(length, s, bounds=limits, tol=1e-12).fun for s in starts)


@settings(max_examples=15)
@given(seed=seed)
def test_way_is_the_shortest(seed):
    """Independent: scipy's minimizer over every edge and pair of edges of a hanging box finds no
    way that is shorter and leads around it.
    """
    rng = np.random.default_rng(seed)
    low = rng.uniform([-3, -3, 2], [0, 0, 4])
    thing = among(box(low, low + rng.uniform(0.5, 4, 3)))
    source = rng.uniform([-9, -6, 1], [-5, 6, 8])
    point = rng.uniform([5, -6, 1], [9, 6, 8])
    found = detours(source, point[None], thing)
    if found.seen[0]:
        return
    edges = list(zip(thing.start, thing.end, strict=True))
    straight = np.linalg.norm(point - source)
    one = [shortest(source, point, [e]) - straight for e in edges]
    if found.edges[0] == 1:
        assert np.abs(np.array(one) - found.detour[0]).min() < 1e-6
    else:
        two = [
            shortest(source, point, [e, f]) - straight for e in edges for f in edges if e is not f
        ]
        assert np.abs(np.array(two) - found.detour[0]).min() < 1e-5
    # a convex thing: the way over the top, within the upright plane, is never beaten by much less
    assert found.detour[0] >= min(one) - 1e-9


@pytest.mark.parametrize("thing", ["wall", "box"])
def test_nothing_jumps_at_the_edge_of_the_shadow(thing):
    """Behavior: a seat that is lowered behind an edge by millimeters loses a little more each time;
    4.8 dB at the line of sight.
    """
    things = {"wall": wall(3.0), "box": box([-1, -10, 0], [1, 10, 3.0])}
    height = np.linspace(3.4, 2.6, 401)
    points = np.c_[np.full((401, 1), 10.0), np.zeros((401, 1)), height]
    found = detours(np.array([-10.0, 0, 3.0]), points, among(things[thing]))
    loss = -bands.to_level(found.kept(343.2))
    steps = np.diff(loss, axis=0)
    border = int(np.argmin(found.seen))
    assert 0 < border < 400
    assert np.abs(steps[border - 1]).max() < 0.3 and np.abs(steps).max() < 0.6
    np.testing.assert_allclose(loss[border], 10 * np.log10(3), atol=0.25)
    assert loss[0].min() == 0.0 and steps.min() > -1e-3


def test_where_no_way_leads():
    """Behavior: a seat in a closed box hears what the limit leaves, 25 dB less."""
    found = detours(
        np.array([5.0, 0, 3]), np.zeros((1, 3)) + [0, 0, 1], among(box([-1, -1, 0], [1, 1, 2]))
    )
    assert (found.detour[0], found.edges[0]) == (np.inf, 2)
    np.testing.assert_allclose(-bands.to_level(found.kept(343.2)), TWO_EDGES_DB, atol=1e-4)


@pytest.mark.parametrize("number", range(2))
def test_machine_code_agrees_with_arrays(number, monkeypatch):
    """Invariance: ways among things here and there, in machine code and in arrays, to 1e-9 m."""
    rng = np.random.default_rng(number)
    low = rng.uniform([-12, -8, 0.5], [8, 5, 6], (5, 3))
    things = [box(a, a + rng.uniform(0.5, 5, 3)) for a in low]
    room = among(*things, wall(2.0))
    points = rng.uniform([-14, -9, 0.5], [14, 9, 8], (150, 3))
    source = rng.uniform([-14, -9, 5], [14, 9, 8.5])
    one = detours(source, points, room)
    monkeypatch.setattr(compiled, "available", lambda: False)
    other = detours(source, points, room)
    assert 15 < (~one.seen).sum()
    np.testing.assert_array_equal(one.seen, other.seen)
    np.testing.assert_array_equal(one.edges, other.edges)
    np.testing.assert_allclose(one.detour, other.detour, atol=1e-9)
    np.testing.assert_allclose(one.between, other.between, atol=1e-6)


def test_loudspeakers_lose_it():
    """Closed form: behind a wall the direct sound is that of the free field less the formula's
    loss, octave by octave; a loudspeaker that is off stays silent.
    """
    room, point = among(wall(4.0)), np.array([[8.0, 0, 2.0]])
    two = sources_of([[-8.0, 0, 2.0], [-8.0, 0, 3.0]], rotation([0, 0], [0, 0]))
    two.playing[1], two.on_axis[1] = False, 0.0
    free, behind = two.direct(point)[0], two.direct(point, room)[0]
    z = 2 * np.hypot(8, 2) - 16
    loss = screening_loss_db(z, speed_of_sound=343.0)
    np.testing.assert_allclose(bands.to_level(free[0, 0] / behind[0, 0]), loss, atol=1e-3)
    assert not behind[1].any() and loss[-1] == ONE_EDGE_DB
