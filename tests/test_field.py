"""Direct sound: closed forms in the free field, a readable loop, scipy's interpolator and another
program's sources.
"""

import numpy as np
import pyroomacoustics as pra
import pytest
from arrays import balloon_of, sources_of
from hypothesis import given, settings
from hypothesis import strategies as st
from pyroomacoustics.directivities import CardioidFamily, Directivity
from scipy.interpolate import RegularGridInterpolator
from scipy.spatial.transform import Rotation

from gymtools.physics import air, bands
from gymtools.physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions
from gymtools.physics.field import NEAREST, direct_energy
from gymtools.physics.geometry import in_sight, pack, rotation
from gymtools.venue.loudspeakers import loudspeaker_types

TYPES = loudspeaker_types()
HORN, HOUSING = TYPES["two-way 90x40"].balloon, TYPES["four-sided 90x50"].balloon
CARDIOID = balloon_of(lambda v: ((1 + v[..., 0]) / 2) ** 2)
DECAY = air.decay_constant(air.attenuation(bands.EXACT))
seed = st.integers(0, 2**32 - 1)


def unit_vectors(rng, count):
    v = rng.normal(size=(count, 3))
    return v / np.linalg.norm(v, axis=1, keepdims=True)


def by_scipy(balloon, local):
    """scipy's bilinear look-up of the same balloon, in double precision."""
    grid = np.asarray(balloon.table, float).reshape(len(AZIMUTH_DEG), len(ELEVATION_DEG), -1)
    azimuth, elevation = (
        np.arctan2(local[..., 1], local[..., 0]),
        np.arctan2(local[..., 2], np.hypot(local[..., 0], local[..., 1])),
    )
    interpolator = RegularGridInterpolator(
        (np.radians(AZIMUTH_DEG), np.radians(ELEVATION_DEG)), grid
    )
    edge = np.radians([180, 90])  # a last digit must not leave the grid
    return interpolator(
        (np.clip(azimuth, -edge[0], edge[0]), np.clip(elevation, -edge[1], edge[1]))
    )


def some_sources(rng, count):
    """Loudspeakers of two kinds, anywhere, aimed anywhere, at any level."""
    kind = rng.integers(0, 2, count)
    place = rng.uniform([-10, -10, 4], [10, 10, 9], (count, 3))
    axes = rotation(rng.uniform(-180, 180, count), rng.uniform(-30, 90, count))
    on_axis = bands.to_energy(rng.uniform(60, 100, (count, 7)))
    return sources_of(place, axes, [HORN, HOUSING], kind=kind, on_axis=on_axis, decay=DECAY)


@pytest.mark.parametrize("meters", [1.0, 2.0, 7.5, 30.0])
def test_inverse_square_and_air_on_the_axis(meters):
    """Closed form: level at 1 m less 20 lg r and alpha r; 0.001 dB is single precision."""
    on_axis_db = np.linspace(80, 100, 7)
    point = 3 + meters * rotation(30, 20)[0]
    on_axis = [bands.to_energy(on_axis_db)]
    source = sources_of([[3, 3, 3]], [rotation(30, 20)], [HORN], on_axis=on_axis, decay=DECAY)
    energy, distance = direct_energy([point], source)
    want = on_axis_db - 20 * np.log10(meters) - air.attenuation(bands.EXACT) * meters
    assert bands.to_level(energy[0, 0]) == pytest.approx(want, abs=1e-3)
    assert distance.item() == pytest.approx(meters, rel=1e-6)


@given(seed=seed)
def test_omnidirectional_source_is_distance_alone(seed):
    """Closed form: without pattern and air, energy times distance squared is the same everywhere
    (float32).
    """
    rng = np.random.default_rng(seed)
    points = rng.uniform(-20, 20, (50, 3))
    axes = [rotation(*rng.uniform(-90, 90, 2))]
    source = sources_of([[0, 0, 8]], axes, on_axis=np.full((1, 7), 5.0))
    energy, distance = direct_energy(points, source)
    np.testing.assert_allclose(distance[0], np.linalg.norm(points - [0, 0, 8], axis=1), rtol=1e-5)
    np.testing.assert_allclose(energy[0] * distance[0][:, None] ** 2, 5.0, rtol=1e-5)


def test_nearer_than_ten_centimeters_counts_as_ten():
    """Closed form: at the source itself the energy is that at 0.1 m, not infinite."""
    energy, distance = direct_energy(
        [[0, 0, 0], [0.05, 0, 0], [0.1, 0, 0]], sources_of([[0, 0, 0]], [np.eye(3)])
    )
    np.testing.assert_allclose(energy, 1 / NEAREST**2, rtol=1e-5)
    np.testing.assert_allclose(distance, NEAREST, rtol=1e-6)


@pytest.mark.parametrize(
    "name", ["two-way 90x40", "four-sided 90x50", "column 110x20", "long-throw 40x30"]
)
def test_balloon_equals_scipy(name):
    """Independent: scipy's RegularGridInterpolator on 20 000 directions and along the seams, to
    1e-4 of the axis.
    """
    seams = directions(AZIMUTH_DEG[[0, 36, 72]], np.linspace(-90, 90, 73)).reshape(-1, 3)
    local = np.concatenate(
        [unit_vectors(np.random.default_rng(0), 20_000), seams, directions().reshape(-1, 3)]
    )
    balloon = TYPES[name].balloon
    ours = balloon.toward(local.astype(np.float32))
    np.testing.assert_allclose(ours, by_scipy(balloon, local), rtol=0, atol=1e-4)
    longer = balloon.toward((7 * local).astype(np.float32))
    np.testing.assert_allclose(longer, ours, rtol=0, atol=1e-4)


def test_balloon_finds_the_grid_itself():
    """Closed form: at the grid's own directions the table comes back; the poles are the same from
    every azimuth.
    """
    found = HORN.toward(directions().astype(np.float32)).reshape(-1, 7)
    np.testing.assert_allclose(found, HORN.table, rtol=0, atol=1e-5)
    assert np.ptp(found.reshape(73, 37, 7)[:, [0, 36]], axis=0).max() < 1e-5


def test_direct_energy_equals_a_plain_loop():
    """Closed form: loops in double precision; 0.01 dB, where float32 leaves about 0.001; more
    points than a chunk.
    """
    rng = np.random.default_rng(1)
    sources = some_sources(rng, 5)
    points = rng.uniform([-18, -15, 0], [18, 15, 5], (1100, 3))
    free = rng.random((5, 1100)) < 0.9
    energy, distance = direct_energy(points, sources, free=free)
    for s in range(5):
        for p in range(0, 1100, 37):
            way = points[p] - sources.position[s]
            r = np.sqrt(way @ way)
            gain = by_scipy(sources.balloon(s), sources.axes[s] @ way) * free[s, p]
            for b in range(7):
                want = sources.on_axis[s, b] * gain[b] * np.exp(-DECAY[b] * r) / r**2
                assert energy[s, p, b] == pytest.approx(want, rel=10**0.001 - 1)
            assert distance[s, p] == pytest.approx(r, rel=1e-5)


class TurnedBalloon(Directivity):
    """A balloon handed to the other program: amplitude of one band, turned by scipy's rotation, not
    by ours.
    """

    is_impulse_response, filter_len_ir = False, 1

    def __init__(self, balloon, band, pan, tilt):
        self.balloon, self.band, self.turn = (
            balloon,
            band,
            Rotation.from_euler("ZYX", [pan, tilt, 0], degrees=True),
        )

    def get_response(self, azimuth, colatitude=None, magnitude=False, degrees=True):
        a, c = (np.radians(v) if degrees else np.asarray(v) for v in (azimuth, colatitude))
        world = np.stack([np.sin(c) * np.cos(a), np.sin(c) * np.sin(a), np.cos(c)], axis=-1)
        return np.sqrt(by_scipy(self.balloon, self.turn.inv().apply(world))[:, self.band])

    def sample_rays(self, n_rays, rng=None):
        raise NotImplementedError


def direct_by_pyroomacoustics(source, directivity, points):
    """Energy at each point from its image of order 0, damping, and direction toward the point
    (1/r2, no 4 pi).
    """
    room = pra.ShoeBox([30, 20, 10], fs=16_000, max_order=0, materials=pra.Material(0.2))
    room.add(pra.SoundSource(source, directivity=directivity))
    room.add_microphone_array(points.T)
    room.image_source_model()
    sent = room.sources[0]
    distance = np.linalg.norm(sent.images[:, :1].T - points, axis=1)
    azimuth, colatitude, _ = pra.doa.cart2spher(sent.directions[:, :, 0].T)
    gain = directivity.get_response(azimuth, colatitude=colatitude, degrees=False)
    return (sent.damping[0, 0] * gain / distance) ** 2


@pytest.mark.parametrize("pan, tilt", [(0, 0), (37, 25), (-140, 60), (90, 90), (170, -20)])
def test_direct_energy_equals_pyroomacoustics(pan, tilt):
    """Independent: pyroomacoustics' image source of order 0 with its own cardioid, and with our
    balloon as directivity.

    The cardioid compares pattern, turning and spreading: within 0.01 dB ahead, the price of a 5
    degree grid. The balloon compares turning and spreading alone: within 0.001 dB, which is single
    precision.
    """
    rng = np.random.default_rng(2)
    source, points = np.array([12.0, 8.0, 7.0]), rng.uniform([1, 1, 1], [29, 19, 5], (60, 3))
    front = Rotation.from_euler("ZYX", [pan, tilt, 0], degrees=True).apply([1, 0, 0])
    ours, _ = direct_energy(points, sources_of([source], [rotation(pan, tilt)], [CARDIOID]))
    theirs = direct_by_pyroomacoustics(source, CardioidFamily(front, p=0.5), points)
    ahead = (points - source) @ front > 0
    assert ahead.any()
    np.testing.assert_allclose(
        bands.to_level(ours[0, ahead, 0]), 10 * np.log10(theirs[ahead]), atol=0.01
    )

    ours, _ = direct_energy(points, sources_of([source], [rotation(pan, tilt)], [HORN]))
    for band in (1, 4):
        theirs = direct_by_pyroomacoustics(source, TurnedBalloon(HORN, band, pan, tilt), points)
        np.testing.assert_allclose(
            bands.to_level(ours[0, :, band]), 10 * np.log10(theirs), atol=0.001
        )


@settings(max_examples=30)
@given(seed=seed)
def test_order_of_sources_does_not_matter(seed):
    """Invariance: sources in another order give the same energies in that order, and the
    same sum.
    """
    rng = np.random.default_rng(seed)
    sources = some_sources(rng, 4)
    points, order = rng.uniform(-15, 15, (40, 3)), rng.permutation(4)
    one, _ = direct_energy(points, sources)
    other, _ = direct_energy(points, sources.some(order))
    np.testing.assert_array_equal(other, one[order])
    np.testing.assert_allclose(other.sum(axis=0), one.sum(axis=0), rtol=1e-5)


@settings(max_examples=30)
@given(seed=seed, pan=st.floats(-180, 180))
def test_turning_everything_changes_nothing(seed, pan):
    """Invariance: room, points and loudspeakers turned by the same pan; 0.01 dB for directions
    rounded in float32.
    """
    rng = np.random.default_rng(seed)
    place, points = (
        rng.uniform([-9, -9, 5], [9, 9, 9], (2, 3)),
        rng.uniform([-15, -15, 0], [15, 15, 4], (40, 3)),
    )
    aim, turn = rng.uniform([-180, -20], [180, 80], (2, 2)), rotation(pan, 0)
    pans, tilts = aim.T
    here = sources_of(place, rotation(pans, tilts), [HORN], decay=DECAY)
    there = sources_of(place @ turn, rotation(pans + pan, tilts), [HORN], decay=DECAY)
    one, _ = direct_energy(points, here)
    other, _ = direct_energy(points @ turn, there)
    np.testing.assert_allclose(bands.to_level(other), bands.to_level(one), atol=0.01)


def test_a_blocked_line_carries_nothing():
    """Closed form: zero behind a screen, unchanged beside it."""
    screen = pack([[[2, -1, 0], [2, 1, 0], [2, 1, 2], [2, -1, 2]]])
    points, source = np.array([[4.0, 0, 1], [4.0, 3, 1], [1.0, 0, 1]]), np.array([[0.0, 0, 1]])
    free = in_sight(source, points, screen)
    cut, _ = direct_energy(points, sources_of(source, [np.eye(3)]), free=free)
    whole, _ = direct_energy(points, sources_of(source, [np.eye(3)]))
    assert free.tolist() == [[False, True, True]]
    assert np.all(cut[0, 0] == 0) and np.all(whole[0, 0] > 0)
    np.testing.assert_array_equal(cut[0, 1:], whole[0, 1:])
