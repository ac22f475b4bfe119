"""First-order microphones: the printed table, integrals over the sphere and the energies they pick
up.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyroomacoustics.directivities import CardioidFamily
from reference import agrees

from gymtools.physics import bands, microphones
from gymtools.physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions, sphere_weights
from gymtools.physics.microphones import PATTERNS

# Eargle, The Microphone Book, Table 6-1 and eq. (6.4) to (6.6): A, REE, DI [dB], distance factor,
# level at 90 and 180 degrees [dB]. The supercardioid is printed for its exact A = (sqrt(3) - 1)/2;
# the rounded 0.37 has its null at 126.0.
TABLE = {
    "omni": (1.0, "1 0 1 0 0"),
    "subcardioid": (0.7, ".520 2.84 1.39 -3.1 -8.0"),
    "cardioid": (0.5, ".333 4.77 1.73 -6.0 -Infinity"),
    "supercardioid": ((np.sqrt(3) - 1) / 2, ".268 5.72 1.93 -8.7 -11.4"),
    "hypercardioid": (0.25, ".250 6.02 2.00 -12.0 -6.0"),
    "figure-8": (0.0, ".333 4.77 1.73 -Infinity 0"),
}
NULLS = {0.5: "180", 0.366: "125.3", 0.37: "126.0", 0.25: "109.5", 0.0: "90"}
share = st.floats(0, 1)


@pytest.mark.parametrize("name", TABLE)
def test_table_of_patterns(name):
    """Printed: efficiency, index, distance factor and levels at 90 and 180 degrees, to the last
    digit.
    """
    a, row = TABLE[name]
    assert PATTERNS[name] == pytest.approx(a, abs=0.005)
    ours = [
        microphones.random_efficiency(a),
        microphones.directivity_index_db(a),
        microphones.distance_factor(a),
    ]
    for value, cell in zip(
        [*ours, *microphones.response_db(a, [90, 180])], row.split(), strict=True
    ):
        assert value == -np.inf if cell == "-Infinity" else agrees([value], cell)


@pytest.mark.parametrize("a, angle", NULLS.items())
def test_nulls(a, angle):
    """Printed: angle of the null."""
    assert agrees([microphones.null_deg(a)], angle)


@given(a=share)
def test_nothing_comes_from_the_null(a):
    """Closed form: zero amplitude there for A up to 0.5, and no angle at all beyond."""
    null = float(microphones.null_deg(a))
    if a > 0.5:
        assert np.isnan(null) and microphones.response(a, np.linspace(0, 180, 181)).min() > 0
    else:
        assert microphones.response(a, null) == pytest.approx(0, abs=1e-7)


@given(a=share, angle=st.floats(-180, 180))
def test_response_equals_pyroomacoustics(a, angle):
    """Independent: pyroomacoustics' cardioid family, amplitude with its sign (it calls A the
    pattern's p).
    """
    theirs = CardioidFamily([1, 0, 0], p=a).get_response(
        np.array([angle]), colatitude=np.array([90.0]), degrees=True
    )
    assert microphones.response(a, angle) == pytest.approx(theirs.item(), abs=1e-6)


@given(a=share)
def test_efficiency_is_the_mean_over_the_sphere(a):
    """Closed form: energy picked up evenly from everywhere; 0.1 % is what a 5-degree
    grid leaves.
    """
    mean = (
        microphones.pickup(a, np.array([1.0, 0, 0]), directions())
        * sphere_weights(AZIMUTH_DEG, ELEVATION_DEG)
    ).sum()
    assert mean == pytest.approx(float(microphones.random_efficiency(a)), rel=2e-3)


@given(a=share)
def test_hypercardioid_is_the_best(a):
    """Closed form: no A has a higher directivity index than 0.25, 20 lg 2; the distance factor is
    its amplitude.
    """
    index = microphones.directivity_index_db(a)
    assert index <= 20 * np.log10(2) + 1e-12
    assert 20 * np.log10(microphones.distance_factor(a)) == pytest.approx(index, abs=1e-12)
    assert microphones.directivity_index_db(0.25) == pytest.approx(20 * np.log10(2))


@given(a=share, angle=st.floats(-180, 180), turn=st.floats(-180, 180))
def test_pickup_is_the_response_squared(a, angle, turn):
    """Invariance: only the angle between facing and direction counts, wherever the microphone
    looks.
    """
    facing, direction = (
        np.array([np.cos(v), np.sin(v), 0]) for v in np.radians([turn, turn + angle])
    )
    assert microphones.pickup(a, facing, direction) == pytest.approx(
        float(microphones.response(a, angle)) ** 2, abs=1e-12
    )
    single = microphones.pickup(a, facing.astype(np.float32), direction.astype(np.float32))
    assert single.dtype == np.float32
    assert single == pytest.approx(microphones.pickup(a, facing, direction), abs=1e-5)


def test_pickup_of_many_places_and_bands():
    """Closed form: shapes (source, place, band) from one pattern per band, and each band equal to
    its own pattern.
    """
    rng = np.random.default_rng(0)
    direction, facing = rng.normal(size=(4, 5, 3)), rng.normal(size=(5, 3))
    direction /= np.linalg.norm(direction, axis=-1, keepdims=True)
    facing /= np.linalg.norm(facing, axis=-1, keepdims=True)
    per_band = np.linspace(0, 1, 7)
    energy = microphones.pickup(per_band, facing, direction)
    assert energy.shape == (4, 5, 7)
    for band, a in enumerate(per_band):
        np.testing.assert_array_equal(energy[..., band], microphones.pickup(a, facing, direction))


def test_diffuse_sound_is_down_by_the_index():
    """Closed form: against an omni of equal axis sensitivity, diffuse sound is lower by DI, axial
    sound the same.
    """
    a = np.array(list(PATTERNS.values()))
    assert bands.to_level(microphones.random_efficiency(a)) == pytest.approx(
        -microphones.directivity_index_db(a)
    )
    assert microphones.response(a, 0) == pytest.approx(1)


@pytest.mark.parametrize(
    "f",
    [
        microphones.random_efficiency,
        microphones.directivity_index_db,
        microphones.distance_factor,
        microphones.null_deg,
        lambda a: microphones.response(a, 0),
        lambda a: microphones.response_db(a, 0),
    ],
)
def test_refuses_what_is_no_pattern(f):
    """Regression: A outside 0 to 1 is named, with its meaning."""
    with pytest.raises(
        ValueError,
        match=r"^a = 1\.2 - is outside 0 to 1 -\. A is the pattern's share without direction",
    ):
        f(1.2)


def test_refuses_what_is_no_angle():
    """Regression: an angle beyond a full turn."""
    with pytest.raises(ValueError, match=r"^angle_deg = 400 deg is outside -360 to 360 deg\.$"):
        microphones.response(0.5, 400)
